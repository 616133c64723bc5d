"""An order book: what is wanted by when, on which machines, and when somebody is there to start and to unload."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import NamedTuple

from attrs import field, frozen, validators

from vatwright.records.machine import Machine
from vatwright.records.material import Resin
from vatwright.records.part import PartUse
from vatwright.records.process import Recipe
from vatwright.records.stock import Station

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_not_negative = validators.and_(validators.ge(0.0), validators.lt(float("inf")))


class Shift(NamedTuple):
    """A time in which somebody is there, from the start of the book [s]."""

    from_s: float
    to_s: float


@frozen(kw_only=True)
class Handling:
    """How long a person or a station is busy with one plate; engineering estimates, no source, meant to be replaced.

    Parameters
    ----------
    setup_s : float
        Pour, look, start [s].
    unload_s : float
        Take off, hand over to the wash [s].
    visit_s : float
        One change by hand during a run [s].
    change_s : float
        Empty and clean a vat, fill another resin [s].
    wash_s, cure_s : float
        One load of a station [s].
    """

    setup_s: float = field(default=600.0, validator=_positive)
    unload_s: float = field(default=600.0, validator=_positive)
    visit_s: float = field(default=120.0, validator=_positive)
    change_s: float = field(default=1800.0, validator=_not_negative)
    wash_s: float = field(default=600.0, validator=_positive)
    cure_s: float = field(default=900.0, validator=_positive)


@frozen(kw_only=True)
class Unit:
    """One machine that stands in the shop; several may be alike.

    Parameters
    ----------
    name : str
        What the plan calls it.
    machine : Machine
        What it is.
    loaded : str
        Resin in its vat when the book starts; empty where it is clean.
    """

    name: str
    machine: Machine
    loaded: str = ""


@frozen(kw_only=True)
class Order:
    """One order.

    Parameters
    ----------
    name : str
        What the plan calls it.
    due_s : float or None
        When it must be cured, from the start of the book [s]; None for whenever.
    parts : tuple of PartUse
        Its pieces.
    machines : tuple of str
        Machines that may make it, by the name of the machine, not of the unit; empty for all.
    recipe : Recipe
        The proven recipe to carry.
    resin_from, resin : Resin
        The resin of the recipe and that of this order.
    """

    name: str
    due_s: float | None = None
    parts: tuple[PartUse, ...] = field(validator=validators.min_len(1))
    machines: tuple[str, ...] = ()
    recipe: Recipe
    resin_from: Resin
    resin: Resin


@frozen(kw_only=True)
class OrderBook:
    """All orders, and what there is to make them.

    Parameters
    ----------
    name : str
        What the plan is headed with.
    starts : datetime
        When the first machine may start, with its zone.
    room_k : float
        Temperature of the room [K].
    orders : tuple of Order
        What is wanted.
    units : tuple of Unit
        The machines.
    origins : tuple of Machine
        Machines of the shop, for the recipes proven on them.
    shifts : tuple of Shift
        When somebody is there, in order, without overlap.
    persons : int
        How many at a time.
    stations : tuple of Station
        To wash and to cure in; a kind nobody named does not hold anything up.
    handling : Handling
        How long things take by hand.
    clearance_m, margin_m : float
        Distance to keep between pieces and to the platform's edge [m].
    confidence : float
        Share of what is not known that the settings must cover [-].
    visits : int
        How often a person can act on one run.
    """

    name: str
    starts: datetime
    room_k: float = field(validator=_positive)
    orders: tuple[Order, ...] = field(validator=validators.min_len(1))
    units: tuple[Unit, ...] = field(validator=validators.min_len(1))
    origins: tuple[Machine, ...] = ()
    shifts: tuple[Shift, ...] = field(validator=validators.min_len(1))
    persons: int = field(default=1, validator=validators.and_(validators.ge(1), validators.le(100)))
    stations: tuple[Station, ...] = ()
    handling: Handling = Handling()
    clearance_m: float = field(default=0.002, validator=_not_negative)
    margin_m: float = field(default=0.003, validator=_not_negative)
    confidence: float = field(default=0.9, validator=validators.and_(validators.ge(0.5), validators.le(0.999)))
    visits: int = field(default=3, validator=validators.and_(validators.ge(0), validators.le(20)))

    @property
    def machines(self) -> tuple[Machine, ...]:
        """The different machines among the units, in order."""
        return tuple({u.machine.name: u.machine for u in self.units}.values())

    def at(self, seconds: float) -> datetime:
        """Return the moment so many seconds after the start."""
        return self.starts + timedelta(seconds=round(seconds))


class PiecesOf(NamedTuple):
    """Some pieces of one part of one order."""

    order: str
    part: str
    pieces: int


class PastRun(NamedTuple):
    """A run of an earlier plan: its plate, unit, pieces, and when it was to start, to be ready, off and cured [s]."""

    plate: str
    unit: str
    pieces: tuple[PiecesOf, ...]
    start_s: float
    ready_s: float
    off_s: float
    cured_s: float


@frozen(kw_only=True)
class Past:
    """What has happened since a plan was made.

    Parameters
    ----------
    now_s : float
        Now, from the start of the book [s].
    runs : tuple of PastRun
        The runs of that plan.
    failed : tuple of str
        Plates that failed, of those that were started.
    down : tuple of str
        Units that have stopped and stay so.
    """

    now_s: float = field(default=0.0, validator=_not_negative)
    runs: tuple[PastRun, ...] = ()
    failed: tuple[str, ...] = ()
    down: tuple[str, ...] = ()
