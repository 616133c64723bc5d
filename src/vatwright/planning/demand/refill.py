"""How long to wait at the top so that resin is back under the part."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.physics.pool import relevel_time
from vatwright.planning.demand.unknowns import Side
from vatwright.records.process import Phase

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def carried_refill_s(
    proven_s: float,
    *,
    proven: Phase,
    whole_m: Floats,
    clear_m: Floats,
    origin: Side,
    target: Side,
    reach_from_m: float,
    reach_to_m: float,
    density_from_kg_m3: float,
    density_to_kg_m3: float,
) -> Floats:
    """Return the refill wait needed on the target in every world [s].

    Resin flows back under the part in a time of order 3 mu L^2 / (rho g H^3), with L the way in from the window's edge
    and H the rise.  What the target needs beyond the origin, less what its longer fast stage and way down give it anyway, is
    added to the proven wait; the order of magnitude does not carry a shorter one.

    Parameters
    ----------
    proven_s : float
        Proven wait [s].
    proven : Phase
        The phase it belongs to, for the proven rise.
    whole_m, clear_m : (S,) ndarray
        Rise on the target, and its fast stage [m].
    origin, target : Side
        Viscosities in every world.
    reach_from_m, reach_to_m : float
        Greatest distance of the mask from the window's edge on both [m].
    density_from_kg_m3, density_to_kg_m3 : float
        Of both resins [kg/m3].

    Returns
    -------
    (S,) ndarray
        Waits; exactly the proven one where nothing differs.
    """
    before = relevel_time(
        viscosity_pa_s=1.0, length_m=reach_from_m, density_kg_m3=density_from_kg_m3, depth_m=proven.lift_m
    )
    per_viscosity = relevel_time(
        viscosity_pa_s=1.0, length_m=reach_to_m, density_kg_m3=density_to_kg_m3, depth_m=proven.lift_m
    )
    after = per_viscosity * (proven.lift_m / whole_m) ** 3
    needed = after * target.viscosity_pa_s - before * origin.viscosity_pa_s
    given = (clear_m - proven.clear_lift_m) / proven.clear_speed_m_s + (
        whole_m - proven.lift_m
    ) / proven.return_speed_m_s
    return np.asarray(proven_s + np.maximum(needed - given, 0.0))
