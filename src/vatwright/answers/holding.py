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
    plural,
    significant,
)

if TYPE_CHECKING:
    from vatwright.records.holding import BendPlace, Holding, WeakPlace


def holding_answer(held: Holding) -> str:
    """Return the chance that everything holds on, and what it is and is not."""
    chance = f"{percent(held.mean)} ({percent_range(held.low, held.high)})"
    return f"Chance that nothing tears or peels off the platform in the whole run: {chance}."


def holding_lines(held: Holding) -> tuple[str, ...]:
    """Return what is known of the holding of the pieces, a sentence or two each, the answer first."""
    proof = "the proven runs are weighed in" if held.proof_counts else "no proven run tells about it"
    lines = [
        f"{holding_answer(held)} The chance of the whole run leaves this out; {proof}.",
        f"Weakest section: {place_words(held.weakest)}.",
        f"Weakest foot: {place_words(held.foot)}.",
        bend_words(held.bend),
    ]
    if held.detached:
        lines.append(f"{plural(held.detached, 'island')} hang on nothing and are left out here.")
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
    at = "on the platform" if place.layer == 0 else f"at {fixed(place.height_m * 1e3, 1)} mm (layer {place.layer})"
    area = f"{significant(bench(place.section_m2, 'mm2'), 2)} mm²"
    return (
        f"the {one_line(place.part)} {at}: its {area} carry {times_words(place)} the pull of about "
        f"{significant(place.pull_n, 2)} N"
    )


def times_words(place: WeakPlace) -> str:
    """Return how many times the pull is carried, with its range: over a wide one each number has two digits of its own."""
    low, middle, high = (significant(v, 2) for v in (place.low, place.margin, place.high))
    return f"{middle} times ({low}–{high})" if low != high else f"{middle} times"


def bend_words(bend: BendPlace) -> str:
    """Return where a pull at the edge strains most."""
    return (
        f"While an edge peels, the {one_line(bend.part)} is strained most at {fixed(bend.height_m * 1e3, 1)} mm: up to "
        f"{significant(bend.stress_pa / 1e6, 2)} MPa of about {significant(bend.strength_pa / 1e6, 2)} MPa."
    )
