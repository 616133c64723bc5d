"""Pool: how long the resin in the vat takes to flow level again, and how deep it must stand to do so in time.

Orders of magnitude: the length to put in is a judgement, and walls, parts and the moving plate all change it.
"""

from __future__ import annotations

import math

from vatwright.errors import require_positive

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s^2]; exact by convention [bipm:2019]."""


def relevel_time(*, viscosity_pa_s: float, length_m: float, density_kg_m3: float, depth_m: float) -> float:
    r"""Return the order of the time in which the pool flows level.

    .. math:: t \sim \frac{3 \mu L^2}{\rho g h^3}

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity, :math:`\mu` [Pa s].
    length_m : float
        Distance over which resin has to flow back, :math:`L` [m], of the order of half the plate.
    density_kg_m3 : float
        Density, :math:`\rho` [kg/m^3].
    depth_m : float
        Depth of the pool, :math:`h` [m].

    Returns
    -------
    float
        Time scale [s].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Order of magnitude: pool shallow against its width, resin that does not gel at rest.

    A long ripple of wavelength lambda decays to 1/e in exactly this time with L = lambda/(2 pi).

    Examples
    --------
    >>> round(relevel_time(viscosity_pa_s=0.2, length_m=0.1, density_kg_m3=1100.0, depth_m=5e-3), 2)
    4.45

    References
    ----------
    Levelling of a thin film under gravity: Orchard [orchard:1962]; the choice of length is an estimate
    [estimate:vatwright].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, length_m=length_m, density_kg_m3=density_kg_m3, depth_m=depth_m)
    return 3.0 * viscosity_pa_s * length_m**2 / (density_kg_m3 * STANDARD_GRAVITY_M_S2 * depth_m**3)


def relevel_depth(*, viscosity_pa_s: float, length_m: float, density_kg_m3: float, time_s: float) -> float:
    r"""Return the order of the depth at which the pool flows level in time.

    .. math:: h \sim \left(\frac{3 \mu L^2}{\rho g t}\right)^{1/3}

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity, :math:`\mu` [Pa s].
    length_m : float
        Distance over which resin has to flow back, :math:`L` [m].
    density_kg_m3 : float
        Density, :math:`\rho` [kg/m^3].
    time_s : float
        Time between two layers, :math:`t` [s].

    Returns
    -------
    float
        Depth scale [m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Order of magnitude: pool shallow against its width, resin that does not gel at rest. Twice the width asks for 1.6
    times the depth.

    Examples
    --------
    >>> round(1e3 * relevel_depth(viscosity_pa_s=0.2, length_m=0.1, density_kg_m3=1100.0, time_s=10.0), 2)
    3.82

    References
    ----------
    Levelling of a thin film under gravity: Orchard [orchard:1962]; the choice of length is an estimate
    [estimate:vatwright].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, length_m=length_m, density_kg_m3=density_kg_m3, time_s=time_s)
    return math.cbrt(3.0 * viscosity_pa_s * length_m**2 / (density_kg_m3 * STANDARD_GRAVITY_M_S2 * time_s))
