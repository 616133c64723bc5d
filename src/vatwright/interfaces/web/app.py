"""The bench as a web application: pages, the interface for programs, and the doors in front of both."""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from http import HTTPStatus
from typing import Any

from fastapi import FastAPI, Request
from fastapi.exceptions import RequestValidationError
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, PlainTextResponse, Response
from starlette.routing import Match
from starlette.staticfiles import StaticFiles
from starlette.types import ASGIApp, Scope

from vatwright import __version__
from vatwright.errors import InputError, Mistake, VatwrightError
from vatwright.files.parts.formats import endings
from vatwright.interfaces.render.page import page_style
from vatwright.interfaces.web.api import routes as api
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.job_shape import BASE
from vatwright.interfaces.web.jobs import TooBusyError
from vatwright.interfaces.web.page_list import OFTEN, PAGES
from vatwright.interfaces.web.pages import pair as pair_page
from vatwright.interfaces.web.problems import problem_response, title_of
from vatwright.interfaces.web.rendering import bench_templates
from vatwright.interfaces.web.security import Doors
from vatwright.interfaces.web.settings import BenchSettings
from vatwright.wording import to_say

BUSY = "There is much work waiting already. Try again when some of it has ended."
Told = Callable[..., Response]
METHODS = ("DELETE", "GET", "HEAD", "PATCH", "POST", "PUT")
FAULT = "A fault of ours. The window in which the bench was opened says where."


class _Bench(FastAPI):
    """An application with the doors in front of everything, answers to faults included."""

    def __init__(self, *, desk: Desk, refuse: Told, **said: Any) -> None:
        super().__init__(**said)
        self._desk, self._refuse = desk, refuse

    def build_middleware_stack(self) -> ASGIApp:
        return Doors(super().build_middleware_stack(), desk=self._desk, refuse=self._refuse)


def make_app(settings: BenchSettings) -> FastAPI:
    """Return the bench.

    Parameters
    ----------
    settings : BenchSettings
        Where it listens, and whose shop it shows.
    """
    desk, templates = Desk(settings), bench_templates()

    @asynccontextmanager
    async def open_bench(_app: FastAPI) -> AsyncIterator[None]:
        yield
        desk.close()

    def told(scope: Scope, status: int, detail: str, mistakes: InputError | None = None) -> Response:
        if scope["path"].startswith("/api/"):
            return problem_response(status, detail, mistakes=mistakes)
        said = mistakes.mistakes if mistakes else ()
        at_front = scope["path"] == "/"
        page = templates.get_template("refused.html").render(
            title=title_of(status), detail=detail, mistakes=said, at_front=at_front
        )
        return HTMLResponse(page, status_code=status)

    app = _Bench(
        desk=desk,
        refuse=told,
        title="Vatwright",
        version=__version__,
        description="Studies parts layer by layer and carries a proven recipe from one machine to another.",
        openapi_url=f"{BASE}/openapi.json",
        docs_url=None,  # its page loads scripts from elsewhere
        redoc_url=None,
        lifespan=open_bench,
    )
    app.state.desk, app.state.templates, app.state.pages = desk, templates, PAGES
    templates.globals["often"] = OFTEN
    templates.globals["part_endings"] = lambda: ",".join(endings())
    _add_problems(app, told)
    app.include_router(api.router)
    app.include_router(pair_page.door)
    for page in PAGES:
        app.include_router(page.router)
    app.add_api_route("/static/sheet.css", _sheet_style, include_in_schema=False)
    app.add_api_route("/static/bench.crt", _certificate, include_in_schema=False)
    app.mount("/static", StaticFiles(packages=[("vatwright.interfaces.web", "static")]))
    return app


def _sheet_style() -> Response:
    """Return the style of the report's sheets, which the pages share."""
    return PlainTextResponse(str(page_style()), media_type="text/css")


def _certificate(request: Request) -> Response:
    """Return the certificate of this bench, for a phone to trust; there is none where it speaks plain."""
    text = request.app.state.desk.settings.certificate
    if not text:
        raise HTTPException(404, to_say("This bench speaks plain: open it with --phones."))
    return PlainTextResponse(text, media_type="application/x-x509-ca-cert")


def _methods_at(request: Request) -> list[str]:
    """Return every method that an address takes: the framework names those of one route alone."""
    routes = request.app.router.routes
    asked = ({**request.scope, "method": method} for method in METHODS)
    return [a["method"] for a in asked if any(route.matches(a)[0] is Match.FULL for route in routes)]


def _add_problems(app: FastAPI, told: Told) -> None:
    """Tell whatever goes wrong as a page, or as problem details to programs."""

    @app.exception_handler(HTTPException)
    async def refused(request: Request, problem: HTTPException) -> Response:
        plain = problem.detail == HTTPStatus(problem.status_code).phrase
        response = told(request.scope, problem.status_code, title_of(problem.status_code) if plain else problem.detail)
        response.headers.update(problem.headers or {})
        if problem.status_code == HTTPStatus.METHOD_NOT_ALLOWED:
            response.headers["allow"] = ", ".join(_methods_at(request))
        return response

    @app.exception_handler(RequestValidationError)
    async def misshapen(request: Request, problem: RequestValidationError) -> Response:
        if not request.scope["path"].startswith("/api/"):  # whoever reads pages never wrote this address by hand
            return told(
                request.scope, 422, to_say("This address is not whole, or something in it is not as it should be.")
            )
        found = [
            Mistake(
                ".".join(str(step) for step in e["loc"]), str(e["msg"]), to_say("See the description of this interface")
            )
            for e in problem.errors()
        ]
        return told(request.scope, 422, "The request has not the shape that is wanted.", InputError(found))

    @app.exception_handler(InputError)
    async def mistaken(request: Request, problem: InputError) -> Response:
        return told(request.scope, 422, to_say("Something handed in cannot be used."), problem)

    @app.exception_handler(VatwrightError)
    async def answered_no(request: Request, problem: VatwrightError) -> Response:
        return told(request.scope, 422, problem.args[0] if problem.args else str(problem))

    @app.exception_handler(TooBusyError)
    async def busy(request: Request, _problem: TooBusyError) -> Response:
        return told(request.scope, 503, BUSY)

    @app.exception_handler(Exception)
    async def fault(request: Request, _problem: Exception) -> Response:
        return told(request.scope, 500, FAULT)
