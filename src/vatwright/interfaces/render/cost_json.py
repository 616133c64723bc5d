"""What a job costs as data: `vatwright.cost/1`.  Amounts are in the currency the shop named."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.money import missing_sentences
from vatwright.interfaces.render.after_json import AROUND
from vatwright.interfaces.render.data import Keys, Worked, as_data
from vatwright.records.after import Span
from vatwright.records.cost import CostLine, CostSheet, Swing
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable

SCHEMA = "vatwright.cost/1"

COST: dict[type, Keys] = AROUND | {
    CostSheet: {
        "resin": "resin_name", "margin": "margin_percent", "complete": "complete",
        **dict.fromkeys(("print_s", "hands_s", "visits", "sources", "warm_up")),
        "missing": Worked(lambda sheet: missing_sentences(sheet.missing), list[str]),
        "per_piece": Worked(lambda sheet: sheet.per_piece if sheet.priced else None, Span | None),
        "total": Worked(lambda sheet: sheet.total if sheet.priced else None, Span | None),
        "quote": Worked(lambda sheet: sheet.quote if sheet.complete else None, Span | None),
        "lines": Worked(lambda sheet: sheet.priced, list[CostLine]),
        "time": Worked(
            lambda sheet: {"print_s": sheet.print_s, "hands_s": sheet.hands_s, "visits": sheet.visits},
            {"print_s": float, "hands_s": float, "visits": int},
        ),
    },
    Swing: {"cost_low": "per_piece_low", "cost_high": "per_piece_high"},
}  # fmt: skip


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
    return {"schema": SCHEMA} | as_data(sheet, COST) | {"sources": {key: cite(key) for key in sheet.sources}}
