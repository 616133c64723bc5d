"""``vatwright.learn/1``: what the runs have taught as data, the unit in every key, every number finite."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from vatwright.answers.numbers import bench
from vatwright.units import from_si

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.learned import (
        Believed,
        CautionCost,
        HeldCount,
        LearnSheet,
        MachineScore,
        NextStep,
        PlainCount,
        TimesSaid,
    )


def learn_json(sheet: LearnSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the sheet as ``vatwright.learn/1``.

    Parameters
    ----------
    sheet : LearnSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "schema": "vatwright.learn/1",
        "machine": sheet.machine,
        "resin": sheet.resin,
        "runs": sheet.runs,
        "held": sheet.held,
        "believed": [_believed(b) for b in sheet.believed],
        "disagreements": [{"machine": d.machine, "what": d.what, "chance": d.chance} for d in sheet.disagreements],
        "next_for": sheet.job,
        "measure_next": [_step(s) for s in sheet.next_steps],
        "scores": [_score(s) for s in sheet.scores],
        "counts": [_count(c) for c in sheet.counts],
        "from_runs_alone": [_plain(p) for p in sheet.plain],
        "left_out": list(sheet.left_out),
        "notes": list(sheet.notes),
        "sources": [cite(key) for key in sheet.sources],
    }


def _believed(belief: Believed) -> dict[str, Any]:
    def shown(values: tuple[float, float, float]) -> list[float]:
        if belief.unit == "deg":
            return [math.degrees(v) for v in values]
        return [bench(v, belief.unit) if belief.unit else v for v in values]

    return {
        "name": belief.name,
        "of": belief.of,
        "unit": belief.unit or "1",
        "before": shown(belief.before),
        "after": shown(belief.after),
        "share_left": belief.share_left,
        "moved_by": [{"run": p.run, "shift": p.shift} for p in belief.moved_by],
    }


def _step(step: NextStep) -> dict[str, Any]:
    return {
        "what": step.what,
        "how": step.how,
        "kind": step.kind,
        "setting": step.setting,
        "share_left": step.share_left,
        "saves_s": step.saves_s,
        "minutes": step.minutes,
        "resin_ml": from_si(step.resin_m3, "ml"),
    }


def _score(score: MachineScore) -> dict[str, Any]:
    slope = score.slope
    return {
        "machine": score.machine,
        "classes": [
            {
                "low": c.low,
                "high": c.high,
                "said": c.said,
                "held": c.held,
                "runs": c.runs,
                "seen_low": c.seen_low,
                "seen_high": c.seen_high,
                "surprise": c.surprise,
            }
            for c in score.classes
        ],
        "brier": score.brier,
        "base_rate": score.base_rate,
        "skill": score.skill,
        "reliability": score.reliability,
        "resolution": score.resolution,
        "uncertainty": score.uncertainty,
        "slope": None if slope is None else {"value": slope[0], "sigma": slope[1]},
        "run_time_ratio": _ratio(score.run_time),
        "first_layer_ratio": _ratio(score.first_layer),
        "caution": _caution(score.caution),
    }


def _caution(caution: CautionCost | None) -> dict[str, Any] | None:
    if caution is None:
        return None
    return {"waited_s": caution.waited_s, "lost_s": caution.lost_s, "runs": caution.runs}


def _ratio(ratio: TimesSaid | None) -> dict[str, Any] | None:
    if ratio is None:
        return None
    return {"low": ratio.low, "middle": ratio.middle, "high": ratio.high, "runs": ratio.runs}


def _count(count: HeldCount) -> dict[str, Any]:
    return {
        "machine": count.machine,
        "held": count.held,
        "runs": count.runs,
        "low": count.low,
        "high": count.high,
        "next_holds": count.next_holds,
        "next_five_hold": count.next_five_hold,
        "fails_at_most": count.fails_at_most,
        "more_to_show": count.more_to_show,
    }


def _plain(count: PlainCount) -> dict[str, Any]:
    """Every setting counted is in seconds, which SI and the bench share."""
    return {
        "machine": count.machine,
        "resin": count.resin,
        "setting": count.setting,
        "failed_at_s": count.failed_at,
        "held_at_s": count.held_at,
        "middle_s": count.middle,
        "scatter_s": count.scatter,
        "runs": count.runs,
    }
