"""How a stretched film lets go of bonded faces as the plate rises: a front that runs in from every edge.

Everything scales with the critical angle as long as slopes are small, so the answers are lengths of geometry alone:
the rise at which the last point lets go over tan(theta), and the peak of the pull over T tan(theta).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from scipy.ndimage import maximum_filter
from scipy.signal import savgol_filter

from vatwright.compiled import kernel
from vatwright.errors import require_positive
from vatwright.kept_answers import kept

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

BAND = 0.15
"""Fronts within this share of the steepest slope move together [-]: it damps the front, whose zigzag would be one cell."""

MOVE = 0.6
"""Most that a front moves in one step, as a share of the pitch [-]."""

SMOOTHED = 5
"""Steps over which the rise is smoothed, by a parabola: three pitches, which keeps a peak and drops one cell's slip [-]."""

TRY = 0.01
"""Move by which the fall of the capacity is read, as a share of the pitch [-]."""

NEAR = 2.5
"""Nodes up to this many pitches from the front are moved with it [-]."""

LEAST_ARM = 0.01
"""A shorter arm from a node to an edge counts as this share of the pitch [-]."""

SWEEPS, LEFT = 40, 2e-5
"""Relaxation sweeps a step takes at most, and the change of a sweep below which it stops [-]."""


class Release(NamedTuple):
    """How a film lets go of a layer.

    Parameters
    ----------
    reach_m : float
        Rise at which the last point lets go over tan(theta) [m].
    front_m : float
        Peak of the pull over T tan(theta) [m].
    rise_m, pull_m : (K,) ndarray
        The way there: rise over tan(theta), and pull over T tan(theta) [m].
    """

    reach_m: float
    front_m: float
    rise_m: Floats
    pull_m: Floats


class WindowGrid(NamedTuple):
    """Nodes laid over a window, centred on it; the outermost lie outside.

    Parameters
    ----------
    x_m, y_m : (W,), (H,) ndarray
        Where the columns and rows of nodes stand [m].
    inside_m : (H, W) ndarray
        How far each node lies inside the clamped edge, negative outside [m].
    pitch_m : float
        Distance between nodes [m].
    """

    x_m: Floats
    y_m: Floats
    inside_m: Floats
    pitch_m: float


def rectangular_window(width_m: float, depth_m: float, *, cells: int) -> WindowGrid:
    """Return nodes over a rectangular window, so many cells along its longer side.

    Examples
    --------
    >>> grid = rectangular_window(0.176, 0.112, cells=64)
    >>> grid.inside_m.shape, round(grid.pitch_m, 5)
    ((44, 67), 0.00275)
    """
    require_positive(width_m=width_m, depth_m=depth_m, cells=cells)
    pitch = max(width_m, depth_m) / cells
    x, y = _nodes(width_m, pitch), _nodes(depth_m, pitch)
    inside = np.minimum(0.5 * width_m - np.abs(x)[None, :], 0.5 * depth_m - np.abs(y)[:, None])
    return WindowGrid(x, y, inside, pitch)


def round_window(radius_m: float, *, cells: int) -> WindowGrid:
    """Return nodes over a round window, so many cells across it.

    Examples
    --------
    >>> round_window(0.07, cells=70).inside_m.shape
    (73, 73)
    """
    require_positive(radius_m=radius_m, cells=cells)
    pitch = 2.0 * radius_m / cells
    axis = _nodes(2.0 * radius_m, pitch)
    return WindowGrid(axis, axis, radius_m - np.hypot(axis[None, :], axis[:, None]), pitch)


def _nodes(side_m: float, pitch_m: float) -> Floats:
    count = math.ceil(side_m / pitch_m - 1e-9) + 3
    return np.asarray((np.arange(count) - 0.5 * (count - 1)) * pitch_m, dtype=np.float64)


@kept(room=256)
def release(bonded: Floats, grid: WindowGrid) -> Release:
    r"""Return how a film clamped at the edge of a window lets go of what is bonded to it.

    .. math:: \nabla^2 w = 0\ \text{off}\ B,\quad w = z\ \text{on}\ B,\quad w = 0\ \text{at the clamp},\quad
              |\nabla w| \le \tan\theta_c\ \text{on}\ \partial B

    Parameters
    ----------
    bonded : (H, W) ndarray
        Share of the cell round each node that is bonded, 0 to 1 [-].
    grid : WindowGrid
        The window's nodes.

    Returns
    -------
    Release
        Lengths; zero where nothing is bonded.

    Notes
    -----
    Small slopes.  With w = z v the film's energy is T z^2 C / 2, C the capacity of B in the window; where a front moves
    slowly the film pays for the bond, T tan^2(theta) / 2 for each area: z / tan(theta) = sqrt(dA / dC) along the way, and
    the pull is T z C.  The way: the front moves where it is steepest.  A level set carries it, with arms from nodes to
    edges cut where they are; dA / dC is taken both at a step's start and between its ends, whose errors are opposite.
    At 96 cells along a window closed forms are met within 1.5 %; groups of small discs, which let go one by one, scatter by 5 %
    with the pitch.

    Examples
    --------
    A disc of 40 mm in a round window of 140 mm shrinks to nothing once it is as small as R/e = 25.7 mm.

    >>> import math
    >>> grid = round_window(0.07, cells=70)
    >>> away_m = np.hypot(grid.x_m[None, :], grid.y_m[:, None])
    >>> found = release(np.clip(0.5 + (0.04 - away_m) / grid.pitch_m, 0.0, 1.0), grid)
    >>> abs(found.reach_m / (0.07 / math.e) - 1.0) < 0.02
    True

    References
    ----------
    The energy balance is that of Rivlin [rivlin:1944]; capacity and level set worked out here [derived:vatwright].
    """
    level = 0.5 - np.clip(bonded, 0.0, 1.0)
    if not (level < 0.0).any():
        return Release(0.0, 0.0, np.zeros(0), np.zeros(0))
    at_start, capacity, area = _walk(level, grid.inside_m / grid.pitch_m)
    between = _between_steps(area, capacity)
    before = np.concatenate((2.0 * at_start[:1] - between[:1], between[:-1]))
    here = 0.5 * at_start + 0.25 * (before + between)
    if len(here) >= SMOOTHED:
        here = np.asarray(savgol_filter(here, SMOOTHED, 2), dtype=np.float64)
    rise = np.maximum.accumulate(np.maximum(here, 0.0)) * grid.pitch_m
    return Release(float(rise[-1]), float((rise * capacity).max()), rise, rise * capacity)


def _between_steps(area: Floats, capacity: Floats) -> Floats:
    """Rise over the slope at which each step was taken, from all that it released."""
    freed, given = -np.diff(area, append=0.0), -np.diff(capacity, append=0.0)
    return np.asarray(np.sqrt(np.maximum(freed, 0.0) / np.where(given > 0.0, given, np.inf)), dtype=np.float64)


@kernel
def _walk(phi: Any, psi: Any) -> tuple[Any, Any, Any]:
    """Shrink the bonded set (phi < 0) to nothing: rise over the slope, capacity and area at every step, in pitches."""
    rows, columns = phi.shape
    v, slope, speed = np.zeros((rows, columns)), np.zeros((rows, columns)), np.zeros((rows, columns))
    link = np.zeros((5, rows, columns))
    _distances(phi, True)
    most = 6 * (rows + columns) + 400
    rise, area, capacity = np.zeros(most), np.zeros(most), np.zeros(most)
    risen = 0.0
    for step in range(most):
        area[step] = _area(phi)
        if area[step] <= 0.0:
            return rise[:step], capacity[:step], area[:step]
        _cut(phi, psi, link)
        _relax(v, phi, psi, link, 4000 if step == 0 else SWEEPS, LEFT)
        capacity[step] = _capacity(v, phi, psi, link)
        steepest = _slopes(v, phi, psi, link, slope)
        if steepest <= 0.0:
            return rise[:step], capacity[:step], area[:step]
        threshold = (1.0 - BAND) * steepest
        if risen > 0.0:
            threshold = min(threshold, max(1.0 / risen, 0.3 * steepest))
        _speeds(phi, slope, threshold, steepest, speed)
        given = _given(v, phi, psi, link, speed)
        before = area[step]
        for j in range(rows):
            for i in range(columns):
                phi[j, i] += TRY * speed[j, i]
        freed = before - _area(phi)
        for j in range(rows):
            for i in range(columns):
                phi[j, i] += (MOVE - TRY) * speed[j, i]
        rise[step] = math.sqrt(freed / given) if given > 0.0 and freed > 0.0 else 0.0
        risen = max(risen, rise[step])
        _distances(phi, False)
    return rise, capacity, area


@kernel
def _given(v: Any, phi: Any, psi: Any, link: Any, speed: Any) -> float:
    """Fall of the capacity where the front moves on by TRY of its speed: by its arms alone, v stays to first order."""
    rows, columns = phi.shape
    total = 0.0
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            if psi[j, i] <= 0.0 or phi[j, i] < 0.0:
                continue
            for side in range(4):
                m = j + (side == 3) - (side == 2)
                n = i + (side == 1) - (side == 0)
                if phi[m, n] >= 0.0 or psi[m, n] <= 0.0:
                    continue
                a, b = phi[j, i], phi[m, n]
                # d arm / d t of a / (a - b), both rising at their speeds
                fall = (a * speed[m, n] - b * speed[j, i]) / ((a - b) * (a - b))
                total += ((1.0 - v[j, i]) * link[side, j, i]) ** 2 * fall * TRY
    return total


@kernel
def _distances(phi: Any, anew: bool) -> None:
    """Make phi the distance from the front away from it; nodes beside it are set anew only where asked."""
    rows, columns = phi.shape
    fixed = np.zeros((rows, columns), np.bool_)
    found = np.full((rows, columns), 1e6)
    for j in range(rows):
        for i in range(columns):
            x = min(_crossing(phi, j, i, 0, -1), _crossing(phi, j, i, 0, 1))
            y = min(_crossing(phi, j, i, -1, 0), _crossing(phi, j, i, 1, 0))
            if min(x, y) > 1.0:
                continue
            fixed[j, i] = True
            found[j, i] = abs(phi[j, i])
            if anew:
                found[j, i] = x * y / max(math.hypot(x, y), 1e-12) if max(x, y) <= 1.0 else min(x, y)
    for turn in range(4):
        _swept(found, fixed, turn)
    for j in range(rows):
        for i in range(columns):
            phi[j, i] = -found[j, i] if phi[j, i] < 0.0 else found[j, i]


@kernel
def _swept(found: Any, fixed: Any, turn: int) -> None:
    """Carry distances onward once over all nodes, from one of the four corners."""
    rows, columns = found.shape
    for jj in range(rows):
        j = jj if turn < 2 else rows - 1 - jj
        for ii in range(columns):
            i = ii if turn % 2 == 0 else columns - 1 - ii
            if not fixed[j, i]:
                found[j, i] = min(found[j, i], _onward(found, j, i))


@kernel
def _crossing(phi: Any, j: int, i: int, down: int, along: int) -> float:
    """How far the front is on the way to a neighbour, in pitches; 9 where it is not between."""
    m, n = j + down, i + along
    if m < 0 or n < 0 or m >= phi.shape[0] or n >= phi.shape[1]:
        return 9.0
    here, there = phi[j, i], phi[m, n]
    return here / (here - there) if (here < 0.0) != (there < 0.0) else 9.0


@kernel
def _onward(found: Any, j: int, i: int) -> float:
    """Distance of a node from those of its neighbours: |grad| = 1, upwind."""
    rows, columns = found.shape
    x = min(found[j, i - 1] if i > 0 else 1e6, found[j, i + 1] if i < columns - 1 else 1e6)
    y = min(found[j - 1, i] if j > 0 else 1e6, found[j + 1, i] if j < rows - 1 else 1e6)
    gap = abs(x - y)
    return min(x, y) + 1.0 if gap >= 1.0 else 0.5 * (x + y + math.sqrt(2.0 - gap * gap))


@kernel
def _area(phi: Any) -> float:
    """Area where phi < 0, in cells: each square between nodes cut along straight lines, two triangles of it."""
    rows, columns = phi.shape
    total = 0.0
    for j in range(rows - 1):
        for i in range(columns - 1):
            a, b, c, d = phi[j, i], phi[j, i + 1], phi[j + 1, i + 1], phi[j + 1, i]
            if a < 0.0 and b < 0.0 and c < 0.0 and d < 0.0:
                total += 1.0
            elif a < 0.0 or b < 0.0 or c < 0.0 or d < 0.0:
                m = 0.25 * (a + b + c + d)
                total += 0.25 * (_part(a, b, m) + _part(b, c, m) + _part(c, d, m) + _part(d, a, m))
    return total


@kernel
def _part(a: float, b: float, c: float) -> float:
    """Share of a triangle where a linear function with these corner values is below zero."""
    below = (1 if a < 0.0 else 0) + (1 if b < 0.0 else 0) + (1 if c < 0.0 else 0)
    if below == 0 or below == 3:
        return 1.0 if below == 3 else 0.0
    odd, p, q = a, b, c  # odd: the corner alone on its side
    if (b < 0.0) == (below == 1):
        odd, p, q = b, a, c
    if (c < 0.0) == (below == 1):
        odd, p, q = c, a, b
    if (a < 0.0) == (below == 1):
        odd, p, q = a, b, c
    share = (odd / (odd - p)) * (odd / (odd - q))
    return share if below == 1 else 1.0 - share


@kernel
def _cut(phi: Any, psi: Any, link: Any) -> None:
    """One over the arms of free nodes: west, east, south, north, to the next node, front or clamp; last, over their sum."""
    rows, columns = phi.shape
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            link[4, j, i] = 0.0
            if phi[j, i] < 0.0 or psi[j, i] <= 0.0:
                continue
            total = 0.0
            for side in range(4):
                m = j + (side == 3) - (side == 2)
                n = i + (side == 1) - (side == 0)
                arm = 1.0
                if psi[m, n] <= 0.0:
                    arm = psi[j, i] / (psi[j, i] - psi[m, n])
                elif phi[m, n] < 0.0:
                    arm = phi[j, i] / (phi[j, i] - phi[m, n])
                link[side, j, i] = 1.0 / max(arm, LEAST_ARM)
                total += link[side, j, i]
            link[4, j, i] = 1.0 / total


@kernel
def _relax(v: Any, phi: Any, psi: Any, link: Any, most: int, left: float) -> None:
    """Gauss-Seidel with over-relaxation on free nodes; bonded ones are 1, clamped ones 0."""
    rows, columns = phi.shape
    for j in range(rows):
        for i in range(columns):
            if psi[j, i] <= 0.0:
                v[j, i] = 0.0
            elif phi[j, i] < 0.0:
                v[j, i] = 1.0
    over = 2.0 / (1.0 + math.sin(2.0 * math.pi / max(rows, columns)))
    west, east, south, north, whole = link[0], link[1], link[2], link[3], link[4]
    for _ in range(most):
        change = 0.0
        for j in range(1, rows - 1):
            for i in range(1, columns - 1):
                if whole[j, i] == 0.0:
                    continue
                flow = west[j, i] * v[j, i - 1] + east[j, i] * v[j, i + 1]
                flow += south[j, i] * v[j - 1, i] + north[j, i] * v[j + 1, i]
                step = over * (flow * whole[j, i] - v[j, i])
                change = max(change, abs(step))
                v[j, i] += step
        if change < left:
            break


@kernel
def _capacity(v: Any, phi: Any, psi: Any, link: Any) -> float:
    """Twice the film's energy for a rise of 1, over its tension: every link once."""
    rows, columns = phi.shape
    total = 0.0
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            if link[4, j, i] == 0.0:
                continue
            for side in range(4):
                m = j + (side == 3) - (side == 2)
                n = i + (side == 1) - (side == 0)
                free = psi[m, n] > 0.0 and phi[m, n] >= 0.0
                total += (0.5 if free else 1.0) * (v[j, i] - v[m, n]) ** 2 * link[side, j, i]
    return total


@kernel
def _slopes(v: Any, phi: Any, psi: Any, link: Any, slope: Any) -> float:
    """Slope of v at free nodes beside the front, averaged with their neighbours beside it; return the steepest."""
    rows, columns = phi.shape
    raw = np.zeros((rows, columns))
    slope[:] = 0.0
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            if link[4, j, i] > 0.0:
                raw[j, i] = _slope(v, phi, psi, link, j, i)
    steepest = 0.0
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            if raw[j, i] > 0.0:
                slope[j, i] = _among(raw, j, i)
                steepest = max(steepest, slope[j, i])
    return steepest


@kernel
def _slope(v: Any, phi: Any, psi: Any, link: Any, j: int, i: int) -> float:
    """Slope at a free node: along cut links up to the front, else between its neighbours; 0 away from the front."""
    x, y = 0.0, 0.0
    for side in range(4):
        m = j + (side == 3) - (side == 2)
        n = i + (side == 1) - (side == 0)
        if phi[m, n] < 0.0 and psi[m, n] > 0.0:
            steep = (1.0 - v[j, i]) * link[side, j, i]
            x, y = max(x, steep if side < 2 else 0.0), max(y, steep if side > 1 else 0.0)
    if x + y == 0.0:
        return 0.0
    x = x if x > 0.0 else 0.5 * abs(v[j, i + 1] - v[j, i - 1])
    y = y if y > 0.0 else 0.5 * abs(v[j + 1, i] - v[j - 1, i])
    return math.hypot(x, y)


@kernel
def _among(raw: Any, j: int, i: int) -> float:
    """Mean over the nodes beside the front next to one of them, which counts twice."""
    total, weight = raw[j, i], 1.0
    for m in range(j - 1, j + 2):
        for n in range(i - 1, i + 2):
            if raw[m, n] > 0.0:
                total += raw[m, n]
                weight += 1.0
    return float(total / weight)


@kernel
def _speeds(phi: Any, slope: Any, threshold: float, steepest: float, speed: Any) -> None:
    """Speed of nodes near the front, 0 to 1: the mean over the front beside them."""
    rows, columns = phi.shape
    for j in range(rows):
        for i in range(columns):
            speed[j, i] = 0.0
            if abs(phi[j, i]) > NEAR:
                continue
            total, weight = 0.0, 0.0
            for m in range(max(j - 3, 0), min(j + 4, rows)):
                for n in range(max(i - 3, 0), min(i + 4, columns)):
                    if slope[m, n] > 0.0:
                        away = 0.3 + (m - j) ** 2 + (n - i) ** 2
                        share = 1.0 / (away * away)
                        part = (slope[m, n] - threshold) / (steepest - threshold)
                        total += share * min(max(part, 0.0), 1.0)
                        weight += share
            if weight > 0.0:
                speed[j, i] = total / weight


def add_cover(
    cover: Floats,
    grid: WindowGrid,
    row: NDArray[np.int32],
    x0_m: Floats,
    x1_m: Floats,
    *,
    first_row_m: float,
    pitch_m: float,
    offset_m: tuple[float, float],
) -> None:
    """Add what runs of solid cover of the cell round each node of a window, in place.

    Parameters
    ----------
    cover : (H, W) ndarray
        Share of each cell covered so far [-].
    grid : WindowGrid
        The nodes.
    row, x0_m, x1_m : ndarray
        Runs: row index, ends along x [m].
    first_row_m, pitch_m : float
        Height of the middle of row 0 along y and distance between rows [m].
    offset_m : tuple of float
        Where the piece's own origin stands, from the window's centre [m].

    Examples
    --------
    >>> grid = rectangular_window(0.1, 0.06, cells=20)
    >>> cover = np.zeros(grid.inside_m.shape)
    >>> add_cover(cover, grid, np.array([0], dtype=np.int32), np.array([-0.01]), np.array([0.01]), first_row_m=0.0,
    ...           pitch_m=0.001, offset_m=(0.0, 0.0))
    >>> round(float(cover.sum()) * grid.pitch_m**2 * 1e6, 9)
    20.0
    """
    place = (offset_m[0] - grid.x_m[0], first_row_m + offset_m[1] - grid.y_m[0], pitch_m, grid.pitch_m)
    _cover(cover, row, x0_m, x1_m, place)


@kernel
def _cover(cover: Any, row: Any, x0: Any, x1: Any, place: Any) -> None:
    shift_x, shift_y, pitch, cell = place
    rows, columns = cover.shape
    for run in range(row.size):
        middle = shift_y + row[run] * pitch
        south, north = (middle - 0.5 * pitch) / cell + 0.5, (middle + 0.5 * pitch) / cell + 0.5
        west, east = (x0[run] + shift_x) / cell + 0.5, (x1[run] + shift_x) / cell + 0.5
        for j in range(max(int(south), 0), min(int(north) + 1, rows)):
            high = min(north, j + 1.0) - max(south, float(j))
            if high <= 0.0:
                continue
            for i in range(max(int(west), 0), min(int(east) + 1, columns)):
                wide = min(east, i + 1.0) - max(west, float(i))
                if wide > 0.0:
                    cover[j, i] += wide * high


def thickened(cover: Floats) -> Floats:
    """Return a cover in which what is thinner than a cell fills the cells it stands in, (H, W) [-].

    Parameters
    ----------
    cover : (H, W) ndarray
        Share of each cell that is covered [-].

    Returns
    -------
    (H, W) ndarray
        Each cell over the fullest of its neighbourhood: a thin wall keeps its place and holds until the film stands as steep
        at its edge as at any other's, which is what counts; its width is a cell, on the safe side.

    Examples
    --------
    >>> thickened(np.array([[0.0, 0.0, 0.2, 0.0, 0.0]])).tolist()
    [[0.0, 0.0, 1.0, 0.0, 0.0]]
    """
    fullest = maximum_filter(np.minimum(cover, 1.0), size=5)
    return np.asarray(np.minimum(cover / np.where(fullest > 0.0, fullest, 1.0), 1.0))
