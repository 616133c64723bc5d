"""How a giving film bows under the outlines of one layer, as a few numbers that hold for every resin, tension and time.

The coupled equations of :mod:`vatwright.geometry.film_bow` are alike in viscosity, tension and time, so what outlines in
a window do is told by the two ends of the motion: the blister (a gap that is all bow) and the tail (a gap nearly even).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from vatwright.compiled import kernel
from vatwright.errors import InputError
from vatwright.geometry.bowed_film import BowedLayers, FilmLaw
from vatwright.geometry.film_bow import FilmGrid, FilmPress, grid_of_arms, slowest_motion
from vatwright.geometry.pressure import PlatformGrid, platform_grid

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vatwright.geometry.spans import Spans

    LayerRuns = Callable[[int], Sequence[tuple[Spans, int, tuple[float, float]]]]

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

LESS_UNEVEN = 0.4
"""Share that counts where the film is more bent than the next outlines bow it [-]: fitted to a flange over a foot."""

MOST_OUTLINES = 8
"""Outlines of one plate that are solved: each takes some tenths of a second."""

GRIDS = (96, 72, 54, 40, 30)
"""Cells along the window's long side: the first that puts no more than `MOST_NODES` nodes under pieces."""

MOST_NODES = 350

NEWTON_STEPS = 30
TOLERANCE = 1e-8


def film_law(grid: FilmGrid) -> FilmLaw:
    r"""Return how a giving film bows under outlines, from the two ends of its motion.

    Equations: the blister, h = w, is alike to itself at all times, w = t^(-1/3) W: div(W^3 grad p) = -4 mu W with
    T lap(W) = -p; the tail is the slowest motion about an even gap.  The mean gap x then obeys
    dx/dt = -K (x - a) x^3 / (3 mu J C), K the tail's stiffness, C = K J^-1 mu^-1 mean(W)^3 for the blister.

    Parameters
    ----------
    grid : FilmGrid
        The outlines in their window; a few hundred nodes under them are enough.

    Returns
    -------
    FilmLaw
        Numbers without unit, the same for every viscosity, tension, scale and time.

    Notes
    -----
    Means are taken over the whole area under the outlines, edges included.

    Examples
    --------
    A plate that nearly fills its window bows much, and settles far slower while it does:

    >>> import numpy as np
    >>> from vatwright.geometry.film_bow import film_grid
    >>> square = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    >>> small, large = (film_law(film_grid(0.05 * square, [r * square], cells=24)) for r in (0.015, 0.04))
    >>> small.slows < 0.5 < large.slows
    True

    References
    ----------
    O. Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, the equation of the film of liquid [reynolds:1886].
    The blister and the tail are worked out here and checked in the tests. [derived:vatwright]
    """
    press = FilmPress(grid)
    blister = _blister(press)
    tail, growth = slowest_motion(press.relaxed, grid.nodes, tolerance=TOLERANCE)
    stiffness = press.torsion_m4 / (4.0 * growth)
    early, late = press.mean_bow(blister), press.mean_bow(tail)
    slower = stiffness * early**3 / press.torsion_m4
    bow = np.zeros(grid.window.inside.shape)
    bow[grid.window.inside] = press.everywhere(blister) / early
    return FilmLaw(
        stiffness=stiffness,
        slows=max(slower - 1.0, 0.0),
        force=float(press.weight_m2 @ blister) / early / stiffness,
        worst_early=float(press.bow(blister).max() / early),
        worst_late=float(press.bow(tail).max() / late),
        bow=bow,
        x_m=grid.window.x_m,
        y_m=grid.window.y_m,
    )


def handed_on(before: FilmLaw, grid: FilmGrid, own: FilmLaw) -> tuple[float, float]:
    """Return what the film that one layer left is to the next: its mean under that one's outlines, and how uneven it is.

    Both over its mean under the outlines it was made by [-]: the mean, and by how much less it is bent there than a film
    bowed under the next layer's own outlines to the same mean; below 0 where it is more bent.

    Parameters
    ----------
    before : FilmLaw
        Of the layer before, in the same window and on the same nodes.
    grid : FilmGrid
        The next layer's outlines.
    own : FilmLaw
        Of the next layer.
    """
    bow, weight = before.bow[grid.row, grid.column], grid.weight_m2
    mean = float(weight @ bow / weight.sum())
    uneven = mean - (float(bow.max()) - mean) / (own.worst_early - 1.0)
    return mean, uneven if uneven > 0.0 else LESS_UNEVEN * uneven


def _blister(press: FilmPress) -> Array:
    """Pressure of the blister of unit age, viscosity and tension, by Newton's method that keeps it above zero.

    Where that finds none (pieces of a node or two, which hardly bow the film), the pressure under an even gap, scaled to
    the blister's balance of volumes.
    """
    p = press.even_pressure()
    p = p * (4.0 * float(press.weight_m2 @ press.bow(p)) / float((press.flow(p) @ p).sum())) ** (1.0 / 3.0)
    balanced = p
    for _ in range(NEWTON_STEPS):
        change = press.blister_step(p)
        share = 1.0
        while (p <= share * change).any() and share > 1e-4:
            share *= 0.5
        p = p - share * change
        if np.abs(change).max() <= TOLERANCE * np.abs(p).max():
            return np.asarray(p)
    return np.asarray(balanced)


def grid_of_runs(window: PlatformGrid, layers: Sequence[tuple[Spans, int, tuple[float, float]]]) -> FilmGrid:
    """Return one layer of pieces, as runs of solid along rows, laid over a grid of their window.

    Parameters
    ----------
    window : PlatformGrid
        The window.
    layers : sequence of (Spans, int, (float, float))
        Runs, which of their layers, and where they stand in the window [m].

    Returns
    -------
    FilmGrid
        With at least one node under a piece.

    Raises
    ------
    InputError
        For pieces too small for this grid to see.

    Notes
    -----
    Along a row the edges are exact, across the rows they are to half a row.
    """
    under = np.zeros((4, *window.inside.shape))
    for runs, layer, shift in layers:
        some = slice(runs.layer_start[layer], runs.layer_start[layer + 1])
        _lay_runs(
            runs.row[some].astype(np.int64), runs.x0_m[some] + shift[0], runs.x1_m[some] + shift[0],
            runs.origin_m[1] + shift[1], runs.pitch_m, window.x_m, window.y_m, window.pitch_m, under,
        )  # fmt: skip
    return grid_of_arms(window, np.minimum(under, window.arm))


@kernel
def _lay_runs(
    row: Counts, x0: Array, x1: Array, low: float, pitch: float, xs: Array, ys: Array, step: float, under: Array
) -> None:
    """Raise `under` (4, ny, nx) to the free length west, east, south and north of each node that a run covers."""
    if not len(row):
        return
    first = row.min()
    covered = np.zeros((row.max() - first + 2, len(xs)), dtype=np.bool_)
    for k in range(len(row)):
        begin, end = low + row[k] * pitch, low + (row[k] + 1) * pitch
        for i in range(len(xs)):
            if x0[k] < xs[i] < x1[k]:
                covered[row[k] - first, i] = True
                j = max(int(np.ceil((begin - ys[0]) / step)), 0)
                while j < len(ys) and ys[j] < end:
                    under[0, j, i] = max(under[0, j, i], min((xs[i] - x0[k]) / step, 1.0))
                    under[1, j, i] = max(under[1, j, i], min((x1[k] - xs[i]) / step, 1.0))
                    j += 1
    for j in range(len(ys)):
        r = int(np.floor((ys[j] - low) / pitch)) - first
        if 0 <= r < len(covered) - 1:
            _lay_across(covered, r, ys[j] - (low + first * pitch), pitch, step, under[2, j], under[3, j])


@kernel
def _lay_across(
    covered: NDArray[np.bool_], r: int, y: float, pitch: float, step: float, south: Array, north: Array
) -> None:
    """Raise the free lengths south and north of one line of nodes, which lies at y in row r of the covered rows."""
    for i in range(covered.shape[1]):
        if covered[r, i]:
            down, up = r, r
            while down > 0 and covered[down - 1, i] and y - down * pitch < step:
                down -= 1
            while covered[up + 1, i] and (up + 1) * pitch - y < step:
                up += 1
            south[i] = max(south[i], min((y - down * pitch) / step, 1.0))
            north[i] = max(north[i], min(((up + 1) * pitch - y) / step, 1.0))


def alike_layers(torsion_m4: Array, area_m2: Array, *, most: int = MOST_OUTLINES) -> Counts:
    """Return which group of like layers each layer belongs to, at most so many groups, (N,).

    A group ends where area or torsion constant leave a share of its first layer's; the share grows until there are few
    enough groups.

    Examples
    --------
    >>> import numpy as np
    >>> alike_layers(np.array([1.0, 1.0, 5.0, 5.1]), np.ones(4)).tolist()
    [0, 0, 1, 1]
    """
    share = 0.05
    size = np.column_stack((np.log(np.maximum(torsion_m4, 1e-30)), 2.0 * np.log(np.maximum(area_m2, 1e-12))))
    while True:
        groups, first = np.zeros(len(size), dtype=np.int64), 0
        for n in range(1, len(size)):
            ends = np.abs(size[n] - size[first]).max() > share
            groups[n] = groups[n - 1] + ends
            first = n if ends else first
        if not len(groups) or groups[-1] < most:
            return groups
        share *= 1.5


def bowed_layers(window_m: Array, groups: Counts, layer_runs: LayerRuns) -> BowedLayers | None:
    """Return how a giving film bows under each layer of a plate, None where the finest grid sees no layer.

    Parameters
    ----------
    window_m : (P, 2) ndarray
        Outline along which the film is clamped [m].
    groups : (N,) ndarray of int
        Which layers are alike, as :func:`alike_layers`.
    layer_runs : callable
        From the number of a layer to the runs of solid in it, as :func:`grid_of_runs` takes them.

    Notes
    -----
    Each group is solved on the outlines of its middle layer.  One that the grid does not see (pins, thin walls) takes the
    law of the next one that is seen: it hardly presses on the film.
    """
    middles = [int(np.flatnonzero(groups == g).mean()) for g in range(int(groups[-1]) + 1)]
    for cells in GRIDS:
        window = platform_grid(window_m, cells=cells)
        grids = [_seen(window, layer_runs(n)) for n in middles]
        if max((g.nodes for g in grids if g is not None), default=0) <= MOST_NODES or cells == GRIDS[-1]:
            break
    laws = [None if g is None else film_law(g) for g in grids]
    seen = [n for n, law in enumerate(laws) if law is not None]
    if not seen:
        return None
    taken = [min(seen, key=lambda k: (abs(k - n), k < n)) for n in range(len(laws))]
    handed, uneven = np.ones(len(groups)), np.zeros(len(groups))
    for n in np.flatnonzero(np.diff(groups)):
        a, b = taken[groups[n]], taken[groups[n + 1]]
        law, grid, own = laws[a], grids[b], laws[b]
        if a != b and law is not None and grid is not None and own is not None:
            handed[n + 1], uneven[n + 1] = handed_on(law, grid, own)
    return BowedLayers(
        laws=tuple(law for law in laws if law is not None),
        which=np.array([seen.index(k) for k in taken])[groups],
        handed=handed,
        uneven=uneven,
    )


def _seen(window: PlatformGrid, runs: Sequence[tuple[Spans, int, tuple[float, float]]]) -> FilmGrid | None:
    try:
        return grid_of_runs(window, runs)
    except InputError:
        return None
