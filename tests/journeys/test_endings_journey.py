"""How a run ends: with the answer no, with a fault of ours, stopped in the middle, or with nobody reading."""

from __future__ import annotations

import os
import pty
import signal
import subprocess
import sys

import pytest
from tests.files.part_files import binary_stl
from tests.journeys.conftest import box, vatwright
from tests.journeys.published_json import parsed

FAULT = """
import vatwright.wiring
def broken(*_, **__):
    raise RuntimeError("the lamp is out")
vatwright.wiring.open_job = broken
from vatwright.interfaces.cli.main import run
run(["carry", "tiles.toml", "--html", "out.html"])
"""


def test_the_answer_no_exits_1_and_is_written_all_the_same(bench):
    # A slab as large as the platform in thick, cold resin, on the machine that has one settle for base and body, and
    # nobody there to change it.
    (bench / "tile.stl").write_bytes(binary_stl(box((280, 150, 1))))
    job = (bench / "tiles.toml").read_text(encoding="utf-8")
    job = job.replace("count = 6", "count = 1").replace('to = "Heron"', 'to = "Albatross"\nvisits = 0')
    (bench / "tiles.toml").write_text(job.replace("room_c = 20.0", "room_c = -10.0"), encoding="utf-8")
    ran = vatwright("carry", "tiles.toml", "--json", "--pdf", "no.pdf", cwd=bench, code=1)
    answer = parsed(ran.out)
    assert answer["holds"] is False
    assert answer["risks"]
    assert "Traceback" not in ran.err
    assert (bench / "no.pdf").read_bytes().startswith(b"%PDF-")


def test_what_cannot_be_used_exits_2_and_nothing_is_written(bench):
    before = {p.name for p in bench.iterdir()}
    ran = vatwright("carry", "tils.toml", "--json", "--html", "out.html", cwd=bench, code=2)
    assert ran.out == ""
    assert ran.err.splitlines() == ["tils.toml: there is no such file. Check the name and the folder."]
    assert {p.name for p in bench.iterdir()} == before


def test_a_fault_of_ours_exits_3_with_a_plain_sentence(bench):
    done = subprocess.run([sys.executable, "-c", FAULT], cwd=bench, capture_output=True, text=True, check=False)
    assert done.returncode == 3
    assert done.stdout == ""
    assert done.stderr.splitlines() == [
        "A fault of ours: RuntimeError: the lamp is out",
        "Run again with VATWRIGHT_TRACE=1 to see where, and tell us.",
    ]
    assert not (bench / "out.html").exists()
    traced = subprocess.run(
        [sys.executable, "-c", FAULT],
        cwd=bench, env={**os.environ, "VATWRIGHT_TRACE": "1"}, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "Traceback" in traced.stderr
    assert "in broken" in traced.stderr


def anew(folder):
    """The environment of somebody who has never studied a part."""
    return {**os.environ, "VATWRIGHT_CACHE": str(folder)}


def test_a_stop_in_the_middle_leaves_nothing_half_written(bench, tmp_path_factory):
    before = {p.name for p in bench.iterdir()}
    screen, terminal = pty.openpty()
    words = [sys.executable, "-m", "vatwright", "carry", "tiles.toml", "--html", "out.html", "--pdf", "out.pdf"]
    new = anew(tmp_path_factory.mktemp("cache"))
    run = subprocess.Popen(words, cwd=bench, env=new, stdout=subprocess.PIPE, stderr=terminal)
    os.close(terminal)
    seen = b""
    while b"tile" not in seen:  # the progress line says which part is at work
        seen += os.read(screen, 1024)
    run.send_signal(signal.SIGINT)
    seen += _rest(screen)
    out, _ = run.communicate()
    os.close(screen)
    assert run.returncode == 130
    assert out == b""
    assert b"Stopped. Nothing was left half-written." in seen
    assert b"Traceback" not in seen
    assert {p.name for p in bench.iterdir()} == before


def _rest(screen):
    """Everything up to the end; Linux answers with an error once the other side has closed."""
    seen = b""
    while True:
        try:
            more = os.read(screen, 1024)
        except OSError:
            return seen
        if not more:
            return seen
        seen += more


@pytest.mark.parametrize("words", [["calc", "--list"], ["study", "tile.stl", "--unit", "mm", "--json"], ["--help"]])
def test_a_reader_who_leaves_early_hears_nothing(bench, words):
    reading, writing = os.pipe()
    os.close(reading)
    done = subprocess.run(
        [sys.executable, "-m", "vatwright", *words], cwd=bench, stdout=writing, stderr=subprocess.PIPE, check=False
    )
    os.close(writing)
    assert done.stderr == b""
    assert done.returncode == 0


def test_a_full_disk_is_told(bench):
    with open("/dev/full", "wb") as full:  # noqa: PTH123 - a device, not a path of ours
        done = subprocess.run(
            [sys.executable, "-m", "vatwright", "calc", "--list"],
            cwd=bench,
            stdout=full,
            stderr=subprocess.PIPE,
            check=False,
        )
    assert done.returncode == 2
    assert done.stderr.startswith(b"The disk is full")
    assert b"Traceback" not in done.stderr


def test_progress_is_for_terminals_and_leaves_nothing_behind(bench, tmp_path_factory):
    screen, terminal = pty.openpty()
    run = subprocess.Popen(
        [sys.executable, "-m", "vatwright", "study", "tile.stl", "--unit", "mm", "--json"],
        cwd=bench, env=anew(tmp_path_factory.mktemp("cache")), stdout=subprocess.PIPE, stderr=terminal,
    )  # fmt: skip
    os.close(terminal)
    seen = _rest(screen)
    out, _ = run.communicate()
    os.close(screen)
    assert run.returncode == 0
    assert parsed(out.decode())["layers"] == 40
    assert b"reading tile.stl" in seen
    assert seen.rsplit(b"\r", 2)[-2].strip() == b""  # the last thing written blanks the line
    assert vatwright("study", "tile.stl", "--unit", "mm", cwd=bench, code=0).err == ""
