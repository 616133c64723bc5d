"""What of a job's waits and rises is needed, and which settings to run next."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.planning.carry.carry import reach_m, run_time
from vatwright.planning.carry.trade import trade
from vatwright.planning.carry.warmth import refuse_unchecked
from vatwright.planning.trim.experience import experienced
from vatwright.planning.trim.trim import Trimming, trim
from vatwright.records.progress import Progress, silent
from vatwright.services.carry_recipe import plan_job
from vatwright.services.ports import PartReader, StudyMemory

if TYPE_CHECKING:
    from collections.abc import Iterable

    from vatwright.evidence.belief import Belief
    from vatwright.records.job import Job
    from vatwright.records.tried import TriedRun
    from vatwright.records.trim import TrimSheet


def trim_job(
    job: Job,
    read: PartReader,
    *,
    hold: Iterable[str] = (),
    progress: Progress = silent,
    memory: StudyMemory | None = None,
    belief: Belief | None = None,
    tried: tuple[TriedRun, ...] = (),
) -> TrimSheet:
    """Return what of each wait and rise of a job is need, cover and spare, and the next settings that save time.

    Parameters
    ----------
    job : Job
        With every record it names.
    read : PartReader
        Reads part files.
    hold : iterable of str
        Settings that stay as they are.
    progress : Progress
        Told how far the work is; may raise to stop it.
    memory : StudyMemory or None
        What remembers studies from run to run.
    belief : Belief or None
        What noted runs have taught.
    tried : tuple of TriedRun
        Noted runs of this very job, oldest first.

    Returns
    -------
    TrimSheet
        Measured against today's plan, in the same worlds.

    Raises
    ------
    InputError
        As a carry does.
    WillNotWork
        In a room that is too cold or too warm for any answer.
    """
    refuse_unchecked(job.room_k, "Nothing is taken away")
    plan = plan_job(job, read, progress=progress, memory=memory, belief=belief)
    case, plates = plan.case, plan.plates
    progress("taking away what is not needed", 0, 2)
    bench = Trimming(case=case, today=plan.chosen, plates=plates)
    bench = experienced(bench, tried)[0] if tried else bench
    bought = trade(
        case, bench.today, reach_m=reach_m(case.target_study),
        time_s=lambda s, settles: run_time(case, s, settles, plates).to_s,
    )  # fmt: skip
    progress("taking away what is not needed", 1, 2)
    sheet = trim(bench, hold=hold, trade=bought)
    progress("taking away what is not needed", 2, 2)
    return sheet
