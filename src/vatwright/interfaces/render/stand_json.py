"""How a part should stand, as data: `vatwright.stand/1`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.interfaces.render.data import AsItIs, Keys, as_data
from vatwright.records.stand import StandSheet, Way
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Mapping

SCHEMA = "vatwright.stand/1"

DECLARED: Mapping[type, Keys] = {
    StandSheet: {"layer_nm": None, "layer_m": "layer_mm"},
    Way: {"tilt_deg": AsItIs("tilt_deg"), "turn_deg": AsItIs("turn_deg"), "pieces": "pieces_a_plate", "portrait": None},
}


@in_english
def stand_json(sheet: StandSheet) -> dict[str, Any]:
    """Return how a part should stand as JSON-ready data; null stands for what is not known of a way that does not fit."""
    return {"schema": SCHEMA, **as_data(sheet, DECLARED)}
