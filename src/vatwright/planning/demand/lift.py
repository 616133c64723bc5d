"""How far the plate must rise so that the last point lets go, and how hard it pulls on the way."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.physics.squeeze_film import suction_limit
from vatwright.records.study import Reach, SealedPocket

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.demand.settle import Run
    from vatwright.planning.demand.unknowns import Side

    Floats = NDArray[np.float64]

PULL_SCATTER = 2.5
"""Factor by which pull scatters from layer to layer, either way [-]; engineering estimate from practice, no source."""


def release_lift_m(tan_angle: Floats, reach_m: float) -> Floats:
    """Return the rise at which the film has let go of a whole layer, in every world: z = reach tan(theta) [m].

    Parameters
    ----------
    tan_angle : (S,) ndarray
        Tangent of the peel angle [-].
    reach_m : float
        Rise over tan(theta), of the layer's outlines in the window [m].

    Returns
    -------
    (S,) ndarray
        Rise [m].

    References
    ----------
    A stretched film with a front that runs in from every edge (:func:`vatwright.geometry.release_front.release`); the angle
    from the energy balance of Rivlin, Paint Technology 9 (1944) 215-216. [rivlin:1944]
    """
    return np.asarray(tan_angle * reach_m)


def release_margin(run: Run, reach_m: float) -> Floats:
    """Return how far base and body rise over what the film needs at their peel speeds, the lesser of both, (S,) [-].

    Parameters
    ----------
    run : Run
        Rises, speeds and the film in every world.
    reach_m : float
        Rise over tan(theta) at which the hardest layer lets go [m].
    """
    least: dict[float, tuple[str, float]] = {}
    for name in ("body", "base"):
        phase = getattr(run.settings, name)
        known = least.get(phase.peel_speed_m_s)
        if known is None or phase.lift_m < known[1]:
            least[phase.peel_speed_m_s] = (name, phase.lift_m)
    margins = [lift_m / release_lift_m(run.film(name).tan_angle, max(reach_m, 1e-6)) for name, lift_m in least.values()]
    return np.asarray(np.min(margins, axis=0))


def carried_lift_m(
    *, proven_lift_m: float, origin: Side, target: Side, reach_from_m: float, reach_to_m: float
) -> Floats:
    """Return the whole rise needed on the target in every world [m].

    The proven rise exceeds the release on the origin by some room; the room is carried whole:
    L_B = L_A + r_B tan(theta_B) - r_A tan(theta_A).

    Parameters
    ----------
    proven_lift_m : float
        Rise proven on the origin [m].
    origin, target : Side
        Films in every world, each at its peel speed.
    reach_from_m, reach_to_m : float
        Rise over tan(theta) at which the hardest layer lets go on both [m].

    Returns
    -------
    (S,) ndarray
        Rises; exactly the proven one where nothing differs.
    """
    before, after = release_lift_m(origin.tan_angle, reach_from_m), release_lift_m(target.tan_angle, reach_to_m)
    # It did let go within the proven rise: a world that says otherwise is scaled down to it, on both machines.
    return np.asarray(proven_lift_m + np.minimum(proven_lift_m / before, 1.0) * (after - before))


def carried_peel_lift_m(
    *, proven_peel_m: float, origin: Side, target: Side, reach_from_m: float, reach_to_m: float
) -> Floats:
    """Return the slow stage needed on the target in every world [m].

    The slow stage keeps the share of the release that it had: it grows as the release itself does.

    Parameters
    ----------
    proven_peel_m : float
        Slow stage proven on the origin [m].
    origin, target : Side
        Films in every world, each at its peel speed.
    reach_from_m, reach_to_m : float
        Rise over tan(theta) at which the hardest layer lets go on both [m].

    Returns
    -------
    (S,) ndarray
        Slow stages; exactly the proven one where nothing differs.
    """
    return np.asarray(proven_peel_m * (target.tan_angle / origin.tan_angle) * (reach_to_m / reach_from_m))


def pull_n(side: Side, front_m: Floats) -> Floats:
    """Return the peak pull of every layer in every world: F = T1 sin(theta) b [N], shape (S, N).

    Parameters
    ----------
    side : Side
        Film at the peel speed of these layers in every world, shape (S,).
    front_m : (N,) ndarray
        Peak of each layer's pull over T sin(theta) [m].

    Returns
    -------
    (S, N) ndarray
        Peak pull [N].
    """
    return np.asarray(side.front_force_n_m[:, None] * front_m[None, :])


def pull_curve(side: Side, reach: Reach, *, lift_m: Floats) -> Floats:
    """Return the pull of the hardest layer against lift in every world [N], shape (S, Z).

    At lift z the film stands as at the rise z / tan(theta) of the layer's way; the pull there is T1 sin(theta) times its.

    Parameters
    ----------
    side : Side
        Film at that layer's peel speed in every world, shape (S,).
    reach : Reach
        That layer's way.
    lift_m : (Z,) ndarray
        Lifts [m].

    Returns
    -------
    (S, Z) ndarray
        Pull [N].
    """
    rise = lift_m[None, :] / side.tan_angle[:, None]
    # Where the film lets go all at once the rise stands still and the pull falls: the highest pull of a rise counts.
    way, first = np.unique(reach.peak_rise_m, return_index=True)
    pulls = np.interp(rise, np.append(0.0, way), np.append(0.0, reach.peak_pull_m[first]), right=0.0)
    return np.asarray(side.front_force_n_m[:, None] * pulls)


def pocket_pull_n(pocket: SealedPocket) -> float:
    """Return the most a sealed pocket can pull: one atmosphere on its mouth [N].

    Examples
    --------
    >>> import math
    >>> round(pocket_pull_n(SealedPocket(0, 10, 1e-6, math.pi * 0.01**2)), 3)
    31.832
    """
    return suction_limit(pocket.open_area_m2)
