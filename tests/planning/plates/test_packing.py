"""Pieces on platforms: never closer than the clearance (shapely is the judge), and denser than their boxes (rectpack)."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import rectpack
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import affinity, union_all
from shapely.geometry import Point, Polygon, box

from vatwright.geometry.footprint import Floor, footprint, turned
from vatwright.planning.demand.base import platform_outline
from vatwright.planning.plates.packing import PackingBench, PieceKind, pack
from vatwright.records.machine import Platform, Window

LARGE = Platform(width_m=0.3, depth_m=0.165)


def star(corners: int, radius_m: float, seed: int) -> np.ndarray:
    """An irregular outline around a point it sees whole."""
    rng = np.random.default_rng(seed)
    turn = (np.arange(corners) + 0.8 * rng.random(corners)) * 2.0 * math.pi / corners
    radius = radius_m * (0.35 + 0.65 * rng.random(corners))
    return np.column_stack((radius * np.cos(turn), radius * np.sin(turn)))


def angle(long_m: float, short_m: float, wide_m: float) -> np.ndarray:
    """An L, as brackets of lanterns are."""
    a, b, w = long_m, short_m, wide_m
    return np.array([[0, 0], [a, 0], [a, w], [w, w], [w, b], [0, b]], dtype=float)


def kind(loop: np.ndarray) -> PieceKind:
    return PieceKind(loops_m=(loop,))


def polygons(kinds, plate):
    return [
        Polygon(turned(kinds[s.kind].loops_m, s.place.turn_deg)[0] + (s.place.x_m, s.place.y_m)).buffer(0)
        for s in plate
    ]


def irregular(count: int) -> list[PieceKind]:
    brackets = [kind(angle(0.02 + 0.001 * k, 0.055 - 0.001 * k, 0.006 + 0.0003 * k)) for k in range(count // 2)]
    return brackets + [kind(star(9, 0.012 + 0.0008 * k, k)) for k in range(count - count // 2)]


@settings(max_examples=25)
@given(
    seeds=st.lists(st.integers(0, 10_000), min_size=2, max_size=8),
    clearance_um=st.integers(0, 4000),
    margin_um=st.integers(0, 6000),
)
def test_pieces_keep_their_distance_and_stay_on_the_platform(seeds, clearance_um, margin_um):
    """Judged by shapely's distances, an independent library."""
    kinds = [kind(star(7, 0.01 + 0.000001 * s, s)) for s in seeds]
    platform = Platform(width_m=0.09, depth_m=0.06)
    packed = pack(kinds, [2] * len(kinds), platform, clearance_m=clearance_um / 1e6, margin_m=margin_um / 1e6)
    floor = box(-0.045, -0.03, 0.045, 0.03).buffer(-margin_um / 1e6 + 1e-9)
    for plate in packed.plates:
        made = polygons(kinds, plate)
        assert all(floor.contains(p) for p in made)
        assert all(a.distance(b) >= clearance_um / 1e6 - 1e-12 for a, b in itertools.combinations(made, 2))
        assert all(a.intersection(b).area == 0.0 for a, b in itertools.combinations(made, 2))
    assert sorted(s.kind for plate in packed.plates for s in plate) == sorted([*range(len(kinds))] * 2)


def test_irregular_outlines_take_fewer_plates_than_their_boxes():
    """Area used at least 15 % better than rectpack, which packs the boxes, on the same platform and clearance."""
    kinds, counts, gap_m, margin_m = irregular(24), [6] * 24, 0.002, 0.003
    packed = pack(kinds, counts, LARGE, clearance_m=gap_m, margin_m=margin_m, pitch_m=0.001)
    boxes = rectpack.newPacker(rotation=True)
    for k, count in zip(kinds, counts, strict=True):
        width, depth = (math.ceil(v * 1e6) for v in np.ptp(k.loops_m[0], axis=0) + gap_m)
        for _ in range(count):
            boxes.add_rect(width, depth)
    room = [round((side - 2 * margin_m + gap_m) * 1e6) for side in (LARGE.width_m, LARGE.depth_m)]
    for _ in range(20):
        boxes.add_bin(*room)
    boxes.pack()
    area = [Polygon(k.loops_m[0]).buffer(0).area for k in kinds]
    total = sum(a * c for a, c in zip(area, counts, strict=True))
    ours = _used(total, [sum(area[s.kind] for s in plate) for plate in packed.plates])
    by_size = {
        tuple(sorted(math.ceil(v * 1e6) for v in np.ptp(k.loops_m[0], axis=0) + gap_m)): a
        for k, a in zip(kinds, area, strict=True)
    }
    theirs = _used(total, [sum(by_size[tuple(sorted((r.width, r.height)))] for r in b) for b in boxes])
    assert ours >= 1.15 * theirs


def _used(total_m2: float, plates_m2: list[float]) -> float:
    """Area used on full plates: all but the last, which is only what was left."""
    full = plates_m2[:-1]
    assert sum(plates_m2) == pytest.approx(total_m2)
    return sum(full) / (len(full) * LARGE.width_m * LARGE.depth_m)


@pytest.mark.parametrize(("side_mm", "best"), [(20, 6 * 3), (30, 4 * 2), (45, 3 * 1 + 3 * 1)])
def test_squares_reach_the_known_optimum(side_mm, best):
    """Squares in a rectangle: floor(W/s) x floor(D/s) by inspection (for 45 mm: two rows of three on 150 x 92)."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * side_mm / 1e3
    platform = Platform(width_m=0.152, depth_m=0.093) if side_mm == 45 else Platform(width_m=0.1285, depth_m=0.0685)
    packed = pack([kind(square)], [40], platform, clearance_m=0.0, margin_m=0.0, pitch_m=0.00025)
    assert max(len(p) for p in packed.plates) == best


def test_a_piece_goes_into_the_hollow_of_another():
    """A ring's box is full, its hollow is not: a bishop stands in it."""
    turn = np.linspace(0.0, 2.0 * math.pi, 64, endpoint=False)
    ring = np.column_stack((np.cos(turn), np.sin(turn)))
    hollow = PieceKind(loops_m=(0.03 * ring, 0.025 * ring[::-1]))
    packed = pack(
        [hollow, kind(0.01 * ring)], [1, 3], Platform(width_m=0.064, depth_m=0.064), clearance_m=0.001, margin_m=0.001
    )
    assert len(packed.plates[0]) == 4


def test_what_fits_no_way_round_is_named():
    packed = pack(
        [kind(angle(0.2, 0.2, 0.01)), kind(angle(0.02, 0.02, 0.01))],
        [1, 1],
        Platform(width_m=0.1, depth_m=0.06),
        clearance_m=0.002,
        margin_m=0.002,
    )
    assert packed.too_large == (0,)
    assert [s.kind for plate in packed.plates for s in plate] == [1]


def test_a_long_piece_goes_across_the_corner():
    bar = np.array([[0.0, 0.0], [0.11, 0.0], [0.11, 0.006], [0.0, 0.006]])
    packed = pack([kind(bar)], [1], Platform(width_m=0.09, depth_m=0.09), clearance_m=0.0, margin_m=0.001)
    assert packed.plates[0][0].place.turn_deg in {45.0, 135.0, 225.0, 315.0}


def test_a_plate_that_is_not_full_stands_near_the_frame():
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * 0.01
    bench = PackingBench([kind(square)], clearance_m=0.002)
    floor = bench.floor(LARGE, margin_m=0.002)
    stand, left = bench.fill([0] * 20, floor.copy())
    window = Window(width_m=0.31, depth_m=0.175)
    moved = bench.towards_frame(stand, floor.copy(), window)
    assert not left
    assert moved is not None
    assert len(moved) == 20

    def deepest(places):
        """The greatest inset of the window that still meets a piece (shapely)."""
        insets = np.arange(0.0, 0.0875, 0.0005)
        made = polygons([kind(square)], places)
        inner = [box(d - 0.155, d - 0.0875, 0.155 - d, 0.0875 - d) for d in insets]
        return max(d for d, b in zip(insets, inner, strict=True) if any(p.intersects(b) for p in made))

    assert deepest(moved) < 0.75 * deepest(stand)
    made = polygons([kind(square)], moved)
    assert all(a.distance(b) >= 0.002 - 1e-12 for a, b in itertools.combinations(made, 2))


def test_cells_are_those_within_half_the_clearance():
    """Judged cell by cell by shapely's distances."""
    loop, pitch_m, half_m = star(11, 0.02, 5), 0.001, 0.001
    made = footprint([loop], pitch_m=pitch_m, clearance_m=2.0 * half_m)
    whole = Polygon(loop).buffer(0)
    corner = np.array(made.corner_m)
    near = {
        (i, j)
        for i in range(made.rows)
        for j in range(made.columns)
        if box(*(corner + (j, i) * np.full(2, pitch_m)), *(corner + (j + 1, i + 1) * np.full(2, pitch_m))).distance(
            whole
        )
        < half_m
    }
    taken = {(r, j) for r, a, b in zip(made.row, made.first, made.last, strict=True) for j in range(a, b + 1)}
    assert taken == near


@settings(max_examples=40, deadline=None)
@given(
    sides=st.lists(st.tuples(st.integers(4, 70), st.integers(4, 50), st.integers(1, 5)), min_size=1, max_size=5),
    width_mm=st.integers(60, 200),
    depth_mm=st.integers(50, 120),
)
def test_boxes_stand_once_apart_inside_and_in_the_middle(sides, width_mm, depth_mm):
    """A box that fits alone, by arithmetic, is never said to be too large."""
    kinds = [kind(np.array([[0, 0], [w, 0], [w, d], [0, d]]) / 1e3) for w, d, _ in sides]
    counts = [n for _, _, n in sides]
    packed = pack(kinds, counts, Platform(width_m=width_mm / 1e3, depth_m=depth_mm / 1e3))
    room = width_mm - 6, depth_mm - 6
    for k, (w, d, _) in enumerate(sides):
        if (w <= room[0] and d <= room[1]) or (d <= room[0] and w <= room[1]):
            assert k not in packed.too_large
    stood = sorted(s.kind for plate in packed.plates for s in plate)
    assert stood == [k for k, n in enumerate(counts) for _ in range(n) if k not in packed.too_large]
    rim = box(3 - width_mm / 2, 3 - depth_mm / 2, width_mm / 2 - 3, depth_mm / 2 - 3)
    for plate in packed.plates:
        made = [affinity.scale(p, 1e3, 1e3, origin=(0, 0)) for p in polygons(kinds, plate)]
        assert all(rim.buffer(1e-6).contains(p) for p in made)
        assert all(a.distance(b) >= 2.0 - 1e-9 for a, b in itertools.combinations(made, 2))
        assert union_all(made).envelope.centroid.distance(Point(0, 0)) < 1e-9


def test_a_piece_as_large_as_the_platform_allows_stands_alone():
    square = np.array([[0, 0], [83.83, 0], [83.83, 53.37], [0, 53.37]]) / 1e3
    packed = pack([kind(square)], [2], Platform(width_m=0.05937, depth_m=0.08983))
    assert [[s.place.turn_deg for s in plate] for plate in packed.plates] == [[90.0], [90.0]]


def test_outlines_nest_and_are_turned_only_where_that_saves_a_plate():
    """Two L of 40 x 40 x 8 mm, one half turned, take 52 x 48 mm with 2 mm between them: by inspection, two such pairs and
    a fifth piece more than rows of their boxes (42 mm each) leave room for."""
    legs, square = kind(angle(0.04, 0.04, 0.008)), kind(np.array([[0, 0], [1, 0], [1, 1], [0, 1]]) * 0.02)
    feet = pack([legs], [60], Platform(width_m=0.15, depth_m=0.092))
    boxes = 3 * 2
    assert len(feet.plates) <= 0.67 * 60 / boxes
    assert {s.place.turn_deg for plate in feet.plates for s in plate} == {0.0, 180.0}
    cubes = pack([square], [60], Platform(width_m=0.15, depth_m=0.092))
    assert {s.place.turn_deg for plate in cubes.plates for s in plate} == {0.0}
    assert max(len(plate) for plate in cubes.plates) == 6 * 4  # floor(146 / 22) x floor(88 / 22)


def test_slices_are_packed_in_half_turns():
    halves = PieceKind(loops_m=(angle(0.04, 0.04, 0.008),), half_turns_only=True)
    plates = pack([halves], [9], Platform(width_m=0.1, depth_m=0.07)).plates
    assert {s.place.turn_deg for plate in plates for s in plate} <= {0.0, 180.0}
    long = PieceKind(loops_m=(angle(0.09, 0.01, 0.008),), half_turns_only=True)
    assert pack([long], [1], Platform(width_m=0.05, depth_m=0.12)).too_large == (0,)


def test_the_same_order_is_packed_the_same_way():
    kinds, counts = irregular(6), [3, 1, 4, 1, 5, 2]
    assert pack(kinds, counts, LARGE) == pack(irregular(6), list(counts), LARGE)


def test_the_floor_is_the_cells_wholly_on_a_round_cornered_platform():
    """Judged cell by cell by shapely; lost is the known (4 - pi) r^2 and what the cells along the arcs stick out."""
    platform = Platform(width_m=0.1, depth_m=0.06, corner_m=0.02)
    floor = PackingBench([], clearance_m=0.0, pitch_m=0.001).floor(platform, margin_m=0.0)
    assert isinstance(floor, Floor)
    whole = Polygon(platform_outline(platform)[0]).buffer(1e-12)
    cells = [box(x, y, x + 0.001, y + 0.001) for x in np.arange(-50, 50) / 1e3 for y in np.arange(-30, 30) / 1e3]
    assert floor.free == sum(whole.contains(cell) for cell in cells)
    lost, arcs = (6000 - floor.free) * 0.001**2, 2.0 * math.pi * 0.02
    assert (4.0 - math.pi) * 0.02**2 <= lost <= (4.0 - math.pi) * 0.02**2 + arcs * 0.001


def first_free(floor: Floor, piece) -> tuple[int, int] | None:
    """Every shift in turn, cell by cell."""
    rows, columns = floor.taken.shape
    for i, j in itertools.product(range(rows - piece.rows + 1), range(columns - piece.columns + 1)):
        runs = zip(piece.row, piece.first, piece.last, strict=True)
        if not any(floor.taken[i + r, j + a : j + b + 1].any() for r, a, b in runs):
            return i, j
    return None


@settings(max_examples=25)
@given(
    width_mm=st.integers(20, 60),
    depth_mm=st.integers(20, 60),
    seeds=st.lists(st.integers(0, 10_000), min_size=1, max_size=12),
)
def test_a_piece_goes_to_the_lowest_place_that_trying_every_place_finds(width_mm, depth_mm, seeds):
    outline, _ = platform_outline(Platform(width_m=width_mm * 1e-3, depth_m=depth_mm * 1e-3))
    floor = Floor(outline, pitch_m=0.001, clearance_m=0.001, margin_m=0.001)
    for seed in seeds:  # until it is full and beyond: what finds no place is as much a case as what does
        shape = star(7, 0.004 + 0.0000012 * seed, seed)
        piece = footprint([shape], pitch_m=0.001, clearance_m=0.001)
        found = floor.lowest(piece)
        assert (found and (found.row, found.column)) == first_free(floor, piece)
        if found:
            floor.put(piece, found)
