"""The order book of the demo, from the command line: plan, page, data, and again after a failure."""

from __future__ import annotations

import json
import shutil
from collections import Counter

import pytest
from click.testing import CliRunner
from tests.journeys.published_json import all_finite, mistakes, parsed

from vatwright.interfaces.cli.main import vatwright
from vatwright.wiring import demo_folder


def run(*arguments):
    return CliRunner().invoke(vatwright, [str(a) for a in arguments], standalone_mode=False)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    made = tmp_path_factory.mktemp("demo") / "shop"
    shutil.copytree(demo_folder(), made)
    return made


@pytest.fixture(scope="module")
def plan(folder):
    """The plan of the demo's book as data, with the page beside it."""
    found = run("fleet", folder / "orders.toml", "--json", "--html", folder / "week.html")
    assert found.exception is None
    assert found.return_value == 0
    text = found.stdout.strip().splitlines()[-1]
    (folder / "week.json").write_text(text, encoding="utf-8")
    return parsed(text)


def pieces(data):
    found = Counter()
    for r in data["runs"]:
        for p in r["pieces"]:
            found[p["order"], p["part"]] += p["count"]
    return found


ASKED = {
    ("harbour office", "lantern"): 36,
    ("harbour office", "lantern base"): 24,
    ("chess club", "bishop"): 32,
    ("lamp shop", "lamp bracket"): 40,
    ("oil cups for stock", "oil cup"): 24,
}


def test_the_whole_book_is_planned(plan, folder):
    assert not mistakes(plan, "fleet-1")
    assert all_finite(plan)
    assert pieces(plan) == ASKED
    assert all(o["late_h"] == 0 for o in plan["orders"])
    assert plan["bounds"]["gap_percent"] < 5
    page = (folder / "week.html").read_text(encoding="utf-8")
    assert "Everything is in time" in page
    assert all(f'id="fleet-plate-{p["name"]}"' in page for p in plan["plates"])


def test_only_machines_that_may_make_an_order_do(plan):
    fine = [r["unit"] for r in plan["runs"] if any(p["order"] == "lamp shop" for p in r["pieces"])]
    assert fine
    assert "Albatross" not in fine


def test_large_machines_are_worth_several_small_ones(plan):
    """Common practice, no source: about four times the pieces; less in work, as its layers last longer."""
    (found,) = [b for b in plan["break_even"] if (b["larger"], b["smaller"]) == ("Albatross", "Wren")]
    assert 3.0 < found["pieces_ratio"] < 5.0
    assert found["layer_time_ratio"] > 1.0
    assert 2.0 < found["worth"] < found["pieces_ratio"]


def test_a_failed_plate_is_made_again(plan, folder):
    first = min(plan["runs"], key=lambda r: r["setup_from"])
    again = run(
        "fleet", folder / "orders.toml", "--json", "--done", folder / "week.json", "--failed", first["plate"],
        "--down", "Wren 2", "--now", first["ready"],
    )  # fmt: skip
    assert again.exception is None
    data = json.loads(again.stdout.strip().splitlines()[-1])
    assert pieces(data) == ASKED
    assert first["plate"] not in {r["plate"] for r in data["runs"]}
    later = [r for r in data["runs"] if not r["under_way"]]
    assert later
    assert all(r["unit"] != "Wren 2" and r["setup_from"] >= data["now"] for r in later)
    before = {r["plate"]: r for r in plan["runs"]}
    for r in data["runs"]:
        if r["under_way"]:
            assert (r["unit"], r["ready"]) == (before[r["plate"]]["unit"], before[r["plate"]]["ready"])


def test_what_is_wrong_with_a_book_is_told(folder):
    broken = folder / "broken.toml"
    broken.write_text((folder / "orders.toml").read_text(encoding="utf-8").replace('"Wren"', '"Wern"', 1))
    found = run("fleet", broken)
    assert "Wern" in str(found.exception)
