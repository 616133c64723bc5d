"""Ask why, trials and what is believed, on the bench: the same answers as the command, readings back into the notebook."""
# ruff: noqa: RUF001 - an en dash between the ends of a range is what a page wants

from __future__ import annotations

import json
import re

import httpx
import numpy as np
import pytest
import trimesh
from defusedxml import ElementTree
from starlette.datastructures import QueryParams
from tests.files.part_files import binary_stl
from tests.journeys.published_json import all_finite, mistakes
from tests.web.test_api import API, BOX, ended

from vatwright.answers.learn import evidence_words, learn_answer
from vatwright.answers.names import SYMPTOMS, symptom
from vatwright.files.outcome_words import CORNERS
from vatwright.files.read import read_shop
from vatwright.interfaces.cli.main import outcome
from vatwright.interfaces.render.pictures.learn import calibration, calibration_finding, moved_belief, times_taken
from vatwright.interfaces.web.pages.trial import KINDS
from vatwright.interfaces.web.pages.why import places, words_of
from vatwright.records.learned import Believed, ChanceCount, LearnSheet, MachineScore, Pull, TimesSaid
from vatwright.records.run import Quantity, Seen
from vatwright.records.trial import TrialKind
from vatwright.wiring import demo_folder, open_store

JOB = {"name": "four tiles", "recipe": "slate on Wren", "to": "Heron", "room_c": 20}
SEEN = ["base_let_go@rear-left", "first_layer_um=120@rear-left"]
TRIAL = {"kind": "level-check", "machine": "Albatross"}


def found(desk, path, said):
    """The result of work that a program asked for."""
    work = ended(desk, desk.post(f"{API}{path}", json=said))
    assert work["state"] == "done", work
    return work["work"], desk.get(work["result"]).json()


def printed(capsys, *words):
    """What the command prints as JSON."""
    assert outcome([*words, "--json"]) in (0, 1)
    return json.loads(capsys.readouterr().out)


@pytest.fixture
def carried(desk):
    """The handle of a carry of four tiles."""
    headers = {"content-type": "application/octet-stream"}
    handed = desk.post(f"{API}/files?name=tile.stl", content=binary_stl(BOX), headers=headers)
    part = {"file": handed.json()["file"], "unit": "mm", "count": 4}
    work, _ = found(desk, "/carry", {"job": JOB, "part": [part]})
    return work


# --- ask why ---------------------------------------------------------------------------------------------------------


def test_the_same_causes_as_the_command(desk, carried, capsys, tmp_path):
    _, told = found(desk, "/why", {"carry": carried, "seen": SEEN})
    assert mistakes(told, "why-1") == []
    assert all_finite(told)
    (tmp_path / "tile.stl").write_bytes(binary_stl(BOX))
    (tmp_path / "job.toml").write_text(
        '[job]\nname = "four tiles"\nrecipe = "slate on Wren"\nto = "Heron"\nroom_c = 20\n'
        '[[part]]\nname = "tile"\nfile = "tile.stl"\nunit = "mm"\ncount = 4\n'
    )
    shop = str(demo_folder() / "shop.toml")
    words = [w for seen in SEEN for w in ("--seen", seen)]
    assert told == printed(capsys, "why", str(tmp_path / "job.toml"), "--shop", shop, *words)


def test_what_cannot_have_been_seen_is_told_in_words_of_the_page(desk, carried):
    answer = desk.post(f"{API}/why", json={"carry": carried, "seen": ["base_let_go@900,0", "wobbly"]})
    assert answer.status_code == 422
    assert {m["where"] for m in answer.json()["mistakes"]} == {symptom(Seen.BASE_LET_GO), "wobbly"}
    answer = desk.post(f"{API}/why", json={"carry": carried, "seen": ["resin_C=20"]})
    assert "not said" in answer.text
    late = ended(desk, desk.post(f"{API}/why", json={"carry": carried, "seen": ["layer_split@4000"]}))
    assert late["state"] == "failed"
    assert "layers 0 to" in late["problem"]["detail"]


def test_only_a_carry_can_be_asked_about(desk):
    assert desk.post(f"{API}/why", json={"carry": "nobody", "seen": SEEN}).status_code == 404
    work, _ = found(desk, "/trial", TRIAL)
    answer = desk.post(f"{API}/why", json={"carry": work, "seen": SEEN})
    assert answer.status_code == 409
    assert answer.headers["content-type"] == "application/problem+json"


def test_a_form_says_what_the_command_takes():
    said = QueryParams(
        "seen=base_let_go&seen=thin_band&place=front-right&layer=20,6 mm&height=51,8&first_middle=90"
        "&set_0=body.settle_s&value_0=4&set_1=base.settle_s&more=resin_C%3D18&read=310&read_name=viscosity_Pa_s&read_under=mPa_s"
    )
    assert words_of(said) == [
        "base_let_go@front-right", "thin_band@front-right@20.6mm", "height_mm=51.8", "first_layer_um=90@middle",
        "body.settle_s=4", "resin_C=18", "viscosity_Pa_s=310mPa_s",
    ]  # fmt: skip


def test_every_symptom_and_corner_can_be_tapped():
    assert set(SYMPTOMS) == set(Seen)
    machine = read_shop(demo_folder() / "shop.toml").machines[0]
    rows = places(machine, "rear-left")
    assert [[p.name for p in row] for row in rows] == [
        ["rear left", "rear", "rear right"], ["left", "middle", "right"], ["front left", "front", "front right"],
    ]  # fmt: skip
    values = [p.value for row in rows for p in row]
    assert set(CORNERS) < set(values)
    assert len(set(values)) == 9
    assert [p.tapped for row in rows for p in row] == [True] + [False] * 8
    half_w, half_d = 500.0 * machine.platform.width_m, 500.0 * machine.platform.depth_m
    for x, y in (map(float, v.split(",")) for v in values if "," in v):
        assert abs(x) <= half_w
        assert abs(y) <= half_d


def test_the_page_wants_at_least_one_symptom_and_keeps_what_was_said(app, desk):
    handed = desk.hand_in("tile.stl", binary_stl(BOX))
    carry = handed.headers["location"].rpartition("/")[2]
    assert desk.get(f"/why/{carry}").headers["location"] == f"/carry/{carry}"
    said = {"token": desk.token(), "count_0": "1", "unit_0": "mm", **{k: str(v) for k, v in JOB.items()}}
    carry = desk.post(f"/carry/{carry}", data=said).headers["location"].rpartition("/")[2]
    assert f"/why/{carry}" in desk.get("/why").text
    page = desk.post(f"/why/{carry}", data={"token": desk.token(), "layer": "<b>412", "place": "rear-left"})
    assert page.status_code == 422
    assert "is not said" in page.text
    assert "&lt;b&gt;412" in page.text
    assert "<b>412" not in page.text
    assert re.search(r'value="rear-left" checked', page.text)
    assert desk.post(f"/why/{carry}", data={"seen": "torn"}).status_code == 403
    assert desk.get("/why/nobody").status_code == 404
    assert desk.get(f"/why/{carry}/nobody").status_code == 404


# --- trials ----------------------------------------------------------------------------------------------------------


def test_the_same_trial_as_the_command(desk, capsys, tmp_path):
    """Watertight by trimesh, an independent library."""
    work, told = found(desk, "/trial", TRIAL)
    assert mistakes(told, "trial-1") == []
    shop, stl = str(demo_folder() / "shop.toml"), tmp_path / "t.stl"
    words = ("trial", TRIAL["kind"], "--machine", TRIAL["machine"], "--shop", shop, "-o", str(stl))
    assert told == printed(capsys, *words) | {"file": "trial.stl"}
    solids = desk.get(f"{API}/trial/{work}/files/trial.stl")
    assert solids.headers["content-type"] == "model/stl"
    assert solids.content == stl.read_bytes()
    (tmp_path / "got.stl").write_bytes(solids.content)
    assert trimesh.load(tmp_path / "got.stl").is_watertight
    assert desk.get(f"{API}/trial/{work}/files/readings.json").json() == told["outcome"]
    assert "<svg" in desk.get(f"{API}/trial/{work}/files/trial-sheet.html").text
    assert desk.get(f"{API}/trial/{work}/files/secret.txt").status_code == 404
    assert desk.get(f"{API}/trial/nobody/files/trial.stl").status_code == 404


def test_a_trial_for_what_the_shop_has_not_is_refused_at_once(desk):
    assert set(KINDS) == set(TrialKind)
    asked = {"kind": "base-bond", "machine": "Ostrich", "resin": "jam", "room_c": 200}
    answer = desk.post(f"{API}/trial", json=asked)
    assert answer.status_code == 422
    assert {m["where"] for m in answer.json()["mistakes"]} == {"machine", "resin", "room temperature"}
    page = desk.post("/trial", data={"token": desk.token("/trial"), "kind": "kite", "machine": "Wren"})
    assert page.status_code == 422
    assert "kind of trial" in page.text
    assert "<script>" not in desk.get("/trial?machine=<script>alert(1)</script>").text


def test_readings_of_a_trial_reach_the_notebook_and_are_learned_from(app, desk, capsys, tmp_path):
    """A print of base layers alone is noted too; its solids stay when the bench has closed."""
    work, told = found(desk, "/trial", TRIAL)
    pieces = told["pieces"]
    for wrong, status in (([1.0], 422), ([None] * len(pieces), 422), (["NaN"] * len(pieces), 422)):
        assert desk.post(f"{API}/trial/{work}/readings", json={"values": wrong}).status_code == status
    values = [0.21, None, *([0.22] * (len(pieces) - 2))]
    noted = desk.post(f"{API}/trial/{work}/readings", json={"values": values, "note": "a cold morning"})
    assert noted.status_code == 200, noted.text
    assert mistakes(noted.json(), "noted-1") == []
    assert list(app.state.desk.tray.folder.glob("*.json")) == []
    app.state.desk.close()
    with open_store() as notebook:
        (run,) = notebook.runs()
        job = notebook.job_of(run.run)
    assert run.note == "a cold morning"
    assert [r.quantity for r in run.readings] == [Quantity(pieces[0]["quantity"])] * (len(pieces) - 1)
    scale = {"mm": 1e-3, "um": 1e-6}[pieces[0]["unit"]]
    assert [r.value / scale for r in run.readings] == pytest.approx([v for v in values if v is not None])
    assert (tmp_path / "parts").resolve() in {p.parent for p in map(type(tmp_path), (q.file for q in job.parts))}
    learned = printed(capsys, "learn")
    assert learned["runs"] == 1
    assert learned["left_out"] == []


def test_the_page_takes_readings_by_its_fields_or_by_the_filled_sheet(desk, tmp_path):
    start = desk.post("/trial", data={"token": desk.token("/trial"), **TRIAL})
    address = start.headers["location"]
    ended(desk, _as_begun(address))
    token = desk.token(address)
    wrong = desk.post(address, data={"token": token, "value_0": "thick", "value_1": "0,3"})
    assert wrong.status_code == 422
    assert "is not a number" in wrong.text
    assert 'value="0,3"' in wrong.text
    assert desk.post(address, data={"token": token, "value_0": "0,31"}).status_code == 303
    assert "Its readings are in the notebook" in desk.get(address).text
    sheet = desk.get(f"{address}/readings.json").json()
    unfilled = desk.post(address, data={"token": token}, files={"sheet": ("r.json", json.dumps(sheet))})
    assert unfilled.status_code == 422
    assert "the readings" in unfilled.text
    assert str(tmp_path) not in unfilled.text
    for n, reading in enumerate(sheet["readings"]):
        reading["value"] = 0.3 + 0.01 * n
    other = desk.post(address, data={"token": token}, files={"sheet": ("r.json", json.dumps(sheet | {"job": "mine"}))})
    assert other.status_code == 422
    filled = desk.post(
        address, data={"token": token}, files={"sheet": ("r.json", json.dumps(sheet | {"run": "filled"}))}
    )
    assert filled.status_code == 303
    with open_store() as notebook:
        first, second = sorted(notebook.runs(), key=lambda r: len(r.readings))
    assert [r.value for r in first.readings] == pytest.approx([0.31e-3])
    assert np.diff([r.value for r in second.readings]) == pytest.approx([1e-5] * (len(second.readings) - 1))


def _as_begun(address):
    """What beginning work answers a program, for work that a page began."""
    work = address.rpartition("/")[2]
    return httpx.Response(202, headers={"location": f"{API}/work/{work}"}, json={"work": work})


# --- what is believed -------------------------------------------------------------------------------------------------


def test_without_a_notebook_there_is_nothing_to_learn_from_and_a_way_on(desk):
    address = desk.get("/learn").headers["location"]
    ended(desk, _as_begun(address))
    page = desk.get(address)
    assert page.status_code == 200
    assert "Nothing to learn from here yet" in page.text
    assert 'href="/trial"' in page.text
    failed = ended(desk, desk.post(f"{API}/learn", json={}))
    assert failed["state"] == "failed"


def test_the_same_learning_as_the_command_and_once_until_the_notebook_changes(desk, capsys):
    work, _ = found(desk, "/trial", TRIAL)
    desk.post(f"{API}/trial/{work}/readings", json={"values": [0.3] * 5})
    first, told = found(desk, "/learn", {})
    assert mistakes(told, "learn-1") == []
    assert told == printed(capsys, "learn")
    assert desk.get("/learn").headers["location"] == f"/learn/{first}"
    page = desk.get(f"/learn/{first}")
    assert page.status_code == 200
    assert "1 run learned from; 1 held" in page.text
    drawn = desk.get(f"/learn/{first}?take=belief-moved-0.svg")
    assert drawn.headers["content-type"] == "image/svg+xml"
    assert ElementTree.fromstring(drawn.text).tag == "{http://www.w3.org/2000/svg}svg"
    desk.post(f"{API}/trial/{work}/readings", json={"values": [0.31] * 5})
    again, told = found(desk, "/learn", {})
    assert again != first
    assert told["runs"] == 2
    other = ended(desk, desk.post(f"{API}/learn", json={"machine": "Ostrich"}))
    assert "Ostrich" in other["problem"]["detail"]


def score(*classes, machine="Heron", run_time=None):
    held, runs = sum(c.held for c in classes), sum(c.runs for c in classes)
    return MachineScore(
        machine=machine, classes=classes, brier=0.1, base_rate=held / runs, skill=0.2, reliability=0.01, resolution=0.02,
        uncertainty=0.2, run_time=run_time,
    )  # fmt: skip


def counted(said, held, runs, surprise=0.5):
    return ChanceCount(
        low=said - 0.05, high=said + 0.05, said=said, held=held, runs=runs,
        seen_low=max(0.0, held / runs - 0.2), seen_high=min(1.0, held / runs + 0.2), surprise=surprise,
    )  # fmt: skip


def test_counts_stand_on_the_diagonal_where_what_was_said_came_true():
    """Closed form: on square axes said = held is the straight line between two corners."""
    figure = calibration(score(counted(0.25, 1, 4), counted(0.75, 3, 4)), 0)
    line = re.search(r'<line x1="([\d.]+)" y1="([\d.]+)" x2="([\d.]+)" y2="([\d.]+)"', figure.picture)
    x1, y1, x2, y2 = map(float, line.groups())
    spots = [(float(x), float(y)) for x, y in re.findall(r'<circle cx="([\d.]+)" cy="([\d.]+)"', figure.picture)]
    assert len(spots) == 2
    for (x, y), share in zip(spots, (0.25, 0.75), strict=True):
        assert x == pytest.approx(x1 + share * (x2 - x1), abs=0.1)
        assert y == pytest.approx(y1 + share * (y2 - y1), abs=0.1)
    assert [row[:3] for row in figure.rows] == [("25 %", "1", "4 runs"), ("75 %", "3", "4 runs")]


def test_counts_never_stand_on_one_another():
    crowd = [counted(0.90 + 0.01 * n, 9, 10) for n in range(6)]
    figure = calibration(score(*crowd), 0)
    places = re.findall(r'<text x="([\d.]+)" y="([\d.]+)"[^>]*>9 of 10<', figure.picture)
    assert len(places) == 6
    for n, (x, y) in enumerate(places):
        for other_x, other_y in places[:n]:
            assert abs(float(x) - float(other_x)) >= 40 or abs(float(y) - float(other_y)) >= 13


def test_the_finding_names_what_was_off():
    fine, off = counted(0.9, 17, 19), counted(0.6, 1, 8, surprise=0.01)
    assert calibration_finding([fine]) == "90 % was said, 17 of 19 runs held, no surprise"
    assert calibration_finding([fine, off]) == "60 % was said, 1 of 8 runs held, which is off"
    assert "no chance" in calibration_finding([])


def test_times_are_told_machine_by_machine():
    slow = TimesSaid(low=1.2, middle=1.3, high=1.4, runs=7)
    even = TimesSaid(low=0.97, middle=1.0, high=1.03, runs=3)
    lone = (score(counted(0.9, 9, 10), machine="", run_time=slow),)
    together = LearnSheet(machine="", resin="", runs=10, held=9, scores=lone)
    shown = learn_answer(together, cite=str).page("score").pictures
    assert [f.slug for f in shown] == ["calibration-0"]  # all together is no machine
    figure = times_taken([
        score(counted(0.9, 9, 10), run_time=slow), score(counted(0.9, 9, 10), machine="Wren", run_time=even),
        score(counted(0.9, 9, 10), machine="Albatross"),
    ])  # fmt: skip
    assert figure.title == "Runs on Heron took 1.30 times as long as said"
    assert [row[0] for row in figure.rows] == ["Heron", "Wren"]
    at = [float(x) for x in re.findall(r'<circle cx="([\d.]+)"', figure.picture)]
    one = float(re.search(r'<line x1="([\d.]+)" x2="\1"[^>]*stroke-dasharray', figure.picture)[1])
    assert at[1] == pytest.approx(one, abs=0.1)
    assert at[0] > one


def test_a_belief_shows_its_unit_and_who_moved_it():
    belief = Believed(
        name="extra gap", of="Heron", unit="um", before=(1e-5, 5e-5, 2e-4), after=(4e-5, 6e-5, 9e-5), share_left=0.3,
        moved_by=(Pull("one", 0.8), Pull("two", -0.3), Pull("three", 0.01)),
    )  # fmt: skip
    assert moved_belief(belief, 0).title.startswith("Extra gap of Heron: now 60 µm (40–90), before 50 µm (10–200)")
    assert evidence_words(belief) == "Moved by one (up by 0.8 of its spread); two (down by 0.3 of its spread)."
    quiet = Believed(name="x", of="", unit="", before=(0.5, 1, 2), after=(0.8, 1, 1.2), share_left=0.3)
    assert "a little each" in evidence_words(quiet)
