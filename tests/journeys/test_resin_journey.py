"""An old lot and a filled resin: the first screen says what to read before the run."""

from __future__ import annotations

from tests.journeys.conftest import vatwright
from tests.journeys.published_json import mistakes, parsed

OLD = '[[lot]]\nname = "slate, old"\nresin = "slate"\nleft_ml = 900\nexpires = 2024-02-29\n'
FRESH = '\n[[lot]]\nname = "slate, fresh"\nresin = "slate"\nleft_ml = 900\nexpires = 2099-01-01\n'


def test_the_only_lot_is_past_its_date_and_the_resin_is_filled(bench):
    (bench / "stock.toml").write_text(OLD, encoding="utf-8")
    shop = bench / "shop.toml"
    text = shop.read_text(encoding="utf-8")
    shop.write_text(
        text.replace('[[resin]]\nname = "slate"\n', '[[resin]]\nname = "slate"\nfilled = true\n'), encoding="utf-8"
    )
    said = " ".join(vatwright("carry", "tiles.toml", "--without-notebook", cwd=bench).out.split())
    assert "Lot slate, old was good until 29 Feb 2024" in said
    assert "read its viscosity" in said
    assert "Resin slate is filled: its viscosity belongs to a shear rate" in said
    data = parsed(vatwright("carry", "tiles.toml", "--without-notebook", "--json", cwd=bench).out)
    assert mistakes(data, "carry-1") == []
    (old,) = data["old_lots"]
    assert (old["name"], old["good_until"], old["only"]) == ("slate, old", "2024-02-29", True)
    assert 0.0 < data["squeeze_shear"]["slow_per_s"] <= data["squeeze_shear"]["fast_per_s"]


def test_beside_a_fresh_lot_the_old_one_is_told_a_page_away(bench):
    (bench / "stock.toml").write_text(OLD + FRESH, encoding="utf-8")
    first = vatwright("carry", "tiles.toml", "--without-notebook", cwd=bench).out
    assert "slate, old" not in first
    after = " ".join(vatwright("carry", "tiles.toml", "--without-notebook", "--why", "after", cwd=bench).out.split())
    assert "slate, old was good until 29 Feb 2024" in after
    assert "Take a lot within its date" in after
    assert "light and drive warm it" in after
