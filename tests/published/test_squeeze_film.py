"""Squeeze film against handbook tables and closed forms.

Sources: Stefan 1874, Reynolds 1886 (disc), Saint-Venant 1855 and Timoshenko and Goodier 1951 (torsion constants), Scott
1931 (power law), Polya 1948 (bound).  Numbers marked "derived" are mathematics; each is recomputed here by quadrature
or by an integrator that knows nothing of the closed form.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from vatwright.errors import DomainError
from vatwright.physics import squeeze_film as film

DISC = film.disc_torsion(0.01)
SPRING = {"viscosity_pa_s": 0.2, "torsion_m4": DISC, "stiffness_n_m": 1e5}


@pytest.mark.parametrize(
    ("aspect", "beta"),
    # Timoshenko and Goodier 1951, table of rectangular bars: three printed digits
    [(1, 0.141), (1.2, 0.166), (1.5, 0.196), (2, 0.229), (2.5, 0.249), (3, 0.263), (4, 0.281), (5, 0.291), (10, 0.312)],
)
def test_rectangle_timoshenko_table(aspect: float, beta: float) -> None:
    assert film.rectangle_torsion(long_m=aspect, short_m=1.0) / aspect == pytest.approx(beta, abs=5.1e-4)


@pytest.mark.parametrize(
    ("aspect", "beta"),
    # Saint-Venant's series to seven digits (derived; summed in high precision)
    [
        (1, 0.1405770),
        (1.2, 0.1661189),
        (1.5, 0.1957607),
        (2, 0.2286817),
        (6, 0.2983195),
        (20, 0.3228292),
        (100, 0.3312325),
    ],
)
def test_rectangle_saint_venant_series(aspect: float, beta: float) -> None:
    assert film.rectangle_torsion(long_m=aspect, short_m=1.0) / aspect == pytest.approx(beta, abs=6e-8)


def test_rectangle_against_the_plain_series() -> None:
    n = np.arange(1, 20001, 2, dtype=float)
    for aspect in (1.0, 1.7, 8.0, 300.0):
        total = math.fsum((np.tanh(n * math.pi * aspect / 2) / n**5).tolist())
        beta = (1.0 - 192.0 / (math.pi**5 * aspect) * total) / 3.0
        assert film.rectangle_torsion(long_m=aspect, short_m=1.0) / aspect == pytest.approx(beta, rel=1e-14)


@pytest.mark.parametrize(
    ("ratio", "sealed", "vented"),
    # Bredt 1896 for the sealed ring; the vented one integrated (derived)
    [(0.1, 1.570639, 0.902027), (0.5, 1.472622, 0.197895), (0.8, 0.927398, 0.0150921)],
)
def test_ring(ratio: float, sealed: float, vented: float) -> None:
    ring = {"outer_radius_m": 1.0, "inner_radius_m": ratio}
    assert film.annulus_torsion(**ring) == pytest.approx(sealed, rel=1e-6)
    assert film.vented_annulus_torsion(**ring) == pytest.approx(vented, rel=4e-6)


@pytest.mark.parametrize("ratio", [0.05, 0.3, 0.37, 0.9, 0.999])
def test_vented_ring_against_reynolds_equation(ratio: float) -> None:
    """Reynolds 1886: p = 3 (R^2 - r^2 + (1 - R1^2) ln(r)/ln(1/R1)) for mu V/h^3 = 1; J = (1/3) times its integral."""

    def pressure(r: float) -> float:
        return 3.0 * (1.0 - r * r + (1.0 - ratio**2) * math.log(r) / math.log(1.0 / ratio))

    force, _ = quad(lambda r: 2.0 * math.pi * r * pressure(r), ratio, 1.0, epsabs=0.0, epsrel=1e-12)
    vented = film.vented_annulus_torsion(outer_radius_m=1.0, inner_radius_m=ratio)
    assert vented == pytest.approx(force / 3.0, rel=1e-7 if ratio > 0.99 else 1e-10)


def test_open_hole_takes_most_of_the_resistance_away() -> None:
    """Ring of half radius: vented over sealed 0.134383 (derived)."""
    ring = {"outer_radius_m": 1.0, "inner_radius_m": 0.5}
    assert film.vented_annulus_torsion(**ring) / film.annulus_torsion(**ring) == pytest.approx(0.134383, rel=1e-5)


def test_triangle_and_ellipse_saint_venant() -> None:
    height = math.sqrt(3.0) / 2.0
    assert film.triangle_torsion(1.0) == pytest.approx(height**4 / (15.0 * math.sqrt(3.0)), rel=1e-14)
    assert film.ellipse_torsion(long_semi_axis_m=2.0, short_semi_axis_m=1.0) == pytest.approx(5.0265482, rel=1e-8)
    circle = film.ellipse_torsion(long_semi_axis_m=3.0, short_semi_axis_m=3.0)
    assert circle == pytest.approx(film.disc_torsion(3.0), rel=1e-15)


def test_polya_bound_and_saint_venant_estimate() -> None:
    """Polya 1948: the disc is the extreme; Saint-Venant's estimate: square +6.7 %, triangle +12.5 %."""
    square, triangle = film.rectangle_torsion(long_m=1.0, short_m=1.0), film.triangle_torsion(1.0)
    assert film.torsion_bound(math.pi) == pytest.approx(film.disc_torsion(1.0), rel=1e-15)
    assert square < film.torsion_bound(1.0)
    assert triangle < film.torsion_bound(math.sqrt(3.0) / 4.0)
    assert film.torsion_estimate(area_m2=1.0, polar_m4=1 / 6) / square == pytest.approx(1.067, abs=5e-4)
    area = math.sqrt(3.0) / 4.0
    polar = 2.0 * math.sqrt(3.0) / 96.0
    assert film.torsion_estimate(area_m2=area, polar_m4=polar) / triangle == pytest.approx(1.125, abs=5e-4)


def test_stefan_disc() -> None:
    """Stefan 1874 with mu 0.2 Pa s, R 10 mm, h 50 um, V 1 mm/s: 75.398 N, 480 kPa; one atmosphere gives 31.832 N."""
    state = {"viscosity_pa_s": 0.2, "gap_m": 50e-6, "speed_m_s": 1e-3}
    area = math.pi * 0.01**2
    force = film.squeeze_force(torsion_m4=DISC, **state)
    assert force == pytest.approx(75.398, rel=1e-5)
    assert film.disc_peak_pressure(radius_m=0.01, **state) == pytest.approx(480.0e3, rel=1e-12)
    assert film.disc_peak_pressure(radius_m=0.01, **state) == pytest.approx(2.0 * force / area, rel=1e-12)
    assert film.suction_limit(area) == pytest.approx(31.832, rel=1e-4)
    assert film.viscous_pull(torsion_m4=DISC, area_m2=area, **state) == film.suction_limit(area)
    slow = {**state, "speed_m_s": 1e-4}
    assert film.viscous_pull(torsion_m4=DISC, area_m2=area, **slow) == pytest.approx(7.5398, rel=1e-5)


@pytest.mark.parametrize(("start", "seconds"), [(500e-6, 0.186611), (math.inf, 0.188496)])
def test_stefan_1874_time_by_integrating_his_force(start: float, seconds: float) -> None:
    """Stefan's law 3 pi mu R^4 V / (2 h^3) as dt/dh under 10 N, integrated by scipy's quadrature over u = 1/h."""
    found = film.squeeze_time(viscosity_pa_s=0.2, torsion_m4=DISC, start_gap_m=start, end_gap_m=50e-6, force_n=10.0)
    ends = (1.0 / start, 1.0 / 50e-6)
    integrated, _ = quad(lambda u: 3.0 * math.pi * 0.2 * 0.01**4 / (2.0 * 10.0) * u, *ends)  # dh = -du/u^2
    assert found == pytest.approx(integrated, rel=1e-10)
    assert found == pytest.approx(seconds, rel=5e-6)


def test_rectangle_platform_time() -> None:
    """120 x 68 mm, 0.2 Pa s, 50 N, 500 to 50 um: beta 0.2152097, J 8.12026e-6 m^4, 19.2937 s (derived)."""
    torsion = film.rectangle_torsion(long_m=0.12, short_m=0.068)
    assert torsion / (0.12 * 0.068**3) == pytest.approx(0.2152097, rel=1e-6)
    assert torsion == pytest.approx(8.12026e-6, rel=1e-6)
    push = {"viscosity_pa_s": 0.2, "start_gap_m": 500e-6, "end_gap_m": 50e-6, "force_n": 50.0}
    assert film.squeeze_time(torsion_m4=torsion, **push) == pytest.approx(19.2937, rel=5e-6)


@pytest.mark.parametrize(("end_um", "seconds"), [(55, 0.810766), (51, 1.862774)])
def test_settle_under_a_spring(end_um: float, seconds: float) -> None:
    """Disc of 10 mm, 0.2 Pa s, 1e5 N/m, target 50 um, from 550 um (derived; compared with an integrator below)."""
    gaps = {"start_gap_m": 550e-6, "end_gap_m": end_um * 1e-6, "target_gap_m": 50e-6}
    assert film.settle_time(**SPRING, **gaps) == pytest.approx(seconds, rel=1e-6)


def test_settle_scaling() -> None:
    """A fifth of the stiffness takes five times as long; twice the gap about an eighth (derived)."""
    gaps = {"start_gap_m": 550e-6, "end_gap_m": 55e-6, "target_gap_m": 50e-6}
    soft = film.settle_time(**{**SPRING, "stiffness_n_m": 2e4}, **gaps)
    assert soft == pytest.approx(4.053832, rel=1e-6)
    assert soft / film.settle_time(**SPRING, **gaps) == pytest.approx(5.0, rel=1e-14)
    thick = {"start_gap_m": 600e-6, "end_gap_m": 110e-6, "target_gap_m": 100e-6}
    assert film.settle_time(**SPRING, **thick) == pytest.approx(0.101205, rel=1e-5)
    assert film.settle_time_constant(target_gap_m=50e-6, **SPRING) == pytest.approx(0.753982, rel=1e-6)


@pytest.mark.parametrize("target_um", [50.0, 5.0, 0.01, 0.0, -0.01, -30.0, -500.0])
def test_settled_gap_against_an_integrator(target_um: float) -> None:
    """The equation of motion dx/dt = -k (x - a) x^3 / (3 mu J), integrated by scipy (Dormand-Prince 8)."""
    rate = 1e5 / (3.0 * 0.2 * DISC)
    a = target_um * 1e-6
    solution = solve_ivp(
        lambda _t, y: -rate * (y - a) * y**3, (0.0, 0.7), [550e-6], method="DOP853", rtol=1e-12, atol=1e-18
    )
    gap = film.settled_gap(start_gap_m=550e-6, target_gap_m=a, time_s=0.7, **SPRING)
    assert gap == pytest.approx(float(solution.y[0, -1]), rel=1e-9)


def test_settled_gap_worked_numbers() -> None:
    """mu 0.25, k 2.5e5, 2 s from 1 mm: 57.02, 72.63 and 79.36 um (derived, printed to four digits)."""
    state = {"viscosity_pa_s": 0.25, "stiffness_n_m": 2.5e5, "start_gap_m": 1e-3, "time_s": 2.0}
    for torsion, target_um, expected in ((1e-7, 50.0, 57.02), (1e-6, -30.0, 72.63), (1e-6, 0.0, 79.36)):
        gap = film.settled_gap(torsion_m4=torsion, target_gap_m=target_um * 1e-6, **state)
        assert gap * 1e6 == pytest.approx(expected, abs=0.0051)


def test_scott_power_law() -> None:
    """Scott 1931 with n = 0.8, m = 0.2 Pa s^n, R 10 mm, h 50 um, V 1 mm/s: 12.93037 N; n = 1 is Stefan's force."""
    disc = {"consistency_pa_sn": 0.2, "radius_m": 0.01, "gap_m": 50e-6, "speed_m_s": 1e-3}
    assert film.scott_force(flow_index=0.8, **disc) == pytest.approx(12.93037, rel=1e-6)
    stefan = film.squeeze_force(viscosity_pa_s=0.2, torsion_m4=DISC, gap_m=50e-6, speed_m_s=1e-3)
    assert film.scott_force(flow_index=1.0, **disc) == pytest.approx(stefan, rel=1e-12)


def test_scott_by_quadrature() -> None:
    """Flow between plates of a power-law fluid, wall shear from the momentum balance, integrated twice numerically."""
    n, m, radius, gap, speed = 0.6, 0.5, 0.012, 80e-6, 0.5e-3

    def gradient(r: float) -> float:
        # Q per width = V r / 2 = (h^2/2) (h dp / (2 m))^(1/n) / ((2n + 1)/n) for a slit of height h
        mean = speed * r / 2.0
        return 2.0 * m / gap * (mean * 2.0 * (2.0 * n + 1.0) / n / gap**2) ** n

    # F = integral of pi r^2 (-dp/dr) dr, by parts
    force, _ = quad(lambda r: math.pi * r**2 * gradient(r), 0.0, radius, epsrel=1e-12)
    found = film.scott_force(consistency_pa_sn=m, flow_index=n, radius_m=radius, gap_m=gap, speed_m_s=speed)
    assert found == pytest.approx(force, rel=1e-10)


def test_many_small_discs() -> None:
    """N equal discs of the same total area have one N-th of the torsion constant (derived)."""
    for count in (2, 4, 9):
        assert count * film.disc_torsion(1.0 / math.sqrt(count)) == pytest.approx(film.disc_torsion(1.0) / count)


def test_impossible_questions_are_refused() -> None:
    with pytest.raises(DomainError, match=r"end_gap_m: must be above the target gap 5e-05"):
        film.settle_time(start_gap_m=1e-3, end_gap_m=50e-6, target_gap_m=50e-6, **SPRING)
    with pytest.raises(DomainError, match=r"start_gap_m: must not be below the end gap"):
        film.squeeze_time(viscosity_pa_s=0.2, torsion_m4=DISC, start_gap_m=1e-5, end_gap_m=1e-4, force_n=1.0)
    with pytest.raises(DomainError, match=r"start_gap_m: must be above the target"):
        film.settled_gap(start_gap_m=50e-6, target_gap_m=50e-6, time_s=1.0, **SPRING)
    with pytest.raises(DomainError, match=r"inner_radius_m: must be below the outer radius"):
        film.annulus_torsion(outer_radius_m=1.0, inner_radius_m=1.0)
    with pytest.raises(DomainError, match=r"(?s)viscosity_pa_s.*torsion_m4.*gap_m"):
        film.squeeze_resistance(viscosity_pa_s=-1.0, torsion_m4=0.0, gap_m=math.nan)
