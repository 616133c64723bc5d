"""The whole-platform pressure solve against general sparse solvers, at equal error.

Run `python benchmarks/pressure.py` for a table of ratios, or through asv.  All solvers get the same linear system
(assembled here, from the same cut grid); each is stopped at the same relative error of the squeeze integral.
"""

from __future__ import annotations

import time
from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pyamg
import scipy.sparse as sp
import scipy.sparse.linalg as spl

from vatwright.geometry.pressure import PlatformGrid, platform_grid, squeeze_field

if TYPE_CHECKING:
    from collections.abc import Callable

OUTLINE = np.array([[0.0, 0.0], [0.30, 0.0], [0.30, 0.165], [0.0, 0.165]])
ANGLE = np.linspace(0, 2 * np.pi, 60, endpoint=False)
HOLES = [
    np.array([x, y]) + 0.006 * np.stack([np.cos(ANGLE), np.sin(ANGLE)], axis=1)
    for x in (0.05, 0.15, 0.25)
    for y in (0.04, 0.125)
]
ALGEBRAIC_ERROR = 1e-7  # relative, of the squeeze integral; far below the discretization error (1e-4 and up)


def system(grid: PlatformGrid) -> tuple[sp.csr_matrix, np.ndarray]:
    """Return the sparse matrix and right-hand side for a gap of 1 m."""
    number = np.full(grid.inside.shape, -1)
    number[grid.inside] = np.arange(grid.inside.sum())
    conductance = np.where(grid.inside, 1.0 / np.where(grid.inside, grid.arm, 1.0), 0.0)
    rows, columns, values = [], [], []
    for side, step in ((1, (0, 1)), (3, (1, 0))):
        here = grid.joined[side]
        there = np.roll(number, (-step[0], -step[1]), (0, 1))
        rows += [number[here], there[here]]
        columns += [there[here], number[here]]
        values += [-conductance[side][here]] * 2
    size = int(grid.inside.sum())
    links = sp.coo_matrix((np.concatenate(values), (np.concatenate(rows), np.concatenate(columns))), (size, size))
    matrix = (links + sp.diags(conductance.sum(axis=0)[grid.inside])).tocsr()
    width = 0.25 * (grid.arm[0] + grid.arm[1]) * (grid.arm[2] + grid.arm[3])
    return matrix, (width * grid.pitch_m**2)[grid.inside]


def solve_pyamg_smoothed(matrix: sp.csr_matrix, load: np.ndarray, residual: float) -> np.ndarray:
    return pyamg.smoothed_aggregation_solver(matrix).solve(load, tol=residual, accel="cg")


def solve_pyamg_classical(matrix: sp.csr_matrix, load: np.ndarray, residual: float) -> np.ndarray:
    return pyamg.ruge_stuben_solver(matrix).solve(load, tol=residual, accel="cg")


def solve_direct(matrix: sp.csr_matrix, load: np.ndarray, _residual: float) -> np.ndarray:
    return spl.spsolve(matrix.tocsc(), load, permc_spec="MMD_AT_PLUS_A")


def solve_plain_cg(matrix: sp.csr_matrix, load: np.ndarray, residual: float) -> np.ndarray:
    inverse = sp.diags(1.0 / matrix.diagonal())
    return spl.cg(matrix, load, rtol=residual, M=inverse, maxiter=20000)[0]


RIVALS = {
    "pyamg, smoothed aggregation": solve_pyamg_smoothed,
    "pyamg, classical": solve_pyamg_classical,
    "scipy, direct": solve_direct,
    "scipy, conjugate gradients": solve_plain_cg,
}


class PlatformSolve:
    """asv suite: time of the grid and of the solve."""

    params = (128, 256, 512)
    param_names = ("cells",)

    def setup(self, cells: int) -> None:
        self.grid = platform_grid(OUTLINE, HOLES, cells=cells)
        squeeze_field(self.grid, 50e-6)

    def time_grid(self, cells: int) -> None:
        platform_grid(OUTLINE, HOLES, cells=cells)

    def time_solve(self, _cells: int) -> None:
        squeeze_field(self.grid, 50e-6)

    def peakmem_solve(self, _cells: int) -> None:
        squeeze_field(self.grid, 50e-6)


def seconds(calls: dict[str, Callable[[], object]], runs: int = 5) -> dict[str, float]:
    """Return the shortest time of each call, taking turns so that other work on the machine hits all alike."""
    spent: dict[str, list[float]] = {name: [] for name in calls}
    for _ in range(runs):
        for name, call in calls.items():
            began = time.perf_counter()
            call()
            spent[name].append(time.perf_counter() - began)
    return {name: min(times) for name, times in spent.items()}


def loosest_residual(solver: Callable[..., np.ndarray], matrix: sp.csr_matrix, load: np.ndarray, exact: float) -> float:
    """Return the loosest residual at which a solver's integral is within the allowed algebraic error."""
    for residual in 10.0 ** -np.arange(2.0, 13.0, 0.5):
        if abs(load @ solver(matrix, load, residual) / exact - 1) <= ALGEBRAIC_ERROR:
            return residual
    return 1e-13


def main() -> None:
    for cells in (128, 256, 512, 1024):
        grid = platform_grid(OUTLINE, HOLES, cells=cells)
        matrix, load = system(grid)
        exact = load @ pyamg.ruge_stuben_solver(matrix).solve(load, tol=1e-13, accel="cg")
        field = squeeze_field(grid, 1.0)
        error = abs((field.psi_per_m * field.weight_m2).sum() / exact - 1)
        calls: dict[str, Callable[[], object]] = {"ours, with assembly": partial(squeeze_field, grid, 1.0)}
        for name, solver in RIVALS.items():
            calls[name] = partial(solver, matrix, load, loosest_residual(solver, matrix, load, exact))
        spent = seconds(calls)
        print(f"{len(load)} unknowns; relative error of ours {error:.0e}, of the others up to {ALGEBRAIC_ERROR:.0e}")
        for name, best in spent.items():
            print(f"    {name:30s} {best * 1e3:9.1f} ms   {best / spent['ours, with assembly']:6.1f} x")


if __name__ == "__main__":
    main()
