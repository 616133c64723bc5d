"""A study as data for other programs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from vatwright.interfaces.render.json_numbers import number, numbers

if TYPE_CHECKING:
    from vatwright.records.study import Study

SCHEMA = "vatwright.study/1"


def study_json(study: Study) -> dict[str, Any]:
    """Return a study as `vatwright.study/1`.

    Returns
    -------
    dict
        JSON-ready; `peak` names the layer of the largest area and that of the largest torsion, null without layers.
    """
    return {
        "schema": SCHEMA,
        "layer_mm": number(study.layer_m, "mm"),
        "layers": study.layers,
        "pieces": study.pieces,
        "height_mm": number(study.height_m, "mm"),
        "volume_mm3": number(study.volume_m3, "mm3"),
        "surface_mm2": number(study.surface_m2, "mm2"),
        "area_mm2": numbers(study.area_m2, "mm2"),
        "perimeter_mm": numbers(study.perimeter_m, "mm"),
        "islands": [int(n) for n in study.islands],
        "torsion_mm4": numbers(study.torsion_m4, "mm4"),
        "peak": _peak(study),
        "fresh": [
            {
                "layer": f.layer,
                "x_mm": number(f.x_m, "mm"),
                "y_mm": number(f.y_m, "mm"),
                "area_mm2": number(f.area_m2, "mm2"),
            }
            for f in study.fresh
        ],
        "pockets": [
            {
                "first_layer": p.first_layer,
                "last_layer": p.last_layer,
                "volume_mm3": number(p.volume_m3, "mm3"),
                "open_area_mm2": number(p.open_area_m2, "mm2"),
            }
            for p in study.pockets
        ],
        "closed": study.closed,
        "overlap_mm3": number(study.overlap_m3, "mm3"),
        "warnings": list(study.warnings),
    }


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
