"""The notebook through the real command: fill it, carry from it, note what happened, take it back, carry it elsewhere.

Compared with: the published schemas of docs/schemas, and what was handed in.
"""

from __future__ import annotations

import json
import subprocess
import sys
from typing import NamedTuple

import pytest
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import mistakes, parsed

from vatwright.interfaces.cli.main import outcome


class Ran(NamedTuple):
    """What a run of the command left behind."""

    out: str
    err: str


@pytest.fixture
def shop(bench, monkeypatch, capsys):
    """The bench, with its shop in a notebook and no shop file left; and the command there, within this process."""
    job = (bench / "tiles.toml").read_text(encoding="utf-8")
    (bench / "tiles.toml").write_text(job.replace('shop = "shop.toml"\n', ""), encoding="utf-8")
    monkeypatch.chdir(bench)
    monkeypatch.setenv("VATWRIGHT_STORE", str(bench / "notebook.sqlite"))
    monkeypatch.setenv("XDG_DATA_HOME", str(bench / "data"))

    def run(*words, code=0):
        capsys.readouterr()
        ended = outcome(list(words))
        ran = Ran(*capsys.readouterr())
        assert ended == code or (words[0] == "carry" and ended == 1), ran  # 1: the answer is no, and an answer it is
        return ran

    run("shop", "add", "shop.toml")
    (bench / "shop.toml").unlink()
    return run


def answer(ran, schema):
    data = parsed(ran.out)
    assert data["schema"] == f"vatwright.{schema}/1"
    assert mistakes(data, f"{schema}-1") == []
    return data


def test_a_job_without_a_shop_file_finds_its_shop_in_the_notebook(shop):
    assert parsed(shop("carry", "tiles.toml", "--json").out)["to"] == "Heron"
    assert "tile" in shop("study", "tile.stl", "--unit", "mm", "--machine", "Heron").out


def test_what_is_noted_as_said_before_is_what_the_sheet_said_of_an_old_film(shop, bench):
    fresh = parsed(shop("carry", "tiles.toml", "--json").out)["success"]
    film = '[[film]]\nname = "Heron, film 1"\nmachine = "Heron"\nfitted = 2026-01-12\nlayers = 60000\n'
    (bench / "stock.toml").write_text(film, encoding="utf-8")
    old = parsed(shop("carry", "tiles.toml", "--json").out)["success"]
    assert old != fresh, "an old film changes nothing here, so the test sees nothing"
    run = answer(shop("note", "tiles.toml", "held", "--json"), "noted")["outcome"]
    assert run["prediction"]["chance"] == pytest.approx(old["mean"], abs=1e-9)


def test_a_run_is_noted_with_what_was_said_before_and_can_be_taken_back(shop, demo_workshop):
    words = ["note", "tiles.toml", "held", "first_layer_um=62+-5", "viscosity_Pa_s=0.31@18C"]
    words += ["--run", "first", "--at", "2026-03-01T18:30:00+01:00"]
    noted = answer(shop(*words, "--json"), "noted")
    run = noted["outcome"]
    assert mistakes(run, "outcome-1") == []
    assert (run["run"], run["held"], run["machine"]) == ("first", True, "Heron")
    assert run["readings"][0] == {"quantity": "first_layer_um", "value": 62, "sigma": 5, "at": {}}
    # Without the notebook there is no shop but one in a file.
    file = str(demo_workshop / "shop.toml")
    sheet = parsed(shop("carry", "tiles.toml", "--shop", file, "--json", "--without-notebook").out)
    assert run["prediction"]["chance"] == pytest.approx(sheet["success"]["mean"], abs=1e-9)
    assert run["prediction"]["run_time_s"] == pytest.approx(sheet["time"]["to_s"], abs=1e-6)
    assert run["prediction"]["first_layer_um"] == pytest.approx(sheet["layers"]["thickness_um"][0], abs=1e-6)

    again = shop(*words)
    assert "already: nothing changed" in again.out
    assert "first: 2026-03-01 18:30, tiles on Heron: held" in shop("shop", "show", "run").out
    assert parsed(shop("shop", "show", "run", "first").out)["run"] == "first"
    assert "taken out" in shop("shop", "undo", str(noted["change"]["number"])).out
    assert "no run of that name" in shop("shop", "show", "run", "first", code=2).err


def test_an_outcome_file_is_read(shop, bench):
    (bench / "o.json").write_text(
        json.dumps(
            {
                "schema": "vatwright.outcome/1", "run": "from a file", "at": "2026-03-02T08:00:00Z", "held": False,
                "settings": {"body.settle_s": 4.5}, "events": [{"what": "base_let_go", "layer": 2, "x_mm": -10, "y_mm": 5}],
                "readings": [{"quantity": "run_time_s", "value": 2620, "sigma": 30, "at": {}}],
            }
        )
    )  # fmt: skip
    told = shop("note", "tiles.toml", "--from", "o.json", "--no-prediction").out
    assert "run from a file, failed" in told
    assert "the base let go of the platform at layer 2 at x -10, y 5 mm" in told
    assert "Take it back: vatwright shop undo 2" in told


def test_every_mistake_of_a_note_is_told_at_once_and_nothing_is_kept(shop):
    err = shop("note", "tiles.toml", "hold", "first_layer_um=-3", "--at", "yesterday", code=2).err
    assert len(err.splitlines()) == 3
    assert "Perhaps held is meant" in err
    assert answer(shop("shop", "show", "run", "--json"), "shop")["entries"] == {"run": []}


def test_a_notebook_goes_elsewhere_as_open_files(shop, bench):
    shop("note", "tiles.toml", "held", "--no-prediction")
    for name in ("out", "out.zip"):
        assert "shop.toml" in answer(shop("shop", "export", name, "--json"), "export")["files"]
        other = ["--store", f"{name}.sqlite"]
        first = answer(shop("shop", "import", name, *other, "--json"), "change")
        assert first["change"]["number"] == 1
        assert answer(shop("shop", "import", name, *other, "--json"), "change")["change"] is None
        mine, theirs = (parsed(shop("shop", "show", "--json", *where).out)["entries"] for where in ([], other))
        assert mine == theirs
    for stale in ("out", "tiles.toml"):  # neither a folder that holds something nor a file is written over
        before = sorted(p.name for p in bench.iterdir())
        shop("shop", "export", stale, code=2)
        assert sorted(p.name for p in bench.iterdir()) == before


def test_the_cost_file_beside_a_notebook_goes_along_and_replaces_none(shop, bench):
    (bench / "costs.toml").write_text("margin_percent = 12\n")
    shop("shop", "init")
    shop("shop", "export", "whole.zip")
    elsewhere = bench / "elsewhere"
    elsewhere.mkdir()
    for stands in ("margin_percent = 12\n", "margin_percent = 30\n"):
        shop("shop", "import", "whole.zip", "--store", "elsewhere/notebook.sqlite")
        assert (elsewhere / "costs.toml").read_text() == stands
        (elsewhere / "costs.toml").write_text("margin_percent = 30\n")


def test_the_demo_workshop_is_there_to_play_with(shop):
    here = ["--store", "demo.sqlite"]
    made = answer(shop("shop", "init", "--demo", *here, "--json"), "change")
    assert {t["kind"] for t in made["change"]["touched"]} == {
        "machine", "resin", "recipe", "film", "screen", "lot", "station", "price"
    }  # fmt: skip
    shown = shop("shop", "show", *here).out
    assert "3 machines" in shown
    assert "slate, March: slate, 5,000 ml left" in shown
    assert shop("shop", "show", "machine", "Wren", *here).out.startswith('[[machine]]\nname = "Wren"')
    shop("shop", "undo", *here)
    assert "Nothing yet" in shop("shop", "show", *here).out


def test_recipes_keep_their_versions(shop, bench):
    recipe = parsed(shop("shop", "show", "recipe", "slate on Wren", "--json").out)["entries"]["recipe"][0]["toml"]
    (bench / "new.toml").write_text(recipe.replace("settle_s = 2\n", "settle_s = 3\n"), encoding="utf-8")
    assert "recipe slate on Wren changed" in shop("shop", "add", "new.toml").out
    versions = answer(shop("shop", "history", "slate on Wren", "--json"), "versions")["versions"]
    assert [v["toml"] == recipe for v in versions] == [True, False]
    assert [c["number"] for c in answer(shop("shop", "history", "--json"), "changes")["changes"]] == [1, 2]
    assert "no version of a recipe" in shop("shop", "history", "amber on Wren", code=2).err


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (["shop", "show", "--store", "none.sqlite"], "vatwright shop init --store none.sqlite"),
        (["shop", "show", "spaceship"], "is no kind of thing"),
        (["shop", "show", "machine", "Wrn"], "there is no machine of that name"),
        (["shop", "add", "none.toml"], "there is no such file"),
        (["shop", "undo", "99"], "there is no change 99"),
        (["shop", "import", "tiles.toml"], "is no export"),
        (["shop", "show", "--store", "tile.stl"], "is not a notebook"),
        (["shop", "show", "--store", "mysql://x"], "kind this tool does not know"),
    ],
)
def test_what_cannot_be_done_says_so(shop, words, told):
    ran = shop(*words, code=2)
    assert told in ran.err
    assert "Traceback" not in ran.err


def test_files_that_lean_on_nothing_are_told_all_at_once(shop, bench):
    (bench / "a.toml").write_text('[[film]]\nname = "f"\nmachine = "Wrn"\n')
    (bench / "b.toml").write_text('[[lot]]\nname = "l"\nresin = "slate"\n')
    err = shop("shop", "add", "a.toml", "b.toml", code=2).err
    assert "a.toml:3" in err
    assert "b.toml:1" in err
    assert len(answer(shop("shop", "history", "--json"), "changes")["changes"]) == 1


def test_two_commands_in_processes_of_their_own_share_a_notebook(bench, tmp_path):
    env = {"VATWRIGHT_STORE": str(tmp_path / "shared.sqlite")}
    vatwright("shop", "add", "shop.toml", cwd=bench, env=env, code=0)
    assert "slate on Wren" in vatwright("shop", "show", "recipe", cwd=bench, env=env, code=0).out


def test_help_needs_no_database():
    script = (
        "import sys; from vatwright.interfaces.cli import main; main.outcome(sys.argv[1:]); "
        "assert 'sqlalchemy' not in sys.modules"
    )
    for words in (
        ["shop", "--help"],
        ["note", "--help"],
        ["shop", "add", "--help"],
        ["calc", "disc_torsion", "radius_mm=1"],
    ):
        subprocess.run([sys.executable, "-c", script, *words], check=True, capture_output=True)
