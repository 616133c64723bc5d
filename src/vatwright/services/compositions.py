"""Formulas made of others: the sums that `calc` offers beyond those of the physics room, stated the same way."""

from __future__ import annotations

import math

from vatwright.errors import DomainError
from vatwright.physics import cure_depth, film_peel, stiffness, vapour, warming
from vatwright.wording import to_say


def force_left(
    *,
    viscosity_pa_s: float,
    radius_m: float,
    tension_n_m: float,
    window_radius_m: float,
    gap_m: float,
    descent_m_s: float,
    time_s: float,
) -> float:
    r"""Return the share of the force left on a free film some time after the plate has stopped.

    .. math:: \nabla(h^3 \nabla p) = 12 \mu\, dh/dt,\quad T \Delta w = -p\;\text{for}\; r < R,\quad w = 0\;\text{at}\; R_w,
        \quad\text{descent at}\; V\;\text{to}\; h,\;\text{then rest for}\; t

    Parameters
    ----------
    viscosity_pa_s : float
        Viscosity of the resin, :math:`\mu` [Pa s].
    radius_m : float
        Radius of the disc of the part's area, :math:`R` [m].
    tension_n_m : float
        Line tension of the film, :math:`T` [N/m].
    window_radius_m : float
        Radius at which the film is clamped, :math:`R_w` [m].
    gap_m : float
        Commanded gap, :math:`h` [m].
    descent_m_s : float
        Speed of the descent, :math:`V` [m/s].
    time_s : float
        Time since the stop, :math:`t` [s].

    Returns
    -------
    float
        Share of the force left, :math:`F/F_0` [1].

    Notes
    -----
    Round face in the middle of a round film that is free to bow; on glass use settled_gap.

    References
    ----------
    Reynolds [reynolds:1886], with a membrane under the resin [derived:vatwright].
    """
    from vatwright.physics import film_settle  # compiled on first use; no other formula needs a compiler

    return film_settle.force_left(
        viscosity_pa_s=viscosity_pa_s, radius_m=radius_m, tension_n_m=tension_n_m, window_radius_m=window_radius_m,
        gap_m=gap_m, descent_m_s=descent_m_s, time_s=time_s,
    )  # fmt: skip


def print_through(
    *, penetration_m: float, critical_j_m2: float, dose_j_m2: float, layer_m: float, layers: float
) -> float:
    r"""Return the depth cured beyond an overhang by many layers.

    .. math:: z = D_p \ln\left(\frac{E}{E_c}\,\frac{1 - e^{-N L/D_p}}{1 - e^{-L/D_p}}\right)

    Parameters
    ----------
    penetration_m : float
        Penetration depth, :math:`D_p` [m].
    critical_j_m2 : float
        Critical dose, :math:`E_c` [J/m^2].
    dose_j_m2 : float
        Dose of one layer at the window, :math:`E` [J/m^2].
    layer_m : float
        Layer thickness, :math:`L` [m].
    layers : float
        Number of layers, :math:`N` [1], a whole number.

    Returns
    -------
    float
        Depth [m].

    Notes
    -----
    Upper bound: cured and liquid resin absorb alike, and no oxygen comes back between layers.

    References
    ----------
    Sum over Beer-Lambert terms [derived:vatwright], after Jacobs [jacobs:1992].
    """
    _require_whole(layers=layers)
    return cure_depth.print_through(
        penetration_m=penetration_m,
        critical_j_m2=critical_j_m2,
        dose_j_m2=dose_j_m2,
        layer_m=layer_m,
        layers=int(layers),
    )


def schwarzschild_exposure(
    *, exposure_s: float, from_irradiance_w_m2: float, to_irradiance_w_m2: float, schwarzschild: float = 1.0
) -> float:
    r"""Return the exposure with the same effect by Schwarzschild's rule I t^p = constant.

    .. math:: t_2 = t_1 (I_1 / I_2)^{1/p}

    Parameters
    ----------
    exposure_s : float
        Proven exposure, :math:`t_1` [s].
    from_irradiance_w_m2 : float
        Irradiance it was proven under, :math:`I_1` [W/m^2].
    to_irradiance_w_m2 : float
        Irradiance of the other machine, :math:`I_2` [W/m^2].
    schwarzschild : float
        Exponent of time, :math:`p` [1]; 1 is equal dose.

    Returns
    -------
    float
        Exposure [s].

    Notes
    -----
    The exponent stands on time: p = 1/alpha of carried_exposure. Same resin and wavelength, one meter.

    References
    ----------
    Schwarzschild [schwarzschild:1900]; departures in photopolymers: Wydra and others [wydra:2014].
    """
    return cure_depth.carried_exposure(
        exposure_s=exposure_s,
        from_irradiance_w_m2=from_irradiance_w_m2,
        to_irradiance_w_m2=to_irradiance_w_m2,
        reciprocity=1.0 / schwarzschild,
    )


def two_doses(*, penetration_m: float, critical_j_m2: float, first_j_m2: float, second_j_m2: float) -> float:
    r"""Return the depth that two exposures of one face cure.

    .. math:: C_d = D_p \ln[(E_1 + E_2) / E_c]

    Parameters
    ----------
    penetration_m : float
        Penetration depth, :math:`D_p` [m].
    critical_j_m2 : float
        Critical dose, :math:`E_c` [J/m^2].
    first_j_m2 : float
        Dose of the first exposure, :math:`E_1` [J/m^2]; may be zero.
    second_j_m2 : float
        Dose of the second exposure, :math:`E_2` [J/m^2]; may be zero.

    Returns
    -------
    float
        Depth [m].

    Notes
    -----
    Doses add, depths do not. Both on the same face, the second before much oxygen has come back.

    References
    ----------
    Jacobs [jacobs:1992].
    """
    dose_j_m2 = first_j_m2 + second_j_m2
    return cure_depth.cure_depth(penetration_m=penetration_m, critical_j_m2=critical_j_m2, dose_j_m2=dose_j_m2)


def spot_share(*, spot_w_m2: float, mean_w_m2: float) -> float:
    r"""Return the light at a spot as a share of the window's mean.

    .. math:: s = I_{spot} / I_{mean}

    Parameters
    ----------
    spot_w_m2 : float
        Irradiance at the spot, :math:`I_{spot}` [W/m^2].
    mean_w_m2 : float
        Mean irradiance of the window, :math:`I_{mean}` [W/m^2].

    Returns
    -------
    float
        Share [1].

    Notes
    -----
    Both read with one meter on one day; the exposure has to grow by 1/s to give the spot the mean's dose.

    References
    ----------
    Doses of one exposure [derived:vatwright].
    """
    return spot_w_m2 / mean_w_m2


def spot_depth(*, penetration_m: float, spot_w_m2: float, mean_w_m2: float) -> float:
    r"""Return how much deeper (or less deep) it cures at a spot than at the mean light.

    .. math:: \Delta C = D_p \ln(I_{spot} / I_{mean})

    Parameters
    ----------
    penetration_m : float
        Penetration depth, :math:`D_p` [m].
    spot_w_m2 : float
        Irradiance at the spot, :math:`I_{spot}` [W/m^2].
    mean_w_m2 : float
        Mean irradiance of the window, :math:`I_{mean}` [W/m^2].

    Returns
    -------
    float
        Difference in depth [m].

    Notes
    -----
    The same whatever the exposure, while both doses are above the critical one.

    References
    ----------
    Difference of two working curves [jacobs:1992].
    """
    return penetration_m * math.log(spot_w_m2 / mean_w_m2)


def lift_energy(*, modulus_pa: float, film_m: float, tension_n_m: float, lift_m: float, span_m: float) -> float:
    r"""Return the energy a bond costs, from the lift at which it let go.

    .. math:: T_1(1 - \cos\theta) + \frac{(T_1 - T_0)^2}{2 E t} = G,\quad T_1 = T_0 + (E t + T_0)(1/\cos\theta - 1),
        \quad \tan\theta = z/s

    Parameters
    ----------
    modulus_pa : float
        Young's modulus of the film, :math:`E` [Pa].
    film_m : float
        Thickness of the film, :math:`t` [m].
    tension_n_m : float
        Line tension while bonded, :math:`T_0` [N/m]; may be zero.
    lift_m : float
        Lift at which it let go, :math:`z` [m].
    span_m : float
        Distance to the nearest edge of the window, :math:`s` [m].

    Returns
    -------
    float
        Energy, :math:`G` [J/m^2].

    Notes
    -----
    Elastic film, straight free span.

    References
    ----------
    Kendall [kendall:1975], with a tension [derived:vatwright].
    """
    angle_rad = math.atan2(lift_m, span_m)
    return film_peel.peel_energy(modulus_pa=modulus_pa, film_m=film_m, tension_n_m=tension_n_m, angle_rad=angle_rad)


def release_lift(*, modulus_pa: float, film_m: float, tension_n_m: float, energy_j_m2: float, span_m: float) -> float:
    r"""Return the lift at which a film lets go of a point.

    .. math:: z = s \tan\theta,\quad \theta\;\text{from peel_angle with}\; E, t, T_0, G

    Parameters
    ----------
    modulus_pa : float
        Young's modulus of the film, :math:`E` [Pa].
    film_m : float
        Thickness of the film, :math:`t` [m].
    tension_n_m : float
        Line tension while bonded, :math:`T_0` [N/m]; may be zero.
    energy_j_m2 : float
        Energy the bond costs per area, :math:`G` [J/m^2].
    span_m : float
        Distance to the nearest edge of the window, :math:`s` [m].

    Returns
    -------
    float
        Lift [m].

    Notes
    -----
    Elastic film, straight free span.

    References
    ----------
    Geometry of a straight span [derived:vatwright] on Kendall's energy balance [kendall:1975].
    """
    return film_peel.strip_release(
        modulus_pa=modulus_pa, film_m=film_m, tension_n_m=tension_n_m, energy_j_m2=energy_j_m2, span_m=span_m
    ).lift_m


def release_pull(*, modulus_pa: float, film_m: float, tension_n_m: float, energy_j_m2: float) -> float:
    r"""Return the upward pull for each metre of peel front.

    .. math:: F/b = T_1 \sin\theta,\quad T_1, \theta\;\text{from peel_angle with}\; E, t, T_0, G

    Parameters
    ----------
    modulus_pa : float
        Young's modulus of the film, :math:`E` [Pa].
    film_m : float
        Thickness of the film, :math:`t` [m].
    tension_n_m : float
        Line tension while bonded, :math:`T_0` [N/m]; may be zero.
    energy_j_m2 : float
        Energy the bond costs per area, :math:`G` [J/m^2].

    Returns
    -------
    float
        Pull per length [N/m].

    Notes
    -----
    Elastic film; layer-to-layer scatter of a factor 2.5 either way is normal.

    References
    ----------
    Geometry [derived:vatwright] on Kendall's energy balance [kendall:1975]; the scatter [estimate:vatwright].
    """
    return film_peel.strip_release(
        modulus_pa=modulus_pa, film_m=film_m, tension_n_m=tension_n_m, energy_j_m2=energy_j_m2, span_m=1.0
    ).force_n_m


def arm_stiffness(*, modulus_pa: float, width_m: float, height_m: float, length_m: float) -> float:
    r"""Return the stiffness of a solid bar built in at one end.

    .. math:: k = 3 E I / L^3,\quad I = b h^3 / 12

    Parameters
    ----------
    modulus_pa : float
        Young's modulus, :math:`E` [Pa].
    width_m : float
        Width of the bar, across the force, :math:`b` [m].
    height_m : float
        Height of the bar, along the force, :math:`h` [m].
    length_m : float
        Free length, :math:`L` [m].

    Returns
    -------
    float
        Stiffness [N/m].

    Notes
    -----
    Upper bound: rails, joints and clamps give first.

    References
    ----------
    Euler-Bernoulli beam [timoshenko:1951].
    """
    moment_m4 = stiffness.rectangle_second_moment(width_m=width_m, height_m=height_m)
    return stiffness.cantilever_stiffness(modulus_pa=modulus_pa, second_moment_m4=moment_m4, length_m=length_m)


def plate_stiffness(*, modulus_pa: float, thickness_m: float, poisson: float, long_m: float, short_m: float) -> float:
    r"""Return the stiffness of a clamped rectangular plate under a force in its middle.

    .. math:: k = D / (\alpha a^2),\quad D = \frac{E t^3}{12 (1 - \nu^2)},\quad \alpha\;\text{from a table by}\; b/a

    Parameters
    ----------
    modulus_pa : float
        Young's modulus, :math:`E` [Pa].
    thickness_m : float
        Thickness, :math:`t` [m].
    poisson : float
        Poisson's ratio, :math:`\nu` [1]; may be zero.
    long_m : float
        Longer side, :math:`b` [m].
    short_m : float
        Shorter side, :math:`a` [m].

    Returns
    -------
    float
        Stiffness [N/m].

    Notes
    -----
    Clamped edges, thin plate; table good to 2 %. A real frame is softer.

    References
    ----------
    Timoshenko and Woinowsky-Krieger, table 37 [timoshenko:1959].
    """
    rigidity_j = stiffness.plate_rigidity(modulus_pa=modulus_pa, thickness_m=thickness_m, poisson=poisson)
    return stiffness.rectangular_plate_stiffness(rigidity_j=rigidity_j, long_m=long_m, short_m=short_m)


def round_plate_stiffness(*, modulus_pa: float, thickness_m: float, poisson: float, radius_m: float) -> float:
    r"""Return the stiffness of a clamped round plate under a force in its middle.

    .. math:: k = 16 \pi D / a^2,\quad D = \frac{E t^3}{12 (1 - \nu^2)}

    Parameters
    ----------
    modulus_pa : float
        Young's modulus, :math:`E` [Pa].
    thickness_m : float
        Thickness, :math:`t` [m].
    poisson : float
        Poisson's ratio, :math:`\nu` [1]; may be zero.
    radius_m : float
        Radius of the clamped edge, :math:`a` [m].

    Returns
    -------
    float
        Stiffness [N/m].

    Notes
    -----
    Clamped edge, thin plate.

    References
    ----------
    Timoshenko and Woinowsky-Krieger, clamped circular plates [timoshenko:1959].
    """
    rigidity_j = stiffness.plate_rigidity(modulus_pa=modulus_pa, thickness_m=thickness_m, poisson=poisson)
    return stiffness.round_plate_stiffness(rigidity_j=rigidity_j, radius_m=radius_m)


def dial_stiffness(*, load_n: float, deflection_m: float) -> float:
    r"""Return the stiffness from a known weight and a dial indicator.

    .. math:: k = F / d

    Parameters
    ----------
    load_n : float
        Weight laid on, :math:`F` [N].
    deflection_m : float
        Deflection read, :math:`d` [m].

    Returns
    -------
    float
        Stiffness [N/m].

    Notes
    -----
    Read while loading and while unloading; the difference is play.

    References
    ----------
    Definition; its uncertainty as in section 5.1 [jcgm:2008].
    """
    return load_n / deflection_m


def two_springs(*, k1_n_m: float, k2_n_m: float) -> float:
    r"""Return the stiffness of two springs one after another.

    .. math:: 1/k = 1/k_1 + 1/k_2

    Parameters
    ----------
    k1_n_m : float
        First stiffness, :math:`k_1` [N/m].
    k2_n_m : float
        Second stiffness, :math:`k_2` [N/m].

    Returns
    -------
    float
        Stiffness, :math:`k` [N/m].

    Notes
    -----
    Exact.

    References
    ----------
    Statics [derived:vatwright].
    """
    return stiffness.springs_in_series(k1_n_m, k2_n_m)


def table_stiffness(*, legs: float, modulus_pa: float, side_m: float, height_m: float) -> float:
    r"""Return the stiffness of a table on square legs against a push from the side.

    .. math:: k = 3 n E I / H^3,\quad I = b^4 / 12

    Parameters
    ----------
    legs : float
        Number of legs, :math:`n` [1], a whole number.
    modulus_pa : float
        Young's modulus, :math:`E` [Pa].
    side_m : float
        Side of a square leg, :math:`b` [m].
    height_m : float
        Height of the table, :math:`H` [m].

    Returns
    -------
    float
        Stiffness [N/m].

    Notes
    -----
    Upper bound: stiff top, hinged feet, joints that do not give. Push it and read how far it gives.

    References
    ----------
    Euler-Bernoulli beams in parallel [timoshenko:1951].
    """
    _require_whole(legs=legs)
    moment_m4 = stiffness.rectangle_second_moment(width_m=side_m, height_m=side_m)
    return stiffness.table_stiffness(
        legs=int(legs), modulus_pa=modulus_pa, second_moment_m4=moment_m4, height_m=height_m
    )


def room_vapour(
    *, evaporation_kg_s: float, room_m3: float, air_changes_per_s: float, molar_mass_kg_mol: float, mixing: float = 1.0
) -> float:
    r"""Return the steady concentration of a vapour in a ventilated room.

    .. math:: C = K m V_m / (M n V),\quad V_m = 24.45\;\text{L/mol}

    Parameters
    ----------
    evaporation_kg_s : float
        Mass evaporated per time, :math:`m` [kg/s]; may be zero.
    room_m3 : float
        Volume of the room, :math:`V` [m^3].
    air_changes_per_s : float
        Air changes per time, :math:`n` [1/s].
    molar_mass_kg_mol : float
        Molar mass, :math:`M` [kg/mol].
    mixing : float
        Mixing factor, 1 to 10, :math:`K` [1].

    Returns
    -------
    float
        Concentration as a volume fraction [1].

    Notes
    -----
    Well-mixed room at 25 C; near the source it is higher. Check the limits that hold where you are.

    References
    ----------
    Dilution ventilation [acgih:2010]; conversion from mass: NIOSH [niosh:2007].
    """
    flow = vapour.vapour_flow(evaporation_kg_s=evaporation_kg_s, molar_mass_kg_mol=molar_mass_kg_mol)
    return vapour.steady_concentration(vapour_m3_s=flow, fresh_air_m3_s=room_m3 * air_changes_per_s, mixing=mixing)


def fresh_air(
    *, evaporation_kg_s: float, molar_mass_kg_mol: float, limit_fraction: float, mixing: float = 1.0
) -> float:
    r"""Return the fresh air that keeps a vapour below a limit.

    .. math:: Q = K m V_m / (M C),\quad V_m = 24.45\;\text{L/mol}

    Parameters
    ----------
    evaporation_kg_s : float
        Mass evaporated per time, :math:`m` [kg/s]; may be zero.
    molar_mass_kg_mol : float
        Molar mass, :math:`M` [kg/mol].
    limit_fraction : float
        Limit to keep, :math:`C` [1].
    mixing : float
        Mixing factor, 1 to 10, :math:`K` [1].

    Returns
    -------
    float
        Fresh air [m^3/s].

    Notes
    -----
    Well-mixed room at 25 C.

    References
    ----------
    Dilution ventilation [acgih:2010]; conversion from mass: NIOSH [niosh:2007].
    """
    flow = vapour.vapour_flow(evaporation_kg_s=evaporation_kg_s, molar_mass_kg_mol=molar_mass_kg_mol)
    return vapour.fresh_air_needed(vapour_m3_s=flow, limit_fraction=limit_fraction, mixing=mixing)


def warming_time(
    *,
    start_k: float,
    air_k: float,
    wanted_k: float,
    thickness_m: float,
    density_kg_m3: float,
    heat_capacity_j_kg_k: float = 1900.0,
    conductivity_w_m_k: float = 0.2,
    coefficient_w_m2_k: float = 10.0,
) -> float:
    r"""Return the time until resin from a cold store is as warm as wanted.

    .. math:: t = \tau \ln\frac{T_{air} - T_0}{T_{air} - T},\quad \tau = \frac{\rho c L^2}{k \zeta^2},
        \quad \zeta \tan\zeta = h L/k

    Parameters
    ----------
    start_k : float
        Temperature at the start, :math:`T_0` [K].
    air_k : float
        Temperature of the room, :math:`T_{air}` [K].
    wanted_k : float
        Temperature wanted, between the two, :math:`T` [K].
    thickness_m : float
        Thickness, :math:`L` [m].
    density_kg_m3 : float
        Density, :math:`\rho` [kg/m^3].
    heat_capacity_j_kg_k : float
        Specific heat capacity, :math:`c` [J/(kg K)].
    conductivity_w_m_k : float
        Thermal conductivity, :math:`k` [W/(m K)].
    coefficient_w_m2_k : float
        Heat transfer to the air, :math:`h` [W/(m^2 K)].

    Returns
    -------
    float
        Time [s].

    Notes
    -----
    Left alone; L is volume over surface of a bottle, or the depth of a vat. Shaking hastens it.

    References
    ----------
    Plane wall with convection, first term: Incropera and DeWitt, section 5.5 [incropera:2007].
    """
    constant_s = warming.slab_time_constant(
        density_kg_m3=density_kg_m3, heat_capacity_j_kg_k=heat_capacity_j_kg_k, thickness_m=thickness_m,
        conductivity_w_m_k=conductivity_w_m_k, coefficient_w_m2_k=coefficient_w_m2_k,
    )  # fmt: skip
    return warming.warming_time(start_k=start_k, air_k=air_k, wanted_k=wanted_k, time_constant_s=constant_s)


def _require_whole(**count: float) -> None:
    """Refuse what is no number of things."""
    ((name, value),) = count.items()
    if value != int(value) or value > 100_000:
        raise DomainError.one(name, to_say("must be a whole number, got {value:g}", value=value), to_say("Count them"))
