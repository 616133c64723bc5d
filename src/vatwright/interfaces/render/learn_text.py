"""What the runs have taught, for the terminal: what to do next first, then beliefs, oddities and the score."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.blocks import Column, Part, Row, Table, points
from vatwright.answers.names import setting_called
from vatwright.answers.numbers import (
    bench,
    between,
    one_line,
    percent,
    percent_range,
    plural,
    resin_volume,
    sentence,
    setting_value,
    share_words,
    significant,
    unit_label,
)
from vatwright.answers.trim import about
from vatwright.interfaces.render.terminal import parts_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.learned import Believed, HeldCount, LearnSheet, MachineScore, NextStep, PlainCount

MOST_BELIEFS = 14
"""Beliefs shown; the JSON has all."""

LEAST_SAVING_S = 30.0
"""Savings below this are not worth telling [s]."""


def learn_text(sheet: LearnSheet, *, width: int = 80) -> str:
    """Return the sheet as text of so many columns."""
    parts = [
        Part("head", _head(sheet), ()),
        Part("next", f"Measure next, for {one_line(sheet.job)}", points(step_words(s) for s in sheet.next_steps)),
        Part("off", "Where the model is off", points(sentence(d.what) for d in sheet.disagreements)),
        Part("believed", "What is believed, before and after the runs (90 % ranges)", _table(sheet.believed)),
        Part("score", "How good the predictions were", points(w for s in sheet.scores for w in score_words(s))),
        Part("alone", "From the runs alone", points([*map(count_words, sheet.counts), *map(plain_words, sheet.plain)])),
        Part("out", "Left out", points(map(sentence, sheet.left_out))),
        Part("granted", "Taken for granted", points(map(sentence, sheet.notes))),
    ]
    return parts_text([p for p in parts if p.blocks or p.slug == "head"], width=width).rstrip("\n")


def _head(sheet: LearnSheet) -> str:
    whose = " with ".join(x for x in (sheet.machine and f"on {sheet.machine}", sheet.resin) if x)
    head = f"{plural(sheet.runs, 'run')}{' ' + one_line(whose) if whose else ''} learned from; {sheet.held} held."
    if sheet.next_steps:
        head += f" Most worth doing next: {one_line(sheet.next_steps[0].what)}."
    return head


def step_words(step: NextStep) -> str:
    """Return a next step as a sentence or three."""
    cost = about(60.0 * step.minutes) + (f" and {resin_volume(step.resin_m3)}" if step.resin_m3 else "")
    what = (
        "what is not known of the chance"
        if step.setting == "chance"
        else f"the range of {setting_called(step.setting)}"
    )
    saves = f", and may save {about(step.saves_s)} a run" if step.saves_s >= LEAST_SAVING_S else ""
    do = sentence(step.what).rstrip(".")
    return f"{do} ({cost}): cuts {what} by {share_words(1.0 - step.share_left)}{saves}. {sentence(step.how)}"


def score_words(score: MachineScore) -> list[str]:
    """Return a machine's score as sentences."""
    where = f"on {score.machine}" if score.machine else "all together"
    counts = "; ".join(
        f"said {percent(c.said)}, {c.held} of {c.runs} held" + (" (surprising)" if c.surprise < 0.05 else "")
        for c in score.classes
    )
    said = [one_line(f"{where}: {counts}.")]
    if 0.0 < score.base_rate < 1.0:
        better = "better" if score.skill > 0.0 else "no better"
        said.append(
            f"{where}: Brier score {significant(score.brier, 2)}, {better} than always saying {percent(score.base_rate)}"
            f" (skill {score.skill:.2f}; 1 is perfect, 0 says nothing)."
        )
    if score.slope is not None:
        said.append(
            f"{where}: slope of the odds that came true {score.slope[0]:.1f} +- {score.slope[1]:.1f}; below 1 is too sure."
        )
    for ratio, what in ((score.run_time, "the time said"), (score.first_layer, "the first layer said")):
        if ratio is not None:
            span = between(ratio.low, ratio.high)
            told = f"{ratio.middle:.2f} times {what}" + (f" ({span})" if span else "")
            said.append(f"{where}: {told}, over {plural(ratio.runs, 'run')}.")
    if score.caution is not None:
        cost = score.caution
        said.append(
            f"{where}: runs that held took {about(cost.waited_s)} longer in all than the quickest of their job that held; "
            f"runs of those jobs that failed took {about(cost.lost_s)} ({plural(cost.runs, 'run')})."
        )
    return [one_line(s) for s in said]


def count_words(count: HeldCount) -> str:
    """Return what the count of a machine's runs says by itself."""
    said = (
        f"{count.machine}: {count.held} of {count.runs} held; by that alone the next holds with "
        f"{percent(count.next_holds)}, the next five all with {percent(count.next_five_hold)}, and "
        f"{percent_range(count.low, count.high)} of runs hold"
    )
    if count.more_to_show:
        more = plural(count.more_to_show, "more run")
        said += f"; {more} without a failure would show that nine in ten do"
    return one_line(f"{said}.")


def plain_words(count: PlainCount) -> str:
    """Return what the runs alone say of a setting."""
    said = (
        f"{count.setting} on {count.machine} with {count.resin}: failed at "
        f"{setting_value(count.setting, count.failed_at)}, held at {setting_value(count.setting, count.held_at)}"
    )
    if count.middle is not None:
        said += f"; half of the runs hold at about {setting_value(count.setting, count.middle)}"
    return one_line(f"{said} ({plural(count.runs, 'run')}).")


def _table(believed: Sequence[Believed]) -> tuple[Table, ...]:
    rows = tuple(
        Row((
            one_line(f"{b.name}{f' of {b.of}' if b.of else ''} [{_unit(b.unit)}]"), _range(b.before, b.unit),
            _range(b.after, b.unit), one_line(", ".join(p.run for p in b.moved_by[:2])),
        ))
        for b in believed[:MOST_BELIEFS]
    )  # fmt: skip
    hidden = len(believed) - MOST_BELIEFS
    note = f"And {hidden} more: vatwright learn --json" if hidden > 0 else ""
    columns = tuple(map(Column, ("what", "before", "after", "moved by")))
    return (Table(columns=columns, rows=rows, slug="believed", note=note),) if rows else ()


def _unit(unit: str) -> str:
    return "times" if not unit else "deg" if unit == "deg" else unit_label(unit)


def _range(values: tuple[float, float, float], unit: str) -> str:
    shown = [math.degrees(v) if unit == "deg" else bench(v, unit) if unit else v for v in values]
    return f"{significant(shown[1], 2)} ({significant(shown[0], 2)}-{significant(shown[2], 2)})"
