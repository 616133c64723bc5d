"""Meshes of the public registries, against trimesh and manifold3d and the properties known of the files."""

from __future__ import annotations

import functools

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from tests.real_meshes import real_mesh

from vatwright.geometry.mesh import Mesh, inspect, mend, merge_triangles, split_shells
from vatwright.geometry.profile import area_profile, layer_count
from vatwright.geometry.sections import loop_measures, sections

CLOSED = ["gearwheel", "bunny", "nut", "sphere", "ant"]
OPEN = ["scanned bunny", "airplane"]


@functools.cache
def ours(name: str) -> Mesh:
    return merge_triangles(real_mesh(name))


def theirs(name: str) -> trimesh.Trimesh:
    return trimesh.Trimesh(ours(name).vertices_m, ours(name).faces, process=False)


def manifold(mesh: Mesh) -> manifold3d.Manifold:
    """The same mesh as manifold3d holds it, in double precision."""
    return manifold3d.Manifold(
        manifold3d.Mesh64(vert_properties=mesh.vertices_m, tri_verts=mesh.faces.astype(np.uint64))
    )


def grid(mesh: Mesh, layers: int) -> dict:
    """Layers that cut the mesh in about `layers` pieces, away from its vertices."""
    bottom, top = mesh.bounds_m[:, 2]
    return {"layer_nm": round((top - bottom) / layers * 1e9), "bottom_m": float(bottom)}


@pytest.mark.parametrize("name", CLOSED)
def test_closed_meshes_are_sound_and_have_trimesh_s_volume_and_shells(name):
    health = inspect(ours(name))
    reference = theirs(name)
    assert reference.is_watertight
    assert reference.is_winding_consistent
    assert health.sound
    assert len(health.shells) == reference.body_count == {"ant": 15}.get(name, 1)
    assert health.volume_m3 == pytest.approx(reference.volume, rel=1e-12)
    assert health.bounds_m.tolist() == reference.bounds.tolist()
    assert mend(ours(name)) == (ours(name), [])


@pytest.mark.parametrize("name", CLOSED)
def test_shells_have_the_volumes_of_manifold3d(name):
    for shell in split_shells(ours(name)):
        solid = manifold(shell)
        assert solid.status() == manifold3d.Error.NoError
        assert inspect(shell).volume_m3 == pytest.approx(solid.volume(), rel=1e-9)


@pytest.mark.parametrize("name", CLOSED)
def test_layer_areas_and_perimeters_are_those_of_manifold3d(name):
    layers = 60
    for shell in split_shells(ours(name)):
        solid = manifold(shell)
        window = grid(shell, layers)
        profile = area_profile(shell, **window, layers=layers)
        cuts = [solid.slice(window["bottom_m"] + (k + 0.5) * window["layer_nm"] / 1e9) for k in range(layers)]
        area = np.array([cut.area() for cut in cuts])
        assert profile.area_m2 == pytest.approx(area, rel=1e-6, abs=1e-6 * area.max())
        length = [sum(shapely.LinearRing(ring).length for ring in cut.to_polygons()) for cut in cuts]
        assert profile.perimeter_m == pytest.approx(np.array(length), rel=1e-6, abs=1e-6 * max(length))
        assert profile.open_layers.size == 0


@pytest.mark.parametrize("name", CLOSED)
def test_outlines_cover_what_manifold3d_s_cover(name):
    layers = 25
    for shell in split_shells(ours(name)):
        solid = manifold(shell)
        window = grid(shell, layers)
        found = sections(shell, **window, first=0, count=layers)
        assert not found.loop_open.any()
        for k in range(layers):
            cut = solid.slice(window["bottom_m"] + (k + 0.5) * window["layer_nm"] / 1e9)
            assert len(found.loops(k)) == cut.num_contour()
            apart = filled(found.loops(k)).symmetric_difference(filled(cut.to_polygons()))
            assert apart.area <= 1e-6 * cut.area()


def filled(loops: list[np.ndarray]) -> shapely.Geometry:
    """The region between loops that do not cross, whichever way they run."""
    region = shapely.Polygon()
    for loop in sorted(loops, key=lambda loop: -shapely.Polygon(loop).area):
        region = region.symmetric_difference(shapely.Polygon(loop))
    return region


@pytest.mark.parametrize("name", CLOSED + OPEN)
def test_outlines_add_up_to_the_profile_in_every_closed_layer(name):
    mesh, layers = ours(name), 500
    window = grid(mesh, layers)
    profile = area_profile(mesh, **window, layers=layers)
    found = sections(mesh, **window, first=0, count=layers)
    of_layer = np.repeat(np.arange(layers), np.diff(found.layer_start))
    measures = loop_measures(found)
    area = np.bincount(of_layer, measures.area_m2, minlength=layers)
    length = np.bincount(of_layer, measures.perimeter_m, minlength=layers)
    assert length == pytest.approx(profile.perimeter_m, rel=1e-9)
    assert np.unique(of_layer[found.loop_open]).tolist() == profile.open_layers.tolist()
    closed = np.setdiff1d(np.arange(layers), profile.open_layers)
    assert area[closed] == pytest.approx(profile.area_m2[closed], rel=1e-9, abs=1e-12 * np.ptp(mesh.bounds_m) ** 2)


@pytest.mark.parametrize("name", CLOSED)
def test_areas_times_thickness_converge_to_the_volume(name):
    mesh = ours(name)
    volume = inspect(mesh).volume_m3
    error = []
    for layers in (100, 1000, 10_000):
        window = grid(mesh, layers)
        count = layer_count(np.ptp(mesh.bounds_m[:, 2]), window["layer_nm"])
        error.append(abs(area_profile(mesh, **window, layers=count).volume_m3 / volume - 1))
    # the area jumps where flat faces lie: an error of one layer at most, first order; smooth parts do much better
    assert error[0] < 1e-2
    assert error[1] < 1e-3
    assert error[2] < 1e-4


@pytest.mark.parametrize("name", OPEN)
def test_open_meshes_are_told_apart_as_trimesh_does(name):
    reference = theirs(name)
    health = inspect(ours(name))
    assert not reference.is_watertight
    assert not health.closed
    assert len(health.shells) == len(trimesh.graph.connected_components(_joined(ours(name)), min_len=1))
    uses = np.bincount(reference.edges_unique_inverse)
    assert health.open_edges == (uses == 1).sum()
    assert health.overused_edges == (uses > 2).sum()
    mended, notes = mend(ours(name))
    assert {note.kind for note in notes} <= {"open", "overused"}
    assert len(mended.faces) == len(ours(name).faces)


def _joined(mesh: Mesh) -> np.ndarray:
    """Pairs of faces that share an edge, by brute force; every face is paired with itself too."""
    edge = np.sort(np.stack([mesh.faces, np.roll(mesh.faces, -1, axis=1)], axis=2).reshape(-1, 2), axis=1)
    order = np.lexsort(edge.T)
    same = (edge[order][1:] == edge[order][:-1]).all(axis=1)
    pairs = np.stack([order[1:][same], order[:-1][same]], axis=1) // 3
    return np.vstack([pairs, np.repeat(np.arange(len(mesh.faces))[:, None], 2, axis=1)])


def test_a_plate_of_gearwheels_is_one_shape_many_times():
    corners = real_mesh("gearwheel") / np.float32(1000)
    places = [(0.05 * i, 0.05 * j, 0.0) for i in range(3) for j in range(2)]
    plate = merge_triangles(np.concatenate([corners + np.array(place, np.float32) for place in places]))
    health = inspect(plate)
    assert [len(copies) for copies in health.identical_shells] == [6]
    assert health.volume_m3 == pytest.approx(6 * theirs("gearwheel").volume / 1e9, rel=1e-5)
