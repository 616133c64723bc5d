"""Level readings from a TOML file or from the command line to a survey, every mistake at once.

A readings file holds ``[level]`` and ``[[reading]]``, may hold ``[[screw]]`` and ``[base]``, and the tables of a shop file
too.  Gaps are in um, places in mm from the platform's middle: x to the right, y away from the person.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, NamedTuple, Self

from attrs import evolve
from pydantic import Field, ValidationInfo, field_validator, model_validator

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import exact_si, kelvin
from vatwright.files.fields import Text, between, choice, mistake
from vatwright.files.read import TableSource, TomlFile, known_names, read_file, shop_of, told_once, unknown_name
from vatwright.planning.level.levelling import reading_mistakes
from vatwright.quantities import unit_in
from vatwright.records.job import Shop
from vatwright.records.level import (
    PAPER_M,
    BaseDose,
    GapReading,
    Gauge,
    LevelSurvey,
    Method,
    Mount,
    Screw,
    Screws,
    gauge,
)
from vatwright.records.machine import Platform
from vatwright.records.material import Resin
from vatwright.records.process import Phase, Settings
from vatwright.units import read_number
from vatwright.wording import to_say

COMMAND_LINE = "command line"

SHORT_METHODS = {"strips": Method.STRIPS, "print": Method.PRINT}
"""Short words for the long names of methods."""

METHODS = (*Method, *SHORT_METHODS)

PITCH_MM = "0.7"
"""Pitch of a screw nobody described [mm]: an M4 coarse thread, from memory of ISO 261; check with a rule over ten turns."""

ROOM_C = Decimal(20)
"""Room in which a base is judged where nobody says it [degC]; engineering estimate, no source."""

PLAIN_PHASE = Phase(
    exposure_s=1.0, peel_lift_m=0.005, peel_speed_m_s=0.001, clear_speed_m_s=0.003, return_speed_m_s=0.003
)
"""Moves of a base of which only light and settle are said; of these only the way down matters here; common practice."""

PARTS = (
    (-1, -1, to_say("front left")),
    (1, -1, to_say("front right")),
    (1, 1, to_say("rear right")),
    (-1, 1, to_say("rear left")),
)
THREE_PARTS = ((0, -1, "front"), (1, 1, "rear right"), (-1, 1, "rear left"))


class LevelHead(schema.Outside):
    """What was read, with what, and what can be turned."""

    machine: Text = Field(description='"Heron"')
    method: Annotated[str, choice(*METHODS)] = Field(default=Method.FEELER)
    sigma_um: Annotated[Decimal, between("um", "0.1", "1000")] | None = None
    caliper_um: Annotated[Decimal, between("um", "10", "1000")] | None = None
    read_to: Annotated[str, choice("screen", "film")] = "screen"
    z_mm: Annotated[Decimal, between("mm", "-5", "50")] | None = None
    mount: Annotated[str, choice(*Mount)] | None = None
    pitch_mm: Annotated[Decimal, between("mm", "0.1", "5")] | None = None
    clockwise: Annotated[str, choice("raises", "lowers")] | None = None
    hold_s: Annotated[Decimal, between("s", "10", "7200")] = Decimal(1200)
    shop: Text | None = None


class ReadingTable(schema.Outside):
    """One reading: a gap, the first layer's thickness, or how many leaves went in."""

    x_mm: schema.Spot = Field(description="-140")
    y_mm: schema.Spot = Field(description="-75")
    gap_um: Annotated[Decimal, between("um", "-20000", "20000")] | None = None
    thickness_um: Annotated[Decimal, between("um", "-20000", "20000")] | None = None
    leaves: Annotated[Decimal, between("", "0", "200")] | None = None
    sigma_um: Annotated[Decimal, between("um", "0.1", "1000")] | None = None

    @model_validator(mode="after")
    def _one_value(self) -> Self:
        if sum(v is not None for v in (self.gap_um, self.thickness_um, self.leaves)) != 1:
            raise mistake("wants one value", "Give gap_um, or thickness_um, or leaves")
        return self


class ScrewTable(schema.Outside):
    """One screw."""

    name: Text = Field(description='"front left"')
    x_mm: schema.Spot = Field(description="-120")
    y_mm: schema.Spot = Field(description="-60")


class LevelBase(schema.Outside):
    """The base to judge for: a recipe of the shop, or its light and settle; what is said beside a recipe replaces its own."""

    recipe: Text | None = None
    exposure_s: schema.Exposure | None = None
    settle_s: schema.Wait | None = None
    layer_mm: schema.Layer | None = None
    resin: Text | None = None
    room_c: schema.Room | None = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if self.recipe is None and self.exposure_s is None:
            raise mistake("says neither a recipe nor its light", "Add recipe, or exposure_s and settle_s")
        return self


class LevelFile(schema.ShopFile):
    """A whole readings file."""

    level: LevelHead = Field(description="a [level] table with machine and method")
    reading: list[ReadingTable] = Field(min_length=1, description="a [[reading]] table with x_mm, y_mm and gap_um")
    screw: list[ScrewTable] = Field(default_factory=list)
    base: LevelBase | None = None

    @field_validator("screw")
    @classmethod
    def _as_mounted(cls, screw: list[ScrewTable], info: ValidationInfo) -> list[ScrewTable]:
        head = info.data.get("level")
        mount = (head.mount if head else None) or Mount.FOUR
        wanted = {Mount.FOUR: 4, Mount.THREE: 3}.get(Mount(mount))
        if screw and wanted and len(screw) != wanted:
            raise mistake(f"has {len(screw)} for {mount}", f"Give {wanted}, or none to have them taken at the corners")
        if len({s.name for s in screw}) != len(screw):
            raise mistake("has one name twice", "Give every screw a name of its own")
        return screw


class LevelOptions(NamedTuple):
    """What the command line says; it stands before the file."""

    level: dict[str, Any]
    base: dict[str, Any]
    points: tuple[str, ...] = ()


def read_level(path: TableSource | None, options: LevelOptions, *, shop_path: str | None = None) -> LevelSurvey:
    """Return the survey of a readings file, or of points given one by one.

    Parameters
    ----------
    path : str, Path, Given or None
        The file, or its tables; None takes `options.points`.
    options : LevelOptions
        Keys of ``[level]`` and ``[base]`` as the file would have them, numbers as text, and points "X,Y,GAP" in mm, mm, um.
    shop_path : str or None
        The shop file; else the one the file names, else ``shop.toml`` beside it.

    Returns
    -------
    LevelSurvey
        SI.

    Raises
    ------
    InputError
        With every mistake of both files and of the command line.
    """
    said = [*_numbers(options.level), *_numbers(options.base)]
    if path is None and not options.points:
        said.append(
            Mistake(
                COMMAND_LINE, to_say("there are no readings"), to_say("Name a readings file, or give --point X,Y,GAP")
            )
        )
    if path is not None and options.points:
        said.append(Mistake(COMMAND_LINE, to_say("there are a file and points"), to_say("Give one or the other")))
    if said:
        raise InputError(said)
    file = _from_points(options) if path is None else read_file(path, LevelFile)
    file = _with_options(file, options) if path is not None else file
    shop, missing = _shop_beside(file, shop_path)
    files: list[TomlFile[Any]] = [file, *([shop] if shop else [])]
    mistakes = [m for f in files for m in f.mistakes] + missing
    if not missing and all(f.raw for f in files):
        mistakes += _unknown_names(file, files)
    readings_fit = file.model is not None and not missing and (shop is None or shop.model is not None)
    if not readings_fit or mistakes:
        raise InputError(told_once(mistakes))
    everything = _together(files)
    return _survey(file, everything)


def _numbers(keys: dict[str, Any]) -> list[Mistake]:
    """Turn numbers written as text into decimals, in place; what is none is a mistake."""
    found = []
    for key, value in list(keys.items()):
        if value is None:
            del keys[key]
        elif unit := unit_in(key):
            try:
                keys[key] = read_number(value, key, unit)
            except InputError as error:
                found += list(error.mistakes)
    return found


def _from_points(options: LevelOptions) -> TomlFile[LevelFile]:
    """The same tables as a file would hold, from the command line."""
    readings: list[dict[str, Any]] = []
    mistakes: list[Mistake] = []
    for n, point in enumerate(options.points, 1):
        parts = point.split(",")
        place = f"--point {n}"
        if len(parts) != 3:
            mistakes.append(
                Mistake(
                    place,
                    to_say("{point!r} is not X,Y,GAP", point=point),
                    to_say("Write x and y in mm and the gap in um, like -140,-75,150"),
                )
            )
            continue
        table = {}
        for key, unit, text in zip(("x_mm", "y_mm", "gap_um"), ("mm", "mm", "um"), parts, strict=True):
            try:
                table[key] = read_number(text, f"{place}: {key}", unit)
            except InputError as error:
                mistakes += list(error.mistakes)
        readings.append(table)
    raw = {"level": dict(options.level), "reading": readings} | ({"base": dict(options.base)} if options.base else {})
    path = Path(COMMAND_LINE)
    file = TomlFile[LevelFile](path, raw, None, None, mistakes)
    return file if mistakes else file.checked(LevelFile)


def _with_options(file: TomlFile[LevelFile], options: LevelOptions) -> TomlFile[LevelFile]:
    """The file with the command line's keys in place of its own."""
    if not file.raw or not (options.level or options.base):
        return file
    raw = dict(file.raw)
    for key, said in (("level", options.level), ("base", options.base)):
        if said and isinstance(raw.get(key, {}), dict):
            raw[key] = raw.get(key, {}) | said
    return file._replace(raw=raw, mistakes=[]).checked(LevelFile)


def _shop_beside(
    file: TomlFile[LevelFile], shop_path: str | None
) -> tuple[TomlFile[schema.ShopFile] | None, list[Mistake]]:
    """The shop file: as told, as the file names it, or beside it."""
    if shop_path is not None:
        return read_file(Path(shop_path), schema.ShopFile), []
    head = file.raw.get("level")
    named = head.get("shop") if isinstance(head, dict) else None
    folder = file.path.parent
    if isinstance(named, str) and named.strip() and "\0" not in named:
        if (folder / named).exists():
            return read_file(folder / named, schema.ShopFile), []
        what = f'level.shop: there is no shop file "{folder / named}"'
        return None, [
            Mistake(file.place(("level", "shop")), what, to_say("Write its path from the folder of the readings"))
        ]
    beside = folder / "shop.toml"
    return (read_file(beside, schema.ShopFile), []) if beside.exists() else (None, [])


def _unknown_names(file: TomlFile[LevelFile], files: list[TomlFile[Any]]) -> list[Mistake]:
    """Machine, recipe or resin that nobody has."""
    asked = (("machine", "level", "machine"), ("recipe", "base", "recipe"), ("resin", "base", "resin"))
    found = []
    for kind, table, key in asked:
        given = file.raw.get(table)
        name = given.get(key) if isinstance(given, dict) else None
        if isinstance(name, str) and name not in (known := known_names(files, kind)):
            found.append(unknown_name(file.place((table, key)), f"{table}.{key}: ", kind, name, known))
    return found


def _together(files: list[TomlFile[Any]]) -> Shop:
    """All records of the files; the readings file's own stand before the shop's."""
    shops = [shop_of(f) for f in reversed(files)]
    return Shop(
        machines=tuple({m.name: m for s in shops for m in s.machines}.values()),
        resins=tuple({r.name: r for s in shops for r in s.resins}.values()),
        recipes=tuple({r.name: r for s in shops for r in s.recipes}.values()),
    )


def _survey(file: TomlFile[LevelFile], shop: Shop) -> LevelSurvey:
    """Put the survey together from tables that are free of mistakes; the readings may still make no plane."""
    if (model := file.model) is None:
        raise InputError(file.mistakes)
    head = model.level
    machine = next(m for m in shop.machines if m.name == head.machine)
    leaf_m = exact_si(head.caliper_um, "um") if head.caliper_um else PAPER_M
    used = _gauge(head, leaf_m)
    points = file.path == Path(COMMAND_LINE)
    readings = tuple(
        _reading(t, used, leaf_m, f"--point {n + 1}" if points else file.place(("reading", n)))
        for n, t in enumerate(model.reading)
    )
    wrong = reading_mistakes(machine, used, readings)
    if wrong:
        raise InputError([m if m.where != "readings" else m._replace(where=str(file.path)) for m in wrong])
    return LevelSurvey(
        machine=machine,
        others=tuple(m for m in shop.machines if m.name != machine.name),
        gauge=used,
        readings=readings,
        screws=_screws(model, machine.platform),
        leaf_m=leaf_m,
        on_film=head.read_to == "film",
        height_m=None if head.z_mm is None else exact_si(head.z_mm, "mm"),
        base=None if model.base is None else _base(model.base, shop),
        hold_s=float(head.hold_s),
    )


def _gauge(head: LevelHead, leaf_m: float) -> Gauge:
    used = gauge(SHORT_METHODS.get(head.method) or Method(head.method), leaf_m=leaf_m)
    return used if head.sigma_um is None else evolve(used, sigma_m=exact_si(head.sigma_um, "um"))


def _reading(table: ReadingTable, used: Gauge, leaf_m: float, where: str) -> GapReading:
    if table.leaves is not None:
        gap_m = float(table.leaves) * leaf_m
    else:
        gap_m = exact_si(table.gap_um if table.gap_um is not None else table.thickness_um or Decimal(0), "um")
    return GapReading(
        x_m=exact_si(table.x_mm, "mm"),
        y_m=exact_si(table.y_mm, "mm"),
        gap_m=gap_m,
        sigma_m=used.sigma_m if table.sigma_um is None else exact_si(table.sigma_um, "um"),
        where=where,
    )


def _screws(model: LevelFile, platform: Platform) -> Screws:
    head, assumed = model.level, []
    mount = Mount(head.mount or Mount.FOUR)
    if head.mount is None:
        assumed.append("Nobody said how the platform hangs: four screws are taken (mount says it)")
    if model.screw:
        places = tuple(Screw(name=s.name, x_m=exact_si(s.x_mm, "mm"), y_m=exact_si(s.y_mm, "mm")) for s in model.screw)
    else:
        half_w, half_d = platform.width_m / 2.0, platform.depth_m / 2.0
        layout = THREE_PARTS if mount is Mount.THREE else PARTS
        places = tuple(Screw(name=name, x_m=sx * half_w, y_m=sy * half_d) for sx, sy, name in layout)
        if mount is not Mount.BALL:
            where = (
                "one in the middle of the front and two at the rear corners" if mount is Mount.THREE else "the corners"
            )
            assumed.append(f"The screws are taken at {where} of the platform ([[screw]] tables say where they are)")
    if mount is not Mount.BALL:
        if head.pitch_mm is None:
            assumed.append(f"Their pitch is taken as {PITCH_MM} mm, an M4 coarse thread (pitch_mm says it)")
        if head.clockwise is None:
            assumed.append(
                "Clockwise, seen from above, is taken to push the platform down there; "
                'if it pulls it up, turn every screw the other way (clockwise = "raises" says it)'
            )
    return Screws(
        mount=mount,
        places=places,
        pitch_m=exact_si(head.pitch_mm or Decimal(PITCH_MM), "mm"),
        clockwise_raises=head.clockwise == "raises",
        assumed=tuple(assumed),
    )


def _base(table: LevelBase, shop: Shop) -> BaseDose:
    recipe = next((r for r in shop.recipes if r.name == table.recipe), None)
    resin_name = table.resin or (recipe.resin if recipe else None)
    resin = next((r for r in shop.resins if r.name == resin_name), Resin(name="this resin"))
    settings = (
        recipe.settings if recipe else Settings(layer_nm=50_000, base_layers=1, base=PLAIN_PHASE, body=PLAIN_PHASE)
    )
    if table.exposure_s is not None:
        settings = settings.with_value("base.exposure_s", float(table.exposure_s))
    if table.settle_s is not None:
        settings = settings.with_value("base.settle_s", float(table.settle_s))
    if table.layer_mm is not None:
        settings = settings.with_value("layer_mm", exact_si(table.layer_mm, "mm"))
    room_k = kelvin(table.room_c) if table.room_c is not None else (recipe.proof.room_k if recipe else kelvin(ROOM_C))
    base = settings.base
    name = table.recipe or f"{base.exposure_s:g} s of light after {base.settle_s:g} s of settle"
    return BaseDose(
        name=name, proven_on=recipe.machine if recipe else "", settings=settings, resin=resin, room_k=room_k
    )
