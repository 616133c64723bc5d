"""A first evening in a browser, whatever it starts from: the first screen of the sheet holds the thing to do."""

from __future__ import annotations

import io
from functools import cache
from typing import NamedTuple

import pytest
from playwright.sync_api import expect
from tests.files.part_files import binary_stl
from tests.journeys.conftest import TILES
from tests.journeys.test_shapes_journey import COARSE, shapes
from tests.web.browser import SIZES, browser_type_launch_args, fits
from tests.web.run_bench import bench_at, phone

from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked
from vatwright.wiring import demo_folder

__all__ = ["browser_type_launch_args"]

MORE = """
[[machine]]
name = "Plover"
height_mm = 200
platform = { width_mm = 200, depth_mm = 125 }

[[resin]]
name = "moss"
label = { viscosity_mPa_s = 350, layer_mm = 0.1, exposure_s = 5, base_exposure_s = 50 }
"""
"""A machine of which two sizes are known, and a resin of which only the label is."""

PHONE = {"width": 390, "height": 844}


class Evening(NamedTuple):
    """What a job starts from, its parts, and what the first screen must say."""

    asked: dict[str, object]
    parts: dict[str, int]
    to_do: tuple[str, ...]


TILES_ON_WREN = {"recipe": "tiles on Wren", "to": "Heron"}

EVENINGS = {
    "no recipe": Evening({"to": "Heron", "resin": "slate"}, {"tile": 6}, ("nobody ran this yet", "First read the gap")),
    "label only": Evening({"to": "Heron", "resin": "moss"}, {"tile": 6}, ("First cure four squares",)),
    "new machine": Evening(
        {"recipe": "tiles on Wren", "to": "Plover"}, {"tile": 6}, ("Read the light of Wren and Plover",)
    ),
    "new resin": Evening({**TILES_ON_WREN, "resin": "amber"}, {"tile": 6}, ("First cure four squares",)),
    "colder": Evening(
        {"recipe": "tiles on Wren", "to": "Wren", "room_c": 16}, {"tile": 6}, ("Run the resin through a viscosity cup",)
    ),
    "a vase without a recipe": Evening({"to": "Heron", "resin": "slate"}, {"vase": 1}, ("First note the rise",)),
    "a thin plate": Evening(TILES_ON_WREN, {"plate": 1}, ("tilt the part",)),
    "mixed heights": Evening(TILES_ON_WREN, {"vase": 1, "tile": 8}, ("Vent",)),
}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A bench on a shop of one's own, and where the sheet of an evening is, each worked out once."""
    folder = tmp_path_factory.mktemp("evenings")
    recipe = "[[recipe]]" + TILES.partition("[[recipe]]")[2].partition("[[part]]")[0]
    for old, new in COARSE.items():
        recipe = recipe.replace(old, new)
    shop = folder / "shop.toml"
    shop.write_text(
        (demo_folder() / "shop.toml").read_text(encoding="utf-8").split("[[recipe]]")[0] + MORE + recipe,
        encoding="utf-8",
    )
    with bench_at(folder, shop=str(shop)) as (app, address, _):
        desk = app.state.desk
        kept = {name: desk.tray.keep(f"{name}.stl", io.BytesIO(binary_stl(c))) for name, c in shapes().items()}

        @cache
        def sheet(name: str) -> str:
            evening = EVENINGS[name]
            parts = [PartAsked(file=kept[p].handle, unit="mm", count=n, name=p) for p, n in evening.parts.items()]
            job = JobAsked(name=name, **{"room_c": 20, **evening.asked})
            carry = desk.new_carry(parts, job=job)
            desk.begin(carry, CarryAsked(job=job, part=parts))
            assert carry.work.ended.wait(240.0), name
            return f"{address}/carry/{carry.id}"

        yield address, sheet


@pytest.mark.parametrize("name", list(EVENINGS))
def test_the_first_screen_holds_the_thing_to_do(browser, playwright, bench, name):
    address, sheet = bench
    for size in SIZES:
        with phone(browser, playwright, address, size=size) as view:
            if size == "phone":
                view.set_viewport_size(PHONE)
            view.goto(sheet(name))
            for seen in (view.locator("header .verdict").first, view.get_by_role("button", name="Run it", exact=True)):
                expect(seen).to_be_in_viewport()
            for words in EVENINGS[name].to_do:
                expect(view.get_by_text(words).first).to_be_in_viewport()
            fits(view)
