"""A workshop's notebook in a database: what it has, what happened, and every change, each of which can be taken back."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Self

from sqlalchemy import delete, func, insert, select, update

from vatwright.errors import InputError, Mistake, StaleError
from vatwright.records.job import Job, Shop
from vatwright.records.notebook import (
    STOCK_KINDS,
    TEXT_KINDS,
    Change,
    Contents,
    Entry,
    KeptEntries,
    RunPage,
    TablePage,
    Touched,
    Version,
)
from vatwright.records.run import RunOutcome
from vatwright.records.stock import Stock
from vatwright.store import tables
from vatwright.store.engine import open_engine, reading, shown_address, writing
from vatwright.store.to_records import (
    TABLES,
    StockRecord,
    digest_of_text,
    job_of,
    key_of,
    page_of,
    row_from_text,
    row_of,
    row_text,
    stock_of,
)
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from sqlalchemy import Connection, Row, Table

    from vatwright.services.ports import AsSeen, Documents

Step = tuple[str, str, str | None, str | None]
"""Kind, name, row before and row after."""


def _now() -> datetime:
    return datetime.now(UTC)


class DatabaseNotebook:
    """A notebook in SQLite or PostgreSQL; satisfies the services' Notebook.

    Many processes may use one notebook: readers see one moment, writers wait for each other, and a change is there
    whole or not at all.  Records handed out never change.

    Parameters
    ----------
    address : str
        Path of an SQLite file, or an address that begins with ``postgresql+psycopg://``.
    documents : Documents
        Reads the texts that machines, resins, recipes, jobs and runs are kept as.
    create : bool
        Make it where there is none.
    clock : callable
        Tells the time of a change.
    """

    def __init__(
        self, address: str, documents: Documents, *, create: bool = False, clock: Callable[[], datetime] = _now
    ) -> None:
        self.address: str = shown_address(address)
        self._engine = open_engine(address, create=create)
        self._documents = documents
        self._clock = clock

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_exception: object) -> None:
        self.close()

    def close(self) -> None:
        """Let the database go."""
        self._engine.dispose()

    # ------------------------------------------------------------------------------------------------- reading

    def shop(self) -> Shop:
        """Return machines, resins and recipes as they stand now, by name."""
        return self._documents.shop([p.document for p in self.pages()])

    def pages(self) -> tuple[TablePage, ...]:
        """Return machines, resins and recipes as the texts they were written in."""
        with reading(self._engine, self.address) as connection:
            return tuple(_pages(connection))

    def stock(self) -> Stock:
        """Return films, screens, lots, stations and prices as they stand now, by name."""
        with reading(self._engine, self.address) as connection:
            return _whole_stock(connection)

    def runs(
        self, machine: str | None = None, resin: str | None = None, *, newest: int | None = None
    ) -> tuple[RunOutcome, ...]:
        """Return the runs noted, oldest first; of one machine or one resin where named, and only so many of the newest."""
        wanted = select(tables.run.c.document).order_by(tables.run.c.at.desc(), tables.run.c.name.desc())
        for column, name in ((tables.run.c.machine, machine), (tables.run.c.resin, resin)):
            if name is not None:
                wanted = wanted.where(column == name)
        with reading(self._engine, self.address) as connection:
            documents = connection.execute(wanted.limit(newest)).scalars().all()
        return tuple(self._documents.run(text) for text in reversed(documents))

    def job_digests(self, runs: Sequence[str]) -> dict[str, str]:
        """Return by the name of a run what its job is told apart by; runs whose job is not kept are left out."""
        table = tables.run
        wanted = select(table.c.name, table.c.job_digest).where(table.c.name.in_(runs), table.c.job_digest.is_not(None))
        with reading(self._engine, self.address) as connection:
            return {row.name: row.job_digest for row in connection.execute(wanted)}

    def jobs(self) -> tuple[str, ...]:
        """Return the names of the jobs whose runs were noted."""
        with reading(self._engine, self.address) as connection:
            return tuple(sorted(connection.execute(select(tables.job.c.name).distinct()).scalars()))

    def job(self, name: str) -> Job:
        """Return the job of that name as it was last noted."""
        wanted = select(tables.job.c.document).where(tables.job.c.name == name)
        return self._one_job(wanted.order_by(tables.job.c.noted.desc(), tables.job.c.digest), f"job {name!r}")

    def job_of(self, run: str) -> Job:
        """Return the job of one run as it was when that run was noted."""
        joined = tables.run.join(tables.job)
        wanted = select(tables.job.c.document).select_from(joined).where(tables.run.c.name == run)
        return self._one_job(wanted, f"the job of run {run!r}")

    def _one_job(self, wanted: Any, what: str) -> Job:
        with reading(self._engine, self.address) as connection:
            document = connection.execute(wanted.limit(1)).scalar()
        if document is None:
            raise InputError.one(
                self.address, to_say("{what} is not in it", what=what), to_say("See what is: vatwright shop show run")
            )
        return self._documents.job(document)

    def contents(self, *, newest: int | None = None, run: str | None = None) -> Contents:
        """Return everything, as one moment has it.

        Parameters
        ----------
        newest : int or None
            Only so many of the newest jobs and runs, with a count of the others, and no changes.
        run : str or None
            A run that is wanted whether it is among the newest or not.
        """
        with reading(self._engine, self.address) as connection:
            versions = connection.execute(
                select(tables.recipe_version).order_by(*tables.recipe_version.primary_key.columns)
            )
            jobs = _newest(connection, tables.job, ("noted", "digest"), newest)
            runs = _newest(connection, tables.run, ("at", "name"), newest)
            if run is not None and all(r["name"] != run for r in runs):
                asked = connection.execute(select(tables.run).where(tables.run.c.name == run)).mappings().all()
                runs = [*map(dict, asked), *runs]
            return Contents(
                pages=tuple(_pages(connection)),
                stock=tuple(record for kind in STOCK_KINDS for record in _stock(connection, kind)),
                versions=tuple(Version(recipe=v.recipe, saved=v.saved, document=v.document) for v in versions),
                jobs=tuple(job_of(row) for row in jobs),
                runs=tuple(
                    RunPage(
                        outcome=self._documents.run(r["document"]), document=r["document"], job=r["job_digest"] or ""
                    )
                    for r in runs
                ),
                changes=tuple(_changes(connection)) if newest is None else (),
                more_jobs=_count(connection, tables.job) - len(jobs),
                more_runs=_count(connection, tables.run) - len(runs),
            )

    def changes(self) -> tuple[Change, ...]:
        """Return every change, oldest first."""
        with reading(self._engine, self.address) as connection:
            return tuple(_changes(connection))

    # ------------------------------------------------------------------------------------------------- writing

    def keep(
        self,
        what: str,
        entries: Sequence[Entry] | Callable[[Stock], Sequence[Entry]],
        versions: Sequence[Version] = (),
        *,
        as_seen: AsSeen | None = None,
        leave: Sequence[tuple[str, str]] = (),
    ) -> KeptEntries:
        """Keep entries as one change: new ones are added, known ones replaced, equal ones left alone.

        Parameters
        ----------
        what : str
            The change in a few words.
        entries : sequence of Entry, or callable
            In any order; what refers to something may come before it.  A callable is given the stock as it is at that
            moment, which nobody else can change until its entries are kept.
        versions : sequence of Version
            Older versions of recipes to remember, with the time they were saved.
        as_seen : mapping or None
            The revision that an entry must still have, by kind and name; None for one that must not be there yet.

        leave : sequence of (str, str)
            Kinds and names of entries that are taken out in the same change.

        Raises
        ------
        InputError
            Where an entry refers to nothing, or one taken out is still referred to; a run or a job is noted already, and
            differently.
        StaleError
            Where an entry does not stand as it must, with every one of them; then nothing is changed.
        """
        order = list(TABLES)
        with writing(self._engine, self.address) as connection:
            _require_as_seen(connection, as_seen or {})
            listed = entries(_whole_stock(connection)) if callable(entries) else entries
            rows = sorted((row_of(e) for e in listed), key=lambda r: order.index(r[0]))
            now = self._clock()
            steps = _put_all(connection, rows)
            for kind, name in sorted(leave, key=lambda left: -order.index(left[0])):  # what refers to others goes first
                steps += _take_out(connection, kind, name)
            _remember(connection, [*versions, *_new_versions(steps, versions, now)])
            change = _write_change(connection, what, now, steps) if steps else None
        return KeptEntries(change=change, same=len(rows) - sum(after is not None for *_, after in steps))

    def undo(self, number: int | None = None) -> Change:
        """Take back a change and return the change that does so; to take that one back is to do the first again.

        Parameters
        ----------
        number : int or None
            Which; without it the last one that stands and does not itself take one back.

        Raises
        ------
        InputError
            Where there is nothing to take back, it is taken back already, or a later change builds on it.
        """
        with writing(self._engine, self.address) as connection:
            change = _change_to_undo(_changes(connection), number, self.address)
            rows = connection.execute(
                select(tables.change_row)
                .where(tables.change_row.c.change == change.number)
                .order_by(tables.change_row.c.position.desc())
            ).all()
            _require_untouched_since(connection, change, rows, self.address)
            steps: list[Step] = [(r.kind, r.name, r.after, r.before) for r in rows]
            for kind, name, was, becomes in steps:
                _replace(connection, kind, name, was, becomes)
            what = change.what.removeprefix("undo: ").removeprefix("again: ")
            what = f"again: {what}" if change.what.startswith("undo: ") else f"undo: {what}"
            return _write_change(connection, what, self._clock(), steps, undoes=change.number)


# ------------------------------------------------------------------------------------------------------------ rows


def _newest(connection: Connection, table: Table, order: Sequence[str], most: int | None) -> list[dict[str, Any]]:
    """The last rows of a table in an order, oldest first."""
    wanted = select(table).order_by(*(table.c[column].desc() for column in order)).limit(most)
    return [dict(row) for row in reversed(connection.execute(wanted).mappings().all())]


def _count(connection: Connection, table: Table) -> int:
    return connection.execute(select(func.count()).select_from(table)).scalar() or 0


def _pages(connection: Connection) -> list[TablePage]:
    found = [
        page_of(kind, dict(row)) for kind in TEXT_KINDS for row in connection.execute(select(TABLES[kind])).mappings()
    ]
    return sorted(found, key=lambda page: (TEXT_KINDS.index(page.kind), page.name))  # each database has its alphabet


def _stock(connection: Connection, kind: str) -> list[StockRecord]:
    found = [stock_of(kind, dict(row)) for row in connection.execute(select(TABLES[kind])).mappings()]
    return sorted(found, key=lambda record: record.name)


def _whole_stock(connection: Connection) -> Stock:
    listed: dict[str, Any] = {f"{kind}s": tuple(_stock(connection, kind)) for kind in STOCK_KINDS}
    return Stock(**listed)


def _changes(connection: Connection) -> list[Change]:
    rows = tables.change_row
    touched: dict[int, list[Touched]] = {}
    wanted = select(rows.c.change, rows.c.kind, rows.c.name, rows.c.before.is_not(None), rows.c.after.is_not(None))
    for change, kind, name, was, stays in connection.execute(wanted.order_by(rows.c.change, rows.c.position)):
        touched.setdefault(change, []).append(Touched(kind=kind, name=name, was=bool(was), stays=bool(stays)))
    found = connection.execute(select(tables.change).order_by(tables.change.c.number)).all()
    undone = {c.undoes: c.number for c in found if c.undoes is not None}
    return [
        Change(
            number=c.number, at=c.at, what=c.what, undoes=c.undoes, undone_by=undone.get(c.number),
            touched=tuple(touched.get(c.number, ())),
        )
        for c in found
    ]  # fmt: skip


def _current(connection: Connection, kind: str, name: str) -> str | None:
    table, key = TABLES[kind], key_of(kind)
    row = connection.execute(select(table).where(table.c[key] == name)).mappings().one_or_none()
    return None if row is None else row_text(dict(row))


def _require_as_seen(connection: Connection, as_seen: AsSeen) -> None:
    """Refuse a change of entries that are not as its author saw them."""
    mistakes = []
    for (kind, name), revision in as_seen.items():
        now = _current(connection, kind, name)
        if (None if now is None else digest_of_text(now)) != revision:
            what = "is no longer there" if now is None else "was changed meanwhile" if revision else "is there already"
            mistakes.append(
                Mistake(f"{kind} {name}", what, to_say("Look at what is kept now, then say again what is to change"))
            )
    if mistakes:
        raise StaleError(mistakes)


def _put_all(connection: Connection, rows: Iterable[tuple[str, dict[str, Any]]]) -> list[Step]:
    """Add or replace rows; InputError with every one that may not be replaced."""
    steps: list[Step] = []
    mistakes: list[Mistake] = []
    for kind, row in rows:
        try:
            step = _put(connection, kind, row)
        except InputError as error:
            mistakes += error.mistakes
            continue
        if step is not None:
            steps.append(step)
    if mistakes:
        raise InputError(mistakes)
    return steps


def _put(connection: Connection, kind: str, row: dict[str, Any]) -> Step | None:
    """Add or replace one row; None where it is there already as it should be."""
    name = row[key_of(kind)]
    was = _current(connection, kind, name)
    becomes = row_text(row)
    if was == becomes or (kind == "job" and was is not None):  # a digest says it all
        return None
    if kind == "run" and was is not None:
        raise InputError.one(
            to_say("run {name!r}", name=name),
            to_say("is noted already, and differently"),
            to_say("Give this run another name: --run"),
        )
    _replace(connection, kind, name, was, becomes)
    return kind, name, was, becomes


def _take_out(connection: Connection, kind: str, name: str) -> list[Step]:
    was = _current(connection, kind, name)
    if was is None:
        return []
    _replace(connection, kind, name, was, None)
    return [(kind, name, was, None)]


def _replace(connection: Connection, kind: str, name: str, was: str | None, becomes: str | None) -> None:
    table = TABLES[kind]
    here = table.c[key_of(kind)] == name
    if becomes is None:
        connection.execute(delete(table).where(here))
    elif was is None:
        connection.execute(insert(table).values(row_from_text(kind, becomes)))
    else:
        connection.execute(update(table).where(here).values(row_from_text(kind, becomes)))


def _new_versions(steps: Iterable[Step], known: Sequence[Version], now: datetime) -> Iterable[Version]:
    """Yield the versions of recipes that this change saves, unless they come with the time they were saved."""
    have = {(v.recipe, v.document) for v in known}
    for kind, name, _, becomes in steps:
        if kind == "recipe" and becomes is not None:
            document = row_from_text(kind, becomes)["document"]
            if (name, document) not in have:
                yield Version(recipe=name, saved=now, document=document)


def _remember(connection: Connection, versions: Iterable[Version]) -> None:
    """Add versions of recipes that are not among the saved ones."""
    table = tables.recipe_version
    for v in versions:
        row = {"recipe": v.recipe, "saved": v.saved, "digest": digest_of_text(v.document)}
        here = [table.c[column] == value for column, value in row.items()]
        if connection.execute(select(func.count()).select_from(table).where(*here)).scalar() == 0:
            connection.execute(insert(table).values(document=v.document, **row))


# --------------------------------------------------------------------------------------------------------- changes


def _write_change(
    connection: Connection, what: str, at: datetime, steps: Sequence[Step], *, undoes: int | None = None
) -> Change:
    number = 1 + (connection.execute(select(func.max(tables.change.c.number))).scalar() or 0)
    connection.execute(insert(tables.change).values(number=number, at=at, what=what, undoes=undoes))
    connection.execute(
        insert(tables.change_row),
        [
            {"change": number, "position": n, "kind": kind, "name": name, "before": was, "after": becomes}
            for n, (kind, name, was, becomes) in enumerate(steps)
        ],
    )
    touched = tuple(Touched(kind=k, name=n, was=b is not None, stays=a is not None) for k, n, b, a in steps)
    return Change(number=number, at=at, what=what, undoes=undoes, touched=touched)


def _change_to_undo(changes: Sequence[Change], number: int | None, address: str) -> Change:
    standing = [c for c in changes if c.undone_by is None]
    if number is None:
        candidates = [c for c in standing if c.undoes is None]
        if not candidates:
            raise InputError.one(
                address, to_say("there is no change to take back"), to_say("See vatwright shop history")
            )
        return candidates[-1]
    found = next((c for c in changes if c.number == number), None)
    if found is None:
        raise InputError.one(
            address,
            to_say("there is no change {number}", number=number),
            to_say("It has {changes}: vatwright shop history", changes=len(changes)),
        )
    if found.undone_by is not None:
        raise InputError.one(
            to_say("change {number}", number=number),
            to_say("is taken back already, by change {undone_by}", undone_by=found.undone_by),
            to_say("To have it again, undo that one: vatwright shop undo {undone_by}", undone_by=found.undone_by),
        )  # fmt: skip
    return found


def _require_untouched_since(connection: Connection, change: Change, rows: Sequence[Row[Any]], address: str) -> None:
    """Refuse to take back a change whose entries are not as it left them."""
    table = tables.change_row
    mistakes = []
    for row in rows:
        if _current(connection, row.kind, row.name) == row.after:
            continue
        later = connection.execute(
            select(func.max(table.c.change)).where(table.c.kind == row.kind, table.c.name == row.name)
        ).scalar()
        what = f"change {later} touched {row.kind} {row.name!r} after change {change.number}"
        mistakes.append(Mistake(address, what, to_say("Undo change {later} first", later=later)))
    if mistakes:
        raise InputError(mistakes)
