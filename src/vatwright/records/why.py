"""Why a print failed: what was seen, the causes ranked, and what would tell the first two apart.  SI throughout."""

from __future__ import annotations

from enum import StrEnum

from attrs import field, frozen, validators

from vatwright.records.machine import Platform
from vatwright.records.run import Event, Quantity, Reading, SetByHand

_share = validators.and_(validators.ge(0.0), validators.le(1.0))


class Speaks(StrEnum):
    """Why something speaks for a cause, or against it."""

    MENDED = "mended"
    LIKELIER = "likelier"
    UNLIKELIER = "unlikelier"
    NOBODY_READ = "nobody_read"
    SOMEBODY_READ = "somebody_read"
    NOT_MEASURED = "not_measured"
    FROM_ELSEWHERE = "from_elsewhere"
    NOTHING_BENEATH = "nothing_beneath"
    MACHINE_HELD = "machine_held"
    RESIN_HELD = "resin_held"
    READING = "reading"
    NOTHING_ELSE = "nothing_else"
    HAND_EARLY = "hand_early"
    HAND_LATE = "hand_late"
    HAND_OTHERWISE = "hand_otherwise"


class Mending(StrEnum):
    """What a mend changes."""

    NOTHING_SET = "nothing_set"
    MORE_LIGHT = "more_light"
    LIGHT_DOES = "light_does"
    LIGHT_IS_NO_CURE = "light_is_no_cure"
    LONGER_SETTLE = "longer_settle"
    SETTLE_DOES = "settle_does"
    SETTLE_ALONE_FAILS = "settle_alone_fails"
    SETTLE_BEFORE = "settle_before"
    MORE_LIFT = "more_lift"
    RISE_SLOWER = "rise_slower"


@frozen(kw_only=True)
class Observed:
    """What somebody saw and read of one run.

    Parameters
    ----------
    events : tuple of Event
        What was seen.
    readings : tuple of Reading
        What was read; a height alone counts as something seen.
    settings : dict of str to float
        As printed, by setting name, SI; absent ones were as the carry sheet says.
    hands : tuple of SetByHand
        Settles that hands really set, where the bench watched; empty where nobody knows.
    """

    events: tuple[Event, ...]
    readings: tuple[Reading, ...] = ()
    settings: dict[str, float] = field(factory=dict)
    hands: tuple[SetByHand, ...] = ()


@frozen(kw_only=True)
class CauseFigure:
    """One number of a cause: as believed before, and as it is where this cause explains what was seen.

    Parameters
    ----------
    what : str
        Which number.
    unit : str
        Bench unit to show it in.
    believed, low, middle, high : float
        Median before; 5 %, 50 % and 95 % where this cause is behind it; SI.
    layer : int
        The layer it is of.
    x_m, y_m : float
        The place it is of, from the platform's centre [m].
    """

    what: str
    unit: str
    believed: float
    low: float
    middle: float
    high: float
    layer: int
    x_m: float
    y_m: float


@frozen(kw_only=True)
class Evidence:
    """What speaks for a cause or against it.

    Parameters
    ----------
    code : Speaks
        In which way.
    of : str
        The quantity read, or whose kind of value it is; empty where that is plain.
    numbers : dict of str to float
        By names that carry their SI unit.
    """

    code: Speaks
    of: str = ""
    numbers: dict[str, float] = field(factory=dict)


@frozen(kw_only=True)
class Remedy:
    """What to do about a cause, after its own first step.

    Parameters
    ----------
    way : Mending
        What is changed.
    setting : str
        The setting it is about; empty where none is.
    now, value : float or None
        That setting as printed and as it should be, SI; no value where none mends it.
    layer : int
        The layer that it is for.
    minutes : float
        How long doing it takes [min].
    """

    way: Mending = Mending.NOTHING_SET
    setting: str = ""
    now: float | None = None
    value: float | None = None
    layer: int = 0
    minutes: float = 0.0


@frozen(kw_only=True)
class RankedCause:
    """One cause.

    Parameters
    ----------
    cause : str
        Which, by its name in :mod:`vatwright.planning.why.causes`.
    chance : float
        Probability that it is behind what was seen [-].
    margin_believed, margin : float or None
        Capacity over demand at that layer and place: as believed, and where this cause explains it; below 1 fails.
    layer : int
        The layer asked about.
    area_times : float
        The area of that layer over the one before it [-].
    figure : Figure or None
        Its number.
    speaks_for, speaks_against : tuple of Evidence
        Evidence.
    mend : Mend
        What to do.
    """

    cause: str
    chance: float = field(validator=_share)
    margin_believed: float | None = None
    margin: float | None = None
    layer: int = 0
    area_times: float = 1.0
    figure: CauseFigure | None = None
    speaks_for: tuple[Evidence, ...] = ()
    speaks_against: tuple[Evidence, ...] = ()
    mend: Remedy


@frozen(kw_only=True)
class TellApart:
    """The one reading that best tells the first two causes apart.

    Parameters
    ----------
    first, second : str
        The causes.
    reading : str
        Which reading, by its name in :mod:`vatwright.planning.why.tell`.
    quantity : str
        Its name in an outcome, empty where an outcome has none.
    trial : str
        The trial piece that gives it, empty where none is needed.
    unit : str
        Bench unit of the values.
    x_m, y_m : float
        Where a reading of one place is taken, from the platform's centre [m].
    if_first, if_second : float
        Middle of what it would show in either case, SI.
    tip : float or None
        The value at which the verdict tips, SI; None where both would show about the same middle.
    minutes : float
        How long it takes [min].
    information : float
        Share of the doubt between the two that it is expected to remove [-].
    sure_first, sure_second : float
        How sure of that cause the reading would leave one, on average, where it is the right one [-].
    """

    first: str
    second: str
    reading: str
    quantity: str
    trial: str
    unit: str
    x_m: float
    y_m: float
    if_first: float
    if_second: float
    tip: float | None
    minutes: float
    information: float = field(validator=_share)
    sure_first: float = field(validator=_share)
    sure_second: float = field(validator=_share)


@frozen(kw_only=True)
class WhySheet:
    """The whole answer.

    Parameters
    ----------
    job, machine, origin, resin : str
        Names; `origin` is the machine that the recipe was proven on.
    platform : Platform
        The platform it ran on.
    room_k, layer_m : float
        Temperature of the room [K], thickness of a layer [m].
    observed : Observed
        What was seen.
    foretold : float
        Chance that a run does just this, before anybody saw it [-].
    causes : tuple of RankedCause
        Likeliest first.
    tell_apart : TellApart or None
        The reading that separates the first two; None where there is none worth taking.
    often : dict of str to float
        Share of runs in which each cause is taken to be not as the records say [-].
    unused : tuple of Quantity
        Readings that nothing here foretells.
    hanging_known : bool
        Whether it is known what hangs on what.
    sources : tuple of str
        Keys of the sources used.
    """

    job: str
    machine: str
    origin: str
    resin: str
    platform: Platform
    room_k: float
    layer_m: float
    observed: Observed
    foretold: float
    causes: tuple[RankedCause, ...]
    tell_apart: TellApart | None
    often: dict[str, float]
    unused: tuple[Quantity, ...]
    hanging_known: bool
    sources: tuple[str, ...]
