"""The Stand page and its way in for programs: the same answer as the command, mistakes told at once, the part turned."""

from __future__ import annotations

import io

import pytest
import trimesh
from tests.files.part_files import binary_stl
from tests.journeys.published_json import mistakes
from tests.web.test_api import API, BOX, ended

from vatwright.interfaces.web.security import SMALL_BODY, body_limit


@pytest.fixture
def tile(desk):
    """The handle of a box of 20 x 20 x 2 mm."""
    headers = {"content-type": "application/octet-stream"}
    return desk.post(f"{API}/files?name=tile.stl", content=binary_stl(BOX), headers=headers).json()["file"]


def test_programs_get_the_ways_and_people_the_part_turned(desk, tile):
    found = ended(desk, desk.post(f"{API}/stand", json={"file": tile, "machine": "Wren", "unit": "mm", "count": 2}))
    assert found["state"] == "done", found
    data = desk.get(found["result"]).json()
    assert mistakes(data, "stand-1") == []
    assert (data["part"], data["count"], data["ways"][0]["height_mm"]) == ("tile.stl", 2, 2.0)
    page = desk.get(f"/stand/{found['work']}").text
    assert page.count("<figure") == len(data["ways"])
    last = len(data["ways"]) - 1
    solid = trimesh.load(io.BytesIO(desk.get(f"/stand/{found['work']}/turned/{last}").content), file_type="stl")
    assert solid.extents[2] == pytest.approx(data["ways"][last]["height_mm"], rel=1e-5)
    assert desk.get(f"/stand/{found['work']}/turned/99").status_code == 404
    assert desk.get(f"/stand/{found['work']}/stand.json").json() == data


def test_mistakes_are_told_all_at_once(desk, tile):
    refused = desk.post(f"{API}/stand", json={"file": tile, "machine": "Pelican", "resin": "tar"})
    assert refused.status_code == 422
    told = [m["where"] for m in refused.json()["mistakes"]]
    assert told == ["machine", "resin", "unit"]
    form = {"token": desk.token("/stand"), "machine": "Wren", "unit": "mm", "count": "1"}
    nothing = desk.post("/stand", data=form, files={"part": ("", b"")})
    assert nothing.status_code == 422
    assert "no file was chosen" in nothing.text
    many = desk.post("/stand", data=form | {"kept": tile, "count": "half"})
    assert many.status_code == 422
    assert 'value="half"' in many.text
    assert "tile.stl" in many.text  # what was handed in is still there


def test_a_part_may_be_as_large_here_as_anywhere():
    assert body_limit("/stand") == body_limit("/carry/parts") > SMALL_BODY
    assert body_limit("/stand/abc/cancel") == SMALL_BODY
