"""Why a print failed: what was seen, the causes ranked, and what would tell the first two apart.  SI throughout."""

from __future__ import annotations

from enum import StrEnum

from attrs import field, frozen, validators

from vatwright.records.run import Event, Reading

_share = validators.and_(validators.ge(0.0), validators.le(1.0))


class Cause(StrEnum):
    """What may be behind a failure."""

    UNLEVEL = "unlevel"
    ZERO_OFF = "zero_off"
    ARM_GIVES = "arm_gives"
    RESIN_THICK = "resin_thick"
    LIGHT_DIM = "light_dim"
    RESIN_CURES_LESS = "resin_cures_less"
    FILM_LETS_GO_LATE = "film_lets_go_late"
    SETTLE_SHORT = "settle_short"
    LIGHT_SHORT = "light_short"
    LIFT_SHORT = "lift_short"
    HAND_LATE = "hand_late"
    SETTING_IGNORED = "setting_ignored"
    POCKET_PULLS = "pocket_pulls"
    NOTHING_BENEATH = "nothing_beneath"
    FOOT_SMALL = "foot_small"
    SECTION_SLIM = "section_slim"
    NO_MODEL = "no_model"


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
    """

    events: tuple[Event, ...]
    readings: tuple[Reading, ...] = ()
    settings: dict[str, float] = field(factory=dict)


@frozen(kw_only=True)
class Figure:
    """One number of a cause: as believed before, and as it is where this cause explains what was seen.

    Parameters
    ----------
    what : str
        What it is, in words.
    unit : str
        Bench unit to show it in.
    believed, low, middle, high : float
        Median before; 5 %, 50 % and 95 % where this cause is behind it; SI.
    """

    what: str
    unit: str
    believed: float
    low: float
    middle: float
    high: float


@frozen(kw_only=True)
class Mend:
    """What to do about a cause.

    Parameters
    ----------
    do : str
        In words.
    setting : str
        Setting to change; empty where none would mend it.
    value : float or None
        Its new value, SI.
    minutes : float
        How long doing it takes [min].
    """

    do: str
    setting: str = ""
    value: float | None = None
    minutes: float = 0.0


@frozen(kw_only=True)
class RankedCause:
    """One cause.

    Parameters
    ----------
    cause : Cause
        Which.
    title : str
        In plain words.
    chance : float
        Probability that it is behind what was seen [-].
    margin_believed, margin : float or None
        Capacity over demand at that layer and place: as believed, and where this cause explains it; below 1 fails.
    figures : tuple of Figure
        Its numbers.
    speaks_for, speaks_against : tuple of str
        Evidence, a sentence each.
    mend : Mend
        What to do.
    """

    cause: Cause
    title: str
    chance: float = field(validator=_share)
    margin_believed: float | None
    margin: float | None
    figures: tuple[Figure, ...]
    speaks_for: tuple[str, ...]
    speaks_against: tuple[str, ...]
    mend: Mend


@frozen(kw_only=True)
class TellApart:
    """The one reading that best tells the first two causes apart.

    Parameters
    ----------
    first, second : Cause
        The causes.
    reading : str
        What to do.
    quantity : str
        Its name in an outcome, empty where an outcome has none.
    trial : str
        The trial piece that gives it, empty where none is needed.
    unit : str
        Bench unit of the values.
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

    first: Cause
    second: Cause
    reading: str
    quantity: str
    trial: str
    unit: str
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
    job, machine, resin : str
        Names.
    room_k : float
        Temperature [K].
    observed : Observed
        What was seen.
    where : str
        The layer and place asked about, in words.
    foretold : float
        Chance that a run does just this, before anybody saw it [-].
    causes : tuple of RankedCause
        Likeliest first.
    tell_apart : TellApart or None
        The reading that separates the first two; None where there is none worth taking.
    verdict : str
        The answer in one sentence.
    no_model : tuple of str
        What could be behind it that nothing here describes, a sentence each.
    assumed : tuple of str
        What the answer rests on.
    sources : tuple of str
        Keys of the sources used.
    """

    job: str
    machine: str
    resin: str
    room_k: float
    observed: Observed
    where: str
    foretold: float
    causes: tuple[RankedCause, ...]
    tell_apart: TellApart | None
    verdict: str
    no_model: tuple[str, ...]
    assumed: tuple[str, ...]
    sources: tuple[str, ...]
