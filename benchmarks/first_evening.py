"""What a first evening is told: a name and a size of each machine, a resin's name, common loads, with and without a recipe.

``python -m benchmarks.first_evening`` prints the table of docs/reliability.md.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from benchmarks.cases import write_stl
from vatwright import wiring
from vatwright.answers.carry import lead
from vatwright.records.process import setting_unit
from vatwright.services.carry_recipe import carry_recipe
from vatwright.units import from_si

if TYPE_CHECKING:
    from collections.abc import Iterator

    from numpy.typing import NDArray

    from vatwright.records.plan import CarrySheet

SHOP = """
[[machine]]
name = "Wren"
height_mm = 165
platform = { width_mm = 150, depth_mm = 92 }

[[machine]]
name = "Heron"
height_mm = 230
platform = { width_mm = 216, depth_mm = 134 }

[[machine]]
name = "Albatross"
height_mm = 300
platform = { width_mm = 296, depth_mm = 166 }

[[resin]]
name = "slate"

[[recipe]]
name = "slate on Wren"
machine = "Wren"
resin = "slate"
layer_mm = 0.05
base_layers = 4
ramp_layers = 4

[recipe.base]
exposure_s = 30
settle_s = 30
peel_lift_mm = 4
clear_lift_mm = 4

[recipe.body]
exposure_s = 2.5
settle_s = 2
peel_lift_mm = 2
clear_lift_mm = 3
peel_speed_mm_s = 1
clear_speed_mm_s = 3
return_speed_mm_s = 3

[recipe.proven]
runs = 5
room_c = 22

[[recipe.proven.part]]
file = "figure.stl"
unit = "mm"
count = 6
"""
"""Machines of which name and size are known, and one recipe of common practice that held five times on six figures."""

JOB = """
[job]
name = "{count} of {shape} on {machine}"
shop = "shop.toml"
to = "{machine}"
{start}
room_c = 22
"""

PART = """
[[part]]
file = "{shape}.stl"
unit = "mm"
count = {count}
"""

STARTS = {"none": 'resin = "slate"', "one": 'recipe = "slate on Wren"'}

FIGURE_MM = ((10, 0), (10, 1), (2.5, 2), (2.5, 6), (8, 12), (9, 25), (5, 40), (7, 47), (0, 52))
RING_MM = ((9, 0), (11, 0), (11, 6), (9, 6), (9, 0))
FOOT_MM = ((14, 0), (14, 1), (11, 4), (11, 12), (0, 12))
CLIP_MM = ((0, 0), (24, 0), (24, 4), (4, 4), (4, 11), (24, 11), (24, 15), (0, 15))
SLAB_MM = ((0, 0), (60, 0), (60, 90), (0, 90))

LOADS = (
    ("figure", 1, "Wren"), ("figure", 12, "Wren"), ("ring", 12, "Wren"), ("clip", 8, "Wren"),
    ("figure", 6, "Heron"), ("ring", 20, "Heron"), ("foot", 20, "Heron"), ("clip", 24, "Heron"),
    ("figure", 1, "Albatross"), ("figure", 40, "Albatross"), ("ring", 60, "Albatross"), ("clip", 60, "Albatross"),
    ("slab", 2, "Albatross"),
)  # fmt: skip
"""Shape, pieces and machine: twelve loads of small pieces, and one with large flat faces."""


class Told(NamedTuple):
    """What one sheet says first."""

    shape: str
    count: int
    machine: str
    start: str
    sheet: CarrySheet

    def bench(self, name: str) -> float:
        """A value to set, bench unit."""
        found = next(s for s in self.sheet.settings if s.name == name)
        return from_si(found.to_value, setting_unit(name))

    @property
    def settle_s(self) -> float:
        """Wait before the light after the base [s]."""
        return self.bench("body.settle_s")

    @property
    def lift_mm(self) -> float:
        """Rise of a body layer, both stages [mm]."""
        return self.bench("body.peel_lift_mm") + self.bench("body.clear_lift_mm")


def turned(profile_mm: tuple[tuple[float, float], ...], sides: int = 48) -> NDArray[np.float32]:
    """Triangles of a profile (radius, height) turned around the vertical, (F, 3, 3) [m]."""
    t = np.linspace(0, 2 * np.pi, sides + 1)
    r, z = (np.array(v, float)[:, None] * 1e-3 for v in zip(*_closed(profile_mm), strict=True))
    rings = np.stack([r * np.cos(t), r * np.sin(t), np.broadcast_to(z, (len(z), len(t)))], axis=-1)
    rings[:, -1] = rings[:, 0]
    a, b, c, d = rings[:-1, :-1], rings[:-1, 1:], rings[1:, 1:], rings[1:, :-1]
    faces = np.concatenate([np.stack(f, axis=-2).reshape(-1, 3, 3) for f in ((a, b, c), (a, c, d))])
    size = np.linalg.norm(np.cross(faces[:, 1] - faces[:, 0], faces[:, 2] - faces[:, 0]), axis=1)
    return faces[size > 1e-14].astype(np.float32)


def _closed(profile_mm: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """A profile that ends on the axis begins there too."""
    return profile_mm if profile_mm[0] == profile_mm[-1] else ((0.0, profile_mm[0][1]), *profile_mm)


def raised(outline_mm: tuple[tuple[float, float], ...], height_mm: float) -> NDArray[np.float32]:
    """Triangles of an outline without holes raised to a height, (F, 3, 3) [m]; its caps are fans around ears cut off."""
    low = np.array([(x, y, 0.0) for x, y in outline_mm]) * 1e-3
    high = low + np.array((0.0, 0.0, height_mm * 1e-3))
    caps = _ears(low[:, :2])
    walls = [
        f
        for a, b, c, d in zip(low, np.roll(low, -1, 0), np.roll(high, -1, 0), high, strict=True)
        for f in ((a, b, c), (a, c, d))
    ]
    faces = [*(low[[i, k, j]] for i, j, k in caps), *(high[[i, j, k]] for i, j, k in caps), *map(np.array, walls)]
    return np.array(faces, np.float32)


def _ears(points: NDArray[np.float64]) -> list[tuple[int, int, int]]:
    """Triangles of a simple outline that runs counter-clockwise, ears cut off one by one."""

    def area(i: int, j: int, k: int) -> float:
        (ax, ay), (bx, by), (cx, cy) = points[i], points[j], points[k]
        return float((bx - ax) * (cy - ay) - (by - ay) * (cx - ax))

    left, found = list(range(len(points))), []
    while len(left) > 3:
        for n in range(len(left)):
            i, j, k = left[n - 1], left[n], left[(n + 1) % len(left)]
            inside = (min(area(i, j, p), area(j, k, p), area(k, i, p)) >= 0 for p in left if p not in {i, j, k})
            if area(i, j, k) > 0 and not any(inside):
                found.append((i, j, k))
                left.pop(n)
                break
    return [*found, (left[0], left[1], left[2])]


def write_shop(folder: Path) -> None:
    """Put shop and parts into a folder."""
    (folder / "shop.toml").write_text(SHOP, encoding="utf-8")
    shapes = {
        "figure": turned(FIGURE_MM), "ring": turned(RING_MM), "foot": turned(FOOT_MM, 4),
        "clip": raised(CLIP_MM, 10.0), "slab": raised(SLAB_MM, 8.0),
    }  # fmt: skip
    for name, corners_m in shapes.items():
        write_stl(folder / f"{name}.stl", corners_m)


def told(
    folder: Path, shape: str, count: int, machine: str, start: str, *, beside: tuple[str, int] | None = None
) -> Told:
    """Carry one load, and so many pieces of another shape beside it, in a folder that :func:`write_shop` filled."""
    job = JOB.format(count=count, shape=shape, machine=machine, start=STARTS[start])
    parts = ((shape, count), beside) if beside else ((shape, count),)
    file = folder / f"{shape}-{count}-{machine}-{start}-{len(parts)}.toml"
    file.write_text(job + "".join(PART.format(shape=s, count=n) for s, n in parts), encoding="utf-8")
    sheet = carry_recipe(wiring.open_job(str(file)), wiring.read_geometry, memory=wiring.study_memory())
    return Told(shape, count, machine, start, sheet)


def rows() -> Iterator[Told]:
    """Carry every load, with and without a recipe."""
    with TemporaryDirectory() as name:
        folder = Path(name)
        write_shop(folder)
        for load in LOADS:
            yield from (told(folder, *load, start) for start in STARTS)


def line(row: Told) -> str:
    """One row of the table."""
    return (
        f"| {row.count} x {row.shape} | {row.machine} | {row.start} | {row.settle_s:g} s | {row.lift_mm:.1f} mm "
        f"| {row.sheet.success.mean:.0%} | {lead(row.sheet)[0].text} |"
    )


if __name__ == "__main__":
    print(
        "| load | machine | recipe | body settle | lift | chance | first line |\n| --- | --- | --- | --- | --- | --- | --- |"
    )
    for found in rows():
        print(line(found))
