"""The front page: what runs and is due, what is being worked on, and what can be done next."""

from __future__ import annotations

from fastapi import Request
from starlette.responses import Response

from vatwright.answers.upkeep import due_sentences
from vatwright.interfaces.render.reader_units import METRIC, UNITS
from vatwright.interfaces.web.floor_desk import due_today
from vatwright.interfaces.web.rendering import UNITS_COOKIE, Page, bench_router, desk_of, form_of, render, see
from vatwright.interfaces.web.security import LANGUAGE_COOKIE
from vatwright.wording import best_language, to_say

router = bench_router()


@router.get("/")
def today(request: Request) -> Response:
    """Show the day."""
    desk = desk_of(request)
    shop = desk.shop()
    going = [c for c in desk.carries() if c.work is not None and c.work.going]
    offered = {page.slug: page.onward(desk) for page in request.app.state.pages}
    runs, carries = offered.pop("run", ()), offered.pop("carry", ())
    others = [step for steps in offered.values() for step in steps]
    shown = {
        "shop": shop, "going": going, "runs": runs, "carries": carries, "others": others, "file": desk.opened_file,
        "due": due_sentences(due_today(desk)),
    }  # fmt: skip
    return render(request, "today.html", shown)


YEAR_S = 365 * 24 * 3600


@router.post("/units")
async def read_in(request: Request) -> Response:
    """Keep in which units this browser's reader reads."""
    chosen = str((await form_of(request)).get("units"))
    back = see("/")
    back.set_cookie(
        UNITS_COOKIE, chosen if chosen in UNITS else METRIC, max_age=YEAR_S, httponly=True, samesite="strict", path="/"
    )
    return back


@router.post("/language")
async def speak(request: Request) -> Response:
    """Keep in which language this browser's reader reads."""
    chosen = best_language([str((await form_of(request)).get("language"))])
    back = see("/")
    back.set_cookie(LANGUAGE_COOKIE, chosen, max_age=YEAR_S, httponly=True, samesite="strict", path="/")
    return back


PAGE = Page(slug="", title=to_say("Today"), router=router)
