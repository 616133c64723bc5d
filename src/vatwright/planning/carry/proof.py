"""How well worlds explain what a recipe's own proof showed."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.kept_answers import KeptAnswers, fingerprint
from vatwright.planning.demand.holding import holding_log_likelihood, strengths
from vatwright.planning.demand.outcome import Margins, log_likelihood, margins
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import Worlds
from vatwright.planning.learn.run_table import RunTable, run_table, side_table
from vatwright.records.job import Job
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_weighed = KeptAnswers(room=8)
"""Weights of the last few recipes' worlds, (S,) each [-]: they do not depend on where a recipe is carried to."""

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
