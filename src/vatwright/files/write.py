"""Writing records as TOML in bench units, such that reading gives the same records back to the last digit."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from attrs import fields, has

from vatwright.errors import InputError, Mistake
from vatwright.files import priors
from vatwright.files.bench_numbers import exact_bench
from vatwright.files.to_records import RULE_LIMITS, rule_unit
from vatwright.files.toml import Inline, toml_text
from vatwright.planning.demand.practice import PRACTICE
from vatwright.quantities import PHASES, TABLES, Nature, TableKey, Takes, key_at
from vatwright.records.job import Hands, Job, Shop
from vatwright.records.machine import Controller, Light, Machine, Obeys, Platform, Rule
from vatwright.records.sourced import Kind, Sourced, standing_in
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

    from vatwright.records.material import Resin
    from vatwright.records.part import PartUse
    from vatwright.records.process import Recipe

Table = dict[str, object]


def write_shop(shop: Shop, *, beside: str | Path | None = None) -> str:
    """Return a shop as the text of a shop file.

    Parameters
    ----------
    shop : Shop
        What to write.
    beside : str or Path or None
        Folder of the file to be; part files in it are written relative to it, all others with their whole path.

    Examples
    --------
    >>> from vatwright.records.material import Resin
    >>> print(write_shop(Shop(resins=(Resin(name="slate", density_kg_m3=1120.0),))))
    [[resin]]
    name = "slate"
    density_g_cm3 = 1.12
    """
    folder = _folder(beside)
    return toml_text(_shop_table(shop, folder))


def write_job(job: Job, *, shop: str | None = None, beside: str | Path | None = None) -> str:
    """Return a job as the text of a job file.

    Parameters
    ----------
    job : Job
        What to write.
    shop : str or None
        Path of the shop file that holds the records, as it shall stand in the job; None writes the records into the
        job file itself.
    beside : str or Path or None
        As in :func:`write_shop`.

    Raises
    ------
    InputError
        Where two different machines or resins of the job have one name, so that no file can tell them apart.
    """
    folder = _folder(beside)
    table: Table = {"job": _job_table(job, shop), "part": [_part_table(p, folder) for p in job.parts]}
    if shop is None:
        machines = (job.origin,) if job.target == job.origin else (job.origin, job.target)
        resins = (job.resin_from,) if job.resin == job.resin_from else (job.resin_from, job.resin)
        _require_distinct("machine", machines)
        _require_distinct("resin", resins)
        recipes = () if job.recipe.name == PRACTICE else (job.recipe,)
        table |= _shop_table(Shop(machines=machines, resins=resins, recipes=recipes), folder)
    return toml_text(table)


def _require_distinct(kind: str, records: Sequence[Machine | Resin]) -> None:
    names = [r.name for r in records]
    if len(set(names)) != len(names):
        raise InputError(
            [
                Mistake(
                    kind,
                    to_say('two different {kind}s are called "{names}"', kind=kind, names=names[0]),
                    to_say("Rename one of them"),
                )
            ]
        )


def _folder(beside: str | Path | None) -> Path | None:
    return None if beside is None else Path(beside).absolute()


def _shop_table(shop: Shop, folder: Path | None) -> Table:
    return {
        "machine": [_machine_table(m) for m in shop.machines],
        "resin": [_resin_table(r) for r in shop.resins],
        "recipe": [_recipe_table(r, folder) for r in shop.recipes],
    }


def _machine_table(machine: Machine) -> Table:
    """Return a machine; what stands where nobody said it is a remark, if it has a range to tell."""
    table = bench_values(machine, "machine")
    table["level"] = [Inline(bench_values(r, "machine.level")) for r in machine.level]
    table["flatness"] = [Inline(bench_values(r, "machine.flatness")) for r in machine.flatness]
    if machine.tip is not None:
        table["tip"] = bench_values(machine.tip, "machine.tip")
    table["platform"] = _platform_table(machine.platform)
    for name, record in (("window", machine.window), ("vat", machine.vat), ("film", machine.film)):
        table[name] = bench_values(record, f"machine.{name}")
    table["light"] = _light_table(machine.light)
    table["motion"] = bench_values(machine.motion, "machine.motion")
    table["controller"] = _controller_table(machine.controller)
    return table


def bench_values(record: object, path: str, *, always: bool = False) -> Table:
    """Return the fields of a record as the values of its table, in bench units.

    Parameters
    ----------
    record : object
        The record.
    path : str
        Dotted name of its table.
    always : bool
        Write also what is the record's own default.
    """
    table: Table = {}
    for key in TABLES[path]:
        if _is_written(record, key, always=always):
            value = getattr(record, key.attribute)
            table |= _sourced(key, value) if isinstance(value, Sourced) else {key.name: _bench(value, key)}
    return table


def _is_written(record: object, key: TableKey, *, always: bool) -> bool:
    value = getattr(record, key.attribute, None)
    if value is None or key.holds in NOT_A_VALUE or (has(type(value)) and not isinstance(value, Sourced)):
        return False
    return always or bool(key.needs) or not _is_default(record, key.attribute)


NOT_A_VALUE = (Takes.TABLE, Takes.TABLES, Takes.RULE)


def _is_default(record: object, attribute: str) -> bool:
    return bool(getattr(record, attribute) == getattr(fields(type(record)), attribute).default)  # type: ignore[arg-type]


def _bench(value: Any, key: TableKey) -> object:
    if key.nature is Nature.THICKNESS:
        return exact_bench(value / 1_000_000_000, key.unit)
    return (
        exact_bench(value, key.unit)
        if key.holds is Takes.NUMBER
        else value
        if isinstance(value, tuple | int)
        else str(value)
    )


def _platform_table(platform: Platform) -> Table:
    openings = []
    for o in platform.openings:
        opening = Inline(bench_values(o, "machine.platform.opening"))
        if o.round_ and o.width_m == o.depth_m:
            opening["diameter_mm"] = opening.pop("width_mm")
            del opening["depth_mm"]
        openings.append(opening)
    return bench_values(platform, "machine.platform") | {"opening": openings}


def _light_table(light: Light) -> Table:
    table = bench_values(light, "machine.light")
    if light.readings:  # they give the rest
        for given in ("irradiance_mW_cm2", "# irradiance_mW_cm2", "dimmest_percent", "brightest_percent"):
            table.pop(given, None)
        return {"reading": [Inline(bench_values(r, "machine.light.reading")) for r in light.readings]} | table
    if light.meter:
        key = key_at("machine.light.irradiance_mW_cm2")
        table = (
            _sourced(key, light.irradiance_w_m2, metered=True)
            | {"read_with": light.meter}
            | {k: v for k, v in table.items() if key.name not in k}
        )
    return {k: v for k, v in table.items() if k not in ("meter_percent", "repeat_percent")}


def _controller_table(controller: Controller) -> Table:
    table = bench_values(controller, "machine.controller")
    order = [key.name for key in TABLES["machine.controller"]]
    for quantity in sorted(controller.rules, key=order.index):
        table[quantity] = _rule_value(controller.rules[quantity], rule_unit(quantity))
    return table


def _rule_value(rule: Rule, unit: str) -> object:
    """Return a rule as a table, or as one word where it says no more than that."""
    table = Inline(obeys=str(rule.obeys))
    for key in RULE_LIMITS:
        if (key.name == "fixed" and rule.obeys == Obeys.NO) or not _is_default(rule, key.attribute):
            table[key.name] = exact_bench(getattr(rule, key.attribute), unit)
    if rule.live:
        table["live"] = True
    return table if len(table) > 1 else str(rule.obeys)


def _resin_table(resin: Resin) -> Table:
    density = exact_bench(resin.density_kg_m3, "g_cm3")
    table = {"name": resin.name, "density_g_cm3": density} | bench_values(resin, "resin")
    table["viscosity"] = [Inline(bench_values(r, "resin.viscosity")) for r in resin.viscosity]
    table["cure"] = [Inline(bench_values(r, "resin.cure")) for r in resin.cure_readings]
    if resin.curve is not None:
        table["curve"] = bench_values(resin.curve, "resin.curve")
    if resin.label is not None:
        table["label"] = bench_values(resin.label, "resin.label")
    return table


def _recipe_table(recipe: Recipe, folder: Path | None) -> Table:
    settings, proof = recipe.settings, recipe.proof
    table = bench_values(recipe, "recipe") | bench_values(settings, "recipe", always=True)
    for phase in PHASES:
        table[phase] = bench_values(getattr(settings, phase), "recipe.body", always=True)
    proven = bench_values(proof, "recipe.proven", always=True)
    if proof.load is not None:
        proven["load"] = Inline(bench_values(proof.load, "recipe.proven.load", always=True))
    return table | {"proven": proven | {"part": [_part_table(p, folder) for p in proof.parts]}}


def _part_table(part: PartUse, folder: Path | None) -> Table:
    path = Path(part.file)
    inside = folder is not None and path.is_relative_to(folder)
    file = path.relative_to(folder).as_posix() if folder and inside else part.file
    table: Table = {"name": part.name} | bench_values(part, "part") | {"file": file, "count": part.count}
    return table | {"places": [Inline(bench_values(p, "part.places", always=True)) for p in part.places]}


def _job_table(job: Job, shop: str | None) -> Table:
    table: Table = {"name": job.name}
    if shop is not None:
        table["shop"] = shop
    if job.recipe.name != PRACTICE:
        table["recipe"] = job.recipe.name
    table |= {"to": job.target.name, "resin": job.resin.name}
    said = bench_values(job, "job") | bench_values(job.hands, "job", always=job.hands != Hands())
    return table | {key.name: said[key.name] for key in TABLES["job"] if key.name in said}


def _sourced(key: TableKey, value: Sourced, *, metered: bool = False) -> Table:
    """Return a value as briefly as it can be read back: a remark for a prior, a bare number, or a table."""
    number, low, high = (exact_bench(v, key.unit) for v in (value.value, value.low, value.high))
    if key.prior is not None and not metered and value == standing_in(key):
        brief = [f"{v:.4g}" for v in (number, low, high)]
        return {f"# {key.name}": f"{brief[0]} ({brief[1]} to {brief[2]}), {value.kind}"}
    factor = priors.METER_FACTOR if metered else key.factor
    source, kind = (priors.READ, Kind.READING) if metered else (priors.STATED, Kind.STATEMENT)
    if value == Sourced.about(value.value, factor=factor, source=source, kind=kind):
        return {key.name: number}
    return {key.name: Inline(value=number, low=low, high=high, source=value.source, kind=str(value.kind))}
