"""Stations, baths, air and the bottle: against boxes, sums and closed forms worked out here."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from shapely import MultiPoint
from shapely.affinity import rotate
from tests.planning.workshop import machine

from vatwright.planning.after.after import WashCase, after_plan, carried_in, piece_fit
from vatwright.planning.after.bottle import bottle_plan
from vatwright.records.after import PieceShape, RoomAir
from vatwright.records.plan import ResinNeed
from vatwright.records.stock import Lot, Station, StationKind


def box(x_mm, y_mm, z_mm, count=1, **changes):
    x, y, z = x_mm / 1e3, y_mm / 1e3, z_mm / 1e3
    whole = {
        "name": "post", "count": count, "size_m": (x, y, z), "volume_m3": x * y * z,
        "hull_m": np.array([(0, 0), (x, 0), (x, y), (0, y)]), "surface_m2": 2 * (x * y + y * z + z * x),
    }  # fmt: skip
    return PieceShape(**whole | changes)


def tub(wide_mm=210, deep_mm=210, high_mm=300, bath_ml=8000.0, **changes):
    whole = {"name": "tub", "kind": StationKind.WASH, "width_m": wide_mm / 1e3, "depth_m": deep_mm / 1e3,
             "height_m": high_mm / 1e3, "bath_m3": bath_ml / 1e6, "solvent": "isopropanol"}  # fmt: skip
    return Station(**whole | changes)


def case(pieces=None, plates=1, **changes):
    whole = {"pieces": pieces or (box(30, 30, 60, count=10),), "plates": plates, "platform_m2": 0.0138,
             "viscosity_pa_s": 0.3, "density_kg_m3": 1100.0, "clear_speed_m_s": 0.003, "room_k": 293.15}  # fmt: skip
    return WashCase(**whole | changes)


@pytest.mark.parametrize(
    ("size", "how", "covered"),
    [
        ((30, 30, 60), "as printed", True),  # 8 l in 21 x 21 cm stand 181 mm high
        ((30, 30, 200), "lying", True),  # stands out of the bath, lies in it
        ((30, 30, 250), "as printed", False),  # too long to lie along a side of 210 mm
        ((250, 8, 30), "turned", True),  # along the diagonal of 297 mm
        ((300, 8, 30), "lying", False),  # too long for the diagonal: it stands on its end, out of the bath
        ((320, 320, 320), "", None),
    ],
)
def test_ways_into_a_tub(size, how, covered):
    found = piece_fit(box(*size), tub())
    assert (found.how, found.covered, found.fits) == (how, covered, bool(how))


def test_turned_pieces_fit_by_shapely():
    """A hexagon's outline turned degree by degree with shapely: whether any turn fits agrees."""
    turn = np.linspace(0.0, 2.0 * math.pi, 6, endpoint=False)
    hull = 0.1 * np.column_stack((np.cos(turn), 0.6 * np.sin(turn)))
    piece = box(200, 104, 30, hull_m=hull)
    outline = MultiPoint(hull).convex_hull
    for side_mm in range(120, 215, 5):
        bounds = [rotate(outline, d, origin=(0, 0)).bounds for d in range(180)]
        fits = any(max(b[2] - b[0], b[3] - b[1]) <= side_mm / 1e3 + 1e-12 for b in bounds)
        assert piece_fit(piece, tub(side_mm, side_mm, high_mm=31)).fits == fits, side_mm


def test_solvent_to_cover_a_piece():
    """(60 + 5 mm) x 21 cm x 21 cm less the piece's own 54 ml."""
    found = piece_fit(box(30, 30, 60), tub(bath_ml=1000.0))
    assert found.covered is False
    assert found.need_m3 == pytest.approx(0.065 * 0.21 * 0.21 - 54e-6, rel=1e-12)


def test_a_cure_station_covers_nothing():
    found = piece_fit(box(30, 30, 60), tub(kind=StationKind.CURE, bath_m3=None, solvent=""))
    assert (found.fits, found.covered, found.need_m3) == (True, None, 0.0)


def test_resin_carried_in_is_film_times_surface():
    """Jeffreys 1930: 2/3 sqrt(mu L/(rho g t)) on every face, once it is thinner than what came up."""
    pieces = (box(30, 30, 60, count=10, pockets_m3=1e-6),)
    film = 2.0 / 3.0 * math.sqrt(0.3 * 0.06 / (1100.0 * 9.80665 * 600.0))
    surface = 10 * 2 * (0.03 * 0.03 + 2 * 0.03 * 0.06) + 0.0138
    found = carried_in(case(pieces), 600.0)
    assert found.value == pytest.approx(film * surface, rel=1e-12)
    assert found.high == pytest.approx(2.0 * found.value + 10e-6, rel=1e-12)


def test_bath_at_the_limit_after_the_plates_said():
    """After that many plates the share of resin, summed by hand, is the limit."""
    bath = after_plan(case(), [tub()], RoomAir(bath_limit=0.12)).baths[0]
    resin = bath.batches.value * bath.carried_m3.value
    assert resin / (resin + 8e-3) == pytest.approx(0.12, rel=1e-9)
    assert bath.limit_said
    assert bath.second_share < 0.12 / 5.0
    practice = after_plan(case(), [tub()], RoomAir()).baths[0]
    assert (practice.limit.low, practice.limit.high, practice.limit_said) == (0.10, 0.20, False)
    assert practice.batches.low < practice.batches.value < practice.batches.high


def test_air_by_the_ventilation_cases():
    """Worked by hand: 100 g/h of isopropanol, 30 m3, 3 air changes: 452.0 ppm well mixed; three times that at the tub."""
    room = RoomAir(volume_m3=30.0, changes_per_s=3.0 / 3600.0, evaporation_kg_s=0.1 / 3600.0)
    air = after_plan(case(), [tub()], room).air[0]
    assert air.steady.low * 1e6 == pytest.approx(452.0, abs=0.05)
    assert air.steady.value == pytest.approx(3.0 * air.steady.low, rel=1e-12)
    assert air.limit.fraction == 200e-6, "the lowest published average"
    assert air.fresh_air_m3_s.low * 3600.0 == pytest.approx(2.0 * 101.7, rel=1e-3), (
        "half of 400 ppm wants twice the air"
    )
    assert air.headspace == pytest.approx(0.04342, rel=1e-3), "33 mmHg over 760: twice the lower flammable limit"


def test_ones_own_limit_comes_first():
    air = after_plan(case(), [tub()], RoomAir(limit_fraction=50e-6)).air[0]
    assert (air.limit.source, air.limits[0].fraction) == ("user:statement", 50e-6)


def test_a_litre_spilled():
    """1 l in 30 m3: 10,645 ppm, 53 % of the lower flammable limit."""
    air = after_plan(case(), [tub(bath_ml=1000.0)], RoomAir(volume_m3=30.0)).air[0]
    assert air.spill * 1e6 == pytest.approx(10645.0, abs=1.0)


def test_what_nobody_said_is_told():
    plan = after_plan(case(), [tub(solvent="grandmother's tincture")], RoomAir())
    text = " ".join(plan.notes)
    assert "grandmother's tincture" in text
    assert "no station that cures" in text
    assert plan.air == ()
    assert any("local rules" in c for c in plan.cautions)


def test_dose_is_irradiance_times_time():
    cure = tub(kind=StationKind.CURE, bath_m3=None, solvent="", irradiance_w_m2=60.0)
    assert after_plan(case(), [cure], RoomAir(cure_s=600.0)).cure[0].dose_j_m2 == pytest.approx(36000.0)
    assert after_plan(case(), [cure], RoomAir()).cure == ()


def bottle(lots, **changes):
    need = ResinNeed(parts_m3=2e-4, drag_out_m3=5e-5, pool_m3=1e-4, pour_m3=3.5e-4)
    whole = {"resin": "slate", "vat": machine().vat, "wanted_m3": 5e-4, "viscosity_pa_s": 0.3, "density_kg_m3": 1100.0,
             "room_k": 295.15, "store_k": None}  # fmt: skip
    return bottle_plan(need, lots, **whole | changes)


def test_lots_do_for_order_and_pool():
    named = (("a", "slate", 3.4e-4), ("b", "slate", 2.7e-4), ("c", "amber", 1.0))
    lots = [Lot(name=n, resin=r, left_m3=v) for n, r, v in named]
    found = bottle(lots)
    assert found.lots == (("a", 3.4e-4, False), ("b", 2.7e-4, False))
    assert found.enough, "610 ml are there; 500 ml and a pool of 100 ml are wanted"
    assert bottle([evolve(lots[0], left_m3=3.2e-4), lots[1]]).enough is False
    assert bottle([]).enough is None


def test_a_cold_bottle_takes_longer_in_stiller_air():
    warm = bottle([], store_k=285.15).warm_bottle_s
    assert warm.low < warm.value < warm.high
    assert bottle([], store_k=294.5).warm_bottle_s is None


def test_time_to_stir_is_stokes():
    """Stokes 1851 with Richardson and Zaki 1954 for 5 um clumps of 2 %: a tenth of the pool."""
    found = bottle([])
    depth = 1e-4 / (machine().vat.width_m * machine().vat.depth_m)
    speed = (5e-6) ** 2 * 2900.0 * 9.80665 / (18.0 * 0.3) * 0.98**4.65
    assert found.stir_s.value == pytest.approx(0.1 * depth / speed, rel=1e-9)
    assert found.stir_s.low == pytest.approx(found.stir_s.value / 4.0, rel=1e-9)
