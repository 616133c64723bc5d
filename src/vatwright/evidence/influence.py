"""What one piece of evidence did to a belief: the belief without it, by weights on the samples it left."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


class Influence(NamedTuple):
    """What each piece of evidence did to each unknown.

    Parameters
    ----------
    shift : (E, D) ndarray
        Mean with it less mean without it, in prior standard deviations [-].
    narrowing : (E, D) ndarray
        Standard deviation with it over that without it [-].
    effective : (E,) ndarray
        Effective samples left without it, as a share; small where the belief hangs on it [-].
    """

    shift: Floats
    narrowing: Floats
    effective: Floats


def leave_one_out(*, samples: Floats, log_likelihoods: Floats) -> Influence:
    """Return what each piece of evidence did, from samples of the belief that has them all.

    Without piece e the samples weigh 1/L_e; weights are cut at sqrt(S) times their mean, so that none rules alone.

    Parameters
    ----------
    samples : (S, D) ndarray
        Samples of the belief [-].
    log_likelihoods : (E, S) ndarray
        Log likelihood of each piece in each sample [-].

    Returns
    -------
    Influence
        Shifts and narrowings.

    Notes
    -----
    The belief without a piece is wider than the one with it: where the samples do not reach its tails, `effective` is small
    and the shift is a lower bound.

    Examples
    --------
    >>> import numpy as np
    >>> z = np.random.default_rng(1).normal(0.5, np.sqrt(0.5), (20000, 1))
    >>> found = leave_one_out(samples=z, log_likelihoods=-0.5 * (z.T - 1.0) ** 2)
    >>> round(float(found.shift[0, 0]), 1)
    0.5

    References
    ----------
    Gelfand, Dey and Chang, in *Bayesian Statistics 4* (1992) 147-167. [gelfand:1992]
    Ionides, J. Comput. Graph. Stat. 17 (2008) 295-311 (cutting the weights). [ionides:2008]
    """
    count = len(samples)
    log_weight = -(log_likelihoods - log_likelihoods.min(axis=1, keepdims=True))
    weight = np.exp(log_weight)
    weight = np.minimum(weight, np.sqrt(count) * weight.mean(axis=1, keepdims=True))
    weight /= weight.sum(axis=1, keepdims=True)
    mean = weight @ samples
    spread = np.sqrt(np.maximum(weight @ samples**2 - mean**2, 1e-12))
    return Influence(
        shift=samples.mean(axis=0) - mean,
        narrowing=samples.std(axis=0) / spread,
        effective=1.0 / (weight**2).sum(axis=1) / count,
    )
