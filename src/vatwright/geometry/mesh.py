"""Triangle meshes: joining loose triangles, telling what is wrong with them, and the repairs that are safe.

A mesh is a set of triangles whose corners, seen from outside the solid, run counter-clockwise.  A *shell* is a set of
triangles joined through shared edges.  Nothing here invents a triangle: a hole stays a hole and is reported.
"""

from __future__ import annotations

from functools import cached_property
from typing import TYPE_CHECKING, Any, TypeAlias

import attrs
import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel, side_by_side
from vatwright.errors import InputError, require_finite, require_positive
from vatwright.geometry.tolerance import TOLERANCES
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int32]
Longs: TypeAlias = NDArray[np.int64]
Bytes: TypeAlias = NDArray[np.uint8]

PAIRED, OPEN, CROWDED, MISWOUND, UNBALANCED = range(5)
"""Kinds of edge: two opposite uses; one use; more than two uses that cancel; two uses the same way; the rest."""

CHUNKS = 8
"""Work is cut into this many pieces whatever the number of cores, so that every machine gives the same bits."""


# ------------------------------------------------------------------------------------------------ records


def _as_vertices(value: Any) -> Floats:
    return np.require(value, np.float64, ["C", "W", "E"]).reshape(-1, 3)


def _as_faces(value: Any) -> Ints:
    return np.require(value, np.int32, ["C", "W", "E"]).reshape(-1, 3)


@attrs.frozen(kw_only=True)
class Edges:
    """How the half-edges of a mesh meet; half-edge ``3 f + j`` runs from corner j of face f to the next corner.

    Parameters
    ----------
    twin : (3 F,) int32
        The half-edge running the other way, or -1 where there is none.
    ring : (3 F,) int32
        The next half-edge on the same edge, in either direction; following it comes round to the start.
    kind : (3 F,) uint8
        PAIRED, OPEN, CROWDED, MISWOUND or UNBALANCED.
    count : (5,) int64
        Number of edges of each kind.
    """

    twin: Ints
    ring: Ints
    kind: Bytes
    count: Longs


@attrs.frozen(kw_only=True, eq=False)
class Mesh:
    """Triangles that share their corners.

    Parameters
    ----------
    vertices_m : (V, 3) float64
        Corners [m].
    faces : (F, 3) int32
        Corner numbers of each triangle, counter-clockwise seen from outside.

    Raises
    ------
    InputError
        If a coordinate is not a finite number or a face names a corner that does not exist.

    Examples
    --------
    >>> Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]]).faces.shape
    (1, 3)
    >>> Mesh(vertices_m=[], faces=[]).vertices_m.shape
    (0, 3)
    """

    vertices_m: Floats = attrs.field(converter=_as_vertices)
    faces: Ints = attrs.field(converter=_as_faces)

    def __attrs_post_init__(self) -> None:
        if not np.isfinite(self.vertices_m).all():
            bad = int(np.flatnonzero(~np.isfinite(self.vertices_m).all(axis=1))[0])
            raise InputError.one(
                "vertices_m", to_say("corner {bad} is not a finite number", bad=bad), to_say("Export the part again.")
            )
        if self.faces.size and (self.faces.min() < 0 or self.faces.max() >= len(self.vertices_m)):
            what = f"a face names a corner outside 0..{len(self.vertices_m) - 1}"
            raise InputError.one("faces", what, to_say("Export the part again."))

    @cached_property
    def edges(self) -> Edges:
        """How the half-edges meet, worked out once per mesh."""
        twin, ring, kind, count = _pair_half_edges(self.faces, len(self.vertices_m))
        return Edges(twin=twin, ring=ring, kind=kind, count=count)

    @cached_property
    def bounds_m(self) -> Floats:
        """The lowest and the highest corner of the used vertices (2, 3) [m]; not a number for an empty mesh."""
        return _bounds(self.vertices_m, self.faces)

    @cached_property
    def shells(self) -> Shells:
        """The shells and the shell of each face, worked out once per mesh."""
        return _survey_shells(self)

    @cached_property
    def faces_by_shell(self) -> tuple[Ints, Longs]:
        """The numbers of the faces (F,), shell after shell, and where each shell starts (S + 1,)."""
        return _faces_by_shell(self.shells.label, len(self.shells.each))


@attrs.frozen(kw_only=True, eq=False)
class Shell:
    """One set of triangles joined through shared edges.

    Parameters
    ----------
    faces : int
        Number of triangles [1].
    closed : bool
        Whether every edge is shared as it should be, winding aside.
    miswound : bool
        Whether some neighbours run the same way along their edge, so that volume and side mean nothing yet.
    volume_m3 : float
        Signed volume [m3]; negative for a cavity or an inverted shell.
    bounds_m : (2, 3) float64
        Lowest and highest corner [m].
    inverted : bool
        Closed, consistently wound, inside out, and not a cavity of the shells around it.
    group : int
        Shells with the same number are copies of each other up to a shift.
    """

    faces: int
    closed: bool
    miswound: bool
    volume_m3: float
    bounds_m: Floats
    inverted: bool
    group: int


@attrs.frozen(kw_only=True, eq=False)
class Shells:
    """The shells of a mesh.

    Parameters
    ----------
    each : tuple of Shell
        In order of their first face.
    label : (F,) int32
        The shell of each face, faces that name a corner twice left out.
    flat_faces : int
        Faces of three different corners on one line [1].
    """

    each: tuple[Shell, ...]
    label: Ints
    flat_faces: int


@attrs.frozen(kw_only=True, eq=False)
class MeshHealth:
    """What :func:`inspect` found.

    Parameters
    ----------
    faces, vertices : int
        Sizes of the mesh [1].
    closed : bool
        Whether there are faces and no edge is open or unbalanced.
    open_edges : int
        Edges with a single face [1].
    open_places_m : (n, 3) float64
        Midpoints of the first open edges, at most ten [m].
    overused_edges : int
        Edges with more than two faces [1].
    badly_wound_edges : int
        Edges whose two faces run along them the same way [1].
    degenerate_faces : int
        Faces that name one corner twice [1].
    flat_faces : int
        Faces of three different corners on one line, to double precision; they are kept, since their edges may be
        what closes the mesh [1].
    duplicate_faces : int
        Faces that repeat another one, same corners and same winding, beyond the first [1].
    shells : tuple of Shell
        The shells, in order of their first face.
    volume_m3 : float
        Sum of the shells' signed volumes [m3].
    bounds_m : (2, 3) float64
        Lowest and highest corner [m].
    """

    faces: int
    vertices: int
    closed: bool
    open_edges: int
    open_places_m: Floats
    overused_edges: int
    badly_wound_edges: int
    degenerate_faces: int
    flat_faces: int
    duplicate_faces: int
    shells: tuple[Shell, ...]
    volume_m3: float
    bounds_m: Floats

    @property
    def inverted_shells(self) -> tuple[int, ...]:
        """The numbers of the shells that are inside out and are not cavities."""
        return tuple(i for i, shell in enumerate(self.shells) if shell.inverted)

    @property
    def identical_shells(self) -> tuple[tuple[int, ...], ...]:
        """The numbers of the shells that are copies of each other, one tuple per shape with two copies or more."""
        members: dict[int, list[int]] = {}
        for i, shell in enumerate(self.shells):
            members.setdefault(shell.group, []).append(i)
        return tuple(tuple(group) for group in members.values() if len(group) > 1)

    @property
    def sound(self) -> bool:
        """Whether areas and volumes of this mesh can be believed as they stand."""
        return self.closed and not (self.badly_wound_edges or self.duplicate_faces or self.inverted_shells)


@attrs.frozen(kw_only=True)
class RepairNote:
    """One repair that :func:`mend` made, or one that it could not make.

    Parameters
    ----------
    kind : str
        "degenerate", "duplicate", "rewound", "turned", "one-sided", "open" or "overused".
    count : int
        How many faces, shells or edges it concerns [1].
    text : str
        The same as a sentence.
    """

    kind: str
    count: int
    text: str


# ------------------------------------------------------------------------------------------------ joining triangles


def _survey(corners: Any) -> tuple[Floats, Floats, Longs]:
    """Return per chunk the lowest and the highest coordinate and the first corner that is not finite (or -1)."""
    low, high = np.full((CHUNKS, 3), np.inf), np.full((CHUNKS, 3), -np.inf)
    bad = np.full(CHUNKS, -1, np.int64)
    side_by_side(_survey_chunks, CHUNKS, corners, low, high, bad)
    return low, high, bad


@kernel
def _survey_chunks(begin: int, end: int, corners: Any, low: Floats, high: Floats, bad: Longs) -> None:
    n = corners.shape[0]
    for c in range(begin, end):
        for i in range(c * n // CHUNKS, (c + 1) * n // CHUNKS):
            for j in range(3):
                value = corners[i, j]
                if not abs(value) < np.inf:
                    if bad[c] < 0:
                        bad[c] = i
                elif value < low[c, j]:
                    low[c, j] = value
                if value > high[c, j]:
                    high[c, j] = value


def _sort_into_bins(corners: Any, low: Floats, per_m: Floats, bins: int) -> tuple[Any, Ints, Ints, Longs]:
    """Return the corners gathered by bin (z slowest), their old numbers, the bin of each, and the bins' starts."""
    n = len(corners)
    home = np.empty(n, np.int32)
    counts = np.zeros((CHUNKS, bins**3), np.int64)
    side_by_side(_find_bins, CHUNKS, corners, low, per_m, bins, home, counts)
    start = np.append(0, np.cumsum(counts.sum(axis=0)))
    counts = start[:-1] + np.cumsum(counts, axis=0) - counts  # where each chunk writes in each bin
    gathered, number = np.empty_like(corners), np.empty(n, np.int32)
    side_by_side(_gather_bins, CHUNKS, corners, home, counts, gathered, number)
    return gathered, number, home, start


@kernel
def _find_bins(
    begin: int, end: int, corners: Any, low: Floats, per_m: Floats, bins: int, home: Ints, counts: Longs
) -> None:
    n = corners.shape[0]
    for c in range(begin, end):
        for i in range(c * n // CHUNKS, (c + 1) * n // CHUNKS):
            x = min(int((corners[i, 0] - low[0]) * per_m[0]), bins - 1)
            y = min(int((corners[i, 1] - low[1]) * per_m[1]), bins - 1)
            z = min(int((corners[i, 2] - low[2]) * per_m[2]), bins - 1)
            home[i] = (z * bins + y) * bins + x
            counts[c, home[i]] += 1


@kernel
def _gather_bins(
    begin: int, end: int, corners: Any, home: Ints, counts: Longs, gathered: Any, number: Ints
) -> None:  # fmt: skip
    n = corners.shape[0]
    for c in range(begin, end):
        for i in range(c * n // CHUNKS, (c + 1) * n // CHUNKS):
            place = counts[c, home[i]]
            counts[c, home[i]] += 1
            for j in range(3):
                gathered[place, j] = corners[i, j] + corners.dtype.type(0.0)  # turns -0.0 into 0.0
            number[place] = i


@kernel
def _merge_bin(gathered: Any, words: Any, begin: int, end: int, table: Ints, local: Ints) -> int:
    """Return how many different corners one bin has, each numbered and moved to the bin's front."""
    mask = 4
    while mask < 2 * (end - begin):
        mask *= 2
    mask -= 1
    table[: mask + 1] = -1
    found = 0
    for i in range(begin, end):
        key = np.uint64(words[i, 0]) * np.uint64(0x9E3779B97F4A7C15)  # odd constants, any would do
        key ^= np.uint64(words[i, 1]) * np.uint64(0xC2B2AE3D27D4EB4F)
        key ^= np.uint64(words[i, 2]) * np.uint64(0x165667B19E3779F9)
        key ^= key >> np.uint64(32)
        key *= np.uint64(0x9E3779B97F4A7C15)
        slot = np.int64(key >> np.uint64(33)) & mask
        x, y, z = gathered[i]
        while table[slot] >= 0:
            at = begin + table[slot]
            if gathered[at, 0] == x and gathered[at, 1] == y and gathered[at, 2] == z:
                break
            slot = (slot + 1) & mask
        if table[slot] < 0:
            table[slot] = found
            gathered[begin + found] = x, y, z
            found += 1
        local[i] = table[slot]
    return found


def _merge_bins(gathered: Any, words: Any, start: Longs) -> tuple[Ints, Longs]:
    """Return each gathered corner's number within its bin, and the bins' numbers of different corners.

    The different corners of a bin are moved to its front.  `words` shows the bits of `gathered` as integers.
    """
    local, unique = np.empty(len(gathered), np.int32), np.zeros(len(start) - 1, np.int64)
    side_by_side(_merge_some, CHUNKS, gathered, words, start, local, unique)
    return local, unique


@kernel
def _merge_some(begin: int, end: int, gathered: Any, words: Any, start: Longs, local: Ints, unique: Longs) -> None:
    bins = start.shape[0] - 1
    for c in range(begin, end):
        first, last = c * bins // CHUNKS, (c + 1) * bins // CHUNKS
        largest = 1
        for b in range(first, last):
            largest = max(largest, start[b + 1] - start[b])
        table = np.empty(4 * largest + 4, np.int32)
        for b in range(first, last):
            unique[b] = _merge_bin(gathered, words, start[b], start[b + 1], table, local)


def _number_corners(gathered: Any, number: Ints, start: Longs, local: Ints, unique: Longs) -> tuple[Floats, Ints]:
    """Return the vertices, ordered by bin, and the vertex of each corner as it was given."""
    base = np.append(0, np.cumsum(unique))
    vertices, vertex = np.empty((base[-1], 3)), np.empty(len(number), np.int32)
    side_by_side(_number_some, CHUNKS, gathered, number, start, local, base, vertices, vertex)
    return vertices, vertex


@kernel
def _number_some(
    begin: int, end: int, gathered: Any, number: Ints, start: Longs, local: Ints, base: Longs, vertices: Floats,
    vertex: Ints,
) -> None:  # fmt: skip
    bins = start.shape[0] - 1
    for c in range(begin, end):
        for b in range(c * bins // CHUNKS, (c + 1) * bins // CHUNKS):
            for i in range(base[b + 1] - base[b]):
                for j in range(3):
                    vertices[base[b] + i, j] = gathered[start[b] + i, j]
            for i in range(start[b], start[b + 1]):
                vertex[number[i]] = base[b] + local[i]


@kernel
def _order_faces(vertex: Ints, home: Ints, bins: int) -> Ints:
    """Return the faces ordered by the bin of their first corner."""
    faces = vertex.shape[0] // 3
    place = np.zeros(bins + 1, np.int64)
    for f in range(faces):
        place[home[3 * f] + 1] += 1
    for b in range(bins):
        place[b + 1] += place[b]
    ordered = np.empty((faces, 3), np.int32)
    for f in range(faces):
        at = place[home[3 * f]]
        place[home[3 * f]] += 1
        for j in range(3):
            ordered[at, j] = vertex[3 * f + j]
    return ordered


def merge_triangles(corners_m: NDArray[np.float32] | Floats) -> Mesh:
    """Return the mesh of loose triangles, corners with the same bits made one.

    Two corners are one when all three coordinates are the same number (so -0.0 is 0.0); nothing is rounded.  Vertices
    and faces come out ordered by spatial bins, lowest first, so that neighbours in space are neighbours in memory.

    Parameters
    ----------
    corners_m : (F, 3, 3) float32 or float64
        The three corners of each triangle [m].

    Returns
    -------
    Mesh
        The joined mesh; its faces are the given triangles in another order.

    Raises
    ------
    InputError
        If a coordinate is not a finite number, or the shape is not (F, 3, 3).

    Examples
    --------
    >>> square = [[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, -0.0], [1, 1, 0], [0, 1, 0]]]
    >>> mesh = merge_triangles(np.array(square))
    >>> len(mesh.vertices_m), len(mesh.faces)
    (4, 2)
    >>> merge_triangles(np.zeros((0, 3, 3))).faces.shape
    (0, 3)
    """
    corners = np.asarray(corners_m)
    if corners.ndim != 3 or corners.shape[1:] != (3, 3):
        raise InputError.one(
            "corners_m",
            to_say("the shape is {shape}, (F, 3, 3) is wanted", shape=corners.shape),
            to_say("Give three corners each."),
        )
    if corners.dtype != np.float32:
        corners = corners.astype(np.float64, copy=False)
    if len(corners) == 0:
        return Mesh(vertices_m=[], faces=[])
    flat: Any = np.require(corners, requirements=["C", "W", "E"]).reshape(-1, 3)
    lows, highs, bad = _survey(flat)
    if (bad >= 0).any():
        face = int(bad[bad >= 0][0]) // 3
        raise InputError.one(
            "corners_m",
            to_say("triangle {face} has a corner that is not a finite number", face=face),
            to_say("Export it again."),
        )
    low = lows.min(axis=0)
    extent = highs.max(axis=0) - low
    bins = int(np.clip(round(len(corners) ** (1 / 3) / 6), 1, 16))
    per_m = np.divide(bins, extent, out=np.zeros(3), where=extent > 0)
    gathered, number, home, start = _sort_into_bins(flat, low, per_m, bins)
    words = gathered.view(np.uint32 if gathered.dtype == np.float32 else np.uint64)
    local, unique = _merge_bins(gathered, words, start)
    vertices, vertex = _number_corners(gathered, number, start, local, unique)
    return Mesh(vertices_m=vertices, faces=_order_faces(vertex, home, bins**3))


def translate(mesh: Mesh, *, offset_m: Sequence[float] | Floats) -> Mesh:
    """Return `mesh` shifted by `offset_m` (3,) [m].

    Examples
    --------
    >>> corner = Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]])
    >>> translate(corner, offset_m=(0, 0, 2)).bounds_m[:, 2].tolist()
    [2.0, 2.0]
    """
    x, y, z = (float(v) for v in offset_m)
    require_finite(offset_x_m=x, offset_y_m=y, offset_z_m=z)
    return Mesh(vertices_m=mesh.vertices_m + np.array([x, y, z]), faces=mesh.faces)


def scale(mesh: Mesh, *, factor: float) -> Mesh:
    """Return `mesh` with every coordinate multiplied by `factor`, which must be above zero [1].

    Examples
    --------
    >>> corner = Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]])
    >>> scale(corner, factor=0.5).bounds_m[1].tolist()
    [0.5, 0.5, 0.0]
    """
    require_positive(factor=factor)
    return Mesh(vertices_m=mesh.vertices_m * factor, faces=mesh.faces)


# ------------------------------------------------------------------------------------------------ how edges meet


@kernel
def _gather_by_lower_vertex(faces: Ints, vertices: int) -> tuple[Longs, Longs]:
    """Return sortable keys (higher vertex, half-edge, direction) grouped by lower vertex, and the groups' starts."""
    start = np.zeros(vertices + 2, np.int64)
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        if a != b and b != c and c != a:
            start[min(a, b) + 2] += 1
            start[min(b, c) + 2] += 1
            start[min(c, a) + 2] += 1
    for v in range(vertices):
        start[v + 2] += start[v + 1]
    keys = np.empty(start[vertices + 1], np.int64)
    for f in range(faces.shape[0]):
        if faces[f, 0] == faces[f, 1] or faces[f, 1] == faces[f, 2] or faces[f, 2] == faces[f, 0]:
            continue
        for j in range(3):
            a, b = np.int64(faces[f, j]), np.int64(faces[f, (j + 1) % 3])
            low = min(a, b)
            keys[start[low + 1]] = (max(a, b) << 33) | (np.int64(3 * f + j) << 1) | np.int64(a > b)
            start[low + 1] += 1
    return keys, start


@kernel
def _sort_slice(keys: Longs, begin: int, end: int) -> None:
    """Sort a slice in place; short ones, which nearly all are, by insertion."""
    if end - begin > 24:
        keys[begin:end] = np.sort(keys[begin:end])
        return
    for i in range(begin + 1, end):
        key = keys[i]
        j = i
        while j > begin and keys[j - 1] > key:
            keys[j] = keys[j - 1]
            j -= 1
        keys[j] = key


@kernel
def _join_edge(keys: Longs, begin: int, end: int, twin: Ints, ring: Ints, kind: Bytes) -> int:
    """Link the half-edges of one edge, the n-th of one direction to the n-th of the other; return the edge's kind."""
    uses = end - begin
    backward = 0
    for i in range(begin, end):
        backward += keys[i] & 1
    if uses == 1:
        what = OPEN
    elif 2 * backward == uses:
        what = PAIRED if uses == 2 else CROWDED
    else:
        what = MISWOUND if uses == 2 else UNBALANCED
    ahead, behind = begin, begin
    for i in range(begin, end):
        here = (keys[i] >> 1) & 0xFFFFFFFF
        following = keys[i + 1] if i + 1 < end else keys[begin]
        ring[here] = (following >> 1) & 0xFFFFFFFF
        kind[here] = what
    for _ in range(min(backward, uses - backward)):
        while keys[ahead] & 1:
            ahead += 1
        while not keys[behind] & 1:
            behind += 1
        one, other = (keys[ahead] >> 1) & 0xFFFFFFFF, (keys[behind] >> 1) & 0xFFFFFFFF
        twin[one], twin[other] = other, one
        ahead += 1
        behind += 1
    return what


@kernel
def _pair_around(keys: Longs, begin: int, last: int, twin: Ints, ring: Ints, kind: Bytes, count: Longs) -> None:
    """Link the half-edges of all edges that have the same lower vertex."""
    _sort_slice(keys, begin, last)
    while begin < last:
        end = begin + 1
        while end < last and keys[end] >> 33 == keys[begin] >> 33:
            end += 1
        if end == begin + 2 and (keys[begin] & 1) != (keys[begin + 1] & 1):  # nearly every edge
            one, other = (keys[begin] >> 1) & 0xFFFFFFFF, (keys[begin + 1] >> 1) & 0xFFFFFFFF
            twin[one], twin[other] = other, one
            ring[one], ring[other] = other, one
            count[PAIRED] += 1
        else:
            count[_join_edge(keys, begin, end, twin, ring, kind)] += 1
        begin = end


def _pair_half_edges(faces: Ints, vertices: int) -> tuple[Ints, Ints, Bytes, Longs]:
    """Return twin, ring, kind and the count of each kind; faces that name a corner twice take no part."""
    keys, start = _gather_by_lower_vertex(faces, vertices)
    n = 3 * faces.shape[0]
    twin = np.full(n, -1, np.int32)
    ring = np.arange(n).astype(np.int32)
    kind = np.zeros(n, np.uint8)
    count = np.zeros((CHUNKS, 5), np.int64)
    side_by_side(_pair_some, CHUNKS, keys, start, twin, ring, kind, count)
    return twin, ring, kind, count.sum(axis=0)


@kernel
def _pair_some(
    begin: int, end: int, keys: Longs, start: Longs, twin: Ints, ring: Ints, kind: Bytes, count: Longs
) -> None:  # fmt: skip
    for c in range(begin, end):
        own = count[c]  # taken once: each view counts references, which the cores would fight over
        vertices = start.shape[0] - 2
        for v in range(c * vertices // CHUNKS, (c + 1) * vertices // CHUNKS):
            _pair_around(keys, start[v], start[v + 1], twin, ring, kind, own)


@kernel
def _label_shells(ring: Ints) -> tuple[Ints, int]:
    """Return the shell of each face, numbered in order of first face, and how many shells there are."""
    faces = ring.shape[0] // 3
    label = np.full(faces, -1, np.int32)
    stack = np.empty(faces, np.int32)
    shells = 0
    for seed in range(faces):
        if label[seed] >= 0:
            continue
        label[seed] = shells
        stack[0] = seed
        depth = 1
        while depth:
            depth -= 1
            f = stack[depth]
            for h in range(3 * f, 3 * f + 3):
                g = ring[h]
                while g != h:
                    other = g // 3
                    if label[other] < 0:
                        label[other] = shells
                        stack[depth] = other
                        depth += 1
                    g = ring[g]
        shells += 1
    return label, shells


# ------------------------------------------------------------------------------------------------ measuring shells


@kernel
def _bounds(vertices: Floats, faces: Ints) -> Floats:
    """Return the lowest and highest coordinate over the used vertices."""
    bounds = np.empty((2, 3))
    bounds[0] = np.inf
    bounds[1] = -np.inf
    for f in range(faces.shape[0]):
        for j in range(3):
            for axis in range(3):
                value = vertices[faces[f, j], axis]
                bounds[0, axis] = min(bounds[0, axis], value)
                bounds[1, axis] = max(bounds[1, axis], value)
    if faces.shape[0] == 0:
        bounds[:] = np.nan
    return bounds


@kernel
def _measure_shells(
    vertices: Floats, faces: Ints, kind: Bytes, label: Ints, shells: int
) -> tuple[Longs, Floats, Floats, Longs, int]:
    """Return per shell: faces, volume about its first corner, bounds, half-edges of each kind; and all flat faces."""
    size = np.zeros(shells, np.int64)
    volume = np.zeros(shells)
    bounds = np.empty((shells, 2, 3))
    bounds[:, 0] = np.inf
    bounds[:, 1] = -np.inf
    kinds = np.zeros((shells, 5), np.int64)
    origin = np.zeros((shells, 3))
    flat = 0
    for f in range(faces.shape[0]):
        s = label[f]
        if size[s] == 0:
            origin[s] = vertices[faces[f, 0]]
        size[s] += 1
        for j in range(3):
            kinds[s, kind[3 * f + j]] += 1
            for axis in range(3):
                value = vertices[faces[f, j], axis]
                bounds[s, 0, axis] = min(bounds[s, 0, axis], value)
                bounds[s, 1, axis] = max(bounds[s, 1, axis], value)
        ax, ay, az = vertices[faces[f, 0]]
        ux, uy, uz = vertices[faces[f, 1], 0] - ax, vertices[faces[f, 1], 1] - ay, vertices[faces[f, 1], 2] - az
        wx, wy, wz = vertices[faces[f, 2], 0] - ax, vertices[faces[f, 2], 1] - ay, vertices[faces[f, 2], 2] - az
        nx, ny, nz = uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx
        flat += nx == 0.0 and ny == 0.0 and nz == 0.0
        volume[s] += ((ax - origin[s, 0]) * nx + (ay - origin[s, 1]) * ny + (az - origin[s, 2]) * nz) / 6.0
    return size, volume, bounds, kinds, flat


@kernel
def _left_of(vertices: Floats, a: int, b: int, x: float, y: float) -> bool:
    """Return whether (x, y) lies left of the edge a-b seen from above, with the same rounding from either side."""
    low, high = min(a, b), max(a, b)
    ax, ay = vertices[low, 0], vertices[low, 1]
    side = (vertices[high, 0] - ax) * (y - ay) - (vertices[high, 1] - ay) * (x - ax)
    return bool((side > 0.0) == (a < b))


@kernel
def _faces_above(vertices: Floats, faces: Ints, label: Ints, points: Floats, own: Ints, hits: Ints, fill: bool) -> int:
    """Count the faces straight above each point, its own shell left out; if `fill`, store (point, shell, sign) too.

    `points` are sorted by x.  The sign is +1 for a face seen from inside and -1 for one seen from outside.
    """
    found = 0
    for f in range(faces.shape[0]):
        a, b, c = faces[f, 0], faces[f, 1], faces[f, 2]
        left = min(vertices[a, 0], vertices[b, 0], vertices[c, 0])
        right = max(vertices[a, 0], vertices[b, 0], vertices[c, 0])
        p = np.searchsorted(points[:, 0], left)
        while p < points.shape[0] and points[p, 0] <= right:
            x, y, z = points[p]
            if own[p] != label[f]:
                first = _left_of(vertices, a, b, x, y)
                if _left_of(vertices, b, c, x, y) == first and _left_of(vertices, c, a, x, y) == first:
                    ux, uy, uz = vertices[b] - vertices[a]
                    wx, wy, wz = vertices[c] - vertices[a]
                    nx, ny, nz = uy * wz - uz * wy, uz * wx - ux * wz, ux * wy - uy * wx
                    side = nx * (vertices[a, 0] - x) + ny * (vertices[a, 1] - y) + nz * (vertices[a, 2] - z)
                    if (side > 0.0) == (nz > 0.0) and nz != 0.0:
                        if fill:
                            hits[found, 0], hits[found, 1] = p, label[f]
                            hits[found, 2] = 1 if nz > 0.0 else -1
                        found += 1
            p += 1
    return found


def _inverted(mesh: Mesh, label: Ints, volume: Floats, usable: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return which usable shells are inside out.

    Shells are settled from the largest down.  One of negative volume is inside out if the shells around it, settled,
    leave no solid there: otherwise it is a cavity.  One of positive volume is inside out if it was the cavity of a
    solid that was itself inside out.
    """
    inverted = np.zeros(len(volume), bool)
    if not (usable & (volume < 0.0)).any():
        return inverted
    suspects = np.flatnonzero(usable)
    first_face = np.zeros(len(volume), np.int64)
    first_face[label[::-1]] = np.arange(len(label))[::-1]
    points = mesh.vertices_m[mesh.faces[first_face[suspects]]].mean(axis=1)
    order = np.argsort(points[:, 0], kind="stable")
    points, own = np.ascontiguousarray(points[order]), suspects[order].astype(np.int32)
    args = (mesh.vertices_m, mesh.faces, label, points, own)
    hits = np.empty((_faces_above(*args, np.empty((0, 3), np.int32), False), 3), np.int32)
    _faces_above(*args, hits, True)
    hits = hits[usable[hits[:, 1]]]
    hits = hits[np.argsort(hits[:, 0], kind="stable")]
    start = np.searchsorted(hits[:, 0], np.arange(len(own) + 1))
    for p in np.argsort(-np.abs(volume[own]), kind="stable"):
        _, around, signs = hits[start[p] : start[p + 1]].T
        before, after = int(signs.sum()), int(np.where(inverted[around], -signs, signs).sum())
        inverted[own[p]] = after <= 0 if volume[own[p]] < 0.0 else before < 0 < after
    return inverted


# ------------------------------------------------------------------------------------------------ copies


@kernel
def _faces_by_shell(label: Ints, shells: int) -> tuple[Ints, Longs]:
    """Return the faces shell after shell, in their own order, and the shells' starts."""
    face_start = np.zeros(shells + 1, np.int64)
    for f in range(label.shape[0]):
        face_start[label[f] + 1] += 1
    for s in range(shells):
        face_start[s + 1] += face_start[s]
    place = face_start.copy()
    order = np.empty(label.shape[0], np.int32)
    for f in range(label.shape[0]):
        order[place[label[f]]] = f
        place[label[f]] += 1
    return order, face_start


@kernel
def _split(faces: Ints, label: Ints, shells: int, vertices: int) -> tuple[Ints, Ints, Longs, Longs]:
    """Return faces gathered by shell in the shells' own numbering, the vertices they use, and the starts of both."""
    order, face_start = _faces_by_shell(label, shells)
    owner = np.full(vertices, -1, np.int32)
    local = np.empty(vertices, np.int32)
    used = np.empty(3 * faces.shape[0], np.int32)
    gathered = np.empty_like(faces)
    vertex_start = np.zeros(shells + 1, np.int64)
    total = 0
    for s in range(shells):
        for i in range(face_start[s], face_start[s + 1]):
            for j in range(3):
                v = faces[order[i], j]
                if owner[v] != s:
                    owner[v] = s
                    local[v] = total - vertex_start[s]
                    used[total] = v
                    total += 1
                gathered[i, j] = local[v]
        vertex_start[s + 1] = total
    return gathered, used[:total].copy(), face_start, vertex_start


def split_shells(mesh: Mesh) -> tuple[Mesh, ...]:
    """Return the shells of `mesh` as meshes of their own, in order of their first face.

    Examples
    --------
    >>> one = [[[0, 0, 0], [1, 0, 0], [0, 1, 0]]]
    >>> two = merge_triangles(np.array(one + [[[9, 0, 0], [10, 0, 0], [9, 1, 0]]]))
    >>> [len(shell.faces) for shell in split_shells(two)]
    [1, 1]
    """
    label, shells = _label_shells(mesh.edges.ring)
    return _take_shells(mesh, label, shells)


def _take_shells(mesh: Mesh, label: Ints, shells: int) -> tuple[Mesh, ...]:
    """Return one mesh per label."""
    if shells == 1:
        return (mesh,)
    faces, used, f, v = _split(mesh.faces, label, shells, len(mesh.vertices_m))
    vertices = mesh.vertices_m[used]
    return tuple(Mesh(vertices_m=vertices[v[s] : v[s + 1]], faces=faces[f[s] : f[s + 1]]) for s in range(shells))


@kernel
def _take_faces(faces: Ints, chosen: Ints, vertices: int) -> tuple[Ints, Ints]:
    """Return the chosen faces in a numbering of their own, and the vertices they use."""
    local = np.full(vertices, -1, np.int32)
    used = np.empty(min(vertices, 3 * chosen.size), np.int32)
    points = 0
    taken = np.empty((chosen.size, 3), np.int32)
    for i in range(chosen.size):
        for j in range(3):
            v = faces[chosen[i], j]
            if local[v] < 0:
                local[v] = points
                used[points] = v
                points += 1
            taken[i, j] = local[v]
    return taken, used[:points].copy()


@kernel
def _take_edges(twin: Ints, ring: Ints, kind: Bytes, chosen: Ints) -> tuple[Ints, Ints, Bytes, Longs]:
    """Return how the edges of the chosen faces meet, which must be whole shells, and the count of each kind."""
    number = np.empty(twin.size // 3, np.int32)  # read only where a face is chosen
    for i in range(chosen.size):
        number[chosen[i]] = i
    own_twin, own_ring = np.empty(3 * chosen.size, np.int32), np.empty(3 * chosen.size, np.int32)
    own_kind, count = np.empty(3 * chosen.size, np.uint8), np.zeros(5, np.int64)
    for at in range(3 * chosen.size):
        h = 3 * chosen[at // 3] + at % 3
        t, r = twin[h], ring[h]
        own_twin[at] = 3 * number[t // 3] + t % 3 if t >= 0 else -1
        own_ring[at] = 3 * number[r // 3] + r % 3
        own_kind[at] = kind[h]
        while r > h:
            r = ring[r]
        count[kind[h]] += r == h  # an edge counts at the greatest of its half-edges
    return own_twin, own_ring, own_kind, count


@kernel
def _apart(boxes: Floats, order: Longs, gap: float) -> Longs:
    """Return for each box (least x, least y, greatest x, greatest y) the lowest box it hangs together with in plan.

    `order` sorts the boxes by least x; boxes less than `gap` apart hang together.
    """
    root = np.arange(boxes.shape[0])
    for p in range(order.size):
        i = order[p]
        for q in range(p + 1, order.size):
            j = order[q]
            if boxes[j, 0] > boxes[i, 2] + gap:
                break
            if boxes[j, 1] <= boxes[i, 3] + gap and boxes[i, 1] <= boxes[j, 3] + gap:
                a, b = i, j
                while root[a] != a:
                    a = root[a]
                while root[b] != b:
                    b = root[b]
                root[max(a, b)] = min(a, b)
    for i in range(root.size):
        root[i] = root[root[i]]
    return root


def apart_in_plan(mesh: Mesh, *, gap_m: float) -> Longs:
    """Return for each shell the number of the piece it belongs to: pieces stand apart, seen from above.

    Parameters
    ----------
    mesh : Mesh
        The mesh, without faces that name a corner twice.
    gap_m : float
        Shells whose rectangles in plan are no further apart belong to one piece [m].

    Returns
    -------
    (S,) int64 array
        The number of the piece's first shell.

    Examples
    --------
    >>> one = [[[0, 0, 0], [1, 0, 0], [0, 1, 0]]]
    >>> two = merge_triangles(np.array(one + [[[9, 0, 0], [10, 0, 0], [9, 1, 0]]]))
    >>> apart_in_plan(two, gap_m=1.0).tolist(), apart_in_plan(two, gap_m=8.0).tolist()
    ([0, 1], [0, 0])
    """
    require_positive(gap_m=gap_m)
    boxes = np.array([shell.bounds_m[:, :2].ravel() for shell in mesh.shells.each]).reshape(-1, 4)
    return _apart(boxes, np.argsort(boxes[:, 0], kind="stable"), gap_m)


def taken_shells(mesh: Mesh, wanted: NDArray[np.bool_]) -> Mesh:
    """Return the part of `mesh` made of the `wanted` (S,) shells; the mesh itself when all are.

    Examples
    --------
    >>> one = [[[0, 0, 0], [1, 0, 0], [0, 1, 0]]]
    >>> two = merge_triangles(np.array(one + [[[9, 0, 0], [10, 0, 0], [9, 1, 0]]]))
    >>> taken_shells(two, np.array([False, True])).bounds_m[0].tolist()
    [9.0, 0.0, 0.0]
    """
    if wanted.all():
        return mesh
    edges = mesh.edges
    order, start = mesh.faces_by_shell
    chosen = np.concatenate([order[start[s] : start[s + 1]] for s in np.flatnonzero(wanted)])
    faces, used = _take_faces(mesh.faces, chosen, len(mesh.vertices_m))
    twin, ring, kind, count = _take_edges(edges.twin, edges.ring, edges.kind, chosen)
    taken = Mesh(vertices_m=mesh.vertices_m[used], faces=faces)
    # Shells share no edge, so how the edges meet is known already; a cached property's slot takes it.
    object.__setattr__(taken, "edges", Edges(twin=twin, ring=ring, kind=kind, count=count))
    return taken


@kernel
def _cell_key(x: int, y: int, z: int) -> int:
    """Return a well-mixed number for a cell of space."""
    key = np.uint64(x) * np.uint64(0x9E3779B97F4A7C15)
    key ^= np.uint64(y) * np.uint64(0xC2B2AE3D27D4EB4F)
    key ^= np.uint64(z) * np.uint64(0x165667B19E3779F9)
    key ^= key >> np.uint64(29)
    key *= np.uint64(0xBF58476D1CE4E5B9)
    return int(key >> np.uint64(2))


@kernel
def _fill_cells(points: Floats, cell_m: float) -> tuple[Ints, Ints]:
    """Return a hash table from cells to the first of their points, and each point's successor in its slot."""
    size = 4
    while size < 2 * points.shape[0]:
        size *= 2
    head = np.full(size, -1, np.int32)
    following = np.full(points.shape[0], -1, np.int32)
    for i in range(points.shape[0]):
        x, y, z = points[i]
        slot = _cell_key(int(np.floor(x / cell_m)), int(np.floor(y / cell_m)), int(np.floor(z / cell_m))) & (size - 1)
        following[i] = head[slot]
        head[slot] = i
    return head, following


@kernel
def _match_points(
    points: Floats, others: Floats, head: Ints, following: Ints, cell_m: float, tolerance_m: float
) -> Ints:
    """Return for each of `others` the nearest of `points` within the tolerance; the array is cut short on a failure."""
    match = np.empty(others.shape[0], np.int32)
    for i in range(others.shape[0]):
        best, reach = -1, tolerance_m
        x, y, z = others[i]
        x0, x1 = int(np.floor((x - tolerance_m) / cell_m)), int(np.floor((x + tolerance_m) / cell_m))
        y0, y1 = int(np.floor((y - tolerance_m) / cell_m)), int(np.floor((y + tolerance_m) / cell_m))
        z0, z1 = int(np.floor((z - tolerance_m) / cell_m)), int(np.floor((z + tolerance_m) / cell_m))
        for cx in range(x0, x1 + 1):
            for cy in range(y0, y1 + 1):
                for cz in range(z0, z1 + 1):
                    p = head[_cell_key(cx, cy, cz) & (head.shape[0] - 1)]
                    while p >= 0:
                        far = max(abs(points[p, 0] - x), abs(points[p, 1] - y), abs(points[p, 2] - z))
                        if far <= reach:
                            best, reach = p, far
                        p = following[p]
        if best < 0:
            return match[:i]
        match[i] = best
    return match


@kernel
def _face_print(faces: Ints, renumber: Ints) -> int:
    """Return a 64-bit print of the set of faces, the same in any order of faces and from any first corner."""
    total = np.uint64(0)
    for f in range(faces.shape[0]):
        a, b, c = renumber[faces[f, 0]], renumber[faces[f, 1]], renumber[faces[f, 2]]
        while a > b or a > c:
            a, b, c = b, c, a
        total += np.uint64(_cell_key(_cell_key(a, b, c), b - a, c - a))
    return int(total >> np.uint64(1))


def group_identical(shells: Sequence[Mesh], *, tolerance_m: float = TOLERANCES.identical_m) -> tuple[Longs, Floats]:
    """Return which meshes are copies of each other up to a shift, and the shifts.

    Two meshes are copies when, their lowest corners laid on each other, each vertex of one lies within `tolerance_m` of
    a vertex of the other in every coordinate and the faces join the same vertices the same way round.  Turned copies
    are different.

    Parameters
    ----------
    shells : sequence of Mesh
        The S meshes to compare.
    tolerance_m : float
        Largest difference of a coordinate [m].

    Returns
    -------
    group : (S,) int64
        Meshes with the same number are copies; numbers follow the first member.
    offset_m : (S, 3) float64
        Shift from the first member of the group to this one [m].

    Notes
    -----
    The test may miss a copy (two vertices closer than the tolerance), it does not make one up: the faces are compared
    by a 64-bit print that does not depend on their order.

    Examples
    --------
    >>> one = Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]])
    >>> group, offset_m = group_identical([one, translate(one, offset_m=(0, 0, 3)), scale(one, factor=2)])
    >>> group.tolist(), offset_m[1].tolist()
    ([0, 0, 1], [0.0, 0.0, 3.0])
    """
    require_positive(tolerance_m=tolerance_m)
    group = np.empty(len(shells), np.int64)
    offset = np.zeros((len(shells), 3))
    lows = [shell.bounds_m[0] if len(shell.faces) else np.zeros(3) for shell in shells]
    firsts: dict[tuple[int, int], list[int]] = {}
    groups = 0
    tables: dict[int, tuple[Floats, Ints, Ints, int]] = {}
    for i, shell in enumerate(shells):
        group[i] = -1
        alike = firsts.setdefault((len(shell.faces), len(shell.vertices_m)), [])
        points = shell.vertices_m - lows[i]
        for first in alike:
            if _is_copy(tables[first], points, shell.faces, tolerance_m):
                group[i] = group[first]
                offset[i] = lows[i] - lows[first]
                break
        if group[i] < 0:
            head, following = _fill_cells(points, 4.0 * tolerance_m)
            own = np.arange(len(points), dtype=np.int32)
            tables[i] = (points, head, following, _face_print(shell.faces, own))
            alike.append(i)
            group[i] = groups
            groups += 1
    return group, offset


def _is_copy(table: tuple[Floats, Ints, Ints, int], points: Floats, faces: Ints, tolerance_m: float) -> bool:
    """Return whether a shell, its lowest corner at the origin, is a copy of the one behind `table`."""
    known, head, following, face_print = table
    match = _match_points(known, points, head, following, 4.0 * tolerance_m, tolerance_m)
    return len(match) == len(points) and _face_print(faces, match) == face_print


# ------------------------------------------------------------------------------------------------ inspecting


def _is_degenerate(faces: Ints) -> NDArray[np.bool_]:
    """Return which faces name one corner twice."""
    a, b, c = faces.T
    return np.asarray((a == b) | (b == c) | (c == a))


def _is_duplicate(mesh: Mesh) -> NDArray[np.bool_]:
    """Return which faces repeat an earlier one, corners and winding alike.

    A repeated face has three edges that are not simply paired, so on a good mesh there is nothing to compare.
    """
    duplicate = np.zeros(len(mesh.faces), bool)
    if not mesh.edges.count[CROWDED:].any():
        return duplicate
    suspects = np.flatnonzero((mesh.edges.kind.reshape(-1, 3) >= CROWDED).all(axis=1))
    if len(suspects):
        rows = mesh.faces[suspects]
        turn = rows.argmin(axis=1)[:, None]
        rows = np.take_along_axis(rows, (turn + np.arange(3)) % 3, axis=1)
        _, first = np.unique(rows, axis=0, return_index=True)
        duplicate[suspects] = True
        duplicate[suspects[first]] = False
    return duplicate


def _survey_shells(mesh: Mesh) -> Shells:
    """Return the shells, the shell of each face, and the number of flat faces; degenerate faces are left out."""
    keep = ~_is_degenerate(mesh.faces)
    solid = mesh if keep.all() else Mesh(vertices_m=mesh.vertices_m, faces=mesh.faces[keep])
    label, count = _label_shells(solid.edges.ring)
    size, volume, bounds, kinds, flat = _measure_shells(solid.vertices_m, solid.faces, solid.edges.kind, label, count)
    closed = (kinds[:, OPEN] == 0) & (kinds[:, UNBALANCED] == 0)
    miswound = kinds[:, MISWOUND] > 0
    inverted = _inverted(solid, label, volume, closed & ~miswound)
    group, _ = group_identical(_take_shells(solid, label, count)) if count > 1 else (np.zeros(count, np.int64), None)
    shells = tuple(
        Shell(
            faces=int(size[s]),
            closed=bool(closed[s]),
            miswound=bool(miswound[s]),
            volume_m3=float(volume[s]),
            bounds_m=bounds[s],
            inverted=bool(inverted[s]),
            group=int(group[s]),
        )
        for s in range(count)
    )
    return Shells(each=shells, label=label, flat_faces=int(flat))


def inspect(mesh: Mesh) -> MeshHealth:
    r"""Return what is right and wrong with a mesh.

    The signed volume of a shell is a sum over its triangles (a, b, c), about a corner o of its own

    .. math:: V = \frac{1}{6} \sum (a - o) \cdot [(b - a) \times (c - a)]

    Parameters
    ----------
    mesh : Mesh
        The mesh; it may be empty.

    Returns
    -------
    MeshHealth
        Counts, places and shells.

    Notes
    -----
    Triangles belong to one shell when they share an edge; touching in a single corner does not join them.  A second
    copy of a shell in the very same place shares all its edges with the first, so it shows as duplicate faces, not as
    a second shell.  A shell of negative volume counts as inverted only if the other shells leave no solid
    around it: otherwise it is a cavity.  Volumes of open or badly wound shells mean nothing.

    Examples
    --------
    >>> health = inspect(Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]]))
    >>> health.closed, health.open_edges, len(health.shells)
    (False, 3, 1)

    References
    ----------
    .. [1] Zhang, C. and Chen, T. (2001), Efficient feature extraction for 2D/3D objects in mesh representation,
       Proc. IEEE ICIP, vol. 3, section 2 (volume as a sum of signed tetrahedra) [zhang:2001]
    """
    shells, edges = mesh.shells.each, mesh.edges
    count = edges.count
    gaps = np.flatnonzero(edges.kind == OPEN)[: TOLERANCES.places]
    f, j = gaps // 3, gaps % 3
    ends = mesh.vertices_m[mesh.faces[f, j]], mesh.vertices_m[mesh.faces[f, (j + 1) % 3]]
    return MeshHealth(
        faces=len(mesh.faces),
        vertices=len(mesh.vertices_m),
        closed=bool(shells) and not (count[OPEN] or count[UNBALANCED]),
        open_edges=int(count[OPEN]),
        open_places_m=(ends[0] + ends[1]) / 2.0,
        overused_edges=int(count[CROWDED] + count[UNBALANCED]),
        badly_wound_edges=int(count[MISWOUND]),
        degenerate_faces=int(_is_degenerate(mesh.faces).sum()),
        flat_faces=mesh.shells.flat_faces,
        duplicate_faces=int(_is_duplicate(mesh).sum()),
        shells=shells,
        volume_m3=float(sum(shell.volume_m3 for shell in shells)),
        bounds_m=mesh.bounds_m,
    )


# ------------------------------------------------------------------------------------------------ mending


@kernel
def _wind_alike(ring: Ints, kind: Bytes) -> tuple[NDArray[np.bool_], int]:
    """Return which faces to turn so that neighbours agree, fewest turned, and the edges where that cannot be had.

    Only edges of exactly two faces carry the winding across.
    """
    faces = ring.shape[0] // 3
    turn = np.zeros(faces, np.bool_)
    seen = np.zeros(faces, np.bool_)
    queue = np.empty(faces, np.int32)
    conflicts = 0
    for seed in range(faces):
        if seen[seed]:
            continue
        seen[seed] = True
        queue[0] = seed
        read, write, turned = 0, 1, 0
        while read < write:
            f = queue[read]
            read += 1
            turned += turn[f]
            for h in range(3 * f, 3 * f + 3):
                if kind[h] != PAIRED and kind[h] != MISWOUND:
                    continue
                other = ring[h] // 3
                wanted = turn[f] ^ (kind[h] == MISWOUND)
                if not seen[other]:
                    seen[other] = True
                    turn[other] = wanted
                    queue[write] = other
                    write += 1
                elif turn[other] != wanted:
                    conflicts += 1
        if 2 * turned > write:
            for i in range(write):
                turn[queue[i]] = not turn[queue[i]]
    return turn, conflicts // 2


def _turned(mesh: Mesh, turn: NDArray[np.bool_]) -> Mesh:
    """Return `mesh` with the winding of some faces reversed."""
    faces = mesh.faces.copy()
    faces[turn] = faces[turn][:, ::-1]
    return Mesh(vertices_m=mesh.vertices_m, faces=faces)


def mend(mesh: Mesh) -> tuple[Mesh, list[RepairNote]]:
    """Return `mesh` with the safe repairs made, and a note for each repair and for what remains.

    Faces that name a corner twice and repeats of a face are dropped; faces are turned until neighbours agree, as few
    as possible in each piece; closed shells that are inside out are turned outward, unless they are cavities.

    Parameters
    ----------
    mesh : Mesh
        The mesh; it may be empty.

    Returns
    -------
    mesh : Mesh
        The mended mesh; the same object if there was nothing to do.
    notes : list of RepairNote
        What was done ("degenerate", "duplicate", "rewound", "turned") and what is left ("one-sided", "open",
        "overused").

    Notes
    -----
    No triangle is invented: holes stay open and are noted.  Winding is carried only across edges of exactly two faces,
    and a one-sided surface (as a Moebius strip) keeps edges where it cannot agree.

    Examples
    --------
    >>> twice = Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2], [1, 2, 0], [0, 0, 1]])
    >>> mended, notes = mend(twice)
    >>> len(mended.faces), [note.kind for note in notes]
    (1, ['degenerate', 'duplicate', 'open'])
    """
    notes: list[RepairNote] = []

    def note(kind: str, count: int, text: str) -> None:
        if count:
            notes.append(RepairNote(kind=kind, count=int(count), text=to_say(text, n=int(count))))

    for find, kind, text in (
        (
            lambda m: _is_degenerate(m.faces),
            "degenerate",
            to_say("Faces without area, one corner named twice, dropped: {n}"),
        ),
        (_is_duplicate, "duplicate", to_say("Repeated faces dropped: {n}")),
    ):
        drop = find(mesh)
        if drop.any():
            mesh = Mesh(vertices_m=mesh.vertices_m, faces=mesh.faces[~drop])
            note(kind, drop.sum(), text)
    if mesh.edges.count[MISWOUND]:
        turn, conflicts = _wind_alike(mesh.edges.ring, mesh.edges.kind)
        mesh = _turned(mesh, turn)
        note("rewound", turn.sum(), to_say("Faces turned to agree with their neighbours: {n}"))
        note("one-sided", conflicts, to_say("Edges where no winding agrees, the surface has one side: {n}"))
    inverted = np.array([shell.inverted for shell in mesh.shells.each], bool)
    if inverted.any():
        mesh = _turned(mesh, inverted[mesh.shells.label])
        note("turned", inverted.sum(), to_say("Shells that were inside out, turned outward: {n}"))
    count = mesh.edges.count
    note("open", count[OPEN], to_say("Edges still open, with one face: {n}"))
    note("overused", count[CROWDED] + count[UNBALANCED], to_say("Edges still shared by more than two faces: {n}"))
    return mesh, notes
