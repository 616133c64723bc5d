"""The sampler against closed forms and against emcee, an independent sampler (affine-invariant ensemble)."""

import emcee
import numpy as np
import pytest
from scipy.special import log_ndtr

from vatwright.evidence.influence import leave_one_out
from vatwright.evidence.preposterior import share_left
from vatwright.evidence.tempering import temper


def test_normal_with_normal_readings_in_many_dimensions():
    """Conjugate: precision 1 + 1/s^2; evidence N(y; 0, 1 + s^2) (Gelman et al. 2013, section 2.5)."""
    y, s = np.linspace(-1.5, 1.5, 12), np.linspace(0.3, 2.0, 12)

    def seen(z):
        return (-0.5 * ((y - z) / s) ** 2 - np.log(s * np.sqrt(2 * np.pi))).sum(axis=1)

    found = temper(seen, dimensions=12, count=4096, seed=2)
    precision = 1 + 1 / s**2
    error = 4.0 / np.sqrt(4096 / 3)  # four standard errors, a third of the samples effective
    assert found.samples.mean(axis=0) == pytest.approx(y / s**2 / precision, abs=error)
    assert found.samples.std(axis=0) * np.sqrt(precision) == pytest.approx(np.ones(12), abs=error)
    exact = (-0.5 * y**2 / (1 + s**2) - 0.5 * np.log(2 * np.pi * (1 + s**2))).sum()
    assert found.log_evidence == pytest.approx(exact, abs=0.15)


def test_pass_and_fail_against_emcee():
    """A threshold problem like the planner's: passes and fails on a sum and a difference of unknowns, and one reading."""
    levels, passed = np.array([-1.0, -0.3, 0.2, 0.9]), np.array([1.0, 1.0, -1.0, 1.0])

    def seen(z):
        margin = (z[:, :1] + 0.7 * z[:, 1:2] + levels) / 0.3
        reading = -0.5 * ((z[:, 0] - z[:, 1] + 0.4 * z[:, 2] ** 2 - 0.5) / 0.4) ** 2
        return log_ndtr(passed * margin).sum(axis=1) + reading

    ours = temper(seen, dimensions=3, count=4096, seed=1).samples
    sampler = emcee.EnsembleSampler(32, 3, lambda z: seen(z) - 0.5 * (z**2).sum(axis=1), vectorize=True)
    sampler.random_state = np.random.RandomState(1).get_state()
    sampler.run_mcmc(0.1 * np.random.default_rng(1).standard_normal((32, 3)), 3000)
    theirs = sampler.get_chain(discard=500, thin=5, flat=True)
    effective = min(len(theirs) * 5 / sampler.get_autocorr_time(quiet=True).max(), 4096 / 3)
    error = 4.0 * theirs.std(axis=0) * np.sqrt(2.0 / effective)
    assert (np.abs(ours.mean(axis=0) - theirs.mean(axis=0)) < error).all()
    assert (np.abs(ours.std(axis=0) - theirs.std(axis=0)) < error).all()


def test_same_seed_same_samples_and_no_dimension_is_allowed():
    def seen(z):
        return -((z - 1.0) ** 2).sum(axis=1)

    one, two = (temper(seen, dimensions=2, count=128, seed=7).samples for _ in range(2))
    assert np.array_equal(one, two)
    assert not np.array_equal(one, temper(seen, dimensions=2, count=128, seed=8).samples)
    assert temper(lambda z: np.zeros(len(z)), dimensions=0, count=5).samples.shape == (5, 0)


def test_without_evidence_the_prior_stays():
    found = temper(lambda z: np.zeros(len(z)), dimensions=3, count=2048)
    assert found.steps == 1
    assert found.samples.std(axis=0) == pytest.approx(np.ones(3), abs=0.07)


def test_leaving_one_reading_out_against_the_closed_form():
    """Two readings with unit error of a standard normal: with both N((a + b)/3, 1/3), without b N(a/2, 1/2)."""
    a, b = 0.4, 1.0
    rng = np.random.default_rng(4)
    z = rng.normal((a + b) / 3, np.sqrt(1 / 3), (40000, 1))
    likelihoods = -0.5 * np.array([(z[:, 0] - a) ** 2, (z[:, 0] - b) ** 2])
    found = leave_one_out(samples=z, log_likelihoods=likelihoods)
    assert found.shift[:, 0] == pytest.approx([(a + b) / 3 - b / 2, (a + b) / 3 - a / 2], abs=0.02)
    assert found.narrowing[:, 0] == pytest.approx([np.sqrt(2 / 3)] * 2, abs=0.02)


def test_share_left_against_the_closed_form():
    """A normal q read with error s keeps s/sqrt(1 + s^2) of its deviation; a reading of something else keeps all."""
    rng = np.random.default_rng(6)
    q = rng.standard_normal(20000)
    for s in (0.25, 1.0, 3.0):
        shown = (q + s * rng.standard_normal(20000))[:, None]
        assert share_left(wanted=q, shown=shown) == pytest.approx(s / np.hypot(1.0, s), abs=0.01)
    assert share_left(wanted=q, shown=rng.standard_normal((20000, 2))) == pytest.approx(1.0, abs=1e-3)
    assert share_left(wanted=np.ones(50), shown=q[:50, None]) == 1.0
    assert share_left(wanted=q, shown=np.ones((20000, 1))) == 1.0
