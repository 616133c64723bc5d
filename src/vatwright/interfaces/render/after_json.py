"""Resin before a print and what comes after it as data: the parts that cost and carry sheets share."""

from __future__ import annotations

from vatwright.interfaces.render.data import Keys, Worked, number
from vatwright.records.after import AfterPlan, AirLimit, AirPlan, BathPlan, BottlePlan, Span

AROUND: dict[type, Keys] = {
    BottlePlan: {
        "resin": None, "sources": None,
        "lots": Worked(
            lambda plan: [{"name": n, "left_ml": left, "fills_vat": fills} for n, left, fills in plan.lots],
            [{"name": str, "left_ml": float, "fills_vat": bool}],
        ),
    },
    AfterPlan: {"cautions": None, "sources": None},
    BathPlan: {
        "after_job": "after_job_percent", "limit": "limit_percent", "limit_said": "limit_is_yours", "batches": "plates",
        "second_share": "second_bath_percent",
    },
    AirPlan: {
        "read": "weighed", "steady": "steady_ppm", "limit": "judged_by", "headspace": "headspace_percent",
        "spill": "spill_ppm", "room_k": None, "flash_k": None, "fresh_air_m3_s": None,
        "fresh_air_m3_h": Worked(lambda air: _each_hour(air.fresh_air_m3_s), Span, plain=True),
        "flash": Worked(
            lambda air: [{"temperature_C": k, "source": key} for k, key in air.flash_k],
            [{"temperature_C": float, "source": str}],
        ),
    },
    AirLimit: {"fraction": "ppm"},
}  # fmt: skip
"""What the keys of bottles, baths, stations and air are where the rule of `data` would call them otherwise."""


def _each_hour(flow_m3_s: Span) -> dict[str, float | None]:
    return {k: number(getattr(flow_m3_s, k) * 3600.0) for k in ("low", "value", "high")}
