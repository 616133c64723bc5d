"""What a run really does in an invented workshop, and the least time in which one could have held."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, field, frozen
from scipy.special import ndtr, ndtri

from benchmarks.workshop.shops import GAS_J_MOL_K, TrueShop
from vatwright.physics.layer_stack import run_stacks
from vatwright.planning.demand.base import StackLoad
from vatwright.planning.demand.base_bond import cured_places_m
from vatwright.planning.demand.duration import layer_times, per_layer
from vatwright.records.machine import Machine
from vatwright.records.process import Settings
from vatwright.records.run import Event, Seen
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

TRUE_SHARE = 0.02
"""Share of body layers that may be off by more than a tolerance asked for [-]; common practice, no source."""

FOOT_M = 0.002
"""Height below which thickness is nobody's concern [m]; common practice, no source."""


class True3(NamedTuple):
    """Logarithms of the three margins, and the layers of base and body that had the least."""

    base: float
    body: float
    release: float
    base_layer: int
    body_layer: int
    thickness_m: Floats


class Ended(NamedTuple):
    """How a run ended and what a person sees of it; `true` is whether layers kept the tolerance asked for."""

    held: bool
    events: tuple[Event, ...]
    true: bool
    margins: True3


@frozen(kw_only=True, eq=False)
class TrueRun:
    """A plate on a machine of a workshop, as it really is."""

    shop: TrueShop
    machine: Machine
    study: Study
    load: StackLoad
    room_k: float
    proven_k: float
    reference_w_m2: float
    tolerance: float | None = None
    extra_m: float = field(init=False)

    @extra_m.default
    def _extra_m(self) -> float:
        """How much wider the gap is than in the middle where pieces stand, on a platform tilted to a corner and hollow."""
        platform, true = self.machine.platform, self.shop.machines[self.machine.name]
        share = cured_places_m(self.study, self.machine) / (np.array([platform.width_m, platform.depth_m]) / 2.0)
        return float((true.tilt_m * share.mean(axis=1) + true.bow_m * (1.0 - (share**2).mean(axis=1))).max())

    def margins(self, settings: Settings, settle_s: Floats, *, runs: int) -> True3:
        """Return the margins that a run has before it scatters; of its first layers alone where no more settles are given."""
        thickness = self._thickness_m(settings, settle_s)
        limit = self._limit_m(settings)[: len(thickness)]
        over = np.log(np.maximum(limit, 1e-7) / thickness)
        first = min(settings.base_layers, len(over))
        return True3(
            base=float(over[:first].min()),
            body=float(over[first:].min(initial=9.0)),
            release=min(
                math.log(p.lift_m / self.rise_m(runs, p.peel_speed_m_s)) for p in (settings.base, settings.body)
            ),
            base_layer=int(over[:first].argmin()),
            body_layer=first + int(over[first:].argmin()) if len(over) > first else first,
            thickness_m=thickness,
        )

    def _thickness_m(self, settings: Settings, settle_s: Floats) -> Floats:
        """Layers as they come out: the film gives, and the resin thins as it warms over the run."""
        true = self.shop.machines[self.machine.name]
        base = np.arange(len(settle_s)) < settings.base_layers
        fastest = self.machine.motion.fastest_m_s
        clock_s = layer_times(settings, self.machine, layers=len(settle_s), settle_s=settle_s).start_s
        warm_k = self.room_k + true.warms_k * (1.0 - np.exp(-clock_s / true.warms_in_s))
        thin = np.exp(self.shop.activation_j_mol / GAS_J_MOL_K * (1.0 / warm_k - 1.0 / self.room_k))
        count = len(settle_s)
        found = run_stacks(
            torsion_m4=self.load.torsion_m4[:count] * thin,
            platform_torsion_m4=self.load.platform_torsion_m4[:count] * thin,
            platform_extra_gap_m=self.load.platform_extra_gap_m[:count],
            platform_follows=self.load.platform_follows[:count],
            layer_m=self.load.layer_m[:count],
            settle_s=settle_s,
            descent_m_s=np.where(
                base, min(settings.base.return_speed_m_s, fastest), min(settings.body.return_speed_m_s, fastest)
            ),
            viscosity_pa_s=self.shop.viscosity_at(self.room_k),
            stiffness_n_m=true.stiffness_n_m / (1.0 + true.give),
            force_ceiling_n=true.ceiling_n,
        )
        return np.asarray(found.thickness_m[0])

    def _limit_m(self, settings: Settings) -> Floats:
        """How thick a layer still bonds at the dimmest spot; the first also where the platform stands off the most."""
        true, shop = self.shop.machines[self.machine.name], self.shop
        light_s = per_layer(
            settings, "exposure_s", "exposure_s", layers=self.study.layers, controller=self.machine.controller
        )
        there = true.irradiance_w_m2 * true.dimmest
        dose = self.reference_w_m2 * light_s * (there / self.reference_w_m2) ** shop.reciprocity
        limit = shop.depth_m * np.log(np.maximum(dose / shop.critical_j_m2, 1.0)) - shop.overcure_m
        limit[0] -= self.extra_m
        return np.asarray(limit)

    def rise_m(self, runs: int, speed_m_s: float) -> float:
        """Return the rise at which the last layer lets go of a plate that rises so fast [m]."""
        colder_k = self.proven_k - self.room_k
        angle = self.shop.angle_rad(self.machine.name, colder_k=colder_k, runs=runs, speed_m_s=speed_m_s)
        return math.tan(angle) * float(self.study.reach.reach_m.max())

    def chance(self, margins: True3) -> float:
        """Return how often a run with these margins holds [-]."""
        return float(np.prod([ndtr(m / self.shop.scatter) for m in margins[:3]])) * (1.0 - self.shop.other)

    def is_true(self, thickness_m: Floats) -> bool:
        """Return whether all but a few body layers keep the tolerance asked for."""
        if self.tolerance is None:
            return True
        foot = min(round(FOOT_M / float(self.load.layer_m[0])), len(thickness_m) - 1)
        off = np.abs(thickness_m[foot:] / self.load.layer_m[foot:] - 1.0)
        return float((off > self.tolerance).mean()) <= TRUE_SHARE

    def ends(self, settings: Settings, settle_s: Floats, rng: np.random.Generator, *, runs: int) -> Ended:
        """Return how a run ends this time."""
        margins = self.margins(settings, settle_s, runs=runs)
        drawn = rng.standard_normal(3)
        short = [m + self.shop.scatter * z < 0.0 for m, z in zip(margins[:3], drawn, strict=True)]
        other = rng.random() < self.shop.other
        seen = (
            Event(what=Seen.BASE_LET_GO, layer=margins.base_layer),
            Event(what=Seen.LAYER_SPLIT, layer=margins.body_layer),
            Event(what=Seen.NOT_RELEASED),
        )
        # Who sees a base that let go sees nothing of what would have come after it.
        events = tuple(e for e, is_short in zip(seen, short, strict=True) if is_short)[:1]
        return Ended(not events and not other, events, self.is_true(margins.thickness_m), margins)


class Least(NamedTuple):
    """The least with which a run still holds as often as asked, by who knows the truth."""

    time_s: float
    settings: Settings
    chance: float


SHARES = ((0.6, 0.3), (0.8, 0.15), (0.4, 0.4), (0.3, 0.65), (0.6, 0.05))
"""How what may fail is shared out between body and release; the base gets the rest."""

LONGEST_S = 600.0


def least_time(run: TrueRun, like: Settings, *, holds: float, runs: int) -> Least:
    """Return the least time of settings that hold as often as asked, waits and rises free, all else as given.

    Rises keep the shares of their two stages; nobody sets less than a tenth of a second or of a millimetre.
    """
    found = [_least(run, like, runs, holds, *share) for share in SHARES]
    good = [f for f in found if f is not None]
    return min(good, key=lambda f: f.time_s) if good else Least(math.nan, like, 0.0)


def _least(run: TrueRun, like: Settings, runs: int, holds: float, body: float, release: float) -> Least | None:
    may_fail = 1.0 - holds / (1.0 - run.shop.other)
    if may_fail <= 0.0:
        return None
    wanted = {
        name: run.shop.scatter * float(ndtri(1.0 - share * may_fail))
        for name, share in (("base", 1.0 - body - release), ("body", body), ("release", release))
    }
    given = like
    for phase in ("base", "body"):
        now = getattr(like, phase)
        least_m = run.rise_m(runs, now.peel_speed_m_s) * math.exp(wanted["release"])
        share = math.ceil(least_m * 1e4 - 1e-9) / 1e4 / now.lift_m
        given = evolve(
            given, **{phase: evolve(now, peel_lift_m=now.peel_lift_m * share, clear_lift_m=now.clear_lift_m * share)}
        )
    base_s = _least_s(lambda s: _base_with(run, given, s, runs) >= wanted["base"])
    if base_s is None:
        return None

    def body_holds(s: float) -> bool:
        found = _with(run, given, base_s, s, runs)
        return found.body >= wanted["body"] and run.is_true(found.thickness_m)

    body_s = _least_s(body_holds)
    if body_s is None:
        return None
    given = evolve(given, base=evolve(given.base, settle_s=base_s), body=evolve(given.body, settle_s=body_s))
    settle = _settles(run, given)
    time_s = layer_times(given, run.machine, layers=run.study.layers, settle_s=settle).total_s
    return Least(time_s, given, run.chance(run.margins(given, settle, runs=runs)))


def _settles(run: TrueRun, settings: Settings) -> Floats:
    return per_layer(settings, "settle_s", "settle_s", layers=run.study.layers, controller=run.machine.controller)


def _with(run: TrueRun, settings: Settings, base_s: float, body_s: float, runs: int) -> True3:
    given = evolve(settings, base=evolve(settings.base, settle_s=base_s), body=evolve(settings.body, settle_s=body_s))
    return run.margins(given, _settles(run, given), runs=runs)


def _base_with(run: TrueRun, settings: Settings, base_s: float, runs: int) -> float:
    """The base's margin, which layers after it have no part in."""
    given = evolve(settings, base=evolve(settings.base, settle_s=base_s))
    return run.margins(given, _settles(run, given)[: given.base_layers], runs=runs).base


def _least_s(good: object) -> float | None:
    """The least wait in tenths of a second that is good, by halving; None where none is."""
    if not good(LONGEST_S):
        return None
    low, high = -1, round(LONGEST_S * 10.0)
    while high - low > max(1, high // 100):
        middle = (low + high) // 2
        low, high = (low, middle) if good(middle / 10.0) else (middle, high)
    return high / 10.0
