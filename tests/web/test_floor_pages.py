"""Cost, compare and orders on the bench: the same answers as the commands, mistakes told at once, plans made anew."""

from __future__ import annotations

import json
import re
import shutil
import threading
import time
from datetime import datetime

import pytest
from tests.files.part_files import binary_stl
from tests.journeys.published_json import all_finite, mistakes
from tests.web.test_api import API, BOX, ended

from vatwright.interfaces.cli.main import outcome
from vatwright.wiring import demo_folder

OFFSET = "+01:00"
WEEK = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")


@pytest.fixture
def tile(desk):
    """The handle of a box of 20 x 20 x 2 mm."""
    headers = {"content-type": "application/octet-stream"}
    return desk.post(f"{API}/files?name=tile.stl", content=binary_stl(BOX), headers=headers).json()["file"]


def job(tile, count=6):
    return {
        "job": {"name": "tiles", "recipe": "slate on Wren", "to": "Heron", "room_c": 20},
        "part": [{"file": tile, "name": "tile", "unit": "mm", "count": count}],
    }


def book(tile, **changes):
    """Two orders of tiles, hours every day."""
    part = {"file": tile, "name": "tile", "unit": "mm"}
    whole = {
        "book": {"name": "tiles", "starts": f"2026-03-02T08:00:00{OFFSET}", "room_c": 20, "recipe": "slate on Wren"},
        "hours": {day: ["08:00-18:00"] for day in WEEK},
        "unit": [{"machine": "Wren", "count": 2, "loaded": "slate"}],
        "order": [
            {"name": "first", "due": f"2026-03-03T18:00:00{OFFSET}", "part": [{**part, "count": 12}]},
            {"name": "second", "part": [{**part, "count": 8}]},
        ],
    }
    return whole | changes


def result(desk, begun):
    found = ended(desk, begun)
    assert found["state"] == "done", found
    return desk.get(found["result"]).json(), found["work"]


def test_the_same_cost_as_the_command(desk, tile, tmp_path, capsys):
    shutil.copytree(demo_folder(), tmp_path, dirs_exist_ok=True)
    (tmp_path / "tile.stl").write_bytes(binary_stl(BOX))
    (tmp_path / "job.toml").write_text(
        '[job]\nname = "tiles"\nrecipe = "slate on Wren"\nto = "Heron"\nroom_c = 20\n'
        '[[part]]\nfile = "tile.stl"\nname = "tile"\nunit = "mm"\ncount = 6\n',
        encoding="utf-8",
    )
    assert outcome(["cost", str(tmp_path / "job.toml"), "--stock", str(tmp_path / "stock.toml"), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    found, _ = result(desk, desk.post(f"{API}/cost", json=job(tile)))
    assert found == told
    assert mistakes(found, "cost-1") == []


def test_a_comparison_by_the_published_schema_and_a_machine_nobody_has(desk, tile):
    refused = desk.post(f"{API}/compare", json=job(tile) | {"machines": ["Wren", "Hron"]})
    assert refused.status_code == 422
    assert "Hron" in refused.text
    assert "Heron" in refused.json()["mistakes"][0]["do"]
    found, _ = result(desk, desk.post(f"{API}/compare", json=job(tile) | {"machines": ["Heron", "Wren"]}))
    assert mistakes(found, "compare-1") == []
    assert all_finite(found)
    assert [m["machine"] for m in found["machines"]] == ["Wren", "Heron"], "smaller platform first"


def test_a_plan_and_a_plan_anew_when_a_plate_failed(desk, tile):
    plan, work = result(desk, desk.post(f"{API}/fleet", json=book(tile)))
    assert mistakes(plan, "fleet-1") == []
    made = sum(p["count"] for r in plan["runs"] for p in r["pieces"])
    assert made == 20 == sum(o["pieces"] for o in plan["orders"])
    first = min(plan["runs"], key=lambda r: r["ready"])
    lost = sum(p["count"] for p in first["pieces"])
    asked = {"now": first["ready"], "failed": [first["plate"]], "down": ["Wren 2"]}
    again, _ = result(desk, desk.post(f"{API}/fleet/{work}/again", json=asked))
    assert mistakes(again, "fleet-1") == []
    new = [
        r for r in again["runs"] if datetime.fromisoformat(r["setup_from"]) >= datetime.fromisoformat(first["ready"])
    ]
    assert sum(p["count"] for r in new for p in r["pieces"]) >= lost
    assert sum(p["count"] for r in again["runs"] for p in r["pieces"]) == 20
    assert {r["unit"] for r in new} == {"Wren 1"}
    unknown = desk.post(f"{API}/fleet/{work}/again", json={"now": first["ready"], "failed": ["P99"]})
    assert unknown.status_code == 422
    assert "P99" in unknown.text
    assert desk.post(f"{API}/fleet/nobody/again", json=asked).status_code == 404


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"unit": [{"machine": "Wern"}]}, "Wren"),
        ({"hours": {}}, "hours"),
        ({"book": {"starts": "2026-03-02T08:00:00", "room_c": 20, "recipe": "slate on Wren"}}, "starts"),
        ({"book": {"starts": f"9999-12-31T08:00:00{OFFSET}", "room_c": 20, "recipe": "slate on Wren"}}, "starts"),
        ({"order": [{"name": "a", "part": [{"file": "gone", "unit": "mm", "count": 1}]}]}, "tray"),
        ({"order": [{"name": "a", "part": [{"file": "demo-bishop", "unit": "mm", "count": 6000}]}]}, "6000"),
    ],
)
def test_a_book_with_a_mistake_is_refused_in_words(app, desk, tile, change, word):
    answer = desk.post(f"{API}/fleet", json=book(tile, **change))
    assert answer.status_code == 422
    assert word in answer.text
    assert str(app.state.desk.tray.folder) not in answer.text


# --- pages, as a browser without script sends them ------------------------------------------------------------------------


def fields(page):
    """What the fields of a page hold, as a browser would send them back."""
    found = {}
    for tag in re.findall(r"<input[^>]*>", page):
        name = re.search(r'name="([^"]+)"', tag)
        if name and 'type="file"' not in tag:
            found.setdefault(name[1], []).append((re.search(r'value="([^"]*)"', tag) or [None, ""])[1])
    for name, options in re.findall(r'<select id="[^"]*" name="([^"]+)"[^>]*>(.*?)</select>', page, re.DOTALL):
        chosen = re.search(r'<option(?: value="([^"]*)")?(?: selected)?>([^<]*)', options)
        found.setdefault(name, [chosen[1] or chosen[2]])
    return found


def answered(desk, address):
    """The page behind an address, once it is no longer worked on."""
    for _ in range(2400):
        page = desk.get(address)
        if 'http-equiv="refresh"' not in page.text:
            return page
        time.sleep(0.1)
    raise AssertionError(address)


def test_nothing_carried_yet_leads_to_carry(desk):
    for path, said in (("/cost", {}), ("/compare", {"machine": "Wren"})):
        page = desk.get(path)
        assert page.status_code == 200
        assert 'href="/carry"' in page.text
        answer = desk.post(path, data={"token": desk.token(), "carry": "nobody", **said})
        assert answer.status_code == 422
        assert "Carry the job first" in answer.text


def test_orders_by_the_form_with_every_mistake_at_once(desk):
    form = {"token": desk.token("/fleet")}
    sent = desk.post("/fleet/parts", data=form, files={"part": ("tile.stl", binary_stl(BOX))})
    assert sent.status_code == 303
    page = desk.get(sent.headers["location"]).text
    said = fields(page)
    wrong = said | {
        "count_0": "many", "room_c": "warm", "starts": "", "machine_0": "-1", "machine_1": "0", "machine_2": "0",
        "name": '<script>"x"',
    }  # fmt: skip
    told = desk.post("/fleet/new", data=wrong)
    assert told.status_code == 422
    for word in ("pieces of tile.stl", "room temperature", "the plan&#39;s start", "number of Wren", "there is none"):
        assert word in told.text
    assert "<script>" not in told.text.replace("<script src=", "")
    # A form from before the shop changed: a machine that is gone is named, the others keep their own counts.
    gone = desk.post("/fleet/new", data=said | {"machine_name_0": "Roc"})
    assert "<strong>Roc</strong> is no longer in the shop" in gone.text
    badly = desk.post("/fleet/new", data=said | {"workdays": "8 to 5"})
    assert badly.status_code == 422
    assert "08:00-12:30" in badly.text


def test_orders_by_the_form_to_a_plan_and_anew(desk):
    form = {"token": desk.token("/fleet")}
    sent = desk.post("/fleet/parts", data=form, files={"part": ("tile.stl", binary_stl(BOX))})
    said = fields(desk.get(sent.headers["location"]).text) | {
        "starts": "2026-03-02T08:00",
        "order_0": "the lot",
        "count_0": "9",
    }
    begun = desk.post("/fleet/new", data=said)
    assert begun.status_code == 303, begun.text
    page = answered(desk, begun.headers["location"])
    assert "Everything is in time" in page.text
    assert page.text.count('style="') == 0, "the pages' policy allows no inline style"
    for heading in ("Who runs what when?", "How much work is it for a person?", "the lot"):
        assert heading in page.text
    plate = re.search(r'name="failed" value="([^"]+)"', page.text)[1]
    unit = re.search(r'name="down" value="([^"]+)"', page.text)[1]
    address = begun.headers["location"]
    again = desk.post(
        f"{address}/again",
        data={"token": desk.token("/fleet"), "now": "2026-03-02T09:00", "failed": plate, "down": unit},
    )
    assert again.status_code == 303, again.text
    assert f"{unit} stands still" in answered(desk, again.headers["location"]).text
    late = desk.post(f"{address}/again", data={"token": desk.token("/fleet"), "now": "soon"})
    assert late.status_code == 422
    data = desk.get(f"{address}/plan.json")
    assert mistakes(data.json(), "fleet-1") == []
    assert desk.get(f"{address}/plan.html").text.startswith("<!doctype html>")
    assert desk.get(f"{address}/other.txt").status_code == 404


def test_work_that_waits_is_stopped_and_says_so(app, desk):
    """Whoever stops a plan, a cost or a comparison gets the question back, with the reason."""
    free = threading.Event()
    app.state.desk.work.start("study", "something long", lambda _told: free.wait(60.0))
    begun = desk.post("/fleet/demo", data={"token": desk.token("/fleet")})
    address = begun.headers["location"]
    assert 'action="' + address + '/cancel"' in desk.get(address).text
    stopped = desk.post(f"{address}/cancel", data={"token": desk.token("/fleet")})
    free.set()
    assert stopped.headers["location"] == address
    page = desk.get(address).text
    assert "was stopped" in page
    assert "Plan the demo" in page
    assert desk.get(f"{address}/plan.json").status_code == 404


def test_what_may_go_is_the_commands_answer_and_its_page_draws_time_against_chance(desk, tile):
    refused = desk.post(f"{API}/trim", json=job(tile) | {"hold": ["glow"]})
    assert refused.status_code == 422
    assert "glow" in refused.text
    found, work = result(desk, desk.post(f"{API}/trim", json=job(tile) | {"hold": ["body lift"]}))
    assert mistakes(found, "trim-1") == []
    assert found["held"] == ["body.lift_mm"]
    page = desk.get(f"/trim/{work}").text
    assert "chance that a run holds" in page
    assert "How to be faster?" in desk.get("/trim").text
