"""Outlines of layers and what is measured on them, against shapely, trimesh and handbook formulas."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import trimesh

from vatwright.errors import DomainError
from vatwright.geometry.mesh import Mesh, merge_triangles
from vatwright.geometry.profile import area_profile
from vatwright.geometry.sections import Sections, loop_measures, sections, sections_in_chunks


def mesh_of(solid: trimesh.Trimesh) -> Mesh:
    return Mesh(vertices_m=solid.vertices, faces=solid.faces)


def cut(mesh: Mesh, layers: int, bottom_m: float = 0.0, layer_nm: int = 100_000_000) -> Sections:
    return sections(mesh, layer_nm=layer_nm, bottom_m=bottom_m, first=0, count=layers)


def drawn(*loops, is_open: bool = False) -> Sections:
    """Sections of one layer with the given loops."""
    start = np.cumsum([0] + [len(loop) for loop in loops])
    return Sections(
        layer_nm=1,
        bottom_m=0.0,
        first=0,
        points_m=np.concatenate(loops).astype(float),
        loop_start=start,
        layer_start=np.array([0, len(loops)]),
        loop_open=np.full(len(loops), is_open),
    )


BOX = trimesh.creation.box(bounds=[[0, 0, 0], [2, 1, 1]])
TUBE = trimesh.creation.annulus(r_min=0.3, r_max=0.5, height=1.0, sections=48)


# loops


def test_a_box_is_one_loop_a_layer_counter_clockwise():
    found = cut(mesh_of(BOX), 10)
    assert found.count == 10
    assert found.layer_start.tolist() == list(range(11))
    assert not found.loop_open.any()
    measures = loop_measures(found)
    assert measures.area_m2 == pytest.approx(2.0, rel=1e-14)
    assert measures.perimeter_m == pytest.approx(6.0, rel=1e-14)
    assert shapely.equals(shapely.Polygon(found.loops(4)[0]), shapely.box(0, 0, 2, 1))


def test_outer_loops_run_counter_clockwise_and_holes_clockwise():
    found = cut(mesh_of(TUBE), 10, bottom_m=-0.5)
    for layer in range(10):
        outer, inner = sorted(found.loops(layer), key=lambda loop: -np.abs(loop).max())
        assert shapely.LinearRing(outer).is_ccw
        assert not shapely.LinearRing(inner).is_ccw
        assert np.hypot(*inner.T) == pytest.approx(np.full(len(inner), 0.3), abs=0.3 * (1 - np.cos(np.pi / 48)))


def test_outlines_are_those_trimesh_cuts():
    solid = trimesh.creation.torus(1.0, 0.35, major_sections=40, minor_sections=24)
    solid.apply_transform(trimesh.transformations.euler_matrix(0.7, 0.4, 0.2))
    low = solid.bounds[0, 2]
    layers = int((solid.bounds[1, 2] - low) / 0.05)
    found = cut(mesh_of(solid), layers, bottom_m=low, layer_nm=50_000_000)
    for layer in range(layers):
        lines = trimesh.intersections.mesh_plane(solid, [0, 0, 1], [0, 0, low + (layer + 0.5) * 0.05])
        theirs = shapely.polygonize(shapely.linestrings(lines[..., :2].round(12)).tolist())
        ours = [shapely.Polygon(loop) for loop in found.loops(layer)]
        assert len(theirs.geoms) == len(ours)
        for polygon in ours:
            assert min(polygon.symmetric_difference(other).area for other in theirs.geoms) < 1e-10


def test_the_sum_of_the_loops_is_the_profile():
    solid = mesh_of(trimesh.creation.torus(1.0, 0.35))
    found = cut(solid, 700, bottom_m=-0.35, layer_nm=1_000_000)
    profile = area_profile(solid, layer_nm=1_000_000, bottom_m=-0.35, layers=700)
    measures = loop_measures(found)
    assert np.add.reduceat(measures.area_m2, found.layer_start[:-1]) == pytest.approx(profile.area_m2, rel=1e-12)
    assert np.add.reduceat(measures.perimeter_m, found.layer_start[:-1]) == pytest.approx(
        profile.perimeter_m, rel=1e-12
    )


def test_any_window_of_layers_gives_the_same_bits():
    solid = mesh_of(trimesh.creation.icosphere(subdivisions=4))
    whole = cut(solid, 200, bottom_m=-1.0, layer_nm=10_000_000)
    pieces = list(sections_in_chunks(solid, layer_nm=10_000_000, bottom_m=-1.0, layers=200, points_at_once=5_000))
    assert len(pieces) > 3
    assert [piece.first for piece in pieces] == np.cumsum([0] + [piece.count for piece in pieces[:-1]]).tolist()
    assert all(len(piece.points_m) <= 5_000 for piece in pieces)
    assert np.concatenate([piece.points_m for piece in pieces]).tobytes() == whole.points_m.tobytes()
    for piece in pieces:
        for layer in range(piece.first, piece.first + piece.count):
            ours, wanted = piece.loops(layer), whole.loops(layer)
            assert [loop.tobytes() for loop in ours] == [loop.tobytes() for loop in wanted]


def test_a_layer_with_more_points_than_asked_for_still_comes():
    pieces = list(sections_in_chunks(mesh_of(BOX), layer_nm=100_000_000, bottom_m=0.0, layers=10, points_at_once=1))
    assert [piece.count for piece in pieces] == [1] * 10


def test_faces_and_vertices_lying_in_a_cut_do_not_matter():
    # a box from cut 0 to cut 4, and an octahedron whose waist and tips lie in cuts
    on_cuts = mesh_of(trimesh.creation.box(bounds=[[0, 0, 0.5], [2, 1, 4.5]]))
    found = cut(on_cuts, 6, layer_nm=1_000_000_000)
    assert np.diff(found.layer_start).tolist() == [1, 1, 1, 1, 0, 0]
    assert loop_measures(found).area_m2 == pytest.approx(2.0, rel=1e-14)
    tips = np.array([[0, 0, 0.5], [2, 0, 2.5], [0, 2, 2.5], [-2, 0, 2.5], [0, -2, 2.5], [0, 0, 4.5]], float)
    ring = [(1, 2), (2, 3), (3, 4), (4, 1)]
    octahedron = Mesh(vertices_m=tips, faces=[[0, b, a] for a, b in ring] + [[5, a, b] for a, b in ring])
    found = cut(octahedron, 6, layer_nm=1_000_000_000)
    area = np.zeros(6)
    np.add.at(area, np.repeat(np.arange(6), np.diff(found.layer_start)), loop_measures(found).area_m2)
    assert area == pytest.approx([0, 2, 8, 2, 0, 0], abs=1e-15)  # 2 r^2 with r = 0, 1, 2, 1, 0
    assert not found.loop_open.any()


def test_boxes_that_share_an_edge_close_in_every_layer():
    other = trimesh.creation.box(bounds=[[2, 1, 0], [3, 2, 1]])
    mesh = merge_triangles(np.concatenate([BOX.triangles, other.triangles]))
    found = cut(mesh, 10)
    assert not found.loop_open.any()
    area = np.add.reduceat(loop_measures(found).area_m2, found.layer_start[:-1])
    assert area == pytest.approx(3.0, rel=1e-14)


# broken meshes


def test_an_open_mesh_gives_flagged_chains_that_keep_their_ends():
    wall = np.flatnonzero(BOX.face_normals @ [1, 0, 0] > 0.5)
    mesh = Mesh(vertices_m=BOX.vertices, faces=np.delete(BOX.faces, wall, axis=0))
    found = cut(mesh, 10)
    assert found.loop_open.all()
    assert len(found.loop_open) == 10
    for layer in range(10):
        (chain,) = found.loops(layer)
        assert chain[0].tolist() == [2, 1]
        assert chain[-1].tolist() == [2, 0]
    assert loop_measures(found).perimeter_m == pytest.approx(5.0, rel=1e-14)  # 6 less the missing wall


def test_opposite_holes_give_two_chains_and_closed_loops_beside_them_stay_closed():
    walls = np.flatnonzero(np.abs(BOX.face_normals @ [1, 0, 0]) > 0.5)
    corners = np.concatenate([np.delete(BOX.triangles, walls, axis=0), TUBE.triangles + np.array([5, 5, 0.5])])
    found = cut(merge_triangles(corners), 10)
    for layer in range(10):
        loops = slice(found.layer_start[layer], found.layer_start[layer + 1])
        assert sorted(found.loop_open[loops].tolist()) == [False, False, True, True]
    length = loop_measures(found).perimeter_m
    assert length[found.loop_open] == pytest.approx(2.0, rel=1e-14)


def test_a_badly_wound_wall_gives_open_chains():
    faces = BOX.faces.copy()
    wall = np.flatnonzero(BOX.face_normals @ [1, 0, 0] > 0.5)
    faces[wall] = faces[wall][:, ::-1]
    found = cut(Mesh(vertices_m=BOX.vertices, faces=faces), 10)
    assert np.diff(found.layer_start).tolist() == [2] * 10
    assert found.loop_open.all()
    assert loop_measures(found).perimeter_m.sum() == pytest.approx(60.0, rel=1e-14)


def test_repeated_faces_leave_an_open_chain_of_their_own():
    wall = int(np.flatnonzero(BOX.face_normals @ [1, 0, 0] > 0.5)[0])
    found = cut(Mesh(vertices_m=BOX.vertices, faces=np.vstack([BOX.faces, BOX.faces[wall]])), 10)
    assert np.diff(found.layer_start).tolist() == [2] * 10
    closed = ~found.loop_open
    assert closed.sum() == 10
    assert loop_measures(found).area_m2[closed] == pytest.approx(2.0, rel=1e-14)


def test_faces_that_name_a_corner_twice_are_passed_over():
    spoiled = Mesh(vertices_m=BOX.vertices, faces=np.vstack([[[0, 0, 7]], BOX.faces, [[6, 1, 6]]]))
    assert cut(spoiled, 10).points_m.tobytes() == cut(mesh_of(BOX), 10).points_m.tobytes()


def test_an_inside_out_mesh_gives_clockwise_loops():
    found = cut(Mesh(vertices_m=BOX.vertices, faces=BOX.faces[:, ::-1]), 10)
    assert loop_measures(found).area_m2 == pytest.approx(-2.0, rel=1e-14)


def test_empty_meshes_layers_outside_and_no_layers():
    for mesh in (Mesh(vertices_m=[], faces=[]), mesh_of(BOX)):
        found = sections(mesh, layer_nm=100_000_000, bottom_m=0.0, first=50, count=3)
        assert found.layer_start.tolist() == [0, 0, 0, 0]
        assert found.loops(51) == []
        assert loop_measures(found).area_m2.shape == (0,)
        assert sections(mesh, layer_nm=100_000_000, bottom_m=0.0, first=0, count=0).count == 0
        assert list(sections_in_chunks(mesh, layer_nm=100_000_000, bottom_m=0.0, layers=0)) == []


def test_refusals():
    found = cut(mesh_of(BOX), 2)
    with pytest.raises(DomainError, match="2 is not among these layers"):
        found.loops(2)
    for wrong in ({"layer_nm": 0}, {"first": -1}, {"count": -1}, {"bottom_m": np.inf}):
        with pytest.raises(DomainError):
            sections(mesh_of(BOX), **({"layer_nm": 50_000, "bottom_m": 0.0, "first": 0, "count": 1} | wrong))


# measures


@pytest.mark.parametrize("at", [(0.0, 0.0), (1024.0, -2048.0)])
def test_a_rectangle_and_a_right_triangle_by_the_handbook(at):
    # b h^3/12; right triangle b h^3/36 and b^2 h^2/72 with the opposite sign (Roark's Formulas, table A.1)
    b, h = 0.5, 0.25
    rectangle = np.array([[0, 0], [b, 0], [b, h], [0, h]]) + at
    triangle = np.array([[0, 0], [b, 0], [0, h]]) + at
    found = loop_measures(drawn(rectangle, triangle))
    assert found.area_m2 == pytest.approx([b * h, b * h / 2], rel=1e-14)
    assert found.centroid_m == pytest.approx(np.array([[b / 2, h / 2], [b / 3, h / 3]]) + at, rel=1e-14)
    assert found.ixx_m4 == pytest.approx([b * h**3 / 12, b * h**3 / 36], rel=1e-12)
    assert found.iyy_m4 == pytest.approx([h * b**3 / 12, h * b**3 / 36], rel=1e-12)
    assert found.ixy_m4 == pytest.approx([0, -(b**2) * h**2 / 72], rel=1e-12, abs=1e-18)
    assert found.perimeter_m == pytest.approx([2 * (b + h), b + h + np.hypot(b, h)], rel=1e-14)


def test_random_outlines_as_shapely_and_trimesh_measure_them():
    rng = np.random.default_rng(6)
    for _ in range(20):
        n = int(rng.integers(3, 60))
        t = np.sort(rng.random(n)) * 2 * np.pi
        loop = (rng.random(n) + 0.2)[:, None] * np.stack([np.cos(t), np.sin(t)], 1) + rng.random(2)
        found = loop_measures(drawn(loop, loop[::-1]))
        sign = 1 if shapely.LinearRing(loop).is_ccw else -1
        polygon = shapely.Polygon(loop[::sign])
        moments = trimesh.path.polygons.second_moments(polygon, return_centered=True)[0]
        assert found.area_m2 == pytest.approx([sign * polygon.area, -sign * polygon.area], rel=1e-10)
        assert found.perimeter_m == pytest.approx([polygon.length] * 2, rel=1e-12)
        assert found.centroid_m == pytest.approx(np.array([polygon.centroid.coords[0]] * 2), rel=1e-8)
        ours = np.array([found.ixx_m4[0], found.iyy_m4[0], found.ixy_m4[0]])
        assert ours * sign == pytest.approx(np.array(moments[:3]), rel=1e-7, abs=1e-9)


def test_a_loop_without_area_has_the_mean_corner_as_its_centre():
    found = loop_measures(drawn(np.array([[1.0, 1.0], [3.0, 1.0]])))
    assert found.area_m2.tolist() == [0.0]
    assert found.centroid_m.tolist() == [[2.0, 1.0]]
    assert found.perimeter_m.tolist() == [4.0]


def test_an_open_chain_leaves_the_closing_line_out_of_the_perimeter_only():
    found = loop_measures(drawn(np.array([[0.0, 0], [1, 0], [1, 1], [0, 1]]), is_open=True))
    assert found.perimeter_m.tolist() == [3.0]
    assert found.area_m2.tolist() == [1.0]
