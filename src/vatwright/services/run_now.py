"""Run it now: put a carry on the machine, take what is tapped beside it, say what is next."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
from attrs import evolve, frozen

from vatwright.planning.hands.replan import (
    Harm,
    hand_slack,
    harm_of,
    known_values,
    needed_waits,
    replan,
    run_clock,
    short_ahead,
    short_layers,
    still_due,
)
from vatwright.records.live_run import DueVisit, LiveRun, RunPlan, RunStep, Tap, TapKind
from vatwright.records.run import SetByHand

if TYPE_CHECKING:
    from vatwright.records.job import Job
    from vatwright.records.plan import CarrySheet
    from vatwright.records.run import Prediction

REMIND_S = 120.0
"""Later means: ask again after this [s]; two minutes, a choice of ours."""

NOTICE_S = 60.0
"""A changed plan asks for no hand sooner than this [s], so that there is time to walk back; a choice of ours."""

ANSWERS = (TapKind.DONE, TapKind.COULD_NOT)


@frozen(kw_only=True)
class Next:
    """A change by hand that is still to be made.

    Parameters
    ----------
    key : str
        Its key.
    layer : int
        First layer with the new value, from 0.
    value_s : float
        New value [s].
    due_s : float
        When its layer begins, since the start [s].
    raises : bool
        Whether the value in force is lower.
    late_ok_s, early_ok_s : float
        How late and how early it may be [s]; infinite where that only costs time.
    quiet_until_s : float
        Nobody is to be reminded before this, since the start [s].
    harm : Harm or None
        What fails where it is made now although it lowers the wait, or is never made although it raises it; None where
        that only costs time.
    """

    key: str
    layer: int
    value_s: float
    due_s: float
    raises: bool
    late_ok_s: float
    early_ok_s: float
    quiet_until_s: float = 0.0
    harm: Harm | None = None


@frozen(kw_only=True)
class Answered:
    """A change that was made or could not be: its key, value [s], what was said, when, and when it was due [s]."""

    key: str
    value_s: float
    kind: TapKind
    at_s: float
    due_s: float


@frozen(kw_only=True)
class RunView:
    """A run as it stands at one moment.

    Parameters
    ----------
    run : LiveRun
        The run.
    now_s : float
        The moment (seconds since 1970, UTC) [s].
    elapsed_s : float
        Since the start [s]; 0 before it.
    state : str
        "ready", "running", "over" when its time is up, "ended" when somebody said so.
    layer : int
        The layer that is going, from 0.
    value_s : float
        The value in force [s].
    total_s : float
        Length of the run, if what is left is done when due [s].
    ahead : tuple of Next
        What is still to be done, in order.
    answered : tuple of Answered
        What was done or could not be, in order.
    short : tuple of (int, int)
        Layers that began with less wait than they need, first and last of each stretch.
    last : Tap or None
        The last tap that stands, to take it back.
    """

    run: LiveRun
    now_s: float
    elapsed_s: float
    state: Literal["ready", "running", "over", "ended"]
    layer: int
    value_s: float
    total_s: float
    ahead: tuple[Next, ...]
    answered: tuple[Answered, ...]
    short: tuple[tuple[int, int], ...]
    last: Tap | None


def plan_of(sheet: CarrySheet, job: Job, *, label: str) -> RunPlan:
    """Return the plan of one run of a carry sheet's plate.

    Parameters
    ----------
    sheet : CarrySheet
        The carry.
    job : Job
        The job it answers.
    label : str
        What the controller calls the setting that is changed by hand.

    Returns
    -------
    RunPlan
        Times to the layer; the last layer is taken to last as long as the one before it.
    """
    starts = np.asarray(sheet.layers.clock_s, dtype=float)
    layer_s = np.diff(starts)
    layer_s = np.append(layer_s, layer_s[-1]) if layer_s.size else np.ones(1)
    hand = sheet.hand
    plain = RunPlan(
        job=sheet.job, machine=sheet.target, recipe=sheet.recipe, resin=sheet.resin, setting="", label="", start_s=0.0,
        rest_s=tuple(layer_s.tolist()), needed_s=(0.0,) * layer_s.size,
    )  # fmt: skip
    if hand is None:
        return plain
    wait = np.full(layer_s.size, hand.start_value)
    for visit in hand.visits:
        wait[visit.layer :] = visit.value
    rule = job.target.controller.rule(hand.setting)
    needed = needed_waits(
        given_s=wait, rest_s=layer_s - wait, start_s=hand.start_value,
        visits=[(v.layer, v.late_ok_s, v.early_ok_s) for v in hand.visits],
    )  # fmt: skip
    return evolve(
        plain,
        setting=hand.setting,
        label=label,
        start_s=hand.start_value,
        # What the controller does by itself in the base counts as the rest of the layer's time.
        rest_s=tuple((layer_s - wait).tolist()),
        needed_s=tuple(needed.tolist()),
        visits=tuple(DueVisit(key=f"v{n}", layer=v.layer, value_s=v.value) for n, v in enumerate(hand.visits, start=1)),
        minimum_s=rule.minimum,
        maximum_s=rule.maximum,
        step_s=max(rule.step, 0.1),
        present_s=job.hands.present_s,
        late_s=job.hands.late_s,
        early_s=job.hands.early_s,
        by_hand=True,
        base_layers=round(next(a.to_value for a in sheet.settings if a.name == "base.layers")),
    )


def new_run(*, run_id: str, plan: RunPlan, document: str, prediction: Prediction | None, now_s: float) -> LiveRun:
    """Return a run that waits for its start."""
    return LiveRun(id=run_id, made_s=now_s, plan=plan, document=document, prediction=prediction)


def with_tap(run: LiveRun, tap: Tap, *, now_s: float) -> LiveRun:
    """Return a run after a tap; the same one where the tap has nothing to say any more.

    Parameters
    ----------
    run : LiveRun
        Before it.
    tap : Tap
        The tap; a time before the run or after now is brought between them.
    now_s : float
        Now (seconds since 1970, UTC) [s].

    Notes
    -----
    The first answer to a visit counts. A tap that arrives late counts from when it was tapped. Visits are planned anew where
    one could not be made, and where one was made so early that layers to come get too little. Once the machine has shown
    its layer, of the visits passed only the value due now is asked for.
    """
    if run.has(tap.id) or not _may(run, tap):
        return run
    tap = evolve(tap, at_s=min(max(tap.at_s, run.started_s or run.made_s), now_s))
    visits = run.visits
    if tap.kind in ANSWERS:
        visits = tuple(v for v in visits if v.key != tap.about)
    if tap.kind is TapKind.BACK:
        visits = ()  # what stands is found from the steps before it
    after = evolve(run, steps=(*run.steps, RunStep(tap=tap, visits=visits)))
    elapsed_s = 0.0 if run.started_s is None else now_s - run.started_s
    if tap.kind is TapKind.LAYER and tap.layer is not None:
        value_s = run_clock(after, elapsed_s=elapsed_s).value_s
        return evolve(
            run, steps=(*run.steps, RunStep(tap=tap, visits=still_due(visits, layer=tap.layer, value_s=value_s)))
        )
    if tap.kind is TapKind.COULD_NOT or (tap.kind is TapKind.DONE and short_ahead(after, elapsed_s=elapsed_s)):
        # Whoever has just tapped "done" stands there still, to set it back and once more later; whoever could not walks back.
        notice_s, more = (NOTICE_S, 1) if tap.kind is TapKind.COULD_NOT else (0.0, 2)
        count, key = len(visits) + more, f"r{len(run.steps)}"
        left = replan(after, elapsed_s=elapsed_s, notice_s=notice_s, visits=count, key=key)
        return evolve(run, steps=(*run.steps, RunStep(tap=tap, visits=left)))
    return after


def _may(run: LiveRun, tap: Tap) -> bool:
    """Return whether a tap fits what stands."""
    running = run.started_s is not None and run.ended_s is None
    if tap.kind is TapKind.STARTED:
        return run.started_s is None and run.ended_s is None
    if tap.kind is TapKind.ENDED:
        return run.ended_s is None
    if tap.kind is TapKind.BACK:
        return bool(run.standing) and run.standing[-1].tap.id == tap.about
    if tap.kind is TapKind.LAYER:
        return running and tap.layer is not None and 0 <= tap.layer < len(run.plan.rest_s)
    return running and any(v.key == tap.about for v in run.visits)


def view_of(run: LiveRun, *, now_s: float) -> RunView:
    """Return a run as it stands.

    Parameters
    ----------
    run : LiveRun
        The run.
    now_s : float
        Now (seconds since 1970, UTC) [s].
    """
    started_s, ended_s = run.started_s, run.ended_s
    until_s = now_s if ended_s is None else ended_s
    elapsed_s = 0.0 if started_s is None else max(0.0, until_s - started_s)
    clock = run_clock(run, elapsed_s=elapsed_s)
    standing = run.standing
    going: Literal["running", "over"] = "over" if elapsed_s >= clock.total_s else "running"
    ahead, value = [], clock.value_s
    for visit in run.visits:
        due_s = float(clock.begins_s[visit.layer])
        quiet = max(
            (s.tap.at_s - (started_s or 0.0) + REMIND_S for s in standing
             if s.tap.kind is TapKind.LATER and s.tap.about == visit.key), default=0.0,
        )  # fmt: skip
        late_s, early_s = hand_slack(run.plan, visit, before_s=value)
        ahead.append(
            Next(
                key=visit.key,
                layer=visit.layer,
                value_s=visit.value_s,
                due_s=due_s,
                raises=visit.value_s > value,
                late_ok_s=late_s,
                early_ok_s=early_s,
                quiet_until_s=quiet,
                harm=harm_of(run.plan, visit, before_s=value, from_layer=clock.next_layer),
            )
        )
        value = visit.value_s
    return RunView(
        run=run, now_s=now_s, elapsed_s=elapsed_s,
        state="ended" if ended_s is not None else "ready" if started_s is None else going,
        layer=max(0, clock.next_layer - 1), value_s=clock.value_s, total_s=clock.total_s, ahead=tuple(ahead),
        answered=_answered(run),
        short=tuple(short_layers(run.plan, clock)) if started_s is not None else (),
        last=standing[-1].tap if standing else None,
    )  # fmt: skip


def set_by_hand(run: LiveRun, *, now_s: float) -> tuple[SetByHand, ...]:
    """Return the settles that the layers which began really had, for the notebook.

    Parameters
    ----------
    run : LiveRun
        The run, ended or not.
    now_s : float
        Now (seconds since 1970, UTC) [s].

    Returns
    -------
    tuple of SetByHand
        One for each stretch of layers with the same settle; empty where nothing was to be done by hand.
    """
    plan, started_s = run.plan, run.started_s
    if not plan.by_hand or started_s is None:
        return ()
    clock = run_clock(run, elapsed_s=(run.ended_s or now_s) - started_s)
    first = plan.base_layers if plan.setting.startswith("body.") else 0
    begun = clock.wait_s[first : clock.next_layer]
    starts = np.flatnonzero(np.concatenate(([True], np.diff(begun) != 0.0))) if begun.size else ()
    return tuple(SetByHand(layer=first + int(n), settle_s=float(begun[n])) for n in starts)


def _answered(run: LiveRun) -> tuple[Answered, ...]:
    """What was answered, and when each was due as it stood before its answer: the answer itself moves what follows."""
    values, started_s = known_values(run), run.started_s or 0.0
    layers = {v.key: v.layer for visits in (run.plan.visits, *(s.visits for s in run.steps)) for v in visits}
    found = []
    for step in run.standing:
        tap = step.tap
        if tap.kind in ANSWERS and tap.about in values:
            before = evolve(run, steps=run.steps[: run.steps.index(step)])
            at_s = tap.at_s - started_s
            due_s = float(run_clock(before, elapsed_s=at_s).begins_s[layers[tap.about]])
            found.append(Answered(key=tap.about, value_s=values[tap.about], kind=tap.kind, at_s=at_s, due_s=due_s))
    return tuple(found)
