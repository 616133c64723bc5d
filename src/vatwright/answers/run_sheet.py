"""The run sheet for the bench: what to type in, what to do by hand and when, what to check, what to write down."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from attrs import asdict

from vatwright.answers.carry import job_title, lead, measurement_words, watch_sentence, way
from vatwright.answers.hands import clock_unit, hand_steps, visits_sentence
from vatwright.answers.numbers import one_line, resin_volume, sentence, setting_value
from vatwright.answers.resin_state import old_lot_sentences
from vatwright.answers.settings import setting_label, setting_si, setting_words
from vatwright.answers.upkeep import due_sentences
from vatwright.answers.warmth import warming_lines
from vatwright.records.process import PHASE_SETTINGS
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from vatwright.records.plan import CarrySheet

SEEN = (
    to_say("The base let go"),
    to_say("A layer was not released"),
    to_say("Layers split"),
    to_say("A thick band"),
    to_say("A thin band"),
    to_say("A piece stuck to the film"),
    to_say("A piece tore"),
    to_say("Lines on the surface"),
)
"""What may be seen afterwards, in the order of the outcome record."""

NOT_OBEYED = to_say("not obeyed")


def run_sheet_words(sheet: CarrySheet) -> dict[str, Any]:
    """Return what stands on the run sheet, by the names its form on paper uses."""
    return {
        "title": say("Run sheet: {job} on {target}", job=one_line(sheet.job), target=one_line(sheet.target)),
        "job": job_title(sheet),
        "lead": [*(s.text for s in lead(sheet)), way(sheet)],
        "target": one_line(sheet.target),
        "typed": [] if sheet.warm_up else typed_rows(sheet),
        "typed_notes": _typed_notes(sheet),
        "visits": visits_sentence(None if sheet.warm_up else sheet.hand),
        "steps": [] if sheet.warm_up else [asdict(s) for s in hand_steps(sheet)],
        "clock_note": _clock_note(sheet),
        "watch": _watch(sheet),
        "checks": checks(sheet),
        "cautions": [sentence(c) for c in sheet.cautions],
        "measures": [f"{measurement_words(m)} {sentence(m.how)}" for m in sheet.measure_next],
        "seen": [say("{seen}, at layer", seen=say(s)) for s in SEEN],
        "form": form_words(),
    }


def form_words() -> dict[str, str]:
    """Return what stands on every form: headings, and what a line to write on is for."""
    return {
        "date": say("Date"),
        "started": say("Started at"),
        "by": say("By whom"),
        "typed": say("Type these in"),
        "setting": say("setting"),
        "base": say("base"),
        "body": say("body"),
        "by_hand": say("By hand while it runs"),
        "clock": say("clock"),
        "your_clock": say("your clock"),
        "set": say("set"),
        "to": say("to"),
        "layer": say("layer"),
        "safe": say("what is safe"),
        "watch": say("Watch"),
        "before": say("Before you start"),
        "care": say("Take care"),
        "besides": say("While you are at it"),
        "happened": say("What happened"),
        "held": say("It held"),
        "failed": say("It failed, from layer"),
        "ended": say("Ended at"),
        "left": say("Resin left over, ml"),
        "readings": say("Readings taken: what, value and unit, where"),
        "changed": say("Changed by hand otherwise than planned, and anything else"),
    }


def _clock_note(sheet: CarrySheet) -> str:
    return say(
        "Clock from the start of the run, {unit}. Write your own clock time in the free column before you start.",
        unit=clock_unit(sheet),
    )


def _watch(sheet: CarrySheet) -> list[str]:
    if sheet.warm_up is not None:
        return list(warming_lines(sheet.warm_up))
    return [watch_sentence(r) for r in sheet.risks[:4]] or [say("Nothing stands out.")]


def typed_rows(sheet: CarrySheet) -> list[dict[str, str]]:
    """Return what to type in: one row a quantity with its base and body value, counts first."""
    counts = (n for n in ("layer_mm", "base.layers", "ramp.layers") if math.isfinite(setting_si(sheet, n)))
    rows = [{"label": setting_words(n), "base": _typed(sheet, n), "body": ""} for n in counts]
    for setting in (s for s in PHASE_SETTINGS if s.phase == "base"):
        quantity = setting.name.removeprefix("base.")
        row = {
            "label": say(setting.label),
            "base": _typed(sheet, setting.name),
            "body": _typed(sheet, f"body.{quantity}"),
        }
        if row["base"] or row["body"]:
            rows.append(row)
    return rows


def _typed(sheet: CarrySheet, name: str) -> str:
    """Return what to type for one setting: the start value where hands change it later, nothing where it is missing."""
    advice = next((a for a in sheet.settings if a.name == name), None)
    if advice is None:
        return ""
    if advice.honoured == "no":
        return say(NOT_OBEYED)
    hand = sheet.hand
    by_hand = hand is not None and (hand.setting == name or (advice.honoured == "shared" and _same(hand.setting, name)))
    if hand is not None and by_hand:
        return setting_value(hand.setting, hand.start_value) + (say(", then by hand") if hand.visits else "")
    return setting_value(name, advice.to_value)


def _same(one: str, other: str) -> bool:
    return one.rsplit(".", 1)[-1] == other.rsplit(".", 1)[-1]


def _typed_notes(sheet: CarrySheet) -> list[str]:
    if sheet.warm_up is not None:
        return []
    shared = sorted({setting_label(a.name)[1] for a in sheet.settings if a.honoured == "shared"})
    notes = [say("One value serves base and body: {shared}.", shared=", ".join(shared))] if shared else []
    if any(a.honoured == "no" for a in sheet.settings):
        notes.append(
            say(
                "{target} takes no notice of what is marked {not_obeyed}; leave it alone.",
                target=one_line(sheet.target),
                not_obeyed=NOT_OBEYED,
            )
        )
    return notes


def checks(sheet: CarrySheet) -> list[str]:
    """Return what to look at before the start; common practice, no source."""
    resin = resin_volume(sheet.resin_need.pour_m3)
    cold = (say("Not to be run as it is: first carried again for the temperature above."),) if sheet.warm_up else ()
    listed = [
        *cold,
        say("Gloves and eye protection on, fresh air in the room."),
        say("Resin stirred and at room temperature. Pour {resin}, not above the vat's mark.", resin=resin),
        say("Vat floor and film clean: no cured scraps, no dents, no wrinkles. Screen clean and dry beneath it."),
        say("Platform clean, level, clamped tight. Weights and paper strips taken off."),
        say("Table stands still when pushed; nothing leans on the machine."),
        say("Every value above typed in and read back once."),
        say("The right file is chosen: number of layers and resin agree."),
    ]
    listed += (*old_lot_sentences(sheet.old_lots), *due_sentences(sheet.upkeep, now=True))
    if sheet.hand is not None and sheet.hand.visits:
        listed.append(say("Timer set for each hand change; somebody is there for all of them."))
    return listed
