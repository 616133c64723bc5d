"""The picture of time against chance: today's settings, the next ones, less of everything, other tolerances."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.numbers import duration, percent
from vatwright.answers.trim import WAYS, frontier_finding
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.plots import Drawing, Spot
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.trim import FrontierPoint, TrimSheet

HOUR_S = 3600.0
NAMED = {"today": (to_say("today"), 18.0), "next": (to_say("next run"), 34.0), "end": (to_say("the end"), 50.0)}
"""Points that are named below their mark, and how far below: they lie close together [px]."""

FAR_BELOW = 0.4
"""What holds so much less often than asked is no choice, and is left to the table [-]."""

DOT_PX = 5.0


def frontier_figure(sheet: TrimSheet) -> Drawing:
    """Return time of all pieces against the chance that a run holds, with the chance asked for as a line."""
    points = [p for p in sheet.frontier if p.mean >= sheet.confidence - FAR_BELOW or p.what in NAMED]
    own = [p for p in points if p.what != "tolerance"]
    others = [p for p in points if p.what == "tolerance"]
    hours = [p.to_s / HOUR_S for p in points]
    frame = svg.Frame(
        svg.axis(say("time of all pieces [h]"), min(hours), max(hours)),
        svg.axis(say("chance that a run holds [%]"), 100.0 * min(p.mean for p in points), 100.0),
        height=290.0,
        top=74.0,
    )
    line, asked = svg.stroke("accent", 2), svg.stroke("soft", 1.2, "2 3")
    legend = [
        svg.Key(say("less of everything up to today"), line),
        svg.Key(say("asked for: {confidence}", confidence=percent(sheet.confidence)), asked),
        *([svg.Key(say("today, another tolerance"), svg.fill("ink"), area=True)] if others else []),
    ]
    xs, ys = (np.array([_place(p)[k] for p in own]) for k in (0, 1))
    marks = [
        frame.axes(),
        frame.level(100.0 * sheet.confidence, asked),
        frame.line(xs, ys, line),
        *(_square(frame, p, 8.0 + 15.0 * (k % 2)) for k, p in enumerate(others)),
        *(_dot(frame, p) for p in own if p.what in NAMED),
        svg.key(legend),
    ]
    title = frontier_finding(sheet)
    picture = svg.drawing(
        slug="frontier", title=title, description=say("Chance against time; every point in the same worlds."),
        width=frame.width, height=frame.height, children=marks,
    )  # fmt: skip
    spots = tuple(Spot(*_pixel(frame, p), _words(p)) for p in points)
    return Drawing(
        "frontier",
        title,
        picture,
        (say("settings"), say("all pieces"), say("chance"), say("thickness within")),
        _rows(sheet.frontier),
        spots=spots,
    )


def _place(p: FrontierPoint) -> tuple[float, float]:
    return p.to_s / HOUR_S, 100.0 * p.mean


def _pixel(frame: svg.Frame, p: FrontierPoint) -> tuple[float, float]:
    x, y = _place(p)
    return round(frame.at_x(x), 1), round(frame.at_y(y), 1)


def _dot(frame: svg.Frame, p: FrontierPoint) -> svg.Svg:
    x, y = _pixel(frame, p)
    text, below = NAMED[p.what]
    stem = svg.tag("line", x1=x, x2=x, y1=y, y2=y + below - 11.0, style=svg.stroke("accent", 1))
    return svg.Svg(
        stem + svg.tag("circle", cx=x, cy=y, r=DOT_PX, style=svg.fill("accent")) + svg.words(text, x + 4.0, y + below)
    )


def _square(frame: svg.Frame, p: FrontierPoint, above: float) -> svg.Svg:
    x, y = _pixel(frame, p)
    mark = svg.tag("rect", x=x - 4.0, y=y - 4.0, width=8.0, height=8.0, style=svg.fill("ink"))
    return svg.Svg(mark + svg.words(f"±{percent(p.tolerance)}", x, y - above, anchor="middle", name="soft"))


def _words(p: FrontierPoint) -> str:
    return f"{WAYS[p.what]}, ±{percent(p.tolerance)}: {duration(p.to_s)}, {percent(p.mean)}"


def _rows(points: Sequence[FrontierPoint]) -> tuple[tuple[str, ...], ...]:
    return tuple((WAYS[p.what], duration(p.to_s), percent(p.mean), f"±{percent(p.tolerance)}") for p in points)
