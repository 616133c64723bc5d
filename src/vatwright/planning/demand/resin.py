"""How much resin to pour for one plate."""

from __future__ import annotations

from vatwright.physics.drag_out import film_thickness
from vatwright.physics.pool import relevel_depth
from vatwright.records.machine import Machine
from vatwright.records.plan import ResinNeed
from vatwright.records.process import Phase
from vatwright.records.study import Study

SURFACE_TENSION_N_M = 0.035
"""Surface tension of acrylate resins [N/m]: 0.03-0.04, from memory."""

POOL_TIME_S = 5.0
"""Time in which the pool should level itself again where no recipe says how long a lift takes [s]; engineering estimate."""


def time_to_level_s(body: Phase) -> float:
    """Return how long the plate is away in one body layer, up, wait and down, which is when the pool flows level [s].

    Parameters
    ----------
    body : Phase
        The body's settings.

    Notes
    -----
    Moves at their full speed: ramps make it a little longer, which leaves the pool on the deep side.
    """
    rise_s = body.peel_lift_m / body.peel_speed_m_s + body.clear_lift_m / body.clear_speed_m_s
    return rise_s + body.refill_s + body.lift_m / body.return_speed_m_s


def resin_need(
    study: Study,
    machine: Machine,
    *,
    viscosity_pa_s: float,
    density_kg_m3: float,
    clear_speed_m_s: float,
    pool_time_s: float = POOL_TIME_S,
) -> ResinNeed:
    """Return the resin for one plate: what becomes part, what clings, and the pool that must remain [m3].

    Parameters
    ----------
    study : Study
        Volume and surface of the plate.
    machine : Machine
        Its vat.
    viscosity_pa_s, density_kg_m3 : float
        Of the resin at the room's temperature [Pa s], [kg/m3].
    clear_speed_m_s : float
        Speed at which the plate leaves the resin at the end [m/s].
    pool_time_s : float
        Time in which the pool should flow level, as :func:`time_to_level_s` [s].

    Returns
    -------
    ResinNeed
        Volumes; the pour is their sum.

    Notes
    -----
    An order of magnitude for what clings (Landau and Levich) and for the pool (a layer that levels by its own weight).
    """
    film_m = film_thickness(
        viscosity_pa_s=viscosity_pa_s,
        speed_m_s=clear_speed_m_s,
        surface_tension_n_m=SURFACE_TENSION_N_M,
        density_kg_m3=density_kg_m3,
    )
    wetted_m2 = study.surface_m2 + machine.platform.width_m * machine.platform.depth_m
    pool_depth_m = relevel_depth(
        viscosity_pa_s=viscosity_pa_s,
        length_m=min(machine.vat.width_m, machine.vat.depth_m) / 2.0,
        time_s=pool_time_s,
        density_kg_m3=density_kg_m3,
    )
    pool_m3 = machine.vat.width_m * machine.vat.depth_m * min(pool_depth_m, machine.vat.full_m)
    drag_out_m3 = film_m * wetted_m2
    return ResinNeed(
        parts_m3=study.volume_m3,
        drag_out_m3=drag_out_m3,
        pool_m3=pool_m3,
        pour_m3=study.volume_m3 + drag_out_m3 + pool_m3,
    )
