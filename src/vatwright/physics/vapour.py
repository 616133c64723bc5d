"""Vapour: what a solvent or resin does to the air of a room, how soon, and what air keeps it below a limit."""

from __future__ import annotations

import math

from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say

MOLAR_VOLUME_M3_MOL = 24.45e-3
"""Volume of a mole of gas at 25 C and one atmosphere [m^3/mol], by which limits in ppm are converted [niosh:2007]."""

STANDARD_ATMOSPHERE_PA = 101_325.0
"""Standard atmosphere [Pa]; exact by definition [bipm:2019]."""

GAS_CONSTANT_J_MOL_K = 8.31446261815324
"""Molar gas constant [J/(mol K)]; exact by definition of the SI units [bipm:2019]."""

WATER_TRANSFER_M_S = 8.3e-3
"""Mass transfer coefficient of water from an open surface in still room air [m/s] [memory:vatwright]."""

WATER_KG_MOL = 0.018015
"""Molar mass of water [kg/mol] [memory:vatwright]."""


def vapour_flow(
    *, evaporation_kg_s: float, molar_mass_kg_mol: float, molar_volume_m3_mol: float = MOLAR_VOLUME_M3_MOL
) -> float:
    r"""Return the volume of vapour given off.

    .. math:: G = \dot m\, V_m / M

    Parameters
    ----------
    evaporation_kg_s : float
        Mass evaporated per time [kg/s].
    molar_mass_kg_mol : float
        Molar mass M [kg/mol].
    molar_volume_m3_mol : float
        Molar volume of a gas V_m [m^3/mol].

    Returns
    -------
    float
        Vapour flow [m^3/s].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Ideal gas at room conditions, good to 1 % between 15 and 35 C with the default within 4 %.

    Examples
    --------
    >>> round(3600 * vapour_flow(evaporation_kg_s=0.1 / 3600, molar_mass_kg_mol=0.0601), 6)
    0.040682

    References
    ----------
    Conversion between mass and volume: NIOSH [niosh:2007].
    """
    require_not_negative(evaporation_kg_s=evaporation_kg_s)
    require_positive(molar_mass_kg_mol=molar_mass_kg_mol, molar_volume_m3_mol=molar_volume_m3_mol)
    return evaporation_kg_s * molar_volume_m3_mol / molar_mass_kg_mol


def steady_concentration(*, vapour_m3_s: float, fresh_air_m3_s: float, mixing: float = 1.0) -> float:
    r"""Return the concentration that a steady source builds up to in a ventilated room.

    .. math:: C = K\, G / Q

    Parameters
    ----------
    vapour_m3_s : float
        Vapour given off G [m^3/s].
    fresh_air_m3_s : float
        Fresh air Q [m^3/s].
    mixing : float
        Mixing factor K [1]: 1 for a well-mixed room, up to 10 near the source in a badly stirred one.

    Returns
    -------
    float
        Volume fraction [1]; 1e-6 is 1 ppm.

    Raises
    ------
    DomainError
        When an argument is out of range or mixing is below 1.

    Notes
    -----
    Dilute vapour. Compare with the occupational limit that holds where you are, and with the lower explosive limit near
    the source, where it is always higher.

    Examples
    --------
    100 g/h of 2-propanol in a 30 m^3 room with one air change an hour, in ppm:

    >>> vapour = vapour_flow(evaporation_kg_s=0.1 / 3600, molar_mass_kg_mol=0.0601)
    >>> round(1e6 * steady_concentration(vapour_m3_s=vapour, fresh_air_m3_s=30.0 / 3600), 1)
    1356.1

    References
    ----------
    Dilution ventilation: industrial ventilation manual, chapter on general ventilation [acgih:2010].
    """
    require_not_negative(vapour_m3_s=vapour_m3_s)
    require_positive(fresh_air_m3_s=fresh_air_m3_s)
    _require_mixing(mixing)
    return mixing * vapour_m3_s / fresh_air_m3_s


def _require_mixing(mixing: float) -> None:
    """Refuse a room mixed better than perfectly."""
    if not 1.0 <= mixing < math.inf:
        raise DomainError.one(
            "mixing", to_say("must be 1 or above, got {mixing:g}", mixing=mixing), to_say("Use 1 for a well-mixed room")
        )


def fresh_air_needed(*, vapour_m3_s: float, limit_fraction: float, mixing: float = 1.0) -> float:
    r"""Return the fresh air that keeps a steady source below a limit.

    .. math:: Q = K\, G / C

    Parameters
    ----------
    vapour_m3_s : float
        Vapour given off G [m^3/s].
    limit_fraction : float
        Limit C as a volume fraction [1]; 400 ppm is 400e-6.
    mixing : float
        Mixing factor K [1].

    Returns
    -------
    float
        Fresh air [m^3/s].

    Raises
    ------
    DomainError
        When an argument is out of range or mixing is below 1.

    Notes
    -----
    As :func:`steady_concentration`.

    Examples
    --------
    >>> vapour = vapour_flow(evaporation_kg_s=0.1 / 3600, molar_mass_kg_mol=0.0601)
    >>> round(3600 * fresh_air_needed(vapour_m3_s=vapour, limit_fraction=400e-6), 1)
    101.7

    References
    ----------
    Dilution ventilation: industrial ventilation manual, chapter on general ventilation [acgih:2010].
    """
    require_not_negative(vapour_m3_s=vapour_m3_s)
    require_positive(limit_fraction=limit_fraction)
    _require_mixing(mixing)
    return mixing * vapour_m3_s / limit_fraction


def concentration_after(
    *, steady_fraction: float, room_m3: float, fresh_air_m3_s: float, time_s: float, start_fraction: float = 0.0
) -> float:
    r"""Return the concentration some time after a source starts or stops.

    .. math:: C(t) = C_\infty + (C_0 - C_\infty)\,e^{-Q t / V}

    Parameters
    ----------
    steady_fraction : float
        Concentration it tends to, as a volume fraction, :math:`C_\infty` [1]; may be zero, once the source is gone.
    room_m3 : float
        Volume of the room, :math:`V` [m^3].
    fresh_air_m3_s : float
        Fresh air, :math:`Q` [m^3/s].
    time_s : float
        Time, :math:`t` [s].
    start_fraction : float
        Concentration at the start, as a volume fraction, :math:`C_0` [1]; may be zero.

    Returns
    -------
    float
        Volume fraction [1].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Well-mixed room. Three air changes bring 95 % of the way.

    Examples
    --------
    >>> room = {"room_m3": 30.0, "fresh_air_m3_s": 30.0 / 3600}
    >>> round(concentration_after(steady_fraction=1.0, time_s=3 * 3600.0, **room), 4)
    0.9502

    References
    ----------
    Well-mixed room: industrial ventilation manual, chapter on general ventilation [acgih:2010].
    """
    require_not_negative(
        steady_fraction=steady_fraction, fresh_air_m3_s=fresh_air_m3_s, time_s=time_s, start_fraction=start_fraction
    )
    require_positive(room_m3=room_m3)
    gone = -math.expm1(-fresh_air_m3_s * time_s / room_m3)
    return start_fraction + (steady_fraction - start_fraction) * gone


def spill_concentration(
    *, mass_kg: float, molar_mass_kg_mol: float, room_m3: float, molar_volume_m3_mol: float = MOLAR_VOLUME_M3_MOL
) -> float:
    r"""Return the concentration in a closed room after a spill has evaporated.

    .. math:: C = m V_m / (M V),\quad V_m = 24.45\;\text{L/mol}

    Parameters
    ----------
    mass_kg : float
        Mass evaporated, :math:`m` [kg]; may be zero.
    molar_mass_kg_mol : float
        Molar mass, :math:`M` [kg/mol].
    room_m3 : float
        Volume of the room, :math:`V` [m^3].
    molar_volume_m3_mol : float
        Molar volume of a gas V_m [m^3/mol].

    Returns
    -------
    float
        Volume fraction [1], averaged over the room.

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    No ventilation. Low over the floor it is many times the average: solvent vapour is heavier than air.

    Examples
    --------
    >>> round(1e6 * spill_concentration(mass_kg=0.785, molar_mass_kg_mol=0.0601, room_m3=30.0))
    10645

    References
    ----------
    Conversion between mass and volume: NIOSH [niosh:2007].
    """
    require_positive(room_m3=room_m3)
    vapour_m3 = vapour_flow(
        evaporation_kg_s=mass_kg, molar_mass_kg_mol=molar_mass_kg_mol, molar_volume_m3_mol=molar_volume_m3_mol
    )
    return vapour_m3 / room_m3


def saturated_fraction(vapour_pressure_pa: float) -> float:
    r"""Return the vapour in the air right over an open liquid.

    .. math:: x = p_v / p_{atm},\quad p_{atm} = 101.325\;\text{kPa}

    Parameters
    ----------
    vapour_pressure_pa : float
        Vapour pressure at the liquid's temperature, :math:`p_v` [Pa]; may be zero.

    Returns
    -------
    float
        Volume fraction [1], at most 1.

    Raises
    ------
    DomainError
        When the pressure is negative or not finite.

    Notes
    -----
    Standard atmosphere. Above the lower explosive limit the space over the liquid can burn.

    Examples
    --------
    2-propanol at 20 C, 33 mmHg:

    >>> round(saturated_fraction(33.0 / 760.0 * 101325.0), 5)
    0.04342

    References
    ----------
    Dalton's law; vapour pressure from the pocket guide [niosh:2007].
    """
    require_not_negative(vapour_pressure_pa=vapour_pressure_pa)
    return min(vapour_pressure_pa / STANDARD_ATMOSPHERE_PA, 1.0)


def vapour_pressure(*, known_pa: float, known_k: float, vaporisation_j_mol: float, temperature_k: float) -> float:
    r"""Return the vapour pressure at a temperature near one where it is known.

    .. math:: p = p_0 \exp\left(\frac{L}{R}\left(\frac{1}{T_0} - \frac{1}{T}\right)\right)

    Parameters
    ----------
    known_pa : float
        Vapour pressure p_0 where it is known [Pa].
    known_k : float
        The temperature there T_0 [K].
    vaporisation_j_mol : float
        Molar heat of vaporisation L [J/mol].
    temperature_k : float
        Temperature T [K].

    Returns
    -------
    float
        Vapour pressure [Pa].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Ideal vapour, heat of vaporisation constant: within 4 % some 20 K around the known temperature, worse beyond.

    Examples
    --------
    2-propanol, 33 mmHg at 20 C, at 25 C [kPa]:

    >>> liquid = {"known_pa": 4400.0, "known_k": 293.15, "vaporisation_j_mol": 45.4e3}
    >>> round(vapour_pressure(temperature_k=298.15, **liquid) / 1e3, 2)
    6.01

    References
    ----------
    Clausius and Clapeyron [clausius:1850].
    """
    require_positive(
        known_pa=known_pa, known_k=known_k, vaporisation_j_mol=vaporisation_j_mol, temperature_k=temperature_k
    )
    return known_pa * math.exp(vaporisation_j_mol / GAS_CONSTANT_J_MOL_K * (1.0 / known_k - 1.0 / temperature_k))


def evaporation_rate(
    *, vapour_pressure_pa: float, molar_mass_kg_mol: float, area_m2: float, temperature_k: float
) -> float:
    r"""Return what evaporates from an open bath in still air.

    .. math:: \dot m = k_w \left(\frac{M_w}{M}\right)^{1/3} A\,\frac{M p_v}{R T}

    Parameters
    ----------
    vapour_pressure_pa : float
        Vapour pressure at the liquid's temperature, :math:`p_v` [Pa]; may be zero.
    molar_mass_kg_mol : float
        Molar mass, :math:`M` [kg/mol].
    area_m2 : float
        Open surface, :math:`A` [m^2].
    temperature_k : float
        Temperature of the liquid, :math:`T` [K].

    Returns
    -------
    float
        Mass evaporated per time [kg/s].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Still air, open tub; a draught or a stirrer makes it three times as much, a lid almost nothing. Better: weigh the
    tub before and after an hour.

    Examples
    --------
    2-propanol in a tub of 21 cm x 21 cm, in g/h:

    >>> flow = evaporation_rate(
    ...     vapour_pressure_pa=4400.0, molar_mass_kg_mol=0.0601, area_m2=0.0441, temperature_k=293.15
    ... )
    >>> round(flow * 3.6e6)
    96

    References
    ----------
    Open-surface model with the coefficient of water scaled by molar mass, as environmental agencies use it
    [memory:vatwright].
    """
    require_not_negative(vapour_pressure_pa=vapour_pressure_pa, area_m2=area_m2)
    require_positive(molar_mass_kg_mol=molar_mass_kg_mol, temperature_k=temperature_k)
    transfer = WATER_TRANSFER_M_S * math.cbrt(WATER_KG_MOL / molar_mass_kg_mol)
    return transfer * area_m2 * molar_mass_kg_mol * vapour_pressure_pa / (GAS_CONSTANT_J_MOL_K * temperature_k)
