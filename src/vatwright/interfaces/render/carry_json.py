"""The carry sheet as data for other programs: bench units, the unit in every key, finite numbers only."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.after_json import after_json, bottle_json
from vatwright.interfaces.render.first_layer_words import first_layer_json
from vatwright.interfaces.render.holding_words import holding_json
from vatwright.interfaces.render.json_numbers import number, numbers
from vatwright.records.process import setting_unit
from vatwright.units import BENCH_UNITS

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.plan import (
        Advice,
        BeliefChange,
        CarrySheet,
        HandPlan,
        LightCarried,
        NotedRuns,
        PlatformView,
        Visit,
    )

SCHEMA = "vatwright.carry/1"
VISITS_SCHEMA = "vatwright.visits/1"


def unit_text(name: str) -> str:
    """Return the unit of a setting's value as the command line accepts it."""
    unit = setting_unit(name)
    return unit if unit == "layers" else BENCH_UNITS[unit].spellings[0]


def carry_json(sheet: CarrySheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the sheet as `vatwright.carry/1`.

    Parameters
    ----------
    sheet : CarrySheet
        What to show.
    cite : callable
        From a source's key to its citation.

    Returns
    -------
    dict
        JSON-ready: strings, booleans, lists, finite numbers, and null where a number is not finite.
    """
    return {
        "schema": SCHEMA,
        "job": sheet.job,
        "from": sheet.origin,
        "to": sheet.target,
        "recipe": sheet.recipe,
        "resin_name": sheet.resin,
        "pieces": sheet.pieces,
        "proven": {"runs": sheet.runs, "failed": sheet.failed},
        "room_from_C": number(sheet.room_from_k - 273.15),
        "room_C": number(sheet.room_k - 273.15),
        "holds": sheet.holds,
        "verdict": sheet.verdict,
        "confidence": number(sheet.confidence),
        "success": {k: number(getattr(sheet.success, k)) for k in ("low", "mean", "high")},
        "noted": _noted(sheet.noted),
        "settings": [_setting(a) for a in sheet.settings],
        "time": _time(sheet),
        "layers": _layers(sheet),
        "light": _light(sheet.light),
        "visits": [_visit(v) for v in (sheet.hand.visits if sheet.hand else ())],
        "hand": _hand(sheet.hand),
        "resin": {
            f"{k}_ml": number(getattr(sheet.resin_need, f"{k}_m3"), "ml") for k in ("parts", "drag_out", "pool", "pour")
        },
        "around": None
        if sheet.around is None
        else {"bottle": bottle_json(sheet.around.bottle), "after": after_json(sheet.around.after)},
        "holding": holding_json(sheet.holding),
        "first_layer": first_layer_json(sheet.first_layer),
        "risks": [
            {
                "what": r.what,
                "layer": None if r.layer < 0 else r.layer,
                "margin": None if r.margin is None else number(r.margin),
                "chance": number(r.chance),
                "why": r.why,
                "do": r.do,
            }
            for r in sheet.risks
        ],
        "measure_next": [
            {
                "reading": m.reading,
                "setting": m.setting,
                "share_left": number(m.share_left),
                "time_min": number(m.minutes),
                "how": m.how,
            }
            for m in sheet.measure_next
        ],
        "pull_curve": {
            "layer": sheet.pull_curve.layer,
            "lift_mm": numbers(sheet.pull_curve.lift_m, "mm"),
            **{f"{k}_N": numbers(getattr(sheet.pull_curve, f"{k}_n"), "N") for k in ("low", "middle", "high")},
        },
        "platform": _platform(sheet.platform_view),
        "beliefs": [_belief(b) for b in sheet.beliefs],
        "cautions": list(sheet.cautions),
        "open_questions": list(sheet.open_questions),
        "warnings": list(sheet.warnings),
        "sources": {key: cite(key) for key in _source_keys(sheet)},
    }


def _source_keys(sheet: CarrySheet) -> list[str]:
    keys = [*sheet.sources, *(k for a in sheet.settings for k in a.sources), *(b.source for b in sheet.beliefs)]
    return [k for k in dict.fromkeys(keys) if k]


def _setting(advice: Advice) -> dict[str, Any]:
    unit = setting_unit(advice.name)
    values = {"from": advice.from_value, "to": advice.to_value, "low": advice.low, "high": advice.high}
    return {
        "name": advice.name,
        **{k: number(v, unit) for k, v in values.items()},
        "unit": unit_text(advice.name),
        "honoured": advice.honoured,
        "by_hand": advice.by_hand,
        "reason": advice.reason,
        "dominated_by": advice.dominated_by,
        "narrowed_by": advice.narrowed_by,
        "sources": list(advice.sources),
    }


def _time(sheet: CarrySheet) -> dict[str, Any]:
    run = sheet.time
    keys = ("from_s", "to_s", "per_piece_from_s", "per_piece_to_s")
    shares = [{"label": s.label, "from_s": number(s.from_s), "to_s": number(s.to_s)} for s in run.shares]
    plates = {"from_plates": run.from_plates, "to_plates": run.to_plates}
    return {**{k: number(getattr(run, k)) for k in keys}, **plates, "shares": shares}


def _layers(sheet: CarrySheet) -> dict[str, Any]:
    t = sheet.layers
    return {
        "thickness_um": numbers(t.thickness_m, "um"),
        "thickness_low_um": numbers(t.thickness_low_m, "um"),
        "thickness_high_um": numbers(t.thickness_high_m, "um"),
        "cure_depth_um": numbers(t.cure_depth_m, "um"),
        "settle_demand_s": numbers(t.settle_demand_s),
        "settle_given_s": numbers(t.settle_given_s),
        "lift_demand_mm": numbers(t.lift_demand_m, "mm"),
        "pull_N": numbers(t.pull_n, "N"),
        "screen_force_N": numbers(t.screen_force_n, "N"),
        "clock_s": numbers(t.clock_s),
        "area_mm2": numbers(t.area_m2, "mm2"),
        "exposure_s": numbers(t.exposure_s),
    }


def _light(light: LightCarried | None) -> dict[str, Any] | None:
    if light is None:
        return None
    found: dict[str, Any] = {}
    for side in ("from", "to"):
        found[f"{side}_mW_cm2"] = number(getattr(light, f"{side}_w_m2"), "mW_cm2")
        for spot in ("dimmest", "brightest"):
            found[f"{side}_{spot}_percent"] = number(getattr(light, f"{side}_{spot}"), "percent")
        for dose in ("least", "most"):
            found[f"{side}_{dose}_mJ_cm2"] = number(getattr(light, f"{side}_{dose}_j_m2"), "mJ_cm2")
        found[f"{side}_print_through_um"] = number(getattr(light, f"{side}_through_m"), "um")
    return found


def _visit(visit: Visit) -> dict[str, Any]:
    return {
        "at_s": number(visit.at_s),
        "layer": visit.layer,
        "setting": visit.setting,
        "value": number(visit.value, setting_unit(visit.setting)),
        "unit": unit_text(visit.setting),
        "late_ok_s": number(visit.late_ok_s),
        "early_ok_s": number(visit.early_ok_s),
    }


def _hand(hand: HandPlan | None) -> dict[str, Any] | None:
    if hand is None:
        return None
    unit = setting_unit(hand.setting)
    return {
        "setting": hand.setting,
        "start_value": number(hand.start_value, unit),
        "unit": unit_text(hand.setting),
        "total_s": number(hand.total_s),
        "alone_value": number(hand.alone_value, unit),
        "alone_total_s": number(hand.alone_total_s),
        "obeyed_total_s": number(hand.obeyed_total_s),
        "covers": hand.covers,
        "note": hand.note,
    }


def _platform(view: PlatformView) -> dict[str, Any]:
    return {
        "width_mm": number(view.platform.width_m, "mm"),
        "depth_mm": number(view.platform.depth_m, "mm"),
        "window_width_mm": number(view.window.width_m, "mm"),
        "window_depth_mm": number(view.window.depth_m, "mm"),
        "lift_per_mm": number(view.tan_angle),
        "worst": {
            "x_mm": number(view.worst_x_m, "mm"),
            "y_mm": number(view.worst_y_m, "mm"),
            "lift_mm": number(view.worst_lift_m, "mm"),
        },
    }


def _belief(belief: BeliefChange) -> dict[str, Any]:
    return {
        "name": belief.name,
        "unit": belief.unit,
        "before": [number(v) for v in belief.before],
        "after": [number(v) for v in belief.after],
        "kind": str(belief.kind),
        "source": belief.source,
    }


def visits_json(sheet: CarrySheet) -> dict[str, Any]:
    """Return the hand schedule alone as `vatwright.visits/1`."""
    visits = sheet.hand.visits if sheet.hand else ()
    return {
        "schema": VISITS_SCHEMA,
        "job": sheet.job,
        "to": sheet.target,
        "hand": _hand(sheet.hand),
        "visits": [_visit(v) for v in visits],
    }


def _noted(noted: NotedRuns | None) -> dict[str, Any] | None:
    """Runs of the notebook that were weighed in, None where none was."""
    if noted is None:
        return None
    return {
        "runs": noted.runs,
        "machine": noted.machine,
        "ran": noted.ran,
        "held": noted.held,
        "said": None if noted.said is None else number(noted.said),
        "said_of": noted.said_of,
    }
