"""Where the mask of each layer lies in the window it peels from: distances to the clamped edge."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import require_positive

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def window_bins(width_m: float, depth_m: float, step_m: float) -> int:
    """Return how many distance bins of `step_m` lie between the clamped edge and the middle of the window.

    Examples
    --------
    >>> window_bins(0.176, 0.112, 0.001)
    57
    """
    require_positive(width_m=width_m, depth_m=depth_m, step_m=step_m)
    return math.floor(min(width_m, depth_m) / 2.0 / step_m) + 1


def add_span(
    row: NDArray[np.int32],
    x0_m: Floats,
    x1_m: Floats,
    layer_start: NDArray[np.int64],
    *,
    first_row_m: float,
    pitch_m: float,
    offset_m: tuple[float, float],
    window_m: tuple[float, float],
    span_m: Floats,
) -> None:
    """Raise every layer's greatest distance from the clamped edge to that of one piece's mask, in place.

    The distance of a point of the mask from the clamped edge of a rectangular window is
    s = min(W/2 - abs(x), D/2 - abs(y)), below zero outside it.

    Parameters
    ----------
    row, x0_m, x1_m, layer_start : ndarray
        Runs of solid: row index, ends along x [m], and where each layer's runs start.
    first_row_m, pitch_m : float
        Height of the middle of row 0 along y and distance between rows [m].
    offset_m : tuple of float
        Where the piece's own origin stands, from the window's centre [m].
    window_m : tuple of float
        Width and depth of the window [m].
    span_m : (N,) ndarray
        Greatest distance so far [m]; raised where this piece reaches further in.

    Notes
    -----
    Rounded corners are left out: near one the clamped edge is closer than computed, so the span is on the safe side.

    Examples
    --------
    >>> import numpy as np
    >>> span = np.zeros(1)
    >>> add_span(np.array([0], dtype=np.int32), np.array([-0.01]), np.array([0.01]), np.array([0, 1]),
    ...          first_row_m=0.0, pitch_m=0.001, offset_m=(0.0, 0.0), window_m=(0.1, 0.06), span_m=span)
    >>> float(span[0])
    0.03
    """
    require_positive(pitch_m=pitch_m, width_m=window_m[0], depth_m=window_m[1])
    place = (first_row_m + offset_m[1], pitch_m, offset_m[0], window_m[0] / 2.0, window_m[1] / 2.0)
    _span(row, x0_m, x1_m, layer_start, place, span_m)


@kernel
def _span(row: Any, x0: Any, x1: Any, start: Any, place: Any, span: Any) -> None:
    first_y, pitch, dx, half_w, half_d = place
    for layer in range(start.shape[0] - 1):
        for run in range(start[layer], start[layer + 1]):
            a, b = x0[run] + dx, x1[run] + dx
            nearest = 0.0 if a < 0.0 < b else min(abs(a), abs(b))
            span[layer] = max(span[layer], min(half_w - nearest, half_d - abs(first_y + row[run] * pitch)))


@kernel
def _spread(line: Any, lo: float, hi: float, from_edge_y: float, pitch: float, step: float, bins: int) -> None:
    """Share a piece of a row, at distances lo to hi from a side edge, among the distance bins."""
    flat_from = min(max(from_edge_y, lo), hi)
    if hi > flat_from:
        cell = min(max(int(from_edge_y / step), 0), bins - 1)
        line[cell] += (hi - flat_from) * pitch
    s = lo
    while s < flat_from:
        cell = min(int(s / step), bins - 1)
        end = flat_from if cell == bins - 1 else min((cell + 1) * step, flat_from)
        if end <= s:
            end = min(s + step, flat_from)
        line[cell] += (end - s) * pitch
        s = end
