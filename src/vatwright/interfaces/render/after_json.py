"""Resin before a print and what comes after it as data: the parts that cost and carry sheets share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.data import Keys, as_data, number
from vatwright.records.after import AfterPlan, AirLimit, AirPlan, BathPlan, BottlePlan
from vatwright.wording import in_english

if TYPE_CHECKING:
    from vatwright.records.after import Span

DECLARED: dict[type, Keys] = {
    BottlePlan: {"resin": None, "lots": None, "sources": None},
    AfterPlan: {"air": None, "cautions": None, "sources": None},
    BathPlan: {
        "after_job": "after_job_percent", "limit": "limit_percent", "limit_said": "limit_is_yours", "batches": "plates",
        "second_share": "second_bath_percent",
    },
    AirPlan: {
        "read": "weighed", "steady": "steady_ppm", "limit": "judged_by", "headspace": "headspace_percent",
        "spill": "spill_ppm", "fresh_air_m3_s": None, "flash_k": None, "room_k": None,
    },
    AirLimit: {"fraction": "ppm"},
}  # fmt: skip
"""What the keys are where the rule of `data` would call them otherwise."""


@in_english
def bottle_json(plan: BottlePlan) -> dict[str, Any]:
    """Return whether the resin at hand does, as JSON-ready data."""
    lots = [{"name": n, "left_ml": number(left, "ml"), "fills_vat": fills} for n, left, fills in plan.lots]
    return as_data(plan, DECLARED) | {"lots": lots}


@in_english
def after_json(plan: AfterPlan) -> dict[str, Any]:
    """Return what comes after the print, as JSON-ready data."""
    return as_data(plan, DECLARED) | {"air": [_air(a) for a in plan.air]}


def _air(air: AirPlan) -> dict[str, Any]:
    flashes = [{"temperature_C": number(k, "C"), "source": key} for k, key in air.flash_k]
    return as_data(air, DECLARED) | {"fresh_air_m3_h": _each_hour(air.fresh_air_m3_s), "flash": flashes}


def _each_hour(flow_m3_s: Span) -> dict[str, float | None]:
    return {k: number(getattr(flow_m3_s, k) * 3600.0) for k in ("low", "value", "high")}
