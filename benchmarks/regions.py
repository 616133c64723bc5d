"""Islands, fresh islands and sealed holes against an OpenCV chain; torsion against pyamg on the layer's whole grid."""

from __future__ import annotations

import cv2
import numpy as np
import pyamg

from benchmarks.rounds import Row, medians
from vatwright.geometry.layer_torsion import layer_torsion
from vatwright.geometry.region_track import connect
from vatwright.geometry.spans import row_pitch, spans

BOUNDS_M = (0.0, 0.0, 0.3, 0.165)
PITCH_M = 1e-4
SHIFT = 8  # binary digits of a pixel that OpenCV takes


def ring(copy: int, n: int, layers: int) -> list[np.ndarray]:
    """The loops of one lantern ring with a bore, changing slowly with height; its foot is closed."""
    angle = 2 * np.pi * np.arange(180) / 180
    swell = 0.12 * np.sin(3.0 * n / layers + 0.3 * copy)
    r = 0.0125 * (0.8 + swell * (1.0 + 0.3 * np.cos((3 + copy % 7) * angle)))
    loop = r[:, None] * np.c_[np.cos(angle), np.sin(angle)]
    centre = np.array([0.02 + 0.036 * (copy % 8), 0.03 + 0.05 * (copy // 8)])
    return [loop + centre, 0.45 * loop[::-1] + centre] if n > 20 else [loop + centre]


def plate(layers: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """24 rings, each its own shape, as sections."""
    every = [[loop for copy in range(24) for loop in ring(copy, n, layers)] for n in range(layers)]
    loops = [loop for layer in every for loop in layer]
    return np.vstack(loops), np.cumsum([0, *map(len, loops)]), np.cumsum([0, *map(len, every)])


def drawn(loops: list[np.ndarray]) -> np.ndarray:
    """A layer as pixels of the row pitch, filled by OpenCV with its fractions of a pixel."""
    mask = np.zeros((1650, 3000), np.uint8)
    at = [np.round((loop / PITCH_M - 0.5) * (1 << SHIFT)).astype(np.int32) for loop in loops]
    cv2.fillPoly(mask, at, 1, shift=SHIFT)
    return mask


def by_opencv(layers: list[list[np.ndarray]]) -> list[tuple[int, int, int]]:
    """Islands, fresh islands and sealed holes of each layer, by drawing and labelling pixels."""
    before = np.ones((1650, 3000), np.uint8)
    vented_before = np.zeros((1650, 3000), bool)
    counts = []
    for loops in layers:
        mask = drawn(loops)
        islands, label = cv2.connectedComponents(mask, connectivity=8, ltype=cv2.CV_32S)
        held = np.zeros(islands, bool)
        held[label[before > 0]] = True
        voids, void = cv2.connectedComponents(1 - mask, connectivity=4, ltype=cv2.CV_32S)
        vented = np.zeros(voids, bool)
        vented[np.concatenate((void[0], void[-1], void[:, 0], void[:, -1]))] = True
        vented[void[vented_before]] = True
        vented[0] = False
        counts.append((islands - 1, int((~held[1:]).sum()), int((~vented[1:]).sum())))
        before, vented_before = mask, vented[void]
    return counts


def by_full_grid(mask: np.ndarray) -> None:
    """One layer's Poisson equation on the pixel grid, by pyamg."""
    inside = np.flatnonzero(mask.ravel())
    matrix = pyamg.gallery.poisson(mask.shape, format="csr")[inside][:, inside]
    pyamg.ruge_stuben_solver(matrix).solve(np.ones(len(inside)), tol=1e-6, accel="cg")


def table(layers: int = 400) -> tuple[str, list[Row]]:
    """Ours on all layers, the libraries on some; counts of all must be the same."""
    outlines = plate(layers)
    ruling = row_pitch(BOUNDS_M, finest_m=PITCH_M)._asdict()
    first, some = 15, 10
    few = [[loop for copy in range(24) for loop in ring(copy, n, layers)] for n in range(first, first + some)]
    runs = spans(*outlines, **ruling)
    regions = connect(runs, thickness_m=5e-5)
    ours = [
        (int(np.diff(regions.island_start)[n]), int(regions.fresh[regions.island_start[n] : regions.island_start[n + 1]].sum()),
         int(regions.hole_sealed[regions.hole_start[n] : regions.hole_start[n + 1]].sum()))
        for n in range(first, first + some)
    ]  # fmt: skip
    if by_opencv(few) != ours:
        raise AssertionError(f"the counts differ: {by_opencv(few)} and ours {ours}")
    middle = drawn([loop for copy in range(24) for loop in ring(copy, layers // 2, layers)])
    spent = medians(
        2,
        ours=lambda: connect(spans(*outlines, **ruling), thickness_m=5e-5),
        opencv=lambda: by_opencv(few),
        torsion=lambda: layer_torsion(*outlines, spans=runs, regions=regions),
        pyamg=lambda: by_full_grid(middle),
    )
    rows = [
        Row("islands, fresh, pockets", spent["ours"] / layers, spent["opencv"] / some, "OpenCV, same counts", 10.0),
        Row("torsion", spent["torsion"] / layers, spent["pyamg"], "pyamg on the whole grid", 100.0),
    ]
    return f"a layer of 24 rings, each its own shape, 300 x 165 mm, rows of 0.1 mm ({layers} layers)", rows
