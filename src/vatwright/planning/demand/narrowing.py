"""Which unknown makes most of a range, and which reading would narrow it most."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.planning.demand.unknowns import Worlds
from vatwright.records.job import Job
from vatwright.records.machine import Machine
from vatwright.records.plan import Measurement
from vatwright.records.sourced import Kind
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NEAR_K = 1.5
"""A viscosity read within this of the room's temperature need not be read again [K]; engineering estimate."""

ENOUGH_SQUARES = 3
"""Cure readings from which a line has scatter to judge itself by."""

CURE_SQUARES = to_say("cure four squares and measure them")

WORTH_SHARE = 0.85
"""A reading that leaves more of a range than this is not worth its minutes [-]; engineering estimate."""

LEAST_SHARE = 0.02
"""An unknown that explains less of a range than this is not named [-]."""

LEAST_SPREAD = 1.0e-6
"""Relative spread below which a value counts as certain [-]."""


class PossibleReading(NamedTuple):
    """A reading people can take: what they would do, how long it takes, what it then leaves of each unknown's spread."""

    text: str
    how: str
    minutes: float
    axes: tuple[str, ...]
    leaves: float


_LABELS = {
    "stiffness origin": to_say("the stiffness of {origin}'s arm and screen"),
    "stiffness target": to_say("the stiffness of {target}'s arm and screen"),
    "ceiling origin": to_say("the greatest force of {origin}'s drive"),
    "ceiling target": to_say("the greatest force of {target}'s drive"),
    "viscosity": to_say("the viscosity of the resin"),
    "activation": to_say("how the resin thickens in the cold"),
    "viscosity target": to_say("the viscosity of the new resin"),
    "light common": to_say("the light meter"),
    "light origin": to_say("the light of {origin}"),
    "light target": to_say("the light of {target}"),
    "tension common": to_say("the tension of the films"),
    "tension origin": to_say("the tension of {origin}'s film"),
    "tension target": to_say("the tension of {target}'s film"),
    "peel angle": to_say("the angle at which the film lets go"),
    "cold": to_say("how much harder a cold film lets go"),
    "film wear": to_say("how much harder a worn film lets go"),
    "film slack": to_say("how far a film slackens"),
    "film layers origin": to_say("how many layers the film of the proof had released"),
    "film layers target": to_say("how many layers {target}'s film has released"),
    "peel speed": to_say("how much harder a film lets go when it is peeled fast"),
    "curve depth": to_say("the depth of the working curve"),
    "curve dose": to_say("the critical dose of the working curve"),
    "curve depth target": to_say("the depth of the new resin's working curve"),
    "curve dose target": to_say("the critical dose of the new resin's working curve"),
    "overcure": to_say("how much overcure a bond needs"),
    "level origin": to_say("how level {origin}'s platform is"),
    "level target": to_say("how level {target}'s platform is"),
    "spot origin": to_say("how even {origin}'s light is"),
    "spot target": to_say("how even {target}'s light is"),
    "fade origin": to_say("how far {origin}'s light has faded"),
    "fade target": to_say("how far {target}'s light has faded"),
    "reciprocity": to_say("whether twice the light cures in half the time"),
}


def label(axis: str, job: Job) -> str:
    """Return what the sheet calls an unknown."""
    return to_say(_LABELS[axis], origin=job.origin.name, target=job.target.name)


def readings(job: Job) -> tuple[PossibleReading, ...]:
    """Return the readings a person can take for a job.  What each leaves of a spread is an engineering estimate."""
    a, b = job.origin.name, job.target.name
    weigh = to_say("hang 5 kg on the arm, read the dial at the platform before and after, three times")
    meter = to_say("hold the meter at nine places of each bare window, same distance, lamps warm")
    curve = to_say("cure four squares through the window at doubling times, wipe, measure their thickness")
    told = (
        PossibleReading(to_say("weigh down the arm of {b} and read the dial", b=b), weigh, 3.0, ("stiffness target",), 0.25),
        PossibleReading(to_say("weigh down the arm of {a} and read the dial", a=a), weigh, 3.0, ("stiffness origin",), 0.25),
        *_light_readings(job, meter),
        PossibleReading(
            to_say("run the resin through a viscosity cup at the room's temperature"),
            to_say("fill the cup, time the flow, read the table that came with it, note the temperature"),
            10.0, ("viscosity", "activation", "viscosity target"), 0.3,
        ),
        PossibleReading(
            CURE_SQUARES, curve, 15.0,
            ("curve depth", "curve dose", "curve depth target", "curve dose target"), 0.3,
        ),
        PossibleReading(
            to_say("read the gap under the corners and the middle of {b}'s platform", b=b),
            to_say("feeler gauge at five places on the bare clean screen, platform clamped as for a "
"print"),
            5.0, ("level target",), 0.2,
        ),
        PossibleReading(
            to_say("note the rise at which the film of {a} lets go", a=a),
            to_say("during a body layer in the middle of a run, read the rise when you hear it let go"),
            2.0, ("peel angle",), 0.3,
        ),
    )  # fmt: skip
    taken = _taken(job)
    return tuple(r for r in told if not set(r.axes) & taken)


def _light_readings(job: Job, how: str) -> tuple[PossibleReading, ...]:
    """One meter on both machines also shows where the light is dim; where that alone is open, only that is told."""
    both = (
        to_say("{name} and {name_2}", name=job.origin.name, name_2=job.target.name)
        if job.origin.name != job.target.name
        else job.origin.name
    )
    mapped = all(m.light.evenness is Kind.READING for _, m in _machines(job))
    spots = () if mapped else ("spot origin", "spot target")
    if job.origin.light.meter and job.origin.light.meter == job.target.light.meter:
        return (
            (PossibleReading(to_say("read the light of {both} at nine spots", both=both), how, 10.0, spots, 0.4),)
            if spots
            else ()
        )
    axes = ("light origin", "light target", *spots)
    return (PossibleReading(to_say("read the light of {both} with one meter", both=both), how, 10.0, axes, 0.2),)


def _taken(job: Job) -> set[str]:
    """Return unknowns that somebody has read already, so that reading them again would add little."""
    taken = {f"stiffness {w}" for w, m in _machines(job) if m.stiffness_n_m.kind is Kind.READING}
    taken |= {f"level {w}" for w, m in _machines(job) if m.level}
    if any(abs(r.temperature_k - job.room_k) < NEAR_K for r in job.resin.viscosity):
        taken |= {"viscosity", "viscosity target"}
    if len(job.resin.cure_readings) >= ENOUGH_SQUARES:
        taken |= {"curve depth", "curve dose", "curve depth target", "curve dose target"}
    return taken


def _machines(job: Job) -> tuple[tuple[str, Machine], ...]:
    return (("origin", job.origin), ("target", job.target))


def explained(values: Floats, worlds: Worlds, axes: tuple[str, ...]) -> float:
    """Return the share of a range that some unknowns explain together: squared multiple correlation of ranks [-].

    Parameters
    ----------
    values : (S,) ndarray
        What every world needs.
    worlds : Worlds
        The same worlds.
    axes : tuple of str
        Unknowns.

    Returns
    -------
    float
        Share; 0 where there is no range.

    References
    ----------
    Spearman, Am. J. Psychol. 15 (1904) 72-101. [spearman:1904]
    """
    if not _has_range(values):
        return 0.0
    ranks = _centred(values)
    # Two machines of one kind share an unknown: each different coordinate once.
    columns = list({id(worlds.axes[axis]): _centred(worlds.axes[axis]) for axis in axes}.values())
    design = np.column_stack(columns)
    fitted = design @ np.linalg.lstsq(design, ranks, rcond=None)[0]
    return min(float(fitted @ fitted) / float(ranks @ ranks), 1.0)


def _has_range(values: Floats) -> bool:
    finite = values[np.isfinite(values)]
    if len(finite) < 3:
        return False
    return bool(np.ptp(finite) > LEAST_SPREAD * max(abs(float(finite.mean())), LEAST_SPREAD))


def _centred(values: Floats) -> Floats:
    return _ranks(values) - (len(values) - 1) / 2.0


def _ranks(values: Floats) -> Floats:
    order = np.argsort(values, kind="stable")
    ranks = np.empty(len(values))
    ranks[order] = np.arange(len(values))
    return ranks


def dominant(values: Floats, worlds: Worlds, job: Job) -> tuple[str, str]:
    """Return the label of the unknown that explains most of a range and the text of the reading that narrows it most."""
    if not _has_range(values):
        return "", ""
    # Strengths of the resin, which the worlds hold too, decide no setting: what they seem to explain is chance.
    shares = {axis: explained(values, worlds, (axis,)) for axis in worlds.axes if axis in _LABELS}
    axis = max(shares, key=lambda name: shares[name])
    if shares[axis] < LEAST_SHARE:
        return "", ""
    left = {reading.text: share_left(reading, values, worlds) for reading in readings(job)}
    best = min(left, key=lambda text: left[text], default="")
    return label(axis, job), best if left.get(best, 1.0) <= WORTH_SHARE else ""


def share_left(reading: PossibleReading, values: Floats, worlds: Worlds) -> float:
    """Return the share of a range that is left once a reading has been taken [-]."""
    removed = explained(values, worlds, reading.axes) * (1.0 - reading.leaves**2)
    return math.sqrt(max(1.0 - removed, 0.0))


def worth_measuring(ranges: dict[str, Floats], worlds: Worlds, job: Job, *, most: int = 4) -> tuple[Measurement, ...]:
    """Return the readings most worth their minutes: the greatest narrowing of any setting's range, best first.

    Parameters
    ----------
    ranges : dict of str to (S,) ndarray
        By setting name, what every world needs.
    worlds : Worlds
        The worlds.
    job : Job
        The job.
    most : int
        How many to return.

    Returns
    -------
    tuple of Measurement
        Each with the setting it narrows most; readings that leave more than `WORTH_SHARE` of every range are left out.
    """
    found = []
    for reading in readings(job):
        left = {name: share_left(reading, values, worlds) for name, values in ranges.items() if _has_range(values)}
        name = min(left, key=lambda n: left[n], default="")
        if left.get(name, 1.0) <= WORTH_SHARE:
            found.append(
                Measurement(
                    reading=reading.text, setting=name, share_left=left[name], minutes=reading.minutes, how=reading.how
                )
            )
    found.sort(key=lambda m: (m.share_left, m.minutes))
    return tuple(found[:most])
