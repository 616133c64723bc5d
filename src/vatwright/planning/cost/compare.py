"""The same order on several machines, and whether a larger one pays for itself."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.planning.cost.cost import BareCost, price_of
from vatwright.planning.cost.failures import break_even
from vatwright.planning.fleet.plate_time import break_even as work_of_both
from vatwright.records.after import Span
from vatwright.records.cost import Costing, MachineSide, Missing, PayBack

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from vatwright.records.stock import Price

FIXED = ("machine", "spares", "stations")
"""What having a machine costs, by the names of its prices: ``machine, NAME``, ``spares, NAME``, ``stations, NAME``."""


def pay_back(
    larger: MachineSide,
    smaller: MachineSide,
    *,
    bare: Mapping[str, BareCost],
    prices: Sequence[Price],
    costing: Costing,
) -> PayBack:
    """Return whether the larger of two machines pays for itself on orders like this one.

    Parameters
    ----------
    larger, smaller : MachineSide
        Both with a cost.
    bare : mapping of str to BareCost
        By machine, the cost of a piece without the machine's own price [money].
    prices : sequence of Price
        The shop's.
    costing : Costing
        For the order book's rate.

    Returns
    -------
    PayBack
        Pieces and months until it has earned its price, or what is missing to say so.

    Notes
    -----
    The larger is bought beside the smaller that is there: all of what it costs to have has to come from what it saves a
    piece.  What it earns by doing more in a month is not counted; `worth` says how much more that is.
    """
    if larger.work is None or smaller.work is None:
        raise ValueError("both machines take the order where they are compared")
    fixed, missing = _fixed(larger.machine, prices)
    rent = _rent(larger.machine, prices, costing)
    saves = saved(bare[smaller.machine], bare[larger.machine], rent=rent or 0.0)
    ends = (saves.high, saves.value, saves.low)
    needed = [None if fixed is None else break_even(fixed=fixed, price=s, unit_cost=0.0) for s in ends]
    months = None
    if needed[1] is not None and costing.pieces_a_month is not None:
        months = needed[1] / costing.pieces_a_month
    return PayBack(
        work=work_of_both(larger.work, smaller.work),
        fixed=fixed,
        rent_per_piece=rent,
        saves=saves,
        pieces=needed[1],
        pieces_range=(needed[0], needed[2]),
        months=months,
        missing=missing,
    )


def saved(smaller: BareCost, larger: BareCost, *, rent: float = 0.0) -> Span:
    """Return what a piece costs less on the larger machine, with its range.

    Parameters
    ----------
    smaller, larger : BareCost
        Cost of a piece on both [money].
    rent : float
        Rent of the larger machine's floor over a piece [money].

    Returns
    -------
    Span
        The difference [money]; below 0 it costs more there.

    Notes
    -----
    A person works equally fast at both machines, so the minutes of a step are off in the same way on both; all other
    inputs are taken as independent.
    """
    middle = smaller.value - larger.value
    below = above = 0.0
    for ends in _ends(smaller, larger):
        below += (middle - min(*ends, middle)) ** 2
        above += (max(*ends, middle) - middle) ** 2
    middle -= rent
    return Span(low=middle - math.sqrt(below), value=middle, high=middle + math.sqrt(above))


def _rent(machine: str, prices: Sequence[Price], costing: Costing) -> float | None:
    """Rent of a machine's floor over the pieces of a month, where all of it is known: price ``floor`` per ``m2 month``."""
    rent, floor_m2 = price_of(prices, "floor", "m2 month"), costing.machine(machine).floor_m2
    if rent is None or floor_m2 is None or costing.pieces_a_month is None:
        return None
    return rent * floor_m2 / costing.pieces_a_month


def _ends(smaller: BareCost, larger: BareCost) -> Iterator[tuple[float, float]]:
    """The difference with one input at either end; minutes of work move on both machines at once."""
    for name in {**smaller.ends, **larger.ends}:
        one, other = smaller.ends.get(name), larger.ends.get(name)
        if name.startswith("work: ") and one and other:
            yield one[0] - other[0], one[1] - other[1]
            continue
        if one:
            yield one[0] - larger.value, one[1] - larger.value
        if other:
            yield smaller.value - other[0], smaller.value - other[1]


def _fixed(machine: str, prices: Sequence[Price]) -> tuple[float | None, tuple[Missing, ...]]:
    """What a machine costs to have; spares and stations that have no price are named but not waited for."""
    found = {kind: price_of(prices, f"{kind}, {machine}", "piece") for kind in FIXED}
    missing = tuple(
        Missing(field="price", of=f"{kind}, {machine}", per=("piece",))
        for kind, amount in found.items()
        if amount is None
    )
    if found["machine"] is None:
        return None, missing
    return sum(amount or 0.0 for amount in found.values()), missing
