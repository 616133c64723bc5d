"""The same order on several machines as data: `vatwright.compare/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.compare import missing, verdict
from vatwright.answers.money import missing_sentences
from vatwright.interfaces.render.cost_json import cost_json
from vatwright.interfaces.render.data import Keys, Worked, as_data, number
from vatwright.records.cost import CompareSheet, FloorCheck, MachineSide, PayBack
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

SCHEMA = "vatwright.compare/1"

COMPARE: dict[type, Keys] = {
    CompareSheet: {
        "sides": "machines", "sources": None,
        "verdict": Worked(lambda sheet: verdict(sheet.sides), str),
        "missing": Worked(lambda sheet: missing_sentences(missing(sheet)), list[str]),
    },
    MachineSide: {
        "area_m2": "platform_mm2", "work": None, "cost": None,
        "layer_s": Worked(lambda side: side.work.layer_s if side.work else 0.0, float),
        "full_plate_pieces": Worked(lambda side: side.work.pieces if side.work else 0, int),
        "full_plates_pieces_per_h": Worked(lambda side: number(side.work.pieces_h if side.work else 0.0), float, plain=True),
    },
    FloorCheck: {"frequency_hz": "sway_Hz", "load_kg": "load_kg", "carries_kg": "carries_kg"},
    PayBack: {
        "work": None, "pieces_range": None, "saves": "saves_per_piece",
        "larger": Worked(lambda pay: pay.work.larger, str),
        "smaller": Worked(lambda pay: pay.work.smaller, str),
        "worth": Worked(lambda pay: pay.work.worth, float),
        "plate": Worked(lambda pay: pay.work.area, float),
        "slower": Worked(lambda pay: pay.work.layer, float),
        "pieces_better": Worked(lambda pay: pay.pieces_range[0], int | None),
        "pieces_worse": Worked(lambda pay: pay.pieces_range[1], int | None),
        "missing": Worked(lambda pay: missing_sentences(pay.missing), list[str]),
    },
}  # fmt: skip


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
    told = as_data(sheet, COMPARE)
    for side, shown in zip(sheet.sides, told["machines"], strict=True):
        shown["cost"] = None if side.cost is None else cost_json(side.cost, cite=cite)
    return {"schema": SCHEMA} | told | {"sources": {key: cite(key) for key in sheet.sources}}
