"""How far the plate must rise so that the last point lets go, and how hard it pulls on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.physics.squeeze_film import suction_limit
from vatwright.records.study import Reach, SealedPocket

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.demand.unknowns import Side

    Floats = NDArray[np.float64]

PULL_SCATTER = 2.5
"""Factor by which pull scatters from layer to layer, either way [-]; engineering estimate from practice, no source."""


def release_lift_m(tan_angle: Floats, span_m: float) -> Floats:
    """Return the rise at which a point `span_m` from the clamped edge lets go, in every world: z = s tan(theta) [m].

    Parameters
    ----------
    tan_angle : (S,) ndarray
        Tangent of the peel angle [-].
    span_m : float
        Distance from the clamped edge [m].

    Returns
    -------
    (S,) ndarray
        Rise [m].

    References
    ----------
    Straight film from the clamp to the front; the angle from the energy balance of Rivlin, Paint Technology 9 (1944)
    215-216. [rivlin:1944]
    """
    return np.asarray(tan_angle * span_m)


def carried_lift_m(*, proven_lift_m: float, origin: Side, target: Side, span_from_m: float, span_to_m: float) -> Floats:
    """Return the whole rise needed on the target in every world [m].

    The proven rise exceeds the release on the origin by some room; the room is carried whole:
    L_B = L_A + s_B tan(theta_B) - s_A tan(theta_A).

    Parameters
    ----------
    proven_lift_m : float
        Rise proven on the origin [m].
    origin, target : Side
        Peel angles in every world.
    span_from_m, span_to_m : float
        Greatest distance of the mask from the clamped edge on both [m].

    Returns
    -------
    (S,) ndarray
        Rises; exactly the proven one where nothing differs.
    """
    before, after = release_lift_m(origin.tan_angle, span_from_m), release_lift_m(target.tan_angle, span_to_m)
    # It did let go within the proven rise: a world that says otherwise is scaled down to it, on both machines.
    return np.asarray(proven_lift_m + np.minimum(proven_lift_m / before, 1.0) * (after - before))


def carried_peel_lift_m(
    *, proven_peel_m: float, origin: Side, target: Side, span_from_m: float, span_to_m: float
) -> Floats:
    """Return the slow stage needed on the target in every world [m].

    The slow stage keeps the share of the release that it had: it grows as the release itself does.

    Parameters
    ----------
    proven_peel_m : float
        Slow stage proven on the origin [m].
    origin, target : Side
        Peel angles in every world.
    span_from_m, span_to_m : float
        Greatest distance of the mask from the clamped edge on both [m].

    Returns
    -------
    (S,) ndarray
        Slow stages; exactly the proven one where nothing differs.
    """
    return np.asarray(proven_peel_m * (target.tan_angle / origin.tan_angle) * (span_to_m / span_from_m))


def pull_n(side: Side, level_m: Floats) -> Floats:
    """Return the peak pull of every layer in every world: F = T sin(theta) b [N], shape (S, N).

    Parameters
    ----------
    side : Side
        Film tension and peel angle in every world, shape (S,).
    level_m : (N,) ndarray
        Longest level line of each layer's mask [m].

    Returns
    -------
    (S, N) ndarray
        Peak pull [N].
    """
    return np.asarray((side.tension_n_m * np.sin(side.angle_rad))[:, None] * level_m[None, :])


def pull_curve(side: Side, reach: Reach, *, lift_m: Floats) -> Floats:
    """Return the pull of the hardest layer against lift in every world [N], shape (S, Z).

    At lift z the front stands at distance s = z / tan(theta) from the clamped edge; the pull there is T sin(theta) b(s).

    Parameters
    ----------
    side : Side
        Film tension and peel angle in every world, shape (S,).
    reach : Reach
        Level lines of that layer.
    lift_m : (Z,) ndarray
        Lifts [m].

    Returns
    -------
    (S, Z) ndarray
        Pull [N].
    """
    middle = (np.arange(len(reach.peak_lines_m)) + 0.5) * reach.step_m
    front = lift_m[None, :] / side.tan_angle[:, None]
    lines = np.interp(front, middle, reach.peak_lines_m, right=0.0)
    return np.asarray((side.tension_n_m * np.sin(side.angle_rad))[:, None] * lines)


def pocket_pull_n(pocket: SealedPocket) -> float:
    """Return the most a sealed pocket can pull: one atmosphere on its mouth [N].

    Examples
    --------
    >>> import math
    >>> round(pocket_pull_n(SealedPocket(0, 10, 1e-6, math.pi * 0.01**2)), 3)
    31.832
    """
    return suction_limit(pocket.open_area_m2)
