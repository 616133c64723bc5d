"""Drag-out: the film of resin that what rises out of the vat takes along, and how it drains."""

from __future__ import annotations

import math

from vatwright.errors import require_not_negative, require_positive

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s^2]; exact by convention [bipm:2019]."""


def capillary_number(*, viscosity_pa_s: float, speed_m_s: float, surface_tension_n_m: float) -> float:
    r"""Return the ratio of viscous to capillary forces on a rising film.

    .. math:: Ca = \mu U / \gamma

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity [Pa s].
    speed_m_s : float
        Speed of withdrawal [m/s].
    surface_tension_n_m : float
        Surface tension [N/m]; 0.03 to 0.04 for acrylates.

    Returns
    -------
    float
        Capillary number [1].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Below about 0.01 the Landau-Levich law holds, see :func:`film_thickness`.

    Examples
    --------
    >>> round(capillary_number(viscosity_pa_s=0.2, speed_m_s=1e-3, surface_tension_n_m=0.035), 5)
    0.00571

    References
    ----------
    Landau and Levich [landau:1942]. The surface tension is from memory [memory:vatwright].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, speed_m_s=speed_m_s, surface_tension_n_m=surface_tension_n_m)
    return viscosity_pa_s * speed_m_s / surface_tension_n_m


def film_thickness(
    *, viscosity_pa_s: float, speed_m_s: float, surface_tension_n_m: float, density_kg_m3: float
) -> float:
    r"""Return the thickness of the film on an upright face that is drawn out of resin.

    .. math:: h = \min\left(0.9458\,\sqrt{\frac{\gamma}{\rho g}}\,Ca^{2/3},\; \sqrt{\frac{\mu U}{\rho g}}\right)

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity [Pa s].
    speed_m_s : float
        Speed of withdrawal U [m/s].
    surface_tension_n_m : float
        Surface tension [N/m].
    density_kg_m3 : float
        Density [kg/m^3].

    Returns
    -------
    float
        Film thickness at the line where it leaves the bath [m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    First term: Landau and Levich, capillary numbers below about 0.01 (error some percent); second: the film that
    gravity alone would let rise, the limit for fast or thick resin. Flat upright faces; pockets and undersides carry
    more.

    Examples
    --------
    >>> resin = {"viscosity_pa_s": 0.2, "surface_tension_n_m": 0.035, "density_kg_m3": 1100.0}
    >>> round(1e6 * film_thickness(speed_m_s=1e-3, **resin), 1)
    54.5

    References
    ----------
    Landau and Levich [landau:1942]; coefficient 0.9458 after Wilson [wilson:1982], reproduced in the tests; upper
    limit: Deryagin [deryagin:1943].
    """
    require_positive(density_kg_m3=density_kg_m3)
    number = capillary_number(
        viscosity_pa_s=viscosity_pa_s, speed_m_s=speed_m_s, surface_tension_n_m=surface_tension_n_m
    )
    length_m = math.sqrt(surface_tension_n_m / (density_kg_m3 * STANDARD_GRAVITY_M_S2))
    return length_m * min(0.9458 * math.cbrt(number) ** 2, math.sqrt(number))


def drained_film(*, viscosity_pa_s: float, density_kg_m3: float, height_m: float, time_s: float) -> float:
    r"""Return the mean thickness of the film left on an upright face after it has dripped for a while.

    .. math:: \bar h = \frac{2}{3}\sqrt{\frac{\mu L}{\rho g t}}

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity [Pa s].
    density_kg_m3 : float
        Density [kg/m^3].
    height_m : float
        Height of the face L [m].
    time_s : float
        Time it has dripped t [s].

    Returns
    -------
    float
        Mean film thickness [m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Late drainage, once it is below the film that came up (:func:`film_thickness`); without surface tension, which keeps
    a bead on the lower edge.

    Examples
    --------
    >>> face = {"viscosity_pa_s": 0.2, "density_kg_m3": 1100.0, "height_m": 0.1}
    >>> round(1e6 * drained_film(time_s=600.0, **face), 1)
    37.1

    References
    ----------
    Jeffreys [jeffreys:1930].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, density_kg_m3=density_kg_m3, height_m=height_m, time_s=time_s)
    return 2.0 / 3.0 * math.sqrt(viscosity_pa_s * height_m / (density_kg_m3 * STANDARD_GRAVITY_M_S2 * time_s))


def drag_out_volume(*, film_m: float, wet_area_m2: float) -> float:
    r"""Return the resin that leaves the vat as a film.

    .. math:: V = h A

    Parameters
    ----------
    film_m : float
        Film thickness [m].
    wet_area_m2 : float
        Wetted area of parts, supports and platform [m^2].

    Returns
    -------
    float
        Volume [m^3].

    Raises
    ------
    DomainError
        When an argument is negative or not finite.

    Notes
    -----
    Pockets that hold resin come on top.

    Examples
    --------
    >>> round(1e6 * drag_out_volume(film_m=50e-6, wet_area_m2=0.1), 6)
    5.0

    References
    ----------
    Geometry [derived:vatwright].
    """
    require_not_negative(film_m=film_m, wet_area_m2=wet_area_m2)
    return film_m * wet_area_m2
