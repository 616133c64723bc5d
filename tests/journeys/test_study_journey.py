"""Studying parts through the real command."""

from __future__ import annotations

import numpy as np
import pytest
from PIL import Image
from tests.files.part_files import CUBE, CUBE_FACES, binary_stl, obj, one_object, ply, three_mf
from tests.journeys.conftest import box, vatwright
from tests.journeys.published_json import all_finite, mistakes, parsed

PROMISED = {
    "layer_mm", "layers", "height_mm", "volume_mm3", "area_mm2", "perimeter_mm", "islands", "torsion_mm4", "peak", "fresh",
    "pockets", "closed", "overlap_mm3", "warnings",
}  # fmt: skip
ARRAYS = ("area_mm2", "perimeter_mm", "islands", "torsion_mm4")
TEN = CUBE * 10.0
WRITTEN = {
    "cube.stl": binary_stl(TEN[CUBE_FACES]),
    "cube.obj": obj(TEN, CUBE_FACES.tolist()),
    "cube.ply": ply(TEN, CUBE_FACES.tolist(), "binary_little_endian"),
    "cube.3mf": three_mf(one_object(TEN, CUBE_FACES)),
}


def studied(folder, *words, code=0):
    data = parsed(vatwright("study", *words, "--json", cwd=folder, code=code).out)
    assert mistakes(data, "study-1") == []
    assert set(data) >= PROMISED
    assert next(iter(data)) == "schema"
    assert data["schema"] == "vatwright.study/1"
    assert all_finite(data)
    assert {len(data[key]) for key in ARRAYS} == {data["layers"]}
    return data


@pytest.mark.parametrize("name", WRITTEN)
def test_a_cube_is_the_same_cube_in_every_format(tmp_path, name):
    (tmp_path / name).write_bytes(WRITTEN[name])
    unit = [] if name.endswith("3mf") else ["--unit", "mm"]
    data = studied(tmp_path, name, *unit)
    # A cube of 10 mm at 0.05 mm: 200 layers of 100 mm2, 1000 mm3 (closed form).
    assert (data["layers"], data["layer_mm"], data["closed"], data["warnings"]) == (200, 0.05, True, [])
    assert data["area_mm2"] == pytest.approx([100.0] * 200, rel=1e-9)
    assert data["volume_mm3"] == pytest.approx(1000.0, rel=1e-9)
    assert data["height_mm"] == pytest.approx(10.0)
    assert data["peak"]["area_mm2"] == pytest.approx(100.0)


def test_other_layers_counts_machines_and_several_parts(bench):
    data = studied(bench, "tile.stl", "parts/cup.stl", "--unit", "mm", "--layer-mm", "0.1", "--count", "2")
    assert data["pieces"] == 4
    assert data["layer_mm"] == 0.1
    assert data["islands"][0] == 4
    micro = studied(bench, "tile.stl", "--unit", "mm", "--layer-mm", "40um")
    assert (micro["layer_mm"], micro["layers"]) == (0.04, 50)
    on = studied(bench, "tile.stl", "--unit", "mm", "--count", "100", "--machine", "Wren", "--shop", "shop.toml")
    # Tiles of 20 mm with 3 mm between them, on 147 x 89 mm: 6 x 20 + 5 x 3 = 135, and 4 x 20 + 3 x 3 = 89 just fits.
    assert on["pieces"] == 24
    assert on["warnings"] == ["the 100 pieces need 5 plates of Wren: this is the fullest one, with 24 of them"]


def test_the_text_names_what_the_plate_demands(bench):
    text = vatwright(
        "study", "parts/lantern.stl", "parts/cup.stl", "--unit", "mm", "--count", "1", cwd=bench, code=0
    ).out
    assert text.startswith("lantern.stl, cup.stl\n2 pieces, 1,040 layers of 0.05 mm, 52.0 mm tall")
    for word in ("area", "perimeter", "torsion", "islands", "sealed pocket", "Layers count from 0"):
        assert word in text
    assert max(len(line) for line in text.splitlines()) <= 100


def test_a_folder_of_bitmaps_is_a_part(tmp_path):
    y, x = (np.mgrid[:300, :300] - 149.5) * 0.05
    disc = np.where(x * x + y * y <= 36.0, 255, 0).astype(np.uint8)
    (tmp_path / "layers").mkdir()
    for number in range(8):
        Image.fromarray(disc).save(tmp_path / "layers" / f"{number}.png")
    data = studied(tmp_path, "layers", "--pixel-mm", "0.05")
    assert data["layers"] == 8
    # Gauss: pixels in a circle differ from its area by at most 2 sqrt(2) pi r, in pixels.
    assert data["area_mm2"] == pytest.approx([np.pi * 36.0] * 8, abs=2 * np.sqrt(2) * np.pi * 6.0 * 0.05)
    several = studied(tmp_path, "layers", "--pixel-mm", "50um", "--count", "3")
    assert several["area_mm2"] == pytest.approx([3 * data["area_mm2"][0]] * 8)


@pytest.mark.parametrize(("size_mm", "unit"), [(52.0, "in"), (52.0 / 25.4, "mm")])
def test_a_part_25_4_times_off_is_questioned(tmp_path, size_mm, unit):
    """A lantern of 52 mm read as inches, and one drawn in inches read as millimetres."""
    (tmp_path / "lantern.stl").write_bytes(binary_stl(box((size_mm * 0.6, size_mm * 0.6, size_mm * 0.95))))
    said = studied(tmp_path, "lantern.stl", "--unit", unit, "--layer-mm", "1" if unit == "in" else "0.05")["warnings"]
    assert any("check the unit" in warning for warning in said)


def test_parts_drawn_into_each_other_and_bad_meshes_are_told(tmp_path):
    (tmp_path / "a.stl").write_bytes(binary_stl(box((20, 10, 10))))
    (tmp_path / "b.stl").write_bytes(binary_stl(box((20, 10, 10), (10, 5, 0))))
    (tmp_path / "open.stl").write_bytes(binary_stl(box((10, 10, 10))[:-1]))
    together = studied(tmp_path, "a.stl", "b.stl", "--unit", "mm")
    assert together["warnings"] == [
        "a.stl and b.stl stand in each other's rectangle: where they overlap, area counts twice"
    ]
    opened = studied(tmp_path, "open.stl", "--unit", "mm")
    assert opened["closed"] is False
    assert "the mesh is open in" in " ".join(opened["warnings"])
