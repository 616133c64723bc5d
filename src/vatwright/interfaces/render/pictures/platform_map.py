"""The target's platform from above: parts, window, lift needed as contour lines, and the place that lets go last."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.answers.numbers import bench, fixed, one_line, quantity
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.plots import Drawing, Spot
from vatwright.records.first_layer import place_name
from vatwright.wording import say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.machine import Platform, Window
    from vatwright.records.plan import CarrySheet, PlatformView

    Floats = NDArray[np.float64]

TOP_PX, FOOT_PX = 44.0, 26.0
LINES = 10


class SeenFromAbove(NamedTuple):
    """Pixels for metres, seen from above with the person at the lower edge."""

    scale: float
    middle_x: float
    middle_y: float

    def x(self, x_m: float) -> float:
        """Return a place along the width in pixels."""
        return self.middle_x + self.scale * x_m

    def y(self, y_m: float) -> float:
        """Return a place along the depth in pixels."""
        return self.middle_y - self.scale * y_m

    def ring(self, loop_m: Floats) -> str:
        """Return an outline as a path."""
        return svg.ring_path(loop_m * (self.scale, -self.scale) + (self.middle_x, self.middle_y))

    def box(self, size_m: tuple[float, float, float], style: str, at_m: tuple[float, float] = (0.0, 0.0)) -> svg.Svg:
        """Return a rectangle of (width, depth, corner radius) about a centre."""
        width, depth, corner = size_m
        return svg.tag(
            "rect", x=self.x(at_m[0] - width / 2.0), y=self.y(at_m[1] + depth / 2.0),
            width=self.scale * width, height=self.scale * depth, rx=self.scale * corner, style=style,
        )  # fmt: skip


def platform_map(sheet: CarrySheet) -> Drawing:
    """Return the map of the lift needed, with the worst place marked and named."""
    view = sheet.platform_view
    wide = max(view.platform.width_m, view.window.width_m)
    deep = max(view.platform.depth_m, view.window.depth_m)
    scale = (svg.WIDTH_PX - 8.0) / wide
    above = SeenFromAbove(scale, svg.WIDTH_PX / 2.0, TOP_PX + scale * deep / 2.0)
    height = TOP_PX + scale * deep + FOOT_PX
    name = place_name(view.worst_x_m, view.worst_y_m, width_m=wide, depth_m=deep)
    need = quantity(view.worst_lift_m, "mm", 2)
    levels = contour_levels(view)
    marks = [
        *drawn_platform(above, view.platform), *_parts(above, view), *_contours(above, view.window, view.tan_angle, levels),
        *_worst(above, view, f"{name}, {need}"),
        svg.words(say("front, where you stand"), svg.WIDTH_PX / 2.0, height - 7, anchor="middle", name="soft"), _map_key(),
    ]  # fmt: skip
    finding = say("The {name} lets go last: it needs {need} of lift", name=name, need=need)
    picture = svg.drawing(
        slug="platform", title=finding, width=svg.WIDTH_PX, height=height, children=marks,
        description=say("The platform from above with its parts, and contour lines of the lift that frees "
"each place."),
    )  # fmt: skip
    spots = (
        Spot(
            above.x(view.worst_x_m),
            above.y(view.worst_y_m),
            say("{name}: lets go last, {need} of lift", name=name, need=need),
        ),
    )
    return Drawing(
        "platform", finding, picture, *_map_table(view, name, levels), _part_note(view), (*spots, *_named(above, view))
    )


def _named(above: SeenFromAbove, view: PlatformView) -> list[Spot]:
    """Return each piece by its name and place."""
    found = []
    for outline in view.outlines:
        if outline.loops_m:
            x_m, y_m = np.vstack(outline.loops_m).mean(axis=0)
            where = say(
                "{side}, {side_2} of the centre",
                side=_side(x_m, say("right"), say("left")),
                side_2=_side(y_m, say("behind"), say("in front")),
            )
            found.append(Spot(above.x(x_m), above.y(y_m), f"{one_line(outline.part)}, {where}"))
    return found


def _map_table(
    view: PlatformView, name: str, levels: tuple[float, ...]
) -> tuple[tuple[str, ...], tuple[tuple[str, ...], ...]]:
    columns = (say("where"), say("lift needed [mm]"))
    at = say(
        "{name}: {side}, {side_2} of the centre",
        name=name,
        side=_side(view.worst_x_m, say("right"), say("left")),
        side_2=_side(view.worst_y_m, say("behind"), say("in front")),
    )
    lines = (
        (say("{v} mm inside the window's edge", v=fixed(v / view.tan_angle, 0)), fixed(v, _decimals(levels)))
        for v in levels
    )
    return columns, ((at, fixed(bench(view.worst_lift_m, "mm"), 1)), *lines)


def _side(offset_m: float, above: str, below: str) -> str:
    return f"{fixed(bench(abs(offset_m), 'mm'), 0)} mm {above if offset_m >= 0.0 else below}"


def _part_note(view: PlatformView) -> str:
    counts: dict[str, int] = {}
    for outline in view.outlines:
        counts[one_line(outline.part)] = counts.get(one_line(outline.part), 0) + 1
    return (
        say("On the platform: ") + ", ".join(say("{n} of {part}", n=n, part=part) for part, n in counts.items()) + "."
        if counts
        else ""
    )


def contour_levels(view: PlatformView) -> tuple[float, ...]:
    """Return the lifts [mm] that get a contour line: even steps of 1, 2 or 5 up to the middle of the window."""
    highest = view.tan_angle * min(view.window.width_m, view.window.depth_m) / 2.0 * 1e3
    if not math.isfinite(highest) or highest <= 0.0:
        return ()
    ticks = svg.axis("lift", 0.0, highest, most=LINES).ticks
    return tuple(t for t in ticks if 0.0 < t < 0.97 * highest)


def _decimals(levels: tuple[float, ...]) -> int:
    return svg.Axis("", 0.0, 1.0, (0.0, levels[0])).decimals if levels else 0


def drawn_platform(above: SeenFromAbove, platform: Platform) -> list[svg.Svg]:
    """Return the platform with its openings."""
    face = f"fill:{svg.colour('paper')};stroke:{svg.colour('ink')};stroke-width:1.5"
    hole = f"fill:{svg.colour('faint')};stroke:{svg.colour('line')};stroke-width:1"
    marks = [above.box((platform.width_m, platform.depth_m, platform.corner_m), face)]
    for o in platform.openings:
        if o.round_:
            radii = {"rx": above.scale * o.width_m / 2.0, "ry": above.scale * o.depth_m / 2.0}
            marks.append(svg.tag("ellipse", cx=above.x(o.x_m), cy=above.y(o.y_m), style=hole, **radii))
        else:
            marks.append(above.box((o.width_m, o.depth_m, 0.0), hole, (o.x_m, o.y_m)))
    return marks


def _parts(above: SeenFromAbove, view: PlatformView) -> list[svg.Svg]:
    parts = [
        svg.tag(
            "path", svg.tag("title", o.part), d="".join(above.ring(loop) for loop in o.loops_m), style=_part_style()
        )
        for o in view.outlines
        if o.loops_m
    ]
    return [*parts, above.box((view.window.width_m, view.window.depth_m, view.window.corner_m), _window_style())]


def _part_style() -> str:
    return f"fill:{svg.colour('fill')};stroke:{svg.colour('line')};stroke-width:1;fill-rule:evenodd"


def _window_style() -> str:
    return svg.stroke("soft", 1.5, "7 3")


def _contours(above: SeenFromAbove, window: Window, tan_angle: float, levels: tuple[float, ...]) -> list[svg.Svg]:
    """Return the lines of equal lift: at equal distance from its edge the window is a smaller one, tighter cornered."""
    marks, labels = [], []
    for k, level in enumerate(levels):
        inset = level / 1e3 / tan_angle
        size = (window.width_m - 2.0 * inset, window.depth_m - 2.0 * inset, max(window.corner_m - inset, 0.0))
        marks.append(above.box(size, svg.stroke("accent", 1.5)))
        x = above.x(size[0] * (0.30 if k % 2 else 0.22))
        labels.append(
            svg.words(fixed(level, _decimals(levels)), x, above.y(-size[1] / 2.0) + 4, anchor="middle", name="accent")
        )
    return [*marks, *labels]


def _worst(above: SeenFromAbove, view: PlatformView, text: str) -> list[svg.Svg]:
    """Return a ring with a cross at the worst place and its name beside it, on whichever side has room."""
    x, y = above.x(view.worst_x_m), above.y(view.worst_y_m)
    bold = svg.stroke("ink", 2.2)
    long = len(text) * svg.CHARACTER_PX
    anchor, at = ("start", x + 13.0) if x + 13.0 + long < svg.WIDTH_PX - 8.0 else ("end", x - 13.0)
    return [
        svg.tag(
            "circle", cx=x, cy=y, r=8.0, style=f"fill:{svg.colour('paper')};stroke:{svg.colour('ink')};stroke-width:2.2"
        ),
        svg.tag("path", d=f"M{x - 4:.1f} {y:.1f}H{x + 4:.1f}M{x:.1f} {y - 4:.1f}V{y + 4:.1f}", style=bold),
        svg.words(text, at, y - 9.0, anchor=anchor),
    ]


def _map_key() -> svg.Svg:
    lines = svg.Key(say("lift needed [mm]"), svg.stroke("accent", 1.5))
    part = svg.Key(say("part"), _part_style(), area=True)
    return svg.key([lines, part, svg.Key(say("window of the film"), _window_style())], left=8.0)
