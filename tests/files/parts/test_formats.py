"""A format of part files is one file: what it is called, how it is known and read follow from it everywhere."""

from __future__ import annotations

import ast
import sys
from pathlib import Path

import numpy as np
import pytest

from vatwright.errors import InputError
from vatwright.files import parts
from vatwright.files.parts import formats
from vatwright.files.parts.mesh import read_part
from vatwright.interfaces.web.uploads import Tray

CORNERS = """
import numpy as np

from vatwright.files.parts.formats import MeshFile, PartFormat


def read(kind, path, limits):
    numbers = np.array(path.read_text().split()[1:], dtype=float)
    return MeshFile(numbers.reshape(-1, 3, 3), [], unit="cm", unit_stated=True)


FORMAT = PartFormat(
    name="CORNERS", ending=".corners", read=read, has_unit=True,
    certain=lambda first: "CORNERS" if first.words[:1] == (b"corners",) else "",
)
"""


@pytest.fixture
def one_more(tmp_path, monkeypatch):
    """A folder of formats with one more file in it."""
    (tmp_path / "more").mkdir()
    (tmp_path / "more" / "corners.py").write_text(CORNERS, encoding="utf-8")
    monkeypatch.setattr(parts, "__path__", [*parts.__path__, str(tmp_path / "more")])
    formats.formats.cache_clear()
    yield
    formats.formats.cache_clear()
    sys.modules.pop("vatwright.files.parts.corners", None)


def test_a_format_is_added_by_one_file(one_more, tmp_path):
    path = tmp_path / "wedge.corners"
    path.write_text("corners\n0 0 0 1 0 0 0 1 0\n0 0 0 0 1 0 1 0 1\n", encoding="utf-8")
    part = read_part(path)
    assert (part.kind, part.unit, part.unit_origin) == ("CORNERS", "cm", "the file says so")
    assert np.max(part.corners_m) == 0.01
    assert ".corners" in formats.endings()
    assert not formats.needs_unit(".corners")
    with path.open("rb") as stream:
        assert Tray().keep("wedge.corners", stream).name == "wedge.corners"
    with pytest.raises(InputError, match="CORNERS"):
        read_part(_noise(tmp_path / "noise.bin"))


def _noise(path, size=3000):
    path.write_bytes(b"\x01" + np.random.default_rng(7).bytes(size))
    return path


def test_noise_called_a_part_is_refused_on_the_tray_and_not_kept(tmp_path):
    tray = Tray()
    with _noise(tmp_path / "n").open("rb") as stream, pytest.raises(InputError, match=r"^vase\.stl: its counter says"):
        tray.keep("vase.stl", stream)
    assert list(tray.folder.iterdir()) == []


def test_no_format_knows_the_reader_that_chooses_among_them():
    """The way down is mesh, formats' own files, limits and text; a format that imports mesh would close a circle."""
    for file in Path(parts.__path__[0]).glob("*.py"):
        names = {
            n.module for n in ast.walk(ast.parse(file.read_text(encoding="utf-8"))) if isinstance(n, ast.ImportFrom)
        }
        assert file.stem == "mesh" or "vatwright.files.parts.mesh" not in names, file.name
