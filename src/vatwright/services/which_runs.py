"""Which of a notebook's runs are weighed for a question: all of a small one, the newest that concern it of a large one."""

from __future__ import annotations

from typing import TYPE_CHECKING

from attrs import frozen

from vatwright.errors import InputError
from vatwright.records.run import RunOutcome
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vatwright.records.job import Job
    from vatwright.records.plan import NotedRuns
    from vatwright.records.stock import Stock
    from vatwright.services.ports import Store

ALL = 64
"""A notebook of no more runs than this is weighed whole [-]; so many take a few seconds to learn from."""

OWN = 24
"""Newest runs weighed of each machine asked about, in a larger notebook [-]."""

ELSEWHERE, OTHERS = 8, 2
"""Newest runs with the resin asked about weighed of each other machine, and how many such machines [-]."""

LOOKED_AT = 60
"""Newest runs with a resin that are looked through for those other machines [-]."""


@frozen(kw_only=True)
class WeighedRuns:
    """The runs weighed for a question.

    Parameters
    ----------
    outcomes : tuple of RunOutcome
        Oldest first.
    machine : str
        The machine it came to be about, where a large notebook was asked about none; else empty.
    whole : bool
        Whether the notebook holds no others.
    """

    outcomes: tuple[RunOutcome, ...]
    machine: str = ""
    whole: bool = True


def weighed_runs(store: Store, *, machines: Sequence[str] = (), resins: Sequence[str] = ()) -> WeighedRuns:
    """Return the runs that a question about machines and resins is answered from.

    Parameters
    ----------
    store : Store
        The notebook.
    machines, resins : sequence of str
        What is asked about; with neither, a large notebook is asked about the machine that ran last.

    Notes
    -----
    What is left out is left out by its age and its machine alone, never by how it ended, so that nothing leans to one side;
    a belief from fewer runs is only wider.
    """
    newest = store.runs(newest=ALL + 1)
    if len(newest) <= ALL:
        return WeighedRuns(outcomes=newest)
    last = "" if machines or resins else newest[-1].machine
    found = {run.run: run for name in (*machines, *([last] if last else ())) for run in _own(store, name)}
    if last:
        resins = (newest[-1].resin,)
    for resin in resins:
        found |= {run.run: run for run in _elsewhere(store, resin, {*machines, last})}
    return WeighedRuns(outcomes=tuple(sorted(found.values(), key=lambda r: (r.at, r.run))), machine=last, whole=False)


def _own(store: Store, machine: str) -> tuple[RunOutcome, ...]:
    return store.runs(machine=machine, newest=OWN)


def _elsewhere(store: Store, resin: str, known: set[str]) -> list[RunOutcome]:
    looked_at = store.runs(resin=resin, newest=LOOKED_AT)
    others = [m for m in dict.fromkeys(r.machine for r in reversed(looked_at)) if m not in known][:OTHERS]
    return [run for m in others for run in store.runs(machine=m, resin=resin, newest=ELSEWHERE)]


def concerned(job: Job, outcomes: Iterable[RunOutcome]) -> tuple[RunOutcome, ...]:
    """Return the runs that say something of a job: on one of its machines, or with one of its resins."""
    machines, resins = {job.origin.name, job.target.name}, {job.resin_from.name, job.resin.name}
    return tuple(o for o in outcomes if o.machine in machines or o.resin in resins)


def record_of(outcomes: tuple[RunOutcome, ...], *, machine: str) -> NotedRuns:
    """Return how many runs are weighed in, and what had been said of those on one machine against what happened.

    Parameters
    ----------
    outcomes : tuple of RunOutcome
        The runs weighed in.
    machine : str
        The machine.
    """
    from vatwright.records.plan import NotedRuns  # what it brings along is not needed by whoever only selects

    mine = [o for o in outcomes if o.machine == machine]
    said = [o.prediction.chance for o in mine if o.prediction is not None]
    return NotedRuns(
        runs=len(outcomes),
        machine=machine,
        ran=len(mine),
        held=sum(o.held for o in mine),
        said=sum(said) / len(said) if said else None,
        said_of=len(said),
    )


def stock_told(outcomes: Iterable[RunOutcome], stock: Stock) -> list[str]:
    """Return what the stock says that changes how runs are read: which films and screens of their machines are in use."""
    machines = {o.machine for o in outcomes}
    films = [
        to_say("film {name} in {machine}", name=f.name, machine=f.machine)
        for f in stock.films
        if f.machine in machines and f.removed is None
    ]
    screens = [
        to_say("screen {name} in {machine}", name=s.name, machine=s.machine)
        for s in stock.screens
        if s.machine in machines and s.removed is None
    ]
    return sorted(films + screens)


def require_runs(store: Store, machine: str, resin: str) -> tuple[RunOutcome, ...]:
    """Return the runs of a machine or a resin; InputError with what there is where there are none."""
    outcomes = store.runs(machine=machine or None, resin=resin or None)
    if outcomes:
        return outcomes
    noted = store.runs()
    if not noted:
        raise InputError.one(
            to_say("the notebook"), to_say("has no run in it yet"), to_say("Note one: vatwright note JOB.toml held")
        )
    what = to_say(" with ").join(f"{n!r}" for n in (machine, resin) if n)
    known = ", ".join(sorted({o.machine for o in noted} | {o.resin for o in noted}))
    raise InputError.one(
        to_say("the notebook"),
        to_say("has no run of {what}", what=what),
        to_say("It has runs of: {known}", known=known),
    )


def said_of_rest(weighed: WeighedRuns, machine: str, resin: str) -> tuple[str, ...]:
    """Return in a sentence what a large notebook's belief is drawn from; nothing for a small one."""
    if weighed.whole:
        return ()
    about = to_say(" and ").join(x for x in (weighed.machine or machine, resin) if x)
    asked = to_say(" It is about the machine that ran last: name another with --machine.") if weighed.machine else ""
    said = to_say(
        "Of a notebook of more than {all} runs the newest that concern {about} are weighed: "
        "{own} of a machine, and {elsewhere} with its resin on each of {others} others. "
        "Older ones are only counted.{asked}",
        all=ALL,
        about=about,
        own=OWN,
        elsewhere=ELSEWHERE,
        others=OTHERS,
        asked=asked,
    )
    return (said,)
