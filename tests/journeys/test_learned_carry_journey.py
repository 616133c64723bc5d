"""The second answer is better than the first: a noted run changes the next sheet, and the sheet says so."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys

import pytest

from vatwright.wiring import demo_folder

TIMEOUT_S = 300


def vatwright(folder, *words, ok=(0, 1)):
    done = subprocess.run(
        [sys.executable, "-m", "vatwright", *words],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=TIMEOUT_S,
        check=False,
    )
    assert done.returncode in ok, done.stderr
    return done.stdout


@pytest.fixture
def bench(tmp_path, monkeypatch):
    for name in ("shop.toml", "parts"):
        source = demo_folder() / name
        (shutil.copytree if source.is_dir() else shutil.copy)(source, tmp_path / name)
    (tmp_path / "job.toml").write_text(
        '[job]\nname = "six bishops"\nrecipe = "slate on Wren"\nto = "Heron"\nroom_c = 22\n'
        '[[part]]\nname = "bishop"\nfile = "parts/bishop.stl"\nunit = "mm"\ncount = 6\n',
        encoding="utf-8",
    )
    monkeypatch.setenv("VATWRIGHT_STORE", str(tmp_path / "notebook.sqlite"))
    monkeypatch.setenv("VATWRIGHT_CACHE", str(tmp_path / "cache"))
    return tmp_path


def settle(sheet):
    return next(s for s in sheet["settings"] if s["name"] == "base.settle_s")


def test_a_noted_failure_changes_the_next_sheet(bench):
    first = json.loads(vatwright(bench, "carry", "job.toml", "--json"))
    assert first["noted"] is None
    vatwright(bench, "note", "job.toml", "base_let_go", "failed", "--run", "one")
    vatwright(bench, "note", "job.toml", "base_let_go", "failed", "--run", "two")
    second = json.loads(vatwright(bench, "carry", "job.toml", "--json"))
    assert second["noted"]["runs"] == second["noted"]["ran"] == 2
    assert second["noted"]["held"] == 0
    assert second["noted"]["said"] == pytest.approx(first["success"]["mean"], abs=0.2)
    assert settle(second)["high"] > settle(first)["high"]
    assert settle(second)["to"] > settle(first)["to"]  # what failed here does not come back
    assert {r["setting"] for r in second["experience"]["raised"]} <= {"base.settle_s"}
    assert "experience" not in first
    kept = list((bench / "cache").glob("belief-*.npz"))
    assert kept
    assert json.loads(vatwright(bench, "carry", "job.toml", "--json")) == second
    assert set((bench / "cache").glob("belief-*.npz")) == set(kept)
    plain = json.loads(vatwright(bench, "carry", "job.toml", "--json", "--without-notebook"))
    assert plain == first


def test_the_sheet_says_what_was_weighed_in(bench):
    vatwright(bench, "note", "job.toml", "held", "--run", "one", "--no-prediction")
    said = " ".join(vatwright(bench, "carry", "job.toml").split())
    assert re.search(r"1 noted run is weighed in: on Heron 1 of 1 held\.", said)
