"""How far a plate must rise until a film lets go, by a rule in place of a solution: for layers in between and unseen ones."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from scipy.ndimage import binary_fill_holes, distance_transform_edt
from scipy.spatial import ConvexHull

from vatwright.errors import require_positive

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.geometry.release_front import WindowGrid

    Floats = NDArray[np.float64]


def conformal_radius_m(x_m: float, y_m: float, *, width_m: float, depth_m: float) -> float:
    r"""Return the conformal radius of a rectangular window at a point: how far away the clamp seems from there.

    .. math:: \rho^{-4} = \rho_x^{-4} + \rho_y^{-4},\quad \rho_y = \frac{2 H}{\pi} \sin\frac{\pi d}{H}

    Parameters
    ----------
    x_m, y_m : float
        The point, from the window's centre [m].
    width_m, depth_m : float
        The window [m].

    Returns
    -------
    float
        Conformal radius [m]; 0 outside.

    Notes
    -----
    Each factor is exact for an endless strip of that height.  The power joins them so that the middle of a square, 0.5394
    times its side, is met within 1 %.

    Examples
    --------
    >>> round(conformal_radius_m(0.0, 0.0, width_m=10.0, depth_m=0.1), 4)
    0.0637

    References
    ----------
    Conformal map of a strip on a disc [derived:vatwright].
    """
    require_positive(width_m=width_m, depth_m=depth_m)
    across = _strip_m(0.5 * width_m - abs(x_m), width_m)
    along = _strip_m(0.5 * depth_m - abs(y_m), depth_m)
    if min(across, along) <= 0.0:
        return 0.0
    return float((across**-4 + along**-4) ** -0.25)


def _strip_m(distance_m: float, height_m: float) -> float:
    return 2.0 * height_m / math.pi * math.sin(math.pi * max(distance_m, 0.0) / height_m)


def disc_reach_m(radius_m: float, x_m: float, y_m: float, *, width_m: float, depth_m: float) -> float:
    r"""Return the rise over tan(theta) at which a disc anywhere in a rectangular window lets go.

    .. math:: r s [1 - 0.8 q (s - 1) - 0.14 q^2],\quad s = \ln(\rho / r),\quad q = r |\nabla \ln \rho|

    Parameters
    ----------
    radius_m : float
        Radius of the disc [m]; more than rho/e counts as that.
    x_m, y_m : float
        Its centre, from the window's [m].
    width_m, depth_m : float
        The window [m].

    Returns
    -------
    float
        Rise over tan(theta) [m].

    Notes
    -----
    In the middle of a round window it is exact, r ln(R/r).  The two coefficients were fitted to solutions of the moving
    front off the middle.

    Examples
    --------
    >>> round(disc_reach_m(0.01, 0.0, 0.0, width_m=0.176, depth_m=0.112), 4)
    0.0193

    References
    ----------
    Laplace's equation round a disc [derived:vatwright].
    """
    rho = conformal_radius_m(x_m, y_m, width_m=width_m, depth_m=depth_m)
    if rho <= 0.0:
        return 0.0
    radius = min(radius_m, rho / math.e)
    away = 1e-4 * min(width_m, depth_m)
    size = {"width_m": width_m, "depth_m": depth_m}
    steps = ((away, 0.0), (0.0, away))
    logs = [
        [math.log(max(conformal_radius_m(x_m + k * dx, y_m + k * dy, **size), 1e-9)) for k in (1, -1)]
        for dx, dy in steps
    ]
    slope = math.hypot(*((a - b) / (2.0 * away) for a, b in logs))
    s, q = math.log(rho / radius), radius * slope
    return max(radius * s * (1.0 - 0.8 * q * (s - 1.0) - 0.14 * q * q), 0.0)


def rule_reach_m(cover: Floats, grid: WindowGrid, *, width_m: float, depth_m: float) -> float:
    """Return the rise over tan(theta) at which all that is bonded in a rectangular window has let go, by a rule.

    Parameters
    ----------
    cover : (H, W) ndarray
        Share of the cell round each node that is bonded [-].
    grid : WindowGrid
        The window's nodes.
    width_m, depth_m : float
        The window [m].

    Returns
    -------
    float
        Rise over tan(theta) [m]; 0 where nothing is bonded.

    Notes
    -----
    Of the largest disc inside what is bonded, and of the disc with the area of its hull: what the layer needs lies as far
    between as its area fills its hull.  Within some 10 % of the moving front's solution for a few pieces; calibrate it to
    neighbouring solutions.

    Examples
    --------
    >>> from vatwright.geometry.release_front import rectangular_window
    >>> grid = rectangular_window(0.176, 0.112, cells=88)
    >>> away_m = np.hypot(grid.x_m[None, :], grid.y_m[:, None])
    >>> cover = np.clip(0.5 + (0.01 - away_m) / grid.pitch_m, 0.0, 1.0)
    >>> abs(rule_reach_m(cover, grid, width_m=0.176, depth_m=0.112) / 0.0193 - 1.0) < 0.05
    True
    """
    if not (cover > 0.0).any():
        return 0.0
    inner = _inscribed(cover, grid)
    outer = _hull(cover, grid)
    size = {"width_m": width_m, "depth_m": depth_m}
    within = disc_reach_m(inner[0], inner[1], inner[2], **size)
    whole = disc_reach_m(outer[0], outer[1], outer[2], **size)
    filled = min(float(cover.sum()) * grid.pitch_m**2 / (math.pi * outer[0] ** 2), 1.0)
    return within + filled * max(whole - within, 0.0)


def _inscribed(cover: Floats, grid: WindowGrid) -> tuple[float, float, float]:
    """Radius and centre of the largest disc inside what is bonded; of equal ones the innermost, which lets go last."""
    # The film inside a ring rises with it: a wall all round holds like what it encloses.
    inside = np.pad(binary_fill_holes(cover >= 0.5), 1)
    deep = distance_transform_edt(inside)[1:-1, 1:-1] if inside.any() else cover
    j, i = np.nonzero(deep >= float(deep.max()) - (1.0 if inside.any() else 0.0))
    k = int(np.argmax(grid.inside_m[j, i]))
    radius = float(deep.max()) - 0.5 if inside.any() else math.sqrt(float(cover.max()) / math.pi)
    return radius * grid.pitch_m, float(grid.x_m[i[k]]), float(grid.y_m[j[k]])


def _hull(cover: Floats, grid: WindowGrid) -> tuple[float, float, float]:
    """Radius of the disc of the hull's area, and its centroid; cells count where they are half covered."""
    row, column = np.nonzero(cover >= min(0.5, float(cover.max())))
    ends = [(dx, dy) for dx in (-0.5, 0.5) for dy in (-0.5, 0.5)]
    corners = np.concatenate(
        [np.column_stack((grid.x_m[column], grid.y_m[row])) + np.multiply(e, grid.pitch_m) for e in ends]
    )
    hull = ConvexHull(corners)
    ring = corners[hull.vertices]
    following = np.roll(ring, -1, axis=0)
    cross = ring[:, 0] * following[:, 1] - following[:, 0] * ring[:, 1]
    middle = ((ring + following) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum())
    return math.sqrt(hull.volume / math.pi), float(middle[0]), float(middle[1])
