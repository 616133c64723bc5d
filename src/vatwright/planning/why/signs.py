"""How likely a run does what somebody saw, in every world, and what it would have taken for it not to.

A sign is a margin that fails at a layer or a place.  Of what fails, the failure is seen where the hazard is greatest: its
layer and place are likely in proportion to their share of the hazard.  What is behind it is asked world by world: the
blame is shared in proportion to the log margin that each thing would give back, had it been as believed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import ndtr

from vatwright.planning.demand.lift import PULL_SCATTER
from vatwright.planning.demand.settle import RUN_SCATTER
from vatwright.planning.why.margins import (
    Holds,
    Mechanism,
    PlatformSpot,
    Shows,
    bond,
    corners,
    release,
    thick,
    thin,
    uneven,
)
from vatwright.planning.why.worlds import Inquiry, RunWorlds, log_scatter_safe
from vatwright.records.run import Event, Seen
from vatwright.records.sourced import NORMAL_95

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.why.causes import Cause

    Floats = NDArray[np.float64]

PULL_SPREAD = math.log(PULL_SCATTER) / NORMAL_95
"""How much the pull scatters from layer to layer (log) [-]; see `vatwright.planning.demand.lift.PULL_SCATTER`."""

COUNTED_LAYERS, COUNTED_M = 3, 2.5e-4
"""How far off a person counts layers or measures the height of a fault, either way [1], [m]; common practice, no source."""

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


class Sight(NamedTuple):
    """One way in which a run can do what was seen, in S worlds.

    Parameters
    ----------
    chance : Floats
        That it does so there [-].
    log_margin : Floats
        Log of capacity over demand at that layer and place [-].
    blame : dict of str to Floats
        Shares that add up to 1, or to 0 where nothing is to blame [-].
    back : dict of str to Floats
        Log margin that each would give back, had it been as believed [-].
    layer : int
        Where it would fail first if all were as believed.
    """

    chance: Floats
    log_margin: Floats
    blame: dict[str, Floats]
    back: dict[str, Floats]
    layer: int


class FailureSign(NamedTuple):
    """What fails, its margin and scatter, and whether a place and a layer matter to it."""

    shows: Shows
    margin: Mechanism
    scatter: float
    placed: bool
    layered: bool = True


BOND = FailureSign(Shows.BOND, bond, RUN_SCATTER, placed=True)
THICK = FailureSign(Shows.THICK, thick, RUN_SCATTER, placed=False)
THIN = FailureSign(Shows.THIN, thin, RUN_SCATTER, placed=False)
UNEVEN = FailureSign(Shows.UNEVEN, uneven, RUN_SCATTER, placed=False)
RELEASE = FailureSign(Shows.RELEASE, release, RUN_SCATTER, placed=True)


def ways(seen: Seen, holds: Holds) -> tuple[FailureSign, ...]:
    """Return the ways in which a run can come to show something."""
    section = FailureSign(Shows.SECTION, holds.section, PULL_SPREAD, placed=False)
    foot = FailureSign(Shows.FOOT, holds.foot, PULL_SPREAD, placed=False, layered=False)
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


def spot_of(event: Event) -> PlatformSpot | None:
    """Return the place of an event, where it has one."""
    return None if event.x_m is None or event.y_m is None else PlatformSpot(event.x_m, event.y_m)


class Resets:
    """The same worlds with one thing as believed, each made once."""

    def __init__(self, inq: Inquiry, state: RunWorlds, causes: tuple[Cause, ...]) -> None:
        self.causes = causes
        self.state, self._inq = state, inq
        self._made: dict[str, RunWorlds | None] = {}

    def behind(self, shows: Shows) -> dict[str, RunWorlds]:
        """Return the worlds with each cause put right that can be behind what shows; not those that hold nothing of it."""
        found = {cause.name: self._of(cause) for cause in self.causes if shows in cause.shows}
        return {name: state for name, state in found.items() if state is not None}

    def _of(self, cause: Cause) -> RunWorlds | None:
        if cause.name not in self._made:
            self._made[cause.name] = cause.put_right(self._inq, self.state) if cause.put_right else None
        return self._made[cause.name]


def sights(inq: Inquiry, event: Event, state: RunWorlds, resets: Resets, holds: Holds) -> list[Sight]:
    """Return all ways in which these worlds come to show an event."""
    found = [_sight(inq, event, way, state, resets) for way in ways(event.what, holds)]
    own = [c.seen(inq, event, len(state.zero_m)) for c in resets.causes if c.seen]
    return [*found, *(sight for sight in own if sight is not None)]


def _sight(inq: Inquiry, event: Event, way: FailureSign, state: RunWorlds, resets: Resets) -> Sight:
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
    back = {
        cause: np.maximum(way.margin(inq, mended, spot)[:, where].min(axis=1) - log_margin, 0.0)
        for cause, mended in resets.behind(way.shows).items()
    }
    layer, planned = _plan_blame(inq, way, spot, where, resets.causes)
    for cause, log in planned.items():
        back[cause] = back.get(cause, 0.0) + log * np.ones(len(log_margin))
    return Sight(chance=chance, log_margin=log_margin, blame=shares(back), back=back, layer=layer)


def _share_of_places(inq: Inquiry, way: FailureSign, state: RunWorlds, spot: PlatformSpot, where: slice) -> Floats:
    """Of the hazard of corners and middle, that of the one that was named."""
    spots = list(corners(inq))
    spots[min(range(len(spots)), key=lambda k: math.dist(spots[k], spot))] = spot
    hazard = {s: ndtr(-way.margin(inq, state, s)[:, where].min(axis=1) / way.scatter) + _TINY for s in spots}
    return np.asarray(hazard[spot] / sum(hazard.values()))


def _plan_blame(
    inq: Inquiry, way: FailureSign, spot: PlatformSpot | None, where: slice, causes: tuple[Cause, ...]
) -> tuple[int, dict[str, float]]:
    """The layer that would fail first, and by what the reference world falls short of a margin that holds (log)."""
    believed = way.margin(inq, inq.reference, spot)[0, where]
    layer = int(where.start + np.argmin(believed))
    short = log_scatter_safe(inq.case.job.confidence, way.scatter) - float(believed.min())
    through = {c.name: c.plan[way.shows](inq, layer, spot) for c in causes if way.shows in c.plan}
    whole = sum(through.values())
    if short <= 0.0 or whole <= 0.0:
        return layer, {}
    return layer, {cause: short * part / whole for cause, part in through.items() if part > 0.0}


def shares(back: dict[str, Floats]) -> dict[str, Floats]:
    """Return the blame in proportion to the log margin that each cause would give back [-]."""
    if not back:
        return {}
    whole = np.sum(list(back.values()), axis=0)
    return {cause: np.where(whole > _TINY, log / np.maximum(whole, _TINY), 0.0) for cause, log in back.items()}


def together(found: list[Sight]) -> tuple[Floats, dict[str, Floats]]:
    """Return how likely something is seen, whichever way it comes about, and what is then behind it.

    P = 1 - prod(1 - P_way); the blame of each way counts by its chance.
    """
    chance = 1.0 - np.prod([1.0 - s.chance for s in found], axis=0)
    weights = np.array([s.chance for s in found])
    weights = weights / np.maximum(weights.sum(axis=0), 1e-300)
    blame: dict[str, Floats] = {}
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
