"""What goes into a notebook as TOML: shop files, and beside them films, screens, lots, stations and prices.

Machines, resins and recipes are kept as the tables they were written as, so that readings stay readings and what nobody
said stays unsaid; only remarks and the order of blank space are lost.
"""

from __future__ import annotations

from decimal import Context, Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeAlias

from pydantic import Field

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import exact_bench, exact_si
from vatwright.files.read import TableSource, TomlFile, part_mistakes, read_file, read_text, told_once, unknown_name
from vatwright.files.to_records import si_values
from vatwright.files.toml import Inline, toml_text
from vatwright.quantities import TABLES, Takes
from vatwright.records.notebook import STOCK_KINDS, TEXT_KINDS, TablePage
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station, StationKind, Stock
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from vatwright.records.notebook import Entry

StockRecord = FittedFilm | Screen | Lot | Station | Price

_LINKS = {"recipe": ("machine", "resin"), "film": ("machine",), "screen": ("machine",), "lot": ("resin",)}
"""What each kind refers to by name."""


if TYPE_CHECKING:
    FilmOnShelf: TypeAlias = Any
    ScreenOnShelf: TypeAlias = Any
    LotOnShelf: TypeAlias = Any
    StationTable: TypeAlias = Any
    PriceTable: TypeAlias = Any
else:
    FilmOnShelf, ScreenOnShelf, LotOnShelf, StationTable, PriceTable = map(schema.table_of, STOCK_KINDS)


class StockFile(schema.ShopFile):
    """A whole file for the notebook."""

    film: list[FilmOnShelf] = Field(default_factory=list)
    screen: list[ScreenOnShelf] = Field(default_factory=list)
    lot: list[LotOnShelf] = Field(default_factory=list)
    station: list[StationTable] = Field(default_factory=list)
    price: list[PriceTable] = Field(default_factory=list)


def read_stock(path: TableSource, known: Mapping[str, Sequence[str]]) -> tuple[Entry, ...]:
    """Return everything in a file, to be kept.

    Parameters
    ----------
    path : str, Path or Given
        The file, or its tables.
    known : mapping of str to sequence of str
        Names by kind that the notebook holds already and the file may refer to.

    Raises
    ------
    InputError
        With every mistake of the file, part files that are not there among them.
    """
    file = read_file(path, StockFile)
    mistakes = [*file.mistakes, *_named_twice(file), *_unknown(file, known), *part_mistakes(file)]
    return _entries(file, mistakes)


def entries_of_text(name: str, text: str) -> tuple[Entry, ...]:
    """Return everything in a text, to be kept; what it refers to and its part files are not looked for."""
    file = read_text(Path(name), text, StockFile)
    return _entries(file, [*file.mistakes, *_named_twice(file)])


def stock_of_file(path: str | Path) -> Stock:
    """Return the films, screens, lots, stations and prices of a file; the machines and resins it names are not looked for.

    Raises
    ------
    InputError
        With every mistake of the file.
    """
    file = read_file(Path(path), StockFile)
    found = _entries(file, [*file.mistakes, *_named_twice(file)])
    return Stock(
        films=tuple(e for e in found if isinstance(e, FittedFilm)),
        screens=tuple(e for e in found if isinstance(e, Screen)),
        lots=tuple(e for e in found if isinstance(e, Lot)),
        stations=tuple(e for e in found if isinstance(e, Station)),
        prices=tuple(e for e in found if isinstance(e, Price)),
    )


def _entries(file: TomlFile[StockFile], mistakes: list[Mistake]) -> tuple[Entry, ...]:
    found: list[Entry] = []
    for kind in STOCK_KINDS if file.model else ():
        for n, table in enumerate(getattr(file.model, kind)):
            try:
                found.append(stock_record(kind, table))
            except InputError as error:
                place = file.place((kind, n))
                mistakes.extend(
                    Mistake(place, f'{kind} "{table.name}": {m.where} {m.what}', m.do) for m in error.mistakes
                )
    if mistakes or file.model is None:
        raise InputError(told_once(mistakes))
    folder = file.path.absolute().parent
    return (*(page_of(kind, raw, folder) for kind in TEXT_KINDS for _, raw in file.tables(kind)), *found)


def _named_twice(file: TomlFile[StockFile]) -> Iterator[Mistake]:
    for kind in STOCK_KINDS:
        first: dict[str, int] = {}
        for n, table in file.tables(kind):
            name = table.get("name")
            if isinstance(name, str) and first.setdefault(name, n) != n:
                yield Mistake(
                    file.place((kind, n)),
                    to_say('{kind} "{name}" is there already', kind=kind, name=name),
                    to_say("Give one of them another name"),
                )


def _unknown(file: TomlFile[StockFile], known: Mapping[str, Sequence[str]]) -> Iterator[Mistake]:
    for kind, links in _LINKS.items():
        for n, table in file.tables(kind):
            for link in links:
                name, names = table.get(link), [*file.names(link), *known.get(link, ())]
                if isinstance(name, str) and name not in names:
                    subject = f'{kind} "{table.get("name", n + 1)}": '
                    yield unknown_name(file.place((kind, n, link)), subject, link, name, names)


# --------------------------------------------------------------------------------------------------------- records


def stock_record(kind: str, table: Any) -> Any:
    """Return a film, screen, lot, station or price."""
    said = si_values(table, kind)
    if "kind" in said:
        said["kind"] = StationKind(said["kind"])
    return STOCK_KINDS[kind](**said)


def stock_table(record: StockRecord) -> dict[str, object]:
    """Return a film, screen, lot, station or price as its table, in bench units; what nobody said is left out."""
    kind = next(kind for kind, of in STOCK_KINDS.items() if isinstance(record, of))
    found = ((key, getattr(record, key.attribute)) for key in TABLES[kind])
    return {
        key.name: _shortest(value, key.unit) if key.holds is Takes.NUMBER else value
        for key, value in found
        if value is not None and value != ""
    }


def _shortest(value: float, unit: str) -> Decimal:
    """Return the shortest number in a bench unit that reads back as the very same float."""
    exact = exact_bench(value, unit)
    for digits in range(1, 25):
        brief = Context(prec=digits).plus(exact)
        if exact_si(brief, unit) == value:
            return brief
    return exact


def stock_text(records: Sequence[StockRecord]) -> str:
    """Return films, screens, lots, stations and prices as the text of a file.

    Examples
    --------
    >>> print(stock_text([Price(name="film", amount=12.5)]))
    [[price]]
    name = "film"
    amount = 12.5
    per = "piece"
    """
    kinds = {record: kind for kind, record in STOCK_KINDS.items()}
    return "\n".join(table_text(kinds[type(record)], stock_table(record)) for record in records)


# ------------------------------------------------------------------------------------------------------------ text


def page_of(kind: str, raw: Mapping[str, Any], folder: Path) -> TablePage:
    """Return a machine, resin or recipe to keep: its table as it was written, part files with their whole path."""
    links = {link: str(raw[link]) for link in _LINKS.get(kind, ())}
    return TablePage(kind=kind, name=raw["name"], document=table_text(kind, _whole_paths(raw, folder)), **links)


def _whole_paths(raw: Mapping[str, Any], folder: Path) -> Mapping[str, Any]:
    proven = raw.get("proven")
    if not isinstance(proven, dict) or not proven.get("part"):
        return raw
    parts = [part | {"file": str(folder / part["file"])} for part in proven["part"]]
    return {**raw, "proven": {**proven, "part": parts}}


def table_text(kind: str, table: Mapping[str, Any]) -> str:
    """Return one table of a list as TOML.

    Examples
    --------
    >>> print(table_text("resin", {"name": "slate", "viscosity": [{"temperature_c": 25}], "curve": {"Dp_um": Decimal("150")}}))
    [[resin]]
    name = "slate"
    viscosity = [
      { temperature_c = 25 },
    ]
    <BLANKLINE>
    [resin.curve]
    Dp_um = 150
    """
    return toml_text({kind: [_with_rows(table)]})


def _with_rows(table: Mapping[str, Any]) -> dict[str, Any]:
    """Return a table whose lists of tables are written as rows, one a line."""
    return {key: _rows(value) for key, value in table.items()}


def _rows(value: Any) -> Any:
    if isinstance(value, dict):
        return _with_rows(value)
    return [Inline(v) if isinstance(v, dict) else v for v in value] if isinstance(value, list) else value
