"""The first look and the choice: Saint-Venant's constants, directions all over the sphere, and who beats whom."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st
from tests.planning.workshop import demo_shop

from vatwright.geometry.attitude import Facets, lying_sides, tilt_matrix
from vatwright.geometry.mesh import Mesh
from vatwright.physics.squeeze_film import disc_torsion, rectangle_torsion
from vatwright.planning.stand.choose import advised, shown
from vatwright.planning.stand.glance import Looks, hardest_m4, yardstick
from vatwright.planning.stand.short_list import STEP_DEG, first_directions, short_list
from vatwright.records.part import PartUse
from vatwright.records.stand import Way
from vatwright.services.stand_part import StandWanted, stand_job

AS_DRAWN = Way(
    tilt_deg=0.0, turn_deg=0.0, height_m=0.03, layers=600, supports_m2=0.0, pockets=1, pieces=12, to_s=9000.0,
    body_settle_s=4.0, pull_n=3.0, mean=0.95,
)  # fmt: skip


def looks_at(solid, machine="Wren", count=1):
    mesh = Mesh(vertices_m=np.asarray(solid.vertices), faces=solid.faces)
    job = stand_job(demo_shop(), StandWanted(PartUse(name="solid", file="solid.stl", count=count), machine))
    return Looks(Facets.of(mesh), yardstick(job, layer_nm=50_000)), lying_sides(mesh, most=12)


def constant(area_m2, around_m):
    return hardest_m4(np.full(100, area_m2), np.full(100, around_m), 5e-4)


def test_the_hardest_section_against_saint_venants_constants():
    side, long = 0.01, 0.2
    assert math.isclose(constant(math.pi * side**2, 2.0 * math.pi * side), disc_torsion(side), rel_tol=1e-12)
    # Equal pieces add: five discs have five times the area and the perimeter.
    five = constant(5.0 * math.pi * side**2, 10.0 * math.pi * side)
    assert math.isclose(five, 5.0 * disc_torsion(side), rel_tol=1e-12)
    square, strip = rectangle_torsion(long_m=side, short_m=side), rectangle_torsion(long_m=long, short_m=side / 10.0)
    assert math.isclose(constant(side**2, 4.0 * side) / square, 2.0 / 2.25, rel_tol=5e-3)
    assert math.isclose(constant(long * side / 10.0, 2.0 * long + side / 5.0) / strip, 1.5, rel_tol=2e-2)


def test_the_foot_and_the_few_layers_that_may_miss_do_not_count():
    area, around = np.full(200, 1e-4), np.full(200, 0.04)
    area[:4], area[100:102] = 1e-2, 1e-3
    assert math.isclose(hardest_m4(area, around, 5e-4), 2.0 * 1e-12 / 0.04**2, rel_tol=1e-12)


@given(x=st.floats(-1.0, 1.0), turn=st.floats(0.0, 2.0 * math.pi))
def test_no_direction_is_far_from_one_that_is_looked_at(x, turn):
    up = np.array([math.sqrt(1.0 - x * x) * math.cos(turn), math.sqrt(1.0 - x * x) * math.sin(turn), x])
    nearest = max(float(tilt_matrix(*d)[2] @ up) for d in first_directions())
    # Half the diagonal of a square of the step, and what turns round to whole parts of a circle.
    assert nearest >= math.cos(math.radians(STEP_DEG * 0.85))


def test_a_slab_gets_a_direction_that_settles_sooner_and_one_that_is_lower():
    looks, sides = looks_at(trimesh.creation.box(extents=(0.06, 0.03, 0.04)))
    found = [looks.at(*d) for d in short_list(looks, sides)]
    drawn = looks.at(0.0, 0.0)
    assert min(g.settle_s for g in found) < drawn.settle_s
    assert math.isclose(min(g.height_m for g in found), 0.03, rel_tol=1e-9)
    assert all(g.fits for g in found)


def test_the_other_sides_of_a_cube_are_not_offered():
    looks, sides = looks_at(trimesh.creation.box(extents=(0.02, 0.02, 0.02)))
    assert not {(90.0, 0.0), (90.0, 90.0), (180.0, 0.0)} & set(short_list(looks, sides))


def test_a_rod_longer_than_the_machine_is_tall_is_laid_down():
    looks, sides = looks_at(trimesh.creation.box(extents=(0.005, 0.005, 0.17)))  # Wren prints 165 mm
    assert not looks.at(0.0, 0.0).fits
    found = [looks.at(*d) for d in short_list(looks, sides)]
    assert found
    assert all(g.fits and g.height_m < 0.165 for g in found)


def test_many_pieces_squeeze_together_and_take_more_plates():
    one, _ = looks_at(trimesh.creation.box(extents=(0.03, 0.03, 0.01)))
    many, _ = looks_at(trimesh.creation.box(extents=(0.03, 0.03, 0.01)), count=40)
    alone, plate = one.at(0.0, 0.0), many.at(0.0, 0.0)
    assert plate.settle_s > alone.settle_s
    assert plate.time_s > 2.0 * alone.time_s


def other(**changes):
    return evolve(AS_DRAWN, tilt_deg=30.0, **changes)


def test_a_way_that_another_beats_in_everything_is_not_shown_and_the_drawn_one_always_is():
    good, worse = other(to_s=5000.0, pockets=0), other(to_s=6000.0, pockets=0, pull_n=4.0)
    assert shown([AS_DRAWN, worse, good]) == (AS_DRAWN, good)
    assert shown([evolve(AS_DRAWN, to_s=9e9), good])[0].to_s == 9e9
    assert shown([AS_DRAWN, other(to_s=None, body_settle_s=None, pull_n=None, mean=None)]) == (AS_DRAWN,)


@pytest.mark.parametrize(
    ("way", "taken"),
    [
        (other(to_s=5000.0), True),
        (other(to_s=8700.0), False),  # five minutes are not worth the turning
        (other(to_s=8000.0, pockets=0), True),
        (other(to_s=9600.0, pockets=0), True),  # rid of a pocket for a twentieth more
        (other(to_s=12000.0, pockets=0), False),
        (other(to_s=5000.0, pockets=2), False),
        (other(to_s=5000.0, mean=0.8), False),
        (other(to_s=5000.0, pull_n=9.0), False),
        (other(to_s=5000.0, neck=1.5), False),  # its weakest section would carry less than a pull may scatter to
        (other(to_s=5000.0, neck=30.0), True),
    ],
)
def test_a_way_is_taken_where_it_is_worth_it_and_no_less_sure(way, taken):
    assert advised([AS_DRAWN, way]) == int(taken)


def test_where_it_does_not_fit_as_drawn_the_quickest_way_that_fits_is_taken():
    tall = evolve(AS_DRAWN, to_s=None, body_settle_s=None, pull_n=None, mean=None)
    assert advised([tall, other(to_s=7000.0), other(to_s=5000.0, pockets=3)]) == 2
    assert advised([tall]) == 0
