"""The pieces of a trial from above, numbered, in platform and window."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.platform_map import FOOT_PX, TOP_PX, SeenFromAbove, drawn_platform
from vatwright.interfaces.render.pictures.plots import Drawing
from vatwright.wording import say

if TYPE_CHECKING:
    from vatwright.records.trial import Trial, TrialPiece

SMALL_PX = 6.0
"""Below this radius a piece is drawn smaller than its number [px]."""

LEAST_PX = 3.0
"""Least radius of a drawn piece: thinner ones would vanish [px]."""


def trial_map(trial: Trial, rows: tuple[tuple[str, str, str, str], ...]) -> Drawing:
    """Return the pieces of a trial from above, numbered as the rows are that say what each should show."""
    wide, deep = max(trial.platform.width_m, trial.window.width_m), max(trial.platform.depth_m, trial.window.depth_m)
    scale = (svg.WIDTH_PX - 8.0) / wide
    above = SeenFromAbove(scale, svg.WIDTH_PX / 2.0, TOP_PX + scale * deep / 2.0)
    height = TOP_PX + scale * deep + FOOT_PX
    window = (trial.window.width_m, trial.window.depth_m, trial.window.corner_m)
    marks = [
        *drawn_platform(above, trial.platform),
        above.box(window, svg.stroke("soft", 1.5, "7 3")),
        *(mark for k, piece in enumerate(trial.pieces) for mark in _drawn(above, piece, k, len(trial.pieces))),
        svg.words(say("dashed: the film's clamped edge"), svg.WIDTH_PX / 2.0, 22.0, anchor="middle", name="soft"),
        svg.words(say("front, where you stand"), svg.WIDTH_PX / 2.0, height - 7, anchor="middle", name="soft"),
    ]
    title = say("{pieces} things to read, numbered as in the table", pieces=len(trial.pieces))
    picture = svg.drawing(
        slug="trial", title=title, width=svg.WIDTH_PX, height=height, children=marks,
        description=say("The platform from above with the pieces of the trial; the dashed line is the film's "
"clamped edge."),
    )  # fmt: skip
    columns = (say("number and piece"), say("where"), say("what it should show"), say("chance"))
    return Drawing("trial", title, picture, columns, rows, say("Ranges are 5 % to 95 %."))


def _drawn(above: SeenFromAbove, piece: TrialPiece, number: int, count: int) -> tuple[svg.Svg, svg.Svg]:
    x, y, radius = above.x(piece.x_m), above.y(piece.y_m), max(above.scale * piece.outline_m, LEAST_PX)
    style = f"fill:{svg.colour('fill')};stroke:{svg.colour('line')};stroke-width:1"
    name = svg.tag("title", piece.label)
    if piece.square:
        shape = svg.tag("rect", name, x=x - radius, y=y - radius, width=2 * radius, height=2 * radius, style=style)
    else:
        shape = svg.tag("circle", name, cx=x, cy=y, r=radius, style=style)
    # Rings about one middle are numbered in a column beside them, others above.
    if "layer" in piece.at:
        widest = x + max(above.scale * 0.02, LEAST_PX) + 14.0
        return shape, svg.words(str(number + 1), widest, y + 14.0 * (number - count / 2.0) + 10.0)
    if radius < SMALL_PX:  # close together in a row: numbers to the right and left in turn
        side, anchor = (1.0, "start") if number % 2 == 0 else (-1.0, "end")
        return shape, svg.words(str(number + 1), x + side * (radius + 4.0), y + 4.0, anchor=anchor)
    return shape, svg.words(str(number + 1), x, y - radius - 4.0, anchor="middle")
