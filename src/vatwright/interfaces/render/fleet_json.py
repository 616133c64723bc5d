"""``vatwright.fleet/1``: a fleet plan as data, the unit in every key, moments with their offset, every number finite."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.fleet import verdict
from vatwright.units import from_si
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.fleet import FleetPlan, FleetPlate, FleetRun


@in_english
def fleet_json(plan: FleetPlan, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the plan as ``vatwright.fleet/1``.

    Parameters
    ----------
    plan : FleetPlan
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    at, b = _at(plan), plan.bounds
    return {
        "schema": "vatwright.fleet/1",
        "book": plan.book.name,
        "starts": at(0.0),
        "now": at(plan.now_s),
        "verdict": verdict(plan),
        "orders": [
            {
                "name": o.order,
                "pieces": o.pieces,
                "due": None if o.due_s is None else at(o.due_s),
                "cured": None if o.done_s is None else at(o.done_s),
                "late_h": round(from_si(o.late_s, "h"), 4),
            }
            for o in plan.orders
        ],
        "bounds": {
            "lateness_h": round(from_si(b.lateness_s, "h"), 4),
            "lateness_least_h": round(from_si(b.lateness_least_s, "h"), 4),
            "done": at(b.makespan_s),
            "done_least": at(b.makespan_least_s),
            "done_any_plates": at(b.any_plates_s),
            "gap_percent": round(from_si(b.gap, "percent"), 3),
            "changes": b.changes,
            "proven": b.proven,
        },
        "plates": [_plate(p) for p in plan.plates],
        "runs": [_run(plan, r) for r in plan.runs],
        "units": [{"name": u.name, "machine": u.machine.name, "down": u.name in plan.down} for u in plan.book.units],
        "works": [
            {
                "machine": w.machine,
                "goods": w.goods,
                "pieces": w.pieces,
                "run_min": round(from_si(w.print_s, "min"), 2),
                "layer_s": round(w.layer_s, 3),
                "pieces_per_h": round(w.pieces_h, 4),
            }
            for w in plan.works
        ],
        "break_even": [
            {
                "larger": x.larger,
                "smaller": x.smaller,
                "pieces_ratio": round(x.area, 4),
                "layer_time_ratio": round(x.layer, 4),
                "worth": round(x.worth, 4),
                "from_pieces": x.pieces,
            }
            for x in plan.break_even
        ],
        "notes": list(plan.notes),
        "sources": [{"key": key, "citation": cite(key)} for key in plan.sources],
    }


def _at(plan: FleetPlan) -> Callable[[float], str]:
    return lambda seconds: plan.book.at(seconds).isoformat()


def _plate(plate: FleetPlate) -> dict[str, Any]:
    return {
        "name": plate.name,
        "machine": plate.machine.name,
        "resin": plate.resin,
        "layers": plate.layers,
        "run_min": round(from_si(plate.print_s, "min"), 2),
        "settle_s": plate.settle_s,
        "used_percent": round(from_si(plate.used, "percent"), 2),
        "pieces": [
            {
                "order": p.order,
                "part": p.part,
                "x_mm": round(from_si(p.place.x_m, "mm"), 4),
                "y_mm": round(from_si(p.place.y_m, "mm"), 4),
                "turn_deg": p.place.turn_deg,
            }
            for p in plate.pieces
        ],
    }


def _run(plan: FleetPlan, run: FleetRun) -> dict[str, Any]:
    at = _at(plan)
    return {
        "plate": run.plate,
        "unit": run.unit,
        "setup_from": at(run.start_s),
        "run_from": at(run.begin_s),
        "ready": at(run.ready_s),
        "off": at(run.off_s),
        "cured": at(run.cured_s),
        "visits": [at(v) for v in run.visits_s],
        "change_resin": run.changed,
        "under_way": run.kept,
        "pieces": [{"order": c.order, "part": c.part, "count": c.pieces} for c in run.pieces],
    }
