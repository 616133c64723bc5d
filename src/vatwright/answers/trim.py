"""What of each wait and rise is needed, and what to run next, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Block, Column, Figure, Part, Row, Table, Working, said
from vatwright.answers.hands import clocked
from vatwright.answers.numbers import (
    bench,
    clock,
    duration,
    fixed,
    one_line,
    percent,
    percent_range,
    resin_volume,
    sentence,
    setting_value,
    typed,
    unit_label,
)
from vatwright.answers.settings import in_phase, name_called, setting_words
from vatwright.errors import InputError, Mistake
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.records.taken import SAFE, WhyNot, least_chance
from vatwright.records.tried import Changed
from vatwright.wording import say, to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

    from vatwright.records.plan import CarrySheet, HandPlan
    from vatwright.records.taken import Taken, Trimmed
    from vatwright.records.tried import Experience
    from vatwright.records.trim import FrontierPoint, NextRun, Portion, TrimSheet

HOUR_S = 3600.0
RISES = {"base lift": "base.lift_mm", "body lift": "body.lift_mm", "lift": "body.lift_mm"}
"""Both stages of a rise together, by what people call them."""

LEVERS = (
    ("base.settle_s", to_say("base settle")), ("body.settle_s", to_say("body settle")), ("base.lift_mm", to_say("base lift")),
    ("body.lift_mm", to_say("body lift")),
)  # fmt: skip
"""What may be held, by public name, and what it is called."""

MADE_NOTE = to_say(
    "Needed: the middle of the range. Soak and refill stay as they are, since what of a soak is needed is not known."
)

WAYS = {
    to_say("today"): to_say("today"),
    "next": to_say("next run"),
    "end": to_say("no more worth taking"),
    "less": to_say("less of everything"),
    "tolerance": to_say("today, another tolerance"),
}
"""What a point of the frontier is."""


def held_names(words: Iterable[str]) -> tuple[str, ...]:
    """Return the public names of settings that people name to be held.

    Raises
    ------
    InputError
        With every name that no setting has.

    Examples
    --------
    >>> held_names(["body settle", "lift", "base.settle_s"])
    ('body.settle_s', 'body.lift_mm', 'base.settle_s')
    """
    found = {word: RISES.get(word.strip().lower()) or _named(word) for word in words}
    known = ", ".join([*RISES, *(setting_words(n) for n in SETTING_NAMES)])
    mistakes = [
        Mistake("--hold", to_say("no setting is called {w!r}", w=w), to_say("Name one of: {known}", known=known))
        for w, n in found.items()
        if not n
    ]
    if mistakes:
        raise InputError(mistakes)
    return tuple(name for name in found.values() if name)


def _named(word: str) -> str:
    return word.strip() if word.strip() in RISES.values() else name_called(word, SETTING_NAMES)


def trim_answer(sheet: TrimSheet) -> Answer:
    """Return what is needed and what to run next in words, what to do on top."""
    blocks = (*said(trim_lead(sheet), role="do"), *(_next_blocks(sheet.next) if sheet.next else ()), *_more(sheet))
    pages = (
        Part("made", say("What is the waiting made of?"), _made(sheet), say("Made of")),
        Part("readings", say("What would each reading save?"), _readings(sheet), say("Readings")),
        Part("frontier", say("What does time buy?"), _frontier(sheet), say("Time and chance")),
    )
    return Answer(
        name="trim",
        title=say("{job} on {target}: what may go", job=one_line(sheet.job), target=one_line(sheet.target)),
        blocks=blocks,
        pages=tuple(p for p in pages if p.blocks),
    )


def trim_lead(sheet: TrimSheet) -> str:
    """Return what to run next, or why nothing is worth taking away."""
    if sheet.next is None:
        return _nothing(sheet)
    saves = about(sheet.to_s - sheet.next.to_s)
    chance = say(
        "chance {mean} (today {mean_2})", mean=percent(sheet.next.success.mean), mean_2=percent(sheet.success.mean)
    )
    return say(
        "Next run: {changes}: saves {saves}; {chance}.",
        changes=", ".join(changes(sheet.next.taken, sheet.next.settings.value)),
        saves=saves,
        chance=chance,
    )


def trimmed_sentence(told: Trimmed | None, sheet: CarrySheet) -> str:
    """Return what a carry sheet took away on purpose, or why nothing; empty where its job does not ask for it."""
    if told is None:
        return ""
    if told.why_not is not None:
        return why_nothing(told.why_not, mean=told.mean, confidence=sheet.confidence)
    given = {a.name: a.to_value for a in sheet.settings}
    end = (
        say(
            "If each holds, about {runs_left} such runs until no more is worth taking: it then takes {end}.",
            runs_left=told.runs_left,
            end=duration(told.end_s),
        )
        if told.runs_left > 1
        else say("After it no more is worth taking.")
    )
    saved = say(
        "saves {from_}, and the chance was {mean} before",
        from_=about(told.from_s - sheet.time.to_s),
        mean=percent(told.mean),
    )
    return say(
        "Taken away on purpose: {changes}; {saved}. {end}",
        changes=", ".join(changes(told.taken, given.__getitem__)),
        saved=saved,
        end=end,
    )


WORTH_SAYING = 0.1
"""A doubt below this is in the chance, and gets no sentence [-]."""

SINCE = {
    Changed.PARTS: to_say("other parts"),
    Changed.FILM: to_say("another film"),
    Changed.SCREEN: to_say("another screen"),
    Changed.ROOM: to_say("a colder room"),
    Changed.ASKED: to_say("something else asked for"),
}
"""What a run had that is no longer so."""


def experience_sentences(told: Experience | None) -> tuple[str, ...]:
    """Return what runs of this very job say of its settings: what is kept, what failed, what no longer counts.

    Examples
    --------
    >>> from vatwright.records.tried import Experience, Raised
    >>> experience_sentences(Experience(raised=(Raised(setting="body.settle_s", failed_at=6.0, to=7.5, run="two"),)))
    ('Body settle is at least 7.5 s where it counts: 6 s failed in run two.',)
    """
    if told is None:
        return ()
    held = say("Set as in run {kept}, which held.", kept=one_line(told.kept))
    but = say("All else is set as in run {kept}, which held.", kept=one_line(told.kept))
    kept = (but if told.raised else held) if told.kept else ""
    raised = (
        say(
            "{lever_words} is at least {lever_value} where it counts: {lever_value_2} failed in run {run}.",
            lever_words=sentence(_lever_words(r.setting)).rstrip("."),
            lever_value=_lever_value(r.setting, r.to),
            lever_value_2=_lever_value(r.setting, r.failed_at),
            run=one_line(r.run),
        )
        for r in told.raised
    )
    freed = (
        say(
            "Run {run} failed with {since}: it is not held against these settings.",
            run=one_line(f.run),
            since=say(" and ").join(SINCE[c] for c in f.changed),
        )
        for f in told.freed
    )
    wrong = (
        say(
            "{failed} of {ran} runs of this job failed here: with {doubt} something is wrong "
            "that no setting mends. Ask why before the next run.",
            failed=told.failed,
            ran=told.ran,
            doubt=percent(told.doubt),
        )
        if told.doubt >= WORTH_SAYING
        else ""
    )
    return tuple(text for text in (wrong, *raised, kept, *freed) if text)


def _lever_words(name: str) -> str:
    return say(dict(LEVERS)[name]) if name in dict(LEVERS) else setting_words(name)


def _lever_value(name: str, value_si: float) -> str:
    unit = "mm" if name.endswith("_mm") else "s"
    return f"{typed(bench(value_si, unit))} {unit_label(unit)}"


def _nothing(sheet: TrimSheet) -> str:
    return (
        ""
        if sheet.why_not is None
        else why_nothing(sheet.why_not, mean=sheet.success.mean, confidence=sheet.confidence)
    )


def why_nothing(why: WhyNot, *, mean: float, confidence: float) -> str:
    """Return why nothing is taken away."""
    asked = percent(confidence)
    return {
        WhyNot.UNSURE: say("Nothing to take away yet: today's settings hold in {mean} of runs, and {asked} are "
"asked for.", mean=percent(mean), asked=asked),
        WhyNot.CHANCE: _least_reached(mean, confidence),
        WhyNot.SMALL: say("Nothing worth taking away: a step towards what is needed would save less time than "
"typing it in."),
        WhyNot.FAILED: say("Nothing is taken away: the last run of this job failed. Let the next one hold first."),
        WhyNot.HELD: say("Nothing to take away: you hold every wait and rise."),
    }[why]  # fmt: skip


def _least_reached(mean: float, confidence: float) -> str:
    least = percent(least_chance(asked=confidence, today=mean))
    nothing = say(
        "Nothing worth taking away: with any less, fewer than {least} of runs would hold, or failing would cost more than "
        "it saves.",
        least=least,
    )
    if mean >= SAFE:
        return nothing
    safe = say("Under a chance of {safe} nothing is taken away that makes a run less sure.", safe=percent(SAFE))
    return f"{nothing} {safe}"


def changes(taken: Iterable[Taken], now: Callable[[str], float]) -> tuple[str, ...]:
    """Return each change in a few words, both stages of a rise together."""
    told: dict[str, str] = {}
    before = {t.setting: t.before for t in taken}
    for name, was in before.items():
        phase = name.split(".", maxsplit=1)[0]
        if name.endswith("lift_mm"):
            stages = [f"{phase}.{stage}" for stage in ("peel_lift_mm", "clear_lift_mm")]
            both = [before.get(stage, now(stage)) for stage in stages]
            told[in_phase(phase, say("lift"))] = f"{_stages(both)} → {_stages([now(s) for s in stages])} mm"
        else:
            unit = setting_unit(name)
            number = typed(bench(was, unit))
            told[setting_words(name)] = f"{number} → {setting_value(name, now(name))}"
    return tuple(f"{name} {change}" for name, change in told.items())


def _stages(values: Iterable[float]) -> str:
    return "+".join(typed(bench(v, "mm")) for v in values)


def _next_blocks(run: NextRun) -> tuple[Block, ...]:
    rows = tuple(
        Row((setting_words(t.setting), setting_value(t.setting, t.before), setting_value(t.setting, t.after),
             about(t.saves_s)))
        for t in run.taken
    )  # fmt: skip
    columns = (Column(say("set")), Column(say("today")), Column(say("next run")), Column(say("saves")))
    table = Table(columns=columns, rows=rows, slug="next", note=say("All else stays. Savings are for all pieces."))
    left = (
        say(
            "If each holds, about {runs_left} such runs until no more is worth taking: it then takes {end}.",
            runs_left=run.runs_left,
            end=duration(run.end_s),
        )
        if run.runs_left > 1
        else say("After it no more is worth taking, unless a reading or a run narrows what is needed.")
    )
    span = percent_range(run.success.low, run.success.high)
    chance = say(
        "It takes {to}; its chance is {mean} ({span}).",
        to=duration(run.to_s),
        mean=percent(run.success.mean),
        span=span,
    )
    return (table, *said(_by_hand(run.hand)), *said(chance, left))


def _by_hand(hand: HandPlan | None) -> str:
    if hand is None:
        return ""
    hours = any(v.at_s >= HOUR_S for v in hand.visits)
    start = say(
        "By hand: before the start set settle to {setting}", setting=setting_value(hand.setting, hand.start_value)
    )
    then = [clocked(clock(v.at_s, hours=hours), setting_value(v.setting, v.value)) for v in hand.visits]
    return (
        say(
            "{start}; then, {hours} after the start: {then}.",
            start=start,
            hours="h:min:s" if hours else "min:s",
            then=" · ".join(then),
        )
        if then
        else f"{start}."
    )


def _more(sheet: TrimSheet) -> tuple[Block, ...]:
    step = sheet.ladder[0] if sheet.ladder and sheet.ladder[0].saves_s > 0.0 else None
    read = (
        say(
            "Worth most for its effort: {what} ({minutes}); it may save {saves} a run.",
            what=one_line(step.what),
            minutes=duration(60.0 * step.minutes),
            saves=about(step.saves_s),
        )
        if step
        else ""
    )
    held = ", ".join(map(_lever_words, sheet.held))
    return said(read, say("You hold {held}.", held=held) if held else "", role="note")


# --- the other pages -------------------------------------------------------------------------------------------------


def _made(sheet: TrimSheet) -> tuple[Block, ...]:
    columns = tuple(
        map(
            Column,
            (
                say("wait or rise"),
                say("needed"),
                say("covers what is not known"),
                say("spare of the proof"),
                say("rounding and limits"),
            ),
        )
    )
    table = Table(
        title=say("What is set, and the time of all pieces that goes into it"),
        columns=columns,
        rows=tuple(_portion(p) for p in sheet.portions),
        slug="portions",
        note=MADE_NOTE,
    )
    return (table,) if sheet.portions else ()


def _portion(p: Portion) -> Row:
    unit = "mm" if p.setting.endswith("_mm") else "s"
    head = _lever_words(p.setting)
    pairs = (
        (p.need, p.need_time_s), (p.cover, p.cover_time_s), (p.spare, p.spare_time_s), (p.rounding, p.rounding_time_s),
    )  # fmt: skip
    return Row((head, *(f"{fixed(bench(v, unit), 1)} {unit_label(unit)}, {_minutes(t)}" for v, t in pairs)))


def _minutes(seconds: float) -> str:
    return f"-{about(-seconds)}" if seconds <= -0.5 else about(max(seconds, 0.0))


def about(seconds: float) -> str:
    """Return a time to the minute: what is saved is known no better.

    Examples
    --------
    >>> about(1300.0), about(12.0), about(0.0)
    ('22 min', 'under a minute', 'nothing')
    """
    if seconds < 0.5:
        return say("nothing")
    return say("under a minute") if seconds < 30.0 else duration(60.0 * round(seconds / 60.0))


def _readings(sheet: TrimSheet) -> tuple[Block, ...]:
    rows = tuple(
        Row((
            sentence(s.what).rstrip("."), duration(60.0 * s.minutes),
            resin_volume(s.resin_m3) if s.resin_m3 else say("none"), about(s.saves_s),
        ))
        for s in sheet.ladder
    )  # fmt: skip
    columns = tuple(map(Column, (say("do"), say("takes"), say("resin"), say("may save a run"))))
    note = say("On average, by shorter waits and by failures not had; estimates.")
    return (Table(columns=columns, rows=rows, slug="readings", note=note),) if rows else ()


def _frontier(sheet: TrimSheet) -> tuple[Block, ...]:
    rows = tuple(_way(p) for p in sheet.frontier)
    columns = (
        Column(say("settings")),
        Column(say("all pieces")),
        Column(say("chance")),
        Column(say("thickness within")),
    )
    note = say("The chance is that a run holds; how true layers come out is the tolerance, kept apart.")
    table = Table(title=say("Time against chance"), columns=columns, rows=rows, slug="frontier-table", note=note)
    return (Figure(slug="frontier", data=sheet), Working(say("The same in numbers"), (table,)))


def _way(p: FrontierPoint) -> Row:
    return Row((WAYS[p.what], duration(p.to_s), percent(p.mean), f"±{percent(p.tolerance)}"))


def frontier_finding(sheet: TrimSheet) -> str:
    """Return what the frontier shows: how far time falls before runs hold less often than asked."""
    safe = [p for p in sheet.frontier if p.mean >= sheet.confidence]
    if not safe:
        return say("Nothing here holds in {confidence} of runs", confidence=percent(sheet.confidence))
    least = min(safe, key=lambda p: p.to_s)
    return say(
        "{to} is the least that holds in {confidence} of runs, by what is known today",
        to=duration(least.to_s),
        confidence=percent(sheet.confidence),
    )
