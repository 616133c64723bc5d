"""The page of what is believed: what the runs moved, what to measure next, and how good the predictions were."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated
from urllib.parse import urlencode

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from pydantic import Field
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.learn import learn_answer, step_words
from vatwright.errors import InputError
from vatwright.interfaces.render.learn_json import learn_json
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.forms import Asked
from vatwright.interfaces.web.jobs import TooBusyError, Work
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, render, see
from vatwright.interfaces.web.waiting import Matter, begin, ended_badly, wait_briefly
from vatwright.records.trial import TrialKind
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.records.learned import LearnSheet, NextStep
    from vatwright.records.progress import Progress

router = bench_router("learn")

SHOWN_BELIEFS = 6
"""Beliefs drawn at once; the others open on a tap."""

DAY_S = 86_400.0


class LearnAsked(Asked):
    """What the runs have taught; of one machine or one resin where named."""

    machine: Annotated[str, Field(max_length=400)] = ""
    resin: Annotated[str, Field(max_length=400)] = ""


def ask(desk: Desk, asked: LearnAsked) -> Work:
    """Return the work on what the runs have taught: that which is there for the notebook as it is now, else a new one."""
    about = (asked.machine, asked.resin, _stamp(desk))
    known = desk.work.latest("learn", about)
    if known is not None:
        return known
    store = desk.settings.store

    def task(told: Progress) -> LearnSheet:
        return wiring.learn_of_store(machine=asked.machine, resin=asked.resin, store=store, progress=told)

    whose = " with ".join(filter(None, (asked.machine and f" on {asked.machine}", asked.resin)))
    work = begin(
        desk,
        Matter("learn", to_say("What have the runs{whose} taught?", whose=whose), {}, to_say("the notebook")),
        task,
    )
    work.about = about
    return work


def _stamp(desk: Desk) -> tuple[int, ...]:
    """What changes when the notebook does, and from day to day: old runs fade."""
    address = wiring.store_address(desk.settings.store)
    stamp = [int(desk.settings.now() // DAY_S)]
    if "://" in address:  # a database says nothing from outside
        return (*stamp, int(desk.settings.now() // 60.0))
    for path in (Path(address).expanduser(), Path(f"{address}-wal").expanduser()):
        try:
            stamp.append(path.stat().st_mtime_ns)
        except OSError:
            stamp.append(-1)
    return tuple(stamp)


@router.get("")
async def front(request: Request) -> Response:
    """Work out what the runs have taught, or find it."""
    asked = _asked(request)
    try:
        work = await run_in_threadpool(ask, desk_of(request), asked)
    except TooBusyError:
        verdict = say("There is much work waiting already. Ask again when some of it has ended.")
        return render(request, "learn_nothing.html", {"asked": asked, "why": [], "verdict": verdict}, status=503)
    await wait_briefly(work)
    said = urlencode([(k, v) for k, v in asked.table().items() if v])
    return see(f"/learn/{work.id}" + (f"?{said}" if said else ""))


def _show(request: Request, work: Work) -> Response:
    if work.result is None:
        return _nothing(request, ended_badly(work), 200 if isinstance(work.problem, InputError) else 422)
    sheet = work.result
    steps_to_make = [(step_words(s), trial_address(s, sheet)) for s in sheet.next_steps]
    more = {"shop": desk_of(request).shop().records, "asked": _asked(request), "next_steps": steps_to_make}
    return QUESTION.answered(request, work, template="learn_answer.html", more=more | {"most": SHOWN_BELIEFS})


def _asked(request: Request) -> LearnAsked:
    query = request.query_params
    return LearnAsked(machine=query.get("machine", "")[:400], resin=query.get("resin", "")[:400])


def _nothing(request: Request, why: list[Told], status: int) -> Response:
    """Show that there is nothing to learn from, which is no mistake where nobody asked for something."""
    asked, nothing = _asked(request), status == 200
    verdict = say("Nothing to learn from here yet.") if nothing else say("No answer came of this.")
    status = 422 if asked.machine or asked.resin else status
    return render(request, "learn_nothing.html", {"asked": asked, "why": why, "verdict": verdict}, status=status)


def trial_address(step: NextStep, sheet: LearnSheet) -> str:
    """Return where a step's trial is made; empty for a reading."""
    kind = next((k.value for k in TrialKind if step.kind == "trial" and k.value in step.what.split()), "")
    if not kind:
        return ""
    machine = step.what.partition(f"{kind} on ")[2] or sheet.machine
    return f"/trial?{urlencode([(k, v) for k, v in (('kind', kind), ('machine', machine)) if v])}"


QUESTION = Question(
    kind="learn",
    answer=lambda sheet: learn_answer(sheet, cite=cite),
    data=lambda sheet: learn_json(sheet, cite=cite),
    stem="learn",
    again=_nothing,
)
QUESTION.add_to(router, _show)
PAGE = Page(
    slug="learn",
    title=to_say("Believed"),
    router=router,
    offers=(to_say("See what the runs have taught"), to_say("What is believed now, what to measure next, the score.")),
)
