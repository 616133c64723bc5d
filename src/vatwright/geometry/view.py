"""A part as one sees it standing in front of the machine: what is nearest, and how much light falls on it."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from vatwright.compiled import kernel
from vatwright.errors import require_positive

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.geometry.mesh import Mesh

    Floats = NDArray[np.float64]

LIGHT = np.array((-0.5, -0.6, 0.62)) / math.hypot(0.5, 0.6, 0.62)
"""Where the light comes from: over the left shoulder of the person in front [-]."""

DIFFUSE = 0.2
"""Light that falls on every face [-]."""

TONES = 5
"""Steps of light that a view tells apart [1]: more cannot be told on paper; our own choice."""


@kernel
def _paint(x: Floats, y: Floats, z: Floats, light: Floats, tone: NDArray[np.int8], depth: Floats) -> None:
    """Paint each face (F, 3) on the cells whose middles it covers, the nearest last to stay; lengths in cells."""
    rows, columns = tone.shape
    for f in range(x.shape[0]):
        ax, az, bx, bz, cx, cz = x[f, 0], z[f, 0], x[f, 1], z[f, 1], x[f, 2], z[f, 2]
        twice = (bx - ax) * (cz - az) - (cx - ax) * (bz - az)
        if twice <= 0.0:  # seen from behind, or edge on
            continue
        first, last = (
            max(int(np.ceil(min(ax, bx, cx) - 0.5)), 0),
            min(int(np.floor(max(ax, bx, cx) - 0.5)), columns - 1),
        )
        low, high = max(int(np.ceil(min(az, bz, cz) - 0.5)), 0), min(int(np.floor(max(az, bz, cz) - 0.5)), rows - 1)
        for j in range(low, high + 1):
            for i in range(first, last + 1):
                u, w = i + 0.5, j + 0.5
                b = ((u - ax) * (cz - az) - (cx - ax) * (w - az)) / twice
                c = ((bx - ax) * (w - az) - (u - ax) * (bz - az)) / twice
                if b < 0.0 or c < 0.0 or b + c > 1.0:
                    continue
                d = y[f, 0] + b * (y[f, 1] - y[f, 0]) + c * (y[f, 2] - y[f, 0])
                if d < depth[j, i]:
                    depth[j, i] = d
                    tone[j, i] = np.int8(1 + min(int(light[f] * TONES), TONES - 1))


def front_view(mesh: Mesh, *, cell_m: float) -> NDArray[np.int8]:
    """Return a part seen level from the front, y running away from the eye, without perspective.

    Parameters
    ----------
    mesh : Mesh
        The part as it stands.
    cell_m : float
        Side of a cell of the picture [m].

    Returns
    -------
    (R, C) ndarray of int8
        Row 0 at the bottom; 0 where there is nothing, else 1, in the dark, to `TONES`, in full light.

    Examples
    --------
    The front of a cube of four cells; its face looks at the person, half turned from the light:

    >>> from vatwright.geometry.mesh import Mesh
    >>> corners = [[0, 0, 0], [4, 0, 0], [4, 0, 4], [0, 0, 4]]
    >>> front = Mesh(vertices_m=corners, faces=[[0, 1, 2], [0, 2, 3]])
    >>> front_view(front, cell_m=1.0).tolist()[0], front_view(front, cell_m=1.0).shape
    ([4, 4, 4, 4], (4, 4))
    """
    require_positive(cell_m=cell_m)
    low, high = mesh.bounds_m
    width, _, tall = np.maximum(np.ceil((high - low) / cell_m - 1e-6), 1.0)
    tone = np.zeros((int(tall), int(width)), dtype=np.int8)
    corners = (mesh.vertices_m - low)[mesh.faces] / cell_m
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    shine = np.divide(normal @ LIGHT, length, out=np.zeros_like(length), where=length > 0.0)
    light = DIFFUSE + (1.0 - DIFFUSE) * np.maximum(shine, 0.0)
    x, y, z = (np.ascontiguousarray(corners[:, :, k]) for k in range(3))
    _paint(x, y, z, light, tone, np.full(tone.shape, np.inf))
    return tone
