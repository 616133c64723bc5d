"""What a job costs and which machine to take, through the real command."""

from __future__ import annotations

import shutil

import pytest
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import all_finite, mistakes, parsed


@pytest.fixture
def priced(bench, demo_workshop):
    """The small job beside the demo's prices and cost file."""
    for name in ("stock.toml", "costs.toml"):
        shutil.copy(demo_workshop / name, bench)
    return bench


def test_cost_as_data_as_text_and_as_a_page(priced):
    ran = vatwright("cost", "tiles.toml", "--without-notebook", "--json", "--html", "cost.html", cwd=priced, code=0)
    data = parsed(ran.out)
    assert mistakes(data, "cost-1") == []
    assert all_finite(data)
    assert (data["machine"], data["currency"], data["pieces"], data["complete"]) == ("Heron", "marks", 6, True)
    lines = sum(line["amount"]["value"] for line in data["lines"])
    assert lines == pytest.approx(data["total"]["value"], rel=1e-6)
    assert data["quote"]["value"] == pytest.approx(1.4 * data["per_piece"]["value"], rel=1e-6)
    # Six tiles of 20 x 20 x 2 mm at 1.12 g/cm3 and 32 a kilogram.
    resin = next(line for line in data["lines"] if line["label"] == "resin in the pieces")
    assert resin["amount"]["value"] == pytest.approx(6 * 0.8e-3 * 1.12 * 32, rel=1e-3)
    page = (priced / "cost.html").read_text(encoding="utf-8")
    assert "<script" not in page
    assert "marks" in page

    text = vatwright("cost", "tiles.toml", "--without-notebook", cwd=priced, code=0).out
    assert "A good piece costs " in text.splitlines()[1]
    assert max(map(len, text.splitlines())) <= 100
    for heading in (
        "What does one failed plate cost?",
        "What moves it?",
        "What comes after the print?",
        "Take care",
        "What it rests on",
    ):
        assert heading in text


def test_without_prices_each_is_asked_for_by_name(bench):
    ran = vatwright("cost", "tiles.toml", "--store", "none.sqlite", "--without-notebook", cwd=bench, code=0)
    text = " ".join(ran.out.split())
    assert "A good piece costs at least " in text, "the resin has a price"
    assert "What is missing below comes on top." in text
    for name, per in (("electricity", "kWh"), ("work", "h"), ("film, Heron", "piece")):
        assert f'a [[price]] with name = "{name}" and per = "{per}" in the stock' in text
    assert "marks" not in text
    assert "costs 0" not in text
    assert "Pour " in text


def test_without_prices_none_is_called_the_cheapest(bench):
    words = ("compare", "tiles.toml", "Heron", "Wren", "--store", "none.sqlite", "--without-notebook")
    text = " ".join(vatwright(*words, cwd=bench, code=0).out.split())
    assert "prints the order soonest. Prices are missing, so none is called the cheapest." in text
    assert "nothing is said about what it saves" in text
    data = parsed(vatwright(*words, "--json", cwd=bench, code=0).out)
    assert mistakes(data, "compare-1") == []
    assert not any(m["cost"]["complete"] for m in data["machines"])


def test_two_machines_side_by_side(priced):
    ran = vatwright("compare", "tiles.toml", "Heron", "Wren", "--without-notebook", "--json", cwd=priced, code=0)
    data = parsed(ran.out)
    assert mistakes(data, "compare-1") == []
    assert all_finite(data)
    assert [m["machine"] for m in data["machines"]] == ["Wren", "Heron"], "smaller platform first"
    small, large = data["machines"]
    assert large["full_plate_pieces"] > small["full_plate_pieces"]
    pay = data["pays"][0]
    assert pay["plate"] == pytest.approx(large["full_plate_pieces"] / small["full_plate_pieces"], rel=1e-6)
    assert pay["slower"] > 1.0, "a wider plate's layer takes longer"
    per_h = [m["full_plates_pieces_per_h"] for m in (small, large)]
    assert pay["worth"] == pytest.approx(per_h[1] / per_h[0], rel=1e-6)
    assert pay["fixed"] == 430 + 100 + 40
    text = vatwright("compare", "tiles.toml", "Wren", "Heron", "--without-notebook", cwd=priced, code=0).out
    assert max(map(len, text.splitlines())) <= 100
    assert "Would Heron pay beside Wren?" in text


def test_wrong_words_in_the_cost_file_are_told_with_their_lines(priced):
    (priced / "costs.toml").write_text('[minutes]\nset_upp = 3\n[room]\nvolume_m3 = "big"\n', encoding="utf-8")
    ran = vatwright("cost", "tiles.toml", "--without-notebook", cwd=priced, code=2)
    assert "costs.toml:2" in ran.err
    assert "costs.toml:4" in ran.err
    assert ran.out == ""
