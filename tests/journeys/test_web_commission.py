"""A new machine beside the machine: the next reading with its drawing, typed in, kept, sent late, and kept once."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from tests.web.browser import accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, phone

from vatwright.interfaces.web import shelf

__all__ = ["browser_type_launch_args"]

SHOP = """
[[machine]]
name = "Kite"
platform = { width_mm = 145, depth_mm = 88 }
height_mm = 155

[[resin]]
name = "pewter"
"""


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_reading_is_ticked_off_beside_the_machine(browser, playwright, tmp_path, size, monkeypatch):
    monkeypatch.setattr("vatwright.interfaces.web.pages.commission._saved", lambda *_: {})
    with bench_at(tmp_path) as (app, address, _), phone(browser, playwright, address, size=size) as view:
        desk = app.state.desk
        shelf.keep_text(desk, SHOP, what="my shop")

        def document():
            return shelf.shelves(desk).kinds["machine"]["Kite"].document

        view.goto("/commission")
        view.get_by_role("link", name="Kite").click()
        # The first screen holds the thing to do: what, where, and the fields for it.
        expect(view.locator("main .do").first).to_contain_text("Read next: the window's width and depth")
        if size == "phone":
            view.set_viewport_size({"width": 390, "height": 844})
        for thing in (view.locator("#window svg"), view.get_by_label("Window, front to back")):
            expect(thing).to_be_in_viewport()
        accessible(view)
        fits(view)
        if size == "phone":
            targets_are_large(view)
        view.get_by_label("Window, left to right").fill("171,5")
        view.get_by_role("button", name="Done: keep it The window").click()
        expect(view.get_by_role("alert")).to_contain_text("Window, front to back")
        expect(view.get_by_label("Window, left to right")).to_have_value("171,5")
        view.get_by_label("Window, front to back").fill("110")
        view.get_by_role("button", name="Done: keep it The window").click()
        expect(view.get_by_role("status")).to_contain_text("Kept.")
        expect(view.locator("main .do").first).to_contain_text("Read next: the film's thickness")
        assert "width_mm = 171.5" in document()
        # Without a link what was read waits on the device, and goes by itself.
        view.locator("#film input[inputmode]").fill("100")
        view.context.set_offline(True)
        view.get_by_role("button", name="Done: keep it The film").click()
        expect(view.locator("#unsent")).to_contain_text("kept on this device")
        assert "thickness_um" not in document()
        view.context.set_offline(False)
        expect(view.locator("main .do").first).to_contain_text("Read next: what the film lies on", timeout=30_000)
        assert "thickness_um = 100" in document()
        changes = len(shelf.history(desk))
        view.reload()
        assert len(shelf.history(desk)) == changes
