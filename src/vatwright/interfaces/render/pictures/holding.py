"""The picture of holding: what the weakest section of every height carries, against what has to pass it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.answers.holding import times_words
from vatwright.answers.numbers import bench, fixed, one_line, significant
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.plots import DataColumn, Drawing, spots_along
from vatwright.wording import say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.holding import Holding, HoldingProfile

    Floats = NDArray[np.float64]

TABLE_ROWS = 14
LEAST_N = 1e-3
"""Forces below a thousandth of a newton are drawn at it [N]."""


def holding_by_height(held: Holding) -> Drawing:
    """Return capacity and demand along the height of the piece with the weakest section, which is marked and named."""
    profile, weak = held.profile, held.weakest
    height, weakest_mm = profile.height_m * 1e3, bench(weak.height_m, "mm")
    series = [
        np.log10(np.maximum(s, LEAST_N))
        for s in (
            profile.capacity_low_n, profile.capacity_n, profile.capacity_high_n, profile.demand_n, profile.demand_high_n,
        )
    ]  # fmt: skip
    bottom, top = math.floor(min(float(s.min()) for s in series)), math.ceil(max(float(s.max()) for s in series))
    upright = svg.Axis(say("force [N], tenfold steps"), float(bottom), float(max(top, bottom + 1)), ())
    frame = svg.Frame(svg.axis(say("height [mm]"), 0.0, float(height.max())), upright, left=78.0)
    seen = svg.thinned(series)
    low, middle, high, demand, scattered = (s[seen] for s in series)
    at = height[seen]
    marks = [
        *_decades(frame, bottom, top),
        frame.axes(),
        frame.band(at, low, high, svg.fill("accent-fill") + ";opacity:0.6"),
    ]
    marks += [
        frame.line(at, middle, svg.stroke("accent", 2)),
        frame.line(at, demand, svg.stroke("ink", 1.8)),
        frame.line(at, scattered, svg.stroke("ink", 1.2, "2 3")),
        frame.upright(weakest_mm, svg.stroke("soft", 1.2, "7 4"), say("weakest, {weakest} mm", weakest=fixed(weakest_mm, 1))),
        svg.key([
            svg.Key(say("90 % range"), svg.fill("accent-fill"), area=True), svg.Key(say("carries"), svg.stroke("accent", 2)),
            svg.Key(say("has to"), svg.stroke("ink", 1.8)), svg.Key(say("in its worst layers"), svg.stroke("ink", 1.2, "2 3")),
        ]),
    ]  # fmt: skip
    part = one_line(weak.part)
    finding = say(
        "The {part} is weakest at {weakest} mm: it carries {times_words} the pull",
        part=part,
        weakest=fixed(weakest_mm, 1),
        times_words=times_words(weak),
    )
    picture = svg.drawing(
        slug="holding", title=finding, width=frame.width, height=frame.height, children=marks,
        description=say("What the weakest section of every height of the {part} carries, against the pull "
"that passes it.", part=part),
    )  # fmt: skip
    columns = (
        say("height [mm]"),
        say("carries [N]"),
        say("low [N]"),
        say("high [N]"),
        say("has to [N]"),
        say("worst layers [N]"),
    )
    rows, note = _table(profile, weak.height_m)
    all_of = (
        height, profile.capacity_n, profile.capacity_low_n, profile.capacity_high_n, profile.demand_n, profile.demand_high_n,
    )  # fmt: skip
    spots = spots_along(frame, columns, all_of)
    return Drawing("holding", finding, picture, columns, rows, note, spots, tuple(map(DataColumn, columns, all_of)))


def _decades(frame: svg.Frame, bottom: int, top: int) -> list[svg.Svg]:
    marks = []
    every = max(1, math.ceil((top - bottom) / 6))
    for power in range(bottom, max(top, bottom + 1) + 1, every):
        marks.append(frame.level(float(power), svg.stroke("faint", 1)))
        text = f"{10.0**power:,.0f}" if power >= 0 else fixed(10.0**power, -power)
        marks.append(svg.words(text, frame.left - 7, frame.at_y(float(power)) + 4, anchor="end", name="soft"))
    return marks


def _table(profile: HoldingProfile, weakest_m: float) -> tuple[tuple[tuple[str, ...], ...], str]:
    count = len(profile.height_m)
    spread = np.linspace(0, count - 1, min(count, TABLE_ROWS)).astype(int).tolist()
    kept = sorted({*spread, int(np.argmin(np.abs(profile.height_m - weakest_m)))})
    shown = (
        profile.capacity_n, profile.capacity_low_n, profile.capacity_high_n, profile.demand_n, profile.demand_high_n,
    )  # fmt: skip
    rows = tuple(
        (fixed(bench(profile.height_m[i], "mm"), 2), *(significant(float(s[i]), 2) for s in shown)) for i in kept
    )
    return rows, "" if len(kept) == count else say("{kept} of {count:,} layers.", kept=len(kept), count=count)
