"""The shop floor for programs: what an order costs, on which machine, and a whole order book."""

from __future__ import annotations

from fastapi import APIRouter, Request, Response

from vatwright.interfaces.web.floor_desk import start_compare, start_cost, start_fleet, start_replan, start_trim
from vatwright.interfaces.web.floor_forms import CompareAsked, FleetAsked, ReplanAsked, TrimAsked
from vatwright.interfaces.web.forms import CarryAsked
from vatwright.interfaces.web.job_shape import Handle, WorkShape, begun, done_work
from vatwright.interfaces.web.pages import stand as stand_page
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of

router = APIRouter(tags=["shop floor"])


@router.post("/cost", status_code=202, responses=problems(503))
def cost(request: Request, asked: CarryAsked, response: Response) -> WorkShape:
    """Carry a job and say what it costs; the result is ``vatwright.cost/1``."""
    desk = desk_of(request)
    job, labels = desk.opened(asked)
    return begun(start_cost(desk, job, labels), response)


@router.post("/compare", status_code=202, responses=problems(503))
def compare(request: Request, asked: CompareAsked, response: Response) -> WorkShape:
    """Set one order on several machines side by side; the result is ``vatwright.compare/1``."""
    desk = desk_of(request)
    job, labels = desk.opened(CarryAsked(job=asked.job, part=asked.part))
    return begun(start_compare(desk, job, labels, asked.machines), response)


@router.post("/stand", status_code=202, responses=problems(503))
def stand(request: Request, asked: stand_page.StandForm, response: Response) -> WorkShape:
    """Say how a part should stand; the result is ``vatwright.stand/1``."""
    return begun(stand_page.begin_on(desk_of(request), asked), response)


@router.post("/trim", status_code=202, responses=problems(503))
def trim(request: Request, asked: TrimAsked, response: Response) -> WorkShape:
    """Say what of a job's waits is needed and what to run next; the result is ``vatwright.trim/1``."""
    desk = desk_of(request)
    job, labels = desk.opened(CarryAsked(job=asked.job, part=asked.part))
    return begun(start_trim(desk, job, labels, asked.hold), response)


@router.post("/fleet", status_code=202, responses=problems(503))
def fleet(request: Request, asked: FleetAsked, response: Response) -> WorkShape:
    """Plan an order book on all machines; the result is ``vatwright.fleet/1``."""
    return begun(start_fleet(desk_of(request), asked), response)


@router.post("/fleet/{work}/again", status_code=202, responses=problems(404, 409, 503))
def again(request: Request, work: Handle, asked: ReplanAsked, response: Response) -> WorkShape:
    """Plan anew from a plan after plates failed or machines stopped; the result is ``vatwright.fleet/1``."""
    plan = done_work(request, work, "fleet").result
    return begun(start_replan(desk_of(request), plan, asked), response)
