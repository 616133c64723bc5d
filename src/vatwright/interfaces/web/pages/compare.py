"""The Compare page: the same order on several machines, and when a larger one has paid."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import Request
from starlette.responses import Response

from vatwright.answers.compare import compare_answer
from vatwright.errors import InputError
from vatwright.interfaces.render.compare_json import compare_json
from vatwright.interfaces.web.desk import Desk, cite
from vatwright.interfaces.web.floor_desk import start_compare
from vatwright.interfaces.web.pages.cost import carried_job, sheets_on_desk
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import Onward, Page, bench_router, desk_of, form_of, render
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work

router = bench_router("compare")

NO_MACHINE: Told = ("machines", to_say("none is chosen"), to_say("Choose at least one; two or more make a comparison"))


def steps(_desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers."""
    return [
        Onward(
            say("Which machine?"), "/compare", say("The same order side by side, and when a larger machine has paid.")
        )
    ]


@router.get("")
def front(request: Request) -> Response:
    """Show what can be compared."""
    return _start(request, [])


@router.post("")
async def ask(request: Request) -> Response:
    """Start on a comparison."""
    form = await form_of(request)
    machines = [str(m) for m in form.getlist("machine")]

    def start(desk: Desk) -> Work:
        if not machines:
            raise InputError.one(*NO_MACHINE)
        _, job, labels = carried_job(desk, str(form.get("carry", "")))
        return start_compare(desk, job, labels, machines)

    return await QUESTION.begun(request, start)


def _start(request: Request, mistakes: list[Told], status: int = 200) -> Response:
    desk = desk_of(request)
    shop = desk.shop()
    about = {
        "carries": [c for c in sheets_on_desk(desk) if c.demo == shop.demo],
        "machines": shop.records.machines,
        "demo": shop.demo,
        "mistakes": mistakes,
    }
    return render(request, "compare_start.html", about, status=status)


QUESTION = Question(
    kind="compare",
    answer=lambda sheet: compare_answer(sheet, cite=cite),
    data=lambda sheet: compare_json(sheet, cite=cite),
    stem="compare",
    again=_start,
)
QUESTION.add_to(router)
PAGE = Page(slug="compare", title=to_say("Compare"), router=router, steps=steps)
