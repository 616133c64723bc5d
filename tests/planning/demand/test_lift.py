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


def test_release_goes_with_the_span():
    # z = s tan(theta): 57 mm at 5 degrees is 4.99 mm (trigonometry); practice has 5 mm there (common practice, no source)
    assert release_lift_m(FIVE.tan_angle, 0.057)[0] == pytest.approx(4.987e-3, rel=1e-3)
    assert release_lift_m(FIVE.tan_angle, 0.114)[0] == 2 * release_lift_m(FIVE.tan_angle, 0.057)[0]


def between(target, span_to_m):
    return {"origin": FIVE, "target": target, "span_from_m": 0.05, "span_to_m": span_to_m}


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


def test_pull_is_tension_times_sine_times_line():
    # F = T sin(theta) b: 900 N/m, 5 degrees, 0.1 m: 7.844 N (statics)
    assert pull_n(FIVE, np.array([0.1]))[0, 0] == pytest.approx(7.844, rel=1e-3)


def test_pull_curve_is_nothing_before_and_after_the_part():
    reach = plate(np.full(4, 9.0), span_mm=40.0).reach
    lifts = np.array([0.005, 0.03, 0.045]) * FIVE.tan_angle[0]
    before, within, after = pull_curve(FIVE, reach, lift_m=lifts)[0]
    assert before == after == 0.0
    assert within == pytest.approx(pull_n(FIVE, np.array([reach.peak_lines_m.max()]))[0, 0])


def test_a_pocket_pulls_one_atmosphere_at_most():
    # pi (10 mm)^2 x 101 325 Pa (ISO 2533) = 31.832 N
    assert pocket_pull_n(SealedPocket(0, 10, 1e-6, math.pi * 0.01**2)) == pytest.approx(31.832, rel=1e-4)
