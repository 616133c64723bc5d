"""What may be behind a failed run, each cause once.

Of each: how often it befalls a run and what that does to the worlds of the plan, which margins it moves and what putting it
right gives back, its number, what reads it, and what mends it.  All else in this room walks these records.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, field, frozen

from vatwright.physics.squeeze_film import STANDARD_ATMOSPHERE_PA
from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.duration import per_layer
from vatwright.planning.demand.exposure import curve_is_foreign, curve_is_known
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.unknowns import COLD_PER_K
from vatwright.planning.why.margins import (
    PlatformSpot,
    Shows,
    all_of_it,
    light_is_short,
    settle_is_short,
    tilt_is_wide,
)
from vatwright.planning.why.mend import by_hand, longer_settle, more_lift, more_light
from vatwright.planning.why.signs import Sight, concerned, spot_of
from vatwright.planning.why.weighed import Weighed, low_corner
from vatwright.planning.why.worlds import (
    Inquiry,
    RunWorlds,
    directions,
    hand_was_late_s,
    light_share,
    slopes,
    spread,
    with_settle,
    with_side,
)
from vatwright.records.job import Job
from vatwright.records.machine import Obeys
from vatwright.records.run import Event, Quantity, Seen
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.why import Evidence, Observed, Remedy, Speaks

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Number(NamedTuple):
    """The number of a cause: which, its bench unit, and what it is in every world (given what is believed of the cause)."""

    what: str
    unit: str
    of: Callable[[Inquiry, Weighed], Callable[[RunWorlds], Floats]]


def _nothing_known(job: Job) -> Evidence | None:  # noqa: ARG001 - what is known of a cause
    return None


def _nothing_told(inq: Inquiry, weighed: Weighed) -> Iterable[Evidence]:  # noqa: ARG001 - what a cause tells
    return ()


@frozen(kw_only=True)
class Cause:
    """One thing that may be behind a failure.

    Parameters
    ----------
    name : str
        What it is called in data.
    shows : frozenset of Shows
        The margins that it moves, where it is not as believed.
    put_right : callable or None
        The same worlds with it as believed; None where they hold nothing of it.
    plan : dict of Shows to callable
        For each margin, how far the plan itself falls short by this, as a share of its parts [-].
    often : float
        Share of runs in which it is not as the records say [-].
    departs : callable or None
        The worlds of such runs, in equal shares; none where it cannot happen here.
    seen : callable or None
        A way of its own in which something is seen, beside the margins.
    number : Number or None
        What it is measured by.
    readings : frozenset of Quantity
        What reads it: only there does a reading's agreement count as evidence.
    known : callable
        Whether somebody read or measured what it stands for.
    held : Speaks or None
        Which proven runs speak against it.
    told : callable
        What else there is to tell of it.
    mend : callable
        What setting mends it, and its value.
    minutes : float
        How long its first step takes [min]; common practice, no source.
    """

    name: str
    shows: frozenset[Shows] = frozenset()
    put_right: Callable[[Inquiry, RunWorlds], RunWorlds | None] | None = None
    plan: dict[Shows, Callable[[Inquiry, int, PlatformSpot | None], float]] = field(factory=dict)
    often: float = 0.0
    departs: Callable[[Inquiry, Advised, RunWorlds], list[RunWorlds]] | None = None
    seen: Callable[[Inquiry, Event, int], Sight | None] | None = None
    number: Number | None = None
    readings: frozenset[Quantity] = frozenset()
    known: Callable[[Job], Evidence | None] = _nothing_known
    held: Speaks | None = None
    told: Callable[[Inquiry, Weighed], Iterable[Evidence]] = _nothing_told
    mend: Callable[[Inquiry, Observed, Weighed], Remedy] = by_hand
    minutes: float = 0.0


# --- how a run departs from the records --------------------------------------------------------------------------------


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

LEAST_SETTLE_S = 0.1
"""Settles below this are alike [s]: no machine times them finer; our own choice."""

LATE_S = _severity(600.0, 3.0)
"""How late or early a hand is when it is [s]; engineering estimate, no source."""


def _far(plain: RunWorlds, quantity: Sourced) -> Floats:
    """How far off it is in every world."""
    return np.asarray(quantity.value * np.exp(quantity.spread * _z(plain)))


def _z(plain: RunWorlds) -> Floats:
    return spread(len(plain.zero_m), 1)


def _knocked(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    x, y = slopes(inq.platform, _far(plain, KNOCKED_M), directions(len(plain.zero_m), 2))
    return [evolve(plain, slope_x=plain.slope_x + x, slope_y=plain.slope_y + y)]


def _zero_set_wrong(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    return [evolve(plain, zero_m=ZERO_M * _z(plain))]


def _loose(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    side = plain.run.side
    return [with_side(plain, evolve(side, stiffness_n_m=side.stiffness_n_m * np.exp(-_far(plain, LOOSE))))]


def _dimmed(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    side = plain.run.side
    return [with_side(plain, evolve(side, irradiance_w_m2=side.irradiance_w_m2 * np.exp(-_far(plain, DIMMED))))]


def _tired(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    side = plain.run.side
    return [with_side(plain, evolve(side, curve_dose_j_m2=side.curve_dose_j_m2 * np.exp(_far(plain, TIRED))))]


def _slack(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    side = plain.run.side
    return [with_side(plain, evolve(side, angle_rad=_steeper(side.angle_rad, _far(plain, SLACK))))]


def _steeper(angle_rad: Floats, log: Floats) -> Floats:
    return np.asarray(np.arctan(np.tan(angle_rad) * np.exp(log)))


def _colder(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
    """A vat colder than the room: thicker by Andrade's law, its film a little harder to part."""
    job, side, colder_k = inq.case.job, plain.run.side, _far(plain, COLDER_K)
    activation = viscosity_belief(job.resin).activation_j_mol.value
    thicker = np.exp(activation / GAS_CONSTANT_J_MOL_K * (1.0 / (job.room_k - colder_k) - 1.0 / job.room_k))
    # The energy grows with the square of a small angle.
    angle = _steeper(side.angle_rad, 0.5 * COLD_PER_K.value * colder_k)
    changed = evolve(side, viscosity_pa_s=side.viscosity_pa_s * thicker, angle_rad=angle)
    return [evolve(with_side(plain, changed), colder_k=colder_k)]


def _ignored(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:  # noqa: ARG001 - a departure
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
    return [evolve(with_settle(plain, settle, late_s=np.zeros(len(plain.late_s))), by_hand=False) for settle in kinds]


def _late(inq: Inquiry, advised: Advised, plain: RunWorlds) -> list[RunWorlds]:
    """A hand that came later or earlier than the schedule says, every time by as much."""
    if advised.hand is None or not advised.hand.visits or plain.by_hand:  # known, or there is nothing to come late for
        return []
    count = len(plain.zero_m)
    late = _far(plain, LATE_S) * np.where(np.arange(count) % 2, -1.0, 1.0)
    settle = np.full((count, inq.layers), inq.settle_s[0])
    for visit in advised.hand.visits:
        acted = inq.starts_s[visit.layer] + late
        settle = np.where(inq.starts_s[None, :] >= acted[:, None] - 1e-6, visit.value, settle)
    first = min(v.layer for v in advised.hand.visits)
    if inq.case.job.target.controller.rule("base.settle_s").obeys is not Obeys.SHARED:
        settle[:, : min(first, inq.settings.base_layers)] = inq.settle_s[: min(first, inq.settings.base_layers)]
    return [with_settle(plain, settle, late_s=late)]


def _as_watched(inq: Inquiry, weighed: Weighed) -> Iterable[Evidence]:
    """Tell what a hand that is known to have set otherwise did to the layer that was hit hardest."""
    if (layer := hand_hit(inq, [weighed.event] if weighed.event else [])) is None:
        return ()
    got, planned = inq.groups[0].state.settle_s, inq.settle_s
    late = hand_was_late_s(planned, got, inq.starts_s, layer)
    numbers = {"layer": float(layer), "got_s": float(got[layer]), "planned_s": float(planned[layer])}
    if not late:
        return (Evidence(code=Speaks.HAND_OTHERWISE, numbers=numbers),)
    code = Speaks.HAND_EARLY if late < 0.0 else Speaks.HAND_LATE
    return (Evidence(code=code, numbers={**numbers, "off_s": abs(late)}),)


def hand_hit(inq: Inquiry, events: Iterable[Event]) -> int | None:
    """Return the layer, of those that events are about, whose settle a known hand moved most; None where it moved none."""
    state = inq.groups[0].state
    if not state.by_hand:
        return None
    off = np.abs(np.log(np.maximum(state.settle_s, LEAST_SETTLE_S) / np.maximum(inq.settle_s, LEAST_SETTLE_S)))
    where = [concerned(inq, e) for e in events] or [slice(0, inq.layers)]
    layer = max((s.start + int(np.argmax(off[s])) for s in where), key=lambda n: float(off[n]))
    return layer if off[layer] > 0.0 else None


# --- what if it had been as believed -----------------------------------------------------------------------------------


def as_believed(*names: str) -> Callable[[Inquiry, RunWorlds], RunWorlds]:
    """Return what puts some unknowns of machine and resin at their medians."""

    def put_right(inq: Inquiry, state: RunWorlds) -> RunWorlds:
        believed, count = inq.reference.run.side, len(state.zero_m)
        return with_side(
            state, evolve(state.run.side, **{n: np.full(count, float(getattr(believed, n)[0])) for n in names})
        )

    return put_right


def _curve_as_believed(inq: Inquiry, state: RunWorlds) -> RunWorlds:
    changed = as_believed("curve_depth_m", "curve_dose_j_m2", "reciprocity")(inq, state)
    overcure = np.full(len(state.zero_m), float(inq.reference.run.overcure_m[0]))
    return evolve(changed, run=evolve(changed.run, overcure_m=overcure))


def _level(inq: Inquiry, state: RunWorlds) -> RunWorlds:  # noqa: ARG001 - put right
    # Level, not tilted as it was read: a tilt that is known can be put right as well.
    none = np.zeros(len(state.zero_m))
    return evolve(state, slope_x=none, slope_y=none)


def _true_zero(inq: Inquiry, state: RunWorlds) -> RunWorlds | None:  # noqa: ARG001 - put right
    return evolve(state, zero_m=np.zeros(len(state.zero_m))) if state.zero_m.any() else None


def _in_time(inq: Inquiry, state: RunWorlds) -> RunWorlds | None:
    return with_settle(state, inq.settle_s) if state.late_s.any() or state.by_hand else None


def _obeyed(inq: Inquiry, state: RunWorlds) -> RunWorlds | None:
    ignored = state.settle_s is not inq.settle_s and not (state.late_s.any() or state.by_hand)
    return with_settle(state, inq.settle_s) if ignored else None


def _as_strong(name: str) -> Callable[[Inquiry, RunWorlds], RunWorlds | None]:
    """The worlds with what carries as strong as believed."""

    def put_right(inq: Inquiry, state: RunWorlds) -> RunWorlds | None:
        held, believed = state.strength, inq.reference.strength
        if held is None or believed is None:
            return None
        value = np.full(len(state.zero_m), float(getattr(believed, name)[0]))
        return evolve(state, strength=evolve(held, **{name: value}))

    return put_right


def _vented(inq: Inquiry, state: RunWorlds) -> RunWorlds | None:
    if state.strength is None or not inq.case.target_study.pockets:
        return None
    return evolve(state, strength=evolve(state.strength, suction_pa=np.ones(len(state.zero_m))))


# --- its number --------------------------------------------------------------------------------------------------------


def _every_world(of: Callable[[RunWorlds], Floats]) -> Callable[[Inquiry, Weighed], Callable[[RunWorlds], Floats]]:
    return lambda _inq, _weighed: of


def _tilt_m(inq: Inquiry, weighed: Weighed) -> Callable[[RunWorlds], Floats]:
    spot = low_corner(inq, weighed)
    return lambda s: s.excess_m(*spot) - s.zero_m


def _cured_m(inq: Inquiry, weighed: Weighed) -> Callable[[RunWorlds], Floats]:
    share = inq.case.light_to.dimmest if weighed.spot is None else light_share(inq.light, *weighed.spot)
    return lambda s: s.cured_m(share)[:, weighed.layer]


def _release_m(inq: Inquiry, weighed: Weighed) -> Callable[[RunWorlds], Floats]:  # noqa: ARG001 - a number
    reach = inq.case.target_study.reach
    reach_m = float(reach.reach_m.max()) if reach is not None else 0.0
    return lambda s: s.run.film("body").tan_angle * reach_m


def _thickness_m(inq: Inquiry, weighed: Weighed) -> Callable[[RunWorlds], Floats]:  # noqa: ARG001 - a number
    return lambda s: s.thickness_m[:, weighed.layer]


def _settle_s(inq: Inquiry, weighed: Weighed) -> Callable[[RunWorlds], Floats]:  # noqa: ARG001 - a number
    return lambda s: np.broadcast_to(s.settle_s, s.thickness_m.shape)[:, weighed.layer]


def _suction(state: RunWorlds) -> Floats:
    held = state.strength
    return np.zeros(len(state.zero_m)) if held is None else held.suction_pa / STANDARD_ATMOSPHERE_PA


CURED = Number("cured", "um", _cured_m)
RELEASE = Number("release", "mm", _release_m)

# --- what is known of it -----------------------------------------------------------------------------------------------


def _somebody_read(kind: Callable[[Job], Kind]) -> Callable[[Job], Evidence]:
    def known(job: Job) -> Evidence:
        read = kind(job)
        return Evidence(code=Speaks.SOMEBODY_READ if read is Kind.READING else Speaks.NOBODY_READ, of=read.value)

    return known


def _curve(job: Job) -> Evidence | None:
    if not curve_is_known(job.resin):
        return Evidence(code=Speaks.NOT_MEASURED)
    return Evidence(code=Speaks.FROM_ELSEWHERE) if curve_is_foreign(job.resin) else None


def _viscosity(job: Job) -> Evidence | None:
    return None if job.resin.viscosity else Evidence(code=Speaks.NOT_MEASURED)


# --- a region that starts in the open ----------------------------------------------------------------------------------

NEAR_M = 0.01
"""A place named by somebody means anything within this [m]; common practice, no source."""

FRESH_CHANCE = 0.5
"""Chance that a region with nothing beneath stays on the film or leaves a split [-]; engineering estimate, no source."""


def _fresh(inq: Inquiry, event: Event, count: int) -> Sight | None:
    """A region with nothing beneath at the layer and place that were named."""
    if event.what not in {Seen.STUCK_TO_FILM, Seen.LAYER_SPLIT}:
        return None
    where, spot = concerned(inq, event), spot_of(event)
    fresh = inq.case.target_study.fresh
    near = [
        f
        for f in fresh
        if where.start <= f.layer < where.stop and (spot is None or math.dist(spot, (f.x_m, f.y_m)) <= NEAR_M)
    ]
    if not near:
        return None
    share = len({f.layer for f in near}) / len({f.layer for f in fresh})
    return Sight(
        chance=np.full(count, FRESH_CHANCE * share),
        log_margin=np.full(count, math.log(0.01)),
        blame={"nothing_beneath": np.ones(count)},
        back={},
        layer=near[0].layer,
    )


def _largest_fresh(inq: Inquiry, weighed: Weighed) -> Iterable[Evidence]:
    where = concerned(inq, weighed.event) if weighed.event is not None else slice(0, inq.layers)
    near = [f for f in inq.case.target_study.fresh if where.start <= f.layer < where.stop]
    largest = max(near, key=lambda f: f.area_m2)
    at = {"layer": float(largest.layer), "area_m2": largest.area_m2, "x_m": largest.x_m, "y_m": largest.y_m}
    return (Evidence(code=Speaks.NOTHING_BENEATH, numbers=at),)


# --- all of them -------------------------------------------------------------------------------------------------------

SQUEEZE = frozenset({Shows.BOND, Shows.THICK, Shows.THIN, Shows.UNEVEN, Shows.HEIGHT})
FLAT = frozenset({Shows.BOND, Shows.HEIGHT})
CURE = frozenset({Shows.BOND})
HOLD = frozenset({Shows.SECTION, Shows.FOOT})
FIRST = frozenset({Quantity.FIRST_LAYER})

NO_MODEL = Cause(name="no_model", minutes=20.0)
"""What nothing here describes."""

CAUSES = (
    Cause(
        name="unlevel", shows=FLAT, put_right=_level, plan={Shows.BOND: tilt_is_wide}, often=0.05, departs=_knocked,
        number=Number("tilt", "um", _tilt_m), readings=FIRST | {Quantity.HEIGHT},
        known=_somebody_read(lambda job: Kind.READING if job.target.level else Kind.ESTIMATE),
        held=Speaks.MACHINE_HELD, mend=more_light, minutes=15.0,
    ),
    Cause(
        name="zero_off", shows=FLAT, put_right=_true_zero, often=0.03, departs=_zero_set_wrong,
        number=Number("zero", "um", _every_world(lambda s: s.zero_m)), readings=FIRST | {Quantity.HEIGHT},
        held=Speaks.MACHINE_HELD, mend=more_light, minutes=10.0,
    ),
    Cause(
        name="arm_gives", shows=SQUEEZE, put_right=as_believed("stiffness_n_m", "ceiling_n"), often=0.03, departs=_loose,
        number=Number("stiffness", "N_mm", _every_world(lambda s: s.run.side.stiffness_n_m)),
        readings=FIRST | {Quantity.DEFLECTION}, known=_somebody_read(lambda job: job.target.stiffness_n_m.kind),
        held=Speaks.MACHINE_HELD, mend=longer_settle, minutes=10.0,
    ),
    Cause(
        name="resin_thick", shows=SQUEEZE, put_right=as_believed("viscosity_pa_s"), often=0.05, departs=_colder,
        number=Number("viscosity", "mPa_s", _every_world(lambda s: s.run.side.viscosity_pa_s)),
        readings=FIRST | {Quantity.RESIN_TEMPERATURE, Quantity.VISCOSITY}, known=_viscosity, mend=longer_settle,
        minutes=30.0,
    ),
    Cause(
        name="light_dim", shows=CURE, put_right=as_believed("irradiance_w_m2", "spot"), often=0.04, departs=_dimmed,
        number=Number("light", "mW_cm2", _every_world(lambda s: s.run.side.irradiance_w_m2)),
        readings=FIRST | {Quantity.IRRADIANCE}, known=_somebody_read(lambda job: job.target.light.irradiance_w_m2.kind),
        held=Speaks.MACHINE_HELD, mend=more_light, minutes=15.0,
    ),
    Cause(
        name="resin_cures_less", shows=CURE, put_right=_curve_as_believed, often=0.04, departs=_tired, number=CURED,
        readings=FIRST | {Quantity.CURE_DEPTH}, known=_curve, held=Speaks.RESIN_HELD, mend=more_light, minutes=15.0,
    ),
    Cause(
        name="film_lets_go_late", shows=HOLD | {Shows.RELEASE}, put_right=as_believed("tension_n_m", "angle_rad"),
        often=0.05, departs=_slack, number=RELEASE, known=_somebody_read(lambda job: job.target.film.tension_n_m.kind),
        held=Speaks.MACHINE_HELD, mend=more_lift, minutes=30.0,
    ),
    Cause(
        name="settle_short",
        plan={Shows.BOND: settle_is_short, Shows.THICK: all_of_it, Shows.THIN: all_of_it, Shows.UNEVEN: all_of_it},
        number=Number("thickness", "um", _thickness_m), readings=FIRST, mend=longer_settle,
    ),
    Cause(name="light_short", plan={Shows.BOND: light_is_short}, number=CURED, readings=FIRST, mend=more_light),
    Cause(name="lift_short", plan={Shows.RELEASE: all_of_it}, number=RELEASE, mend=more_lift),
    Cause(
        name="hand_late", shows=SQUEEZE, put_right=_in_time, often=0.10, departs=_late,
        number=Number("late", "s", _every_world(lambda s: s.late_s)), readings=FIRST | {Quantity.RUN_TIME},
        told=_as_watched,
    ),
    Cause(
        name="setting_ignored", shows=SQUEEZE, put_right=_obeyed, often=0.02, departs=_ignored,
        number=Number("settle", "s", _settle_s), readings=FIRST | {Quantity.RUN_TIME}, minutes=10.0,
    ),
    Cause(
        name="pocket_pulls", shows=HOLD, put_right=_vented, number=Number("suction", "percent", _every_world(_suction)),
        minutes=15.0,
    ),
    Cause(name="nothing_beneath", seen=_fresh, told=_largest_fresh, minutes=15.0),
    Cause(
        name="foot_small", shows=frozenset({Shows.FOOT}), put_right=_as_strong("foot_pa"), plan={Shows.FOOT: all_of_it},
        minutes=15.0,
    ),
    Cause(
        name="section_slim", shows=frozenset({Shows.SECTION}), put_right=_as_strong("section_pa"),
        plan={Shows.SECTION: all_of_it}, minutes=20.0,
    ),
    NO_MODEL,
)  # fmt: skip
"""All that is known, in the order in which equals are told.  How often each befalls a run is an engineering estimate."""
