"""Small pieces of the bench: pictures without inline style, questions as files, what moves, how a bench is reached."""

from __future__ import annotations

import hashlib
import os
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
from tests.web.bench import Visitor, opened

import vatwright.interfaces.web
from vatwright.errors import InputError
from vatwright.files.read import Given, read_file, read_text
from vatwright.files.schema import JobFile
from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.web.drawn import without_styles
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, in_bench_words
from vatwright.interfaces.web.settings import BenchSettings
from vatwright.interfaces.web.sheet_moves import asked_moves
from vatwright.wiring import demo_folder

ROOM = Path(vatwright.interfaces.web.__file__).parent


def test_a_picture_keeps_every_property_without_a_style():
    """SVG 2, section 6.7: each property used is a presentation attribute."""
    drawn = svg.drawing(
        slug="x",
        title="a style=\"fill:red\" & 'quotes'",
        description="d",
        width=10,
        height=10,
        children=[svg.words('text; style="x"', 1, 2), svg.tag("path", d="M0 0", style=svg.stroke("ink", 2, "4 2"))],
    )
    found = ET.fromstring(without_styles(drawn))  # noqa: S314 - our own picture
    assert not [e for e in found.iter() if "style" in e.attrib]
    path = found.find("{http://www.w3.org/2000/svg}path")
    assert path.attrib["fill"] == "none"
    assert path.attrib["stroke"] == "var(--ink,#1a1a1a)"
    assert path.attrib["stroke-width"] == "2"
    assert path.attrib["stroke-dasharray"] == "4 2"
    assert found.attrib["font-family"] == "var(--face,sans-serif)"
    title = found.find("{http://www.w3.org/2000/svg}title").text
    assert title == ET.fromstring(drawn).find("{http://www.w3.org/2000/svg}title").text  # noqa: S314


def test_a_question_is_a_file_that_the_readers_know():
    asked = CarryAsked.model_validate(
        {
            "job": {"recipe": 'say "hi"', "to": "Heron", "room_c": 18.5},
            "part": [{"file": "x", "unit": "mm", "count": 2}],
        }
    )
    read = read_file(Given("this job", asked.table()), JobFile)
    written = (
        '[job]\nrecipe = \'say "hi"\'\nto = "Heron"\nroom_c = 18.5\n[[part]]\nfile = "x"\nunit = "mm"\ncount = 2\n'
    )
    assert read.model == read_text(Path("job.toml"), written, JobFile).model


def test_mistakes_lose_our_paths_and_keep_their_sense():
    problem = InputError.one("/b/job.toml:12: /b/k3.stl", "/b/k3.stl has holes", "Mend it")
    (told,) = in_bench_words(problem, {"/b/job.toml": "this job", "/b/k3.stl": "lid.stl"}, "this job").mistakes
    assert told == ("lid.stl", "lid.stl has holes", "Mend it")


def test_what_was_changed_is_said_with_units():
    before = JobAsked(recipe="r", to="Heron", room_c=18.0)
    now = before.model_copy(update={"room_c": 24.5, "to": "Wren", "visits": 0})
    assert asked_moves(before, now) == [
        ("machine", "Heron", "Wren"),
        ("room", "18 °C", "24.5 °C"),
        ("visits by hand at most", "as usual", "0"),
    ]
    (faint,) = asked_moves(before, before.model_copy(update={"faint_steps": True}))
    assert faint.now == "in steps too small to leave a line"


@pytest.mark.parametrize(
    ("host", "wide"),
    [
        ("127.0.0.1", False),
        ("localhost", False),
        ("::1", False),
        ("127.0.0.2", False),
        ("0.0.0.0", True),  # noqa: S104 - nothing listens
        ("192.0.2.1", True),
        ("::", True),
    ],
)
def test_only_loopback_is_not_wide(host, wide):
    """RFC 1122, 3.2.1.3: 127/8; RFC 4291, 2.5.3: ::1."""
    assert BenchSettings(host=host).wide is wide


def test_the_address_for_phones_is_a_number():
    assert BenchSettings(host="192.0.2.1", port=80).phone_address == "http://192.0.2.1:80"
    assert re.fullmatch(r"http://\d+\.\d+\.\d+\.\d+:8423", BenchSettings(host="0.0.0.0").phone_address)  # noqa: S104


def test_files_of_others_are_the_ones_noted():
    noted = [line.split() for line in (ROOM / "static" / "third-party.sha256").read_text().splitlines()]
    assert {name for _, name in noted} == {"htmx.min.js", "htmx-LICENSE.txt"}
    for digest, name in noted:
        assert hashlib.sha256((ROOM / "static" / name).read_bytes()).hexdigest() == digest


def test_no_template_holds_a_script_a_style_or_an_address_of_others():
    for template in (ROOM / "templates").glob("*.html"):
        text = template.read_text(encoding="utf-8")
        assert not re.search(r"<script(?! src=\"/static/)|<style|\sstyle=|\son\w+=|https?://|javascript:", text), (
            template
        )


def test_a_page_of_a_shop_of_ones_own_offers_no_demo(tmp_path):
    shop = tmp_path / "shop.toml"
    text = (
        (demo_folder() / "shop.toml")
        .read_text(encoding="utf-8")
        .replace('file = "parts/', f'file = "{demo_folder()}/parts/')
    )
    shop.write_text(text.replace("Albatross", "Pelican"), encoding="utf-8")
    app, _ = opened(shop=str(shop))
    desk = Visitor(app)
    assert "demo" not in desk.get("/carry").text.lower()
    assert "Pelican" in desk.get("/level").text
    shop.write_text(text.replace("Albatross", "Gannet"), encoding="utf-8")
    os.utime(shop, (2e9, 2e9))
    assert "Gannet" in desk.get("/level").text
    app.state.desk.close()


def test_the_shop_of_a_notebook(tmp_path, capsys):
    from vatwright.interfaces.cli.main import outcome

    store = str(tmp_path / "notebook.sqlite")
    assert outcome(["shop", "init", "--demo", "--store", store]) == 0
    app, clock = opened(store=store)
    desk = Visitor(app)
    assert not app.state.desk.shop().demo
    assert "Albatross" in desk.get("/level").text
    shop = tmp_path / "more.toml"
    text = (demo_folder() / "shop.toml").read_text(encoding="utf-8")
    shop.write_text(text.split("# --- Resins")[0].replace("Albatross", "Pelican"), encoding="utf-8")
    assert outcome(["shop", "add", str(shop), "--store", store]) == 0
    clock.now += 10.0
    assert "Pelican" in desk.get("/level").text
    app.state.desk.close()


def test_a_notebook_that_is_not_there_is_told(tmp_path):
    app, _ = opened(store=str(tmp_path / "none.sqlite"))
    with pytest.raises(InputError, match="no notebook"):
        app.state.desk.shop()
    app.state.desk.close()
