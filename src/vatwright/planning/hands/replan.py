"""Where a run is, given what was tapped when, and what the hands that are left should do.

A layer takes the value in force as it begins, so the run's clock follows from the taps alone: it is laid again from them
each time, and nothing has to tick to be known.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from vatwright.records.live_run import DueVisit, LiveRun, RunPlan, TapKind

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from vatwright.planning.hands.visits import HandSchedule

    Floats = NDArray[np.float64]

LEAST_S = 1e-6
"""Waits that differ by less are the same: below what any controller resolves."""


@frozen(kw_only=True, eq=False)
class RunClock:
    """The run from its first layer to its last.

    Parameters
    ----------
    begins_s : (N,) ndarray
        When each layer begins, from the start; later ones as if every visit left were made when due [s].
    wait_s : (N,) ndarray
        The wait each layer has [s].
    next_layer : int
        First layer that has not begun.
    value_s : float
        The value in force now [s].
    total_s : float
        Length of the run [s].
    """

    begins_s: Floats
    wait_s: Floats
    next_layer: int
    value_s: float
    total_s: float


class _Walk:
    """Goes through the layers in order, each with the value in force as it begins."""

    def __init__(self, plan: RunPlan) -> None:
        self.rest = np.asarray(plan.rest_s, dtype=float)
        self.begins = np.zeros(self.rest.size)
        self.wait = np.zeros(self.rest.size)
        self.at, self.layer, self.value = 0.0, 0, plan.start_s

    def until(self, at_s: float) -> None:
        """Begin every layer that begins before a time."""
        starts = self.at + np.concatenate(([0.0], np.cumsum(self.rest[self.layer :] + self.value)))
        self._begin(starts, int(np.searchsorted(starts[:-1], at_s, side="left")))

    def to_layer(self, layer: int) -> None:
        """Begin every layer before one."""
        starts = self.at + np.concatenate(([0.0], np.cumsum(self.rest[self.layer :] + self.value)))
        self._begin(starts, max(0, min(layer, self.rest.size) - self.layer))

    def shown(self, layer: int, at_s: float) -> None:
        """Take the machine's word for it: this layer begins now; what was thought to begin later has begun as well."""
        layer = min(layer, self.rest.size - 1)
        self.begins[self.layer : layer], self.wait[self.layer : layer] = at_s, self.value
        self.layer, self.at = layer, at_s
        self.to_layer(layer + 1)

    def _begin(self, starts: Floats, count: int) -> None:
        here = slice(self.layer, self.layer + count)
        self.begins[here], self.wait[here] = starts[:count], self.value
        self.at, self.layer = float(starts[count]), self.layer + count


def run_clock(run: LiveRun, *, elapsed_s: float) -> RunClock:
    """Return where a run is.

    Parameters
    ----------
    run : LiveRun
        With its taps.
    elapsed_s : float
        Time since the start [s].

    Returns
    -------
    RunClock
        With the layers begun as they did, and the others as they will.

    Notes
    -----
    A visit that is overdue is taken to be made now.
    """
    started_s = run.started_s or 0.0
    walk, values = _Walk(run.plan), known_values(run)
    for step in sorted(run.standing, key=lambda s: s.tap.at_s):
        tap = step.tap
        at_s = tap.at_s - started_s
        if tap.kind is TapKind.DONE and tap.about in values:
            walk.until(at_s)
            walk.value = values[tap.about]
        elif tap.kind is TapKind.LAYER and tap.layer is not None:
            walk.until(at_s)
            walk.shown(tap.layer, at_s)
    walk.until(elapsed_s)
    next_layer, value = walk.layer, walk.value
    for visit in run.visits:
        walk.to_layer(max(visit.layer, walk.layer))
        walk.value = visit.value_s
    walk.to_layer(walk.rest.size)
    return RunClock(begins_s=walk.begins, wait_s=walk.wait, next_layer=next_layer, value_s=value, total_s=walk.at)


def known_values(run: LiveRun) -> dict[str, float]:
    """Return the value of every visit that a run ever had, by its key [s]."""
    lists = (run.plan.visits, *(s.visits for s in run.steps))
    return {v.key: v.value_s for visits in lists for v in visits}


def short_layers(plan: RunPlan, clock: RunClock) -> list[tuple[int, int]]:
    """Return the layers that began with less wait than they need, as first and last of each stretch."""
    begun = slice(0, clock.next_layer)
    short = np.flatnonzero(clock.wait_s[begun] < np.asarray(plan.needed_s)[begun] - LEAST_S)
    if not short.size:
        return []
    return [(int(g[0]), int(g[-1])) for g in np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)]


def needed_waits(
    *, given_s: Floats, rest_s: Floats, visits: Sequence[tuple[int, float, float]], start_s: float
) -> Floats:
    """Return the wait that each layer needs, read back from a schedule that gives enough.

    Parameters
    ----------
    given_s : (N,) ndarray
        What each layer gets [s].
    rest_s : (N,) ndarray
        The rest of each layer's time [s].
    visits : sequence of (int, float, float)
        Layer, how late it may be and how early [s], in order; infinite where it only costs time.
    start_s : float
        Value before the first visit [s].

    Returns
    -------
    (N,) ndarray
        Needed wait [s]: what is given, except where a hand may be late or early: there the other value is enough.

    Examples
    --------
    A raise at layer 2 may be up to 15 s late; layers of 10 s + 2 s: the one that begins then does with the old value.

    >>> needed_waits(given_s=np.array([2.0, 2, 5, 5, 5]), rest_s=np.full(5, 10.0), visits=[(2, 15.0, np.inf)], start_s=2.0)
    array([2., 2., 2., 2., 5.])
    """
    needed = given_s.copy()
    before = start_s
    for layer, late_s, early_s in visits:
        value = float(given_s[layer])
        if np.isfinite(late_s):
            begins = np.concatenate(([0.0], np.cumsum(rest_s[layer:-1] + before)))
            needed[layer:][begins < late_s - LEAST_S] = before
        if np.isfinite(early_s):
            ahead = np.cumsum((rest_s[:layer] + before)[::-1])[::-1]
            needed[:layer][ahead < early_s - LEAST_S] = np.minimum(needed[:layer][ahead < early_s - LEAST_S], value)
        before = value
    return needed


def hand_slack(plan: RunPlan, visit: DueVisit, *, before_s: float) -> tuple[float, float]:
    """Return how late and how early a hand may be [s]: infinite where that only costs time.

    Parameters
    ----------
    plan : RunPlan
        Says what each layer needs.
    visit : DueVisit
        The visit.
    before_s : float
        The value in force until then [s].
    """
    rest, needed = np.asarray(plan.rest_s), np.asarray(plan.needed_s)
    begins = np.concatenate(([0.0], np.cumsum(rest[visit.layer : -1] + before_s)))
    asks = begins[needed[visit.layer :] > before_s + LEAST_S]
    ahead = np.cumsum((rest[: visit.layer] + before_s)[::-1])[::-1]
    asked = ahead[needed[: visit.layer] > visit.value_s + LEAST_S]
    raises = visit.value_s > before_s
    return (
        float(asks.min()) if raises and asks.size else np.inf,
        float(asked.min()) if not raises and asked.size else np.inf,
    )


@frozen(kw_only=True)
class Harm:
    """What a hand at the wrong time does.

    Parameters
    ----------
    first, last : int
        The layers that get too little, from 0.
    given_s, needed_s : float
        What they would get, and the most that any of them needs [s].
    """

    first: int
    last: int
    given_s: float
    needed_s: float


def harm_of(plan: RunPlan, visit: DueVisit, *, before_s: float, from_layer: int) -> Harm | None:
    """Return what fails where a visit is made now although it is due later, or never made; None where that only costs time.

    Parameters
    ----------
    plan : RunPlan
        Says what each layer needs.
    visit : DueVisit
        The visit: one that lowers the wait may come too early, one that raises it too late.
    before_s : float
        The value in force until then [s].
    from_layer : int
        The next layer to begin.
    """
    raises = visit.value_s > before_s
    begin, end = (visit.layer, len(plan.needed_s)) if raises else (from_layer, visit.layer)
    given = before_s if raises else visit.value_s
    short = [n for n in range(begin, end) if plan.needed_s[n] > given + LEAST_S]
    if not short:
        return None
    return Harm(first=short[0], last=short[-1], given_s=given, needed_s=max(plan.needed_s[n] for n in short))


def short_ahead(run: LiveRun, *, elapsed_s: float) -> bool:
    """Return whether layers still to come get less than they need, if every visit left is made when due."""
    clock = run_clock(run, elapsed_s=elapsed_s)
    needed = np.asarray(run.plan.needed_s)[clock.next_layer :]
    return bool((clock.wait_s[clock.next_layer :] < needed - LEAST_S).any())


def still_due(visits: tuple[DueVisit, ...], *, layer: int, value_s: float) -> tuple[DueVisit, ...]:
    """Return the visits left once the machine is known to be at a layer: of those passed, only the value due now.

    Parameters
    ----------
    visits : tuple of DueVisit
        What was still to be done.
    layer : int
        The layer that the machine shows, from 0.
    value_s : float
        The value in force [s].

    Examples
    --------
    >>> due = tuple(DueVisit(key=k, layer=n, value_s=v) for k, n, v in (("a", 2, 20.0), ("b", 4, 6.0), ("c", 8, 9.0)))
    >>> [v.key for v in still_due(due, layer=5, value_s=30.0)]
    ['b', 'c']
    """
    passed = [v for v in visits if v.layer <= layer]
    wanted = passed[-1:] if passed and abs(passed[-1].value_s - value_s) > LEAST_S else []
    return (*wanted, *(v for v in visits if v.layer > layer))


def replan(run: LiveRun, *, elapsed_s: float, notice_s: float, visits: int, key: str) -> tuple[DueVisit, ...]:
    """Return what the hands that are left should do, after one that could not act.

    Parameters
    ----------
    run : LiveRun
        As it is now.
    elapsed_s : float
        Time since the start [s].
    notice_s : float
        The first visit is due no earlier than this from now [s].
    visits : int
        Visits left; 1 or more.
    key : str
        What the keys of the new visits begin with.

    Returns
    -------
    tuple of DueVisit
        In order; empty where the value in force serves to the end.

    Notes
    -----
    The schedule of `plan_visits` for the layers left, with its first value free; where that is not the value in force, a
    visit sets it at the first layer that a hand can reach. The other candidate keeps the value in force for one layer more,
    which may save that visit. The quicker one is taken.
    """
    from vatwright.planning.hands.visits import plan_visits  # brings compiled kernels: only a change of plan needs them

    clock = run_clock(run, elapsed_s=elapsed_s)
    rest, needed = np.asarray(run.plan.rest_s), np.asarray(run.plan.needed_s)
    first = int(np.searchsorted(clock.begins_s, elapsed_s + notice_s, side="left"))
    if first >= rest.size:
        return ()

    def laid(start: int, demand: Floats, count: int) -> HandSchedule:
        return plan_visits(
            demand_s=demand, rest_s=rest[start:], minimum_s=run.plan.minimum_s, maximum_s=run.plan.maximum_s,
            step_s=run.plan.step_s, visits=count, late_s=run.plan.late_s, early_s=run.plan.early_s,
            until_s=max(run.plan.present_s - float(clock.begins_s[start]), 0.0),
        )  # fmt: skip

    value = clock.value_s
    free = laid(first, needed[first:], visits)
    if abs(free.start_s - value) <= LEAST_S:
        return _due(free, first, key)
    free = laid(first, needed[first:], visits - 1)
    set_now = (DueVisit(key=f"{key}-0", layer=first, value_s=free.start_s), *_due(free, first, key))
    held = laid(first, np.concatenate(([value], needed[first + 1 :])), visits)
    enough = needed[first] <= value + LEAST_S and abs(held.start_s - value) <= LEAST_S
    return _due(held, first, key) if enough and held.total_s <= free.total_s else set_now


def _due(schedule: HandSchedule, first: int, key: str) -> tuple[DueVisit, ...]:
    return tuple(
        DueVisit(key=f"{key}-{n}", layer=first + v.layer, value_s=v.value_s)
        for n, v in enumerate(schedule.visits, start=1)
    )
