"""The clock of a run and the hands that are left, against sums on paper."""

from __future__ import annotations

import pytest
from attrs import evolve

from vatwright.planning.hands.replan import hand_slack, harm_of, replan, run_clock, short_layers
from vatwright.records.live_run import DueVisit, LiveRun, RunPlan, RunStep, Tap, TapKind
from vatwright.services.run_now import set_by_hand, with_tap

# Ten layers of 10 s and a wait: 30 s for the first two, 2 s after that.  On time: 2 x 40 s + 8 x 12 s = 176 s.
LOWER = DueVisit(key="v1", layer=2, value_s=2.0)
PLAN = RunPlan(
    job="j", machine="m", recipe="r", resin="s", setting="body.settle_s", label="settle", start_s=30.0,
    rest_s=(10.0,) * 10, needed_s=(30.0,) * 2 + (2.0,) * 8, visits=(LOWER,), maximum_s=60.0, step_s=1.0,
    present_s=7200.0, by_hand=True,
)  # fmt: skip
RUN = LiveRun(id="a", made_s=0.0, plan=PLAN)


def tapped(run, kind, at_s, about=""):
    tap = Tap(id=f"{kind}-{at_s}", kind=TapKind(kind), at_s=at_s, about=about)
    return evolve(run, steps=(*run.steps, RunStep(tap=tap, visits=() if about else run.visits)))


def test_a_run_on_time_and_one_hand_late():
    """Late by 50 s: layers 2 and 3 begin at 80 and 120 s with the old wait, 28 s more each."""
    started = tapped(RUN, "started", 0.0)
    assert run_clock(started, elapsed_s=0.0).total_s == pytest.approx(176.0)
    late = tapped(started, "done", 130.0, "v1")
    clock = run_clock(late, elapsed_s=130.0)
    assert clock.begins_s[2:5] == pytest.approx([80.0, 120.0, 160.0])
    assert clock.total_s == pytest.approx(176.0 + 2 * 28.0)
    assert short_layers(PLAN, clock) == []


def test_a_hand_too_early_leaves_a_layer_short():
    """At 30 s the second layer, which begins at 40 s, has not begun: it gets 2 s where it needs 30."""
    early = tapped(tapped(RUN, "started", 0.0), "done", 30.0, "v1")
    assert short_layers(PLAN, run_clock(early, elapsed_s=60.0)) == [(1, 1)]
    assert hand_slack(PLAN, LOWER, before_s=30.0) == (float("inf"), pytest.approx(40.0))


def test_what_could_not_be_done_is_laid_again():
    """Within 40 s of notice at 85 s the first layer to reach begins at 160 s: layer 4."""
    run = evolve(tapped(tapped(RUN, "started", 0.0), "could_not", 85.0, "v1"))
    (again,) = replan(run, elapsed_s=85.0, notice_s=40.0, visits=1, key="r")
    assert (again.layer, again.value_s) == (4, 2.0)


def test_a_tap_counts_once_and_the_first_answer_stands():
    run = with_tap(RUN, Tap(id="1", kind=TapKind.STARTED, at_s=5.0), now_s=5.0)
    done = Tap(id="2", kind=TapKind.DONE, at_s=90.0, about="v1")
    after = with_tap(run, done, now_s=100.0)
    assert after.visits == ()
    assert with_tap(after, done, now_s=200.0) is after
    assert with_tap(after, evolve(done, id="3", kind=TapKind.COULD_NOT), now_s=200.0) is after
    back = with_tap(after, Tap(id="4", kind=TapKind.BACK, at_s=101.0, about="2"), now_s=101.0)
    assert back.visits == (LOWER,)


def started(at_s=0.0):
    return with_tap(RUN, Tap(id="start", kind=TapKind.STARTED, at_s=at_s), now_s=at_s)


def test_what_a_hand_far_too_early_harms_is_known_before_it_is_done():
    """From the first layer on, two layers need 30 s and would get 2; once both have begun, nothing is harmed."""
    harm = harm_of(PLAN, LOWER, before_s=30.0, from_layer=0)
    assert (harm.first, harm.last, harm.given_s, harm.needed_s) == (0, 1, 2.0, 30.0)
    assert harm_of(PLAN, LOWER, before_s=30.0, from_layer=2) is None


def test_a_raise_that_is_never_made_harms_every_layer_that_needs_it():
    raised = evolve(PLAN, needed_s=(2.0,) * 4 + (20.0,) * 3 + (2.0,) * 3)
    harm = harm_of(raised, DueVisit(key="v", layer=4, value_s=20.0), before_s=2.0, from_layer=0)
    assert (harm.first, harm.last, harm.given_s, harm.needed_s) == (4, 6, 2.0, 20.0)


def test_done_far_too_early_asks_to_set_it_back_at_once():
    """At 5 s only the first layer has begun: the second, due at 40 s, is to have its 30 s again."""
    early = with_tap(started(), Tap(id="early", kind=TapKind.DONE, at_s=5.0, about="v1"), now_s=5.0)
    again, *later = early.visits
    assert (again.layer, again.value_s) == (1, 30.0)
    assert [(v.layer, v.value_s) for v in later] == [(2, 2.0)]
    clock = run_clock(early, elapsed_s=6.0)
    assert clock.wait_s.tolist() == [30.0, 30.0] + [2.0] * 8


def test_once_the_layer_is_shown_only_the_value_due_now_is_asked_for():
    """Visits at layers 2, 4 and 8; the machine is at 5: the first is past, the second due now, the third to come."""
    due = tuple(DueVisit(key=k, layer=n, value_s=v) for k, n, v in (("a", 2, 20.0), ("b", 4, 6.0), ("c", 8, 2.0)))
    run = evolve(RUN, plan=evolve(PLAN, visits=due, needed_s=(30.0,) * 2 + (20.0,) * 2 + (6.0,) * 4 + (2.0,) * 2))
    run = with_tap(run, Tap(id="start", kind=TapKind.STARTED, at_s=0.0), now_s=0.0)
    shown = with_tap(run, Tap(id="shown", kind=TapKind.LAYER, at_s=10.0, layer=5), now_s=10.0)
    assert [v.key for v in shown.visits] == ["b", "c"]
    assert [v.key for v in with_tap(run, Tap(id="s", kind=TapKind.LAYER, at_s=10.0, layer=9), now_s=10.0).visits] == [
        "c"
    ]
    back = with_tap(shown, Tap(id="back", kind=TapKind.BACK, at_s=11.0, about="shown"), now_s=11.0)
    assert back.visits == due


def test_what_hands_really_set_is_what_is_noted():
    """Late by 50 s: layers 0 to 3 had the old wait; ended at 200 s, eight of ten layers had begun (80 + 2 x 40 + 12 n s)."""
    late = with_tap(started(), Tap(id="late", kind=TapKind.DONE, at_s=130.0, about="v1"), now_s=130.0)
    found = set_by_hand(late, now_s=200.0)
    assert [(h.layer, h.settle_s) for h in found] == [(0, 30.0), (4, 2.0)]
    assert set_by_hand(RUN, now_s=200.0) == ()
    body = evolve(late, plan=evolve(PLAN, setting="body.settle_s", base_layers=1))
    assert set_by_hand(body, now_s=200.0)[0].layer == 1
