"""A free film bowing under the pressure of the resin between it and pieces of any outline, in a window of any outline.

The round case is solved finely in :mod:`vatwright.physics.film_settle`; here the pieces' own outlines stand in the
window where they really are, and share one film.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray
from scipy.linalg import lu_factor, lu_solve
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.linalg import splu

from vatwright.errors import InputError
from vatwright.geometry.pressure import PlatformGrid, platform_grid, raft_arms
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

Array = NDArray[np.float64]
Counts = NDArray[np.int64]

CELLS = 96
"""Cells along the window's long side: 1 % of the stiffness of a disc a third as wide as its window (measured in the tests)."""

POWER_STEPS = 300
_STEP = ((0, -1), (0, 1), (-1, 0), (1, 0))


@frozen(kw_only=True, eq=False)
class FilmGrid:
    """Pieces seen from below, laid over a grid of the window that the film is clamped in.

    Parameters
    ----------
    window : PlatformGrid
        The window.
    row, column : (M,) ndarray of int
        Where the nodes under pieces lie in the grid [-].
    arm : (4, M) ndarray
        Free length under the piece to the west, east, south and north of such a node, as a part of the pitch [-].
    under : (4, M) ndarray of int
        The neighbouring node under the same piece, -1 where the piece ends before it [-].
    """

    window: PlatformGrid
    row: Counts
    column: Counts
    arm: Array
    under: Counts

    @property
    def nodes(self) -> int:
        """Nodes under pieces."""
        return len(self.row)

    @property
    def weight_m2(self) -> Array:
        """Area each node under a piece stands for, (M,) [m2]."""
        half = np.minimum(self.arm, 0.5)
        share: Array = (half[0] + half[1]) * (half[2] + half[3])
        return share * self.window.pitch_m**2


def film_grid(window_m: Array, loops_m: Sequence[Array], *, cells: int = CELLS) -> FilmGrid:
    """Return pieces laid over a grid of their window.

    Parameters
    ----------
    window_m : (P, 2) ndarray
        Outline along which the film is clamped [m].
    loops_m : sequence of (P, 2) ndarray
        Outlines and holes of the pieces [m]; even-odd, so a loop within a loop is a hole, open to the air.
    cells : int
        Cells along the window's long side [-].

    Returns
    -------
    FilmGrid
        With at least one node under a piece.

    Raises
    ------
    InputError
        For loops that are no polygons, and for pieces too small for this grid to see.

    Examples
    --------
    >>> import numpy as np
    >>> square = np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]])
    >>> film_grid(0.05 * square, [0.02 * square], cells=20).nodes
    64
    """
    window = platform_grid(window_m, cells=cells)
    return grid_of_arms(window, raft_arms(window, loops_m))


def grid_of_arms(window: PlatformGrid, arms: Array) -> FilmGrid:
    """Return pieces laid over a window's grid, from how much of every arm of it lies under them.

    Parameters
    ----------
    window : PlatformGrid
        The window.
    arms : (4, ny, nx) ndarray
        Length under a piece to the west, east, south and north of each node, as a part of the pitch [-]; 0 beside them.

    Raises
    ------
    InputError
        For pieces too small for this grid to see.
    """
    inside = (arms > 0.0).all(axis=0) & window.inside
    if not inside.any():
        raise InputError.one(
            "cells",
            to_say("no node of {most} along the window lies under a piece", most=max(inside.shape)),
            to_say("Give more cells"),
        )
    row, column = (np.asarray(k, dtype=np.int64) for k in np.nonzero(inside))
    number = np.full(np.add(inside.shape, 2), -1, dtype=np.int64)
    number[1:-1, 1:-1][inside] = np.arange(len(row))
    arm = np.asarray(arms[:, row, column])
    near = np.stack([number[row + 1 + dy, column + 1 + dx] for dy, dx in _STEP])
    return FilmGrid(window=window, row=row, column=column, arm=arm, under=np.where(arm >= 1.0, near, -1))


def slowest_motion(relaxed: Callable[[Array], Array], nodes: int, *, tolerance: float) -> tuple[Array, float]:
    """Return the pressure of the slowest motion about an even gap, and by what a step towards it grows, by the power method.

    Parameters
    ----------
    relaxed : callable
        From a pressure at the nodes to that a step nearer to the slowest motion.
    nodes : int
        Nodes under pieces.
    tolerance : float
        Change of the growth, over the growth, that ends the search [-].
    """
    pressure, growth = np.ones(nodes), 0.0
    for _ in range(POWER_STEPS):
        following = relaxed(pressure)
        before, growth = growth, float(following @ pressure) / float(pressure @ pressure)
        pressure = following / np.linalg.norm(following)
        if abs(growth - before) < tolerance * growth:
            break
    return pressure, growth


class FilmPress:
    """Pressures under pieces, and the bow they give a film of unit tension: w = G a p.

    Parameters
    ----------
    grid : FilmGrid
        The pieces in their window.
    """

    def __init__(self, grid: FilmGrid) -> None:
        self.grid = grid
        self.weight_m2 = grid.weight_m2
        window, number = grid.window, _window_number(grid.window)
        film = splu(_laplacian(window).tocsc())
        load = np.zeros((film.shape[0], grid.nodes))
        load[number[grid.row, grid.column], np.arange(grid.nodes)] = self.weight_m2
        every = film.solve(load)
        self.bow_per_pa = every[number[grid.row, grid.column]]
        # A neighbour outside the window stands still: row -1 of the table is all zeros.
        self._every = np.vstack([every, np.zeros(grid.nodes)])
        self._ring = np.stack([_at(number, grid.row + dy, grid.column + dx) for dy, dx in _STEP])
        self._even = _conductance(grid, np.ones(grid.nodes), None)
        self._solid = splu(self._even.tocsc())
        self.torsion_m4 = 4.0 * float(self.weight_m2 @ self.even_pressure())

    def even_pressure(self) -> Array:
        """Return the pressure under an even gap that closes evenly, but for a factor."""
        return np.asarray(self._solid.solve(self.weight_m2))

    def relaxed(self, p: Array) -> Array:
        """Return the pressure a step nearer to the slowest motion about an even gap."""
        return np.asarray(self._solid.solve(self.weight_m2 * (self.bow_per_pa @ p)))

    def bow(self, p: Array) -> Array:
        """Return the deflection at the nodes under pieces."""
        return np.asarray(self.bow_per_pa @ p)

    def everywhere(self, p: Array) -> Array:
        """Return the deflection at all nodes of the window, in the window's order."""
        return np.asarray(self._every[:-1] @ p)

    def edge_bow(self, p: Array, at: float = 0.5) -> Array:
        """Return the deflection part of the way along each arm, (4, M)."""
        own = self.bow_per_pa @ p
        near: Array = (self._every @ p)[self._ring]
        return own + at * self.grid.arm * (near - own)

    def mean_bow(self, p: Array) -> float:
        """Return the deflection averaged over all the area under the pieces, with what lies beyond the last nodes."""
        arm, half = self.grid.arm, np.minimum(self.grid.arm, 0.5)
        width = np.stack([half[2] + half[3]] * 2 + [half[0] + half[1]] * 2)
        beyond = np.where(self.grid.under < 0, arm - half, 0.0) * width * self.grid.window.pitch_m**2
        own = self.bow_per_pa @ p
        near: Array = (self._every @ p)[self._ring]
        edge = own + 0.5 * (half + arm) * (near - own)
        return float((self.weight_m2 @ own + (beyond * edge).sum()) / (self.weight_m2.sum() + beyond.sum()))

    def flow(self, p: Array) -> csr_matrix[Any]:
        """Return the flow through a gap that is all bow, as a matrix on pressures."""
        return _conductance(self.grid, self.bow_per_pa @ p, np.maximum(self.edge_bow(p), 0.0))

    def blister_step(self, p: Array) -> Array:
        """Return Newton's step for flow(p) p = 4 w, all times the node's area."""
        gap, flow = self.bow_per_pa @ p, self.flow(p)
        storing = 4.0 * self.weight_m2[:, None] * self.bow_per_pa
        slope = flow.toarray() + _flow_slope(self.grid, gap, p) @ self.bow_per_pa - storing
        return np.asarray(lu_solve(lu_factor(slope, check_finite=False), flow @ p - storing @ p, check_finite=False))


def _at(number: Counts, row: Counts, column: Counts) -> Counts:
    """The window's number of nodes that may lie outside it, -1 there."""
    rows, columns = number.shape
    valid = (row >= 0) & (row < rows) & (column >= 0) & (column < columns)
    found = np.full(len(row), -1, dtype=np.int64)
    found[valid] = number[row[valid], column[valid]]
    return found


def _window_number(window: PlatformGrid) -> Counts:
    number = np.full(window.inside.shape, -1, dtype=np.int64)
    number[window.inside] = np.arange(int(window.inside.sum()))
    return number


def _laplacian(window: PlatformGrid) -> csr_matrix[Any]:
    """Minus the film's Laplacian times the area of a node, symmetric; the film is clamped where an arm ends."""
    number = _window_number(window)
    row, column = np.nonzero(window.inside)
    arm = np.asarray(window.arm[:, row, column])
    near = np.stack([_at(number, row + dy, column + dx) for dy, dx in _STEP])
    under = np.where(window.joined[:, row, column], near, -1)
    return _faces(arm, under, np.ones_like(arm))


def _conductance(grid: FilmGrid, gap_m: Array, edge_m: Array | None) -> csr_matrix[Any]:
    """Minus div(h^3 grad) times the area of a node, symmetric; `edge_m` is the gap half-way along each arm."""
    own = np.broadcast_to(gap_m, grid.arm.shape)
    halfway = own if edge_m is None else edge_m
    return _faces(grid.arm, grid.under, halfway**3)


def _faces(arm: Array, under: Counts, conductance: Array) -> csr_matrix[Any]:
    """The matrix of flows through the four faces of every node; an arm that ends before a node ends in zero."""
    count = arm.shape[1]
    width = np.stack([0.5 * (arm[2] + arm[3])] * 2 + [0.5 * (arm[0] + arm[1])] * 2)
    rows, columns, values, diagonal = [], [], [], np.zeros(count)
    for side, opposite in enumerate((1, 0, 3, 2)):
        joined = under[side] >= 0
        i, j = np.flatnonzero(joined), under[side][joined]
        # The face between two nodes is one: the mean of what both see of it keeps the matrix symmetric.
        face = 0.25 * (width[side, i] + width[side, j]) * (conductance[side, i] + conductance[opposite, j])
        rows.append(i)
        columns.append(j)
        values.append(-face)
        diagonal[i] += face
        k = np.flatnonzero(~joined)
        diagonal[k] += width[side, k] * conductance[side, k] / arm[side, k]
    every = np.arange(count)
    return csr_matrix(
        coo_matrix(
            (np.concatenate([*values, diagonal]), (np.concatenate([*rows, every]), np.concatenate([*columns, every]))),
            shape=(count, count),
        )
    )


def _flow_slope(grid: FilmGrid, gap_m: Array, pressure_pa: Array) -> csr_matrix[Any]:
    """How the flow out of each node changes with the gap at each node, for Newton's method."""
    arm, under = grid.arm, grid.under
    width = np.stack([0.5 * (arm[2] + arm[3])] * 2 + [0.5 * (arm[0] + arm[1])] * 2)
    count = grid.nodes
    rows, columns, values = [], [], []
    for side in range(4):
        joined = under[side] >= 0
        i, j = np.flatnonzero(joined), under[side][joined]
        face = 0.5 * (width[side, i] + width[side, j])
        push = face * 3.0 * (0.5 * (gap_m[i] + gap_m[j])) ** 2 * (pressure_pa[i] - pressure_pa[j])
        k = np.flatnonzero(~joined)
        rows += [i, i, k]
        columns += [i, j, k]
        ends = width[side, k] * 3.0 * gap_m[k] ** 2 * pressure_pa[k] / arm[side, k]
        values += [0.5 * push, 0.5 * push, ends]
    return csr_matrix(
        coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), shape=(count, count))
    )
