"""A carry sheet put into words once, for terminal, page and paper alike.  Formats what the record holds, no more."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.numbers import (
    celsius,
    clock,
    duration,
    fixed,
    margin_words,
    one_line,
    percent,
    percent_range,
    plural,
    resin_volume,
    sentence,
    setting_range,
    setting_value,
)
from vatwright.records.process import COUNT_SETTINGS, setting_name

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.plan import Advice, CarrySheet, HandPlan, Measurement, NotedRuns, Visit

HOUR_S = 3600.0


class SettingRow(NamedTuple):
    """One setting in words; `text_to` has its unit, `span` the 90 % range in the same unit."""

    name: str
    phase: str
    label: str
    text_from: str
    text_to: str
    span: str
    obeys: str
    obeys_short: str
    because: str
    surer: str
    by_hand: bool
    changed: bool
    sources: tuple[str, ...]


class HandStep(NamedTuple):
    """One act by hand: clock words ("before the start" for the first), what to set, to what, how late is safe."""

    clock: str
    what: str
    value: str
    layer: str
    safe: str


class RiskWords(NamedTuple):
    """One risk in words."""

    what: str
    where: str
    margin: str
    chance: str
    why: str
    do: str


class Headline(NamedTuple):
    """The top of a sheet."""

    job: str
    come_from: str
    go_to: str
    verdict: str
    chance: str
    time: str
    visits: str


def headline(sheet: CarrySheet) -> Headline:
    """Return the first lines of a sheet."""
    held = sheet.runs - sheet.failed
    proof = f"{plural(sheet.runs, 'run')} held" if not sheet.failed else f"{held} of {plural(sheet.runs, 'run')} held"
    resin = "" if sheet.resin.lower() in sheet.recipe.lower() else f"{one_line(sheet.resin)}, "
    success = sheet.success
    chance = f"Chance that it holds: {percent(success.mean)} ({percent_range(success.low, success.high)})."
    if sheet.noted is not None:
        chance = f"{chance} {noted_sentence(sheet.noted)}"
    return Headline(
        f"{one_line(sheet.job)}, {plural(sheet.pieces, 'piece')}",
        f"from {one_line(sheet.recipe)} ({proof}, {celsius(sheet.room_from_k)})",
        f"to {one_line(sheet.target)}, {resin}{celsius(sheet.room_k)}",
        sentence(sheet.verdict),
        chance,
        time_sentence(sheet),
        visits_sentence(sheet.hand),
    )


def noted_sentence(noted: NotedRuns) -> str:
    """Return how many runs of the notebook are weighed in, and how good the sheets for this machine have been.

    Examples
    --------
    >>> from vatwright.records.plan import NotedRuns
    >>> noted_sentence(NotedRuns(runs=9, machine="Heron", ran=4, held=3, said=0.91, said_of=4))
    '9 noted runs are weighed in: on Heron 3 of 4 held, where 91 % had been said.'
    """
    head = f"{plural(noted.runs, 'noted run')} {'is' if noted.runs == 1 else 'are'} weighed in"
    if not noted.ran:
        return f"{head}, none of them on {one_line(noted.machine)}."
    said = "" if noted.said is None else f", where {percent(noted.said)} had been said"
    some = "" if noted.said is None or noted.said_of == noted.ran else f" of {noted.said_of} of them"
    return f"{head}: on {one_line(noted.machine)} {noted.held} of {noted.ran} held{said}{some}."


def time_sentence(sheet: CarrySheet) -> str:
    """Return how long it takes on both machines."""
    run, origin = sheet.time, one_line(sheet.origin)
    pieces = f"all {sheet.pieces}" if sheet.pieces > 1 else "the piece"
    here = f"{duration(run.to_s)} for {pieces} on {plural(run.to_plates, 'plate')}"
    if run.from_plates == 0:
        return f"{here}; {duration(run.per_piece_to_s)} a piece ({origin} cannot take them)."
    there = f"{origin}: {duration(run.from_s)} on {plural(run.from_plates, 'plate')}"
    per_piece = f"{duration(run.per_piece_to_s)} a piece ({duration(run.per_piece_from_s)})"
    return f"{here} ({there}); {per_piece}."


def visits_sentence(hand: HandPlan | None) -> str:
    """Return how often a person has to come."""
    if hand is None:
        return "Nothing to do by hand: the controller does it all."
    if not hand.visits:
        return "Nobody needs to come during the run."
    last = duration(hand.visits[-1].at_s)
    return f"{plural(len(hand.visits), 'visit').capitalize()} by hand, the last after {last}."


def setting_label(name: str) -> tuple[str, str]:
    """Return the phase and the label of a setting.

    Examples
    --------
    >>> setting_label("base.settle_s"), setting_label("layer_mm"), setting_label("base.layers")
    (('base', 'settle'), ('all', 'layer thickness'), ('base', 'layers'))
    """
    if name == "layer_mm":
        return "all", "layer thickness"
    if name in COUNT_SETTINGS:
        return name.split(".", maxsplit=1)[0], "layers"
    setting = setting_name(name)
    return setting.phase, setting.label


def setting_si(sheet: CarrySheet, name: str) -> float:
    """Return the advised value of a setting, not-a-number where the sheet says nothing about it."""
    return next((a.to_value for a in sheet.settings if a.name == name), math.nan)


def setting_rows(sheet: CarrySheet) -> tuple[SettingRow, ...]:
    """Return every setting in words, in the sheet's order."""
    return tuple(_setting_row(a) for a in sheet.settings)


def _setting_row(advice: Advice) -> SettingRow:
    phase, label = setting_label(advice.name)
    before, after = setting_value(advice.name, advice.from_value), setting_value(advice.name, advice.to_value)
    long, short = _obeys(advice.honoured, phase)
    return SettingRow(
        advice.name,
        phase,
        label,
        before,
        after,
        setting_range(advice.name, advice.low, advice.high),
        long,
        short,
        sentence(advice.reason),
        _surer(advice),
        advice.by_hand,
        before != after or advice.by_hand,
        advice.sources,
    )


def _obeys(honoured: str, phase: str) -> tuple[str, str]:
    """Return the answer to "does it obey?", in full and cut to a narrow column."""
    if honoured == "shared":
        return "shares base and body", f"shares {'body' if phase == 'base' else 'base'}'s"
    return honoured, honoured


def _surer(advice: Advice) -> str:
    parts = [f"Most of the range comes from {one_line(advice.dominated_by)}."] if advice.dominated_by else []
    if advice.narrowed_by:
        parts.append(f"To narrow it: {one_line(advice.narrowed_by)}.")
    return " ".join(parts)


def hand_setting(sheet: CarrySheet, name: str) -> str:
    """Return what the controller calls the setting that is changed by hand."""
    phase, label = setting_label(name)
    advice = next((a for a in sheet.settings if a.name == name), None)
    return label if advice is None or advice.honoured == "shared" else f"{phase} {label}"


def hand_steps(sheet: CarrySheet) -> tuple[HandStep, ...]:
    """Return what a person does, the value set before the start first; empty where there is nothing to do."""
    hand = sheet.hand
    if hand is None:
        return ()
    hours = any(v.at_s >= HOUR_S for v in hand.visits)
    start = setting_value(hand.setting, hand.start_value)
    first = HandStep("before the start", hand_setting(sheet, hand.setting), start, "layer 0", "")
    return (first, *(_hand_step(sheet, v, hours=hours) for v in hand.visits))


def clock_unit(sheet: CarrySheet) -> str:
    """Return how the clock times of the hand schedule are to be read."""
    visits = sheet.hand.visits if sheet.hand else ()
    return "h:min:s" if any(v.at_s >= HOUR_S for v in visits) else "min:s"


def _hand_step(sheet: CarrySheet, visit: Visit, *, hours: bool) -> HandStep:
    return HandStep(
        clock(visit.at_s, hours=hours),
        hand_setting(sheet, visit.setting),
        setting_value(visit.setting, visit.value),
        f"from layer {visit.layer}",
        safe_window(visit),
    )


def safe_window(visit: Visit) -> str:
    """Return how late and how early a hand may be; what only costs time is said so."""
    late = "late only costs time" if math.isinf(visit.late_ok_s) else f"{duration(visit.late_ok_s, down=True)} late"
    if math.isinf(visit.early_ok_s):
        return f"{late}, early at any time"
    early = f"{duration(visit.early_ok_s, down=True)} early" if visit.early_ok_s >= 1.0 else "never early"
    return f"{late}, {early}"


def hand_cost(sheet: CarrySheet) -> tuple[str, ...]:
    """Return what the hands save, in sentences."""
    hand = sheet.hand
    if hand is None:
        return ()
    alone = (
        f"With nobody there: {setting_value(hand.setting, hand.alone_value)} throughout, {duration(hand.alone_total_s)}"
    )
    lines = [
        f"One plate takes {duration(hand.total_s)} this way. {alone}.",
        f"If the controller obeyed both values: {duration(hand.obeyed_total_s)}.",
    ]
    if not hand.covers:
        lines.insert(0, "This schedule does not give every layer what it needs.")
    if hand.note:
        lines.append(sentence(hand.note))
    return tuple(lines)


def risk_words(sheet: CarrySheet) -> tuple[RiskWords, ...]:
    """Return the risks in words, worst first as the sheet has them."""
    return tuple(
        RiskWords(
            sentence(r.what),
            f"layer {r.layer}" if r.layer >= 0 else "the whole run",
            "" if r.margin is None else margin_words(r.margin),
            percent(r.chance),
            sentence(r.why),
            sentence(r.do),
        )
        for r in sheet.risks
    )


def measurement_words(measure: Measurement) -> str:
    """Return one reading worth taking, and what it would do.

    Examples
    --------
    >>> from vatwright.records.plan import Measurement
    >>> measurement_words(Measurement(reading="read the dial under 5 kg", setting="body.settle_s", share_left=0.5,
    ...     minutes=2.0, how="Hang it on the arm"))
    'Read the dial under 5 kg (2 min): would leave 50 % of the range of body settle.'
    """
    phase, label = setting_label(measure.setting)
    what = label if phase == "all" else f"{phase} {label}"
    reading = sentence(measure.reading).rstrip(".")
    left = percent(measure.share_left)
    return f"{reading} ({duration(60.0 * measure.minutes)}): would leave {left} of the range of {what}."


def resin_sentence(sheet: CarrySheet) -> str:
    """Return how much resin to pour and what it is made of."""
    need = sheet.resin_need
    return (
        f"Pour {resin_volume(need.pour_m3)}: {resin_volume(need.parts_m3)} for the parts, "
        f"{resin_volume(need.drag_out_m3)} leaves with them, {resin_volume(need.pool_m3)} keeps the pool deep enough."
    )


def light_sentences(sheet: CarrySheet) -> tuple[str, ...]:
    """Return how much light a body layer gets on both machines and how deep it prints through; empty where not known."""
    light = sheet.light
    if light is None:
        return ()
    a, b = one_line(sheet.origin), one_line(sheet.target)
    least, most, through = (
        (fixed(getattr(light, f"from_{name}") * times, places), fixed(getattr(light, f"to_{name}") * times, places))
        for name, times, places in (("least_j_m2", 0.1, 1), ("most_j_m2", 0.1, 1), ("through_m", 1e6, 0))
    )
    doses = f"{least[1]} mJ/cm² where it is dimmest ({least[0]}) and {most[1]} mJ/cm² where it is brightest ({most[0]})"
    return (
        f"Under the parts a body layer on {b} gets {doses}; in brackets on {a}.",
        f"At the brightest spot many layers cure at most {through[1]} µm beyond an overhang ({through[0]} µm).",
    )


def cited(sheet: CarrySheet, cite: Callable[[str], str]) -> tuple[tuple[str, str], ...]:
    """Return every source of the sheet as (key, citation), each once, in the order of first use."""
    keys = [*sheet.sources, *(k for a in sheet.settings for k in a.sources), *(b.source for b in sheet.beliefs)]
    return tuple((one_line(k), one_line(cite(k))) for k in dict.fromkeys(keys) if k)


def how_sure(sheet: CarrySheet) -> str:
    """Return what the ranges mean."""
    covers = fixed(100.0 * sheet.confidence, 0)
    ranges = "A range in brackets holds 90 % of what may be needed"
    return f"{ranges}; the advice covers {covers} %, rounded to the machine's steps."
