"""A bench that really listens, and the browser that opens it.  Import the fixtures where they are used."""

from __future__ import annotations

import os
import socket
import threading
from pathlib import Path

import pytest
import uvicorn
from playwright.sync_api import Page
from tests import real_meshes

from vatwright.interfaces.web.app import make_app
from vatwright.interfaces.web.settings import BenchSettings

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
ARGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-dev-shm-usage",
]
SIZES = {"desk": {"viewport": {"width": 1280, "height": 800}}, "phone": "Pixel 5"}
NARROW = {"width": 360, "height": 760}
LONG_MS = 240_000
"""A first carry compiles and studies; nothing here measures time."""

AXE = "axe-core-4.14.1.tgz"
real_meshes.PACKAGES.setdefault(
    AXE, ("npm", "axe-core@4.14.1", "e6b0ce02b84d892e2e33e403485e7f3d6c29e2be6df65daf44d89ba564139745")
)
"""The accessibility checker (MPL 2.0) comes from the registry for the tests alone."""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args):
    assert Path(CHROMIUM).exists(), "Install chromium, or say where it is in CHROMIUM"
    return {**browser_type_launch_args, "executable_path": CHROMIUM, "headless": True, "args": ARGS}


@pytest.fixture(scope="session")
def listening(tmp_path_factory):
    """The address of a bench on the demo workshop, listening for the length of the session."""
    with pytest.MonkeyPatch.context() as patch:
        patch.delenv("VATWRIGHT_SHOP", raising=False)
        patch.setenv("VATWRIGHT_STORE", str(tmp_path_factory.mktemp("none") / "no-notebook.sqlite"))
        patch.setenv(
            "VATWRIGHT_CACHE", os.environ.get("VATWRIGHT_TEST_CACHE") or str(tmp_path_factory.mktemp("studies"))
        )
        port = free_port()
        app = make_app(BenchSettings(port=port))
        config = uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning", proxy_headers=False)
        server = uvicorn.Server(config)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        while not server.started and thread.is_alive():
            thread.join(0.05)
        yield f"http://127.0.0.1:{port}"
        server.should_exit = True
        thread.join(10.0)


@pytest.fixture(params=list(SIZES))
def size(request):
    return request.param


@pytest.fixture
def view(browser, playwright, listening, size):
    """A page at desk or phone size that has had nothing to complain of by its end."""
    said = SIZES[size]
    if isinstance(said, str):
        said = {k: v for k, v in playwright.devices[said].items() if k != "default_browser_type"}
    with_complaints = _Watched(browser.new_context(**said, base_url=listening), listening)
    yield with_complaints.page
    with_complaints.close()
    assert with_complaints.complaints == []


class _Watched:
    """A browser context whose console errors, page errors and requests beyond this computer are noted."""

    def __init__(self, context, address):
        self.complaints = []
        self._context = context
        self.page: Page = context.new_page()
        self.page.set_default_timeout(30_000)
        self.page.on("console", self._said)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on(
            "request",
            lambda r: None if r.url.startswith((address, "data:")) else self.complaints.append(r.url),
        )

    def _said(self, message):
        # A page that tells mistakes has a status that says so, which the browser logs as an error of loading.
        if message.type in ("error", "warning") and not any(
            s in message.text for s in ("status of 422", "status of 404")
        ):
            self.complaints.append(message.text)

    def close(self):
        self._context.close()


def fits(page: Page):
    """Nothing is wider than the screen, at this size and at 360 px (WCAG 2.2, 1.4.10 asks for 320 px)."""
    page.wait_for_load_state()
    for width in (page.viewport_size["width"], 360, 320):
        page.set_viewport_size({**page.viewport_size, "width": width})
        wide = page.evaluate(
            """() => [...document.querySelectorAll("body *")].filter((e) => !e.closest(".wide, .skip, .unseen, thead")
                 && e.getBoundingClientRect().right > innerWidth + 1).map((e) => e.outerHTML.slice(0, 120))"""
        )
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), (width, page.url, wide[:3])


def targets_are_large(page: Page):
    """Whatever stands alone to be pressed is 48 px high on a phone (our own rule; WCAG 2.2, 2.5.8 asks for 24 px)."""
    page.wait_for_load_state()
    small = page.evaluate(
        """() => [...document.querySelectorAll("button, .row a, .steps a, .parts a, summary, select, input:not([type=hidden])")]
             .filter((e) => e.offsetParent && e.checkVisibility() && e.getBoundingClientRect().height < 47.5)
             .map((e) => [e.outerHTML.slice(0, 100), e.getBoundingClientRect().height])"""
    )
    assert small == [], small


def accessible(page: Page):
    """axe-core finds nothing against WCAG 2.2 A and AA, nor against its own best practices."""
    page.wait_for_load_state()
    page.evaluate(real_meshes.member(AXE, "package/axe.min.js").decode())
    found = page.evaluate(
        """() => axe.run(document, {runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]})"""
    )
    told = [(v["id"], v["impact"], [n["html"][:160] for n in v["nodes"]][:3]) for v in found["violations"]]
    assert told == [], page.url
