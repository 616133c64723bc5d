"""``vatwright.level/1``: a level sheet as data, the unit in every key, every number finite."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.units import from_si

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.level import BaseCheck, Correction, HoldDown, LevelSheet


def level_json(sheet: LevelSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the sheet as ``vatwright.level/1``.

    Parameters
    ----------
    sheet : LevelSheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    plane, survey = sheet.plane, sheet.survey
    return {
        "schema": "vatwright.level/1",
        "machine": survey.machine.name,
        "plane": {
            "tilt_x_mrad": _mrad(plane.tilt_x),
            "tilt_y_mrad": _mrad(plane.tilt_y),
            "offset_um": _um(plane.offset_m),
            "offset_sigma_um": _um(plane.offset_sigma_m),
        },
        "twist_um": None if plane.twist_m is None else _um(plane.twist_m),
        "twist_sigma_um": None if plane.twist_sigma_m is None else _um(plane.twist_sigma_m),
        "twist_is_real": plane.twisted,
        "corners_um": [_um(c.plane_m) for c in sheet.corners],
        "corners": [
            {
                "name": c.name,
                "x_mm": _mm(c.x_m),
                "y_mm": _mm(c.y_m),
                "gap_um": _um(c.gap_m),
                "error_um": _um(c.error_m),
                "sigma_um": _um(c.sigma_m),
                "bonds": c.bonds,
                "touches": c.touches,
            }
            for c in sheet.corners
        ],
        "residual_um": _um(plane.residual_rms_m),
        "scatter": plane.scatter,
        "verdict": str(sheet.answer),
        "verdict_text": sheet.verdict,
        "base": None if sheet.base is None else _base(sheet.base),
        "sizes": [
            {
                "machine": s.machine,
                "half_diagonal_mm": _mm(s.half_diagonal_m),
                "error_um": _um(s.error_m),
                "forgiven_tilt_mrad": None if s.forgiven_tilt is None else _mrad(s.forgiven_tilt),
            }
            for s in sheet.sizes
        ],
        "readings": [
            {
                "x_mm": _mm(r.x_m),
                "y_mm": _mm(r.y_m),
                "gap_um": _um(r.gap_m),
                "sigma_um": _um(r.sigma_m),
                "residual_um": _um(left),
            }
            for r, left in zip(survey.readings, plane.residual_m, strict=True)
        ],
        "method": {
            "name": str(survey.gauge.method),
            "grade": survey.gauge.grade,
            "sigma_um": _um(survey.gauge.sigma_m),
        },
        "corrections": [_correction(c) for c in sheet.corrections],
        "hold_down": _hold(sheet.hold),
        "notes": list(sheet.notes),
        "sources": [{"key": key, "citation": cite(key)} for key in sheet.sources],
    }


def _base(base: BaseCheck) -> dict[str, Any]:
    return {
        "name": base.name,
        "exposure_s": base.exposure_s,
        "settle_s": base.settle_s,
        "layer_mm": _mm(base.layer_m),
        "settled_um": dict(zip(("low", "median", "high"), map(_um, base.settled_m), strict=True)),
        "bonds_to_um": dict(zip(("low", "median", "high"), map(_um, base.bonds_to_m), strict=True)),
        "zero_um": None if base.zero_m is None else _um(base.zero_m),
        "allowed_error_um": _um(base.allowed_m),
    }


def _correction(c: Correction) -> dict[str, Any]:
    return {
        "kind": c.kind,
        "order": c.order,
        "what": c.what,
        "x_mm": None if c.x_m is None else _mm(c.x_m),
        "y_mm": None if c.y_m is None else _mm(c.y_m),
        "travel_um": _um(c.travel_m),
        "turns": c.turns,
        "sheets": c.sheets,
        "needed": c.needed,
        "do": c.do,
    }


def _hold(hold: HoldDown) -> dict[str, Any]:
    return {
        "wanted_s": hold.wanted_s,
        "held_s": hold.held_s,
        "settings": {"base.settle_s": hold.settle_s, "base.exposure_s": hold.exposure_s, "base.soak_s": hold.soak_s},
        "starts": hold.starts,
        "weights_off_s": hold.weights_off_s,
        "limits": list(hold.limits),
        "order": list(hold.order),
        "passes": list(hold.passes),
        "steps": [{"at_s": s.at_s, "do": s.do} for s in hold.steps],
        "checks": list(hold.checks),
        "cautions": list(hold.cautions),
    }


def _um(value_m: float) -> float:
    return from_si(value_m, "um") + 0.0


def _mm(value_m: float) -> float:
    return from_si(value_m, "mm") + 0.0


def _mrad(slope: float) -> float:
    return from_si(slope, "mrad") + 0.0
