"""Quick looks against the full carry of the same change, which they stand in for."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import demo_job, demo_plate, lowest

from vatwright.planning.carry.carry import PlateCounts, carry
from vatwright.planning.carry.quick_look import Planned, quick_look
from vatwright.records.quick_look import CHANCE_OFF, SETTLE_OFF

COUNTS = PlateCounts(origin=(400,), target=(400,))


@cache
def _plates():
    return lowest(demo_plate("Wren", lantern=5), 400), lowest(demo_plate("Albatross", lantern=20, lantern_base=4), 400)


def _full(job):
    """The full answer, and what a quick look starts from."""
    kept = []
    proven, target = _plates()

    def found(case, chosen):
        kept.append(Planned(case=case, chosen=chosen, plates=COUNTS))
        return ()

    sheet = carry(job, proven=proven, target=target, plates=COUNTS, found=found)
    return sheet, kept[0]


@cache
def _sheet():
    return _full(demo_job("Albatross"))


def _value(sheet, name):
    return next(a.to_value for a in sheet.settings if a.name == name)


def _changes():
    job = _sheet()[1].case.job
    return {
        "colder": evolve(job, room_k=job.room_k - 5.0),
        "warmer": evolve(job, room_k=job.room_k + 6.0),
        "less cover": evolve(job, confidence=0.8),
        "more cover": evolve(job, confidence=0.95),
        "nobody comes": evolve(job, hands=evolve(job.hands, visits=0)),
        "one visit": evolve(job, hands=evolve(job.hands, visits=1)),
    }


@pytest.mark.parametrize("change", ["colder", "warmer", "less cover", "more cover", "nobody comes", "one visit"])
def test_a_quick_look_agrees_with_the_full_carry_within_what_it_states(change):
    """Reference: the full carry, on all its worlds."""
    job = _changes()[change]
    full, _ = _full(job)
    now = quick_look(_sheet()[1], job=job).now
    assert now.success.mean == pytest.approx(full.success.mean, abs=CHANCE_OFF)
    step = max(job.target.controller.rule("body.settle_s").step, 0.1)
    for name in ("base.settle_s", "body.settle_s"):
        value = _value(full, name)
        coarse = 1.0 if value >= 10.0 else step
        assert now.settings.value(name) == pytest.approx(value, abs=SETTLE_OFF * value + coarse)
    # These are worked out in every world, so they are the full answer's to the last digit.
    for name in ("body.peel_lift_mm", "body.clear_lift_mm", "base.exposure_s", "body.exposure_s"):
        assert now.settings.value(name) == _value(full, name)
    assert now.to_s == pytest.approx(full.time.to_s, rel=SETTLE_OFF)


def test_nothing_changed_moves_nothing():
    sheet, planned = _sheet()
    for look in (quick_look(planned), quick_look(planned, job=evolve(planned.case.job))):
        assert look.now == look.before
        assert look.settle_off == 0.0
        assert look.now.success == sheet.success
        assert look.now.to_s == pytest.approx(sheet.time.to_s, rel=1e-12)


def test_a_value_set_by_hand_stands_and_the_others_stay():
    """Stefan's law: what waits less squeezes less, so bonds fail more often; a shorter rise lets fewer last points go."""
    _, planned = _sheet()
    before = planned.look()
    wanted = planned.chosen.wanted
    shorter = quick_look(planned, values={"body.clear_lift_mm": wanted.body.clear_lift_m - 0.002}).now
    assert shorter.settings.body.clear_lift_m == pytest.approx(wanted.body.clear_lift_m - 0.002)
    assert shorter.chances["release"] < before.chances["release"]
    assert shorter.chances["base"] == pytest.approx(before.chances["base"], abs=CHANCE_OFF)
    assert shorter.to_s < before.to_s
    brighter = quick_look(planned, values={"body.exposure_s": 1.3 * wanted.body.exposure_s}).now
    assert brighter.chances["body"] >= before.chances["body"]
    hasty = quick_look(planned, values={"base.settle_s": 1.0, "body.settle_s": 0.5}).now
    assert hasty.to_s < before.to_s
    slow = quick_look(planned, values={"body.return_speed_mm_s": 0.5 * wanted.body.return_speed_m_s}).now
    assert slow.to_s > before.to_s


def test_a_quick_look_keeps_machine_and_recipe():
    _, planned = _sheet()
    with pytest.raises(ValueError, match="machines and recipe"):
        quick_look(planned, job=evolve(planned.case.job, target=planned.case.job.origin))


def test_a_carry_asked_again_is_the_same_to_the_bit():
    """What is kept from carry to carry may change nothing."""
    job = evolve(_sheet()[1].case.job, room_k=_sheet()[1].case.job.room_k + 1.0)
    first, one = _full(job)
    again, other = _full(evolve(job, name="another name"))
    assert [a.to_value for a in first.settings] == [a.to_value for a in again.settings]
    assert np.array_equal(one.chosen.outcome.thickness_m, other.chosen.outcome.thickness_m)
    assert np.array_equal(one.case.worlds.overcure_m, other.case.worlds.overcure_m)
