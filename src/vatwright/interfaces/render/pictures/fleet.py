"""Pictures of a fleet plan: who runs what when, and what stands on each plate."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.answers.fleet import moment, run_row
from vatwright.answers.numbers import duration, one_line, percent
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.bars import Bar, BarWords, bars
from vatwright.interfaces.render.pictures.plots import Drawing, Spot
from vatwright.units import from_si
from vatwright.wording import day_in_week, say, say_many

if TYPE_CHECKING:
    from datetime import date

    from numpy.typing import NDArray

    from vatwright.records.fleet import FleetPlan, FleetPlate, FleetRun

    Floats = NDArray[np.float64]

ROW_PX, BAR_PX = 30.0, 20.0
LEFT_PX, TOP_PX, RIGHT_PX, FOOT_PX = 110.0, 46.0, 14.0, 26.0
DAY_PX = 260.0
LEAST_WIDE_PX = 560.0
"""Least width of the time axis: a short plan still has room for the names of its plates."""

DAY_S = 86_400.0
PLATE_PX = 180.0
LEAST_PX = 26.0
"""A bar shorter than this has no room for its name."""


class _Chart:
    """Where times and units lie in the picture."""

    def __init__(self, plan: FleetPlan) -> None:
        self.plan = plan
        dues = [o.due_s for o in plan.orders if o.due_s is not None and o.due_s < 2.0 * plan.bounds.makespan_s]
        self.begin = min([plan.now_s, *(r.start_s for r in plan.runs if r.off_s > plan.now_s)])
        self.end = max([plan.bounds.makespan_s, *dues, self.begin + 3600.0]) + 1800.0
        self.width = LEFT_PX + RIGHT_PX + max(DAY_PX * (self.end - self.begin) / DAY_S, LEAST_WIDE_PX)
        self.units = [u.name for u in plan.book.units]
        self.floor = TOP_PX + ROW_PX * len(self.units)

    def x(self, seconds: float) -> float:
        share = (seconds - self.begin) / (self.end - self.begin)
        return LEFT_PX + min(max(share, 0.0), 1.0) * (self.width - LEFT_PX - RIGHT_PX)

    def y(self, unit: str) -> float:
        return TOP_PX + ROW_PX * self.units.index(unit)


def when_figure(plan: FleetPlan) -> Drawing:
    """Return who runs what when: a row a unit, hours with somebody there shaded, due times marked."""
    chart = _Chart(plan)
    marks = [*_hours(chart), *_days(chart), *_rows(chart)]
    for run in plan.runs:
        if run.off_s > chart.begin:
            marks += _bar(chart, run)
    marks += _dues(chart)
    title = say("Every unit's runs until {moment}", moment=moment(plan.book.at(plan.bounds.makespan_s)))
    rows = tuple(tuple(run_row(plan, r)) for r in plan.runs if r.off_s > chart.begin)
    dues = sum(o.due_s is not None and chart.begin <= o.due_s <= chart.end for o in plan.orders)
    picture = svg.drawing(
        slug="fleet-when",
        title=title,
        description=say(
            "A row for each unit; bars are runs, their light ends waits for a person; shaded "
            "times have somebody there; upright lines are due times."
        ),
        width=chart.width,
        height=chart.floor + FOOT_PX + 16.0 * min(max(dues - 1, 0), 2),
        children=marks,
    )
    columns = (
        say("starts"),
        say("unit"),
        say("plate"),
        say("pieces"),
        say("ready"),
        say("off"),
        say("cured"),
        say("remark"),
    )
    wide = svg.Svg(picture.replace("<svg ", f'<svg width="{chart.width:g}" ', 1))  # it scrolls rather than shrinks
    spots = tuple(
        Spot((chart.x(r.start_s) + chart.x(r.ready_s)) / 2.0, chart.y(r.unit) + ROW_PX / 2.0, _run_words(plan, r))
        for r in plan.runs
        if r.off_s > chart.begin
    )
    return Drawing("fleet-when", title, wide, columns, rows, spots=spots)


def _run_words(plan: FleetPlan, run: FleetRun) -> str:
    row = run_row(plan, run)
    return say(
        "{plate} on {unit}, {start} to {ready}: {pieces}",
        plate=row.plate,
        unit=row.unit,
        start=row.start,
        ready=row.ready,
        pieces=row.pieces,
    ) + (f"; {row.remark}" if row.remark else "")


def _hours(chart: _Chart) -> list[svg.Svg]:
    found = []
    for shift in chart.plan.book.shifts:
        if shift.to_s > chart.begin and shift.from_s < chart.end:
            a, b = chart.x(shift.from_s), chart.x(shift.to_s)
            found.append(
                svg.tag("rect", x=a, y=TOP_PX, width=b - a, height=chart.floor - TOP_PX, style=svg.fill("fill"))
            )
    return found


def _days(chart: _Chart) -> list[svg.Svg]:
    """A line and a name at each midnight."""
    book, found = chart.plan.book, []
    first = book.at(chart.begin)
    midnight = first.replace(hour=0, minute=0, second=0, microsecond=0)
    for k in range(math.ceil((chart.end - chart.begin) / DAY_S) + 1):
        day = midnight + timedelta(days=k)
        at = max((day - book.starts).total_seconds(), chart.begin)
        if at < chart.end:
            x = chart.x(at)
            found.append(svg.tag("line", x1=x, x2=x, y1=TOP_PX - 6, y2=chart.floor, style=svg.stroke("line", 1)))
            found.append(svg.words(day_in_week(day), x + 4, TOP_PX - 8, name="soft"))
    return found


def _rows(chart: _Chart) -> list[svg.Svg]:
    found = []
    for name in chart.units:
        y = chart.y(name)
        found.append(svg.tag("line", x1=0, x2=chart.width, y1=y + ROW_PX, y2=y + ROW_PX, style=svg.stroke("faint", 1)))
        short = one_line(name) if len(name) <= 14 else one_line(name)[:13] + "."
        found.append(svg.words(short, 2, y + 20))
        if name in chart.plan.down:
            found.append(svg.words(say("stands still"), LEFT_PX + 6, y + 20, name="soft"))
    return found


def _bar(chart: _Chart, run: FleetRun) -> list[svg.Svg]:
    """A run from its start to its end, and thin until somebody takes it off."""
    y = chart.y(run.unit) + (ROW_PX - BAR_PX) / 2.0
    a, b, c = (chart.x(t) for t in (run.start_s, run.ready_s, run.off_s))
    inside = svg.fill("line" if run.kept else "accent-fill")
    marks = [
        svg.tag("rect", x=a, y=y, width=max(b - a, 1.0), height=BAR_PX, style=inside),
        svg.tag("rect", x=a, y=y, width=max(b - a, 1.0), height=BAR_PX, style=svg.stroke("ink", 1)),
        svg.tag("rect", x=b, y=y + BAR_PX / 2 - 3, width=max(c - b, 0.5), height=6, style=svg.stroke("ink", 1)),
    ]
    for visit in run.visits_s:
        x = chart.x(visit)
        marks.append(svg.tag("path", d=f"M{x - 4:.1f} {y - 3:.1f}h8l-4 7z", style=svg.fill("accent")))
    if b - a >= LEAST_PX:
        marks.append(svg.words(run.plate, a + 4, y + 15))
    return marks


def _dues(chart: _Chart) -> list[svg.Svg]:
    found, y = [], chart.floor + 16.0
    for k, o in enumerate(sorted((o for o in chart.plan.orders if o.due_s is not None), key=lambda o: o.due_s or 0.0)):
        due = o.due_s or 0.0
        if not chart.begin <= due <= chart.end:
            continue
        x = chart.x(due)
        found.append(svg.tag("line", x1=x, x2=x, y1=TOP_PX, y2=y - 4, style=svg.stroke("accent", 1.5, "5 3")))
        word = say("{order} due", order=one_line(o.order)[:24]) + (say(", late") if o.late_s else "")
        end = x + len(word) * svg.CHARACTER_PX > chart.width
        found.append(
            svg.words(word, x - 4 if end else x + 4, y + 16.0 * (k % 3), anchor="end" if end else "start", name="soft")
        )
    return found


def plate_figure(plate: FleetPlate) -> Drawing:
    """Return a plate from above, its pieces as outlines, the person's side below."""
    platform = plate.machine.platform
    scale = PLATE_PX / platform.width_m
    height = platform.depth_m * scale

    def _pixels(loop: Floats) -> tuple[Floats, Floats]:
        return (loop[:, 0] + platform.width_m / 2.0) * scale, (platform.depth_m / 2.0 - loop[:, 1]) * scale

    parts = list(dict.fromkeys(p.part for p in plate.pieces))
    marks = [svg.tag("rect", x=1, y=1, width=PLATE_PX - 2, height=height - 2, rx=3, style=svg.stroke("line", 1))]
    for piece in plate.pieces:
        path = "".join(svg.ring_path(np.column_stack(_pixels(loop))) for loop in piece.loops_m)
        shade = ("accent-fill", "fill", "faint")[parts.index(piece.part) % 3]
        style = f"fill:{svg.colour(shade)};stroke:{svg.colour('ink')};stroke-width:.7;fill-rule:evenodd"
        marks.append(svg.tag("path", d=path, style=style))
    slug = f"fleet-plate-{plate.name}"
    title = say(
        "{name} for {name_2}: {pieces}, {print}",
        name=plate.name,
        name_2=one_line(plate.machine.name),
        pieces=say_many(len(plate.pieces), "{n} piece", "{n} pieces"),
        print=duration(plate.print_s),
    )
    picture = svg.drawing(
        slug=slug, title=title, description=say("The platform from above; each outline is one piece."),
        width=PLATE_PX, height=height, children=marks,
    )  # fmt: skip
    rows = tuple((c.part, c.order, str(c.pieces)) for c in plate.counts)
    settle = say(
        "Body settle {settle:g} s, {layers} of {resin}.",
        settle=plate.settle_s,
        layers=say_many(plate.layers, "{n} layer", "{n} layers"),
        resin=one_line(plate.resin),
    )
    spots = []
    for piece in plate.pieces:
        x, y = _pixels(np.concatenate(piece.loops_m))
        middle = (float(x.min() + x.max()) / 2.0, float(y.min() + y.max()) / 2.0)
        spots.append(Spot(*middle, f"{one_line(piece.part)}, {one_line(piece.order)}"))
    return Drawing(slug, title, picture, (say("part"), say("order"), say("pieces")), rows, settle, tuple(spots))


DAYS_SHOWN = 14
"""Days that get a bar; the table has them all."""


def hands_figure(plan: FleetPlan) -> Drawing:
    """Return how long people work at the machines on each day, against how long they are there."""
    days = _days_of_work(plan)
    busy = sum(d.busy_s for d in days)
    full = max(days, key=lambda d: d.busy_s / d.there_s if d.there_s else 0.0, default=None)
    finding = say(
        "{runs} take {busy} of a person's work at the machines",
        runs=say_many(len(plan.runs), "{n} run", "{n} runs"),
        busy=duration(busy),
    )
    if full is not None and full.there_s:
        finding += say(", at most {busy} of a day's hours", busy=percent(full.busy_s / full.there_s))
    rows = [
        Bar(d.name, from_si(d.busy_s, "h"), duration(d.busy_s), mark=from_si(d.there_s, "h")) for d in days[:DAYS_SHOWN]
    ]
    words = BarWords(
        "fleet-hands",
        finding,
        say("A bar a day: setting up, changes by hand, taking off. The stroke: hours people are there."),
        say("setting up, visits, taking off [h]"),
    )
    table = [(d.name, duration(d.busy_s), duration(d.there_s)) for d in days]
    figure = bars(words, rows, (say("day"), say("work at the machines"), say("people are there")), table)
    return figure._replace(note=say("Washing, curing and finishing by hand come on top."))


class _Day(NamedTuple):
    """One day of the plan: work at the machines, and the time people are there, all of them together [s]."""

    name: str
    busy_s: float
    there_s: float


def _days_of_work(plan: FleetPlan) -> list[_Day]:
    book, handling = plan.book, plan.book.handling
    busy: dict[date, float] = {}
    last = plan.now_s
    for run in plan.runs:
        if run.off_s <= plan.now_s:
            continue
        last = max(last, run.off_s)
        acts = [(v, handling.visit_s) for v in run.visits_s if v >= plan.now_s]
        acts.append((run.off_s - handling.unload_s, handling.unload_s))
        if not run.kept:
            acts.append((run.start_s, run.begin_s - run.start_s))
        for at_s, length_s in acts:
            day = book.at(at_s).date()
            busy[day] = busy.get(day, 0.0) + length_s
    there: dict[date, float] = {}
    for shift in book.shifts:
        begin, end = max(shift.from_s, plan.now_s), min(shift.to_s, last + DAY_S)
        while begin < end:
            here = book.at(begin)
            midnight = (here + timedelta(days=1)).replace(hour=0, minute=0, second=0, microsecond=0)
            stop = min((midnight - book.starts).total_seconds(), end)
            there[here.date()] = there.get(here.date(), 0.0) + book.persons * (stop - begin)
            begin = stop
    return [_Day(day_in_week(d), busy[d], there.get(d, 0.0)) for d in sorted(busy)]
