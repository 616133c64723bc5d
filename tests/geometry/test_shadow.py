"""What runs of solid cover seen from above, against shapely's union of the same rectangles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely.geometry import LinearRing, Polygon, box
from shapely.ops import unary_union

from vatwright.errors import InputError
from vatwright.geometry.footprint import shadow

PITCH_M = 0.001


def stack(rectangles, shift=(0.0, 0.0)):
    """Runs of (row, first cell, cells) on a grid of a millimetre."""
    row, first, count = np.array(rectangles).T
    return (row, first * PITCH_M, (first + count) * PITCH_M, 0.0, PITCH_M, shift)


def area(loops):
    """Solid lies to the left: holes run clockwise."""
    return sum(Polygon(p).area * (1 if LinearRing(p).is_ccw else -1) for p in loops)


runs = st.lists(st.tuples(st.integers(0, 8), st.integers(0, 8), st.integers(1, 4)), min_size=1, max_size=25)


@given(runs, st.tuples(st.integers(-3, 3), st.integers(-3, 3)))
def test_it_is_the_union_of_all_runs(rectangles, moved):
    shift = (moved[0] * PITCH_M, moved[1] * PITCH_M)
    loops = shadow([stack(rectangles, shift)], pitch_m=PITCH_M)
    truth = unary_union([
        box((a + moved[0]) * PITCH_M, (r + moved[1]) * PITCH_M, (a + n + moved[0]) * PITCH_M, (r + 1 + moved[1]) * PITCH_M)
        for r, a, n in rectangles
    ])  # fmt: skip
    assert area(loops) == pytest.approx(truth.area, rel=1e-9)
    low, high = np.concatenate(loops).min(axis=0), np.concatenate(loops).max(axis=0)
    assert (*low, *high) == pytest.approx(truth.bounds, abs=1e-12)


def test_a_ring_keeps_its_hollow():
    ring = [(0, 0, 3), (1, 0, 1), (1, 2, 1), (2, 0, 3)]
    loops = shadow([stack(ring)], pitch_m=PITCH_M)
    assert sorted(LinearRing(p).is_ccw for p in loops) == [False, True]
    assert area(loops) == pytest.approx(8e-6)


def test_stacks_lie_over_each_other():
    loops = shadow([stack([(0, 0, 2)]), stack([(0, 0, 2)], shift=(0.001, 0.0))], pitch_m=PITCH_M)
    assert area(loops) == pytest.approx(3e-6)


def test_cells_are_never_smaller_than_what_they_stand_for():
    loops = shadow([stack([(0, 0, 3)])], pitch_m=0.0007)
    assert area(loops) >= 3e-6


def test_nothing_casts_no_shadow():
    with pytest.raises(InputError, match="nothing in it"):
        shadow([])
