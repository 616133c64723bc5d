"""Which values to set: each covers its share of the worlds, and all together hold as often as asked."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, field, frozen

from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering, settable
from vatwright.planning.demand.outcome import Margins, margins
from vatwright.planning.demand.refill import refill_needed_s
from vatwright.planning.demand.settle import Run, carried_settle_s, least_base_settle_s, least_body_settle_s
from vatwright.planning.hands.plan_by_hand import hand_plan, hands_can_help
from vatwright.quantities import IN_A_PHASE
from vatwright.records.machine import Obeys
from vatwright.records.plan import HandPlan
from vatwright.records.process import PHASE_SETTINGS, Settings, setting_unit

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

DEMANDS = ("settle_s", "peel_lift_mm", "clear_lift_mm")
"""Quantities of which too little fails: the advice covers the chosen share of worlds.  The others take the median."""

TRIES = 6
"""How often more worlds are covered for a demand so that all together hold as often as asked."""

PHASES = ("base", "body")

ROUNDING = 0.005
"""Differences of a chance below this are printed as the same per cent [-]."""


@frozen(kw_only=True, eq=False)
class Advised:
    """The values chosen and what follows from them.

    Parameters
    ----------
    settings : Settings
        As the controller can take them.
    ranges : dict of str to (S,) ndarray
        By setting name, what every world needs.
    hand : HandPlan or None
        What is done by hand.
    outcome : Margins
        Margins of the run.
    settle_s : (N,) ndarray
        Settle each layer gets [s].
    wanted : Settings
        What base and body want, as if the controller obeyed everything.
    share : dict of str to float
        Share of the worlds covered for base, body and release [-].
    least_s : dict of str to tuple of (S,) ndarray
        By phase, least settle in every world on the origin and on the target [s].
    doubt : float
        How likely it is that something is wrong here that no margin describes: this job's own runs failed [-].
    """

    settings: Settings
    ranges: dict[str, Floats]
    hand: HandPlan | None
    outcome: Margins
    settle_s: Floats
    wanted: Settings
    share: dict[str, float]
    least_s: dict[str, tuple[Floats, Floats]]
    doubt: float = 0.0

    @property
    def chance(self) -> float:
        """Chance that the run holds, over all worlds [-]."""
        return doubted(float(self.outcome.chance().mean()), self.doubt)

    def sought(self, confidence: float) -> float:
        """Return the chance up to which more cover is looked for, where the run is asked to hold so often [-].

        Worlds that no wait saves, too dim to cure through a layer, lack something else: what they lose is not made up for by
        waiting ever longer in the others.  Among those others half of what is allowed to be lost may still be lost.
        """
        saved = np.logical_and(*(np.isfinite(self.least_s[phase][1]) for phase in PHASES))
        return min(confidence, float(saved.mean()) * (1.0 + confidence) / 2.0)


WRONG_HOLDS = 0.1
"""Share of runs that hold all the same where something is wrong that no margin describes [-]; engineering estimate."""


def doubted(chance: float, doubt: float) -> float:
    """Return a chance where something else may be wrong with some probability [-].

    Examples
    --------
    >>> doubted(0.9, 0.0), round(doubted(0.9, 0.5), 3)
    (0.9, 0.5)
    """
    return (1.0 - doubt) * chance + doubt * WRONG_HOLDS


def advise(case: Case, needs: dict[str, Floats], *, reach_m: float) -> Advised:
    """Return the values to set on the target.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    needs : dict of str to (S,) ndarray
        By setting name, what every world needs, settle and refill left out.
    reach_m : float
        Rise over tan(theta) at which the hardest layer lets go on the target [m].

    Returns
    -------
    Advised
        Each demand first covers the confidence asked for.  While the run as a whole holds less often, the weakest of
        base, body and release covers half of what it left; one that this does not help is left alone.  See
        :meth:`Advised.sought` for where worlds are lost whatever is set.
    """
    needed = _Needed(case)
    share = dict.fromkeys(("base", "body", "release"), case.job.confidence)

    def plan(share: dict[str, float]) -> Advised:
        return _with_shares(case, needs, needed, share, reach_m)

    return covering_more(plan, share, confidence=case.job.confidence, chance=lambda advised: advised.chance)


def covering_more(
    plan: Callable[[dict[str, float]], Advised],
    share: dict[str, float],
    *,
    confidence: float,
    chance: Callable[[Advised], float],
    tries: int = TRIES,
) -> Advised:
    """Return a plan that covers more worlds of the demands that are weakest, until the whole holds as often as asked.

    Parameters
    ----------
    plan : callable
        What follows from covering so much of each demand.
    share : dict of str to float
        Share of the worlds to begin with, for base, body and release [-].
    confidence : float
        How often the whole is to hold [-].
    chance : callable
        How often a plan holds [-].
    tries : int
        How often more worlds may be covered.

    Returns
    -------
    Advised
        The best plan found.
    """
    best = plan(share)
    open_to_more = set(share)
    for _ in range(tries):
        if chance(best) >= best.sought(confidence) or not open_to_more:
            break
        chances = {name: float(c.mean()) for name, c in best.outcome.chances().items() if name in open_to_more}
        weakest = min(chances, key=lambda name: chances[name])
        more = share | {weakest: 1.0 - (1.0 - share[weakest]) / 2.0}
        trial = plan(more)
        if chance(trial) < chance(best) + ROUNDING:
            open_to_more.discard(weakest)
        else:
            best, share = trial, more
    return best


@frozen
class _Needed:
    """Least settles in every world, each worked out once."""

    case: Case
    seen: dict[tuple[str, bool, Settings], Floats] = field(factory=dict)

    def least_s(self, phase: str, run: Run) -> Floats:
        # Not by the machine: one machine may carry another plate, or stand in another room, than the proven run.
        key = (phase, run is self.case.proven, _felt(phase, run.settings))
        if key not in self.seen:
            self.seen[key] = (
                least_base_settle_s(run, self.case.standard_of(run))
                if phase == "base"
                else least_body_settle_s(run, self.case.standard_of(run), bond=not hands_can_help(self.case.job))
            )
        return self.seen[key]


FELT = ("exposure_s", "settle_s", "return_speed_mm_s")
"""What the least settle of a phase depends on, of all that a phase has."""


def _felt(phase: str, settings: Settings) -> Settings:
    """Settings with all that the least settle of a phase does not depend on made alike: rises, other waits, its own settle."""
    alike = {k.attribute: 0.0 if k.may_be_zero else 1.0 for k in IN_A_PHASE if k.name not in FELT}
    waited = 0.0 if phase == "base" else settings.base.settle_s
    base = evolve(settings.base, settle_s=waited, **alike)
    return evolve(settings, base=base, body=evolve(settings.body, settle_s=0.0, **alike))


def _with_shares(
    case: Case, needs: dict[str, Floats], needed: _Needed, share: dict[str, float], reach_m: float
) -> Advised:
    wanted, ranges = chosen_settings(case, needs, needed.least_s, share)
    settings, hand, settle = hand_plan(case, wanted, share["body"])
    outcome = margins(case.target_run(settings), reach_m=reach_m, settle_s=settle)
    return Advised(
        settings=settings, ranges=ranges, hand=hand, outcome=outcome, settle_s=settle, wanted=wanted, share=share,
        least_s={p: (needed.least_s(p, case.proven), needed.least_s(p, case.target_run(wanted))) for p in PHASES},
    )  # fmt: skip


def wanted_value(name: str, values: Floats, share: float) -> float:
    """Return the value that covers a share of the worlds where too little fails, else the middle one."""
    return covering(values, share) if name.split(".")[1] in DEMANDS else float(np.median(values))


def chosen_settings(
    case: Case, needs: dict[str, Floats], least_s: Callable[[str, Run], Floats], share: dict[str, float]
) -> tuple[Settings, dict[str, Floats]]:
    """Return what base and body want, as if the controller obeyed everything, and what every world needs.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    needs : dict of str to (S,) ndarray
        By setting name, what every world needs, settle and refill left out.
    least_s : callable
        Least settle of a phase of a run in every world, (S,) [s].
    share : dict of str to float
        Share of the worlds to cover for base, body and release [-].

    Returns
    -------
    tuple
        Settings; by setting name what every world needs, settle included.
    """
    proven, controller = case.job.recipe.settings, case.job.target.controller
    settings, ranges = proven, dict(needs)
    for setting in PHASE_SETTINGS:
        if setting.name not in needs:
            continue
        value = wanted_value(setting.name, needs[setting.name], share["release"])
        settings = set_within_rules(case, settings, setting.name, value)
    for phase in PHASES:  # the wait that goes with the rises as they are set, not as each world would have them
        settings, ranges[f"{phase}.refill_s"] = with_refill(case, settings, phase, share["release"])
    count_rules = {name: controller.rule(name) for name in ("base.layers", "ramp.layers", "layer_mm")}
    asked = {} if case.job.ramp_layers is None else {"ramp.layers": case.job.ramp_layers}
    for name, rule in count_rules.items():
        if rule.obeys is Obeys.NO:
            settings = settings.with_value(name, rule.fixed)
        else:
            wanted = proven.value(name) if name not in asked else asked[name]
            settings = settings.with_value(name, min(max(wanted, rule.minimum), rule.maximum))
    settings = evolve(settings, layer_nm=case.target_study.layer_nm)
    for phase in PHASES:
        name = f"{phase}.settle_s"
        carried = carried_settle_s(
            proven.value(name),
            needed_from_s=least_s(phase, case.proven),
            needed_to_s=least_s(phase, case.target_run(settings)),
        )
        if case.tempered:  # where the evidence contradicts itself, what ran is all that is known
            carried = np.maximum(carried, proven.value(name))
        ranges[name] = carried
        settings = set_within_rules(case, settings, name, covering(carried, share[phase]))
    return settings, ranges


def with_refill(case: Case, settings: Settings, phase: str, share: float) -> tuple[Settings, Floats]:
    """Return settings with the refill wait that the rises set in a phase want, and what every world needs, (S,) [s]."""
    name, needed_s = f"{phase}.refill_s", refill_needed_s(case, settings, phase)
    return set_within_rules(case, settings, name, wanted_value(name, needed_s, share)), needed_s


def set_within_rules(case: Case, settings: Settings, name: str, wanted: float) -> Settings:
    """Return settings with one value as the target's controller takes it."""
    rule = case.job.target.controller.rule(name)
    if rule.obeys is Obeys.NO:
        return settings.with_value(name, rule.fixed)
    quantity = name.split(".")[1]
    up = True if quantity in DEMANDS else False if quantity.endswith("speed_mm_s") else None
    proven = case.job.recipe.settings.value(name)
    value = settable(wanted, unit=setting_unit(name), rule=rule, proven=proven, up=up)
    return settings.with_value(name, value)
