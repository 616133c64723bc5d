"""What moves when one thing is changed on a sheet: the sheet's own models, asked of a few of its worlds.

Rises, light and the base's settle are worked out in every world.  What costs much is asked of few: the least body settle, of
the worlds around the one that the advice covers; what each layer needs to bond, of every fourth world, and in another room
or resin the chance too.  What those say is held against what they said on the sheet: what is common to both falls out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, field, frozen

from vatwright.evidence.belief import Belief, unknown_of
from vatwright.planning.carry.advise import Advised, chosen_settings, covering_more
from vatwright.planning.carry.carry import RANGE, PlateCounts, reach_m, run_time, settings_needed, success_of
from vatwright.planning.carry.warmth import NOTHING_KNOWN, was_checked
from vatwright.planning.demand.base_bond import under_the_base
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering_layers
from vatwright.planning.demand.outcome import Margins, margins
from vatwright.planning.demand.settle import (
    Run,
    asked_standard,
    carried_settle_s,
    demand_s,
    least_base_settle_s,
    least_body_settle_s,
    proven_standard,
)
from vatwright.planning.demand.unknowns import AXES, TAUGHT_BY_RUNS, Worlds, draw
from vatwright.planning.hands.plan_by_hand import hand_plan, hands_can_help
from vatwright.records.job import Job
from vatwright.records.machine import Obeys
from vatwright.records.plan import Success
from vatwright.records.process import PHASE_SETTINGS, Settings
from vatwright.records.quick_look import QuickLook, QuickPlan

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Rows = NDArray[np.intp]

STRIDE = 4
"""Every so many-th world is asked for bonds and chances."""

AROUND = 16
"""Worlds in which the least body settle is searched again, around the one that the advice covers."""

TRIES = 1
"""How often more worlds of one demand are covered here."""

OF_NEW_RESIN = ("viscosity target", "curve depth target", "curve dose target")


@frozen(kw_only=True, eq=False)
class Planned:
    """A carry that was worked out, ready to be asked what moves.

    Parameters
    ----------
    case : Case
        The job, its studies and worlds.
    chosen : Advised
        The values chosen.
    plates : PlateCounts
        Layers of every plate on both machines.
    belief : Belief or None
        What noted runs have taught.
    rows : (F,) ndarray of int
        The few worlds.
    """

    case: Case
    chosen: Advised
    plates: PlateCounts
    belief: Belief | None = None
    rows: Rows = field(init=False)
    bond_s: Floats = field(init=False)
    chance: Floats = field(init=False)

    @rows.default
    def _every_so_many(self) -> Rows:
        return np.arange(STRIDE // 2, self.case.worlds.count, STRIDE)

    @bond_s.default
    def _bonds_on_the_sheet(self) -> Floats:
        """What each layer of the sheet's run needs to bond, (S, N) [s]."""
        run = self.case.target_run(self.chosen.settings)
        return demand_s(run, self.case.standard, settle_s=self.chosen.settle_s, bond_only=True)

    @chance.default
    def _chance_on_the_sheet(self) -> Floats:
        return self.chosen.outcome.chance()

    def look(self) -> QuickPlan:
        """Return what the sheet itself says."""
        return _look(self.case, self.chosen, self.plates)


def quick_look(planned: Planned, *, job: Job | None = None, values: Mapping[str, float] | None = None) -> QuickLook:
    """Return what moves when a job asks something else, or a value is set otherwise than the sheet says.

    Parameters
    ----------
    planned : Planned
        The sheet's plan.
    job : Job or None
        The same job with another room, resin, cover or other hands; parts and machines must be the sheet's.
    values : mapping of str to float or None
        By setting name, what is set instead of what the plan wants, SI.  Everything else stays as the plan wants it.

    Returns
    -------
    QuickLook
        The sheet's own figures, the new ones, and how far the new ones may be off the full answer.

    Notes
    -----
    Layers, plates and what the proven run showed are the sheet's.
    """
    case, asked = planned.case, planned.chosen
    if job is not None and job != case.job:
        case = _changed(planned, job)
        needs, needed = settings_needed(case), _FewNeeded(planned=planned, case=case)

        def plan(share: dict[str, float]) -> Advised:
            wanted, ranges = chosen_settings(case, needs, needed.least_s, share)
            return _followed(planned, case, evolve(asked, wanted=wanted, ranges=ranges, share=share))

        # Where the sheet itself could not hold as often as asked, more cover was tried there.
        held = asked.chance >= asked.sought(planned.case.job.confidence)
        now = covering_more(
            plan,
            _same_cover(asked.share, planned.case.job.confidence, job.confidence),
            confidence=job.confidence,
            chance=lambda advised: asked.chance + advised.chance - float(planned.chance[planned.rows].mean()),
            tries=TRIES if held else 0,
        )
        off = needed.spread[-1] if needed.spread else 0.0
    else:
        now, off = asked, 0.0
    if values:
        wanted = now.wanted
        for name, value in values.items():
            wanted = _set_by_hand(case, wanted, name, value)
        now = _followed(planned, case, evolve(now, wanted=wanted))
    before = planned.look()
    if case.worlds is not planned.case.worlds:
        after = _look(case, now, planned.plates)
        if was_checked(case.job.room_k):
            success, chances = _paired(planned, now.outcome)
            after = evolve(after, success=success, chances=chances)
    elif now is not asked:
        # These worlds were run for the sheet, and their descents are still known: all of them cost little.
        run, reach = case.target_run(now.settings), reach_m(case.target_study)
        now = evolve(now, outcome=margins(run, reach_m=reach, settle_s=now.settle_s, forces=False))
        after = _look(case, now, planned.plates)
    else:
        after = before
    return QuickLook(before=before, now=after, settle_off=off)


def _followed(planned: Planned, case: Case, asked: Advised) -> Advised:
    """What follows from wanted values: what is done by hand, and the margins in the few worlds."""
    rows, share = planned.rows, asked.share["body"]
    few = case.few(rows)
    on_sheet, few_on_sheet = covering_layers(planned.bond_s, share), covering_layers(planned.bond_s[rows], share)
    known = few_on_sheet > 0.0

    def bond_s(run: Run, settle_s: Floats) -> Floats:
        thin = evolve(run, side=few.worlds.target, overcure_m=few.worlds.overcure_m)
        asks = covering_layers(demand_s(thin, few.standard, settle_s=settle_s, bond_only=True), share)
        # Held against what the same worlds said on the sheet.
        return np.where(known, asks * on_sheet / np.where(known, few_on_sheet, 1.0), np.maximum(asks, on_sheet))

    settings, hand, settle = hand_plan(case, asked.wanted, share, bond_s)
    outcome = margins(few.target_run(settings), reach_m=reach_m(case.target_study), settle_s=settle, forces=False)
    return evolve(asked, settings=settings, hand=hand, outcome=outcome, settle_s=settle)


def _look(case: Case, chosen: Advised, plates: PlateCounts) -> QuickPlan:
    return QuickPlan(
        settings=chosen.settings,
        success=success_of(chosen.outcome, chosen.doubt) if was_checked(case.job.room_k) else NOTHING_KNOWN,
        chances={name: float(c.mean()) for name, c in chosen.outcome.chances().items()},
        to_s=run_time(case, chosen.settings, chosen.settle_s, plates).to_s,
        hand=chosen.hand,
    )


def _paired(planned: Planned, few: Margins) -> tuple[Success, dict[str, float]]:
    """The sheet's chances and by how much the few worlds say that they move."""
    rows, sheet = planned.rows, planned.chosen.outcome
    now, was, all_was = few.chance(), planned.chance[rows], success_of(sheet)
    low, high = np.clip(np.quantile(now, RANGE) - np.quantile(was, RANGE) + (all_was.low, all_was.high), 0.0, 1.0)
    mean = _share(all_was.mean + float(now.mean() - was.mean()))
    few_chances = few.chances()
    chances = {
        name: _share(float(all_chance.mean() + few_chances[name].mean() - all_chance[rows].mean()))
        for name, all_chance in sheet.chances().items()
    }
    return Success(low=min(float(low), mean), mean=mean, high=max(float(high), mean)), chances


def _share(value: float) -> float:
    return min(max(value, 0.0), 1.0)


# --- the few worlds -----------------------------------------------------------------------------------------------------


def _changed(planned: Planned, job: Job) -> Case:
    """The sheet's worlds, in another room, with another resin or cover: each keeps its coordinates."""
    case = planned.case
    if job.target != case.job.target or job.origin != case.job.origin or job.recipe != case.job.recipe:
        raise ValueError("a quick look keeps machines and recipe")
    worlds = case.worlds
    if job.room_k != case.job.room_k or job.resin != case.job.resin:
        worlds = _moved(planned, job)
    proven = evolve(case.proven, side=worlds.origin, overcure_m=worlds.overcure_m, confidence=job.confidence)
    shown = case.proof_standard if job.confidence == case.job.confidence else proven_standard(proven)
    standard = asked_standard(shown, job)
    return evolve(case, job=job, worlds=worlds, proven=proven, proof_standard=shown, standard=standard)


def _moved(planned: Planned, job: Job) -> Worlds:
    case, count = planned.case, planned.case.worlds.count
    axes = dict(case.worlds.axes)
    if job.resin != case.job.resin and job.resin != job.resin_from:
        new = draw(job, count=count, belief=planned.belief).axes
        axes |= {name: new[name] for name in OF_NEW_RESIN}
    columns = {unknown_of(axis, job): axes[axis] for axis in (*AXES, *TAUGHT_BY_RUNS) if axis in axes}
    known = Belief(unknowns=tuple(columns), samples=np.column_stack(list(columns.values())))
    worlds = draw(job, count=count, belief=known)
    return under_the_base(worlds, job, case.proven_study, case.target_study)


def _same_cover(share: dict[str, float], before: float, now: float) -> dict[str, float]:
    """The sheet's cover of each demand, what it leaves open grown or shrunk as what the whole may leave open."""
    return {name: 1.0 - (1.0 - s) * (1.0 - now) / (1.0 - before) for name, s in share.items()}


@frozen(kw_only=True, eq=False)
class _FewNeeded:
    """Least settles with one thing changed: the base's in every world, the body's in those around the covered one.

    In the others the body's goes with the resin's slowness, by the factor that the few worlds show.
    """

    planned: Planned
    case: Case
    spread: list[float] = field(factory=list)

    def least_s(self, phase: str, run: Run) -> Floats:
        """Return the least settle of a phase in every world, (S,) [s]."""
        if phase == "base":
            return least_base_settle_s(run, self.case.standard_of(run))
        was_from, was_to = self.planned.chosen.least_s["body"]
        if run is self.case.proven:
            return was_from
        sheet = self.planned.case.target_run(self.planned.chosen.wanted)
        slower = (run.side.viscosity_pa_s / run.stiffness_n_m()) / (sheet.side.viscosity_pa_s / sheet.stiffness_n_m())
        return self._searched(run, was_from, was_to * slower)

    def _searched(self, run: Run, needed_from_s: Floats, guess_s: Floats) -> Floats:
        rows = self._around(needed_from_s, guess_s)
        few = evolve(run, side=run.side.kept(rows), overcure_m=run.overcure_m[rows])
        found = least_body_settle_s(few, self.case.standard.kept(rows), bond=not hands_can_help(self.case.job))
        known = np.isfinite(found) & (found > 0.0) & (guess_s[rows] > 0.0)
        factors = np.log(found[known] / guess_s[rows][known]) if known.any() else np.zeros(1)
        least = np.asarray(guess_s * float(np.exp(np.median(factors))))
        least[rows] = found
        self.spread.append(float(factors.std()))
        return least

    def _around(self, needed_from_s: Floats, guess_s: Floats) -> Rows:
        """The worlds around the one that will be covered, as guessed."""
        proven_s, share = self.case.job.recipe.settings.body.settle_s, self.planned.chosen.share["body"]
        carried = carried_settle_s(proven_s, needed_from_s=needed_from_s, needed_to_s=guess_s)
        order = np.argsort(carried, kind="stable")[: max(int(np.isfinite(carried).sum()), 1)]
        last = max(len(order) - AROUND, 0)
        first = min(max(round(share * len(order)) - AROUND // 2, 0), last)
        return np.asarray(order[first : first + AROUND])


def _set_by_hand(case: Case, wanted: Settings, name: str, value: float) -> Settings:
    """Set a value instead of what the plan wants, in base and body where the controller takes one for both."""
    rule = case.job.target.controller.rule(name)
    if rule.obeys is Obeys.NO:
        return wanted
    value = min(max(value, rule.minimum), rule.maximum)
    shared = rule.obeys is Obeys.SHARED and not name.endswith("settle_s")
    names = (
        [s.name for s in PHASE_SETTINGS if s.name.split(".")[1] == name.rsplit(".", maxsplit=1)[-1]]
        if shared
        else [name]
    )
    for each in names:
        wanted = wanted.with_value(each, value)
    return wanted
