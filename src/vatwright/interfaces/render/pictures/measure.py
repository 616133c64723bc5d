"""Where to measure: a small drawing for each reading of a new machine or resin, what is read marked in the accent."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.interfaces.render.pictures import svg
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    Marks = list[svg.Svg]

WIDE_PX, TALL_PX = 320.0, 150.0

THING, MARK = svg.stroke("soft", 1.5), svg.stroke("accent", 2.0)
SOLID = f"fill:{svg.colour('fill')};stroke:{svg.colour('soft')};stroke-width:1.5"
SPOT = svg.fill("accent")

FIVE = {
    to_say("rear left"): (0.12, 0.16),
    to_say("rear right"): (0.88, 0.16),
    to_say("front right"): (0.88, 0.84),
    to_say("front left"): (0.12, 0.84),
    to_say("middle"): (0.5, 0.5),
}
"""Four corners and the middle, as shares of width and depth seen from above, rear first: drawing and fields name them so."""

NINE = {
    name: (x, y)
    for y, row in (
        (0.15, (to_say("rear left"), to_say("rear"), to_say("rear right"))),
        (0.5, (to_say("left"), to_say("middle"), to_say("right"))),
        (0.85, (to_say("front left"), to_say("front"), to_say("front right"))),
    )
    for x, name in zip((0.12, 0.5, 0.88), row, strict=True)
}
"""And with the middles of the sides."""


def where_to_measure(slug: str, what: str) -> svg.Svg:
    """Return the drawing of a reading.

    Parameters
    ----------
    slug : str
        Which reading.
    what : str
        What is read, for those who cannot see it.
    """
    return svg.drawing(
        slug=f"measure-{slug}",
        title=say("Where to read {what}", what=what),
        width=WIDE_PX,
        height=TALL_PX,
        children=SCENES[slug](),
        description=say("What is read is marked in the accent colour."),
    )


def _box(x: float, y: float, wide: float, tall: float, style: str = THING, corner: float = 0.0) -> svg.Svg:
    return svg.tag("rect", x=x, y=y, width=wide, height=tall, rx=corner or None, style=style)


def _path(data: str, style: str = THING) -> svg.Svg:
    return svg.tag("path", d=data, style=style)


def _said(text: str, x: float, y: float, *, anchor: str = "middle", mark: bool = False) -> svg.Svg:
    return svg.words(text, x, y, anchor=anchor, name="accent" if mark else "soft")


def _across(x1: float, x2: float, y: float) -> svg.Svg:
    return _path(f"M{x1:g} {y:g}H{x2:g}M{x1:g} {y - 4:g}v8M{x2:g} {y - 4:g}v8", MARK)


def _along(x: float, y1: float, y2: float) -> svg.Svg:
    return _path(f"M{x:g} {y1:g}V{y2:g}M{x - 4:g} {y1:g}h8M{x - 4:g} {y2:g}h8", MARK)


def _sides(x: float, y: float, wide: float, tall: float) -> Marks:
    """The two sides of something seen from above, to be measured."""
    return [
        _across(x, x + wide, y + tall + 12.0),
        _said(say("left to right"), x + wide / 2.0, y + tall + 29.0, mark=True),
        _along(x + wide + 12.0, y, y + tall),
        _said(say("front to back"), x + wide + 20.0, y + tall / 2.0 + 4.0, anchor="start", mark=True),
    ]


def _spots(where: Mapping[str, tuple[float, float]], what: str) -> Marks:
    x, y, wide, tall = 20.0, 22.0, 280.0, 100.0
    marks = [_box(x, y, wide, tall, corner=4.0), _said(say("{what}, seen from above", what=what), 160.0, 142.0)]
    for name, (a, b) in where.items():
        px, py = x + a * wide, y + b * tall
        marks += [svg.tag("circle", cx=px, cy=py, r=4.0, style=SPOT), _beside(say(name), px, py, b)]
    return marks


def _beside(name: str, x: float, y: float, down: float) -> svg.Svg:
    """The name of a place inside the outline: under those at the rear, over those in front, right of those between."""
    if down == 0.5:
        return _said(name, x + 8.0, y + 5.0, anchor="start", mark=True)
    return _said(name, x, y + (17.0 if down < 0.5 else -9.0), mark=True)


def _platform() -> Marks:
    return [_box(40, 20, 150, 85, corner=4), _said(say("platform's face"), 115, 66), *_sides(40, 20, 150, 85)]


def _window() -> Marks:
    dashed = svg.stroke("soft", 1.5, "6 3")
    marks = [_box(30, 15, 170, 95, dashed, 6), _box(50, 28, 130, 69), _said(say("free film"), 115, 66)]
    return [*marks, *_sides(30, 15, 170, 95)]


def _height() -> Marks:
    return [
        _path("M90 125h140"),
        _box(125, 20, 70, 9),
        _path("M160 20V6"),
        _said(say("screen"), 160, 143),
        _along(110, 29, 125),
        _said(say("at its highest"), 204, 28, anchor="start"),
        _said(say("build height"), 120, 82, anchor="start", mark=True),
    ]


def _film() -> Marks:
    return [
        _path("M70 75h180", svg.stroke("ink", 4.0)),
        _said(say("an offcut of the film"), 250, 66, anchor="end"),
        _path("M110 40v28M110 110v-28M98 40h24M98 110h24", MARK),
        _said(say("micrometer"), 110, 128, mark=True),
    ]


def _backing() -> Marks:
    return [
        _path("M50 45v22M270 45v22"),
        _path("M50 60Q160 68 270 60", svg.stroke("ink", 2.5)),
        _said(say("film"), 160, 52),
        _box(70, 84, 180, 12, SOLID),
        _said(say("glass"), 160, 114),
        _path("M160 67v17M154 73l6-6 6 6M154 78l6 6 6-6", MARK),
        _said(say("do they touch?"), 172, 79, anchor="start", mark=True),
    ]


def _waits() -> Marks:
    marks = []
    for y, name, wide in ((35.0, say("base"), 120.0), (90.0, say("body"), 40.0)):
        marks += [_box(70, y, wide, 24, MARK), _box(70 + wide, y, 45, 24, SOLID), _said(name, 60, y + 17, anchor="end")]
    return [*marks, _said(say("dark wait"), 74, 30, anchor="start", mark=True), _said(say("light"), 212, 30)]


def _arm() -> Marks:
    return [_path("M40 130V30h150v12"), _box(140, 42, 100, 10, SOLID), _said(say("platform"), 246, 52, anchor="start")]


def _gauge(x: float, y: float) -> Marks:
    return [svg.tag("circle", cx=x, cy=y, r=13.0, style=MARK), _path(f"M{x:g} {y - 13:g}v-8M{x:g} {y:g}l6-7", MARK)]


def _dial() -> Marks:
    weight = [_path("M90 30v30"), _box(76, 60, 28, 26, SOLID), _said("5 kg", 90, 78)]
    return [*_arm(), *weight, *_gauge(190, 84), _said(say("dial"), 210, 90, anchor="start", mark=True)]


def _tip() -> Marks:
    return [
        _path("M170 20v22M120 20h50"),
        _box(90, 42, 160, 10, SOLID),
        _box(212, 18, 24, 24, SOLID),
        _said("2 kg", 242, 34, anchor="start"),
        *_gauge(104, 84),
        *_gauge(236, 84),
        _across(170, 224, 116),
        _said("60 mm", 197, 134, mark=True),
        _said(say("front"), 60, 52),
        _said(say("rear"), 276, 62),
    ]


def _stroke() -> Marks:
    low = f"{THING};stroke-dasharray:4 3"
    clock = [svg.tag("circle", cx=250, cy=75, r=20, style=MARK), _path("M250 75V61M250 75l9 5", MARK)]
    return [
        _box(60, 30, 100, 10, SOLID),
        _box(60, 112, 100, 10, low),
        _along(180, 35, 117),
        _said("50 mm", 188, 80, anchor="start", mark=True),
        *clock,
    ]


def _overhead() -> Marks:
    marks = [_box(40 + 24 * n, 55, 20, 24, SOLID) for n in range(10)]
    return [*marks, _across(40, 276, 96), _said(say("time of ten layers, no resin"), 158, 116, mark=True)]


def _flatness() -> Marks:
    return [
        _path("M60 80Q160 96 260 80V112H60Z", SOLID),
        _path("M50 79h220", svg.stroke("ink", 3.0)),
        _said(say("straight edge"), 160, 66),
        _path("M160 80v8", MARK),
        _said(say("feeler gauge, at five places"), 160, 132, mark=True),
    ]


def _vat() -> Marks:
    return [
        _path("M70 30V120H250V30"),
        _box(71, 60, 178, 59, svg.fill("fill")),
        _path("M70 60H250", svg.stroke("soft", 1, "4 3")),
        _path("M70 119h180", svg.stroke("ink", 3)),
        _said(say("film"), 160, 138),
        _said(say("fill mark"), 258, 64, anchor="start"),
        _along(160, 60, 118),
        _said(say("deepest resin"), 168, 94, anchor="start", mark=True),
    ]


def _thermometer(x: float, y: float) -> Marks:
    return [_box(x, y, 8, 60, MARK, 4.0), svg.tag("circle", cx=x + 4, cy=y + 66, r=8, style=SPOT)]


def _cup() -> Marks:
    return [
        _path("M70 25h90l-36 50h-18Z", SOLID),
        _path("M115 76v10M115 94v9M115 111v8", MARK),
        _said(say("flow cup"), 115, 18),
        _said(say("time the flow"), 115, 142, mark=True),
        *_thermometer(220, 34),
        _said(say("its temperature"), 224, 128, mark=True),
    ]


def _squares() -> Marks:
    marks = [_path("M30 105h260", svg.stroke("ink", 2)), _said(say("film"), 60, 124)]
    for n, tall in enumerate((12.0, 22.0, 32.0, 42.0)):
        x = 60.0 + 56.0 * n
        marks += [_box(x, 105 - tall, 34, tall, SOLID), _said(f"{2**n}x", x + 17, 124), _along(x + 42, 105 - tall, 105)]
    return [*marks, _said(say("light, doubled each time; thickness is read"), 160, 143, mark=True)]


def _cold() -> Marks:
    bottles = [_path(f"M{x} 120V55q0-8 10-10V32h24v13q10 2 10 10v65Z", SOLID) for x in (70, 190)]
    return [
        *bottles,
        *_thermometer(126, 44),
        *_thermometer(246, 44),
        _said(say("as the room"), 92, 140),
        _said(say("5 to 10 C away"), 220, 140, mark=True),
    ]


def _density() -> Marks:
    syringe = [
        _box(140, 20, 26, 56, SOLID),
        _path("M153 76v12M153 20V8M143 8h20"),
        _said("10 ml", 174, 52, anchor="start"),
    ]
    return [
        *syringe,
        _path("M90 92h126l14 28H76Z", MARK),
        _said("g", 153, 112, mark=True),
        _said(say("scale"), 153, 140),
    ]


def _bill() -> Marks:
    return [
        _box(110, 15, 100, 115, SOLID),
        _path("M124 38h72M124 56h72M124 74h50"),
        _box(150, 92, 50, 22, MARK),
        _said(say("price"), 175, 108, mark=True),
    ]


SCENES: dict[str, Callable[[], Marks]] = {
    "platform": _platform, "height": _height, "window": _window, "film": _film, "backing": _backing, "controller": _waits,
    "dial": _dial, "level": lambda: _spots(FIVE, say("gap under each")), "light": lambda: _spots(NINE, say("the bare window")),
    "stroke": _stroke, "overhead": _overhead, "tip": _tip, "flatness": _flatness, "vat": _vat, "viscosity": _cup,
    "squares": _squares, "cold": _cold, "density": _density, "price": _bill,
}  # fmt: skip
"""By the reading's slug."""
