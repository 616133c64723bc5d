"""The question of a carried job: choose one of the sheets on the desk, say what more is asked, and start."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

from fastapi import APIRouter, Request
from starlette.datastructures import FormData
from starlette.responses import Response

from vatwright.errors import InputError
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import bench_router, desk_of, form_of, render, said_in
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.answers.blocks import Answer
    from vatwright.interfaces.web.desk import Carry, Desk
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.job import Job

NO_SHEET: Told = (
    to_say("the carry"),
    to_say("is not on the desk, or has no sheet yet"),
    to_say("Carry the job first, then come back"),
)


class Carried(NamedTuple):
    """A carry with its job, and the words for our paths."""

    carry: Carry
    job: Job
    labels: dict[str, str]


Start = Callable[["Desk", Carried, FormData], "Work"]


def asked_of_carried(
    kind: str, answer: Callable[[Any], Answer], data: Callable[[Any], object], start: Start,
    shown: Callable[[Desk, list[Carry]], Mapping[str, object]] = lambda _desk, _carries: {},
) -> APIRouter:  # fmt: skip
    """Return the routes of a question about a carried job.

    Parameters
    ----------
    kind : str
        Its work's kind, the first word of its addresses, and of its template.
    answer, data : callable
        From what the work found to the answer in words, and to data for other programs.
    start : callable
        Starts the work on a carried job, with what the form says; raises InputError for what is wrong with it.
    shown : callable
        What the page that asks shows besides, from the desk and its sheets.
    """
    router = bench_router(kind)

    def again(request: Request, mistakes: list[Told], status: int = 200) -> Response:
        desk = desk_of(request)
        sheets = [c for c in desk.carries() if c.sheet is not None]
        about = {"carries": sheets, "demo": desk.shop().demo, "mistakes": mistakes, **shown(desk, sheets)}
        return render(request, f"{kind}_start.html", about, status=status)

    question = Question(kind=kind, answer=answer, data=data, stem=kind, again=again)

    @router.get("")
    def front(request: Request) -> Response:
        return again(request, [])

    @router.post("")
    async def ask(request: Request) -> Response:
        form = await form_of(request)
        return await question.begun(request, lambda desk: start(desk, _carried(desk, said_in(form, "carry")), form))

    question.add_to(router)
    return router


def _carried(desk: Desk, carry_id: str) -> Carried:
    carry = desk.carry(carry_id)
    if carry is None or carry.sheet is None or carry.work is None or carry.work.about is None:
        raise InputError.one(*NO_SHEET)
    kept = [desk.tray.find(p.file) for p in carry.parts]
    return Carried(carry, carry.work.about, {str(k.path): k.name for k in kept if k is not None})
