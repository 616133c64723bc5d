"""The whole-platform pressure solve against general sparse solvers, at equal error.

All solvers get the same linear system
(assembled here, from the same cut grid); each is stopped where the relative error of the squeeze integral first is
within the same bound. Assembling is not counted for the others; for ours it is part of the time.
"""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np
import pyamg
import scipy.sparse as sp
import scipy.sparse.linalg as spl

from benchmarks.rounds import Row, medians
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
ALGEBRAIC_ERROR = 1e-6  # relative, of the squeeze integral; far below the discretization error (1e-4 and up)


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


def loosest_residual(solver: Callable[..., np.ndarray], matrix: sp.csr_matrix, load: np.ndarray, exact: float) -> float:
    """Return the loosest residual at which a solver's integral is within the allowed algebraic error."""
    for residual in 10.0 ** -np.arange(2.0, 13.0, 0.5):
        if abs(load @ solver(matrix, load, residual) / exact - 1) <= ALGEBRAIC_ERROR:
            return residual
    return 1e-13


def tables() -> list[tuple[str, list[Row]]]:
    """One table for each size of grid."""
    found = []
    for cells in (256, 512, 1024):
        grid = platform_grid(OUTLINE, HOLES, cells=cells)
        matrix, load = system(grid)
        exact = load @ pyamg.ruge_stuben_solver(matrix).solve(load, tol=1e-13, accel="cg")
        field = squeeze_field(grid, 1.0)
        error = abs((field.psi_per_m * field.weight_m2).sum() / exact - 1)
        calls: dict[str, Callable[[], object]] = {"ours": partial(squeeze_field, grid, 1.0)}
        for name, solver in RIVALS.items():
            if cells <= 512 or "pyamg" in name:
                calls[name] = partial(solver, matrix, load, loosest_residual(solver, matrix, load, exact))
        spent = medians(3, **calls)
        rows = [
            Row("base pressure", spent["ours"], spent[name], name, 20.0 if "pyamg" in name else 0.0)
            for name in calls
            if name != "ours"
        ]
        found.append(
            (
                f"{len(load):,} unknowns; error of the integral: ours {error:.0e}, others within {ALGEBRAIC_ERROR:.0e}",
                rows,
            )
        )
    return found
