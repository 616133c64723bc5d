"""The tutorial does what it says: its own files and commands, in its own order."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

from tests.journeys.conftest import vatwright

PAGE = (Path(__file__).parents[2] / "docs" / "tutorial.md").read_text(encoding="utf-8")


def blocks(kind):
    """The fenced blocks of a kind, in order."""
    fenced = re.findall(r"^```(\w*)\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    return [text for said, text in fenced if said == kind]


def test_the_tutorial_can_be_followed(tmp_path, demo_workshop):
    machines, recipe, job = blocks("toml")[:3]
    (tmp_path / "shop.toml").write_text(f"{machines}\n{recipe}", encoding="utf-8")
    (tmp_path / "two-dozen.toml").write_text(job, encoding="utf-8")
    shutil.copy(next((demo_workshop / "parts").glob("*.stl")), tmp_path / "piece.stl")
    commands = [line.split() for text in blocks("") for line in text.splitlines() if line.startswith("vatwright ")]
    assert ["vatwright", "carry", "two-dozen.toml"] in commands
    for _, *words in commands:
        if words[-1].startswith("my-shop/"):
            assert (demo_workshop / Path(words[-1]).name).is_file()
        else:
            ran = vatwright(*words, cwd=tmp_path)
            assert ran.code in (0, 1), ran
            assert "Traceback" not in ran.err
