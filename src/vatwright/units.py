"""Bench units to SI and back: the only place where a power of ten stands.

Inside, everything is SI.  Bench units live at the door (job files, command line, reports).  Conversion divides by a
whole number on the way in and rounds on the way out, because whole micrometres survive that round trip exactly.
"""

from __future__ import annotations

import math
import re
from typing import NamedTuple

from vatwright.errors import InputError, Mistake

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
    "m3_h": BenchUnit("volume_flow", 1, 3_600, ("m3/h", "m³/h", "m3_h")),
    "kJ_mol": BenchUnit("molar_energy", 1_000, 1, ("kJ/mol", "kJ_mol")),
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
    if unit not in BENCH_UNITS:
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


_QUANTITY = re.compile(
    r"\s*([-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?|[-+]?(?:nan|inf)\w*)\s*(.*?)\s*$", re.IGNORECASE
)


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
    match = _QUANTITY.match(text)
    if match is None:
        raise InputError.one(where, f"{text!r} is not a number", f"Write a number, with a unit if it is not in {unit}")
    number, spelling = float(match[1]), match[2]
    if not math.isfinite(number):
        raise InputError.one(where, f"{text!r} is not a finite number", f"Give a number in {unit}")
    if not spelling:
        return number
    wanted = BENCH_UNITS[unit]
    for name, bench in BENCH_UNITS.items():
        if spelling in bench.spellings:
            if bench.dimension != wanted.dimension:
                kind, want = bench.dimension, wanted.dimension
                raise InputError([Mistake(where, f"{text!r} is a {kind}, a {want} is wanted", f"Give it in {unit}")])
            return from_si(to_si(number, name), unit)
    raise InputError.one(where, f"{text!r} has a unit this tool does not know", f"Give it in {unit}")
