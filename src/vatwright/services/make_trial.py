"""Make a trial piece: plan for the machine, size the piece by what is believed, study it, say what it will show."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, TypeVar

from attrs import evolve, frozen

from vatwright.errors import InputError
from vatwright.planning.base import stack_load
from vatwright.planning.carry import planned
from vatwright.planning.trials import draft_solid, lay_trial, tell_trial
from vatwright.records.job import Job, Shop
from vatwright.records.machine import Machine
from vatwright.records.material import Resin
from vatwright.records.part import PartUse
from vatwright.records.trial import TrialKind
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import PartGeometry, PartReader, Progress, StudyMemory, silent
from vatwright.services.study_parts import PartBench, study_plate

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from numpy.typing import NDArray

    from vatwright.records.process import Recipe
    from vatwright.records.study import Study
    from vatwright.records.trial import Trial

    Floats = NDArray[np.float64]


_Named = TypeVar("_Named", Machine, Resin)


class Made(NamedTuple):
    """A trial: its sheet, its solids (F, 3, 3) [m], its study, and the job that prints it."""

    trial: Trial
    corners_m: Floats
    study: Study
    job: Job


@frozen(kw_only=True)
class Wanted:
    """Which trial, for which machine and resin, in which room.

    Parameters
    ----------
    kind : TrialKind
        Which.
    machine : str
        Name of the machine.
    resin : str or None
        Name of the resin; None takes that of the recipe.
    room_k : float or None
        Temperature [K]; None takes that of the proven runs.
    file : str
        Where the solids will be, for the job.
    """

    kind: TrialKind
    machine: str
    resin: str | None = None
    room_k: float | None = None
    file: str = "trial.stl"


def make_trial(
    shop: Shop,
    wanted: Wanted,
    read: PartReader,
    *,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
) -> Made:
    """Return a trial for a machine of a shop.

    Parameters
    ----------
    shop : Shop
        Machines, resins and recipes.
    wanted : Wanted
        Which trial.
    read : PartReader
        Reads the parts that the recipe was proven on.
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run.

    Returns
    -------
    Made
        The trial and all that is needed to print it.

    Raises
    ------
    InputError
        When the shop has no such machine, no such resin, or no recipe to start from.
    """
    job = _job(shop, wanted)
    layer_nm = job.recipe.settings.layer_nm
    proven = proven_study(job, PartBench(read, layer_nm=layer_nm, progress=progress, memory=memory))
    draft = _study(draft_solid(job.target, layer_nm=layer_nm), job.target, layer_nm)
    progress("sizing the trial", 0, 1)
    case, advised = planned(job, proven=proven, target=draft)
    layout = lay_trial(wanted.kind, case, advised)
    study = _study(layout.corners_m, job.target, layout.settings.layer_nm)
    case = evolve(case, target_study=study, target_load=stack_load(study, job.target))
    progress("sizing the trial", 1, 1)
    return Made(tell_trial(layout, case, advised), layout.corners_m, study, job)


def _study(corners_m: Floats, machine: Machine, layer_nm: int) -> Study:
    def solid(part: PartUse, *, layer_nm: int) -> PartGeometry:  # noqa: ARG001 - a PartReader
        return PartGeometry(name=part.name, corners_m=corners_m)

    part = PartUse(name="trial", file="trial", unit="mm", as_drawn=True)
    return study_plate([part], PartBench(solid, layer_nm=layer_nm), machine=machine).study


def _job(shop: Shop, wanted: Wanted) -> Job:
    machine = _named(shop.machines, wanted.machine, "machine")
    resin = None if wanted.resin is None else _named(shop.resins, wanted.resin, "resin")
    recipe = _recipe(shop, machine, resin)
    resin_from = _named(shop.resins, recipe.resin, "resin")
    part = PartUse(name=f"{wanted.kind.value} trial", file=wanted.file, unit="mm", as_drawn=True)
    return Job(
        name=f"{wanted.kind.value} trial on {machine.name}",
        recipe=recipe,
        origin=_named(shop.machines, recipe.machine, "machine"),
        target=machine,
        resin_from=resin_from,
        resin=resin or resin_from,
        room_k=recipe.proof.room_k if wanted.room_k is None else wanted.room_k,
        parts=(part,),
    )


def _named(records: Sequence[_Named], name: str, kind: str) -> _Named:
    for record in records:
        if record.name == name:
            return record
    known = ", ".join(r.name for r in records) or "none"
    raise InputError.one(name, f"is no {kind} of this shop", f"It holds: {known}")


def _recipe(shop: Shop, machine: Machine, resin: Resin | None) -> Recipe:
    """The recipe to start from: proven on this machine with this resin, else with either, else any."""

    def near(recipe: Recipe) -> tuple[bool, bool]:
        return (resin is None or recipe.resin == resin.name, recipe.machine == machine.name)

    if not shop.recipes:
        raise InputError.one(
            "recipe", "this shop has no proven recipe, so there are no settings to print a trial with",
            "Write down one recipe that worked, on any machine",
        )  # fmt: skip
    return max(shop.recipes, key=near)
