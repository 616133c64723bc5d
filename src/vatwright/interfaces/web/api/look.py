"""Quick looks for programs: one thing of a carry changed, and what moves."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Request

from vatwright.interfaces.web.look import LookAsked, LookShape, look, shape_of_look
from vatwright.interfaces.web.problems import MEDIA_TYPE
from vatwright.interfaces.web.rendering import desk_of

router = APIRouter(tags=["carry"])

Handle = Annotated[str, Path(max_length=100, pattern=r"^[A-Za-z0-9_-]+$")]
_PROBLEMS: dict[int | str, dict[str, Any]] = {
    status: {
        "description": "Problem details",
        "content": {MEDIA_TYPE: {"schema": {"$ref": "#/components/schemas/Problem"}}},
    }
    for status in (404, 409)
}


@router.post("/work/{work}/look", responses=_PROBLEMS)
def look_at(request: Request, work: Handle, asked: LookAsked) -> LookShape:
    """Change one thing of a carry and see what moves, quickly; 409 while the sheet is not there."""
    desk = desk_of(request)
    found = desk.work.find(work)
    if found is None or found.kind != "carry":
        raise HTTPException(404, "No such carry is kept.")
    if found.result is None:
        raise HTTPException(409, f"This work is {found.state}.")
    return shape_of_look(look(desk, found, asked))
