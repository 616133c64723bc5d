"""What a carry works on, gathered once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, field, frozen

from vatwright.planning.demand.base import StackLoad
from vatwright.planning.demand.duration import LayerTimes, layer_times
from vatwright.planning.demand.exposure import (
    PlateLight,
    both_lights_guessed,
    curing_s,
    curve_is_known,
    exposure_ratio,
    plate_light,
)
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
    """What a carry works on: the job, both studies, and all worlds after the evidence.

    The proven run is held to what it itself left, the new one to that or to the tolerance that the job states.  `pace` is
    by what factor runs on the target take longer than its moves say [-].  Peel
    speeds are what is wanted of the target, by phase [m/s]; the proven ones where nothing else was found.
    """

    job: Job
    proven_study: Study
    target_study: Study
    before: Worlds
    worlds: Worlds
    proven: Run
    proof_standard: Standard
    standard: Standard
    target_load: StackLoad
    at_odds: tuple[str, ...] = ()
    tempered: bool = False
    nobody_ran: bool = False
    pace: float = 1.0
    peel_m_s: Mapping[str, float] = field(factory=dict)
    light_from: PlateLight = field(init=False)
    light_to: PlateLight = field(init=False)

    @light_from.default
    def _light_from(self) -> PlateLight:
        return plate_light(self.job.origin.light, self.proven_study)

    @light_to.default
    def _light_to(self) -> PlateLight:
        return plate_light(self.job.target.light, self.target_study)

    def target_times(self, settings: Settings, *, layers: int, settle_s: Floats | None = None) -> LayerTimes:
        """Return the times of every layer on the target, at the pace that its runs taught: the clock that hands go by."""
        told = layer_times(settings, self.job.target, layers=layers, settle_s=settle_s)
        return LayerTimes(parts_s=self.pace * told.parts_s)

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

    def more_light(self) -> Floats:
        """Return by what more the seconds of light must change for another resin to cure through, in every world, (S,)."""
        job, target = self.job, self.worlds.target
        if job.resin == job.resin_from or not curve_is_known(job.resin):
            return np.ones(self.worlds.count)
        kept_s = job.recipe.settings.body.exposure_s * self.exposure_ratio()
        # Deep enough to bond a layer at the thick end of its tolerance, as runs scatter.
        scatter = np.exp(target.least_margin(job.confidence, "body"))
        depth_m = self.worlds.overcure_m + self.target_study.layer_m * (1.0 + job.tolerance_shown) * scatter
        least_s = curing_s(target, depth_m, share=self.light_to.dimmest)
        return np.asarray(np.maximum(least_s / kept_s, 1.0))

    def few(self, rows: NDArray[np.intp]) -> Case:
        """Return the worlds at these rows alone."""
        worlds = self.worlds.kept(rows)
        return evolve(
            self,
            worlds=worlds,
            proven=evolve(self.proven, side=worlds.origin, overcure_m=worlds.overcure_m),
            proof_standard=self.proof_standard.kept(rows),
            standard=self.standard.kept(rows),
        )

    def standard_of(self, run: Run) -> Standard:
        """Return what a run is held to."""
        return self.proof_standard if run is self.proven else self.standard

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
