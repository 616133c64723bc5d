"""A fleet plan for the terminal: the answer, the orders, who runs what when; 100 columns of plain letters."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

from vatwright.answers.numbers import bound, plain
from vatwright.interfaces.render.fleet_words import (
    bound_words,
    break_even_words,
    order_rows,
    run_rows,
    title,
    verdict,
    work_rows,
    work_title,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.fleet import FleetPlan

COLUMNS = 100


def fleet_text(plan: FleetPlan) -> str:
    """Return the plan as text, no line over 100 columns."""
    lines = [*_wrapped(title(plan)), *_wrapped(verdict(plan)), ""]
    lines += _table(("order", "pieces", "due", "cured", ""), order_rows(plan))
    lines.append("")
    for r in run_rows(plan):
        lines += _wrapped(f"{r.start:<17}{r.unit}: {r.plate}, {r.pieces}")
        after = f"ready {r.ready}, off {r.off}, cured {r.cured}" + (f"; {r.remark}" if r.remark else "")
        lines += _wrapped(after, head=" " * 17)
    lines.append("")
    lines += [line for words in bound_words(plan) for line in _wrapped(words)]
    if plan.works:
        lines += ["", work_title(plan.works)]
        lines += _table(("machine", "pieces", "run", "a layer", "pieces an hour"), work_rows(plan))
        lines += [line for b in plan.break_even for line in _wrapped(break_even_words(b), head="  - ")]
    for name in plan.down:
        lines += _wrapped(f"{name} stands still and gets nothing.")
    lines += [line for note in plan.notes for line in _wrapped(f"Note: {note}")]
    return plain("\n".join(lines))


def _wrapped(text: str, head: str = "") -> list[str]:
    inner = " " * len(head) or "  "
    wrapped = textwrap.wrap(bound(text), COLUMNS, initial_indent=head, subsequent_indent=inner, break_on_hyphens=False)
    return [line.replace("\xa0", " ") for line in wrapped]


def _table(head: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> list[str]:
    widths = [max(len(r[k]) for r in (head, *rows)) for k in range(len(head))]
    widths[0] = min(widths[0], 34)
    return [
        "  "
        + "  ".join(
            textwrap.shorten(cell, w, placeholder="...").ljust(w) for cell, w in zip(r, widths, strict=True)
        ).rstrip()
        for r in (head, *rows)
    ]
