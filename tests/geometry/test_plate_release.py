"""A plate's layers: solutions where outlines change, the rule between them, against solutions of single layers."""

from __future__ import annotations

import numpy as np
import pytest

from vatwright.geometry.plate_release import CELLS, SOLVED, Placed, plate_release
from vatwright.geometry.release_front import rectangular_window, release
from vatwright.geometry.spans import spans_from_bitmaps

WINDOW = (0.176, 0.112)


def standing(*sizes_mm, layers_each=10):
    """Square slabs, one above the other, in the middle of the window; with their areas and perimeters."""
    side = max(sizes_mm)
    pictures = []
    for size in sizes_mm:
        picture = np.zeros((side, side), dtype=bool)
        low = (side - size) // 2
        picture[low : low + size, low : low + size] = True
        pictures += [picture] * layers_each
    runs = spans_from_bitmaps(pictures, pixel_m=1e-3)
    sides = np.repeat(sizes_mm, layers_each) / 1e3
    middle = runs.origin_m[0] + 0.5 * side / 1e3, runs.origin_m[1] + 0.5 * side / 1e3
    return [Placed(runs, (-middle[0], -middle[1]), 0)], sides**2, 4.0 * sides


def test_layers_alike_are_the_solution_of_one():
    pieces, area, perimeter = standing(40)
    found = plate_release(pieces, window_m=WINDOW, area_m2=area, perimeter_m=perimeter)
    grid = rectangular_window(*WINDOW, cells=CELLS)
    half = 0.020 + 0.5 * grid.pitch_m
    share = [np.clip((half - np.abs(axis)) / grid.pitch_m, 0.0, 1.0) for axis in (grid.x_m, grid.y_m)]
    alone = release(share[1][:, None] * share[0][None, :], grid)
    assert found.reach_m == pytest.approx(np.full(10, alone.reach_m), rel=0.01)
    assert found.front_m == pytest.approx(np.full(10, min(alone.front_m, 0.16)), rel=0.01)


def test_what_decides_is_solved_and_no_more_than_a_few_layers_are():
    pieces, area, perimeter = standing(20, 60, 30, 50, 10)
    found = plate_release(pieces, window_m=WINDOW, area_m2=area, perimeter_m=perimeter)
    assert len(found.solved) <= SOLVED
    assert int(np.argmax(found.reach_m)) in range(10, 20)
    assert set(found.solved.tolist()) & set(range(10, 20))
    # a larger square lets go later and pulls harder, wherever it stands in the stack
    middles = found.reach_m[[45, 5, 25, 35, 15]]
    assert (np.diff(middles) > 0.0).all()
    assert (found.front_m <= perimeter + 1e-12).all()
