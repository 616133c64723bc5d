"""What is due on a machine: film, screen, vat and resin, from what the notebook has counted."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

from vatwright.records.run import Quantity
from vatwright.records.upkeep import Counted, Due, Task, Upkeep

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vatwright.records.run import RunOutcome
    from vatwright.records.stock import FittedFilm, Screen, Stock

USUAL = Upkeep(film_layers=30_000, screen_s=2000 * 3600.0, filter_runs=10, vat_s=100 * 3600.0)
"""Counted how much use each is due where nobody said; common practice, no source."""

SOON = 0.9
"""Told from this share of its limit on [-]; engineering estimate."""


def due_on(machine: str, upkeep: Upkeep, stock: Stock, runs: Sequence[RunOutcome]) -> tuple[Due, ...]:
    """Return what is due on a machine or soon will be, what is due first.

    Parameters
    ----------
    machine : str
        Its name.
    upkeep : Upkeep
        What the shop says of it; common practice stands in for what it does not say.
    stock : Stock
        Films and screens with what they have done.
    runs : sequence of RunOutcome
        Runs noted on it, in any order.

    Notes
    -----
    A failed run leaves scraps: the resin is due for the filter from the first failure since the vat was last cleaned.
    """
    found = [
        *_films(machine, upkeep, stock.films),
        *_screens(machine, upkeep, stock.screens),
        *_vat(machine, upkeep, runs),
    ]
    return tuple(sorted((d for d in found if d.used >= SOON * d.limit), key=lambda d: -d.used / d.limit))


def film_layers(machine: str, films: Sequence[FittedFilm]) -> int | None:
    """Return the layers that the film on a machine has released; None where no film, or more than one, is said to be on it."""
    here = [film.layers for film in films if film.machine == machine and film.removed is None]
    return here[0] if len(here) == 1 else None


def _films(machine: str, upkeep: Upkeep, films: Sequence[FittedFilm]) -> Iterator[Due]:
    limit = upkeep.film_layers or USUAL.film_layers or 0
    for film in films:
        if film.machine == machine and film.removed is None:
            yield Due(
                task=Task.FILM, machine=machine, what=film.name, after=Counted.LAYERS, used=film.layers, limit=limit,
                stated=upkeep.film_layers is not None, since=film.fitted,
            )  # fmt: skip


def _screens(machine: str, upkeep: Upkeep, screens: Sequence[Screen]) -> Iterator[Due]:
    limit = upkeep.screen_s or USUAL.screen_s or 0.0
    for screen in screens:
        if screen.machine == machine and screen.removed is None:
            yield Due(
                task=Task.SCREEN, machine=machine, what=screen.name, after=Counted.HOURS, used=screen.used_s, limit=limit,
                stated=upkeep.screen_s is not None, since=screen.fitted,
            )  # fmt: skip


def _vat(machine: str, upkeep: Upkeep, runs: Sequence[RunOutcome]) -> Iterator[Due]:
    """Vat and resin since they were last cleaned: by failures where there were any, by runs and hours else."""
    since = [r for r in runs if r.machine == machine and (upkeep.cleaned is None or r.at.date() > upkeep.cleaned)]
    failed, printed_s = sum(not r.held for r in since), sum(map(_printed_s, since))
    of_vat = partial(Due, machine=machine, since=upkeep.cleaned)
    if failed:
        yield of_vat(task=Task.FILTER, after=Counted.FAILURE, used=failed, limit=1)
    else:
        most, said = upkeep.filter_runs or USUAL.filter_runs or 0, upkeep.filter_runs is not None
        yield of_vat(task=Task.FILTER, after=Counted.RUNS, used=len(since), limit=most, stated=said)
    most_s, said = upkeep.vat_s or USUAL.vat_s or 0.0, upkeep.vat_s is not None
    yield of_vat(task=Task.VAT, after=Counted.HOURS, used=printed_s, limit=most_s, stated=said)


def _printed_s(run: RunOutcome) -> float:
    """How long a run printed: as read, else as its sheet had said; 0 where neither is known [s]."""
    read = [r.value for r in run.readings if r.quantity == Quantity.RUN_TIME]
    return read[-1] if read else (run.prediction.run_time_s if run.prediction else 0.0)
