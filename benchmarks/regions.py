"""Runs, islands, pockets and torsion of a plate: how long, beside general-purpose libraries in the same run.

Run with ``python benchmarks/regions.py [layers]``.  Times are medians; only the ratios carry over to another machine.
"""

from __future__ import annotations

import statistics
import sys
import time

import numpy as np
import pyamg
from scipy import ndimage

from vatwright.geometry.layer_torsion import layer_torsion
from vatwright.geometry.region_track import connect
from vatwright.geometry.spans import row_pitch, spans
from vatwright.geometry.torsion import region_torsion


def outline(copy: int, n: int, layers: int, *, alike: bool) -> list[np.ndarray]:
    """Return the loops of one lantern ring with a bore, changing slowly with height."""
    angle = 2 * np.pi * np.arange(180) / 180
    lobes = 5 if alike else 3 + copy % 7
    swell = 0.12 * np.sin(3.0 * n / layers + (0.0 if alike else 0.3 * copy))
    r = 0.0125 * (0.8 + swell * (1.0 + 0.3 * np.cos(lobes * angle)))
    ring = r[:, None] * np.c_[np.cos(angle), np.sin(angle)]
    centre = np.array([0.02 + 0.036 * (copy % 8), 0.03 + 0.05 * (copy // 8)])
    return [ring + centre, 0.45 * ring[::-1] + centre] if n > 20 else [ring + centre]


def plate(layers: int, *, alike: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    every = [[loop for copy in range(24) for loop in outline(copy, n, layers, alike=alike)] for n in range(layers)]
    loops = [loop for layer in every for loop in layer]
    return np.vstack(loops), np.cumsum([0, *map(len, loops)]), np.cumsum([0, *map(len, every)])


def median(call, times: int = 3) -> float:
    call()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def by_pixels(masks: list[np.ndarray]) -> None:
    """Label islands and holes and find fresh islands with scipy.ndimage."""
    before = None
    for mask in masks:
        label, count = ndimage.label(mask, structure=np.ones((3, 3)))
        ndimage.label(~mask)
        if before is not None:
            np.setdiff1d(np.arange(1, count + 1), np.unique(label[before]))
        before = mask


def by_full_grid(mask: np.ndarray) -> None:
    """Solve one layer's Poisson equation on the pixel grid with pyamg."""
    inside = np.flatnonzero(mask.ravel())
    matrix = pyamg.gallery.poisson(mask.shape, format="csr")[inside][:, inside]
    pyamg.ruge_stuben_solver(matrix).solve(np.ones(len(inside)), tol=1e-6, accel="cg")


def main(layers: int) -> None:
    bounds = (0.0, 0.0, 0.3, 0.165)
    for alike in (False, True):
        sections = plate(layers, alike=alike)
        ruling = row_pitch(bounds)._asdict()
        runs = spans(*sections, **ruling)
        regions = connect(runs, thickness_m=5e-5)
        islands = int(regions.island_start[-1])
        torsion = layer_torsion(*sections, spans=runs, regions=regions)
        print(f"\n{layers} layers, {islands} islands, {'copies' if alike else 'all different'}, pitch {runs.pitch_m} m")
        t_runs = median(lambda: spans(*sections, **ruling)) / layers  # noqa: B023
        t_connect = median(lambda: connect(runs, thickness_m=5e-5)) / layers  # noqa: B023
        t_torsion = median(lambda: layer_torsion(*sections, spans=runs, regions=regions))  # noqa: B023
        print(f"runs                      {1e3 * t_runs:8.3f} ms a layer")
        print(f"islands, links, pockets   {1e3 * t_connect:8.3f} ms a layer")
        print(f"torsion                   {1e3 * t_torsion / layers:8.3f} ms a layer, {torsion.solves} solves,"
              f" {1e6 * t_torsion / islands:.1f} us an island")  # fmt: skip
        if alike:
            continue
        masks = [painted(runs, n) for n in range(layers // 2, layers // 2 + 5)]
        t_pixels = median(lambda: by_pixels(masks)) / 5  # noqa: B023
        print(f"scipy.ndimage on pixels   {1e3 * t_pixels:8.3f} ms a layer: {t_pixels / (t_runs + t_connect):.0f} x")
        one = outline(0, layers // 2, layers, alike=False)
        flags = np.array([False, True])
        t_one = median(lambda: region_torsion(np.vstack(one), np.array([0, 180, 360]), loop_sealed=flags), 50)  # noqa: B023
        t_grid = median(lambda: by_full_grid(masks[0]))  # noqa: B023
        print(f"one region                {1e3 * t_one:8.3f} ms")
        print(f"pyamg on the layer's grid {1e3 * t_grid:8.3f} ms a layer of 24: {t_grid / 24 / t_one:.0f} x a region,"
              f" {t_grid / (t_torsion / layers):.0f} x the layer with keyframes")  # fmt: skip


def painted(runs, n: int) -> np.ndarray:
    """Return one layer as pixels of the row pitch."""
    mask = np.zeros((runs.rows, 3000), dtype=bool)
    for i in range(runs.layer_start[n], runs.layer_start[n + 1]):
        mask[runs.row[i], round(runs.x0_m[i] / runs.pitch_m) : round(runs.x1_m[i] / runs.pitch_m)] = True
    return mask


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
