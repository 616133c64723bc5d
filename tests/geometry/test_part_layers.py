"""One solid three ways (mesh, outlines, pictures) must give the same layers; closed forms of prisms, cones and hollows."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh

from vatwright.errors import InputError
from vatwright.geometry.mesh import merge_triangles
from vatwright.geometry.part_layers import OutlineStack, layers_of_bitmaps, layers_of_mesh, layers_of_outlines
from vatwright.physics.squeeze_film import annulus_torsion, vented_annulus_torsion

LAYER_NM = 100_000
LAYER_MM = 0.1


def quiet(what, done, total):
    """Nobody listens."""


def mesh_of(solid):
    return merge_triangles(np.asarray(solid.vertices[solid.faces]) / 1e3)


def layers(solid, layer_nm=LAYER_NM, step=quiet):
    return layers_of_mesh(mesh_of(solid), layer_nm=layer_nm, step=step)


def box(size, at=(0.0, 0.0, 0.0)):
    solid = trimesh.creation.box(extents=size)
    solid.apply_translation(np.asarray(at) + np.asarray(size) / 2.0)
    return solid


def ring(*points):
    return np.array(points, dtype=np.float64) / 1e3


SQUARE = ring((0, 0), (10, 0), (10, 10), (0, 10))
HOLE = ring((3, 3), (3, 7), (7, 7), (7, 3))


def stack(count, *rings, bottom_mm=0.0, thickness_mm=LAYER_MM):
    tops = tuple((bottom_mm + (k + 1) * thickness_mm) / 1e3 for k in range(count))
    return OutlineStack(bottom_m=bottom_mm / 1e3, tops_m=tops, rings_m=(rings,) * count)


def test_a_square_tube_is_the_same_from_a_mesh_from_outlines_and_from_pictures():
    tube = trimesh.boolean.difference([box((10, 10, 2)), box((4, 4, 4), (3, 3, -1))], engine="manifold")
    mask = np.zeros((100, 100), dtype=bool)
    mask[:] = True
    mask[30:70, 30:70] = False
    found = [
        layers(tube),
        layers_of_outlines([stack(20, SQUARE, HOLE)], layer_nm=LAYER_NM, step=quiet),
        layers_of_bitmaps(iter([mask] * 20), pixel_m=1e-4, layers=20, layer_nm=LAYER_NM, step=quiet),
    ]
    for one in found:
        assert one.layers == 20
        assert one.area_m2 * 1e6 == pytest.approx(np.full(20, 84.0), rel=1e-9)
        assert one.perimeter_m * 1e3 == pytest.approx(np.full(20, 56.0), rel=1e-9)
        assert one.volume_m3 * 1e9 == pytest.approx(168.0, rel=1e-9)
        # Walls, and the flats below and above: 56 x 2 + 2 x 84.
        assert one.surface_m2 * 1e6 == pytest.approx(280.0, rel=1e-9)
        assert one.islands.tolist() == [1] * 20
        assert one.torsion_m4 == pytest.approx(found[0].torsion_m4, rel=5e-3)
        assert (one.closed, one.overlap_m3, one.warnings) == (True, 0.0, ())
    # Standing on the platform the tube is shut at its upper end: a pocket from its first layer to its last.
    assert [tuple(p) for p in found[0].pockets[:, :2].astype(int)] == [
        tuple(p) for p in found[1].pockets[:, :2].astype(int)
    ]
    assert found[0].pockets[:, 2:] == pytest.approx(found[2].pockets[:, 2:], rel=1e-9)


@pytest.mark.parametrize("layer_nm", [50_000, 100_000, 400_000])
def test_a_cone_has_the_areas_of_its_sections_and_converges_to_its_volume(layer_nm):
    sides, radius, height = 64, 10.0, 20.0
    cone = trimesh.creation.cone(radius=radius, height=height, sections=sides)
    found = layers(cone, layer_nm)
    z = (np.arange(found.layers) + 0.5) * layer_nm / 1e6
    polygon = 0.5 * sides * np.sin(2 * np.pi / sides)  # area of the regular polygon in a circle of radius 1
    assert found.area_m2 * 1e6 == pytest.approx(polygon * (radius * (1 - z / height)) ** 2, rel=1e-6, abs=1e-9)
    # The midpoint rule on a parabola: the error is V h^2 / (4 H^2), second order.
    exact = polygon * radius**2 * height / 3.0
    assert found.volume_m3 * 1e9 == pytest.approx(exact * (1 - (layer_nm / 1e6 / height) ** 2 / 4), rel=1e-6)


def test_a_frustum_s_surface_counts_sides_and_flats():
    # A stepped block: 20 x 20 x 2 below 10 x 10 x 2: sides 80 x 2 + 40 x 2, flats 400 + 300 + 100.
    stepped = trimesh.boolean.union([box((20, 20, 2)), box((10, 10, 3), (5, 5, 1))], engine="manifold")
    assert layers(stepped).surface_m2 * 1e6 == pytest.approx(160 + 80 + 800, rel=1e-9)


def test_copies_that_stand_apart_are_each_where_they_are():
    pieces = [box((4, 6, 2), (x, y, 0)) for x in (0, 10, 20) for y in (0, 10)] + [box((2, 2, 1), (0, 30, 0))]
    found = layers(trimesh.util.concatenate(pieces))
    alone = layers(pieces[0])
    assert found.islands.tolist() == [7] * 10 + [6] * 10
    assert found.area_m2[:10] * 1e6 == pytest.approx(np.full(10, 6 * 24 + 4), rel=1e-9)
    assert found.torsion_m4[10:] == pytest.approx(6 * alone.torsion_m4[10:], rel=1e-3)
    covered = sorted(
        (
            round((standing.runs.x0_m.min() + standing.shift_m[0]) * 1e3, 6),
            round((standing.runs.x1_m.max() + standing.shift_m[0]) * 1e3, 6),
        )
        for standing in found.standing
    )
    assert (covered[0][0], covered[-1][1]) == (0.0, 24.0)
    assert len(found.base_loops_m) == 7


def test_copies_that_hang_at_other_heights_start_in_other_layers():
    foot = box((30, 4, 1))
    hanging = [box((3, 3, 1), (x, 20, height)) for x, height in ((0, 1.0), (10, 2.0), (20, 2.5))]
    found = layers(trimesh.util.concatenate([foot, *hanging]))
    assert sorted(found.fresh[:, 0].astype(int).tolist()) == [10, 20, 25]
    assert found.fresh[:, 0].tolist() == sorted(found.fresh[:, 0])
    assert found.fresh[:, 3] * 1e6 == pytest.approx([9.0] * 3, rel=1e-6)
    assert dict(
        zip(found.fresh[:, 0].astype(int).tolist(), (found.fresh[:, 1] * 1e3).round(6).tolist(), strict=True)
    ) == (pytest.approx({10: 1.5, 20: 11.5, 25: 21.5}, abs=0.06))
    assert found.islands.tolist() == [1] * 10 + [1] * 10 + [1] * 5 + [2] * 5 + [1] * 5


def test_a_cup_with_its_mouth_to_the_film_holds_a_pocket_and_a_vented_one_none_while_the_vent_is_open():
    # A cup printed foot first opens towards the film: closed but for it from the first hollow layer on.
    body, hollow = box((20, 20, 10)), box((16, 16, 9), (2, 2, 2))
    cup = trimesh.boolean.difference([body, hollow], engine="manifold")
    (pocket,) = layers(cup).pockets
    assert (int(pocket[0]), int(pocket[1])) == (20, 99)
    assert pocket[2] * 1e9 == pytest.approx(256 * 8.0, rel=1e-6)
    assert pocket[3] * 1e6 == pytest.approx(256.0, rel=1e-6)
    vent = box((4, 4, 4), (-1, 8, 2))
    vented = trimesh.boolean.difference([cup, vent], engine="manifold")
    assert len(layers(vented).pockets) in {0, 1}
    assert all(int(p[0]) >= 60 for p in layers(vented).pockets)  # nothing is shut while the vent is open


def test_outlines_take_the_slice_at_the_middle_of_each_layer():
    # Slices of 0.3 mm, alternating 100 and 16 mm2, in layers of 0.1 mm: three of each.
    rings = ((SQUARE,), (ring((3, 3), (7, 3), (7, 7), (3, 7)),)) * 2
    tops = tuple((k + 1) * 0.3e-3 for k in range(4))
    found = layers_of_outlines([OutlineStack(0.0, tops, rings)], layer_nm=LAYER_NM, step=quiet)
    assert found.area_m2 * 1e6 == pytest.approx(([100.0] * 3 + [16.0] * 3) * 2, rel=1e-9)
    assert found.bounds_m[1].tolist() == pytest.approx([0.010, 0.010, 0.0012])


def test_several_stacks_stand_at_their_own_heights():
    low = stack(10, SQUARE)
    high = stack(5, np.add(SQUARE, (0.02, 0.0)), bottom_mm=1.0)
    found = layers_of_outlines([low, high], layer_nm=LAYER_NM, step=quiet)
    assert found.area_m2 * 1e6 == pytest.approx([100.0] * 15, rel=1e-9)
    assert found.fresh[:, 0].astype(int).tolist() == [10]


@pytest.mark.parametrize("stacks", [[], [OutlineStack(0.0, (), ())], [stack(3)]])
def test_slices_without_an_outline_are_refused(stacks):
    with pytest.raises(InputError, match="slices: hold no outline"):
        layers_of_outlines(stacks, layer_nm=LAYER_NM, step=quiet)


@pytest.mark.parametrize("shape", [(1, 1), (7, 3), (40, 60)])
def test_the_outline_of_a_full_picture_is_its_edge(shape):
    found = layers_of_bitmaps(iter([np.ones(shape, dtype=bool)]), pixel_m=1e-3, layers=1, layer_nm=LAYER_NM, step=quiet)
    assert found.perimeter_m * 1e3 == pytest.approx([2.0 * sum(shape)])
    assert found.bounds_m[0, :2] * 1e3 == pytest.approx([-shape[1] / 2, -shape[0] / 2])
    assert found.bounds_m[1, :2] * 1e3 == pytest.approx([shape[1] / 2, shape[0] / 2])


def test_small_overlaps_are_not_told_and_large_ones_are():
    # What supports do when they run into a part: half a per cent of the volume; common practice, no source.
    for depth, told in ((0.04, 0), (1.0, 1)):
        pair = trimesh.util.concatenate([box((10, 10, 2)), box((10, 10, 2), (10 - depth, 0, 0))])
        found = layers(pair)
        assert found.overlap_m3 * 1e9 == pytest.approx(depth * 20.0, rel=1e-6)
        assert sum("shells overlap" in text for text in found.warnings) == told
        assert found.volume_m3 * 1e9 == pytest.approx(400.0 - depth * 20.0, rel=1e-9)


def test_open_layers_are_named_as_people_count_them():
    corners = box((10, 10, 2))
    # Without the triangles of one side: open all the way up.
    keep = ~np.isclose(corners.triangles[:, :, 0], 10.0).all(axis=1)
    found = layers(trimesh.Trimesh(corners.vertices, corners.faces[keep], process=False))
    (text,) = (t for t in found.warnings if t.startswith("the mesh is open"))
    assert text.startswith("the mesh is open in 20 layers between 1 and 20 (0.0 to 2.0 mm)")
    assert not found.closed
    assert found.area_m2 * 1e6 == pytest.approx(np.full(20, 100.0), rel=1e-9)


def test_every_step_is_told_and_may_stop_the_work():
    told = []
    layers(box((5, 5, 1)), step=lambda what, done, total: told.append((what, done, total)))
    assert {"mending", "areas", "sections", "regions", "torsion"} <= {what for what, _, _ in told}
    assert all(0 <= done <= total for _, done, total in told)

    def stop(what, done, total):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        layers(box((5, 5, 1)), step=stop)


def bowl(outer=10.0, inner=8.0, floor=2.0, height=6.0, sides=128):
    """A bowl with its floor on the platform and its mouth to the film."""
    body = trimesh.creation.cylinder(radius=outer, height=height, sections=sides)
    hollow = trimesh.creation.cylinder(radius=inner, height=height, sections=sides)
    hollow.apply_translation((0.0, 0.0, floor))
    return trimesh.boolean.difference([body, hollow], engine="manifold")


def test_a_vented_bowl_resists_as_an_open_ring_does_and_a_sealed_one_as_a_closed_one():
    """Closed forms between two circles: Reynolds with zero pressure inside, and Bredt's hollow bar with one pressure."""
    found = layers(bowl())
    wall = slice(25, 60)
    assert found.torsion_m4[wall] == pytest.approx(
        np.full(35, annulus_torsion(outer_radius_m=0.01, inner_radius_m=0.008)), rel=0.01
    )
    assert found.vented_m4[wall] == pytest.approx(
        np.full(35, vented_annulus_torsion(outer_radius_m=0.01, inner_radius_m=0.008)), rel=0.01
    )
    assert np.array_equal(found.vented_m4[:20], found.torsion_m4[:20])  # the floor has no hole


def test_what_a_closed_hollow_holds_stays_inside_and_what_a_bowl_holds_does_not():
    ball = trimesh.boolean.difference(
        [trimesh.creation.icosphere(subdivisions=3, radius=r) for r in (6.0, 4.0)], engine="manifold"
    )
    assert layers(ball).pockets[:, 4].tolist() == [1.0]
    assert layers(bowl()).pockets[:, 4].tolist() == [0.0]
