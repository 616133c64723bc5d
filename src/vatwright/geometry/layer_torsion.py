"""Torsion constants of every island of every layer, with no more solves than the shapes call for.

An island is solved from its loops, or, where shells overlap, from its runs, so that nothing is counted twice.  Islands
of one layer that are copies of each other share a solve, and so do those that do not change from layer to layer.
Along a stack of islands that changes slowly, only some layers are solved; between them the ratio ``40 J Ip / A**4``,
which is 1 in Saint-Venant's rule of thumb and changes little, is interpolated.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING

import attrs
import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import InputError, require_positive
from vatwright.geometry.blocks import in_blocks
from vatwright.geometry.spans import row_from
from vatwright.geometry.torsion import ACROSS, MOST_NODES, loop_edges, solve_region
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    from vatwright.geometry.region_track import Regions
    from vatwright.geometry.spans import Spans

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Rows = NDArray[np.int32]
    Origins = NDArray[np.int8]
    Outline = tuple[Floats, Ints, Ints, Ints, Ints]
    Told = Callable[[int, int], None]
    Runs = tuple[Rows, Floats, Floats, Ints, Ints, Ints, Ints, Ints, Ints, float, float]

TOLERANCE = 0.005
"""Default: how far the ratio may lie from interpolation before a layer in between is solved too."""

_LONGEST_STEP = 32  # layers between keyframes at most
_LARGEST_JUMP = 0.1  # a larger change of area or perimeter from one layer to the next starts a new stack
_ALIKE = 1e-6  # islands whose moments agree to this part are copies: float32 corners of moved copies do
_LOOK_BACK = 64  # distinct islands of a layer that a further one is compared with
_LEAST_AREA_M2 = 1e-18  # keeps the ratio of an island without area finite: a square of a nanometre
_BATCH = 400_000  # grid nodes solved between two reports of progress: a few tenths of a second


def _untold(_done: int, _total: int) -> None:
    """Take no note."""


class Origin(IntEnum):
    """Where an island's torsion constant comes from."""

    SOLVED = 0
    """Its own solve."""
    COPIED = 1
    """The solve of an island of the same shape."""
    BETWEEN = 2
    """Interpolated between solved layers of its stack."""


@attrs.frozen(kw_only=True, eq=False)
class LayerTorsion:
    """Torsion constants of I islands in N layers.

    Parameters
    ----------
    island_torsion_m4 : (I,) float64 array
        Torsion constant of each island [m4]; divide by ``h**3`` and multiply by ``3 mu`` for its squeeze resistance.
    layer_torsion_m4 : (N,) float64 array
        Sum over each layer's islands [m4]: resistances on one platform add.
    polar_moment_m4 : (I,) float64 array
        Polar second moment of each island about its centroid [m4].
    origin : (I,) int8 array
        One of :class:`Origin`.
    from_runs : (I,) bool array
        Whether the island's outline was taken from its runs, because its shells overlap.
    """

    island_torsion_m4: Floats
    layer_torsion_m4: Floats
    polar_moment_m4: Floats
    origin: Origins
    from_runs: Bools

    @property
    def solves(self) -> int:
        """Return how many islands were solved."""
        return int((self.origin == Origin.SOLVED).sum())


def layer_torsion(
    points_m: Floats,
    loop_start: Ints,
    layer_start: Ints,
    *,
    spans: Spans,
    regions: Regions,
    across: float = ACROSS,
    tolerance: float = TOLERANCE,
    most_nodes: int = MOST_NODES,
    told: Told = _untold,
) -> LayerTorsion:
    """Return the torsion constant of every island and their sum for every layer.

    Parameters
    ----------
    points_m : (P, 2) float64 array
        Loop corners [m], outer loops counter-clockwise, holes clockwise.
    loop_start : (L + 1,) int64 array
        Corners of loop ``l`` are ``loop_start[l]:loop_start[l + 1]``.
    layer_start : (N + 1,) int64 array
        Loops of layer ``n`` are ``layer_start[n]:layer_start[n + 1]``.
    spans : Spans
        The same layers as runs.
    regions : Regions
        What :func:`vatwright.geometry.region_track.connect` made of them: it says which holes are sealed.
    across : float
        Grid spacings in an island's mean thickness, 2 A / P.
    tolerance : float
        Part by which the ratio may lie off interpolation; 0 solves every shape.
    most_nodes : int
        Ceiling on the grid nodes of one island.
    told : callable
        Told how many solves are done, and of how many so far; may raise to stop.

    Returns
    -------
    LayerTorsion
        Torsion constants [m4] and where each comes from.

    Raises
    ------
    DomainError
        When `across` or `most_nodes` is not positive.
    InputError
        When the layers of loops and runs are not as many.

    Notes
    -----
    Mouths of one pocket in one island share their constant; a pocket with mouths in two islands is taken as two.  A
    hole too small for any row to cross is taken as sealed, which changes J little.  Islands no row crosses are left
    out. Islands inside a sealed hole add their own J, and the area they take up stays part of the hole's, as both
    move together.

    Examples
    --------
    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans
    >>> square = np.array([[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01]])
    >>> sections = (np.vstack([square] * 3), np.array([0, 4, 8, 12]), np.array([0, 1, 2, 3]))
    >>> runs = spans(*sections, origin_m=(0.0, 0.0), pitch_m=1e-4, rows=100)
    >>> post = layer_torsion(*sections, spans=runs, regions=connect(runs, thickness_m=5e-5))
    >>> post.solves, [round(float(j) * 1e8, 3) for j in post.layer_torsion_m4]
    (1, [0.141, 0.141, 0.141])

    References
    ----------
    The ratio 40 J Ip / A^4: Saint-Venant, as told by Timoshenko and Goodier, Theory of Elasticity, section 108
    [timoshenko:1951].
    """
    if len(layer_start) != len(spans.layer_start):
        raise InputError.one(
            "layer_start",
            to_say("{value} layers of loops, {layers} of runs", value=len(layer_start) - 1, layers=spans.layers),
            to_say("Give the same layers."),
        )
    points = np.ascontiguousarray(points_m, dtype=np.float64).reshape(-1, 2)
    loops = np.ascontiguousarray(loop_start, dtype=np.int64)
    islands = int(regions.island_start[-1])
    hole_label = _label_after_run(regions)
    layers = np.ascontiguousarray(layer_start, dtype=np.int64)
    rows = (spans.origin_m[1], spans.pitch_m, spans.rows, spans.layer_start, spans.row, spans.x0_m, spans.x1_m)
    placed = in_blocks(
        np.diff(loops[layers]),
        lambda a, b: _place_loops(
            points, loops, layers, *rows, regions.island_of_run, hole_label, len(regions.pockets.end), a, b
        ),
    )
    loop_island, loop_label, loop_area = (np.concatenate([p[k] for p in placed]) for k in range(3))
    by_runs = _overlapping(loop_island, loop_area, regions)
    order, start = _by_island(loop_island, islands)
    outline = (points, loops, order, start, loop_label)
    return _solve_all(outline, by_runs, spans, regions, hole_label, across, tolerance, most_nodes, told)


def torsion_from_spans(
    spans: Spans,
    regions: Regions,
    *,
    across: float = ACROSS,
    tolerance: float = TOLERANCE,
    most_nodes: int = MOST_NODES,
    told: Told = _untold,
) -> LayerTorsion:
    """Return the torsion constant of every island from its runs alone, as for layer bitmaps.

    The outline joins the ends of runs that follow each other one to one; elsewhere it steps midway between two rows.

    Parameters
    ----------
    spans : Spans
        Runs of every layer.
    regions : Regions
        What :func:`vatwright.geometry.region_track.connect` made of them.
    across, tolerance, most_nodes, told : float, float, int, callable
        As for :func:`layer_torsion`.

    Returns
    -------
    LayerTorsion
        Torsion constants [m4]; `from_runs` is true throughout.

    Raises
    ------
    DomainError
        When `across` or `most_nodes` is not positive.

    Notes
    -----
    The outline is known to about half a row pitch, so the error adds a part of order pitch / (2 A / P): 1 % where the
    mean thickness is 100 pixels or so, more below.

    Examples
    --------
    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> runs = spans_from_bitmaps([np.ones((100, 100), dtype=bool)], pixel_m=1e-4)
    >>> square = torsion_from_spans(runs, connect(runs, thickness_m=5e-5))
    >>> round(float(square.layer_torsion_m4[0]) / 0.01**4, 3)
    0.141
    """
    islands = int(regions.island_start[-1])
    nothing = np.zeros(0, np.int64)
    outline = (np.zeros((0, 2)), np.zeros(1, np.int64), nothing, np.zeros(islands + 1, np.int64), nothing)
    every = np.ones(islands, np.bool_)
    return _solve_all(outline, every, spans, regions, _label_after_run(regions), across, tolerance, most_nodes, told)


def _label_after_run(regions: Regions) -> Ints:
    """Return, for the gap after each run, the pocket it is the mouth of; -1 where it is vented or open."""
    if len(regions.hole_pocket) == 0:
        return np.full(len(regions.hole_after_run), -1)
    return np.where(regions.hole_after_run >= 0, regions.hole_pocket[regions.hole_after_run], -1)


def _overlapping(loop_island: Ints, loop_area: Floats, regions: Regions) -> Bools:
    """Return which islands are not one outer loop with its holes, or whose loops and runs differ in area."""
    islands = len(regions.area_m2)
    placed = loop_island >= 0
    outers = np.bincount(loop_island[placed & (loop_area > 0.0)], minlength=islands)
    enclosed = np.bincount(loop_island[placed], weights=loop_area[placed], minlength=islands)
    sides = regions.box_m[:, 2:] - regions.box_m[:, :2]
    allowed = 0.02 * regions.area_m2 + 2.0 * regions.pitch_m * sides.sum(axis=1)
    differ = np.abs(enclosed - regions.area_m2) > allowed
    unlike: Bools = np.logical_or(differ, outers != 1)
    return unlike


def _around_gap(regions: Regions) -> Ints:
    """Return the island around the hole in the gap after each run; -1 where there is no hole."""
    if len(regions.hole_island) == 0:
        return np.full(len(regions.hole_after_run), -1)
    return np.where(regions.hole_after_run >= 0, regions.hole_island[regions.hole_after_run], -1)


@kernel
def _by_island(owner: Ints | Rows, islands: int) -> tuple[Ints, Ints]:
    """Return the members of each island in order, and where each island's members start; owner -1 is left out."""
    start = np.zeros(islands + 1, np.int64)
    for of in owner:
        if of >= 0:
            start[of + 1] += 1
    for i in range(islands):
        start[i + 1] += start[i]
    order = np.empty(start[-1], np.int64)
    place = start[:-1].copy()
    for k in range(owner.size):
        if owner[k] >= 0:
            order[place[owner[k]]] = k
            place[owner[k]] += 1
    return order, start


def _solve_all(
    outline: Outline,
    by_runs: Bools,
    spans: Spans,
    regions: Regions,
    hole_label: Ints,
    across: float,
    tolerance: float,
    most_nodes: int,
    told: Told,
) -> LayerTorsion:
    """Solve, copy or interpolate every island."""
    require_positive(across=across, most_nodes=most_nodes)
    order, start = _by_island(regions.island_of_run, len(by_runs))
    layer_of_run = np.repeat(np.arange(spans.layers), np.diff(spans.layer_start))
    runs = (
        spans.row, spans.x0_m, spans.x1_m, hole_label, _around_gap(regions), order, start, layer_of_run,
        spans.layer_start, spans.origin_m[1], spans.pitch_m,
    )  # fmt: skip
    shapes = in_blocks(np.diff(start), lambda a, b: _shapes(outline, runs, by_runs, a, b))
    shape, sealed = (np.concatenate([p[k] for p in shapes]) for k in (0, 1))
    below, above = _stacks(regions.link_start, regions.link_below, shape, sealed, by_runs)
    like = _copies(regions.island_start, shape, sealed, below)
    nodes = np.minimum(0.25 * across**2 * shape[:, 1] ** 2 / np.maximum(shape[:, 0], _LEAST_AREA_M2), most_nodes)

    def solve(islands: Ints) -> Floats:
        values = in_blocks(
            (20.0 * nodes[islands] + shape[islands, 8]).astype(np.int64),
            lambda a, b: _solve_some(islands[a:b], outline, runs, by_runs, float(across), int(most_nodes)),
        )
        return np.concatenate(values)

    torsion, origin = _solve_stacks(_Known(solve, nodes, told), *_members(below, above), shape, like, float(tolerance))
    per_layer = np.bincount(regions.island_layer, weights=torsion, minlength=spans.layers).astype(np.float64)
    return LayerTorsion(
        island_torsion_m4=torsion,
        layer_torsion_m4=per_layer,
        polar_moment_m4=shape[:, 3] + shape[:, 4],
        origin=origin,
        from_runs=by_runs,
    )


@kernel
def _find_run(row: Rows, x0: Floats, first: int, last: int, r: int, x: float) -> int:
    """Return the last run of row `r`, among first:last, that begins at or before `x`; -1 where there is none."""
    low, high = first, last
    while low < high:
        middle = (low + high) // 2
        if row[middle] < r or (row[middle] == r and x0[middle] <= x):
            low = middle + 1
        else:
            high = middle
    return low - 1 if low > first and row[low - 1] == r else -1


@kernel
def _first_crossing(
    points: Floats, first: int, last: int, y_origin: float, pitch: float, rows: int
) -> tuple[int, float, bool]:
    """Return the row of a loop's first crossing (-1: none), its x, and whether the side rises there."""
    a = last - 1
    before = row_from(points[a, 1], y_origin, pitch, rows)
    for p in range(first, last):
        here = row_from(points[p, 1], y_origin, pitch, rows)
        if here != before:
            r = min(here, before)
            part = (y_origin + (r + 0.5) * pitch - points[a, 1]) / (points[p, 1] - points[a, 1])
            return r, points[a, 0] + part * (points[p, 0] - points[a, 0]), here > before
        a, before = p, here
    return -1, points[first, 0], False


@kernel
def loop_area(points: Floats, first: int, last: int) -> float:
    """Return the signed area of a loop."""
    area = 0.0
    a = last - 1
    for p in range(first, last):
        area += (points[a, 0] - points[first, 0]) * (points[p, 1] - points[first, 1])
        area -= (points[p, 0] - points[first, 0]) * (points[a, 1] - points[first, 1])
        a = p
    return 0.5 * area


@kernel
def _place_loops(
    points: Floats, loops: Ints, layers: Ints, y_origin: float, pitch: float, rows: int, run_layers: Ints, row: Rows,
    x0: Floats, x1: Floats, island: Rows, hole_label: Ints, pockets: int, begin: int, stop: int,
) -> tuple[Ints, Ints, Floats]:  # fmt: skip
    """Return for each loop of layers begin:stop its island (-1: none seen), pocket (-1: open edge) and signed area.

    A loop is placed by its first crossing with a row, whose run begins or ends there.
    """
    base = layers[begin]
    count = layers[stop] - base
    loop_island, loop_label = np.full(count, -1), np.full(count, -1)
    area = np.zeros(count)
    near = 1e-6 * pitch
    for n in range(begin, stop):
        first, last = run_layers[n], run_layers[n + 1]
        for k in range(layers[n], layers[n + 1]):
            if loops[k + 1] - loops[k] < 3:
                continue
            area[k - base] = loop_area(points, loops[k], loops[k + 1])
            r, x, rises = _first_crossing(points, loops[k], loops[k + 1], y_origin, pitch, rows)
            if r < 0:
                if area[k - base] <= 0.0:  # a hole between two rows: the run beside it tells its island
                    r = int((points[loops[k], 1] - y_origin) / pitch)
                    run = _find_run(row, x0, first, last, r, x)
                    if run >= 0 and x <= x1[run]:
                        loop_island[k - base], loop_label[k - base] = island[run], pockets + k
                continue
            run = _find_run(row, x0, first, last, r, x + near)
            if run < 0 or x > x1[run] + near:
                continue
            loop_island[k - base] = island[run]
            if area[k - base] <= 0.0 and rises:
                loop_label[k - base] = hole_label[run]
            elif area[k - base] <= 0.0 and run > first and row[run - 1] == r:
                loop_label[k - base] = hole_label[run - 1]
    return loop_island, loop_label, area


@kernel
def _pieces(
    x0: Floats, x1: Floats, run: int, a: int, b: int, order: Ints, y: float, top: bool, edge: Floats, at: int
) -> int:
    """Write the parts of a run's top or bottom that the island's runs a:b of the next row leave bare."""
    left = x0[run]
    for k in range(a, b + 1):
        right = min(x0[order[k]], x1[run]) if k < b else x1[run]
        if right > left:
            edge[at, 0], edge[at, 2] = (right, left) if top else (left, right)
            edge[at, 1], edge[at, 3] = y, y
            at += 1
        if k < b:
            left = max(left, x1[order[k]])
    return at


@kernel
def _upright(
    edge: Floats, at: int, left_low: float, left_high: float, right_low: float, right_high: float, y_low: float,
    y_high: float,
) -> int:  # fmt: skip
    """Write a left side, going down, and a right side, going up, each from its x at the lower y to that at the higher."""
    edge[at, 0], edge[at, 1], edge[at, 2], edge[at, 3] = left_high, y_high, left_low, y_low
    at += 1
    edge[at, 0], edge[at, 1], edge[at, 2], edge[at, 3] = right_low, y_low, right_high, y_high
    return at + 1


@kernel
def _partners(row: Rows, x0: Floats, x1: Floats, order: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """Return, for each run of an island, which runs of the row above and of the row beneath overlap it (from, to)."""
    runs = order.size
    up_from, up_to = np.zeros(runs, np.int64), np.zeros(runs, np.int64)
    down_from, down_to = np.zeros(runs, np.int64), np.zeros(runs, np.int64)
    a = c = up = down = 0
    for i in range(runs):
        here, left, right = row[order[i]], x0[order[i]], x1[order[i]]
        if i == 0 or row[order[i - 1]] != here:
            while a < runs and row[order[a]] <= here:
                a += 1
            while row[order[c]] < here - 1:
                c += 1
            up, down = a, c
        # A row's runs go from left to right: what ends before this one begins is done with for those that follow too.
        while up < runs and row[order[up]] == here + 1 and x1[order[up]] <= left:
            up += 1
        up_from[i] = k = up
        while k < runs and row[order[k]] == here + 1 and x0[order[k]] < right:
            k += 1
        up_to[i] = k
        while down < i and row[order[down]] == here - 1 and x1[order[down]] <= left:
            down += 1
        down_from[i] = k = down
        while k < i and row[order[k]] == here - 1 and x0[order[k]] < right:
            k += 1
        down_to[i] = k
    return up_from, up_to, down_from, down_to


@kernel
def _gap_label(runs: Runs, run: int, i: int) -> int:
    """Return the pocket in the gap after a run, if a hole of island `i`: the pool around an island is its zero."""
    _, _, _, hole_label, around, _, _, _, _, _, _ = runs
    return hole_label[run] if run >= 0 and around[run] == i else -1


@kernel
def _bare_label(runs: Runs, i: int, run: int, r: int, x: float) -> int:
    """Return the label of the void at `x` in row `r` of the run's layer."""
    row, x0, _, _, _, _, _, layer, layer_start, _, _ = runs
    return _gap_label(runs, _find_run(row, x0, layer_start[layer[run]], layer_start[layer[run] + 1], r, x), i)


@kernel
def _run_edges(runs: Runs, i: int) -> tuple[Floats, Ints]:
    """Return the directed sides of an island from its runs, each with the pocket it bounds."""
    row, x0, x1, _, _, every, start, layer, layer_start, y_origin, pitch = runs
    order = every[start[i] : start[i + 1]]
    up_from, up_to, down_from, down_to = _partners(row, x0, x1, order)
    edge = np.empty((6 * order.size + 2 * int((up_to - up_from).sum() + (down_to - down_from).sum()), 4))
    label = np.empty(edge.shape[0], np.int64)
    at = 0
    for k in range(order.size):
        run = order[k]
        y = y_origin + (row[run] + 0.5) * pitch
        begins = run > layer_start[layer[run]] and row[run - 1] == row[run]
        sides = (_gap_label(runs, run - 1 if begins else -1, i), _gap_label(runs, run, i))
        one_up = up_to[k] - up_from[k] == 1 and down_to[up_from[k]] - down_from[up_from[k]] == 1
        one_down = down_to[k] - down_from[k] == 1 and up_to[down_from[k]] - up_from[down_from[k]] == 1
        was = at
        if one_up:
            m = order[up_from[k]]
            at = _upright(edge, at, x0[run], x0[m], x1[run], x1[m], y, y + pitch)
        else:
            at = _upright(edge, at, x0[run], x0[run], x1[run], x1[run], y, y + 0.5 * pitch)
        if not one_down:
            at = _upright(edge, at, x0[run], x0[run], x1[run], x1[run], y - 0.5 * pitch, y)
        for e in range(was, at):
            label[e] = sides[(e - was) % 2]
        was = at
        if not one_up:
            at = _pieces(x0, x1, run, up_from[k], up_to[k], order, y + 0.5 * pitch, True, edge, at)
        middle = at
        if not one_down:
            at = _pieces(x0, x1, run, down_from[k], down_to[k], order, y - 0.5 * pitch, False, edge, at)
        for e in range(was, at):
            label[e] = _bare_label(runs, i, run, row[run] + (1 if e < middle else -1), 0.5 * (edge[e, 0] + edge[e, 2]))
    return edge[:at], label[:at]


@kernel
def _renumber(label: Ints) -> int:
    """Give the pockets that bound one island numbers from 0, in place; return how many there are."""
    size, sides = 4, 0
    for e in range(label.size):
        sides += label[e] >= 0
    if sides == 0:
        return 0
    while size < 2 * sides:
        size *= 2
    known, number = np.full(size, -1), np.empty(size, np.int32)
    count = 0
    for e in range(label.size):
        if label[e] < 0:
            continue
        # Neighbouring pockets have neighbouring labels: an odd factor spreads them (golden ratio, as in SplitMix64).
        slot = np.int64((np.uint64(label[e]) * np.uint64(0x9E3779B97F4A7C15)) >> np.uint64(20)) & (size - 1)
        while known[slot] >= 0 and known[slot] != label[e]:
            slot = (slot + 1) & (size - 1)
        if known[slot] < 0:
            known[slot], number[slot] = label[e], count
            count += 1
        label[e] = number[slot]
    return count


@kernel
def _island_edges(outline: Outline, runs: Runs, i: int, by_runs: bool) -> tuple[Floats, Ints, int]:
    """Return sides, labels and number of sealed holes of an island, from its loops or from its runs."""
    if by_runs:
        edge, label = _run_edges(runs, i)
    else:
        points, loops, order, start, loop_label = outline
        chosen = order[start[i] : start[i + 1]]
        edge, label = loop_edges(points, loops, chosen, loop_label[chosen])
    return edge, label, _renumber(label)


@kernel
def _describe(edge: Floats, label: Ints, out: Floats) -> None:
    """Write area, perimeter, sealed area, second and third moments about the centroid, and the number of sides."""
    x, y = edge[0, 0], edge[0, 1]
    area = first_x = first_y = 0.0
    for e in range(edge.shape[0]):
        ax, ay, bx, by = edge[e, 0] - x, edge[e, 1] - y, edge[e, 2] - x, edge[e, 3] - y
        cross = ax * by - bx * ay
        area += cross / 2.0
        first_x += cross * (ax + bx) / 6.0
        first_y += cross * (ay + by) / 6.0
        out[1] += np.sqrt((bx - ax) ** 2 + (by - ay) ** 2)
        if label[e] >= 0:
            out[2] -= cross / 2.0
    x += first_x / area
    y += first_y / area
    out[0], out[8] = area, edge.shape[0]
    for e in range(edge.shape[0]):
        ax, ay, bx, by = edge[e, 0] - x, edge[e, 1] - y, edge[e, 2] - x, edge[e, 3] - y
        cross = ax * by - bx * ay
        out[3] += cross * (ax * ax + ax * bx + bx * bx) / 12.0
        out[4] += cross * (ay * ay + ay * by + by * by) / 12.0
        out[5] += cross * (ax * by + 2.0 * ax * ay + 2.0 * bx * by + bx * ay) / 24.0
        out[6] += cross * (ax + bx) * (ax * ax + bx * bx) / 20.0
        out[7] += cross * (ay + by) * (ay * ay + by * by) / 20.0


@kernel
def _shapes(outline: Outline, runs: Runs, by_runs: Bools, begin: int, stop: int) -> tuple[Floats, Ints]:
    """Return the measures of the islands begin:stop, and their numbers of sealed holes."""
    shape = np.zeros((stop - begin, 9))
    sealed = np.zeros(stop - begin, np.int64)
    for i in range(begin, stop):
        edge, label, sealed[i - begin] = _island_edges(outline, runs, i, by_runs[i])
        _describe(edge, label, shape[i - begin])
    return shape, sealed


@kernel
def _alike(one: Floats, two: Floats) -> bool:
    """Return whether two islands are moved copies of each other, by all their measures."""
    if one[8] != two[8] or abs(one[0] - two[0]) > _ALIKE * one[0] or abs(one[1] - two[1]) > _ALIKE * one[1]:
        return False
    if abs(one[2] - two[2]) > _ALIKE * one[0]:
        return False
    second = one[3] + one[4]
    for k in range(3, 6):
        if abs(one[k] - two[k]) > _ALIKE * second:
            return False
    third = second * np.sqrt(second / one[0])
    return bool(abs(one[6] - two[6]) <= _ALIKE * third and abs(one[7] - two[7]) <= _ALIKE * third)


@kernel
def _stacks(link_start: Ints, link_below: Ints, shape: Floats, sealed: Ints, by_runs: Bools) -> tuple[Ints, Ints]:
    """Return the island beneath and above each island in its stack; -1 where the stack ends."""
    islands = by_runs.size
    uppers = np.zeros(islands, np.int64)
    for k in range(link_below.size):
        uppers[link_below[k]] += 1
    below, above = np.full(islands, -1), np.full(islands, -1)
    for i in range(islands):
        if link_start[i + 1] - link_start[i] != 1:
            continue
        b = link_below[link_start[i]]
        close = abs(shape[i, 0] - shape[b, 0]) <= _LARGEST_JUMP * shape[b, 0]
        close = close and abs(shape[i, 1] - shape[b, 1]) <= _LARGEST_JUMP * shape[b, 1]
        close = close and abs(shape[i, 2] - shape[b, 2]) <= _LARGEST_JUMP * shape[b, 0]
        if uppers[b] == 1 and sealed[i] == sealed[b] and by_runs[i] == by_runs[b] and close:
            below[i], above[b] = b, i
    return below, above


@kernel
def _copies(island_start: Ints, shape: Floats, sealed: Ints, below: Ints) -> Ints:
    """Return, for each island, the first of its shape in its stack or its layer: itself where it is the first."""
    like = np.arange(below.size)
    for n in range(island_start.size - 1):
        first = island_start[n]
        distinct = np.empty(island_start[n + 1] - first, np.int64)
        count = 0
        for i in range(first, island_start[n + 1]):
            b = below[i]
            if b >= 0 and _alike(shape[i], shape[like[b]]):
                like[i] = like[b]
            for k in range(max(0, count - _LOOK_BACK), count):
                if like[i] != i:
                    break
                j = distinct[k]
                if sealed[i] == sealed[j] and _alike(shape[i], shape[j]):
                    like[i] = like[j]
            if like[i] == i:
                distinct[count] = i
                count += 1
    return like


@kernel
def _solve_some(islands: Ints, outline: Outline, runs: Runs, by_runs: Bools, across: float, most_nodes: int) -> Floats:
    """Return the torsion constants of some islands."""
    torsion = np.empty(islands.size)
    for k in range(islands.size):
        edge, label, holes = _island_edges(outline, runs, islands[k], by_runs[islands[k]])
        torsion[k] = solve_region(edge, label, holes, across, most_nodes)
    return torsion


@kernel
def _members(below: Ints, above: Ints) -> tuple[Ints, Ints]:
    """Return the islands stack by stack, each from the platform up, and where each stack starts."""
    member = np.empty(below.size, np.int64)
    start = np.zeros(below.size + 1, np.int64)
    stacks = size = 0
    for i in range(below.size):
        if below[i] >= 0:
            continue
        k = i
        while k >= 0:
            member[size] = k
            size += 1
            k = above[k]
        stacks += 1
        start[stacks] = size
    return member, start[: stacks + 1].copy()


class _Known:
    """The torsion constants known so far, by the first island of each shape; solves what is asked for and not known."""

    def __init__(self, solve: Callable[[Ints], Floats], nodes: Floats, told: Told) -> None:
        self._solve, self._nodes, self._told = solve, nodes, told
        self._done = 0
        self.torsion = np.full(len(nodes), np.nan)

    def want(self, islands: Ints) -> None:
        """Solve those of `islands` that are not known, in batches with word of progress."""
        new = np.unique(islands[np.isnan(self.torsion[islands])])
        batch = np.cumsum(self._nodes[new]) // _BATCH
        for some in np.split(new, np.flatnonzero(np.diff(batch)) + 1) if len(new) else ():
            self._told(self._done, self._done + len(new))
            self.torsion[some] = self._solve(some)
            self._done += len(some)


def _solve_stacks(
    known: _Known, member: Ints, start: Ints, shape: Floats, like: Ints, tolerance: float
) -> tuple[Floats, Origins]:
    """Return torsion constant and origin of every island.

    All stacks are taken together: the keyframes of each, then the middle of every step between them, then the middles
    of those halves where the first middle did not agree with interpolation, and so on.
    """
    per_area = 40.0 * (shape[:, 3] + shape[:, 4]) / np.maximum(np.abs(shape[:, 0]), _LEAST_AREA_M2) ** 4
    steps = _first_steps(start)
    known.want(like[member[steps.ravel()]])
    known.want(like[member[start[:-1]]])
    between = [np.zeros((0, 2), np.int64)]
    while len(steps):
        steps = steps[steps[:, 1] - steps[:, 0] >= 2]
        a, b = steps.T
        middle = (a + b) // 2
        known.want(like[member[middle]])
        same = (like[member[a]] == like[member[b]]) & (like[member[middle]] == like[member[a]])
        known.want(like[member[_inner(steps[same])]])
        low, ratio, high = (known.torsion[like[member[k]]] * per_area[member[k]] for k in (a, middle, b))
        expected = low + (high - low) * (middle - a) / (b - a)
        agrees = (np.abs(expected - ratio) <= tolerance * ratio) & (tolerance > 0.0)
        halves = np.concatenate((np.column_stack((a, middle)), np.column_stack((middle, b))))
        between.append(halves[np.tile(agrees & ~same, 2)])
        steps = halves[np.tile(~agrees & ~same, 2)]
    torsion = known.torsion[like]
    origin = np.where(like == np.arange(len(like)), np.int8(Origin.SOLVED), np.int8(Origin.COPIED))
    _interpolate(np.concatenate(between), member, per_area, torsion, origin)
    return torsion, origin


def _first_steps(start: Ints) -> Ints:
    """Return the steps between keyframes of all stacks, as places (from, to) in the list of members."""
    first, last = start[:-1], start[1:] - 1
    count = -((first - last) // _LONGEST_STEP)
    at = np.repeat(first, count) + _LONGEST_STEP * _counted(count)
    return np.column_stack((at, np.minimum(at + _LONGEST_STEP, np.repeat(last, count))))


def _counted(count: Ints) -> Ints:
    """Return 0, 1, 2, ... of each count, one after the other."""
    return np.asarray(np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count), dtype=np.int64)


def _inner(steps: Ints) -> Ints:
    """Return all places inside steps, their ends left out."""
    count = np.maximum(steps[:, 1] - steps[:, 0] - 1, 0)
    return np.asarray(np.repeat(steps[:, 0] + 1, count) + _counted(count), dtype=np.int64)


@kernel
def _interpolate(steps: Ints, member: Ints, per_area: Floats, torsion: Floats, origin: Origins) -> None:
    """Fill in what is not known inside each step from the ratios at its ends."""
    for s in range(steps.shape[0]):
        a, b = steps[s, 0], steps[s, 1]
        i, j = member[a], member[b]
        low, high = torsion[i] * per_area[i], torsion[j] * per_area[j]
        for k in range(a + 1, b):
            i = member[k]
            if np.isnan(torsion[i]):
                torsion[i] = (low + (high - low) * (k - a) / (b - a)) / per_area[i]
                origin[i] = 2
