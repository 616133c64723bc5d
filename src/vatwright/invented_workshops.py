"""How sheets fared in invented workshops, whose truth they did not know: what `make score` wrote beside this file."""

from __future__ import annotations

import json
from functools import cache
from importlib import resources
from typing import NamedTuple


class SaidAndHeld(NamedTuple):
    """Runs, the chance said of them on average, how many held, and the 90 % range of the share that this count allows [-]."""

    said: float
    held: int
    runs: int
    low: float
    high: float


class OverLeast(NamedTuple):
    """Time of the so-manyth run over the least with which it would have held, all workshops together [-], and how many."""

    run: int
    ratio: float
    workshops: int


class InventedWorkshops(NamedTuple):
    """The score of a row of invented workshops.

    Parameters
    ----------
    made, command : str
        Day, and the command that makes it.
    workshops, runs : int
        How many.
    first, later : SaidAndHeld
        First runs, and those after them.
    classes : tuple of SaidAndHeld
        All runs by what was said, least first.
    times : tuple of OverLeast
        Time that caution takes.
    """

    made: str
    command: str
    workshops: int
    runs: int
    first: SaidAndHeld
    later: SaidAndHeld
    classes: tuple[SaidAndHeld, ...]
    times: tuple[OverLeast, ...]


@cache
def invented_workshops() -> InventedWorkshops:
    """Return the score that came with this version.

    Examples
    --------
    >>> score = invented_workshops()
    >>> score.first.runs == score.workshops
    True
    """
    told = json.loads(resources.files("vatwright").joinpath("invented_workshops.json").read_text(encoding="utf-8"))
    return InventedWorkshops(**told | {
        "first": SaidAndHeld(*told["first"]),
        "later": SaidAndHeld(*told["later"]),
        "classes": tuple(SaidAndHeld(*row) for row in told["classes"]),
        "times": tuple(OverLeast(*row) for row in told["times"]),
    })  # fmt: skip
