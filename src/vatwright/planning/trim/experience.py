"""What runs of this very job say of its settings: what failed does not come back, what held is kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve

from vatwright.planning.carry.advise import ROUNDING, WRONG_HOLDS, Advised
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import settable
from vatwright.planning.hands.plan_by_hand import hands_can_help
from vatwright.planning.learn.run_evidence import OUTSIDE
from vatwright.planning.trim.levers import RISE, STAGES
from vatwright.planning.trim.trim import Trimming
from vatwright.records.machine import Obeys
from vatwright.records.process import PHASE_SETTINGS, Settings, setting_unit
from vatwright.records.run import Seen
from vatwright.records.tried import Changed, Experience, Freed, Raised, TriedRun

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ROOM_K = 2.0
"""Rooms closer than this are one: resin then flows alike within a tenth [K]; engineering estimate, no source."""

STEP_UP = 1.25
"""By what factor a wait or a rise is more than what failed, where nothing in between held [-]; engineering estimate, no
source."""

NEAR = 3
"""Layers beside the one that split that are given as much: nobody reads a height to the layer."""

ELSEWHERE = OUTSIDE / 2.0
"""How likely it is, before any run, that a job fails here for what no margin describes [-]."""

SURE = (0.05, 0.95)
"""No chance said is taken as surer than this: models are wrong more often than they say [-]; engineering estimate."""

BLAMED = {
    Seen.BASE_LET_GO: "base.settle_s",
    Seen.LAYER_SPLIT: "body.settle_s",
    Seen.THICK_BAND: "body.settle_s",
    Seen.NOT_RELEASED: RISE,
    Seen.STUCK_TO_FILM: RISE,
}
"""The wait or rise that was too little where this was seen."""


class Limit(NamedTuple):
    """What failed: a wait or a rise, its value, the layer where that is told, and the run."""

    name: str
    failed_at: float
    layer: int | None
    run: str


def experienced(bench: Trimming, tried: Sequence[TriedRun]) -> tuple[Trimming, Experience]:
    """Return the plan that runs of this job leave, what held last and nothing that failed, and what they say.

    Parameters
    ----------
    bench : Trimming
        What plans are tried on; its plan of today is what the carry advises.
    tried : sequence of TriedRun
        Runs of this job on this machine with this resin, oldest first.

    Returns
    -------
    tuple
        The same with the plan to start from and with what it may not go below; Experience.

    Notes
    -----
    What held is kept, but for what failed since, unless it holds less often by what is known now than is asked, and than what
    is advised.  A failure counts unless parts, film or screen have changed or the room is warmer by `ROOM_K`; then it is named.
    """
    case = bench.case
    failed = [(t, _changed_for_failing(t, case)) for t in tried if not t.held]
    limits = [limit for t, changed in failed if not changed for limit in _limits(t, case)]
    good = [t for t in tried if t.held and not t.changed and t.room_k <= case.job.room_k + ROOM_K]
    least = {n: max(_above(x, good, case) for x in limits if x.name == n and x.layer is None) for n in _names(limits)}
    least |= _least_without_lines(good, least)
    bench = evolve(bench, least=least, floor_s=_floor_s(bench, limits, good))
    plan, raised, kept = _held_last(bench, limits, good)
    freed = tuple(Freed(run=t.run, changed=changed) for t, changed in failed if changed)
    here = [t for t in tried if set(t.changed) <= {Changed.ASKED}]
    told = Experience(
        kept=kept, raised=raised, freed=freed, failed=sum(not t.held for t in here), ran=len(here),
        doubt=doubt_of(here, case.job.confidence),
    )  # fmt: skip
    whole = plan if plan is bench.today else bench.whole(plan)
    failed_last = bool(here) and not here[-1].held
    stuck = any(limit.name.endswith(RISE) for limit in limits)
    return evolve(bench, today=evolve(whole, doubt=told.doubt), after_failure=failed_last, peel_faster=not stuck), told


def doubt_of(here: Sequence[TriedRun], confidence: float) -> float:
    """Return how likely it is that something is wrong with a job here that no margin describes [-]; 0 where no run failed.

    Bayes' rule on two cases: the runs hold as often as was said, or, with the prior `ELSEWHERE`, as seldom as `WRONG_HOLDS`.

    Parameters
    ----------
    here : sequence of TriedRun
        Runs of the job, of which nothing that matters has changed since.
    confidence : float
        What is taken as said where nobody kept it [-].

    Examples
    --------
    >>> doubt_of([], 0.9)
    0.0
    """
    if all(t.held for t in here):
        return 0.0
    odds = ELSEWHERE / (1.0 - ELSEWHERE)
    for t in here:
        said = min(max(confidence if t.said is None else t.said, SURE[0]), SURE[1])
        odds *= WRONG_HOLDS / said if t.held else (1.0 - WRONG_HOLDS) / (1.0 - said)
    return odds / (1.0 + odds)


def _names(limits: Sequence[Limit]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(limit.name for limit in limits if limit.layer is None))


def _held_last(
    bench: Trimming, limits: Sequence[Limit], good: Sequence[TriedRun]
) -> tuple[Advised, tuple[Raised, ...], str]:
    """The newest run that held as a plan, with no more raised than what failed, what was raised, and the run's name.

    What failed is raised as far as is advised where that is surer; all is as advised where only that is.
    """
    held = [(_as_run(bench, run), like, run.run) for run in good[-1:] for like in (None, bench.today)]
    plans = [(*_raised(bench, plan, limits, good, like), run) for plan, like, run in (*held, (bench.today, None, ""))]
    enough = min(bench.case.job.confidence, plans[-1][0].chance - ROUNDING)
    return next(choice for choice in plans if choice[0].chance >= enough)


def _least_without_lines(good: Sequence[TriedRun], least: Mapping[str, float]) -> dict[str, float]:
    """Where a run that held showed a thick band or lines, body settle goes no lower: they would only show more."""
    marked = [t.body_settle_s() for t in good if {e.what for e in t.events} & {Seen.THICK_BAND, Seen.LINES}]
    name = "body.settle_s"
    return {name: max(*marked, least.get(name, 0.0))} if marked else {}


def _floor_s(bench: Trimming, limits: Sequence[Limit], good: Sequence[TriedRun]) -> Floats | None:
    """What layers get at least where one of them split with less; None where none is told."""
    count = len(bench.today.settle_s)
    floor_s = np.zeros(count)
    for limit in limits:
        if limit.layer is not None and limit.layer < count:
            near = slice(max(limit.layer - NEAR, 0), limit.layer + NEAR + 1)
            floor_s[near] = np.maximum(floor_s[near], _above(limit, good, bench.case))
    return floor_s if floor_s.any() else None


def _changed_for_failing(t: TriedRun, case: Case) -> tuple[Changed, ...]:
    """What has changed so that a failure counts no more; what was asked for is no excuse."""
    warmer = case.job.room_k > t.room_k + ROOM_K
    return (*(c for c in t.changed if c is not Changed.ASKED), *((Changed.ROOM,) if warmer else ()))


def _limits(t: TriedRun, case: Case) -> tuple[Limit, ...]:
    """What was too little in a run that failed; where nothing was seen, the wait of most layers."""
    blamed = [(BLAMED[e.what], e.layer) for e in t.events if e.what in BLAMED]
    if not t.events:
        blamed = [("body.settle_s", None)]
    found = []
    for name, layer in blamed:
        in_base = layer is not None and layer < t.settings.base_layers
        name = "base.settle_s" if name == "body.settle_s" and in_base else name
        if name == RISE:
            found += [Limit(f"{p}.{RISE}", getattr(t.settings, p).lift_m, None, t.run) for p in ("base", "body")]
        elif name == "base.settle_s":
            found.append(Limit(name, t.base_settle_s(), None, t.run))
        else:
            here = layer if hands_can_help(case.job) else None
            found.append(Limit(name, t.settle_at_s(layer), here, t.run))
    return tuple(found)


def _of_run(t: TriedRun, limit: Limit) -> float:
    phase, _, what = limit.name.partition(".")
    if what == RISE:
        return float(getattr(t.settings, phase).lift_m)
    return t.base_settle_s() if phase == "base" else t.settle_at_s(limit.layer)


def _of_plan(plan: Advised, limit: Limit) -> float:
    phase, _, what = limit.name.partition(".")
    if what == RISE:
        return float(getattr(plan.settings, phase).lift_m)
    if phase == "base":
        return float(plan.settle_s[0])
    if limit.layer is not None and limit.layer < len(plan.settle_s):
        return float(plan.settle_s[limit.layer])
    return float(np.median(plan.settle_s[min(plan.settings.base_layers, len(plan.settle_s) - 1) :]))


def _above(limit: Limit, good: Sequence[TriedRun], case: Case) -> float:
    """The least that is more than what failed: what held above it, at most a step more."""
    step_up = limit.failed_at * STEP_UP
    held = [value for t in good if (value := _of_run(t, limit)) > limit.failed_at]
    unit = "mm" if limit.name.endswith(RISE) else "s"
    rule = case.job.target.controller.rule(limit.name if unit == "s" else limit.name.replace(RISE, STAGES[0]))
    return min([settable(step_up, unit=unit, rule=rule, proven=step_up, up=True), *held])


def _as_run(bench: Trimming, t: TriedRun) -> Advised:
    """The plan that is set as a run was; layers that a hand serves get what they are believed to need today."""
    wanted = bench.today.wanted
    for setting in PHASE_SETTINGS:
        if bench.case.job.target.controller.rule(setting.name).obeys is not Obeys.NO:
            wanted = wanted.with_value(setting.name, t.settings.value(setting.name))
    wanted = wanted.with_value("base.settle_s", t.base_settle_s()).with_value("body.settle_s", t.body_settle_s())
    return bench.tried(wanted)


def _raised(
    bench: Trimming, plan: Advised, limits: Sequence[Limit], good: Sequence[TriedRun], like: Advised | None
) -> tuple[Advised, tuple[Raised, ...]]:
    """The plan with all that failed raised above it, as far as another plan where one is given, and what was."""
    short = [
        (limit, max(_above(limit, good, bench.case), _of_plan(like, limit) if like else 0.0))
        for limit in limits
        if _of_plan(plan, limit) <= limit.failed_at
    ]
    if not short:
        return plan, ()
    wanted = plan.wanted
    for limit, to in short:
        if limit.layer is None or limit.layer >= len(plan.settle_s):
            wanted = _at_least(wanted, bench.case, limit.name, to)
    raised = tuple(Raised(setting=limit.name, failed_at=limit.failed_at, to=to, run=limit.run) for limit, to in short)
    return bench.tried(wanted), raised


def _at_least(wanted: Settings, case: Case, name: str, value: float) -> Settings:
    """Settings with a wait, or both stages of a rise in their shares, at least at a value."""
    phase, _, what = name.partition(".")
    now = getattr(wanted, phase).lift_m if what == RISE else wanted.value(name)
    names = tuple(f"{phase}.{stage}" for stage in STAGES) if what == RISE else (name,)
    for each in names if value > now else ():
        more = wanted.value(each) * value / now if now > 0.0 else value
        rule, proven = case.job.target.controller.rule(each), case.job.recipe.settings.value(each)
        wanted = wanted.with_value(each, settable(more, unit=setting_unit(each), rule=rule, proven=proven, up=True))
    return wanted
