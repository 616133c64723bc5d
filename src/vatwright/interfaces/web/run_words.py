"""What the Run page says: the next change by hand, the strip of the whole run, what went short."""

from __future__ import annotations

import json
import math
import secrets
from datetime import UTC, datetime
from typing import TYPE_CHECKING, NamedTuple

from vatwright.answers.names import capital
from vatwright.answers.numbers import clock, duration, setting_value
from vatwright.records.live_run import TapKind
from vatwright.wording import long_day, say, to_say

if TYPE_CHECKING:
    from vatwright.records.live_run import RunPlan
    from vatwright.services.run_now import Answered, Next, RunView

HOUR_S = 3600.0
_NEVER_S = 1e9
"""Stands for infinity where a page must read it [s]."""

STRIP = 1000.0
"""Width of the strip in its own units."""

SAID = {TapKind.DONE: to_say("done"), TapKind.COULD_NOT: to_say("could not be done")}
TAPPED = {
    TapKind.STARTED: to_say("the start"),
    TapKind.DONE: to_say("done"),
    TapKind.LATER: to_say("later"),
    TapKind.COULD_NOT: to_say("could not"),
    TapKind.LAYER: to_say("the layer shown"),
    TapKind.ENDED: to_say("the end"),
}


def run_texts() -> dict[str, str]:
    """Return what the script of the page says by itself between the server's answers, with places that it fills."""
    return {
        "tap": say("; {n} tap kept to send"),
        "taps": say("; {n} taps kept to send"),
        "unpaired": say("This phone is no longer paired. Scan a new code at the desk{taps}."),
        "away": say("No connection. The run goes on, and so does this clock{taps}."),
        "sending": say("Sending."),
        "nothing": say("Nothing more to do by hand"),
        "from": say("From layer {layer} on; {safe}."),
        "left": say("{time} left."),
        "due": say("in {time}"),
        "now": say("now"),
        "late": say("late by {time}"),
        "sleeps": say(
            "This browser lets no page keep the screen on here: set the phone's screen to stay on. "
            "A sleeping phone loses nothing, but cannot call."
        ),
        "stays": say("The screen stays on while this page is open."),
        "tapped": say("The screen may go off: tap anything here to keep it on."),
    }


class ToDo(NamedTuple):
    """One change by hand, in words: key, when, what, value, from which layer, how late is safe; due and quiet until [s].

    `early_s` is how early it may be made without harm [s], `early` what fails where it is made earlier, `late` what fails
    where it is not made.
    """

    key: str
    when: str
    what: str
    value: str
    layer: int
    safe: str
    due_s: float
    quiet_s: float
    early_s: float
    early: str
    late: str


class WasDone(NamedTuple):
    """One change that was answered, in words."""

    when: str
    what: str
    how: str


class Mark(NamedTuple):
    """A mark on the strip: place, and "done", "could_not" or "due"."""

    x: float
    kind: str


class RunWords(NamedTuple):
    """Everything that the page of a run shows."""

    state: str
    version: str
    now_s: float
    started_s: float | None
    total_s: float
    clock: str
    layer: str
    ends: str
    first: ToDo | None
    ahead: list[ToDo]
    done: list[WasDone]
    marks: list[Mark]
    now_x: float
    short: list[str]
    back: tuple[str, str] | None
    start: str
    label: str
    tap_ids: list[str]
    shown_ahead: str
    last_layer: int


def run_words(view: RunView) -> RunWords:
    """Return what a run has to say now."""
    plan, hours = view.run.plan, view.total_s >= HOUR_S
    ahead = [_to_do(view, n, hours=hours) for n in view.ahead]
    going = view.state in ("running", "over")
    return RunWords(
        state=view.state,
        version=f"{view.state}-{len(view.run.steps)}-{len(view.short)}",
        now_s=view.now_s,
        started_s=view.run.started_s,
        total_s=view.total_s,
        clock=clock(view.elapsed_s, hours=hours),
        layer=say("layer {layer} of {layers}", layer=view.layer, layers=len(plan.rest_s)),
        ends=duration(max(0.0, view.total_s - view.elapsed_s)),
        first=ahead[0] if going and ahead else None,
        ahead=ahead,
        done=[_was_done(view, a, hours=hours) for a in view.answered],
        marks=_marks(view),
        now_x=STRIP * min(1.0, view.elapsed_s / view.total_s) if view.total_s > 0.0 else 0.0,
        short=_short(view),
        back=(view.last.id, say(TAPPED[view.last.kind])) if view.last is not None else None,
        start=setting_value(plan.setting, plan.start_s) if plan.by_hand else "",
        label=say(plan.label),
        tap_ids=[secrets.token_urlsafe(12) for _ in range(6)],
        shown_ahead=json.dumps([a._asdict() | {"early_s": min(a.early_s, _NEVER_S)} for a in ahead]),
        last_layer=len(plan.rest_s) - 1,
    )


def _to_do(view: RunView, visit: Next, *, hours: bool) -> ToDo:
    plan, started_s = view.run.plan, view.run.started_s or 0.0
    return ToDo(
        key=visit.key,
        when=clock(visit.due_s, hours=hours),
        what=say("set {setting} to", setting=say(plan.label)),
        value=setting_value(plan.setting, visit.value_s),
        layer=visit.layer,
        safe=_safe(visit),
        due_s=started_s + visit.due_s,
        quiet_s=started_s + visit.quiet_until_s,
        early_s=visit.early_ok_s,
        early="" if visit.raises else _harm(plan, visit),
        late=_harm(plan, visit) if visit.raises else "",
    )


def _harm(plan: RunPlan, visit: Next) -> str:
    """What fails, as the end of a sentence: "the base would get 6.5 s instead of 38 s and may let go"."""
    harm = visit.harm
    if harm is None:
        return ""
    in_base = harm.last < plan.base_layers
    where = say("the base") if in_base else _layers(harm.first, harm.last)
    given, needed = (setting_value(plan.setting, s) for s in (harm.given_s, harm.needed_s))
    would = (
        to_say("{where} would get {given} instead of {needed} and may let go")
        if in_base
        else to_say("{where} would get {given} instead of {needed} and may split")
    )
    return say(would, where=where, given=given, needed=needed)


def _layers(first: int, last: int) -> str:
    return (
        say("layer {first}", first=first) if first == last else say("layers {first} to {last}", first=first, last=last)
    )


def too_early(view: RunView, key: str) -> str:
    """Return the question that "done" raises now for a visit: how early it is, and what fails; empty where nothing does."""
    visit = next((n for n in view.ahead if n.key == key), None)
    if visit is None or visit.raises or visit.due_s - view.elapsed_s <= visit.early_ok_s:
        return ""
    harm = _harm(view.run.plan, visit)
    return say("{time} early: {harm}.", time=clock(visit.due_s - view.elapsed_s), harm=harm) if harm else ""


def _safe(visit: Next) -> str:
    if visit.raises:
        if math.isinf(visit.late_ok_s):
            return say("late only costs time")
        return say("up to {late} late is safe", late=duration(visit.late_ok_s, down=True))
    if math.isinf(visit.early_ok_s):
        return say("late only costs time")
    return say("late only costs time; never more than {early} early", early=duration(visit.early_ok_s, down=True))


def _was_done(view: RunView, answered: Answered, *, hours: bool) -> WasDone:
    plan, off_s = view.run.plan, answered.at_s - answered.due_s
    how = say(SAID[answered.kind])
    if answered.kind is TapKind.DONE and abs(off_s) >= 30.0:
        by = duration(abs(off_s))
        how += say(", {time} late", time=by) if off_s > 0 else say(", {time} early", time=by)
    value = setting_value(plan.setting, answered.value_s)
    return WasDone(clock(answered.at_s, hours=hours), f"{say(plan.label)} {value}", how)


def _marks(view: RunView) -> list[Mark]:
    if view.total_s <= 0.0:
        return []
    said = [(a.at_s, str(a.kind)) for a in view.answered]
    return [Mark(STRIP * min(1.0, t / view.total_s), k) for t, k in (*said, *((n.due_s, "due") for n in view.ahead))]


def _short(view: RunView) -> list[str]:
    plan = view.run.plan
    found = []
    for first, last in view.short[:5]:
        most = max(plan.needed_s[first : last + 1])
        less = (
            to_say("{where} was given less settle than the {needed} needed: too thick there, so look at that height.")
            if first == last
            else to_say(
                "{where} were given less settle than the {needed} needed: too thick there, so look at that height."
            )
        )
        found.append(say(less, where=capital(_layers(first, last)), needed=setting_value(plan.setting, most)))
    return found


def day_time(at_s: float) -> str:
    """Return a moment as day and time of this computer's zone."""
    at = datetime.fromtimestamp(at_s, UTC).astimezone()
    return f"{long_day(at)}, {at:%H:%M}"
