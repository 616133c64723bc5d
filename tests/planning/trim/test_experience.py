"""What failed here does not come back, what held here is kept, and what has changed since is named."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from attrs import evolve
from tests.planning.trim.test_trim import COUNTS, bench, plan

from vatwright.answers.trim import experience_sentences
from vatwright.planning.hands import plan_by_hand
from vatwright.planning.trim.experience import ROOM_K, doubt_of, experienced
from vatwright.planning.trim.levers import STEP
from vatwright.planning.trim.trim import Trimming, trimmed
from vatwright.records.run import Event, Seen
from vatwright.records.taken import WhyNot
from vatwright.records.tried import Changed, TriedRun


def ran(name, settings, *seen, **changes):
    case, _ = plan()
    return TriedRun(
        run=name, held=not seen, events=tuple(Event(what=s) for s in seen), room_k=changes.pop("room_k", case.job.room_k),
        settings=settings, **changes,
    )  # fmt: skip


@cache
def today():
    return plan()[1].settings


def known(*runs):
    return experienced(bench(), runs)


def with_body(settle_s):
    return today().with_value("body.settle_s", settle_s)


@pytest.mark.parametrize(
    ("seen", "name"),
    [
        (Seen.LAYER_SPLIT, "body.settle_s"), (Seen.BASE_LET_GO, "base.settle_s"), (Seen.NOT_RELEASED, "body.peel_lift_mm"),
        (Seen.STUCK_TO_FILM, "base.peel_lift_mm"),
    ],
)  # fmt: skip
def test_what_failed_is_not_advised_again_with_or_without_trimming(seen, name):
    now, told = known(ran("one", today(), seen))
    assert now.today.settings.value(name) > today().value(name)
    assert {r.run for r in told.raised} == {"one"}
    assert trimmed(now)[0].settings.value(name) > today().value(name)


@pytest.mark.parametrize("seen", [Seen.THICK_BAND, Seen.LINES])
def test_where_layers_showed_though_it_held_body_settle_goes_no_lower(seen):
    plain = ran("one", today())
    assert trimmed(known(plain)[0])[0].settings.body.settle_s < today().body.settle_s
    marked = evolve(plain, events=(Event(what=seen),))
    assert trimmed(known(marked)[0])[0].settings.body.settle_s == today().body.settle_s


def test_a_row_of_failures_only_goes_up():
    """Each failure is of what was advised after those before it."""
    runs, settles = [], [today().body.settle_s]
    for k in range(3):
        runs.append(ran(f"run {k}", with_body(settles[-1]), Seen.LAYER_SPLIT))
        settles.append(known(*runs)[0].today.settings.body.settle_s)
    assert np.all(np.diff(settles) > 0.0)
    assert np.all(
        np.array(settles[1:]) <= np.array(settles[:-1]) / (1.0 - STEP) + 1.0
    )  # a step at most, and whole seconds


def test_what_held_is_kept_to_the_last_digit_and_does_not_move_again():
    held = ran("two", evolve(with_body(11.5), base=evolve(today().base, settle_s=41.0)))
    now, told = known(held)
    assert now.today.settings == held.settings
    assert told.kept == "two"
    again, _ = known(held, ran("three", now.today.settings))
    assert again.today.settings == now.today.settings


def test_only_the_layers_that_split_wait_longer_and_what_most_layers_wait_is_kept(monkeypatch):
    monkeypatch.setattr(plan_by_hand, "WALK_S", 0.0)  # in so short a run no walk saves what it has to
    case, first = plan(visits=3)
    start = Trimming(case=case, today=first, plates=COUNTS)
    split = TriedRun(
        run="one", held=False, events=(Event(what=Seen.LAYER_SPLIT, layer=43),), room_k=case.job.room_k,
        settings=first.settings, settle_s=first.settle_s,
    )  # fmt: skip
    more, _ = experienced(start, [split])
    assert more.today.settle_s[43] > first.settle_s[43]
    assert more.today.settle_s[-1] == first.settle_s[-1]
    held = evolve(split, run="two", held=True, events=(), settings=more.today.settings, settle_s=more.today.settle_s)
    now, told = experienced(start, [split, held])
    assert now.today.settle_s[43] > first.settle_s[43]
    assert now.today.settings == more.today.settings
    assert told.kept == "two"


def test_after_a_step_too_far_what_held_before_comes_back_and_trimming_stops_above_the_failure():
    held, failed = ran("one", with_body(9.0)), ran("two", with_body(7.5), Seen.LAYER_SPLIT)
    now, told = known(held, failed)
    assert now.today.settings.body.settle_s == 9.0
    assert told.kept == "one"
    less, taken = trimmed(now)
    assert (less, taken.why_not) == (now.today, WhyNot.FAILED)
    less, _ = trimmed(known(held, failed, evolve(held, run="three"))[0])
    assert 7.5 < less.settings.body.settle_s <= 9.0


def test_where_the_film_did_not_let_go_only_the_rise_goes_up_and_the_waits_that_held_are_kept():
    lower = today().with_value("body.clear_lift_mm", 0.8 * today().body.clear_lift_m)
    held = ran("one", with_body(9.0))
    failed = ran("two", lower.with_value("body.settle_s", 7.5), Seen.NOT_RELEASED)
    held_lower = ran("between", lower.with_value("body.settle_s", 8.0))
    now, told = known(held, held_lower, failed)
    assert now.today.settings.body.settle_s == 8.0
    assert now.today.settings.body.lift_m > lower.body.lift_m
    assert told.kept == "between"
    assert "All else is set as in run between" in " ".join(experience_sentences(told))


def test_steps_that_hold_lead_down_to_where_nothing_is_worth_taking():
    runs, settles = [], []
    for k in range(3):
        less = trimmed(known(*runs)[0])[0]
        settles.append(less.settings.body.settle_s)
        runs.append(ran(f"run {k}", less.settings))
    assert np.all(np.diff(settles) < 0.0)
    assert np.all(np.array(settles[1:]) >= (1.0 - STEP) * np.array(settles[:-1]) - 1e-9)


def test_a_failure_with_something_else_is_named_and_not_held_against_the_settings():
    cold = ran("cold", today(), Seen.LAYER_SPLIT, room_k=plan()[0].job.room_k - ROOM_K - 1.0)
    other = ran("other", today(), Seen.LAYER_SPLIT, changed=(Changed.PARTS, Changed.FILM))
    now, told = known(cold, other)
    assert now.today.settings == today()
    assert [(f.run, f.changed) for f in told.freed] == [
        ("cold", (Changed.ROOM,)), ("other", (Changed.PARTS, Changed.FILM)),
    ]  # fmt: skip
    said = " ".join(experience_sentences(told))
    assert "cold failed with a colder room" in said
    assert "other failed with other parts and another film" in said


def test_a_run_that_held_when_something_else_was_asked_for_is_no_reason_to_wait_as_long():
    now, told = known(ran("one", with_body(20.0), changed=(Changed.ASKED,)))
    assert now.today.settings == today()
    assert told.kept == ""


def test_after_k_failures_of_k_the_chance_said_is_one_to_bet_on():
    """Reference: Laplace's rule of succession, (0 + 1)/(k + 2), which knows nothing but the runs; from memory."""
    chances = []
    for k in range(5):
        runs = [ran(f"run {n}", today(), Seen.NOT_RELEASED, said=0.9) for n in range(k)]
        chances.append(known(*runs)[0].today.chance)
    assert chances == sorted(chances, reverse=True)
    assert chances[1] < chances[0] - 0.05
    assert chances[2] < 0.5
    assert chances[4] < 1.0 / 6.0 + 0.02
    assert trimmed(known(*[ran(n, today(), Seen.NOT_RELEASED) for n in ("a", "b")])[0])[1].taken == ()


def test_doubt_is_bayes_rule_on_two_cases_and_runs_that_hold_clear_it():
    """Reference: the odds by hand: 0.02/0.98 for a start, times 0.9/0.1 for each failure where 90 % had been said."""
    failed, held = (ran(n, today(), *seen, said=0.9) for n, seen in (("a", (Seen.NOT_RELEASED,)), ("b", ())))
    odds = 0.02 / 0.98 * 9.0
    assert doubt_of([failed], 0.9) == pytest.approx(odds / (1.0 + odds))
    assert doubt_of([held, held], 0.9) == 0.0
    assert doubt_of([failed, held, held], 0.9) < 0.01
    assert "2 of 2 runs" in " ".join(experience_sentences(known(failed, evolve(failed, run="c"))[1]))
