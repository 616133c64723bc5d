"""Answers that agree with themselves: range and value, verdict and range, tolerance and time, there and back."""

from functools import cache

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import carried, job, machine, plate, resin, settings

from vatwright.evidence.tempering import effective, power_leaving
from vatwright.planning.carry.carry import EVEN, RANGE
from vatwright.records.job import Hands
from vatwright.records.material import CureReading
from vatwright.records.plan import Outlook

JUMP = [9.0] * 60 + [22.0] * 60
LARGE = {"width_mm": 300.0, "depth_mm": 165.0, "stiffness_n_m": 2.0e5}


@cache
def sheet(**changes):
    """Slabs after posts, to a larger machine where nobody comes."""
    study = plate(JUMP, spread_mm=(40.0, 26.0))
    return carried(job(target=machine("Albatross", **LARGE), hands=Hands(visits=0), **changes), study)


def outside(sheet, tolerance):
    """Share of body layers above the foot outside the tolerance, in the middle of the range."""
    first = 40
    return float((np.abs(sheet.layers.thickness_m[first:] / 50e-6 - 1.0) > tolerance + 1e-6).mean())


def test_what_is_advised_lies_in_the_range_it_is_shown_with():
    for advice in sheet().settings:
        assert advice.low <= advice.to_value <= advice.high, advice.name


def test_a_wider_tolerance_saves_time_where_thickness_binds_and_never_costs_any():
    found = [sheet(tolerance=t) for t in (0.05, 0.1, 0.2, 0.4)]
    settles = [s.advice("body.settle_s").to_value for s in found]
    assert settles == sorted(settles, reverse=True)
    assert settles[-1] < 0.7 * settles[0]
    times = [s.time.to_s for s in found]
    assert times == sorted(times, reverse=True)


@pytest.mark.parametrize("tolerance", [0.05, 0.1, 0.2])
def test_a_tolerance_that_is_asked_for_is_kept_by_all_but_two_layers_in_a_hundred(tolerance):
    assert outside(sheet(tolerance=tolerance), tolerance) <= 0.02


def test_the_trade_says_what_the_sheet_for_that_tolerance_says():
    rows = {t.tolerance: t for t in sheet().trade}
    assert list(rows) == sorted(rows)
    assert [t.to_s for t in rows.values()] == sorted((t.to_s for t in rows.values()), reverse=True)
    for tolerance in (0.05, 0.2):
        asked = sheet(tolerance=tolerance)
        # a quarter of the worlds tells what moves: it agrees to a step or two of the machine in every layer
        assert rows[tolerance].to_s == pytest.approx(asked.time.to_s, rel=0.08)
        assert rows[tolerance].mean == pytest.approx(asked.success.mean, abs=0.03)


def test_what_a_settle_is_made_of_adds_up_to_it():
    for part in sheet().spare:
        total = part.need_s + part.cover_s + part.spare_s + part.rounding_s
        assert total == pytest.approx(sheet().advice(part.setting).to_value, abs=1e-9)


def test_there_and_back_adds_no_more_than_the_sheets_say():
    """Carried to a larger machine and back, a settle grows by what was added for what is not known, no more."""
    small, large = machine("Wren"), machine("Albatross", **LARGE)
    study = plate([9.0] * 80)
    there = carried(job(origin=small, target=large), study)
    phases = {
        phase: evolve(getattr(settings(), phase), settle_s=there.advice(f"{phase}.settle_s").to_value)
        for phase in ("base", "body")
    }
    back = carried(job(origin=large, target=small, recipe=settings(**phases)), study)
    for name, proven_s in (("base.settle_s", 30.0), ("body.settle_s", 2.0)):
        added = sum(part.cover_s + part.rounding_s for s in (there, back) for part in s.spare if part.setting == name)
        grown = back.advice(name).to_value - proven_s
        assert -1e-9 <= grown <= added + 0.5 + 0.02 * proven_s


def test_a_wide_range_is_not_told_like_a_narrow_one():
    for found in (sheet(), sheet(tolerance=0.4)):
        if found.outlook is Outlook.HOLDS:
            assert found.success.low >= EVEN
            assert found.verdict.startswith("Will hold")
        if found.outlook is Outlook.UNSURE:
            assert found.success.low < EVEN
            assert f"{found.success.low * 100:.0f}" in found.verdict


def test_another_resin_that_needs_more_light_gets_it():
    """Jacobs: C_d = D_p ln(E / E_c); the slower resin needs E_c twice as high, so about twice the light at the least."""
    slow = resin(
        name="amber",
        cure_readings=tuple(
            CureReading(dose_j_m2=2.2 * d, depth_m=0.7 * x)
            for d, x in ((50.0, 52e-6), (100.0, 145e-6), (200.0, 246e-6), (400.0, 338e-6))
        ),
    )
    study = plate([9.0] * 60)
    found = carried(job(to_resin=slow), study)
    assert found.advice("body.exposure_s").to_value > 2.6
    through = found.layers.cure_depth_m[10:]
    assert (through > 50e-6).all()
    same = carried(job(), study)
    assert same.advice("body.exposure_s").to_value == 2.6


def test_a_likelihood_is_let_in_as_far_as_leaves_enough_worlds():
    """Weights exp(-b k) of a geometric row are worth about 2 / b of them (sums of a geometric series)."""
    rows = np.arange(2000.0)
    power = power_leaving(-rows, 100.0)
    assert power == pytest.approx(2.0 / 100.0, rel=0.01)
    assert effective(-power * rows) == pytest.approx(100.0, rel=1e-3)


def test_ranges_are_ranges_though_the_proof_contradicts_every_reading():
    """A proof that the readings make all but impossible: the sheet says so first, and its ranges do not collapse."""
    thick = plate([40.0] * 80, spread_mm=(41.0, 26.0))
    odd = settings(body=evolve(settings().body, settle_s=0.1, exposure_s=1.2))
    found = carried(job(recipe=odd), thick)
    low, high = (found.success.low, found.success.high)
    assert RANGE == (0.05, 0.95)
    if found.outlook is Outlook.AT_ODDS:
        assert not found.holds
        assert "could not have held" in found.verdict
        assert "check" in found.verdict
    for belief in found.beliefs:
        assert belief.after[0] < belief.after[2]
    assert low <= high
