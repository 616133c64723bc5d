"""What is worth reading as data: `vatwright.commission/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.commission import WORDS
from vatwright.interfaces.render.data import number
from vatwright.wording import in_english

if TYPE_CHECKING:
    from vatwright.records.commission import CommissionItem, CommissionSheet

SCHEMA = "vatwright.commission/1"


@in_english
def commission_json(sheet: CommissionSheet) -> dict[str, Any]:
    """Return what is worth reading as JSON-ready data; what a reading saves is null where nobody knows it."""
    return {"schema": SCHEMA, sheet.kind: sheet.name, "items": [_item(item) for item in sheet.items]}


def _item(item: CommissionItem) -> dict[str, Any]:
    words = WORDS[item.slug]
    return {
        "what": words.what,
        "done": item.done,
        "minutes": number(item.minutes),
        "why": words.why,
        "how": words.how,
        "key": item.key,
        "narrows": words.narrows,
        "saves_min": None if item.saves_s is None else number(item.saves_s, "min"),
    }
