"""The carry sheet as data for other programs: its record walked by name, and what the outside calls otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.base import base_holds
from vatwright.answers.carry import source_keys
from vatwright.answers.hands import hand_note
from vatwright.answers.part_changes import change_sentence
from vatwright.answers.upkeep import due_sentence
from vatwright.answers.warmth import outside
from vatwright.interfaces.render.after_json import AROUND
from vatwright.interfaces.render.data import AsItIs, Keys, as_data, in_unit, number
from vatwright.records.first_layer import BaseLayer, BasePlace, BasePressure, FirstLayers, TypedBase
from vatwright.records.holding import BendPlace, Holding, WeakPlace
from vatwright.records.plan import (
    Advice,
    CarrySheet,
    HandPlan,
    LayerTable,
    LightCarried,
    Measurement,
    Spare,
    Trade,
    Visit,
)
from vatwright.records.process import setting_unit
from vatwright.records.upkeep import Counted
from vatwright.records.warmth import WarmUp
from vatwright.units import BENCH_UNITS
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.first_layer import Mend
    from vatwright.records.learned import NextStep
    from vatwright.records.part_change import PartChange
    from vatwright.records.plan import PlatformView, Risk
    from vatwright.records.stock import OldLot
    from vatwright.records.taken import Taken, Trimmed
    from vatwright.records.tried import Experience, Raised
    from vatwright.records.upkeep import Due

SCHEMA = "vatwright.carry/1"
VISITS_SCHEMA = "vatwright.visits/1"

MICROMETRES = ("thickness", "thickness_low", "thickness_high", "cure_depth")
_SIDES = ("from", "to")

DECLARED: dict[type, Keys] = {
    CarrySheet: {
        "origin": "from", "target": "to", "resin": "resin_name", "resin_need": "resin",
        **dict.fromkeys(("runs", "failed", "tolerance", "settings", "hand", "platform_view", "holding", "first_layer",
                         "risks", "around", "sources", "ladder", "part_changes", "warm_up", "trimmed", "upkeep", "run_warmth",
                         "squeeze_shear", "old_lots", "experience", "peel_trade")),
    },
    Advice: dict.fromkeys(("from_value", "to_value", "low", "high")),
    LayerTable: {f"{k}_m": f"{k}_um" for k in MICROMETRES},
    LightCarried: {
        **{f"{s}_{k}": f"{s}_{k}_percent" for s in _SIDES for k in ("dimmest", "brightest")},
        **{f"{s}_through_m": f"{s}_print_through_um" for s in _SIDES},
    },
    Measurement: {"minutes": AsItIs("time_min")},
    Trade: {"tolerance": "tolerance_percent"},
    Spare: {},
    WarmUp: {**{f"{k}_s": f"{k}_min" for k in ("bottle", "vat", "bath", "back")}, "sources": None},
    Visit: dict.fromkeys(("value",)),
    HandPlan: dict.fromkeys(("start_value", "alone_value", "visits", "why", "short_layer", "short_by_s")),
    Holding: dict.fromkeys(("low", "mean", "high", "tear_chance", "peel_chance", "sources")),
    WeakPlace: {"section_m2": "section_mm2"},
    BendPlace: {},
    FirstLayers: {
        "first": "layer", "pressures": "pressure",
        **dict.fromkeys(("platform", "outlines_m", "weak", "x_m", "y_m", "mends_plan", "mends")),
    },
    BasePlace: {f"{k}_m": f"{k}_um" for k in ("gap", "bonds_to", "layer", "unsettled", "uneven", "tipped", "spare")},
    BaseLayer: dict.fromkeys(("spare_m", "chance")),
    BasePressure: {
        "pressure_pa": None, "peak_moment_j": AsItIs("peak_moment_N_m"), "end_moment_j": AsItIs("end_moment_N_m")
    },
    TypedBase: {},
}  # fmt: skip
"""What the keys are where the rule of `data` would call them otherwise, and what is told apart from the record below."""

MEND_UNITS = {"layers": "layers", "level": "um", "warmth": "C"}


def unit_text(name: str) -> str:
    """Return the unit of a setting's value as the command line accepts it."""
    unit = setting_unit(name)
    return unit if unit == "layers" else BENCH_UNITS[unit].spellings[0]


@in_english
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
    return {"schema": SCHEMA} | as_data(sheet, DECLARED) | {
        "verdict": sheet.verdict if sheet.warm_up is None else outside(sheet.warm_up),
        "proven": {"runs": sheet.runs, "failed": sheet.failed},
        "settings": [_setting(a) for a in sheet.settings],
        "visits": [visit_data(v) for v in (sheet.hand.visits if sheet.hand else ())],
        "hand": _hand(sheet.hand, sheet.target),
        "around": None
        if sheet.around is None
        else {"bottle": as_data(sheet.around.bottle, AROUND), "after": as_data(sheet.around.after, AROUND)},
        "holding": holding_json(sheet.holding),
        "first_layer": first_layer_json(sheet.first_layer),
        "risks": [_risk(r) for r in sheet.risks],
        "ladder": [step_data(s) for s in sheet.ladder],
        "part_changes": [_part_change(c) for c in sheet.part_changes],
        "platform": _platform(sheet.platform_view),
        "sources": {key: cite(key) for key in source_keys(sheet)},
    } | _where_there(sheet)  # fmt: skip


def _where_there(sheet: CarrySheet) -> dict[str, Any]:
    """What only some sheets have."""
    found: dict[str, Any] = {}
    if sheet.warm_up is not None:
        found["warm_up"] = as_data(sheet.warm_up, DECLARED)
    if sheet.trimmed is not None:
        found["trimmed"] = _trimmed(sheet.trimmed)
    if sheet.experience is not None:
        found["experience"] = _experience(sheet.experience)
    if sheet.squeeze_shear is not None:
        found["squeeze_shear"] = as_data(sheet.squeeze_shear)
    if sheet.old_lots:
        found["old_lots"] = [_old_lot(lot) for lot in sheet.old_lots]
    if sheet.upkeep:
        found["upkeep"] = [_due(d) for d in sheet.upkeep]
    return found


def _old_lot(lot: OldLot) -> dict[str, Any]:
    left = {"left_ml": number(lot.left_m3, "ml"), "only": lot.only}
    return {"name": lot.name, "good_until": lot.expired.isoformat(), "days_past": lot.days} | left


def _due(due: Due) -> dict[str, Any]:
    unit = "h" if due.after is Counted.HOURS else ""
    counts = {"used": number(due.used, unit), "limit": number(due.limit, unit), "unit": unit or due.after.value}
    text = {"due": due.now, "text": due_sentence(due)}
    return {"task": due.task.value, "machine": due.machine, "what": due.what} | counts | text


def _experience(told: Experience) -> dict[str, Any]:
    """What noted runs of this very job say of its settings; a sheet without such runs has no such key."""
    return {
        "kept": told.kept,
        "raised": [_raised(r) for r in told.raised],
        "freed": [{"run": f.run, "changed": [c.value for c in f.changed]} for f in told.freed],
        "failed": told.failed,
        "ran": told.ran,
        "doubt": number(told.doubt),
    }


def _raised(r: Raised) -> dict[str, Any]:
    unit = "mm" if r.setting.endswith("_mm") else "s"
    return {"setting": r.setting, "failed_at": number(r.failed_at, unit), "to": number(r.to, unit), "run": r.run}


def _trimmed(told: Trimmed) -> dict[str, Any]:
    return {
        "taken": [taken_data(t) for t in told.taken],
        "from_s": number(told.from_s),
        "from_mean": number(told.mean),
        "runs_left": told.runs_left,
        "end_s": number(told.end_s),
        "why_not": None if told.why_not is None else told.why_not.value,
    }


def taken_data(t: Taken) -> dict[str, Any]:
    """Return one setting that was taken down, before and after in the unit of its name."""
    ends = {"from": t.before, "to": t.after}
    return {"setting": t.setting} | _in_unit(t.setting, ends) | {"saves_min": number(t.saves_s, "min")}


def step_data(step: NextStep) -> dict[str, Any]:
    """Return a reading or a trial of the ladder."""
    costs = {"minutes": number(step.minutes), "ml": number(step.resin_m3, "ml")}
    worth = {"narrows": step.setting, "share_left": number(step.share_left), "saves_min": number(step.saves_s, "min")}
    return {"what": step.what, "how": step.how, "kind": step.kind} | costs | worth


def _part_change(change: PartChange) -> dict[str, Any]:
    return {
        "what": change_sentence(change), "kind": change.kind.value, "part": change.part,
        "saves_min": number(change.saves_s, "min"), "to_s": number(change.to_s), "mean": number(change.meant),
    }  # fmt: skip


def _risk(risk: Risk) -> dict[str, Any]:
    return as_data(risk) | {"layer": None if risk.layer < 0 else risk.layer}


def _in_unit(name: str, values: dict[str, float]) -> dict[str, float | None]:
    """Return values of one setting in its own unit."""
    return {k: in_unit(v, setting_unit(name)) for k, v in values.items()}


def _setting(advice: Advice) -> dict[str, Any]:
    values = {"from": advice.from_value, "to": advice.to_value, "low": advice.low, "high": advice.high}
    rest = {"unit": unit_text(advice.name)} | as_data(advice, DECLARED)
    return {"name": advice.name} | _in_unit(advice.name, values) | rest


def visit_data(visit: Visit) -> dict[str, Any]:
    """Return one change by hand."""
    value = _in_unit(visit.setting, {"value": visit.value})
    return as_data(visit, DECLARED) | value | {"unit": unit_text(visit.setting)}


def _hand(hand: HandPlan | None, target: str) -> dict[str, Any] | None:
    if hand is None:
        return None
    values = _in_unit(hand.setting, {"start_value": hand.start_value, "alone_value": hand.alone_value})
    return as_data(hand, DECLARED) | values | {"unit": unit_text(hand.setting), "note": hand_note(hand, target)}


def _platform(view: PlatformView) -> dict[str, Any]:
    sizes = {
        "width": view.platform.width_m, "depth": view.platform.depth_m,
        "window_width": view.window.width_m, "window_depth": view.window.depth_m,
    }  # fmt: skip
    worst = {"x": view.worst_x_m, "y": view.worst_y_m, "lift": view.worst_lift_m}
    return {
        **{f"{k}_mm": number(v, "mm") for k, v in sizes.items()},
        "lift_per_mm": number(view.tan_angle),
        "worst": {f"{k}_mm": number(v, "mm") for k, v in worst.items()},
    }


@in_english
def holding_json(held: Holding | None) -> dict[str, Any] | None:
    """Return the holding of the pieces for other programs; null where nothing is known."""
    if held is None:
        return None
    return as_data(held, DECLARED) | {
        "chance": {k: number(getattr(held, k)) for k in ("low", "mean", "high")},
        "tears": {"chance": number(held.tear_chance)},
        "peels": {"chance": number(held.peel_chance)},
    }


@in_english
def first_layer_json(first: FirstLayers | None) -> dict[str, Any] | None:
    """Return the base as data; null where the sheet has none."""
    if first is None:
        return None
    shown = first.layers[first.first]
    return as_data(first, DECLARED) | {
        "holds": base_holds(first),
        "worst": as_data(first.worst, DECLARED),
        "map": {
            "x_mm": [number(v, "mm") for v in first.x_m.tolist()],
            "y_mm": [number(v, "mm") for v in first.y_m.tolist()],
            "spare_um": [[number(v, "um") for v in row] for row in shown.spare_m.tolist()],
            "chance": [[number(v) for v in row] for row in shown.chance.tolist()],
        },
        "mends_of": "plan" if first.mends_plan else "typed",
        "mends": [_mend(m) for m in first.mends],
    }


def _mend(mend: Mend) -> dict[str, Any]:
    unit = MEND_UNITS.get(mend.kind, "s")
    ends = {"from": mend.from_value, "to": mend.to_value}
    rest = as_data(
        mend, {type(mend): {"minutes": AsItIs("time_min"), **dict.fromkeys(("from_value", "to_value", "source"))}}
    )
    return rest | {k: in_unit(v, unit) for k, v in ends.items()} | {"unit": unit}


@in_english
def visits_json(sheet: CarrySheet) -> dict[str, Any]:
    """Return the hand schedule alone as `vatwright.visits/1`."""
    visits = sheet.hand.visits if sheet.hand else ()
    return {
        "schema": VISITS_SCHEMA,
        "job": sheet.job,
        "to": sheet.target,
        "hand": _hand(sheet.hand, sheet.target),
        "visits": [visit_data(v) for v in visits],
    }
