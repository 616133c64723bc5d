"""Peel speed: a faster front costs more, so the film stands steeper, pulls harder and needs a higher rise."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st
from tests.planning.demand.test_holding import hung
from tests.planning.workshop import carried, job, machine, plate, settings, side

from vatwright.evidence.belief import Unknown
from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.holding import holds_on
from vatwright.planning.demand.peel_speed import peel_speeds
from vatwright.records.machine import Obeys, Rule

BAR = np.full(44, 9.0)
SPEEDS = st.floats(1e-4, 2e-2)


def at(speed_mm_s: float, base_mm_s: float | None = None):
    """The plain settings at other peel speeds, base and body apart."""
    plain = settings()
    base = speed_mm_s if base_mm_s is None else base_mm_s
    return evolve(
        plain,
        body=evolve(plain.body, peel_speed_m_s=speed_mm_s / 1e3),
        base=evolve(plain.base, peel_speed_m_s=base / 1e3),
    )


def value(sheet, name):
    return next(a for a in sheet.settings if a.name == name)


@given(SPEEDS, SPEEDS, st.floats(0.1, 0.6), st.floats(0.02, 0.5), st.floats(20.0, 1200.0))
def test_faster_never_pulls_less_nor_lets_go_sooner(one, other, exponent, angle, tension):
    slow, fast = sorted((one, other))
    film = side(speed_exponent=exponent, angle_rad=angle, tension_n_m=tension)
    before, after = film.peeling(slow), film.peeling(fast)
    assert before.tan_angle[0] <= after.tan_angle[0] * (1.0 + 1e-12)
    assert before.front_force_n_m[0] <= after.front_force_n_m[0] * (1.0 + 1e-12)
    # never more than in proportion: with G = G_r v^n and G at least of second order in the angle, theta goes below u^(n/2)
    assert after.tan_angle[0] <= before.tan_angle[0] * (fast / slow) ** (0.5 * exponent) * (1.0 + 1e-9)


def test_the_speed_at_which_angles_are_told_changes_nothing():
    film = side()
    assert film.peeling(1e-3) is film
    there_and_back = evolve(film, angle_rad=film.peeling(4e-3).angle_rad)
    assert there_and_back.peeling(1e-3).angle_rad == film.peeling(4e-3).angle_rad


def test_the_same_machine_at_the_same_speed_keeps_its_rise():
    sheet = carried(job(recipe=at(5.0, 2.0)), plate(BAR))
    for name in ("base.peel_lift_mm", "body.peel_lift_mm", "body.clear_lift_mm", "body.peel_speed_mm_s"):
        assert value(sheet, name).to_value == value(sheet, name).from_value


def test_a_machine_that_rises_faster_needs_more_and_pulls_harder():
    """8 mm/s is the least that it does: rise and pull of the body must grow, those of a base proven at that speed must not."""
    only_fast = Rule(obeys=Obeys.YES, minimum=8e-3, maximum=20e-3)
    rules = {"peel_speed_mm_s": only_fast}
    other = machine("Heron", rules=rules, motion=evolve(machine().motion, fastest_m_s=0.02))
    study = plate(BAR)
    plain, fast = (carried(job(target=m, recipe=at(1.0, 8.0)), study) for m in (machine("Heron"), other))
    assert value(fast, "body.peel_speed_mm_s").to_value == 8e-3
    grown = value(fast, "body.peel_lift_mm").low / value(plain, "body.peel_lift_mm").low
    assert 8.0 ** (0.2 / 4.2) < grown < 8.0 ** (0.5 / 2.5)  # exponents of 0.2 to 0.5, both limits of the law
    assert value(fast, "base.peel_lift_mm").low == pytest.approx(value(plain, "base.peel_lift_mm").low)
    assert fast.layers.pull_n[-1] > 1.05 * plain.layers.pull_n[-1]
    assert fast.layers.pull_n[0] == pytest.approx(plain.layers.pull_n[0])
    assert "as fast" in value(fast, "body.peel_lift_mm").reason


def test_the_sheet_tells_what_half_and_twice_the_speed_would_cost_and_save():
    sheet = carried(job(target=machine("Heron")), plate(BAR))
    slow, own, fast = sheet.peel_trade
    assert [t.peel_speed_m_s for t in sheet.peel_trade] == pytest.approx([5e-4, 1e-3, 2e-3])
    assert slow.pull_n < own.pull_n < fast.pull_n
    assert slow.lift_m <= own.lift_m + 2e-4  # both stages are rounded up to a tenth of a millimetre
    assert own.lift_m <= fast.lift_m
    assert fast.to_s < own.to_s < slow.to_s
    # the row of the sheet's own speed is the sheet
    assert (own.to_s, own.mean) == pytest.approx((sheet.time.to_s, sheet.success.mean), rel=1e-3)
    body = sheet.layers.pull_n[int(sheet.advice("base.layers").to_value) :]
    assert own.pull_n == pytest.approx(float(body.max()))
    lift = sum(sheet.advice(f"body.{stage}_lift_mm").to_value for stage in ("peel", "clear"))
    assert own.lift_m == pytest.approx(lift)


def test_where_it_would_tear_it_peels_slower():
    """Thin stalks under a wide front on a larger machine: no more often than asked at the proven speed, as asked at less."""
    study = plate(BAR)
    thin, stout = (evolve(hung(np.full(44, area), front_m=0.11), reach=study.reach) for area in (8e-5, 1e-2))
    work = job(target=machine("Heron"), confidence=0.9)
    case, _ = planned(work, proven=evolve(study, hanging=()), target=stout)
    assert peel_speeds(case) == {"base": 1e-3, "body": 1e-3}
    case, _ = planned(work, proven=evolve(study, hanging=()), target=thin)
    found = {speed: holds_on(case, {"base": speed, "body": speed}) for speed in (1e-3, 2.5e-4)}
    assert found[2.5e-4] > found[1e-3]
    between = evolve(case, job=evolve(work, confidence=0.5 * (found[2.5e-4] + found[1e-3])))
    slower = peel_speeds(between)
    assert slower["body"] < 1e-3
    assert holds_on(between, slower) >= between.job.confidence


def test_the_exponent_is_an_unknown_of_every_run():
    case, _ = planned(job(), proven=plate(BAR), target=plate(BAR))
    exponent = case.before.target.speed_exponent
    # the 90 % range that is stated for it
    assert np.quantile(exponent, (0.05, 0.95)) == pytest.approx([0.2, 0.5], rel=0.03)
    assert abs(np.corrcoef(case.before.axes["peel speed"], case.before.axes["stiffness origin"])[0, 1]) < 0.05
    assert math.isclose(float(np.median(exponent)), math.sqrt(0.1), rel_tol=0.02)


def test_runs_that_stuck_when_peeled_fast_teach_the_exponent():
    from tests.planning.simulated_shop import believed, kinds

    kind = kinds()[0]
    fast = evolve(
        kind.table.run.settings, body=evolve(kind.table.run.settings.body, peel_speed_m_s=1e-2, clear_lift_m=0.001)
    )
    quick = evolve(kind, table=evolve(kind.table, run=evolve(kind.table.run, settings=fast)))
    assert Unknown("peel speed") in quick.matters()
    z = {Unknown("peel speed"): np.array([-1.5, 0.0, 1.5])} | {
        u: np.zeros(3) for u in (*quick.unknowns, *quick.own) if u != Unknown("peel speed")
    }
    release = quick.outlook(z).release
    assert release[0] > release[1] > release[2]
    at_rest = kind.outlook(z).release
    assert at_rest == pytest.approx(at_rest[0])  # told at 1 mm/s, so the exponent says nothing there
    assert believed([kind]).belief.knows(Unknown("peel speed"))
