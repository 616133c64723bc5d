"""A proof that contradicts what was believed counts all the same, and the sheet says so."""

from __future__ import annotations

import numpy as np
import pytest
from tests.planning.workshop import job, machine, plate

from vatwright.evidence.belief import Belief, Unknown
from vatwright.evidence.tempering import effective
from vatwright.planning.carry.carry import planned


def test_effective_worlds_of_equal_weights_are_all_of_them():
    """Kong, Liu and Wong (1994): (sum w)^2 / sum w^2, for k equal weights among n is k."""
    weight = np.full(100, -np.inf)
    weight[:7] = 0.0
    assert effective(weight) == pytest.approx(7.0)


def test_a_belief_the_proof_contradicts_is_told():
    """A thick resin under a weak arm, believed firmly: eight runs of a wide plate could hardly all have held."""
    work = job(target=machine("Heron"))
    unknowns = (Unknown("viscosity", work.resin_from.name), Unknown("stiffness", work.origin.name))
    rng = np.random.default_rng(1)
    study = plate([22.0] * 60, spread_mm=(37.0, 23.0))  # as wide as four discs go on this platform
    told = {}
    for far in (0.0, 16.0):
        samples = np.column_stack([rng.normal(s, 0.4, 512) for s in (far, -far)])
        case, _ = planned(work, proven=study, target=study, belief=Belief(unknowns=unknowns, samples=samples))
        told[far] = case.at_odds
    assert told[0.0] == ()
    (said,) = told[16.0]
    assert "disagree" in said or "contradict" in said
    assert "what the recipe ran" in said
