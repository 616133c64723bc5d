"""How well a world explains what was seen and read of a run.

What a person can see is tied to the margins that the plan itself uses; what a person can read, to the model's own quantity.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from attrs import evolve, field, frozen
from scipy.special import ndtr

from vatwright.evidence.belief import Unknown
from vatwright.physics.motion import move_time
from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.demand.base import StackLoad, stack_load
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.demand.exposure import BLUR_M, finest_m, plate_light
from vatwright.planning.demand.lift import PULL_SCATTER
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.run_temperature import warmed
from vatwright.planning.demand.settle import RUN_SCATTER, Run
from vatwright.planning.demand.unknowns import (
    FILM_LAYERS,
    FIT_SPREAD,
    HANDS_SPREAD,
    MARGINS,
    TIME_SPREAD,
    WEAR,
    Side,
    draw,
    film_age,
    more_scatter,
    slackened,
)
from vatwright.planning.learn.run_table import Expected, Grid, RunTable, SideTable, run_table, side_table
from vatwright.records.job import Job
from vatwright.records.process import Settings
from vatwright.records.run import DETAILS, Quantity, Reading, RunOutcome, Seen
from vatwright.records.sourced import NORMAL_95
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.progress import Progress

    Floats = NDArray[np.float64]

OUTSIDE = 0.04
"""Share of runs whose end has a cause that no margin here describes, half of them failing and half holding against the
odds [-]; engineering estimate, no source."""

ALIKE = 0.2
"""Share of the failures from outside that look like one that a margin describes: who sees a base that let go sees more than
that a run failed [-]; engineering estimate, no source."""

TIME_SCATTER = 0.01
"""How much the time of like runs differs (log) [-]; engineering estimate, no source."""

VISIBLE = 0.2
"""A band shows where layers are off by about this share of their thickness [-]; engineering estimate, no source."""

MISREAD = 0.02
"""Share of readings that are slips; half of those are more than `SLIP` times as far off [-]; engineering estimates, no
source."""
SLIP = 5.0

OTHER_METER = 0.05
"""Calibration of a light meter of which nothing is said (log) [-]; engineering estimate, no source."""

OTHER_SPOT = 0.05
"""How far a spot differs from what is known of its share of the light (log) [-]; engineering estimate, no source."""

CURE_SCATTER = 0.07
"""How much cured squares differ from the working curve (log) [-]; engineering estimate, no source."""

STRETCH = 0.005
"""How far the height of a piece is off for shrinkage and the vertical scale (log) [-]; engineering estimate, no source."""

DETAIL_STEP = math.sqrt(2.0)
"""From one size of such a ladder to the next [-]: the finest that can be had lies within a step below the finest seen."""

DETAIL_SCATTER = 0.1
"""How much the finest of like prints differs (log) [-]; engineering estimate, no source."""

DETAIL_M = (1.0e-6, 1.0e-2)
"""What such a thing can measure at all [m]: keeps what never comes out, or never closes, a number."""

FILM_STEP = 2000
"""Layers of a film that are taken as one age when runs are weighed [-]: a fiftieth of its bond energy, by the estimate."""

SCATTER = Unknown("scatter between runs")
WEAR_OF_FILMS, SLACK_OF_FILMS = Unknown("film wear"), Unknown("film slack")

MARGIN_OF = {
    Seen.BASE_LET_GO: "base",
    Seen.LAYER_SPLIT: "body",
    Seen.NOT_RELEASED: "release",
    Seen.STUCK_TO_FILM: "release",
}
"""The margin that was short where this was seen."""

BEFORE = {"base": (), "body": ("base",), "release": ()}
"""Margins that must have held for a run to come to where another one failed."""

LINED = 0.1
"""Lines show where the thickest and the thinnest body layer are about this far apart (log) [-]; engineering estimate."""

OTHER_LINES = 0.5
"""Share of runs with lines whose lines have causes outside the model: light, slicing, vibration [-]; engineering estimate."""

SHORT = 0.9
"""A piece of less than this share of its layers' height did not print whole: its height says nothing of thickness [-];
engineering estimate."""


@frozen(kw_only=True)
class NotedRun:
    """A run with all that is needed to ask worlds about it.

    Parameters
    ----------
    outcome : RunOutcome
        What happened.
    job : Job
        Its job, with machines and resins as they are described today.
    study : Study
        The plate that ran, with its reach in the machine's window.
    settings : Settings
        As printed.
    settle_s : (N,) ndarray or None
        Settle of each layer where hands changed it [s].
    old_film, old_screen : str
        Name of the film or the screen it ran on, where that is no longer in use.
    weight : float
        How much of its evidence still counts [-].
    film_layers : int or None
        Layers that the film had released by then, rounded to `FILM_STEP`; None where nobody counts.
    """

    outcome: RunOutcome
    job: Job
    study: Study
    settings: Settings
    settle_s: Floats | None = field(default=None, eq=False)
    old_film: str = ""
    old_screen: str = ""
    weight: float = 1.0
    film_layers: int | None = None

    @property
    def room_k(self) -> float:
        """Temperature of the resin: as read in the run, else the room's [K]."""
        read = [r.value for r in self.outcome.readings if r.quantity is Quantity.RESIN_TEMPERATURE]
        return float(np.mean(read)) if read else self.outcome.room_k


class ReadingAgainst(NamedTuple):
    """A reading against the model: value, and what it should be in every world with its scatter, both (S,)."""

    quantity: Quantity
    value: float
    middle: Floats
    scatter: Floats


@frozen(kw_only=True, eq=False)
class Witness:
    """One run as a likelihood over the unknowns of a shop.

    Parameters
    ----------
    run : NotedRun
        The run.
    table : RunTable
        Its quick margins.
    unknowns : tuple of Unknown
        Whose coordinates the table takes, by the names the shop's belief has for them.
    time_s : float
        Time the model gives it [s].
    front_m : float
        Greatest pull of the plate over T sin(theta) [m].
    """

    run: NotedRun
    table: RunTable
    unknowns: tuple[Unknown, ...]
    time_s: float
    front_m: float

    @property
    def own(self) -> tuple[Unknown, ...]:
        """Unknowns that this run alone brings in besides its job's: hands and time of its machine, scatter, wear of a film."""
        machine = self.run.job.target.name
        read = {r.quantity for r in self.run.outcome.readings}
        blur = (Unknown("blur", machine),) if read.intersection(DETAILS) else ()
        fits = tuple(Unknown(f"{margin} fit", machine) for margin in MARGINS)
        always = (SCATTER, Unknown("hands", machine), *fits, Unknown("time", machine))
        films = (WEAR_OF_FILMS, SLACK_OF_FILMS, *self._ages) if self._other_film else ()
        return (*always, *blur, *films)

    @property
    def _other_film(self) -> bool:
        """Whether its film may be another one than that of the proof, or older."""
        job = self.run.job
        return job.origin != job.target or self.run.film_layers != job.recipe.proof.film_layers

    @property
    def _ages(self) -> tuple[Unknown, Unknown]:
        """How worn its film was, and that of the proof."""
        job = self.run.job
        return Unknown("film layers", job.target.name), Unknown("film layers", job.origin.name)

    def matters(self) -> set[Unknown]:
        """Return the unknowns that can change what the run shows."""
        side = self.table.side
        moved = np.abs(side.slope).max(axis=1) > 0.0
        moved[[u for u, _, _ in side.bends]] = True
        return {u for u, m in zip(self.unknowns, moved, strict=True) if m} | set(self.own) | {self._activation}

    @property
    def _activation(self) -> Unknown:
        return Unknown("activation", self.run.job.resin.name)

    def sides(self, z: dict[Unknown, Floats]) -> tuple[Side, Floats]:
        """Return the machine's side and the overcure where the unknowns have these coordinates; missing ones are 0."""
        zero = np.zeros(len(next(iter(z.values()))))
        side, overcure_m = self.table.side(np.column_stack([z.get(u, zero) for u in self.unknowns]))
        if not self._other_film:
            return side, overcure_m
        # The table knows films of one age: products of unknowns as wide as these are worked out here.
        layers, proven = self.run.film_layers, self.run.job.recipe.proof.film_layers
        now, then = (film_age(z.get(u, zero), n) for u, n in zip(self._ages, (layers, proven), strict=True))
        log_energy = WEAR.value * np.exp(WEAR.spread * z.get(WEAR_OF_FILMS, zero)) * (now - then)
        slack = slackened(self.run.job.target, z.get(SLACK_OF_FILMS, zero), layers)
        return side.worn(log_energy, slack), overcure_m

    def outlook(self, z: dict[Unknown, Floats]) -> Expected:
        """Return what the run would show there."""
        return self.table.at(*self.sides(z))

    def scatter(self, z: dict[Unknown, Floats]) -> Floats:
        """Return by how much margins differ from run to run, the table's own error included, (S,) [-]."""
        return np.hypot(RUN_SCATTER * more_scatter(z[SCATTER]), self.table.error)

    def chances(self, outlook: Expected, z: dict[Unknown, Floats]) -> dict[str, Floats]:
        """Return by name the chance in every world that a margin holds in one run."""
        scatter = self.scatter(z)
        return {n: ndtr((getattr(outlook, n) + self.better(n, z)) / scatter) for n in MARGINS}

    def better(self, margin: str, z: dict[Unknown, Floats]) -> Floats:
        """Return the log of the factor by which base, body or release is better than described, (S,) [-]."""
        machine = self.run.job.target.name
        return np.asarray(
            HANDS_SPREAD * z[Unknown("hands", machine)] + FIT_SPREAD * z[Unknown(f"{margin} fit", machine)]
        )

    def holds(self, outlook: Expected, z: dict[Unknown, Floats]) -> Floats:
        """Return the chance in every world that the run holds, causes outside the model included, (S,)."""
        return _all_hold(self.chances(outlook, z))

    def log_likelihood(
        self, outlook: Expected, z: dict[Unknown, Floats], chances: dict[str, Floats] | None = None
    ) -> Floats:
        """Return how well every world explains the run, (S,) [-]; like runs may share their chances."""
        total = np.log(self._seen(outlook, z, chances or self.chances(outlook, z)))
        for shown in self.shown(outlook, z):
            total = total + _log_density(shown)
        return np.asarray(self.run.weight * total)

    def _seen(self, outlook: Expected, z: dict[Unknown, Floats], chances: dict[str, Floats]) -> Floats:
        """Probability in every world of what was seen."""
        outcome = self.run.outcome
        kinds = {event.what for event in outcome.events}
        short = {MARGIN_OF[k] for k in kinds if k in MARGIN_OF}
        seen = np.ones(len(outlook.base))
        for name in short:
            seen = seen * (ALIKE * OUTSIDE / 2.0 + (1.0 - OUTSIDE) * (1.0 - chances[name]))
            for earlier in BEFORE[name]:
                seen = seen if earlier in short else seen * _mixed(chances[earlier])
        if not short and outcome.held:
            seen = _all_hold(chances)
        elif not short and not kinds:
            seen = 1.0 - _all_hold(chances)
        if not kinds & {Seen.THICK_BAND, Seen.THIN_BAND, Seen.LINES}:
            return np.asarray(seen)
        scatter = self.scatter(z)
        if Seen.THICK_BAND in kinds:
            seen = seen * _mixed(ndtr((outlook.thickest - math.log1p(VISIBLE)) / scatter))
        if Seen.THIN_BAND in kinds:
            seen = seen * _mixed(ndtr((math.log1p(-VISIBLE) - outlook.thinnest) / scatter))
        if Seen.LINES in kinds:
            apart = outlook.thickest - outlook.thinnest
            seen = seen * (OTHER_LINES + (1.0 - OTHER_LINES) * ndtr((apart - LINED) / scatter))
        return np.asarray(seen)

    def shown(self, outlook: Expected, z: dict[Unknown, Floats]) -> tuple[ReadingAgainst, ...]:
        """Return the readings that the model has a quantity for, against it in every world."""
        found = [
            self._finest(r, outlook, z) if r.quantity in DETAILS else self._one(r, outlook, z)
            for r in self.run.outcome.readings
        ]
        return tuple(s for s in found if s is not None)

    def _one(self, reading: Reading, outlook: Expected, z: dict[Unknown, Floats]) -> ReadingAgainst | None:
        """One reading: first layer as it is, everything else by its logarithm."""
        value, side, machine = reading.value, outlook.side, self.run.job.target
        if value <= 0.0 or (reading.quantity is Quantity.RUN_TIME and not self.run.outcome.held):
            return None
        own = reading.sigma / value
        match reading.quantity:
            case Quantity.FIRST_LAYER:
                off = side.unlevel_m * self._outward(reading)
                return ReadingAgainst(reading.quantity, value, outlook.first_layer_m, np.hypot(reading.sigma, off))
            case Quantity.HEIGHT:
                return self._height(reading, outlook)
            case Quantity.RUN_TIME | Quantity.STROKE:
                middle = self._said_s(reading) * np.exp(TIME_SPREAD * z[Unknown("time", machine.name)])
                scatter = TIME_SCATTER
            case Quantity.VISCOSITY:
                middle, scatter = self._viscosity(reading.at.get("temperature_C", self.run.room_k), z), 0.0
            case Quantity.IRRADIANCE:
                middle, scatter = side.irradiance_w_m2, math.hypot(OTHER_METER, OTHER_SPOT)
            case Quantity.CURE_DEPTH:
                dose = reading.at["dose_mJ_cm2"]
                middle = side.curve_depth_m * np.maximum(np.log(dose / side.curve_dose_j_m2), 0.05)
                scatter = CURE_SCATTER
            case Quantity.PULL:
                middle = evolve(self.table.run, side=side).film("body").front_force_n_m * self.front_m
                scatter = math.log(PULL_SCATTER) / NORMAL_95
            case Quantity.DEFLECTION:
                middle, scatter = reading.at["load_N"] / side.stiffness_n_m, 0.0
            case _:
                return None
        spread = np.full(len(middle), math.hypot(own, scatter))
        return ReadingAgainst(reading.quantity, math.log(value), np.log(middle), spread)

    def _finest(self, reading: Reading, outlook: Expected, z: dict[Unknown, Floats]) -> ReadingAgainst:
        """The finest that such a reading should find: what light and blur allow, and on average half a step of the ladder."""
        blur_z = z.get(Unknown("blur", self.run.job.target.name), np.zeros(len(outlook.base)))
        blur = BLUR_M.value * np.exp(BLUR_M.spread * blur_z)
        dose, layer_m = reading.at["dose_mJ_cm2"], self.run.settings.layer_m
        found = finest_m(outlook.side, outlook.overcure_m, blur, dose_j_m2=dose, layer_m=layer_m)[reading.quantity]
        middle = np.log(np.clip(found, *DETAIL_M)) + 0.5 * math.log(DETAIL_STEP)
        scatter = math.hypot(reading.sigma / reading.value, DETAIL_SCATTER)
        return ReadingAgainst(reading.quantity, math.log(reading.value), middle, np.full(len(middle), scatter))

    def _said_s(self, reading: Reading) -> float:
        """What the machine's moves say of the time read: of the whole run, or of one stroke [s]."""
        if reading.quantity is Quantity.RUN_TIME:
            return self.time_s
        motion = self.run.job.target.motion
        return move_time(
            distance_m=reading.at["distance_mm"],
            speed_m_s=min(reading.at["speed_mm_s"], motion.fastest_m_s),
            acceleration_m_s2=motion.acceleration_m_s2.value,
        )

    def _height(self, reading: Reading, outlook: Expected) -> ReadingAgainst | None:
        """A height over the platform: of the whole, or up to the layer named; with what tilt adds where a place is named."""
        layer = height_layer(reading)
        if layer is None and not (self.run.outcome.held or "x_mm" in reading.at):
            return None
        layers = self.run.study.layers if layer is None else layer
        middle = outlook.height_m if layer is None else outlook.heights_m.get(layer)
        if middle is None or reading.value < SHORT * layers * self.run.study.layer_m:
            return None
        own = math.hypot(reading.sigma, STRETCH * reading.value)
        off = outlook.side.unlevel_m * self._outward(reading) if "x_mm" in reading.at else 0.0
        return ReadingAgainst(reading.quantity, reading.value, middle, np.hypot(own, off * np.ones(len(middle))))

    def _outward(self, reading: Reading) -> float:
        """How far out on the platform a spot lies, as a share of the way to a corner; half of it where nobody said."""
        platform = self.run.job.target.platform
        if "x_mm" not in reading.at:
            return 0.5
        return math.hypot(reading.at["x_mm"], reading.at.get("y_mm", 0.0)) / (
            math.hypot(platform.width_m, platform.depth_m) / 2.0
        )

    def _viscosity(self, temperature_k: float, z: dict[Unknown, Floats]) -> Floats:
        """Viscosity at another temperature than the run's [Pa s]."""
        belief = viscosity_belief(self.run.job.resin)
        z_factor = z.get(Unknown("viscosity", self.run.job.resin.name), np.zeros(len(z[SCATTER])))
        activation = belief.activation_j_mol.value * np.exp(belief.activation_j_mol.spread * z[self._activation])
        inverse = 1.0 / temperature_k - 1.0 / belief.reference_k
        at_reference = belief.viscosity_pa_s.value * np.exp(belief.viscosity_pa_s.spread * z_factor)
        return np.asarray(at_reference * np.exp(activation / GAS_CONSTANT_J_MOL_K * inverse))


def height_layer(reading: Reading) -> int | None:
    """Return up to which layer a height was read; None for all of them, and for what is no height."""
    if reading.quantity is not Quantity.HEIGHT or "layer" not in reading.at:
        return None
    return round(reading.at["layer"])


def _heights(run: NotedRun) -> tuple[int, ...]:
    """Layers up to which heights of a run were read."""
    read = {height_layer(r) for r in run.outcome.readings} - {None}
    return tuple(sorted(n for n in read if n is not None and 0 < n <= run.study.layers))


def _all_hold(chances: dict[str, Floats]) -> Floats:
    """Chance that every margin holds in one run, causes outside the model included."""
    product = np.ones(1)
    for chance in chances.values():
        product = product * chance
    return _mixed(product)


def _mixed(chance: Floats) -> Floats:
    """A chance in which causes outside the model have their share either way."""
    return np.asarray(OUTSIDE / 2.0 + (1.0 - OUTSIDE) * chance)


def _log_density(shown: ReadingAgainst) -> Floats:
    """Log density of a reading; slips have a Cauchy density, so that however gross one is it cannot outweigh the others."""
    away = ((shown.value - shown.middle) / shown.scatter) ** 2
    honest = math.log(1.0 - MISREAD) - 0.5 * away
    slip = math.log(MISREAD / SLIP) + 0.5 * math.log(2.0 / math.pi) - np.log1p(away / SLIP**2)
    return np.asarray(np.logaddexp(honest, slip) - np.log(shown.scatter))


class GridMemory(Protocol):
    """Remembers what takes long to work out of a run, found again by all that it hangs on."""

    def recall(self, whole: Run, settle_s: Floats | None, job: Job, heights: tuple[int, ...]) -> Grid | None:
        """Return the grid of this very run with the heights of these layers, or None."""
        ...

    def keep(self, whole: Run, settle_s: Floats | None, job: Job, heights: tuple[int, ...], grid: Grid) -> None:
        """Remember it; never fails."""
        ...


def witnesses(
    runs: Sequence[NotedRun], *, memory: GridMemory | None = None, progress: Progress | None = None
) -> tuple[Witness, ...]:
    """Return runs as likelihoods; runs of one job share what they have in common.

    Parameters
    ----------
    runs : sequence of NotedRun
        The runs.
    memory : GridMemory or None
        What remembers tables from one time to the next.
    progress : callable or None
        Told how many of how many runs are done.

    Returns
    -------
    tuple of Witness
        In the same order.
    """
    sides: list[tuple[Job, Study, SideTable]] = []
    loads: dict[tuple[int, str], StackLoad] = {}
    tables: list[tuple[NotedRun, RunTable]] = []
    found = []
    for k, run in enumerate(runs):
        if progress:
            progress("working out what each run shows", k, len(runs))
        job = _as_run(run)
        side = next((t for j, s, t in sides if s is run.study and j == job), None)
        if side is None:
            side = side_table(job, run.study)
            sides.append((job, run.study, side))
        key = (id(run.study), job.target.name)
        if key not in loads:
            loads[key] = stack_load(run.study, job.target)
        table = next((t for r, t in tables if t.side is side and _alike(r, run)), None)
        if table is None:
            table = _table(run, job, side, loads[key], memory)
            tables.append((run, table))
        found.append(_witness(run, job, table))
    return tuple(found)


def _alike(one: NotedRun, other: NotedRun) -> bool:
    same_settle = one.settle_s is other.settle_s or (
        one.settle_s is not None and other.settle_s is not None and np.array_equal(one.settle_s, other.settle_s)
    )
    alike = one.study is other.study and one.settings == other.settings and _heights(one) == _heights(other)
    return alike and same_settle


def _as_run(run: NotedRun) -> Job:
    """The job in the room in which this run took place, all films as worn as the usual one: their ages count with the run."""
    recipe, usual = run.job.recipe, round(FILM_LAYERS.value)
    recipe = evolve(recipe, proof=evolve(recipe.proof, film_layers=usual))
    return evolve(run.job, room_k=run.room_k, film_layers=usual, recipe=recipe)


def _table(run: NotedRun, job: Job, side: SideTable, load: StackLoad, memory: GridMemory | None) -> RunTable:
    worlds = draw(job, count=2)
    reach = run.study.reach
    if reach is None:
        raise ValueError("a run needs a study made with the machine's window")
    whole = Run(
        machine=job.target, settings=run.settings,
        load=warmed(load, job.target, job.resin, run.settings, job.room_k), side=worlds.target, overcure_m=worlds.overcure_m,
        confidence=job.confidence, dimmest=plate_light(job.target.light, run.study).dimmest,
    )  # fmt: skip
    heights = _heights(run)
    asked = (whole, run.settle_s, job, heights)
    kept = memory.recall(*asked) if memory else None
    table = run_table(
        side, whole, reach_m=float(reach.reach_m.max()), settle_s=run.settle_s, heights_at=heights, kept=kept
    )
    if memory and kept is None:
        memory.keep(*asked, table.grid)
    return table


def _witness(run: NotedRun, job: Job, table: RunTable) -> Witness:
    reach = run.study.reach
    times = layer_times(run.settings, job.target, layers=run.study.layers, settle_s=run.settle_s)
    return Witness(
        run=run,
        table=table,
        unknowns=tuple(_as_then(u, run) for u in table.unknowns),
        time_s=times.total_s,
        front_m=float(reach.front_m.max()) if reach is not None else 0.0,
    )


def _as_then(unknown: Unknown, run: NotedRun) -> Unknown:
    """The unknown of a film or a screen that is no longer there is one of its own: only what is common carries over."""
    if unknown.of != run.job.target.name:
        return unknown
    if run.old_film and unknown.what in {"tension", "peel angle"}:
        return Unknown(unknown.what, f"{unknown.of} with film {run.old_film}")
    if run.old_screen and unknown.what in {"light", "spot", "fade"}:
        return Unknown(unknown.what, f"{unknown.of} with screen {run.old_screen}")
    return unknown
