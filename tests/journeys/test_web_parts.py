"""Parts handed in by a browser: their size is shown with the unit it supposes, and what cannot be is told at once."""

from __future__ import annotations

import re

import pytest
from playwright.sync_api import expect
from tests.files.part_files import binary_stl
from tests.journeys.conftest import box
from tests.web.browser import accessible, browser_type_launch_args, fits, targets_are_large
from tests.web.run_bench import bench_at, phone

__all__ = ["browser_type_launch_args"]


@pytest.mark.parametrize("size", ["desk", "phone"])
def test_a_part_is_measured_when_it_is_handed_in(browser, playwright, tmp_path, size):
    inches, long, noise = (tmp_path / name for name in ("inches.stl", "long.stl", "noise.stl"))
    inches.write_bytes(binary_stl(box((4.7, 3, 2))))
    long.write_bytes(binary_stl(box((2000, 20, 20))))
    noise.write_bytes(bytes(range(1, 256)) * 9)
    with bench_at(tmp_path) as (app, address, _), phone(browser, playwright, address, size=size) as view:
        view.goto("/carry")
        view.locator("#part").set_input_files(noise)
        view.get_by_role("button", name="Take these parts").click()
        expect(view.get_by_role("alert")).to_contain_text("noise.stl")
        view.locator("#part").set_input_files([inches, long])
        view.get_by_role("button", name="Take these parts").click()
        unit = view.get_by_label("Its unit (inches.stl)")
        expect(unit).to_have_value("in")
        expect(unit.locator("option:checked")).to_have_text("in: 119 x 76.2 x 50.8 mm?")  # 4.7, 3 and 2 times 25.4
        view.get_by_label("Its unit (long.stl)").select_option("mm")
        fits(view)
        accessible(view)
        if size == "phone":
            targets_are_large(view)
        view.get_by_label("From recipe").select_option("slate on Wren")
        view.get_by_role("button", name="Work out the sheet").click()
        told = view.get_by_role("alert")
        expect(told).to_contain_text(re.compile("2000.0 x 20.0.mm and does not fit the platform"))
        assert app.state.desk.work.going() == []
        accessible(view)
