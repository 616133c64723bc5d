"""A plate known only by tape measure, turned into the study it stands for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.geometry.plate_release import CELLS
from vatwright.geometry.release_front import WindowGrid, rectangular_window, release
from vatwright.records.machine import Window
from vatwright.records.part import PlateLoad
from vatwright.records.study import Reach, Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SLENDER_SHARE = 0.4
"""Torsion constant of a real section as a share of the disc of equal area [-].

The disc is the upper bound A^2/(2 pi) (Polya 1948); sections of real parts are slender or hollow.  Engineering estimate."""


def study_of_load(load: PlateLoad, *, layer_nm: int, layers: int, window: Window) -> Study:
    """Return the study that a counted plate load stands for: constant sections, spread as stated.

    Parameters
    ----------
    load : PlateLoad
        Pieces, section, height and reach.
    layer_nm : int
        Layer thickness [nm].
    layers : int
        Layers of the tallest piece.
    window : Window
        The window it peels from.

    Returns
    -------
    Study
        Every layer alike; its torsion constant is `SLENDER_SHARE` of the discs' upper bound.

    Notes
    -----
    An estimate: it knows nothing of area jumps.  The layers are those of a plate whose pieces have one section throughout.

    Examples
    --------
    >>> load = PlateLoad(pieces=6, section_m2=4e-4, height_m=0.05)
    >>> study = study_of_load(load, layer_nm=50_000, layers=1000, window=Window(width_m=0.18, depth_m=0.11))
    >>> study.layers, round(float(study.area_m2[0]), 6)
    (1000, 0.0024)

    References
    ----------
    Polya, "Torsional rigidity, principal frequency, electrostatic capacity and symmetrization", Q. Appl. Math. 6 (1948)
    267-277: J <= A^2/(2 pi). [polya:1948]
    """
    ones = np.ones(layers)
    area = load.pieces * load.section_m2
    diameter = 2.0 * math.sqrt(load.section_m2 / math.pi)
    torsion = load.pieces * SLENDER_SHARE * load.section_m2**2 / (2.0 * math.pi)
    return Study(
        layer_nm=layer_nm,
        height_m=load.height_m,
        volume_m3=area * load.height_m,
        area_m2=area * ones,
        perimeter_m=load.pieces * math.pi * diameter * ones,
        islands=np.full(layers, load.pieces, dtype=np.int64),
        torsion_m4=torsion * ones,
        pieces=load.pieces,
        surface_m2=load.pieces * (math.pi * diameter * load.height_m + 2.0 * load.section_m2),
        reach=_reach(load, layers=layers, window=window, diameter_m=diameter),
    )


def _reach(load: PlateLoad, *, layers: int, window: Window, diameter_m: float) -> Reach:
    grid = rectangular_window(window.width_m, window.depth_m, cells=CELLS)
    found = release(_discs(load, grid, 0.5 * diameter_m), grid)
    longest = load.pieces * math.pi * diameter_m
    return Reach(
        span_m=np.full(layers, min(window.width_m, window.depth_m) / 2.0),
        reach_m=np.full(layers, found.reach_m),
        front_m=np.full(layers, min(found.front_m, longest)),
        peak_layer=0,
        peak_rise_m=found.rise_m,
        peak_pull_m=np.minimum(found.pull_m, longest),
        solved=np.zeros(1, dtype=np.int64),
    )


def _discs(load: PlateLoad, grid: WindowGrid, radius_m: float) -> Floats:
    """Cover of the pieces as discs in even rows over as much of the window as they reach."""
    half = [max(0.9 * load.reach * float(side[-2]) - radius_m, 0.0) for side in (grid.x_m, grid.y_m)]
    across = max(1, math.ceil(math.sqrt(load.pieces * max(half[0], radius_m) / max(half[1], radius_m))))
    down = math.ceil(load.pieces / across)
    away = np.full(grid.inside_m.shape, np.inf)
    for k in range(load.pieces):
        x = half[0] * _even(k % across, across)
        y = half[1] * _even(k // across, down)
        away = np.minimum(away, np.hypot(grid.x_m[None, :] - x, grid.y_m[:, None] - y))
    return np.asarray(np.clip(0.5 + (radius_m - away) / grid.pitch_m, 0.0, 1.0))


def _even(k: int, count: int) -> float:
    return 2.0 * k / (count - 1) - 1.0 if count > 1 else 0.0
