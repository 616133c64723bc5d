"""The Commission page: what is open, a drawing each, a value typed in and kept by the shop's own path; late, twice, wrong."""

from __future__ import annotations

import json
import re
import tomllib

import pytest
import tomlkit
from defusedxml import ElementTree
from tests.web.bench import Visitor, opened

from vatwright import wiring
from vatwright.answers.commission import WORDS
from vatwright.files.read import read_shop
from vatwright.files.said import said_of
from vatwright.interfaces.render.pictures.measure import SCENES, where_to_measure
from vatwright.interfaces.web import shelf
from vatwright.interfaces.web.pages.commission_fields import SETTLES, asks, stands, taken
from vatwright.planning.commission.commission import CHECKS, commissioned

SHOP = """
[[machine]]
name = "Kite"
platform = { width_mm = 145, depth_mm = 88 }
height_mm = 155

[[resin]]
name = "pewter"
"""
ALL = [(kind, check.slug) for kind, checks in CHECKS.items() for check in checks]
SIZES = {"window": 180, "vat": 200, "platform": 140, "density": 1}
NAMES = {"machine": "Kite", "resin": "pewter"}
READ = {"dial.0.load_kg": "5", "dial.0.deflection_um": "180"}


@pytest.fixture
def mine():
    """A bench on a notebook with a machine and a resin nobody has read anything of; no work is begun."""
    app, _ = opened()
    desk = app.state.desk
    shelf.keep_text(desk, SHOP, what="my shop")
    desk.work.start = lambda *_: (_ for _ in ()).throw(AssertionError("a page that only lists begins no work"))
    yield desk, Visitor(app)
    desk.close()


@pytest.fixture
def quiet(mine, monkeypatch):
    """The same, with what readings may save known to be nothing."""
    monkeypatch.setattr("vatwright.interfaces.web.pages.commission._saved", lambda *_: {})
    return mine


def entry(desk, kind, name):
    return shelf.shelves(desk).kinds[kind][name]


def sent(visitor, slug, typed, *, kind="machine", name="Kite", **more):
    said = {"token": visitor.token("/trial"), "kind": kind, "name": name, "slug": slug, **more}
    return visitor.post("/commission", data=said | {f"v.{path}": text for path, text in typed.items()})


def typed_for(kind, slug, table):
    """Something a person may read in every field of a reading."""
    found = {}
    for n, field in enumerate(asks(kind, slug, table).fields):
        number = next((v for start, v in SIZES.items() if field.path.startswith(start)), 20)
        found[field.path] = field.options[0] if field.options else str(number + n)
    return found


def test_every_reading_has_a_drawing_that_is_sound():
    """Well formed by an independent reader of XML."""
    assert set(SCENES) == set(WORDS)
    for slug in SCENES:
        picture = ElementTree.fromstring(where_to_measure(slug, WORDS[slug].what))
        assert WORDS[slug].what in picture[0].text


def test_what_is_typed_is_read_back_as_done(tmp_path):
    """The page's own fields are enough for every reading, by the same reader of shop files as the command's."""
    tables = {kind: rows[0] for kind, rows in tomllib.loads(SHOP).items()}
    for kind, slug in ALL:
        found, mistakes = taken(kind, slug, tables[kind], typed_for(kind, slug, tables[kind]))
        assert mistakes == [], slug
        text = tomlkit.dumps(json.loads(json.dumps({kind: [found]}, default=float)))
        (tmp_path / "shop.toml").write_text(text, encoding="utf-8")
        read_shop(tmp_path / "shop.toml")
        sheet = commissioned(kind, NAMES[kind], said_of(text, kind, NAMES[kind]))
        assert next(item.done for item in sheet.items if item.slug == slug), slug
        tables[kind] = found
        assert stands(kind, slug, found), slug


def test_places_are_where_the_drawing_shows_them(quiet):
    """Rear is up in the drawing and above zero on the platform; corners 10 mm inside."""
    desk, visitor = quiet
    sent(visitor, "level", {f"level.{n}.gap_um": str(100 + n) for n in range(5)})
    rows = tomllib.loads(entry(desk, "machine", "Kite").document)["machine"][0]["level"]
    assert [(r["x_mm"], r["y_mm"]) for r in rows] == [(-62.5, 34), (62.5, 34), (62.5, -34), (-62.5, -34), (0, 0)]
    assert [r["gap_um"] for r in rows] == [100, 101, 102, 103, 104]


def test_a_tap_that_came_twice_is_one_change_and_another_value_is_asked_about(quiet):
    desk, visitor = quiet
    first = sent(visitor, "dial", READ)
    changes = len(shelf.history(desk))
    assert first.headers["location"].startswith("/commission?kind=machine&name=Kite&change=")
    assert "Kept." in visitor.get(first.headers["location"]).text
    again = sent(visitor, "dial", READ)  # sent again, as by the back button or a link that came back
    assert again.headers["location"] == "/commission?kind=machine&name=Kite"
    assert len(shelf.history(desk)) == changes
    other = sent(visitor, "dial", READ | {"dial.0.deflection_um": "240"})
    assert other.status_code == 409
    assert "180" in other.text
    assert 'value="240"' in other.text
    assert "Keep mine instead" in other.text
    assert sent(visitor, "dial", READ | {"dial.0.deflection_um": "240"}, anyway="yes").status_code == 303
    assert "deflection_um = 240" in entry(desk, "machine", "Kite").document


def test_what_cannot_be_taken_is_told_in_words_and_stays_in_the_field(quiet):
    desk, visitor = quiet
    before = entry(desk, "machine", "Kite").document
    half = sent(visitor, "dial", {"dial.0.load_kg": "5"})
    assert half.status_code == 422
    assert "What the dial moved" in half.text
    odd = sent(visitor, "dial", READ | {"dial.0.deflection_um": "about 200"})
    assert odd.status_code == 422
    assert 'value="about 200"' in odd.text
    few = sent(visitor, "level", {"level.0.gap_um": "100"})
    assert "of at least 3" in few.text
    assert sent(visitor, "controller", {"controller.settle_s": ""}).status_code == 422
    assert sent(visitor, "nothing", {}).status_code == 404
    assert visitor.post("/commission", data={"kind": "machine", "name": "Kite", "slug": "dial"}).status_code == 403
    assert entry(desk, "machine", "Kite").document == before


def test_the_list_says_how_far_each_is_and_begins_no_work(mine):
    _, visitor = mine
    page = visitor.get("/commission").text
    assert "Kite" in page
    assert "12 readings of 14 open" in page
    assert visitor.get("/commission?kind=machine&name=Kestrel").status_code == 404
    assert visitor.get("/commission?kind=film&name=Kite").status_code == 404


def test_the_demo_and_a_shop_file_say_where_the_value_goes(desk, monkeypatch):
    monkeypatch.setattr("vatwright.interfaces.web.pages.commission._saved", lambda *_: {})
    page = desk.get("/commission?kind=machine&name=Heron").text
    assert "The demo workshop is to look at" in page
    assert "machine.level.gap_um" in page
    assert "<form" not in page.partition('id="level"')[2]
    refused = sent(desk, "level", {f"level.{n}.gap_um": "100" for n in range(5)}, name="Heron")
    assert refused.status_code == 422


def test_what_each_may_save_comes_when_it_is_reckoned(mine, monkeypatch):
    """Told once; the page does not wait for it."""
    desk, visitor = mine
    del desk.work.start
    monkeypatch.setattr(wiring, "saved_by_reading", lambda *_: {"stiffness target": 600.0})
    visitor.get("/commission?kind=machine&name=Kite")
    for work in desk.work.going():
        assert work.ended.wait(20.0)
    told = visitor.get("/commission/saves?kind=machine&name=Kite").text
    assert re.search(r'id="takes-dial"[^>]*>3.min; may save about 10.min a run<', told)
    assert "may save about" in visitor.get("/commission?kind=machine&name=Kite").text


def test_a_choice_of_the_two_waits_becomes_a_rule_of_the_controller():
    table = {"platform": {"width_mm": 145, "depth_mm": 88}}
    for what in SETTLES:
        found, mistakes = taken("machine", "controller", table, {"controller.settle_s": what})
        assert mistakes == []
        assert found["controller"]["settle_s"]["obeys"] in ("yes", "shared", "no")
