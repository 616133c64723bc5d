"""What a person does by hand while the machine runs, in words."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Block, Sentence, Step, Steps, said
from vatwright.answers.numbers import clock, duration, one_line, setting_value
from vatwright.answers.settings import in_phase, setting_label
from vatwright.answers.warmth import refused
from vatwright.records.plan import HandWhy
from vatwright.wording import say, say_many, to_say

if TYPE_CHECKING:
    from vatwright.records.plan import CarrySheet, HandPlan, Visit

HOUR_S = 3600.0
LISTED = 6
NOTHING = to_say("Nothing to do by hand: the controller does it all.")
NOT_COVERED = to_say("This schedule does not give every layer what it needs.")


def visits_sentence(hand: HandPlan | None) -> str:
    """Return how often a person has to come."""
    if hand is None:
        return NOTHING
    if not hand.visits:
        return say("Nobody needs to come during the run.")
    last = duration(hand.visits[-1].at_s)
    return say_many(
        len(hand.visits),
        "{n} visit by hand, the last after {last}.",
        "{n} visits by hand, the last after {last}.",
        last=last,
    )


def hand_setting(sheet: CarrySheet, name: str) -> str:
    """Return what the controller calls the setting that is changed by hand."""
    phase, label = setting_label(name)
    advice = next((a for a in sheet.settings if a.name == name), None)
    return label if advice is None or advice.honoured == "shared" else in_phase(phase, label)


def hand_steps(sheet: CarrySheet) -> tuple[Step, ...]:
    """Return what a person does, the value set before the start first; empty where there is nothing to do."""
    hand = sheet.hand
    if hand is None:
        return ()
    hours = any(v.at_s >= HOUR_S for v in hand.visits)
    start = setting_value(hand.setting, hand.start_value)
    first = Step(
        when=say("before the start"), what=hand_setting(sheet, hand.setting), value=start, layer=say("layer 0")
    )
    return (first, *(_hand_step(sheet, v, hours=hours) for v in hand.visits))


def clock_unit(sheet: CarrySheet) -> str:
    """Return how the clock times of the hand schedule are to be read."""
    visits = sheet.hand.visits if sheet.hand else ()
    return "h:min:s" if any(v.at_s >= HOUR_S for v in visits) else "min:s"


def _hand_step(sheet: CarrySheet, visit: Visit, *, hours: bool) -> Step:
    return Step(
        when=clock(visit.at_s, hours=hours),
        what=hand_setting(sheet, visit.setting),
        value=setting_value(visit.setting, visit.value),
        layer=say("from layer {layer}", layer=visit.layer),
        safe=safe_window(visit),
    )


def safe_window(visit: Visit) -> str:
    """Return how late and how early a hand may be; what only costs time is said so."""
    late = (
        say("late only costs time")
        if math.isinf(visit.late_ok_s)
        else say("at most {late_ok} late", late_ok=duration(visit.late_ok_s, down=True))
    )
    if math.isinf(visit.early_ok_s):
        return say("{late}; early at any time", late=late)
    early = (
        say("at most {early_ok} early", early_ok=duration(visit.early_ok_s, down=True))
        if visit.early_ok_s >= 1.0
        else say("never early")
    )
    return f"{late}; {early}"


def by_hand_in_short(sheet: CarrySheet) -> tuple[Sentence, ...]:
    """Return the whole schedule in a line or three."""
    steps = hand_steps(sheet)
    if not steps or sheet.hand is None:
        return said(NOTHING)
    start, *visits = steps
    first = say("Before the start set {what} to {value}.", what=start.what, value=start.value)
    then = " · ".join(clocked(s.when, s.value) for s in visits[:LISTED])
    then += say(" · {visits} more under By hand", visits=len(visits) - LISTED) if len(visits) > LISTED else ""
    after = (
        say("Then, {clock_unit} after the start: {then}.", clock_unit=clock_unit(sheet), then=then)
        if visits
        else say("Nobody needs to come during the run.")
    )
    short = "" if sheet.hand.covers else say("{not_covered} Read on under By hand.", not_covered=NOT_COVERED)
    return (*said(first, after, role="do"), *said(short, _latest(sheet.hand) if visits and not short else ""))


def clocked(when: str, value: str) -> str:
    """Return one change by hand in a line of several."""
    return say("at {when} to {value}", when=when, value=value)


def _latest(hand: HandPlan) -> str:
    late = min(v.late_ok_s for v in hand.visits)
    return (
        say("Being late only costs time.")
        if math.isinf(late)
        else say("Up to {late} late is safe.", late=duration(late, down=True))
    )


def schedule(sheet: CarrySheet) -> tuple[Block, ...]:
    """Return the schedule with what is safe, and what the hands save."""
    steps = hand_steps(sheet)
    if not steps:
        return said(NOTHING)
    return (*said(visits_sentence(sheet.hand)), Steps(steps=steps, clock=clock_unit(sheet)), *said(*hand_cost(sheet)))


def hand_cost(sheet: CarrySheet) -> tuple[str, ...]:
    """Return what the hands save, in sentences."""
    hand = sheet.hand
    if hand is None:
        return ()
    alone = say(
        "{alone_total}, at {setting} throughout",
        alone_total=duration(hand.alone_total_s),
        setting=setting_value(hand.setting, hand.alone_value),
    )
    return (
        *(() if hand.covers else (NOT_COVERED,)),
        hand_note(hand, sheet.target),
        say("One plate takes {total} this way; with nobody there {alone}.", total=duration(hand.total_s), alone=alone),
    )


def hand_note(hand: HandPlan, target: str) -> str:
    """Return why the schedule is as it is."""
    machine = one_line(target)
    told = {
        HandWhy.SHARED: say("{machine} has one settle for base and body: a hand changes it.", machine=machine),
        HandWhy.FEW_LAYERS: say("A few layers need a longer settle than the rest: a hand raises it for them."),
        HandWhy.SERVES_BOTH: say("{machine} has one settle for base and body; this one serves both.", machine=machine),
        HandWhy.FIXED: say(
            "{machine} has one settle for base and body, which cannot be changed while it runs.", machine=machine
        ),
    }[hand.why]
    if hand.short_layer is None:
        return told
    return say(
        "{told} Layer {short_layer} needs {short_by} more settle than this machine allows.",
        told=told,
        short_layer=hand.short_layer,
        short_by=duration(hand.short_by_s),
    )


def visits_answer(sheet: CarrySheet) -> Answer:
    """Return the hand schedule alone; where the sheet refuses the resin's warmth, that."""
    if sheet.warm_up is not None:
        title = say("{job} on {target}", job=one_line(sheet.job), target=one_line(sheet.target))
        return Answer(name="visits", title=title, blocks=refused(sheet.warm_up))
    return Answer(
        name="visits",
        title=say("{job} on {target}", job=one_line(sheet.job), target=one_line(sheet.target)),
        blocks=schedule(sheet),
    )
