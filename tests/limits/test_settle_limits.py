"""Limits of the spring-loaded squeeze film: where its closed form goes over into a simpler one."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from vatwright.physics import squeeze_film as film

FACE = {"viscosity_pa_s": 0.2, "torsion_m4": 1e-8}
SPRING = {**FACE, "stiffness_n_m": 1e5}
SCALE = 3.0 * 0.2 * 1e-8 / 1e5

lengths = st.floats(min_value=-7.0, max_value=-2.5).map(lambda e: 10.0**e)
targets = st.one_of(lengths, lengths.map(lambda x: -x), st.just(0.0), lengths.map(lambda x: 1e-7 * x))


def test_target_zero_is_the_cubic() -> None:
    """a -> 0: t = (mu J/k) (1/x^3 - 1/x0^3)."""
    gaps = {"start_gap_m": 400e-6, "end_gap_m": 40e-6}
    expected = SCALE / 3.0 * (1.0 / 40e-6**3 - 1.0 / 400e-6**3)
    for target in (0.0, 1e-16, -1e-16, 1e-13):
        assert film.settle_time(target_gap_m=target, **gaps, **SPRING) == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("ratio", [0.2499999, 0.2500001, -0.2499999, -0.2500001])
def test_series_and_logarithm_meet(ratio: float) -> None:
    """Either side of the change of form, against quadrature of dx/(x^3 (x - a))."""
    x, a = 60e-6, ratio * 60e-6
    integral, _ = quad(lambda y: 1.0 / (y**3 * (y - ratio)), 1.0, 10.0, epsabs=0.0, epsrel=1e-13)
    found = film.settle_time(start_gap_m=10.0 * x, end_gap_m=x, target_gap_m=a, **SPRING)
    assert found == pytest.approx(SCALE * integral / x**3, rel=1e-12)


def test_a_very_soft_spring_pressed_far_is_a_constant_force() -> None:
    """a -> -infinity with k (x - a) = F: the time under a constant force, to the change of force on the way."""
    force, reach = 20.0, 1.0
    gaps = {"start_gap_m": 300e-6, "end_gap_m": 50e-6}
    spring = film.settle_time(target_gap_m=-reach, stiffness_n_m=force / reach, **gaps, **FACE)
    constant = film.squeeze_time(force_n=force, **gaps, **FACE)
    assert spring == pytest.approx(constant, rel=3e-4)


def test_the_last_bit_decays_exponentially() -> None:
    """x -> a: each time constant takes another factor e off the deflection."""
    tau = film.settle_time_constant(target_gap_m=50e-6, **SPRING)
    gaps = {"start_gap_m": 50e-6 * (1 + 1e-6), "target_gap_m": 50e-6}
    later = film.settled_gap(time_s=tau, **gaps, **SPRING)
    assert (later - 50e-6) / (50e-6 * 1e-6) == pytest.approx(math.exp(-1.0), rel=1e-5)


def test_pressed_past_the_film_it_closes_with_the_root_of_time() -> None:
    """a < 0, late: x -> sqrt(3 mu J / (2 k |a| t))."""
    time = 1e9
    gap = film.settled_gap(start_gap_m=math.inf, target_gap_m=-100e-6, time_s=time, **SPRING)
    assert gap == pytest.approx(math.sqrt(SCALE / (2.0 * 100e-6 * time)), rel=2e-3)


def test_for_ever_ends_at_the_target() -> None:
    assert film.settled_gap(start_gap_m=1e-3, target_gap_m=50e-6, time_s=1e9, **SPRING) == 50e-6


def test_no_time_changes_nothing() -> None:
    assert film.settled_gap(start_gap_m=1e-3, target_gap_m=50e-6, time_s=0.0, **SPRING) == 1e-3


@given(start=lengths, target=targets, log_time=st.floats(min_value=-6.0, max_value=6.0), log_j=st.floats(-13.0, -4.0))
def test_gap_and_time_are_inverse(start: float, target: float, log_time: float, log_j: float) -> None:
    """The time to the gap found is the time given; compared as a shift of the gap, 1e-12 of it."""
    start += max(target, 0.0)
    spring = {"viscosity_pa_s": 0.25, "stiffness_n_m": 2.5e5, "torsion_m4": 10.0**log_j}
    if not start > max(target, 0.0):
        return
    time = 10.0**log_time
    gap = film.settled_gap(start_gap_m=start, target_gap_m=target, time_s=time, **spring)
    assert max(target, 0.0) <= gap <= start
    if gap > max(target, 0.0):
        back = film.settle_time(start_gap_m=start, end_gap_m=gap, target_gap_m=target, **spring)
        rate = 2.5e5 * (gap - target) * gap**3 / (3.0 * 0.25 * 10.0**log_j)
        assert abs(back - time) * rate <= 1e-12 * gap


@given(start=lengths, target=targets, log_time=st.floats(min_value=-4.0, max_value=3.0))
def test_more_time_a_stiffer_arm_or_thinner_resin_close_further(start: float, target: float, log_time: float) -> None:
    start += max(target, 0.0)
    if not start > max(target, 0.0):
        return

    def gap(**change: float) -> float:
        state = {**SPRING, "time_s": 10.0**log_time, **change}
        return film.settled_gap(start_gap_m=start, target_gap_m=target, **state)

    slack = 1e-12 * gap()
    assert gap(time_s=2.0 * 10.0**log_time) <= gap() + slack
    assert gap(stiffness_n_m=2e5) <= gap() + slack
    assert gap(viscosity_pa_s=0.1) <= gap() + slack
    assert gap(torsion_m4=2e-8) >= gap() - slack


def test_long_rectangle_is_a_strip() -> None:
    """b << a: J -> a b^3/3 (1 - 0.630 b/a), Saint-Venant; the end correction is 0.6302."""
    for aspect in (1e2, 1e6, 1e12):
        thin = film.rectangle_torsion(long_m=aspect, short_m=1.0) / aspect
        assert thin == pytest.approx((1.0 - 0.63025 / aspect) / 3.0, rel=1e-7)


def test_thin_ring() -> None:
    """Width w << R: vented it is a strip, 2 pi R w^3/3; sealed 2 pi R^3 w (Bredt)."""
    width = 1e-5
    ring = {"outer_radius_m": 1.0 + width / 2, "inner_radius_m": 1.0 - width / 2}
    assert film.vented_annulus_torsion(**ring) == pytest.approx(2.0 * math.pi * width**3 / 3.0, rel=1e-9)
    assert film.annulus_torsion(**ring) == pytest.approx(2.0 * math.pi * width, rel=1e-9)


def test_ring_series_and_closed_form_meet() -> None:
    """Either side of ln(R2/R1) = 1, where the evaluation changes."""
    below, above = (
        film.vented_annulus_torsion(outer_radius_m=math.exp(q), inner_radius_m=1.0) for q in (1 - 1e-9, 1 + 1e-9)
    )
    assert above == pytest.approx(below, rel=1e-7)
    assert above > below


def test_a_pinhole_hardly_vents() -> None:
    """R1 -> 0 tends to the disc, as slowly as 1/ln(R2/R1)."""
    disc = film.disc_torsion(1.0)
    for hole in (1e-6, 1e-100):
        vented = film.vented_annulus_torsion(outer_radius_m=1.0, inner_radius_m=hole)
        assert vented == pytest.approx(disc * (1.0 - 1.0 / math.log(1.0 / hole)), rel=1e-9)
