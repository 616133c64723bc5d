"""What to learn next: how much each reading and each trial would narrow the decision, for its minutes and its resin."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import frozen
from scipy.special import ndtr, ndtri

from vatwright.evidence.preposterior import share_left
from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.exposure import effective_w_m2, finest_m
from vatwright.planning.demand.narrowing import PossibleReading, readings
from vatwright.planning.demand.settle import RUN_SCATTER, Run
from vatwright.planning.trial.trials import CONE_SHARES, LEDGES, LIGHTS, POSTS, SQUARES, edge_blur_m
from vatwright.records.learned import NextStep
from vatwright.records.machine import Obeys
from vatwright.records.run import Quantity
from vatwright.records.trial import DETAIL_M, TrialKind
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ML_MINUTES = 0.2
"""Minutes that a millilitre of resin counts for: a litre costs about what three hours of a person's time do [min/ml];
common practice, no source."""

ML_M3 = 1.0e-6

SETTLES = ("base.settle_s", "body.settle_s")

DETAIL = "detail"
"""What a step narrows that tells how fine a thing comes out: no setting, and it costs no time by itself."""

EVEN = 0.5
"""A trial that comes out less often than this is not offered [-]; a choice of ours."""

LEAST_WORTH = 0.03
"""A step that narrows no range by more than this share is not worth its minutes [-]; engineering estimate."""


class TrialWorth(NamedTuple):
    """What a trial teaches, and what it costs; :mod:`vatwright.planning.trial.trials` makes the piece.

    Parameters
    ----------
    kind : TrialKind
        Which.
    how : str
        What to do.
    minutes : float
        Time of a person and the machine [min].
    resin_m3 : float
        Resin it takes [m3].
    shows : callable
        What it shows in every world, (S, K).
    scatter : tuple of float
        By how much that scatters, one for each number shown.
    """

    kind: TrialKind
    how: str
    minutes: float
    resin_m3: float
    shows: Callable[[Run], Floats]
    scatter: tuple[float, ...]


def _finest_shown(run: Run) -> Floats:
    """Thinnest wall and narrowest gap under the strongest and the weakest light of a ladder, (S, 4), as far as it has them."""
    shown = [_finest(run, light, of) for light in (LIGHTS[0], LIGHTS[-1]) for of in (Quantity.WALL, Quantity.GAP)]
    return np.column_stack(shown)


def _finest(run: Run, light: float, of: Quantity) -> Floats:
    """The finest of its kind in every world under so many times the body's light (log)."""
    dose = light * run.settings.body.exposure_s * effective_w_m2(run.side, 1.0)
    blur = edge_blur_m(len(dose))
    found = finest_m(run.side, run.overcure_m, blur, dose_j_m2=dose, layer_m=run.settings.layer_m)[of]
    return np.asarray(np.log(np.clip(found, DETAIL_M[0], DETAIL_M[-1])))


TRIALS = (
    TrialWorth(
        TrialKind.SETTLE_STEPS,
        to_say("a stair of {ledges} round ledges: measure how much the wide ones stand too high", ledges=LEDGES),
        40.0,
        15.0 * ML_M3,
        lambda run: np.log(run.side.viscosity_pa_s / run.stiffness_n_m())[:, None],
        (0.15,),
    ),
    TrialWorth(
        TrialKind.RELEASE_SPAN,
        to_say(
            "{posts} posts from the frame to the middle, lifted too little on purpose: see which came off the film",
            posts=POSTS,
        ),
        20.0,
        10.0 * ML_M3,
        lambda run: np.log(run.film("body").tan_angle)[:, None],
        (0.1,),
    ),
    TrialWorth(
        TrialKind.CURE_DEPTH,
        to_say(
            "{squares} squares through the window, each lit twice as long as the last: wipe, measure their thickness",
            squares=len(SQUARES),
        ),
        15.0,
        5.0 * ML_M3,
        lambda run: np.column_stack(
            (np.log(run.side.curve_depth_m), np.log(run.side.curve_dose_j_m2 / run.side.irradiance_w_m2))
        ),
        (0.05, 0.1),
    ),
    TrialWorth(
        TrialKind.BASE_BOND,
        to_say(
            "{cone_shares} cones on feet of falling size: measure at which height each let go",
            cone_shares=len(CONE_SHARES),
        ),
        45.0,
        20.0 * ML_M3,
        lambda run: np.log(run.bond_limit_m()[:, :1] / run.load.layer_m[0]),
        (0.15,),
    ),
    TrialWorth(
        TrialKind.LEVEL_CHECK,
        to_say("a thin pad under each corner and the middle: measure their thickness"),
        20.0,
        5.0 * ML_M3,
        lambda run: run.side.unlevel_m[:, None],
        (1.0e-5,),
    ),
    TrialWorth(
        TrialKind.DETAIL_LADDER,
        f"walls, gaps and pins under {len(LIGHTS)} lights: see the finest of each that came out",
        45.0,
        10.0 * ML_M3,
        _finest_shown,
        (0.2, 0.2, 0.2, 0.2),
    ),
)
"""Trials and by how much what they show scatters (logarithms; the gap in metres); engineering estimates, no source."""


@frozen(kw_only=True, eq=False)
class Candidate:
    """Something that could be done.

    Parameters
    ----------
    what, how, kind : str
        What, how, and whether it is a ``reading`` or a ``trial``.
    minutes, resin_m3 : float
        What it costs [min], [m3].
    shown : (S, K) ndarray
        What it would show in every world, its scatter included.
    fine : bool
        Whether it is made to tell how fine a thing comes out.
    """

    what: str
    how: str
    kind: str
    minutes: float
    resin_m3: float
    shown: Floats
    fine: bool = False

    @property
    def effort(self) -> float:
        """Minutes, with resin counted as minutes [min]."""
        return self.minutes + ML_MINUTES * self.resin_m3 / ML_M3


def candidates(case: Case, advised: Advised, *, seed: int = 4) -> tuple[Candidate, ...]:
    """Return readings and trials with what each would show in every world.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    advised : Advised
        The values advised for it.
    seed : int
        Seed of what is shown.

    Returns
    -------
    tuple of Candidate
        Readings that nobody has taken yet, and all trials that come out at least as often as not; the ladder of lights
        where nobody knows how fine this resin prints there.
    """
    rng = np.random.default_rng(seed)
    run = case.target_run(advised.settings)
    found = [_to_read(reading, case, rng) for reading in readings(case.job)]
    able = small_print_chance(run) >= EVEN
    for trial in TRIALS:
        if not (able or trial.kind is TrialKind.CURE_DEPTH):
            continue  # what would more often fail than come out teaches less than what needs no platform
        if trial.kind is TrialKind.DETAIL_LADDER and not lacks_detail(case):
            continue
        exact = trial.shows(run)
        shown = exact + np.array(trial.scatter) * rng.standard_normal(exact.shape)
        what = to_say("print the trial {value} on {name}", value=trial.kind.value, name=case.job.target.name)
        found.append(Candidate(what=what, how=trial.how, kind="trial", minutes=trial.minutes,
                               resin_m3=trial.resin_m3, shown=shown,
                               fine=trial.kind is TrialKind.DETAIL_LADDER))  # fmt: skip
    return tuple(found)


def lacks_detail(case: Case) -> bool:
    """Return whether nobody printed this resin by this recipe yet, so that its light stands on a label, and it can be set."""
    job = case.job
    settable = job.target.controller.rule("body.exposure_s").obeys is not Obeys.NO
    return settable and (case.nobody_ran or job.resin != job.resin_from)


def small_print_chance(run: Run) -> float:
    """Return how likely every layer of a small print bonds, which squeezes next to no resin [-]."""
    spare = (run.bond_limit_m() / run.load.layer_m).min(axis=1)
    return float(ndtr(np.log(spare) / RUN_SCATTER).mean())


def _to_read(reading: PossibleReading, case: Case, rng: np.random.Generator) -> Candidate:
    # It leaves that share of a standard normal unknown: so much it scatters.
    scatter = reading.leaves / math.sqrt(1.0 - reading.leaves**2)
    z = np.column_stack([case.worlds.axes[axis] for axis in reading.axes])
    shown = z + scatter * rng.standard_normal(z.shape)
    return Candidate(
        what=reading.text, how=reading.how, kind="reading", minutes=reading.minutes, resin_m3=0.0, shown=shown
    )


def saved_by_reading(case: Case, advised: Advised, *, seed: int = 4) -> dict[str, float]:
    """Return by unknown, what the reading that narrows it is expected to save in a run [s]; as :func:`next_steps` reckons.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    advised : Advised
        The values advised for it.
    seed : int
        Seed of what is shown.
    """
    rng = np.random.default_rng(seed)
    wanted, weights = _at_stake(case, advised, _run_s(case, advised))
    found: dict[str, float] = {}
    for reading in readings(case.job):
        step = _step(_to_read(reading, case, rng), wanted, weights)
        found |= dict.fromkeys(reading.axes, step.saves_s)
    return found


def next_steps(case: Case, advised: Advised, *, run_s: float, most: int = 5) -> tuple[NextStep, ...]:
    """Return what to do next, the most time saved for its effort first.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    advised : Advised
        The values advised for it.
    run_s : float
        Time of a run [s].
    most : int
        How many to return.

    Returns
    -------
    tuple of NextStep
        Those that narrow nothing are left out.  Where nobody knows how fine the job prints, what tells it is among them.

    Notes
    -----
    A settle advised covers a share c of the worlds: of a range with the standard deviation s it waits about z_c s longer
    than it would if all were known.  Narrowing s to a share f of it saves z_c s (1 - f) in each layer that waits so
    long.  A chance of failing costs the run: knowing it better lets one act on it, which is valued as the share of its
    standard deviation removed.

    References
    ----------
    Raiffa and Schlaifer, *Applied Statistical Decision Theory* (1961), chapter 4 (preposterior analysis). [raiffa:1961]
    """
    wanted, weights = _at_stake(case, advised, run_s)
    told = [(_step(c, wanted, weights), c) for c in candidates(case, advised)]
    worth = [pair for pair in told if pair[0].share_left < 1.0 - LEAST_WORTH]
    worth.sort(key=lambda pair: (-pair[0].saves_s / pair[1].effort, pair[0].share_left))
    first = worth[:most]
    fine = next((pair for pair in worth if pair[1].fine), None)
    if fine is not None and fine not in first:
        first[-1] = fine
    return tuple(step for step, _ in first)


def steps_of(case: Case, advised: Advised) -> tuple[NextStep, ...]:
    """Return :func:`next_steps` for the run that the advice makes."""
    return next_steps(case, advised, run_s=_run_s(case, advised))


def _run_s(case: Case, advised: Advised) -> float:
    layers = case.target_study.layers
    return case.target_times(advised.settings, layers=layers, settle_s=advised.settle_s).total_s


def _at_stake(case: Case, advised: Advised, run_s: float) -> tuple[dict[str, Floats], dict[str, float]]:
    """What every world needs of each setting and its chance, and what a standard deviation of each costs [s]."""
    wanted = {name: values for name, values in advised.ranges.items() if np.isfinite(values).mean() > 0.5}
    wanted["chance"] = advised.outcome.chance()
    if lacks_detail(case):
        wanted[DETAIL] = _finest(case.target_run(advised.settings), 1.0, Quantity.WALL)
    return wanted, {name: _seconds_for_deviation(name, case, advised, run_s) for name in wanted}


def _seconds_for_deviation(name: str, case: Case, advised: Advised, run_s: float) -> float:
    """Seconds a run that one standard deviation of a range costs."""
    if name == "chance":
        return run_s
    if name not in SETTLES:
        return 0.0
    base = min(advised.settings.base_layers, case.target_study.layers)
    layers = base if name == "base.settle_s" else case.target_study.layers - base
    return layers * float(ndtri(case.job.confidence))


def _step(candidate: Candidate, wanted: dict[str, Floats], weights: dict[str, float]) -> NextStep:
    left, saves = {}, 0.0
    for name, values in wanted.items():
        if name == DETAIL and not candidate.fine:
            continue
        finite = np.isfinite(values)
        # A few far worlds must not decide: ranks would hide the seconds, so the far tail is brought in instead.
        cut = np.minimum(values[finite], np.quantile(values[finite], 0.99))
        left[name] = share_left(wanted=cut, shown=candidate.shown[finite])
        saves += weights[name] * float(cut.std()) * (1.0 - left[name])
    setting = min(left, key=lambda n: left[n])
    return NextStep(
        what=candidate.what, how=candidate.how, kind=candidate.kind, setting=setting, share_left=left[setting],
        saves_s=saves, minutes=candidate.minutes, resin_m3=candidate.resin_m3,
    )  # fmt: skip
