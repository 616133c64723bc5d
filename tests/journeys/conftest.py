"""A workshop of its own for the journeys, and each long run of the command made once and shared."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest
import trimesh
from tests.files.part_files import binary_stl

TILES = """
[job]
name = "tiles"
shop = "shop.toml"
recipe = "tiles on Wren"
to = "Heron"
room_c = 20.0

[[recipe]]
name = "tiles on Wren"
machine = "Wren"
resin = "slate"
layer_mm = 0.05
base_layers = 4

[recipe.base]
exposure_s = 30
settle_s = 30

[recipe.body]
exposure_s = 2.6
settle_s = 2.0
peel_lift_mm = 2
peel_speed_mm_s = 1
clear_lift_mm = 3
clear_speed_mm_s = 3
return_speed_mm_s = 3

[recipe.proven]
runs = 5
room_c = 22
load = { pieces = 6, piece_area_mm2 = 400, height_mm = 10 }

[[part]]
name = "tile"
file = "tile.stl"
unit = "mm"
count = 6
"""
"""A job that takes seconds: six tiles of 20 x 20 x 2 mm."""


class Ran(NamedTuple):
    """What a run of the command left behind."""

    code: int
    out: str
    err: str


def vatwright(*words, cwd=None, env=None, code=None) -> Ran:
    """Run the command as a user does, in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "vatwright", *map(str, words)],
        cwd=cwd, env={**os.environ, **(env or {})}, capture_output=True, check=False,
    )  # fmt: skip
    ran = Ran(done.returncode, done.stdout.decode("utf-8"), done.stderr.decode("utf-8"))
    assert code is None or ran.code == code, ran
    return ran


def box(size, at=(0.0, 0.0, 0.0)):
    """The triangles of a box [mm] whose least corner stands at `at`."""
    solid = trimesh.creation.box(extents=size)
    return np.asarray(solid.vertices[solid.faces]) + np.asarray(at) + np.asarray(size) / 2.0


@pytest.fixture(scope="session", autouse=True)
def _studies_of_this_session_only(tmp_path_factory):
    """Keep studies among these runs, and touch none that the user has."""
    with pytest.MonkeyPatch.context() as patch:
        shared = os.environ.get("VATWRIGHT_TEST_CACHE")
        patch.setenv("VATWRIGHT_CACHE", shared or str(tmp_path_factory.mktemp("cache")))
        patch.delenv("VATWRIGHT_SHOP", raising=False)
        yield


@pytest.fixture(scope="session")
def demo_workshop(tmp_path_factory):
    """The demo workshop as `vatwright demo` lays it out."""
    folder = tmp_path_factory.mktemp("demo") / "workshop"
    vatwright("demo", folder, code=0)
    return folder


@pytest.fixture
def bench(tmp_path, demo_workshop):
    """A folder with the demo's shop, a small job and its part."""
    shutil.copy(demo_workshop / "shop.toml", tmp_path)
    shutil.copytree(demo_workshop / "parts", tmp_path / "parts")
    (tmp_path / "tile.stl").write_bytes(binary_stl(box((20, 20, 2))))
    (tmp_path / "tiles.toml").write_text(TILES, encoding="utf-8")
    return tmp_path


class Carried(NamedTuple):
    """One run of the main job: what was printed, and the folder with what was written."""

    to: str
    ran: Ran
    folder: Path


@pytest.fixture(scope="session")
def main_job(tmp_path_factory):
    """`vatwright demo --run`: the main job, onto the large machine, as text and every document."""
    folder = tmp_path_factory.mktemp("main") / "demo-out"
    return Carried("Albatross", vatwright("demo", "--run", folder), folder)


@pytest.fixture(scope="session")
def to_heron(tmp_path_factory, demo_workshop):
    """The main job onto the mid machine, as JSON, with every document."""
    folder = tmp_path_factory.mktemp("heron")
    outputs = [word for ending in ("html", "pdf", "csv") for word in (f"--{ending}", folder / f"sheet.{ending}")]
    ran = vatwright("carry", demo_workshop / "harbour-lanterns.toml", "--to", "Heron", "--json", *outputs)
    (folder / "carry-sheet.json").write_text(ran.out, encoding="utf-8")
    return Carried("Heron", ran, folder)


@pytest.fixture(scope="session")
def to_wren(tmp_path_factory, demo_workshop):
    """The main job onto the machine it was proven on, as JSON."""
    folder = tmp_path_factory.mktemp("wren")
    ran = vatwright("carry", demo_workshop / "harbour-lanterns.toml", "--to", "Wren", "--json")
    (folder / "carry-sheet.json").write_text(ran.out, encoding="utf-8")
    return Carried("Wren", ran, folder)


@pytest.fixture(scope="session", params=["main_job", "to_heron", "to_wren"])
def carried(request):
    """Each of the three machines in turn."""
    return request.getfixturevalue(request.param)
