"""Outside shapes to records: bench units become SI, silence becomes a labelled prior, readings become ranges."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import fields

from vatwright.files import priors, schema
from vatwright.files.bench_numbers import decimal_of, exact_bench, exact_si
from vatwright.physics.irradiance import mean_irradiance
from vatwright.physics.motion import stroke_acceleration
from vatwright.quantities import FILM_MODULUS_MPA, OF_THE_RUN, TABLES, Nature, TableKey, Takes, key_at
from vatwright.records.job import Hands
from vatwright.records.machine import (
    Backing,
    Controller,
    Film,
    FlatnessReading,
    LevelReading,
    Light,
    LightReading,
    Machine,
    Motion,
    Obeys,
    Opening,
    Platform,
    Rule,
    TipReading,
    Vat,
    Window,
)
from vatwright.records.material import CureReading, Label, Resin, ViscosityReading, WorkingCurve
from vatwright.records.part import PartUse, Place, PlateLoad
from vatwright.records.process import Phase, Proof, Recipe, Settings
from vatwright.records.sourced import Kind, Sourced, standing_in
from vatwright.records.upkeep import Upkeep

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s2]; exact by convention (3rd CGPM, 1901)."""


RULE_LIMITS = tuple(key for key in TABLES["machine.controller.rule"] if key.holds is Takes.NUMBER)
"""What a rule says in the unit of its quantity."""


class PartFiles(NamedTuple):
    """Where the part files of one TOML file are: the folder that paths count from, and the place of each table."""

    folder: Path
    place: Callable[[int], str]


def machine_record(table: schema.MachineTable) -> Machine:
    """Return one machine."""
    window = _window(table)
    at = "machine"
    return Machine(
        platform=_platform(table.platform),
        window=window,
        film=_film(table.film),
        light=_light(table.light, window),
        motion=_motion(table.motion),
        vat=_vat(table.vat, window),
        controller=_controller(table.controller),
        level=tuple(LevelReading(**si_values(r, f"{at}.level")) for r in table.level),
        flatness=tuple(FlatnessReading(**si_values(r, f"{at}.flatness")) for r in table.flatness),
        tip=None if table.tip is None else TipReading(**si_values(table.tip, f"{at}.tip")),
        upkeep=Upkeep(**si_values(table.upkeep, f"{at}.upkeep")),
        assumed=unsaid(table),
        **si_values(table, at) | _dialled(table),
    )


def resin_record(table: schema.ResinTable) -> Resin:
    """Return one resin."""
    return Resin(
        viscosity=tuple(_viscosity(r) for r in table.viscosity),
        curve=_curve(table.curve),
        cure_readings=tuple(CureReading(**si_values(r, "resin.cure")) for r in table.cure),
        label=None if table.label is None else Label(**si_values(table.label, "resin.label")),
        **si_values(table, "resin"),
    )


def recipe_record(table: schema.RecipeTable, files: PartFiles) -> Recipe:
    """Return one recipe; a base value that is missing is the body's."""
    body, base = si_values(table.body, "recipe.body"), si_values(table.base, "recipe.base")
    said = si_values(table, "recipe")
    of_run = {key.attribute: said.pop(key.attribute) for key in OF_THE_RUN}
    settings = Settings(base=Phase(**body | base), body=Phase(**body), **of_run)
    return Recipe(settings=settings, proof=_proof(table.proven, files), **said)


def part_records(tables: Sequence[schema.PartTable], files: PartFiles) -> tuple[PartUse, ...]:
    """Return the parts of a job or of a proof, their paths complete."""
    return tuple(_part(table, files.folder, files.place(index)) for index, table in enumerate(tables))


def _part(table: schema.PartTable, folder: Path, where: str) -> PartUse:
    whole = {"name": table.name or folder.joinpath(table.file).stem, "file": str(folder / table.file)}
    places = tuple(Place(**si_values(p, "part.places")) for p in table.places)
    return PartUse(**si_values(table, "part") | whole | {"count": table.pieces}, places=places, where=where)


def job_fields(table: schema.JobTable) -> dict[str, Any]:
    """Return what a job says of itself, where it does: room, hands, confidence, tolerance, ramp, trim."""
    said = si_values(table, "job")
    hands = {name: said[name] for name in _of(Hands) if name in said}
    return {
        name: said[name] for name in ("room_k", "confidence", "tolerance", "ramp_layers", "trim") if name in said
    } | {"hands": Hands(**hands)}


def _of(record: Any) -> tuple[str, ...]:
    return tuple(f.name for f in fields(record))


def si_values(table: Any, path: str) -> dict[str, Any]:
    """Return the values of a table as fields of its record; what nobody said is left to a prior or to the record."""
    return {
        key.attribute: value
        for key in TABLES[path]
        if (value := _si_value(getattr(table, schema.field_name(key)), key)) is not None
    }


def _si_value(given: Any, key: TableKey) -> Any:
    if key.holds in (Takes.TABLE, Takes.TABLES, Takes.RULE):
        return None
    if key.holds is Takes.STATED:
        return _stated(given, key) if given is not None or key.prior is not None else None
    if given is None or key.holds is not Takes.NUMBER:
        return tuple(given) if isinstance(given, list) else given
    return (
        round(exact_si(given, key.unit) * 1_000_000_000)
        if key.nature is Nature.THICKNESS
        else exact_si(given, key.unit)
    )


def unsaid(table: schema.MachineTable) -> tuple[str, ...]:
    """Return, one sentence each, what is taken for granted about a machine because its table does not say it.

    Only what a record cannot say itself: a value with a range carries its own label.
    """
    margin, floor = exact_bench(priors.WINDOW_MARGIN_M, "mm"), exact_bench(priors.VAT_MARGIN_M, "mm")
    full = exact_bench(priors.VAT_FULL_M, "mm")
    film = table.film
    sentences = {
        f"window: {margin} mm wider than the platform on every side": table.window,
        f"vat: {floor} mm wider than the window on every side, resin up to {full} mm deep": table.vat,
        f"film.backing: on {priors.FILM_BACKING}": film.backing,
        f"film.thickness_um: {priors.FILM_THICKNESS_UM} um": film.thickness_um,
        f"film.material: {priors.FILM_MATERIAL}": film.material or film.modulus_MPa,
        "light: dimmest spot 90 %, brightest 110 % of the mean": table.light.reading[1:] or table.light.dimmest_percent,
    }
    return tuple(f"{s} (engineering estimate)" for s, said in sentences.items() if not said)


def _stated(given: schema.StatedValue | None, key: TableKey, *, metered: bool = False) -> Sourced:
    """Return a stated value with its own range, or with the one that bare statements of this key get."""
    if given is None:
        return standing_in(key)
    value = exact_si(given.value, key.unit)
    reading = metered or given.sigma is not None
    kind = Kind(given.kind) if given.kind else (Kind.READING if reading else Kind.STATEMENT)
    source = given.source or (priors.READ if reading else priors.STATED)
    if given.sigma is not None:
        return Sourced.read(value, sigma=exact_si(given.sigma, key.unit), source=source, kind=kind)
    if given.low is not None and given.high is not None:
        low, high = exact_si(given.low, key.unit), exact_si(given.high, key.unit)
        return Sourced(value=value, low=low, high=high, source=source, kind=kind)
    factor = priors.METER_FACTOR if metered else key.factor
    return Sourced.about(value, factor=factor, source=source, kind=kind)


def _platform(table: Any) -> Platform:
    return Platform(openings=tuple(_opening(o) for o in table.opening), **si_values(table, "machine.platform"))


def _opening(table: Any) -> Opening:
    said = si_values(table, "machine.platform.opening")
    if "diameter_m" in said:
        said["width_m"] = said["depth_m"] = said.pop("diameter_m")
    return Opening(**said)


def _window(table: schema.MachineTable) -> Window:
    if table.window is None:
        margin = 2.0 * priors.WINDOW_MARGIN_M
        platform = _platform(table.platform)
        return Window(width_m=platform.width_m + margin, depth_m=platform.depth_m + margin)
    return Window(**si_values(table.window, "machine.window"))


def _vat(table: Any, window: Window) -> Vat:
    margin = 2.0 * priors.VAT_MARGIN_M
    if table is None:
        return Vat(width_m=window.width_m + margin, depth_m=window.depth_m + margin, full_m=priors.VAT_FULL_M)
    return Vat(**{"full_m": priors.VAT_FULL_M} | si_values(table, "machine.vat"))


def _film(table: Any) -> Film:
    said = si_values(table, "machine.film")
    modulus = decimal_of(FILM_MODULUS_MPA[said.pop("material", priors.FILM_MATERIAL)])
    usual: dict[str, Any] = {
        "backing": priors.FILM_BACKING,
        "thickness_m": exact_si(decimal_of(priors.FILM_THICKNESS_UM), "um"),
        "modulus_pa": exact_si(modulus, "MPa"),
    }
    said = usual | said
    return Film(**said | {"backing": Backing(said["backing"])})


def _light(table: Any, window: Window) -> Light:
    said = si_values(table, "machine.light")
    if table.reading:
        return _mapped_light(table.reading, window, said)
    if table.read_with:
        said["irradiance_w_m2"] = _stated(
            table.irradiance_mW_cm2, key_at("machine.light.irradiance_mW_cm2"), metered=True
        )
    return Light(**said)


def _mapped_light(tables: Sequence[Any], window: Window, said: dict[str, Any]) -> Light:
    """Light from readings: mean over the window, dimmest and brightest spot of the map between them."""
    readings = tuple(LightReading(**si_values(r, "machine.light.reading")) for r in tables)
    spots: dict[str, Any] = {name: [getattr(r, name) for r in readings] for name in _of(LightReading)}
    mean = mean_irradiance(**spots, width_m=window.width_m, depth_m=window.depth_m)
    values = spots["irradiance_w_m2"]
    if len(readings) > 1:  # one spot says nothing about the others
        said |= {"dimmest": min(min(values) / mean, 1.0), "brightest": max(max(values) / mean, 1.0)}
    return Light(**said | {"irradiance_w_m2": _mean_light(mean, len(readings), said), "readings": readings})


def _mean_light(mean: float, count: int, said: dict[str, Any]) -> Sourced:
    """The mean with its range: the meter's calibration as stated and what is left of its repeatability, or the usual."""
    if said.get("calibration") is None:
        factor = priors.METER_FACTOR if said.get("meter") else key_at("machine.light.irradiance_mW_cm2").factor
        return Sourced.about(mean, factor=factor, source=priors.READ, kind=Kind.READING)
    repeat = float(said.get("repeat", fields(Light).repeat.default or 0.0)) / math.sqrt(count)
    return Sourced.read(mean, sigma=mean * math.hypot(said["calibration"], repeat), source=priors.READ)


def _motion(table: Any) -> Motion:
    said = si_values(table, "machine.motion")
    if table.stroke:
        said["acceleration_m_s2"] = _narrower(_stroke_acceleration(table.stroke), priors.ACCELERATION)
    return Motion(**said)


def _stroke_acceleration(stroke: Any) -> Sourced | None:
    """Acceleration from one timed stroke; None where the time read leaves nothing for speeding up."""
    distance_m, speed_m_s = exact_si(stroke.distance_mm, "mm"), exact_si(stroke.speed_mm_s, "mm_s")
    time_s, sigma_s = float(stroke.time_s), float(stroke.sigma_s)
    cruise_s = distance_m / speed_m_s
    if time_s <= cruise_s:
        return None
    acceleration = stroke_acceleration(distance_m=distance_m, speed_m_s=speed_m_s, time_s=time_s)
    # |da/dT| / a of the two branches of its formula
    relative = sigma_s / (time_s - cruise_s) if time_s <= 2.0 * cruise_s else 2.0 * sigma_s / time_s
    return Sourced.read(acceleration, sigma=acceleration * relative)


def _dialled(table: schema.MachineTable) -> dict[str, Sourced]:
    return {"stiffness_n_m": _narrower(_dial_stiffness(table.dial), priors.STIFFNESS)} if table.dial else {}


def _dial_stiffness(dials: Sequence[Any]) -> Sourced:
    """Stiffness from loads and deflections: weighted least squares of d = F/k through the origin.

    Where the readings scatter more than they say, their uncertainty grows by Birge's ratio [birge:1932].
    """
    loads = [_load_n(d) for d in dials]
    gave = [exact_si(d.deflection_um, "um") for d in dials]
    sigmas = [exact_si(d.sigma_um, "um") for d in dials]
    weight = math.fsum((f / s) ** 2 for f, s in zip(loads, sigmas, strict=True))
    compliance = math.fsum(f * d / s**2 for f, d, s in zip(loads, gave, sigmas, strict=True)) / weight
    chi2 = math.fsum(((d - compliance * f) / s) ** 2 for f, d, s in zip(loads, gave, sigmas, strict=True))
    birge = math.sqrt(max(1.0, chi2 / (len(dials) - 1))) if len(dials) > 1 else 1.0
    stiffness = 1.0 / compliance
    return Sourced.read(stiffness, sigma=stiffness * birge / (math.sqrt(weight) * compliance))


def _load_n(dial: Any) -> float:
    if dial.load_N is not None:
        return float(dial.load_N)
    return float(dial.load_kg or 0) * STANDARD_GRAVITY_M_S2


def _narrower(reading: Sourced | None, prior: Sourced) -> Sourced:
    """Return the reading, unless it says less than what is taken for granted without it."""
    return prior if reading is None or reading.spread > prior.spread else reading


def _curve(table: Any) -> WorkingCurve | None:
    """A bare number is as wide as curves of one resin differ between laboratories, unless the user read it."""
    if table is None:
        return None
    given = {key: getattr(table, key.name) for key in TABLES["resin.curve"]}
    said: dict[str, Any] = {key.attribute: _own_or_foreign(value, key) for key, value in given.items()}
    return WorkingCurve(**said)


def _own_or_foreign(given: schema.StatedValue, key: TableKey) -> Sourced:
    found = _stated(given, key)
    if found.kind is not Kind.READING or given.low is not None or given.sigma is not None:
        return found
    return Sourced.about(found.value, factor=priors.OWN_CURVE_FACTOR[key.name], source=found.source, kind=found.kind)


def _viscosity(table: Any) -> ViscosityReading:
    said = si_values(table, "resin.viscosity")
    return ViscosityReading(**{"sigma_pa_s": said["viscosity_pa_s"] * priors.VISCOSITY_SIGMA} | said)


def _controller(table: Any) -> Controller:
    rules = {quantity: _rule(rule, rule_unit(quantity)) for quantity, rule in table.rules().items()}
    return Controller(rules=rules, **si_values(table, "machine.controller"))


def rule_unit(quantity: str) -> str:
    """Return the bench unit of a controller's quantity; a count has none.

    Examples
    --------
    >>> rule_unit("settle_s"), rule_unit("peel_speed_mm_s"), rule_unit("base.layers")
    ('s', 'mm_s', '')
    """
    return key_at(f"machine.controller.{quantity}").unit


def _rule(table: Any, unit: str) -> Rule:
    limits = {k.attribute: exact_si(v, unit) for k in RULE_LIMITS if (v := getattr(table, k.name)) is not None}
    return Rule(obeys=Obeys(table.obeys), live=table.live, **limits)


def _proof(table: Any, files: PartFiles) -> Proof:
    if table is None:
        return Proof(runs=1, room_k=exact_si(decimal_of(priors.PROVEN_ROOM_C), "C"))
    load = None if table.load is None else PlateLoad(**si_values(table.load, "recipe.proven.load"))
    return Proof(parts=part_records(table.part, files), load=load, **si_values(table, "recipe.proven"))
