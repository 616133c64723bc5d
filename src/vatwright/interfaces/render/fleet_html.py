"""A fleet plan as one page: everything inline, no script, for desk, phone and paper."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.interfaces.render.fleet_words import (
    bound_words,
    break_even_words,
    order_rows,
    title,
    verdict,
    work_rows,
    work_title,
)
from vatwright.interfaces.render.page import page_style, page_templates
from vatwright.interfaces.render.pictures.fleet import hands_figure, plate_figure, when_figure

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.fleet import FleetPlan

RECKONED = (
    "A plate's time is reckoned from one full carry of its recipe to its machine, with the body settle its own layers "
    "want; carry the plate on its own before you run it. Wear gloves and eye protection, ventilate, and keep ignition "
    "away from wash solvent. Figures are engineering estimates: confirm with a trial."
)


def fleet_html(plan: FleetPlan, *, cite: Callable[[str], str]) -> str:
    """Return the plan as one self-contained page.

    Parameters
    ----------
    plan : FleetPlan
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    return page_templates().get_template("fleet.html").render(css=page_style(), **fleet_parts(plan, cite=cite))


def fleet_parts(plan: FleetPlan, *, cite: Callable[[str], str]) -> dict[str, object]:
    """Return what a page about a plan shows, by the names its template uses.

    Parameters
    ----------
    plan : FleetPlan
        What to show.
    cite : callable
        From a source's key to its citation.
    """
    stopped = [f"{name} stands still and gets nothing." for name in plan.down]
    return {
        "title": title(plan),
        "verdict": verdict(plan),
        "late": any(o.late_s or o.done_s is None for o in plan.orders),
        "orders": order_rows(plan),
        "when": when_figure(plan),
        "hands": hands_figure(plan),
        "bounds": bound_words(plan),
        "plates": [plate_figure(p) for p in plan.plates],
        "works": work_rows(plan),
        "work_title": work_title(plan.works),
        "break_even": [break_even_words(b) for b in plan.break_even],
        "notes": [*stopped, *plan.notes, RECKONED],
        "sources": [(key, cite(key)) for key in plan.sources],
    }
