"""Meshes that are open: numbers for every layer, in bounded work, within what the outlines can hold (shapely, Polya)."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.geometry.mesh import merge_triangles
from vatwright.geometry.part_layers import layers_of_mesh
from vatwright.geometry.sections import sections
from vatwright.geometry.torsion import region_torsion

CORNERS = np.array([(x, y, z) for z in (0.0, 5.0) for x, y in ((0, 0), (5, 0), (5, 5), (0, 5))], dtype=np.float64)
SIDES = [t for i in range(4) for t in ((i, (i + 1) % 4, (i + 1) % 4 + 4), (i, (i + 1) % 4 + 4, i + 4))]
FACES = np.array([(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7), *SIDES])
PLACE = st.one_of(
    st.integers(-2, 8).map(float), st.floats(-1.0, 6.0), st.sampled_from([4.975, 5.025, 0.05, 5.0 + 1e-6])
)


@given(
    moved=st.lists(st.tuples(st.integers(0, 11), st.integers(0, 2), PLACE, PLACE, PLACE), min_size=1, max_size=2),
    layer_nm=st.sampled_from([50_000, 125_000]),
)
@settings(max_examples=25, deadline=None)
def test_a_cube_with_a_corner_of_one_triangle_elsewhere_gives_numbers_in_every_layer(moved, layer_nm):
    """J <= A^2 / (2 pi): Polya 1948; no layer covers more than the hull of its outlines, by shapely."""
    triangles = CORNERS[FACES].copy()
    for face, corner, *place in moved:
        triangles[face, corner] = place
    mesh = merge_triangles(triangles.astype(np.float32).astype(np.float64) * 1e-3)
    found = layers_of_mesh(mesh, layer_nm=layer_nm, step=lambda *_: None)
    for values in (found.area_m2, found.torsion_m4, found.vented_m4, found.perimeter_m):
        assert np.isfinite(values).all()
        assert (values >= 0.0).all()
    # 3 %: the outline that a layer of overlaps takes from its rows is a row pitch wide of the true one.
    assert (found.torsion_m4 <= 1.03 * found.area_m2**2 / (2.0 * np.pi) + 1e-18).all()
    for layer in range(0, found.layers, 7):
        cut = sections(mesh, layer_nm=layer_nm, bottom_m=found.bounds_m[0, 2], first=layer, count=1)
        hull = shapely.MultiPoint(cut.points_m).convex_hull
        rows = 1e-4 * hull.length
        assert found.area_m2[layer] <= hull.area + rows


def test_a_loop_that_crosses_itself_and_nearly_encloses_nothing_is_solved_on_a_bounded_grid():
    """Two triangles tip to tip, one wound the other way: what is left is the one wound rightly, J = sqrt(3) s^4 / 80.

    Equilateral triangle: Timoshenko and Goodier, Theory of Elasticity, section 109.
    """
    s, h = 0.01, 0.01 * 3**0.5 / 2.0
    less = 1.0 - 1e-7
    right = [(0.0, 0.0), (h, -s / 2.0), (h, s / 2.0)]
    wrong = [(0.0, 0.0), (-h * less, -s / 2.0), (-h * less, s / 2.0)]
    loop = np.array([*right, *wrong])
    assert region_torsion(loop) == pytest.approx(3**0.5 * s**4 / 80.0, rel=0.005)
