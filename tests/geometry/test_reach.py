"""Where a mask lies in its window, against closed forms of rectangles and against shapely."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from vatwright.errors import DomainError
from vatwright.geometry.reach import add_span, window_bins

WINDOW = (0.176, 0.112)


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


def span_of(*shapes, window_m=WINDOW, offset_m=(0.0, 0.0), pitch_m=1e-4):
    """Span of shapes in one layer each."""
    span = np.zeros(len(shapes))
    for layer, (row, left, right, first) in enumerate(rows_of(shape, pitch_m) for shape in shapes):
        add_span(
            row, left, right, np.array([0, len(row)]), first_row_m=first, pitch_m=pitch_m, offset_m=offset_m,
            window_m=window_m, span_m=span[layer : layer + 1],
        )  # fmt: skip
    return span


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (shapely.box(-0.088, -0.056, 0.088, 0.056), 0.056),  # fills the window: its middle
        (shapely.box(-0.01, -0.01, 0.01, 0.01), 0.056),
        (shapely.box(0.060, -0.02, 0.080, 0.0), 0.028),  # 88 - 60 mm
        (shapely.box(0.078, 0.046, 0.088, 0.056), 0.010),
        (shapely.box(0.080, -0.01, 0.100, 0.01), 0.008),  # partly outside
    ],
)
def test_a_mask_is_as_far_in_as_its_innermost_point(shape, expected):
    assert span_of(shape)[0] == pytest.approx(expected, abs=1e-4)


@given(
    x=st.floats(-0.06, 0.06), y=st.floats(-0.03, 0.03), width=st.floats(1e-3, 0.04), depth=st.integers(1, 400),
)  # fmt: skip
def test_mirrored_masks_reach_as_far(x, y, width, depth):
    half = depth * 1e-4 / 2.0
    shape = shapely.box(x - width / 2, y - half, x + width / 2, y + half)
    found = [
        span_of(shapely.affinity.scale(shape, *signs, origin=(0, 0)))[0]
        for signs in ((1, 1), (-1, 1), (1, -1), (-1, -1))
    ]
    assert found[1:] == pytest.approx([found[0]] * 3, abs=1e-9)


def test_an_offset_is_a_move_and_the_farther_piece_counts():
    one, other = shapely.box(-0.01, -0.01, 0.01, 0.01), shapely.box(0.03, 0.01, 0.05, 0.03)
    assert span_of(one, offset_m=(0.04, 0.02))[0] == pytest.approx(span_of(other)[0], abs=1e-9)
    assert span_of(shapely.union_all([one, other]))[0] == max(span_of(one)[0], span_of(other)[0])


def test_empty_layers_stay_as_they_are():
    span = np.full(2, 0.01)
    add_span(
        np.zeros(0, dtype=np.int32), np.zeros(0), np.zeros(0), np.zeros(3, dtype=np.int64),
        first_row_m=0.0, pitch_m=1e-4, offset_m=(0.0, 0.0), window_m=WINDOW, span_m=span,
    )  # fmt: skip
    assert span.tolist() == [0.01, 0.01]


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
