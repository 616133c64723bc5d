"""What mends a cause of failure: the setting and its value, computed so that nine in ten such worlds hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import ndtri

from vatwright.physics.layer_stack import settle_demands
from vatwright.planning.demand.choice import settable
from vatwright.planning.demand.exposure import effective_w_m2
from vatwright.planning.demand.settle import LONGEST_SETTLE_S, RUN_SCATTER
from vatwright.planning.why.margins import BAND, corners
from vatwright.planning.why.signs import spot_of
from vatwright.planning.why.weighed import Weighed, every
from vatwright.planning.why.worlds import Inquiry, RunWorlds, light_share
from vatwright.records.machine import Obeys
from vatwright.records.run import Seen
from vatwright.records.why import Mending, Observed, Remedy

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

COVERED = 0.9
"""Share of the worlds in which a mend must hold [-]."""

MOST_LIGHT = 3.0
"""More light than this many times what is set is no mend: it fills holes in and wears film and screen [-]; engineering
estimate, no source."""

ROUNDS = 6
"""How often a settle is sought again, now that the layers before it get as much."""

SLOWER = 0.5
"""Share of the peel speed that is worth trying where a piece tore [-]: less takes long and pulls hardly less; estimate."""

HEAVY = 0.01
"""A group of worlds that carries less than this of a cause does not decide its mend [-]."""

_SQUEEZED = {Seen.THICK_BAND, Seen.LAYER_SPLIT, Seen.BASE_LET_GO, Seen.STUCK_TO_FILM}


def by_hand(inq: Inquiry, observed: Observed, weighed: Weighed) -> Remedy:  # noqa: ARG001 - a mend
    """Return that no setting mends it."""
    return Remedy()


def more_light(inq: Inquiry, observed: Observed, weighed: Weighed) -> Remedy:  # noqa: ARG001 - a mend
    """Return the exposure that bonds the layer."""
    name = f"{_phase(inq, weighed)}.exposure_s"
    now, value = inq.settings.value(name), _exposure_s(inq, weighed)
    if value is None:
        return Remedy(way=Mending.LIGHT_IS_NO_CURE, setting=name, now=now)
    if value <= now:
        return Remedy(way=Mending.LIGHT_DOES, setting=name, now=now)
    return Remedy(way=Mending.MORE_LIGHT, setting=name, now=now, value=value)


def longer_settle(inq: Inquiry, observed: Observed, weighed: Weighed) -> Remedy:
    """Return the settle that holds, where what was seen is squeezed too little."""
    n, name = weighed.layer, f"{_phase(inq, weighed)}.settle_s"
    if observed.events and not any(e.what in _SQUEEZED for e in observed.events):
        return Remedy(way=Mending.SETTLE_BEFORE)
    now, value = float(inq.settle_s[n]), _settle_s(inq, observed, weighed)
    if value is None:
        return Remedy(way=Mending.SETTLE_ALONE_FAILS, setting=name, now=now)
    if value <= now:
        return Remedy(way=Mending.SETTLE_DOES, setting=name, now=now)
    return Remedy(way=Mending.LONGER_SETTLE, setting=name, now=now, value=value, layer=n)


def more_lift(inq: Inquiry, observed: Observed, weighed: Weighed) -> Remedy:
    """Return the rise that releases the furthest point, or that a slower one pulls less where something tore."""
    if observed.events and observed.events[0].what is not Seen.NOT_RELEASED:
        return _slower_peel(inq, weighed)
    reach = inq.case.target_study.reach
    reach_m = float(reach.reach_m.max()) if reach is not None else 0.0
    needed = every(inq, lambda s: s.run.film("body").tan_angle * reach_m) * math.exp(
        RUN_SCATTER * float(ndtri(COVERED))
    )
    body = inq.settings.body
    whole = weighed.quantile(needed, COVERED)
    value = max(math.ceil((whole - body.peel_lift_m) * 1e4) / 1e4, body.clear_lift_m)
    return Remedy(way=Mending.MORE_LIFT, setting="body.clear_lift_mm", now=body.clear_lift_m, value=value)


def _slower_peel(inq: Inquiry, weighed: Weighed) -> Remedy:
    """Half the peel speed, where the controller goes so low."""
    name = f"{_phase(inq, weighed)}.peel_speed_mm_s"
    now, rule = inq.settings.value(name), inq.case.job.target.controller.rule(name)
    value = settable(SLOWER * now, unit="mm_s", rule=rule, proven=now, up=False)
    if rule.obeys is Obeys.NO or value >= now:
        return Remedy(way=Mending.RISE_SLOWER)
    return Remedy(way=Mending.RISE_SLOWER, setting=name, now=now, value=value)


def _phase(inq: Inquiry, weighed: Weighed) -> str:
    return "base" if weighed.layer < inq.settings.base_layers else "body"


def _exposure_s(inq: Inquiry, weighed: Weighed) -> float | None:
    """The exposure that bonds the layer in nine of ten of these worlds: t = E_c / I exp((gap + overcure) / D_p) [s]."""
    n, spot = weighed.layer, weighed.spot
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    safe = math.exp(RUN_SCATTER * float(ndtri(COVERED)))

    def needed(state: RunWorlds) -> Floats:
        side = state.run.side
        gap = state.worst_m[:, n]
        if n == 0:
            gap = np.max([state.first_gap_m(*s) for s in ((spot,) if spot else corners(inq))], axis=0)
        reach = np.minimum((safe * gap + state.run.overcure_m) / side.curve_depth_m, 50.0)
        return np.asarray(side.curve_dose_j_m2 / effective_w_m2(side, share) * np.exp(reach))

    name = f"{_phase(inq, weighed)}.exposure_s"
    rule = inq.case.job.target.controller.rule(name)
    value = weighed.quantile(every(inq, needed), COVERED)
    value = math.ceil(value / rule.step - 1e-9) * rule.step
    value = round(value, 1) if value < 10.0 else float(math.ceil(value))
    most = min(rule.maximum, MOST_LIGHT * inq.settings.value(name))
    return value if value <= most else None


def _settle_s(inq: Inquiry, observed: Observed, weighed: Weighed) -> float | None:
    """The least settle that holds in nine of ten of these worlds, given to all layers of its kind [s]; None: none does."""
    n, value = weighed.layer, 0.0
    rule = inq.case.job.target.controller.rule("body.settle_s")
    in_base = n < inq.settings.base_layers
    alike = (np.arange(n + 1) < inq.settings.base_layers) == in_base
    for _ in range(ROUNDS):  # what a layer needs depends on the settles before it
        needed, weight = _demands(inq, observed, weighed, np.where(alike, value, 0.0))
        order = np.argsort(needed)
        along = np.cumsum(weight[order])
        wanted = float(needed[order][np.searchsorted(along, COVERED * along[-1])])
        if not math.isfinite(wanted) or wanted > min(LONGEST_SETTLE_S, rule.maximum):
            return None
        if wanted <= value:
            break
        value = wanted
    value = max(value, float(inq.settle_s[n]))
    return float(math.ceil(value)) if value >= 10.0 else math.ceil(value * 2.0) / 2.0


def _demands(inq: Inquiry, observed: Observed, weighed: Weighed, least_s: Floats) -> tuple[Floats, Floats]:
    """What the layer demands in the worlds that matter, with settles of at least `least_s` before it, and their weight."""
    n, at = weighed.layer, 0
    needed, weights = [], []
    for group in inq.groups:
        state = group.state
        mine = weighed.weight[at : at + len(state.zero_m)]
        at += len(state.zero_m)
        if mine.sum() < HEAVY * weighed.weight.sum():
            continue
        stack = {k: v[: n + 1] if np.ndim(v) == 1 and len(v) == inq.layers else v for k, v in state.run.stack().items()}
        settle = np.maximum(state.settle_s[..., : n + 1], least_s)
        limit = _limit_m(inq, observed, state, n)
        needed.append(settle_demands(settle_s=settle, limit_m=limit, **stack)[:, n])
        weights.append(mine)
    return np.concatenate(needed), np.concatenate(weights)


def _limit_m(inq: Inquiry, observed: Observed, state: RunWorlds, n: int) -> Floats:
    """The thickest that layers up to `n` may be: what bonds, and no band where one was seen, scatter taken off, (S, n + 1)."""
    safe = math.exp(-RUN_SCATTER * float(ndtri(COVERED)))
    spot = spot_of(observed.events[0]) if observed.events else None
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    layer = state.run.load.layer_m[: n + 1]
    limit = safe * np.maximum(state.cured_m(share)[:, : n + 1] - state.run.overcure_m[:, None], 0.01 * layer)
    if any(e.what is Seen.THICK_BAND for e in observed.events):
        limit = np.minimum(limit, BAND * safe * layer)
    if n == 0:
        excess = np.max([state.excess_m(*s) for s in ((spot,) if spot else corners(inq))], axis=0)
        limit[:, 0] = np.maximum(limit[:, 0] - np.maximum(excess, 0.0), 0.01 * layer[0])
    return np.asarray(limit)
