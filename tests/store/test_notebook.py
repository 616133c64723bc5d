"""What every notebook promises, on SQLite and on PostgreSQL alike.

What is compared with is what was handed in; that the two databases differ where nobody takes care (orphans, text among
numbers, zones, NaN) is what their manuals say: SQLite "Foreign Key Support" 2, "Datatypes" 3.2, "STRICT Tables";
PostgreSQL 15 manual 8.1.3, 8.5.
"""

from __future__ import annotations

import math
import os
import subprocess
import sys
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from attrs import evolve
from sqlalchemy import insert, text
from sqlalchemy.exc import StatementError
from tests.store.things import (
    SLATE,
    STOCK,
    WREN,
    demo_job,
    noted_job,
    noted_run,
    outcome,
    recipe_page,
    shop_pages,
)

from vatwright.errors import InputError, StaleError
from vatwright.files.read import read_shop
from vatwright.records.job import Shop
from vatwright.records.notebook import Version
from vatwright.records.stock import FittedFilm, Price, Stock
from vatwright.store import tables
from vatwright.store.engine import writing
from vatwright.store.to_records import revision_of

DEMO_SHOP = Path(__file__).parents[2] / "demo" / "shop.toml"


def by_name(shop: Shop) -> Shop:
    return Shop(**{k: tuple(sorted(getattr(shop, k), key=lambda e: e.name)) for k in ("machines", "resins", "recipes")})


class TestNotebook:
    def test_a_new_one_is_empty(self, notebook):
        assert notebook.shop() == Shop()
        assert notebook.stock() == Stock()
        assert notebook.runs() == notebook.jobs() == notebook.changes() == ()

    def test_what_is_kept_comes_back_to_the_last_bit_even_after_closing(self, address, opened):
        opened(address).keep("all", [*shop_pages(), *STOCK, job := noted_job(), noted_run(job=job)])
        book = opened(address, create=False)
        wanted = by_name(read_shop(DEMO_SHOP))
        assert book.shop() == wanted
        assert [m.assumed for m in book.shop().machines] == [m.assumed for m in wanted.machines]
        assert tuple(record for kind in ("films", "screens", "lots", "stations", "prices")
                     for record in getattr(book.stock(), kind)) == STOCK  # fmt: skip
        assert book.runs() == (outcome(),)
        assert book.jobs() == ("harbour lanterns, spring order",)
        assert book.job("harbour lanterns, spring order") == book.job_of("run 1") == demo_job()

    def test_a_job_is_kept_as_it_was_for_each_run(self, notebook):
        heron, albatross = noted_job("Heron"), evolve(noted_job("Albatross"), noted=datetime(2026, 6, 1, tzinfo=UTC))
        notebook.keep("1", [heron, noted_run("run 1", heron)])
        notebook.keep("2", [albatross, noted_run("run 2", albatross, machine="Albatross")])
        assert notebook.job_of("run 1").target.name == "Heron"
        assert notebook.job_of("run 2").target.name == "Albatross"
        assert notebook.job("harbour lanterns, spring order").target.name == "Albatross"
        assert [p.sha256 is not None for p in notebook.contents().jobs[0].parts] == [True] * len(heron.parts)

    def test_only_the_newest_are_read_where_asked_and_the_others_counted(self, notebook):
        job = noted_job()
        runs = [noted_run(f"run {k}", job, at=datetime(2026, 5, k, tzinfo=UTC)) for k in (3, 1, 4, 2, 5)]
        notebook.keep("all", [job, *runs])
        assert [r.run for r in notebook.runs(newest=2)] == ["run 4", "run 5"]
        assert [r.run for r in notebook.runs(machine="Heron", newest=3)] == ["run 3", "run 4", "run 5"]
        assert notebook.runs(machine="Wren", newest=3) == ()
        some = notebook.contents(newest=2)
        assert [r.name for r in some.runs] == ["run 4", "run 5"]
        assert (some.more_runs, some.more_jobs) == (3, 0)
        assert [r.name for r in notebook.contents(newest=2, run="run 1").runs] == ["run 1", "run 4", "run 5"]
        whole = notebook.contents()
        assert (len(whole.runs), whole.more_runs, whole.more_jobs) == (5, 0, 0)
        assert notebook.job_digests(["run 1", "run 9"]) == {"run 1": job.digest}

    def test_runs_are_found_by_machine_and_resin_oldest_first_whatever_their_zone(self, notebook):
        late = datetime(2026, 5, 4, 9, 0, tzinfo=UTC)  # 11:00 in the summer zone of run 1, which is 09:30 there
        for name, machine, resin, at in (
            ("a", "Wren", "slate", late), ("b", "Heron", "amber", late + timedelta(days=1)),
            ("c", "Heron", "slate", outcome().at),
        ):  # fmt: skip
            notebook.keep(name, [noted_run(name, machine=machine, resin=resin, at=at)])
        assert [r.run for r in notebook.runs()] == ["c", "a", "b"]
        assert [r.run for r in notebook.runs(machine="Heron")] == ["c", "b"]
        assert [r.run for r in notebook.runs(resin="slate")] == ["c", "a"]
        assert [r.run for r in notebook.runs("Heron", "slate")] == ["c"]
        assert notebook.runs(machine="nobody's") == ()

    def test_keeping_the_same_again_changes_nothing(self, notebook):
        entries = [*shop_pages(), *STOCK, noted_run()]
        first = notebook.keep("all", entries)
        again = notebook.keep("all", entries)
        assert (first.same, again.change, again.same) == (0, None, len(entries))
        assert [c.number for c in notebook.changes()] == [1]

    def test_an_entry_of_a_known_name_takes_the_place_of_the_old_one(self, notebook):
        notebook.keep("a", [Price(name="film", amount=12.0)])
        kept = notebook.keep("b", [Price(name="film", amount=13.0)])
        assert notebook.stock().prices == (Price(name="film", amount=13.0),)
        assert [(t.kind, t.name, t.verb) for t in kept.change.touched] == [("price", "film", "changed")]

    def test_what_is_not_as_it_was_seen_is_left_alone_whole(self, notebook):
        seen, other = Price(name="gloves", amount=12.0), Price(name="rags", amount=1.0)
        entries = [*shop_pages(), *STOCK, seen]
        notebook.keep("a", entries)
        as_seen = {("price", "gloves"): revision_of(seen), ("price", "rags"): None}
        notebook.keep("b", [evolve(seen, amount=13.0), other], as_seen=as_seen)
        with pytest.raises(StaleError) as told:
            notebook.keep("c", [evolve(seen, amount=14.0), evolve(other, amount=2.0)], as_seen=as_seen)
        assert [m.where for m in told.value.mistakes] == ["price gloves", "price rags"]
        amounts = {p.name: p.amount for p in notebook.stock().prices}
        assert (amounts["gloves"], amounts["rags"]) == (13.0, 1.0)
        # Whatever comes out of the notebook has the revision of what went in: texts, films, lots, stations alike.
        found = notebook.stock()
        listed = [*notebook.pages(), *found.films, *found.screens, *found.lots, *found.stations]
        wanted = {revision_of(e) for e in entries}
        assert {revision_of(e) for e in listed} == wanted - {revision_of(p) for p in entries if isinstance(p, Price)}

    def test_a_run_is_never_replaced(self, notebook):
        notebook.keep("a", [noted_run("x"), noted_run("y")])
        with pytest.raises(InputError, match="'x': is noted already") as told:
            notebook.keep("b", [noted_run("x", held=True, events=()), noted_run("y", note="other"), *STOCK[-1:]])
        assert [m.where for m in told.value.mistakes] == ["run 'x'", "run 'y'"]
        assert notebook.stock().prices == ()
        assert notebook.runs() == (outcome("x"), outcome("y"))

    def test_every_version_of_a_recipe_stays(self, notebook):
        notebook.keep("1", [WREN, SLATE, recipe_page(2)])
        notebook.keep("2", [recipe_page(3)])
        notebook.keep("3", [recipe_page(2)])
        notebook.undo()
        versions = notebook.contents().versions
        assert [v.document for v in versions] == [recipe_page(s).document for s in (2, 3, 2)]
        assert notebook.shop().recipes[0].settings.body.settle_s == 3.0

    def test_versions_handed_in_are_remembered_once(self, notebook):
        old = Version(recipe="slate on Wren", saved=datetime(2025, 1, 1, tzinfo=UTC), document=recipe_page(1).document)
        for _ in range(2):
            notebook.keep("import", [WREN, SLATE, recipe_page(1)], [old])
        assert notebook.contents().versions == (old,)

    def test_a_change_that_fails_leaves_nothing(self, notebook):
        with pytest.raises(InputError, match="refers to nothing"):
            notebook.keep("bad", [Price(name="film", amount=1.0), FittedFilm(name="f", machine="nobody's")])
        assert notebook.stock() == Stock()
        assert notebook.changes() == ()

    def test_what_gives_entries_sees_the_stock_it_changes(self, notebook):
        notebook.keep("a", [WREN, SLATE, *STOCK])

        def more_layers(stock):
            return [evolve(film, layers=film.layers + 5) for film in stock.films]

        for _ in range(3):
            notebook.keep("use", more_layers)
        assert notebook.stock().films[0].layers == 12 + 15


class TestUndo:
    def test_it_takes_back_the_last_change_and_then_the_one_before(self, notebook):
        notebook.keep("a", [Price(name="film", amount=1.0)])
        notebook.keep("b", [Price(name="film", amount=2.0), Price(name="work", amount=3.0)])
        first = notebook.undo()
        assert (first.number, first.undoes) == (3, 2)
        assert notebook.stock().prices == (Price(name="film", amount=1.0),)
        assert notebook.undo().undoes == 1
        assert notebook.stock().prices == ()
        with pytest.raises(InputError, match="no change to take back"):
            notebook.undo()

    def test_undoing_an_undo_does_it_again(self, notebook):
        notebook.keep("all", [*shop_pages(), *STOCK, job := noted_job(), noted_run(job=job)])
        before = notebook.contents()
        undone = notebook.undo()
        assert notebook.contents().pages == notebook.contents().runs == notebook.contents().jobs == ()
        again = notebook.undo(undone.number)
        after = notebook.contents()
        assert (after.pages, after.stock, after.jobs, after.runs) == (
            before.pages,
            before.stock,
            before.jobs,
            before.runs,
        )
        assert [(c.undoes, c.undone_by) for c in notebook.changes()] == [(None, 2), (1, 3), (2, None)]
        assert again.what == "again: all"

    def test_one_that_others_build_on_stays_and_says_which(self, notebook):
        notebook.keep("a", [Price(name="film", amount=1.0)])
        notebook.keep("b", [Price(name="film", amount=2.0)])
        with pytest.raises(InputError, match=r"change 2 touched price 'film' after change 1\. Undo change 2 first"):
            notebook.undo(1)
        notebook.keep("c", [WREN, SLATE])
        notebook.keep("d", [recipe_page(2)])
        with pytest.raises(InputError, match="still refers to it"):
            notebook.undo(3)
        assert len(notebook.changes()) == 4

    @pytest.mark.parametrize(("number", "match"), [(7, "no change 7"), (1, "taken back already, by change 2")])
    def test_what_cannot_be_is_refused(self, notebook, number, match):
        notebook.keep("a", [Price(name="film", amount=1.0)])
        notebook.undo()
        with pytest.raises(InputError, match=match):
            notebook.undo(number)

    def test_a_run_comes_back_to_the_last_bit(self, notebook):
        notebook.keep("run", [noted_run()])
        assert notebook.undo().touched[0].verb == "taken out"
        notebook.undo(2)
        assert notebook.runs() == (outcome(),)


class TestDatabase:
    """What the databases would let pass if nobody asked them not to."""

    def write(self, notebook, table, **values):
        with writing(notebook._engine, "here") as connection:
            connection.execute(insert(table).values(values))

    def test_a_time_without_a_zone_is_refused(self, notebook):
        naive = datetime(2026, 1, 1)  # noqa: DTZ001 - it is what must be refused
        with pytest.raises(StatementError, match="has no time zone"):
            self.write(notebook, tables.change, number=1, at=naive, what="x")

    @pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
    def test_what_is_not_finite_is_refused(self, notebook, number):
        with pytest.raises(StatementError, match="not a finite number"):
            self.write(notebook, tables.price, name="x", amount=number, per="piece")

    @pytest.mark.parametrize("column", ["layers", "used_s"])
    def test_text_in_a_column_of_numbers_is_refused(self, notebook, column):
        values = {"layers": "1", "used_s": "1"} | {column: "'many'"}
        statement = f"INSERT INTO film VALUES ('x', 'Wren', '', NULL, NULL, {values['layers']}, {values['used_s']})"  # noqa: S608
        notebook.keep("a", [WREN])
        with pytest.raises(InputError, match=r"cannot store TEXT|invalid input syntax"):
            self.run_sql(notebook, statement)
        self.run_sql(notebook, statement.replace("'many'", "1"))  # so it was the text, and nothing else

    def run_sql(self, notebook, statement):
        with writing(notebook._engine, "here") as connection:
            connection.execute(text(statement))

    def test_an_orphan_is_refused(self, notebook):
        with pytest.raises(InputError, match="refers to nothing"):
            self.run_sql(notebook, "INSERT INTO recipe VALUES ('r', 'nobody''s', 'nothing', '')")

    def test_a_moment_is_kept_in_utc(self, notebook):
        notebook.keep("run", [noted_run()])
        with writing(notebook._engine, "here") as connection:
            kept = connection.execute(text("SELECT CAST(at AS TEXT) FROM run")).scalar()
        assert kept.replace("T", " ").startswith("2026-05-04 07:30:15.25")  # 09:30:15.25 two hours east of UTC
        assert notebook.runs()[0].at.isoformat() == "2026-05-04T09:30:15.250000+02:00"


WRITER = """
import sys
from vatwright.store.notebook import DatabaseNotebook
from vatwright.records.stock import Price
address, name, count = sys.argv[1], sys.argv[2], int(sys.argv[3])
with DatabaseNotebook(address, None, create=True) as book:
    for n in range(count):
        book.keep(name, [Price(name=f"{name} {n}", amount=n)])
"""


def test_two_processes_make_and_fill_one_notebook_at_once(address, opened):
    command = [sys.executable, "-c", WRITER, address]
    writers = [
        subprocess.Popen([*command, name, "60"], stderr=subprocess.PIPE, text=True, env=os.environ) for name in "ab"
    ]
    for writer in writers:
        _, said = writer.communicate(timeout=120)
        assert writer.returncode == 0, said
    book = opened(address, create=False)
    assert {p.name for p in book.stock().prices} == {f"{name} {n}" for name in "ab" for n in range(60)}
    assert [c.number for c in book.changes()] == list(range(1, 121))
