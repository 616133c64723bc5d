"""The pictures of the documentation, taken of the bench on the demo workshop: ``make pictures``, or those that are named.

Writes docs/pictures/NAME.png.  Needs chromium; CHROMIUM says where it is.
"""

from __future__ import annotations

# ruff: noqa: INP001, T201 - a program of the workshop, not a part of the package
import io
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

from PIL import Image
from playwright.sync_api import Browser, Page, sync_playwright

ROOT = Path(__file__).parents[1]
sys.path.insert(0, str(ROOT))

from tests.web.browser import ARGS, CHROMIUM, LONG_MS  # noqa: E402
from tests.web.run_bench import bench_at, carried  # noqa: E402

FOLDER = ROOT / "docs" / "pictures"
DESK, PHONE = {"width": 1120, "height": 700}, {"width": 390, "height": 780}
COLOURS = 48
"""A page of text needs no more."""

Way = Callable[[Page, str], object]


def _sheet(page: Page, carry: str) -> None:
    page.goto(f"/carry/{carry}")


def _pull(page: Page, carry: str) -> None:
    page.goto(f"/carry/{carry}/layers")
    picture = page.locator("figure#pull svg").first
    picture.scroll_into_view_if_needed()
    box = picture.bounding_box() or {"width": 0.0, "height": 0.0}
    picture.hover(position={"x": box["width"] * 0.4, "y": box["height"] * 0.5})
    page.mouse.wheel(0, 160)


def _run(page: Page, carry: str) -> None:
    _sheet(page, carry)
    page.get_by_role("button", name="Run it", exact=True).click()
    page.get_by_role("button", name="It has started").click()
    page.get_by_role("button", name="Done", exact=True).wait_for()


class Picture(NamedTuple):
    """One picture: how to get there, of which size, in which language."""

    way: Way
    size: dict[str, int] = DESK
    language: str = "en"


PICTURES = {
    "sheet-desk": Picture(_sheet),
    "sheet-phone": Picture(_sheet, PHONE),
    "sheet-phone-german": Picture(_sheet, PHONE, "de"),
    "pull-desk": Picture(_pull),
    "run-phone": Picture(_run, PHONE),
}


def small(png: bytes) -> bytes:
    """Return a picture with few colours."""
    out = io.BytesIO()
    Image.open(io.BytesIO(png)).convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE).save(
        out, "PNG", optimize=True
    )
    return out.getvalue()


def taken(browser: Browser, address: str, carry: str, picture: Picture) -> bytes:
    """Return a picture of a page of the bench."""
    context = browser.new_context(
        viewport=picture.size, base_url=address, has_touch=picture.size is PHONE, color_scheme="light",
        locale=picture.language,
    )  # fmt: skip
    page = context.new_page()
    picture.way(page, carry)
    page.locator("progress").wait_for(state="detached", timeout=LONG_MS)
    page.wait_for_timeout(1000)  # a run asks again for ever, so no network is ever idle
    if picture.way is not _pull:
        page.evaluate("scrollTo(0, 0)")
    shown = page.screenshot()
    context.close()
    return small(shown)


def main() -> None:
    """Take them all, or those that are named."""
    wanted = sys.argv[1:] or list(PICTURES)
    with (
        sync_playwright() as play,
        tempfile.TemporaryDirectory() as folder,
        bench_at(Path(folder)) as (app, address, _),
    ):
        browser = play.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        carry = carried(app).id
        for name in wanted:
            png = taken(browser, address, carry, PICTURES[name])
            (FOLDER / f"{name}.png").write_bytes(png)
            print(f"{name}.png {len(png) / 1000:.0f} kB")
        browser.close()


if __name__ == "__main__":
    os.chdir(ROOT)
    main()
