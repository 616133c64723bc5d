"""The Stand page: how a part should stand, with a picture of each way and the part turned to take along."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, NamedTuple

from fastapi import HTTPException, Request
from fastapi.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import Response

from vatwright import wiring
from vatwright.answers.stand import stand_answer, way_figure
from vatwright.errors import InputError, Mistake
from vatwright.interfaces.render.pictures.gallery import drawn
from vatwright.interfaces.render.stand_json import stand_json
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.forms import Asked, Count, Name, Unit, unknown_names
from vatwright.interfaces.web.question import Question, Told
from vatwright.interfaces.web.rendering import Page, bench_router, desk_of, form_of, render
from vatwright.interfaces.web.take_away import attachment
from vatwright.interfaces.web.uploads import UNITS
from vatwright.interfaces.web.waiting import Matter, begin, work_of
from vatwright.records.part import PartUse
from vatwright.units import read_number
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.jobs import Work
    from vatwright.interfaces.web.uploads import PartOnTray
    from vatwright.records.progress import Progress
    from vatwright.records.stand import StandSheet

router = bench_router("stand")

MOST_PIECES = 10_000
"""As many of one part as a job may hold."""


class StandForm(Asked):
    """A part on the tray, the machine that prints it, and how many."""

    file: Name
    machine: Name
    unit: Unit | None = None
    resin: Name | None = None
    count: Count = 1


class Stood(NamedTuple):
    """An answer, and the part it is about."""

    sheet: StandSheet
    part: PartUse


def begin_on(desk: Desk, asked: StandForm) -> Work:
    """Start on how a part should stand; names that nobody knows are told at once."""
    shop, kept = desk.shop(), desk.tray.find(asked.file)
    mistakes = unknown_names(shop.records, machine=asked.machine, resin=asked.resin)
    if kept is None:
        mistakes.append(Mistake("part", to_say("is not on the tray"), to_say("Hand it in again")))
    elif kept.needs_unit and asked.unit is None:
        mistakes.append(
            Mistake(
                "unit",
                to_say("{name} does not say it", name=kept.name),
                to_say("Give one of: {UNITS}", UNITS=", ".join(UNITS)),
            )
        )
    if mistakes or kept is None:
        raise InputError(mistakes)
    return _begin(desk, asked, kept)


def _begin(desk: Desk, asked: StandForm, kept: PartOnTray) -> Work:
    shop, unit = desk.shop(), asked.unit if kept.needs_unit else None
    books = desk.books(shop)
    part = PartUse(name=kept.name, file=str(kept.path), unit=unit, count=asked.count, where=kept.name)
    wanted = wiring.StandAsked(part, asked.machine, asked.resin)

    def task(told: Progress) -> Stood:
        sheet = wiring.stand_of_shop(wanted, shop.path, store=books.store, notebook=books.notebook, progress=told)
        return Stood(sheet, part)

    labels = {shop.path: to_say("the shop"), str(kept.path): kept.name}
    return begin(
        desk, Matter("stand", to_say("How {name} should stand", name=kept.name), labels, to_say("this part")), task
    )


@router.get("")
def front(request: Request) -> Response:
    """Ask which part, and on which machine."""
    return _start(request, [])


@router.post("")
async def ask(request: Request) -> Response:
    """Take the part and start."""
    form = await form_of(request)
    said = {k: v for k, v in form.items() if isinstance(v, str)}

    def again(request: Request, mistakes: list[Told], status: int) -> Response:
        return _start(request, mistakes, status, said)

    file = form.get("part")

    def start(desk: Desk) -> Work:
        handle = said.get("kept", "")
        if isinstance(file, UploadFile) and file.filename:
            handle = desk.tray.keep(file.filename, file.file).handle
            said["kept"] = handle
        if not handle:
            raise InputError.one("part", to_say("no file was chosen"), to_say("Choose an STL, 3MF, OBJ or PLY file"))
        return begin_on(desk, _asked(handle, form))

    return await QUESTION.begun(request, start, again)


def _asked(handle: str, form: FormData) -> StandForm:
    said = {k: str(form.get(k) or "").strip() for k in ("machine", "resin", "unit", "count")}
    count = float(read_number(said["count"] or "1", "count", ""))
    if count != int(count) or not 1 <= count <= MOST_PIECES:
        raise InputError.one(
            "count",
            to_say("{said} is no count of pieces", said=said["count"]),
            to_say("Write a whole number up to {MOST_PIECES}", MOST_PIECES=MOST_PIECES),
        )
    unit = said["unit"] if said["unit"] in UNITS else None
    return StandForm.model_validate(
        {"file": handle, "machine": said["machine"], "resin": said["resin"] or None, "unit": unit, "count": int(count)}
    )


@router.get("/{work_id}/turned/{number}")
async def turned(request: Request, work_id: str, number: int) -> Response:
    """Return the part as one of the ways has it stand."""
    work = work_of(request, work_id, "stand")
    if work.result is None or not 0 <= number < len(work.result.sheet.ways):
        raise HTTPException(404, to_say("There is no such way."))
    sheet, part = work.result
    try:
        content = await run_in_threadpool(wiring.standing_stl, part, sheet, number)
    except InputError as problem:
        raise HTTPException(404, to_say("The part is no longer on the tray: hand it in again.")) from problem
    return attachment(content, "model/stl", f"turned-{number}.stl")


def _start(
    request: Request, mistakes: list[Told], status: int = 200, said: Mapping[str, str] | None = None
) -> Response:
    desk = desk_of(request)
    shop, said = desk.shop(), dict(said or {})
    kept = desk.tray.find(said.get("kept", ""))
    about = {
        "shop": shop.records, "said": said, "mistakes": mistakes, "units": UNITS, "kept": kept,
        "ours": desk.tray.ready() if shop.demo else (),
    }  # fmt: skip
    return render(request, "stand_start.html", about, status=status)


def _show(request: Request, work: Work) -> Response:
    if work.result is None:
        return QUESTION.answered(request, work)
    sheet = work.result.sheet
    ways = [(drawn(way_figure(sheet, k)), way.fits) for k, way in enumerate(sheet.ways)]
    return QUESTION.answered(request, work, template="stand_answer.html", more={"ways": ways, "advice": sheet.advice})


QUESTION = Question(
    kind="stand",
    answer=lambda stood: stand_answer(stood.sheet),
    data=lambda stood: stand_json(stood.sheet),
    stem="stand",
    again=_start,
)
QUESTION.add_to(router, _show)
PAGE = Page(
    slug="stand",
    title=to_say("Stand"),
    router=router,
    offers=(to_say("How should it stand?"), to_say("A few directions against as drawn, and what each saves.")),
)
