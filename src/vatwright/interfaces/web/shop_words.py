"""What the Shop page says of an entry: each value with its unit, how sure it is, and where it is from."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any, NamedTuple

from vatwright.answers.names import capital, setting_called
from vatwright.answers.numbers import between, celsius, fixed, quantity, setting_value, typed, unit_label
from vatwright.interfaces.web.shop_fields import option_words
from vatwright.quantities import TABLES
from vatwright.records.notebook import TablePage
from vatwright.records.process import PHASE_SETTINGS
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.stock import FittedFilm, Lot, Price, Screen, Station
from vatwright.units import from_si
from vatwright.wording import long_day, say, say_many, to_say

if TYPE_CHECKING:
    from datetime import date

    from vatwright.records.job import Shop
    from vatwright.records.machine import Machine
    from vatwright.records.material import Label, Resin
    from vatwright.records.process import Recipe

SAID = to_say(str(Kind.STATEMENT))
UNASKED = to_say("nobody said what it obeys: time one layer with a stopwatch")
COUNTED = to_say("counted from the runs noted, and what you said")
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


_LABELLED = {
    "Platform": to_say("platform {value}"),
    "Fitted": to_say("fitted {value}"),
    "Opened": to_say("opened {value}"),
    "Removed": to_say("removed {value}"),
    "Light": to_say("light {value}"),
}


def _with_label(label: str, value: str) -> str:
    return say(_LABELLED[label], value=value) if label in _LABELLED else value


def _machine(m: Machine) -> Iterator[Value]:
    guessed = {s.partition(":")[0]: s.partition(": ")[2] for s in m.assumed}

    def size(*keys: str) -> tuple[str, str]:
        found = next((guessed[k] for k in keys if k in guessed), None)
        return (say("assumed"), found) if found else (say("as it stands"), SAID)

    yield Value(to_say("Platform"), _sides(m.platform.width_m, m.platform.depth_m), say("as it stands"), SAID)
    yield Value(to_say("Build height"), _mm(m.height_m), say("as it stands"), SAID)
    yield Value(to_say("Window"), _sides(m.window.width_m, m.window.depth_m), *size("window"))
    vat = say("{sides}, {depth} deep", sides=_sides(m.vat.width_m, m.vat.depth_m), depth=_mm(m.vat.full_m))
    yield Value(to_say("Vat"), vat, *size("vat"))
    film = say(
        "{thickness} thick, {stiffness:.0f} MPa stiff, on {backing}",
        thickness=quantity(m.film.thickness_m, "um"),
        stiffness=from_si(m.film.modulus_pa, "MPa"),
        backing=option_words(str(m.film.backing)),
    )
    yield Value(to_say("Film"), film, *size("film.thickness_um", "film.material", "film.backing"))
    yield _sourced(to_say("Tension of the film"), m.film.tension_n_m, "N_m")
    light = _sourced(to_say("Light"), m.light.irradiance_w_m2, "mW_cm2")
    yield (
        light._replace(origin=say("{origin}, read with {meter}", origin=light.origin, meter=m.light.meter))
        if m.light.meter
        else light
    )
    spots = say(
        "{dimmest:.0f} to {brightest:.0f} % of the mean",
        dimmest=m.light.dimmest * 100,
        brightest=m.light.brightest * 100,
    )
    yield Value(to_say("Dimmest and brightest spot"), spots, say("as it stands"), str(m.light.evenness))
    yield _sourced(to_say("Stiffness of arm and rail"), m.stiffness_n_m, "N_mm")
    yield _sourced(to_say("Greatest force of the drive"), m.ceiling_n, "N")
    yield _sourced(to_say("Acceleration"), m.motion.acceleration_m_s2, "mm_s2")
    if m.level:
        sure = say("± {spread} each", spread=quantity(m.level_sigma_m, "um", 2))
        yield Value(
            to_say("Level"), say_many(len(m.level), "{n} reading", "{n} readings"), sure, to_say(str(Kind.READING))
        )
    rules = [f"{say(QUANTITIES.get(name, name))}: {_rule(rule)}" for name, rule in m.controller.rules.items()]
    told = Value(to_say("Its controller"), "; ".join(rules), say("as it stands"), SAID)
    yield (
        told
        if rules
        else Value(to_say("Its controller"), say("taken to obey every setting"), say("not known"), UNASKED)
    )


def _rule(rule: Any) -> str:
    words = {"yes": say("obeys"), "shared": say("one value for base and body"), "no": say("ignores it")}
    return words[rule.obeys] + (say(", can be changed while it runs") if rule.live else "")


def _resin(r: Resin) -> Iterator[Value]:
    for reading in r.viscosity:
        value = say(
            "{viscosity} at {temperature}",
            viscosity=quantity(reading.viscosity_pa_s, "mPa_s"),
            temperature=celsius(reading.temperature_k),
        )
        sure = f"± {quantity(reading.sigma_pa_s, 'mPa_s', 2)}"
        yield Value(to_say("Viscosity"), value, sure, SAID)
    if r.label is not None:
        yield from _label(r.label)
    if not r.viscosity and (r.label is None or r.label.viscosity_pa_s is None):
        yield _unread_viscosity()
    if r.curve:
        yield _sourced(to_say("Depth of cure D_p"), r.curve.depth_m, "um")
        yield _sourced(to_say("Critical dose E_c"), r.curve.critical_j_m2, "mJ_cm2")
    if r.cure_readings:
        told = say("worked out from them when a sheet is")
        yield Value(
            to_say("Cured squares"),
            say_many(len(r.cure_readings), "{n} reading", "{n} readings"),
            told,
            to_say(str(Kind.READING)),
        )
    if not r.curve and not r.cure_readings:
        yield Value(to_say("How it cures"), say("not read"), say("wide"), say("leans on the recipe that held"))
    yield Value(
        to_say("Density"),
        quantity(r.density_kg_m3, "g_cm3"),
        say("as it stands"),
        say("{said}, or 1.1 g/cm3 by our estimate", said=SAID),
    )
    if r.price_per_kg is not None:
        yield Value(to_say("Price"), say("{price} a kg", price=typed(r.price_per_kg)), say("as it stands"), SAID)


def _label(label: Label) -> Iterator[Value]:
    told = say("weak evidence, until somebody reads it")
    if label.viscosity_pa_s is not None:
        said = say(
            "{viscosity} at {temperature}",
            viscosity=quantity(label.viscosity_pa_s, "mPa_s"),
            temperature=celsius(label.temperature_k),
        )
        yield Value(to_say("Viscosity on the label"), said, told, SAID)
    for key in TABLES["resin.label"]:
        value = getattr(label, key.attribute)
        if value is not None and key.unit in {"s", "mW_cm2"}:
            yield Value(key.label, quantity(value, key.unit), told, SAID)
    if label.layer_nm is not None:
        yield Value(to_say("Layer its exposures are for"), quantity(label.layer_nm * 1e-9, "mm"), told, SAID)


def _unread_viscosity() -> Value:
    # The planner brings compiled kernels with it: a bench opens without.
    from vatwright.planning.demand.resin_flow import REFERENCE_K, UNREAD_PA_S

    found = _sourced(to_say("Viscosity"), UNREAD_PA_S, "mPa_s")
    return found._replace(value=say("{value} at {temperature}", value=found.value, temperature=celsius(REFERENCE_K)))


def _recipe(r: Recipe) -> Iterator[Value]:
    yield Value(to_say("For"), say("{resin} on {machine}", resin=r.resin, machine=r.machine), "", SAID)
    yield Value(to_say("Layer"), setting_value("layer_mm", r.settings.value("layer_mm")), say("exact"), SAID)
    yield Value(to_say("Base layers"), str(r.settings.base_layers), say("exact"), SAID)
    yield Value(to_say("Ramp layers"), str(r.settings.ramp_layers), say("exact"), SAID)
    for setting in PHASE_SETTINGS:
        label = capital(setting_called(setting.name))
        yield Value(label, setting_value(setting.name, r.settings.value(setting.name)), say("exact"), SAID)
    proof = r.proof
    if proof.runs:
        held = say(
            "{held} of {runs} held, at {room}",
            held=proof.runs - proof.failed,
            runs=proof.runs,
            room=celsius(proof.room_k),
        )
        yield Value(to_say("Proven"), held, _proof_sure(r), SAID)


def _proof_sure(r: Recipe) -> str:
    if r.proof.parts:
        return say(
            "on {pieces}, their files known",
            pieces=say_many(sum(p.count for p in r.proof.parts), "{n} piece", "{n} pieces"),
        )
    return (
        say("on {pieces} by tape measure", pieces=say_many(r.proof.load.pieces, "{n} piece", "{n} pieces"))
        if r.proof.load
        else say("on a load nobody wrote down")
    )


def _film(f: FittedFilm) -> Iterator[Value]:
    yield Value(to_say("On"), f.machine, "", SAID)
    yield Value(to_say("Material"), f.material, say("as on its label"), SAID)
    yield from _days(f.fitted, f.removed)
    yield Value(to_say("Layers"), say("{layers:,} layers", layers=f.layers), say("counted"), COUNTED)
    yield Value(to_say("Hours"), f"{fixed(f.used_s / HOUR_S, 0)} h", say("counted"), COUNTED)


def _screen(s: Screen) -> Iterator[Value]:
    yield Value(to_say("In"), s.machine, "", SAID)
    yield from _days(s.fitted, s.removed)
    yield Value(to_say("Hours"), f"{fixed(s.used_s / HOUR_S, 0)} h", say("counted"), COUNTED)


def _days(fitted: date | None, removed: date | None) -> Iterator[Value]:
    yield Value(to_say("Fitted"), long_day(fitted) if fitted else "", say("day"), SAID)
    yield Value(to_say("Removed"), long_day(removed) if removed else "", say("day"), SAID)


def _lot(lot: Lot) -> Iterator[Value]:
    yield Value(to_say("Resin"), lot.resin, "", SAID)
    yield Value(
        to_say("Left"),
        say("{left:,.0f} ml left", left=from_si(lot.left_m3, "ml")),
        say("about"),
        say("what you said, less what noted runs took"),
    )
    yield Value(to_say("Opened"), long_day(lot.opened) if lot.opened else "", say("day"), SAID)
    yield Value(to_say("Good until"), long_day(lot.expires) if lot.expires else "", say("day"), SAID)


def _station(s: Station) -> Iterator[Value]:
    yield Value(to_say("Does"), option_words(str(s.kind)), "", SAID)
    inside = " x ".join(typed(from_si(v, "mm")) for v in (s.width_m, s.depth_m, s.height_m))
    yield Value(to_say("Inside"), f"{inside} mm", say("as it stands"), SAID)
    if s.bath_m3 is not None:
        solvent = say(" of {solvent}", solvent=s.solvent) if s.solvent else ""
        yield Value(
            to_say("Bath"), f"{fixed(from_si(s.bath_m3, 'ml') / 1000.0, 1)} l{solvent}", say("as it stands"), SAID
        )
    if s.irradiance_w_m2 is not None:
        yield Value(to_say("Light at the piece"), quantity(s.irradiance_w_m2, "mW_cm2"), say("as it stands"), SAID)


def _price(p: Price) -> Iterator[Value]:
    yield Value(
        to_say("Costs"),
        say("{amount} for one {per}", amount=typed(p.amount), per=_PER.get(p.per, p.per)),
        say("as it stands"),
        SAID,
    )


_STOCK: dict[type, Any] = {FittedFilm: _film, Screen: _screen, Lot: _lot, Station: _station, Price: _price}

_SHORT: dict[Any, tuple[str, ...]] = {
    "machine": ("Platform", "Light"), "resin": ("Viscosity",), "recipe": ("For", "Proven"),
    FittedFilm: ("On", "Layers", "Hours", "Fitted", "Removed"), Screen: ("In", "Hours", "Fitted", "Removed"),
    Lot: ("Resin", "Left", "Opened", "Good until"), Station: ("Does", "Inside", "Bath"), Price: ("Costs",),
}  # fmt: skip
"""What of an entry is worth a line of a list."""


_PER = {"piece": to_say("piece"), "m2 month": to_say("m2 month")}
"""What a price is for, where a reader of another language would not know it; units are the same in all."""


def _sides(width_m: float, depth_m: float) -> str:
    return f"{typed(from_si(width_m, 'mm'))} x {_mm(depth_m)}"


def _mm(length_m: float) -> str:
    return f"{typed(from_si(length_m, 'mm'))} mm"


def _sourced(label: str, value: Sourced, unit: str) -> Value:
    low, high = from_si(value.low, unit), from_si(value.high, unit)
    digits = 2 if value.high > 1.3 * value.low else 3
    return Value(
        label, quantity(value.value, unit, digits), f"{between(low, high)} {unit_label(unit)}", to_say(str(value.kind))
    )
