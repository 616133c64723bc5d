"""What the runs have taught, in words: what to do next first, then beliefs, oddities and the score."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Column, Figure, Part, Row, Source, Table, points, said
from vatwright.answers.names import capital, setting_called
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

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vatwright.answers.blocks import Block
    from vatwright.records.learned import Believed, HeldCount, LearnSheet, MachineScore, NextStep, PlainCount

MOST_BELIEFS = 14
"""Beliefs shown; the JSON has all."""

SEEN_MOST = 3
"""Runs named under a belief."""

LEAST_MOVED = 0.05
"""A run that moved a belief by less than this share of its spread is not named [-]."""

SURPRISING = 0.05
"""A count this unlikely, had what was said been right, is told as off [-]; a customary level."""

LEAST_SAVING_S = 30.0
"""Savings below this are not worth telling [s]."""


def learn_answer(sheet: LearnSheet, *, cite: Callable[[str], str]) -> Answer:
    """Return in words what the runs have taught.

    Parameters
    ----------
    sheet : LearnSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    alone = [*map(count_words, sheet.counts), *map(plain_words, sheet.plain)]
    parts = (
        Part(
            "next", f"What to measure next, for {one_line(sheet.job)}", points(step_words(s) for s in sheet.next_steps)
        ),
        Part("off", "Where is the model off?", points(sentence(d.what) for d in sheet.disagreements)),
        Part("believed", "What is believed, before and after the runs?", _believed(sheet.believed)),
        Part("score", "How good were the predictions?", _scored(sheet.scores)),
        Part(
            "alone",
            "What do the runs say by themselves?",
            points(alone),
        ),
        Part("out", "Which runs are left out?", points(map(sentence, sheet.left_out))),
        Part("granted", "What is taken for granted?", points(map(sentence, sheet.notes))),
        Part("sources", "Sources", tuple(Source(key, cite(key)) for key in sheet.sources)),
    )
    return Answer(
        name="learn",
        title="What have the runs taught?",
        blocks=said(_lead(sheet), role="verdict"),
        pages=tuple(p for p in parts if p.blocks),
    )


def _lead(sheet: LearnSheet) -> str:
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
        f"said {percent(c.said)}, {c.held} of {c.runs} held" + (" (surprising)" if c.surprise < SURPRISING else "")
        for c in score.classes
    )
    told = [one_line(f"{where}: {counts}.")]
    if 0.0 < score.base_rate < 1.0:
        better = "better" if score.skill > 0.0 else "no better"
        told.append(
            f"{where}: Brier score {significant(score.brier, 2)}, {better} than always saying {percent(score.base_rate)}"
            f" (skill {score.skill:.2f}; 1 is perfect, 0 says nothing)."
        )
    if score.slope is not None:
        told.append(
            f"{where}: slope of the odds that came true {score.slope[0]:.1f} ± {score.slope[1]:.1f}; below 1 is too sure."
        )
    for ratio, what in ((score.run_time, "the time said"), (score.first_layer, "the first layer said")):
        if ratio is not None:
            span = between(ratio.low, ratio.high)
            times = f"{ratio.middle:.2f} times {what}" + (f" ({span})" if span else "")
            told.append(f"{where}: {times}, over {plural(ratio.runs, 'run')}.")
    if score.caution is not None:
        cost = score.caution
        told.append(
            f"{where}: runs that held took {about(cost.waited_s)} longer in all than the quickest of their job that held; "
            f"runs of those jobs that failed took {about(cost.lost_s)} ({plural(cost.runs, 'run')})."
        )
    return [sentence(s) for s in told]


def count_words(count: HeldCount) -> str:
    """Return what the count of a machine's runs says by itself."""
    told = (
        f"{count.machine}: {count.held} of {count.runs} held; by that alone the next holds with "
        f"{percent(count.next_holds)}, the next five all with {percent(count.next_five_hold)}, and "
        f"{percent_range(count.low, count.high)} of runs hold"
    )
    if count.more_to_show:
        more = plural(count.more_to_show, "more run")
        told += f"; {more} without a failure would show that nine in ten do"
    return one_line(f"{told}.")


def plain_words(count: PlainCount) -> str:
    """Return what the runs alone say of a setting."""
    told = (
        f"{capital(setting_called(count.setting))} on {count.machine} with {count.resin}: failed at "
        f"{setting_value(count.setting, count.failed_at)}, held at {setting_value(count.setting, count.held_at)}"
    )
    if count.middle is not None:
        told += f"; half of the runs hold at about {setting_value(count.setting, count.middle)}"
    return one_line(f"{told} ({plural(count.runs, 'run')}).")


def _believed(believed: Sequence[Believed]) -> tuple[Block, ...]:
    """The beliefs as rows, then each as a picture."""
    rows = tuple(
        Row((
            one_line(f"{b.name}{f' of {b.of}' if b.of else ''} [{_unit(b.unit)}]"), _range(b.before, b.unit),
            _range(b.after, b.unit), one_line(", ".join(p.run for p in b.moved_by[:2])),
        ))
        for b in believed[:MOST_BELIEFS]
    )  # fmt: skip
    hidden = len(believed) - MOST_BELIEFS
    note = "Ranges are 90 %." + (f" {hidden} more: vatwright learn --json" if hidden > 0 else "")
    columns = tuple(map(Column, ("what", "before", "after", "moved by")))
    pictures = tuple(Figure(slug=f"belief-moved-{n}", data=(b, n)) for n, b in enumerate(believed))
    return (Table(columns=columns, rows=rows, slug="believed", note=note), *pictures) if rows else ()


def evidence_words(belief: Believed) -> str:
    """Return which runs moved a belief, by how many of its former standard deviations."""
    moved = [p for p in belief.moved_by if abs(p.shift) >= LEAST_MOVED][:SEEN_MOST]
    if not moved:
        return "Moved by many runs a little each."
    told = (f"{one_line(p.run)} ({'up' if p.shift > 0 else 'down'} by {abs(p.shift):.1f} of its spread)" for p in moved)
    return f"Moved by {'; '.join(told)}."


def _scored(scores: Sequence[MachineScore]) -> tuple[Block, ...]:
    """What the scores say, then the chances and the times as pictures."""
    if not scores:
        return said("No chance was said before any of these runs, so there is nothing to hold them against.")
    timed = any(s.machine and s.run_time is not None for s in scores)
    return (
        *points(words for s in scores for words in score_words(s)),
        *(Figure(slug=f"calibration-{n}", data=(s, n)) for n, s in enumerate(_worth_showing(scores))),
        *((Figure(slug="times-taken", data=(scores,)),) if timed else ()),
    )


def _worth_showing(scores: Sequence[MachineScore]) -> Sequence[MachineScore]:
    """All machines together tell nothing more where there is one."""
    machines = [s for s in scores if s.machine]
    return machines if len(machines) == 1 else scores


def _unit(unit: str) -> str:
    return "times" if not unit else "deg" if unit == "deg" else unit_label(unit)


def _range(values: tuple[float, float, float], unit: str) -> str:
    shown = [math.degrees(v) if unit == "deg" else bench(v, unit) if unit else v for v in values]
    return f"{significant(shown[1], 2)} ({significant(shown[0], 2)}-{significant(shown[2], 2)})"
