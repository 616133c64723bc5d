"""A plate known only by tape measure, turned into the study it stands for."""

from __future__ import annotations

import math

import numpy as np

from vatwright.records.machine import Window
from vatwright.records.part import PlateLoad
from vatwright.records.study import Reach, Study

SLENDER_SHARE = 0.4
"""Torsion constant of a real section as a share of the disc of equal area [-].

The disc is the upper bound A^2/(2 pi) (Polya 1948); sections of real parts are slender or hollow.  Engineering estimate."""

LEVEL_STEP_M = 0.001
"""Width of the distance bins of an assumed mask [m]."""


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
    half_m = min(window.width_m, window.depth_m) / 2.0
    bins = max(1, round(half_m / LEVEL_STEP_M))
    lines = np.zeros(bins)
    inner = max(0, round((1.0 - load.reach) * bins * 0.8))
    # The pieces' area spread evenly over the distances they reach; level lines are area over bin width.
    lines[inner:] = load.pieces * load.section_m2 / max(half_m - inner * LEVEL_STEP_M, diameter_m)
    return Reach(
        span_m=np.full(layers, half_m),
        level_m=np.full(layers, float(lines.max())),
        step_m=LEVEL_STEP_M,
        peak_layer=0,
        peak_lines_m=lines,
    )
