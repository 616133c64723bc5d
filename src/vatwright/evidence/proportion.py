"""So many of so many runs held: what that says of the next ones."""

from __future__ import annotations

import math
from typing import NamedTuple

from scipy.special import betainc, betaincinv, betaln

from vatwright.errors import DomainError
from vatwright.wording import to_say

JEFFREYS = 0.5
"""Both counts of Jeffreys's prior for a proportion; mathematics."""


class Proportion(NamedTuple):
    """A proportion with its interval [-]."""

    low: float
    middle: float
    high: float


def clopper_pearson(*, events: int, runs: int, confidence: float = 0.9) -> Proportion:
    """Return the exact interval of a proportion: it holds the truth at least as often as asked, whatever the truth is.

    The ends are quantiles of beta distributions, B(a/2; x, n - x + 1) and B(1 - a/2; x + 1, n - x), a = 1 - confidence.

    Parameters
    ----------
    events, runs : int
        How many of how many.
    confidence : float
        Share of cases in which the interval must hold the truth [-].

    Returns
    -------
    Proportion
        The interval and the plain share between.

    Raises
    ------
    DomainError
        When events exceed runs, there are no runs, or the confidence is not between 0 and 1.

    Notes
    -----
    Two-sided: where nothing happened in n runs the upper end is 1 - (a/2)^(1/n).

    Examples
    --------
    >>> interval = clopper_pearson(events=3, runs=20, confidence=0.95)
    >>> round(interval.low, 6), round(interval.high, 6)
    (0.032071, 0.378927)

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934) 404-413. [clopper:1934]
    """
    _require(events, runs, confidence)
    tail = (1.0 - confidence) / 2.0
    low = float(betaincinv(events, runs - events + 1, tail)) if events else 0.0
    high = float(betaincinv(events + 1, runs - events, 1.0 - tail)) if events < runs else 1.0
    return Proportion(low, events / runs, high)


def most_failures(*, failed: int, runs: int, confidence: float = 0.95) -> float:
    """Return the one-sided upper limit of the share of runs that fail: 1 - (1 - confidence)^(1/n) where none has [-].

    Parameters
    ----------
    failed, runs : int
        How many of how many.
    confidence : float
        Share of cases in which the truth is not above it [-].

    Returns
    -------
    float
        Limit [-].

    Raises
    ------
    DomainError
        As :func:`clopper_pearson`.

    Notes
    -----
    With none failed it is close to 3/n, the rule of three, from some 30 runs on.

    Examples
    --------
    >>> round(most_failures(failed=0, runs=30), 6)
    0.095034

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934) 404-413. [clopper:1934]
    """
    _require(failed, runs, confidence)
    return float(betaincinv(failed + 1, runs - failed, confidence)) if failed < runs else 1.0


def jeffreys(*, events: int, runs: int, confidence: float = 0.9) -> Proportion:
    """Return what Jeffreys's prior B(1/2, 1/2) and the count leave of a proportion: mean and equal-tailed interval.

    Parameters
    ----------
    events, runs : int
        How many of how many; no run at all leaves the prior.
    confidence : float
        Probability inside the interval [-].

    Returns
    -------
    Proportion
        Interval around the posterior mean (x + 1/2)/(n + 1).

    Raises
    ------
    DomainError
        When events exceed runs or the confidence is not between 0 and 1.

    Notes
    -----
    Never 0 or 1 at a finite count.

    Examples
    --------
    >>> belief = jeffreys(events=2, runs=10, confidence=0.95)
    >>> round(belief.low, 6), round(belief.high, 6)
    (0.044059, 0.502774)

    References
    ----------
    Brown, Cai and DasGupta, Statistical Science 16 (2001) 101-133, section 3.1.2. [brown:2001]
    """
    if runs:
        _require(events, runs, confidence)
    tail = (1.0 - confidence) / 2.0
    a, b = events + JEFFREYS, runs - events + JEFFREYS
    return Proportion(float(betaincinv(a, b, tail)), a / (a + b), float(betaincinv(a, b, 1.0 - tail)))


def chance_of_next(*, held: int, runs: int, next_held: int, next_runs: int, prior: float = JEFFREYS) -> float:
    """Return the chance that so many of the next runs hold, after a count: the beta-binomial distribution [-].

    P(k of m) = C(m, k) B(k + a, m - k + b)/B(a, b), a = held + prior, b = runs - held + prior.

    Parameters
    ----------
    held, runs : int
        How many of how many held so far.
    next_held, next_runs : int
        How many of how many more.
    prior : float
        Both counts of the beta prior: 1/2 is Jeffreys's, 1 the even one [-].

    Returns
    -------
    float
        Chance [-].

    Raises
    ------
    DomainError
        When a count exceeds its runs or the prior is not above zero.

    Examples
    --------
    >>> round(chance_of_next(held=9, runs=10, next_held=5, next_runs=5), 6)
    0.537178

    References
    ----------
    Gelman et al., *Bayesian Data Analysis*, 3rd ed. (2013), section 2.4 and appendix A. [gelman:2013]
    """
    if not (0 <= held <= runs and 0 <= next_held <= next_runs and prior > 0.0):
        raise DomainError.one("counts", to_say("cannot be more than their runs"), to_say("Count again"))
    a, b = held + prior, runs - held + prior
    ways = math.lgamma(next_runs + 1) - math.lgamma(next_held + 1) - math.lgamma(next_runs - next_held + 1)
    return math.exp(ways + float(betaln(next_held + a, next_runs - next_held + b) - betaln(a, b)))


def runs_without_failure(*, holds: float, confidence: float = 0.95) -> int:
    """Return how many runs must hold in a row to show that a run holds at least so often: ln(1 - C)/ln(R), rounded up.

    Parameters
    ----------
    holds : float
        Share of runs that shall hold [-].
    confidence : float
        With what confidence [-].

    Returns
    -------
    int
        Runs, none of which may fail.

    Raises
    ------
    DomainError
        When either is not between 0 and 1.

    Examples
    --------
    >>> runs_without_failure(holds=0.9), runs_without_failure(holds=0.99)
    (29, 299)

    References
    ----------
    Meeker, Hahn and Escobar, *Statistical Intervals*, 2nd ed. (2017), section 9.7 (zero-failure plans). [meeker:2017]
    """
    if not (0.0 < holds < 1.0 and 0.0 < confidence < 1.0):
        raise DomainError.one("share", to_say("must lie between 0 and 1"), to_say("Give for example 0.9"))
    # A share that fails with exactly 1 - C after n runs asks for n, not n + 1: rounding must not count.
    return max(1, math.ceil(math.log(1.0 - confidence) / math.log(holds) - 1e-9))


def chance_as_extreme(*, events: int, runs: int, share: float) -> float:
    """Return the two-sided probability of a count at least as far out, were each run to do it with `share` [-].

    Twice the smaller of P(X <= x) and P(X >= x) of the binomial distribution, at most 1.

    Parameters
    ----------
    events, runs : int
        How many of how many.
    share : float
        What was expected of each [-].

    Returns
    -------
    float
        Probability [-].

    Raises
    ------
    DomainError
        As :func:`clopper_pearson`.

    Examples
    --------
    >>> chance_as_extreme(events=10, runs=10, share=0.5)
    0.001953125

    References
    ----------
    Clopper and Pearson, Biometrika 26 (1934) 404-413: the test whose inversion is the exact interval. [clopper:1934]
    """
    _require(events, runs, 0.5)
    at_least = float(betainc(events, runs - events + 1, share)) if events else 1.0
    at_most = 1.0 - float(betainc(events + 1, runs - events, share)) if events < runs else 1.0
    return min(1.0, 2.0 * min(at_least, at_most))


def _require(events: int, runs: int, confidence: float) -> None:
    if not 0 <= events <= runs or runs == 0:
        raise DomainError.one(
            "runs", to_say("{events} of {runs} cannot be", events=events, runs=runs), to_say("Count again")
        )
    if not 0.0 < confidence < 1.0:
        raise DomainError.one(
            "confidence",
            to_say("must lie between 0 and 1, got {confidence}", confidence=confidence),
            to_say("Give for example 0.9"),
        )
