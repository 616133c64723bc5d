"""From what every world needs to one value a controller can take."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.records.machine import Obeys, Rule

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

BENCH_STEPS = {"s": (0.1, 1.0), "mm": (1.0e-4, 1.0e-4), "mm_s": (1.0e-4, 1.0e-4)}
"""Steps in which people set values, SI: below ten units, and from ten units on; common practice, no source."""

UNLIMITED = Rule(obeys=Obeys.YES).maximum
"""The limit of a controller of which nobody stated one, SI."""

COARSE_FROM_S = 10.0
SAME = 1.0e-9
"""Relative difference below which two values are one: far above rounding, far below any step [-]."""


def covering(values: Floats, share: float) -> float:
    """Return the value that covers `share` of the worlds in which any value will do; infinite where there is none.

    A world that no value of this setting can save has no say in it: what it lacks is something else, and the chance that
    the run holds tells.

    Examples
    --------
    >>> import numpy as np
    >>> covering(np.array([1.0, 2.0, 3.0, 4.0, 5.0, np.inf]), 0.8)
    4.0
    """
    finite = values[np.isfinite(values)]
    return float(np.quantile(finite, share, method="inverted_cdf")) if len(finite) else math.inf


def covering_layers(values: Floats, share: float) -> Floats:
    """Return :func:`covering` for every layer of (S, N) worlds and layers, 0 where no value will do in any world, (N,).

    Examples
    --------
    >>> import numpy as np
    >>> covering_layers(np.array([[1.0, np.inf], [2.0, np.inf], [np.inf, np.inf]]), 0.9).tolist()
    [2.0, 0.0]
    """
    ordered = np.sort(values, axis=0)
    finite = np.isfinite(values).sum(axis=0)
    last = np.maximum(np.ceil(share * finite - SAME).astype(np.int64) - 1, 0)
    picked = np.take_along_axis(ordered, last[None, :], axis=0)[0]
    return np.asarray(np.where(finite > 0, picked, 0.0))


def settable(wanted: float, *, unit: str, rule: Rule, proven: float, up: bool | None) -> float:
    """Return the value a person would set: in whole steps, within the controller's limits, SI.

    Parameters
    ----------
    wanted : float
        What is needed, SI.
    unit : str
        Bench unit of the setting.
    rule : Rule
        The controller's limits and step.
    proven : float
        The proven value; kept to the last digit where it is what is wanted, SI.
    up : bool or None
        Round up (a demand), down (a limit) or, with None, to the nearest.

    Returns
    -------
    float
        SI.

    Examples
    --------
    >>> from vatwright.records.machine import Obeys
    >>> settable(4.23, unit="s", rule=Rule(obeys=Obeys.YES, step=0.5), proven=2.0, up=True)
    4.5
    """
    if math.isinf(wanted):
        return proven if rule.maximum == UNLIMITED else rule.maximum
    fine, coarse = BENCH_STEPS[unit]
    step = max(rule.step, coarse if unit == "s" and wanted >= COARSE_FROM_S else fine)
    if abs(wanted - proven) <= SAME * max(abs(proven), step):
        value = proven
    else:
        steps = wanted / step
        whole = round(steps) if up is None else math.ceil(steps - 1e-6) if up else math.floor(steps + 1e-6)
        # Whole steps are counted; dividing by their reciprocal where it is whole keeps 4.2 from becoming 4.2000000000000002.
        value = round(whole * step, 12)
    return min(max(value, rule.minimum), rule.maximum)
