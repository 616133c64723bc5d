"""What moves on a carry sheet when one thing is changed, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.numbers import duration, percent, percent_range, plural
from vatwright.interfaces.render.sheet_words import hand_steps, headline, setting_label, setting_rows

if TYPE_CHECKING:
    from vatwright.interfaces.render.sheet_words import HandStep
    from vatwright.interfaces.web.forms import JobAsked
    from vatwright.records.plan import CarrySheet


class Move(NamedTuple):
    """One thing that is not what it was."""

    what: str
    before: str
    now: str


CHANGEABLE = (
    ("to", "machine", ""),
    ("room_c", "room", " °C"),
    ("resin", "resin", ""),
    ("visits", "visits by hand at most", ""),
    ("present_min", "somebody is there for", " min"),
    ("confidence_percent", "what must be covered", " %"),
)
"""Key of the job, what it is called, its unit."""


def asked_moves(before: JobAsked, now: JobAsked) -> list[Move]:
    """Return what was changed in the question."""
    return [
        Move(label, _said(getattr(before, key), unit), _said(getattr(now, key), unit))
        for key, label, unit in CHANGEABLE
        if getattr(before, key) != getattr(now, key)
    ]


def sheet_moves(before: CarrySheet, now: CarrySheet) -> list[Move]:
    """Return what moved in the answer: the verdict, the chance, the time, every setting and the hand schedule."""
    old, new = headline(before), headline(now)
    moves = [
        Move("Answer", old.verdict, new.verdict),
        Move("Chance that it holds", _chance(before), _chance(now)),
        Move("Time", _time(before), _time(now)),
    ]
    was = {r.name: r.text_to for r in setting_rows(before)}
    for row in setting_rows(now):
        phase, label = setting_label(row.name)
        moves.append(
            Move(
                (label if phase == "all" else f"{phase} {label}").capitalize(),
                was.get(row.name, "not set"),
                row.text_to,
            )
        )
    moves.append(Move("By hand", _by_hand(hand_steps(before)), _by_hand(hand_steps(now))))
    return [m for m in moves if m.before != m.now]


def was_by_setting(before: CarrySheet, now: CarrySheet) -> dict[str, str]:
    """Return the earlier value of every setting that moved."""
    was = {r.name: r.text_to for r in setting_rows(before)}
    return {r.name: was[r.name] for r in setting_rows(now) if r.name in was and was[r.name] != r.text_to}


def _chance(sheet: CarrySheet) -> str:
    return f"{percent(sheet.success.mean)} ({percent_range(sheet.success.low, sheet.success.high)})"


def _time(sheet: CarrySheet) -> str:
    return f"{duration(sheet.time.to_s)} on {plural(sheet.time.to_plates, 'plate')}"


def _by_hand(steps: tuple[HandStep, ...]) -> str:
    return "; ".join(f"{s.clock} {s.what} {s.value}" for s in steps) or "nothing"


def _said(value: object, unit: str) -> str:
    if value is None:
        return "as usual"
    return f"{value:g}{unit}" if isinstance(value, float) else f"{value}{unit}"
