"""The exact least-time schedule of changes by hand for a wait that a controller does not keep apart itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from attrs import frozen

from vatwright.compiled import kernel
from vatwright.errors import DomainError, require_not_negative, require_positive

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]

SNUG = 1e-6
"""Share of a step below which a demand counts as met: rounding, far below anything a stopwatch sees [-]."""

HOLD = -1


class HandChange(NamedTuple):
    """One change by hand.

    Parameters
    ----------
    at_s : float
        When: the start of the layer it is for [s].
    layer : int
        That layer, from 0.
    value_s : float
        The new value [s].
    late_ok_s, early_ok_s : float
        How late and how early the hand may be with every demand still met [s]; infinite where it only costs time.
    """

    at_s: float
    layer: int
    value_s: float
    late_ok_s: float
    early_ok_s: float


@frozen(kw_only=True, eq=False)
class HandSchedule:
    """What to set before the run and what to change during it.

    Parameters
    ----------
    start_s : float
        Value set before the run [s].
    visits : tuple of HandChange
        Changes during it, in order.
    settle_s : (N,) ndarray
        Value each layer gets [s].
    total_s : float
        Run time [s].
    alone_s, alone_total_s : float
        The best single value when nobody comes, and its run time [s].
    covers : bool
        Whether every demand is met.
    short_layer : int
        The layer whose demand exceeds the greatest value most; -1 where none does.
    short_by_s : float
        By how much [s].
    """

    start_s: float
    visits: tuple[HandChange, ...]
    settle_s: Floats
    total_s: float
    alone_s: float
    alone_total_s: float
    covers: bool
    short_layer: int
    short_by_s: float


def plan_visits(
    *,
    demand_s: Floats,
    rest_s: Floats,
    minimum_s: float = 0.0,
    maximum_s: float,
    step_s: float,
    visits: int,
    until_s: float = math.inf,
    late_s: float = 0.0,
    early_s: float = 0.0,
) -> HandSchedule:
    """Return the schedule of least total time that meets the demand of every layer.

    Parameters
    ----------
    demand_s : (N,) ndarray
        Least value each layer needs [s].
    rest_s : (N,) ndarray
        The rest of each layer's cycle [s]: the clock depends on the values chosen.
    minimum_s, maximum_s, step_s : float
        What the controller takes: whole steps between the limits [s].
    visits : int
        Greatest number of changes during the run; the value set before it is none.
    until_s : float
        Somebody is there from the start until then; every change happens by then [s].
    late_s, early_s : float
        How late or early a hand may be [s].

    Returns
    -------
    HandSchedule
        Exact: no schedule under these rules takes less time.

    Raises
    ------
    DomainError
        When a time is negative or not finite, or the arrays differ in length or are empty.

    Notes
    -----
    A layer gets the value in force at its start, and a change is due at the start of a layer.  A raise that comes `late_s`
    late must still come before the first layer the old value cannot serve; a lowering that comes `early_s` early must
    not reach a layer the new value cannot serve.  Layers within `early_s` before a lowering are counted at the new,
    shorter value, which counts too many rather than too few.  Where a demand exceeds the greatest value, the greatest value is taken
    for it and `covers` is false.

    Dynamic programme over layer, value in force and changes left.  Only demands rounded up to steps need be tried as
    values: any other can be lowered to one without breaking a rule, and takes longer.  Time O(N x values x visits).

    Examples
    --------
    >>> import numpy as np
    >>> plan = plan_visits(demand_s=np.array([30.0, 30.0, 2.0, 2.0, 2.0]), rest_s=np.full(5, 10.0), maximum_s=60.0,
    ...                    step_s=0.5, visits=1)
    >>> plan.start_s, [(v.layer, v.value_s, v.at_s) for v in plan.visits], plan.total_s, plan.alone_total_s
    (30.0, [(2, 2.0, 80.0)], 116.0, 200.0)

    References
    ----------
    Bellman, *Dynamic Programming* (1957), chapter 1, principle of optimality. [bellman:1957]
    """
    demand, rest = (np.ascontiguousarray(a, dtype=np.float64) for a in (demand_s, rest_s))
    _check(demand, rest, visits=visits, times={"until_s": until_s, "late_s": late_s, "early_s": early_s})
    require_positive(step_s=step_s, maximum_s=maximum_s)
    wanted = np.ceil(np.maximum(demand, minimum_s) / step_s - SNUG).astype(np.int64)
    most = math.floor(maximum_s / step_s + SNUG)
    short = int(np.argmax(demand)) if (wanted > most).any() else -1
    steps = np.minimum(wanted, most)
    values = np.unique(steps)
    level = np.searchsorted(values, steps)
    value_s = values * step_s
    lower_ok, raise_ok = _windows(level, value_s, rest, early_s, late_s)
    best, came_from = _tables(level, value_s, rest, visits, until_s, lower_ok, raise_ok)
    chosen = _walk_back(best, came_from, level)
    settle = value_s[chosen]
    alone = float(value_s[-1])
    return HandSchedule(
        start_s=float(settle[0]),
        visits=_changes(chosen, level, value_s, rest),
        settle_s=settle,
        total_s=float((rest + settle).sum()),
        alone_s=alone,
        alone_total_s=float(rest.sum() + alone * len(rest)),
        covers=short < 0,
        short_layer=short,
        short_by_s=float(demand[short] - most * step_s) if short >= 0 else 0.0,
    )


def _check(demand: Floats, rest: Floats, *, visits: int, times: dict[str, float]) -> None:
    if demand.ndim != 1 or demand.shape != rest.shape or not demand.size:
        raise DomainError.one(
            "demand_s, rest_s", f"have shapes {demand.shape} and {rest.shape}", "Give both one value a layer"
        )
    for name, values in (("demand_s", demand), ("rest_s", rest)):
        require_not_negative(**{f"{name} (layer {int(np.argmin(values))})": float(values.min())})
        require_not_negative(**{f"{name} (layer {int(np.argmax(values))})": float(values.max())})
    if visits < 0:
        raise DomainError.one("visits", f"must be 0 or more, got {visits}", "Give how often somebody can come")
    require_not_negative(**{name: value for name, value in times.items() if value != math.inf})


@kernel
def _windows(level: Any, value: Any, rest: Any, early: float, late: float) -> Any:
    """For each layer and value: may the value be lowered to here, and may it be raised from here."""
    count, values = level.size, value.size
    lower_ok = np.ones((count, values), dtype=np.bool_)
    raise_ok = np.ones((count, values), dtype=np.bool_)
    for i in range(count):
        for v in range(values):
            passed, m = 0.0, i - 1
            while m >= 0:
                passed += rest[m] + value[v]
                if passed > early:
                    break
                if level[m] > v:
                    lower_ok[i, v] = False
                    break
                m -= 1
            passed, m = 0.0, i
            while m < count and (passed < late or m == i):
                if passed >= late:
                    break
                if level[m] > v:
                    raise_ok[i, v] = False
                    break
                passed += rest[m] + value[v]
                m += 1
    return lower_ok, raise_ok


@kernel
def _tables(level: Any, value: Any, rest: Any, visits: int, until: float, lower_ok: Any, raise_ok: Any) -> Any:
    """Least clock at the start of each layer by changes made and value in force, and the value in force before it.

    Shapes (visits + 1, N + 1, values).  `came_from` is HOLD where the value was in force already.
    """
    count, values = level.size, value.size
    best = np.full((visits + 1, count + 1, values), np.inf)
    came_from = np.full((visits + 1, count + 1, values), HOLD)
    best[0, 0, :] = 0.0
    for i in range(count + 1):
        for j in range(visits + 1):
            if i > 0:
                for v in range(level[i - 1], values):
                    best[j, i, v] = best[j, i - 1, v] + rest[i - 1] + value[v]
        if i == 0 or i == count:
            continue
        for j in range(visits, 0, -1):
            # Lowering: the least clock of any higher value, from the top down.
            least, at = np.inf, -1
            for v in range(values - 1, -1, -1):
                if at >= 0 and least <= until and lower_ok[i, v] and least < best[j, i, v]:
                    best[j, i, v] = least
                    came_from[j, i, v] = at
                if best[j - 1, i, v] < least:
                    least, at = best[j - 1, i, v], v
            least, at = np.inf, -1
            for v in range(values):
                if at >= 0 and least <= until and least < best[j, i, v]:
                    best[j, i, v] = least
                    came_from[j, i, v] = at
                if raise_ok[i, v] and best[j - 1, i, v] < least:
                    least, at = best[j - 1, i, v], v
    return best, came_from


def _walk_back(best: Floats, came_from: Counts, level: Counts) -> Counts:
    """Return the index of the value in force at each layer."""
    count = len(level)
    j, v = np.unravel_index(int(np.argmin(best[:, count, :])), best[:, count, :].shape)
    used, inforce = int(j), int(v)
    chosen = np.empty(count, dtype=np.int64)
    for i in range(count - 1, -1, -1):
        chosen[i] = inforce
        before = int(came_from[used, i, inforce])
        if before != HOLD:
            used, inforce = used - 1, before
    return chosen


def _changes(chosen: Counts, level: Counts, value: Floats, rest: Floats) -> tuple[HandChange, ...]:
    start = np.concatenate(([0.0], np.cumsum(rest + value[chosen])))
    changes = []
    for i in np.flatnonzero(np.diff(chosen)) + 1:
        old, new = int(chosen[i - 1]), int(chosen[i])
        late, early = math.inf, math.inf
        if new < old:
            needy = np.flatnonzero(level[:i] > new)
            early = float(start[i] - start[needy[-1]]) if len(needy) else float(start[i])
        else:
            needy = np.flatnonzero(level[i:] > old)
            late = float((rest[i : i + needy[0]] + value[old]).sum()) if len(needy) else math.inf
        changes.append(HandChange(float(start[i]), int(i), float(value[new]), late, early))
    return tuple(changes)
