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
    setting_value,
    significant,
    unit_label,
)
from vatwright.records.notebook import Change, JobPage, RunPage, TablePage, Touched, Version
from vatwright.records.run import KEPT_ONLY, reading_unit
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station
from vatwright.units import ZERO_CELSIUS_K, from_si
from vatwright.wording import day, moment, say, say_many

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping, Sequence

    from vatwright.records.run import Event, Reading, RunOutcome
    from vatwright.services.note_outcome import Noted


def _counted(kind: str, number: int) -> str:
    """Return how many of a kind there are."""
    return {
        "machine": say_many(number, "{n} machine", "{n} machines"),
        "resin": say_many(number, "{n} resin", "{n} resins"),
        "recipe": say_many(number, "{n} recipe", "{n} recipes"),
        "film": say_many(number, "{n} film", "{n} films"),
        "screen": say_many(number, "{n} screen", "{n} screens"),
        "lot": say_many(number, "{n} lot", "{n} lots"),
        "station": say_many(number, "{n} station", "{n} stations"),
        "price": say_many(number, "{n} price", "{n} prices"),
        "job": say_many(number, "{n} job", "{n} jobs"),
        "run": say_many(number, "{n} run", "{n} runs"),
    }[kind]


def shelf_text(kinds: Mapping[str, Mapping[str, Any]], address: str, older: Mapping[str, int] | None = None) -> str:
    """Return what a notebook holds, a kind a paragraph, and how many older ones of a kind are not listed."""
    more = older or {}
    lines = [say("Notebook {address}", address=address)]
    for kind, listed in kinds.items():
        if not listed:
            continue
        newest = say("the newest ") if more.get(kind) else ""
        lines += ["", newest + _counted(kind, len(listed)), *(f"  {entry_line(entry)}" for entry in listed.values())]
        if more.get(kind):
            lines.append(say("  and {more:,} older: vatwright shop show {kind} --all", more=more[kind], kind=kind))
    if not any(kinds.values()):
        lines += ["", say("Nothing yet. Next: vatwright shop add shop.toml, or vatwright note JOB.toml held")]
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
    return say(": {resin} on {machine}", resin=page.resin, machine=page.machine) if page.kind == "recipe" else ""


def _film(film: FittedFilm) -> str:
    what = say(": {material}on {machine}", material=film.material + " " if film.material else "", machine=film.machine)
    return say(
        "{what}, {layers} layers, {hours}{days}",
        what=what,
        layers=film.layers,
        hours=_hours(film.used_s),
        days=_days(film),
    )


def _screen(screen: Screen) -> str:
    return say(": in {machine}, {hours}{days}", machine=screen.machine, hours=_hours(screen.used_s), days=_days(screen))


def _hours(time_s: float) -> str:
    return f"{fixed(bench(time_s, 'h'), 1)} h"


def _mm(length_m: float) -> str:
    return fixed(bench(length_m, "mm"), 0)


def _days(item: FittedFilm | Screen) -> str:
    fitted = say(", fitted {fitted}", fitted=day(item.fitted)) if item.fitted else ""
    return fitted + (say(", removed {removed}", removed=day(item.removed)) if item.removed else "")


def _lot(lot: Lot) -> str:
    opened = say(", opened {opened}", opened=day(lot.opened)) if lot.opened else ""
    expires = say(", good until {expires}", expires=day(lot.expires)) if lot.expires else ""
    return say(
        ": {resin}, {left} ml left{opened}{expires}",
        resin=lot.resin,
        left=fixed(bench(lot.left_m3, "ml"), 0),
        opened=opened,
        expires=expires,
    )


def _station(station: Station) -> str:
    size = " x ".join(map(_mm, (station.width_m, station.depth_m, station.height_m)))
    bath = (
        f", {fixed(station.bath_m3 * 1e3, 1)} l{say(' of {solvent}', solvent=station.solvent) if station.solvent else ''}"
        if station.bath_m3
        else ""
    )
    return f": {say(station.kind)}, {size} mm{bath}"


def _price(price: Price) -> str:
    return say(": {amount:g} a {per}", amount=price.amount, per=price.per)


def _job(job: JobPage) -> str:
    return say(": {recipe} to {machine}, with {resin}", recipe=job.recipe, machine=job.machine, resin=job.resin)


def _run(page: RunPage) -> str:
    return f": {run_words(page.outcome)}"


_LINES: dict[type, Any] = {
    TablePage: _page, FittedFilm: _film, Screen: _screen, Lot: _lot, Station: _station, Price: _price, JobPage: _job,
    RunPage: _run,
}  # fmt: skip


def run_words(outcome: RunOutcome) -> str:
    """Return a run in a few words."""
    seen = ", ".join(_event(e) for e in outcome.events)
    said = say(", said {chance} before", chance=percent(outcome.prediction.chance)) if outcome.prediction else ""
    verdict = say("held") if outcome.held else say("failed")
    return say(
        "{at}, {job} on {machine}: {verdict}{seen}{said}",
        at=moment(outcome.at),
        job=outcome.job,
        machine=outcome.machine,
        verdict=verdict,
        seen=": " + seen if seen else "",
        said=said,
    )


def _event(event: Event) -> str:
    what = say(SYMPTOMS[event.what]) + ("" if event.layer is None else say(" at layer {layer}", layer=event.layer))
    if event.x_m is None or event.y_m is None:
        return what
    return say("{what} at x {mm}, y {mm_2} mm", what=what, mm=_mm(event.x_m), mm_2=_mm(event.y_m))


def reading_words(reading: Reading) -> str:
    """Return a reading with its uncertainty, in the unit it is noted in."""
    unit, called = reading_unit(reading.quantity), say(QUANTITIES[reading.quantity])
    value, sigma = reading.value, reading.sigma
    if unit == "C":
        return f"{called} {fixed(value - ZERO_CELSIUS_K, 1)} ± {significant(sigma, 1)} °C"
    value, sigma = from_si(value, unit), from_si(sigma, unit)
    digits = max(decimals_for(sigma), 0)
    return f"{called} {fixed(value, digits)} ± {significant(sigma, 2)} {unit_label(unit)}"


def change_text(change: Change) -> str:
    """Return one change on a line."""
    touched = ", ".join(_touched(t) for t in change.touched[:4])
    more = say(" and {touched} more", touched=len(change.touched) - 4) if len(change.touched) > 4 else ""
    undone = say("  (taken back by {undone_by})", undone_by=change.undone_by) if change.undone_by else ""
    return one_line(
        say(
            "{number}  {at} UTC  {what}: {touched}{more}{undone}",
            number=change.number,
            at=moment(change.at),
            what=one_line(change.what),
            touched=touched,
            more=more,
            undone=undone,
        )
    )


def _touched(entry: Touched) -> str:
    name = entry.name[:8] if entry.kind == "job" else entry.name  # a job goes by a digest of all it holds
    return f"{entry.kind} {name} {say(entry.verb)}"


def changes_text(changes: Sequence[Change]) -> str:
    """Return changes, the last one last."""
    return "\n".join(change_text(c) for c in changes) or say("No change yet.")


def versions_text(versions: Iterable[Version]) -> str:
    """Return every saved version of a recipe, the last one last."""
    return "\n\n".join(
        f"# {say('saved {at} UTC', at=f'{day(v.saved)} {v.saved:%H:%M:%S}')}\n{v.document.rstrip()}" for v in versions
    )


def kept_text(change: Change | None, address: str, *, same: int) -> str:
    """Return what came of keeping entries."""
    if change is None:
        return say("{address}: all {same} were there already; nothing changed.", address=address, same=same)
    lines = [say("{address}, change {number}: {what}", address=address, number=change.number, what=change.what)]
    lines += [f"  {one_line(_touched(t))}" for t in change.touched]
    if same:
        lines.append(say("  {same} more as they were", same=same))
    return "\n".join([*lines, say("Take it back: vatwright shop undo {number}", number=change.number)])


def noted_text(noted: Noted, address: str) -> str:
    """Return what was noted, and how to take it back."""
    outcome = noted.outcome
    if noted.change is None:
        return say("Run {run} was in {address} already: nothing changed.", run=outcome.run, address=address)
    verdict = say("held") if outcome.held else say("failed")
    lines = [say("Noted in {address}: run {run}, {verdict}.", address=address, run=outcome.run, verdict=verdict)]
    lines += [say("  seen: {event}", event=_event(e)) for e in outcome.events]
    lines += [say("  read: {reading_words}", reading_words=reading_words(r)) for r in outcome.readings]
    lines += [
        say("  set: {setting_called} {name}", setting_called=setting_called(name), name=setting_value(name, value))
        for name, value in outcome.settings.items()
    ]
    if outcome.prediction is not None:
        p = outcome.prediction
        chances = percent_range(p.chance_low, p.chance_high)
        lines.append(
            say("  said before: holds in {chance} of runs ({chances})", chance=percent(p.chance), chances=chances)
        )
    lines += [f"  {line}" for line in noted.used]
    lines += [
        say("  note: {why}", why=why) for what, why in KEPT_ONLY.items() if what in {e.what for e in outcome.events}
    ]
    lines.append(say("Take it back: vatwright shop undo {number}", number=noted.change.number))
    return "\n".join(lines)
