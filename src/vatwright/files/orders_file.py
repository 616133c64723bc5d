"""Order books from a TOML file, every mistake at once, and what became of an earlier plan from its JSON.

An orders file holds ``[book]``, ``[hours]`` and ``[[order]]``, may hold ``[[unit]]`` and ``[[station]]``, and the tables
of a shop file too.  Days and times have their offset from UTC: 2026-03-02T08:00:00+01:00.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import BeforeValidator, Field

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import exact_si, kelvin
from vatwright.files.fields import YEARS, Text, between, mistake, nearest, shown, whole
from vatwright.files.read import TableSource, TomlFile, known_names, read_file, shop_of, told_once, unknown_name
from vatwright.files.stock_file import StationTable, StockFile, stock_record
from vatwright.files.to_records import PartFiles, part_records
from vatwright.records.job import Shop
from vatwright.records.orders import Handling, Order, OrderBook, Past, PastRun, PiecesOf, Shift, Unit
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vatwright.records.stock import Station

DAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
DAYS_AHEAD = 90
"""How many days of hours a plan may reach ahead."""

SCHEMA = "vatwright.fleet/1"

_SPAN = re.compile(r"([01]\d|2[0-3]):([0-5]\d)-([01]\d|2[0-4]):([0-5]\d)")


def _moment(value: object) -> datetime:
    if not isinstance(value, datetime):
        raise mistake(f"is {shown(value)}, a day with its time is wanted", "Write it as 2026-03-02T08:00:00+01:00")
    if value.tzinfo is None:
        raise mistake(f"is {value}, without its offset from UTC", "Write the offset behind it, as in +01:00")
    if value.year not in YEARS:
        raise mistake(f"is {value}, a year in which nobody prints", "Check the year")
    return value


def _span(value: object) -> str:
    found = _SPAN.fullmatch(value) if isinstance(value, str) else None
    if found is None or int(found[3]) * 60 + int(found[4]) > 24 * 60 or found.group(1, 2) == found.group(3, 4):
        raise mistake(f"is {shown(value)}, a span of hours is wanted", 'Write it as "08:00-12:30"')
    return str(value)


def _zone(value: object) -> str:
    try:
        return ZoneInfo(str(value)).key
    except (ZoneInfoNotFoundError, ValueError, OSError) as error:
        raise mistake(f"is {shown(value)}, which is no time zone", 'Write one such as "Europe/London"') from error


Moment = Annotated[datetime, BeforeValidator(_moment)]
Minutes = Annotated[Decimal, between("min", "0.5", "1440")]
Spans = list[Annotated[str, BeforeValidator(_span)]]


class BookTable(schema.Outside):
    """What holds for the whole book."""

    name: Text | None = None
    starts: Moment = Field(description="2026-03-02T08:00:00+01:00")
    room_c: schema.Room = Field(description="20")
    recipe: Text | None = None
    resin: Text | None = None
    shop: Text | None = None
    stock: Text | None = None
    zone: Annotated[str, BeforeValidator(_zone)] | None = None
    persons: Annotated[int, whole(1, 100)] = 1
    visits: Annotated[int, whole(0, 20)] = 3
    clearance_mm: Annotated[Decimal, between("mm", "0", "50")] = Decimal(2)
    margin_mm: Annotated[Decimal, between("mm", "0", "50")] = Decimal(3)
    confidence_percent: Annotated[Decimal, between("percent", "50", "99.9")] = Decimal(90)
    setup_min: Minutes | None = None
    unload_min: Minutes | None = None
    visit_min: Minutes | None = None
    change_min: Annotated[Decimal, between("min", "0", "1440")] | None = None
    wash_min: Minutes | None = None
    cure_min: Minutes | None = None


class HoursTable(schema.Outside):
    """When somebody is there."""

    monday: Spans = Field(default_factory=list)
    tuesday: Spans = Field(default_factory=list)
    wednesday: Spans = Field(default_factory=list)
    thursday: Spans = Field(default_factory=list)
    friday: Spans = Field(default_factory=list)
    saturday: Spans = Field(default_factory=list)
    sunday: Spans = Field(default_factory=list)


class UnitTable(schema.Outside):
    """Machines that stand in the shop."""

    machine: Text = Field(description='"Wren"')
    name: Text | None = None
    count: Annotated[int, whole(1, 100)] = 1
    loaded: Text | None = None


class OrderTable(schema.Outside):
    """One order."""

    name: Text = Field(description='"harbour office"')
    due: Moment | None = None
    recipe: Text | None = None
    resin: Text | None = None
    machines: list[Text] = Field(default_factory=list)
    part: list[schema.PartTable] = Field(min_length=1, description='an [[order.part]] table with file = "lantern.stl"')


class OrdersFile(schema.ShopFile):
    """A whole orders file."""

    book: BookTable = Field(description="a [book] table with starts and room_c")
    hours: HoursTable = Field(description='an [hours] table with monday = ["08:00-17:00"]')
    order: list[OrderTable] = Field(min_length=1, description="an [[order]] table with name and [[order.part]]")
    unit: list[UnitTable] = Field(default_factory=list)
    station: list[StationTable] = Field(default_factory=list)


class _Files(NamedTuple):
    """The orders file, and the shop and stock files it names or that stand beside it."""

    orders: TomlFile[OrdersFile]
    shop: TomlFile[schema.ShopFile] | None
    stock: TomlFile[StockFile] | None

    @property
    def named(self) -> list[TomlFile[Any]]:
        """Files that hold machines, resins and recipes; the later one wins."""
        return [f for f in (self.shop, self.orders) if f is not None]


def read_orders(path: TableSource, *, shop_path: str | None = None) -> OrderBook:
    """Return an order book with every record it names, in SI.

    Parameters
    ----------
    path : str, Path or Given
        The orders file, or its tables.
    shop_path : str or None
        The shop file; else the one the book names, else ``shop.toml`` beside it.

    Raises
    ------
    InputError
        With every mistake of all files.
    """
    orders = read_file(path, OrdersFile)
    mistakes: list[Mistake] = []
    shop = _beside(orders, "shop", schema.ShopFile, mistakes, shop_path, "shop.toml")
    stock = _beside(orders, "stock", StockFile, mistakes, None, None)
    files = _Files(orders, shop, stock)
    mistakes = [m for f in files if f is not None for m in f.mistakes] + mistakes
    if all(f.raw for f in files.named):
        mistakes += [*_unknown(files), *_doubles(orders), *_no_recipe(orders)]
    mistakes += _missing_parts(orders)
    if mistakes or orders.model is None:
        raise InputError(told_once(mistakes))
    return _book(files, orders.model)


def _beside(
    orders: TomlFile[OrdersFile], key: str, model: Any, mistakes: list[Mistake], said: str | None, usual: str | None
) -> TomlFile[Any] | None:
    """A file the book names, counted from its folder, or the usual one beside it."""
    if said is not None:
        return read_file(Path(said), model)
    table = orders.raw.get("book")
    named = table.get(key) if isinstance(table, dict) else None
    folder = orders.path.parent
    if isinstance(named, str) and named.strip() and "\0" not in named:
        if (folder / named).exists():
            return read_file(folder / named, model)
        what = f'book.{key}: there is no {key} file "{folder / named}"'
        mistakes.append(
            Mistake(orders.place(("book", key)), what, to_say("Write its path from the folder of the orders file"))
        )
        return None
    return read_file(folder / usual, model) if usual and (folder / usual).exists() else None


def _unknown(files: _Files) -> Iterator[Mistake]:
    """Names of machines, recipes and resins that nobody has."""
    orders = files.orders
    book = orders.raw.get("book")
    asked: list[tuple[Any, str, str, object]] = []
    if isinstance(book, dict):
        asked += [(("book", k), f"book.{k}: ", k, book.get(k)) for k in ("recipe", "resin")]
    for n, table in orders.tables("unit"):
        asked += [(("unit", n, k), "", kind, table.get(k)) for k, kind in (("machine", "machine"), ("loaded", "resin"))]
    for n, table in orders.tables("order"):
        subject = f'order "{table.get("name", n + 1)}": '
        asked += [(("order", n, k), subject, k, table.get(k)) for k in ("recipe", "resin")]
        allowed = table.get("machines")
        for name in allowed if isinstance(allowed, list) else ():
            asked.append((("order", n, "machines"), subject, "machine", name))
    for file in files.named:
        for n, table in file.tables("recipe"):
            asked += [(("recipe", n, k), "", k, table.get(k)) for k in ("machine", "resin")] if file is orders else []
    for where, subject, kind, name in asked:
        if isinstance(name, str) and name not in (known := known_names(files.named, kind)):
            yield unknown_name(orders.place(where), subject, kind, name, known)


def _doubles(orders: TomlFile[OrdersFile]) -> Iterator[Mistake]:
    """Two orders of one name, or two parts of one name in an order."""
    first: dict[str, int] = {}
    for n, table in orders.tables("order"):
        name = table.get("name")
        if isinstance(name, str) and first.setdefault(name, n) != n:
            yield Mistake(
                orders.place(("order", n)),
                to_say('order "{name}" is there already', name=name),
                to_say("Give one another name"),
            )
        parts = table.get("part")
        seen: set[str] = set()
        for i, part in enumerate(parts if isinstance(parts, list) else ()):
            label = part.get("name") or Path(str(part.get("file", ""))).stem if isinstance(part, dict) else ""
            if label in seen:
                place = orders.place(("order", n, "part", i))
                yield Mistake(
                    place,
                    to_say('part "{label}" is there already', label=label),
                    to_say("Count it once, or give one a name of its own"),
                )
            seen.add(label)


def _no_recipe(orders: TomlFile[OrdersFile]) -> Iterator[Mistake]:
    book = orders.raw.get("book")
    if isinstance(book, dict) and "recipe" not in book:
        for n, table in orders.tables("order"):
            if "recipe" not in table:
                what = f'order "{table.get("name", n + 1)}" names no recipe, nor does the book'
                yield Mistake(orders.place(("order", n)), what, to_say("Add recipe to the order, or to [book] for all"))


def _missing_parts(orders: TomlFile[OrdersFile]) -> Iterator[Mistake]:
    for n, order in enumerate(orders.model.order if orders.model else ()):
        for i, part in enumerate(order.part):
            path, place = orders.path.parent / part.file, orders.place(("order", n, "part", i, "file"))
            if not path.exists():
                yield Mistake(
                    place,
                    to_say('there is no part file "{path}"', path=path),
                    to_say("Write its path from this file's folder"),
                )
            elif path.is_dir() and part.pixel_mm is None:
                yield Mistake(
                    place,
                    to_say('"{path}" is a folder of layer bitmaps without a pixel size', path=path),
                    to_say("Add pixel_mm"),
                )


# --- records -----------------------------------------------------------------------------------------------------------


def _book(files: _Files, model: OrdersFile) -> OrderBook:
    shops = [shop_of(f) for f in files.named]
    shop = Shop(
        machines=tuple({m.name: m for s in shops for m in s.machines}.values()),
        resins=tuple({r.name: r for s in shops for r in s.resins}.values()),
        recipes=tuple({r.name: r for s in shops for r in s.recipes}.values()),
    )
    head = model.book
    return OrderBook(
        name=head.name or files.orders.path.stem,
        starts=head.starts,
        room_k=kelvin(head.room_c),
        orders=tuple(_order(files.orders, n, t, head, shop) for n, t in enumerate(model.order)),
        units=_units(files.orders, model, shop),
        origins=shop.machines,
        shifts=_shifts(files.orders, model),
        persons=head.persons,
        stations=_stations(files),
        handling=_handling(head),
        clearance_m=exact_si(head.clearance_mm, "mm"),
        margin_m=exact_si(head.margin_mm, "mm"),
        confidence=exact_si(head.confidence_percent, "percent"),
        visits=head.visits,
    )


def _handling(head: BookTable) -> Handling:
    said = {k: getattr(head, f"{k}_min") for k in ("setup", "unload", "visit", "change", "wash", "cure")}
    return Handling(**{f"{k}_s": exact_si(v, "min") for k, v in said.items() if v is not None})


def _order(orders: TomlFile[OrdersFile], n: int, table: OrderTable, head: BookTable, shop: Shop) -> Order:
    name = table.recipe or head.recipe
    recipe = next(r for r in shop.recipes if r.name == name)
    resin = table.resin or head.resin or recipe.resin
    by_name = {r.name: r for r in shop.resins}
    files = PartFiles(orders.path.absolute().parent, lambda i: orders.place(("order", n, "part", i, "file")))
    return Order(
        name=table.name,
        due_s=None if table.due is None else (table.due - head.starts).total_seconds(),
        parts=part_records(table.part, files),
        machines=tuple(table.machines),
        recipe=recipe,
        resin_from=by_name[recipe.resin],
        resin=by_name[resin],
    )


def _units(orders: TomlFile[OrdersFile], model: OrdersFile, shop: Shop) -> tuple[Unit, ...]:
    if not model.unit:
        if not shop.machines:
            raise InputError.one(
                str(orders.path), to_say("names no machine"), to_say("Add [[unit]], or a shop file with machines")
            )
        return tuple(Unit(name=m.name, machine=m) for m in shop.machines)
    machines = {m.name: m for m in shop.machines}
    units: list[Unit] = []
    for table in model.unit:
        machine, label = machines[table.machine], table.name or table.machine
        names = [label] if table.count == 1 else [f"{label} {k + 1}" for k in range(table.count)]
        units += [Unit(name=n, machine=machine, loaded=table.loaded or "") for n in names]
    twice = sorted({u.name for u in units if sum(v.name == u.name for v in units) > 1})
    if twice:
        what = f'two units are called "{twice[0]}"'
        raise InputError.one(
            orders.place(("unit",)), what, to_say("Give each [[unit]] a name, or count like ones together")
        )
    return tuple(units)


def _stations(files: _Files) -> tuple[Station, ...]:
    tables = list(files.orders.model.station) if files.orders.model else []
    tables += files.stock.model.station if files.stock and files.stock.model else []
    return tuple(stock_record("station", t) for t in tables)


def _shifts(orders: TomlFile[OrdersFile], model: OrdersFile) -> tuple[Shift, ...]:
    """Hours from the start on, day by day in the book's zone, joined where they touch."""
    head = model.book
    zone: tzinfo = ZoneInfo(head.zone) if head.zone else head.starts.tzinfo or UTC
    first = head.starts.astimezone(zone).date()
    found: list[Shift] = []
    for k in range(-1, DAYS_AHEAD):
        day = first + timedelta(days=k)
        for span in getattr(model.hours, DAYS[day.weekday()]):
            begin, end = _ends(day, span, zone)
            from_s, to_s = ((t - head.starts).total_seconds() for t in (begin, end))
            if to_s > 0.0:
                found.append(Shift(max(from_s, 0.0), to_s))
    if not found:
        raise InputError.one(
            orders.place(("hours",)), to_say("nobody is ever there"), to_say('Add hours, as monday = ["08:00-17:00"]')
        )
    return _joined(sorted(found))


def _ends(day: date, span: str, zone: tzinfo) -> tuple[datetime, datetime]:
    """Begin and end of a span; one that ends before it begins ends the next day."""
    begin, end = (tuple(int(n) for n in part.split(":")) for part in span.split("-"))
    later = timedelta(days=1 if end <= begin or end[0] == 24 else 0)
    midnight = datetime(day.year, day.month, day.day, tzinfo=zone)
    start = midnight.replace(hour=begin[0], minute=begin[1])
    stop = (midnight + later).replace(hour=end[0] % 24, minute=end[1])
    return start.astimezone(UTC), stop.astimezone(UTC)


def _joined(shifts: Sequence[Shift]) -> tuple[Shift, ...]:
    found: list[Shift] = []
    for shift in shifts:
        if found and shift.from_s <= found[-1].to_s:
            found[-1] = Shift(found[-1].from_s, max(found[-1].to_s, shift.to_s))
        else:
            found.append(shift)
    return tuple(found)


# --- what became of an earlier plan --------------------------------------------------------------------------------------


def read_past(
    book: OrderBook, *, done: str | None, failed: Sequence[str], down: Sequence[str], now: str | None
) -> Past:
    """Return what has happened since an earlier plan of a book was made.

    Parameters
    ----------
    book : OrderBook
        The book.
    done : str or None
        That plan as JSON.
    failed, down : sequence of str
        Plates that failed, units that stopped.
    now : str or None
        Now, with its offset; the start of the book unless said.

    Raises
    ------
    InputError
        With every mistake.
    """
    mistakes: list[Mistake] = []
    runs = _past_runs(book, done, mistakes) if done else ()
    moment = _said_now(now, mistakes)
    if (done or failed) and now is None:
        mistakes.append(
            Mistake("--now", to_say("is missing"), to_say("Say when now is, as in --now 2026-03-02T14:30:00+01:00"))
        )
    if failed and not done:
        mistakes.append(
            Mistake("--failed", to_say("of which plan"), to_say("Name the plan that ran with --done PLAN.json"))
        )
    known = [r.plate for r in runs]
    for name, listed, option in [
        *((f, known, "--failed") for f in failed if done), *((d, [u.name for u in book.units], "--down") for d in down)
    ]:  # fmt: skip
        if name not in listed:
            like = nearest(name, listed)
            do = f'Perhaps "{like}" is meant' if like else "Known: " + ", ".join(listed)
            mistakes.append(Mistake(option, to_say('there is no "{name}"', name=name), do))
    if mistakes:
        raise InputError(mistakes)
    now_s = max((moment - book.starts).total_seconds(), 0.0) if moment else 0.0
    return Past(now_s=now_s, runs=runs, failed=tuple(failed), down=tuple(down))


def _said_now(now: str | None, mistakes: list[Mistake]) -> datetime | None:
    if now is None:
        return None
    try:
        moment = datetime.fromisoformat(now)
    except ValueError:
        mistakes.append(
            Mistake(
                "--now", to_say("{now!r} is no day and time", now=now), to_say("Write it as 2026-03-02T14:30:00+01:00")
            )
        )
        return None
    if moment.tzinfo is None:
        mistakes.append(
            Mistake("--now", to_say("{now} has no offset from UTC", now=now), to_say("Write it behind, as in +01:00"))
        )
        return None
    if moment.year not in YEARS:
        mistakes.append(
            Mistake("--now", to_say("{now} is a year in which nobody prints", now=now), to_say("Check the year"))
        )
        return None
    return moment


def _past_runs(book: OrderBook, path: str, mistakes: list[Mistake]) -> tuple[PastRun, ...]:
    try:
        plan = json.loads(Path(path).read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        mistakes.append(
            Mistake(
                path,
                to_say("cannot be read as a plan: {error}", error=error),
                to_say("Name what vatwright fleet --json printed"),
            )
        )
        return ()
    if not isinstance(plan, dict) or plan.get("schema") != SCHEMA:
        mistakes.append(
            Mistake(path, to_say("is no {SCHEMA}", SCHEMA=SCHEMA), to_say("Name what vatwright fleet --json printed"))
        )
        return ()
    try:
        runs = tuple(_past_run(book, r) for r in plan["runs"])
    except (KeyError, TypeError, ValueError) as error:
        mistakes.append(
            Mistake(path, to_say("is not as it was printed: {error!r}", error=error), to_say("Print the plan again"))
        )
        return ()
    units = {u.name for u in book.units}
    strange = sorted({r.unit for r in runs} - units)
    if strange:
        mistakes.append(
            Mistake(
                path,
                to_say('runs on "{strange}", which the book does not have', strange=strange[0]),
                to_say("Take the same orders file"),
            )
        )
    return runs


def _past_run(book: OrderBook, run: dict[str, Any]) -> PastRun:
    start, ready, off, cured = (
        (datetime.fromisoformat(run[key]) - book.starts).total_seconds()
        for key in ("setup_from", "ready", "off", "cured")
    )
    pieces = tuple(PiecesOf(str(p["order"]), str(p["part"]), int(p["count"])) for p in run["pieces"])
    return PastRun(str(run["plate"]), str(run["unit"]), pieces, start, ready, off, cured)
