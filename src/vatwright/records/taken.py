"""What was taken away of waits and rises on purpose, and why nothing was.  SI throughout."""

from __future__ import annotations

from enum import StrEnum

from attrs import frozen


class WhyNot(StrEnum):
    """Why nothing is taken away, as a code."""

    UNSURE = "unsure"
    CHANCE = "chance"
    SMALL = "small"
    HELD = "held"
    FAILED = "failed"


@frozen(kw_only=True)
class Taken:
    """One setting before and after, SI, and the time of all pieces that this alone saves [s]."""

    setting: str
    before: float
    after: float
    saves_s: float


@frozen(kw_only=True)
class Trimmed:
    """What a sheet took away on purpose.

    Parameters
    ----------
    taken : tuple of Taken
        Settings before and after; empty where nothing was worth taking.
    from_s : float
        Time of all pieces before [s].
    mean : float
        Chance that a run would have held before [-].
    runs_left : int
        Runs until no more is worth taking, this one included.
    end_s : float
        Time of all pieces then [s].
    why_not : WhyNot or None
        Why nothing was taken.
    """

    taken: tuple[Taken, ...]
    from_s: float
    mean: float
    runs_left: int
    end_s: float
    why_not: WhyNot | None = None
