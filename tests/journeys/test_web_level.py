"""Level in a browser: by keys as large as gloves need, to what to turn; the rest of the pages beside it."""

from __future__ import annotations

import re

from playwright.sync_api import expect
from tests.web.browser import (
    accessible,
    browser_type_launch_args,
    fits,
    listening,
    size,
    targets_are_large,
    view,
)

__all__ = ["browser_type_launch_args", "listening", "size", "view"]


def test_five_readings_by_the_keys_on_the_page(view, size):
    view.goto("/level")
    view.get_by_label("Machine", exact=True).select_option("Albatross")
    view.get_by_role("button", name="Show its places").click()
    expect(view.get_by_text("-140, 75 mm")).to_be_visible()
    keys = view.get_by_role("group", name="Keys for the gap")
    if size == "phone":
        targets_are_large(view)
        assert all(k.bounding_box()["height"] >= 48 for k in keys.get_by_role("button").all())
    for reading in ("150", "230", "170", "120", "190"):
        for digit in reading:
            keys.get_by_role("button", name=digit, exact=True).click()
        keys.get_by_role("button", name="next place").click()
    expect(view.get_by_label("Rear right", exact=True)).to_have_value("230")
    fits(view)
    accessible(view)
    view.get_by_role("button", name="How does it stand?").click()
    expect(view.get_by_role("heading", name="What do I turn?")).to_be_visible()
    # By hand: a plane z = a + bx + cy through four corners is fitted by the means of opposite sides.
    expect(view.locator("main")).to_contain_text("The rear right corner stands highest")
    fits(view)
    accessible(view)
    view.reload()  # everything stands in the address
    expect(view.get_by_role("heading", name="What do I turn?")).to_be_visible()
    view.get_by_text("Change the readings").click()
    expect(view.get_by_label("Rear right", exact=True)).to_have_value("230")
    accessible(view)


def test_the_demo_readings_judged_for_a_base_without_script(browser, listening):
    context = browser.new_context(base_url=listening, java_script_enabled=False)
    page = context.new_page()
    page.goto("/level")
    page.get_by_role("link", name="The demo's readings").click()
    expect(page.locator("header .verdict")).to_contain_text("Level enough")
    expect(page.locator("main")).to_contain_text("Turn the front left screw")
    page.get_by_text("Change the readings").click()
    tilted = {"Rear left": 300, "Rear right": 420, "Middle": 240, "Front left": 60, "Front right": 180}
    for place, gap in tilted.items():
        page.get_by_label(place, exact=True).fill(str(gap))
    page.get_by_role("button", name="How does it stand?").click()
    expect(page.locator("header .verdict")).to_contain_text("The front left corner will press on the film")
    expect(page.locator("header .verdict.no")).to_be_visible()
    context.close()


def test_readings_at_the_places_of_another_machine_are_not_taken_for_its_own(view):
    view.goto("/level")
    for place, gap in (("Rear left", "100"), ("Rear right", "110"), ("Front left", "120")):
        view.get_by_label(place, exact=True).fill(gap)
    view.get_by_label("Machine", exact=True).select_option("Albatross")
    view.get_by_role("button", name="How does it stand?").click()
    expect(view.get_by_role("alert")).to_contain_text("Albatross")
    expect(view.get_by_text("-140, 75 mm")).to_be_visible()
    expect(view.get_by_label("Rear right", exact=True)).to_have_value("110")
    view.get_by_role("button", name="How does it stand?").click()
    expect(view.get_by_role("heading", name="What do I turn?")).to_be_visible()


def test_too_few_readings_are_told(view):
    view.goto("/level")
    view.get_by_label("Rear left", exact=True).fill("100")
    view.get_by_label("Rear right", exact=True).fill("10O")
    view.get_by_role("button", name="How does it stand?").click()
    expect(view.get_by_role("alert")).to_contain_text("'10O' has a unit this tool does not know. Give it in um.")
    view.get_by_label("Rear right", exact=True).fill("100")
    view.get_by_role("button", name="How does it stand?").click()
    expect(view.get_by_role("alert")).to_be_visible()
    expect(view.get_by_label("Rear left", exact=True)).to_have_value("100")
    fits(view)
    accessible(view)


def test_one_formula_with_its_working(view, size):
    """Polar moment of a disc, J = pi R^4 / 2: 15,708 mm4 for 10 mm (closed form)."""
    view.goto("/")
    view.get_by_role("link", name="Work out one formula").click()
    accessible(view)
    fits(view)
    if size == "phone":
        targets_are_large(view)
    view.get_by_role("link", name="Torsion constant of a disc: the shape number").click()
    view.get_by_label("Radius of the disc [mm]").fill("10")
    view.get_by_role("button", name="Work it out").click()
    expect(view.get_by_role("status")).to_contain_text("15,708 mm4")
    expect(view.get_by_role("heading", name="Where is it from?")).to_be_visible()
    view.get_by_label("Radius of the disc [mm]").fill("ten")
    view.get_by_role("button", name="Work it out").click()
    expect(view.get_by_role("alert")).to_contain_text("radius_mm")
    accessible(view)
    fits(view)


def test_every_page_by_keyboard(view):
    for path in ("/", "/carry", "/level", "/calc", "/pair"):
        view.goto(path)
        view.keyboard.press("Tab")
        expect(view.get_by_role("link", name="To the content")).to_be_focused()
        view.keyboard.press("Enter")
        expect(view).to_have_url(re.compile(r"#content$"))
        reached = set()
        for _ in range(120):
            view.keyboard.press("Tab")
            reached.add(view.evaluate("document.activeElement.outerHTML"))
        wanted = view.evaluate(
            """() => [...document.querySelectorAll("main a[href], main button, main input:not([type=hidden]), main select")]
                 .filter((e) => e.checkVisibility() && e.offsetParent).map((e) => e.outerHTML)"""
        )
        assert set(wanted[:100]) <= reached, path
        accessible(view)
        fits(view)


def test_a_page_that_is_not_there(view):
    view.goto("/calc/none")
    expect(view.locator(".verdict")).to_contain_text("There is no formula of that name")
    accessible(view)
