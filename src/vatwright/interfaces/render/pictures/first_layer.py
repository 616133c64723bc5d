"""The pictures of a base: what is left to spare over the platform, its corners against the light, and what presses on it."""
# ruff: noqa: RUF001 - a minus sign is what a page wants

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.answers.base import EVEN_UM, base_holds, where_words
from vatwright.answers.numbers import bench, fixed, percent, significant, typed
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.platform_map import FOOT_PX, TOP_PX, SeenFromAbove, drawn_platform
from vatwright.interfaces.render.pictures.plots import Drawing, Spot, row_words
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

    from vatwright.records.first_layer import BaseLayer, BasePlace, FirstLayers

    Floats = NDArray[np.float64]
    Point = tuple[float, float]

LINES = 7
CORNERS = (to_say("front left"), to_say("front right"), to_say("rear right"), to_say("rear left"))
ROW_PX = 34.0
APART_PX = 46.0
"""Two numbers on lines of a map stand at least this far apart [px]."""

SHORTEST_PX = 60.0
"""A line shorter than this carries no number [px]."""


def first_layer_figures(first: FirstLayers) -> tuple[Drawing, ...]:
    """Return every picture of a base in reading order."""
    return spare_map(first), corner_bars(first), pressure_map(first)


class _Canvas(NamedTuple):
    """The platform from above and the height of its picture [px]."""

    above: SeenFromAbove
    height: float


def _canvas(first: FirstLayers) -> _Canvas:
    scale = (svg.WIDTH_PX - 24.0) / first.platform.width_m
    deep = scale * first.platform.depth_m
    return _Canvas(SeenFromAbove(scale, svg.WIDTH_PX / 2.0, TOP_PX + deep / 2.0), TOP_PX + deep + FOOT_PX)


def _person(height: float) -> svg.Svg:
    return svg.words(say("front, where you stand"), svg.WIDTH_PX / 2.0, height - 7, anchor="middle", name="soft")


def spare_map(first: FirstLayers) -> Drawing:
    """Return what the light bonds through less the gap, over the platform, with the place that lets go first."""
    layer, place = first.layers[first.first], first.worst
    above, height = _canvas(first)
    spare = layer.spare_m * 1e6
    spread = float(spare.max() - spare.min())
    even = spread < EVEN_UM
    verb = say("to spare") if place.spare_m >= 0.0 else say("too thick")
    amount = f"{significant(bench(abs(place.spare_m), 'um'), 2)} µm"
    if even:
        finding = say(
            "Base layer {layer} has the same everywhere: {amount} {verb}", layer=layer.layer, amount=amount, verb=verb
        )
    else:
        word = say("is the tightest") if base_holds(first) else say("lets go first")
        finding = say(
            "The {name} {word} in layer {layer}: {amount} {verb}",
            name=place.name,
            word=word,
            layer=layer.layer,
            amount=amount,
            verb=verb,
        )
    lines, at = ([], []) if even else _contours(above, (first.x_m, first.y_m), spare, height)
    marks = [
        *drawn_platform(above, first.platform), *_cured(above, first), *lines, *at,
        *_ring(above, place, place.name, height), _person(height), _map_key(first),
    ]  # fmt: skip
    picture = svg.drawing(
        slug="base-map", title=finding, width=svg.WIDTH_PX, height=height, children=marks,
        description=say("The platform from above with what is cured in the base, and lines of equal "
"thickness to spare."),
    )  # fmt: skip
    columns = (
        say("layer"),
        say("settle [s]"),
        say("light [s]"),
        say("worst place"),
        say("gap there [µm]"),
        say("bonds to [µm]"),
        say("holds"),
    )
    rows = tuple(
        (
            str(n.layer), typed(n.settle_s), typed(n.exposure_s), _where(n), _three(n.worst.gap_m),
            _three(n.worst.bonds_to_m), percent(n.worst.chance),
        )
        for n in first.layers
    )  # fmt: skip
    spots = _field_spots(above, first, spare, say("µm to spare in layer ") + str(layer.layer))
    return Drawing(
        "base-map",
        finding,
        picture,
        columns,
        rows,
        say("Gap and bond: the middle, and 90 % of what is believed."),
        spots,
    )


def _field_spots(above: SeenFromAbove, first: FirstLayers, values: Floats, what: str) -> tuple[Spot, ...]:
    """Return what a map shows at places spread over it, about a finger apart."""
    columns, rows = (
        np.unique(np.linspace(0, len(a) - 1, n).astype(int)) for a, n in ((first.x_m, 15), (first.y_m, 11))
    )
    return tuple(
        Spot(
            above.x(float(first.x_m[i])),
            above.y(float(first.y_m[j])),
            say(
                "{aside}, {aside_2} of the middle: {values} {what}",
                aside=_aside(first.x_m[i], say("right"), say("left")),
                aside_2=_aside(first.y_m[j], say("behind"), say("in front")),
                values=significant(float(values[j, i]), 2),
                what=what,
            ),
        )
        for j in rows
        for i in columns
        if math.isfinite(values[j, i])
    )


def _aside(offset_m: float, above: str, below: str) -> str:
    return f"{fixed(bench(abs(offset_m), 'mm'), 0)} mm {above if offset_m >= 0.0 else below}"


def _where(layer: BaseLayer) -> str:
    return layer.worst.name if np.ptp(layer.spare_m) * 1e6 >= EVEN_UM else say("everywhere")


def _three(values: tuple[float, float, float]) -> str:
    low, middle, high = (significant(bench(v, "um"), 2) for v in values)
    return f"{middle} ({low}–{high})"


def _cured(above: SeenFromAbove, first: FirstLayers) -> list[svg.Svg]:
    """Return the outlines of what is cured, those that may let go drawn heavier and filled."""
    marks = []
    for weak, style in ((False, _fine()), (True, _weak())):
        loops = [loop for loop, w in zip(first.outlines_m, first.weak, strict=True) if w is weak]
        if loops:
            marks.append(svg.tag("path", d="".join(above.ring(loop) for loop in loops), style=style))
    return marks


def _fine() -> str:
    return f"fill:{svg.colour('fill')};stroke:{svg.colour('line')};stroke-width:1;fill-rule:evenodd"


def _weak() -> str:
    return f"fill:{svg.colour('accent-fill')};stroke:{svg.colour('ink')};stroke-width:2.2;fill-rule:evenodd"


def _map_key(first: FirstLayers) -> svg.Svg:
    entries = [
        svg.Key(say("to spare [µm]"), svg.stroke("accent", 1.5)),
        svg.Key(say("cured in the base"), _fine(), area=True),
    ]
    if any(first.weak):
        entries.append(svg.Key(say("may let go"), _weak(), area=True))
    return svg.key(entries, left=8.0)


def _ring(above: SeenFromAbove, place: BasePlace, text: str, height: float) -> list[svg.Svg]:
    """Return a ring at a place, and its name beside it on whichever side has room."""
    x, y = above.x(place.x_m), above.y(place.y_m)
    style = f"fill:{svg.colour('paper')};stroke:{svg.colour('ink')};stroke-width:2.2"
    room = x + 13.0 + len(text) * svg.CHARACTER_PX < svg.WIDTH_PX - 8.0
    anchor, at = ("start", x + 13.0) if room else ("end", x - 13.0)
    up = min(max(y - 9.0, TOP_PX + 12.0), height - FOOT_PX - 4.0)
    return [svg.tag("circle", cx=x, cy=y, r=7.0, style=style), svg.words(text, at, up, anchor=anchor)]


def corner_bars(first: FirstLayers) -> Drawing:
    """Return the outermost cured places as bars: what the gap is made of, against the line that says enough."""
    layer = first.layers[first.first]
    rows: list[tuple[str, BasePlace]] = list(zip(CORNERS, layer.corners, strict=True))
    if first.typed.chance < first.enough and not first.mends_plan:
        rows.append((say("as typed"), first.typed.worst))
    top = max(max(p.gap_m[2], p.bonds_to_m[1]) for _, p in rows) * 1e6 * 1.04
    frame = svg.Frame(
        svg.axis(say("gap when the light comes on [µm]"), 0.0, top), svg.Axis("", 0.0, 1.0, ()),
        height=60.0 + len(rows) * ROW_PX + 44.0, left=92.0, top=60.0,
    )  # fmt: skip
    marks = [frame.axes()]
    for k, (name, place) in enumerate(rows):
        marks += _bar(frame, 60.0 + (k + 0.5) * ROW_PX, name, place)
    legend = [svg.Key(text, style, area=True) for text, style in zip(_PARTS, _part_styles(), strict=True)]
    marks.append(svg.key([*legend, svg.Key(say("enough up to here"), svg.stroke("ink", 2.6))], left=8.0))
    short = [name for name, p in rows[:4] if p.chance < first.enough]
    if short:
        finding = say("Not enough light for the gap {listed}", listed=_listed(short))
    else:
        least = min(layer.corners, key=lambda p: p.spare_m)
        spare = significant(bench(least.spare_m, "um"), 2)
        finding = say("Every corner is within what the light bonds through, by {spare} µm or more", spare=spare)
    picture = svg.drawing(
        slug="base-corners", title=finding, width=frame.width, height=frame.height, children=marks,
        description=say("One bar a corner of what is cured, made of layer, unsettled resin and unevenness."),
    )  # fmt: skip
    columns = (
        say("where"),
        say("gap [µm]"),
        say("layer [µm]"),
        say("unsettled [µm]"),
        say("uneven [µm]"),
        say("tipped [µm]"),
        say("bonds to [µm]"),
        say("holds"),
    )
    table = tuple(
        (
            name, _three(p.gap_m), *(_signed(v) for v in (p.layer_m, p.unsettled_m, p.uneven_m, p.tipped_m)),
            _three(p.bonds_to_m), percent(p.chance),
        )
        for name, p in rows
    )  # fmt: skip
    note = (
        say(
            "As typed: the proven values typed in as they are, {where_words}.",
            where_words=where_words(first.typed.worst),
        )
        if len(rows) > 4
        else ""
    )
    middle = (frame.left + frame.width) / 2.0
    spots = tuple(Spot(middle, 60.0 + (k + 0.5) * ROW_PX, row_words(columns, row)) for k, row in enumerate(table))
    return Drawing("base-corners", finding, picture, columns, table, note, spots)


_PARTS = (to_say("layer"), to_say("not settled"), to_say("uneven"))


def _part_styles() -> tuple[str, str, str]:
    edge = f";stroke:{svg.colour('ink')};stroke-width:0.8"
    names = ("line", "accent-fill", "accent")
    first, second, third = (f"fill:{svg.colour(n)}{edge}" for n in names)
    return first, second, third


def _listed(names: Sequence[str]) -> str:
    if len(names) == 4:
        return say("at any corner")
    return say("at the ") + say(" and the ").join(names)


def _signed(value_m: float) -> str:
    text = fixed(bench(abs(value_m), "um"), 0)
    return text if text == "0" or value_m > 0.0 else f"−{text}"


def _bar(frame: svg.Frame, y: float, name: str, place: BasePlace) -> list[svg.Svg]:
    """Return one bar of three parts, the range about its end, and the line up to which the light is enough."""
    settled = place.layer_m + place.unsettled_m
    ends = [min(v, place.gap_m[1]) * 1e6 for v in (place.layer_m, settled)] + [place.gap_m[1] * 1e6]
    marks = [svg.words(name, 84.0, y + 4.0, anchor="end")]
    start = 0.0
    for end, style in zip(ends, _part_styles(), strict=True):
        if end > start:
            x0, x1 = frame.at_x(start), frame.at_x(end)
            marks.append(svg.tag("rect", x=x0, y=y - 8.0, width=x1 - x0, height=16.0, style=style))
            start = end
    low, high = (min(max(frame.at_x(v * 1e6), frame.left), frame.width - frame.right) for v in place.gap_m[::2])
    whisker = f"M{low:.1f} {y:.1f}H{high:.1f}M{low:.1f} {y - 4:.1f}v8M{high:.1f} {y - 4:.1f}v8"
    x = frame.at_x(place.bonds_to_m[1] * 1e6)
    return [
        *marks,
        svg.tag("path", d=whisker, style=svg.stroke("ink", 1.2)),
        svg.tag("line", x1=x, x2=x, y1=y - 14.0, y2=y + 14.0, style=svg.stroke("ink", 2.6)),
    ]


def pressure_map(first: FirstLayers) -> Drawing:
    """Return the pressure under the platform as it arrives, in the base layer that tips it most, and where it acts."""
    hardest = max(first.pressures, key=lambda p: p.peak_moment_j)
    above, height = _canvas(first)
    pressure = hardest.pressure_pa / 1e3
    lines, at = _contours(above, (first.x_m, first.y_m), pressure, height)
    x, y = above.x(hardest.centre_x_m), above.y(hardest.centre_y_m)
    cross = svg.tag(
        "path", d=f"M{x - 7:.1f} {y:.1f}H{x + 7:.1f}M{x:.1f} {y - 7:.1f}V{y + 7:.1f}", style=svg.stroke("ink", 2.2)
    )
    force = f"{significant(hardest.peak_n, 2)} N"
    off = math.hypot(hardest.centre_x_m, hardest.centre_y_m) * 1e3
    away = say("{off} mm off the middle", off=fixed(off, 0)) if off >= 1.0 else say("in the middle")
    finding = say(
        "{force} press on the platform in base layer {layer}, {away}", force=force, layer=hardest.layer, away=away
    )
    pairs = [
        svg.Key(say("pressure [kPa]"), svg.stroke("accent", 1.5)),
        svg.Key(say("the force acts here (+)"), svg.stroke("ink", 2.2)),
    ]
    marks = [*drawn_platform(above, first.platform), *lines, *at, cross, _person(height), svg.key(pairs, left=8.0)]
    picture = svg.drawing(
        slug="base-pressure", title=finding, width=svg.WIDTH_PX, height=height, children=marks,
        description=say("The platform from above with lines of equal pressure as it arrives, and where their "
"sum acts."),
    )  # fmt: skip
    columns = (
        say("layer"),
        say("arriving [N]"),
        say("at the light [N]"),
        say("right [mm]"),
        say("behind [mm]"),
        say("arriving [N m]"),
        say("at the light [N m]"),
    )
    rows = tuple(
        (
            str(p.layer), significant(p.peak_n, 2), significant(p.end_n, 2), _plain(p.centre_x_m), _plain(p.centre_y_m),
            significant(p.peak_moment_j, 2), significant(p.end_moment_j, 2),
        )
        for p in first.pressures
    )  # fmt: skip
    note = say("Right and behind: where the force acts, from the middle. N m: moment that tips the platform.")
    spots = _field_spots(above, first, pressure, say("kPa as layer {layer} arrives", layer=hardest.layer))
    return Drawing("base-pressure", finding, picture, columns, rows, note, spots)


def _plain(value_m: float) -> str:
    text = fixed(bench(abs(value_m), "mm"), 0)
    return f"−{text}" if value_m < 0.0 and text != "0" else text


# --- lines of equal value over a grid --------------------------------------------------------------------------------


def _contours(
    above: SeenFromAbove, grid: tuple[Floats, Floats], values: Floats, height: float
) -> tuple[list[svg.Svg], list[svg.Svg]]:
    """Return lines of equal value over a grid of places, and their numbers."""
    low, high = float(values.min()), float(values.max())
    if high - low <= 0.0:
        return [], []
    nice = svg.axis("", low, high, most=LINES)
    marks, labels, taken = [], [], [(svg.WIDTH_PX / 2.0, height)]
    for level in nice.ticks:
        lines = [[(above.x(x), above.y(y)) for x, y in line] for line in level_lines(grid[0], grid[1], values, level)]
        if not lines:
            continue
        path = "".join("M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in line) for line in lines)
        bold = abs(level) < 1e-12 and low < 0.0  # the line between enough and not enough
        marks.append(
            svg.tag("path", d=path, style=svg.stroke("ink", 2.2, "7 3") if bold else svg.stroke("accent", 1.5))
        )
        spot = _spot(max(lines, key=_length), taken, height)
        if spot:
            taken.append(spot)
            text = "enough" if bold else _level_words(level, nice.decimals)
            name = "ink" if bold else "accent"
            labels.append(svg.words(text, spot[0], spot[1] + 4.0, anchor="middle", name=name))
    return marks, labels


def _level_words(level: float, decimals: int) -> str:
    text = fixed(abs(level), decimals)
    return f"−{text}" if level < 0.0 else text


def _length(line: Sequence[Point]) -> float:
    return sum(math.dist(a, b) for a, b in itertools.pairwise(line))


def _spot(line: Sequence[Point], taken: Iterable[Point], height: float) -> Point | None:
    """Return the place of a line that is farthest from all other numbers, well inside the picture; None without room."""
    if _length(line) < SHORTEST_PX:
        return None
    dense = [
        (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]))
        for a, b in itertools.pairwise(line)
        for t in np.linspace(0.0, 1.0, max(int(math.dist(a, b) / 8.0), 1), endpoint=False).tolist()
    ]
    inside = [p for p in dense if 34.0 < p[0] < svg.WIDTH_PX - 34.0 and TOP_PX + 12.0 < p[1] < height - FOOT_PX - 12.0]
    best = max(inside, key=lambda p: min(math.dist(p, t) for t in taken), default=None)
    return best if best and min(math.dist(best, t) for t in taken) >= APART_PX else None


def level_lines(x: Floats, y: Floats, values: Floats, level: float) -> list[list[Point]]:
    """Return the lines along which a field over a grid has one value, each as its corners.

    Linear over two triangles a cell, so that lines never fork and a plane gives straight ones.

    Parameters
    ----------
    x, y : (nx,), (ny,) ndarray
        The grid.
    values : (ny, nx) ndarray
        The field.
    level : float
        The value.

    Returns
    -------
    list of list of (x, y)
        Corners in order; straight stretches have none between their ends.

    Examples
    --------
    >>> level_lines(np.array([0.0, 1.0, 2.0]), np.array([0.0, 1.0]), np.array([[0.0, 2.0, 4.0], [0.0, 2.0, 4.0]]), 3.0)
    [[(1.5, 0.0), (1.5, 1.0)]]
    """
    # A value exactly on a node would make a line fork there; it is moved by less than anybody sees.
    field = np.where(values == level, level + 1e-9 * (float(np.ptp(values)) or 1.0), values) - level
    pairs: list[tuple[Point, Point]] = []
    for j, i in itertools.product(range(len(y) - 1), range(len(x) - 1)):
        a, b, c, d = (j, i), (j, i + 1), (j + 1, i + 1), (j + 1, i)
        for triangle in ((a, b, c), (a, c, d)):
            ends = [
                _between(x, y, field, triangle[k], triangle[k - 1])
                for k in range(3)
                if field[triangle[k]] * field[triangle[k - 1]] < 0.0
            ]
            if len(ends) == 2:
                pairs.append((ends[0], ends[1]))
    return [_straightened(line) for line in _joined(pairs)]


def _between(x: Floats, y: Floats, field: Floats, p: tuple[int, int], q: tuple[int, int]) -> Point:
    p, q = sorted((p, q))  # from one end always, so that neighbours meet to the last bit
    share = float(field[p] / (field[p] - field[q]))
    return (float(x[p[1]] + share * (x[q[1]] - x[p[1]])), float(y[p[0]] + share * (y[q[0]] - y[p[0]])))


def _joined(pairs: list[tuple[Point, Point]]) -> list[list[Point]]:
    """Chain short stretches that share an end."""
    at: dict[Point, list[int]] = {}
    for k, pair in enumerate(pairs):
        for end in pair:
            at.setdefault(end, []).append(k)
    used, lines = [False] * len(pairs), []
    # Begin at open ends, then take what closes on itself.
    begins = [k for k, p in enumerate(pairs) if any(len(at[e]) == 1 for e in p)] + list(range(len(pairs)))
    for k in begins:
        if used[k]:
            continue
        used[k] = True
        first, last = pairs[k] if len(at[pairs[k][0]]) == 1 else pairs[k][::-1]
        line = [first, last]
        while (n := next((m for m in at[line[-1]] if not used[m]), None)) is not None:
            used[n] = True
            line.append(pairs[n][1] if pairs[n][0] == line[-1] else pairs[n][0])
        lines.append(line)
    return lines


def _straightened(line: list[Point]) -> list[Point]:
    """Leave out corners that lie on the straight between their neighbours."""
    kept = [line[0]]
    for (x0, y0), (x1, y1), (x2, y2) in zip(line, line[1:], line[2:], strict=False):
        turn = (x1 - x0) * (y2 - y1) - (y1 - y0) * (x2 - x1)
        if abs(turn) > 1e-6 * (math.hypot(x1 - x0, y1 - y0) * math.hypot(x2 - x1, y2 - y1) + 1e-30):
            kept.append((x1, y1))
    return [*kept, line[-1]]
