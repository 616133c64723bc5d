"""Layers as rows of runs: where a layer is solid along each of many parallel lines, with exact crossings in x.

A run costs a few numbers whatever its length, its ends are not rounded to a pixel, and counting windings along a row
gives the true union of overlapping shells.  Everything counted on runs (islands, holes, pockets) sees only what a row
crosses: a feature thinner than the row pitch may be missed, so a count always goes with the pitch it was made at.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import attrs
import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel
from vatwright.errors import InputError, require_finite, require_positive
from vatwright.geometry.blocks import in_blocks
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]

SLIVER_M = 1e-9
"""Gaps and runs narrower than this [m] are rounding, not geometry: float32 resolves 7e-9 m at 100 mm."""

FINEST_PITCH_M = 1e-4
"""Default row pitch [m]: two pixels of a 50 um screen.  Common practice, no source."""

MOST_ROWS = 4000
"""Default ceiling on the number of rows, so that a large plate stays quick (an engineering estimate, no source)."""


@attrs.frozen(kw_only=True, eq=False)
class Spans:
    """Runs of solid along the rows of every layer.

    Parameters
    ----------
    layer_start : (N + 1,) int64 array
        Runs of layer ``n`` are ``layer_start[n]:layer_start[n + 1]``, sorted by row and then by x.
    row : (R,) int32 array
        Row of each run; its centre line is at ``origin_m[1] + (row + 0.5) * pitch_m``.
    x0_m, x1_m : (R,) float64 array
        Where each run begins and ends [m].
    origin_m : tuple of float
        Corner (x, y) of the ruled area [m].
    pitch_m : float
        Distance between rows [m]; what is counted on runs depends on it.
    rows : int
        Number of rows.
    area_m2 : (N,) float64 array
        Solid area of each layer, overlaps counted once [m2].
    overlap_area_m2 : (N,) float64 array
        Area that shells claim beyond once: what two cover counts once, what three cover twice [m2].
    """

    layer_start: Ints
    row: NDArray[np.int32]
    x0_m: Floats
    x1_m: Floats
    origin_m: tuple[float, float]
    pitch_m: float
    rows: int
    area_m2: Floats
    overlap_area_m2: Floats

    @property
    def layers(self) -> int:
        """Return the number of layers."""
        return len(self.layer_start) - 1


class Ruling(NamedTuple):
    """Where the rows lie: the arguments :func:`spans` takes by these names.

    Parameters
    ----------
    origin_m : tuple of float
        Corner (x, y) of the ruled area [m].
    pitch_m : float
        Distance between rows [m].
    rows : int
        Number of rows.
    """

    origin_m: tuple[float, float]
    pitch_m: float
    rows: int


def row_pitch(
    bounds_m: tuple[float, float, float, float] | Floats,
    *,
    finest_m: float = FINEST_PITCH_M,
    most_rows: int = MOST_ROWS,
) -> Ruling:
    """Return rows that cover a rectangle: as fine as asked, and no more of them than allowed.

    ``pitch = max(finest, height / most_rows)``; the rows are centred on the rectangle's height.

    Parameters
    ----------
    bounds_m : (4,) array
        Least x, least y, greatest x, greatest y [m].
    finest_m : float
        Wanted pitch [m].
    most_rows : int
        Ceiling on the number of rows; beyond it the pitch grows.

    Returns
    -------
    Ruling
        Corner [m], pitch [m], number of rows.

    Raises
    ------
    DomainError
        When a bound is not finite, or the pitch or the number of rows is not positive.

    Notes
    -----
    Counts of islands, holes and pockets are a function of this pitch: a wall or slot thinner than it may be missed.
    Areas are not: the crossings are exact, and the sum over rows is a midpoint rule.

    Examples
    --------
    >>> row_pitch((0.0, 0.0, 0.1, 0.06), finest_m=1e-4).rows
    600
    """
    x_low, y_low, _, y_high = (float(v) for v in bounds_m)
    require_finite(x_low_m=x_low, y_low_m=y_low, y_high_m=y_high)
    require_positive(finest_m=finest_m, most_rows=most_rows, height_m=y_high - y_low)
    height = y_high - y_low
    pitch = max(finest_m, height / most_rows)
    rows = max(1, math.ceil(height / pitch - 1e-9))
    return Ruling((x_low, 0.5 * (y_low + y_high - rows * pitch)), pitch, rows)


def spans(
    points_m: Floats,
    loop_start: Ints,
    layer_start: Ints,
    *,
    origin_m: tuple[float, float],
    pitch_m: float,
    rows: int,
) -> Spans:
    """Return the runs of solid along the rows of every layer.

    A point is solid where the loops wind around it at least once: outer loops run counter-clockwise and count +1, holes
    run clockwise and count -1.  Each row is cut at its centre line, where crossings are computed exactly.

    Parameters
    ----------
    points_m : (P, 2) float64 array
        Loop corners [m].
    loop_start : (L + 1,) int64 array
        Corners of loop ``l`` are ``loop_start[l]:loop_start[l + 1]``; the last joins the first.
    layer_start : (N + 1,) int64 array
        Loops of layer ``n`` are ``layer_start[n]:layer_start[n + 1]``.
    origin_m : tuple of float
        Corner (x, y) of the ruled area [m].
    pitch_m : float
        Distance between rows [m].
    rows : int
        Number of rows.

    Returns
    -------
    Spans
        Runs, with the once-counted area and the overlapped area of each layer [m2].

    Raises
    ------
    DomainError
        When the pitch or the number of rows is not positive.
    InputError
        When a corner is not a finite number.

    Notes
    -----
    What lies outside the ruled rows is not seen.  Runs and gaps narrower than :data:`SLIVER_M` are dropped as rounding.
    The area's error is that of a midpoint rule over rows: nil for slopes between rows, at most half a pitch at an edge
    that lies along the rows.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01]])
    >>> one = spans(square, np.array([0, 4]), np.array([0, 1]), origin_m=(0.0, 0.0), pitch_m=1e-3, rows=10)
    >>> len(one.row), round(float(one.area_m2[0]), 12)
    (10, 0.0001)
    """
    require_positive(pitch_m=pitch_m, rows=rows)
    points = np.ascontiguousarray(points_m, dtype=np.float64).reshape(-1, 2)
    if not np.isfinite(points).all():
        raise InputError.one(
            "points_m", to_say("some corners are not finite numbers"), to_say("Look at the sections they come from.")
        )
    loops = np.ascontiguousarray(loop_start, dtype=np.int64)
    layers = np.ascontiguousarray(layer_start, dtype=np.int64)
    grid = (float(origin_m[1]), float(pitch_m), int(rows))
    parts = in_blocks(np.diff(loops[layers]), lambda a, b: _runs_between(points, loops, layers[a : b + 1], grid))
    return Spans(
        layer_start=np.concatenate(([0], np.cumsum(np.concatenate([np.diff(p[0]) for p in parts])))),
        row=np.concatenate([p[1] for p in parts]),
        x0_m=np.concatenate([p[2][:, 0] for p in parts]),
        x1_m=np.concatenate([p[2][:, 1] for p in parts]),
        origin_m=(float(origin_m[0]), float(origin_m[1])),
        pitch_m=float(pitch_m),
        rows=int(rows),
        area_m2=np.concatenate([p[3][:, 0] for p in parts]) * pitch_m,
        overlap_area_m2=np.concatenate([p[3][:, 1] for p in parts]) * pitch_m,
    )


def _runs_between(
    points: Floats, loops: Ints, layers: Ints, grid: tuple[float, float, int]
) -> tuple[Ints, NDArray[np.int32], Floats, Floats]:
    """Return the runs of some layers: start of each, rows, ends, and area and overlap over the pitch."""
    crossings = _count_crossings(points, loops, layers, *grid)
    room = np.concatenate((np.zeros(1, np.int64), np.cumsum(crossings // 2)))
    row = np.empty(room[-1], np.int32)
    ends = np.empty((room[-1], 2))
    tally = np.zeros((len(layers) - 1, 2))
    filled = _fill_runs(points, loops, layers, *grid, int(crossings.max(initial=0)), room, row, ends, tally)
    return filled, row[: filled[-1]], ends[: filled[-1]], tally


def joined_spans(parts: Sequence[Spans]) -> Spans:
    """Return the layers of several runs of layers, first to last, as one; all ruled alike.

    Examples
    --------
    >>> mask = np.zeros((4, 6), dtype=bool)
    >>> mask[1:3, 1:4] = True
    >>> one = spans_from_bitmaps([mask], pixel_m=5e-5)
    >>> joined_spans([one, one]).layer_start.tolist()
    [0, 2, 4]
    """
    if len(parts) == 1:
        return parts[0]
    return attrs.evolve(
        parts[0],
        layer_start=np.concatenate(([0], np.cumsum(np.concatenate([np.diff(p.layer_start) for p in parts])))),
        row=np.concatenate([p.row for p in parts]),
        x0_m=np.concatenate([p.x0_m for p in parts]),
        x1_m=np.concatenate([p.x1_m for p in parts]),
        area_m2=np.concatenate([p.area_m2 for p in parts]),
        overlap_area_m2=np.concatenate([p.overlap_area_m2 for p in parts]),
    )


def spans_from_bitmaps(masks: Iterable[Bools], *, pixel_m: float | tuple[float, float]) -> Spans:
    """Return the runs of solid along the pixel rows of layer bitmaps, the first bitmap being the layer on the platform.

    Parameters
    ----------
    masks : iterable of (H, W) bool array
        One bitmap a layer, true where light shines; pixel ``[r, c]`` covers x from ``c`` to ``c + 1`` pixels and y from
        ``r`` to ``r + 1`` pixels.
    pixel_m : float or tuple of float
        Pixel size [m], or its size along x and along y [m].

    Returns
    -------
    Spans
        Runs whose pitch is the pixel's height; the overlap area is nil.

    Raises
    ------
    DomainError
        When the pixel size is not positive.
    InputError
        When there is no bitmap, or bitmaps differ in shape.

    Notes
    -----
    Bitmaps are taken one at a time, so a generator keeps only one in memory.

    Examples
    --------
    >>> mask = np.zeros((4, 6), dtype=bool)
    >>> mask[1:3, 1:4] = True
    >>> one = spans_from_bitmaps([mask], pixel_m=5e-5)
    >>> one.row.tolist(), round(float(one.area_m2[0]) * 1e12)
    ([1, 2], 15000)
    """
    wide, high = pixel_m if isinstance(pixel_m, tuple) else (pixel_m, pixel_m)
    require_positive(pixel_width_m=wide, pixel_height_m=high)
    shape: tuple[int, ...] | None = None
    runs = []
    for n, mask in enumerate(masks):
        flat = np.ascontiguousarray(mask, dtype=np.bool_)
        shape = shape or flat.shape
        if flat.ndim != 2 or flat.shape != shape:
            raise InputError.one(
                f"bitmap {n}",
                to_say("has the shape {shape}, not {shape_2}", shape=flat.shape, shape_2=shape),
                to_say("Give bitmaps of one size."),
            )
        runs.append(_bitmap_runs(flat))
    if shape is None:
        raise InputError.one("masks", to_say("there is no bitmap"), to_say("Give one bitmap for each layer."))
    every = np.concatenate(runs)
    start = np.concatenate((np.zeros(1, np.int64), np.cumsum([len(r) for r in runs], dtype=np.int64)))
    return Spans(
        layer_start=start,
        row=every[:, 0].copy(),
        x0_m=every[:, 1].astype(np.float64) * wide,
        x1_m=every[:, 2].astype(np.float64) * wide,
        origin_m=(0.0, 0.0),
        pitch_m=float(high),
        rows=int(shape[0]),
        area_m2=np.array([float((r[:, 2] - r[:, 1]).sum()) * wide * high for r in runs]),
        overlap_area_m2=np.zeros(len(runs)),
    )


@kernel
def row_from(y: float, y_origin: float, pitch: float, rows: int) -> int:
    """Return the first row whose centre line is not below `y`: one number a corner, so that neighbours agree."""
    at = np.ceil((y - y_origin) / pitch - 0.5)
    return int(min(max(at, 0.0), float(rows)))


@kernel
def _count_crossings(points: Floats, loops: Ints, layers: Ints, y_origin: float, pitch: float, rows: int) -> Ints:
    """Return how many times the rows are crossed in each layer."""
    count = np.zeros(layers.size - 1, np.int64)
    for n in range(layers.size - 1):
        for k in range(layers[n], layers[n + 1]):
            if loops[k] == loops[k + 1]:
                continue
            before = row_from(points[loops[k + 1] - 1, 1], y_origin, pitch, rows)
            for p in range(loops[k], loops[k + 1]):
                here = row_from(points[p, 1], y_origin, pitch, rows)
                count[n] += abs(here - before)
                before = here
    return count


@kernel
def _crossing(points: Floats, a: int, b: int, y: float) -> float:
    """Return where side a-b meets the line at `y`, from its lower end, so that a shared side gives the same bits."""
    if points[b, 1] < points[a, 1]:
        a, b = b, a
    return float(points[a, 0] + (y - points[a, 1]) * ((points[b, 0] - points[a, 0]) / (points[b, 1] - points[a, 1])))


@kernel
def _count_by_row(points: Floats, first: int, last: int, y_origin: float, pitch: float, rows: int, start: Ints) -> None:
    """Add the crossings of one loop to the counts of its rows (one place ahead, ready to be summed)."""
    before = row_from(points[last - 1, 1], y_origin, pitch, rows)
    for p in range(first, last):
        here = row_from(points[p, 1], y_origin, pitch, rows)
        for r in range(min(here, before), max(here, before)):
            start[r + 1] += 1
        before = here


@kernel
def _place_by_row(
    points: Floats, first: int, last: int, y_origin: float, pitch: float, rows: int, place: Ints, x: Floats, wind: Ints
) -> None:
    """Write the crossings of one loop into the slots of their rows."""
    a = last - 1
    before = row_from(points[a, 1], y_origin, pitch, rows)
    for p in range(first, last):
        here = row_from(points[p, 1], y_origin, pitch, rows)
        for r in range(min(here, before), max(here, before)):
            slot = place[r]
            x[slot] = _crossing(points, a, p, y_origin + (r + 0.5) * pitch)
            wind[slot] = 1 if here < before else -1
            place[r] += 1
        a = p
        before = here


@kernel
def _sort_crossings(x: Floats, wind: Ints, first: int, last: int) -> None:
    """Sort the few crossings of one row by x, in place."""
    for i in range(first + 1, last):
        at, turn = x[i], wind[i]
        k = i - 1
        while k >= first and x[k] > at:
            x[k + 1], wind[k + 1] = x[k], wind[k]
            k -= 1
        x[k + 1], wind[k + 1] = at, turn


@kernel
def _sweep_row(
    x: Floats, wind: Ints, first: int, last: int, r: int, out: int, row: NDArray[np.int32], ends: Floats, tally: Floats
) -> int:
    """Turn the sorted crossings of one row into runs where the winding is above 0; return the next free place."""
    begin = out
    depth = 0
    for i in range(first, last):
        was = depth
        depth += wind[i]
        if i > first and was >= 2:
            tally[1] += (was - 1) * (x[i] - x[i - 1])
        if was <= 0 < depth:
            if out > begin and x[i] - ends[out - 1, 1] < SLIVER_M:
                out -= 1
                tally[0] -= ends[out, 1] - ends[out, 0]
            else:
                ends[out, 0] = x[i]
            row[out] = r
        elif depth <= 0 < was and x[i] - ends[out, 0] >= SLIVER_M:
            ends[out, 1] = x[i]
            tally[0] += x[i] - ends[out, 0]
            out += 1
    return out


@kernel
def _fill_runs(
    points: Floats,
    loops: Ints,
    layers: Ints,
    y_origin: float,
    pitch: float,
    rows: int,
    most: int,
    room: Ints,
    row: NDArray[np.int32],
    ends: Floats,
    tally: Floats,
) -> Ints:
    """Fill runs layer by layer, packed; return where each layer's runs start."""
    start = np.zeros(rows + 1, np.int64)
    place = np.zeros(rows + 1, np.int64)
    x = np.empty(most)
    wind = np.empty(most, np.int64)
    filled = np.zeros(room.size, np.int64)
    for n in range(layers.size - 1):
        out = filled[n]
        own = tally[n]
        if room[n + 1] > room[n]:
            start[:] = 0
            for k in range(layers[n], layers[n + 1]):
                if loops[k + 1] > loops[k]:
                    _count_by_row(points, loops[k], loops[k + 1], y_origin, pitch, rows, start)
            for r in range(rows):
                start[r + 1] += start[r]
                place[r] = start[r]
            for k in range(layers[n], layers[n + 1]):
                if loops[k + 1] > loops[k]:
                    _place_by_row(points, loops[k], loops[k + 1], y_origin, pitch, rows, place, x, wind)
            for r in range(rows):
                if start[r + 1] > start[r]:
                    _sort_crossings(x, wind, start[r], start[r + 1])
                    out = _sweep_row(x, wind, start[r], start[r + 1], r, out, row, ends, own)
        filled[n + 1] = out
    return filled


@kernel
def _bitmap_runs(mask: Bools) -> NDArray[np.int32]:
    """Return (row, first column, column after the last) of every run of one bitmap."""
    count = 0
    for r in range(mask.shape[0]):
        was = False
        for c in range(mask.shape[1]):
            if mask[r, c] and not was:
                count += 1
            was = mask[r, c]
    found = np.empty((count, 3), np.int32)
    at = 0
    for r in range(mask.shape[0]):
        was = False
        for c in range(mask.shape[1]):
            if mask[r, c] and not was:
                found[at, 0], found[at, 1] = r, c
            if was and not mask[r, c]:
                found[at, 2] = c
                at += 1
            was = mask[r, c]
        if was:
            found[at, 2] = mask.shape[1]
            at += 1
    return found
