"""A plate known by tape measure."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vatwright.planning.plates.plate_load import SLENDER_SHARE, study_of_load
from vatwright.records.machine import Window
from vatwright.records.part import PlateLoad

WINDOW = Window(width_m=0.18, depth_m=0.11)


def study(**changes):
    load = PlateLoad(**{"pieces": 6, "section_m2": 4e-4, "height_m": 0.004} | changes)
    return study_of_load(load, layer_nm=50_000, layers=80, window=WINDOW)


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


def test_the_span_is_half_the_window_and_level_lines_hold_the_area():
    plate = study()
    assert plate.reach.span_m == pytest.approx(np.full(80, 0.055))
    assert plate.reach.peak_lines_m.sum() * plate.reach.step_m == pytest.approx(6 * 4e-4, rel=0.05)


def test_pieces_all_in_the_middle_make_longer_lines_than_pieces_all_over():
    assert study(reach=0.0).reach.level_m[0] > study(reach=1.0).reach.level_m[0]
