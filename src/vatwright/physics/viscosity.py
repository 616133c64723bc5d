"""Viscosity: how it changes with temperature and mixing, and how fast particles sink through it."""

from __future__ import annotations

import math

from vatwright.errors import DomainError, Mistake, require_finite, require_not_negative, require_positive
from vatwright.wording import to_say

GAS_CONSTANT_J_MOL_K = 8.31446261815324
"""Molar gas constant [J/(mol K)]; exact since the 2019 definitions [bipm:2019]."""

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s^2]; exact by convention [bipm:2019]."""


def activation_energy(*, cold_pa_s: float, cold_k: float, warm_pa_s: float, warm_k: float) -> float:
    r"""Return the activation energy of flow from two viscosity readings.

    .. math:: E_a = R \ln(\mu_1/\mu_2) / (1/T_1 - 1/T_2)

    Parameters
    ----------
    cold_pa_s : float
        Viscosity at the first temperature, :math:`\mu_1` [Pa s].
    cold_k : float
        First temperature, :math:`T_1` [K]; the order of the two does not matter.
    warm_pa_s : float
        Viscosity at the second temperature, :math:`\mu_2` [Pa s].
    warm_k : float
        Second temperature, :math:`T_2` [K], not equal to the first.

    Returns
    -------
    float
        Activation energy [J/mol]; negative if the readings say that warming thickens.

    Raises
    ------
    DomainError
        When an argument is not above zero or the temperatures are equal.

    Notes
    -----
    Exact through two points, some tens of kelvin apart.

    Exact through two points; how far it carries is for the user of :func:`andrade_viscosity` to say.

    Examples
    --------
    >>> round(activation_energy(cold_pa_s=0.35, cold_k=293.15, warm_pa_s=0.12, warm_k=313.15))
    40852

    References
    ----------
    Andrade [andrade:1930].
    """
    require_positive(cold_pa_s=cold_pa_s, cold_k=cold_k, warm_pa_s=warm_pa_s, warm_k=warm_k)
    if cold_k == warm_k:
        raise DomainError.one(
            "warm_k",
            to_say("equals the first temperature, {warm_k:g}", warm_k=warm_k),
            to_say("Read at two temperatures"),
        )
    return GAS_CONSTANT_J_MOL_K * math.log(cold_pa_s / warm_pa_s) / (1.0 / cold_k - 1.0 / warm_k)


def andrade_viscosity(*, known_pa_s: float, known_k: float, activation_j_mol: float, temperature_k: float) -> float:
    r"""Return the viscosity at a temperature from one reading and the activation energy of flow.

    .. math:: \mu = \mu_1 \exp\left[\frac{E_a}{R}\left(\frac{1}{T} - \frac{1}{T_1}\right)\right]

    Parameters
    ----------
    known_pa_s : float
        Viscosity read [Pa s].
    known_k : float
        Temperature of the reading [K].
    activation_j_mol : float
        Activation energy of flow [J/mol]; 30 to 60 kJ/mol for liquid acrylate blends.
    temperature_k : float
        Temperature wanted [K].

    Returns
    -------
    float
        Viscosity [Pa s].

    Raises
    ------
    DomainError
        When a viscosity or temperature is not above zero or the energy is not finite.

    Notes
    -----
    Good over a few tens of kelvin well above the glass transition. Colder, the true curve is steeper:
    :func:`vft_viscosity`.

    Examples
    --------
    >>> round(andrade_viscosity(known_pa_s=0.2, known_k=298.15, activation_j_mol=45e3, temperature_k=293.15), 4)
    0.2726

    References
    ----------
    Andrade [andrade:1930]. The range of energies is from memory [memory:vatwright].
    """
    require_positive(known_pa_s=known_pa_s, known_k=known_k, temperature_k=temperature_k)
    require_finite(activation_j_mol=activation_j_mol)
    return known_pa_s * math.exp(activation_j_mol / GAS_CONSTANT_J_MOL_K * (1.0 / temperature_k - 1.0 / known_k))


def two_point_viscosity(
    *, cold_pa_s: float, cold_k: float, warm_pa_s: float, warm_k: float, temperature_k: float
) -> float:
    r"""Return the viscosity at a temperature from readings at two others.

    .. math:: \ln\mu = \ln\mu_1 + \ln(\mu_2/\mu_1)\,\frac{1/T - 1/T_1}{1/T_2 - 1/T_1}

    Parameters
    ----------
    cold_pa_s : float
        Viscosity at the first temperature, :math:`\mu_1` [Pa s].
    cold_k : float
        First temperature, :math:`T_1` [K]; the order of the two does not matter.
    warm_pa_s : float
        Viscosity at the second temperature, :math:`\mu_2` [Pa s].
    warm_k : float
        Second temperature, :math:`T_2` [K], not equal to the first.
    temperature_k : float
        Temperature wanted, :math:`T` [K].

    Returns
    -------
    float
        Viscosity, :math:`\mu` [Pa s].

    Raises
    ------
    DomainError
        When an argument is not above zero or the two temperatures are equal.

    Notes
    -----
    Between the two readings it is as good as they are; outside them it is an extrapolation.

    Examples
    --------
    >>> readings = {"cold_pa_s": 0.35, "cold_k": 293.15, "warm_pa_s": 0.12, "warm_k": 313.15}
    >>> round(two_point_viscosity(temperature_k=303.15, **readings), 4)
    0.2014

    References
    ----------
    Andrade [andrade:1930].
    """
    energy = activation_energy(cold_pa_s=cold_pa_s, cold_k=cold_k, warm_pa_s=warm_pa_s, warm_k=warm_k)
    return andrade_viscosity(known_pa_s=cold_pa_s, known_k=cold_k, activation_j_mol=energy, temperature_k=temperature_k)


def vft_viscosity(*, known_pa_s: float, known_k: float, b_k: float, t0_k: float, temperature_k: float) -> float:
    r"""Return the viscosity by the Vogel-Fulcher-Tammann law from one reading.

    .. math:: \mu = \mu_1 \exp\left[\frac{B}{T - T_0} - \frac{B}{T_1 - T_0}\right]

    Parameters
    ----------
    known_pa_s : float
        Viscosity read, :math:`\mu_1` [Pa s].
    known_k : float
        Temperature of the reading, :math:`T_1` [K].
    b_k : float
        Coefficient, :math:`B` [K].
    t0_k : float
        Temperature at which the law diverges, :math:`T_0` [K], below both others.
    temperature_k : float
        Temperature wanted, :math:`T` [K].

    Returns
    -------
    float
        Viscosity [Pa s].

    Raises
    ------
    DomainError
        When viscosity or B is not above zero or a temperature is not above T0.

    Notes
    -----
    Temperatures above T0. Follows a blend over a wider range than Andrade's law; B and T0 need three readings or more.

    Examples
    --------
    >>> blend = {"known_pa_s": 0.2, "known_k": 298.15, "b_k": 900.0, "t0_k": 180.0}
    >>> round(vft_viscosity(temperature_k=288.15, **blend), 6)
    0.404502

    References
    ----------
    Vogel [vogel:1921]; Fulcher [fulcher:1925].
    """
    require_positive(known_pa_s=known_pa_s, b_k=b_k)
    require_not_negative(t0_k=t0_k)
    cold = [
        Mistake(
            name,
            to_say("must be above T0 = {t0_k:g} K, got {value:g}", t0_k=t0_k, value=value),
            to_say("Give temperatures in kelvin above T0"),
        )
        for name, value in (("known_k", known_k), ("temperature_k", temperature_k))
        if not t0_k < value < math.inf
    ]
    if cold:
        raise DomainError(cold)
    return known_pa_s * math.exp(b_k / (temperature_k - t0_k) - b_k / (known_k - t0_k))


def sinking_speed(
    *, diameter_m: float, density_difference_kg_m3: float, viscosity_pa_s: float, volume_fraction: float = 0.0
) -> float:
    r"""Return the speed at which pigment sinks through resting resin.

    .. math:: v = \frac{d^2\,\Delta\rho\,g}{18 \mu}\,(1-\phi)^{4.65}

    Parameters
    ----------
    diameter_m : float
        Diameter of the particles or of their clumps, :math:`d` [m].
    density_difference_kg_m3 : float
        Density of the particles less that of the resin, :math:`\Delta\rho` [kg/m^3]; may be negative:
        they float.
    viscosity_pa_s : float
        Viscosity of the resin, :math:`\mu` [Pa s].
    volume_fraction : float
        Volume fraction of particles, :math:`\phi` [1], below 0.4; may be zero.

    Returns
    -------
    float
        Sinking speed [m/s].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Creeping flow (always so here); the exponent 4.65 holds for it. Gels and thixotropic resins hold particles up.

    Examples
    --------
    >>> speed = sinking_speed(diameter_m=10e-6, density_difference_kg_m3=2500.0, viscosity_pa_s=0.2)
    >>> round(speed * 3600 * 1000, 5)
    2.45166

    References
    ----------
    Stokes [stokes:1851]; hindered settling: Richardson and Zaki [richardson:1954].
    """
    require_positive(diameter_m=diameter_m, viscosity_pa_s=viscosity_pa_s)
    require_finite(density_difference_kg_m3=density_difference_kg_m3)
    if not 0.0 <= volume_fraction <= 0.4:
        raise DomainError.one(
            "volume_fraction",
            to_say("must lie between 0 and 0.4, got {volume_fraction:g}", volume_fraction=volume_fraction),
            to_say("Give it as a fraction of volume"),
        )
    free = diameter_m**2 * density_difference_kg_m3 * STANDARD_GRAVITY_M_S2 / (18.0 * viscosity_pa_s)
    return free * math.pow(1.0 - volume_fraction, 4.65)
