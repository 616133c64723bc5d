"""Areas and perimeters of all layers, against closed forms, exact integers and brute force."""

from __future__ import annotations

from fractions import Fraction
from math import ceil

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st

from vatwright.errors import DomainError
from vatwright.geometry.mesh import Mesh, inspect, merge_triangles, translate
from vatwright.geometry.profile import area_profile, layer_count


def mesh_of(solid: trimesh.Trimesh) -> Mesh:
    return Mesh(vertices_m=solid.vertices, faces=solid.faces)


def cube(side_m: float, at: tuple[float, float, float] = (0, 0, 0)) -> Mesh:
    return Mesh(vertices_m=trimesh.creation.box().vertices * side_m + side_m / 2 + np.array(at), faces=CUBE_FACES)


CUBE_FACES = trimesh.creation.box().faces

PYRAMID = Mesh(  # square base of 2, height 1, apex above the middle
    vertices_m=[[-1, -1, 0], [1, -1, 0], [1, 1, 0], [-1, 1, 0], [0, 0, 1]],
    faces=[[0, 2, 1], [0, 3, 2], [0, 1, 4], [1, 2, 4], [2, 3, 4], [3, 0, 4]],
)


# counting layers


@pytest.mark.parametrize(
    ("height_m", "layer_nm", "layers"),
    [
        (0.010, 50_000, 200),
        (float(np.float32(0.010)), 50_000, 200),
        (float(np.float32(10.0)) / 1000, 50_000, 200),
        (float(np.float32(118.55)) / 1000, 50_000, 2371),  # 7.6 nm above the exact height
        (0.0100002, 50_000, 200),  # 200 nm, within 5 per mille of a layer
        (0.0100003, 50_000, 201),
        (1e-9, 50_000, 1),
        (0.0, 50_000, 0),
    ],
)
def test_layer_count(height_m, layer_nm, layers):
    assert layer_count(height_m, layer_nm) == layers


@given(layers=st.integers(1, 20_000), layer_nm=st.integers(5_000, 200_000))
def test_a_height_of_whole_layers_takes_that_many_even_in_single_precision(layers, layer_nm):
    height_m = layers * layer_nm / 1e9
    assert layer_count(height_m, layer_nm) == layers
    if height_m < 0.1 and layer_nm >= 10_000:
        assert layer_count(float(np.float32(height_m)), layer_nm) == layers


@given(height_nm=st.integers(1, 10**9), layer_nm=st.integers(1, 300_000))
def test_layer_count_is_the_exact_ceiling(height_nm, layer_nm):
    spare = Fraction(5 * layer_nm // 1000)  # 5 per mille of a layer, in whole nanometres
    exact = max(1, ceil((height_nm - spare) / Fraction(layer_nm)))
    assert layer_count(height_nm / 1e9, layer_nm) == exact


@pytest.mark.parametrize(("height_m", "layer_nm"), [(-0.001, 50_000), (np.nan, 50_000), (0.01, 0), (0.01, 0.5)])
def test_layer_count_refuses(height_m, layer_nm):
    with pytest.raises(DomainError, match=r"height_m|layer_nm"):
        layer_count(height_m, layer_nm)


# closed forms


def test_a_cube_of_10_mm_at_50_um_is_200_layers_of_100_mm2():
    profile = area_profile(cube(0.010), layer_nm=50_000, bottom_m=0.0, layers=200)
    assert profile.area_m2 == pytest.approx(1e-4, rel=1e-13)
    assert profile.perimeter_m == pytest.approx(0.04, rel=1e-13)
    assert profile.volume_m3 == pytest.approx(1e-6, rel=1e-13)
    assert profile.open_layers.size == 0
    assert (profile.closure_error_m2 == 0).all()


@pytest.mark.parametrize("layers", [1, 2, 7, 50, 64, 65, 1000, 5000])
def test_a_pyramid_has_the_areas_of_its_closed_form(layers):
    # A = (2 (1 - z))^2, P = 8 (1 - z): similar triangles.  Few layers go the direct way, many by polynomials.
    nm = 1_000_000_000 // layers
    z = (np.arange(layers) + 0.5) * nm / 1e9
    profile = area_profile(PYRAMID, layer_nm=nm, bottom_m=0.0, layers=layers)
    assert np.abs(profile.area_m2 - 4 * (1 - z) ** 2).max() < 1e-13
    assert np.abs(profile.perimeter_m - 8 * (1 - z)).max() < 1e-13


def test_the_volume_converges_by_the_midpoint_rule():
    # the error of the midpoint rule for a quadratic is exactly h^2/24 [A'(1) - A'(0)] = h^2/24 * 8
    for layers in (10, 20, 40):
        profile = area_profile(PYRAMID, layer_nm=1_000_000_000 // layers, bottom_m=0.0, layers=layers)
        assert 4 / 3 - profile.volume_m3 == pytest.approx(8 / 24 / layers**2, rel=1e-9)


def test_a_cone_on_a_polygon_of_many_sides():
    n, layers = 720, 400
    cone = trimesh.creation.cone(radius=0.02, height=0.04, sections=n)
    profile = area_profile(mesh_of(cone), layer_nm=100_000, bottom_m=0.0, layers=layers)
    r = 0.02 * (1 - (np.arange(layers) + 0.5) / layers)
    assert profile.area_m2 == pytest.approx(n / 2 * np.sin(2 * np.pi / n) * r**2, rel=1e-9)  # regular n-gon
    assert profile.perimeter_m == pytest.approx(2 * n * np.sin(np.pi / n) * r, rel=1e-9)


def test_a_tube_counts_its_bore_against_the_area_and_for_the_perimeter():
    tube = trimesh.creation.annulus(r_min=0.003, r_max=0.005, height=0.01, sections=64)
    profile = area_profile(mesh_of(tube), layer_nm=100_000, bottom_m=-0.005, layers=100)
    assert profile.area_m2 == pytest.approx(32 * np.sin(2 * np.pi / 64) * (0.005**2 - 0.003**2), rel=1e-12)
    assert profile.perimeter_m == pytest.approx(128 * np.sin(np.pi / 64) * 0.008, rel=1e-12)


def test_faces_lying_in_a_cut_do_not_matter():
    # bottom, step and top lie exactly in the cuts of layers 0, 2 and 4: each counts from there on
    step = trimesh.util.concatenate(
        [
            trimesh.creation.box(bounds=[[0, 0, 0.5], [2, 2, 2.5]]),
            trimesh.creation.box(bounds=[[0.5, 0.5, 2.5], [1.5, 1.5, 4.5]]),
        ]
    )
    mesh = merge_triangles(step.triangles)
    profile = area_profile(mesh, layer_nm=1_000_000_000, bottom_m=0.0, layers=6)
    assert profile.area_m2.tolist() == [4, 4, 1, 1, 0, 0]
    assert profile.perimeter_m.tolist() == [8, 8, 4, 4, 0, 0]
    assert profile.open_layers.size == 0


def test_layers_outside_the_part_are_empty_and_a_window_sees_the_same_layers():
    solid = mesh_of(trimesh.creation.icosphere(subdivisions=3))
    whole = area_profile(solid, layer_nm=10_000_000, bottom_m=-1.5, layers=300)
    assert (whole.area_m2[:50] == 0).all()
    assert (whole.area_m2[250:] == 0).all()
    part = area_profile(solid, layer_nm=10_000_000, bottom_m=-0.5, layers=70)
    assert part.area_m2 == pytest.approx(whole.area_m2[100:170], rel=1e-12)


def test_overlapping_solids_count_twice_and_an_inside_out_one_negative():
    both = merge_triangles(np.concatenate([m.vertices_m[m.faces] for m in (cube(1.0), cube(1.0, at=(0.5, 0.5, 0)))]))
    assert area_profile(both, layer_nm=10**8, bottom_m=0.0, layers=10).area_m2 == pytest.approx(2.0)
    turned = Mesh(vertices_m=both.vertices_m, faces=both.faces[:, ::-1])
    assert area_profile(turned, layer_nm=10**8, bottom_m=0.0, layers=10).area_m2 == pytest.approx(-2.0)


def test_far_from_the_origin_only_the_rounding_of_coordinates_is_lost():
    near = area_profile(PYRAMID, layer_nm=1_000_000, bottom_m=0.0, layers=1000)
    far = area_profile(translate(PYRAMID, offset_m=(65536, -65536, 0)), layer_nm=1_000_000, bottom_m=0.0, layers=1000)
    assert far.area_m2 == pytest.approx(near.area_m2, abs=1e-12)


# broken meshes


def open_cube(*missing: int) -> Mesh:
    """A cube of 1 m without the walls whose outward normal is +x (0), -x (1), +y (2), -y (3)."""
    box = trimesh.creation.box()
    normal = [[1, 0, 0], [-1, 0, 0], [0, 1, 0], [0, -1, 0]]
    gone = np.any([box.face_normals @ normal[i] > 0.5 for i in missing], axis=0)
    return Mesh(vertices_m=box.vertices + 0.5, faces=box.faces[~gone])


def area_from(mesh: Mesh, z: float, origin: tuple[float, float]) -> float:
    """Area by brute force from the segments that trimesh cuts, each turned so that the solid is on its left."""
    solid = trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)
    lines, face = trimesh.intersections.mesh_plane(solid, [0, 0, 1], [0, 0, z], return_faces=True)
    p, q = lines[:, 0, :2], lines[:, 1, :2]
    normal = solid.face_normals[face]
    wrong = (q - p)[:, 1] * normal[:, 0] - (q - p)[:, 0] * normal[:, 1] < 0
    p[wrong], q[wrong] = q[wrong], p[wrong].copy()
    p, q = p - origin, q - origin
    return float((p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0]).sum() / 2)


def test_a_missing_wall_opens_every_layer_and_the_error_is_that_of_two_origins():
    mesh = open_cube(0)
    profile = area_profile(mesh, layer_nm=100_000_000, bottom_m=0.0, layers=10)
    assert profile.open_layers.tolist() == list(range(10))
    corners = [(x, y) for x in (0, 1) for y in (0, 1)]
    areas = [area_from(mesh, 0.33, corner) for corner in corners]
    assert profile.area_m2[3] == pytest.approx(area_from(mesh, 0.35, (0.5, 0.5)))
    assert profile.closure_error_m2 == pytest.approx(max(areas) - min(areas))
    assert profile.perimeter_m == pytest.approx(3.0)


def test_two_missing_walls_whose_gaps_cancel_are_still_found():
    profile = area_profile(open_cube(0, 1), layer_nm=100_000_000, bottom_m=0.0, layers=10)
    assert profile.open_layers.tolist() == list(range(10))
    assert np.abs(profile.closure_error_m2).max() < 1e-15
    assert profile.area_m2 == pytest.approx(0.5)  # half of it is missing, from any origin


def test_only_the_layers_that_cut_the_hole_are_open():
    ball = trimesh.creation.icosphere(subdivisions=4)
    whole = mesh_of(ball)
    hole = (ball.triangles_center - [1, 0, 0.2]) @ [1, 0, 0] > -0.05
    holed = Mesh(vertices_m=ball.vertices, faces=ball.faces[~hole])
    z = ball.triangles[hole][..., 2]
    profile = area_profile(holed, layer_nm=1_000_000, bottom_m=-1.0, layers=2000)
    heights = -1.0 + (profile.open_layers + 0.5) * 1e-3
    assert len(heights) == pytest.approx((z.max() - z.min()) / 1e-3, abs=1)
    assert heights.min() > z.min()
    assert heights.max() < z.max()
    sound = np.setdiff1d(np.arange(2000), profile.open_layers)
    full = area_profile(whole, layer_nm=1_000_000, bottom_m=-1.0, layers=2000)
    assert profile.area_m2[sound] == pytest.approx(full.area_m2[sound], rel=1e-9)


def test_a_badly_wound_face_shows_as_open_layers():
    faces = CUBE_FACES.copy()
    wall = int(np.flatnonzero(np.abs(trimesh.creation.box().face_normals[:, 0]) > 0.5)[0])
    faces[wall] = faces[wall][::-1]
    mesh = Mesh(vertices_m=cube(1.0).vertices_m, faces=faces)
    assert inspect(mesh).badly_wound_edges == 3
    profile = area_profile(mesh, layer_nm=100_000_000, bottom_m=0.0, layers=10)
    assert profile.open_layers.tolist() == list(range(10))
    assert profile.closure_error_m2.min() > 0


def test_repeated_and_degenerate_faces_in_the_profile():
    wall = int(np.flatnonzero(np.abs(trimesh.creation.box().face_normals[:, 0]) > 0.5)[0])
    twice = Mesh(vertices_m=cube(1.0).vertices_m, faces=np.vstack([CUBE_FACES, CUBE_FACES[wall]]))
    assert len(area_profile(twice, layer_nm=100_000_000, bottom_m=0.0, layers=10).open_layers) == 10
    spoiled = Mesh(vertices_m=cube(1.0).vertices_m, faces=np.vstack([CUBE_FACES, [[0, 0, 7]], [[5, 2, 5]]]))
    profile = area_profile(spoiled, layer_nm=100_000_000, bottom_m=0.0, layers=10)
    assert profile.open_layers.size == 0
    assert profile.area_m2 == pytest.approx(1.0)


def test_empty_meshes_and_no_layers():
    empty = Mesh(vertices_m=[], faces=[])
    profile = area_profile(empty, layer_nm=50_000, bottom_m=0.0, layers=3)
    assert profile.area_m2.tolist() == profile.perimeter_m.tolist() == [0, 0, 0]
    assert profile.open_layers.size == 0
    none = area_profile(PYRAMID, layer_nm=50_000, bottom_m=0.0, layers=0)
    assert none.area_m2.shape == none.closure_error_m2.shape == (0,)
    assert none.volume_m3 == 0.0


@pytest.mark.parametrize(
    "wrong", [{"layer_nm": 0}, {"layer_nm": 0.5}, {"layers": -1}, {"layers": 1.5}, {"bottom_m": np.nan}]
)
def test_refusals(wrong):
    with pytest.raises(DomainError, match=next(iter(wrong))):
        area_profile(PYRAMID, **({"layer_nm": 50_000, "bottom_m": 0.0, "layers": 3} | wrong))
