"""Motion: how long a move takes, and what one timed stroke says of the acceleration behind it."""

from __future__ import annotations

import math

from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say


def move_time(*, distance_m: float, speed_m_s: float, acceleration_m_s2: float) -> float:
    r"""Return the time of a move from rest to rest.

    .. math:: T = D/v + v/a \;\text{if}\; D \ge v^2/a,\quad\text{else}\quad T = 2\sqrt{D/a}

    Parameters
    ----------
    distance_m : float
        Distance, :math:`D` [m]; may be zero.
    speed_m_s : float
        Speed limit, :math:`v` [m/s].
    acceleration_m_s2 : float
        Acceleration and deceleration, :math:`a` [m/s^2].

    Returns
    -------
    float
        Time [s]; 0 for no distance.

    Raises
    ------
    DomainError
        When the distance is negative or another argument not above zero.

    Notes
    -----
    Exact for a trapezoid or triangle of speed. Controllers that round the corners need longer (s_curve_time).

    Examples
    --------
    >>> round(move_time(distance_m=6e-3, speed_m_s=3e-3, acceleration_m_s2=50e-3), 6)
    2.06

    References
    ----------
    Biagiotti and Melchiorri, chapter 3, trapezoidal trajectories [biagiotti:2008].
    """
    require_not_negative(distance_m=distance_m)
    require_positive(speed_m_s=speed_m_s, acceleration_m_s2=acceleration_m_s2)
    if distance_m * acceleration_m_s2 >= speed_m_s**2:
        return distance_m / speed_m_s + speed_m_s / acceleration_m_s2
    return 2.0 * math.sqrt(distance_m / acceleration_m_s2)


def s_curve_time(*, distance_m: float, speed_m_s: float, acceleration_m_s2: float, jerk_m_s3: float) -> float:
    r"""Return the time of a move with limited jerk.

    .. math:: T = D/v_p + t_r,\quad t_r = v_p/a + a/j \;\text{if}\; v_p \ge a^2/j,\;\text{else}\; 2\sqrt{v_p/j},
        \quad v_p \le v

    Parameters
    ----------
    distance_m : float
        Distance, :math:`D` [m]; may be zero.
    speed_m_s : float
        Speed limit, :math:`v` [m/s].
    acceleration_m_s2 : float
        Acceleration limit, :math:`a` [m/s^2].
    jerk_m_s3 : float
        Jerk limit, :math:`j` [m/s^3].

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    DomainError
        When the distance is negative or another argument not above zero.

    Notes
    -----
    Seven-segment motion; where the distance is too short for full speed or the speed for full acceleration, the shorter
    forms are used.

    Peak speed v_p is the limit where the distance allows it, else what the distance allows. Goes over into
    :func:`move_time` as the jerk grows without bound.

    Examples
    --------
    >>> round(s_curve_time(distance_m=6e-3, speed_m_s=3e-3, acceleration_m_s2=50e-3, jerk_m_s3=1.0), 6)
    2.11

    References
    ----------
    Biagiotti and Melchiorri, chapter 3, double-S trajectories [biagiotti:2008].
    """
    require_not_negative(distance_m=distance_m)
    require_positive(speed_m_s=speed_m_s, acceleration_m_s2=acceleration_m_s2, jerk_m_s3=jerk_m_s3)
    d, a, j = distance_m, acceleration_m_s2, jerk_m_s3
    full = speed_m_s * _ramp_time(speed_m_s, a, j)  # both ramps to the speed limit take this distance
    if d >= full:
        return d / speed_m_s + _ramp_time(speed_m_s, a, j)
    if d <= 2.0 * a**3 / j**2:  # acceleration limit not reached: four equal jerk phases
        return 4.0 * math.cbrt(d / (2.0 * j))
    peak = 0.5 * (math.sqrt((a * a / j) ** 2 + 4.0 * d * a) - a * a / j)
    return d / peak + _ramp_time(peak, a, j)


def _ramp_time(speed_m_s: float, acceleration_m_s2: float, jerk_m_s3: float) -> float:
    """Return the time from rest to a speed."""
    if speed_m_s * jerk_m_s3 >= acceleration_m_s2**2:
        return speed_m_s / acceleration_m_s2 + acceleration_m_s2 / jerk_m_s3
    return 2.0 * math.sqrt(speed_m_s / jerk_m_s3)


def stroke_acceleration(*, distance_m: float, speed_m_s: float, time_s: float) -> float:
    r"""Return the acceleration from one timed stroke.

    .. math:: a = \frac{v}{T - D/v}\;\text{if}\; T \le 2D/v,\quad\text{else}\quad a = 4D/T^2

    Parameters
    ----------
    distance_m : float
        Distance, :math:`D` [m]; may be zero.
    speed_m_s : float
        Speed set, :math:`v` [m/s].
    time_s : float
        Time read, :math:`T` [s].

    Returns
    -------
    float
        Acceleration [m/s^2].

    Raises
    ------
    DomainError
        When the stroke took no longer than distance over speed: it did not keep to that speed, or the clock is wrong.

    Notes
    -----
    From rest to rest; 4 D / T^2 where T is above 2 D/v. What the clock adds by hand (0.1 to 0.2 s) goes straight into
    the result: use a short fast stroke, many times.

    Examples
    --------
    >>> round(stroke_acceleration(distance_m=6e-3, speed_m_s=3e-3, time_s=2.06), 6)
    0.05

    References
    ----------
    Inverse of the trapezoid [derived:vatwright].
    """
    require_positive(distance_m=distance_m, speed_m_s=speed_m_s, time_s=time_s)
    cruise_s = distance_m / speed_m_s
    if time_s <= cruise_s:
        raise DomainError.one(
            "time_s",
            to_say(
                "{time_s:g} s is not longer than the {cruise_s:g} s the stroke takes at full speed",
                time_s=time_s,
                cruise_s=cruise_s,
            ),
            to_say("Time it again, or check the speed and the distance"),
        )
    if time_s <= 2.0 * cruise_s:
        return speed_m_s / (time_s - cruise_s)
    return 4.0 * distance_m / time_s**2


def two_stage_time(
    *,
    first_distance_m: float,
    first_speed_m_s: float,
    second_distance_m: float,
    second_speed_m_s: float,
    acceleration_m_s2: float,
) -> float:
    r"""Return the time of a lift in two stages.

    .. math:: T = T(D_1, v_1) + T(D_2, v_2),\quad T(D, v) = D/v + v/a \;\text{or}\; 2\sqrt{D/a}

    Parameters
    ----------
    first_distance_m : float
        Distance of the peel lift, :math:`D_1` [m]; may be zero.
    first_speed_m_s : float
        Speed of the peel lift, :math:`v_1` [m/s].
    second_distance_m : float
        Distance of the clear lift, :math:`D_2` [m]; may be zero.
    second_speed_m_s : float
        Speed of the clear lift, :math:`v_2` [m/s].
    acceleration_m_s2 : float
        Acceleration of both, :math:`a` [m/s^2].

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    DomainError
        When a distance is negative or another argument not above zero.

    Notes
    -----
    A controller that runs one stage into the other saves less than the smaller of the two ramps, v/a.

    Examples
    --------
    >>> slow = {"first_distance_m": 2e-3, "first_speed_m_s": 1e-3}
    >>> fast = {"second_distance_m": 3e-3, "second_speed_m_s": 3e-3}
    >>> round(two_stage_time(acceleration_m_s2=50e-3, **slow, **fast), 6)
    3.08

    References
    ----------
    Two trapezoids [biagiotti:2008].
    """
    first = move_time(distance_m=first_distance_m, speed_m_s=first_speed_m_s, acceleration_m_s2=acceleration_m_s2)
    return first + move_time(
        distance_m=second_distance_m, speed_m_s=second_speed_m_s, acceleration_m_s2=acceleration_m_s2
    )
