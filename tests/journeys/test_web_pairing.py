"""A phone is let in by the code on the desk's screen, goes on when the bench is opened again, and is sent away."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect
from tests.web.browser import accessible, browser_type_launch_args, fits, free_port, targets_are_large
from tests.web.qr import read
from tests.web.run_bench import OFFLINE, bench_at, carried, phone

from vatwright.interfaces.web.settings import is_loopback

__all__ = ["browser_type_launch_args"]

EVERYWHERE = "0.0.0.0"  # noqa: S104 - a bench of the test, open while it runs
REFUSED = ("status of 403",)
CLOSED = (*REFUSED, "ERR_CONNECTION_REFUSED", "ERR_CONNECTION_RESET", "ERR_EMPTY_RESPONSE", OFFLINE)


def from_beyond(address):
    """What makes a browser a phone where this computer has no network but its own: a request that was handed on."""
    alone = is_loopback(re.match(r"http://([\d.]+):", address)[1])
    return {"extra_http_headers": {"via": "1.1 test"}} if alone else {}


def shown_code(desk):
    """The address in the code on the desk's screen, read off the screen."""
    desk.goto("/pair")
    desk.get_by_role("button", name="Show a code").click()
    address = read(desk.locator(".code svg").screenshot())
    assert address == desk.locator(".address").inner_text()
    return address


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("pairing")


def test_a_phone_joins_by_the_code_goes_on_after_a_restart_and_is_sent_away(browser, playwright, folder):
    port = free_port()
    with bench_at(folder, host=EVERYWHERE, port=port) as (app, _, _world):
        at_desk = f"http://127.0.0.1:{port}"
        beyond = app.state.desk.settings.phone_address
        carry = carried(app, visits=1)
        run = app.state.desk.runs.put(carry.sheet, carry.work.about, passing=app.state.desk.tray.folder)
        with phone(browser, playwright, at_desk, size="desk") as desk:
            code = shown_code(desk)
            accessible(desk)
            fits(desk)
        assert code.startswith(f"{beyond}/pair/")
        with phone(browser, playwright, beyond, fine=REFUSED, **from_beyond(beyond)) as stranger:
            stranger.goto("/")
            expect(stranger.get_by_text("not paired")).to_be_visible()
        held = phone(browser, playwright, beyond, fine=CLOSED, **from_beyond(beyond))
        view = held.__enter__()
        view.goto(code)
        accessible(view)
        fits(view)
        targets_are_large(view)
        view.get_by_role("button", name="Join").click()
        expect(view.get_by_role("heading", name="What is next?")).to_be_visible()
        with phone(browser, playwright, beyond, fine=REFUSED, **from_beyond(beyond)) as second:
            second.goto(code)
            second.get_by_role("button", name="Join").click()
            expect(second.get_by_text("has been used")).to_be_visible()
            second.goto("/run")
            expect(second.get_by_text("not paired")).to_be_visible()
        view.goto(f"/run/{run.id}")
        view.get_by_role("button", name="It has started").click()
        expect(view.get_by_role("button", name="Done", exact=True)).to_be_visible()
    # The bench is closed: the clock goes on, and a tap is kept.
    expect(view.locator("#link")).to_contain_text("No connection", timeout=30_000)
    view.get_by_role("button", name="Done", exact=True).click()
    view.get_by_role("button", name="Yes, it is set").click()  # it is asked: the time has not come
    expect(view.locator("#link")).to_contain_text("1 tap kept to send")
    with bench_at(folder, host=EVERYWHERE, port=port) as (app, _, _world):
        expect(view.locator("#link")).to_be_hidden(timeout=30_000)
        expect(view.locator("table.run-list")).to_contain_text("done")
        with phone(browser, playwright, at_desk, size="desk") as desk:
            desk.goto(f"/run/{run.id}")  # the desk sees what the phone tapped
            expect(desk.locator("table.run-list")).to_contain_text("done")
            desk.goto(f"/carry/{carry.id}")  # and the sheet that was asked for before
            expect(desk.get_by_role("button", name="Run it", exact=True)).to_be_visible(timeout=120_000)
            desk.goto("/pair")
            desk.get_by_role("button", name="Send it away").click()
            expect(desk.get_by_role("button", name="Send it away")).to_have_count(0)
        expect(view.locator("#link")).to_contain_text("no longer paired")
        view.goto("/")
        expect(view.get_by_text("not paired")).to_be_visible()
        held.__exit__(None, None, None)
