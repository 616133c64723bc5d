"""From a question to a trial piece, its readings and back, through the real command."""

from __future__ import annotations

import json

import pytest
import trimesh
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import all_finite, mistakes, parsed

KINDS = ("settle-steps", "release-span", "cure-depth", "base-bond", "level-check", "detail-ladder")


@pytest.mark.parametrize("kind", KINDS)
def test_each_kind_makes_a_watertight_file_and_says_what_to_do(kind, bench):
    """Watertight by trimesh, an independent library."""
    ran = vatwright("trial", kind, "--machine", "Albatross", "-o", "t.stl", "--json", cwd=bench, code=0)
    data = parsed(ran.out)
    assert mistakes(data, "trial-1") == []
    assert all_finite(data)
    mesh = trimesh.load(bench / "t.stl")
    assert mesh.is_watertight
    assert abs(mesh.bounds[:, 0]).max() <= 148.0
    assert abs(mesh.bounds[:, 1]).max() <= 83.0
    assert data["print_it"]
    assert data["read_it"]
    assert data["tells"]
    assert data["run_time_s"] > 0
    assert data["resin_ml"] > 0
    for piece in data["pieces"]:
        expected = piece["expected"]
        assert expected["low"] <= expected["middle"] <= expected["high"]


def test_a_trial_s_readings_come_back_through_the_notebook(bench):
    words = ("--sheet", "readings.json", "--job", "pads.toml", "--html", "pads.html")
    ran = vatwright("trial", "level-check", "--machine", "Wren", "-o", "pads.stl", *words, cwd=bench, code=0)
    assert "What each piece should show" in ran.out
    assert max(map(len, ran.out.splitlines())) <= 100
    page = (bench / "pads.html").read_text(encoding="utf-8")
    assert "<svg" in page
    assert page.count("<circle") >= 5
    sheet = json.loads((bench / "readings.json").read_text(encoding="utf-8"))
    assert [r["value"] for r in sheet["readings"]] == [None] * 5
    for reading in sheet["readings"][:3]:  # the other two were not read: they stay as the sheet has them
        reading["value"] = 0.21
    (bench / "readings.json").write_text(json.dumps(sheet), encoding="utf-8")
    words = ("--from", "readings.json", "--store", "book.sqlite", "--no-prediction", "--json")
    noted = vatwright("note", "pads.toml", *words, cwd=bench, code=0)
    outcome = parsed(noted.out)["outcome"]
    assert outcome["job"] == "level-check trial on Wren"
    assert [r["value"] for r in outcome["readings"]] == [0.21] * 3


def test_a_trial_for_a_job_is_printed_as_that_job_is_and_its_job_is_carried(bench):
    """Machine, resin, room and base are those of the job; what `--job` writes is a job like any other."""
    words = ("trial", "level-check", "--for", "tiles.toml", "-o", "t.stl", "--job", "t.toml", "--json")
    trial = parsed(vatwright(*words, cwd=bench, code=0).out)
    assert (trial["machine"], trial["resin"], trial["room_C"]) == ("Heron", "slate", 20)
    tiles = parsed(vatwright("carry", "tiles.toml", "--json", cwd=bench).out)
    set_there = {s["name"]: s["to"] for s in tiles["settings"]}
    for setting in trial["settings"]:
        if setting["name"].startswith("base."):
            assert setting["value"] == pytest.approx(set_there[setting["name"]]), setting
    carried = parsed(vatwright("carry", "t.toml", "--json", cwd=bench).out)
    assert (carried["to"], carried["layers"]["thickness_um"] != []) == ("Heron", True)


def test_a_trial_for_a_job_takes_no_other_resin_and_one_of_both_is_needed(bench):
    assert "--for" in vatwright("trial", "level-check", "-o", "t.stl", cwd=bench, code=2).err
    words = ("trial", "level-check", "--for", "tiles.toml", "--resin", "slate", "-o", "t.stl")
    assert "--resin" in vatwright(*words, cwd=bench, code=2).err


def test_no_trial_and_no_cause_at_a_temperature_nobody_checked(bench):
    """The answer is no, as a carry's: 15 to 40 C is what practice and the models know."""
    cold = ("trial", "level-check", "--machine", "Wren", "--room-c", "12", "-o", "t.stl")
    assert "warm" in vatwright(*cold, cwd=bench, code=1).err
    assert not (bench / "t.stl").exists()
    text = (bench / "tiles.toml").read_text(encoding="utf-8").replace("room_c = 20.0", "room_c = 12.0")
    (bench / "cold.toml").write_text(text, encoding="utf-8")
    assert "warm" in vatwright("why", "cold.toml", "--seen", "layer_split", cwd=bench, code=1).err


def test_an_unfilled_sheet_is_refused(bench):
    vatwright(
        "trial",
        "cure-depth",
        "--machine",
        "Wren",
        "-o",
        "s.stl",
        "--sheet",
        "r.json",
        "--job",
        "s.toml",
        cwd=bench,
        code=0,
    )
    ran = vatwright(
        "note", "s.toml", "--from", "r.json", "--store", "book.sqlite", "--no-prediction", cwd=bench, code=2
    )
    assert "no value filled in" in ran.err


def test_what_is_there_is_not_written_over_unless_forced(bench):
    (bench / "t.stl").write_bytes(b"mine")
    words = ("trial", "level-check", "--machine", "Wren", "-o", "t.stl")
    ran = vatwright(*words, cwd=bench, code=2)
    assert ran.err.startswith("t.stl: is there already")
    assert (bench / "t.stl").read_bytes() == b"mine"
    vatwright(*words, "--force", cwd=bench, code=0)
    assert (bench / "t.stl").read_bytes() != b"mine"


def test_an_unknown_machine_or_a_wrong_ending_is_told(bench):
    ran = vatwright("trial", "level-check", "--machine", "Ostrich", "-o", "t.stl", cwd=bench, code=2)
    assert "Ostrich" in ran.err
    assert "Wren" in ran.err
    ran = vatwright("trial", "level-check", "--machine", "Wren", "-o", "t.obj", "--sheet", "s.txt", cwd=bench, code=2)
    assert len(ran.err.splitlines()) == 2
    assert vatwright("trial", "kite", "--machine", "Wren", "-o", "t.stl", cwd=bench, code=2).out == ""
