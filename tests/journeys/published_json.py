"""JSON as an outside program reads it: no NaN, the published schema, unit in every key."""

from __future__ import annotations

import json
import math
from pathlib import Path

from jsonschema import Draft202012Validator

SCHEMAS = Path(__file__).parents[2] / "docs" / "schemas"


def refuse_constant(name):
    """JSON knows no NaN and no Infinity (RFC 8259, section 6)."""
    raise ValueError(f"{name} is no JSON")


def parsed(text):
    """The data, refusing what is no JSON."""
    return json.loads(text, parse_constant=refuse_constant)


def mistakes(data, schema):
    """What the published schema has to say against the data."""
    check = Draft202012Validator(json.loads((SCHEMAS / f"{schema}.schema.json").read_text(encoding="utf-8")))
    return [f"{e.json_path}: {e.message}" for e in check.iter_errors(data)]


def numbers(data):
    """Every number in the data, wherever it stands."""
    if isinstance(data, dict):
        for value in data.values():
            yield from numbers(value)
    elif isinstance(data, list):
        for value in data:
            yield from numbers(value)
    elif isinstance(data, (int, float)) and not isinstance(data, bool):
        yield data


def all_finite(data):
    """Whether every number is finite."""
    return all(math.isfinite(n) for n in numbers(data))
