"""Drag-out: the film of resin that what rises out of the vat takes along, and how it drains."""

from __future__ import annotations

import math

from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say

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
    r"""Return the film of resin on an upright face drawn out of the vat.

    .. math:: h = \min\left(0.9458\,\sqrt{\frac{\gamma}{\rho g}}\,Ca^{2/3},\; \sqrt{\frac{\mu U}{\rho g}}\right),
        \quad Ca = \mu U / \gamma

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity, :math:`\mu` [Pa s].
    speed_m_s : float
        Speed of withdrawal, :math:`U` [m/s].
    surface_tension_n_m : float
        Surface tension, :math:`\gamma` [N/m].
    density_kg_m3 : float
        Density, :math:`\rho` [kg/m^3].

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
    r"""Return the mean film left on an upright face after dripping.

    .. math:: \bar h = \frac{2}{3}\sqrt{\frac{\mu L}{\rho g t}}

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity, :math:`\mu` [Pa s].
    density_kg_m3 : float
        Density, :math:`\rho` [kg/m^3].
    height_m : float
        Height of the face, :math:`L` [m].
    time_s : float
        Time it has dripped, :math:`t` [s].

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
    Late drainage, once it is below the film that came up (film_thickness); without surface tension, which keeps a bead
    on the lower edge.

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
        Film thickness, :math:`h` [m].
    wet_area_m2 : float
        Wetted area of parts, supports and platform, :math:`A` [m^2].

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


def bath_share(*, carried_m3: float, bath_m3: float, batches: float) -> float:
    r"""Return the resin in a wash bath after some plates.

    .. math:: \phi = n v / (V + n v)

    Parameters
    ----------
    carried_m3 : float
        Resin that one batch carries in, :math:`v` [m^3].
    bath_m3 : float
        Solvent the bath began with, :math:`V` [m^3].
    batches : float
        Batches, :math:`n` [1]; may be zero.

    Returns
    -------
    float
        Volume fraction of resin [1].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Nothing leaves the bath and nothing evaporates. What pieces take out again makes it a little less, what evaporates a
    little more.

    Examples
    --------
    >>> round(bath_share(carried_m3=20e-6, bath_m3=8e-3, batches=50), 4)
    0.1111

    References
    ----------
    Balance of volumes [derived:vatwright].
    """
    require_positive(bath_m3=bath_m3)
    require_not_negative(carried_m3=carried_m3, batches=batches)
    resin_m3 = batches * carried_m3
    return resin_m3 / (bath_m3 + resin_m3)


def batches_until(*, carried_m3: float, bath_m3: float, limit: float) -> float:
    r"""Return the plates until a wash bath is to be changed.

    .. math:: n = \frac{\phi}{1 - \phi}\,\frac{V}{v}

    Parameters
    ----------
    carried_m3 : float
        Resin that one batch carries in, :math:`v` [m^3].
    bath_m3 : float
        Solvent the bath began with, :math:`V` [m^3].
    limit : float
        Volume fraction of resin at which it is changed, :math:`\phi` [1], between 0 and 1.

    Returns
    -------
    float
        Batches [1], not rounded.

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    By volume; nothing leaves the bath or evaporates. No published limit was found: common practice is 10 to 20 %.

    Examples
    --------
    >>> round(batches_until(carried_m3=20e-6, bath_m3=8e-3, limit=0.1), 1)
    44.4

    References
    ----------
    Balance of volumes [derived:vatwright]; the limit is common practice [practice:bench].
    """
    require_positive(carried_m3=carried_m3, bath_m3=bath_m3, limit=limit)
    if limit >= 1.0:
        raise DomainError.one(
            "limit", to_say("must be below 1, got {limit:g}", limit=limit), to_say("Give it as a fraction of volume")
        )
    return limit / (1.0 - limit) * bath_m3 / carried_m3


def bath_density(*, mass_share: float, resin_kg_m3: float, solvent_kg_m3: float) -> float:
    r"""Return the density of solvent with resin dissolved in it, by which a hydrometer tells how spent it is.

    .. math:: \rho = \left(\frac{w}{\rho_r} + \frac{1 - w}{\rho_s}\right)^{-1}

    Parameters
    ----------
    mass_share : float
        Mass fraction of resin w [1].
    resin_kg_m3 : float
        Density of the resin [kg/m^3].
    solvent_kg_m3 : float
        Density of the solvent [kg/m^3].

    Returns
    -------
    float
        Density of the mixture [kg/m^3].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Volumes add up (ideal mixture). Water in the solvent and temperature shift it as much as a few percent of resin do.

    Examples
    --------
    >>> round(bath_density(mass_share=0.10, resin_kg_m3=1100.0, solvent_kg_m3=785.0), 1)
    808.1

    References
    ----------
    Volumes that add up [derived:vatwright].
    """
    require_positive(resin_kg_m3=resin_kg_m3, solvent_kg_m3=solvent_kg_m3)
    if not 0.0 <= mass_share <= 1.0:
        raise DomainError.one(
            "mass_share",
            to_say("must lie between 0 and 1, got {mass_share:g}", mass_share=mass_share),
            to_say("Give it as a fraction"),
        )
    return 1.0 / (mass_share / resin_kg_m3 + (1.0 - mass_share) / solvent_kg_m3)
