"""The interface for programs: the same answers as the command, problems as RFC 9457 has them, and no fault of ours."""

from __future__ import annotations

import json
import time

import jsonschema
import numpy as np
import pytest
import schemathesis
from hypothesis import settings
from schemathesis.specs.openapi.checks import positive_data_acceptance
from tests.files.part_files import binary_stl
from tests.web.bench import opened

from vatwright.interfaces.cli.main import outcome

API = "/api/v1"
_CORNERS = np.array([[x, y, z] for z in (0, 2) for y in (0, 20) for x in (0, 20)], dtype=float)
_SIDES = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
BOX = _CORNERS[[face for a, b, c, d in _SIDES for face in ((a, b, c), (a, c, d))]]
"""20 x 20 x 2 mm."""

READINGS = [(-140, -75, 120), (140, -75, 190), (140, 75, 230), (-140, 75, 150), (0, 0, 170)]


def ended(desk, begun):
    """The work, once it is no longer going."""
    assert begun.status_code == 202, begun.text
    assert begun.headers["location"] == f"{API}/work/{begun.json()['work']}"
    until = time.monotonic() + 240.0
    while time.monotonic() < until:
        found = desk.get(begun.headers["location"]).json()
        if found["state"] not in ("waiting", "running"):
            return found
        time.sleep(0.1)
    raise AssertionError(found)


def test_a_study_is_the_box_it_is(desk):
    """Closed forms of a box of 20 x 20 x 2 mm: 40 layers of 400 mm2, 800 mm3, 80 mm around."""
    headers = {"content-type": "application/octet-stream"}
    handed = desk.post(f"{API}/files?name=tile.stl", content=binary_stl(BOX), headers=headers)
    assert handed.status_code == 201
    assert handed.json()["needs_unit"] is True
    part = {"file": handed.json()["file"], "unit": "mm"}
    found = ended(desk, desk.post(f"{API}/study", json={"part": [part], "layer_mm": 0.05}))
    assert found["state"] == "done"
    study = desk.get(found["result"]).json()
    assert study["schema"] == "vatwright.study/1"
    assert study["layers"] == 40
    assert study["area_mm2"] == pytest.approx([400.0] * 40)
    assert study["perimeter_mm"] == pytest.approx([80.0] * 40)
    assert study["volume_mm3"] == pytest.approx(800.0)
    assert desk("DELETE", f"{API}/files/{part['file']}").status_code == 204
    assert desk("DELETE", f"{API}/files/{part['file']}").status_code == 404
    missing = desk.post(f"{API}/study", json={"part": [part]})
    assert missing.status_code == 422


def test_a_unit_that_nobody_said_is_asked_for(desk):
    handed = desk.post(
        f"{API}/files?name=tile.stl", content=binary_stl(BOX), headers={"content-type": "application/octet-stream"}
    )
    found = ended(desk, desk.post(f"{API}/study", json={"part": [{"file": handed.json()["file"]}]}))
    assert found["state"] == "failed"
    result = desk.get(f"{API}/work/{found['work']}/result")
    assert result.headers["content-type"] == "application/problem+json"
    (mistake,) = result.json()["mistakes"]
    assert mistake["where"] == "tile.stl"
    assert "unit" in mistake["what"] + mistake["do"]


def test_the_same_level_as_the_command(desk, capsys):
    from vatwright.wiring import demo_folder

    points = [word for x, y, gap in READINGS for word in ("--point", f"{x},{y},{gap}")]
    shop = str(demo_folder() / "shop.toml")
    assert outcome(["level", *points, "--machine", "Albatross", "--shop", shop, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    reading = [{"x_mm": x, "y_mm": y, "gap_um": gap} for x, y, gap in READINGS]
    answer = desk.post(f"{API}/level", json={"level": {"machine": "Albatross"}, "reading": reading})
    assert answer.status_code == 200
    assert answer.json() == told


def test_the_same_formula_as_the_command(desk, capsys):
    assert outcome(["calc", "disc_torsion", "radius_mm=10", "--json"]) == 0
    assert desk.get(f"{API}/calc/disc_torsion?radius_mm=10").json() == json.loads(capsys.readouterr().out)
    assert outcome(["calc", "--list", "--json"]) == 0
    assert desk.get(f"{API}/calc").json() == json.loads(capsys.readouterr().out)
    assert desk.get(f"{API}/calc/no_such").status_code == 404
    assert desk.get(f"{API}/calc/disc_torsion?radius=ten").status_code == 422


def test_every_mistake_of_a_job_at_once_in_words_of_the_person(app, desk):
    asked = {
        "job": {"recipe": "slate on Wern", "to": "Albatros", "room_c": 180},
        "part": [{"file": "demo-lantern", "unit": "mm", "count": 2}],
    }
    answer = desk.post(f"{API}/carry", json=asked)
    assert answer.status_code == 422
    text = answer.text
    for word in ("slate on Wren", "Albatross", "room_c"):
        assert word in text
    assert str(app.state.desk.tray.folder) not in text
    assert {m["where"] for m in answer.json()["mistakes"]} == {"this job"}


PROBLEM = {
    "type": "object",
    "required": ["type", "title", "status", "detail"],
    "properties": {"type": {"type": "string"}, "title": {"type": "string"}, "status": {"type": "integer"}},
}
"""Members of problem details and their JSON types (RFC 9457, 3.1)."""


@pytest.mark.parametrize(
    ("method", "path", "said", "status"),
    [
        ("GET", "/nothing", {}, 404),
        ("PUT", "/level", {"json": {}}, 405),
        ("POST", "/level", {"json": {}}, 422),
        ("POST", "/level", {"content": b"{", "headers": {"content-type": "application/json"}}, 422),
        ("POST", "/carry", {"json": {"job": {}, "part": [], "shop": "/etc/passwd"}}, 422),
        ("GET", "/work/nobody", {}, 404),
        ("DELETE", "/work/nobody", {}, 404),
        ("POST", "/files?name=a.exe", {"content": b"MZ", "headers": {"content-type": "application/octet-stream"}}, 422),
        ("POST", "/files?name=a.stl", {"content": b"", "headers": {"content-type": "application/octet-stream"}}, 422),
    ],
)
def test_what_goes_wrong_is_told_as_problem_details(desk, method, path, said, status):
    answer = desk(method, API + path, **said)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    jsonschema.validate(answer.json(), PROBLEM)
    assert answer.json()["status"] == status


def test_a_number_that_is_none_is_refused(desk):
    """RFC 8259, 6: NaN and Infinity are no JSON numbers; some programs send them all the same."""
    for number in ("NaN", "Infinity", "-Infinity", "1e999"):
        body = f'{{"level": {{"machine": "Wren"}}, "reading": [{{"x_mm": {number}, "y_mm": 0, "gap_um": 1}}]}}'
        answer = desk.post(f"{API}/level", content=body, headers={"content-type": "application/json"})
        assert answer.status_code == 422, number


_app, _clock = opened()


async def _at_the_desk(scope, receive, send):
    """The bench as the desk reaches it, whatever the caller thinks its own address is."""
    if scope["type"] == "lifespan":  # the bench stays open between the requests
        for answer in ("startup", "shutdown"):
            await receive()
            await send({"type": f"lifespan.{answer}.complete"})
        return
    if scope["type"] == "http":
        headers = [(k, v) for k, v in scope["headers"] if k != b"host"]
        scope = {**scope, "client": ("127.0.0.1", 50_000), "headers": [*headers, (b"host", b"127.0.0.1:8423")]}
    await _app(scope, receive, send)


SCHEMA = schemathesis.openapi.from_asgi(f"{API}/openapi.json", _at_the_desk)


@SCHEMA.parametrize()
@settings(max_examples=25)
def test_whatever_is_asked_the_fault_is_never_ours(case):
    """Requests made from the OpenAPI document, right ones and wrong ones.

    A right shape may still name a machine, a part or a platform that nobody has: that check is left out.
    """
    case.call_and_validate(excluded_checks=[positive_data_acceptance])
