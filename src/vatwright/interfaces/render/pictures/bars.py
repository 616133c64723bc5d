"""Bars with their ranges: one picture for amounts that stand side by side."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.numbers import one_line
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.plots import Drawing, Spot

if TYPE_CHECKING:
    from collections.abc import Sequence

ROW_PX, BAR_PX = 27.0, 13.0
LABEL_CHARACTERS = 25
RANGE_PX = 5.0
"""Half the height of the end of a range."""


class Bar(NamedTuple):
    """One bar: its label, where it begins and ends, its range, its value in words, and a mark to hold it against."""

    label: str
    value: float
    text: str
    low: float | None = None
    high: float | None = None
    mark: float | None = None
    start: float = 0.0


class BarWords(NamedTuple):
    """What stands around the bars: name for links, finding, description, axis label with its unit."""

    slug: str
    title: str
    description: str
    axis: str


def bars(words: BarWords, rows: Sequence[Bar], columns: tuple[str, ...], table: Sequence[tuple[str, ...]]) -> Drawing:
    """Return bars from the left, each with its value behind it and its range as a line through its end.

    Parameters
    ----------
    words : Words
        What stands around them.
    rows : sequence of Bar
        From the top; their range is drawn where both ends are given, their mark as an upright stroke.
    columns, table
        The same as data.
    """
    ends = [v for r in rows for v in (r.value, r.high, r.mark, r.start) if v is not None]
    lows = [v for r in rows for v in (r.start, r.low) if v is not None]
    least, most = min(lows, default=0.0), max(ends, default=1.0)
    across = svg.axis(words.axis, least, max(most, least + 1e-9), most=5)
    behind = max((len(r.text) for r in rows), default=0)
    label = max((min(len(r.label), LABEL_CHARACTERS) for r in rows), default=4)
    frame = svg.Frame(
        across, svg.Axis("", 0.0, 1.0, ()), height=58.0 + ROW_PX * len(rows), left=14.0 + svg.CHARACTER_PX * label,
        top=8.0, right=14.0 + svg.CHARACTER_PX * behind,
    )  # fmt: skip
    marks = [frame.axes(), *(m for k, row in enumerate(rows) for m in _bar(frame, k, row))]
    picture = svg.drawing(
        slug=words.slug, title=words.title, description=words.description, width=frame.width, height=frame.height,
        children=marks,
    )  # fmt: skip
    spots = tuple(
        Spot(frame.at_x(r.value), frame.top + ROW_PX * (k + 0.5), f"{one_line(r.label)}: {r.text}")
        for k, r in enumerate(rows)
    )
    return Drawing(words.slug, words.title, picture, columns, tuple(table), spots=spots)


def _bar(frame: svg.Frame, k: int, row: Bar) -> list[svg.Svg]:
    y = frame.top + ROW_PX * k + (ROW_PX - BAR_PX) / 2.0
    label = one_line(row.label)
    short = label if len(label) <= LABEL_CHARACTERS else f"{label[: LABEL_CHARACTERS - 1].rstrip()}."
    a, b = sorted((frame.at_x(row.start), frame.at_x(row.value)))
    marks = [
        svg.words(short, frame.left - 6, y + BAR_PX - 2.5, anchor="end"),
        svg.tag("rect", x=a, y=y, width=max(b - a, 1.0), height=BAR_PX, style=svg.fill("accent-fill")),
        svg.tag("rect", x=a, y=y, width=max(b - a, 1.0), height=BAR_PX, style=svg.stroke("accent", 1)),
    ]
    end = b
    if row.low is not None and row.high is not None:
        left, right, mid = frame.at_x(row.low), frame.at_x(row.high), y + BAR_PX / 2.0
        path = (
            f"M{left:.1f} {mid:.1f}H{right:.1f}M{left:.1f} {mid - RANGE_PX:.1f}v{2 * RANGE_PX:g}"
            f"M{right:.1f} {mid - RANGE_PX:.1f}v{2 * RANGE_PX:g}"
        )
        marks.append(svg.tag("path", d=path, style=svg.stroke("ink", 1.2)))
        end = max(end, right)
    if row.mark is not None:
        x = frame.at_x(row.mark)
        marks.append(svg.tag("line", x1=x, x2=x, y1=y - 5, y2=y + BAR_PX + 5, style=svg.stroke("ink", 2)))
        if x < end + 12 + len(row.text) * svg.CHARACTER_PX:  # else there is room for the value before it
            end = max(end, x)
    fits = end + 6 + len(row.text) * svg.CHARACTER_PX <= frame.width
    x = end + 6 if fits else frame.width - 2
    return [*marks, svg.words(row.text, x, y + BAR_PX - 2.5, anchor="start" if fits else "end")]
