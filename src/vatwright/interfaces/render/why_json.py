"""``vatwright.why/1``: why a print failed as data, the unit in every key or beside the value, every number finite."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers import why as words
from vatwright.records.process import setting_unit
from vatwright.records.run import reading_unit
from vatwright.units import ZERO_CELSIUS_K, from_si
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.run import Event, Reading
    from vatwright.records.why import CauseFigure, RankedCause, Remedy, TellApart, WhySheet


@in_english
def why_json(sheet: WhySheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return the answer as ``vatwright.why/1``.

    Parameters
    ----------
    sheet : WhySheet
        What to tell.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "schema": "vatwright.why/1",
        "job": sheet.job,
        "machine": sheet.machine,
        "resin": sheet.resin,
        "room_C": _bench(sheet.room_k, "C"),
        "seen": [_event(e) for e in sheet.observed.events],
        "readings": [_reading(r) for r in sheet.observed.readings],
        "where": words.where(sheet),
        "foretold": sheet.foretold,
        "verdict": words.verdict(sheet),
        "causes": [_cause(sheet, c) for c in sheet.causes],
        "tell_apart": None if sheet.tell_apart is None else _telling(sheet, sheet.tell_apart),
        "no_model": list(words.beyond(sheet)),
        "assumed": list(words.assumed(sheet)),
        "sources": [{"key": key, "citation": cite(key)} for key in sheet.sources],
    }


def _event(event: Event) -> dict[str, Any]:
    return {
        "what": event.what.value,
        "layer": event.layer,
        "x_mm": None if event.x_m is None else from_si(event.x_m, "mm"),
        "y_mm": None if event.y_m is None else from_si(event.y_m, "mm"),
    }


def _bench(value: float, unit: str) -> float:
    if unit == "C":
        return round(value - ZERO_CELSIUS_K, 6)
    return value if unit in {"", "layers"} else from_si(value, unit)


def _reading(reading: Reading) -> dict[str, Any]:
    return {
        "quantity": reading.quantity.value,
        "value": _bench(reading.value, reading_unit(reading.quantity)),
        "at": {name: _bench(value, reading_unit(name)) for name, value in reading.at.items()},
    }


def _cause(sheet: WhySheet, cause: RankedCause) -> dict[str, Any]:
    return {
        "cause": cause.cause,
        "title": words.title(sheet, cause),
        "chance": cause.chance,
        "margin_believed": cause.margin_believed,
        "margin": cause.margin,
        "figures": [_figure(sheet, cause.figure)] if cause.figure else [],
        "for": list(words.evidence(sheet, cause, cause.speaks_for)),
        "against": list(words.evidence(sheet, cause, cause.speaks_against)),
        "mend": _mend(cause.mend, words.mend(sheet, cause)),
    }


def _figure(sheet: WhySheet, figure: CauseFigure) -> dict[str, Any]:
    values = {n: _bench(getattr(figure, n), figure.unit) for n in ("believed", "low", "middle", "high")}
    return {"what": words.figure_name(sheet, figure), "unit": figure.unit, **values}


def _mend(mend: Remedy, do: str) -> dict[str, Any]:
    unit = None if mend.value is None else setting_unit(mend.setting)
    value = None if mend.value is None or unit is None else _bench(mend.value, unit)
    return {"do": do, "setting": mend.setting if unit else None, "value": value, "unit": unit, "minutes": mend.minutes}


def _telling(sheet: WhySheet, tell: TellApart) -> dict[str, Any]:
    return {
        "first": tell.first,
        "second": tell.second,
        "reading": words.reading(sheet, tell),
        "quantity": tell.quantity or None,
        "trial": tell.trial or None,
        "unit": tell.unit,
        "if_first": _bench(tell.if_first, tell.unit),
        "if_second": _bench(tell.if_second, tell.unit),
        "tip": None if tell.tip is None else _bench(tell.tip, tell.unit),
        "minutes": tell.minutes,
        "information": tell.information,
        "sure_first": tell.sure_first,
        "sure_second": tell.sure_second,
    }
