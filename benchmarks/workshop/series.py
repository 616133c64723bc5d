"""One workshop from its first sheet on: carry, run, note, next sheet with `trim = true`."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, field, frozen

from benchmarks.workshop.loads import LOADS, PROOFS, parts_of, pieces_on, read_shape
from benchmarks.workshop.shops import Workshop
from benchmarks.workshop.truth import Ended, Least, TrueRun, least_time
from vatwright.geometry.part_layers import PartLayers
from vatwright.kept_answers import fingerprint
from vatwright.planning.carry.advise import Advised
from vatwright.planning.carry.carry import PlateCounts, success_of
from vatwright.planning.demand.base import stack_load
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.duration import per_layer
from vatwright.planning.trim.experience import experienced
from vatwright.planning.trim.trim import Trimming, next_plan
from vatwright.records.job import Hands, Job, Shop
from vatwright.records.machine import Machine
from vatwright.records.process import SETTING_NAMES, Phase, Proof, Recipe, Settings
from vatwright.records.run import Prediction, RunOutcome
from vatwright.records.stock import Stock
from vatwright.records.study import Study
from vatwright.services.learn_from_runs import BothPlates, LearningBench, shop_belief
from vatwright.services.study_parts import PartBench, study_plate
from vatwright.services.tried_runs import tried_runs

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vatwright.evidence.belief import Belief
    from vatwright.records.part import PartUse

    Floats = NDArray[np.float64]

LAYER_M = 5e-5
FIRST_DAY = datetime(2026, 3, 1, tzinfo=UTC)

PLATES = 12
"""Plates alike that an order takes, printed with the same settings: what is saved of it is weighed against typing it in."""

PROVEN_HOLDS = 0.97
"""How often a recipe holds that somebody calls proven; what did not was turned up until it did [-]."""


@frozen
class Shapes:
    """Studies of shapes, kept from workshop to workshop."""

    kept: dict[tuple[str, int, float], PartLayers] = field(factory=dict)

    def content_of(self, file: str) -> str | None:
        return file  # a shape's name says all of it

    def recall(self, part: PartUse, *, layer_nm: int, turn_deg: float) -> PartLayers | None:
        return self.kept.get((part.file, layer_nm, turn_deg))

    def keep(self, part: PartUse, layers: PartLayers, *, layer_nm: int, turn_deg: float) -> None:
        self.kept[part.file, layer_nm, turn_deg] = layers


@frozen
class Lessons:
    """Tables of runs, kept while a workshop runs."""

    kept: dict[bytes, dict[str, Floats]] = field(factory=dict)

    def recall(self, key: bytes) -> dict[str, Floats] | None:
        return self.kept.get(key)

    def keep(self, key: bytes, arrays: dict[str, Floats]) -> None:
        self.kept[key] = arrays


@frozen(kw_only=True)
class SharedLearning(LearningBench):
    """Learns as every shop does; plates alike are studied once for all workshops, and the first sheet is made once."""

    plates: dict[str, Study]
    first: list[tuple[Case, Advised]] = field(factory=list, init=False)

    def planned(self, job: Job, belief: Belief | None) -> tuple[Case, Advised]:
        if belief is not None:
            return super().planned(job, belief)
        if not self.first:
            self.first.append(super().planned(job, None))
        return self.first[0]

    def _both_plates(self, job: Job) -> BothPlates:
        study = self._plate(job.parts, job.target)
        return BothPlates(study, self._plate(job.recipe.proof.parts, job.origin))

    def _plate(self, parts: tuple[PartUse, ...], machine: Machine) -> Study:
        key = repr((parts, machine.platform, machine.window, machine.film))
        if key not in self.plates:
            layer_nm = round(LAYER_M * 1e9)
            self.plates[key] = study_plate(
                parts, PartBench(self.read, layer_nm=layer_nm, memory=self.memory), machine=machine
            ).study
        return self.plates[key]


@frozen
class Noted:
    """A notebook in memory, of one job."""

    said: Shop
    job: Job
    noted: list[RunOutcome] = field(factory=list)

    def shop(self) -> Shop:
        return self.said

    def stock(self) -> Stock:
        return Stock()

    def runs(self, *_of: str | None, **_newest: int | None) -> tuple[RunOutcome, ...]:
        return tuple(self.noted)

    def job_digests(self, names: Sequence[str]) -> dict[str, str]:
        return dict.fromkeys(names, "the job")

    def job_of(self, _run: str) -> Job:
        return self.job


class Turn(NamedTuple):
    """One run of a series: what was said of it, how it ended, and its time."""

    said: float
    low: float
    high: float
    ended: Ended
    time_s: float
    true_chance: float
    settings: Settings
    least_s: float


class Series(NamedTuple):
    """A workshop's runs and what was known to hold in the least time."""

    seed: int
    size: str
    load: str
    proof: str
    turns: tuple[Turn, ...]
    least: Least
    tolerance: float | None


def _settings(shop: Workshop, rng: np.random.Generator) -> Settings:
    """What an operator comes to on the first machine: common practice, and light that cures some layers deep."""
    true, machine = shop.truth, shop.truth.machines[shop.origin]
    dim = machine.irradiance_w_m2 * (machine.dimmest**true.reciprocity)

    def light_s(depth_m: float) -> float:
        return round(true.critical_j_m2 * math.exp((depth_m + true.overcure_m) / true.depth_m) / dim, 1)

    large = shop.size == "large"
    body = Phase(
        exposure_s=light_s(LAYER_M * rng.uniform(2.0, 3.0)), settle_s=round(float(rng.uniform(1.0, 4.0)), 1),
        peel_lift_m=0.002, peel_speed_m_s=0.001, clear_lift_m=0.004 if large else 0.003,
        clear_speed_m_s=0.003, return_speed_m_s=0.003,
    )  # fmt: skip
    base = evolve(
        body, exposure_s=light_s(LAYER_M * rng.uniform(6.0, 9.0)), settle_s=float(round(rng.uniform(20.0, 45.0))),
        peel_lift_m=0.004, clear_lift_m=0.004,
    )  # fmt: skip
    return Settings(layer_nm=round(LAYER_M * 1e9), base_layers=4, ramp_layers=6, base=base, body=body)


def _turned_up(settings: Settings, name: str) -> Settings:
    if name == "release":
        for phase in ("base", "body"):
            now = getattr(settings, phase)
            more = evolve(
                now, peel_lift_m=round(now.peel_lift_m * 1.25, 4), clear_lift_m=round(now.clear_lift_m * 1.25, 4)
            )
            settings = evolve(settings, **{phase: more})
        return settings
    now = getattr(settings, name)
    return evolve(settings, **{name: evolve(now, settle_s=round(now.settle_s * 1.3 + 0.1, 1))})


@frozen(kw_only=True)
class Bench:
    """Runs series; keeps studies of plates from one workshop to the next."""

    shapes: Shapes = field(factory=Shapes)
    loads: dict[bytes, object] = field(factory=dict)
    plates: dict[str, object] = field(factory=dict)

    def job(self, shop: Workshop, *, seed: int, trim: bool) -> Job:
        """Return the job of a workshop: a recipe proven on its first machine, to be carried to its second."""
        rng = np.random.default_rng([seed, 2])
        proof, load = PROOFS[seed % len(PROOFS)], tuple(LOADS)[seed // 2 % len(LOADS)]
        said = {m.name: m for m in shop.said.machines}
        return Job(
            name=f"{load} {seed}", recipe=self._proven(shop, said[shop.origin], proof, rng), origin=said[shop.origin],
            target=said[shop.target], resin_from=shop.said.resins[0], resin=shop.said.resins[0], room_k=shop.room_k,
            parts=parts_of(load, self._count(load, said[shop.target])), hands=Hands(visits=0),
            tolerance=0.1 if seed % 3 == 0 else None, trim=trim,
        )  # fmt: skip

    def first_plan(self, shop: Workshop, job: Job) -> Advised:
        """Return what is advised for a job before any run."""
        notebook = Noted(shop.said, job)
        return self._plan(self._learning(notebook), job, notebook)

    def truth_of(self, shop: Workshop, job: Job) -> TrueRun:
        """Return the job's plate on its machine as it really is."""
        return self._truth(shop, self._learning(Noted(shop.said, job)), job)

    def series(self, shop: Workshop, *, seed: int, runs: int, holds: float, trim: bool = True) -> Series:
        """Return the runs of a workshop; `holds` is how often the least is to hold."""
        job, rng = self.job(shop, seed=seed, trim=trim), np.random.default_rng([seed, 3])
        notebook = Noted(shop.said, job)
        turns: list[Turn] = []
        least: Least | None = None
        bench = self._learning(notebook)
        truth = self._truth(shop, bench, job)
        for number in range(runs):
            plan = self._plan(bench, job, notebook)
            ended = truth.ends(plan.settings, plan.settle_s, rng, runs=number)
            if number in {0, 5, 19}:
                least = least_time(truth, plan.settings, holds=holds, runs=number)
            turns.append(_turn(plan, truth, ended, job, least))
            notebook.noted.append(_outcome(job, plan, ended, number))
        proof, load = job.recipe.proof.parts[0].name, job.parts[0].name
        return Series(seed, shop.size, load, proof, tuple(turns), least, job.tolerance)

    def _learning(self, notebook: Noted) -> LearningBench:
        job = notebook.job
        return SharedLearning(
            store=notebook, read=read_shape, now=FIRST_DAY, memory=self.shapes, lessons=Lessons(), plates=self.plates,
            today=Shop(machines=(job.origin, job.target), resins=(job.resin,)),
        )  # fmt: skip

    def _count(self, load: str, machine: Machine) -> int:
        return pieces_on(load, machine.platform.width_m, machine.platform.depth_m)

    def _proven(self, shop: Workshop, origin: Machine, proof: str, rng: np.random.Generator) -> Recipe:
        """A recipe that holds on its own machine, with the runs that showed it."""
        settings, parts = _settings(shop, rng), parts_of(proof, self._count(proof, origin))
        recipe = Recipe(
            name="slate on Wren", machine=origin.name, resin="slate", settings=settings,
            proof=Proof(runs=1, room_k=shop.room_from_k, parts=parts),
        )  # fmt: skip
        job = Job(
            name="the proof", recipe=recipe, origin=origin, target=origin, resin_from=shop.said.resins[0],
            resin=shop.said.resins[0], room_k=shop.room_from_k, parts=parts,
        )  # fmt: skip
        truth = self.truth_of(shop, job)
        for _ in range(40):
            settle = per_layer(
                settings, "settle_s", "settle_s", layers=truth.study.layers, controller=origin.controller
            )
            margins = truth.margins(settings, settle, runs=0)
            if truth.chance(margins) >= PROVEN_HOLDS:
                break
            settings = _turned_up(settings, min(("base", "body", "release"), key=lambda n: getattr(margins, n)))
        ran = int(rng.integers(3, 16))
        failed = int(rng.binomial(ran, 1.0 - truth.chance(margins)))
        return evolve(recipe, settings=settings, proof=evolve(recipe.proof, runs=ran, failed=min(failed, ran - 1)))

    def _plan(self, bench: LearningBench, job: Job, notebook: Noted) -> Advised:
        """The next sheet's plan, as a carry makes it."""
        belief = shop_belief(bench) if notebook.noted else None
        tried = tried_runs(bench, job, notebook.noted)
        case, chosen = bench.planned(job, belief)
        counts = PlateCounts(origin=(), target=(case.target_study.layers,) * PLATES)
        trimming = Trimming(case=case, today=chosen, plates=counts)
        if not tried:
            return chosen
        known, _ = experienced(trimming, tried)
        return next_plan(known, known.free(known.levers()))[0] if job.trim else known.today

    def _truth(self, shop: Workshop, bench: LearningBench, job: Job) -> TrueRun:
        study = bench.plate_of(job)
        key = fingerprint(study, job.target.platform, job.target.window)
        if key not in self.loads:
            self.loads[key] = stack_load(study, job.target)
        return TrueRun(
            shop=shop.truth, machine=job.target, study=study, load=self.loads[key], room_k=job.room_k,
            proven_k=shop.room_from_k, reference_w_m2=shop.truth.machines[shop.origin].irradiance_w_m2, tolerance=job.tolerance,
        )  # fmt: skip


def _turn(plan: Advised, truth: TrueRun, ended: Ended, job: Job, least: Least) -> Turn:
    from vatwright.planning.demand.duration import layer_times

    success = success_of(plan.outcome, plan.doubt)
    time_s = layer_times(plan.settings, job.target, layers=truth.study.layers, settle_s=plan.settle_s).total_s
    return Turn(
        success.mean, success.low, success.high, ended, time_s, truth.chance(ended.margins), plan.settings, least.time_s
    )


def _outcome(job: Job, plan: Advised, ended: Ended, number: int) -> RunOutcome:
    """What the person notes: how it was set, what was seen, and what had been said."""
    success = success_of(plan.outcome, plan.doubt)
    return RunOutcome(
        run=f"run {number}", at=FIRST_DAY + timedelta(days=number), job=job.name, recipe=job.recipe.name,
        machine=job.target.name, resin=job.resin.name, room_k=job.room_k, held=ended.held, events=ended.events,
        settings={n: plan.settings.value(n) for n in SETTING_NAMES},
        prediction=Prediction(
            chance_low=success.low, chance=success.mean, chance_high=success.high, run_time_s=1.0, first_layer_m=5e-5
        ),
    )  # fmt: skip
