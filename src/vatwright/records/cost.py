"""What running the shop costs, and what an order costs.  Money is in the shop's own currency; the rest is SI."""

from __future__ import annotations

from attrs import field, frozen, validators

from vatwright.records.after import AfterPlan, BottlePlan, RoomAir, Span
from vatwright.records.fleet import BreakEven, MachineWork
from vatwright.records.plan import Success
from vatwright.records.sourced import Sourced
from vatwright.records.warmth import WarmUp

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_not_negative = validators.and_(validators.ge(0.0), validators.lt(float("inf")))

STEPS = ("set up", "take off", "wash", "cure", "visit", "finish", "clear a failure")
"""Steps of a person's work: the first four a plate, `visit` a visit, `finish` a piece, the last a failed plate."""


@frozen(kw_only=True)
class MachineUse:
    """What one machine uses and how long its parts last.

    Parameters
    ----------
    name : str
        The machine.
    power_w : Sourced or None
        Mean power while it prints [W].
    film_layers : Sourced or None
        Layers a film lasts.
    screen_s, platform_s, life_s : Sourced or None
        Printing time that a screen, a platform, the whole machine lasts [s].
    mass_kg : float or None
        Its mass with a full vat [kg].
    floor_m2 : float or None
        Floor it takes with its stations [m2].
    """

    name: str
    power_w: Sourced | None = None
    film_layers: Sourced | None = None
    screen_s: Sourced | None = None
    platform_s: Sourced | None = None
    life_s: Sourced | None = None
    mass_kg: float | None = field(default=None, validator=validators.optional(_positive))
    floor_m2: float | None = field(default=None, validator=validators.optional(_positive))


@frozen(kw_only=True)
class MachineTable:
    """What a machine stands on.

    Parameters
    ----------
    stiffness_n_m : Sourced
        Against a push from the side [N/m].
    read : bool
        Whether somebody pushed it; else it is worked out from its legs, which is an upper bound.
    mass_kg : float
        Its own mass [kg].
    carries_kg : float or None
        What it may carry [kg].
    """

    stiffness_n_m: Sourced
    read: bool
    mass_kg: float = field(default=0.0, validator=_not_negative)
    carries_kg: float | None = field(default=None, validator=validators.optional(_positive))


@frozen(kw_only=True)
class Costing:
    """Everything about money and work that no price list holds.

    Parameters
    ----------
    currency : str
        How the shop calls its money; empty where nobody said.
    margin : float or None
        Share that a quote puts on top of the cost [-].
    noticed : float or None
        Share of a run after which a failure is noticed [-]; None means at its end.
    pieces_a_month : float or None
        Pieces like these that the order book holds a month.
    minutes : dict of str to Sourced
        Work by step [s]; one of `STEPS` each.
    machines : tuple of MachineUse
        By name.
    room : RoomAir
        Where and how it is washed and cured.
    table : Table or None
        What the machines stand on.
    """

    currency: str = ""
    margin: float | None = field(default=None, validator=validators.optional(_not_negative))
    noticed: float | None = field(default=None, validator=validators.optional(_positive))
    pieces_a_month: float | None = field(default=None, validator=validators.optional(_positive))
    minutes: dict[str, Sourced] = field(factory=dict)
    machines: tuple[MachineUse, ...] = ()
    room: RoomAir = field(factory=RoomAir)
    table: MachineTable | None = None

    def machine(self, name: str) -> MachineUse:
        """Return what is known of a machine by its name."""
        return next((m for m in self.machines if m.name == name), MachineUse(name=name))


@frozen(kw_only=True)
class Missing:
    """Something a cost needs that nobody has stated.

    Parameters
    ----------
    field : str
        Where it would stand: ``price`` or ``bath_ml`` in the stock; another, a machine's own in the cost file.
    of : str
        Name of the price, or the machine.
    per : tuple of str
        What a price would be for: any of these.
    """

    field: str
    of: str = ""
    per: tuple[str, ...] = ()


@frozen(kw_only=True)
class CostLine:
    """One kind of cost, for the whole order: what it is, from what, its share of retries, and the money."""

    label: str
    what: str
    amount: Span


@frozen(kw_only=True)
class Swing:
    """What one input moves: its name and unit, its range, and the cost a piece at either end of it."""

    name: str
    unit: str
    low: float
    high: float
    cost_low: float
    cost_high: float

    @property
    def width(self) -> float:
        """How far it moves the cost of a piece."""
        return abs(self.cost_high - self.cost_low)


@frozen(kw_only=True)
class FailureCost:
    """What one failed plate costs when it is noticed at a layer: which, its share of the run, when [s], how much."""

    layer: int
    share: float
    at_s: float
    amount: float


@frozen(kw_only=True)
class CostSheet:
    """What an order costs on one machine.

    Parameters
    ----------
    job, machine, resin, currency : str
        Names.
    pieces, plates : int
        Good pieces wanted, plates that succeed.
    success : Success
        Chance that a plate holds.
    attempts : Span
        Plates run for one that holds.
    per_piece, total : Span
        Money.
    quote : Span or None
        Price of a piece with the margin; None where nobody named one.
    lines : tuple of CostLine
        By kind, largest first.
    failures : tuple of FailureCost
        By the layer at which it is noticed.
    swings : tuple of Swing
        What moves it most, first.
    missing : tuple of Missing
        Prices and lives that nobody stated: these costs are left out.
    print_s, hands_s : float
        Printing time of all plates, and a person's time, retries included [s].
    visits : int
        Visits during one run.
    after, bottle
        After the print; the resin.
    assumed : tuple of str
        What was taken for granted.
    cautions, sources : tuple of str
        What to take care of; keys.
    warm_up : WarmUp or None
        Where resin and room are at no temperature that anybody checked, how they come to one.
    """

    job: str
    machine: str
    resin: str
    currency: str
    pieces: int
    plates: int
    success: Success
    attempts: Span
    per_piece: Span
    total: Span
    quote: Span | None
    margin: float | None
    lines: tuple[CostLine, ...]
    failures: tuple[FailureCost, ...]
    swings: tuple[Swing, ...]
    missing: tuple[Missing, ...]
    print_s: float
    hands_s: float
    visits: int
    after: AfterPlan
    bottle: BottlePlan
    assumed: tuple[str, ...]
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
    warm_up: WarmUp | None = None

    @property
    def complete(self) -> bool:
        """Whether every price was there."""
        return not self.missing

    @property
    def priced(self) -> tuple[CostLine, ...]:
        """The kinds of cost that have a price; empty where nobody stated any, and then no amount means anything."""
        return tuple(line for line in self.lines if line.amount.high > 0.0)


@frozen(kw_only=True)
class FloorCheck:
    """Whether the table stands still.

    Parameters
    ----------
    frequency_hz : Span
        Of its sway with the machine on it [Hz].
    calm_s : Span
        Time until a sway has died down to a twentieth [s].
    settle_s : float
        Body settle in which it has to [s].
    still : bool
        Whether the longer end of `calm_s` is within the settle.
    load_kg : float
        Machine on the table [kg].
    carries_kg : float or None
        What it may carry [kg].
    upper_bound : bool
        Worked out from its legs: a real table is softer.
    """

    frequency_hz: Span
    calm_s: Span
    settle_s: float
    still: bool
    load_kg: float
    carries_kg: float | None
    upper_bound: bool


@frozen(kw_only=True)
class MachineSide:
    """One machine's column of a comparison.

    Parameters
    ----------
    machine : str
        Its name.
    cost : CostSheet or None
        None where the order does not go there.
    why_not : str
        Then the reason.
    holds : bool
        Whether the recipe carries with the confidence asked for.
    area_m2 : float
        Its platform [m2].
    work : MachineWork or None
        What a full plate of this order's mix does there; None where the order does not go there.
    floor : FloorCheck or None
        Whether the table stands still; None where nothing is known of it.
    """

    machine: str
    cost: CostSheet | None
    why_not: str = ""
    holds: bool = False
    area_m2: float = 0.0
    work: MachineWork | None = None
    floor: FloorCheck | None = None


@frozen(kw_only=True)
class PayBack:
    """Whether a larger machine pays for itself.

    Parameters
    ----------
    work : BreakEven
        The two machines, and how many of the smaller do the work of one of the larger.
    fixed : float or None
        What the larger costs to have: price, spares, stations [money]; None where a price is missing.
    rent_per_piece : float or None
        Rent of its floor over the pieces of a month [money]; None where floor, rent or order book are not known.
    saves : Span
        What it saves a piece, its own price left out and that rent taken off [money].
    pieces : int or None
        Pieces from which on it has paid; None where it saves nothing or `fixed` is not known.
    pieces_range : tuple of int or None
        The same at the better and the worse end; None where it never pays.
    months : float or None
        At the order book's rate.
    missing : tuple of Missing
        Prices asked for.
    """

    work: BreakEven
    fixed: float | None
    rent_per_piece: float | None
    saves: Span
    pieces: int | None
    pieces_range: tuple[int | None, int | None]
    months: float | None
    missing: tuple[Missing, ...]


@frozen(kw_only=True)
class CompareSheet:
    """The same order on several machines."""

    job: str
    pieces: int
    currency: str
    sides: tuple[MachineSide, ...]
    pays: tuple[PayBack, ...]
    sources: tuple[str, ...] = ()

    @property
    def warm_up(self) -> WarmUp | None:
        """How resin and room come to a temperature that anybody checked: one room serves all machines."""
        return next((s.cost.warm_up for s in self.sides if s.cost is not None), None)
