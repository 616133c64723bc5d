"""Bench units to SI and back: the only place where a power of ten stands.

Inside, everything is SI.  Bench units live at the door (job files, command line, reports).  Conversion divides by a
whole number on the way in and rounds on the way out, because whole micrometres survive that round trip exactly.
"""

from __future__ import annotations

import math
import re
from decimal import Context, Decimal
from typing import NamedTuple

from vatwright.errors import InputError
from vatwright.wording import to_say

ZERO_CELSIUS_K = 273.15
"""0 degrees Celsius [K]; exact by definition (SI brochure 2019, section 2.3.1)."""


class BenchUnit(NamedTuple):
    """A unit people use at the bench: one of it is ``times / over`` of the SI unit of its dimension."""

    dimension: str
    times: int
    over: int
    spellings: tuple[str, ...]


BENCH_UNITS: dict[str, BenchUnit] = {
    # suffix used in names: unit
    "m": BenchUnit("length", 1, 1, ("m",)),
    "mm": BenchUnit("length", 1, 1_000, ("mm",)),
    "cm": BenchUnit("length", 1, 100, ("cm",)),
    "in": BenchUnit("length", 127, 5_000, ("in",)),
    "nm": BenchUnit("length", 1, 1_000_000_000, ("nm",)),
    "um": BenchUnit("length", 1, 1_000_000, ("um", "µm", "μm", "micron")),
    "m2": BenchUnit("area", 1, 1, ("m2", "m²")),
    "cm2": BenchUnit("area", 1, 10_000, ("cm2", "cm²")),
    "mm2": BenchUnit("area", 1, 1_000_000, ("mm2", "mm²")),
    "mm3": BenchUnit("volume", 1, 1_000_000_000, ("mm3", "mm³")),
    "ml": BenchUnit("volume", 1, 1_000_000, ("ml", "mL", "cm3", "cm³")),
    "m3": BenchUnit("volume", 1, 1, ("m3", "m³")),
    "mm4": BenchUnit("torsion", 1, 1_000_000_000_000, ("mm4", "mm⁴")),
    "m4": BenchUnit("torsion", 1, 1, ("m4", "m⁴")),
    "s": BenchUnit("time", 1, 1, ("s", "sec")),
    "min": BenchUnit("time", 60, 1, ("min",)),
    "h": BenchUnit("time", 3_600, 1, ("h",)),
    "mm_s": BenchUnit("speed", 1, 1_000, ("mm/s", "mm_s")),
    "m_s": BenchUnit("speed", 1, 1, ("m/s", "m_s")),
    "mm_min": BenchUnit("speed", 1, 60_000, ("mm/min", "mm_min")),
    "m_s2": BenchUnit("acceleration", 1, 1, ("m/s2", "m/s²", "m_s2")),
    "mm_h": BenchUnit("speed", 1, 3_600_000, ("mm/h", "mm_h")),
    "mm_s3": BenchUnit("jerk", 1, 1_000, ("mm/s3", "mm/s³", "mm_s3")),
    "mm_s2": BenchUnit("acceleration", 1, 1_000, ("mm/s2", "mm/s²", "mm_s2")),
    "N": BenchUnit("force", 1, 1, ("N",)),
    "kg": BenchUnit("mass", 1, 1, ("kg",)),
    "g": BenchUnit("mass", 1, 1_000, ("g",)),
    "N_mm": BenchUnit("stiffness", 1_000, 1, ("N/mm", "N_mm")),
    "N_m": BenchUnit("stiffness", 1, 1, ("N/m", "N_m")),
    "Pa_s": BenchUnit("viscosity", 1, 1, ("Pa.s", "Pa*s", "Pa s", "Pa_s")),
    "mPa_s": BenchUnit("viscosity", 1, 1_000, ("mPa.s", "mPa*s", "mPa s", "mPa_s", "cP")),
    "Pa": BenchUnit("pressure", 1, 1, ("Pa",)),
    "kPa": BenchUnit("pressure", 1_000, 1, ("kPa",)),
    "MPa": BenchUnit("pressure", 1_000_000, 1, ("MPa", "N/mm2")),
    "GPa": BenchUnit("pressure", 1_000_000_000, 1, ("GPa",)),
    "J_m2": BenchUnit("areal_energy", 1, 1, ("J/m2", "J/m²", "J_m2")),
    "mJ_cm2": BenchUnit("areal_energy", 10, 1, ("mJ/cm2", "mJ/cm²", "mJ_cm2")),
    "mW_cm2": BenchUnit("irradiance", 10, 1, ("mW/cm2", "mW/cm²", "mW_cm2")),
    "W_m2": BenchUnit("irradiance", 1, 1, ("W/m2", "W/m²", "W_m2")),
    "kg_m3": BenchUnit("density", 1, 1, ("kg/m3", "kg/m³", "kg_m3")),
    "g_cm3": BenchUnit("density", 1_000, 1, ("g/cm3", "g/ml", "g_cm3")),
    "g_h": BenchUnit("mass_flow", 1, 3_600_000, ("g/h", "g_h")),
    "ml_s": BenchUnit("volume_flow", 1, 1_000_000, ("ml/s", "ml_s")),
    "m3_h": BenchUnit("volume_flow", 1, 3_600, ("m3/h", "m³/h", "m3_h")),
    "K": BenchUnit("temperature_difference", 1, 1, ("K",)),
    "kJ_mol": BenchUnit("molar_energy", 1_000, 1, ("kJ/mol", "kJ_mol")),
    "W_m_K": BenchUnit("conductivity", 1, 1, ("W/(m K)", "W_m_K")),
    "W_m2_K": BenchUnit("heat_transfer", 1, 1, ("W/(m2 K)", "W_m2_K")),
    "kJ_kg_K": BenchUnit("heat_capacity", 1_000, 1, ("kJ/(kg K)", "kJ_kg_K")),
    "per_cm2_s": BenchUnit("photon_flux", 10_000, 1, ("photons/(cm2 s)", "per_cm2_s")),
    "Hz": BenchUnit("frequency", 1, 1, ("Hz",)),
    "g_mol": BenchUnit("molar_mass", 1, 1_000, ("g/mol", "g_mol")),
    "per_h": BenchUnit("rate", 1, 3_600, ("1/h", "per_h")),
    "mrad": BenchUnit("angle", 1, 1_000, ("mrad",)),
    "ppm": BenchUnit("fraction", 1, 1_000_000, ("ppm",)),
    "percent": BenchUnit("fraction", 1, 100, ("%", "percent")),
}


def to_si(value: float, unit: str) -> float:
    """Return `value`, given in the bench unit `unit`, in SI.

    Examples
    --------
    >>> to_si(50, "um"), to_si(5.0, "mW_cm2")
    (5e-05, 50.0)
    """
    bench = BENCH_UNITS[unit]
    return value * bench.times / bench.over


def from_si(value: float, unit: str) -> float:
    """Return an SI `value` in the bench unit `unit`, rounded to nine places so that what went in comes out.

    Examples
    --------
    >>> from_si(to_si(29, "um"), "um")
    29.0
    """
    bench = BENCH_UNITS[unit]
    return round(value * bench.over / bench.times, 9)


def si_suffix(unit: str) -> str:
    """Return how the SI unit of a bench unit's dimension ends a name; a share has none, an angle to turn by stays.

    Examples
    --------
    >>> si_suffix("mm_s"), si_suffix("N_mm"), si_suffix("C"), si_suffix("percent"), si_suffix("deg")
    ('m_s', 'n_m', 'k', '', 'deg')
    """
    if unit == "deg" or unit not in BENCH_UNITS:
        return {"C": "k"}.get(unit, unit)
    dimension = BENCH_UNITS[unit].dimension
    whole = (name for name, u in BENCH_UNITS.items() if u.dimension == dimension and u.times == u.over == 1)
    return next(whole, "").lower()


def celsius_to_kelvin(temperature_c: float) -> float:
    """Return a temperature in kelvin.

    Examples
    --------
    >>> celsius_to_kelvin(20.0)
    293.15
    """
    return temperature_c + ZERO_CELSIUS_K


_SIGN, _EXPONENT = "[-+\N{MINUS SIGN}]?", "(?:[eE][-+\N{MINUS SIGN}]?[0-9]+)?"
_TYPED = re.compile(
    rf"({_SIGN})([0-9.,]+(?:[ \u00a0\u2009\u202f][0-9]{{3}}(?![0-9]))*[0-9.,]*)({_EXPONENT})\s*(.*)", re.DOTALL
)
_NOT_FINITE = re.compile(rf"{_SIGN}(?:nan|inf)\w*", re.IGNORECASE)
_POINT = re.compile(r"[0-9]+\.?[0-9]*|\.[0-9]+")
_GROUPS_BY_COMMA = re.compile(r"[0-9]{1,3}(?:,[0-9]{3})+\.[0-9]*|[0-9]{1,3}(?:,[0-9]{3}){2,}")
_GROUPS_BY_POINT = re.compile(r"[0-9]{1,3}(?:\.[0-9]{3})+,[0-9]+|[0-9]{1,3}(?:\.[0-9]{3}){2,}")
_EITHER = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")
_COMMA = re.compile(r"[0-9]*,[0-9]+")
_TEMPERATURES = ("C", "\N{DEGREE SIGN}C")
_FAHRENHEIT = ("F", "\N{DEGREE SIGN}F")
_EXACT = Context(prec=50)
LONGEST_TYPED = 60
"""A number that a person types has fewer characters than this."""


def read_number(text: str, where: str, unit: str = "", *, whole: bool = False) -> Decimal:
    """Return a number that a person typed, exact to its last digit, in a bench unit.

    It may have a true minus sign, a power of ten, thousands in groups, a decimal comma, and a unit of the same kind.  What
    could be two numbers is refused.

    Parameters
    ----------
    text : str
        What was typed.
    where : str
        What a mistake is said to be in.
    unit : str
        The bench unit wanted; empty for a number without one.
    whole : bool
        Only a whole number will do.

    Raises
    ------
    InputError
        With what is wrong and what to write.

    Examples
    --------
    >>> [str(read_number(typed, "lift", "mm")) for typed in ("\N{MINUS SIGN}2.5", "1e3", "1,200.5", "0,05", "0.6 cm")]
    ['-2.5', '1E+3', '1200.5', '0.05', '6.0']
    >>> read_number("1,200", "lift", "mm")
    Traceback (most recent call last):
    vatwright.errors.InputError: lift: '1,200' may be 1.2 or 1200. Write 1200, or 1.2 with a point.
    """
    try:
        parts = typed_parts(text)
    except InputError as problem:
        raise InputError([m._replace(where=where) for m in problem.mistakes]) from problem
    number = _finite(parts and Decimal(parts[0]), text, where, unit, whole=whole)
    return _in_unit(number, parts[1], unit, text, where) if parts and parts[1] else number


def typed_parts(text: str) -> tuple[str, str] | None:
    """Return the number that a text starts with, written plainly, and the unit behind it; None where it starts with none.

    Raises
    ------
    InputError
        Where the number could be two.

    Examples
    --------
    >>> typed_parts("20,6 mm"), typed_parts("\N{MINUS SIGN}1 200.5"), typed_parts("wide")
    (('20.6', 'mm'), ('-1200.5', ''), None)
    """
    found = _TYPED.fullmatch(text.strip()) if len(text) <= LONGEST_TYPED else None
    digits = _with_point(re.sub(r"\s", "", found[2])) if found else None
    if found is None or digits is None:
        return None
    return f"{found[1]}{digits}{found[3]}".replace("\N{MINUS SIGN}", "-"), found[4]


def _with_point(digits: str) -> str | None:
    """Return digits with a decimal point and no groups, None where they are no number."""
    if _POINT.fullmatch(digits):
        return digits
    if _GROUPS_BY_COMMA.fullmatch(digits):
        return digits.replace(",", "")
    if _GROUPS_BY_POINT.fullmatch(digits):
        return digits.replace(".", "").replace(",", ".")
    if _EITHER.fullmatch(digits):
        whole = digits.replace(",", "")
        point = digits.replace(",", ".").rstrip("0").rstrip(".")
        raise InputError.one(
            "number",
            to_say("{digits!r} may be {point} or {whole}", digits=digits, point=point, whole=whole),
            to_say("Write {whole}, or {point} with a point", whole=whole, point=point),
        )
    return digits.replace(",", ".") if _COMMA.fullmatch(digits) else None


def _finite(number: Decimal | None, text: str, where: str, unit: str, *, whole: bool) -> Decimal:
    shown, kind = f"{text[:LONGEST_TYPED]!r}", "whole number" if whole else "number"
    in_unit = f" in {unit}" if unit else ""
    if number is None and not _NOT_FINITE.fullmatch(text.strip()):
        do = (
            f"Write a number, with a unit if it is not{in_unit}"
            if unit in BENCH_UNITS
            else "Write digits alone, such as 12"
        )
        raise InputError.one(where, to_say("{shown} is not a {kind}", shown=shown, kind=kind), do)
    if number is None or not math.isfinite(float(number)):
        raise InputError.one(
            where,
            to_say("{shown} is not a finite number", shown=shown),
            to_say("Give a number{in_unit}", in_unit=in_unit),
        )
    if whole and number != number.to_integral_value():
        raise InputError.one(
            where, to_say("{shown} is not a whole number", shown=shown), to_say("Write digits alone, such as 12")
        )
    return number


def _in_unit(number: Decimal, spelling: str, unit: str, text: str, where: str) -> Decimal:
    """Return a number typed with a unit of its own in the unit wanted."""
    if unit == "C" and spelling in _TEMPERATURES:
        return number
    if unit == "C" and spelling in _FAHRENHEIT:  # C = 5/9 (F - 32), exact by definition (NIST SP 811, B.8)
        return _EXACT.divide(_EXACT.multiply(number - 32, Decimal(5)), Decimal(9))
    if unit not in BENCH_UNITS:
        what = "is no temperature" if unit == "C" else "is not a number"
        do = "Write degrees Celsius, such as 18, or 64 F" if unit == "C" else "Write digits alone, such as 12"
        raise InputError.one(where, f"{text!r} {what}", do)
    wanted, given = BENCH_UNITS[unit], next((b for b in BENCH_UNITS.values() if spelling in b.spellings), None)
    if given is None:
        raise InputError.one(
            where,
            to_say("{text!r} has a unit this tool does not know", text=text),
            to_say("Give it in {unit}", unit=unit),
        )
    if given.dimension != wanted.dimension:
        what = f"{text!r} is a {given.dimension}, a {wanted.dimension} is wanted"
        raise InputError.one(where, what, to_say("Give it in {unit}", unit=unit))
    ratio = (given.times * wanted.over, given.over * wanted.times)
    return _EXACT.divide(_EXACT.multiply(number, Decimal(ratio[0])), Decimal(ratio[1]))


def parse_quantity(text: str, unit: str, where: str) -> float:
    """Return the number in `text` expressed in the bench unit `unit`; the text may name another unit of the same kind.

    Examples
    --------
    >>> parse_quantity("1cm3", "mm3", "volume_mm3")
    1000.0
    >>> parse_quantity("6", "mm", "lift_mm")
    6.0
    >>> parse_quantity("6 kPa", "mm", "lift_mm")
    Traceback (most recent call last):
    vatwright.errors.InputError: lift_mm: '6 kPa' is a pressure, a length is wanted. Give it in mm.
    """
    return float(read_number(text, where, unit))
