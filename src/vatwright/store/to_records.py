"""Rows of the tables to records and back; rows as JSON for the journal of changes."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from attrs import fields

from vatwright.records.notebook import STOCK_KINDS, Entry, JobPage, PartDigest, RunPage, TablePage
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station, StationKind
from vatwright.store import tables
from vatwright.store.tables import Day, UtcTime

if TYPE_CHECKING:
    from sqlalchemy import Table

Row = Mapping[str, Any]

TABLES: dict[str, Table] = {
    name: tables.metadata.tables[name]
    for name in ("machine", "resin", "recipe", "film", "screen", "lot", "station", "price", "job", "run")
}
"""The table of each kind, each before those that refer to it."""

StockRecord = FittedFilm | Screen | Lot | Station | Price


def key_of(kind: str) -> str:
    """Return the column by which an entry of a kind is found."""
    return "digest" if kind == "job" else "name"


def digest_of_text(text: str) -> str:
    """Return the SHA-256 of a text."""
    return hashlib.sha256(text.encode()).hexdigest()


def row_of(entry: Entry) -> tuple[str, dict[str, Any]]:
    """Return the kind of an entry and its row."""
    if isinstance(entry, TablePage):
        row = {"name": entry.name, "document": entry.document}
        return entry.kind, row | ({"machine": entry.machine, "resin": entry.resin} if entry.kind == "recipe" else {})
    if isinstance(entry, JobPage):
        row = {column: getattr(entry, column) for column in tables.job.c.keys() if column != "parts"}  # noqa: SIM118
        return "job", row | {"parts": json.dumps([[p.file, p.sha256] for p in entry.parts], ensure_ascii=False)}
    if isinstance(entry, RunPage):
        return "run", _run_row(entry)
    kind = next(kind for kind, record in STOCK_KINDS.items() if isinstance(entry, record))
    values = {f.name: getattr(entry, f.name) for f in fields(type(entry))}
    return kind, values | ({"kind": str(values["kind"])} if kind == "station" else {})


def _run_row(page: RunPage) -> dict[str, Any]:
    outcome = page.outcome
    return {
        "name": outcome.run,
        "at": outcome.at,
        "job": outcome.job,
        "job_digest": page.job or None,
        "machine": outcome.machine,
        "resin": outcome.resin,
        "held": int(outcome.held),
        "document": page.document,
        "film": outcome.film,
    }


def page_of(kind: str, row: Row) -> TablePage:
    """Return a machine, resin or recipe."""
    links = {link: row[link] for link in ("machine", "resin") if kind == "recipe"}
    return TablePage(kind=kind, name=row["name"], document=row["document"], **links)


def stock_of(kind: str, row: Row) -> StockRecord:
    """Return a film, screen, lot, station or price."""
    values = dict(row)
    if kind == "station":
        values["kind"] = StationKind(values["kind"])
    return STOCK_KINDS[kind](**values)


def job_of(row: Row) -> JobPage:
    """Return a job."""
    parts = tuple(PartDigest(file=file, sha256=digest) for file, digest in json.loads(row["parts"]))
    return JobPage(**{**row, "parts": parts})


def row_text(row: Row) -> str:
    """Return a row as JSON, the same for the same row on both databases."""
    return json.dumps(dict(row), sort_keys=True, ensure_ascii=False, allow_nan=False, default=_moment)


def revision_of(entry: Entry) -> str:
    """Return what tells one state of an entry from another: a digest of its row."""
    return digest_of_text(row_text(row_of(entry)[1]))


def _moment(value: object) -> str:
    if isinstance(value, datetime):
        written: str | None = UtcTime().process_bind_param(value, _SQLITE)  # type: ignore[assignment]
        return str(written)
    if isinstance(value, date):
        return value.isoformat()
    raise TypeError(type(value).__name__)


class _Sqlite:
    name = "sqlite"


_SQLITE: Any = _Sqlite()


def row_from_text(kind: str, text: str) -> dict[str, Any]:
    """Return the row that :func:`row_text` wrote."""
    values: dict[str, Any] = json.loads(text)
    for column in TABLES[kind].c:
        written = values.get(column.name)
        if written is not None and isinstance(column.type, UtcTime):
            values[column.name] = datetime.fromisoformat(written)
        elif written is not None and isinstance(column.type, Day):
            values[column.name] = date.fromisoformat(written)
    return values
