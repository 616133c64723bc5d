"""A record as data for other programs: its fields by name, in bench units, the unit in every key.

A field's name carries its SI unit (``height_m``, ``pull_n``); the public key carries the bench unit (``height_mm``,
``pull_N``).  Where nothing is declared the unit turns into the one people use at the bench; a declaration says the key
where the outside relies on another, and None for what stays inside.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from datetime import date
from enum import Enum
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import fields, frozen, has

from vatwright.answers.numbers import bench
from vatwright.units import BENCH_UNITS, ZERO_CELSIUS_K

if TYPE_CHECKING:
    from vatwright.records.after import Span

PLACES = 9
"""Decimals of a number in data: a bench value typed in comes out as it went in."""

AT_THE_BENCH = {
    "m": "mm", "m2": "mm2", "m3": "ml", "m4": "mm4", "s": "s", "k": "C", "n": "N", "pa": "MPa", "pa_s": "Pa_s",
    "j_m2": "mJ_cm2", "w_m2": "mW_cm2", "kg": "g", "kg_s": "g_h", "kg_m3": "g_cm3", "m_s": "mm_s", "n_m": "N_m",
}  # fmt: skip
"""The bench unit of each SI unit at the end of a field's name."""

_SI = sorted(AT_THE_BENCH, key=len, reverse=True)
_BENCH = sorted([*BENCH_UNITS, "C"], key=len, reverse=True)


@frozen
class AsItIs:
    """A public key whose value is shown as it is: a number that is in the key's unit already."""

    key: str


@frozen
class Worked:
    """What a public key shows beside the fields: worked out from the record, of a kind that a schema can be made from."""

    of: Callable[[Any], Any]
    kind: Any
    plain: bool = False
    """Whether it is shown as it is: data already, in its unit."""


Keys = Mapping[str, str | AsItIs | Worked | None]
"""Field or property by name: its public key, or None for a field that stays inside; or a public key that is worked out."""


def as_data(record: Any, declared: Mapping[type, Keys] | None = None) -> dict[str, Any]:
    """Return a record as JSON-ready data.

    Parameters
    ----------
    record : attrs record or named tuple
        What to show.
    declared : mapping or None
        For each kind of record within, the public keys that differ from the rule; what is not named follows it.

    Returns
    -------
    dict
        Strings, booleans, lists, records as objects, finite numbers, and null where a number is not finite.

    Examples
    --------
    >>> from vatwright.records.plan import ResinNeed
    >>> as_data(ResinNeed(parts_m3=1e-4, drag_out_m3=2e-5, pool_m3=3e-4, pour_m3=4.2e-4))
    {'parts_ml': 100.0, 'drag_out_ml': 20.0, 'pool_ml': 300.0, 'pour_ml': 420.0}
    """
    return _record(record, declared or {}, "")


def public_key(field_name: str) -> str:
    """Return a field's public key by the rule.

    Examples
    --------
    >>> public_key("height_m"), public_key("room_k"), public_key("layers")
    ('height_mm', 'room_C', 'layers')
    """
    unit = next((u for u in _SI if field_name.endswith(f"_{u}")), "")
    return field_name.removesuffix(unit) + AT_THE_BENCH[unit] if unit else field_name


def _unit_of(key: str) -> str:
    return next((u for u in _BENCH if key == u or key.endswith(f"_{u}")), "")


def number(value: float, unit: str = "") -> float | None:
    """Return an SI value in a bench unit, rounded to nine places; null stands for what is not finite."""
    if not math.isfinite(value):
        return None
    shown = float(value) - ZERO_CELSIUS_K if unit == "C" else bench(float(value), unit) if unit else float(value)
    return round(shown, PLACES) + 0.0


def numbers(values_si: list[float], unit: str) -> list[float | None]:
    """Return a row of SI values as :func:`number` does: a sheet holds tens of thousands, one for each layer."""
    if unit not in BENCH_UNITS:
        return [number(v, unit) for v in values_si]
    of = BENCH_UNITS[unit]
    return [round(v * of.over / of.times, PLACES) + 0.0 if math.isfinite(v) else None for v in values_si]


def in_unit(value: float, unit: str) -> float | None:
    """Return an SI value in a unit that no key names: of a setting, a reading; layers are counted."""
    return round(value) if unit == "layers" else number(value, unit)


def span(value: Span, unit: str = "") -> dict[str, float | None]:
    """Return a number with its range."""
    return {k: number(getattr(value, k), unit) for k in ("low", "value", "high")}


def names(record: type, keys: Keys) -> tuple[str, ...]:
    """Return the fields of a kind of record, then what a declaration names besides."""
    own = getattr(record, "_fields", None) or [f.name for f in fields(record)]
    return tuple(dict.fromkeys([*own, *keys]))


def _record(record: Any, declared: Mapping[type, Keys], unit: str) -> dict[str, Any]:
    keys = declared.get(type(record), {})
    made = {}
    for name in names(type(record), keys):
        key = keys.get(name, public_key(name))
        if isinstance(key, Worked):
            made[name] = key.of(record) if key.plain else _value(key.of(record), declared, _unit_of(name) or unit)
        elif isinstance(key, AsItIs):
            made[key.key] = _value(getattr(record, name), declared, "")
        elif key is not None:
            made[key] = _value(getattr(record, name), declared, _unit_of(key) or unit)
    return made


def _value(value: Any, declared: Mapping[type, Keys], unit: str) -> Any:
    if value is None or isinstance(value, str | bool | np.bool_ | date):
        return _plain(value)
    if isinstance(value, Mapping):
        return {key: _value(v, declared, _unit_of(key) or unit) for key, v in value.items()}
    if isinstance(value, np.ndarray):
        if value.ndim == 1 and value.dtype.kind == "f":
            return numbers(value.tolist(), unit)
        return [_value(v, declared, unit) for v in value.tolist()]
    if has(type(value)) or hasattr(value, "_fields"):
        return _record(value, declared, unit)
    if isinstance(value, tuple | list):
        return [_value(v, declared, unit) for v in value]
    return int(value) if isinstance(value, int) and not unit else number(value, unit)


def _plain(value: Any) -> Any:
    if isinstance(value, date):
        return value.isoformat()
    return value.value if isinstance(value, Enum) else bool(value) if isinstance(value, np.bool_) else value
