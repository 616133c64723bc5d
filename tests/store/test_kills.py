"""A writer that is killed loses nothing that it said was committed, and leaves no half of a change.

That a committed transaction outlives the death of its process is what SQLite promises ("Atomic Commit In SQLite", 3; "WAL",
2.2), and ``PRAGMA integrity_check`` is its own judge of a file.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
from collections import Counter
from contextlib import closing
from pathlib import Path

from tests.store.kill_writers import EACH

KILLS = 200
SCRIPT = Path(__file__).with_name("kill_writers.py")


def test_two_hundred_killed_writers_lose_nothing(tmp_path):
    file = tmp_path / "notebook.sqlite"
    done = subprocess.run(
        [sys.executable, str(SCRIPT), str(file), str(KILLS), "20260301"], capture_output=True, text=True, check=True
    )
    said = {tuple(map(int, line.split())) for line in done.stdout.splitlines()}
    with closing(sqlite3.connect(file)) as connection:
        assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
        names = [tuple(map(int, name.split())) for (name,) in connection.execute("SELECT name FROM price")]
        rows = Counter(n for (n,) in connection.execute("SELECT change FROM change_row"))
        numbers = [n for (n,) in connection.execute("SELECT number FROM change ORDER BY number")]
    kept = Counter((writer, n) for writer, n, _ in names)
    assert said <= kept.keys(), "a change that was said to be committed is gone"
    assert set(kept.values()) == {EACH}, "half a change was left"
    assert numbers == list(range(1, len(kept) + 1))
    assert rows == Counter(dict.fromkeys(numbers, EACH))
    # The last change of a writer may be committed before it could say so; none before that one.
    unsaid = Counter(writer for writer, n in kept.keys() - said)
    assert set(unsaid.values()) <= {1}
    assert len({writer for writer, _ in said}) > KILLS / 2  # they did write: three in four wait for a change or more


def test_killed_commands_leave_nothing_half_and_can_be_given_again():
    words = [sys.executable, "-m", "tests.store.kill_commands", "4", "20260301"]
    done = subprocess.run(words, cwd=Path(__file__).parents[2], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    rows = [line.split("|") for line in done.stdout.splitlines()[2:]]
    assert len(rows) == 5
    assert sum(int(row[3]) for row in rows) >= 10  # half of the kills came before the end
