"""``vatwright.learn/1``: what the runs have taught as data, the unit in every key, every number finite."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from vatwright.answers.numbers import bench
from vatwright.interfaces.render.data import as_data
from vatwright.records.learned import Believed, LearnSheet, MachineScore, PlainCount
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.interfaces.render.data import Keys

KEYS: dict[type, Keys] = {
    LearnSheet: {"job": "next_for", "next_steps": "measure_next", "plain": "from_runs_alone"},
    MachineScore: {"run_time": "run_time_ratio", "first_layer": "first_layer_ratio"},
    PlainCount: {"failed_at": "failed_at_s", "held_at": "held_at_s", "middle": "middle_s", "scatter": "scatter_s"},
}
"""Keys that differ from the fields; every setting counted is in seconds, which SI and the bench share."""


@in_english
def learn_json(sheet: LearnSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the sheet as ``vatwright.learn/1``.

    Parameters
    ----------
    sheet : LearnSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    told = as_data(sheet, KEYS)
    told["believed"] = [_believed(b, d) for b, d in zip(sheet.believed, told["believed"], strict=True)]
    for score in told["scores"]:
        if score["slope"] is not None:
            score["slope"] = dict(zip(("value", "sigma"), score["slope"], strict=True))
    return {"schema": "vatwright.learn/1"} | told | {"sources": [cite(key) for key in sheet.sources]}


def _believed(belief: Believed, told: dict[str, Any]) -> dict[str, Any]:
    """What is believed of one thing in the unit of that thing, which no field's name can say."""

    def shown(values: tuple[float, float, float]) -> list[float]:
        if belief.unit == "deg":
            return [math.degrees(v) for v in values]
        return [bench(v, belief.unit) if belief.unit else v for v in values]

    return told | {"unit": belief.unit or "1", "before": shown(belief.before), "after": shown(belief.after)}
