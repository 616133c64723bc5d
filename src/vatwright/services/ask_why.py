"""Ask why a run failed: study both plates, plan as the carry did, weigh what was seen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.errors import InputError, Mistake
from vatwright.planning.carry.carry import planned
from vatwright.planning.carry.warmth import refuse_unchecked
from vatwright.planning.why.why import why
from vatwright.records.progress import Progress, silent
from vatwright.records.run import Quantity
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import PartReader, StudyMemory
from vatwright.services.study_parts import PartBench, study_plate
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.evidence.belief import Belief
    from vatwright.records.job import Job
    from vatwright.records.study import Study
    from vatwright.records.why import Observed, WhySheet


def ask_why(
    job: Job,
    observed: Observed,
    read: PartReader,
    *,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
    belief: Belief | None = None,
) -> WhySheet:
    """Return why a run of a job failed.

    Parameters
    ----------
    job : Job
        With every record it names.
    observed : Observed
        What was seen and read, and what was set otherwise than advised.
    read : PartReader
        Reads part files.
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run.
    belief : Belief or None
        What noted runs have taught.

    Returns
    -------
    WhySheet
        Causes, likeliest first.

    Raises
    ------
    InputError
        When parts cannot be used, or something was seen that this plate cannot show; all mistakes at once.
    WillNotWork
        In a room that is too cold or too warm for any answer.
    """
    refuse_unchecked(job.room_k, "Causes are not weighed")
    bench = PartBench(read, layer_nm=job.recipe.settings.layer_nm, progress=progress, memory=memory)
    plate = study_plate(job.parts, bench, machine=job.target).study
    if mistakes := sign_mistakes(observed, plate):
        raise InputError(mistakes)
    proven = proven_study(job, bench, plate)
    progress("asking why", 0, 1)
    case, advised = planned(job, proven=proven, target=plate, belief=belief)
    sheet = why(case, advised, observed)
    progress("asking why", 1, 1)
    return sheet


def sign_mistakes(observed: Observed, plate: Study) -> list[Mistake]:
    """Return what a plate cannot have shown."""
    top_mm = plate.layers * plate.layer_m * 1e3
    found = [
        Mistake(
            f"{event.what.value}@{event.layer}",
            to_say("the plate has layers 0 to {layers} ({top_mm:.1f} mm)", layers=plate.layers - 1, top_mm=top_mm),
            to_say("Count from the platform, or give the height, such as 12.5mm"),
        )
        for event in observed.events
        if event.layer is not None and event.layer >= plate.layers
    ]
    if not observed.events and not any(r.quantity is Quantity.HEIGHT for r in observed.readings):
        found.append(
            Mistake(
                "seen",
                to_say("nothing was seen that could have a cause"),
                to_say("Say what, such as base_let_go@rear-left"),
            )
        )
    return found
