"""Islands and holes of every layer, and how they hang together from platform (layer 0) to film (last layer).

Islands are runs that touch; a *fresh* island has nothing beneath it to hold it.  The resin inside a hole is followed
down through the layers already printed: if it reaches open resin the hole is *vented*, if not it is *sealed*, a pool
that moves with the platform and pulls like a suction cup.  All of it is union-find over runs, one pass from the
platform up.
"""

from __future__ import annotations

from enum import IntEnum
from typing import TYPE_CHECKING

import attrs
import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import InputError, require_positive
from vatwright.geometry.blocks import in_blocks
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.spans import Spans

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]
    Rows = NDArray[np.int32]


class PocketEnd(IntEnum):
    """How a pocket ends."""

    OPEN = 0
    """Its mouth still faces the film when the last layer is done: a cup."""
    VENTED = 1
    """A later layer opens it to the resin outside."""
    CLOSED = 2
    """Later layers close it: what it holds stays inside the part."""


@attrs.frozen(kw_only=True, eq=False)
class Pockets:
    """Cavities that are sealed while they print; K of them, in the order in which they begin.

    Parameters
    ----------
    first_layer, last_layer : (K,) int64 array
        First and last layer at which the cavity faces the film and is sealed.
    volume_m3 : (K,) float64 array
        Volume of resin it holds while sealed [m3].
    open_area_m2 : (K,) float64 array
        Largest area of its mouth while sealed [m2].
    end : (K,) int64 array
        One of :class:`PocketEnd`.
    """

    first_layer: Ints
    last_layer: Ints
    volume_m3: Floats
    open_area_m2: Floats
    end: Ints


@attrs.frozen(kw_only=True, eq=False)
class Regions:
    """Islands (I), holes (H) and pockets of a stack of N layers, counted on runs (R).

    Parameters
    ----------
    pitch_m : float
        Row pitch the counts were made at [m].
    island_start : (N + 1,) int64 array
        Islands of layer ``n`` are ``island_start[n]:island_start[n + 1]``.
    island_of_run : (R,) int32 array
        Island each run belongs to.
    area_m2 : (I,) float64 array
        Area of each island [m2].
    centroid_m : (I, 2) float64 array
        Its centroid [m].
    box_m : (I, 4) float64 array
        Its least x, least y, greatest x, greatest y [m].
    second_m4 : (I, 2) float64 array
        Its second moments of area about its centroid, of distances along x and along y [m4].
    fresh : (I,) bool array
        Whether it has nothing beneath it; never true in layer 0, which the platform holds.
    link_start : (I + 1,) int64 array
        Links of island ``i`` to the layer beneath are ``link_start[i]:link_start[i + 1]``.
    link_below : (K,) int64 array
        Island beneath.
    link_area_m2 : (K,) float64 array
        Area the two share in plan [m2].
    hole_start : (N + 1,) int64 array
        Holes of layer ``n`` are ``hole_start[n]:hole_start[n + 1]``.
    hole_after_run : (R,) int32 array
        Hole in the gap that follows the run in its row; -1 where that is open resin.
    hole_area_m2 : (H,) float64 array
        Open area of each hole [m2], islands inside it left out.
    hole_island : (H,) int64 array
        Island around it.
    hole_sealed : (H,) bool array
        Whether it is sealed while its layer prints.
    hole_pocket : (H,) int64 array
        Pocket it is the mouth of; -1 where vented.
    pockets : Pockets
        The sealed cavities.
    """

    pitch_m: float
    island_start: Ints
    island_of_run: Rows
    area_m2: Floats
    centroid_m: Floats
    box_m: Floats
    second_m4: Floats
    fresh: Bools
    link_start: Ints
    link_below: Ints
    link_area_m2: Floats
    hole_start: Ints
    hole_after_run: Rows
    hole_area_m2: Floats
    hole_island: Ints
    hole_sealed: Bools
    hole_pocket: Ints
    pockets: Pockets

    @property
    def island_layer(self) -> Ints:
        """Return the layer of each island, (I,)."""
        return np.repeat(np.arange(len(self.island_start) - 1), np.diff(self.island_start))

    @property
    def fresh_islands(self) -> tuple[Ints, Floats, Floats, Floats]:
        """Return layer, x [m], y [m] and area [m2] of every fresh island."""
        return (
            self.island_layer[self.fresh],
            self.centroid_m[self.fresh, 0],
            self.centroid_m[self.fresh, 1],
            self.area_m2[self.fresh],
        )


def connect(
    spans: Spans, *, thickness_m: float | Floats, platform_closes: bool = True, ties: Ints | None = None
) -> Regions:
    """Return the islands and holes of every layer, their links from layer to layer, and the sealed pockets.

    Two runs of neighbouring rows belong to one island where they touch (8-connected on a bitmap); two gaps belong to
    one hole where they overlap by a length (4-connected), which is the complement, so a closed wall always separates.
    From layer to layer, islands hold each other and holes flow into each other where they share an area in plan.

    Parameters
    ----------
    spans : Spans
        Runs of every layer, layer 0 on the platform.
    thickness_m : float or (N,) float64 array
        Thickness of the layers [m], for the pockets' volumes.
    platform_closes : bool
        Whether the platform closes holes that reach layer 0; false for a platform with a hole there.
    ties : (K, 2) int64 array, optional
        Runs known to belong to one island though they touch in no row, see :mod:`vatwright.geometry.thin_walls`.

    Returns
    -------
    Regions
        Islands, holes and pockets, areas [m2], places [m], volumes [m3].

    Raises
    ------
    DomainError
        When a thickness is not positive.
    InputError
        When the thicknesses are not one for each layer.

    Notes
    -----
    While layer ``n`` prints, only layers up to ``n`` exist: a hole is sealed when no way through their voids leads to
    the open resin beside the part.  Walls and slots thinner than the row pitch may be missed: a vent must be wider than
    that to count.  Open resin inside a vented hole is taken as free whatever the width of its vent.

    Examples
    --------
    A cup of 10 mm with 1 mm walls, its floor on the platform:

    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> floor = np.ones((10, 10), dtype=bool)
    >>> wall = floor.copy()
    >>> wall[1:-1, 1:-1] = False
    >>> cup = connect(spans_from_bitmaps([floor, wall, wall], pixel_m=1e-3), thickness_m=5e-5)
    >>> cup.hole_sealed.tolist(), round(float(cup.pockets.volume_m3[0]) * 1e9, 6)
    ([True, True], 6.4)
    """
    layers = spans.layers
    thickness = np.atleast_1d(np.asarray(thickness_m, dtype=np.float64))
    if thickness.shape not in ((1,), (layers,)):
        raise InputError.one(
            "thickness_m",
            to_say("{thickness_count} values for {layers} layers", thickness_count=len(thickness), layers=layers),
            to_say("Give one, or one a layer."),
        )
    if layers:
        require_positive(thickness_m=float(thickness.min()), thickest_m=float(thickness.max()))
    thick = np.ascontiguousarray(np.broadcast_to(thickness, (layers,)))
    runs = (spans.layer_start, spans.row, spans.x0_m, spans.x1_m)
    load = np.diff(spans.layer_start)
    tied = np.zeros((0, 2), np.int64) if ties is None else np.ascontiguousarray(ties, dtype=np.int64)
    inside = in_blocks(load, lambda a, b: _label_between(spans, tied, a, b))
    island_start, hole_start = _starts([p[1] for p in inside]), _starts([p[3] for p in inside])
    firsts = np.cumsum([(0, 0), *((p[1][-1], p[3][-1]) for p in inside)], axis=0)
    island_of_run, hole_after_run = (np.concatenate([p[k] for p in inside]) for k in (0, 2))
    _number_on(island_of_run, hole_after_run, np.cumsum([0, *(len(p[0]) for p in inside)]), firsts)
    measures, hole_area = (np.concatenate([p[k] for p in inside]) for k in (4, 5))
    hole_island = np.concatenate([p[6] + f[0] for p, f in zip(inside, firsts[:-1], strict=True)])
    links = in_blocks(load, lambda a, b: _link(*runs, island_of_run, island_start, a, b))
    link_start = _starts([p[0] for p in links])
    link_below, link_area = (np.concatenate([p[k] for p in links]) for k in (1, 2))
    follow = _follow(*runs, hole_after_run, hole_start, hole_area, thick, platform_closes)
    sealed, pocket, first, last, volume, mouth, end = follow
    area = measures[:, 0]
    linked = np.diff(link_start) > 0
    fresh = ~linked
    fresh[: island_start[1] if layers else 0] = False
    return Regions(
        pitch_m=spans.pitch_m,
        island_start=island_start,
        island_of_run=island_of_run,
        area_m2=area.copy(),
        centroid_m=measures[:, 1:3] / area[:, None],
        box_m=measures[:, 3:7].copy(),
        # About the centroid (Steiner); squares of distances are never less than what rounding leaves.
        second_m4=np.maximum(measures[:, 7:9] - measures[:, 1:3] ** 2 / area[:, None], 0.0),
        fresh=fresh,
        link_start=link_start,
        link_below=link_below,
        link_area_m2=link_area * spans.pitch_m,
        hole_start=hole_start,
        hole_after_run=hole_after_run,
        hole_area_m2=hole_area,
        hole_island=hole_island,
        hole_sealed=sealed,
        hole_pocket=pocket,
        pockets=Pockets(first_layer=first, last_layer=last, volume_m3=volume, open_area_m2=mouth, end=end),
    )


def _starts(parts: Sequence[Ints]) -> Ints:
    """Return where things start, given where they start in each of several blocks."""
    return np.concatenate(([0], np.cumsum(np.concatenate([np.diff(p) for p in parts]))))


def _label_between(
    spans: Spans, ties: Ints, first: int, last: int
) -> tuple[Rows, Ints, Rows, Ints, Floats, Floats, Ints]:
    """Return what :func:`_label` and :func:`_measure` tell of some layers, numbered from their first."""
    a, b = spans.layer_start[first], spans.layer_start[last]
    runs = (spans.layer_start[first : last + 1] - a, spans.row[a:b], spans.x0_m[a:b], spans.x1_m[a:b])
    own = ties[(ties[:, 0] >= a) & (ties[:, 0] < b)] - a
    island, island_start, hole, hole_start = _label(*runs, own)
    counts = int(island_start[-1]), int(hole_start[-1])
    measures = _measure(*runs, island, hole, *counts, spans.pitch_m, spans.origin_m[1])
    return island.astype(np.int32), island_start, hole.astype(np.int32), hole_start, *measures


def all_vented(regions: Regions) -> Regions:
    """Return the regions as if every sealed hole were open to the resin around; the pockets stay listed."""
    return attrs.evolve(
        regions,
        hole_sealed=np.zeros_like(regions.hole_sealed),
        hole_pocket=np.full_like(regions.hole_pocket, -1),
    )


def of_layers(regions: Regions, spans: Spans, first: int, last: int) -> tuple[Regions, Spans]:
    """Return the regions and the runs of the layers from `first` to ``last - 1``, numbered anew; pockets stay whole.

    Links to the layer beneath `first` are left out.

    Examples
    --------
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> runs = spans_from_bitmaps([np.ones((4, 4), dtype=bool)] * 3, pixel_m=1e-3)
    >>> some, rows = of_layers(connect(runs, thickness_m=5e-5), runs, 1, 3)
    >>> some.island_start.tolist(), some.link_below.tolist(), rows.layers
    ([0, 1, 2], [0], 2)
    """
    a, b = spans.layer_start[first], spans.layer_start[last]
    i, j = regions.island_start[first], regions.island_start[last]
    g, h = regions.hole_start[first], regions.hole_start[last]
    second = regions.island_start[first + 1] if last > first else i
    k, m = regions.link_start[second], regions.link_start[j]
    after = regions.hole_after_run[a:b]
    part = attrs.evolve(
        regions,
        island_start=regions.island_start[first : last + 1] - i,
        island_of_run=regions.island_of_run[a:b] - np.int32(i),
        area_m2=regions.area_m2[i:j],
        centroid_m=regions.centroid_m[i:j],
        box_m=regions.box_m[i:j],
        second_m4=regions.second_m4[i:j],
        fresh=regions.fresh[i:j],
        link_start=np.maximum(regions.link_start[i : j + 1] - k, 0),
        link_below=regions.link_below[k:m] - i,
        link_area_m2=regions.link_area_m2[k:m],
        hole_start=regions.hole_start[first : last + 1] - g,
        hole_after_run=np.where(after >= 0, after - np.int32(g), np.int32(-1)),
        hole_area_m2=regions.hole_area_m2[g:h],
        hole_island=regions.hole_island[g:h] - i,
        hole_sealed=regions.hole_sealed[g:h],
        hole_pocket=regions.hole_pocket[g:h],
    )
    rows = attrs.evolve(
        spans,
        layer_start=spans.layer_start[first : last + 1] - a,
        row=spans.row[a:b],
        x0_m=spans.x0_m[a:b],
        x1_m=spans.x1_m[a:b],
        area_m2=spans.area_m2[first:last],
        overlap_area_m2=spans.overlap_area_m2[first:last],
    )
    return part, rows


@kernel
def _number_on(island: Rows, hole: Rows, start: Ints, firsts: Ints) -> None:
    """Turn the numbers of islands and holes within each block into numbers of all of them, in place."""
    for block in range(start.size - 1):
        for i in range(start[block], start[block + 1]):
            island[i] += firsts[block, 0]
            if hole[i] >= 0:
                hole[i] += firsts[block, 1]


@kernel
def _find(parent: Ints, i: int) -> int:
    """Return the root of `i`, halving its path."""
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@kernel
def _unite(parent: Ints, i: int, j: int) -> None:
    """Unite two sets; the smaller root stays."""
    a, b = _find(parent, i), _find(parent, j)
    if a < b:
        parent[b] = a
    elif b < a:
        parent[a] = b


@kernel
def _row_end(row: Rows, first: int, last: int) -> int:
    """Return the end of the row that starts at run `first`."""
    end = first
    while end < last and row[end] == row[first]:
        end += 1
    return end


@kernel
def _join_islands(x0: Floats, x1: Floats, a: int, b: int, c: int, d: int, parent: Ints) -> None:
    """Unite runs a:b of one row with the runs c:d of the next that they touch."""
    i, j = a, c
    while i < b and j < d:
        if x0[i] <= x1[j] and x0[j] <= x1[i]:
            _unite(parent, i, j)
        if x1[i] < x1[j]:
            i += 1
        else:
            j += 1


@kernel
def _open_gaps(x0: Floats, x1: Floats, a: int, b: int, c: int, d: int, outside: int, parent: Ints) -> None:
    """Unite with the outside the gaps of row a:b that reach past the ends of the neighbouring row c:d (none: all)."""
    for i in range(a, b - 1):
        if c == d or x1[i] < x0[c] or x0[i + 1] > x1[d - 1]:
            _unite(parent, i, outside)


@kernel
def _join_gaps(x0: Floats, x1: Floats, a: int, b: int, c: int, d: int, parent: Ints) -> None:
    """Unite gaps of row a:b with gaps of row c:d that overlap by a length."""
    i, j = a, c
    while i < b - 1 and j < d - 1:
        if x1[i] < x0[j + 1] and x1[j] < x0[i + 1]:
            _unite(parent, i, j)
        if x0[i + 1] < x0[j + 1]:
            i += 1
        else:
            j += 1


@kernel
def _label(layer_start: Ints, row: Rows, x0: Floats, x1: Floats, ties: Ints) -> tuple[Ints, Ints, Ints, Ints]:
    """Return island of each run, islands' layer starts, hole after each run (-1: open), holes' layer starts."""
    runs = row.size
    layers = layer_start.size - 1
    parent = np.arange(runs)
    gap = np.arange(runs + 1)
    island_start = np.zeros(layers + 1, np.int64)
    hole_start = np.zeros(layers + 1, np.int64)
    hole = np.full(runs, -1)
    outside = runs
    for k in range(ties.shape[0]):
        _unite(parent, ties[k, 0], ties[k, 1])
    for n in range(layers):
        last = layer_start[n + 1]
        before, a = layer_start[n], layer_start[n]
        while a < last:
            b = _row_end(row, a, last)
            touches = before < a and row[before] == row[a] - 1
            if touches:
                _join_islands(x0, x1, before, a, a, b, parent)
                _join_gaps(x0, x1, before, a, a, b, gap)
                _open_gaps(x0, x1, before, a, a, b, outside, gap)
                _open_gaps(x0, x1, a, b, before, a, outside, gap)
            else:
                _open_gaps(x0, x1, before, a, a, a, outside, gap)
                _open_gaps(x0, x1, a, b, a, a, outside, gap)
            before, a = a, b
        _open_gaps(x0, x1, before, last, last, last, outside, gap)
    _number(layer_start, row, parent, gap, island_start, hole, hole_start)
    return parent, island_start, hole, hole_start


@kernel
def _number(
    layer_start: Ints, row: Rows, parent: Ints, gap: Ints, island_start: Ints, hole: Ints, hole_start: Ints
) -> None:
    """Replace roots by running numbers, in order of first appearance; `parent` becomes the island of each run."""
    outside = _find(gap, row.size)
    of_root = np.full(row.size, -1)
    islands = holes = 0
    number = np.empty(row.size, np.int64)
    for n in range(layer_start.size - 1):
        for i in range(layer_start[n], layer_start[n + 1]):
            root = _find(parent, i)
            if root == i:
                number[i] = islands
                islands += 1
            else:
                number[i] = number[root]
            if i + 1 < layer_start[n + 1] and row[i + 1] == row[i]:
                root = _find(gap, i)
                if root != outside:
                    if of_root[root] < 0:
                        of_root[root] = holes
                        holes += 1
                    hole[i] = of_root[root]
        island_start[n + 1] = islands
        hole_start[n + 1] = holes
    parent[:] = number


@kernel
def _measure(
    layer_start: Ints,
    row: Rows,
    x0: Floats,
    x1: Floats,
    island: Ints,
    hole: Ints,
    islands: int,
    holes: int,
    pitch: float,
    y_origin: float,
) -> tuple[Floats, Floats, Ints]:
    """Return area, first moments, box and second moments of islands, area of each hole and the island around it."""
    out = np.zeros((islands, 9))
    out[:, 3:5] = np.inf
    out[:, 5:7] = -np.inf
    hole_area = np.zeros(holes)
    hole_island = np.full(holes, -1)
    left = np.full(holes, np.inf)
    for i in range(layer_start[-1]):
        k = island[i]
        y = y_origin + (row[i] + 0.5) * pitch
        area = (x1[i] - x0[i]) * pitch
        out[k, 0] += area
        out[k, 1] += area * 0.5 * (x0[i] + x1[i])
        out[k, 2] += area * y
        out[k, 7] += area * (x0[i] * x0[i] + x0[i] * x1[i] + x1[i] * x1[i]) / 3.0
        out[k, 8] += area * (y * y + pitch * pitch / 12.0)
        out[k, 3], out[k, 5] = min(out[k, 3], x0[i]), max(out[k, 5], x1[i])
        out[k, 4], out[k, 6] = min(out[k, 4], y - 0.5 * pitch), max(out[k, 6], y + 0.5 * pitch)
        h = hole[i]
        if h >= 0:
            hole_area[h] += (x0[i + 1] - x1[i]) * pitch
            if x1[i] < left[h]:  # the leftmost edge of a hole belongs to the island around it, not to one inside
                left[h] = x1[i]
                hole_island[h] = island[i]
    return out, hole_area, hole_island


@kernel
def _share(
    x0: Floats, x1: Floats, a: int, b: int, c: int, d: int, island: Ints, first: int, head: Ints, chain: Ints,
    below: Ints, shared: Floats, used: int,
) -> int:  # fmt: skip
    """Add the lengths that runs a:b share with runs c:d beneath to their islands' lists; return the new length."""
    i, j = a, c
    while i < b and j < d:
        length = min(x1[i], x1[j]) - max(x0[i], x0[j])
        if length > 0.0:
            of = island[i] - first
            k = head[of]
            while k >= 0 and below[k] != island[j]:
                k = chain[k]
            if k < 0:
                k = used
                used += 1
                below[k], shared[k], chain[k], head[of] = island[j], 0.0, head[of], k
            shared[k] += length
        if x1[i] < x1[j]:
            i += 1
        else:
            j += 1
    return used


@kernel
def _match_rows(row: Rows, a: int, last: int, c: int, low_last: int) -> tuple[int, int]:
    """Advance two runs, one in each of two layers, to the next row both layers have."""
    while a < last and c < low_last and row[a] != row[c]:
        if row[a] < row[c]:
            a += 1
        else:
            c += 1
    return a, c


@kernel
def _link(
    layer_start: Ints, row: Rows, x0: Floats, x1: Floats, island: Ints, start: Ints, begin: int, stop: int
) -> tuple[Ints, Ints, Floats]:
    """Return, for each island of layers begin:stop, the islands beneath it and the length (in rows) they share."""
    base = start[begin]
    link_start = np.zeros(start[stop] - base + 1, np.int64)
    all_below = np.empty(2 * (layer_start[stop] - layer_start[max(0, begin - 1)]), np.int64)
    all_shared = np.empty(all_below.size)
    total = 0
    for n in range(max(1, begin), stop):
        a, last = layer_start[n], layer_start[n + 1]
        c, low_last = layer_start[n - 1], layer_start[n]
        count = start[n + 1] - start[n]
        most = last - c
        head = np.full(count, -1)
        chain, below, shared = np.empty(most, np.int64), np.empty(most, np.int64), np.empty(most)
        used = 0
        while True:
            a, c = _match_rows(row, a, last, c, low_last)
            if a >= last or c >= low_last:
                break
            b, d = _row_end(row, a, last), _row_end(row, c, low_last)
            used = _share(x0, x1, a, b, c, d, island, start[n], head, chain, below, shared, used)
            a, c = b, d
        for i in range(count):
            k = head[i]
            while k >= 0:
                all_below[total], all_shared[total] = below[k], shared[k]
                total += 1
                k = chain[k]
            link_start[start[n] - base + i + 1] = total
    return link_start, all_below[:total].copy(), all_shared[:total].copy()


# Holes through the layers.  A root's `state` row holds what is known of the cavity so far.
_FIRST, _LAST, _VOLUME, _MOUTH, _NOW, _ID = 0, 1, 2, 3, 4, 5
_OPEN, _VENTED, _CLOSED = float(PocketEnd.OPEN), float(PocketEnd.VENTED), float(PocketEnd.CLOSED)


@kernel
def _vent(hole: int, parent: Ints, vented: Bools, state: Floats, pockets: Floats) -> None:
    """Open the cavity of `hole` to the resin outside; a pocket it was ends with the layer before."""
    root = _find(parent, hole)
    if not vented[root]:
        vented[root] = True
        _end_pocket(state[root], _VENTED, pockets)


@kernel
def _end_pocket(of: Floats, how: float, pockets: Floats) -> None:
    """Write down a pocket that is over."""
    k = int(of[_ID])
    if k >= 0:
        pockets[k, :4] = of[:4]
        pockets[k, 4] = how


@kernel
def _flow_together(h: int, g: int, parent: Ints, vented: Bools, state: Floats, pockets: Floats, merged: Ints) -> None:
    """Unite the cavities of two holes that share an area in plan."""
    a, b = _find(parent, h), _find(parent, g)
    if a == b:
        return
    if vented[a] != vented[b]:
        _vent(b if vented[a] else a, parent, vented, state, pockets)
    elif not vented[a]:
        _merge_pockets(state[a], state[b], merged)
        state[b] = state[a]
    _unite(parent, a, b)


@kernel
def _merge_pockets(of: Floats, other: Floats, merged: Ints) -> None:
    """Add what is known of one sealed cavity to another; the older number stays."""
    of[_FIRST] = min(of[_FIRST], other[_FIRST])
    of[_LAST] = max(of[_LAST], other[_LAST])
    of[_VOLUME] += other[_VOLUME]
    of[_MOUTH] = max(of[_MOUTH], other[_MOUTH])
    one, two = int(of[_ID]), int(other[_ID])
    if one < 0 or two < 0:
        of[_ID] = max(one, two)
    else:
        _unite(merged, one, two)
        of[_ID] = min(one, two)


@kernel
def _flow_row(
    x0: Floats, x1: Floats, a: int, b: int, c: int, d: int, hole: Ints, parent: Ints, vented: Bools, state: Floats,
    pockets: Floats, merged: Ints,
) -> None:  # fmt: skip
    """Follow the gaps of row a:b of a layer into the gaps of the same row c:d of the layer beneath."""
    _vent_row(x0, x1, a, b, c, d, hole, parent, vented, state, pockets)
    _vent_row(x0, x1, c, d, a, b, hole, parent, vented, state, pockets)
    i, j = a, c
    while i < b - 1 and j < d - 1:
        if x1[i] < x0[j + 1] and x1[j] < x0[i + 1]:
            h, g = hole[i], hole[j]
            if h >= 0 and g >= 0:
                _flow_together(h, g, parent, vented, state, pockets, merged)
            elif h >= 0 or g >= 0:
                _vent(max(h, g), parent, vented, state, pockets)
        if x0[i + 1] < x0[j + 1]:
            i += 1
        else:
            j += 1


@kernel
def _vent_row(
    x0: Floats, x1: Floats, a: int, b: int, c: int, d: int, hole: Ints, parent: Ints, vented: Bools, state: Floats,
    pockets: Floats,
) -> None:  # fmt: skip
    """Open the holes of row a:b that reach past the ends of the same row in the other layer (no runs there: all)."""
    for i in range(a, b - 1):
        if hole[i] >= 0 and (c == d or x1[i] < x0[c] or x0[i + 1] > x1[d - 1]):
            _vent(hole[i], parent, vented, state, pockets)


@kernel
def _flow_layer(
    layer_start: Ints, n: int, row: Rows, x0: Floats, x1: Floats, hole: Ints, parent: Ints, vented: Bools,
    state: Floats, pockets: Floats, merged: Ints,
) -> None:  # fmt: skip
    """Follow the holes of layer `n` into the voids of the layer beneath."""
    a, last = layer_start[n], layer_start[n + 1]
    c, low_last = layer_start[n - 1], layer_start[n]
    while a < last or c < low_last:
        b, d = _row_end(row, a, last), _row_end(row, c, low_last)
        if a < last and (c >= low_last or row[a] < row[c]):
            if b > a + 1:
                _vent_row(x0, x1, a, b, c, c, hole, parent, vented, state, pockets)
            a = b
        elif c < low_last and (a >= last or row[c] < row[a]):
            _vent_row(x0, x1, c, d, a, a, hole, parent, vented, state, pockets)
            c = d
        else:
            if b > a + 1 or d > c + 1:
                _flow_row(x0, x1, a, b, c, d, hole, parent, vented, state, pockets, merged)
            a, c = b, d


@kernel
def _seal_layer(
    n: int, first: int, last: int, hole_area: Floats, thickness: float, parent: Ints, vented: Bools, state: Floats,
    sealed: Bools, pocket: Ints, pockets_so_far: int,
) -> int:  # fmt: skip
    """Note which holes of layer `n` are sealed and add them to their pockets; return how many pockets there are."""
    for h in range(first, last):
        state[_find(parent, h), _NOW] = 0.0
    for h in range(first, last):
        root = _find(parent, h)
        if vented[root]:
            continue
        of = state[root]
        if of[_ID] < 0:
            of[_ID], of[_FIRST] = pockets_so_far, n
            pockets_so_far += 1
        sealed[h], pocket[h] = True, int(of[_ID])
        of[_LAST] = n
        of[_VOLUME] += hole_area[h] * thickness
        of[_NOW] += hole_area[h]
        of[_MOUTH] = max(of[_MOUTH], of[_NOW])
    return pockets_so_far


@kernel
def _follow(
    layer_start: Ints, row: Rows, x0: Floats, x1: Floats, hole: Ints, hole_start: Ints, hole_area: Floats,
    thickness: Floats, platform_closes: bool,
) -> tuple[Bools, Ints, Ints, Ints, Floats, Floats, Ints]:  # fmt: skip
    """Follow every hole towards the platform; return sealed, pocket of each hole, and the pockets' own data."""
    holes, layers = hole_start[-1], layer_start.size - 1
    parent, merged = np.arange(holes), np.arange(holes)
    vented, sealed = np.zeros(holes, np.bool_), np.zeros(holes, np.bool_)
    pocket = np.full(holes, -1)
    state = np.zeros((holes, 6))
    state[:, _FIRST], state[:, _ID] = np.inf, -1.0
    pockets = np.zeros((holes, 5))
    count = 0
    for n in range(layers):
        if n == 0 and not platform_closes:
            vented[: hole_start[1]] = True
        if n > 0 and hole_start[n + 1] > hole_start[n - 1]:
            _flow_layer(layer_start, n, row, x0, x1, hole, parent, vented, state, pockets, merged)
        count = _seal_layer(
            n, hole_start[n], hole_start[n + 1], hole_area, thickness[n], parent, vented, state, sealed, pocket, count
        )
    for h in range(holes):
        if parent[h] == h and not vented[h]:
            _end_pocket(state[h], _OPEN if state[h, _LAST] == layers - 1 else _CLOSED, pockets)
    return _tidy(sealed, pocket, merged, pockets, count)


@kernel
def _tidy(
    sealed: Bools, pocket: Ints, merged: Ints, pockets: Floats, count: int
) -> tuple[Bools, Ints, Ints, Ints, Floats, Floats, Ints]:
    """Leave out pockets that became part of another and number the rest without gaps."""
    number = np.full(count, -1)
    kept = 0
    for k in range(count):
        if merged[k] == k:
            number[k] = kept
            pockets[kept] = pockets[k]
            kept += 1
    for h in range(pocket.size):
        if pocket[h] >= 0:
            pocket[h] = number[_find(merged, pocket[h])]
    rest = pockets[:kept]
    return (
        sealed,
        pocket,
        rest[:, 0].astype(np.int64),
        rest[:, 1].astype(np.int64),
        rest[:, 2].copy(),
        rest[:, 3].copy(),
        rest[:, 4].astype(np.int64),
    )
