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
from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.duration import layer_times, per_layer
from vatwright.planning.demand.exposure import cured_m
from vatwright.planning.demand.holding import Strengths, strengths
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import COLD_PER_K, Side, corner_excess_m
from vatwright.records.machine import EVEN_SPOTS, Backing, Light, Obeys, Platform
from vatwright.records.process import Settings
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.why import Cause

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

OFTEN = {
    Cause.UNLEVEL: 0.05,
    Cause.ZERO_OFF: 0.03,
    Cause.RESIN_THICK: 0.05,
    Cause.LIGHT_DIM: 0.04,
    Cause.ARM_GIVES: 0.03,
    Cause.FILM_LETS_GO_LATE: 0.05,
    Cause.RESIN_CURES_LESS: 0.04,
    Cause.SETTING_IGNORED: 0.02,
    Cause.HAND_LATE: 0.10,
}
"""Share of runs in which each is not as the records say [-]; engineering estimates, no source."""


def _severity(value: float, factor: float) -> Sourced:
    return Sourced.about(value, factor=factor, source="estimate:vatwright", kind=Kind.ESTIMATE)


KNOCKED_M = _severity(1.5e-4, 3.0)
"""Gap that a knocked platform adds at its lowest corner [m]; engineering estimate, no source."""

ZERO_M = 1.0e-4
"""Standard deviation of a zero that was set wrongly [m]; engineering estimate, no source."""

COLDER_K = _severity(5.0, 2.0)
"""How much colder than the room a vat may be [K]; engineering estimate, no source."""

DIMMED = _severity(0.3, 2.0)
"""Log of the light lost by a worn screen, a dirty glass, a failing lamp [-]; engineering estimate, no source."""

LOOSE = _severity(1.0, 2.0)
"""Log of the stiffness lost by a clamp or rail that works loose [-]; engineering estimate, no source."""

SLACK = _severity(0.4, 2.0)
"""Log by which a worn or slack film's peel angle grows [-]; engineering estimate, no source."""

TIRED = _severity(0.4, 2.0)
"""Log by which an old, unstirred or other lot of resin needs more dose [-]; engineering estimate, no source."""

LATE_S = _severity(600.0, 3.0)
"""How late or early a hand is when it is [s]; engineering estimate, no source."""

SEVERITY_ROOTS = (2, 3, 5, 7, 11)
"""Square roots of these primes step the fractions that spread severities over the worlds (Richtmyer's sequence)."""


@frozen(kw_only=True, eq=False)
class State:
    """One run in S worlds of one kind.

    Parameters
    ----------
    run : Run
        Settings, plate and unknowns.
    settle_s : (N,) or (S, N) ndarray
        Settle that each layer really got [s].
    thickness_m : (S, N) ndarray
        Thickness when the light comes on, on a level platform with a true zero [m].
    slope_x, slope_y, zero_m : (S,) ndarray
        Growth of the first gap to the right and to the rear [-], and what a false zero adds everywhere [m].
    colder_k, late_s : (S,) ndarray
        How much colder than the room the vat is [K], how late the hand (early below zero) [s].
    strength : Strengths or None
        What carries, where it matters.
    """

    run: Run
    settle_s: Floats
    thickness_m: Floats
    slope_x: Floats
    slope_y: Floats
    zero_m: Floats
    colder_k: Floats
    late_s: Floats
    strength: Strengths | None

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
class Group:
    """Worlds of one kind and how often a run is one of them."""

    departure: Cause | None
    often: float
    state: State


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
    reference: State
    groups: tuple[Group, ...] = field(default=())

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


def inquiry(case: Case, advised: Advised, printed: dict[str, float]) -> Inquiry:
    """Return the worlds of a run that was printed as a carry advised, but for what `printed` says.

    Parameters
    ----------
    case : Case
        The job and its worlds after the proven runs.
    advised : Advised
        What the carry chose.
    printed : dict of str to float
        Settings that were not as advised, SI.

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
    starts = layer_times(settings, case.job.target, layers=run.layers, settle_s=settle).start_s
    strength = strengths(case.worlds, case.job.resin, target=True)
    ordinary = _ordinary(case, run, settle, strength)
    bare = Inquiry(
        case=case, settings=settings, settle_s=settle, starts_s=starts,
        reference=_reference(case, ordinary, settle),
    )  # fmt: skip
    departed = [g for cause in OFTEN for g in _departed(bare, advised, ordinary, cause)]
    rest = 1.0 - sum(g.often for g in departed)
    return evolve(bare, groups=(Group(departure=None, often=rest, state=ordinary), *departed))


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


def _directions(count: int, which: int) -> Floats:
    return np.asarray(2.0 * math.pi * ((np.arange(count) + 0.5) * math.sqrt(SEVERITY_ROOTS[which]) % 1.0))


def _slopes(platform: Platform, corner_m: Floats, direction: Floats) -> tuple[Floats, Floats]:
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


def _ordinary(case: Case, run: Run, settle: Floats, strength: Strengths) -> State:
    machine, count = case.job.target, case.worlds.count
    read = read_slopes(case)
    excess = corner_excess_m(machine.platform, machine.level, machine.level_sigma_m)
    if read is None or excess is None:
        slope_x, slope_y = _slopes(machine.platform, run.side.unlevel_m, _directions(count, 0))
    else:
        off = excess[1] * case.worlds.axes["level target"]
        slope_x, slope_y = _slopes(machine.platform, off, _directions(count, 0))
        slope_x, slope_y = slope_x + read[0], slope_y + read[1]
    none = np.zeros(count)
    return State(
        run=run, settle_s=settle, thickness_m=run.result(settle).thickness_m, slope_x=slope_x, slope_y=slope_y, zero_m=none,
        colder_k=none, late_s=none, strength=strength,
    )  # fmt: skip


def _reference(case: Case, ordinary: State, settle: Floats) -> State:
    """One world with the median of every unknown, and the tilt that was read, or none."""
    side = Side(**{a: np.array([float(np.median(getattr(ordinary.run.side, a)))]) for a in _SIDE})
    run = evolve(ordinary.run, side=side, overcure_m=np.array([float(np.median(ordinary.run.overcure_m))]))
    slope = read_slopes(case) or (0.0, 0.0)
    held = ordinary.strength
    middle = None if held is None else Strengths(**{a: np.array([float(np.median(getattr(held, a)))]) for a in _HELD})
    return State(
        run=run, settle_s=settle, thickness_m=run.result(settle).thickness_m, slope_x=np.array([slope[0]]),
        slope_y=np.array([slope[1]]), zero_m=np.zeros(1), colder_k=np.zeros(1), late_s=np.zeros(1), strength=middle,
    )  # fmt: skip


_SIDE = tuple(a.name for a in fields(Side))
_HELD = tuple(a.name for a in fields(Strengths))


def _departed(inq: Inquiry, advised: Advised, plain: State, cause: Cause) -> list[Group]:
    """The worlds in which one thing is not as believed; none where it cannot happen here."""
    count, often = len(plain.zero_m), OFTEN[cause]
    z = spread(count, 1)
    if cause is Cause.UNLEVEL:
        x, y = _slopes(inq.platform, _lognormal(KNOCKED_M, z), _directions(count, 2))
        return [_group(cause, often, evolve(plain, slope_x=plain.slope_x + x, slope_y=plain.slope_y + y))]
    if cause is Cause.ZERO_OFF:
        return [_group(cause, often, evolve(plain, zero_m=ZERO_M * z))]
    if cause is Cause.SETTING_IGNORED:
        return _ignored(inq, plain, often)
    if cause is Cause.HAND_LATE:
        return _hands(inq, advised, plain, often)
    return [_group(cause, often, _changed(inq, plain, cause, z))]


def _group(cause: Cause, often: float, state: State) -> Group:
    return Group(departure=cause, often=often, state=state)


def _lognormal(quantity: Sourced, z: Floats) -> Floats:
    return np.asarray(quantity.value * np.exp(quantity.spread * z))


def _changed(inq: Inquiry, plain: State, cause: Cause, z: Floats) -> State:
    side = plain.run.side
    if cause is Cause.RESIN_THICK:
        colder = _lognormal(COLDER_K, z)
        return _colder(inq, plain, colder)
    if cause is Cause.LIGHT_DIM:
        return with_side(plain, evolve(side, irradiance_w_m2=side.irradiance_w_m2 * np.exp(-_lognormal(DIMMED, z))))
    if cause is Cause.ARM_GIVES:
        return with_side(plain, evolve(side, stiffness_n_m=side.stiffness_n_m * np.exp(-_lognormal(LOOSE, z))))
    if cause is Cause.FILM_LETS_GO_LATE:
        return with_side(plain, evolve(side, angle_rad=_steeper(side.angle_rad, _lognormal(SLACK, z))))
    return with_side(plain, evolve(side, curve_dose_j_m2=side.curve_dose_j_m2 * np.exp(_lognormal(TIRED, z))))


def _steeper(angle_rad: Floats, log: Floats) -> Floats:
    return np.asarray(np.arctan(np.tan(angle_rad) * np.exp(log)))


def _colder(inq: Inquiry, plain: State, colder_k: Floats) -> State:
    """A vat colder than the room: thicker by Andrade's law, its film a little harder to part."""
    job, side = inq.case.job, plain.run.side
    activation = viscosity_belief(job.resin).activation_j_mol.value
    thicker = np.exp(activation / GAS_CONSTANT_J_MOL_K * (1.0 / (job.room_k - colder_k) - 1.0 / job.room_k))
    # The energy grows with the square of a small angle.
    angle = _steeper(side.angle_rad, 0.5 * COLD_PER_K.value * colder_k)
    changed = evolve(side, viscosity_pa_s=side.viscosity_pa_s * thicker, angle_rad=angle)
    return evolve(with_side(plain, changed), colder_k=colder_k)


def with_side(state: State, side: Side) -> State:
    """Return the same run with other unknowns; the stack is walked again only where they move it."""
    run = evolve(state.run, side=side)
    moving = ["stiffness_n_m", "ceiling_n", "viscosity_pa_s"]
    if run.machine.film.backing is not Backing.GLASS:
        moving.append("tension_n_m")
    if all(getattr(side, name) is getattr(state.run.side, name) for name in moving):
        return evolve(state, run=run)
    return evolve(state, run=run, thickness_m=run.result(state.settle_s).thickness_m)


def with_settle(state: State, settle_s: Floats, *, late_s: Floats | None = None) -> State:
    """Return the same run with the settles that its layers really got."""
    changed = evolve(state, settle_s=settle_s, thickness_m=state.run.result(settle_s).thickness_m)
    return changed if late_s is None else evolve(changed, late_s=late_s)


def _ignored(inq: Inquiry, plain: State, often: float) -> list[Group]:
    """A controller that gives the base the body's settle, or none at all, though the records say that it obeys."""
    controller = inq.case.job.target.controller
    rule = controller.rule("base.settle_s")
    if rule.obeys is Obeys.NO:
        return []
    shared = np.full(inq.layers, inq.settings.body.settle_s)
    body = per_layer(inq.settings, "settle_s", "settle_s", layers=inq.layers, controller=controller)
    kinds = [np.zeros(inq.layers)] if float(inq.settle_s.max()) > 0.0 else []
    if rule.obeys is Obeys.YES and not np.array_equal(shared, body):
        kinds.append(shared)
    found = [with_settle(plain, settle) for settle in kinds]
    return [_group(Cause.SETTING_IGNORED, often / len(found), state) for state in found]


def _hands(inq: Inquiry, advised: Advised, plain: State, often: float) -> list[Group]:
    """A hand that came later or earlier than the schedule says, every time by as much."""
    if advised.hand is None or not advised.hand.visits:
        return []
    count = len(plain.zero_m)
    late = _lognormal(LATE_S, spread(count, 1)) * np.where(np.arange(count) % 2, -1.0, 1.0)
    settle = np.full((count, inq.layers), inq.settle_s[0])
    for visit in advised.hand.visits:
        acted = inq.starts_s[visit.layer] + late
        settle = np.where(inq.starts_s[None, :] >= acted[:, None] - 1e-6, visit.value, settle)
    first = min(v.layer for v in advised.hand.visits)
    if inq.case.job.target.controller.rule("base.settle_s").obeys is not Obeys.SHARED:
        settle[:, : min(first, inq.settings.base_layers)] = inq.settle_s[: min(first, inq.settings.base_layers)]
    return [_group(Cause.HAND_LATE, often, with_settle(plain, settle, late_s=late))]


# --- what if one thing had been as believed ----------------------------------------------------------------------------

RESETS: dict[Cause, tuple[str, ...]] = {
    Cause.ARM_GIVES: ("stiffness_n_m", "ceiling_n"),
    Cause.RESIN_THICK: ("viscosity_pa_s",),
    Cause.LIGHT_DIM: ("irradiance_w_m2", "spot"),
    Cause.RESIN_CURES_LESS: ("curve_depth_m", "curve_dose_j_m2", "reciprocity"),
    Cause.FILM_LETS_GO_LATE: ("tension_n_m", "angle_rad"),
}
"""The unknowns of a machine and a resin that each cause stands for."""


def as_believed(inq: Inquiry, state: State, cause: Cause) -> State | None:
    """Return the same worlds with what one cause stands for as believed; None where they hold nothing of it."""
    count = len(state.zero_m)
    believed = inq.reference
    if cause in RESETS:
        medians = {n: np.full(count, float(getattr(believed.run.side, n)[0])) for n in RESETS[cause]}
        changed = with_side(state, evolve(state.run.side, **medians))
        if cause is not Cause.RESIN_CURES_LESS:
            return changed
        overcure = np.full(count, float(believed.run.overcure_m[0]))
        return evolve(changed, run=evolve(changed.run, overcure_m=overcure))
    if cause is Cause.UNLEVEL:  # level, not tilted as it was read: a tilt that is known can be put right as well
        return evolve(state, slope_x=np.zeros(count), slope_y=np.zeros(count))
    if cause is Cause.ZERO_OFF:
        return evolve(state, zero_m=np.zeros(count)) if state.zero_m.any() else None
    if cause is Cause.HAND_LATE:
        return with_settle(state, inq.settle_s) if state.late_s.any() else None
    if cause is Cause.SETTING_IGNORED:
        ignored = state.settle_s is not inq.settle_s and not state.late_s.any()
        return with_settle(state, inq.settle_s) if ignored else None
    return None


def log_scatter_safe(confidence: float, scatter: float) -> float:
    """Return the log margin at which a run holds as often as asked [-]."""
    return scatter * float(ndtri(confidence))
