"""The same order on several machines, side by side."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

from attrs import evolve

from vatwright.errors import InputError, WillNotWork
from vatwright.planning.cost.compare import pay_back
from vatwright.planning.cost.floor import floor_check
from vatwright.planning.demand.practice import job_on
from vatwright.planning.fleet.plate_time import machine_work
from vatwright.records.cost import CompareSheet, MachineSide
from vatwright.services.cost_job import CostBench, Costed, cost_job
from vatwright.services.study_parts import plate_layers

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from vatwright.planning.cost.cost import BareCost
    from vatwright.records.job import Job
    from vatwright.records.machine import Machine
    from vatwright.records.plan import CarrySheet
    from vatwright.records.progress import Progress

FULL_PLATES = 12
"""The order so many times over shows how many of its pieces a full plate holds in the mean [-]."""

SAME_SIZE = 1.15
"""Platforms whose areas differ by less are of one size: neither is the larger [-]; engineering estimate."""


def compare_machines(
    job: Job, machines: Sequence[Machine], bench: CostBench, carry: Callable[[Job], CarrySheet], progress: Progress
) -> CompareSheet:
    """Return the same order on several machines, and whether the larger ones pay for themselves.

    Parameters
    ----------
    job : Job
        The order; its own target does not matter.
    machines : sequence of Machine
        The machines.
    bench : CostBench
        Stock, cost file, parts.
    carry : callable
        Carries a job.
    progress : Progress
        Told how far the work is.

    Returns
    -------
    CompareSheet
        A column a machine, smallest platform first.
    """
    sides: list[MachineSide] = []
    bare: dict[str, BareCost] = {}
    ordered = sorted(machines, key=_area)
    for n, machine in enumerate(ordered):
        progress(f"the order on {machine.name}", n, len(ordered))
        there = job_on(job, machine)
        try:
            costed = cost_job(there, carry(there), bench)
        except (InputError, WillNotWork) as problem:
            sides.append(MachineSide(machine=machine.name, cost=None, why_not=str(problem), area_m2=_area(machine)))
            continue
        sides.append(_side(there, costed, bench))
        bare[machine.name] = costed.figures.bare
    progress("side by side", len(ordered), len(ordered))
    able = [s for s in sides if s.cost is not None]
    pairs = list(pairwise(able))
    if len(able) > 2:
        pairs.insert(0, (able[0], able[-1]))
    return CompareSheet(
        job=job.name,
        pieces=sum(len(p.places) or p.count for p in job.parts),
        currency=bench.costing.currency,
        sides=tuple(sides),
        pays=tuple(
            pay_back(large, small, bare=bare, prices=bench.stock.prices, costing=bench.costing)
            for small, large in pairs
            if large.area_m2 > SAME_SIZE * small.area_m2
        ),
        sources=tuple(sorted({key for s in able if s.cost for key in s.cost.sources} | {"rayleigh:1877"})),
    )


def _area(machine: Machine) -> float:
    return machine.platform.width_m * machine.platform.depth_m


def _side(job: Job, costed: Costed, bench: CostBench) -> MachineSide:
    sheet, plates = costed.carry, len(costed.plates)
    work = machine_work(
        job.target.name,
        goods=job.name,
        pieces=_full_pieces(job, bench, plates),
        print_s=sheet.time.to_s / plates,
        layers=sum(costed.plates) / plates,
        hands_s=costed.figures.turnaround_s,
        attempts=costed.figures.attempts.value,
    )
    use, table = bench.costing.machine(job.target.name), bench.costing.table
    floor = None
    if table is not None and use.mass_kg is not None:
        floor = floor_check(table, load_kg=use.mass_kg, settle_s=sheet.advice("body.settle_s").to_value)
    return MachineSide(
        machine=job.target.name, cost=costed.sheet, holds=sheet.holds, area_m2=_area(job.target), work=work, floor=floor
    )


def _full_pieces(job: Job, bench: CostBench, plates: int) -> int:
    """Pieces of this order's mix on a full plate, in the mean; pieces that have their places stay as they are."""
    pieces = sum(len(p.places) or p.count for p in job.parts)
    if any(p.places or p.as_drawn for p in job.parts):
        return max(pieces // plates, 1)
    times = min(FULL_PLATES, MOST_OF_ONE // max(p.count for p in job.parts))
    many = [evolve(p, count=p.count * times) for p in job.parts]
    needed = len(plate_layers(many, bench.parts, machine=job.target))
    return max(pieces * times // max(needed, 1), 1)


MOST_OF_ONE = 10_000
"""As many of one part as a job may hold [-]."""
