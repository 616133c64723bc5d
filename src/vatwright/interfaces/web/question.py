"""A question whose answer takes its time: begin on it, show how far it is, show the answer, stop it, take it away."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from attrs import frozen
from fastapi import APIRouter, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from vatwright.answers.blocks import Answer
from vatwright.errors import InputError
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.web.jobs import TooBusyError
from vatwright.interfaces.web.rendering import desk_of, mistakes_of, render, see
from vatwright.interfaces.web.take_away import answer_file, data_text
from vatwright.interfaces.web.waiting import BUSY, ended_badly, shown, stopped, wait_briefly, work_of

if TYPE_CHECKING:
    from vatwright.interfaces.web.desk import Desk
    from vatwright.interfaces.web.jobs import Work

Told = tuple[str, str, str]
Files = Mapping[str, tuple[str, Callable[[Any], str]]]
Again = Callable[[Request, list[Told], int], Response]


@frozen(kw_only=True)
class Question:
    """One kind of question.

    Parameters
    ----------
    kind : str
        Its work's kind, and the first word of its addresses.
    answer : callable
        From what the work found to the answer in words.
    data : callable
        From what the work found to data for other programs.
    stem : str
        Name of its files without their endings.
    again : callable
        The page that asks, with what was wrong and a status.
    """

    kind: str
    answer: Callable[[Any], Answer]
    data: Callable[[Any], object]
    stem: str
    again: Again

    @property
    def files(self) -> Files:
        """What can be taken away, by its name: a page and data."""
        return {
            f"{self.stem}.html": ("text/html; charset=utf-8", lambda found: answer_page(self.answer(found))),
            f"{self.stem}.json": ("application/json", lambda found: data_text(self.data(found))),
        }

    async def begun(self, request: Request, start: Callable[[Desk], Work], again: Again | None = None) -> Response:
        """Begin on the work and go to its page; what is wrong with the question is told where it was asked."""
        told = again or self.again
        try:
            work = await run_in_threadpool(start, desk_of(request))
        except InputError as problem:
            return told(request, mistakes_of(problem), 422)
        except TooBusyError:
            return told(request, [BUSY], 503)
        await wait_briefly(work)
        return see(f"/{self.kind}/{work.id}")

    def answered(
        self, request: Request, work: Work, *, template: str = "answer_shown.html", more: Mapping[str, object] | None = None,
        status: int = 200,
    ) -> Response:  # fmt: skip
        """Return the page of an answer, or the page that asks where there is none."""
        if work.result is None:
            return self.again(request, ended_badly(work), 422 if work.problem else 200)
        answer = self.answer(work.result)
        about = {"answer": answer, "work": work, "kind": self.kind, "downloads": list(self.files), "mistakes": []}
        return render(request, template, {**about, **(more or {})}, status=status)

    def add_to(self, router: APIRouter, show: Callable[[Request, Work], Response] | None = None) -> None:
        """Add what every question can be asked to a router: its page, stopping it, its files; `show` draws another page."""
        page = show or self.answered

        def shown_or_waiting(request: Request, work_id: str) -> Response:
            work = work_of(request, work_id, self.kind)
            return shown(request, work, lambda: page(request, work))

        def cancel(request: Request, work_id: str) -> Response:
            return stopped(request, work_of(request, work_id, self.kind))

        def download(request: Request, work_id: str, name: str) -> Response:
            return answer_file(work_of(request, work_id, self.kind).result, name, self.files, "answer")

        router.add_api_route("/{work_id}", shown_or_waiting, methods=["GET"])
        router.add_api_route("/{work_id}/cancel", cancel, methods=["POST"])
        router.add_api_route("/{work_id}/{name}", download, methods=["GET"])
