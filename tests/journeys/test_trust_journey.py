"""What is damaged, foreign or out of range is answered with a sentence, and a carry goes on where it can."""

from __future__ import annotations

import json
import os

import pytest
from tests.journeys.conftest import vatwright

UNREAD = "the notebook cannot be read"


@pytest.fixture
def damaged_notebook(tmp_path):
    """A notebook whose first page is noise."""
    store = tmp_path / "notebook.sqlite"
    vatwright("shop", "init", "--store", store, code=0)
    content = bytearray(store.read_bytes())
    content[100:4096] = os.urandom(3996)
    store.write_bytes(content)
    return store


def test_a_carry_goes_on_without_a_notebook_that_cannot_be_read(bench, damaged_notebook):
    before = damaged_notebook.read_bytes()
    ran = vatwright("carry", "tiles.toml", "--store", damaged_notebook, "--json", cwd=bench)
    assert ran.code in (0, 1), ran
    assert any(UNREAD in said for said in json.loads(ran.out)["cautions"])
    alone = vatwright("carry", "tiles.toml", "--store", damaged_notebook, "--without-notebook", "--json", cwd=bench)
    assert alone.code == ran.code, alone
    assert not any(UNREAD in said for said in json.loads(alone.out)["cautions"])
    assert json.loads(alone.out)["settings"] == json.loads(ran.out)["settings"]
    assert damaged_notebook.read_bytes() == before


@pytest.mark.parametrize("words", [("shop", "show"), ("shop", "history"), ("learn",), ("shop", "export", "out")])
def test_a_damaged_notebook_is_named(damaged_notebook, words, tmp_path):
    ran = vatwright(*words, "--store", damaged_notebook, cwd=tmp_path)
    assert ran.code == 2, ran
    assert "notebook.sqlite" in ran.err
    assert "Traceback" not in ran.err


@pytest.mark.parametrize("year", ["0001", "9999"])
def test_a_year_in_which_nobody_prints_is_refused(bench, tmp_path, year):
    store = tmp_path / "own.sqlite"
    vatwright("shop", "init", "--store", store, code=0)
    at = f"{year}-01-01T00:00:00+14:00"
    ran = vatwright("note", "tiles.toml", "held", "--no-prediction", "--at", at, "--store", store, cwd=bench, code=2)
    assert "a year in which nobody prints" in ran.err


def test_an_outcome_from_a_pipe_is_refused_at_once(bench, tmp_path):
    os.mkfifo(tmp_path / "run.json")
    ran = vatwright("note", "tiles.toml", "--from", tmp_path / "run.json", "--no-prediction", cwd=bench, code=2)
    assert "is no ordinary file" in ran.err


def test_a_reading_a_metre_off_the_platform_is_refused(bench):
    points = ("-1000,0,100", "50,30,100", "50,-30,120", "-50,0,110")
    words = [w for p in points for w in ("--point", p)]
    ran = vatwright("level", *words, "--machine", "Wren", "--shop", "shop.toml", cwd=bench, code=2)
    assert "lies outside Wren's platform" in ran.err
