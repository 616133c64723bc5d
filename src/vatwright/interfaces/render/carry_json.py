"""The carry sheet as data for other programs: its record walked by name, and what the outside calls otherwise."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import fields

from vatwright.answers.base import base_holds
from vatwright.answers.carry import source_keys
from vatwright.answers.hands import hand_note
from vatwright.answers.part_changes import change_sentence
from vatwright.answers.upkeep import due_sentence
from vatwright.answers.warmth import outside
from vatwright.interfaces.render.after_json import AROUND
from vatwright.interfaces.render.data import AsItIs, Keys, Worked, as_data, in_unit, number
from vatwright.records.first_layer import BaseLayer, BasePlace, BasePressure, FirstLayers, Mend, TypedBase
from vatwright.records.holding import BendPlace, Holding, WeakPlace
from vatwright.records.learned import NextStep
from vatwright.records.part_change import PartChange
from vatwright.records.plan import (
    Advice,
    CarrySheet,
    HandPlan,
    LayerTable,
    LightCarried,
    Measurement,
    Risk,
    Spare,
    Trade,
    Visit,
)
from vatwright.records.process import setting_unit
from vatwright.records.stock import OldLot
from vatwright.records.taken import Taken, Trimmed
from vatwright.records.tried import Raised
from vatwright.records.upkeep import Counted, Due
from vatwright.records.warmth import WarmUp
from vatwright.units import BENCH_UNITS
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

SCHEMA = "vatwright.carry/1"
VISITS_SCHEMA = "vatwright.visits/1"

MICROMETRES = ("thickness", "thickness_low", "thickness_high", "cure_depth")
_SIDES = ("from", "to")
MEND_UNITS = {"layers": "layers", "level": "um", "warmth": "C"}
WHERE_THERE = ("warm_up", "trimmed", "experience", "squeeze_shear", "old_lots", "upkeep")
"""What only some sheets have: the key is left out where there is nothing."""


def unit_text(name: str) -> str:
    """Return the unit of a setting's value as the command line accepts it."""
    unit = setting_unit(name)
    return unit if unit == "layers" else BENCH_UNITS[unit].spellings[0]


def _of_setting(value: str, named: str = "setting") -> Worked:
    """Return how a value is shown that is in the unit of the setting its record names."""
    return Worked(lambda r: in_unit(getattr(r, value), setting_unit(getattr(r, named))), float, plain=True)


def _of_mend(value: str) -> Worked:
    return Worked(lambda mend: in_unit(getattr(mend, value), MEND_UNITS.get(mend.kind, "s")), float, plain=True)


def _of_due(value: str) -> Worked:
    return Worked(lambda due: number(getattr(due, value), "h" if due.after is Counted.HOURS else ""), float, plain=True)


def _platform(sheet: CarrySheet) -> dict[str, Any]:
    view = sheet.platform_view
    sizes_m = {
        "width_mm": view.platform.width_m, "depth_mm": view.platform.depth_m,
        "window_width_mm": view.window.width_m, "window_depth_mm": view.window.depth_m,
    }  # fmt: skip
    worst_m = {"x_mm": view.worst_x_m, "y_mm": view.worst_y_m, "lift_mm": view.worst_lift_m}
    sizes, worst = ({k: number(v, "mm") for k, v in found.items()} for found in (sizes_m, worst_m))
    return sizes | {"lift_per_mm": number(view.tan_angle), "worst": worst}


def _map(base: FirstLayers) -> dict[str, Any]:
    shown = base.layers[base.first]
    return {"x_mm": base.x_m, "y_mm": base.y_m, "spare_um": list(shown.spare_m), "chance": list(shown.chance)}


CHANCES = {"low": float, "mean": float, "high": float}
_SIZES = {
    "width_mm": float,
    "depth_mm": float,
    "window_width_mm": float,
    "window_depth_mm": float,
    "lift_per_mm": float,
}

DECLARED: dict[type, Keys] = AROUND | {
    CarrySheet: {
        "origin": "from", "target": "to", "resin": "resin_name", "resin_need": "resin",
        **dict.fromkeys(("runs", "failed", "tolerance", "platform_view", "sources", "run_warmth", "peel_trade")),
        "verdict": Worked(lambda sheet: sheet.verdict if sheet.warm_up is None else outside(sheet.warm_up), str),
        "proven": Worked(lambda sheet: {"runs": sheet.runs, "failed": sheet.failed}, {"runs": int, "failed": int}),
        "visits": Worked(lambda sheet: sheet.hand.visits if sheet.hand else (), list[Visit]),
        "platform": Worked(_platform, _SIZES | {"worst": {"x_mm": float, "y_mm": float, "lift_mm": float}}, plain=True),
    },
    Advice: {
        "from_value": None, "to_value": None, "unit": Worked(lambda advice: unit_text(advice.name), str),
        "from": _of_setting("from_value", "name"), "to": _of_setting("to_value", "name"),
        "low": _of_setting("low", "name"), "high": _of_setting("high", "name"),
    },
    LayerTable: {f"{k}_m": f"{k}_um" for k in MICROMETRES},
    LightCarried: {
        **{f"{s}_{k}": f"{s}_{k}_percent" for s in _SIDES for k in ("dimmest", "brightest")},
        **{f"{s}_through_m": f"{s}_print_through_um" for s in _SIDES},
    },
    Measurement: {"minutes": AsItIs("time_min")},
    Trade: {"tolerance": "tolerance_percent"},
    Spare: {},
    WarmUp: {**{f"{k}_s": f"{k}_min" for k in ("bottle", "vat", "bath", "back")}, "sources": None},
    Visit: {"value": _of_setting("value"), "unit": Worked(lambda visit: unit_text(visit.setting), str)},
    HandPlan: {
        **dict.fromkeys(("visits", "why", "short_layer", "short_by_s")),
        "start_value": _of_setting("start_value"), "alone_value": _of_setting("alone_value"),
        "unit": Worked(lambda hand: unit_text(hand.setting), str),
    },
    Holding: {
        **dict.fromkeys(("low", "mean", "high", "tear_chance", "peel_chance", "sources")),
        "chance": Worked(lambda held: {k: getattr(held, k) for k in CHANCES}, CHANCES),
        "tears": Worked(lambda held: {"chance": held.tear_chance}, {"chance": float}),
        "peels": Worked(lambda held: {"chance": held.peel_chance}, {"chance": float}),
    },
    WeakPlace: {"section_m2": "section_mm2"},
    BendPlace: {},
    FirstLayers: {
        "first": "layer", "pressures": "pressure",
        **dict.fromkeys(("platform", "outlines_m", "weak", "x_m", "y_m", "mends_plan")),
        "holds": Worked(base_holds, bool), "worst": Worked(lambda base: base.worst, BasePlace),
        "map": Worked(_map, {"x_mm": [float], "y_mm": [float], "spare_um": [[float]], "chance": [[float]]}),
        "mends_of": Worked(lambda base: "plan" if base.mends_plan else "typed", str),
    },
    Mend: {
        "minutes": AsItIs("time_min"), **dict.fromkeys(("from_value", "to_value", "source")),
        "from": _of_mend("from_value"), "to": _of_mend("to_value"),
        "unit": Worked(lambda mend: MEND_UNITS.get(mend.kind, "s"), str),
    },
    BasePlace: {f"{k}_m": f"{k}_um" for k in ("gap", "bonds_to", "layer", "unsettled", "uneven", "tipped", "spare")},
    BaseLayer: dict.fromkeys(("spare_m", "chance")),
    BasePressure: {
        "pressure_pa": None, "peak_moment_j": AsItIs("peak_moment_N_m"), "end_moment_j": AsItIs("end_moment_N_m")
    },
    TypedBase: {},
    Risk: {"layer": Worked(lambda risk: None if risk.layer < 0 else risk.layer, int | None)},
    NextStep: {"setting": "narrows", "saves_s": "saves_min", "resin_m3": "ml"},
    Taken: {"before": None, "after": None, "saves_s": "saves_min", "from": _of_setting("before"), "to": _of_setting("after")},
    Trimmed: {"mean": "from_mean"},
    Raised: {"failed_at": _of_setting("failed_at"), "to": _of_setting("to")},
    OldLot: {"expired": "good_until", "days": "days_past"},
    Due: {
        **dict.fromkeys(("after", "stated", "since")), "used": _of_due("used"), "limit": _of_due("limit"),
        "unit": Worked(lambda due: "h" if due.after is Counted.HOURS else due.after.value, str),
        "due": Worked(lambda due: due.now, bool), "text": Worked(due_sentence, str),
    },
    PartChange: {
        **dict.fromkeys(f.name for f in fields(PartChange) if f.name not in {"kind", "part"}), "saves_s": "saves_min",
        "to_s": "to_s", "what": Worked(change_sentence, str), "mean": Worked(lambda change: change.meant, float),
    },
}  # fmt: skip
"""What the keys are where the rule of `data` would call them otherwise, and what is told apart from the record below."""


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
    told = {k: v for k, v in as_data(sheet, DECLARED).items() if v or k not in WHERE_THERE}
    return {"schema": SCHEMA} | told | {"hand": _hand(sheet), "sources": {key: cite(key) for key in source_keys(sheet)}}


def _hand(sheet: CarrySheet) -> dict[str, Any] | None:
    if sheet.hand is None:
        return None
    return as_data(sheet.hand, DECLARED) | {"note": hand_note(sheet.hand, sheet.target)}


@in_english
def visits_json(sheet: CarrySheet) -> dict[str, Any]:
    """Return the hand schedule alone as `vatwright.visits/1`."""
    visits = [as_data(v, DECLARED) for v in (sheet.hand.visits if sheet.hand else ())]
    return {"schema": VISITS_SCHEMA, "job": sheet.job, "to": sheet.target, "hand": _hand(sheet), "visits": visits}
