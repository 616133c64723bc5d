"""Noting in a browser: a run ends on the Run page, what went wrong is tapped, and the next sheet is another."""

from __future__ import annotations

import re

import pytest
from PIL import Image
from playwright.sync_api import expect
from tests.web.browser import LONG_MS, accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, carried, phone

from vatwright.interfaces.web import shelf

__all__ = ["browser_type_launch_args"]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with bench_at(tmp_path_factory.mktemp("notebook")) as found:
        app = found[0]
        yield (*found, carried(app, visits=1))


def ended(view, carry, world, *, script=True):
    """Run the carry of the demo job to its end on the Run page, its change by hand not made."""
    view.goto(f"/carry/{carry.id}")
    view.get_by_role("button", name="Run it", exact=True).click()
    view.get_by_role("button", name="It has started").click()
    expect(view.get_by_role("button", name="Could not")).to_be_visible()
    view.get_by_role("button", name="Could not").click()
    expect(view.locator("table.run-list")).to_contain_text("could not be done")
    view.get_by_text("It has ended early").click()
    world.ahead_s += 3600.0
    if script:  # the page has seen how late it is
        expect(view.locator("#clock")).to_have_text(re.compile("^1:0"), timeout=30_000)
    view.get_by_role("button", name="End this run").click()
    view.get_by_role("link", name="Note how it came out").click()
    expect(view.get_by_role("heading", level=1)).to_have_text("How did it come out?")


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_a_failure_noted_changes_the_next_sheet(browser, playwright, bench, tmp_path, size):
    app, address, world, carry = bench
    desk = app.state.desk
    noted_before = len(shelf.runs_of(desk))
    with phone(browser, playwright, address, size=size) as view:
        ended(view, carry, world)
        where = view.get_by_label("Where: The base let go of the platform")
        expect(where).to_be_hidden()
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
        view.get_by_role("button", name="Write it down").click()
        expect(view.get_by_role("alert")).to_contain_text("how it came out is not said")
        view.get_by_label("It did not").check()
        view.get_by_label("The base let go of the platform", exact=True).check()
        where.select_option("rear-left")
        first = view.get_by_label("First layer, thickness [µm]")
        first.fill("thick")
        view.get_by_role("button", name="Write it down").click()
        expect(view.get_by_role("alert")).to_contain_text("First layer, thickness 'thick' is not a number")
        expect(view.get_by_label("It did not")).to_be_checked()
        accessible(view)
        fits(view)
        first.fill("")
        Image.new("RGB", (40, 30), "grey").save(tmp_path / "base.png")
        view.get_by_text("A picture").click()
        view.get_by_label("JPEG, PNG or WebP").set_input_files(tmp_path / "base.png")
        view.get_by_label("In your words").fill("it came off\nwith a crack")
        view.get_by_role("button", name="Write it down").click()
        expect(view.get_by_role("heading", level=1)).to_have_text(re.compile("Written down:.*failed"), timeout=LONG_MS)
        fits(view)
        accessible(view)

        # In the notebook is the run with its settings and times, and what had been said.
        runs = shelf.runs_of(desk)
        assert len(runs) == noted_before + 1
        run = runs[0]
        assert not run.held
        assert run.note == "it came off\nwith a crack"
        assert not run.readings  # nobody measured anything
        assert run.prediction.chance == pytest.approx(carry.sheet.success.mean)
        hand = carry.sheet.hand
        assert not run.settings
        assert [h.settle_s for h in run.hands] == [pytest.approx(hand.start_value)]  # the change was never made

        view.get_by_role("link", name="Look at the run").click()
        expect(view.get_by_role("img", name="Picture 1 of this run")).to_be_visible()
        assert view.get_by_role("img").evaluate("e => e.naturalWidth") == 40
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
        at_run = view.url
        view.get_by_role("link", name="Ask why it failed").click()  # what was noted stands in the form, hands count
        expect(view.get_by_label("The base let go of the platform")).to_be_checked()
        expect(view.get_by_role("radio", name="rear left")).to_be_checked()
        expect(view.locator("main")).to_contain_text("what hands really set in it counts")
        fits(view)
        accessible(view)
        view.goto(at_run)
        view.get_by_role("button", name="Work out the next sheet").click()
        expect(view.get_by_role("heading", name="What moved?")).to_be_visible(timeout=LONG_MS)
        weighed = "1 noted run is weighed in" if noted_before == 0 else f"{noted_before + 1} noted runs are weighed in"
        expect(view.locator("header")).to_contain_text(f"{weighed}: on Albatross 0 of {noted_before + 1} held")
        assert view.locator(".moves li").count() > 0
        accessible(view)

        view.get_by_role("link", name="Notebook", exact=True).click()
        expect(view.locator("p.way")).to_contain_text(f"0 of {noted_before + 1} noted run")
        expect(view.get_by_text("Ended, and not noted")).to_have_count(0)
        view.get_by_role("searchbox").fill("base let go albatross")
        view.get_by_role("button", name="Look").click()
        expect(view.get_by_role("status")).to_contain_text(f"{noted_before + 1} of {noted_before + 1}")
        view.get_by_role("searchbox").fill("moon")
        view.keyboard.press("Enter")
        expect(view.get_by_role("status")).to_contain_text(f"0 of {noted_before + 1} match")
        fits(view)
        accessible(view)


def test_a_run_that_ended_waits_to_be_noted_and_undo_is_at_once(browser, playwright, bench):
    app, address, world, carry = bench
    before = len(shelf.runs_of(app.state.desk))
    with phone(browser, playwright, address, java_script_enabled=False) as view:
        ended(view, carry, world, script=False)
        view.goto("/")
        expect(view.get_by_role("link", name="Note: harbour lanterns")).to_have_count(1)
        view.goto("/notebook")
        view.get_by_role("link", name="How did harbour lanterns, spring order on Albatross come out?").click()
        view.get_by_label("It held, as meant").check()
        view.get_by_role("button", name="Write it down").click()
        expect(view.get_by_role("heading", level=1)).to_have_text(re.compile("Written down:.*held"), timeout=LONG_MS)
        assert len(shelf.runs_of(app.state.desk)) == before + 1
        view.get_by_role("button", name="Take it back").click()
        expect(view.get_by_role("status")).to_contain_text("Done")
        assert len(shelf.runs_of(app.state.desk)) == before
        view.goto("/notebook")
        expect(view.get_by_role("heading", name="Ended, and not noted")).to_be_visible()
