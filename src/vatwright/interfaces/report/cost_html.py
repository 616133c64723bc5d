"""What a job costs as one page."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.interfaces.report.after_words import after_sentences, bottle_sentences
from vatwright.interfaces.report.carry_html import page_style, page_templates
from vatwright.interfaces.report.cost_text import (
    cost_lead,
    cost_missing,
    cost_rows,
    cost_work,
    failure_rows,
    swing_rows,
)
from vatwright.interfaces.report.numbers import one_line

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
    rows = [
        (label, amount, share, what) for label, what, amount, share in cost_rows(sheet)
    ]  # a phone shows the first three
    return page.render(
        css=page_style(),
        title=f"What does it cost? {one_line(sheet.job)} on {one_line(sheet.machine)}",
        lead=cost_lead(sheet),
        work=cost_work(sheet),
        missing=cost_missing(sheet),
        tables=(
            ("Cost of the order", ("what", "amount and 90 % range", "share", "from"), rows),
            ("What one failed plate costs", ("noticed at", "after", "cost"), failure_rows(sheet)),
            ("What moves the cost of a piece most", ("what", "its range", "a piece then costs"), swing_rows(sheet)),
        ),
        lists=(
            ("Is there enough resin?", bottle_sentences(sheet.bottle)),
            ("What comes after the print?", after_sentences(sheet.after)),
            ("Take care", sheet.cautions),
            ("What it rests on", (*sheet.assumed, *(f"[{key}] {cite(key)}" for key in sheet.sources))),
        ),
    )
