"""The main job: from a recipe proven on one machine to the settings for another, with reasons."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.evidence.belief import Belief
from vatwright.evidence.tempering import effective, power_leaving
from vatwright.planning.carry import explain
from vatwright.planning.carry.advise import ROUNDING, Advised, advise, doubted
from vatwright.planning.carry.at_odds import FEWEST, LEAST, MORE, proof_at_odds
from vatwright.planning.carry.first_layer import first_layers
from vatwright.planning.carry.layer_demands import layer_demands, too_thick
from vatwright.planning.carry.peel_trade import peel_trade
from vatwright.planning.carry.proof import nobody_tried, practice_weight, proof_weight
from vatwright.planning.carry.risks import cautions, open_questions, risks
from vatwright.planning.carry.shear import squeeze_shear
from vatwright.planning.carry.trade import trade
from vatwright.planning.carry.warmth import LEAST_K, NOTHING_KNOWN, run_warmth, warm_up, was_checked
from vatwright.planning.demand.base import StackLoad, stack_load
from vatwright.planning.demand.base_bond import under_the_base
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering
from vatwright.planning.demand.duration import SHARES, layer_times
from vatwright.planning.demand.exposure import curve_is_known, light_carried, plate_light
from vatwright.planning.demand.holding import holding, with_strengths
from vatwright.planning.demand.lift import carried_lift_m, carried_peel_lift_m, pull_curve, release_lift_m
from vatwright.planning.demand.narrowing import dominant, worth_measuring
from vatwright.planning.demand.outcome import Margins
from vatwright.planning.demand.peel_speed import given_speeds, peel_speeds, wanted_speeds
from vatwright.planning.demand.practice import PRACTICE, PRACTICE_WEIGHT
from vatwright.planning.demand.refill import lift_for_resin_m, span_m
from vatwright.planning.demand.resin import resin_need, time_to_level_s
from vatwright.planning.demand.run_temperature import warmed_in_proof, warmed_on_target
from vatwright.planning.demand.settle import (
    Run,
    asked_standard,
    layers_allowed_off,
    proven_standard,
)
from vatwright.planning.demand.unknowns import DRAWN_WORLDS, Worlds, draw, pace_of, resample
from vatwright.quantities import IN_A_PHASE
from vatwright.records.first_layer import FirstLayers
from vatwright.records.holding import Holding
from vatwright.records.job import Job
from vatwright.records.machine import Controller
from vatwright.records.plan import (
    EVEN,
    Advice,
    BeliefChange,
    CarrySheet,
    HandPlan,
    LayerTable,
    Measurement,
    Outlook,
    PlatformView,
    PullCurve,
    RunTime,
    Spare,
    Success,
    TimeShare,
)
from vatwright.records.process import SETTING_NAMES, Settings
from vatwright.records.study import Reach, Study
from vatwright.records.warmth import RunWarmth, WarmUp
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from vatwright.records.learned import NextStep
    from vatwright.records.taken import Trimmed
    from vatwright.records.tried import Experience

    Floats = NDArray[np.float64]

WORTH_S = 60.0
"""Readings that save less than this in a run are told by how much they narrow instead [s]; engineering estimate, no source."""

RANGE = (0.05, 0.95)
"""The ranges shown are 90 % ranges."""


@frozen(kw_only=True)
class PlateCounts:
    """Layers of each plate that the pieces need on both machines; no plate means they do not fit.

    Parameters
    ----------
    origin, target : tuple of int
        One entry a plate.
    """

    origin: tuple[int, ...]
    target: tuple[int, ...]


class Known(NamedTuple):
    """A plan that runs of the same job leave, what was taken away of it, and what they say; each where there is any."""

    plan: Advised
    trimmed: Trimmed | None
    experience: Experience | None


def carry(
    job: Job,
    *,
    proven: Study,
    target: Study,
    plates: PlateCounts,
    belief: Belief | None = None,
    found: Callable[[Case, Advised], Sequence[NextStep]] | None = None,
    known: Callable[[Case, Advised], Known] | None = None,
) -> CarrySheet:
    """Return the carry sheet of a job.

    Parameters
    ----------
    job : Job
        Recipe, machines, resins, room, parts, hands.
    proven : Study
        The plate the recipe was proven on, with its reach in the origin's window.
    target : Study
        The fullest plate of this job, with its reach in the target's window.
    plates : PlateCounts
        How many plates the pieces take on both machines.
    belief : Belief or None
        What runs noted so far let one believe.  The recipe's own proof is weighed here, as always: it must not be noted too.
    found : callable or None
        Told what the carry works on and the values it chose; gives what to do next, what is worth most first, and readings are
        told in that order.
    known : callable or None
        Gives the plan instead of the values chosen: what runs of this job leave of it, and what is taken away.

    Returns
    -------
    CarrySheet
        Advice, margins, time, hand schedule, risks.

    Notes
    -----
    Every unknown is a distribution.  Worlds are drawn from what the records state, kept in proportion to how well they
    explain that the recipe works on the origin, and asked what each needs on the target; the advice covers the chosen
    share of them.  A recipe carried to its own machine, plate and temperature is unchanged, world by world.
    """
    case, chosen = planned(job, proven=proven, target=target, belief=belief)
    instead = None if known is None else known(case, chosen)
    chosen = instead.plan if instead else chosen
    steps = tuple(found(case, chosen)) if found else ()
    sheet = _sheet_of(case, chosen, plates, steps)
    if instead is None:
        return sheet
    spare_left = _less_spare(sheet.spare, instead.trimmed) if instead.trimmed else sheet.spare
    return evolve(sheet, trimmed=instead.trimmed, experience=instead.experience, spare=spare_left)


def _sheet_of(case: Case, chosen: Advised, plates: PlateCounts, steps: tuple[NextStep, ...]) -> CarrySheet:
    """The carry sheet of values that were chosen."""
    job, target = case.job, case.target_study
    settings, ranges, hand, outcome, settle = (
        chosen.settings, chosen.ranges, chosen.hand, chosen.outcome, chosen.settle_s,
    )  # fmt: skip
    run = case.target_run(settings)
    layers = _layer_table(case, run, outcome, settle)
    advice = _advice(case, settings, ranges, hand)
    need = resin_need(
        target,
        job.target,
        viscosity_pa_s=float(np.median(case.worlds.target.viscosity_pa_s)),
        density_kg_m3=job.resin.density_kg_m3,
        clear_speed_m_s=settings.body.clear_speed_m_s,
        pool_time_s=time_to_level_s(settings.body),
    )
    warming = warm_up(
        job.room_k,
        proven_k=job.recipe.proof.room_k,
        density_kg_m3=job.resin.density_kg_m3,
        pool_m=need.pool_m3 / (job.target.vat.width_m * job.target.vat.depth_m),
    )
    success = NOTHING_KNOWN if warming else success_of(outcome, chosen.doubt)
    held = holding(case, settings)
    base = first_layers(case, settings, settle)
    light = light_carried(
        (case.worlds.origin, case.worlds.target),
        (case.light_from, case.light_to),
        (job.recipe.settings.body.exposure_s, settings.body.exposure_s),
        layer_m=settings.layer_m,
    )
    off = () if job.tolerance is None else tuple(np.flatnonzero(too_thick(case, run, outcome)).tolist())
    watch = risks(case, settings, outcome, layers, hand, held, light, base, off)
    measure = _most_worth_first(worth_measuring(ranges, case.worlds, job), steps)
    seen = outlook_of(case, chosen, measured=bool(measure))

    def time_s(given: Settings, settle: Floats) -> float:
        return run_time(case, given, settle, plates).to_s

    return CarrySheet(
        job=job.name,
        recipe=job.recipe.name,
        resin=job.resin.name,
        origin=job.origin.name if job.recipe.tried else PRACTICE,
        target=job.target.name,
        pieces=sum(p.count for p in job.parts),
        runs=job.recipe.proof.runs,
        failed=job.recipe.proof.failed,
        room_from_k=job.recipe.proof.room_k,
        room_k=job.room_k,
        holds=seen in {Outlook.HOLDS, Outlook.UNSURE},
        outlook=seen,
        verdict=explain.verdict(
            seen,
            success=success,
            at_odds=case.at_odds,
            watch=watch,
            hand=hand,
            measure=measure,
            proven=not case.nobody_ran,
            thick=len(off) if len(off) > layers_allowed_off(run) else 0,
        ),
        confidence=job.confidence,
        tolerance=job.tolerance,
        trade=trade(case, chosen, reach_m=reach_m(target), time_s=time_s),
        peel_trade=peel_trade(case, chosen, needed=settings_needed, reach_m=reach_m(target), time_s=time_s),
        spare=spare(chosen),
        success=success,
        settings=advice,
        time=run_time(case, settings, settle, plates),
        layers=layers,
        pull_curve=_pull_curve(run, case),
        platform_view=_platform_view(run, case),
        resin_need=need,
        warm_up=warming,
        run_warmth=_warmth_of(case, settings, layers),
        squeeze_shear=squeeze_shear(case, settings, layers),
        light=light,
        hand=hand,
        holding=held,
        first_layer=base,
        risks=watch,
        measure_next=measure,
        ladder=steps,
        beliefs=_beliefs(case),
        cautions=cautions(job, hand, target.pockets) + case.at_odds,
        open_questions=open_questions(job, giving.known if (giving := case.target_load.giving) else None),
        warnings=target.warnings,
        sources=_sources(advice, held, base, warming),
    )


def _most_worth_first(measure: tuple[Measurement, ...], steps: tuple[NextStep, ...]) -> tuple[Measurement, ...]:
    """The readings in the order of what is worth most, with the share that order goes by: one reading has one share."""
    by_reading = {step.what: step for step in steps}
    worth = [step.what for step in steps if step.saves_s >= WORTH_S]

    def as_ordered(measure: Measurement) -> Measurement:
        step = by_reading.get(measure.reading)
        if step is None or step.setting not in SETTING_NAMES:
            return measure
        return evolve(measure, setting=step.setting, share_left=step.share_left)

    def place(measure: Measurement) -> tuple[int, float, float]:
        rank = worth.index(measure.reading) if measure.reading in worth else len(worth)
        return rank, measure.share_left, measure.minutes

    return tuple(sorted(map(as_ordered, measure), key=place))


def _warmth_of(case: Case, settings: Settings, layers: LayerTable) -> RunWarmth:
    base_done = float(layers.clock_s[min(settings.base_layers, len(layers.clock_s) - 1)])
    return run_warmth(case.job.room_k, case.job.target, base_s=base_done, run_s=float(layers.clock_s[-1]))


def outlook_of(case: Case, chosen: Advised, *, measured: bool) -> Outlook:
    """Return the verdict as a code; `measured` says whether any reading would narrow the answer.

    Outside the temperatures that anybody checked nothing else counts.
    A plan that holds often enough on average is only sure where it also holds more often than not with the unknowns at the
    bad end of their range, and no plan is that leaves a layer without what it needs.
    """
    job, outcome, success = case.job, chosen.outcome, success_of(chosen.outcome, chosen.doubt)
    if not was_checked(job.room_k):
        return Outlook.TOO_COLD if job.room_k < LEAST_K else Outlook.TOO_WARM
    if case.tempered:
        return Outlook.AT_ODDS
    if success.mean >= job.confidence - ROUNDING and not _short_of_its_own(chosen):
        return Outlook.HOLDS if success.low >= EVEN and not case.nobody_ran else Outlook.UNSURE
    if not curve_is_known(job.resin):
        return Outlook.KNOWN_TOO_LITTLE
    likely = doubted(float(np.median(outcome.chance())), chosen.doubt) >= job.confidence
    return Outlook.LIKELY if likely and measured else Outlook.NOT_SAFE


def _short_of_its_own(chosen: Advised) -> bool:
    """Whether hands cannot give what the plan asks for, or a layer does not bond in the middle of the range."""
    unmet = chosen.hand is not None and not chosen.hand.covers
    bonds = np.median(chosen.outcome.limit_m / chosen.outcome.worst_m, axis=0)
    return unmet or bool((bonds < 1.0).any())


def spare(chosen: Advised) -> tuple[Spare, ...]:
    """Return what the settles advised are made of: need, cover for what is not known, spare of the proof, the rest."""
    found = []
    for phase, (_, least_to) in chosen.least_s.items():
        name = f"{phase}.settle_s"
        known = np.isfinite(least_to)
        if not known.any():
            continue
        carried_s = covering(chosen.ranges[name], chosen.share[phase])
        need_s = float(np.median(least_to[known]))
        kept_s = float(np.median(chosen.ranges[name][known] - least_to[known]))
        found.append(
            Spare(
                setting=name, need_s=need_s, cover_s=carried_s - need_s - kept_s, spare_s=kept_s,
                rounding_s=chosen.settings.value(name) - carried_s,
            )
        )  # fmt: skip
    return tuple(found)


def _less_spare(parts: tuple[Spare, ...], trimmed: Trimmed) -> tuple[Spare, ...]:
    """What was taken away on purpose was spare first, and no rounding."""
    taken_s = {t.setting: t.before - t.after for t in trimmed.taken}
    return tuple(
        evolve(
            s, spare_s=s.spare_s - taken_s.get(s.setting, 0.0), rounding_s=s.rounding_s + taken_s.get(s.setting, 0.0)
        )
        for s in parts
    )


def planned(
    job: Job, *, proven: Study, target: Study, belief: Belief | None = None, every: int = 1
) -> tuple[Case, Advised]:
    """Return what a carry works on and the values it chose; studies as in :func:`carry`.

    With `every` above 1 only every so many of the worlds are asked, and pieces rise as fast as proven: enough to tell plans
    of one job apart.
    """
    case = _case(job, proven, target, belief)
    few = np.arange(every // 2, case.worlds.count, every)
    case = evolve(case, peel_m_s=peel_speeds(case)) if every == 1 else case.few(few)
    return case, advise(case, settings_needed(case), reach_m=reach_m(target))


def _sources(
    advice: tuple[Advice, ...], held: Holding | None, base: FirstLayers, warming: WarmUp | None
) -> tuple[str, ...]:
    mends = (m.source for m in base.mends if m.source)
    more = (*(held.sources if held else ()), *(warming.sources if warming else ()), *mends)
    return tuple(sorted({*(key for a in advice for key in a.sources), *more}))


def _case(job: Job, proven: Study, target: Study, belief: Belief | None) -> Case:
    load = stack_load(proven, job.origin)
    same = proven is target and job.origin == job.target
    target_load = warmed_on_target(job, load if same else stack_load(target, job.target))
    load = warmed_in_proof(job, load)
    dimmest = plate_light(job.origin.light, proven).dimmest

    def weighed(count: int) -> tuple[Worlds, Floats]:
        drawn = draw(job, count=count, belief=belief)
        before = with_strengths(under_the_base(drawn, job, proven, target), job)
        run = _proven_run(job, load, before, dimmest)
        tabled = belief is not None and job.recipe.tried
        return before, proof_weight(job, proven, before, run, reach_m=reach_m(proven), tabled=tabled)

    practice = practice_weight if nobody_tried(job, belief) else lambda *_: 0.0

    before, explains = weighed(DRAWN_WORLDS)
    if effective(explains) < FEWEST:
        before, explains = weighed(MORE * DRAWN_WORLDS)
    # A proof counts whole, except where it contradicts what was read: it is then let in only so far as leaves enough
    # worlds, and the verdict says so.
    told = proof_at_odds(before, job, explains)
    whole = 1.0 if job.recipe.tried else PRACTICE_WEIGHT
    let_in = min(power_leaving(explains, LEAST), whole) if told.said else whole
    worlds = resample(before, let_in * explains + practice(job, before))
    run = _proven_run(job, load, worlds, dimmest)
    shown = proven_standard(run)
    return Case(
        job=job,
        proven_study=proven,
        target_study=target,
        before=before,
        worlds=worlds,
        proven=run,
        proof_standard=shown,
        standard=asked_standard(shown, job),
        target_load=target_load,
        tempered=told.contradicts,
        nobody_ran=not job.recipe.tried and belief is None,
        pace=pace_of(job.target.name, belief),
        at_odds=(belief.notes if belief else ()) + told.said,
    )


def _proven_run(job: Job, load: StackLoad, worlds: Worlds, dimmest: float) -> Run:
    return Run(
        # practice sets what it means to: it knows no controller that would not
        machine=job.origin if job.recipe.tried else evolve(job.origin, controller=Controller()),
        settings=job.recipe.settings,
        load=load,
        side=worlds.origin,
        overcure_m=worlds.overcure_m,
        confidence=job.confidence,
        dimmest=dimmest,
    )


def _reach(study: Study) -> Reach:
    if study.reach is None:
        raise ValueError("a carry needs studies made with the machine's window")
    return study.reach


def reach_m(study: Study) -> float:
    """Return the rise over tan(theta) at which the film has let go of the hardest layer [m]."""
    return float(_reach(study).reach_m.max())


# --- what every world needs on the target, before a value is chosen --------------------------------------------------


KEPT = tuple(k for k in IN_A_PHASE if k.name not in {"settle_s", "refill_s"})
"""What keeps its proven value unless something below carries it."""


def settings_needed(case: Case) -> dict[str, Floats]:
    """Return by setting name, what every world needs on the target, settle and refill left out: they depend on the rest."""
    job, worlds = case.job, case.worlds
    settings = job.recipe.settings
    ones = np.ones(worlds.count)
    ratio = case.exposure_ratio() * case.more_light()
    reaches = {"reach_from_m": reach_m(case.proven_study), "reach_to_m": reach_m(case.target_study)}
    speeds = wanted_speeds(case)
    given = given_speeds(case, speeds)
    needs: dict[str, Floats] = {}
    for phase in ("base", "body"):
        proven = getattr(settings, phase)
        between: dict[str, Any] = reaches | {
            "origin": case.proven.film(phase), "target": worlds.target.peeling(given[phase])
        }  # fmt: skip
        needs |= {f"{phase}.{k.name}": getattr(proven, k.attribute) * ones for k in KEPT}
        needs[f"{phase}.peel_speed_mm_s"] = speeds[phase] * ones
        needs[f"{phase}.exposure_s"] = proven.exposure_s * ratio
        whole = np.maximum(carried_lift_m(proven_lift_m=proven.lift_m, **between), lift_for_resin_m(case, phase))
        peel = np.minimum(carried_peel_lift_m(proven_peel_m=proven.peel_lift_m, **between), whole)
        needs[f"{phase}.peel_lift_mm"] = peel
        # As changes against the proven stages, so that nothing changes by a rounding.
        clear = np.maximum(proven.clear_lift_m + (whole - proven.lift_m) - (peel - proven.peel_lift_m), 0.0)
        needs[f"{phase}.clear_lift_mm"] = clear if proven.clear_lift_m > 0.0 else 0.0 * ones
    return needs


# --- the sheet ---------------------------------------------------------------------------------------------------------


def _advice(case: Case, settings: Settings, ranges: dict[str, Floats], hand: HandPlan | None) -> tuple[Advice, ...]:
    return tuple(_one_advice(case, settings, name, ranges.get(name), hand) for name in SETTING_NAMES)


def _one_advice(case: Case, settings: Settings, name: str, values: Floats | None, hand: HandPlan | None) -> Advice:
    job = case.job
    proven, value = job.recipe.settings.value(name), settings.value(name)
    low = high = value
    dominated = narrowed = ""
    if values is not None:
        finite = np.maximum(values[np.isfinite(values)], 0.0)  # no setting is below nothing, whatever a search ends at
        low, high = (float(np.quantile(finite, q)) for q in RANGE) if len(finite) else (value, value)
        # What is advised serves more than one need (both phases, every layer, the controller's steps): the range holds it.
        low, high = min(low, value), max(high, value)
        dominated, narrowed = dominant(values, case.worlds, job)
    by_hand = hand is not None and any(v.setting == name for v in hand.visits)
    return Advice(
        name=name,
        from_value=proven,
        to_value=value,
        low=low,
        high=high,
        honoured=job.target.controller.rule(name).obeys.value,
        reason=explain.reason(case, settings, name, hand=hand),
        dominated_by=dominated,
        narrowed_by=narrowed,
        sources=explain.sources(name, job),
        by_hand=by_hand,
    )


def success_of(outcome: Margins, doubt: float = 0.0) -> Success:
    """Return the chance that a run holds, with its range over the worlds; less where this job's own runs failed."""
    chance = outcome.chance()
    low, high = (doubted(float(np.quantile(chance, q)), doubt) for q in RANGE)
    return Success(low=low, mean=doubted(float(chance.mean()), doubt), high=high)


def _layer_table(case: Case, run: Run, outcome: Margins, settle: Floats) -> LayerTable:
    demands = layer_demands(case, run, outcome, settle)
    thickness = outcome.thickness_m
    times = case.target_times(run.settings, layers=run.layers, settle_s=settle)
    reach, in_base = _reach(case.target_study), run.in_base()
    base, body = run.film("base"), run.film("body")
    tangent = [covering(film.tan_angle, case.job.confidence) for film in (base, body)]
    front_n_m = [float(np.median(film.front_force_n_m)) for film in (base, body)]
    return LayerTable(
        clock_s=times.start_s,
        thickness_m=np.median(thickness, axis=0),
        thickness_low_m=np.quantile(thickness, RANGE[0], axis=0),
        thickness_high_m=np.quantile(thickness, RANGE[1], axis=0),
        cure_depth_m=np.median(run.cured_m(), axis=0),
        settle_demand_s=demands.owed_s,
        settle_true_s=demands.true_s,
        settle_given_s=settle,
        lift_demand_m=np.where(in_base, *tangent) * reach.reach_m,
        reach_m=reach.reach_m,
        front_m=reach.front_m,
        pull_n=np.where(in_base, *front_n_m) * reach.front_m,
        screen_force_n=np.median(outcome.peak_force_n, axis=0),
        area_m2=case.target_study.area_m2,
        exposure_s=run.exposure_s(),
    )


def _pull_curve(run: Run, case: Case) -> PullCurve:
    reach = _reach(case.target_study)
    side = run.film("base" if reach.peak_layer < run.settings.base_layers else "body")
    furthest = float(np.quantile(release_lift_m(side.tan_angle, reach_m(case.target_study)), 0.99))
    lift = np.linspace(0.0, furthest, 80)
    low, middle, high = np.quantile(pull_curve(side, reach, lift_m=lift), (RANGE[0], 0.5, RANGE[1]), axis=0)
    return PullCurve(layer=reach.peak_layer, lift_m=lift, low_n=low, middle_n=middle, high_n=high)


def _platform_view(run: Run, case: Case) -> PlatformView:
    study, window = case.target_study, case.job.target.window
    hardest = "base" if int(np.argmax(_reach(study).reach_m)) < run.settings.base_layers else "body"
    tangent = covering(run.film(hardest).tan_angle, case.job.confidence)
    # The map tells rise by distance from the clamp: scaled so that it is right where the film lets go last.
    for_each_m = tangent * reach_m(study) / span_m(study)
    points = [loop for o in study.outlines for loop in o.loops_m] or [np.zeros((1, 2))]
    inward = [np.minimum(window.width_m / 2 - abs(p[:, 0]), window.depth_m / 2 - abs(p[:, 1])) for p in points]
    best = max(range(len(points)), key=lambda i: float(inward[i].max()))
    x, y = points[best][int(np.argmax(inward[best]))]
    return PlatformView(
        platform=case.job.target.platform,
        window=window,
        outlines=study.outlines,
        tan_angle=for_each_m,
        worst_x_m=float(x),
        worst_y_m=float(y),
        worst_lift_m=tangent * reach_m(study),
    )


def run_time(case: Case, settings: Settings, settle: Floats, plates: PlateCounts) -> RunTime:
    """Return how long all plates take on both machines, each layer of the target settling as long as `settle` says [s]."""
    job = case.job
    pieces = sum(p.count for p in job.parts)
    before = [layer_times(job.recipe.settings, job.origin, layers=n).parts_s.sum(axis=0) for n in plates.origin]
    after = []
    for n in plates.target:
        given = plate_settle_s(settle, n)
        after.append(case.target_times(settings, layers=n, settle_s=given).parts_s.sum(axis=0))
    from_parts = np.sum(before, axis=0) if before else np.zeros(len(SHARES))
    to_parts = np.sum(after, axis=0)
    return RunTime(
        from_s=float(from_parts.sum()),
        to_s=float(to_parts.sum()),
        from_plates=len(plates.origin),
        to_plates=len(plates.target),
        per_piece_from_s=float(from_parts.sum()) / pieces,
        per_piece_to_s=float(to_parts.sum()) / pieces,
        shares=tuple(
            TimeShare(label=label, from_s=float(a), to_s=float(b))
            for label, a, b in zip(SHARES, from_parts, to_parts, strict=True)
        ),
    )


def plate_settle_s(settle_s: Floats, layers: int) -> Floats:
    """Return the settles of a plate of so many layers, from those of the fullest one [s]: a taller one goes on as that ends."""
    more = max(layers - len(settle_s), 0)
    return np.concatenate((settle_s[:layers], np.full(more, settle_s[-1])))


def _beliefs(case: Case) -> tuple[BeliefChange, ...]:
    job = case.job
    shown = (
        (
            to_say("stiffness of {name}", name=job.target.name),
            "N/m",
            "target",
            "stiffness_n_m",
            job.target.stiffness_n_m,
        ),
        (
            to_say("stiffness of {name}", name=job.origin.name),
            "N/m",
            "origin",
            "stiffness_n_m",
            job.origin.stiffness_n_m,
        ),
        (to_say("viscosity in this room"), "Pa s", "target", "viscosity_pa_s", None),
        (
            to_say("film tension on {name}", name=job.target.name),
            "N/m",
            "target",
            "tension_n_m",
            job.target.film.tension_n_m,
        ),
        (to_say("peel angle on {name} at 1 mm/s", name=job.target.name), "rad", "target", "angle_rad", None),
        (
            to_say("light of {name}", name=job.target.name),
            "W/m2",
            "target",
            "irradiance_w_m2",
            job.target.light.irradiance_w_m2,
        ),
        (to_say("depth of the working curve"), "m", "target", "curve_depth_m", None),
        (to_say("critical dose"), "J/m2", "target", "curve_dose_j_m2", None),
    )
    return tuple(
        BeliefChange(
            name=name,
            unit=unit,
            before=_three(getattr(getattr(case.before, side), field)),
            after=_three(getattr(getattr(case.worlds, side), field)),
            kind=origin.kind.value if origin else explain.kind_of(field, job),
            source=origin.source if origin else explain.source_of(field, job),
        )
        for name, unit, side, field, origin in shown
    )


def _three(values: Floats) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, (RANGE[0], 0.5, RANGE[1]))
    return float(low), float(middle), float(high)
