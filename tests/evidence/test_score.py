"""Scores: Brier (1950), Murphy's parts (1973), calibration; identities and statsmodels as the outside."""

import numpy as np
import pytest

from vatwright.errors import DomainError
from vatwright.evidence.score import EDGES, brier, calibration_slope, chance_classes, ratio_of


def test_brier_of_four_forecasts_by_hand():
    found = brier(said=[0.9, 0.9, 0.2, 0.2], held=[True, True, False, True])
    assert found.score == pytest.approx((0.01 + 0.01 + 0.04 + 0.64) / 4)
    assert found.uncertainty == pytest.approx(0.75 * 0.25)


def test_murphys_parts_add_up_and_nothing_is_left_within_when_classes_are_points():
    """Murphy (1973), equation 14: exact where all chances of a class are one."""
    rng = np.random.default_rng(3)
    said = rng.choice([0.3, 0.6, 0.85, 0.97], 200)
    found = brier(said=said.tolist(), held=(rng.random(200) < said).tolist())
    assert found.within == pytest.approx(0.0, abs=1e-12)
    assert found.score == pytest.approx(found.reliability - found.resolution + found.uncertainty)


def test_the_base_rate_has_no_skill_and_certainty_that_is_right_has_all():
    held = [True] * 15 + [False] * 5
    assert brier(said=[0.75] * 20, held=held).skill == pytest.approx(0.0)
    assert brier(said=[float(h) for h in held], held=held).skill == 1.0
    assert brier(said=[0.9] * 3, held=[True] * 3).skill == 0.0  # nothing to be better than


def test_classes_count_every_run_once_and_ends_belong():
    said = [0.0, 0.5, 0.8, 0.9, 0.95, 1.0]
    found = chance_classes(said=said, held=[True] * 6)
    assert sum(c.runs for c in found) == 6
    assert [c.low for c in found] == list(EDGES[:-1])
    assert found[-1].runs == 2


def test_seventeen_of_nineteen_at_ninety_per_cent_is_no_surprise_and_nine_is():
    assert chance_classes(said=[0.9] * 19, held=[True] * 17 + [False] * 2)[0].surprise > 0.5
    assert chance_classes(said=[0.9] * 19, held=[True] * 9 + [False] * 10)[0].surprise < 1e-4


def test_calibration_slope_against_statsmodels():
    """Cox (1958): a logistic regression on the log odds, by an independent library."""
    import statsmodels.api as sm

    rng = np.random.default_rng(5)
    said = rng.uniform(0.2, 0.95, 120)
    held = rng.random(120) < said
    slope, sigma = calibration_slope(said=said.tolist(), held=held.tolist())
    theirs = sm.Logit(held.astype(float), sm.add_constant(np.log(said / (1 - said)))).fit(disp=0)
    assert (slope, sigma) == pytest.approx((theirs.params[1], theirs.bse[1]), rel=1e-4)


def test_no_slope_where_there_is_nothing_to_fit():
    assert calibration_slope(said=[0.9, 0.8], held=[True, False]) is None  # few
    assert calibration_slope(said=[0.9] * 20, held=[True, False] * 10) is None  # all one
    assert calibration_slope(said=[0.2] * 10 + [0.9] * 10, held=[False] * 10 + [True] * 10) is None  # clean split


def test_ratio_is_the_median_and_refuses_zero():
    assert ratio_of(said=[], seen=[]) is None
    assert ratio_of(said=[1.0, 2.0, 4.0], seen=[2.0, 4.0, 4.0]).middle == 2.0
    with pytest.raises(DomainError):
        ratio_of(said=[0.0], seen=[1.0])


@pytest.mark.parametrize(("said", "held"), [([], []), ([0.5], []), ([1.2], [True]), ([float("nan")], [True])])
def test_impossible_chances_are_refused(said, held):
    with pytest.raises(DomainError):
        brier(said=said, held=held)
