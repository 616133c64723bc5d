"""What a reading is worth, against mutual information worked out independently."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm

from vatwright.planning.why.tell import between

ONE, OTHER = np.array([1.0, 0.0]), np.array([0.0, 1.0])


def two(first, second, sigma, *, share=0.5):
    weights = ONE * share, OTHER * (1.0 - share)
    return between(np.array([first, second]), np.array([sigma, sigma]), *weights)


@pytest.mark.parametrize(("apart", "share"), [(0.5, 0.5), (1.0, 0.5), (2.0, 0.5), (3.0, 0.2), (1.5, 0.8)])
def test_two_normal_readings_tell_what_the_integral_says(apart, share):
    """I(C; Y) of two normals, by scipy.integrate.quad of Lindley's definition (1956)."""

    def integrand(y):
        p = share * norm.pdf(y), (1.0 - share) * norm.pdf(y, loc=apart)
        whole = sum(p)
        return sum(q * math.log(q / prior / whole) for q, prior in zip(p, (share, 1.0 - share), strict=True) if q > 0.0)

    exact = quad(integrand, -9.0, 9.0 + apart)[0]
    doubt = -share * math.log(share) - (1.0 - share) * math.log(1.0 - share)
    assert two(0.0, apart, 1.0, share=share).information == pytest.approx(exact / doubt, abs=2e-3)


def test_readings_far_apart_remove_all_doubt_and_equal_ones_none():
    assert two(100.0, 200.0, 1.0).information == pytest.approx(1.0, abs=1e-6)
    assert two(100.0, 100.0, 5.0).information == pytest.approx(0.0, abs=1e-9)


def test_the_tip_of_two_equal_causes_lies_half_way():
    """Equal priors and spreads: the likelihoods cross in the middle."""
    told = two(60.0, 120.0, 15.0)
    assert told.tip == pytest.approx(90.0, abs=1.0)
    assert (told.if_first, told.if_second) == (60.0, 120.0)


def test_the_tip_moves_towards_the_unlikely_cause():
    """x* = (m1 + m2)/2 + s^2 ln(p1/p2) / (m2 - m1), the quadratic discriminant with one variance (any text on it)."""
    told = two(60.0, 120.0, 20.0, share=0.8)
    assert told.tip == pytest.approx(90.0 + 400.0 * math.log(4.0) / 60.0, abs=1.5)


@given(apart=st.floats(0.1, 5.0), sigma=st.floats(0.2, 3.0), share=st.floats(0.05, 0.95))
def test_a_sharper_reading_never_tells_less(apart, sigma, share):
    """Data processing: adding noise loses information (Cover and Thomas, Elements of Information Theory, 2.8)."""
    sharp, blunt = two(0.0, apart, sigma, share=share), two(0.0, apart, 2.0 * sigma, share=share)
    assert sharp.information >= blunt.information - 2e-3
    assert 0.0 <= blunt.information <= 1.0
    # The expected posterior of a cause where it is right is never below its prior.
    assert sharp.sure_first >= share - 2e-3
    assert sharp.sure_second >= 1.0 - share - 2e-3
