"""Make the demo workshop's parts: harbour lanterns, lantern bases, an oil cup, a chess bishop and a lamp bracket.

Run ``python demo/make_parts.py``; it writes binary STL files in millimetres to ``demo/parts``.  All parts are invented.
Each stands on the platform at z = 0.  Supports run into what they carry, as they do in practice.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent / "parts"

Triangles = np.ndarray


def revolve(profile: list[tuple[float, float]], *, segments: int = 72) -> Triangles:
    """Return the solid swept by a closed (r, z) outline, counter-clockwise in the r-z plane, about the z axis."""
    turn = np.linspace(0.0, 2.0 * math.pi, segments, endpoint=False)
    cos, sin = np.cos(turn), np.sin(turn)
    rings = [np.column_stack((r * cos, r * sin, np.full(segments, z))) for r, z in profile]
    triangles = []
    for low, high in zip(rings, rings[1:] + rings[:1], strict=True):
        low_next, high_next = np.roll(low, -1, axis=0), np.roll(high, -1, axis=0)
        triangles += [np.stack((low, low_next, high_next), axis=1), np.stack((low, high_next, high), axis=1)]
    solid = np.concatenate(triangles)
    flat = np.linalg.norm(np.cross(solid[:, 1] - solid[:, 0], solid[:, 2] - solid[:, 0]), axis=1) < 1e-9
    return solid[~flat]


def extrude(outline: list[tuple[float, float]], low: float, high: float) -> Triangles:
    """Return the prism over an outline that can be seen whole from its first corner, counter-clockwise."""
    points = np.array(outline)
    bottom = np.column_stack((points, np.full(len(points), low)))
    top = np.column_stack((points, np.full(len(points), high)))
    fan = [(0, i, i + 1) for i in range(1, len(points) - 1)]
    caps = [top[list(f)] for f in fan] + [bottom[list(f)][::-1] for f in fan]
    sides = []
    for i in range(len(points)):
        j = (i + 1) % len(points)
        sides += [np.array([bottom[i], bottom[j], top[j]]), np.array([bottom[i], top[j], top[i]])]
    return np.array(caps + sides)


def cylinder(
    radius: float, low: float, high: float, *, at: tuple[float, float] = (0.0, 0.0), segments: int = 20
) -> Triangles:
    """Return an upright cylinder."""
    turn = np.linspace(0.0, 2.0 * math.pi, segments, endpoint=False)
    return extrude([(at[0] + radius * math.cos(t), at[1] + radius * math.sin(t)) for t in turn], low, high)


def posts(places: list[tuple[float, float]], *, radius: float, low: float, high: float) -> list[Triangles]:
    """Return support posts at the given places."""
    return [cylinder(radius, low, high, at=place, segments=12) for place in places]


def circle(count: int, radius: float) -> list[tuple[float, float]]:
    """Return `count` places on a circle."""
    return [
        (radius * math.cos(2 * math.pi * i / count), radius * math.sin(2 * math.pi * i / count)) for i in range(count)
    ]


def lantern() -> Triangles:
    """Return a lantern housing on a raft and posts: a tube with a sill and a roof, open below."""
    raft = cylinder(17.0, 0.0, 0.8, segments=48)
    sill = [(13.0, 5.0), (17.0, 5.0), (17.0, 8.0), (14.6, 9.5), (14.6, 38.0), (16.5, 40.0), (16.5, 42.0), (4.0, 50.0)]
    inside = [(0.0, 52.0), (0.0, 50.2), (3.6, 48.2), (13.0, 41.0)]
    supports = posts(circle(10, 15.0), radius=0.9, low=0.6, high=5.3)
    return np.concatenate([raft, *supports, revolve(sill + inside)])


def lantern_base() -> Triangles:
    """Return a slab on posts: the area jumps about thirtyfold where the posts meet the slab."""
    raft = extrude([(-14, -14), (14, -14), (14, 14), (-14, 14)], 0.0, 0.8)
    grid = [(x, y) for x in (-11.0, 0.0, 11.0) for y in (-11.0, 0.0, 11.0)]
    supports = posts(grid, radius=0.9, low=0.6, high=6.2)
    slab = extrude([(-14, -12), (-12, -14), (12, -14), (14, -12), (14, 12), (12, 14), (-12, 14), (-14, 12)], 6.0, 11.0)
    boss = cylinder(7.0, 10.8, 18.0, segments=40)
    return np.concatenate([raft, *supports, slab, boss])


def cup() -> Triangles:
    """Return an oil cup standing on its foot: its hollow is sealed by the film while it prints."""
    return revolve(
        [(0.0, 0.0), (14.0, 0.0), (14.0, 1.5), (11.0, 4.0), (12.5, 30.0), (10.9, 30.0), (9.4, 5.6), (0.0, 5.6)]
    )


def bishop() -> Triangles:
    """Return a chess bishop standing on its foot."""
    return revolve([
        (0.0, 0.0), (11.0, 0.0), (11.0, 3.0), (9.0, 5.0), (9.4, 7.0), (5.0, 12.0), (4.0, 26.0), (6.8, 28.5), (4.4, 30.5),
        (6.6, 36.0), (5.4, 41.5), (1.6, 45.5), (2.0, 47.4), (0.0, 49.0),
    ])  # fmt: skip


def lamp_bracket() -> Triangles:
    """Return an angle bracket standing on edge."""
    return extrude([(0, 3.2), (-24, 3.2), (-24, 0), (-3.2, 0), (-3.2, -22), (0, -22)], 0.0, 28.0)


def write(name: str, triangles: Triangles) -> Path:
    """Write triangles as binary STL and return where."""
    record = np.zeros(len(triangles), dtype=[("normal", "<3f4"), ("corners", "<9f4"), ("extra", "<u2")])
    record["corners"] = triangles.reshape(-1, 9)
    HERE.mkdir(exist_ok=True)
    path = HERE / f"{name}.stl"
    head = f"{name}, demo part, millimetres".encode().ljust(80)
    path.write_bytes(head + np.uint32(len(triangles)).tobytes() + record.tobytes())
    return path


def main() -> None:
    """Write every part."""
    made = (
        ("lantern", lantern()),
        ("lantern-base", lantern_base()),
        ("cup", cup()),
        ("bishop", bishop()),
        ("lamp-bracket", lamp_bracket()),
    )
    for name, triangles in made:
        print(write(name, triangles))


if __name__ == "__main__":
    main()
