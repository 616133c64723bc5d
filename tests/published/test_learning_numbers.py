"""Proportions, dose-response and censored thresholds against printed and recomputed tables; source beside each."""

import math

import numpy as np
import pytest
from scipy import stats

from vatwright.errors import DomainError
from vatwright.evidence.dose_response import Link, fit_dose_response
from vatwright.evidence.interval_censored import fit_threshold, log_likelihood
from vatwright.evidence.proportion import (
    chance_as_extreme,
    chance_of_next,
    clopper_pearson,
    jeffreys,
    most_failures,
    runs_without_failure,
)

# Bliss, Ann. Appl. Biol. 22 (1935) 134-167: beetles killed by carbon disulphide; Dobson (2002), table 7.2.
BLISS = {
    "doses": [1.6907, 1.7242, 1.7552, 1.7842, 1.8113, 1.8369, 1.8610, 1.8839],
    "runs": [59, 60, 62, 56, 63, 59, 62, 60],
    "responded": [6, 13, 18, 28, 52, 53, 61, 60],
}


@pytest.mark.parametrize(
    ("link", "intercept", "slope", "deviance"),
    [  # Dobson (2002), table 7.4 and section 7.3.1; last digits by our own reference run of the same data
        (Link.LOGIT, -60.7175, 34.2703, 11.2322),
        (Link.PROBIT, -34.9353, 19.7279, 10.1198),
        (Link.CLOGLOG, -39.572, 22.041, 3.4464),
    ],
)
def test_bliss_beetles_dobson_table_7_4(link, intercept, slope, deviance):
    fit = fit_dose_response(**BLISS, link=link)
    digits = 5e-4 if link is Link.CLOGLOG else 1e-4
    assert fit.intercept == pytest.approx(intercept, abs=digits)
    assert fit.slope == pytest.approx(slope, abs=digits)
    assert fit.deviance == pytest.approx(deviance, abs=1e-4)


def test_bliss_dose_that_kills_half():
    assert fit_dose_response(**BLISS).dose_at(0.5, Link.LOGIT) == pytest.approx(1.77172, abs=1e-5)


def test_beetles_against_statsmodels():
    """Coefficients and standard errors of an independent library (statsmodels GLM, binomial)."""
    import statsmodels.api as sm

    n, y = np.array(BLISS["runs"]), np.array(BLISS["responded"])
    design = sm.add_constant(np.array(BLISS["doses"]))
    for link, other in ((Link.LOGIT, sm.families.links.Logit()), (Link.PROBIT, sm.families.links.Probit())):
        theirs = sm.GLM(np.column_stack((y, n - y)), design, family=sm.families.Binomial(other)).fit()
        ours = fit_dose_response(**BLISS, link=link)
        assert (ours.intercept, ours.slope) == pytest.approx(tuple(theirs.params), rel=1e-6)
        assert (ours.intercept_sigma, ours.slope_sigma) == pytest.approx(tuple(theirs.bse), rel=1e-5)


def test_clean_split_is_told():
    assert fit_dose_response(doses=[1, 2, 3, 4], runs=[5] * 4, responded=[0, 0, 5, 5]).separated
    assert fit_dose_response(doses=[1, 2], runs=[5] * 2, responded=[5, 5]).separated


@pytest.mark.parametrize(
    ("doses", "runs", "responded", "said"),
    [([1, 2], [5, 5], [6, 0], "Count again"), ([1, 1], [5, 5], [1, 2], "Vary"), ([1], [5], [1], "Check the lists")],
)
def test_bad_groups_are_refused(doses, runs, responded, said):
    with pytest.raises(DomainError, match=said):
        fit_dose_response(doses=doses, runs=runs, responded=responded)


@pytest.mark.parametrize(
    ("runs", "limit"),  # 1 - 0.05^(1/n): mathematics, six printed digits
    [(10, 0.258866), (20, 0.139108), (29, 0.0981446), (30, 0.0950339), (59, 0.0495076), (100, 0.0295130),
     (299, 0.00996915)],
)  # fmt: skip
def test_no_failure_in_n_runs(runs, limit):
    assert most_failures(failed=0, runs=runs) == pytest.approx(limit, rel=3e-6)


@pytest.mark.parametrize(
    ("events", "runs", "low", "high"),  # Clopper and Pearson (1934), recomputed to seven digits
    [(1, 10, 0.0025286, 0.4450161), (2, 10, 0.0252107, 0.5560955), (3, 20, 0.0320709, 0.3789268),
     (10, 100, 0.0490047, 0.1762226)],
)  # fmt: skip
def test_clopper_pearson(events, runs, low, high):
    found = clopper_pearson(events=events, runs=runs, confidence=0.95)
    assert (found.low, found.high) == pytest.approx((low, high), abs=6e-8)
    theirs = stats.binomtest(events, runs).proportion_ci(0.95)  # scipy's own, found by root search
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), rel=1e-9)


def test_jeffreys_interval():
    found = jeffreys(events=2, runs=10, confidence=0.95)  # Brown, Cai and DasGupta (2001), recomputed
    assert (found.low, found.high) == pytest.approx((0.0440594, 0.5027745), abs=6e-8)
    assert jeffreys(events=0, runs=10).middle == pytest.approx(1 / 22)  # (0 + 1/2)/(10 + 1)
    assert jeffreys(events=0, runs=10, confidence=0.9).high == pytest.approx(0.170773, abs=1e-6)


def test_next_runs_by_the_beta_binomial():
    """Closed forms B(k + a, m - k + b)/B(a, b): six digits, recomputed."""
    assert chance_of_next(held=9, runs=10, next_held=1, next_runs=1) == pytest.approx(0.863636, abs=5e-7)
    assert chance_of_next(held=9, runs=10, next_held=5, next_runs=5) == pytest.approx(
        0.537177, abs=1e-6
    )  # cut, not rounded, to six
    assert chance_of_next(held=9, runs=10, next_held=1, next_runs=1, prior=1.0) == pytest.approx(10 / 12)
    assert chance_of_next(held=9, runs=10, next_held=5, next_runs=5, prior=1.0) == pytest.approx(0.458333, abs=5e-7)
    assert chance_of_next(held=20, runs=20, next_held=10, next_runs=10) == pytest.approx(0.818199, abs=5e-7)
    theirs = [stats.betabinom(6, 9.5, 1.5).pmf(k) for k in range(7)]
    ours = [chance_of_next(held=9, runs=10, next_held=k, next_runs=6) for k in range(7)]
    assert ours == pytest.approx(theirs, rel=1e-9)


def test_runs_without_failure_to_show_a_share():
    """ln(0.05)/ln(R) = 28.43, 58.40, 298.07 (any reliability handbook)."""
    assert [runs_without_failure(holds=r) for r in (0.90, 0.95, 0.99)] == [29, 59, 299]


def test_count_as_extreme_against_scipy():
    for events, runs, share in ((9, 10, 0.5), (0, 7, 0.3), (17, 19, 0.9)):
        tails = [stats.binomtest(events, runs, share, alternative=a).pvalue for a in ("less", "greater")]
        assert chance_as_extreme(events=events, runs=runs, share=share) == pytest.approx(min(1.0, 2.0 * min(tails)))


@pytest.mark.parametrize("runs", [3, 10, 40])
def test_a_success_more_lowers_the_limit_and_nothing_is_certain(runs):
    for failed in range(runs + 1):
        assert most_failures(failed=failed, runs=runs + 1) <= most_failures(failed=failed, runs=runs)
        assert 0.0 < jeffreys(events=failed, runs=runs).low < jeffreys(events=failed, runs=runs).high < 1.0


@pytest.mark.parametrize(
    ("events", "runs", "confidence"), [(3, 2, 0.9), (0, 0, 0.9), (-1, 3, 0.9), (1, 3, 0.0), (1, 3, 1.0)]
)
def test_impossible_counts_are_refused(events, runs, confidence):
    with pytest.raises(DomainError):
        clopper_pearson(events=events, runs=runs, confidence=confidence)


def test_normal_threshold_from_intervals():
    """Six intervals, two of them open: maximum found independently to four digits (scipy, Nelder-Mead from many starts)."""
    low, high = [4, 5, 3, 6, 5, -math.inf], [6, 7, 5, 8, math.inf, 5]
    found = fit_threshold(low=low, high=high)
    assert (found.middle, found.scatter) == pytest.approx((5.35091, 0.97634), abs=1e-4)
    assert found.log_likelihood == pytest.approx(-4.83042, abs=1e-5)
    theirs = stats.CensoredData(
        interval=[(a, b) for a, b in zip(low, high, strict=True) if math.isfinite(a) and math.isfinite(b)],
        left=[5], right=[5],
    )  # fmt: skip
    assert stats.norm.fit(theirs) == pytest.approx((found.middle, found.scatter), abs=2e-4)


def test_merging_intervals_never_raises_the_likelihood():
    low, high = np.array([4.0, 5.0, 3.0]), np.array([5.0, 6.0, 4.0])
    for middle in (3.0, 4.5, 6.0):
        merged = log_likelihood(low - 1.0, high, middle=middle, scatter=0.8)
        assert merged >= log_likelihood(low, high, middle=middle, scatter=0.8)


def test_threshold_without_overlap_is_sharp_and_bad_intervals_are_refused():
    found = fit_threshold(low=[-math.inf, 10.0], high=[20.0, math.inf])
    assert (found.middle, found.scatter, found.sharp) == (15.0, 0.0, True)
    with pytest.raises(DomainError, match="open to one side"):
        fit_threshold(low=[1.0, 2.0], high=[math.inf, math.inf])
    with pytest.raises(DomainError, match="end above"):
        fit_threshold(low=[2.0], high=[1.0])


def test_an_exponential_life_inspected_once_is_a_complementary_log_log_line_of_slope_one():
    """Exponential lives: 1 - exp(-lambda t), closed form.  3 of 10 failed at 5 gives lambda = -ln(0.7)/5 = 0.0713350; by 10
    then 1 - 0.7^2 = 51 % have failed, and on log t the line through both has slope 1."""
    fit = fit_dose_response(
        doses=[math.log(5.0), math.log(10.0)], runs=[100, 100], responded=[30, 51], link=Link.CLOGLOG
    )
    assert fit.slope == pytest.approx(1.0, abs=1e-6)
    assert math.exp(fit.intercept) == pytest.approx(0.0713350, abs=5e-8)
