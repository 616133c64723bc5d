"""The Ask why page: tap what was seen and where, get causes ranked, what tells the first two apart, and the mend."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Annotated, NamedTuple
from urllib.parse import urlencode

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field
from starlette.datastructures import FormData, QueryParams
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.names import QUANTITIES, SYMPTOMS, setting_called, symptom
from vatwright.answers.numbers import unit_label
from vatwright.answers.why import why_answer
from vatwright.errors import InputError
from vatwright.files.outcome_words import CORNERS
from vatwright.interfaces.web import noting, shelf
from vatwright.interfaces.web.desk import Carry, Desk, cite
from vatwright.interfaces.web.forms import Asked, CarryAsked
from vatwright.interfaces.web.jobs import TooBusyError, Work
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, form_of, mistakes_of, render, said_in, see
from vatwright.interfaces.web.waiting import BUSY, Matter, begin, ended_badly, shown, speaking, wait_briefly, work_of
from vatwright.interfaces.web.waiting import stopped as stop_work
from vatwright.records.job import Job
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.records.run import Quantity, Seen, reading_unit
from vatwright.units import from_si, to_si, typed_parts
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.records.machine import Machine
    from vatwright.records.progress import Progress
    from vatwright.records.run import RunOutcome
    from vatwright.records.why import TellApart, WhySheet

router = bench_router("why")

COLUMNS = (("left", -1), ("", 0), ("right", 1))
ROWS = (("rear", 1), ("", 0), ("front", -1))

UNDER = {Quantity.DEFLECTION: "@5kg", Quantity.CURE_DEPTH: "@20mJ/cm2"}
"""Under what the readings that tell causes apart are taken, as their sentences say."""

SETTINGS_SHOWN = 3
MOST_WORDS = 60

GONE = to_say("This carry is no longer on the desk: the bench keeps the last fifty.")
NOT_A_CARRY = to_say("That work is no carry, so there is no run of it to ask about.")

Said = FormData | QueryParams


class WhyAsked(Asked):
    """A failure of a run of a carry's job."""

    carry: Annotated[str, Field(max_length=100, description="handle of the carry's work")]
    seen: Annotated[
        list[Annotated[str, Field(max_length=200)]],
        Field(min_length=1, max_length=MOST_WORDS, description="as the command takes them: base_let_go@rear-left"),
    ]
    run: Annotated[str, Field(max_length=400, description="name of the noted run, whose hands then count")] = ""


class Ninth(NamedTuple):
    """A ninth of the platform: its name, what stands behind the @ for it, and whether it was tapped."""

    name: str
    value: str
    tapped: bool


def ask(desk: Desk, carried: Work, words: Sequence[str], *, run: str = "") -> Work:
    """Start on the causes of a failure; what the words themselves get wrong is raised at once.

    Parameters
    ----------
    desk : Desk
        The desk.
    carried : Work
        The carry of the job that ran.
    words : sequence of str
        What was seen, read and set, as ``vatwright why --seen`` takes it.
    run : str
        The noted run that it is about: what its hands really set then counts.
    """
    job = carried.about
    if not isinstance(job, Job):
        raise HTTPException(409, NOT_A_CARRY)
    labels = {p.file: p.name for p in job.parts} | {word: label_of(word) for word in words}
    matter = Matter("why", to_say("Why did {job} fail?", job=job.name), labels, to_say("this run"))
    if not any(w.partition("@")[0] in set(Seen) or w.startswith(Quantity.HEIGHT) for w in words):
        raise InputError.one(
            to_say("what was seen"),
            to_say("is not said"),
            to_say("Tap at least one thing, or give the height of a piece"),
        )
    with speaking(matter):
        observed = wiring.observed_of_words(job, words)
        if run:
            observed = wiring.observed_in_run(wiring.run_noted(run, store=desk.settings.store), observed)

    def task(told: Progress) -> WhySheet:
        return wiring.ask_about(job, observed, store=desk.settings.store, progress=told)

    return begin(desk, matter, task)


def label_of(word: str) -> str:
    """Return what the page calls a word.

    Examples
    --------
    >>> label_of("base_let_go@rear-left"), label_of("body.settle_s=4")
    ('The base let go of the platform', 'body settle')
    """
    name = word.partition("@")[0].partition("=")[0]
    if name in set(Seen):
        return symptom(Seen(name))
    if name in SETTING_NAMES:
        return setting_called(name)
    return QUANTITIES[Quantity(name)] if name in set(Quantity) else word


@router.get("")
def front(request: Request) -> Response:
    """Show which runs there are to ask about."""
    desk = desk_of(request)
    carries = [c for c in desk.carries() if c.job is not None and c.parts]
    return render(request, "why_start.html", {"carries": carries[:12], "demo": desk.shop().demo, "mistakes": []})


@router.get("/run")
async def of_run(request: Request, name: str) -> Response:
    """Ask about a noted run: on the carry that it was printed from, with what its note says filled in."""
    desk = desk_of(request)
    run = next((r for r in await run_in_threadpool(shelf.runs_of, desk) if r.run == name), None)
    if run is None:
        raise HTTPException(404, to_say("The notebook has no such run."))
    try:
        carry = await run_in_threadpool(noting.carry_again, desk, run)
    except InputError as problem:
        told = mistakes_of(problem)
        return render(
            request, "why_start.html", {"carries": [], "demo": desk.shop().demo, "mistakes": told}, status=422
        )
    except TooBusyError:
        return see("/why")
    return see(f"/why/{carry.id}?{urlencode(_of_note(run, _job(carry).target))}")


@router.post("/demo")
async def demo(request: Request) -> Response:
    """Ask about the demo job."""
    desk = desk_of(request)
    carry = desk.demo_carry()
    if carry.job is None:
        raise HTTPException(404, GONE)
    try:
        await run_in_threadpool(desk.begin, carry, CarryAsked(job=carry.job, part=list(carry.parts)))
    except TooBusyError:
        return see(f"/carry/{carry.id}")
    return see(f"/why/{carry.id}")


@router.get("/{carry_id}")
def question(request: Request, carry_id: str) -> Response:
    """Show what can have been seen."""
    carry = _carry(request, carry_id)
    if not _is_asked(carry):
        return see(f"/carry/{carry.id}")
    return _question(request, carry, request.query_params, [])


@router.post("/{carry_id}")
async def answer(request: Request, carry_id: str) -> Response:
    """Start on the answer; what was said stands in its address."""
    desk, carry, form = desk_of(request), _carry(request, carry_id), await form_of(request)
    carried = carry.work
    if carried is None or not _is_asked(carry):
        return see(f"/carry/{carry.id}")
    try:
        work = await run_in_threadpool(lambda: ask(desk, carried, words_of(form), run=said_in(form, "run")))
    except InputError as problem:
        return _question(request, carry, form, mistakes_of(problem), status=422)
    except TooBusyError:
        return _question(request, carry, form, [BUSY], status=503)
    await wait_briefly(work)
    return see(f"/why/{carry_id}/{work.id}?{urlencode(_kept(form))}")


@router.get("/{carry_id}/{work_id}")
def show(request: Request, carry_id: str, work_id: str) -> Response:
    """Show the causes, or how far the work on them is."""
    carry, work, said = _carry(request, carry_id), work_of(request, work_id, "why"), request.query_params

    def found() -> Response:
        if work.result is None:
            return _question(request, carry, said, ended_badly(work), status=422)
        parts = _form(carry, said) | _again(work.result, said)
        return render(
            request, "why_answer.html", parts | {"answer": why_answer(work.result, cite=cite), "mistakes": []}
        )

    return shown(request, work, found)


@router.post("/{carry_id}/{work_id}/cancel")
def cancel(request: Request, carry_id: str, work_id: str) -> Response:  # noqa: ARG001 - of the address
    """Stop the work."""
    return stop_work(request, work_of(request, work_id, "why"))


# --- what was said ---------------------------------------------------------------------------------------------------


def words_of(said: Said) -> list[str]:
    """Return what a form says as the words that the command takes.

    Examples
    --------
    >>> words_of(QueryParams("seen=layer_split&place=rear-left&layer=20,6 mm&height=51.8&more=resin_C%3D18"))
    ['layer_split@rear-left@20.6mm', 'height_mm=51.8', 'resin_C=18']
    """
    place, layer = said_in(said, "place"), _number(said_in(said, "layer"))
    words = []
    for seen in said.getlist("seen"):
        # The base is where it is: a layer says nothing of it.
        where = [place, "" if seen == Seen.BASE_LET_GO else layer]
        words.append("@".join([str(seen), *filter(None, where)]))
    if height := _number(said_in(said, "height")):
        words.append(f"{Quantity.HEIGHT}={height}")
    first = {corner: _number(said_in(said, f"first_{corner}")) for corner in CORNERS}
    words += [f"{Quantity.FIRST_LAYER}={read}@{corner}" for corner, read in first.items() if read]
    given = [(said_in(said, f"set_{n}"), _number(said_in(said, f"value_{n}"))) for n in range(SETTINGS_SHOWN)]
    words += [f"{name}={value}" for name, value in given if value]
    return [*words, *said_in(said, "more").split(), *filter(None, [_read_since(said)])][:MOST_WORDS]


def _of_note(run: RunOutcome, machine: Machine) -> list[tuple[str, str]]:
    """Return what a note says as the form has it."""
    said = [("run", run.run), *(("seen", str(e.what)) for e in run.events)]
    if layer := next((e.layer for e in run.events if e.layer is not None), None):
        said.append(("layer", str(layer)))
    at = next(((e.x_m, e.y_m) for e in run.events if e.x_m is not None and e.y_m is not None), None)
    if at is not None:
        ninths = [p for row in places(machine, "") for p in row]
        said.append(("place", min(ninths, key=lambda p: math.dist(_middle_of(p, machine), at)).value))
    for n, (name, value) in enumerate(list(run.settings.items())[:SETTINGS_SHOWN]):
        said += [(f"set_{n}", name), (f"value_{n}", f"{from_si(value, setting_unit(name)):.9g}")]
    return said


def _middle_of(place: Ninth, machine: Machine) -> tuple[float, float]:
    """Return where a ninth of the platform is that stands in a word [m]."""
    if place.value in CORNERS:
        x, y = CORNERS[place.value]
        return x * machine.platform.width_m / 2.0, y * machine.platform.depth_m / 2.0
    x_mm, y_mm = map(float, place.value.split(","))
    return to_si(x_mm, "mm"), to_si(y_mm, "mm")


def _read_since(said: Said) -> str:
    """The reading asked for, as a word; empty where it was not taken."""
    read = _number(said_in(said, "read"))
    return f"{said_in(said, 'read_name')}={read}{said_in(said, 'read_under')}" if read else ""


def _number(text: str) -> str:
    """A number as a person types it, with its unit, as a word has it."""
    return "".join(typed_parts(text) or text.split())


def _kept(form: FormData) -> list[tuple[str, str]]:
    """What was said, for the address; a reading taken since then joins the others."""
    apart = {"token", "read", "read_name", "read_under", "more"}
    pairs = [(k, v) for k, v in form.multi_items() if isinstance(v, str) and v.strip() and k not in apart]
    chosen = {f"set_{n}" for n in range(SETTINGS_SHOWN) if not said_in(form, f"value_{n}")}
    more = " ".join(filter(None, [said_in(form, "more"), _read_since(form)]))
    return [(k, v) for k, v in pairs if k not in chosen] + ([("more", more)] if more else [])


# --- what the pages show ----------------------------------------------------------------------------------------------


def _carry(request: Request, carry_id: str) -> Carry:
    carry = desk_of(request).carry(carry_id)
    if carry is None:
        raise HTTPException(404, GONE)
    return carry


def _is_asked(carry: Carry) -> bool:
    """Whether it is known which job a carry is of: one that nobody has asked for yet has none."""
    return carry.work is not None and isinstance(carry.work.about, Job)


def _question(
    request: Request, carry: Carry, said: Said, mistakes: list[tuple[str, str, str]], *, status: int = 200
) -> Response:
    return render(request, "why_question.html", _form(carry, said) | {"mistakes": mistakes}, status=status)


def _form(carry: Carry, said: Said) -> dict[str, object]:
    """What the form shows, with what was said before."""
    job = _job(carry)
    return {
        "carry": carry,
        "job": job,
        "symptoms": [(s.value, symptom(s), s.value in said.getlist("seen")) for s in SYMPTOMS],
        "rows": places(job.target, said_in(said, "place")),
        "nowhere": not said_in(said, "place"),
        "corners": [(c, say(c.replace("-", " "))) for c in CORNERS],
        "settings": [(n, f"{setting_called(n)} [{unit_label(setting_unit(n))}]") for n in SETTING_NAMES],
        "set_rows": range(SETTINGS_SHOWN),
        "said": {k: v for k, v in said.items() if isinstance(v, str)},
        "run": said_in(said, "run"),
    }


def _job(carry: Carry) -> Job:
    if carry.work is None or not isinstance(carry.work.about, Job):
        raise HTTPException(404, GONE)
    return carry.work.about


def places(machine: Machine, tapped: str) -> list[list[Ninth]]:
    """Return nine places of a platform, row by row, as it lies there seen from above."""
    platform = machine.platform
    half_w, half_d = (math.floor(from_si(size, "mm") / 2.0) for size in (platform.width_m, platform.depth_m))
    rows = []
    for behind, y in ROWS:
        row = []
        for side, x in COLUMNS:
            name = " ".join(filter(None, (behind, side))) or "middle"
            corner = name.replace(" ", "-")
            value = corner if corner in CORNERS else f"{x * half_w},{y * half_d}"
            row.append(Ninth(say(name), value, value == tapped))
        rows.append(row)
    return rows


def _again(sheet: WhySheet, said: Said) -> dict[str, object]:
    """What the form for one reading more shows and carries along."""
    tell = sheet.tell_apart
    if tell is None or not tell.quantity:
        return {"tell": tell, "read_name": "", "pairs": []}
    in_time = tell.quantity == Quantity.RUN_TIME
    return {
        "tell": tell,
        "read_name": tell.quantity,
        "read_under": _under(tell),
        "read_label": f"[{unit_label(tell.unit)}]" + (say(", or in hours, such as 5.2h") if in_time else ""),
        "pairs": [(k, v) for k, v in said.multi_items() if isinstance(v, str) and v.strip()],
    }


def _under(tell: TellApart) -> str:
    """What follows the value of a reading: its unit where it is not the quantity's own, and under what it was taken."""
    unit = "" if tell.unit in {reading_unit(tell.quantity), ""} else tell.unit
    if tell.quantity == Quantity.FIRST_LAYER:
        x, y = (math.trunc(from_si(v, "mm")) for v in (tell.x_m, tell.y_m))
        return f"{unit}@{x},{y}"
    return unit + UNDER.get(Quantity(tell.quantity), "")


PAGE = Page(
    slug="why",
    title=to_say("Ask why"),
    router=router,
    offers=(
        to_say("Ask why a run failed"),
        to_say("Tap what was seen and where; get the causes, ranked, and the mend."),
    ),
)
