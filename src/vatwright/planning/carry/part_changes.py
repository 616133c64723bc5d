"""What another plate, or other parts on it, would do to the time of a job: a few of the sheet's own worlds are asked."""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.physics.squeeze_film import STANDARD_ATMOSPHERE_PA
from vatwright.physics.vent import vent_diameter
from vatwright.planning.carry.advise import Advised, advise
from vatwright.planning.carry.carry import PlateCounts, reach_m, run_time, settings_needed
from vatwright.planning.demand.base import LEAST_TORSION_M4, StackLoad, stack_load
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import SAME
from vatwright.planning.demand.run_temperature import warmed_on_target
from vatwright.planning.hands.plan_by_hand import hands_can_help
from vatwright.records.machine import Obeys
from vatwright.records.study import SealedPocket, Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.records.job import Job

    Floats = NDArray[np.float64]

FEW = 16
"""Every so many worlds are asked [-]: differences between two plans need fewer than levels do."""

WORTH_SHARE, WORTH_S = 0.2, 1800.0
"""A change that saves this share of the time [-] and this long [s] is told before any setting: our own choice."""

ALIKE = 0.02
"""Chances this near each other are one, as far as a few worlds can tell [-]."""

FELT_SHARE, FELT_S = 0.03, 300.0
"""One that saves less than this share of the time [-], or than this [s], is within what the estimate is off, and not told."""

EASED = 0.1
"""Share of a sealed pocket's own pressure that a vent may leave, and of an atmosphere on the rise [-]: our own choice."""

WALL_M = 2.0e-3
"""Wall a vent is taken to go through [m]; common practice, no source."""

LEAST_HOLE_M, HOLE_STEP_M = 1.5e-3, 0.5e-3
"""Smaller holes cure shut, and drills come in such steps [m]; common practice, no source."""


@frozen(kw_only=True, eq=False)
class PlateSet:
    """Plates of one kind: the fullest one's study and what squeezes on it, and the layers of each."""

    study: Study
    layers: tuple[int, ...]
    load: StackLoad


class PlanTotals(NamedTuple):
    """What a plan comes to: time of all plates [s], body settle [s], chance to hold [-]."""

    to_s: float
    settle_s: float
    chance: float


def few_rows(needed: Floats, share: float) -> NDArray[np.intp]:
    """Return every `FEW`-th row in the order of what it needs, chosen so that they cover a share with what all of them do.

    Examples
    --------
    >>> from vatwright.planning.demand.choice import covering
    >>> needed = np.append(np.geomspace(1.0, 100.0, 240), np.full(16, np.inf))
    >>> few = needed[few_rows(needed, 0.9)]
    >>> len(few), covering(few, 0.9) == covering(needed, 0.9)
    (16, True)
    """
    order, count = np.argsort(needed, kind="stable"), int(np.isfinite(needed).sum())
    few = max(round(count / FEW), 1)
    at = math.ceil(share * few - SAME) - 1, math.ceil(share * count - SAME) - 1
    known = np.interp(np.arange(few), [-1, at[0], few], [-FEW / 2, at[1], count - 1 + FEW / 2])
    rest = np.arange(count + FEW // 2, len(needed), FEW)
    return np.sort(order[np.concatenate((np.round(known).astype(int), rest))])


class FewWorlds:
    """A carry's worlds, every `FEW`-th of them by the body settle they ask, asked what other plates would need.

    In that order what a few of them cover is what all of them do; as drawn, a few may miss the worlds that a plan waits for.
    """

    def __init__(self, case: Case, chosen: Advised) -> None:
        self.case = case.few(few_rows(chosen.ranges["body.settle_s"], chosen.share["body"]))

    def asked(self, plates: PlateSet) -> PlanTotals:
        """Return what plates come to, planned as the sheet's own are."""
        case = evolve(self.case, target_study=plates.study, target_load=plates.load)
        return of_plan(case, advise(case, settings_needed(case), reach_m=reach_m(plates.study)), plates.layers)

    def with_ramp(self, layers: int) -> FewWorlds:
        """Return the same worlds, asked for another count of ramp layers."""
        few = copy(self)
        few.case = evolve(self.case, job=evolve(self.case.job, ramp_layers=layers))
        return few

    def as_planned(self, layers: tuple[int, ...]) -> PlateSet:
        """Return the job's own plates."""
        return PlateSet(study=self.case.target_study, layers=layers, load=self.case.target_load)

    def on_the_machine(self, study: Study, layers: tuple[int, ...]) -> PlateSet:
        """Return plates that were studied anew."""
        load = warmed_on_target(self.case.job, stack_load(study, self.case.job.target))
        return PlateSet(study=study, layers=layers, load=load)

    def with_torsion(self, torsion_m4: Floats, layers: tuple[int, ...]) -> PlateSet:
        """Return the job's own plates with other torsion constants, as high as these go.

        What raft and platform add to each other is kept in proportion.
        """
        study, load, n = self.case.target_study, self.case.target_load, len(torsion_m4)
        own = _fitted(study.torsion_m4, n)
        share = np.divide(torsion_m4, own, out=np.ones(n), where=own > 0.0)
        pushed = np.maximum(np.where(own > 0.0, _fitted(load.torsion_m4, n) * share, torsion_m4), LEAST_TORSION_M4)
        pushed[0] = load.torsion_m4[0]
        fitted = {name: _fitted(getattr(load, name), n) for name in PLATFORM}
        giving = load.giving.of(n) if load.giving else None
        return PlateSet(
            study=_as_high(study, torsion_m4),
            layers=layers,
            load=evolve(load, torsion_m4=pushed, layer_m=np.full(n, study.layer_m), giving=giving, **fitted),
        )


PLATFORM = ("platform_torsion_m4", "platform_extra_gap_m", "platform_follows")
"""What a load says of the bare platform, by layer."""


def of_plan(case: Case, chosen: Advised, layers: tuple[int, ...]) -> PlanTotals:
    """Return what a plan comes to on plates of so many layers."""
    to_s = run_time(case, chosen.settings, chosen.settle_s, PlateCounts(origin=(), target=layers)).to_s
    return PlanTotals(to_s, _body_settle_s(chosen), chosen.chance)


def _fitted(values: Any, count: int) -> Any:
    """Values by layer cut off after so many layers, or with zeros added."""
    return np.concatenate((values[:count], np.zeros(max(count - len(values), 0), values.dtype)))


def _body_settle_s(chosen: Advised) -> float:
    """The settle that most layers get [s]."""
    return float(np.median(chosen.settle_s[min(chosen.settings.base_layers, len(chosen.settle_s) - 1) :]))


def _as_high(study: Study, torsion_m4: Floats) -> Study:
    """A study with other torsion constants, and as many layers as these."""
    n, reach = len(torsion_m4), study.reach
    if reach is not None:
        reach = evolve(reach, **{name: _fitted(getattr(reach, name), n) for name in ("span_m", "reach_m", "front_m")})
    rest = {name: _fitted(getattr(study, name), n) for name in ("area_m2", "perimeter_m", "islands")}
    return evolve(study, torsion_m4=torsion_m4, reach=reach, bowed=None, **rest)


def tells(saves_s: float, before_s: float) -> bool:
    """Return whether a saving is more than what an estimate may be off."""
    return saves_s > FELT_S and saves_s > FELT_SHARE * before_s


def beats_waiting(saves_s: float, before_s: float) -> bool:
    """Return whether a saving is worth telling before any setting.

    Examples
    --------
    >>> beats_waiting(7200.0, 18000.0), beats_waiting(600.0, 1200.0)
    (True, False)
    """
    return saves_s > WORTH_S and saves_s > WORTH_SHARE * before_s


def holds_as_often(after: PlanTotals, before: PlanTotals) -> bool:
    """Return whether a change costs no chance."""
    return after.chance >= before.chance - ALIKE


def rescues(meant: float, mean: float, confidence: float) -> bool:
    """Return whether a run that holds so often with a change, and `mean` without it, is as sure as asked with it alone.

    Examples
    --------
    >>> rescues(0.95, 0.4, 0.9), rescues(0.95, 0.94, 0.9)
    (True, False)
    """
    return mean < confidence - ALIKE <= meant


def ramp_can_help(job: Job) -> bool:
    """Return whether a longer ramp gives more light to the layers after the base, and no hand gives them their settle."""
    controller = job.target.controller
    lit = "exposure_s" in controller.ramp_covers and controller.rule("ramp.layers").obeys is not Obeys.NO
    return lit and not hands_can_help(job)


def vent_hole_m(case: Case, pockets: Sequence[SealedPocket], sealed_m4: Floats, vented_m4: Floats) -> float:
    """Return the hole that takes the pull from every pocket of a part, in the steps of drills [m].

    Parameters
    ----------
    case : Case
        The resin, and how fast the platform rises.
    pockets : sequence of SealedPocket
        Of one piece.
    sealed_m4, vented_m4 : (N,) ndarray
        Torsion constants of its layers as they are and with open pockets [m4].

    Returns
    -------
    float
        Diameter [m].  While the gap closes the hole leaves `EASED` of the pocket's own pressure, 3 mu V dJ / (A h^3) over its
        mouth A at a gap of one layer; while the platform rises, at most that share of an atmosphere, were the whole mouth to
        move with it.
    """
    viscosity = float(np.median(case.worlds.target.viscosity_pa_s))
    rise_m_s = case.job.recipe.settings.body.peel_speed_m_s
    found = []
    for pocket in pockets:
        layers = slice(pocket.first_layer, pocket.last_layer + 1)
        resists_m4 = float((sealed_m4[layers] - vented_m4[layers]).max(initial=0.0))
        own_pa = 3.0 * viscosity * resists_m4 / (pocket.open_area_m2 * case.target_study.layer_m**3)  # at 1 m/s
        for speed, allowed in ((1.0, EASED * own_pa), (rise_m_s, EASED * STANDARD_ATMOSPHERE_PA)):
            if allowed > 0.0:
                found.append(
                    vent_diameter(
                        viscosity_pa_s=viscosity, flow_m3_s=pocket.open_area_m2 * speed, wall_m=WALL_M,
                        pressure_pa=allowed,
                    )
                )  # fmt: skip
    steps = math.ceil(max(found, default=0.0) / HOLE_STEP_M - 1e-9)
    return max(steps * HOLE_STEP_M, LEAST_HOLE_M)
