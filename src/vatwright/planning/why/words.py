"""What speaks for and against a cause of failure, in plain sentences with its numbers."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.planning.demand.exposure import curve_is_foreign, curve_is_known
from vatwright.planning.demand.lift import ATMOSPHERE_PA
from vatwright.planning.why.signs import Spot, concerned, corners, spot_of
from vatwright.planning.why.tell import spot_name
from vatwright.planning.why.worlds import OFTEN, Inquiry, State, light_share
from vatwright.records.run import Event, Quantity, Reading, Seen
from vatwright.records.sourced import Kind
from vatwright.records.why import Cause, Figure, Observed, RankedCause
from vatwright.units import ZERO_CELSIUS_K, from_si

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

AGREES, DISAGREES = 1.5, 2.5
"""A reading within so many standard uncertainties of what a cause would show speaks for it, beyond so many against."""

MUCH_LIKELIER = 3.0
"""What was seen being so many times likelier with a cause than without is told as evidence [-]."""

_UNITS = {
    Quantity.HEIGHT: ("mm", "mm"), Quantity.RUN_TIME: ("s", "s"), Quantity.FIRST_LAYER: ("um", "um"),
    Quantity.VISCOSITY: ("mPa_s", "mPa s"), Quantity.IRRADIANCE: ("mW_cm2", "mW/cm2"), Quantity.CURE_DEPTH: ("um", "um"),
    Quantity.DEFLECTION: ("um", "um"),
}  # fmt: skip

SPEAKS_OF: dict[Quantity, tuple[Cause, ...]] = {
    Quantity.RESIN_TEMPERATURE: (Cause.RESIN_THICK,),
    Quantity.VISCOSITY: (Cause.RESIN_THICK,),
    Quantity.IRRADIANCE: (Cause.LIGHT_DIM,),
    Quantity.CURE_DEPTH: (Cause.RESIN_CURES_LESS,),
    Quantity.DEFLECTION: (Cause.ARM_GIVES,),
    Quantity.HEIGHT: (Cause.UNLEVEL, Cause.ZERO_OFF),
    Quantity.RUN_TIME: (Cause.HAND_LATE, Cause.SETTING_IGNORED),
    Quantity.FIRST_LAYER: (
        Cause.UNLEVEL, Cause.ZERO_OFF, Cause.SETTLE_SHORT, Cause.ARM_GIVES, Cause.RESIN_THICK, Cause.LIGHT_DIM,
        Cause.LIGHT_SHORT, Cause.RESIN_CURES_LESS, Cause.HAND_LATE, Cause.SETTING_IGNORED,
    ),
}  # fmt: skip
"""What each reading depends on: only there does its agreement count as evidence."""

_TITLES = {
    Cause.UNLEVEL: "the platform is not level",
    Cause.ZERO_OFF: "the platform's zero is off",
    Cause.ARM_GIVES: "the arm or its clamp gives more than believed",
    Cause.RESIN_THICK: "the resin is colder or thicker than believed",
    Cause.LIGHT_DIM: "the light is dimmer than believed",
    Cause.RESIN_CURES_LESS: "the resin cures less than its working curve says",
    Cause.FILM_LETS_GO_LATE: "the film is slack or worn and lets go late",
    Cause.SETTLE_SHORT: "the settle is too short",
    Cause.LIGHT_SHORT: "the light as set does not reach through a layer",
    Cause.LIFT_SHORT: "the rise is too short for this window",
    Cause.HAND_LATE: "a hand came late or early",
    Cause.SETTING_IGNORED: "the controller did not do as set",
    Cause.POCKET_PULLS: "a sealed pocket pulls like a suction cup",
    Cause.NOTHING_BENEATH: "a region starts with nothing beneath it",
    Cause.FOOT_SMALL: "the foot is too small for the pull, or holds less than believed",
    Cause.SECTION_SLIM: "a section is too slim for the pull, or weaker than believed",
    Cause.NO_MODEL: "something that is not computed here",
}

NO_MODEL = {
    Seen.BASE_LET_GO: ("A greasy, dusty or worn platform face: no model here. Wipe it and look.",),
    Seen.NOT_RELEASED: ("A film that resin has cured onto, or a cloudy one: no model here. Look through it.",),
    Seen.LAYER_SPLIT: ("A light that failed for a moment, a knock, resin that ran out: no model here.",),
    Seen.THICK_BAND: ("A pause in the run, or a rail that sticks: no model here.",),
    Seen.THIN_BAND: ("A pause in the run, or a rail that sticks: no model here.",),
    Seen.STUCK_TO_FILM: ("A film with a dent or cured resin on it: no model here. Look through it.",),
    Seen.TORN: ("Torn by hand while taking it off or washing it: no model here.",),
    Seen.LINES: (
        "Screw and rail faults, a table that sways, a light that flickers: no model here. Lines at even spacing point to them.",
    ),
}
"""What can be behind each that nothing here describes."""


class Weighed(NamedTuple):
    """What is believed of one cause.

    Parameters
    ----------
    spot, event : Spot or None, Event or None
        Where, and what was seen.
    layer : int
        The layer asked about.
    weight : (M,) ndarray
        How much each world of all groups, one group after the other, speaks for it [-].
    margin_believed, margin, margin_mended : float or None
        As believed; where this is behind it; the same with it put right [-].
    times_likelier : float or None
        How many times likelier what was seen is where this departs from the records [-].
    readings : tuple
        Each reading, the middle of what it would show under this cause, and how far off it is.
    """

    spot: Spot | None
    event: Event | None
    layer: int
    weight: Floats
    margin_believed: float | None
    margin: float | None
    margin_mended: float | None
    times_likelier: float | None
    readings: tuple[tuple[Reading, float | None, float], ...]

    def quantile(self, values: Floats, share: float) -> float:
        """Return the value that this share of the weight lies below."""
        order = np.argsort(values)
        along = np.cumsum(self.weight[order])
        at = min(int(np.searchsorted(along, share * along[-1])), len(order) - 1)
        return float(values[order][at])

    def middle(self, values: Floats) -> float:
        """Return the weighted median."""
        return self.quantile(values, 0.5)


def title_of(inq: Inquiry, cause: Cause, weighed: Weighed | None) -> str:
    """Return a cause in plain words."""
    title = _TITLES[cause]
    if weighed is None:
        return title
    if cause is Cause.UNLEVEL:
        return f"{title}: it stands too high above the film at the {spot_name(inq, low_corner(inq, weighed))}"
    if cause is Cause.SETTLE_SHORT and weighed.layer > 0:
        area = inq.case.target_study.area_m2
        before = float(area[weighed.layer - 1])
        times = float(area[weighed.layer]) / before if before > 0.0 else 1.0
        return f"{title} for the jump in area ({times:.0f} times at layer {weighed.layer})" if times >= 1.5 else title
    return title


def low_corner(inq: Inquiry, weighed: Weighed) -> Spot:
    """Return the place that was named, else the corner whose gap is widest under this cause."""
    if weighed.spot is not None:
        return weighed.spot
    return max(corners(inq), key=lambda c: weighed.middle(every(inq, lambda s: s.excess_m(*c))))


def every(inq: Inquiry, values: Callable[[State], Floats]) -> Floats:
    """Return something of all groups, one after the other, (M,)."""
    return np.concatenate([values(g.state) for g in inq.groups])


def where_words(inq: Inquiry, observed: Observed) -> str:
    """Return the layers and places asked about, in words."""
    told = []
    for event in observed.events:
        parts = []
        if event.layer is not None:
            parts.append(f"layer {event.layer} ({event.layer * inq.settings.layer_m * 1e3:.1f} mm)")
        if (spot := spot_of(event)) is not None:
            parts.append(f"the {spot_name(inq, spot)}")
        told.append(f"{event.what.value.replace('_', ' ')}{' at ' if parts else ''}{', '.join(parts)}")
    return "; ".join(told) or "a height that is not the nominal one"


# --- numbers -----------------------------------------------------------------------------------------------------------


def figures_of(inq: Inquiry, cause: Cause, weighed: Weighed) -> tuple[Figure, ...]:
    """Return the numbers of a cause, as believed and where it is behind it."""
    asked = _figure(inq, cause, weighed)
    if asked is None:
        return ()
    what, unit, value = asked
    values = every(inq, value)
    return (
        Figure(
            what=what,
            unit=unit,
            believed=float(value(inq.reference)[0]),
            low=weighed.quantile(values, 0.05),
            middle=weighed.middle(values),
            high=weighed.quantile(values, 0.95),
        ),
    )


def _figure(inq: Inquiry, cause: Cause, weighed: Weighed) -> tuple[str, str, Callable[[State], Floats]] | None:
    spot, n = low_corner(inq, weighed), weighed.layer
    share = inq.case.light_to.dimmest if weighed.spot is None else light_share(inq.light, *weighed.spot)
    reach = inq.case.target_study.reach
    span_m = float(reach.span_m.max()) if reach is not None else 0.0
    told: dict[Cause, tuple[str, str, Callable[[State], Floats]]] = {
        Cause.UNLEVEL: (f"gap that tilt adds at the {spot_name(inq, spot)}", "um",
                        lambda s: s.excess_m(*spot) - s.zero_m),
        Cause.ZERO_OFF: ("gap that a false zero adds everywhere", "um", lambda s: s.zero_m),
        Cause.ARM_GIVES: ("stiffness of arm and screen", "N_mm", lambda s: s.run.side.stiffness_n_m),
        Cause.RESIN_THICK: ("viscosity in the vat", "mPa_s", lambda s: s.run.side.viscosity_pa_s),
        Cause.LIGHT_DIM: ("mean light of the window", "mW_cm2", lambda s: s.run.side.irradiance_w_m2),
        Cause.RESIN_CURES_LESS: (f"depth that layer {n} cures", "um", lambda s: s.cured_m(share)[:, n]),
        Cause.LIGHT_SHORT: (f"depth that layer {n} cures", "um", lambda s: s.cured_m(share)[:, n]),
        Cause.FILM_LETS_GO_LATE: ("rise at which the furthest point lets go", "mm",
                                  lambda s: s.run.side.tan_angle * span_m),
        Cause.LIFT_SHORT: ("rise at which the furthest point lets go", "mm", lambda s: s.run.side.tan_angle * span_m),
        Cause.SETTLE_SHORT: (f"thickness of layer {n} when the light comes on", "um", lambda s: s.thickness_m[:, n]),
        Cause.HAND_LATE: ("how late the hand was (early below zero)", "s", lambda s: s.late_s),
        Cause.SETTING_IGNORED: (f"settle that layer {n} got", "s",
                                lambda s: np.broadcast_to(s.settle_s, s.thickness_m.shape)[:, n]),
        Cause.POCKET_PULLS: ("pull of a sealed pocket as a share of an atmosphere", "percent", _suction),
    }  # fmt: skip
    return told.get(cause)


def _suction(state: State) -> Floats:
    held = state.strength
    return np.zeros(len(state.zero_m)) if held is None else held.suction_pa / ATMOSPHERE_PA


# --- evidence ----------------------------------------------------------------------------------------------------------


def speaks_for(inq: Inquiry, cause: Cause, weighed: Weighed) -> tuple[str, ...]:
    """Return what speaks for a cause."""
    told = []
    if weighed.margin is not None and weighed.margin_mended is not None:
        end = "holds" if weighed.margin_mended >= 1.0 else "is still short"
        told.append(
            f"Put right alone, it takes the margin there from {weighed.margin:.2f} to {weighed.margin_mended:.2f}: that {end}."
        )
    if weighed.times_likelier is not None and weighed.times_likelier >= MUCH_LIKELIER:
        told.append(
            f"What was seen is {_times(weighed.times_likelier)} times likelier with it than in an ordinary run."
        )
    if guess := _nobody_read(inq, cause):
        told.append(guess)
    if cause is Cause.NOTHING_BENEATH:
        told.append(_fresh_words(inq, weighed))
    told += [
        _reading_words(r, m, agrees=True)
        for r, m, off in weighed.readings
        if m is not None and off <= AGREES and cause in SPEAKS_OF.get(r.quantity, ())
    ]
    return tuple(told)


def speaks_against(inq: Inquiry, cause: Cause, weighed: Weighed) -> tuple[str, ...]:
    """Return what speaks against a cause."""
    told = []
    if weighed.times_likelier is not None and weighed.times_likelier * MUCH_LIKELIER <= 1.0:
        told.append(
            f"What was seen is {_times(1.0 / max(weighed.times_likelier, 1e-6))} times less likely with it than without."
        )
    if read := _somebody_read(inq, cause):
        told.append(read)
    if proven := _proven(inq, cause):
        told.append(proven)
    told += [_reading_words(r, m, agrees=False) for r, m, off in weighed.readings if m is not None and off >= DISAGREES]
    return tuple(told)


def _times(ratio: float) -> str:
    return "over 1,000" if ratio > 1000.0 else f"{ratio:.0f}" if ratio >= 10.0 else f"{ratio:.1f}"


def _reading_words(reading: Reading, middle: float, *, agrees: bool) -> str:
    value, shown = (_shown(reading.quantity, v) for v in (reading.value, middle))
    return f"You read {value}; it would show about {shown}{'' if agrees else ' under this cause'}."


def _shown(quantity: Quantity, value: float) -> str:
    if quantity is Quantity.RESIN_TEMPERATURE:
        return f"{value - ZERO_CELSIUS_K:.1f} C"
    unit, label = _UNITS[quantity]
    bench = from_si(value, unit)
    return f"{bench:.{0 if abs(bench) >= 20.0 else 2}f} {label}"


def _kinds(inq: Inquiry) -> dict[Cause, tuple[Kind, str]]:
    machine = inq.case.job.target
    return {
        Cause.ARM_GIVES: (machine.stiffness_n_m.kind, "how stiff the arm is"),
        Cause.LIGHT_DIM: (machine.light.irradiance_w_m2.kind, "the light"),
        Cause.UNLEVEL: (Kind.READING if machine.level else Kind.ESTIMATE, "how level the platform is"),
        Cause.FILM_LETS_GO_LATE: (machine.film.tension_n_m.kind, "the film's tension"),
    }


def _nobody_read(inq: Inquiry, cause: Cause) -> str:
    job = inq.case.job
    kind, what = _kinds(inq).get(cause, (Kind.READING, ""))
    if what and kind is not Kind.READING:
        return f"Nobody read {what}: {kind.value}."
    if cause is Cause.RESIN_CURES_LESS and not curve_is_known(job.resin):
        return f"Nobody measured how deep {job.resin.name} cures."
    if cause is Cause.RESIN_CURES_LESS and curve_is_foreign(job.resin):
        return f"The working curve of {job.resin.name} is somebody else's."
    if cause is Cause.RESIN_THICK and not job.resin.viscosity:
        return f"Nobody measured how thick {job.resin.name} is."
    return ""


def _somebody_read(inq: Inquiry, cause: Cause) -> str:
    kind, what = _kinds(inq).get(cause, (Kind.ESTIMATE, ""))
    return f"You read {what}: it would have to have changed since." if what and kind is Kind.READING else ""


def _proven(inq: Inquiry, cause: Cause) -> str:
    job = inq.case.job
    held = job.recipe.proof.runs - job.recipe.proof.failed
    machine = job.origin == job.target and cause in {
        Cause.ARM_GIVES, Cause.LIGHT_DIM, Cause.FILM_LETS_GO_LATE, Cause.UNLEVEL, Cause.ZERO_OFF
    }  # fmt: skip
    resin = job.resin == job.resin_from and cause is Cause.RESIN_CURES_LESS
    if held and (machine or resin):
        return f"{held} runs held with this {'machine' if machine else 'resin'} on {job.origin.name}."
    return ""


def _fresh_words(inq: Inquiry, weighed: Weighed) -> str:
    where = concerned(inq, weighed.event) if weighed.event is not None else slice(0, inq.layers)
    near = [f for f in inq.case.target_study.fresh if where.start <= f.layer < where.stop]
    largest = max(near, key=lambda f: f.area_m2)
    return (
        f"At layer {largest.layer} a region of {largest.area_m2 * 1e6:.1f} mm2 starts with nothing beneath, at "
        f"({largest.x_m * 1e3:.0f}, {largest.y_m * 1e3:.0f}) mm."
    )


# --- the whole ---------------------------------------------------------------------------------------------------------


def verdict_of(causes: tuple[RankedCause, ...]) -> str:
    """Return the answer in one sentence."""
    if not causes:
        return "Nothing here explains it."
    first = causes[0]
    share = "over 99 %" if first.chance > 0.99 else f"{100.0 * first.chance:.0f} %"
    if first.cause is Cause.NO_MODEL:
        return f"Most likely ({share}) it is something that is not computed here."
    lead = "Most likely" if first.chance >= 0.5 else "Nothing stands out; likeliest"
    return f"{lead} ({share}): {first.title}. {first.mend.do}"


def assumed(inq: Inquiry, observed: Observed) -> tuple[str, ...]:
    """Return what the answer rests on."""
    often = ", ".join(f"{_TITLES[c]} {100.0 * share:.0f} %" for c, share in OFTEN.items())
    told = [f"How often a run is not as the records say is an engineering estimate, no source: {often}."]
    printed = ", ".join(observed.settings) if observed.settings else ""
    told.append(f"Printed as the carry sheet says{f', but for {printed}' if printed else ''}.")
    unused = [r.quantity.value for r in observed.readings if r.quantity in {Quantity.PULL, Quantity.STROKE}]
    if unused:
        told.append(f"Nothing here foretells {' and '.join(dict.fromkeys(unused))}: these readings count for nothing.")
    if not inq.case.target_study.hanging:
        told.append("Nothing is known of what hangs on what, so feet and sections are left out.")
    return tuple(told)
