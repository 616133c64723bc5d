"""The shop floor in a browser, at the desk and on a phone: what it costs, which machine, the order book and planning anew."""

from __future__ import annotations

import re

import pytest
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


@pytest.fixture(scope="session")
def carried(browser, listening):
    """The demo job on the desk, carried once for those who ask what it costs."""
    page = browser.new_context(base_url=listening).new_page()
    page.goto("/carry")
    page.get_by_role("button", name="Start from the demo job").click()
    page.get_by_role("button", name="Work out the sheet").click()
    expect(page.get_by_role("button", name="Run it", exact=True)).to_be_visible(timeout=LONG_MS)
    page.goto(f"{page.url}/after")
    expect(page.get_by_role("heading", name="what comes after the print")).to_be_visible()
    expect(page.locator("main")).to_contain_text("All lots of slate together hold")
    page.context.close()


@pytest.fixture(scope="session")
def plan_address(browser, listening):
    """The address of the demo's order book, planned once for those who only look at it."""
    page = browser.new_context(base_url=listening, java_script_enabled=False).new_page()
    page.goto("/fleet")
    page.get_by_role("button", name="Plan the demo's week").click()
    expect(page.get_by_role("heading", name="Who runs what when?")).to_be_visible(timeout=LONG_MS)
    address = page.url
    page.context.close()
    return address


def test_what_a_piece_costs(view, size, carried):
    view.goto("/cost")
    accessible(view)
    fits(view)
    view.get_by_role("button", name="Work out the cost").click()
    expect(view.get_by_role("heading", name="What is it made of?")).to_be_visible(timeout=LONG_MS)
    expect(view.locator("header .verdict")).to_contain_text("A good piece costs")
    split = view.locator("#cost-split")
    expect(split.locator("svg").first).to_be_visible()
    split.get_by_text("The data of this picture").click()
    expect(split.get_by_role("row").filter(has_text="resin in the pieces")).to_be_visible()
    expect(view.get_by_role("link", name="cost.json")).to_be_visible()
    if size == "phone":
        targets_are_large(view)
    accessible(view)
    fits(view)


def test_which_machine_and_when_a_larger_one_has_paid(view, size, carried):
    view.goto("/compare")
    for box in view.get_by_role("checkbox").all():
        box.uncheck()
    view.get_by_role("button", name="Compare them").click()
    expect(view.get_by_role("alert")).to_contain_text("none is chosen")
    accessible(view)
    view.get_by_role("checkbox", name="Heron").uncheck()
    view.get_by_role("button", name="Compare them").click()
    expect(view.get_by_role("heading", name="Would Albatross pay beside Wren?")).to_be_visible(timeout=LONG_MS)
    for slug in ("compare-cost", "compare-time", "compare-hands", "compare-chance", "pay-albatross-wren"):
        expect(view.locator(f"#{slug} svg").first).to_be_visible()
    if size == "phone":
        targets_are_large(view)
    accessible(view)
    fits(view)


def test_an_order_book_and_a_plan_anew_by_keyboard(view, plan_address):
    view.goto(plan_address)
    expect(view.locator("header .verdict")).to_contain_text("Everything is in time")
    plates = view.locator("figure[id^=fleet-plate-]")
    assert plates.count() >= 4
    accessible(view)
    fits(view)
    fold = view.get_by_text("Something went wrong: plan anew")
    fold.focus()
    view.keyboard.press("Enter")
    view.get_by_label("It is now").fill("2026-03-02T12:00")
    failed = view.get_by_role("group", name="Which plates failed?").get_by_role("checkbox").first
    failed.focus()
    view.keyboard.press("Space")
    expect(failed).to_be_checked()
    view.get_by_role("checkbox", name="Wren 2", exact=True).check()
    accessible(view)
    view.get_by_role("button", name="Plan anew").focus()
    view.keyboard.press("Enter")
    expect(view.get_by_text("Wren 2 stands still and gets nothing.")).to_be_visible(timeout=LONG_MS)
    assert view.url != plan_address
    fits(view)


def test_orders_of_ones_own_and_stopping_the_work(view, size):
    view.goto("/fleet/new?part=demo-lantern&part=demo-bishop")
    view.get_by_label(re.compile(r"^Pieces of lantern")).fill("12")
    view.get_by_label(re.compile(r"^Pieces of bishop")).fill("a few")
    accessible(view)
    fits(view)
    if size == "phone":
        targets_are_large(view)
    view.get_by_role("button", name="Plan it").click()
    expect(view.get_by_role("alert")).to_contain_text("'a few' is not a whole number")
    view.get_by_label(re.compile(r"^Pieces of bishop")).fill("8")
    expect(view.get_by_label(re.compile(r"^Pieces of lantern"))).to_have_value("12")
    view.get_by_role("button", name="Plan it").click()
    expect(view).to_have_url(re.compile(r"/fleet/[\w-]{8,}$"))
    stop, plan = view.get_by_role("button", name="Stop"), view.get_by_role("heading", name="Who runs what when?")
    expect(stop.or_(plan)).to_be_visible()
    if stop.is_visible():
        stop.click()
    # It stops at its next step, unless it was through before.
    expect(plan.or_(view.get_by_text("the work was stopped"))).to_be_visible(timeout=LONG_MS)
