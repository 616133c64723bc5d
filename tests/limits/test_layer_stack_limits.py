"""Limits of the recurrence that have a closed form of their own."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vatwright.physics.layer_stack import run_stack

MU, K, J = 0.25, 2.5e5, 1e-7
PLAIN = {
    "torsion_m4": J,
    "platform_torsion_m4": 0.0,
    "platform_extra_gap_m": 0.0,
    "layer_m": 50e-6,
    "settle_s": 0.0,
    "descent_m_s": 1e-3,
    "viscosity_pa_s": MU,
    "stiffness_n_m": K,
    "force_ceiling_n": math.inf,
}


@pytest.mark.parametrize("speed_m_s", [1e-6, 1e-5])
@pytest.mark.parametrize("platform_m4", [0.0, 1e-6])
def test_slow_descent_lags_by_the_squeeze_force_at_that_speed(speed_m_s, platform_m4):
    # force on arrival = 3 mu V [J / h^3 + P / (h + b)^3] as V -> 0 (Stefan's force with J, [stefan:1874]);
    # the next term is 6 of (lag / gap) relative, hence the tolerance
    extra = 30e-6
    run = run_stack(
        **PLAIN
        | {
            "descent_m_s": speed_m_s,
            "platform_torsion_m4": platform_m4,
            "platform_extra_gap_m": extra,
            "torsion_m4": 1e-9,
        }
    )
    force = 3.0 * MU * speed_m_s * (1e-9 / 50e-6**3 + platform_m4 / (50e-6 + extra) ** 3)
    assert run.peak_force_n[0] == pytest.approx(force, rel=8.0 * force / K / 50e-6)


def test_the_tail_dies_by_e_in_each_relaxation_time():
    # tau = 3 mu J / (k a^3): linearisation of the law at the rest gap
    tau = 3.0 * MU * J / (K * 50e-6**3)
    lags = [run_stack(**PLAIN | {"settle_s": n * tau}).deflection_m[0] for n in (12.0, 13.0)]
    assert lags[0] / lags[1] == pytest.approx(math.e, rel=1e-4)


def test_pressed_below_the_film_the_gap_closes_as_under_a_constant_force():
    # x = sqrt(3 mu J / (2 F t)) with F = k |a| when x << |a|, Stefan's time turned round [stefan:1874]
    settle, carried = 4e4, 550e-6
    run = run_stack(**PLAIN | {"settle_s": settle, "start_deflection_m": carried})
    force = K * (carried - 50e-6)
    assert run.thickness_m[0] == pytest.approx(math.sqrt(1.5 * MU * J / (force * settle)), rel=2e-3)


def test_a_rigid_machine_prints_what_it_is_told():
    run = run_stack(**PLAIN | {"torsion_m4": [1e-6, 1e-9, 1e-6], "stiffness_n_m": 1e13, "settle_s": 1.0})
    np.testing.assert_allclose(run.thickness_m, 50e-6, rtol=1e-6)


def test_a_platform_level_with_the_face_adds_its_torsion_constant():
    # resistances of islands on one plate add (linearity of the Reynolds equation, [reynolds:1886])
    both = run_stack(**PLAIN | {"platform_torsion_m4": 3e-7, "settle_s": 1.0})
    sum_ = run_stack(**PLAIN | {"torsion_m4": J + 3e-7, "settle_s": 1.0})
    nearly = run_stack(
        **PLAIN | {"platform_torsion_m4": 3e-7, "settle_s": 1.0, "platform_extra_gap_m": 1e-15}
    )  # fmt: skip
    assert both.thickness_m[0] == sum_.thickness_m[0]
    # here the tabulated curve and the integrator answer the same question
    assert nearly.thickness_m[0] == pytest.approx(sum_.thickness_m[0], rel=1e-8)
    assert nearly.arrival_gap_m[0] == pytest.approx(sum_.arrival_gap_m[0], rel=1e-7)


def test_a_platform_far_above_the_resin_is_not_felt():
    alone = run_stack(**PLAIN | {"settle_s": 1.0})
    far = run_stack(**PLAIN | {"settle_s": 1.0, "platform_torsion_m4": 1e-4, "platform_extra_gap_m": 100.0})
    assert far.thickness_m[0] == pytest.approx(alone.thickness_m[0], rel=1e-8)
    assert far.arrival_gap_m[0] == pytest.approx(alone.arrival_gap_m[0], rel=1e-7)


@pytest.mark.parametrize("platform_m4", [0.0, 1e-5])
def test_a_ceiling_just_reached_and_just_missed_agree(platform_m4):
    # the law is continuous in the ceiling: both sides of the switch give one answer
    stack = PLAIN | {"platform_torsion_m4": platform_m4, "platform_extra_gap_m": 1e-4, "settle_s": 1.0}
    peak = run_stack(**stack).peak_force_n[0]
    below, above = (run_stack(**stack | {"force_ceiling_n": peak * f}) for f in (1.0 - 1e-7, 1.0 + 1e-7))
    assert below.arrival_gap_m[0] == pytest.approx(above.arrival_gap_m[0], rel=1e-7)
    assert below.thickness_m[0] == pytest.approx(above.thickness_m[0], rel=1e-7)


@pytest.mark.parametrize("reach", [6.9999, 7.0001])
def test_the_descent_curve_joins_its_far_series(reach):
    # either side of the join, against three terms of the lag worked out by hand: Z^-3 (1 - 6 q + 75 q^2), q = Z^-4
    length = (3.0 * MU * J * 1e-3 / K) ** 0.25
    run = run_stack(**PLAIN | {"layer_m": reach * length})
    q = reach**-4
    lag = reach**-3 * (1.0 - 6.0 * q + 75.0 * q * q)
    assert run.deflection_m[0] / length == pytest.approx(lag, rel=2.0 * 1330.0 * q**3)


@pytest.mark.parametrize("depth", [999.0, 1001.0])
def test_the_descent_curve_joins_its_deep_asymptote(depth):
    # 1 / X^2 = s^2 + 2 ln s + ... at Z = -s, so X = (1 / s)(1 - ln s / s^2) to 1e-5 of itself
    length = (3.0 * MU * J * 1e-3 / K) ** 0.25
    run = run_stack(**PLAIN | {"start_deflection_m": 50e-6 + depth * length})
    assert run.thickness_m[0] / length == pytest.approx((1.0 - math.log(depth) / depth**2) / depth, rel=1e-5)


@pytest.mark.parametrize("ceiling_n", [245.0, math.inf])
def test_a_layer_without_torsion_is_pushed_onto_the_film(ceiling_n):
    # With hardly any resin under the face the gap closes before the rest gap is reached; from there the lag is the
    # distance commanded below the film, s, and the law integrates to J / (2 x^2) = s^2 / (2 drive) while the spring
    # pushes, and on by the ceiling's constant force (Stefan, [stefan:1874]); drive = 3 mu V / k
    rest, drive, torsion = -950e-6, 3.0 * MU * 1e-3 / K, 1e-16
    stack = PLAIN | {"platform_torsion_m4": 1e-12, "platform_extra_gap_m": 10e-3, "force_ceiling_n": ceiling_n}
    run = run_stack(**stack | {"torsion_m4": torsion, "start_deflection_m": 50e-6 - rest})
    cap = min(ceiling_n / K, -rest)
    pushed = (cap**2 / 2.0 + (-rest - cap) * cap) / drive
    assert run.arrival_gap_m[0] == pytest.approx(math.sqrt(torsion / (2.0 * pushed)), rel=1e-4)
    none = run_stack(**stack | {"torsion_m4": 0.0, "start_deflection_m": 50e-6 - rest})
    assert 0.0 < none.arrival_gap_m[0] < 1e-9
    assert none.peak_force_n[0] == pytest.approx(min(K * -rest, ceiling_n), rel=1e-4)


def test_a_torsion_constant_that_vanishes_is_a_limit_like_another():
    # the law is continuous in J: 1e-20 and 0 m4 under a real platform are one answer
    stack = PLAIN | {"platform_torsion_m4": 2e-5, "platform_extra_gap_m": 1e-4, "settle_s": 1.0}
    thin, none = (run_stack(**stack | {"torsion_m4": j}).thickness_m[0] for j in (1e-20, 0.0))
    assert thin == pytest.approx(none, rel=1e-8)
