"""The Faster page: what of a carried job's waits is needed, and which settings to run next."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from fastapi import Request
from starlette.responses import Response

from vatwright.answers.trim import LEVERS, trim_answer
from vatwright.interfaces.render.trim_json import trim_json
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.floor_desk import start_trim
from vatwright.interfaces.web.pages.cost import carried_job, sheets_on_desk
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import Onward, Page, bench_router, desk_of, form_of, render
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work

router = bench_router("trim")


def steps(_desk: Desk) -> Sequence[Onward]:
    """Return what the front page offers."""
    return [
        Onward(
            say("How to be faster?"),
            "/trim",
            say("What of each wait is needed, and the next settings that still hold."),
        )
    ]


@router.get("")
def front(request: Request) -> Response:
    """Show whose waits can be looked at."""
    return _start(request, [])


@router.post("")
async def ask(request: Request) -> Response:
    """Start on what of a carried job's waits may go."""
    form = await form_of(request)
    hold = [str(name) for name in form.getlist("hold")]

    def start(desk: Desk) -> Work:
        _, job, labels = carried_job(desk, str(form.get("carry", "")))
        return start_trim(desk, job, labels, hold)

    return await QUESTION.begun(request, start)


def _start(request: Request, mistakes: list[Told], status: int = 200) -> Response:
    desk = desk_of(request)
    about = {"carries": sheets_on_desk(desk), "levers": LEVERS, "demo": desk.shop().demo, "mistakes": mistakes}
    return render(request, "trim_start.html", about, status=status)


QUESTION = Question(kind="trim", answer=trim_answer, data=trim_json, stem="trim", again=_start)
QUESTION.add_to(router)
PAGE = Page(slug="trim", title=to_say("Faster"), router=router, steps=steps)
