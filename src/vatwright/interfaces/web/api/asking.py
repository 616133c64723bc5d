"""Why a run failed, trials and what the runs have taught, for programs."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, HTTPException, Path, Request, Response

from vatwright import wiring
from vatwright.interfaces.render.notebook_json import noted_json
from vatwright.interfaces.web.job_shape import Handle, WorkShape, begun, done_work
from vatwright.interfaces.web.pages import learn as learn_page
from vatwright.interfaces.web.pages import trial as trial_page
from vatwright.interfaces.web.pages import why as why_page
from vatwright.interfaces.web.pages.learn import LearnAsked
from vatwright.interfaces.web.pages.trial import ReadBack, TrialForm
from vatwright.interfaces.web.pages.why import WhyAsked
from vatwright.interfaces.web.problems import problems
from vatwright.interfaces.web.rendering import desk_of

router = APIRouter()

FileName = Annotated[str, Path(max_length=40, pattern=r"^[a-z]+(-[a-z]+)?\.[a-z]+$")]


@router.post("/why", status_code=202, tags=["why"], responses=problems(404, 409, 503))
def why(request: Request, asked: WhyAsked, response: Response) -> WorkShape:
    """Say why a run of a carry's job failed; the result is ``vatwright.why/1``."""
    desk = desk_of(request)
    carried = desk.work.find(asked.carry)
    if carried is None:
        raise HTTPException(404, "No such work is kept.")
    return begun(why_page.ask(desk, carried, asked.seen, run=asked.run), response)


@router.post("/trial", status_code=202, tags=["trial"], responses=problems(503))
def trial(request: Request, asked: TrialForm, response: Response) -> WorkShape:
    """Make a trial piece; the result is ``vatwright.trial/1``."""
    return begun(trial_page.make(desk_of(request), asked), response)


@router.get(
    "/trial/{work}/files/{name}",
    tags=["trial"],
    response_class=Response,
    responses={200: {"content": {kind: {} for kind, _, _ in trial_page.DOWNLOADS.values()}}, **problems(404, 409)},
)
def trial_file(request: Request, work: Handle, name: FileName) -> Response:
    """Return a file of a trial: its solids, its sheet, or the readings to fill in."""
    return trial_page.trial_file(done_work(request, work, "trial"), name)


@router.post("/trial/{work}/readings", tags=["trial"], responses=problems(404, 409))
def trial_readings(request: Request, work: Handle, read: ReadBack) -> dict[str, Any]:
    """Note the readings of a trial in the notebook: ``vatwright.noted/1``."""
    from vatwright.files.outcome import outcome_text
    from vatwright.store.engine import shown_address

    desk, found = desk_of(request), done_work(request, work, "trial")
    noted = trial_page.take_back(desk, found.result, read)
    found.about = noted.outcome.run
    address = shown_address(wiring.store_address(desk.settings.store))
    return noted_json(noted, address, outcome_text(noted.outcome))


@router.post("/learn", status_code=202, tags=["learn"], responses=problems(503))
def learn(request: Request, asked: LearnAsked, response: Response) -> WorkShape:
    """Say what the runs in the notebook have taught; the result is ``vatwright.learn/1``."""
    return begun(learn_page.ask(desk_of(request), asked), response)
