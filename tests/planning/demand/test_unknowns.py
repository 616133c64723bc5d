"""Worlds: drawn alike each time, kept in proportion, level readings turned into a corner's gap."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import exact, job, machine, read, resin

from vatwright.planning.demand.unknowns import TILT, corner_excess_m, draw, resample
from vatwright.records.machine import FADE_TIME_S, LevelReading, Light, LightReading, Platform
from vatwright.records.sourced import NORMAL_95

PLATFORM = Platform(width_m=0.1, depth_m=0.06)


def level(*readings_mm):
    return tuple(LevelReading(x_m=x / 1e3, y_m=y / 1e3, gap_m=g / 1e3) for x, y, g in readings_mm)


def test_plane_through_four_corners():
    # least squares by hand: g = 0.145 + 0.0007 x + 0.0005 y, so the far corner stands 0.05 mm above the middle
    gaps = level((-50, -30, 0.10), (50, -30, 0.16), (50, 30, 0.20), (-50, 30, 0.12))
    excess, sigma = corner_excess_m(PLATFORM, gaps, 1e-5)
    assert excess == pytest.approx(0.05e-3, rel=1e-9)
    # a corner above the middle is slopes alone, and over four corners each carries 1/4: sqrt(1/4 + 1/4) = 0.7071
    assert sigma == pytest.approx(math.sqrt(0.5) * 1e-5, rel=1e-9)


def test_plane_through_three_points_is_exact():
    # slopes 0.0003 and 0.001: (50, 30) stands 0.045 mm above the middle, half of 0.09 mm from corner to corner
    excess, _ = corner_excess_m(PLATFORM, level((0, 0, 0.10), (100, 0, 0.13), (0, 60, 0.16)), 1e-5)
    assert excess == pytest.approx(0.045e-3, rel=1e-9)


@pytest.mark.parametrize(
    ("points", "factor"),
    [
        ([(x, y) for x in (-50, 0, 50) for y in (-30, 0, 30)], math.sqrt(1 / 3)),
        ([(-50, -30), (50, -30), (50, 30), (-50, 30)], math.sqrt(1 / 2)),
        ([(-50, -30), (50, -30), (-50, 30)], math.sqrt(5 / 2 - 1)),  # at the fourth corner
        ([(-50, -30), (50, -30), (-10, 30), (20, 5), (40, 28)], None),
    ],
    ids=["nine", "four", "three", "any"],
)
def test_noise_grows_at_the_corner_as_the_geometry_says(points, factor):
    # variance of b_x x + b_y y, (x, y) S (x, y)' with S the slopes' block of (X'X)^-1: Draper and Smith (1998) chapter 5
    gaps = level(*((x, y, 0.2 + 0.0005 * x + 0.0005 * y) for x, y in points))
    _, sigma = corner_excess_m(PLATFORM, gaps, 1.0)
    design = np.array([(1.0, x / 1e3, y / 1e3) for x, y in points])
    slopes = np.linalg.inv(design.T @ design)[1:, 1:]
    corner = np.array([0.05, 0.03])
    assert sigma == pytest.approx(math.sqrt(corner @ slopes @ corner), rel=1e-9)
    if factor is not None:
        assert sigma == pytest.approx(factor, rel=1e-9)


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


def lit(name, meter="", value=30.0, **changes):
    return machine(name, light=Light(irradiance_w_m2=read(value, factor=1.15), meter=meter, **changes))


def spread_of_ratio(origin, target):
    worlds = draw(job(origin=origin, target=target), count=1024)
    return np.log(worlds.target.irradiance_w_m2 / worlds.origin.irradiance_w_m2).std()


def test_two_meters_share_nothing():
    # independent errors add in quadrature: sqrt 2 of one (GUM, JCGM 100:2008, 5.1.2); one meter leaves its repeatability
    one = math.log(1.15) / NORMAL_95
    assert spread_of_ratio(lit("Wren", "a"), lit("Heron", "b")) == pytest.approx(one * math.sqrt(2), rel=0.05)
    assert spread_of_ratio(lit("Wren", "a"), lit("Heron")) == pytest.approx(one * math.sqrt(2), rel=0.05)
    assert spread_of_ratio(lit("Wren", "a"), lit("Heron", "a")) == pytest.approx(0.02 * math.sqrt(2), rel=0.05)


def test_nine_readings_leave_a_third_of_the_repeatability():
    spots = tuple(LightReading(x_m=x, y_m=y, irradiance_w_m2=30.0) for x in (-0.05, 0, 0.05) for y in (-0.03, 0, 0.03))
    pair = [lit(name, "a", readings=spots, repeat=0.06) for name in ("Wren", "Heron")]
    assert spread_of_ratio(*pair) == pytest.approx(0.06 / 3 * math.sqrt(2), rel=0.05)
    # the dimmest spot rests on one reading, not on nine
    assert np.log(draw(job(target=pair[1]), count=1024).target.spot).std() == pytest.approx(0.06, rel=0.05)


def test_a_light_fades_with_the_hours_it_shone():
    # e^(-0.1 x 2) in the median after 2,000 h at 10 % a 1,000 h; and less is known of it
    fade = read(0.1, factor=1.5)
    old, new = lit("Heron", fade=fade, burned_s=2.0 * FADE_TIME_S), lit("Heron", fade=fade)
    worn, fresh = (np.log(draw(job(target=m), count=1024).target.irradiance_w_m2) for m in (old, new))
    assert np.median(worn) - np.median(fresh) == pytest.approx(-0.2, abs=0.01)
    assert worn.std() > 1.1 * fresh.std()


def test_the_exponent_stays_within_the_rule():
    # alpha = 1 +- 0.2, 90 % (engineering rule after feng:2007 and wydra:2014)
    alpha = draw(job(), count=1024).target.reciprocity
    assert np.quantile(alpha, (0.05, 0.5, 0.95)) == pytest.approx([0.8, 1.0, 1.2], abs=0.01)


def test_cold_films_hold_longer():
    cold, same = draw(job(room_k=285.15), count=64), draw(job(), count=64)
    assert (cold.target.angle_rad > cold.origin.angle_rad).all()
    assert np.array_equal(same.target.angle_rad, same.origin.angle_rad)


def test_a_tighter_film_lets_go_at_a_smaller_angle():
    # G = T (1 - cos theta) + stretch at equal G (Rivlin 1944): theta falls as T rises
    tight = machine("Wagtail")
    tight = evolve(tight, film=evolve(tight.film, tension_n_m=exact(1150.0)))
    slack = machine()
    slack = evolve(slack, film=evolve(slack.film, tension_n_m=exact(300.0)))
    task = job(origin=slack, target=tight, film_layers=9000)  # films as worn as each other
    task = evolve(task, recipe=evolve(task.recipe, proof=evolve(task.recipe.proof, film_layers=9000)))
    worlds = draw(task, count=64)
    assert (worlds.target.angle_rad < worlds.origin.angle_rad).all()
    # without stretch sqrt(300 / 1150) of the angle; stretch, which both share, keeps it from falling so far
    ratio = np.median(worlds.target.angle_rad / worlds.origin.angle_rad)
    assert math.sqrt(300.0 / 1150.0) <= ratio < 0.95


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
