"""After the print: stations that take the pieces, baths that stay clean, air that stays fit to breathe."""

from __future__ import annotations

import math
from itertools import permutations
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from vatwright.physics.drag_out import batches_until, bath_density, bath_share, drained_film, film_thickness
from vatwright.physics.vapour import (
    evaporation_rate,
    fresh_air_needed,
    saturated_fraction,
    spill_concentration,
    steady_concentration,
    vapour_flow,
    vapour_pressure,
)
from vatwright.planning.after.solvents import AVERAGE, KNOWN_K, Solvent, solvent_of
from vatwright.planning.demand.resin import SURFACE_TENSION_N_M
from vatwright.records.after import (
    AfterPlan,
    AirLimit,
    AirPlan,
    BathPlan,
    CureDose,
    PieceFit,
    PieceShape,
    RoomAir,
    Span,
)
from vatwright.records.stock import Station, StationKind
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

COVER_M = 0.005
"""Solvent over the highest point of a piece [m]; engineering estimate, no source."""

CLEARANCE_M = 0.004
"""Free room around a piece in a station [m]; engineering estimate, no source."""

BATH_LIMIT = Span(low=0.10, value=0.15, high=0.20)
"""Share of resin at which shops change a bath [-]; common practice, no source."""

FILM_FACTOR = 2.0
"""Factor either way on what clings to pieces [-]: undersides and corners hold more than a face; engineering estimate."""

EVAPORATION_FACTOR = 3.0
"""Factor either way on what evaporates [-]: draught, stirring, a lid left off; engineering estimate, no source."""

BATH_FILM_M = Span(low=1e-5, value=3e-5, high=1e-4)
"""Film of bath liquid that pieces carry on to the next bath [m]; engineering estimate, no source."""

MIXING = Span(low=1.0, value=3.0, high=10.0)
"""How much richer the air at the bath is than the room's mean [-]: 1 to 10 in dilution ventilation [acgih:2010]."""

WASTE = to_say(
    "Uncured resin, spent solvent and what was wiped with them are hazardous waste in "
    "most places. Keep solvent in a closed, labelled container, cure leftovers solid in "
    "light, and hand both in as your local rules say. Nothing down a drain; do not leave "
    "solvent to evaporate."
)

CAUTIONS = (
    (
        to_say(
            "Gloves that resist your solvent, eye protection, moving air: uncured resin can make "
            "skin allergic for good. Follow the safety data sheets of resin and solvent."
        )
    ),
    (
        to_say(
            "Solvent vapour burns: no flame, no spark, no charger near the bath; closed lids; a "
            "solvent above its flash point makes vapour that can catch fire."
        )
    ),
    to_say("UV light: never look in; the lid stays shut while the lamp is on."),
)


@frozen(kw_only=True)
class WashCase:
    """What one job brings to the stations.

    Parameters
    ----------
    pieces : tuple of PieceShape
        Its kinds of piece.
    plates : int
        Plates it comes off; one plate is washed at a time.
    platform_m2 : float
        Area of the platform, which is washed or wiped with them [m2].
    viscosity_pa_s, density_kg_m3 : float
        Of the resin at the room's temperature [Pa s], [kg/m3].
    clear_speed_m_s : float
        Speed at which the plate leaves the resin [m/s].
    room_k : float
        Temperature of the room [K].
    """

    pieces: tuple[PieceShape, ...]
    plates: int
    platform_m2: float
    viscosity_pa_s: float
    density_kg_m3: float
    clear_speed_m_s: float
    room_k: float


def after_plan(case: WashCase, stations: Sequence[Station], room: RoomAir) -> AfterPlan:
    """Return what the stations, the baths and the air say about a job.

    Parameters
    ----------
    case : WashCase
        What comes off the machine.
    stations : sequence of Station
        What the shop has.
    room : RoomAir
        Where they stand, and the shop's own findings.

    Returns
    -------
    AfterPlan
        Fits, baths, air, dose, and what could not be said.

    Notes
    -----
    Times of washing and of curing are the shop's own: no number holds for every resin, piece and lamp.
    """
    washes = [s for s in stations if s.kind is StationKind.WASH]
    cures = [s for s in stations if s.kind is StationKind.CURE]
    baths = tuple(_bath(case, s, room) for s in washes if s.bath_m3 is not None)
    air = tuple(a for s in washes if (a := _air(case, s, room)) is not None)
    notes = (*_unsaid(washes, cures, room), *_unknown_solvents(washes))
    return AfterPlan(
        fits=tuple(piece_fit(p, s) for s in (*washes, *cures) for p in case.pieces),
        baths=baths,
        air=air,
        cure=tuple(_dose(s, room) for s in cures if s.irradiance_w_m2 is not None and room.cure_s is not None),
        notes=notes,
        cautions=(*CAUTIONS, WASTE),
        sources=tuple(sorted({key for a in air for key in _keys(a)} | ({"practice:bench"} if baths else set()))),
    )


def _keys(air: AirPlan) -> Iterator[str]:
    yield from (limit.source for limit in (*air.limits, *air.flammable))
    yield from (key for _, key in air.flash_k)
    yield from ("acgih:2010", "memory:vatwright")


def _unsaid(washes: Sequence[Station], cures: Sequence[Station], room: RoomAir) -> Iterator[str]:
    for kind, there in (("wash", washes), ("cure", cures)):
        if not there:
            yield (
                to_say("The shop knows of no station that washes: add one to its stock.")
                if kind == "wash"
                else to_say("The shop knows of no station that cures: add one to its stock.")
            )
    if room.wash_s is None:
        yield to_say(
            "How long to wash is your own finding: write it into the cost file once pieces come "
            "out clean and not tacky."
        )
    if room.cure_s is None:
        yield to_say(
            "How long to cure is your own finding: no dose holds for every resin. Common "
            "practice is 5 to 60 min, no source."
        )
    if any(s.irradiance_w_m2 is None for s in cures):
        yield to_say("Without a reading of the cure station's irradiance its dose cannot be said.")


def _unknown_solvents(washes: Sequence[Station]) -> Iterator[str]:
    for station in washes:
        if not station.solvent:
            yield to_say("{name}: nobody said what is in it, so nothing is said about its vapour.", name=station.name)
        elif solvent_of(station.solvent) is None:
            yield to_say(
                "{name}: no table here has {solvent}; its vapour is not judged. See its safety data sheet.",
                name=station.name,
                solvent=station.solvent,
            )


# --- stations ----------------------------------------------------------------------------------------------------------


def piece_fit(piece: PieceShape, station: Station) -> PieceFit:
    """Return how one kind of piece goes into a station: as printed, turned in plan by its outline, or lying on a side.

    Parameters
    ----------
    piece : PieceShape
        The piece.
    station : Station
        Where it shall go.

    Returns
    -------
    PieceFit
        The first way that is covered, else the first that fits.

    Notes
    -----
    A lying piece is judged by its bounding box.  The bath's level rises by the piece's own volume.
    """
    ways = list(_ways(piece, station))
    covered = [(w, _covered(piece, station, w[1][2])) for w in ways]
    if not ways:
        return PieceFit(
            piece=piece.name, station=station.name, kind=station.kind.value, fits=False, how="", covered=None, at_once=0
        )
    (how, size), cover = next(((w, c) for w, c in covered if c), covered[0])
    floor_m2 = station.width_m * station.depth_m
    need = max((size[2] + COVER_M) * floor_m2 - piece.volume_m3, 0.0) if station.kind is StationKind.WASH else 0.0
    return PieceFit(
        piece=piece.name, station=station.name, kind=station.kind.value, fits=True, how=how, covered=cover,
        at_once=_side_by_side(size, station), need_m3=need,
    )  # fmt: skip


def _ways(piece: PieceShape, station: Station) -> Iterator[tuple[str, tuple[float, float, float]]]:
    """Ways it goes in, with the width, depth and height it then takes."""
    wide, deep, high = station.width_m, station.depth_m, station.height_m
    x, y, z = piece.size_m
    for size in ((x, y, z), (y, x, z)):
        if size[0] <= wide and size[1] <= deep and z <= high:
            yield to_say("as printed"), size
    if z <= high and (turned := _turned(piece.hull_m, wide, deep)) is not None:
        yield "turned", (*turned, z)
    for a, b, c in sorted(permutations((x, y, z)), key=lambda s: s[2]):
        if c != z and a <= wide and b <= deep and c <= high:
            yield "lying", (a, b, c)


def _turned(hull_m: Floats, wide: float, deep: float) -> tuple[float, float] | None:
    """Width and depth of an outline at the first whole degree at which it goes in, None where none does."""
    for degree in range(1, 180):
        c, s = math.cos(math.radians(degree)), math.sin(math.radians(degree))
        width, depth = np.ptp(hull_m @ np.array([[c, s], [-s, c]]), axis=0).tolist()
        if width <= wide and depth <= deep:
            return width, depth
    return None


def _covered(piece: PieceShape, station: Station, height_m: float) -> bool | None:
    if station.bath_m3 is None:
        return None
    level_m = min((station.bath_m3 + piece.volume_m3) / (station.width_m * station.depth_m), station.height_m)
    return height_m <= level_m


def _side_by_side(size: tuple[float, float, float], station: Station) -> int:
    """How many stand in rows, turned a quarter where that takes more."""

    def rows(a: float, b: float) -> int:
        return math.floor(station.width_m / (a + CLEARANCE_M)) * math.floor(station.depth_m / (b + CLEARANCE_M))

    return max(rows(size[0], size[1]), rows(size[1], size[0]), 1)


# --- baths -------------------------------------------------------------------------------------------------------------


def carried_in(case: WashCase, drip_s: float) -> Span:
    """Return the resin that one plate of pieces carries into the first bath [m3].

    Parameters
    ----------
    case : WashCase
        Pieces, plates, resin.
    drip_s : float
        How long the plate drips first [s].

    Returns
    -------
    Span
        Film times surface; at the high end pockets hold resin too.

    Notes
    -----
    The film that came up (Landau and Levich), or what is left of it after dripping (Jeffreys), whichever is thinner.
    """
    surface_m2 = sum(p.count * p.surface_m2 for p in case.pieces) / case.plates + case.platform_m2
    tallest_m = max(p.size_m[2] for p in case.pieces)
    resin = {"viscosity_pa_s": case.viscosity_pa_s, "density_kg_m3": case.density_kg_m3}
    film_m = min(
        film_thickness(speed_m_s=case.clear_speed_m_s, surface_tension_n_m=SURFACE_TENSION_N_M, **resin),
        drained_film(height_m=tallest_m, time_s=drip_s, **resin),
    )
    pockets_m3 = sum(p.count * p.pockets_m3 for p in case.pieces) / case.plates
    middle = film_m * surface_m2
    return Span(low=middle / FILM_FACTOR, value=middle, high=middle * FILM_FACTOR + pockets_m3)


def _bath(case: WashCase, station: Station, room: RoomAir) -> BathPlan:
    bath_m3 = station.bath_m3 or 0.0
    carried = carried_in(case, room.drip_s)
    said = room.bath_limit
    limit = BATH_LIMIT if said is None else Span(low=said, value=said, high=said)
    solvent = solvent_of(station.solvent)
    solvent_kg_m3 = 785.0 if solvent is None else solvent.density_kg_m3
    batches = Span(
        low=batches_until(carried_m3=carried.high, bath_m3=bath_m3, limit=limit.low),
        value=batches_until(carried_m3=carried.value, bath_m3=bath_m3, limit=limit.value),
        high=batches_until(carried_m3=carried.low, bath_m3=bath_m3, limit=limit.high),
    )
    shares = [bath_share(carried_m3=v, bath_m3=bath_m3, batches=case.plates) for v in _three(carried)]
    resin_kg = limit.value * case.density_kg_m3
    return BathPlan(
        station=station.name,
        solvent=station.solvent,
        bath_m3=bath_m3,
        carried_m3=carried,
        after_job=Span(low=shares[0], value=shares[1], high=shares[2]),
        limit=limit,
        limit_said=said is not None,
        batches=batches,
        density_new_kg_m3=solvent_kg_m3,
        density_spent_kg_m3=bath_density(
            mass_share=resin_kg / (resin_kg + (1.0 - limit.value) * solvent_kg_m3),
            resin_kg_m3=case.density_kg_m3,
            solvent_kg_m3=solvent_kg_m3,
        ),
        second_share=_second(case, bath_m3, batches.value, limit.value),
    )


def _second(case: WashCase, bath_m3: float, batches: float, limit: float) -> float:
    """Share of resin in a second bath when the first is changed: what films of the first bath brought over.

    The first bath's share grows almost evenly from 0 to the limit, so the mean of what comes over is half of it.
    """
    surface_m2 = sum(p.count * p.surface_m2 for p in case.pieces) / case.plates
    over_m3 = BATH_FILM_M.value * surface_m2 * limit / 2.0
    return bath_share(carried_m3=over_m3, bath_m3=bath_m3, batches=batches)


# --- air ---------------------------------------------------------------------------------------------------------------


def _air(case: WashCase, station: Station, room: RoomAir) -> AirPlan | None:
    solvent = solvent_of(station.solvent)
    if solvent is None:
        return None
    pressure = vapour_pressure(
        known_pa=solvent.pressure_pa, known_k=KNOWN_K, vaporisation_j_mol=solvent.vaporisation_j_mol,
        temperature_k=case.room_k,
    )  # fmt: skip
    flow = _evaporation(solvent, station, room, pressure, case.room_k)
    vapour = [vapour_flow(evaporation_kg_s=v, molar_mass_kg_mol=solvent.molar_mass_kg_mol) for v in _three(flow)]
    limit = _judged_by(solvent, room)
    mixing = _three(MIXING)
    air = [
        fresh_air_needed(vapour_m3_s=g, limit_fraction=limit.fraction, mixing=k)
        for g, k in zip(vapour, mixing, strict=True)
    ]
    mine = () if room.limit_fraction is None else (limit,)
    return AirPlan(
        solvent=solvent.name,
        evaporation_kg_s=flow,
        read=room.evaporation_kg_s is not None,
        steady=_steady(vapour, mixing, room),
        limits=(*mine, *solvent.limits),
        limit=limit,
        fresh_air_m3_s=Span(low=air[0], value=air[1], high=air[2]),
        headspace=saturated_fraction(pressure),
        flammable=solvent.flammable,
        flash_k=solvent.flash_k,
        room_k=case.room_k,
        spill=_spill(solvent, station, room),
    )


def _evaporation(solvent: Solvent, station: Station, room: RoomAir, pressure_pa: float, room_k: float) -> Span:
    if (read := room.evaporation_kg_s) is not None:
        return Span(low=read, value=read, high=read)
    middle = evaporation_rate(
        vapour_pressure_pa=pressure_pa, molar_mass_kg_mol=solvent.molar_mass_kg_mol,
        area_m2=station.width_m * station.depth_m, temperature_k=room_k,
    )  # fmt: skip
    return Span(low=middle / EVAPORATION_FACTOR, value=middle, high=middle * EVAPORATION_FACTOR)


def _judged_by(solvent: Solvent, room: RoomAir) -> AirLimit:
    if room.limit_fraction is not None:
        return AirLimit(what=to_say("your own limit"), fraction=room.limit_fraction, source="user:statement")
    return min((x for x in solvent.limits if x.what == AVERAGE), key=lambda x: x.fraction)


def _steady(vapour: Sequence[float], mixing: Sequence[float], room: RoomAir) -> Span | None:
    if room.volume_m3 is None or room.changes_per_s is None:
        return None
    fresh = room.volume_m3 * room.changes_per_s
    found = [
        min(steady_concentration(vapour_m3_s=g, fresh_air_m3_s=fresh, mixing=k), 1.0)
        for g, k in zip(vapour, mixing, strict=True)
    ]
    return Span(low=found[0], value=found[1], high=found[2])


def _spill(solvent: Solvent, station: Station, room: RoomAir) -> float | None:
    if room.volume_m3 is None or station.bath_m3 is None:
        return None
    mass_kg = station.bath_m3 * solvent.density_kg_m3
    return spill_concentration(mass_kg=mass_kg, molar_mass_kg_mol=solvent.molar_mass_kg_mol, room_m3=room.volume_m3)


def _dose(station: Station, room: RoomAir) -> CureDose:
    irradiance, time_s = station.irradiance_w_m2 or 0.0, room.cure_s or 0.0
    return CureDose(station=station.name, irradiance_w_m2=irradiance, time_s=time_s, dose_j_m2=irradiance * time_s)


def _three(span: Span) -> tuple[float, float, float]:
    return span.low, span.value, span.high
