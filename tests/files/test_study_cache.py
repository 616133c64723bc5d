"""Kept studies: the same bits back, found by content alone, and no kept file can do harm.

What is compared with is the study itself, made anew; there is no outside reference for a cache.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time

import attrs
import numpy as np
import pytest

from vatwright.files import study_cache
from vatwright.files.study_cache import StudyCache, cache_folder, digest_of, pack, unpack
from vatwright.geometry.mesh import merge_triangles
from vatwright.geometry.part_layers import PartLayers, layers_of_mesh
from vatwright.kept_answers import KeptAnswers
from vatwright.records.part import PartUse, Place
from vatwright.services import study_parts
from vatwright.wiring import study_files

CORNER = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
SIDES = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
BOX = CORNER[[face for a, b, c, d in SIDES for face in ((a, b, c), (a, c, d))]]
TWO = np.concatenate((BOX * 5.0, BOX * 5.0 + [9.0, 0.0, 0.0], BOX * (3.0, 4.0, 2.0) + [20.0, 0.0, 1.0]))
FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def write(path, corners_mm):
    rows = np.zeros(len(corners_mm), FACET)
    rows["corners"] = corners_mm
    path.write_bytes(bytes(80) + len(rows).to_bytes(4, "little") + rows.tobytes())
    return path


def layers_of(corners_mm=TWO):
    return layers_of_mesh(merge_triangles(corners_mm / 1000.0), layer_nm=50_000, step=lambda *_: None)


def same(one, two):
    """Whether two values are equal bit for bit, records field by field."""
    if isinstance(one, np.ndarray):
        return one.dtype == two.dtype and one.shape == two.shape and one.tobytes() == two.tobytes()
    if isinstance(one, tuple):
        return len(one) == len(two) and all(same(a, b) for a, b in zip(one, two, strict=True))
    if attrs.has(type(one)):
        return type(one) is type(two) and all(
            same(getattr(one, f.name), getattr(two, f.name)) for f in attrs.fields(type(one))
        )
    return type(one) is type(two) and one == two


@pytest.fixture(autouse=True)
def _nothing_in_memory(monkeypatch):
    """What one test has laid out another must look for on the disk."""
    for answers in ("_studied", "_counted"):
        monkeypatch.setattr(study_parts, answers, KeptAnswers(room=8))


@pytest.fixture
def part(tmp_path):
    return PartUse(name="boxes", file=str(write(tmp_path / "boxes.stl", TWO)), unit="mm")


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "kept"


def kept(folder):
    return sorted(folder.glob("*.study"))


AT = {"layer_nm": 50_000, "turn_deg": 0.0}


def test_a_kept_study_comes_back_bit_for_bit(part, folder):
    found = layers_of()
    StudyCache(folder).keep(part, found, **AT)
    back = StudyCache(folder).recall(part, **AT)
    assert isinstance(back, PartLayers)
    assert same(found, back)
    assert back.standing[0].runs.x0_m.flags.writeable


@pytest.mark.parametrize(
    ("change", "at"),
    [
        ({"unit": "in"}, {}),
        ({"pixel_m": 5e-5}, {}),
        ({}, {"layer_nm": 50_001}),
        ({}, {"turn_deg": 90.0}),
    ],
)
def test_another_unit_layer_or_turn_is_another_study(part, folder, change, at):
    cache = StudyCache(folder)
    cache.keep(part, layers_of(), **AT)
    assert cache.recall(attrs.evolve(part, **change), **(AT | at)) is None
    assert cache.recall(attrs.evolve(part, count=7, places=(Place(x_m=0.02),), name="moved"), **AT) is not None


def test_one_flipped_bit_of_a_triangle_is_another_part(part, folder, tmp_path):
    StudyCache(folder).keep(part, layers_of(), **AT)
    data = bytearray((tmp_path / "boxes.stl").read_bytes())
    data[84 + 50 * 7 + 20] ^= 1
    (tmp_path / "boxes.stl").write_bytes(data)
    assert StudyCache(folder).recall(part, **AT) is None


def test_the_same_file_elsewhere_is_the_same_part(part, folder, tmp_path):
    StudyCache(folder).keep(part, layers_of(), **AT)
    (tmp_path / "copy").mkdir()
    copy = write(tmp_path / "copy" / "boxes.stl", TWO)
    assert StudyCache(folder).recall(attrs.evolve(part, file=str(copy)), **AT) is not None


def test_another_version_of_the_kernels_makes_kept_studies_void(part, folder, monkeypatch):
    StudyCache(folder).keep(part, layers_of(), **AT)
    monkeypatch.setattr(study_cache, "kernels_version", lambda: "another")
    assert StudyCache(folder).recall(part, **AT) is None


def test_a_file_that_changed_while_it_was_studied_is_not_kept(part, folder, tmp_path):
    cache = StudyCache(folder)
    assert cache.recall(part, **AT) is None
    write(tmp_path / "boxes.stl", BOX)
    cache.keep(part, layers_of(), **AT)
    assert StudyCache(folder).recall(part, **AT) is None


@pytest.mark.parametrize(
    "spoil",
    [
        lambda data: b"",
        lambda data: data[:20],
        lambda data: data[:-1],
        lambda data: data + b"\0",
        lambda data: b"PK\x03\x04" + data[4:],
        lambda data: data[:300] + bytes([data[300] ^ 4]) + data[301:],
        lambda data: data[: len(data) // 2] + bytes([data[len(data) // 2] ^ 1]) + data[len(data) // 2 + 1 :],
        lambda data: np.random.default_rng(5).bytes(len(data)),
        lambda data: b"vwstudy1" + digest_of(np.frombuffer(bytes(64), np.uint8)) + bytes(64),
    ],
)
def test_a_spoilt_or_foreign_file_is_ignored_and_written_anew(part, folder, spoil):
    found = layers_of()
    StudyCache(folder).keep(part, found, **AT)
    (path,) = kept(folder)
    path.write_bytes(spoil(path.read_bytes()))
    assert StudyCache(folder).recall(part, **AT) is None
    StudyCache(folder).keep(part, found, **AT)
    assert same(StudyCache(folder).recall(part, **AT), found)


def test_no_array_of_objects_is_ever_read():
    content = pack(layers_of()).replace(b'"area_m2": ["<f8"', b'"area_m2": ["|O8"')
    rest = content[40:]
    forged = content[:8] + digest_of(np.frombuffer(rest, np.uint8)) + rest
    with pytest.raises(ValueError, match="O8"):
        unpack(np.frombuffer(forged, np.uint8))


def test_the_oldest_studies_go_when_the_folder_is_full(folder, tmp_path):
    found = layers_of(BOX)
    size = len(pack(found))
    cache = StudyCache(folder, largest_bytes=3 * size + size // 2)
    parts = [PartUse(name="box", file=str(write(tmp_path / f"{k}.stl", BOX * (k + 1.0))), unit="mm") for k in range(5)]
    now = time.time()
    for k, part in enumerate(parts):
        before = set(kept(folder))
        cache.keep(part, found, **AT)
        (new,) = set(kept(folder)) - before
        os.utime(new, (now - 1000 + k, now - 1000 + k))
        if k == 2:
            assert cache.recall(parts[0], **AT) is not None  # used again: now the youngest
    here = [cache.recall(part, **AT) is not None for part in parts]
    assert here == [True, False, False, True, True]


def test_what_a_stopped_run_left_half_written_is_cleared_away(part, folder):
    folder.mkdir()
    old, young = folder / ".a.study.1.new", folder / ".b.study.2.new"
    for path in (old, young):
        path.write_bytes(b"half")
    os.utime(old, (time.time() - 7200, time.time() - 7200))
    StudyCache(folder).keep(part, layers_of(), **AT)
    assert (old.exists(), young.exists()) == (False, True)


def test_a_folder_that_cannot_be_written_to_keeps_nothing_and_says_nothing(part, tmp_path):
    (tmp_path / "file").write_text("no folder")
    cache = StudyCache(tmp_path / "file" / "below")
    cache.keep(part, layers_of(), **AT)
    assert cache.recall(part, **AT) is None


def test_two_processes_that_keep_and_recall_at_once_never_see_half_a_study(part, folder):
    code = (
        "import sys, numpy as np\n"
        "from pathlib import Path\n"
        "from vatwright.geometry.mesh import Mesh\n"
        "from vatwright.geometry.part_layers import layers_of_mesh\n"
        "from vatwright.files.study_cache import StudyCache, unpack\n"
        "from vatwright.records.part import PartUse\n"
        "folder, file = Path(sys.argv[1]), sys.argv[2]\n"
        "part = PartUse(name='boxes', file=file, unit='mm')\n"
        "kept = StudyCache(folder).recall(part, layer_nm=50_000, turn_deg=0.0)\n"
        "for _ in range(60):\n"
        "    cache = StudyCache(folder)\n"
        "    if cache.recall(part, layer_nm=50_000, turn_deg=0.0) is None: sys.exit(3)\n"
        "    cache.keep(part, kept, layer_nm=50_000, turn_deg=0.0)\n"
    )
    found = layers_of()
    StudyCache(folder).keep(part, found, **AT)
    runs = [subprocess.Popen([sys.executable, "-c", code, str(folder), part.file]) for _ in range(2)]
    assert [run.wait() for run in runs] == [0, 0]
    assert same(StudyCache(folder).recall(part, **AT), found)
    assert len(kept(folder)) == 1
    assert not list(folder.glob("*.new"))


def test_a_file_nobody_touched_is_not_read_again(part, folder, monkeypatch):
    monkeypatch.setattr(study_cache, "SETTLED_S", 0.0)
    StudyCache(folder).keep(part, layers_of(), **AT)
    monkeypatch.setattr(StudyCache, "_digest", lambda *_: pytest.fail("the file was read"))
    assert StudyCache(folder).recall(part, **AT) is not None


def test_a_file_changed_under_its_old_size_and_time_is_read_again(part, folder, monkeypatch, tmp_path):
    # No program can set the time of change (POSIX.1-2017, utimensat): what was done to a file shows there.
    monkeypatch.setattr(study_cache, "SETTLED_S", 0.0)
    StudyCache(folder).keep(part, layers_of(), **AT)
    path = tmp_path / "boxes.stl"
    before = path.stat()
    time.sleep(0.05)
    write(path, TWO[::-1])
    os.utime(path, ns=(before.st_atime_ns, before.st_mtime_ns))
    after = path.stat()
    assert (after.st_size, after.st_mtime_ns, after.st_ino) == (before.st_size, before.st_mtime_ns, before.st_ino)
    assert StudyCache(folder).recall(part, **AT) is None


def test_a_file_written_a_moment_ago_is_read_every_time(part, folder, monkeypatch):
    monkeypatch.setattr(study_cache, "SETTLED_S", 3600.0)  # a moment, however slow the machine
    StudyCache(folder).keep(part, layers_of(), **AT)
    assert not list(folder.glob("*.seen"))


def test_a_note_of_a_digest_that_makes_no_sense_is_not_believed(part, folder, monkeypatch):
    monkeypatch.setattr(study_cache, "SETTLED_S", 0.0)
    StudyCache(folder).keep(part, layers_of(), **AT)
    (note,) = folder.glob("*.seen")
    for text in ("", "{}", "[1, 2, 3]", "[[1], 7]", '{"a": 1, "b": 2}', note.read_text().replace("[[", "[[1, ")):
        note.write_text(text)
        assert StudyCache(folder).recall(part, **AT) is not None


def test_the_folder_is_looked_through_seldom(part, folder, monkeypatch):
    looked = []
    monkeypatch.setattr(study_cache.Path, "iterdir", lambda self: looked.append(self) or iter(()))
    found = layers_of()
    for _ in range(5):
        StudyCache(folder).keep(part, found, **AT)
    assert len(looked) == 1
    old = time.time() - 2.0 * study_cache.TRIM_EVERY_S
    os.utime(folder / "looked-through", (old, old))
    StudyCache(folder).keep(part, found, **AT)
    assert len(looked) == 2
    small = StudyCache(folder, largest_bytes=2 * len(pack(found)))
    small.keep(part, found, **AT)
    assert len(looked) == 3


def test_a_second_study_reads_nothing_and_says_the_same(part, folder, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_CACHE", str(folder))
    told = [[], []]
    studies = [study_files([part], layer_nm=50_000, progress=lambda *a, said=said: said.append(a)) for said in told]
    assert any(what.startswith("reading") for what, _, _ in told[0])
    assert not any(what.startswith("reading") or "sections" in what for what, _, _ in told[1])
    assert same(studies[0], studies[1])


def test_moving_and_multiplying_a_part_recomputes_nothing(part, folder, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_CACHE", str(folder))
    once = study_files([part], layer_nm=50_000)
    told = []
    placed = attrs.evolve(part, places=(Place(x_m=0.03), Place(x_m=-0.03, y_m=0.01)))
    twice = study_files([placed], layer_nm=50_000, progress=lambda *a: told.append(a))
    assert told == []
    assert twice.area_m2 == pytest.approx(2 * once.area_m2, rel=1e-15)


def test_an_interrupted_study_stops_at_once_and_keeps_nothing(part, folder, monkeypatch):
    monkeypatch.setenv("VATWRIGHT_CACHE", str(folder))

    def stop(what, done, total):
        if "torsion" in what:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        study_files([part], layer_nm=50_000, progress=stop)
    assert kept(folder) == []
    assert study_files([part], layer_nm=50_000).layers == 100


@pytest.mark.parametrize(
    ("platform", "variables", "expected"),
    [
        ("linux", {"VATWRIGHT_CACHE": "/here"}, "/here"),
        ("linux", {"VATWRIGHT_CACHE": ""}, None),
        ("linux", {"XDG_CACHE_HOME": "/x"}, "/x/vatwright"),
        ("linux", {"HOME": "/home/a"}, "/home/a/.cache/vatwright"),
        ("darwin", {"HOME": "/Users/a"}, "/Users/a/Library/Caches/vatwright"),
        ("win32", {"LOCALAPPDATA": "/l"}, "/l/Vatwright/Cache"),
    ],
)
def test_studies_are_kept_where_the_platform_keeps_such_things(monkeypatch, platform, variables, expected):
    # XDG Base Directory Specification 0.8; the other two from memory.
    for name in ("VATWRIGHT_CACHE", "XDG_CACHE_HOME", "LOCALAPPDATA"):
        monkeypatch.delenv(name, raising=False)
    for name, value in variables.items():
        monkeypatch.setenv(name, value)
    monkeypatch.setattr(study_cache.sys, "platform", platform)
    found = cache_folder()
    assert (found and found.as_posix()) == expected


def test_digests_tell_every_single_bit_apart():
    data = np.random.default_rng(1).integers(0, 256, 3 * 65536 + 11, dtype=np.uint8)
    before = digest_of(data)
    for at in (0, 7, 8, 65535, 65536, 140_001, len(data) - 1):
        for bit in (1, 128):
            changed = data.copy()
            changed[at] ^= bit
            assert digest_of(changed) != before
    swapped = data.copy()
    swapped[:32], swapped[32:64] = data[32:64], data[:32]
    assert digest_of(swapped) != before
    assert digest_of(data[:-1]) != before
