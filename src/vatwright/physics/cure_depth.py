"""Cure: how deep a dose gels, what many doses leave behind, the working curve fitted to readings, and shrinkage."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from vatwright.errors import DomainError, InputError, require_finite, require_not_negative, require_positive
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

PLANCK_J_S = 6.62607015e-34
"""Planck constant [J s]; exact by definition [bipm:2019]."""

LIGHT_SPEED_M_S = 299_792_458.0
"""Speed of light in vacuum [m/s]; exact by definition [bipm:2019]."""


def cure_depth(*, penetration_m: float, critical_j_m2: float, dose_j_m2: float) -> float:
    r"""Return the depth that a dose cures.

    .. math:: C_d = D_p \ln(E / E_c)

    Parameters
    ----------
    penetration_m : float
        Penetration depth, over which the light falls to 1/e, :math:`D_p` [m].
    critical_j_m2 : float
        Critical dose, at which the resin just gels, :math:`E_c` [J/m^2].
    dose_j_m2 : float
        Dose at the window, irradiance times time, :math:`E` [J/m^2]; doses on the same face add first; may be zero.

    Returns
    -------
    float
        Cure depth [m]; 0 at or below the critical dose.

    Raises
    ------
    DomainError
        When D_p or E_c is not above zero or the dose is negative.

    Notes
    -----
    One wavelength, no bleaching, no scattering, a sharp gel threshold. Trust it only inside the doses the curve was
    fitted over: D_p and E_c belong to the apparatus as much as to the resin (24 laboratories with one resin found D_p
    apart by up to 7 times and E_c by up to 70 times).

    Examples
    --------
    >>> round(1e6 * cure_depth(penetration_m=150e-6, critical_j_m2=80.0, dose_j_m2=160.0), 3)
    103.972

    References
    ----------
    Jacobs, the working curve [jacobs:1992]. Spread between laboratories [kolibaba:2024].
    """
    require_positive(penetration_m=penetration_m, critical_j_m2=critical_j_m2)
    require_not_negative(dose_j_m2=dose_j_m2)
    return penetration_m * math.log(dose_j_m2 / critical_j_m2) if dose_j_m2 > critical_j_m2 else 0.0


def cure_dose(*, penetration_m: float, critical_j_m2: float, depth_m: float) -> float:
    r"""Return the dose that cures a depth.

    .. math:: E = E_c \exp(C_d / D_p)

    Parameters
    ----------
    penetration_m : float
        Penetration depth, :math:`D_p` [m].
    critical_j_m2 : float
        Critical dose, :math:`E_c` [J/m^2].
    depth_m : float
        Depth to gel, :math:`C_d` [m]; may be zero.

    Returns
    -------
    float
        Dose at the window [J/m^2].

    Raises
    ------
    DomainError
        When D_p or E_c is not above zero or the depth is negative.

    Notes
    -----
    Trust it only inside the doses the curve was fitted over, on the same light and meter.

    The inverse of :func:`cure_depth`, with the same range.

    Examples
    --------
    >>> round(cure_dose(penetration_m=150e-6, critical_j_m2=80.0, depth_m=100e-6), 3)
    155.819

    References
    ----------
    Jacobs, the working curve [jacobs:1992].
    """
    require_positive(penetration_m=penetration_m, critical_j_m2=critical_j_m2)
    require_not_negative(depth_m=depth_m)
    return critical_j_m2 * math.exp(depth_m / penetration_m)


def accumulated_dose(
    *, penetration_m: float, dose_j_m2: float, layer_m: float, layers: int | None, depth_m: float = 0.0
) -> float:
    r"""Return the dose that many layers in a row leave in the resin beyond the face they started from.

    .. math:: E_N(z) = E_0\, e^{-z/D_p}\,\frac{1 - e^{-N L/D_p}}{1 - e^{-L/D_p}}

    Parameters
    ----------
    penetration_m : float
        Penetration depth D_p [m].
    dose_j_m2 : float
        Dose of one layer at the window [J/m^2].
    layer_m : float
        Layer thickness L [m].
    layers : int or None
        Number of layers N [1]; None for a great many.
    depth_m : float
        Distance z beyond the face [m].

    Returns
    -------
    float
        Sum of the doses there [J/m^2].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Each later layer shines through the earlier ones. An upper bound: it takes cured and liquid resin to absorb alike
    and no oxygen to come back between layers.

    Examples
    --------
    >>> round(accumulated_dose(penetration_m=150e-6, dose_j_m2=160.0, layer_m=50e-6, layers=3), 2)
    356.79

    References
    ----------
    Geometric sum over Beer-Lambert terms [derived:vatwright], after Jacobs [jacobs:1992].
    """
    require_positive(penetration_m=penetration_m, layer_m=layer_m)
    require_not_negative(dose_j_m2=dose_j_m2, depth_m=depth_m)
    if layers is not None and layers < 0:
        raise DomainError.one(
            "layers",
            to_say("must not be negative, got {layers}", layers=layers),
            to_say("Count the layers after the overhang"),
        )
    one = layer_m / penetration_m
    added = 1.0 if layers is None else -math.expm1(-layers * one)
    return dose_j_m2 * math.exp(-depth_m / penetration_m) * added / -math.expm1(-one)


def print_through(
    *, penetration_m: float, critical_j_m2: float, dose_j_m2: float, layer_m: float, layers: int | None
) -> float:
    r"""Return how far many layers in a row gel the resin beyond an overhang.

    .. math:: z = D_p \ln\left(\frac{E_0}{E_c}\,\frac{1 - e^{-N L/D_p}}{1 - e^{-L/D_p}}\right)

    Parameters
    ----------
    penetration_m : float
        Penetration depth D_p [m].
    critical_j_m2 : float
        Critical dose E_c [J/m^2].
    dose_j_m2 : float
        Dose of one layer at the window [J/m^2].
    layer_m : float
        Layer thickness L [m].
    layers : int or None
        Number of layers N [1]; None for a great many, where it saturates.

    Returns
    -------
    float
        Depth gelled beyond the overhang [m].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    An upper bound, as :func:`accumulated_dose`.

    Examples
    --------
    >>> curve = {"penetration_m": 150e-6, "critical_j_m2": 80.0}
    >>> round(1e6 * print_through(dose_j_m2=160.0, layer_m=50e-6, layers=3, **curve), 3)
    224.269

    References
    ----------
    Geometric sum over Beer-Lambert terms [derived:vatwright], after Jacobs [jacobs:1992].
    """
    total = accumulated_dose(penetration_m=penetration_m, dose_j_m2=dose_j_m2, layer_m=layer_m, layers=layers)
    return cure_depth(penetration_m=penetration_m, critical_j_m2=critical_j_m2, dose_j_m2=total)


def carried_exposure(
    *, exposure_s: float, from_irradiance_w_m2: float, to_irradiance_w_m2: float, reciprocity: float = 1.0
) -> float:
    r"""Return the exposure with the same effect under another irradiance.

    .. math:: t_2 = t_1 (I_1 / I_2)^\alpha

    Parameters
    ----------
    exposure_s : float
        Proven exposure, :math:`t_1` [s].
    from_irradiance_w_m2 : float
        Irradiance it was proven under, :math:`I_1` [W/m^2].
    to_irradiance_w_m2 : float
        Irradiance of the other machine, :math:`I_2` [W/m^2], read with the same meter.
    reciprocity : float
        Exponent of the equal-effect rule I^alpha t = constant, :math:`\alpha` [1]; 1 is equal dose.

    Returns
    -------
    float
        Exposure t2 [s].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Equal dose holds well for viscous multifunctional resins (above 0.1 to 0.2 Pa s); ideal bimolecular termination
    gives alpha = 0.5; oxygen can push it above 1. Schwarzschild's exponent p, in I t^p = constant, is 1/alpha. Same
    wavelength.

    Examples
    --------
    >>> carried_exposure(exposure_s=2.5, from_irradiance_w_m2=30.0, to_irradiance_w_m2=20.0)
    3.75

    References
    ----------
    Reciprocity of photopolymers: Feng and Suh [feng:2007], departures: Wydra and others [wydra:2014]; Schwarzschild's
    exponent [schwarzschild:1900].
    """
    require_positive(
        exposure_s=exposure_s,
        from_irradiance_w_m2=from_irradiance_w_m2,
        to_irradiance_w_m2=to_irradiance_w_m2,
        reciprocity=reciprocity,
    )
    return exposure_s * math.pow(from_irradiance_w_m2 / to_irradiance_w_m2, reciprocity)


def penetration_from_absorbance(*, cell_m: float, absorbance: float) -> float:
    r"""Return the penetration depth from the absorbance of a thin cell.

    .. math:: D_p = d / (A_{10} \ln 10)

    Parameters
    ----------
    cell_m : float
        Thickness of the cell, :math:`d` [m].
    absorbance : float
        Decadic absorbance at the wavelength of the light, :math:`A_{10}` [1].

    Returns
    -------
    float
        Penetration depth [m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Absorption only: pigment that scatters shortens the depth further.

    Examples
    --------
    >>> round(1e6 * penetration_from_absorbance(cell_m=93e-6, absorbance=0.4148), 2)
    97.37

    References
    ----------
    Beer-Lambert law, in the units of the working curve [jacobs:1992].
    """
    require_positive(cell_m=cell_m, absorbance=absorbance)
    return cell_m / (absorbance * math.log(10.0))


def photon_flux(*, irradiance_w_m2: float, wavelength_m: float) -> float:
    r"""Return the photons that arrive per area and time.

    .. math:: \Phi = I \lambda / (h c)

    Parameters
    ----------
    irradiance_w_m2 : float
        Irradiance, :math:`I` [W/m^2].
    wavelength_m : float
        Wavelength in vacuum, :math:`\lambda` [m].

    Returns
    -------
    float
        Photon flux [1/(m^2 s)].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Exact for one wavelength.

    Examples
    --------
    >>> f"{photon_flux(irradiance_w_m2=10.0, wavelength_m=405e-9):.5e}"
    '2.03882e+19'

    References
    ----------
    Defining constants [bipm:2019].
    """
    require_positive(irradiance_w_m2=irradiance_w_m2, wavelength_m=wavelength_m)
    return irradiance_w_m2 * wavelength_m / (PLANCK_J_S * LIGHT_SPEED_M_S)


class WorkingCurveFit(NamedTuple):
    """A working curve fitted to readings, with the intervals the readings allow.

    Parameters
    ----------
    depth_m, depth_low_m, depth_high_m : float
        Penetration depth D_p and its interval [m].
    critical_j_m2, critical_low_j_m2, critical_high_j_m2 : float
        E_c and its interval [J/m^2].
    scatter_m : float
        Standard deviation of a reading about the line [m]; 0 with two readings, which say nothing of it.
    dose_low_j_m2, dose_high_j_m2 : float
        Range of doses the fit rests on [J/m^2]; outside it the curve is an extrapolation.
    readings : int
        Number of readings [1].
    """

    depth_m: float
    depth_low_m: float
    depth_high_m: float
    critical_j_m2: float
    critical_low_j_m2: float
    critical_high_j_m2: float
    scatter_m: float
    dose_low_j_m2: float
    dose_high_j_m2: float
    readings: int


def fit_working_curve(
    doses_j_m2: Sequence[float], depths_m: Sequence[float], *, confidence: float = 0.95
) -> WorkingCurveFit:
    r"""Return the working curve that fits cure-depth readings best, by least squares of depth on the logarithm of dose.

    .. math:: C_d = D_p \ln E - D_p \ln E_c

    Parameters
    ----------
    doses_j_m2 : sequence of float, (n,)
        Doses at the window [J/m^2].
    depths_m : sequence of float, (n,)
        Cure depths read [m].
    confidence : float
        Two-sided confidence of the intervals [1].

    Returns
    -------
    WorkingCurveFit
        Fit and intervals; with two readings the intervals are unbounded.

    Raises
    ------
    InputError
        When the lists differ in length, hold fewer than two different doses, or depth does not grow with dose.

    Notes
    -----
    D_p: slope with Student's t on n - 2 degrees of freedom. E_c: Fieller's interval of the line's foot, which is
    unbounded where the slope itself is not sure. Equal scatter of the depths is assumed; doses are taken as exact.

    Examples
    --------
    >>> fit = fit_working_curve([100.0, 200.0, 400.0, 800.0], [33.5e-6, 137.4e-6, 241.4e-6, 345.4e-6])
    >>> round(1e6 * fit.depth_m, 3), round(fit.critical_j_m2, 2)
    (149.997, 80.0)

    References
    ----------
    Jacobs, the working curve [jacobs:1992]; straight-line fit: Draper and Smith, chapter 1 [draper:1998]; ratio of two
    estimates: Fieller [fieller:1954].
    """
    _require_readings(doses_j_m2, depths_m, confidence)
    n = len(doses_j_m2)
    logs = [math.log(e) for e in doses_j_m2]
    mean_x, mean_y = math.fsum(logs) / n, math.fsum(depths_m) / n
    sxx = math.fsum((x - mean_x) ** 2 for x in logs)
    slope = math.fsum((x - mean_x) * (y - mean_y) for x, y in zip(logs, depths_m, strict=True)) / sxx
    if slope <= 0.0:
        raise InputError.one(
            "depths_m", to_say("the depth does not grow with the dose"), to_say("Check the pairs; measure again")
        )
    rest = math.fsum((y - mean_y - slope * (x - mean_x)) ** 2 for x, y in zip(logs, depths_m, strict=True))
    scatter = math.sqrt(rest / (n - 2)) if n > 2 else 0.0
    half = _t_quantile(confidence, n - 2) * scatter / math.sqrt(sxx) if n > 2 else math.inf
    foot = mean_x - mean_y / slope
    low, high = _foot_interval(mean_y, slope, half, sxx / n)
    return WorkingCurveFit(
        depth_m=slope,
        depth_low_m=max(slope - half, 0.0),
        depth_high_m=slope + half,
        critical_j_m2=math.exp(foot),
        critical_low_j_m2=math.exp(mean_x + low),
        critical_high_j_m2=math.exp(mean_x + high),
        scatter_m=scatter,
        dose_low_j_m2=min(doses_j_m2),
        dose_high_j_m2=max(doses_j_m2),
        readings=n,
    )


def _require_readings(doses_j_m2: Sequence[float], depths_m: Sequence[float], confidence: float) -> None:
    """Refuse readings that no line can be drawn through."""
    if len(doses_j_m2) != len(depths_m):
        raise InputError.one(
            "depths_m",
            to_say(
                "{depths_m_count} depths for {doses_j_m2_count} doses",
                depths_m_count=len(depths_m),
                doses_j_m2_count=len(doses_j_m2),
            ),
            to_say("Give one depth for each dose"),
        )
    for dose, depth in zip(doses_j_m2, depths_m, strict=True):
        require_positive(dose_j_m2=dose)
        require_finite(depth_m=depth)
    if len(set(doses_j_m2)) < 2:
        raise InputError.one(
            "doses_j_m2", to_say("fewer than two different doses"), to_say("Read the depth at two doses or more")
        )
    if not 0.0 < confidence < 1.0:
        raise DomainError.one(
            "confidence",
            to_say("must lie between 0 and 1, got {confidence:g}", confidence=confidence),
            to_say("Give for example 0.95"),
        )


def _t_quantile(confidence: float, degrees: int) -> float:
    """Return Student's two-sided t."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, 0.5 + 0.5 * confidence))


def _foot_interval(mean_y: float, slope: float, half: float, variance_x: float) -> tuple[float, float]:
    """Return Fieller's interval of the foot, from mean x: (mean_y + slope u)^2 <= half^2 (variance_x + u^2)."""
    a = slope**2 - half**2
    if not a > 0.0:
        return -math.inf, math.inf
    root = half * math.sqrt(mean_y**2 + variance_x * a)
    return (-mean_y * slope - root) / a, (-mean_y * slope + root) / a


def volume_shrinkage(*, liquid_kg_m3: float, cured_kg_m3: float) -> float:
    r"""Return the volume lost on curing, from the densities.

    .. math:: s = 1 - \rho_{liquid} / \rho_{cured}

    Parameters
    ----------
    liquid_kg_m3 : float
        Density of the liquid resin, :math:`\rho_{liquid}` [kg/m^3].
    cured_kg_m3 : float
        Density of the cured part, :math:`\rho_{cured}` [kg/m^3].

    Returns
    -------
    float
        Volume shrinkage [1].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Mass is kept; solvent lost in washing is not in it.

    Examples
    --------
    >>> round(volume_shrinkage(liquid_kg_m3=1100.0, cured_kg_m3=1180.0), 6)
    0.067797

    References
    ----------
    Conservation of mass [derived:vatwright].
    """
    require_positive(liquid_kg_m3=liquid_kg_m3, cured_kg_m3=cured_kg_m3)
    return 1.0 - liquid_kg_m3 / cured_kg_m3


def linear_shrinkage(volume_fraction: float) -> float:
    r"""Return the shrinkage of a length from the shrinkage of the volume.

    .. math:: s_L = 1 - (1 - s)^{1/3}

    Parameters
    ----------
    volume_fraction : float
        Volume shrinkage, :math:`s` [1].

    Returns
    -------
    float
        Linear shrinkage [1].

    Raises
    ------
    DomainError
        When the fraction is not below 1.

    Notes
    -----
    The same in all directions; a part held by its layers shrinks less across than along.

    Examples
    --------
    >>> round(linear_shrinkage(0.0677966), 6)
    0.02313

    References
    ----------
    Geometry [derived:vatwright].
    """
    if not -1.0 < volume_fraction < 1.0:
        raise DomainError.one(
            "volume_fraction",
            to_say("must lie between -1 and 1, got {volume_fraction:g}", volume_fraction=volume_fraction),
            to_say("Give it as a fraction"),
        )
    return -math.expm1(math.log1p(-volume_fraction) / 3.0)
