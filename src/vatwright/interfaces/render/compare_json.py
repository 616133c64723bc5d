"""The same order on several machines as data: `vatwright.compare/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.compare import missing, verdict
from vatwright.answers.money import missing_sentences
from vatwright.interfaces.render.cost_json import cost_json
from vatwright.interfaces.render.data import number, span
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.cost import CompareSheet, FloorCheck, MachineSide, PayBack

SCHEMA = "vatwright.compare/1"


@in_english
def compare_json(sheet: CompareSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return a comparison as JSON-ready data.

    Parameters
    ----------
    sheet : CompareSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "schema": SCHEMA,
        "job": sheet.job,
        "pieces": sheet.pieces,
        "currency": sheet.currency,
        "verdict": verdict(sheet.sides),
        "machines": [_side(s, cite) for s in sheet.sides],
        "pays": [_pay(p) for p in sheet.pays],
        "missing": list(missing_sentences(missing(sheet))),
        "sources": {key: cite(key) for key in sheet.sources},
    }


def _side(side: MachineSide, cite: Callable[[str], str]) -> dict[str, Any]:
    return {
        "machine": side.machine,
        "why_not": side.why_not,
        "holds": side.holds,
        "layer_s": number(side.work.layer_s if side.work else 0.0),
        "platform_mm2": number(side.area_m2, "mm2"),
        "full_plate_pieces": side.work.pieces if side.work else 0,
        "full_plates_pieces_per_h": number(side.work.pieces_h if side.work else 0.0),
        "cost": None if side.cost is None else cost_json(side.cost, cite=cite),
        "floor": None if side.floor is None else _floor(side.floor),
    }


def _floor(floor: FloorCheck) -> dict[str, Any]:
    return {
        "sway_Hz": span(floor.frequency_hz),
        "calm_s": span(floor.calm_s),
        "settle_s": number(floor.settle_s),
        "still": floor.still,
        "load_kg": number(floor.load_kg),
        "carries_kg": None if floor.carries_kg is None else number(floor.carries_kg),
        "upper_bound": floor.upper_bound,
    }


def _pay(pay: PayBack) -> dict[str, Any]:
    return {
        "larger": pay.work.larger,
        "smaller": pay.work.smaller,
        "worth": number(pay.work.worth),
        "plate": number(pay.work.area),
        "slower": number(pay.work.layer),
        "fixed": None if pay.fixed is None else number(pay.fixed),
        "rent_per_piece": None if pay.rent_per_piece is None else number(pay.rent_per_piece),
        "saves_per_piece": span(pay.saves),
        "pieces": pay.pieces,
        "pieces_better": pay.pieces_range[0],
        "pieces_worse": pay.pieces_range[1],
        "months": None if pay.months is None else number(pay.months),
        "missing": list(missing_sentences(pay.missing)),
    }
