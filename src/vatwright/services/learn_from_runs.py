"""Learn from the runs in a notebook: what is believed now, where the model is off, what to measure next, how good it was."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING

from attrs import evolve, field, frozen

from vatwright.errors import InputError
from vatwright.evidence.belief import Belief
from vatwright.planning.advise import Advised
from vatwright.planning.carry import planned
from vatwright.planning.case import Case
from vatwright.planning.duration import layer_times
from vatwright.planning.learning import (
    Learned,
    beliefs,
    disagreements,
    fading,
    held_counts,
    learn,
    plain_counts,
    scores,
)
from vatwright.planning.next_reading import next_steps
from vatwright.planning.run_evidence import NO_MODEL, NotedRun
from vatwright.records.job import Job, Shop
from vatwright.records.learned import LearnSheet, NextStep
from vatwright.records.plan import NotedRuns
from vatwright.records.process import Settings
from vatwright.records.run import RunOutcome
from vatwright.records.stock import Stock
from vatwright.records.study import Study
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import PartReader, Progress, Store, StudyMemory, silent
from vatwright.services.study_parts import PartBench, study_plate

if TYPE_CHECKING:
    from collections.abc import Iterable

SOURCES = (
    "delmoral:2006", "cotter:2013", "sobol:1993", "gelfand:1992", "gelman:1996", "strong:2014", "murphy:1973",
    "brown:2001", "clopper:1934", "estimate:vatwright",
)  # fmt: skip

SAME_JOB = "Where a run does not say how it was set, what is advised for its job without the notebook is taken."
PROOF = "The proof that a recipe states is not counted here: a carry weighs it. A run that is in both counts twice."


@frozen(kw_only=True)
class _Plate:
    """A job's plates and what is advised for it."""

    case: Case
    advised: Advised
    study: Study


@frozen(kw_only=True)
class LearningBench:
    """Brings the runs of a notebook into the form that can be learned from.

    Parameters
    ----------
    store : Store
        The notebook.
    read : PartReader
        Reads part files.
    now : datetime
        The time, with its zone: old runs count less.
    progress : Progress
        Told how far the work is.
    memory : StudyMemory or None
        What remembers studies.
    today : Shop
        Machines and resins as the job at hand describes them; they go before the notebook's own.
    """

    store: Store
    read: PartReader
    now: datetime
    progress: Progress = silent
    memory: StudyMemory | None = None
    today: Shop = field(factory=Shop)
    _plates: list[tuple[Job, _Plate]] = field(factory=list, init=False)

    def runs(self) -> tuple[tuple[NotedRun, ...], tuple[str, ...]]:
        """Return the runs that can be learned from, oldest first, and why the others cannot."""
        outcomes, shop, stock = self.store.runs(), self.store.shop(), self.store.stock()
        # The last of a name counts: beliefs are about what the job at hand describes.
        shop = evolve(
            shop,
            machines=(*shop.machines, *self.today.machines),
            resins=(*shop.resins, *self.today.resins),
        )
        used, left_out = [], []
        for k, outcome in enumerate(outcomes):
            self.progress("reading the runs", k, len(outcomes))
            try:
                used.append(self._noted(outcome, shop, stock))
            except InputError as problem:
                first = problem.mistakes[0]
                left_out.append(f"{outcome.run}: {first.where} {first.what}")
        self.progress("reading the runs", len(outcomes), len(outcomes))
        return tuple(used), tuple(left_out)

    def plate(self, job: Job, belief: Belief | None = None) -> _Plate:
        """Return a job's plates and what is advised for it; without a belief each job is worked out once."""
        known = next((p for j, p in self._plates if j == job), None)
        if known is not None and belief is None:
            return known
        if known is None:
            parts = PartBench(
                self.read, layer_nm=job.recipe.settings.layer_nm, progress=self.progress, memory=self.memory
            )
            target = study_plate(job.parts, parts, machine=job.target).study
            proven = proven_study(job, parts, target)
        else:
            target, proven = known.study, known.case.proven_study
        case, advised = planned(job, proven=proven, target=target, belief=belief)
        plate = _Plate(case=case, advised=advised, study=target)
        if known is None and belief is None:
            self._plates.append((job, plate))
        return plate

    def _noted(self, outcome: RunOutcome, shop: Shop, stock: Stock) -> NotedRun:
        job = as_described_today(self.store.job_of(outcome.run), outcome, shop)
        plate = self.plate(job)
        settings = plate.advised.settings
        for name, value in outcome.settings.items():
            settings = settings.with_value(name, value)
        return NotedRun(
            outcome=outcome,
            job=job,
            study=plate.study,
            settings=_on_plate(settings, plate.study),
            settle_s=None if {"base.settle_s", "body.settle_s"} & set(outcome.settings) else plate.advised.settle_s,
            old_film=_gone(outcome.film, (f.name for f in stock.films if _in_use(f, outcome.machine))),
            old_screen=_gone(outcome.screen, (s.name for s in stock.screens if _in_use(s, outcome.machine))),
            weight=fading((self.now - outcome.at).total_seconds()),
        )


def learn_from_runs(bench: LearningBench, *, machine: str = "", resin: str = "") -> LearnSheet:
    """Return what the runs of a notebook have taught.

    Parameters
    ----------
    bench : LearningBench
        The notebook and what reads its parts.
    machine, resin : str
        Show only what concerns this machine or this resin; all runs are learned from all the same.

    Returns
    -------
    LearnSheet
        What is believed, disagreements, next steps, score.

    Raises
    ------
    InputError
        When no run was noted, or none of the machine or resin named.
    """
    outcomes = _require_runs(bench.store, machine, resin)
    used, left_out = bench.runs()
    bench.progress("learning", 0, 1)
    learned = learn(used)
    bench.progress("learning", 1, 1)
    shown = [r for r in used if _concerns(r.outcome, machine, resin)]
    # What is next concerns the job that ran last.
    job, steps = _next(bench, shown[-1].job, learned) if shown else ("", ())
    return LearnSheet(
        machine=machine,
        resin=resin,
        runs=len(shown),
        held=sum(r.outcome.held for r in shown),
        believed=beliefs(learned, machine=machine, resin=resin),
        disagreements=tuple(d for d in disagreements(learned) if machine in {"", d.machine}),
        job=job,
        next_steps=steps,
        scores=scores(outcomes),
        counts=held_counts(outcomes),
        plain=plain_counts(shown),
        left_out=left_out,
        notes=_notes(shown),
        sources=SOURCES,
    )


def concerned(job: Job, outcomes: Iterable[RunOutcome]) -> tuple[RunOutcome, ...]:
    """Return the runs that say something of a job: on one of its machines, or with one of its resins."""
    machines, resins = {job.origin.name, job.target.name}, {job.resin_from.name, job.resin.name}
    return tuple(o for o in outcomes if o.machine in machines or o.resin in resins)


def record_of(outcomes: tuple[RunOutcome, ...], *, machine: str) -> NotedRuns:
    """Return how many runs are weighed in, and what had been said of those on one machine against what happened.

    Parameters
    ----------
    outcomes : tuple of RunOutcome
        The runs weighed in.
    machine : str
        The machine.
    """
    mine = [o for o in outcomes if o.machine == machine]
    said = [o.prediction.chance for o in mine if o.prediction is not None]
    return NotedRuns(
        runs=len(outcomes),
        machine=machine,
        ran=len(mine),
        held=sum(o.held for o in mine),
        said=sum(said) / len(said) if said else None,
        said_of=len(said),
    )


def shop_belief(bench: LearningBench) -> Belief | None:
    """Return what the runs of a notebook let one believe, for the next carry; None where there is none to learn from.

    Parameters
    ----------
    bench : LearningBench
        The notebook and what reads its parts.
    """
    used, _ = bench.runs()
    return learn(used).belief if used else None


def as_described_today(job: Job, outcome: RunOutcome, shop: Shop) -> Job:
    """Return a run's job with machines and resins as the shop describes them now, on the machine on which it ran.

    Parameters
    ----------
    job : Job
        As it was when the run was noted.
    outcome : RunOutcome
        The run.
    shop : Shop
        As it is now.

    Returns
    -------
    Job
        What the shop no longer has stays as it was.
    """
    machines, resins = {m.name: m for m in shop.machines}, {r.name: r for r in shop.resins}
    target = machines.get(outcome.machine, job.target)
    return evolve(
        job,
        origin=machines.get(job.origin.name, job.origin),
        target=target,
        resin_from=resins.get(job.resin_from.name, job.resin_from),
        resin=resins.get(outcome.resin, job.resin),
    )


def _on_plate(settings: Settings, study: Study) -> Settings:
    """The settings with the layer thickness that the plate was studied at."""
    return evolve(settings, layer_nm=study.layer_nm)


def _in_use(item: object, machine: str) -> bool:
    return getattr(item, "machine", "") == machine and getattr(item, "removed", None) is None


def _gone(name: str, in_use: Iterable[str]) -> str:
    """The name of a film or screen that is no longer in use; empty where it is, or where nobody keeps count."""
    now = set(in_use)
    return name if name and now and name not in now else ""


def _require_runs(store: Store, machine: str, resin: str) -> tuple[RunOutcome, ...]:
    outcomes = store.runs(machine=machine or None, resin=resin or None)
    if outcomes:
        return outcomes
    noted = store.runs()
    if not noted:
        raise InputError.one("the notebook", "has no run in it yet", "Note one: vatwright note JOB.toml held")
    what = " with ".join(f"{n!r}" for n in (machine, resin) if n)
    known = ", ".join(sorted({o.machine for o in noted} | {o.resin for o in noted}))
    raise InputError.one("the notebook", f"has no run of {what}", f"It has runs of: {known}")


def _concerns(outcome: RunOutcome, machine: str, resin: str) -> bool:
    return machine in {"", outcome.machine} and resin in {"", outcome.resin}


def _next(bench: LearningBench, job: Job, learned: Learned) -> tuple[str, tuple[NextStep, ...]]:
    plate = bench.plate(job, learned.belief)
    times = layer_times(plate.advised.settings, job.target, layers=plate.study.layers, settle_s=plate.advised.settle_s)
    return job.name, next_steps(plate.case, plate.advised, run_s=times.total_s)


def _notes(runs: list[NotedRun]) -> tuple[str, ...]:
    kinds = {e.what for r in runs for e in r.outcome.events}
    unmodelled = [why for what, why in NO_MODEL.items() if what in kinds]
    old = sorted({r.old_film or r.old_screen for r in runs} - {""})
    gone = [f"{name} is no longer in use: its runs only tell what other films and screens share." for name in old]
    return (*(f"{w[0].upper()}{w[1:]}." for w in unmodelled), *gone, SAME_JOB, PROOF)
