"""The next settings that cut most time while a run still holds as often as asked: one careful step at a time.

Sequential design under a chance constraint: every candidate is asked of the same worlds as today's plan, so what differs is
the candidate alone.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from vatwright.planning.carry.advise import PHASES, Advised, set_within_rules
from vatwright.planning.carry.carry import PlateCounts, outlook_of, reach_m, success_of
from vatwright.planning.carry.first_layer import base_chance
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering_layers
from vatwright.planning.demand.holding import holds_on
from vatwright.planning.demand.lift import release_margin
from vatwright.planning.demand.outcome import margins
from vatwright.planning.demand.peel_speed import given_speeds
from vatwright.planning.demand.settle import Run, body_settle_does, demand_s
from vatwright.planning.hands.plan_by_hand import hand_plan, hands_can_help
from vatwright.planning.trial.next_reading import steps_of
from vatwright.planning.trim.levers import Lever, levers, resin_short_s
from vatwright.planning.trim.portions import layers_that_wait, plates_time_s, portions
from vatwright.records.machine import Obeys
from vatwright.records.plan import Outlook, Trade
from vatwright.records.process import SETTING_NAMES, Settings
from vatwright.records.taken import SAFE, Taken, Trimmed, WhyNot, least_chance
from vatwright.records.trim import FrontierPoint, NextRun, TrimSheet

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


Floats = NDArray[np.float64]

TRIES = 4
"""Into how many parts a step is divided when less of it is tried."""

VISIT_S = 300.0
"""What typing in other settings costs a person: less than this saved is not worth a change [s]; common practice, no source."""

LEAST_S = 120.0
"""One more value to type in is not worth less than this [s]; common practice, no source."""

DEPTHS = (0.1, 0.2, 0.35, 0.55, 0.8)
"""How far below today's the frontier looks, as shares of the way to `BELOW` of what the middle of the range needs [-]."""

BELOW = 0.8

PEEL = "peel_speed_mm_s"

PEEL_STEP = 1.25
"""By what factor the body rises faster in its slow stage from one run to the next, at most [-]: the angle at which the film
lets go grows by a thirtieth, a third of what runs scatter by; engineering estimate, no source."""


@frozen(kw_only=True, eq=False)
class Trimming:
    """What candidates are tried on: the worlds of today's plan.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    today : Advised
        Today's plan.
    plates : PlateCounts
        Layers of every plate on both machines.
    least : mapping of str to float
        By wait or rise, what it may not go below, SI: it failed there.
    floor_s : (N,) ndarray or None
        What each layer gets at least [s]: it failed with less.
    after_failure : bool
        Whether the last run of this job failed: the next one is to hold, not to save.
    peel_faster : bool
        Whether the body may rise faster in its slow stage: not where it is held, nor where a film did not let go.
    """

    case: Case
    today: Advised
    plates: PlateCounts
    least: Mapping[str, float] = field(factory=dict)
    floor_s: Floats | None = None
    after_failure: bool = False
    peel_faster: bool = True
    _held_at: dict[tuple[float, ...], float] = field(factory=dict, init=False)
    _base_chance_today: float = field(init=False)

    _resin_short_today_s: float = field(init=False)

    @_resin_short_today_s.default
    def _short_today(self) -> float:
        return resin_short_s(self.case, self.today.settings)

    @_base_chance_today.default
    def _base_place_by_place(self) -> float:
        return base_chance(self.case, self.today.settings, self.today.settle_s)

    def tried(self, wanted: Settings) -> Advised:
        """Return what follows from wanting other values, as if the controller obeyed everything."""
        share = self.today.share["body"]

        def bond_s(run: Run, settle_s: Floats) -> Floats:
            asks = covering_layers(demand_s(run, self.case.standard, settle_s=settle_s, bond_only=True), share)
            return asks if self.floor_s is None else np.maximum(asks, self.floor_s)

        settings, hand, settle = hand_plan(self.case, wanted, share, bond_s)
        return self._judged(evolve(self.today, wanted=wanted, settings=settings, hand=hand, settle_s=settle))

    def whole(self, plan: Advised) -> Advised:
        """Return a plan with its forces, as a sheet tells them."""
        run, reach = self.case.target_run(plan.settings), reach_m(self.case.target_study)
        return evolve(plan, outcome=margins(run, reach_m=reach, settle_s=plan.settle_s))

    def _judged(self, plan: Advised) -> Advised:
        run, reach = self.case.target_run(plan.settings), reach_m(self.case.target_study)
        return evolve(plan, outcome=margins(run, reach_m=reach, settle_s=plan.settle_s, forces=False))

    def less(self, plan: Advised, lever: Lever, value: float) -> Advised:
        """Return a plan with one wait or rise at a value.

        With another rise each layer waits as before: only what a hand does, and when, is left to be laid again.
        """
        if not lever.is_rise:
            return self.tried(_with(plan.wanted, lever, self.case, value))
        given = _with(plan.settings, lever, self.case, value)
        return self._judged(evolve(plan, settings=given, wanted=_with(plan.wanted, lever, self.case, value)))

    def levers(self) -> tuple[Lever, ...]:
        """Return the plan's waits and rises; none may go below what failed."""
        found = levers(self.case, self.today)
        return tuple(evolve(x, least=min(max(x.least, self.least.get(x.name, 0.0)), x.now)) for x in found)

    def time_s(self, plan: Advised) -> float:
        """Return how long all pieces take [s]."""
        return plates_time_s(self.case, plan.settings, plan.settle_s, self.plates)

    def worth_s(self, plan: Advised) -> float:
        """Return the time a plan saves against today's, less what runs that fail more often lose [s]."""
        now_s = self.time_s(self.today)
        return now_s - self.time_s(plan) - (self.today.chance - plan.chance) * now_s

    def holds(self, plan: Advised) -> bool:
        """Return whether a plan holds as often as asked and `SAFE`, is no less sure than today's, and leaves no demand open."""
        return (
            plan.chance >= least_chance(asked=self.case.job.confidence, today=self.today.chance)
            and self._outlook(plan) in {Outlook.HOLDS, self._outlook(self.today)}
            and resin_short_s(self.case, plan.settings) <= self._resin_short_today_s
            and self._base_holds(plan)
        )

    def _outlook(self, plan: Advised) -> Outlook:
        return outlook_of(self.case, plan, measured=True)

    def _base_holds(self, plan: Advised) -> bool:
        """Whether the base, place by place, is as safe as today's or as asked, and the body's need did not grow with it."""
        if plan.settings.base.settle_s == self.today.settings.base.settle_s:
            return True
        least = min(self._base_chance_today, self.case.job.confidence)
        if base_chance(self.case, plan.settings, plan.settle_s) < least:
            return False
        return self.case.job.tolerance is None or self._body_is_true(plan)

    def _body_is_true(self, plan: Advised) -> bool:
        """Whether the body's settle does in the share of worlds that it covers, of those in which any does."""
        run = self.case.target_run(plan.wanted)
        does = body_settle_does(run, self.case.standard, bond=not hands_can_help(self.case.job))
        known = np.isfinite(self.today.least_s["body"][1])
        return not known.any() or float(does[known].mean()) >= self.today.share["body"]

    def lessened(self, parts: Sequence[Lever], *, whole: bool = False) -> Advised:
        """Return the plan that is worth most, every wait and rise less by at most a step.

        Parameters
        ----------
        parts : sequence of Lever
            What may be less.
        whole : bool
            Whether all may be taken that runs like the next one will let go.

        Returns
        -------
        Advised
            Today's where nothing is worth taking.
        """
        now_s, best = self.time_s(self.today), self.today
        for lever in sorted(parts, key=lambda lever: -self.saves_s(lever)):
            step = 1.0 if whole else lever.step
            values = dict.fromkeys(_least(lever, step * part / TRIES) for part in range(TRIES, 0, -1))
            options = [self.less(best, lever, value) for value in values]
            best = max((best, *filter(self.holds, options)), key=self.worth_s)
        best = max((best, *filter(self._peels, self.faster(best))), key=self.worth_s)
        laid = best if best is self.today else self.tried(best.wanted)
        return laid if self.holds(laid) and self.time_s(laid) < now_s else self.today

    def faster(self, plan: Advised) -> tuple[Advised, ...]:
        """Return plans whose body rises faster in its slow stage, by parts of a step; none where it may not."""
        names = _peel_names(self.case)
        if not self.peel_faster or not names:
            return ()
        found = []
        for part in range(TRIES, 0, -1):
            settings, wanted = plan.settings, plan.wanted
            for name in names:
                speed = self.today.settings.value(name) * PEEL_STEP ** (part / TRIES)
                settings = set_within_rules(self.case, settings, name, speed)
                wanted = wanted.with_value(name, settings.value(name))
            release = release_margin(self.case.target_run(settings), reach_m(self.case.target_study))
            outcome = evolve(plan.outcome, release=release)
            found.append(evolve(plan, settings=settings, wanted=wanted, outcome=outcome))
        return tuple(found)

    def _peels(self, plan: Advised) -> bool:
        """Whether a plan that rises faster holds, release is not what it fails by, and the pieces hold on as often as today."""
        chances = {name: float(c.mean()) for name, c in plan.outcome.chances().items()}
        if min(chances, key=lambda name: chances[name]) == "release" or not self.holds(plan):
            return False
        return self._held_on(plan) >= min(SAFE, self._held_on(self.today))

    def _held_on(self, plan: Advised) -> float:
        speeds = {phase: getattr(plan.settings, phase).peel_speed_m_s for phase in PHASES}
        key = tuple(speeds.values())
        if key not in self._held_at:
            self._held_at[key] = holds_on(self.case, given_speeds(self.case, speeds))
        return self._held_at[key]

    def free(self, found: Iterable[Lever], held: Iterable[str] = ()) -> tuple[Lever, ...]:
        """Return of some waits and rises those of which a step is worth taking and that nobody holds."""
        return tuple(x for x in found if not x.held_by(held) and self.saves_s(x) >= LEAST_S)

    def saves_s(self, lever: Lever) -> float:
        """Return about how much time a step of one wait or rise saves [s]."""
        least = _least(lever, lever.step)
        if lever.is_rise:
            given = _with(self.today.settings, lever, self.case, least)
            return self.time_s(self.today) - self.time_s(evolve(self.today, settings=given))
        layers = sum(layers_that_wait(self.case, self.today, name, self.plates) for name, _ in lever.stages)
        return layers * (lever.now - least)

    def deeper(self, parts: Sequence[Lever], share: float) -> Advised:
        """Return today's plan with less of everything, by a share of the way to what is too little."""
        wanted = self.today.wanted
        for lever in parts:
            least = min(BELOW * lever.need, lever.now)
            wanted = _with(wanted, lever, self.case, lever.now - share * (lever.now - least))
        return self.tried(wanted)


def _peel_names(case: Case) -> tuple[str, ...]:
    """The settings of the body's slow stage; with it goes the base's that the controller does not tell apart."""
    obeys = case.job.target.controller.rule(f"body.{PEEL}").obeys
    if obeys is Obeys.NO:
        return ()
    return (f"body.{PEEL}", f"base.{PEEL}") if obeys is Obeys.SHARED else (f"body.{PEEL}",)


def _with(settings: Settings, lever: Lever, case: Case, value: float) -> Settings:
    """Settings with one wait or rise at a value."""
    for name, each in lever.settings(case, value).items():
        settings = settings.with_value(name, each)
    return settings


def _least(lever: Lever, step: float) -> float:
    """The least that a step allows; today's where that is less."""
    return min(max(lever.least, (1.0 - step) * lever.now), lever.now)


def trim(bench: Trimming, *, hold: Iterable[str] = (), trade: Sequence[Trade] = ()) -> TrimSheet:
    """Return what of each wait and rise is needed, and the next settings that take some of it away.

    Parameters
    ----------
    bench : Trimming
        Today's plan, what is advised or what held last, and its worlds.
    hold : iterable of str
        Settings that stay as they are.
    trade : sequence of Trade
        Today's plan for other thickness tolerances.

    Returns
    -------
    TrimSheet
        The next run takes at most a step of a wait or a rise, nothing of what is needed in the middle of the range, and holds
        as often as asked and as `SAFE`.  What it saves is weighed against the runs that fail more often.
    """
    case, today, plates, held = bench.case, bench.today, bench.plates, tuple(hold)
    if f"body.{PEEL}" in held:
        bench = evolve(bench, peel_faster=False)
    found = bench.levers()
    free = bench.free(found, held)
    held_all = all(lever.held_by(held) for lever in found)
    plan, why_not = next_plan(bench, free, held_all=held_all)
    ends = () if why_not else (plan, bench.lessened(free, whole=True))
    return TrimSheet(
        job=case.job.name,
        target=case.job.target.name,
        pieces=sum(p.count for p in case.job.parts),
        confidence=case.job.confidence,
        to_s=bench.time_s(today),
        success=success_of(today.outcome, today.doubt),
        portions=portions(case, today, found, plates),
        next=_next_run(bench, free, *ends) if ends else None,
        why_not=why_not,
        held=held,
        frontier=_frontier(bench, free, ends, trade),
        ladder=steps_of(case, today),
    )


def trimmed(bench: Trimming) -> tuple[Advised, Trimmed]:
    """Return the plan that :func:`trim` would run next, and what it takes away; today's where nothing is worth it."""
    today, free = bench.today, bench.free(bench.levers())
    plan, why_not = next_plan(bench, free)
    run = None if why_not else _next_run(bench, free, plan, bench.lessened(free, whole=True))
    told = Trimmed(
        taken=run.taken if run else (),
        from_s=bench.time_s(today),
        mean=today.chance,
        runs_left=run.runs_left if run else 0,
        end_s=run.end_s if run else bench.time_s(today),
        why_not=why_not,
    )
    return plan, told


def next_plan(bench: Trimming, free: Sequence[Lever], *, held_all: bool = False) -> tuple[Advised, WhyNot | None]:
    """Return the plan to run next, a step of what is free taken away; today's, and why, where nothing is."""
    today = bench.today
    if today.chance < bench.case.job.confidence:
        return today, WhyNot.UNSURE
    if bench.after_failure:
        return today, WhyNot.FAILED
    if held_all:
        return today, WhyNot.HELD
    plan = bench.lessened(free)
    if plan is not today and bench.worth_s(plan) >= VISIT_S:
        return plan, None
    small = not free or sum(bench.saves_s(lever) for lever in free) < VISIT_S
    return today, WhyNot.SMALL if small else WhyNot.CHANCE


def _next_run(bench: Trimming, free: Sequence[Lever], plan: Advised, end: Advised) -> NextRun:
    last = min((end, plan), key=bench.time_s)
    return NextRun(
        settings=plan.settings,
        taken=_taken(bench, plan),
        hand=plan.hand,
        to_s=bench.time_s(plan),
        success=success_of(plan.outcome, plan.doubt),
        runs_left=max((_runs(lever, last.wanted) for lever in free), default=1),
        end_s=bench.time_s(last),
    )


def _runs(lever: Lever, end: Settings) -> int:
    """Steps from today's value to the last one."""
    shares = [end.value(name) / now for name, now in lever.stages]
    return max(1, math.ceil(math.log(max(min(shares), 1e-3)) / math.log(1.0 - lever.step) - 1e-9))


def _taken(bench: Trimming, plan: Advised) -> tuple[Taken, ...]:
    before, after = bench.today.settings, plan.settings
    names = [n for n in SETTING_NAMES if before.value(n) != after.value(n)]
    found = [
        Taken(setting=n, before=before.value(n), after=after.value(n), saves_s=_saved_s(bench, plan, n)) for n in names
    ]
    return tuple(sorted(found, key=lambda t: -t.saves_s))


def _saved_s(bench: Trimming, plan: Advised, name: str) -> float:
    """Time that one setting of a plan saves: with it as today against as planned, the layers' settles with it."""
    settle = name.endswith(".settle_s")
    base = np.arange(len(plan.settle_s)) < plan.settings.base_layers
    mine = base if name.startswith("base.") else ~base
    settles = np.where(mine, bench.today.settle_s, plan.settle_s) if settle else plan.settle_s
    back = evolve(plan, settings=plan.settings.with_value(name, bench.today.settings.value(name)), settle_s=settles)
    return bench.time_s(back) - bench.time_s(plan)


def _frontier(
    bench: Trimming, free: Sequence[Lever], found: Sequence[Advised], trade: Sequence[Trade]
) -> tuple[FrontierPoint, ...]:
    """Time against chance: today's, the next, the last, what less of everything comes to, and today's at other tolerances."""
    own = float(np.median(bench.case.standard.tolerance))
    plans = [("today", bench.today), *zip(("next", "end"), found, strict=False)]
    plans += [("less", bench.deeper(free, share)) for share in DEPTHS] if free else []
    points = [FrontierPoint(what=w, to_s=bench.time_s(p), mean=p.chance, tolerance=own) for w, p in plans]
    points += [
        FrontierPoint(what="tolerance", to_s=t.to_s, mean=t.mean, tolerance=t.tolerance)
        for t in trade
        if t.tolerance != own
    ]
    kept = [p for p in points if p.what in {"today", "next"} or not any(_better(q, p) for q in points)]
    return tuple(sorted(kept, key=lambda p: p.to_s))


def _better(one: FrontierPoint, other: FrontierPoint) -> bool:
    """Whether a point is as quick, as sure and as true as another, and better in one of them."""
    mine, its = ((p.to_s, -p.mean, p.tolerance) for p in (one, other))
    return all(a <= b for a, b in zip(mine, its, strict=True)) and mine != its
