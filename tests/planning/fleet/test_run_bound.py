"""The bound on the makespan: never above what can be reached, and tight where that is known."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.planning.fleet.run_bound import LikeMachines, least_makespan

HORIZON = 400


def shop(free_from=(0,), *, hours=10, after=0):
    """Somebody is there for the first hours of every 24 ticks; setting up and unloading take one."""
    there = np.arange(HORIZON) % 24 < hours
    return LikeMachines(free_from=free_from, open_setup=there, open_unload=there, setup=1, unload=1, after=after)


def end_of(row, free, hours):
    def there(t):
        while t % 24 >= hours:
            t += 1
        return t

    for n in row:
        free = there(there(free) + 1 + n) + 1
    return free


def brute(lengths, free_from, hours):
    """Every way to give runs to machines, in every order."""
    best = HORIZON
    for where in itertools.product(range(len(free_from)), repeat=len(lengths)):
        ends = []
        for k, free in enumerate(free_from):
            mine = [n for n, w in zip(lengths, where, strict=True) if w == k]
            ends.append(min(end_of(row, free, hours) for row in itertools.permutations(mine)) if mine else 0)
        best = min(best, max(ends))
    return best


@settings(max_examples=30, deadline=None)
@given(
    st.lists(st.integers(1, 20), min_size=1, max_size=5),
    st.sampled_from([(0,), (0, 0), (0, 7)]),
    st.integers(4, 24),
)
def test_never_above_the_best_schedule_and_near_it(lengths, free_from, hours):
    """Against brute force; the linear programme is known to be within one run of it."""
    reached = brute(lengths, free_from, hours)
    least = least_makespan(lengths, shop(free_from, hours=hours), most=reached)
    assert least <= reached
    if len(free_from) == 1:
        # One machine, one row that holds everything: only mixtures of rows can be better.
        assert least >= sum(lengths) + 2 * len(lengths)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 7])
def test_like_runs_on_like_machines_are_exact(count):
    """Equal runs: ceil(count / machines) rounds one after the other (by inspection)."""
    rounds = -(-count // 2)
    assert least_makespan([6] * count, shop((0, 0), hours=24), most=HORIZON) == 8 * rounds


def test_nights_count():
    """A run of 3 takes five ticks with both hands; two fit into ten hours, the third ends tomorrow at 24 + 5."""
    assert least_makespan([3, 3, 3], shop(hours=10), most=HORIZON) == 24 + 5


def test_what_follows_is_added():
    assert least_makespan([3], shop(after=4), most=HORIZON) == 5 + 4


def test_nothing_to_do_takes_nothing():
    assert least_makespan([], shop(), most=HORIZON) == 0
