"""A machine: its platform, film, light, motion and what its controller obeys."""

from __future__ import annotations

from attrs import field, fields, frozen, validators

from vatwright.quantities import FILM_YIELD_STRAIN, key_at
from vatwright.quantities import Backing as Backing  # noqa: PLC0414 - part of what a machine is
from vatwright.quantities import Obeys as Obeys  # noqa: PLC0414 - the same
from vatwright.records.sourced import Kind, Sourced, standing_in
from vatwright.records.upkeep import Upkeep

_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))
_not_negative = validators.and_(validators.ge(0.0), validators.lt(float("inf")))

WARMING_S = 2700.0
"""Time constant with which light and drive warm a vat [s]; engineering estimate, no source."""


@frozen(kw_only=True)
class Opening:
    """A hole, slot or groove in the platform's face through which resin escapes, seen from above.

    Parameters
    ----------
    x_m, y_m : float
        Its centre, from the platform's centre [m].
    width_m, depth_m : float
        Its size; equal to each other and `round_` for a round hole [m].
    round_ : bool
        Round (an ellipse) or straight-sided.
    """

    x_m: float
    y_m: float
    width_m: float = field(validator=_positive)
    depth_m: float = field(validator=_positive)
    round_: bool = True


@frozen(kw_only=True)
class Platform:
    """The build platform's face, its origin at its centre, width to the right, depth away from the person.

    Parameters
    ----------
    width_m, depth_m : float
        Its size [m].
    corner_m : float
        Radius or chamfer of its corners [m].
    openings : tuple of Opening
        Holes, slots and grooves.
    """

    width_m: float = field(validator=_positive)
    depth_m: float = field(validator=_positive)
    corner_m: float = field(default=0.0, validator=_not_negative)
    openings: tuple[Opening, ...] = ()


@frozen(kw_only=True)
class Window:
    """The free opening across which the film is clamped, its centre under the platform's centre.

    Parameters
    ----------
    width_m, depth_m : float
        From clamped edge to clamped edge [m].
    corner_m : float
        Radius of its corners [m].
    """

    width_m: float = field(validator=_positive)
    depth_m: float = field(validator=_positive)
    corner_m: float = field(default=0.0, validator=_not_negative)


@frozen(kw_only=True)
class Film:
    """The release film as it is fitted.

    Parameters
    ----------
    backing : Backing
        What lies beneath it.
    thickness_m : float
        Thickness [m].
    modulus_pa : float
        Young's modulus [Pa].
    tension_n_m : Sourced
        Line tension [N/m].
    """

    backing: Backing
    thickness_m: float = field(validator=_positive)
    modulus_pa: float = field(validator=_positive)
    tension_n_m: Sourced

    @property
    def yield_n_m(self) -> float:
        """Line tension at which it yields [N/m]."""
        return FILM_YIELD_STRAIN * self.modulus_pa * self.thickness_m


@frozen(kw_only=True)
class LightReading:
    """What the meter showed at one spot of the window.

    Parameters
    ----------
    x_m, y_m : float
        Where, from the window's centre [m].
    irradiance_w_m2 : float
        Irradiance [W/m2].
    """

    x_m: float
    y_m: float
    irradiance_w_m2: float = field(validator=_positive)


FADE = standing_in(key_at("machine.light.fade_percent"))
"""Share of its light that lamp and screen lose in `FADE_TIME_S` of burning [-]; engineering estimate, no source."""

FADE_TIME_S = 3.6e6
"""The time to which a fade is stated: 1,000 h [s]."""

EVEN_SPOTS = 5
"""Readings from which a map of the light says where it is dim; with fewer there is only a hint."""


@frozen(kw_only=True)
class Light:
    """The light at the window.

    Parameters
    ----------
    irradiance_w_m2 : Sourced
        Mean irradiance when it was read [W/m2].
    meter : str
        Meter it was read with, empty where nobody read it; machines read with one meter share its error.
    dimmest, brightest : float
        Irradiance of the dimmest and of the brightest spot of the window as a share of the mean [-].
    readings : tuple of LightReading
        What the meter showed where; empty where there is no map.
    calibration : float or None
        Standard uncertainty of the meter as a share of what it shows, where somebody stated it [-].
    repeat : float
        Repeatability of one reading with one meter, as a share of it (one standard deviation) [-].
    burned_s : float
        How long the light has shone since it was read [s].
    fade : Sourced
        Share it loses in 1,000 h of shining [-].
    """

    irradiance_w_m2: Sourced
    meter: str = ""
    dimmest: float = field(default=0.9, validator=validators.and_(validators.gt(0.0), validators.le(1.0)))
    brightest: float = field(default=1.1, validator=validators.and_(validators.ge(1.0), validators.lt(10.0)))
    readings: tuple[LightReading, ...] = ()
    calibration: float | None = field(default=None, validator=validators.optional(_positive))
    repeat: float = field(default=0.02, validator=validators.and_(validators.gt(0.0), validators.lt(1.0)))
    burned_s: float = field(default=0.0, validator=_not_negative)
    fade: Sourced = FADE

    @property
    def evenness(self) -> Kind:
        """What stands behind the dimmest and the brightest spot."""
        if len(self.readings) >= EVEN_SPOTS:
            return Kind.READING
        stated = (self.dimmest, self.brightest) != (fields(Light).dimmest.default, fields(Light).brightest.default)
        return Kind.STATEMENT if stated else Kind.ESTIMATE


@frozen(kw_only=True)
class Motion:
    """How the platform moves.

    Parameters
    ----------
    acceleration_m_s2 : Sourced
        Acceleration [m/s2].
    fastest_m_s : float
        Top speed [m/s].
    """

    acceleration_m_s2: Sourced
    fastest_m_s: float = field(default=0.02, validator=_positive)


@frozen(kw_only=True)
class Vat:
    """The vat's inner floor and how deep resin may and must stand in it.

    Parameters
    ----------
    width_m, depth_m : float
        Its floor [m].
    full_m : float
        Greatest resin depth [m].
    """

    width_m: float = field(validator=_positive)
    depth_m: float = field(validator=_positive)
    full_m: float = field(validator=_positive)


@frozen(kw_only=True)
class Rule:
    """How a controller treats one quantity.

    Parameters
    ----------
    obeys : Obeys
        Separate values for base and body, one value for both, or none.
    minimum, maximum, step : float
        Its limits and granularity, SI.
    live : bool
        Whether a person can change it while the machine runs.
    fixed : float
        What the machine does instead where it obeys nothing, SI.
    """

    obeys: Obeys
    minimum: float = field(default=0.0, validator=_not_negative)
    maximum: float = field(default=1.0e9, validator=_positive)
    step: float = field(default=1.0e-4, validator=_positive)
    live: bool = False
    fixed: float = field(default=0.0, validator=_not_negative)


@frozen(kw_only=True)
class Controller:
    """What the machine's controller obeys, by quantity name (``settle_s``, ``peel_lift_mm``, ``base.layers``...).

    Parameters
    ----------
    rules : dict of str to Rule
        By quantity; a quantity that is missing is obeyed within wide limits.
    overhead_s : float
        What the controller adds to every layer [s].
    ramp_covers : tuple of str
        The quantities that the ramp changes linearly; the others take their body values there.
    """

    rules: dict[str, Rule] = field(factory=dict)
    overhead_s: float = field(default=0.0, validator=_not_negative)
    ramp_covers: tuple[str, ...] = ("exposure_s",)

    def rule(self, name: str) -> Rule:
        """Return the rule for a setting name such as ``base.settle_s``."""
        quantity = name.split(".", 1)[1] if name.startswith(("base.", "body.")) and name != "base.layers" else name
        return self.rules.get(quantity) or Rule(obeys=Obeys.YES)


@frozen(kw_only=True)
class LevelReading:
    """One reading of the gap under the platform.

    Parameters
    ----------
    x_m, y_m : float
        Where, from the platform's centre [m].
    gap_m : float
        The gap [m].
    """

    x_m: float
    y_m: float
    gap_m: float = field(validator=_not_negative)


@frozen(kw_only=True)
class FlatnessReading:
    """How high the platform's face stands at one spot.

    Parameters
    ----------
    x_m, y_m : float
        Where, from the platform's centre [m].
    height_m : float
        Height of the face there; a bump is above 0 and narrows the gap, a hollow below [m].
    """

    x_m: float
    y_m: float
    height_m: float


@frozen(kw_only=True)
class TipReading:
    """How far the platform tips under a weight set beside its middle.

    Parameters
    ----------
    load_kg : float
        The weight [kg].
    at_m : float
        How far from the platform's middle it is set [m].
    over_m : float
        Distance between the two places read [m].
    difference_m : float
        By how much more the platform gave at the one than at the other [m].
    """

    load_kg: float = field(validator=_positive)
    at_m: float = field(validator=_positive)
    over_m: float = field(validator=_positive)
    difference_m: float = field(validator=_positive)

    @property
    def slope(self) -> float:
        """How far the platform tipped, as a slope [-]."""
        return self.difference_m / self.over_m


@frozen(kw_only=True)
class Machine:
    """One machine, SI.

    Parameters
    ----------
    name : str
        What the shop calls it.
    platform, window, film, light, motion, vat, controller
        Its parts.
    height_m : float
        Build height [m].
    stiffness_n_m : Sourced
        Arm, rail, clamp and screen in series [N/m].
    ceiling_n : Sourced
        Greatest force of its drive [N].
    screen_force_n : float or None
        Force the screen may carry [N], where known.
    warming_k : float or None
        By how much its vat warms in a long run [K], where somebody said it.
    warming_s : float
        Time constant of that [s].
    level : tuple of LevelReading
        Readings of the gap under the platform, empty where nobody took any.
    level_sigma_m : float
        Standard uncertainty of one such reading [m].
    flatness : tuple of FlatnessReading
        Heights of the platform's face, empty where nobody read any.
    tip : TipReading or None
        How the platform gives to an uneven load, None where nobody tried.
    upkeep : Upkeep
        After how much use its parts are due: no matter for what it does, so two that differ in it are one machine.
    assumed : tuple of str
        What was taken for granted because nobody said it, a sentence each.
    """

    name: str
    platform: Platform
    window: Window
    height_m: float = field(validator=_positive)
    film: Film
    stiffness_n_m: Sourced
    ceiling_n: Sourced
    screen_force_n: float | None = field(default=None, validator=validators.optional(_positive))
    warming_k: float | None = field(default=None, validator=validators.optional(_not_negative))
    warming_s: float = field(default=WARMING_S, validator=_positive)
    light: Light
    motion: Motion
    vat: Vat
    controller: Controller
    level: tuple[LevelReading, ...] = ()
    level_sigma_m: float = field(default=1.0e-5, validator=_positive)
    flatness: tuple[FlatnessReading, ...] = ()
    tip: TipReading | None = None
    upkeep: Upkeep = field(default=Upkeep(), eq=False)
    assumed: tuple[str, ...] = field(default=(), eq=False)
