"""How a film lets go of every layer of a plate: solved where outlines change, by a rule calibrated to it in between."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.geometry.release_front import Release, WindowGrid, add_cover, rectangular_window, release, thickened
from vatwright.geometry.release_rule import rule_reach_m

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.spans import Spans

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

CELLS = 64
"""Cells along the window's long side: closed forms within 2 % there, in a tenth of a second a layer."""

SOLVED = 7
"""Layers solved for a plate at most."""

RULED = 24
"""Layers to which the rule is put at most; straight lines join them."""

SAME = 0.02
"""Layers whose areas differ by less than this share are taken as alike [-]."""


class Placed(NamedTuple):
    """Runs of solid where they stand on a plate.

    Parameters
    ----------
    runs : Spans
        Runs of the layers from `first_layer` on.
    shift_m : tuple of float
        Where their own origin stands, from the window's centre [m].
    first_layer : int
        Number of their first layer on the plate [-].
    """

    runs: Spans
    shift_m: tuple[float, float]
    first_layer: int


class PlateRelease(NamedTuple):
    """How a film lets go of each layer of a plate.

    Parameters
    ----------
    reach_m, front_m : (N,) ndarray
        Rise at which the last point lets go over tan(theta), and peak of the pull over T tan(theta) [m].
    peak_layer : int
        The layer with the greatest pull that was solved.
    rise_m, pull_m : (K,) ndarray
        Its way: rise over tan(theta), and pull over T tan(theta) [m].
    solved : (M,) ndarray of int
        Layers that were solved; the others are by the rule.
    """

    reach_m: Floats
    front_m: Floats
    peak_layer: int
    rise_m: Floats
    pull_m: Floats
    solved: Counts


def plate_release(
    pieces: Sequence[Placed], *, window_m: tuple[float, float], area_m2: Floats, perimeter_m: Floats
) -> PlateRelease:
    """Return how a film in a rectangular window lets go of every layer of a plate.

    Parameters
    ----------
    pieces : sequence of Placed
        What stands on the plate.
    window_m : tuple of float
        Width and depth of the window [m].
    area_m2, perimeter_m : (N,) ndarray
        Of each layer.

    Returns
    -------
    PlateRelease
        Lengths.

    Notes
    -----
    The rule is put to layers spread over what changes; the front is solved on the longest outline, on some between, and on
    whatever needs the greatest lift; the ratio of the two is carried between neighbours.  A front is never longer than the
    outline.
    """
    grid = rectangular_window(*window_m, cells=CELLS)
    marks = _marks(area_m2, perimeter_m)
    covers = [thickened(_cover(pieces, grid, int(k))) for k in marks]
    rule = np.array([rule_reach_m(c, grid, width_m=window_m[0], depth_m=window_m[1]) for c in covers])
    solved = {k: release(covers[k], grid) for k in _chosen(marks, rule, perimeter_m[marks])}
    at_marks = _calibrated(marks, rule, solved)
    while len(solved) < SOLVED and int(np.argmax(at_marks)) not in solved:
        # What decides the lift of a plate is always a solution.
        k = int(np.argmax(at_marks))
        solved[k] = release(covers[k], grid)
        at_marks = _calibrated(marks, rule, solved)
    chosen = np.array(sorted(solved), dtype=np.int64)
    found = [solved[k] for k in chosen.tolist()]
    layers = np.arange(len(area_m2))
    reach = np.minimum(np.interp(layers, marks, at_marks), max(f.reach_m for f in found))
    # Between solutions a front goes with the root of the area, as that of a growing outline does.
    size = np.sqrt(area_m2)
    front = size * np.interp(layers, marks[chosen], _over([f.front_m for f in found], size[marks[chosen]]))
    front = np.minimum(front, perimeter_m)
    peak = int(np.argmax([min(f.front_m, perimeter_m[marks[k]]) for f, k in zip(found, chosen, strict=True)]))
    share = min(1.0, float(front[marks[chosen[peak]]]) / max(found[peak].front_m, 1e-12))
    return PlateRelease(
        reach, front, int(marks[chosen[peak]]), found[peak].rise_m, found[peak].pull_m * share, marks[chosen]
    )


def _calibrated(marks: Counts, rule: Floats, solved: dict[int, Release]) -> Floats:
    """The rule at the layers it was put to, times what solutions are of it, carried between neighbours."""
    chosen = sorted(solved)
    return rule * np.interp(marks, marks[chosen], _over([solved[k].reach_m for k in chosen], rule[chosen]))


def _over(solved: Sequence[float], by_rule: Floats) -> Floats:
    return np.asarray(solved) / np.where(by_rule > 0.0, by_rule, np.inf)


def _marks(area_m2: Floats, perimeter_m: Floats) -> Counts:
    """Layers between which little changes, at most RULED of them, the first and the last among them."""
    last = len(area_m2) - 1
    change = np.abs(np.diff(np.log(np.maximum([area_m2, perimeter_m], 1e-12)), axis=1)).sum(axis=0)
    passed = np.concatenate(([0.0], np.cumsum(np.where(change > 1e-9, change, 0.0))))
    steps = min(int(passed[-1] / SAME) + 1, RULED // 3)
    at = np.searchsorted(passed, np.linspace(0.0, passed[-1], steps + 1), side="left")
    even = np.linspace(0, last, RULED // 3).astype(np.int64)
    jumps = np.argsort(change)[::-1][: RULED // 3]
    jumps = jumps[change[jumps] > SAME]
    found = np.unique(np.clip(np.concatenate((even, at, jumps, jumps + 1)), 0, last))
    return np.asarray(found[area_m2[found] > 0.0] if (area_m2[found] > 0.0).any() else found[:1], dtype=np.int64)


def _chosen(marks: Counts, rule: Floats, perimeter_m: Floats) -> list[int]:
    """Which of the layers ruled are solved first: the greatest by the rule, the longest outline, the first, some between."""
    even = np.searchsorted(marks, np.linspace(marks[0], marks[-1], 2 * SOLVED - 5)[1::2])
    picks = [int(np.argmax(rule)), int(np.argmax(perimeter_m)), 0, *(int(k) for k in even)]
    return list(dict.fromkeys(picks))[: SOLVED - 2]


def _cover(pieces: Sequence[Placed], grid: WindowGrid, layer: int) -> Floats:
    cover = np.zeros(grid.inside_m.shape)
    for runs, shift_m, first in pieces:
        if not 0 <= layer - first < runs.layers:
            continue
        here = slice(int(runs.layer_start[layer - first]), int(runs.layer_start[layer - first + 1]))
        add_cover(
            cover, grid, runs.row[here], runs.x0_m[here], runs.x1_m[here],
            first_row_m=runs.origin_m[1] + 0.5 * runs.pitch_m, pitch_m=runs.pitch_m, offset_m=shift_m,
        )  # fmt: skip
    return cover
