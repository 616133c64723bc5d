"""What a carry works on, gathered once."""

from __future__ import annotations

from attrs import frozen

from vatwright.planning.base import StackLoad
from vatwright.planning.settle import Run, Standard
from vatwright.planning.unknowns import Worlds
from vatwright.records.job import Job
from vatwright.records.process import Settings
from vatwright.records.study import Study


@frozen(kw_only=True, eq=False)
class Case:
    """What a carry works on: the job, both studies, and all worlds after the evidence."""

    job: Job
    proven_study: Study
    target_study: Study
    before: Worlds
    worlds: Worlds
    proven: Run
    standard: Standard
    target_load: StackLoad

    def target_run(self, settings: Settings) -> Run:
        """Return the target's run with these settings."""
        return Run(
            machine=self.job.target,
            settings=settings,
            load=self.target_load,
            side=self.worlds.target,
            overcure_m=self.worlds.overcure_m,
            confidence=self.job.confidence,
        )
