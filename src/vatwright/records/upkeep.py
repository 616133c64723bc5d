"""What wears and clogs: after how much use each is due, and what is due now.  SI throughout."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

from attrs import field, frozen, validators

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_count = validators.and_(validators.ge(1), validators.le(1_000_000_000))


@frozen(kw_only=True)
class Upkeep:
    """After how much use a machine's parts are due, and when its vat was last emptied; None where nobody said.

    Parameters
    ----------
    film_layers : int or None
        Layers a film releases before it is changed.
    screen_s : float or None
        Printing time of a screen before it is read or changed [s].
    filter_runs : int or None
        Runs after which the resin is filtered.
    vat_s : float or None
        Printing time after which vat and film are cleaned and looked at [s].
    cleaned : date or None
        Day on which the vat was last emptied and cleaned, and the resin filtered.
    """

    film_layers: int | None = field(default=None, validator=validators.optional(_count))
    screen_s: float | None = field(default=None, validator=validators.optional(_positive))
    filter_runs: int | None = field(default=None, validator=validators.optional(_count))
    vat_s: float | None = field(default=None, validator=validators.optional(_positive))
    cleaned: date | None = None


class Task(StrEnum):
    """What is done."""

    FILM = "film"
    SCREEN = "screen"
    FILTER = "filter"
    VAT = "vat"


class Counted(StrEnum):
    """What it is due after."""

    LAYERS = "layers"
    HOURS = "hours"
    RUNS = "runs"
    FAILURE = "failure"


@frozen(kw_only=True)
class Due:
    """One thing that is due on a machine, or soon will be.

    Parameters
    ----------
    task : Task
        What.
    machine : str
        Where.
    what : str
        Which film or screen; empty for the vat and its resin.
    after : Counted
        What is counted.
    used, limit : float
        How much of it there was, and after how much it is due: layers, runs and failures as numbers, hours in seconds [s].
    stated : bool
        Whether the shop stated the limit; else it is common practice.
    since : date or None
        From which day on it is counted; None where from the first run noted.
    """

    task: Task
    machine: str
    what: str = ""
    after: Counted
    used: float
    limit: float
    stated: bool = False
    since: date | None = None

    @property
    def now(self) -> bool:
        """Whether it is due; else it soon will be."""
        return self.used >= self.limit
