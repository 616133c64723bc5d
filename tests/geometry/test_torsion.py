"""Torsion of regions against independent finite elements, and of whole layers against their regions."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
import skfem
from scipy import ndimage
from scipy.sparse import csr_matrix
from scipy.sparse.linalg import spsolve
from skfem.models.poisson import laplace, unit_load

from vatwright.errors import DomainError, InputError
from vatwright.geometry.layer_torsion import LayerTorsion, Origin, layer_torsion, torsion_from_spans
from vatwright.geometry.region_track import connect
from vatwright.geometry.spans import Spans, spans, spans_from_bitmaps
from vatwright.geometry.torsion import region_torsion

LAYER = 5e-5


def finite_element_torsion(mesh: skfem.MeshTri, group: np.ndarray, hole_area: list[float]) -> float:
    """Return J by scikit-fem, second order; `group` of each vertex on an edge is 0 (open) or a sealed hole's number."""
    basis = skfem.Basis(mesh, skfem.ElementTriP2())
    matrix, load = laplace.assemble(basis), unit_load.assemble(basis)
    facet_group = group[mesh.facets[:, mesh.boundary_facets()]].max(axis=0)
    target = np.arange(basis.N)
    holes = len(hole_area)
    for g in range(holes + 1):
        dofs = basis.get_dofs(mesh.boundary_facets()[facet_group == g]).all()
        target[dofs] = basis.N + g
    kept, column = np.unique(target, return_inverse=True)
    gather = csr_matrix((np.ones(basis.N), (np.arange(basis.N), column)))
    small, push = (gather.T @ matrix @ gather).tocsr(), gather.T @ load
    push[-holes - 1 :] += [0.0, *hole_area]
    free = np.flatnonzero(kept != basis.N)
    return float(4 * push[free] @ spsolve(small[free][:, free].tocsc(), push[free]))


PLATE = ["########..", "#..#####..", "#..########", "########.##", "###########", "..###..####", "..###..###."]


def plate_of_cells(fine: int) -> tuple[np.ndarray, np.ndarray]:
    width = max(map(len, PLATE))
    cells = np.array([[c == "#" for c in line.ljust(width, ".")] for line in PLATE])
    return cells, np.kron(cells, np.ones((fine, fine), dtype=bool))


def cell_mesh(solid: np.ndarray, size: float) -> skfem.MeshTri:
    rows, columns = solid.shape
    number = np.arange((rows + 1) * (columns + 1)).reshape(rows + 1, columns + 1)
    r, c = np.nonzero(solid)
    a, b, d, e = number[r, c], number[r, c + 1], number[r + 1, c], number[r + 1, c + 1]
    faces = np.hstack([[a, b, e], [a, e, d]])
    used, faces = np.unique(faces, return_inverse=True)
    y, x = np.divmod(used, columns + 1)
    return skfem.MeshTri(np.array([x, y]) * size, faces.reshape(3, -1))


@pytest.fixture(scope="module")
def plate() -> tuple[np.ndarray, np.ndarray, dict[tuple[bool, ...], float]]:
    """Return the loops of an irregular plate with two holes, and its J by finite elements, holes sealed or vented."""
    fine = 8
    cells, solid = plate_of_cells(fine)
    mesh = cell_mesh(solid, 1e-3 / fine)
    holes = ndimage.label(np.pad(~cells, 1, constant_values=True))[0][1:-1, 1:-1]
    inner = [
        k for k in range(1, holes.max() + 1) if not np.isin(k, np.r_[holes[0], holes[-1], holes[:, 0], holes[:, -1]])
    ]
    touched = np.pad(np.kron(holes, np.ones((fine, fine), dtype=int)), 1)
    x, y = np.round(mesh.p / (1e-3 / fine)).astype(int)
    corners = np.array([touched[y + j, x + i] for i in (0, 1) for j in (0, 1)])
    exact = {}
    for flags in [(False, False), (True, True), (True, False)]:
        sealed = [k for k, f in zip(inner, flags, strict=True) if f]
        group = np.zeros(mesh.p.shape[1], dtype=int)
        for g, k in enumerate(sealed):
            group[(corners == k).any(axis=0)] = g + 1
        exact[flags] = finite_element_torsion(mesh, group, [(holes == k).sum() * 1e-6 for k in sealed])
    outline = shapely.union_all([shapely.box(c, r, c + 1, r + 1) for r, c in zip(*np.nonzero(cells), strict=True)])
    outline = shapely.geometry.polygon.orient(outline, 1.0)
    order = sorted(outline.interiors, key=lambda ring: holes[int(ring.centroid.y), int(ring.centroid.x)])
    loops = [np.asarray(ring.coords)[:-1] * 1e-3 for ring in (outline.exterior, *order)]
    return np.vstack(loops), np.cumsum([0, *map(len, loops)]), exact


@pytest.mark.parametrize("angle", [0.0, 0.4, np.pi / 4])
@pytest.mark.parametrize("flags", [(False, False), (True, True), (True, False)])
def test_irregular_plate_with_holes_equals_finite_elements(plate, flags, angle) -> None:
    """Reference: scikit-fem, second-order triangles, 8 x 8 x 2 to a cell (its own corner error is about 0.2 %)."""
    points, loops, exact = plate
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    found = region_torsion(points @ turn, loops, loop_sealed=np.array([False, *flags]))
    assert found == pytest.approx(exact[flags], rel=0.012)


@pytest.mark.parametrize("sealed", [False, True])
def test_wavy_ring_equals_finite_elements(sealed: bool) -> None:
    """Reference: scikit-fem on a mapped polar mesh; smooth edges, off centre, so both are good to 0.1 %."""
    around, across = 360, 24
    angle = 2 * np.pi * np.arange(around) / around
    outer = (8e-3 * (1 + 0.15 * np.cos(3 * angle) + 0.1 * np.sin(5 * angle)))[:, None] * np.c_[
        np.cos(angle), np.sin(angle)
    ]
    inner = 3e-3 * (1 + 0.2 * np.cos(2 * angle))[:, None] * np.c_[np.cos(angle), np.sin(angle)] + [1e-3, 5e-4]
    part = np.linspace(0.0, 1.0, across + 1)[:, None, None]
    points = ((1 - part) * inner + part * outer).reshape(-1, 2)
    k, a = np.divmod(np.arange(across * around), around)
    low, high = k * around + a, (k + 1) * around + a
    low_next, high_next = k * around + (a + 1) % around, (k + 1) * around + (a + 1) % around
    mesh = skfem.MeshTri(points.T, np.hstack([[low, high, high_next], [low, high_next, low_next]]))
    group = np.full(len(points), 0)
    group[:around] = 1 if sealed else 0
    exact = finite_element_torsion(mesh, group, [shapely.Polygon(inner).area] if sealed else [])
    both = np.vstack([outer, inner[::-1]])
    found = region_torsion(both, np.array([0, around, 2 * around]), loop_sealed=np.array([False, sealed]))
    assert found == pytest.approx(exact, rel=2e-3)


def test_error_falls_with_the_square_of_the_spacing() -> None:
    """Closed form for the ellipse; from 4 to 16 spacings a second-order scheme gains a factor 16, here at least 8."""
    angle = 2 * np.pi * np.arange(2000) / 2000
    ellipse = np.c_[3 * np.cos(angle), np.sin(angle)]
    exact = np.pi * 27 / 10
    errors = [
        np.mean([abs(region_torsion(ellipse, across=n * f) / exact - 1) for f in (0.96, 1.0, 1.04)])
        for n in (4.0, 16.0)
    ]
    assert errors[1] < errors[0] / 8


@pytest.mark.parametrize("x", np.linspace(0.0, 1.0e-3, 6))
def test_a_sealed_hole_that_no_grid_line_meets_counts_as_solid(x) -> None:
    # A sealed pool moves as the solid around it does, so the ring's constant is pi/2 (R^4 - r^4) (Bredt), here that of the
    # disc to one in 10^7; the grid's lines are 0.83 mm apart and miss most of these places.
    turn = np.linspace(0.0, 2.0 * np.pi, 256, endpoint=False)
    circle = np.column_stack((np.cos(turn), np.sin(turn)))
    ring = np.vstack((0.01 * circle, 2e-4 * circle[::-1] + (x, 0.4 * x)))
    found = region_torsion(ring, np.array([0, 256, 512]), loop_sealed=np.array([False, True]))
    assert abs(found / (0.5 * np.pi * 0.01**4) - 1.0) < 0.01


def test_mistakes_are_named() -> None:
    square = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]])
    with pytest.raises(InputError, match="enclose no area"):
        region_torsion(square[::-1])
    with pytest.raises(InputError, match="2 flags for 1 loops"):
        region_torsion(square, loop_sealed=np.array([True, False]))
    with pytest.raises(InputError, match="outer loop flagged"):
        region_torsion(square, loop_sealed=np.array([True]))
    with pytest.raises(DomainError, match="across"):
        region_torsion(square, across=0.0)


def disc(radius: float, x: float = 0.0, y: float = 0.0) -> np.ndarray:
    angle = 2 * np.pi * np.arange(360) / 360
    return radius * np.c_[np.cos(angle), np.sin(angle)] + [x, y]


def bar(x0: float, y0: float, x1: float, y1: float) -> np.ndarray:
    return np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])


def studied(layers: list[list[np.ndarray]], *, pitch: float = 5e-5, **options: float) -> tuple[LayerTorsion, Spans]:
    loops = [loop for layer in layers for loop in layer]
    sections = (np.vstack(loops), np.cumsum([0, *map(len, loops)]), np.cumsum([0, *map(len, layers)]))
    low, high = sections[0].min(axis=0), sections[0].max(axis=0)
    rows = int(np.ceil((high[1] - low[1]) / pitch)) + 2
    runs = spans(*sections, origin_m=(low[0], low[1] - pitch), pitch_m=pitch, rows=rows)
    return layer_torsion(*sections, spans=runs, regions=connect(runs, thickness_m=LAYER), **options), runs


def test_cup_is_a_hollow_bar_and_a_vented_cup_is_not() -> None:
    """Closed forms of the annulus, R1/R2 = 0.5, sealed and vented."""
    floor, wall = [disc(0.01)], [disc(0.01), disc(0.005)[::-1]]
    notched = [np.array(shapely.difference(shapely.Polygon(disc(0.01)), shapely.union(
        shapely.Polygon(disc(0.005)), shapely.box(0.0, -0.001, 0.02, 0.001))).exterior.coords)[:-1]]  # fmt: skip
    if shapely.Polygon(notched[0]).exterior.is_ccw is False:
        notched[0] = notched[0][::-1]
    cup, _ = studied([floor, wall])
    vented, _ = studied([floor, notched, wall])
    assert cup.layer_torsion_m4[1] == pytest.approx(1.472622e-8, rel=2e-3)
    assert vented.layer_torsion_m4[2] == pytest.approx(0.197895e-8, rel=2e-3)


def test_overlapping_shells_are_solved_as_their_union() -> None:
    """Two bars crossing make a plus; shapely's union of the same bars is solved from its one loop."""
    bars = [bar(0.0, 0.004, 0.012, 0.008), bar(0.004, 0.0, 0.008, 0.012)]
    found, runs = studied([bars])
    plus = shapely.geometry.polygon.orient(shapely.union_all([shapely.Polygon(b) for b in bars]), 1.0)
    assert found.from_runs.tolist() == [True]
    assert runs.overlap_area_m2[0] == pytest.approx(1.6e-5, rel=0.02)
    exact = region_torsion(np.asarray(plus.exterior.coords)[:-1], across=60.0)
    assert found.layer_torsion_m4[0] == pytest.approx(exact, rel=0.02)


def test_a_frame_of_overlapping_bars_seals_its_hole() -> None:
    """Four bars make a frame whose hole no single loop bounds; reference: the same frame as one outline with a hole."""
    frame = [bar(0, 0, 0.01, 0.002), bar(0, 0.008, 0.01, 0.01), bar(0, 0, 0.002, 0.01), bar(0.008, 0, 0.01, 0.01)]
    found, _ = studied([[bar(0, 0, 0.01, 0.01)], frame])
    both = np.vstack([bar(0, 0, 0.01, 0.01), bar(0.002, 0.002, 0.008, 0.008)[::-1]])
    exact = region_torsion(both, np.array([0, 4, 8]), loop_sealed=np.array([False, True]), across=40.0)
    assert found.layer_torsion_m4[1] == pytest.approx(exact, rel=0.02)


def test_a_post_inside_a_cup_adds_its_own_constant() -> None:
    """Post and cup move together: the sealed area counts whole, so J adds; closed forms of annulus and disc."""
    layer = [disc(0.01), disc(0.006)[::-1], disc(0.002)]
    found, _ = studied([[disc(0.01)], layer])
    exact = np.pi / 2 * (0.01**4 - 0.006**4) + np.pi / 2 * 0.002**4
    assert found.layer_torsion_m4[1] == pytest.approx(exact, rel=2e-3)


def test_doubled_shell_counts_once() -> None:
    found, _ = studied([[disc(0.01), disc(0.01)]])
    assert found.layer_torsion_m4[0] == pytest.approx(np.pi / 2 * 0.01**4, rel=0.01)


def test_unchanging_and_copied_islands_are_solved_once() -> None:
    layer = [disc(0.002, 0.005 * k, 0.003 * k) for k in range(4)]
    found, _ = studied([layer] * 10)
    assert found.solves == 1
    assert (found.origin == Origin.COPIED).sum() == 39
    assert found.island_torsion_m4 == pytest.approx(np.pi / 2 * 0.002**4, rel=1e-3)


def test_keyframes_agree_with_solving_every_layer() -> None:
    """From disc to blunt star and tapering: interpolated layers stay within twice the tolerance of their own solve."""
    angle = 2 * np.pi * np.arange(240) / 240
    layers = []
    for n in range(100):
        r = 0.01 * (1 - 0.004 * n) * (1 + 0.0025 * n * np.cos(5 * angle))
        layers.append([r[:, None] * np.c_[np.cos(angle), np.sin(angle)]])
    quick, _ = studied(layers, pitch=2e-4)
    full, _ = studied(layers, pitch=2e-4, tolerance=0.0)
    assert full.solves == 100
    assert quick.solves < 25
    assert (quick.origin == Origin.BETWEEN).sum() == 100 - quick.solves
    assert quick.layer_torsion_m4 == pytest.approx(full.layer_torsion_m4, rel=0.01)


def test_mirrored_or_shifted_holes_are_not_taken_for_copies() -> None:
    """Two squares, a hole as far from the middle, once towards a side and once towards a corner, are two shapes."""
    block = bar(-0.005, -0.005, 0.005, 0.005)
    far = 0.003 / np.sqrt(2)
    layers = [[
        block, disc(0.001, 0.003, 0.0)[::-1], block + np.array([0.02, 0.0]), disc(0.001, 0.02 + far, far)[::-1]
    ]]  # fmt: skip
    found, _ = studied(layers)
    assert found.solves == 2


def test_bitmap_of_a_disc() -> None:
    """Closed form; 200 pixels across, so 1 % for the steps."""
    y, x = np.mgrid[:210, :210] - 104.5
    runs = spans_from_bitmaps([np.hypot(x, y) < 100.0], pixel_m=5e-5)
    found = torsion_from_spans(runs, connect(runs, thickness_m=LAYER))
    assert found.layer_torsion_m4[0] == pytest.approx(np.pi / 2 * 5e-3**4, rel=0.01)
    assert found.from_runs.all()


def test_bitmap_of_a_cup_and_of_a_rectangle_with_unequal_pixels() -> None:
    """Closed form of the sealed annulus; beta table for the 2:1 rectangle."""
    y, x = np.mgrid[:210, :210] - 104.5
    full, wall = np.hypot(x, y) < 100.0, (np.hypot(x, y) < 100.0) & (np.hypot(x, y) > 50.0)
    runs = spans_from_bitmaps([full, wall], pixel_m=5e-5)
    found = torsion_from_spans(runs, connect(runs, thickness_m=LAYER))
    assert found.layer_torsion_m4[1] == pytest.approx(1.472622 * 5e-3**4, rel=0.01)
    flat = spans_from_bitmaps([np.ones((100, 100), dtype=bool)], pixel_m=(1e-4, 5e-5))
    again = torsion_from_spans(flat, connect(flat, thickness_m=LAYER))
    assert again.layer_torsion_m4[0] == pytest.approx(0.2286817 * 0.01 * 0.005**3, rel=2e-3)


def test_bitmap_of_a_post_inside_a_cup() -> None:
    """As for loops: closed forms of sealed annulus and disc add."""
    y, x = np.mgrid[:210, :210] - 104.5
    r = np.hypot(x, y)
    runs = spans_from_bitmaps([r < 100.0, ((r < 100.0) & (r > 60.0)) | (r < 25.0)], pixel_m=5e-5)
    found = torsion_from_spans(runs, connect(runs, thickness_m=LAYER))
    exact = np.pi / 2 * np.array([5e-3**4 - 3e-3**4, 1.25e-3**4])
    assert sorted(found.island_torsion_m4[1:]) == pytest.approx(sorted(exact), rel=0.02)


@pytest.mark.parametrize("seed", range(4))
def test_noise_bitmaps_keep_the_bounds(seed: int) -> None:
    """0 < J, and J <= A^2 / (2 pi) (Polya 1948) with A the area inside the outer edge, sealed holes filled."""
    random = np.random.default_rng(seed).random((8, 120, 150))
    noise = ndimage.gaussian_filter(random, (1, 2, 2 + seed))
    masks = noise > np.quantile(noise, 0.4)
    runs = spans_from_bitmaps(masks, pixel_m=5e-5)
    regions = connect(runs, thickness_m=LAYER)
    found = torsion_from_spans(runs, regions).island_torsion_m4
    for n, mask in enumerate(masks):
        label, count = ndimage.label(mask, structure=np.ones((3, 3)))
        filled = sorted(ndimage.binary_fill_holes(label == k).sum() * 25e-10 for k in range(1, count + 1))
        mine = np.sort(found[regions.island_start[n] : regions.island_start[n + 1]])
        assert (mine > 0.0).all()
        assert (mine <= 1.02 * np.square(filled) / (2 * np.pi)).all()


def test_loops_and_runs_must_be_of_the_same_layers() -> None:
    _, runs = studied([[disc(0.01)]])
    with pytest.raises(InputError, match="2 layers of loops, 1 of runs"):
        layer_torsion(
            np.zeros((0, 2)), np.array([0]), np.array([0, 0, 0]), spans=runs, regions=connect(runs, thickness_m=LAYER)
        )
