"""Tables as TOML text: the one place that writes it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from typing import Any

import tomlkit
from tomlkit.container import Container
from tomlkit.items import AoT, Array, Float, InlineTable, Item, Table, Trivia

from vatwright.files.bench_numbers import number_text


class Inline(dict[str, object]):
    """A table that is written on one line."""


def toml_text(tables: Mapping[str, object]) -> str:
    """Return tables as the text of a file: of each table its own values first, then the tables within it.

    Parameters
    ----------
    tables : mapping
        Numbers as Decimal or int; a key that starts with ``#`` is written as a remark, an empty list not at all.

    Examples
    --------
    >>> print(toml_text({"resin": [{"name": "slate", "density_g_cm3": Decimal("1.120")}]}))
    [[resin]]
    name = "slate"
    density_g_cm3 = 1.12
    <BLANKLINE>
    """
    document = tomlkit.document()
    _fill(document, tables)
    return tomlkit.dumps(document).strip("\n") + "\n"


def _fill(target: Any, tables: Mapping[str, object]) -> None:
    inner = {key: value for key, value in tables.items() if _is_table(value)}
    for key, value in tables.items():
        if key.startswith("#"):
            target.add(tomlkit.comment(f"{key[1:].strip()}: {value}"))
        elif key not in inner:
            target.add(key, _item(value))
    for key, value in inner.items():
        if value:
            target.add(key, _tables(value) if isinstance(value, list) else _table(value))


def _is_table(value: object) -> bool:
    """Return whether a value is written under a header of its own."""
    if isinstance(value, list):
        return all(_is_table(v) for v in value)
    return isinstance(value, Mapping) and not isinstance(value, Inline)


def _table(content: object) -> Table:
    table = tomlkit.table()
    _fill(table, content)  # type: ignore[arg-type]
    return table


def _tables(listed: Iterable[object]) -> AoT:
    several = tomlkit.aot()
    for content in listed:
        several.append(_table(content))
    return several


def _item(value: object) -> Item:
    if isinstance(value, Decimal):
        return Float(float(value), Trivia(), number_text(value))
    if isinstance(value, Mapping):
        return _inline(value)
    if isinstance(value, list | tuple):
        return _array(value)
    return tomlkit.item(value)


class _Spaced(InlineTable):
    """A table on one line with a space inside its braces."""

    def as_string(self) -> str:
        """Return its text."""
        return f"{{ {super().as_string()[1:-1].strip()} }}"


def _inline(value: Mapping[str, object]) -> InlineTable:
    table = _Spaced(Container(), Trivia())
    for key, inner in value.items():
        table.add(key, _item(inner))
    return table


def _array(values: Iterable[object]) -> Array:
    """A list on one line, but for tables, which get a line each."""
    array = tomlkit.array()
    rows = [_item(value) for value in values]
    if not any(isinstance(row, InlineTable) for row in rows):
        array.extend(rows)
        return array
    for row in rows:
        array.add_line(row, indent="  ")
    array.add_line(indent="")
    return array
