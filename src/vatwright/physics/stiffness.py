"""Stiffness: how far arm, screen glass and table give under a force, and how fast they swing."""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

from vatwright.errors import DomainError, require_not_negative, require_positive
from vatwright.wording import to_say

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s^2]; exact by convention [bipm:2019]."""

TIP_SHARE_OF_BEAM = 33.0 / 140.0
"""Share of a cantilever's mass that swings with its tip [1]; Rayleigh's method on its static shape [rayleigh:1877]."""

PLATE_ASPECTS = (1.0, 1.2, 1.5, 2.0)
"""Long over short side, for the tables below [1]."""

PLATE_UNDER_LOAD: dict[tuple[str, str], tuple[float, ...]] = {
    # deflection of the middle in units of q a^4/D or P a^2/D, a the short side; the uniform rows and the simply
    # supported point rows are recomputed in the tests, the clamped point row is the printed table
    ("clamped", "uniform"): (0.0012653, 0.0017249, 0.0021965, 0.0025330),
    ("clamped", "point"): (0.00560, 0.00647, 0.00702, 0.00722),
    ("simple", "uniform"): (0.0040624, 0.0056505, 0.0077240, 0.0101287),
    ("simple", "point"): (0.0116007, 0.0135560, 0.0153326, 0.0165240),
}
"""Centre deflection of rectangles [1]: Timoshenko, Woinowsky-Krieger, tables 8, 23, 35, 37 [timoshenko:1959]."""

Edges = Literal["clamped", "simple"]


def rectangle_second_moment(*, width_m: float, height_m: float) -> float:
    r"""Return the second moment of area of a solid bar's section.

    .. math:: I = b h^3 / 12

    Parameters
    ----------
    width_m : float
        Width b, across the force [m].
    height_m : float
        Height h, along the force [m].

    Returns
    -------
    float
        Second moment of area [m^4].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Exact. For a hollow bar subtract the hole's.

    Examples
    --------
    >>> round(1e12 * rectangle_second_moment(width_m=0.04, height_m=0.02), 1)
    26666.7

    References
    ----------
    Geometry [derived:vatwright].
    """
    require_positive(width_m=width_m, height_m=height_m)
    return width_m * height_m**3 / 12.0


def cantilever_stiffness(*, modulus_pa: float, second_moment_m4: float, length_m: float) -> float:
    r"""Return the stiffness of an arm built in at one end and loaded at the other.

    .. math:: k = 3 E I / L^3

    Parameters
    ----------
    modulus_pa : float
        Young's modulus [Pa].
    second_moment_m4 : float
        Second moment of area of the section [m^4].
    length_m : float
        Free length L [m].

    Returns
    -------
    float
        Stiffness at the tip [N/m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Slender beam, perfect root. Rails, joints and clamps give first: an upper bound.

    Examples
    --------
    >>> round(cantilever_stiffness(modulus_pa=70e9, second_moment_m4=2.6666667e-8, length_m=0.15))
    1659259

    References
    ----------
    Euler-Bernoulli beam [timoshenko:1951].
    """
    require_positive(modulus_pa=modulus_pa, second_moment_m4=second_moment_m4, length_m=length_m)
    return 3.0 * modulus_pa * second_moment_m4 / length_m**3


def plate_rigidity(*, modulus_pa: float, thickness_m: float, poisson: float) -> float:
    r"""Return the bending rigidity of a plate.

    .. math:: D = \frac{E t^3}{12 (1 - \nu^2)}

    Parameters
    ----------
    modulus_pa : float
        Young's modulus E [Pa]; about 70 GPa for glass.
    thickness_m : float
        Thickness t [m].
    poisson : float
        Poisson's ratio [1], 0 to 0.5; about 0.22 for glass.

    Returns
    -------
    float
        Rigidity [N m], that is joule.

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Thin plate, deflection below its thickness.

    Examples
    --------
    >>> round(plate_rigidity(modulus_pa=70e9, thickness_m=4e-3, poisson=0.22), 3)
    392.322

    References
    ----------
    Timoshenko and Woinowsky-Krieger, equation 3 [timoshenko:1959]. The values for glass are from memory
    [memory:vatwright].
    """
    require_positive(modulus_pa=modulus_pa, thickness_m=thickness_m)
    if not 0.0 <= poisson <= 0.5:
        raise DomainError.one(
            "poisson",
            to_say("must lie between 0 and 0.5, got {poisson:g}", poisson=poisson),
            to_say("Glass has about 0.22"),
        )
    return modulus_pa * thickness_m**3 / (12.0 * (1.0 - poisson**2))


def round_plate_stiffness(*, rigidity_j: float, radius_m: float) -> float:
    r"""Return the stiffness of a clamped round plate under a force in its middle.

    .. math:: k = 16 \pi D / a^2

    Parameters
    ----------
    rigidity_j : float
        Bending rigidity D [N m], that is joule.
    radius_m : float
        Radius of the clamped edge a [m].

    Returns
    -------
    float
        Stiffness [N/m].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    Exact for a point force; a force spread over part of the plate bends it less.

    Examples
    --------
    >>> round(50.0 / round_plate_stiffness(rigidity_j=392.322, radius_m=0.05) * 1e6, 4)
    6.3387

    References
    ----------
    Timoshenko and Woinowsky-Krieger, article on clamped circular plates [timoshenko:1959].
    """
    require_positive(rigidity_j=rigidity_j, radius_m=radius_m)
    return 16.0 * math.pi * rigidity_j / radius_m**2


def rectangular_plate_stiffness(*, rigidity_j: float, long_m: float, short_m: float, edges: Edges = "clamped") -> float:
    r"""Return the stiffness of a rectangular plate under a force in its middle.

    .. math:: k = D / (\alpha\, a^2)

    Parameters
    ----------
    rigidity_j : float
        Bending rigidity D [N m], that is joule.
    long_m : float
        Longer side [m]; the two may come in either order.
    short_m : float
        Shorter side a [m].
    edges : {"clamped", "simple"}
        Whether the edges are held fast or only carried.

    Returns
    -------
    float
        Stiffness [N/m].

    Raises
    ------
    DomainError
        When an argument is not above zero or the edges are unknown.

    Notes
    -----
    Table for aspects 1 to 2, linear between, the last value beyond (the coefficient grows by less than 3 % more). Good
    to 2 %. A real frame lies between the two kinds of edge.

    Examples
    --------
    >>> glass = {"rigidity_j": 392.322, "long_m": 0.1, "short_m": 0.1}
    >>> round(50e6 / rectangular_plate_stiffness(**glass), 2)
    7.14

    References
    ----------
    Timoshenko and Woinowsky-Krieger, tables 23 and 37 [timoshenko:1959].
    """
    require_positive(rigidity_j=rigidity_j, long_m=long_m, short_m=short_m)
    short = min(long_m, short_m)
    return rigidity_j / (_plate_coefficient(edges, "point", max(long_m, short_m) / short) * short**2)


def _plate_coefficient(edges: str, load: str, aspect: float) -> float:
    """Return the table's coefficient, linear between its columns."""
    if (edges, load) not in PLATE_UNDER_LOAD:
        raise DomainError.one(
            "edges", to_say("must be clamped or simple, got {edges!r}", edges=edges), to_say("Choose one of the two")
        )
    row = PLATE_UNDER_LOAD[edges, load]
    for i in range(1, len(PLATE_ASPECTS)):
        if aspect <= PLATE_ASPECTS[i]:
            share = (aspect - PLATE_ASPECTS[i - 1]) / (PLATE_ASPECTS[i] - PLATE_ASPECTS[i - 1])
            return row[i - 1] + share * (row[i] - row[i - 1])
    return row[-1]


def springs_in_series(*stiffnesses_n_m: float) -> float:
    r"""Return the stiffness of springs that carry the same force one after another.

    .. math:: 1/k = \sum_i 1/k_i

    Parameters
    ----------
    *stiffnesses_n_m : float
        Stiffness of each [N/m].

    Returns
    -------
    float
        Stiffness of the chain [N/m].

    Raises
    ------
    DomainError
        When one is not a finite number above zero, or none is given.

    Notes
    -----
    The softest decides: arm, rail, clamp, platform, screen glass.

    Examples
    --------
    >>> round(springs_in_series(2e5, 2e5), 6)
    100000.0

    References
    ----------
    Statics [derived:vatwright].
    """
    require_positive(springs=float(len(stiffnesses_n_m)))
    for i, stiffness in enumerate(stiffnesses_n_m):
        require_positive(**{f"stiffness_{i + 1}_n_m": stiffness})
    return 1.0 / math.fsum(1.0 / k for k in stiffnesses_n_m)


class DialReading(NamedTuple):
    """A stiffness read with a weight and a dial indicator.

    Parameters
    ----------
    stiffness_n_m : float
        Stiffness [N/m].
    sigma_n_m : float
        Its standard uncertainty [N/m].
    """

    stiffness_n_m: float
    sigma_n_m: float


def dial_stiffness(
    *, load_n: float, deflection_m: float, load_sigma_n: float = 0.0, deflection_sigma_m: float = 0.0
) -> DialReading:
    r"""Return the stiffness that a known weight and a dial indicator give, with its uncertainty.

    .. math:: k = F/d,\quad (\sigma_k/k)^2 = (\sigma_F/F)^2 + (\sigma_d/d)^2

    Parameters
    ----------
    load_n : float
        Weight laid on [N].
    deflection_m : float
        Deflection read [m].
    load_sigma_n : float
        Standard uncertainty of the weight [N].
    deflection_sigma_m : float
        Standard uncertainty of the deflection [m]; a tenth-division dial reads to about a quarter division.

    Returns
    -------
    DialReading
        Stiffness and its standard uncertainty [N/m].

    Raises
    ------
    DomainError
        When load or deflection is not above zero, or the deflection is less than twice its own uncertainty.

    Notes
    -----
    First-order propagation, fair up to some 30 %. Read while loading and while unloading: the difference is play.

    Examples
    --------
    >>> dial_stiffness(load_n=49.0, deflection_m=0.2e-3, deflection_sigma_m=5e-6)
    DialReading(stiffness_n_m=245000.0, sigma_n_m=6125.0)

    References
    ----------
    Propagation of uncertainty, section 5.1 [jcgm:2008].
    """
    require_positive(load_n=load_n, deflection_m=deflection_m)
    require_not_negative(load_sigma_n=load_sigma_n, deflection_sigma_m=deflection_sigma_m)
    if deflection_m < 2.0 * deflection_sigma_m:
        raise DomainError.one(
            "deflection_m",
            to_say(
                "{deflection_m:g} m is not clear of its own uncertainty, {deflection_sigma_m:g} m",
                deflection_m=deflection_m,
                deflection_sigma_m=deflection_sigma_m,
            ),
            to_say("Use a heavier weight or a finer dial"),
        )
    stiffness = load_n / deflection_m
    return DialReading(stiffness, stiffness * math.hypot(load_sigma_n / load_n, deflection_sigma_m / deflection_m))


def natural_frequency(*, stiffness_n_m: float, mass_kg: float) -> float:
    r"""Return the frequency at which a mass on a spring swings.

    .. math:: f = \frac{1}{2\pi}\sqrt{k/m}

    Parameters
    ----------
    stiffness_n_m : float
        Stiffness, :math:`k` [N/m].
    mass_kg : float
        Mass, :math:`m` [kg]; of a cantilever count 33/140 of its own.

    Returns
    -------
    float
        Frequency [Hz].

    Raises
    ------
    DomainError
        When an argument is not a finite number above zero.

    Notes
    -----
    One way of swinging, little damping.

    Examples
    --------
    >>> round(natural_frequency(stiffness_n_m=1.65926e6, mass_kg=1.5 + 0.3 * TIP_SHARE_OF_BEAM), 2)
    163.58

    References
    ----------
    Rayleigh [rayleigh:1877].
    """
    require_positive(stiffness_n_m=stiffness_n_m, mass_kg=mass_kg)
    return math.sqrt(stiffness_n_m / mass_kg) / (2.0 * math.pi)


def sag_frequency(sag_m: float) -> float:
    r"""Return the frequency from the sag under its own weight.

    .. math:: f = \frac{1}{2\pi}\sqrt{g/\delta}

    Parameters
    ----------
    sag_m : float
        Static sag under its own weight, :math:`\delta` [m].

    Returns
    -------
    float
        Frequency [Hz].

    Raises
    ------
    DomainError
        When the sag is not a finite number above zero.

    Notes
    -----
    Vertical motion on a linear support.

    Examples
    --------
    >>> round(sag_frequency(1e-3), 4)
    15.7609

    References
    ----------
    Rayleigh [rayleigh:1877].
    """
    require_positive(sag_m=sag_m)
    return math.sqrt(STANDARD_GRAVITY_M_S2 / sag_m) / (2.0 * math.pi)


def table_stiffness(
    *,
    legs: int,
    modulus_pa: float,
    second_moment_m4: float,
    height_m: float,
    foot: Literal["fixed", "hinged"] = "hinged",
) -> float:
    r"""Return the stiffness of a table against a push from the side.

    .. math:: k = 12 n E I / L^3 \;\text{(feet fixed)},\quad 3 n E I / L^3 \;\text{(feet hinged)}

    Parameters
    ----------
    legs : int
        Number of legs n [1].
    modulus_pa : float
        Young's modulus of the legs [Pa].
    second_moment_m4 : float
        Second moment of area of one leg [m^4].
    height_m : float
        Free height L [m].
    foot : {"fixed", "hinged"}
        Whether the feet are held against turning or only stand.

    Returns
    -------
    float
        Stiffness [N/m].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Rigid top and perfect joints: an upper bound. Better: push with a spring scale and read the dial.

    Examples
    --------
    >>> leg = {"legs": 4, "modulus_pa": 10e9, "second_moment_m4": 0.04**4 / 12, "height_m": 0.7}
    >>> round(natural_frequency(stiffness_n_m=table_stiffness(foot="fixed", **leg), mass_kg=30.0), 3)
    15.877

    References
    ----------
    Euler-Bernoulli beams in parallel [timoshenko:1951].
    """
    require_positive(legs=legs, modulus_pa=modulus_pa, second_moment_m4=second_moment_m4, height_m=height_m)
    if foot not in {"fixed", "hinged"}:
        raise DomainError.one(
            "foot", to_say("must be fixed or hinged, got {foot!r}", foot=foot), to_say("Choose one of the two")
        )
    factor = 12.0 if foot == "fixed" else 3.0
    return factor * legs * modulus_pa * second_moment_m4 / height_m**3


def ring_down_time(*, frequency_hz: float, damping_ratio: float, left: float) -> float:
    r"""Return the time in which a swing dies down.

    .. math:: t = -\ln(x) / (2 \pi f \zeta)

    Parameters
    ----------
    frequency_hz : float
        Natural frequency, :math:`f` [Hz].
    damping_ratio : float
        Damping ratio, :math:`\zeta` [1]; 0.02 to 0.05 for bolted or wooden tables.
    left : float
        Share of the swing that may be left, :math:`x` [1], between 0 and 1.

    Returns
    -------
    float
        Time [s].

    Raises
    ------
    DomainError
        When an argument is out of range.

    Notes
    -----
    Viscous damping well below critical. The damping of furniture is an estimate: count swings instead.

    Examples
    --------
    >>> round(ring_down_time(frequency_hz=8.0, damping_ratio=0.03, left=0.05), 3)
    1.987

    References
    ----------
    Rayleigh [rayleigh:1877]; the range of damping is an estimate [estimate:vatwright].
    """
    require_positive(frequency_hz=frequency_hz, damping_ratio=damping_ratio, left=left)
    if left >= 1.0 or damping_ratio >= 1.0:
        raise DomainError.one(
            "left",
            to_say(
                "share {left:g} and damping {damping_ratio:g} must be below 1", left=left, damping_ratio=damping_ratio
            ),
            to_say("Give fractions"),
        )
    return -math.log(left) / (2.0 * math.pi * frequency_hz * damping_ratio)
