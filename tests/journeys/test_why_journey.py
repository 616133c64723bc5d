"""From a failure seen to its causes, through the real command."""

from __future__ import annotations

import pytest
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import all_finite, mistakes, parsed


@pytest.fixture(scope="module")
def at_the_rear_left(tmp_path_factory, demo_workshop):
    return vatwright(
        "why", demo_workshop / "harbour-lanterns.toml", "--seen", "base_let_go@rear-left", "--json", code=0
    )


def test_json_keeps_to_its_schema(at_the_rear_left):
    data = parsed(at_the_rear_left.out)
    assert mistakes(data, "why-1") == []
    assert all_finite(data)
    assert data["schema"] == "vatwright.why/1"
    assert data["seen"] == [{"what": "base_let_go", "layer": None, "x_mm": -148.0, "y_mm": 83.0}]
    assert sum(c["chance"] for c in data["causes"]) <= 1.0 + 1e-9
    assert data["tell_apart"]["first"] == next(c["cause"] for c in data["causes"] if c["cause"] != "no_model")


def test_the_reading_that_tells_apart_does_so_when_it_is_handed_in(demo_workshop, at_the_rear_left):
    """The second question is the first with one reading more: a first layer far thicker than any level platform makes."""
    again = vatwright(
        "why", demo_workshop / "harbour-lanterns.toml", "--seen", "base_let_go@rear-left",
        "--seen", "first_layer_um=420@rear-left", "--seen", "first_layer_um=60@front-right", "--json", code=0,
    )  # fmt: skip
    before = {c["cause"]: c["chance"] for c in parsed(at_the_rear_left.out)["causes"]}
    after = {c["cause"]: c["chance"] for c in parsed(again.out)["causes"]}
    assert max(after, key=after.get) == "unlevel"
    assert after["unlevel"] > before["unlevel"]
    assert parsed(again.out)["causes"][0]["mend"]["minutes"] > 0


def test_text_has_the_answer_first_and_fits_a_terminal(bench):
    ran = vatwright(
        "why", "tiles.toml", "--seen", "layer-split@0.9mm", "--seen", "body.settle_s=0.5", cwd=bench, code=0
    )
    assert "%" in " ".join(ran.out.splitlines()[1:3])
    assert "it split between two layers at layer 18 (0.9 mm)" in " ".join(ran.out.split())
    assert "but for body settle 0.5 s" in " ".join(ran.out.split())
    for heading in ("what mends it?", "tells the first two apart?", "rests on", "Sources"):
        assert heading in ran.out
    assert max(map(len, ran.out.splitlines())) <= 100
    assert ran.err == ""


def test_every_wrong_word_is_told_at_once(bench):
    ran = vatwright(
        "why",
        "tiles.toml",
        "--seen",
        "wobbly",
        "--seen",
        "base_let_go@500,0",
        "--seen",
        "torn@nowhere",
        cwd=bench,
        code=2,
    )
    assert ran.out == ""
    lines = ran.err.splitlines()
    assert len(lines) == 3
    assert lines[0].startswith("wobbly: ")
    assert "off the platform" in lines[1]
    assert "'nowhere' is no place" in lines[2]


def test_layers_that_the_plate_has_not_are_refused_and_so_is_nothing_at_all(bench):
    ran = vatwright("why", "tiles.toml", "--seen", "layer_split@40", "--seen", "torn@12mm", cwd=bench, code=2)
    assert len(ran.err.splitlines()) == 2
    assert "the plate has layers 0 to 39 (2.0 mm)" in ran.err
    nothing = vatwright("why", "tiles.toml", "--seen", "resin_C=20", cwd=bench, code=2)
    assert "nothing was seen" in nothing.err
    assert vatwright("why", "tiles.toml", cwd=bench, code=2).out == ""
