"""What of each wait and rise is needed, and what to run next, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.blocks import Answer, Block, Column, Figure, Part, Row, Table, Working, said
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
from vatwright.answers.settings import name_called, setting_label, setting_words
from vatwright.errors import InputError, Mistake
from vatwright.records.process import SETTING_NAMES, setting_unit
from vatwright.records.taken import WhyNot
from vatwright.records.tried import Changed

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
    ("base.settle_s", "base settle"), ("body.settle_s", "body settle"), ("base.lift_mm", "base lift"),
    ("body.lift_mm", "body lift"),
)  # fmt: skip
"""What may be held, by public name, and what it is called."""

MADE_NOTE = (
    "Needed: the middle of the range. Soak and refill stay as they are, since what of a soak is needed is not known."
)

WAYS = {
    "today": "today",
    "next": "next run",
    "end": "no more worth taking",
    "less": "less of everything",
    "tolerance": "today, another tolerance",
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
        Mistake("--hold", f"no setting is called {w!r}", f"Name one of: {known}") for w, n in found.items() if not n
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
        Part("made", "What is the waiting made of?", _made(sheet), "Made of"),
        Part("readings", "What would each reading save?", _readings(sheet), "Readings"),
        Part("frontier", "What does time buy?", _frontier(sheet), "Time and chance"),
    )
    return Answer(
        name="trim",
        title=f"{one_line(sheet.job)} on {one_line(sheet.target)}: what may go",
        blocks=blocks,
        pages=tuple(p for p in pages if p.blocks),
    )


def trim_lead(sheet: TrimSheet) -> str:
    """Return what to run next, or why nothing is worth taking away."""
    if sheet.next is None:
        return _nothing(sheet)
    saves = about(sheet.to_s - sheet.next.to_s)
    chance = f"chance {percent(sheet.next.success.mean)} (today {percent(sheet.success.mean)})"
    return f"Next run: {', '.join(changes(sheet.next.taken, sheet.next.settings.value))}: saves {saves}; {chance}."


def trimmed_sentence(told: Trimmed | None, sheet: CarrySheet) -> str:
    """Return what a carry sheet took away on purpose, or why nothing; empty where its job does not ask for it."""
    if told is None:
        return ""
    if told.why_not is not None:
        return why_nothing(told.why_not, mean=told.mean, confidence=sheet.confidence)
    given = {a.name: a.to_value for a in sheet.settings}
    end = (
        f"If each holds, about {told.runs_left} such runs until no more is worth taking: it then takes {duration(told.end_s)}."
        if told.runs_left > 1
        else "After it no more is worth taking."
    )
    saved = f"saves {about(told.from_s - sheet.time.to_s)}, and the chance was {percent(told.mean)} before"
    return f"Taken away on purpose: {', '.join(changes(told.taken, given.__getitem__))}; {saved}. {end}"


WORTH_SAYING = 0.1
"""A doubt below this is in the chance, and gets no sentence [-]."""

SINCE = {
    Changed.PARTS: "other parts",
    Changed.FILM: "another film",
    Changed.SCREEN: "another screen",
    Changed.ROOM: "a colder room",
    Changed.ASKED: "something else asked for",
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
    kept = f"Set as in run {one_line(told.kept)}, which held." if told.kept else ""
    raised = (
        f"{_lever_words(r.setting).capitalize()} is at least {_lever_value(r.setting, r.to)} where it counts: "
        f"{_lever_value(r.setting, r.failed_at)} failed in run {one_line(r.run)}."
        for r in told.raised
    )
    freed = (
        f"Run {one_line(f.run)} failed with {' and '.join(SINCE[c] for c in f.changed)}: it is not held against these settings."
        for f in told.freed
    )
    wrong = (
        f"{told.failed} of {told.ran} runs of this job failed here: with {percent(told.doubt)} something is wrong that no "
        "setting mends. Ask why before the next run."
        if told.doubt >= WORTH_SAYING
        else ""
    )
    return tuple(text for text in (wrong, kept, *raised, *freed) if text)


def _lever_words(name: str) -> str:
    return next((k for k, v in RISES.items() if v == name), "") or setting_words(name)


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
        WhyNot.UNSURE: f"Nothing to take away yet: today's settings hold in {percent(mean)} of runs, and {asked} "
        "are asked for.",
        WhyNot.CHANCE: f"Nothing worth taking away: with any less a run would hold less often than the {asked} asked for, or "
        "lose more by failing than it saves.",
        WhyNot.SMALL: "Nothing worth taking away: a step towards what is needed would save less time than typing it in.",
        WhyNot.FAILED: "Nothing is taken away: the last run of this job failed. Let the next one hold first.",
        WhyNot.HELD: "Nothing to take away: you hold every wait and rise.",
    }[why]  # fmt: skip


def changes(taken: Iterable[Taken], now: Callable[[str], float]) -> tuple[str, ...]:
    """Return each change in a few words, both stages of a rise together."""
    told: dict[str, str] = {}
    before = {t.setting: t.before for t in taken}
    for name, was in before.items():
        phase, label = setting_label(name)
        if label.endswith("lift"):
            stages = [f"{phase}.{stage}" for stage in ("peel_lift_mm", "clear_lift_mm")]
            both = [before.get(stage, now(stage)) for stage in stages]
            told[f"{phase} lift"] = f"{_stages(both)} → {_stages([now(s) for s in stages])} mm"
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
    columns = (Column("set"), Column("today"), Column("next run"), Column("saves"))
    table = Table(columns=columns, rows=rows, slug="next", note="All else stays. Savings are for all pieces.")
    left = (
        f"If each holds, about {run.runs_left} such runs until no more is worth taking: it then takes {duration(run.end_s)}."
        if run.runs_left > 1
        else "After it no more is worth taking, unless a reading or a run narrows what is needed."
    )
    span = percent_range(run.success.low, run.success.high)
    chance = f"It takes {duration(run.to_s)}; its chance is {percent(run.success.mean)} ({span})."
    return (table, *said(_by_hand(run.hand)), *said(chance, left))


def _by_hand(hand: HandPlan | None) -> str:
    if hand is None:
        return ""
    hours = any(v.at_s >= HOUR_S for v in hand.visits)
    start = f"By hand: before the start set settle to {setting_value(hand.setting, hand.start_value)}"
    then = [f"{clock(v.at_s, hours=hours)} {setting_value(v.setting, v.value)}" for v in hand.visits]
    return (
        f"{start}; then, {'h:min:s' if hours else 'min:s'} after the start: {' · '.join(then)}."
        if then
        else f"{start}."
    )


def _more(sheet: TrimSheet) -> tuple[Block, ...]:
    step = sheet.ladder[0] if sheet.ladder and sheet.ladder[0].saves_s > 0.0 else None
    read = (
        f"Worth most for its effort: {one_line(step.what)} ({duration(60.0 * step.minutes)}); it may save "
        f"{about(step.saves_s)} a run."
        if step
        else ""
    )
    names = {v: k for k, v in RISES.items() if k != "lift"}
    held = ", ".join(names.get(n) or setting_words(n) for n in sheet.held)
    return said(read, f"You hold {held}." if held else "", role="note")


# --- the other pages -------------------------------------------------------------------------------------------------


def _made(sheet: TrimSheet) -> tuple[Block, ...]:
    columns = tuple(
        map(Column, ("wait or rise", "needed", "covers what is not known", "spare of the proof", "rounding and limits"))
    )
    table = Table(
        title="What is set, and the time of all pieces that goes into it",
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
        return "nothing"
    return "under a minute" if seconds < 30.0 else duration(60.0 * round(seconds / 60.0))


def _readings(sheet: TrimSheet) -> tuple[Block, ...]:
    rows = tuple(
        Row((
            sentence(s.what).rstrip("."), duration(60.0 * s.minutes),
            resin_volume(s.resin_m3) if s.resin_m3 else "none", about(s.saves_s),
        ))
        for s in sheet.ladder
    )  # fmt: skip
    columns = tuple(map(Column, ("do", "takes", "resin", "may save a run")))
    note = "On average, by shorter waits and by failures not had; estimates."
    return (Table(columns=columns, rows=rows, slug="readings", note=note),) if rows else ()


def _frontier(sheet: TrimSheet) -> tuple[Block, ...]:
    rows = tuple(_way(p) for p in sheet.frontier)
    columns = (Column("settings"), Column("all pieces"), Column("chance"), Column("thickness within"))
    note = "The chance is that a run holds; how true layers come out is the tolerance, kept apart."
    table = Table(title="Time against chance", columns=columns, rows=rows, slug="frontier-table", note=note)
    return (Figure(slug="frontier", data=sheet), Working("The same in numbers", (table,)))


def _way(p: FrontierPoint) -> Row:
    return Row((WAYS[p.what], duration(p.to_s), percent(p.mean), f"±{percent(p.tolerance)}"))


def frontier_finding(sheet: TrimSheet) -> str:
    """Return what the frontier shows: how far time falls before runs hold less often than asked."""
    safe = [p for p in sheet.frontier if p.mean >= sheet.confidence]
    if not safe:
        return f"Nothing here holds in {percent(sheet.confidence)} of runs"
    least = min(safe, key=lambda p: p.to_s)
    return (
        f"{duration(least.to_s)} is the least that holds in {percent(sheet.confidence)} of runs, by what is known today"
    )
