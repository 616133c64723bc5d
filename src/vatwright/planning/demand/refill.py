"""How long to wait at the top so that resin is back under the part."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from vatwright.physics.pool import relevel_time
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.unknowns import Side
from vatwright.records.process import Phase, Settings
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def span_m(study: Study) -> float:
    """Return the greatest distance of the mask from the clamped edge [m]."""
    if study.reach is None:
        raise ValueError("resin's way under a part needs studies made with the machine's window")
    return float(study.reach.span_m.max())


def refill_needed_s(case: Case, settings: Settings, phase: str) -> Floats:
    """Return the refill wait that a phase needs in every world for the rises that are set, (S,) [s]."""
    proven, now = getattr(case.job.recipe.settings, phase), getattr(settings, phase)
    ones = np.ones(case.worlds.count)
    return carried_refill_s(
        proven.refill_s, proven=proven, whole_m=now.lift_m * ones, clear_m=now.clear_lift_m * ones,
        origin=case.worlds.origin, target=case.worlds.target, reach_from_m=span_m(case.proven_study),
        reach_to_m=span_m(case.target_study), density_from_kg_m3=case.job.resin_from.density_kg_m3,
        density_to_kg_m3=case.job.resin.density_kg_m3,
    )  # fmt: skip


def lift_for_resin_m(case: Case, phase: str) -> Floats:
    """Return the whole rise below which resin would return later than in the proven run, at most the proven rise, (S,) [m].

    A part that lets go early could rise less; but the time of return grows with the rise to the power -3, and a millimetre
    of rise costs less time than the wait that would replace it.
    """
    proven, worlds, job = getattr(case.job.recipe.settings, phase), case.worlds, case.job
    farther = span_m(case.target_study) / span_m(case.proven_study)
    slower = worlds.target.viscosity_pa_s / worlds.origin.viscosity_pa_s
    lighter = job.resin_from.density_kg_m3 / job.resin.density_kg_m3
    return np.asarray(proven.lift_m * np.minimum(np.cbrt(slower * lighter * farther**2), 1.0))


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
