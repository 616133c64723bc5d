"""What goes into a notebook as TOML: shop files, and beside them films, screens, lots, stations and prices.

Machines, resins and recipes are kept as the tables they were written as, so that readings stay readings and what nobody
said stays unsaid; only remarks and the order of blank space are lost.
"""

# ruff: noqa: N815 - units keep their own capitals

from __future__ import annotations

from datetime import date, datetime
from decimal import Context, Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from attrs import fields
from pydantic import BeforeValidator, Field

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import exact_bench, exact_si
from vatwright.files.fields import YEARS, Text, between, choice, mistake, shown, whole
from vatwright.files.read import TomlFile, part_mistakes, read_file, read_text, told_once, unknown_name
from vatwright.files.toml import Inline, toml_text
from vatwright.records.notebook import STOCK_KINDS, TEXT_KINDS, Page
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station, StationKind, Stock

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence

    from vatwright.records.notebook import Entry

StockRecord = FittedFilm | Screen | Lot | Station | Price

_LINKS = {"recipe": ("machine", "resin"), "film": ("machine",), "screen": ("machine",), "lot": ("resin",)}
"""What each kind refers to by name."""


def _day(value: object) -> date:
    if isinstance(value, datetime) or not isinstance(value, date):
        raise mistake(f"is {shown(value)}, a day is wanted", "Write it without quotes, as in 2026-03-01")
    if value.year not in YEARS:
        raise mistake(f"is {value}, a year in which nobody prints", "Check the year")
    return value


Day = Annotated[date, BeforeValidator(_day)]
Hours = Annotated[Decimal, between("h", "0", "1000000")]
Inside = Annotated[Decimal, between("mm", "1", "5000")]


class FittedFilmTable(schema.Outside):
    """One film on one machine."""

    name: Text = Field(description='"Heron, film 3"')
    machine: Text = Field(description='"Heron"')
    material: Text | None = None
    fitted: Day | None = None
    removed: Day | None = None
    layers: Annotated[int, whole(0, 1_000_000_000)] = 0
    hours: Hours = Decimal(0)


class ScreenTable(schema.Outside):
    """One screen of one machine."""

    name: Text = Field(description='"Heron, first screen"')
    machine: Text = Field(description='"Heron"')
    fitted: Day | None = None
    removed: Day | None = None
    hours: Hours = Decimal(0)


class LotTable(schema.Outside):
    """One lot of a resin."""

    name: Text = Field(description='"slate 2026-02"')
    resin: Text = Field(description='"slate"')
    left_ml: Annotated[Decimal, between("ml", "0", "1000000")] = Field(description="1000")
    opened: Day | None = None
    expires: Day | None = None


class StationTable(schema.Outside):
    """A place to wash or to cure."""

    name: Text = Field(description='"the tub"')
    kind: Annotated[str, choice(*StationKind)] = Field(description='"wash"')
    width_mm: Inside = Field(description="200")
    depth_mm: Inside = Field(description="200")
    height_mm: Inside = Field(description="250")
    bath_ml: Annotated[Decimal, between("ml", "1", "1000000")] | None = None
    solvent: Text | None = None
    irradiance_mW_cm2: Annotated[Decimal, between("mW_cm2", "0.01", "200")] | None = None


class PriceTable(schema.Outside):
    """What something costs."""

    name: Text = Field(description='"film"')
    amount: Annotated[Decimal, between("", "0", "1000000000")] = Field(description="12.50")
    per: Text = "piece"


class StockFile(schema.ShopFile):
    """A whole file for the notebook."""

    film: list[FittedFilmTable] = Field(default_factory=list)
    screen: list[ScreenTable] = Field(default_factory=list)
    lot: list[LotTable] = Field(default_factory=list)
    station: list[StationTable] = Field(default_factory=list)
    price: list[PriceTable] = Field(default_factory=list)


def read_stock(path: str | Path, known: Mapping[str, Sequence[str]]) -> tuple[Entry, ...]:
    """Return everything in a file, to be kept.

    Parameters
    ----------
    path : str or Path
        The file.
    known : mapping of str to sequence of str
        Names by kind that the notebook holds already and the file may refer to.

    Raises
    ------
    InputError
        With every mistake of the file, part files that are not there among them.
    """
    file = read_file(Path(path), StockFile)
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
                found.append(_RECORD[kind](table))
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
                    file.place((kind, n)), f'{kind} "{name}" is there already', "Give one of them another name"
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


def _film(t: FittedFilmTable) -> FittedFilm:
    return FittedFilm(
        name=t.name, machine=t.machine, material=t.material or "", fitted=t.fitted, removed=t.removed, layers=t.layers,
        used_s=exact_si(t.hours, "h"),
    )  # fmt: skip


def _screen(t: ScreenTable) -> Screen:
    return Screen(name=t.name, machine=t.machine, fitted=t.fitted, removed=t.removed, used_s=exact_si(t.hours, "h"))


def _lot(t: LotTable) -> Lot:
    return Lot(name=t.name, resin=t.resin, left_m3=exact_si(t.left_ml, "ml"), opened=t.opened, expires=t.expires)


def _station(t: StationTable) -> Station:
    return Station(
        name=t.name, kind=StationKind(t.kind), width_m=exact_si(t.width_mm, "mm"), depth_m=exact_si(t.depth_mm, "mm"),
        height_m=exact_si(t.height_mm, "mm"), bath_m3=None if t.bath_ml is None else exact_si(t.bath_ml, "ml"),
        solvent=t.solvent or "",
        irradiance_w_m2=None if t.irradiance_mW_cm2 is None else exact_si(t.irradiance_mW_cm2, "mW_cm2"),
    )  # fmt: skip


def _price(t: PriceTable) -> Price:
    return Price(name=t.name, amount=exact_si(t.amount, ""), per=t.per)


_RECORD: dict[str, Any] = {"film": _film, "screen": _screen, "lot": _lot, "station": _station, "price": _price}

_BENCH = {"used_s": ("hours", "h"), "left_m3": ("left_ml", "ml"), "bath_m3": ("bath_ml", "ml"), "amount": ("amount", ""),
          "width_m": ("width_mm", "mm"), "depth_m": ("depth_mm", "mm"), "height_m": ("height_mm", "mm"),
          "irradiance_w_m2": ("irradiance_mW_cm2", "mW_cm2")}  # fmt: skip
"""Attribute of a record: its key in a file, and that key's unit."""


def stock_table(record: StockRecord) -> dict[str, object]:
    """Return a film, screen, lot, station or price as its table, in bench units; what nobody said is left out."""
    table: dict[str, object] = {}
    for attribute in fields(type(record)):
        value = getattr(record, attribute.name)
        if value is None or value == "":
            continue
        key, unit = _BENCH.get(attribute.name, (attribute.name, None))
        table[key] = value if unit is None else _shortest(value, unit)
    return table


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


def page_of(kind: str, raw: Mapping[str, Any], folder: Path) -> Page:
    """Return a machine, resin or recipe to keep: its table as it was written, part files with their whole path."""
    links = {link: str(raw[link]) for link in _LINKS.get(kind, ())}
    return Page(kind=kind, name=raw["name"], document=table_text(kind, _whole_paths(raw, folder)), **links)


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
