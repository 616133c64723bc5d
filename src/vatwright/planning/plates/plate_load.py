"""A plate known only by tape measure, turned into the study it stands for."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.geometry.plate_release import CELLS
from vatwright.geometry.release_front import WindowGrid, rectangular_window, release
from vatwright.planning.plates.packing import PieceKind, pack
from vatwright.records.machine import Platform, Window
from vatwright.records.part import MARGIN_M, PlateLoad
from vatwright.records.study import Reach, Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SLENDER_SHARE = 0.4
"""Torsion constant of a real section as a share of the disc of equal area [-].

The disc is the upper bound A^2/(2 pi) (Polya 1948); sections of real parts are slender or hollow.  Engineering estimate."""


TURN = np.linspace(0.0, 2.0 * math.pi, 32, endpoint=False)
CIRCLE = np.column_stack((np.cos(TURN), np.sin(TURN)))
"""Outline that stands for a disc when plates are laid out, (32, 2), over its radius [-]."""


def study_of_load(load: PlateLoad, *, layer_nm: int, layers: int, platform: Platform, window: Window) -> Study:
    """Return the study that a counted plate load stands for: constant sections, spread as stated.

    Parameters
    ----------
    load : PlateLoad
        Pieces, section, height and reach.
    layer_nm : int
        Layer thickness [nm].
    layers : int
        Layers of the tallest piece.
    platform, window : Platform, Window
        Where it stood, and what it peels from.

    Returns
    -------
    Study
        Every layer alike; its torsion constant is `SLENDER_SHARE` of the discs' upper bound.

    Notes
    -----
    An estimate: it knows nothing of area jumps.  The layers are those of a plate whose pieces have one section throughout.
    Pieces are taken as discs, laid out as any plate is when nobody places them; with a `reach` below 1 that share as far
    from the middle.  Beside the bare platform they squeeze as discs there of the same torsion constant.

    Examples
    --------
    >>> load = PlateLoad(pieces=6, section_m2=4e-4, height_m=0.05)
    >>> platform, window = Platform(width_m=0.15, depth_m=0.092), Window(width_m=0.176, depth_m=0.112)
    >>> study = study_of_load(load, layer_nm=50_000, layers=1000, platform=platform, window=window)
    >>> study.layers, round(float(study.area_m2[0]), 6)
    (1000, 0.0024)

    References
    ----------
    Polya, "Torsional rigidity, principal frequency, electrostatic capacity and symmetrization", Q. Appl. Math. 6 (1948)
    267-277: J <= A^2/(2 pi). [polya:1948]
    """
    ones, radius_m = np.ones(layers), math.sqrt(load.section_m2 / math.pi)
    spots_m = load.reach * _spots(load.pieces, radius_m, platform)
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
        reach=_reach(load, spots_m, layers=layers, window=window, diameter_m=diameter),
        assumed_outlines_m=tuple(SLENDER_SHARE**0.25 * radius_m * CIRCLE + spot for spot in spots_m),
    )


def _reach(load: PlateLoad, spots_m: Floats, *, layers: int, window: Window, diameter_m: float) -> Reach:
    radius_m = 0.5 * diameter_m
    grid = rectangular_window(window.width_m, window.depth_m, cells=CELLS)
    found = release(_discs(spots_m, grid, radius_m), grid)
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


def _discs(spots_m: Floats, grid: WindowGrid, radius_m: float) -> Floats:
    """Cover of discs in a window."""
    away = np.full(grid.inside_m.shape, np.inf)
    for x, y in spots_m:
        away = np.minimum(away, np.hypot(grid.x_m[None, :] - x, grid.y_m[:, None] - y))
    return np.asarray(np.clip(0.5 + (radius_m - away) / grid.pitch_m, 0.0, 1.0))


def _spots(pieces: int, radius_m: float, platform: Platform) -> Floats:
    """Where discs stand: as they are laid out, or in even rows where discs of their area find no room, (P, 2) [m]."""
    disc = PieceKind(loops_m=(radius_m * CIRCLE,))
    packed = pack([disc], [pieces], platform)
    if len(packed.plates) == 1:
        return np.array([(p.place.x_m, p.place.y_m) for p in packed.plates[0]])
    half = [max(side / 2.0 - MARGIN_M - radius_m, 0.0) for side in (platform.width_m, platform.depth_m)]
    across = max(1, math.ceil(math.sqrt(pieces * max(half[0], radius_m) / max(half[1], radius_m))))
    down = math.ceil(pieces / across)
    return np.array([(half[0] * _even(k % across, across), half[1] * _even(k // across, down)) for k in range(pieces)])


def _even(k: int, count: int) -> float:
    return 2.0 * k / (count - 1) - 1.0 if count > 1 else 0.0
