"""A vase, a thin plate and mixed heights: in each the first screen holds the thing to do."""

from __future__ import annotations

import shutil

import manifold3d
import numpy as np
import pytest
from playwright.sync_api import expect
from tests.files.part_files import binary_stl
from tests.journeys.conftest import TILES, box
from tests.web.browser import LONG_MS, browser_type_launch_args
from tests.web.run_bench import bench_at, phone

from vatwright.interfaces.cli.main import outcome
from vatwright.wiring import demo_folder

__all__ = ["browser_type_launch_args"]

COARSE = {"layer_mm = 0.05": "layer_mm = 0.1", "_s = 30\n": "_s = 60\n", "_s = 2.6": "_s = 6", "runs = 5": "runs = 12"}
"""Half the layers, and light for them."""


def vase():
    """A beaker of 30 mm, 24 mm tall, its floor down: while it prints it is a cup on the film."""
    outside = manifold3d.Manifold.cylinder(24.0, 15.0, circular_segments=48)
    solid = (outside - manifold3d.Manifold.cylinder(24.0, 13.5, circular_segments=48).translate((0, 0, 1.5))).to_mesh()
    return np.asarray(solid.vert_properties)[:, :3][np.asarray(solid.tri_verts)]


def shapes():
    return {"vase": vase(), "plate": box((110, 60, 2)), "tile": box((20, 20, 2))}


@pytest.mark.parametrize(
    ("parts", "to_do"),
    [
        ({"vase": 1}, ("Vent its sealed pocket",)),
        ({"plate": 1}, ("tilt the part",)),
        ({"vase": 1, "tile": 8}, ("Vent its sealed pocket", "all 9")),
    ],
    ids=["a vase", "a thin plate", "mixed heights"],
)
def test_the_first_screen_holds_the_thing_to_do(tmp_path, monkeypatch, capsys, parts, to_do):
    monkeypatch.setenv("COLUMNS", "80")
    shutil.copy(demo_folder() / "shop.toml", tmp_path)
    shutil.copytree(demo_folder() / "parts", tmp_path / "parts")
    head = TILES.partition("[[part]]")[0]
    for old, new in COARSE.items():
        assert old in head
        head = head.replace(old, new)
    for name in parts:
        (tmp_path / f"{name}.stl").write_bytes(binary_stl(shapes()[name]))
        head += f'[[part]]\nname = "{name}"\nfile = "{name}.stl"\nunit = "mm"\ncount = {parts[name]}\n\n'
    (tmp_path / "job.toml").write_text(head, encoding="utf-8")
    assert outcome(["carry", str(tmp_path / "job.toml"), "--without-notebook"]) in (0, 1)
    screen = capsys.readouterr().out.split("\n")[:40]
    assert max(map(len, screen)) <= 80
    text = " ".join(" ".join(screen).split())
    for words in (*to_do, "Chance that it holds", "settle", "By hand"):
        assert words in text, text


def test_a_vase_beside_tiles_on_the_phone(browser, playwright, tmp_path):
    for name, corners in shapes().items():
        (tmp_path / f"{name}.stl").write_bytes(binary_stl(corners))
    with bench_at(tmp_path) as (_, address, _), phone(browser, playwright, address, size="phone") as view:
        view.set_viewport_size({"width": 390, "height": 844})
        view.goto("/carry")
        view.locator("#part").set_input_files([tmp_path / "vase.stl", tmp_path / "tile.stl"])
        view.get_by_role("button", name="Take these parts").click()
        for name in ("vase", "tile"):
            view.get_by_label(f"Its unit ({name}.stl)").select_option("mm")
        view.get_by_label("From recipe").select_option("slate on Wren")
        view.get_by_label("To machine").select_option("Heron")
        view.get_by_role("button", name="Work out the sheet").click()
        expect(view.get_by_role("button", name="Run it", exact=True)).to_be_visible(timeout=LONG_MS)
        expect(view.locator("header .verdict").first).to_be_in_viewport()
        expect(view.locator("main")).to_contain_text("Vent")
