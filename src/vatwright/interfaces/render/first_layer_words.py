"""The base, place by place, in words and as data: who lets go first, and the cheapest mend."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from vatwright.answers.numbers import bench, celsius, duration, fixed, percent, plural, sentence, significant, typed

if TYPE_CHECKING:
    from vatwright.records.first_layer import BasePlace, FirstLayers, Mend

EVEN_UM = 1.0
"""Where what is to spare differs by less over the platform it is called the same everywhere [um]."""

PLACES = 9


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
    return f"{gap} thick there when the light comes on; {typed(exposure_s)} s of light bonds through {bonds}"


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
        return f"The base holds everywhere ({chance}). Tightest {where_words(place)}: {words}."
    return (
        f"The base lets go first {where_words(place)}, in layer {layer.layer} (it holds in {chance} of runs): {words}."
    )


def mend_sentence(first: FirstLayers) -> str:
    """Return the cheapest mend, of the plan where it needs one, else of the proven values as typed in."""
    as_typed = f"{typed(first.typed.settle_s)} s settle, {typed(first.typed.exposure_s)} s light"
    if not first.mends:
        return f"Typed in as proven ({as_typed}) it would hold too ({percent(first.typed.chance)})."
    best = first.cheapest
    cure = (
        "no single change mends it" if best is None else f"the cheapest mend is {mend_words(best)}, {cost_words(best)}"
    )
    if first.mends_plan:
        return sentence(cure)
    there = where_words(first.typed.worst)
    return f"Typed in as proven ({as_typed}) it would let go {there} ({percent(first.typed.chance)}); {cure}."


def short_lines(first: FirstLayers) -> tuple[str, str]:
    """Return who lets go first and the cheapest mend, each short enough for a line of a terminal."""
    place, best = first.worst, first.cheapest
    gap, bonds = (f"{significant(bench(v[1], 'um'), 2)} µm" for v in (place.gap_m, place.bonds_to_m))
    there = f"{gap} there of {bonds} that bond"
    if base_holds(first):
        who = f"Holds everywhere ({percent(first.chance)}); tightest {where_words(place)}: {there}"
    else:
        who = f"Lets go first {where_words(place)} (holds in {percent(first.chance)}): {there}"
    if not first.mends:
        return who, "Typed in as proven it would hold too"
    cure = "no single change mends it" if best is None else f"cheapest mend: {_short_mend(best)}, {cost_words(best)}"
    if first.mends_plan:
        return who, cure[0].upper() + cure[1:]
    typed_in = f"As typed in ({typed(first.typed.settle_s)} s settle) it holds in {percent(first.typed.chance)}"
    return who, f"{typed_in}; {cure}"


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


def base_lines(first: FirstLayers) -> tuple[str, ...]:
    """Return everything a terminal says about the base under the first screenful."""
    told = [first_sentence(first), mend_sentence(first)]
    if first.mends:
        told.append(f"{mend_title(first)}:")
        told += [f"{r.what}: {r.does}, {r.chance}; {r.cost}. {r.note}" for r in mend_rows(first)]
    told += [pressure_sentence(first), *notes(first)]
    return tuple(told)


class BaseView(NamedTuple):
    """What page and paper say about the base: sentences, the mends under their title, and what was taken for granted."""

    lead: tuple[str, ...]
    title: str
    mends: tuple[MendRow, ...]
    notes: tuple[str, ...]


def base_view(first: FirstLayers) -> BaseView:
    """Return what page and paper say about the base beside its pictures."""
    lead = (first_sentence(first), mend_sentence(first), pressure_sentence(first))
    return BaseView(lead, mend_title(first), mend_rows(first), notes(first))


def pressure_sentence(first: FirstLayers) -> str:
    """Return what presses on the platform in the base, and how far off its centre."""
    hardest = max(first.pressures, key=lambda p: p.peak_moment_j)
    off = math.hypot(hardest.centre_x_m, hardest.centre_y_m)
    force = f"In base layer {hardest.layer} the resin presses with {significant(hardest.peak_n, 2)} N as the platform arrives"
    if off < 1.0e-3:
        return f"{force}, in the middle: nothing tips it."
    moment = f"{significant(hardest.peak_moment_j, 2)} N m, {significant(hardest.end_moment_j, 2)} N m when the light comes on"
    return f"{force}, {fixed(bench(off, 'mm'), 0)} mm off its middle: it tips the platform with {moment}."


def first_layer_json(first: FirstLayers | None) -> dict[str, Any] | None:
    """Return the base as data; null where the sheet has none."""
    if first is None:
        return None
    shown = first.layers[first.first]
    return {
        "holds": base_holds(first),
        "chance": _number(first.chance),
        "enough": _number(first.enough),
        "layer": first.first,
        "worst": _place(first.worst),
        "level_read": first.level_read,
        "tip_read": first.tip_read,
        "layers": [
            {
                "layer": n.layer,
                "settle_s": _number(n.settle_s),
                "exposure_s": _number(n.exposure_s),
                "worst": _place(n.worst),
                "corners": [_place(c) for c in n.corners],
            }
            for n in first.layers
        ],
        "map": {
            "x_mm": [_number(v, "mm") for v in first.x_m.tolist()],
            "y_mm": [_number(v, "mm") for v in first.y_m.tolist()],
            "spare_um": [[_number(v, "um") for v in row] for row in shown.spare_m.tolist()],
            "chance": [[_number(v) for v in row] for row in shown.chance.tolist()],
        },
        "pressure": [
            {
                "layer": p.layer,
                "peak_N": _number(p.peak_n),
                "end_N": _number(p.end_n),
                "centre_x_mm": _number(p.centre_x_m, "mm"),
                "centre_y_mm": _number(p.centre_y_m, "mm"),
                "peak_moment_N_m": _number(p.peak_moment_j),
                "end_moment_N_m": _number(p.end_moment_j),
            }
            for p in first.pressures
        ],
        "typed": {
            "settle_s": _number(first.typed.settle_s),
            "exposure_s": _number(first.typed.exposure_s),
            "layer": first.typed.layer,
            "chance": _number(first.typed.chance),
            "worst": _place(first.typed.worst),
        },
        "mends_of": "plan" if first.mends_plan else "typed",
        "mends": [_mend(m) for m in first.mends],
        "notes": list(first.notes),
    }


def _mend(mend: Mend) -> dict[str, Any]:
    unit = {"settle": "s", "exposure": "s", "level": "um"}.get(mend.kind, "s")
    ends = (mend.from_value, mend.to_value)
    from_, to = (v - 273.15 if mend.kind == "warmth" else v for v in ends)
    return {
        "kind": mend.kind,
        "from": _number(from_, unit),
        "to": _number(to, unit),
        "unit": {"layers": "layers", "level": "um", "warmth": "C"}.get(mend.kind, "s"),
        "time_min": _number(mend.minutes),
        "chance": _number(mend.chance),
        "enough": mend.enough,
        "allowed": mend.allowed,
        "note": mend.note,
    }


def _place(place: BasePlace) -> dict[str, Any]:
    ranges = {"gap": place.gap_m, "bonds_to": place.bonds_to_m}
    parts = {
        f"{k}_um": _number(getattr(place, f"{k}_m"), "um") for k in ("layer", "unsettled", "uneven", "tipped", "spare")
    }
    return {
        "name": place.name,
        "x_mm": _number(place.x_m, "mm"),
        "y_mm": _number(place.y_m, "mm"),
        **{f"{k}_um": [_number(v, "um") for v in values] for k, values in ranges.items()},
        **parts,
        "chance": _number(place.chance),
    }


def _number(value: float, unit: str = "s") -> float:
    return round(bench(float(value), unit), PLACES) + 0.0
