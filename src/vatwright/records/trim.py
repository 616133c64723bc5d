"""What of a run's waits and rises is needed, and what may be taken away next.  SI throughout."""

from __future__ import annotations

from attrs import frozen

from vatwright.records.learned import NextStep
from vatwright.records.plan import HandPlan, Success
from vatwright.records.process import Settings
from vatwright.records.taken import Taken, WhyNot


@frozen(kw_only=True)
class Portion:
    """What a wait or a rise is made of, in seconds or metres, and the time that each portion takes of all pieces.

    Parameters
    ----------
    setting : str
        Public name; of a rise ``body.lift_mm``, both stages together.
    need, cover, spare, rounding : float
        Needed in the middle of the range; added for what is not known; spare of the proven recipe, carried whole; from
        there to what is set.  Negative where the machine allows no more, SI.
    need_time_s, cover_time_s, spare_time_s, rounding_time_s : float
        Time of all pieces that goes into each [s].
    """

    setting: str
    need: float
    cover: float
    spare: float
    rounding: float
    need_time_s: float
    cover_time_s: float
    spare_time_s: float
    rounding_time_s: float


@frozen(kw_only=True)
class NextRun:
    """The settings to run next.

    Parameters
    ----------
    settings : Settings
        As the controller can take them.
    taken : tuple of Taken
        What differs from today's, most time first.
    hand : HandPlan or None
        What is done by hand.
    to_s : float
        All pieces on the target [s].
    success : Success
        Chance that a run holds.
    runs_left : int
        Runs until no more is worth taking, this one included, if each of them holds and teaches nothing new.
    end_s : float
        All pieces on the target, then [s].
    """

    settings: Settings
    taken: tuple[Taken, ...]
    hand: HandPlan | None
    to_s: float
    success: Success
    runs_left: int
    end_s: float


@frozen(kw_only=True)
class FrontierPoint:
    """A time with the chance that goes with it, and the thickness tolerance that it is for.

    Parameters
    ----------
    what : str
        ``today``, ``next``, ``end`` (no more worth taking), ``less`` (less of everything) or ``tolerance`` (today's plan
        for another tolerance).
    to_s : float
        All pieces on the target [s].
    mean : float
        Chance that a run holds [-].
    tolerance : float
        As a share of the layer [-]: the one asked for, or what the proof left in the middle of the range.
    """

    what: str
    to_s: float
    mean: float
    tolerance: float


@frozen(kw_only=True)
class TrimSheet:
    """What of each wait and rise is need, cover and spare, and the next settings that take some of it away.

    Parameters
    ----------
    job, target : str
        Names.
    pieces : int
        Pieces of the job.
    confidence : float
        Chance asked for [-].
    to_s : float
        All pieces today [s].
    success : Success
        Chance that a run holds today.
    portions : tuple of Portion
        What waits and rises are made of.
    next : NextRun or None
        The next settings; None where nothing is worth taking away.
    why_not : WhyNot or None
        Why nothing is.
    held : tuple of str
        Settings that the user holds.
    frontier : tuple of FrontierPoint
        Time against chance, shortest first.
    ladder : tuple of NextStep
        Readings and trials by what they may save.
    """

    job: str
    target: str
    pieces: int
    confidence: float
    to_s: float
    success: Success
    portions: tuple[Portion, ...]
    next: NextRun | None
    why_not: WhyNot | None
    held: tuple[str, ...] = ()
    frontier: tuple[FrontierPoint, ...] = ()
    ladder: tuple[NextStep, ...] = ()
