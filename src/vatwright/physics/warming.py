"""Warming and cooling: how long resin in a bottle or a vat takes to come to the temperature of the air around it."""

from __future__ import annotations

import math

from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say


def slab_time_constant(
    *,
    density_kg_m3: float,
    heat_capacity_j_kg_k: float,
    thickness_m: float,
    conductivity_w_m_k: float,
    coefficient_w_m2_k: float,
) -> float:
    r"""Return the time in which a resting slab, warmed through one face, loses all but 1/e of its difference to the air.

    .. math:: \tau = \frac{\rho c L^2}{k\,\zeta^2},\quad \zeta \tan\zeta = \frac{h L}{k},\quad 0 < \zeta < \pi/2

    Parameters
    ----------
    density_kg_m3 : float
        Density [kg/m^3].
    heat_capacity_j_kg_k : float
        Specific heat capacity c [J/(kg K)].
    thickness_m : float
        Thickness L from the warmed face to the insulated one [m]; for a bottle its volume over its surface.
    conductivity_w_m_k : float
        Thermal conductivity k [W/(m K)].
    coefficient_w_m2_k : float
        Heat transfer coefficient h of the face, radiation included [W/(m^2 K)].

    Returns
    -------
    float
        Time constant [s].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    First term of the series, good to 2 % once 0.2 rho c L^2/k have passed. For h L/k far below 1 it is the lumped
    rho c L/h. Liquid that turns over by itself or is stirred comes between the two: this is the slow end.

    Examples
    --------
    A bottle of a litre, 80 mm across, in still air, in minutes:

    >>> resin = {"density_kg_m3": 1100.0, "heat_capacity_j_kg_k": 1900.0, "conductivity_w_m_k": 0.2}
    >>> round(slab_time_constant(thickness_m=0.017, coefficient_w_m2_k=10.0, **resin) / 60)
    77

    References
    ----------
    Plane wall with convection, first term: Incropera and DeWitt, section 5.5, eqs. 5.39 to 5.41 [incropera:2007].
    """
    require_positive(
        density_kg_m3=density_kg_m3, heat_capacity_j_kg_k=heat_capacity_j_kg_k, thickness_m=thickness_m,
        conductivity_w_m_k=conductivity_w_m_k, coefficient_w_m2_k=coefficient_w_m2_k,
    )  # fmt: skip
    zeta = _first_root(coefficient_w_m2_k * thickness_m / conductivity_w_m_k)
    return density_kg_m3 * heat_capacity_j_kg_k * thickness_m**2 / (conductivity_w_m_k * zeta**2)


def _first_root(biot: float) -> float:
    """Return the least positive root of zeta tan zeta = biot, by halving: the left side only grows."""
    low, high = 0.0, math.pi / 2.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if middle * math.tan(middle) < biot else (low, middle)
    return (low + high) / 2.0


def warming_time(*, start_k: float, air_k: float, wanted_k: float, time_constant_s: float) -> float:
    r"""Return how long it takes until a body has come from one temperature to another in air of a third.

    .. math:: t = \tau \ln\frac{T_{air} - T_0}{T_{air} - T}

    Parameters
    ----------
    start_k : float
        Temperature at the start [K].
    air_k : float
        Temperature of the air [K].
    wanted_k : float
        Temperature wanted [K], between the two.
    time_constant_s : float
        Time constant [s].

    Returns
    -------
    float
        Time [s]; 0 where start and wanted are the same.

    Raises
    ------
    DomainError
        When a temperature is not above zero, or the wanted one is not on the way.

    Notes
    -----
    Newton's law of cooling; coefficient and air do not change.

    Examples
    --------
    A store at 12 C, a room at 22 C, 20 C wanted:

    >>> round(warming_time(start_k=285.15, air_k=295.15, wanted_k=293.15, time_constant_s=3600.0) / 60, 1)
    96.6

    References
    ----------
    Incropera and DeWitt, eq. 5.5 [incropera:2007].
    """
    require_positive(start_k=start_k, air_k=air_k, wanted_k=wanted_k, time_constant_s=time_constant_s)
    if start_k == wanted_k:
        return 0.0
    ratio = (air_k - start_k) / (air_k - wanted_k) if air_k != wanted_k else math.inf
    if not 1.0 <= ratio < math.inf:
        raise DomainError.one(
            "wanted_k",
            to_say(
                "{wanted_k:g} K is not reached from {start_k:g} K in air of {air_k:g} K",
                wanted_k=wanted_k,
                start_k=start_k,
                air_k=air_k,
            ),
            to_say("Warm the air further"),
        )
    return time_constant_s * math.log(ratio)


def warmed_temperature(*, start_k: float, rise_k: float, time_constant_s: float, time_s: float) -> float:
    r"""Return the temperature of a body that something begins to warm: a vat whose light and drive have been switched on.

    .. math:: T = T_0 + \Delta T \left(1 - e^{-t/\tau}\right)

    Parameters
    ----------
    start_k : float
        Temperature at the start, :math:`T_0` [K].
    rise_k : float
        By how much warmer it ends, :math:`\Delta T` [K].
    time_constant_s : float
        Time constant, :math:`\tau` [s].
    time_s : float
        Time since then, :math:`t` [s].

    Returns
    -------
    float
        Temperature [K].

    Raises
    ------
    DomainError
        When start or time constant is not above zero, or rise or time is below it.

    Notes
    -----
    A constant source of heat, and Newton's law of cooling to air that does not change.

    Examples
    --------
    >>> round(warmed_temperature(start_k=291.15, rise_k=6.0, time_constant_s=2700.0, time_s=3600.0) - 273.15, 1)
    22.4

    References
    ----------
    Incropera and DeWitt, section 5.3 [incropera:2007].
    """
    require_positive(start_k=start_k, time_constant_s=time_constant_s)
    require_not_negative(rise_k=rise_k, time_s=time_s)
    return start_k - rise_k * math.expm1(-time_s / time_constant_s)
