"""A free film and the resin under pieces of any outline, step by step in time and node by node: a reference solver.

Also the slowest motion about an even gap, told as the stiffness of a rigid-plate law.  Neither is needed by any answer.
"""

from __future__ import annotations

import numpy as np
from attrs import frozen
from scipy.linalg import lu_factor, lu_solve
from scipy.sparse.linalg import splu

from vatwright.errors import InputError
from vatwright.geometry.film_bow import (
    FilmGrid,
    FilmPress,
    _conductance,
    _flow_slope,
    _laplacian,
    _window_number,
    slowest_motion,
)

Array = np.ndarray

MOST_NODES = 1600
"""Nodes under the pieces that the march in time takes at most: it keeps a dense matrix of them."""

STEPS_PER_EFOLD = 10
NEWTON_STEPS = 40
NEWTON_TOLERANCE = 1e-9
POWER_TOLERANCE = 1e-10
WIDE_STARTS_AT = 10.0
# L-stable two-stage diagonally implicit Runge-Kutta (Alexander 1977, eq. 2.2 with the smaller root).
GAMMA = 1.0 - np.sqrt(0.5)


def bowing_stiffness(grid: FilmGrid, *, tension_n_m: float) -> float:
    """Stiffness with which the rigid-plate law settles as pieces on a free film do in the end [N/m].

    Close to its rest plane the film obeys 12 mu dw/dt = h^3 lap p, T lap w = -p under the pieces, lap w = 0 beside them.
    Its slowest motion decays in tau = 12 mu / (lambda T h^3); k = J T lambda / 4 makes the rigid-plate law's
    3 mu J / (k h^3) the same time.
    """
    resin = splu(_conductance(grid, np.ones(grid.nodes), None).tocsc())
    film = splu(_laplacian(grid.window).tocsc())
    weight, at = grid.weight_m2, _window_number(grid.window)[grid.row, grid.column]
    torsion = 4.0 * float(weight @ resin.solve(weight))

    def relaxed(pressure: Array) -> Array:
        load = np.zeros(film.shape[0])
        load[at] = weight * pressure
        return np.asarray(resin.solve(weight * film.solve(load)[at]))

    _, growth = slowest_motion(relaxed, grid.nodes, tolerance=POWER_TOLERANCE)
    return torsion * tension_n_m / (4.0 * growth)


@frozen(kw_only=True, eq=False)
class FilmSqueeze:
    """What a film and the resin under pieces did while they came down and stood still.

    Parameters
    ----------
    time_s : (K,) ndarray
        Since the stop; negative while coming down [s].
    force_n : (K,) ndarray
        Force on the film [N].
    gap_m : (M,) ndarray
        Thickness of the resin at the grid's nodes in the end [m].
    force_left : float
        Force in the end as a share of that at the stop [-].
    """

    time_s: Array
    force_n: Array
    gap_m: Array
    force_left: float


def film_squeeze(
    grid: FilmGrid,
    *,
    viscosity_pa_s: float,
    tension_n_m: float,
    gap_m: float,
    descent_m_s: float,
    time_s: float,
    steps_per_efold: int = STEPS_PER_EFOLD,
) -> FilmSqueeze:
    """How thick the resin under pieces of any outline is some time after they stopped over a free film.

    h = z + w: the resin, div(h^3 grad p) = 12 mu dh/dt; the film, T lap(w) = -p under the pieces, lap(w) = 0 beside them;
    p = 0 at their edges, w = 0 at the clamp.  z falls at constant speed, from high up, to `gap_m`.  Finite volumes with
    edges cut where they are, second order in space and time.
    """
    if grid.nodes > MOST_NODES:
        raise InputError.one(
            "cells", f"put {grid.nodes} nodes under pieces, the march takes {MOST_NODES}", "Give fewer"
        )
    march = _March(grid, viscosity_pa_s=viscosity_pa_s, tension_n_m=tension_n_m)
    stiffness = bowing_stiffness(grid, tension_n_m=tension_n_m)
    torsion = march.torsion_m4
    # The height at which the descent would bow the film by about that height: force 3 mu J V / z^3 on its stiffness.
    bowing = (3.0 * viscosity_pa_s * torsion * descent_m_s / stiffness) ** 0.25
    times = _times(
        fall_s=WIDE_STARTS_AT * max(bowing, gap_m) / descent_m_s,
        settle_s=0.02 * 3.0 * viscosity_pa_s * torsion / (stiffness * max(bowing, gap_m) ** 3),
        hold_s=time_s,
        density=steps_per_efold,
    )
    force = np.zeros(len(times))
    for k in range(1, len(times)):
        falling = times[k] <= 0.0
        height = gap_m + (max(-times[k], 0.0)) * descent_m_s
        march.advance(times[k] - times[k - 1], height_m=height, fall_m_s=descent_m_s if falling else 0.0)
        force[k] = march.force_n
    stop = int(np.searchsorted(times, 0.0))
    return FilmSqueeze(
        time_s=times, force_n=force, gap_m=gap_m + march.bow_m, force_left=float(force[-1] / force[stop])
    )


class _March:
    """The pressure under the pieces, step by step; w follows from it: w = G a p / T."""

    def __init__(self, grid: FilmGrid, *, viscosity_pa_s: float, tension_n_m: float) -> None:
        press = FilmPress(grid)
        self.grid, self.press, self.viscosity_pa_s, self.tension_n_m = grid, press, viscosity_pa_s, tension_n_m
        self.weight_m2, self.torsion_m4 = press.weight_m2, press.torsion_m4
        self.bow_per_pa = press.bow_per_pa / tension_n_m
        self.pressure_pa = np.zeros(grid.nodes)

    @property
    def force_n(self) -> float:
        return float(self.weight_m2 @ self.pressure_pa)

    @property
    def bow_m(self) -> Array:
        return np.asarray(self.bow_per_pa @ self.pressure_pa)

    def advance(self, step_s: float, *, height_m: float, fall_m_s: float) -> None:
        """One step of the two-stage method, which ends at `height_m`; the fall is the same all through it."""
        base = self.pressure_pa
        first_height = height_m + fall_m_s * step_s * (1.0 - GAMMA)
        one = self._stage(base, base, GAMMA * step_s, first_height, fall_m_s)
        ahead = base + (1.0 - GAMMA) / GAMMA * (one - base)
        self.pressure_pa = self._stage(ahead, one, GAMMA * step_s, height_m, fall_m_s)

    def _stage(self, base: Array, guess: Array, step_s: float, height_m: float, fall_m_s: float) -> Array:
        """Newton's method for 12 mu (G a (p - base) / step - fall) + K(h) p = 0, all times the node's area."""
        storing = 12.0 * self.viscosity_pa_s * self.weight_m2[:, None] * self.bow_per_pa / step_s
        source = 12.0 * self.viscosity_pa_s * fall_m_s * self.weight_m2
        p = guess
        for _ in range(NEWTON_STEPS):
            gap = np.maximum(height_m + self.bow_per_pa @ p, 1e-3 * height_m)
            edge = np.maximum(height_m + self.press.edge_bow(p) / self.tension_n_m, 1e-3 * height_m)
            flow = _conductance(self.grid, gap, edge)
            residual = storing @ (p - base) - source + flow @ p
            slope = storing + flow.toarray() + _flow_slope(self.grid, gap, p) @ self.bow_per_pa
            change = lu_solve(lu_factor(slope, check_finite=False), residual, check_finite=False)
            p = p - change
            if np.abs(change).max() <= NEWTON_TOLERANCE * max(np.abs(p).max(), 1e-30):
                break
        return p


def _times(*, fall_s: float, settle_s: float, hold_s: float, density: int) -> Array:
    """Times of the march: steps are a fixed part of the time to or since the stop, and never below what settles at once."""
    down = (
        fall_s * np.exp(-np.arange(int(np.log(fall_s / settle_s) * density) + 1) / density)
        if settle_s < fall_s
        else [fall_s]
    )
    up = settle_s * np.expm1(np.arange(1, int(np.log1p(hold_s / settle_s) * density) + 1) / density)
    after = [t for t in up if t < hold_s * (1.0 - 1e-9)] + ([hold_s] if hold_s > 0.0 else [])
    return np.concatenate((-np.asarray(down), [0.0], after))
