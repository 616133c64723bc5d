"""How the time of a study grows, as a picture: every size as a part of its largest, time likewise."""

from __future__ import annotations

from math import log
from typing import TYPE_CHECKING

import numpy as np

from vatwright.interfaces.render.pictures import svg

if TYPE_CHECKING:
    from benchmarks.studies import Growth

DASHES = ("", "7 4", "2 3")


def exponent(growth: Growth) -> float:
    """Return the power of the size that the time grows with, from the smallest to the largest [-]."""
    return log(growth.seconds[-1] / growth.seconds[0]) / log(growth.amounts[-1] / growth.amounts[0])


def picture(found: list[Growth]) -> str:
    """Return the picture; a line on the diagonal is time in proportion."""
    steepest = max(found, key=exponent)
    title = (
        f"Time of a study grows with the power {exponent(steepest):.2f} of its {steepest.what}, less with the others"
    )
    longest = max(max(g.seconds) / g.seconds[-1] for g in found)
    frame = svg.Frame(svg.axis("part of the largest [-]", 0.0, 1.0), svg.axis("part of its time [-]", 0.0, longest))
    lines = [
        frame.line(
            np.array(g.amounts) / g.amounts[-1], np.array(g.seconds) / g.seconds[-1], svg.stroke("ink", 1.5, dash)
        )
        for g, dash in zip(found, DASHES, strict=True)
    ]
    entries = [svg.Key(g.what, svg.stroke("ink", 1.5, dash)) for g, dash in zip(found, DASHES, strict=True)]
    entries.append(svg.Key("in proportion", svg.stroke("line", 1)))
    diagonal = frame.line(np.array([0.0, 1.0]), np.array([0.0, 1.0]), svg.stroke("line", 1))
    described = "; ".join(
        f"{g.what} from {g.amounts[0]:,} to {g.amounts[-1]:,}: {g.seconds[0]:.3f} to {g.seconds[-1]:.3f} s"
        for g in found
    )
    drawn = svg.drawing(
        slug="study-growth", title=title, description=described, width=svg.WIDTH_PX, height=frame.height,
        children=[frame.axes(), diagonal, *lines, svg.key(entries)],
    )  # fmt: skip
    return svg.for_print(drawn) + "\n"
