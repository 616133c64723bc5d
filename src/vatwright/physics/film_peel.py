"""Film peel: at what angle a stretched film lets go, how far the plate must rise for it, and how hard it pulls.

The film is a membrane clamped around its window.  Bonded it carries the line tension T0; a freed span at angle theta to
the cured face carries T1 > T0.  Its front moves when the energy given back per bonded area reaches what the bond costs.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def rivlin_force(*, energy_j_m2: float, angle_rad: float) -> float:
    r"""Return the force per width that peels a film which does not stretch.

    .. math:: F/b = G / (1 - \cos\theta)

    Parameters
    ----------
    energy_j_m2 : float
        Energy the bond costs per area, :math:`G` [J/m^2].
    angle_rad : float
        Angle between film and face, :math:`\theta` [rad], above 0 and up to pi.

    Returns
    -------
    float
        Force per width along the film [N/m].

    Raises
    ------
    DomainError
        When the energy is not above zero or the angle not in its range.

    Notes
    -----
    Unbounded as the angle goes to zero, where stretch decides (kendall_force).

    Examples
    --------
    >>> import math
    >>> round(rivlin_force(energy_j_m2=5.0, angle_rad=math.radians(30.0)), 4)
    37.3205

    References
    ----------
    Rivlin [rivlin:1944].
    """
    require_positive(energy_j_m2=energy_j_m2, angle_rad=angle_rad)
    _require_angle(angle_rad, math.pi)
    return energy_j_m2 / (2.0 * math.sin(0.5 * angle_rad) ** 2)


def kendall_force(*, energy_j_m2: float, angle_rad: float, modulus_pa: float, film_m: float) -> float:
    r"""Return the force per width that peels an elastic film.

    .. math:: \frac{(F/b)^2}{2 E t} + \frac{F}{b}(1 - \cos\theta) = G

    Parameters
    ----------
    energy_j_m2 : float
        Energy the bond costs per area, :math:`G` [J/m^2].
    angle_rad : float
        Angle between film and face, :math:`\theta` [rad], 0 to pi; may be zero.
    modulus_pa : float
        Young's modulus of the film, :math:`E` [Pa].
    film_m : float
        Film thickness, :math:`t` [m].

    Returns
    -------
    float
        Force per width along the film, :math:`F/b` [N/m].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Film without tension before it peels; never above rivlin_force.

    Written without the difference of two near numbers, so it holds from 0 (sqrt(2 E t G)) to pi.

    Examples
    --------
    >>> import math
    >>> film = {"modulus_pa": 0.5e9, "film_m": 100e-6}
    >>> round(kendall_force(energy_j_m2=5.0, angle_rad=math.radians(30.0), **film), 4)
    37.2171

    References
    ----------
    Kendall [kendall:1975].
    """
    require_positive(energy_j_m2=energy_j_m2, modulus_pa=modulus_pa, film_m=film_m)
    require_not_negative(angle_rad=angle_rad)
    _require_angle(angle_rad, math.pi)
    turn = 2.0 * math.sin(0.5 * angle_rad) ** 2
    return 2.0 * energy_j_m2 / (math.sqrt(turn**2 + 2.0 * energy_j_m2 / (modulus_pa * film_m)) + turn)


def _require_angle(angle_rad: float, limit_rad: float) -> None:
    """Refuse an angle beyond the limit."""
    if angle_rad > limit_rad:
        raise DomainError.one(
            "angle_rad",
            to_say("must not exceed {limit_rad:.6g} rad, got {angle_rad:g}", limit_rad=limit_rad, angle_rad=angle_rad),
            to_say("Check that it is in radians"),
        )


def released_tension(*, modulus_pa: float, film_m: float, tension_n_m: float, angle_rad: float) -> float:
    r"""Return the line tension of a freed span that stands at an angle.

    .. math:: T_1 = T_0 + (E t + T_0)(1/\cos\theta - 1)

    Parameters
    ----------
    modulus_pa : float
        Young's modulus E of the film [Pa].
    film_m : float
        Film thickness t [m].
    tension_n_m : float
        Line tension T0 while flat [N/m].
    angle_rad : float
        Angle of the freed span [rad], below pi/2.

    Returns
    -------
    float
        Line tension T1 [N/m].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    A straight span between clamp and front that stretches with the rise, as ``sqrt(a^2 + z^2)/a``: the span a itself
    drops out. Elastic; a fluoropolymer film yields near 3 % strain.

    Examples
    --------
    >>> import math
    >>> film = {"modulus_pa": 0.5e9, "film_m": 100e-6, "tension_n_m": 500.0}
    >>> round(released_tension(angle_rad=math.atan2(3.1452, 30.0), **film), 1)
    776.8

    References
    ----------
    Hooke's law on a clamped span [derived:vatwright].
    """
    require_positive(modulus_pa=modulus_pa, film_m=film_m)
    require_not_negative(tension_n_m=tension_n_m, angle_rad=angle_rad)
    stretch = 2.0 * math.sin(0.5 * angle_rad) ** 2 / math.cos(angle_rad)
    if angle_rad >= 0.5 * math.pi:
        raise DomainError.one(
            "angle_rad",
            to_say("must be below pi/2, got {angle_rad:g}", angle_rad=angle_rad),
            to_say("Check that it is in radians"),
        )
    return tension_n_m + (modulus_pa * film_m + tension_n_m) * stretch


def peel_energy(*, modulus_pa: float, film_m: float, tension_n_m: float, angle_rad: float) -> float:
    r"""Return the energy per area that a stretched film gives back when its front moves on at an angle.

    .. math:: G = T_1(1 - \cos\theta) + \frac{(T_1 - T_0)^2}{2 E t}

    Parameters
    ----------
    modulus_pa : float
        Young's modulus E of the film [Pa].
    film_m : float
        Film thickness t [m].
    tension_n_m : float
        Line tension T0 while bonded [N/m].
    angle_rad : float
        Angle between the freed span and the face [rad], below pi/2.

    Returns
    -------
    float
        Energy release rate G [J/m^2].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    The lift at which a face was seen to let go gives its bond energy by this. Neglects terms of the order of the strain
    while bonded. At T0 = 0 it is Kendall's equation.

    Examples
    --------
    >>> import math
    >>> film = {"modulus_pa": 0.5e9, "film_m": 100e-6, "tension_n_m": 500.0}
    >>> round(peel_energy(angle_rad=math.radians(5.9850), **film), 3)
    5.0

    References
    ----------
    Energy balance of a strip under tension [derived:vatwright], after Kendall [kendall:1975].
    """
    released = released_tension(modulus_pa=modulus_pa, film_m=film_m, tension_n_m=tension_n_m, angle_rad=angle_rad)
    turn = 2.0 * math.sin(0.5 * angle_rad) ** 2
    return released * turn + (released - tension_n_m) ** 2 / (2.0 * modulus_pa * film_m)


def peel_angle(*, modulus_pa: float, film_m: float, tension_n_m: float, energy_j_m2: float) -> float:
    r"""Return the angle at which a stretched film lets go.

    .. math:: T_1(1 - \cos\theta) + \frac{(T_1 - T_0)^2}{2 E t} = G,\quad T_1 = T_0 + (E t + T_0)(1/\cos\theta - 1)

    Parameters
    ----------
    modulus_pa : float
        Young's modulus of the film, :math:`E` [Pa].
    film_m : float
        Film thickness, :math:`t` [m].
    tension_n_m : float
        Line tension while bonded, :math:`T_0` [N/m]; may be zero.
    energy_j_m2 : float
        Energy the bond costs per area, :math:`G` [J/m^2].

    Returns
    -------
    float
        Critical angle, :math:`\theta` [rad], between 0 and pi/2.

    Raises
    ------
    DomainError
        When modulus, thickness or energy is not above zero or the tension is negative.

    Notes
    -----
    Elastic film, straight free span. The span does not enter: a wider window needs a higher lift at the same angle.

    With e = 1/cos(theta) - 1 the balance is a cubic with one positive root, taken by Newton's method from above, where
    it cannot overshoot.

    Examples
    --------
    >>> import math
    >>> film = {"modulus_pa": 0.5e9, "film_m": 100e-6}
    >>> round(math.degrees(peel_angle(tension_n_m=500.0, energy_j_m2=5.0, **film)), 4)
    5.985

    References
    ----------
    Energy balance of a strip under tension [derived:vatwright], after Rivlin [rivlin:1944] and Kendall [kendall:1975].
    """
    require_positive(modulus_pa=modulus_pa, film_m=film_m, energy_j_m2=energy_j_m2)
    require_not_negative(tension_n_m=tension_n_m)
    sheet = modulus_pa * film_m  # Et, N/m; tension and energy below are in units of it
    t0, g = tension_n_m / sheet, energy_j_m2 / sheet
    k = 1.0 + t0
    e = math.sqrt(2.0 * g) / k  # stretch alone pays for the bond: an upper bound
    for _ in range(200):
        value = k * k * e * e * (1.0 + e) + 2.0 * (t0 + k * e) * e - 2.0 * g * (1.0 + e)
        slope = k * k * e * (2.0 + 3.0 * e) + 2.0 * (t0 + 2.0 * k * e) - 2.0 * g
        step = value / slope
        e -= step
        if step <= 1e-15 * e:
            break
    return math.atan(math.sqrt(e * (2.0 + e)))


class StripRelease(NamedTuple):
    """What a long strip of film does when it lets go.

    Parameters
    ----------
    lift_m : float
        Rise of the plate at which the front moves [m].
    angle_rad : float
        Angle of the freed span [rad].
    tension_n_m : float
        Line tension of the freed span [N/m].
    force_n_m : float
        Upward pull for each metre of front [N/m].
    """

    lift_m: float
    angle_rad: float
    tension_n_m: float
    force_n_m: float


def strip_release(
    *, modulus_pa: float, film_m: float, tension_n_m: float, energy_j_m2: float, span_m: float
) -> StripRelease:
    r"""Return lift, angle, tension and pull at which a long strip lets go.

    .. math:: z = a \tan\theta_c,\quad F/b = T_1 \sin\theta_c

    Parameters
    ----------
    modulus_pa : float
        Young's modulus E of the film [Pa].
    film_m : float
        Film thickness t [m].
    tension_n_m : float
        Line tension T0 while bonded [N/m].
    energy_j_m2 : float
        Energy the bond costs per area, G [J/m^2].
    span_m : float
        Free span a between clamp and front [m].

    Returns
    -------
    StripRelease
        Lift [m], angle, tension and pull at release.

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Front long against the span. More tension: earlier release, harder pull.

    Examples
    --------
    >>> film = {"modulus_pa": 0.5e9, "film_m": 100e-6, "tension_n_m": 500.0}
    >>> release = strip_release(energy_j_m2=5.0, span_m=0.03, **film)
    >>> round(1e3 * release.lift_m, 4), round(release.force_n_m, 3)
    (3.1452, 80.992)

    References
    ----------
    Geometry on top of the energy balance [derived:vatwright].
    """
    angle = peel_angle(modulus_pa=modulus_pa, film_m=film_m, tension_n_m=tension_n_m, energy_j_m2=energy_j_m2)
    tension = released_tension(modulus_pa=modulus_pa, film_m=film_m, tension_n_m=tension_n_m, angle_rad=angle)
    lift = lift_demand(span_m=span_m, angle_rad=angle)
    return StripRelease(lift, angle, tension, tension * math.sin(angle))


def lift_demand(*, span_m: float, angle_rad: float) -> float:
    r"""Return the lift a point needs at a known peel angle.

    .. math:: z = s \tan\theta_c

    Parameters
    ----------
    span_m : float
        Distance from the point to the nearest edge of the window, :math:`s` [m].
    angle_rad : float
        Critical angle of the film, :math:`\theta_c` [rad], below pi/2; may be zero.

    Returns
    -------
    float
        Lift demand [m].

    Raises
    ------
    DomainError
        When the span is negative or the angle not between 0 and pi/2.

    Notes
    -----
    Proportional to the span: a layer needs the lift of its point farthest from the frame.

    Examples
    --------
    >>> import math
    >>> round(1e3 * lift_demand(span_m=0.03, angle_rad=math.radians(5.9850)), 3)
    3.145

    References
    ----------
    Geometry of a straight span [derived:vatwright].
    """
    require_not_negative(span_m=span_m, angle_rad=angle_rad)
    if angle_rad >= 0.5 * math.pi:
        raise DomainError.one(
            "angle_rad",
            to_say("must be below pi/2, got {angle_rad:g}", angle_rad=angle_rad),
            to_say("Check that it is in radians"),
        )
    return span_m * math.tan(angle_rad)


def pull(*, tension_n_m: float, angle_rad: float, front_m: float) -> float:
    r"""Return the upward pull of a film on a peel front.

    .. math:: F = T_1 \sin\theta_c\, b

    Parameters
    ----------
    tension_n_m : float
        Line tension of the freed span, :math:`T_1` [N/m]; may be zero.
    angle_rad : float
        Angle of the film at the front, :math:`\theta_c` [rad], 0 to pi; may be zero.
    front_m : float
        Length of the front: the level line of the distance to the window's edge inside the cured mask, :math:`b` [m].

    Returns
    -------
    float
        Pull [N].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    All of the front at the same angle. Layer-to-layer scatter of a factor 2.5 either way is normal.

    Examples
    --------
    >>> import math
    >>> round(pull(tension_n_m=776.77, angle_rad=math.radians(5.9850), front_m=0.1), 3)
    8.099

    References
    ----------
    Geometry of a straight span [derived:vatwright]; the scatter is an engineering estimate [estimate:vatwright].
    """
    require_not_negative(tension_n_m=tension_n_m, angle_rad=angle_rad, front_m=front_m)
    _require_angle(angle_rad, math.pi)
    return tension_n_m * math.sin(angle_rad) * front_m


def membrane_stiffness(*, tension_n_m: float, disc_radius_m: float, window_radius_m: float) -> float:
    r"""Return the stiffness with which a round film holds a disc in its middle.

    .. math:: k = 2 \pi T / \ln(R_w / r)

    Parameters
    ----------
    tension_n_m : float
        Line tension, :math:`T` [N/m].
    disc_radius_m : float
        Radius of the disc, :math:`r` [m].
    window_radius_m : float
        Radius of the clamped edge, :math:`R_w` [m], above the disc's.

    Returns
    -------
    float
        Stiffness [N/m].

    Raises
    ------
    DomainError
        When an argument is not above zero or the disc does not fit the window.

    Notes
    -----
    Small deflection: no stretch beyond T. Pressed with a known weight it gives T.

    Examples
    --------
    >>> round(membrane_stiffness(tension_n_m=20.0, disc_radius_m=2.5e-3, window_radius_m=30e-3), 3)
    50.571

    References
    ----------
    Laplace's equation in a ring [derived:vatwright].
    """
    require_positive(tension_n_m=tension_n_m, disc_radius_m=disc_radius_m, window_radius_m=window_radius_m)
    if disc_radius_m >= window_radius_m:
        raise DomainError.one(
            "disc_radius_m",
            to_say(
                "must be below the window's {window_radius_m:g}, got {disc_radius_m:g}",
                window_radius_m=window_radius_m,
                disc_radius_m=disc_radius_m,
            ),
            to_say("Check the radii"),
        )
    return 2.0 * math.pi * tension_n_m / math.log(window_radius_m / disc_radius_m)


def bond_energy(
    *, sheet_n_m: Floats, tension_n_m: Floats, angle_rad: Floats, front_speed_ratio: Floats, exponent: Floats
) -> Floats:
    r"""Return what bonds cost at the reference speed of the front, from the angle at which a film lets go at another.

    .. math:: G_r = \left[T_1(1 - \cos\theta) + \frac{(T_1 - T_0)^2}{2 E t}\right] (v/v_r)^{-n}

    Parameters
    ----------
    sheet_n_m : (S,) ndarray
        Young's modulus of the film times its thickness, :math:`E t` [N/m].
    tension_n_m : (S,) ndarray
        Line tension while bonded, :math:`T_0` [N/m].
    angle_rad : (S,) ndarray
        Critical angle, :math:`\theta` [rad].
    front_speed_ratio : (S,) ndarray
        Speed of the front over the reference speed, :math:`v/v_r` [1].
    exponent : (S,) ndarray
        Exponent n [1].

    Returns
    -------
    (S,) ndarray
        Bond energy at the reference speed, :math:`G_r` [J/m^2].

    Notes
    -----
    :func:`peel_energy` for many films at once, and the power law in which the viscous loss of rubber-like bonds exceeds
    what a front at rest would cost; inside the speeds at which n was found.

    Examples
    --------
    >>> film = {"sheet_n_m": np.array([5e4]), "tension_n_m": np.array([500.0]), "exponent": np.array([0.3])}
    >>> energy = bond_energy(angle_rad=np.radians([5.985]), front_speed_ratio=np.array([1.0]), **film)
    >>> round(float(energy[0]), 3)
    5.0

    References
    ----------
    Energy balance of a strip under tension [derived:vatwright], after Kendall [kendall:1975]; Maugis and Barquins for the
    power law [maugis:1978].
    """
    energy, _ = _given_back(sheet_n_m, tension_n_m, np.log(np.tan(angle_rad)))
    return np.asarray(energy * front_speed_ratio**-exponent)


def peel_angle_at_speed(
    *, sheet_n_m: Floats, tension_n_m: Floats, energy_j_m2: Floats, rise_speed_ratio: Floats, exponent: Floats
) -> Floats:
    r"""Return the angle at which a film lets go of a plate that rises at a speed.

    .. math:: T_1(1 - \cos\theta) + \frac{(T_1 - T_0)^2}{2 E t} = G_r \left(\frac{u}{v_r \tan\theta}\right)^n

    Parameters
    ----------
    sheet_n_m : (S,) ndarray
        Young's modulus of the film times its thickness, :math:`E t` [N/m].
    tension_n_m : (S,) ndarray
        Line tension while bonded, :math:`T_0` [N/m].
    energy_j_m2 : (S,) ndarray
        Bond energy at the reference speed of the front, :math:`G_r` [J/m^2].
    rise_speed_ratio : (S,) ndarray
        Speed of the plate over the reference speed, :math:`u/v_r` [1].
    exponent : (S,) ndarray
        Exponent n [1].

    Returns
    -------
    (S,) ndarray
        Critical angle, :math:`\theta` [rad].

    Notes
    -----
    The front of a straight span runs at u / tan(theta): a film that stands steeper lets its front run slower.  Newton's
    method in the logarithms of both sides, which are nearly straight there.  Where tension rules the angle goes with
    u^(n / (2 + n)), where stretch does with u^(n / (4 + n)).

    Examples
    --------
    >>> film = {"sheet_n_m": np.array([5e4]), "tension_n_m": np.array([500.0]), "exponent": np.array([0.3])}
    >>> one = peel_angle_at_speed(energy_j_m2=np.array([2.5]), rise_speed_ratio=np.array([1.0]), **film)
    >>> fast = peel_angle_at_speed(energy_j_m2=np.array([2.5]), rise_speed_ratio=np.array([8.0]), **film)
    >>> [round(math.degrees(float(angle[0])), 2) for angle in (one, fast)]
    [5.95, 7.19]

    References
    ----------
    Energy balance of a strip under tension [derived:vatwright], after Kendall [kendall:1975]; Maugis and Barquins for the
    power law [maugis:1978].
    """
    wanted = np.log(energy_j_m2 * rise_speed_ratio**exponent)
    # A start from tension alone or from stretch alone, whichever lets go sooner.
    by_tension = np.sqrt(2.0 * energy_j_m2 / np.maximum(tension_n_m, 1e-9))
    log_tangent = np.log(np.minimum(by_tension, (8.0 * energy_j_m2 / (3.0 * sheet_n_m)) ** 0.25))
    for _ in range(60):
        energy, growth = _given_back(sheet_n_m, tension_n_m, log_tangent)
        step = (np.log(energy) + exponent * log_tangent - wanted) / (growth / energy + exponent)
        log_tangent = log_tangent - step
        if float(np.abs(step).max(initial=0.0)) < 1e-14:
            break
    return np.asarray(np.arctan(np.exp(log_tangent)))


def _given_back(sheet_n_m: Floats, tension_n_m: Floats, log_tangent: Floats) -> tuple[Floats, Floats]:
    """Energy per area that a film at an angle gives back, and its slope over the log of the angle's tangent [J/m2]."""
    tangent2 = np.exp(2.0 * log_tangent)
    secant = np.sqrt(1.0 + tangent2)
    longer = tangent2 / (secant + 1.0)  # 1/cos - 1, without the difference of two near numbers
    turn, longer_by, turn_by = longer / secant, tangent2 / secant, tangent2 / secant**3
    stretched = (sheet_n_m + tension_n_m) * longer
    stretched_by = (sheet_n_m + tension_n_m) * longer_by
    released = tension_n_m + stretched
    energy = released * turn + stretched**2 / (2.0 * sheet_n_m)
    return energy, stretched_by * turn + released * turn_by + stretched * stretched_by / sheet_n_m
