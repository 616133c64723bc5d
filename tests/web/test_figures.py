"""Pictures of a page: the values that can be read off them lie where they are drawn, and both files say the same."""

from __future__ import annotations

import csv
import io
import json
import re
import xml.etree.ElementTree as ET
from html import unescape

import numpy as np
import pytest
from tests.files.part_files import binary_stl
from tests.journeys.conftest import box
from tests.web.bench import Visitor, opened

from vatwright.interfaces.render.pictures import svg
from vatwright.interfaces.render.pictures.figure_files import figure_csv, figure_svg
from vatwright.interfaces.render.pictures.plots import DataColumn, Drawing, spots_along
from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    """A bench with the sheet of two tiles on it: whoever sits there, the sheet's address, the sheet."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("VATWRIGHT_SHOP", raising=False)
        patch.setenv("VATWRIGHT_STORE", str(tmp_path_factory.mktemp("figures") / "none.sqlite"))
        app, _ = opened()
        desk = app.state.desk
        kept = desk.tray.keep("tile.stl", io.BytesIO(binary_stl(box((20.0, 20.0, 2.0)))))
        part = [PartAsked(file=kept.handle, unit="mm", count=2, name="<b>tile</b>")]
        job = JobAsked(recipe="slate on Wren", to="Heron", room_c=20.0, name="tiles")
        carry = desk.new_carry(part, job=job)
        desk.begin(carry, CarryAsked(job=job, part=part))
        assert carry.work.ended.wait(240.0)
        assert carry.sheet is not None, carry.work.problem
        yield Visitor(app), f"/carry/{carry.id}", carry.sheet
        desk.close()


def links(page):
    return [unescape(a) for a in re.findall(r'download href="([^"]+)"', page)]


def test_every_picture_of_a_page_is_there_as_a_drawing_and_as_data(sheet):
    """RFC 4180: every row as wide as the head; SVG 2: one root of that name space."""
    desk, address, _ = sheet
    parts = re.findall(rf'href="({address}/[a-z]+)"', desk.get(address).text)
    pages = [desk.get(part).text for part in parts]
    found = [link for page in pages for link in links(page)]
    assert len(found) == 2 * sum(page.count("<figure id=") for page in pages) >= 16
    for link in found:
        answer = desk.get(link)
        name = link.rpartition("=")[2]
        assert answer.headers["content-disposition"] == f'attachment; filename="{name}"'
        if name.endswith(".svg"):
            assert answer.headers["content-type"].startswith("image/svg+xml")
            root = ET.fromstring(answer.text)  # noqa: S314 - our own picture
            assert root.tag == f"{SVG}svg"
            assert "var(--" not in answer.text, "a program beside a browser knows no variables"
        else:
            rows = list(csv.reader(io.StringIO(answer.text)))
            assert len(rows) > 1
            assert {len(r) for r in rows} == {len(rows[0])}


def test_the_data_of_the_thickness_is_every_layer(sheet):
    desk, address, known = sheet
    rows = list(csv.DictReader(io.StringIO(desk.get(f"{address}?take=thickness-0.csv").text)))
    assert len(rows) == min(60, len(known.layers.thickness_m))
    got = [float(r["thickness [um]"]) for r in rows]
    assert got == pytest.approx(list(known.layers.thickness_m[: len(rows)] * 1e6), rel=1e-5)


def test_what_is_read_at_a_place_is_drawn_there(sheet):
    """The line of the settle that is needed goes through every place that says its value."""
    desk, address, _ = sheet
    page = desk.get(f"{address}/layers").text
    figure = page[page.index('<figure id="settle-0"') :]
    spots = json.loads(unescape(re.search(r'data-spots="([^"]*)"', figure)[1]))
    lines = re.findall(r'<polyline points="([^"]+)"', figure[: figure.index("</svg>")])
    drawn = {tuple(p.split(",")) for line in lines for p in line.split()}
    assert len(spots) > 10
    for x, y, text in spots:
        assert y is None
        assert any(abs(float(px) - x) < 0.11 for px, _ in drawn), text
    assert re.fullmatch(r"after .+ (min|h): settle needed .+ s; given .+ s", spots[3][2])


def test_a_name_of_ones_own_in_a_picture_stays_text(sheet):
    desk, address, _ = sheet
    page = "".join(desk.get(f"{address}{part}").text for part in ("", "/layers", "/risks", "/holding"))
    assert "<b>tile" not in page
    assert "<b>tile" not in desk.get(f"{address}?take=platform.svg").text


def test_no_other_picture_and_no_path_can_be_asked_for(sheet):
    desk, address, _ = sheet
    for name in ("nothing.svg", "pull.exe", "../../etc/passwd", "pull", ""):
        assert desk.get(f"{address}?take={name}").status_code == 404, name


def test_state_in_an_address_stays_in_the_address_of_a_file():
    app, _ = opened()
    desk = Visitor(app)
    gaps = "&".join(
        f"x={x}&y={y}&gap={g}" for x, y, g in ((-60, -40, 100), (60, -40, 120), (60, 40, 160), (-60, 40, 130))
    )
    found = links(desk.get(f"/level?machine=Heron&{gaps}").text)
    (plane,) = [link for link in found if link.endswith("level-plane.csv")]
    rows = list(csv.reader(io.StringIO(desk.get(plane).text)))
    assert [r[1] for r in rows[1:]] == ["100", "120", "160", "130"]
    app.state.desk.close()


def test_places_lie_at_the_pixel_of_their_value():
    """Linear axes: a quarter along is a quarter of the way between the margins."""
    frame = svg.Frame(svg.axis("x [s]", 0.0, 8.0), svg.axis("y [N]", 0.0, 1.0))
    xs = np.array([0.0, 2.0, 8.0])
    spots = spots_along(frame, ("after [s]", "pull [N]"), [xs, np.array([0.5, 0.25, np.nan])])
    wide = svg.WIDTH_PX - frame.left - frame.right
    assert [s.x for s in spots] == pytest.approx([frame.left, frame.left + wide / 4.0, frame.left + wide])
    assert [s.text for s in spots] == ["after 0 s: pull 0.50 N", "after 2.00 s: pull 0.25 N", "after 8.00 s: "]


def test_a_spike_in_a_long_series_can_be_read():
    frame = svg.Frame(svg.axis("x", 0.0, 10_000.0), svg.axis("y", 0.0, 9.0))
    values = np.zeros(10_000)
    values[4321] = 9.0
    spots = spots_along(frame, ("layer", "pull [N]"), [np.arange(10_000.0), values], whole=True)
    assert "layer 4321: pull 9.0 N" in [s.text for s in spots]
    assert len(spots) < 400


def test_a_spreadsheet_works_nothing_out():
    """A cell that begins like a formula is one to a spreadsheet; numbers, signed ones too, stay numbers."""
    figure = Drawing(
        "x", "t", svg.Svg("<svg/>"), ("name", "value"), (("=1+1", "-3.5"), ("@a", "+2"), ('a "b", c', "4"))
    )
    rows = list(csv.reader(io.StringIO(figure_csv(figure))))
    assert rows == [["name", "value"], ["'=1+1", "-3.5"], ["'@a", "+2"], ['a "b", c', "4"]]
    assert figure_svg(figure).startswith("<?xml")


def test_full_data_is_written_whole_and_what_is_not_finite_is_empty():
    full = (DataColumn("a [s]", np.array([1.0, np.nan, 3.0])), DataColumn("b", np.array([1 / 3, np.inf, 1e9])))
    figure = Drawing("x", "t", svg.Svg("<svg/>"), ("a",), (("left out",),), full=full)
    assert figure_csv(figure) == "a [s],b\r\n1,0.333333\r\n,\r\n3,1e+09\r\n"
