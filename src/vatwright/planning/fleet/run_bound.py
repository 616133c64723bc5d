"""Before when no order of given plates gets them all done on like machines that need a person to start and to unload.

Every machine is given a person whenever one is there; that persons and stations are shared is left out.  What remains,
a night that a machine stands ready and nobody comes, is kept.  That is a bound: leaving out can only make it earlier.
"""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import frozen
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, linprog, milp

from vatwright.compiled import kernel

if TYPE_CHECKING:
    from collections.abc import Sequence

Counts = NDArray[np.int64]
Floats = NDArray[np.float64]

ROUNDS = 60
"""How many times rows of runs are added before the bound is taken as it stands; leaving off early is safe."""

SURE = 1e-6

MOST_ROWS = 20_000
"""Rows beyond which whole rows are not looked at: long books lose little by half ones."""

MOST_NODES = 2000
"""Nodes that the solver of whole rows may open; what it has not refuted by then counts as within reach."""


@frozen(kw_only=True, eq=False)
class LikeMachines:
    """Like machines and when somebody is there, in ticks.

    Parameters
    ----------
    free_from : tuple of int
        When each machine is free [ticks].
    open_setup, open_unload : (H,) ndarray of bool
        Ticks at which setting up and unloading may begin.
    setup, unload, after : int
        How long they take, and what follows away from the machine before a plate is done [ticks].
    """

    free_from: tuple[int, ...]
    open_setup: NDArray[np.bool_]
    open_unload: NDArray[np.bool_]
    setup: int
    unload: int
    after: int


def least_makespan(lengths: Sequence[int], shop: LikeMachines, *, most: int) -> int:
    """Return before when no schedule gets plates of these lengths done [ticks].

    Parameters
    ----------
    lengths : sequence of int
        Time of each run [ticks].
    shop : LikeMachines
        Where.
    most : int
        A makespan somebody has reached [ticks].

    Returns
    -------
    int
        Smallest tick that is not shown to be out of reach; never above `most`.

    Notes
    -----
    Bisection on the makespan C.  For each C the linear programme "each machine one row of runs, each plate once" is
    solved by column generation, a machine's best row under given prices being a longest path over ticks.  For any prices
    p >= 0, sum p over plates > sum over machines of the best row's worth shows that C is out of reach (Farley 1990), so
    no rounding of the programme's own optimum enters.  Where rows are short enough to be listed, the same programme in
    whole rows is then refuted or not, again by bisection: half a row is no row.

    Examples
    --------
    >>> always = np.ones(100, dtype=np.bool_)
    >>> shop = LikeMachines(free_from=(0, 0), open_setup=always, open_unload=always, setup=1, unload=1, after=0)
    >>> least_makespan([8, 8, 8, 4, 4], shop, most=40)
    22

    References
    ----------
    Farley, "A note on bounding a class of linear programming problems", Oper. Res. 38 (1990) 922-923. [farley:1990]
    """
    if not lengths or not shop.free_from:
        return 0
    kinds = Counter(lengths)
    classes = np.array(sorted(kinds), dtype=np.int64)
    count = np.array([kinds[int(c)] for c in classes], dtype=np.float64)
    off = _next_free(shop, classes)
    low, high = 0, most
    rows: dict[tuple[int, tuple[int, ...]], int] = {}
    while low < high:
        middle = (low + high) // 2
        if _out_of_reach(count, off, shop, middle, rows):
            low = middle + 1
        else:
            high = middle
    high = most
    while low < high:
        middle = (low + high) // 2
        if _not_whole(count, off, shop, middle):
            low = middle + 1
        else:
            high = middle
    return low


def _next_free(shop: LikeMachines, classes: Counts) -> Counts:
    """When a machine free at a tick is free again after a run of each length; beyond the horizon, the horizon."""
    horizon = len(shop.open_setup)
    begin, unload = _next_open(shop.open_setup), _next_open(shop.open_unload)
    ready = begin[:, None] + shop.setup + classes[None, :]
    inside = ready < horizon
    off = unload[np.minimum(ready, horizon - 1)] + shop.unload
    return np.asarray(np.where(inside & (off < horizon), off, horizon), dtype=np.int64)


def _next_open(mask: NDArray[np.bool_]) -> Counts:
    """The nearest open tick at or after each; the horizon where none is."""
    horizon = len(mask)
    found = np.where(mask, np.arange(horizon), horizon)
    return np.asarray(np.minimum.accumulate(found[::-1])[::-1], dtype=np.int64)


@kernel
def _best_rows(price: Floats, off: Counts, last: int) -> tuple[Floats, Counts]:
    """Worth of the best row of runs from each tick on, all off the machine by `last`, and its first run (-1: none)."""
    horizon, classes = off.shape
    worth, first = np.zeros(horizon + 1), np.full(horizon + 1, -1)
    for t in range(horizon - 1, -1, -1):
        for c in range(classes):
            free = off[t, c]
            if free <= last and price[c] + worth[free] > worth[t]:
                worth[t] = price[c] + worth[free]
                first[t] = c
    return worth, first


def _out_of_reach(
    count: Floats, off: Counts, shop: LikeMachines, makespan: int, rows: dict[tuple[int, tuple[int, ...]], int]
) -> bool:
    """Whether prices show that no schedule is done by then; rows found are kept for the next time."""
    groups = sorted(Counter(shop.free_from).items())
    last = min(makespan - shop.after, len(off) - 1)
    price = np.ones(len(count))
    for _ in range(ROUNDS):
        worth, first = _best_rows(price, off, last)
        if count @ price > sum(n * worth[t] for t, n in groups) + SURE:
            return True
        added = False
        for number, (t, _) in enumerate(groups):
            row, end = _row(t, first, off)
            if end < rows.get((number, row), len(off)):
                rows[number, row] = end
                added = True
        usable = [key for key, end in rows.items() if end <= last]
        short, price = _master(count, groups, usable)
        if short <= SURE or not added:
            return False
    return False


def _row(t: int, first: Counts, off: Counts) -> tuple[tuple[int, ...], int]:
    """Runs of a best row, sorted, and when the last one is off."""
    runs = []
    while first[t] >= 0:
        runs.append(int(first[t]))
        t = int(off[t, first[t]])
    return tuple(sorted(runs)), t


def _master(
    count: Floats, groups: list[tuple[int, int]], rows: list[tuple[int, tuple[int, ...]]]
) -> tuple[float, Floats]:
    """Plates left over by the best mixture of rows, and the price of each length."""
    classes = len(count)
    holds = np.zeros((classes + len(groups), len(rows) + classes))
    for k, (group, row) in enumerate(rows):
        for c in row:
            holds[c, k] -= 1.0
        holds[classes + group, k] = 1.0
    holds[np.arange(classes), len(rows) + np.arange(classes)] = -1.0
    cost = np.concatenate((np.zeros(len(rows)), np.ones(classes)))
    limit = np.concatenate((-count, [float(n) for _, n in groups]))
    found: Any = linprog(cost, A_ub=holds, b_ub=limit, method="highs")
    return float(found.fun), np.maximum(-np.asarray(found.ineqlin.marginals[:classes]), 0.0)


def _not_whole(count: Floats, off: Counts, shop: LikeMachines, makespan: int) -> bool:
    """Whether no choice of one whole row for each machine holds all plates by then; False where that stays open."""
    last = min(makespan - shop.after, len(off) - 1)
    groups = sorted(Counter(shop.free_from).items())
    columns: list[NDArray[np.int64]] = []
    of_group: list[int] = []
    for number, (t, _) in enumerate(groups):
        rows = _listed(count, off, t, last)
        if rows is None:
            return False
        columns += rows
        of_group += [number] * len(rows)
    holds = np.array(columns, dtype=np.float64).T
    machines = np.array([[float(g == number) for g in of_group] for number in range(len(groups))])
    found: Any = milp(
        np.zeros(len(columns)),
        integrality=np.ones(len(columns), dtype=np.int64),
        bounds=Bounds(0.0, np.inf),
        constraints=[
            LinearConstraint(holds, lb=count),
            LinearConstraint(machines, ub=np.array([float(n) for _, n in groups])),
        ],
        options={"node_limit": MOST_NODES},
    )
    infeasible = 2
    return bool(found.status == infeasible)


def _listed(count: Floats, off: Counts, begin: int, last: int) -> list[NDArray[np.int64]] | None:
    """Every row of runs off by `last` that holds no more than there is and can take no further one; None for too many.

    Of the orders of a row the one that is through first stands for all.
    """
    level: dict[tuple[int, ...], int] = {(0,) * len(count): begin}
    rows: list[NDArray[np.int64]] = []
    seen = 0
    while level:
        following: dict[tuple[int, ...], int] = {}
        for row, free in level.items():
            full = True
            for c in range(len(count)):
                if row[c] < count[c] and off[free, c] <= last:
                    full = False
                    longer = (*row[:c], row[c] + 1, *row[c + 1 :])
                    following[longer] = min(int(off[free, c]), following.get(longer, len(off)))
            if full:
                rows.append(np.array(row, dtype=np.int64))
        seen += len(following)
        if seen > MOST_ROWS:
            return None
        level = following
    return rows
