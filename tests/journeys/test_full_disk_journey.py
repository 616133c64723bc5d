"""A disk without room: what cannot be written is told, nothing is left half, and all works once there is room.

A limit on the size of files (``setrlimit``, POSIX.1-2017) stands in for the disk: writing beyond it fails as on a full one.
"""

from __future__ import annotations

import resource
import signal
import subprocess
import sys

import pytest
from tests.journeys.conftest import vatwright

ROOM_BYTES = 4096


def _no_room():
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)  # else the system ends the program instead of telling it
    resource.setrlimit(resource.RLIMIT_FSIZE, (ROOM_BYTES, ROOM_BYTES))


def without_room(*words, cwd):
    return subprocess.run(
        [sys.executable, "-m", "vatwright", *map(str, words)],
        cwd=cwd, preexec_fn=_no_room, capture_output=True, text=True, check=False,
    )  # fmt: skip


@pytest.mark.parametrize(
    "words",
    [
        ("note", "tiles.toml", "held", "--no-prediction", "--store", "own.sqlite"),
        ("shop", "add", "shop.toml", "--store", "own.sqlite"),
        ("shop", "init", "--store", "new.sqlite"),
        ("demo", "played"),
    ],
)
def test_what_finds_no_room_says_so_and_can_be_done_again(bench, words):
    vatwright("shop", "init", "--store", "own.sqlite", cwd=bench, code=0)
    before = vatwright("shop", "history", "--store", "own.sqlite", cwd=bench, code=0).out
    ended = without_room(*words, cwd=bench)
    assert ended.returncode == 2, ended
    assert "Make room" in ended.stderr
    assert "Traceback" not in ended.stderr
    assert vatwright("shop", "history", "--store", "own.sqlite", cwd=bench, code=0).out == before
    assert not (bench / "played").exists()
    vatwright(*words, cwd=bench, code=0)
