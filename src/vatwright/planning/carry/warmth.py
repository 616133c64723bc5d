"""Resin too cold or too warm for anything here to hold: no chance is told, and how it comes back inside."""

from __future__ import annotations

from attrs import astuple

from vatwright.errors import WillNotWork
from vatwright.physics.warming import warmed_temperature, warming_time
from vatwright.planning.after.bottle import BOTTLE_M, NEAR_K, STILL_AIR_W_M2_K, near_after, time_constants
from vatwright.records.after import Span
from vatwright.records.machine import WARMING_S, Machine
from vatwright.records.plan import Success
from vatwright.records.warmth import RunWarmth, WarmUp
from vatwright.units import ZERO_CELSIUS_K
from vatwright.wording import to_say

LEAST_K, MOST_K = ZERO_CELSIUS_K + 15.0, ZERO_CELSIUS_K + 40.0
"""Resin between these temperatures is what practice and the models know [K]; common practice, no source."""

AIM_K = (ZERO_CELSIUS_K + 20.0, ZERO_CELSIUS_K + 30.0)
"""Where the proven run's temperature leaves these, the nearer of them is aimed at [K]; common practice, no source."""

BATH_K = ZERO_CELSIUS_K + 40.0
"""Warmest water a closed bottle is stood in [K]; common practice, no source: what a hand still bears."""

WATER_W_M2_K = Span(low=50.0, value=200.0, high=500.0)
"""Still water and the wall of a bottle together [W/(m2 K)]: free convection of liquids 50-1000 (incropera:2007, table 1.1,
from memory), in series with a millimetre of polyethylene."""

POOL_M = 0.01
"""Depth of a pool where nobody knows it [m]; common practice, no source."""

RISE_K = Span(low=0.0, value=5.0, high=10.0)
RISE_S = Span(low=1200.0, value=WARMING_S, high=5400.0)
"""By how much light and drive warm a vat [K], and the time constant [s]; engineering estimates, no source."""

NOTHING_KNOWN = Success(low=0.0, mean=0.5, high=1.0)
"""The chance that a run holds where nothing was ever checked: anything from never to always [-]."""

SOURCES = ("estimate:vatwright", "incropera:2007", "memory:vatwright", "practice:bench")


def run_warmth(room_k: float, machine: Machine, *, base_s: float, run_s: float) -> RunWarmth:
    """Return how warm the resin becomes in a run that starts as warm as the room.

    Parameters
    ----------
    room_k : float
        Temperature of the room [K].
    machine : Machine
        Its warming counts, where the shop says it; else an estimate.
    base_s, run_s : float
        When the base and the run are done [s].
    """
    stated = machine.warming_k is not None
    said = (machine.warming_k or 0.0, machine.warming_s)
    cases = (said,) * 3 if stated else tuple(zip(astuple(RISE_K), (RISE_S.high, RISE_S.value, RISE_S.low), strict=True))

    def after(time_s: float) -> Span:
        low, value, high = (
            warmed_temperature(start_k=room_k, rise_k=rise, time_constant_s=tau, time_s=time_s) for rise, tau in cases
        )
        return Span(low=low, value=value, high=high)

    return RunWarmth(start_k=room_k, after_base_k=after(base_s), end_k=after(run_s), planned_with=stated)


def was_checked(resin_k: float) -> bool:
    """Return whether resin at this temperature [K] is within what practice and the models know."""
    return LEAST_K <= resin_k <= MOST_K


def refuse_unchecked(room_k: float, what: str) -> None:
    """Refuse an answer other than a carry's at a temperature that nobody has checked; `what` is what is not done there.

    Raises
    ------
    WillNotWork
        Outside the temperatures that practice and the models know.
    """
    if not was_checked(room_k):
        raise WillNotWork(
            to_say(
                "{what} at a temperature that nobody has checked. "
                "Carry the job: that says how to warm or cool the resin first.",
                what=what,
            )
        )


def aim_k(proven_k: float) -> float:
    """Return the temperature to bring resin to: the one the recipe ran at, or the nearest sensible one [K]."""
    return min(max(proven_k, AIM_K[0]), AIM_K[1])


def warm_up(now_k: float, *, proven_k: float, density_kg_m3: float, pool_m: float = POOL_M) -> WarmUp | None:
    """Return how resin comes back to a temperature it may be printed at; None where it is at one.

    Parameters
    ----------
    now_k : float
        Temperature of room and resin [K].
    proven_k : float
        Temperature at which the recipe has run [K].
    density_kg_m3 : float
        Density of the resin [kg/m3].
    pool_m : float
        Depth of the pool in the vat [m].

    Notes
    -----
    Resting resin, warmed from outside: shaken or stirred it is sooner warm.  What the vat and the machine themselves take
    up is left out, so they want at least as long.
    """
    if was_checked(now_k):
        return None
    target_k = aim_k(proven_k)
    air = {"start_k": now_k, "air_k": target_k, "density_kg_m3": density_kg_m3}
    cold = now_k < target_k
    return WarmUp(
        now_k=now_k,
        target_k=target_k,
        least_k=LEAST_K,
        most_k=MOST_K,
        bottle_s=near_after(BOTTLE_M, **air),
        vat_s=near_after(pool_m, **air),
        bath_k=BATH_K if cold else None,
        bath_s=_bath_s(now_k, target_k, density_kg_m3) if cold else None,
        back_s=_back_s(pool_m, density_kg_m3) if cold else None,
        sources=SOURCES,
    )


def _bath_s(start_k: float, target_k: float, density_kg_m3: float) -> Span:
    taus = time_constants(BOTTLE_M, density_kg_m3, WATER_W_M2_K)
    low, value, high = (
        warming_time(start_k=start_k, air_k=BATH_K, wanted_k=target_k, time_constant_s=tau) for tau in taus
    )
    return Span(low=low, value=value, high=high)


def _back_s(pool_m: float, density_kg_m3: float) -> Span:
    """Half of a difference is lost in the same time whatever it is: told from two kelvin to one."""
    taus = time_constants(pool_m, density_kg_m3, STILL_AIR_W_M2_K)
    start_k, air_k = AIM_K[0] + 2.0 * NEAR_K, AIM_K[0]
    low, value, high = (
        warming_time(start_k=start_k, air_k=air_k, wanted_k=air_k + NEAR_K, time_constant_s=tau) for tau in taus
    )
    return Span(low=low, value=value, high=high)
