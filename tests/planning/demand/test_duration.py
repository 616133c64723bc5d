"""Run times against trapezoids worked by hand: T = D/v + v/a (kinematics, any textbook)."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import exact, machine, settings

from vatwright.planning.demand.duration import SHARES, base_share, layer_times, per_layer
from vatwright.records.machine import Controller, Motion


def test_body_layer_by_hand():
    # a = 100 mm/s2: 2 mm at 1: 2.01 s; 3 mm at 3: 1.03 s; 5 mm at 3: 1.69667 s
    parts = layer_times(settings(), machine(), layers=20).parts_s[-1]
    assert dict(zip(SHARES, parts, strict=True)) == pytest.approx({
        "light": 2.6, "settle": 2.0, "peel lift": 2.01, "clear lift": 1.03, "return": 5 / 3 + 0.03, "other waits": 0.0,
        "controller": 0.5,
    })  # fmt: skip


def test_a_whole_run_by_hand():
    times = layer_times(settings(), machine(), layers=20)
    # ramp of 4 between 30 s and 2.6 s: 27.4 x (0.8 + 0.6 + 0.4 + 0.2) above the body
    light = 4 * 30.0 + 16 * 2.6 + 27.4 * 2.0
    base_moves, body_moves = 4.01 + 4 / 3 + 0.03 + 8 / 3 + 0.03, 2.01 + 1.03 + 5 / 3 + 0.03
    total = light + 4 * 30.0 + 16 * 2.0 + 4 * base_moves + 16 * body_moves + 20 * 0.5
    assert times.total_s == pytest.approx(total, rel=1e-12)
    assert times.start_s[0] == 0.0
    assert times.start_s[-1] + times.layer_s[-1] == pytest.approx(total, rel=1e-12)
    assert times.rest_s == pytest.approx(times.layer_s - np.where(np.arange(20) < 4, 30.0, 2.0))


def test_short_fast_moves_are_triangles():
    # peak speed not reached: T = 2 sqrt(D/a) = 2 sqrt(0.5/20) = 0.316228 s (kinematics)
    slow = machine(motion=Motion(acceleration_m_s2=exact(0.02), fastest_m_s=0.01))
    short = settings()
    short = evolve(short, body=evolve(short.body, peel_lift_m=0.0005, peel_speed_m_s=0.005))
    assert layer_times(short, slow, layers=20).parts_s[-1, 2] == pytest.approx(0.316228, rel=1e-5)


def test_no_faster_than_the_machine():
    fast = settings()
    fast = evolve(fast, body=evolve(fast.body, return_speed_m_s=1.0))
    limited = machine(motion=Motion(acceleration_m_s2=exact(0.1), fastest_m_s=0.005))
    assert layer_times(fast, limited, layers=20).parts_s[-1, 4] == pytest.approx(5 / 5 + 0.05)


def test_no_move_takes_no_time():
    single = settings()
    single = evolve(single, body=evolve(single.body, clear_lift_m=0.0))
    assert layer_times(single, machine(), layers=20).parts_s[-1, 3] == 0.0


def test_the_ramp_is_linear_and_covers_what_the_controller_says():
    assert base_share(settings(), 10) == pytest.approx([1, 1, 1, 1, 0.8, 0.6, 0.4, 0.2, 0, 0])
    light_only = Controller(ramp_covers=("exposure_s",))
    settle = per_layer(settings(), "settle_s", "settle_s", layers=10, controller=light_only)
    assert settle.tolist() == [30.0] * 4 + [2.0] * 6
    both = Controller(ramp_covers=("exposure_s", "settle_s"))
    settle = per_layer(settings(), "settle_s", "settle_s", layers=10, controller=both)
    assert settle == pytest.approx([30, 30, 30, 30, 24.4, 18.8, 13.2, 7.6, 2, 2])


def test_a_run_shorter_than_its_base_is_all_base():
    times = layer_times(settings(), machine(), layers=3)
    assert times.parts_s[:, 0].tolist() == [30.0] * 3
