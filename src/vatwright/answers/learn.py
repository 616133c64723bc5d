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
    resin_volume,
    sentence,
    setting_value,
    share_words,
    significant,
    unit_label,
)
from vatwright.answers.settings import NO_SETTINGS
from vatwright.answers.trim import about
from vatwright.invented_workshops import invented_workshops
from vatwright.wording import in_words, say, say_many

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vatwright.answers.blocks import Block
    from vatwright.invented_workshops import SaidAndHeld
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
            "next",
            say("What to measure next, for {job}", job=one_line(sheet.job)),
            points(step_words(s) for s in sheet.next_steps),
        ),
        Part("off", say("Where is the model off?"), points(sentence(d.what) for d in sheet.disagreements)),
        Part("believed", say("What is believed, before and after the runs?"), _believed(sheet.believed)),
        Part("score", say("How good were the predictions?"), _scored(sheet.scores)),
        Part(
            "alone",
            say("What do the runs say by themselves?"),
            points(alone),
        ),
        Part("invented", say("How did it fare in invented workshops?"), _invented()),
        Part("out", say("Which runs are left out?"), points(map(sentence, sheet.left_out))),
        Part("granted", say("What is taken for granted?"), points(map(sentence, sheet.notes))),
        Part("sources", say("Sources"), tuple(Source(key, cite(key)) for key in sheet.sources)),
    )
    return Answer(
        name="learn",
        title=say("What have the runs taught?"),
        blocks=said(_lead(sheet), role="verdict"),
        pages=tuple(p for p in parts if p.blocks),
    )


def _lead(sheet: LearnSheet) -> str:
    whose = say(" with ").join(
        x for x in (sheet.machine and say("on {machine}", machine=sheet.machine), sheet.resin) if x
    )
    head = say(
        "{runs}{whose} learned from; {held} held.",
        runs=say_many(sheet.runs, "{n} run", "{n} runs"),
        whose=" " + one_line(whose) if whose else "",
        held=sheet.held,
    )
    if sheet.next_steps:
        head += say(" Most worth doing next: {what}.", what=one_line(sheet.next_steps[0].what))
    return head


def step_words(step: NextStep) -> str:
    """Return a next step as a sentence or three."""
    cost = about(60.0 * step.minutes) + (
        say(" and {resin}", resin=resin_volume(step.resin_m3)) if step.resin_m3 else ""
    )
    what = (
        say("what is not known of {thing}", thing=NO_SETTINGS[step.setting])
        if step.setting in NO_SETTINGS
        else say("the range of {setting_called}", setting_called=setting_called(step.setting))
    )
    saves = say(", and may save {saves} a run", saves=about(step.saves_s)) if step.saves_s >= LEAST_SAVING_S else ""
    do = sentence(step.what).rstrip(".")
    return say(
        "{do} ({cost}): cuts {what} by {share_left}{saves}. {how}",
        do=do,
        cost=cost,
        what=what,
        share_left=share_words(1.0 - step.share_left),
        saves=saves,
        how=sentence(step.how),
    )


def score_words(score: MachineScore) -> list[str]:
    """Return a machine's score as sentences."""
    where = say("on {machine}", machine=score.machine) if score.machine else say("all together")
    counts = "; ".join(
        say("said {said}, {held} of {runs} held", said=percent(c.said), held=c.held, runs=c.runs)
        + (say(" (surprising)") if c.surprise < SURPRISING else "")
        for c in score.classes
    )
    told = [one_line(f"{where}: {counts}.")]
    if 0.0 < score.base_rate < 1.0:
        better = say("better") if score.skill > 0.0 else say("no better")
        told.append(
            say(
                "{where}: Brier score {brier}, {better} than always saying {base_rate} (skill "
                "{skill:.2f}; 1 is perfect, 0 says nothing).",
                where=where,
                brier=significant(score.brier, 2),
                better=better,
                base_rate=percent(score.base_rate),
                skill=score.skill,
            )
        )
    if score.slope is not None:
        told.append(
            say(
                "{where}: slope of the odds that came true {slope:.1f} ± {slope_2:.1f}; below 1 is too sure.",
                where=where,
                slope=score.slope[0],
                slope_2=score.slope[1],
            )
        )
    for ratio, what in ((score.run_time, say("the time said")), (score.first_layer, say("the first layer said"))):
        if ratio is not None:
            span = between(ratio.low, ratio.high)
            times = say("{middle:.2f} times {what}", middle=ratio.middle, what=what) + (f" ({span})" if span else "")
            told.append(
                say(
                    "{where}: {times}, over {runs}.",
                    where=where,
                    times=times,
                    runs=say_many(ratio.runs, "{n} run", "{n} runs"),
                )
            )
    if score.caution is not None:
        cost = score.caution
        told.append(
            say(
                "{where}: runs that held took {waited} longer in all than the quickest of their job "
                "that held; runs of those jobs that failed took {lost} ({runs}).",
                where=where,
                waited=about(cost.waited_s),
                lost=about(cost.lost_s),
                runs=say_many(cost.runs, "{n} run", "{n} runs"),
            )
        )
    return [sentence(s) for s in told]


def count_words(count: HeldCount) -> str:
    """Return what the count of a machine's runs says by itself."""
    told = say(
        "{machine}: {held} of {runs} held; by that alone the next holds with {next_holds}, "
        "the next five all with {next_five_hold}, and {low} of runs hold",
        machine=count.machine,
        held=count.held,
        runs=count.runs,
        next_holds=percent(count.next_holds),
        next_five_hold=percent(count.next_five_hold),
        low=percent_range(count.low, count.high),
    )
    if count.more_to_show:
        more = say_many(count.more_to_show, "{n} more run", "{n} more runs")
        told += say("; {more} without a failure would show that nine in ten do", more=more)
    return one_line(f"{told}.")


def plain_words(count: PlainCount) -> str:
    """Return what the runs alone say of a setting."""
    told = say(
        "{capital} on {machine} with {resin}: failed at {setting}, held at {setting_2}",
        capital=capital(setting_called(count.setting)),
        machine=count.machine,
        resin=count.resin,
        setting=setting_value(count.setting, count.failed_at),
        setting_2=setting_value(count.setting, count.held_at),
    )
    if count.middle is not None:
        told += say("; half of the runs hold at about {setting}", setting=setting_value(count.setting, count.middle))
    return one_line(f"{told} ({say_many(count.runs, '{n} run', '{n} runs')}).")


def _whose(belief: Believed) -> str:
    return say("{name} of {whose}", name=belief.name, whose=belief.of) if belief.of else in_words(belief.name)


def _believed(believed: Sequence[Believed]) -> tuple[Block, ...]:
    """The beliefs as rows, then each as a picture."""
    rows = tuple(
        Row((
            one_line(f"{_whose(b)} [{_unit(b.unit)}]"), _range(b.before, b.unit),
            _range(b.after, b.unit), one_line(", ".join(p.run for p in b.moved_by[:2])),
        ))
        for b in believed[:MOST_BELIEFS]
    )  # fmt: skip
    hidden = len(believed) - MOST_BELIEFS
    note = say("Ranges are 90 %.") + (
        say(" {hidden} more: vatwright learn --json", hidden=hidden) if hidden > 0 else ""
    )
    columns = tuple(map(Column, (say("what"), say("before"), say("after"), say("moved by"))))
    pictures = tuple(Figure(slug=f"belief-moved-{n}", data=(b, n)) for n, b in enumerate(believed))
    return (Table(columns=columns, rows=rows, slug="believed", note=note), *pictures) if rows else ()


def evidence_words(belief: Believed) -> str:
    """Return which runs moved a belief, by how many of its former standard deviations."""
    moved = [p for p in belief.moved_by if abs(p.shift) >= LEAST_MOVED][:SEEN_MOST]
    if not moved:
        return say("Moved by many runs a little each.")
    told = (
        say(
            "{run} ({shift} by {shift_2:.1f} of its spread)",
            run=one_line(p.run),
            shift=say("up") if p.shift > 0 else say("down"),
            shift_2=abs(p.shift),
        )
        for p in moved
    )
    return say("Moved by {told}.", told="; ".join(told))


def _scored(scores: Sequence[MachineScore]) -> tuple[Block, ...]:
    """What the scores say, then the chances and the times as pictures."""
    if not scores:
        return said(say("No chance was said before any of these runs, so there is nothing to hold them against."))
    timed = any(s.machine and s.run_time is not None for s in scores)
    return (
        *points(words for s in scores for words in score_words(s)),
        *(Figure(slug=f"calibration-{n}", data=(s, n)) for n, s in enumerate(_worth_showing(scores))),
        *((Figure(slug="times-taken", data=(scores,)),) if timed else ()),
    )


def _invented() -> tuple[Block, ...]:
    """Chance said against held and time against the least, where the truth is known because it was invented."""
    score = invented_workshops()
    told = [
        say("First runs: {counted}.", counted=_counted(score.first)),
        say("Runs after them: {counted}.", counted=_counted(score.later)),
        *(
            say(
                "Run {run} took {ratio:.2f} times the least time that would have held, in {workshops} workshops.",
                run=t.run,
                ratio=t.ratio,
                workshops=t.workshops,
            )
            for t in score.times
        ),
    ]
    note = say(
        "{workshops} workshops with {runs} runs, worked out on {made} by {command}. They are richer than the model, and "
        "nothing of their truth was told to it.",
        workshops=score.workshops,
        runs=score.runs,
        made=score.made,
        command=score.command,
    )
    rows = tuple(
        Row((percent(c.said), say("{held} of {runs}", held=c.held, runs=c.runs), percent_range(c.low, c.high)))
        for c in score.classes
    )
    columns = tuple(map(Column, (say("chance said"), say("held"), say("so runs hold in"))))
    return (*points(told), Table(columns=columns, rows=rows, slug="invented", note=note))


def _counted(runs: SaidAndHeld) -> str:
    return say(
        "said {said}, {held} of {runs} held ({share})",
        said=percent(runs.said),
        held=runs.held,
        runs=runs.runs,
        share=percent_range(runs.low, runs.high),
    )


def _worth_showing(scores: Sequence[MachineScore]) -> Sequence[MachineScore]:
    """All machines together tell nothing more where there is one."""
    machines = [s for s in scores if s.machine]
    return machines if len(machines) == 1 else scores


def _unit(unit: str) -> str:
    return say("times") if not unit else say("deg") if unit == say("deg") else unit_label(unit)


def _range(values: tuple[float, float, float], unit: str) -> str:
    shown = [math.degrees(v) if unit == "deg" else bench(v, unit) if unit else v for v in values]
    return f"{significant(shown[1], 2)} ({significant(shown[0], 2)}-{significant(shown[2], 2)})"
