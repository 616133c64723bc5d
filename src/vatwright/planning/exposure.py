"""How long the light must shine on the new machine, and how deep it then cures."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.physics.cure_depth import fit_working_curve
from vatwright.records.job import Job
from vatwright.records.material import Resin, WorkingCurve
from vatwright.records.sourced import Kind, Sourced

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.unknowns import Side

    Floats = NDArray[np.float64]

UNKNOWN_CURVE = WorkingCurve(
    depth_m=Sourced(value=1.2e-4, low=5e-5, high=3e-4, source="estimate:vatwright", kind=Kind.ESTIMATE),
    critical_j_m2=Sourced(value=60.0, low=20.0, high=200.0, source="estimate:vatwright", kind=Kind.ESTIMATE),
)
"""Working curve of a resin nobody measured: D_p 50-300 um, E_c 2-20 mJ/cm2, from memory of typical 405 nm acrylates."""


def curve_is_known(resin: Resin) -> bool:
    """Return whether anybody measured or stated the resin's working curve."""
    return resin.curve is not None or len(resin.cure_readings) >= 2


def both_lights_guessed(job: Job) -> bool:
    """Return whether nobody read or stated the light of either of two machines."""
    lights = (job.origin.light, job.target.light)
    return job.origin != job.target and all(x.irradiance_w_m2.kind is Kind.ESTIMATE for x in lights)


def curve_belief(resin: Resin) -> WorkingCurve:
    """Return what is believed about a resin's working curve: the user's readings, else a stated curve, else the prior.

    Parameters
    ----------
    resin : Resin
        Readings at two or more doses make a fit; fewer are not enough for a line.

    Returns
    -------
    WorkingCurve
        With ranges.  A curve through just two readings has no scatter of its own and gets 15 % on D_p and 25 % on E_c.

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4. [jacobs:1992]
    """
    if len(resin.cure_readings) < 2:
        return resin.curve or UNKNOWN_CURVE
    fit = fit_working_curve(
        doses_j_m2=[r.dose_j_m2 for r in resin.cure_readings], depths_m=[r.depth_m for r in resin.cure_readings]
    )
    return WorkingCurve(
        depth_m=_fitted(fit.depth_m, fit.depth_low_m, fit.depth_high_m, least=0.05, alone=0.15),
        critical_j_m2=_fitted(fit.critical_j_m2, fit.critical_low_j_m2, fit.critical_high_j_m2, least=0.05, alone=0.25),
    )


def _fitted(value: float, low: float, high: float, *, least: float, alone: float) -> Sourced:
    """A fitted value; never surer than `least`, and `alone` (relative) where the fit had no scatter to judge itself by."""
    if not (np.isfinite(low) and np.isfinite(high) and 0.0 < low <= value <= high):
        return Sourced.about(value, factor=1.0 + alone, source="user:reading", kind=Kind.READING)
    low, high = min(low, value / (1.0 + least)), max(high, value * (1.0 + least))
    return Sourced(value=value, low=low, high=high, source="user:reading", kind=Kind.READING)


def exposure_ratio(origin: Side, target: Side) -> Floats:
    """Return by what the seconds of light change so that the dose stays, in every world: t_B / t_A = I_A / I_B [-].

    Returns
    -------
    (S,) ndarray
        Ratios; exactly 1 where both sides are one machine.

    Notes
    -----
    Valid where equal dose cures equally (reciprocity); it holds well for resins above 100-200 mPa s.

    References
    ----------
    Feng and Suh, Macromol. Chem. Phys. 208 (2007) 295-306. [feng:2007]
    """
    return np.asarray(origin.irradiance_w_m2 / target.irradiance_w_m2)


def cured_m(side: Side, exposure_s: Floats, *, share: float) -> Floats:
    """Return how deep each layer cures in each world, where the light is `share` of the mean [m].

    The equation is C_d = D_p ln(E / E_c), not below zero.

    Parameters
    ----------
    side : Side
        Irradiance and working curve in every world, shape (S,).
    exposure_s : (N,) ndarray
        Light time of each layer [s].
    share : float
        Irradiance of the spot as a share of the mean [-].

    Returns
    -------
    (S, N) ndarray
        Cure depth [m].

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4. [jacobs:1992]
    """
    log_rate = np.log(side.irradiance_w_m2 * share / side.curve_dose_j_m2)
    depth = side.curve_depth_m[:, None] * (log_rate[:, None] + np.log(exposure_s)[None, :])
    return np.asarray(np.maximum(depth, 0.0))
