"""How the share that responds grows with a dose: logit, probit and complementary log-log by maximum likelihood."""

from __future__ import annotations

from enum import StrEnum
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen
from scipy.special import expit, ndtr, ndtri, xlogy

from vatwright.errors import DomainError
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STEPS = 60
"""Most steps of the fit; from the usual start it converges in ten or fewer."""

CLOSE = 1e-10
"""Relative change of the deviance at which the fit has converged, and distance from 0 and 1 at which a share counts as
reached [-]."""


class Link(StrEnum):
    """The curve by which a share follows a line."""

    LOGIT = "logit"
    PROBIT = "probit"
    CLOGLOG = "cloglog"


@frozen(kw_only=True)
class DoseResponse:
    """A fitted curve: share = link(intercept + slope dose).

    Parameters
    ----------
    intercept, slope : float
        The line, slope in 1 over the dose's unit [-].
    intercept_sigma, slope_sigma : float
        Their standard errors [-].
    deviance : float
        Twice the log likelihood below that of a curve through every group [-].
    separated : bool
        The responses split cleanly, or did not differ at all: the likelihood has no maximum and the numbers mean nothing.
    """

    intercept: float
    slope: float
    intercept_sigma: float
    slope_sigma: float
    deviance: float
    separated: bool

    def dose_at(self, share: float, link: Link) -> float:
        """Return the dose at which `share` responds, in the unit of the doses."""
        line = {
            Link.LOGIT: np.log(share / (1.0 - share)),
            Link.PROBIT: ndtri(share),
            Link.CLOGLOG: np.log(-np.log1p(-share)),
        }[link]
        return float((line - self.intercept) / self.slope)


def fit_dose_response(
    *, doses: Sequence[float], runs: Sequence[int], responded: Sequence[int], link: Link = Link.LOGIT
) -> DoseResponse:
    """Return the maximum-likelihood curve through groups of runs, by iteratively reweighted least squares.

    Parameters
    ----------
    doses : sequence of float, shape (G,)
        Dose of each group, or whatever the response may follow.
    runs, responded : sequence of int, shape (G,)
        How many in each group, and how many of them responded.
    link : Link
        The curve.

    Returns
    -------
    DoseResponse
        The curve with standard errors from the expected information.

    Raises
    ------
    DomainError
        When the lists differ in length, a count exceeds its runs, or all doses are one.

    Notes
    -----
    Where the responses do not overlap (all above some dose, none below), or do not differ, the maximum lies at infinity and
    `separated` says so.

    Examples
    --------
    Beetles after five hours of carbon disulphide, the example of Bliss (1935):

    >>> fit = fit_dose_response(
    ...     doses=[1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839],
    ...     runs=[59, 60, 62, 56, 63, 59, 62, 60], responded=[6, 13, 18, 28, 52, 53, 61, 60],
    ... )
    >>> round(fit.intercept, 3), round(fit.slope, 3), round(fit.deviance, 2)
    (-60.717, 34.27, 11.23)

    References
    ----------
    Dobson, *An Introduction to Generalized Linear Models*, 2nd ed. (2002), sections 4.3 and 7.3. [dobson:2002]
    """
    x, n, y = np.asarray(doses, float), np.asarray(runs, float), np.asarray(responded, float)
    _require(x, n, y)
    design = np.column_stack((np.ones_like(x), x - x.mean()))
    separated = _separated(x, n, y)
    share = (y + 0.5) / (n + 1.0)
    line = _line_of(share, link)
    beta, deviance = np.zeros(2), np.inf
    information = np.eye(2)
    for _ in range(0 if separated else STEPS):
        share, slope = _curve(line, link)
        weight = n * slope**2 / (share * (1.0 - share))
        information = design.T @ (weight[:, None] * design)
        beta = np.linalg.solve(information, design.T @ (weight * (line + (y / n - share) / slope)))
        line = design @ beta
        before, deviance = deviance, _deviance(_curve(line, link)[0], n, y)
        if abs(before - deviance) <= CLOSE * (abs(deviance) + 1.0):
            break
    covariance = np.linalg.inv(information)
    to_origin = np.array([1.0, -x.mean()])
    return DoseResponse(
        intercept=float(to_origin @ beta),
        slope=float(beta[1]),
        intercept_sigma=float(np.sqrt(to_origin @ covariance @ to_origin)),
        slope_sigma=float(np.sqrt(covariance[1, 1])),
        deviance=float(deviance),
        separated=separated,
    )


def _require(x: Floats, n: Floats, y: Floats) -> None:
    if not len(x) == len(n) == len(y) or len(x) < 2:
        raise DomainError.one(
            "groups", to_say("want a dose, a count and a response each, two or more"), to_say("Check the lists")
        )
    if (n < 1).any() or (y < 0).any() or (y > n).any():
        raise DomainError.one("responded", to_say("cannot be more than the runs of its group"), to_say("Count again"))
    if np.ptp(x) == 0.0:
        raise DomainError.one(
            "doses", to_say("are all one: nothing says how the response follows them"), to_say("Vary the dose")
        )


def _separated(x: Floats, n: Floats, y: Floats) -> bool:
    """Whether all that responded lie on one side of all that did not."""
    yes, no = x[y > 0], x[y < n]
    return not len(yes) or not len(no) or yes.min() >= no.max() or yes.max() <= no.min()


def _line_of(share: Floats, link: Link) -> Floats:
    if link is Link.LOGIT:
        return np.asarray(np.log(share / (1.0 - share)))
    return np.asarray(ndtri(share) if link is Link.PROBIT else np.log(-np.log1p(-share)))


def _curve(line: Floats, link: Link) -> tuple[Floats, Floats]:
    """Share at each point of the line, kept off 0 and 1, and its slope there."""
    if link is Link.LOGIT:
        share = np.clip(expit(line), CLOSE, 1.0 - CLOSE)
        return share, share * (1.0 - share)
    if link is Link.PROBIT:
        share, slope = ndtr(line), np.exp(-0.5 * line**2) / np.sqrt(2.0 * np.pi)
    else:
        rate = np.exp(np.minimum(line, 5.0))
        share, slope = -np.expm1(-rate), rate * np.exp(-rate)
    return np.clip(share, CLOSE, 1.0 - CLOSE), np.maximum(slope, CLOSE)


def _deviance(share: Floats, n: Floats, y: Floats) -> float:
    return 2.0 * float((xlogy(y, y / n / share) + xlogy(n - y, (n - y) / n / (1.0 - share))).sum())
