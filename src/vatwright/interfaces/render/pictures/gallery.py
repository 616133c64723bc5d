"""Every picture that an answer can name, by its slug: what draws it from its record."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib import import_module
from typing import TYPE_CHECKING

from vatwright.answers import blocks
from vatwright.answers.blocks import every

if TYPE_CHECKING:
    from vatwright.interfaces.render.pictures.plots import Drawing

HERE = "vatwright.interfaces.render.pictures"

DRAWINGS: dict[str, str] = {
    "base-corners": "first_layer:corner_bars",
    "base-pressure": "first_layer:pressure_map",
    "base-map": "first_layer:spare_map",
    "belief": "belief_plot:belief_plot",
    "belief-moved": "learn:moved_belief",
    "calibration": "learn:calibration",
    "compare-chance": "compare:side_chances",
    "compare-cost": "compare:side_costs",
    "compare-hands": "compare:side_hands",
    "compare-time": "compare:side_times",
    "cost-split": "cost:cost_split",
    "cost-swings": "cost:swing_figure",
    "fleet-hands": "fleet:hands_figure",
    "fleet-plate": "fleet:plate_figure",
    "fleet-when": "fleet:when_figure",
    "frontier": "frontier:frontier_figure",
    "holding": "holding:holding_by_height",
    "level-corners": "level:corner_bars",
    "level-plane": "level:plane_map",
    "level-screws": "level:screw_map",
    "pay": "compare:pay_figure",
    "platform": "platform_map:platform_map",
    "pull": "plots:pull_by_lift",
    "settle": "plots:settle_by_clock",
    "stand-way": "stand:stand_picture",
    "thickness": "plots:thickness_by_layer",
    "time": "plots:time_split",
    "times-taken": "learn:times_taken",
    "trial": "trial_map:trial_map",
}
"""Slug without the number at its end: the file of this room, and the function in it that draws the picture."""


def drawn(figure: blocks.Figure) -> Drawing:
    """Return a picture with its data; the answer's title stands over it where the answer says one.

    A figure's data are what its drawing takes: a tuple is handed over as several arguments.
    """
    place, _, name = DRAWINGS[figure.slug.rstrip("0123456789").rstrip("-")].partition(":")
    draw: Callable[..., Drawing] = getattr(import_module(f"{HERE}.{place}"), name)
    picture = draw(*figure.data) if isinstance(figure.data, tuple) else draw(figure.data)
    return picture._replace(title=figure.title) if figure.title else picture


def pictures_of(answer: blocks.Answer) -> Iterator[Drawing]:
    """Return every picture of an answer, in reading order."""
    parts = (answer.blocks, *(p.blocks for p in answer.pages))
    return (drawn(b) for part in parts for b in every(part) if isinstance(b, blocks.Figure))
