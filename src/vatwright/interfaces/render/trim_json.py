"""What may be taken away as data: `vatwright.trim/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.carry_json import step_data, taken_data, visit_data
from vatwright.interfaces.render.data import number
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.wording import in_english

if TYPE_CHECKING:
    from vatwright.records.process import Settings
    from vatwright.records.trim import FrontierPoint, NextRun, Portion, TrimSheet

SCHEMA = "vatwright.trim/1"
PORTIONS = ("need", "cover", "spare", "rounding")


@in_english
def trim_json(sheet: TrimSheet) -> dict[str, Any]:
    """Return what may be taken away as JSON-ready data; `next` is null where nothing is worth it, and `why_not` says why."""
    return {
        "schema": SCHEMA,
        "job": sheet.job,
        "to": sheet.target,
        "confidence": number(sheet.confidence),
        "today": {"to_s": number(sheet.to_s), "mean": number(sheet.success.mean)},
        "spare": [_portion(p, "s") for p in sheet.portions if p.setting.endswith("_s")],
        "rises": [_portion(p, "mm") for p in sheet.portions if p.setting.endswith("_mm")],
        "next": None if sheet.next is None else _next(sheet.next),
        "why_not": None if sheet.why_not is None else sheet.why_not.value,
        "held": list(sheet.held),
        "frontier": [_point(p) for p in sheet.frontier],
        "ladder": [step_data(s) for s in sheet.ladder],
    }


def _portion(p: Portion, unit: str) -> dict[str, Any]:
    sizes = {f"{name}_{unit}": number(getattr(p, name), unit) for name in PORTIONS}
    times = {f"{name}_min": number(getattr(p, f"{name}_time_s"), "min") for name in PORTIONS}
    return {"setting": p.setting} | sizes | times


def _next(run: NextRun) -> dict[str, Any]:
    return {
        "settings": settings_data(run.settings),
        "to_s": number(run.to_s),
        "mean": number(run.success.mean),
        "low": number(run.success.low),
        "high": number(run.success.high),
        "taken": [taken_data(t) for t in run.taken],
        "visits": [visit_data(v) for v in (run.hand.visits if run.hand else ())],
        "start_s": None if run.hand is None else number(run.hand.start_value),
        "runs_left": run.runs_left,
        "end_s": number(run.end_s),
    }


def settings_data(settings: Settings) -> dict[str, Any]:
    """Return every setting by its public name, in the unit of that name."""
    return {name: _in_its_unit(name, settings.value(name)) for name in SETTING_NAMES}


def _in_its_unit(name: str, value: float) -> float | int | None:
    unit = setting_unit(name)
    return round(value) if unit == "layers" else number(value, unit)


def _point(p: FrontierPoint) -> dict[str, Any]:
    return {
        "what": p.what, "to_s": number(p.to_s), "mean": number(p.mean),
        "tolerance_percent": number(p.tolerance, "percent"),
    }  # fmt: skip
