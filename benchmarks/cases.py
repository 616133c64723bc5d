"""What is measured: synthetic columns and plates, and meshes of the public registries."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from pathlib import Path

_FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])


def column(around: int, up: int, *, radius_m: float = 0.02, height_m: float = 0.06) -> np.ndarray:
    """Triangles of a closed fluted column (F, 3, 3), 2 around (up + 1) of them, in single precision as in a file."""
    t, z = np.linspace(0, 2 * np.pi, around, endpoint=False), np.linspace(0, height_m, up + 1)[:, None]
    r = radius_m * (1 + 0.15 * np.sin(5 * t + 700 * z) * np.sin(9 * z / height_m + 1))
    ring = np.stack([r * np.cos(t), r * np.sin(t), np.broadcast_to(z, r.shape)], axis=-1)
    a, b, c, d = ring[:-1], np.roll(ring, -1, 1)[:-1], np.roll(ring, -1, 1)[1:], ring[1:]
    low, top = np.broadcast_to([0, 0, 0], ring[0].shape), np.broadcast_to([0, 0, height_m], ring[0].shape)
    faces = [(a, b, c), (a, c, d), (low, b[0], a[0]), (top, d[-1], c[-1])]
    return np.concatenate([np.stack(face, axis=-2).reshape(-1, 3, 3) for face in faces]).astype(np.float32)


def piece() -> np.ndarray:
    """One piece of a plate: 89,888 triangles, 997 layers of 50 um."""
    return column(212, 211, radius_m=0.0165, height_m=0.04985)


def plate(pieces: int = 24, *, alike: bool) -> np.ndarray:
    """Pieces within 300 mm x 165 mm, all of one shape or each of its own."""
    one = piece()
    stretch = np.array([[1 - 0.004 * k, 1 - 0.003 * k, 1] for k in range(pieces)], np.float32)
    shift = np.array([[0.049 * (k % 6), 0.041 * (k // 6), 0] for k in range(pieces)], np.float32)
    return np.concatenate([one * (1 if alike else stretch[k]) + shift[k] for k in range(pieces)])


def write_stl(path: Path, corners_m: np.ndarray) -> None:
    """A binary STL in millimetres."""
    rows = np.zeros(len(corners_m), _FACET)
    rows["corners"] = corners_m * 1000
    with path.open("wb") as file:
        file.write(bytes(80) + len(corners_m).to_bytes(4, "little"))
        rows.tofile(file)
