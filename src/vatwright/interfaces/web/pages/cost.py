"""The Cost page: what a carried job costs, what moves it, and what comes before and after its print."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from vatwright.errors import InputError
from vatwright.interfaces.render.cost_html import cost_html, cost_parts
from vatwright.interfaces.render.cost_json import cost_json
from vatwright.interfaces.web.desk import Carry, Desk, cite
from vatwright.interfaces.web.floor_desk import start_cost
from vatwright.interfaces.web.jobs import TooBusyError
from vatwright.interfaces.web.rendering import Page, Step, bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.take_away import answer_file, data_text
from vatwright.interfaces.web.waiting import BUSY, ended_badly, shown, stopped, wait_briefly, work_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.cost import CostSheet
    from vatwright.records.job import Job

router = bench_router("cost")

KIND = "cost"
Told = tuple[str, str, str]
NO_SHEET: Told = ("the carry", "is not on the desk, or has no sheet yet", "Carry the job first, then come back")


def steps(_desk: Desk) -> Sequence[Step]:
    """Return what the front page offers."""
    return [Step("What does it cost?", "/cost", "A good piece with its range, resin, washing and the air.")]


def sheets_on_desk(desk: Desk) -> list[Carry]:
    """Return the carries that have a sheet, newest first."""
    return [c for c in desk.carries() if c.sheet is not None]


def carried_job(desk: Desk, carry_id: str) -> tuple[Carry, Job, dict[str, str]]:
    """Return a carry with its job and the words for our paths; InputError where it is not there."""
    carry = desk.carry(carry_id)
    if carry is None or carry.sheet is None or carry.work is None or carry.work.about is None:
        raise InputError.one(*NO_SHEET)
    kept = [desk.tray.find(p.file) for p in carry.parts]
    return carry, carry.work.about, {str(k.path): k.name for k in kept if k is not None}


@router.get("")
def front(request: Request) -> Response:
    """Show whose cost can be asked for."""
    return _start(request, [])


@router.post("")
async def ask(request: Request) -> Response:
    """Start on the cost of a carried job."""
    desk, form = desk_of(request), await form_of(request)
    try:
        carry, job, labels = carried_job(desk, str(form.get("carry", "")))
        work = await run_in_threadpool(lambda: start_cost(desk, job, labels, sheet=carry.sheet))
    except InputError as problem:
        return _start(request, mistakes_of(problem), status=422)
    except TooBusyError:
        return _start(request, [BUSY], status=503)
    await wait_briefly(work)
    return see(f"/cost/{work.id}")


@router.get("/{work_id}")
def show(request: Request, work_id: str) -> Response:
    """Show how far the work is, or the answer."""
    work = work_of(request, work_id, KIND)
    return shown(request, work, lambda: _answer(request, work))


@router.post("/{work_id}/cancel")
def cancel(request: Request, work_id: str) -> Response:
    """Stop the work."""
    return stopped(request, work_of(request, work_id, KIND))


@router.get("/{work_id}/{name}")
def download(request: Request, work_id: str, name: str) -> Response:
    """Return the answer as a file."""
    return answer_file(work_of(request, work_id, KIND).result, name, DOWNLOADS, "answer")


DOWNLOADS: dict[str, tuple[str, Callable[[CostSheet], str]]] = {
    "cost.html": ("text/html; charset=utf-8", lambda sheet: cost_html(sheet, cite=cite)),
    "cost.json": ("application/json", lambda sheet: data_text(cost_json(sheet, cite=cite))),
}


def _start(request: Request, mistakes: list[Told], *, status: int = 200) -> Response:
    desk = desk_of(request)
    about = {"carries": sheets_on_desk(desk), "demo": desk.shop().demo, "mistakes": mistakes}
    return render(request, "cost_start.html", about, status=status)


def _answer(request: Request, work: Work) -> Response:
    if work.result is None:
        return _start(request, ended_badly(work), status=422 if work.problem else 200)
    parts = cost_parts(work.result, cite=cite)
    return render(request, "cost_answer.html", parts | {"work": work, "downloads": DOWNLOADS})


PAGE = Page(slug="cost", title="Cost", router=router, steps=steps)
