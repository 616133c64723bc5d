"""A notebook in words, a line each: what it holds, what changed, what was noted."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.names import QUANTITIES, SYMPTOMS, setting_called
from vatwright.answers.numbers import (
    bench,
    decimals_for,
    fixed,
    one_line,
    percent,
    percent_range,
    plural,
    setting_value,
    significant,
    unit_label,
)
from vatwright.records.notebook import Change, JobPage, RunPage, TablePage, Touched, Version
from vatwright.records.run import KEPT_ONLY, reading_unit
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station
from vatwright.units import ZERO_CELSIUS_K, from_si

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from vatwright.records.run import Event, Reading, RunOutcome
    from vatwright.services.note_outcome import Noted


def shelf_text(kinds: Mapping[str, Mapping[str, Any]], address: str, older: Mapping[str, int] | None = None) -> str:
    """Return what a notebook holds, a kind a paragraph, and how many older ones of a kind are not listed."""
    more = older or {}
    lines = [f"Notebook {address}"]
    for kind, listed in kinds.items():
        if not listed:
            continue
        newest = "the newest " if more.get(kind) else ""
        lines += ["", newest + plural(len(listed), kind), *(f"  {entry_line(entry)}" for entry in listed.values())]
        if more.get(kind):
            lines.append(f"  and {more[kind]:,} older: vatwright shop show {kind} --all")
    if not any(kinds.values()):
        lines += ["", "Nothing yet. Next: vatwright shop add shop.toml, or vatwright note JOB.toml held"]
    return "\n".join(lines)


def entry_text(entry: Any) -> str:
    """Return all that is kept of one entry."""
    if isinstance(entry, TablePage | JobPage | RunPage):
        return entry.document.rstrip("\n")
    return entry_line(entry)


def entry_line(entry: Any) -> str:
    """Return one entry on a line."""
    return one_line(f"{entry.name}{_LINES[type(entry)](entry)}")


def _page(page: TablePage) -> str:
    return f": {page.resin} on {page.machine}" if page.kind == "recipe" else ""


def _film(film: FittedFilm) -> str:
    what = f": {film.material + ' ' if film.material else ''}on {film.machine}"
    return f"{what}, {film.layers} layers, {_hours(film.used_s)}{_days(film)}"


def _screen(screen: Screen) -> str:
    return f": in {screen.machine}, {_hours(screen.used_s)}{_days(screen)}"


def _hours(time_s: float) -> str:
    return f"{fixed(bench(time_s, 'h'), 1)} h"


def _mm(length_m: float) -> str:
    return fixed(bench(length_m, "mm"), 0)


def _days(item: FittedFilm | Screen) -> str:
    fitted = f", fitted {item.fitted}" if item.fitted else ""
    return fitted + (f", removed {item.removed}" if item.removed else "")


def _lot(lot: Lot) -> str:
    opened = f", opened {lot.opened}" if lot.opened else ""
    expires = f", good until {lot.expires}" if lot.expires else ""
    return f": {lot.resin}, {fixed(bench(lot.left_m3, 'ml'), 0)} ml left{opened}{expires}"


def _station(station: Station) -> str:
    size = " x ".join(map(_mm, (station.width_m, station.depth_m, station.height_m)))
    bath = (
        f", {fixed(station.bath_m3 * 1e3, 1)} l{' of ' + station.solvent if station.solvent else ''}"
        if station.bath_m3
        else ""
    )
    return f": {station.kind}, {size} mm{bath}"


def _price(price: Price) -> str:
    return f": {price.amount:g} a {price.per}"


def _job(job: JobPage) -> str:
    return f": {job.recipe} to {job.machine}, with {job.resin}"


def _run(page: RunPage) -> str:
    return f": {run_words(page.outcome)}"


_LINES: dict[type, Any] = {
    TablePage: _page, FittedFilm: _film, Screen: _screen, Lot: _lot, Station: _station, Price: _price, JobPage: _job,
    RunPage: _run,
}  # fmt: skip


def run_words(outcome: RunOutcome) -> str:
    """Return a run in a few words."""
    seen = ", ".join(_event(e) for e in outcome.events)
    said = f", said {percent(outcome.prediction.chance)} before" if outcome.prediction else ""
    verdict = "held" if outcome.held else "failed"
    return (
        f"{outcome.at:%Y-%m-%d %H:%M}, {outcome.job} on {outcome.machine}: {verdict}{': ' + seen if seen else ''}{said}"
    )


def _event(event: Event) -> str:
    what = SYMPTOMS[event.what] + ("" if event.layer is None else f" at layer {event.layer}")
    if event.x_m is None or event.y_m is None:
        return what
    return f"{what} at x {_mm(event.x_m)}, y {_mm(event.y_m)} mm"


def reading_words(reading: Reading) -> str:
    """Return a reading with its uncertainty, in the unit it is noted in."""
    unit, called = reading_unit(reading.quantity), QUANTITIES[reading.quantity]
    value, sigma = reading.value, reading.sigma
    if unit == "C":
        return f"{called} {value - ZERO_CELSIUS_K:.1f} ± {significant(sigma, 1)} °C"
    value, sigma = from_si(value, unit), from_si(sigma, unit)
    digits = max(decimals_for(sigma), 0)
    return f"{called} {fixed(value, digits)} ± {significant(sigma, 2)} {unit_label(unit)}"


def change_text(change: Change) -> str:
    """Return one change on a line."""
    touched = ", ".join(_touched(t) for t in change.touched[:4])
    more = f" and {len(change.touched) - 4} more" if len(change.touched) > 4 else ""
    undone = f"  (taken back by {change.undone_by})" if change.undone_by else ""
    return one_line(f"{change.number}  {change.at:%Y-%m-%d %H:%M} UTC  {change.what}: {touched}{more}{undone}")


def _touched(entry: Touched) -> str:
    name = entry.name[:8] if entry.kind == "job" else entry.name  # a job goes by a digest of all it holds
    return f"{entry.kind} {name} {entry.verb}"


def changes_text(changes: Sequence[Change]) -> str:
    """Return changes, the last one last."""
    return "\n".join(change_text(c) for c in changes) or "No change yet."


def versions_text(versions: Iterable[Version]) -> str:
    """Return every saved version of a recipe, the last one last."""
    return "\n\n".join(f"# saved {v.saved:%Y-%m-%d %H:%M:%S} UTC\n{v.document.rstrip()}" for v in versions)


def kept_text(change: Change | None, address: str, *, same: int) -> str:
    """Return what came of keeping entries."""
    if change is None:
        return f"{address}: all {same} were there already; nothing changed."
    lines = [f"{address}, change {change.number}: {change.what}"]
    lines += [f"  {one_line(_touched(t))}" for t in change.touched]
    if same:
        lines.append(f"  {same} more as they were")
    return "\n".join([*lines, f"Take it back: vatwright shop undo {change.number}"])


def noted_text(noted: Noted, address: str) -> str:
    """Return what was noted, and how to take it back."""
    outcome = noted.outcome
    if noted.change is None:
        return f"Run {outcome.run} was in {address} already: nothing changed."
    verdict = "held" if outcome.held else "failed"
    lines = [f"Noted in {address}: run {outcome.run}, {verdict}."]
    lines += [f"  seen: {_event(e)}" for e in outcome.events]
    lines += [f"  read: {reading_words(r)}" for r in outcome.readings]
    lines += [f"  set: {setting_called(name)} {setting_value(name, value)}" for name, value in outcome.settings.items()]
    if outcome.prediction is not None:
        p = outcome.prediction
        chances = percent_range(p.chance_low, p.chance_high)
        lines.append(f"  said before: holds in {percent(p.chance)} of runs ({chances})")
    lines += [f"  {line}" for line in noted.used]
    lines += [f"  note: {why}" for what, why in KEPT_ONLY.items() if what in {e.what for e in outcome.events}]
    lines.append(f"Take it back: vatwright shop undo {noted.change.number}")
    return "\n".join(lines)
