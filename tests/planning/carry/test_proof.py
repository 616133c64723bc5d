"""What a proof says of worlds that runs have taught: read from a table, it is what every layer of every world says."""

from __future__ import annotations

import numpy as np
import pytest
from tests.planning.workshop import job, plate

from vatwright.planning.carry.proof import proof_weight
from vatwright.planning.demand.base import stack_load
from vatwright.planning.demand.holding import with_strengths
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import RUN_SCATTER, draw


def test_a_table_weighs_worlds_as_all_layers_do():
    """Reference: the full computation; a mean difference below what two proven runs differ by says nothing else."""
    work, study = job(), plate([9.0] * 40)
    worlds = with_strengths(draw(work, count=256), work)
    run = Run(
        machine=work.origin, settings=work.recipe.settings, load=stack_load(study, work.origin), side=worlds.origin,
        overcure_m=worlds.overcure_m, confidence=work.confidence,
    )  # fmt: skip
    whole, quick = (proof_weight(work, study, worlds, run, reach_m=0.02, tabled=t) for t in (False, True))
    weight = np.exp(whole - whole.max())
    off = np.sqrt(np.average((quick - whole) ** 2, weights=weight))
    assert off < RUN_SCATTER
    assert np.average(np.arange(256), weights=np.exp(quick - quick.max())) == pytest.approx(
        np.average(np.arange(256), weights=weight), rel=0.01
    )
