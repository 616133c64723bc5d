"""Any changes can be taken back, one after the other, through every state there was; the judge is what was there then."""

from __future__ import annotations

import itertools
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from tests.store.things import SLATE, WREN, noted_run, recipe_page

from vatwright.files.documents import TomlDocuments
from vatwright.records.stock import FittedFilm, Lot, Price
from vatwright.store.notebook import DatabaseNotebook

few = st.sampled_from("abc")
entries = st.one_of(
    st.builds(Price, name=few, amount=st.floats(0, 1e9)),
    st.builds(FittedFilm, name=few, machine=st.just("Wren"), layers=st.integers(0, 99)),
    st.builds(Lot, name=few, resin=st.just("slate"), left_m3=st.floats(0, 1)),
    st.builds(recipe_page, st.integers(0, 9)),
    st.just(WREN),
)
changes = st.lists(st.lists(entries, min_size=1, max_size=3, unique_by=lambda e: (type(e), e.name)), max_size=6)


def state(book):
    contents = book.contents()
    return contents.pages, contents.stock, contents.jobs, contents.runs


@settings(max_examples=40)
@given(changes)
def test_undo_goes_back_through_every_state_and_forth_again(listed):
    minutes = itertools.count()
    with tempfile.TemporaryDirectory() as folder:
        address = str(Path(folder) / "n.sqlite")
        start = datetime(2026, 3, 1, tzinfo=UTC)
        with DatabaseNotebook(
            address, TomlDocuments("x"), create=True, clock=lambda: start + timedelta(minutes=next(minutes))
        ) as book:
            book.keep("start", [WREN, SLATE])
            states = [state(book)]
            for n, change in enumerate(listed):
                if book.keep(f"change {n}", [*change, noted_run(f"run {n}")]).change is not None:
                    states.append(state(book))
            undone = []
            for before in reversed(states[:-1]):
                undone.append(book.undo().number)
                assert state(book) == before
            for number, after in zip(reversed(undone), states[1:], strict=True):
                book.undo(number)
                assert state(book) == after
            assert [c.number for c in book.changes()] == list(range(1, 3 * len(undone) + 2))
