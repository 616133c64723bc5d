"""What a job costs as one page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.numbers import one_line
from vatwright.interfaces.render.after_words import after_sentences, bottle_sentences
from vatwright.interfaces.render.cost_text import cost_lead, cost_missing, cost_work, failure_rows
from vatwright.interfaces.render.page import page_style, page_templates
from vatwright.interfaces.render.pictures.cost import cost_figures_of

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.cost import CostSheet


def cost_html(sheet: CostSheet, *, cite: Callable[[str], str]) -> str:
    """Return a cost sheet as one self-contained page.

    Parameters
    ----------
    sheet : CostSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    page = page_templates().get_template("cost.html")
    return page.render(css=page_style(), **cost_parts(sheet, cite=cite))


def cost_parts(sheet: CostSheet, *, cite: Callable[[str], str]) -> dict[str, object]:
    """Return what a page about a cost shows, by the names its template uses.

    Parameters
    ----------
    sheet : CostSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "title": f"What does it cost? {one_line(sheet.job)} on {one_line(sheet.machine)}",
        "lead": cost_lead(sheet),
        "work_words": cost_work(sheet),
        "missing": cost_missing(sheet),
        "figures": cost_figures_of(sheet),
        "failures": failure_rows(sheet),
        "lists": (
            ("Is there enough resin?", bottle_sentences(sheet.bottle)),
            ("What comes after the print?", after_sentences(sheet.after)),
            ("Take care", sheet.cautions),
            ("What it rests on", (*sheet.assumed, *(f"[{key}] {cite(key)}" for key in sheet.sources))),
        ),
    }
