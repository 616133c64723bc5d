"""Fit the working curve to cured squares, in the logarithms in which its two numbers are held."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.special import stdtrit

from vatwright.evidence.fit_curve import fit_curve
from vatwright.physics.cure_depth import fit_working_curve
from vatwright.records.sourced import NORMAL_95

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class CureFit(NamedTuple):
    """A working curve through readings, as two lognormal numbers.

    Parameters
    ----------
    depth_m, critical_j_m2 : float
        D_p [m] and E_c [J/m2].
    depth_spread, critical_spread : float
        Their spreads (log), widened so that 90 % of the lognormal is Student's 90 % interval; infinite with two readings
        [-].
    correlation : float
        Correlation of the logarithms [-].
    """

    depth_m: float
    critical_j_m2: float
    depth_spread: float
    critical_spread: float
    correlation: float


def _curve(log_dose: Floats, values: NDArray[Any]) -> NDArray[Any]:
    """Jacobs's working curve with ln D_p and ln E_c as its values."""
    return np.asarray(np.exp(values[0]) * (log_dose - values[1]))


def fit_cure(*, doses_j_m2: Sequence[float], depths_m: Sequence[float]) -> CureFit:
    r"""Return the working curve that fits cured squares best, with what they leave open.

    .. math:: C_d = e^{u} (\ln E - v), \qquad u = \ln D_p,\ v = \ln E_c

    Parameters
    ----------
    doses_j_m2 : sequence of float, (n,)
        Doses at the window [J/m^2].
    depths_m : sequence of float, (n,)
        Thicknesses cured [m].

    Returns
    -------
    CureFit
        Values, spreads and their correlation: a steeper line through the same squares has its foot further right, so the
        depth between the squares is known better than either number.

    Raises
    ------
    InputError
        As :func:`vatwright.physics.cure_depth.fit_working_curve`.

    Notes
    -----
    The values are those of the closed line through the readings; the intervals are symmetric in the logarithms.  Equal
    scatter of the thicknesses is assumed.

    Examples
    --------
    >>> fit = fit_cure(doses_j_m2=[100.0, 200.0, 400.0, 800.0], depths_m=[33.5e-6, 137.4e-6, 241.4e-6, 345.4e-6])
    >>> round(1e6 * fit.depth_m, 3), round(fit.critical_j_m2, 2), round(fit.correlation, 2)
    (149.997, 80.0, 0.85)

    References
    ----------
    Jacobs, the working curve [jacobs:1992]; intervals: Bates and Watts (1988), chapter 2. [bates:1988]
    """
    line = fit_working_curve(doses_j_m2, depths_m)
    fit = fit_curve(
        _curve,
        x=np.log(np.asarray(doses_j_m2, dtype=np.float64)),
        y=depths_m,
        start=[math.log(line.depth_m), math.log(line.critical_j_m2)],
    )
    student = float(stdtrit(fit.freedom, 0.95)) / NORMAL_95 if fit.freedom else math.inf
    return CureFit(
        depth_m=math.exp(fit.values[0]),
        critical_j_m2=math.exp(fit.values[1]),
        depth_spread=float(fit.sigma[0]) * student,
        critical_spread=float(fit.sigma[1]) * student,
        correlation=float(fit.correlation[0, 1]),
    )
