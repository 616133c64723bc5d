"""A notebook as JSON: what it holds, what changed, what was noted."""

from __future__ import annotations

import json
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from vatwright.records.notebook import Change, JobPage, RunPage, TablePage, Version
from vatwright.wording import in_english

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

    from vatwright.services.note_outcome import Noted


@in_english
def shop_json(
    kinds: Mapping[str, Mapping[str, Any]],
    address: str,
    table: Callable[[Any], Mapping[str, Any]],
    older: Mapping[str, int] | None = None,
) -> dict[str, Any]:
    """Return ``vatwright.shop/1``: entries by kind.

    Parameters
    ----------
    kinds : mapping
        What to show, by kind and name.
    address : str
        Of the notebook.
    table : callable
        Gives the table of a film, screen, lot, station or price in bench units.
    older : mapping or None
        By kind, how many older entries are not shown.
    """
    shown = {kind: [_entry(entry, table) for entry in listed.values()] for kind, listed in kinds.items()}
    left = {"older": dict(older)} if older else {}
    return {"schema": "vatwright.shop/1", "notebook": address, "entries": shown, **left}


def _entry(entry: Any, table: Callable[[Any], Mapping[str, Any]]) -> dict[str, Any]:
    if isinstance(entry, TablePage):
        links = {"machine": entry.machine, "resin": entry.resin} if entry.kind == "recipe" else {}
        return {"name": entry.name, **links, "toml": entry.document}
    if isinstance(entry, JobPage):
        parts = [{"file": p.file, "sha256": p.sha256} for p in entry.parts]
        named = {key: getattr(entry, key) for key in ("name", "recipe", "machine", "resin")}
        return {**named, "noted": entry.noted.isoformat(), "parts": parts, "toml": entry.document}
    if isinstance(entry, RunPage):
        found: dict[str, Any] = json.loads(entry.document)
        return found
    return {key: _plain(value) for key, value in table(entry).items()}


def _plain(value: object) -> object:
    if isinstance(value, Decimal):
        return float(value)
    return value if isinstance(value, str | int | float | bool) else str(value)


@in_english
def change_json(change: Change) -> dict[str, Any]:
    """Return one change."""
    return {
        "number": change.number, "at": change.at.isoformat(), "what": change.what, "undoes": change.undoes,
        "undone_by": change.undone_by,
        "touched": [{"kind": t.kind, "name": t.name, "was": t.was, "stays": t.stays} for t in change.touched],
    }  # fmt: skip


@in_english
def kept_json(change: Change | None, address: str, *, same: int) -> dict[str, Any]:
    """Return ``vatwright.change/1``: the change made, null where there was nothing to change, and what was as it is."""
    made = None if change is None else change_json(change)
    return {"schema": "vatwright.change/1", "notebook": address, "change": made, "same": same}


@in_english
def changes_json(changes: Iterable[Change], address: str) -> dict[str, Any]:
    """Return ``vatwright.changes/1``: every change, oldest first."""
    return {"schema": "vatwright.changes/1", "notebook": address, "changes": [change_json(c) for c in changes]}


@in_english
def versions_json(recipe: str, versions: Iterable[Version], address: str) -> dict[str, Any]:
    """Return ``vatwright.versions/1``: every saved version of a recipe, oldest first."""
    saved = [{"saved": v.saved.isoformat(), "toml": v.document} for v in versions]
    return {"schema": "vatwright.versions/1", "notebook": address, "recipe": recipe, "versions": saved}


@in_english
def noted_json(noted: Noted, address: str, text: str) -> dict[str, Any]:
    """Return ``vatwright.noted/1``: the outcome as it stands in the notebook, the change, and what it used.

    Parameters
    ----------
    noted : Noted
        What was noted.
    address : str
        Of the notebook.
    text : str
        The outcome as ``vatwright.outcome/1``.
    """
    made = None if noted.change is None else change_json(noted.change)
    return {
        "schema": "vatwright.noted/1", "notebook": address, "change": made, "outcome": json.loads(text),
        "used": list(noted.used),
    }  # fmt: skip
