"""What a workshop uses up and what stands around its machines: films, screens, lots of resin, stations, prices."""

from __future__ import annotations

from datetime import date

from attrs import field, frozen, validators

from vatwright.errors import InputError
from vatwright.quantities import StationKind as StationKind  # noqa: PLC0414 - part of what a station is
from vatwright.wording import to_say

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_not_negative = validators.and_(validators.ge(0.0), validators.lt(float("inf")))


def _require_order(fitted: date | None, removed: date | None) -> None:
    if fitted is not None and removed is not None and removed < fitted:
        raise InputError.one(
            "removed",
            to_say("{removed} is before it was fitted, on {fitted}", removed=removed, fitted=fitted),
            to_say("Check the two dates"),
        )


@frozen(kw_only=True)
class FittedFilm:
    """One film on one machine, and what it has done.

    Parameters
    ----------
    name : str
        What the shop calls it.
    machine : str
        The machine it is, or was, fitted to.
    material : str
        As on its label; empty where nobody said.
    fitted, removed : date or None
        Days; without `removed` it is still in use.
    layers : int
        Layers it has released so far.
    used_s : float
        Time it has been printing [s].
    """

    name: str
    machine: str
    material: str = ""
    fitted: date | None = None
    removed: date | None = None
    layers: int = field(default=0, validator=validators.ge(0))
    used_s: float = field(default=0.0, validator=_not_negative)

    def __attrs_post_init__(self) -> None:
        _require_order(self.fitted, self.removed)


@frozen(kw_only=True)
class Screen:
    """One screen of one machine, and how long it has been lit.

    Parameters
    ----------
    name : str
        What the shop calls it.
    machine : str
        The machine it is, or was, in.
    fitted, removed : date or None
        Days; without `removed` it is still in use.
    used_s : float
        Time it has been printing [s].
    """

    name: str
    machine: str
    fitted: date | None = None
    removed: date | None = None
    used_s: float = field(default=0.0, validator=_not_negative)

    def __attrs_post_init__(self) -> None:
        _require_order(self.fitted, self.removed)


@frozen(kw_only=True)
class Lot:
    """One lot of a resin, as it was bought.

    Parameters
    ----------
    name : str
        What the shop calls it, for example the number on the bottle.
    resin : str
        Which resin it is.
    left_m3 : float
        How much is left [m3].
    opened, expires : date or None
        Days.
    """

    name: str
    resin: str
    left_m3: float = field(validator=_not_negative)
    opened: date | None = None
    expires: date | None = None


@frozen(kw_only=True)
class OldLot:
    """A lot past its date that still holds resin.

    Parameters
    ----------
    name : str
        What the shop calls it.
    expired : date
        The day it was good until.
    days : int
        How long ago that was [d].
    left_m3 : float
        How much is left [m3].
    only : bool
        Whether no lot of that resin is within its date.
    """

    name: str
    expired: date
    days: int
    left_m3: float
    only: bool


@frozen(kw_only=True)
class Station:
    """A place to wash or to cure.

    Parameters
    ----------
    name : str
        What the shop calls it.
    kind : StationKind
        What it does.
    width_m, depth_m, height_m : float
        What fits into it [m].
    bath_m3 : float or None
        Solvent it holds [m3]; None for one that cures.
    solvent : str
        What is in it; empty where nobody said.
    irradiance_w_m2 : float or None
        Irradiance at the piece [W/m2]; None where nobody read it, or for one that washes.
    """

    name: str
    kind: StationKind
    width_m: float = field(validator=_positive)
    depth_m: float = field(validator=_positive)
    height_m: float = field(validator=_positive)
    bath_m3: float | None = field(default=None, validator=validators.optional(_positive))
    solvent: str = ""
    irradiance_w_m2: float | None = field(default=None, validator=validators.optional(_positive))


@frozen(kw_only=True)
class Price:
    """What something costs.

    Parameters
    ----------
    name : str
        What: a film, a screen, an hour of labour, a kilowatt hour, a litre of solvent.
    amount : float
        In the shop's currency.
    per : str
        For how much of it, such as ``piece``, ``l``, ``kg``, ``h`` or ``kWh``.
    """

    name: str
    amount: float = field(validator=_not_negative)
    per: str = "piece"


@frozen(kw_only=True)
class Stock:
    """Everything of a workshop that wears, runs out or costs money."""

    films: tuple[FittedFilm, ...] = ()
    screens: tuple[Screen, ...] = ()
    lots: tuple[Lot, ...] = ()
    stations: tuple[Station, ...] = ()
    prices: tuple[Price, ...] = ()
