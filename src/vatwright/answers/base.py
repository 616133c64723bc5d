"""The base, place by place, in words: who lets go first, and the cheapest mend."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Block, Column, Figure, Row, Table, said
from vatwright.answers.numbers import bench, celsius, duration, fixed, percent, plural, sentence, significant, typed

if TYPE_CHECKING:
    from vatwright.records.first_layer import BasePlace, FirstLayers, Mend

EVEN_UM = 1.0
"""Where what is to spare differs by less over the platform it is called the same everywhere [um]."""


class MendRow(NamedTuple):
    """One mend in words: what to change, what it costs, the chance after it, whether it does, and how or why not."""

    what: str
    cost: str
    chance: str
    does: str
    note: str


def base_holds(first: FirstLayers) -> bool:
    """Return whether the base of the plan holds as often as asked."""
    return first.chance >= first.enough


def gap_words(place: BasePlace, exposure_s: float) -> str:
    """Return the gap at a place against what the light bonds through there."""
    gap, bonds = (f"{significant(bench(v[1], 'um'), 2)} µm" for v in (place.gap_m, place.bonds_to_m))
    return f"the resin there is {gap} thick when the light comes on, and {typed(exposure_s)} s of light bonds through {bonds}"


def where_words(place: BasePlace) -> str:
    """Return a place as it stands in a sentence.

    Examples
    --------
    >>> from vatwright.records.first_layer import BasePlace
    >>> gap = {"gap_m": (1e-4, 2e-4, 3e-4), "bonds_to_m": (3e-4, 3e-4, 3e-4), "layer_m": 5e-5, "unsettled_m": 1e-4}
    >>> where_words(BasePlace(name="rear left", x_m=0, y_m=0, **gap, uneven_m=5e-5, tipped_m=0.0, chance=0.9))
    'at the rear left'
    """
    return "in the middle" if place.name == "middle" else f"at the {place.name}"


def first_sentence(first: FirstLayers) -> str:
    """Return which place lets go first, or is the tightest where all hold."""
    place, layer = first.worst, first.layers[first.first]
    words = gap_words(place, layer.exposure_s)
    chance = percent(first.chance)
    if base_holds(first):
        return f"The base holds everywhere (in {chance} of runs). Tightest {where_words(place)}: {words}."
    return (
        f"The base lets go first {where_words(place)}, in layer {layer.layer} (it holds in {chance} of runs): {words}."
    )


def mend_sentence(first: FirstLayers) -> str:
    """Return the cheapest mend, of the plan where it needs one, else of the proven values as typed in."""
    as_typed = f"{typed(first.typed.settle_s)} s settle, {typed(first.typed.exposure_s)} s light"
    if not first.mends:
        return f"Typed in as proven ({as_typed}) it would hold too, in {percent(first.typed.chance)} of runs."
    best = first.cheapest
    cure = (
        "no single change mends it" if best is None else f"the cheapest mend is {mend_words(best)}, {cost_words(best)}"
    )
    if first.mends_plan:
        return sentence(cure)
    there = where_words(first.typed.worst)
    holds = f"it would hold in only {percent(first.typed.chance)} of runs and let go first {there}"
    return f"Typed in as proven ({as_typed}) {holds}; {cure}."


def short_lines(first: FirstLayers) -> tuple[str, str]:
    """Return who lets go first and the cheapest mend, each in a line or two, for a base that does not hold."""
    place, best = first.worst, first.cheapest
    gap, bonds = (f"{significant(bench(v[1], 'um'), 2)} µm" for v in (place.gap_m, place.bonds_to_m))
    who = f"Lets go first {where_words(place)} (holds in {percent(first.chance)} of runs): {gap} there, {bonds} bond."
    cure = "no single change mends it" if best is None else f"cheapest mend: {_short_mend(best)}, {cost_words(best)}"
    return who, sentence(cure)


def _short_mend(mend: Mend) -> str:
    if mend.kind in {"settle", "exposure"}:
        return f"{typed(mend.to_value)} s of base {mend.kind}"
    if mend.kind == "warmth":
        return f"resin at {celsius(mend.to_value)}"
    return "levelling" if mend.kind == "level" else plural(round(mend.to_value), "base layer")


def mend_words(mend: Mend) -> str:
    """Return what a mend changes.

    Examples
    --------
    >>> from vatwright.records.first_layer import Mend
    >>> rest = {"minutes": 0.5, "chance": 0.9, "enough": True, "allowed": True, "note": ""}
    >>> mend_words(Mend(kind="settle", from_value=2.0, to_value=10.0, **rest))
    '10 s of base settle (2 s now)'
    >>> mend_words(Mend(kind="warmth", from_value=291.15, to_value=296.15, **rest))
    'resin warmed to 23 °C (18 °C now)'
    """
    if mend.kind in {"settle", "exposure"}:
        return f"{typed(mend.to_value)} s of base {mend.kind} ({typed(mend.from_value)} s now)"
    if mend.kind == "layers":
        return f"{plural(round(mend.to_value), 'base layer')} ({round(mend.from_value)} now)"
    if mend.kind == "warmth":
        return f"resin warmed to {celsius(mend.to_value)} ({celsius(mend.from_value)} now)"
    return "levelling the platform anew"


def cost_words(mend: Mend) -> str:
    """Return what a mend costs.

    Examples
    --------
    >>> from vatwright.records.first_layer import Mend
    >>> rest = {"from_value": 1.0, "to_value": 2.0, "chance": 0.9, "enough": True, "allowed": True, "note": ""}
    >>> cost_words(Mend(kind="settle", minutes=0.53, **rest))
    '32 s more'
    >>> cost_words(Mend(kind="level", minutes=30.0, source="practice:bench", **rest))
    'about 30 min before the run (common practice)'
    """
    if not mend.source:
        return f"{duration(60.0 * mend.minutes)} more" if mend.minutes > 0.0 else "no time"
    origin = "common practice" if mend.source.startswith("practice") else "estimate"
    return f"about {duration(60.0 * mend.minutes)} before the run ({origin})"


def mend_rows(first: FirstLayers) -> tuple[MendRow, ...]:
    """Return every mend, those that work first."""
    return tuple(
        MendRow(
            what=sentence(mend_words(m)).rstrip("."),
            cost=cost_words(m),
            chance=percent(m.chance),
            does="enough" if m.works else "not taken" if m.enough else "not enough",
            note=sentence(m.note),
        )
        for m in first.mends
    )


def mend_title(first: FirstLayers) -> str:
    """Return what the mends start from."""
    start = "this plan" if first.mends_plan else "the proven values typed in as they are"
    return f"What would make the base hold {fixed(100.0 * first.enough, 0)} % of runs, each alone, from {start}"


def notes(first: FirstLayers) -> tuple[str, ...]:
    """Return what was taken for granted."""
    return tuple(sentence(n) for n in first.notes)


def base_blocks(first: FirstLayers) -> tuple[Block, ...]:
    """Return everything that is said about the base: who lets go first, the mends in a table, the pictures."""
    lead = said(first_sentence(first), mend_sentence(first), pressure_sentence(first))
    figures = tuple(Figure(slug=s, data=first) for s in ("base-map", "base-corners", "base-pressure"))
    return (*lead, *mends_table(first), *figures, *said(*notes(first), role="note"))


def mends_table(first: FirstLayers) -> tuple[Block, ...]:
    """Return the mends, each alone; nothing where none is needed."""
    heads = ("change", "costs", "then holds", "does it do?", "because")
    rows = tuple(Row((r.what, r.cost, r.chance, r.does, r.note)) for r in mend_rows(first))
    title = mend_title(first)
    return (Table(title=title, columns=tuple(map(Column, heads)), rows=rows, slug="mends"),) if rows else ()


def pressure_sentence(first: FirstLayers) -> str:
    """Return what presses on the platform in the base, and how far off its centre."""
    hardest = max(first.pressures, key=lambda p: p.peak_moment_j)
    off = math.hypot(hardest.centre_x_m, hardest.centre_y_m)
    force = f"In base layer {hardest.layer} the resin presses with {significant(hardest.peak_n, 2)} N as the platform arrives"
    if off < 1.0e-3:
        return f"{force}, in the middle: nothing tips it."
    early, lit = (significant(j, 2) for j in (hardest.peak_moment_j, hardest.end_moment_j))
    moment = f"{early} N m at first and {lit} N m when the light comes on"
    return f"{force}, {fixed(bench(off, 'mm'), 0)} mm off its middle: that tips the platform with {moment}."
