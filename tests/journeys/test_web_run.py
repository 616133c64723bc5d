"""A run beside the machine in a browser: three changes by hand, one late, one without a connection, the phone reloaded."""

from __future__ import annotations

import re

import httpx
import pytest
from playwright.sync_api import expect
from tests.web.browser import accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, carried, phone

__all__ = ["browser_type_launch_args"]


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with bench_at(tmp_path_factory.mktemp("run")) as found:
        app = found[0]
        yield (*found, carried(app, visits=3))


def put_on(bench):
    """The API's answer for a new run of the demo carry."""
    _, address, _, carry = bench
    return httpx.post(f"{address}/api/v1/runs", json={"work": carry.work.id}, timeout=60.0).raise_for_status().json()


def ended(bench, run):
    """End a run, so that its machine is free."""
    said = {"id": f"ended-{run}", "kind": "ended"}
    httpx.post(f"{bench[1]}/api/v1/runs/{run}/taps", json=said, timeout=60.0).raise_for_status()


@pytest.fixture(autouse=True)
def _the_machine_is_free_again(bench):
    """End what a test has left running."""
    yield
    for run in httpx.get(f"{bench[1]}/api/v1/runs", timeout=60.0).json():
        if run["state"] != "ended":
            ended(bench, run["run"])


def stands(bench, run):
    return httpx.get(f"{bench[1]}/api/v1/runs/{run}", timeout=60.0).json()


def test_three_changes_one_late_one_offline_and_a_reload(browser, playwright, bench):
    _, address, world, carry = bench
    visits = carry.sheet.hand.visits
    assert len(visits) == 3
    with phone(browser, playwright, address) as view:
        view.goto(f"/carry/{carry.id}")
        view.get_by_role("button", name="Run it", exact=True).click()
        run = view.url.rsplit("/", 1)[1]
        expect(view.get_by_role("heading", level=2).first).to_have_text(
            f"Set settle to {carry.sheet.hand.start_value:g} s"
        )
        fits(view)
        targets_are_large(view)
        accessible(view)
        view.get_by_role("button", name="It has started").click()
        done = view.get_by_role("button", name="Done", exact=True)
        expect(done).to_be_visible()
        assert done.bounding_box()["height"] >= 80

        # The first on time: called before it is due.
        world.ahead_s += visits[0].at_s - 30.0
        expect(view.locator("#count")).to_have_text(re.compile(r"in 00:[12]\d"))
        expect(view.locator("#run")).to_have_attribute("data-called", re.compile(r"[1-9]"))
        world.ahead_s += 30.0
        done.click()
        expect(view.locator("tr.next")).to_contain_text(f"{visits[1].value:g} s")

        # The second two minutes late, the phone reloaded meanwhile.
        due = stands(bench, run)["ahead"][0]["due_s"]
        world.ahead_s += due - stands(bench, run)["elapsed_s"] + 120.0
        expect(view.locator("#count")).to_have_text(re.compile(r"late by 02:0\d"))
        expect(view.locator(".act.late")).to_be_visible()
        accessible(view)
        view.reload()
        expect(view.locator("#count")).to_have_text(re.compile(r"late by 02:\d\d"))
        done.click()
        expect(view.locator("table.run-list")).to_contain_text("done, 2 min")

        # The third without a connection: the tap counts from when it was tapped.
        due = stands(bench, run)["ahead"][0]["due_s"]
        world.ahead_s += due - stands(bench, run)["elapsed_s"]
        expect(view.locator("#count")).to_have_text(re.compile("now|late by 00"))
        view.context.set_offline(True)
        tapped = stands(bench, run)["elapsed_s"]
        done.click()
        expect(view.locator("#link")).to_contain_text("1 tap kept to send")
        expect(view.get_by_role("heading", name="Nothing more to do by hand")).to_be_visible()
        world.ahead_s += 90.0
        assert len(stands(bench, run)["answered"]) == 2
        view.context.set_offline(False)
        expect(view.get_by_role("heading", name="Nothing to do by hand")).to_be_visible()
        expect(view.locator("#link")).to_be_hidden()
        third = stands(bench, run)["answered"][2]
        assert abs(third["at_s"] - tapped) < 60.0
        accessible(view)
        fits(view)

        # Another phone sees the same; what it takes back is back here.
        with phone(browser, playwright, address, size="desk") as other:
            other.goto(f"/run/{run}")
            expect(other.get_by_role("row", name=re.compile("done"))).to_have_count(3)
            other.get_by_role("button", name="Take back: done").press("Enter")
            expect(view.get_by_role("button", name="Done", exact=True)).to_be_visible()
            accessible(other)
        view.get_by_role("button", name="Done", exact=True).click()
        world.ahead_s += carry.sheet.hand.total_s
        view.get_by_role("button", name="It has ended").click()
        expect(view.get_by_role("heading", name="Ended after")).to_be_visible()


def test_later_could_not_and_no_script(browser, playwright, bench):
    _, address, world, _ = bench
    run = put_on(bench)["run"]
    with phone(browser, playwright, address, java_script_enabled=False) as view:
        view.goto(f"/run/{run}")
        view.get_by_role("button", name="It has started").click()
        first = stands(bench, run)["ahead"][0]
        world.ahead_s += first["due_s"]
        view.get_by_role("button", name="Later").click()
        assert stands(bench, run)["ahead"][0] == first
        view.get_by_role("button", name="Could not").click()
        expect(view.locator("table.run-list")).to_contain_text("could not be done")
        now = stands(bench, run)
        assert first["visit"] not in [v["visit"] for v in now["ahead"]]
        assert now["short_layers"] == []  # a value that stays higher is enough for every layer
        assert now["ahead"][0]["due_s"] > now["elapsed_s"]


def test_the_same_tap_twice_is_one_and_the_first_answer_counts(bench):
    _, address, world, _ = bench
    run = put_on(bench)["run"]
    taps = f"{address}/api/v1/runs/{run}/taps"

    def tap(number, kind, **said):
        return httpx.post(taps, json={"id": f"tap-{number:04d}", "kind": kind, **said}, timeout=60.0)

    tap(1, "started")
    visit = stands(bench, run)["ahead"][0]["visit"]
    world.ahead_s += 60.0
    once = tap(2, "done", about=visit).json()
    world.ahead_s += 60.0
    twice = tap(2, "done", about=visit).json()
    other = tap(3, "could_not", about=visit).json()
    assert [once["answered"], twice["answered"]] == [other["answered"]] * 2
    assert tap(4, "done", about="nothing").json()["answered"] == other["answered"]
    assert httpx.post(f"{address}/api/v1/runs/nobody/taps", json={"id": "tap-0005", "kind": "done"}).status_code == 404
    assert httpx.post(taps, json={"id": "x", "kind": "done"}).status_code == 422
    beyond = tap(5, "layer", layer=1_000_000)
    assert beyond.status_code == 422
    assert f"0 to {stands(bench, run)['layers'] - 1}" in beyond.text


def test_done_far_too_early_is_questioned_at_once(browser, playwright, bench):
    _, address, world, carry = bench
    run = put_on(bench)["run"]
    first, second = carry.sheet.hand.visits[:2]
    with phone(browser, playwright, address) as view:
        view.goto(f"/run/{run}")
        view.get_by_role("button", name="It has started").click()
        expect(view.get_by_text("Other pages")).to_be_visible()
        expect(view.get_by_role("link", name="Carry")).to_be_hidden()  # the act comes first
        done = view.get_by_role("button", name="Done", exact=True)
        world.ahead_s += 10.0
        done.click()
        ask = view.locator("#ask")
        expect(ask).to_contain_text(re.compile(r"\d\d:\d\d early: the base would get .* instead of .* and may let go"))
        accessible(view)
        fits(view)
        targets_are_large(view)
        view.get_by_role("button", name="Not yet").click()
        expect(ask).to_be_hidden()
        assert stands(bench, run)["answered"] == []
        done.click()
        view.get_by_role("button", name="Yes, it is set").click()
        expect(view.locator(".act .big")).to_have_text(f"{carry.sheet.hand.start_value:g} s")  # set it back now
        assert len(stands(bench, run)["answered"]) == 1
    # the same without a script
    ended(bench, run)
    run = put_on(bench)["run"]
    with phone(browser, playwright, address, java_script_enabled=False) as view:
        view.goto(f"/run/{run}")
        view.get_by_role("button", name="It has started").click()
        view.get_by_role("button", name="Done", exact=True).click()
        expect(view.get_by_role("alert")).to_contain_text("early: the base would get")
        view.get_by_role("link", name="Not yet").click()
        assert stands(bench, run)["answered"] == []
    assert second.value != first.value


def test_without_a_connection_the_next_change_follows_at_once_even_after_a_reload(browser, playwright, bench):
    _, address, world, carry = bench
    run = put_on(bench)["run"]
    visits = carry.sheet.hand.visits
    with phone(browser, playwright, address) as view:
        view.goto(f"/run/{run}")
        view.get_by_role("button", name="It has started").click()
        expect(view.get_by_role("button", name="Done", exact=True)).to_be_visible()
        view.evaluate("navigator.serviceWorker.ready.then(() => true)")
        view.reload()  # the worker now stands between this page and the network
        world.ahead_s += visits[0].at_s
        expect(view.locator("#count")).to_have_text(re.compile("now|late by 00"), timeout=10_000)
        view.context.set_offline(True)
        view.get_by_role("button", name="Done", exact=True).click()
        expect(view.locator(".act .big")).to_have_text(f"{visits[1].value:g} s")
        expect(view.locator("#link")).to_contain_text("1 tap kept to send")
        view.reload()
        expect(view.locator("#link")).to_contain_text("No connection", timeout=20_000)
        expect(view.locator(".act .big")).to_have_text(f"{visits[1].value:g} s")
        expect(view.locator("#count")).to_have_text(re.compile(r"in \d\d:\d\d"))
        view.context.set_offline(False)
        expect(view.locator("#link")).to_be_hidden(timeout=30_000)
        assert [a["said"] for a in stands(bench, run)["answered"]] == ["done"]


def test_a_machine_that_runs_takes_no_second_run(browser, playwright, bench):
    _, address, _, carry = bench
    first = put_on(bench)["run"]
    httpx.post(f"{address}/api/v1/runs/{first}/taps", json={"id": "tap-start", "kind": "started"}, timeout=60.0)
    second = httpx.post(f"{address}/api/v1/runs", json={"work": carry.work.id}, timeout=60.0)
    assert second.status_code == 422
    assert "already" in second.text
    with phone(browser, playwright, address) as view:
        view.goto("/run")
        expect(view.locator(".steps .which").first).to_have_text(carry.sheet.target)


def test_the_layer_that_the_machine_shows_sets_the_clock_and_asks_for_the_value_due_now(browser, playwright, bench):
    _, address, _, carry = bench
    run = put_on(bench)["run"]
    first, second = carry.sheet.hand.visits[:2]
    last = len(carry.sheet.layers.clock_s) - 1
    with phone(browser, playwright, address) as view:
        view.goto(f"/run/{run}")
        view.get_by_role("button", name="It has started").click()
        view.get_by_text("The machine shows another layer").click()
        shown = view.get_by_label(re.compile(f"counted from 0 as on the sheet, up to {last}"))
        shown.fill(str(last + 1))
        view.get_by_role("button", name="Set the clock by it").click()
        assert shown.evaluate(
            "field => field.validity.rangeOverflow"
        )  # refused where it is typed, with the range beside it
        shown.fill(str((first.layer + second.layer) // 2))
        view.get_by_role("button", name="Set the clock by it").click()
        expect(view.locator(".act .big")).to_have_text(f"{first.value:g} s")  # whatever was due before has passed
        expect(view.locator("#count")).to_have_text(re.compile("now|late by"))
        view.get_by_role("button", name="Done", exact=True).click()
        expect(view.locator(".act .big")).to_have_text(f"{second.value:g} s")
        fits(view)
        accessible(view)
    beyond = {"id": "tap-beyond", "kind": "layer", "layer": last + 1}
    said = httpx.post(f"{address}/api/v1/runs/{run}/taps", json=beyond, timeout=60.0)
    assert said.status_code == 422
    assert str(last) in said.text
