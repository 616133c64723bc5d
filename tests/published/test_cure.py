"""Cure against the working curve of Jacobs 1992 (D_p 150 um, E_c 8 mJ/cm2) and the mathematics around it."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import solve_ivp

from vatwright.errors import DomainError, InputError
from vatwright.physics import cure_depth as cure

CURVE = {"penetration_m": 150e-6, "critical_j_m2": 80.0}


@pytest.mark.parametrize(
    ("dose_mj_cm2", "depth_um"), [(8, 0.0), (16, 103.972), (24, 164.792), (40, 241.416), (80, 345.388)]
)
def test_depth_at_which_fading_light_falls_to_the_critical_dose(dose_mj_cm2: float, depth_um: float) -> None:
    """Jacobs 1992 by way of Beer's law, dE/dz = -E / D_p, integrated by scipy to where E = E_c; the numbers by hand."""
    depth = cure.cure_depth(dose_j_m2=10.0 * dose_mj_cm2, **CURVE)
    assert depth * 1e6 == pytest.approx(depth_um, rel=1e-5, abs=1e-9)
    faded = solve_ivp(
        lambda _z, dose: -dose / CURVE["penetration_m"], (0.0, depth), [10.0 * dose_mj_cm2], rtol=1e-10, atol=1e-12
    )
    assert faded.y[0, -1] == pytest.approx(CURVE["critical_j_m2"], rel=1e-8)


@pytest.mark.parametrize(("depth_um", "dose_mj_cm2"), [(50, 11.1649), (75, 13.1898), (100, 15.5819)])
def test_dose_that_reaches_a_depth_by_hand(depth_um: float, dose_mj_cm2: float) -> None:
    dose = cure.cure_dose(depth_m=depth_um * 1e-6, **CURVE)
    assert dose / 10.0 == pytest.approx(dose_mj_cm2, rel=5e-6)


def test_below_the_critical_dose_nothing_gels() -> None:
    assert cure.cure_depth(dose_j_m2=79.9, **CURVE) == 0.0
    assert cure.cure_depth(dose_j_m2=0.0, **CURVE) == 0.0


def test_two_exposures_add_as_doses() -> None:
    """10 and 14 mJ/cm2 on one face give 164.792 um; adding the depths would give 117.414, which is wrong."""
    both = cure.cure_depth(dose_j_m2=100.0 + 140.0, **CURVE)
    apart = cure.cure_depth(dose_j_m2=100.0, **CURVE) + cure.cure_depth(dose_j_m2=140.0, **CURVE)
    assert both * 1e6 == pytest.approx(164.792, rel=1e-5)
    assert apart * 1e6 == pytest.approx(117.414, rel=1e-5)


def test_working_curve_fit() -> None:
    """Readings (10, 33.5) (20, 137.4) (40, 241.4) (80, 345.4): D_p 149.997 um, E_c 8.0000 mJ/cm2."""
    fit = cure.fit_working_curve([100.0, 200.0, 400.0, 800.0], [33.5e-6, 137.4e-6, 241.4e-6, 345.4e-6])
    assert fit.depth_m * 1e6 == pytest.approx(149.997, rel=1e-5)
    assert fit.critical_j_m2 / 10.0 == pytest.approx(8.0, rel=1e-4)
    assert fit.depth_low_m < fit.depth_m < fit.depth_high_m
    assert fit.critical_low_j_m2 < fit.critical_j_m2 < fit.critical_high_j_m2
    assert (fit.dose_low_j_m2, fit.dose_high_j_m2, fit.readings) == (100.0, 800.0, 4)


def test_fit_agrees_with_a_statistics_library() -> None:
    """scipy.stats.linregress: slope and its standard error."""
    doses = [90.0, 120.0, 200.0, 400.0, 700.0, 900.0]
    depths = [30e-6, 55e-6, 150e-6, 235e-6, 330e-6, 350e-6]
    reference = stats.linregress(np.log(doses), depths)
    fit = cure.fit_working_curve(doses, depths, confidence=0.9)
    half = stats.t.ppf(0.95, 4) * reference.stderr
    assert fit.depth_m == pytest.approx(reference.slope, rel=1e-12)
    assert fit.depth_high_m - fit.depth_m == pytest.approx(half, rel=1e-10)
    assert math.log(fit.critical_j_m2) == pytest.approx(-reference.intercept / reference.slope, rel=1e-12)


def test_intervals_cover_as_often_as_they_say() -> None:
    """Fieller 1954: an exact interval. 2,000 simulated sets, 90 %; three standard errors of the count are 2 %."""
    rng = np.random.default_rng(7)
    doses = [100.0, 150.0, 250.0, 400.0]
    hits = np.zeros(2)
    for _ in range(2000):
        depths = [cure.cure_depth(dose_j_m2=e, **CURVE) + 8e-6 * rng.standard_normal() for e in doses]
        fit = cure.fit_working_curve(doses, depths, confidence=0.9)
        hits += (
            fit.depth_low_m <= 150e-6 <= fit.depth_high_m,
            fit.critical_low_j_m2 <= 80.0 <= fit.critical_high_j_m2,
        )
    assert hits / 2000 == pytest.approx([0.9, 0.9], abs=0.02)


def test_two_readings_give_a_line_and_no_interval() -> None:
    fit = cure.fit_working_curve([100.0, 400.0], [40e-6, 240e-6])
    assert fit.depth_m == pytest.approx(200e-6 / math.log(4.0), rel=1e-12)
    assert (fit.depth_low_m, fit.depth_high_m, fit.critical_high_j_m2) == (0.0, math.inf, math.inf)


@pytest.mark.parametrize(("layers", "depth_um"), [(3, 224.269), (None, 293.070)])
def test_print_through(layers: int | None, depth_um: float) -> None:
    """E 16 mJ/cm2, layers of 50 um: geometric sum (derived)."""
    found = cure.print_through(dose_j_m2=160.0, layer_m=50e-6, layers=layers, **CURVE)
    assert found * 1e6 == pytest.approx(depth_um, rel=3e-6)


def test_accumulated_dose_is_the_sum_of_its_layers() -> None:
    one = 160.0 * math.exp(-20e-6 / 150e-6)
    total = math.fsum(one * math.exp(-k * 50e-6 / 150e-6) for k in range(40))
    found = cure.accumulated_dose(penetration_m=150e-6, dose_j_m2=160.0, layer_m=50e-6, layers=40, depth_m=20e-6)
    assert found == pytest.approx(total, rel=1e-13)


def test_reciprocity() -> None:
    """2.5 s from 3 to 2 mW/cm2: 3.75 s at equal dose, 3.0619 s at alpha 1/2, 4.1501 s at Schwarzschild's p = 0.8."""
    move = {"exposure_s": 2.5, "from_irradiance_w_m2": 30.0, "to_irradiance_w_m2": 20.0}
    assert cure.carried_exposure(**move) == pytest.approx(3.75, rel=1e-15)
    assert cure.carried_exposure(reciprocity=0.5, **move) == pytest.approx(3.0619, rel=1.5e-5)
    assert cure.carried_exposure(reciprocity=1.0 / 0.8, **move) == pytest.approx(4.1501, rel=1.5e-5)


def test_photons_at_405_nm() -> None:
    """1 mW/cm2 at 405 nm is 2.03882e15 photons/(cm2 s), from the defining constants (SI brochure 2019)."""
    flux = cure.photon_flux(irradiance_w_m2=10.0, wavelength_m=405e-9)
    assert flux * 1e-4 == pytest.approx(2.03882e15, rel=3e-6)


@pytest.mark.parametrize(("absorbance", "depth_um"), [(0.4148, 97.37), (0.6422, 62.9), (0.7539, 53.6), (1.2281, 32.89)])
def test_penetration_depth_from_spectra(absorbance: float, depth_um: float) -> None:
    """Beer-Lambert for a 93 um cell; absorbances of an open (MIT) set of resin spectra, dye series at 405 nm."""
    found = cure.penetration_from_absorbance(cell_m=93e-6, absorbance=absorbance)
    assert found * 1e6 == pytest.approx(depth_um, rel=1e-3)


def test_a_foreign_curve_is_worth_little() -> None:
    """Kolibaba et al. 2024: E_c apart by up to 70 times; a factor sqrt(70) moves the depth by 2.124 D_p."""
    far = cure.cure_depth(penetration_m=150e-6, critical_j_m2=80.0 / math.sqrt(70.0), dose_j_m2=160.0)
    near = cure.cure_depth(dose_j_m2=160.0, **CURVE)
    assert (far - near) / 150e-6 == pytest.approx(2.124, abs=5e-4)


def test_bad_readings_are_refused() -> None:
    with pytest.raises(InputError, match="fewer than two different doses"):
        cure.fit_working_curve([100.0, 100.0], [1e-5, 2e-5])
    with pytest.raises(InputError, match="the depth does not grow with the dose"):
        cure.fit_working_curve([100.0, 200.0], [2e-5, 1e-5])
    with pytest.raises(InputError, match="1 depths for 2 doses"):
        cure.fit_working_curve([100.0, 200.0], [2e-5])
    with pytest.raises(DomainError, match="dose_j_m2"):
        cure.cure_depth(dose_j_m2=-1.0, **CURVE)
    with pytest.raises(DomainError, match="layers: must not be negative"):
        cure.print_through(dose_j_m2=160.0, layer_m=50e-6, layers=-1, **CURVE)
