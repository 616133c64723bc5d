"""What is told of a part file before anything else is begun: that it is none, that it has no unit, that it fits nowhere."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given
from hypothesis import strategies as st
from tests.files.part_files import binary_stl
from tests.journeys.conftest import box

from vatwright.errors import InputError
from vatwright.files.first_look import guessed_unit, in_metres, require_usable, sides_of
from vatwright.files.parts.mesh import UNITS
from vatwright.files.read import read_shop
from vatwright.records.machine import Platform
from vatwright.records.part import PartUse
from vatwright.wiring import demo_folder

WREN = evolve(
    next(m for m in read_shop(demo_folder() / "shop.toml").machines if m.name == "Wren"),
    platform=Platform(width_m=0.15, depth_m=0.09), height_m=0.16,
)  # fmt: skip

OBJ = "\n".join(f"v {x} {y} {z}" for x in (0, 4) for y in (0, 3) for z in (0, 2)) + "\nf 1 2 3\nf 6 7 8\n"


@pytest.fixture
def part(tmp_path):
    """A part of some bytes and how it is used."""

    def made(content, name="part.stl", unit="mm"):
        (tmp_path / name).write_bytes(content)
        return PartUse(name="part", file=str(tmp_path / name), unit=unit)

    return made


def told(parts, machine=None):
    with pytest.raises(InputError) as problem:
        require_usable(parts, machine)
    return problem.value.mistakes


def test_sides_are_those_of_the_box(part):
    assert sides_of(Path(part(binary_stl(box((120, 80, 45)))).file)) == (120.0, 80.0, 45.0)
    assert sides_of(Path(part(OBJ.encode(), "part.obj").file)) == (4.0, 3.0, 2.0)


@given(st.floats(min_value=5.5, max_value=450.0), st.sampled_from(sorted(UNITS)))
def test_a_guessed_unit_gives_a_usual_size(side_mm, unit):
    scale = UNITS[unit]
    drawn = side_mm / 1000.0 * scale.over / scale.times
    guess = guessed_unit((drawn, drawn / 2, drawn / 3))
    assert 0.005 <= max(in_metres((drawn, 0.0, 0.0), guess)) <= 0.5  # USUAL_M: common practice, no source
    if unit == "mm":
        assert guess == "mm"


def test_nothing_usable_anywhere_is_told_at_once_with_every_part(part):
    long = part(binary_stl(box((2000, 20, 20))), "long.stl")
    tall = part(binary_stl(box((20, 20, 170))), "tall.stl")
    noise = part(bytes(range(256)) * 40, "noise.stl")
    bare = part(binary_stl(box((4.7, 3, 2))), "bare.stl", unit=None)
    found = told([long, tall, noise, bare], WREN)
    assert len(found) == 4
    for mistake, word in zip(
        found, ("does not fit the platform of Wren", "prints 160 mm", "counter", "no unit"), strict=True
    ):
        assert word in mistake.what
    assert "--unit in" in found[3].do  # 119 mm, where 4.7 mm would be smaller than anything usual
    require_usable([part(binary_stl(box((149, 89, 159))), "full.stl")], WREN)
    require_usable([long])  # without a machine nothing is said of fitting


def test_random_bytes_are_no_part(part):
    noise = np.random.default_rng(5).integers(0, 256, size=(40, 3000), dtype=np.uint8)
    for row in noise:
        assert told([part(row.tobytes())])


def test_a_whole_path_of_what_is_not_there_is_left_to_the_reader(tmp_path):
    require_usable([PartUse(name="x", file=str(tmp_path / "nothing.stl"), unit="mm")], WREN)
