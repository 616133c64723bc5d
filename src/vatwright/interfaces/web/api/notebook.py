"""Shop and notebook for programs: what is kept, keep more, note a run, take back, history, hand the whole over."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Query, Request, Response
from pydantic import Field

from vatwright.errors import InputError
from vatwright.files.outcome import outcome_text
from vatwright.files.stock_file import stock_table
from vatwright.interfaces.render.notebook_json import changes_json, kept_json, shop_json
from vatwright.interfaces.web import noting, shelf
from vatwright.interfaces.web.desk import Desk
from vatwright.interfaces.web.forms import Asked, Name, Number, in_bench_words
from vatwright.interfaces.web.job_shape import WorkShape, begun
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of
from vatwright.records.run import RunOutcome
from vatwright.services.keep_shop import find

router = APIRouter(tags=["notebook"])

NOT_THERE = "There is no notebook yet: keep something first."
MOST_RUNS = 1000


class EntriesAsked(Asked):
    """Entries to keep: the text of a shop or stock file."""

    toml: Annotated[str, Field(min_length=1, max_length=400_000)]
    what: Annotated[str, Field(min_length=1, max_length=200, description="the change in a few words")] = "a program"


class UndoAsked(Asked):
    """Which change to take back; the last one where none is named."""

    number: Annotated[int | None, Field(ge=1, le=1_000_000_000)] = None


class NoteAsked(Asked):
    """What happened in a run; outcomes are words as ``vatwright note`` takes them."""

    of: Annotated[
        str, Field(pattern="^(run|carry|like)$", description="a run on the bench, a carry, a run noted before")
    ]
    id: Annotated[
        str, Field(max_length=400, description="handle of the run or of the carry, or the name of a run noted")
    ]
    outcomes: Annotated[list[Annotated[str, Field(max_length=200)]], Field(max_length=200)]
    run: Name | None = None
    at: Annotated[str | None, Field(max_length=60, description="2026-03-01T18:30:00+01:00")] = None
    room_c: Number | None = None
    film: Name | None = None
    screen: Name | None = None
    lot: Name | None = None
    photos: Annotated[list[Annotated[str, Field(max_length=1000)]], Field(max_length=50)] = Field(default_factory=list)
    words: Annotated[str | None, Field(max_length=10_000)] = None
    predict: bool = True


def _notebook(desk: Desk) -> None:
    if not shelf.is_there(desk):
        raise HTTPException(404, NOT_THERE)


@router.get("/shop", responses=problems(404))
def shop(
    request: Request,
    kind: Annotated[str | None, Query(max_length=40)] = None,
    name: Annotated[str | None, Query(max_length=400)] = None,
) -> dict[str, Any]:
    """Show what the notebook holds, all of it, one kind or one entry: ``vatwright.shop/1``."""
    desk = desk_of(request)
    _notebook(desk)
    with shelf.notebook_of(desk) as notebook:
        found = find(notebook.contents(), kind, name)
        return shop_json(found.kinds, notebook.address, stock_table)


@router.post("/shop")
def keep(request: Request, asked: EntriesAsked) -> dict[str, Any]:
    """Keep machines, resins, recipes, films, screens, lots, stations and prices as one change: ``vatwright.change/1``."""
    desk = desk_of(request)
    kept = shelf.keep_text(desk, asked.toml, what=asked.what)
    return kept_json(kept.change, _address(desk), same=kept.same)


@router.get("/notebook/runs", responses=problems(404))
def runs(
    request: Request,
    machine: Annotated[str | None, Query(max_length=400)] = None,
    resin: Annotated[str | None, Query(max_length=400)] = None,
) -> dict[str, Any]:
    """List the runs noted, the newest first, each as ``vatwright.outcome/1``; of one machine or resin where named."""
    desk = desk_of(request)
    _notebook(desk)
    with shelf.notebook_of(desk) as notebook:
        found = list(reversed(notebook.runs(machine=machine, resin=resin)))
        address = notebook.address
    listed = [_outcome(run) for run in found[:MOST_RUNS]]
    return {"schema": "vatwright.runs/1", "notebook": address, "count": len(found), "runs": listed}


def _outcome(run: RunOutcome) -> dict[str, Any]:
    import json

    table: dict[str, Any] = json.loads(outcome_text(run))
    return table


@router.post("/notebook/notes", status_code=202, responses=problems(404, 503))
def note(request: Request, asked: NoteAsked, response: Response) -> WorkShape:
    """Write down what happened in a run; the result of the work is ``vatwright.noted/1``."""
    desk = desk_of(request)
    found = noting.to_note(desk, asked.of, asked.id)
    if found is None:
        raise HTTPException(404, "There is no such run.")
    keys = ("run", "at", "room_c", "film", "screen", "lot", "photos", "words")
    said = {key: value for key in keys if (value := getattr(asked, key))}
    try:
        outcome = noting.outcome_of(found, list(asked.outcomes), said)
    except InputError as problem:
        raise in_bench_words(problem, {}, "outcome") from problem
    return begun(noting.start_note(desk, found, outcome, predict=asked.predict), response)


def _address(desk: Desk) -> str:
    with shelf.notebook_of(desk) as notebook:
        return notebook.address


@router.get("/notebook/changes", responses=problems(404))
def changes(request: Request) -> dict[str, Any]:
    """List every change, oldest first: ``vatwright.changes/1``."""
    desk = desk_of(request)
    _notebook(desk)
    with shelf.notebook_of(desk) as notebook:
        return changes_json(notebook.changes(), notebook.address)


@router.post("/notebook/undo", responses=problems(404))
def undo(request: Request, asked: UndoAsked) -> dict[str, Any]:
    """Take a change back; to take that one back is to do it again: ``vatwright.change/1``."""
    desk = desk_of(request)
    _notebook(desk)
    change = shelf.take_back(desk, asked.number)
    return kept_json(change, _address(desk), same=0)


@router.get(
    "/notebook/export",
    response_class=Response,
    responses={
        200: {"content": {"application/zip": {"schema": {"type": "string", "format": "binary"}}}},
        **problems(404),
    },
)
def export(request: Request) -> Response:
    """Hand over the whole notebook as open files in a zip."""
    desk = desk_of(request)
    _notebook(desk)
    return Response(shelf.export_zip(desk), media_type="application/zip")


@router.post(
    "/notebook/import",
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}},
        }
    },
)
async def take_in(request: Request) -> dict[str, Any]:
    """Take in what an export holds; what is there already is left alone: ``vatwright.change/1``."""
    from fastapi.concurrency import run_in_threadpool

    if request.headers.get("content-type", "").partition(";")[0].strip() != "application/octet-stream":
        raise HTTPException(415, "Send the zip as application/octet-stream.")
    desk = desk_of(request)
    kept = await run_in_threadpool(shelf.import_zip, desk, await request.body())
    return kept_json(kept.change, await run_in_threadpool(_address, desk), same=kept.same)
