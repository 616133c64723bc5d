"""The Carry page: hand in parts, say from what to where, get the sheet, change one thing and see what moves."""

from __future__ import annotations

import json
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.responses import Response

from vatwright.answers.carry import carry_answer, carry_on_paper
from vatwright.answers.numbers import celsius, duration, one_line, percent
from vatwright.errors import InputError, Mistake
from vatwright.interfaces.render.pictures.gallery import pictures_of
from vatwright.interfaces.web.desk import Carry, Desk, cite
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked, checked, count_said, number_said
from vatwright.interfaces.web.jobs import TooBusyError
from vatwright.interfaces.web.look import LookAsked, choices, look, told
from vatwright.interfaces.web.rendering import (
    Onward,
    Page,
    bench_router,
    desk_of,
    form_of,
    mistakes_of,
    render,
    said_in,
    see,
)
from vatwright.interfaces.web.sheet_moves import asked_moves, sheet_moves
from vatwright.interfaces.web.take_away import TAKE, answer_file
from vatwright.interfaces.web.uploads import UNITS, handed_in
from vatwright.interfaces.web.waiting import BUSY, ended_badly, shown, stopped, wait_briefly
from vatwright.quantities import SETTINGS, key_at, unit_in
from vatwright.units import read_number
from vatwright.wording import language, say, to_say

if TYPE_CHECKING:
    from vatwright.answers.blocks import Answer
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.plan import CarrySheet

router = bench_router("carry")

USUAL = {
    "name": "",
    "recipe": "",
    "to": "",
    "resin": "",
    "room_c": "20",
    "visits": "3",
    "present_min": "120",
    "confidence_percent": "90",
    "ramp_layers": "",
    "faint_steps": "",
    "trim": "",
}
"""What stands in a field that nobody has filled: the job file's own defaults."""

GONE = to_say("This carry is no longer on the desk: the bench keeps the last fifty.")
ONCE = to_say("Parts are studied once and remembered: the next sheet for them takes much less.")


def steps(desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers: start, and the sheets that are there."""
    kept = [
        Onward(
            say("{job} to {target}", job=one_line(c.sheet.job), target=one_line(c.sheet.target)),
            f"/carry/{c.id}",
            _in_short(c.sheet),
        )
        for c in desk.carries()
        if c.sheet is not None
    ]
    start = Onward(
        say("Carry a recipe"), "/carry", say("Hand in parts, say where to, and get the settings with their reasons.")
    )
    return [start, *kept[:5]]


def _in_short(sheet: CarrySheet) -> str:
    if sheet.warm_up is not None:
        room = celsius(sheet.room_k)
        return say("{room}: too cold", room=room) if sheet.warm_up.cold else say("{room}: too warm", room=room)
    return say(
        "{room}, chance {chance}, {time}",
        room=celsius(sheet.room_k),
        chance=percent(sheet.success.mean),
        time=duration(sheet.time.to_s),
    )


@router.get("")
def front(request: Request) -> Response:
    """Show where a carry starts."""
    return _start(request, [])


@router.post("/demo")
def demo(request: Request) -> Response:
    """Start from the demo job."""
    return see(f"/carry/{desk_of(request).demo_carry().id}")


@router.post("/parts")
async def parts(request: Request) -> Response:
    """Take part files and show what to say about them."""
    desk = desk_of(request)
    try:
        taken = await _taken(desk, await form_of(request))
    except InputError as problem:
        return _start(request, mistakes_of(problem), status=422)
    return see(f"/carry/{desk.new_carry(taken).id}")


@router.post("/{carry_id}/parts")
async def more_parts(request: Request, carry_id: str) -> Response:
    """Take more part files."""
    desk, carry = desk_of(request), _carry(request, carry_id)
    try:
        taken = await _taken(desk, await form_of(request))
    except InputError as problem:
        return _question(request, carry, mistakes_of(problem), status=422)
    return see(f"/carry/{desk.new_carry([*carry.parts, *taken], job=carry.job, demo=carry.demo).id}")


@router.get("/{carry_id}")
def show(request: Request, carry_id: str) -> Response:
    """Show a carry as far as it is: the question, the work on it, or the sheet."""
    carry = _carry(request, carry_id)
    work = carry.work
    return (
        shown(request, work, lambda: _worked(request, carry, work), about=ONCE)
        if work
        else _question(request, carry, [])
    )


@router.get("/{carry_id}/question")
def question(request: Request, carry_id: str) -> Response:
    """Show the question again, to ask it differently."""
    return _question(request, _carry(request, carry_id), [])


@router.post("/{carry_id}")
async def ask(request: Request, carry_id: str) -> Response:
    """Start on the sheet."""
    carry, form = _carry(request, carry_id), await form_of(request)
    try:
        asked = _asked(carry, form)
    except InputError as problem:
        return _question(request, carry, mistakes_of(problem), status=422, said=form)
    return await _worked_out(request, asked, carry, before=None, said=form)


@router.post("/{carry_id}/change")
async def change(request: Request, carry_id: str) -> Response:
    """Change one thing and see what moves."""
    carry, form = _carry(request, carry_id), await form_of(request)
    if carry.job is None:
        raise HTTPException(404, GONE)
    try:
        job = _job(form, name=carry.job.name, recipe=carry.job.recipe)
        asked = CarryAsked(job=job.model_copy(update=_untouched(carry.job)), part=list(carry.parts))
    except InputError as problem:
        return _question(request, carry, mistakes_of(problem), status=422, said=form)
    return await _worked_out(request, asked, carry, before=carry.id, said=form)


@router.get("/{carry_id}/look")
def looked(request: Request, carry_id: str, what: str = "", value: str = "") -> Response:
    """Look quickly at what moves when one thing is changed."""
    desk, carry = desk_of(request), _carry(request, carry_id)
    if carry.work is None or carry.sheet is None:
        raise HTTPException(404, GONE)
    shown = _look_choices(request, carry) | {"what": what, "value": value, "sheet": carry.sheet}
    shown |= {"carry": carry, "said": _said(carry, None)}
    status = 200
    try:
        asked = _look_asked(what, value)
        shown["look"] = told(carry.work.about, asked, look(desk, carry.work, asked, desk.shop_of(carry).records))
    except InputError as problem:
        shown["mistakes"], status = mistakes_of(problem), 422
    if "hx-request" in request.headers:
        return render(request, "_look.html", shown)  # a refusal too: a script shows what comes with 200 alone
    return render(request, "carry_look.html", shown, status=status)


@router.post("/{carry_id}/cancel")
def cancel(request: Request, carry_id: str) -> Response:
    """Stop the work."""
    work = _carry(request, carry_id).work
    return stopped(request, work) if work else see(f"/carry/{carry_id}")


@router.get("/{carry_id}/{name}")
def part(request: Request, carry_id: str, name: str) -> Response:
    """Show one named page of the sheet, or return the sheet as a file."""
    carry = _carry(request, carry_id)
    if "." in name or carry.sheet is None:
        return answer_file(carry.sheet, name, DOWNLOADS, "sheet")
    answer = _answer(carry, carry.sheet)
    page = answer.page(name)
    if page is None:
        raise HTTPException(
            404,
            to_say(
                "There is no such page of this sheet. It has {known}.", known=", ".join(p.slug for p in answer.pages)
            ),
        )
    return render(request, "carry_part.html", _shown(request, carry, answer) | {"part": page})


def _html(sheet: CarrySheet) -> bytes:
    from vatwright.interfaces.render.page import answer_page

    return answer_page(carry_answer(sheet, cite=cite)).encode()


def _pdf(sheet: CarrySheet) -> bytes:
    from vatwright.interfaces.render.paper import answer_pdf

    return answer_pdf(carry_on_paper(sheet, cite=cite))


def _pdf_with_appendix(sheet: CarrySheet) -> bytes:
    from vatwright.interfaces.render.paper import answer_pdf

    return answer_pdf(carry_on_paper(sheet, cite=cite), appendix=True)


def _run_sheet(sheet: CarrySheet) -> bytes:
    from vatwright.answers.run_sheet import run_sheet_words
    from vatwright.interfaces.render.paper import run_sheet_pdf

    return run_sheet_pdf(run_sheet_words(sheet))


def _json(sheet: CarrySheet) -> bytes:
    from vatwright.interfaces.render.carry_json import carry_json

    return json.dumps(carry_json(sheet, cite=cite), ensure_ascii=False, allow_nan=False).encode()


def _csv(sheet: CarrySheet) -> bytes:
    from vatwright.interfaces.render.carry_csv import layers_csv

    return layers_csv(sheet).encode()


DOWNLOADS = {
    "carry-sheet.pdf": ("application/pdf", _pdf),
    "carry-sheet-with-appendix.pdf": ("application/pdf", _pdf_with_appendix),
    "run-sheet.pdf": ("application/pdf", _run_sheet),
    "carry-sheet.html": ("text/html; charset=utf-8", _html),
    "carry-sheet.json": ("application/json", _json),
    "layers.csv": ("text/csv; charset=utf-8", _csv),
}
"""File name: its kind, and what makes it."""


# --- what the pages show -------------------------------------------------------------------------------------------


def _worked(request: Request, carry: Carry, work: Work) -> Response:
    if carry.sheet is not None:
        return _sheet(request, carry, carry.sheet)
    return _question(request, carry, ended_badly(work), status=422 if work.problem else 200)


def _carry(request: Request, carry_id: str) -> Carry:
    carry = desk_of(request).carry(carry_id)
    if carry is None:
        raise HTTPException(404, GONE)
    return carry


def _start(request: Request, mistakes: list[tuple[str, str, str]], *, status: int = 200) -> Response:
    desk = desk_of(request)
    shown = {"carries": desk.carries()[:12], "demo": desk.shop().demo, "mistakes": mistakes}
    return render(request, "carry_start.html", shown, status=status)


def _question(
    request: Request,
    carry: Carry,
    mistakes: list[tuple[str, str, str]],
    *,
    status: int = 200,
    said: FormData | None = None,
) -> Response:
    """Show what is to be said about a carry, with what was said before."""
    desk = desk_of(request)
    on_tray = [(n, part, desk.tray.find(part.file)) for n, part in enumerate(carry.parts)]
    shown = {
        "carry": carry,
        "parts": [(n, part, kept) for n, part, kept in on_tray if kept is not None],
        "shop": desk.shop_of(carry).records,
        "said": _said(carry, said),
        "units": UNITS,
        "mistakes": mistakes,
    }
    return render(request, "carry_question.html", shown, status=status)


def _typed(value: object) -> str:
    """What stands in a field for a value of a job."""
    if isinstance(value, bool):
        return "true" if value else ""
    return f"{value:g}" if isinstance(value, float) else str(value)


def _said(carry: Carry, form: FormData | None) -> dict[str, str]:
    """Return what stands in the fields: what was just sent, else what was asked before."""
    job = carry.job.table() if carry.job else {}
    said = USUAL | {k: _typed(v) for k, v in job.items()}
    for n, part in enumerate(carry.parts):
        said[f"count_{n}"] = str(part.count or max(1, len(part.places)))
        said[f"unit_{n}"] = part.unit or ""
    return said | {k: v for k, v in (form.items() if form else ()) if isinstance(v, str)}


def _sheet(request: Request, carry: Carry, sheet: CarrySheet) -> Response:
    desk = desk_of(request)
    earlier = desk.carry(carry.before) if carry.before else None
    before = earlier.sheet if earlier else None
    asked = asked_moves(earlier.job, carry.job) if earlier and earlier.job and carry.job else []
    shown = {
        "carry": carry,
        "earlier": earlier,
        "asked": asked,
        "moves": sheet_moves(before, sheet) if before else [],
        "said": _said(carry, None),
        "shop": desk.shop_of(carry).records,
        "downloads": DOWNLOADS,
    } | _look_choices(request, carry)
    return render(request, "carry_sheet.html", shown | _shown(request, carry, _answer(carry, sheet)))


def _answer(carry: Carry, sheet: CarrySheet) -> Answer:
    """Return the sheet in words, made once."""
    spoken = language.get()
    if spoken not in carry.answers:
        carry.answers[spoken] = carry_answer(sheet, cite=cite)
    return carry.answers[spoken]


def _shown(request: Request, carry: Carry, answer: Answer) -> dict[str, object]:
    """Return what every page of a sheet shows; its pictures where one of them is to be taken away."""
    pictures = list(pictures_of(answer)) if TAKE in request.query_params else []
    return {"carry": carry, "answer": answer, "at": f"/carry/{carry.id}", "pictures": pictures}


def _look_choices(request: Request, carry: Carry) -> dict[str, object]:
    """Return what a quick look offers to change."""
    empty: dict[str, object] = {"what": "", "value": "", "look": None, "mistakes": []}
    if carry.work is None or carry.sheet is None:
        return empty
    job = carry.work.about
    of_job, of_sheet = choices(job, {a.name: a.to_value for a in carry.sheet.settings})
    resins = [r.name for r in desk_of(request).shop_of(carry).records.resins if r.name != job.resin.name]
    return empty | {"of_job": of_job, "of_sheet": of_sheet, "resins": resins}


def _look_asked(what: str, value: str) -> LookAsked:
    """Return what a quick look is asked for, from the two fields of its form."""
    if what.startswith("resin:"):
        return LookAsked(what=say("resin"), resin=what.partition(":")[2][:400])
    unit = SETTINGS[what].unit if what in SETTINGS else unit_in(what)
    return LookAsked(what=what, value=float(read_number(value, "the new value", unit)))


# --- what the forms say ----------------------------------------------------------------------------------------------


async def _taken(desk: Desk, form: FormData) -> list[PartAsked]:
    """Put the files of a form on the tray."""
    return [PartAsked(file=kept.handle, unit=kept.guess, count=1) for kept in await handed_in(desk.tray, form)]


async def _worked_out(
    request: Request, asked: CarryAsked, like: Carry, *, before: str | None, said: FormData
) -> Response:
    desk = desk_of(request)
    carry = desk.new_carry(asked.part, job=asked.job, before=before, demo=like.demo)
    try:
        await run_in_threadpool(desk.begin, carry, asked)
    except InputError as problem:
        return _question(request, carry, mistakes_of(problem), status=422, said=said)
    except TooBusyError:
        return _question(request, carry, [BUSY], status=503, said=said)
    if carry.work is not None:
        await wait_briefly(carry.work)
    return see(f"/carry/{carry.id}")


def _asked(carry: Carry, form: FormData) -> CarryAsked:
    """Return the whole question of a form, every mistake of it at once."""
    mistakes: list[Mistake] = []
    chosen = []
    for n, part in enumerate(carry.parts):
        count = count_said(said_in(form, f"count_{n}"), "count", mistakes, most=10_000)
        if count == 0:
            continue
        unit = said_in(form, f"unit_{n}") or part.unit
        placed = part.places if count == len(part.places) else []
        chosen.append(part.model_copy(update={"count": count, "unit": unit, "places": placed}))
    if not chosen and not mistakes:
        mistakes.append(Mistake("parts", to_say("none is left"), to_say("Give at least one a count above 0")))
    try:
        job = _job(form, name=said_in(form, "name") or None, recipe=said_in(form, "recipe") or None)
    except InputError as problem:
        raise InputError([*mistakes, *problem.mistakes]) from problem
    if mistakes:
        raise InputError(mistakes)
    return CarryAsked(job=job.model_copy(update=_untouched(carry.job)), part=chosen)


def _untouched(job: JobAsked | None) -> dict[str, object]:
    """Return what a job says that no field of the pages asks."""
    keys = ("late_min", "early_min", "tolerance_percent")
    return {k: getattr(job, k) for k in keys} if job else {}


def _job(form: FormData, *, name: str | None, recipe: str | None) -> JobAsked:
    mistakes: list[Mistake] = []
    numbers = {
        key: number_said(said_in(form, key), key, key_at(f"job.{key}").label, mistakes)
        for key in ("room_c", "present_min", "confidence_percent")
    }
    said: dict[str, object] = numbers | {
        "name": name,
        "recipe": recipe,
        "to": said_in(form, "to"),
        "resin": said_in(form, "resin") or None,
        "visits": count_said(said_in(form, "visits"), "visits", mistakes, most=10_000),
        "ramp_layers": count_said(said_in(form, "ramp_layers"), "ramp layers", mistakes, most=100),
        "faint_steps": said_in(form, "faint_steps") == "true" or None,
        "trim": said_in(form, "trim") == "true" or None,
    }
    if not said_in(form, "room_c"):
        mistakes.append(
            Mistake(
                to_say("room temperature"),
                to_say("is not given"),
                to_say("Write the room's temperature in degrees Celsius"),
            )
        )
    if mistakes:
        raise InputError(mistakes)
    return checked(JobAsked, {k: v for k, v in said.items() if v is not None})


PAGE = Page(slug="carry", title=to_say("Carry"), router=router, steps=steps)
