"""The level sheet as one page: everything inline, no script, for desk, phone and paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.interfaces.render.level_words import (
    ESTIMATE,
    base_words,
    corner_rows,
    hold_lead,
    hold_limits,
    hold_rows,
    holds,
    level_sources,
    level_top,
    notes,
    size_rows,
    turn_lead,
    turn_rows,
)
from vatwright.interfaces.render.page import page_style, page_templates
from vatwright.interfaces.render.pictures.level import level_figures

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.level import LevelSheet


def level_html(sheet: LevelSheet, *, cite: Callable[[str], str]) -> str:
    """Return the sheet as one self-contained page.

    Parameters
    ----------
    sheet : LevelSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    page = page_templates().get_template("level.html")
    return page.render(css=page_style(), **level_parts(sheet, cite=cite))


def level_parts(sheet: LevelSheet, *, cite: Callable[[str], str]) -> dict[str, object]:
    """Return what a page about a level sheet shows, by the names its template uses.

    Parameters
    ----------
    sheet : LevelSheet
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    return {
        "top": level_top(sheet),
        "holds": holds(sheet),
        "judged": sheet.base is not None,
        "base": base_words(sheet),
        "figures": {f.slug: f for f in level_figures(sheet)},
        "corners": corner_rows(sheet),
        "lead": turn_lead(sheet),
        "turns": turn_rows(sheet),
        "sizes": size_rows(sheet),
        "hold_lead": hold_lead(sheet),
        "limits": hold_limits(sheet),
        "steps": hold_rows(sheet),
        "checks": sheet.hold.checks,
        "cautions": [*sheet.hold.cautions, ESTIMATE],
        "notes": notes(sheet),
        "sources": level_sources(sheet, cite),
    }
