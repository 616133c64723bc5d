"""Fleet plans as text, data and page, from a plan that needs no carry."""

from __future__ import annotations

import re
from datetime import datetime

import pytest
from attrs import evolve
from defusedxml import ElementTree
from tests.journeys.published_json import all_finite, mistakes
from tests.planning.fleet.test_fleet import as_past, planned, week

from vatwright.answers.fleet import fleet_answer
from vatwright.interfaces.render.fleet_json import fleet_json
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.render.pictures.fleet import plate_figure, when_figure
from vatwright.interfaces.render.terminal import answer_text
from vatwright.records.orders import Past


@pytest.fixture(scope="module")
def plan():
    return planned(week())


@pytest.fixture(scope="module")
def late():
    """Everything was due an hour after the start, and one machine stands still."""
    a_book = week()
    a_book = evolve(a_book, orders=tuple(evolve(o, due_s=3600.0) for o in a_book.orders))
    return planned(a_book, past=Past(down=("Wren 2",)))


def cite(key):
    return f"citation of {key}"


def text_of(plan):
    return answer_text(fleet_answer(plan, cite=cite), width=100, whole=True)


def test_the_text_answers_first_and_fits_the_terminal(plan):
    text = text_of(plan)
    assert "Everything is in time" in text.splitlines()[1]
    assert all(len(line) <= 100 for line in text.splitlines())
    assert text.isascii()
    for run in plan.runs:
        assert f"{run.unit}: {run.plate}" in " ".join(text.split())


def test_late_orders_are_told_first(late):
    text = text_of(late)
    assert "late" in text.splitlines()[1]
    assert "Wren 2 stands still" in text
    assert "less late" in text


def test_the_data_follow_the_published_schema(plan, late):
    for one in (plan, late):
        data = fleet_json(one, cite=cite)
        assert not mistakes(data, "fleet-1")
        assert all_finite(data)


def test_moments_in_the_data_are_those_of_the_plan(plan):
    data = fleet_json(plan, cite=cite)
    for said, run in zip(data["runs"], plan.runs, strict=True):
        for key, seconds in (("setup_from", run.start_s), ("ready", run.ready_s), ("off", run.off_s)):
            assert (datetime.fromisoformat(said[key]) - plan.book.starts).total_seconds() == seconds
    assert sum(len(p["pieces"]) for p in data["plates"]) == sum(o.pieces for o in plan.orders)


def test_pictures_are_sound_xml_with_a_bar_a_run(plan):
    picture = when_figure(plan).picture
    root = ElementTree.fromstring(picture)
    assert root.get("role") == "img"
    words = "".join(root.itertext())
    assert all(u.name in words for u in plan.book.units)
    assert len(when_figure(plan).rows) == len(plan.runs)
    for plate in plan.plates:
        drawn = ElementTree.fromstring(plate_figure(plate).picture)
        assert len(drawn.findall("{http://www.w3.org/2000/svg}path")) == len(plate.pieces)


def test_the_page_stands_alone_and_escapes_names(plan):
    a_book = evolve(plan.book, name="<script>alert(1)</script>")
    page = answer_page(fleet_answer(evolve(plan, book=a_book), cite=cite))
    assert "<script" not in page
    assert not re.search(r'(src|href)="(?!#)', page)
    assert "https://" not in page.replace("http://www.w3.org", "")


def test_runs_under_way_are_told(plan):
    now_s = 10 * 3600.0
    again = planned(week(), past=as_past(plan, now_s=now_s))
    kept = [r for r in again.runs if r.kept]
    assert kept
    assert "runs already" in text_of(again)
    assert all(r["under_way"] == k.kept for r, k in zip(fleet_json(again, cite=cite)["runs"], again.runs, strict=True))
