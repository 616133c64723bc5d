"""``vatwright.level/1``: a level sheet as data, the unit in every key, every number finite."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.data import as_data
from vatwright.records.level import (
    BaseCheck,
    Corner,
    Correction,
    FittedPlane,
    GapReading,
    Gauge,
    HoldDown,
    SizeComparison,
)
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.interfaces.render.data import Keys
    from vatwright.records.level import LevelSheet

KEYS: dict[type, Keys] = {
    FittedPlane: {
        "offset_m": "offset_um", "offset_sigma_m": "offset_sigma_um", "tilt_x": "tilt_x_mrad", "tilt_y": "tilt_y_mrad",
        "twist_m": "twist_um", "twist_sigma_m": "twist_sigma_um", "twisted": "twist_is_real", "residual_m": "each_um",
        "residual_rms_m": "residual_um",
    },
    Corner: {"plane_m": "plane_um", "gap_m": "gap_um", "error_m": "error_um", "sigma_m": "sigma_um"},
    BaseCheck: {
        "settled_m": "settled_um", "bonds_to_m": "bonds_to_um", "zero_m": "zero_um", "allowed_m": "allowed_error_um",
    },
    SizeComparison: {"error_m": "error_um", "forgiven_tilt": "forgiven_tilt_mrad"},
    Gauge: {
        "method": "name", "sigma_m": "sigma_um", "shared_m": None, "least_m": None, "most_m": None, "absolute": None,
        "source": None,
    },
    GapReading: {"gap_m": "gap_um", "sigma_m": "sigma_um", "where": None},
    Correction: {"travel_m": "travel_um"},
    HoldDown: {"settle_s": None, "exposure_s": None, "soak_s": None},
}  # fmt: skip
"""Gaps are in micrometres, slopes in thousandths."""

BESIDE_THE_PLANE = ("twist_um", "twist_sigma_um", "twist_is_real", "residual_um", "scatter")
"""What the fit says that stands beside the plane."""


@in_english
def level_json(sheet: LevelSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the sheet as ``vatwright.level/1``.

    Parameters
    ----------
    sheet : LevelSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    survey, plane = sheet.survey, _data(sheet.plane)
    left = plane.pop("each_um")
    beside = {key: plane.pop(key) for key in BESIDE_THE_PLANE}
    corners = [_data(c) for c in sheet.corners]
    return {
        "schema": "vatwright.level/1",
        "machine": survey.machine.name,
        "plane": plane,
        **beside,
        "corners_um": [c.pop("plane_um") for c in corners],
        "corners": corners,
        "verdict": str(sheet.answer),
        "verdict_text": sheet.verdict,
        "base": None if sheet.base is None else _base(sheet.base),
        "sizes": [_data(s) for s in sheet.sizes],
        "readings": [_data(r) | {"residual_um": um} for r, um in zip(survey.readings, left, strict=True)],
        "method": _data(survey.gauge),
        "corrections": [_data(c) for c in sheet.corrections],
        "hold_down": _hold(sheet.hold),
        "notes": list(sheet.notes),
        "sources": [{"key": key, "citation": cite(key)} for key in sheet.sources],
    }


def _data(record: Any) -> dict[str, Any]:
    return as_data(record, KEYS)


def _base(base: BaseCheck) -> dict[str, Any]:
    told = _data(base)
    ranges = {
        key: dict(zip(("low", "median", "high"), told[key], strict=True)) for key in ("settled_um", "bonds_to_um")
    }
    return told | ranges


def _hold(hold: HoldDown) -> dict[str, Any]:
    settings = {"base.settle_s": hold.settle_s, "base.exposure_s": hold.exposure_s, "base.soak_s": hold.soak_s}
    return _data(hold) | {"settings": settings}
