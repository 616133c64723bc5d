"""A study in a terminal: what this plate demands, in a screenful."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

import numpy as np

from vatwright.interfaces.render.carry_text import COLUMNS
from vatwright.interfaces.render.numbers import one_line, plain, plural, quantity, typed
from vatwright.interfaces.render.sheet_words import LAYER_COUNT_NOTE, sentence

if TYPE_CHECKING:
    from vatwright.records.study import Study

_LISTED = 8


def study_text(study: Study, *, title: str) -> str:
    """Return a study as terminal text, no line over 100 columns.

    Parameters
    ----------
    study : Study
        What to show.
    title : str
        Name of the plate.
    """
    layer = f"{plural(study.layers, 'layer')} of {typed(round(study.layer_m * 1e3, 6))} mm"
    height, volume = quantity(study.height_m, "mm"), quantity(study.volume_m3, "ml")
    texts = [
        f"{one_line(title)}: {plural(study.pieces, 'piece')}, {layer}, {height} tall, {volume} of resin in the parts."
    ]
    texts += ["", *_table(study), "", *_fresh(study), *_pockets(study), *_mesh(study)]
    texts += [f"Warning: {sentence(w)}" for w in study.warnings]
    texts += [LAYER_COUNT_NOTE]
    lines = [
        line
        for text in texts
        for line in ([text] if text.startswith("  ") or not text else textwrap.wrap(text, COLUMNS))
    ]
    return plain("\n".join(lines)) + "\n"


def _table(study: Study) -> list[str]:
    """Return the quantities with their largest value, where it stands, and both ends."""
    if not study.layers:
        return []
    lines = [f"  {'':<12}{'largest':>20}{'at layer':>11}{'first layer':>20}{'last layer':>20}"]
    rows = (
        ("area", study.area_m2, "mm2"), ("perimeter", study.perimeter_m, "mm"),
        ("torsion", study.torsion_m4, "mm4"), ("islands", study.islands.astype(np.float64), "layers"),
    )  # fmt: skip
    for label, values, unit in rows:
        at = int(np.argmax(values))
        shown = [
            f"{int(v)}" if unit == "layers" else quantity(float(v), unit) for v in (values[at], values[0], values[-1])
        ]
        lines.append(f"  {label:<12}{shown[0]:>20}{at:>11}{shown[1]:>20}{shown[2]:>20}")
    return lines


def _fresh(study: Study) -> list[str]:
    if not study.fresh:
        return ["No island starts in the resin."]
    named = "; ".join(
        f"layer {f.layer} at x {f.x_m * 1e3:.0f}, y {f.y_m * 1e3:.0f} mm ({quantity(f.area_m2, 'mm2')})"
        for f in study.fresh[:_LISTED]
    )
    more = f"; and {len(study.fresh) - _LISTED} more" if len(study.fresh) > _LISTED else ""
    return [f"{plural(len(study.fresh), 'fresh island')} with nothing beneath: {named}{more}."]


def _pockets(study: Study) -> list[str]:
    if not study.pockets:
        return ["No sealed pocket."]
    named = "; ".join(
        f"layers {p.first_layer} to {p.last_layer}, {quantity(p.volume_m3, 'ml')}, "
        f"mouth {quantity(p.open_area_m2, 'mm2')}"
        for p in study.pockets[:_LISTED]
    )
    more = f"; and {len(study.pockets) - _LISTED} more" if len(study.pockets) > _LISTED else ""
    return [f"{plural(len(study.pockets), 'sealed pocket')}, each pulls while it prints: {named}{more}."]


def _mesh(study: Study) -> list[str]:
    lines = [] if study.closed else ["A mesh is not closed: its sections were mended and may be wrong."]
    if study.overlap_m3 > 0.0:
        lines.append(f"Shells overlap by {quantity(study.overlap_m3, 'mm3', 2)}; it is counted once.")
    return lines
