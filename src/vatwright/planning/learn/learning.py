"""From what happened to what is believed: every unknown of a shop at once, from all its runs."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen
from scipy.special import chdtrc, ndtr

from vatwright.evidence.belief import Belief, Unknown
from vatwright.evidence.influence import leave_one_out
from vatwright.evidence.interval_censored import fit_threshold
from vatwright.evidence.proportion import (
    chance_as_extreme,
    chance_of_next,
    clopper_pearson,
    most_failures,
    runs_without_failure,
)
from vatwright.evidence.score import Ratio, brier, calibration_slope, chance_classes, ratio_of
from vatwright.evidence.tempering import Tempered, temper
from vatwright.planning.demand.exposure import BLUR_M
from vatwright.planning.demand.unknowns import (
    FIT_SPREAD,
    HANDS_SPREAD,
    MARGINS,
    RUN_SCATTER,
    TIME_SPREAD,
    WEAR,
    more_scatter,
)
from vatwright.planning.learn.run_evidence import (
    SCATTER,
    WEAR_OF_FILMS,
    GridMemory,
    NotedRun,
    ReadingAgainst,
    Witness,
    witnesses,
)
from vatwright.records.learned import (
    Believed,
    CautionCost,
    ChanceCount,
    Disagreement,
    HeldCount,
    MachineScore,
    PlainCount,
    Pull,
    TimesSaid,
)
from vatwright.records.progress import Progress
from vatwright.records.run import DETAILS, Quantity, RunOutcome, Seen
from vatwright.wording import to_join, to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Coordinates = dict[Unknown, Floats]

SAMPLES = 1024
"""Equally likely values that a belief keeps; as many as a carry draws."""

FADES_S = 2.0 * 365.25 * 86_400.0
"""Time after which a run counts half: machines wear, are moved and set up anew [s]; engineering estimate, no source."""

ODD = 0.05
"""What happened is told as a disagreement where the model finds it less likely than this [-]; common practice."""

MOVED = 0.97
"""A range left wider than this share of what it was has not been narrowed [-]; engineering estimate."""

SHOWN = 0.9
"""The share of runs that hold which a row of runs without failure is asked to show [-]; common practice."""

SHIFTED = 0.15
"""A run pulls at a belief where it shifts it by this many prior standard deviations, or narrows it by as much [-]."""


AT_ODDS = 0.01
"""Readings and counts further off than this chance [-] do not scatter, they contradict the model; common practice."""

FURTHEST = 8.0
"""Greatest squared distance that one reading adds to that sum [-]: a single slip must not condemn a machine's runs."""

LEAST_COUNTED = 0.1
"""Runs at odds with the model count no less than this [-]; engineering estimate."""


class Odds(NamedTuple):
    """Runs on a machine against the model: how much of them is counted [-], how likely that is, and what is furthest off."""

    machine: str
    counted: float
    chance: float
    about: str

    @property
    def words(self) -> str:
        """It in a sentence."""
        share = f"{100.0 * self.counted:.0f} %"
        return to_say(
            "The notebook and the model disagree about {about} on {machine} by more than chance: "
            "its runs count at {share}, so that ranges stay as wide as the disagreement.",
            about=self.about,
            machine=self.machine,
            share=share,
        )


@frozen(kw_only=True, eq=False)
class Learned:
    """A shop's belief after its runs, and the runs as they see it.

    Parameters
    ----------
    belief : Belief
        Samples of all unknowns.
    tempered : Tempered
        How they were had.
    witnesses : tuple of Witness
        The runs.
    at_odds : tuple of Odds
        Machines whose runs the model cannot explain.
    """

    belief: Belief
    tempered: Tempered
    witnesses: tuple[Witness, ...]
    at_odds: tuple[Odds, ...] = ()

    def coordinates(self) -> Coordinates:
        """Return the samples by unknown."""
        return _by_unknown(self.belief.unknowns, self.belief.samples)


def fading(age_s: float) -> float:
    """Return how much of a run's evidence still counts: half of it after `FADES_S` [-].

    Parameters
    ----------
    age_s : float
        How long ago it was [s]; a run noted ahead of the clock counts whole.

    Returns
    -------
    float
        Power to which its likelihood is raised [-].

    Examples
    --------
    >>> fading(0.0), fading(FADES_S)
    (1.0, 0.5)

    References
    ----------
    Ibrahim and Chen, "Power prior distributions for regression models", Statistical Science 15 (2000) 46-60. [ibrahim:2000]
    """
    return float(0.5 ** (max(age_s, 0.0) / FADES_S))


def learn(
    runs: Sequence[NotedRun],
    *,
    count: int = SAMPLES,
    seed: int = 1,
    memory: GridMemory | None = None,
    progress: Progress | None = None,
) -> Learned:
    """Return what all runs together let one believe.

    Parameters
    ----------
    runs : sequence of NotedRun
        The runs; of their recipes' proof nothing is used here, a carry weighs that by itself.
    count : int
        Samples to keep.
    seed : int
        Seed of the sampler.
    memory : GridMemory or None
        What remembers the tables of runs.
    progress : callable or None
        Told how far the work is.

    Returns
    -------
    Learned
        The same for the same runs and seed.

    Notes
    -----
    Every unknown starts from the origin its record states, standard normal in its own coordinate.  Each run is a likelihood
    under the margins that the plan uses; runs are independent given the unknowns.  Where a machine's readings and counts
    are further from the model than chance allows, its runs are counted at the inverse of their Birge ratio, squared.

    References
    ----------
    Birge, Phys. Rev. 40 (1932) 207-227: measurements that scatter beyond their own uncertainties. [birge:1932]
    """
    seen = witnesses(runs, memory=memory, progress=progress)
    if progress:
        progress("learning", 0, 1)
    learned = learn_from(seen, count=count, seed=seed)
    if progress:
        progress("learning", 1, 1)
    return learned


def learn_from(seen: Sequence[Witness], *, count: int = SAMPLES, seed: int = 1) -> Learned:
    """Return what runs, already tabulated, let one believe; see :func:`learn`."""
    learned = _sampled(seen, count, seed)
    odds = _at_odds(learned)
    if not odds:
        return learned
    counted = {o.machine: o.counted for o in odds}
    widened = [_counting(w, w.run.weight * counted.get(w.run.job.target.name, 1.0)) for w in seen]
    again = _sampled(widened, count, seed)
    belief = evolve(again.belief, notes=tuple(o.words for o in odds))
    return evolve(again, belief=belief, at_odds=odds)


def _counting(witness: Witness, weight: float) -> Witness:
    return evolve(witness, run=evolve(witness.run, weight=weight))


def _sampled(seen: Sequence[Witness], count: int, seed: int) -> Learned:
    unknowns = tuple(sorted(set().union(*(w.matters() for w in seen)))) if seen else ()
    groups = _groups(seen)

    def log_likelihood(z: Floats) -> Floats:
        named = _by_unknown(unknowns, z)
        total = np.zeros(len(z))
        for tables in groups:
            sides = tables[0][0].sides(named)
            for members in tables:
                outlook = members[0].table.at(*sides)
                chances = members[0].chances(outlook, named)
                for witness in members:
                    total += witness.log_likelihood(outlook, named, chances)
        return total

    tempered = temper(log_likelihood, dimensions=len(unknowns), count=count, seed=seed)
    return Learned(belief=Belief(unknowns=unknowns, samples=tempered.samples), tempered=tempered, witnesses=tuple(seen))


def _groups(seen: Sequence[Witness]) -> list[list[list[Witness]]]:
    """Runs by machine side and then by table, so that what they share is worked out once; alike ones count together."""
    groups: dict[tuple[int, int | None, tuple[Unknown, ...]], dict[int, dict[str, Witness]]] = {}
    for witness in seen:
        tables = groups.setdefault((id(witness.table.side), witness.run.film_layers, witness.unknowns), {})
        alike = tables.setdefault(id(witness.table), {})
        outcome = witness.run.outcome
        ended = repr((outcome.held, sorted({e.what for e in outcome.events}), outcome.readings))
        known = alike.get(ended)
        weight = witness.run.weight + (known.run.weight if known else 0.0)
        alike[ended] = _counting(witness, weight)
    return [[list(alike.values()) for alike in tables.values()] for tables in groups.values()]


def _at_odds(learned: Learned) -> tuple[Odds, ...]:
    """Machines whose readings of one kind, or whose counts, are too far from the model for chance.

    Times of runs are left out: a time that is off says nothing of what the others say.
    """
    z = learned.coordinates()
    found = []
    for name in dict.fromkeys(w.run.job.target.name for w in learned.witnesses):
        mine = [w for w in learned.witnesses if w.run.job.target.name == name]
        off: dict[str, list[float]] = {}
        for witness in mine:
            for shown in witness.shown(witness.outlook(z), z):
                if shown.quantity not in {Quantity.RUN_TIME, Quantity.STROKE}:
                    away = (shown.value - float(np.median(shown.middle))) / float(np.median(shown.scatter))
                    off.setdefault(_SUBJECT[shown.quantity], []).append(away**2)
        # One value is fitted to the readings of a kind: a single one cannot contradict itself.
        chances = {
            what: float(chdtrc(len(squares) - 1, np.minimum(squares, FURTHEST).sum()))
            for what, squares in off.items()
            if len(squares) > 1
        }
        holds = np.array([w.holds(w.outlook(z), z).mean() for w in mine])
        held, expected = sum(w.run.outcome.held for w in mine), float(holds.sum())
        chances[COUNTS] = chance_as_extreme(events=held, runs=len(mine), share=expected / len(mine))
        off[COUNTS] = [(held - expected) ** 2 / float((holds * (1.0 - holds)).sum())]
        if worst := sorted((w for w in chances if chances[w] < AT_ODDS), key=lambda w: chances[w]):
            squares = [square for what in worst for square in off[what]]
            counted = max(LEAST_COUNTED, min(1.0, len(squares) / sum(squares)))
            found.append(
                Odds(
                    name,
                    counted,
                    chances[worst[0]],
                    to_say("{one} and {other}", one=worst[0], other=worst[1])
                    if len(worst) == 2
                    else to_join(worst, ", "),
                )
            )
    return tuple(found)


COUNTS = to_say("how often runs hold")
_SUBJECT = {
    Quantity.HEIGHT: to_say("the height"),
    Quantity.FIRST_LAYER: to_say("the first layer"),
    Quantity.VISCOSITY: to_say("the viscosity"),
    Quantity.IRRADIANCE: to_say("the light"),
    Quantity.CURE_DEPTH: to_say("the cure depth"),
    Quantity.PULL: to_say("the pull"),
    Quantity.DEFLECTION: to_say("the stiffness"),
    Quantity.STROKE: to_say("the speed of the arm"),
    **dict.fromkeys(DETAILS, to_say("the detail")),
}


def _by_unknown(unknowns: Sequence[Unknown], samples: Floats) -> Coordinates:
    return {u: samples[:, k] for k, u in enumerate(unknowns)}


# --- what is believed ------------------------------------------------------------------------------------------------

_OF_MACHINE = (
    (to_say("stiffness"), "N_mm", "stiffness_n_m"),
    (to_say("greatest force"), "N", "ceiling_n"),
    (to_say("light"), "mW_cm2", "irradiance_w_m2"),
    (to_say("film tension"), "N_m", "tension_n_m"),
    (to_say("peel angle at 1 mm/s"), "deg", "angle_rad"),
    (to_say("gap under the worst corner"), "um", "unlevel_m"),
)
_OF_RESIN = (
    ("viscosity", "Pa_s", "viscosity_pa_s"),
    (to_say("curve depth"), "um", "curve_depth_m"),
    (to_say("critical dose"), "mJ_cm2", "curve_dose_j_m2"),
)

_OF_MARGIN = {"base": to_say("base"), "body": to_say("body"), "release": to_say("release")}


def beliefs(learned: Learned, *, machine: str = "", resin: str = "", seed: int = 2) -> tuple[Believed, ...]:
    """Return quantities before and after the runs, the most narrowed first; untouched ones are left out.

    Parameters
    ----------
    learned : Learned
        The belief.
    machine, resin : str
        Only of this machine, of this resin, and of what all share; empty for all.
    seed : int
        Seed of the samples of the prior.

    Returns
    -------
    tuple of Believed
        With the runs that moved each.
    """
    if not learned.witnesses:
        return ()
    after = learned.coordinates()
    rng = np.random.default_rng(seed)
    before = {u: rng.standard_normal(len(learned.belief.samples)) for u in after}
    asked = {"", machine, resin}
    rows = [
        row for row in zip(_quantities(learned, before), _quantities(learned, after), strict=True)
        if asked == {""} or row[0][1] in asked
    ]  # fmt: skip
    kept = [(a, b) for a, b in rows if a[3].std() > 0.0]
    pulls = _pulls(learned, [b[3] / a[3].std() for a, b in kept], after)
    found = [
        Believed(
            name=a[0], of=a[1], unit=a[2], before=_three(a[3]), after=_three(b[3]),
            share_left=float(np.ptp(np.quantile(b[3], (0.05, 0.95))) / np.ptp(np.quantile(a[3], (0.05, 0.95)))),
            moved_by=pull,
        )
        for (a, b), pull in zip(kept, pulls, strict=True)
    ]  # fmt: skip
    return tuple(sorted((f for f in found if f.share_left < MOVED or f.moved_by), key=lambda f: f.share_left))


def _quantities(learned: Learned, z: Coordinates) -> list[tuple[str, str, str, Floats]]:
    """Name, whose, unit and log of each quantity in every sample, as the last run on each machine and resin has it."""
    last_machine = {w.run.job.target.name: w for w in learned.witnesses if not (w.run.old_film or w.run.old_screen)}
    last_resin = {w.run.job.resin.name: w for w in learned.witnesses}
    found = []
    for of, fields_of in ((last_machine, _OF_MACHINE), (last_resin, _OF_RESIN)):
        for name, witness in of.items():
            side = witness.outlook(z).side
            warm = to_say("viscosity at {room:.0f} C", room=witness.run.room_k - 273.15)
            found += [
                (warm if label == "viscosity" else label, name, unit, np.log(np.maximum(getattr(side, f), 1e-9)))
                for label, unit, f in fields_of
            ]
    found.append((to_say("overcure that a bond needs"), "", "um", np.log(learned.witnesses[-1].outlook(z).overcure_m)))
    found.append(
        (
            to_say("growth of the peel energy with speed"),
            "",
            "",
            np.log(learned.witnesses[-1].outlook(z).side.speed_exponent),
        )
    )
    found.append((to_say("growth of the peel energy with 1,000 layers"), "", "percent", _log_wear(z, learned)))
    found.append((to_say("scatter between runs"), "", "percent", np.log(RUN_SCATTER * more_scatter(z[SCATTER]))))
    for name in last_machine:
        hands = HANDS_SPREAD * z[Unknown("hands", name)]
        found.append((to_say("margins against the model"), name, "", hands))
        found += [
            (
                to_say("{margin} margin against the model", margin=_OF_MARGIN[m]),
                name,
                "",
                hands + FIT_SPREAD * z[Unknown(f"{m} fit", name)],
            )
            for m in MARGINS
        ]
        found.append((to_say("time against the model"), name, "", TIME_SPREAD * z[Unknown("time", name)]))
        if (blur := z.get(Unknown("blur", name))) is not None:
            found.append((to_say("blur of an edge"), name, "um", np.log(BLUR_M.value) + BLUR_M.spread * blur))
    return found


def _log_wear(z: Coordinates, learned: Learned) -> Floats:
    spread = z.get(WEAR_OF_FILMS, np.zeros(len(learned.belief.samples)))
    return np.asarray(np.log(WEAR.value) + WEAR.spread * spread)


def _pulls(learned: Learned, scaled: list[Floats], z: Coordinates) -> list[tuple[Pull, ...]]:
    """The runs that moved each quantity, given in units of its prior's standard deviation."""
    likelihoods = np.array([w.log_likelihood(w.outlook(z), z) for w in learned.witnesses])
    influence = leave_one_out(samples=np.column_stack(scaled), log_likelihoods=likelihoods)
    strength = np.abs(influence.shift) + np.maximum(1.0 - influence.narrowing, 0.0)
    found = []
    for q in range(len(scaled)):
        order = np.argsort(-strength[:, q])[:3]
        found.append(
            tuple(
                Pull(learned.witnesses[e].run.outcome.run, float(influence.shift[e, q]))
                for e in order
                if strength[e, q] >= SHIFTED
            )
        )
    return found


def _three(log_values: Floats) -> tuple[float, float, float]:
    low, middle, high = np.exp(np.quantile(log_values, (0.05, 0.5, 0.95)))
    return float(low), float(middle), float(high)


# --- where the model is off ------------------------------------------------------------------------------------------


def disagreements(learned: Learned) -> tuple[Disagreement, ...]:
    """Return what happened otherwise than the model, even after learning, finds likely; the least likely first.

    Parameters
    ----------
    learned : Learned
        The belief.

    Returns
    -------
    tuple of Disagreement
        By posterior predictive probabilities, two-sided.

    Notes
    -----
    The runs judged are those learned from, so these probabilities lean towards the middle: what is told is a real oddity,
    what is not told may still be one.

    References
    ----------
    Gelman, Meng and Stern, Statistica Sinica 6 (1996) 733-807. [gelman:1996]
    """
    z = learned.coordinates()
    found = [Disagreement(machine=o.machine, what=o.words, chance=o.chance) for o in learned.at_odds]
    for name in dict.fromkeys(w.run.job.target.name for w in learned.witnesses):
        mine = [w for w in learned.witnesses if w.run.job.target.name == name]
        found += _odd_count(name, mine, z)
        found += _odd_readings(name, mine, z)
        found += _odd_time(name, mine, z)
    return tuple(sorted(found, key=lambda d: d.chance))


def _odd_count(name: str, mine: list[Witness], z: Coordinates) -> list[Disagreement]:
    expected = float(np.sum([w.holds(w.outlook(z), z).mean() for w in mine]))
    held, runs = sum(w.run.outcome.held for w in mine), len(mine)
    chance = chance_as_extreme(events=held, runs=runs, share=expected / runs)
    if chance >= ODD:
        return []
    said = to_say(
        "{held} of {runs} runs on {name} held where the model, after learning, expects {expected:.1f}.",
        held=held,
        runs=runs,
        name=name,
        expected=expected,
    )
    return [Disagreement(machine=name, what=said, chance=chance)]


_READ = {
    Quantity.HEIGHT: (to_say("The height"), to_say("is greater"), to_say("is smaller")),
    Quantity.FIRST_LAYER: (to_say("The first layer"), to_say("is thicker"), to_say("is thinner")),
    Quantity.VISCOSITY: (to_say("The resin"), to_say("is thicker"), to_say("is thinner")),
    Quantity.IRRADIANCE: (to_say("The light"), to_say("is brighter"), to_say("is dimmer")),
    Quantity.CURE_DEPTH: (to_say("Squares"), to_say("cure deeper"), to_say("cure less deep")),
    Quantity.PULL: (to_say("The pull"), to_say("is stronger"), to_say("is weaker")),
    Quantity.DEFLECTION: (to_say("The arm"), to_say("gives more"), to_say("gives less")),
    Quantity.STROKE: (to_say("A timed stroke"), to_say("is longer"), to_say("is shorter")),
    Quantity.WALL: (to_say("The thinnest wall"), to_say("is thicker"), to_say("is thinner")),
    Quantity.GAP: (to_say("The narrowest gap"), to_say("is wider"), to_say("is narrower")),
    Quantity.PIN: (to_say("The thinnest pin"), to_say("is thicker"), to_say("is thinner")),
}


def _odd_readings(name: str, mine: list[Witness], z: Coordinates) -> list[Disagreement]:
    found = []
    for witness in mine:
        for shown in witness.shown(witness.outlook(z), z):
            if shown.quantity is Quantity.RUN_TIME:
                continue
            below = _below(shown)
            chance = 2.0 * min(below, 1.0 - below)
            if chance < ODD:
                subject, more, less = _READ[shown.quantity]
                said = to_say(
                    "{subject} read in run {run} on {name} {more} than the model can explain.",
                    subject=subject,
                    run=witness.run.outcome.run,
                    name=name,
                    more=more if below > 0.5 else less,
                )
                found.append(Disagreement(machine=name, what=said, chance=chance))
    return found


def _below(shown: ReadingAgainst) -> float:
    return float(ndtr((shown.value - shown.middle) / shown.scatter).mean())


def _odd_time(name: str, mine: list[Witness], z: Coordinates) -> list[Disagreement]:
    """A machine whose time is surely off what its moves say."""
    if not any(s.quantity is Quantity.RUN_TIME for w in mine for s in w.shown(w.outlook(z), z)):
        return []
    factor = np.exp(TIME_SPREAD * z[Unknown("time", name)])
    low, middle, high = np.quantile(factor, (0.05, 0.5, 0.95))
    beyond = float(np.mean(factor > 1.0))
    chance = 2.0 * min(beyond, 1.0 - beyond)
    if chance >= ODD or abs(middle - 1.0) < 0.02:
        return []
    said = to_say(
        "Runs on {name} take {middle:.2f} times as long as the model says ({low:.2f} to {high:.2f}).",
        name=name,
        middle=middle,
        low=low,
        high=high,
    )
    return [Disagreement(machine=name, what=said, chance=chance)]


# --- how good the predictions were ----------------------------------------------------------------------------------


def scores(outcomes: Iterable[RunOutcome]) -> tuple[MachineScore, ...]:
    """Return how good the predictions noted with the runs were: all together first, then each machine.

    Parameters
    ----------
    outcomes : iterable of RunOutcome
        Runs; those without a prediction are left out.

    Returns
    -------
    tuple of MachineScore
        Empty where no run has a prediction.
    """
    judged = [o for o in outcomes if o.prediction is not None]
    if not judged:
        return ()
    machines = dict.fromkeys(o.machine for o in judged)
    each = [_score(name, [o for o in judged if o.machine == name]) for name in machines]
    return (_score("", judged), *each) if len(each) > 1 else tuple(each)


def _score(machine: str, judged: list[RunOutcome]) -> MachineScore:
    said = [o.prediction.chance for o in judged if o.prediction]
    held = [o.held for o in judged]
    parts = brier(said=said, held=held)
    return MachineScore(
        machine=machine,
        classes=tuple(
            ChanceCount(
                low=c.low, high=c.high, said=c.said, held=c.held, runs=c.runs, seen_low=c.seen.low, seen_high=c.seen.high,
                surprise=c.surprise,
            )
            for c in chance_classes(said=said, held=held)
        ),
        brier=parts.score, base_rate=parts.base_rate, skill=parts.skill, reliability=parts.reliability,
        resolution=parts.resolution, uncertainty=parts.uncertainty,
        slope=calibration_slope(said=said, held=held),
        run_time=_factor(judged, Quantity.RUN_TIME, "run_time_s"),
        first_layer=_factor(judged, Quantity.FIRST_LAYER, "first_layer_m"),
        caution=caution_cost(judged),
    )  # fmt: skip


def caution_cost(judged: Sequence[RunOutcome]) -> CautionCost | None:
    """Return what being careful cost, over jobs that held twice or more on one machine with one resin; None without any.

    Parameters
    ----------
    judged : sequence of RunOutcome
        Runs with a prediction; its time counts where nobody read one.

    Notes
    -----
    A job's quickest run that held is not the least that would have: the time told is a lower bound.
    """
    jobs: dict[tuple[str, str, str], list[RunOutcome]] = {}
    for o in judged:
        jobs.setdefault((o.job, o.machine, o.resin), []).append(o)
    waited_s = lost_s = 0.0
    runs = 0
    for mine in jobs.values():
        held_s = [_took_s(o) for o in mine if o.held]
        if len(held_s) < TWICE:
            continue
        waited_s += sum(held_s) - len(held_s) * min(held_s)
        lost_s += sum(_took_s(o) for o in mine if not o.held)
        runs += len(mine)
    return CautionCost(waited_s=waited_s, lost_s=lost_s, runs=runs) if runs else None


TWICE = 2
"""A job's runs are held against its quickest where so many held."""


def _took_s(outcome: RunOutcome) -> float:
    read = [r.value for r in outcome.readings if r.quantity is Quantity.RUN_TIME]
    return read[-1] if read else outcome.prediction.run_time_s if outcome.prediction else 0.0


def _factor(judged: list[RunOutcome], quantity: Quantity, predicted: str) -> TimesSaid | None:
    pairs = [
        (getattr(o.prediction, predicted), r.value)
        for o in judged
        for r in o.readings
        if r.quantity is quantity and r.value > 0.0 and (o.held or quantity is not Quantity.RUN_TIME)
    ]
    pairs = [p for p in pairs if p[0] > 0.0]
    ratio: Ratio | None = ratio_of(said=[p[0] for p in pairs], seen=[p[1] for p in pairs])
    return None if ratio is None else TimesSaid(low=ratio.low, middle=ratio.middle, high=ratio.high, runs=ratio.runs)


def held_counts(outcomes: Iterable[RunOutcome]) -> tuple[HeldCount, ...]:
    """Return what the count of runs says by itself, machine by machine.

    Parameters
    ----------
    outcomes : iterable of RunOutcome
        Runs.

    Returns
    -------
    tuple of HeldCount
        Settings and plates may have changed between the runs: the count knows nothing of that.
    """
    listed = list(outcomes)
    found = []
    for machine in dict.fromkeys(o.machine for o in listed):
        mine = [o.held for o in listed if o.machine == machine]
        held, runs = sum(mine), len(mine)
        interval = clopper_pearson(events=held, runs=runs)
        found.append(
            HeldCount(
                machine=machine, held=held, runs=runs, low=interval.low, high=interval.high,
                next_holds=chance_of_next(held=held, runs=runs, next_held=1, next_runs=1),
                next_five_hold=chance_of_next(held=held, runs=runs, next_held=5, next_runs=5),
                fails_at_most=most_failures(failed=runs - held, runs=runs),
                more_to_show=None if held < runs else max(runs_without_failure(holds=SHOWN) - runs, 0),
            )
        )  # fmt: skip
    return tuple(found)


# --- what the runs say without any model ----------------------------------------------------------------------------

_BY_SETTING = (
    ("base.settle_s", Seen.BASE_LET_GO),
    ("body.settle_s", Seen.LAYER_SPLIT),
    ("body.exposure_s", Seen.LAYER_SPLIT),
)


def plain_counts(runs: Iterable[NotedRun]) -> tuple[PlainCount, ...]:
    """Return for each machine and resin where a setting began to hold, from the runs alone.

    Parameters
    ----------
    runs : iterable of NotedRun
        The runs.

    Returns
    -------
    tuple of PlainCount
        Only where a setting was varied, some runs failed for want of it and some held.

    Notes
    -----
    The threshold is taken to scatter normally from run to run; what else differed between the runs is in the scatter.
    """
    found = []
    listed = list(runs)
    for machine, resin in dict.fromkeys((r.outcome.machine, r.outcome.resin) for r in listed):
        mine = [r for r in listed if (r.outcome.machine, r.outcome.resin) == (machine, resin)]
        for setting, seen in _BY_SETTING:
            held = [r.settings.value(setting) for r in mine if r.outcome.held]
            short = [r.settings.value(setting) for r in mine if seen in {e.what for e in r.outcome.events}]
            if not held or not short or len(set(held + short)) < 2:
                continue
            fit = fit_threshold(low=[-math.inf] * len(held) + short, high=held + [math.inf] * len(short))
            found.append(
                PlainCount(
                    machine=machine, resin=resin, setting=setting, failed_at=max(short), held_at=min(held),
                    middle=None if fit.sharp else fit.middle, scatter=None if fit.sharp else fit.scatter,
                    runs=len(held) + len(short),
                )
            )  # fmt: skip
    return tuple(found)


def predicted(learned: Learned, witness: Witness, *, seed: int = 3) -> Floats:
    """Return the chance that a run holds, in every sample of the belief, (S,) [-].

    Parameters
    ----------
    learned : Learned
        The belief.
    witness : Witness
        The run.
    seed : int
        Seed of the values of what no run says anything of.

    Returns
    -------
    (S,) ndarray
        Chances.
    """
    rng = np.random.default_rng(seed)
    z = learned.coordinates()
    for unknown in sorted(witness.matters()):
        if unknown not in z:
            z[unknown] = rng.standard_normal(len(learned.belief.samples))
    return witness.holds(witness.outlook(z), z)
