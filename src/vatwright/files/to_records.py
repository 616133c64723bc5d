"""Outside shapes to records: bench units become SI, silence becomes a labelled prior, readings become ranges."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, NamedTuple

from attrs import fields

from vatwright.files import priors
from vatwright.files.bench_numbers import decimal_of, exact_bench, exact_si, kelvin
from vatwright.physics.irradiance import mean_irradiance
from vatwright.physics.motion import stroke_acceleration
from vatwright.records.job import Hands
from vatwright.records.machine import (
    FADE,
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
from vatwright.records.material import CureReading, Resin, ViscosityReading, WorkingCurve
from vatwright.records.part import PartUse, Place, PlateLoad
from vatwright.records.process import COUNT_SETTINGS, PHASE_SETTINGS, Phase, Proof, Recipe, Settings, setting_unit
from vatwright.records.sourced import Kind, Sourced

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from decimal import Decimal
    from pathlib import Path

    from vatwright.files import schema

STANDARD_GRAVITY_M_S2 = 9.80665
"""Standard acceleration of free fall [m/s2]; exact by convention (3rd CGPM, 1901)."""


class PartFiles(NamedTuple):
    """Where the part files of one TOML file are: the folder that paths count from, and the place of each table."""

    folder: Path
    place: Callable[[int], str]


def machine_record(table: schema.MachineTable) -> Machine:
    """Return one machine."""
    window = _window(table)
    return Machine(
        name=table.name,
        platform=_platform(table.platform),
        window=window,
        height_m=exact_si(table.height_mm, "mm"),
        film=_film(table.film),
        stiffness_n_m=_stiffness(table),
        ceiling_n=_stated(table.ceiling_N, "ceiling_N", "N", prior=priors.CEILING),
        screen_force_n=_maybe(table.screen_force_N, "N"),
        light=_light(table.light, window),
        motion=_motion(table.motion),
        vat=_vat(table.vat, window),
        controller=_controller(table.controller),
        level=tuple(
            LevelReading(x_m=exact_si(r.x_mm, "mm"), y_m=exact_si(r.y_mm, "mm"), gap_m=exact_si(r.gap_um, "um"))
            for r in table.level
        ),
        flatness=tuple(
            FlatnessReading(
                x_m=exact_si(r.x_mm, "mm"), y_m=exact_si(r.y_mm, "mm"), height_m=exact_si(r.height_um, "um")
            )
            for r in table.flatness
        ),
        tip=_tip(table.tip),
        assumed=unsaid(table),
        **_given(level_sigma_m=_maybe(table.level_sigma_um, "um")),
    )


def _tip(table: schema.TipTable | None) -> TipReading | None:
    if table is None:
        return None
    return TipReading(
        load_kg=exact_si(table.load_kg, "kg"),
        at_m=exact_si(table.at_mm, "mm"),
        over_m=exact_si(table.over_mm, "mm"),
        difference_m=exact_si(table.difference_um, "um"),
    )


def resin_record(table: schema.ResinTable) -> Resin:
    """Return one resin."""
    return Resin(
        name=table.name,
        viscosity=tuple(_viscosity(r) for r in table.viscosity),
        curve=_curve(table.curve),
        cure_readings=tuple(
            CureReading(dose_j_m2=exact_si(r.dose_mJ_cm2, "mJ_cm2"), depth_m=exact_si(r.depth_um, "um"))
            for r in table.cure
        ),
        price_per_kg=_maybe(table.price_per_kg, ""),
        green_strength_pa=_if_stated(table.green_strength_MPa, "green_strength_MPa", "MPa"),
        base_bond_pa=_if_stated(table.base_bond_MPa, "base_bond_MPa", "MPa"),
        **_given(density_kg_m3=_maybe(table.density_g_cm3, "g_cm3")),
    )


def recipe_record(table: schema.RecipeTable, files: PartFiles) -> Recipe:
    """Return one recipe; a base value that is missing is the body's."""
    body = _phase(table.body.model_dump(exclude_none=True))
    base = _phase(table.body.model_dump(exclude_none=True) | table.base.model_dump(exclude_none=True))
    settings = Settings(
        layer_nm=table.layer_nm, base_layers=table.base_layers, ramp_layers=table.ramp_layers, base=base, body=body
    )
    return Recipe(
        name=table.name, machine=table.machine, resin=table.resin, settings=settings, proof=_proof(table.proven, files)
    )


def part_records(tables: Sequence[schema.PartTable], files: PartFiles) -> tuple[PartUse, ...]:
    """Return the parts of a job or of a proof, their paths complete."""
    return tuple(
        PartUse(
            name=table.name or files.folder.joinpath(table.file).stem,
            file=str(files.folder / table.file),
            unit=table.unit,
            count=table.pieces,
            pixel_m=_maybe(table.pixel_mm, "mm"),
            places=tuple(
                Place(x_m=exact_si(p.x_mm, "mm"), y_m=exact_si(p.y_mm, "mm"), turn_deg=float(p.turn_deg))
                for p in table.places
            ),
            as_drawn=table.as_drawn,
            where=files.place(index),
        )
        for index, table in enumerate(tables)
    )


def hands_record(table: schema.JobTable) -> Hands:
    """Return who can be at the machine."""
    said = _given(
        visits=table.visits,
        present_s=_maybe(table.present_min, "min"),
        late_s=_maybe(table.late_min, "min"),
        early_s=_maybe(table.early_min, "min"),
    )
    return Hands(**said)


def job_shares(table: schema.JobTable) -> dict[str, Any]:
    """Return the confidence and the tolerance of a job, where it states them."""
    return _given(
        confidence=_maybe(table.confidence_percent, "percent"), tolerance=_maybe(table.tolerance_percent, "percent")
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


def _maybe(value: Decimal | None, unit: str) -> float | None:
    return None if value is None else exact_si(value, unit)


def _given(**values: float | None) -> dict[str, Any]:
    """Keep what was said; what was not takes the record's default."""
    return {key: value for key, value in values.items() if value is not None}


def _stated(
    given: schema.Stated | None, key: str, unit: str, *, prior: Sourced | None = None, metered: bool = False
) -> Sourced:
    """Return a stated value with its own range, or with the one that bare statements of this key get."""
    if given is None:
        if prior is None:
            raise ValueError(key)
        return prior
    value = exact_si(given.value, unit)
    reading = metered or given.sigma is not None
    kind = Kind(given.kind) if given.kind else (Kind.READING if reading else Kind.STATEMENT)
    source = given.source or (priors.READ if reading else priors.STATED)
    if given.sigma is not None:
        return Sourced.read(value, sigma=exact_si(given.sigma, unit), source=source, kind=kind)
    if given.low is not None and given.high is not None:
        low, high = exact_si(given.low, unit), exact_si(given.high, unit)
        return Sourced(value=value, low=low, high=high, source=source, kind=kind)
    factor = priors.METER_FACTOR if metered else priors.STATED_FACTOR[key]
    return Sourced.about(value, factor=factor, source=source, kind=kind)


def _if_stated(given: schema.Stated | None, key: str, unit: str) -> Sourced | None:
    return None if given is None else _stated(given, key, unit)


def _platform(table: schema.PlatformTable) -> Platform:
    return Platform(
        width_m=exact_si(table.width_mm, "mm"),
        depth_m=exact_si(table.depth_mm, "mm"),
        corner_m=exact_si(table.corner_mm, "mm"),
        openings=tuple(_opening(o) for o in table.opening),
    )


def _opening(table: schema.OpeningTable) -> Opening:
    width, depth = table.width_mm or table.diameter_mm, table.depth_mm or table.diameter_mm
    if width is None or depth is None:  # the schema has refused it
        raise ValueError("opening")
    return Opening(
        x_m=exact_si(table.x_mm, "mm"),
        y_m=exact_si(table.y_mm, "mm"),
        width_m=exact_si(width, "mm"),
        depth_m=exact_si(depth, "mm"),
        round_=table.round,
    )


def _window(table: schema.MachineTable) -> Window:
    if table.window is None:
        margin = 2.0 * priors.WINDOW_MARGIN_M
        platform = _platform(table.platform)
        return Window(width_m=platform.width_m + margin, depth_m=platform.depth_m + margin)
    return Window(
        width_m=exact_si(table.window.width_mm, "mm"),
        depth_m=exact_si(table.window.depth_mm, "mm"),
        corner_m=exact_si(table.window.corner_mm, "mm"),
    )


def _vat(table: schema.VatTable | None, window: Window) -> Vat:
    margin = 2.0 * priors.VAT_MARGIN_M
    if table is None:
        return Vat(width_m=window.width_m + margin, depth_m=window.depth_m + margin, full_m=priors.VAT_FULL_M)
    full_m = _maybe(table.full_mm, "mm") or priors.VAT_FULL_M
    return Vat(width_m=exact_si(table.width_mm, "mm"), depth_m=exact_si(table.depth_mm, "mm"), full_m=full_m)


def _film(table: schema.FilmTable) -> Film:
    modulus = table.modulus_MPa or decimal_of(priors.FILM_MODULUS_MPA[table.material or priors.FILM_MATERIAL])
    return Film(
        backing=Backing(table.backing or priors.FILM_BACKING),
        thickness_m=exact_si(table.thickness_um or decimal_of(priors.FILM_THICKNESS_UM), "um"),
        modulus_pa=exact_si(modulus, "MPa"),
        tension_n_m=_stated(table.tension_N_m, "tension_N_m", "N_m", prior=priors.TENSION),
    )


def _light(table: schema.LightTable, window: Window) -> Light:
    meter = table.read_with or ""
    said = _given(
        calibration=_maybe(table.meter_percent, "percent"),
        repeat=_maybe(table.repeat_percent, "percent"),
        burned_s=_maybe(table.since_read_h, "h"),
    )
    fade = _stated(table.fade_percent, "fade_percent", "percent", prior=FADE)
    if table.reading:
        return _mapped_light(table.reading, window, meter=meter, fade=fade, **said)
    irradiance = _stated(
        table.irradiance_mW_cm2, "irradiance_mW_cm2", "mW_cm2", prior=priors.IRRADIANCE, metered=bool(meter)
    )
    extremes = _given(
        dimmest=_maybe(table.dimmest_percent, "percent"), brightest=_maybe(table.brightest_percent, "percent")
    )
    return Light(irradiance_w_m2=irradiance, meter=meter, fade=fade, **extremes, **said)


def _mapped_light(tables: Sequence[schema.LightReadingTable], window: Window, *, meter: str, **said: Any) -> Light:
    """Light from readings: mean over the window, dimmest and brightest spot of the map between them."""
    readings = tuple(
        LightReading(
            x_m=exact_si(r.x_mm, "mm"),
            y_m=exact_si(r.y_mm, "mm"),
            irradiance_w_m2=exact_si(r.irradiance_mW_cm2, "mW_cm2"),
        )
        for r in tables
    )
    spots: dict[str, Any] = {
        "x_m": [r.x_m for r in readings],
        "y_m": [r.y_m for r in readings],
        "irradiance_w_m2": [r.irradiance_w_m2 for r in readings],
    }
    mean = mean_irradiance(**spots, width_m=window.width_m, depth_m=window.depth_m)
    values = spots["irradiance_w_m2"]
    if len(readings) > 1:  # one spot says nothing about the others
        said |= {"dimmest": min(min(values) / mean, 1.0), "brightest": max(max(values) / mean, 1.0)}
    return Light(irradiance_w_m2=_mean_light(mean, len(readings), meter, said), meter=meter, readings=readings, **said)


def _mean_light(mean: float, count: int, meter: str, said: dict[str, Any]) -> Sourced:
    """The mean with its range: the meter's calibration as stated and what is left of its repeatability, or the usual."""
    if said.get("calibration") is None:
        factor = priors.METER_FACTOR if meter else priors.STATED_FACTOR["irradiance_mW_cm2"]
        return Sourced.about(mean, factor=factor, source=priors.READ, kind=Kind.READING)
    repeat = float(said.get("repeat", fields(Light).repeat.default or 0.0)) / math.sqrt(count)
    return Sourced.read(mean, sigma=mean * math.hypot(said["calibration"], repeat), source=priors.READ)


def _motion(table: schema.MotionTable) -> Motion:
    acceleration = _stated(table.acceleration_mm_s2, "acceleration_mm_s2", "mm_s2", prior=priors.ACCELERATION)
    if table.stroke:
        acceleration = _narrower(_stroke_acceleration(table.stroke), priors.ACCELERATION)
    return Motion(acceleration_m_s2=acceleration, **_given(fastest_m_s=_maybe(table.fastest_mm_s, "mm_s")))


def _stroke_acceleration(stroke: schema.StrokeTable) -> Sourced | None:
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


def _stiffness(table: schema.MachineTable) -> Sourced:
    if table.dial:
        return _narrower(_dial_stiffness(table.dial), priors.STIFFNESS)
    return _stated(table.stiffness_N_mm, "stiffness_N_mm", "N_mm", prior=priors.STIFFNESS)


def _dial_stiffness(dials: Sequence[schema.DialTable]) -> Sourced:
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


def _load_n(dial: schema.DialTable) -> float:
    if dial.load_N is not None:
        return float(dial.load_N)
    return float(dial.load_kg or 0) * STANDARD_GRAVITY_M_S2


def _narrower(reading: Sourced | None, prior: Sourced) -> Sourced:
    """Return the reading, unless it says less than what is taken for granted without it."""
    return prior if reading is None or reading.spread > prior.spread else reading


def _curve(table: schema.CurveTable | None) -> WorkingCurve | None:
    """A bare number is as wide as curves of one resin differ between laboratories, unless the user read it."""
    if table is None:
        return None
    return WorkingCurve(
        depth_m=_own_or_foreign(table.Dp_um, "Dp_um", "um"),
        critical_j_m2=_own_or_foreign(table.Ec_mJ_cm2, "Ec_mJ_cm2", "mJ_cm2"),
    )


def _own_or_foreign(given: schema.Stated, key: str, unit: str) -> Sourced:
    found = _stated(given, key, unit)
    if found.kind is not Kind.READING or given.low is not None or given.sigma is not None:
        return found
    return Sourced.about(found.value, factor=priors.OWN_CURVE_FACTOR[key], source=found.source, kind=found.kind)


def _viscosity(table: schema.ViscosityTable) -> ViscosityReading:
    value = exact_si(table.viscosity_mPa_s, "mPa_s")
    sigma = _maybe(table.sigma_mPa_s, "mPa_s") or value * priors.VISCOSITY_SIGMA
    return ViscosityReading(temperature_k=kelvin(table.temperature_c), viscosity_pa_s=value, sigma_pa_s=sigma)


def _controller(table: schema.ControllerTable) -> Controller:
    rules = {quantity: _rule(rule, rule_unit(quantity)) for quantity, rule in table.rules().items()}
    said = _given(overhead_s=_maybe(table.overhead_s, "s"))
    if table.ramp_covers is not None:
        said["ramp_covers"] = tuple(table.ramp_covers)
    return Controller(rules=rules, **said)


def rule_unit(quantity: str) -> str:
    """Return the bench unit of a controller's quantity; a count has none.

    Examples
    --------
    >>> rule_unit("settle_s"), rule_unit("peel_speed_mm_s"), rule_unit("base.layers")
    ('s', 'mm_s', '')
    """
    if quantity in COUNT_SETTINGS:
        return ""
    return "mm" if quantity == "layer_mm" else setting_unit(f"body.{quantity}")


def _rule(table: schema.RuleTable, unit: str) -> Rule:
    limits = _given(
        minimum=_maybe(table.min, unit),
        maximum=_maybe(table.max, unit),
        step=_maybe(table.step, unit),
        fixed=_maybe(table.fixed, unit),
    )
    return Rule(obeys=Obeys(table.obeys), live=table.live, **limits)


def _phase(values: dict[str, Decimal]) -> Phase:
    attributes = {
        s.attribute: exact_si(values[s.name.partition(".")[2]], s.unit) for s in PHASE_SETTINGS if s.phase == "body"
    }
    return Phase(**attributes)


def _proof(table: schema.ProvenTable | None, files: PartFiles) -> Proof:
    if table is None:
        return Proof(runs=1, room_k=kelvin(decimal_of(priors.PROVEN_ROOM_C)))
    return Proof(
        runs=table.runs,
        failed=table.failed,
        room_k=kelvin(table.room_c),
        parts=part_records(table.part, files),
        load=_load(table.load),
    )


def _load(table: schema.LoadTable | None) -> PlateLoad | None:
    if table is None:
        return None
    return PlateLoad(
        pieces=table.pieces,
        section_m2=exact_si(table.piece_area_mm2, "mm2"),
        height_m=exact_si(table.height_mm, "mm"),
        reach=exact_si(table.spread_percent, "percent"),
    )
