"""What a job costs as data: `vatwright.cost/1`.  Amounts are in the currency the shop named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.report.carry_json import number

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.after import AfterPlan, AirLimit, AirPlan, BathPlan, BottlePlan, Span
    from vatwright.records.cost import CostSheet, Swing

SCHEMA = "vatwright.cost/1"


def cost_json(sheet: CostSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return a cost sheet as JSON-ready data.

    Parameters
    ----------
    sheet : CostSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "schema": SCHEMA,
        "job": sheet.job,
        "machine": sheet.machine,
        "resin_name": sheet.resin,
        "currency": sheet.currency,
        "pieces": sheet.pieces,
        "plates": sheet.plates,
        "complete": sheet.complete,
        "missing": list(sheet.missing),
        "per_piece": span(sheet.per_piece),
        "total": span(sheet.total),
        "quote": None if sheet.quote is None else span(sheet.quote),
        "margin_percent": None if sheet.margin is None else number(sheet.margin, "percent"),
        "success": {k: number(getattr(sheet.success, k)) for k in ("low", "mean", "high")},
        "attempts": span(sheet.attempts),
        "time": {"print_s": number(sheet.print_s), "hands_s": number(sheet.hands_s), "visits": sheet.visits},
        "lines": [{"label": x.label, "what": x.what, "amount": span(x.amount)} for x in sheet.lines],
        "failures": [
            {"layer": f.layer, "share": number(f.share), "at_s": number(f.at_s), "amount": number(f.amount)}
            for f in sheet.failures
        ],
        "swings": [_swing(s) for s in sheet.swings],
        "bottle": _bottle(sheet.bottle),
        "after": _after(sheet.after),
        "assumed": list(sheet.assumed),
        "cautions": list(sheet.cautions),
        "sources": {key: cite(key) for key in sheet.sources},
    }


def span(value: Span, unit: str = "s") -> dict[str, float | None]:
    """Return a number with its range."""
    return {k: number(getattr(value, k), unit) for k in ("low", "value", "high")}


def _swing(swing: Swing) -> dict[str, Any]:
    return {
        "name": swing.name,
        "unit": swing.unit,
        "low": number(swing.low),
        "high": number(swing.high),
        "per_piece_low": number(swing.cost_low),
        "per_piece_high": number(swing.cost_high),
    }


def _bottle(plan: BottlePlan) -> dict[str, Any]:
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


def _after(plan: AfterPlan) -> dict[str, Any]:
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
