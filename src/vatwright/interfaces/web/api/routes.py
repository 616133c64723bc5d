"""The interface for programs, version 1: the same answers as the command's ``--json``."""

from __future__ import annotations

import io
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, HTTPException, Query, Request, Response
from fastapi.concurrency import run_in_threadpool
from pydantic import BaseModel

from vatwright import __version__
from vatwright.interfaces.render.level_json import level_json
from vatwright.interfaces.web.api import asking as asking_api
from vatwright.interfaces.web.api import files as files_api
from vatwright.interfaces.web.api import floor as floor_api
from vatwright.interfaces.web.api import live as live_api
from vatwright.interfaces.web.api import look as look_api
from vatwright.interfaces.web.api import notebook as notebook_api
from vatwright.interfaces.web.desk import cite
from vatwright.interfaces.web.forms import CarryAsked, LevelAsked, StudyAsked
from vatwright.interfaces.web.job_shape import BASE, RESULTS, Handle, WorkShape, begun, shape_of
from vatwright.interfaces.web.jobs import JobState, Work
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of
from vatwright.interfaces.web.security import is_simple
from vatwright.services.calculate import FORMULAS, calculate
from vatwright.services.formula import unit_text


def _not_from_a_form(request: Request) -> None:
    """Refuse what a form on a page of somebody else could send without asking."""
    if request.method == "POST" and is_simple(request.headers):
        raise HTTPException(415, "Send application/json, or a file as application/octet-stream.")


router = APIRouter(
    prefix=BASE, responses=problems(400, 403, 405, 413, 415, 421, 422), dependencies=[Depends(_not_from_a_form)]
)


class BenchShape(BaseModel):
    """What this bench is."""

    name: Literal["vatwright"]
    version: str
    machines: list[str]
    resins: list[str]
    recipes: list[str]


class FileShape(BaseModel):
    """A part file that was handed in."""

    file: str
    name: str
    bytes: int
    needs_unit: bool


class ArgumentShape(BaseModel):
    """One argument of a formula."""

    name: str
    unit: str
    meaning: str
    default: float | None


class FormulaShape(BaseModel):
    """One formula."""

    name: str
    title: str
    subject: str
    unit: str
    arguments: list[ArgumentShape]


@router.get("", tags=["bench"])
def bench(request: Request) -> BenchShape:
    """What this bench knows: machines, resins and recipes by name."""
    shop = desk_of(request).shop().records
    return BenchShape(
        name="vatwright",
        version=__version__,
        machines=[m.name for m in shop.machines],
        resins=[r.name for r in shop.resins],
        recipes=[r.name for r in shop.recipes],
    )


@router.post(
    "/files",
    status_code=201,
    tags=["parts"],
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def hand_in(
    request: Request, name: Annotated[str, Query(max_length=200, description="File name; its ending says the format")]
) -> FileShape:
    """Hand in one part file: STL, 3MF, OBJ or PLY."""
    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/octet-stream":
        raise HTTPException(415, "Send the file as application/octet-stream.")
    body = io.BytesIO(await request.body())
    kept = await run_in_threadpool(desk_of(request).tray.keep, name, body)
    return FileShape(file=kept.handle, name=kept.name, bytes=kept.size, needs_unit=kept.needs_unit)


@router.delete("/files/{file}", status_code=204, tags=["parts"], responses=problems(404))
def take_away(request: Request, file: Handle) -> Response:
    """Take a part file away."""
    if not desk_of(request).tray.remove(file):
        raise HTTPException(404, "No such file is on the tray.")
    return Response(status_code=204)


@router.post("/study", status_code=202, tags=["parts"], responses=problems(503))
def study(request: Request, asked: StudyAsked, response: Response) -> WorkShape:
    """Study parts layer by layer; the result is ``vatwright.study/1``."""
    return begun(desk_of(request).study(asked), response)


@router.post("/carry", status_code=202, tags=["carry"], responses=problems(503))
def carry(request: Request, asked: CarryAsked, response: Response) -> WorkShape:
    """Carry a proven recipe; the result is ``vatwright.carry/1``."""
    return begun(desk_of(request).work_out(asked), response)


@router.post("/level", tags=["level"])
def level(request: Request, asked: LevelAsked) -> dict[str, Any]:
    """Say how a platform stands and what to turn: ``vatwright.level/1``."""
    return level_json(desk_of(request).level(asked), cite=cite)


@router.get("/calc", tags=["calc"])
def formulas() -> list[FormulaShape]:
    """List every formula."""
    return [
        FormulaShape(
            name=f.name,
            title=f.title,
            subject=f.subject,
            unit=unit_text(f.unit),
            arguments=[
                ArgumentShape(name=a.name, unit=a.unit_text, meaning=a.meaning, default=f.defaults.get(a.name))
                for a in f.arguments
            ],
        )
        for f in FORMULAS.values()
    ]


@router.get("/calc/{name}", tags=["calc"], responses=problems(404))
def one_formula(request: Request, name: Handle) -> dict[str, Any]:
    """Work out one formula; its arguments stand in the query, ``?radius_mm=10``."""
    if name not in FORMULAS:
        raise HTTPException(404, "There is no formula of that name.")
    return calculate(name, [f"{k}={v}" for k, v in request.query_params.multi_items()]).to_json()


@router.get("/work/{work}", tags=["work"], responses=problems(404))
def progress(request: Request, work: Handle) -> WorkShape:
    """How far a piece of work is."""
    return shape_of(_work(request, work))


@router.get("/work/{work}/result", tags=["work"], responses=problems(404, 409, 500))
def result(request: Request, work: Handle) -> dict[str, Any]:
    """What came of a piece of work, in the shape its kind has; 409 while it is not there."""
    found = _work(request, work)
    if found.problem is not None:
        raise found.problem
    if found.state is JobState.FAILED:
        raise HTTPException(500, "This work failed, and that is a fault of ours.")
    if found.result is None:
        raise HTTPException(409, f"This work is {found.state}.")
    return RESULTS[found.kind](found.result)


@router.delete("/work/{work}", status_code=204, tags=["work"], responses=problems(404))
def cancel(request: Request, work: Handle) -> Response:
    """Stop a piece of work at its next step."""
    desk_of(request).work.cancel(_work(request, work))
    return Response(status_code=204)


def _work(request: Request, work_id: str) -> Work:
    found = desk_of(request).work.find(work_id)
    if found is None:
        raise HTTPException(404, "No such work is kept.")
    return found


router.include_router(live_api.router)
router.include_router(files_api.router)
router.include_router(look_api.router)
router.include_router(notebook_api.router)
router.include_router(floor_api.router)
router.include_router(asking_api.router)
