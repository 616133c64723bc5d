"""OBJ: what trimesh writes and reads, and the rules of the format (numbers from one, backwards from the last)."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from tests.files.part_files import CUBE, CUBE_FACES, obj, put, volume

from vatwright.errors import InputError
from vatwright.files.parts.mesh import Limits, read_part

QUADS = [[0, 2, 3, 1], [4, 5, 7, 6], [0, 1, 5, 4], [2, 6, 7, 3], [0, 4, 6, 2], [1, 3, 7, 5]]


def read(folder, data, **given):
    return read_part(put(folder, "pawn.obj", data), **{"unit": "cm", **given})


def refusal(folder, data, **given):
    with pytest.raises(InputError) as caught:
        read(folder, data, **given)
    return str(caught.value)


def test_a_cube_of_quads_has_its_exact_volume(tmp_path):
    part = read(tmp_path, obj(CUBE, QUADS))
    assert part.kind == "OBJ"
    assert len(part.corners) == 12
    assert volume(part.corners) == pytest.approx(1.0, abs=1e-15)
    assert volume(part.corners_m) == pytest.approx(1e-6, rel=1e-12)
    assert part.warnings == ()


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t.replace(b"\n", b"\r\n"),
        lambda t: t.replace(b"\n", b"\r"),
        lambda t: b"\xef\xbb\xbf# made by hand\n" + t,
        lambda t: b"mtllib lamp.mtl\no lamp\ng all\nusemtl brass\ns off\nvt 0 0\nvn 0 0 1\n" + t + b"l 1 2\np 1",
        lambda t: t.replace(b"f ", b"f \\\n  "),
        lambda t: t.replace(b"f ", b"f \\\r\n  "),
        lambda t: t.replace(b"\nf", b" 0.5 0.5 0.5 # a vertex with a colour\nf", 1),
        lambda t: t + b"# the end",
        lambda t: t.replace(b"1.0", b"10E-1"),
        lambda t: t.rstrip(),
    ],
)
def test_any_dress_gives_the_same_facets(tmp_path, change):
    part = read(tmp_path, change(obj(CUBE, CUBE_FACES)))
    np.testing.assert_array_equal(part.corners, CUBE[CUBE_FACES])
    assert part.warnings == ()


@pytest.mark.parametrize("form", ["{0}", "{0}/1", "{0}//1", "{0}/1/1", "{1}", "{1}/-1/-1", "{1}//-1"])
def test_every_way_to_name_a_corner(tmp_path, form):
    vertices = obj(CUBE, []) + b"vt 0 0\nvn 0 0 1\n"
    lines = ["f " + " ".join(form.format(i + 1, i - 8) for i in face) for face in CUBE_FACES]
    part = read(tmp_path, vertices + "\n".join(lines).encode())
    np.testing.assert_array_equal(part.corners, CUBE[CUBE_FACES])


def test_backward_numbers_count_from_where_the_face_stands(tmp_path):
    data = b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf -3 -2 -1\nv 9 9 9\nf 1 2 4"
    corners = read(tmp_path, data).corners
    assert corners[0].tolist() == [[0, 0, 0], [1, 0, 0], [0, 1, 0]]
    assert corners[1, 2].tolist() == [9, 9, 9]


@given(
    vertices=arrays(np.float64, st.tuples(st.integers(3, 8), st.just(3)), elements=st.floats(-1e3, 1e3)),
    data=st.data(),
)
def test_round_trip_keeps_every_bit(tmp_path_factory, vertices, data):
    vertices = np.vstack([CUBE, vertices])
    faces = data.draw(st.lists(st.lists(st.integers(0, len(vertices) - 1), min_size=3, max_size=3), min_size=1))
    faces = [[0, 1, 2], *faces]
    part = read(tmp_path_factory.mktemp("obj"), obj(vertices, faces))
    assert part.corners.tobytes() == vertices[np.array(faces)].tobytes()


def test_what_trimesh_writes_is_read_as_it_was(tmp_path):
    solid = trimesh.creation.torus(major_radius=12.0, minor_radius=3.0)
    part = read(tmp_path, solid.export(file_type="obj").encode(), unit="mm")
    assert volume(part.corners) == pytest.approx(solid.volume, rel=1e-6)
    np.testing.assert_allclose(part.corners, solid.triangles, atol=1e-7)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (obj(CUBE, []), "the file holds points but no faces"),
        (b"# nothing\no lamp\n", "no triangles"),
        (obj(CUBE, [[0, 1, 8]]), "line 9: face 1 asks for vertex 9, the file has 8"),
        (obj(CUBE, [[0, 1, 2], [3, 10**30, 1]]), "line 10: face 2 asks for vertex"),
        (obj(CUBE, []) + b"f 0 1 2", "line 9: '0' names no vertex"),
        (obj(CUBE, []) + b"f -9 1 2", "line 9: '-9' names no vertex"),
        (obj(CUBE, []) + b"f 1 b 2", "line 9: 'b' names no vertex"),
        (obj(CUBE, []) + b"f 1.5 2 3", "line 9: '1.5' names no vertex"),
        (obj(CUBE, []) + b"f 1 2", "line 9: a face has fewer than three corners"),
        (b"v 1 2\nv 1 2 3\nv 4 5 6\nf 1 2 3", "line 1: a vertex has fewer than three numbers"),
        (obj(CUBE, CUBE_FACES).replace(b"1.0", b"1,0"), "'1,0' is not a number"),
        (obj(CUBE, CUBE_FACES).replace(b"1.0", b"nan"), "not finite numbers, in facet 1, 2, 3, 4, 5 and 7 more"),
    ],
)
def test_what_cannot_be_used_is_refused_with_its_line(tmp_path, data, said):
    assert said in refusal(tmp_path, data)


def test_all_faults_are_reported_at_once(tmp_path):
    message = refusal(tmp_path, obj(CUBE, []) + b"f 0 1 2\nf 1 2\nf 1 2 99\nv x 0 0\n", unit=None)
    for said in (
        "line 9: '0' names",
        "line 10: a face has fewer",
        "line 11: face 3 asks for vertex 99",
        "line 12: 'x' is not",
        "--unit mm",
    ):
        assert said in message


def test_what_is_left_out_is_named(tmp_path):
    part = read(tmp_path, obj(CUBE, CUBE_FACES) + b"cstype bspline\ncurv 0 1 1 2 3\nfrobnicate 3\n")
    assert any("curved surfaces" in w for w in part.warnings)
    assert "left out, because not understood: 1 line; the first is 'frobnicate' in line 23" in part.warnings


def test_limits_hold_for_triangles_after_cutting(tmp_path):
    assert "at most 11 triangles" in refusal(tmp_path, obj(CUBE, QUADS), limits=Limits(triangles=11))
    assert len(read(tmp_path, obj(CUBE, QUADS), limits=Limits(triangles=12)).corners) == 12
    assert "triangles are read" in refusal(tmp_path, obj(CUBE, QUADS), limits=Limits(vertices=7))
