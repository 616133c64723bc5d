"""Places of a base: level, flatness, tip and light there, against closed forms and general libraries."""

import math

import numpy as np
import pytest
from attrs import evolve
from scipy.special import ndtr
from shapely.geometry import Point, Polygon
from tests.planning.workshop import circle, job, machine, plate, read, settings, side

from vatwright.planning.demand.base import StackLoad
from vatwright.planning.demand.base_bond import (
    BaseBond,
    Ground,
    cured_places_m,
    ground_at,
    hollow_m,
    inside_outlines,
    level_is_read,
    level_sigma_m,
    light_share,
    tip_stiffness_j,
    under_the_base,
    unlevel_m,
)
from vatwright.planning.demand.outcome import margins
from vatwright.planning.demand.settle import RUN_SCATTER, Run
from vatwright.planning.demand.unknowns import TILT, draw
from vatwright.records.machine import FlatnessReading, LevelReading, Light, LightReading, TipReading

ZERO = np.zeros(1)
SPOTS = ((-60, -40), (60, -40), (60, 40), (-60, 40), (0, 0))


def levelled(gap, spots=SPOTS):
    """Level readings [m] of a gap given as a function of x and y [m]."""
    return tuple(LevelReading(x_m=x / 1e3, y_m=y / 1e3, gap_m=gap(x / 1e3, y / 1e3)) for x, y in spots)


def bond(*, layers=3, ground=None, tip=None, lever=(0.0, 0.0), count=5, **changes):
    """A base of plain sections on one machine."""
    load = StackLoad(
        torsion_m4=np.array([0.0, 2e-6, 1e-6][:layers]), platform_torsion_m4=np.full(layers, 8e-6),
        platform_extra_gap_m=np.arange(layers) * 5e-5, platform_follows=np.zeros(layers), layer_m=np.full(layers, 5e-5),
    )  # fmt: skip
    run = Run(
        machine=machine(), settings=evolve(settings(), base_layers=layers), load=load, side=side(count, **changes),
        overcure_m=np.full(count, 1.5e-5), confidence=0.9,
    )  # fmt: skip
    if ground is None:
        ground = Ground(places_m=np.zeros((1, 2)), extra_m=np.zeros((count, 1)), share=np.ones(1))
    return BaseBond(
        run=run, settle_s=run.settle_s(), ground=ground, lever_m=np.tile(lever, (layers, 1)),
        tip_stiffness_j=tip_stiffness_j(tip),
    )  # fmt: skip


def test_a_uniform_tilt_gives_a_linear_gap():
    """A plane: gap - middle = b_x x + b_y y, exactly (closed form)."""
    tilted = machine(level=levelled(lambda x, y: 2e-4 + 3e-4 * x - 5e-4 * y))
    places = np.array([(0.0, 0.0), (0.05, 0.01), (-0.075, 0.046), (0.075, -0.046)])
    assert unlevel_m(places, tilted, ZERO)[0] == pytest.approx(places @ (3e-4, -5e-4), abs=1e-12)


def test_a_real_twist_is_in_the_gap_and_one_within_the_error_is_not():
    """t (2x/w)(2y/d), closed form; beyond two standard uncertainties of the twist it is real."""
    corner = np.array([(0.075, 0.046), (-0.075, 0.046)])
    for twist, expected in ((6e-5, 6e-5), (5e-6, 0.0)):
        bent = machine(level=levelled(lambda x, y, t=twist: 2e-4 + t * x * y / (0.075 * 0.046)))
        assert unlevel_m(corner, bent, ZERO)[0] == pytest.approx([expected, -expected], abs=1e-10)


def test_its_uncertainty_is_that_of_the_slopes():
    """sigma^2 x' C x with C the slope block of (X'X)^-1: Draper and Smith (1998), equation 5.2.4."""
    five = machine(
        level=levelled(lambda x, y: 2e-4 + 0.0 * x * y, ((-60, -40), (55, -30), (60, 40), (-50, 45), (10, 0)))
    )
    x = np.array([(1.0, r.x_m, r.y_m) for r in five.level])
    covariance = np.linalg.inv(x.T @ x)[1:, 1:] * five.level_sigma_m**2
    places = np.array([(0.075, 0.046), (-0.03, 0.02), (0.0, 0.04), (0.0, 0.0)])
    expected = np.sqrt(np.einsum("pi,ij,pj->p", places, covariance, places))
    assert level_sigma_m(places, five) == pytest.approx(expected, rel=1e-9, abs=1e-15)


def test_unread_a_place_is_judged_as_if_the_platform_were_tipped_its_way():
    """Tilt times distance; at the platform's corner that is what the carry has always taken."""
    task = job()
    worlds = draw(task, count=64)
    corner = np.array([(0.075, 0.046), (0.03, 0.0)])
    found = unlevel_m(corner, task.target, worlds.axes["level target"])
    assert found[:, 0] == pytest.approx(worlds.target.unlevel_m, rel=1e-12)
    assert found[:, 1] / found[:, 0] == pytest.approx(0.03 / math.hypot(0.075, 0.046), rel=1e-12)
    assert not level_is_read(task.target)
    assert np.median(found[:, 1]) == pytest.approx(TILT.value * 0.03, rel=0.05)


def test_readings_on_a_line_make_no_plane():
    line = machine(level=levelled(lambda x, y: 1e-4 + x * 1e-4 + 0.0 * y, ((-60, 0), (0, 0), (60, 0))))
    assert not level_is_read(line)


def test_flatness_leaves_to_level_what_a_plane_explains():
    places = np.array([(0.0, 0.0), (0.02, -0.03), (0.2, 0.2)])
    sloped = tuple(FlatnessReading(x_m=x / 1e3, y_m=y / 1e3, height_m=1e-4 * x - 2e-4 * y) for x, y in SPOTS)
    assert hollow_m(places, sloped) == pytest.approx(np.zeros(3), abs=1e-12)
    assert hollow_m(places, ()).tolist() == [0.0, 0.0, 0.0]
    one = (FlatnessReading(x_m=0.0, y_m=0.0, height_m=5e-5),)
    assert hollow_m(places, one) == pytest.approx(np.zeros(3), abs=1e-12)  # one height says nothing of a shape


def test_a_bump_narrows_the_gap_and_a_hollow_widens_it():
    """A bump at the middle of four corners: its fifth goes to the mean, four fifths stay; half way there is half of each."""
    for sign in (1.0, -1.0):
        flat = tuple(FlatnessReading(x_m=x / 1e3, y_m=y / 1e3, height_m=sign * 5e-5 * (x == 0)) for x, y in SPOTS)
        found = hollow_m(np.array([(0.0, 0.0), (0.06, 0.04), (0.03, 0.02), (0.09, 0.09)]), flat)
        assert found == pytest.approx(np.array([-4e-5, 1e-5, -1.5e-5, 1e-5]) * sign, abs=1e-12)


def test_light_comes_from_the_map_or_is_the_dimmest_everywhere():
    """A plane through four corners is linear: 30 W/m2 in the middle, 27 at the left, 33 at the right (closed form)."""
    corners = ((-0.08, -0.05, 27.0), (0.08, -0.05, 33.0), (0.08, 0.05, 33.0), (-0.08, 0.05, 27.0))
    light = Light(
        irradiance_w_m2=read(30.0), readings=tuple(LightReading(x_m=x, y_m=y, irradiance_w_m2=i) for x, y, i in corners)
    )
    places = np.array([(0.0, 0.0), (-0.08, 0.0), (0.04, 0.02)])
    assert light_share(places, light, dimmest=0.7) == pytest.approx([1.0, 0.9, 1.05], rel=1e-12)
    assert light_share(places, Light(irradiance_w_m2=read(30.0)), dimmest=0.7).tolist() == [0.7, 0.7, 0.7]


def test_inside_is_what_a_geometry_library_says():
    """shapely, a general reference library."""
    ring, hole = circle(0.0, 0.0, 0.03), circle(0.005, 0.0, 0.012)
    points = np.random.default_rng(3).uniform(-0.04, 0.04, (400, 2))
    shape = Polygon(ring, [hole])
    assert inside_outlines((ring, hole), points).tolist() == [shape.contains(Point(p)) for p in points]


def test_places_lie_on_the_outlines_and_at_readings_inside():
    square = np.array([(-0.02, -0.01), (0.02, -0.01), (0.02, 0.01), (-0.02, 0.01)])
    flat = (FlatnessReading(x_m=0.001, y_m=0.0, height_m=1e-5), FlatnessReading(x_m=0.06, y_m=0.0, height_m=0.0))
    found = {
        tuple(np.round(p, 9))
        for p in cured_places_m(plate([5.0] * 5, base_outlines_m=(square,)), machine(flatness=flat))
    }
    assert {tuple(p) for p in square} <= found
    assert (0.001, 0.0) in found
    assert (0.06, 0.0) not in found
    assert (0.0, -0.01) in found  # along a long edge
    bare = cured_places_m(plate([5.0] * 5, base_outlines_m=()), machine())
    assert sorted(map(tuple, bare)) == [(-0.075, -0.046), (-0.075, 0.046), (0.075, -0.046), (0.075, 0.046)]


def test_one_place_with_the_platforms_worst_corner_is_the_margin_of_the_carry():
    """The same law as planning.outcome.margins, which knows one worst corner and one dimmest spot."""
    unlevel = np.linspace(1e-5, 9e-5, 5)
    ground = Ground(places_m=np.zeros((1, 2)), extra_m=unlevel[:, None], share=np.array([0.8]))
    judged = bond(ground=ground, curve_dose_j_m2=220.0)
    run = evolve(judged.run, side=evolve(judged.run.side, unlevel_m=unlevel), dimmest=0.8)
    expected = margins(run, reach_m=0.03).base
    assert 0.2 < float(ndtr(np.log(expected) / RUN_SCATTER).mean()) < 0.9  # where a difference would show
    assert judged.judged().chance() == pytest.approx(float(ndtr(np.log(expected) / RUN_SCATTER).mean()), rel=1e-12)


def test_level_counts_in_the_first_layer_alone():
    ground = Ground(places_m=np.array([(0.05, 0.0)]), extra_m=np.full((5, 1), 4e-5), share=np.ones(1))
    flat, out = bond().judged(), bond(ground=ground).judged()
    for n, extra in ((0, 4e-5), (1, 0.0), (2, 0.0)):
        change = flat.spare_m(n, flat.bond.ground) - out.spare_m(n, out.bond.ground)
        assert change == pytest.approx(np.full((5, 1), extra), abs=1e-15)


def test_an_off_centre_force_tips_by_force_times_arm_over_the_tip_stiffness():
    """theta = F a / K; a later layer only meets what its load tips more than the one before did (closed form)."""
    tip, place = TipReading(load_kg=2.0, at_m=0.06, over_m=0.12, difference_m=4e-5), np.array([(0.05, -0.02)])
    ground = Ground(places_m=place, extra_m=np.zeros((5, 1)), share=np.ones(1))
    judged = bond(ground=ground, tip=tip, lever=(0.01, 0.004)).judged()
    stiffness = 2.0 * 9.80665 * 0.06 / (4e-5 / 0.12)
    angle = judged.stack.end_force_n[:, :, None] * np.array([0.01, 0.004]) / stiffness
    for n in range(3):
        new = angle[:, n] - (angle[:, n - 1] if n else 0.0)
        assert judged.tipped_m(n, ground)[:, 0] == pytest.approx(new @ place[0], rel=1e-9, abs=1e-18)


def test_an_arm_nobody_tried_tips_nothing():
    assert math.isinf(tip_stiffness_j(None))
    judged = bond(lever=(0.02, 0.0)).judged()
    assert not judged.tipped_m(1, judged.bond.ground).any()


def test_what_is_cured_in_the_middle_feels_less_of_a_tilt():
    small, wide = (plate([5.0] * 40, spread_mm=s) for s in ((10.0, 8.0), (60.0, 36.0)))
    task = job()
    worlds = draw(task, count=64)
    found = under_the_base(worlds, task, small, wide)
    assert (found.origin.unlevel_m < found.target.unlevel_m).all()
    assert (found.target.unlevel_m <= worlds.target.unlevel_m).all()
    unknown = evolve(small, base_outlines_m=())
    assert under_the_base(worlds, task, unknown, unknown).target.unlevel_m is worlds.target.unlevel_m


def test_ground_joins_level_and_flatness():
    flat = tuple(FlatnessReading(x_m=x / 1e3, y_m=y / 1e3, height_m=5e-5 * (x == 0)) for x, y in SPOTS)
    bent = machine(level=levelled(lambda x, y: 2e-4 + 3e-4 * x + 0.0 * y), flatness=flat)
    places = np.array([(0.06, 0.04), (0.0, 0.0)])
    found = ground_at(places, bent, ZERO, dimmest=0.9)
    assert found.extra_m[0] == pytest.approx([3e-4 * 0.06 + 1e-5, -4e-5], abs=1e-12)
    assert found.share.tolist() == [0.9, 0.9]
