"""What to do about a cause of failure: the setting and its value, computed so that nine in ten such worlds hold."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.special import ndtri

from vatwright.physics.layer_stack import settle_demands
from vatwright.planning.demand.exposure import effective_w_m2
from vatwright.planning.demand.settle import LONGEST_SETTLE_S, RUN_SCATTER
from vatwright.planning.why.signs import BAND, corners, spot_of
from vatwright.planning.why.tell import spot_name
from vatwright.planning.why.words import Weighed, every, low_corner
from vatwright.planning.why.worlds import Inquiry, State, light_share
from vatwright.records.run import Seen
from vatwright.records.why import Cause, Mend, Observed

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

HEAVY = 0.01
"""A group of worlds that carries less than this of a cause does not decide its mend [-]."""

_SETTLE = {Cause.SETTLE_SHORT, Cause.ARM_GIVES, Cause.RESIN_THICK}
_LIGHT = {Cause.LIGHT_SHORT, Cause.LIGHT_DIM, Cause.RESIN_CURES_LESS}
_SQUEEZED = {Seen.THICK_BAND, Seen.LAYER_SPLIT, Seen.BASE_LET_GO, Seen.STUCK_TO_FILM}

_FIRST = {
    Cause.ARM_GIVES: ("Tighten clamp and arm, hang 5 kg on it and read the dial.", 10.0),
    Cause.RESIN_THICK: ("Warm resin and vat to the room the job names, and stir.", 30.0),
    Cause.LIGHT_DIM: ("Clean glass and film, then read the light at nine spots.", 15.0),
    Cause.RESIN_CURES_LESS: ("Stir the bottle, then cure four squares and measure them.", 15.0),
    Cause.FILM_LETS_GO_LATE: ("Tighten or change the film.", 30.0),
    Cause.ZERO_OFF: ("Set the platform's zero again on the bare clean screen.", 10.0),
    Cause.HAND_LATE: ("Keep to the hand schedule, or run it alone at the single value.", 0.0),
    Cause.SETTING_IGNORED: ("Time one layer with a stopwatch, and write down in the machine's record what it obeys.", 10.0),
    Cause.POCKET_PULLS: ("Drill a vent near the platform side, or turn the part so the hollow drains.", 15.0),
    Cause.NOTHING_BENEATH: ("Support the region, or check that the part is drawn as meant.", 15.0),
    Cause.FOOT_SMALL: ("Give the pieces a wider foot or a raft, and wipe the platform.", 15.0),
    Cause.SECTION_SLIM: ("Thicken the section, or turn the part so that less hangs on it.", 20.0),
    Cause.NO_MODEL: ("Look at film, platform and screen, and print one trial piece.", 20.0),
}  # fmt: skip
"""What to do first, and how long it takes [min]; common practice, no source."""


def mend_of(inq: Inquiry, observed: Observed, cause: Cause, weighed: Weighed | None) -> Mend:
    """Return what to do about a cause."""
    first, minutes = _FIRST.get(cause, ("", 0.0))
    if weighed is None:
        return Mend(do=first, minutes=minutes)
    if cause is Cause.UNLEVEL:
        return _level(inq, weighed)
    if cause in {Cause.FILM_LETS_GO_LATE, Cause.LIFT_SHORT}:
        return _lift(inq, observed, weighed, first, minutes)
    phase = "base" if weighed.layer < inq.settings.base_layers else "body"
    squeezed = not observed.events or any(e.what in _SQUEEZED for e in observed.events)
    if cause in _SETTLE and squeezed:
        return _settle(inq, observed, cause, weighed, phase)
    if cause in _SETTLE:
        return Mend(do=first or "Give the layers before it a longer settle.", minutes=minutes)
    if cause in _LIGHT or cause is Cause.ZERO_OFF:
        return _light(inq, cause, weighed, phase)
    return Mend(do=first, minutes=minutes)


def _level(inq: Inquiry, weighed: Weighed) -> Mend:
    spot = low_corner(inq, weighed)
    low_um = weighed.middle(every(inq, lambda s: s.excess_m(*spot) - s.zero_m)) * 1e6
    value = _exposure_s(inq, weighed)
    return Mend(
        do=f"Level the platform: the {spot_name(inq, spot)} stands about {low_um:.0f} um off. "
        f"Until then {_light_words(inq, 'base', value)}.",
        **_setting(inq, "base", value),
        minutes=15.0,
    )


def _light(inq: Inquiry, cause: Cause, weighed: Weighed, phase: str) -> Mend:
    value = _exposure_s(inq, weighed)
    first, minutes = _FIRST.get(cause, ("", 0.0))
    then = _light_words(inq, phase, value)
    return Mend(
        do=f"{first} Until then {then}." if first else f"{then[:1].upper()}{then[1:]}.",
        **_setting(inq, phase, value),
        minutes=minutes,
    )


def _setting(inq: Inquiry, phase: str, value: float | None) -> dict[str, Any]:
    if value is None or value <= getattr(inq.settings, phase).exposure_s:
        return {}
    return {"setting": f"{phase}.exposure_s", "value": value}


def _light_words(inq: Inquiry, phase: str, value: float | None) -> str:
    now = getattr(inq.settings, phase).exposure_s
    if value is None:
        return "more light is no cure: it would take too much of it"
    if value <= now:
        return f"the {phase} light of {now:.{0 if now >= 10.0 else 1}f} s does"
    return f"set {phase} light to {value:.{0 if value >= 10.0 else 1}f} s (now {now:.{0 if now >= 10.0 else 1}f} s)"


def _exposure_s(inq: Inquiry, weighed: Weighed) -> float | None:
    """The exposure that bonds the layer in nine of ten of these worlds: t = E_c / I exp((gap + overcure) / D_p) [s]."""
    n, spot = weighed.layer, weighed.spot
    share = inq.case.light_to.dimmest if spot is None else light_share(inq.light, *spot)
    safe = math.exp(RUN_SCATTER * float(ndtri(COVERED)))

    def needed(state: State) -> Floats:
        side = state.run.side
        gap = state.thickness_m[:, n]
        if n == 0:
            gap = np.max([state.first_gap_m(*s) for s in ((spot,) if spot else corners(inq))], axis=0)
        reach = np.minimum((safe * gap + state.run.overcure_m) / side.curve_depth_m, 50.0)
        return np.asarray(side.curve_dose_j_m2 / effective_w_m2(side, share) * np.exp(reach))

    phase = "base" if n < inq.settings.base_layers else "body"
    rule = inq.case.job.target.controller.rule(f"{phase}.exposure_s")
    value = weighed.quantile(every(inq, needed), COVERED)
    value = math.ceil(value / rule.step - 1e-9) * rule.step
    value = round(value, 1) if value < 10.0 else float(math.ceil(value))
    now = getattr(inq.settings, phase).exposure_s
    return value if value <= min(rule.maximum, MOST_LIGHT * now) else None


def _settle(inq: Inquiry, observed: Observed, cause: Cause, weighed: Weighed, phase: str) -> Mend:
    value = _settle_s(inq, observed, weighed)
    first, minutes = _FIRST.get(cause, ("", 0.0))
    name = f"{phase}.settle_s"
    if value is not None and value <= float(inq.settle_s[weighed.layer]):
        return Mend(do=first or "The settle is long enough by this reckoning: give more light.", minutes=minutes)
    if value is None:
        do = f"{first} A longer settle alone does not bond it: more light too, or a slower way down."
        return Mend(do=do.strip(), minutes=minutes)
    now = float(inq.settle_s[weighed.layer])
    when = f" by layer {weighed.layer}" if phase == "body" else ""
    then = f"set settle to {value:.{0 if value >= 10.0 else 1}f} s{when} (now {now:.1f} s)"
    do = f"{first} Until then {then}." if first else f"{then[:1].upper()}{then[1:]}."
    return Mend(do=do, setting=name, value=value, minutes=minutes)


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


def _limit_m(inq: Inquiry, observed: Observed, state: State, n: int) -> Floats:
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


def _lift(inq: Inquiry, observed: Observed, weighed: Weighed, first: str, minutes: float) -> Mend:
    reach = inq.case.target_study.reach
    span_m = float(reach.span_m.max()) if reach is not None else 0.0
    needed = every(inq, lambda s: s.run.side.tan_angle * span_m) * math.exp(RUN_SCATTER * float(ndtri(COVERED)))
    whole = weighed.quantile(needed, COVERED)
    body = inq.settings.body
    if observed.events and observed.events[0].what is not Seen.NOT_RELEASED:
        return Mend(do=f"{first} A slower peel lift pulls less." if first else "Rise more slowly.", minutes=minutes)
    value = max(math.ceil((whole - body.peel_lift_m) * 1e4) / 1e4, body.clear_lift_m)
    then = f"set body clear lift to {value * 1e3:.1f} mm (now {body.clear_lift_m * 1e3:.1f} mm)"
    do = f"{first} Until then {then}." if first else f"{then[:1].upper()}{then[1:]}."
    return Mend(do=do, setting="body.clear_lift_mm", value=value, minutes=minutes)
