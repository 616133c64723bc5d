"""A worn film: the carry sheet says so on its first screen, and the shop may say that it lasts longer."""

from __future__ import annotations

from tests.journeys.conftest import vatwright
from tests.journeys.published_json import mistakes, parsed

from vatwright.files.read import read_shop

FILM = """
[[film]]
name = "Heron, film 3"
machine = "Heron"
layers = 31000
"""


def test_a_worn_film_stands_on_the_first_screen_and_the_shop_may_say_otherwise(bench):
    (bench / "stock.toml").write_text(FILM, encoding="utf-8")
    text = vatwright("carry", "tiles.toml", "--without-notebook", cwd=bench).out
    assert "Upkeep" in text
    assert "Heron: change the film." in text
    data = parsed(vatwright("carry", "tiles.toml", "--without-notebook", "--json", cwd=bench).out)
    assert mistakes(data, "carry-1") == []
    (due,) = data["upkeep"]
    assert (due["task"], due["used"], due["limit"], due["unit"], due["due"]) == ("film", 31000, 30000, "layers", True)
    shop = bench / "shop.toml"
    text = shop.read_text(encoding="utf-8")
    own = text.replace("height_mm = 230\n", "height_mm = 230\nupkeep = { film_layers = 60000 }\n", 1)
    assert own != text
    shop.write_text(own, encoding="utf-8")
    (heron,) = (m for m in read_shop(shop).machines if m.name == "Heron")
    assert heron.upkeep.film_layers == 60_000
