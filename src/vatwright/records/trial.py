"""A small print made to learn one number: what it is, how to print it, how to read it.  SI throughout."""

from __future__ import annotations

from enum import StrEnum

from attrs import field, frozen, validators

from vatwright.records.machine import Platform, Window
from vatwright.records.process import Settings
from vatwright.records.run import Quantity

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


DETAIL_M = (6.0e-5, 8.5e-5, 1.2e-4, 1.7e-4, 2.4e-4, 3.4e-4)
"""Widths of the walls and gaps of a ladder, its pins twice as thick [m]: each the square root of two times the last."""


class TrialKind(StrEnum):
    """What a trial is made to learn."""

    SETTLE_STEPS = "settle-steps"
    RELEASE_SPAN = "release-span"
    CURE_DEPTH = "cure-depth"
    BASE_BOND = "base-bond"
    LEVEL_CHECK = "level-check"
    DETAIL_LADDER = "detail-ladder"


@frozen(kw_only=True)
class TrialPiece:
    """One thing to read.

    Parameters
    ----------
    label : str
        What it is called on the sheet.
    x_m, y_m : float
        Its middle, from the platform's [m].
    outline_m : float
        Radius of a disc, or half the side of a square, seen from above [m].
    square : bool
        Whether it is a square.
    quantity : Quantity
        What is read of it.
    at : dict of str to float
        Under what, by the names an outcome uses, SI.
    low, middle, high : float
        5 %, 50 % and 95 % of what it is expected to show, SI.
    chance : float or None
        Chance that it comes out whole (release, bond), or past the tolerance (settle) [-]; None where neither is asked.
    """

    label: str
    x_m: float
    y_m: float
    outline_m: float = field(validator=_positive)
    square: bool = False
    quantity: Quantity
    at: dict[str, float] = field(factory=dict)
    low: float
    middle: float
    high: float
    chance: float | None = None


@frozen(kw_only=True)
class TrialUnknown:
    """What the trial tells, and what is believed of it now: 5 %, 50 % and 95 %, in the bench unit named, value in SI."""

    what: str
    unit: str
    low: float
    middle: float
    high: float


@frozen(kw_only=True)
class SharedByHand:
    """A setting that the controller shares between base and body: its two values, SI, and when the second is due.

    Parameters
    ----------
    setting : str
        Its name in the base.
    base, body : float
        Its values, SI.
    layer : int
        From this layer on the body's.
    at_s : float
        When that layer starts [s].
    """

    setting: str
    base: float
    body: float
    layer: int
    at_s: float


@frozen(kw_only=True)
class LightRung:
    """One light of a ladder.

    Parameters
    ----------
    exposure_s : float
        Light of the body's layers [s].
    layer : int or None
        From this layer on; None where it is a print of its own.
    at_s : float
        When that layer starts [s].
    """

    exposure_s: float = field(validator=_positive)
    layer: int | None = None
    at_s: float = 0.0


@frozen(kw_only=True)
class Trial:
    """A trial and its sheet.

    Parameters
    ----------
    kind : TrialKind
        Which.
    name : str
        Name of the job that it is.
    machine, resin, recipe, origin : str
        Names; `origin` is the machine that the recipe was proven on.
    curve_known : bool
        Whether somebody measured how deep the resin cures.
    room_k : float
        Temperature [K].
    platform, window : Platform, Window
        For the picture.
    settings : Settings
        As it is to be printed.
    changed : tuple of str
        Names of the settings that are not as the recipe carried to this machine says.
    pieces : tuple of TrialPiece
        What to read.
    unknowns : tuple of Unknown
        What it tells.
    layers : int
        Layers of the print.
    time_s, resin_m3 : float
        What it costs [s], [m3].
    holds : float or None
        Chance that the trial itself comes out [-]; None where it is made to fail in part.
    by_hand : tuple of SharedByHand
        What a person sets during the run.
    rungs : tuple of LightRung
        The lights of a ladder, the strongest first; empty where there is one light.
    cautions : tuple of str
        What to take care of.
    sources : tuple of str
        Keys of the sources used.
    """

    kind: TrialKind
    name: str
    machine: str
    resin: str
    recipe: str
    origin: str
    curve_known: bool
    room_k: float
    platform: Platform
    window: Window
    settings: Settings
    changed: tuple[str, ...]
    pieces: tuple[TrialPiece, ...]
    unknowns: tuple[TrialUnknown, ...]
    layers: int
    time_s: float
    resin_m3: float
    holds: float | None
    by_hand: tuple[SharedByHand, ...]
    rungs: tuple[LightRung, ...] = ()
    cautions: tuple[str, ...]
    sources: tuple[str, ...]
