"""Walls thinner than the rows are apart: what their outlines join, which hollows they close, and how fine rows must be.

A wall that leans across the rows is cut into runs that touch no longer once it is thinner than about a row pitch: one wall
becomes a row of islands, and what it shuts off seems open.  Its outline knows better: the solid along one loop hangs together.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.compiled import kernel
from vatwright.geometry.blocks import in_blocks
from vatwright.geometry.layer_torsion import loop_area
from vatwright.geometry.spans import FINEST_PITCH_M, row_from

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.geometry.region_track import Regions
    from vatwright.geometry.spans import Spans

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Rows = NDArray[np.int32]

THINNEST_M = FINEST_PITCH_M / 8.0
"""No rows finer than this are ruled for the sake of a wall [m]: a quarter of the finest pixel there is, an estimate."""

ROOM = 0.8
"""Row pitch over the thickness of the thinnest wall it is to follow [-]: runs of a leaning wall touch where it is below 1."""

_NEAR_M = 2e-9  # a crossing this near the end of a run is its end: runs closer than half of it are joined


class Ties(NamedTuple):
    """Runs that hang together along an outline, though they touch in no row.

    Parameters
    ----------
    runs : (K, 2) int64 array
        Two runs each.
    layer : (K,) int64 array
        Their layer.
    wall_m : (K,) float64 array
        Thickness of the wall between them [m]; 0 where it lies between two rows and none tells.
    """

    runs: Ints
    layer: Ints
    wall_m: Floats


def loop_ties(spans: Spans, points_m: Floats, loop_start: Ints, layer_start: Ints) -> Ties:
    """Return the runs that the loops tie together; none where walls are thicker than the row pitch.

    Parameters
    ----------
    spans : Spans
        Runs of the layers.
    points_m : (P, 2) float64 array
        Loop corners [m].
    loop_start : (L + 1,) int64 array
        Corners of loop ``l`` are ``loop_start[l]:loop_start[l + 1]``; the last joins the first.
    layer_start : (N + 1,) int64 array
        Loops of layer ``n`` are ``layer_start[n]:layer_start[n + 1]``, as many layers as the runs have.

    Returns
    -------
    Ties
        Pairs of runs, their layers, and the thickness [m] of a straight wall that would leave such runs.

    Notes
    -----
    A run of length l whose neighbour lies s further along comes from a wall ``l pitch / sqrt(pitch^2 + s^2)`` thick.

    Examples
    --------
    A wall of 20 mm x 0.05 mm at 45 degrees, on rows 0.1 mm apart:

    >>> from vatwright.geometry.spans import row_pitch, spans
    >>> wall = np.array([[0.0, 0.0], [20e-3, 0.0], [20e-3, 5e-5], [0.0, 5e-5]]) @ (np.array([[1, 1], [-1, 1]]) / 2**0.5)
    >>> outline = wall, np.array([0, 4]), np.array([0, 1])
    >>> runs = spans(*outline, **row_pitch((*wall.min(0), *wall.max(0)))._asdict())
    >>> ties = loop_ties(runs, *outline)
    >>> len(runs.row), len(np.unique(ties.runs, axis=0)), round(float(np.median(ties.wall_m)) * 1e6)
    (142, 141, 50)
    """
    walked, corners = _walked(spans, points_m, loop_start, layer_start)
    found = in_blocks(corners, lambda a, b: _ties(*walked, a, b))
    every = np.concatenate([pairs for pairs, _ in found])
    return Ties(every[:, :2], every[:, 2], np.concatenate([wall for _, wall in found]))


def leaks(spans: Spans, regions: Regions, points_m: Floats, loop_start: Ints, layer_start: Ints) -> Ints:
    """Return the layers in which a loop winds round a hole that rows find open: the wall around it is too thin for them.

    Parameters
    ----------
    spans : Spans
        Runs of the layers.
    regions : Regions
        What :func:`vatwright.geometry.region_track.connect` made of them.
    points_m, loop_start, layer_start : arrays
        The loops of the same layers, as for :func:`loop_ties`.

    Returns
    -------
    (K,) int64 array
        Layers.
    """
    walked, corners = _walked(spans, points_m, loop_start, layer_start)
    found = in_blocks(corners, lambda a, b: _leaking(*walked, regions.hole_after_run, a, b))
    return np.flatnonzero(np.concatenate(found))


def finer_pitch(ties: Ties, layers: Ints, pitch_m: float) -> float:
    """Return the row pitch that follows the thinnest wall of some layers [m]: at most `pitch_m`, at least `THINNEST_M`.

    Examples
    --------
    >>> ties = Ties(np.array([[0, 1], [2, 3]]), np.array([0, 5]), np.array([5e-5, 0.0]))
    >>> finer_pitch(ties, np.array([0]), 1e-4), finer_pitch(ties, np.array([5]), 1e-4)
    (4e-05, 1.25e-05)
    """
    walls = ties.wall_m[np.isin(ties.layer, layers)]
    return float(np.clip(ROOM * walls.min(initial=np.inf), min(THINNEST_M, pitch_m), pitch_m))


Walked = tuple["Floats", "Ints", "Ints", "Ints", "Rows", "Floats", "Floats", float, float, int]


def _walked(spans: Spans, points_m: Floats, loop_start: Ints, layer_start: Ints) -> tuple[Walked, Ints]:
    """Return loops and runs as kernels take them, and the corners of each layer."""
    points = np.ascontiguousarray(points_m, dtype=np.float64).reshape(-1, 2)
    loops = np.ascontiguousarray(loop_start, dtype=np.int64)
    layers = np.ascontiguousarray(layer_start, dtype=np.int64)
    rows = (spans.layer_start, spans.row, spans.x0_m, spans.x1_m, spans.origin_m[1], spans.pitch_m, spans.rows)
    return (points, loops, layers, *rows), np.diff(loops[layers])


@kernel
def _row_starts(row: Rows, first: int, last: int, start: Ints) -> None:
    """Write where the runs of each row start, for the runs first:last of a layer."""
    start[:] = 0
    for i in range(first, last):
        start[row[i] + 1] += 1
    start[0] = first
    for r in range(1, start.size):
        start[r] += start[r - 1]


@kernel
def _run_at(x0: Floats, x1: Floats, first: int, last: int, x: float) -> int:
    """Return the run among first:last that holds `x` or ends there; -1 where there is none."""
    for i in range(first, last):
        if x0[i] - _NEAR_M <= x <= x1[i] + _NEAR_M:
            return i
    return -1


@kernel
def _ties(
    points: Floats, loops: Ints, layers: Ints, run_layers: Ints, row: Rows, x0: Floats, x1: Floats, y_origin: float,
    pitch: float, rows: int, begin: int, stop: int,
) -> tuple[Ints, Floats]:  # fmt: skip
    """Return (run, run, layer) and wall of each tie in the layers begin:stop."""
    start = np.zeros(rows + 1, np.int64)
    pairs, wall = np.empty((64, 3), np.int64), np.empty(64)
    count = 0
    for n in range(begin, stop):
        _row_starts(row, run_layers[n], run_layers[n + 1], start)
        for k in range(layers[n], layers[n + 1]):
            a = loops[k + 1] - 1
            if a < loops[k]:
                continue
            before = row_from(points[a, 1], y_origin, pitch, rows)
            was = opening = -1
            for p in range(loops[k], loops[k + 1]):
                here = row_from(points[p, 1], y_origin, pitch, rows)
                way = 1 if here > before else -1
                slope = (points[p, 0] - points[a, 0]) / (points[p, 1] - points[a, 1]) if here != before else 0.0
                for r in range(before if way > 0 else before - 1, here if way > 0 else here - 1, way):
                    x = points[a, 0] + (y_origin + (r + 0.5) * pitch - points[a, 1]) * slope
                    run = _run_at(x0, x1, start[r], start[r + 1], x)
                    if opening < 0:
                        opening = run
                    if count + 2 > wall.size:
                        pairs, wall = np.concatenate((pairs, pairs)), np.concatenate((wall, wall))
                    count += _tie(was, run, n, row, x0, x1, pitch, pairs, wall, count)
                    was = run
                a, before = p, here
            if count + 2 > wall.size:
                pairs, wall = np.concatenate((pairs, pairs)), np.concatenate((wall, wall))
            count += _tie(was, opening, n, row, x0, x1, pitch, pairs, wall, count)
    return pairs[:count], wall[:count]


@kernel
def _tie(
    i: int, j: int, n: int, row: Rows, x0: Floats, x1: Floats, pitch: float, pairs: Ints, wall: Floats, at: int
) -> int:
    """Write the tie of two runs that follow each other along a loop; return 0 where they touch anyway, else 1."""
    if i < 0 or j < 0 or i == j:
        return 0
    apart = abs(row[i] - row[j])
    if apart == 1 and x0[i] <= x1[j] and x0[j] <= x1[i]:
        return 0
    pairs[at, 0], pairs[at, 1], pairs[at, 2] = min(i, j), max(i, j), n
    shift = 0.5 * abs(x0[i] + x1[i] - x0[j] - x1[j])
    length = min(x1[i] - x0[i], x1[j] - x0[j])
    wall[at] = length * pitch / np.sqrt(pitch * pitch + shift * shift) if apart == 1 else 0.0
    return 1


@kernel
def _leaking(
    points: Floats, loops: Ints, layers: Ints, run_layers: Ints, row: Rows, x0: Floats, x1: Floats, y_origin: float,
    pitch: float, rows: int, hole: Rows, begin: int, stop: int,
) -> NDArray[np.bool_]:  # fmt: skip
    """Return for the layers begin:stop whether a hole's loop runs along a gap that rows find open."""
    start = np.zeros(rows + 1, np.int64)
    found = np.zeros(stop - begin, np.bool_)
    for n in range(begin, stop):
        _row_starts(row, run_layers[n], run_layers[n + 1], start)
        for k in range(layers[n], layers[n + 1]):
            if loop_area(points, loops[k], loops[k + 1]) >= 0.0:  # not a hole's, or no loop
                continue
            a = loops[k + 1] - 1
            before = row_from(points[a, 1], y_origin, pitch, rows)
            for p in range(loops[k], loops[k + 1]):
                here = row_from(points[p, 1], y_origin, pitch, rows)
                for r in range(min(before, here), max(before, here)):
                    part = (y_origin + (r + 0.5) * pitch - points[a, 1]) / (points[p, 1] - points[a, 1])
                    x = points[a, 0] + part * (points[p, 0] - points[a, 0])
                    run = _run_at(x0, x1, start[r], start[r + 1], x)
                    ends = run >= 0 and abs(x - x1[run]) <= _NEAR_M
                    begins = run >= 0 and abs(x - x0[run]) <= _NEAR_M
                    if ends and run + 1 < start[r + 1] and hole[run] < 0 and not begins:
                        found[n - begin] = True
                    if begins and run > start[r] and hole[run - 1] < 0 and not ends:
                        found[n - begin] = True
                a, before = p, here
    return found
