"""Which noted runs are of a job itself, how they were set, and what has changed since."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from vatwright.records.tried import Changed, TriedRun

if TYPE_CHECKING:
    from vatwright.planning.learn.run_evidence import NotedRun
    from vatwright.records.job import Job
    from vatwright.records.run import RunOutcome
    from vatwright.services.learn_from_runs import LearningBench


def runs_of(job: Job, outcomes: Iterable[RunOutcome]) -> tuple[RunOutcome, ...]:
    """Return the runs of a job, by its name, on its machine with its resin."""
    here = (job.name, job.target.name, job.resin.name)
    return tuple(o for o in outcomes if (o.job, o.machine, o.resin) == here)


def tried_runs(bench: LearningBench, job: Job, outcomes: Iterable[RunOutcome]) -> tuple[TriedRun, ...]:
    """Return the noted runs of a job on its machine with its resin, oldest first; those that cannot be read are left out.

    Parameters
    ----------
    bench : LearningBench
        Reads runs.
    job : Job
        The job at hand.
    outcomes : iterable of RunOutcome
        Runs to choose from.
    """
    mine = runs_of(job, outcomes)
    return tuple(_tried(run, job) for run in bench.runs(mine)[0]) if mine else ()


def _tried(run: NotedRun, job: Job) -> TriedRun:
    changed = {
        Changed.PARTS: _parts(run.job) != _parts(job),
        Changed.FILM: bool(run.old_film),
        Changed.SCREEN: bool(run.old_screen),
        Changed.ASKED: (run.job.confidence, run.job.tolerance, run.job.hands)
        != (job.confidence, job.tolerance, job.hands),
    }
    return TriedRun(
        run=run.outcome.run,
        held=run.outcome.held,
        events=run.outcome.events,
        room_k=run.outcome.room_k,
        settings=run.settings,
        settle_s=run.settle_s,
        said=run.outcome.prediction.chance if run.outcome.prediction else None,
        changed=tuple(what for what, is_so in changed.items() if is_so),
    )


def _parts(job: Job) -> list[tuple[object, ...]]:
    """What of the parts tells plates apart: not where their files lie."""
    return sorted((p.name, p.count, str(p.unit), repr(p.places)) for p in job.parts)
