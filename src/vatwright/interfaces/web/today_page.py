"""The front page: what is being worked on, and what can be done next."""

from __future__ import annotations

from fastapi import Request
from starlette.responses import Response

from vatwright.interfaces.web.pages import Page, bench_router, desk_of, render

router = bench_router()


@router.get("/")
def today(request: Request) -> Response:
    """Show the day."""
    desk = desk_of(request)
    shop = desk.shop()
    going = [c for c in desk.carries() if c.work is not None and c.work.going]
    offered = [step for page in request.app.state.pages for step in page.steps(desk)]
    return render(request, "today.html", {"shop": shop, "going": going, "offered": offered})


PAGE = Page(slug="", title="Today", router=router)
