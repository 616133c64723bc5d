"""What a shop's runs have taught: what is believed now, where the model is off, how good it was, what to learn next."""

from __future__ import annotations

from typing import NamedTuple

from attrs import frozen


class Pull(NamedTuple):
    """A run that moved a belief: its name, and by how many of its prior standard deviations [-]."""

    run: str
    shift: float


@frozen(kw_only=True)
class Believed:
    """One quantity before and after the runs.

    Parameters
    ----------
    name, of : str
        What it is and whose (machine or resin; empty for what all share).
    unit : str
        Bench unit to show it in (``deg`` for radians); empty for a factor.
    before, after : tuple of float
        5, 50 and 95 % points, SI.
    share_left : float
        Width of the range after over that before, both as logarithms [-].
    moved_by : tuple of Pull
        The runs that moved it most.
    """

    name: str
    of: str
    unit: str
    before: tuple[float, float, float]
    after: tuple[float, float, float]
    share_left: float
    moved_by: tuple[Pull, ...] = ()


@frozen(kw_only=True)
class Disagreement:
    """Something that happened otherwise than the model, even after learning, finds likely.

    Parameters
    ----------
    machine : str
        Where.
    what : str
        What, in a sentence.
    chance : float
        Two-sided probability of something as far out, by the model after learning [-].
    """

    machine: str
    what: str
    chance: float


@frozen(kw_only=True)
class NextStep:
    """A reading or a trial, and what it is worth.

    Parameters
    ----------
    what, how : str
        What to do, and how.
    kind : str
        ``reading`` or ``trial``.
    setting : str
        The setting, or ``chance``, whose range it narrows most.
    share_left : float
        What it is expected to leave of that range [-].
    saves_s : float
        Time a run it is expected to save: shorter waits, and failures not had [s].
    minutes, resin_m3 : float
        What it costs [min], [m3].
    """

    what: str
    how: str
    kind: str
    setting: str
    share_left: float
    saves_s: float
    minutes: float
    resin_m3: float


@frozen(kw_only=True)
class ChanceCount:
    """Runs of which about the same chance was said.

    Parameters
    ----------
    low, high : float
        Ends of the class [-].
    said : float
        Mean chance said [-].
    held, runs : int
        How many of how many held.
    seen_low, seen_high : float
        90 % range of the share that the count allows [-].
    surprise : float
        Two-sided probability of a count as far out, had what was said been right [-].
    """

    low: float
    high: float
    said: float
    held: int
    runs: int
    seen_low: float
    seen_high: float
    surprise: float


@frozen(kw_only=True)
class TimesSaid:
    """By what factor what happened exceeds what was said: 5, 50 and 95 % points [-], over so many runs."""

    low: float
    middle: float
    high: float
    runs: int


@frozen(kw_only=True)
class CautionCost:
    """What being careful cost, beside what it cost not to be.

    Parameters
    ----------
    waited_s : float
        Time by which runs that held took longer than the quickest run of the same job here that held [s].
    lost_s : float
        Time of the runs of those jobs that failed [s].
    runs : int
        Runs of those jobs.
    """

    waited_s: float
    lost_s: float
    runs: int


@frozen(kw_only=True)
class MachineScore:
    """How good the predictions for one machine were.

    Parameters
    ----------
    machine : str
        Machine; empty for all together.
    classes : tuple of ChanceCount
        Calibration.
    brier, base_rate, skill : float
        Mean squared error of the chances, share that held, and 1 - brier/(base_rate (1 - base_rate)) [-].
    reliability, resolution, uncertainty : float
        Its parts [-].
    slope : tuple of float or None
        Slope of the log odds that came true against those said, with its standard error [-].
    run_time, first_layer : TimesSaid or None
        Factors.
    caution : CautionCost or None
        None where no job held twice.
    """

    machine: str
    classes: tuple[ChanceCount, ...]
    brier: float
    base_rate: float
    skill: float
    reliability: float
    resolution: float
    uncertainty: float
    slope: tuple[float, float] | None = None
    run_time: TimesSaid | None = None
    first_layer: TimesSaid | None = None
    caution: CautionCost | None = None


@frozen(kw_only=True)
class PlainCount:
    """What the runs alone say of a setting, without any model.

    Parameters
    ----------
    machine, resin, setting : str
        Of what.
    failed_at, held_at : float
        Greatest value that failed and least that held, SI.
    middle, scatter : float or None
        Threshold by maximum likelihood; None where failures and successes do not overlap, SI.
    runs : int
        How many.
    """

    machine: str
    resin: str
    setting: str
    failed_at: float
    held_at: float
    middle: float | None
    scatter: float | None
    runs: int


@frozen(kw_only=True)
class HeldCount:
    """What the count of a machine's runs says by itself.

    Parameters
    ----------
    machine : str
        Which.
    held, runs : int
        How many of how many held.
    low, high : float
        90 % interval of the share that holds [-].
    next_holds, next_five_hold : float
        Chance that the next run holds, and that the next five all do [-].
    fails_at_most : float
        Share of runs that fail at most, with 95 % confidence [-].
    more_to_show : int or None
        Runs that must hold before so many in a row show a share of 90 % with 95 % confidence; None after a failure.
    """

    machine: str
    held: int
    runs: int
    low: float
    high: float
    next_holds: float
    next_five_hold: float
    fails_at_most: float
    more_to_show: int | None


@frozen(kw_only=True)
class LearnSheet:
    """What the runs of a shop have taught.

    Parameters
    ----------
    machine, resin : str
        What it was asked of; empty for all.
    runs, held : int
        Runs that were used, and how many of them held.
    believed : tuple of Believed
        Beliefs that the runs moved, most narrowed first.
    disagreements : tuple of Disagreement
        Where the model is off, least likely first.
    job : str
        The job for which the next steps are worked out; empty where there is none.
    next_steps : tuple of NextStep
        Readings and trials, best first.
    scores : tuple of MachineScore
        All machines together first, then each.
    counts : tuple of HeldCount
        What the count of runs says, machine by machine.
    plain : tuple of PlainCount
        What the runs say of a setting without a model.
    left_out : tuple of str
        Runs that could not be used, and why.
    notes : tuple of str
        What was taken for granted.
    sources : tuple of str
        Keys of the sources.
    """

    machine: str
    resin: str
    runs: int
    held: int
    believed: tuple[Believed, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()
    job: str = ""
    next_steps: tuple[NextStep, ...] = ()
    scores: tuple[MachineScore, ...] = ()
    counts: tuple[HeldCount, ...] = ()
    plain: tuple[PlainCount, ...] = ()
    left_out: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()
    sources: tuple[str, ...] = ()
