"""A vase beside tiles, in a browser on the phone: the first screen holds the thing to do."""

from __future__ import annotations

from playwright.sync_api import expect
from tests.files.part_files import binary_stl
from tests.journeys.test_shapes_journey import shapes
from tests.web.browser import LONG_MS, browser_type_launch_args
from tests.web.run_bench import bench_at, phone

__all__ = ["browser_type_launch_args"]


def test_a_vase_beside_tiles_on_the_phone(browser, playwright, tmp_path):
    for name, corners in shapes().items():
        (tmp_path / f"{name}.stl").write_bytes(binary_stl(corners))
    with bench_at(tmp_path) as (_, address, _), phone(browser, playwright, address, size="phone") as view:
        view.set_viewport_size({"width": 390, "height": 844})
        view.goto("/carry")
        view.locator("#part").set_input_files([tmp_path / "vase.stl", tmp_path / "tile.stl"])
        view.get_by_role("button", name="Take these parts").click()
        for name in ("vase", "tile"):
            view.get_by_label(f"Its unit ({name}.stl)").select_option("mm")
        view.get_by_label("From recipe").select_option("slate on Wren")
        view.get_by_label("To machine").select_option("Heron")
        view.get_by_role("button", name="Work out the sheet").click()
        expect(view.get_by_role("button", name="Run it", exact=True)).to_be_visible(timeout=LONG_MS)
        expect(view.locator("header .verdict").first).to_be_in_viewport()
        expect(view.locator("main")).to_contain_text("Vent")
