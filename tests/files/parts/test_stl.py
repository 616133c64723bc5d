"""STL: the format's own description (80 + 4 + 50 n bytes; three corners a facet), trimesh, files of npm stl-models."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from tests.files.part_files import CUBE, CUBE_FACES, binary_stl, lantern, put, text_stl, volume
from tests.real_meshes import member

from vatwright.errors import InputError
from vatwright.files.parts.mesh import Limits, read_part
from vatwright.geometry.mesh import merge_triangles

SOLID = CUBE[CUBE_FACES] * 10
STL_MODELS = "stl-models-0.12.0.tgz"
UNUSED_NORMAL = b"facet normal 0 0 1 outer loop "


def real(folder, name):
    return put(folder, name.rpartition("/")[2], member(STL_MODELS, f"package/{name}"))


def refusal(path, **given):
    with pytest.raises(InputError) as caught:
        read_part(path, **{"unit": "mm", **given})
    return str(caught.value)


def test_twelve_triangles_take_684_bytes_and_come_back_bit_for_bit(tmp_path):
    data = binary_stl(SOLID)
    assert len(data) == 684  # 80 + 4 + 50 x 12, the format's own arithmetic
    part = read_part(put(tmp_path, "cube.stl", data), unit="mm")
    assert part.kind == "binary STL"
    assert part.corners.dtype == np.float32
    assert part.corners.tobytes() == SOLID.astype("<f4").tobytes()
    assert part.warnings == ()


@pytest.mark.parametrize(
    "header", [b"solid", b"solid cube facet normal", b"SOLID\r\n", b"\xef\xbb\xbfsolid", b"PK\x03\x04", b"ply\n"]
)
def test_a_binary_file_is_told_by_its_length_whatever_its_header_says(tmp_path, header):
    part = read_part(put(tmp_path, "cube.stl", binary_stl(SOLID, header)), unit="mm")
    assert part.kind == "binary STL"
    assert volume(part.corners) == pytest.approx(1000, rel=1e-7)


@pytest.mark.parametrize(
    "change",
    [
        lambda t: t,
        lambda t: t.upper(),
        lambda t: t.replace(b"\n", b"\r\n"),
        lambda t: t.replace(b"\n", b"\r"),
        lambda t: t.replace(b" ", b"\t   "),
        lambda t: b"\n\n  " + t + b"\n\n",
        lambda t: b"\xef\xbb\xbf" + t,
        lambda t: t.replace(b"solid lantern", b"solid a facet of two words"),
        lambda t: t.replace(b"solid lantern", b"solid"),
        lambda t: t.replace(b"\n", b" "),
        lambda t: t.replace(b"10.0", b"+1.0E+01"),
        lambda t: t.replace(b"10.0", b"10000000000000000000.e-18"),
    ],
    ids=[
        "plain",
        "upper",
        "crlf",
        "cr",
        "tabs",
        "blank-lines",
        "bom",
        "multi-word",
        "nameless",
        "one-line",
        "exponent",
        "many-digits",
    ],
)
def test_text_in_any_dress_gives_the_same_facets(tmp_path, change):
    part = read_part(put(tmp_path, "cube.stl", change(text_stl(SOLID))), unit="mm")
    assert part.kind == "text STL"
    np.testing.assert_array_equal(part.corners, SOLID)
    assert part.warnings == ()


def test_several_solids_in_one_file_are_all_read(tmp_path):
    both = text_stl(SOLID, "one") + text_stl(SOLID + 30, "solid two")
    part = read_part(put(tmp_path, "two.stl", both), unit="mm")
    np.testing.assert_array_equal(part.corners, np.vstack([SOLID, SOLID + 30]))
    assert part.warnings == ()


@given(
    corners=arrays(
        np.float32, st.tuples(st.integers(1, 6), st.just(3), st.just(3)), elements=st.floats(-500, 500, width=32)
    )
)
def test_round_trip_keeps_every_bit_in_binary_and_in_text(tmp_path_factory, corners):
    # One whole triangle goes first: a file without any area is refused.
    corners = np.concatenate([SOLID[:1].astype(np.float32), corners])
    folder = tmp_path_factory.mktemp("stl")
    binary = read_part(put(folder, "a.stl", binary_stl(corners)), unit="mm").corners
    text = read_part(put(folder, "b.stl", text_stl(corners)), unit="mm").corners
    assert binary.tobytes() == corners.tobytes()
    assert text.tobytes() == corners.astype(np.float64).tobytes()


@pytest.mark.parametrize("kind", ["stl", "stl_ascii"])
def test_what_trimesh_writes_is_read_as_trimesh_reads_it(tmp_path, kind):
    solid = trimesh.creation.icosphere(subdivisions=2, radius=12.5)
    data = solid.export(file_type=kind)
    path = put(tmp_path, "ball.stl", data if isinstance(data, bytes) else data.encode())
    theirs = trimesh.load(path, process=False)
    ours = read_part(path, unit="mm").corners
    np.testing.assert_allclose(ours, theirs.triangles, rtol=1e-6, atol=1e-6)
    assert volume(ours) == pytest.approx(solid.volume, rel=1e-6)


# ---- npm stl-models 0.12.0 (MIT)


@pytest.mark.parametrize(
    ("text", "binary", "exact"),
    [
        ("polytopes/cube.ascii.stl", "polytopes/cube.bin.stl", 8.0),  # from -1 to 1, by the package's own README
        ("polytopes/unitCube.ascii.stl", "polytopes/unitCube.binary.stl", 1.0),
        ("polytopes/tetrahedron.ascii.stl", "polytopes/tetrahedron.bin.stl", 1 / 6),
        ("polytopes/tetrahedronIrregular.ascii.stl", "polytopes/tetrahedronIrregular.bin.stl", None),
        ("objects/gearwheel.ascii.stl", "objects/gearwheel.bin.stl", None),
        ("objects/bunny.ascii.stl", "objects/bunny.bin.stl", None),
    ],
)
def test_stl_models_text_and_binary_agree(tmp_path, text, binary, exact):
    written, stored = (read_part(real(tmp_path, name), unit="m").corners for name in (text, binary))
    # "%e" prints seven digits; half a unit of the last one is at most 5e-7 of the number.
    np.testing.assert_allclose(written, stored.astype(np.float64), rtol=6e-7, atol=1e-30)
    if exact is not None:
        assert volume(stored) == pytest.approx(exact, rel=1e-12)
        assert volume(written) == pytest.approx(exact, rel=1e-12)


def test_stl_models_large_cube_and_short_forms_have_their_exact_volumes(tmp_path):
    assert volume(read_part(real(tmp_path, "polytopes/cubeLarge.ascii.stl"), unit="mm").corners) == 1e6
    assert volume(read_part(real(tmp_path, "polytopes/tetrahedron.min.ascii.stl"), unit="cm").corners) == pytest.approx(
        1 / 6
    )
    assert volume(
        read_part(real(tmp_path, "polytopes/tetrahedronMinusZero.bin.stl"), unit="cm").corners
    ) == pytest.approx(1 / 6)


def test_minus_zero_becomes_zero_in_metres(tmp_path):
    part = read_part(put(tmp_path, "cube.stl", binary_stl(np.where(SOLID == 0, -0.0, SOLID))), unit="mm")
    assert np.signbit(part.corners[part.corners == 0]).any()
    assert not np.signbit(part.corners_m[part.corners_m == 0]).any()


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("broken/fourVertices.ascii.stl", "line 2: facet 1 has 4 corners"),
        ("broken/quad.ascii.stl", "line 2: facet 1 has 4 corners"),
        ("broken/twoVertices.ascii.stl", "line 2: facet 1 has 2 corners"),
        (
            "broken/incorrectFaceCounter.bin.stl",
            "counter says 66 triangles, which is 3384 bytes; the file has 284, which is 4 triangles",
        ),
        ("broken/empty.stl", "the file is empty"),
        ("misc/faceless.ascii.stl", "no triangles"),
        ("misc/multiWordName.bin.stl", "took it for text"),
    ],
)
def test_stl_models_broken_files_that_are_refused(tmp_path, name, said):
    assert said in refusal(real(tmp_path, name))


@pytest.mark.parametrize(
    ("name", "facets", "said"),
    [
        ("broken/missingEndsolid.ascii.stl", 4, "does not end with endsolid"),
        ("broken/missingNormal.ascii.stl", 4, "no whole normal in 1 facet"),
        ("broken/notANumberNormal.ascii.stl", 4, ""),
        ("broken/wrongNormal.ascii.stl", 4, ""),
        ("broken/wrongNormals.ascii.stl", 4, ""),
        ("broken/solidNameMismatch.ascii.stl", 4, ""),
        ("broken/wrongHeader.bin.stl", 12, ""),
        ("broken/missingFace.ascii.stl", 3, ""),  # a hole: for the mesh's own inspection to find
        ("broken/singleFace.ascii.stl", 1, ""),
        ("misc/multiWordName.ascii.stl", 4, ""),
        ("misc/namelessSolid.ascii.stl", 4, ""),
    ],
)
def test_stl_models_odd_files_that_are_usable(tmp_path, name, facets, said):
    part = read_part(real(tmp_path, name), unit="cm")
    assert len(part.corners) == facets
    assert part.warnings == () if not said else (len(part.warnings) == 1 and said in part.warnings[0])


# ---- what goes wrong


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (
            binary_stl(SOLID)[:-30],
            "counter says 12 triangles, which is 684 bytes; the file has 654, which is 11 triangles and 20 bytes over",
        ),
        (binary_stl(SOLID) + b"\0", "Its counter is wrong"),
        (
            binary_stl(SOLID, count=0),
            "counter says 0 triangles, which is 84 bytes; the file has 684, which is 12 triangles",
        ),
        (binary_stl(SOLID[:0]), "holds no triangles"),
        (b"\0" * 40, "ends after 40"),
        (b"solid" + b"\0" * 30, "ends after 35"),
    ],
)
def test_binary_of_the_wrong_length_is_refused(tmp_path, data, said):
    assert said in refusal(put(tmp_path, "cube.stl", data))


def test_text_that_ends_in_the_middle_is_refused(tmp_path):
    text = text_stl(SOLID)
    message = refusal(put(tmp_path, "cube.stl", text[: text.rindex(b"vertex")]))
    assert "the file ends in the middle of facet 12" in message
    assert "cut short" in message


def test_every_fault_of_a_text_is_reported_with_its_line(tmp_path):
    lines = text_stl(SOLID).splitlines()
    lines[3] = b"vertex 0 0"  # facet 1
    lines[9] = b""  # facet 2 loses its outer loop, then has its corners
    lines.insert(8 + 7 * 2, b"vertex 1 2 3")  # between facets
    message = refusal(put(tmp_path, "cube.stl", b"\n".join(lines)))
    assert "line 4: a corner of facet 1 has 2 numbers, it needs three" in message
    assert "line 11: 'vertex' does not belong here in facet 2" in message
    assert "stands outside a facet" in message


def test_many_faults_are_counted_not_listed(tmp_path):
    message = refusal(put(tmp_path, "cube.stl", text_stl(SOLID).replace(b"endloop", b"")))
    assert len(message.splitlines()) == 9
    assert "more mistakes like these" in message


def test_a_decimal_comma_is_named(tmp_path):
    message = refusal(put(tmp_path, "cube.stl", text_stl(SOLID).replace(b"10.0", b"10,0")))
    assert "line 5: '10,0' is not a number" in message
    assert "decimal points" in message


def test_words_between_facets_are_left_out_and_named(tmp_path):
    text = text_stl(SOLID).replace(b"endfacet\n", b"endfacet\ncolour red\n", 1)
    part = read_part(put(tmp_path, "cube.stl", text), unit="mm")
    assert len(part.corners) == 12
    assert part.warnings == (
        "left out, because not understood: 2 words outside the facets; the first is 'colour' in line 9",
    )


@pytest.mark.parametrize("write", [binary_stl, text_stl])
@pytest.mark.parametrize("bad", [np.nan, np.inf, -np.inf])
def test_corners_that_are_no_finite_numbers_are_named_by_facet(tmp_path, write, bad):
    corners = SOLID.copy()
    corners[6, 1, 2] = corners[9, 0, 0] = bad
    assert "not finite numbers, in facet 7, 10." in refusal(put(tmp_path, "cube.stl", write(corners)))


@pytest.mark.parametrize("write", [binary_stl, text_stl])
def test_a_file_of_flat_triangles_only_is_refused(tmp_path, write):
    corners = SOLID.copy()
    corners[:, 2] = 2 * corners[:, 1] - corners[:, 0]
    assert "none of its 12 triangles has an area" in refusal(put(tmp_path, "cube.stl", write(corners)))
    corners[0] = SOLID[0]
    assert len(read_part(put(tmp_path, "cube.stl", write(corners)), unit="mm").corners) == 12


@pytest.mark.parametrize("write", [binary_stl, text_stl])
def test_more_triangles_than_the_limit_are_refused_before_they_are_read(tmp_path, write):
    path = put(tmp_path, "cube.stl", write(SOLID))
    assert "at most 11 triangles are read" in refusal(path, limits=Limits(triangles=11))
    assert len(read_part(path, unit="mm", limits=Limits(triangles=12)).corners) == 12


def test_a_huge_counter_does_not_ask_for_memory(tmp_path):
    assert "counter says 4294967295 triangles" in refusal(put(tmp_path, "cube.stl", binary_stl(SOLID, count=2**32 - 1)))


def test_the_lantern_has_the_volume_of_its_frustum(tmp_path):
    vertices, faces = lantern(sides=12)
    # Frustum of a regular 12-gon: h/3 (A + sqrt(A a) + a), A = 12/2 R^2 sin(30 deg) (solid geometry).
    large, small = 6 * 20**2 * 0.5, 6 * 8**2 * 0.5
    exact = 15 / 3 * (large + np.sqrt(large * small) + small)
    got = volume(read_part(put(tmp_path, "lantern.stl", binary_stl(vertices[faces])), unit="mm").corners_m) * 1e9
    assert got == pytest.approx(exact, rel=1e-6)


@pytest.mark.parametrize("unit", ["um", "mm", "in", "ft"])
def test_joining_as_stored_is_joining_in_metres(tmp_path, unit):
    # The reference is the joining of the triangles in metres, double precision.
    rng = np.random.default_rng(8)
    corners = rng.normal(size=(40, 3)).astype(np.float32)[rng.integers(0, 40, (200, 3))]
    corners[:50, 0] = np.nextafter(corners[50:100, 0], np.float32(9.0))  # neighbours in single precision stay apart
    part = read_part(put(tmp_path, "lantern.stl", binary_stl(corners)), unit=unit)
    ours, reference = part.mesh(), merge_triangles(part.corners_m)

    def triangles(mesh):
        return sorted(mesh.vertices_m[mesh.faces].reshape(-1, 9).tolist())

    assert triangles(ours) == triangles(reference)
    assert len(ours.vertices_m) == len(reference.vertices_m)
