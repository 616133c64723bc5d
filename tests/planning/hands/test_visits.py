"""The hand schedule on cases worked by hand, and against common practice."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from vatwright.errors import DomainError, InputError
from vatwright.planning.hands.visits import plan_visits


def plan(demand, *, rest=10.0, **changes):
    plain = {"minimum_s": 0.0, "maximum_s": 60.0, "step_s": 1.0, "visits": 3}
    return plan_visits(demand_s=demand, rest_s=np.full(len(demand), rest), **plain | changes)


def test_one_step_down_worked_by_hand():
    # 2 x (10 + 30) + 8 x (10 + 2) = 176; alone 10 x (10 + 30) = 400: arithmetic
    best = plan([30, 30] + [2] * 8)
    (visit,) = best.visits
    assert (best.start_s, best.total_s, best.obeyed_total_s, best.cost_s) == (30.0, 176.0, 176.0, 0.0)
    assert (best.alone_s, best.alone_total_s, best.alone_cost_min) == (30.0, 400.0, 224.0 / 60.0)
    assert (visit.kind, visit.layer, visit.at_s, visit.before_s, visit.value_s) == ("lower", 2, 80.0, 30.0, 2.0)
    assert (visit.late_ok_s, visit.early_ok_s) == (math.inf, 40.0)
    assert best.settle_s.tolist() == [30.0, 30.0] + [2.0] * 8


def test_a_late_hand_raises_sooner_and_the_slack_says_so():
    demand = [0] * 10 + [20] * 2 + [0] * 10
    punctual, late = plan(demand, visits=2), plan(demand, visits=2, late_s=25.0)
    assert [v.layer for v in punctual.visits] == [10, 12]
    # cycles of 10 s: three layers before it are the first 25 s that cover a hand 25 s late, at 20 s more for each
    assert [v.layer for v in late.visits] == [7, 12]
    assert late.visits[0].kind == "raise"
    assert late.visits[0].late_ok_s == 30.0
    assert late.visits[0].early_ok_s == math.inf
    assert late.total_s == punctual.total_s + 3 * 20.0
    # a lowering 25 s late keeps layers 12 to 14 at 20 s, which begin 0, 30 and 60 s after it was due: only the first
    assert late.visits[1].late_cost_s == 20.0


def test_an_early_raise_costs_the_layers_it_reaches():
    raised = plan([0] * 10 + [20] * 10, early_s=25.0).visits[0]
    # layers 8 and 9 begin 20 and 10 s before it is due
    assert (raised.layer, raised.early_cost_s, raised.late_cost_s) == (10, 2 * 20.0, 0.0)


def test_an_early_hand_lowers_later():
    # 30 s and 10 s make a cycle of 40 s: a hand 50 s early must not reach layer 1, so one more layer waits
    (visit,) = plan([30, 30] + [0] * 8, early_s=50.0).visits
    assert (visit.layer, visit.early_ok_s) == (3, 80.0)


def test_nobody_there_means_the_longest_demand_for_all():
    for alone in (plan([30, 2, 2], visits=0), plan([30, 2, 2], until_s=39.0)):
        assert alone.visits == ()
        assert alone.settle_s.tolist() == [30.0] * 3
        assert alone.total_s == alone.alone_total_s == 120.0
    assert plan([30, 2, 2], until_s=40.0).visits[0].at_s == 40.0


def test_visits_keep_their_distance_and_the_first_may_come_at_once():
    demand = [30, 20, 10, 0, 0, 0, 0, 0]
    assert [v.layer for v in plan(demand).visits] == [1, 2, 3]
    apart = plan(demand, spacing_s=60.0)
    times = [v.at_s for v in apart.visits]
    assert (np.diff(times) >= 60.0).all()
    assert times[0] == 40.0


def test_a_steady_demand_needs_no_visit():
    steady = plan([4.2] * 5, step_s=0.5)
    assert steady.visits == ()
    assert steady.start_s == 4.5


def test_values_are_minimum_plus_steps():
    best = plan([3.2, 0.0], minimum_s=1.0, step_s=2.0)
    assert best.settle_s.tolist() == [5.0, 1.0]
    # rounding of a demand that is a whole number of steps must not cost a step: 0.1 + 0.2 in floats
    assert plan([0.1 + 0.2], step_s=0.1).start_s == 0.3


def test_a_demand_out_of_reach_is_named_and_the_rest_is_still_planned():
    best = plan([5.0, 90.0, 70.0, 5.0])
    assert (best.covers, best.short_layer, best.short_by_s) == (False, 1, 30.0)
    assert best.settle_s.tolist() == [5.0, 60.0, 60.0, 5.0]
    endless = plan([5.0, math.inf])
    assert (endless.covers, endless.short_layer, endless.short_by_s) == (False, 1, math.inf)
    fine = plan([5.0, 60.0])
    assert (fine.covers, fine.short_layer, fine.short_by_s) == (True, -1, 0.0)


def test_the_last_step_below_the_maximum_counts_as_the_largest():
    best = plan([59.5], maximum_s=59.5)
    assert (best.start_s, best.covers, best.short_by_s) == (59.0, False, 0.5)


def test_enough_visits_reach_the_obeyed_run():
    demand = np.array([9, 3, 3, 7, 1, 1, 4, 4], dtype=float)
    best = plan(demand, visits=4)
    assert best.total_s == best.obeyed_total_s == 80.0 + demand.sum()
    assert best.settle_s.tolist() == demand.tolist()
    assert plan(demand, visits=3).total_s > best.total_s


def test_three_visits_ten_minutes_apart_are_near_the_best_on_a_dying_demand():
    # common practice, no source: start high, 10 s less every 10 minutes for three steps. Cycle and decay are invented,
    # such that practice just covers the demand: the best three visits then save a few minutes of the hours both save
    count, rest, begins, values = 1500, 14.0, 0.0, []
    for _ in range(count):
        values.append(max(32.0 - 10.0 * (begins // 600.0), 2.0))
        begins += rest + values[-1]
    demand = np.maximum(32.0 * np.exp(-np.arange(count) / 19.0), 2.0)
    assert (np.array(values) >= demand).all()
    best = plan(demand, rest=rest, until_s=begins)
    assert 0.0 <= begins - best.total_s < 10.0 * 60.0
    assert best.alone_total_s - begins > 10.0 * 3600.0


def test_a_long_run_with_many_visits_and_fine_steps_is_planned():
    layers = np.arange(3000)
    demand = 2.0 + 58.0 * np.exp(-layers / 30.0) + 20.0 * (np.abs(layers - 1500) < 40)
    best = plan(demand, visits=8, step_s=0.1, late_s=60.0, early_s=60.0, spacing_s=120.0)
    assert (best.settle_s >= demand - 1e-9).all()
    assert len(best.visits) == 8
    assert (np.diff([v.at_s for v in best.visits]) >= 120.0).all()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"step_s": 0.0}, "step_s: must be a finite number, a millisecond or more, got 0"),
        ({"maximum_s": -1.0}, "maximum_s: must be finite and not below the minimum, got -1"),
        ({"visits": -1}, "visits: must be 0 or above, got -1"),
        ({"late_s": math.inf}, "late_s: must be a finite number, 0 or above, got inf"),
        ({"until_s": math.nan}, "until_s: must be 0 or above, got nan"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, message):
    with pytest.raises(DomainError, match=message):
        plan([1.0, 2.0], **change)


def test_every_mistake_is_named_at_once():
    with pytest.raises(DomainError) as caught:
        plan([1.0], step_s=0.0, late_s=-1.0, visits=-2)
    assert [m.where for m in caught.value.mistakes] == ["step_s", "late_s", "visits"]


def test_arrays_must_match_and_cycles_must_take_time():
    with pytest.raises(InputError, match="have shapes"):
        plan_visits(demand_s=[1.0, 2.0], rest_s=[1.0], maximum_s=9.0, step_s=1.0, visits=1)
    with pytest.raises(DomainError, match="a rest of 0 or less"):
        plan([1.0], rest=0.0)
    with pytest.raises(InputError, match="too many for 3000 layers"):
        plan(np.linspace(0.0, 60.0, 3000), step_s=0.001, visits=3)


@pytest.mark.parametrize(("visits", "taken"), [(6, 4), (3, 3), (1, 1)])
def test_a_fall_in_steps_meets_every_demand_and_takes_no_more_visits_than_allowed(visits, taken):
    """Reference: equal factors, 40 s to 4 s in k steps is 10**(1/k) each; steps of the controller leave an eighth of that."""
    demand, apart = [40.0] * 10 + [4.0] * 90, {"late_s": 60.0, "early_s": 30.0}
    at_once = plan(demand, visits=visits, **apart)
    found = plan(demand, visits=visits, steps=lambda settle_s, layer: 4, **apart)
    assert len(found.visits) == taken
    assert (found.settle_s >= np.array(demand)).all()
    assert found.visits[0].layer == at_once.visits[0].layer
    assert all(b.at_s - a.at_s >= 90.0 for a, b in pairwise(found.visits))
    assert [v.before_s / v.value_s for v in found.visits] == pytest.approx([10.0 ** (1.0 / taken)] * taken, rel=0.13)
    assert at_once.total_s <= found.total_s < at_once.alone_total_s


def test_a_fall_in_steps_ends_before_the_next_change_and_while_somebody_is_there():
    demand = [40.0] * 10 + [4.0] * 12 + [30.0] * 30
    found = plan(demand, visits=6, spacing_s=100.0, steps=lambda settle_s, layer: 5)
    assert (found.settle_s >= np.array(demand)).all()
    assert [v.kind for v in found.visits][-1] == "raise"
    assert all(b.at_s - a.at_s >= 100.0 for a, b in pairwise(found.visits))
    early = plan([40.0] * 10 + [4.0] * 90, visits=6, until_s=700.0, spacing_s=90.0, steps=lambda settle_s, layer: 5)
    assert early.visits
    assert all(v.at_s <= 700.0 for v in early.visits)
