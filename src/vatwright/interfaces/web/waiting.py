"""Long work that a page of its own waits for: begun, shown while it goes, and told where it ended badly."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, NamedTuple

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.responses import Response

from vatwright.errors import InputError
from vatwright.interfaces.web.forms import in_bench_words
from vatwright.interfaces.web.jobs import JobState, Work
from vatwright.interfaces.web.rendering import desk_of, mistakes_of, render, see
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.desk import Desk
    from vatwright.interfaces.web.jobs import Task
    from vatwright.records.progress import Progress

QUICK_S = 0.8
"""Work that ends within this time shows its answer at once, without a page that counts."""

FORGOTTEN = to_say(
    "This answer is no longer kept: the bench forgets the oldest ones, and all of them when it is closed."
)
BUSY = (
    to_say("the bench"),
    to_say("is busy"),
    to_say("There is much work waiting already: wait for some of it to end, or cancel some."),
)

FAULT = (
    to_say("the bench"),
    to_say("failed, and that is a fault of ours"),
    to_say("Its window says where; please tell us."),
)


class Matter(NamedTuple):
    """What work is about: its kind, its title, and the words for our paths and for the whole of what was asked."""

    kind: str
    title: str
    labels: Mapping[str, str]
    whole: str


def begin(desk: Desk, matter: Matter, task: Task) -> Work:
    """Start on work whose mistakes are told in the words of the person who made them."""

    def told(progress: Progress) -> Any:
        with speaking(matter):
            return task(progress)

    return desk.work.start(matter.kind, matter.title, told)


@contextmanager
def speaking(matter: Matter) -> Iterator[None]:
    """Tell mistakes in the words of the person who made them."""
    try:
        yield
    except InputError as problem:
        raise in_bench_words(problem, matter.labels, matter.whole) from problem


async def wait_briefly(work: Work) -> None:
    """Wait as long as nobody minds."""
    await run_in_threadpool(work.ended.wait, QUICK_S)


def work_of(request: Request, work_id: str, kind: str) -> Work:
    """Return a piece of work of one kind that is still kept; else there is no such page."""
    found = desk_of(request).work.find(work_id)
    if found is None or found.kind != kind:
        raise HTTPException(404, FORGOTTEN)
    return found


def shown(
    request: Request, work: Work, answer: Callable[[], Response], *, about: str = "", stops: bool = True
) -> Response:
    """Return the page of a piece of work: how far it is, or the answer; to the page's own question, what has changed.

    Parameters
    ----------
    request : Request
        Whose page it is.
    work : Work
        The work.
    answer : callable
        Gives the page of the answer, or of why there is none.
    about : str
        What to know while it goes on.
    stops : bool
        Whether the page offers to stop it.
    """
    asks_how_far = "hx-request" in request.headers
    if work.going:
        query = _query(request)
        here, cancel = f"{request.url.path}{query}", f"{request.url.path}/cancel{query}" if stops else ""
        told = {"work": work, "here_again": here, "cancel": cancel, "about": about}
        return render(request, "_progress.html" if asks_how_far else "waiting.html", told)
    return Response(headers={"HX-Refresh": "true"}) if asks_how_far else answer()


def stopped(request: Request, work: Work) -> Response:
    """Stop work, and show where that leaves it."""
    desk_of(request).work.cancel(work)
    work.ended.wait(2.0)
    return see(request.url.path.removesuffix("/cancel") + _query(request))


def _query(request: Request) -> str:
    return f"?{request.url.query}" if request.url.query else ""


def ended_badly(work: Work) -> list[tuple[str, str, str]]:
    """Return why there is no answer, for a page."""
    if work.state is JobState.STOPPED:
        return [(say("the work"), say("was stopped"), say("Start it again when you like."))]
    if isinstance(work.problem, InputError):
        return mistakes_of(work.problem)
    if work.problem is not None:
        return [(say("this question"), str(work.problem), say("Change what is asked."))]
    return [FAULT]
