"""What the runs have taught in pictures: beliefs before and after, chances said against what held, times said against taken."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.learn import SURPRISING, evidence_words
from vatwright.answers.names import capital
from vatwright.answers.numbers import bench, between, fixed, one_line, percent, percent_range, unit_label
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.belief_plot import belief_plot
from vatwright.interfaces.render.pictures.plots import Drawing, Spot
from vatwright.records.plan import BeliefChange
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.learned import Believed, ChanceCount, MachineScore, TimesSaid

LINE_PX = 15.0
"""Height of a line of words in a picture [px]."""

ROW_PX = 34.0
NAME_PX = 118.0


def moved_belief(belief: Believed, number: int) -> Drawing:
    """Return a belief as two overlaid shapes, before and after, with the runs that moved it."""
    before, after = (_shown(values, belief.unit) for values in (belief.before, belief.after))
    unit = "°" if belief.unit == "deg" else unit_label(belief.unit) if belief.unit else "-"
    name = capital(say("{name} of {of}", name=belief.name, of=belief.of) if belief.of else belief.name)
    change = BeliefChange(name=name, unit=unit, before=before, after=after, kind="the runs in the notebook", source="")
    figure = belief_plot(change, number)
    note = say(
        "In {unit}. {evidence_words}",
        unit=unit if unit != "-" else say("no unit"),
        evidence_words=evidence_words(belief),
    )
    return figure._replace(slug=f"belief-moved-{number}", note=note, columns=("when", *figure.columns[1:]))


def _shown(values: tuple[float, float, float], unit: str) -> tuple[float, float, float]:
    low, middle, high = (math.degrees(v) if unit == "deg" else bench(v, unit) if unit else v for v in values)
    return low, middle, high


# --- chances said against what held ----------------------------------------------------------------------------------


def calibration(score: MachineScore, number: int) -> Drawing:
    """Return the share that held against the chance said, with counts and the range that each count allows."""
    frame = svg.Frame(
        svg.axis(say("chance said [%]"), 0.0, 100.0), svg.axis(say("share that held [%]"), 0.0, 100.0), height=300.0
    )
    diagonal = svg.stroke("soft", 1.4, "5 3")
    start, end = (frame.at_x(v) for v in (0.0, 100.0))
    marks = [frame.axes(), svg.tag("line", x1=start, y1=frame.at_y(0.0), x2=end, y2=frame.at_y(100.0), style=diagonal)]
    spots: list[tuple[float, float]] = []
    for count in score.classes:
        marks += _counted(frame, count, spots)
    marks.append(
        svg.key([
            svg.Key(say("as said"), diagonal), svg.Key(say("held, 90 % range"), svg.stroke("accent", 2.2)),
        ])
    )  # fmt: skip
    where = say("On {machine}", machine=one_line(score.machine)) if score.machine else say("All together")
    slug, title = f"calibration-{number}", f"{where}: {calibration_finding(score.classes)}"
    picture = svg.drawing(
        slug=slug, title=title, width=frame.width, height=frame.height, children=marks,
        description=say("A mark is runs of which about the same chance was said; on the broken line what was "
"said came true."),
    )  # fmt: skip
    columns = (say("said"), say("held"), say("of"), say("share that the count allows"), say("how unlikely"))
    rows = tuple(
        (
            percent(c.said), str(c.held), say_many(c.runs, "{n} run", "{n} runs"), percent_range(c.seen_low, c.seen_high),
            say("surprising") if c.surprise < SURPRISING else say("as it goes"),
        )
        for c in score.classes
    )  # fmt: skip
    told = tuple(
        Spot(
            frame.at_x(100.0 * c.said),
            frame.at_y(100.0 * c.held / c.runs),
            say(
                "said {said}, {held} of {runs} held; that allows {seen_low}",
                said=percent(c.said),
                held=c.held,
                runs=c.runs,
                seen_low=percent_range(c.seen_low, c.seen_high),
            ),
        )
        for c in score.classes
    )
    return Drawing(slug, title, picture, columns, rows, say("Ranges are 90 %."), told)


def _counted(frame: svg.Frame, count: ChanceCount, spots: list[tuple[float, float]]) -> list[svg.Svg]:
    """One mark with its range, and its count under it where no other count stands yet."""
    x, y = frame.at_x(100.0 * count.said), frame.at_y(100.0 * count.held / count.runs)
    low, high = (frame.at_y(100.0 * v) for v in (count.seen_low, count.seen_high))
    text = say("{held} of {runs}", held=count.held, runs=count.runs)
    half = len(text) * svg.CHARACTER_PX / 2.0
    at_x, at_y = min(max(x, frame.left + half), frame.width - half), low + LINE_PX
    while any(abs(at_x - a) < 2.0 * half + 6.0 and abs(at_y - b) < LINE_PX for a, b in spots):
        at_y += LINE_PX
    spots.append((at_x, at_y))
    return [
        svg.tag("line", x1=x, x2=x, y1=low, y2=high, style=svg.stroke("accent", 2.2)),
        svg.tag("circle", cx=x, cy=y, r=5, style=svg.fill("accent")),
        svg.words(text, at_x, at_y, anchor="middle"),
    ]


def calibration_finding(classes: Sequence[ChanceCount]) -> str:
    """Return what the counts say of the chances: as said, or where they were off."""
    off = [c for c in classes if c.surprise < SURPRISING]
    told = off or sorted(classes, key=lambda c: -c.runs)[:1]
    counts = "; ".join(
        say_many(
            c.runs,
            "{said} was said, {held} of {n} run held",
            "{said} was said, {held} of {n} runs held",
            said=percent(c.said),
            held=c.held,
        )
        for c in told
    )
    if not classes:
        return say("no chance was said before a run yet")
    return f"{counts}, {say('which is off') if off else say('no surprise')}"


# --- times said against times taken ----------------------------------------------------------------------------------


def times_taken(scores: Sequence[MachineScore]) -> Drawing:
    """Return by what factor runs took longer than said, machine by machine; of one machine at least a time was read."""
    told = [(one_line(s.machine), s.run_time) for s in scores if s.machine and s.run_time is not None]
    ends = [v for _, t in told for v in (t.low, t.high)]
    along = svg.axis(say("time taken over time said [-]"), min(0.8, *ends), max(1.2, *ends))
    height = 40.0 + ROW_PX * len(told) + 44.0
    rows_axis = svg.Axis("", 0.0, float(len(told)), ())
    frame = svg.Frame(along, rows_axis, height=height, left=NAME_PX)
    marks = [frame.axes(), frame.upright(1.0, svg.stroke("soft", 1.4, "5 3"))]
    at_y = [frame.top + ROW_PX * (n + 0.5) + 6.0 for n in range(len(told))]
    for (machine, times), y in zip(told, at_y, strict=True):
        marks += _one_machine(frame, machine, times, y)
    marks.append(
        svg.key(
            [
                svg.Key(say("as said"), svg.stroke("soft", 1.4, "5 3")),
                svg.Key(say("taken, 90 % range"), svg.stroke("accent", 2.2)),
            ]
        )
    )
    worst = max(told, key=lambda pair: abs(math.log(pair[1].middle)))
    title = say("Runs on {worst} took {middle:.2f} times as long as said", worst=worst[0], middle=worst[1].middle)
    picture = svg.drawing(
        slug="times-taken", title=title, width=frame.width, height=height, children=marks,
        description=say("For each machine the middle and the 90 % range of the time taken over the time said."),
    )  # fmt: skip
    rows = tuple(
        (machine, fixed(t.middle, 2), between(t.low, t.high) or say("one run"), say_many(t.runs, "{n} run", "{n} runs"))
        for machine, t in told
    )
    columns = (say("machine"), say("times what was said"), say("90 % range"), say("over"))
    spots = tuple(
        Spot(
            frame.at_x(t.middle),
            y,
            say(
                "{machine}: {middle:.2f} times what was said, {runs}",
                machine=machine,
                middle=t.middle,
                runs=say_many(t.runs, "{n} run", "{n} runs"),
            ),
        )
        for (machine, t), y in zip(told, at_y, strict=True)
    )
    return Drawing("times-taken", title, picture, columns, rows, "", spots)


def _one_machine(frame: svg.Frame, machine: str, times: TimesSaid, y: float) -> list[svg.Svg]:
    x, low, high = (frame.at_x(v) for v in (times.middle, times.low, times.high))
    name = machine if len(machine) <= 14 else f"{machine[:13]}…"
    return [
        svg.words(name, NAME_PX - 9.0, y + 4.0, anchor="end"),
        svg.tag("line", x1=low, x2=high, y1=y, y2=y, style=svg.stroke("accent", 2.2)),
        svg.tag("circle", cx=x, cy=y, r=5, style=svg.fill("accent")),
        svg.words(say_many(times.runs, "{n} run", "{n} runs"), x, y - 9.0, anchor="middle", name="soft"),
    ]
