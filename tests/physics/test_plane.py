"""The plane fit against worked cases, closed forms and general least-squares libraries."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import lstsq
from scipy.optimize import curve_fit

from vatwright.errors import DomainError
from vatwright.physics.plane import fit_plane, plane_sigma, twist_sigma

CORNERS = {"x_m": [-0.05, 0.05, 0.05, -0.05], "y_m": [-0.03, -0.03, 0.03, 0.03]}
SIZE = {"width_m": 0.1, "depth_m": 0.06}
MM = 1e-3


def test_four_corners_by_hand() -> None:
    """Means of sides give the tilt, the mean of all the offset, (g1-g2+g3-g4)/4 the twist: mathematics, exact."""
    gap = [0.10 * MM, 0.16 * MM, 0.20 * MM, 0.12 * MM]
    fit = fit_plane(**CORNERS, gap_m=gap, sigma_m=[1e-5] * 4)
    assert fit.offset_m == pytest.approx(0.145 * MM, abs=1e-12)
    assert (fit.tilt_x, fit.tilt_y) == pytest.approx((0.0007, 0.0005), abs=1e-12)
    assert fit.residual_m == pytest.approx(np.array([0.005, -0.005, 0.005, -0.005]) * MM, abs=1e-12)
    twisted = fit_plane(**CORNERS, gap_m=gap, sigma_m=[1e-5] * 4, **SIZE)
    assert twisted.twist_m == pytest.approx(0.005 * MM, abs=1e-12)
    assert twisted.residual_m == pytest.approx(np.zeros(4), abs=1e-12)
    assert twisted.freedom == 0


def test_three_points_exactly() -> None:
    """Three points fix a plane: mathematics.  Slope sqrt(0.0003^2 + 0.001^2) = 1.04403 mrad."""
    fit = fit_plane(
        x_m=[0.0, 0.1, 0.0], y_m=[0.0, 0.0, 0.06], gap_m=[0.10 * MM, 0.13 * MM, 0.16 * MM], sigma_m=[1e-5] * 3
    )
    assert (fit.tilt_x, fit.tilt_y) == pytest.approx((0.0003, 0.001), abs=1e-12)
    assert fit.at(0.1, 0.06) == pytest.approx(0.19 * MM, abs=1e-12)
    assert fit.at(0.1, 0.06) - fit.at(0.0, 0.0) == pytest.approx(0.09 * MM, abs=1e-12)
    assert math.hypot(fit.tilt_x, fit.tilt_y) * 1e3 == pytest.approx(1.04403, abs=5e-6)
    assert fit.standardised.tolist() == [0.0, 0.0, 0.0], "nothing checks three readings"


@pytest.mark.parametrize(
    ("points", "times"),
    [
        ([(x, y) for x in (-1, 0, 1) for y in (-1, 0, 1)], 2.0 / 3.0),  # 1/9 + 1/6 + 1/6
        ([(-1, -1), (1, -1), (1, 1), (-1, 1)], math.sqrt(3.0) / 2.0),  # 1/4 + 1/4 + 1/4
        ([(-1, -1), (1, -1), (-1, 1)], math.sqrt(3.0)),  # the fourth corner is b + c - a
    ],
    ids=["grid of nine", "four corners", "three corners, the fourth"],
)
def test_noise_at_a_corner(points: list[tuple[int, int]], times: float) -> None:
    """sigma^2 x'(X'X)^-1 x, Draper and Smith, Applied Regression Analysis (1998); the sums beside the cases, by hand."""
    x, y = (np.array(v, dtype=float) for v in zip(*points, strict=True))
    sigma = plane_sigma(x_m=x * 0.05, y_m=y * 0.03, sigma_m=[1e-5] * len(x), at_x_m=0.05, at_y_m=0.03)
    assert sigma / 1e-5 == pytest.approx(times, rel=1e-9)


def test_a_fifth_of_a_millimetre_over_two_hundred() -> None:
    """0.2 mm over 200 mm is 1 mrad, 0.0572958 degrees: geometry."""
    fit = fit_plane(
        x_m=[-0.1, 0.1, 0.1, -0.1], y_m=[-0.05, -0.05, 0.05, 0.05], gap_m=[0.0, 2e-4, 2e-4, 0.0], sigma_m=[1e-5] * 4
    )
    assert fit.tilt_x * 1e3 == pytest.approx(1.0, rel=1e-12)
    assert math.degrees(math.atan(fit.tilt_x)) == pytest.approx(0.0572958, abs=5e-8)


def scattered(count: int) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(5)
    return {
        "x_m": rng.uniform(-0.15, 0.15, count),
        "y_m": rng.uniform(-0.08, 0.08, count),
        "gap_m": rng.uniform(5e-5, 3e-4, count),
        "sigma_m": rng.uniform(5e-6, 4e-5, count),
    }


def test_against_scipy_least_squares() -> None:
    """The same weighted problem by scipy.linalg.lstsq on the plain design matrix."""
    r = scattered(11)
    design = np.stack([np.ones(11), r["x_m"], r["y_m"]], axis=1) / r["sigma_m"][:, None]
    wanted = lstsq(design, r["gap_m"] / r["sigma_m"])[0]
    fit = fit_plane(**r)
    assert (fit.offset_m, fit.tilt_x, fit.tilt_y) == pytest.approx(tuple(wanted), rel=1e-9)


def test_uncertainty_against_scipy_curve_fit() -> None:
    """scipy.optimize.curve_fit's covariance with absolute sigma, carried to a corner; twist likewise."""
    r = scattered(9)
    width, depth = 0.3, 0.16

    def bent(at: tuple[np.ndarray, np.ndarray], c: float, bx: float, by: float, t: float) -> np.ndarray:
        return c + bx * at[0] + by * at[1] + t * 4.0 * at[0] * at[1] / (width * depth)

    values, covariance = curve_fit(
        bent, (r["x_m"], r["y_m"]), r["gap_m"], sigma=r["sigma_m"], absolute_sigma=True, p0=[1e-4, 0, 0, 0]
    )
    where = {k: r[k] for k in ("x_m", "y_m", "sigma_m")}
    fit = fit_plane(**r, width_m=width, depth_m=depth)
    assert fit.twist_m == pytest.approx(values[3], rel=1e-5)
    assert twist_sigma(**where, width_m=width, depth_m=depth) == pytest.approx(math.sqrt(covariance[3, 3]), rel=1e-5)
    row = np.array([1.0, width / 2, depth / 2, 1.0])
    sigma = plane_sigma(**where, at_x_m=width / 2, at_y_m=depth / 2, width_m=width, depth_m=depth)
    assert sigma == pytest.approx(math.sqrt(row @ covariance @ row), rel=1e-5)


def test_scatter_agrees_with_what_is_predicted() -> None:
    """Ten thousand drawn surveys: the spread of the fitted corner is the predicted one to 3 % (four standard errors)."""
    rng = np.random.default_rng(11)
    gaps = 1e-4 + 1e-5 * rng.standard_normal((10_000, 4))
    corner = [fit_plane(**CORNERS, gap_m=g, sigma_m=[1e-5] * 4).at(0.05, 0.03) for g in gaps]
    assert np.std(corner) == pytest.approx(
        plane_sigma(**CORNERS, sigma_m=[1e-5] * 4, at_x_m=0.05, at_y_m=0.03), rel=0.03
    )


def test_the_odd_reading_has_the_largest_standardised_residual() -> None:
    grid = [(x * 0.05, y * 0.03) for y in (-1, 0, 1) for x in (-1, 0, 1)]
    gap = [1e-4] * 9
    gap[5] = 3e-4
    fit = fit_plane(x_m=[p[0] for p in grid], y_m=[p[1] for p in grid], gap_m=gap, sigma_m=[1e-5] * 9)
    assert int(np.argmax(np.abs(fit.standardised))) == 5


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"x_m": [0.0, 0.1], "y_m": [0.0, 0.1], "gap_m": [1e-4] * 2, "sigma_m": [1e-5] * 2}, "2 readings do not make"),
        ({"x_m": [0.0, 0.1, 0.2], "y_m": [0.0, 0.1, 0.2], "gap_m": [1e-4] * 3, "sigma_m": [1e-5] * 3}, "on a line"),
        ({"gap_m": [1e-4, math.nan, 1e-4, 1e-4]}, "gap_m: must be finite"),
        ({"x_m": [0.0, math.inf, 0.0, 0.0]}, "x_m: must be finite"),
        ({"sigma_m": [0.0, 1e-5, 1e-5, 1e-5]}, "sigma_m: must be above 0"),
    ],
)
def test_what_makes_no_plane_is_refused(change: dict, says: str) -> None:
    good = {**CORNERS, "gap_m": [1e-4] * 4, "sigma_m": [1e-5] * 4}
    with pytest.raises(DomainError, match=says):
        fit_plane(**(good | change))


def test_twist_cannot_be_told_on_the_middle_lines() -> None:
    cross = {"x_m": [-0.05, 0.05, 0.0, 0.0, 0.0], "y_m": [0.0, 0.0, -0.03, 0.03, 0.0]}
    assert twist_sigma(**cross, sigma_m=[1e-5] * 5, **SIZE) == math.inf
