"""Today in a browser: what is due on the machines of one's own shop."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect
from tests.web.browser import accessible, browser_type_launch_args, fits
from tests.web.run_bench import bench_at, phone

from vatwright import wiring
from vatwright.interfaces.web import shelf
from vatwright.records.stock import FittedFilm

__all__ = ["browser_type_launch_args"]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with bench_at(tmp_path_factory.mktemp("upkeep")) as found:
        yield found


@pytest.mark.parametrize("size", ["phone", "desk"])
def test_today_says_what_is_due_and_where_to_say_that_it_is_done(browser, playwright, bench, size):
    app, address, _ = bench
    with phone(browser, playwright, address, size=size) as view:
        if size == "phone":  # nothing of the demo workshop is due
            view.goto("/")
            expect(view.get_by_role("heading", name="What is due")).to_have_count(0)
            worn = FittedFilm(name="Heron, film 3", machine="Heron", layers=31_000)
            shelf.keep_entries(app.state.desk, [*wiring.demo_entries(), worn], what="the shop")
        view.goto("/")
        due = view.get_by_role("region", name="What is due")
        expect(due).to_contain_text("Heron: change the film. Film 3 has released 31,000 layers")
        fits(view)
        accessible(view)
        due.get_by_role("link", name="Shop").click()
        view.locator('a[href*="kind=machine&name=Heron"]').click()
        expect(view.get_by_label("Film is due after, layers")).to_be_visible()
