"""Make the published schemas of answers from the records they are walked from: ``python -m docs._ext.schemas``.

What a schema holds, under which keys and of which kind, follows from the records and from what their renderer declares; what
no record says (a description, a bound, the words that may stand there) is kept from the published schema.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
import sys
import types
from collections.abc import Mapping
from datetime import date
from enum import Enum
from pathlib import Path
from typing import Any, NamedTuple, Union, get_args, get_origin, get_type_hints

import numpy as np

import vatwright.records
from vatwright.interfaces.render.carry_json import DECLARED as CARRY
from vatwright.interfaces.render.carry_json import WHERE_THERE
from vatwright.interfaces.render.commission_json import COMMISSION
from vatwright.interfaces.render.compare_json import COMPARE
from vatwright.interfaces.render.cost_json import COST
from vatwright.interfaces.render.data import AsItIs, Keys, Worked, names, public_key
from vatwright.interfaces.render.stand_json import DECLARED as STAND
from vatwright.interfaces.render.trim_json import TRIM
from vatwright.interfaces.render.why_json import why_keys
from vatwright.records.commission import CommissionSheet
from vatwright.records.cost import CompareSheet, CostSheet, MachineSide
from vatwright.records.plan import CarrySheet, HandPlan
from vatwright.records.process import SETTING_NAMES
from vatwright.records.stand import StandSheet
from vatwright.records.trim import TrimSheet
from vatwright.records.why import WhySheet

SCHEMAS = Path(__file__).parents[1] / "schemas"
STRUCTURE = ("type", "properties", "required", "additionalProperties", "items", "oneOf")
"""What a schema says of an answer's shape; the rest is kept."""


PLAIN = ((bool, "boolean"), (int, "integer"), (float, "number"), ((str, Enum, date), "string"))


class Document(NamedTuple):
    """An answer: the record it is walked from, what its renderer declares, and what stands beside its fields."""

    record: type
    keys: Mapping[type, Keys]
    beside: Mapping[str, Any]
    optional: tuple[str, ...] = ()


def _with(keys: Mapping[type, Keys], record: type, beside: Mapping[str, Any]) -> dict[type, Keys]:
    """Return declarations with more keys for one record."""
    return {**keys, record: {**keys.get(record, {}), **{k: Worked(str, kind) for k, kind in beside.items()}}}


CITED = {"sources": dict[str, str]}
LISTED = {"sources": [{"key": str, "citation": str}]}

DOCUMENTS = {
    "carry-1": Document(CarrySheet, _with(CARRY, HandPlan, {"note": str}), CITED, WHERE_THERE),
    "commission-1": Document(CommissionSheet, COMMISSION, {"machine": str, "resin": str}, ("machine", "resin")),
    "compare-1": Document(
        CompareSheet,
        _with(_with(COMPARE | COST, MachineSide, {"cost": CostSheet | None}), CostSheet, {"schema": "const", **CITED}),
        CITED,
    ),
    "cost-1": Document(CostSheet, COST, CITED),
    "stand-1": Document(StandSheet, STAND, {}),
    "trim-1": Document(TrimSheet, TRIM, {}),
    "why-1": Document(WhySheet, why_keys(None), LISTED),  # type: ignore[arg-type]
}
"""Schemas that follow from records, by the name of their file."""


def _names_of_records() -> dict[str, Any]:
    """Return every class that the annotations of a record may name."""
    found: dict[str, Any] = {
        "Floats": np.ndarray,
        "Ints": np.ndarray,
        "Tones": np.ndarray,
        "np": np,
        "NDArray": np.ndarray,
    }
    for module in pkgutil.iter_modules(vatwright.records.__path__, "vatwright.records."):
        found |= {k: v for k, v in vars(importlib.import_module(module.name)).items() if isinstance(v, type)}
    return found


NAMED = _names_of_records()


def shape(kind: Any, keys: Mapping[type, Keys], key: str = "") -> dict[str, Any]:
    """Return the schema of one kind of value, without what only a person can say of it."""
    inner = get_args(kind)
    if get_origin(kind) in {Union, types.UnionType} and type(None) in inner:
        return _or_null(shape(Union[tuple(k for k in inner if k is not type(None))], keys, key))  # noqa: UP007
    if isinstance(kind, list):
        return {"type": "array", "items": shape(kind[0], keys)}
    if isinstance(kind, dict):
        return _object({k: shape(v, keys, k) for k, v in kind.items()})
    if get_origin(kind) in {tuple, list}:
        return {"type": "array", "items": shape(inner[0], keys, key)}
    if get_origin(kind) is dict:
        return {"type": "object", "additionalProperties": shape(inner[1], keys)}
    return _plain(kind, keys)


def _plain(kind: Any, keys: Mapping[type, Keys]) -> dict[str, Any]:
    if kind == "const":
        return {}
    if isinstance(kind, type) and issubclass(kind, np.ndarray):
        return {"type": "array", "items": {"type": "number"}}
    for base, name in PLAIN:
        if isinstance(kind, type) and issubclass(kind, base):
            return {"type": name}
    return record_shape(kind, keys)


def _or_null(found: dict[str, Any]) -> dict[str, Any]:
    return found | {"type": [found["type"], "null"]}


def _object(properties: dict[str, Any]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": list(properties), "additionalProperties": False}


def record_shape(record: type, keys: Mapping[type, Keys]) -> dict[str, Any]:
    """Return the schema of a record as it is walked."""
    hints, own, found = get_type_hints(record, localns=NAMED), keys.get(record, {}), {}
    for name in names(record, own):
        key = own.get(name, public_key(name))
        if key is None:
            continue
        if isinstance(key, Worked):
            found[name] = shape(key.kind, keys, name)
            continue
        kind = hints[name] if name in hints else get_type_hints(getattr(record, name).fget, localns=NAMED)["return"]
        public = key.key if isinstance(key, AsItIs) else key
        found[public] = shape(kind, keys, public)
    return _object(found)


def joined(made: Any, before: Any) -> Any:
    """Return a schema as it was made, with what only the published one says of the same places, in its order."""
    if not isinstance(made, dict) or not isinstance(before, dict):
        return made
    either = before.get("oneOf", ())
    if {"type": "null"} in either:
        before = next((b for b in either if b.get("type") == "object"), {}) | before
    kept = {k: v for k, v in before.items() if k not in STRUCTURE or (k == "oneOf" and {"type": "null"} not in either)}
    if "type" in made and (kept.keys() & {"enum", "const"} or before.get("type") == [made["type"], "null"]):
        kept["type"] = before.get("type")  # words that may stand there say more; what is not finite is null
        made = {k: v for k, v in made.items() if k != "type"}
    told = kept | {k: joined(v, before.get(k)) for k, v in made.items() if k not in {"properties", "required"}}
    if "properties" in made:
        known = before.get("properties", {})
        if known:  # whether more keys may come one day is a promise
            told = {k: v for k, v in told.items() if k != "additionalProperties"}
            told |= {k: before[k] for k in before if k == "additionalProperties"}
        told["properties"] = _in_order({k: joined(v, known.get(k)) for k, v in made["properties"].items()}, known)
        told["required"] = [k for k in told["properties"] if k in made["required"]]
    return _in_order({k: v for k, v in told.items() if v is not None}, before)


def _in_order(made: dict[str, Any], before: Mapping[str, Any]) -> dict[str, Any]:
    places = {key: n for n, key in enumerate(before)}
    return {k: made[k] for k in sorted(made, key=lambda k: places.get(k, len(places)))}


def written(name: str, before: dict[str, Any]) -> dict[str, Any]:
    """Return a published schema as the records, and the table of settings, make it now."""
    if name not in DOCUMENTS:
        return dict(with_settings(before))
    document = DOCUMENTS[name]
    made = record_shape(document.record, _with(document.keys, document.record, {"schema": "const", **document.beside}))
    made["required"] = [key for key in made["required"] if key not in document.optional]
    for key in document.optional:
        if isinstance(kind := made["properties"][key].get("type"), list):
            made["properties"][key]["type"] = kind[0]  # left out instead of null
    return dict(with_settings(joined(made, before)))


def with_settings(schema: Any) -> Any:
    """Return a schema with every list of setting names as it is now."""
    if isinstance(schema, dict):
        return {key: with_settings(value) for key, value in schema.items()}
    if isinstance(schema, list):
        return list(SETTING_NAMES) if "base.layers" in schema else [with_settings(value) for value in schema]
    return schema


def main() -> None:
    """Write every schema that is not as it follows."""
    for path in SCHEMAS.glob("*.schema.json"):
        before = json.loads(path.read_text(encoding="utf-8"))
        if (after := written(path.name.partition(".")[0], before)) != before:
            path.write_text(json.dumps(after, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
            sys.stdout.write(f"{path.name}\n")


if __name__ == "__main__":
    main()
