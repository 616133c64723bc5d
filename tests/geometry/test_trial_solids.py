"""Solids of trial pieces, against trimesh and the closed forms of prisms and frusta."""

from __future__ import annotations

import math

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from tests.solid_volumes import solid_volume, turned_volume

from vatwright.errors import DomainError
from vatwright.geometry.trial_solids import FACETS, box_solid, turned_solid

STAIR = [(0.02, 0.0), (0.02, 0.001), (0.012, 0.001), (0.012, 0.003), (0.005, 0.003), (0.005, 0.0045)]
CONE = [(0.001, 0.0), (0.001, 0.0005), (0.008, 0.0075)]


def mesh(corners):
    """The triangles joined by trimesh, an independent library, in mm."""
    flat = corners.reshape(-1, 3) * 1e3
    return trimesh.Trimesh(vertices=flat, faces=np.arange(len(flat)).reshape(-1, 3), process=True)


@pytest.mark.parametrize("profile", [STAIR, CONE, [(0.003, 0.0), (0.003, 0.002)]])
def test_a_turned_solid_is_watertight_and_as_large_as_trimesh_says(profile):
    solid = turned_solid(profile, at_x_m=0.03, at_y_m=-0.01)
    found = mesh(solid)
    assert found.is_watertight
    assert found.is_winding_consistent
    assert found.body_count == 1
    assert found.volume * 1e-9 == pytest.approx(turned_volume(profile), rel=1e-9)
    assert solid_volume(solid) == pytest.approx(turned_volume(profile), rel=1e-12)
    assert np.allclose(found.center_mass[:2], (30.0, -10.0), atol=1e-9)


def test_the_facets_fall_short_of_a_circle_by_what_a_polygon_does():
    """A regular n-gon in a circle: n/(2 pi) sin(2 pi/n) of its area (any text on plane geometry)."""
    round_m3 = math.pi * 0.01**2 * 0.002
    share = FACETS / (2.0 * math.pi) * math.sin(2.0 * math.pi / FACETS)
    assert turned_volume([(0.01, 0.0), (0.01, 0.002)]) == pytest.approx(round_m3 * share, rel=1e-12)
    assert 0.999 < share < 1.0


def test_a_frustum_has_the_volume_of_the_handbook():
    """V = pi h/3 (R^2 + R r + r^2); the polygon is 0.07 % less."""
    exact = math.pi * 0.004 / 3.0 * (0.003**2 + 0.003 * 0.001 + 0.001**2)
    assert turned_volume([(0.003, 0.0), (0.001, 0.004)]) == pytest.approx(exact, rel=1e-3)


def test_a_box_is_watertight_and_stands_where_it_was_put():
    solid = box_solid(width_m=0.012, depth_m=0.01, height_m=0.0008, at_x_m=-0.02, at_y_m=0.005)
    found = mesh(solid)
    assert found.is_watertight
    assert found.volume == pytest.approx(12.0 * 10.0 * 0.8, rel=1e-12)
    assert np.allclose(found.bounds, [[-26.0, 0.0, 0.0], [-14.0, 10.0, 0.8]], atol=1e-9)
    assert solid_volume(solid) == pytest.approx(12e-3 * 10e-3 * 0.8e-3, rel=1e-12)


@given(
    radii=st.lists(st.floats(3e-4, 0.08), min_size=2, max_size=6),
    steps=st.lists(st.floats(5e-5, 0.02), min_size=6, max_size=6),
)
def test_any_rising_profile_closes(radii, steps):
    """Closed: each edge is met once each way (Euler; any text on meshes)."""
    height = np.concatenate(([0.0], np.cumsum(steps)))[: len(radii)]
    solid = turned_solid(list(zip(radii, height.tolist(), strict=True)), at_x_m=0.0, at_y_m=0.0)
    assert solid_volume(solid) > 0.0
    edges = np.concatenate([solid[:, [a, b]] for a, b in ((0, 1), (1, 2), (2, 0))]).reshape(-1, 6)
    there = {tuple(e) for e in edges.tolist()}
    assert len(there) == len(edges)
    assert all((*e[3:], *e[:3]) in there for e in there)


@pytest.mark.parametrize(
    "profile", [[(0.01, 0.0)], [(0.0, 0.0), (0.01, 0.01)], [(0.01, 0.01), (0.01, 0.0)], [(0.01, 0.0), (math.nan, 0.01)]]
)
def test_what_is_no_profile_is_refused(profile):
    with pytest.raises(DomainError):
        turned_solid(profile, at_x_m=0.0, at_y_m=0.0)
