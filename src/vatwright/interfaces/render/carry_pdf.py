"""The carry sheet on paper: A4, tagged, the same bytes for the same sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from vatwright.answers.after import after_lines, resin_lines
from vatwright.answers.numbers import one_line, sentence
from vatwright.answers.study import LAYER_COUNT_NOTE
from vatwright.interfaces.render.carry_html import phases
from vatwright.interfaces.render.first_layer_words import base_view
from vatwright.interfaces.render.holding_words import holding_lines
from vatwright.interfaces.render.paper import printed, printed_figure
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.belief_plot import belief_plot, margin_bar
from vatwright.interfaces.render.pictures.first_layer import first_layer_figures
from vatwright.interfaces.render.pictures.holding import holding_by_height
from vatwright.interfaces.render.pictures.platform_map import platform_map
from vatwright.interfaces.render.pictures.plots import figures
from vatwright.interfaces.render.sheet_words import (
    cited,
    clock_unit,
    hand_cost,
    hand_steps,
    headline,
    how_sure,
    light_sentences,
    measurement_words,
    resin_sentence,
    risk_words,
    setting_rows,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.plan import CarrySheet


def carry_pdf(sheet: CarrySheet, *, cite: Callable[[str], str]) -> bytes:
    """Return the sheet as PDF.

    Parameters
    ----------
    sheet : CarrySheet
        What to show.
    cite : callable
        From a source's key to its citation.

    Returns
    -------
    bytes
        A PDF/UA-1 file without a date, so that the same sheet gives the same bytes.
    """
    held = (holding_by_height(sheet.holding),) if sheet.holding else ()
    base = first_layer_figures(sheet.first_layer) if sheet.first_layer else ()
    pictures = [*base, platform_map(sheet), *figures(sheet), *held]
    words = page_words(sheet) | {
        "how_sure": how_sure(sheet),
        "phases": [{"title": t, "rows": [r._asdict() for r in rows]} for t, rows in phases(setting_rows(sheet))],
        "hand_cost": hand_cost(sheet),
        "risks": _risks(sheet),
        "holding": holding_lines(sheet.holding) if sheet.holding else (),
        "base": _base(sheet),
        "warnings": [sentence(w) for w in sheet.warnings],
        "light": " ".join(light_sentences(sheet)),
        "resin": [resin_sentence(sheet), *resin_lines(sheet)],
        "after": after_lines(sheet),
        "questions": [sentence(q) for q in sheet.open_questions],
        "layer_note": LAYER_COUNT_NOTE,
        "figures": [printed_figure(f) for f in pictures],
        "beliefs": [printed_figure(belief_plot(b, k)) for k, b in enumerate(sheet.beliefs)],
        "sources": cited(sheet, cite),
    }
    return printed("carry.typ", words | {"title": f"Carry sheet: {one_line(sheet.job)}"})


def _base(sheet: CarrySheet) -> dict[str, Any] | None:
    if sheet.first_layer is None:
        return None
    view = base_view(sheet.first_layer)
    return view._asdict() | {"mends": [list(m) for m in view.mends]}


def page_words(sheet: CarrySheet) -> dict[str, Any]:
    """Return what both printed pages say."""
    return {
        "top": headline(sheet)._asdict(),
        "origin": one_line(sheet.origin),
        "target": one_line(sheet.target),
        "steps": [s._asdict() for s in hand_steps(sheet)],
        "clock_unit": clock_unit(sheet),
        "measures": [f"{measurement_words(m)} {sentence(m.how)}" for m in sheet.measure_next],
        "cautions": [sentence(c) for c in sheet.cautions],
    }


def _risks(sheet: CarrySheet) -> list[dict[str, str]]:
    drawn = (margin_bar(r.margin, k) for k, r in enumerate(sheet.risks))
    bars = (svg.for_print(bar) if bar else "" for bar in drawn)
    return [words._asdict() | {"bar": bar} for words, bar in zip(risk_words(sheet), bars, strict=True)]
