"""Runs that go on, for programs and for the Run page: see them, put one on the bench, tap."""

from __future__ import annotations

from typing import Annotated, Literal

from fastapi import APIRouter, HTTPException, Request, Response
from pydantic import BaseModel, Field

from vatwright.interfaces.web.forms import Asked
from vatwright.interfaces.web.job_shape import Handle
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of
from vatwright.records.live_run import LiveRun, Tap, TapKind

router = APIRouter(tags=["runs"])


class RunAsked(Asked):
    """Which carry to run: the handle of its work."""

    work: Annotated[str, Field(max_length=100)]


class TapAsked(Asked):
    """One tap; the same one may be sent again until it is answered."""

    id: Annotated[str, Field(min_length=8, max_length=100, pattern=r"^[A-Za-z0-9_-]+$")]
    kind: Literal["started", "done", "later", "could_not", "layer", "back", "ended"]
    at_s: Annotated[float | None, Field(ge=0.0, le=1e11, description="when it was tapped, Unix time; else now")] = None
    about: Annotated[str, Field(max_length=100, description="the visit it answers, or the tap it takes back")] = ""
    layer: Annotated[int | None, Field(ge=0, le=1_000_000)] = None


class VisitShape(BaseModel):
    """A change still to be made by hand; times since the start."""

    visit: str
    layer: int
    value_s: float
    due_s: float
    late_ok_s: float | None
    early_ok_s: float | None


class AnsweredShape(BaseModel):
    """A change that was made or could not be."""

    visit: str
    value_s: float
    said: str
    at_s: float
    due_s: float


class RunShape(BaseModel):
    """A run as it stands now."""

    run: str
    job: str
    machine: str
    state: Literal["ready", "running", "over", "ended"]
    now_s: float
    elapsed_s: float
    total_s: float
    layer: int
    layers: int
    setting: str
    value_s: float
    ahead: list[VisitShape]
    answered: list[AnsweredShape]
    short_layers: list[list[int]]


@router.get("/runs")
def runs(request: Request) -> list[RunShape]:
    """List the runs on the bench, newest first."""
    return [_shape(request, run) for run in desk_of(request).runs.all()]


@router.post("/runs", status_code=201, responses=problems(404))
def put(request: Request, asked: RunAsked, response: Response) -> RunShape:
    """Put a run of a carry on the bench; it waits for its start."""
    desk = desk_of(request)
    work = desk.work.find(asked.work)
    if work is None or work.kind != "carry" or work.result is None:
        raise HTTPException(404, "No such carry is kept, or it has no sheet yet.")
    run = desk.runs.put(work.result, work.about, passing=desk.tray.folder)
    response.headers["location"] = f"/api/v1/runs/{run.id}"
    return _shape(request, run)


@router.get("/runs/{run}", responses=problems(404))
def one(request: Request, run: Handle) -> RunShape:
    """How a run stands."""
    return _shape(request, _found(request, run))


@router.post("/runs/{run}/taps", responses=problems(404))
def tap(request: Request, run: Handle, asked: TapAsked) -> RunShape:
    """Say what was done beside the machine; a tap that came before, or has nothing to say any more, changes nothing."""
    _found(request, run)
    live = desk_of(request).runs
    said = Tap(
        id=asked.id, kind=TapKind(asked.kind), at_s=live.now() if asked.at_s is None else asked.at_s, about=asked.about,
        layer=asked.layer,
    )  # fmt: skip
    return _shape(request, live.tap(run, said))


def _found(request: Request, run_id: str) -> LiveRun:
    run = desk_of(request).runs.find(run_id)
    if run is None:
        raise HTTPException(404, "No such run is on the bench.")
    return run


def _shape(request: Request, run: LiveRun) -> RunShape:
    view, plan = desk_of(request).runs.view(run), run.plan
    return RunShape(
        run=run.id, job=plan.job, machine=plan.machine, state=view.state, now_s=view.now_s, elapsed_s=view.elapsed_s,
        total_s=view.total_s, layer=view.layer, layers=len(plan.rest_s), setting=plan.setting, value_s=view.value_s,
        ahead=[
            VisitShape(
                visit=n.key, layer=n.layer, value_s=n.value_s, due_s=n.due_s, late_ok_s=_finite(n.late_ok_s),
                early_ok_s=_finite(n.early_ok_s),
            )
            for n in view.ahead
        ],
        answered=[
            AnsweredShape(visit=a.key, value_s=a.value_s, said=a.kind, at_s=a.at_s, due_s=a.due_s)
            for a in view.answered
        ],
        short_layers=[list(pair) for pair in view.short],
    )  # fmt: skip


def _finite(value: float) -> float | None:
    return value if value < 1e300 else None
