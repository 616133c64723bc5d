"""Stiffness against beams and plates: Timoshenko and Woinowsky-Krieger 1959 (tables 8, 23, 35, 37), Rayleigh 1877."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad

from vatwright.errors import DomainError
from vatwright.physics import stiffness as stiff

GLASS = stiff.plate_rigidity(modulus_pa=70e9, thickness_m=4e-3, poisson=0.22)


def test_aluminium_arm() -> None:
    """70 GPa, 40 x 20 mm, 150 mm, 50 N: 0.0301339 mm, 1.65926e6 N/m; 1.5 kg at the tip: 163.58 Hz."""
    second = stiff.rectangle_second_moment(width_m=0.04, height_m=0.02)
    arm = {"modulus_pa": 70e9, "second_moment_m4": second, "length_m": 0.15}
    k = stiff.cantilever_stiffness(**arm)
    assert k == pytest.approx(1.65926e6, rel=1e-6)
    assert 50.0 / k == pytest.approx(0.0301339e-3, rel=1e-6)
    mass = 1.5 + 0.3 * stiff.TIP_SHARE_OF_BEAM
    assert stiff.natural_frequency(stiffness_n_m=k, mass_kg=mass) == pytest.approx(163.58, abs=5e-3)


def test_rayleighs_share_of_the_beam() -> None:
    """Kinetic energy of the static shape (3 s^2 - s^3)/2 against that of the tip: 33/140."""
    share, _ = quad(lambda s: (0.5 * (3.0 * s**2 - s**3)) ** 2, 0.0, 1.0)
    assert pytest.approx(share, rel=1e-12) == stiff.TIP_SHARE_OF_BEAM


def test_cantilever_by_integrating_its_curvature() -> None:
    """w = integral of M(x) x / (E I), M = P x measured from the tip."""
    deflection, _ = quad(lambda x: x * x / (70e9 * 2e-8), 0.0, 0.15)
    found = stiff.cantilever_stiffness(modulus_pa=70e9, second_moment_m4=2e-8, length_m=0.15)
    assert 1.0 / found == pytest.approx(deflection, rel=1e-12)


def test_glass_plate() -> None:
    """4 mm glass: D 392.322 N m; 100 mm square, 50 N in the middle: clamped 7.14 um, simply supported 14.78 um."""
    assert pytest.approx(392.322, rel=2e-6) == GLASS
    square = {"rigidity_j": GLASS, "long_m": 0.1, "short_m": 0.1}
    assert 50.0 / stiff.rectangular_plate_stiffness(**square) == pytest.approx(7.14e-6, abs=5e-9)
    carried = 50.0 / stiff.rectangular_plate_stiffness(edges="simple", **square)
    assert carried == pytest.approx(14.78e-6, abs=5e-9)


def test_round_glass() -> None:
    """Radius 50 mm: 6.33867 um under 50 N."""
    found = 50.0 / stiff.round_plate_stiffness(rigidity_j=GLASS, radius_m=0.05)
    assert found == pytest.approx(6.33867e-6, rel=2e-6)


@pytest.mark.parametrize(
    ("edges", "load", "printed"),
    # Timoshenko and Woinowsky-Krieger 1959 for b/a = 1, 1.2, 1.5, 2: three or four printed digits, from memory
    [
        ("clamped", "uniform", (0.00126, 0.00172, 0.00220, 0.00254)),
        ("clamped", "point", (0.00560, 0.00647, 0.00702, 0.00722)),
        ("simple", "uniform", (0.00406, 0.00564, 0.00772, 0.01013)),
        ("simple", "point", (0.01160, 0.01353, 0.01531, 0.01651)),
    ],
)
def test_plate_tables_as_printed(edges: str, load: str, printed: tuple[float, ...]) -> None:
    assert stiff.PLATE_UNDER_LOAD[edges, load] == pytest.approx(printed, rel=5e-3)


@pytest.mark.parametrize(("column", "aspect"), list(enumerate(stiff.PLATE_ASPECTS)))
def test_simply_supported_plates_by_navier(column: int, aspect: float) -> None:
    """Navier's double sine series, a = 1 by b = aspect."""
    n = np.arange(1, 1600, 2, dtype=float)
    m, k = np.meshgrid(n, n, indexing="ij")
    stiffness = math.pi**4 * (m**2 + (k / aspect) ** 2) ** 2
    sign = np.sin(m * math.pi / 2) * np.sin(k * math.pi / 2)
    uniform = float((16.0 / (math.pi**2 * m * k) * sign / stiffness).sum())
    point = float((4.0 / aspect / stiffness).sum())
    assert stiff.PLATE_UNDER_LOAD["simple", "uniform"][column] == pytest.approx(uniform, rel=2e-5)
    assert stiff.PLATE_UNDER_LOAD["simple", "point"][column] == pytest.approx(point, rel=2e-5)


@pytest.mark.parametrize(("column", "aspect"), list(enumerate(stiff.PLATE_ASPECTS)))
def test_clamped_plates_by_ritz(column: int, aspect: float) -> None:
    """Ritz with (1 - x^2)^2 (1 - y^2)^2 times even Legendre polynomials: uniform load to 2e-5, point load to 2 %."""
    from numpy.polynomial import legendre, polynomial

    count = 12
    nodes, weights = legendre.leggauss(60)
    values, bends = [], []
    for i in range(count):
        p = polynomial.polymul([1.0, 0.0, -2.0, 0.0, 1.0], legendre.leg2poly([0.0] * (2 * i) + [1.0]))
        values.append(p)
        bends.append(polynomial.polyder(p, 2))
    f = np.array([polynomial.polyval(nodes, p) for p in values])
    f2 = np.array([polynomial.polyval(nodes, p) for p in bends])
    a00, a02, a22 = (np.einsum("iq,jq,q->ij", u, v, weights) for u, v in ((f, f), (f, f2), (f2, f2)))
    # lengths in half short sides; the plate is 2 by 2 aspect, y stretched by the aspect
    s = 1.0 / aspect**2
    matrix = np.kron(a22, a00) + s**2 * np.kron(a00, a22) + s * (np.kron(a02, a02.T) + np.kron(a02.T, a02))
    mean = f @ weights
    middle = np.array([polynomial.polyval(0.0, p) for p in values])
    at_middle = np.kron(middle, middle)
    uniform = at_middle @ np.linalg.solve(matrix, np.kron(mean, mean)) / 16.0
    point = at_middle @ np.linalg.solve(matrix, at_middle) / aspect / 4.0
    assert stiff.PLATE_UNDER_LOAD["clamped", "uniform"][column] == pytest.approx(uniform, rel=5e-5)
    assert stiff.PLATE_UNDER_LOAD["clamped", "point"][column] == pytest.approx(point, rel=0.02)


@pytest.mark.parametrize(("sag_mm", "hertz"), [(1.0, 15.7609), (0.1, 49.8403)])
def test_frequency_from_sag(sag_mm: float, hertz: float) -> None:
    assert stiff.sag_frequency(sag_mm * 1e-3) == pytest.approx(hertz, abs=5e-5)


def test_wooden_table() -> None:
    """Four legs 40 x 40 mm of 10 GPa, 0.7 m, 30 kg: 15.877 Hz with fixed feet, half of it with hinged ones."""
    legs = {"legs": 4, "modulus_pa": 10e9, "second_moment_m4": 0.04**4 / 12, "height_m": 0.7}
    fixed, hinged = (
        stiff.natural_frequency(stiffness_n_m=stiff.table_stiffness(foot=foot, **legs), mass_kg=30.0)
        for foot in ("fixed", "hinged")
    )
    assert fixed == pytest.approx(15.877, abs=5e-4)
    assert hinged == pytest.approx(7.938, abs=5e-4)
    assert fixed == pytest.approx(2.0 * hinged, rel=1e-14)


def test_ring_down_of_a_damped_swing() -> None:
    """exp(-2 pi f zeta t) = left (Rayleigh 1877)."""
    seconds = stiff.ring_down_time(frequency_hz=8.0, damping_ratio=0.03, left=0.05)
    assert math.exp(-2.0 * math.pi * 8.0 * 0.03 * seconds) == pytest.approx(0.05, rel=1e-12)


def test_springs_and_dial() -> None:
    assert stiff.springs_in_series(1.0, 2.0, 3.0) == pytest.approx(6.0 / 11.0, rel=1e-15)
    reading = stiff.dial_stiffness(load_n=49.0, deflection_m=2e-4, load_sigma_n=0.98, deflection_sigma_m=3e-6)
    assert reading.stiffness_n_m == pytest.approx(2.45e5, rel=1e-14)
    assert reading.sigma_n_m / reading.stiffness_n_m == pytest.approx(0.025, rel=1e-12)  # 2 % and 1.5 %


def test_dial_uncertainty_by_simulation() -> None:
    """Guide to the expression of uncertainty, first order: a spread of 3 % is met within 5 % of itself."""
    rng = np.random.default_rng(3)
    simulated = (50.0 + 1.0 * rng.standard_normal(40000)) / (2e-4 + 4e-6 * rng.standard_normal(40000))
    reading = stiff.dial_stiffness(load_n=50.0, deflection_m=2e-4, load_sigma_n=1.0, deflection_sigma_m=4e-6)
    assert float(simulated.std()) == pytest.approx(reading.sigma_n_m, rel=0.05)


def test_out_of_range_is_refused() -> None:
    with pytest.raises(DomainError, match="not clear of its own uncertainty"):
        stiff.dial_stiffness(load_n=1.0, deflection_m=1e-6, deflection_sigma_m=1e-6)
    with pytest.raises(DomainError, match="poisson"):
        stiff.plate_rigidity(modulus_pa=70e9, thickness_m=4e-3, poisson=0.7)
    with pytest.raises(DomainError, match="edges: must be clamped or simple, got 'free'"):
        stiff.rectangular_plate_stiffness(rigidity_j=1.0, long_m=1.0, short_m=1.0, edges="free")
    with pytest.raises(DomainError, match="foot: must be fixed or hinged"):
        stiff.table_stiffness(legs=4, modulus_pa=1e9, second_moment_m4=1e-8, height_m=1.0, foot="glued")
    with pytest.raises(DomainError, match="springs"):
        stiff.springs_in_series()
    with pytest.raises(DomainError, match="stiffness_2_n_m"):
        stiff.springs_in_series(1.0, 0.0)
    with pytest.raises(DomainError, match="must be below 1"):
        stiff.ring_down_time(frequency_hz=8.0, damping_ratio=0.03, left=1.0)
