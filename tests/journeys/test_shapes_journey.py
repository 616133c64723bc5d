"""A vase, a thin plate and mixed heights: in each the first screen holds the thing to do."""

from __future__ import annotations

import shutil

import manifold3d
import numpy as np
import pytest
from tests.files.part_files import binary_stl
from tests.journeys.conftest import TILES, box

from vatwright.interfaces.cli.main import outcome
from vatwright.wiring import demo_folder

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
