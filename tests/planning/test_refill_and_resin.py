"""Resin that flows back, and how much of it is needed."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import carried, job, machine, plate, resin, settings, side

from vatwright.planning.demand.refill import carried_refill_s
from vatwright.planning.demand.resin import resin_need, time_to_level_s
from vatwright.records.machine import Obeys, Rule, Vat
from vatwright.records.process import Phase


def refill(target=None, *, reach_to_m=0.05, whole_m=0.005, clear_m=0.003):
    return carried_refill_s(
        1.5, proven=settings().body, whole_m=np.array([whole_m]), clear_m=np.array([clear_m]), origin=side(),
        target=target or side(), reach_from_m=0.05, reach_to_m=reach_to_m, density_from_kg_m3=1100.0,
        density_to_kg_m3=1100.0,
    )[0]  # fmt: skip


def test_nothing_differs_nothing_changes():
    assert refill() == 1.5


def test_thicker_resin_and_a_wider_window_wait_longer_and_a_higher_rise_less():
    # time of order 3 mu L^2 / (rho g H^3): gravity levelling of a thin layer
    assert refill(side(viscosity_pa_s=0.9)) > 1.5
    assert refill(reach_to_m=0.09) > 1.5
    assert refill(reach_to_m=0.09, whole_m=0.008, clear_m=0.006) < refill(reach_to_m=0.09)
    assert refill(side(viscosity_pa_s=0.1)) == 1.5  # an order of magnitude carries no shorter one


def need(study, target, *, mu=0.3):
    return resin_need(study, target, viscosity_pa_s=mu, density_kg_m3=1100.0, clear_speed_m_s=0.003)


def test_pour_is_the_sum_and_holds_the_parts():
    study = plate(np.full(80, 9.0))
    got = need(study, machine())
    assert got.pour_m3 == pytest.approx(got.parts_m3 + got.drag_out_m3 + got.pool_m3)
    assert got.parts_m3 == pytest.approx(4 * math.pi * 0.009**2 * 80 * 50e-6)


def test_a_wide_vat_needs_a_deeper_pool():
    # h^3 ~ 3 mu L^2 / (rho g t): depth with the two thirds power of the length (gravity levelling), times the floor
    study, small = plate(np.full(80, 9.0)), machine()
    large = evolve(small, vat=Vat(width_m=2 * small.vat.width_m, depth_m=2 * small.vat.depth_m, full_m=0.1))
    wide = evolve(small, vat=evolve(small.vat, full_m=0.1))
    ratio = need(study, large).pool_m3 / need(study, wide).pool_m3
    assert ratio == pytest.approx(4 * 2 ** (2 / 3), rel=1e-3)
    assert need(study, wide, mu=2.4).pool_m3 / need(study, wide).pool_m3 == pytest.approx(2.0, rel=1e-3)


def test_no_pool_is_deeper_than_the_vat():
    vat = machine().vat
    assert need(plate(np.full(80, 9.0)), machine(), mu=1e6).pool_m3 == pytest.approx(
        vat.width_m * vat.depth_m * vat.full_m
    )


def test_the_pool_has_the_time_of_one_layer_to_flow_level():
    # 2 mm at 1 mm/s, 3 mm at 3 mm/s, 1.5 s wait, 5 mm down at 2 mm/s: by hand 2 + 1 + 1.5 + 2.5 = 7 s
    body = Phase(
        exposure_s=2.5, refill_s=1.5, peel_lift_m=0.002, peel_speed_m_s=0.001, clear_lift_m=0.003, clear_speed_m_s=0.003,
        return_speed_m_s=0.002,
    )  # fmt: skip
    assert time_to_level_s(body) == pytest.approx(7.0, rel=1e-12)


def test_a_longer_lift_needs_a_shallower_pool():
    # h^3 ~ 1/t (gravity levelling): eight times as long, half the depth
    study, target = plate(np.full(80, 9.0)), machine()
    target = evolve(target, vat=evolve(target.vat, full_m=0.1))
    pools = [
        resin_need(
            study, target, viscosity_pa_s=0.3, density_kg_m3=1100.0, clear_speed_m_s=0.003, pool_time_s=t
        ).pool_m3
        for t in (2.0, 16.0)
    ]  # fmt: skip
    assert pools[0] / pools[1] == pytest.approx(2.0, rel=1e-9)


def test_what_lets_go_sooner_on_the_same_machine_waits_no_longer_for_resin():
    """Logic: a sheet that lowers the rise and pays for it with more seconds of waiting helps nobody."""
    study = plate(np.full(46, 9.0))
    sooner = evolve(study, reach=evolve(study.reach, reach_m=0.3 * study.reach.reach_m))
    sheet = carried(job(), study, sooner)
    for phase in ("base", "body"):
        assert sheet.advice(f"{phase}.refill_s").to_value == sheet.advice(f"{phase}.refill_s").from_value
        assert sheet.advice(f"{phase}.peel_lift_mm").to_value < sheet.advice(f"{phase}.peel_lift_mm").from_value
    assert sheet.time.to_s <= sheet.time.from_s


def test_the_wait_goes_with_the_rise_that_is_set():
    """A coarser step rounds the rise up: the resin is back sooner, and nobody waits for a rise that is not made."""
    thick = evolve(
        resin(), viscosity=tuple(evolve(v, viscosity_pa_s=3.0 * v.viscosity_pa_s) for v in resin().viscosity)
    )
    waits = []
    for step in (1e-4, 4e-3):
        rules = {"clear_lift_mm": Rule(obeys=Obeys.YES, maximum=0.06, step=step)}
        sheet = carried(job(target=machine(rules=rules), to_resin=thick), plate(np.full(46, 9.0)))
        waits.append(sheet.advice("body.refill_s").to_value)
    assert waits[0] > waits[1]
