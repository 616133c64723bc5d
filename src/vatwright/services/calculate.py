"""Calculate: one formula at a time, with units, working, validity and source.

Each formula of the physics room that is of use on its own has one entry in a table here: its name, its arguments in
bench units, the plain function that computes it in SI, and the text that shows the equation with the numbers put in.
"""

from __future__ import annotations

import difflib
import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

from attrs import field, frozen

from vatwright.errors import DomainError, InputError, Mistake
from vatwright.physics import (
    cure_depth,
    drag_out,
    film_peel,
    motion,
    pool,
    squeeze_film,
    stiffness,
    vapour,
    viscosity,
    warming,
)
from vatwright.sources import source
from vatwright.units import BENCH_UNITS, celsius_to_kelvin, parse_quantity, to_si

if TYPE_CHECKING:
    from collections.abc import Sequence

UNIT_TEXT = {
    "Pa_s": "Pa s", "c": "C", "1": "", "kJ_mol": "kJ/mol", "mm_h": "mm/h", "m3_h": "m3/h", "mm_s3": "mm/s3",
    "per_cm2_s": "photons/(cm2 s)", "kJ_kg_K": "kJ/(kg K)",
}  # fmt: skip
"""How a unit is printed where that differs from its first spelling."""

PLAIN_SPELLINGS = {
    "c": ("°C", "degC", "C"), "deg": ("deg", "°"), "mm_s3": ("mm/s3", "mm/s³"), "Hz": ("Hz",), "nm": ("nm",),
    "cm2": ("cm2", "cm²"), "kJ_kg_K": ("kJ/(kg K)",), "1": (),
}  # fmt: skip
"""Units that are no plain multiple of an SI unit, or stand outside the table of bench units."""

TO_BENCH: dict[str, Callable[[float], float]] = {
    "deg": math.degrees,
    "Hz": float,
    "1": float,
    "kJ_mol": lambda value: value / 1000.0,
    "mm_h": lambda value: value * 3_600_000.0,
    "m3_h": lambda value: value * 3600.0,
    "per_cm2_s": lambda value: value / 10_000.0,
}
"""Results in units outside the table of bench units."""

FROM_PLAIN: dict[str, Callable[[float], float]] = {
    "c": celsius_to_kelvin,
    "deg": math.radians,
    "mm_s3": lambda value: value / 1000.0,
    "nm": lambda value: value / 1e9,
    "cm2": lambda value: value / 1e4,
    "kJ_kg_K": lambda value: value * 1e3,
    "Hz": float,
    "1": float,
}


@frozen
class Argument:
    """One argument of a formula, in the unit its name ends in."""

    name: str
    unit: str
    meaning: str
    sign: str = "above 0"

    @property
    def stem(self) -> str:
        """Name without its unit."""
        return self.name.removesuffix(f"_{self.unit}")

    @property
    def unit_text(self) -> str:
        """Unit as printed."""
        return unit_text(self.unit)

    def read(self, text: str, given_as: str) -> float:
        """Return the number in `text` in this argument's unit, or raise what is wrong with it."""
        value = self._number(text, given_as)
        if given_as != self.name and value == _plain_number(text) and self.unit != "1":
            raise InputError.one(
                given_as, f"{text!r} has no unit", f"Write {self.name}={text} or {self.stem}={text}{self.unit_text}"
            )
        if (self.sign == "above 0" and value <= 0.0) or (self.sign == "0 or above" and value < 0.0):
            raise InputError.one(given_as, f"must be {self.sign}, got {text}", f"Give the {self.meaning}")
        return value

    def _number(self, text: str, given_as: str) -> float:
        """Return the number in this argument's unit."""
        if self.unit in BENCH_UNITS:
            return parse_quantity(text, self.unit, given_as)
        bare = text.strip()
        for spelling in PLAIN_SPELLINGS[self.unit]:
            bare = bare.removesuffix(spelling)
        value = _plain_number(bare)
        if value is None:
            want = f"a number in {self.unit_text}" if self.unit_text else "a plain number"
            raise InputError.one(given_as, f"{text!r} is not {want}", f"Give the {self.meaning} as {want}")
        return value

    def si(self, value: float) -> float:
        """Return `value` in SI."""
        return to_si(value, self.unit) if self.unit in BENCH_UNITS else FROM_PLAIN[self.unit](value)


def _plain_number(text: str) -> float | None:
    """Return a finite number written without a unit, or None."""
    try:
        value = float(text)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def unit_text(unit: str) -> str:
    """Return a unit as printed.

    Examples
    --------
    >>> unit_text("mJ_cm2"), unit_text("Pa_s")
    ('mJ/cm2', 'Pa s')
    """
    return UNIT_TEXT[unit] if unit in UNIT_TEXT else BENCH_UNITS[unit].spellings[0] if unit in BENCH_UNITS else unit


ARGUMENTS = {
    a.name: a
    for a in (
        Argument("viscosity_Pa_s", "Pa_s", "viscosity of the resin"),
        Argument("torsion_mm4", "mm4", "torsion constant of the face"),
        Argument("stiffness_N_mm", "N_mm", "stiffness of arm, platform and screen together"),
        Argument("radius_mm", "mm", "radius"),
        Argument("outer_mm", "mm", "outer radius"),
        Argument("inner_mm", "mm", "radius of the hole"),
        Argument("long_mm", "mm", "longer side (of an ellipse: half axis)"),
        Argument("short_mm", "mm", "shorter side (of an ellipse: half axis)"),
        Argument("side_mm", "mm", "side"),
        Argument("area_mm2", "mm2", "area"),
        Argument("polar_mm4", "mm4", "polar second moment of area"),
        Argument("gap_um", "um", "gap under the face"),
        Argument("from_um", "um", "gap at the start"),
        Argument("to_um", "um", "gap at the end"),
        Argument("target_um", "um", "gap at which the machine is at rest; may be negative", "any"),
        Argument("speed_mm_s", "mm_s", "speed"),
        Argument("force_N", "N", "force"),
        Argument("time_s", "s", "time"),
        Argument("window_radius_mm", "mm", "radius at which the film is clamped"),
        Argument("descent_mm_s", "mm_s", "speed of the descent"),
        Argument("consistency", "1", "consistency, Pa s^n"),
        Argument("flow_index", "1", "flow index n"),
        Argument("Dp_um", "um", "penetration depth D_p"),
        Argument("Ec_mJ_cm2", "mJ_cm2", "critical dose E_c"),
        Argument("dose_mJ_cm2", "mJ_cm2", "dose, irradiance times time", "0 or above"),
        Argument("depth_um", "um", "depth to cure", "0 or above"),
        Argument("layer_um", "um", "layer thickness"),
        Argument("layers", "1", "number of layers"),
        Argument("exposure_s", "s", "proven exposure"),
        Argument("from_mW_cm2", "mW_cm2", "irradiance it was proven under"),
        Argument("to_mW_cm2", "mW_cm2", "irradiance of the other machine"),
        Argument("reciprocity", "1", "exponent of irradiance; 1 is equal dose"),
        Argument("schwarzschild", "1", "exponent of time; 1 is equal dose"),
        Argument("dose1_mJ_cm2", "mJ_cm2", "dose of the first exposure", "0 or above"),
        Argument("dose2_mJ_cm2", "mJ_cm2", "dose of the second exposure", "0 or above"),
        Argument("spot_mW_cm2", "mW_cm2", "irradiance at the spot"),
        Argument("mean_mW_cm2", "mW_cm2", "mean irradiance of the window"),
        Argument("irradiance_mW_cm2", "mW_cm2", "irradiance"),
        Argument("wavelength_nm", "nm", "wavelength"),
        Argument("cell_um", "um", "thickness of the cell"),
        Argument("absorbance", "1", "decadic absorbance"),
        Argument("liquid_g_cm3", "g_cm3", "density of the liquid"),
        Argument("cured_g_cm3", "g_cm3", "density of the cured part"),
        Argument("modulus_MPa", "MPa", "Young's modulus of the film"),
        Argument("film_um", "um", "thickness of the film"),
        Argument("tension_N_m", "N_m", "line tension of the film", "0 or above"),
        Argument("energy_J_m2", "J_m2", "energy the bond costs per area"),
        Argument("angle_deg", "deg", "angle between film and face", "0 or above"),
        Argument("span_mm", "mm", "distance to the nearest edge of the window"),
        Argument("lift_mm", "mm", "lift at which it let go"),
        Argument("front_mm", "mm", "length of the peel front"),
        Argument("disc_mm", "mm", "radius of the disc"),
        Argument("window_mm", "mm", "radius of the window"),
        Argument("T1_c", "c", "first temperature", "any"),
        Argument("T2_c", "c", "second temperature", "any"),
        Argument("T_c", "c", "temperature wanted", "any"),
        Argument("mu1", "Pa_s", "viscosity at the first temperature"),
        Argument("mu2", "Pa_s", "viscosity at the second temperature"),
        Argument("B", "1", "coefficient B in kelvin"),
        Argument("T0_c", "c", "temperature at which the law diverges", "any"),
        Argument("particle_um", "um", "diameter of the particles"),
        Argument("excess_g_cm3", "g_cm3", "density of the particles less that of the resin", "any"),
        Argument("volume_fraction", "1", "volume fraction of particles", "0 or above"),
        Argument("distance_mm", "mm", "distance", "0 or above"),
        Argument("accel_mm_s2", "mm_s2", "acceleration"),
        Argument("jerk_mm_s3", "mm_s3", "jerk"),
        Argument("distance1_mm", "mm", "distance of the peel lift", "0 or above"),
        Argument("speed1_mm_s", "mm_s", "speed of the peel lift"),
        Argument("distance2_mm", "mm", "distance of the clear lift", "0 or above"),
        Argument("speed2_mm_s", "mm_s", "speed of the clear lift"),
        Argument("modulus_GPa", "GPa", "Young's modulus"),
        Argument("width_mm", "mm", "width of the bar, across the force"),
        Argument("height_mm", "mm", "height of the bar, along the force"),
        Argument("length_mm", "mm", "length"),
        Argument("thickness_mm", "mm", "thickness"),
        Argument("poisson", "1", "Poisson's ratio", "0 or above"),
        Argument("load_N", "N", "weight laid on"),
        Argument("deflection_um", "um", "deflection read"),
        Argument("k1_N_mm", "N_mm", "first stiffness"),
        Argument("k2_N_mm", "N_mm", "second stiffness"),
        Argument("mass_kg", "kg", "mass"),
        Argument("sag_mm", "mm", "sag under its own weight"),
        Argument("frequency_Hz", "Hz", "natural frequency"),
        Argument("damping_ratio", "1", "damping ratio"),
        Argument("left", "1", "share of the swing that may be left"),
        Argument("surface_tension_N_m", "N_m", "surface tension"),
        Argument("density_g_cm3", "g_cm3", "density"),
        Argument("depth_mm", "mm", "depth of the pool"),
        Argument("evaporation_g_h", "g_h", "mass evaporated per hour", "0 or above"),
        Argument("room_m3", "m3", "volume of the room"),
        Argument("air_changes_h", "per_h", "air changes per hour"),
        Argument("molar_mass", "g_mol", "molar mass in g/mol"),
        Argument("mixing", "1", "mixing factor, 1 to 10"),
        Argument("limit_ppm", "ppm", "limit to keep"),
        Argument("mass_g", "g", "mass spilled", "0 or above"),
        Argument("vapour_pressure_kPa", "kPa", "vapour pressure", "0 or above"),
        Argument("carried_ml", "ml", "resin that a plate carries in"),
        Argument("bath_ml", "ml", "solvent in the bath"),
        Argument("plates", "1", "plates washed", "0 or above"),
        Argument("limit_percent", "percent", "share of resin at which it is changed"),
        Argument("open_cm2", "cm2", "open surface of the bath"),
        Argument("start_c", "c", "temperature at the start", "any"),
        Argument("air_c", "c", "temperature of the room", "any"),
        Argument("wanted_c", "c", "temperature wanted, between the two", "any"),
        Argument("capacity_kJ_kg_K", "kJ_kg_K", "specific heat capacity"),
        Argument("conductivity_W_m_K", "1", "thermal conductivity, W/(m K)"),
        Argument("coefficient_W_m2_K", "1", "heat transfer to the air, W/(m2 K)"),
        Argument("legs", "1", "number of legs"),
        Argument("leg_mm", "mm", "side of a square leg"),
        Argument("tall_mm", "mm", "height of the table"),
        Argument("chance_percent", "percent", "chance that a plate holds"),
        Argument("good_cost", "1", "cost of a plate that holds", "0 or above"),
        Argument("failed_cost", "1", "cost of a plate that fails", "0 or above"),
        Argument("fixed_cost", "1", "what is to be earned back"),
        Argument("price", "1", "what a piece brings"),
        Argument("unit_cost", "1", "what a piece costs", "0 or above"),
    )
}
"""Every argument of every formula, by name."""


@frozen(kw_only=True)
class Formula:
    """One entry of the table.

    Parameters
    ----------
    name, title, subject : str
        Name on the command line, one-line title, and the heading it is listed under.
    parameters : mapping of str to str
        Argument on the command line -> keyword of the function.
    unit : str
        Unit of the result.
    function : callable
        Plain SI function.
    working : str
        Equation with the arguments in braces.
    validity : str
        Where it holds.
    sources : tuple of str
        Keys in the list of sources.
    defaults : mapping of str to float
        Arguments that may be left out, in bench units.
    """

    name: str
    title: str
    subject: str
    parameters: Mapping[str, str]
    unit: str
    function: Callable[..., float]
    working: str
    validity: str
    sources: tuple[str, ...]
    defaults: Mapping[str, float] = field(factory=dict)

    @property
    def arguments(self) -> tuple[Argument, ...]:
        """The arguments, in order."""
        return tuple(ARGUMENTS[name] for name in self.parameters)

    @property
    def usage(self) -> str:
        """How it is called."""
        return " ".join(f"[{n}={self.defaults[n]:g}]" if n in self.defaults else n for n in self.parameters)


@frozen(kw_only=True)
class Answer:
    """What a formula gives, with everything needed to check it.

    Parameters
    ----------
    name, title : str
        The formula.
    value : float
        Result, at full precision, in `unit`.
    unit : str
        Unit as printed.
    inputs : mapping of str to float
        Arguments used, in the units of their names.
    working : str
        Equation with the numbers put in.
    validity : str
        Where it holds.
    sources : tuple of str
        Keys in the list of sources.
    """

    name: str
    title: str
    value: float
    unit: str
    inputs: Mapping[str, float]
    working: str
    validity: str
    sources: tuple[str, ...]

    @property
    def citations(self) -> tuple[str, ...]:
        """Sources in full."""
        return tuple(str(source(key)) for key in self.sources)

    def to_json(self) -> dict[str, Any]:
        """Return the answer as plain data: value, unit and source first."""
        return {
            "value": self.value,
            "unit": self.unit,
            "source": "; ".join(self.citations),
            "sources": list(self.sources),
            "name": self.name,
            "title": self.title,
            "inputs": dict(self.inputs),
            "working": self.working,
            "validity": self.validity,
        }


def calculate(name: str, values: Sequence[str]) -> Answer:
    """Return what a formula gives.

    Parameters
    ----------
    name : str
        Name of the formula.
    values : sequence of str
        ``name=value`` texts; a value may carry a unit, and must where the name does not end in one.

    Returns
    -------
    Answer
        Result with unit, working, validity and sources.

    Raises
    ------
    InputError
        Carrying every mistake found.

    Examples
    --------
    >>> answer = calculate("disc_torsion", ["radius=1cm3"])
    Traceback (most recent call last):
    vatwright.errors.InputError: radius: '1cm3' is a volume, a length is wanted. Give it in mm.
    >>> answer = calculate("disc_torsion", ["radius=10mm"])
    >>> round(answer.value, 3), answer.unit
    (15707.963, 'mm4')
    >>> answer.working
    'J = pi R^4 / 2 = pi (10 mm)^4 / 2 = 15708 mm4'
    """
    formula = find_formula(name)
    inputs = _read_inputs(formula, values)
    keywords = {formula.parameters[n]: ARGUMENTS[n].si(v) for n, v in inputs.items()}
    try:
        value = _in_bench_unit(float(formula.function(**keywords)), formula.unit)
    except DomainError as error:
        names = {parameter: n for n, parameter in formula.parameters.items()}
        raise InputError(
            [Mistake(names.get(m.where, m.where), f"{m.what} (in SI units)", m.do) for m in error.mistakes]
        ) from error
    except OverflowError as error:
        raise InputError.one(name, "the result is too large for a number", "Check the values and units") from error
    if not math.isfinite(value):
        raise InputError.one(name, "the result is not a finite number", "Check the values and units")
    unit = unit_text(formula.unit)
    shown = {n: f"{v:.6g} {ARGUMENTS[n].unit_text}".strip() for n, v in inputs.items()}
    return Answer(
        name=name,
        title=formula.title,
        value=value,
        unit=unit,
        inputs=inputs,
        working=f"{formula.working.format_map(shown)} = {value:.5g} {unit}".strip(),
        validity=formula.validity,
        sources=formula.sources,
    )


def find_formula(name: str) -> Formula:
    """Return the formula of that name.

    Raises
    ------
    InputError
        When there is none, naming the nearest.

    Examples
    --------
    >>> find_formula("disk_torsion")
    Traceback (most recent call last):
    vatwright.errors.InputError: disk_torsion: there is no formula of this name. Did you mean disc_torsion?
    """
    if name in FORMULAS:
        return FORMULAS[name]
    near = difflib.get_close_matches(name, FORMULAS, n=1)
    hint = f"Did you mean {near[0]}?" if near else "List them with: vatwright calc --list"
    raise InputError.one(name, "there is no formula of this name", hint)


def _in_bench_unit(value: float, unit: str) -> float:
    """Return an SI value in a unit at full precision."""
    if unit in BENCH_UNITS:
        return value * BENCH_UNITS[unit].over / BENCH_UNITS[unit].times
    return TO_BENCH[unit](value)


def _read_inputs(formula: Formula, values: Sequence[str]) -> dict[str, float]:
    """Return the arguments in bench units, in the formula's order; raise every mistake at once."""
    by_key = {key: a for a in formula.arguments for key in (a.stem, a.name)}
    mistakes: list[Mistake] = []
    seen: dict[str, float | None] = {}
    for text in values:
        key, sign, value = text.partition("=")
        if not sign:
            mistakes.append(Mistake(text, "is not of the form name=value", f"Write for example {_example(formula)}"))
            continue
        argument = by_key.get(key)
        if argument is None:
            near = _nearest(key, by_key)
            hint = f"Did you mean {near}?" if near else f"It takes {formula.usage}"
            mistakes.append(Mistake(key, f"is not an argument of {formula.name}", hint))
            seen.setdefault(near, None)  # misspelt, not missing
            continue
        if seen.get(argument.name) is not None:
            mistakes.append(Mistake(key, "is given twice", "Give it once"))
            continue
        seen[argument.name] = None
        try:
            seen[argument.name] = argument.read(value, key)
        except InputError as error:
            mistakes.extend(error.mistakes)
    mistakes.extend(
        Mistake(a.name, "is missing", f"Give the {a.meaning}, for example {a.name}=...")
        for a in formula.arguments
        if a.name not in seen and a.name not in formula.defaults
    )
    if mistakes:
        raise InputError(mistakes)
    given = {n: v for n, v in seen.items() if v is not None}
    return {n: given[n] if n in given else formula.defaults[n] for n in formula.parameters}


def _example(formula: Formula) -> str:
    """Return the first argument with a number."""
    return f"{next(iter(formula.parameters))}=10"


def _nearest(key: str, by_key: Mapping[str, Argument]) -> str:
    """Return the argument whose name is nearest, or nothing."""
    folded = {k.casefold(): a.name for k, a in by_key.items()}
    near = difflib.get_close_matches(key.casefold(), folded, n=1)
    return folded[near[0]] if near else ""


def _ring(function: Callable[..., float]) -> Callable[..., float]:
    """Return a ring's function under the names of the command line."""
    return lambda *, outer_m, inner_m: function(outer_radius_m=outer_m, inner_radius_m=inner_m)


def _force_left(**film: float) -> float:
    # compiled on first use; the other formulas need no compiler
    from vatwright.physics.film_settle import force_left

    return force_left(**film)


def _peel_energy(*, lift_m: float, span_m: float, **film: float) -> float:
    """Bond energy from the lift at which a point let go."""
    return film_peel.peel_energy(angle_rad=math.atan2(lift_m, span_m), **film)


def _release_lift(**film: float) -> float:
    return film_peel.strip_release(**film).lift_m


def _release_pull(**film: float) -> float:
    return film_peel.strip_release(**film, span_m=1.0).force_n_m


def _print_through(*, layers: float, **curve: float) -> float:
    if layers != int(layers):
        raise DomainError.one("layers", f"must be a whole number, got {layers:g}", "Count the layers")
    return cure_depth.print_through(layers=int(layers), **curve)


def _two_doses(*, first_j_m2: float, second_j_m2: float, **curve: float) -> float:
    return cure_depth.cure_depth(dose_j_m2=first_j_m2 + second_j_m2, **curve)


def _schwarzschild(*, schwarzschild: float, **light: float) -> float:
    return cure_depth.carried_exposure(reciprocity=1.0 / schwarzschild, **light)


def _spot_share(*, spot_w_m2: float, mean_w_m2: float) -> float:
    return spot_w_m2 / mean_w_m2


def _spot_depth(*, penetration_m: float, spot_w_m2: float, mean_w_m2: float) -> float:
    return penetration_m * math.log(spot_w_m2 / mean_w_m2)


def _arm(*, modulus_pa: float, width_m: float, height_m: float, length_m: float) -> float:
    second = stiffness.rectangle_second_moment(width_m=width_m, height_m=height_m)
    return stiffness.cantilever_stiffness(modulus_pa=modulus_pa, second_moment_m4=second, length_m=length_m)


def _glass(*, long_m: float, short_m: float, **glass: float) -> float:
    rigidity = stiffness.plate_rigidity(**glass)
    return stiffness.rectangular_plate_stiffness(rigidity_j=rigidity, long_m=long_m, short_m=short_m)


def _round_glass(*, radius_m: float, **glass: float) -> float:
    return stiffness.round_plate_stiffness(rigidity_j=stiffness.plate_rigidity(**glass), radius_m=radius_m)


def _two_springs(*, k1_n_m: float, k2_n_m: float) -> float:
    return stiffness.springs_in_series(k1_n_m, k2_n_m)


def _vapour(
    *, evaporation_kg_s: float, room_m3: float, air_changes_per_s: float, molar_mass_kg_mol: float, mixing: float
) -> float:
    flow = vapour.vapour_flow(evaporation_kg_s=evaporation_kg_s, molar_mass_kg_mol=molar_mass_kg_mol)
    return vapour.steady_concentration(vapour_m3_s=flow, fresh_air_m3_s=room_m3 * air_changes_per_s, mixing=mixing)


def _fresh_air(*, evaporation_kg_s: float, molar_mass_kg_mol: float, limit_fraction: float, mixing: float) -> float:
    flow = vapour.vapour_flow(evaporation_kg_s=evaporation_kg_s, molar_mass_kg_mol=molar_mass_kg_mol)
    return vapour.fresh_air_needed(vapour_m3_s=flow, limit_fraction=limit_fraction, mixing=mixing)


_FACE = {"viscosity_Pa_s": "viscosity_pa_s", "torsion_mm4": "torsion_m4"}
_CURVE = {"Dp_um": "penetration_m", "Ec_mJ_cm2": "critical_j_m2"}
_FILM = {"modulus_MPa": "modulus_pa", "film_um": "film_m", "tension_N_m": "tension_n_m"}
_PLATE = {"modulus_GPa": "modulus_pa", "thickness_mm": "thickness_m", "poisson": "poisson"}
_READINGS = {"T1_c": "cold_k", "mu1": "cold_pa_s", "T2_c": "warm_k", "mu2": "warm_pa_s"}
_SIDES = {"long_mm": "long_m", "short_mm": "short_m"}
_RING = {"outer_mm": "outer_m", "inner_mm": "inner_m"}
_RIGID = "Parallel rigid faces, Newtonian resin, gap far below the width, free resin at the edge."
_G = "G(x) = [ln((x - a)/x) + a/x + a^2/(2 x^2)] / a^3"


def _warming(
    *, start_k: float, air_k: float, wanted_k: float, thickness_m: float, density_kg_m3: float,
    heat_capacity_j_kg_k: float, conductivity_w_m_k: float, coefficient_w_m2_k: float,
) -> float:  # fmt: skip
    constant_s = warming.slab_time_constant(
        density_kg_m3=density_kg_m3, heat_capacity_j_kg_k=heat_capacity_j_kg_k, thickness_m=thickness_m,
        conductivity_w_m_k=conductivity_w_m_k, coefficient_w_m2_k=coefficient_w_m2_k,
    )  # fmt: skip
    return warming.warming_time(start_k=start_k, air_k=air_k, wanted_k=wanted_k, time_constant_s=constant_s)


def _table(*, legs: float, modulus_pa: float, side_m: float, height_m: float) -> float:
    if legs != int(legs) or legs > 1000:
        raise InputError.one("legs", f"{legs:g} is no number of legs", "Give a whole number")
    moment_m4 = stiffness.rectangle_second_moment(width_m=side_m, height_m=side_m)
    return stiffness.table_stiffness(
        legs=int(legs), modulus_pa=modulus_pa, second_moment_m4=moment_m4, height_m=height_m
    )


def _possible(chance: float) -> None:
    if not 0.0 < chance <= 1.0:
        raise InputError.one("chance_percent", "is above 100", "Give a chance from 0 to 100 %")


def _attempts(*, chance: float) -> float:
    from vatwright.planning.cost.cost import attempts  # brings kernels with it, which no other sum needs

    _possible(chance)
    return attempts(chance)


def _with_failures(*, good: float, failed: float, chance: float) -> float:
    from vatwright.planning.cost.cost import expected_cost

    _possible(chance)
    return expected_cost(good=good, failed=failed, chance=chance)


def _pays_after(*, fixed: float, price: float, unit_cost: float) -> float:
    from vatwright.planning.cost.cost import break_even

    pieces = break_even(fixed=fixed, price=price, unit_cost=unit_cost)
    if pieces is None:
        raise InputError.one("price", "is not above what a piece costs: it never pays", "Raise it, or cut the cost")
    return pieces


FORMULAS: dict[str, Formula] = {
    f.name: f
    for f in (
        # ---- squeeze film
        Formula(
            name="disc_torsion",
            title="Torsion constant of a disc: the shape number of its squeeze resistance",
            subject="squeeze and settle",
            parameters={"radius_mm": "radius_m"},
            unit="mm4",
            function=squeeze_film.disc_torsion,
            working="J = pi R^4 / 2 = pi ({radius_mm})^4 / 2",
            validity="Exact.",
            sources=("saintvenant:1855",),
        ),
        Formula(
            name="rect_torsion",
            title="Torsion constant of a rectangle",
            subject="squeeze and settle",
            parameters=_SIDES,
            unit="mm4",
            function=squeeze_film.rectangle_torsion,
            working="J = beta a b^3, beta = (1/3) [1 - (192 b / pi^5 a) sum over odd n of tanh(n pi a / 2 b) / n^5], "
            "a = {long_mm}, b = {short_mm}: J",
            validity="Exact; the sides may come in either order.",
            sources=("timoshenko:1951",),
        ),
        Formula(
            name="ellipse_torsion",
            title="Torsion constant of an ellipse, from its half axes",
            subject="squeeze and settle",
            parameters={"long_mm": "long_semi_axis_m", "short_mm": "short_semi_axis_m"},
            unit="mm4",
            function=squeeze_film.ellipse_torsion,
            working="J = pi a^3 b^3 / (a^2 + b^2) = pi ({long_mm})^3 ({short_mm})^3 / (({long_mm})^2 + ({short_mm})^2)",
            validity="Exact.",
            sources=("saintvenant:1855",),
        ),
        Formula(
            name="triangle_torsion",
            title="Torsion constant of an equilateral triangle",
            subject="squeeze and settle",
            parameters={"side_mm": "side_m"},
            unit="mm4",
            function=squeeze_film.triangle_torsion,
            working="J = sqrt(3) s^4 / 80 = sqrt(3) ({side_mm})^4 / 80",
            validity="Exact.",
            sources=("timoshenko:1951",),
        ),
        Formula(
            name="annulus_torsion",
            title="Torsion constant of a ring whose hole is a sealed pool of resin",
            subject="squeeze and settle",
            parameters=_RING,
            unit="mm4",
            function=_ring(squeeze_film.annulus_torsion),
            working="J = (pi/2) (R2^4 - R1^4) = (pi/2) (({outer_mm})^4 - ({inner_mm})^4)",
            validity="Hole full of resin under a rigid roof; for an open hole use vented_annulus_torsion.",
            sources=("bredt:1896", "derived:vatwright"),
        ),
        Formula(
            name="vented_annulus_torsion",
            title="Squeeze constant of a ring whose hole is open",
            subject="squeeze and settle",
            parameters=_RING,
            unit="mm4",
            function=_ring(squeeze_film.vented_annulus_torsion),
            working="J = (pi/2) [R2^4 - R1^4 - (R2^2 - R1^2)^2 / ln(R2/R1)], R2 = {outer_mm}, R1 = {inner_mm}: J",
            validity="Hole open to air or to wide resin.",
            sources=("reynolds:1886", "derived:vatwright"),
        ),
        Formula(
            name="torsion_bound",
            title="Largest torsion constant any face of an area can have",
            subject="squeeze and settle",
            parameters={"area_mm2": "area_m2"},
            unit="mm4",
            function=squeeze_film.torsion_bound,
            working="J <= A^2 / (2 pi) = ({area_mm2})^2 / (2 pi)",
            validity="Every outline; equality for the disc.",
            sources=("polya:1948",),
        ),
        Formula(
            name="torsion_estimate",
            title="Torsion constant of a compact outline, estimated",
            subject="squeeze and settle",
            parameters={"area_mm2": "area_m2", "polar_mm4": "polar_m4"},
            unit="mm4",
            function=squeeze_film.torsion_estimate,
            working="J ~ A^4 / (40 Ip) = ({area_mm2})^4 / (40 x {polar_mm4})",
            validity="Within 13 % for compact convex outlines; 30 % and more too high for L, T and plus shapes.",
            sources=("timoshenko:1951",),
        ),
        Formula(
            name="squeeze_force",
            title="Force that closes or opens a gap at a speed",
            subject="squeeze and settle",
            parameters={**_FACE, "gap_um": "gap_m", "speed_mm_s": "speed_m_s"},
            unit="N",
            function=squeeze_film.squeeze_force,
            working="F = 3 mu J V / h^3 = 3 x {viscosity_Pa_s} x {torsion_mm4} x {speed_mm_s} / ({gap_um})^3",
            validity=f"{_RIGID} On opening, one atmosphere over the area is the most there can be (viscous_pull).",
            sources=("stefan:1874", "reynolds:1886", "derived:vatwright"),
        ),
        Formula(
            name="peak_pressure",
            title="Pressure under the middle of a disc that closes a gap",
            subject="squeeze and settle",
            parameters={
                "viscosity_Pa_s": "viscosity_pa_s",
                "radius_mm": "radius_m",
                "gap_um": "gap_m",
                "speed_mm_s": "speed_m_s",
            },
            unit="kPa",
            function=squeeze_film.disc_peak_pressure,
            working="p = 3 mu V R^2 / h^3 = 3 x {viscosity_Pa_s} x {speed_mm_s} x ({radius_mm})^2 / ({gap_um})^3",
            validity=_RIGID,
            sources=("stefan:1874",),
        ),
        Formula(
            name="suction_limit",
            title="Most that resin or a sealed pocket can pull: one atmosphere",
            subject="squeeze and settle",
            parameters={"area_mm2": "area_m2"},
            unit="N",
            function=squeeze_film.suction_limit,
            working="F = p A = 101.325 kPa x {area_mm2}",
            validity="At sea level; less in the mountains.",
            sources=("bipm:2019", "derived:vatwright"),
        ),
        Formula(
            name="viscous_pull",
            title="Pull of the resin on a face that starts to rise",
            subject="squeeze and settle",
            parameters={**_FACE, "gap_um": "gap_m", "speed_mm_s": "speed_m_s", "area_mm2": "area_m2"},
            unit="N",
            function=squeeze_film.viscous_pull,
            working="F = min(3 mu J V / h^3, 101.325 kPa x A), mu = {viscosity_Pa_s}, J = {torsion_mm4}, "
            "V = {speed_mm_s}, h = {gap_um}, A = {area_mm2}: F",
            validity="Upper estimate: arm and film stretch first.",
            sources=("stefan:1874", "derived:vatwright"),
        ),
        Formula(
            name="scott_force",
            title="Force on a disc that closes a gap full of power-law resin",
            subject="squeeze and settle",
            parameters={
                "consistency": "consistency_pa_sn",
                "flow_index": "flow_index",
                "radius_mm": "radius_m",
                "gap_um": "gap_m",
                "speed_mm_s": "speed_m_s",
            },
            unit="N",
            function=squeeze_film.scott_force,
            working="F = (2 pi m / (n + 3)) ((2n + 1)/n)^n R^(n+3) V^n / h^(2n+1), m = {consistency} Pa s^n, "
            "n = {flow_index}, R = {radius_mm}, h = {gap_um}, V = {speed_mm_s}: F",
            validity=f"{_RIGID} Power law over shear rates of order V R / h^2.",
            sources=("scott:1931",),
        ),
        Formula(
            name="squeeze_time",
            title="Time a constant force takes to close a gap",
            subject="squeeze and settle",
            parameters={**_FACE, "from_um": "start_gap_m", "to_um": "end_gap_m", "force_N": "force_n"},
            unit="s",
            function=squeeze_film.squeeze_time,
            working="t = (3 mu J / 2 F) (1/h2^2 - 1/h1^2) = (3 x {viscosity_Pa_s} x {torsion_mm4} / (2 x {force_N})) "
            "(1/({to_um})^2 - 1/({from_um})^2)",
            validity=_RIGID,
            sources=("stefan:1874", "derived:vatwright"),
        ),
        Formula(
            name="settle_time",
            title="Time a machine that gives like a spring takes to press a gap down",
            subject="squeeze and settle",
            parameters={
                **_FACE,
                "stiffness_N_mm": "stiffness_n_m",
                "from_um": "start_gap_m",
                "to_um": "end_gap_m",
                "target_um": "target_gap_m",
            },
            unit="s",
            function=squeeze_film.settle_time,
            working=f"t = (3 mu J / k) [G(x0) - G(x)], {_G}, 3 mu J / k = 3 x {{viscosity_Pa_s}} x {{torsion_mm4}} / "
            "{stiffness_N_mm}, x0 = {from_um}, x = {to_um}, a = {target_um}: t",
            validity=f"{_RIGID} A film pressed on glass; a free film bows and settles sooner.",
            sources=("reynolds:1886", "derived:vatwright"),
        ),
        Formula(
            name="settled_gap",
            title="Gap left after a settle",
            subject="squeeze and settle",
            parameters={
                **_FACE,
                "stiffness_N_mm": "stiffness_n_m",
                "from_um": "start_gap_m",
                "target_um": "target_gap_m",
                "time_s": "time_s",
            },
            unit="um",
            function=squeeze_film.settled_gap,
            working=f"{_G}; solve G(x) = G(x0) - k t / (3 mu J), mu = {{viscosity_Pa_s}}, J = {{torsion_mm4}}, "
            "k = {stiffness_N_mm}, x0 = {from_um}, a = {target_um}, t = {time_s}: x",
            validity=f"{_RIGID} A film pressed on glass; a free film bows and settles sooner.",
            sources=("reynolds:1886", "derived:vatwright"),
        ),
        Formula(
            name="settle_constant",
            title="Time in which the last of the deflection falls to 1/e",
            subject="squeeze and settle",
            parameters={**_FACE, "stiffness_N_mm": "stiffness_n_m", "gap_um": "target_gap_m"},
            unit="s",
            function=squeeze_film.settle_time_constant,
            working="tau = 3 mu J / (k h^3) = 3 x {viscosity_Pa_s} x {torsion_mm4} / ({stiffness_N_mm} x ({gap_um})^3)",
            validity="Deflection small against the gap.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="film_settle",
            title="Share of the force left on a free film some time after the plate has stopped",
            subject="squeeze and settle",
            parameters={
                "viscosity_Pa_s": "viscosity_pa_s",
                "radius_mm": "radius_m",
                "tension_N_m": "tension_n_m",
                "window_radius_mm": "window_radius_m",
                "gap_um": "gap_m",
                "descent_mm_s": "descent_m_s",
                "time_s": "time_s",
            },
            unit="1",
            function=_force_left,
            working="div(h^3 grad p) = 12 mu dh/dt, T lap(w) = -p, h = z + w; mu = {viscosity_Pa_s}, R = {radius_mm}, "
            "T = {tension_N_m}, clamp at {window_radius_mm}, h = {gap_um}, descent at {descent_mm_s}, "
            "t = {time_s}: F/F0",
            validity="Round face in the middle of a round film that is free to bow; on glass use settled_gap.",
            sources=("reynolds:1886", "derived:vatwright"),
        ),
        # ---- cure
        Formula(
            name="cure_depth",
            title="Depth that a dose cures",
            subject="cure",
            parameters={**_CURVE, "dose_mJ_cm2": "dose_j_m2"},
            unit="um",
            function=cure_depth.cure_depth,
            working="Cd = Dp ln(E / Ec) = {Dp_um} x ln({dose_mJ_cm2} / {Ec_mJ_cm2})",
            validity="Inside the doses the curve was fitted over, same light and meter; 0 below the critical dose.",
            sources=("jacobs:1992",),
        ),
        Formula(
            name="cure_dose",
            title="Dose that cures a depth",
            subject="cure",
            parameters={**_CURVE, "depth_um": "depth_m"},
            unit="mJ_cm2",
            function=cure_depth.cure_dose,
            working="E = Ec exp(Cd / Dp) = {Ec_mJ_cm2} x exp({depth_um} / {Dp_um})",
            validity="Inside the doses the curve was fitted over, on the same light and meter.",
            sources=("jacobs:1992",),
        ),
        Formula(
            name="print_through",
            title="Depth cured beyond an overhang by many layers",
            subject="cure",
            parameters={**_CURVE, "dose_mJ_cm2": "dose_j_m2", "layer_um": "layer_m", "layers": "layers"},
            unit="um",
            function=_print_through,
            working="z = Dp ln[(E/Ec) (1 - exp(-N L/Dp)) / (1 - exp(-L/Dp))], Dp = {Dp_um}, E = {dose_mJ_cm2}, "
            "Ec = {Ec_mJ_cm2}, L = {layer_um}, N = {layers}: z",
            validity="Upper bound: no oxygen comes back between layers.",
            sources=("jacobs:1992", "derived:vatwright"),
        ),
        Formula(
            name="carried_exposure",
            title="Exposure with the same effect under another irradiance",
            subject="cure",
            parameters={
                "exposure_s": "exposure_s",
                "from_mW_cm2": "from_irradiance_w_m2",
                "to_mW_cm2": "to_irradiance_w_m2",
                "reciprocity": "reciprocity",
            },
            unit="s",
            function=cure_depth.carried_exposure,
            working="t2 = t1 (I1 / I2)^alpha = {exposure_s} x ({from_mW_cm2} / {to_mW_cm2})^{reciprocity}",
            validity="Same resin and wavelength, one meter; alpha = 1 is good for resins above 0.1 to 0.2 Pa s.",
            sources=("feng:2007", "wydra:2014"),
            defaults={"reciprocity": 1.0},
        ),
        Formula(
            name="schwarzschild_exposure",
            title="The same by Schwarzschild's rule I t^p = constant",
            subject="cure",
            parameters={
                "exposure_s": "exposure_s",
                "from_mW_cm2": "from_irradiance_w_m2",
                "to_mW_cm2": "to_irradiance_w_m2",
                "schwarzschild": "schwarzschild",
            },
            unit="s",
            function=_schwarzschild,
            working="t2 = t1 (I1 / I2)^(1/p) = {exposure_s} x ({from_mW_cm2} / {to_mW_cm2})^(1/{schwarzschild})",
            validity="The exponent stands on time: p = 1/alpha of carried_exposure. Same resin and wavelength, one meter.",
            sources=("schwarzschild:1900", "wydra:2014"),
            defaults={"schwarzschild": 1.0},
        ),
        Formula(
            name="two_doses",
            title="Depth that two exposures of one face cure",
            subject="cure",
            parameters={**_CURVE, "dose1_mJ_cm2": "first_j_m2", "dose2_mJ_cm2": "second_j_m2"},
            unit="um",
            function=_two_doses,
            working="Cd = Dp ln[(E1 + E2) / Ec] = {Dp_um} x ln[({dose1_mJ_cm2} + {dose2_mJ_cm2}) / {Ec_mJ_cm2}]",
            validity="Doses add, depths do not. Both on the same face, the second before much oxygen has come back.",
            sources=("jacobs:1992",),
        ),
        Formula(
            name="spot_share",
            title="Light at a spot as a share of the window's mean",
            subject="cure",
            parameters={"spot_mW_cm2": "spot_w_m2", "mean_mW_cm2": "mean_w_m2"},
            unit="percent",
            function=_spot_share,
            working="s = I_spot / I_mean = {spot_mW_cm2} / {mean_mW_cm2}",
            validity="Both read with one meter on one day; the exposure has to grow by 1/s to give the spot the mean's dose.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="spot_depth",
            title="How much deeper (or less deep) it cures at a spot than at the mean light",
            subject="cure",
            parameters={"Dp_um": "penetration_m", "spot_mW_cm2": "spot_w_m2", "mean_mW_cm2": "mean_w_m2"},
            unit="um",
            function=_spot_depth,
            working="dCd = Dp ln(I_spot / I_mean) = {Dp_um} x ln({spot_mW_cm2} / {mean_mW_cm2})",
            validity="The same whatever the exposure, while both doses are above the critical one.",
            sources=("jacobs:1992",),
        ),
        Formula(
            name="photon_flux",
            title="Photons that arrive per area and time",
            subject="cure",
            parameters={"irradiance_mW_cm2": "irradiance_w_m2", "wavelength_nm": "wavelength_m"},
            unit="per_cm2_s",
            function=cure_depth.photon_flux,
            working="I lambda / (h c), I = {irradiance_mW_cm2}, lambda = {wavelength_nm}: flux",
            validity="One wavelength; exact constants.",
            sources=("bipm:2019",),
        ),
        Formula(
            name="penetration_depth",
            title="Penetration depth from the absorbance of a thin cell",
            subject="cure",
            parameters={"cell_um": "cell_m", "absorbance": "absorbance"},
            unit="um",
            function=cure_depth.penetration_from_absorbance,
            working="Dp = d / (A ln 10) = {cell_um} / ({absorbance} x ln 10)",
            validity="Absorption without scattering, at the wavelength of the light.",
            sources=("jacobs:1992",),
        ),
        Formula(
            name="volume_shrinkage",
            title="Volume lost on curing, from the densities",
            subject="cure",
            parameters={"liquid_g_cm3": "liquid_kg_m3", "cured_g_cm3": "cured_kg_m3"},
            unit="percent",
            function=cure_depth.volume_shrinkage,
            working="s = 1 - rho_liquid / rho_cured = 1 - {liquid_g_cm3} / {cured_g_cm3}",
            validity="Mass kept.",
            sources=("derived:vatwright",),
        ),
        # ---- film
        Formula(
            name="peel_angle",
            title="Angle at which a stretched film lets go",
            subject="release",
            parameters={**_FILM, "energy_J_m2": "energy_j_m2"},
            unit="deg",
            function=film_peel.peel_angle,
            working="solve T1 (1 - cos th) + (T1 - T0)^2 / (2 E t) = G, T1 = T0 + (E t + T0) (1/cos th - 1), "
            "E = {modulus_MPa}, t = {film_um}, T0 = {tension_N_m}, G = {energy_J_m2}: th",
            validity="Elastic film, straight free span; the span does not enter.",
            sources=("rivlin:1944", "kendall:1975", "derived:vatwright"),
        ),
        Formula(
            name="peel_energy",
            title="Energy a bond costs, from the lift at which it let go",
            subject="release",
            parameters={**_FILM, "lift_mm": "lift_m", "span_mm": "span_m"},
            unit="J_m2",
            function=_peel_energy,
            working="G = T1 (1 - cos th) + (T1 - T0)^2 / (2 E t), tan th = {lift_mm} / {span_mm}, E = {modulus_MPa}, "
            "t = {film_um}, T0 = {tension_N_m}: G",
            validity="Elastic film, straight free span.",
            sources=("kendall:1975", "derived:vatwright"),
        ),
        Formula(
            name="release_lift",
            title="Lift at which a film lets go of a point",
            subject="release",
            parameters={**_FILM, "energy_J_m2": "energy_j_m2", "span_mm": "span_m"},
            unit="mm",
            function=_release_lift,
            working="z = s tan th, th from peel_angle, s = {span_mm}, E = {modulus_MPa}, t = {film_um}, "
            "T0 = {tension_N_m}, G = {energy_J_m2}: z",
            validity="Elastic film, straight free span.",
            sources=("derived:vatwright", "kendall:1975"),
        ),
        Formula(
            name="release_pull",
            title="Upward pull for each metre of peel front",
            subject="release",
            parameters={**_FILM, "energy_J_m2": "energy_j_m2"},
            unit="N_m",
            function=_release_pull,
            working="F/b = T1 sin th, th from peel_angle, E = {modulus_MPa}, t = {film_um}, T0 = {tension_N_m}, "
            "G = {energy_J_m2}: F/b",
            validity="Elastic film; layer-to-layer scatter of a factor 2.5 either way is normal.",
            sources=("derived:vatwright", "kendall:1975", "estimate:vatwright"),
        ),
        Formula(
            name="lift_demand",
            title="Lift a point needs at a known peel angle",
            subject="release",
            parameters={"span_mm": "span_m", "angle_deg": "angle_rad"},
            unit="mm",
            function=film_peel.lift_demand,
            working="z = s tan th = {span_mm} x tan({angle_deg})",
            validity="Straight free span.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="pull",
            title="Upward pull of a film on a peel front",
            subject="release",
            parameters={"tension_N_m": "tension_n_m", "angle_deg": "angle_rad", "front_mm": "front_m"},
            unit="N",
            function=film_peel.pull,
            working="F = T sin th b = {tension_N_m} x sin({angle_deg}) x {front_mm}",
            validity="The tension is that of the freed span; scatter of a factor 2.5 either way is normal.",
            sources=("derived:vatwright", "estimate:vatwright"),
        ),
        Formula(
            name="rivlin_force",
            title="Force per width that peels a film which does not stretch",
            subject="release",
            parameters={"energy_J_m2": "energy_j_m2", "angle_deg": "angle_rad"},
            unit="N_m",
            function=film_peel.rivlin_force,
            working="F/b = G / (1 - cos th) = {energy_J_m2} / (1 - cos({angle_deg}))",
            validity="Angles well above zero.",
            sources=("rivlin:1944",),
        ),
        Formula(
            name="kendall_force",
            title="Force per width that peels an elastic film",
            subject="release",
            parameters={
                "modulus_MPa": "modulus_pa",
                "film_um": "film_m",
                "energy_J_m2": "energy_j_m2",
                "angle_deg": "angle_rad",
            },
            unit="N_m",
            function=film_peel.kendall_force,
            working="(F/b)^2 / (2 E t) + (F/b)(1 - cos th) = G, E = {modulus_MPa}, t = {film_um}, G = {energy_J_m2}, "
            "th = {angle_deg}: F/b",
            validity="Film without tension before it peels.",
            sources=("kendall:1975",),
        ),
        Formula(
            name="membrane_stiffness",
            title="Stiffness with which a round film holds a disc in its middle",
            subject="release",
            parameters={"tension_N_m": "tension_n_m", "disc_mm": "disc_radius_m", "window_mm": "window_radius_m"},
            unit="N_m",
            function=film_peel.membrane_stiffness,
            working="k = 2 pi T / ln(Rw / r) = 2 pi x {tension_N_m} / ln({window_mm} / {disc_mm})",
            validity="Small deflection.",
            sources=("derived:vatwright",),
        ),
        # ---- resin
        Formula(
            name="andrade",
            title="Viscosity at a temperature from readings at two others",
            subject="resin",
            parameters={**_READINGS, "T_c": "temperature_k"},
            unit="Pa_s",
            function=viscosity.two_point_viscosity,
            working="ln mu linear in 1/T (kelvin) through {mu1} at {T1_c} and {mu2} at {T2_c}; at {T_c}: mu",
            validity="Good between the readings; outside them an extrapolation.",
            sources=("andrade:1930",),
        ),
        Formula(
            name="activation_energy",
            title="Activation energy of flow from two viscosity readings",
            subject="resin",
            parameters=_READINGS,
            unit="kJ_mol",
            function=viscosity.activation_energy,
            working="Ea = R ln(mu1/mu2) / (1/T1 - 1/T2), {mu1} at {T1_c}, {mu2} at {T2_c}: Ea",
            validity="Temperatures a few tens of kelvin apart.",
            sources=("andrade:1930", "bipm:2019"),
        ),
        Formula(
            name="vft_viscosity",
            title="Viscosity by the Vogel-Fulcher-Tammann law from one reading",
            subject="resin",
            parameters={"mu1": "known_pa_s", "T1_c": "known_k", "B": "b_k", "T0_c": "t0_k", "T_c": "temperature_k"},
            unit="Pa_s",
            function=viscosity.vft_viscosity,
            working="mu = mu1 exp[B/(T - T0) - B/(T1 - T0)], mu1 = {mu1}, T1 = {T1_c}, B = {B} K, T0 = {T0_c}, "
            "T = {T_c}: mu",
            validity="Temperatures above T0.",
            sources=("vogel:1921", "fulcher:1925"),
        ),
        Formula(
            name="sinking_speed",
            title="Speed at which pigment sinks through resting resin",
            subject="resin",
            parameters={
                "particle_um": "diameter_m",
                "excess_g_cm3": "density_difference_kg_m3",
                "viscosity_Pa_s": "viscosity_pa_s",
                "volume_fraction": "volume_fraction",
            },
            unit="mm_h",
            function=viscosity.sinking_speed,
            working="v = d^2 (rho_p - rho) g / (18 mu) (1 - phi)^4.65, d = {particle_um}, "
            "rho_p - rho = {excess_g_cm3}, mu = {viscosity_Pa_s}, phi = {volume_fraction}: v",
            validity="Single particles or clumps of that size, resin that does not gel at rest.",
            sources=("stokes:1851", "richardson:1954"),
            defaults={"volume_fraction": 0.0},
        ),
        Formula(
            name="film_thickness",
            title="Film of resin on an upright face drawn out of the vat",
            subject="resin",
            parameters={
                "viscosity_Pa_s": "viscosity_pa_s",
                "speed_mm_s": "speed_m_s",
                "surface_tension_N_m": "surface_tension_n_m",
                "density_g_cm3": "density_kg_m3",
            },
            unit="um",
            function=drag_out.film_thickness,
            working="h = min(0.9458 sqrt(gamma/(rho g)) Ca^(2/3), sqrt(mu U/(rho g))), Ca = mu U / gamma, "
            "mu = {viscosity_Pa_s}, U = {speed_mm_s}, gamma = {surface_tension_N_m}, rho = {density_g_cm3}: h",
            validity="Flat upright faces, before dripping.",
            sources=("landau:1942", "wilson:1982", "deryagin:1943"),
        ),
        Formula(
            name="drained_film",
            title="Mean film left on an upright face after dripping",
            subject="resin",
            parameters={
                "viscosity_Pa_s": "viscosity_pa_s",
                "density_g_cm3": "density_kg_m3",
                "length_mm": "height_m",
                "time_s": "time_s",
            },
            unit="um",
            function=drag_out.drained_film,
            working="h = (2/3) sqrt(mu L / (rho g t)), mu = {viscosity_Pa_s}, L = {length_mm}, rho = {density_g_cm3}, "
            "t = {time_s}: h",
            validity="Late dripping, below the film that came up.",
            sources=("jeffreys:1930",),
        ),
        Formula(
            name="relevel_time",
            title="Order of the time in which the pool flows level",
            subject="resin",
            parameters={
                "viscosity_Pa_s": "viscosity_pa_s",
                "length_mm": "length_m",
                "density_g_cm3": "density_kg_m3",
                "depth_mm": "depth_m",
            },
            unit="s",
            function=pool.relevel_time,
            working="t ~ 3 mu L^2 / (rho g h^3) = 3 x {viscosity_Pa_s} x ({length_mm})^2 / "
            "({density_g_cm3} x 9.80665 m/s2 x ({depth_mm})^3)",
            validity="Order of magnitude; L is the way the resin has to flow back.",
            sources=("orchard:1962", "estimate:vatwright"),
        ),
        Formula(
            name="relevel_depth",
            title="Order of the depth at which the pool flows level in time",
            subject="resin",
            parameters={
                "viscosity_Pa_s": "viscosity_pa_s",
                "length_mm": "length_m",
                "density_g_cm3": "density_kg_m3",
                "time_s": "time_s",
            },
            unit="mm",
            function=pool.relevel_depth,
            working="h ~ (3 mu L^2 / (rho g t))^(1/3), mu = {viscosity_Pa_s}, L = {length_mm}, rho = {density_g_cm3}, "
            "t = {time_s}: h",
            validity="Order of magnitude; L is the way the resin has to flow back.",
            sources=("orchard:1962", "estimate:vatwright"),
        ),
        # ---- motion
        Formula(
            name="move_time",
            title="Time of a move from rest to rest",
            subject="motion",
            parameters={"distance_mm": "distance_m", "speed_mm_s": "speed_m_s", "accel_mm_s2": "acceleration_m_s2"},
            unit="s",
            function=motion.move_time,
            working="T = D/v + v/a, or 2 sqrt(D/a) where D < v^2/a; D = {distance_mm}, v = {speed_mm_s}, "
            "a = {accel_mm_s2}: T",
            validity="Trapezoid or triangle of speed.",
            sources=("biagiotti:2008",),
        ),
        Formula(
            name="s_curve_time",
            title="Time of a move with limited jerk",
            subject="motion",
            parameters={
                "distance_mm": "distance_m",
                "speed_mm_s": "speed_m_s",
                "accel_mm_s2": "acceleration_m_s2",
                "jerk_mm_s3": "jerk_m_s3",
            },
            unit="s",
            function=motion.s_curve_time,
            working="T = D/v + v/a + a/j where speed and acceleration are reached; D = {distance_mm}, "
            "v = {speed_mm_s}, a = {accel_mm_s2}, j = {jerk_mm_s3}: T",
            validity="Seven-segment motion; shorter forms are used where a limit is not reached.",
            sources=("biagiotti:2008",),
        ),
        Formula(
            name="two_stage_time",
            title="Time of a lift in two stages",
            subject="motion",
            parameters={
                "distance1_mm": "first_distance_m",
                "speed1_mm_s": "first_speed_m_s",
                "distance2_mm": "second_distance_m",
                "speed2_mm_s": "second_speed_m_s",
                "accel_mm_s2": "acceleration_m_s2",
            },
            unit="s",
            function=motion.two_stage_time,
            working="T = T(D1, v1) + T(D2, v2), T(D, v) = D/v + v/a or 2 sqrt(D/a); D1 = {distance1_mm}, "
            "v1 = {speed1_mm_s}, D2 = {distance2_mm}, v2 = {speed2_mm_s}, a = {accel_mm_s2}: T",
            validity="A stop between the stages.",
            sources=("biagiotti:2008",),
        ),
        Formula(
            name="stroke_acceleration",
            title="Acceleration from one timed stroke",
            subject="motion",
            parameters={"distance_mm": "distance_m", "speed_mm_s": "speed_m_s", "time_s": "time_s"},
            unit="mm_s2",
            function=motion.stroke_acceleration,
            working="a = v / (T - D/v), or 4 D / T^2 where T > 2 D/v; D = {distance_mm}, v = {speed_mm_s}, "
            "T = {time_s}: a",
            validity="From rest to rest; the clock's error goes straight into it.",
            sources=("derived:vatwright",),
        ),
        # ---- stiffness
        Formula(
            name="arm_stiffness",
            title="Stiffness of a solid bar built in at one end",
            subject="stiffness and sway",
            parameters={
                "modulus_GPa": "modulus_pa",
                "width_mm": "width_m",
                "height_mm": "height_m",
                "length_mm": "length_m",
            },
            unit="N_mm",
            function=_arm,
            working="k = 3 E I / L^3, I = b h^3 / 12, E = {modulus_GPa}, b = {width_mm}, h = {height_mm}, "
            "L = {length_mm}: k",
            validity="Upper bound: rails, joints and clamps give first.",
            sources=("timoshenko:1951",),
        ),
        Formula(
            name="plate_stiffness",
            title="Stiffness of a clamped rectangular plate under a force in its middle",
            subject="stiffness and sway",
            parameters={**_PLATE, **_SIDES},
            unit="N_mm",
            function=_glass,
            working="k = D / (alpha a^2), D = E t^3 / (12 (1 - nu^2)), E = {modulus_GPa}, t = {thickness_mm}, "
            "nu = {poisson}, sides {long_mm} and {short_mm}: k",
            validity="Clamped edges, thin plate; table good to 2 %. A real frame is softer.",
            sources=("timoshenko:1959",),
        ),
        Formula(
            name="round_plate_stiffness",
            title="Stiffness of a clamped round plate under a force in its middle",
            subject="stiffness and sway",
            parameters={**_PLATE, "radius_mm": "radius_m"},
            unit="N_mm",
            function=_round_glass,
            working="k = 16 pi D / a^2, D = E t^3 / (12 (1 - nu^2)), E = {modulus_GPa}, t = {thickness_mm}, "
            "nu = {poisson}, a = {radius_mm}: k",
            validity="Clamped edge, thin plate.",
            sources=("timoshenko:1959",),
        ),
        Formula(
            name="dial_stiffness",
            title="Stiffness from a known weight and a dial indicator",
            subject="stiffness and sway",
            parameters={"load_N": "load_n", "deflection_um": "deflection_m"},
            unit="N_mm",
            function=lambda **reading: stiffness.dial_stiffness(**reading).stiffness_n_m,
            working="k = F / d = {load_N} / {deflection_um}",
            validity="Read while loading and while unloading; the difference is play.",
            sources=("jcgm:2008",),
        ),
        Formula(
            name="springs_in_series",
            title="Stiffness of two springs one after another",
            subject="stiffness and sway",
            parameters={"k1_N_mm": "k1_n_m", "k2_N_mm": "k2_n_m"},
            unit="N_mm",
            function=_two_springs,
            working="1/k = 1/k1 + 1/k2, k1 = {k1_N_mm}, k2 = {k2_N_mm}: k",
            validity="Exact.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="natural_frequency",
            title="Frequency at which a mass on a spring swings",
            subject="stiffness and sway",
            parameters={"stiffness_N_mm": "stiffness_n_m", "mass_kg": "mass_kg"},
            unit="Hz",
            function=stiffness.natural_frequency,
            working="f = sqrt(k/m) / (2 pi) = sqrt({stiffness_N_mm} / {mass_kg}) / (2 pi)",
            validity="One way of swinging, little damping.",
            sources=("rayleigh:1877",),
        ),
        Formula(
            name="sag_frequency",
            title="Frequency from the sag under its own weight",
            subject="stiffness and sway",
            parameters={"sag_mm": "sag_m"},
            unit="Hz",
            function=stiffness.sag_frequency,
            working="f = sqrt(g/d) / (2 pi) = sqrt(9.80665 m/s2 / {sag_mm}) / (2 pi)",
            validity="Vertical motion on a linear support.",
            sources=("rayleigh:1877",),
        ),
        Formula(
            name="ring_down_time",
            title="Time in which a swing dies down",
            subject="stiffness and sway",
            parameters={"frequency_Hz": "frequency_hz", "damping_ratio": "damping_ratio", "left": "left"},
            unit="s",
            function=stiffness.ring_down_time,
            working="t = -ln(x) / (2 pi f zeta) = -ln({left}) / (2 pi x {frequency_Hz} x {damping_ratio})",
            validity="Damping well below critical.",
            sources=("rayleigh:1877", "estimate:vatwright"),
        ),
        Formula(
            name="table_stiffness",
            title="Stiffness of a table on square legs against a push from the side",
            subject="stiffness and sway",
            parameters={"legs": "legs", "modulus_GPa": "modulus_pa", "leg_mm": "side_m", "tall_mm": "height_m"},
            unit="N_mm",
            function=_table,
            working="k = 3 n E I / H^3, I = b^4 / 12, n = {legs}, E = {modulus_GPa}, b = {leg_mm}, H = {tall_mm}: k",
            validity="Upper bound: stiff top, hinged feet, joints that do not give. Push it and read how far it gives.",
            sources=("timoshenko:1951",),
        ),
        # ---- room air
        Formula(
            name="vapour_ppm",
            title="Steady concentration of a vapour in a ventilated room",
            subject="room air",
            parameters={
                "evaporation_g_h": "evaporation_kg_s",
                "room_m3": "room_m3",
                "air_changes_h": "air_changes_per_s",
                "molar_mass": "molar_mass_kg_mol",
                "mixing": "mixing",
            },
            unit="ppm",
            function=_vapour,
            working="C = K G / Q, G = ER x 24.45 L/mol / M, Q = n V, ER = {evaporation_g_h}, V = {room_m3}, "
            "n = {air_changes_h}, M = {molar_mass}, K = {mixing}: C",
            validity="Well-mixed room at 25 C; near the source it is higher. Check the limits that hold where you are.",
            sources=("acgih:2010", "niosh:2007"),
            defaults={"mixing": 1.0},
        ),
        Formula(
            name="fresh_air",
            title="Fresh air that keeps a vapour below a limit",
            subject="room air",
            parameters={
                "evaporation_g_h": "evaporation_kg_s",
                "molar_mass": "molar_mass_kg_mol",
                "limit_ppm": "limit_fraction",
                "mixing": "mixing",
            },
            unit="m3_h",
            function=_fresh_air,
            working="Q = K G / C, G = ER x 24.45 L/mol / M, ER = {evaporation_g_h}, M = {molar_mass}, C = {limit_ppm}, "
            "K = {mixing}: Q",
            validity="Well-mixed room at 25 C.",
            sources=("acgih:2010", "niosh:2007"),
            defaults={"mixing": 1.0},
        ),
        Formula(
            name="spill_ppm",
            title="Concentration in a closed room after a spill has evaporated",
            subject="room air",
            parameters={"mass_g": "mass_kg", "molar_mass": "molar_mass_kg_mol", "room_m3": "room_m3"},
            unit="ppm",
            function=vapour.spill_concentration,
            working="C = m x 24.45 L/mol / (M V) = {mass_g} x 24.45 L/mol / ({molar_mass} x {room_m3})",
            validity="No ventilation, averaged over the room; over the floor it is far higher.",
            sources=("niosh:2007",),
        ),
        Formula(
            name="saturated_percent",
            title="Vapour in the air right over an open liquid",
            subject="room air",
            parameters={"vapour_pressure_kPa": "vapour_pressure_pa"},
            unit="percent",
            function=vapour.saturated_fraction,
            working="x = p / 101.325 kPa = {vapour_pressure_kPa} / 101.325 kPa",
            validity="At sea level. Above the lower explosive limit it can burn.",
            sources=("niosh:2007",),
        ),
        Formula(
            name="evaporation",
            title="What evaporates from an open bath in still air",
            subject="room air",
            parameters={
                "vapour_pressure_kPa": "vapour_pressure_pa",
                "molar_mass": "molar_mass_kg_mol",
                "open_cm2": "area_m2",
                "T_c": "temperature_k",
            },
            unit="g_h",
            function=vapour.evaporation_rate,
            working="m = k_w (M_w/M)^(1/3) A M p / (R T), p = {vapour_pressure_kPa}, M = {molar_mass}, A = {open_cm2}, "
            "T = {T_c}: m",
            validity="An order of magnitude: a draught makes it three times as much, a lid almost nothing. Weigh it.",
            sources=("memory:vatwright",),
        ),
        Formula(
            name="bath_percent",
            title="Resin in a wash bath after some plates",
            subject="wash and warm-up",
            parameters={"carried_ml": "carried_m3", "bath_ml": "bath_m3", "plates": "batches"},
            unit="percent",
            function=drag_out.bath_share,
            working="c = n v / (V + n v), v = {carried_ml}, V = {bath_ml}, n = {plates}: c",
            validity="By volume; nothing leaves with the pieces and nothing evaporates.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="bath_plates",
            title="Plates until a wash bath is to be changed",
            subject="wash and warm-up",
            parameters={"carried_ml": "carried_m3", "bath_ml": "bath_m3", "limit_percent": "limit"},
            unit="1",
            function=drag_out.batches_until,
            working="n = V c / (v (1 - c)), v = {carried_ml}, V = {bath_ml}, c = {limit_percent}: n",
            validity="By volume. Shops change at 10 to 20 %: common practice, no source.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="warming_time",
            title="Time until resin from a cold store is as warm as wanted",
            subject="wash and warm-up",
            parameters={
                "start_c": "start_k",
                "air_c": "air_k",
                "wanted_c": "wanted_k",
                "thickness_mm": "thickness_m",
                "density_g_cm3": "density_kg_m3",
                "capacity_kJ_kg_K": "heat_capacity_j_kg_k",
                "conductivity_W_m_K": "conductivity_w_m_k",
                "coefficient_W_m2_K": "coefficient_w_m2_k",
            },
            unit="min",
            function=_warming,
            working="t = tau ln((T_air - T_0)/(T_air - T)), tau = rho c L^2/(k z^2), z tan z = h L/k; from {start_c} in air of "
            "{air_c} to {wanted_c}, L = {thickness_mm}, rho = {density_g_cm3}, c = {capacity_kJ_kg_K}, "
            "k = {conductivity_W_m_K}, h = {coefficient_W_m2_K}: t",
            validity="Left alone; L is volume over surface of a bottle, or the depth of a vat. Shaking hastens it.",
            sources=("incropera:2007",),
            defaults={"capacity_kJ_kg_K": 1.9, "conductivity_W_m_K": 0.2, "coefficient_W_m2_K": 10.0},
        ),
        Formula(
            name="plates_for_one",
            title="Plates run until one holds, in the mean",
            subject="money",
            parameters={"chance_percent": "chance"},
            unit="1",
            function=_attempts,
            working="n = 1/p, p = {chance_percent}: n",
            validity="Every plate has the same chance, whatever the one before did.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="cost_with_failures",
            title="Cost of a plate that holds, with the failed ones before it",
            subject="money",
            parameters={"good_cost": "good", "failed_cost": "failed", "chance_percent": "chance"},
            unit="1",
            function=_with_failures,
            working="C + C_f (1 - p)/p, C = {good_cost}, C_f = {failed_cost}, p = {chance_percent}:",
            validity="In the mean over many; in your own currency.",
            sources=("derived:vatwright",),
        ),
        Formula(
            name="pays_after",
            title="Pieces from which on a fixed cost is earned back",
            subject="money",
            parameters={"fixed_cost": "fixed", "price": "price", "unit_cost": "unit_cost"},
            unit="1",
            function=_pays_after,
            working="n >= F / (p - c), F = {fixed_cost}, p = {price}, c = {unit_cost}: n",
            validity="Same price and cost for every piece, interest left out.",
            sources=("derived:vatwright",),
        ),
    )
}
"""Every formula, by name, in the order they are listed."""
