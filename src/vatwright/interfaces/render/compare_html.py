"""The same order on several machines as one page: which one, the machines side by side, and when a larger one has paid."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.numbers import one_line, plural
from vatwright.interfaces.render.compare_text import (
    floor_sentence,
    missing,
    pay_question,
    pay_sentences,
    side_rows,
)
from vatwright.interfaces.render.page import page_style, page_templates
from vatwright.interfaces.render.pictures.compare import pay_figure, side_figures

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.cost import CompareSheet


def compare_html(sheet: CompareSheet, *, cite: Callable[[str], str]) -> str:
    """Return a comparison as one self-contained page.

    Parameters
    ----------
    sheet : CompareSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    page = page_templates().get_template("compare.html")
    return page.render(css=page_style(), **compare_parts(sheet, cite=cite))


def compare_parts(sheet: CompareSheet, *, cite: Callable[[str], str]) -> dict[str, object]:
    """Return what a page about a comparison shows, by the names its template uses.

    Parameters
    ----------
    sheet : CompareSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    able = [s for s in sheet.sides if s.cost is not None]
    head, *rows = list(side_rows(able, sheet.currency)) if able else [("", [])]
    return {
        "title": f"Which machine? {one_line(sheet.job)}, {plural(sheet.pieces, 'piece')}",
        "verdict": sheet.verdict,
        "names": head[1],
        "rows": rows,
        "left_out": [(one_line(s.machine), one_line(s.why_not)) for s in sheet.sides if s.cost is None],
        "figures": side_figures(sheet),
        "pays": [
            (pay_question(p), tuple(pay_sentences(p, sheet.currency)), pay_figure(p, sheet.currency))
            for p in sheet.pays
        ],
        "floors": [floor_sentence(s.machine, s.floor) for s in able if s.floor is not None],
        "missing": missing(sheet),
        "sources": [(key, cite(key)) for key in sheet.sources],
    }
