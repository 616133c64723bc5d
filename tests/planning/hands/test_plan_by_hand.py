"""Controllers that share, ignore or limit what they are told."""

from __future__ import annotations

import numpy as np
import pytest
from tests.planning.workshop import carried, demo_job, demo_plate, job, machine, plate, settings, settle_rule

from vatwright.answers.hands import hand_note
from vatwright.planning.hands.plan_by_hand import WALK_S, one_value_for_both
from vatwright.records.job import Hands
from vatwright.records.machine import Controller, Obeys, Rule
from vatwright.records.plan import HandWhy

JUMPS = np.concatenate((np.full(8, 9.0), np.full(34, 1.5), np.full(10, 12.0), np.full(8, 4.0)))


def sheet_on(rules, **changes):
    target = machine("Albatross", width_mm=250.0, depth_mm=150.0, rules=rules)
    return carried(job(target=target, **changes), plate(JUMPS))


@pytest.fixture(scope="module")
def obeyed():
    return sheet_on(settle_rule())


@pytest.fixture(scope="module")
def fixed():
    return sheet_on(settle_rule(Obeys.SHARED))


def test_one_settle_that_nobody_can_change_serves_both(obeyed, fixed):
    sheet = fixed
    base, body = (sheet.advice(f"{phase}.settle_s") for phase in ("base", "body"))
    # the least single value that serves base and body is the larger of the two (logic)
    assert base.to_value == body.to_value == obeyed.advice("base.settle_s").to_value
    assert base.honoured == body.honoured == "shared"
    assert sheet.hand.visits == ()
    assert sheet.hand.why is HandWhy.FIXED
    assert "cannot be changed while it runs" in hand_note(sheet.hand, sheet.target)
    assert (sheet.layers.settle_given_s == base.to_value).all()
    assert sheet.time.to_s > obeyed.time.to_s
    assert sheet.hand.total_s == sheet.hand.alone_total_s


def test_one_settle_that_a_hand_can_change_is_stepped_down(obeyed):
    sheet = sheet_on(settle_rule(Obeys.SHARED, live=True), hands=Hands(visits=3))
    assert 1 <= len(sheet.hand.visits) <= 3
    assert sheet.hand.covers
    assert sheet.hand.start_value == obeyed.advice("base.settle_s").to_value
    assert sheet.hand.visits[-1].value == pytest.approx(obeyed.advice("body.settle_s").to_value, abs=1.0)
    assert sheet.hand.total_s < 0.5 * sheet.hand.alone_total_s
    assert sheet.advice("body.settle_s").by_hand
    assert "visit" in sheet.verdict


def test_nobody_there_is_as_good_as_a_controller_that_cannot(fixed):
    alone = sheet_on(settle_rule(Obeys.SHARED, live=True), hands=Hands(visits=0))
    assert alone.hand.visits == ()
    for name in ("base.settle_s", "body.settle_s"):
        assert alone.advice(name).to_value == fixed.advice(name).to_value


def test_ignored_settle_is_told_and_does_what_the_machine_does():
    sheet = sheet_on({"settle_s": Rule(obeys=Obeys.NO, fixed=1.0)})
    for phase in ("base", "body"):
        advice = sheet.advice(f"{phase}.settle_s")
        assert (advice.to_value, advice.honoured) == (1.0, "no")
        assert "ignores it" in advice.reason
    assert any("ignores settle" in risk.what for risk in sheet.risks)
    # what the base needs is far more than a second here: the honest answer is no
    assert sheet.advice("base.settle_s").high > 10.0  # what is shown holds what is set, a second, as well
    assert not sheet.holds
    assert all("set settle to 0 s" not in risk.do for risk in sheet.risks)


def test_a_base_beyond_the_greatest_value_is_not_covered():
    sheet = sheet_on(settle_rule(Obeys.SHARED, live=True, maximum=4.0))
    assert sheet.advice("base.settle_s").to_value == 4.0
    assert not sheet.hand.covers
    assert "more settle than this machine allows" in hand_note(sheet.hand, sheet.target)
    assert any("does not meet every demand" in risk.what for risk in sheet.risks)
    assert not sheet.holds


def test_a_limit_of_a_controller_that_obeys_is_told_too():
    sheet = sheet_on(settle_rule(maximum=4.0))
    assert sheet.advice("base.settle_s").to_value == 4.0
    assert "As far as Albatross goes" in sheet.advice("base.settle_s").reason
    assert not sheet.holds


@pytest.mark.parametrize("quantity", ["peel_lift_mm", "clear_lift_mm", "soak_s", "refill_s", "exposure_s"])
def test_the_larger_of_two_serves_both(quantity):
    both = settings().with_value(f"base.{quantity}", 0.007).with_value(f"body.{quantity}", 0.003)
    one = one_value_for_both(both, Controller(rules={quantity: Rule(obeys=Obeys.SHARED)}))
    assert one.value(f"base.{quantity}") == one.value(f"body.{quantity}") == 0.007


@pytest.mark.parametrize("quantity", ["peel_speed_mm_s", "clear_speed_mm_s", "return_speed_mm_s"])
def test_the_slower_of_two_serves_both(quantity):
    both = settings().with_value(f"base.{quantity}", 0.001).with_value(f"body.{quantity}", 0.003)
    one = one_value_for_both(both, Controller(rules={quantity: Rule(obeys=Obeys.SHARED)}))
    assert one.value(f"base.{quantity}") == one.value(f"body.{quantity}") == 0.001


def test_what_is_not_shared_stays():
    assert one_value_for_both(settings(), Controller()) == settings()


def test_visits_go_by_the_clock_of_the_machine_as_its_runs_taught_it(monkeypatch):
    """A machine whose runs take a fifth longer than its moves say: sheet, layers and hands name the same hour (logic)."""
    rules, hands = settle_rule(Obeys.SHARED, live=True), Hands(visits=3)
    told = sheet_on(rules, hands=hands)
    monkeypatch.setattr("vatwright.planning.carry.carry.pace_of", lambda *_: 1.2)
    slower = sheet_on(rules, hands=hands)
    assert slower.hand.total_s == pytest.approx(slower.time.to_s)
    assert slower.hand.total_s == pytest.approx(1.2 * told.hand.total_s, rel=0.05)
    assert slower.hand.visits
    for visit in slower.hand.visits:
        assert visit.at_s == pytest.approx(slower.layers.clock_s[visit.layer])


def test_no_walk_to_the_machine_saves_less_than_two_minutes():
    wren, albatross = demo_plate("Wren", lantern=5), demo_plate("Albatross", lantern=20, lantern_base=4)

    def planned(visits):
        return carried(demo_job("Albatross", hands=Hands(visits=visits, present_s=7200.0)), wren, albatross).hand

    many = planned(8)
    made = len(many.visits)
    assert 0 < made < 8
    # The plan with fewer is worked out anew, to rounded settings: hence not to the second.
    assert planned(made - 1).total_s - many.total_s >= 0.9 * WALK_S
