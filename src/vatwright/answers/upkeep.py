"""What is due on machines, in sentences: what to do, and after how much use."""

from __future__ import annotations

from typing import TYPE_CHECKING

from vatwright.answers.numbers import one_line, plural, significant
from vatwright.records.upkeep import Counted, Task

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.upkeep import Due

HOUR_S = 3600.0

DO = {
    Task.FILM: "change the film",
    Task.SCREEN: "read the light again, and change the screen if it has dimmed or shows dead spots",
    Task.FILTER: "pour the resin through a filter, and feel vat and film for scraps and dents",
    Task.VAT: "empty and clean the vat, and look at the film from beneath against the light",
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
    head = f"{one_line(due.machine)}: {'' if due.now else 'soon '}{DO[due.task]}."
    return f"{head} {_why(due)}"


def due_sentences(found: Sequence[Due], *, now: bool = False) -> tuple[str, ...]:
    """Return a sentence or two for each; with `now` only for what is due already."""
    return tuple(due_sentence(d) for d in found if d.now or not now)


def _why(due: Due) -> str:
    whose = "as the shop says" if due.stated else "by common practice"
    since = (
        f"since {due.since:%d %b %Y}"
        if due.since and due.task in {Task.FILTER, Task.VAT}
        else "since the first run noted"
    )
    if due.after is Counted.FAILURE:
        runs = plural(round(due.used), "noted run")
        return f"{runs} failed {since}: what stays in the resin dents the film and the screen."
    if due.after is Counted.LAYERS:
        return f"{_called(due)} has released {plural(round(due.used), 'layer')}; it is due after {round(due.limit):,}, {whose}."
    if due.after is Counted.RUNS:
        return f"{plural(round(due.used), 'run')} noted {since}; it is due after {round(due.limit)}, {whose}."
    hours, limit = (f"{significant(s / HOUR_S, 2)} h" for s in (due.used, due.limit))
    what = f"{_called(due)} has printed {hours}" if due.what else f"It has printed {hours} {since}"
    return f"{what}; it is due after {limit}, {whose}."


def _called(due: Due) -> str:
    name = one_line(due.what).removeprefix(f"{one_line(due.machine)}, ")
    return name[:1].upper() + name[1:]
