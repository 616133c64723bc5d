"""Make a trial piece: plan for the machine, size the piece by what is believed, study it, say what it will show."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from attrs import evolve

from vatwright.evidence.belief import Unknown
from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.base import stack_load
from vatwright.planning.demand.run_temperature import warmed_on_target
from vatwright.planning.trial.trials import draft_solid, lay_trial, tell_trial
from vatwright.records.job import Job, Shop
from vatwright.records.machine import Machine
from vatwright.records.part import PartUse
from vatwright.records.progress import Progress, silent
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import PartGeometry, PartReader, StudyMemory
from vatwright.services.study_parts import PartBench, study_plate
from vatwright.services.trial_job import TrialWanted, trial_job

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from vatwright.evidence.belief import Belief
    from vatwright.records.study import Study
    from vatwright.records.trial import Trial

    Floats = NDArray[np.float64]


class Made(NamedTuple):
    """A trial: its sheet, its solids (F, 3, 3) [m], its study, and the job that prints it."""

    trial: Trial
    corners_m: Floats
    study: Study
    job: Job


def make_trial(
    shop: Shop,
    wanted: TrialWanted,
    read: PartReader,
    *,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
    belief: Belief | None = None,
) -> Made:
    """Return a trial for a machine of a shop.

    Parameters
    ----------
    shop : Shop
        Machines, resins and recipes.
    wanted : TrialWanted
        Which trial.
    read : PartReader
        Reads the parts that the recipe was proven on.
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run.
    belief : Belief or None
        What noted runs let one believe about its :func:`trial_job`: the trial is sized for what is still open after them.

    Returns
    -------
    Made
        The trial and all that is needed to print it.

    Raises
    ------
    InputError
        When the shop has no such machine, no such resin, or no recipe to start from.
    WillNotWork
        In a room that is too cold or too warm for any answer.
    """
    job = trial_job(shop, wanted)
    layer_nm = job.recipe.settings.layer_nm
    bench = PartBench(read, layer_nm=layer_nm, progress=progress, memory=memory)
    proven = proven_study(job, bench)
    draft = _draft(job, wanted, bench, layer_nm)
    progress("sizing the trial", 0, 1)
    case, advised = planned(job, proven=proven, target=draft, belief=belief)
    layout = lay_trial(wanted.kind, case, advised)
    study = _study(layout.corners_m, job.target, layout.settings.layer_nm)
    case = evolve(case, target_study=study, target_load=warmed_on_target(job, stack_load(study, job.target)))
    progress("sizing the trial", 1, 1)
    blur = Unknown("blur", job.target.name)
    blur_z = belief.values(blur) if belief is not None and belief.knows(blur) else None
    return Made(tell_trial(layout, case, advised, blur_z=blur_z), layout.corners_m, study, job)


def _draft(job: Job, wanted: TrialWanted, bench: PartBench, layer_nm: int) -> Study:
    """What the settings that a trial has in common with every run are planned by: the plate it is made for, or a disc."""
    if wanted.of is not None:
        return study_plate(wanted.of.parts, bench, machine=job.target).study
    return _study(draft_solid(job.target, layer_nm=layer_nm), job.target, layer_nm)


def _study(corners_m: Floats, machine: Machine, layer_nm: int) -> Study:
    def solid(part: PartUse, *, layer_nm: int) -> PartGeometry:  # noqa: ARG001 - a PartReader
        return PartGeometry(name=part.name, corners_m=corners_m)

    part = PartUse(name="trial", file="trial", unit="mm", as_drawn=True)
    return study_plate([part], PartBench(solid, layer_nm=layer_nm), machine=machine).study
