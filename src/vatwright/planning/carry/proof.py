"""How well worlds explain what a recipe's own proof showed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.evidence.belief import Belief, unknown_of
from vatwright.kept_answers import KeptAnswers, fingerprint
from vatwright.physics.viscosity import andrade_viscosity
from vatwright.planning.demand.base import stack_load
from vatwright.planning.demand.holding import holding_log_likelihood, strengths
from vatwright.planning.demand.outcome import Margins, log_likelihood, margins
from vatwright.planning.demand.practice import PRACTICE_WEIGHT, ROOM_K, common_load, common_recipe
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import Side, Worlds
from vatwright.planning.learn.run_table import RunTable, run_table, side_table
from vatwright.planning.plates.plate_load import study_of_load
from vatwright.records.job import Job
from vatwright.records.machine import Controller
from vatwright.records.sourced import Kind
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_weighed = KeptAnswers(room=8)
"""Weights of the last few recipes' worlds, (S,) each [-]: they do not depend on where a recipe is carried to."""

SHOWN_LAYERS = 40
"""Body layers of a common load that are asked: after a base the last of them are alike [-]."""

_tables = KeptAnswers(room=8)
"""Thickness of the last few proven runs: it does not depend on what is believed."""


def proof_weight(job: Job, proven: Study, before: Worlds, run: Run, *, reach_m: float, tabled: bool) -> Floats:
    """Return how well every world explains what the proven run showed (log), (S,) [-].

    Parameters
    ----------
    job : Job
        Its recipe and proof.
    proven : Study
        The plate of the proof.
    before : Worlds
        The worlds before it is counted.
    run : Run
        The proven run in these worlds.
    reach_m : float
        Rise over tan(theta) at which the hardest layer of that plate lets go [m].
    tabled : bool
        Whether layers may be read from a table: with every noted run the worlds change, the proven run does not.
    """
    proof = job.recipe.proof
    carries = strengths(before, job.resin_from, target=False)

    def work_out() -> Floats:
        table = _table(job, proven, run, reach_m) if tabled and run.load.giving is None else None
        on_it = table if table and table.covers(run.side) else None
        seen = _tabled(on_it, run) if on_it else margins(run, reach_m=reach_m, forces=False)
        films = (run.film("base"), run.film("body"))
        held = holding_log_likelihood(proven, films, run.settings.base_layers, carries, held=proof.counted_held)
        return np.asarray(log_likelihood(seen, runs=proof.counted, failed=proof.failed) + held)

    return _weighed.answer(fingerprint(run, proven, carries, proof.counted, proof.failed, tabled), work_out)


def nobody_tried(job: Job, belief: Belief | None) -> bool:
    """Return whether neither a reading nor a noted run says how stiff the target is, and the recipe was not proven there."""
    unread = job.target.stiffness_n_m.kind is Kind.ESTIMATE
    learned = belief is not None and belief.knows(unknown_of("stiffness target", job))
    return job.recipe.tried and job.origin != job.target and unread and not learned


def practice_weight(job: Job, worlds: Worlds) -> Floats:
    """Return how well every world explains that waits and rises of common practice hold on the target (log), (S,) [-].

    Machines of its size are run so, lit as the recipe was where it is proven; it counts as it does for a job without a recipe,
    so that who brings one knows no less of the machine.  A common load has one section throughout: a few layers show it.
    """
    common = common_recipe(job.target, resin=job.resin, untried=job.recipe)
    settings = evolve(common.settings, ramp_layers=min(common.settings.ramp_layers, SHOWN_LAYERS))
    study = study_of_load(
        common_load(job.target),
        layer_nm=settings.layer_nm,
        layers=settings.base_layers + settings.ramp_layers + SHOWN_LAYERS,
        platform=job.target.platform,
        window=job.target.window,
    )
    run = Run(
        machine=evolve(job.target, controller=Controller()),
        settings=settings,
        load=stack_load(study, job.target),
        side=_lit_as_proven(job, worlds),
        overcure_m=worlds.overcure_m,
        confidence=job.confidence,
    )

    def work_out() -> Floats:
        seen = margins(run, reach_m=float(study.reach.reach_m.max()) if study.reach else 0.0, forces=False)
        return np.asarray(PRACTICE_WEIGHT * log_likelihood(seen, runs=1, failed=0))

    return _weighed.answer(fingerprint(run, study), work_out)


def _lit_as_proven(job: Job, worlds: Worlds) -> Side:
    """The target in the room of common practice, under the origin's light."""
    energy = viscosity_belief(job.resin).activation_j_mol.value
    warmer = andrade_viscosity(known_pa_s=1.0, known_k=job.room_k, activation_j_mol=energy, temperature_k=ROOM_K)
    lit = ("irradiance_w_m2", "spot", "curve_depth_m", "curve_dose_j_m2")
    return evolve(
        worlds.target,
        viscosity_pa_s=warmer * worlds.target.viscosity_pa_s,
        **{name: getattr(worlds.origin, name) for name in lit},
    )


def _table(job: Job, proven: Study, run: Run, reach_m: float) -> RunTable:
    """The proven run as a table: off by less than a fifth of what runs scatter by."""
    at_home = evolve(job, target=job.origin, resin=job.resin_from, room_k=job.recipe.proof.room_k)
    asked = fingerprint(
        run.settings, run.load, repr((job.origin, job.resin_from, at_home.room_k)), run.dimmest, reach_m
    )
    return _tables.answer(asked, lambda: run_table(side_table(at_home, proven), run, reach_m=reach_m))


def _tabled(table: RunTable, run: Run) -> Margins:
    seen = table.at(run.side, run.overcure_m)
    none = np.zeros((len(seen.base), 0))
    return Margins(
        base=np.exp(seen.base), body=np.exp(seen.body), release=np.exp(seen.release), base_layer=0, body_layer=0,
        thickness_m=none, worst_m=none, limit_m=none, peak_force_n=none, side=run.side,
    )  # fmt: skip
