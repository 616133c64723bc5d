"""How often a table of a shop file holds the user's own value, by key."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Iterator
from typing import Any

from vatwright.quantities import TABLES, Takes
from vatwright.records.sourced import Kind

_STATED = {f"{table}.{key.name}" for table, keys in TABLES.items() for key in keys if key.holds is Takes.STATED}


def said_of(text: str, kind: str, name: str) -> Counter[str]:
    r"""Return how often each key of one machine or resin holds a value of the user's own.

    A quantity that carries a range counts where it was read: a bare number may be the data plate's.

    Parameters
    ----------
    text : str
        The shop file, read and found sound before.
    kind, name : str
        Which table.

    Examples
    --------
    >>> said_of('[[resin]]\nname = "slate"\ndensity_g_cm3 = 1.12', "resin", "slate")["resin.density_g_cm3"]
    1
    """
    tables = tomllib.loads(text).get(kind, [])
    return Counter(path for table in tables if table["name"] == name for path in _paths(kind, table))


def _paths(at: str, value: Any) -> Iterator[str]:
    if at in _STATED:
        yield from [at] if _is_read(value) else []
    elif isinstance(value, dict):
        yield at
        for key, inner in value.items():
            yield from _paths(f"{at}.{key}", inner)
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for row in value:
            yield from _paths(at, row)
    else:
        yield at


def _is_read(value: Any) -> bool:
    return isinstance(value, dict) and ("sigma" in value or value.get("kind") == Kind.READING)
