"""Resin past its date, filled resin, and resin that warms in the run."""

import math
from datetime import date, timedelta

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import ROOM_K, carried, job, machine, plate, resin

from vatwright.answers.resin_state import old_lot_sentences, run_warmth_sentences, shear_sentences
from vatwright.physics.squeeze_film import disc_torsion, edge_shear_rate, squeeze_force
from vatwright.physics.viscosity import two_point_viscosity
from vatwright.physics.warming import warmed_temperature, warming_time
from vatwright.planning.after.bottle import old_lots
from vatwright.planning.carry.warmth import run_warmth
from vatwright.planning.demand.resin_flow import AGED_SPREAD
from vatwright.planning.demand.unknowns import draw
from vatwright.records.stock import Lot
from vatwright.units import ZERO_CELSIUS_K

TODAY = date(2026, 6, 1)
RADIUS_MM = 9.0


def lot(name, days_left=None, *, left_ml=500.0, of="slate"):
    until = None if days_left is None else TODAY + timedelta(days=days_left)
    return Lot(name=name, resin=of, left_m3=left_ml / 1e6, expires=until)


# --- lots -------------------------------------------------------------------------------------------------------------


def test_a_lot_is_old_the_day_after_its_date_and_only_while_there_is_resin_in_it():
    lots = (lot("today", 0), lot("yesterday", -1), lot("empty", -90, left_ml=0.0), lot("grey", -90, of="grey"))
    (old,) = old_lots(lots, resin="slate", today=TODAY)
    assert (old.name, old.days, old.only) == ("yesterday", 1, False)


def test_the_only_lot_is_told_with_what_to_read_and_one_of_several_with_which_to_take():
    only = old_lots((lot("March", -30), lot("May", -3)), resin="slate", today=TODAY)
    assert [o.name for o in only] == ["March", "May"]
    said = " ".join(old_lot_sentences(only))
    assert "March was good until 02 May 2026, 30 days ago" in said
    assert "read its viscosity" in said
    assert "cure four squares" in said
    beside = old_lots((lot("March", -30), lot("undated")), resin="slate", today=TODAY)
    assert old_lot_sentences(beside)[-1].startswith("Take a lot within its date")
    assert old_lot_sentences(()) == ()


def test_an_old_lot_is_as_unsure_as_it_was_and_by_its_age():
    """Independent factors: their variances (log) add; the proven side keeps its own lot."""
    young, old = (draw(job(aged=aged)) for aged in (False, True))
    assert np.array_equal(young.origin.viscosity_pa_s, old.origin.viscosity_pa_s)
    was, now = (np.log(w.target.viscosity_pa_s) for w in (young, old))
    assert now.var() == pytest.approx(was.var() + AGED_SPREAD**2, rel=0.03)
    assert np.median(now) == pytest.approx(np.median(was), abs=0.02)


def test_an_old_lot_waits_no_shorter_and_is_told_less_surely():
    large = machine("Albatross", width_mm=300.0, depth_mm=165.0, stiffness_n_m=2.0e5)
    young, old = (carried(job(target=large, aged=aged), plate([RADIUS_MM] * 30)) for aged in (False, True))
    before, after = (s.advice("base.settle_s") for s in (young, old))
    assert after.high - after.low > before.high - before.low
    assert after.to_value >= before.to_value
    assert old.success.mean <= young.success.mean + 0.01


# --- filled resin -----------------------------------------------------------------------------------------------------


def test_shear_at_the_edge_is_that_of_a_slot():
    """6 Q / (w h^2) at the wall of a slot, any textbook of flow: what the disc drives out through its rim."""
    radius_m, gap_m, speed_m_s, viscosity = 0.012, 7e-5, 4e-5, 0.27
    force = squeeze_force(viscosity_pa_s=viscosity, torsion_m4=disc_torsion(radius_m), gap_m=gap_m, speed_m_s=speed_m_s)
    slot = 6.0 * speed_m_s * math.pi * radius_m**2 / (2.0 * math.pi * radius_m * gap_m**2)
    found = edge_shear_rate(viscosity_pa_s=viscosity, force_n=force, radius_m=radius_m, gap_m=gap_m)
    assert found == pytest.approx(slot, rel=1e-12)


def test_a_filled_resin_is_to_be_read_at_the_shear_of_its_settle():
    """Four discs, by hand: a tenth of a layer of the arm's spring, shared by four, on a gap of 1.1 layers."""
    sheet = carried(job(to_resin=resin(filled=True), resin_from=resin(filled=True)), plate([RADIUS_MM] * 30))
    viscosity = two_point_viscosity(cold_pa_s=0.34, cold_k=293.15, warm_pa_s=0.25, warm_k=298.15, temperature_k=ROOM_K)
    force = 2.4e5 * 0.1 * 50e-6 / 4.0
    by_hand = 2.0 * force * 55e-6 / (math.pi * viscosity * (RADIUS_MM / 1e3) ** 3)
    assert sheet.squeeze_shear.slow_per_s == pytest.approx(
        by_hand, rel=0.15
    )  # the worlds' medians are near what was read
    assert sheet.squeeze_shear.fast_per_s > 2.0 * sheet.squeeze_shear.slow_per_s
    said = " ".join(shear_sentences(sheet))
    assert "1/s" in said
    assert "two speeds" in said


def test_a_plain_resin_is_asked_for_no_shear_and_warms_as_it_is_said_to():
    sheet = carried(job(), plate([RADIUS_MM] * 30))
    assert sheet.squeeze_shear is None
    assert shear_sentences(sheet) == ()
    (said,) = run_warmth_sentences(sheet)
    assert "starts at the room's 22 °C" in said
    assert "22 to" in said
    hot = evolve(sheet, run_warmth=run_warmth(ZERO_CELSIUS_K + 35.0, machine(), base_s=600.0, run_s=36_000.0))
    assert "may pass 40 °C" in run_warmth_sentences(hot)[-1]


# --- the run ----------------------------------------------------------------------------------------------------------


def test_half_of_the_rise_is_there_when_newtons_law_says_so():
    half_s = warming_time(start_k=290.0, air_k=300.0, wanted_k=295.0, time_constant_s=1000.0)
    found = warmed_temperature(start_k=290.0, rise_k=10.0, time_constant_s=1000.0, time_s=half_s)
    assert found == pytest.approx(295.0, abs=1e-9)


def test_a_run_starts_at_the_room_only_warms_and_ends_at_the_whole_rise():
    """Limits: nothing at once, all of 0 to 10 K after days."""
    room_k = ZERO_CELSIUS_K + 18.0
    start = run_warmth(room_k, machine(), base_s=0.0, run_s=1e7)
    assert (start.after_base_k.low, start.after_base_k.high) == (room_k, room_k)
    assert (start.end_k.low, start.end_k.high) == (pytest.approx(room_k), pytest.approx(room_k + 10.0))
    some = run_warmth(room_k, machine(), base_s=400.0, run_s=20_000.0)
    assert room_k <= some.after_base_k.low <= some.after_base_k.value <= some.after_base_k.high < some.end_k.high
