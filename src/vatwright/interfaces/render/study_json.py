"""A study as data for other programs."""

from __future__ import annotations

from typing import Any

import numpy as np

from vatwright.interfaces.render.data import Keys, as_data, number
from vatwright.records.study import SealedPocket, Study
from vatwright.wording import in_english

SCHEMA = "vatwright.study/1"

DECLARED: dict[type, Keys] = {
    Study: {
        "layer_m": "layer_mm", "layers": "layers", "volume_m3": "volume_mm3", "overlap_m3": "overlap_mm3",
        "layer_nm": None, "outlines": None, "base_outlines_m": None, "assumed_outlines_m": None, "reach": None,
        "hanging": None, "bowed": None,
    },
    SealedPocket: {"volume_m3": "volume_mm3"},
}  # fmt: skip
"""What a study's keys are where the rule of `data` would call them otherwise, and what stays inside."""


@in_english
def study_json(study: Study) -> dict[str, Any]:
    """Return a study as `vatwright.study/1`.

    Returns
    -------
    dict
        JSON-ready; `peak` names the layer of the largest area and that of the largest torsion, null without layers.
    """
    return {"schema": SCHEMA} | as_data(study, DECLARED) | {"peak": _peak(study)}


def _peak(study: Study) -> dict[str, Any] | None:
    if not study.layers:
        return None
    widest, stiffest = int(np.argmax(study.area_m2)), int(np.argmax(study.torsion_m4))
    return {
        "layer": widest,
        "area_mm2": number(float(study.area_m2[widest]), "mm2"),
        "torsion_layer": stiffest,
        "torsion_mm4": number(float(study.torsion_m4[stiffest]), "mm4"),
    }
