"""What each reading would show in every world, and which reading best tells two causes apart."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from scipy.special import expit, log_expit, logsumexp

from vatwright.planning.demand.settle import RUN_SCATTER
from vatwright.planning.why.margins import PlatformSpot, corners
from vatwright.planning.why.worlds import Inquiry, RunWorlds, light_share
from vatwright.records.run import Quantity, Reading
from vatwright.records.why import TellApart

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEAST_INFORMATION = 0.05
"""A reading expected to remove less of the doubt than this is not worth its minutes [-]; engineering estimate."""

LOAD_N = 49.0
"""The load of the reading proposed: 5 kg hung on the arm, in whole newtons [N]."""

DOSE_J_M2 = 200.0
"""The dose of the reading proposed: 20 mJ/cm2 [J/m2]."""

GRID = 400
"""Points over which what a reading may show is summed."""


class ReadingShows(NamedTuple):
    """What a reading shows in S worlds, and its standard uncertainty in each, SI."""

    value: Floats
    sigma: Floats


class ReadingOffer(NamedTuple):
    """A reading somebody can take: what it is of, its names, how long it takes, and what it shows."""

    name: str
    quantity: str
    trial: str
    unit: str
    minutes: float
    shown: Callable[[RunWorlds], ReadingShows]


# --- what a reading shows ----------------------------------------------------------------------------------------------


def first_layer_m(inq: Inquiry, state: RunWorlds, spot: PlatformSpot) -> Floats:
    """Return the thickness of the first layer at a place: the gap, or what the light cures of it, (S,) [m]."""
    cured = state.cured_m(light_share(inq.light, *spot))[:, 0]
    return np.asarray(np.minimum(state.first_gap_m(*spot), np.maximum(cured, 1e-6)))


def height_m(state: RunWorlds, spot: PlatformSpot) -> Floats:
    """Return the printed height at a place: all layers, and what tilt and zero add, (S,) [m]."""
    return np.asarray(state.thickness_m.sum(axis=1) + state.excess_m(*spot))


def run_time_s(inq: Inquiry, state: RunWorlds) -> Floats:
    """Return the time of the run, (S,) [s]."""
    planned = inq.case.target_times(inq.settings, layers=inq.layers, settle_s=inq.settle_s).total_s
    given = np.broadcast_to(state.settle_s, (len(state.zero_m), inq.layers))
    return np.asarray(planned + given.sum(axis=1) - inq.settle_s.sum())


def cure_depth_m(state: RunWorlds, dose_j_m2: float) -> Floats:
    """Return how deep a dose cures, (S,) [m]."""
    side = state.run.side
    return np.asarray(side.curve_depth_m * np.maximum(np.log(dose_j_m2 / side.curve_dose_j_m2), 0.0))


def spot_of_reading(reading: Reading) -> PlatformSpot | None:
    """Return where a reading was taken, where it says."""
    if "x_mm" in reading.at and "y_mm" in reading.at:
        return PlatformSpot(reading.at["x_mm"], reading.at["y_mm"])
    return None


def expected(inq: Inquiry, reading: Reading, state: RunWorlds) -> Floats | None:
    """Return what these worlds would have shown, (S,); None where nothing here foretells such a reading."""
    spot, side = spot_of_reading(reading) or PlatformSpot(0.0, 0.0), state.run.side
    if reading.quantity is Quantity.FIRST_LAYER:
        return first_layer_m(inq, state, spot)
    if reading.quantity is Quantity.HEIGHT:
        return height_m(state, spot)
    if reading.quantity is Quantity.RUN_TIME:
        return run_time_s(inq, state)
    if reading.quantity is Quantity.RESIN_TEMPERATURE:
        return np.asarray(inq.case.job.room_k - state.colder_k)
    if reading.quantity is Quantity.VISCOSITY:
        return inq.groups[0].state.run.side.viscosity_pa_s  # in a cup at the room's temperature
    if reading.quantity is Quantity.IRRADIANCE:
        share = 1.0 if spot_of_reading(reading) is None else light_share(inq.light, *spot)
        return np.asarray(side.irradiance_w_m2 * share)
    if reading.quantity is Quantity.CURE_DEPTH:
        return cure_depth_m(state, reading.at["dose_mJ_cm2"])
    if reading.quantity is Quantity.DEFLECTION:
        return np.asarray(reading.at["load_N"] / side.stiffness_n_m)
    return None


def sigma_of(reading: Reading, value: Floats) -> Floats:
    """Return the standard uncertainty of a reading of one run: its own, and for a thickness what runs scatter by, (S,)."""
    if reading.quantity is Quantity.FIRST_LAYER:
        return np.hypot(reading.sigma, RUN_SCATTER * value)
    return np.full(len(value), reading.sigma)


def likelihood(inq: Inquiry, reading: Reading, state: RunWorlds) -> Floats | None:
    """Return how likely these worlds make a reading, (S,), up to a factor common to all; None where none foretells it."""
    value = expected(inq, reading, state)
    if value is None:
        return None
    sigma = sigma_of(reading, value)
    return np.asarray(np.exp(-0.5 * ((reading.value - value) / sigma) ** 2) / sigma)


# --- which reading to take ---------------------------------------------------------------------------------------------


def spot_to_read(inq: Inquiry, spot: PlatformSpot | None) -> PlatformSpot:
    """Return where a reading of one place is taken: where it was seen, else where the first gap is widest."""
    return spot or max(corners(inq), key=lambda c: float(inq.reference.first_gap_m(*c)[0]))


def looks(inq: Inquiry, at: PlatformSpot) -> tuple[ReadingOffer, ...]:
    """Return the readings that a person can take after a failure; uncertainties are those that an outcome takes."""
    reach = inq.case.target_study.reach
    reach_m = float(reach.reach_m.max()) if reach is not None else 0.0
    return (
        ReadingOffer("first_layer", "first_layer_um", "base-bond", "um", 3.0,
             lambda s: _uncertain(first_layer_m(inq, s, at), 1.5e-5, RUN_SCATTER)),
        ReadingOffer("feeler", "", "level-check", "um", 10.0,
             lambda s: _uncertain(s.excess_m(*at), inq.case.job.target.level_sigma_m, 0.0)),
        ReadingOffer("light", "irradiance_mW_cm2", "", "mW_cm2", 5.0,
             lambda s: _uncertain(s.run.side.irradiance_w_m2, 0.0, 0.03)),
        ReadingOffer("deflection", "deflection_um", "settle-steps", "um", 3.0,
             lambda s: _uncertain(LOAD_N / s.run.side.stiffness_n_m, 1e-5, 0.0)),
        ReadingOffer("temperature", "resin_C", "", "C", 2.0, lambda s: _uncertain(inq.case.job.room_k - s.colder_k, 0.5, 0.0)),
        ReadingOffer("cup", "viscosity_Pa_s", "", "mPa_s", 10.0,
             lambda _: _uncertain(inq.groups[0].state.run.side.viscosity_pa_s, 0.0, 0.05)),
        ReadingOffer("squares", "cure_depth_um", "cure-depth", "um", 15.0,
             lambda s: _uncertain(cure_depth_m(s, DOSE_J_M2), 1e-5, 0.03)),
        ReadingOffer("release", "", "release-span", "mm", 5.0,
             lambda s: _uncertain(s.run.film("body").tan_angle * reach_m, 3e-4, 0.0)),
        ReadingOffer("run_time", "run_time_s", "", "s", 1.0, lambda s: _uncertain(run_time_s(inq, s), 30.0, 0.0)),
    )  # fmt: skip


def _uncertain(value: Floats, amount: float, share: float) -> ReadingShows:
    return ReadingShows(value, np.maximum(np.hypot(amount, share * value), 1e-12))


def tell_apart(
    inq: Inquiry, spot: PlatformSpot | None, first: str, second: str, weight: Mapping[str, tuple[Floats, ...]]
) -> TellApart | None:
    """Return the reading that removes most of the doubt between two causes, the quickest of equals; None where none does.

    Parameters
    ----------
    inq : Inquiry
        The worlds.
    spot : Spot or None
        Where it was seen.
    first, second : str
        The causes' names.
    weight : mapping of str to tuple of (S,) ndarray
        How much each world of each group speaks for each cause.

    Returns
    -------
    TellApart or None
        With what it would show in either case.
    """
    best: tuple[tuple[float, float], TellApart] | None = None
    at = spot_to_read(inq, spot)
    for look in looks(inq, at):
        shown = [look.shown(g.state) for g in inq.groups]
        value, sigma = (np.concatenate([getattr(s, n) for s in shown]) for n in ("value", "sigma"))
        one, other = (np.concatenate(weight[c]) for c in (first, second))
        told = between(value, sigma, one, other)
        if told.information < LEAST_INFORMATION:
            continue
        found = TellApart(
            first=first, second=second, reading=look.name, quantity=look.quantity, trial=look.trial, unit=look.unit,
            x_m=at.x_m, y_m=at.y_m,
            if_first=told.if_first, if_second=told.if_second, tip=told.tip, minutes=look.minutes,
            information=told.information, sure_first=told.sure_first, sure_second=told.sure_second,
        )  # fmt: skip
        rank = (-round(told.information, 2), look.minutes)
        if best is None or rank < best[0]:
            best = (rank, found)
    return None if best is None else best[1]


class Telling(NamedTuple):
    """What a reading tells between two causes; see :func:`between`."""

    information: float
    if_first: float
    if_second: float
    tip: float | None
    sure_first: float
    sure_second: float


def between(value: Floats, sigma: Floats, one: Floats, other: Floats) -> Telling:
    """Return what a reading is expected to tell between two causes.

    The share of the doubt that it removes is I(C; Y) / H(C), with the mutual information
    I = sum over c of P(c) integral of p(y|c) ln(p(y|c) / p(y)) dy and the entropy H of the two chances.

    Parameters
    ----------
    value, sigma : (M,) ndarray
        What it would show in every world, and its standard uncertainty there, both in the reading's own unit.
    one, other : (M,) ndarray
        Weight of every world under the first and under the second cause [-].

    Returns
    -------
    Told
        Share of the doubt [-], the middle of what it shows under each cause, the value at which the verdict tips (None
        where that lies outside both middles), and how sure it leaves one of each cause where it is right [-].

    Examples
    --------
    >>> told = between(np.array([100.0, 200.0]), np.array([1.0, 1.0]), np.array([1.0, 0.0]), np.array([0.0, 1.0]))
    >>> round(told.information, 3), told.if_first, told.if_second, round(told.tip)
    (1.0, 100.0, 200.0, 150)
    >>> between(np.array([100.0, 100.0]), np.array([5.0, 5.0]), np.array([1.0, 0.0]), np.array([0.0, 1.0])).information
    0.0

    References
    ----------
    D. V. Lindley, On a measure of the information provided by an experiment, Ann. Math. Stat. 27 (1956) 986-1005,
    definition 2. [lindley:1956]
    """
    share = float(one.sum() / (one.sum() + other.sum()))
    if not 0.0 < share < 1.0:
        return Telling(0.0, _middle(value, one + other), _middle(value, one + other), None, 1.0, 1.0)
    middles = [_middle(value, w) for w in (one, other)]
    kept = (one > 1e-6 * one.max()) | (other > 1e-6 * other.max())
    value, sigma, one, other = (a[kept] for a in (value, sigma, one, other))
    y = np.linspace((value - 5.0 * sigma).min(), (value + 5.0 * sigma).max(), GRID)
    step = max((y[1] - y[0]), 1e-300)
    wide = np.maximum(sigma, step)  # no narrower than the grid can show
    bell = -0.5 * ((y[:, None] - value) / wide) ** 2 - np.log(wide)
    # In logarithms: between two sharp readings both densities are far below the least float.
    logs = [logsumexp(bell, b=w / w.sum(), axis=1) for w in (one, other)]
    logs = [log - logsumexp(log) for log in logs]
    lead = logs[0] + math.log(share) - logs[1] - math.log1p(-share)
    sure = expit(lead)
    density = [np.exp(log) for log in logs]
    gain = sum(
        p * float((d * (log_expit(sign * lead) - math.log(p))).sum())
        for p, d, sign in ((share, density[0], 1.0), (1.0 - share, density[1], -1.0))
    )
    doubt = -sum(p * math.log(p) for p in (share, 1.0 - share))
    return Telling(
        information=float(min(max(gain / doubt, 0.0), 1.0)) if doubt > 0.0 else 0.0,
        if_first=middles[0],
        if_second=middles[1],
        tip=_tip(y, lead, middles),
        sure_first=min(float(density[0] @ sure), 1.0),
        sure_second=min(float(density[1] @ (1.0 - sure)), 1.0),
    )


def _middle(value: Floats, weight: Floats) -> float:
    order = np.argsort(value)
    along = np.cumsum(weight[order])
    return float(value[order][np.searchsorted(along, along[-1] / 2.0)])


def _tip(y: Floats, lead: Floats, middles: list[float]) -> float | None:
    """Where the first cause stops being the likelier, between the two middles."""
    low, high = sorted(middles)
    inside = np.flatnonzero((y >= low) & (y <= high))
    if len(inside) < 2:
        return None
    turns = np.flatnonzero(np.diff(np.sign(lead[inside])) != 0)
    return float(y[inside][turns[0]] + y[inside][turns[0] + 1]) / 2.0 if len(turns) else None
