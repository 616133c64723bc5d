"""A plan for an order book: plates, who runs what when, what comes late, and how far from the best it can be."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from attrs import field, frozen, validators

from vatwright.records.machine import Machine
from vatwright.records.orders import OrderBook, PiecesOf
from vatwright.records.part import Place
from vatwright.records.warmth import WarmUp

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class PlacedPiece(NamedTuple):
    """One piece on a plate: whose it is, which part, where it stands, its outlines there (P, 2) [m]."""

    order: str
    part: str
    place: Place
    loops_m: tuple[Floats, ...]


@frozen(kw_only=True, eq=False)
class FleetPlate:
    """One plate.

    Parameters
    ----------
    name : str
        What the plan calls it.
    machine : Machine
        The machine it is laid out for.
    resin : str
        What it is made of.
    pieces : tuple of PlacedPiece
        What stands where.
    layers : int
        Layers of its tallest piece.
    print_s : float
        Time of the run [s].
    settle_s : float
        Body settle it was reckoned with [s].
    visits_s : tuple of float
        When a hand is needed, from the start of the run [s].
    used : float
        Share of the platform under the pieces [-].
    """

    name: str
    machine: Machine
    resin: str
    pieces: tuple[PlacedPiece, ...]
    layers: int
    print_s: float
    settle_s: float
    visits_s: tuple[float, ...] = ()
    used: float = 0.0

    @property
    def counts(self) -> tuple[PiecesOf, ...]:
        """How many of which part of which order."""
        found: dict[tuple[str, str], int] = {}
        for p in self.pieces:
            found[p.order, p.part] = found.get((p.order, p.part), 0) + 1
        return tuple(PiecesOf(order, part, count) for (order, part), count in found.items())


class FleetRun(NamedTuple):
    """One plate on one unit; times from the start of the book [s].

    `start_s` setting up begins, `begin_s` the run begins, `ready_s` it ends, `off_s` the unit is free again, `cured_s`
    the pieces are washed and cured; `changed` tells that the vat gets another resin first, `kept` that it was under way.
    """

    plate: str
    unit: str
    start_s: float
    begin_s: float
    ready_s: float
    off_s: float
    cured_s: float
    visits_s: tuple[float, ...]
    changed: bool
    kept: bool
    pieces: tuple[PiecesOf, ...]


class OrderOutcome(NamedTuple):
    """When an order is complete [s] (None: not in this plan), when it was due, and by how much it is late [s]."""

    order: str
    pieces: int
    done_s: float | None
    due_s: float | None
    late_s: float


@frozen(kw_only=True)
class Bounds:
    """How good the plan is, and how good any could be.

    Parameters
    ----------
    lateness_s, lateness_least_s : float
        Sum over the orders of what each is late, and what no order of these plates can go below [s].
    makespan_s, makespan_least_s : float
        When the last piece is cured, and before when no order of these plates gets there [s].
    any_plates_s : float
        Before when no way of filling plates gets there: area alone, as if pieces could be poured [s].
    changes : int
        Changes of resin.
    proven : bool
        Whether the solver proved that nothing better exists for these plates.
    """

    lateness_s: float
    lateness_least_s: float
    makespan_s: float
    makespan_least_s: float
    any_plates_s: float
    changes: int
    proven: bool

    @property
    def gap(self) -> float:
        """By what share of itself the makespan could at most be shorter [-]."""
        return max(1.0 - self.makespan_least_s / self.makespan_s, 0.0) if self.makespan_s > 0.0 else 0.0


@frozen(kw_only=True)
class MachineWork:
    """What a full plate of one kind of piece, or of one mix, does on a machine, beside the others.

    Parameters
    ----------
    machine, goods : str
        Which machine, which kind of piece.
    pieces : int
        Pieces of the plate.
    print_s : float
        Its time [s].
    layer_s : float
        Mean time of one of its layers [s].
    cycle_s : float
        The plate's time with a person's work at both ends and the failed plates before one holds [s].
    pieces_h : float
        Pieces an hour while somebody is always there [1/h].
    """

    machine: str
    goods: str
    pieces: int = field(validator=validators.gt(0))
    print_s: float = field(validator=validators.gt(0.0))
    layer_s: float = field(validator=validators.gt(0.0))
    cycle_s: float = field(validator=validators.gt(0.0))
    pieces_h: float


@frozen(kw_only=True)
class BreakEven:
    """One machine against another that is smaller.

    Parameters
    ----------
    larger, smaller : str
        Their names.
    area, layer, run, worth : float
        How many times as many pieces a plate takes, how many times as long a layer and a whole cycle last, and how many
        of the smaller machine do the work of one of the larger: `area` over `run` [-].
    pieces : int or None
        Order from which on one of the larger is never behind one of the smaller; None where it never is.
    """

    larger: str
    smaller: str
    area: float
    layer: float
    run: float
    worth: float
    pieces: int | None


@frozen(kw_only=True, eq=False)
class FleetPlan:
    """The plan.

    Parameters
    ----------
    book : OrderBook
        What it is for.
    plates : tuple of FleetPlate
        New plates.
    runs : tuple of FleetRun
        Every run, kept ones included, by start.
    orders : tuple of OrderOutcome
        In the order of the book.
    bounds : Bounds
        How good it is.
    works, break_even : tuple
        What each machine does, and from when on a larger one pays in time.
    now_s : float
        From when on it is planned [s].
    down : tuple of str
        Units that stand still.
    notes : tuple of str
        What to know, a sentence each.
    sources : tuple of str
        Keys of the sources used.
    warm_up : WarmUp or None
        Where the room is at no temperature that anybody checked, how it comes to one.
    """

    book: OrderBook
    plates: tuple[FleetPlate, ...]
    runs: tuple[FleetRun, ...]
    orders: tuple[OrderOutcome, ...]
    bounds: Bounds
    works: tuple[MachineWork, ...] = ()
    break_even: tuple[BreakEven, ...] = ()
    now_s: float = 0.0
    down: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    warm_up: WarmUp | None = None
