"""What the command writes as files, for programs: sheets, layers and pictures; and the hand schedule, the demo job."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, cast

from fastapi import APIRouter, HTTPException, Path, Request, Response

from vatwright.answers.carry import carry_answer
from vatwright.interfaces.render.carry_json import visits_json
from vatwright.interfaces.render.pictures.gallery import pictures_of
from vatwright.interfaces.web.desk import cite, demo_asked
from vatwright.interfaces.web.forms import CarryAsked, LevelAsked
from vatwright.interfaces.web.job_shape import Handle, done_work
from vatwright.interfaces.web.pages.carry import DOWNLOADS
from vatwright.interfaces.web.pages.level import LEVEL_FILES
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of
from vatwright.interfaces.web.take_away import FILES, picture_file

if TYPE_CHECKING:
    from vatwright.records.plan import CarrySheet

router = APIRouter()

FileName = Annotated[str, Path(max_length=60, pattern=r"^[a-z0-9-]+\.[a-z]{3,4}$")]


def _kinds(*kinds: str) -> dict[int | str, dict[str, Any]]:
    """Return what a file may be, as the description of the interface has it."""
    plain = {kind.partition(";")[0] for kind in kinds}
    return {200: {"description": "The file", "content": {k: {"schema": {"type": "string"}} for k in sorted(plain)}}}


@router.get("/demo", tags=["carry"])
def demo() -> CarryAsked:
    """Return the demo workshop's main job, ready to be sent to ``/carry`` where the demo workshop is open."""
    return demo_asked()


@router.get("/work/{work}/visits", tags=["carry"], responses=problems(404, 409))
def visits(request: Request, work: Handle) -> dict[str, Any]:
    """Return the hand schedule of a carry alone: ``vatwright.visits/1``."""
    return visits_json(_sheet(request, work))


@router.get(
    "/work/{work}/files/{name}", tags=["carry"], response_class=Response,
    responses=problems(404, 409) | _kinds(*(kind for kind, _ in (*DOWNLOADS.values(), *FILES.values()))),
)  # fmt: skip
def file(request: Request, work: Handle, name: FileName) -> Response:
    """Return a carry as a file: ``carry-sheet.pdf``, ``run-sheet.pdf``, ``layers.csv``, or a picture such as ``pull.svg``."""
    sheet = _sheet(request, work)
    if name in DOWNLOADS:
        kind, make = DOWNLOADS[name]
        return Response(make(sheet), media_type=kind)
    found = picture_file(pictures_of(carry_answer(sheet, cite=cite)), name)
    if found is None:
        raise HTTPException(404, "There is no such file of this sheet.")
    return found


@router.post(
    "/level/files/{name}", tags=["level"], response_class=Response,
    responses=problems(404) | _kinds(*(kind for kind, _ in LEVEL_FILES.values())),
)  # fmt: skip
def level_file(request: Request, name: FileName, asked: LevelAsked) -> Response:
    """Return what readings say as a file: ``level.pdf`` or ``level.html``."""
    if name not in LEVEL_FILES:
        raise HTTPException(404, "There is no such file of a level.")
    kind, make = LEVEL_FILES[name]
    return Response(make(desk_of(request).level(asked)), media_type=kind)


def _sheet(request: Request, work_id: str) -> CarrySheet:
    return cast("CarrySheet", done_work(request, work_id, "carry").result)
