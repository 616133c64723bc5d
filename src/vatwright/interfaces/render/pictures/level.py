"""The pictures of a level sheet: the platform from above with its plane, its screws, and its corners against the light."""
# ruff: noqa: RUF001 - a minus sign is what a page wants

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.level import CORNER_HEADS, corner_rows, turn_rows
from vatwright.answers.numbers import bench, fixed, one_line, percent
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.platform_map import FOOT_PX, TOP_PX, SeenFromAbove, drawn_platform
from vatwright.interfaces.render.pictures.plots import Drawing, Spot, row_words
from vatwright.planning.level.corrections import turn_words
from vatwright.records.level import Mount
from vatwright.units import to_si
from vatwright.wording import say, say_many

if TYPE_CHECKING:
    from vatwright.records.level import Correction, LevelSheet
    from vatwright.records.machine import Platform

LINES = 7
ROW_PX = 34.0
LABEL_SHARES = (0.5, 0.38, 0.62, 0.26, 0.74)
LABEL_PX = 22.0
SHORTEST_PX = 40.0
"""Where along a line its number may stand, the room it needs, and the shortest line that gets one [px]."""


def _above(platform: Platform) -> tuple[SeenFromAbove, float]:
    scale = (svg.WIDTH_PX - 24.0) / platform.width_m
    return SeenFromAbove(
        scale, svg.WIDTH_PX / 2.0, TOP_PX + scale * platform.depth_m / 2.0
    ), TOP_PX + scale * platform.depth_m + FOOT_PX


def _person(height: float) -> svg.Svg:
    return svg.words(say("front, where you stand"), svg.WIDTH_PX / 2.0, height - 7, anchor="middle", name="soft")


def plane_map(sheet: LevelSheet) -> Drawing:
    """Return the platform from above: readings, lines of equal gap with their numbers, the highest corner named."""
    platform, worst = sheet.survey.machine.platform, sheet.worst
    above, height = _above(platform)
    finding = say("The {name} corner stands highest: {um} µm above the middle", name=worst.name, um=_um(worst.error_m))
    marks = [
        *drawn_platform(above, platform), *_lines(above, sheet), *_readings(above, sheet), *_highest(above, sheet, height),
        _person(height), svg.key([svg.Key(say("line of equal gap [µm]"), svg.stroke("accent", 1.5))], left=8.0),
        _dot(244.0, 8.0), svg.words(say("reading [µm]"), 254.0, 12.0),
    ]  # fmt: skip
    picture = svg.drawing(
        slug="level-plane", title=finding, width=svg.WIDTH_PX, height=height, children=marks,
        description=say("The platform from above with the gaps read, and straight lines along which the "
"fitted gap is equal."),
    )  # fmt: skip
    rows = tuple(
        (_place(r.x_m, r.y_m), _um(r.gap_m), _signed(left), _um(r.sigma_m))
        for r, left in zip(sheet.survey.readings, sheet.plane.residual_m, strict=True)
    )
    columns = (say("where"), say("read [µm]"), say("less the plane [µm]"), "± [µm]")
    note = say("The lines are the plane's; the twist is left out of them.") if sheet.plane.twisted else ""
    spots = tuple(
        Spot(above.x(r.x_m), above.y(r.y_m), row_words(columns, row))
        for r, row in zip(sheet.survey.readings, rows, strict=True)
    )
    return Drawing("level-plane", finding, picture, columns, rows, note, spots)


def _um(length_m: float) -> str:
    return fixed(bench(length_m, "um"), 0)


def _mm(length_m: float) -> str:
    return fixed(bench(length_m, "mm"), 0)


def _place(x_m: float, y_m: float) -> str:
    return f"x {_mm(x_m)}, y {_mm(y_m)} mm"


def _signed(value_m: float) -> str:
    text = _um(abs(value_m))
    return text if text == "0" else ("+" if value_m > 0.0 else "−") + text


def _dot(x: float, y: float) -> svg.Svg:
    return svg.tag("circle", cx=x, cy=y, r=4.0, style=svg.fill("ink"))


def _readings(above: SeenFromAbove, sheet: LevelSheet) -> list[svg.Svg]:
    marks = []
    for r in sheet.survey.readings:
        x, y = above.x(r.x_m), above.y(r.y_m)
        low = y > TOP_PX + 24.0  # a number above the dot, unless it would leave the platform
        anchor = "start" if x < 60.0 else "end" if x > svg.WIDTH_PX - 60.0 else "middle"
        marks += [_dot(x, y), svg.words(_um(r.gap_m), x, y - 9.0 if low else y + 19.0, anchor=anchor)]
    return marks


def _lines(above: SeenFromAbove, sheet: LevelSheet) -> list[svg.Svg]:
    """Return the lines of equal gap of the plane, each cut at the platform's edge and carrying its number."""
    flat = [bench(c.plane_m, "um") for c in sheet.corners]
    if max(flat) - min(flat) < 1.0:
        return []
    marks, labels = [], []
    nice = svg.axis("gap", min(flat), max(flat), most=LINES)
    taken = [(above.x(r.x_m), above.y(r.y_m)) for r in sheet.survey.readings]
    for level in nice.ticks:
        ends = _cut(sheet, to_si(level, "um"))
        if len(ends) < 2:
            continue
        (x0, y0), (x1, y1) = ((above.x(x), above.y(y)) for x, y in ends[:2])
        marks.append(svg.tag("line", x1=x0, y1=y0, x2=x1, y2=y1, style=svg.stroke("accent", 1.5)))
        if math.hypot(x1 - x0, y1 - y0) < SHORTEST_PX:
            continue
        spots = [(x0 + t * (x1 - x0), y0 + t * (y1 - y0)) for t in LABEL_SHARES]
        room = [min(_room(spot, other) for other in taken) for spot in spots]
        if max(room) < LABEL_PX:
            continue
        spot = spots[room.index(max(room))]
        taken.append(spot)
        labels.append(svg.words(fixed(level, nice.decimals), spot[0], spot[1] + 4.0, anchor="middle", name="accent"))
    return [*marks, *labels]


def _cut(sheet: LevelSheet, gap_m: float) -> list[tuple[float, float]]:
    """Return where a line of equal gap meets the platform's edge, from left to right [m]."""
    plane, platform = sheet.plane, sheet.survey.machine.platform
    half_w, half_d = platform.width_m / 2.0, platform.depth_m / 2.0
    rest = gap_m - plane.offset_m
    level = [((rest - plane.tilt_y * y) / plane.tilt_x, y) for y in (-half_d, half_d) if plane.tilt_x]
    upright = [(x, (rest - plane.tilt_x * x) / plane.tilt_y) for x in (-half_w, half_w) if plane.tilt_y]
    return sorted([p for p in level if abs(p[0]) <= half_w] + [p for p in upright if abs(p[1]) < half_d])


def _room(spot: tuple[float, float], other: tuple[float, float]) -> float:
    """How far apart two labels are, a line of text being wider than high [px]."""
    return math.hypot((spot[0] - other[0]) / 1.6, spot[1] - other[1])


def _highest(above: SeenFromAbove, sheet: LevelSheet, height: float) -> list[svg.Svg]:
    """Return a ring at the highest corner, and its name outside the platform beside it."""
    worst = sheet.worst
    x, y = above.x(worst.x_m), above.y(worst.y_m)
    anchor, at = ("start", 8.0) if worst.x_m < 0.0 else ("end", svg.WIDTH_PX - 8.0)
    ring = svg.tag("circle", cx=x, cy=y, r=8.0, style=svg.stroke("ink", 2.2))
    text = f"{worst.name} {_signed(worst.error_m)}"
    return [ring, svg.words(text, at, 33.0 if worst.y_m > 0.0 else height - 7.0, anchor=anchor)]


def corner_bars(sheet: LevelSheet) -> Drawing:
    """Return the four corners as bars: the gap there against the line to which the light is enough; errors without a base."""
    return _judged_bars(sheet) if sheet.base else _error_bars(sheet)


def _judged_bars(sheet: LevelSheet) -> Drawing:
    base, worst = sheet.base, sheet.worst
    if base is None:
        return _error_bars(sheet)
    line = bench(base.bonds_to_m[1], "um")
    gaps = {c.name: max(bench(base.settled_m[1] + c.error_m, "um"), 0.0) for c in sheet.corners}
    top = max(line, *gaps.values()) * 1.1
    frame = _bar_frame(say("gap when the light comes on [µm]"), 0.0, top)
    marks = [frame.axes()]
    for k, c in enumerate(sheet.corners):
        ends = [
            max(bench(v + c.error_m, "um"), 0.0) for v in (base.settled_m[0] - c.sigma_m, base.settled_m[2] + c.sigma_m)
        ]
        fits = gaps[c.name] <= line
        marks += _bar(frame, k, c.name, (0.0, gaps[c.name]), (ends[0], ends[1]), strong=not fits)
    x = frame.at_x(line)
    marks += [
        svg.tag("line", x1=x, x2=x, y1=30.0, y2=frame.height - frame.bottom, style=svg.stroke("ink", 2.2)),
        svg.words(say("light is enough up to here"), x + 4.0, 24.0, anchor="end", name="ink"),
    ]
    if (touch := sheet.nearest.touches or 0.0) > 0.1 and gaps[worst.name] <= line:
        finding = say(
            "The {name} corner reaches the film in {touch} of runs", name=sheet.nearest.name, touch=percent(touch)
        )
    else:
        told = {"name": worst.name, "reach": fixed(gaps[worst.name], 0), "line": fixed(line, 0)}
        finding = (
            say("The {name} corner, {reach} µm, is beyond what the light bonds through, {line} µm", **told)
            if gaps[worst.name] > line
            else say("The {name} corner, {reach} µm, is within what the light bonds through, {line} µm", **told)
        )
    return _bars_figure(frame, marks, finding, corner_rows(sheet))


def _error_bars(sheet: LevelSheet) -> Drawing:
    most = bench(max(abs(c.error_m) + c.sigma_m for c in sheet.corners), "um") or 1.0
    frame = _bar_frame(say("corner against the middle [µm]"), -most, most)
    marks = [frame.axes()]
    for k, c in enumerate(sheet.corners):
        e, s = bench(c.error_m, "um"), bench(c.sigma_m, "um")
        marks += _bar(frame, k, c.name, (min(e, 0.0), max(e, 0.0)), (e - s, e + s), strong=c is sheet.worst)
    marks.append(frame.upright(0.0, svg.stroke("ink", 1.5)))
    high = _um(sheet.worst.error_m)
    finding = say(
        "The {name} corner is {high} µm high, the {name_2} one as low",
        name=sheet.worst.name,
        high=high,
        name_2=sheet.nearest.name,
    )
    note = say("No base was named, so there is no line that says enough.")
    return _bars_figure(frame, marks, finding, corner_rows(sheet), note)


def _bar_frame(label: str, low: float, high: float) -> svg.Frame:
    return svg.Frame(
        svg.axis(label, low, high), svg.Axis("", 0.0, 4.0, ()), height=44.0 + 4.0 * ROW_PX + 44.0, left=92.0, top=44.0
    )


def _bar(
    frame: svg.Frame, row: int, name: str, ends: tuple[float, float], span: tuple[float, float], *, strong: bool
) -> list[svg.Svg]:
    """Return one bar with its name and the range about its end."""
    y = 44.0 + (row + 0.5) * ROW_PX
    x0, x1 = frame.at_x(ends[0]), frame.at_x(ends[1])
    style = f"fill:{svg.colour('accent')};stroke:{svg.colour('ink')};stroke-width:1" if strong else svg.fill("line")
    low, high = (min(max(frame.at_x(v), frame.left), frame.width - frame.right) for v in span)
    whisker = f"M{low:.1f} {y:.1f}H{high:.1f}M{low:.1f} {y - 5:.1f}v10M{high:.1f} {y - 5:.1f}v10"
    return [
        svg.words(name, 84.0, y + 4.0, anchor="end"),
        svg.tag("rect", x=x0, y=y - 8.0, width=max(x1 - x0, 1.0), height=16.0, style=style),
        svg.tag("path", d=whisker, style=svg.stroke("ink", 1.5)),
    ]


def _bars_figure(
    frame: svg.Frame, marks: list[svg.Svg], finding: str, rows: tuple[tuple[str, ...], ...], note: str = ""
) -> Drawing:
    columns = CORNER_HEADS[: len(rows[0])]
    picture = svg.drawing(
        slug="level-corners", title=finding, width=frame.width, height=frame.height, children=marks,
        description=say("One bar a corner, with the range about its end."),
    )  # fmt: skip
    middle = (frame.left + frame.width) / 2.0
    spots = tuple(Spot(middle, 44.0 + (k + 0.5) * ROW_PX, row_words(columns, row)) for k, row in enumerate(rows))
    return Drawing("level-corners", finding, picture, columns, rows, note, spots)


def screw_map(sheet: LevelSheet) -> Drawing:
    """Return the platform from above with each screw, its turn and when it is turned; leaves under corners for a ball."""
    platform = sheet.survey.machine.platform
    above, height = _above(platform)
    kind = "shim" if sheet.survey.screws.mount is Mount.BALL else "screw"
    at = [c for c in sheet.corrections if c.kind == kind]
    first = next((c for c in at if c.needed), None)
    if first is None:
        finding = say("Leave the screws: what is left is within the readings' error")
    elif kind == "shim":
        finding = say("Most leaves go under the {what} corner", what=one_line(first.what))
    else:
        finding = say(
            "Begin with the {what} screw, {turn_words}",
            what=one_line(first.what),
            turn_words=turn_words(first.turns or 0.0),
        )
    marks = [*drawn_platform(above, platform), *(m for c in at for m in _screw(above, platform, c))]
    picture = svg.drawing(
        slug="level-screws", title=finding, width=svg.WIDTH_PX, height=height, children=[*marks, _person(height)],
        description=say("The platform from above; each screw with its place in the order and its turn."),
    )  # fmt: skip
    rows = turn_rows(sheet)
    said = {order: f"{what}: {do}" for order, what, do in rows}
    spots = tuple(Spot(*_screw_px(above, platform, c), said[str(c.order)]) for c in at if str(c.order) in said)
    return Drawing("level-screws", finding, picture, (say("order"), say("what"), say("do")), rows, "", spots)


def _screw_px(above: SeenFromAbove, platform: Platform, c: Correction) -> tuple[float, float]:
    """Return where a screw is drawn: inside the platform, however far out it is."""
    inset_x, inset_y = 24.0 / above.scale, 30.0 / above.scale
    x_m = min(max(c.x_m or 0.0, inset_x - platform.width_m / 2.0), platform.width_m / 2.0 - inset_x)
    y_m = min(max(c.y_m or 0.0, inset_y - platform.depth_m / 2.0), platform.depth_m / 2.0 - inset_y)
    return above.x(x_m), above.y(y_m)


def _screw(above: SeenFromAbove, platform: Platform, c: Correction) -> list[svg.Svg]:
    """Return one screw: a ring with its number, an arrow the way it turns, the turn beside it, all inside the platform."""
    x, y = _screw_px(above, platform, c)
    ring = f"fill:{svg.colour('accent-fill' if c.needed else 'paper')};stroke:{svg.colour('ink')};stroke-width:1.5"
    marks = [svg.tag("circle", cx=x, cy=y, r=11.0, style=ring), svg.words(str(c.order), x, y + 4.5, anchor="middle")]
    if c.needed and c.turns:
        marks.append(_turn_arrow(x, y, clockwise=c.turns > 0.0))
    lines = _screw_label(c)
    anchor, dx = (
        ("start", 22.0)
        if x < svg.WIDTH_PX / 2.0 - 40.0
        else ("end", -22.0)
        if x > svg.WIDTH_PX / 2.0 + 40.0
        else ("middle", 0.0)
    )
    lift = 0.0 if dx else 34.0 if y < above.middle_y else -34.0
    return marks + [svg.words(t, x + dx, y - 2.0 + 15.0 * n + lift, anchor=anchor) for n, t in enumerate(lines)]


def _screw_label(c: Correction) -> tuple[str, ...]:
    if not c.needed:
        return (one_line(c.what)[:22], say("leave"))
    if c.sheets is not None:
        return (say_many(c.sheets, "{n} leaf more", "{n} leaves more"), f"{_um(c.travel_m)} µm")
    turn = say(turn_words(c.turns or 0.0))
    amount, _, way = turn.rpartition(" ")
    return (amount, way)


def _turn_arrow(x: float, y: float, *, clockwise: bool) -> svg.Svg:
    """Return three quarters of a circle with a head, the way the screw turns as seen from above."""
    r, sweep = 16.0, 1 if clockwise else 0
    start, end = (math.radians(a) for a in ((-150.0, 60.0) if clockwise else (-30.0, 120.0)))
    x0, y0, x1, y1 = (x + r * math.cos(start), y + r * math.sin(start), x + r * math.cos(end), y + r * math.sin(end))
    way = end + (math.pi / 2.0 if clockwise else -math.pi / 2.0)
    head = "".join(
        f"L{x1 - 7.0 * math.cos(way + s):.1f} {y1 - 7.0 * math.sin(way + s):.1f}M{x1:.1f} {y1:.1f}" for s in (-0.5, 0.5)
    )
    return svg.tag(
        "path",
        d=f"M{x0:.1f} {y0:.1f}A{r:.0f} {r:.0f} 0 1 {sweep} {x1:.1f} {y1:.1f}{head}",
        style=svg.stroke("accent", 2.0),
    )
