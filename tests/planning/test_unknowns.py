"""Worlds: drawn alike each time, kept in proportion, level readings turned into a corner's gap."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import exact, job, machine, resin

from vatwright.planning.unknowns import TILT, corner_excess_m, draw, resample
from vatwright.records.machine import LevelReading, Platform
from vatwright.records.sourced import NORMAL_95

PLATFORM = Platform(width_m=0.1, depth_m=0.06)


def level(*readings_mm):
    return tuple(LevelReading(x_m=x / 1e3, y_m=y / 1e3, gap_m=g / 1e3) for x, y, g in readings_mm)


def test_plane_through_four_corners():
    # least squares by hand: g = 0.145 + 0.0007 x + 0.0005 y, so the far corner stands 0.05 mm above the middle
    read = level((-50, -30, 0.10), (50, -30, 0.16), (50, 30, 0.20), (-50, 30, 0.12))
    excess, sigma = corner_excess_m(PLATFORM, read, 1e-5)
    assert excess == pytest.approx(0.05e-3, rel=1e-9)
    # noise amplification at a corner of four: sqrt(1/4 + 1/4 + 1/4) = 0.8660, x'(X'X)^-1 x
    assert sigma == pytest.approx(0.8660e-5, rel=1e-3)


def test_plane_through_three_points_is_exact():
    # slopes 0.0003 and 0.001: (50, 30) stands 0.045 mm above the middle, half of 0.09 mm from corner to corner
    excess, _ = corner_excess_m(PLATFORM, level((0, 0, 0.10), (100, 0, 0.13), (0, 60, 0.16)), 1e-5)
    assert excess == pytest.approx(0.045e-3, rel=1e-9)


@pytest.mark.parametrize(
    ("points", "factor"),
    [
        ([(x, y) for x in (-50, 0, 50) for y in (-30, 0, 30)], 0.6667),
        ([(-50, -30), (50, -30), (50, 30), (-50, 30)], 0.8660),
        ([(-50, -30), (50, -30), (-50, 30)], 1.7321),  # at the fourth corner
    ],
    ids=["nine", "four", "three"],
)
def test_noise_grows_at_the_corner_as_the_geometry_says(points, factor):
    # x'(X'X)^-1 x of the design, Draper and Smith (1998) eq. 5.2.4; the gap rises towards (50, 30)
    read = level(*((x, y, 0.2 + 0.0005 * x + 0.0005 * y) for x, y in points))
    _, sigma = corner_excess_m(PLATFORM, read, 1.0)
    assert sigma == pytest.approx(factor, rel=1e-4)


def test_too_few_readings_or_three_in_a_line_say_nothing():
    assert corner_excess_m(PLATFORM, level((0, 0, 0.1), (50, 0, 0.1)), 1e-5) is None
    assert corner_excess_m(PLATFORM, level((-50, 0, 0.1), (0, 0, 0.12), (50, 0, 0.1)), 1e-5) is None


def test_unread_level_is_the_usual_tilt_over_half_the_diagonal():
    worlds = draw(job(), count=256)
    half = math.hypot(0.150, 0.092) / 2
    assert np.median(worlds.target.unlevel_m) == pytest.approx(TILT.value * half, rel=0.02)


def test_draw_is_the_same_for_the_same_seed_and_not_for_another():
    one, two, other = draw(job(), count=128), draw(job(), count=128), draw(job(), count=128, seed=2)
    for name, z in one.axes.items():
        assert np.array_equal(z, two.axes[name])
    assert np.array_equal(one.target.angle_rad, two.target.angle_rad)
    assert not np.array_equal(one.target.angle_rad, other.target.angle_rad)


def test_drawn_values_have_the_range_that_was_stated():
    # lognormal: 5 % and 95 % points are the stated limits (any table of the normal distribution)
    worlds = draw(job(target=machine("Wagtail")), count=1024)
    low, high = np.quantile(worlds.target.stiffness_n_m, (0.05, 0.95))
    assert (low, high) == pytest.approx((2.4e5 / 1.1, 2.4e5 * 1.1), rel=0.005)
    spread = np.log(worlds.target.stiffness_n_m).std()
    assert spread == pytest.approx(math.log(1.1) / NORMAL_95, rel=0.02)


def test_one_machine_has_one_truth_and_two_have_two():
    own, twin = draw(job(), count=128), draw(job(target=machine("Wagtail")), count=128)
    for name in ("stiffness_n_m", "irradiance_w_m2", "tension_n_m", "angle_rad", "unlevel_m", "viscosity_pa_s"):
        assert np.array_equal(getattr(own.origin, name), getattr(own.target, name)), name
    assert not np.array_equal(twin.origin.stiffness_n_m, twin.target.stiffness_n_m)
    assert np.array_equal(twin.origin.viscosity_pa_s, twin.target.viscosity_pa_s)


def test_one_meter_cancels_between_two_machines():
    together = draw(job(target=machine("Wagtail")), count=512)
    plain = machine("Wagtail")
    apart = draw(job(target=evolve(plain, light=evolve(plain.light, meter=""))), count=512)
    spreads = [np.log(w.target.irradiance_w_m2 / w.origin.irradiance_w_m2).std() for w in (together, apart)]
    assert spreads[0] < 0.8 * spreads[1]


def test_cold_films_hold_longer():
    cold, same = draw(job(room_k=285.15), count=64), draw(job(), count=64)
    assert (cold.target.angle_rad > cold.origin.angle_rad).all()
    assert np.array_equal(same.target.angle_rad, same.origin.angle_rad)


def test_a_tighter_film_lets_go_at_a_smaller_angle():
    # G = T (1 - cos theta) + stretch at equal G (Rivlin 1944): theta falls as T rises
    tight = machine("Wagtail")
    tight = evolve(tight, film=evolve(tight.film, tension_n_m=exact(1800.0)))
    slack = machine()
    slack = evolve(slack, film=evolve(slack.film, tension_n_m=exact(900.0)))
    worlds = draw(job(origin=slack, target=tight), count=64)
    assert (worlds.target.angle_rad < worlds.origin.angle_rad).all()
    # the stretch term is small at 5 degrees: nearly sqrt(900 / 1800) of the angle, never less
    ratio = np.median(worlds.target.angle_rad / worlds.origin.angle_rad)
    assert math.sqrt(0.5) <= ratio < 0.95


def test_a_new_resin_is_a_new_truth():
    worlds = draw(job(to_resin=resin(name="amber", density_kg_m3=1150.0)), count=64)
    assert not np.array_equal(worlds.origin.viscosity_pa_s, worlds.target.viscosity_pa_s)
    assert not np.array_equal(worlds.origin.curve_depth_m, worlds.target.curve_depth_m)


def test_resampling_keeps_each_world_in_proportion():
    # systematic resampling (Kitagawa 1996): every world comes within one of its expected count
    worlds = draw(job(), count=64)
    log_likelihood = np.log(np.linspace(0.01, 1.0, 64))
    kept = resample(worlds, log_likelihood, count=256)
    weight = np.exp(log_likelihood) / np.exp(log_likelihood).sum()
    for value, share in zip(worlds.target.stiffness_n_m, weight, strict=True):
        assert abs((kept.origin.stiffness_n_m == value).sum() - 256 * share) <= 1.0
    assert kept.count == 256


def test_certain_evidence_keeps_one_world():
    worlds = draw(job(), count=64)
    log_likelihood = np.full(64, -1e6)
    log_likelihood[17] = 0.0
    kept = resample(worlds, log_likelihood, count=16)
    assert (kept.axes["viscosity"] == worlds.axes["viscosity"][17]).all()
    assert (kept.overcure_m == worlds.overcure_m[17]).all()
