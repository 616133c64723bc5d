"""What happened: runs of a job on a machine, what was seen, what was read, and what had been predicted."""

from __future__ import annotations

import math
from datetime import datetime
from enum import StrEnum

from attrs import field, frozen, validators

from vatwright.errors import InputError
from vatwright.records.process import SETTING_NAMES
from vatwright.units import BENCH_UNITS
from vatwright.wording import to_say

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


class Seen(StrEnum):
    """What a person can see of a print that did not come out as meant."""

    BASE_LET_GO = "base_let_go"
    NOT_RELEASED = "not_released"
    LAYER_SPLIT = "layer_split"
    THICK_BAND = "thick_band"
    THIN_BAND = "thin_band"
    STUCK_TO_FILM = "stuck_to_film"
    TORN = "torn"
    LINES = "lines"


KEPT_ONLY = {
    Seen.TORN: "a torn piece is kept, but nothing is learned from it yet: what holds a piece up is not among the unknowns of "
    "runs",
}
"""What is kept in a notebook and nothing is learned from, and why, for the sentence that says so."""


class Quantity(StrEnum):
    """What a person can read, in the bench unit its name ends in."""

    HEIGHT = "height_mm"
    RUN_TIME = "run_time_s"
    FIRST_LAYER = "first_layer_um"
    VISCOSITY = "viscosity_Pa_s"
    IRRADIANCE = "irradiance_mW_cm2"
    CURE_DEPTH = "cure_depth_um"
    PULL = "pull_N"
    STROKE = "stroke_s"
    DEFLECTION = "deflection_um"
    RESIN_TEMPERATURE = "resin_C"
    WALL = "wall_um"
    GAP = "gap_um"
    PIN = "pin_um"


DETAILS = (Quantity.WALL, Quantity.GAP, Quantity.PIN)
"""What a ladder for detail shows: the finest of each that came out."""

CONDITIONS = ("x_mm", "y_mm", "dose_mJ_cm2", "load_N", "distance_mm", "speed_mm_s", "temperature_C", "layer", "z_mm")
"""What may be said about where or under what a reading was taken, in the bench unit the name ends in."""


def reading_unit(name: str) -> str:
    """Return the bench unit that a quantity or a condition is in; a layer has none.

    Examples
    --------
    >>> reading_unit("viscosity_Pa_s"), reading_unit("run_time_s"), reading_unit("resin_C"), reading_unit("layer")
    ('Pa_s', 's', 'C', '')
    """
    endings = [name.split("_", n)[-1] for n in range(1, name.count("_") + 1)]
    return next((ending for ending in endings if ending in BENCH_UNITS or ending == "C"), "")


def _aware(_instance: object, _attribute: object, value: datetime) -> None:
    if value.tzinfo is None:
        raise InputError.one("at", to_say("has no time zone"), to_say("Add one, for example 2026-03-01T18:30:00+01:00"))


def _finite_values(_instance: object, attribute: object, value: dict[str, float]) -> None:
    for name, number in value.items():
        if not math.isfinite(number):
            where = f"{getattr(attribute, 'name', 'value')}.{name}"
            raise InputError.one(
                where, to_say("must be a finite number, got {number}", number=number), to_say("Check the value")
            )


@frozen(kw_only=True)
class Event:
    """Something seen.

    Parameters
    ----------
    what : Seen
        What.
    layer : int or None
        At which layer, from 0, where it can be told.
    x_m, y_m : float or None
        Where on the platform, from its centre [m], where it can be told.
    """

    what: Seen
    layer: int | None = field(default=None, validator=validators.optional(validators.ge(0)))
    x_m: float | None = None
    y_m: float | None = None


@frozen(kw_only=True)
class Reading:
    """Something read.

    Parameters
    ----------
    quantity : Quantity
        What.
    value, sigma : float
        Value and standard uncertainty, both in SI.
    at : dict of str to float
        Under what, by the names of `CONDITIONS`, in SI.
    """

    quantity: Quantity
    value: float = field(validator=validators.and_(validators.gt(-1.0e12), validators.lt(1.0e12)))
    sigma: float = field(validator=_positive)
    at: dict[str, float] = field(factory=dict, validator=_finite_values)


@frozen(kw_only=True)
class SetByHand:
    """A settle that a hand really set while the machine ran.

    Parameters
    ----------
    layer : int
        The first layer that had it, from 0.
    settle_s : float
        The settle [s].
    """

    layer: int = field(validator=validators.ge(0))
    settle_s: float = field(validator=validators.and_(validators.ge(0.0), validators.lt(1.0e6)))


@frozen(kw_only=True)
class Prediction:
    """What was predicted before the run, kept to be held against what happened.

    Parameters
    ----------
    chance_low, chance, chance_high : float
        Chance that it holds and its 90 % range [-].
    run_time_s : float
        Time of the run [s].
    first_layer_m : float
        Thickness of the first layer, median [m].
    release : str
        Version of the program that said so.
    """

    chance_low: float
    chance: float = field(validator=validators.and_(validators.ge(0.0), validators.le(1.0)))
    chance_high: float
    run_time_s: float
    first_layer_m: float
    release: str = ""


@frozen(kw_only=True)
class RunOutcome:
    """One run of a job: what was set, what was seen and read.

    Parameters
    ----------
    run : str
        Free name, unique in a notebook.
    at : datetime
        When, with its time zone.
    job, recipe, machine, resin : str
        Names.
    room_k : float
        Temperature [K].
    held : bool
        Whether the print came out as meant.
    settings : dict of str to float
        As printed, by setting name, in SI; absent ones were as the recipe carried says.
    hands : tuple of SetByHand
        What hands really set while it ran, in order of layers; empty where they did as advised, or nobody watched.
    events, readings : tuple
        What was seen and read.
    prediction : Prediction or None
        What had been said before.
    film, screen, lot : str
        Which film, screen and resin lot were in use, by the names the shop gave them; empty where not said.
    photos : tuple of str
        Paths or addresses of pictures; the notebook keeps the reference, not the picture.
    note : str
        Free words.
    """

    run: str = field(validator=validators.min_len(1))
    at: datetime = field(validator=_aware)
    job: str
    recipe: str
    machine: str
    resin: str
    room_k: float = field(validator=_positive)
    held: bool
    settings: dict[str, float] = field(factory=dict, validator=_finite_values)
    hands: tuple[SetByHand, ...] = ()
    events: tuple[Event, ...] = ()
    readings: tuple[Reading, ...] = ()
    prediction: Prediction | None = None
    film: str = ""
    screen: str = ""
    lot: str = ""
    photos: tuple[str, ...] = ()
    note: str = ""

    def __attrs_post_init__(self) -> None:
        unknown = [name for name in self.settings if name not in SETTING_NAMES]
        if unknown:
            raise InputError.one(
                f"settings.{unknown[0]}",
                to_say("is not a setting of a recipe"),
                "Use one of: " + ", ".join(SETTING_NAMES),
            )
