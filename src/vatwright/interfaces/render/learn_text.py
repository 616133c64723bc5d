"""What the runs have taught, for the terminal: what to do next first, then beliefs, oddities and the score."""

from __future__ import annotations

import math
import textwrap
from typing import TYPE_CHECKING

from vatwright.answers.numbers import (
    bench,
    between,
    duration,
    one_line,
    percent,
    percent_range,
    plain,
    plural,
    resin_volume,
    setting_value,
    significant,
    unit_label,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.learned import Believed, HeldCount, LearnSheet, MachineScore, NextStep, PlainCount

COLUMNS = 100
MOST_BELIEFS = 14
"""Beliefs shown; the JSON has all."""

LEAST_SAVING_S = 30.0
"""Savings below this are not worth telling [s]."""


def learn_text(sheet: LearnSheet) -> str:
    """Return the sheet as text."""
    lines = _wrapped(_head(sheet))
    for title, items in (
        (f"Measure next, for {one_line(sheet.job)}", [step_words(s) for s in sheet.next_steps]),
        ("Where the model is off", [d.what for d in sheet.disagreements]),
    ):
        if items:
            lines += ["", title, *(line for item in items for line in _wrapped(item, head="  - "))]
    if sheet.believed:
        lines += ["", "What is believed, before and after the runs (90 % ranges)", *_table(sheet.believed)]
    for title, told in (
        ("How good the predictions were", [w for s in sheet.scores for w in score_words(s)]),
        ("From the runs alone", [count_words(c) for c in sheet.counts] + [plain_words(p) for p in sheet.plain]),
        ("Left out", sheet.left_out),
        ("Taken for granted", sheet.notes),
    ):
        if told:
            lines += ["", title, *(line for t in told for line in _wrapped(one_line(t), head="  - "))]
    return plain("\n".join(lines))


def _head(sheet: LearnSheet) -> str:
    whose = " with ".join(x for x in (sheet.machine and f"on {sheet.machine}", sheet.resin) if x)
    head = f"{plural(sheet.runs, 'run')}{' ' + one_line(whose) if whose else ''} learned from; {sheet.held} held."
    if sheet.next_steps:
        head += f" Most worth doing next: {one_line(sheet.next_steps[0].what)}."
    return head


def step_words(step: NextStep) -> str:
    """Return a next step as a sentence."""
    cost = duration(60.0 * step.minutes) + (f" and {resin_volume(step.resin_m3)}" if step.resin_m3 else "")
    what = "the chance that it holds" if step.setting == "chance" else step.setting
    saves = f"; worth about {duration(step.saves_s)} a run" if step.saves_s >= LEAST_SAVING_S else ""
    said = f"{step.what} ({cost}): leaves {percent(step.share_left)} of the range of {what}{saves}. {step.how}."
    return one_line(said)


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


def _table(believed: Sequence[Believed]) -> list[str]:
    rows = [("what", "before", "after", "moved by")]
    for b in believed[:MOST_BELIEFS]:
        whose = f" of {b.of}" if b.of else ""
        moved = ", ".join(p.run for p in b.moved_by[:2])
        unit = f" [{_unit(b.unit)}]"
        rows.append(
            (one_line(f"{b.name}{whose}{unit}"), _range(b.before, b.unit), _range(b.after, b.unit), one_line(moved))
        )
    widths = [max(len(row[k]) for row in rows) for k in range(3)]
    lines = ["  " + "   ".join((*(c.ljust(w) for c, w in zip(r, widths, strict=False)), r[3])).rstrip() for r in rows]
    hidden = len(believed) - MOST_BELIEFS
    return lines + ([f"  and {hidden} more: vatwright learn --json"] if hidden > 0 else [])


def _unit(unit: str) -> str:
    return "times" if not unit else "deg" if unit == "deg" else unit_label(unit)


def _range(values: tuple[float, float, float], unit: str) -> str:
    shown = [math.degrees(v) if unit == "deg" else bench(v, unit) if unit else v for v in values]
    return f"{significant(shown[1], 2)} ({significant(shown[0], 2)}-{significant(shown[2], 2)})"


def _wrapped(text: str, *, head: str = "") -> list[str]:
    return textwrap.wrap(text, COLUMNS, initial_indent=head, subsequent_indent=" " * len(head))
