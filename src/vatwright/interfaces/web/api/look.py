"""Quick looks for programs: one thing of a carry changed, and what moves."""

from __future__ import annotations

from fastapi import APIRouter, Request

from vatwright.interfaces.web.job_shape import Handle, done_work
from vatwright.interfaces.web.look import LookAsked, LookShape, look, shape_of_look
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of

router = APIRouter(tags=["carry"])


@router.post("/work/{work}/look", responses=problems(404, 409))
def look_at(request: Request, work: Handle, asked: LookAsked) -> LookShape:
    """Change one thing of a carry and see what moves, quickly; 409 while the sheet is not there."""
    return shape_of_look(look(desk_of(request), done_work(request, work, "carry"), asked))
