"""Learn from the runs in a notebook: what is believed now, where the model is off, what to measure next, how good it was."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, field, frozen

from vatwright.errors import InputError
from vatwright.evidence.belief import Belief
from vatwright.kept_answers import fingerprint
from vatwright.planning.carry.advise import Advised
from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.settle import Run
from vatwright.planning.learn.learning import (
    Learned,
    beliefs,
    disagreements,
    fading,
    held_counts,
    learn,
    plain_counts,
    scores,
)
from vatwright.planning.learn.run_evidence import FILM_STEP, NotedRun
from vatwright.planning.learn.run_table import Grid
from vatwright.planning.trial.next_reading import steps_of
from vatwright.records.job import Job, Shop
from vatwright.records.learned import LearnSheet, NextStep
from vatwright.records.process import SETTING_NAMES, Settings
from vatwright.records.progress import Progress, silent
from vatwright.records.run import KEPT_ONLY, RunOutcome
from vatwright.records.stock import Stock
from vatwright.records.study import Study
from vatwright.records.tried import as_set_by_hand
from vatwright.services.carry_recipe import proven_study
from vatwright.services.ports import LessonMemory, PartReader, Store, StudyMemory
from vatwright.services.study_parts import PartBench, study_plate
from vatwright.services.which_runs import WeighedRuns, require_runs, said_of_rest, weighed_runs
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SOURCES = (
    "delmoral:2006", "cotter:2013", "sobol:1993", "gelfand:1992", "gelman:1996", "strong:2014", "murphy:1973",
    "brown:2001", "clopper:1934", "estimate:vatwright",
)  # fmt: skip

SAME_JOB = to_say("Where a run does not say how it was set, what is advised for its job without the notebook is taken.")
PROOF = to_say(
    "The proof that a recipe states is not counted here: a carry weighs it. A run that is in both counts twice."
)


class BothPlates(NamedTuple):
    """A job's plates: the one to print and the one its recipe was proven on."""

    study: Study
    proven: Study


class _Advice(NamedTuple):
    """What is advised for a job without the notebook."""

    settings: Settings
    settle_s: Floats | None


@frozen(kw_only=True)
class _Grids:
    """The tables of runs, kept as lessons."""

    lessons: LessonMemory

    def recall(self, whole: Run, settle_s: Floats | None, job: Job, heights: tuple[int, ...]) -> Grid | None:
        kept = self.lessons.recall(self._key(whole, settle_s, job, heights))
        if kept is None or {"start", "step", "rows", "error"} - set(kept) or kept["rows"].ndim != 3:
            return None
        return Grid(kept["start"], kept["step"], kept["rows"], float(kept["error"]))

    def keep(self, whole: Run, settle_s: Floats | None, job: Job, heights: tuple[int, ...], grid: Grid) -> None:
        self.lessons.keep(self._key(whole, settle_s, job, heights), grid._asdict() | {"error": np.array(grid.error)})

    @staticmethod
    def _key(whole: Run, settle_s: Floats | None, job: Job, heights: tuple[int, ...]) -> bytes:
        return fingerprint("grid", repr(job), whole.settings, whole.load, whole.dimmest, settle_s, heights)


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
    lessons : LessonMemory or None
        What remembers what takes long to work out of a run.
    """

    store: Store
    read: PartReader
    now: datetime
    progress: Progress = silent
    memory: StudyMemory | None = None
    today: Shop = field(factory=Shop)
    lessons: LessonMemory | None = None
    _jobs: dict[str, Job] = field(factory=dict, init=False)
    _plates: list[tuple[Job, BothPlates]] = field(factory=list, init=False)
    _advised: list[tuple[Job, _Advice]] = field(factory=list, init=False)

    def runs(self, outcomes: tuple[RunOutcome, ...] | None = None) -> tuple[tuple[NotedRun, ...], tuple[str, ...]]:
        """Return those of some runs (else of all) that can be learned from, oldest first, and why the others cannot."""
        if outcomes is None:
            outcomes = self.store.runs()
        shop, stock = self.store.shop(), self.store.stock()
        digests = self.store.job_digests([o.run for o in outcomes])
        # The last of a name counts: beliefs are about what the job at hand describes.
        shop = evolve(shop, machines=(*shop.machines, *self.today.machines), resins=(*shop.resins, *self.today.resins))
        used, left_out = [], []
        for k, outcome in enumerate(outcomes):
            self.progress(to_say("reading the runs"), k, len(outcomes))
            try:
                used.append(self._noted(outcome, self._job_of(outcome, digests), shop, stock))
            except InputError as problem:
                first = problem.mistakes[0]
                left_out.append(f"{outcome.run}: {first.where} {first.what}")
        self.progress(to_say("reading the runs"), len(outcomes), len(outcomes))
        return on_their_films(used, stock), tuple(left_out)

    def learned(self, used: tuple[NotedRun, ...]) -> Learned:
        """Return what runs let one believe, tables kept from earlier times used again."""
        return learn(used, memory=_Grids(lessons=self.lessons) if self.lessons else None, progress=self.progress)

    def planned(self, job: Job, belief: Belief | None) -> tuple[Case, Advised]:
        """Return what a carry of a job works on and advises."""
        study, proven = self._both_plates(job)
        return planned(job, proven=proven, target=study, belief=belief)

    def plate_of(self, job: Job) -> Study:
        """Return the study of the plate that a job prints."""
        return self._both_plates(job).study

    def _job_of(self, outcome: RunOutcome, digests: dict[str, str]) -> Job:
        digest = digests.get(outcome.run, "")
        if digest not in self._jobs or not digest:
            self._jobs[digest] = self.store.job_of(outcome.run)
        return self._jobs[digest]

    def _both_plates(self, job: Job) -> BothPlates:
        known = next((p for j, p in self._plates if j == job), None)
        if known is None:
            parts = PartBench(
                self.read, layer_nm=job.recipe.settings.layer_nm, progress=self.progress, memory=self.memory
            )
            study = study_plate(job.parts, parts, machine=job.target).study
            known = BothPlates(study, proven_study(job, parts, study))
            self._plates.append((job, known))
        return known

    def _advice(self, job: Job) -> _Advice:
        """What is advised for a job without the notebook: worked out once, and kept."""
        known = next((a for j, a in self._advised if j == job), None)
        if known is not None:
            return known
        plates = self._both_plates(job)
        key = fingerprint("advice", repr(job), plates.study, plates.proven)
        kept = self.lessons.recall(key) if self.lessons else None
        if kept is not None and len(kept.get("values", ())) == len(SETTING_NAMES):
            advice = _Advice(_with_values(job.recipe.settings, kept["values"]), kept.get("settle_s"))
        else:
            _, advised = self.planned(job, None)
            advice = _Advice(advised.settings, advised.settle_s)
            values = np.array([advised.settings.value(n) for n in SETTING_NAMES])
            if self.lessons and _with_values(job.recipe.settings, values) == advised.settings:
                self.lessons.keep(
                    key, {"values": values} | ({} if advised.settle_s is None else {"settle_s": advised.settle_s})
                )
        self._advised.append((job, advice))
        return advice

    def _noted(self, outcome: RunOutcome, job: Job, shop: Shop, stock: Stock) -> NotedRun:
        job = as_described_today(job, outcome, shop)
        study = self._both_plates(job).study
        advised = self._advice(job)
        settings = advised.settings
        for name, value in outcome.settings.items():
            settings = settings.with_value(name, value)
        return NotedRun(
            outcome=outcome,
            job=job,
            study=study,
            settings=_on_plate(settings, study),
            settle_s=None
            if {"base.settle_s", "body.settle_s"} & set(outcome.settings)
            else as_set_by_hand(advised.settle_s, outcome.hands),
            old_film=_gone(outcome.film, (f.name for f in stock.films if _in_use(f, outcome.machine))),
            old_screen=_gone(outcome.screen, (s.name for s in stock.screens if _in_use(s, outcome.machine))),
            weight=fading((self.now - outcome.at).total_seconds()),
        )


def on_their_films(runs: Sequence[NotedRun], stock: Stock) -> tuple[NotedRun, ...]:
    """Return runs, oldest first, with the layers that each one's film had released by then: today's count less what came after.

    Runs on a film that the shop does not count, or that is named twice, stay as they are.
    """
    names = [film.name for film in stock.films]
    left = {film.name: film.layers for film in stock.films if names.count(film.name) == 1}
    found = []
    for run in reversed(runs):
        name = run.outcome.film
        if name in left:
            left[name] = max(left[name] - run.study.layers, 0)
            run = evolve(run, film_layers=FILM_STEP * round(left[name] / FILM_STEP))
        found.append(run)
    return tuple(reversed(found))


def learn_from_runs(
    bench: LearningBench, *, machine: str = "", resin: str = "", weighed: WeighedRuns | None = None
) -> LearnSheet:
    """Return what the runs of a notebook have taught.

    Parameters
    ----------
    bench : LearningBench
        The notebook and what reads its parts.
    machine, resin : str
        Show only what concerns this machine or this resin.
    weighed : Weighed or None
        The runs to learn from; else those that :func:`weighed_runs` finds: all of them in a small notebook.

    Returns
    -------
    LearnSheet
        What is believed, disagreements, next steps, score.

    Raises
    ------
    InputError
        When no run was noted, or none of the machine or resin named.
    """
    if weighed is None:
        weighed = weighed_runs(bench.store, machines=named(machine), resins=named(resin))
    machine = weighed.machine or machine
    outcomes = require_runs(bench.store, machine, resin)
    used, left_out = bench.runs(weighed.outcomes)
    learned = bench.learned(used)
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
        notes=(*said_of_rest(weighed, machine, resin), *_notes(shown)),
        sources=SOURCES,
    )


def shop_belief(bench: LearningBench, weighed: WeighedRuns | None = None) -> Belief | None:
    """Return what the runs of a notebook let one believe, for the next carry; None where there is none to learn from.

    Parameters
    ----------
    bench : LearningBench
        The notebook and what reads its parts.
    weighed : Weighed or None
        The runs to learn from; else all.
    """
    used, _ = bench.runs(weighed.outcomes if weighed else None)
    return bench.learned(used).belief if used else None


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


def named(name: str) -> tuple[str, ...]:
    """Return the name alone, or nothing for an empty one."""
    return (name,) if name else ()


def _with_values(settings: Settings, values: Floats) -> Settings:
    for name, value in zip(SETTING_NAMES, values.tolist(), strict=True):
        settings = settings.with_value(name, value)
    return settings


def _on_plate(settings: Settings, study: Study) -> Settings:
    """The settings with the layer thickness that the plate was studied at."""
    return evolve(settings, layer_nm=study.layer_nm)


def _in_use(item: object, machine: str) -> bool:
    return getattr(item, "machine", "") == machine and getattr(item, "removed", None) is None


def _gone(name: str, in_use: Iterable[str]) -> str:
    """The name of a film or screen that is no longer in use; empty where it is, or where nobody keeps count."""
    now = set(in_use)
    return name if name and now and name not in now else ""


def _concerns(outcome: RunOutcome, machine: str, resin: str) -> bool:
    return machine in {"", outcome.machine} and resin in {"", outcome.resin}


def _next(bench: LearningBench, job: Job, learned: Learned) -> tuple[str, tuple[NextStep, ...]]:
    case, advised = bench.planned(job, learned.belief)
    return job.name, steps_of(case, advised)


def _notes(runs: list[NotedRun]) -> tuple[str, ...]:
    kinds = {e.what for r in runs for e in r.outcome.events}
    unmodelled = [why for what, why in KEPT_ONLY.items() if what in kinds]
    old = sorted({r.old_film or r.old_screen for r in runs} - {""})
    gone = [
        to_say("{name} is no longer in use: its runs only tell what other films and screens share.", name=name)
        for name in old
    ]
    return (*(f"{w[0].upper()}{w[1:]}." for w in unmodelled), *gone, SAME_JOB, PROOF)
