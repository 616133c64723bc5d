"""What is due on machines, in sentences: what to do, and after how much use."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.numbers import one_line, significant
from vatwright.records.upkeep import Counted, Task
from vatwright.wording import long_day, say, say_many, to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.upkeep import Due

HOUR_S = 3600.0

DO = {
    Task.FILM: to_say("change the film"),
    Task.SCREEN: to_say("read the light again, and change the screen if it has dimmed or shows dead spots"),
    Task.FILTER: to_say("pour the resin through a filter, and feel vat and film for scraps and dents"),
    Task.VAT: to_say("empty and clean the vat, and look at the film from beneath against the light"),
}
"""What is to be done; common practice, no source."""


def due_sentence(due: Due) -> str:
    """Return what is due and why, in a sentence or two.

    Examples
    --------
    >>> from vatwright.records.upkeep import Counted, Due, Task
    >>> due_sentence(Due(task=Task.FILM, machine="Wren", what="film 7", after=Counted.LAYERS, used=31000, limit=30000))
    'Wren: change the film. Film 7 has released 31,000 layers; it is due after 30,000, by common practice.'
    """
    told = {"machine": one_line(due.machine), "do": DO[due.task], "why": _why(due)}
    return say("{machine}: {do}. {why}", **told) if due.now else say("{machine}: soon {do}. {why}", **told)


def due_sentences(found: Sequence[Due], *, now: bool = False) -> tuple[str, ...]:
    """Return a sentence or two for each; with `now` only for what is due already."""
    return tuple(due_sentence(d) for d in found if d.now or not now)


def _why(due: Due) -> str:
    whose = say("as the shop says") if due.stated else say("by common practice")
    since = (
        say("since {since}", since=long_day(due.since))
        if due.since and due.task in {Task.FILTER, Task.VAT}
        else say("so far")
    )
    if due.after is Counted.FAILURE:
        runs = say_many(round(due.used), "{n} noted run", "{n} noted runs")
        return say(
            "{runs} failed {since}: what stays in the resin dents the film and the screen.", runs=runs, since=since
        )
    if due.after is Counted.LAYERS:
        return say(
            "{called} has released {used}; it is due after {limit:,}, {whose}.",
            called=_called(due),
            used=say_many(round(due.used), "{n} layer", "{n} layers"),
            limit=round(due.limit),
            whose=whose,
        )
    if due.after is Counted.RUNS:
        return say(
            "{used} noted {since}; it is due after {limit}, {whose}.",
            used=say_many(round(due.used), "{n} run", "{n} runs"),
            since=since,
            limit=round(due.limit),
            whose=whose,
        )
    hours, limit = (f"{significant(s / HOUR_S, 2)} h" for s in (due.used, due.limit))
    what = (
        say("{called} has printed {hours}", called=_called(due), hours=hours)
        if due.what
        else say("It has printed {hours} {since}", hours=hours, since=since)
    )
    return say("{what}; it is due after {limit}, {whose}.", what=what, limit=limit, whose=whose)


def _called(due: Due) -> str:
    name = one_line(due.what).removeprefix(f"{one_line(due.machine)}, ")
    return name[:1].upper() + name[1:]
