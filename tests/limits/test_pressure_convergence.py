"""The pressure solver against closed forms, and the rate at which it gets there."""

import numpy as np
import pytest
from scipy.integrate import quad
from skfem import Basis, BilinearForm, ElementTriP2, LinearForm, MeshTri, condense, solve

from vatwright.geometry.pressure import (
    ENERGY_TOLERANCE,
    effective_torsion,
    platform_grid,
    raft_arms,
    raft_field,
    squeeze_field,
)


def ellipse(a=1.0, b=1.0, points=6000, turn=0.3):
    angle = np.linspace(0, 2 * np.pi, points, endpoint=False)
    x, y = a * np.cos(angle), b * np.sin(angle)
    return np.stack([x * np.cos(turn) - y * np.sin(turn), x * np.sin(turn) + y * np.cos(turn)], axis=1)


def polygon(sides, radius=1.0, turn=0.2):
    angle = turn + 2 * np.pi * np.arange(sides) / sides
    return radius * np.stack([np.cos(angle), np.sin(angle)], axis=1)


def rectangle(a, b):
    return np.array([[0.0, 0.0], [a, 0.0], [a, b], [0.0, b]])


def vented_annulus_torsion(inner, outer):
    # Poisson's equation between two circles, both at zero: integrates to the familiar annular-duct flow
    # (White, Viscous Fluid Flow, annulus: u ~ R2^4 - R1^4 - (R2^2 - R1^2)^2 / ln(R2/R1)).
    return np.pi / 2 * (outer**4 - inner**4 - (outer**2 - inner**2) ** 2 / np.log(outer / inner))


SMOOTH = {
    # Circle pi R^4 / 2, ellipse pi a^3 b^3 / (a^2 + b^2) (Timoshenko and Goodier, Theory of Elasticity, torsion).
    "disc": (ellipse(), [], np.pi / 2),
    "ellipse 2:1": (ellipse(2.0, 1.0), [], np.pi * 8 / 5),
    "vented annulus 0.5": (ellipse(), [ellipse(0.5, 0.5)], vented_annulus_torsion(0.5, 1.0)),
}
CORNERED = {
    # Rectangle: beta a b^3, beta to seven digits from Saint-Venant's series (Timoshenko and Goodier, art. 109).
    "square": (rectangle(1, 1), [], 0.1405770),
    "rectangle 2:1": (rectangle(2, 1), [], 2 * 0.2286817),
    "rectangle 10:1": (rectangle(10, 1), [], 10 * 0.3123250),
    # Equilateral triangle of side s: sqrt(3) s^4 / 80; the side is sqrt(3) for a circumradius of 1 (same chapter).
    "triangle": (polygon(3), [], np.sqrt(3) / 80 * 9),
    # Semicircle: (pi/2 - 4/pi) R^4, closed form of the sector's series (same chapter).
    "semicircle": (ellipse(turn=0.0)[:3001], [], np.pi / 2 - 4 / np.pi),
}


@pytest.mark.parametrize("name", [*SMOOTH, *CORNERED])
def test_handbook_torsion_constants_to_half_a_percent(name):
    outline, holes, torsion = (SMOOTH | CORNERED)[name]
    grid = platform_grid(outline, holes, cells=128)
    assert 4 * squeeze_field(grid, 1.0).squeeze_integral_m == pytest.approx(torsion, rel=2e-3)
    assert 4 * squeeze_field(platform_grid(outline, holes, cells=96), 1.0).squeeze_integral_m == pytest.approx(
        torsion, rel=5e-3
    )


def test_regular_hexagon_to_the_handbooks_digits():
    # Roark's formulas for stress and strain, torsion of a regular hexagon: 1.04 s^4 (from memory), printed to 3 digits.
    torsion = 4 * squeeze_field(platform_grid(polygon(6), cells=128), 1.0).squeeze_integral_m
    assert torsion == pytest.approx(1.04, abs=0.005)


@pytest.mark.parametrize("name", [*SMOOTH, "square", "triangle", "semicircle"])
def test_error_falls_with_the_square_of_the_pitch(name):
    # A second-order scheme: log2 of the error ratio is 2; the cut edges scatter it, so a line is fitted over 4 octaves.
    outline, holes, torsion = (SMOOTH | CORNERED)[name]
    cells = np.array([24, 32, 48, 64, 96, 128, 192, 256])
    error = [
        abs(4 * squeeze_field(platform_grid(outline, holes, cells=int(n)), 1.0).squeeze_integral_m / torsion - 1)
        for n in cells
    ]
    order = -np.polyfit(np.log(cells), np.log(error), 1)[0]
    assert 1.8 < order < 2.3


@pytest.mark.parametrize("printed_m", [0.0, 50e-6, 300e-6, 5e-3])
def test_disc_with_a_step_in_its_gap(printed_m):
    # Exact: the resin squeezed inside radius r leaves through it, h^3 psi' = -r/2 whatever the gap, so
    # Q = pi/8 [a^4/h1^3 + (R^4 - a^4)/h2^3].
    radius, raft_radius, gap = 0.04, 0.02, 50e-6
    exact = np.pi / 8 * (raft_radius**4 / gap**3 + (radius**4 - raft_radius**4) / (gap + printed_m) ** 3)
    outline, raft = ellipse(radius, radius), [ellipse(raft_radius, raft_radius)]
    errors = []
    for cells in (32, 64, 128, 256):
        grid = platform_grid(outline, cells=cells)
        field = raft_field(grid, raft_arms(grid, raft), gap_m=gap, printed_m=printed_m)
        errors.append(abs(field.squeeze_integral_m / exact - 1))
    assert errors[2] < 1e-3
    assert 1.6 < -np.polyfit(np.log([32, 64, 128, 256]), np.log(errors), 1)[0] < 2.6


def test_step_given_as_a_node_mask_is_within_its_staircase():
    radius, raft_radius, gap = 0.04, 0.02, 50e-6
    grid = platform_grid(ellipse(radius, radius), cells=256)
    x, y = np.meshgrid(grid.x_m, grid.y_m)
    torsion = effective_torsion(grid, x**2 + y**2 < raft_radius**2, gap_m=gap, printed_m=1e-3)
    exact = np.pi / 2 * (raft_radius**4 + (radius**4 - raft_radius**4) * (gap / (gap + 1e-3)) ** 3)
    assert torsion == pytest.approx(exact, rel=1e-2)


def test_tilted_wide_strip():
    # Plane-wedge squeeze film (Reynolds 1886, one dimension): h^3 psi' = c - x, psi = 0 at both ends, so per length
    # Q' = M2 - M1^2/M0 and first moment (M3 - M2 M1/M0)/2 with M_k = integral of x^k / h^3.
    # Two lengths are subtracted to leave the strip without its ends.
    width, gap, slope = 0.02, 60e-6, 3e-3
    m = [quad(lambda x, k=k: x**k / (gap + slope * x) ** 3, -width / 2, width / 2, epsrel=1e-12)[0] for k in range(4)]
    exact, exact_moment = m[2] - m[1] ** 2 / m[0], (m[3] - m[2] * m[1] / m[0]) / 2
    integral, moment = [], []
    for length, cells in ((0.1, 400), (0.12, 480)):
        grid = platform_grid(rectangle(width, length), cells=cells)
        everywhere = np.ones_like(grid.inside)
        field = raft_field(grid, everywhere, gap_m=gap, printed_m=0.0, tilt=(slope, 0.0))
        integral.append(field.squeeze_integral_m)
        moment.append(field.moment_n_m(viscosity_pa_s=1 / 12, speed_m_s=1.0))
    assert (integral[1] - integral[0]) / 0.02 == pytest.approx(exact, rel=1e-3)
    assert (moment[1][0] - moment[0][0]) / 0.02 == pytest.approx(exact_moment, rel=2e-3)
    assert exact_moment < 0
    # A moment is linear in psi, so it is known to what the iteration stops at, not to its square.
    assert moment[1][1] == pytest.approx(0.0, abs=ENERGY_TOLERANCE * abs(moment[1][0]))


def test_smooth_gap_against_finite_elements():
    # Independent solution: scikit-fem, second-order triangles, same equation, gap varying threefold.
    def gap(x, y):
        return 50e-6 * (1.5 + np.cos(7 * x) * np.sin(5 * y + 1))

    mesh = MeshTri.init_tensor(np.linspace(0, 1, 41), np.linspace(0, 0.6, 25))
    basis = Basis(mesh, ElementTriP2(), intorder=6)
    stiffness = BilinearForm(
        lambda u, v, w: (gap(*w.x) / 50e-6) ** 3 * (u.grad[0] * v.grad[0] + u.grad[1] * v.grad[1])
    ).assemble(basis)
    load = LinearForm(lambda v, w: 1.0 * v).assemble(basis)
    exact = load @ solve(*condense(stiffness, load, D=basis.get_dofs())) / 50e-6**3
    grid = platform_grid(rectangle(1.0, 0.6), cells=200)
    assert squeeze_field(grid, gap(*np.meshgrid(grid.x_m, grid.y_m))).squeeze_integral_m == pytest.approx(
        exact, rel=1e-3
    )


def test_peak_pressure_of_a_disc():
    # Stefan 1874: p = 3 mu V (R^2 - r^2) / h^3, the centre at twice the mean.
    field = squeeze_field(platform_grid(ellipse(0.01, 0.01), cells=128), 50e-6)
    pressure = field.pressure_pa(viscosity_pa_s=0.2, speed_m_s=1e-3)
    x, y = np.meshgrid(field.grid.x_m, field.grid.y_m)
    exact = np.clip(3 * 0.2 * 1e-3 * (0.01**2 - x**2 - y**2) / 50e-6**3, 0.0, None)
    assert pressure.max() == pytest.approx(480e3, rel=1e-3)
    assert np.abs(pressure - exact).max() < 2e-3 * 480e3
