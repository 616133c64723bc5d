"""A part turned: against closed forms of boxes, cylinders and spheres, and slices by manifold3d."""

from __future__ import annotations

import math

import manifold3d
import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from vatwright.geometry.attitude import Facets, clustered, lying_sides, tilt_matrix, tilt_of, tilted
from vatwright.geometry.mesh import Mesh, inspect
from vatwright.geometry.profile import area_profile, layer_count

LAYER_NM = 100_000
SIDES_M = (0.02, 0.012, 0.03)
angles = st.floats(0.0, 360.0)


def mesh_of(solid, scale=1.0):
    return Mesh(vertices_m=np.asarray(solid.vertices) * scale, faces=solid.faces)


def box(sides_m=SIDES_M):
    return mesh_of(trimesh.creation.box(extents=sides_m))


def areas(mesh, layer_nm=LAYER_NM):
    low, high = mesh.bounds_m[:, 2]
    count = layer_count(float(high - low), layer_nm)
    return area_profile(mesh, layer_nm=layer_nm, bottom_m=float(low), layers=count).area_m2


def chord_m(z, wide, tall, tilt):
    """The level chord of a rectangle tilted by an angle, at a height above its lowest corner; elementary geometry."""
    c, s = math.cos(tilt), math.sin(tilt)
    from_below, from_above = z / (s * c), (wide * s + tall * c - z) / (s * c)
    return np.minimum(np.minimum(from_below, from_above), min(wide / c, tall / s))


@given(tilt=st.floats(0.0, 180.0), turn=angles)
def test_a_tilt_is_a_rotation_that_its_own_upright_gives_back(tilt, turn):
    matrix = tilt_matrix(tilt, turn)
    assert np.allclose(matrix @ matrix.T, np.eye(3), atol=1e-14)
    assert math.isclose(np.linalg.det(matrix), 1.0)
    again = tilt_matrix(*tilt_of(matrix[2]))
    assert np.allclose(again[2], matrix[2], atol=2e-4)  # angles are told to a hundredth of a degree


def test_a_tilt_about_y_lowers_the_right_side():
    # Right-handed about y: z turns towards x (definition of a right-handed rotation).
    assert np.allclose(tilt_matrix(90.0, 90.0) @ (0.0, 0.0, 1.0), (1.0, 0.0, 0.0))


@pytest.mark.parametrize("tilt", [0.0, 45.0, 60.0, 90.0])
def test_a_box_has_the_sections_of_a_tilted_rectangle(tilt):
    wide, deep, tall = SIDES_M
    turned = tilted(box(), tilt_deg=tilt, turn_deg=0.0)
    angle = math.radians(tilt)
    height = turned.bounds_m[1, 2] - turned.bounds_m[0, 2]
    assert math.isclose(height, tall * math.cos(angle) + deep * math.sin(angle), rel_tol=1e-12)
    found = areas(turned)
    z = (np.arange(len(found)) + 0.5) * LAYER_NM / 1e9
    straight = {0.0: np.full(len(found), deep), 90.0: np.full(len(found), tall)}
    expected = straight[tilt] if tilt in straight else np.maximum(chord_m(z, deep, tall, angle), 0.0)
    assert np.allclose(found, wide * expected, rtol=1e-9, atol=1e-12)


def test_a_lying_cylinder_has_sections_of_its_chords():
    radius, length, facets = 0.01, 0.03, 256
    solid = trimesh.creation.cylinder(radius=radius, height=length, sections=facets)
    found = areas(tilted(mesh_of(solid), tilt_deg=90.0, turn_deg=90.0))
    z = (np.arange(len(found)) + 0.5) * LAYER_NM / 1e9
    chord = 2.0 * np.sqrt(np.maximum(radius**2 - (z - radius) ** 2, 0.0))
    short = 1.0 - math.cos(math.pi / facets)  # how far a side of the polygon lies inside the circle
    assert np.abs(found - length * chord)[5:-5].max() < 40.0 * short * length * radius
    assert abs(found.sum() * LAYER_NM / 1e9 / (math.pi * radius**2 * length) - 1.0) < 1e-3


@pytest.mark.parametrize(
    ("tilt", "turn", "expected"),
    [
        (0.0, 0.0, 0.0),  # it stands on its foot
        (45.0, 0.0, 0.0),  # both sides are just steep enough
        (30.0, 0.0, SIDES_M[0] * SIDES_M[1] * math.cos(math.radians(30.0))),  # the foot looks down; its sides are steep
        (60.0, 0.0, SIDES_M[0] * SIDES_M[2] * math.cos(math.radians(30.0))),  # now a side does
        (30.0, 90.0, SIDES_M[0] * SIDES_M[1] * math.cos(math.radians(30.0))),
        (90.0, 180.0, 0.0),
    ],
)
def test_what_of_a_box_looks_down_is_its_projected_side(tilt, turn, expected):
    found = Facets.of(box()).overhang_m2(tilt_deg=tilt, turn_deg=turn, platform_m=1e-4)
    assert math.isclose(found, expected, rel_tol=1e-9, abs_tol=1e-15)


def test_what_of_a_sphere_looks_down_is_a_disc():
    # Faces flatter than 45 degrees are the cap within 45 degrees of the pole; its shadow is a disc of radius r sin 45.
    radius = 0.01
    solid = mesh_of(trimesh.creation.icosphere(subdivisions=5, radius=radius))
    found = Facets.of(solid).overhang_m2(tilt_deg=20.0, turn_deg=130.0, platform_m=1e-9)
    assert math.isclose(found, math.pi * (radius * math.sin(math.pi / 4.0)) ** 2, rel_tol=0.02)


def test_turning_by_a_symmetry_changes_nothing():
    cube = box((0.02, 0.02, 0.02))
    facets, plain = Facets.of(cube), areas(tilted(cube, tilt_deg=25.0, turn_deg=10.0))
    for turn in (100.0, 190.0, 280.0):
        assert np.allclose(areas(tilted(cube, tilt_deg=25.0, turn_deg=turn)), plain, rtol=1e-9, atol=1e-15)
    down = {
        round(facets.overhang_m2(tilt_deg=25.0, turn_deg=t, platform_m=1e-4), 15) for t in (10.0, 100.0, 190.0, 280.0)
    }
    assert len(down) == 1


@given(seed=st.integers(0, 10_000), tilt=st.floats(0.0, 180.0), turn=angles)
def test_random_solids_have_the_sections_that_manifold3d_finds(seed, tilt, turn):
    corners = np.random.default_rng(seed).uniform(-0.01, 0.01, (24, 3))
    solid = manifold3d.Manifold.hull_points(corners) - manifold3d.Manifold.hull_points(corners[:10] * 0.5)
    raw = solid.to_mesh64()
    mesh = Mesh(vertices_m=raw.vert_properties[:, :3], faces=raw.tri_verts.astype(np.int32))
    turned = tilted(mesh, tilt_deg=tilt, turn_deg=turn)
    there = solid.transform(np.column_stack((tilt_matrix(tilt, turn), np.zeros(3))))
    low = float(turned.bounds_m[0, 2])
    found = areas(turned, 500_000)
    expected = [there.slice(low + (k + 0.5) * 5e-4).area() for k in range(len(found))]
    assert np.allclose(found, expected, rtol=1e-5, atol=2e-10)


def test_a_box_lies_on_its_six_sides_the_largest_first():
    # 20 x 30 mm twice, then 12 x 30 mm, then 20 x 12 mm.
    found = lying_sides(box(), most=12)
    assert set(found[:2]) == {(90.0, 0.0), (90.0, 180.0)}
    assert set(found[2:4]) == {(90.0, 90.0), (90.0, 270.0)}
    assert set(found[4:]) == {(0.0, 0.0), (180.0, 0.0)}


def test_a_sphere_has_no_side_to_lie_on_and_a_flat_mesh_neither():
    assert lying_sides(mesh_of(trimesh.creation.icosphere(subdivisions=4)), most=12) == []
    assert lying_sides(Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]]), most=12) == []


def test_a_coarse_mesh_stays_closed_and_close():
    fine = mesh_of(trimesh.creation.torus(0.02, 0.006, major_sections=400, minor_sections=200))
    coarse = clustered(Facets.of(fine), faces=20_000)
    assert 10_000 <= len(coarse.faces) <= 30_000
    assert inspect(coarse).open_edges == 0
    (a, b) = (areas(tilted(m, tilt_deg=35.0, turn_deg=20.0), 1_000_000) for m in (fine, coarse))
    assert np.abs(a - b).max() < 0.01 * a.max()
    down = [Facets.of(m).overhang_m2(tilt_deg=35.0, turn_deg=20.0, platform_m=1e-4) for m in (fine, coarse)]
    assert math.isclose(*down, rel_tol=0.05)
