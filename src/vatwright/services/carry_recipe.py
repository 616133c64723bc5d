"""Carry a proven recipe to another machine: study both plates, then plan."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import evolve

from vatwright.errors import InputError, Mistake
from vatwright.evidence.belief import Belief
from vatwright.geometry.profile import layer_count
from vatwright.planning.carry.advise import Advised
from vatwright.planning.carry.carry import Known, PlateCounts, carry, planned
from vatwright.planning.carry.quick_look import Planned, quick_look
from vatwright.planning.demand.case import Case
from vatwright.planning.plates.plate_load import study_of_load
from vatwright.planning.trial.next_reading import steps_of
from vatwright.planning.trim.experience import experienced
from vatwright.planning.trim.trim import Trimming, trimmed
from vatwright.records.job import Job
from vatwright.records.learned import NextStep
from vatwright.records.part import PlateLoad
from vatwright.records.plan import CarrySheet
from vatwright.records.progress import Progress, silent
from vatwright.records.quick_look import QuickLook
from vatwright.records.study import Study
from vatwright.records.tried import TriedRun
from vatwright.services.part_changes import Changes, part_changes
from vatwright.services.ports import PartReader, StudyMemory
from vatwright.services.recent_plans import recent
from vatwright.services.study_parts import PartBench, PlatePlan, plate_layers, study_plate
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Mapping


def look_quickly(
    job: Job, *, changed: Job | None = None, values: Mapping[str, float] | None = None
) -> QuickLook | None:
    """Return what moves on the sheet of a job when one thing is changed; None where its plan is no longer kept.

    Parameters
    ----------
    job : Job
        The very job that was carried in this process.
    changed : Job or None
        The same with another room, resin, cover or other hands.
    values : mapping of str to float or None
        By setting name, what is set instead of what the plan wants, SI.
    """
    plan = recent.of(job)
    return None if plan is None else quick_look(plan, job=changed, values=values)


def carry_recipe(
    job: Job,
    read: PartReader,
    *,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
    belief: Belief | None = None,
    tried: tuple[TriedRun, ...] = (),
) -> CarrySheet:
    """Return the carry sheet of a job.

    Parameters
    ----------
    job : Job
        With every record it names.
    read : PartReader
        Reads part files.
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run.
    belief : Belief or None
        What noted runs have taught.
    tried : tuple of TriedRun
        Noted runs of this very job, oldest first.

    Returns
    -------
    CarrySheet
        The answer and its reasons.

    Raises
    ------
    InputError
        When parts cannot be used or do not fit the target, or nothing says what the recipe was proven on.
    """
    bench = PartBench(read, layer_nm=job.recipe.settings.layer_nm, progress=progress, memory=memory)
    plan, proven, counts = _plates(job, bench)
    progress("carrying the recipe", 0, 2)

    changes = Changes((), None)

    def found(case: Case, chosen: Advised) -> tuple[NextStep, ...]:
        nonlocal changes
        changes = part_changes(case, chosen, bench, plan)
        recent.keep(Planned(case=case, chosen=chosen, plates=counts, belief=belief))
        progress("carrying the recipe", 1, 2)  # where it can be stopped
        return steps_of(case, chosen)

    def known(case: Case, chosen: Advised) -> Known:
        progress("weighing what was run before", 0, 2)
        return after_runs(case, chosen, counts, tried, trim=job.trim)

    sheet = carry(
        job,
        proven=proven,
        target=plan.study,
        plates=counts,
        belief=belief,
        found=found,
        known=known if job.trim or tried else None,
    )
    progress("carrying the recipe", 2, 2)
    return evolve(sheet, part_changes=changes.changes, slow_face=changes.slow_face)


def after_runs(case: Case, chosen: Advised, plates: PlateCounts, tried: tuple[TriedRun, ...], *, trim: bool) -> Known:
    """Return the plan that noted runs of a job leave of what is advised, less a step where the job asks for it.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    chosen : Advised
        What is advised.
    plates : PlateCounts
        Layers of every plate on both machines.
    tried : tuple of TriedRun
        Noted runs of this very job, oldest first.
    trim : bool
        Whether a step is taken away.
    """
    bench, told = Trimming(case=case, today=chosen, plates=plates), None
    if tried:
        bench, told = experienced(bench, tried)
    if not trim:
        return Known(bench.today, None, told)
    plan, taken = trimmed(bench)
    return Known(bench.whole(plan), taken, told)


def plan_job(
    job: Job,
    read: PartReader,
    *,
    progress: Progress = silent,
    memory: StudyMemory | None = None,
    belief: Belief | None = None,
) -> Planned:
    """Return what a carry of a job works on and the values it chooses, without the sheet; as :func:`carry_recipe`."""
    plan, proven, counts = _plates(
        job, PartBench(read, layer_nm=job.recipe.settings.layer_nm, progress=progress, memory=memory)
    )
    case, chosen = planned(job, proven=proven, target=plan.study, belief=belief)
    return Planned(case=case, chosen=chosen, plates=counts, belief=belief)


def _plates(job: Job, bench: PartBench) -> tuple[PlatePlan, Study, PlateCounts]:
    """The plates to print, the one the recipe was proven on, and the layers of all plates on both machines."""
    plan = study_plate(job.parts, bench, machine=job.target)
    counts = PlateCounts(origin=plate_layers(job.parts, bench, machine=job.origin), target=plan.layers)
    return plan, proven_study(job, bench, plan.study), counts


def proven_study(job: Job, bench: PartBench, target: Study | None = None) -> Study:
    """Return the study of the plate that a job's recipe was proven on; `target` itself where it is that very plate.

    Parameters
    ----------
    job : Job
        Its recipe says what it was proven on.
    bench : PartBench
        Reads and studies parts.
    target : Study or None
        The plate of this job, where it is studied already.

    Returns
    -------
    Study
        In the window of the machine it was proven on.

    Raises
    ------
    InputError
        Where nothing says what it was proven on, or that cannot have stood on the machine.
    """
    proof = job.recipe.proof
    if proof.parts:
        if target is not None and proof.parts == job.parts and job.origin == job.target:
            return target
        return study_plate(proof.parts, bench, machine=job.origin).study
    if proof.load is None:
        raise InputError.one(
            to_say("recipe {name!r}", name=job.recipe.name),
            to_say("nothing says what it was proven on"),
            to_say("Name the parts it ran, or the number of pieces, their largest section and their height"),
        )
    _require_possible(job, proof.load)
    layers = layer_count(proof.load.height_m, job.recipe.settings.layer_nm)
    return study_of_load(
        proof.load, layer_nm=job.recipe.settings.layer_nm, layers=layers,
        platform=job.origin.platform, window=job.origin.window,
    )  # fmt: skip


def _require_possible(job: Job, load: PlateLoad) -> None:
    """Refuse a proof that the machine it names had no room for: whatever follows from it would be nonsense."""
    name, platform = job.origin.name, job.origin.platform
    covered_m2, room_m2 = load.pieces * load.section_m2, platform.width_m * platform.depth_m
    tests = (
        (
            covered_m2 > room_m2,
            f"{load.pieces} x {load.section_m2 * 1e6:.0f} mm2 is more than the platform of {name}, {room_m2 * 1e6:.0f} mm2",
            "Check the section and its unit, the pieces, and the machine they ran on",
        ),
        (
            load.height_m > job.origin.height_m,
            f"{load.height_m * 1e3:.1f} mm is taller than {name} prints, {job.origin.height_m * 1e3:.0f} mm",
            "Check the height and its unit, and the machine it ran on",
        ),
    )
    where = f"recipe {job.recipe.name!r}, what it was proven on"
    mistakes = [Mistake(where, problem, do) for wrong, problem, do in tests if wrong]
    if mistakes:
        raise InputError(mistakes)
