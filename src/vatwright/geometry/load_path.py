"""How much section carries each island of a stack back to the platform, and how much pull has to pass it.

Areas stand for capacities (times a strength they are forces) and lengths for pulls (times a force for each metre of peel
front they are forces), so that one walk serves every strength and every film.  Layer 0 is on the platform.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import attrs
import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import require_positive
from vatwright.geometry.reach import _spread, window_bins
from vatwright.geometry.region_track import Regions

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.spans import Spans

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Rows = NDArray[np.int32]

STEPS = 15_000_000
"""Islands looked at in the walks of one plate [1]: a few tenths of a second.  Beyond it several layers share a walk."""

NEVER_GIVES_M2 = 1.0e6
"""Section of what holds whatever hangs on it [m2]: larger than any platform."""

BEND_LAYERS = 96
"""Layers whose peel moment is followed to the platform [1]: moments change slowly with height."""


@attrs.frozen(kw_only=True, eq=False)
class IslandGraph:
    """Islands (I) of a stack of N layers and what each rests on (K links).

    Parameters
    ----------
    island_start : (N + 1,) int64 array
        Islands of layer ``n`` are ``island_start[n]:island_start[n + 1]``.
    island_of_run : (R,) int32 array
        Island of each run of the stack.
    area_m2 : (I,) float64 array
        Area [m2].
    centroid_m : (I, 2) float64 array
        Centroid [m].
    box_m : (I, 4) float64 array
        Least x, least y, greatest x, greatest y [m].
    second_m4 : (I, 2) float64 array
        Second moments of area about the centroid, of distances along x and along y [m4].
    sealed_m2 : (I,) float64 array
        Area of the sealed holes in it [m2].
    link_start : (I + 1,) int64 array
        Links of island ``i`` to the layer beneath are ``link_start[i]:link_start[i + 1]``.
    link_below : (K,) int64 array
        Island beneath.
    link_area_m2 : (K,) float64 array
        Area the two share in plan [m2].
    """

    island_start: Ints
    island_of_run: Rows
    area_m2: Floats
    centroid_m: Floats
    box_m: Floats
    second_m4: Floats
    sealed_m2: Floats
    link_start: Ints
    link_below: Ints
    link_area_m2: Floats

    @property
    def layers(self) -> int:
        """How many layers."""
        return len(self.island_start) - 1

    @property
    def islands(self) -> int:
        """How many islands."""
        return len(self.area_m2)

    @property
    def island_layer(self) -> Ints:
        """Layer of each island, (I,)."""
        return np.repeat(np.arange(self.layers), np.diff(self.island_start))


def island_graph(regions: Regions) -> IslandGraph:
    """Return the islands and links of a stack, without its holes but for the area of those that are sealed.

    Parameters
    ----------
    regions : Regions
        As :func:`vatwright.geometry.region_track.connect` finds them.

    Returns
    -------
    IslandGraph
        Areas [m2], places [m].
    """
    sealed = np.bincount(
        regions.hole_island[regions.hole_sealed],
        regions.hole_area_m2[regions.hole_sealed],
        minlength=len(regions.area_m2),
    ).astype(np.float64)
    same = {a.name: getattr(regions, a.name) for a in attrs.fields(IslandGraph) if a.name != "sealed_m2"}
    return IslandGraph(sealed_m2=sealed, **same)


class Capacities(NamedTuple):
    """Section that carries each island, and what each link adds to it.

    Parameters
    ----------
    section_m2 : (I,) ndarray
        Section between the island and the platform [m2]; 0 where nothing holds it.
    link_m2 : (K,) ndarray
        Section behind each link [m2].
    """

    section_m2: Floats
    link_m2: Floats


def capacities(graph: IslandGraph, *, grounded: bool = True) -> Capacities:
    """Return the section that carries each island, walked from the platform outward.

    c_i = min(A_i, sum over what it rests on of min(a_ij, c_j)), and c_i = A_i in layer 0.

    Parameters
    ----------
    graph : IslandGraph
        Islands and links.
    grounded : bool
        Whether layer 0 is on the platform; false for a stack that begins above it.

    Returns
    -------
    Capacities
        Sections [m2].

    Notes
    -----
    Two islands that rest on the same one both count it whole: what they ask of it together is added up in
    :func:`layer_margins`.

    Examples
    --------
    A column of 4 cells with a neck of one cell:

    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> wide = np.ones((2, 2), dtype=bool)
    >>> neck = np.array([[True, False], [False, False]])
    >>> column = island_graph(connect(spans_from_bitmaps([wide, neck, wide], pixel_m=1e-3), thickness_m=5e-5))
    >>> [round(float(c) * 1e6, 9) for c in capacities(column).section_m2]
    [4.0, 1.0, 1.0]
    """
    section, link = _capacities(
        graph.island_start, graph.area_m2, graph.link_start, graph.link_below, graph.link_area_m2, grounded
    )
    return Capacities(section, link)


class LayerMargins(NamedTuple):
    """Of each layer, how its pull compares with what carries it; of each island, the most that has to pass it.

    Parameters
    ----------
    margin_m : (N,) ndarray
        While layer ``n`` peels, the least section over the pull that passes it [m]; infinite where nothing pulls.
    weakest : (N,) ndarray of int
        The island where that is; -1 where nothing pulls.
    base_m : (N,) ndarray
        The same of the islands on the platform, by their whole area [m].
    passing_m : (I,) ndarray
        The greatest pull that passes each island over all later layers [m]; 0 where nothing holds it.
    """

    margin_m: Floats
    weakest: Ints
    base_m: Floats
    passing_m: Floats


def layer_margins(graph: IslandGraph, carried: Capacities, pull_m: Floats, *, layers_at_once: int = 1) -> LayerMargins:
    """Return how far each layer's pull could grow before some section between it and the platform is at its end.

    While layer n peels, its islands pull with d_i; d passes down, shared among the links in proportion to the section
    behind each: d_j = sum over the islands i on j of d_i w_ij / (sum of w_i).  The margin is the least c_j / d_j.

    Parameters
    ----------
    graph : IslandGraph
        Islands and links.
    carried : Capacities
        Their sections [m2].
    pull_m : (I,) ndarray
        Pull of each island while its layer peels, as a length of peel front [m].
    layers_at_once : int
        Layers that share a walk: their islands are taken to pull with what is greatest of theirs, on the safe side.

    Returns
    -------
    LayerMargins
        Margins [m], and where they are.

    Notes
    -----
    The shares are one way in which the sections can carry the pull, so by the lower-bound theorem of plasticity the
    margin is never above that of the best way, the maximum flow; on trees, where every island rests on one or its
    supports join nowhere else, both are equal.  Brittle green resin may fail before its sections share the load, so
    neither is an upper bound in life.  Islands that nothing holds (section 0) neither count nor pull.

    Examples
    --------
    Ten layers of one section that pull alike: section over pull.

    >>> one = np.ones(10)
    >>> column = IslandGraph(
    ...     island_start=np.arange(11), island_of_run=np.arange(10, dtype=np.int32), area_m2=4e-6 * one,
    ...     centroid_m=np.zeros((10, 2)), box_m=np.zeros((10, 4)), second_m4=np.zeros((10, 2)), sealed_m2=0 * one,
    ...     link_start=np.concatenate(([0], np.arange(10))), link_below=np.arange(9), link_area_m2=4e-6 * one[:9])
    >>> round(float(layer_margins(column, capacities(column), 2e-3 * one).margin_m.min()), 9)
    0.002

    References
    ----------
    D. C. Drucker, W. Prager and H. J. Greenberg, Extended limit design theorems for continuous media, Q. Appl. Math. 9
    (1952) 381-389, theorem 1 [drucker:1952]; L. R. Ford and D. R. Fulkerson, Maximal flow through a network, Canad. J.
    Math. 8 (1956) 399-404, theorem 1 [ford:1956].
    """
    require_positive(layers_at_once=layers_at_once)
    return LayerMargins(
        *_layer_margins(
            graph.island_start, graph.area_m2, carried.section_m2, graph.link_start, graph.link_below,
            carried.link_m2, np.ascontiguousarray(pull_m, dtype=np.float64), layers_at_once,
        )
    )  # fmt: skip


def hung_area(graph: IslandGraph, carried: Capacities) -> Floats:
    """Return how much hangs on each island, itself among it: the sum of the areas of all later layers that it carries.

    Parameters
    ----------
    graph : IslandGraph
        Islands and links.
    carried : Capacities
        Their sections [m2]; what rests on several is shared among them as pulls are.

    Returns
    -------
    (I,) ndarray
        Sums of areas [m2]: times the thickness of a layer they are volumes; 0 where nothing holds the island.

    Examples
    --------
    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> bar = spans_from_bitmaps([np.ones((2, 2), dtype=bool)] * 3, pixel_m=1e-3)
    >>> graph = island_graph(connect(bar, thickness_m=5e-5))
    >>> [round(float(a) * 1e6, 9) for a in hung_area(graph, capacities(graph))]
    [12.0, 8.0, 4.0]
    """
    return np.asarray(_hung(graph.area_m2, carried.section_m2, graph.link_start, graph.link_below, carried.link_m2))


def layers_at_once(walked: Sequence[IslandGraph]) -> int:
    """Return how many layers have to share a walk so that the walks of some stacks together stay within :data:`STEPS`.

    Parameters
    ----------
    walked : sequence of IslandGraph
        A stack as often as it is walked.

    Returns
    -------
    int
        1 where every layer can have its own.
    """
    steps = sum(graph.layers * graph.islands // 2 for graph in walked)
    return max(1, -(-steps // STEPS))


def held_up(graph: IslandGraph, *, layer_m: float) -> IslandGraph:
    r"""Return a stack with supports under all that looks down flatter than 45 degrees: one more island, the first, that holds.

    .. math:: s_i = A_i - \sum_j a_{ij} \quad\text{where that is more than}\quad 2 \sqrt{\pi A_i}\, h

    Parameters
    ----------
    graph : IslandGraph
        Islands and links of a piece as it stands.
    layer_m : float
        Layer thickness, :math:`h` [m].

    Returns
    -------
    IslandGraph
        Its island 0 stands for the supports and never gives way; an island hangs on it with what it has more than lies
        beneath it, where that is more than a wall at 45 degrees all around a disc of its area would add.  Those of the first
        layer stand as they do.

    Raises
    ------
    DomainError
        When the thickness is not positive.

    Notes
    -----
    Where the outline is longer than a disc's, a little more is taken to be supported than looks down so flat.

    Examples
    --------
    A foot of 1 mm2 under a plate of 100 mm2: the plate hangs on the foot, and on supports beside it.

    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> foot, plate = np.zeros((10, 10), dtype=bool), np.ones((10, 10), dtype=bool)
    >>> foot[5, 5] = True
    >>> graph = island_graph(connect(spans_from_bitmaps([foot, plate], pixel_m=1e-3), thickness_m=5e-5))
    >>> held = held_up(graph, layer_m=5e-5)
    >>> held.link_below.tolist(), [round(float(a) * 1e6, 1) for a in held.link_area_m2]
    ([1, 0], [1.0, 99.0])
    """
    require_positive(layer_m=layer_m)
    islands, links = graph.islands, np.diff(graph.link_start)
    beneath = np.bincount(np.repeat(np.arange(islands), links), graph.link_area_m2, minlength=islands)
    more_m2 = graph.area_m2 - beneath
    looks_down = np.where(more_m2 > 2.0 * np.sqrt(np.pi * graph.area_m2) * layer_m, more_m2, 0.0)
    looks_down[: graph.island_start[min(1, graph.layers)]] = 0.0
    on_supports = np.flatnonzero(looks_down > 0.0)
    after = graph.link_start[on_supports + 1]
    more = {name: np.vstack((np.zeros((1, n)), getattr(graph, name)))
            for name, n in (("centroid_m", 2), ("box_m", 4), ("second_m4", 2))}  # fmt: skip
    return attrs.evolve(
        graph,
        **more,
        island_start=np.concatenate(([0], graph.island_start[1:] + 1)),
        area_m2=np.concatenate(([NEVER_GIVES_M2], graph.area_m2)),
        sealed_m2=np.concatenate(([0.0], graph.sealed_m2)),
        link_start=np.concatenate(([0, 0], np.cumsum(links + (looks_down > 0.0)))),
        link_below=np.insert(graph.link_below + 1, after, 0),
        link_area_m2=np.insert(graph.link_area_m2, after, looks_down[on_supports]),
    )


def neck_of(graph: IslandGraph, carried: Capacities, island: int) -> tuple[int, float]:
    """Return the island at whose foot, or in which, the section that carries `island` is least, and its area [m2].

    Where what is beneath gives the least, the walk goes on to the support that carries most.

    Parameters
    ----------
    graph : IslandGraph
        Islands and links.
    carried : Capacities
        Their sections [m2].
    island : int
        Where to begin.

    Returns
    -------
    tuple of int and float
        Island, section [m2].
    """
    at = island
    while True:
        links = slice(graph.link_start[at], graph.link_start[at + 1])
        section = float(carried.section_m2[at])
        if links.start == links.stop or section >= graph.area_m2[at] * (1.0 - 1e-9):
            return at, section
        most = links.start + int(np.argmax(carried.link_m2[links]))
        below = int(graph.link_below[most])
        if carried.link_m2[most] < carried.section_m2[below] * (1.0 - 1e-9):
            return at, section
        at = below


class Bending(NamedTuple):
    """The peel moment where it is worst, for each metre of peel front.

    Parameters
    ----------
    stress_per_m : (N,) ndarray
        In each layer, tension and bending together, over the force for each metre of front [1/m].
    island : (N,) ndarray of int
        An island of the section where that is; -1 where nothing passes.
    """

    stress_per_m: Floats
    island: Ints


def bending(graph: IslandGraph, carried: Capacities, pull_m: Floats, *, layers: int = BEND_LAYERS) -> Bending:
    """Return the greatest stress in every layer from a pull that acts at the edge of what peels.

    All sections that carry one printed region act together as one section: stress = d/A + d e h/I, with d the pull, e
    from the section's centroid to the far edge of what peels, h to the far edge of the section, I its second moment.

    Parameters
    ----------
    graph : IslandGraph
        Islands and links.
    carried : Capacities
        Their sections [m2].
    pull_m : (I,) ndarray
        Pull of each island as a length of peel front [m].
    layers : int
        How many layers, evenly spread and the last among them, are followed to the platform.

    Returns
    -------
    Bending
        Stress for each N/m of the front [1/m].

    Notes
    -----
    The whole peak pull is set at the edge: right for a square, up to twice too much for a disc, whose front is short at
    the edge.  Along x and along y apart, the larger counts.  Sections are taken to stay plane and elastic.

    References
    ----------
    S. Timoshenko and J. N. Goodier, *Theory of Elasticity*, 2nd edition (1951), bending of bars. [timoshenko:1951]

    Examples
    --------
    A square bar b pulled at its edge, e = h = b/2 and I = b^4/12: 1/A + 3/A, four times its mean stress.

    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> bar = spans_from_bitmaps([np.ones((10, 10), dtype=bool)] * 3, pixel_m=1e-3)
    >>> graph = island_graph(connect(bar, thickness_m=5e-5))
    >>> round(float(bending(graph, capacities(graph), np.full(3, 0.01)).stress_per_m[0]) * 1e-4 / 0.01, 6)
    4.0
    """
    chosen = np.unique(np.linspace(0, max(graph.layers - 1, 0), min(layers, graph.layers)).astype(np.int64))
    stress, island = _bending(
        graph.island_start, graph.area_m2, graph.centroid_m, graph.box_m, graph.second_m4, carried.section_m2,
        graph.link_start, graph.link_below, carried.link_m2, np.ascontiguousarray(pull_m, dtype=np.float64), chosen,
    )  # fmt: skip
    return Bending(stress, island)


def island_fronts(
    runs: Spans,
    graph: IslandGraph,
    *,
    offset_m: tuple[float, float],
    window_m: tuple[float, float],
    step_m: float,
) -> Floats:
    """Return the longest peel front that crosses each island: the longest line of one distance from the window's edge.

    Parameters
    ----------
    runs : Spans
        Runs of solid.
    graph : IslandGraph
        Their islands.
    offset_m : tuple of float
        Where the stack's own origin stands, from the window's centre [m].
    window_m : tuple of float
        Width and depth of the window [m].
    step_m : float
        Width of the distance bins [m].

    Returns
    -------
    (I,) ndarray
        Lengths [m].

    Notes
    -----
    Area in a bin over the bin's width.  An island narrower than a few bins has at least its area over the distances it
    covers: exact for a rectangle, pi/4 of the true length for a disc.  Rounded corners of the window are left out.

    Examples
    --------
    >>> from vatwright.geometry.region_track import connect
    >>> from vatwright.geometry.spans import spans_from_bitmaps
    >>> bar = spans_from_bitmaps([np.ones((4, 20), dtype=bool)], pixel_m=1e-3)
    >>> graph = island_graph(connect(bar, thickness_m=5e-5))
    >>> front = island_fronts(bar, graph, offset_m=(0.0, 0.0), window_m=(0.3, 0.1), step_m=1e-3)
    >>> round(float(front[0]), 6)
    0.02
    """
    require_positive(step_m=step_m, width_m=window_m[0], depth_m=window_m[1])
    bins = window_bins(*window_m, step_m)
    first_y = runs.origin_m[1] + 0.5 * runs.pitch_m + offset_m[1]
    place = (first_y, runs.pitch_m, offset_m[0], window_m[0] / 2.0, window_m[1] / 2.0, step_m)
    return np.asarray(
        _fronts(
            runs.layer_start, runs.row, runs.x0_m, runs.x1_m, graph.island_of_run, graph.island_start, graph.area_m2,
            place, bins,
        )
    )  # fmt: skip


@kernel
def _capacities(start: Any, area: Any, link_start: Any, below: Any, shared: Any, grounded: bool) -> Any:
    section, link = np.zeros(area.size), np.zeros(below.size)
    if start.size > 1 and grounded:
        section[: start[1]] = area[: start[1]]
    first = start[1] if start.size > 1 else 0
    for i in range(first, area.size):
        total = 0.0
        for k in range(link_start[i], link_start[i + 1]):
            link[k] = min(shared[k], section[below[k]])
            total += link[k]
        section[i] = min(area[i], total)
    return section, link


@kernel
def _layer_margins(
    start: Any, area: Any, section: Any, link_start: Any, below: Any, link: Any, pull: Any, at_once: int
) -> Any:
    layers = start.size - 1
    margin, weakest, base = np.full(layers, np.inf), np.full(layers, -1), np.full(layers, np.inf)
    passing, now = np.zeros(area.size), np.zeros(area.size)
    first = 0
    while first < layers:
        end = min(first + at_once, layers)
        now[: start[end]] = 0.0
        least, where, ground = np.inf, -1, np.inf
        for i in range(start[end] - 1, -1, -1):
            if section[i] <= 0.0:
                continue
            if i >= start[first]:
                now[i] = max(now[i], pull[i])
            if now[i] <= 0.0:
                continue
            passing[i] = max(passing[i], now[i])
            if section[i] / now[i] <= least:
                least, where = section[i] / now[i], i
            if i < start[1]:
                ground = min(ground, area[i] / now[i])
            _pass_down(i, now, link_start, below, link)
        margin[first:end], weakest[first:end], base[first:end] = least, where, ground
        first = end
    return margin, weakest, base, passing


@kernel
def _hung(area: Any, section: Any, link_start: Any, below: Any, link: Any) -> Any:
    hung = np.zeros(area.size)
    for i in range(area.size - 1, -1, -1):
        if section[i] > 0.0:
            hung[i] += area[i]
            if link_start[i + 1] > link_start[i]:
                _pass_down(i, hung, link_start, below, link)
    return hung


@kernel
def _pass_down(i: int, now: Any, link_start: Any, below: Any, link: Any) -> None:
    """Share what passes island `i` among what it rests on."""
    a, b = link_start[i], link_start[i + 1]
    if b == a + 1:
        now[below[a]] += now[i]
        return
    total = 0.0
    for k in range(a, b):
        total += link[k]
    for k in range(a, b):
        now[below[k]] += now[i] * link[k] / total


@kernel
def _fronts(
    layer_start: Any, row: Any, x0: Any, x1: Any, island: Any, start: Any, area: Any, place: Any, bins: int
) -> Any:
    first_y, pitch, dx, half_w, half_d, step = place
    out = np.zeros(area.size)
    most = 0
    for n in range(start.size - 1):
        most = max(most, start[n + 1] - start[n])
    lines = np.empty((most, bins))
    ends = np.empty((most, 2))
    for n in range(start.size - 1):
        base, count = start[n], start[n + 1] - start[n]
        lines[:count] = 0.0
        ends[:count, 0], ends[:count, 1] = np.inf, 0.0
        for run in range(layer_start[n], layer_start[n + 1]):
            own = island[run] - base
            edge_y = max(half_d - abs(first_y + row[run] * pitch), 0.0)
            a, b = x0[run] + dx, x1[run] + dx
            for side in range(2):
                lo = max(half_w + a, 0.0) if side == 0 else max(half_w - b, 0.0)
                hi = min(half_w + b, half_w) if side == 0 else min(half_w - a, half_w)
                if hi > lo:
                    # The row is a strip: it reaches half a pitch to either side of its middle.
                    ends[own, 0] = min(ends[own, 0], lo if lo < edge_y else edge_y - 0.5 * pitch)
                    ends[own, 1] = max(ends[own, 1], hi if hi < edge_y else edge_y + 0.5 * pitch)
                    _spread(lines[own], lo, hi, edge_y, pitch, step, bins)
        for own in range(count):
            across = max(ends[own, 1] - ends[own, 0], pitch)
            out[base + own] = max(lines[own].max() / step, area[base + own] / across)
    return out


# What is added up of the sections under one printed region.
_A, _AX, _AY, _IX, _IY, _X0, _Y0, _X1, _Y1 = 0, 1, 2, 3, 4, 5, 6, 7, 8


@kernel
def _root(parent: Any, i: int) -> int:
    while parent[i] != i:
        parent[i] = parent[parent[i]]
        i = parent[i]
    return i


@kernel
def _bending(
    start: Any, area: Any, centre: Any, box: Any, second: Any, section: Any, link_start: Any, below: Any, link: Any,
    pull: Any, chosen: Any,
) -> Any:  # fmt: skip
    layers = start.size - 1
    worst, where = np.zeros(layers), np.full(layers, -1)
    label = np.empty(area.size, np.int64)
    for n in chosen:
        a, count = start[n], start[n + 1] - start[n]
        label[: start[n + 1]] = -1
        parent = np.arange(count)
        force, front, sums = np.zeros(count), box[a : a + count].copy(), np.empty((count, 9))
        for own in range(count):
            if section[a + own] > 0.0 and pull[a + own] > 0.0:
                label[a + own], force[own] = own, pull[a + own]
        for m in range(n, -1, -1):
            _add_up(start[m], start[m + 1], label, parent, area, centre, box, second, sums)
            for own in range(count):
                if parent[own] == own and force[own] > 0.0 and sums[own, _A] > 0.0:
                    stress = _stress(force[own], front[own], sums[own])
                    if stress > worst[m]:
                        worst[m] = stress
                        where[m] = _of_root(start[m], start[m + 1], label, parent, own)
            if m > 0:
                _hand_down(start[m], start[m + 1], label, parent, force, front, link_start, below, link)
    return worst, where


@kernel
def _of_root(first: int, last: int, label: Any, parent: Any, root: int) -> int:
    """Return the first island of a layer that belongs to a root."""
    for i in range(first, last):
        if label[i] >= 0 and _root(parent, label[i]) == root:
            return i
    return -1


@kernel
def _hand_down(
    first: int, last: int, label: Any, parent: Any, force: Any, front: Any, link_start: Any, below: Any, link: Any
) -> None:
    """Give what each island of a layer rests on its label; labels that meet become one, with all of their pull."""
    for i in range(first, last):
        if label[i] < 0:
            continue
        for k in range(link_start[i], link_start[i + 1]):
            if link[k] <= 0.0:
                continue
            if label[below[k]] < 0:
                label[below[k]] = label[i]
            p, q = _root(parent, label[below[k]]), _root(parent, label[i])
            if p != q:
                parent[q] = p
                force[p] += force[q]
                front[p, 0], front[p, 1] = min(front[p, 0], front[q, 0]), min(front[p, 1], front[q, 1])
                front[p, 2], front[p, 3] = max(front[p, 2], front[q, 2]), max(front[p, 3], front[q, 3])


@kernel
def _add_up(
    first: int, last: int, label: Any, parent: Any, area: Any, centre: Any, box: Any, second: Any, sums: Any
) -> None:
    """Add up the sections of a layer by the printed region they carry, about the origin."""
    sums[:, :_X0] = 0.0
    sums[:, _X0:_X1] = np.inf
    sums[:, _X1:] = -np.inf
    for i in range(first, last):
        if label[i] >= 0:
            of = sums[_root(parent, label[i])]
            of[_A] += area[i]
            for axis in range(2):
                x = centre[i, axis]
                of[_AX + axis] += area[i] * x
                of[_IX + axis] += second[i, axis] + area[i] * x * x
                of[_X0 + axis] = min(of[_X0 + axis], box[i, axis])
                of[_X1 + axis] = max(of[_X1 + axis], box[i, axis + 2])


@kernel
def _stress(force: float, front: Any, of: Any) -> float:
    """Return the greatest stress in a section whose pull acts at the far edge of what peels."""
    most = 0.0
    for axis in range(2):
        middle = of[_AX + axis] / of[_A]
        moment = of[_IX + axis] - of[_A] * middle * middle
        reach = max(abs(of[_X0 + axis] - middle), abs(of[_X1 + axis] - middle))
        lever = max(abs(front[axis] - middle), abs(front[axis + 2] - middle))
        if moment > 0.0:
            most = max(most, lever * reach / moment)
    return float(force * (1.0 / of[_A] + most))
