"""Squeeze film: what thin resin between two parallel faces resists, and how long the gap takes to close.

One shape number carries it all.  Under a flat face of any outline the pressure obeys the same equation as Prandtl's
stress function of a twisted bar with that outline, so the squeeze resistance of a face is ``3 mu J / h^3`` with the
Saint-Venant torsion constant J of its outline.  Closed forms of J stand here; arbitrary outlines are solved in the
geometry room.
"""

from __future__ import annotations

import math

from vatwright.errors import DomainError, require_finite, require_positive
from vatwright.wording import to_say

STANDARD_ATMOSPHERE_PA = 101_325.0
"""Standard atmosphere [Pa]; exact by definition [bipm:2019]."""

ODD_ZETA_5 = 31.0 / 32.0 * 1.0369277551433699263
"""Sum of 1/n^5 over odd n, (31/32) zeta(5) [1]; mathematics."""


def disc_torsion(radius_m: float) -> float:
    r"""Return the torsion constant of a disc: the shape number of its squeeze resistance.

    .. math:: J = \pi R^4 / 2

    Parameters
    ----------
    radius_m : float
        Radius of the disc, :math:`R` [m].

    Returns
    -------
    float
        Torsion constant [m^4].

    Raises
    ------
    DomainError
        When the radius is not a finite number above zero.

    Notes
    -----
    Exact. With it ``3 mu J V / h^3`` is Stefan's force between two discs.

    Examples
    --------
    >>> round(disc_torsion(1.0), 7)
    1.5707963

    References
    ----------
    Saint-Venant, section on the circle [saintvenant:1855].
    """
    require_positive(radius_m=radius_m)
    return math.pi * radius_m**4 / 2.0


def rectangle_torsion(*, long_m: float, short_m: float) -> float:
    r"""Return the torsion constant of a rectangle.

    .. math:: J = \beta a b^3,\quad
        \beta = \frac{1}{3}\left[1 - \frac{192 b}{\pi^5 a}\sum_{n\,odd}\frac{\tanh(n\pi a/(2b))}{n^5}\right]

    Parameters
    ----------
    long_m : float
        Longer side, :math:`a` [m]; the two sides may come in either order.
    short_m : float
        Shorter side, :math:`b` [m].

    Returns
    -------
    float
        Torsion constant [m^4].

    Raises
    ------
    DomainError
        When a side is not a finite number above zero.

    Notes
    -----
    Exact; the sides may come in either order.

    Exact to rounding at any aspect ratio: the slowly falling part of the series is summed in closed form (zeta(5)),
    what is left falls by a factor of at least 500 a term.

    Examples
    --------
    >>> round(rectangle_torsion(long_m=2.0, short_m=1.0), 6)
    0.457363

    References
    ----------
    Timoshenko and Goodier, article on rectangular bars, table of beta [timoshenko:1951].
    """
    require_positive(long_m=long_m, short_m=short_m)
    a, b = max(long_m, short_m), min(long_m, short_m)
    # tanh(x) = 1 - 2/(exp(2x) + 1); the ones sum to ODD_ZETA_5, and beyond n = 9 the rest is below 1e-16.
    rest = sum(2.0 / (n**5 * (1.0 + math.exp(min(n * math.pi * a / b, 700.0)))) for n in (1, 3, 5, 7, 9))
    return a * b**3 / 3.0 * (1.0 - 192.0 * b / (math.pi**5 * a) * (ODD_ZETA_5 - rest))


def ellipse_torsion(*, long_semi_axis_m: float, short_semi_axis_m: float) -> float:
    r"""Return the torsion constant of an ellipse, from its half axes.

    .. math:: J = \pi a^3 b^3 / (a^2 + b^2)

    Parameters
    ----------
    long_semi_axis_m : float
        Longer half axis, :math:`a` [m]; the two may come in either order.
    short_semi_axis_m : float
        Shorter half axis, :math:`b` [m].

    Returns
    -------
    float
        Torsion constant [m^4].

    Raises
    ------
    DomainError
        When a half axis is not a finite number above zero.

    Notes
    -----
    Exact.

    Examples
    --------
    >>> round(ellipse_torsion(long_semi_axis_m=2.0, short_semi_axis_m=1.0), 7)
    5.0265482

    References
    ----------
    Saint-Venant, section on the ellipse [saintvenant:1855].
    """
    require_positive(long_semi_axis_m=long_semi_axis_m, short_semi_axis_m=short_semi_axis_m)
    a, b = long_semi_axis_m, short_semi_axis_m
    return math.pi * a**3 * b**3 / (a**2 + b**2)


def triangle_torsion(side_m: float) -> float:
    r"""Return the torsion constant of an equilateral triangle.

    .. math:: J = \sqrt 3\, s^4 / 80

    Parameters
    ----------
    side_m : float
        Side, :math:`s` [m].

    Returns
    -------
    float
        Torsion constant [m^4].

    Raises
    ------
    DomainError
        When the side is not a finite number above zero.

    Notes
    -----
    Exact.

    Examples
    --------
    >>> round(triangle_torsion(1.0), 8)
    0.02165064

    References
    ----------
    Timoshenko and Goodier, article on the equilateral triangle [timoshenko:1951].
    """
    require_positive(side_m=side_m)
    return math.sqrt(3.0) * side_m**4 / 80.0


def annulus_torsion(*, outer_radius_m: float, inner_radius_m: float) -> float:
    r"""Return the torsion constant of a ring whose hole is a sealed pool of resin.

    .. math:: J = \frac{\pi}{2}(R_2^4 - R_1^4)

    Parameters
    ----------
    outer_radius_m : float
        Outer radius, :math:`R_2` [m].
    inner_radius_m : float
        Radius of the hole, :math:`R_1` [m], below the outer one.

    Returns
    -------
    float
        Torsion constant [m^4].

    Raises
    ------
    DomainError
        When the radii are not positive or the hole is not inside the ring.

    Notes
    -----
    Holds for a hole full of liquid under a rigid roof (a cup facing the film): its pressure is that of a hollow bar.

    For a hole open to air or to wide resin see :func:`vented_annulus_torsion`; a gas pocket lies between the two.

    Examples
    --------
    >>> round(annulus_torsion(outer_radius_m=1.0, inner_radius_m=0.5), 6)
    1.472622

    References
    ----------
    Hollow bars: Bredt [bredt:1896]. The squeeze film reading of it [derived:vatwright].
    """
    _require_ring(outer_radius_m, inner_radius_m)
    r2, r1 = outer_radius_m, inner_radius_m
    return math.pi / 2.0 * (r2 - r1) * (r2 + r1) * (r2**2 + r1**2)


def vented_annulus_torsion(*, outer_radius_m: float, inner_radius_m: float) -> float:
    r"""Return the squeeze constant of a ring whose hole is open.

    .. math:: J = \frac{\pi}{2}\left[R_2^4 - R_1^4 - \frac{(R_2^2 - R_1^2)^2}{\ln(R_2/R_1)}\right]

    Parameters
    ----------
    outer_radius_m : float
        Outer radius, :math:`R_2` [m].
    inner_radius_m : float
        Radius of the open hole, :math:`R_1` [m], below the outer one.

    Returns
    -------
    float
        Squeeze constant to use in the place of a torsion constant [m^4].

    Raises
    ------
    DomainError
        When the radii are not positive or the hole is not inside the ring.

    Notes
    -----
    Exact, for a hole open to air or to wide resin.

    Written with q = ln(R2/R1) as ``2 pi (R1 R2)^2 sinh(q) (cosh(q) - sinh(q)/q)`` so that thin rings do not lose
    digits.

    Examples
    --------
    >>> round(vented_annulus_torsion(outer_radius_m=1.0, inner_radius_m=0.8), 7)
    0.0150921

    References
    ----------
    Reynolds' equation between two open circles [reynolds:1886], integrated here [derived:vatwright].
    """
    _require_ring(outer_radius_m, inner_radius_m)
    q = math.log1p((outer_radius_m - inner_radius_m) / inner_radius_m)
    if q < 1.0:  # cosh q - sinh(q)/q as its series, which has no cancellation
        bracket = sum(2 * k * q ** (2 * k) / math.factorial(2 * k + 1) for k in range(1, 11))
    else:
        bracket = math.cosh(q) - math.sinh(q) / q
    return 2.0 * math.pi * (outer_radius_m * inner_radius_m) ** 2 * math.sinh(q) * bracket


def _require_ring(outer_radius_m: float, inner_radius_m: float) -> None:
    """Refuse radii that make no ring."""
    require_positive(outer_radius_m=outer_radius_m, inner_radius_m=inner_radius_m)
    if inner_radius_m >= outer_radius_m:
        raise DomainError.one(
            "inner_radius_m",
            to_say(
                "must be below the outer radius {outer_radius_m:g}, got {inner_radius_m:g}",
                outer_radius_m=outer_radius_m,
                inner_radius_m=inner_radius_m,
            ),
            to_say("Give the hole's radius, not its diameter"),
        )


def torsion_bound(area_m2: float) -> float:
    r"""Return the largest torsion constant any face of an area can have.

    .. math:: J \le A^2 / (2\pi)

    Parameters
    ----------
    area_m2 : float
        Area enclosed by the outline, :math:`A` [m^2], sealed pools counted in.

    Returns
    -------
    float
        Upper bound of the torsion constant [m^4].

    Raises
    ------
    DomainError
        When the area is not a finite number above zero.

    Notes
    -----
    Holds for every outline; equality only for the disc.

    Examples
    --------
    >>> round(torsion_bound(1.0), 6)
    0.159155

    References
    ----------
    Polya [polya:1948].
    """
    require_positive(area_m2=area_m2)
    return area_m2**2 / (2.0 * math.pi)


def torsion_estimate(*, area_m2: float, polar_m4: float) -> float:
    r"""Return the torsion constant of a compact outline, estimated.

    .. math:: J \approx A^4 / (40 I_p)

    Parameters
    ----------
    area_m2 : float
        Area, :math:`A` [m^2].
    polar_m4 : float
        Polar second moment of area about the centroid, :math:`I_p` [m^4].

    Returns
    -------
    float
        Estimated torsion constant [m^4].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Within 13 % for compact convex outlines. Up to 30 % and more too high for L, T and plus shapes: solve those.

    Examples
    --------
    >>> round(torsion_estimate(area_m2=1.0, polar_m4=1.0 / 6.0), 6)
    0.15

    References
    ----------
    Saint-Venant's approximation, quoted in Timoshenko and Goodier [timoshenko:1951].
    """
    require_positive(area_m2=area_m2, polar_m4=polar_m4)
    return area_m2**4 / (40.0 * polar_m4)


def squeeze_resistance(*, viscosity_pa_s: float, torsion_m4: float, gap_m: float) -> float:
    r"""Return the force per unit speed with which the film under a face resists closing or opening.

    .. math:: c = 3 \mu J / h^3

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity of the resin [Pa s].
    torsion_m4 : float
        Torsion constant of the face [m^4]; faces that move together add.
    gap_m : float
        Gap between the face and the film [m].

    Returns
    -------
    float
        Squeeze resistance [N s/m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Parallel rigid faces, Newtonian resin, a gap well below the face's width, free resin at the edge. A tilt of height d
    across the face changes it at order (d/h)^2.

    Examples
    --------
    >>> round(squeeze_resistance(viscosity_pa_s=0.2, torsion_m4=1e-8, gap_m=5e-5))
    48000

    References
    ----------
    Reynolds [reynolds:1886]; identity with torsion [derived:vatwright].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, torsion_m4=torsion_m4, gap_m=gap_m)
    return 3.0 * viscosity_pa_s * torsion_m4 / gap_m**3


def squeeze_force(*, viscosity_pa_s: float, torsion_m4: float, gap_m: float, speed_m_s: float) -> float:
    r"""Return the force that closes or opens a gap at a speed.

    .. math:: F = 3 \mu J V / h^3

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity of the resin, :math:`\mu` [Pa s].
    torsion_m4 : float
        Torsion constant of the face, :math:`J` [m^4].
    gap_m : float
        Gap between the face and the film, :math:`h` [m].
    speed_m_s : float
        Speed at which the gap closes, :math:`V` [m/s]; negative when it opens.

    Returns
    -------
    float
        Force against the motion [N], with the sign of the speed.

    Raises
    ------
    DomainError
        When viscosity, torsion constant or gap is not above zero, or the speed is not finite.

    Notes
    -----
    Parallel rigid faces, Newtonian resin, a gap well below the face's width, free resin at the edge. On opening, no
    more than one atmosphere times the area can be reached (viscous_pull).

    Examples
    --------
    A disc of 10 mm radius, 0.2 Pa s, 50 um, 1 mm/s:

    >>> round(squeeze_force(viscosity_pa_s=0.2, torsion_m4=disc_torsion(0.01), gap_m=5e-5, speed_m_s=1e-3), 3)
    75.398

    References
    ----------
    Stefan for discs [stefan:1874], Reynolds [reynolds:1886]; any outline [derived:vatwright].
    """
    require_finite(speed_m_s=speed_m_s)
    return squeeze_resistance(viscosity_pa_s=viscosity_pa_s, torsion_m4=torsion_m4, gap_m=gap_m) * speed_m_s


def disc_peak_pressure(*, viscosity_pa_s: float, radius_m: float, gap_m: float, speed_m_s: float) -> float:
    r"""Return the pressure under the middle of a disc that closes a gap.

    .. math:: p = 3 \mu V R^2 / h^3

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    radius_m : float
        Radius of the disc, :math:`R` [m].
    gap_m : float
        Gap, :math:`h` [m].
    speed_m_s : float
        Closing speed, :math:`V` [m/s].

    Returns
    -------
    float
        Gauge pressure at the centre [Pa].

    Raises
    ------
    DomainError
        When viscosity, radius or gap is not above zero, or the speed is not finite.

    Notes
    -----
    Parallel rigid faces, Newtonian resin, a gap well below the face's width, free resin at the edge. Twice the mean
    pressure.

    Examples
    --------
    >>> round(disc_peak_pressure(viscosity_pa_s=0.2, radius_m=0.01, gap_m=5e-5, speed_m_s=1e-3))
    480000

    References
    ----------
    Stefan [stefan:1874].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, radius_m=radius_m, gap_m=gap_m)
    require_finite(speed_m_s=speed_m_s)
    return 3.0 * viscosity_pa_s * speed_m_s * radius_m**2 / gap_m**3


def edge_shear_rate(*, viscosity_pa_s: float, force_n: float, radius_m: float, gap_m: float) -> float:
    r"""Return the greatest shear rate under a disc that a force presses through resin: at its edge, on its face.

    .. math:: \dot\gamma = \frac{3 V R}{h^2} = \frac{2 F h}{\pi \mu R^3}

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    force_n : float
        Force, :math:`F` [N].
    radius_m : float
        Radius of the disc, :math:`R` [m].
    gap_m : float
        Gap, :math:`h` [m].

    Returns
    -------
    float
        Shear rate [1/s].

    Raises
    ------
    DomainError
        When an argument is not above zero.

    Notes
    -----
    Parallel rigid faces, Newtonian resin: a parabola across the gap, 6 u / h at its walls with the mean speed
    u = V R / (2 h) that the closing speed V drives out at the edge; V by Stefan's law.

    Examples
    --------
    >>> round(edge_shear_rate(viscosity_pa_s=0.25, force_n=2.0, radius_m=0.01, gap_m=6e-5))
    306

    References
    ----------
    Stefan [stefan:1874].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, force_n=force_n, radius_m=radius_m, gap_m=gap_m)
    return 2.0 * force_n * gap_m / (math.pi * viscosity_pa_s * radius_m**3)


def suction_limit(area_m2: float) -> float:
    r"""Return the most that resin or a sealed pocket can pull: one atmosphere.

    .. math:: F = p_{atm} A,\quad p_{atm} = 101.325\;\text{kPa}

    Parameters
    ----------
    area_m2 : float
        Plan area under suction, :math:`A` [m^2].

    Returns
    -------
    float
        Largest pull [N].

    Raises
    ------
    DomainError
        When the area is not a finite number above zero.

    Notes
    -----
    At sea level; at 2000 m height about a fifth less. Pressure cannot fall much below zero absolute: the liquid
    cavitates or air enters. The head of resin in the vat (0.3 kPa) is left out.

    Examples
    --------
    >>> import math
    >>> round(suction_limit(math.pi * 0.01**2), 3)
    31.832

    References
    ----------
    Standard atmosphere [bipm:2019].
    """
    require_positive(area_m2=area_m2)
    return STANDARD_ATMOSPHERE_PA * area_m2


def viscous_pull(*, viscosity_pa_s: float, torsion_m4: float, gap_m: float, speed_m_s: float, area_m2: float) -> float:
    r"""Return the pull of the resin on a face that starts to rise.

    .. math:: F = \min(3 \mu J V / h^3,\; p_{atm} A),\quad p_{atm} = 101.325\;\text{kPa}

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    torsion_m4 : float
        Torsion constant of the face, :math:`J` [m^4].
    gap_m : float
        Gap at the start, :math:`h` [m].
    speed_m_s : float
        Speed at which the gap opens, :math:`V` [m/s], not negative.
    area_m2 : float
        Plan area of the face, :math:`A` [m^2].

    Returns
    -------
    float
        Pull on the face [N].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    An upper estimate: arm and film stretch first, which lowers the speed in the gap.

    Examples
    --------
    >>> import math
    >>> face = {"torsion_m4": disc_torsion(0.01), "area_m2": math.pi * 0.01**2}
    >>> round(viscous_pull(viscosity_pa_s=0.2, gap_m=5e-5, speed_m_s=1e-3, **face), 3)
    31.832

    References
    ----------
    Stefan [stefan:1874]; ceiling of one atmosphere [derived:vatwright].
    """
    force = squeeze_force(viscosity_pa_s=viscosity_pa_s, torsion_m4=torsion_m4, gap_m=gap_m, speed_m_s=abs(speed_m_s))
    return min(force, suction_limit(area_m2))


def scott_force(
    *, consistency_pa_sn: float, flow_index: float, radius_m: float, gap_m: float, speed_m_s: float
) -> float:
    r"""Return the force on a disc that closes a gap full of power-law resin.

    .. math:: F = \frac{2\pi m}{n+3}\left(\frac{2n+1}{n}\right)^n \frac{R^{n+3} V^n}{h^{2n+1}}

    Parameters
    ----------
    consistency_pa_sn : float
        Consistency, shear stress at a shear rate of 1/s, :math:`m` [Pa s^n].
    flow_index : float
        Flow index, :math:`n` [1]; 1 is Newtonian, below 1 thins under shear.
    radius_m : float
        Radius of the disc, :math:`R` [m].
    gap_m : float
        Gap, :math:`h` [m].
    speed_m_s : float
        Closing speed, :math:`V` [m/s].

    Returns
    -------
    float
        Force [N].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    For filled or pigmented resins whose flow curve was measured over the shear rates at hand, of order V R / h^2. No
    yield stress.

    Examples
    --------
    >>> arguments = {"radius_m": 0.01, "gap_m": 5e-5, "speed_m_s": 1e-3}
    >>> round(scott_force(consistency_pa_sn=0.2, flow_index=0.8, **arguments), 4)
    12.9304

    References
    ----------
    Scott [scott:1931]; coefficient reproduced by quadrature in the tests [derived:vatwright].
    """
    require_positive(
        consistency_pa_sn=consistency_pa_sn,
        flow_index=flow_index,
        radius_m=radius_m,
        gap_m=gap_m,
        speed_m_s=speed_m_s,
    )
    n = flow_index
    shape = 2.0 * math.pi / (n + 3.0) * math.pow((2.0 * n + 1.0) / n, n)
    radial = math.pow(radius_m, n + 3.0)
    return shape * consistency_pa_sn * radial * math.pow(speed_m_s, n) / math.pow(gap_m, 2.0 * n + 1.0)


def squeeze_time(
    *, viscosity_pa_s: float, torsion_m4: float, start_gap_m: float, end_gap_m: float, force_n: float
) -> float:
    r"""Return the time a constant force takes to close a gap.

    .. math:: t = \frac{3 \mu J}{2 F}\left(\frac{1}{h_2^2} - \frac{1}{h_1^2}\right)

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    torsion_m4 : float
        Torsion constant of the face, :math:`J` [m^4].
    start_gap_m : float
        Gap at the start, :math:`h_1` [m]; infinity is allowed.
    end_gap_m : float
        Gap at the end, :math:`h_2` [m], not above the start.
    force_n : float
        Constant force, :math:`F` [N].

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    DomainError
        When an argument is not above zero or the gap would have to open.

    Notes
    -----
    Parallel rigid faces, Newtonian resin, a gap well below the face's width, free resin at the edge. A weight does
    this; a machine pressed to a height is a spring (settle_time).

    Examples
    --------
    >>> gaps = {"start_gap_m": 500e-6, "end_gap_m": 50e-6}
    >>> round(squeeze_time(viscosity_pa_s=0.2, torsion_m4=disc_torsion(0.01), force_n=10.0, **gaps), 6)
    0.186611

    References
    ----------
    Stefan for discs [stefan:1874]; any outline [derived:vatwright].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, torsion_m4=torsion_m4, end_gap_m=end_gap_m, force_n=force_n)
    _require_closing(start_gap_m, end_gap_m)
    ratio = end_gap_m / start_gap_m
    closing = (1.0 - ratio) * (1.0 + ratio) / end_gap_m**2
    return 3.0 * viscosity_pa_s * torsion_m4 / (2.0 * force_n) * closing


def _require_closing(start_gap_m: float, end_gap_m: float) -> None:
    """Refuse a start below the end."""
    if not start_gap_m >= end_gap_m:
        raise DomainError.one(
            "start_gap_m",
            to_say(
                "must not be below the end gap {end_gap_m:g}, got {start_gap_m:g}",
                end_gap_m=end_gap_m,
                start_gap_m=start_gap_m,
            ),
            to_say("Under pressure a gap only closes; exchange the two"),
        )


def settle_time_constant(
    *, viscosity_pa_s: float, torsion_m4: float, stiffness_n_m: float, target_gap_m: float
) -> float:
    r"""Return the time in which the last of the deflection falls to 1/e.

    .. math:: \tau = 3 \mu J / (k h_t^3)

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    torsion_m4 : float
        Torsion constant of the face, :math:`J` [m^4].
    stiffness_n_m : float
        Stiffness of arm, platform and screen in series, :math:`k` [N/m].
    target_gap_m : float
        Gap at rest, :math:`h_t` [m], above zero.

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
    The tail of settle_time, once the deflection is small against the gap: half the layer takes eight times as long.

    Examples
    --------
    >>> disc = disc_torsion(0.01)
    >>> round(settle_time_constant(viscosity_pa_s=0.2, torsion_m4=disc, stiffness_n_m=1e5, target_gap_m=5e-5), 6)
    0.753982

    References
    ----------
    Linear tail of the spring-loaded squeeze film [derived:vatwright].
    """
    require_positive(
        viscosity_pa_s=viscosity_pa_s,
        torsion_m4=torsion_m4,
        stiffness_n_m=stiffness_n_m,
        target_gap_m=target_gap_m,
    )
    return 3.0 * viscosity_pa_s * torsion_m4 / (stiffness_n_m * target_gap_m**3)


def settle_time(
    *,
    viscosity_pa_s: float,
    torsion_m4: float,
    stiffness_n_m: float,
    start_gap_m: float,
    end_gap_m: float,
    target_gap_m: float,
) -> float:
    r"""Return the time a machine that gives like a spring takes to press a gap down.

    .. math:: t = \frac{3\mu J}{k}\,[G(x_0) - G(x)],\quad
       G(x) = \frac{1}{a^3}\left[\ln\frac{x-a}{x} + \frac{a}{x} + \frac{a^2}{2x^2}\right]

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    torsion_m4 : float
        Torsion constant of the face, :math:`J` [m^4].
    stiffness_n_m : float
        Stiffness of arm, platform and screen in series, :math:`k` [N/m].
    start_gap_m : float
        Gap at the start, :math:`x_0` [m]; infinity is allowed (taken wide).
    end_gap_m : float
        Gap at the end, :math:`x` [m], above the target.
    target_gap_m : float
        Gap at which the spring is at rest, :math:`a` [m]; may be negative: the platform is pressed past the film.

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    DomainError
        When an argument is out of range, or the end is not above the target: that takes for ever.

    Notes
    -----
    Parallel rigid faces, Newtonian resin, a gap well below the face's width, free resin at the edge. A film pressed on
    glass; a free film bows and settles in less.

    Solution of dx/dt = -k (x - a) x^3 / (3 mu J). Evaluated as ``G = -S(a/x)/x^3`` with S(u) = sum of u^n/(n+3), which
    keeps its digits through a = 0, where G = -1/(3 x^3). A rigid film (pressed on glass); a free film bows and settles
    in less.

    Examples
    --------
    >>> disc = {"viscosity_pa_s": 0.2, "torsion_m4": disc_torsion(0.01), "stiffness_n_m": 1e5}
    >>> round(settle_time(start_gap_m=550e-6, end_gap_m=55e-6, target_gap_m=50e-6, **disc), 6)
    0.810766

    References
    ----------
    Reynolds [reynolds:1886]; closed form under a spring [derived:vatwright].
    """
    require_positive(
        viscosity_pa_s=viscosity_pa_s, torsion_m4=torsion_m4, stiffness_n_m=stiffness_n_m, end_gap_m=end_gap_m
    )
    require_finite(target_gap_m=target_gap_m)
    _require_closing(start_gap_m, end_gap_m)
    if end_gap_m <= target_gap_m:
        raise DomainError.one(
            "end_gap_m",
            to_say(
                "must be above the target gap {target_gap_m:g}, got {end_gap_m:g}",
                target_gap_m=target_gap_m,
                end_gap_m=end_gap_m,
            ),
            to_say("The target itself is never quite reached; ask for a gap above it, for example by 10 %"),
        )
    scale = 3.0 * viscosity_pa_s * torsion_m4 / stiffness_n_m
    at_start = _settle_integral(start_gap_m, start_gap_m - target_gap_m)
    return scale * (at_start - _settle_integral(end_gap_m, end_gap_m - target_gap_m))


def settled_gap(
    *,
    viscosity_pa_s: float,
    torsion_m4: float,
    stiffness_n_m: float,
    start_gap_m: float,
    target_gap_m: float,
    time_s: float,
) -> float:
    r"""Return the gap left after a settle.

    .. math:: G(x) = G(x_0) - \frac{k t}{3 \mu J},\quad
        G(x) = \frac{1}{a^3}\left[\ln\frac{x-a}{x} + \frac{a}{x} + \frac{a^2}{2x^2}\right]

    Parameters
    ----------
    viscosity_pa_s : float
        Dynamic viscosity, :math:`\mu` [Pa s].
    torsion_m4 : float
        Torsion constant of the face, :math:`J` [m^4].
    stiffness_n_m : float
        Stiffness of arm, platform and screen in series, :math:`k` [N/m].
    start_gap_m : float
        Gap at the start, :math:`x_0` [m], above the target; infinity is allowed (taken wide) when the time is above
        zero.
    target_gap_m : float
        Gap at which the spring is at rest, :math:`a` [m]; may be negative: the platform is pressed past the film.
    time_s : float
        Time allowed, :math:`t` [s].

    Returns
    -------
    float
        Gap after that time, :math:`x` [m].

    Raises
    ------
    DomainError
        When an argument is out of range or the start is not above zero and above the target.

    Notes
    -----
    Parallel rigid faces, Newtonian resin, a gap well below the face's width, free resin at the edge. A film pressed on
    glass; a free film bows and settles in less.

    Newton's method on the logarithm, inside proven bounds, to 1e-12 relative. Range as :func:`settle_time`.

    Examples
    --------
    >>> face = {"viscosity_pa_s": 0.25, "stiffness_n_m": 2.5e5, "start_gap_m": 1e-3, "time_s": 2.0}
    >>> round(1e6 * settled_gap(torsion_m4=1e-7, target_gap_m=50e-6, **face), 2)
    57.02
    >>> round(1e6 * settled_gap(torsion_m4=1e-6, target_gap_m=-30e-6, **face), 2)
    72.63

    References
    ----------
    Reynolds [reynolds:1886]; closed form under a spring [derived:vatwright].
    """
    require_positive(viscosity_pa_s=viscosity_pa_s, torsion_m4=torsion_m4, stiffness_n_m=stiffness_n_m)
    require_finite(target_gap_m=target_gap_m, time_s=time_s)
    floor_m = max(target_gap_m, 0.0)
    if not start_gap_m > floor_m or time_s < 0.0 or (time_s == 0.0 and math.isinf(start_gap_m)):
        raise DomainError.one(
            "start_gap_m",
            to_say(
                "must be above the target and above 0, and the time not negative; got {start_gap_m:g} and {time_s:g}",
                start_gap_m=start_gap_m,
                time_s=time_s,
            ),
            to_say("Give the gap before settling, which is wider than the one it settles to"),
        )
    if time_s == 0.0:
        return start_gap_m
    at_start = _settle_integral(start_gap_m, start_gap_m - target_gap_m)
    level = at_start - stiffness_n_m * time_s / (3.0 * viscosity_pa_s * torsion_m4)
    low, high = _gap_bounds(level, start_gap_m, target_gap_m)
    if low <= floor_m * 1e-17:  # nearer to the target than a float can tell
        return floor_m
    return min(_solve_gap(level, target_gap_m, low, high), start_gap_m)


def _settle_integral(gap_m: float, above_m: float) -> float:
    """Return G(x) = -S(a/x)/x^3 from x and x - a, an antiderivative of 1/(x^3 (x - a)) that vanishes far away."""
    if math.isinf(gap_m):
        return 0.0
    u = (gap_m - above_m) / gap_m
    if abs(u) < 0.25:
        total, power = 0.0, 1.0
        for n in range(3, 32):  # 0.25^29 < 1e-17
            total += power / n
            power *= u
    else:
        total = -(math.log(above_m / gap_m) + u + 0.5 * u * u) / u**3
    return -total / gap_m**3


def _gap_bounds(level: float, start_gap_m: float, target_gap_m: float) -> tuple[float, float]:
    """Return bounds of w = x - max(a, 0) for G(x) = level, from 1/(3 (1 + |u|)) <= S <= 1/(3 (1 - u))."""
    wide = (1.0 / (-3.0 * level)) ** (1.0 / 3.0)
    if target_gap_m > 0.0:
        # a/x + a^2/(2 x^2) lies between 0 and 3/2, so ln((x - a)/x) lies 3/2 or less below a^3 G.
        exponent = level * target_gap_m**3
        low = target_gap_m * math.exp(max(exponent - 1.5, -745.0)) if exponent > -40.0 else 0.0
        return low, min(start_gap_m - target_gap_m, wide)
    high = min(start_gap_m, wide)
    return math.sqrt(1.0 / (-3.0 * level * (high - target_gap_m))), high


def _solve_gap(level: float, target_gap_m: float, low: float, high: float) -> float:
    """Return x with G(x) = level by Newton on ln(-G) over ln(w), w = x - max(a, 0), falling back on bisection."""
    floor_m = max(target_gap_m, 0.0)
    low_v, high_v = math.log(low), math.log(high)
    wanted = math.log(-level)
    v = high_v
    for _ in range(100):
        w = math.exp(v)
        x = floor_m + w
        above_m = w if target_gap_m > 0.0 else w - target_gap_m
        value = _settle_integral(x, above_m)
        error = math.log(-value) - wanted  # falls as v rises
        low_v, high_v = (v, high_v) if error > 0.0 else (low_v, v)
        new = v - error * value * x**3 * above_m / w  # dG/dv = w / (x^3 (x - a))
        if not low_v <= new <= high_v:
            new = 0.5 * (low_v + high_v)
        if abs(new - v) * w <= 1e-13 * x:
            return floor_m + math.exp(new)
        v = new
    return floor_m + math.exp(v)
