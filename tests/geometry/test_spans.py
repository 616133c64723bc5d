"""Runs of layers: exact crossings, true unions, bitmaps."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import shapely.affinity

from vatwright.errors import DomainError, InputError
from vatwright.geometry.spans import row_pitch, spans, spans_from_bitmaps


def ring_of(polygon: shapely.Polygon) -> list[np.ndarray]:
    """Return the outer loop counter-clockwise and the holes clockwise."""
    turned = shapely.geometry.polygon.orient(polygon, 1.0)
    return [np.asarray(r.coords)[:-1] for r in (turned.exterior, *turned.interiors)]


def stack(layers: list[list[np.ndarray]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return points, loop starts and layer starts of a list of layers of loops."""
    loops = [loop for layer in layers for loop in layer]
    points = np.vstack(loops) if loops else np.zeros((0, 2))
    return points, np.cumsum([0, *map(len, loops)]), np.cumsum([0, *map(len, layers)])


def blob(seed: int, *, radius: float = 0.01, corners: int = 40) -> shapely.Polygon:
    """Return an irregular star-shaped outline."""
    random = np.random.default_rng(seed)
    angle = np.sort(random.uniform(0, 2 * np.pi, corners))
    r = radius * random.uniform(0.5, 1.0, corners)
    return shapely.Polygon(np.c_[r * np.cos(angle), r * np.sin(angle)]).buffer(0)


def row_lines(polygon: shapely.Geometry, y: float) -> list[tuple[float, float]]:
    """Return where the line at `y` is inside, by shapely."""
    cut = shapely.intersection(polygon, shapely.LineString([(-1.0, y), (1.0, y)]))
    parts = [p for p in shapely.get_parts(cut) if p.length > 1e-9]
    return sorted((p.bounds[0], p.bounds[2]) for p in parts)


@pytest.mark.parametrize("seed", range(4))
def test_runs_of_overlapping_shells_equal_shapely_line_cuts(seed: int) -> None:
    """Reference: shapely (GEOS) cuts the union with each row's line; ends agree to float rounding."""
    one, two = blob(seed), shapely.affinity.translate(blob(seed + 50), 0.006, 0.003)
    holed = one.difference(shapely.Point(0, 0).buffer(0.002))
    loops = ring_of(holed) + ring_of(two)
    union = shapely.union(holed, two)
    pitch = 7e-4
    found = spans(*stack([loops]), origin_m=(-0.02, -0.0123), pitch_m=pitch, rows=40)
    for r in range(40):
        mine = [(a, b) for k, a, b in zip(found.row, found.x0_m, found.x1_m, strict=True) if k == r]
        expected = row_lines(union, -0.0123 + (r + 0.5) * pitch)
        assert np.allclose(np.ravel(mine), np.ravel(expected), rtol=0, atol=1e-12)


@pytest.mark.parametrize("seed", range(4))
def test_areas_of_union_and_overlap_approach_shapely(seed: int) -> None:
    """Reference: shapely; the midpoint rule over 2000 rows is good to 1e-4 of the area."""
    one, two = blob(seed), shapely.affinity.translate(blob(seed + 50), 0.004, 0.002)
    found = spans(*stack([ring_of(one) + ring_of(two)]), origin_m=(-0.02, -0.02), pitch_m=2e-5, rows=2000)
    assert found.area_m2[0] == pytest.approx(shapely.union(one, two).area, rel=1e-4)
    assert found.overlap_area_m2[0] == pytest.approx(shapely.intersection(one, two).area, rel=5e-4)


def test_a_doubled_shell_is_counted_once() -> None:
    square = np.array([[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01]])
    found = spans(*stack([[square, square]]), origin_m=(0.0, 0.0), pitch_m=1e-3, rows=10)
    assert found.area_m2[0] == pytest.approx(1e-4, rel=1e-12)
    assert found.overlap_area_m2[0] == pytest.approx(1e-4, rel=1e-12)
    assert len(found.row) == 10


def test_shells_that_share_a_side_make_one_run() -> None:
    left = np.array([[0.0, 0.0], [0.0031, 0.0], [0.0057, 0.01], [0.0, 0.01]])
    right = np.array([[0.0031, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0057, 0.01]])
    found = spans(*stack([[left, right]]), origin_m=(0.0, 0.0), pitch_m=1e-3, rows=10)
    assert found.row.tolist() == list(range(10))
    assert found.overlap_area_m2[0] == 0.0


def test_empty_layers_and_loops_outside_the_rows_are_empty() -> None:
    far = np.array([[0.0, 1.0], [0.01, 1.0], [0.01, 1.01]])
    found = spans(*stack([[], [far], []]), origin_m=(0.0, 0.0), pitch_m=1e-3, rows=10)
    assert found.layer_start.tolist() == [0, 0, 0, 0]
    assert found.area_m2.tolist() == [0.0, 0.0, 0.0]


def test_corners_on_row_lines_neither_gain_nor_lose_a_crossing() -> None:
    diamond = np.array([[0.0055, 0.0005], [0.0105, 0.0055], [0.0055, 0.0105], [0.0005, 0.0055]])
    found = spans(*stack([[diamond]]), origin_m=(0.0, 0.0), pitch_m=1e-3, rows=11)
    inside = found.x1_m - found.x0_m
    expected = [10e-3 - 2e-3 * abs(r - 5) for r in range(1, 10)]
    assert np.allclose(inside[inside > 1e-9], expected, atol=1e-12)


@pytest.mark.parametrize("seed", range(3))
def test_bitmap_runs_paint_the_bitmap_back(seed: int) -> None:
    masks = np.random.default_rng(seed).random((5, 23, 31)) < 0.4
    masks[2] = False
    masks[3] = True
    found = spans_from_bitmaps(iter(masks), pixel_m=(3e-5, 5e-5))
    painted = np.zeros_like(masks)
    for n in range(5):
        for i in range(found.layer_start[n], found.layer_start[n + 1]):
            a, b = round(found.x0_m[i] / 3e-5), round(found.x1_m[i] / 3e-5)
            painted[n, found.row[i], a:b] = True
    assert np.array_equal(painted, masks)
    assert np.allclose(found.area_m2, masks.sum(axis=(1, 2)) * 3e-5 * 5e-5, rtol=1e-12)
    assert found.pitch_m == 5e-5


def test_ruling_covers_the_height_and_stays_within_its_ceiling() -> None:
    few = row_pitch((0.0, 0.0, 0.3, 0.165), most_rows=1000)
    assert few.rows == 1000
    assert few.rows * few.pitch_m == pytest.approx(0.165, rel=1e-12)
    fine = row_pitch((0.0, 0.01, 0.3, 0.01025), finest_m=1e-4)
    assert fine.rows == 3
    assert fine.origin_m[1] == pytest.approx(0.01 - 2.5e-5, abs=1e-12)


def test_mistakes_are_named() -> None:
    square = np.array([[0.0, 0.0], [0.01, 0.0], [np.nan, 0.01]])
    with pytest.raises(InputError, match="not finite"):
        spans(*stack([[square]]), origin_m=(0.0, 0.0), pitch_m=1e-3, rows=10)
    with pytest.raises(DomainError, match="pitch_m"):
        spans(*stack([[square]]), origin_m=(0.0, 0.0), pitch_m=0.0, rows=10)
    with pytest.raises(InputError, match="no bitmap"):
        spans_from_bitmaps([], pixel_m=5e-5)
    with pytest.raises(InputError, match="one size"):
        spans_from_bitmaps([np.ones((2, 3), bool), np.ones((3, 2), bool)], pixel_m=5e-5)
    with pytest.raises(DomainError, match="height_m"):
        row_pitch((0.0, 0.0, 1.0, 0.0))
