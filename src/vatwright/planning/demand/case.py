"""What a carry works on, gathered once."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import field, frozen

from vatwright.planning.demand.base import StackLoad
from vatwright.planning.demand.exposure import PlateLight, both_lights_guessed, exposure_ratio, plate_light
from vatwright.planning.demand.settle import Run, Standard
from vatwright.planning.demand.unknowns import Worlds
from vatwright.records.job import Job
from vatwright.records.process import Settings
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


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
    at_odds: tuple[str, ...] = ()
    light_from: PlateLight = field(init=False)
    light_to: PlateLight = field(init=False)

    @light_from.default
    def _light_from(self) -> PlateLight:
        return plate_light(self.job.origin.light, self.proven_study)

    @light_to.default
    def _light_to(self) -> PlateLight:
        return plate_light(self.job.target.light, self.target_study)

    def exposure_ratio(self) -> Floats:
        """Return by what the seconds of light change in every world, dimmest spot under the pieces against dimmest, (S,)."""
        ratio = exposure_ratio(
            self.worlds.origin,
            self.worlds.target,
            from_share=self.light_from.dimmest,
            to_share=self.light_to.dimmest,
        )
        # What the proof tells about one guess says nothing about another: the seconds stay, the doubt remains.
        return np.asarray(ratio / np.median(ratio)) if both_lights_guessed(self.job) else ratio

    def target_run(self, settings: Settings) -> Run:
        """Return the target's run with these settings."""
        return Run(
            machine=self.job.target,
            settings=settings,
            load=self.target_load,
            side=self.worlds.target,
            overcure_m=self.worlds.overcure_m,
            confidence=self.job.confidence,
            dimmest=self.light_to.dimmest,
        )
