"""Numbers as the data for other programs hold them: bench units, nine places, null for what is not finite."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.numbers import bench
from vatwright.units import BENCH_UNITS

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.after import Span

PLACES = 9


def number(value: float, unit: str = "s") -> float | None:
    """Return an SI value in a bench unit, rounded to nine places; null stands for what is not finite."""
    return None if not math.isfinite(value) else round(bench(float(value), unit), PLACES) + 0.0


def numbers(values: NDArray[np.float64], unit: str = "s") -> list[float | None]:
    """Return an SI array in a bench unit as a list."""
    times, over = (BENCH_UNITS[unit].times, BENCH_UNITS[unit].over)
    scaled = np.asarray(values, dtype=np.float64) * over / times
    return [round(v, PLACES) + 0.0 if math.isfinite(v) else None for v in scaled.tolist()]


def span(value: Span, unit: str = "s") -> dict[str, float | None]:
    """Return a number with its range."""
    return {k: number(getattr(value, k), unit) for k in ("low", "value", "high")}
