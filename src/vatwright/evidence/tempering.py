"""Samples of what is believed after the evidence: from a standard normal prior, by tempered sequential Monte Carlo."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    LogLikelihood = Callable[[Floats], Floats]

KEEP = 0.5
"""Each step of the likelihood leaves this share of the samples effective; common practice with this method [-]."""

FORGOTTEN = 0.1
"""Samples move until their places before and after correlate less than this on average [-]; engineering estimate."""

FEWEST_MOVES, MOST_MOVES = 2, 24
"""Moves after each step; the most bounds the time, the fewest let the stride settle."""

STRIDE = 0.5
"""Stride of the first move as a share of the cloud's own size [-]; it is then steered to `TAKEN` of moves accepted."""

TAKEN = 0.35
"""Share of moves that should be accepted [-]: between the optima of one and of many dimensions (0.44 and 0.23)."""


TINY = 1e-12
"""Keeps a coordinate that has one value from having no spread at all."""


@frozen(kw_only=True, eq=False)
class Tempered:
    """Equally likely samples after the evidence.

    Parameters
    ----------
    samples : (S, D) ndarray
        Samples.
    log_evidence : float
        Log of the probability of the evidence, before it came [-].
    steps : int
        Steps in which the likelihood was let in.
    mixing : float
        Correlation of places before and after the moves of the last step [-].
    """

    samples: Floats
    log_evidence: float
    steps: int
    mixing: float


def temper(log_likelihood: LogLikelihood, *, dimensions: int, count: int = 1024, seed: int = 1) -> Tempered:
    """Return samples of a posterior whose prior is standard normal in every coordinate.

    The likelihood is let in by powers b from 0 to 1, each step as large as leaves half the samples effective; samples are
    drawn anew in proportion to L^(db) and then moved by steps that leave N(0, 1) L^b unchanged.

    Parameters
    ----------
    log_likelihood : callable
        From (S, D) samples to (S,) log likelihoods, finite.
    dimensions : int
        D; none at all is allowed.
    count : int
        S.
    seed : int
        Seed; the same gives the same samples.

    Returns
    -------
    Tempered
        Samples and what is known of them.

    Notes
    -----
    A move proposes m + sqrt(1 - s^2) (z - m) + s N(0, C), which is reversible with respect to N(m, C), the cloud's own mean
    and covariance; so it is accepted by the ratio of the target to that normal (preconditioned Crank-Nicolson).  A
    posterior of several far humps may lose one of them; more samples make that rarer.

    Examples
    --------
    One reading of 1 with a standard error of 1 halves the variance and leaves a mean of 1/2:

    >>> found = temper(lambda z: -0.5 * (z[:, 0] - 1.0) ** 2, dimensions=1, count=4096)
    >>> round(float(found.samples.mean()), 1), round(float(found.samples.var()), 1)
    (0.5, 0.5)

    References
    ----------
    Del Moral, Doucet and Jasra, J. R. Stat. Soc. B 68 (2006) 411-436 (samplers). [delmoral:2006]
    Jasra, Stephens, Doucet and Tsagaris, Scand. J. Stat. 38 (2011) 1-22 (size of the steps). [jasra:2011]
    Cotter, Roberts, Stuart and White, Statistical Science 28 (2013) 424-446 (moves). [cotter:2013]
    """
    rng = np.random.default_rng(seed)
    z = rng.standard_normal((count, dimensions))
    if dimensions == 0:
        return Tempered(samples=z, log_evidence=0.0, steps=0, mixing=0.0)
    seen = log_likelihood(z)
    power, log_evidence, steps, stride, mixing = 0.0, 0.0, 0, STRIDE, 0.0
    while power < 1.0:
        step = _step(seen, 1.0 - power)
        power = 1.0 if step >= 1.0 - power else power + step
        weight = np.exp(step * (seen - seen.max()))
        log_evidence += float(np.log(weight.mean()) + step * seen.max())
        picks = _systematic(weight, rng)
        centre, spread = _cloud(z, weight)
        z, seen = z[picks], seen[picks]
        z, seen, stride, mixing = _moved(z, seen, power, centre, spread, stride, log_likelihood, rng)
        steps += 1
    # Copies of one sample lie side by side: whoever takes the first few must not get one sample over and over.
    z = z[rng.permutation(count)]
    return Tempered(samples=z, log_evidence=log_evidence, steps=steps, mixing=mixing)


def effective(log_weight: Floats) -> float:
    """Return how many equally likely worlds weights are worth [-].

    Examples
    --------
    >>> effective(np.zeros(10)), round(effective(np.array([0.0, -50.0])), 6)
    (10.0, 1.0)

    References
    ----------
    Kong, Liu and Wong, J. Am. Stat. Assoc. 89 (1994) 278-288. [kong:1994]
    """
    weight = np.exp(log_weight - log_weight.max())
    return float(weight.sum() ** 2 / (weight**2).sum())


def power_leaving(log_weight: Floats, count: float) -> float:
    """Return the largest power of weights, at most 1, that leaves so many equally likely worlds in effect [-].

    Parameters
    ----------
    log_weight : (S,) ndarray
        Log of the weights [-].
    count : float
        Worlds to leave [-]; more than there are leaves them all alike.

    Examples
    --------
    >>> power_leaving(np.zeros(200), 100.0), round(power_leaving(np.linspace(0.0, 1000.0, 1000), 100.0), 4)
    (1.0, 0.02)

    References
    ----------
    Weights to a power: Del Moral, Doucet and Jasra, J. R. Stat. Soc. B 68 (2006) 411-436. [delmoral:2006]
    """
    seen = log_weight - log_weight.max()
    if effective(seen) >= count:
        return 1.0
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2.0
        low, high = (middle, high) if effective(middle * seen) >= count else (low, middle)
    return low


def _step(seen: Floats, most: float) -> float:
    """The largest step of the power that leaves `KEEP` of the samples effective, by halving."""

    def left(step: float) -> float:
        return effective(step * (seen - seen.max())) / len(seen)

    if left(most) >= KEEP:
        return most
    low, high = 0.0, most
    for _ in range(40):
        middle = (low + high) / 2.0
        low, high = (middle, high) if left(middle) >= KEEP else (low, middle)
    return max(low, 1e-6 * most)


def _systematic(weight: Floats, rng: np.random.Generator) -> NDArray[np.intp]:
    count = len(weight)
    edges = np.cumsum(weight / weight.sum())
    return np.minimum(np.searchsorted(edges, (np.arange(count) + rng.random()) / count), count - 1)


def _cloud(z: Floats, weight: Floats) -> tuple[Floats, Floats]:
    """Mean of the weighted samples, and the root of their covariance."""
    share = weight / weight.sum()
    centre = share @ z
    away = z - centre
    covariance = away.T @ (share[:, None] * away)
    effective = 1.0 / float((share**2).sum())
    pull = min(0.5, z.shape[1] / (effective + z.shape[1]))
    # Too few samples invent correlations: these are drawn a little towards none.
    return centre, np.linalg.cholesky((1.0 - pull) * covariance + pull * np.diag(np.diag(covariance) + TINY))


def _moved(
    z: Floats, seen: Floats, power: float, centre: Floats, spread: Floats, stride: float,
    log_likelihood: LogLikelihood, rng: np.random.Generator,
) -> tuple[Floats, Floats, float, float]:  # fmt: skip
    """Samples moved until they have forgotten where they were, with the stride found good and what they still remember."""
    inverse = np.linalg.inv(spread)

    def over_cloud(places: Floats) -> Floats:
        """Log of the prior over the cloud's normal."""
        scaled = (places - centre) @ inverse.T
        return np.asarray(0.5 * ((scaled**2).sum(axis=1) - (places**2).sum(axis=1)))

    start = (z - centre) @ inverse.T
    start = (start - start.mean(axis=0)) / start.std(axis=0).clip(1e-12)
    here, left = over_cloud(z) + power * seen, 1.0
    for move in range(MOST_MOVES):
        noise = rng.standard_normal(z.shape) @ spread.T
        proposal = centre + np.sqrt(1.0 - stride**2) * (z - centre) + stride * noise
        seen_there = log_likelihood(proposal)
        there = over_cloud(proposal) + power * seen_there
        taken = np.log(rng.random(len(z))) < there - here
        z = np.where(taken[:, None], proposal, z)
        seen, here = np.where(taken, seen_there, seen), np.where(taken, there, here)
        stride = float(np.clip(stride * np.exp(taken.mean() - TAKEN), 0.02, 0.999))
        now = (z - centre) @ inverse.T
        now = (now - now.mean(axis=0)) / now.std(axis=0).clip(1e-12)
        left = float(np.abs((start * now).mean(axis=0)).mean())
        if move + 1 >= FEWEST_MOVES and left < max(FORGOTTEN, 1.5 / np.sqrt(len(z))):
            break
    return z, seen, stride, left
