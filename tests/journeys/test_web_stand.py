"""How should it stand?  From the part to the way to take and the part turned, in a browser at the desk and on a phone."""

from __future__ import annotations

from playwright.sync_api import expect
from tests.web.browser import (
    LONG_MS,
    accessible,
    browser_type_launch_args,
    fits,
    listening,
    size,
    targets_are_large,
    view,
)

__all__ = ["browser_type_launch_args", "listening", "size", "view"]


def test_from_a_part_to_how_it_should_stand(view, size):
    view.goto("/stand")
    view.get_by_role("button", name="How should it stand?").click()
    expect(view.get_by_role("alert")).to_contain_text("no file was chosen")
    view.get_by_label("Or one that is here").select_option(label="cup.stl of the demo")
    view.get_by_label("Machine that prints it").select_option("Wren")
    accessible(view)
    fits(view)
    view.get_by_role("button", name="How should it stand?").click()
    first = view.locator("main .do").first
    expect(first).to_contain_text("Tilt it 90 degrees about x, rear side up", timeout=LONG_MS)
    expect(first).to_be_in_viewport()
    expect(view.locator("#stand-way-0 svg")).to_be_visible()
    expect(view.locator("#stand-way-1 svg")).to_be_visible()
    expect(view.get_by_role("heading", name="1: tilted 90 about x, rear up: take this one")).to_be_visible()
    with view.expect_download() as turned:
        view.get_by_role("link", name="way 1 as an STL file").click()
    assert turned.value.suggested_filename == "turned-1.stl"
    if size == "phone":
        targets_are_large(view)
    accessible(view)
    fits(view)
