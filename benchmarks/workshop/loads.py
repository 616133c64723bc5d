"""What the invented workshops print: common loads as stacks of outlines, and a reader that has them without files.

Pieces are low, so that a workshop takes seconds; an order takes the more plates.  What a layer asks for hangs on areas and
where they jump, and those are of pieces as people print them.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.geometry.part_layers import OutlineStack
from vatwright.records.part import PartUse
from vatwright.services.ports import PartGeometry

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def _disc(radius_mm: float) -> Floats:
    turn = np.linspace(0.0, 2.0 * math.pi, 32, endpoint=False)
    return np.column_stack((np.cos(turn), np.sin(turn))) * radius_mm / 1e3


def _box(width_mm: float, depth_mm: float, x_mm: float = 0.0, y_mm: float = 0.0) -> Floats:
    corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)]) * (width_mm / 2.0, depth_mm / 2.0)
    return (corners + np.array([x_mm, y_mm])) / 1e3


def _posts(width_mm: float, depth_mm: float) -> tuple[Floats, ...]:
    x, y = width_mm / 2.0 - 4.0, depth_mm / 2.0 - 4.0
    return tuple(_box(4.0, 4.0, sx * x, sy * y) for sx in (-1, 0, 1) for sy in (-1, 0, 1))


def _figure() -> list[tuple[float, tuple[Floats, ...]]]:
    """A turned piece on a foot: twelve storeys."""
    radii = (12.0, 12.0, 7.0, 5.0, 4.0, 6.0, 8.0, 9.0, 7.0, 4.0, 5.0, 3.0)
    return [(0.3 if k < 2 else 0.6, (_disc(r),)) for k, r in enumerate(radii)]


def _slab(width_mm: float, depth_mm: float) -> list[tuple[float, tuple[Floats, ...]]]:
    """A slab after posts: the jump in area that a settle is for."""
    raft = (1.0, (_box(width_mm, depth_mm),))
    return [raft, (2.0, _posts(width_mm, depth_mm)), (2.5, (_box(width_mm, depth_mm),))]


def _ring() -> list[tuple[float, tuple[Floats, ...]]]:
    return [(5.0, (_disc(16.0), _disc(12.0)[::-1]))]


def _plate(width_mm: float, depth_mm: float) -> list[tuple[float, tuple[Floats, ...]]]:
    return [(3.5, (_box(width_mm, depth_mm),))]


SHAPES = {
    "figure": _figure(),
    "slab": _slab(52.0, 36.0),
    "ring": _ring(),
    "plate": _plate(60.0, 40.0),
}

LOADS = {
    "small figures": ("figure", 0.22),
    "slabs after posts": ("slab", 0.30),
    "rings": ("ring", 0.45),
    "plates": ("plate", 0.30),
}
"""Load, its shape, and the share of the platform that the boxes around the pieces cover."""

PROOFS = ("small figures", "rings", "plates")
"""What recipes were proven on."""


def pieces_on(load: str, width_m: float, depth_m: float) -> int:
    """Return how many pieces of a load a platform is given."""
    shape, share = LOADS[load]
    points = np.concatenate([ring for _, rings in SHAPES[shape] for ring in rings])
    box_m2 = float(np.prod(np.ptp(points, axis=0) + 0.002))
    return max(1, int(share * width_m * depth_m / box_m2))


def parts_of(load: str, count: int) -> tuple[PartUse, ...]:
    """Return a load as the parts of a job."""
    return (PartUse(name=load, file=LOADS[load][0], unit="mm", count=count),)


def read_shape(part: PartUse, *, layer_nm: int) -> PartGeometry:  # noqa: ARG001 - the shape of every reader
    """Return the geometry of a shape by its name; satisfies the services' PartReader."""
    bottom, tops, rings = 0.0, [], []
    for height_mm, loops in SHAPES[part.file]:
        bottom += height_mm / 1e3
        tops.append(bottom)
        rings.append(loops)
    return PartGeometry(name=part.name, outlines=(OutlineStack(0.0, tuple(tops), tuple(rings)),))
