"""Margins, chances and how well they explain runs that held."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.planning.workshop import side

from vatwright.planning.demand.outcome import LEAST_CHANCE, Margins, log_likelihood
from vatwright.planning.demand.settle import RUN_SCATTER


def seen(*ratios):
    values = np.array(ratios)
    sure = np.full(len(ratios), 1e6)
    none = np.zeros((len(ratios), 1))
    return Margins(
        base=values,
        body=sure,
        release=sure,
        base_layer=0,
        body_layer=1,
        thickness_m=none,
        worst_m=none,
        limit_m=none,
        peak_force_n=none,
        side=side(len(ratios)),
    )


def test_chance_is_a_normal_tail_of_the_log_margin():
    # Phi(0) = 0.5, Phi(1.6449) = 0.95 (any table of the normal distribution)
    got = seen(1.0, math.exp(1.644854 * RUN_SCATTER), math.exp(-1.644854 * RUN_SCATTER)).chance()
    assert got == pytest.approx([0.5, 0.95, 0.05], abs=1e-5)


def test_chances_are_never_certain():
    assert seen(1e9, 1e-9).chance().tolist() == [1.0 - LEAST_CHANCE, LEAST_CHANCE]


def test_likelihood_is_binomial():
    # ln(0.95^3 0.05) and ln(0.5^4): arithmetic
    got = log_likelihood(seen(1.0, math.exp(1.644854 * RUN_SCATTER)), runs=4, failed=1)
    assert got == pytest.approx([4 * math.log(0.5), 3 * math.log(0.95) + math.log(0.05)], abs=1e-3)


def test_more_good_runs_speak_harder_against_a_doubtful_world():
    few, many = (np.diff(log_likelihood(seen(1.0, 2.0), runs=n, failed=0))[0] for n in (2, 20))
    assert many == pytest.approx(10 * few)
