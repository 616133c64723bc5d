"""The level sheet on paper: A4, tagged, the same bytes for the same sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.interfaces.render.level_words import (
    ESTIMATE,
    base_words,
    corner_rows,
    hold_lead,
    hold_limits,
    hold_rows,
    level_sources,
    level_top,
    notes,
    size_rows,
    turn_lead,
    turn_rows,
)
from vatwright.interfaces.render.paper import printed, printed_figure
from vatwright.interfaces.render.pictures.level import level_figures

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.level import LevelSheet


def level_pdf(sheet: LevelSheet, *, cite: Callable[[str], str]) -> bytes:
    """Return the sheet as PDF.

    Parameters
    ----------
    sheet : LevelSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    top = level_top(sheet)
    return printed(
        "level.typ",
        {
            "title": top.title,
            "top": top._asdict(),
            "base": base_words(sheet),
            "judged": sheet.base is not None,
            "figures": [printed_figure(f) for f in level_figures(sheet)],
            "corners": [list(r) for r in corner_rows(sheet)],
            "lead": turn_lead(sheet),
            "turns": [r._asdict() for r in turn_rows(sheet)],
            "sizes": [list(r) for r in size_rows(sheet)],
            "hold_lead": hold_lead(sheet),
            "limits": list(hold_limits(sheet)),
            "steps": [list(r) for r in hold_rows(sheet)],
            "checks": list(sheet.hold.checks),
            "cautions": [*sheet.hold.cautions, ESTIMATE],
            "notes": list(notes(sheet)),
            "sources": level_sources(sheet, cite),
        },
    )
