"""Pictures of a fleet plan: who runs what when, and what stands on each plate."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np

from vatwright.interfaces.report import svg
from vatwright.interfaces.report.fleet_words import moment, run_row
from vatwright.interfaces.report.numbers import duration, one_line, plural
from vatwright.interfaces.report.plots import Figure

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.fleet import FleetPlan, FleetPlate, FleetRun

    Floats = NDArray[np.float64]

ROW_PX, BAR_PX = 30.0, 20.0
LEFT_PX, TOP_PX, RIGHT_PX, FOOT_PX = 110.0, 46.0, 14.0, 26.0
DAY_PX = 260.0
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
        self.width = LEFT_PX + RIGHT_PX + max(DAY_PX * (self.end - self.begin) / DAY_S, 300.0)
        self.units = [u.name for u in plan.book.units]
        self.floor = TOP_PX + ROW_PX * len(self.units)

    def x(self, seconds: float) -> float:
        share = (seconds - self.begin) / (self.end - self.begin)
        return LEFT_PX + min(max(share, 0.0), 1.0) * (self.width - LEFT_PX - RIGHT_PX)

    def y(self, unit: str) -> float:
        return TOP_PX + ROW_PX * self.units.index(unit)


def when_figure(plan: FleetPlan) -> Figure:
    """Return who runs what when: a row a unit, hours with somebody there shaded, due times marked."""
    chart = _Chart(plan)
    marks = [*_hours(chart), *_days(chart), *_rows(chart)]
    for run in plan.runs:
        if run.off_s > chart.begin:
            marks += _bar(chart, run)
    marks += _dues(chart)
    title = f"Every unit's runs until {moment(plan.book.at(plan.bounds.makespan_s))}"
    rows = tuple(tuple(run_row(plan, r)) for r in plan.runs if r.off_s > chart.begin)
    picture = svg.drawing(
        slug="fleet-when",
        title=title,
        description="A row for each unit; bars are runs, their light ends waits for a person; shaded times have "
        "somebody there; upright lines are due times.",
        width=chart.width,
        height=chart.floor + FOOT_PX + 34.0,
        children=marks,
    )
    columns = ("starts", "unit", "plate", "pieces", "ready", "off", "cured", "remark")
    return Figure("fleet-when", title, picture, columns, rows)


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
            found.append(svg.words(f"{day:%a} {day.day} {day:%b}", x + 4, TOP_PX - 8, name="soft"))
    return found


def _rows(chart: _Chart) -> list[svg.Svg]:
    found = []
    for name in chart.units:
        y = chart.y(name)
        found.append(svg.tag("line", x1=0, x2=chart.width, y1=y + ROW_PX, y2=y + ROW_PX, style=svg.stroke("faint", 1)))
        short = one_line(name) if len(name) <= 14 else one_line(name)[:13] + "."
        found.append(svg.words(short, 2, y + 20))
        if name in chart.plan.down:
            found.append(svg.words("stands still", LEFT_PX + 6, y + 20, name="soft"))
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
        word = f"{one_line(o.order)[:24]} due" + (", late" if o.late_s else "")
        end = x + len(word) * svg.CHARACTER_PX > chart.width
        found.append(
            svg.words(word, x - 4 if end else x + 4, y + 16.0 * (k % 3), anchor="end" if end else "start", name="soft")
        )
    return found


def plate_figure(plate: FleetPlate) -> Figure:
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
        style = f"{svg.fill(shade)};stroke:{svg.colour('ink')};stroke-width:.7;fill-rule:evenodd"
        marks.append(svg.tag("path", d=path, style=style))
    slug = f"fleet-{plate.name}"
    title = f"{plate.name} for {one_line(plate.machine.name)}: {plural(len(plate.pieces), 'piece')}, {duration(plate.print_s)}"
    picture = svg.drawing(
        slug=slug, title=title, description="The platform from above; each outline is one piece.",
        width=PLATE_PX, height=height, children=marks,
    )  # fmt: skip
    rows = tuple((c.part, c.order, str(c.pieces)) for c in plate.counts)
    settle = f"Body settle {plate.settle_s:g} s, {plural(plate.layers, 'layer')} of {one_line(plate.resin)}."
    return Figure(slug, title, picture, ("part", "order", "pieces"), rows, settle)
