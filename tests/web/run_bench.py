"""A bench that listens, with a clock of the world that can be put on, and a page whose complaints are noted."""

from __future__ import annotations

import os
import threading
import time
from contextlib import contextmanager

import pytest
import uvicorn
from tests.web.browser import SIZES, free_port

from vatwright.interfaces.web.app import make_app
from vatwright.interfaces.web.forms import CarryAsked
from vatwright.interfaces.web.settings import BenchSettings

OFFLINE = "ERR_INTERNET_DISCONNECTED"


class World:
    """The time of the world, put on by hand."""

    def __init__(self):
        self.ahead_s = 0.0

    def __call__(self):
        return time.time() + self.ahead_s


@contextmanager
def bench_at(folder, *, host="127.0.0.1", port=None, **said):
    """A bench with its notebook in a folder: the application, its address, the world's clock."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("VATWRIGHT_SHOP", raising=False)
        patch.setenv("VATWRIGHT_STORE", str(folder / "notebook.sqlite"))
        patch.setenv("VATWRIGHT_CACHE", os.environ.get("VATWRIGHT_TEST_CACHE") or str(folder / "studies"))
        port, world = port or free_port(), World()
        app = make_app(BenchSettings(host=host, port=port, now=world, **said))
        config = uvicorn.Config(app, host=host, port=port, log_level="warning", proxy_headers=False)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started and thread.is_alive():
            thread.join(0.05)
        yield app, f"http://127.0.0.1:{port}", world
        server.should_exit = True
        thread.join(10.0)


def carried(app, **said):
    """The demo job's sheet on the desk; what is said of the job goes before its file."""
    desk = app.state.desk
    carry = desk.demo_carry()
    carry.job = carry.job.model_copy(update=said)
    desk.begin(carry, CarryAsked(job=carry.job, part=list(carry.parts)))
    assert carry.work.ended.wait(240.0)
    assert carry.sheet is not None, carry.work.problem
    return carry


@contextmanager
def phone(browser, playwright, address, *, size="phone", fine=(), **more):
    """A page that has had nothing to complain of by its end, a lost connection and what is said to be fine apart."""
    said = SIZES[size]
    if isinstance(said, str):
        said = {k: v for k, v in playwright.devices[said].items() if k != "default_browser_type"}
    context = browser.new_context(**said, base_url=address, **more)
    page, complaints = context.new_page(), []
    page.set_default_timeout(30_000)
    fine = ("status of 422", "status of 404", OFFLINE, *fine)
    page.on(
        "console",
        lambda m: (
            complaints.append(m.text) if m.type in ("error", "warning") and not any(f in m.text for f in fine) else None
        ),
    )
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.on("request", lambda r: None if r.url.startswith((address, "data:")) else complaints.append(r.url))
    yield page
    context.close()
    assert complaints == [], complaints
