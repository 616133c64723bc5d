"""What every page has in common: how it is described, drawn and guarded.  How to add one: docs/decisions/007."""

from __future__ import annotations

import secrets
from collections.abc import AsyncIterator, Callable, Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple, cast

from attrs import frozen
from fastapi import APIRouter, Depends, HTTPException, Request
from jinja2 import ChoiceLoader, Environment, PackageLoader
from markupsafe import Markup, escape
from starlette.datastructures import FormData, QueryParams
from starlette.responses import HTMLResponse, RedirectResponse, Response

from vatwright.answers.names import capital
from vatwright.interfaces.render.page import page_templates
from vatwright.interfaces.render.pictures.svg import Svg
from vatwright.interfaces.render.reader_units import UNITS, reader_units
from vatwright.interfaces.web.cost_fields import field_address
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.drawn import without_styles
from vatwright.interfaces.web.pairing import SESSION_S
from vatwright.interfaces.web.run_words import run_texts
from vatwright.interfaces.web.security import SAFE_METHODS, Visitor, cookie_name
from vatwright.interfaces.web.take_away import beside, drawn_at, taken
from vatwright.wording import ENGLISH, in_words, language, languages, long_day, to_say

if TYPE_CHECKING:
    from datetime import datetime

    from vatwright.errors import InputError

MOST_FIELDS = 600
MOST_FILES = 40
UNITS_COOKIE = "vatwright_units"
STALE = to_say("This page is older than the bench. Load it again, then repeat what you did.")


class Onward(NamedTuple):
    """Something that can be done next: its words, its address, and a line about it."""

    text: str
    address: str
    line: str = ""


@frozen(kw_only=True)
class Page:
    """One page of the bench.

    Parameters
    ----------
    slug : str
        First word of its addresses; empty for the front page.
    title : str
        Its name in the row at the top.
    router : APIRouter
        Its routes, from :func:`bench_router`.
    offers : tuple of str
        What the front page always offers of it: the words, and a line about it.
    steps : callable or None
        What it offers there as things stand.
    """

    slug: str
    title: str
    router: APIRouter
    offers: tuple[str, str] | None = None
    steps: Callable[[Desk], Sequence[Onward]] | None = None

    def onward(self, desk: Desk) -> Sequence[Onward]:
        """Return all that it offers on the front page."""
        always = [Onward(self.offers[0], f"/{self.slug}", self.offers[1])] if self.offers else []
        return [*(self.steps(desk) if self.steps else ()), *always]


def bench_router(slug: str = "") -> APIRouter:
    """Return a router whose every change needs the token of a page of ours."""
    prefix = f"/{slug}" if slug else ""
    return APIRouter(prefix=prefix, dependencies=[Depends(_from_a_page)], include_in_schema=False)


def desk_of(request: Request) -> Desk:
    """Return the desk."""
    return cast("Desk", request.app.state.desk)


def visitor_of(request: Request) -> Visitor:
    """Return who asks."""
    return cast("Visitor", request.scope["visitor"])


async def form_of(request: Request) -> FormData:
    """Return the form that was sent; the same one however often it is asked for."""
    return await request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS)


def said_in(said: FormData | QueryParams, key: str) -> str:
    """Return what was typed into a field, without spaces around it; empty where nothing was, or a file."""
    value = said.get(key)
    return value.strip() if isinstance(value, str) else ""


async def _from_a_page(request: Request) -> AsyncIterator[None]:
    """Refuse a change that no page of this visitor's asked for; let go of files that came with it at its end."""
    if (chosen := request.cookies.get(UNITS_COOKIE)) in UNITS:
        reader_units.set(chosen)
    if request.method in SAFE_METHODS:
        yield
        return
    form = await form_of(request)
    try:
        sent, visitor = form.get("token"), visitor_of(request)
        token = sent if isinstance(sent, str) else ""
        if not visitor.secret or not desk_of(request).pairing.is_form_token(visitor.secret, token):
            raise HTTPException(403, STALE)
        yield
    finally:
        await form.close()


def bench_templates() -> Environment:
    """Return the templates of the pages: those of the report's kind, with pictures that need no inline style."""
    environment = page_templates()
    rooms = (
        "vatwright.interfaces.web",
        "vatwright.interfaces.render",
    )  # the sheets are those of the render room, extended
    environment.loader = ChoiceLoader([PackageLoader(room) for room in rooms])
    environment.filters["markup"] = _picture
    environment.filters |= {"exact": _exact, "first_large": capital, "after_colon": _after_colon, "moment": _moment}
    environment.globals["beside"] = beside
    environment.globals["run_texts"] = run_texts
    environment.globals["field_address"] = field_address
    return environment


def _exact(value: object) -> Markup:
    """Return a value as it is, its numbers not kept beside their units: for fields and addresses."""
    return escape(in_words(value) if isinstance(value, str) else value)


def _after_colon(text: str) -> str:
    """Return a sentence as it goes on after a colon, where that begins small as in English."""
    said = in_words(text)
    return said[:1].lower() + said[1:] if language.get() == ENGLISH else said


def _moment(at: datetime) -> str:
    """Return a moment as day and time of this computer's zone."""
    here = at.astimezone()
    return f"{long_day(here)}, {here:%H:%M}"


def _picture(picture: Svg) -> Markup:
    """Return a picture of our own drawing kit, which escaped what it was given, as markup."""
    return Markup(without_styles(picture))  # noqa: S704


def render(
    request: Request, template: str, context: Mapping[str, object] | None = None, *, status: int = 200
) -> Response:
    """Return a page.

    Parameters
    ----------
    request : Request
        Whose page it is.
    template : str
        Name of the template.
    context : mapping or None
        What the template shows, by name.
    status : int
        Status of the answer.
    """
    file = taken(request, context or {})
    if file is not None:
        return file
    drawn_at(request)
    desk, visitor = desk_of(request), visitor_of(request)
    secret = visitor.secret or secrets.token_urlsafe(32)
    environment: Environment = request.app.state.templates
    body = environment.get_template(template).render(
        pages=request.app.state.pages,
        here=request.url.path.split("/")[1],
        token=desk.pairing.form_token(secret),
        at_desk=visitor.at_desk,
        wide=desk.settings.wide,
        reads_in=reader_units.get(),
        speaks=language.get(),
        languages=languages(),
        **(context or {}),
    )
    response = HTMLResponse(body, status_code=status)
    if not visitor.secret:
        set_secret(response, desk, secret)
    return response


def set_secret(response: Response, desk: Desk, secret: str, *, lasting: bool = False) -> None:
    """Put a visitor's secret into the cookie of this bench; a lasting one outlives the browser being closed."""
    age_s = round(SESSION_S) if lasting else None
    name = cookie_name(desk.settings.port)
    response.set_cookie(name, secret, max_age=age_s, httponly=True, samesite="strict", path="/")


def see(address: str) -> RedirectResponse:
    """Send the browser on to a page, after something was done."""
    return RedirectResponse(address, status_code=303)


def mistakes_of(problem: InputError) -> list[tuple[str, str, str]]:
    """Return mistakes for a template: where, what, do."""
    return [(m.where, m.what, m.do) for m in problem.mistakes]
