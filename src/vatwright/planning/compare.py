"""The same order on several machines, and whether a larger one pays for itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from vatwright.planning.cost import break_even, price_of
from vatwright.records.after import Span
from vatwright.records.cost import Costing, MachineSide, PayBack

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.stock import Price

FIXED = ("machine", "spares", "stations")
"""What having a machine costs, by the names of its prices: ``machine, NAME``, ``spares, NAME``, ``stations, NAME``."""

EQUAL = 0.03
"""Costs and times nearer than this are called equal [-]; engineering estimate: far inside their ranges."""


@frozen(kw_only=True)
class FullPlate:
    """What a full plate of an order's mix does on one machine: pieces on it, its run [s], a person's work a plate [s]."""

    pieces: int
    run_s: float
    hands_s: float
    attempts: float

    @property
    def per_h(self) -> float:
        """Good pieces an hour while somebody is always there [1/h]."""
        return self.pieces / (self.attempts * (self.run_s + self.hands_s) / 3600.0)


def pay_back(
    larger: MachineSide,
    smaller: MachineSide,
    *,
    bare: dict[str, Span],
    prices: Sequence[Price],
    costing: Costing,
) -> PayBack:
    """Return whether the larger of two machines pays for itself on orders like this one.

    Parameters
    ----------
    larger, smaller : MachineSide
        Both with a cost.
    bare : dict of str to Span
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
    fixed, missing = _fixed(larger.machine, prices)
    one, other = bare[smaller.machine], bare[larger.machine]
    saves = Span(low=one.low - other.high, value=one.value - other.value, high=one.high - other.low)
    needed = [None if fixed is None else break_even(fixed=fixed, price=s, unit_cost=0.0) for s in (saves.high, saves.value, saves.low)]
    months = None
    if needed[1] is not None and costing.pieces_a_month is not None:
        months = needed[1] / costing.pieces_a_month
    return PayBack(
        larger=larger.machine,
        smaller=smaller.machine,
        worth=larger.full_h / smaller.full_h,
        plate=larger.full_pieces / smaller.full_pieces,
        slower=larger.layer_s / smaller.layer_s,
        fixed=fixed,
        saves=saves,
        pieces=needed[1],
        pieces_range=(needed[0], needed[2]),
        months=months,
        missing=missing,
    )


def _fixed(machine: str, prices: Sequence[Price]) -> tuple[float | None, tuple[str, ...]]:
    """What a machine costs to have; spares and stations that have no price are named but not waited for."""
    found = {kind: price_of(prices, f"{kind}, {machine}", "piece") for kind in FIXED}
    missing = tuple(f'price "{kind}, {machine}", per piece' for kind, amount in found.items() if amount is None)
    if found["machine"] is None:
        return None, missing
    return sum(amount or 0.0 for amount in found.values()), missing


def verdict(sides: Sequence[MachineSide]) -> str:
    """Return in a sentence which machine to take.

    Parameters
    ----------
    sides : sequence of MachineSide
        The machines.

    Returns
    -------
    str
        The cheapest that holds, and the fastest where that is another.
    """
    able = [s for s in sides if s.cost is not None]
    sure = [s for s in able if s.holds]
    if not able:
        return "None of these machines takes this order."
    pool = sure or able
    costs = {s.machine: s.cost.per_piece.value for s in pool if s.cost is not None}
    times = {s.machine: s.cost.print_s for s in pool if s.cost is not None}
    cheap, fast = min(costs, key=lambda m: costs[m]), min(times, key=lambda m: times[m])
    doubt = "" if sure else " No machine carries it with the confidence asked for: measure first."
    open_ = any(s.cost is not None and s.cost.missing for s in pool)
    by = "by the prices that are there" if open_ else "a piece"
    if cheap == fast or times[cheap] <= times[fast] * (1.0 + EQUAL):
        return f"{cheap}: the cheapest {by}, and none prints the order sooner.{doubt}"
    if costs[fast] <= costs[cheap] * (1.0 + EQUAL):
        return f"{fast}: it prints the order soonest, and none is much cheaper {by}.{doubt}"
    return f"{cheap} is the cheapest {by}; {fast} prints the order soonest.{doubt}"
