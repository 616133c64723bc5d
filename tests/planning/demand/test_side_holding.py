"""How often runs hold with a margin, as they scatter and in whose hands."""

import numpy as np
import pytest
from attrs import evolve
from scipy.stats import norm
from tests.planning.workshop import side

from vatwright.planning.demand.unknowns import RUN_SCATTER


@pytest.mark.parametrize(
    ("more", "hands", "fit"), [(1.0, 0.0, 0.0), (1.5, 0.0, 0.1), (1.0, 0.1, 0.0), (2.0, -0.2, 0.3)]
)
def test_runs_hold_as_often_as_a_normal_scatter_of_the_log_margin_says(more, hands, fit):
    """Reference: the normal distribution, scipy.stats."""
    machine = evolve(side(2), scatter=np.full(2, more), hands=np.full(2, hands), body_fit=np.full(2, fit))
    margin = np.array([0.9, 1.2])
    expected = norm.cdf(np.log(margin) + hands + fit, scale=more * RUN_SCATTER)
    assert machine.holding(margin, "body") == pytest.approx(expected)
    assert machine.holding(margin[:, None], "body")[:, 0] == pytest.approx(expected)
    assert machine.holding(np.exp(machine.least_margin(0.9, "body")), "body") == pytest.approx([0.9, 0.9])


def test_worlds_keep_their_scatter_where_they_have_one():
    assert evolve(side(3), scatter=np.array([1.0, 2.0, 3.0])).kept(np.array([2, 0])).scatter.tolist() == [3.0, 1.0]
    assert side(3).kept(np.array([1])).scatter == 1.0
