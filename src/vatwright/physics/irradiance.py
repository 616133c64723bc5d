"""Irradiance over a window, from a handful of meter readings; how light fades with use.

Between readings the light is taken as linear over the triangles that the readings span; beyond them it is what it is at
the nearest place between them.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from vatwright.errors import DomainError, Mistake, require_positive
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray
    from scipy.spatial import Delaunay

    Floats = NDArray[np.float64]
    Readings = Sequence[float] | Floats

MEAN_CELLS = 48
"""Cells along each side of the rectangle over which the mean is taken: exact for a plane, as the map is between readings
but for the kinks."""

EDGE_PARTS = 16
"""Into how many parts each edge of an outline is cut in the search for its extremes."""

LEAST_SPREAD = 1.0e-6
"""Ratio of the narrow to the wide spread of the readings below which they lie on a line [-]: far above rounding."""


class LightRange(NamedTuple):
    """Dimmest and brightest irradiance of a region [W/m^2]."""

    dimmest_w_m2: float
    brightest_w_m2: float


def irradiance_at(
    *, x_m: Readings, y_m: Readings, irradiance_w_m2: Readings, at_x_m: Readings, at_y_m: Readings
) -> Floats:
    r"""Return the irradiance at places between and beyond meter readings.

    .. math:: I(x) = \lambda_1 I_1 + \lambda_2 I_2 + \lambda_3 I_3,\quad x = \sum_k \lambda_k x_k,\ \sum_k \lambda_k = 1

    Parameters
    ----------
    x_m, y_m : (N,) sequence
        Where each reading was taken [m].
    irradiance_w_m2 : (N,) sequence
        What the meter showed there [W/m^2]; readings of one spot count as their mean.
    at_x_m, at_y_m : (M,) sequence
        The places asked about [m].

    Returns
    -------
    (M,) ndarray
        Irradiance [W/m^2].

    Raises
    ------
    DomainError
        For no reading, lists of different length, places that are not finite, irradiance that is not above zero.

    Notes
    -----
    Linear over the Delaunay triangles of the readings; beyond their hull, the value at the hull's nearest point: nothing
    is extrapolated.  The light between readings that stand far apart may still dip: read more spots.  Readings on a line
    are interpolated along it, a single one holds everywhere.  Over a square of four readings either diagonal may be the
    one that splits it.

    Examples
    --------
    >>> corners = {"x_m": [-0.1, 0.1, -0.1], "y_m": [-0.06, -0.06, 0.06], "irradiance_w_m2": [20.0, 30.0, 24.0]}
    >>> irradiance_at(**corners, at_x_m=[0.0, 0.1, 0.3], at_y_m=[-0.06, -0.06, -0.2]).round(6).tolist()
    [25.0, 30.0, 30.0]

    References
    ----------
    Linear interpolation over a triangulation: Delaunay [delaunay:1934].
    """
    spots, values = _spots(x_m, y_m, irradiance_w_m2)
    places = np.column_stack((np.asarray(at_x_m, dtype=np.float64), np.asarray(at_y_m, dtype=np.float64)))
    if not np.isfinite(places).all():
        raise DomainError.one("at_x_m", to_say("must be finite"), to_say("Give places in the window"))
    return _map(spots, values)(places)


def mean_irradiance(
    *, x_m: Readings, y_m: Readings, irradiance_w_m2: Readings, width_m: float, depth_m: float
) -> float:
    r"""Return the mean irradiance over a rectangular window, from meter readings.

    .. math:: \bar I = \frac{1}{w d} \int_{-w/2}^{w/2} \int_{-d/2}^{d/2} I(x, y)\, dy\, dx

    Parameters
    ----------
    x_m, y_m : (N,) sequence
        Where each reading was taken, from the middle of the window [m].
    irradiance_w_m2 : (N,) sequence
        What the meter showed there [W/m^2].
    width_m, depth_m : float
        Size of the window [m].

    Returns
    -------
    float
        Mean irradiance [W/m^2].

    Raises
    ------
    DomainError
        As :func:`irradiance_at`, and for a size that is not above zero.

    Notes
    -----
    Midpoint rule on 48 by 48 cells: exact for a plane, good to a few parts in 10,000 at the kinks of the map.  It weighs a
    reading by the area it stands for, which the plain mean of the readings does not.

    Examples
    --------
    >>> five = {"x_m": [-0.1, 0.1, 0.1, -0.1, 0.0], "y_m": [-0.06, -0.06, 0.06, 0.06, 0.0]}
    >>> round(mean_irradiance(**five, irradiance_w_m2=[24.0, 24.0, 24.0, 24.0, 30.0], width_m=0.2, depth_m=0.12), 2)
    26.0

    References
    ----------
    Delaunay [delaunay:1934]; mean of a pyramid, a third of its height [derived:vatwright].
    """
    require_positive(width_m=width_m, depth_m=depth_m)
    middles = (np.arange(MEAN_CELLS) + 0.5) / MEAN_CELLS - 0.5
    x, y = np.meshgrid(middles * width_m, middles * depth_m)
    found = irradiance_at(x_m=x_m, y_m=y_m, irradiance_w_m2=irradiance_w_m2, at_x_m=x.ravel(), at_y_m=y.ravel())
    return float(found.mean())


def irradiance_range(
    *, x_m: Readings, y_m: Readings, irradiance_w_m2: Readings, outlines_m: Sequence[Floats]
) -> LightRange:
    r"""Return the dimmest and the brightest irradiance inside outlines, from meter readings.

    .. math:: \min_{x \in \Omega} I(x), \qquad \max_{x \in \Omega} I(x)

    Parameters
    ----------
    x_m, y_m : (N,) sequence
        Where each reading was taken [m].
    irradiance_w_m2 : (N,) sequence
        What the meter showed there [W/m^2].
    outlines_m : sequence of (P, 2) ndarray
        Closed loops, without the first point repeated; a loop inside another is a hole [m].

    Returns
    -------
    LightRange
        Dimmest and brightest [W/m^2].

    Raises
    ------
    DomainError
        As :func:`irradiance_at`, and for no outline.

    Notes
    -----
    A map that is linear between readings is at its extremes at a reading inside the outlines or somewhere on them; edges
    are looked at in 16 parts.

    Examples
    --------
    >>> import numpy as np
    >>> four = {"x_m": [-0.1, 0.1, 0.1, -0.1], "y_m": [-0.06, -0.06, 0.06, 0.06], "irradiance_w_m2": [20.0, 30.0, 30.0, 20.0]}
    >>> middle = np.array([(-0.02, -0.02), (0.02, -0.02), (0.02, 0.02), (-0.02, 0.02)])
    >>> [round(v, 6) for v in irradiance_range(**four, outlines_m=[middle])]
    [24.0, 26.0]

    References
    ----------
    Delaunay [delaunay:1934]; extremes of a linear function lie on the border [derived:vatwright].
    """
    if not len(outlines_m):
        raise DomainError.one("outlines_m", to_say("holds no outline"), to_say("Give at least one loop"))
    spots, values = _spots(x_m, y_m, irradiance_w_m2)
    loops = [np.asarray(loop, dtype=np.float64) for loop in outlines_m]
    found = [_map(spots, values)(np.concatenate([_along(loop) for loop in loops]))]
    found.append(values[_inside(loops, spots)])
    every = np.concatenate(found)
    return LightRange(float(every.min()), float(every.max()))


def _spots(x_m: Readings, y_m: Readings, irradiance_w_m2: Readings) -> tuple[Floats, Floats]:
    """Return the different spots read, (N, 2), and the mean reading of each."""
    x, y, read = (np.asarray(v, dtype=np.float64).reshape(-1) for v in (x_m, y_m, irradiance_w_m2))
    bad = [
        Mistake(name, to_say("must be finite, one for each reading"), to_say("Check the readings"))
        for name, v in (("x_m", x), ("y_m", y), ("irradiance_w_m2", read))
        if not len(v) or len(v) != len(read) or not np.isfinite(v).all()
    ]
    if not bad and (read <= 0.0).any():
        bad.append(Mistake("irradiance_w_m2", to_say("must be above 0"), to_say("Read that spot again")))
    if bad:
        raise DomainError(bad)
    spots, which = np.unique(np.column_stack((x, y)), axis=0, return_inverse=True)
    which = which.reshape(-1)
    return spots, np.bincount(which, weights=read) / np.bincount(which)


def _map(spots: Floats, values: Floats) -> Callable[[Floats], Floats]:
    """Return the map: from (M, 2) places to (M,) irradiances."""
    centre = spots.mean(axis=0)
    _, spread, axes = np.linalg.svd(spots - centre, full_matrices=False)
    if len(spots) < 3 or spread[1] <= LEAST_SPREAD * spread[0]:
        along = (spots - centre) @ axes[0]
        order = np.argsort(along)
        return lambda places: np.interp((places - centre) @ axes[0], along[order], values[order])
    # Half a second to import, and most machines have no map.
    from scipy.spatial import Delaunay

    mesh = Delaunay(spots)
    return lambda places: _on_triangles(mesh, values, places)


def _on_triangles(mesh: Delaunay, values: Floats, places: Floats) -> Floats:
    """Interpolate over triangles; what lies outside is first moved to the hull's nearest point."""
    triangle = mesh.find_simplex(places)
    found = np.empty(len(places))
    inside = triangle >= 0
    transform = mesh.transform[triangle[inside]]
    first = np.einsum("mij,mj->mi", transform[:, :2], places[inside] - transform[:, 2])
    weights = np.column_stack((first, 1.0 - first.sum(axis=1)))
    found[inside] = (weights * values[mesh.simplices[triangle[inside]]]).sum(axis=1)
    if not inside.all():
        found[~inside] = _on_hull(mesh, values, places[~inside])
    return found


def _on_hull(mesh: Delaunay, values: Floats, places: Floats) -> Floats:
    """Return the value at the hull's point nearest to each place."""
    start, end = mesh.points[mesh.convex_hull[:, 0]], mesh.points[mesh.convex_hull[:, 1]]
    edge = end - start
    along = np.einsum("mhi,hi->mh", places[:, None, :] - start, edge) / (edge**2).sum(axis=1)
    along = np.clip(along, 0.0, 1.0)
    away = places[:, None, :] - (start + along[..., None] * edge)
    nearest = np.argmin((away**2).sum(axis=2), axis=1)
    share = along[np.arange(len(places)), nearest]
    low, high = (values[mesh.convex_hull[nearest, k]] for k in (0, 1))
    return np.asarray(low + share * (high - low))


def _along(loop: Floats) -> Floats:
    """Return points along a closed loop, `EDGE_PARTS` an edge."""
    share = (np.arange(EDGE_PARTS) / EDGE_PARTS)[:, None, None]
    return np.asarray(loop + share * (np.roll(loop, -1, axis=0) - loop)).reshape(-1, 2)


def _inside(loops: list[Floats], points: Floats) -> NDArray[np.bool_]:
    """Return which points lie inside, by the even-odd rule over all loops."""
    odd = np.zeros(len(points), dtype=bool)
    x, y = points[:, :1], points[:, 1:]
    for loop in loops:
        (x0, y0), (x1, y1) = loop.T, np.roll(loop, -1, axis=0).T
        crosses = (y0 > y) != (y1 > y)
        rise = np.where(y1 == y0, 1.0, y1 - y0)
        odd ^= (crosses & (x < x0 + (y - y0) / rise * (x1 - x0))).sum(axis=1) % 2 == 1
    return odd
