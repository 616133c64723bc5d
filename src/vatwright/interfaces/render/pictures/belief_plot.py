"""Small pictures without axes of their own units: a belief before and after, and a margin against "enough"."""
# ruff: noqa: RUF001, RUF002 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.numbers import MARGIN_END, margin_words, one_line, ranged, significant
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.plots import Drawing, Spot
from vatwright.records.sourced import NORMAL_95
from vatwright.wording import say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.plan import BeliefChange

    Floats = NDArray[np.float64]

_LOPSIDED = 1.5
# SI unit of a belief: (limit below which, factor, unit shown), smallest first
_SHOWN: dict[str, tuple[tuple[float, float, str], ...]] = {
    "m": ((1e-3, 1e6, "µm"), (1.0, 1e3, "mm")),
    "N/m": ((1e4, 1.0, "N/m"), (math.inf, 1e-3, "N/mm")),
    "Pa": ((1e3, 1.0, "Pa"), (1e6, 1e-3, "kPa"), (1e9, 1e-6, "MPa"), (math.inf, 1e-9, "GPa")),
    "W/m2": ((math.inf, 0.1, "mW/cm²"),),
    "J/m2": ((math.inf, 0.1, "mJ/cm²"),),
    "-": ((math.inf, 1.0, ""),),
    "1": ((math.inf, 1.0, ""),),
}


def shown_belief(belief: BeliefChange) -> tuple[tuple[float, ...], tuple[float, ...], str]:
    """Return a belief before and after in a unit of handy size, and that unit."""
    size = max(abs(v) for v in (*belief.before, *belief.after))
    rules = _SHOWN.get(belief.unit, ())
    factor, unit = next(((f, u) for limit, f, u in rules if size < limit), (1.0, belief.unit))
    before, after = (tuple(v * factor for v in values) for values in (belief.before, belief.after))
    return before, after, unit


def belief_words(low: float, middle: float, high: float, unit: str) -> str:
    """Return a belief as its middle and range.

    Examples
    --------
    >>> belief_words(128.0, 250.0, 500.0, "N/mm")
    '250 N/mm (130–500)'
    """
    if low == high:
        return f"{significant(middle)} {unit}".rstrip()
    if low > 0.0 and high / low > _LOPSIDED:  # the half width would round a small low end away
        return f"{significant(middle, 2)} {unit}".rstrip() + f" ({significant(low, 2)}–{significant(high, 2)})"
    return ranged(middle, low, high, unit)


def belief_plot(belief: BeliefChange, number: int) -> Drawing:
    """Return the two overlaid shapes of one unknown."""
    before, after, unit = shown_belief(belief)
    name = one_line(belief.name)
    level = f"{name} [{unit}]" if unit else f"{name} [-]"
    ends = (min(before[0], after[0]), max(before[2], after[2]))
    margin = 0.35 * (ends[1] - ends[0] or abs(ends[1]) or 1.0)
    low = max(ends[0] - margin, 0.0) if ends[0] >= 0.0 else ends[0] - margin
    along = svg.axis(level, low, ends[1] + margin)
    xs = np.linspace(along.low, along.high, 160)
    shapes = [_shape(xs, *before), _shape(xs, *after)]
    top = max(float(s.max()) for s in shapes) or 1.0
    frame = svg.Frame(along, svg.Axis("", 0.0, top * 1.05, ()), height=170.0, left=14.0, top=26.0)
    old, new = svg.stroke("soft", 1.6, "5 3"), svg.stroke("accent", 2.2)
    floor = np.zeros_like(xs)
    marks = [
        frame.axes(), frame.band(xs, floor, shapes[1], svg.fill("accent-fill") + ";opacity:0.6"),
        frame.line(xs, shapes[0], old), frame.line(xs, shapes[1], new),
        svg.key([svg.Key(say("before"), old), svg.Key(say("after"), new)], left=14.0),
    ]  # fmt: skip
    title = _finding(name, before, after, unit)
    slug = f"belief-{number}"
    picture = svg.drawing(
        slug=slug, title=title, description=say("How likely each value is, before and after."),
        width=frame.width, height=frame.height, children=marks,
    )  # fmt: skip
    columns = ("", "5 %", say("middle"), "95 %")
    rows = tuple(
        (word, *(significant(v) for v in values)) for word, values in ((say("before"), before), (say("after"), after))
    )
    rests = say("In {unit}. Rests on: {kind}.", unit=unit or say("no unit"), kind=say(str(belief.kind)))
    spots = tuple(
        Spot(frame.at_x(v), None, f"{word}: {belief_words(values[0], values[1], values[2], unit)}")
        for word, values in ((say("before"), before), (say("after"), after))
        for v in dict.fromkeys(values)
    )
    return Drawing(slug, title, picture, columns, rows, rests, spots)


def _finding(name: str, before: tuple[float, ...], after: tuple[float, ...], unit: str) -> str:
    now = belief_words(after[0], after[1], after[2], unit)
    if before == after:
        return say("{name}: {now}, as before", name=name, now=now)
    was = belief_words(before[0], before[1], before[2], unit)
    return say("{name}: now {now}, before {was}", name=name, now=now, was=was)


def _shape(xs: Floats, low: float, middle: float, high: float) -> Floats:
    """Return the outline of a belief given by its 5, 50 and 95 %: lognormal where all are positive, else normal sides.

    For drawing only: each side of the middle gets its own spread, and the area stays one so that narrower is taller.
    """
    if low == high:
        return np.zeros_like(xs)
    positive = low > 0.0
    at = np.log(np.maximum(xs, 1e-300)) if positive else xs
    ends = [math.log(v) for v in (low, middle, high)] if positive else [low, middle, high]
    below, above = (max(b - a, 1e-9) / NORMAL_95 for a, b in (ends[:2], ends[1:]))
    z = (at - ends[1]) / np.where(at < ends[1], below, above)
    density = np.exp(-0.5 * z**2) / (below + above)
    return np.where(xs > 0.0, density / np.maximum(xs, 1e-300), 0.0) if positive else density


def margin_bar(margin: float | None, number: int) -> svg.Svg | None:
    """Return a margin, where there is one, as a bar against a line that says "enough"; an arrow means more than twice that."""
    if margin is None:
        return None
    width, end = 240.0, 230.0
    share = min(max(margin, 0.0), MARGIN_END) / MARGIN_END if math.isfinite(margin) else 1.0
    enough = end / MARGIN_END
    over = not math.isfinite(margin) or margin > MARGIN_END
    holds = margin >= 1.0
    style = svg.fill("line") if holds else f"fill:{svg.colour('accent')};stroke:{svg.colour('ink')};stroke-width:1"
    marks = [
        svg.tag("rect", x=0.5, y=20, width=end, height=14, style=svg.stroke("line", 1)),
        svg.tag("rect", x=0.5, y=20, width=max(end * share, 1.0), height=14, style=style),
        svg.tag("line", x1=enough, x2=enough, y1=14, y2=40, style=svg.stroke("ink", 2.2)),
        svg.words(say("enough"), enough, 11, anchor="middle", name="soft"),
    ]
    if over:
        marks.append(svg.tag("path", d=f"M{end:.0f} 20l9 7l-9 7z", style=style))
    says = margin_words(margin)
    return svg.drawing(
        slug=f"margin-{number}", title=says, description=say("Bar against the line that says enough."),
        width=width, height=42.0, children=marks,
    )  # fmt: skip
