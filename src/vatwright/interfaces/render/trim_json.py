"""What may be taken away as data: `vatwright.trim/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.carry_json import DECLARED
from vatwright.interfaces.render.data import Keys, Worked, as_data, in_unit
from vatwright.records.plan import Visit
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.records.trim import FrontierPoint, NextRun, TrimSheet
from vatwright.wording import in_english

if TYPE_CHECKING:
    from vatwright.records.process import Settings
    from vatwright.records.trim import Portion

SCHEMA = "vatwright.trim/1"
PORTIONS = ("need", "cover", "spare", "rounding")


def _portions(unit: str) -> Worked:
    """Return how waits or rises are shown: each portion in their unit, and the time it takes."""
    kind = {"setting": str} | dict.fromkeys([f"{p}_{end}" for end in (unit, "min") for p in PORTIONS], float)
    return Worked(lambda sheet: [_portion(p, unit) for p in sheet.portions if p.setting.endswith(f"_{unit}")], [kind])


def _portion(p: Portion, unit: str) -> dict[str, Any]:
    sizes = {f"{name}_{unit}": getattr(p, name) for name in PORTIONS}
    return {"setting": p.setting} | sizes | {f"{name}_min": getattr(p, f"{name}_time_s") for name in PORTIONS}


TRIM: dict[type, Keys] = DECLARED | {
    TrimSheet: {
        "target": "to", **dict.fromkeys(("pieces", "to_s", "success", "portions")),
        "today": Worked(lambda sheet: {"to_s": sheet.to_s, "mean": sheet.success.mean}, {"to_s": float, "mean": float}),
        "spare": _portions("s"), "rises": _portions("mm"),
    },
    NextRun: {
        "success": None, "hand": None,
        "settings": Worked(lambda run: _settings(run.settings), dict[str, float], plain=True),
        "mean": Worked(lambda run: run.success.mean, float),
        "low": Worked(lambda run: run.success.low, float),
        "high": Worked(lambda run: run.success.high, float),
        "visits": Worked(lambda run: run.hand.visits if run.hand else (), list[Visit]),
        "start_s": Worked(lambda run: run.hand.start_value if run.hand else None, float | None),
    },
    FrontierPoint: {"tolerance": "tolerance_percent"},
}  # fmt: skip


@in_english
def trim_json(sheet: TrimSheet) -> dict[str, Any]:
    """Return what may be taken away as JSON-ready data; `next` is null where nothing is worth it, and `why_not` says why."""
    return {"schema": SCHEMA} | as_data(sheet, TRIM)


def _settings(settings: Settings) -> dict[str, Any]:
    return {name: in_unit(settings.value(name), setting_unit(name)) for name in SETTING_NAMES}
