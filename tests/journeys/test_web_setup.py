"""The first visit in a browser, at the desk and on a phone: from the demo workshop to a sheet for machines of one's own."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect
from tests.web.browser import LONG_MS, accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, phone

__all__ = ["browser_type_launch_args"]

RECIPE = {
    "Layer [mm]": "0.05", "Base layers": "4", "Base exposure [s]": "28", "Body exposure [s]": "2,4",
    "Base settle [s]": "30", "Body settle [s]": "2", "Base peel lift, the slow part [mm]": "4",
    "Base clear lift, the fast part [mm]": "4", "Body peel lift [mm]": "2", "Body clear lift [mm]": "3",
    "Peel speed [mm/s]": "1", "Clear speed [mm/s]": "3", "Return speed, down [mm/s]": "3", "Runs with it": "9",
    "Of these failed": "1",
}  # fmt: skip
"""What stands on the screen of an invented machine."""


@pytest.fixture(scope="module")
def studies(tmp_path_factory):
    return tmp_path_factory.mktemp("studies")


@pytest.fixture
def folder(tmp_path, studies):
    """A place for a notebook, with the studies of parts that others have made."""
    (tmp_path / "studies").symlink_to(studies)
    return tmp_path


def following(view, title):
    """Go on to the next question."""
    view.get_by_role("button", name="Next").click()
    expect(view.get_by_role("heading", level=1)).to_have_text(title)


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_from_the_demo_to_a_sheet_of_ones_own(browser, playwright, folder, size):
    with bench_at(folder) as (app, address, _), phone(browser, playwright, address, size=size) as view:
        view.goto("/")
        view.get_by_role("link", name="Set up your own workshop").click()
        expect(view.get_by_role("heading", level=1)).to_have_text("What do you print with?")
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)

        # Nothing said: one thing to put right, everything else may be unknown.
        expect(view.get_by_role("img", name="Where to read the build height")).to_be_visible()
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("alert").get_by_role("listitem")).to_have_text(
            "the machine has no name. Write what you call it."
        )
        accessible(view)
        view.get_by_label("What you call it").fill("Kite")
        following(view, "Which resin, and how warm is the room?")
        view.get_by_label("What you call the resin").fill("pewter")
        view.get_by_label("Room in which it has run [°C]").fill("warm")
        following(view, "Which resin, and how warm is the room?")
        expect(view.get_by_role("alert")).to_contain_text("room of the runs 'warm' is")
        view.get_by_label("Room in which it has run [°C]").fill("22")
        following(view, "Where should it go?")
        expect(view.locator("#sofar")).to_have_count(0)
        view.get_by_label("The other machine").fill("Roc")
        following(view, "How does one layer go on your machine?")
        so_far = view.locator("#sofar")
        expect(so_far.get_by_role("heading", level=2)).to_have_text("The sheet so far")
        expect(so_far.locator("#set")).to_be_visible(timeout=LONG_MS)
        expect(so_far).to_contain_text("From common practice to Roc, pewter")
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
            expect(view.get_by_role("link", name="The sheet so far")).to_be_visible()
        for label, value in list(RECIPE.items())[:-2]:
            view.get_by_label(label, exact=True).fill(value)
        following(view, "What has held?")
        if size == "desk":
            expect(so_far).to_contain_text("What your last answers changed", timeout=LONG_MS)
            expect(so_far).to_contain_text(re.compile(r"pewter on Kite \(1\srun held"))
            following(view, "Which film is in?")  # nothing more was said: the same sheet at once
            expect(so_far.locator("#set")).to_be_visible()
            view.get_by_role("button", name="Back").click()
        for label, value in list(RECIPE.items())[-2:]:
            view.get_by_label(label, exact=True).fill(value)
        view.get_by_role("button", name="Keep it").click()

        expect(view.get_by_role("heading", level=1)).to_have_text("What do you want to print first?")
        expect(view.get_by_role("status")).to_contain_text("Kept: pewter on Kite, counted as 8 of 9 runs held")
        fits(view)
        accessible(view)
        view.get_by_label("Room [°C]").fill("20")
        view.get_by_role("button", name="Work out the first sheet").click()
        expect(view.get_by_role("button", name="Run it", exact=True)).to_be_visible(timeout=LONG_MS)
        expect(view.get_by_role("heading", level=1)).to_contain_text("first sheet for Roc, 1 piece")
        expect(view.locator("main")).to_contain_text(
            re.compile(r"From pewter on Kite \(8\sof\s9\sruns held, 22\s°C\) to Roc, 20\s°C")
        )
        accessible(view)
        sheet = view.url
        view.goto(f"{sheet}/sources")
        expect(view.locator("main")).to_contain_text("estimate")
        accessible(view)
        view.goto(sheet)

        # The shop is one's own now; a film changed today is two taps away, and one tap takes it back.
        view.get_by_role("link", name="Shop", exact=True).click()
        expect(view.locator("p.way")).to_have_text("2 machines, 1 resin and 1 recipe.")
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
        view.get_by_role("link", name="Add a film").click()
        view.get_by_label("Name").fill("Kite, film 1")
        view.get_by_label("On machine").select_option("Kite")
        view.get_by_label("Fitted on").fill("2026-03-01")
        view.get_by_role("button", name="Keep this film").click()
        expect(view.get_by_role("status")).to_contain_text("Kept.")
        fits(view)
        accessible(view)
        view.get_by_role("button", name="Changed today").click()
        expect(view.get_by_role("heading", level=1)).to_have_text("Kite, film 2")
        view.get_by_role("button", name="Take it back").click()
        expect(view.get_by_role("status")).to_contain_text("Done")
        expect(view.locator("ul.changes li").first).to_contain_text("undo: add new film in Kite")
        fits(view)
        accessible(view)

        # The machine: each value with its origin; a reading makes it surer.
        view.goto("/shop")
        view.get_by_role("link", name=re.compile("^Roc")).click()
        stiff = view.get_by_role("row").filter(has_text="Stiffness of arm and rail")
        expect(stiff).to_contain_text("engineering estimate")
        view.get_by_label("Stiffness [N/mm]").fill("260")
        view.get_by_label("Give or take, one standard deviation [N/mm]").fill("20")
        view.get_by_role("button", name="Keep it").click()
        expect(stiff).to_contain_text("your reading")
        fits(view)
        accessible(view)
        with view.expect_download() as got:
            view.goto("/shop")
            view.get_by_role("link", name="Export it").click()
        assert got.value.path().read_bytes()[:2] == b"PK"
        assert not app.state.desk.shop().demo


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_two_tabs_change_one_machine(browser, playwright, folder, size):
    with bench_at(folder) as (_, address, _), phone(browser, playwright, address, size=size, fine=("of 409",)) as view:
        view.goto("/shop")
        view.get_by_role("button", name="Take the demo workshop over").click()
        other = view.context.new_page()
        for tab in (view, other):
            tab.goto("/shop/entry?kind=machine&name=Wren")
        other.get_by_label("Stiffness [N/mm]").fill("150")
        other.get_by_role("button", name="Keep it").click()
        expect(other.get_by_role("status")).to_contain_text("Kept.")
        view.get_by_label("Stiffness [N/mm]").fill("190")
        view.get_by_label("Build height [mm]").fill("158")
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("alert")).to_contain_text("Wren was changed meanwhile")
        rows = view.get_by_role("table", name="Where this form and what is kept differ").get_by_role("row")
        expect(rows.filter(has_text="Stiffness")).to_contain_text(re.compile("150.*190"))
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
        expect(view.get_by_label("Build height [mm]")).to_have_value("158")
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("status")).to_contain_text("Kept.")
        expect(view.get_by_label("Stiffness [N/mm]")).to_have_value("190")


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_shop_file_is_shown_and_taken_over(browser, playwright, folder, size):
    mine = folder / "my.toml"
    mine.write_text(
        '[[machine]]\nname = "Kite"\nplatform = { width_mm = 145, depth_mm = 88 }\nheight_mm = 155\n', encoding="utf-8"
    )
    with bench_at(folder, shop=str(mine)) as (_, address, _), phone(browser, playwright, address, size=size) as view:
        view.goto("/")
        expect(view.locator("p.way")).to_contain_text("my.toml")
        view.get_by_role("link", name="Shop", exact=True).click()
        expect(view.locator("p.way")).to_have_text("1 machine, 0 resins and 0 recipes.")
        expect(view.locator("main")).to_contain_text("Change it in an editor")
        view.get_by_role("link", name="Kite").click()
        expect(view.locator("main")).to_contain_text("The bench follows the shop file")
        expect(view.get_by_role("button", name="Keep it")).to_have_count(0)
        fits(view)
        accessible(view)
        view.goto("/shop")
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
        view.get_by_role("button", name="Take it into the notebook").click()
        view.get_by_role("link", name="Kite").click()
        view.get_by_label("Build height [mm]").fill("150")
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("status")).to_contain_text("Kept.")


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_what_costs_rest_on_is_said_on_a_page(browser, playwright, folder, size):
    with bench_at(folder) as (_, address, _), phone(browser, playwright, address, size=size) as view:
        view.goto("/shop")
        view.get_by_role("button", name="Take the demo workshop over").click()
        view.goto("/cost")
        view.get_by_role("link", name="what costs rest on").click()
        view.get_by_label("Wash a plate [min]").fill("12")
        view.get_by_label("A quote puts on top of the cost [%]").fill("much")
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("alert")).to_contain_text("A quote puts on top of the cost 'much' is not a number")
        expect(view.get_by_label("Wash a plate [min]")).to_have_value("12")
        view.get_by_label("A quote puts on top of the cost [%]").fill("40")
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("status")).to_contain_text("Kept.")
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)


def test_without_script_and_by_keyboard(browser, playwright, folder):
    with (
        bench_at(folder) as (app, address, _),
        phone(browser, playwright, address, size="desk", java_script_enabled=False) as view,
    ):
        view.goto("/shop/setup")
        view.get_by_label("What you call it").focus()
        view.keyboard.type("Kite")
        for _ in range(3):
            view.keyboard.press("Tab")
        view.keyboard.type("82")
        view.keyboard.press("Enter")
        expect(view.get_by_role("heading", level=1)).to_have_text("Which resin, and how warm is the room?")
        view.get_by_role("button", name="Back").click()
        expect(view.get_by_label("Platform, front to back [mm]")).to_have_value("82")
        view.get_by_role("button", name="Keep it").click()
        expect(view.get_by_role("status")).to_contain_text("Kept: Kite and my resin; without a recipe the sheet starts")
        (kite,) = app.state.desk.shop().records.machines
        assert (kite.platform.width_m, kite.platform.depth_m) == (0.15, 0.082)
