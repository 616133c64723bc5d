"""Whole studies: time in reads of the file, peak memory, the second study, and how all of it grows."""

from __future__ import annotations

import json
import os
import tempfile
import time
from pathlib import Path
from typing import NamedTuple

import numpy as np

from benchmarks.cases import column, piece, plate, write_stl
from benchmarks.rounds import PEAK, in_a_fresh_process, medians
from vatwright.geometry.mesh import merge_triangles
from vatwright.geometry.part_layers import layers_of_mesh
from vatwright.records.part import PartUse
from vatwright.wiring import study_files


class StudyRun(NamedTuple):
    """What one study cost; times in seconds, `unit_s` to read the file's bytes once."""

    name: str
    layers: int
    pieces: int
    file_mb: float
    unit_s: float
    first_s: float
    processor_s: float
    again_s: float
    peak_mb: float
    idle_mb: float
    longest_silence_s: float


class Growth(NamedTuple):
    """How the time of a study grows with one thing."""

    what: str
    amounts: list[int]
    seconds: list[float]


_FRESH = (
    PEAK
    + """
import json, sys
from vatwright.records.part import PartUse
from vatwright.wiring import study_files
name, layer_nm, count = sys.argv[1], int(sys.argv[2]), int(sys.argv[3])
study = study_files([PartUse(name="part", file=name, unit="mm", count=count)], layer_nm=layer_nm)
print(json.dumps([study.layers, study.pieces, peak_mb()]))
"""
)


def _read_once(path: Path) -> int:
    data = np.memmap(path, np.uint8, mode="r")
    return int(data[: data.size // 8 * 8].view(np.uint64).sum())


def _fresh(path: Path, layer_nm: int, count: int, folder: Path) -> tuple[int, int, float]:
    """Layers, pieces and peak memory [MB] of a study that a process of its own makes and keeps."""
    os.environ["VATWRIGHT_CACHE"] = str(folder)
    layers, pieces, peak = json.loads(in_a_fresh_process(_FRESH, str(path), str(layer_nm), str(count)))
    return layers, pieces, peak


def _idle(place: Path) -> float:
    """Peak memory [MB] of a process that studies next to nothing: interpreter, libraries and compiled code."""
    path = place / "small.stl"
    write_stl(path, column(8, 2, height_m=0.001))
    folder = place / "kept"
    _fresh(path, 50_000, 1, folder)  # notes that everything is compiled
    return _fresh(path, 40_000, 1, folder)[2]


def _run(name: str, path: Path, layer_nm: int, count: int, folder: Path, idle_mb: float) -> StudyRun:
    part = [PartUse(name="part", file=str(path), unit="mm", count=count)]
    layers, pieces, peak = _fresh(path, layer_nm, count, folder)
    told: list[float] = []
    processor: list[float] = []

    def first() -> None:
        os.environ["VATWRIGHT_CACHE"] = ""
        told.append(time.perf_counter())
        began = time.process_time()
        study_files(part, layer_nm=layer_nm, progress=lambda *_: told.append(time.perf_counter()))
        processor.append(time.process_time() - began)

    def again() -> None:
        os.environ["VATWRIGHT_CACHE"] = str(folder)
        study_files(part, layer_nm=layer_nm)

    spent = medians(3, read=lambda: _read_once(path), first=first, again=again)
    last = np.array(told[-(len(told) // 4) :])
    return StudyRun(name, layers, pieces, path.stat().st_size / 1e6, spent["read"], spent["first"], min(processor),
                    spent["again"],
                    peak, idle_mb, float(np.diff(last).max()))  # fmt: skip


def runs() -> list[StudyRun]:
    """The studies of the page."""
    before = os.environ.get("VATWRIGHT_CACHE")
    cases = (
        ("24 pieces of one shape in one file", lambda: plate(alike=True), 50_000, 1),
        ("one piece, 24 of it", piece, 50_000, 24),
        ("24 pieces in one file, each its own shape", lambda: plate(alike=False), 50_000, 1),
        ("one column", lambda: column(1024, 640), 10_000, 1),
    )
    with tempfile.TemporaryDirectory() as place:
        found, idle_mb = [], _idle(Path(place))
        for name, make, layer_nm, count in cases:
            path = Path(place) / "part.stl"
            write_stl(path, make())
            found.append(_run(name, path, layer_nm, count, Path(place) / "kept", idle_mb))
    os.environ.pop("VATWRIGHT_CACHE")
    if before is not None:
        os.environ["VATWRIGHT_CACHE"] = before
    return found


def _seconds(corners: np.ndarray, layer_nm: int) -> float:
    spent = medians(2, study=lambda: layers_of_mesh(merge_triangles(corners), layer_nm=layer_nm, step=lambda *_: None))
    return spent["study"]


def growth() -> list[Growth]:
    """Time against triangles (of one column, 1,000 layers), layers (of one column) and pieces (each its own shape)."""
    sizes = [(256, 160), (362, 226), (512, 320), (724, 452), (1024, 640)]
    meshes = [column(*size) for size in sizes]
    steps = [80_000, 40_000, 20_000, 10_000]
    pieces = [3, 6, 12, 24]
    return [
        Growth("triangles", [len(m) for m in meshes], [_seconds(m, 60_000) for m in meshes]),
        Growth("layers", [60_000_000 // nm for nm in steps], [_seconds(meshes[2], nm) for nm in steps]),
        Growth("pieces", pieces, [_seconds(plate(n, alike=False), 50_000) for n in pieces]),
    ]
