"""The advice against what people do: common practice, no source.

Practice: a compact machine runs 2 + 3 mm and 2 s in the body; a mid one 6 mm and 2 to 3 s; a large one 8 mm and 4 s or
more; in the base 30 s, on large machines up to 60 s, and 10 mm there.  None of these numbers is in the program: the tests
at the end change what they should follow from, and they follow.
"""

from __future__ import annotations

import pytest
from attrs import evolve
from tests.planning.workshop import carried, demo_job, demo_machine, demo_plate, lowest

from vatwright.records.machine import Window
from vatwright.records.sourced import Kind, Sourced

LAYERS = 300
"""The lowest 15 mm of the plates: rafts, posts, sills and slabs with all their jumps, and the beginning of the steady rest."""

STEP_M, STEP_S = 0.0005, 0.5
"""Practice sets half millimetres and half seconds: a range that ends within one of them is next to it."""


@pytest.fixture(scope="module")
def proven():
    return lowest(demo_plate("Wren", lantern=5, lantern_base=1), LAYERS)


@pytest.fixture(scope="module")
def heron(proven):
    # twice the platform, twice the pieces
    return carried(demo_job("Heron"), proven, lowest(demo_plate("Heron", lantern=10, lantern_base=2), LAYERS))


@pytest.fixture(scope="module")
def albatross(proven):
    # three and a half times the platform, three and a half times the pieces
    return carried(demo_job("Albatross"), proven, lowest(demo_plate("Albatross", lantern=18, lantern_base=3), LAYERS))


def within(sheet, names, practice, *, step):
    """Whether a value of common practice lies in the range of a setting, or of a sum of settings, or next to it."""
    low = sum(sheet.advice(name).low for name in names)
    high = sum(sheet.advice(name).high for name in names)
    return low - step <= practice <= high + step


def lift(phase):
    return (f"{phase}.peel_lift_mm", f"{phase}.clear_lift_mm")


def test_body_lift_of_a_mid_machine(heron):
    assert within(heron, lift("body"), 0.006, step=STEP_M)
    assert within(heron, ["body.peel_lift_mm"], 0.003, step=STEP_M)
    assert within(heron, ["body.clear_lift_mm"], 0.003, step=STEP_M)


def test_body_lift_of_a_large_machine(albatross):
    assert within(albatross, lift("body"), 0.008, step=STEP_M)
    assert within(albatross, ["body.peel_lift_mm"], 0.003, step=STEP_M)
    assert within(albatross, ["body.clear_lift_mm"], 0.005, step=STEP_M)


def test_base_lift(heron, albatross):
    assert within(heron, lift("base"), 0.008, step=STEP_M)
    assert within(albatross, lift("base"), 0.010, step=STEP_M)


def test_body_settle(heron, albatross):
    assert within(heron, ["body.settle_s"], 2.0, step=STEP_S)
    assert within(heron, ["body.settle_s"], 3.0, step=STEP_S)
    assert within(albatross, ["body.settle_s"], 4.0, step=STEP_S)
    # the value advised covers nine worlds of ten: about what practice sets, not several times it
    assert 2.0 <= heron.advice("body.settle_s").to_value <= 6.0
    assert 4.0 <= albatross.advice("body.settle_s").to_value <= 8.0


def test_base_settle(heron, albatross):
    for sheet in (heron, albatross):
        base = sheet.advice("base.settle_s")
        assert 30.0 <= base.to_value <= 60.0
        assert base.low >= 30.0 - 2.0
        assert base.high <= 60.0 + 5.0


def test_the_hand_schedule_of_a_large_machine(albatross):
    # start high and step down while it makes its base, within the first quarter of an hour
    hand = albatross.hand
    assert 30.0 <= hand.start_value <= 60.0
    first = hand.visits[0]
    assert first.value < hand.start_value
    assert first.at_s < 15 * 60
    assert hand.covers
    assert hand.total_s < 0.5 * hand.alone_total_s


def test_both_hold_and_the_plates_fall_far_short_of_breaking_anything(heron, albatross):
    for sheet in (heron, albatross):
        assert sheet.holds
        # 150 to 400 N is what drives give (engineering estimate): no plate can press harder
        assert sheet.layers.screen_force_n.max() <= 400.0


# --- not by heart ------------------------------------------------------------------------------------------------------


def wren_twin(**changes):
    return evolve(demo_machine("Wren"), name="Wagtail", **changes)


def on(target, plate, **changes):
    return carried(demo_job(target, **changes), lowest(plate, 160))


@pytest.fixture(scope="module")
def small():
    return demo_plate("Wren", lantern=5, lantern_base=1)


@pytest.fixture(scope="module")
def twin(small):
    return on(wren_twin(), small)


def test_lift_follows_the_window(small, twin):
    # z = s tan(theta) (Rivlin 1944; trigonometry): the same plate under twice the distance from the frame
    reach = small.reach
    farther = evolve(small, reach=evolve(reach, reach_m=2.0 * reach.reach_m))
    window = Window(width_m=0.284, depth_m=0.220)
    target = carried(demo_job(wren_twin(window=window)), lowest(small, 160), lowest(farther, 160))
    for edge in ("low", "high"):
        ratio = getattr(target.advice("body.peel_lift_mm"), edge) / getattr(twin.advice("body.peel_lift_mm"), edge)
        assert ratio == pytest.approx(2.0, rel=1e-9)
    # the room above the release is carried, not scaled
    assert target.advice("body.clear_lift_mm").high < 2.0 * twin.advice("body.clear_lift_mm").high


def test_settle_follows_the_arm(small, twin):
    soft = Sourced.about(1.2e5, factor=1.1, source="user:reading", kind=Kind.READING)
    softer = on(wren_twin(stiffness_n_m=soft), small)
    for name in ("base.settle_s", "body.settle_s"):
        assert softer.advice(name).high > twin.advice(name).high
    assert softer.advice("body.peel_lift_mm").high == twin.advice("body.peel_lift_mm").high


def test_settle_follows_the_room(small, twin):
    cold = on(wren_twin(), small, room_k=twin.room_k - 8.0)
    for name in ("base.settle_s", "body.settle_s"):
        assert cold.advice(name).high > twin.advice(name).high
