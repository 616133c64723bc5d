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
ENERGY_TOLERANCE = 1e-4
MOST_CYCLES = 100
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
        raise InputError.one("cells", f"must be 8 or more, got {cells}", "Give the number of cells along the long side")
    low, high = loops[0].min(axis=0), loops[0].max(axis=0)
    if not (high - low > 0.0).all():
        raise InputError.one("outline_m", "encloses no area", "Give the outline's corners in order round the edge")
    pitch = float((high - low).max()) / cells
    x, y = (_nodes(float(a), float(b), pitch) for a, b in zip(low, high, strict=True))
    along_x, west_east, joined_x = _cut_lines(_edges(loops), x, y, pitch)
    along_y, south_north, joined_y = _cut_lines(_edges([loop[:, ::-1] for loop in loops]), y, x, pitch)
    # A node on the very edge can be found inside along its row and outside along its column: it is outside.
    inside = along_x & along_y.T
    if not inside.any():
        raise InputError.one("cells", f"no grid node lies under the platform with {cells}", "Give more cells")
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
    resistance = 1.0 / gap**3
    return _solve(grid, resistance, resistance, None)


def squeeze_integral(grid: PlatformGrid, gap_m: float | Array) -> float:
    """Return Q, the integral of psi over the platform [m]; the force at speed V is 12 mu V Q.

    Parameters, limits and source are those of :func:`squeeze_field`; over a uniform gap h, Q = J / (4 h^3) with J the
    torsion constant.
    """
    return squeeze_field(grid, gap_m).squeeze_integral_m


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
    return _solve(grid, 1.0 / under**3, 1.0 / (under + printed_m) ** 3, shares)


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
        raise InputError.one(where, "must be finite corners of shape (P, 2), P >= 3", "Give the loop's corners [m]")
    return points


def _gap(grid: PlatformGrid, gap_m: float | Array) -> Array:
    """Return the gap at every node, refused where it is not above 0 under the platform; 1 elsewhere."""
    gap = np.broadcast_to(np.asarray(gap_m, dtype=np.float64), grid.inside.shape)
    if not (np.isfinite(gap[grid.inside]) & (gap[grid.inside] > 0.0)).all():
        raise DomainError.one(
            "gap_m", "must be a finite number above 0 everywhere under the platform", "Reduce the tilt or open the gap"
        )
    return np.where(grid.inside, gap, np.ones_like(gap))


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


def _solve(grid: PlatformGrid, under: Array, bare: Array, raft: Array | None) -> PlatformField:
    """Return the field for the resistances 1/h^3 under the raft and beside it, and the raft's share of each arm."""
    width = 0.5 * np.stack([grid.arm[WEST] + grid.arm[EAST], grid.arm[SOUTH] + grid.arm[NORTH]])
    weight = width[0] * width[1] * grid.pitch_m**2
    psi, integral, cycles = _multigrid_cg(
        grid.inside, grid.arm, grid.joined, grid.arm if raft is None else raft, under, bare, weight,
        ENERGY_TOLERANCE, MOST_CYCLES,
    )  # fmt: skip
    if cycles >= MOST_CYCLES:
        raise VatwrightError(f"the pressure under the platform did not converge in {cycles} multigrid cycles")
    # Node weights make the integral a trapezoid sum, short by pitch^2 / 12 times the slope psi leaves the edge with.
    integral += grid.pitch_m / 12.0 * _edge_slope(psi, grid.joined, grid.arm, width) * grid.pitch_m
    return PlatformField(grid=grid, psi_per_m=psi, weight_m2=weight, squeeze_integral_m=integral, cycles=cycles)


@kernel
def _edge_slope(psi: Array, joined: Mask, arm: Array, width: Array) -> float:
    """Return the sum of psi / arm x width over the arms that meet an edge: minus the line integral of d psi / dn."""
    total = 0.0
    for side in range(4):
        for j in range(psi.shape[0]):
            for i in range(psi.shape[1]):
                if not joined[side, j, i] and psi[j, i] > 0.0:
                    total += psi[j, i] / arm[side, j, i] * width[1 - side // 2, j, i]
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


@kernel
def _multigrid_cg(
    inside: Mask,
    arm: Array,
    joined: Mask,
    raft: Array,
    under: Array,
    bare: Array,
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
    start, shape = _levels(source.shape[0], source.shape[1])
    size, n0, stride = start[-1], start[1], shape[0, 1]
    # One block of each precision: the allocator then keeps it for the next solve instead of handing it back.
    single, double = np.zeros((11, size), np.float32), np.zeros((4, n0))
    cx, cy, inverse, line, edge = single[0], single[1], single[2], single[3], single[4:8]
    x, r = double[0], double[1]
    scale = _finest(inside, arm, joined, raft, under, bare, stride, cx, cy, edge)
    for n in range(len(shape)):
        if n > 0:
            _coarsen(start, shape, n, cx, cy, edge)
        _invert(start[n], shape[n, 0], shape[n, 1], cx, cy, edge, inverse, line)
    top = _lay_source(source, inside, stride, r)
    total, cycles = _iterate(start, shape, single, double, tolerance, most)
    out = np.zeros(source.shape)
    for j in range(source.shape[0]):
        for i in range(source.shape[1]):
            out[j, i] = x[(j + 1) * stride + i + 1] * (top / scale)
    return out, total * top * top / scale, cycles


@kernel
def _iterate(
    start: Counts, shape: Counts, single: Single, double: Array, tolerance: float, most: int
) -> tuple[float, int]:
    """Move x from zero to the solution for the residual r by conjugate gradients; return x.A x and the cycles."""
    cx, cy, inverse, line, edge = single[0], single[1], single[2], single[3], single[4:8]
    u, f, s = single[8], single[9], single[10]
    x, r, p, q = double[0], double[1], double[2], double[3]
    n0 = x.size
    first, last, total, cycles = 0.0, 1.0, 0.0, 0
    while cycles < most:
        for k in range(n0):
            f[k] = np.float32(r[k])
        _cycle(start, shape, cx, cy, inverse, line, u, f, s)
        rho = 0.0
        for k in range(n0):
            rho += r[k] * u[k]
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
        alpha = rho / _apply(cx, cy, edge, p, q, shape[0, 0], shape[0, 1])
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
def _levels(ny: int, nx: int) -> tuple[Counts, Counts]:
    """Return where each level starts in the flat arrays, and its rows and columns with a ring of outside nodes."""
    shape, start = np.zeros((32, 2), np.int64), np.zeros(33, np.int64)
    n = 0
    while True:
        shape[n, 0], shape[n, 1] = ny + 2, nx + 2
        start[n + 1] = start[n] + (ny + 2) * (nx + 2)
        n += 1
        if ny < 3 or nx < 3:
            break
        ny, nx = ny // 2, nx // 2
    return start[: n + 1].copy(), shape[:n].copy()


@kernel
def _lay_source(source: Array, inside: Mask, stride: int, r: Array) -> float:
    """Lay the source out on the ringed finest level, divided by its largest value, which is returned."""
    top: float = source.max()
    for j in range(source.shape[0]):
        for i in range(source.shape[1]):
            if inside[j, i]:
                r[(j + 1) * stride + i + 1] = source[j, i] / top
    return top


@kernel
def _finest(
    inside: Mask,
    arm: Array,
    joined: Mask,
    raft: Array,
    under: Array,
    bare: Array,
    stride: int,
    cx: Single,
    cy: Single,
    edge: Single,
) -> float:
    """Lay the arms' conductances, in units of the value returned [m3], out on the finest level.

    To neighbours in cx, cy, to the edge in `edge`.  An arm's resistance is its part under the raft times 1/h^3 there,
    plus the rest times 1/h^3 beside it: the harmonic average of h^3.
    """
    least = np.inf
    for j in range(inside.shape[0]):
        for i in range(inside.shape[1]):
            if inside[j, i]:
                least = min(least, under[j, i], bare[j, i])
    for j in range(inside.shape[0]):
        for i in range(inside.shape[1]):
            k = (j + 1) * stride + i + 1
            for side in range(4 if inside[j, i] else 0):
                on, off, share = under[j, i], bare[j, i], raft[side, j, i]
                if not joined[side, j, i]:
                    edge[side, k] = least / (share * on + (arm[side, j, i] - share) * off)
                elif side == EAST:
                    cx[k] = 2.0 * least / (share * (on + under[j, i + 1]) + (1.0 - share) * (off + bare[j, i + 1]))
                elif side == NORTH:
                    cy[k] = 2.0 * least / (share * (on + under[j + 1, i]) + (1.0 - share) * (off + bare[j + 1, i]))
    return 1.0 / least


@kernel
def _series(a: float, b: float) -> float:
    """Return the conductance, per arm of twice the width, of two arms in series."""
    return 2.0 * a * b / (a + b) if a > 0.0 and b > 0.0 else 0.0


@kernel
def _coarsen(start: Counts, shape: Counts, n: int, cx: Single, cy: Single, edge: Single) -> None:
    """Build level n from the level above it."""
    above, stride, coarse, columns = start[n - 1], shape[n - 1, 1], start[n], shape[n, 1]
    for j in range(1, shape[n, 0] - 1):
        for i in range(1, columns - 1):
            c, k = above + 2 * j * stride + 2 * i, coarse + j * columns + i
            for side in range(4):
                step = (-1, 1, -stride, stride)[side]
                m = c + step
                link = cx if side < SOUTH else cy
                near = link[c] if step > 0 else link[m]
                far = link[m] if step > 0 else link[m + step]
                if near == 0.0:
                    edge[side, k] = 2.0 * edge[side, c]
                elif far == 0.0:
                    edge[side, k] = _series(near, edge[side, m])
                elif side == EAST:
                    cx[k] = _series(near, far)
                elif side == NORTH:
                    cy[k] = _series(near, far)


@kernel
def _invert(
    o: int, rows: int, columns: int, cx: Single, cy: Single, edge: Single, inverse: Single, line: Single
) -> None:
    """Fill the inverse diagonal, and on the coarse lines the inverse of the same without the links across the line."""
    for j in range(1, rows - 1):
        for i in range(1, columns - 1):
            k = o + j * columns + i
            across = cx[k - 1] + cx[k]
            along = cy[k - columns] + cy[k]
            ends = edge[0, k] + edge[1, k] + edge[2, k] + edge[3, k]
            if across + along + ends > 0.0:
                inverse[k] = np.float32(1.0) / (across + along + ends)
                rest = ends + (across if j % 2 == 0 else along)
                line[k] = np.float32(1.0) / rest if rest > 0.0 else np.float32(0.0)


@kernel
def _apply(cx: Single, cy: Single, edge: Single, p: Array, q: Array, rows: int, columns: int) -> float:
    """Set q = A p on the finest level and return p.q; as flows, so that rounded conductances stay consistent."""
    total = 0.0
    for j in range(1, rows - 1):
        for k in range(j * columns + 1, (j + 1) * columns - 1):
            out = np.float64(edge[0, k] + edge[1, k] + edge[2, k] + edge[3, k]) * p[k]
            out += np.float64(cx[k - 1]) * (p[k] - p[k - 1]) + np.float64(cx[k]) * (p[k] - p[k + 1])
            out += np.float64(cy[k - columns]) * (p[k] - p[k - columns]) + np.float64(cy[k]) * (p[k] - p[k + columns])
            q[k] = out
            total += p[k] * out
    return total


@kernel
def _relax_row(cx: Single, cy: Single, inverse: Single, u: Single, f: Single, first: int, end: int, w: int) -> None:
    """Gauss-Seidel on every second node of a row."""
    for k in range(first, end, 2):
        around = cx[k - 1] * u[k - 1] + cx[k] * u[k + 1] + cy[k - w] * u[k - w] + cy[k] * u[k + w]
        u[k] = inverse[k] * (f[k] + around)


@kernel
def _relax(
    cx: Single, cy: Single, inverse: Single, u: Single, f: Single, o: int, rows: int, w: int, colour: int, fresh: bool
) -> None:
    """Gauss-Seidel on the nodes of `colour` (row + column even or odd), then on the others, one row behind.

    `fresh` takes u as zero, whatever is in it.
    """
    for j in range(1, rows):
        if j < rows - 1:
            first = o + j * w + 1 + (j + 1 + colour) % 2
            if fresh:
                for k in range(first, o + (j + 1) * w - 1, 2):
                    u[k] = inverse[k] * f[k]
            else:
                _relax_row(cx, cy, inverse, u, f, first, o + (j + 1) * w - 1, w)
        if j > 1:
            _relax_row(cx, cy, inverse, u, f, o + (j - 1) * w + 1 + (j + 1 + colour) % 2, o + j * w - 1, w)


@kernel
def _cycle(
    start: Counts, shape: Counts, cx: Single, cy: Single, inverse: Single, line: Single, u: Single, f: Single, s: Single
) -> None:
    """One symmetric V-cycle from zero: u on the finest level approximates the solution for f.

    Coarse nodes have even row and column numbers, so both they and the cell centres (odd, odd) are of the even colour,
    the nodes on the coarse lines of the odd one.  Even first, odd second on the way down: the residual is then zero on
    the lines.  Odd first, even second on the way up: what interpolation gives the lines is never needed itself.
    """
    last = shape.shape[0] - 1
    for n in range(last + 1):
        _relax(cx, cy, inverse, u, f, start[n], shape[n, 0], shape[n, 1], 0, True)
        if n < last:
            _restrict(start, shape, n, cx, cy, inverse, line, u, f, s)
    for _ in range(COARSEST_SWEEPS):
        _relax(cx, cy, inverse, u, f, start[last], shape[last, 0], shape[last, 1], 0, False)
    for _ in range(COARSEST_SWEEPS):
        _relax(cx, cy, inverse, u, f, start[last], shape[last, 0], shape[last, 1], 1, False)
    _relax(cx, cy, inverse, u, f, start[last], shape[last, 0], shape[last, 1], 1, False)
    for n in range(last - 1, -1, -1):
        _prolong(start, shape, n, cx, cy, inverse, line, u, s)
        _relax(cx, cy, inverse, u, f, start[n], shape[n, 0], shape[n, 1], 1, False)


@kernel
def _restrict(
    start: Counts,
    shape: Counts,
    n: int,
    cx: Single,
    cy: Single,
    inverse: Single,
    line: Single,
    u: Single,
    f: Single,
    s: Single,
) -> None:
    """Set f of level n + 1 to the transpose of :func:`_prolong` applied to the residual of level n (zero on lines)."""
    o, rows, w = start[n], shape[n, 0], shape[n, 1]
    for j in range(1, rows - 1):
        for k in range(o + j * w + 2 - j % 2, o + (j + 1) * w - 1, 2):
            around = cx[k - 1] * u[k - 1] + cx[k] * u[k + 1] + cy[k - w] * u[k - w] + cy[k] * u[k + w]
            s[k] = inverse[k] * (f[k] + around) - u[k]
    for j in range(1, rows - 1):
        if j % 2 == 0:
            for k in range(o + j * w + 1, o + (j + 1) * w - 1, 2):
                s[k] = line[k] * (cy[k - w] * s[k - w] + cy[k] * s[k + w])
        else:
            for k in range(o + j * w + 2, o + (j + 1) * w - 1, 2):
                s[k] = line[k] * (cx[k - 1] * s[k - 1] + cx[k] * s[k + 1])
    below, columns = start[n + 1], shape[n + 1, 1]
    for j in range(1, shape[n + 1, 0] - 1):
        for i in range(1, columns - 1):
            k = o + 2 * j * w + 2 * i
            own = s[k] / inverse[k] if inverse[k] > 0.0 else np.float32(0.0)
            f[below + j * columns + i] = (
                own + cx[k - 1] * s[k - 1] + cx[k] * s[k + 1] + cy[k - w] * s[k - w] + cy[k] * s[k + w]
            )


@kernel
def _prolong(
    start: Counts, shape: Counts, n: int, cx: Single, cy: Single, inverse: Single, line: Single, u: Single, s: Single
) -> None:
    """Add level n + 1's correction to level n: copied to coarse nodes, to lines and centres by their own equation."""
    o, rows, w = start[n], shape[n, 0], shape[n, 1]
    below, columns = start[n + 1], shape[n + 1, 1]
    for j in range(1, shape[n + 1, 0] - 1):
        for i in range(1, columns - 1):
            k = o + 2 * j * w + 2 * i
            s[k] = u[below + j * columns + i]
            u[k] += s[k]
    # Coarse nodes that the coarse grid has no room for (the last row or column of an even count) are corrected by 0.
    for j in range(1, rows - 1):
        if j % 2 == 0:
            for k in range(o + j * w + 1, o + (j + 1) * w - 1, 2):
                s[k] = line[k] * (cx[k - 1] * s[k - 1] + cx[k] * s[k + 1])
        else:
            for k in range(o + j * w + 2, o + (j + 1) * w - 1, 2):
                s[k] = line[k] * (cy[k - w] * s[k - w] + cy[k] * s[k + w])
    for j in range(1, rows - 1, 2):
        for k in range(o + j * w + 1, o + (j + 1) * w - 1, 2):
            around = cx[k - 1] * s[k - 1] + cx[k] * s[k + 1] + cy[k - w] * s[k - w] + cy[k] * s[k + w]
            u[k] += inverse[k] * around
