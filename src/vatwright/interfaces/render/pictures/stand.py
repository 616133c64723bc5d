"""A part as it stands: shaded as one sees it from the front, and what it covers seen from above."""

from __future__ import annotations

from itertools import groupby
from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.numbers import quantity
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.plots import Drawing
from vatwright.wording import say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from vatwright.records.stand import Portrait, Way

SIDE_PX = 184.0
"""Room for each of the two views."""

LEFT_PX, GAP_PX, TOP_PX, FOOT_PX = 4.0, 24.0, 24.0, 30.0

INK = {1: 0.82, 2: 0.64, 3: 0.46, 4: 0.3, 5: 0.16}
"""How much ink each step of light gets, the darkest first."""


def stand_picture(ways: tuple[Way, ...], number: int, rows: tuple[tuple[str, str], ...]) -> Drawing:
    """Return one of several ways in which a part may stand, all on one scale.

    Parameters
    ----------
    ways : tuple of Way
        All ways, for the scale.
    number : int
        Which of them.
    rows : tuple of tuple of str
        What it is and its value, for the table beneath.
    """
    way, scale = ways[number], _scale(ways)
    tall = max((w.portrait.front.shape[0] * w.portrait.cell_m for w in ways if w.portrait), default=0.0) * scale
    deep = max((_extent(w.portrait)[1] for w in ways if w.portrait), default=0.0) * scale
    floor = TOP_PX + max(tall, deep)
    marks = [] if way.portrait is None else [*_front(way.portrait, scale, floor), *_plan(way.portrait, scale, floor)]
    middle, other = LEFT_PX + SIDE_PX / 2.0, LEFT_PX + SIDE_PX * 1.5 + GAP_PX
    said = (
        svg.words(say("from the front"), middle, 14.0, anchor="middle", name="soft"),
        svg.words(say("from above"), other, 14.0, anchor="middle", name="soft"),
        svg.words(
            say("{height} tall", height=quantity(way.height_m, "mm", 3)),
            middle,
            floor + 20.0,
            anchor="middle",
            name="soft",
        ),
    )
    picture = svg.drawing(
        slug=f"stand-way-{number}", title=say("Way {number}", number=number), width=svg.WIDTH_PX, height=floor + FOOT_PX,
        children=(*marks, *said),
        description=say("The part shaded as it stands on the platform, seen from the front, and its outline "
"from above."),
    )  # fmt: skip
    return Drawing(
        f"stand-way-{number}",
        say("Way {number}", number=number),
        picture,
        (say("what"), say("value")),
        rows,
        say("All ways are on one scale."),
    )


def _extent(portrait: Portrait) -> tuple[float, float]:
    """Width and depth of what a part covers [m]."""
    width, depth = np.ptp(np.concatenate(portrait.plan_m), axis=0)
    return float(width), float(depth)


def _scale(ways: tuple[Way, ...]) -> float:
    """Pixels for a metre, so that every view of every way finds room."""
    portraits = [w.portrait for w in ways if w.portrait is not None]
    sides = [side * p.cell_m for p in portraits for side in p.front.shape]
    sides += [side for p in portraits for side in _extent(p)]
    return SIDE_PX / max(sides, default=1.0)


def _front(portrait: Portrait, scale: float, floor: float) -> Iterator[svg.Svg]:
    """The shaded view, a path for each step of light, on the line of the platform."""
    cell = portrait.cell_m * scale
    left = LEFT_PX + (SIDE_PX - portrait.front.shape[1] * cell) / 2.0
    for tone, ink in INK.items():
        path = _runs(portrait.front == tone)
        if path:
            style = f"fill:{svg.colour('ink')};fill-opacity:{ink:g};shape-rendering:crispEdges"
            place = f"translate({left:.2f} {floor:.2f}) scale({cell:.4f} {-cell:.4f})"
            yield svg.tag("path", d=path, transform=place, style=style)
    yield svg.tag("line", x1=LEFT_PX, x2=LEFT_PX + SIDE_PX, y1=floor, y2=floor, style=svg.stroke("ink", 1.5))


def _runs(cells: NDArray[np.bool_]) -> str:
    """Cells as a path of boxes, one for each run in a row."""
    boxes = []
    for row, line in enumerate(cells.tolist()):
        column = 0
        for there, run in groupby(line):
            length = len(list(run))
            if there:
                boxes.append(f"M{column} {row}h{length}v1h-{length}z")
            column += length
    return "".join(boxes)


def _plan(portrait: Portrait, scale: float, floor: float) -> Iterator[svg.Svg]:
    """What the part covers, its holes left open, the person at the lower edge."""
    points = np.concatenate(portrait.plan_m)
    middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
    half = _extent(portrait)[1] * scale / 2.0
    centre = np.array((LEFT_PX + SIDE_PX * 1.5 + GAP_PX, floor - half))
    rings = (svg.ring_path((loop - middle) * (scale, -scale) + centre) for loop in portrait.plan_m)
    style = f"fill:{svg.colour('fill')};stroke:{svg.colour('ink')};stroke-width:1.5;fill-rule:evenodd"
    yield svg.tag("path", d="".join(rings), style=style)
