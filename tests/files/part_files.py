"""Writers of tiny part files, good and bad, for the tests of the readers."""

from __future__ import annotations

import io
import struct
import zipfile
from pathlib import Path

import numpy as np

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
SLICE = "http://schemas.microsoft.com/3dmanufacturing/slice/2015/07"
PRODUCTION = "http://schemas.microsoft.com/3dmanufacturing/production/2015/06"
RELATIONS = (
    '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships"><Relationship '
    'Target="/3D/3dmodel.model" Id="r0" Type="http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"/></Relationships>'
)

CUBE = np.array([[x, y, z] for z in (0, 1) for y in (0, 1) for x in (0, 1)], dtype=np.float64)
# Two triangles a side; seen from outside they run counter-clockwise.
BOTTOM_TOP_FRONT = [[0, 2, 3], [0, 3, 1], [4, 5, 7], [4, 7, 6], [0, 1, 5], [0, 5, 4]]
BACK_LEFT_RIGHT = [[2, 6, 7], [2, 7, 3], [0, 4, 6], [0, 6, 2], [1, 3, 7], [1, 7, 5]]
CUBE_FACES = np.array([*BOTTOM_TOP_FRONT, *BACK_LEFT_RIGHT])


def lantern(sides: int = 12) -> tuple[np.ndarray, np.ndarray]:
    """A lantern roof: a frustum of a regular polygon [mm], its numbers exact in float32."""
    turn = 2 * np.pi * np.arange(sides) / sides
    ring = np.stack([np.cos(turn), np.sin(turn)], axis=1)
    low, high = np.c_[20 * ring, np.zeros(sides)], np.c_[8 * ring, np.full(sides, 15.0)]
    vertices = np.vstack([low, high, [[0, 0, 0], [0, 0, 15.0]]]).astype(np.float32).astype(np.float64)
    k, n = np.arange(sides), (np.arange(sides) + 1) % sides
    bottom, top = np.full(sides, 2 * sides), np.full(sides, 2 * sides + 1)
    faces = np.vstack(
        [np.c_[bottom, n, k], np.c_[top, sides + k, sides + n], np.c_[k, n, sides + n], np.c_[k, sides + n, sides + k]]
    )
    return vertices, faces


def volume(corners: np.ndarray) -> float:
    """Six times the volume of a closed surface is the sum of its triangles' triple products (divergence theorem)."""
    a, b, c = np.moveaxis(np.asarray(corners, dtype=np.float64), 1, 0)
    return float(np.einsum("fi,fi->", a, np.cross(b, c)) / 6)


def binary_stl(corners: np.ndarray, header: bytes = b"", count: int | None = None) -> bytes:
    rows = np.zeros(len(corners), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    rows["corners"] = corners
    return header.ljust(80, b"\0") + struct.pack("<I", len(corners) if count is None else count) + rows.tobytes()


def text_stl(corners: np.ndarray, name: str = "lantern", newline: str = "\n") -> bytes:
    lines = [f"solid {name}"]
    for facet in np.asarray(corners).tolist():
        lines += ["  facet normal 0 0 0", "    outer loop"]
        lines += [f"      vertex {x!r} {y!r} {z!r}" for x, y, z in facet]
        lines += ["    endloop", "  endfacet"]
    return (newline.join([*lines, f"endsolid {name}"]) + newline).encode()


def obj(vertices: np.ndarray, faces: list) -> bytes:
    lines = ["v " + " ".join(repr(x) for x in v) for v in np.asarray(vertices).tolist()]
    lines += ["f " + " ".join(str(i + 1) for i in face) for face in faces]
    return ("\n".join(lines) + "\n").encode()


def ply(vertices: np.ndarray, faces: list, order: str = "ascii", kind: str = "double") -> bytes:
    head = (
        f"ply\nformat {order} 1.0\ncomment a lamp part\nelement vertex {len(vertices)}\n"
        f"property {kind} x\nproperty {kind} y\n"
        f"property {kind} z\nelement face {len(faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()
    if order == "ascii":
        body = "".join(" ".join(repr(x) for x in v) + "\n" for v in np.asarray(vertices).tolist())
        return head + (body + "".join(f"{len(f)} {' '.join(str(int(i)) for i in f)}\n" for f in faces)).encode()
    end = "<" if "little" in order else ">"
    raw = np.asarray(vertices).astype(end + ("f8" if kind == "double" else "f4")).tobytes()
    return head + raw + b"".join(struct.pack(f"{end}B{len(f)}i", len(f), *(int(i) for i in f)) for f in faces)


def mesh_xml(vertices: np.ndarray, faces: np.ndarray) -> str:
    v = "".join(f'<vertex x="{x!r}" y="{y!r}" z="{z!r}"/>' for x, y, z in np.asarray(vertices).tolist())
    f = "".join(f'<triangle v1="{a}" v2="{b}" v3="{c}"/>' for a, b, c in np.asarray(faces).tolist())
    return f"<mesh><vertices>{v}</vertices><triangles>{f}</triangles></mesh>"


def model_xml(resources: str, build: str = '<item objectid="1"/>', attributes: str = 'unit="millimeter"') -> str:
    spaces = f'xmlns="{CORE}" xmlns:s="{SLICE}" xmlns:p="{PRODUCTION}"'
    inside = f"<resources>{resources}</resources><build>{build}</build>"
    return f'<?xml version="1.0"?><model {attributes} {spaces}>{inside}</model>'


def one_object(vertices: np.ndarray, faces: np.ndarray, attributes: str = "") -> str:
    return f'<object id="1" type="model" {attributes}>{mesh_xml(vertices, faces)}</object>'


def package(parts: dict[str, str | bytes], relations: str | None = RELATIONS) -> bytes:
    """A zip of the given parts, with the relationships that a 3MF needs."""
    store = io.BytesIO()
    with zipfile.ZipFile(store, "w", zipfile.ZIP_DEFLATED) as archive:
        if relations is not None:
            archive.writestr("_rels/.rels", relations)
        for name, text in parts.items():
            archive.writestr(name, text)
    return store.getvalue()


def three_mf(
    resources: str, build: str = '<item objectid="1"/>', attributes: str = 'unit="millimeter"', **parts: str
) -> bytes:
    return package({"3D/3dmodel.model": model_xml(resources, build, attributes), **parts})


def put(folder: Path, name: str, data: bytes) -> Path:
    path = folder / name
    path.write_bytes(data)
    return path
