"""The coupled equations of resin and film under pieces and the bare platform around them, node by node.

A reference solver: no reduced law, no similarity.  h = z + w less what is printed where a node lies: under a piece the
film as the layer before left it, beside one nothing.  The step at a piece's edge conducts as two halves in series.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from scipy.sparse import coo_matrix

from vatwright.geometry.film_bow import FilmPress, film_grid

GAMMA = 1.0 - math.sqrt(0.5)  # Alexander's two-stage formula


class PlatformMarch:
    """Layers on a free film, one after another, from the first."""

    def __init__(self, window, platform, pieces, *, cells, layer_m, viscosity_pa_s, tension_n_m, speed_m_s):
        self.layer_m, self.viscosity, self.speed = layer_m, viscosity_pa_s, speed_m_s
        self.grid = grid = film_grid(window, [platform], cells=cells)
        self.bow = FilmPress(grid).bow_per_pa / tension_n_m
        own = film_grid(window, pieces, cells=cells)
        area = np.zeros(grid.window.inside.shape)
        area[own.row, own.column] = own.weight_m2
        self.piece_m2 = area[grid.row, grid.column]
        self.film = np.zeros(grid.nodes)
        self.layers = 0
        width = np.stack([0.5 * (grid.arm[2] + grid.arm[3])] * 2 + [0.5 * (grid.arm[0] + grid.arm[1])] * 2)
        self.faces, self.ends = [], []
        for side, near in enumerate(grid.under):
            i, k = np.flatnonzero(near >= 0), np.flatnonzero(near < 0)
            self.faces.append((i, near[i], 0.5 * (width[side, i] + width[side, near[i]])))
            self.ends.append((k, width[side, k] / grid.arm[side, k]))

    def layer(self, settle_s, share=0.3):
        """Mean and greatest gap under the pieces at the end of one more layer's settle."""
        printed = np.where(self.piece_m2 > 0.0, self.film, -self.layers * self.layer_m)
        deepest = max(float(printed.max()), 0.0)
        down = (deepest + 4e-3) * np.exp(-share * np.arange(int(math.log((deepest + 4e-3) / 1e-5) / share)))
        close = np.arange(deepest + 2e-4, 0.0, -share * 2e-4)
        heights = np.append(np.unique(np.concatenate((down, close)))[::-1], 0.0)
        p = np.zeros(self.grid.nodes)
        for a, b in pairwise(heights):
            p = self._advance(p, (a - b) / self.speed, self.layer_m + b, self.speed, printed)
        for step in np.diff(np.concatenate(([0.0], settle_s * np.geomspace(1e-3, 1.0, int(7.0 / share))))):
            p = self._advance(p, step, self.layer_m, 0.0, printed)
        self.film, self.layers = self.bow @ p, self.layers + 1
        gap = self.layer_m + self.film - printed
        return np.average(gap, weights=self.piece_m2), gap[self.piece_m2 > 0.0].max()

    def _advance(self, base, step, height, speed, printed):
        one = self._stage(base, base, GAMMA * step, height + speed * step * (1.0 - GAMMA), speed, printed)
        ahead = base + (1.0 - GAMMA) / GAMMA * (one - base)
        return self._stage(ahead, one, GAMMA * step, height, speed, printed)

    def _stage(self, base, p, step, height, speed, printed):
        weight = 12.0 * self.viscosity * self.grid.weight_m2
        storing = weight[:, None] * self.bow / step
        for _ in range(40):
            flow, slope = self._flow(np.maximum(height - printed + self.bow @ p, 2e-7), p)
            change = np.linalg.solve(
                storing + flow + slope @ self.bow, storing @ (p - base) - weight * speed + flow @ p
            )
            p = p - change
            if np.abs(change).max() <= 1e-5 * max(np.abs(p).max(), 1e-30):
                break
        return p

    def _flow(self, gap, p):
        """The flow as a matrix on pressures, and how it changes with the gaps."""
        rows, columns, flows, slope_rows, slope_columns, slopes = [], [], [], [], [], []
        for i, j, width in self.faces:
            a, b = gap[i] ** 3, gap[j] ** 3
            flow, push = width * 2.0 * a * b / (a + b), width * (p[i] - p[j]) * 6.0 / (a + b) ** 2
            rows, columns, flows = [*rows, i, i], [*columns, i, j], [*flows, flow, -flow]
            slope_rows, slope_columns = [*slope_rows, i, i], [*slope_columns, i, j]
            slopes += [push * b * b * gap[i] ** 2, push * a * a * gap[j] ** 2]
        for k, width in self.ends:
            rows, columns, flows = [*rows, k], [*columns, k], [*flows, width * gap[k] ** 3]
            slope_rows, slope_columns = [*slope_rows, k], [*slope_columns, k]
            slopes.append(width * 3.0 * gap[k] ** 2 * p[k])
        shape = (self.grid.nodes, self.grid.nodes)
        return (
            coo_matrix((np.concatenate(flows), (np.concatenate(rows), np.concatenate(columns))), shape).toarray(),
            coo_matrix((np.concatenate(slopes), (np.concatenate(slope_rows), np.concatenate(slope_columns))), shape).tocsr(),
        )  # fmt: skip
