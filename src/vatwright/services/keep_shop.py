"""Keep what a shop has: add it, look at it, take a change back, carry all of it to another notebook."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from attrs import field, frozen

from vatwright.errors import InputError
from vatwright.records.notebook import KINDS, STOCK_KINDS, TEXT_KINDS, TablePage
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vatwright.records.notebook import Contents, Entry, KeptEntries, Version
    from vatwright.services.ports import AsSeen, Notebook


@frozen(kw_only=True)
class Found:
    """What was asked for: entries by kind, each with the names and records it has, and how many older ones are not shown."""

    kinds: dict[str, dict[str, Any]]
    older: dict[str, int] = field(factory=dict)


def known_names(notebook: Notebook) -> dict[str, list[str]]:
    """Return the names that a new entry may refer to, by kind."""
    pages = notebook.pages()
    return {kind: [p.name for p in pages if p.kind == kind] for kind in TEXT_KINDS}


def add_entries(
    notebook: Notebook,
    entries: Sequence[Entry],
    *,
    source: str,
    as_seen: AsSeen | None = None,
    leave: Sequence[tuple[str, str]] = (),
) -> KeptEntries:
    """Keep what a file holds as one change; nothing where an entry is no longer as its author saw it."""
    return notebook.keep(f"add {source}", entries, as_seen=as_seen, leave=leave)


def not_needed(guests: Iterable[Entry], entries: Iterable[Entry]) -> list[tuple[str, str]]:
    """Return which of some entries can be taken out, by kind and name: all but those that an entry of one's own refers to.

    Parameters
    ----------
    guests : iterable of Entry
        What may go, told by kind and name.
    entries : iterable of Entry
        Everything that is there, and everything that is about to be.
    """
    names = {_kind_and_name(e) for e in guests}
    here = {_kind_and_name(e): e for e in entries}
    needed = {
        (of, getattr(e, of))
        for key, e in here.items()
        if key not in names
        for of in ("machine", "resin")
        if getattr(e, of, "")
    }
    return [key for key in here if key in names and key not in needed]


def _kind_and_name(entry: Any) -> tuple[str, str]:
    kind = (
        entry.kind if isinstance(entry, TablePage) else next(k for k, r in STOCK_KINDS.items() if isinstance(entry, r))
    )
    return kind, entry.name


def import_entries(
    notebook: Notebook, entries: Sequence[Entry], versions: Sequence[Version], *, source: str
) -> KeptEntries:
    """Keep what an export holds as one change; what is there already is left alone, so a second import does nothing."""
    return notebook.keep(f"import {source}", entries, versions)


def find(contents: Contents, kind: str | None = None, name: str | None = None) -> Found:
    """Return what a notebook holds: all of it, one kind, or one entry.

    Parameters
    ----------
    contents : Contents
        Everything in it.
    kind, name : str or None
        What is wanted.

    Raises
    ------
    InputError
        Where there is no such kind, or no such entry.
    """
    by_kind = _by_kind(contents)
    older = {k: n for k, n in (("job", contents.more_jobs), ("run", contents.more_runs)) if n}
    if kind is None:
        return Found(kinds=by_kind, older=older)
    singular = kind if kind in by_kind else kind.removesuffix("s")
    if singular not in by_kind:
        raise InputError.one(
            kind, to_say("is no kind of thing that a notebook holds"), "Use one of: " + ", ".join(KINDS)
        )
    listed = by_kind[singular]
    if name is None:
        return Found(kinds={singular: listed}, older={k: n for k, n in older.items() if k == singular})
    if name not in listed:
        known = ", ".join(listed) or "none"
        if older.get(singular):
            known += f", and {older[singular]:,} older"
        raise InputError.one(
            name,
            to_say("there is no {singular} of that name", singular=singular),
            to_say("The notebook holds: {known}", known=known),
        )
    return Found(kinds={singular: {name: listed[name]}})


def _by_kind(contents: Contents) -> dict[str, dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {kind: {} for kind in KINDS}
    for page in contents.pages:
        found[page.kind][page.name] = page
    kinds = {record: kind for kind, record in STOCK_KINDS.items()}
    for record in contents.stock:
        found[kinds[type(record)]][record.name] = record
    for job in contents.jobs:  # in the order of their time, so that the latest of a name stays
        found["job"][job.name] = job
    for run in contents.runs:
        found["run"][run.name] = run
    return found
