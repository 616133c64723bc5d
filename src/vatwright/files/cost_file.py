"""The cost file: what a shop's work, machines, room and table are like, beyond the price list in its stock.

Every number may be bare or a table with its range, as in ``power_W = { value = 60, low = 50, high = 75 }``.
"""
# ruff: noqa: N815 - units keep their own capitals

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Annotated

from pydantic import Field

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import exact_si, kelvin
from vatwright.files.fields import Text, between, whole
from vatwright.files.read import TableSource, read_file, told_once
from vatwright.physics.stiffness import rectangle_second_moment, table_stiffness
from vatwright.records.after import RoomAir
from vatwright.records.cost import STEPS, Costing, MachineTable, MachineUse
from vatwright.records.sourced import Kind, Sourced
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.records.machine import Machine

UNSAID_FACTOR = 1.5
"""Factor either way on a life or a power that was stated without a range [-]; engineering estimate, no source."""

UNSAID_MINUTES = 1.3
"""Factor either way on minutes that were stated without a range [-]; engineering estimate, no source."""

LEG_FACTOR = 4.0
"""How much softer real joints may make a table than its legs alone [-]; engineering estimate: hinged feet make it 4."""

Minutes = Annotated[schema.StatedValue, schema.stated("min", "0.1", "1440")]
Life = Annotated[schema.StatedValue, schema.stated("h", "1", "1000000")]
Layers = Annotated[schema.StatedValue, schema.stated("", "100", "100000000")]
Watts = Annotated[schema.StatedValue, schema.stated("", "1", "20000")]


class MinutesTable(schema.Outside):
    """A person's time: a plate, but for a visit, a piece (`finish`) and a failure (`clear`)."""

    set_up: Minutes | None = None
    take_off: Minutes | None = None
    wash: Minutes | None = None
    cure: Minutes | None = None
    visit: Minutes | None = None
    finish: Minutes | None = None
    clear: Minutes | None = None


class UseTable(schema.Outside):
    """One machine."""

    name: Text = Field(description='"Heron"')
    power_W: Watts | None = None
    film_layers: Layers | None = None
    screen_h: Life | None = None
    platform_h: Life | None = None
    life_h: Life | None = None
    mass_kg: Annotated[Decimal, between("kg", "0.5", "500")] | None = None
    floor_m2: Annotated[Decimal, between("m2", "0.01", "100")] | None = None


class RoomTable(schema.Outside):
    """Where it is washed and cured, and what the shop has found right."""

    volume_m3: Annotated[Decimal, between("m3", "2", "10000")] | None = None
    air_changes_per_h: Annotated[Decimal, between("per_h", "0.01", "100")] | None = None
    limit_ppm: Annotated[Decimal, between("ppm", "0.01", "10000")] | None = None
    evaporation_g_h: Annotated[Decimal, between("g_h", "0.01", "10000")] | None = None
    store_c: schema.Room | None = None
    bath_limit_percent: Annotated[Decimal, between("percent", "0.5", "50")] | None = None
    wash_min: Annotated[Decimal, between("min", "0.1", "240")] | None = None
    cure_min: Annotated[Decimal, between("min", "0.1", "240")] | None = None
    drip_min: Annotated[Decimal, between("min", "0.1", "1440")] = Decimal(10)


class PushTable(schema.Outside):
    """A push from the side: with how much force, how far the top went."""

    force_N: Annotated[Decimal, between("N", "0.5", "1000")] = Field(description="20")
    moved_um: Annotated[Decimal, between("um", "1", "100000")] = Field(description="400")


class LegsTable(schema.Outside):
    """Square legs."""

    count: Annotated[int, whole(3, 8)] = 4
    width_mm: Annotated[Decimal, between("mm", "5", "300")] = Field(description="40")
    height_mm: Annotated[Decimal, between("mm", "50", "1500")] = Field(description="700")
    modulus_GPa: Annotated[Decimal, between("GPa", "0.5", "220")] = Field(description="10")


class TableTable(schema.Outside):
    """What the machines stand on: pushed, or known by its legs."""

    mass_kg: Annotated[Decimal, between("kg", "0", "1000")] = Decimal(0)
    carries_kg: Annotated[Decimal, between("kg", "1", "2000")] | None = None
    push: PushTable | None = None
    legs: LegsTable | None = None


class CostFile(schema.Outside):
    """A whole cost file."""

    currency: Text | None = None
    margin_percent: Annotated[Decimal, between("percent", "0", "1000")] | None = None
    noticed_percent: Annotated[Decimal, between("percent", "1", "100")] | None = None
    pieces_a_month: Annotated[Decimal, between("", "0.1", "1000000")] | None = None
    minutes: MinutesTable = Field(default_factory=MinutesTable)
    machine: list[UseTable] = Field(default_factory=list)
    room: RoomTable = Field(default_factory=RoomTable)
    table: TableTable | None = None


def read_costs(path: TableSource, machines: tuple[Machine, ...] = ()) -> Costing:
    """Return what a cost file says.

    Parameters
    ----------
    path : str, Path or Given
        The file, or its tables.
    machines : tuple of Machine
        Of the shop; a machine that is none of them is a mistake.  Empty: any may stand there.

    Raises
    ------
    InputError
        With every mistake.
    """
    file = read_file(path, CostFile)
    mistakes = list(file.mistakes)
    known = [m.name for m in machines]
    for n, table in file.tables("machine"):
        if known and isinstance(table.get("name"), str) and table["name"] not in known:
            what = f'machine "{table["name"]}" is not in the shop'
            mistakes.append(
                Mistake(file.place(("machine", n, "name")), what, to_say("It has: {names}", names=", ".join(known)))
            )
    if file.model is not None and (t := file.model.table) is not None and (t.push is None) == (t.legs is None):
        mistakes.append(
            Mistake(
                file.place(("table",)), to_say("wants either push or legs"), to_say("Push it: that is the better one")
            )
        )
    if mistakes or file.model is None:
        raise InputError(told_once(mistakes))
    return _costing(file.model)


def _costing(f: CostFile) -> Costing:
    steps = ("set_up", "take_off", "wash", "cure", "visit", "finish", "clear")
    minutes = {
        step: _sourced(said, "min", UNSAID_MINUTES)
        for step, key in zip(STEPS, steps, strict=True)
        if (said := getattr(f.minutes, key)) is not None
    }
    return Costing(
        currency=f.currency or "",
        margin=_si(f.margin_percent, "percent"),
        noticed=_si(f.noticed_percent, "percent"),
        pieces_a_month=_si(f.pieces_a_month, ""),
        minutes=minutes,
        machines=tuple(_use(m) for m in f.machine),
        room=_room(f.room),
        table=None if f.table is None else _table(f.table),
    )


def _si(value: Decimal | None, unit: str) -> float | None:
    return None if value is None else exact_si(value, unit)


def _maybe(said: schema.StatedValue | None, unit: str) -> Sourced | None:
    return None if said is None else _sourced(said, unit, UNSAID_FACTOR)


def _sourced(said: schema.StatedValue, unit: str, factor: float) -> Sourced:
    value = exact_si(said.value, unit)
    source, kind = "user:statement", Kind.STATEMENT
    if said.low is not None and said.high is not None:
        low, high = exact_si(said.low, unit), exact_si(said.high, unit)
        return Sourced(value=value, low=low, high=high, source=source, kind=kind)
    if said.sigma is not None:
        return Sourced.read(value, sigma=exact_si(said.sigma, unit), source=source, kind=kind)
    return Sourced.about(value, factor=factor, source=source, kind=kind)


def _use(t: UseTable) -> MachineUse:
    return MachineUse(
        name=t.name, power_w=_maybe(t.power_W, ""), film_layers=_maybe(t.film_layers, ""),
        screen_s=_maybe(t.screen_h, "h"), platform_s=_maybe(t.platform_h, "h"), life_s=_maybe(t.life_h, "h"),
        mass_kg=_si(t.mass_kg, "kg"), floor_m2=_si(t.floor_m2, "m2"),
    )  # fmt: skip


def _room(t: RoomTable) -> RoomAir:
    return RoomAir(
        volume_m3=_si(t.volume_m3, "m3"),
        changes_per_s=_si(t.air_changes_per_h, "per_h"),
        limit_fraction=_si(t.limit_ppm, "ppm"),
        evaporation_kg_s=_si(t.evaporation_g_h, "g_h"),
        store_k=None if t.store_c is None else kelvin(t.store_c),
        bath_limit=_si(t.bath_limit_percent, "percent"),
        wash_s=_si(t.wash_min, "min"),
        cure_s=_si(t.cure_min, "min"),
        drip_s=exact_si(t.drip_min, "min"),
    )


def _table(t: TableTable) -> MachineTable:
    mass, carries = exact_si(t.mass_kg, "kg"), _si(t.carries_kg, "kg")
    if t.push is not None:
        k = exact_si(t.push.force_N, "N") / exact_si(t.push.moved_um, "um")
        read = Sourced.about(k, factor=1.2, source="user:reading", kind=Kind.READING)
        return MachineTable(stiffness_n_m=read, read=True, mass_kg=mass, carries_kg=carries)
    legs = t.legs or LegsTable.model_validate({})
    side = exact_si(legs.width_mm, "mm")
    k = table_stiffness(
        legs=legs.count, modulus_pa=exact_si(legs.modulus_GPa, "GPa"), height_m=exact_si(legs.height_mm, "mm"),
        second_moment_m4=rectangle_second_moment(width_m=side, height_m=side), foot="hinged",
    )  # fmt: skip
    soft = Sourced(value=k, low=k / LEG_FACTOR, high=k, source="timoshenko:1951", kind=Kind.DERIVED)
    return MachineTable(stiffness_n_m=soft, read=False, mass_kg=mass, carries_kg=carries)
