"""The schedule against every schedule there is, on small runs; and acted out with hands that come early and late."""

from __future__ import annotations

import itertools
import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.planning.hands.visits import plan_visits


def allowed(n, old, new, task):
    """The two rules of early and late, walked layer by layer."""
    demand, rest, passed = task["demand"], task["rest"], 0.0
    if new > old:
        for m in range(n, len(demand)):
            if passed >= task["late"]:
                break
            if demand[m] > old:
                return False
            passed += rest[m] + old
        return True
    for m in range(n - 1, -1, -1):
        passed += rest[m] + old
        if passed > task["early"]:
            break
        if demand[m] > new:
            return False
    return True


def run_time(edges, values, task):
    """Length of the run with these values from these layers on, infinite where a rule is broken."""
    clock, last = 0.0, -math.inf
    for piece, value in enumerate(values):
        if piece:
            changes = values[piece - 1] != value and allowed(edges[piece], values[piece - 1], value, task)
            if not changes or clock > task["until"] or clock - last < task["spacing"]:
                return math.inf
            last = clock
        for m in range(edges[piece], edges[piece + 1]):
            if task["demand"][m] > value:
                return math.inf
            clock += task["rest"][m] + value
    return clock


def best_of_all(task):
    count, steps = len(task["demand"]), range(max(task["demand"]) + 1)
    return min(
        run_time((0, *cuts, count), values, task)
        for made in range(task["visits"] + 1)
        for cuts in itertools.combinations(range(1, count), made)
        for values in itertools.product(steps, repeat=made + 1)
    )


@st.composite
def tasks(draw):
    count = draw(st.integers(1, 6))
    whole = st.integers(0, 14)
    return {
        "demand": draw(st.lists(st.integers(0, 4), min_size=count, max_size=count)),
        "rest": draw(st.lists(st.integers(1, 5), min_size=count, max_size=count)),
        "visits": draw(st.integers(0, 3)),
        "until": draw(st.one_of(st.just(math.inf), st.integers(0, 50))),
        "late": draw(whole),
        "early": draw(whole),
        "spacing": draw(st.one_of(st.just(0), whole)),
    }


def planned(task):
    return plan_visits(
        demand_s=task["demand"], rest_s=task["rest"], maximum_s=9.0, step_s=1.0, visits=task["visits"],
        until_s=task["until"], late_s=task["late"], early_s=task["early"], spacing_s=task["spacing"],
    )  # fmt: skip


@settings(deadline=None, max_examples=400)
@given(tasks())
def test_no_schedule_takes_less_time(task):
    # exhaustive search over breakpoints and values: the outside source; all numbers are whole, so equality is exact
    best = planned(task)
    assert best.total_s == best_of_all(task)
    edges = (0, *(v.layer for v in best.visits), len(task["demand"]))
    assert run_time(edges, (best.start_s, *(v.value_s for v in best.visits)), task) == best.total_s


def test_no_schedule_takes_less_time_in_a_whole_family():
    plain = {"rest": [2, 1, 3, 1], "until": math.inf, "spacing": 0}
    for demand in itertools.product(range(3), repeat=4):
        for visits, late, early in itertools.product((1, 2), (0, 3, 6), (0, 3, 6)):
            task = plain | {"demand": list(demand), "visits": visits, "late": late, "early": early}
            assert planned(task).total_s == best_of_all(task)


def acted_out(task, schedule, which, shift):
    """Values the layers get when one hand comes `shift` seconds after its layer would begin, the others on time."""
    visit, edges = schedule.visits[which], [0, *(v.layer for v in schedule.visits), len(task["demand"])]
    begins = np.concatenate(([0.0], np.cumsum(np.asarray(task["rest"]) + visit.before_s)))
    begins -= begins[visit.layer]
    values = schedule.settle_s.copy()
    for m in range(edges[which], edges[which + 2]):
        values[m] = visit.value_s if begins[m] >= shift else visit.before_s
    return values


@settings(deadline=None, max_examples=300)
@given(tasks(), st.floats(0.0, 1.0))
def test_a_hand_within_its_allowance_costs_no_layer_its_demand(task, share):
    schedule = planned(task)
    for which, visit in enumerate(schedule.visits):
        for shift in (share * task["late"], -share * task["early"]):
            assert (acted_out(task, schedule, which, shift) >= task["demand"]).all(), (visit, shift)


@settings(deadline=None, max_examples=300)
@given(tasks())
def test_the_slack_told_is_the_slack_there_is(task):
    schedule = planned(task | {"spacing": 0})
    if len(schedule.visits) != 1:
        return
    (visit,) = schedule.visits
    if visit.kind == "raise":
        assert visit.late_ok_s >= task["late"]
        assert (acted_out(task, schedule, 0, visit.late_ok_s) >= task["demand"]).all()
        if math.isfinite(visit.late_ok_s):
            assert (acted_out(task, schedule, 0, visit.late_ok_s + 0.5) < task["demand"]).any()
    elif math.isfinite(visit.early_ok_s):
        assert visit.early_ok_s > task["early"]
        assert (acted_out(task, schedule, 0, -visit.early_ok_s + 0.5) >= task["demand"]).all()
        assert (acted_out(task, schedule, 0, -visit.early_ok_s) < task["demand"]).any()


@settings(deadline=None, max_examples=200)
@given(tasks())
def test_more_freedom_never_takes_longer(task):
    total = planned(task).total_s
    easier = (
        {"visits": task["visits"] + 1},
        {"late": task["late"] // 2},
        {"early": task["early"] // 2},
        {"spacing": task["spacing"] // 2},
        {"until": math.inf},
    )
    for change in easier:
        assert planned(task | change).total_s <= total
    assert planned(task).obeyed_total_s <= total <= planned(task).alone_total_s
