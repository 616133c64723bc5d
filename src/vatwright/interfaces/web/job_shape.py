"""How far a piece of work is, as programs read it, and what each kind of work gives them at its end."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Any

from fastapi import HTTPException, Path, Request, Response
from pydantic import BaseModel

from vatwright.files.outcome import outcome_text
from vatwright.interfaces.render.carry_json import carry_json
from vatwright.interfaces.render.compare_json import compare_json
from vatwright.interfaces.render.cost_json import cost_json
from vatwright.interfaces.render.fleet_json import fleet_json
from vatwright.interfaces.render.learn_json import learn_json
from vatwright.interfaces.render.notebook_json import noted_json
from vatwright.interfaces.render.stand_json import stand_json
from vatwright.interfaces.render.study_json import study_json
from vatwright.interfaces.render.trial_json import trial_json
from vatwright.interfaces.render.trim_json import trim_json
from vatwright.interfaces.render.why_json import why_json
from vatwright.interfaces.web.desk import cite
from vatwright.interfaces.web.jobs import JobState, Work
from vatwright.interfaces.web.problems import Problem
from vatwright.interfaces.web.rendering import desk_of
from vatwright.wording import to_say

BASE = "/api/v1"

Handle = Annotated[str, Path(max_length=100, pattern=r"^[A-Za-z0-9_-]+$")]
"""What tells one kept thing from another in an address."""

SOLIDS = "trial.stl"
"""What the solids of a trial are called."""

RESULTS: dict[str, Callable[[Any], dict[str, Any]]] = {
    "study": study_json,
    "carry": lambda sheet: carry_json(sheet, cite=cite),
    "why": lambda sheet: why_json(sheet, cite=cite),
    "trial": lambda made: trial_json(made.trial, file=SOLIDS, cite=cite),
    "stand": lambda stood: stand_json(stood.sheet),
    "trim": trim_json,
    "cost": lambda sheet: cost_json(sheet, cite=cite),
    "compare": lambda sheet: compare_json(sheet, cite=cite),
    "fleet": lambda plan: fleet_json(plan, cite=cite),
    "note": lambda done: noted_json(done.noted, done.address, outcome_text(done.noted.outcome)),
    "learn": lambda sheet: learn_json(sheet, cite=cite),
}
"""Kind of work: what writes its result as the command's ``--json`` does."""


class WorkShape(BaseModel):
    """How far a piece of work is."""

    work: str
    kind: str
    title: str
    state: JobState
    what: str
    done: int
    total: int
    result: str | None
    problem: Problem | None


def begun(work: Work, response: Response) -> WorkShape:
    """Return work that has just begun, and say in the answer where to ask about it."""
    response.headers["location"] = f"{BASE}/work/{work.id}"
    return shape_of(work)


def done_work(request: Request, work_id: str, kind: str) -> Work:
    """Return a piece of work of one kind that has its result; else there is none such, or not yet."""
    found = desk_of(request).work.find(work_id)
    if found is None or found.kind != kind:
        raise HTTPException(404, to_say("No such work on a {kind} is kept.", kind=kind))
    if found.problem is not None:
        raise found.problem
    if found.result is None:
        raise HTTPException(409, to_say("This work is {state}.", state=found.state))
    return found


def shape_of(work: Work) -> WorkShape:
    """Return how far a piece of work is."""
    problem = None
    if work.problem is not None:
        problem = Problem(type="about:blank", title="It will not do", status=422, detail=str(work.problem))
    return WorkShape(
        work=work.id,
        kind=work.kind,
        title=work.title,
        state=work.state,
        what=work.what,
        done=work.done,
        total=work.total,
        result=f"{BASE}/work/{work.id}/result" if work.state is JobState.DONE else None,
        problem=problem,
    )
