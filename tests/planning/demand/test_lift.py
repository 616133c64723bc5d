"""Release: how far, how hard."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.planning.workshop import plate, side

from vatwright.planning.demand.lift import (
    carried_lift_m,
    carried_peel_lift_m,
    pocket_pull_n,
    pull_curve,
    pull_n,
    release_lift_m,
)
from vatwright.records.study import SealedPocket

FIVE = side(angle_rad=math.radians(5.0))


def test_release_goes_with_the_reach():
    # z = reach tan(theta): 57 mm at 5 degrees is 4.99 mm (trigonometry)
    assert release_lift_m(FIVE.tan_angle, 0.057)[0] == pytest.approx(4.987e-3, rel=1e-3)
    assert release_lift_m(FIVE.tan_angle, 0.114)[0] == 2 * release_lift_m(FIVE.tan_angle, 0.057)[0]


def between(target, reach_to_m):
    return {"origin": FIVE, "target": target, "reach_from_m": 0.05, "reach_to_m": reach_to_m}


def test_room_above_the_release_is_carried_whole():
    # L_B - s_B tan = L_A - s_A tan
    tan = FIVE.tan_angle[0]
    whole = carried_lift_m(proven_lift_m=0.006, **between(FIVE, 0.09))[0]
    assert whole - 0.09 * tan == pytest.approx(0.006 - 0.05 * tan, rel=1e-12)


def test_peel_stage_keeps_its_share_of_the_release():
    target = side(angle_rad=math.radians(7.0))
    peel = carried_peel_lift_m(proven_peel_m=0.002, **between(target, 0.09))[0]
    ratio = release_lift_m(target.tan_angle, 0.09)[0] / release_lift_m(FIVE.tan_angle, 0.05)[0]
    assert peel == pytest.approx(0.002 * ratio, rel=1e-12)


def test_a_rise_that_worked_bounds_the_release():
    # 3 mm did release 50 mm, so the angle is at most atan(3/50): twice the span needs no more than 6 mm
    whole = carried_lift_m(proven_lift_m=0.003, **between(FIVE, 0.10))[0]
    assert whole == pytest.approx(0.006, rel=1e-12)
    assert carried_lift_m(proven_lift_m=0.003, **between(FIVE, 0.05))[0] == 0.003


def test_pull_is_stretched_tension_times_sine_times_front():
    # F = T1 sin(theta) b with T1 = T0 + (E t + T0)(1/cos - 1): 900 N/m, 50 kN/m, 5 degrees, 0.1 m (statics and Hooke's law):
    # T1 = 900 + 50 900 x 0.0038198 = 1094.4 N/m, F = 1094.4 x 0.087156 x 0.1 = 9.539 N
    assert pull_n(FIVE, np.array([0.1]))[0, 0] == pytest.approx(9.539, rel=1e-3)


def test_stretched_tension_is_that_of_the_strip():
    # one formula, two homes: the worlds' arrays against the physics of one strip
    from vatwright.physics.film_peel import released_tension

    expected = released_tension(modulus_pa=5e8, film_m=1e-4, tension_n_m=900.0, angle_rad=math.radians(5.0))
    assert FIVE.released_n_m[0] == pytest.approx(expected, rel=1e-12)


def test_pull_curve_rises_from_nothing_and_ends_where_all_is_let_go():
    reach = plate(np.full(4, 9.0), span_mm=40.0).reach
    lifts = np.array([0.0, 0.006, 0.018, 0.021]) * FIVE.tan_angle[0]
    start, rising, within, after = pull_curve(FIVE, reach, lift_m=lifts)[0]
    assert start == after == 0.0
    assert 0.0 < rising < within
    assert within == pytest.approx(pull_n(FIVE, np.array([reach.front_m.max()]))[0, 0])


def test_a_pocket_pulls_one_atmosphere_at_most():
    # pi (10 mm)^2 x 101 325 Pa (ISO 2533) = 31.832 N
    assert pocket_pull_n(SealedPocket(0, 10, 1e-6, math.pi * 0.01**2)) == pytest.approx(31.832, rel=1e-4)
