"""Pictures of every page of the bench on the demo workshop, at a desk and on a phone: ``.venv/bin/python tools/pictures.py``.

Writes docs/pictures/bench-PAGE-desk.png and bench-PAGE-phone.png.  Needs chromium; CHROMIUM says where it is.
"""

from __future__ import annotations

# ruff: noqa: INP001, T201 - a program of the workshop, not a part of the package
import io
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.web.browser import ARGS, CHROMIUM  # noqa: E402
from tests.web.run_bench import bench_at, carried  # noqa: E402

from vatwright.interfaces.cli.main import outcome  # noqa: E402
from vatwright.interfaces.web.desk import DEMO_JOB  # noqa: E402
from vatwright.interfaces.web.page_list import PAGES  # noqa: E402
from vatwright.wiring import demo_folder  # noqa: E402

FOLDER = ROOT / "docs" / "pictures"
SIZES = {"desk": {"width": 1120, "height": 760}, "phone": {"width": 390, "height": 780}}
MOST_BYTES = 150_000
COLOURS = 96

Way = Callable[[Page, str], None]


def _opened(address: str) -> Way:
    return lambda page, _carry: page.goto(address) and None


def _sheet(page: Page, carry: str) -> None:
    page.goto(f"/carry/{carry}")


def _plots(page: Page, carry: str) -> None:
    page.goto(f"/carry/{carry}")
    picture = page.locator("figure#pull svg")
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box() or {"width": 0.0, "height": 0.0}
    picture.hover(position={"x": box["width"] * 0.4, "y": box["height"] * 0.5})
    page.mouse.wheel(0, 120)


def _run(page: Page, carry: str) -> None:
    page.goto(f"/carry/{carry}")
    page.get_by_role("button", name="Run it now").click()
    page.get_by_role("button", name="It has started").click()
    page.get_by_role("button", name="Done", exact=True).wait_for()
    page.evaluate("scrollTo(0, 0)")


def _level(page: Page, _carry: str) -> None:
    page.goto("/level")
    page.get_by_role("link", name="The demo's readings").click()
    page.evaluate("scrollTo(0, 0)")


BEYOND: dict[str, Way] = {
    "carry-sheet": _sheet,
    "carry-plots": _plots,
    "run-now": _run,
    "level-answer": _level,
    "calc-formula": _opened("/calc/disc_torsion?radius_mm=10"),
}
"""Pages that stand behind a front page: how to get there."""


def small(png: bytes) -> bytes:
    """Return a picture with few colours, which pages of text need no more of."""
    for colours in (COLOURS, 48, 24):
        out = io.BytesIO()
        picture = Image.open(io.BytesIO(png)).convert("RGB")
        picture.quantize(colours, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
        if out.tell() <= MOST_BYTES:
            break
    return out.getvalue()


NOTED = (("held", "first_layer_um=66+-8"), ("held", "run_time_s=20300"), ("failed", "base_let_go@rear-left"))
"""What was noted in the workshop whose notebook is shown."""

OF_NOTEBOOK = ("notebook", "learn", "shop")


def _filled(folder: Path) -> None:
    """Make a notebook of the demo workshop with a few runs in it."""
    store = ["--store", str(folder / "notebook.sqlite")]
    outcome(["shop", "init", "--demo", *store])
    job = str(demo_folder() / DEMO_JOB)
    for n, said in enumerate(NOTED):
        day = ["--run", f"spring {n + 1}", "--at", f"2026-03-0{n + 2}T18:30:00+01:00", "--no-prediction"]
        outcome(["note", job, *said, *day, *store])


def taken(browser: Browser, address: str, carry: str, ways: dict[str, Way]) -> None:
    """Take pictures of a bench at both sizes."""
    for size, viewport in SIZES.items():
        context = browser.new_context(
            viewport=viewport, base_url=address, has_touch=size == "phone", color_scheme="light"
        )
        page = context.new_page()
        for name, way in ways.items():
            way(page, carry)
            page.wait_for_timeout(1500)  # a run asks again for ever, so no network is ever idle
            page.wait_for_function("!document.querySelector('progress')")  # work that began with the page
            kept = small(page.screenshot())
            (FOLDER / f"bench-{name}-{size}.png").write_bytes(kept)
            print(f"bench-{name}-{size}.png {len(kept) / 1000:.0f} kB")
        context.close()


def main() -> None:
    """Take them all, or those that are named."""
    FOLDER.mkdir(exist_ok=True)
    ways = {page.slug or "today": _opened(f"/{page.slug}") for page in PAGES} | BEYOND
    wanted = sys.argv[1:] or list(ways)
    empty = {n: ways[n] for n in wanted if n not in OF_NOTEBOOK}
    filled = {n: ways[n] for n in wanted if n in OF_NOTEBOOK}
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        for some, fill in ((empty, False), (filled, True)):
            with tempfile.TemporaryDirectory() as folder:
                if fill:
                    _filled(Path(folder))
                with bench_at(Path(folder)) as (app, address, _):
                    if some:
                        taken(browser, address, carried(app).id, some)
        browser.close()


if __name__ == "__main__":
    os.chdir(ROOT)
    main()
