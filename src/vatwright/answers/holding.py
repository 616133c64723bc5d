"""Whether the pieces hold on to the platform, in words."""
# ruff: noqa: RUF001, RUF002 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.numbers import (
    bench,
    fixed,
    one_line,
    percent,
    percent_range,
    significant,
)
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from vatwright.records.holding import BendPlace, Holding, WeakPlace


def holding_answer(held: Holding) -> str:
    """Return the chance that everything holds on, and what it is and is not."""
    chance = f"{percent(held.mean)} ({percent_range(held.low, held.high)})"
    return say("Chance that nothing tears or peels off the platform in the whole run: {chance}.", chance=chance)


def holding_lines(held: Holding) -> tuple[str, ...]:
    """Return what is known of the holding of the pieces, a sentence or two each, the answer first."""
    proof = say("the proven runs are weighed in") if held.proof_counts else say("no proven run tells about it")
    lines = [
        say(
            "{holding_answer} The chance that the run holds does not count this in; {proof}.",
            holding_answer=holding_answer(held),
            proof=proof,
        ),
        say("Weakest section: {place_words}.", place_words=place_words(held.weakest)),
        say("Weakest foot: {place_words}.", place_words=place_words(held.foot)),
        bend_words(held.bend),
    ]
    if held.detached:
        lines.append(
            say(
                "{detached} hang on nothing and are left out here.",
                detached=say_many(held.detached, "{n} island", "{n} islands"),
            )
        )
    return (*lines, *held.assumed)


def place_words(place: WeakPlace) -> str:
    """Return a place, what it carries, and how many times the pull that is.

    Examples
    --------
    >>> from vatwright.records.holding import WeakPlace
    >>> place_words(WeakPlace(part="lantern", alike=20, layer=248, height_m=0.0124, x_m=0.0, y_m=0.0,
    ...     section_m2=2.4e-6, pull_n=0.377, margin=31.4, low=8.2, high=120.0))
    'the lantern at 12.4 mm (layer 248): its 2.4 mm² carry 31 times (8.2–120) the pull of about 0.38 N'
    """
    at = (
        say("on the platform")
        if place.layer == 0
        else say("at {height} mm (layer {layer})", height=fixed(place.height_m * 1e3, 1), layer=place.layer)
    )
    area = f"{significant(bench(place.section_m2, 'mm2'), 2)} mm²"
    return say(
        "the {part} {at}: its {area} carry {times_words} the pull of about {pull} N",
        part=one_line(place.part),
        at=at,
        area=area,
        times_words=times_words(place),
        pull=significant(place.pull_n, 2),
    )


def times_words(place: WeakPlace) -> str:
    """Return how many times the pull is carried, with its range: over a wide one each number has two digits of its own."""
    low, middle, high = (significant(v, 2) for v in (place.low, place.margin, place.high))
    return (
        say("{middle} times ({low}–{high})", middle=middle, low=low, high=high)
        if low != high
        else say("{middle} times", middle=middle)
    )


def bend_words(bend: BendPlace) -> str:
    """Return where a pull at the edge strains most."""
    return say(
        "While an edge peels, the {part} is strained most at {height} mm: up to {stress_pa} "
        "MPa of about {strength_pa} MPa.",
        part=one_line(bend.part),
        height=fixed(bend.height_m * 1e3, 1),
        stress_pa=significant(bend.stress_pa / 1e6, 2),
        strength_pa=significant(bend.strength_pa / 1e6, 2),
    )
