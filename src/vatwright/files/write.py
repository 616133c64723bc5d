"""Writing records as TOML in bench units, such that reading gives the same records back to the last digit."""

from __future__ import annotations

import json
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

from attrs import fields

from vatwright.errors import InputError, Mistake
from vatwright.files import priors
from vatwright.files.bench_numbers import celsius, exact_bench, number_text
from vatwright.files.to_records import rule_unit
from vatwright.records.job import Hands, Job, Shop
from vatwright.records.machine import (
    FADE,
    Controller,
    Film,
    Light,
    LightReading,
    Machine,
    Motion,
    Obeys,
    Platform,
    Rule,
)
from vatwright.records.process import COUNT_SETTINGS, PHASE_SETTINGS, QUANTITY_NAMES, Phase, Proof, Recipe
from vatwright.records.sourced import Kind, Sourced

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from vatwright.records.material import Resin
    from vatwright.records.part import PartUse

Table = dict[str, object]


class _Inline(dict[str, object]):
    """A table that is written on one line."""


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
    return _toml(_shop_table(shop, folder))


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
        table |= _shop_table(Shop(machines=machines, resins=resins, recipes=(job.recipe,)), folder)
    return _toml(table)


def _require_distinct(kind: str, records: Sequence[Machine | Resin]) -> None:
    names = [r.name for r in records]
    if len(set(names)) != len(names):
        raise InputError([Mistake(kind, f'two different {kind}s are called "{names[0]}"', "Rename one of them")])


def _folder(beside: str | Path | None) -> Path | None:
    return None if beside is None else Path(beside).absolute()


def _shop_table(shop: Shop, folder: Path | None) -> Table:
    return {
        "machine": [_machine_table(m) for m in shop.machines],
        "resin": [_resin_table(r) for r in shop.resins],
        "recipe": [_recipe_table(r, folder) for r in shop.recipes],
    }


def _machine_table(machine: Machine) -> Table:
    window, vat = machine.window, machine.vat
    table: Table = {"name": machine.name, "height_mm": exact_bench(machine.height_m, "mm")}
    table |= _sourced("stiffness_N_mm", machine.stiffness_n_m, "N_mm", priors.STIFFNESS)
    table |= _sourced("ceiling_N", machine.ceiling_n, "N", priors.CEILING)
    if machine.screen_force_n is not None:
        table["screen_force_N"] = exact_bench(machine.screen_force_n, "N")
    if machine.level_sigma_m != fields(Machine).level_sigma_m.default:
        table["level_sigma_um"] = exact_bench(machine.level_sigma_m, "um")
    table["level"] = [
        _Inline(x_mm=exact_bench(r.x_m, "mm"), y_mm=exact_bench(r.y_m, "mm"), gap_um=exact_bench(r.gap_m, "um"))
        for r in machine.level
    ]
    table["flatness"] = [
        _Inline(x_mm=exact_bench(r.x_m, "mm"), y_mm=exact_bench(r.y_m, "mm"), height_um=exact_bench(r.height_m, "um"))
        for r in machine.flatness
    ]
    if machine.tip is not None:
        table["tip"] = {
            "load_kg": exact_bench(machine.tip.load_kg, "kg"),
            "at_mm": exact_bench(machine.tip.at_m, "mm"),
            "over_mm": exact_bench(machine.tip.over_m, "mm"),
            "difference_um": exact_bench(machine.tip.difference_m, "um"),
        }
    table["platform"] = _platform_table(machine.platform)
    table["window"] = _sides(window.width_m, window.depth_m) | _unless_zero("corner_mm", window.corner_m, "mm")
    table["vat"] = _sides(vat.width_m, vat.depth_m) | {"full_mm": exact_bench(vat.full_m, "mm")}
    table["film"] = _film_table(machine.film)
    table["light"] = _light_table(machine.light)
    table["motion"] = _motion_table(machine.motion)
    table["controller"] = _controller_table(machine.controller)
    return table


def _platform_table(platform: Platform) -> Table:
    openings = []
    for o in platform.openings:
        opening = _Inline(x_mm=exact_bench(o.x_m, "mm"), y_mm=exact_bench(o.y_m, "mm"))
        if o.round_ and o.width_m == o.depth_m:
            opening["diameter_mm"] = exact_bench(o.width_m, "mm")
        else:
            opening |= _sides(o.width_m, o.depth_m) | ({} if o.round_ else {"round": False})
        openings.append(opening)
    table = _sides(platform.width_m, platform.depth_m) | _unless_zero("corner_mm", platform.corner_m, "mm")
    return table | {"opening": openings}


def _film_table(film: Film) -> Table:
    table: Table = {
        "backing": str(film.backing),
        "thickness_um": exact_bench(film.thickness_m, "um"),
        "modulus_MPa": exact_bench(film.modulus_pa, "MPa"),
    }
    return table | _sourced("tension_N_m", film.tension_n_m, "N_m", priors.TENSION)


def _light_table(light: Light) -> Table:
    if light.readings:
        table: Table = {"reading": [_light_reading(r) for r in light.readings]}
        if light.meter:
            table["read_with"] = light.meter
        return table | _light_age(light)
    if light.meter:
        table = _sourced("irradiance_mW_cm2", light.irradiance_w_m2, "mW_cm2", None, metered=True)
        table["read_with"] = light.meter
    else:
        table = _sourced("irradiance_mW_cm2", light.irradiance_w_m2, "mW_cm2", priors.IRRADIANCE)
    for key, share in (("dimmest", light.dimmest), ("brightest", light.brightest)):
        if share != getattr(fields(Light), key).default:
            table[f"{key}_percent"] = exact_bench(share, "percent")
    return table | _light_age(light)


def _light_reading(reading: LightReading) -> Table:
    return _Inline(
        x_mm=exact_bench(reading.x_m, "mm"),
        y_mm=exact_bench(reading.y_m, "mm"),
        irradiance_mW_cm2=exact_bench(reading.irradiance_w_m2, "mW_cm2"),
    )


def _light_age(light: Light) -> Table:
    """How good the readings are, and how the light has aged since."""
    table: Table = {}
    if light.readings and light.calibration is not None:
        table["meter_percent"] = exact_bench(light.calibration, "percent")
    if light.readings and light.repeat != fields(Light).repeat.default:
        table["repeat_percent"] = exact_bench(light.repeat, "percent")
    table |= _unless_zero("since_read_h", light.burned_s, "h")
    return table if light.fade == FADE else table | _sourced("fade_percent", light.fade, "percent", FADE)


def _motion_table(motion: Motion) -> Table:
    table = _sourced("acceleration_mm_s2", motion.acceleration_m_s2, "mm_s2", priors.ACCELERATION)
    if motion.fastest_m_s != fields(Motion).fastest_m_s.default:
        table["fastest_mm_s"] = exact_bench(motion.fastest_m_s, "mm_s")
    return table


def _controller_table(controller: Controller) -> Table:
    table = _unless_zero("overhead_s", controller.overhead_s, "s")
    if controller.ramp_covers != fields(Controller).ramp_covers.default:
        table["ramp_covers"] = tuple(controller.ramp_covers)
    order = [*QUANTITY_NAMES, *COUNT_SETTINGS, "layer_mm"]
    for quantity in sorted(controller.rules, key=order.index):
        table[quantity] = _rule_value(controller.rules[quantity], rule_unit(quantity))
    return table


def _rule_value(rule: Rule, unit: str) -> object:
    """Return a rule as a table, or as one word where it says no more than that."""
    table = _Inline(obeys=str(rule.obeys))
    for key, attribute in (("min", "minimum"), ("max", "maximum"), ("step", "step"), ("fixed", "fixed")):
        value = getattr(rule, attribute)
        always = key == "fixed" and rule.obeys == Obeys.NO
        if always or value != getattr(fields(Rule), attribute).default:
            table[key] = exact_bench(value, unit)
    if rule.live:
        table["live"] = True
    return table if len(table) > 1 else str(rule.obeys)


def _resin_table(resin: Resin) -> Table:
    table: Table = {"name": resin.name, "density_g_cm3": exact_bench(resin.density_kg_m3, "g_cm3")}
    if resin.price_per_kg is not None:
        table["price_per_kg"] = exact_bench(resin.price_per_kg, "")
    for key, strength in (("green_strength_MPa", resin.green_strength_pa), ("base_bond_MPa", resin.base_bond_pa)):
        if strength is not None:
            table |= _sourced(key, strength, "MPa", None)
    table["viscosity"] = [
        _Inline(
            temperature_c=celsius(r.temperature_k),
            viscosity_mPa_s=exact_bench(r.viscosity_pa_s, "mPa_s"),
            sigma_mPa_s=exact_bench(r.sigma_pa_s, "mPa_s"),
        )
        for r in resin.viscosity
    ]
    table["cure"] = [
        _Inline(dose_mJ_cm2=exact_bench(r.dose_j_m2, "mJ_cm2"), depth_um=exact_bench(r.depth_m, "um"))
        for r in resin.cure_readings
    ]
    if resin.curve is not None:
        curve = _sourced("Dp_um", resin.curve.depth_m, "um", None)
        table["curve"] = curve | _sourced("Ec_mJ_cm2", resin.curve.critical_j_m2, "mJ_cm2", None)
    return table


def _recipe_table(recipe: Recipe, folder: Path | None) -> Table:
    settings = recipe.settings
    return {
        "name": recipe.name,
        "machine": recipe.machine,
        "resin": recipe.resin,
        "layer_mm": exact_bench(settings.layer_m, "mm"),
        "base_layers": settings.base_layers,
        "ramp_layers": settings.ramp_layers,
        "base": _phase_table(settings.base),
        "body": _phase_table(settings.body),
        "proven": _proof_table(recipe.proof, folder),
    }


def _phase_table(phase: Phase) -> Table:
    return {
        s.name.partition(".")[2]: exact_bench(getattr(phase, s.attribute), s.unit)
        for s in PHASE_SETTINGS
        if s.phase == "body"
    }


def _proof_table(proof: Proof, folder: Path | None) -> Table:
    table: Table = {"runs": proof.runs, "failed": proof.failed, "room_c": celsius(proof.room_k)}
    if proof.load is not None:
        table["load"] = _Inline(
            pieces=proof.load.pieces,
            piece_area_mm2=exact_bench(proof.load.section_m2, "mm2"),
            height_mm=exact_bench(proof.load.height_m, "mm"),
            spread_percent=exact_bench(proof.load.reach, "percent"),
        )
    return table | {"part": [_part_table(p, folder) for p in proof.parts]}


def _part_table(part: PartUse, folder: Path | None) -> Table:
    path = Path(part.file)
    inside = folder is not None and path.is_relative_to(folder)
    table: Table = {"name": part.name, "file": path.relative_to(folder).as_posix() if folder and inside else part.file}
    if part.unit is not None:
        table["unit"] = part.unit
    table["count"] = part.count
    if part.pixel_m is not None:
        table["pixel_mm"] = exact_bench(part.pixel_m, "mm")
    if part.as_drawn:
        table["as_drawn"] = True
    table["places"] = [
        _Inline(x_mm=exact_bench(p.x_m, "mm"), y_mm=exact_bench(p.y_m, "mm"), turn_deg=exact_bench(p.turn_deg, ""))
        for p in part.places
    ]
    return table


def _job_table(job: Job, shop: str | None) -> Table:
    table: Table = {"name": job.name}
    if shop is not None:
        table["shop"] = shop
    table |= {"recipe": job.recipe.name, "to": job.target.name, "resin": job.resin.name, "room_c": celsius(job.room_k)}
    if job.hands != Hands():
        table["visits"] = job.hands.visits
        for key, value_s in (
            ("present", job.hands.present_s),
            ("late", job.hands.late_s),
            ("early", job.hands.early_s),
        ):
            table[f"{key}_min"] = exact_bench(value_s, "min")
    for key, share in (("confidence", job.confidence), ("tolerance", job.tolerance)):
        if share != getattr(fields(Job), key).default:
            table[f"{key}_percent"] = exact_bench(share, "percent")
    return table


def _sides(width_m: float, depth_m: float) -> Table:
    return {"width_mm": exact_bench(width_m, "mm"), "depth_mm": exact_bench(depth_m, "mm")}


def _unless_zero(key: str, value: float, unit: str) -> Table:
    return {key: exact_bench(value, unit)} if value else {}


def _sourced(key: str, value: Sourced, unit: str, prior: Sourced | None, *, metered: bool = False) -> Table:
    """Return a value as briefly as it can be read back: a remark for a prior, a bare number, or a table."""
    number, low, high = (exact_bench(v, unit) for v in (value.value, value.low, value.high))
    if value == prior:
        brief = [f"{v:.4g}" for v in (number, low, high)]
        return {f"# {key}": f"{brief[0]} ({brief[1]} to {brief[2]}), {value.kind}"}
    factor = priors.METER_FACTOR if metered else priors.STATED_FACTOR[key]
    source, kind = (priors.READ, Kind.READING) if metered else (priors.STATED, Kind.STATEMENT)
    if value == Sourced.about(value.value, factor=factor, source=source, kind=kind):
        return {key: number}
    return {key: _Inline(value=number, low=low, high=high, source=value.source, kind=str(value.kind))}


def _toml(table: Table) -> str:
    """Return the text of a whole file, one blank line between tables."""
    return "\n".join(_lines(table, "")).strip("\n") + "\n"


def _lines(table: Table, path: str) -> Iterator[str]:
    """Yield the lines of a table: its own values first, then the tables within it."""
    inner: list[tuple[str, Table]] = []
    for key, value in table.items():
        full = f"{path}.{key}".lstrip(".")
        if key.startswith("#"):
            yield f"{key}: {value}"
        elif isinstance(value, dict) and not isinstance(value, _Inline):
            inner.append((f"[{full}]", value))
        elif isinstance(value, list) and all(isinstance(v, dict) and not isinstance(v, _Inline) for v in value):
            inner.extend((f"[[{full}]]", v) for v in value)
        else:
            yield f"{_key(key)} = {_value(value)}"
    for header, content in inner:
        if content:
            yield ""
            yield header
            yield from _lines(content, header.strip("[]"))


def _key(key: str) -> str:
    return f'"{key}"' if "." in key else key


def _value(value: object) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, int | Decimal):
        return number_text(value)
    if isinstance(value, _Inline):
        return "{ " + ", ".join(f"{_key(k)} = {_value(v)}" for k, v in value.items()) + " }"
    if isinstance(value, list | tuple):
        if any(isinstance(v, _Inline) for v in value):
            return "[\n" + "".join(f"  {_value(v)},\n" for v in value) + "]"
        return "[" + ", ".join(_value(v) for v in value) + "]"
    return json.dumps(str(value), ensure_ascii=False)  # a TOML basic string is a JSON string
