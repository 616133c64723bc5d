"""Opening a notebook: which database an address means, how it is spoken to, and which schema it has."""

from __future__ import annotations

import sqlite3
from contextlib import closing, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from sqlalchemy import URL, Engine, create_engine, event, inspect, make_url, text
from sqlalchemy.exc import ArgumentError, DBAPIError

from vatwright.errors import InputError
from vatwright.extras import require_extra
from vatwright.store.tables import HEAD, metadata
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator

    from sqlalchemy import Connection

POSTGRESQL = "postgresql+psycopg"
"""How the address of a PostgreSQL database begins."""

APPLICATION_ID = 0x56545752
"""What marks an SQLite file as a notebook of ours (the letters VTWR)."""

PATIENCE_S = 30.0
"""How long to wait for another writer [s]."""


def open_engine(address: str, *, create: bool = False) -> Engine:
    """Return an engine to a notebook whose schema is the newest.

    Parameters
    ----------
    address : str
        Path of an SQLite file, or an address that begins with ``postgresql+psycopg://``.
    create : bool
        Make the notebook where there is none.

    Raises
    ------
    InputError
        Where there is none, or it is not ours, cannot be reached, or is newer than this program.
    """
    url = _url(address)
    if url.drivername == POSTGRESQL:
        require_extra("postgres", shown_address(address))
    else:
        _require_place(Path(str(url.database)), create=create)
    # asked before each use whether it is still there: a server that was started anew costs nobody a note
    engine = create_engine(url, connect_args=_connect_arguments(url), pool_pre_ping=url.drivername == POSTGRESQL)
    event.listen(engine, "begin", _begin)
    if url.drivername == POSTGRESQL:
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    else:
        event.listen(engine, "connect", _prepare_sqlite)
    try:
        _bring_up_to_date(engine, address, create=create)
    except BaseException:
        engine.dispose()
        raise
    return engine


def shown_address(address: str) -> str:
    """Return an address as it may be shown: without its password.

    Examples
    --------
    >>> shown_address("postgresql+psycopg://ann:secret@db/shop")
    'postgresql+psycopg://ann:***@db/shop'
    """
    return _url(address).render_as_string(hide_password=True) if is_address(address) else address


def is_address(store: str) -> bool:
    """Tell the address of a database server from the path of a file.

    Examples
    --------
    >>> is_address("notebook.sqlite"), is_address("postgresql+psycopg://ann@db/shop")
    (False, True)
    """
    return "://" in store or store.startswith("postgresql")


@contextmanager
def reading(engine: Engine, address: str) -> Iterator[Connection]:
    """Give a connection that sees the notebook as one moment has it."""
    with _told(address), engine.connect() as connection, connection.begin():
        yield connection


@contextmanager
def writing(engine: Engine, address: str) -> Iterator[Connection]:
    """Give a connection that alone may write, until all of it is written or nothing is."""
    with _told(address), engine.connect() as connection:
        if connection.dialect.name == "postgresql":
            # Each statement must see what the writer before has left, which one moment for the whole would not.
            connection.execution_options(isolation_level="READ COMMITTED")
        connection.execution_options(vatwright_writes=True)
        with connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": APPLICATION_ID})
            yield connection


def _url(address: str) -> URL:
    if not is_address(address):
        return URL.create("sqlite", database=str(Path(address).expanduser()))
    try:
        url = make_url(address)
    except ArgumentError:
        url = None
    if url is None or url.drivername != POSTGRESQL:
        raise InputError.one(
            "store", to_say("is an address of a kind this tool does not know"),
            to_say("Give the path of a file, or {POSTGRESQL}://user@host/database", POSTGRESQL=POSTGRESQL),
        )  # fmt: skip
    return url


def _require_place(path: Path, *, create: bool) -> None:
    if path.is_dir():
        raise InputError.one(str(path), to_say("is a folder"), to_say("Name a file in it, such as notebook.sqlite"))
    if path.exists():
        return
    if not create:
        raise InputError.one(
            str(path),
            to_say("there is no notebook here"),
            to_say("Make one: vatwright shop init --store {path}", path=path),
        )
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError.one(
            str(path),
            to_say("its folder cannot be made: {strerror}", strerror=error.strerror),
            to_say("Choose another"),
        ) from error


def _connect_arguments(url: URL) -> dict[str, object]:
    if url.drivername == POSTGRESQL:
        return {"connect_timeout": 10, "options": f"-c lock_timeout={int(PATIENCE_S * 1000)} -c timezone=UTC"}
    return {"timeout": PATIENCE_S}


def _prepare_sqlite(connection: sqlite3.Connection, _record: object) -> None:
    """Say to SQLite, on every connection, what it would otherwise let pass."""
    connection.isolation_level = None  # transactions begin where _begin says so, not where the driver guesses
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON"):
        connection.execute(f"PRAGMA {pragma}").close()


def _begin(connection: Connection) -> None:
    if connection.dialect.name == "sqlite":
        writes = connection.get_execution_options().get("vatwright_writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def _told(address: str) -> Iterator[None]:
    """Turn what a database driver raises into a sentence."""
    try:
        yield
    except DBAPIError as error:
        reason = str(error.orig).strip().splitlines()[0] if str(error.orig).strip() else type(error.orig).__name__
        raise InputError.one(shown_address(address), *_sentence(reason)) from error
    except UnicodeDecodeError as error:
        raise InputError.one(shown_address(address), *_sentence("malformed")) from error


def _sentence(reason: str) -> tuple[str, str]:
    low = reason.lower()
    for sign, what, do in (
        ("locked", "another program is writing to it and does not finish", "Close that program and run again"),
        ("lock timeout", "another program is writing to it and does not finish", "Close that program and run again"),
        ("not a database", "is not a notebook", "Name another file"),
        ("malformed", "is damaged", "Take the last backup or export, or ask somebody who knows SQLite"),
        ("readonly", "cannot be written to", "Check its permissions and those of its folder"),
        ("unable to open", "cannot be opened", "Check its permissions and those of its folder"),
        ("is full", "the disk is full; nothing was changed", "Make room and run again"),
        ("disk i/o", "the disk takes no more: it is full, or gone; nothing was changed", "Make room, and run again"),
        ("foreign key", "something in the notebook still refers to it, or it refers to nothing",
         "Look at vatwright shop history, and undo the later change first"),
    ):  # fmt: skip
        if sign in low:
            return what, do
    return f"cannot be used: {reason}", "Check the address and that the database runs"


# ---------------------------------------------------------------------------------------------------------- schema


def _version(connection: Connection) -> str | None:
    if not inspect(connection).has_table("alembic_version"):
        return None
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


def _bring_up_to_date(engine: Engine, address: str, *, create: bool) -> None:
    with reading(engine, address) as connection:
        _require_ours(connection, address)
        if _version(connection) == HEAD:
            return
    with writing(engine, address) as connection:
        found = _version(connection)
        if found == HEAD:  # somebody else has just done it
            return
        if found is None and not create:
            where = shown_address(address)
            raise InputError.one(
                where,
                to_say("holds no notebook yet"),
                to_say("Make one: vatwright shop init --store {where}", where=where),
            )
        _migrate(connection, address, found)


def _require_ours(connection: Connection, address: str) -> None:
    """Refuse a database that holds tables of somebody else."""
    if connection.dialect.name == "sqlite":
        mark = connection.exec_driver_sql("PRAGMA application_id").scalar()
        holds = connection.exec_driver_sql("SELECT count(*) FROM sqlite_master").scalar()
        ours = mark == APPLICATION_ID or not holds
    else:
        ours = _version(connection) is not None or not set(inspect(connection).get_table_names()) & set(metadata.tables)
    if not ours:
        raise InputError.one(
            shown_address(address), to_say("is a database of another program"), to_say("Name another file")
        )


def _migrate(connection: Connection, address: str, found: str | None) -> None:
    """Bring the schema from `found` to the newest, after putting a copy aside."""
    # Alembic takes a while to load, and is needed about once a year.
    from alembic.migration import MigrationContext
    from alembic.operations import Operations
    from alembic.script import ScriptDirectory

    script = ScriptDirectory(str(Path(__file__).with_name("migrations")))
    steps = list(script.walk_revisions())
    if found is not None:
        if found not in {step.revision for step in steps}:
            raise InputError.one(
                shown_address(address), to_say("was written by a newer version of this program (schema {found})", found=found),
                to_say("Install the newer version"),
            )  # fmt: skip
        _put_aside(connection, address, found)
        steps = steps[: [step.revision for step in steps].index(found)]
    context = MigrationContext.configure(connection)
    with Operations.context(context):
        for step in reversed(steps):
            step.module.upgrade()
            context.stamp(script, step.revision)
    if connection.dialect.name == "sqlite":
        connection.exec_driver_sql(f"PRAGMA application_id={APPLICATION_ID}")


def backup_path(path: Path, found: str) -> Path:
    """Return where the copy of a notebook goes before its schema is changed: beside it, never over another copy."""
    for n in range(1, 1000):
        candidate = path.with_name(f"{path.name}.schema-{found}{'' if n == 1 else f'-{n}'}.bak")
        if not candidate.exists():
            return candidate
    raise InputError.one(str(path), to_say("has a thousand backups beside it"), to_say("Move some of them away"))


def _put_aside(connection: Connection, address: str, found: str) -> None:
    """Copy the whole notebook as it is: to a file beside it, or on PostgreSQL to a schema of its own."""
    if connection.dialect.name == "sqlite":
        path = Path(address).expanduser()
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(backup_path(path, found))) as copy:
            source.backup(copy)
        return
    aside = f"vatwright_schema_{found}_backup"
    if inspect(connection).has_schema(aside):
        return  # the copy made before an upgrade that did not finish; it holds the same
    quoted = connection.dialect.identifier_preparer.quote
    tables = inspect(connection).get_table_names()
    connection.execute(text(f"CREATE SCHEMA {quoted(aside)}"))
    for name in sorted({*metadata.tables, "alembic_version"} & set(tables)):
        connection.execute(text(f"CREATE TABLE {quoted(aside)}.{quoted(name)} AS TABLE {quoted(name)}"))
