"""A vent: the hole that lets resin into a pocket which would else be sealed against the film."""

from __future__ import annotations

import math

from vatwright.errors import require_not_negative, require_positive

STEPS = 12
"""Newton steps from twice the larger of two bounds to the last digit; the sixth already repeats it in trials."""


def vent_pressure(*, viscosity_pa_s: float, flow_m3_s: float, diameter_m: float, wall_m: float) -> float:
    r"""Return the pressure that drives resin through a round hole in a wall.

    .. math:: \Delta p = \mu Q\left(\frac{128\,L}{\pi d^4} + \frac{24}{d^3}\right)

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity, :math:`\mu` [Pa s].
    flow_m3_s : float
        Flow, :math:`Q` [m^3/s].
    diameter_m : float
        Diameter of the hole, :math:`d` [m].
    wall_m : float
        Thickness of the wall, :math:`L` [m]; may be zero, for a hole in a thin sheet.

    Returns
    -------
    float
        Pressure [Pa].

    Raises
    ------
    DomainError
        When viscosity, flow or diameter is not above zero, or the wall is below zero.

    Notes
    -----
    Slow flow of a Newtonian liquid.  Pipe and ends are added, which is within 1 % of the exact flow through a short pipe
    [dagan:1982].

    Examples
    --------
    >>> round(vent_pressure(viscosity_pa_s=0.3, flow_m3_s=3e-7, diameter_m=2e-3, wall_m=2e-3))
    728

    References
    ----------
    Pipe: Poiseuille [poiseuille:1846].  Both ends: Sampson [sampson:1891].  Their sum: Dagan and others [dagan:1982].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, flow_m3_s=flow_m3_s, diameter_m=diameter_m)
    require_not_negative(wall_m=wall_m)
    return viscosity_pa_s * flow_m3_s * (128.0 * wall_m / (math.pi * diameter_m**4) + 24.0 / diameter_m**3)


def vent_diameter(*, viscosity_pa_s: float, flow_m3_s: float, wall_m: float, pressure_pa: float) -> float:
    r"""Return the diameter of the hole through which a flow passes at a pressure, see :func:`vent_pressure`.

    .. math:: \mu Q\left(\frac{128\,L}{\pi d^4} + \frac{24}{d^3}\right) = \Delta p

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity, :math:`\mu` [Pa s].
    flow_m3_s : float
        Flow, :math:`Q` [m^3/s].
    wall_m : float
        Thickness of the wall, :math:`L` [m].
    pressure_pa : float
        Pressure, :math:`\Delta p` [Pa].

    Returns
    -------
    float
        Diameter, :math:`d` [m].

    Raises
    ------
    DomainError
        When an argument is not above zero, the wall below zero.

    Notes
    -----
    The pressure falls steadily with the diameter, so there is exactly one; found to a part in 10^9.

    Examples
    --------
    >>> d = vent_diameter(viscosity_pa_s=0.3, flow_m3_s=3e-7, wall_m=2e-3, pressure_pa=728.37)
    >>> round(d * 1000, 3)
    2.0

    References
    ----------
    As for :func:`vent_pressure` [sampson:1891], [poiseuille:1846], [dagan:1982].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, flow_m3_s=flow_m3_s, pressure_pa=pressure_pa)
    require_not_negative(wall_m=wall_m)
    resisted = viscosity_pa_s * flow_m3_s / pressure_pa
    ends_m3, pipe_m4 = 24.0 * resisted, 128.0 * wall_m * resisted / math.pi
    # d^4 - ends d - pipe bends upwards: Newton's steps from above the root never pass it.
    diameter_m = 2.0 * max(math.cbrt(ends_m3), math.sqrt(math.sqrt(pipe_m4)))
    for _ in range(STEPS):
        diameter_m -= (diameter_m**4 - ends_m3 * diameter_m - pipe_m4) / (4.0 * diameter_m**3 - ends_m3)
    return diameter_m
