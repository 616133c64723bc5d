"""What is worth reading as data: `vatwright.commission/1`."""

from __future__ import annotations

from typing import Any

from vatwright.answers.commission import WORDS
from vatwright.interfaces.render.data import Keys, Worked, as_data
from vatwright.records.commission import CommissionItem, CommissionSheet
from vatwright.wording import in_english

SCHEMA = "vatwright.commission/1"

COMMISSION: dict[type, Keys] = {
    CommissionSheet: {"kind": None, "name": None},
    CommissionItem: {
        "slug": None, "saves_s": "saves_min",
        "what": Worked(lambda item: WORDS[item.slug].what, str),
        "why": Worked(lambda item: WORDS[item.slug].why, str),
        "how": Worked(lambda item: WORDS[item.slug].how, str),
        "narrows": Worked(lambda item: WORDS[item.slug].narrows, str),
    },
}  # fmt: skip


@in_english
def commission_json(sheet: CommissionSheet) -> dict[str, Any]:
    """Return what is worth reading as JSON-ready data; what a reading saves is null where nobody knows it."""
    return {"schema": SCHEMA, sheet.kind: sheet.name} | as_data(sheet, COMMISSION)
