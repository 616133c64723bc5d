"""The fitter against certified data (NIST Statistical Reference Datasets, nonlinear regression) and closed forms."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats
from tests.nist_strd import nonlinear, norris

from vatwright.errors import DomainError, InputError
from vatwright.evidence.fit_cure import fit_cure
from vatwright.evidence.fit_curve import fit_curve
from vatwright.physics.cure_depth import fit_working_curve

MODELS = {
    "Misra1a": lambda x, b: b[0] * (1.0 - np.exp(-b[1] * x)),
    "Thurber": lambda x, b: (
        (b[0] + b[1] * x + b[2] * x**2 + b[3] * x**3) / (1.0 + b[4] * x + b[5] * x**2 + b[6] * x**3)
    ),
    "MGH09": lambda x, b: b[0] * (x**2 + b[1] * x) / (x**2 + b[2] * x + b[3]),
    "BoxBOD": lambda x, b: b[0] * (1.0 - np.exp(-b[1] * x)),
    "MGH10": lambda x, b: b[0] * np.exp(b[1] / (x + b[2])),  # Vogel's law of viscosity
    "Rat43": lambda x, b: b[0] / (1.0 + np.exp(b[1] - b[2] * x)) ** (1.0 / b[3]),
    "Eckerle4": lambda x, b: b[0] / b[1] * np.exp(-((x - b[2]) ** 2) / (2.0 * b[1] ** 2)),
}


def digits(found, certified) -> float:
    """How many significant digits agree (log relative error, as NIST counts them)."""
    error = np.max(np.abs(np.asarray(found) / np.asarray(certified) - 1.0))
    return -math.log10(max(error, 1e-16))


@pytest.mark.parametrize("start", [0, 1], ids=["start 1", "start 2"])
@pytest.mark.parametrize("name", MODELS)
def test_certified_values_from_both_starts(name, start):
    data = nonlinear(name)
    fit = fit_curve(MODELS[name], x=data.x, y=data.y, start=data.starts[start])
    assert digits(fit.values, data.values) >= 6.0
    assert digits(fit.sigma, data.sigma) >= 5.0
    assert digits(fit.residual_sum, data.residual_sum) >= 9.0
    assert digits(fit.scatter, data.scatter) >= 9.0


def test_within_bounds_the_same_values():
    data = nonlinear("Misra1a")
    fit = fit_curve(MODELS["Misra1a"], x=data.x, y=data.y, start=data.starts[1], low=[0.0, 0.0], high=[1e4, 1.0])
    assert digits(fit.values, data.values) >= 6.0
    held = fit_curve(MODELS["Misra1a"], x=data.x, y=data.y, start=[100.0, 1e-3], low=[0.0, 0.0], high=[200.0, 1.0])
    assert held.values[0] == pytest.approx(200.0, rel=1e-6)
    assert held.residual_sum > 10.0 * fit.residual_sum


def test_straight_line_of_norris():
    # certified by NIST StRD: slope 1.00211681802045 (0.000429796848199937), intercept -0.262323073774029 (0.232818234301152)
    x, y = norris()
    fit = fit_curve(lambda at, b: b[0] + b[1] * at, x=x, y=y, start=[0.0, 0.5])
    assert digits(fit.values, [-0.262323073774029, 1.00211681802045]) >= 9.0
    assert digits(fit.sigma, [0.232818234301152, 0.429796848199937e-3]) >= 9.0
    assert digits(fit.scatter, 0.884796396144373) >= 10.0
    # and the working curve's own line: doses e^(x/1000), depths y
    line = fit_working_curve(np.exp(x / 1e3).tolist(), y.tolist(), confidence=0.95)
    assert digits(line.depth_m / 1e3, 1.00211681802045) >= 9.0
    half = stats.t.ppf(0.975, len(x) - 2) * 0.429796848199937e-3
    assert (line.depth_high_m - line.depth_m) / 1e3 == pytest.approx(half, rel=1e-6)
    assert digits(line.scatter_m, 0.884796396144373) >= 9.0


def test_intervals_are_students():
    # scipy.stats.linregress and t: the slope's interval
    x, y = np.array([0.0, 1.0, 2.0, 3.5, 5.0]), np.array([1.1, 2.9, 5.2, 8.3, 10.6])
    reference = stats.linregress(x, y)
    low, high = fit_curve(lambda at, b: b[0] + b[1] * at, x=x, y=y, start=[1.0, 1.0]).interval(0.95)
    half = stats.t.ppf(0.975, 3) * reference.stderr
    assert (low[1], high[1]) == pytest.approx((reference.slope - half, reference.slope + half), rel=1e-9)


def test_no_spare_reading_leaves_it_open():
    fit = fit_curve(lambda at, b: b[0] + b[1] * at, x=[0.0, 1.0], y=[1.0, 3.0], start=[0.0, 0.0])
    assert fit.values == pytest.approx([1.0, 2.0])
    assert np.isinf(fit.sigma).all()
    assert np.isinf(fit.interval()[1]).all()


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        ([0.0, 1.0], [1.0], "1 values for 2 places"),
        ([0.0], [1.0], "1 readings for 2 unknowns"),
        ([0.0, 1.0], [1.0, math.nan], "not finite"),
        ([2.0, 2.0, 2.0], [1.0, 1.1, 0.9], "do not determine"),
        ([0.0, 0.0, 0.0], [1.0, 1.1, 0.9], "do not determine"),
    ],
)
def test_readings_that_say_nothing_are_refused(x, y, said):
    with pytest.raises(InputError, match=said):
        fit_curve(lambda at, b: b[0] + b[1] * at, x=x, y=y, start=[0.0, 1.0])


def test_confidence_is_a_share():
    fit = fit_curve(lambda at, b: b[0] + 0.0 * at, x=[0.0, 1.0], y=[1.0, 3.0], start=[0.0])
    with pytest.raises(DomainError, match="confidence"):
        fit.interval(1.5)


DOSES, DEPTHS = [50.0, 100.0, 200.0, 400.0], [52e-6, 145e-6, 246e-6, 338e-6]


def test_cure_fit_is_the_closed_line():
    line, fit = fit_working_curve(DOSES, DEPTHS), fit_cure(doses_j_m2=DOSES, depths_m=DEPTHS)
    assert (fit.depth_m, fit.critical_j_m2) == pytest.approx((line.depth_m, line.critical_j_m2), rel=1e-9)


def test_cure_fit_knows_the_depth_between_the_squares_as_a_line_does():
    # standard error of a line's mean at x (Draper and Smith 1998, eq. 1.4.4: s sqrt(1/n + (x - xm)^2 / Sxx)), against the two
    # lognormal numbers with their correlation, to first order
    fit = fit_cure(doses_j_m2=DOSES, depths_m=DEPTHS)
    student = stats.t.ppf(0.95, 2) / stats.norm.ppf(0.95)
    reference = stats.linregress(np.log(DOSES), DEPTHS)
    logs = np.log(DOSES)
    s = math.sqrt(((np.array(DEPTHS) - reference.intercept - reference.slope * logs) ** 2).sum() / 2)
    for dose in (70.0, 150.0, 300.0):
        line = s * math.sqrt(0.25 + (math.log(dose) - logs.mean()) ** 2 / ((logs - logs.mean()) ** 2).sum())
        by_depth = fit.depth_m * math.log(dose / fit.critical_j_m2) * fit.depth_spread / student
        by_dose = -fit.depth_m * fit.critical_spread / student
        variance = by_depth**2 + by_dose**2 + 2.0 * fit.correlation * by_depth * by_dose
        assert math.sqrt(variance) == pytest.approx(line, rel=1e-6)


def test_two_squares_have_no_scatter():
    fit = fit_cure(doses_j_m2=[100.0, 400.0], depths_m=[40e-6, 240e-6])
    assert math.isinf(fit.depth_spread)
    assert math.isinf(fit.critical_spread)
    assert 0.0 < fit.correlation < 1.0
