"""A quick look: one thing of a sheet changed, asked in bench units and told side by side."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Annotated, NamedTuple

from attrs import evolve
from pydantic import BaseModel, Field

from vatwright import wiring
from vatwright.answers.names import capital, setting_called
from vatwright.answers.numbers import (
    bench,
    celsius,
    clock,
    duration,
    one_line,
    percent,
    percent_range,
    setting_value,
    typed,
    unit_label,
)
from vatwright.answers.settings import setting_label
from vatwright.errors import InputError
from vatwright.interfaces.web.forms import Asked, Name, Number
from vatwright.interfaces.web.sheet_moves import Move
from vatwright.quantities import SETTINGS
from vatwright.records.process import PHASE_SETTINGS, SETTING_NAMES, setting_unit
from vatwright.records.quick_look import CHANCE_OFF, SETTLE_OFF
from vatwright.units import celsius_to_kelvin, to_si
from vatwright.wording import in_words, say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.interfaces.web.desk import Desk
    from vatwright.interfaces.web.jobs import Work
    from vatwright.records.job import Job, Shop
    from vatwright.records.plan import HandPlan
    from vatwright.records.quick_look import QuickLook, QuickPlan

GONE = to_say("The plan of this sheet is no longer at hand: work the sheet out again, then look.")

LIMITS = {
    "room_c": (to_say("room"), "°C", 0.0, 60.0),
    "confidence_percent": (to_say("what must be covered"), "%", 50.0, 99.9),
    "visits": (to_say("visits by hand at most"), "", 0.0, 20.0),
    "present_min": (to_say("somebody is there for"), "min", 0.0, 100_000.0),
}
"""What of a question may be changed: its label, unit and limits, those of a job file."""

MOST_SI = {"s": 1200.0, "mm": 0.1, "mm_s": 0.1}
"""The largest value looked at: the longest settle a plan considers, and a rise no machine makes."""

RESIN = "resin"


class LookAsked(Asked):
    """One thing to change: a key of the job or the name of a setting, and what it is to be in its bench unit."""

    what: Annotated[str, Field(max_length=100)]
    value: Number | None = None
    resin: Name | None = None


class Choice(NamedTuple):
    """One thing that may be changed: how it is asked for, its label with its unit, and what it is now."""

    what: str
    label: str
    now: str


class LookWords(NamedTuple):
    """A quick look in words."""

    asked: Move
    moves: list[Move]
    same: tuple[str, ...]
    how_far: str
    full: dict[str, str]


def choices(job: Job, settings: dict[str, float]) -> tuple[list[Choice], list[Choice]]:
    """Return what may be changed: of the question, and of what is set by hand, with the values on the sheet."""
    of_job = [Choice(key, _with_unit(LIMITS[key][0], LIMITS[key][1]), f"{_of_job(job, key):g}") for key in LIMITS]
    rules = job.target.controller
    of_sheet = [
        Choice(s.name, _with_unit(setting_called(s.name), unit_label(s.unit)), f"{bench(settings[s.name], s.unit):g}")
        for s in PHASE_SETTINGS
        if s.name in settings and rules.rule(s.name).obeys.value != "no"
    ]
    return of_job, of_sheet


def look(desk: Desk, work: Work, asked: LookAsked, shop: Shop | None = None) -> QuickLook:
    """Return what moves; InputError where what is asked cannot be, or the plan is no longer kept."""
    job: Job = work.about
    changed, values = _changed(shop or desk.shop().records, job, asked)
    with desk.turns.short():
        found = wiring.look_quickly(job, changed=changed, values=values)
    if found is None:
        raise InputError.one(to_say("this sheet"), to_say("cannot be looked at"), GONE)
    return found


def told(job: Job, asked: LookAsked, found: QuickLook) -> LookWords:
    """Return a quick look in words: what was changed, what moved, what stayed, and how far it may be off."""
    rows = [*_head(found.before, found.now), *_settings(found.before, found.now)]
    rows.append(Move(say("By hand"), _by_hand(found.before.hand), _by_hand(found.now.hand)))
    return LookWords(
        asked=_asked_move(job, asked, found),
        moves=[r for r in rows if r.before != r.now],
        same=tuple(r.what for r in rows[:2] if r.before == r.now),
        how_far=_how_far(job, asked, found),
        full=_full(asked),
    )


def _how_far(job: Job, asked: LookAsked, found: QuickLook) -> str:
    weakest = min(found.now.chances, key=lambda name: found.now.chances[name])
    words = {
        "base": say("the base's bond"),
        "body": say("a later layer's bond"),
        "release": say("the release from the film"),
    }
    said = ""
    if found.now.success.mean < 0.995:
        said = say(
            "The weakest is {bond}: it holds in {share}. ",
            bond=words[weakest],
            share=percent(found.now.chances[weakest]),
        )
    if asked.what in SETTING_NAMES:
        return said + say("Only this value is set otherwise; the others stay as the sheet has them.")
    said += say(
        "A quick look, by the sheet's own models: the chance within {points:.0f} points "
        "of the full answer, the body settle within {share:.0f} % or one step.",
        points=CHANCE_OFF * 100,
        share=SETTLE_OFF * 100,
    )
    if found.now.success.mean < job.confidence:
        said += say(" As it will not hold as often as asked, the full answer may choose longer waits.")
    return said


# --- what is asked -------------------------------------------------------------------------------------------------------


def _changed(shop: Shop, job: Job, asked: LookAsked) -> tuple[Job | None, dict[str, float]]:
    if asked.what == RESIN:
        return _with_resin(shop, job, asked.resin), {}
    if asked.value is None:
        raise InputError.one(to_say("the new value"), to_say("is not given"), to_say("Write a number"))
    if asked.what in LIMITS:
        return _with_job_value(job, asked.what, asked.value), {}
    if asked.what not in SETTING_NAMES or "." not in asked.what or setting_unit(asked.what) not in MOST_SI:
        raise InputError.one(asked.what, to_say("cannot be changed in a quick look"), to_say("Choose one of the list"))
    unit, label = setting_unit(asked.what), " ".join(setting_label(asked.what))
    value = to_si(asked.value, unit)
    if not (value >= 0.0 if SETTINGS[asked.what].may_be_zero else value > 0.0) or value > MOST_SI[unit]:
        most = f"{typed(bench(MOST_SI[unit], unit))} {unit_label(unit)}"
        raise InputError.one(
            label,
            to_say("{value} is out of range", value=typed(asked.value)),
            to_say("Give a value up to {most}", most=most),
        )
    return None, {asked.what: value}


def _with_resin(shop: Shop, job: Job, name: str | None) -> Job:
    resin = next((r for r in shop.resins if r.name == name), None)
    if resin is None:
        raise InputError.one(
            to_say("resin"),
            to_say("there is none called {name!r}", name=name or ""),
            to_say("Choose one of the shop's"),
        )
    return evolve(job, resin=resin)


def _with_job_value(job: Job, key: str, value: float) -> Job:
    label, unit, low, high = LIMITS[key]
    if not low <= value <= high or (key == "visits" and value != math.floor(value)):
        span = f"{low:g}–{high:g} {unit}".strip()  # noqa: RUF001 - an en dash between the ends of a range
        raise InputError.one(
            label, to_say("{value} is out of range", value=typed(value)), to_say("Give {span}", span=span)
        )
    if key == "room_c":
        return evolve(job, room_k=celsius_to_kelvin(value))
    if key == "confidence_percent":
        return evolve(job, confidence=value / 100.0)
    if key == "visits":
        return evolve(job, hands=evolve(job.hands, visits=int(value)))
    return evolve(job, hands=evolve(job.hands, present_s=to_si(value, "min")))


def _of_job(job: Job, key: str) -> float:
    return {
        "room_c": round(job.room_k - celsius_to_kelvin(0.0), 3),
        "confidence_percent": round(job.confidence * 100.0, 3),
        "visits": float(job.hands.visits),
        "present_min": job.hands.present_s / to_si(1.0, "min"),
    }[key]


def _full(asked: LookAsked) -> dict[str, str]:
    """The field of the whole question that asks the same; empty where the plan chooses the value itself."""
    if asked.what == RESIN:
        return {"resin": asked.resin or ""}
    return {asked.what: f"{asked.value:g}"} if asked.what in LIMITS else {}


# --- what is told --------------------------------------------------------------------------------------------------------


def _asked_move(job: Job, asked: LookAsked, found: QuickLook) -> Move:
    if asked.what == RESIN:
        return Move(say("resin"), one_line(job.resin.name), one_line(asked.resin or ""))
    value = asked.value or 0.0
    if asked.what == "room_c":
        return Move(say("room"), celsius(job.room_k), celsius(celsius_to_kelvin(value)))
    if asked.what in LIMITS:
        label, unit = LIMITS[asked.what][:2]
        return Move(label, f"{_of_job(job, asked.what):g} {unit}".strip(), f"{value:g} {unit}".strip())
    name, si = asked.what, to_si(value, setting_unit(asked.what))
    return Move(setting_called(name), setting_value(name, found.before.settings.value(name)), setting_value(name, si))


def _head(before: QuickPlan, now: QuickPlan) -> list[Move]:
    return [
        Move(say("Chance that it holds"), _chance(before), _chance(now)),
        Move(say("Time"), duration(before.to_s), duration(now.to_s)),
    ]


def _chance(seen: QuickPlan) -> str:
    return f"{percent(seen.success.mean)} ({percent_range(seen.success.low, seen.success.high)})"


def _settings(before: QuickPlan, now: QuickPlan) -> list[Move]:
    rows = []
    for name in SETTING_NAMES:
        was, new = (setting_value(name, seen.settings.value(name)) for seen in (before, now))
        rows.append(Move(capital(setting_called(name)), was, new))
    return rows


def _by_hand(hand: HandPlan | None) -> str:
    if hand is None or not hand.visits:
        return (
            say("nothing")
            if hand is None
            else say("{setting} all along", setting=setting_value(hand.setting, hand.start_value))
        )
    start = setting_value(hand.setting, hand.start_value)
    steps = ", ".join(
        f"{say('{value} at {time}', value=setting_value(v.setting, v.value), time=clock(v.at_s, hours=True))}"
        for v in hand.visits
    )
    return say(
        "{visits}: {start}, then {steps}",
        visits=say_many(len(hand.visits), "{n} visit", "{n} visits"),
        start=start,
        steps=steps,
    )


def _with_unit(label: str, unit: str) -> str:
    return f"{in_words(label)} [{unit}]" if unit else label


# --- for programs --------------------------------------------------------------------------------------------------------


class ChanceShape(BaseModel):
    """The chance that the run holds and its 90 % range, in per cent."""

    percent: float
    low_percent: float
    high_percent: float


class HandShape(BaseModel):
    """One change by hand, times since the start."""

    at_s: float
    layer: int
    value_s: float


class SeenShape(BaseModel):
    """What a plan comes to; settings in bench units, by name."""

    chance: ChanceShape
    time_s: float
    settings: dict[str, float]
    start_settle_s: float | None
    visits: list[HandShape]


class LookShape(BaseModel):
    """A sheet and what it would be with one thing changed, and how far that may be off the full answer."""

    before: SeenShape
    now: SeenShape
    chance_off_points: float
    settle_off_percent: float


def shape_of_look(found: QuickLook) -> LookShape:
    """Return a quick look as programs read it."""
    return LookShape(
        before=_seen(found.before),
        now=_seen(found.now),
        chance_off_points=CHANCE_OFF * 100.0,
        settle_off_percent=SETTLE_OFF * 100.0,
    )


def _seen(plan: QuickPlan) -> SeenShape:
    ends = {"percent": plan.success.mean, "low_percent": plan.success.low, "high_percent": plan.success.high}
    return SeenShape(
        chance=ChanceShape(**{k: round(100.0 * v, 2) for k, v in ends.items()}),
        time_s=round(plan.to_s, 1),
        settings={name: bench(plan.settings.value(name), setting_unit(name)) for name in SETTING_NAMES},
        start_settle_s=plan.hand.start_value if plan.hand else None,
        visits=[HandShape(at_s=v.at_s, layer=v.layer, value_s=v.value) for v in plan.hand.visits] if plan.hand else [],
    )
