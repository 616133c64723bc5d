"""The light of a window: planes and pyramids whose map, mean and extremes are known in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import LinearNDInterpolator
from shapely.geometry import Point, Polygon

from vatwright.errors import DomainError
from vatwright.physics.irradiance import irradiance_at, irradiance_range, mean_irradiance

RNG = np.random.default_rng(3)
X, Y = RNG.uniform(-0.1, 0.1, 14), RNG.uniform(-0.06, 0.06, 14)
PLANE = {"x_m": X, "y_m": Y, "irradiance_w_m2": 25.0 + 40.0 * X - 30.0 * Y}
SQUARE = {"x_m": [-0.1, 0.1, 0.1, -0.1, 0.0], "y_m": [-0.06, -0.06, 0.06, 0.06, 0.0]}


def box(width, depth, x=0.0, y=0.0):
    return np.array([(x + sx * width / 2, y + sy * depth / 2) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))])


def test_between_readings_it_is_scipys_linear_interpolation():
    values = RNG.uniform(20.0, 30.0, 14)
    at = RNG.uniform(-0.04, 0.04, (50, 2))
    reference = LinearNDInterpolator(np.column_stack((X, Y)), values)(at)
    inside = np.isfinite(reference)
    found = irradiance_at(x_m=X, y_m=Y, irradiance_w_m2=values, at_x_m=at[:, 0], at_y_m=at[:, 1])
    assert inside.sum() > 30
    assert found[inside] == pytest.approx(reference[inside], rel=1e-12)


def test_beyond_the_readings_it_is_that_of_the_nearest_place_between_them():
    # the nearest point of a convex hull, by shapely; the plane is linear, so its value there is known
    hull = Polygon(np.column_stack((X, Y))).convex_hull
    at = RNG.uniform(-0.3, 0.3, (200, 2))
    nearest = [
        p if hull.contains(Point(p)) else hull.exterior.interpolate(hull.exterior.project(Point(p))).coords[0]
        for p in at
    ]
    wanted = [25.0 + 40.0 * x - 30.0 * y for x, y in nearest]
    found = irradiance_at(**PLANE, at_x_m=at[:, 0], at_y_m=at[:, 1])
    assert found == pytest.approx(wanted, rel=1e-9)


def test_mean_of_a_plane_is_its_middle():
    corners = {k: v[:4] for k, v in SQUARE.items()}
    values = [25.0 + 40.0 * x - 30.0 * y for x, y in zip(*corners.values(), strict=True)]
    assert mean_irradiance(**corners, irradiance_w_m2=values, width_m=0.2, depth_m=0.12) == pytest.approx(
        25.0, rel=1e-12
    )


def test_mean_of_a_pyramid_is_a_third_of_its_height():
    # volume of a pyramid (Euclid XII.7); the plain mean of the five readings would be 22
    mean = mean_irradiance(**SQUARE, irradiance_w_m2=[20.0] * 4 + [30.0], width_m=0.2, depth_m=0.12)
    assert mean == pytest.approx(20.0 + 10.0 / 3.0, rel=5e-4)


def test_dimmest_and_brightest_of_a_plane_lie_on_the_outline():
    found = irradiance_range(**PLANE, outlines_m=[box(0.02, 0.01)])
    assert found == pytest.approx((25.0 - 0.4 - 0.15, 25.0 + 0.4 + 0.15), rel=1e-12)


def test_a_reading_inside_counts_and_one_in_a_hole_does_not():
    pyramid = {**SQUARE, "irradiance_w_m2": [20.0] * 4 + [30.0]}
    whole = irradiance_range(**pyramid, outlines_m=[box(0.1, 0.06)])
    assert whole == pytest.approx((25.0, 30.0), rel=1e-12)
    # along the middle line the pyramid's side falls 10 over 0.1 m: at the hole's edge 0.02 m out it is 28
    holed = irradiance_range(**pyramid, outlines_m=[box(0.1, 0.06), box(0.04, 0.024)[::-1]])
    assert holed == pytest.approx((25.0, 28.0), rel=1e-12)


def test_readings_on_a_line_and_a_single_one():
    line = {"x_m": [0.0, 0.1, 0.2], "y_m": [0.0, 0.05, 0.1], "irradiance_w_m2": [20.0, 30.0, 10.0]}
    found = irradiance_at(**line, at_x_m=[0.05, -1.0, 1.0, 0.05 - 0.01], at_y_m=[0.025, 0.0, 1.0, 0.025 + 0.02])
    assert found == pytest.approx([25.0, 20.0, 10.0, 25.0], rel=1e-9)
    one = {"x_m": [0.01], "y_m": [0.0], "irradiance_w_m2": [27.0]}
    assert irradiance_at(**one, at_x_m=[0.0, 5.0], at_y_m=[0.0, 5.0]).tolist() == [27.0, 27.0]


def test_readings_of_one_spot_count_as_their_mean():
    twice = {"x_m": [0.0, 0.0, 0.1, 0.0], "y_m": [0.0, 0.0, 0.0, 0.1], "irradiance_w_m2": [20.0, 24.0, 30.0, 30.0]}
    assert irradiance_at(**twice, at_x_m=[0.0], at_y_m=[0.0])[0] == pytest.approx(22.0, rel=1e-12)


@given(st.lists(st.tuples(st.floats(-0.1, 0.1), st.floats(-0.06, 0.06), st.floats(1.0, 60.0)), min_size=1, max_size=12))
def test_no_place_is_dimmer_or_brighter_than_every_reading(rows):
    x, y, read = (list(v) for v in zip(*rows, strict=True))
    at = np.linspace(-0.3, 0.3, 7)
    found = irradiance_at(x_m=x, y_m=y, irradiance_w_m2=read, at_x_m=at, at_y_m=at[::-1])
    assert (found >= min(read) * (1 - 1e-9)).all()
    assert (found <= max(read) * (1 + 1e-9)).all()


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"x_m": []}, "x_m: must be finite, one for each reading"),
        ({"irradiance_w_m2": [0.0] * 5}, "irradiance_w_m2: must be above 0"),
        ({"y_m": [math.nan] * 5}, "y_m: must be finite"),
        ({"at_x_m": [math.inf]}, "at_x_m: must be finite"),
    ],
)
def test_bad_readings_are_refused(changes, said):
    with pytest.raises(DomainError, match=said):
        irradiance_at(**{**SQUARE, "irradiance_w_m2": [20.0] * 5, "at_x_m": [0.0], "at_y_m": [0.0]} | changes)


def test_no_outline_is_refused():
    with pytest.raises(DomainError, match="outlines_m: holds no outline"):
        irradiance_range(**PLANE, outlines_m=[])
