"""Sections: the closed outlines in which a mesh crosses its layers, and what can be measured on them."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import attrs
import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel, side_by_side
from vatwright.errors import DomainError, require_finite
from vatwright.geometry.mesh import MISWOUND, OPEN, UNBALANCED
from vatwright.geometry.profile import NM_PER_M, first_layer_above, require_layers
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from vatwright.geometry.mesh import Mesh

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int32]
Longs: TypeAlias = NDArray[np.int64]
Bytes: TypeAlias = NDArray[np.uint8]

CHUNKS = 8
"""Work is cut into this many pieces whatever the number of cores, so that every machine gives the same bits."""
INSIDE, CLOSED_START, OPEN_START = range(3)


@attrs.frozen(kw_only=True, eq=False)
class Sections:
    """The outlines of N consecutive layers, each cut at half its thickness.

    Parameters
    ----------
    layer_nm : int
        Layer thickness [nm].
    bottom_m : float
        Height of the bottom of layer 0, from which layers are counted [m].
    first : int
        Number of the first of these layers [1].
    points_m : (P, 2) float64
        Corners of all loops [m].  Outer loops run counter-clockwise, holes clockwise.  A corner may repeat the one
        before it, where a cut passes exactly through a vertex.
    loop_start : (L + 1,) int64
        Loop i is ``points_m[loop_start[i]:loop_start[i + 1]]``; its last corner joins its first.
    layer_start : (N + 1,) int64
        The loops of layer ``first + k`` are ``layer_start[k]`` to ``layer_start[k + 1] - 1``.
    loop_open : (L,) bool
        Whether the mesh is open there, so that the line from the last corner to the first is not in the mesh.
    """

    layer_nm: int
    bottom_m: float
    first: int
    points_m: Floats
    loop_start: Longs
    layer_start: Longs
    loop_open: NDArray[np.bool_]

    @property
    def count(self) -> int:
        """Number of layers, empty ones too."""
        return len(self.layer_start) - 1

    def loops(self, layer: int) -> list[Floats]:
        """Return the loops of one layer as (n, 2) arrays [m]; `layer` is counted from the bottom of the part."""
        if not 0 <= layer - self.first < self.count:
            raise DomainError.one(
                "layer",
                to_say("{layer} is not among these layers", layer=layer),
                to_say("Ask from {first} on.", first=self.first),
            )
        begin, end = self.layer_start[layer - self.first], self.layer_start[layer - self.first + 1]
        return [self.points_m[self.loop_start[i] : self.loop_start[i + 1]] for i in range(begin, end)]


@attrs.frozen(kw_only=True, eq=False)
class LoopMeasures:
    """What :func:`loop_measures` returns; everything but the perimeter is signed, negative for holes.

    Parameters
    ----------
    area_m2 : (L,) float64
        Area [m2].
    centroid_m : (L, 2) float64
        Centre of area, or the mean corner of a loop without area [m].
    ixx_m4, iyy_m4, ixy_m4 : (L,) float64
        Integrals of y^2, x^2 and x y over the area, about the loop's own centroid [m4].
    perimeter_m : (L,) float64
        Length, without the line that closes an open loop [m].
    """

    area_m2: Floats
    centroid_m: Floats
    ixx_m4: Floats
    iyy_m4: Floats
    ixy_m4: Floats
    perimeter_m: Floats


# ------------------------------------------------------------------------------------------------ cutting


@kernel
def _crosses(faces: Ints, above: Ints, f: int) -> bool:
    """Return whether a face crosses any layer; one that names a corner twice does not count."""
    a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
    return bool((above[a] != above[b] or above[b] != above[c]) and a != b and b != c and c != a)


@kernel
def _span(faces: Ints, above: Ints, f: int) -> tuple[int, int]:
    """Return the first layer a face crosses and the one after the last."""
    a, b, c = above[faces[f, 0]], above[faces[f, 1]], above[faces[f, 2]]
    return min(a, b, c), max(a, b, c)


def _crossings(faces: Ints, above: Ints, count: int) -> Longs:
    """Return how many faces each layer crosses, by chunk of faces."""
    change = np.zeros((CHUNKS, count + 1), np.int64)
    side_by_side(_count_crossings, CHUNKS, faces, above, change)
    return change[:, :count]


@kernel
def _count_crossings(begin: int, end: int, faces: Ints, above: Ints, change: Longs) -> None:
    """Count for the chunks [begin, end) of faces how many each layer crosses."""
    n, count = faces.shape[0], change.shape[1] - 1
    for c in range(begin, end):
        for f in range(c * n // CHUNKS, (c + 1) * n // CHUNKS):
            if _crosses(faces, above, f):
                low, high = _span(faces, above, f)
                change[c, low] += 1
                change[c, high] -= 1
        for k in range(count):
            change[c, k + 1] += change[c, k]


@kernel
def _count_open_ends(faces: Ints, above: Ints, twin: Ints, count: int) -> Longs:
    """Return how many chains of segments start at an open edge in each layer."""
    change = np.zeros(count + 1, np.int64)
    for h in range(twin.shape[0]):
        if twin[h] >= 0:
            continue
        a, b = above[faces[h // 3, h % 3]], above[faces[h // 3, (h + 1) % 3]]
        if a > b and _crosses(faces, above, h // 3):
            change[b] += 1
            change[a] -= 1
    return np.cumsum(change)[:count]


@kernel
def _list_faces(begin: int, end: int, faces: Ints, above: Ints, place: Longs, listed: Ints) -> None:
    """List the faces that cross each layer, layer after layer; `place` says where each chunk of faces writes."""
    n = faces.shape[0]
    for c in range(begin, end):
        for f in range(c * n // CHUNKS, (c + 1) * n // CHUNKS):
            if _crosses(faces, above, f):
                low, high = _span(faces, above, f)
                for k in range(low, high):
                    listed[place[c, k]] = f
                    place[c, k] += 1


@kernel
def _entry(faces: Ints, above: Ints, f: int, k: int) -> int:
    """Return the corner at which the side starts by which a segment of layer k enters face f, going down."""
    a, b, c = above[faces[f, 0]] > k, above[faces[f, 1]] > k, above[faces[f, 2]] > k
    if a and not b:
        return 0
    return 1 if b and not c else 2


@kernel
def _cut(vertices: Floats, low: int, high: int, z: float, points: Floats, at: int) -> None:
    """Write where the edge from `low` up to `high` crosses height z: from below, whichever face asks."""
    t = (z - vertices[low, 2]) / (vertices[high, 2] - vertices[low, 2])
    t = min(max(t, 0.0), 1.0)
    points[at, 0] = vertices[low, 0] + t * (vertices[high, 0] - vertices[low, 0])
    points[at, 1] = vertices[low, 1] + t * (vertices[high, 1] - vertices[low, 1])


@kernel
def _trace_layer(
    vertices: Floats, faces: Ints, above: Ints, twin: Ints, listed: Ints, k: int, z: float, seen: Ints, points: Floats,
    mark: Bytes,
) -> None:  # fmt: skip
    """Write the points of all loops of one layer, and mark the first of each; chains that start at open edges first."""
    at = 0
    for sweep in range(2 if points.shape[0] > listed.shape[0] else 1, 0, -1):
        for seed in listed:
            if seen[seed] == k:
                continue
            f = seed
            j = _entry(faces, above, f, k)
            if sweep == 2:
                if twin[3 * f + j] >= 0:
                    continue
                _cut(vertices, faces[f, (j + 1) % 3], faces[f, j], z, points, at)
                mark[at] = OPEN_START
                at += 1
            else:
                mark[at] = CLOSED_START
            while seen[f] != k:
                seen[f] = k
                # The side entered by goes down from `high` to `low`; the third corner says by which side to leave.
                high, low = faces[f, j], faces[f, j + 1 if j < 2 else 0]
                j = j + 2 if j < 1 else j - 1
                third = faces[f, j]
                if above[third] > k:
                    high = third
                    j = j - 1 if j > 0 else 2
                else:
                    low = third
                _cut(vertices, low, high, z, points, at)
                at += 1
                h = twin[3 * f + j]
                if h < 0:
                    break
                f = h // 3
                j = h - 3 * f


@kernel
def _trace(
    begin: int, end: int, vertices: Floats, faces: Ints, above: Ints, twin: Ints, listed: Ints, face_start: Longs,
    point_start: Longs, place: Floats, points: Floats, mark: Bytes,
) -> None:  # fmt: skip
    """Lay down the points of all loops, layer after layer, and marks on the first point of each loop.

    `place` holds the bottom, the number of the first layer and the layer thickness.
    """
    count = face_start.shape[0] - 1
    chunks = min(CHUNKS, count)
    for c in range(begin, end):
        seen = np.full(faces.shape[0], -1, np.int32)
        for k in range(c * count // chunks, (c + 1) * count // chunks):
            p, q = point_start[k], point_start[k + 1]
            here = listed[face_start[k] : face_start[k + 1]]
            z = place[0] + (place[1] + k + 0.5) * place[2]
            _trace_layer(vertices, faces, above, twin, here, k, z, seen, points[p:q], mark[p:q])


def sections(mesh: Mesh, *, layer_nm: int, bottom_m: float, first: int, count: int) -> Sections:
    """Return the outlines of `mesh` in the layers from `first` to ``first + count - 1``.

    Layer k is cut at mid-height, ``bottom + (k + 1/2) layer``.  Each vertex gets the whole number of the first cut at
    or above it; an edge is cut by layer k just when k lies in the half-open range between its ends' numbers.  Loops
    then follow from face to face without comparing coordinates.

    Parameters
    ----------
    mesh : Mesh
        The mesh; it may be empty or open.
    layer_nm : int
        Layer thickness [nm].
    bottom_m : float
        Height of the bottom of layer 0 [m].
    first, count : int
        Which layers [1].

    Returns
    -------
    Sections
        Loops as the mesh winds them: outer ones counter-clockwise, holes clockwise.

    Raises
    ------
    DomainError
        If thickness, first or count is not a whole number in range, or the height is not finite.

    Notes
    -----
    Faces that lie in a cut make no difference: a solid is cut like one that starts just above its bottom and ends just
    below its top.  Loops of shells that overlap are returned as they are, they are not united.  An open or badly wound
    mesh gives chains, flagged in `loop_open`, whose areas mean nothing.

    Examples
    --------
    >>> from vatwright.geometry.mesh import Mesh
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> solid = Mesh(vertices_m=corners, faces=[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> cut = sections(solid, layer_nm=1_000_000_000, bottom_m=0.0, first=0, count=1)
    >>> cut.loops(0)[0].tolist()
    [[0.5, 0.0], [0.0, 0.5], [0.0, 0.0]]
    """
    require_layers(layer_nm=layer_nm, layers=first)
    require_layers(layer_nm=layer_nm, layers=count)
    require_finite(bottom_m=bottom_m)
    above = first_layer_above(mesh.vertices_m[:, 2], bottom_m, layer_nm / NM_PER_M, first, count)
    crossings = _crossings(mesh.faces, above, count)
    return _sections(mesh, crossings, above, layer_nm=layer_nm, bottom_m=bottom_m, first=first)


def _sections(mesh: Mesh, crossings: Longs, above: Ints, *, layer_nm: int, bottom_m: float, first: int) -> Sections:
    """Return the sections of the layers whose crossings were counted."""
    layer_m = layer_nm / NM_PER_M
    count = crossings.shape[1]
    vertices, faces, twin = mesh.vertices_m, mesh.faces, mesh.edges.twin
    face_start = np.concatenate([[0], np.cumsum(crossings.sum(axis=0))])
    place = face_start[:-1] + np.cumsum(crossings, axis=0) - crossings
    listed = np.empty(int(face_start[-1]), np.int32)
    side_by_side(_list_faces, CHUNKS, faces, above, place, listed)
    closed = not mesh.edges.count[[OPEN, MISWOUND, UNBALANCED]].any()
    ends = np.zeros(count, np.int64) if closed else _count_open_ends(faces, above, twin, count)
    point_start = face_start + np.concatenate([[0], np.cumsum(ends)])
    heights = np.array([bottom_m, first, layer_m])
    points, mark = np.empty((point_start[-1], 2)), np.zeros(point_start[-1], np.uint8)
    traced = vertices, faces, above, twin, listed, face_start, point_start, heights, points, mark
    side_by_side(_trace, min(CHUNKS, len(face_start) - 1), *traced)
    loop_start = np.flatnonzero(mark)
    return Sections(
        layer_nm=int(layer_nm),
        bottom_m=bottom_m,
        first=first,
        points_m=points,
        loop_start=np.append(loop_start, len(points)),
        layer_start=np.searchsorted(loop_start, point_start),
        loop_open=mark[loop_start] == OPEN_START,
    )


def sections_in_chunks(
    mesh: Mesh, *, layer_nm: int, bottom_m: float, layers: int, begin: int = 0, points_at_once: int = 4_000_000
) -> Iterator[Sections]:
    """Yield the sections of layers `begin` to ``layers - 1`` in runs of layers that hold about `points_at_once` points.

    Memory then stays within about 25 bytes a point and 40 bytes a face, however tall the part is.

    Examples
    --------
    >>> from vatwright.geometry.mesh import Mesh
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> solid = Mesh(vertices_m=corners, faces=[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> chunks = sections_in_chunks(solid, layer_nm=100_000_000, bottom_m=0.0, layers=10, points_at_once=12)
    >>> [(chunk.first, chunk.count) for chunk in chunks]
    [(0, 4), (4, 4), (8, 2)]
    """
    require_layers(layer_nm=layer_nm, layers=layers)
    require_layers(layer_nm=layer_nm, layers=points_at_once)
    heights = (mesh.vertices_m[:, 2], bottom_m, layer_nm / NM_PER_M)
    crossings = _crossings(mesh.faces, first_layer_above(*heights, 0, layers), layers)
    total = np.concatenate([[0], np.cumsum(crossings.sum(axis=0))])
    first = begin
    while first < layers:
        fitting = int(np.searchsorted(total, total[first] + points_at_once, side="right")) - 1
        last = min(layers, max(first + 1, fitting))
        above = first_layer_above(*heights, first, last - first)
        yield _sections(mesh, crossings[:, first:last], above, layer_nm=layer_nm, bottom_m=bottom_m, first=first)
        first = last


@kernel
def _points_by_label(faces: Ints, above: Ints, label: Ints, labels: int) -> Longs:
    """Return how many faces all layers together cross, by label of the face."""
    total = np.zeros(labels, np.int64)
    for f in range(faces.shape[0]):
        if _crosses(faces, above, f):
            low, high = _span(faces, above, f)
            total[label[f]] += high - low
    return total


def outline_points(mesh: Mesh, *, layer_nm: int, bottom_m: float, layers: int) -> Longs:
    """Return how many corners the outlines of each shell have, all layers together: what cutting it costs.

    Examples
    --------
    >>> from vatwright.geometry.mesh import Mesh
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> solid = Mesh(vertices_m=corners, faces=[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> outline_points(solid, layer_nm=100_000_000, bottom_m=0.0, layers=10).tolist()
    [30]
    """
    above = first_layer_above(mesh.vertices_m[:, 2], bottom_m, layer_nm / NM_PER_M, 0, layers)
    return _points_by_label(mesh.faces, above, mesh.shells.label, len(mesh.shells.each))


# ------------------------------------------------------------------------------------------------ measuring


@kernel
def _measure(
    first: int, last: int, points: Floats, loop_start: Longs, loop_open: NDArray[np.bool_], out: Floats
) -> None:
    """Write area, centroid, second moments and perimeter of each loop, summed about the loop's first corner."""
    for i in range(first, last):
        begin, end = loop_start[i], loop_start[i + 1]
        ox, oy = points[begin]
        area, sx, sy, xx, yy, xy, length, mx, my = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
        px, py = points[end - 1, 0] - ox, points[end - 1, 1] - oy
        for j in range(begin, end):
            qx, qy = points[j, 0] - ox, points[j, 1] - oy
            cross = px * qy - py * qx
            area += cross
            sx += cross * (px + qx)
            sy += cross * (py + qy)
            xx += cross * (px * px + px * qx + qx * qx)
            yy += cross * (py * py + py * qy + qy * qy)
            xy += cross * (px * qy + 2.0 * px * py + 2.0 * qx * qy + qx * py)
            if j > begin or not loop_open[i]:
                length += np.sqrt((qx - px) ** 2 + (qy - py) ** 2)
            mx += qx
            my += qy
            px, py = qx, qy
        area /= 2.0
        cx, cy = mx / (end - begin), my / (end - begin)
        if area != 0.0:
            cx, cy = sx / (6.0 * area), sy / (6.0 * area)
        out[i, 0], out[i, 1], out[i, 2] = area, ox + cx, oy + cy
        out[i, 3] = yy / 12.0 - area * cy * cy
        out[i, 4] = xx / 12.0 - area * cx * cx
        out[i, 5] = xy / 24.0 - area * cx * cy
        out[i, 6] = length


def loop_measures(sections: Sections) -> LoopMeasures:
    r"""Return area, centroid, second moments and perimeter of every loop.

    With :math:`c_i = x_i y_{i+1} - x_{i+1} y_i`

    .. math:: A = \tfrac12 \sum c_i, \quad \bar x = \tfrac{1}{6A} \sum c_i (x_i + x_{i+1}), \quad
              I_{xx} = \tfrac{1}{12} \sum c_i (y_i^2 + y_i y_{i+1} + y_{i+1}^2), \quad
              I_{xy} = \tfrac{1}{24} \sum c_i (x_i y_{i+1} + 2 x_i y_i + 2 x_{i+1} y_{i+1} + x_{i+1} y_i)

    and the moments are then carried to the centroid.

    Parameters
    ----------
    sections : Sections
        The L loops.

    Returns
    -------
    LoopMeasures
        Areas [m2], centroids [m], second moments [m4] and perimeters [m]; holes count negative.

    Notes
    -----
    Sums are taken about a corner of the loop, so distance from the origin costs no digits.  For a region with holes add
    the loops' values, moments after carrying each to the common centroid.  For an open loop the missing side is taken
    as straight, in everything but the perimeter.

    Examples
    --------
    >>> from vatwright.geometry.mesh import Mesh
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> solid = Mesh(vertices_m=corners, faces=[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> cut = sections(solid, layer_nm=1_000_000_000, bottom_m=0.0, first=0, count=1)
    >>> measures = loop_measures(cut)
    >>> float(measures.area_m2[0]), measures.centroid_m[0].round(6).tolist()
    (0.125, [0.166667, 0.166667])

    References
    ----------
    .. [1] Steger, C. (1996), On the calculation of arbitrary moments of polygons, Technische Universitaet Muenchen,
       report FGBV-96-05 (moments up to the second order) [steger:1996]
    """
    loops = len(sections.loop_start) - 1
    out = np.zeros((loops, 7))
    side_by_side(_measure, loops, sections.points_m, sections.loop_start, sections.loop_open, out)
    area, cx, cy, ixx, iyy, ixy, length = out.T
    return LoopMeasures(
        area_m2=area,
        centroid_m=np.stack([cx, cy], axis=1),
        ixx_m4=ixx,
        iyy_m4=iyy,
        ixy_m4=ixy,
        perimeter_m=length,
    )
