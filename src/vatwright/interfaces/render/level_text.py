"""A level sheet for the terminal: the answer, what to turn, how to hold it down, in plain letters."""

from __future__ import annotations

import textwrap
from functools import partial
from typing import TYPE_CHECKING

from vatwright.answers.numbers import bound, plain
from vatwright.interfaces.render.level_words import (
    ESTIMATE,
    base_words,
    corner_rows,
    hold_lead,
    hold_limits,
    hold_rows,
    level_top,
    notes,
    size_rows,
    turn_lead,
    turn_rows,
)
from vatwright.interfaces.render.reader_units import as_read

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.level import LevelSheet

INDENT = "  "


def level_text(sheet: LevelSheet, *, width: int = 80) -> str:
    """Return the sheet as text of so many columns."""
    top = level_top(sheet)
    wrapped = partial(_wrapped, width)
    lines = [*wrapped(f"{top.title}   {top.way}"), *wrapped(top.verdict), *wrapped(top.plane)]
    if words := base_words(sheet):
        lines += wrapped(words)
    lines += ["", *_table(_corner_head(sheet), [r if r.bonds else r[:3] for r in corner_rows(sheet)])]
    lines += ["", *wrapped(f"Turn: {turn_lead(sheet)}")]
    lines += [line for t in turn_rows(sheet) for line in wrapped(t.do, head=f"{t.order:>3}  ")]
    lines += [
        "",
        "The same tilt elsewhere",
        *_table(_size_head(sheet), [r if r.forgives else r[:3] for r in size_rows(sheet)]),
    ]
    lines += ["", *wrapped(f"Hold it down: {hold_lead(sheet)} {' '.join(hold_limits(sheet))}")]
    lines += [line for h in hold_rows(sheet) for line in wrapped(h.do, head=f"{h.clock:>8}  ")]
    for title, items in (
        ("Before you touch the screen", sheet.hold.checks),
        ("Take care", (*sheet.hold.cautions, ESTIMATE)),
        ("Assumed", notes(sheet)),
    ):
        lines += ["", title, *(line for item in items for line in wrapped(item, head="  - "))]
    return plain("\n".join(lines).replace("±", "+-"))


def _corner_head(sheet: LevelSheet) -> tuple[str, ...]:
    return ("corner", "gap", "from the middle", *(("bonds", "touches") if sheet.base else ()))


def _size_head(sheet: LevelSheet) -> tuple[str, ...]:
    return ("machine", "half diagonal", "corner error", *(("forgives",) if sheet.base else ()))


def _table(head: tuple[str, ...], rows: Sequence[Sequence[str]]) -> list[str]:
    widths = [max(len(row[k]) for row in (head, *rows)) for k in range(len(head))]
    return [
        INDENT + "   ".join(cell.ljust(w) for cell, w in zip(row, widths, strict=True)).rstrip()
        for row in (head, *rows)
    ]


def _wrapped(width: int, text: str, *, head: str = "") -> list[str]:
    lines = textwrap.wrap(plain(bound(as_read(text))), width, initial_indent=head, subsequent_indent=" " * len(head))
    return [line.replace("\xa0", " ") for line in lines]
