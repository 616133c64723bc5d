"""Money: rules of retries and break-even against worked cases and against counting."""

from __future__ import annotations

import math

import pytest
from scipy import stats

from vatwright.planning.cost.failures import attempts, break_even, expected_cost
from vatwright.planning.cost.floor import floor_check
from vatwright.records.cost import MachineTable
from vatwright.records.sourced import Kind, Sourced


@pytest.mark.parametrize(
    ("good", "failed", "expected"), [(12.0, 9.0, 13.5882), (12.0, 12.0, 14.1176), (12.0, 4.8, 12.8471)]
)
def test_retries(good, failed, expected):
    """p 0.85: C + C_f (1 - p)/p; the last is a failure noticed at 40 % of a print that costs 12."""
    assert expected_cost(good=good, failed=failed, chance=0.85) == pytest.approx(expected, abs=5e-5)


def test_attempts_are_the_mean_of_the_geometric_distribution():
    """scipy.stats.geom; ten good parts are a negative binomial with the mean 11.7647."""
    assert attempts(0.85) == pytest.approx(stats.geom(0.85).mean(), rel=1e-12)
    assert 10 * attempts(0.85) == pytest.approx(10 + stats.nbinom(10, 0.85).mean(), rel=1e-12)
    assert 10 * attempts(0.85) == pytest.approx(11.7647, abs=5e-5)


def test_expected_cost_by_summing_over_failures():
    """Sum over n failures of p (1 - p)^n (C + n C_f)."""
    p = 0.7
    summed = math.fsum(p * (1 - p) ** n * (12.0 + 9.0 * n) for n in range(200))
    assert expected_cost(good=12.0, failed=9.0, chance=p) == pytest.approx(summed, rel=1e-12)


def test_break_even():
    """1200/(25 - 9.5) = 77.4: the 78th piece pays; nothing does where a piece earns nothing."""
    assert break_even(fixed=1200.0, price=25.0, unit_cost=9.5) == 78
    assert break_even(fixed=1200.0, price=24.0, unit_cost=9.0) == 80
    assert break_even(fixed=1.0, price=9.0, unit_cost=9.0) is None


def exact(value):
    return Sourced(value=value, low=value, high=value, source="user:reading", kind=Kind.READING)


def test_table_on_four_wooden_legs():
    """Four legs 40 x 40 mm, 10 GPa, 0.7 m, 30 kg, hinged at the foot: 7.938 Hz (beam theory)."""
    stiffness = 3.0 * 4 * 10e9 * (0.04**4 / 12.0) / 0.7**3
    table = MachineTable(stiffness_n_m=exact(stiffness), read=True, mass_kg=10.0)
    found = floor_check(table, load_kg=20.0, settle_s=4.0)
    assert found.frequency_hz.value == pytest.approx(7.938, abs=5e-4)
    # ln 20/(2 pi f zeta) with zeta 0.02, the slow end: 3.00 s.
    assert found.calm_s.high == pytest.approx(math.log(20.0) / (2.0 * math.pi * 7.938 * 0.02), rel=1e-3)
    assert found.still
    assert not floor_check(table, load_kg=20.0, settle_s=2.9).still


def test_a_heavier_machine_sways_slower_and_longer():
    """f goes with 1/sqrt(m)."""
    table = MachineTable(stiffness_n_m=exact(5e4), read=True, carries_kg=30.0)
    light, heavy = (floor_check(table, load_kg=kg, settle_s=3.0) for kg in (10.0, 40.0))
    assert light.frequency_hz.value == pytest.approx(2.0 * heavy.frequency_hz.value, rel=1e-12)
    assert heavy.calm_s.value == pytest.approx(2.0 * light.calm_s.value, rel=1e-12)
