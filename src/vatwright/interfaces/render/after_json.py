"""Resin before a print and what comes after it as data: the parts that cost and carry sheets share."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.json_numbers import number, span

if TYPE_CHECKING:
    from vatwright.records.after import AfterPlan, AirLimit, AirPlan, BathPlan, BottlePlan


def bottle_json(plan: BottlePlan) -> dict[str, Any]:
    """Return whether the resin at hand does, as JSON-ready data."""
    return {
        "wanted_ml": number(plan.wanted_m3, "ml"),
        "pour_ml": number(plan.pour_m3, "ml"),
        "pool_ml": number(plan.pool_m3, "ml"),
        "left_ml": None if plan.left_m3 is None else number(plan.left_m3, "ml"),
        "enough": plan.enough,
        "lots": [{"name": n, "left_ml": number(left, "ml"), "fills_vat": fills} for n, left, fills in plan.lots],
        "warm_bottle_s": None if plan.warm_bottle_s is None else span(plan.warm_bottle_s),
        "warm_vat_s": None if plan.warm_vat_s is None else span(plan.warm_vat_s),
        "stir_s": span(plan.stir_s),
    }


def after_json(plan: AfterPlan) -> dict[str, Any]:
    """Return what comes after the print, as JSON-ready data."""
    return {
        "fits": [
            {
                "piece": f.piece,
                "station": f.station,
                "kind": f.kind,
                "fits": f.fits,
                "how": f.how,
                "covered": f.covered,
                "at_once": f.at_once,
                "need_ml": number(f.need_m3, "ml"),
            }
            for f in plan.fits
        ],
        "baths": [_bath(b) for b in plan.baths],
        "air": [_air(a) for a in plan.air],
        "cure": [
            {
                "station": c.station,
                "irradiance_mW_cm2": number(c.irradiance_w_m2, "mW_cm2"),
                "time_s": number(c.time_s),
                "dose_mJ_cm2": number(c.dose_j_m2, "mJ_cm2"),
            }
            for c in plan.cure
        ],
        "notes": list(plan.notes),
    }


def _bath(bath: BathPlan) -> dict[str, Any]:
    second = bath.second_share
    return {
        "station": bath.station,
        "solvent": bath.solvent,
        "bath_ml": number(bath.bath_m3, "ml"),
        "carried_ml": span(bath.carried_m3, "ml"),
        "after_job_percent": span(bath.after_job, "percent"),
        "limit_percent": span(bath.limit, "percent"),
        "limit_is_yours": bath.limit_said,
        "plates": span(bath.batches),
        "density_new_g_cm3": number(bath.density_new_kg_m3, "g_cm3"),
        "density_spent_g_cm3": number(bath.density_spent_kg_m3, "g_cm3"),
        "second_bath_percent": None if second is None else number(second, "percent"),
    }


def _air(air: AirPlan) -> dict[str, Any]:
    return {
        "solvent": air.solvent,
        "evaporation_g_h": span(air.evaporation_kg_s, "g_h"),
        "weighed": air.read,
        "steady_ppm": None if air.steady is None else span(air.steady, "ppm"),
        "limits": [_limit(x) for x in air.limits],
        "judged_by": _limit(air.limit),
        "fresh_air_m3_h": {k: number(getattr(air.fresh_air_m3_s, k) * 3600.0) for k in ("low", "value", "high")},
        "headspace_percent": number(air.headspace, "percent"),
        "flammable": [_limit(x) for x in air.flammable],
        "flash": [{"temperature_C": number(k - 273.15), "source": key} for k, key in air.flash_k],
        "spill_ppm": None if air.spill is None else number(air.spill, "ppm"),
    }


def _limit(limit: AirLimit) -> dict[str, Any]:
    return {"what": limit.what, "ppm": number(limit.fraction, "ppm"), "source": limit.source}
