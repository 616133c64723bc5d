"""Every named quantity once: its public name, units, range, prior, label, what a missing one means and what it changes.

A name carries its bench unit (``peel_speed_mm_s``); the field of a record has the same name in SI (``peel_speed_m_s``).
File shapes, forms, requests, rows of a sheet, keys of an outcome, JSON schemas, time of a run and the reference of keys all
follow from these tables, so a new setting is a row here and a field of :class:`vatwright.records.process.Phase`.

The ranges refuse what no bench has (a platform 2 m wide, a layer of half a metre): engineering estimates meant to catch
slipped decimal points, no source.
"""

from __future__ import annotations

import math
from enum import StrEnum

from attrs import evolve, frozen

from vatwright.units import BENCH_UNITS, si_suffix, to_si
from vatwright.wording import to_say


class Nature(StrEnum):
    """How a setting counts in a run."""

    LIGHT = "light"
    WAIT = "wait"
    RISE = "rise"
    SPEED = "speed"
    COUNT = "count"
    THICKNESS = "thickness"


class Takes(StrEnum):
    """What the value of a key is."""

    NUMBER = "a number"
    STATED = "a number, or a table of it with its range"
    WHOLE = "a whole number"
    TEXT = "a text"
    WORD = "one of a few words"
    WORDS = "a list of words"
    YES_NO = "true or false"
    DAY = "a day"
    RULE = "a word, or a table of a rule"
    TABLE = "a table"
    TABLES = "a list of tables"


class Backing(StrEnum):
    """What lies under the film while the plate presses down."""

    GLASS = "glass"
    FREE = "free"
    LIQUID = "liquid"


class Obeys(StrEnum):
    """What a controller does with a setting: separate values for base and body, one value for both, or none."""

    YES = "yes"
    SHARED = "shared"
    NO = "no"


class StationKind(StrEnum):
    """What a station does."""

    WASH = "wash"
    CURE = "cure"


@frozen(kw_only=True)
class Prior:
    """What stands in where nobody says a value, SI, with its 90 % range; every one is an engineering estimate, no source.

    Parameters
    ----------
    value, low, high : float
        Median and ends of the range, in the SI unit of the key.
    """

    value: float
    low: float
    high: float

    @classmethod
    def within(cls, value: float, factor: float) -> Prior:
        """Return a value known to within a factor either way."""
        return cls(value=value, low=value / factor, high=value * factor)


@frozen(kw_only=True)
class TableKey:
    """One key of a table.

    Parameters
    ----------
    name, unit : str
        Public name and its bench unit, empty where there is none.
    holds : Takes
        What the value is.
    low, high : str
        Ends of the range, as a person writes them.
    words : tuple of str
        What may be written, where it is one of a few.
    needs : str
        What to write; empty where the key may be missing.
    default : str or None
        What a missing one is, where that does not depend on anything else.
    label : str
        What forms and sheets call it.
    empty : str
        What an empty field means.
    changes : str
        What it changes.
    attribute : str
        The field of the record.
    prior : Prior or None
        What stands in.
    factor : float
        A bare number is known to within this factor either way; 0 where it is taken as exact.  Engineering estimates, no
        source, but for the working curve: 24 laboratories that measured one resin found D_p apart by up to 7 times and E_c by
        up to 70 times [kolibaba:2024], so a curve that somebody else states is known to the square root of that.
    nature : Nature or None
        For a setting of a run, how it counts there.
    column : str
        The kind of time that light, a wait or a move at a speed is; a wait that names none is one of the other waits.
    runs : tuple of str
        For a speed, the rises it runs through.
    """

    name: str
    holds: Takes
    unit: str = ""
    low: str = ""
    high: str = ""
    words: tuple[str, ...] = ()
    needs: str = ""
    default: str | None = None
    label: str = ""
    empty: str = ""
    changes: str = ""
    attribute: str = ""
    prior: Prior | None = None
    factor: float = 0.0
    nature: Nature | None = None
    column: str = ""
    runs: tuple[str, ...] = ()

    @property
    def may_be_zero(self) -> bool:
        """Whether 0 is in the range, so that it may be left away."""
        return self.low == "0"


def unit_in(name: str) -> str:
    """Return the bench unit that a name ends with, empty where it has none.

    Examples
    --------
    >>> unit_in("peel_speed_mm_s"), unit_in("room_c"), unit_in("turn_deg"), unit_in("base_layers")
    ('mm_s', 'C', 'deg', '')
    """
    if name.endswith("_c"):
        return "C"
    found = [unit for unit in (*BENCH_UNITS, "deg") if name.endswith(f"_{unit}")]
    return max(found, key=len, default="")


def si_name(name: str, unit: str) -> str:
    """Return a public name as records have it, in SI.

    Examples
    --------
    >>> si_name("peel_speed_mm_s", "mm_s"), si_name("stiffness_N_mm", "N_mm"), si_name("room_c", "C")
    ('peel_speed_m_s', 'stiffness_n_m', 'room_k')
    """
    if not unit:
        return name
    stem, suffix = name[: -len(unit) - 1], si_suffix(unit)
    return f"{stem}_{suffix}" if suffix else stem


def _key(name: str, holds: Takes, **said: object) -> TableKey:
    unit = str(said.pop("unit", unit_in(name)))
    attribute = said.pop("attribute", si_name(name, unit))
    return TableKey(name=name, holds=holds, unit=unit, attribute=attribute, **said)  # type: ignore[arg-type]


def _number(name: str, low: str, high: str, needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.NUMBER, low=low, high=high, needs=needs, **said)


def _stated(name: str, low: str, high: str, needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.STATED, low=low, high=high, needs=needs, **said)


def _whole(name: str, low: int, high: int, needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.WHOLE, unit="", low=str(low), high=str(high), needs=needs, **said)


def _text(name: str, needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.TEXT, unit="", needs=needs, **said)


def _word(name: str, words: tuple[str, ...], needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.WORD, unit="", words=words, needs=needs, **said)


def _yes_no(name: str, default: str, **said: object) -> TableKey:
    return _key(name, Takes.YES_NO, unit="", default=default, **said)


def _day(name: str, **said: object) -> TableKey:
    return _key(name, Takes.DAY, unit="", **said)


def _table(name: str, needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.TABLE, unit="", needs=needs, **said)


def _tables(name: str, needs: str = "", **said: object) -> TableKey:
    return _key(name, Takes.TABLES, unit="", needs=needs, **said)


# --- settings of a run -----------------------------------------------------------------------------------------------

PHASES = ("base", "body")

SETTLE_TIME = to_say("settle")
OTHER_WAITS = to_say("other waits")
TIME_COLUMNS = (
    to_say("light"),
    SETTLE_TIME,
    to_say("peel lift"),
    to_say("clear lift"),
    to_say("return"),
    OTHER_WAITS,
    to_say("controller"),
)
"""The kinds of time in a layer."""

_WAIT = {"low": "0", "high": "7200", "nature": Nature.WAIT, "default": "0"}
_SPEED = {"low": "0.001", "high": "200", "nature": Nature.SPEED}

IN_A_PHASE: tuple[TableKey, ...] = (
    _number(
        "exposure_s",
        "0.01",
        "7200",
        "2.6",
        label=to_say("exposure"),
        nature=Nature.LIGHT,
        column=to_say("light"),
        changes="how deep a layer cures",
    ),
    _key(
        "settle_s",
        Takes.NUMBER,
        **_WAIT,
        label=to_say("settle"),
        column=SETTLE_TIME,
        changes="how thick the layer is when the light comes: the dark wait before it",
    ),
    _key("soak_s", Takes.NUMBER, **_WAIT, label=to_say("soak"), changes="the dark wait after the light"),
    _key(
        "refill_s",
        Takes.NUMBER,
        **_WAIT,
        label=to_say("refill"),
        changes="how far resin flows back: the wait at the top",
    ),
    _number(
        "peel_lift_mm",
        "0.01",
        "200",
        "2",
        label=to_say("peel lift"),
        nature=Nature.RISE,
        changes="whether the layer has let go before the fast stage",
    ),
    _key(
        "peel_speed_mm_s",
        Takes.NUMBER,
        **_SPEED,
        needs="1",
        label=to_say("peel speed"),
        column=to_say("peel lift"),
        runs=("peel_lift_mm",),
        changes="the pull and the time of the slow stage",
    ),
    _number(
        "clear_lift_mm",
        "0",
        "200",
        default="0",
        label=to_say("clear lift"),
        nature=Nature.RISE,
        changes="the room that resin flows back through",
    ),
    _key(
        "clear_speed_mm_s",
        Takes.NUMBER,
        **_SPEED,
        needs="3",
        label=to_say("clear speed"),
        column=to_say("clear lift"),
        runs=("clear_lift_mm",),
        changes="the time of the fast stage",
    ),
    _key(
        "return_speed_mm_s",
        Takes.NUMBER,
        **_SPEED,
        needs="3",
        label=to_say("return speed"),
        column=to_say("return"),
        runs=("peel_lift_mm", "clear_lift_mm"),
        changes="the time of the way down",
    ),
)
"""What every layer has, in the order in which a person reads it."""

OF_THE_RUN: tuple[TableKey, ...] = (
    _whole(
        "base_layers",
        1,
        200,
        "4",
        label=to_say("layers"),
        nature=Nature.COUNT,
        changes="how many layers use the base values",
    ),
    _whole(
        "ramp_layers",
        0,
        500,
        default="0",
        label=to_say("layers"),
        empty=to_say("none"),
        nature=Nature.COUNT,
        changes="over how many layers the base values change to those of the body",
    ),
    _number(
        "layer_mm",
        "0.001",
        "1",
        "0.05",
        label=to_say("layer thickness"),
        nature=Nature.THICKNESS,
        attribute="layer_nm",
        changes="nearly everything: a recipe keeps its own",
    ),
)
"""What a run has once."""


COUNTS: dict[str, TableKey] = {k.name.replace("_", "."): k for k in OF_THE_RUN if k.nature is Nature.COUNT}
"""Layer counts by public name: ``base.layers``, ``ramp.layers``."""

LAYER = next(k for k in OF_THE_RUN if k.nature is Nature.THICKNESS)

SETTINGS: dict[str, TableKey] = {
    **COUNTS,
    LAYER.name: LAYER,
    **{f"{phase}.{key.name}": key for phase in PHASES for key in IN_A_PHASE},
}
"""Every setting of a run by its public name, in the order of a sheet."""

SPEEDS: tuple[TableKey, ...] = tuple(k for k in IN_A_PHASE if k.nature is Nature.SPEED)


def in_phase(name: str) -> TableKey:
    """Return a key that every layer has, by its name or by its attribute in SI."""
    return next(k for k in IN_A_PHASE if name in {k.name, k.attribute})


def _base(key: TableKey) -> TableKey:
    """A base value that is missing is the body's, but for the exposure, which nobody means to share."""
    if key.nature is Nature.LIGHT:
        return evolve(key, needs="30")
    return evolve(key, needs="", default=None, empty=to_say("as in the body"))


def _rule(key: TableKey, name: str) -> TableKey:
    return _key(
        name,
        Takes.RULE,
        unit=key.unit,
        attribute=name,
        low=key.low,
        changes=f"how the controller takes {name}",
        label=key.label,
    )


# --- keys of the files -----------------------------------------------------------------------------------------------

FILM_MODULUS_MPA = {"FEP": "480", "PFA": "530", "ETFE": "1100"}
"""Young's modulus of film materials [MPa]: FEP and PFA from memory (handbook ranges 345-550 and 480-580), ETFE as
published for architectural foil (resin grades 800-1100)."""

FILM_YIELD_STRAIN = 0.025
"""Strain at which a fluoropolymer film yields [-]: tension beyond it creeps away; handbook range 2.5 to 3 %, from memory."""

LENGTH_UNITS = ("um", "mm", "cm", "m", "in", "ft")
"""Units a part file may be drawn in."""

_SPOT = {"low": "-1000", "high": "1000"}
_X_Y = (
    _key("x_mm", Takes.NUMBER, **_SPOT, needs="0 with its value", changes="where, to the right of the middle"),
    _key("y_mm", Takes.NUMBER, **_SPOT, needs="0 with its value", changes="where, behind the middle"),
)
_FITS = "which plates fit"
_ROOM = {"low": "-10", "high": "60"}

# fmt: off
TABLES: dict[str, tuple[TableKey, ...]] = {
    "machine": (
        _text("name", '"Wren"', label=to_say("Name"), changes="what recipes and jobs call it"),
        _number("height_mm", "10", "2000", "180", label=to_say("Build height"), changes=_FITS),
        _table("platform", "{ width_mm = 150, depth_mm = 90 }"),
        _table("window"),
        _table("vat"),  # after what has to fit into it
        _table("film"),
        _table("light"),
        _table("motion"),
        _stated(
            "stiffness_N_mm", "1", "100000", label=to_say("Stiffness"), factor=1.3, prior=Prior.within(2.5e5, 2.0),
            changes="how far the platform stands off while resin is squeezed out, so settle",
        ),
        _stated("ceiling_N", "1", "20000", label=to_say("Greatest force"), factor=1.2,
                prior=Prior(value=245.0, low=150.0, high=400.0), changes="whether the drive can pull a layer off"),
        _number("screen_force_N", "1", "20000", label=to_say("Force the screen may carry"),
                changes="whether a plate is refused for the screen's sake"),
        _number("warming_K", "0", "20", label=to_say("Warming of the vat in a run"),
                changes="how thin the resin is by each layer: waits after the base, here and in the proof"),
        _number("warming_min", "1", "600", label=to_say("Time constant of that warming"), default="45",
                changes="how soon it is warm"),
        _tables("dial"),
        _tables("level"),
        _number("level_sigma_um", "0.01", "1000", label=to_say("Uncertainty of a gap reading"),
                changes="what level readings weigh"),
        _tables("flatness"),
        _table("tip"),
        _table("controller"),
        _table("upkeep"),
    ),
    "machine.platform": (
        _number("width_mm", "10", "1000", "150", label=to_say("Platform, left to right"),
                changes=f"{_FITS}, the base's squeeze"),
        _number("depth_mm", "10", "1000", "90", label=to_say("Platform, front to back"),
                changes=f"{_FITS}, the base's squeeze"),
        _number("corner_mm", "0", "500", default="0", label=to_say("Radius of its corners"), changes="the base's squeeze"),
        _tables("opening", attribute="openings"),
    ),
    "machine.platform.opening": (
        *_X_Y,
        _number("diameter_mm", "0.1", "1000", changes="the base's squeeze: resin leaves through it"),
        _number("width_mm", "0.1", "1000", changes="the same, for a slot, with depth_mm"),
        _number("depth_mm", "0.1", "1000", changes="the same, for a slot, with width_mm"),
        _yes_no("round", "true", attribute="round_", changes="whether it is an ellipse or has straight sides"),
    ),
    "machine.window": (
        _number("width_mm", "10", "1200", "176", label=to_say("Window, left to right"),
                empty=to_say("15 mm beyond the platform on each side"), changes="how far the film stretches: lift and pull"),
        _number("depth_mm", "10", "1200", "112", label=to_say("Window, front to back"),
                changes="how far the film stretches: lift and pull"),
        _number("corner_mm", "0", "500", default="0", label=to_say("Radius of its corners"), changes="lift and pull"),
    ),
    "machine.film": (
        _word("backing", tuple(Backing), label=to_say("It lies on"), empty=to_say("taken as glass"),
                changes="whether the film gives: settle"),
        _word("material", tuple(FILM_MODULUS_MPA), label=to_say("Material"), empty=to_say("taken as FEP"),
                changes="its modulus"),
        _number("thickness_um", "5", "2000", label=to_say("Thickness"), empty=to_say("taken as 100 µm"),
                changes="lift and pull"),
        _number("modulus_MPa", "0.5", "10000", label=to_say("Young's modulus"), empty=to_say("as its material has"),
                changes="lift and pull"),
        _stated("tension_N_m", "10", "20000", label=to_say("Tension"), factor=1.2,
                prior=Prior(value=866.0, low=300.0, high=2500.0), changes="lift and pull"),
    ),
    "machine.light": (
        _stated("irradiance_mW_cm2", "0.01", "200", label=to_say("Mean at the window"),
                factor=1.15, prior=Prior.within(30.0, 1.5),
                changes="exposure"),
        _number("dimmest_percent", "1", "100", label=to_say("Dimmest spot, of the mean"),
                changes="exposure: it must do there too"),
        _number("brightest_percent", "100", "999", label=to_say("Brightest spot, of the mean"),
                changes="how far bright spots overcure"),
        _tables("reading", attribute="readings"),
        _text("read_with", label=to_say("Read with, the name of the meter"), attribute="meter",
              changes="how far the light is trusted, and which errors cancel"),
        _number("meter_percent", "0.1", "50", attribute="calibration", label=to_say("Uncertainty of the meter"),
                changes="how far the readings are trusted"),
        _number("repeat_percent", "0.1", "30", attribute="repeat", label=to_say("Repeatability of a reading"),
                changes="how far the readings are trusted"),
        _number("since_read_h", "0", "100000", attribute="burned_s", label=to_say("Burned since it was read"),
                changes="how much dimmer it is now"),
        _stated("fade_percent", "0.01", "60", attribute="fade",
                label=to_say("Loss in 1,000 h"), factor=1.5, prior=Prior.within(0.05, 3.0),
                changes="how much dimmer it is now"),
    ),
    "machine.light.reading": (
        *_X_Y,
        _number("irradiance_mW_cm2", "0.01", "200", "3.1", changes="mean, dimmest and brightest spot"),
    ),
    "machine.motion": (
        _stated("acceleration_mm_s2", "0.1", "100000", label=to_say("Acceleration"), factor=1.2,
                prior=Prior(value=0.1, low=0.03, high=0.3), changes="time of a run"),
        _number("fastest_mm_s", "0.001", "200", label=to_say("Top speed"), changes="time of a run"),
        _table("stroke"),
    ),
    "machine.motion.stroke": (
        _number("distance_mm", "0.1", "1000", "50", changes="acceleration, with the others"),
        _number("speed_mm_s", "0.001", "200", "5", changes="acceleration, with the others"),
        _number("time_s", "0.01", "7200", "10.4", changes="acceleration, with the others"),
        _number("sigma_s", "0.0001", "60", default="0.2", changes="how far the time is trusted"),
    ),
    "machine.vat": (
        _number("width_mm", "10", "1200", "200", label=to_say("Vat, left to right"),
                empty=to_say("10 mm beyond the window on each side"),
                changes="resin to pour"),
        _number("depth_mm", "10", "1200", "130", label=to_say("Vat, front to back"), changes="resin to pour"),
        _number("full_mm", "1", "500", label=to_say("Deepest resin"),
                changes="resin to pour, and whether a run must be topped up"),
    ),
    "machine.controller": (
        _number("overhead_s", "0", "600", label=to_say("What it adds to every layer"), changes="time of a run"),
        _key("ramp_covers", Takes.WORDS, unit="", words=tuple(k.name for k in IN_A_PHASE),
             changes="which quantities the ramp changes step by step"),
        *(_rule(k, k.name) for k in IN_A_PHASE),
        *(_rule(k, name) for name, k in COUNTS.items()),
        _rule(LAYER, LAYER.name),
    ),
    "machine.controller.rule": (
        _word("obeys", tuple(Obeys), '"shared"', changes="one value for base and body, one for each, or none"),
        _number("min", "0", "1000000", attribute="minimum", changes="the least it takes"),
        _number("max", "0.000001", "1000000", attribute="maximum", changes="the most it takes"),
        _number("step", "0.000001", "1000000", changes="how finely it takes it"),
        _yes_no("live", "false", changes="whether hands may change it during a run"),
        _number("fixed", "0", "1000000", changes="what the machine does instead, where it obeys nothing"),
    ),
    "machine.dial": (
        _number("load_kg", "0.01", "500", changes="stiffness, with the deflection"),
        _number("load_N", "0.1", "5000", changes="the same, as a force"),
        _number("deflection_um", "0.1", "20000", "180", changes="stiffness, with the load"),
        _number("sigma_um", "0.01", "5000", default="10", changes="how far the deflection is trusted"),
    ),
    "machine.level": (*_X_Y, _number("gap_um", "0", "20000", "120",
            changes="tilt and twist of the platform: the first layer")),
    "machine.flatness": (*_X_Y, _number("height_um", "-2000", "2000", "15", changes="the first layer there")),
    "machine.tip": (
        _number("load_kg", "0.01", "500", "2", changes="how an uneven load tips the platform"),
        _number("at_mm", "1", "500", "60", changes="how far from the middle the weight stood"),
        _number("over_mm", "1", "1000", "120", changes="how far apart the two places read are"),
        _number("difference_um", "0.1", "20000", "40", changes="by how much more it gave at the one than at the other"),
    ),
    "machine.upkeep": (
        _whole("film_layers", 1, 1_000_000_000, label=to_say("Film is due after, layers"),
                empty=to_say("30,000, or as the cost file says"),
               changes="when a new film is due"),
        _number("screen_h", "1", "1000000", unit="h", attribute="screen_s", label=to_say("Screen is due after"),
                empty=to_say("2,000 h, or as the cost file says"), changes="when its light is to be read again"),
        _whole("filter_runs", 1, 1_000_000, label=to_say("Resin is filtered after, runs"),
                empty=to_say("10; at once after a failure"),
               changes="when the filter is due"),
        _number("vat_h", "1", "1000000", unit="h", attribute="vat_s", label=to_say("Vat is cleaned after"),
                empty=to_say("100 h"),
                changes="when the vat is due"),
        _day("cleaned", label=to_say("Last emptied, cleaned and filtered on"), changes="from when on runs and hours count"),
    ),
    "resin": (
        _text("name", '"slate"', label=to_say("Name"), changes="what recipes and jobs call it"),
        _tables("viscosity"),
        _table("curve"),
        _tables("cure", attribute="cure_readings"),
        _yes_no("filled", "false", label=to_say("Filled, or thins when sheared"),
                changes="whether a viscosity at the shear of the squeeze is asked for"),
        _table("label"),
        _number("density_g_cm3", "0.5", "5", label=to_say("Density"), empty=to_say("taken as 1.1"),
                changes="how resin flows back, and its cost"),
        _number("price_per_kg", "0", "100000", unit="", label=to_say("Price a kg"), changes="cost"),
        _stated("green_strength_MPa", "0.1", "200", factor=1.3, label=to_say("Strength before final cure"),
                changes="whether necks tear"),
        _stated("base_bond_MPa", "0.001", "100", factor=1.5, label=to_say("Bond to the platform"),
                changes="whether the base holds"),
    ),
    "resin.viscosity": (
        _number("temperature_c", "-20", "120", "25", label=to_say("viscosity, at"), changes="how it thickens in the cold"),
        _number("viscosity_mPa_s", "1", "100000", "250", label=to_say("viscosity"), changes="settle, refill, pull"),
        _number("sigma_mPa_s", "0.000001", "100000", empty=to_say("5 % of it"), changes="how far the reading is trusted"),
    ),
    "resin.label": (
        _number("viscosity_mPa_s", "1", "100000", label=to_say("Viscosity on the label"),
                changes="settle, refill, pull, until somebody reads it; trusted to 25 %"),
        _number("temperature_c", "-20", "120", default="25", label=to_say("at"), changes="what that viscosity is here"),
        evolve(LAYER, needs="", label=to_say("Layer its exposures are for"), empty=to_say("0.05")),
        _number("exposure_s", "0.05", "600", label=to_say("Body exposure on the label"),
                changes="the light where no recipe is proven"),
        _number("base_exposure_s", "0.05", "600", label=to_say("Base exposure on the label"),
                changes="the light where no recipe is proven"),
        _number("irradiance_mW_cm2", "0.05", "100", label=to_say("Light they are meant for"),
                empty=to_say("seconds as printed"),
                changes="the light where no recipe is proven: it goes by dose"),
    ),
    "resin.curve": (
        _stated("Dp_um", "1", "5000", "150", label=to_say("Depth of cure D_p"), attribute="depth_m", factor=math.sqrt(7.0),
                changes="exposure, and how far light bonds through a gap"),
        _stated("Ec_mJ_cm2", "0.01", "1000", "8",
                label=to_say("Critical dose E_c"), attribute="critical_j_m2", factor=math.sqrt(70.0),
                changes="exposure, and how far light bonds through a gap"),
    ),
    "resin.cure": (
        _number("dose_mJ_cm2", "0.01", "100000", "20", changes="the working curve, with the depth"),
        _number("depth_um", "1", "20000", "137", changes="the working curve, with the dose"),
    ),
    "recipe": (
        _text("name", '"slate on Wren"', changes="what jobs call it"),
        _text("machine", '"Wren"', label=to_say("Machine"), changes="what it was proven on"),
        _text("resin", '"slate"', label=to_say("Resin"), changes="what it was proven with"),
        evolve(LAYER, label=to_say("Layer")),
        *(evolve(key, label=name.replace(".", " ").capitalize()) for name, key in COUNTS.items()),
        _table("base", "{ exposure_s = 30, settle_s = 30 }"),
        _table("body", "a [recipe.body] table with exposure, lift and speeds"),
        _table("proven"),
    ),
    "recipe.base": tuple(_base(k) for k in IN_A_PHASE),
    "recipe.body": IN_A_PHASE,
    "recipe.proven": (
        _whole("runs", 0, 1_000_000, "11", label=to_say("Runs"),
               changes="how far the recipe is trusted; with 0 waits and rises are common practice"),
        _whole("failed", 0, 1_000_000, default="0", label=to_say("Of these failed"), changes="how far the recipe is trusted"),
        _whole("film_layers", 0, 10_000_000, label=to_say("Layers its film had released"),
               empty=to_say("not known"), changes="how much harder another film lets go: a film wears"),
        _key("room_c", Takes.NUMBER, **_ROOM, needs="22", label=to_say("Room"), changes="how thick the resin was"),
        _tables("part"),
        _table("load"),
    ),
    "recipe.proven.load": (
        _whole("pieces", 1, 10_000, "6", label=to_say("pieces"), changes="what it was proven on"),
        _number("piece_area_mm2", "0.01", "1000000", "450", label=to_say("largest section of one piece"),
                attribute="section_m2", changes="the same: squeeze and pull"),
        _number("height_mm", "0.1", "2000", "60", label=to_say("height of a piece"), changes="the same: layers"),
        _number("spread_percent", "0", "100", default="100", attribute="reach",
                changes="how far from the middle the pieces stood, of how far they do when nobody places them"),
    ),
    "part": (
        _text("file", '"lantern.stl"', changes="what is printed"),
        _text("name", empty=to_say("as its file"), changes="what sheets call it"),
        _word("unit", LENGTH_UNITS, changes="its size, for formats that do not say the unit"),
        _whole("count", 1, 10_000, empty=to_say("1, or one for each place"), changes="how many"),
        _number("pixel_mm", "0.001", "5", changes="its size, for a folder of layer bitmaps"),
        _tables("places"),
        _yes_no("as_drawn", "false", changes="whether it stays where it was drawn"),
    ),
    "part.places": (
        *(evolve(k, needs="", default="0") for k in _X_Y),
        _number("turn_deg", "-360", "360", default="0", changes="how far it is turned, seen from above"),
    ),
    "job": (
        _text("name", empty=to_say("as its file"), changes="what sheets call it"),
        _text("recipe", label=to_say("recipe"), empty=to_say("common practice, for want of a proven one"),
                changes="what is carried"),
        _text("to", empty=to_say("said with --to"), changes="the machine it is carried to"),
        _key("room_c", Takes.NUMBER, **_ROOM, needs="20", label=to_say("room temperature"),
                changes="how thick the resin is: settle, refill"),
        _text("resin", empty=to_say("the recipe's"), changes="the resin it is carried to"),
        _text("shop", empty=to_say("shop.toml beside it"), changes="where machines, resins and recipes are looked up"),
        _whole("visits", 0, 20, label=to_say("visits"), changes="how often hands may change a setting during the run"),
        _number("present_min", "0", "100000", label=to_say("somebody is there for"), changes="until when hands may come"),
        _number("late_min", "0", "10000", changes="by how much a visit may be late"),
        _number("early_min", "0", "10000", changes="by how much a visit may be early"),
        _yes_no("faint_steps", "false", changes="whether hands lower settle in steps too small to leave a line"),
        _number("confidence_percent", "50", "99.9", label=to_say("what must be covered"), changes="how sure the run must be"),
        _number("tolerance_percent", "0.1", "100", changes="how far a layer's thickness may be off"),
        _whole("ramp_layers", 0, 100, label=to_say("ramp layers"), empty=to_say("the recipe's"),
               changes="over how many layers the light goes from base to body: how long the first ones of the body wait"),
        _yes_no("trim", "false", label=to_say("take spare away"),
                changes="whether each sheet takes a step of the spare time away"),
    ),
    "film": (
        _text("name", '"Heron, film 3"', changes="what runs call it"),
        _text("machine", '"Heron"', label=to_say("On machine"), changes="which machine's runs wear it"),
        _text("material", label=to_say("Material, as on its label"), changes="nothing: the machine's own film says that"),
        _day("fitted", label=to_say("Fitted on"), changes="which runs wore it"),
        _day("removed", label=to_say("Removed on"), empty=to_say("still in use"), changes="which runs wore it"),
        _whole("layers", 0, 1_000_000_000, default="0", label=to_say("Layers released"), changes="its wear"),
        _number("hours", "0", "1000000", unit="h", default="0", attribute="used_s", label=to_say("Printing time"),
                changes="its wear"),
    ),
    "screen": (
        _text("name", '"Heron, first screen"', changes="what runs call it"),
        _text("machine", '"Heron"', label=to_say("In machine"), changes="which machine's runs wear it"),
        _day("fitted", label=to_say("Fitted on"), changes="which runs wore it"),
        _day("removed", label=to_say("Removed on"), empty=to_say("still in use"), changes="which runs wore it"),
        _number("hours", "0", "1000000", unit="h", default="0", attribute="used_s", label=to_say("Printing time"),
                changes="its wear"),
    ),
    "lot": (
        _text("name", '"slate 2026-02"', changes="what runs call it"),
        _text("resin", '"slate"', label=to_say("Resin"), changes="whose stock it is"),
        _number("left_ml", "0", "1000000", "1000", label=to_say("Left"), changes="whether a run has resin enough"),
        _day("opened", label=to_say("Opened on"), changes="how old it is"),
        _day("expires", label=to_say("Good until"), changes="whether it is past its date"),
    ),
    "station": (
        _text("name", '"the tub"', changes="what plans call it"),
        _word("kind", tuple(StationKind), '"wash"', label=to_say("It does"), changes="what it is planned for"),
        _number("width_mm", "1", "5000", "200", label=to_say("Inside, left to right"), changes="which pieces fit"),
        _number("depth_mm", "1", "5000", "200", label=to_say("Inside, front to back"), changes="which pieces fit"),
        _number("height_mm", "1", "5000", "250", label=to_say("Inside, height"), changes="which pieces fit"),
        _number("bath_ml", "1", "1000000", label=to_say("Solvent it holds"), empty=to_say("one that cures"),
                changes="how soon the bath is used up"),
        _text("solvent", label=to_say("Solvent"), changes="its price and its vapour"),
        _number("irradiance_mW_cm2", "0.01", "200", label=to_say("Light at the piece"),
                empty=to_say("one that washes, or not read"),
                changes="how long it cures"),
    ),
    "price": (
        _text("name", '"film"', changes="what it is the price of"),
        _number("amount", "0", "1000000000", "12.50", label=to_say("Amount"), changes="cost"),
        _text("per", default="piece", label=to_say("For one"), empty=to_say("piece"), changes="cost"),
    ),
    "": (_tables("machine"), _tables("resin"), _tables("recipe")),
}
# fmt: on
"""The keys of every table by its dotted name; a table within a table is named after both."""


def bounds_of(path: str) -> tuple[float, float]:
    """Return the ends of the range of a key in SI: no bench has less or more, whatever is said or learned.

    Examples
    --------
    >>> bounds_of("machine.stiffness_N_mm")
    (1000.0, 100000000.0)
    """
    key = key_at(path)
    low, high = (to_si(float(end), key.unit) for end in (key.low, key.high))
    return low, high


def key_at(path: str) -> TableKey:
    """Return the key at a dotted path of names, positions in lists left away.

    Examples
    --------
    >>> key_at("machine.film.thickness_um").high, key_at("resin.viscosity.viscosity_mPa_s").unit
    ('2000', 'mPa_s')
    """
    return next(k for table, keys in TABLES.items() for k in keys if f"{table}.{k.name}" == path)
