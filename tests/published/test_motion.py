"""Motion against trapezoids and double-S profiles (Biagiotti and Melchiorri 2008), integrated here from their jerk."""

from __future__ import annotations

import itertools

import pytest

from vatwright.errors import DomainError
from vatwright.physics import motion


@pytest.mark.parametrize(
    ("distance", "speed", "acceleration", "seconds"),
    [(6, 3, 50, 2.06), (8, 4, 20, 2.2), (5, 1, 100, 5.01), (0.05, 3, 50, 0.0632456), (0.5, 5, 20, 0.316228)],
)
def test_trapezoid_and_triangle(distance: float, speed: float, acceleration: float, seconds: float) -> None:
    """In mm and s; the last two never reach their speed."""
    found = motion.move_time(distance_m=distance * 1e-3, speed_m_s=speed * 1e-3, acceleration_m_s2=acceleration * 1e-3)
    assert found == pytest.approx(seconds, rel=1e-6)


@pytest.mark.parametrize(
    ("distance", "speed", "acceleration", "jerk", "seconds"), [(6, 3, 50, 1000, 2.11), (8, 4, 20, 200, 2.30)]
)
def test_s_curve(distance: float, speed: float, acceleration: float, jerk: float, seconds: float) -> None:
    found = motion.s_curve_time(distance_m=distance, speed_m_s=speed, acceleration_m_s2=acceleration, jerk_m_s3=jerk)
    assert found == pytest.approx(seconds, rel=1e-12)


def _travel(seconds: float, speed: float, acceleration: float, jerk: float) -> float:
    """Distance of the fastest symmetric jerk-limited move of a duration, by stepping its ramp finely."""
    steps = 20000
    dt = 0.5 * seconds / steps
    # the ramp ends with acceleration zero at mid-time or at full speed: the acceleration that can still be taken off
    # again
    v = a = x = 0.0
    for i in range(steps):
        left = 0.5 * seconds - (i + 1) * dt
        wanted = min(a + jerk * dt, acceleration, jerk * left, (2.0 * jerk * max(speed - v, 0.0)) ** 0.5)
        a = max(wanted, 0.0)
        x += v * dt + 0.5 * a * dt * dt
        v += a * dt
    return 2.0 * x


@pytest.mark.parametrize(
    ("distance", "speed", "acceleration", "jerk"),
    [(6, 3, 50, 1000), (0.2, 3, 50, 1000), (0.02, 3, 50, 1000), (8, 1, 50, 100), (0.05, 1, 50, 100), (1.0, 5, 5, 1000)],
)
def test_s_curve_by_integration(distance: float, speed: float, acceleration: float, jerk: float) -> None:
    """Each branch: all limits reached, speed not, acceleration not, slow start; to the step of the integration."""
    seconds = motion.s_curve_time(distance_m=distance, speed_m_s=speed, acceleration_m_s2=acceleration, jerk_m_s3=jerk)
    assert _travel(seconds, speed, acceleration, jerk) == pytest.approx(distance, rel=1e-3)


def test_branches_meet() -> None:
    """At D = v^2/a both forms give 2 v/a; without limits D/v is left."""
    seconds = motion.move_time(distance_m=4.0, speed_m_s=2.0, acceleration_m_s2=1.0)
    assert seconds == pytest.approx(4.0, rel=1e-15)
    below = motion.move_time(distance_m=4.0 * (1 - 1e-12), speed_m_s=2.0, acceleration_m_s2=1.0)
    assert below == pytest.approx(seconds, rel=1e-11)
    assert motion.move_time(distance_m=6.0, speed_m_s=3.0, acceleration_m_s2=1e12) == pytest.approx(2.0, rel=1e-11)
    hard = motion.s_curve_time(distance_m=6.0, speed_m_s=3.0, acceleration_m_s2=50.0, jerk_m_s3=1e12)
    assert hard == pytest.approx(2.06, rel=1e-9)
    assert motion.move_time(distance_m=0.0, speed_m_s=3.0, acceleration_m_s2=1.0) == 0.0


def test_s_curve_time_grows_without_a_jump() -> None:
    """A property, not a published number: continuous in the distance across every change of branch."""
    for speed, acceleration, jerk in itertools.product((1.0, 3.0), (5.0, 50.0), (100.0, 1000.0)):
        limits = {"speed_m_s": speed, "acceleration_m_s2": acceleration, "jerk_m_s3": jerk}
        last = 0.0
        for i in range(1, 2000):
            seconds = motion.s_curve_time(distance_m=2.0 * (i / 2000) ** 3, **limits)
            assert last < seconds < last + 0.02
            last = seconds


@pytest.mark.parametrize("acceleration", [0.5, 3.0, 50.0])
@pytest.mark.parametrize("distance", [0.01, 0.3, 6.0])
def test_one_stroke_gives_the_acceleration_back(distance: float, acceleration: float) -> None:
    seconds = motion.move_time(distance_m=distance, speed_m_s=3.0, acceleration_m_s2=acceleration)
    found = motion.stroke_acceleration(distance_m=distance, speed_m_s=3.0, time_s=seconds)
    assert found == pytest.approx(acceleration, rel=1e-12)


def test_a_stroke_cannot_beat_its_speed() -> None:
    with pytest.raises(DomainError, match="2 s is not longer than the 2 s the stroke takes at full speed"):
        motion.stroke_acceleration(distance_m=6.0, speed_m_s=3.0, time_s=2.0)


def test_two_stages_are_two_moves() -> None:
    """2 mm at 1 mm/s and 3 mm at 3 mm/s, 50 mm/s2: 2.02 + 1.06 s."""
    found = motion.two_stage_time(
        first_distance_m=2e-3,
        first_speed_m_s=1e-3,
        second_distance_m=3e-3,
        second_speed_m_s=3e-3,
        acceleration_m_s2=50e-3,
    )
    assert found == pytest.approx(3.08, rel=1e-12)
