"""Plane: the one that fits a handful of gap readings best, the twist it cannot explain, and how sure both are anywhere.

The gap under a flat platform is g = c + b_x x + b_y y; a twisted one adds t (2x/w)(2y/d).  Readings carry their own
uncertainty, and an uncertainty at a place follows from where the readings stand, not from what they say.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.errors import DomainError, Mistake, require_positive
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Readings = Sequence[float] | Floats

LEAST_SPREAD = 1.0e-6
"""Ratio of the least to the greatest singular value of the scaled readings below which they lie on a line [-]: far above
rounding, far below what anybody measures."""


class PlaneFit(NamedTuple):
    """A plane, twisted or not, through readings.

    Parameters
    ----------
    offset_m : float
        Gap at the origin [m].
    tilt_x, tilt_y : float
        Growth of the gap along x and along y [m/m].
    twist_m : float
        What twist adds where x and y are both at their greatest, 0 where none was fitted [m].
    residual_m : (N,) ndarray
        Reading less fit [m].
    standardised : (N,) ndarray
        Residual over its own standard deviation; 0 for a reading that nothing else can check [-].
    chi_square : float
        Sum of squared residuals over their variances [-].
    freedom : int
        Readings less what was fitted.
    """

    offset_m: float
    tilt_x: float
    tilt_y: float
    twist_m: float
    residual_m: Floats
    standardised: Floats
    chi_square: float
    freedom: int

    @property
    def residual_rms_m(self) -> float:
        """Root mean square of the residuals [m]."""
        return float(np.sqrt(np.mean(self.residual_m**2)))

    def at(self, x_m: float, y_m: float) -> float:
        """Return the gap of the plane, its twist left out, at a place [m]."""
        return self.offset_m + self.tilt_x * x_m + self.tilt_y * y_m


def fit_plane(
    *,
    x_m: Readings,
    y_m: Readings,
    gap_m: Readings,
    sigma_m: Readings,
    width_m: float | None = None,
    depth_m: float | None = None,
) -> PlaneFit:
    r"""Return the plane that fits gap readings best by weighted least squares, with twist where a size is given.

    .. math:: \min \sum_i \left(\frac{g_i - c - b_x x_i - b_y y_i - t\,\frac{2x_i}{w}\frac{2y_i}{d}}{\sigma_i}\right)^2

    Parameters
    ----------
    x_m, y_m : (N,) sequence
        Where each reading was taken [m].
    gap_m : (N,) sequence
        Gap read there [m].
    sigma_m : (N,) sequence
        Standard uncertainty of each reading, independent of the others [m].
    width_m, depth_m : float or None
        Size of the platform; both given, twist is fitted too [m].

    Returns
    -------
    PlaneFit
        Coefficients, residuals [m] and how well they agree with the uncertainties stated.

    Raises
    ------
    DomainError
        For fewer readings than unknowns, readings on a line (or, with twist, on a pair of lines), numbers that are not
        finite, an uncertainty that is not above 0.

    Notes
    -----
    Over the four corners of a rectangle, in order around it, twist is (g1 - g2 + g3 - g4) / 4 and the plane's residuals
    are +-twist: no tilt takes it away.  With four such readings a twisted platform and a wrong reading look alike.

    Examples
    --------
    >>> corners = {"x_m": [-0.05, 0.05, 0.05, -0.05], "y_m": [-0.03, -0.03, 0.03, 0.03]}
    >>> fit = fit_plane(**corners, gap_m=[1.0e-4, 1.6e-4, 2.0e-4, 1.2e-4], sigma_m=[1e-5] * 4)
    >>> round(fit.offset_m * 1e6, 6), round(fit.tilt_x * 1e3, 6), round(fit.tilt_y * 1e3, 6)
    (145.0, 0.7, 0.5)
    >>> (fit.residual_m * 1e6).round(6).tolist()
    [5.0, -5.0, 5.0, -5.0]

    References
    ----------
    Draper and Smith, *Applied Regression Analysis*, 3rd ed. (1998), weighted least squares and standardised residuals.
    [draper:1998]
    """
    design, sigma = _design(x_m, y_m, sigma_m, width_m, depth_m)
    gap = np.asarray(gap_m, dtype=np.float64)
    if gap.shape != sigma.shape or not np.isfinite(gap).all():
        raise DomainError.one("gap_m", to_say("must be finite, one for each reading"), to_say("Check the readings"))
    scale = _scale(design)
    solved, *_ = np.linalg.lstsq(design / scale / sigma[:, None], gap / sigma, rcond=None)
    coefficients = np.concatenate((solved / scale, [0.0]))
    residual = gap - design @ coefficients[: design.shape[1]]
    weighted = residual / sigma
    q, _ = np.linalg.qr(design / scale / sigma[:, None])
    unchecked = np.maximum(1.0 - (q**2).sum(axis=1), 0.0)
    standardised = np.where(unchecked > 1e-9, weighted / np.sqrt(np.maximum(unchecked, 1e-9)), 0.0)
    return PlaneFit(
        offset_m=float(coefficients[0]), tilt_x=float(coefficients[1]), tilt_y=float(coefficients[2]),
        twist_m=float(coefficients[3]), residual_m=residual, standardised=np.asarray(standardised),
        chi_square=float(weighted @ weighted), freedom=len(gap) - design.shape[1],
    )  # fmt: skip


def plane_sigma(
    *,
    x_m: Readings,
    y_m: Readings,
    sigma_m: Readings,
    at_x_m: float,
    at_y_m: float,
    width_m: float | None = None,
    depth_m: float | None = None,
) -> float:
    r"""Return how uncertain the fitted gap is at a place, from where the readings stand.

    .. math:: \sigma^2(x) = x^T (X^T W X)^{-1} x, \qquad W = \mathrm{diag}(1/\sigma_i^2)

    Parameters
    ----------
    x_m, y_m : (N,) sequence
        Where each reading was taken [m].
    sigma_m : (N,) sequence
        Standard uncertainty of each reading [m].
    at_x_m, at_y_m : float
        The place asked about [m].
    width_m, depth_m : float or None
        Size of the platform; both given, for the fit that has twist [m].

    Returns
    -------
    float
        Standard uncertainty [m].

    Raises
    ------
    DomainError
        As :func:`fit_plane`.

    Notes
    -----
    Grows fast outside the readings: read near the corners.  What all readings share (the caliper of one sheet) is not in
    it; that moves the offset and tilts nothing.

    Examples
    --------
    Three corners read to 10 um leave the fourth to 17 um, the square root of three times as much.

    >>> three = {"x_m": [-0.05, 0.05, -0.05], "y_m": [-0.03, -0.03, 0.03], "sigma_m": [1e-5] * 3}
    >>> round(plane_sigma(**three, at_x_m=0.05, at_y_m=0.03) * 1e6, 2)
    17.32

    References
    ----------
    Draper and Smith, *Applied Regression Analysis*, 3rd ed. (1998), variance of a predicted mean. [draper:1998]
    """
    design, sigma = _design(x_m, y_m, sigma_m, width_m, depth_m)
    scale = _scale(design)
    row = [1.0, at_x_m, at_y_m]
    if width_m is not None and depth_m is not None:
        row.append(4.0 * at_x_m * at_y_m / (width_m * depth_m))
    _, r = np.linalg.qr(design / scale / sigma[:, None])
    return float(np.linalg.norm(np.linalg.solve(r.T, np.array(row) / scale)))


def twist_sigma(*, x_m: Readings, y_m: Readings, sigma_m: Readings, width_m: float, depth_m: float) -> float:
    r"""Return how uncertain the fitted twist is, from where the readings stand.

    .. math:: \sigma_t^2 = \left[(X^T W X)^{-1}\right]_{tt}

    Parameters
    ----------
    x_m, y_m : (N,) sequence
        Where each reading was taken [m].
    sigma_m : (N,) sequence
        Standard uncertainty of each reading [m].
    width_m, depth_m : float
        Size of the platform [m].

    Returns
    -------
    float
        Standard uncertainty [m]; infinite where the readings cannot tell twist from tilt.

    Notes
    -----
    Readings along both middle lines alone, for example, say nothing about twist.

    Examples
    --------
    >>> corners = {"x_m": [-0.05, 0.05, 0.05, -0.05], "y_m": [-0.03, -0.03, 0.03, 0.03]}
    >>> round(twist_sigma(**corners, sigma_m=[1e-5] * 4, width_m=0.1, depth_m=0.06) * 1e6, 6)
    5.0

    References
    ----------
    Draper and Smith, *Applied Regression Analysis*, 3rd ed. (1998), variance of a coefficient. [draper:1998]
    """
    try:
        design, sigma = _design(x_m, y_m, sigma_m, width_m, depth_m)
    except DomainError:
        return math.inf
    _, r = np.linalg.qr(design / sigma[:, None])
    # The last row of the inverse of an upper triangle has one entry, so the variance of the last coefficient is its square.
    return float(1.0 / abs(r[-1, -1]))


def _design(
    x_m: Readings, y_m: Readings, sigma_m: Readings, width_m: float | None, depth_m: float | None
) -> tuple[Floats, Floats]:
    """The design matrix and the uncertainties, refused where they determine nothing."""
    x, y, sigma = (np.asarray(v, dtype=np.float64).reshape(-1) for v in (x_m, y_m, sigma_m))
    bad = [
        Mistake(name, to_say("must be finite, one for each reading"), to_say("Check the readings"))
        for name, values in (("x_m", x), ("y_m", y), ("sigma_m", sigma))
        if len(values) != len(x) or not np.isfinite(values).all()
    ]
    if not bad and (sigma <= 0.0).any():
        bad.append(Mistake("sigma_m", to_say("must be above 0"), to_say("Give each reading its standard uncertainty")))
    if bad:
        raise DomainError(bad)
    columns = [np.ones_like(x), x, y]
    if width_m is not None and depth_m is not None:
        require_positive(width_m=width_m, depth_m=depth_m)
        columns.append(4.0 * x * y / (width_m * depth_m))
    design = np.stack(columns, axis=1)
    if len(x) < len(columns):
        raise DomainError.one(
            "readings",
            to_say("{x_count} readings do not make a plane", x_count=len(x)),
            to_say("Take readings near all four corners"),
        )
    values = np.linalg.svd(design / _scale(design), compute_uv=False)
    if values[-1] <= LEAST_SPREAD * values[0]:
        raise DomainError.one("readings", to_say("lie on a line"), to_say("Take readings near all four corners"))
    return design, sigma


def _scale(design: Floats) -> Floats:
    """Size of each column, so that metres and ones weigh alike in the arithmetic."""
    size = np.abs(design).max(axis=0)
    return np.where(size > 0.0, size, 1.0)
