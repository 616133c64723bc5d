"""What may be taken away: each wait and each rise, with the least that still covers what is not known."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from vatwright.planning.carry.advise import PHASES, Advised
from vatwright.planning.carry.carry import reach_m
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering, settable
from vatwright.planning.demand.lift import release_lift_m
from vatwright.planning.demand.refill import refill_needed_s
from vatwright.planning.demand.settle import bond_alone, least_body_settle_s
from vatwright.planning.hands.plan_by_hand import SETTLE, hands_can_help
from vatwright.records.machine import Obeys
from vatwright.records.process import Settings, setting_unit

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

STAGES = ("peel_lift_mm", "clear_lift_mm")
"""Both stages of a rise: they keep their shares, so that the film still lets go in the slow one."""

RISE = "lift_mm"

STEP = 0.35
"""The most that one run takes of a wait, as a share of what held last [-]: a gap shrinks with the root of the wait at most, so
its margin by less than a fifth; engineering estimate, no source."""

RISE_STEP = 0.12
"""The most that one run takes of a rise [-]: its margin shrinks by as much, which is about what runs scatter by; engineering
estimate, no source."""


@frozen(kw_only=True)
class Lever:
    """A wait or a rise.

    Parameters
    ----------
    name : str
        ``body.settle_s`` or, for both stages of a rise, ``body.lift_mm``.
    stages : tuple of (str, float)
        The settings that move with it, and what they are now, SI.
    now : float
        What it is now, SI.
    need, floor : float
        Least in the middle of the range, and least that covers what is not known, SI.
    least : float
        What it may not go below, SI: its need, and what failed; what covers the unknown where only that keeps a tolerance.
    """

    name: str
    stages: tuple[tuple[str, float], ...]
    now: float
    need: float
    floor: float
    least: float

    def settings(self, case: Case, value: float) -> dict[str, float]:
        """Return by setting name what is set for it to have a value: whole steps, never below it, never above today's."""
        controller, proven = case.job.target.controller, case.job.recipe.settings
        share = value / self.now
        return {
            name: min(
                settable(now * share, unit=setting_unit(name), rule=controller.rule(name), proven=proven.value(name), up=True),
                now,
            )
            for name, now in self.stages
        }  # fmt: skip

    @property
    def step(self) -> float:
        """The most that one run takes of it, as a share of what it is now [-]."""
        return RISE_STEP if self.is_rise else STEP

    @property
    def is_rise(self) -> bool:
        """Whether it is a rise: what each layer waits does not hang on it."""
        return self.name.endswith(RISE)

    def held_by(self, names: Iterable[str]) -> bool:
        """Return whether somebody holds one of its settings."""
        return bool({self.name, *(name for name, _ in self.stages)} & set(names))


def levers(case: Case, chosen: Advised) -> tuple[Lever, ...]:
    """Return the waits and rises of a plan of which it is known what they are for.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    chosen : Advised
        The plan.

    Returns
    -------
    tuple of Lever
        Settle and rise of base and body, those left out that the controller does not obey or that are 0.  What a soak is
        for is not modelled, and a refill follows the rise: neither is taken away.
    """
    return (*_settles(case, chosen), *_rises(case, chosen))


def _settles(case: Case, chosen: Advised) -> tuple[Lever, ...]:
    shared = case.job.target.controller.rule(SETTLE).obeys is Obeys.SHARED
    found = tuple(_settles_apart(case, chosen))
    if not shared or hands_can_help(case.job) or len(found) < len(PHASES):
        return found
    # One value, and nobody changes it: the longer of the two.
    now = max(lever.now for lever in found)
    return (
        Lever(
            name=SETTLE, stages=tuple((f"{phase}.settle_s", now) for phase in PHASES), now=now,
            need=max(lever.need for lever in found), floor=max(lever.floor for lever in found),
            least=max(lever.least for lever in found),
        ),
    )  # fmt: skip


def _settles_apart(case: Case, chosen: Advised) -> Iterator[Lever]:
    for phase in PHASES:
        name = f"{phase}.settle_s"
        now, least_s = chosen.wanted.value(name), least_that_counts_s(case, chosen, phase)
        known = least_s[np.isfinite(least_s)]
        if now <= 0.0 or not len(known) or case.job.target.controller.rule(name).obeys is Obeys.NO:
            continue
        share = max(chosen.share[phase], case.job.confidence)
        need, floor = float(np.median(known)), covering(known, share)
        # The chance that a run holds knows nothing of a tolerance.
        least = floor if phase == "body" and case.job.tolerance is not None else need
        yield Lever(name=name, stages=((name, now),), now=now, need=need, floor=floor, least=least)


def least_that_counts_s(case: Case, chosen: Advised, phase: str) -> Floats:
    """Return the least settle of a phase in every world, (S,) [s]; of thickness only what the job asks for counts.

    A carry takes the thickness that the proven run left for good, as nobody knows why it was run so.  Who has spare waiting
    taken away, and states no tolerance, asks that layers hold.
    """
    if phase == "base" or case.job.tolerance is not None:
        return chosen.least_s[phase][1]
    run = case.target_run(chosen.wanted)
    return least_body_settle_s(run, bond_alone(case.standard), bond=not hands_can_help(case.job))


def _rises(case: Case, chosen: Advised) -> tuple[Lever, ...]:
    run = case.target_run(chosen.settings)
    found = []
    for phase in PHASES:
        release_m = release_lift_m(run.film(phase).tan_angle, reach_m(case.target_study))
        wanted_m = release_m * np.exp(case.worlds.target.least_margin(case.job.confidence, "release"))
        need = float(np.median(release_m))
        floor = covering(wanted_m, max(chosen.share["release"], case.job.confidence))
        names = _stages(case, phase)
        stages = tuple((name, chosen.settings.value(name)) for name in names if chosen.settings.value(name) > 0.0)
        now = getattr(chosen.settings, phase).lift_m
        if names:
            found.append(Lever(name=f"{phase}.{RISE}", stages=stages, now=now, need=need, floor=floor, least=need))
    return tuple(found)


def _stages(case: Case, phase: str) -> tuple[str, ...]:
    """The settings of a phase's rise; with the body's go the base's that the controller does not tell apart."""
    controller = case.job.target.controller
    obeys = {controller.rule(f"{phase}.{stage}").obeys for stage in STAGES}
    if Obeys.NO in obeys or (phase == "base" and Obeys.SHARED in obeys):
        return ()
    own = tuple(f"{phase}.{stage}" for stage in STAGES)
    return (*own, *(f"base.{stage}" for stage in STAGES)) if Obeys.SHARED in obeys else own


def resin_short_s(case: Case, settings: Settings) -> float:
    """Return by how much the refills that are set are less, in the middle of the range, than the rises set ask for [s]."""
    lacking = [float(np.median(refill_needed_s(case, settings, p))) - settings.value(f"{p}.refill_s") for p in PHASES]
    return max(0.0, *lacking)
