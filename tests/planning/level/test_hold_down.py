"""Holding a platform down: 600 s dark and 600 s light make 1,200 s (common practice, no source), within limits."""

from __future__ import annotations

from pathlib import Path

import pytest
from attrs import evolve

from vatwright.files.read import read_shop
from vatwright.planning.level.hold_down import hold_down
from vatwright.records.level import Mount, Screw, Screws
from vatwright.records.machine import Controller, Machine, Obeys, Rule

SHOP = read_shop(Path(__file__).parents[3] / "demo" / "shop.toml")
SCREWS = Screws(
    mount=Mount.FOUR,
    places=tuple(
        Screw(name=n, x_m=x, y_m=y)
        for n, x, y in (("fl", -0.1, -0.05), ("fr", 0.1, -0.05), ("rr", 0.1, 0.05), ("rl", -0.1, 0.05))
    ),
    pitch_m=7e-4,
    clockwise_raises=False,
)


def machine(**rules: Rule) -> Machine:
    return evolve(SHOP.machines[0], controller=Controller(rules=rules))


def test_practice_of_the_large_platform() -> None:
    hold = hold_down(machine(), SCREWS, wanted_s=1200.0)
    assert (hold.settle_s, hold.exposure_s, hold.soak_s, hold.held_s, hold.starts) == (600.0, 600.0, 0.0, 1200.0, 1)
    assert not hold.limits


@pytest.mark.parametrize(
    ("settle", "light", "soak", "wanted"),
    [
        (120.0, 1e9, 1e9, (120.0, 1080.0, 0.0)),
        (1e9, 120.0, 1e9, (1080.0, 120.0, 0.0)),
        (120.0, 120.0, 1e9, (120.0, 120.0, 960.0)),
        (120.0, 120.0, 60.0, (120.0, 120.0, 60.0)),
    ],
)
def test_what_one_field_cannot_hold_goes_to_the_others(
    settle: float, light: float, soak: float, wanted: tuple[float, float, float]
) -> None:
    limits = {"settle_s": settle, "exposure_s": light, "soak_s": soak}
    rules = {name: Rule(obeys=Obeys.YES, maximum=most, step=0.5) for name, most in limits.items()}
    hold = hold_down(machine(**rules), SCREWS, wanted_s=1200.0)
    assert (hold.settle_s, hold.exposure_s, hold.soak_s) == wanted
    assert hold.held_s == sum(wanted)
    assert hold.starts == (1 if sum(wanted) >= 1200.0 else 4)
    assert any("at most" in x for x in hold.limits)
    assert any("one start holds" in x for x in hold.limits) == (hold.held_s < 1200.0)


def test_a_controller_that_ignores_settle_holds_by_light() -> None:
    hold = hold_down(machine(settle_s=Rule(obeys=Obeys.NO, fixed=2.0)), SCREWS, wanted_s=1200.0)
    assert (hold.settle_s, hold.exposure_s) == (2.0, 1198.0)
    assert any("ignores settle" in x for x in hold.limits)


def test_weights_come_off_before_it_rises_and_passes_before_that() -> None:
    hold = hold_down(machine(), SCREWS, wanted_s=1200.0)
    assert hold.weights_off_s <= hold.held_s - 30.0
    at = {step.do.split(":")[0]: step.at_s for step in hold.steps}
    assert at["Weights off, hands away, tools away."] == hold.weights_off_s
    assert all(at[f"Pass {n}"] < hold.weights_off_s for n in range(1, 5))
    assert max(step.at_s for step in hold.steps) == hold.held_s
    assert [step.at_s for step in hold.steps] == sorted(step.at_s for step in hold.steps)


def test_cross_pattern_goes_across_the_middle() -> None:
    """Each screw of a pass is followed by the one opposite to it: the cross pattern of flanges (common practice)."""
    order = hold_down(machine(), SCREWS, wanted_s=1200.0).order
    opposite = {"fl": "rr", "rr": "fl", "fr": "rl", "rl": "fr"}
    assert sorted(order) == sorted(opposite)
    assert opposite[order[0]] == order[1]
    assert opposite[order[2]] == order[3]


def test_cautions_name_glass_fingers_and_light() -> None:
    told = " ".join(hold_down(machine(), SCREWS, wanted_s=1200.0).cautions).lower()
    assert all(word in told for word in ("glass", "fingers", "light", "weights off", "safety data sheet"))
