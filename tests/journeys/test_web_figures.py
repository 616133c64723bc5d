"""Reading values off a picture in a browser: by pointing, by a finger and by keys; and two who look at one run."""

from __future__ import annotations

import csv
import io
import re
from pathlib import Path

import pytest
from playwright.sync_api import expect
from tests.web.browser import accessible, browser_type_launch_args, fits
from tests.web.run_bench import bench_at, carried, phone

__all__ = ["browser_type_launch_args"]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with bench_at(tmp_path_factory.mktemp("figures")) as found:
        yield (*found, carried(found[0], visits=2))


def test_values_are_read_by_pointing_and_by_keys_and_taken_away(browser, playwright, bench):
    _, address, _, carry = bench
    with phone(browser, playwright, address, size="desk") as view:
        view.goto(f"/carry/{carry.id}/layers")
        figure = view.locator("figure#pull")
        picture, told = figure.locator("svg"), figure.locator(".told")
        told.scroll_into_view_if_needed()
        box = picture.bounding_box()
        view.mouse.move(box["x"] + box["width"] * 0.5, box["y"] + box["height"] * 0.5)
        expect(told).to_have_text(re.compile(r"^lift [\d.]+ mm: pull [\d,.]+ N; low [\d,.]+ N; high [\d,.]+ N$"))
        first = told.inner_text()
        view.mouse.move(box["x"] + box["width"] * 0.8, box["y"] + box["height"] * 0.2)
        expect(told).not_to_have_text(first)
        # What is read half way along lies half way along the axis: between its neighbours in the data.
        with view.expect_download() as taken:
            figure.get_by_text("The data of this picture").click()
            figure.get_by_role("link", name="pull.csv").click()
        assert taken.value.suggested_filename == "pull.csv"
        rows = list(csv.DictReader(io.StringIO(Path(taken.value.path()).read_text(encoding="utf-8"))))
        lift = float(re.match(r"lift ([\d.]+)", first)[1])
        near = min(rows, key=lambda r: abs(float(r["lift [mm]"]) - lift))
        assert float(re.search(r"pull ([\d.]+)", first)[1]) == pytest.approx(float(near["middle [N]"]), rel=0.06)
        along = figure.get_by_role("slider")
        along.focus()
        along.press("Home")
        expect(told).to_have_text(re.compile(r"^lift 0(\.00)? mm"))
        along.press("ArrowRight")
        expect(told).not_to_have_text(re.compile(r"^lift 0(\.00)? mm"))
        assert along.get_attribute("aria-valuetext") == told.inner_text()
        accessible(view)
        fits(view)


def test_a_finger_reads_values_too_and_a_map_says_what_is_nearest(browser, playwright, bench):
    _, address, _, carry = bench
    with phone(browser, playwright, address) as view:
        places = (("time", "time", r" on (Wren|Albatross): \d"), ("base", "base-map", r"of the middle: .* to spare"))
        for part, name, says in places:
            view.goto(f"/carry/{carry.id}/{part}")
            figure = view.locator(f"figure#{name}")
            figure.locator("svg").tap()
            expect(figure.locator(".told")).to_have_text(re.compile(says))
        accessible(view)
        fits(view)


def test_without_script_the_data_is_a_table_and_files(browser, playwright, bench):
    _, address, _, carry = bench
    with phone(browser, playwright, address, size="desk", java_script_enabled=False) as view:
        view.goto(f"/carry/{carry.id}/layers")
        figure = view.locator("figure#pull")
        expect(figure.locator(".told")).to_have_count(0)
        figure.get_by_text("The data of this picture").click()
        expect(figure.get_by_role("columnheader", name="lift [mm]")).to_be_visible()
        with view.expect_download() as taken:
            figure.get_by_role("link", name="pull.svg").click()
        assert taken.value.suggested_filename == "pull.svg"


def test_two_phones_and_the_desk_see_one_run(browser, playwright, bench):
    _, address, world, carry = bench
    with (
        phone(browser, playwright, address, size="desk") as desk,
        phone(browser, playwright, address) as one,
        phone(browser, playwright, address) as two,
    ):
        desk.goto(f"/carry/{carry.id}")
        desk.get_by_role("button", name="Run it", exact=True).click()
        for view in (one, two):
            view.goto(desk.url)
        one.get_by_role("button", name="It has started").click()
        for view in (one, two, desk):
            expect(view.get_by_role("button", name="Done", exact=True)).to_be_visible()
        world.ahead_s += carry.sheet.hand.visits[0].at_s
        expect(two.locator("#count")).to_have_text(re.compile("now|late by"))
        expect(two.locator("#run")).to_have_attribute("data-called", re.compile(r"[1-9]"))
        # Both tap the same change: it is made once.
        done = [view.get_by_role("button", name="Done", exact=True) for view in (one, two)]
        for button in done:
            button.click()
        for view in (one, two, desk):
            expect(view.get_by_role("row", name=re.compile(r"\bdone\b"))).to_have_count(1)
        assert [len(r.steps) >= 2 for r in bench[0].state.desk.runs.all()] == [True]


def test_cancelling_stops_a_carry_and_leaves_the_question(browser, playwright, tmp_path, monkeypatch):
    monkeypatch.delenv("VATWRIGHT_TEST_CACHE", raising=False)  # with nothing kept there is something to stop
    with bench_at(tmp_path) as (app, address, _), phone(browser, playwright, address, size="desk") as view:
        view.goto("/carry")
        view.get_by_role("button", name="Start from the demo job").click()
        view.get_by_role("button", name="Work out the sheet").click()
        view.get_by_role("button", name="Stop").click()
        expect(view.get_by_text("was stopped")).to_be_visible()
        assert app.state.desk.work.going() == []
