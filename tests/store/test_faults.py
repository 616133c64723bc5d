"""What goes wrong under a notebook is told or made good, and costs nothing that was said to be kept."""

from __future__ import annotations

from datetime import UTC, datetime

from sqlalchemy import create_engine, text
from tests.store.conftest import empty_database

from vatwright.records.stock import Price
from vatwright.store.notebook import DatabaseNotebook


def test_a_database_that_was_started_anew_costs_nobody_a_note(server, opened):
    """To a program that holds a connection a restart is the end of that connection, which the server can be asked for."""
    notebook = opened(empty_database(server))
    notebook.keep("before", [Price(name="ethanol", amount=3.0)])
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        others = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE pid <> pg_backend_pid() AND datname = :n"
        ended = connection.execute(text(others), {"n": notebook.address.rsplit("/", 1)[1]}).all()
    engine.dispose()
    assert ended
    notebook.keep("after", [Price(name="work", amount=30.0)])
    assert [change.what for change in notebook.changes()] == ["before", "after"]


def test_a_clock_that_was_put_back_changes_no_order(address):
    """Changes are in the order in which they were made; what is undone last is what was done last."""
    at = iter(
        [datetime(2026, 3, 1, 18, tzinfo=UTC), datetime(2020, 1, 1, tzinfo=UTC), datetime(2026, 3, 2, tzinfo=UTC)]
    )
    with DatabaseNotebook(address, None, create=True, clock=lambda: next(at)) as notebook:
        notebook.keep("first", [Price(name="work", amount=30.0)])
        notebook.keep("second", [Price(name="work", amount=31.0)])
        assert [change.what for change in notebook.changes()] == ["first", "second"]
        assert notebook.undo(None).undoes == 2
        assert notebook.stock().prices[0].amount == 30.0
