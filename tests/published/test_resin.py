"""Resin: viscosity (Andrade 1930, Vogel 1921), settling (Stokes 1851), shrinkage, drag-out (Landau, Levich 1942)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import constants
from scipy.integrate import quad, solve_ivp
from scipy.optimize import brentq

from vatwright.errors import DomainError
from vatwright.physics import cure_depth, drag_out, pool, viscosity

ROUNDED_R = 8.314
"""Gas constant of the worked ratios below, as school tables print it."""


@pytest.mark.parametrize(("celsius", "ratio"), [(20, 1.36293), (35, 0.554814), (40, 0.419130)])
def test_thinning_with_warmth_by_integrating_it(celsius: float, ratio: float) -> None:
    """Andrade 1930 as d ln(mu)/dT = -Ea/(R T^2), by scipy with its R; Ea 45 kJ/mol from 25 C, numbers by hand, R = 8.314."""
    energy = 45e3 * viscosity.GAS_CONSTANT_J_MOL_K / ROUNDED_R
    state = {"known_pa_s": 0.2, "known_k": 298.15, "activation_j_mol": energy}
    found = viscosity.andrade_viscosity(temperature_k=celsius + 273.15, **state) / 0.2
    assert found == pytest.approx(ratio, rel=5e-6)
    fallen, _ = quad(lambda kelvin: -energy / (constants.R * kelvin**2), 298.15, celsius + 273.15, epsrel=1e-12)
    assert math.log(found) == pytest.approx(fallen, rel=1e-8)


def test_activation_energy() -> None:
    """0.35 Pa s at 20 C and 0.12 at 40 C: 40849 J/mol with R = 8.314."""
    found = viscosity.activation_energy(cold_pa_s=0.35, cold_k=293.15, warm_pa_s=0.12, warm_k=313.15)
    assert found * ROUNDED_R / viscosity.GAS_CONSTANT_J_MOL_K == pytest.approx(40849, abs=0.6)


def test_two_points_are_met_and_order_does_not_matter() -> None:
    readings = {"cold_pa_s": 0.35, "cold_k": 293.15, "warm_pa_s": 0.12, "warm_k": 313.15}
    turned = {"cold_pa_s": 0.12, "cold_k": 313.15, "warm_pa_s": 0.35, "warm_k": 293.15}
    for kelvin, expected in ((293.15, 0.35), (313.15, 0.12)):
        assert viscosity.two_point_viscosity(temperature_k=kelvin, **readings) == pytest.approx(expected, rel=1e-14)
    for kelvin in (280.0, 303.0, 320.0):
        a = viscosity.two_point_viscosity(temperature_k=kelvin, **readings)
        assert a == pytest.approx(viscosity.two_point_viscosity(temperature_k=kelvin, **turned), rel=1e-12)


@pytest.mark.parametrize(
    ("celsius", "expected"), [(15, 0.404502), (20, 0.280038), (30, 0.146796), (40, 0.084790), (50, 0.052878)]
)
def test_vogel_fulcher_tammann(celsius: float, expected: float) -> None:
    """d ln(mu)/dT = -B/(T - T0)^2 by scipy's quadrature; B 900 K, T0 180 K, 0.2 Pa s at 25 C, numbers by hand."""
    blend = {"known_pa_s": 0.2, "known_k": 298.15, "b_k": 900.0, "t0_k": 180.0}
    found = viscosity.vft_viscosity(temperature_k=celsius + 273.15, **blend)
    assert found == pytest.approx(expected, abs=6e-7)
    fallen, _ = quad(lambda kelvin: -900.0 / (kelvin - 180.0) ** 2, 298.15, celsius + 273.15, epsrel=1e-12)
    assert math.log(found / 0.2) == pytest.approx(fallen, rel=1e-8)


def test_dwell_scales_with_viscosity() -> None:
    """Every squeeze time is proportional to viscosity: 20 C instead of 25 C costs 1.36 times (Ea 45 kJ/mol)."""
    state = {"known_pa_s": 0.2, "known_k": 298.15, "activation_j_mol": 45e3}
    assert viscosity.andrade_viscosity(temperature_k=293.15, **state) / 0.2 == pytest.approx(1.36, abs=5e-3)


def test_densities_give_the_shrinkage() -> None:
    """1.10 to 1.18 g/cm3: 6.7797 % of volume, 2.3130 % of length."""
    volume = cure_depth.volume_shrinkage(liquid_kg_m3=1100.0, cured_kg_m3=1180.0)
    assert volume == pytest.approx(0.067797, abs=5e-7)
    assert cure_depth.linear_shrinkage(volume) == pytest.approx(0.023130, abs=5e-7)


@pytest.mark.parametrize(("micrometres", "mm_per_hour"), [(10, 2.45166), (1, 0.0245166)])
def test_sinking_where_drag_carries_the_weight(micrometres: float, mm_per_hour: float) -> None:
    """Stokes 1851: drag 6 pi mu r U against the buoyant weight of the ball, solved by scipy; the numbers by hand."""
    speed = viscosity.sinking_speed(diameter_m=micrometres * 1e-6, density_difference_kg_m3=2500.0, viscosity_pa_s=0.2)
    assert speed * 3.6e6 == pytest.approx(mm_per_hour, rel=3e-6)
    r = 0.5e-6 * micrometres
    weight_n = 4.0 / 3.0 * math.pi * r**3 * 2500.0 * constants.g
    balanced = brentq(lambda u: 6.0 * math.pi * 0.2 * r * u / weight_n - 1.0, 0.0, 1e-3, xtol=1e-20, rtol=1e-12)
    assert speed == pytest.approx(balanced, rel=1e-9)


def test_crowded_particles_sink_slower() -> None:
    """Richardson and Zaki 1954: (1 - 0.1)^4.65 = 0.6127."""
    grain = {"diameter_m": 10e-6, "density_difference_kg_m3": 2500.0, "viscosity_pa_s": 0.2}
    ratio = viscosity.sinking_speed(volume_fraction=0.1, **grain) / viscosity.sinking_speed(**grain)
    assert ratio == pytest.approx(0.6127, abs=5e-5)


def test_landau_levich_coefficient() -> None:
    """Landau and Levich 1942: H''' = (H - 1)/H^3 ends in curvature 0.6430, and 0.643 3^(2/3)/sqrt 2 = 0.9458."""

    def slope(_x: float, y: np.ndarray) -> list[float]:
        return [y[1], y[2], (y[0] - 1.0) / y[0] ** 3]

    start = 1e-4  # H - 1 grows as exp(x) out of the film
    solution = solve_ivp(slope, (0.0, 400.0), [1.0 + start, start, start], method="DOP853", rtol=1e-11, atol=1e-12)
    curvature = float(solution.y[2, -1])
    coefficient = curvature * 3.0 ** (2.0 / 3.0) / math.sqrt(2.0)
    assert coefficient == pytest.approx(0.9458, abs=2e-4)
    resin = {"viscosity_pa_s": 0.1, "surface_tension_n_m": 0.035, "density_kg_m3": 1100.0}
    number = drag_out.capillary_number(viscosity_pa_s=0.1, speed_m_s=1e-4, surface_tension_n_m=0.035)
    length = math.sqrt(0.035 / (1100.0 * 9.80665))
    film = drag_out.film_thickness(speed_m_s=1e-4, **resin)
    assert film / (length * number ** (2.0 / 3.0)) == pytest.approx(coefficient, rel=3e-4)


def test_thick_resin_is_held_by_gravity_alone() -> None:
    """Deryagin 1943: at large capillary numbers h = sqrt(mu U / (rho g))."""
    film = drag_out.film_thickness(viscosity_pa_s=10.0, speed_m_s=0.01, surface_tension_n_m=0.035, density_kg_m3=1100.0)
    assert film == pytest.approx(math.sqrt(10.0 * 0.01 / (1100.0 * 9.80665)), rel=1e-14)


def test_draining_face() -> None:
    """Jeffreys 1930: h(z) = sqrt(mu z / (rho g t)); its mean over the face by quadrature."""
    z = (np.arange(200000) + 0.5) / 200000 * 0.1
    mean = float(np.sqrt(0.2 * z / (1100.0 * 9.80665 * 600.0)).mean())
    found = drag_out.drained_film(viscosity_pa_s=0.2, density_kg_m3=1100.0, height_m=0.1, time_s=600.0)
    assert found == pytest.approx(mean, rel=1e-7)


def test_relevel_time_is_that_of_a_ripple() -> None:
    """Orchard 1962 without surface tension: h_t = (rho g/3 mu)(h^3 h_x)_x; a small ripple, integrated on a grid.

    Its 1/e time is the formula's with L = wavelength/(2 pi); 256 cells leave an error of 5e-5.
    """
    mu, rho, g, depth, wavelength = 0.2, 1100.0, 9.80665, 5e-3, 0.2
    cells = 256
    dx = wavelength / cells
    x = (np.arange(cells) + 0.5) * dx
    rate = rho * g / (3.0 * mu)

    def levelling(_t: float, h: np.ndarray) -> np.ndarray:
        right = np.roll(h, -1)
        flux = rate * (0.5 * (h + right)) ** 3 * (right - h) / dx
        return (flux - np.roll(flux, 1)) / dx

    time = pool.relevel_time(viscosity_pa_s=mu, length_m=wavelength / (2.0 * math.pi), density_kg_m3=rho, depth_m=depth)
    ripple = 1e-4 * depth * np.cos(2.0 * math.pi * x / wavelength)
    solution = solve_ivp(levelling, (0.0, time), depth + ripple, method="BDF", rtol=1e-9, atol=1e-13)
    left = float((solution.y[:, -1] - depth) @ ripple / (ripple @ ripple))
    assert left == pytest.approx(math.exp(-1.0), rel=3e-4)
    depth_back = pool.relevel_depth(
        viscosity_pa_s=mu, length_m=wavelength / (2.0 * math.pi), density_kg_m3=rho, time_s=time
    )
    assert depth_back == pytest.approx(depth, rel=1e-13)


def test_bad_input_is_refused() -> None:
    with pytest.raises(DomainError, match="equals the first temperature"):
        viscosity.activation_energy(cold_pa_s=0.3, cold_k=300.0, warm_pa_s=0.2, warm_k=300.0)
    with pytest.raises(DomainError, match=r"(?s)known_k: must be above T0.*temperature_k"):
        viscosity.vft_viscosity(known_pa_s=0.2, known_k=100.0, b_k=900.0, t0_k=180.0, temperature_k=90.0)
    with pytest.raises(DomainError, match="volume_fraction"):
        viscosity.sinking_speed(diameter_m=1e-6, density_difference_kg_m3=1.0, viscosity_pa_s=0.1, volume_fraction=0.9)
