"""What a job costs on its machine, with the resin before it and the washing after it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen
from scipy.spatial import ConvexHull

from vatwright.planning.after.after import WashCase, after_plan
from vatwright.planning.after.bottle import bottle_plan
from vatwright.planning.cost.cost import CostCase, CostFigures, cost_figures
from vatwright.records.after import AfterPlan, AroundPrint, BottlePlan, PieceShape, Span
from vatwright.records.cost import Costing, CostSheet
from vatwright.records.job import Job
from vatwright.records.plan import CarrySheet
from vatwright.records.stock import Stock
from vatwright.services.study_parts import PartBench, plate_layers
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.geometry.part_layers import PartLayers
    from vatwright.records.part import PartUse


@frozen(kw_only=True, eq=False)
class CostBench:
    """What a cost is worked out with: the shop's stock, its cost file, and how parts are looked at."""

    stock: Stock
    costing: Costing
    parts: PartBench


@frozen(kw_only=True, eq=False)
class Costed:
    """A cost sheet, and what a comparison needs beside it."""

    sheet: CostSheet
    carry: CarrySheet
    figures: CostFigures
    plates: tuple[int, ...]


def cost_job(job: Job, carried: CarrySheet, bench: CostBench) -> Costed:
    """Return what a job costs on its target.

    Parameters
    ----------
    job : Job
        The job.
    carried : CarrySheet
        Its carry.
    bench : CostBench
        Stock, cost file, parts.

    Returns
    -------
    Costed
        The cost sheet and its figures.

    Raises
    ------
    InputError
        When parts cannot be used.
    """
    plates = plate_layers(job.parts, bench.parts, machine=job.target)
    shapes = tuple(_shape(part, bench.parts.layers(part)) for part in job.parts)
    around = _around(job, carried, bench, shapes, len(plates))
    after, bottle = around.after, around.bottle
    volume_m3 = sum(p.count * p.volume_m3 for p in shapes)
    clinging_m3 = carried.resin_need.drag_out_m3 * len(plates)
    case = CostCase(
        sheet=carried,
        plates=plates,
        volume_m3=volume_m3,
        clinging_m3=clinging_m3,
        density_kg_m3=job.resin.density_kg_m3,
        resin_per_kg=job.resin.price_per_kg,
        solvent=after.baths[0].solvent if after.baths else "",
        bath_m3=after.baths[0].bath_m3 if after.baths else 0.0,
        bath_batches=after.baths[0].batches if after.baths else None,
        prices=bench.stock.prices,
        costing=bench.costing,
    )
    figures = cost_figures(case)
    return Costed(
        sheet=_sheet(job, carried, case, figures, after, bottle), carry=carried, figures=figures, plates=plates
    )


def around_print(job: Job, carried: CarrySheet, bench: CostBench) -> AroundPrint:
    """Return what stands around a job's print: the resin at hand, washing, curing and the air.

    Parameters
    ----------
    job : Job
        The job.
    carried : CarrySheet
        Its carry.
    bench : CostBench
        Stock, cost file, parts.
    """
    plates = plate_layers(job.parts, bench.parts, machine=job.target)
    shapes = tuple(_shape(part, bench.parts.layers(part)) for part in job.parts)
    return _around(job, carried, bench, shapes, len(plates))


def _around(
    job: Job, carried: CarrySheet, bench: CostBench, shapes: tuple[PieceShape, ...], plates: int
) -> AroundPrint:
    wash = _wash_case(job, carried, shapes, plates)
    used_m3 = sum(p.count * p.volume_m3 for p in shapes) + carried.resin_need.drag_out_m3 * plates
    return AroundPrint(
        bottle=_bottle(job, carried, bench, wash, used_m3),
        after=after_plan(wash, bench.stock.stations, bench.costing.room),
    )


def _shape(part: PartUse, layers: PartLayers) -> PieceShape:
    points = np.concatenate(layers.shadow_m)
    x, y, z = (layers.bounds_m[1] - layers.bounds_m[0]).tolist()
    return PieceShape(
        name=part.name,
        count=len(part.places) or part.count,
        size_m=(x, y, z),
        hull_m=points[ConvexHull(points).vertices],
        volume_m3=layers.volume_m3,
        surface_m2=layers.surface_m2,
        pockets_m3=float(layers.pockets[:, 2].sum()) if len(layers.pockets) else 0.0,
    )


def _wash_case(job: Job, carried: CarrySheet, shapes: Sequence[PieceShape], plates: int) -> WashCase:
    viscosity = next(b.after[1] for b in carried.beliefs if b.name == "viscosity in this room")
    platform = job.target.platform
    return WashCase(
        pieces=tuple(shapes),
        plates=plates,
        platform_m2=platform.width_m * platform.depth_m,
        viscosity_pa_s=viscosity,
        density_kg_m3=job.resin.density_kg_m3,
        clear_speed_m_s=carried.advice("body.clear_speed_mm_s").to_value,
        room_k=job.room_k,
    )


def _bottle(job: Job, carried: CarrySheet, bench: CostBench, wash: WashCase, wanted_m3: float) -> BottlePlan:
    return bottle_plan(
        carried.resin_need,
        bench.stock.lots,
        resin=job.resin.name,
        vat=job.target.vat,
        wanted_m3=wanted_m3,
        viscosity_pa_s=wash.viscosity_pa_s,
        density_kg_m3=wash.density_kg_m3,
        room_k=job.room_k,
        store_k=bench.costing.room.store_k,
    )


def _sheet(
    job: Job, carried: CarrySheet, case: CostCase, figures: CostFigures, after: AfterPlan, bottle: BottlePlan
) -> CostSheet:
    margin = case.costing.margin
    each = figures.per_piece
    quote = None if margin is None else Span(**{k: getattr(each, k) * (1.0 + margin) for k in ("low", "value", "high")})
    noticed = case.costing.noticed
    when = (
        to_say("at its end")
        if noticed in {None, 1.0}
        else to_say("after {noticed:.0f} % of it", noticed=100.0 * (noticed or 1.0))
    )
    assumed = (
        *figures.assumed,
        to_say("a failed plate is noticed {when}", when=when),
        to_say("every plate holds with the chance of the fullest one"),
        to_say("a life or power without a range is taken a factor of 1.5 either way, stated minutes a factor of 1.3"),
    )
    return CostSheet(
        job=job.name, machine=job.target.name, resin=job.resin.name, currency=case.costing.currency,
        pieces=carried.pieces, plates=len(case.plates), success=carried.success, attempts=figures.attempts,
        per_piece=each, total=figures.total, quote=quote, margin=margin, lines=figures.lines, failures=figures.failures,
        swings=figures.swings, missing=figures.missing, print_s=carried.time.to_s * figures.attempts.value,
        hands_s=figures.hands_s, visits=len(carried.hand.visits) if carried.hand else 0, after=after, bottle=bottle,
        assumed=assumed, cautions=after.cautions, warm_up=carried.warm_up,
        sources=tuple(sorted({*after.sources, *bottle.sources, "derived:vatwright", "estimate:vatwright"})),
    )  # fmt: skip
