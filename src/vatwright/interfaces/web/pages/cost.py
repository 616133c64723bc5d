"""The Cost page: what a carried job costs, what moves it, and what comes before and after its print."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import Request
from starlette.responses import Response

from vatwright.answers.cost import cost_answer
from vatwright.errors import InputError
from vatwright.interfaces.render.cost_json import cost_json
from vatwright.interfaces.web.desk import Carry, Desk, cite
from vatwright.interfaces.web.floor_desk import start_cost
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import Onward, Page, bench_router, desk_of, form_of, render
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.job import Job

router = bench_router("cost")

NO_SHEET: Told = (
    to_say("the carry"),
    to_say("is not on the desk, or has no sheet yet"),
    to_say("Carry the job first, then come back"),
)


def steps(_desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers."""
    return [Onward(say("What does it cost?"), "/cost", say("A good piece with its range, resin, washing and the air."))]


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
    form = await form_of(request)

    def start(desk: Desk) -> Work:
        carry, job, labels = carried_job(desk, str(form.get("carry", "")))
        return start_cost(desk, job, labels, sheet=carry.sheet, shop=desk.shop_of(carry))

    return await QUESTION.begun(request, start)


def _start(request: Request, mistakes: list[Told], status: int = 200) -> Response:
    desk = desk_of(request)
    about = {"carries": sheets_on_desk(desk), "demo": desk.shop().demo, "mistakes": mistakes}
    return render(request, "cost_start.html", about, status=status)


QUESTION = Question(
    kind="cost",
    answer=lambda sheet: cost_answer(sheet, cite=cite),
    data=lambda sheet: cost_json(sheet, cite=cite),
    stem="cost",
    again=_start,
)
QUESTION.add_to(router)
PAGE = Page(slug="cost", title=to_say("Cost"), router=router, steps=steps)
