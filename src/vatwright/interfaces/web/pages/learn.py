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
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.forms import Asked
from vatwright.interfaces.web.jobs import TooBusyError, Work
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, render, see
from vatwright.interfaces.web.waiting import Matter, begin, ended_badly, shown, wait_briefly, work_of
from vatwright.interfaces.web.waiting import stopped as stop_work
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
    query = request.query_params
    asked = LearnAsked(machine=query.get("machine", "")[:400], resin=query.get("resin", "")[:400])
    try:
        work = await run_in_threadpool(ask, desk_of(request), asked)
    except TooBusyError:
        verdict = say("There is much work waiting already. Ask again when some of it has ended.")
        return render(request, "learn_nothing.html", {"asked": asked, "why": [], "verdict": verdict}, status=503)
    await wait_briefly(work)
    said = urlencode([(k, v) for k, v in asked.table().items() if v])
    return see(f"/learn/{work.id}" + (f"?{said}" if said else ""))


@router.get("/{work_id}")
def show(request: Request, work_id: str) -> Response:
    """Show what is believed, or how far the work is."""
    work, query = work_of(request, work_id, "learn"), request.query_params
    asked = LearnAsked(machine=query.get("machine", "")[:400], resin=query.get("resin", "")[:400])

    def found() -> Response:
        if work.result is None:
            nothing = isinstance(work.problem, InputError)
            verdict = say("Nothing to learn from here yet.") if nothing else say("No answer came of this.")
            told = {"asked": asked, "why": ended_badly(work), "verdict": verdict}
            plain = nothing and not (asked.machine or asked.resin)
            return render(request, "learn_nothing.html", told, status=200 if plain else 422)
        sheet, answer = work.result, learn_answer(work.result, cite=cite)
        steps_to_make = [(step_words(s), trial_address(s, sheet)) for s in sheet.next_steps]
        told = {"shop": desk_of(request).shop().records, "asked": asked, "answer": answer, "next_steps": steps_to_make}
        return render(request, "learn_answer.html", told | {"most": SHOWN_BELIEFS})

    return shown(request, work, found)


@router.post("/{work_id}/cancel")
def cancel(request: Request, work_id: str) -> Response:
    """Stop the work."""
    return stop_work(request, work_of(request, work_id, "learn"))


def trial_address(step: NextStep, sheet: LearnSheet) -> str:
    """Return where a step's trial is made; empty for a reading."""
    kind = next((k.value for k in TrialKind if step.kind == "trial" and k.value in step.what.split()), "")
    if not kind:
        return ""
    machine = step.what.partition(f"{kind} on ")[2] or sheet.machine
    return f"/trial?{urlencode([(k, v) for k, v in (('kind', kind), ('machine', machine)) if v])}"


PAGE = Page(
    slug="learn",
    title=to_say("Believed"),
    router=router,
    offers=(to_say("See what the runs have taught"), to_say("What is believed now, what to measure next, the score.")),
)
