"""Kill commands that write in the middle of their work, many times, and look whether anything was lost or left half.

Run as ``python -m tests.store.kill_commands KILLS SEED``: that many kills of each command, and a table of what
was found.  The libraries are loaded once; each command is a fork that runs as a user's would and is killed (SIGKILL, which
nothing can catch) at a random moment of the time it takes.  Afterwards the same command, left alone, must do what it does.
"""

from __future__ import annotations

import contextlib
import itertools
import os
import random
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from tests.files.part_files import binary_stl
from tests.journeys.conftest import TILES, box

from vatwright.interfaces.cli.main import outcome
from vatwright.wiring import copy_demo

NOTE = ["note", "tiles.toml", "held", "--no-prediction", "--at", "2026-03-01T18:00:00+00:00", "--run", ""]
"""One run, told with its day, so that to note it again is to note the same; its name is a number."""

OLD_NOTEBOOK = Path(__file__).parent / "old_schemas" / "0001.sqlite"


class Attempt(NamedTuple):
    """One command: its words, what to lay out before it, and what must be true when it was killed and then left alone."""

    words: list[str]
    before: Callable[[], None] = lambda: None
    after: Callable[[], None] = lambda: None


def run(*words: str) -> int:
    """Run a command here, unheard."""
    with (
        Path(os.devnull).open("w") as nowhere,
        contextlib.redirect_stdout(nowhere),
        contextlib.redirect_stderr(nowhere),
    ):
        return outcome(list(words))


def forked(words: list[str], kill_after_s: float | None) -> int | None:
    """Run a command in a fork; return its exit code, None where it was killed."""
    child = os.fork()
    if child == 0:
        os._exit(run(*words))
    if kill_after_s is not None:
        time.sleep(kill_after_s)
        os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    return None if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)


def whole(file: str) -> sqlite3.Connection:
    """Return an open notebook that SQLite itself finds sound."""
    connection = sqlite3.connect(file)
    assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)], file
    assert connection.execute("PRAGMA foreign_key_check").fetchall() == [], file
    return connection


def count(file: str, table: str) -> int:
    with contextlib.closing(whole(file)) as connection:
        return int(connection.execute(f"SELECT COUNT(*) FROM {table}").fetchone()[0])  # noqa: S608 - our own tables


def fresh(*names: str) -> None:
    for name in names:
        shutil.rmtree(name, ignore_errors=True)
        for ending in ("", "-wal", "-shm"):
            Path(name + ending).unlink(missing_ok=True)


def lay_out(folder: Path) -> None:
    """Put a workshop, a job and a notebook into a folder, and go there."""
    copy_demo(str(folder / "shop"))
    shutil.copytree(folder / "shop", folder, dirs_exist_ok=True)
    (folder / "tile.stl").write_bytes(binary_stl(box((20, 20, 2))))
    (folder / "tiles.toml").write_text(TILES, encoding="utf-8")
    os.chdir(folder)
    os.environ |= {"VATWRIGHT_CACHE": str(folder / "cache"), "VATWRIGHT_STORE": str(folder / "own.sqlite")}
    assert run("shop", "add", "shop.toml") == 0
    assert run("note", "tiles.toml", "held", "--no-prediction") == 0
    assert run("shop", "export", "whole.zip") == 0


def attempts() -> dict[str, Attempt]:
    """Return every kind of writing there is, by what a user would call it."""
    number = itertools.count(count("own.sqlite", "run") + 1)

    def another() -> None:
        NOTE[-1] = str(next(number))

    def once() -> None:
        assert count("own.sqlite", "run") == int(NOTE[-1])  # noted whole or not at all, and never twice

    def as_exported() -> None:
        assert count("other.sqlite", "run") == 1
        assert count("other.sqlite", "change") == 1  # once, however often it was tried

    def migrated() -> None:
        with contextlib.closing(whole("old.sqlite")) as connection, contextlib.closing(whole(str(OLD_NOTEBOOK))) as old:
            for table in ("run", "film"):
                rows = f"SELECT COUNT(*) FROM {table}"  # noqa: S608 - our own tables
                assert connection.execute(rows).fetchone() == old.execute(rows).fetchone()

    def played() -> None:
        names = {p.relative_to("shop") for p in Path("shop").rglob("*")}
        assert {p.relative_to("played") for p in Path("played").rglob("*")} == names

    def old_one() -> None:
        fresh("old.sqlite")
        shutil.copy(OLD_NOTEBOOK, "old.sqlite")

    taking_in = ["shop", "import", "whole.zip", "--store", "other.sqlite"]
    return {
        "note": Attempt(NOTE, another, once),
        "import": Attempt(taking_in, lambda: fresh("other.sqlite"), as_exported),
        "migration": Attempt(["shop", "init", "--store", "old.sqlite"], old_one, migrated),
        "demo": Attempt(["demo", "played"], lambda: fresh("played"), played),
        "study and its cache": Attempt(["study", "tile.stl", "--unit", "mm", "--json"], lambda: fresh("cache")),
    }


def killed(attempt: Attempt, takes_s: float, chance: random.Random) -> bool:
    """Kill a command once, then leave it alone; return whether the kill came before its end."""
    attempt.before()
    ended = forked(attempt.words, chance.uniform(0.0, takes_s))
    there = attempt.words[0] == "demo" and Path("played").exists()
    if not there:  # a folder that is there is whole: the command refuses to write over it
        assert forked(attempt.words, None) == 0, attempt.words
    attempt.after()
    return ended is None


def kill(kills: int, seed: int, say: Callable[[str], None]) -> int:
    """Kill every command so many times; return how many of the kills came before the end."""
    chance = random.Random(seed)  # noqa: S311 - nothing secret about it
    hit = 0
    for name, attempt in attempts().items():
        attempt.before()
        start = time.monotonic()
        assert forked(attempt.words, None) == 0, attempt.words
        takes_s = time.monotonic() - start
        attempt.after()
        early = sum(killed(attempt, takes_s, chance) for _ in range(kills))
        hit += early
        say(f"| {name} | {kills} | {early} | 0 |")
    return hit


def say(row: str) -> None:
    sys.stdout.write(row + "\n")
    sys.stdout.flush()


def main(kills: int, seed: int) -> int:
    with tempfile.TemporaryDirectory() as folder:
        lay_out(Path(folder))
        say("| command | killed | before its end | lost or half |\n| --- | --- | --- | --- |")
        hit = kill(kills, seed, say)
        os.chdir("/")
    return hit


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]))
