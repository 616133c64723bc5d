"""The demo's answers as data, one file a question: `python -m tests.golden.record [NAME...]` writes them anew.

The records are ours, not evidence: they hold still what a change was not meant to move.  Whoever moves a number on purpose
records anew and says in the commit which numbers moved and why.
"""

from __future__ import annotations

import json
import os
import shutil
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from click.testing import CliRunner

FOLDER = Path(__file__).parent / "answers"
WORKSHOP = ("shop.toml", "stock.toml", "costs.toml", "orders.toml", "parts")

QUESTIONS: dict[str, str] = {
    "carry-lanterns": "carry harbour-lanterns.toml --without-notebook --json",
    "carry-lanterns-to-heron": "carry harbour-lanterns.toml --to Heron --without-notebook --json",
    "carry-lanterns-to-wren": "carry harbour-lanterns.toml --to Wren --without-notebook --json",
    "carry-bishops": "carry chess-bishops.toml --without-notebook --json",
    "visits-lanterns": "visits harbour-lanterns.toml --json",
    "level-albatross": "level albatross-level.toml --json",
    "study-lantern": "study parts/lantern.stl --unit mm --machine Albatross --json",
    "study-cup": "study parts/cup.stl --unit mm --json",
    "why-base": "why harbour-lanterns.toml --without-notebook --seen base_let_go@rear-left --json",
    "why-split": "why harbour-lanterns.toml --without-notebook --seen layer_split@120 --json",
    "why-release": "why harbour-lanterns.toml --without-notebook --seen not_released --json",
    "trial-settle-steps": "trial settle-steps --machine Albatross --shop shop.toml -o piece.stl --force --json",
    "trial-release-span": "trial release-span --machine Heron --shop shop.toml -o piece.stl --force --json",
    "trial-cure-depth": "trial cure-depth --machine Albatross --shop shop.toml -o piece.stl --force --json",
    "trial-base-bond": "trial base-bond --machine Wren --shop shop.toml -o piece.stl --force --json",
    "trial-level-check": "trial level-check --machine Albatross --shop shop.toml -o piece.stl --force --json",
    "cost-lanterns": "cost harbour-lanterns.toml --json",
    "compare-lanterns": "compare harbour-lanterns.toml Wren Heron Albatross --json",
    "fleet-orders": "fleet orders.toml --json",
}
"""What is asked of the demo workshop, by the name of the record."""


def answer(words: str, workshop: Path) -> object:
    """Return what the command says as data, asked in a copy of the demo workshop that remembers only its own questions."""
    from vatwright.interfaces.cli.main import vatwright as command

    with TemporaryDirectory() as empty:
        environment = {
            "VATWRIGHT_CACHE": str(workshop / "kept"),
            "VATWRIGHT_STORE": str(Path(empty) / "notebook.sqlite"),
            "HOME": empty,
        }
        before = Path.cwd()
        os.chdir(workshop)
        try:
            ran = CliRunner(env=environment).invoke(
                command, words.split(), catch_exceptions=False, standalone_mode=False
            )
        finally:
            os.chdir(before)
    return json.loads(ran.stdout)


def workshop_in(folder: Path) -> Path:
    """Put the demo workshop into an empty folder and return it."""
    from vatwright.wiring import demo_folder

    shutil.copytree(demo_folder(), folder, dirs_exist_ok=True)
    return folder


def record(names: list[str]) -> None:
    """Write the records with these names, or all of them."""
    FOLDER.mkdir(exist_ok=True)
    with TemporaryDirectory() as folder:
        workshop = workshop_in(Path(folder))
        for name in names or QUESTIONS:
            text = json.dumps(answer(QUESTIONS[name], workshop), ensure_ascii=False, indent=1)
            (FOLDER / f"{name}.json").write_text(text + "\n", encoding="utf-8")
            sys.stdout.write(f"{name}: {len(text)} characters\n")


if __name__ == "__main__":
    record(sys.argv[1:])
