"""After the print, and the resin before it: what a plan says about bottles, baths, stations, air.  SI throughout."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import field, frozen, validators

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_share = validators.and_(validators.gt(0.0), validators.lt(1.0))


@frozen(kw_only=True)
class Span:
    """A number with its 90 % range."""

    low: float
    value: float
    high: float


@frozen(kw_only=True, eq=False)
class PieceShape:
    """One kind of piece, as far as a station minds.

    Parameters
    ----------
    name : str
        What the job calls it.
    count : int
        How many of it.
    size_m : tuple of float
        Width, depth and height as it was printed [m].
    hull_m : (H, 2) ndarray
        Convex outline seen from above [m].
    volume_m3, surface_m2, pockets_m3 : float
        Of one piece; `pockets_m3` is what its cavities could hold.
    """

    name: str
    count: int
    size_m: tuple[float, float, float]
    hull_m: Floats
    volume_m3: float
    surface_m2: float
    pockets_m3: float = 0.0


@frozen(kw_only=True)
class PieceFit:
    """One kind of piece in one station.

    Parameters
    ----------
    piece, station, kind : str
        Which piece, where, and whether it washes or cures.
    fits : bool
        Whether it goes in.
    how : str
        "as printed", "turned", "lying"; empty where it does not fit.
    covered : bool or None
        Whether the bath covers it; None where nothing is known of a bath or none is wanted.
    at_once : int
        How many go in side by side; 0 where none does.
    need_m3 : float
        Solvent that covers it [m3]; 0 for a station that cures.
    """

    piece: str
    station: str
    kind: str
    fits: bool
    how: str
    covered: bool | None
    at_once: int
    need_m3: float = 0.0


@frozen(kw_only=True)
class BathPlan:
    """What one wash bath goes through.

    Parameters
    ----------
    station, solvent : str
        Names.
    bath_m3 : float
        Solvent in it [m3].
    carried_m3 : Span
        Resin that a plate of pieces carries in [m3].
    after_job : Span
        Share of resin after all plates of this job, in a fresh bath [-].
    limit : Span
        Share of resin at which it is changed [-].
    limit_said : bool
        Whether the shop stated that limit; else it is common practice.
    batches : Span
        Plates that a fresh bath takes before it is changed.
    density_new_kg_m3, density_spent_kg_m3 : float
        What a hydrometer shows in a fresh bath and at the limit [kg/m3].
    second_share : float or None
        Share of resin in a second bath of the same size when the first is changed [-].
    """

    station: str
    solvent: str
    bath_m3: float
    carried_m3: Span
    after_job: Span
    limit: Span
    limit_said: bool
    batches: Span
    density_new_kg_m3: float
    density_spent_kg_m3: float
    second_share: float | None


@frozen(kw_only=True)
class AirLimit:
    """A published limit for a vapour in air: what it is, how much [-], whose (a source's key)."""

    what: str
    fraction: float
    source: str


@frozen(kw_only=True)
class AirPlan:
    """Solvent vapour in the room while the bath stands open.

    Parameters
    ----------
    solvent : str
        Which.
    evaporation_kg_s : Span
        What evaporates [kg/s].
    read : bool
        Whether the shop weighed it; else it is an order of magnitude.
    steady : Span or None
        Steady volume fraction in the room [-]; None where room or air change are not known.
    limits : tuple of AirLimit
        Published ones, and the shop's own first.
    limit : AirLimit
        The one judged by: the shop's own, else the lowest published average.
    fresh_air_m3_s : Span
        Fresh air that keeps below it [m3/s].
    headspace : float
        Volume fraction right over the liquid [-].
    flammable : tuple of AirLimit
        Lower flammable limits by table.
    flash_k : tuple of tuple
        Flash points [K] with their tables' keys.
    room_k : float
        Temperature of the room [K].
    spill : float or None
        Volume fraction when the whole bath is spilled and evaporates in the closed room [-].
    """

    solvent: str
    evaporation_kg_s: Span
    read: bool
    steady: Span | None
    limits: tuple[AirLimit, ...]
    limit: AirLimit
    fresh_air_m3_s: Span
    headspace: float
    flammable: tuple[AirLimit, ...]
    flash_k: tuple[tuple[float, str], ...]
    room_k: float
    spill: float | None


@frozen(kw_only=True)
class CureDose:
    """Light that one cure station gives a face: irradiance x time [J/m2]."""

    station: str
    irradiance_w_m2: float
    time_s: float
    dose_j_m2: float


@frozen(kw_only=True)
class AfterPlan:
    """All of it after the print."""

    fits: tuple[PieceFit, ...] = ()
    baths: tuple[BathPlan, ...] = ()
    air: tuple[AirPlan, ...] = ()
    cure: tuple[CureDose, ...] = ()
    notes: tuple[str, ...] = ()
    cautions: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()


@frozen(kw_only=True)
class BottlePlan:
    """Whether the resin at hand does, and how to have it ready.

    Parameters
    ----------
    resin : str
        Which.
    wanted_m3 : float
        What the whole order uses up: pieces and what clings [m3].
    pour_m3, pool_m3 : float
        For the fullest plate, and what of it must stay in the vat [m3].
    left_m3 : float or None
        In all lots of the shop [m3]; None where it knows of none.
    lots : tuple of tuple
        Name of each lot, what is left of it [m3], and whether it alone fills the vat for the first plate.
    enough : bool or None
        Whether all lots do for the whole order, pool included.
    warm_bottle_s, warm_vat_s : Span or None
        Time until bottle and vat are within a kelvin of the room [s]; None where the store is as warm as the room.
    stir_s : Span
        Time in which pigment sinks a tenth of the pool [s].
    sources : tuple of str
        Keys.
    """

    resin: str
    wanted_m3: float
    pour_m3: float
    pool_m3: float
    left_m3: float | None
    lots: tuple[tuple[str, float, bool], ...]
    enough: bool | None
    warm_bottle_s: Span | None
    warm_vat_s: Span | None
    stir_s: Span
    sources: tuple[str, ...]


@frozen(kw_only=True)
class RoomAir:
    """The room and how the shop washes and cures.

    Parameters
    ----------
    volume_m3 : float or None
        Its air [m3].
    changes_per_s : float or None
        Air changes [1/s].
    limit_fraction : float or None
        The shop's own limit for solvent vapour [-].
    evaporation_kg_s : float or None
        What evaporates from an open bath, weighed [kg/s].
    store_k : float or None
        Temperature at which resin is stored [K].
    bath_limit : float or None
        Share of resin at which the shop changes a bath [-].
    wash_s, cure_s : float or None
        Times the shop has found right [s].
    drip_s : float
        How long a plate drips before it is washed [s].
    """

    volume_m3: float | None = field(default=None, validator=validators.optional(_positive))
    changes_per_s: float | None = field(default=None, validator=validators.optional(_positive))
    limit_fraction: float | None = field(default=None, validator=validators.optional(_positive))
    evaporation_kg_s: float | None = field(default=None, validator=validators.optional(_positive))
    store_k: float | None = field(default=None, validator=validators.optional(_positive))
    bath_limit: float | None = field(default=None, validator=validators.optional(_share))
    wash_s: float | None = field(default=None, validator=validators.optional(_positive))
    cure_s: float | None = field(default=None, validator=validators.optional(_positive))
    drip_s: float = field(default=600.0, validator=_positive)


@frozen(kw_only=True)
class AroundPrint:
    """What stands around a print: the resin before it, and what comes after it."""

    bottle: BottlePlan
    after: AfterPlan
