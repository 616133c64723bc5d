"""What a plan's waits and rises are made of, and the time of all pieces that goes into each portion."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from vatwright.planning.carry.advise import Advised
from vatwright.planning.carry.carry import PlateCounts, plate_settle_s, spare
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering
from vatwright.planning.demand.duration import per_layer
from vatwright.planning.trim.levers import STAGES, Lever
from vatwright.records.process import Settings
from vatwright.records.trim import Portion

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def portions(case: Case, chosen: Advised, found: Sequence[Lever], plates: PlateCounts) -> tuple[Portion, ...]:
    """Return what waits and rises are made of.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    chosen : Advised
        The plan.
    found : sequence of Lever
        Its waits and rises.
    plates : PlateCounts
        Layers of every plate.

    Returns
    -------
    tuple of Portion
        In the order of the levers.  The portions of one add up to what is set.
    """
    settles = {s.setting: s for s in spare(chosen)}
    made = []
    for lever in found:
        if lever.name in settles:
            s = settles[lever.name]
            each_s = layers_that_wait(case, chosen, lever.name, plates)
            sizes = (s.need_s, s.cover_s, s.spare_s, s.rounding_s)
            if lever.need < s.need_s:  # less is needed for layers to hold than to be as true as the proof's
                sizes = _of_less(sizes, lever)
            times = [each_s * size for size in sizes]
        else:
            sizes = _of_a_rise(chosen, lever)
            times = _times_of_a_rise(case, chosen, lever, sizes, plates)
        made.append(
            Portion(
                setting=lever.name, need=sizes[0], cover=sizes[1], spare=sizes[2], rounding=sizes[3],
                need_time_s=times[0], cover_time_s=times[1], spare_time_s=times[2], rounding_time_s=times[3],
            )
        )  # fmt: skip
    return tuple(made)


def plates_time_s(case: Case, settings: Settings, settle_s: Floats, plates: PlateCounts) -> float:
    """Return how long all plates take on the target, plates of like height counted once [s]."""

    def of(layers: int) -> float:
        given = plate_settle_s(settle_s, layers)
        return case.target_times(settings, layers=layers, settle_s=given).total_s

    return sum(times * of(layers) for layers, times in Counter(plates.target).items())


def layers_that_wait(case: Case, chosen: Advised, name: str, plates: PlateCounts) -> float:
    """Return how many layers of all plates wait as long as a phase's settle says, a ramp's layers by their shares."""
    only = chosen.settings.with_value("base.settle_s", 0.0).with_value("body.settle_s", 0.0).with_value(name, 1.0)
    controller = case.job.target.controller
    return float(
        sum(per_layer(only, "settle_s", "settle_s", layers=n, controller=controller).sum() for n in plates.target)
    )


def _of_less(sizes: tuple[float, float, float, float], lever: Lever) -> tuple[float, float, float, float]:
    """A settle's portions where less is needed than a carry says: the rest of it is spare."""
    carried, cover = sum(sizes[:3]), max(lever.floor - lever.need, 0.0)
    return lever.need, cover, carried - lever.need - cover, sizes[3]


def _of_a_rise(chosen: Advised, lever: Lever) -> tuple[float, float, float, float]:
    phase = lever.name.split(".", maxsplit=1)[0]
    carried = sum(covering(chosen.ranges[f"{phase}.{stage}"], chosen.share["release"]) for stage in STAGES)
    cover = min(lever.floor, carried) - lever.need
    return lever.need, cover, carried - lever.need - cover, lever.now - carried


def _times_of_a_rise(
    case: Case, chosen: Advised, lever: Lever, sizes: tuple[float, ...], plates: PlateCounts
) -> list[float]:
    """Time of all pieces that each portion of a rise takes, up and down, the stages in their shares."""

    def time_s(rise_m: float) -> float:
        settings: Settings = chosen.settings
        for name, now in lever.stages:
            settings = settings.with_value(name, now * rise_m / lever.now)
        return plates_time_s(case, settings, chosen.settle_s, plates)

    ends = np.cumsum((1e-9, *sizes))
    at = [time_s(float(end)) for end in ends]
    return [b - a for a, b in pairwise(at)]
