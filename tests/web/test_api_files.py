"""What the command writes, programs get too: the same hand schedule, sheets that read the same; and what goes wrong."""

from __future__ import annotations

import json
import subprocess
import time

import pytest
from tests.web.bench import PHONE, Visitor, opened

from vatwright.interfaces.cli.main import outcome
from vatwright.interfaces.web.security import SMALL_BODY
from vatwright.wiring import demo_folder

API = "/api/v1"
READINGS = [(-140, -75, 120), (140, -75, 190), (140, 75, 230), (-140, 75, 150), (0, 0, 170)]
LEVEL = {"level": {"machine": "Albatross"}, "reading": [{"x_mm": x, "y_mm": y, "gap_um": g} for x, y, g in READINGS]}


@pytest.fixture(scope="module")
def carried(tmp_path_factory):
    """Whoever sits at the desk of a bench on which the demo job was carried by a program, and the work's address."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("VATWRIGHT_SHOP", raising=False)
        patch.setenv("VATWRIGHT_STORE", str(tmp_path_factory.mktemp("none") / "none.sqlite"))
        app, _ = opened()
        desk = Visitor(app)
        begun = desk.post(f"{API}/carry", json=desk.get(f"{API}/demo").json())
        assert begun.status_code == 202, begun.text
        until = time.monotonic() + 240.0
        while (
            desk.get(begun.headers["location"]).json()["state"] in ("waiting", "running") and time.monotonic() < until
        ):
            time.sleep(0.2)
        yield desk, begun.headers["location"]
        app.state.desk.close()


def test_the_same_hand_schedule_as_the_command(carried, capsys):
    desk, work = carried
    assert outcome(["visits", str(demo_folder() / "harbour-lanterns.toml"), "--without-notebook", "--json"]) == 0
    assert desk.get(f"{work}/visits").json() == json.loads(capsys.readouterr().out)


@pytest.mark.parametrize("name", ["carry-sheet.pdf", "run-sheet.pdf"])
def test_sheets_are_pdf_that_name_the_job(carried, name):
    """ISO 32000: a PDF begins with %PDF-; its text as poppler reads it."""
    desk, work = carried
    answer = desk.get(f"{work}/files/{name}")
    assert answer.headers["content-type"] == "application/pdf"
    assert answer.content.startswith(b"%PDF-")
    words = subprocess.run(
        ["pdftotext", "-", "-"], input=answer.content, capture_output=True, check=True
    ).stdout.decode()
    assert "harbour lanterns" in words


def test_layers_and_pictures_are_files_of_the_same_numbers(carried):
    desk, work = carried
    layers = desk.get(f"{work}/result").json()["layers"]["settle_demand_s"]
    rows = desk.get(f"{work}/files/layers.csv").text.splitlines()
    assert len(rows) == len(layers) + 1
    picture = desk.get(f"{work}/files/settle-0.csv").text.splitlines()
    at = picture[0].split(",").index("settle needed [s]")
    assert [float(r.split(",")[at]) for r in picture[1:]] == pytest.approx(layers[: len(picture) - 1], rel=1e-5)
    assert desk.get(f"{work}/files/pull.svg").text.startswith("<?xml")


@pytest.mark.parametrize("name", ["nothing.svg", "..%2fshop.toml", "carry-sheet.exe", "carry-sheet"])
def test_no_other_file_is_handed_out(carried, name):
    desk, work = carried
    answer = desk.get(f"{work}/files/{name}")
    assert answer.status_code in (404, 422)
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_level_as_files(desk):
    pdf = desk.post(f"{API}/level/files/level.pdf", json=LEVEL)
    assert pdf.content.startswith(b"%PDF-")
    html = desk.post(f"{API}/level/files/level.html", json=LEVEL)
    assert "rear right" in html.text
    assert "<script" not in html.text
    assert desk.post(f"{API}/level/files/level.exe", json=LEVEL).status_code == 404
    gaps = "&".join(f"x={x}&y={y}&gap={g}" for x, y, g in READINGS)
    assert desk.get(f"/level/files/level.pdf?machine=Albatross&{gaps}").content.startswith(b"%PDF-")
    assert desk.get("/level/files/level.pdf?machine=Albatross").status_code == 422


def test_a_schedule_of_work_that_is_none_is_told(desk):
    for path in ("/work/nobody/visits", "/work/nobody/files/pull.svg"):
        answer = desk.get(API + path)
        assert (answer.status_code, answer.headers["content-type"]) == (404, "application/problem+json")


@pytest.mark.parametrize(
    ("who", "method", "path", "said", "status"),
    [
        (PHONE, "GET", "", {}, 403),
        ("127.0.0.1", "GET", "/nothing", {}, 404),
        ("127.0.0.1", "PUT", "/runs", {}, 405),
        ("127.0.0.1", "POST", "/level", {"headers": {"content-length": str(SMALL_BODY + 1)}}, 413),
        ("127.0.0.1", "POST", "/level", {"content": b"x", "headers": {"content-type": "text/plain"}}, 415),
        ("127.0.0.1", "GET", "", {"headers": {"host": "evil.example"}}, 421),
        ("127.0.0.1", "POST", "/level", {"json": {}}, 422),
    ],
)
def test_every_refusal_is_problem_details(app, who, method, path, said, status):
    """RFC 9457, 3; RFC 9110, 15.5.6: 405 says what is allowed."""
    answer = Visitor(app, who)(method, API + path, **said)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    assert answer.json()["status"] == status
    if status == 405:
        assert answer.headers["allow"] == "GET, POST"


def test_what_runs_and_is_due_stands_first_on_the_front_page(carried):
    desk, work = carried
    run = desk.post(f"{API}/runs", json={"work": work.rsplit("/", 1)[1]}).json()["run"]
    tap = {"id": "tap-0001", "kind": "started"}
    assert desk.post(f"{API}/runs/{run}/taps", json=tap).json()["state"] == "running"
    page = desk.get("/").text
    assert (
        0
        < page.index("What runs")
        < page.index(f"/run/{run}")
        < page.index("Carry a recipe")
        < page.index("What else?")
    )
