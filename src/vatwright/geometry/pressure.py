"""Squeeze resistance of resin under a whole build platform whose gap is not the same everywhere.

Under the first layers the raft leaves one gap and the bare platform around it a wider one; holes and grooves let the
resin out.  One solve of the variable-gap Reynolds equation on the platform's real outline gives the force, the
pressure map and the tilting moment for every speed and viscosity, because all of them are proportional.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, TypeVar

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from vatwright.compiled import kernel
from vatwright.errors import (
    DomainError,
    InputError,
    VatwrightError,
    require_finite,
    require_not_negative,
    require_positive,
)
from vatwright.kept_answers import kept
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

Array = NDArray[np.float64]
Single = NDArray[np.float32]
Counts = NDArray[np.int64]
Mask = NDArray[np.bool_]
Value = TypeVar("Value", np.float64, np.bool_)

WEST, EAST, SOUTH, NORTH = 0, 1, 2, 3
# A node closer to the edge than this part of the pitch is treated as this far away: moves the edge by less than the
# rounding of a drawing, and keeps the numbers of one row within range of each other.
SHORTEST_ARM = 1e-4
# Relative energy-norm error at which the iteration stops.  The squeeze integral is a Ritz value, so its own error is
# the square of this: far below the discretization error of any grid that fits in memory.
ENERGY_TOLERANCE = 2e-4
# Narrow channels between pieces that stand close are lost on coarse grids: such plates took up to 500 cycles of a few
# hundredths of a millisecond.  Ten times that means that something is wrong.
MOST_CYCLES = 5_000
COARSEST_SWEEPS = 8


@frozen(kw_only=True, eq=False)
class PlatformGrid:
    """A platform's outline laid over a square grid, edges kept where they really are.

    Parameters
    ----------
    x_m, y_m : (nx,), (ny,) ndarray
        Node coordinates [m], one pitch apart, symmetric about the middle of the outline's bounding box.
    pitch_m : float
        Node spacing [m].
    inside : (ny, nx) ndarray of bool
        Whether a node lies under the platform (outside every hole and groove) [-].
    arm : (4, ny, nx) ndarray
        Free length from an inside node to the west, east, south, north, up to the neighbouring node or to the
        edge, whichever comes first, as a part of the pitch [-].
    joined : (4, ny, nx) ndarray of bool
        Whether that arm reaches the neighbouring node without meeting an edge [-].
    """

    x_m: Array
    y_m: Array
    pitch_m: float
    inside: Mask
    arm: Array
    joined: Mask

    @property
    def centre_m(self) -> tuple[float, float]:
        """Middle of the outline's bounding box [m]."""
        return 0.5 * float(self.x_m[0] + self.x_m[-1]), 0.5 * float(self.y_m[0] + self.y_m[-1])


@frozen(kw_only=True, eq=False)
class PlatformField:
    """Solution psi of div(h^3 grad psi) = -1: everything about the squeeze that does not depend on speed or resin.

    Parameters
    ----------
    grid : PlatformGrid
        Where it was solved.
    psi_per_m : (ny, nx) ndarray
        psi at the nodes [1/m]; pressure = 12 mu V psi.  0 outside.
    weight_m2 : (ny, nx) ndarray
        Area each node stands for [m2].
    squeeze_integral_m : float
        Q, integral of psi over the platform [m]; force = 12 mu V Q.
    cycles : int
        Multigrid cycles the solve took [-].
    """

    grid: PlatformGrid
    psi_per_m: Array
    weight_m2: Array
    squeeze_integral_m: float
    cycles: int

    def force_n(self, *, viscosity_pa_s: float, speed_m_s: float) -> float:
        """Return the force that carries the platform at this speed of approach [N], F = 12 mu V Q."""
        return 12.0 * viscosity_pa_s * speed_m_s * self.squeeze_integral_m

    def pressure_pa(self, *, viscosity_pa_s: float, speed_m_s: float) -> Array:
        """Return the gauge pressure at every node [Pa], shape (ny, nx), for this speed of approach."""
        return 12.0 * viscosity_pa_s * speed_m_s * self.psi_per_m

    def centre_of_pressure_m(self) -> tuple[float, float]:
        """Return where the resultant of the pressure acts, (x, y) [m]."""
        load = self.psi_per_m * self.weight_m2
        total = float(load.sum())
        return float((load.sum(axis=0) @ self.grid.x_m) / total), float((load.sum(axis=1) @ self.grid.y_m) / total)

    def moment_n_m(
        self, *, viscosity_pa_s: float, speed_m_s: float, about_m: tuple[float, float] | None = None
    ) -> tuple[float, float]:
        """Return the first moments of the pressure (integral of p (x - x0), integral of p (y - y0)) [N m].

        The first tips the platform's +x side away from the film, the second its +y side.  `about_m` [m] is where the
        arm holds the platform; left out, the middle of the outline's bounding box.
        """
        x0, y0 = self.grid.centre_m if about_m is None else about_m
        force = self.force_n(viscosity_pa_s=viscosity_pa_s, speed_m_s=speed_m_s)
        x, y = self.centre_of_pressure_m()
        return force * (x - x0), force * (y - y0)


def platform_grid(outline_m: Array, holes_m: Sequence[Array] = (), *, cells: int) -> PlatformGrid:
    """Return a platform's outline, holes and grooves cut into a square grid.

    Parameters
    ----------
    outline_m : (P, 2) ndarray
        Corners of the outline [m], either sense, not repeated at the end.
    holes_m : sequence of (P, 2) ndarray
        Holes and grooves that are open to the air or to a wide gap [m]; they may overlap each other and the edge.
    cells : int
        Number of cells along the longer side of the bounding box [-].

    Returns
    -------
    PlatformGrid
        Grid of about ``cells`` by ``cells * short / long`` nodes.

    Raises
    ------
    InputError
        For loops that are not (P, 2) with P >= 3 or not finite, for an outline without area, and for fewer cells than
        8 or than it takes to put a node under the platform.

    Notes
    -----
    Edges are cut where they cross the grid's lines, so a groove narrower than the pitch still vents as long as it
    crosses a line; one that lies wholly between two parallel lines is seen only by the lines across it.

    Examples
    --------
    >>> import numpy as np
    >>> grid = platform_grid(np.array([[0, 0], [0.12, 0], [0.12, 0.068], [0, 0.068]]), cells=60)
    >>> grid.inside.shape, round(grid.pitch_m, 6)
    ((34, 60), 0.002)
    """
    loops = [_loop(outline_m, "outline_m"), *(_loop(hole, f"holes_m[{n}]") for n, hole in enumerate(holes_m))]
    if cells < 8:
        raise InputError.one(
            "cells",
            to_say("must be 8 or more, got {cells}", cells=cells),
            to_say("Give the number of cells along the long side"),
        )
    low, high = loops[0].min(axis=0), loops[0].max(axis=0)
    if not (high - low > 0.0).all():
        raise InputError.one(
            "outline_m", to_say("encloses no area"), to_say("Give the outline's corners in order round the edge")
        )
    pitch = float((high - low).max()) / cells
    x, y = (_nodes(float(a), float(b), pitch) for a, b in zip(low, high, strict=True))
    along_x, west_east, joined_x = _cut_lines(_edges(loops), x, y, pitch)
    along_y, south_north, joined_y = _cut_lines(_edges([loop[:, ::-1] for loop in loops]), y, x, pitch)
    # A node on the very edge can be found inside along its row and outside along its column: it is outside.
    inside = along_x & along_y.T
    if not inside.any():
        raise InputError.one(
            "cells", to_say("no grid node lies under the platform with {cells}", cells=cells), to_say("Give more cells")
        )
    arm = np.where(inside, np.concatenate([west_east, south_north.transpose(0, 2, 1)]), 0.0)
    joined = np.concatenate([joined_x, joined_y.transpose(0, 2, 1)]) & inside & _neighbours(inside)
    return PlatformGrid(x_m=x, y_m=y, pitch_m=pitch, inside=inside, arm=arm, joined=joined)


def raft_arms(grid: PlatformGrid, loops_m: Sequence[Array]) -> Array:
    """Return how much of every arm of the grid lies under the raft.

    Parameters
    ----------
    grid : PlatformGrid
        The platform.
    loops_m : sequence of (P, 2) ndarray
        The raft's outlines and holes [m]; even-odd, so a loop within a loop is a hole.

    Returns
    -------
    (4, ny, nx) ndarray
        Length under the raft to the west, east, south, north of each node, as a part of the pitch [-], never more
        than the grid's own arm.
    """
    loops = [_loop(loop, f"loops_m[{n}]") for n, loop in enumerate(loops_m)]
    east = _covered(_edges(loops), grid.x_m, grid.y_m, grid.pitch_m)
    north = _covered(_edges([loop[:, ::-1] for loop in loops]), grid.y_m, grid.x_m, grid.pitch_m)
    under = np.stack([east[0], east[1], north[0].T, north[1].T])
    return np.asarray(np.minimum(under, grid.arm), dtype=np.float64)


def squeeze_field(grid: PlatformGrid, gap_m: float | Array) -> PlatformField:
    """Return the squeeze field of a platform over a gap given node by node.

    Equation: div(h^3 grad psi) = -1, psi = 0 on the outer edge and in holes and grooves.

    Parameters
    ----------
    grid : PlatformGrid
        The platform.
    gap_m : float or (ny, nx) ndarray
        Gap h under each node [m].

    Returns
    -------
    PlatformField
        psi [1/m], its integral Q [m], and force, pressure and moment for any speed and viscosity.

    Raises
    ------
    DomainError
        Where the gap under the platform is not a finite number above 0.

    Notes
    -----
    Lubrication: the gap must be small against the size of what it lies under and the resin Newtonian; edges are taken
    as open (gauge pressure 0).  A sealed pool is not vented: leave it out of the holes and give it a wide gap.
    Finite volumes, harmonic averages of h^3 along each arm, edges cut exactly; the error of Q falls with the square of
    the pitch for a smooth outline and gap.  A step in a gap given node by node is taken half-way between nodes:
    :func:`effective_torsion` with :func:`raft_arms` puts it where it is.

    Examples
    --------
    A disc of radius 10 mm over 50 um at 1 mm/s, 0.2 Pa s: Stefan's 75.40 N.

    >>> import numpy as np
    >>> a = np.linspace(0, 2 * np.pi, 400, endpoint=False)
    >>> field = squeeze_field(platform_grid(0.01 * np.stack([np.cos(a), np.sin(a)], axis=1), cells=64), 50e-6)
    >>> round(field.force_n(viscosity_pa_s=0.2, speed_m_s=1e-3), 1)
    75.4

    References
    ----------
    O. Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, the equation of the film [reynolds:1886].
    """
    gap = _gap(grid, gap_m)
    return _solve(grid, gap, 0.0, grid.arm)


def raft_field(
    grid: PlatformGrid,
    raft: Mask | Array,
    *,
    gap_m: float,
    printed_m: float,
    tilt: tuple[float, float] = (0.0, 0.0),
) -> PlatformField:
    """Return the squeeze field of a platform that carries a raft, and may be tilted.

    Parameters
    ----------
    grid : PlatformGrid
        The platform.
    raft : (ny, nx) ndarray of bool, or (4, ny, nx) ndarray
        Nodes under the raft, or better the result of :func:`raft_arms` [-].
    gap_m : float
        Gap under the raft at the middle of the bounding box [m].
    printed_m : float
        Thickness of the raft so far: the bare platform's gap is wider by this much [m].
    tilt : (float, float)
        Rise of the gap per metre along x and along y [m/m].

    Returns
    -------
    PlatformField
        As :func:`squeeze_field`.

    Raises
    ------
    DomainError
        For a gap that is not above 0 somewhere under the platform, or a printed thickness below 0.
    """
    require_positive(gap_m=gap_m)
    require_not_negative(printed_m=printed_m)
    require_finite(tilt_x=tilt[0], tilt_y=tilt[1])
    x0, y0 = grid.centre_m
    plane = tilt[0] * (grid.x_m - x0)[None, :] + tilt[1] * (grid.y_m - y0)[:, None]
    under = _gap(grid, gap_m + plane)
    shares = _arms_of_mask(grid, raft) if raft.ndim == 2 else np.asarray(raft, dtype=np.float64)
    return _solve(grid, under, printed_m, shares)


@kept(room=1024)
def effective_torsion(
    grid: PlatformGrid,
    raft: Mask | Array,
    *,
    gap_m: float,
    printed_m: float,
    tilt: tuple[float, float] = (0.0, 0.0),
) -> float:
    """Return the torsion constant a uniform gap would need to resist as this platform does [m4], J = 4 Q h^3.

    Put into the layer-by-layer law of a rigid plate, F = 3 mu J V / h^3, in place of the raft's own J.  With nothing
    printed yet it is the whole platform's (vented) torsion constant; with a thick raft it tends to the raft's own.

    Parameters are those of :func:`raft_field`; `raft` [-], `gap_m` [m], `printed_m` [m], `tilt` [m/m].

    Returns
    -------
    float
        J [m4].

    Examples
    --------
    >>> import numpy as np
    >>> grid = platform_grid(np.array([[0, 0], [0.12, 0], [0.12, 0.068], [0, 0.068]]), cells=120)
    >>> raft = raft_arms(grid, [np.array([[0.03, 0.02], [0.09, 0.02], [0.09, 0.048], [0.03, 0.048]])])
    >>> for printed_m in (0.0, 50e-6, 1e-3):
    ...     print(f"{effective_torsion(grid, raft, gap_m=50e-6, printed_m=printed_m):.2e}")
    8.12e-06
    1.29e-06
    3.12e-07
    """
    field = raft_field(grid, raft, gap_m=gap_m, printed_m=printed_m, tilt=tilt)
    return 4.0 * field.squeeze_integral_m * gap_m**3


def _loop(loop: Array, where: str) -> Array:
    """Return a loop as float64, refused unless it is a (P, 2) array of finite numbers with P >= 3."""
    points = np.asarray(loop, dtype=np.float64)
    if points.ndim != 2 or points.shape[1] != 2 or len(points) < 3 or not np.isfinite(points).all():
        raise InputError.one(
            where, to_say("must be finite corners of shape (P, 2), P >= 3"), to_say("Give the loop's corners [m]")
        )
    return points


def _gap(grid: PlatformGrid, gap_m: float | Array) -> Array:
    """Return the gap at every node, refused where it is not above 0 under the platform."""
    gap = np.broadcast_to(np.asarray(gap_m, dtype=np.float64), grid.inside.shape)
    if not (((gap > 0.0) & (gap < np.inf)) | ~grid.inside).all():
        raise DomainError.one(
            "gap_m",
            to_say("must be a finite number above 0 everywhere under the platform"),
            to_say("Reduce the tilt or open the gap"),
        )
    return gap


def _nodes(low: float, high: float, pitch: float) -> Array:
    """Return nodes centred on [low, high], the outer ones a quarter to three quarters of a pitch from its ends."""
    count = max(1, round((high - low) / pitch))
    return np.asarray(0.5 * (low + high) + pitch * (np.arange(count) - 0.5 * (count - 1)), dtype=np.float64)


def _edges(loops: list[Array]) -> Array:
    """Return every edge of the loops as rows (x1, y1, x2, y2, loop number)."""
    rows = [np.column_stack([a, np.roll(a, -1, axis=0), np.full(len(a), float(n))]) for n, a in enumerate(loops)]
    return np.concatenate(rows) if rows else np.zeros((0, 5))


def _cut_lines(edges: Array, x: Array, y: Array, pitch: float) -> tuple[Mask, Array, Mask]:
    """Return what :func:`_cut_kernel` finds along the rows: inside (ny, nx), arms and joints (2, ny, nx)."""
    shape = (len(y), len(x))
    inside, arm, joined = np.zeros(shape, np.bool_), np.zeros((2, *shape)), np.zeros((2, *shape), np.bool_)
    _cut_kernel(edges, x, y, pitch, inside, arm, joined)
    return inside, arm, joined


def _covered(edges: Array, x: Array, y: Array, pitch: float) -> Array:
    """Return the part of the link before and after each node that lies inside the loops (even-odd), (2, ny, nx)."""
    out = np.zeros((2, len(y), len(x)))
    _covered_kernel(edges, x, y, pitch, out)
    return out


def _arms_of_mask(grid: PlatformGrid, raft: Mask | Array) -> Array:
    """Return arm shares for a raft given as nodes: its edge is taken half-way between nodes."""
    mask: Array = np.where(grid.inside, raft, 0.0)
    shares: Array = np.where(grid.joined, 0.5 * (mask + _neighbours(mask)), mask * grid.arm)
    return shares


def _neighbours(values: NDArray[Value]) -> NDArray[Value]:
    """Return the values of each node's west, east, south, north neighbour, 0 beyond the grid; (4, ny, nx)."""
    ringed = np.pad(values, 1)
    return np.stack([ringed[1:-1, :-2], ringed[1:-1, 2:], ringed[:-2, 1:-1], ringed[2:, 1:-1]])


def _solve(grid: PlatformGrid, under_m: Array, printed_m: float, raft: Array) -> PlatformField:
    """Return the field for the gap under the raft, how much wider it is beside it, and the raft's share of each arm."""
    weight = _weights(grid.arm, grid.pitch_m)
    psi, integral, cycles = _multigrid_cg(
        grid.inside, grid.arm, grid.joined, raft, under_m, printed_m, weight, ENERGY_TOLERANCE, MOST_CYCLES
    )
    if cycles >= MOST_CYCLES:
        raise VatwrightError(
            to_say("the pressure under the platform did not converge in {cycles} multigrid cycles", cycles=cycles)
        )
    # Node weights make the integral a trapezoid sum, short by pitch^2 / 12 times the slope psi leaves the edge with.
    integral += grid.pitch_m / 12.0 * _edge_slope(psi, grid.joined, grid.arm) * grid.pitch_m
    return PlatformField(grid=grid, psi_per_m=psi, weight_m2=weight, squeeze_integral_m=integral, cycles=cycles)


@kernel
def _weights(arm: Array, pitch: float) -> Array:
    """Area that each node stands for, half of its arms either way."""
    out = np.empty(arm.shape[1:])
    for j in range(arm.shape[1]):
        for i in range(arm.shape[2]):
            across, along = arm[WEST, j, i] + arm[EAST, j, i], arm[SOUTH, j, i] + arm[NORTH, j, i]
            out[j, i] = 0.25 * across * along * pitch * pitch
    return out


@kernel
def _edge_slope(psi: Array, joined: Mask, arm: Array) -> float:
    """Return the sum of psi / arm x width over the arms that meet an edge: minus the line integral of d psi / dn."""
    total = 0.0
    for side in range(4):
        left = SOUTH if side < SOUTH else WEST  # the arms across this one
        for j in range(psi.shape[0]):
            for i in range(psi.shape[1]):
                if not joined[side, j, i] and psi[j, i] > 0.0:
                    width = 0.5 * (arm[left, j, i] + arm[left + 1, j, i])
                    total += psi[j, i] / arm[side, j, i] * width
    return total


@kernel
def _crossings(edges: Array, y: float, at: Array, loop: NDArray[np.int64]) -> int:
    """Fill `at`, `loop` with the abscissae, sorted, where the line at y crosses the edges; return how many."""
    count = 0
    for e in range(edges.shape[0]):
        x1, y1, x2, y2 = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
        if (y1 <= y) != (y2 <= y):
            x, number = x1 + (y - y1) / (y2 - y1) * (x2 - x1), np.int64(edges[e, 4])
            k = count
            while k > 0 and at[k - 1] > x:
                at[k], loop[k] = at[k - 1], loop[k - 1]
                k -= 1
            at[k], loop[k] = x, number
            count += 1
    return count


@kernel
def _cut_kernel(edges: Array, x: Array, y: Array, pitch: float, inside: Mask, arm: Array, joined: Mask) -> None:
    """Mark nodes under the platform (in loop 0, in no other) and measure their arms along each row."""
    at, loop = np.empty(edges.shape[0]), np.empty(edges.shape[0], np.int64)
    within = np.zeros(int(edges[:, 4].max()) + 1, np.bool_)
    for j in range(y.size):
        within[:] = False
        holes = 0
        start = 0.0
        was_solid = False
        for k in range(_crossings(edges, y[j], at, loop)):
            within[loop[k]] = not within[loop[k]]
            if loop[k] > 0:
                holes += 1 if within[loop[k]] else -1
            solid = within[0] and holes == 0
            if solid and not was_solid:
                start = at[k]
            elif was_solid and not solid:
                _mark_run(start, at[k], x, pitch, inside[j], arm[:, j], joined[:, j])
            was_solid = solid


@kernel
def _mark_run(start: float, end: float, x: Array, pitch: float, inside: Mask, arm: Array, joined: Mask) -> None:
    """Mark the nodes of one row between two edges, with the length of their arms before and after."""
    first = max(0, int(np.ceil((start - x[0]) / pitch)))
    last = min(x.size - 1, int(np.ceil((end - x[0]) / pitch)) - 1)
    for i in range(first, last + 1):
        inside[i] = True
        arm[0, i] = 1.0 if i > first else min(1.0, max(SHORTEST_ARM, (x[i] - start) / pitch))
        arm[1, i] = 1.0 if i < last else min(1.0, max(SHORTEST_ARM, (end - x[i]) / pitch))
        joined[0, i] = i > first
        joined[1, i] = i < last


@kernel
def _covered_kernel(edges: Array, x: Array, y: Array, pitch: float, out: Array) -> None:
    """Measure, row by row, the part of the link before and after each node that lies inside the loops (even-odd)."""
    at, loop = np.empty(edges.shape[0]), np.empty(edges.shape[0], np.int64)
    for j in range(y.size):
        for k in range(0, _crossings(edges, y[j], at, loop) - 1, 2):
            start, end = (at[k] - x[0]) / pitch, (at[k + 1] - x[0]) / pitch
            for i in range(max(0, int(np.floor(start))), min(x.size - 1, int(np.floor(end)) + 1) + 1):
                out[0, j, i] += max(0.0, min(end, float(i)) - max(start, i - 1.0))
                out[1, j, i] += max(0.0, min(end, i + 1.0) - max(start, float(i)))


# --- the solver ------------------------------------------------------------------------------------------------------
#
# A level's nodes are kept in four parts, by whether their row and column numbers are even or odd: (even, even), (even,
# odd), (odd, even), (odd, odd), numbered 0 to 3.  The neighbours of a part's nodes then lie in other parts, in the same
# order, so every sweep runs along memory; and part 0 is the next coarser level.  A ring of outside nodes (conductance
# 0) and one more row and column keep every neighbour's place inside the arrays.

EVEN, ROW_ODD, COLUMN_ODD, CENTRE = 0, 2, 1, 3


@kernel
def _multigrid_cg(
    inside: Mask,
    arm: Array,
    joined: Mask,
    raft: Array,
    under: Array,
    printed: float,
    source: Array,
    tolerance: float,
    most: int,
) -> tuple[Array, float, int]:
    """Return u, its Ritz integral and the cycles taken, for sum of conductance (u - neighbour's u) = source.

    Conjugate gradients preconditioned by one symmetric V-cycle.  Coarse nodes are every second node; an arm twice as
    long is two arms in series, an arm that meets an edge half-way ends there, so no geometry is needed below the
    finest grid.  The iteration stops on the energy norm of the error as the preconditioner estimates it.  Level
    arrays are single precision: rounding a conductance by 6e-8 changes the answer by no more than that.
    """
    levels = _levels(source.shape[0], source.shape[1])
    last = len(levels) - 1
    size, n0 = levels[last, 0] + 4 * levels[last, 3], 4 * levels[0, 3]
    # One block of each precision: the allocator then keeps it for the next solve instead of handing it back.
    single, double = np.zeros((8, size), np.float32), np.zeros((4, n0))
    cx, cy, inverse, line, edge = single[0], single[1], single[2], single[3], single[4:8]
    x, r = double[0], double[1]
    scale = _finest(inside, arm, joined, raft, under, printed, levels[0], cx, cy, edge)
    for n in range(last + 1):
        if n > 0:
            _coarsen(levels[n - 1], levels[n], cx, cy, edge)
        _invert(levels[n], cx, cy, edge, inverse, line)
    top = _lay_source(source, inside, levels[0], r)
    ends = _free(edge, n0)
    total, cycles = _iterate(levels, single, ends, double, tolerance, most)
    out = np.empty(source.shape)
    for j in range(source.shape[0]):
        for i in range(source.shape[1]):
            out[j, i] = x[_place(levels[0], j + 1, i + 1)] * (top / scale)
    return out, total * top * top / scale, cycles


@kernel
def _levels(ny: int, nx: int) -> Counts:
    """Return rows of: where a level starts, its rows and columns of nodes, the length and the row length of a part."""
    levels = np.zeros((32, 5), np.int64)
    n, start = 0, 0
    while True:
        width = (nx + 3) // 2 + 1
        levels[n] = start, ny, nx, width * ((ny + 3) // 2 + 1), width
        start += 4 * levels[n, 3]
        n += 1
        if ny < 3 or nx < 3:
            return levels[:n].copy()
        ny, nx = ny // 2, nx // 2


@kernel
def _place(level: Counts, j: int, i: int) -> int:
    """Place of the node in row j, column i, both from 1; 0 is the ring's."""
    return int(level[0] + (2 * (j & 1) + (i & 1)) * level[3] + (j >> 1) * level[4] + (i >> 1))


@kernel
def _around(level: Counts, part: int) -> tuple[int, int, int, int, int, int]:
    """Where a part starts, and with the same step its nodes' neighbours to the west, east, south, north; how many.

    A link is kept with the node at its western or southern end.
    """
    start, length, width = level[0], level[3], level[4]
    first = 0 if part & 2 else width  # the ring's row has nothing south of it
    west = start + (part ^ 1) * length + first - (0 if part & 1 else 1)
    south = start + (part ^ 2) * length + first - (0 if part & 2 else width)
    own = start + part * length + first
    return own, west, west + 1, south, south + width, length - width - first


@kernel
def _lay_source(source: Array, inside: Mask, level: Counts, r: Array) -> float:
    """Lay the source out on the finest level, divided by its largest value, which is returned."""
    top: float = source.max()
    for j in range(source.shape[0]):
        for i in range(source.shape[1]):
            if inside[j, i]:
                r[_place(level, j + 1, i + 1)] = source[j, i] / top
    return top


@kernel
def _resistances(inside: Mask, under: Array, printed: float, on: Array, off: Array) -> None:
    """Fill a row's 1/h^3 under the raft and beside it."""
    for i in range(inside.size):
        if inside[i]:
            h, wide = under[i], under[i] + printed
            on[i], off[i] = 1.0 / (h * h * h), 1.0 / (wide * wide * wide)


@kernel
def _finest(
    inside: Mask,
    arm: Array,
    joined: Mask,
    raft: Array,
    under: Array,
    printed: float,
    level: Counts,
    cx: Single,
    cy: Single,
    edge: Single,
) -> float:
    """Lay the arms' conductances, in units of the value returned [m3], out on the finest level.

    To neighbours in cx, cy, to the edge in `edge`.  An arm's resistance is its part under the raft times 1/h^3 there,
    plus the rest times 1/h^3 beside it: the harmonic average of h^3.
    """
    rows, columns = inside.shape
    widest = printed + _greatest(inside, under)
    least = 1.0 / (widest * widest * widest)
    on, off = np.ones((2, columns)), np.ones((2, columns))  # of this row and the next
    _resistances(inside[0], under[0], printed, on[0], off[0])
    for j in range(rows):
        here, beyond = j % 2, (j + 1) % 2
        if j + 1 < rows:
            _resistances(inside[j + 1], under[j + 1], printed, on[beyond], off[beyond])
        for i in range(columns):
            k, a, b = _place(level, j + 1, i + 1), on[here, i], off[here, i]
            for side in range(4 if inside[j, i] else 0):
                share = raft[side, j, i]
                if not joined[side, j, i]:
                    edge[side, k] = least / (share * a + (arm[side, j, i] - share) * b)
                elif side == EAST:
                    cx[k] = 2.0 * least / (share * (a + on[here, i + 1]) + (1.0 - share) * (b + off[here, i + 1]))
                elif side == NORTH:
                    cy[k] = 2.0 * least / (share * (a + on[beyond, i]) + (1.0 - share) * (b + off[beyond, i]))
    return 1.0 / least


@kernel
def _greatest(inside: Mask, values: Array) -> float:
    """Greatest value at nodes inside."""
    found = 0.0
    for j in range(inside.shape[0]):
        for i in range(inside.shape[1]):
            if inside[j, i]:
                found = max(found, values[j, i])
    return found


@kernel
def _series(a: float, b: float) -> float:
    """Return the conductance, per arm of twice the width, of two arms in series."""
    return 2.0 * a * b / (a + b) if a > 0.0 and b > 0.0 else 0.0


@kernel
def _coarsen(fine: Counts, coarse: Counts, cx: Single, cy: Single, edge: Single) -> None:
    """Build a level from the finer one, whose even nodes are its nodes."""
    own, west, east, south, north, _ = _around(fine, EVEN)
    width = fine[4]
    for j in range(1, coarse[1] + 1):
        for i in range(1, coarse[2] + 1):
            at, k = (j - 1) * width + i, _place(coarse, j, i)
            c = own + at
            for side in range(4):
                m = (west, east, south, north)[side] + at  # the node half-way, and the links either side of it
                link = cx if side < SOUTH else cy
                onward = side in (EAST, NORTH)
                near, far = (link[c], link[m]) if onward else (link[m], link[c - (1 if side == WEST else width)])
                if near == 0.0:
                    edge[side, k] = 2.0 * edge[side, c]
                elif far == 0.0:
                    edge[side, k] = _series(near, edge[side, m])
                elif side == EAST:
                    cx[k] = _series(near, far)
                elif side == NORTH:
                    cy[k] = _series(near, far)


@kernel
def _free(edge: Single, n0: int) -> Single:
    """Return the sum of the finest level's edges (n0,) and leave zeros: u, f and s take their room."""
    ends = np.empty(n0, np.float32)
    for k in range(n0):
        ends[k] = (edge[0, k] + edge[1, k]) + (edge[2, k] + edge[3, k])
    edge[:] = np.float32(0.0)
    return ends


@kernel
def _invert(level: Counts, cx: Single, cy: Single, edge: Single, inverse: Single, line: Single) -> None:
    """Fill the inverse diagonal, and on the coarse lines the inverse of the same without the links across the line."""
    for part in range(4):
        own, west, _, south, _, n = _around(level, part)
        _reciprocals(
            inverse[own : own + n], line[own : own + n], cx[west : west + n], cx[own : own + n],
            cy[south : south + n], cy[own : own + n], edge[0, own : own + n], edge[1, own : own + n],
            edge[2, own : own + n], edge[3, own : own + n], part == COLUMN_ODD,
        )  # fmt: skip


@kernel
def _reciprocals(
    whole: Single, rest: Single, cw: Single, ce: Single, cs: Single, cn: Single, ew: Single, ee: Single, es: Single,
    en: Single, along: bool,
) -> None:  # fmt: skip
    """Inverse of all that a node is linked by, and without the links across the line it stands on; 0 for nothing."""
    zero, one = np.float32(0.0), np.float32(1.0)
    for k in range(whole.size):
        ends = (ew[k] + ee[k]) + (es[k] + en[k])
        both = (cw[k] + ce[k]) if along else (cs[k] + cn[k])
        kept = ends + both
        total = kept + ((cs[k] + cn[k]) if along else (cw[k] + ce[k]))
        whole[k] = one / total if total > zero else zero
        rest[k] = one / kept if kept > zero else zero


@kernel
def _iterate(
    levels: Counts, single: Single, ends: Single, double: Array, tolerance: float, most: int
) -> tuple[float, int]:
    """Move x from zero to the solution for the residual r by conjugate gradients; return x.A x and the cycles."""
    n0 = double.shape[1]
    cx, cy, u, f = single[0], single[1], single[5, :n0], single[6, :n0]
    x, r, p, q = double[0], double[1], double[2], double[3]
    lanes = np.empty(256)
    first, last, total, cycles = 0.0, 1.0, 0.0, 0
    while cycles < most:
        for k in range(n0):
            f[k] = np.float32(r[k])
        _cycle(levels, single)
        rho = _dot(u, r, lanes)
        cycles += 1
        if cycles == 1:
            first = rho
        if rho <= tolerance * tolerance * first:
            break
        fall = 1.0 if cycles == 1 else rho / last
        beta = 0.0 if cycles == 1 else fall
        last = rho
        for k in range(n0):
            p[k] = u[k] + beta * p[k]
        _apply(levels[0], cx, cy, ends, p, q)
        alpha = rho / _dot(p, q, lanes)
        # From a zero start the iterate's energy, which is its integral, is the sum of the steps' shares.
        gain = alpha * rho
        total += gain
        for k in range(n0):
            x[k] += alpha * p[k]
            r[k] -= alpha * q[k]
        # Gains fall like rho does: where the next one would not count, the cycle that would tell so is spared.
        if cycles > 1 and gain * min(fall, 1.0) <= 0.5 * tolerance * tolerance * total:
            break
    return total, cycles


@kernel
def _dot(a: Single | Array, b: Array, lanes: Array) -> float:
    """Sum of products, in many lanes: one running sum would wait for each addition."""
    lanes[:] = 0.0
    for start in range(0, a.size, lanes.size):
        one, other = a[start : start + lanes.size], b[start : start + lanes.size]
        for k in range(one.size):
            lanes[k] += one[k] * other[k]
    return float(lanes.sum())


@kernel
def _apply(level: Counts, cx: Single, cy: Single, ends: Single, p: Array, q: Array) -> None:
    """Set q = A p on the finest level; as flows, so that rounded conductances stay consistent."""
    for part in range(4):
        own, west, east, south, north, n = _around(level, part)
        _flows(
            q[own : own + n], p[own : own + n], ends[own : own + n],
            cx[west : west + n], p[west : west + n], cx[own : own + n], p[east : east + n],
            cy[south : south + n], p[south : south + n], cy[own : own + n], p[north : north + n],
        )  # fmt: skip


@kernel
def _flows(
    out: Array, own: Array, ends: Single, cw: Single, west: Array, ce: Single, east: Array, cs: Single, south: Array,
    cn: Single, north: Array,
) -> None:  # fmt: skip
    """What flows out of each node."""
    for k in range(out.size):
        out[k] = ends[k] * own[k] + (
            (cw[k] * (own[k] - west[k]) + ce[k] * (own[k] - east[k]))
            + (cs[k] * (own[k] - south[k]) + cn[k] * (own[k] - north[k]))
        )


@kernel
def _relax(level: Counts, single: Single, part: int) -> None:
    """Gauss-Seidel on the nodes of one part."""
    own, west, east, south, north, n = _around(level, part)
    cx, cy, inverse, u, f = single[0], single[1], single[2], single[5], single[6]
    _balance(
        u[own : own + n], inverse[own : own + n], f[own : own + n],
        cx[west : west + n], u[west : west + n], cx[own : own + n], u[east : east + n],
        cy[south : south + n], u[south : south + n], cy[own : own + n], u[north : north + n],
    )  # fmt: skip


@kernel
def _balance(
    out: Single, inverse: Single, f: Single, cw: Single, west: Single, ce: Single, east: Single, cs: Single,
    south: Single, cn: Single, north: Single,
) -> None:  # fmt: skip
    """Set each node to what its neighbours and source ask of it."""
    for k in range(out.size):
        out[k] = inverse[k] * (f[k] + ((cw[k] * west[k] + ce[k] * east[k]) + (cs[k] * south[k] + cn[k] * north[k])))


@kernel
def _between(out: Single, inverse: Single, ca: Single, a: Single, cb: Single, b: Single) -> None:
    """Set each node to what two opposite neighbours ask of it."""
    for k in range(out.size):
        out[k] = inverse[k] * (ca[k] * a[k] + cb[k] * b[k])


@kernel
def _cycle(levels: Counts, single: Single) -> None:
    """One symmetric V-cycle from zero: u on the finest level approximates the solution for f.

    Nodes of parts 0 and 3 have no link to each other, nor have those of 1 and 2, the coarse lines.  Down: 0 and 3
    first, the lines second, so that the residual is zero on the lines.  Up: the lines first, so that what interpolation
    gives them is never needed itself.
    """
    last = len(levels) - 1
    for n in range(last + 1):
        _start(levels[n], single)
        _relax(levels[n], single, COLUMN_ODD)
        _relax(levels[n], single, ROW_ODD)
        if n < last:
            _restrict(levels[n], levels[n + 1], single)
    for turn in range(2 * COARSEST_SWEEPS + 1):
        for half in range(2):
            lines = (half == 0) == (turn >= COARSEST_SWEEPS)
            _relax(levels[last], single, COLUMN_ODD if lines else EVEN)
            _relax(levels[last], single, ROW_ODD if lines else CENTRE)
    for n in range(last - 1, -1, -1):
        _prolong(levels[n], levels[n + 1], single)
        for part in (COLUMN_ODD, ROW_ODD, EVEN, CENTRE):
            _relax(levels[n], single, part)


@kernel
def _start(level: Counts, single: Single) -> None:
    """Gauss-Seidel on parts 0 and 3 where u is zero, whatever is in it."""
    for part in (EVEN, CENTRE):
        own = level[0] + part * level[3]
        end = own + level[3]
        inverse, u, f = single[2, own:end], single[5, own:end], single[6, own:end]
        for k in range(u.size):
            u[k] = inverse[k] * f[k]


@kernel
def _lines(level: Counts, single: Single, along: bool) -> None:
    """Set s on the coarse lines from part 0, along the line, or from part 3, across it, by their own equation."""
    cx, cy, line, s = single[0], single[1], single[3], single[7]
    for part in (COLUMN_ODD, ROW_ODD):
        own, west, east, south, north, n = _around(level, part)
        if (part == COLUMN_ODD) == along:
            _between(s[own : own + n], line[own : own + n], cx[west : west + n], s[west : west + n],
                     cx[own : own + n], s[east : east + n])  # fmt: skip
        else:
            _between(s[own : own + n], line[own : own + n], cy[south : south + n], s[south : south + n],
                     cy[own : own + n], s[north : north + n])  # fmt: skip


@kernel
def _restrict(fine: Counts, coarse: Counts, single: Single) -> None:
    """Set f of the coarse level to the transpose of :func:`_prolong` applied to the fine residual (zero on lines)."""
    cx, cy, inverse, u, f, s = single[0], single[1], single[2], single[5], single[6], single[7]
    own, west, east, south, north, n = _around(fine, CENTRE)
    _balance(
        s[own : own + n], inverse[own : own + n], f[own : own + n],
        cx[west : west + n], u[west : west + n], cx[own : own + n], u[east : east + n],
        cy[south : south + n], u[south : south + n], cy[own : own + n], u[north : north + n],
    )  # fmt: skip
    _add(s[own : own + n], -1.0, u[own : own + n])
    _lines(fine, single, along=False)
    own, west, east, south, north, n = _around(fine, EVEN)
    # What is left on part 0, with what the lines hand on.
    _gather(
        s[own : own + n], u[own : own + n], inverse[own : own + n], f[own : own + n],
        cx[west : west + n], u[west : west + n], s[west : west + n], cx[own : own + n], u[east : east + n],
        s[east : east + n], cy[south : south + n], u[south : south + n], s[south : south + n], cy[own : own + n],
        u[north : north + n], s[north : north + n],
    )  # fmt: skip
    for j in range(1, coarse[1] + 1):
        whole = s[own + (j - 1) * fine[4] + 1 :]
        odd, even = f[_place(coarse, j, 1) :], f[_place(coarse, j, 2) :]
        for k in range((coarse[2] + 1) // 2):
            odd[k] = whole[2 * k]
        for k in range(coarse[2] // 2):
            even[k] = whole[2 * k + 1]


@kernel
def _add(out: Single, factor: float, what: Single) -> None:
    """Add so many times something."""
    for k in range(out.size):
        out[k] += np.float32(factor) * what[k]


@kernel
def _gather(
    out: Single, own: Single, inverse: Single, f: Single, cw: Single, west: Single, sw: Single, ce: Single,
    east: Single, se: Single, cs: Single, south: Single, ss: Single, cn: Single, north: Single, sn: Single,
) -> None:  # fmt: skip
    """Set each node to its residual, with s at its neighbours added to u there; 0 outside."""
    zero = np.float32(0.0)
    for k in range(out.size):
        left = own[k] / inverse[k] if inverse[k] > zero else zero
        out[k] = (f[k] - left) + (
            (cw[k] * (west[k] + sw[k]) + ce[k] * (east[k] + se[k]))
            + (cs[k] * (south[k] + ss[k]) + cn[k] * (north[k] + sn[k]))
        )


@kernel
def _prolong(fine: Counts, coarse: Counts, single: Single) -> None:
    """Add the coarse level's correction to the fine one: copied to part 0, to lines and centres by their equation."""
    cx, cy, inverse, u, s = single[0], single[1], single[2], single[5], single[7]
    own, _, _, _, _, n = _around(fine, EVEN)
    for j in range(1, coarse[1] + 1):
        whole = s[own + (j - 1) * fine[4] + 1 :]
        odd, even = u[_place(coarse, j, 1) :], u[_place(coarse, j, 2) :]
        for k in range((coarse[2] + 1) // 2):
            whole[2 * k] = odd[k]
        for k in range(coarse[2] // 2):
            whole[2 * k + 1] = even[k]
    _add(u[own : own + n], 1.0, s[own : own + n])
    _lines(fine, single, along=True)
    own, west, east, south, north, n = _around(fine, CENTRE)
    _refine(
        u[own : own + n], inverse[own : own + n], cx[west : west + n], s[west : west + n], cx[own : own + n],
        s[east : east + n], cy[south : south + n], s[south : south + n], cy[own : own + n], s[north : north + n],
    )  # fmt: skip


@kernel
def _refine(
    out: Single, inverse: Single, cw: Single, west: Single, ce: Single, east: Single, cs: Single, south: Single,
    cn: Single, north: Single,
) -> None:  # fmt: skip
    """Add to each node what its neighbours ask of it."""
    for k in range(out.size):
        out[k] += inverse[k] * ((cw[k] * west[k] + ce[k] * east[k]) + (cs[k] * south[k] + cn[k] * north[k]))
