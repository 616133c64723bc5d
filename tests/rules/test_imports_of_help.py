"""Help and small sums answer at once: what they must not import, by the list of modules and not by the clock."""

from __future__ import annotations

import json
import subprocess
import sys

import pytest

from vatwright.interfaces.cli.main import COMMANDS

HEAVY = {
    "numpy", "numba", "scipy", "pydantic", "jinja2", "typst", "PIL", "defusedxml", "tomlkit", "sqlalchemy", "alembic",
    "psycopg", "fastapi", "uvicorn", "segno", "ortools", "distributed",
}  # fmt: skip
SCRIPT = """
import json, sys
from vatwright.interfaces.cli import main
words = json.loads(sys.argv[1])
code = main.outcome(words) if words else 0
print(json.dumps([code, sorted({m.split(".")[0] for m in sys.modules})]), file=sys.stderr)
"""


def imported(*words):
    """Every top-level package that a command has brought in."""
    done = subprocess.run([sys.executable, "-c", SCRIPT, json.dumps(words)], capture_output=True, text=True, check=True)
    code, modules = json.loads(done.stderr.splitlines()[-1])
    assert code == 0
    return set(modules)


@pytest.mark.parametrize(
    "words",
    [[], ["--help"], ["--version"], *([name, "--help"] for name in COMMANDS)],
    ids=lambda words: " ".join(words) or "import",
)
def test_help_brings_in_nothing_heavy(words):
    assert imported(*words) & HEAVY == set()


@pytest.mark.parametrize("words", [["calc", "disc_torsion", "radius_mm=10"], ["calc", "--list"]])
def test_a_sum_needs_no_kernels_and_no_documents(words):
    assert imported(*words) & {"numba", "typst", "pydantic", "jinja2", "PIL", "scipy"} == set()


def test_the_list_of_modules_would_show_them(tmp_path):
    """The check above can fail: a study does bring in numpy."""
    done = subprocess.run(
        [sys.executable, "-c", SCRIPT, json.dumps(["study", "no.stl"])],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=True,
    )
    code, modules = json.loads(done.stderr.splitlines()[-1])
    assert code == 2
    assert "numpy" in modules
