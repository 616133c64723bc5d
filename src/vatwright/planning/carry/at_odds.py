"""Where the proof of a recipe contradicts what was believed before it: more worlds are looked at, and it is said."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.evidence.belief import unknown_of
from vatwright.evidence.tempering import effective
from vatwright.planning.demand.resin_flow import UNREAD_PA_S
from vatwright.planning.demand.unknowns import Worlds
from vatwright.quantities import key_at
from vatwright.records.job import Job
from vatwright.records.sourced import standing_in
from vatwright.wording import to_say

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


class ProofAtOdds(NamedTuple):
    """What a proof contradicts, in sentences, and whether so much that no answer stands until it is checked."""

    said: tuple[str, ...] = ()
    contradicts: bool = False


def proof_at_odds(before: Worlds, job: Job, log_likelihood: Floats) -> ProofAtOdds:
    """Return what the proof contradicts; nothing where it agrees.

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
    Where too few worlds explain the proof, it is let in only so far as leaves enough of them.  Where none does, all fail it
    alike, and nothing is narrowed by it: what is furthest from what such machines and resins are is then to be checked.
    """
    proof = job.recipe.proof
    best = sum(n * math.log(n / proof.counted) for n in (proof.failed, proof.counted_held) if n)
    highest = float(log_likelihood.max())
    chance = float(np.exp(log_likelihood - highest).mean()) * math.exp(highest - best)
    if chance >= UNLIKELY:
        return ProofAtOdds()
    never = job.recipe.tried and math.exp(highest - best) < UNLIKELY
    first, second = _unusual(before, job) if never else _moved(before, job, log_likelihood)
    if never or effective(log_likelihood) < FEWEST:
        check = to_say("check {first} first, then {second}, and what the recipe ran.", first=first, second=second)
        how = (
            to_say("As everything was read the proven runs could not have held")
            if never
            else to_say("Readings and proof contradict each other")
        )
        return ProofAtOdds((to_say("{how}: {check}", how=how, check=check),), contradicts=True)
    said = to_say(
        "What was read and noted and what the recipe has proven disagree, most about {first} and {second}.",
        first=first,
        second=second,
    )
    return ProofAtOdds((to_say("{said} Check the readings behind them, and what the recipe ran.", said=said),))


USUAL = {
    "stiffness origin": ("stiffness_n_m", standing_in(key_at("machine.stiffness_N_mm"))),
    "ceiling origin": ("ceiling_n", standing_in(key_at("machine.ceiling_N"))),
    "light origin": ("irradiance_w_m2", standing_in(key_at("machine.light.irradiance_mW_cm2"))),
    "tension origin": ("tension_n_m", standing_in(key_at("machine.film.tension_N_m"))),
    "viscosity": ("viscosity_pa_s", UNREAD_PA_S),
}
"""By unknown, its field on the proven machine and what stands in for it where nobody reads it."""


def _unusual(before: Worlds, job: Job) -> tuple[str, str]:
    """The two unknowns of the proven run that are furthest from what such machines and resins are."""

    def away(axis: str) -> float:
        name, usual = USUAL[axis]
        return abs(math.log(float(np.median(getattr(before.origin, name))) / usual.value)) / usual.spread

    first, second, *_ = sorted(USUAL, key=away, reverse=True)
    return unknown_of(first, job).in_words(), unknown_of(second, job).in_words()


def _moved(before: Worlds, job: Job, log_likelihood: Floats) -> tuple[str, str]:
    """The two unknowns that the proof would move most."""
    weight = np.exp(log_likelihood - log_likelihood.max())
    share = weight / weight.sum()
    moved = {
        axis: abs(float(share @ values) - float(values.mean())) / float(values.std())
        for axis, values in before.axes.items()
        if values.std() > 0.0
    }
    first, second, *_ = dict.fromkeys(
        unknown_of(axis, job).in_words() for axis in sorted(moved, key=lambda axis: -moved[axis])
    )
    return first, second
