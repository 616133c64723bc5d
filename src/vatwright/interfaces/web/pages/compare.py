"""The Compare page: the same order on several machines, and when a larger one has paid."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from vatwright.errors import InputError
from vatwright.interfaces.render.compare_html import compare_html, compare_parts
from vatwright.interfaces.render.compare_json import compare_json
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.floor_desk import start_compare
from vatwright.interfaces.web.jobs import TooBusyError
from vatwright.interfaces.web.pages.cost import Told, carried_job, sheets_on_desk
from vatwright.interfaces.web.rendering import Page, Step, bench_router, desk_of, form_of, mistakes_of, render, see
from vatwright.interfaces.web.take_away import answer_file, data_text
from vatwright.interfaces.web.waiting import BUSY, ended_badly, shown, stopped, wait_briefly, work_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.cost import CompareSheet

router = bench_router("compare")

KIND = "compare"
NO_MACHINE: Told = ("machines", "none is chosen", "Choose at least one; two or more make a comparison")


def steps(_desk: Desk) -> Sequence[Step]:
    """Return what the front page offers."""
    return [Step("Which machine?", "/compare", "The same order side by side, and when a larger machine has paid.")]


@router.get("")
def front(request: Request) -> Response:
    """Show what can be compared."""
    return _start(request, [])


@router.post("")
async def ask(request: Request) -> Response:
    """Start on a comparison."""
    desk, form = desk_of(request), await form_of(request)
    machines = [str(m) for m in form.getlist("machine")]
    try:
        if not machines:
            raise InputError.one(*NO_MACHINE)
        _, job, labels = carried_job(desk, str(form.get("carry", "")))
        work = await run_in_threadpool(start_compare, desk, job, labels, machines)
    except InputError as problem:
        return _start(request, mistakes_of(problem), status=422)
    except TooBusyError:
        return _start(request, [BUSY], status=503)
    await wait_briefly(work)
    return see(f"/compare/{work.id}")


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


DOWNLOADS: dict[str, tuple[str, Callable[[CompareSheet], str]]] = {
    "compare.html": ("text/html; charset=utf-8", lambda sheet: compare_html(sheet, cite=cite)),
    "compare.json": ("application/json", lambda sheet: data_text(compare_json(sheet, cite=cite))),
}


def _start(request: Request, mistakes: list[Told], *, status: int = 200) -> Response:
    desk = desk_of(request)
    shop = desk.shop()
    about = {
        "carries": sheets_on_desk(desk),
        "machines": shop.records.machines,
        "demo": shop.demo,
        "mistakes": mistakes,
    }
    return render(request, "compare_start.html", about, status=status)


def _answer(request: Request, work: Work) -> Response:
    if work.result is None:
        return _start(request, ended_badly(work), status=422 if work.problem else 200)
    parts = compare_parts(work.result, cite=cite)
    return render(request, "compare_answer.html", parts | {"work": work, "downloads": DOWNLOADS})


PAGE = Page(slug="compare", title="Compare", router=router, steps=steps)
