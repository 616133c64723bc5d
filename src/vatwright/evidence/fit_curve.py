"""Fit a curve to readings by nonlinear least squares, and say how sure the fitted values are."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple, Protocol

import numpy as np
from scipy.linalg import qr, solve_triangular
from scipy.optimize import least_squares
from scipy.special import stdtrit

from vatwright.errors import DomainError, InputError
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence
    from typing import Any

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STEP = 1.0e-30
"""Imaginary step of the derivative [-]: its error is the square of it, and nothing is subtracted."""

FINEST = 1.0e-15
"""Relative change at which the search stops [-]: a few units of double precision."""

ROUNDS = 4
"""How often the search is started afresh from what it found, with columns scaled anew."""

MOST_STEPS = 5000
"""Evaluations of the model in one search."""


class Model(Protocol):
    """A curve; written with numpy operations that take complex numbers, so that its slopes can be had exactly."""

    def __call__(self, x: Floats, values: NDArray[Any], /) -> NDArray[Any]:
        """Return the curve at `x`, (N,), for these values of its parameters, (P,)."""


class CurveFit(NamedTuple):
    """A fitted curve.

    Parameters
    ----------
    values : (P,) ndarray
        Fitted parameters.
    sigma : (P,) ndarray
        Their standard errors; infinite where there are no more readings than parameters.
    correlation : (P, P) ndarray
        Correlation of the parameters.
    residual_sum : float
        Sum of squared residuals.
    scatter : float
        Standard deviation of a reading about the curve; 0 without spare readings.
    freedom : int
        Readings less parameters.
    """

    values: Floats
    sigma: Floats
    correlation: Floats
    residual_sum: float
    scatter: float
    freedom: int

    def interval(self, confidence: float = 0.9) -> tuple[Floats, Floats]:
        """Return both ends of Student's two-sided interval of every parameter, (P,) each."""
        if not 0.0 < confidence < 1.0:
            raise DomainError.one(
                "confidence",
                to_say("must lie between 0 and 1, got {confidence:g}", confidence=confidence),
                to_say("Give for example 0.9"),
            )
        half = np.full_like(self.sigma, np.inf)
        if self.freedom > 0:
            half = self.sigma * float(stdtrit(self.freedom, 0.5 + 0.5 * confidence))
        return self.values - half, self.values + half


def fit_curve(
    model: Model,
    *,
    x: Sequence[float] | Floats,
    y: Sequence[float] | Floats,
    start: Sequence[float] | Floats,
    low: Sequence[float] | Floats | None = None,
    high: Sequence[float] | Floats | None = None,
) -> CurveFit:
    r"""Return the parameters of a curve that fit readings best.

    .. math:: \min_p \sum_i (y_i - f(x_i, p))^2, \qquad \mathrm{cov}(p) = s^2 (J^T J)^{-1}

    Parameters
    ----------
    model : Model
        The curve f(x, p).
    x, y : (N,) sequence
        Readings.
    start : (P,) sequence
        Where the search starts.
    low, high : (P,) sequence or None
        Bounds of the parameters; None leaves them free.

    Returns
    -------
    CurveFit
        Values with standard errors.

    Raises
    ------
    InputError
        When the lists differ in length, hold fewer readings than parameters or numbers that are not finite, or when the
        readings do not determine the curve.

    Notes
    -----
    Equal and independent scatter of the readings is assumed.  Slopes by the complex step; covariance by QR of the Jacobian
    with its columns scaled to one length, which keeps digits where parameters differ by many powers of ten and pinv(J'J)
    keeps none.  Finds the minimum nearest to the start.  At a bound the standard errors are those of the free curve.

    Examples
    --------
    >>> import numpy as np
    >>> fit = fit_curve(lambda x, p: p[0] * np.exp(p[1] * x), x=[0.0, 1.0, 2.0], y=[2.0, 1.0, 0.5], start=[1.0, -0.1])
    >>> fit.values.round(6).tolist()
    [2.0, -0.693147]

    References
    ----------
    Bates and Watts, *Nonlinear Regression Analysis and Its Applications* (1988), chapter 2. [bates:1988]  Complex step:
    Squire and Trapp. [squire:1998]
    """
    xs, ys, values = (np.asarray(v, dtype=np.float64).reshape(-1) for v in (x, y, start))
    _require_readings(xs, ys, values)
    free = low is None and high is None
    bounds = (-np.inf if low is None else low, np.inf if high is None else high)

    def residuals(p: Floats) -> Floats:
        with np.errstate(over="ignore", invalid="ignore"):
            found = np.asarray(model(xs, p), dtype=np.float64) - ys
        return np.where(np.isfinite(found), found, 1e150)

    def slopes(p: Floats) -> Floats:
        with np.errstate(over="ignore", invalid="ignore"):
            found = np.stack([_slope(model, xs, p, k) for k in range(len(p))], axis=1)
        return np.where(np.isfinite(found), found, 0.0)

    for _ in range(ROUNDS):
        best = least_squares(
            residuals, values, jac=slopes, bounds=bounds, method="lm" if free else "trf", x_scale="jac",
            xtol=FINEST, ftol=FINEST, gtol=FINEST, max_nfev=MOST_STEPS,
        )  # fmt: skip
        settled = np.allclose(best.x, values, rtol=1e-12, atol=0.0)
        values = np.asarray(best.x, dtype=np.float64)
        if settled:
            break
    return _judged(values, residuals(values), slopes(values))


def _require_readings(x: Floats, y: Floats, start: Floats) -> None:
    """Refuse readings that no curve can be fitted to."""
    if len(x) != len(y):
        raise InputError.one(
            "y",
            to_say("{y_count} values for {x_count} places", y_count=len(y), x_count=len(x)),
            to_say("Give one for each"),
        )
    if len(x) < len(start):
        raise InputError.one(
            "y",
            to_say("{y_count} readings for {start_count} unknowns", y_count=len(y), start_count=len(start)),
            to_say("Read at more places"),
        )
    if not (np.isfinite(x).all() and np.isfinite(y).all() and np.isfinite(start).all()):
        raise InputError.one("y", to_say("holds numbers that are not finite"), to_say("Check the readings"))


def _slope(model: Model, x: Floats, p: Floats, k: int) -> Floats:
    """Return the slope of the curve with its k-th parameter, by the complex step."""
    shifted = p.astype(np.complex128)
    step = STEP * max(abs(float(p[k])), 1e-6)
    shifted[k] += 1j * step
    return np.asarray(np.imag(model(x, shifted)) / step, dtype=np.float64)


def _judged(values: Floats, residual: Floats, jacobian: Floats) -> CurveFit:
    """Return the fit with its standard errors, from the scaled QR of the Jacobian."""
    scale = np.linalg.norm(jacobian, axis=0)
    if not (scale > 0.0).all():
        raise InputError.one(
            "y", to_say("do not determine every unknown of the curve"), to_say("Read over a wider range")
        )
    _, upper = qr(jacobian / scale, mode="economic")
    if np.abs(np.diag(upper)).min() <= len(residual) * np.finfo(np.float64).eps:
        raise InputError.one(
            "y", to_say("do not determine every unknown of the curve"), to_say("Read over a wider range")
        )
    inverse = solve_triangular(upper, np.eye(len(values)))
    covariance = inverse @ inverse.T / np.outer(scale, scale)
    freedom = len(residual) - len(values)
    total = float(residual @ residual)
    scatter = float(np.sqrt(total / freedom)) if freedom else 0.0
    deviation = np.sqrt(np.diag(covariance))
    return CurveFit(
        values=values,
        sigma=scatter * deviation if freedom else np.full(len(values), np.inf),
        correlation=covariance / np.outer(deviation, deviation),
        residual_sum=total,
        scatter=scatter,
        freedom=freedom,
    )
