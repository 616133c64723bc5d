"""By how much a reading not yet taken would narrow a number: from samples, by regression on what it would show."""

from __future__ import annotations

from itertools import combinations_with_replacement
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

DEGREE = 3
"""Degree of the regression for a reading of one number; for several numbers it is 2."""

LEAST_RANGE = 1e-9
"""Relative spread below which a number is certain and nothing can narrow it [-]."""


def share_left(*, wanted: Floats, shown: Floats) -> float:
    """Return the share of a number's standard deviation expected to be left once a reading has been taken [-].

    E[Var(q | y)] = Var(q) - Var(E[q | y]); E[q | y] is a polynomial in y fitted to samples of both.

    Parameters
    ----------
    wanted : (S,) ndarray
        The number, in every sample.
    shown : (S, K) ndarray
        What the reading would show in every sample, its own error included.

    Returns
    -------
    float
        Share; 1 where the reading says nothing, or there is nothing to narrow.

    Notes
    -----
    The share explained is corrected for the number of terms, so that noise explains nothing on average.

    Examples
    --------
    >>> import numpy as np
    >>> rng = np.random.default_rng(1)
    >>> q = rng.standard_normal(20000)
    >>> round(share_left(wanted=q, shown=(q + rng.standard_normal(20000))[:, None]), 2)
    0.71

    References
    ----------
    Strong, Oakley and Brennan, Medical Decision Making 34 (2014) 311-326. [strong:2014]
    """
    centred = wanted - wanted.mean()
    total = float(centred @ centred)
    if total <= (LEAST_RANGE * max(float(np.abs(wanted).max()), LEAST_RANGE)) ** 2 * len(wanted):
        return 1.0
    spread = shown.std(axis=0)
    kept = shown[:, spread > 0.0]
    if not kept.shape[1]:
        return 1.0
    y = np.clip((kept - kept.mean(axis=0)) / kept.std(axis=0), -4.0, 4.0)
    columns = [np.ones(len(y))]
    for degree in range(1, (DEGREE if y.shape[1] == 1 else 2) + 1):
        columns += [np.prod(y[:, list(c)], axis=1) for c in combinations_with_replacement(range(y.shape[1]), degree)]
    design = np.column_stack(columns)
    left = centred - design @ np.linalg.lstsq(design, centred, rcond=None)[0]
    spare = max(len(wanted) - design.shape[1], 1)
    return float(np.sqrt(min(float(left @ left) / total * (len(wanted) - 1) / spare, 1.0)))
