"""Binary STL, read back by trimesh and by our own reader; the layout is that of the format's 1989 description."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import trimesh
from tests.solid_volumes import turned_volume

from vatwright.errors import InputError
from vatwright.files.parts.mesh import read_part
from vatwright.files.parts.write_stl import require_new, stl_bytes
from vatwright.geometry.trial_solids import box_solid, turned_solid

CONE = [(0.001, 0.0), (0.001, 0.0005), (0.008, 0.0075)]


def test_an_independent_library_reads_the_same_solid():
    solid = turned_solid(CONE, at_x_m=0.02, at_y_m=0.0)
    found = trimesh.load(io.BytesIO(stl_bytes(solid)), file_type="stl")
    assert found.is_watertight
    # Single precision: 24 bits of each corner.
    assert found.volume * 1e-9 == pytest.approx(turned_volume(CONE), rel=1e-5)


def test_a_file_is_84_bytes_and_50_for_each_facet_and_is_not_taken_for_text():
    solid = box_solid(width_m=0.01, depth_m=0.01, height_m=0.01, at_x_m=0.0, at_y_m=0.0)
    data = stl_bytes(solid)
    assert len(data) == 84 + 50 * 12
    assert struct.unpack_from("<I", data, 80)[0] == 12
    assert not data.lower().startswith(b"solid")


def test_normals_are_unit_vectors_that_point_outwards():
    data = stl_bytes(box_solid(width_m=0.01, depth_m=0.02, height_m=0.03, at_x_m=0.0, at_y_m=0.0))
    facets = np.frombuffer(data, dtype=np.dtype([("v", "<f4", (4, 3)), ("rest", "<u2")]), offset=84)["v"]
    assert np.allclose(np.linalg.norm(facets[:, 0], axis=1), 1.0)
    middle = facets[:, 1:].mean(axis=1) - (0.0, 0.0, 15.0)
    assert (np.einsum("ij,ij->i", facets[:, 0], middle) > 0.0).all()


def test_our_own_reader_takes_it_in_millimetres(tmp_path):
    path = tmp_path / "cone.stl"
    solid = turned_solid(CONE, at_x_m=0.0, at_y_m=0.0)
    path.write_bytes(stl_bytes(solid))
    file = read_part(str(path), unit="mm", pixel_m=None, layer_nm=50_000)
    assert np.allclose(file.corners_m, solid, atol=1e-9)


def test_every_output_that_cannot_be_is_told_at_once(tmp_path):
    there = tmp_path / "there.stl"
    there.write_bytes(b"")
    paths = {".stl": str(there), ".json": str(tmp_path / "readings.txt"), ".toml": str(tmp_path / "no" / "job.toml")}
    with pytest.raises(InputError) as told:
        require_new(paths, force=False)
    assert len(told.value.mistakes) == 3
    require_new({".stl": str(there)}, force=True)
