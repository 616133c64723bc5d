"""What the Shop page says of an entry: each value with its unit, how sure it is, and where it is from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from vatwright.answers.numbers import (
    between,
    celsius,
    quantity,
    setting_value,
    typed,
    unit_label,
)
from vatwright.quantities import TABLES
from vatwright.records.notebook import TablePage
from vatwright.records.process import PHASE_SETTINGS
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station
from vatwright.units import from_si
from vatwright.wording import say_many

if TYPE_CHECKING:
    from datetime import date

    from vatwright.records.job import Shop
    from vatwright.records.machine import Machine
    from vatwright.records.material import Label, Resin
    from vatwright.records.process import Recipe

SAID = str(Kind.STATEMENT)
UNASKED = "nobody said what it obeys: time one layer with a stopwatch"
COUNTED = "counted from the runs noted, and what you said"
HOUR_S = 3600.0
QUANTITIES = {s.name.partition(".")[2]: s.label for s in PHASE_SETTINGS}


class Value(NamedTuple):
    """One value: what it is, the value with its unit, how sure that is, where it is from."""

    label: str
    value: str
    sure: str
    origin: str


def values_of(entry: Any, shop: Shop) -> list[Value]:
    """Return the values of an entry; machines, resins and recipes are looked up among the records of the shop."""
    if isinstance(entry, TablePage):
        listed = {"machine": shop.machines, "resin": shop.resins, "recipe": shop.recipes}[entry.kind]
        record: Any = next(r for r in listed if r.name == entry.name)  # type: ignore[attr-defined]
        words = {"machine": _machine, "resin": _resin, "recipe": _recipe}[entry.kind]
        return list(words(record))  # type: ignore[operator]
    return list(_STOCK[type(entry)](entry))


def in_short(entry: Any, shop: Shop) -> str:
    """Return an entry in a line of a list."""
    values = {v.label: v.value for v in values_of(entry, shop)}
    wanted = _SHORT[entry.kind if isinstance(entry, TablePage) else type(entry)]
    return ", ".join(_with_label(label, values[label]) for label in wanted if values.get(label))


def _with_label(label: str, value: str) -> str:
    return f"{label.lower()} {value}" if label in ("Platform", "Fitted", "Opened", "Removed", "Light") else value


def _machine(m: Machine) -> Iterator[Value]:
    guessed = {s.partition(":")[0]: s.partition(": ")[2] for s in m.assumed}

    def size(*keys: str) -> tuple[str, str]:
        found = next((guessed[k] for k in keys if k in guessed), None)
        return ("assumed", found) if found else ("as it stands", SAID)

    yield Value("Platform", _sides(m.platform.width_m, m.platform.depth_m), "as it stands", SAID)
    yield Value("Build height", _mm(m.height_m), "as it stands", SAID)
    yield Value("Window", _sides(m.window.width_m, m.window.depth_m), *size("window"))
    vat = f"{_sides(m.vat.width_m, m.vat.depth_m)}, {_mm(m.vat.full_m)} deep"
    yield Value("Vat", vat, *size("vat"))
    film = f"{quantity(m.film.thickness_m, 'um')} thick, {from_si(m.film.modulus_pa, 'MPa'):.0f} MPa stiff, on {m.film.backing}"
    yield Value("Film", film, *size("film.thickness_um", "film.material", "film.backing"))
    yield _sourced("Tension of the film", m.film.tension_n_m, "N_m")
    light = _sourced("Light", m.light.irradiance_w_m2, "mW_cm2")
    yield light._replace(origin=f"{light.origin}, read with {m.light.meter}") if m.light.meter else light
    spots = f"{m.light.dimmest * 100:.0f} to {m.light.brightest * 100:.0f} % of the mean"
    yield Value("Dimmest and brightest spot", spots, "as it stands", str(m.light.evenness))
    yield _sourced("Stiffness of arm and rail", m.stiffness_n_m, "N_mm")
    yield _sourced("Greatest force of the drive", m.ceiling_n, "N")
    yield _sourced("Acceleration", m.motion.acceleration_m_s2, "mm_s2")
    if m.level:
        sure = f"± {quantity(m.level_sigma_m, 'um', 2)} each"
        yield Value("Level", say_many(len(m.level), "{n} reading", "{n} readings"), sure, str(Kind.READING))
    rules = [f"{QUANTITIES.get(name, name)}: {_rule(rule)}" for name, rule in m.controller.rules.items()]
    told = Value("Its controller", "; ".join(rules), "as it stands", SAID)
    yield told if rules else Value("Its controller", "taken to obey every setting", "not known", UNASKED)


def _rule(rule: Any) -> str:
    words = {"yes": "obeys", "shared": "one value for base and body", "no": "ignores it"}
    return words[rule.obeys] + (", can be changed while it runs" if rule.live else "")


def _resin(r: Resin) -> Iterator[Value]:
    for reading in r.viscosity:
        value = f"{quantity(reading.viscosity_pa_s, 'mPa_s')} at {celsius(reading.temperature_k)}"
        sure = f"± {quantity(reading.sigma_pa_s, 'mPa_s', 2)}"
        yield Value("Viscosity", value, sure, SAID)
    if r.label is not None:
        yield from _label(r.label)
    if not r.viscosity and (r.label is None or r.label.viscosity_pa_s is None):
        yield _unread_viscosity()
    if r.curve:
        yield _sourced("Depth of cure D_p", r.curve.depth_m, "um")
        yield _sourced("Critical dose E_c", r.curve.critical_j_m2, "mJ_cm2")
    if r.cure_readings:
        told = "worked out from them when a sheet is"
        yield Value(
            "Cured squares", say_many(len(r.cure_readings), "{n} reading", "{n} readings"), told, str(Kind.READING)
        )
    if not r.curve and not r.cure_readings:
        yield Value("How it cures", "not read", "wide", "leans on the recipe that held")
    yield Value("Density", quantity(r.density_kg_m3, "g_cm3"), "as it stands", f"{SAID}, or 1.1 g/cm3 by our estimate")
    if r.price_per_kg is not None:
        yield Value("Price", f"{typed(r.price_per_kg)} a kg", "as it stands", SAID)


def _label(label: Label) -> Iterator[Value]:
    told = "weak evidence, until somebody reads it"
    if label.viscosity_pa_s is not None:
        said = f"{quantity(label.viscosity_pa_s, 'mPa_s')} at {celsius(label.temperature_k)}"
        yield Value("Viscosity on the label", said, told, SAID)
    for key in TABLES["resin.label"]:
        value = getattr(label, key.attribute)
        if value is not None and key.unit in {"s", "mW_cm2"}:
            yield Value(key.label, quantity(value, key.unit), told, SAID)
    if label.layer_nm is not None:
        yield Value("Layer its exposures are for", quantity(label.layer_nm * 1e-9, "mm"), told, SAID)


def _unread_viscosity() -> Value:
    # The planner brings compiled kernels with it: a bench opens without.
    from vatwright.planning.demand.resin_flow import REFERENCE_K, UNREAD_PA_S

    found = _sourced("Viscosity", UNREAD_PA_S, "mPa_s")
    return found._replace(value=f"{found.value} at {celsius(REFERENCE_K)}")


def _recipe(r: Recipe) -> Iterator[Value]:
    yield Value("For", f"{r.resin} on {r.machine}", "", SAID)
    yield Value("Layer", setting_value("layer_mm", r.settings.value("layer_mm")), "exact", SAID)
    yield Value("Base layers", str(r.settings.base_layers), "exact", SAID)
    yield Value("Ramp layers", str(r.settings.ramp_layers), "exact", SAID)
    for setting in PHASE_SETTINGS:
        label = f"{setting.phase.capitalize()} {setting.label}"
        yield Value(label, setting_value(setting.name, r.settings.value(setting.name)), "exact", SAID)
    proof = r.proof
    if proof.runs:
        held = f"{proof.runs - proof.failed} of {proof.runs} held, at {celsius(proof.room_k)}"
        yield Value("Proven", held, _proof_sure(r), SAID)


def _proof_sure(r: Recipe) -> str:
    if r.proof.parts:
        return f"on {say_many(sum(p.count for p in r.proof.parts), '{n} piece', '{n} pieces')}, their files known"
    return (
        f"on {say_many(r.proof.load.pieces, '{n} piece', '{n} pieces')} by tape measure"
        if r.proof.load
        else "on a load nobody wrote down"
    )


def _film(f: FittedFilm) -> Iterator[Value]:
    yield Value("On", f.machine, "", SAID)
    yield Value("Material", f.material, "as on its label", SAID)
    yield from _days(f.fitted, f.removed)
    yield Value("Layers", f"{f.layers:,} layers", "counted", COUNTED)
    yield Value("Hours", f"{f.used_s / HOUR_S:,.0f} h", "counted", COUNTED)


def _screen(s: Screen) -> Iterator[Value]:
    yield Value("In", s.machine, "", SAID)
    yield from _days(s.fitted, s.removed)
    yield Value("Hours", f"{s.used_s / HOUR_S:,.0f} h", "counted", COUNTED)


def _days(fitted: date | None, removed: date | None) -> Iterator[Value]:
    yield Value("Fitted", f"{fitted:%d %b %Y}" if fitted else "", "day", SAID)
    yield Value("Removed", f"{removed:%d %b %Y}" if removed else "", "day", SAID)


def _lot(lot: Lot) -> Iterator[Value]:
    yield Value("Resin", lot.resin, "", SAID)
    yield Value(
        "Left", f"{from_si(lot.left_m3, 'ml'):,.0f} ml left", "about", "what you said, less what noted runs took"
    )
    yield Value("Opened", f"{lot.opened:%d %b %Y}" if lot.opened else "", "day", SAID)
    yield Value("Good until", f"{lot.expires:%d %b %Y}" if lot.expires else "", "day", SAID)


def _station(s: Station) -> Iterator[Value]:
    yield Value("Does", str(s.kind), "", SAID)
    inside = " x ".join(typed(from_si(v, "mm")) for v in (s.width_m, s.depth_m, s.height_m))
    yield Value("Inside", f"{inside} mm", "as it stands", SAID)
    if s.bath_m3 is not None:
        solvent = f" of {s.solvent}" if s.solvent else ""
        yield Value("Bath", f"{from_si(s.bath_m3, 'ml') / 1000.0:.1f} l{solvent}", "as it stands", SAID)
    if s.irradiance_w_m2 is not None:
        yield Value("Light at the piece", quantity(s.irradiance_w_m2, "mW_cm2"), "as it stands", SAID)


def _price(p: Price) -> Iterator[Value]:
    yield Value("Costs", f"{typed(p.amount)} for one {p.per}", "as it stands", SAID)


_STOCK: dict[type, Any] = {FittedFilm: _film, Screen: _screen, Lot: _lot, Station: _station, Price: _price}

_SHORT: dict[Any, tuple[str, ...]] = {
    "machine": ("Platform", "Light"), "resin": ("Viscosity",), "recipe": ("For", "Proven"),
    FittedFilm: ("On", "Layers", "Hours", "Fitted", "Removed"), Screen: ("In", "Hours", "Fitted", "Removed"),
    Lot: ("Resin", "Left", "Opened", "Good until"), Station: ("Does", "Inside", "Bath"), Price: ("Costs",),
}  # fmt: skip
"""What of an entry is worth a line of a list."""


def _sides(width_m: float, depth_m: float) -> str:
    return f"{typed(from_si(width_m, 'mm'))} x {_mm(depth_m)}"


def _mm(length_m: float) -> str:
    return f"{typed(from_si(length_m, 'mm'))} mm"


def _sourced(label: str, value: Sourced, unit: str) -> Value:
    low, high = from_si(value.low, unit), from_si(value.high, unit)
    digits = 2 if value.high > 1.3 * value.low else 3
    return Value(
        label, quantity(value.value, unit, digits), f"{between(low, high)} {unit_label(unit)}", str(value.kind)
    )
