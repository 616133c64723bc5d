"""What moves on a carry sheet when one thing is changed, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.carry import verdict
from vatwright.answers.hands import hand_steps
from vatwright.answers.names import capital
from vatwright.answers.numbers import duration, percent, percent_range
from vatwright.answers.settings import setting_rows
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.answers.blocks import Step
    from vatwright.interfaces.web.forms import JobAsked
    from vatwright.records.plan import CarrySheet


class Move(NamedTuple):
    """One thing that is not what it was."""

    what: str
    before: str
    now: str


CHANGEABLE = (
    ("to", to_say("machine"), ""),
    ("room_c", to_say("room"), " °C"),
    ("resin", to_say("resin"), ""),
    ("visits", to_say("visits by hand at most"), ""),
    ("present_min", to_say("somebody is there for"), " min"),
    ("confidence_percent", to_say("what must be covered"), " %"),
    ("ramp_layers", to_say("ramp layers"), ""),
    ("faint_steps", to_say("settle lowered by hand"), ""),
    ("trim", to_say("spare time of the proof"), ""),
)
"""Key of the job, what it is called, its unit."""

YES_NO = {
    "faint_steps": (to_say("in as few visits as it takes"), to_say("in steps too small to leave a line")),
    "trim": (to_say("kept"), to_say("taken away")),
}
"""What no and yes to a key of the job say."""


def asked_moves(before: JobAsked, now: JobAsked) -> list[Move]:
    """Return what was changed in the question."""
    return [
        Move(label, _said(key, getattr(before, key), unit), _said(key, getattr(now, key), unit))
        for key, label, unit in CHANGEABLE
        if getattr(before, key) != getattr(now, key)
    ]


def sheet_moves(before: CarrySheet, now: CarrySheet) -> list[Move]:
    """Return what moved in the answer: the verdict, the chance, the time, every setting and the hand schedule."""
    moves = [
        Move(to_say("Answer"), verdict(before), verdict(now)),
        Move(to_say("Chance that it holds"), _chance(before), _chance(now)),
        Move(to_say("Time"), _time(before), _time(now)),
    ]
    was = {r.name: r.text_to for r in setting_rows(before)}
    moves += [Move(capital(r.words), was.get(r.name, say("not set")), r.text_to) for r in setting_rows(now)]
    moves.append(Move(to_say("By hand"), _by_hand(hand_steps(before)), _by_hand(hand_steps(now))))
    return [m for m in moves if m.before != m.now]


def _chance(sheet: CarrySheet) -> str:
    return f"{percent(sheet.success.mean)} ({percent_range(sheet.success.low, sheet.success.high)})"


def _time(sheet: CarrySheet) -> str:
    return say(
        "{time} on {plates}",
        time=duration(sheet.time.to_s),
        plates=say_many(sheet.time.to_plates, "{n} plate", "{n} plates"),
    )


def _by_hand(steps: tuple[Step, ...]) -> str:
    return "; ".join(f"{s.when} {s.what} {s.value}" for s in steps) or say("nothing")


def _said(key: str, value: object, unit: str) -> str:
    if isinstance(value, bool):
        return say(YES_NO[key][value])
    if value is None:
        return say("as usual")
    return f"{value:g}{unit}" if isinstance(value, float) else f"{value}{unit}"
