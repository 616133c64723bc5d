"""Resin before the print: whether the lots at hand do, how long a cold bottle warms, when to stir."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.physics.viscosity import sinking_speed
from vatwright.physics.warming import slab_time_constant, warming_time
from vatwright.records.after import BottlePlan, Span
from vatwright.records.stock import OldLot

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import date

    from vatwright.records.machine import Vat
    from vatwright.records.plan import ResinNeed
    from vatwright.records.stock import Lot

HEAT_CAPACITY_J_KG_K = 1900.0
"""Specific heat capacity of liquid acrylates [J/(kg K)]: 1.7-2.1 kJ/(kg K), from memory."""

CONDUCTIVITY_W_M_K = 0.2
"""Thermal conductivity of liquid acrylates [W/(m K)]: 0.15-0.25, from memory."""

STILL_AIR_W_M2_K = Span(low=5.0, value=10.0, high=15.0)
"""Still air and radiation together on a bottle or a vat [W/(m2 K)]; from memory, tables of free convection give 2-25."""

BOTTLE_M = 0.017
"""Volume over surface of a bottle of a litre, 80 mm across and 200 mm tall [m]; geometry."""

NEAR_K = 1.0
"""How near to the room counts as warm [K]; engineering estimate: a kelvin changes viscosity by some 5 %."""

PIGMENT_M = Span(low=2e-6, value=5e-6, high=10e-6)
"""Diameter of pigment clumps [m]; engineering estimate, no source."""

PIGMENT_EXCESS_KG_M3 = 2900.0
"""Density of a heavy pigment (titanium dioxide, 4.0 g/cm3) less that of resin [kg/m3]; from memory."""

PIGMENT_SHARE = 0.02
"""Volume fraction of pigment [-]; engineering estimate, no source."""

SUNK = 0.1
"""Share of the pool through which pigment may sink before it is stirred [-]; engineering estimate, no source."""

SOURCES = ("estimate:vatwright", "incropera:2007", "memory:vatwright", "richardson:1954", "stokes:1851")


def bottle_plan(
    need: ResinNeed,
    lots: Sequence[Lot],
    *,
    resin: str,
    vat: Vat,
    wanted_m3: float,
    viscosity_pa_s: float,
    density_kg_m3: float,
    room_k: float,
    store_k: float | None,
) -> BottlePlan:
    """Return whether the resin at hand does for an order on one machine, and how to have it ready.

    Parameters
    ----------
    need : ResinNeed
        For the fullest plate on this machine.
    lots : sequence of Lot
        Every lot of the shop.
    resin : str
        The one wanted.
    vat : Vat
        Of the machine.
    wanted_m3 : float
        What the whole order uses up [m3].
    viscosity_pa_s, density_kg_m3 : float
        At the room's temperature [Pa s], [kg/m3].
    room_k : float
        Of the room [K].
    store_k : float or None
        Of the store [K]; None where it is the room.

    Returns
    -------
    BottlePlan
        Lots, warm-up, when to stir.

    Notes
    -----
    The pool stays in the vat and comes back into the bottle; it is needed all the same.
    """
    mine = [lot for lot in lots if lot.resin == resin]
    left = sum(lot.left_m3 for lot in mine)
    pool_depth_m = need.pool_m3 / (vat.width_m * vat.depth_m)
    warming = {"density_kg_m3": density_kg_m3, "start_k": store_k or room_k, "air_k": room_k}
    cold = store_k is not None and abs(room_k - store_k) > NEAR_K
    stir = [SUNK * pool_depth_m / _sinking(d, viscosity_pa_s) for d in (PIGMENT_M.high, PIGMENT_M.value, PIGMENT_M.low)]
    return BottlePlan(
        resin=resin,
        wanted_m3=wanted_m3,
        pour_m3=need.pour_m3,
        pool_m3=need.pool_m3,
        left_m3=left if mine else None,
        lots=tuple((lot.name, lot.left_m3, lot.left_m3 >= need.pour_m3) for lot in mine),
        enough=left >= wanted_m3 + need.pool_m3 if mine else None,
        warm_bottle_s=near_after(BOTTLE_M, **warming) if cold else None,
        warm_vat_s=near_after(pool_depth_m, **warming) if cold else None,
        stir_s=Span(low=stir[0], value=stir[1], high=stir[2]),
        sources=SOURCES,
    )


def old_lots(lots: Sequence[Lot], *, resin: str, today: date) -> tuple[OldLot, ...]:
    """Return the lots of a resin that are past their date and not empty, the oldest first.

    Parameters
    ----------
    lots : sequence of Lot
        Every lot of the shop; one without a date is taken to be within it.
    resin : str
        The one wanted.
    today : date
        The day.
    """
    mine = [lot for lot in lots if lot.resin == resin and lot.left_m3 > 0.0]
    old = [(lot.expires, lot) for lot in mine if lot.expires is not None and lot.expires < today]
    return tuple(
        OldLot(name=lot.name, expired=day, days=(today - day).days, left_m3=lot.left_m3, only=len(old) == len(mine))
        for day, lot in sorted(old, key=lambda pair: pair[0])
    )


def _sinking(diameter_m: float, viscosity_pa_s: float) -> float:
    return sinking_speed(
        diameter_m=diameter_m, density_difference_kg_m3=PIGMENT_EXCESS_KG_M3, viscosity_pa_s=viscosity_pa_s,
        volume_fraction=PIGMENT_SHARE,
    )  # fmt: skip


def near_after(thickness_m: float, *, density_kg_m3: float, start_k: float, air_k: float) -> Span:
    """Return the time until resting resin is within a kelvin of the air around it, by the better to the worse coefficient.

    Parameters
    ----------
    thickness_m : float
        Depth of the pool, or volume over surface of the bottle [m].
    density_kg_m3 : float
        Its density [kg/m3].
    start_k, air_k : float
        Its temperature and that of the air [K].
    """
    wanted = air_k - NEAR_K if air_k > start_k else air_k + NEAR_K
    low, value, high = (
        warming_time(start_k=start_k, air_k=air_k, wanted_k=wanted, time_constant_s=tau)
        for tau in time_constants(thickness_m, density_kg_m3, STILL_AIR_W_M2_K)
    )
    return Span(low=low, value=value, high=high)


def time_constants(thickness_m: float, density_kg_m3: float, coefficient_w_m2_k: Span) -> tuple[float, float, float]:
    """Return the time constants of resting resin from the best to the worst heat transfer [s]."""
    best, middling, worst = (
        slab_time_constant(
            density_kg_m3=density_kg_m3, heat_capacity_j_kg_k=HEAT_CAPACITY_J_KG_K, thickness_m=thickness_m,
            conductivity_w_m_k=CONDUCTIVITY_W_M_K, coefficient_w_m2_k=h,
        )
        for h in (coefficient_w_m2_k.high, coefficient_w_m2_k.value, coefficient_w_m2_k.low)
    )  # fmt: skip
    return best, middling, worst
