"""What a job costs as data: `vatwright.cost/1`.  Amounts are in the currency the shop named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.money import missing_sentences
from vatwright.interfaces.render.after_json import after_json, bottle_json
from vatwright.interfaces.render.data import number, span
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.cost import CostSheet, Swing

SCHEMA = "vatwright.cost/1"


@in_english
def cost_json(sheet: CostSheet, *, cite: Callable[[str], str]) -> dict[str, Any]:
    """Return a cost sheet as JSON-ready data.

    Parameters
    ----------
    sheet : CostSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "schema": SCHEMA,
        "job": sheet.job,
        "machine": sheet.machine,
        "resin_name": sheet.resin,
        "currency": sheet.currency,
        "pieces": sheet.pieces,
        "plates": sheet.plates,
        "complete": sheet.complete,
        "missing": list(missing_sentences(sheet.missing)),
        "per_piece": span(sheet.per_piece) if sheet.priced else None,
        "total": span(sheet.total) if sheet.priced else None,
        "quote": None if sheet.quote is None or not sheet.complete else span(sheet.quote),
        "margin_percent": None if sheet.margin is None else number(sheet.margin, "percent"),
        "success": {k: number(getattr(sheet.success, k)) for k in ("low", "mean", "high")},
        "attempts": span(sheet.attempts),
        "time": {"print_s": number(sheet.print_s), "hands_s": number(sheet.hands_s), "visits": sheet.visits},
        "lines": [{"label": x.label, "what": x.what, "amount": span(x.amount)} for x in sheet.priced],
        "failures": [
            {"layer": f.layer, "share": number(f.share), "at_s": number(f.at_s), "amount": number(f.amount)}
            for f in sheet.failures
        ],
        "swings": [_swing(s) for s in sheet.swings],
        "bottle": bottle_json(sheet.bottle),
        "after": after_json(sheet.after),
        "assumed": list(sheet.assumed),
        "cautions": list(sheet.cautions),
        "sources": {key: cite(key) for key in sheet.sources},
    }


def _swing(swing: Swing) -> dict[str, Any]:
    return {
        "name": swing.name,
        "unit": swing.unit,
        "low": number(swing.low),
        "high": number(swing.high),
        "per_piece_low": number(swing.cost_low),
        "per_piece_high": number(swing.cost_high),
    }
