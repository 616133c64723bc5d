"""How well a row of workshops fared: runs that held, chances said, time against the least that holds."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np

from vatwright.evidence.proportion import jeffreys
from vatwright.evidence.score import chance_classes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from benchmarks.workshop.series import Series, Turn


class Share(NamedTuple):
    """A count and its 90 % range."""

    count: int
    of: int

    @property
    def words(self) -> str:
        if not self.of:
            return "none"
        seen = jeffreys(events=self.count, runs=self.of)
        return f"{100.0 * self.count / self.of:.0f} % of {self.of} ({100.0 * seen.low:.0f}-{100.0 * seen.high:.0f} %)"


def first_holds(rows: Sequence[Series]) -> Share:
    return Share(sum(s.turns[0].ended.held for s in rows), len(rows))


def lost(rows: Sequence[Series], *, first: int = 0) -> Share:
    turns = [t for s in rows for t in s.turns[first:]]
    return Share(sum(not t.ended.held for t in turns), len(turns))


def not_true(rows: Sequence[Series]) -> Share:
    """First runs of jobs that ask for a tolerance and did not keep it."""
    asked = [s for s in rows if s.tolerance is not None]
    return Share(sum(not s.turns[0].ended.true for s in asked), len(asked))


def against_least(rows: Sequence[Series], run: int) -> tuple[float, float, float]:
    """Median, mean and 90th percentile of a run's time over the least that holds [-]."""
    found = np.array([s.turns[run].time_s / s.turns[run].least_s for s in rows if run < len(s.turns)])
    found = found[np.isfinite(found)]
    if not len(found):
        return math.nan, math.nan, math.nan
    return float(np.median(found)), float(found.mean()), float(np.quantile(found, 0.9))


def true_chance(turns: Sequence[Turn]) -> float:
    return float(np.mean([t.true_chance for t in turns]))


def totals(rows: Sequence[Series], run: int) -> tuple[float, int]:
    """Return the time of a run over the least that holds, all workshops together [-], and how many there are."""
    pairs = [(s.turns[run].time_s, s.turns[run].least_s) for s in rows if run < len(s.turns)]
    pairs = [p for p in pairs if math.isfinite(p[1])]
    return (sum(t for t, _ in pairs) / sum(least for _, least in pairs), len(pairs)) if pairs else (math.nan, 0)


def published(rows: Sequence[Series], *, made: str, command: str) -> dict[str, Any]:
    """Return the score as `vatwright.invented_workshops` reads it."""
    turns = [t for s in rows for t in s.turns]
    classes = chance_classes(said=[t.said for t in turns], held=[t.ended.held for t in turns])
    return {
        "made": made,
        "command": command,
        "workshops": len(rows),
        "runs": len(turns),
        "first": _said_and_held([s.turns[0] for s in rows]),
        "later": _said_and_held([t for s in rows for t in s.turns[1:]]),
        "classes": [[c.said, c.held, c.runs, c.seen.low, c.seen.high] for c in classes],
        "times": [[run + 1, *totals(rows, run)] for run in LOOKED_AT if totals(rows, run)[1]],
    }


LOOKED_AT = (0, 5, 19)
"""Runs, counted from 0, whose time is held against the least."""


def _said_and_held(turns: Sequence[Turn]) -> list[float]:
    held = sum(t.ended.held for t in turns)
    seen = jeffreys(events=held, runs=len(turns))
    return [float(np.mean([t.said for t in turns])), held, len(turns), seen.low, seen.high]


def report(rows: Sequence[Series]) -> str:
    """Return the score as the page has it."""
    turns = [t for s in rows for t in s.turns]
    lines = [
        "| what | measured |",
        "| --- | --- |",
        f"| first runs that held | {first_holds(rows).words} |",
        f"| chance said of all runs, and held | {_mean(turns):.1f} % said, {_held(turns):.1f} % held |",
        f"| runs lost, all | {lost(rows).words} |",
        f"| tolerance asked for and not kept in the first run | {not_true(rows).words} |",
    ]
    lines += [line for run in LOOKED_AT for line in _of_run(rows, run)]
    later = [t for s in rows for t in s.turns[1:]]
    if later:
        lines += [
            f"| runs lost after the first | {lost(rows, first=1).words} |",
            f"| chance said of them, and true | {_mean(later):.1f} % said, {100.0 * true_chance(later):.1f} % true |",
        ]
    lines += ["", "| chance said | said | held |", "| --- | --- | --- |"]
    lines += [
        f"| {100 * c.low:.0f}-{100 * c.high:.0f} % | {100 * c.said:.1f} % | {100 * c.held / c.runs:.1f} % of {c.runs} |"
        for c in chance_classes(said=[t.said for t in turns], held=[t.ended.held for t in turns])
    ]
    return "\n".join([*lines, "", *_by(rows, "size"), "", *_by(rows, "load"), "", *_losses(rows)])


def _of_run(rows: Sequence[Series], run: int) -> list[str]:
    """Time and chance of the so-manyth runs; nothing where none was made."""
    turns = [s.turns[run] for s in rows if run < len(s.turns)]
    if not turns:
        return []
    middle, mean, high = against_least(rows, run)
    together, said, true = totals(rows, run)[0], _mean(turns), 100.0 * true_chance(turns)
    what = f"{together:.2f} all together; {middle:.2f} median, {mean:.2f} mean, {high:.2f} at the 90 % point"
    return [
        f"| time of run {run + 1} over the least that holds | {what}, of {len(turns)} |",
        f"| chance of run {run + 1} | {said:.1f} % said, {true:.1f} % true |",
    ]


def _mean(turns: Sequence[Turn]) -> float:
    return 100.0 * float(np.mean([t.said for t in turns]))


def _held(turns: Sequence[Turn]) -> float:
    return 100.0 * float(np.mean([t.ended.held for t in turns]))


def _by(rows: Sequence[Series], what: str) -> list[str]:
    lines = [
        f"| {what} | first runs held | time of the first and of the last run over the least |",
        "| --- | --- | --- |",
    ]
    for name in sorted({getattr(s, what) for s in rows}):
        mine = [s for s in rows if getattr(s, what) == name]
        ends = [s.turns[k].time_s / s.turns[k].least_s for k in (0, -1) for s in mine]
        first, last = np.nanmedian(ends[: len(mine)]), np.nanmedian(ends[len(mine) :])
        lines.append(f"| {name} | {first_holds(mine).words} | {first:.2f}, {last:.2f} |")
    return lines


def _losses(rows: Sequence[Series]) -> list[str]:
    """What the runs that were lost were lost to, the first ones apart."""
    lines = ["| lost to | first runs | later runs |", "| --- | --- | --- |"]
    found: dict[str, list[int]] = {}
    for series in rows:
        for k, turn in enumerate(series.turns):
            if not turn.ended.held:
                what = turn.ended.events[0].what.value.replace("_", " ") if turn.ended.events else "something else"
                found.setdefault(what, [0, 0])[k > 0] += 1
    return lines + [f"| {what} | {a} | {b} |" for what, (a, b) in sorted(found.items())]


def runs_of(series: Series) -> list[str]:
    """Return every run of a workshop in a line."""
    asked = "" if series.tolerance is None else f", {100.0 * series.tolerance:.0f} % asked"
    lines = [f"workshop {series.seed}: {series.load} on a {series.size} machine, proven on {series.proof}{asked}"]
    for turn in series.turns:
        s, end = turn.settings, turn.ended
        told = ", ".join(e.what.value for e in end.events) or ("held" if end.held else "something else")
        lines.append(
            f"  said {turn.said:.2f} ({turn.low:.2f}-{turn.high:.2f}), true {turn.true_chance:.2f}: {told}"
            f"{'' if end.true else ', not true'}; time {turn.time_s / turn.least_s:.2f}; base {s.base.settle_s:.0f} s, "
            f"body {s.body.settle_s:.1f} s, rise {s.body.lift_m * 1e3:.1f} mm; "
            f"margins {' '.join(f'{m:+.2f}' for m in end.margins[:3])}"
        )
    best = series.least.settings
    lines.append(
        f"  least: base {best.base.settle_s:.0f} s, body {best.body.settle_s:.1f} s, rise {best.body.lift_m * 1e3:.1f} mm"
    )
    return lines
