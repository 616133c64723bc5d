"""The carry sheet as one page: everything inline, no script, for desk, phone and paper."""

from __future__ import annotations

import itertools
from typing import TYPE_CHECKING

from vatwright.answers.after import after_lines, resin_lines
from vatwright.answers.numbers import one_line, sentence
from vatwright.answers.study import LAYER_COUNT_NOTE
from vatwright.interfaces.render.first_layer_words import base_view
from vatwright.interfaces.render.holding_words import holding_lines
from vatwright.interfaces.render.page import page_style, page_templates
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

    from vatwright.interfaces.render.sheet_words import SettingRow
    from vatwright.records.plan import CarrySheet

PHASE_TITLES = {"all": "All layers", "base": "Base", "ramp": "Ramp", "body": "Body"}


def carry_html(sheet: CarrySheet, *, cite: Callable[[str], str]) -> str:
    """Return the sheet as one self-contained page.

    Parameters
    ----------
    sheet : CarrySheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    page = page_templates().get_template("carry.html")
    return page.render(css=page_style(), **sheet_parts(sheet, cite=cite))


def sheet_parts(sheet: CarrySheet, *, cite: Callable[[str], str]) -> dict[str, object]:
    """Return what a page about a sheet shows, by the names its template uses.

    Parameters
    ----------
    sheet : CarrySheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    drawn = {f.slug: f for f in (platform_map(sheet), *figures(sheet))}
    return {
        "top": headline(sheet),
        "holds": sheet.holds,
        "origin": one_line(sheet.origin),
        "target": one_line(sheet.target),
        "how_sure": how_sure(sheet),
        "phases": phases(setting_rows(sheet)),
        "steps": hand_steps(sheet),
        "clock_unit": clock_unit(sheet),
        "hand_cost": hand_cost(sheet),
        "risks": [
            (r, margin_bar(known.margin, k))
            for k, (r, known) in enumerate(zip(risk_words(sheet), sheet.risks, strict=True))
        ],
        "warnings": [sentence(w) for w in sheet.warnings],
        "measures": [(measurement_words(m), sentence(m.how)) for m in sheet.measure_next],
        "figures": drawn,
        "holding": holding_lines(sheet.holding) if sheet.holding else (),
        "base": base_view(sheet.first_layer) if sheet.first_layer else None,
        "base_figures": first_layer_figures(sheet.first_layer) if sheet.first_layer else (),
        "holding_figure": holding_by_height(sheet.holding) if sheet.holding else None,
        "layer_figures": [f for f in drawn.values() if f.slug.startswith(("settle", "thickness"))],
        "layer_note": LAYER_COUNT_NOTE,
        "light": light_sentences(sheet),
        "resin": resin_sentence(sheet),
        "resin_lines": resin_lines(sheet),
        "after_lines": after_lines(sheet),
        "questions": [sentence(q) for q in sheet.open_questions],
        "beliefs": [belief_plot(b, k) for k, b in enumerate(sheet.beliefs)],
        "cautions": [sentence(c) for c in sheet.cautions],
        "sources": cited(sheet, cite),
    }


def phases(rows: tuple[SettingRow, ...]) -> list[tuple[str, list[SettingRow]]]:
    """Return the settings under their phase's title, in the order in which each phase first stands."""
    groups: dict[str, list[SettingRow]] = {}
    for phase, group in itertools.groupby(rows, key=lambda r: r.phase):
        groups.setdefault(PHASE_TITLES[phase], []).extend(group)
    return list(groups.items())
