"""The run sheet for the bench: what to type in, what to do by hand and when, what to check, what to write down."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.numbers import one_line, resin_volume, setting_value
from vatwright.interfaces.render.carry_pdf import page_words
from vatwright.interfaces.render.paper import printed
from vatwright.interfaces.render.sheet_words import risk_words, setting_label, setting_si
from vatwright.records.process import PHASE_SETTINGS

if TYPE_CHECKING:
    from collections.abc import Callable

    from vatwright.records.plan import CarrySheet

SEEN = (
    "The base let go",
    "A layer was not released",
    "Layers split",
    "A thick band",
    "A thin band",
    "A piece stuck to the film",
    "A piece tore",
    "Lines on the surface",
)
"""What may be seen afterwards, in the order of the outcome record."""

NOT_OBEYED = "not obeyed"


def run_sheet_pdf(sheet: CarrySheet, *, cite: Callable[[str], str]) -> bytes:
    """Return the run sheet as PDF, two pages of A4 for most jobs.

    Parameters
    ----------
    sheet : CarrySheet
        What to show.
    cite : callable
        From a source's key to its citation; the run sheet names no sources, it takes `cite` like its sisters.
    """
    del cite
    watch = [
        f"{r.where.capitalize()}: {r.what}{f' Has {r.margin}.' if r.margin else ''} {r.do}"
        for r in risk_words(sheet)[:4]
    ]
    words = page_words(sheet) | {
        "title": f"Run sheet: {one_line(sheet.job)} on {one_line(sheet.target)}",
        "typed": typed_rows(sheet),
        "typed_notes": _typed_notes(sheet),
        "watch": watch or ["Nothing stands out."],
        "checks": checks(sheet),
        "seen": SEEN,
    }
    return printed("run_sheet.typ", words)


def typed_rows(sheet: CarrySheet) -> list[dict[str, str]]:
    """Return what to type in: one row a quantity with its base and body value, counts first."""
    rows = []
    for name in ("layer_mm", "base.layers", "ramp.layers"):
        if math.isfinite(setting_si(sheet, name)):
            phase, label = setting_label(name)
            rows.append(
                {"label": label if phase == "all" else f"{phase} layers", "base": _typed(sheet, name), "body": ""}
            )
    for setting in (s for s in PHASE_SETTINGS if s.phase == "base"):
        quantity = setting.name.removeprefix("base.")
        row = {"label": setting.label, "base": _typed(sheet, setting.name), "body": _typed(sheet, f"body.{quantity}")}
        if row["base"] or row["body"]:
            rows.append(row)
    return rows


def _typed(sheet: CarrySheet, name: str) -> str:
    """Return what to type for one setting: the start value where hands change it later, nothing where it is missing."""
    advice = next((a for a in sheet.settings if a.name == name), None)
    if advice is None:
        return ""
    if advice.honoured == "no":
        return NOT_OBEYED
    hand = sheet.hand
    by_hand = hand is not None and (hand.setting == name or (advice.honoured == "shared" and _same(hand.setting, name)))
    if hand is not None and by_hand:
        return setting_value(hand.setting, hand.start_value) + (", then by hand" if hand.visits else "")
    return setting_value(name, advice.to_value)


def _same(one: str, other: str) -> bool:
    return one.rsplit(".", 1)[-1] == other.rsplit(".", 1)[-1]


def _typed_notes(sheet: CarrySheet) -> list[str]:
    shared = sorted({setting_label(a.name)[1] for a in sheet.settings if a.honoured == "shared"})
    notes = [f"One value serves base and body: {', '.join(shared)}."] if shared else []
    if any(a.honoured == "no" for a in sheet.settings):
        notes.append(f"{one_line(sheet.target)} takes no notice of what is marked {NOT_OBEYED}; leave it alone.")
    return notes


def checks(sheet: CarrySheet) -> list[str]:
    """Return what to look at before the start; common practice, no source."""
    resin = resin_volume(sheet.resin_need.pour_m3)
    listed = [
        "Gloves and eye protection on, fresh air in the room.",
        f"Resin stirred and at room temperature. Pour {resin}, not above the vat's mark.",
        "Vat floor and film clean: no cured scraps, no dents, no wrinkles. Screen clean and dry beneath it.",
        "Platform clean, level, clamped tight. Weights and paper strips taken off.",
        "Table stands still when pushed; nothing leans on the machine.",
        "Every value above typed in and read back once.",
        "The right file is chosen: number of layers and resin agree.",
    ]
    if sheet.hand is not None and sheet.hand.visits:
        listed.append("Timer set for each hand change; somebody is there for all of them.")
    return listed
