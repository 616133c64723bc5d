"""How to keep a platform down long enough to tighten it: a first layer that lasts, within what the controller allows."""

from __future__ import annotations

import math

from vatwright.planning.level.corrections import cross_order
from vatwright.records.level import HoldDown, HoldStep, Mount, Screws
from vatwright.records.machine import Machine, Obeys
from vatwright.wording import to_join, to_say

PRACTICE_SETTLE_S = 600.0
PRACTICE_LIGHT_S = 600.0
"""Dark and light halves of the 1,200 s that a large platform is held down for [s]; common practice, no source."""

LEAST_LIGHT_S = 1.0
"""Light of a hold on a controller whose dark part suffices [s]; no layer has none; engineering estimate, no source."""

HANDS_OFF_SHARE = 0.1
HANDS_OFF_LEAST_S = 30.0
"""Weights come off this share of the hold, and at least so long, before the platform rises [-], [s]; engineering estimate."""

PASSES = (
    to_say("finger tight, no more"),
    to_say("a quarter turn each"),
    to_say("an eighth of a turn each"),
    to_say("round once more in the same order, until none moves"),
)
"""Passes in which the screws are brought up evenly; common practice, after the cross pattern used on flanges."""

CHECKS = (
    to_say("Machine stopped; vat taken out and covered; resin wiped off platform and screen."),
    to_say("Screen bare, clean and dry: no grit, no cured crumbs, run a clean finger in a glove over it."),
    to_say("Platform face and screws clean; no crumbs between platform and arm."),
    to_say("Paper in place over the whole screen, a folded strip of the same number of leaves under each corner."),
    to_say("The screws loose enough that the platform can follow the paper."),
    to_say("The key for the screws in your hand, and a clock that you can see."),
)

CAUTIONS = (
    to_say(
        "Weights stand over glass: soft weights (a bag of sand, a bottle of water), set down "
        "slowly, in the middle, never dropped."
    ),
    to_say("Keep fingers out from between platform, arm and screen: the drive does not feel them."),
    to_say(
        "The light comes on by itself under your hands: paper over the whole screen, glasses against UV, never look in."
    ),
    to_say("Weights off and hands away before it rises; a heavy stack on a light table can tip."),
    to_say(
        "Cured or wet resin on the parts you touch: gloves and eye protection; follow the resin's safety data sheet."
    ),
)


def hold_down(machine: Machine, screws: Screws, *, wanted_s: float) -> HoldDown:
    """Return how to keep the platform down for `wanted_s`, and what to do meanwhile.

    Parameters
    ----------
    machine : Machine
        Its controller's limits.
    screws : Screws
        What is tightened.
    wanted_s : float
        How long the platform should stay down [s].

    Returns
    -------
    HoldDown
        Settings, order, passes, clock.

    Notes
    -----
    The platform is down through settle, light and soak of one layer; it rises after each, so base layers do not add up.
    Dark and light share the time as practice has it; what one field does not allow goes to the others.
    """
    settle, light, soak = _split(machine, wanted_s)
    held = settle + light + soak
    off = held - max(HANDS_OFF_SHARE * held, min(HANDS_OFF_LEAST_S, held / 2.0))
    order = cross_order(screws.places)
    return HoldDown(
        wanted_s=wanted_s,
        held_s=held,
        settle_s=settle,
        exposure_s=light,
        soak_s=soak,
        starts=max(1, math.ceil(wanted_s / held - 1e-9)) if held > 0.0 else 0,
        weights_off_s=off,
        limits=_limits(machine, settle, light, soak, wanted_s),
        order=order,
        passes=PASSES,
        steps=_steps(screws, order, settle, light, held, off),
        checks=CHECKS,
        cautions=CAUTIONS,
    )


def _whole(machine: Machine, quantity: str, value_s: float, *, up: bool = False) -> float:
    """A value in whole steps of the controller, within its limits [s]."""
    rule = machine.controller.rule(f"base.{quantity}")
    if rule.obeys is Obeys.NO:
        return rule.fixed
    steps = value_s / rule.step
    whole = math.ceil(steps - 1e-6) if up else math.floor(steps + 1e-6)
    return min(max(round(whole * rule.step, 9), rule.minimum), rule.maximum)


def _split(machine: Machine, wanted_s: float) -> tuple[float, float, float]:
    """Settle, light and soak that add up to what is wanted, or to the most there is [s]."""
    dark_share = PRACTICE_SETTLE_S / (PRACTICE_SETTLE_S + PRACTICE_LIGHT_S)
    settle = _whole(machine, "settle_s", wanted_s * dark_share)
    light = _whole(machine, "exposure_s", max(wanted_s - settle, LEAST_LIGHT_S), up=True)
    settle = _whole(machine, "settle_s", max(wanted_s - light, settle), up=True)
    soak = _whole(machine, "soak_s", max(wanted_s - settle - light, 0.0), up=True)
    return settle, light, soak


def _limits(machine: Machine, settle: float, light: float, soak: float, wanted_s: float) -> tuple[str, ...]:
    """What the controller does not allow, in words."""
    found = []
    for quantity, label, value in (
        ("settle_s", to_say("settle"), settle),
        ("exposure_s", to_say("light"), light),
        ("soak_s", to_say("soak"), soak),
    ):
        rule = machine.controller.rule(f"base.{quantity}")
        if rule.obeys is Obeys.NO:
            found.append(
                to_say("{name} ignores {label}: it does {fixed:g} s", name=machine.name, label=label, fixed=rule.fixed)
            )
        elif value >= rule.maximum:
            found.append(
                to_say(
                    "{name} takes at most {maximum:g} s of {label}",
                    name=machine.name,
                    maximum=rule.maximum,
                    label=label,
                )
            )
        if rule.obeys is Obeys.SHARED and quantity != "soak_s":
            found.append(
                to_say("{label} is one value for base and body here: put it back before the next print", label=label)
            )
    held = settle + light + soak
    if held < wanted_s - 0.5:
        found.append(
            to_say(
                "one start holds {held:.0f} s, not {wanted:.0f}: stop it before it rises and start "
                "again, the platform stays put",
                held=held,
                wanted=wanted_s,
            )
        )
    return tuple(found)


def _steps(
    screws: Screws, order: tuple[str, ...], settle: float, light: float, held: float, off: float
) -> tuple[HoldStep, ...]:
    """What to do by the clock, from the platform's arrival."""
    clamp = to_say("clamp screws") if screws.mount is Mount.BALL else to_say("screws")
    route = to_join(order, ", ")
    begin = min(60.0, 0.1 * held)
    each = max(off - begin, 0.0) / (len(PASSES) + 1)
    steps = [
        HoldStep(
            at_s=-1.0,
            do=to_say("Loosen the {clamp}; start a print of one plain layer with these settings.", clamp=clamp),
        ),
        HoldStep(
            at_s=0.0,
            do=to_say("The platform is down on the paper: set the weights on its middle, or have a helper press."),
        ),
    ]
    steps += [
        HoldStep(at_s=begin + n * each, do=to_say("Pass {n}: {route}: {how}.", n=n + 1, route=route, how=how))
        for n, how in enumerate(PASSES)
    ]
    steps.append(
        HoldStep(
            at_s=settle,
            do=to_say("The light comes on under the paper: do not look in from the side; you may go on from above."),
        )
    )
    steps.append(HoldStep(at_s=off, do=to_say("Weights off, hands away, tools away.")))
    steps.append(
        HoldStep(at_s=held, do=to_say("It rises for the first time. Stop it, take the paper out, read the gaps again."))
    )
    return tuple(sorted(steps, key=lambda s: s.at_s)) if light > 0.0 else tuple(steps)
