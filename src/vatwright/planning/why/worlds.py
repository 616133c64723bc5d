"""The worlds in which a run may have failed: those the plan knows of, and those in which something was not as believed.

The plan's worlds are what is left after the proven runs.  Beside them stand departures: a platform knocked since it was
levelled, a vat colder than the room, a lamp that dimmed, a clamp that works loose, a hand that came late.  How often each
befalls a run is an engineering estimate; what it does to the margins is computed.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, field, fields, frozen
from scipy.special import ndtri

from vatwright.errors import DomainError
from vatwright.physics.irradiance import irradiance_at
from vatwright.physics.plane import fit_plane
from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.exposure import cured_m
from vatwright.planning.demand.holding import Strengths, strengths
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import Side, corner_excess_m
from vatwright.records.machine import EVEN_SPOTS, Backing, Light, Platform
from vatwright.records.process import Settings
from vatwright.records.run import SetByHand

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.why.causes import Cause

    Floats = NDArray[np.float64]

SEVERITY_ROOTS = (2, 3, 5, 7, 11)
"""Square roots of these primes step the fractions that spread severities over the worlds (Richtmyer's sequence)."""


@frozen(kw_only=True, eq=False)
class RunWorlds:
    """One run in S worlds of one kind.

    Parameters
    ----------
    run : Run
        Settings, plate and unknowns.
    settle_s : (N,) or (S, N) ndarray
        Settle that each layer really got [s].
    thickness_m : (S, N) ndarray
        Thickness when the light comes on, on a level platform with a true zero [m].
    worst_m : (S, N) ndarray
        The same at the worst place of each layer: the film may give [m].
    slope_x, slope_y, zero_m : (S,) ndarray
        Growth of the first gap to the right and to the rear [-], and what a false zero adds everywhere [m].
    colder_k, late_s : (S,) ndarray
        How much colder than the room the vat is [K], how late the hand (early below zero) [s].
    by_hand : bool
        Whether the settles are those that hands are known to have set.
    strength : Strengths or None
        What carries, where it matters.
    """

    run: Run
    settle_s: Floats
    thickness_m: Floats
    worst_m: Floats
    slope_x: Floats
    slope_y: Floats
    zero_m: Floats
    colder_k: Floats
    late_s: Floats
    strength: Strengths | None
    by_hand: bool = False

    def excess_m(self, x_m: float, y_m: float) -> Floats:
        """Return what tilt and zero add to the first gap at a place, (S,) [m]."""
        return np.asarray(self.zero_m + self.slope_x * x_m + self.slope_y * y_m)

    def first_gap_m(self, x_m: float, y_m: float) -> Floats:
        """Return the first gap at a place, (S,) [m]; what would touch is held at a tenth of a layer."""
        least = 0.1 * self.run.load.layer_m[0]
        return np.asarray(np.maximum(self.thickness_m[:, 0] + self.excess_m(x_m, y_m), least))

    def cured_m(self, share: float) -> Floats:
        """Return how deep each layer cures where the light is `share` of the mean, (S, N) [m]."""
        return np.asarray(cured_m(self.run.side, self.run.exposure_s(), share=share))


@frozen(kw_only=True, eq=False)
class WorldGroup:
    """Worlds of one kind and how often a run is one of them; `departure` names the cause that holds there, if one does."""

    departure: str
    often: float
    state: RunWorlds


@frozen(kw_only=True, eq=False)
class Inquiry:
    """What a question why works on.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    settings : Settings
        As printed.
    settle_s : (N,) ndarray
        Settle of each layer as planned [s].
    starts_s : (N,) ndarray
        When each layer starts as planned [s].
    reference : State
        One world in which everything is as believed.
    groups : tuple of Group
        All others.
    """

    case: Case
    settings: Settings
    settle_s: Floats
    starts_s: Floats
    reference: RunWorlds
    groups: tuple[WorldGroup, ...] = field(default=())

    @property
    def layers(self) -> int:
        """Layers of the plate."""
        return len(self.settle_s)

    @property
    def platform(self) -> Platform:
        """The platform it ran on."""
        return self.case.job.target.platform

    @property
    def light(self) -> Light:
        """The light it ran under."""
        return self.case.job.target.light


def inquiry(
    case: Case,
    advised: Advised,
    printed: dict[str, float],
    *,
    causes: tuple[Cause, ...] = (),
    hands: tuple[SetByHand, ...] = (),
) -> Inquiry:
    """Return the worlds of a run that was printed as a carry advised, but for what `printed` and `hands` say.

    Parameters
    ----------
    case : Case
        The job and its worlds after the proven runs.
    advised : Advised
        What the carry chose.
    printed : dict of str to float
        Settings that were not as advised, SI.
    causes : tuple of Cause
        What may be behind a failure; :data:`vatwright.planning.why.causes.CAUSES` holds all that is known.
    hands : tuple of SetByHand
        Settles that hands really set, where that is known.

    Returns
    -------
    Inquiry
        The plan's worlds and the departures from them.
    """
    settings = advised.settings
    for name, value in printed.items():
        settings = settings.with_value(name, value)
    run = case.target_run(settings)
    settle = run.settle_s() if advised.hand is None or any("settle" in n for n in printed) else advised.settle_s
    starts = case.target_times(settings, layers=run.layers, settle_s=settle).start_s
    strength = strengths(case.worlds, case.job.resin, target=True)
    plain = _as_set(_ordinary(case, run, settle, strength), settle, starts, hands)
    bare = Inquiry(
        case=case, settings=settings, settle_s=settle, starts_s=starts, reference=_reference(case, plain, settle)
    )  # fmt: skip
    departed = [g for cause in causes if cause.departs for g in _departed(bare, advised, plain, cause)]
    rest = 1.0 - sum(g.often for g in departed)
    return evolve(bare, groups=(WorldGroup(departure="", often=rest, state=plain), *departed))


def _as_set(plain: RunWorlds, planned_s: Floats, starts_s: Floats, hands: tuple[SetByHand, ...]) -> RunWorlds:
    """Return the worlds with the settles that hands are known to have set; the last one set holds to the end."""
    if not hands:
        return plain
    got = planned_s.copy()
    for hand in hands:
        got[hand.layer :] = hand.settle_s
    if np.array_equal(got, planned_s):
        return evolve(plain, by_hand=True)
    late = hand_was_late_s(planned_s, got, starts_s, int(np.flatnonzero(got != planned_s)[0]))
    changed = with_settle(plain, got, late_s=np.full(len(plain.late_s), late or 0.0))
    return evolve(changed, by_hand=True)


def hand_was_late_s(planned_s: Floats, got_s: Floats, starts_s: Floats, layer: int) -> float | None:
    """Return how late the hand was whose doing a layer shows [s], below 0 where it was early; None where it set otherwise.

    Examples
    --------
    >>> starts, planned = np.arange(6) * 10.0, np.array([38.0, 38.0, 38.0, 38.0, 6.0, 6.0])
    >>> hand_was_late_s(planned, np.array([38.0, 6.0, 6.0, 6.0, 6.0, 6.0]), starts, 2)
    -30.0
    >>> hand_was_late_s(planned, np.array([38.0, 38.0, 38.0, 38.0, 38.0, 6.0]), starts, 4)
    10.0
    """
    first = layer
    while first and got_s[first - 1] != planned_s[first - 1]:
        first -= 1
    after = np.flatnonzero(got_s[layer:] == planned_s[layer:])
    end = layer + int(after[0]) if after.size else len(got_s)
    if end < len(got_s) and got_s[layer] == planned_s[end]:
        return float(starts_s[first] - starts_s[end])
    if first and got_s[layer] == planned_s[first - 1]:
        return float(starts_s[min(end, len(got_s) - 1)] - starts_s[first])
    return None


def _departed(inq: Inquiry, advised: Advised, plain: RunWorlds, cause: Cause) -> list[WorldGroup]:
    """The worlds in which one thing is not as believed; none where it cannot happen here."""
    found = cause.departs(inq, advised, plain) if cause.departs else []
    return [WorldGroup(departure=cause.name, often=cause.often / len(found), state=state) for state in found]


def light_share(light: Light, x_m: float, y_m: float) -> float:
    """Return the irradiance at a place as a share of the mean: from the map, or the window's dimmest where none tells [-]."""
    if len(light.readings) < EVEN_SPOTS:
        return light.dimmest
    spots = {"x_m": [r.x_m for r in light.readings], "y_m": [r.y_m for r in light.readings]}
    read = [r.irradiance_w_m2 for r in light.readings]
    here = irradiance_at(**spots, irradiance_w_m2=read, at_x_m=[x_m], at_y_m=[y_m])
    return float(here[0]) / light.irradiance_w_m2.value


def spread(count: int, which: int) -> Floats:
    """Return standard normal values spread evenly over `count` worlds: ndtri(frac((s + 1/2) sqrt(p))), (S,)."""
    steps = (np.arange(count) + 0.5) * math.sqrt(SEVERITY_ROOTS[which]) % 1.0
    return np.asarray(ndtri(np.clip(steps, 1e-6, 1.0 - 1e-6)))


def directions(count: int, which: int) -> Floats:
    """Return angles spread evenly over `count` worlds, (S,) [rad]."""
    return np.asarray(2.0 * math.pi * ((np.arange(count) + 0.5) * math.sqrt(SEVERITY_ROOTS[which]) % 1.0))


def slopes(platform: Platform, corner_m: Floats, direction: Floats) -> tuple[Floats, Floats]:
    """Slopes of planes that stand `corner_m` off at the corner they fall towards, seen from the middle."""
    x, y = np.cos(direction), np.sin(direction)
    reach = np.abs(x) * platform.width_m / 2.0 + np.abs(y) * platform.depth_m / 2.0
    return corner_m * x / reach, corner_m * y / reach


def read_slopes(case: Case) -> tuple[float, float] | None:
    """Return the tilt that somebody read, None where nobody did."""
    machine = case.job.target
    if len(machine.level) < 3:
        return None
    try:
        plane = fit_plane(
            x_m=[r.x_m for r in machine.level],
            y_m=[r.y_m for r in machine.level],
            gap_m=[r.gap_m for r in machine.level],
            sigma_m=[machine.level_sigma_m] * len(machine.level),
        )
    except DomainError:  # on a line
        return None
    return plane.at(1.0, 0.0) - plane.at(0.0, 0.0), plane.at(0.0, 1.0) - plane.at(0.0, 0.0)


def _ordinary(case: Case, run: Run, settle: Floats, strength: Strengths) -> RunWorlds:
    machine, count = case.job.target, case.worlds.count
    read = read_slopes(case)
    excess = corner_excess_m(machine.platform, machine.level, machine.level_sigma_m)
    if read is None or excess is None:
        slope_x, slope_y = slopes(machine.platform, run.side.unlevel_m, directions(count, 0))
    else:
        off = excess[1] * case.worlds.axes["level target"]
        slope_x, slope_y = slopes(machine.platform, off, directions(count, 0))
        slope_x, slope_y = slope_x + read[0], slope_y + read[1]
    none, found = np.zeros(count), run.result(settle)
    return RunWorlds(
        run=run, settle_s=settle, thickness_m=found.thickness_m, worst_m=found.worst_m, slope_x=slope_x, slope_y=slope_y,
        zero_m=none, colder_k=none, late_s=none, strength=strength,
    )  # fmt: skip


def _reference(case: Case, ordinary: RunWorlds, settle: Floats) -> RunWorlds:
    """One world with the median of every unknown, and the tilt that was read, or none."""
    side = Side(**{a: np.array([float(np.median(getattr(ordinary.run.side, a)))]) for a in _SIDE})
    run = evolve(ordinary.run, side=side, overcure_m=np.array([float(np.median(ordinary.run.overcure_m))]))
    slope = read_slopes(case) or (0.0, 0.0)
    held = ordinary.strength
    middle = None if held is None else Strengths(**{a: np.array([float(np.median(getattr(held, a)))]) for a in _HELD})
    found = run.result(settle)
    return RunWorlds(
        run=run, settle_s=settle, thickness_m=found.thickness_m, worst_m=found.worst_m, slope_x=np.array([slope[0]]),
        slope_y=np.array([slope[1]]), zero_m=np.zeros(1), colder_k=np.zeros(1), late_s=np.zeros(1), strength=middle,
    )  # fmt: skip


_SIDE = tuple(a.name for a in fields(Side))
_HELD = tuple(a.name for a in fields(Strengths))


def with_side(state: RunWorlds, side: Side) -> RunWorlds:
    """Return the same run with other unknowns; the stack is walked again only where they move it."""
    run = evolve(state.run, side=side)
    moving = ["stiffness_n_m", "ceiling_n", "viscosity_pa_s"]
    if run.machine.film.backing is not Backing.GLASS:
        moving.append("tension_n_m")
    if all(getattr(side, name) is getattr(state.run.side, name) for name in moving):
        return evolve(state, run=run)
    found = run.result(state.settle_s)
    return evolve(state, run=run, thickness_m=found.thickness_m, worst_m=found.worst_m)


def with_settle(state: RunWorlds, settle_s: Floats, *, late_s: Floats | None = None) -> RunWorlds:
    """Return the same run with the settles that its layers really got."""
    found = state.run.result(settle_s)
    changed = evolve(state, settle_s=settle_s, thickness_m=found.thickness_m, worst_m=found.worst_m)
    return changed if late_s is None else evolve(changed, late_s=late_s)


def log_scatter_safe(confidence: float, scatter: float) -> float:
    """Return the log margin at which a run holds as often as asked [-]."""
    return scatter * float(ndtri(confidence))
