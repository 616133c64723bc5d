"""PLY: what trimesh writes and reads, files of PyPI pyvista 0.49.1, and the format's own arithmetic."""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from tests.files.part_files import CUBE, CUBE_FACES, ply, put, volume
from tests.real_meshes import member

from vatwright.errors import InputError
from vatwright.files.parts.mesh import Limits, read_part

ORDERS = ["ascii", "binary_little_endian", "binary_big_endian"]
QUADS = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]]
WHEEL = "pyvista-0.49.1-py3-none-any.whl"


def read(folder, data, **given):
    return read_part(put(folder, "rook.ply", data), **{"unit": "cm", **given})


def refusal(folder, data, **given):
    with pytest.raises(InputError) as caught:
        read(folder, data, **given)
    return str(caught.value)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize(
    "faces", [CUBE_FACES, QUADS, [*QUADS[:5], [1, 3, 7], [1, 7, 5]]], ids=["triangles", "quads", "mixed"]
)
def test_a_cube_has_its_exact_volume_in_every_byte_order(tmp_path, order, faces):
    part = read(tmp_path, ply(CUBE, faces, order))
    assert part.kind == "PLY"
    assert part.corners.shape == (12, 3, 3)
    assert volume(part.corners) == pytest.approx(1.0, abs=1e-15)
    assert part.warnings == ()


@pytest.mark.parametrize("order", ORDERS)
@given(
    vertices=arrays(np.float64, st.tuples(st.integers(3, 8), st.just(3)), elements=st.floats(-1e3, 1e3)),
    data=st.data(),
)
def test_round_trip_keeps_every_bit(tmp_path_factory, order, vertices, data):
    vertices = np.vstack([CUBE, vertices])
    faces = [
        [0, 1, 2],
        *data.draw(st.lists(st.lists(st.integers(0, len(vertices) - 1), min_size=3, max_size=3), min_size=1)),
    ]
    part = read(tmp_path_factory.mktemp("ply"), ply(vertices, faces, order))
    assert part.corners.tobytes() == vertices[np.array(faces)].tobytes()


def test_float_vertices_keep_their_own_bits(tmp_path):
    vertices = (CUBE * np.float32(0.1)).astype(np.float32)
    for order in ORDERS[1:]:
        corners = read(tmp_path, ply(vertices, CUBE_FACES, order, "float"), unit="m").corners
        assert corners.dtype == np.float32
        assert corners.tobytes() == vertices[CUBE_FACES].tobytes()


@pytest.mark.parametrize("encoding", ["ascii", "binary"])
def test_what_trimesh_writes_is_read_as_it_was(tmp_path, encoding):
    solid = trimesh.creation.capsule(height=20.0, radius=6.0)
    part = read(tmp_path, solid.export(file_type="ply", encoding=encoding), unit="mm")
    np.testing.assert_allclose(part.corners, solid.triangles, rtol=1e-6, atol=1e-6)
    assert volume(part.corners) == pytest.approx(solid.volume, rel=1e-6)


@pytest.mark.parametrize("name", ["nut", "sphere", "ant", "airplane"])
def test_pyvista_files_are_read_as_trimesh_reads_them(tmp_path, name):
    data = member(WHEEL, f"pyvista/examples/{name}.ply")
    theirs = trimesh.load(io.BytesIO(data), file_type="ply", process=False)
    ours = read(tmp_path, data, unit="cm").corners
    # trimesh rounds the numbers of a text to the float32 its header declares; compare both in that precision.
    np.testing.assert_array_equal(ours.astype(np.float32), theirs.vertices[theirs.faces].astype(np.float32))


@pytest.mark.parametrize("order", ORDERS)
def test_lists_and_elements_in_any_place_are_stepped_over(tmp_path, order):
    end = ">" if "big" in order else "<"
    head = (
        f"ply\nformat {order} 1.0\nobj_info none\nelement camera 2\nproperty list ushort short knots\n"
        "property uchar on\n"
        "element vertex 3\nproperty char tag\nproperty list int8 double seen\nproperty float z\nproperty float64 x\n"
        "property int16 y\nelement face 1\nproperty float quality\nproperty list int uint vertex_index\n"
        "property list uchar float texcoord\nelement edge 1\nproperty int a\nend_header\n"
    )
    rows = [("HhhB", (2, -7, 8, 1)), ("HB", (0, 0))]
    rows += [("bbddfdh", (-1, 2, 0.5, 0.25, 0, 0, 0)), ("bbfdh", (5, 0, 0, 1.5, -3)), ("bbfdh", (5, 0, 2.5, 0, 1))]
    rows += [("fiIIIBff", (0.5, 3, 2, 0, 1, 2, 0.5, 1)), ("i", (9,))]
    if order == "ascii":
        body = "\n".join(" ".join(map(str, values)) for _, values in rows).encode()
    else:
        body = b"".join(struct.pack(end + kinds, *values) for kinds, values in rows)
    part = read(tmp_path, head.encode() + body)
    assert part.corners.tolist() == [[[0, 1, 2.5], [0, 0, 0], [1.5, -3, 0]]]
    assert part.warnings == ()


@pytest.mark.parametrize("newline", [b"\n", b"\r\n"])
def test_headers_of_either_line_end(tmp_path, newline):
    data = ply(CUBE, CUBE_FACES, "binary_little_endian")
    head, mark, body = data.partition(b"end_header\n")
    part = read(tmp_path, head.replace(b"\n", newline) + mark.strip() + newline + body)
    np.testing.assert_array_equal(part.corners, CUBE[CUBE_FACES])


@pytest.mark.parametrize("order", ORDERS)
def test_vertices_the_file_does_not_have_are_named(tmp_path, order):
    for wrong in (8, -1):
        message = refusal(tmp_path, ply(CUBE, [*CUBE_FACES[:4], [0, 1, wrong]], order))
        assert f"face 4 asks for vertex {wrong}, the file has 8, counted from 0" in message


@pytest.mark.parametrize("order", ORDERS)
def test_a_body_cut_short_is_refused(tmp_path, order):
    data = ply(CUBE, CUBE_FACES, order)
    body = data.index(b"end_header\n") + 11
    for end in (body, body + 40, len(data) - 4):
        message = refusal(tmp_path, data[:end])
        assert "cut short" in message or "runs over the end of the file" in message


def test_what_stands_after_the_last_element_is_left_out_and_counted(tmp_path):
    assert read(tmp_path, ply(CUBE, CUBE_FACES) + b"1 2 3\n").warnings == (
        "left out: 3 numbers after the last element",
    )
    binary = ply(CUBE, CUBE_FACES, "binary_little_endian")
    assert read(tmp_path, binary + b"x").warnings == ("left out: 1 byte after the last element",)


GOOD = ply(CUBE, CUBE_FACES)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (ply(CUBE, []), "holds points or strips but no faces"),
        (ply(CUBE[:0], []), "no triangles"),
        (ply(CUBE, [[0, 1]]), "no face has three corners"),
        (GOOD.replace(b"end_header", b"end"), "has no end_header"),
        (GOOD.replace(b"format ascii 1.0\n", b""), "names no format"),
        (GOOD.replace(b"ascii", b"morse"), "line 2: 'format morse 1.0' is not understood"),
        (GOOD.replace(b"double z", b"double depth"), "the vertices have no z"),
        (GOOD.replace(b"vertex_indices", b"numbers"), "the faces have no list of vertices"),
        (GOOD.replace(b"end_header", b"element face 1\nproperty int n\nend_header"), "two elements of one name"),
        (
            GOOD.replace(b"list uchar", b"list float"),
            "line 9: 'property list float int vertex_indices' is not understood",
        ),
        (GOOD.replace(b"element vertex 8", b"element vertex -8"), "line 4: 'element vertex -8' is not understood"),
        (
            GOOD.replace(b"element vertex 8", b"element vertex 50000000"),
            "cut short: 50000000 rows of 'vertex' need at least 150000000 numbers",
        ),
        (
            GOOD.replace(b"element vertex 8", b"element vertex 99999999999999999999"),
            "at most 20000000 triangles are read",
        ),
        (GOOD.replace(b"1.0", b"1,0").replace(b"ascii 1,0", b"ascii 1.0"), "line 12: '1,0' is not a number"),
        (GOOD.replace(b"\n3 0 2 3\n", b"\n3 0 2.5 3\n"), "face 0 asks for vertex -1"),
        (GOOD.replace(b"\n3 0 2 3\n", b"\n-3 0 2 3\n"), "row 1 of 'face' runs over the end"),
        (GOOD.replace(b"\n3 0 2 3\n", b"\n3 0 nan 3\n"), "face 0 asks for vertex -1"),
    ],
)
def test_what_cannot_be_used_is_refused(tmp_path, data, said):
    assert said in refusal(tmp_path, data)


def test_every_mistake_in_the_header_is_reported_at_once(tmp_path):
    bad = (
        GOOD.replace(b"double x", b"quad x").replace(b"double y", b"quad y").replace(b"element face", b"elements face")
    )
    message = refusal(tmp_path, bad, unit=None)
    for said in ("line 5", "line 6", "line 8", "--unit mm"):
        assert said in message


def test_a_list_longer_than_the_file_does_not_ask_for_memory(tmp_path):
    data = ply(CUBE, CUBE_FACES, "binary_little_endian").replace(b"list uchar", b"list uint")
    assert "of 'face' runs over the end of the file" in refusal(tmp_path, data)


def test_limits_hold_for_triangles_after_cutting(tmp_path):
    assert "at most 11 triangles" in refusal(tmp_path, ply(CUBE, QUADS), limits=Limits(triangles=11))
    assert len(read(tmp_path, ply(CUBE, QUADS), limits=Limits(triangles=12)).corners) == 12
