"""What a person does because the controller does not: one value where two are needed, changed while it runs."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, frozen

from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import BENCH_STEPS, covering_layers
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.demand.settle import LONGEST_SETTLE_S, Run, demand_s
from vatwright.planning.hands.visits import HandSchedule, plan_visits
from vatwright.records.job import Job
from vatwright.records.machine import Controller, Obeys
from vatwright.records.plan import HandPlan, HandWhy, Visit
from vatwright.records.process import PHASE_SETTINGS, Settings

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ROUNDS = 8
"""How often the schedule is laid again after its own settles changed what the layers demand."""

SETTLE = "body.settle_s"

WALK_S = 120.0
"""What a walk to the machine saves at the least [s]; common practice, no source."""

FAINT = 0.05
"""A layer thinner than the one before by less than this share leaves no line [-]: half of what shows as a band; common
practice, no source."""

MOST_STEPS = 8
"""Into how many visits one fall of the settle is divided at most."""


def hands_can_help(job: Job) -> bool:
    """Return whether somebody comes, to a machine whose settle can be changed while it runs."""
    rule = job.target.controller.rule(SETTLE)
    return rule.live and rule.obeys is not Obeys.NO and job.hands.visits > 0


def hand_plan(
    case: Case, settings: Settings, share: float, bond_s: Callable[[Run, Floats], Floats] | None = None
) -> tuple[Settings, HandPlan | None, Floats]:
    """Return the settings as the controller can take them, what to do by hand, and the settle each layer gets.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    settings : Settings
        What base and body want, as if the controller obeyed everything.
    share : float
        Share of the worlds to cover [-].
    bond_s : callable or None
        What each layer needs to bond in a run whose layers settle so long, (N,) [s]; asked of all worlds where left out.

    Returns
    -------
    tuple
        Settings; HandPlan or None where there is nothing to do by hand; (N,) settle of each layer [s].

    Notes
    -----
    Where base and body share a value, the schedule covers the whole run; where they do not, the base is left to the
    controller and only layers that need more than the body's value are served by hand.  What a layer demands depends on
    the settles before it, so schedule and demand are found in turn; the demand only ever rises between rounds, which ends
    the search.
    """
    controller = case.job.target.controller
    settings = one_value_for_both(settings, controller)
    run = case.target_run(settings)
    shared = controller.rule(SETTLE).obeys is Obeys.SHARED
    if not shared and not hands_can_help(case.job):
        return settings, None, run.settle_s()
    # Layers that a hand can serve: all of them, or those after the base.
    first = 0 if shared else settings.base_layers
    rest = layer_times(settings, case.job.target, layers=run.layers, settle_s=np.zeros(run.layers)).layer_s
    wanted = run.settle_s()
    settle = wanted.copy()
    for _ in range(ROUNDS):
        if bond_s is None:
            bond = covering_layers(demand_s(run, case.standard, settle_s=settle, bond_only=True), share)
        else:
            bond = bond_s(run, settle)
        wanted[first:] = np.maximum(wanted, bond)[first:]
        begun_s = float((rest + wanted)[:first].sum())
        falls = _Falls(_middle(run), wanted[:first]) if case.job.hands.faint_steps else None
        schedule = _schedule(case, wanted[first:], rest[first:], begun_s=begun_s, steps=falls.steps if falls else None)
        before = settle.copy()
        settle[first:] = schedule.settle_s
        if np.array_equal(before, settle):
            break
    if not shared and not schedule.visits:
        return settings, None, settle
    base = settle[0] if shared else settings.base.settle_s
    body_first = min(settings.base_layers, len(settle) - 1)  # a print of base layers alone has no body
    given = evolve(
        settings,
        base=evolve(settings.base, settle_s=float(base)),
        body=evolve(settings.body, settle_s=float(np.median(settle[body_first:]))),
    )
    return given, _told(case, schedule, wanted, rest, first), settle


def _middle(run: Run) -> Run:
    """The run in one world: the middle of every range."""
    side = run.side.kept(np.zeros(1, dtype=np.intp))
    names = ("viscosity_pa_s", "stiffness_n_m", "ceiling_n", "tension_n_m")
    return evolve(run, side=evolve(side, **{n: np.array([np.median(getattr(run.side, n))]) for n in names}))


@frozen(kw_only=False, eq=False)
class _Falls:
    """What a fall of the settle does to thickness, in the middle of the range."""

    run: Run
    base_s: Floats

    def jump(self, settle_s: Floats, layer: int, before_s: float) -> float:
        """By what share of its thickness a layer comes out other than with the value before [-]."""
        given = np.concatenate((self.base_s, settle_s))
        at = len(self.base_s) + layer
        kept = np.where(np.arange(len(given)) < at, given, before_s)
        one, other = (self.run.result(s, forces=False).thickness_m[0, at] for s in (given, kept))
        return abs(float(one - other)) / float(self.run.load.layer_m[at])

    def steps(self, settle_s: Floats, layer: int) -> int:
        """Into how many visits a fall is divided so that none shows: as many as its jump holds faint ones."""
        jump = self.jump(settle_s, layer, float(settle_s[layer - 1]))
        return min(max(math.ceil(jump / FAINT), 1), MOST_STEPS)


def one_value_for_both(settings: Settings, controller: Controller) -> Settings:
    """Return settings whose shared quantities have one value, settle apart: the one that serves both.

    The longer wait, the longer light and the higher rise serve both; of speeds the slower one does.

    Parameters
    ----------
    settings : Settings
        What base and body want.
    controller : Controller
        What it shares.

    Returns
    -------
    Settings
        With equal values in base and body where they are shared.
    """
    for setting in PHASE_SETTINGS:
        if setting.phase == "base" or setting.attribute == "settle_s":
            continue
        if controller.rule(setting.name).obeys is not Obeys.SHARED:
            continue
        both = [getattr(phase, setting.attribute) for phase in (settings.base, settings.body)]
        value = min(both) if setting.unit == "mm_s" else max(both)
        for phase in ("base", "body"):
            settings = settings.with_value(setting.name.replace("body", phase, 1), value)
    return settings


def _schedule(
    case: Case, wanted: Floats, rest: Floats, *, begun_s: float, steps: Callable[[Floats, int], int] | None
) -> HandSchedule:
    """The least total time for as many visits as are allowed, and no visit that saves less than `WALK_S`."""
    rule, hands, pace = case.job.target.controller.rule(SETTLE), case.job.hands, case.pace

    def of(visits: int) -> HandSchedule:
        return plan_visits(
            demand_s=np.minimum(wanted, LONGEST_SETTLE_S),
            rest_s=rest,
            minimum_s=rule.minimum,
            maximum_s=rule.maximum,
            step_s=max(rule.step, BENCH_STEPS["s"][0]),
            visits=visits,
            # People go by the clock on the wall, on which this machine's layers take `pace` times as long.
            until_s=max(hands.present_s / pace - begun_s, 0.0),
            late_s=hands.late_s / pace,
            early_s=hands.early_s / pace,
            steps=steps,
        )

    best = of(hands.visits if hands_can_help(case.job) else 0)
    while best.visits and steps is None:
        fewer = of(len(best.visits) - 1)
        if fewer.total_s - best.total_s >= WALK_S / pace:
            break
        best = fewer
    return best


def _told(case: Case, schedule: HandSchedule, wanted: Floats, rest: Floats, first: int) -> HandPlan:
    begun_s, pace = float((rest + wanted)[:first].sum()), case.pace
    live = case.job.target.controller.rule(SETTLE).live
    if schedule.visits:
        why = HandWhy.FEW_LAYERS if first else HandWhy.SHARED
    else:
        why = HandWhy.SERVES_BOTH if live else HandWhy.FIXED
    return HandPlan(
        start_value=schedule.start_s,
        setting=SETTLE,
        visits=tuple(
            Visit(
                at_s=pace * (begun_s + v.at_s),
                layer=first + v.layer,
                setting=SETTLE,
                value=v.value_s,
                late_ok_s=pace * v.late_ok_s,
                early_ok_s=pace * v.early_ok_s,
            )
            for v in schedule.visits
        ),
        total_s=pace * (begun_s + schedule.total_s),
        alone_value=schedule.alone_s,
        alone_total_s=pace * (begun_s + schedule.alone_total_s),
        obeyed_total_s=pace * float((rest + wanted).sum()),
        covers=schedule.covers,
        why=why,
        short_layer=None if schedule.covers else first + schedule.short_layer,
        short_by_s=0.0 if schedule.covers else schedule.short_by_s,
    )
