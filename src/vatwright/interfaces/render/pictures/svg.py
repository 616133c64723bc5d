"""A small drawing kit: axes, lines, bands and labels as SVG text, themed by CSS variables.

A colour is always a variable with a fallback, ``var(--ink,#222)``: the page sets the variables for light and dark, a
file on its own falls back, and :func:`for_print` fixes them for paper.  Text that came from a user is escaped in one
place, :func:`tag`.
"""

from __future__ import annotations

import html
import itertools
import math
import re
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.answers.numbers import fixed, one_line

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

WIDTH_PX = 400.0
"""Width of every plot: small enough that its letters stay legible on a 360 px phone."""

FONT_PX = 13.0
CHARACTER_PX = 7.0
"""Mean advance of a character at that size; measured on a common sans face, only spaces labels out."""

PAPER_COLOURS = {
    "ink": "#1a1a1a", "soft": "#555555", "line": "#9a9a9a", "faint": "#d9d9d9", "fill": "#ececec", "paper": "#ffffff",
    "accent": "#7a4300", "accent-fill": "#e6c9a0", "face": "Libertinus Serif",
}  # fmt: skip


class Svg(str):
    """Text that is markup already and must not be escaped again."""

    __slots__ = ()


def tag(name: str, *children: str, **attributes: str | float | None) -> Svg:
    """Return an element; children that are not :class:`Svg` are text and are escaped, as is every attribute.

    Examples
    --------
    >>> tag("text", "<script>", x=1.0, text_anchor="end")
    '<text x="1" text-anchor="end">&lt;script&gt;</text>'
    """
    words = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{html.escape(_value(v))}"'
        for key, v in attributes.items()
        if v is not None
    )
    inside = "".join(c if isinstance(c, Svg) else html.escape(one_line(c)) for c in children)
    return Svg(f"<{name}{words}>{inside}</{name}>" if inside else f"<{name}{words}/>")


def _value(value: str | float) -> str:
    return one_line(value) if isinstance(value, str) else f"{value:.2f}".rstrip("0").rstrip(".")


def colour(name: str) -> str:
    """Return the CSS of a theme colour with its fallback."""
    return f"var(--{name},{PAPER_COLOURS[name]})"


def stroke(name: str = "ink", width: float = 1.5, dash: str = "") -> str:
    """Return the style of a line."""
    dashes = f";stroke-dasharray:{dash}" if dash else ""
    return f"fill:none;stroke:{colour(name)};stroke-width:{width:g};stroke-linejoin:round{dashes}"


def fill(name: str) -> str:
    """Return the style of a filled shape without an outline."""
    return f"fill:{colour(name)};stroke:none"


def words(text: str, x: float, y: float, *, anchor: str = "start", name: str = "ink", turn: bool = False) -> Svg:
    """Return a text with a halo of paper, so that it stays legible over lines."""
    style = f"fill:{colour(name)};stroke:{colour('paper')};stroke-width:3;paint-order:stroke;stroke-linejoin:round"
    where = f"rotate(-90 {x:.1f} {y:.1f})" if turn else None
    return tag("text", text, x=x, y=y, text_anchor=anchor, style=style, transform=where)


def drawing(*, slug: str, title: str, description: str, width: float, height: float, children: Iterable[Svg]) -> Svg:
    """Return a whole picture; `title` is its accessible name and states the finding."""
    return tag(
        "svg",
        tag("title", title, id=f"{slug}-title"),
        tag("desc", description, id=f"{slug}-desc"),
        *children,
        xmlns="http://www.w3.org/2000/svg", viewBox=f"0 0 {width:g} {height:g}", role="img",
        aria_labelledby=f"{slug}-title {slug}-desc",
        style=f"font-family:var(--face,sans-serif);font-size:{FONT_PX:g}px",
    )  # fmt: skip


def for_print(svg: str) -> str:
    """Return the picture with every theme variable fixed to its value on paper."""
    return re.sub(r"var\(--([a-z-]+),[^)]*\)", lambda m: PAPER_COLOURS.get(m[1], m[0]), svg)


class Axis(NamedTuple):
    """A labelled axis, unit included in the label, with the values that get a tick."""

    label: str
    low: float
    high: float
    ticks: tuple[float, ...]

    @property
    def decimals(self) -> int:
        """Decimals that tell neighbouring ticks apart."""
        gap = self.ticks[1] - self.ticks[0] if len(self.ticks) > 1 else 1.0
        return max(0, -math.floor(math.log10(gap) + 1e-9))


ALIKE = 1e-9
"""Ends of an axis nearer than this share are one value [-]: ticks are rounded to twelve digits."""


def axis(label: str, low: float, high: float, *, most: int = 6) -> Axis:
    """Return an axis whose ticks step by 1, 2 or 5 and which ends at a tick above `high`; one step where both ends are alike.

    Examples
    --------
    >>> axis("lift [mm]", 0.0, 7.4).ticks
    (0.0, 2.0, 4.0, 6.0, 8.0)
    >>> axis("time [h]", 1.2, 1.2 + 1e-15).ticks  # differs by rounding alone
    (1.2, 1.4, 1.6, 1.8, 2.0, 2.2)
    """
    if not math.isfinite(low) or not math.isfinite(high) or high - low <= ALIKE * max(abs(low), abs(high)):
        low, high = (low, low + 1.0) if math.isfinite(low) else (0.0, 1.0)
    rough = (high - low) / (most - 1)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough * (1.0 - 1e-9))
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = tuple(float(f"{k * step:.12g}") for k in range(first, last + 1))
    return Axis(label, ticks[0], ticks[-1], ticks)


def whole_axis(label: str, low: int, high: int) -> Axis:
    """Return an axis over counted things that ends exactly at its last one."""
    nice = axis(label, low, max(high, low + 1))
    ticks = tuple(t for t in nice.ticks if low <= t <= high and t == round(t))
    return Axis(label, float(low), float(max(high, low + 1)), ticks or (float(low),))


class Frame(NamedTuple):
    """A plotting area between two axes, in pixels of the picture."""

    x: Axis
    y: Axis
    width: float = WIDTH_PX
    height: float = 240.0
    left: float = 58.0
    right: float = 14.0
    top: float = 40.0
    bottom: float = 44.0

    def at_x(self, value: float) -> float:
        """Return the pixel of a value on the level axis."""
        share = (value - self.x.low) / (self.x.high - self.x.low)
        return self.left + share * (self.width - self.left - self.right)

    def at_y(self, value: float) -> float:
        """Return the pixel of a value on the upright axis; what lies outside stays at the edge."""
        share = min(max((value - self.y.low) / (self.y.high - self.y.low), 0.0), 1.0)
        return self.height - self.bottom - share * (self.height - self.top - self.bottom)

    def points(self, xs: Floats, ys: Floats) -> str:
        """Return pixel pairs of a series, those that are finite."""
        there = zip(np.asarray(xs).tolist(), np.asarray(ys).tolist(), strict=True)
        pairs = ((x, y) for x, y in there if math.isfinite(x) and math.isfinite(y))
        return " ".join(f"{self.at_x(x):.1f},{self.at_y(y):.1f}" for x, y in pairs)

    def line(self, xs: Floats, ys: Floats, style: str) -> Svg:
        """Return a series as a line."""
        return tag("polyline", points=self.points(xs, ys), style=style)

    def band(self, xs: Floats, low: Floats, high: Floats, style: str) -> Svg:
        """Return the area between two series."""
        there, back = self.points(xs, high), self.points(xs[::-1], low[::-1])
        return tag("polygon", points=f"{there} {back}", style=style)

    def level(self, value: float, style: str) -> Svg:
        """Return a line at one height across the whole area."""
        y = self.at_y(value)
        return tag("line", x1=self.left, x2=self.width - self.right, y1=y, y2=y, style=style)

    def upright(self, value: float, style: str, text: str = "") -> Svg:
        """Return a line at one place of the level axis, with a word at its head."""
        x = self.at_x(value)
        line = tag("line", x1=x, x2=x, y1=self.top, y2=self.height - self.bottom, style=style)
        if not text:
            return line
        end = x + len(text) * CHARACTER_PX > self.width - self.right
        return Svg(
            line + words(text, x - 5 if end else x + 5, self.top + 12, anchor="end" if end else "start", name="soft")
        )

    def axes(self) -> Svg:
        """Return both axes with ticks, numbers and labels."""
        floor, marks = self.height - self.bottom, []
        for t in self.y.ticks:
            marks += [self.level(t, stroke("faint", 1)), _number(t, self.y, self.left - 7, self.at_y(t) + 4, "end")]
        for t in self.x.ticks:
            x = self.at_x(t)
            marks.append(tag("line", x1=x, x2=x, y1=floor, y2=floor + 4, style=stroke("line", 1)))
            marks.append(_number(t, self.x, x, floor + 18, "middle"))
        marks.append(tag("line", x1=self.left, x2=self.width - self.right, y1=floor, y2=floor, style=stroke("line", 1)))
        middle = (self.left + self.width - self.right) / 2.0
        marks.append(words(self.x.label, middle, self.height - 6, anchor="middle", name="soft"))
        marks.append(words(self.y.label, 13, (self.top + floor) / 2.0, anchor="middle", name="soft", turn=True))
        return Svg("".join(marks))


def _number(value: float, on: Axis, x: float, y: float, anchor: str) -> Svg:
    return words(fixed(value, on.decimals), x, y, anchor=anchor, name="soft")


class Key(NamedTuple):
    """One entry of a key: what a line or area means and how it is drawn."""

    text: str
    style: str
    area: bool = False


def key(entries: Sequence[Key], *, left: float = 58.0, width: float = WIDTH_PX) -> Svg:
    """Return the key above a plot: each entry a sample and its word, on as many rows as they need (two fit)."""
    marks, x, y = [], left, 12.0
    for entry in entries:
        long = 30.0 + len(entry.text) * CHARACTER_PX
        if x > left and x + long > width:
            x, y = left, y + 17.0
        if entry.area:
            marks.append(tag("rect", x=x, y=y - 9, width=20, height=10, style=entry.style))
        else:
            marks.append(tag("line", x1=x, x2=x + 20, y1=y - 4, y2=y - 4, style=entry.style))
        marks.append(words(entry.text, x + 25, y, name="ink"))
        x += long + 10.0
    return Svg("".join(marks))


def ring_path(loop_px: Floats) -> str:
    """Return the path data of one closed outline, given in pixels as a (P, 2) array."""
    return "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in loop_px) + "Z"


def thinned(series: Sequence[Floats], most: int = 320) -> NDArray[np.int64]:
    """Return which points to draw of long series: in each stretch the lowest and highest of every one are kept.

    Examples
    --------
    >>> spike = np.zeros(10_000); spike[4321] = 9.0
    >>> kept = thinned([spike]); bool(4321 in kept), len(kept) <= 640
    (True, True)
    """
    count = len(series[0])
    if count <= most:
        return np.arange(count, dtype=np.int64)
    edges = np.linspace(0, count, most // 2 + 1).astype(np.int64)
    kept = {0, count - 1}
    for start, stop in itertools.pairwise(edges.tolist()):
        for values in series:
            piece = values[start:stop]
            kept |= {int(start + np.argmin(piece)), int(start + np.argmax(piece))}
    return np.array(sorted(kept), dtype=np.int64)
