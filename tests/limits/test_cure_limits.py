"""Limits of the cure and vapour formulas."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.physics import cure_depth as cure
from vatwright.physics import vapour

depths = st.floats(min_value=0.0, max_value=1e-3)
penetrations = st.floats(min_value=20e-6, max_value=500e-6)


@given(depth=depths, penetration=penetrations)
def test_dose_and_depth_are_inverse(depth: float, penetration: float) -> None:
    dose = cure.cure_dose(penetration_m=penetration, critical_j_m2=80.0, depth_m=depth)
    back = cure.cure_depth(penetration_m=penetration, critical_j_m2=80.0, dose_j_m2=dose)
    assert back == pytest.approx(depth, rel=1e-12, abs=1e-15 * penetration)


def test_one_layer_prints_through_as_deep_as_it_cures() -> None:
    curve = {"penetration_m": 150e-6, "critical_j_m2": 80.0, "dose_j_m2": 160.0}
    assert cure.print_through(layer_m=50e-6, layers=1, **curve) == pytest.approx(cure.cure_depth(**curve), rel=1e-14)
    assert cure.print_through(layer_m=50e-6, layers=0, **curve) == 0.0


@given(layers=st.integers(min_value=1, max_value=500))
def test_print_through_grows_to_its_limit(layers: int) -> None:
    curve = {"penetration_m": 150e-6, "critical_j_m2": 80.0, "dose_j_m2": 160.0, "layer_m": 50e-6}
    now, then, end = (cure.print_through(layers=n, **curve) for n in (layers, layers + 1, None))
    assert now <= then <= end
    if layers >= 200:
        assert now == pytest.approx(end, rel=1e-12)


def test_very_thin_layers_add_up_without_cancellation() -> None:
    """L -> 0 at N L fixed: the sum tends to an integral, E0 (Dp/L)(1 - exp(-N L/Dp))."""
    thin = cure.accumulated_dose(penetration_m=150e-6, dose_j_m2=1.0, layer_m=1e-15, layers=150 * 10**9)
    assert thin == pytest.approx(150e-6 / 1e-15 * (1.0 - math.exp(-1.0)), rel=1e-10)


def test_small_shrinkage_is_a_third_in_length() -> None:
    assert cure.linear_shrinkage(1e-9) == pytest.approx(1e-9 / 3.0, rel=1e-8)


def test_scatter_free_readings_give_the_curve_itself() -> None:
    curve = {"penetration_m": 150e-6, "critical_j_m2": 80.0}
    doses = [100.0, 200.0, 800.0]
    fit = cure.fit_working_curve(doses, [cure.cure_depth(dose_j_m2=e, **curve) for e in doses])
    assert (fit.depth_low_m, fit.depth_high_m) == pytest.approx((150e-6, 150e-6), rel=1e-9)
    assert (fit.critical_low_j_m2, fit.critical_high_j_m2) == pytest.approx((80.0, 80.0), rel=1e-9)


def test_an_unsure_slope_leaves_the_critical_dose_open() -> None:
    fit = cure.fit_working_curve([100.0, 110.0, 120.0], [30e-6, 60e-6, 35e-6])
    assert fit.depth_low_m == 0.0
    assert (fit.critical_low_j_m2, fit.critical_high_j_m2) == (0.0, math.inf)


def test_a_sealed_room_fills_as_the_source_runs() -> None:
    """Q -> 0: C = G t / V."""
    air = 1e-9
    steady = vapour.steady_concentration(vapour_m3_s=1e-6, fresh_air_m3_s=air)
    found = vapour.concentration_after(steady_fraction=steady, room_m3=30.0, fresh_air_m3_s=air, time_s=600.0)
    assert found == pytest.approx(1e-6 * 600.0 / 30.0, rel=1e-7)
