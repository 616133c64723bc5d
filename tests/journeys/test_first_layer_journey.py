"""Somebody reads level, flatness and tip of a machine, and the sheet says where its base lets go and what mends it."""

import pytest
from tests.journeys.conftest import vatwright
from tests.journeys.published_json import all_finite, mistakes, parsed

READ = """height_mm = 300
flatness = [
  { x_mm = -140, y_mm = 75, height_um = -60 },
  { x_mm = 140, y_mm = 75, height_um = 5 },
  { x_mm = 140, y_mm = -75, height_um = 5 },
  { x_mm = -140, y_mm = -75, height_um = 5 },
  { x_mm = 0, y_mm = 0, height_um = 0 },
]
tip = { load_kg = 2, at_mm = 60, over_mm = 120, difference_um = 40 }
"""
PLACES = "places = [{ x_mm = -120, y_mm = 60 }, { x_mm = 120, y_mm = 60 }, { x_mm = -120, y_mm = -60 }, { x_mm = 0, y_mm = 0 }]"


@pytest.fixture
def read_bench(bench):
    """The bench with those readings of the large machine, and four tiles, three of them in corners."""
    shop, task = bench / "shop.toml", bench / "tiles.toml"
    shop.write_text(shop.read_text(encoding="utf-8").replace("height_mm = 300\n", READ, 1), encoding="utf-8")
    text = task.read_text(encoding="utf-8").replace('to = "Heron"', 'to = "Albatross"').replace("count = 6", PLACES)
    task.write_text(text, encoding="utf-8")
    return bench


def test_the_sheet_names_the_place_and_the_mend(read_bench):
    outputs = [word for kind in ("html", "pdf") for word in (f"--{kind}", read_bench / f"sheet.{kind}")]
    ran = vatwright("carry", read_bench / "tiles.toml", *outputs)
    assert ran.code in {0, 1}, ran
    assert "\nBase " not in ran.out  # it holds: the first screen names a base only where it does not
    told = vatwright("carry", read_bench / "tiles.toml", "--why", "base").out
    # Its level readings rise to the rear right, its face stands back at the rear left.
    assert "Tightest at the rear right" in told or "Tightest at the rear left" in told
    assert "Does the base hold everywhere" in told
    assert "uneven load" not in told  # the tip was read
    page = (read_bench / "sheet.html").read_text(encoding="utf-8")
    for slug in ("base-map", "base-corners", "base-pressure"):
        assert f'id="{slug}"' in page
    assert "<script" not in page
    assert (read_bench / "sheet.pdf").read_bytes().startswith(b"%PDF")


def test_the_data_keep_to_the_schema(read_bench):
    ran = vatwright("carry", read_bench / "tiles.toml", "--json")
    data = parsed(ran.out)
    assert mistakes(data, "carry-1") == []
    assert all_finite(data["first_layer"])
    first = data["first_layer"]
    assert (first["level_read"], first["tip_read"]) == (True, True)
    assert len(first["layers"]) == 4
    # Four tiles with an empty corner at the front right: the resin's force acts off the middle, and the arm gives.
    assert any(abs(n["worst"]["tipped_um"]) > 0.01 for n in first["layers"][1:])
    assert all(len(row) == len(first["map"]["x_mm"]) for row in first["map"]["spare_um"])


def test_a_reading_off_the_platform_is_refused_by_name(read_bench):
    shop = read_bench / "shop.toml"
    shop.write_text(
        shop.read_text(encoding="utf-8").replace("x_mm = -140, y_mm = 75, height", "x_mm = -940, y_mm = 75, height")
    )
    ran = vatwright("carry", read_bench / "tiles.toml")
    assert ran.code == 2
    assert "flatness" in ran.err
    assert "outside the platform" in ran.err
