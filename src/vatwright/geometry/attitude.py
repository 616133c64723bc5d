"""A part turned to stand another way: tilting it, what then faces down, and which flat sides it can lie on."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen
from scipy.spatial import ConvexHull, QhullError

from vatwright.errors import require_finite, require_positive
from vatwright.geometry.mesh import Mesh

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

SUPPORTED_DEG = 45.0
"""A face that looks down needs supports where it is flatter than this [deg]; common practice, no source."""

EXACTLY = 1e-6
"""A face just at that angle, to the rounding of its corners, needs none [-]."""

FLAT_SHARE = 0.02
"""A side that is a smaller share of the hull's surface is no side to lie on [-]; our own choice."""

DECIMALS_DEG = 2
"""Angles of sides are told to so many decimals [deg]: a side of 100 mm then lies flat within 10 um."""


def tilt_matrix(tilt_deg: float, turn_deg: float) -> Floats:
    r"""Return the rotation that tilts a part about a level line, (3, 3) [-].

    .. math:: R = R_z(\varphi)\,R_x(\theta)\,R_z(-\varphi)

    Parameters
    ----------
    tilt_deg : float
        Tilt, right-handed about the line [deg].
    turn_deg : float
        Where the line points: 0 along x, 90 along y [deg].

    Returns
    -------
    (3, 3) ndarray
        For columns of coordinates; quarter turns are exact.

    Examples
    --------
    >>> tilt_matrix(90.0, 0.0).tolist()
    [[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]]
    """
    require_finite(tilt_deg=tilt_deg, turn_deg=turn_deg)
    (c, s), (a, b) = _cos_sin(tilt_deg), _cos_sin(turn_deg)
    turn = np.array([[a, -b, 0.0], [b, a, 0.0], [0.0, 0.0, 1.0]])
    return np.asarray(turn @ np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]]) @ turn.T + 0.0)


def _cos_sin(angle_deg: float) -> tuple[float, float]:
    quarter = angle_deg / 90.0
    if quarter == round(quarter):  # no rounding may tip a flat side
        return ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[round(quarter) % 4]
    return math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))


def tilted(mesh: Mesh, *, tilt_deg: float, turn_deg: float) -> Mesh:
    """Return a mesh tilted about a level line; the mesh itself without a tilt.

    Parameters
    ----------
    mesh : Mesh
        As drawn.
    tilt_deg, turn_deg : float
        As for :func:`tilt_matrix` [deg].

    Returns
    -------
    Mesh
        The same faces; how their edges meet is not worked out again.

    Examples
    --------
    >>> corner = Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]])
    >>> tilted(corner, tilt_deg=90.0, turn_deg=0.0).vertices_m[2].tolist()
    [0.0, 0.0, 1.0]
    """
    if tilt_deg == 0.0:
        return mesh
    made = Mesh(vertices_m=mesh.vertices_m @ tilt_matrix(tilt_deg, turn_deg).T, faces=mesh.faces)
    # Turning parts no edges; a cached property's slot takes it.
    object.__setattr__(made, "edges", mesh.edges)
    return made


def tilt_of(up: Floats) -> tuple[float, float]:
    """Return tilt and turn that bring a direction of the part upright [deg].

    Parameters
    ----------
    up : (3,) ndarray
        Direction in the part's own frame, of any length but none [-].

    Returns
    -------
    tuple of float
        Tilt within 0 and 180, turn within 0 and 360; turn 0 where it makes no difference.

    Examples
    --------
    >>> tilt_of(np.array([0.0, 0.0, -1.0])), tilt_of(np.array([0.0, 1.0, 1.0])), tilt_of(np.array([-1.0, 0.0, 0.0]))
    ((180.0, 0.0), (45.0, 0.0), (90.0, 90.0))
    """
    x, y, z = (float(v) for v in up)
    tilt = round(math.degrees(math.atan2(math.hypot(x, y), z)), DECIMALS_DEG)
    if tilt in {0.0, 180.0}:
        return tilt, 0.0
    return tilt, round(math.degrees(math.atan2(-x, y)), DECIMALS_DEG) % 360.0


@frozen(kw_only=True, eq=False)
class Facets:
    """The faces of a part as drawn, ready to be asked what of them looks down in any attitude.

    Parameters
    ----------
    mesh : Mesh
        The part as drawn.
    doubled_m2 : (F, 3) ndarray
        Outward normals, as long as twice the face's area [m2].
    length_m2 : (F,) ndarray
        Their lengths [m2].
    """

    mesh: Mesh
    doubled_m2: Floats
    length_m2: Floats

    @classmethod
    def of(cls, mesh: Mesh) -> Facets:
        """Return the facets of a mesh."""
        a, b, c = (mesh.vertices_m[mesh.faces[:, k]] for k in range(3))
        doubled = np.cross(b - a, c - a)
        return cls(mesh=mesh, doubled_m2=doubled, length_m2=np.linalg.norm(doubled, axis=1))

    @property
    def surface_m2(self) -> float:
        """Area of all faces [m2]."""
        return float(self.length_m2.sum()) / 2.0

    def overhang_m2(
        self, *, tilt_deg: float, turn_deg: float, platform_m: float, angle_deg: float = SUPPORTED_DEG
    ) -> float:
        r"""Return the area that supports must carry, seen from below [m2].

        .. math:: A = \sum_f \max(-n_z, 0)\,A_f \quad\text{over}\quad -n_z > \cos\alpha

        Parameters
        ----------
        tilt_deg, turn_deg : float
            How the part stands, as for :func:`tilt_matrix` [deg].
        platform_m : float
            A face no higher than this above the lowest point stands on the platform [m].
        angle_deg : float
            A face flatter than this needs supports [deg].

        Returns
        -------
        float
            Horizontal area of the faces that look down, flatter than the angle, and do not stand on the platform [m2].

        Examples
        --------
        A triangle of half a square metre that looks down from a metre above the lowest point, and upside down:

        >>> table = Mesh(vertices_m=[[0, 0, 1], [1, 0, 1], [0, 1, 1], [0, 0, 0]], faces=[[0, 2, 1], [0, 1, 3]])
        >>> facets = Facets.of(table)
        >>> [facets.overhang_m2(tilt_deg=t, turn_deg=0.0, platform_m=1e-4) for t in (0.0, 180.0)]
        [0.5, 0.0]
        """
        require_positive(platform_m=platform_m)
        up = tilt_matrix(tilt_deg, turn_deg)[2]
        down = -(self.doubled_m2 @ up)
        found = np.flatnonzero(down > math.cos(math.radians(angle_deg)) * (1.0 + EXACTLY) * self.length_m2)
        height = self.mesh.vertices_m @ up
        free = height[self.mesh.faces[found]].max(axis=1, initial=-np.inf) > height.min(initial=np.inf) + platform_m
        return float(down[found][free].sum()) / 2.0


def lying_sides(mesh: Mesh, *, most: int) -> list[tuple[float, float]]:
    """Return the ways in which a part lies on a flat side, as tilt and turn [deg], the largest side first.

    Parameters
    ----------
    mesh : Mesh
        As drawn.
    most : int
        How many sides at most [1].

    Returns
    -------
    list of tuple of float
        Sides of its convex hull; none of a mesh that is flat itself.

    Examples
    --------
    >>> corners = [[0, 0, 0], [3, 0, 0], [0, 2, 0], [0, 0, 1]]
    >>> solid = Mesh(vertices_m=corners, faces=[[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]])
    >>> lying_sides(solid, most=3)[1:]
    [(0.0, 0.0), (90.0, 0.0)]
    """
    try:
        hull = ConvexHull(mesh.vertices_m[np.unique(mesh.faces)])
    except (QhullError, ValueError):
        return []
    a, b, c = (hull.points[hull.simplices[:, k]] for k in range(3))
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1) / 2.0
    sides, of = np.unique(np.round(hull.equations[:, :3], 5), axis=0, return_inverse=True)
    total = np.bincount(of.ravel(), weights=area)
    order = [k for k in np.argsort(-total, kind="stable") if total[k] >= FLAT_SHARE * area.sum()]
    return [tilt_of(-sides[k]) for k in order[:most]]


def clustered(facets: Facets, *, faces: int) -> Mesh:
    """Return a mesh of about so many faces, made by moving corners that lie close together onto one of them.

    A closed mesh stays closed: every face moves with its corners, and those that shrink to an edge are left out.

    Parameters
    ----------
    facets : Facets
        Any mesh.
    faces : int
        How many faces are wanted; a mesh with fewer is returned as it is [1].

    Returns
    -------
    Mesh
        Its corners are corners of the mesh given.

    Examples
    --------
    >>> one = Mesh(vertices_m=[[0, 0, 0], [1, 0, 0], [0, 1, 0]], faces=[[0, 1, 2]])
    >>> clustered(Facets.of(one), faces=10) is one
    True

    References
    ----------
    Vertex clustering as of Rossignac and Borrel, in Modeling in Computer Graphics, Springer 1993, 455-465; here the first
    corner of a cell stands for all of them, so that flat sides stay flat. [rossignac:1993]
    """
    mesh = facets.mesh
    if len(mesh.faces) <= faces:
        return mesh
    # A surface crosses about one and a half times its area in cells, and each keeps a corner, two faces to a corner.
    cell_m = math.sqrt(3.0 * facets.surface_m2 / faces)
    low = mesh.bounds_m[0]
    cells = np.floor((mesh.vertices_m - low) / cell_m).astype(np.int64)
    span = cells.max(axis=0) + 1
    key = (cells[:, 0] * span[1] + cells[:, 1]) * span[2] + cells[:, 2]
    _, first, of = np.unique(key, return_index=True, return_inverse=True)
    moved = of.ravel()[mesh.faces]
    kept = (moved[:, 0] != moved[:, 1]) & (moved[:, 1] != moved[:, 2]) & (moved[:, 2] != moved[:, 0])
    return Mesh(vertices_m=mesh.vertices_m[first], faces=moved[kept])
