"""Vapour: 2-propanol by the NIOSH pocket guide (2007) and the dilution equation of the ventilation manual."""

from __future__ import annotations

import math

import pytest
from scipy.integrate import solve_ivp

from vatwright.errors import DomainError
from vatwright.physics import vapour

PROPANOL_KG_MOL = 0.0601
LOWER_EXPLOSIVE = 0.020
FLOW = vapour.vapour_flow(evaporation_kg_s=0.1 / 3600, molar_mass_kg_mol=PROPANOL_KG_MOL)


@pytest.mark.parametrize(("air_changes", "ppm"), [(1, 1356.1), (3, 452.0), (6, 226.0)])
def test_hundred_grams_an_hour_in_thirty_cubic_metres(air_changes: float, ppm: float) -> None:
    air = air_changes * 30.0 / 3600
    found = vapour.steady_concentration(vapour_m3_s=FLOW, fresh_air_m3_s=air)
    assert found * 1e6 == pytest.approx(ppm, abs=0.051)
    badly_mixed = vapour.steady_concentration(vapour_m3_s=FLOW, fresh_air_m3_s=air, mixing=3.0)
    assert badly_mixed == pytest.approx(3.0 * found, rel=1e-14)


@pytest.mark.parametrize(("limit_ppm", "m3_h"), [(400, 101.7), (50, 813.6)])
def test_fresh_air_for_a_limit(limit_ppm: float, m3_h: float) -> None:
    found = vapour.fresh_air_needed(vapour_m3_s=FLOW, limit_fraction=limit_ppm * 1e-6)
    assert found * 3600 == pytest.approx(m3_h, abs=0.051)


def test_an_open_bucket_is_above_the_explosive_limit() -> None:
    """33 mmHg at 20 C: 4.342 % by volume, 2.17 times the lower explosive limit of 2.0 %."""
    found = vapour.saturated_fraction(33.0 / 760.0 * 101_325.0)
    assert found * 100 == pytest.approx(4.342, abs=5e-4)
    assert found / LOWER_EXPLOSIVE == pytest.approx(2.17, abs=5e-3)


def test_one_litre_spilled() -> None:
    """785 g in 30 m3: 10,645 ppm, 53 % of the lower explosive limit."""
    found = vapour.spill_concentration(mass_kg=0.785, molar_mass_kg_mol=PROPANOL_KG_MOL, room_m3=30.0)
    assert found * 1e6 == pytest.approx(10_645, abs=0.6)
    assert found / LOWER_EXPLOSIVE == pytest.approx(0.53, abs=3e-3)


def test_imperial_form_of_the_manual() -> None:
    """Q = 403 SG 1e6 ER K / (MW C): SG 0.785, 0.01 pint/min, 400 ppm give 131.6 cfm, with a mole of gas at 70 F.

    403 is rounded to three digits: 0.2 %.
    """
    pint_m3, foot_m, fahrenheit_70_k = 0.473176473e-3, 0.3048, 294.261
    molar_volume = 8.314462618 * fahrenheit_70_k / 101_325.0
    flow = vapour.vapour_flow(
        evaporation_kg_s=0.01 * pint_m3 * 785.0 / 60.0,
        molar_mass_kg_mol=PROPANOL_KG_MOL,
        molar_volume_m3_mol=molar_volume,
    )
    cfm = vapour.fresh_air_needed(vapour_m3_s=flow, limit_fraction=400e-6) * 60.0 / foot_m**3
    assert cfm == pytest.approx(131.6, rel=2e-3)


def test_three_air_changes_bring_95_percent() -> None:
    room = {"room_m3": 30.0, "fresh_air_m3_s": 30.0 / 3600}
    found = vapour.concentration_after(steady_fraction=1.0, time_s=3 * 3600.0, **room)
    assert found == pytest.approx(1.0 - math.exp(-3.0), rel=1e-14)
    assert found == pytest.approx(0.95, abs=5e-4)


def test_build_up_and_decay_against_an_integrator() -> None:
    """V dC/dt = G - Q C, integrated by scipy, from a room that already smells."""
    volume, air, source = 30.0, 0.02, 2e-6
    solution = solve_ivp(
        lambda _t, c: (source - air * c) / volume, (0.0, 900.0), [3e-4], rtol=1e-10, atol=1e-15, method="DOP853"
    )
    steady = vapour.steady_concentration(vapour_m3_s=source, fresh_air_m3_s=air)
    found = vapour.concentration_after(
        steady_fraction=steady, room_m3=volume, fresh_air_m3_s=air, time_s=900.0, start_fraction=3e-4
    )
    assert found == pytest.approx(float(solution.y[0, -1]), rel=1e-8)


def test_out_of_range_is_refused() -> None:
    with pytest.raises(DomainError, match="mixing: must be 1 or above"):
        vapour.steady_concentration(vapour_m3_s=FLOW, fresh_air_m3_s=0.01, mixing=0.5)
    with pytest.raises(DomainError, match="fresh_air_m3_s"):
        vapour.steady_concentration(vapour_m3_s=FLOW, fresh_air_m3_s=0.0)
