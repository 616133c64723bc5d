"""The bench in German, asked for by the browser alone: a sheet, a run beside the machine, and the choice on Today."""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import expect
from tests.web.browser import SIZES, accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, carried, phone

__all__ = ["browser_type_launch_args"]

ENGLISH = {
    "the",
    "and",
    "of",
    "to",
    "is",
    "it",
    "that",
    "for",
    "with",
    "are",
    "this",
    "by",
    "be",
    "or",
    "not",
    "at",
    "from",
    "as",
    "than",
    "which",
    "when",
}
"""Words of nearly every English text that no German one has (the two languages' commonest words, from memory)."""


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with bench_at(tmp_path_factory.mktemp("language")) as found:
        yield (*found, carried(found[0], visits=3))


def speaks_german(view):
    assert view.locator("html").get_attribute("lang") == "de"
    said = view.locator("body").inner_text()
    assert [line for line in said.splitlines() if ENGLISH & set(re.findall(r"\w+", line.lower()))] == []


@pytest.mark.parametrize("size", SIZES)
def test_a_sheet_and_its_run_in_german(browser, playwright, bench, size):
    _, address, _, carry = bench
    with phone(browser, playwright, address, size=size, locale="de-DE") as view:
        view.goto(f"/carry/{carry.id}")
        speaks_german(view)
        fits(view)
        view.goto(f"/carry/{carry.id}")
        view.get_by_role("button", name="Drucken", exact=True).click()
        run = view.url.rsplit("/", 1)[1]
        speaks_german(view)
        view.get_by_role("button", name="Er läuft").click()
        expect(view.locator("#count")).to_have_text(re.compile(r"in \d\d:\d\d"))
        speaks_german(view)
        fits(view)
        targets_are_large(view)
        accessible(view)
    said = {"id": f"ended-{run}", "kind": "ended"}
    httpx.post(f"{address}/api/v1/runs/{run}/taps", json=said, timeout=60.0).raise_for_status()


def test_the_choice_on_today_outweighs_the_browser(browser, playwright, bench):
    with phone(browser, playwright, bench[1], locale="de-DE") as view:
        view.goto("/")
        speaks_german(view)
        fits(view)
        view.get_by_role("button", name="English").click()
        expect(view.get_by_role("heading", level=1)).to_have_text("What is next?")
        view.goto("/carry")
        assert view.locator("html").get_attribute("lang") == "en"
        view.goto("/")
        view.get_by_role("button", name="Deutsch").click()
        expect(view.get_by_role("heading", level=1)).to_have_text("Was kommt als Nächstes?")


@pytest.mark.parametrize("size", SIZES)
def test_the_units_chosen_on_today_are_read_everywhere_and_kept(browser, playwright, bench, size):
    """18 C are 64.4 F, told as 64 F (ISO 80000-5: t_F = 9/5 t_C + 32)."""
    _, address, _, carry = bench
    with phone(browser, playwright, address, size=size, locale="en-GB") as view:
        view.goto("/")
        view.get_by_role("button", name="Read in °F, with inches beside mm").click()
        view.goto(f"/carry/{carry.id}")
        expect(view.locator("main")).to_contain_text(re.compile(r"\b64\.?4?\s°F"))
        expect(view.locator("main")).not_to_contain_text(re.compile(r"\b18\s°C"))
        fits(view)
        view.goto("/")
        view.get_by_role("button", name="Read in °C and mm").click()
        view.goto(f"/carry/{carry.id}")
        expect(view.locator("main")).to_contain_text(re.compile(r"\b18\s°C"))
