"""How good the predictions were: calibration, Brier score and its parts, time and thickness."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import frozen

from vatwright.errors import DomainError
from vatwright.evidence.dose_response import Link, fit_dose_response
from vatwright.evidence.proportion import Proportion, chance_as_extreme, jeffreys
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

EDGES = (0.0, 0.5, 0.8, 0.9, 0.95, 1.0)
"""Ends of the classes of chances: finer where people print, at the upper end; common practice, no source."""

SURE = 1e-3
"""No chance counts as surer than this when its odds are taken [-]."""

FEWEST = 8
"""Runs below which no line is drawn through chances and outcomes; engineering estimate, no source."""


class ChanceClass(NamedTuple):
    """The runs of which about the same was said.

    Parameters
    ----------
    low, high : float
        Ends of the class [-].
    said : float
        Mean chance said [-].
    held, runs : int
        How many of how many held.
    seen : Proportion
        What that count says of the share that holds (Jeffreys, 90 %).
    surprise : float
        Two-sided probability of a count as far out, had what was said been right [-].
    """

    low: float
    high: float
    said: float
    held: int
    runs: int
    seen: Proportion
    surprise: float


@frozen(kw_only=True)
class Brier:
    """The mean squared error of chances and its parts.

    Parameters
    ----------
    score : float
        Mean of (said - held)^2; 0 is perfect [-].
    reliability, resolution, uncertainty, within : float
        Score = reliability - resolution + uncertainty + within; the last is what classes of finite width leave [-].
    base_rate : float
        Share of runs that held [-].
    skill : float
        1 - score / uncertainty: above 0 beats always saying the base rate; 0 where every run did the same [-].
    """

    score: float
    reliability: float
    resolution: float
    uncertainty: float
    within: float
    base_rate: float
    skill: float


class Ratio(NamedTuple):
    """By what factor what happened exceeds what was said: median and how far it scatters (90 %), over so many runs."""

    low: float
    middle: float
    high: float
    runs: int


def chance_classes(*, said: Sequence[float], held: Sequence[bool]) -> tuple[ChanceClass, ...]:
    """Return runs in classes of what was said of them, with how many held; empty classes are left out.

    Parameters
    ----------
    said : sequence of float, shape (R,)
        Chances [-].
    held : sequence of bool, shape (R,)
        Whether each held.

    Returns
    -------
    tuple of ChanceClass
        From the least chance to the greatest.

    Raises
    ------
    DomainError
        When the lists differ in length or a chance is not between 0 and 1.

    Examples
    --------
    >>> (only,) = chance_classes(said=[0.9] * 19, held=[True] * 17 + [False] * 2)
    >>> only.held, only.runs, round(only.seen.low, 2), round(only.seen.high, 2)
    (17, 19, 0.74, 0.97)

    References
    ----------
    Murphy, J. Appl. Meteorol. 12 (1973) 595-600. [murphy:1973]
    """
    chances, outcome = _checked(said, held)
    index = _class_of(chances)
    classes = []
    for k in range(len(EDGES) - 1):
        here = index == k
        if not here.any():
            continue
        mean, count, runs = float(chances[here].mean()), int(outcome[here].sum()), int(here.sum())
        classes.append(
            ChanceClass(
                EDGES[k], EDGES[k + 1], mean, count, runs,
                jeffreys(events=count, runs=runs), chance_as_extreme(events=count, runs=runs, share=mean),
            )
        )  # fmt: skip
    return tuple(classes)


def brier(*, said: Sequence[float], held: Sequence[bool]) -> Brier:
    """Return the Brier score of chances and Murphy's parts of it.

    BS = mean (p - o)^2 = sum n_k (p_k - o_k)^2/N - sum n_k (o_k - o)^2/N + o (1 - o) + what is left within classes.

    Parameters
    ----------
    said : sequence of float, shape (R,)
        Chances [-].
    held : sequence of bool, shape (R,)
        Whether each held.

    Returns
    -------
    Brier
        Score and parts.

    Raises
    ------
    DomainError
        As :func:`chance_classes`.

    Examples
    --------
    >>> found = brier(said=[0.9, 0.9, 0.2, 0.2], held=[True, True, False, True])
    >>> round(found.score, 4), found.base_rate, round(found.skill, 4)
    (0.175, 0.75, 0.0667)

    References
    ----------
    Brier, Mon. Weather Rev. 78 (1950) 1-3. [brier:1950]
    Murphy, J. Appl. Meteorol. 12 (1973) 595-600, equation 14. [murphy:1973]
    """
    chances, outcome = _checked(said, held)
    base, score = float(outcome.mean()), float(((chances - outcome) ** 2).mean())
    index = _class_of(chances)
    reliability = resolution = 0.0
    for k in np.unique(index):
        here = index == k
        share, mean, seen = here.mean(), chances[here].mean(), outcome[here].mean()
        reliability += float(share * (mean - seen) ** 2)
        resolution += float(share * (seen - base) ** 2)
    uncertainty = base * (1.0 - base)
    return Brier(
        score=score,
        reliability=reliability,
        resolution=resolution,
        uncertainty=uncertainty,
        within=score - (reliability - resolution + uncertainty),
        base_rate=base,
        skill=1.0 - score / uncertainty if uncertainty > 0.0 else 0.0,
    )


def calibration_slope(*, said: Sequence[float], held: Sequence[bool]) -> tuple[float, float] | None:
    """Return the slope of the log odds that came true against the log odds said, and its standard error [-].

    Parameters
    ----------
    said : sequence of float, shape (R,)
        Chances [-].
    held : sequence of bool, shape (R,)
        Whether each held.

    Returns
    -------
    tuple of float or None
        1 where chances are as sure as they ought to be, below 1 where they are too sure; None where there are fewer than
        `FEWEST` runs, all chances are one, or outcomes split cleanly.

    Raises
    ------
    DomainError
        As :func:`chance_classes`.

    References
    ----------
    Cox, Biometrika 45 (1958) 562-565. [cox:1958]
    """
    chances, outcome = _checked(said, held)
    kept = np.clip(chances, SURE, 1.0 - SURE)
    odds = np.log(kept / (1.0 - kept))
    if len(odds) < FEWEST or np.ptp(odds) == 0.0:
        return None
    fit = fit_dose_response(
        doses=odds.tolist(), runs=[1] * len(odds), responded=[int(o) for o in outcome], link=Link.LOGIT
    )
    return None if fit.separated else (fit.slope, fit.slope_sigma)


def ratio_of(*, said: Sequence[float], seen: Sequence[float]) -> Ratio | None:
    """Return by what factor what was seen exceeds what was said; None without any.

    Parameters
    ----------
    said, seen : sequence of float, shape (R,)
        Positive numbers in one unit.

    Returns
    -------
    Ratio or None
        Median, 5 % and 95 % points.

    Raises
    ------
    DomainError
        When the lists differ in length or a number is not above zero.

    Examples
    --------
    >>> ratio_of(said=[100.0, 200.0], seen=[110.0, 220.0]).middle
    1.1
    """
    a, b = np.asarray(said, float), np.asarray(seen, float)
    if len(a) != len(b) or (a <= 0.0).any() or (b <= 0.0).any():
        raise DomainError.one("numbers", to_say("want pairs above zero"), to_say("Check the two lists"))
    if not len(a):
        return None
    low, middle, high = np.quantile(b / a, (0.05, 0.5, 0.95))
    return Ratio(float(low), float(middle), float(high), len(a))


def _checked(said: Sequence[float], held: Sequence[bool]) -> tuple[Floats, Floats]:
    chances, outcome = np.asarray(said, float), np.asarray(held, float)
    if len(chances) != len(outcome) or not len(chances):
        raise DomainError.one(
            "chances", to_say("want one outcome each, one run or more"), to_say("Check the two lists")
        )
    if not ((chances >= 0.0) & (chances <= 1.0)).all():
        raise DomainError.one("chances", to_say("must lie between 0 and 1"), to_say("Check the values"))
    return chances, outcome


def _class_of(chances: Floats) -> NDArray[np.intp]:
    # Each class takes its lower end; the last also takes 1.
    return np.minimum(np.searchsorted(EDGES, chances, side="right") - 1, len(EDGES) - 2)
