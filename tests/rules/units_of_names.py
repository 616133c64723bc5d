"""What the last part of a name says about its unit, and how the unit marks in docstrings are read."""

from __future__ import annotations

import re
from functools import cache

import pint

SUFFIXES = {
    "per_k2": "1/K^2",
    "per_k": "1/K",
    "per_m": "1/m",
    "per_s": "1/s",
    "pa_s": "Pa s",
    "pa": "Pa",
    "m_s3": "m/s^3",
    "m_s2": "m/s^2",
    "m_s": "m/s",
    "m3_mol": "m^3/mol",
    "m3_s": "m^3/s",
    "m4": "m^4",
    "m3": "m^3",
    "m2": "m^2",
    "m": "m",
    "s": "s",
    "n_m": "N/m",
    "n": "N",
    "j_mol_k": "J/(mol K)",
    "j_mol": "J/mol",
    "j_m2": "J/m^2",
    "j_s": "J s",
    "j": "J",
    "w_m2_k": "W/(m^2 K)",
    "w_m_k": "W/(m K)",
    "j_kg_k": "J/(kg K)",
    "w_m2": "W/m^2",
    "kg_m3": "kg/m^3",
    "kg_mol": "kg/mol",
    "kg_s": "kg/s",
    "kg": "kg",
    "hz": "Hz",
    "rad": "rad",
    "k": "K",
}
"""Suffix of a name -> unit; SI only, as everything inside."""

REGISTRY = pint.UnitRegistry()


def unit_of_name(name: str) -> str | None:
    """Return the unit that a name ends in, the longest that fits, or None."""
    parts = name.lower().split("_")
    for count in (3, 2, 1):
        if len(parts) > count and (suffix := "_".join(parts[-count:])) in SUFFIXES:
            return SUFFIXES[suffix]
    return None


@cache
def parse(text: str) -> pint.Quantity:
    """Return a unit mark such as ``N s/m`` or ``m^4`` as a quantity of one."""
    text = text.strip().translate(str.maketrans({"²": "^2", "³": "^3", "⁴": "^4", "·": " "}))
    text = re.sub(r"(?<=[A-Za-z])(\d)", r"^\1", text)
    text = re.sub(r"(?<=[\w)])[ .](?=[A-Za-z(])", "*", text)
    return REGISTRY.Quantity(1.0, "" if text in {"1", "-"} else text)


def same_unit(a: str, b: str) -> bool:
    """Whether two unit marks mean the same."""
    first, second = parse(a).to_base_units(), parse(b).to_base_units()
    return bool(first.dimensionality == second.dimensionality and abs(first.magnitude / second.magnitude - 1.0) < 1e-12)
