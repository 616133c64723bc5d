"""How likely a run does what somebody saw, in every world, and what it would have taken for it not to.

A sign is a margin that fails at a layer or a place.  Of what fails, the failure is seen where the hazard is greatest: its
layer and place are likely in proportion to their share of the hazard.  What is behind it is asked world by world: the
blame is shared in proportion to the log margin that each thing would give back, had it been as believed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from attrs import evolve
from scipy.special import ndtr

from vatwright.planning.demand.holding import PlateMargins, front_force_n_m, plate_margins
from vatwright.planning.demand.lift import PULL_SCATTER
from vatwright.planning.demand.settle import RUN_SCATTER
from vatwright.planning.why.worlds import Inquiry, State, as_believed, light_share, log_scatter_safe
from vatwright.records.run import Event, Seen
from vatwright.records.sourced import NORMAL_95
from vatwright.records.why import Cause

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

PULL_SPREAD = math.log(PULL_SCATTER) / NORMAL_95
"""How much the pull scatters from layer to layer (log) [-]; see `vatwright.planning.demand.lift.PULL_SCATTER`."""

COUNTED_LAYERS, COUNTED_M = 3, 2.5e-4
"""How far off a person counts layers or measures the height of a fault, either way [1], [m]; common practice, no source."""

BAND = 1.2
"""A layer this many times as thick, or as thin, is seen as a band [-]; engineering estimate, no source."""

STEP = 1.15
"""Neighbouring layers whose thickness differs by this factor show as a line [-]; engineering estimate, no source."""

NEAR_M = 0.01
"""A place named by somebody means anything within this [m]; common practice, no source."""

FRESH_CHANCE = 0.5
"""Chance that a region with nothing beneath stays on the film or leaves a split [-]; engineering estimate, no source."""

UNMODELLED = {
    Seen.BASE_LET_GO: 0.005,
    Seen.NOT_RELEASED: 0.003,
    Seen.LAYER_SPLIT: 0.005,
    Seen.THICK_BAND: 0.01,
    Seen.THIN_BAND: 0.01,
    Seen.STUCK_TO_FILM: 0.005,
    Seen.TORN: 0.02,
    Seen.LINES: 0.2,
}
"""Share of runs that show each for a reason that nothing here describes [-]; engineering estimates, no source."""

_TINY = 1.0e-12


class Spot(NamedTuple):
    """A place on the platform [m]."""

    x_m: float
    y_m: float


class Sight(NamedTuple):
    """One way in which a run can do what was seen, in S worlds.

    Parameters
    ----------
    chance : Floats
        That it does so there [-].
    log_margin : Floats
        Log of capacity over demand at that layer and place [-].
    blame : dict of Cause to Floats
        Shares that add up to 1, or to 0 where nothing is to blame [-].
    back : dict of Cause to Floats
        Log margin that each would give back, had it been as believed [-].
    layer : int
        Where it would fail first if all were as believed.
    """

    chance: Floats
    log_margin: Floats
    blame: dict[Cause, Floats]
    back: dict[Cause, Floats]
    layer: int


class Mechanism(Protocol):
    """Log margin of every layer in every world, at a place or at the worst one, (S, N)."""

    def __call__(self, inq: Inquiry, state: State, spot: Spot | None) -> Floats:
        """Return it."""
        ...


class Way(NamedTuple):
    """A mechanism, its scatter, what can be behind it, how its plan is to blame, whether a place and a layer matter to it."""

    margin: Mechanism
    scatter: float
    behind: tuple[Cause, ...]
    plan: Callable[[Inquiry, int, Spot | None], dict[Cause, float]]
    placed: bool
    layered: bool = True


def corners(inq: Inquiry) -> tuple[Spot, ...]:
    """Return the four corners and the middle of the platform."""
    w, d = inq.platform.width_m / 2.0, inq.platform.depth_m / 2.0
    return (*(Spot(sx * w, sy * d) for sx in (-1, 1) for sy in (-1, 1)), Spot(0.0, 0.0))


# --- margins -----------------------------------------------------------------------------------------------------------


def bond(inq: Inquiry, state: State, spot: Spot | None) -> Floats:
    """Log of how deep the light bonds over how thick the layer is."""
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    layer = state.run.load.layer_m
    limit = np.maximum(state.cured_m(share) - state.run.overcure_m[:, None], 0.01 * layer)
    gap = state.thickness_m.copy()
    if spot is None:
        gap[:, 0] = np.max([state.first_gap_m(*c) for c in corners(inq)], axis=0)
    else:
        gap[:, 0] = state.first_gap_m(*spot)
    return np.asarray(np.log(limit / np.maximum(gap, 0.01 * layer)))


def thick(inq: Inquiry, state: State, spot: Spot | None) -> Floats:  # noqa: ARG001 - a Mechanism
    """Log of the thickness that shows as a band over the layer's."""
    return np.asarray(np.log(BAND * state.run.load.layer_m / np.maximum(state.thickness_m, 1e-9)))


def thin(inq: Inquiry, state: State, spot: Spot | None) -> Floats:  # noqa: ARG001 - a Mechanism
    """Log of the layer's thickness over the one that shows as a thin band."""
    return np.asarray(np.log(np.maximum(state.thickness_m, 1e-9) * BAND / state.run.load.layer_m))


def uneven(inq: Inquiry, state: State, spot: Spot | None) -> Floats:  # noqa: ARG001 - a Mechanism
    """Log of the step that shows as a line over the step between a layer and the one before."""
    log = np.log(np.maximum(state.thickness_m, 1e-9))
    return np.asarray(math.log(STEP) - np.abs(np.diff(log, axis=1, prepend=log[:, :1])))


def release(inq: Inquiry, state: State, spot: Spot | None) -> Floats:
    """Log of the rise over the rise at which the furthest point lets go."""
    return np.asarray(np.log(_lift_over_span(inq, spot))[None, :] - np.log(state.run.side.tan_angle)[:, None])


def _lift_over_span(inq: Inquiry, spot: Spot | None) -> Floats:
    reach, window = inq.case.target_study.reach, inq.case.job.target.window
    if reach is None:
        raise ValueError("a question why needs a study made with the machine's window")
    span = reach.span_m
    if spot is not None:
        here = min(window.width_m / 2.0 - abs(spot.x_m), window.depth_m / 2.0 - abs(spot.y_m))
        span = np.minimum(span, max(here, 1e-3))
    in_base = np.arange(inq.layers) < inq.settings.base_layers
    lift = np.where(in_base, inq.settings.base.lift_m, inq.settings.body.lift_m)
    return np.asarray(lift / np.maximum(span, 1e-6))


class Holds:
    """Log margins of what carries the pull, by the walks of the plate, interpolated in the pull of sealed pockets."""

    def __init__(self, inq: Inquiry) -> None:
        self._study = inq.case.target_study
        self._plate: PlateMargins | None = None

    def section(self, inq: Inquiry, state: State, spot: Spot | None) -> Floats:  # noqa: ARG002 - a Mechanism
        """Log of the pull that the weakest section carries over the pull."""
        return self._log(state, "section_m", "section_pa")

    def foot(self, inq: Inquiry, state: State, spot: Spot | None) -> Floats:  # noqa: ARG002 - a Mechanism
        """Log of the pull that the weakest foot carries over the pull."""
        return self._log(state, "foot_m", "foot_pa")

    def known(self) -> bool:
        """Whether anything is known of what hangs on what."""
        return bool(self._study.hanging)

    def _log(self, state: State, name: str, strength: str) -> Floats:
        held = state.strength
        if held is None:
            raise ValueError("holding needs strengths")
        front = front_force_n_m(state.run.side)
        ratio = held.suction_pa / front
        if self._plate is None:
            self._plate = plate_margins(self._study, _grid(ratio) if self._study.pockets else np.array([1.0]))
        grid = np.log(self._plate.suction_per_m)
        logs = np.log(np.minimum(getattr(self._plate, name), 1e6))
        at = np.interp(np.log(np.maximum(ratio, 1e-9)), grid, np.arange(len(grid)))
        low = np.minimum(at.astype(np.int64), max(len(grid) - 2, 0))
        high = np.minimum(low + 1, len(grid) - 1)
        margin = logs[low] + (at - low)[:, None] * (logs[high] - logs[low])
        return np.asarray(margin + np.log(getattr(held, strength) / front)[:, None])


def _grid(ratio: Floats) -> Floats:
    """Pocket pulls over front forces at which to walk: hardly any, and the range."""
    return np.unique(np.concatenate(([1e-3], np.quantile(ratio, (0.01, 0.25, 0.5, 0.75, 0.99)))))


# --- how far the plan itself is to blame -------------------------------------------------------------------------------


def plan_of_bond(inq: Inquiry, layer: int, spot: Spot | None) -> dict[Cause, float]:
    """How far settle, tilt as it was read, and light each keep the reference world from bonding (log) [-]."""
    state = inq.reference
    layer_m = float(state.run.load.layer_m[layer])
    settled = float(state.thickness_m[0, layer])
    gap = settled
    if layer == 0:
        spots = corners(inq) if spot is None else (spot,)
        gap = max(float(state.first_gap_m(*s)[0]) for s in spots)
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    limit = float(state.cured_m(share)[0, layer] - state.run.overcure_m[0])
    return {
        Cause.SETTLE_SHORT: max(math.log(settled / layer_m), 0.0),
        Cause.UNLEVEL: max(math.log(gap / settled), 0.0),
        Cause.LIGHT_SHORT: max(math.log(layer_m / max(limit, 0.01 * layer_m)), 0.0),
    }


def _plan_is(cause: Cause) -> Callable[[Inquiry, int, Spot | None], dict[Cause, float]]:
    def plan(inq: Inquiry, layer: int, spot: Spot | None) -> dict[Cause, float]:  # noqa: ARG001 - a plan's shape
        return {cause: 1.0}

    return plan


_SQUEEZE = (Cause.ARM_GIVES, Cause.RESIN_THICK, Cause.HAND_LATE, Cause.SETTING_IGNORED)
_FLAT = (Cause.UNLEVEL, Cause.ZERO_OFF)
_CURE = (Cause.LIGHT_DIM, Cause.RESIN_CURES_LESS)
_PULL = (Cause.FILM_LETS_GO_LATE, Cause.POCKET_PULLS)

BOND = Way(bond, RUN_SCATTER, (*_SQUEEZE, *_FLAT, *_CURE), plan_of_bond, placed=True)
THICK = Way(thick, RUN_SCATTER, _SQUEEZE, _plan_is(Cause.SETTLE_SHORT), placed=False)
THIN = Way(thin, RUN_SCATTER, _SQUEEZE, _plan_is(Cause.SETTLE_SHORT), placed=False)
UNEVEN = Way(uneven, RUN_SCATTER, _SQUEEZE, _plan_is(Cause.SETTLE_SHORT), placed=False)
RELEASE = Way(release, RUN_SCATTER, (Cause.FILM_LETS_GO_LATE,), _plan_is(Cause.LIFT_SHORT), placed=True)


def ways(seen: Seen, holds: Holds) -> tuple[Way, ...]:
    """Return the ways in which a run can come to show something."""
    section = Way(holds.section, PULL_SPREAD, (*_PULL, Cause.SECTION_SLIM), _plan_is(Cause.SECTION_SLIM), placed=False)
    foot = Way(
        holds.foot, PULL_SPREAD, (*_PULL, Cause.FOOT_SMALL), _plan_is(Cause.FOOT_SMALL), placed=False, layered=False
    )
    tears, peels = ((section,), (foot,)) if holds.known() else ((), ())
    return {
        Seen.BASE_LET_GO: (BOND, *peels),
        Seen.NOT_RELEASED: (RELEASE,),
        Seen.LAYER_SPLIT: (BOND, *tears),
        Seen.THICK_BAND: (THICK,),
        Seen.THIN_BAND: (THIN,),
        Seen.STUCK_TO_FILM: (BOND, *tears, *peels),
        Seen.TORN: tears,
        Seen.LINES: (UNEVEN,),
    }[seen]


# --- what was seen -----------------------------------------------------------------------------------------------------


def concerned(inq: Inquiry, event: Event) -> slice:
    """Return the layers that an event may mean: those counted, give or take, else those in which it can happen."""
    if event.layer is not None:
        off = max(COUNTED_LAYERS, round(COUNTED_M / inq.settings.layer_m))
        return slice(max(event.layer - off, 0), min(event.layer + off + 1, inq.layers))
    base = min(inq.settings.base_layers, inq.layers)
    if event.what is Seen.BASE_LET_GO:
        return slice(0, base)
    if event.what is Seen.LAYER_SPLIT and base < inq.layers:
        return slice(base, inq.layers)
    return slice(0, inq.layers)


def spot_of(event: Event) -> Spot | None:
    """Return the place of an event, where it has one."""
    return None if event.x_m is None or event.y_m is None else Spot(event.x_m, event.y_m)


class Resets:
    """The same worlds with one thing as believed, each made once."""

    def __init__(self, inq: Inquiry, state: State) -> None:
        self._inq, self._state = inq, state
        self._made: dict[Cause, State | None] = {}

    def of(self, cause: Cause) -> State | None:
        """Return the worlds with what `cause` stands for as believed."""
        if cause not in self._made:
            self._made[cause] = _strengthened(self._inq, self._state, cause) or as_believed(
                self._inq, self._state, cause
            )
        return self._made[cause]


def _strengthened(inq: Inquiry, state: State, cause: Cause) -> State | None:
    held, believed = state.strength, inq.reference.strength
    if held is None or believed is None:
        return None
    name = {Cause.FOOT_SMALL: "foot_pa", Cause.SECTION_SLIM: "section_pa", Cause.POCKET_PULLS: "suction_pa"}.get(cause)
    if name is None or (cause is Cause.POCKET_PULLS and not inq.case.target_study.pockets):
        return None
    value = 1.0 if cause is Cause.POCKET_PULLS else float(getattr(believed, name)[0])
    return evolve(state, strength=evolve(held, **{name: np.full(len(state.zero_m), value)}))


def sights(inq: Inquiry, event: Event, state: State, resets: Resets, holds: Holds) -> list[Sight]:
    """Return all ways in which these worlds come to show an event."""
    found = [_sight(inq, event, way, state, resets) for way in ways(event.what, holds)]
    fresh = _fresh(inq, event, len(state.zero_m))
    return found if fresh is None else [*found, fresh]


def _sight(inq: Inquiry, event: Event, way: Way, state: State, resets: Resets) -> Sight:
    spot = spot_of(event) if way.placed else None
    # A foot may peel under the pull of any layer, whenever somebody sees it.
    where = concerned(inq, event) if way.layered else slice(0, inq.layers)
    everywhere = way.margin(inq, state, None)
    here = everywhere if spot is None else way.margin(inq, state, spot)
    hazard = ndtr(-everywhere / way.scatter) + _TINY
    chance = ndtr(-everywhere.min(axis=1) / way.scatter) * (hazard[:, where].sum(axis=1) / hazard.sum(axis=1))
    if spot is not None:
        chance = chance * _share_of_places(inq, way, state, spot, where)
    elif spot_of(event) is not None:  # this way knows no places: one of them is as likely as another
        chance = chance / len(corners(inq))
    log_margin = here[:, where].min(axis=1)
    back = {}
    for cause in way.behind:
        mended = resets.of(cause)
        if mended is not None:
            back[cause] = np.maximum(way.margin(inq, mended, spot)[:, where].min(axis=1) - log_margin, 0.0)
    layer, planned = _plan_blame(inq, way, spot, where)
    for cause, log in planned.items():
        back[cause] = back.get(cause, 0.0) + log * np.ones(len(log_margin))
    return Sight(chance=chance, log_margin=log_margin, blame=_shares(back), back=back, layer=layer)


def _share_of_places(inq: Inquiry, way: Way, state: State, spot: Spot, where: slice) -> Floats:
    """Of the hazard of corners and middle, that of the one that was named."""
    spots = list(corners(inq))
    spots[min(range(len(spots)), key=lambda k: math.dist(spots[k], spot))] = spot
    hazard = {s: ndtr(-way.margin(inq, state, s)[:, where].min(axis=1) / way.scatter) + _TINY for s in spots}
    return np.asarray(hazard[spot] / sum(hazard.values()))


def _plan_blame(inq: Inquiry, way: Way, spot: Spot | None, where: slice) -> tuple[int, dict[Cause, float]]:
    """The layer that would fail first, and by what the reference world falls short of a margin that holds (log)."""
    believed = way.margin(inq, inq.reference, spot)[0, where]
    layer = int(where.start + np.argmin(believed))
    short = log_scatter_safe(inq.case.job.confidence, way.scatter) - float(believed.min())
    through = way.plan(inq, layer, spot)
    whole = sum(through.values())
    if short <= 0.0 or whole <= 0.0:
        return layer, {}
    return layer, {cause: short * part / whole for cause, part in through.items() if part > 0.0}


def _shares(back: dict[Cause, Floats]) -> dict[Cause, Floats]:
    if not back:
        return {}
    whole = np.sum(list(back.values()), axis=0)
    return {cause: np.where(whole > _TINY, log / np.maximum(whole, _TINY), 0.0) for cause, log in back.items()}


def _fresh(inq: Inquiry, event: Event, count: int) -> Sight | None:
    """A region with nothing beneath at the layer and place that were named."""
    if event.what not in {Seen.STUCK_TO_FILM, Seen.LAYER_SPLIT}:
        return None
    where, spot = concerned(inq, event), spot_of(event)
    near = [
        f
        for f in inq.case.target_study.fresh
        if where.start <= f.layer < where.stop and (spot is None or math.dist(spot, (f.x_m, f.y_m)) <= NEAR_M)
    ]
    if not near:
        return None
    layers = {f.layer for f in inq.case.target_study.fresh}
    share = len({f.layer for f in near}) / len(layers)
    return Sight(
        chance=np.full(count, FRESH_CHANCE * share),
        log_margin=np.full(count, math.log(0.01)),
        blame={Cause.NOTHING_BENEATH: np.ones(count)},
        back={},
        layer=near[0].layer,
    )


def together(found: list[Sight]) -> tuple[Floats, dict[Cause, Floats]]:
    """Return how likely something is seen, whichever way it comes about, and what is then behind it.

    P = 1 - prod(1 - P_way); the blame of each way counts by its chance.
    """
    chance = 1.0 - np.prod([1.0 - s.chance for s in found], axis=0)
    weights = np.array([s.chance for s in found])
    weights = weights / np.maximum(weights.sum(axis=0), 1e-300)
    blame: dict[Cause, Floats] = {}
    for sight, weight in zip(found, weights, strict=True):
        for cause, share in sight.blame.items():
            blame[cause] = blame.get(cause, np.zeros_like(weight)) + share * weight
    return np.asarray(chance), blame


def by_chance(inq: Inquiry, event: Event) -> float:
    """Return the chance of an event for a reason that nothing here describes, where it was seen."""
    chance = UNMODELLED[event.what]
    if event.layer is not None:
        here, kind = concerned(inq, event), concerned(inq, Event(what=event.what))
        chance *= min((here.stop - here.start) / max(kind.stop - kind.start, 1), 1.0)
    if spot_of(event) is not None:
        chance /= len(corners(inq))
    return chance
