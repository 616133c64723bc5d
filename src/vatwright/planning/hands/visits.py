"""The hand schedule: when a person changes one shared wait while the machine runs, so that it costs least time.

A controller that keeps one settle for base and body alike, or for every layer, leaves two choices: the longest demand
for the whole run, or somebody who steps the value down, and up again where the parts ask for it.  This file finds the
best such schedule exactly.

What is meant by a visit, and by early and late:

- a visit is due as its layer begins, and that layer is the first to have the new value: a layer takes the value in
  force at its start.  The value set before the run is no visit;
- a value is one the controller takes, and never longer than the longest demand needs;
- a hand is early or late against the moment its layer begins in the run as it goes, which the machine's layer counter
  shows, so one late visit does not shift the next;
- a raise must hold however late up to ``late_s``: every layer that would begin before then, at the old value, must be
  content with the old value.  A lowering must hold however early up to ``early_s``: every layer before its own that
  begins within that time must be content with the new value.  Each visit is judged as if no other came;
- the schedule's own clock must stay within ``until_s``, and visits are at least ``spacing_s`` apart on it.

So whether a change is allowed depends on the layer and the two values alone, and the least clock on reaching a layer
with a value in force is all that the rest of the run needs to know: a dynamic programme over (visits made, layer,
value), in whole microseconds, so that the answer is exact and not a rounding.
"""

from __future__ import annotations

import math
from itertools import pairwise
from typing import TYPE_CHECKING, Literal

import numpy as np
from attrs import frozen

from vatwright.compiled import kernel
from vatwright.errors import DomainError, InputError, Mistake
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]
    Counts = NDArray[np.int32]

_TICKS = 1_000_000  # of a second: a microsecond is far below what a controller or a hand resolves
_NEVER = 2**62
_MOST_STATES = 60_000_000  # of the programme, 8 bytes each


@frozen(kw_only=True)
class HandVisit:
    """One change made by hand.

    Parameters
    ----------
    at_s : float
        When its layer begins, on the schedule's clock [s].
    layer : int
        First layer with the new value, from 0.
    value_s, before_s : float
        New and old value [s].
    kind : {"raise", "lower"}
        Which way.
    late_ok_s : float
        How late the hand may be before a layer misses its demand [s]; infinite for a lowering.
    early_ok_s : float
        It must be less early than this, for the same [s]; infinite for a raise.
    late_cost_s : float
        What being late by the hand's whole allowance adds to the run [s]; 0 for a raise, which only saves by it.
    early_cost_s : float
        Likewise for being early [s]; 0 for a lowering.
    """

    at_s: float
    layer: int
    value_s: float
    before_s: float
    kind: Literal["raise", "lower"]
    late_ok_s: float
    early_ok_s: float
    late_cost_s: float
    early_cost_s: float


@frozen(kw_only=True, eq=False)
class HandSchedule:
    """The best schedule, and what it is measured against.

    Parameters
    ----------
    start_s : float
        Value set before the run [s].
    visits : tuple of HandVisit
        In order of time.
    settle_s : (N,) ndarray
        Value each layer has when every hand is on time [s].
    total_s : float
        The run then [s].
    obeyed_total_s : float
        The run if every layer had its own demand, in the controller's steps [s].
    cost_s : float
        What the first takes longer than the second [s].
    alone_s, alone_total_s : float
        The best single value when nobody comes, and its run [s].
    alone_cost_min : float
        What that takes longer than the obeyed run [min].
    covers : bool
        Whether every layer gets its demand.
    short_layer : int
        The layer that misses most, from 0; -1 where none does.
    short_by_s : float
        By how much it misses [s].
    """

    start_s: float
    visits: tuple[HandVisit, ...]
    settle_s: Floats
    total_s: float
    obeyed_total_s: float
    cost_s: float
    alone_s: float
    alone_total_s: float
    alone_cost_min: float
    covers: bool
    short_layer: int
    short_by_s: float


@frozen(kw_only=True, eq=False)
class _Task:
    """The question in whole ticks and steps."""

    demand: Counts  # (N,) steps above the minimum
    starts: Ints  # (N + 1,) time before each layer, the values left out
    values: Ints  # (K,) allowed values
    short_s: Floats  # (N,) by how much a demand exceeds the largest value


# --- the programme -------------------------------------------------------------------------------------------------


@kernel
def _raisable(demand: Counts, starts: Ints, values: Ints, late: int) -> NDArray[np.bool_]:
    """Whether a raise from value v may be due at layer n, (N, K): nothing asking for more than v begins within late."""
    count = demand.size
    may = np.empty((count, values.size), dtype=np.bool_)
    asks = np.full(values.size, count)  # next layer that asks for more
    for n in range(count - 1, -1, -1):
        for v in range(values.size):
            if demand[n] > v:
                asks[v] = n
            m = asks[v]
            may[n, v] = m == count or starts[m] - starts[n] + (m - n) * values[v] >= late
    return may


@kernel
def _lowerable(demand: Counts, starts: Ints, values: Ints, early: int) -> Counts:
    """Least old value from which a lowering to v may be due at layer n, (N, K), as an index; K for none.

    The last layer that asks for more than v must have begun more than early before, which a larger old value helps.
    """
    count, top = demand.size, values.size
    least = np.empty((count, top), dtype=np.int32)
    asked = np.full(top, -1)
    step = values[1] - values[0] if top > 1 else 1
    for n in range(count):
        for v in range(top):
            m, need = asked[v], v + 1
            if m >= 0:
                missing = early + 1 - (starts[n] - starts[m]) - (n - m) * values[0]
                if missing > 0:
                    each = step * (n - m)
                    need = max(need, (missing + each - 1) // each)
            least[n, v] = min(need, top)
        for v in range(min(demand[n], top)):
            asked[v] = n
    return least


@kernel
def _visit(ready: Ints, raisable: NDArray[np.bool_], lowerable: Counts, until: int, begun: Ints, came: Counts) -> None:
    """Best clock at which layer n begins with value v newly set, (N, K), from the best with any value in force before.

    Fills begun and came, the old value's index: a running minimum from below for raises, from above for lowerings.
    """
    count, top = ready.shape
    above, above_at = np.empty(top + 1, dtype=np.int64), np.empty(top + 1, dtype=np.int32)
    above[top], above_at[top] = _NEVER, -1
    for n in range(count):
        for v in range(top - 1, -1, -1):
            clock = ready[n, v] if ready[n, v] <= until else _NEVER
            better = clock < above[v + 1]
            above[v] = clock if better else above[v + 1]
            above_at[v] = v if better else above_at[v + 1]
        below, below_at = _NEVER, -1
        for v in range(top):
            least = lowerable[n, v]
            lower = above[least] < below
            begun[n, v] = above[least] if lower else below
            came[n, v] = above_at[least] if lower else below_at
            if raisable[n, v] and ready[n, v] <= until and ready[n, v] < below:
                below, below_at = ready[n, v], v


@kernel
def _carry_on(
    begun: Ints, demand: Counts, starts: Ints, values: Ints, spacing: int, ready: Ints, since: Counts
) -> tuple[Ints, Counts]:
    """From the newly set values to the layers they reach: fills ready and since (N, K), returns the ends of run (K,).

    Ready is the least clock at which layer n begins with value v in force from layer ``since`` on, long enough for the
    next visit. Runs on one value keep their distance on the clock, so a running minimum of it finds the best.
    """
    count, top = begun.shape
    alive, alive_at = np.full(top, _NEVER), np.full(top, -1, dtype=np.int32)
    ripe, ripe_at = np.full(top, _NEVER), np.full(top, -1, dtype=np.int32)
    waiting = np.zeros(top, dtype=np.int64)
    for n in range(count):
        for v in range(top):
            value, m = values[v], waiting[v]
            while m < n and starts[n] - starts[m] + (n - m) * value >= spacing:
                if begun[m, v] < _NEVER and begun[m, v] - starts[m] - m * value < ripe[v]:
                    ripe[v], ripe_at[v] = begun[m, v] - starts[m] - m * value, m
                m += 1
            waiting[v] = m
            ready[n, v] = ripe[v] + starts[n] + n * value if ripe[v] < _NEVER else _NEVER
            since[n, v] = ripe_at[v]
            if demand[n] > v:
                alive[v], ripe[v], waiting[v] = _NEVER, _NEVER, n + 1
            elif begun[n, v] < _NEVER and begun[n, v] - starts[n] - n * value < alive[v]:
                alive[v], alive_at[v] = begun[n, v] - starts[n] - n * value, n
    for v in range(top):
        if alive[v] < _NEVER:
            alive[v] += starts[count] + count * values[v]
    return alive, alive_at


def _best_changes(
    task: _Task, *, visits: int, until: int, late: int, early: int, spacing: int
) -> list[tuple[int, int]]:
    """Return (layer, value index) of the values in force, the first at layer 0, with the least end of run."""
    shape = (task.demand.size, task.values.size)
    raisable = _raisable(task.demand, task.starts, task.values, late)
    lowerable = _lowerable(task.demand, task.starts, task.values, early)
    begun, ready = np.full(shape, _NEVER), np.empty(shape, dtype=np.int64)
    begun[0] = 0
    came: list[Counts] = []
    since: list[Counts] = []
    best, found = _NEVER, (0, 0, 0)
    for made in range(visits + 1):
        if made:
            came.append(np.empty(shape, dtype=np.int32))
            _visit(ready, raisable, lowerable, until, begun, came[-1])
        since.append(np.empty(shape, dtype=np.int32))
        apart = spacing if made else 0  # the value set before the run is no visit to keep away from
        ends, at = _carry_on(begun, task.demand, task.starts, task.values, apart, ready, since[-1])
        value = int(np.argmin(ends))
        if ends[value] < best:
            best, found = int(ends[value]), (made, int(at[value]), value)
    made, layer, value = found
    changes = [(layer, value)]
    for back in range(made, 0, -1):
        value = int(came[back - 1][layer, value])
        layer = int(since[back - 1][layer, value])
        changes.append((layer, value))
    return changes[::-1]


# --- what others call ----------------------------------------------------------------------------------------------


def plan_visits(
    *,
    demand_s: ArrayLike,
    rest_s: ArrayLike,
    minimum_s: float = 0.0,
    maximum_s: float,
    step_s: float,
    visits: int,
    until_s: float = math.inf,
    late_s: float = 0.0,
    early_s: float = 0.0,
    spacing_s: float | None = None,
    steps: Callable[[Floats, int], int] | None = None,
) -> HandSchedule:
    r"""Return the hand schedule that gives every layer its demand in the least time, exactly.

    .. math:: \min \sum_n (r_n + v_n) \quad\text{with}\quad v_n \ge s_n,\; v_n \in \{v_{min} + i\,\Delta\},\;
        v \text{ changing at most } m \text{ times}

    Parameters
    ----------
    demand_s : (N,) array_like
        Least value each layer needs, s [s]; may be infinite.
    rest_s : (N,) array_like
        The rest of each layer's cycle, r [s].
    minimum_s, maximum_s, step_s : float
        Values the controller takes: minimum, minimum + step and so on up to the maximum [s].
    visits : int
        Most changes during the run, m.
    until_s : float
        Nobody is there later than this [s]; may be infinite.
    late_s, early_s : float
        How late and how early a hand may be [s].
    spacing_s : float
        Least time from one visit to the next on the schedule's clock [s]; the first may come at any time. Late plus
        early when left out, so that one hand's doubt is over before the next one's begins.

    Returns
    -------
    HandSchedule
        With the fewest visits among schedules of equal time. Where a demand is above the largest value it is the best
        for demands cut to that, with ``covers`` false.

    Raises
    ------
    DomainError
        When a value lies outside its range.
    InputError
        When the arrays differ in length or the steps are too fine for so many layers and visits.

    Notes
    -----
    What early, late and spacing mean stands at the top of this file. Times are rounded to a microsecond, demands up.
    Work and memory grow as visits x layers x values.
    Each hand late or early by itself is covered. A raise that comes late also brings the next visit's layer sooner, so
    where several hands may be late in one run leave more room between them than the spacing left out.

    Examples
    --------
    Two layers ask for 30 s, then 8 for 2 s. One visit saves 224 s of 300 s of waiting:

    >>> plan = plan_visits(
    ...     demand_s=[30, 30] + [2] * 8, rest_s=[10.0] * 10, minimum_s=0, maximum_s=60, step_s=1, visits=3)
    >>> plan.start_s, [(v.layer, v.value_s, v.at_s, v.early_ok_s) for v in plan.visits]
    (30.0, [(2, 2.0, 80.0, 40.0)])
    >>> plan.total_s, plan.alone_total_s
    (176.0, 400.0)

    For a hand that may be up to 60 s early it is due a layer later:

    >>> plan = plan_visits(
    ...     demand_s=[30, 30] + [2] * 8, rest_s=[10.0] * 10, minimum_s=0, maximum_s=60, step_s=1, visits=3,
    ...     early_s=60.0)
    >>> [(v.layer, v.value_s, v.early_ok_s) for v in plan.visits], plan.total_s
    ([(3, 2.0, 80.0)], 204.0)

    References
    ----------
    Bellman, Dynamic Programming (1957), chapter 3, section 3: the principle of optimality. [bellman:1957]
    """
    apart_s = max(late_s + early_s, 0.0) if spacing_s is None else spacing_s
    _require(minimum_s, maximum_s, step_s, until_s, late_s, early_s, apart_s, visits)
    task = _task(demand_s, rest_s, minimum_s, maximum_s, step_s)
    states = task.demand.size * task.values.size * (visits + 1)
    if states > _MOST_STATES:
        raise InputError.one(
            "step_s",
            to_say(
                "makes {size} values, too many for {size_2} layers and {visits} visits",
                size=task.values.size,
                size_2=task.demand.size,
                visits=visits,
            ),
            to_say("Give a coarser step or fewer visits"),
        )
    late, early, spacing, until = _ticks(late_s), _ticks(early_s), _ticks(apart_s), _ticks(until_s)
    changes = _best_changes(task, visits=visits, until=until, late=late, early=early, spacing=spacing)
    if steps is not None:
        changes = _in_steps(task, changes, steps, left=visits + 1 - len(changes), until=until, spacing=spacing)
    return _schedule(task, changes, late=late, early=early)


def _in_steps(
    task: _Task,
    changes: list[tuple[int, int]],
    steps: Callable[[Floats, int], int],
    *,
    left: int,
    until: int,
    spacing: int,
) -> list[tuple[int, int]]:
    """Changes with each fall divided into as many as asked, while visits are left and the next change is not yet due.

    Later layers ask for less than a value in between, so a fall by steps meets every demand that the fall at once met.
    """
    found = changes[:1]
    for k, (layer, value) in enumerate(changes[1:], start=1):
        before = found[-1][1]
        wanted = steps(task.values[_index(task, [*found, (layer, value)])] / _TICKS, layer) if value < before else 1
        end = changes[k + 1][0] if k + 1 < len(changes) else task.demand.size
        for count in range(min(wanted, left + 1), 0, -1):
            stairs = _stairs(task, found, (layer, value), count, spacing)
            if count == 1 or (stairs[-1][0] < end and _fits(task, found + stairs, changes[k + 1 :], until, spacing)):
                break
        left -= len(stairs) - 1
        found += stairs
    return found


def _stairs(
    task: _Task, before: list[tuple[int, int]], change: tuple[int, int], count: int, spacing: int
) -> list[tuple[int, int]]:
    """One fall as so many, each by the same factor, a visit apart; fewer where two would be of one value."""
    (layer, value), top = change, before[-1][1]
    ends = np.maximum(task.values[[top, value]], task.values[-1] // 1000 + 1)
    wanted = np.geomspace(float(ends[0]), float(ends[1]), count + 1)[1:]
    found: list[tuple[int, int]] = []
    for index in dict.fromkeys([*(int(np.searchsorted(task.values, w)) for w in wanted[:-1]), value]):
        if found:  # the first layer that begins a visit's distance after the step before
            layer, old = found[-1]
            taken = task.starts[layer:] - task.starts[layer] + np.arange(len(task.starts) - layer) * task.values[old]
            layer += int(np.searchsorted(taken, max(spacing, 1)))
        found.append((layer, index))
    return found


def _fits(task: _Task, changes: list[tuple[int, int]], later: list[tuple[int, int]], until: int, spacing: int) -> bool:
    """Whether steps end a visit's distance before the next change, and every visit comes while somebody is there."""
    whole = [*changes, *later]
    if whole[-1][0] >= task.demand.size:
        return False
    clock = _clock(task, whole)
    apart = not later or clock[later[0][0]] - clock[changes[-1][0]] >= spacing
    return bool(apart and clock[whole[-1][0]] <= until)


# --- from ticks to what people read --------------------------------------------------------------------------------


def _index(task: _Task, changes: list[tuple[int, int]]) -> Ints:
    """The value in force in each layer, (N,), as an index."""
    index = np.empty(task.demand.size, dtype=np.int64)
    for layer, value in changes:
        index[layer:] = value
    return index


def _clock(task: _Task, changes: list[tuple[int, int]]) -> Ints:
    """When each layer begins, and the end, (N + 1,)."""
    return np.asarray(task.starts + np.concatenate(([0], np.cumsum(task.values[_index(task, changes)]))))


def _schedule(task: _Task, changes: list[tuple[int, int]], *, late: int, early: int) -> HandSchedule:
    count = task.demand.size
    index, clock = _index(task, changes), _clock(task, changes)
    total, rest = int(clock[-1]), int(task.starts[-1])
    obeyed = rest + int(task.values[task.demand].sum())
    alone = int(task.values[-1])
    worst = int(np.argmax(task.short_s))
    short = float(task.short_s[worst])
    return HandSchedule(
        start_s=float(task.values[changes[0][1]]) / _TICKS,
        visits=tuple(
            _told(task, int(clock[layer]), layer, before, value, late, early)
            for (_, before), (layer, value) in pairwise(changes)
        ),
        settle_s=task.values[index] / _TICKS,
        total_s=total / _TICKS,
        obeyed_total_s=obeyed / _TICKS,
        cost_s=(total - obeyed) / _TICKS,
        alone_s=alone / _TICKS,
        alone_total_s=(rest + count * alone) / _TICKS,
        alone_cost_min=(rest + count * alone - obeyed) / _TICKS / 60.0,
        covers=short <= 0.0,
        short_layer=worst if short > 0.0 else -1,
        short_by_s=short,
    )


def _told(task: _Task, at: int, layer: int, before: int, value: int, late: int, early: int) -> HandVisit:
    """Return a visit with its slack, all on the clock of the old value, as the programme judged it."""
    old, new = int(task.values[before]), int(task.values[value])
    count = task.demand.size
    begins = task.starts[:count] - task.starts[layer] + (np.arange(count) - layer) * old
    after, ahead = begins[layer:], -begins[:layer]
    asks = after[task.demand[layer:] > before]
    asked = ahead[task.demand[:layer] > value]
    up = new > old
    return HandVisit(
        at_s=at / _TICKS,
        layer=layer,
        value_s=new / _TICKS,
        before_s=old / _TICKS,
        kind="raise" if up else "lower",
        late_ok_s=float(asks.min()) / _TICKS if up and asks.size else math.inf,
        early_ok_s=math.inf if up or not asked.size else float(asked.min()) / _TICKS,
        late_cost_s=0.0 if up else int((after < late).sum()) * (old - new) / _TICKS,
        early_cost_s=int((ahead <= early).sum()) * (new - old) / _TICKS if up else 0.0,
    )


# --- from what people say to ticks ---------------------------------------------------------------------------------


def _ticks(seconds: float) -> int:
    return _NEVER - 1 if math.isinf(seconds) else round(seconds * _TICKS)


def _require(
    minimum: float, maximum: float, step: float, until: float, late: float, early: float, spacing: float, visits: int
) -> None:
    """Raise one error with everything that is out of range."""
    tests = (
        ("minimum_s", minimum, 0.0 <= minimum < math.inf, "must be a finite number, 0 or above"),
        ("maximum_s", maximum, minimum <= maximum < math.inf, "must be finite and not below the minimum"),
        ("step_s", step, 1e-3 <= step < math.inf, "must be a finite number, a millisecond or more"),
        ("until_s", until, until >= 0.0, "must be 0 or above"),
        ("late_s", late, 0.0 <= late < math.inf, "must be a finite number, 0 or above"),
        ("early_s", early, 0.0 <= early < math.inf, "must be a finite number, 0 or above"),
        ("spacing_s", spacing, 0.0 <= spacing < math.inf, "must be a finite number, 0 or above"),
        ("visits", visits, visits >= 0, "must be 0 or above"),
    )
    bad = [
        Mistake(name, to_say("{rule}, got {value:g}", rule=rule, value=value), to_say("Check the value"))
        for name, value, good, rule in tests
        if not good
    ]
    if bad:
        raise DomainError(bad)


def _task(demand_s: ArrayLike, rest_s: ArrayLike, minimum_s: float, maximum_s: float, step_s: float) -> _Task:
    """Return the question in ticks and steps."""
    demand, rest = np.atleast_1d(np.asarray(demand_s, dtype=float)), np.atleast_1d(np.asarray(rest_s, dtype=float))
    if demand.ndim != 1 or demand.shape != rest.shape or not demand.size:
        raise InputError.one(
            "demand_s, rest_s",
            to_say("have shapes {shape}, {shape_2}", shape=demand.shape, shape_2=rest.shape),
            to_say("Give one value a layer"),
        )
    if np.isnan(demand).any() or not (np.isfinite(rest) & (rest > 0.0)).all():
        raise DomainError.one(
            "demand_s, rest_s", to_say("hold no number, or a rest of 0 or less"), to_say("Give every layer its cycle")
        )
    low, step = round(minimum_s * _TICKS), round(step_s * _TICKS)
    top = (round(maximum_s * _TICKS) - low) // step
    largest = (low + top * step) / _TICKS
    ticks = np.ceil(np.round(np.clip(demand, 0.0, largest) * _TICKS, 3)).astype(np.int64)
    wanted = np.clip(-((low - ticks) // step), 0, top)
    rests = np.maximum(np.round(rest * _TICKS), 1.0).astype(np.int64)
    return _Task(
        demand=wanted.astype(np.int32),
        starts=np.concatenate(([0], np.cumsum(rests))),
        values=low + step * np.arange(int(wanted.max()) + 1, dtype=np.int64),
        short_s=np.where(demand - largest > 1.0 / _TICKS, demand - largest, 0.0),
    )
