"""One door for all part files: formats agree, units are asked for, strangers are refused."""

from __future__ import annotations

import os

import numpy as np
import pytest
from tests.files.part_files import (
    CUBE,
    CUBE_FACES,
    binary_stl,
    lantern,
    obj,
    one_object,
    ply,
    put,
    text_stl,
    three_mf,
    volume,
)

from vatwright.errors import InputError
from vatwright.files.parts.mesh import UNITS, Limits, read_part
from vatwright.geometry.mesh import inspect, merge_triangles

SOLID = CUBE[CUBE_FACES] * 10
VERTICES, FACES = lantern()
FORMATS = {
    "a.stl": binary_stl(VERTICES[FACES]),
    "b.stl": text_stl(VERTICES[FACES]),
    "c.obj": obj(VERTICES, FACES),
    "d.ply": ply(VERTICES, FACES),
    "e.ply": ply(VERTICES, FACES, "binary_little_endian", "float"),
    "f.ply": ply(VERTICES, FACES, "binary_big_endian"),
    "g.3mf": three_mf(one_object(VERTICES, FACES)),
}


def refusal(path, **given):
    with pytest.raises(InputError) as caught:
        read_part(path, **given)
    return str(caught.value)


@pytest.mark.parametrize("name", FORMATS)
def test_one_lantern_is_the_same_in_every_format(tmp_path, name):
    part = read_part(put(tmp_path, name, FORMATS[name]), unit="mm")
    np.testing.assert_array_equal(part.corners, VERTICES[FACES])
    np.testing.assert_array_equal(part.corners_m, VERTICES[FACES] / 1000)
    assert part.warnings == ()
    assert (part.slices, part.masks) == (None, None)


@pytest.mark.parametrize("name", FORMATS)
def test_corners_merge_into_the_vertices_that_were_written(tmp_path, name):
    mesh = merge_triangles(read_part(put(tmp_path, name, FORMATS[name]), unit="mm").corners_m)
    assert len(mesh.vertices_m) == len(VERTICES)
    assert inspect(mesh).sound


# ---- units


def test_a_stl_in_inches_is_25_4_times_as_large(tmp_path):
    path = put(tmp_path, "cube.stl", binary_stl(SOLID))
    inches, millimetres = (read_part(path, unit=u) for u in ("in", "mm"))
    np.testing.assert_allclose(inches.corners_m, 25.4 * millimetres.corners_m, rtol=1e-15)
    assert (inches.unit, inches.unit_origin) == ("in", "given")


@pytest.mark.parametrize(
    ("unit", "metres"), [("um", 1e-6), ("mm", 1e-3), ("cm", 1e-2), ("m", 1.0), ("in", 0.0254), ("ft", 0.3048)]
)
def test_every_unit_has_its_exact_length(tmp_path, unit, metres):
    # International agreement of 1959 (from memory): the inch is 25.4 mm and the foot 0.3048 m, exactly.
    part = read_part(put(tmp_path, "cube.stl", binary_stl(SOLID / 10)), unit=unit)
    assert part.corners_m.max() == metres
    assert UNITS[unit].times / UNITS[unit].over == metres


@pytest.mark.parametrize(("name", "kind"), [("a.stl", "STL"), ("b.stl", "STL"), ("c.obj", "OBJ"), ("d.ply", "PLY")])
def test_a_missing_unit_is_asked_for(tmp_path, name, kind):
    message = refusal(put(tmp_path, name, FORMATS[name]))
    assert (
        f'{name}: {kind} files have no unit of length. Write unit = "mm" for it in the job file, or --unit mm'
        in message
    )


@pytest.mark.parametrize(
    ("unit", "do"), [("inch", "Write in."), ("MM", "Write mm."), ("furlong", "Use one of um, mm, cm, m, in, ft.")]
)
def test_an_unknown_unit_is_refused_with_the_right_one(tmp_path, unit, do):
    message = refusal(put(tmp_path, "a.stl", FORMATS["a.stl"]), unit=unit)
    assert f"'{unit}' is no unit of length" in message
    assert do in message


def test_mistakes_of_unit_and_content_are_reported_together(tmp_path):
    corners = np.full((2, 3, 3), np.nan)
    message = refusal(put(tmp_path, "a.stl", binary_stl(corners)))
    assert "no unit of length" in message
    assert "not finite numbers, in facet 1, 2" in message
    message = refusal(tmp_path / "gone.stl", unit="furlong")
    assert "no such file" in message
    assert "no unit of length" in message


@pytest.mark.parametrize(
    ("size", "unit", "said"),
    [
        (1.6, "mm", "lantern.stl is 1.6 mm tall; if it was drawn in inches it would be 40.6 mm: check the unit"),
        (0.05, "mm", "lantern.stl is 0.05 mm tall; if it was drawn in metres it would be 50 mm: check the unit"),
        (
            60.0,
            "in",
            "lantern.stl is 1524 mm tall; if it was drawn in millimetres it would be 60 mm: check the unit",
        ),
        (40.0, "m", "lantern.stl is 40000 mm tall; if it was drawn in millimetres it would be 40 mm: check the unit"),
        (1e-7, "mm", "lantern.stl is 1e-07 mm tall: check the unit"),
        (2.0, "mm", ""),
        (40.6, "mm", ""),
        (1000.0, "mm", ""),
    ],
)
def test_an_unlikely_size_is_a_question_about_the_unit(tmp_path, size, unit, said):
    corners = CUBE[CUBE_FACES] * [size / 2, size / 3, size]
    warnings = read_part(put(tmp_path, "lantern.stl", text_stl(corners)), unit=unit).warnings
    assert warnings == ((said,) if said else ())


def test_coordinates_far_away_are_named_or_refused(tmp_path):
    far = put(tmp_path, "far.stl", binary_stl(SOLID + np.array([30_000, 0, 0])))
    # One step of a float32 is 2^-23 of the number at most: 3.6 um at 30 m.
    assert "lies 30 m from the origin, where its numbers step by 3.6 um" in read_part(far, unit="mm").warnings[0]
    assert "is beyond 1000 m" in refusal(
        put(tmp_path, "lost.stl", binary_stl(SOLID + np.array([2e6, 0, 0]))), unit="mm"
    )
    assert "a coordinate of 3e+38 mm is beyond 1000 m" in refusal(
        put(tmp_path, "x.stl", binary_stl(SOLID * 3e37)), unit="mm"
    )


# ---- which kind of file it is


@pytest.mark.parametrize(
    ("name", "kind"),
    [("a.stl", "a binary STL"), ("b.stl", "a text STL"), ("c.obj", "an OBJ"), ("d.ply", "a PLY"), ("g.3mf", "a 3MF")],
)
@pytest.mark.parametrize("suffix", [".stl", ".obj", ".ply", ".3mf", ".dat", ""])
def test_content_decides_not_the_name(tmp_path, name, kind, suffix):
    part = read_part(put(tmp_path, f"lamp{suffix}", FORMATS[name]), unit="mm")
    assert volume(part.corners) == pytest.approx(volume(VERTICES[FACES]))
    wrong = suffix != name[1:]
    assert part.warnings == ((f"lamp{suffix} is {kind} by its content and was read as one",) if wrong else ())


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("a.stl", b"<!DOCTYPE html><html><body>Sign in</body></html>", "a web page that was saved under this name"),
        ("a.stl", b"\n\n<HTML>", "a web page"),
        ("a.3mf", b"<?xml version='1.0'?><amf/>", "an XML text"),
        ("a.stl", b"Dear customer", "it is a text, but not a part: it starts with 'dear customer'"),
        ("a.obj", b"{}", "it is a text, but not a part"),
        ("a.ply", b"plywood", "it is a text, but not a part"),
        ("a.txt", b"hello", "no STL, 3MF, OBJ or PLY file"),
        ("a.png", b"\x89PNG\r\n\x1a\n", "a single picture"),
        ("a.stl", b"%PDF-1.7", "a PDF document"),
        ("a.ply", b"\x1f\x8b\x08\x00", "a gzip archive"),
        ("a.stl", "solid lamp".encode("utf-16"), "text in UTF-16"),
        ("a.off", b"OFF\n3 1 0\n", "an OFF mesh"),
        ("a.obj", b"\x00\x01\x02\x03", "no STL, 3MF, OBJ or PLY file"),
        ("a.stl", b"", "the file is empty"),
        ("a.stl", b"   \n", "no STL, 3MF, OBJ or PLY file"),
        ("a.obj", b"# only a remark\n", "no triangles"),
        ("a.3mf", b"PK\x05\x06" + b"\0" * 18, "does not say which part is the model"),
    ],
)
def test_what_is_no_part_is_named(tmp_path, name, data, said):
    assert said in refusal(put(tmp_path, name, data), unit="mm")


def test_a_missing_file_comes_with_a_guess(tmp_path):
    put(tmp_path, "lantern.stl", FORMATS["a.stl"])
    assert "there is no such file. Did you mean lantern.stl?" in refusal(tmp_path / "lantren.stl", unit="mm")
    assert "Check the name and the folder" in refusal(tmp_path / "nowhere" / "x.stl", unit="mm")
    assert "no such file" in refusal(tmp_path / "lantern.stl" / "x.stl", unit="mm")
    assert "no such file" in refusal(tmp_path / ("x" * 5000), unit="mm")
    assert "no file name" in refusal(str(tmp_path) + "/a\0b.stl", unit="mm")


def test_a_pipe_is_refused_without_waiting_for_it(tmp_path):
    os.mkfifo(tmp_path / "pipe.stl")
    assert "neither a file nor a folder" in refusal(tmp_path / "pipe.stl", unit="mm")


def test_the_size_of_the_file_is_bounded(tmp_path):
    path = put(tmp_path, "a.stl", FORMATS["a.stl"])
    size = path.stat().st_size
    assert f"the file has {size} bytes, at most {size - 1} are read" in refusal(
        path, unit="mm", limits=Limits(file_bytes=size - 1)
    )
    assert len(read_part(path, unit="mm", limits=Limits(file_bytes=size)).corners) == len(FACES)


def test_a_sparse_giant_is_refused_at_once(tmp_path):
    with (tmp_path / "a.stl").open("wb") as stream:
        stream.truncate(5 << 30)
    assert "at most 4294967296 are read" in refusal(tmp_path / "a.stl", unit="mm")


@pytest.mark.parametrize("name", FORMATS)
def test_a_damaged_copy_is_refused_or_read_never_a_crash(tmp_path, name):
    rng = np.random.default_rng(7)
    for _ in range(60):
        data = bytearray(FORMATS[name])
        for at in rng.integers(0, len(data), rng.integers(1, 6)):
            data[at] = rng.integers(256)
        if rng.random() < 0.3:
            del data[rng.integers(len(data)) :]
        try:
            part = read_part(put(tmp_path, name, bytes(data)), unit="mm")
        except InputError as refused:
            assert all(m.where and m.what and m.do for m in refused.mistakes)  # noqa: PT017 - either way out is fine
        else:
            assert np.isfinite(part.corners_m).all()
            assert len(part.corners) > 0
