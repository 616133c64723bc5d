"""The base, place by place, in words: who lets go first, and the cheapest mend."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.blocks import Block, Column, Figure, Row, Table, said
from vatwright.answers.numbers import bench, celsius, duration, fixed, percent, sentence, significant, typed
from vatwright.wording import say, say_many

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
    return say(
        "the resin there is {gap} thick when the light comes on, and {exposure} s of light bonds through {bonds}",
        gap=gap,
        exposure=typed(exposure_s),
        bonds=bonds,
    )


def where_words(place: BasePlace) -> str:
    """Return a place as it stands in a sentence.

    Examples
    --------
    >>> from vatwright.records.first_layer import BasePlace
    >>> gap = {"gap_m": (1e-4, 2e-4, 3e-4), "bonds_to_m": (3e-4, 3e-4, 3e-4), "layer_m": 5e-5, "unsettled_m": 1e-4}
    >>> where_words(BasePlace(name="rear left", x_m=0, y_m=0, **gap, uneven_m=5e-5, tipped_m=0.0, chance=0.9))
    'at the rear left'
    """
    return say("in the middle") if place.name == "middle" else say("at the {name}", name=place.name)


def first_sentence(first: FirstLayers) -> str:
    """Return which place lets go first, or is the tightest where all hold."""
    place, layer = first.worst, first.layers[first.first]
    words = gap_words(place, layer.exposure_s)
    chance = percent(first.chance)
    if base_holds(first):
        return say(
            "The base holds everywhere (in {chance} of runs). Tightest {where_words}: {words}.",
            chance=chance,
            where_words=where_words(place),
            words=words,
        )
    return say(
        "The base lets go first {where_words}, in layer {layer} (it holds in {chance} of runs): {words}.",
        where_words=where_words(place),
        layer=layer.layer,
        chance=chance,
        words=words,
    )


def mend_sentence(first: FirstLayers) -> str:
    """Return the cheapest mend, of the plan where it needs one, else of the proven values as typed in."""
    as_typed = say(
        "{settle} s settle, {exposure} s light",
        settle=typed(first.typed.settle_s),
        exposure=typed(first.typed.exposure_s),
    )
    if not first.mends:
        return say(
            "Typed in as proven ({as_typed}) it would hold too, in {chance} of runs.",
            as_typed=as_typed,
            chance=percent(first.typed.chance),
        )
    best = first.cheapest
    cure = (
        say("no single change mends it")
        if best is None
        else say(
            "the cheapest mend is {mend_words}; it takes {cost_words}",
            mend_words=mend_words(best),
            cost_words=cost_words(best),
        )
    )
    if first.mends_plan:
        return sentence(cure)
    there = where_words(first.typed.worst)
    holds = say(
        "it would hold in only {chance} of runs and let go first {there}",
        chance=percent(first.typed.chance),
        there=there,
    )
    return say("Typed in as proven ({as_typed}) {holds}; {cure}.", as_typed=as_typed, holds=holds, cure=cure)


def short_lines(first: FirstLayers) -> tuple[str, str]:
    """Return who lets go first and the cheapest mend, each in a line or two, for a base that does not hold."""
    place, best = first.worst, first.cheapest
    gap, bonds = (f"{significant(bench(v[1], 'um'), 2)} µm" for v in (place.gap_m, place.bonds_to_m))
    who = say(
        "Lets go first {where_words} (holds in {chance} of runs): {gap} there, {bonds} bond.",
        where_words=where_words(place),
        chance=percent(first.chance),
        gap=gap,
        bonds=bonds,
    )
    cure = (
        say("no single change mends it")
        if best is None
        else say("cheapest mend: {short_mend}, {cost_words}", short_mend=_short_mend(best), cost_words=cost_words(best))
    )
    return who, sentence(cure)


def _short_mend(mend: Mend) -> str:
    if mend.kind in {"settle", "exposure"}:
        return say("{to_value} s of base {kind}", to_value=typed(mend.to_value), kind=say(mend.kind))
    if mend.kind == "warmth":
        return say("resin at {to_value}", to_value=celsius(mend.to_value))
    return (
        say("levelling")
        if mend.kind == "level"
        else say_many(round(mend.to_value), "{n} base layer", "{n} base layers")
    )


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
        return say(
            "{to_value} s of base {kind} ({from_value} s now)",
            to_value=typed(mend.to_value),
            kind=say(mend.kind),
            from_value=typed(mend.from_value),
        )
    if mend.kind == "layers":
        return say(
            "{to_value} ({from_value} now)",
            to_value=say_many(round(mend.to_value), "{n} base layer", "{n} base layers"),
            from_value=round(mend.from_value),
        )
    if mend.kind == "warmth":
        return say(
            "resin warmed to {to_value} ({from_value} now)",
            to_value=celsius(mend.to_value),
            from_value=celsius(mend.from_value),
        )
    return say("levelling the platform anew")


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
        return say("{minutes} more", minutes=duration(60.0 * mend.minutes)) if mend.minutes > 0.0 else say("no time")
    origin = say("common practice") if mend.source.startswith("practice") else say("estimate")
    return say("about {minutes} before the run ({origin})", minutes=duration(60.0 * mend.minutes), origin=origin)


def mend_rows(first: FirstLayers) -> tuple[MendRow, ...]:
    """Return every mend, those that work first."""
    return tuple(
        MendRow(
            what=sentence(mend_words(m)).rstrip("."),
            cost=cost_words(m),
            chance=percent(m.chance),
            does=say("enough") if m.works else say("not taken") if m.enough else say("not enough"),
            note=sentence(m.note),
        )
        for m in first.mends
    )


def mend_title(first: FirstLayers) -> str:
    """Return what the mends start from."""
    start = say("this plan") if first.mends_plan else say("the proven values typed in as they are")
    return say(
        "Starting from {start}: what alone would make the base hold in {enough} % of runs",
        enough=fixed(100.0 * first.enough, 0),
        start=start,
    )


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
    heads = (say("change"), say("costs"), say("then holds"), say("does it do?"), say("because"))
    rows = tuple(Row((r.what, r.cost, r.chance, r.does, r.note)) for r in mend_rows(first))
    title = mend_title(first)
    return (Table(title=title, columns=tuple(map(Column, heads)), rows=rows, slug="mends"),) if rows else ()


def pressure_sentence(first: FirstLayers) -> str:
    """Return what presses on the platform in the base, and how far off its centre."""
    hardest = max(first.pressures, key=lambda p: p.peak_moment_j)
    off = math.hypot(hardest.centre_x_m, hardest.centre_y_m)
    force = say(
        "In base layer {layer} the resin presses with {peak} N as the platform arrives",
        layer=hardest.layer,
        peak=significant(hardest.peak_n, 2),
    )
    if off < 1.0e-3:
        return say("{force}, in the middle: nothing tips it.", force=force)
    early, lit = (significant(j, 2) for j in (hardest.peak_moment_j, hardest.end_moment_j))
    moment = say("{early} N m at first and {lit} N m when the light comes on", early=early, lit=lit)
    return say(
        "{force}, {off} mm off its middle: that tips the platform with {moment}.",
        force=force,
        off=fixed(bench(off, "mm"), 0),
        moment=moment,
    )
