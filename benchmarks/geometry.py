"""Ratios of the geometry kernels to general-purpose libraries, all in one run, medians of interleaved rounds.

Run ``python benchmarks/geometry.py``.  The unit U is the time to read the bytes of the mesh once, as a binary STL.
"""

from __future__ import annotations

import statistics
import time
from typing import TYPE_CHECKING

import manifold3d
import numpy as np
import trimesh

from vatwright.geometry.mesh import Mesh, group_identical, inspect, merge_triangles, split_shells
from vatwright.geometry.profile import area_profile
from vatwright.geometry.sections import loop_measures, sections, sections_in_chunks

if TYPE_CHECKING:
    from collections.abc import Callable


def lofted(around: int, up: int, *, radius_m: float = 0.02, height_m: float = 0.06) -> np.ndarray:
    """Triangles of a closed fluted column (F, 3, 3), 2 around (up + 1) of them, in single precision as in a file."""
    t, z = np.linspace(0, 2 * np.pi, around, endpoint=False), np.linspace(0, height_m, up + 1)[:, None]
    r = radius_m * (1 + 0.15 * np.sin(5 * t + 700 * z) * np.sin(9 * z / height_m + 1))
    ring = np.stack([r * np.cos(t), r * np.sin(t), np.broadcast_to(z, r.shape)], axis=-1)
    a, b, c, d = ring[:-1], np.roll(ring, -1, 1)[:-1], np.roll(ring, -1, 1)[1:], ring[1:]
    low, top = np.broadcast_to([0, 0, 0], ring[0].shape), np.broadcast_to([0, 0, height_m], ring[0].shape)
    faces = [(a, b, c), (a, c, d), (low, b[0], a[0]), (top, d[-1], c[-1])]
    return np.concatenate([np.stack(face, axis=-2).reshape(-1, 3, 3) for face in faces]).astype(np.float32)


def medians(rounds: int, **tasks: Callable[[], object]) -> dict[str, float]:
    """Median seconds of each task; the tasks take turns, after one round that does not count."""
    seconds: dict[str, list[float]] = {name: [] for name in tasks}
    for turn in range(rounds + 1):
        for name, task in tasks.items():
            start = time.perf_counter()
            task()
            if turn:
                seconds[name].append(time.perf_counter() - start)
    return {name: statistics.median(found) for name, found in seconds.items()}


def compare(title: str, corners: np.ndarray, *, layer_nm: int, layers: int, sampled: int) -> None:
    """Print one table for one mesh; the libraries cut `sampled` layers, the rest is by proportion."""
    mesh = merge_triangles(corners)
    solid = manifold3d.Manifold(manifold3d.Mesh64(mesh.vertices_m, mesh.faces.astype(np.uint64)))
    reference = trimesh.Trimesh(mesh.vertices_m, mesh.faces, process=False)
    heights = (np.linspace(0, layers - 1, sampled).astype(int) + 0.5) * layer_nm / 1e9
    grid = {"layer_nm": layer_nm, "bottom_m": 0.0}
    raw = np.zeros(len(corners) * 50, np.uint8)
    fresh = lambda: Mesh(vertices_m=mesh.vertices_m, faces=mesh.faces)  # noqa: E731

    def all_outlines() -> None:
        for chunk in sections_in_chunks(mesh, **grid, layers=layers):
            loop_measures(chunk)

    ours = medians(
        5,
        read=lambda: raw.sum(dtype=np.uint64),
        merge=lambda: merge_triangles(corners),
        pair=lambda: fresh().edges,
        inspect=lambda: inspect(fresh()),
        shells=lambda: group_identical(split_shells(mesh)),
        profile=lambda: area_profile(mesh, **grid, layers=layers),
        one=lambda: sections(mesh, **grid, first=layers // 2, count=1),
    )
    ours |= medians(1, outlines=all_outlines)
    theirs = medians(
        1,
        merge=lambda: (
            trimesh.Trimesh(corners.reshape(-1, 3), np.arange(corners.size // 3).reshape(-1, 3)).is_watertight
        ),
        slice=lambda: [solid.slice(z).to_polygons() for z in heights],
        area=lambda: [solid.slice(z).area() for z in heights],
        multiplane=lambda: reference.section_multiplane([0, 0, 0], [0, 0, 1], heights[:: max(1, sampled // 10)]),
    )
    planes = len(heights[:: max(1, sampled // 10)])
    unit = ours["read"]
    print(f"\n{title}: {len(corners)} triangles, {layers} layers; U = {unit * 1e3:.1f} ms")
    print(f"{'step':34} {'ours':>12} {'U':>7}   against")
    rows = [
        ("join corners", ours["merge"], theirs["merge"], "trimesh, with its check for closedness"),
        ("pair half-edges", ours["pair"], None, ""),
        ("inspect, all of it", ours["inspect"], None, ""),
        ("split shells, find copies", ours["shells"], None, ""),
        ("area of every layer", ours["profile"], theirs["area"] / sampled * layers, "manifold3d slice areas"),
        (
            "outlines of every layer, measured",
            ours["outlines"],
            theirs["slice"] / sampled * layers,
            "manifold3d slices",
        ),
        ("the same", ours["outlines"], theirs["multiplane"] / planes * layers, "trimesh section_multiplane"),
        ("outlines of one layer", ours["one"], theirs["slice"] / sampled, "one manifold3d slice"),
    ]
    for step, own, other, what in rows:
        ratio = f"{other / own:8.1f} x {what}" if other else ""
        print(f"{step:34} {own * 1e3:9.2f} ms {own / unit:7.1f} {ratio}")
    each = [1e3 * s for s in (ours["outlines"] / layers, theirs["slice"] / sampled, theirs["multiplane"] / planes)]
    print("outlines, a layer: ours {:.3f} ms, manifold3d {:.3f} ms, trimesh {:.1f} ms".format(*each))


def run() -> None:
    """Print both tables."""
    compare("one column", lofted(1024, 640), layer_nm=10_000, layers=6000, sampled=60)
    piece = lofted(212, 211, height_m=0.04985)
    places = [np.array([0.05 * i, 0.05 * j, 0], np.float32) for i in range(6) for j in range(4)]
    compare("plate of 24", np.concatenate([piece + p for p in places]), layer_nm=50_000, layers=997, sampled=40)


if __name__ == "__main__":
    run()
