"""Where the proof of a recipe contradicts what was believed before it: more worlds are looked at, and it is said."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.evidence.belief import unknown_of
from vatwright.evidence.tempering import effective
from vatwright.planning.demand.unknowns import Worlds
from vatwright.records.job import Job

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

FEWEST = 100.0
"""Worlds that a proof should leave in effect [-]: with fewer, a range is narrow only because hardly anything was left to
differ; engineering estimate."""

LEAST = 8.0
"""Worlds that a proof which contradicts what was read must leave [-]: more would make runs that held speak for less than
they say, fewer make a range a point; engineering estimate, weighed against Laplace's rule on the machine proven."""

MORE = 4
"""Times as many worlds are drawn where a proof leaves fewer than that [-]: what the memory of a bench computer allows."""

UNLIKELY = 0.01
"""Proven runs that what was believed gives a smaller chance than this contradict it [-]; common practice."""


def proof_at_odds(before: Worlds, job: Job, log_likelihood: Floats) -> tuple[str, ...]:
    """Return in a sentence what the proof contradicts; nothing where it agrees.

    Parameters
    ----------
    before : Worlds
        Before the proof.
    job : Job
        Says whose each unknown is.
    log_likelihood : (S,) ndarray
        How well each explains the proof [-].

    Notes
    -----
    Where too few worlds explain the proof, it is let in only so far as leaves enough of them.
    """
    proof = job.recipe.proof
    best = sum(n * math.log(n / proof.counted) for n in (proof.failed, proof.counted_held) if n)
    highest = float(log_likelihood.max())
    chance = float(np.exp(log_likelihood - highest).mean()) * math.exp(highest - best)
    if chance >= UNLIKELY:
        return ()
    weight = np.exp(log_likelihood - log_likelihood.max())
    share = weight / weight.sum()
    moved = {
        axis: abs(float(share @ values) - float(values.mean())) / float(values.std())
        for axis, values in before.axes.items()
        if values.std() > 0.0
    }
    ranked = dict.fromkeys(str(unknown_of(axis, job)) for axis in sorted(moved, key=lambda axis: -moved[axis]))
    first, second = list(ranked)[:2]
    if effective(log_likelihood) < FEWEST:
        return (
            f"Readings and proof contradict each other: check {first} first, then {second}, and what the recipe ran.",
        )
    said = f"What was read and noted and what the recipe has proven disagree, most about {first} and {second}."
    return (f"{said} Check the readings behind them, and what the recipe ran.",)
