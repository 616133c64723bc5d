"""One thing worked out in several ways must come out the same: profile, outlines, runs, volume; torsion and finite elements.

Meshes are those of the public registries (see tests/real_meshes.py), taken as metres and scaled to 40 mm.
"""

from __future__ import annotations

import functools

import attrs
import numpy as np
import pytest
import shapely
import skfem
from skfem.models.poisson import laplace, unit_load
from tests.real_meshes import real_mesh

from vatwright.geometry.layer_torsion import layer_torsion
from vatwright.geometry.mesh import Mesh, inspect, merge_triangles, translate
from vatwright.geometry.part_layers import layers_of_mesh
from vatwright.geometry.profile import area_profile
from vatwright.geometry.region_track import connect
from vatwright.geometry.sections import loop_measures, sections, sections_in_chunks
from vatwright.geometry.spans import row_pitch, spans
from vatwright.geometry.torsion import region_torsion

CLOSED = ("gearwheel", "bunny", "nut", "sphere")
LAYERS = 120
AXES = {"gearwheel": (1, 2, 0), "flat nut": (2, 0, 1)}
"""Which axes of the file are x, y and z: a gearwheel on its rim, a nut on its face."""


@functools.cache
def mesh_of(name):
    corners = np.asarray(real_mesh(name.removeprefix("flat ")), dtype=np.float64)[:, :, AXES.get(name, (0, 1, 2))]
    flat = corners.reshape(-1, 3)
    mesh = merge_triangles((corners - flat.min(axis=0)) * (0.04 / np.ptp(flat, axis=0).max()))
    return translate(mesh, offset_m=(0.0, 0.0, -mesh.bounds_m[0, 2]))


def layer_nm_of(mesh):
    return int(mesh.bounds_m[1, 2] * 1e9 / LAYERS)


def studied(mesh, layer_nm):
    return layers_of_mesh(mesh, layer_nm=layer_nm, step=lambda *_: None)


@pytest.mark.parametrize("name", CLOSED)
def test_profile_outlines_runs_and_volume_agree_from_two_origins(name):
    mesh = mesh_of(name)
    layer_nm = layer_nm_of(mesh)
    for there in (mesh, translate(mesh, offset_m=(0.25, -0.125, 0.0))):
        grid = {"layer_nm": layer_nm, "bottom_m": 0.0}
        profile = area_profile(there, **grid, layers=LAYERS)
        cut = sections(there, **grid, first=0, count=LAYERS)
        measures = loop_measures(cut)
        layer = np.repeat(np.arange(LAYERS), np.diff(cut.layer_start))
        by_loops = np.bincount(layer, measures.area_m2, LAYERS)
        low, high = there.bounds_m[:, :2]
        runs = spans(cut.points_m, cut.loop_start, cut.layer_start, **row_pitch((*low, *high), finest_m=2e-5)._asdict())
        widest = profile.area_m2.max()
        # Green's theorem twice, in other orders: rounding of doubles 0.25 m from the origin.
        assert profile.area_m2 == pytest.approx(by_loops, abs=1e-9 * widest)
        assert profile.perimeter_m == pytest.approx(np.bincount(layer, measures.perimeter_m, LAYERS), rel=1e-9)
        # Rows are a midpoint rule: half a pitch along what lies flat to the rows, at worst.
        assert (np.abs(runs.area_m2 + runs.overlap_area_m2 - by_loops) <= 0.5 * 2e-5 * profile.perimeter_m).all()
        assert np.abs(runs.area_m2 - by_loops).max() < 5e-3 * widest
        # Mid-layer areas are the midpoint rule of the exact volume, which falls with the square of the layers.
        assert profile.volume_m3 == pytest.approx(inspect(there).volume_m3, rel=2e-3)


@pytest.mark.parametrize("name", CLOSED)
def test_where_a_part_stands_changes_nothing_it_asks_for(name):
    mesh = mesh_of(name)
    here = studied(mesh, layer_nm_of(mesh))
    there = studied(translate(mesh, offset_m=(0.11, -0.07, 0.03)), layer_nm_of(mesh))
    assert there.area_m2 == pytest.approx(here.area_m2, abs=1e-9 * here.area_m2.max())
    assert there.torsion_m4 == pytest.approx(here.torsion_m4, abs=1e-5 * here.torsion_m4.max())
    assert there.islands.tolist() == here.islands.tolist()
    assert len(there.pockets) == len(here.pockets)


@pytest.mark.parametrize("name", CLOSED)
def test_a_quarter_turn_changes_nothing_but_the_rows(name):
    mesh = mesh_of(name)
    x, y, z = mesh.vertices_m.T
    turned = Mesh(vertices_m=np.column_stack((-y, x, z)), faces=mesh.faces)
    here, there = studied(mesh, layer_nm_of(mesh)), studied(turned, layer_nm_of(mesh))
    assert there.area_m2 == pytest.approx(here.area_m2, abs=1e-9 * here.area_m2.max())
    assert there.perimeter_m == pytest.approx(here.perimeter_m, rel=1e-9)
    # The torsion grid is square, so only interpolation between other keyframes differs: its tolerance is 0.5 %.
    assert there.torsion_m4 == pytest.approx(here.torsion_m4, rel=0.01, abs=1e-3 * here.torsion_m4.max())


@pytest.mark.parametrize("name", CLOSED)
def test_a_part_twice_as_large_in_layers_twice_as_thick(name):
    mesh = mesh_of(name)
    larger = Mesh(vertices_m=mesh.vertices_m * 2.0, faces=mesh.faces)
    small, large = studied(mesh, layer_nm_of(mesh)), studied(larger, 2 * layer_nm_of(mesh))
    assert large.area_m2 == pytest.approx(4.0 * small.area_m2, abs=1e-9 * large.area_m2.max())
    assert large.perimeter_m == pytest.approx(2.0 * small.perimeter_m, rel=1e-9)
    assert large.volume_m3 == pytest.approx(8.0 * small.volume_m3, rel=1e-9)
    assert large.torsion_m4 == pytest.approx(16.0 * small.torsion_m4, rel=0.01, abs=1e-3 * large.torsion_m4.max())


@pytest.mark.parametrize("name", CLOSED)
def test_no_section_resists_more_than_a_disc_of_its_area(name):
    """Saint-Venant's inequality, Polya and Szego, Isoperimetric Inequalities, chapter 5: J <= A^2 / (2 pi)."""
    found = studied(mesh_of(name), layer_nm_of(mesh_of(name)))
    # Several islands share the area of a layer, which only lowers J; a sealed hole counts to the area it covers.
    assert len(found.pockets) == 0
    assert (found.torsion_m4 <= found.area_m2**2 / (2.0 * np.pi) * 1.005).all()
    assert found.torsion_m4.max() > 0.0


def finite_elements(polygon, *, sealed):
    """J of a polygon by quadratic elements: phi 0 outside; on every hole 0 too, or a constant each that Bredt gives."""
    pieces = shapely.constrained_delaunay_triangles(polygon).geoms
    corners = np.array([shapely.get_coordinates(p)[:3] for p in pieces])
    points, of = np.unique(corners.reshape(-1, 2), axis=0, return_inverse=True)
    mesh = skfem.MeshTri(np.ascontiguousarray(points.T), np.ascontiguousarray(of.reshape(-1, 3).T)).refined(2)
    basis = skfem.Basis(mesh, skfem.ElementTriP2())
    stiffness, load = laplace.assemble(basis), unit_load.assemble(basis)
    edge = basis.get_dofs().all()
    at = shapely.points(basis.doflocs[:, edge].T)
    group = np.full(basis.N, -1)
    rings = list(polygon.interiors) if sealed else []
    for k, ring in enumerate(rings):
        group[edge[shapely.distance(at, ring) < 1e-9]] = k
    free = np.setdiff1d(np.arange(basis.N), edge)
    columns = np.concatenate((free, np.flatnonzero(group >= 0)))
    target = np.concatenate((np.arange(len(free)), len(free) + group[group >= 0]))
    size = len(free) + len(rings)
    gather = skfem.utils.sp.csr_matrix((np.ones(len(columns)), (columns, target)), (basis.N, size))
    areas = np.concatenate((np.zeros(len(free)), [shapely.Polygon(r).area for r in rings]))
    right = gather.T @ load + areas
    return 4.0 * right @ skfem.utils.sp.linalg.spsolve((gather.T @ stiffness @ gather).tocsc(), right)


def real_regions(name, layers):
    """Regions of some layers of a mesh as polygons with their loops, the small ones left out."""
    mesh = mesh_of(name)
    found = []
    for cut in sections_in_chunks(mesh, layer_nm=layer_nm_of(mesh), bottom_m=0.0, layers=LAYERS):
        for n in layers:
            rings = [loop for loop in cut.loops(n) if shapely.Polygon(loop).area > 1e-7]
            solid = shapely.make_valid(
                functools.reduce(shapely.symmetric_difference, (shapely.Polygon(loop).buffer(0) for loop in rings))
            )
            parts = getattr(solid, "geoms", [solid])
            # Scans have corners a nanometre apart, which no triangulation of the reference likes: 2 um are taken off.
            found += [shapely.simplify(p, 2e-6) for p in parts if p.geom_type == "Polygon" and p.area > 2e-6]
    return found


def loops_of(polygon):
    polygon = shapely.geometry.polygon.orient(polygon)
    rings = [np.array(r.coords)[:-1] for r in (polygon.exterior, *polygon.interiors)]
    return np.vstack(rings), np.cumsum([0, *map(len, rings)])


@pytest.mark.slow
def test_torsion_of_real_sections_is_that_of_finite_elements():
    regions = [
        *real_regions("flat gearwheel", (1, 60)),
        *real_regions("gearwheel", (10, 45, 80)),
        *real_regions("flat nut", (3, 60, 100)),
        *real_regions("bunny", (20, 50, 80)),
    ]
    errors, holed = [], 0
    for polygon in regions:
        points, start = loops_of(polygon)
        for sealed in (False, True) if len(polygon.interiors) else (False,):
            flags = np.array([False] + [sealed] * len(polygon.interiors))
            ours = region_torsion(points, start, loop_sealed=flags)
            errors.append(abs(ours / finite_elements(polygon, sealed=sealed) - 1.0))
            holed += len(polygon.interiors) > 0
    assert holed >= 4
    assert np.median(errors) < 0.005
    assert max(errors) < 0.03


def plate_of(mesh, shifts):
    vertices = np.concatenate([mesh.vertices_m + s for s in shifts])
    faces = np.concatenate([mesh.faces + len(mesh.vertices_m) * k for k in range(len(shifts))])
    return Mesh(vertices_m=vertices, faces=faces)


def test_copies_in_one_mesh_ask_for_what_each_asks_for_alone():
    one = mesh_of("nut")
    layer_nm = layer_nm_of(one)
    up = 7 * layer_nm / 1e9
    shifts = [(0, 0, 0), (0.0625, 0, 0), (0, 0.0625, 0), (0.0625, 0.0625, up)]
    alone = studied(one, layer_nm)
    found = studied(plate_of(one, np.array(shifts)), layer_nm)
    assert len(found.standing) == 4
    assert len({id(s.runs) for s in found.standing}) == 2  # what stands free of the platform is another case
    n = alone.layers
    torsion, islands = np.zeros(found.layers), np.zeros(found.layers, dtype=int)
    for first in (0, 0, 0, 7):
        torsion[first : first + n] += alone.torsion_m4
        islands[first : first + n] += alone.islands
    assert found.torsion_m4 == pytest.approx(torsion, abs=5e-3 * torsion.max())
    assert found.islands.tolist() == islands.tolist()
    assert found.fresh[:, 0].tolist() == [7.0]
    assert found.fresh[0, 1:3] == pytest.approx(one.bounds_m[:, :2].mean(axis=0) + 0.0625, abs=2e-3)


def test_pieces_apart_give_the_same_as_one_stack_of_layers():
    """Taking a plate apart must change nothing: against the same kernels run on the whole plate at once."""
    nut, ball = mesh_of("nut"), mesh_of("sphere")
    plate = Mesh(
        vertices_m=np.concatenate(
            [nut.vertices_m, nut.vertices_m + np.array([0.1, 0, 0]), ball.vertices_m + np.array([0.05, 0, 0.001])]
        ),
        faces=np.concatenate([nut.faces, nut.faces + len(nut.vertices_m), ball.faces + 2 * len(nut.vertices_m)]),
    )
    layer_nm = layer_nm_of(nut)
    found = studied(plate, layer_nm)
    cut = sections(plate, layer_nm=layer_nm, bottom_m=0.0, first=0, count=found.layers)
    outlines = (cut.points_m, cut.loop_start, cut.layer_start)
    low, high = plate.bounds_m[:, :2]
    runs = spans(*outlines, **row_pitch((*low, *high))._asdict())
    regions = connect(runs, thickness_m=layer_nm / 1e9)
    whole = layer_torsion(*outlines, spans=runs, regions=regions).layer_torsion_m4
    assert found.torsion_m4 == pytest.approx(whole, abs=5e-3 * whole.max())
    assert found.islands.tolist() == np.diff(regions.island_start).tolist()
    assert sorted(found.fresh[:, 0]) == sorted(regions.fresh_islands[0])
    assert len(found.pockets) == len(regions.pockets.end)


def test_cutting_in_many_blocks_changes_only_the_keyframes(monkeypatch):
    mesh = mesh_of("gearwheel")
    whole = studied(mesh, layer_nm_of(mesh))
    monkeypatch.setattr("vatwright.geometry.part_layers.POINTS_AT_ONCE", 2_000)
    blocks = studied(mesh, layer_nm_of(mesh))
    assert all(
        np.array_equal(getattr(whole, f.name), getattr(blocks, f.name))
        for f in attrs.fields(type(whole))
        if f.name in ("area_m2", "perimeter_m", "islands", "fresh", "pockets")
    )
    assert np.array_equal(whole.runs.x0_m, blocks.runs.x0_m)
    assert blocks.torsion_m4 == pytest.approx(whole.torsion_m4, abs=5e-3 * whole.torsion_m4.max())
