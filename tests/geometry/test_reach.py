"""Where a mask lies in its window, against closed forms of rectangles and against shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from vatwright.errors import DomainError
from vatwright.geometry.reach import add_reach, window_bins

WINDOW = (0.176, 0.112)
STEP = 0.001


def rows_of(shape, pitch_m):
    """The runs of a shape in rows, cut by shapely: row, left ends, right ends, and the first row's middle."""
    x_low, y_low, x_high, y_high = shape.bounds
    first = y_low + pitch_m / 2.0
    row, left, right = [], [], []
    for k in range(round((y_high - y_low) / pitch_m)):
        line = shapely.LineString([(x_low - 1.0, first + k * pitch_m), (x_high + 1.0, first + k * pitch_m)])
        cut = line.intersection(shape)
        for piece in getattr(cut, "geoms", [cut]):
            if piece.length > 0.0:
                row.append(k)
                left.append(piece.bounds[0])
                right.append(piece.bounds[2])
    return np.array(row, dtype=np.int32), np.array(left), np.array(right), first


def reach_of(*shapes, window_m=WINDOW, offset_m=(0.0, 0.0), pitch_m=1e-4, step_m=STEP):
    """Span, and the area at each distance, of shapes in one layer each."""
    runs = [rows_of(shape, pitch_m) for shape in shapes]
    span = np.zeros(len(shapes))
    area = np.zeros((len(shapes), window_bins(*window_m, step_m)))
    for layer, (row, left, right, first) in enumerate(runs):
        add_reach(
            row, left, right, np.array([0, len(row)]),
            first_row_m=first, pitch_m=pitch_m, offset_m=offset_m, window_m=window_m, step_m=step_m,
            span_m=span[layer : layer + 1], area_m2=area[layer : layer + 1],
        )  # fmt: skip
    return span, area


def by_shapely(shape, window_m=WINDOW, step_m=STEP):
    """Area of a shape between insets of the window: a rectangle's inset is a rectangle."""
    width, depth = window_m
    bins = window_bins(*window_m, step_m)
    inside = []
    for k in range(bins + 1):
        w, d = max(0.0, width / 2 - k * step_m), max(0.0, depth / 2 - k * step_m)
        inside.append(shape.intersection(shapely.box(-w, -d, w, d)).area if w and d else 0.0)
    found = -np.diff(inside)
    found[0] += shape.area - inside[0]  # what lies outside the window counts as at its edge
    return found


def test_a_mask_that_fills_the_window_has_the_insets_perimeters_as_level_lines():
    whole = shapely.box(-0.088, -0.056, 0.088, 0.056)
    (span,), (area,) = reach_of(whole)
    assert span == pytest.approx(0.056, abs=1e-4)
    assert area.sum() == pytest.approx(0.176 * 0.112, rel=1e-9)
    # d(area)/ds at distance s is the perimeter of the inset rectangle: 2 (W + D) - 8 s.
    middle = (np.arange(55) + 0.5) * STEP
    assert area[:55] / STEP == pytest.approx(2 * (0.176 + 0.112) - 8 * middle, rel=2e-3)


def test_a_square_in_the_middle_is_as_far_in_as_the_window_is_deep():
    (span,), (area,) = reach_of(shapely.box(-0.01, -0.01, 0.01, 0.01))
    assert span == pytest.approx(0.056, abs=1e-4)
    # Near the middle of a wide window only the far and the near edge count: two lines of 20 mm at each distance.
    assert area[46:56] / STEP == pytest.approx(np.full(10, 0.040), rel=1e-6)
    assert area[:46].sum() == pytest.approx(0.0, abs=1e-12)


@pytest.mark.parametrize("turned", [False, True])
def test_a_square_at_the_side_is_as_far_in_as_its_inner_edge(turned):
    window = WINDOW[::-1] if turned else WINDOW
    shape = shapely.box(-0.02, 0.060, 0.0, 0.080) if turned else shapely.box(0.060, -0.02, 0.080, 0.0)
    (span,), (area,) = reach_of(shape, window_m=window)
    assert span == pytest.approx(0.028, abs=1e-4)  # 88 - 60 mm
    assert area[8:28] / STEP == pytest.approx(np.full(20, 0.020), rel=1e-2)


def test_the_span_of_a_square_that_touches_the_corner():
    (span,), (area,) = reach_of(shapely.box(0.078, 0.046, 0.088, 0.056))
    assert span == pytest.approx(0.010, abs=1e-4)
    # An L of two arms: lines of length 2 (10 mm - s).
    assert area[:10] / STEP == pytest.approx(2 * (0.010 - (np.arange(10) + 0.5) * STEP), rel=2e-2)


@pytest.mark.parametrize("seed", range(6))
def test_any_outline_has_shapely_s_areas_between_insets(seed):
    random = np.random.default_rng(seed)
    points = random.uniform((-0.08, -0.05), (0.08, 0.05), (12, 2))
    shape = shapely.union_all([shapely.Point(p).buffer(random.uniform(0.002, 0.02)) for p in points])
    (span,), (area,) = reach_of(shape)
    # A midpoint rule in rows of 0.1 mm: half a row along the outline, of which a bin holds at most 80 mm.
    assert area == pytest.approx(by_shapely(shape), abs=0.5e-4 * 0.08)
    assert area.sum() == pytest.approx(shape.area, rel=1e-3)
    corners = shapely.get_coordinates(shape.segmentize(1e-4))
    edge = np.minimum(WINDOW[0] / 2 - np.abs(corners[:, 0]), WINDOW[1] / 2 - np.abs(corners[:, 1]))
    if not shape.intersects(shapely.LineString([(-0.032, 0.0), (0.032, 0.0)])):  # the ridge of the roof over the window
        assert span == pytest.approx(edge.max(), abs=2e-4)


def test_what_lies_outside_the_window_counts_at_its_edge():
    shape = shapely.box(0.080, -0.01, 0.100, 0.01)  # 8 mm inside, 12 mm outside
    (span,), (area,) = reach_of(shape)
    assert span == pytest.approx(0.008, abs=1e-9)
    assert area[0] == pytest.approx(0.020 * (0.012 + 0.001), rel=1e-6)
    assert area.sum() == pytest.approx(shape.area, rel=1e-9)


@given(
    x=st.floats(-0.06, 0.06), y=st.floats(-0.03, 0.03), width=st.floats(1e-3, 0.04), depth=st.integers(1, 400),
)  # fmt: skip
def test_mirrored_masks_reach_as_far(x, y, width, depth):
    half = depth * 1e-4 / 2.0
    shape = shapely.box(x - width / 2, y - half, x + width / 2, y + half)
    found = [
        reach_of(shapely.affinity.scale(shape, *signs, origin=(0, 0))) for signs in ((1, 1), (-1, 1), (1, -1), (-1, -1))
    ]
    for span, area in found[1:]:
        assert span == pytest.approx(found[0][0], abs=1e-9)
        assert area == pytest.approx(found[0][1], abs=0.03 * 2e-4)  # one row may fall into the next bin


def test_an_offset_is_a_move_and_pieces_add_up():
    one, other = shapely.box(-0.01, -0.01, 0.01, 0.01), shapely.box(0.03, 0.01, 0.05, 0.03)
    (moved_span,), (moved_area,) = reach_of(one, offset_m=(0.04, 0.02))
    (span,), (area,) = reach_of(other)
    assert moved_span == pytest.approx(span, abs=1e-9)
    assert moved_area == pytest.approx(area, abs=1e-9)
    (both_span,), (both_area,) = reach_of(shapely.union_all([one, other]))
    (one_span,), (one_area,) = reach_of(one)
    assert both_area == pytest.approx(one_area + area, abs=1e-9)
    assert both_span == max(one_span, span)


def test_empty_layers_stay_as_they_are():
    span, area = np.full(2, 0.01), np.ones((2, window_bins(*WINDOW, STEP)))
    add_reach(
        np.zeros(0, dtype=np.int32), np.zeros(0), np.zeros(0), np.zeros(3, dtype=np.int64),
        first_row_m=0.0, pitch_m=1e-4, offset_m=(0.0, 0.0), window_m=WINDOW, step_m=STEP, span_m=span, area_m2=area,
    )  # fmt: skip
    assert span.tolist() == [0.01, 0.01]
    assert (area == 1.0).all()


@pytest.mark.parametrize(
    ("window", "step", "bins"), [((0.176, 0.112), 1e-3, 57), ((0.1, 0.2), 1e-2, 6), ((0.02, 0.02), 0.05, 1)]
)
def test_bins_reach_from_the_edge_to_the_middle(window, step, bins):
    assert window_bins(*window, step) == bins


@pytest.mark.parametrize(
    ("name", "window", "step"), [("width_m", (0.0, 0.1), 1e-3), ("depth_m", (0.1, -1.0), 1e-3), ("step_m", WINDOW, 0.0)]
)
def test_lengths_that_are_none_are_refused(name, window, step):
    with pytest.raises(DomainError, match=f"{name}: must be a finite number above 0"):
        window_bins(*window, step)
