"""A threshold known only by what lay below it and what lay above."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen
from scipy.optimize import minimize
from scipy.special import log_ndtr

from vatwright.errors import DomainError
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SHARPEST = 1e-3
"""Scatter, as a share of the spread of all ends, below which the likelihood has no maximum worth the name [-]."""


@frozen(kw_only=True)
class Threshold:
    """A normally scattered threshold.

    Parameters
    ----------
    middle, scatter : float
        Mean and standard deviation, in the unit of the intervals.
    log_likelihood : float
        At the maximum [-].
    sharp : bool
        The intervals all share a stretch: any sharp threshold in it explains them, and the scatter cannot be told.
    """

    middle: float
    scatter: float
    log_likelihood: float
    sharp: bool


def fit_threshold(*, low: Sequence[float], high: Sequence[float]) -> Threshold:
    """Return the maximum-likelihood normal threshold of units known by intervals: the product of F(high) - F(low).

    Parameters
    ----------
    low, high : sequence of float, shape (U,)
        Ends of each unit's interval; minus infinity where it failed at the least tried, infinity where it never failed.

    Returns
    -------
    Threshold
        Mean and scatter; where all intervals share a stretch, the middle of it and no scatter.

    Raises
    ------
    DomainError
        When the lists differ in length, an interval is empty, or no interval has a lower or none an upper end.

    Examples
    --------
    >>> inf = float("inf")
    >>> found = fit_threshold(low=[4, 5, 3, 6, 5, -inf], high=[6, 7, 5, 8, inf, 5])
    >>> round(found.middle, 4), round(found.scatter, 4)
    (5.3509, 0.9763)

    References
    ----------
    Meeker and Escobar, *Statistical Methods for Reliability Data* (1998), section 7.2. [meeker:1998]
    """
    lower, upper = np.asarray(low, float), np.asarray(high, float)
    _require(lower, upper)
    start, end = float(lower.max()), float(upper.min())
    if start < end:
        return Threshold(middle=(start + end) / 2.0, scatter=0.0, log_likelihood=0.0, sharp=True)
    ends = np.concatenate((lower[np.isfinite(lower)], upper[np.isfinite(upper)]))
    spread = float(np.ptp(ends)) or 1.0

    def cost(point: Floats) -> float:
        return -log_likelihood(lower, upper, middle=point[0], scatter=float(np.exp(point[1])))

    found = min(
        (minimize(cost, (float(np.median(ends)), np.log(spread * share)), method="Nelder-Mead",
                  options={"xatol": 1e-9, "fatol": 1e-12, "maxiter": 4000}) for share in (0.1, 0.5)),
        key=lambda f: float(f.fun),
    )  # fmt: skip
    scatter = float(np.exp(found.x[1]))
    return Threshold(
        middle=float(found.x[0]), scatter=scatter, log_likelihood=-float(found.fun), sharp=scatter < SHARPEST * spread
    )


def log_likelihood(low: Floats, high: Floats, *, middle: float, scatter: float) -> float:
    """Return the log likelihood of intervals under a normal threshold [-].

    Parameters
    ----------
    low, high : (U,) ndarray
        Ends of the intervals.
    middle, scatter : float
        Mean and standard deviation.

    Returns
    -------
    float
        Sum of ln(F(high) - F(low)).

    Examples
    --------
    >>> import numpy as np
    >>> round(log_likelihood(np.array([0.0]), np.array([np.inf]), middle=0.0, scatter=1.0), 4)
    -0.6931

    References
    ----------
    Meeker and Escobar, *Statistical Methods for Reliability Data* (1998), equation 2.9. [meeker:1998]
    """
    a, b = (low - middle) / scatter, (high - middle) / scatter
    # In the tail that keeps digits: an interval above the mean is mirrored below it.
    mirrored = a > 0.0
    a, b = np.where(mirrored, -b, a), np.where(mirrored, -a, b)
    top = log_ndtr(b)
    with np.errstate(divide="ignore"):
        return float((top + np.log1p(-np.exp(np.minimum(log_ndtr(a) - top, 0.0)))).sum())


def _require(low: Floats, high: Floats) -> None:
    if len(low) != len(high) or not len(low):
        raise DomainError.one("intervals", to_say("want a lower and an upper end each"), to_say("Check the lists"))
    if not (low < high).all():
        raise DomainError.one("intervals", to_say("must end above where they begin"), to_say("Check the two ends"))
    if not np.isfinite(low).any() or not np.isfinite(high).any():
        raise DomainError.one(
            "intervals", to_say("are open to one side: any far threshold explains them"), to_say("Try other values")
        )
