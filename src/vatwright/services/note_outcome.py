"""Note what happened in a run: the run with its prediction, its job as it was, and what film, screen and lot gave for it."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.records.notebook import Change, Entry, JobPage, RunPage
from vatwright.records.run import Prediction, Quantity, RunOutcome, SetByHand
from vatwright.records.stock import FittedFilm, Screen, Stock
from vatwright.records.tried import as_set_by_hand
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from vatwright.records.plan import CarrySheet
    from vatwright.services.ports import Notebook

    Floats = NDArray[np.float64]


class Noted(NamedTuple):
    """What was noted.

    Parameters
    ----------
    outcome : RunOutcome
        As it stands in the notebook now.
    change : Change or None
        The change, None where the very same run was there already.
    used : tuple of str
        What the run took from the shop's stock, a sentence each.
    """

    outcome: RunOutcome
    change: Change | None
    used: tuple[str, ...]


@frozen(kw_only=True)
class Use:
    """What one run takes: layers, time [s] and resin [m3]."""

    layers: int
    time_s: float
    resin_m3: float


def prediction_of(sheet: CarrySheet, *, release: str) -> Prediction:
    """Return what a carry sheet says of one run of its fullest plate, to be held against what happened.

    Parameters
    ----------
    sheet : CarrySheet
        The sheet.
    release : str
        Version of the program.
    """
    return Prediction(
        chance_low=sheet.success.low,
        chance=sheet.success.mean,
        chance_high=sheet.success.high,
        run_time_s=_plate_time_s(sheet),
        first_layer_m=float(sheet.layers.thickness_m[0]),
        release=release,
    )


def _plate_time_s(sheet: CarrySheet) -> float:
    if sheet.time.to_plates == 1 or sheet.hand is None:
        return sheet.time.to_s / max(1, sheet.time.to_plates)
    return sheet.hand.total_s


def use_of(sheet: CarrySheet, outcome: RunOutcome) -> Use:
    """Return what a run took: of the sheet's plate all of it, or the share of its time that was read."""
    planned_s = _plate_time_s(sheet)
    read_s = [r.value for r in outcome.readings if r.quantity == Quantity.RUN_TIME]
    time_s = read_s[-1] if read_s else planned_s
    share = 1.0 if outcome.held else min(1.0, time_s / planned_s)
    need = sheet.resin_need
    layers = round(share * len(sheet.layers.thickness_m))
    return Use(layers=layers, time_s=time_s, resin_m3=share * (need.parts_m3 + need.drag_out_m3))


def with_fitted(outcome: RunOutcome, stock: Stock) -> RunOutcome:
    """Return a run with the film and the screen that are fitted to its machine, where it names none and there is one."""
    films = [f.name for f in stock.films if f.machine == outcome.machine and _in_use(f, outcome)]
    screens = [s.name for s in stock.screens if s.machine == outcome.machine and _in_use(s, outcome)]
    return evolve(
        outcome,
        film=outcome.film or (films[0] if len(films) == 1 else ""),
        screen=outcome.screen or (screens[0] if len(screens) == 1 else ""),
    )


def _in_use(item: FittedFilm | Screen, outcome: RunOutcome) -> bool:
    day = outcome.at.date()
    return (item.fitted is None or item.fitted <= day) and (item.removed is None or day <= item.removed)


def note_outcome(
    notebook: Notebook,
    outcome: RunOutcome,
    job: JobPage,
    write: Callable[[RunOutcome, JobPage], RunPage],
    *,
    sheet: CarrySheet | None = None,
) -> Noted:
    """Keep a run, its job, and what it took from the stock, as one change.

    Parameters
    ----------
    notebook : Notebook
        Where.
    outcome : RunOutcome
        What happened.
    job : JobPage
        The job it was a run of.
    write : callable
        Gives the page of a run.
    sheet : CarrySheet or None
        The carry of the job: gives what the run took; without it the stock stays as it is.

    Raises
    ------
    InputError
        Where a different run of that name is noted already.
    """
    outcome = with_fitted(outcome, notebook.stock())
    known = {run.run: run for run in notebook.runs(machine=outcome.machine)}.get(outcome.run)
    if known is not None and _same(known, outcome):
        return Noted(known, None, ())  # what was said before the run stays what was said first
    outcome = outcome if sheet is None else as_printed(outcome, sheet)
    page = write(outcome, job)
    if sheet is None:
        return Noted(outcome, notebook.keep(f"run {outcome.run}", [job, page]).change, ())
    use = use_of(sheet, outcome)
    used: list[str] = []

    def entries(stock: Stock) -> list[Entry]:
        counted, said = _counted(stock, outcome, use)
        used.extend(said)
        return [job, page, *counted]

    change = notebook.keep(f"run {outcome.run}", entries).change
    return Noted(outcome, change, tuple(used))


def _same(known: RunOutcome, outcome: RunOutcome) -> bool:
    """Whether a run is noted already; what its sheet said of settings was filled in then."""
    said = {name: value for name, value in known.settings.items() if name in outcome.settings}
    bare = evolve(known, prediction=None, settings=said, hands=outcome.hands)
    return bare == evolve(outcome, prediction=None)


VARIES = ("exposure_s", "settle_s", "refill_s", "peel_lift_mm", "clear_lift_mm")
"""What noted runs move on a sheet."""


def as_printed(outcome: RunOutcome, sheet: CarrySheet) -> RunOutcome:
    """Return a run with the settings of the sheet it was printed from, where nobody could work them out again later.

    Parameters
    ----------
    outcome : RunOutcome
        The run; what it says itself goes before.
    sheet : CarrySheet
        The sheet.  One that no noted run and no trimming has moved can be worked out again, and the run is left as it is.
    """
    if sheet.noted is None and sheet.trimmed is None:
        return outcome
    said = {a.name: a.to_value for a in sheet.settings if a.name.partition(".")[2] in VARIES}
    by_hand = sheet.hand is not None or bool(outcome.hands)
    stated = any(name.endswith(".settle_s") for name in outcome.settings)
    if not by_hand or stated:
        return evolve(outcome, settings=said | outcome.settings)
    said = {name: value for name, value in said.items() if not name.endswith(".settle_s")}
    return evolve(outcome, settings=said | outcome.settings, hands=_steps(sheet.layers.settle_given_s, outcome.hands))


def _steps(settle_s: Floats, hands: Sequence[SetByHand]) -> tuple[SetByHand, ...]:
    """The settles that layers had, as steps: the sheet's, except where a hand set another."""
    given = np.asarray(as_set_by_hand(settle_s, hands))
    starts = [0, *(np.flatnonzero(np.diff(given)) + 1).tolist()]
    return tuple(SetByHand(layer=n, settle_s=float(given[n])) for n in starts)


def _counted(stock: Stock, outcome: RunOutcome, use: Use) -> tuple[list[Entry], tuple[str, ...]]:
    """Return the film, screen and lot after the run, and what changed about them in words."""
    entries: list[Entry] = []
    used = []
    for film in stock.films:
        if film.name == outcome.film:
            entries.append(evolve(film, layers=film.layers + use.layers, used_s=film.used_s + use.time_s))
            used.append(
                to_say(
                    "film {name}: {layers} layers more, {layers_2} in all",
                    name=film.name,
                    layers=use.layers,
                    layers_2=film.layers + use.layers,
                )
            )
    for screen in stock.screens:
        if screen.name == outcome.screen:
            entries.append(evolve(screen, used_s=screen.used_s + use.time_s))
            hours = (screen.used_s + use.time_s) / 3600.0
            used.append(to_say("screen {name}: {hours:.1f} h in all", name=screen.name, hours=hours))
    for lot in stock.lots:
        if lot.name == outcome.lot:
            left_m3 = max(0.0, lot.left_m3 - use.resin_m3)
            entries.append(evolve(lot, left_m3=left_m3))
            used.append(to_say("lot {name}: about {left:.0f} ml left", name=lot.name, left=left_m3 * 1e6))
    return entries, tuple(used)
