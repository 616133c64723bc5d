"""Joining, inspecting and mending meshes, against trimesh, closed forms, and cases broken on purpose."""

from __future__ import annotations

import attrs
import numpy as np
import pytest
import trimesh

from vatwright.errors import DomainError, InputError
from vatwright.geometry.mesh import (
    Mesh,
    group_identical,
    inspect,
    mend,
    merge_triangles,
    scale,
    split_shells,
    translate,
)


def box(*extents: float, at: tuple[float, float, float] = (0, 0, 0)) -> Mesh:
    """A box by its side lengths, its lowest corner at `at`."""
    solid = trimesh.creation.box(extents=extents)
    return Mesh(vertices_m=solid.vertices + np.array(extents) / 2 + np.array(at), faces=solid.faces)


def joined(*meshes: Mesh) -> Mesh:
    """Several meshes as one, corners with the same bits made one."""
    return merge_triangles(np.concatenate([mesh.vertices_m[mesh.faces] for mesh in meshes]))


def inside_out(mesh: Mesh) -> Mesh:
    return Mesh(vertices_m=mesh.vertices_m, faces=mesh.faces[:, ::-1])


def triangles(mesh: Mesh) -> set[tuple]:
    """The oriented triangles as a set that depends on no order."""
    found = set()
    for corners in mesh.vertices_m[mesh.faces].tolist():
        points = [tuple(p) for p in corners]
        k = points.index(min(points))
        found.add(tuple(points[k:] + points[:k]))
    return found


def trimesh_of(mesh: Mesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)


CUBE = box(0.01, 0.01, 0.01)


# joining


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
def test_joining_keeps_every_triangle_and_makes_equal_corners_one(dtype):
    solid = trimesh.creation.icosphere(subdivisions=5)
    corners = solid.triangles.astype(dtype)
    mesh = merge_triangles(corners)
    assert len(mesh.vertices_m) == len(solid.vertices)
    assert len(mesh.faces) == len(corners)
    assert triangles(mesh) == triangles(Mesh(vertices_m=corners.reshape(-1, 3), faces=np.arange(corners.size // 3)))
    assert trimesh_of(mesh).euler_number == 2  # a ball: V - E + F = 2 (Euler)


def test_joining_does_not_depend_on_the_order_of_the_triangles():
    corners = trimesh.creation.torus(3.0, 1.0).triangles
    shuffled = np.random.default_rng(1).permutation(corners)
    assert triangles(merge_triangles(corners)) == triangles(merge_triangles(shuffled))


def test_minus_zero_is_zero():
    one = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    other = np.array([[-0.0, -0.0, -0.0], [0, 1, -0.0], [-1, 0, 0]])
    mesh = merge_triangles(np.stack([one, other]))
    assert len(mesh.vertices_m) == 4
    assert not np.signbit(mesh.vertices_m[mesh.vertices_m == 0]).any()


def test_numbers_that_differ_in_the_last_bit_stay_apart():
    one = np.array([[0.0, 0, 0], [1, 0, 0], [0, 1, 0]])
    other = one.copy()
    other[1, 0] = np.nextafter(1.0, 2.0)
    assert len(merge_triangles(np.stack([one, other])).vertices_m) == 4


def test_a_soup_without_one_shared_corner_keeps_all_corners():
    corners = np.random.default_rng(2).random((20_000, 3, 3), dtype=np.float32)
    different = len(np.unique(corners.reshape(-1, 3), axis=0))
    assert len(merge_triangles(corners).vertices_m) == different


def test_all_triangles_in_one_point_are_one_corner():
    mesh = merge_triangles(np.full((1000, 3, 3), 7.0))
    assert mesh.vertices_m.tolist() == [[7.0, 7.0, 7.0]]
    assert inspect(mesh).degenerate_faces == 1000


@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_a_corner_that_is_not_finite_is_refused_with_its_triangle(bad):
    corners = np.zeros((5, 3, 3), np.float32)
    corners[3, 1, 2] = bad
    with pytest.raises(InputError, match="triangle 3 has a corner that is not a finite number"):
        merge_triangles(corners)
    with pytest.raises(InputError, match="corner 10 is not a finite number"):
        Mesh(vertices_m=corners.reshape(-1, 3), faces=[[0, 1, 2]])


def test_shapes_and_numbers_that_fit_nothing_are_refused():
    with pytest.raises(InputError, match=r"the shape is \(4, 3\)"):
        merge_triangles(np.zeros((4, 3)))
    with pytest.raises(InputError, match=r"a corner outside 0\.\.2"):
        Mesh(vertices_m=np.eye(3), faces=[[0, 1, 3]])
    with pytest.raises(InputError, match="a corner outside"):
        Mesh(vertices_m=np.eye(3), faces=[[0, 1, -1]])


def test_a_mesh_cannot_be_changed_by_assignment():
    with pytest.raises(attrs.exceptions.FrozenInstanceError):
        CUBE.faces = CUBE.faces


# edges


def test_half_edges_meet_as_trimesh_says():
    mesh = joined(trimesh_mesh := Mesh(**_arrays(trimesh.creation.torus(3.0, 1.0))))
    twin = mesh.edges.twin
    h = np.arange(len(twin))
    assert (twin[twin] == h).all()
    start, end = mesh.faces.ravel(), np.roll(mesh.faces, -1, axis=1).ravel()
    assert (start[twin] == end).all()
    assert mesh.edges.count.tolist() == [len(trimesh_of(trimesh_mesh).edges_unique), 0, 0, 0, 0]


def _arrays(solid: trimesh.Trimesh) -> dict:
    return {"vertices_m": solid.vertices, "faces": solid.faces}


def test_a_corner_with_thousands_of_edges():
    n = 5000
    t = np.linspace(0, 2 * np.pi, n, endpoint=False)
    rim = np.stack([np.cos(t), np.sin(t), np.zeros(n)], axis=1)
    i, j = np.arange(n) + 2, (np.arange(n) + 1) % n + 2
    sides = np.concatenate([np.stack([np.zeros(n), i, j], 1), np.stack([np.ones(n), j, i], 1)])
    health = inspect(Mesh(vertices_m=np.vstack([[0, 0, 1], [0, 0, -1], rim]), faces=sides))
    assert health.sound
    # two pyramids on a regular n-gon: 2/3 of the area n/2 sin(2 pi/n)
    assert health.volume_m3 == pytest.approx(n / 3 * np.sin(2 * np.pi / n), rel=1e-12)


# what is reported


def test_a_sound_cube():
    health = inspect(CUBE)
    assert health.sound
    assert health.closed
    assert (health.faces, health.vertices, len(health.shells)) == (12, 8, 1)
    assert health.volume_m3 == pytest.approx(1e-6, rel=1e-14)
    assert health.bounds_m.tolist() == [[0, 0, 0], [0.01, 0.01, 0.01]]
    same, notes = mend(CUBE)
    assert same is CUBE
    assert notes == []


def test_an_empty_mesh_is_neither_closed_nor_an_error():
    empty = Mesh(vertices_m=[], faces=[])
    health = inspect(empty)
    assert not health.closed
    assert not health.sound
    assert health.shells == ()
    assert health.volume_m3 == 0.0
    assert np.isnan(health.bounds_m).all()
    assert mend(empty) == (empty, [])
    assert split_shells(empty) == ()


def test_an_open_cube_tells_where_and_is_not_filled():
    mesh = Mesh(vertices_m=CUBE.vertices_m, faces=CUBE.faces[1:])
    health = inspect(mesh)
    assert not health.closed
    assert health.open_edges == 3
    gone = CUBE.vertices_m[CUBE.faces[0]]
    middles = (gone + np.roll(gone, -1, axis=0)) / 2
    assert sorted(health.open_places_m.tolist()) == sorted(middles.tolist())
    same, notes = mend(mesh)
    assert same is mesh
    assert [(note.kind, note.count) for note in notes] == [("open", 3)]


def test_no_more_than_ten_open_places_are_named():
    loose = np.random.default_rng(3).random((50, 3, 3))
    health = inspect(merge_triangles(loose))
    assert health.open_edges == 150
    assert health.open_places_m.shape == (10, 3)
    assert len(health.shells) == 50


def test_a_badly_wound_face_is_counted_and_turned_back():
    faces = CUBE.faces.copy()
    faces[4] = faces[4][::-1]
    mesh = Mesh(vertices_m=CUBE.vertices_m, faces=faces)
    health = inspect(mesh)
    assert health.closed
    assert health.badly_wound_edges == 3
    assert not health.sound
    assert health.shells[0].miswound
    assert health.inverted_shells == ()
    mended, notes = mend(mesh)
    assert [(note.kind, note.count) for note in notes] == [("rewound", 1)]
    assert triangles(mended) == triangles(CUBE)


def test_random_winding_comes_out_right_whichever_way_most_faces_pointed():
    solid = trimesh.creation.icosphere(subdivisions=3)
    turn = np.random.default_rng(4).random(len(solid.faces)) < 0.7
    faces = solid.faces.copy()
    faces[turn] = faces[turn][:, ::-1]
    mended, notes = mend(Mesh(vertices_m=solid.vertices, faces=faces))
    assert [note.kind for note in notes] == ["rewound", "turned"]
    assert triangles(mended) == triangles(Mesh(**_arrays(solid)))
    assert inspect(mended).volume_m3 == pytest.approx(solid.volume, rel=1e-12)


def test_repeated_faces_are_counted_and_dropped():
    mesh = Mesh(vertices_m=CUBE.vertices_m, faces=np.vstack([CUBE.faces, np.roll(CUBE.faces[5:6], 1, axis=1)]))
    health = inspect(mesh)
    assert (health.duplicate_faces, health.overused_edges, health.closed) == (1, 3, False)
    mended, notes = mend(mesh)
    assert [(note.kind, note.count) for note in notes] == [("duplicate", 1)]
    assert triangles(mended) == triangles(CUBE)
    assert inspect(mended).sound


def test_a_whole_shell_given_twice_is_twice_the_volume_until_mended():
    mesh = joined(CUBE, CUBE)
    health = inspect(mesh)
    assert health.closed
    assert (health.duplicate_faces, health.overused_edges, len(health.shells)) == (12, 18, 1)
    assert not health.sound
    assert health.volume_m3 == pytest.approx(2e-6, rel=1e-12)
    assert inspect(mend(mesh)[0]).volume_m3 == pytest.approx(1e-6, rel=1e-12)


def test_faces_that_name_a_corner_twice_change_nothing_and_are_dropped():
    mesh = Mesh(vertices_m=CUBE.vertices_m, faces=np.vstack([[[0, 0, 1]], CUBE.faces, [[3, 3, 3]], [[1, 0, 1]]]))
    health = inspect(mesh)
    assert (health.degenerate_faces, health.closed, health.open_edges, len(health.shells)) == (3, True, 0, 1)
    mended, notes = mend(mesh)
    assert [(note.kind, note.count) for note in notes] == [("degenerate", 3)]
    assert triangles(mended) == triangles(CUBE)


def test_a_flat_face_that_closes_a_seam_is_reported_and_kept():
    # one face of the cube is split at the middle of an edge, its neighbour is not: a needle joins them
    a, b, c = CUBE.faces[0]
    middle = (CUBE.vertices_m[a] + CUBE.vertices_m[b]) / 2
    m = len(CUBE.vertices_m)
    faces = np.vstack([[[a, m, c], [m, b, c], [a, b, m]], CUBE.faces[1:]])
    mesh = Mesh(vertices_m=np.vstack([CUBE.vertices_m, middle]), faces=faces)
    health = inspect(mesh)
    assert (health.flat_faces, health.degenerate_faces, health.sound) == (1, 0, True)
    assert mend(mesh)[0] is mesh
    assert health.volume_m3 == pytest.approx(1e-6, rel=1e-12)


def test_an_inside_out_cube_is_turned():
    health = inspect(inside_out(CUBE))
    assert health.inverted_shells == (0,)
    assert not health.sound
    assert health.volume_m3 == pytest.approx(-1e-6, rel=1e-12)
    mended, notes = mend(inside_out(CUBE))
    assert [(note.kind, note.count) for note in notes] == [("turned", 1)]
    assert triangles(mended) == triangles(CUBE)


CAVITY = inside_out(box(0.004, 0.004, 0.004, at=(0.003, 0.003, 0.003)))
CORE = box(0.002, 0.002, 0.002, at=(0.004, 0.004, 0.004))
NESTED = joined(CUBE, CAVITY, CORE)


def test_a_cavity_stays_inside_out_and_the_core_within_it_solid():
    health = inspect(NESTED)
    assert health.sound
    assert health.volume_m3 == pytest.approx(1e-6 - 6.4e-8 + 8e-9, rel=1e-12)
    assert mend(NESTED)[0] is NESTED


@pytest.mark.parametrize(
    "parts",
    [
        (inside_out(CUBE), CAVITY, CORE),
        (CUBE, CAVITY, inside_out(CORE)),
        (inside_out(CUBE), CAVITY, inside_out(CORE)),
        (inside_out(CUBE), inside_out(CAVITY), inside_out(CORE)),
    ],
    ids=["outside wrong", "core wrong", "both wrong", "all inside out"],
)
def test_nested_shells_turned_wrong_come_right(parts):
    mended, notes = mend(joined(*parts))
    assert [note.kind for note in notes] == ["turned"]
    assert triangles(mended) == triangles(NESTED)


def test_a_cavity_beside_an_inside_out_solid_is_not_confused_with_it():
    far = box(0.01, 0.01, 0.01, at=(0.05, 0, 0.02))
    assert triangles(mend(joined(inside_out(far), CUBE, CAVITY))[0]) == triangles(joined(far, CUBE, CAVITY))


def test_a_solid_inside_a_solid_is_left_alone():
    both = joined(CUBE, CORE)
    assert inspect(both).sound
    assert mend(both)[0] is both


def test_a_one_sided_strip_is_named_as_such():
    n = 12
    t = 2 * np.pi * np.arange(n) / n
    rows = []
    for side in (-0.3, 0.3):
        r = 1 + side * np.cos(t / 2)
        rows.append(np.stack([r * np.cos(t), r * np.sin(t), side * np.sin(t / 2)], axis=1))
    low, high = np.arange(n), np.arange(n) + n
    low_next, high_next = np.append(low[1:], high[0]), np.append(high[1:], low[0])  # joined with a half turn
    faces = np.concatenate([np.stack([low, low_next, high_next], 1), np.stack([low, high_next, high], 1)])
    mesh = Mesh(vertices_m=np.vstack(rows), faces=faces)
    assert not trimesh_of(mesh).is_winding_consistent
    mended, notes = mend(mesh)
    kinds = {note.kind: note.count for note in notes}
    assert kinds["one-sided"] == 1
    assert kinds["open"] == inspect(mended).open_edges == 2 * n


def test_a_fin_on_a_cube_is_an_overused_edge():
    a, b, _ = CUBE.faces[0]
    fin = [[a, b, len(CUBE.vertices_m)]]
    mesh = Mesh(vertices_m=np.vstack([CUBE.vertices_m, [[0.02, 0.02, 0.03]]]), faces=np.vstack([CUBE.faces, fin]))
    health = inspect(mesh)
    assert (health.closed, health.overused_edges, health.open_edges) == (False, 1, 2)
    assert {note.kind for note in mend(mesh)[1]} == {"open", "overused"}


def test_boxes_that_share_an_edge_are_closed_and_boxes_that_share_a_corner_are_two_shells():
    edge = joined(box(1, 1, 1), box(1, 1, 1, at=(1, 1, 0)))
    health = inspect(edge)
    assert (health.closed, health.overused_edges, len(health.shells), health.sound) == (True, 1, 1, True)
    assert health.volume_m3 == pytest.approx(2.0, rel=1e-14)
    corner = joined(box(1, 1, 1), box(1, 1, 1, at=(1, 1, 1)))
    assert len(corner.vertices_m) == 15
    assert [shell.volume_m3 for shell in inspect(corner).shells] == pytest.approx([1.0, 1.0])


# far away and very large


def test_the_volume_of_a_small_cube_far_away():
    far = box(0.01, 0.01, 0.01, at=(4096.0, -4096.0, 8192.0))  # coordinates there are rounded to 1e-12
    assert inspect(far).volume_m3 == pytest.approx(1e-6, rel=1e-9)


def test_coordinates_at_the_end_of_single_precision():
    corners = (box(1, 1, 1).vertices_m[CUBE.faces] * 3e38).astype(np.float32)
    health = inspect(merge_triangles(corners))
    assert health.sound
    assert health.volume_m3 == pytest.approx(2.7e115, rel=1e-6)


# shells and copies


def test_shells_are_those_trimesh_finds():
    parts = [trimesh.creation.icosphere(subdivisions=2), trimesh.creation.torus(3.0, 0.5), trimesh.creation.box()]
    parts[2].apply_translation([10, 0, 0])
    mesh = joined(*(Mesh(**_arrays(part)) for part in parts))
    ours = split_shells(mesh)
    theirs = trimesh_of(mesh).split()
    assert sorted(len(shell.faces) for shell in ours) == sorted(len(part.faces) for part in theirs)
    assert sorted(inspect(s).volume_m3 for s in ours) == pytest.approx(sorted(p.volume for p in theirs), rel=1e-12)
    assert set().union(*(triangles(shell) for shell in ours)) == triangles(mesh)


def test_copies_on_a_single_precision_plate_are_found_and_turned_ones_are_not():
    solid = trimesh.creation.annulus(r_min=3.0, r_max=5.0, height=2.0)
    solid.apply_transform(trimesh.transformations.euler_matrix(0.3, 0.2, 0.1))
    places_mm = np.array([[i * 12.3, j * 13.7, 1.1 * j] for i in range(4) for j in range(3)])
    plate = [(solid.triangles + place).astype(np.float32) for place in places_mm]
    turned = solid.copy()
    turned.apply_transform(trimesh.transformations.rotation_matrix(0.5, [0, 0, 1]))
    plate.append((turned.triangles + np.array([80, 0, 0])).astype(np.float32))
    mirrored = solid.triangles[:, ::-1] * [1, -1, 1] + np.array([100, 0, 0])
    plate.append(mirrored.astype(np.float32))
    shells = split_shells(scale(merge_triangles(np.concatenate(plate)), factor=1e-3))
    group, offset_m = group_identical(shells)
    sizes = sorted(np.bincount(group).tolist())
    assert sizes == [1, 1, 12]
    largest = np.flatnonzero(group == np.argmax(np.bincount(group)))
    found = offset_m[largest] - offset_m[largest].min(axis=0)
    wanted = places_mm / 1e3
    assert np.abs(found[np.lexsort(found.round(5).T)] - wanted[np.lexsort(wanted.round(5).T)]).max() < 1e-7
    health = inspect(scale(merge_triangles(np.concatenate(plate)), factor=1e-3))
    assert [len(copies) for copies in health.identical_shells] == [12]


def test_a_copy_must_match_within_the_tolerance_and_face_by_face():
    moved = Mesh(vertices_m=CUBE.vertices_m + np.where(np.arange(8)[:, None] == 7, 3e-7, 0), faces=CUBE.faces)
    assert group_identical([CUBE, moved])[0].tolist() == [0, 1]
    assert group_identical([CUBE, moved], tolerance_m=5e-7)[0].tolist() == [0, 0]
    assert group_identical([CUBE, inside_out(CUBE)])[0].tolist() == [0, 1]
    again = np.random.default_rng(5).permutation(np.roll(CUBE.faces, 1, axis=1))
    assert group_identical([CUBE, Mesh(vertices_m=CUBE.vertices_m, faces=again)])[0].tolist() == [0, 0]
    with pytest.raises(DomainError, match="tolerance_m"):
        group_identical([CUBE], tolerance_m=0.0)


def test_shifting_and_scaling():
    moved = scale(translate(CUBE, offset_m=(1, 2, 3)), factor=2.0)
    assert moved.bounds_m.tolist() == [[2, 4, 6], [2.02, 4.02, 6.02]]
    with pytest.raises(DomainError, match="factor"):
        scale(CUBE, factor=-1.0)
    with pytest.raises(DomainError, match="offset_y_m"):
        translate(CUBE, offset_m=(0, np.nan, 0))
