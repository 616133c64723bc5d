"""Area and outline length of every layer of a mesh, in one pass over its triangles."""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeAlias

import attrs
import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel, side_by_side
from vatwright.errors import DomainError, require_finite, require_positive
from vatwright.geometry.mesh import MISWOUND, OPEN, UNBALANCED
from vatwright.geometry.tolerance import TOLERANCES
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.geometry.mesh import Mesh

Floats: TypeAlias = NDArray[np.float64]
Ints: TypeAlias = NDArray[np.int32]
Longs: TypeAlias = NDArray[np.int64]
Number: TypeAlias = int | np.uint32

CHUNKS = 8
"""Triangles are cut into this many pieces whatever the number of cores, so that every machine gives the same bits."""
DIRECT = 8
"""A triangle that crosses at most this many layers adds to each, a taller one polynomials (speed is flat, 4 to 12)."""
BLOCK = 64
"""Polynomials are centred on blocks of this many layers, so that no term is much larger than the area itself."""
NM_PER_M = 1_000_000_000


@attrs.frozen(kw_only=True, eq=False)
class Profile:
    """Area and outline length of N layers, each cut at half its thickness.

    Parameters
    ----------
    layer_nm : int
        Layer thickness [nm].
    bottom_m : float
        Height of the bottom of the first layer [m].
    area_m2 : (N,) float64
        Area, counted by winding: solids that overlap count twice, cavities count against [m2].
    perimeter_m : (N,) float64
        Length of all outlines, inner ones too [m].
    closure_error_m2 : (N,) float64
        How far areas taken from two origins within the mesh's bounds can differ, at most; zero where the mesh is
        closed [m2].
    open_layers : (n,) int64
        The layers, counted from 0, that cut the mesh where it is open or wound badly.
    """

    layer_nm: int
    bottom_m: float
    area_m2: Floats
    perimeter_m: Floats
    closure_error_m2: Floats
    open_layers: Longs

    @property
    def volume_m3(self) -> float:
        """Sum of area times layer thickness [m3]."""
        return float(self.area_m2.sum()) * self.layer_nm / NM_PER_M


def require_layers(*, layer_nm: int, layers: int) -> None:
    """Raise :class:`DomainError` unless the thickness is a whole number above 0 and the count one of 0 or above."""
    if layer_nm != int(layer_nm) or layer_nm <= 0:
        raise DomainError.one(
            "layer_nm",
            to_say("must be a whole number above 0, got {layer_nm}", layer_nm=layer_nm),
            to_say("Give it in nanometres."),
        )
    if layers != int(layers) or layers < 0:
        raise DomainError.one(
            "layers",
            to_say("must be a whole number, 0 or above, got {layers}", layers=layers),
            to_say("Count the layers."),
        )


def layer_count(height_m: float, layer_nm: int) -> int:
    r"""Return how many layers a part of a given height takes.

    .. math:: N = \left\lceil \frac{H - 0.005\,t}{t} \right\rceil

    with height H rounded to whole nanometres and layer thickness t, all in integers.

    Parameters
    ----------
    height_m : float
        Height of the part [m].
    layer_nm : int
        Layer thickness [nm].

    Returns
    -------
    int
        Number of layers; 0 for a height below half a nanometre, else at least 1.

    Raises
    ------
    DomainError
        If the height is negative or not finite, or the thickness is not a whole number above zero.

    Notes
    -----
    A part may reach 5 per mille of a layer into the next without getting it, so that the rounding of a file's numbers
    cannot add a layer.

    Examples
    --------
    >>> layer_count(0.010, 50_000), layer_count(float(np.float32(0.010)), 50_000), layer_count(0.01003, 50_000)
    (200, 200, 201)
    """
    require_layers(layer_nm=layer_nm, layers=0)
    require_finite(height_m=height_m)
    height_nm = round(height_m * NM_PER_M)
    if height_nm < 0:
        raise DomainError.one(
            "height_m",
            to_say("must be 0 or above, got {height_m:g}", height_m=height_m),
            to_say("Check the value and its unit."),
        )
    spare_nm = layer_nm * TOLERANCES.top_per_mille // 1000
    return min(height_nm, max(1, -((spare_nm - height_nm) // layer_nm)))


def first_layer_at(height_m: float, bottom_m: float, layer_m: float) -> int:
    """Return the first layer cut at or above a height; the rule of :func:`first_layer_above` for one height.

    Examples
    --------
    >>> first_layer_at(0.1, 0.0, 0.2), first_layer_at(0.11, 0.0, 0.2)
    (0, 1)
    """
    return int(np.ceil((height_m - bottom_m) / layer_m - 0.5))


def first_layer_above(heights_m: Floats, bottom_m: float, layer_m: float, first: int, count: int) -> Ints:
    """Return for each height the first layer cut at or above it, less `first`, held within 0 and `count`.

    Layer k is cut at ``bottom + (k + 1/2) layer``.  An edge crosses layer k just when k lies in the half-open range
    between its ends' numbers, so a face lying in a cut is never half in it.
    """
    above = np.ceil((heights_m - bottom_m) / layer_m - 0.5) - first
    found: Ints = np.clip(above, 0.0, float(count)).astype(np.int32)
    return found


@kernel
def _edge_number(a: Number, b: Number) -> np.uint64:
    """Return a well-mixed number for an edge, the same from both ends (mixing steps of SplitMix64 [1]).

    .. [1] Steele, G. L., Lea, D. and Flood, C. H. (2014), OOPSLA, figure 16 [steele:2014]
    """
    key = (np.uint64(min(a, b)) << np.uint64(32)) + np.uint64(max(a, b)) + np.uint64(0x9E3779B97F4A7C15)
    key = (key ^ (key >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    key = (key ^ (key >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return key ^ (key >> np.uint64(31))


@kernel
def _add_range(
    total: Floats, begin: Number, end: Number, a0: float, a1: float, a2: float, p0: float, p1: float
) -> None:
    """Add area a0 + a1 u + a2 u^2 and length p0 + p1 u, u counted from `begin`, to many layers begin <= k < end.

    The coefficients are added about the middle of each block of layers where the range starts and taken away where it
    stops (columns 2 to 6); blocks start from nothing.
    """
    k = begin
    while k < end:
        stop = min(end, (k // BLOCK + 1) * BLOCK)
        shift = float((k // BLOCK) * BLOCK + BLOCK // 2) - float(begin)
        b0, b1, q0 = a0 + shift * (a1 + shift * a2), a1 + 2.0 * a2 * shift, p0 + shift * p1
        total[k, 2] += b0
        total[k, 3] += b1
        total[k, 4] += a2
        total[k, 5] += q0
        total[k, 6] += p1
        if stop % BLOCK:
            total[stop, 2] -= b0
            total[stop, 3] -= b1
            total[stop, 4] -= a2
            total[stop, 5] -= q0
            total[stop, 6] -= p1
        k = stop


@kernel
def _by_height(vertices: Floats, a: Number, b: Number, c: Number) -> tuple[Number, Number, Number, float]:
    """Return three corners in order of height, and one half, negative if that order reverses their winding.

    Each step picks values and branches nowhere: which way corners lie is a coin toss, and wrong guesses cost the most.
    """
    za, zb, zc = vertices[a, 2], vertices[b, 2], vertices[c, 2]
    half = 0.5
    swap = zb < za
    a, b, half = (b if swap else a), (a if swap else b), (-half if swap else half)
    za, zb = (zb if swap else za), (za if swap else zb)
    swap = zc < zb
    b, c, half = (c if swap else b), (b if swap else c), (-half if swap else half)
    zb = zc if swap else zb
    swap = zb < za
    return (b if swap else a), (a if swap else b), c, (-half if swap else half)


@kernel
def _cut_of(
    vertices: Floats, low: Number, mid: Number, top: Number, x: float, y: float, z: float, per_m: float
) -> tuple[float, float, float, float, float, float, float, float, float]:
    """Return how the cut of a triangle moves: heights, foot and shift of the long edge, and the widest cut.

    Heights are counted in layers from the cut at z, of which `per_m` make a metre.  The cut moves along the long edge by
    (gx, gy) a layer, and is widest, (wx, wy), at the middle corner.
    """
    lt, mt, tt = (vertices[low, 2] - z) * per_m, (vertices[mid, 2] - z) * per_m, (vertices[top, 2] - z) * per_m
    lx, ly = vertices[low, 0] - x, vertices[low, 1] - y
    rise = 1.0 / (tt - lt)
    gx, gy = (vertices[top, 0] - x - lx) * rise, (vertices[top, 1] - y - ly) * rise
    wx, wy = vertices[mid, 0] - x - (lx + gx * (mt - lt)), vertices[mid, 1] - y - (ly + gy * (mt - lt))
    return lt, mt, tt, lx, ly, gx, gy, wx, wy


@kernel
def _add_part(
    total: Floats, begin: Number, end: Number, px: float, py: float, gx: float, gy: float, wx: float, wy: float,
    share: float, growth: float, half: float,
) -> None:  # fmt: skip
    """Add the layers between two corners of a triangle, where cuts run from P(u) = p + g u to P + w (share + growth u).

    Half of P x Q is half of P x w times the bracket.  A short range is added layer by layer (columns 0, 1).
    """
    p_w, g_w, width = half * (px * wy - py * wx), half * (gx * wy - gy * wx), np.sqrt(wx * wx + wy * wy)
    a0, a1, a2 = p_w * share, p_w * growth + g_w * share, g_w * growth
    p0, p1 = width * share, width * growth
    if end - begin > DIRECT:
        _add_range(total, begin, end, a0, a1, a2, p0, p1)
        return
    u = 0.0
    for k in range(begin, end):
        total[k, 0] += a0 + u * (a1 + u * a2)
        total[k, 1] += p0 + u * p1
        u += 1.0


@kernel
def _add_triangles(
    begin: int, end: int, vertices: Floats, faces: Ints, above: Ints, place: Floats, is_closed: bool, total: Floats,
    balance: NDArray[np.uint64],
) -> None:  # fmt: skip
    """Add up for the chunks [begin, end) all triangles' shares, their number (column 7), and the balance of crossed edges.

    The last two are differences from layer to layer; of a closed mesh the balance is nil and not worked out.
    """
    n, one_more = faces.shape[0], np.uint64(1)
    x, y, z, per_m = place[0], place[1], place[2], 1.0 / place[3]  # by value: an array might change as sums are stored
    for c in range(begin, end):
        own = total[c]  # taken once: each view counts references, which the cores would fight over
        for f in range(c * n // CHUNKS, (c + 1) * n // CHUNKS):
            # numbers without a sign need no look at whether they count from the end
            one, two, three = np.uint32(faces[f, 0]), np.uint32(faces[f, 1]), np.uint32(faces[f, 2])
            if above[one] == above[two] and above[two] == above[three]:
                continue
            low, mid, top, half = _by_height(vertices, one, two, three)
            k0, k1, k2 = np.uint32(above[low]), np.uint32(above[mid]), np.uint32(above[top])
            lt, mt, tt, lx, ly, gx, gy, wx, wy = _cut_of(vertices, low, mid, top, x, y, z, per_m)
            if k0 < k1:
                u, growth = float(k0) - lt, 1.0 / (mt - lt)
                _add_part(own, k0, k1, lx + gx * u, ly + gy * u, gx, gy, wx, wy, u * growth, growth, half)
            if k1 < k2:
                u, growth = float(k1) - lt, 1.0 / (tt - mt)
                at_top = (tt - float(k1)) * growth
                _add_part(own, k1, k2, lx + gx * u, ly + gy * u, gx, gy, wx, wy, at_top, -growth, half)
            own[k0, 7] += 1.0
            own[k2, 7] -= 1.0
            if is_closed:
                continue
            low_mid, mid_top, low_top = _edge_number(low, mid), _edge_number(mid, top), _edge_number(low, top)
            if half < 0.0:
                low_mid, mid_top, low_top = ~low_mid + one_more, ~mid_top + one_more, ~low_top + one_more
            balance[c, k0] += low_mid - low_top
            balance[c, k1] += mid_top - low_mid
            balance[c, k2] += low_top - mid_top


@kernel
def _sum_up(total: Floats, balance: NDArray[np.uint64], layers: int) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """Return area, perimeter and openness of each layer from the chunks' sums and differences."""
    area, perimeter = np.empty(layers), np.empty(layers)
    is_open = np.empty(layers, np.bool_)
    run = np.zeros(8)
    faces = 0.0
    crossed = np.uint64(0)
    for k in range(layers):
        if k % BLOCK == 0:
            run[:] = 0.0
        direct_area, direct_perimeter = 0.0, 0.0
        for c in range(total.shape[0]):
            crossed += balance[c, k]
            direct_area += total[c, k, 0]
            direct_perimeter += total[c, k, 1]
            faces += total[c, k, 7]
            for j in range(2, 7):
                run[j] += total[c, k, j]
        if faces == 0.0:  # nothing is cut here, so what is left is rounding
            run[:] = 0.0
        u = float(k % BLOCK - BLOCK // 2)
        area[k] = direct_area + run[2] + u * (run[3] + u * run[4])
        perimeter[k] = direct_perimeter + run[5] + u * run[6]
        is_open[k] = crossed != 0
    return area, perimeter, is_open


@kernel
def _gaps(vertices: Floats, faces: Ints, above: Ints, place: Floats, wanted: NDArray[np.bool_]) -> Floats:
    """Return the sum of all cut segments, as vectors, in each wanted layer; it is zero where they close up."""
    gap = np.zeros((wanted.shape[0], 2))
    for f in range(faces.shape[0]):
        for j in range(3):
            a, b = faces[f, j], faces[f, (j + 1) % 3]
            sign = 1.0  # a segment ends on the edge that goes up and starts on the one that goes down
            if above[a] > above[b]:
                a, b, sign = b, a, -1.0
            for k in range(above[a], above[b]):
                if wanted[k]:
                    t = (place[2] + place[3] * k - vertices[a, 2]) / (vertices[b, 2] - vertices[a, 2])
                    for axis in range(2):
                        gap[k, axis] += sign * (vertices[a, axis] + t * (vertices[b, axis] - vertices[a, axis]))
    return gap


def area_profile(mesh: Mesh, *, layer_nm: int, bottom_m: float, layers: int) -> Profile:
    r"""Return area and perimeter of every layer of `mesh`.

    A triangle cuts layer k in a segment from P to Q, the solid on its left; by Green's theorem

    .. math:: A_k = \tfrac12 \sum P \times Q, \qquad p_k = \sum |Q - P|

    and each term is a quadratic, or a straight line, in k.  Layer k is cut at mid-height,
    ``bottom + (k + 1/2) layer``.

    Parameters
    ----------
    mesh : Mesh
        The mesh; it may be empty.
    layer_nm : int
        Layer thickness [nm].
    bottom_m : float
        Height of the bottom of layer 0 [m].
    layers : int
        Number of layers [1].

    Returns
    -------
    Profile
        Areas [m2], perimeters [m], closure errors [m2] and the open layers.

    Raises
    ------
    DomainError
        If thickness or count is not a whole number in range, or the height is not finite.

    Notes
    -----
    A layer is open when some edge is not crossed upwards as often as downwards; this is decided in integers, by sums
    of 64-bit edge numbers, so rounding cannot open a closed layer and an open one stays hidden with a chance of 5e-20.
    There the area depends on the origin, which is the middle of the mesh's bounds: with g the sum of the segments,
    areas from two origins d apart differ by ``|d x g| / 2``, and `closure_error_m2` is the largest such difference
    within the bounds.  It can be zero in an open layer, when opposite gaps cancel: trust `open_layers`.

    Examples
    --------
    A tetrahedron of 1 m: the mid-layer section has legs of 0.5 m.

    >>> from vatwright.geometry.mesh import Mesh
    >>> corners = [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]]
    >>> solid = Mesh(vertices_m=corners, faces=[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> profile = area_profile(solid, layer_nm=1_000_000_000, bottom_m=0.0, layers=1)
    >>> profile.area_m2.tolist(), profile.perimeter_m.round(6).tolist()
    ([0.125], [1.707107])

    References
    ----------
    .. [1] Steger, C. (1996), On the calculation of arbitrary moments of polygons, Technische Universitaet Muenchen,
       report FGBV-96-05 (area of a polygon by Green's theorem) [steger:1996]
    """
    require_layers(layer_nm=layer_nm, layers=layers)
    require_finite(bottom_m=bottom_m)
    layer_m = layer_nm / NM_PER_M
    require_positive(layer_m=layer_m)
    bounds = mesh.bounds_m if len(mesh.faces) else np.zeros((2, 3))
    middle = bounds.mean(axis=0)
    place = np.array([middle[0], middle[1], bottom_m + 0.5 * layer_m, layer_m])
    above = first_layer_above(mesh.vertices_m[:, 2], bottom_m, layer_m, 0, layers)
    is_closed = not mesh.edges.count[[OPEN, MISWOUND, UNBALANCED]].any()
    total, balance = np.zeros((CHUNKS, layers + 1, 8)), np.zeros((CHUNKS, layers + 1), np.uint64)
    side_by_side(_add_triangles, CHUNKS, mesh.vertices_m, mesh.faces, above, place, is_closed, total, balance)
    area, perimeter, is_open = _sum_up(total, balance, layers)
    error = np.zeros(layers)
    if is_open.any():
        gap = np.abs(_gaps(mesh.vertices_m, mesh.faces, above, place, is_open))
        error = 0.5 * (gap[:, 0] * (bounds[1, 1] - bounds[0, 1]) + gap[:, 1] * (bounds[1, 0] - bounds[0, 0]))
    return Profile(
        layer_nm=int(layer_nm),
        bottom_m=bottom_m,
        area_m2=area,
        perimeter_m=perimeter,
        closure_error_m2=error,
        open_layers=np.flatnonzero(is_open),
    )
