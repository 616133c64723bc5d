"""A plate known by tape measure."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.planning.plates.plate_load import SLENDER_SHARE, study_of_load
from vatwright.records.machine import Platform, Window
from vatwright.records.part import PlateLoad

ROOM = {"platform": Platform(width_m=0.15, depth_m=0.092), "window": Window(width_m=0.18, depth_m=0.11)}


def study(**changes):
    load = PlateLoad(**{"pieces": 6, "section_m2": 4e-4, "height_m": 0.004} | changes)
    return study_of_load(load, layer_nm=50_000, layers=80, **ROOM)


def test_areas_and_volume_are_what_was_counted():
    plate = study()
    assert plate.layers == 80
    assert plate.area_m2 == pytest.approx(np.full(80, 6 * 4e-4))
    assert plate.volume_m3 == pytest.approx(6 * 4e-4 * 0.004)
    assert plate.islands.tolist() == [6] * 80


def test_torsion_constant_stays_under_the_disc_of_equal_area():
    # Polya (1948): J <= A^2 / (2 pi), equality for the disc; pieces add
    plate = study()
    bound = 6 * 4e-4**2 / (2 * math.pi)
    assert (plate.torsion_m4 <= bound).all()
    assert plate.torsion_m4[0] == pytest.approx(SLENDER_SHARE * bound)
    assert study(pieces=12).torsion_m4[0] == pytest.approx(2 * plate.torsion_m4[0])


def test_the_span_is_half_the_window_and_the_front_no_longer_than_the_outlines():
    plate = study()
    assert plate.reach.span_m == pytest.approx(np.full(80, 0.055))
    assert 0.0 < plate.reach.front_m[0] <= plate.perimeter_m[0]


def test_a_piece_in_the_middle_lets_go_as_a_disc_does():
    # r ln(rho/r), rho the conformal radius 2H/pi of a long window (closed form; the window's ends take 3 % off it)
    found = study(pieces=1, reach=0.0).reach.reach_m[0]
    radius = math.sqrt(4e-4 / math.pi)
    assert found == pytest.approx(radius * math.log(2 * 0.11 / math.pi / radius), rel=0.06)


@given(pieces=st.integers(1, 30), section_mm2=st.floats(20.0, 900.0), reach=st.floats(0.3, 1.0))
def test_pieces_known_by_count_stand_as_discs_that_resist_as_much(pieces, section_mm2, reach):
    """A disc's torsion constant is pi r^4 / 2 [saintvenant:1855]."""
    load = PlateLoad(pieces=pieces, section_m2=section_mm2 / 1e6, height_m=0.01, reach=reach)
    place = {"platform": Platform(width_m=0.3, depth_m=0.17), "window": Window(width_m=0.32, depth_m=0.19)}
    found = study_of_load(load, layer_nm=50_000, layers=4, **place)
    radii = [np.hypot(*(loop - loop.mean(axis=0)).T).max() for loop in found.assumed_outlines_m]
    assert len(radii) == pieces
    assert sum(math.pi * r**4 / 2.0 for r in radii) == pytest.approx(found.torsion_m4[0], rel=1e-9)
    assert found.base_outlines_m == ()
