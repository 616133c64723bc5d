"""What a proof says of worlds that runs have taught: read from a table, it is what every layer of every world says."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import ROOM_K, job, machine, plate, resin

from vatwright.evidence.belief import Belief, unknown_of
from vatwright.planning.carry.proof import nobody_tried, practice_weight, proof_weight
from vatwright.planning.demand.base import stack_load
from vatwright.planning.demand.holding import with_strengths
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import RUN_SCATTER, draw
from vatwright.records.sourced import Kind, Sourced


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


UNREAD = Sourced.about(2.4e5, factor=2.5, source="estimate:vatwright", kind=Kind.ESTIMATE)
ALBATROSS = machine("Albatross", width_mm=296.0, depth_mm=166.0, stiffness_n_m=2.4e5)


def albatross(**changes):
    return job(target=evolve(ALBATROSS, stiffness_n_m=UNREAD), **changes)


def weights(work):
    worlds = with_strengths(draw(work, count=256), work)
    return worlds, practice_weight(work, worlds)


def test_common_practice_speaks_against_soft_arms_and_says_nothing_of_the_light():
    """At rest a layer is late by exp(-k t / drag): a stiffer arm settles what practice waits for (Reynolds 1886, Hooke)."""
    worlds, weight = weights(albatross())
    assert (weight <= 0.0).all()
    soft, stiff = (worlds.axes["stiffness target"] < -1.0), (worlds.axes["stiffness target"] > 1.0)
    assert weight[soft].mean() < weight[stiff].mean() - 0.05
    dim = evolve(ALBATROSS, stiffness_n_m=UNREAD, light=evolve(ALBATROSS.light, irradiance_w_m2=Sourced.about(
        3.0, factor=1.05, source="user:reading", kind=Kind.READING)))  # fmt: skip
    assert weights(job(target=dim))[1] == pytest.approx(weight)


def test_common_practice_holds_in_its_own_room_whatever_the_job_s_is():
    plain = resin(viscosity=(evolve(resin().viscosity[0], temperature_k=ROOM_K),))
    warm, cold = (weights(albatross(room_k=ROOM_K - d, resin_from=plain))[1] for d in (0.0, 5.0))
    assert cold.mean() == pytest.approx(warm.mean(), abs=0.05)


def test_a_reading_a_run_or_the_recipe_s_own_machine_leaves_practice_unasked():
    work = albatross()
    unknown = unknown_of("stiffness target", work)
    assert nobody_tried(work, None)
    assert not nobody_tried(job(target=ALBATROSS), None)
    assert not nobody_tried(job(), None)
    assert not nobody_tried(evolve(work, recipe=evolve(work.recipe, proof=evolve(work.recipe.proof, runs=0))), None)
    assert not nobody_tried(work, Belief(unknowns=(unknown,), samples=np.zeros((8, 1))))
    elsewhere = unknown_of("stiffness origin", work)
    assert nobody_tried(work, Belief(unknowns=(elsewhere,), samples=np.zeros((8, 1))))
