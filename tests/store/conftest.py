"""Notebooks to test with, on both databases; where PostgreSQL cannot be had the tests fail and say so."""

from __future__ import annotations

import itertools
import os
from datetime import UTC, datetime, timedelta

import pytest
from sqlalchemy import create_engine, inspect, make_url, text
from tests.store.database_server import server_url

from vatwright.files.documents import TomlDocuments
from vatwright.store.notebook import DatabaseNotebook

# workers that share the tests out (pytest-xdist) have a database each, also on a server that is given
DATABASE = "vatwright_tests" + os.environ.get("PYTEST_XDIST_WORKER", "")


@pytest.fixture(scope="session")
def server():
    """The address of a PostgreSQL server."""
    with server_url() as url:
        yield url


def empty_database(server):
    """The address of a database of our own on a server, with nothing in it and nobody else using it."""
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        if not connection.execute(text("SELECT 1 FROM pg_database WHERE datname = :n"), {"n": DATABASE}).scalar():
            connection.execute(text(f"CREATE DATABASE {DATABASE}"))
        users = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = :n AND pid <> pg_backend_pid()"
        connection.execute(text(users), {"n": DATABASE})
    engine.dispose()
    url = make_url(server).set(database=DATABASE)
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        schemas = inspect(connection).get_schema_names()
        for schema in schemas:
            if schema != "information_schema":
                connection.execute(text(f'DROP SCHEMA "{schema}" CASCADE'))
        connection.execute(text("CREATE SCHEMA public"))
    engine.dispose()
    return url.render_as_string(hide_password=False)


@pytest.fixture(params=["sqlite", "postgresql"])
def address(request, tmp_path):
    """Where a notebook may be made, on each database in turn."""
    if request.param == "sqlite":
        return str(tmp_path / "notebook.sqlite")
    return empty_database(request.getfixturevalue("server"))


@pytest.fixture
def clock():
    """A clock that goes on by a minute whenever it is read."""
    minutes = itertools.count()
    return lambda: datetime(2026, 3, 1, 18, 0, tzinfo=UTC) + timedelta(minutes=next(minutes))


@pytest.fixture
def opened(clock):
    """Open notebooks, and close them after the test."""
    books = []

    def open_(address, *, create=True):
        books.append(DatabaseNotebook(address, TomlDocuments("test"), create=create, clock=clock))
        return books[-1]

    yield open_
    for book in books:
        book.close()


@pytest.fixture
def notebook(address, opened):
    """An empty notebook on each database in turn."""
    return opened(address)
