"""Many small meshes, and a worker's task that counts itself: importable, so that workers can be sent it."""

from __future__ import annotations

import os
import time
import uuid
from functools import partial
from pathlib import Path

import numpy as np

from vatwright.records.part import PartUse
from vatwright.wiring import _study_on_worker

LAYER_NM = 200_000


def prism(width_mm, depth_mm, height_mm):
    """Twelve triangles of a box on the platform."""
    corner = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=float)
    corner *= (width_mm, depth_mm, height_mm)
    sides = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    return corner[[face for a, b, c, d in sides for face in ((a, b, c), (a, c, d))]]


def write_parts(folder, count):
    """Distinct boxes as binary STL in millimetres."""
    folder.mkdir(parents=True, exist_ok=True)
    parts = []
    for k in range(count):
        corners = prism(4.0 + 0.01 * (k % 97), 5.0 + 0.013 * (k // 97), 3.0 + 0.2 * (k % 11))
        record = np.zeros(len(corners), dtype=[("normal", "<3f4"), ("corners", "<9f4"), ("extra", "<u2")])
        record["corners"] = corners.reshape(-1, 9)
        path = folder / f"box-{k:05d}.stl"
        path.write_bytes(b" " * 80 + np.uint32(len(corners)).tobytes() + record.tobytes())
        parts.append(PartUse(name=f"box {k}", file=str(path), unit="mm"))
    return parts


def counted(part, *, folder, log, slow_s=0.0):
    """Study a part as a worker does, and leave a file that says whether it was new and in which process."""
    done = _study_on_worker(part, layer_nm=LAYER_NM, folder=folder)
    if slow_s:
        time.sleep(slow_s)
    kind = "known" if done.known else "new"
    (Path(log) / f"{Path(part.file).stem}.{kind}.{os.getpid()}.{uuid.uuid4().hex[:6]}").touch()
    return done


def task(folder, log, **changes):
    return partial(counted, folder=str(folder), log=str(log), **changes)
