"""From a question to a trial piece, its readings and back, through the real command."""

from __future__ import annotations

import json

import pytest
import trimesh
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import all_finite, mistakes, parsed

KINDS = ("settle-steps", "release-span", "cure-depth", "base-bond", "level-check")


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
    for reading in sheet["readings"]:
        reading["value"] = 0.21
    (bench / "readings.json").write_text(json.dumps(sheet), encoding="utf-8")
    noted = vatwright(
        "note", "pads.toml", "--from", "readings.json", "--store", "book.sqlite", "--no-prediction", cwd=bench, code=0
    )
    assert "level-check trial on Wren" in noted.out


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
    assert "value" in ran.err


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
