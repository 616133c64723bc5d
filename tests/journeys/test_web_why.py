"""Ask why, Trial and what is believed in a browser: from a failure to its cause, a trial, its readings and what they taught."""

from __future__ import annotations

import io

import pytest
from playwright.sync_api import expect
from tests.files.part_files import binary_stl
from tests.journeys.conftest import box
from tests.web.browser import LONG_MS, accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, phone

from vatwright.interfaces.web.forms import CarryAsked, JobAsked, PartAsked

__all__ = ["browser_type_launch_args"]

SIZES = ("desk", "phone")


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """A bench with a notebook of its own and one carry on the desk: its address, and the carry's name in the list."""
    with bench_at(tmp_path_factory.mktemp("why")) as (app, address, _world):
        desk = app.state.desk
        kept = desk.tray.keep("tile.stl", io.BytesIO(binary_stl(box((20, 20, 2)))))
        parts = [PartAsked(file=kept.handle, unit="mm", count=4)]
        carry = desk.new_carry(parts, job=JobAsked(name="four tiles", recipe="slate on Wren", to="Heron", room_c=20))
        desk.begin(carry, CarryAsked(job=carry.job, part=parts))
        assert carry.work.ended.wait(240.0)
        yield address


def good(page, size):
    """Nothing serious to find, nothing wider than the screen, and large targets on the phone."""
    accessible(page)
    if size == "phone":
        targets_are_large(page)
    fits(page)


def first_cause(page):
    return page.locator(".causes h3").first.inner_text()


@pytest.mark.parametrize("size", SIZES)
def test_from_what_was_seen_to_the_cause(browser, playwright, bench, size):
    with phone(browser, playwright, bench, size=size) as page:
        page.goto("/why")
        good(page, size)
        page.get_by_role("link", name="four tiles to Heron").first.click()
        good(page, size)
        page.get_by_role("button", name="Why did it fail?").click()
        expect(page.get_by_role("alert")).to_contain_text("Tap at least one thing")
        page.get_by_label("The base let go of the platform").check()
        page.get_by_label("rear left", exact=True).check()
        page.get_by_role("button", name="Why did it fail?").click()
        expect(page.get_by_role("heading", name="What tells the first two apart?")).to_be_visible(timeout=LONG_MS)
        good(page, size)
        expect(page.locator("main")).to_contain_text("Seen: the base let go of the platform at the rear left")
        before = page.locator(".causes").inner_text()
        page.get_by_text("What speaks for it and against it").first.click()
        accessible(page)

        page.get_by_text("Change what was seen").click()
        page.get_by_text("What was read, and what was set otherwise").click()
        # By hand: 420 um at one corner and 60 at the other is no level platform, whatever else is true.
        page.get_by_label("First layer, rear left").fill("420")
        page.get_by_label("First layer, front right").fill("60")
        page.get_by_role("button", name="Why did it fail?").click()
        expect(page.locator(".causes h3").first).to_contain_text("level", timeout=LONG_MS)
        assert page.locator(".causes").inner_text() != before
        assert "first_rear-left=420" in page.url  # what was said stands in the address


def test_a_reading_tells_the_causes_apart_by_keyboard_alone(browser, playwright, bench):
    with phone(browser, playwright, bench, size="desk") as page:
        page.goto("/why")
        page.get_by_role("link", name="four tiles to Heron").first.click()
        split = page.get_by_label("It split between two layers")
        for _ in range(60):
            page.keyboard.press("Tab")
            if split.evaluate("e => e === document.activeElement"):
                break
        page.keyboard.press("Space")
        expect(split).to_be_checked()
        page.get_by_label("At which layer").focus()
        page.keyboard.type("18")
        page.keyboard.press("Enter")
        told = page.get_by_role("heading", name="What tells the first two apart?")
        expect(told).to_be_visible(timeout=LONG_MS)
        expect(page.locator("main")).to_contain_text("layer 18")
        read = page.get_by_label("It read [")
        expect(read.or_(page.get_by_role("link", name="Print a trial"))).to_be_visible()
        if read.count():
            address = page.url
            read.focus()
            page.keyboard.type("1")
            page.keyboard.press("Enter")
            expect(page).not_to_have_url(address, timeout=LONG_MS)
            expect(told.or_(page.get_by_role("alert"))).to_be_visible(timeout=LONG_MS)


def test_without_any_script(browser, playwright, bench):
    context = browser.new_context(base_url=bench, java_script_enabled=False)
    page = context.new_page()
    page.goto("/why")
    page.get_by_role("link", name="four tiles to Heron").first.click()
    page.get_by_label("A layer did not come off the film").check()
    page.get_by_label("middle", exact=True).check()
    page.get_by_role("button", name="Why did it fail?").click()
    expect(page.get_by_role("heading", name="What may be behind it, and what mends it?")).to_be_visible(timeout=LONG_MS)
    page.goto("/trial?kind=level-check&machine=Wren")
    expect(page.get_by_label("How the platform stands against the film")).to_be_checked()
    page.get_by_role("button", name="Make the trial").click()
    expect(page.get_by_role("heading", name="Take it along")).to_be_visible(timeout=LONG_MS)
    context.close()


@pytest.mark.parametrize("size", SIZES)
def test_a_trial_its_readings_and_what_they_taught(browser, playwright, bench, size):
    with phone(browser, playwright, bench, size=size) as page:
        page.goto("/trial")
        good(page, size)
        page.get_by_label("How the platform stands against the film").check()
        page.get_by_label("Machine that prints it").select_option("Heron")
        page.get_by_label("Room [").fill("warm")
        page.get_by_role("button", name="Make the trial").click()
        expect(page.get_by_role("alert")).to_contain_text("room temperature")
        page.get_by_label("Room [").fill("21,5")
        page.get_by_role("button", name="Make the trial").click()
        expect(page.get_by_role("heading", name="Take it along")).to_be_visible(timeout=LONG_MS)
        good(page, size)
        with page.expect_download() as got:
            page.get_by_role("link", name="The solids to print").click()
        assert got.value.suggested_filename == "trial.stl"
        assert len(got.value.path().read_bytes()) > 84  # the head of a binary STL and its count
        for n, value in enumerate(("0.35", "0.36", "0.35", "0,34", "0.35"), 1):
            page.get_by_label(f"{n}: ").fill(value)
        page.get_by_role("button", name="Note the readings").click()
        expect(page.get_by_role("heading", name="Its readings are in the notebook")).to_be_visible()
        good(page, size)
        page.get_by_role("link", name="What is believed now").click()
        expect(page.get_by_role("heading", name="How good were the predictions?")).to_be_visible(timeout=LONG_MS)
        good(page, size)
        expect(page.locator(".verdict")).to_contain_text("learned from")
        expect(page.get_by_label("Machine", exact=True)).to_have_value("Heron")
        assert page.locator("figure svg").count() >= 1
        page.locator("figure summary").first.click()
        expect(page.locator("figure table").first).to_contain_text("before")
        accessible(page)


@pytest.mark.parametrize("size", SIZES)
def test_nothing_to_learn_from_yet(browser, playwright, tmp_path, size):
    with bench_at(tmp_path) as (_app, address, _world), phone(browser, playwright, address, size=size) as page:
        page.goto("/learn")
        expect(page.get_by_text("Nothing to learn from here yet")).to_be_visible(timeout=LONG_MS)
        good(page, size)
        page.goto("/why")
        expect(page.get_by_text("No carry is on the desk yet")).to_be_visible()
        good(page, size)
