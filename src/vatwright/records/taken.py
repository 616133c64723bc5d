"""What was taken away of waits and rises on purpose, and why nothing was.  SI throughout."""

from __future__ import annotations

from enum import StrEnum

from attrs import frozen

SAFE = 0.95
"""Nothing is taken away below this chance, or today's where that is less [-]: a run that fails costs all its time, and what a
step saves is seldom a twentieth of it; engineering estimate, no source."""


def least_chance(*, asked: float, today: float) -> float:
    """Return the chance below which nothing is taken away [-], of the one asked for and that of today's settings.

    Examples
    --------
    >>> least_chance(asked=0.9, today=0.94), least_chance(asked=0.9, today=0.98), least_chance(asked=0.97, today=0.98)
    (0.94, 0.95, 0.97)
    """
    return max(asked, min(SAFE, today))


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
