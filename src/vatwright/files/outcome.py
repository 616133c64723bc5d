"""``vatwright.outcome/1``: what happened in a run, as JSON and in words, to a record and back to the last digit."""

# ruff: noqa: N815 - units keep their own capitals

from __future__ import annotations

import json
import math
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import BeforeValidator, Field, TypeAdapter, ValidationError, WrapValidator

from vatwright.errors import InputError, Mistake
from vatwright.files import schema
from vatwright.files.bench_numbers import celsius, decimal_of, exact_bench, exact_si, kelvin, number_text
from vatwright.files.fields import (
    YEARS,
    Text,
    YesNo,
    as_number,
    between,
    choice,
    mistake,
    require_between,
    shown,
    whole,
)
from vatwright.files.mistakes import mistakes_of
from vatwright.quantities import SETTINGS
from vatwright.records.process import COUNT_SETTINGS, SETTING_NAMES, setting_unit
from vatwright.records.run import (
    CONDITIONS,
    Event,
    Prediction,
    Quantity,
    Reading,
    RunOutcome,
    Seen,
    SetByHand,
    reading_unit,
)
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

SCHEMA = "vatwright.outcome/1"
MAX_BYTES = 10_000_000
"""Greatest size of an outcome file; far above any that a person or a trial writes."""

RANGES: dict[str, tuple[str, str]] = {
    "height_mm": ("0.01", "2000"), "run_time_s": ("1", "10000000"), "first_layer_um": ("0.1", "20000"),
    "viscosity_Pa_s": ("0.0001", "100"), "irradiance_mW_cm2": ("0.01", "200"), "cure_depth_um": ("1", "20000"),
    "pull_N": ("0.001", "20000"), "stroke_s": ("0.01", "7200"), "deflection_um": ("0.1", "20000"),
    "resin_C": ("-20", "120"), "wall_um": ("5", "5000"), "gap_um": ("5", "5000"), "pin_um": ("5", "5000"),
    "x_mm": ("-1000", "1000"), "y_mm": ("-1000", "1000"), "dose_mJ_cm2": ("0.01", "100000"), "load_N": ("0.1", "5000"),
    "distance_mm": ("0.01", "1000"), "speed_mm_s": ("0.001", "200"), "temperature_C": ("-20", "120"),
    "layer": ("0", "1000000"), "z_mm": ("0", "2000"),
}  # fmt: skip
"""What a bench has, quantity or condition by its unit; engineering estimates that catch slipped decimal points."""

SIGMAS: dict[str, tuple[str, str]] = {
    "height_mm": ("0", "0.05"),  # a caliper; common practice, no source
    "run_time_s": ("0", "30"),  # a clock read to the minute; common practice, no source
    "first_layer_um": ("0", "15"),  # a micrometer on a soft layer; engineering estimate, no source
    "viscosity_Pa_s": ("0.05", "0"),  # a cup or a falling ball; engineering estimate, no source
    "irradiance_mW_cm2": ("0.03", "0"),  # a meter, its calibration aside; engineering estimate, no source
    "cure_depth_um": ("0.03", "10"),  # a micrometer on a thin square; engineering estimate, no source
    "pull_N": ("0.1", "0"),  # a spring balance on a peak; engineering estimate, no source
    "stroke_s": ("0", "0.2"),  # a time taken by hand; common practice, no source
    "deflection_um": ("0", "10"),  # one division of a common dial; common practice, no source
    "resin_C": ("0", "0.5"),  # a kitchen thermometer; common practice, no source
    "wall_um": ("0.1", "0"),  # a step of the ladder, evenly; engineering estimate, no source
    "gap_um": ("0.1", "0"),  # the same
    "pin_um": ("0.1", "0"),  # the same
}
"""Standard uncertainty of a reading whose own nobody states: a share of it and an amount, added in quadrature."""

_NEEDS = {
    Quantity.CURE_DEPTH: ("dose_mJ_cm2",), Quantity.DEFLECTION: ("load_N",),
    Quantity.STROKE: ("distance_mm", "speed_mm_s"),
    **dict.fromkeys((Quantity.WALL, Quantity.GAP, Quantity.PIN), ("dose_mJ_cm2",)),
}  # fmt: skip
"""What a reading means nothing without; a viscosity that names no temperature was read at the room's."""


def _moment(value: object) -> datetime:
    try:
        at = datetime.fromisoformat(value) if isinstance(value, str) else None
    except ValueError:
        at = None
    if at is None:
        raise mistake(f"is {shown(value)}, a time is wanted", "Write it as 2026-03-01T18:30:00+01:00")
    if at.tzinfo is None or at.utcoffset() is None:
        raise mistake(f"is {shown(value)}, which has no time zone", "Write it as 2026-03-01T18:30:00+01:00")
    if at.year not in YEARS:
        raise mistake(f"is {shown(value)}, a year in which nobody prints", "Check the year")
    return at


def _words(value: object) -> str:
    if not isinstance(value, str) or len(value) > 10_000 or any(ord(c) < 32 and c not in "\n\t" for c in value):
        raise mistake(f"is {shown(value)}, a text is wanted", "Write up to 10,000 characters in double quotes")
    try:
        value.encode()
    except UnicodeEncodeError:
        raise mistake("holds half a character", "Write it again") from None
    return value


Moment = Annotated[datetime, BeforeValidator(_moment)]
Words = Annotated[str, BeforeValidator(_words)]
Layer = Annotated[int, whole(0, 1_000_000)]
Chance = Annotated[Decimal, between("", "0", "1")]


class EventTable(schema.Outside):
    """Something seen."""

    what: Annotated[str, choice(*Seen)] = Field(description='"layer_split"')
    layer: Layer | None = None
    x_mm: schema.Spot | None = None
    y_mm: schema.Spot | None = None


def bench_unit(name: str) -> str:
    """Return the bench unit that a quantity, a condition or a setting is in; a count has none.

    Examples
    --------
    >>> bench_unit("viscosity_Pa_s"), bench_unit("run_time_s"), bench_unit("layer"), bench_unit("body.settle_s")
    ('Pa_s', 's', '', 's')
    """
    if name in SETTING_NAMES:
        unit = setting_unit(name)
        return "" if name in COUNT_SETTINGS else unit
    return reading_unit(name)


def _conditions(value: object, handler: Callable[[object], dict[str, Decimal]]) -> dict[str, Decimal]:
    if not isinstance(value, dict):
        raise mistake(f"is {shown(value)}, a table is wanted", 'Write it as {"x_mm": 10, "y_mm": 5}')
    value = {"temperature_C" if name == "resin_C" else name: number for name, number in value.items()}
    for name, number in value.items():
        if name not in CONDITIONS:
            raise mistake(f"says {name!r}, which is no condition", "Use: " + ", ".join(CONDITIONS))
        require_between(as_number(number, bench_unit(name)), bench_unit(name), *RANGES[name])
    return handler({name: Decimal(number) for name, number in value.items()})


class OutcomeReading(schema.Outside):
    """Something read."""

    quantity: Annotated[str, choice(*Quantity)] = Field(description='"first_layer_um"')
    value: Decimal = Field(description="62")
    sigma: Decimal | None = None
    at: Annotated[dict[str, Decimal], WrapValidator(_conditions)] = Field(default_factory=dict)


def _reading(given: object, handler: Callable[[object], OutcomeReading]) -> OutcomeReading:
    table = dict(given) if isinstance(given, dict) else given
    name = table.get("quantity") if isinstance(table, dict) else None
    unit = bench_unit(name) if isinstance(name, str) and name in RANGES else ""
    if isinstance(table, dict):
        for key in ("value", "sigma"):
            if table.get(key) is not None:
                table[key] = as_number(table[key], unit)
    found = handler(table)
    require_between(found.value, unit, *RANGES[found.quantity])
    if found.sigma is not None and not 0 < found.sigma <= 10 * max(abs(found.value), Decimal(1)):
        raise mistake(f"has the sigma {found.sigma}", "Give its standard uncertainty above 0, in the unit of the value")
    missing = [c for c in _NEEDS.get(Quantity(found.quantity), ()) if c not in found.at]
    if missing:
        raise mistake(
            f"of {found.quantity} does not say {' and '.join(missing)}", "Without it the reading says nothing"
        )
    return found


AnyReading = Annotated[OutcomeReading, WrapValidator(_reading)]


def _taken(given: object) -> object:
    """The readings that somebody took: a sheet keeps an empty place for each that it asks for."""
    if not isinstance(given, list):
        return given
    taken = [r for r in given if not _is_open(r)]
    if given and not taken:
        raise mistake("have no value filled in", "Write at least one value, or take the readings out")
    return taken


def _is_open(reading: object) -> bool:
    return isinstance(reading, dict) and "value" in reading and reading["value"] is None


_SETTING_VALUES: dict[str, TypeAdapter[Any]] = {
    name: TypeAdapter(schema.number_type(key)) for name, key in SETTINGS.items()
}


def _settings(value: object) -> dict[str, Decimal]:
    if not isinstance(value, dict):
        raise mistake(f"is {shown(value)}, a table is wanted", 'Write it as {"body.settle_s": 4.5}')
    found = {}
    for name, given in value.items():
        if name not in SETTING_NAMES:
            raise mistake(f"names {name!r}, which is no setting", "Use: " + ", ".join(SETTING_NAMES))
        try:
            found[name] = Decimal(_SETTING_VALUES[name].validate_python(given))
        except ValidationError as error:
            context = error.errors(include_url=False)[0].get("ctx", {})
            raise mistake(f"{name} {context.get('what', 'is wrong')}", str(context.get("do", "Check it"))) from error
    return found


class PredictionTable(schema.Outside):
    """What had been predicted."""

    chance_low: Chance
    chance: Chance
    chance_high: Chance
    run_time_s: Annotated[Decimal, between("s", "0", "1000000000")]
    first_layer_um: Annotated[Decimal, between("um", "0", "1000000")]
    release: Words = ""


class ByHandTable(schema.Outside):
    """A settle that a hand set while the machine ran, from a layer on."""

    layer: Layer
    settle_s: Annotated[Decimal, between("s", "0", "7200")]


class OutcomeFile(schema.Outside):
    """A whole outcome; `job`, `recipe`, `machine`, `resin` and `room_C` may be left to the job file."""

    schema_: Literal["vatwright.outcome/1"] = Field(alias="schema", description=f'"{SCHEMA}"')
    run: Text | None = None
    at: Moment | None = None
    held: YesNo = Field(description="true")
    settings: Annotated[dict[str, Decimal], BeforeValidator(_settings)] = Field(default_factory=dict)
    hands: list[ByHandTable] = Field(default_factory=list)
    events: list[EventTable] = Field(default_factory=list)
    readings: Annotated[list[AnyReading], BeforeValidator(_taken)] = Field(default_factory=list)
    job: Text | None = None
    recipe: Text | None = None
    machine: Text | None = None
    resin: Text | None = None
    room_C: schema.Room | None = None
    film: Text | None = None
    screen: Text | None = None
    lot: Text | None = None
    photos: list[Words] = Field(default_factory=list)
    note: Words | None = None
    prediction: PredictionTable | None = None


# --------------------------------------------------------------------------------------------------------- reading


def read_outcome_file(path: str | Path) -> dict[str, Any]:
    """Return the raw tables of an outcome file, numbers as decimals; InputError where it is no JSON."""
    path = Path(path)
    try:
        if path.exists() and not path.is_file():
            what = "is a folder" if path.is_dir() else "is no ordinary file"
            raise InputError.one(str(path), what, to_say("Name an outcome file"))
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        what = "there is no such file" if isinstance(error, FileNotFoundError) else f"cannot be read: {error.strerror}"
        raise InputError.one(str(path), what, to_say("Check the name and the folder")) from error
    if len(data) > MAX_BYTES:
        raise InputError.one(
            str(path), to_say("is larger than {value} MB", value=MAX_BYTES // 1000000), to_say("Name an outcome file")
        )
    return raw_outcome(str(path), data.decode("utf-8-sig", errors="replace"))


def raw_outcome(place: str, text: str) -> dict[str, Any]:
    """Return the raw tables of an outcome's text, numbers as decimals."""
    try:
        raw = json.loads(text, parse_float=decimal_of, parse_int=decimal_of, parse_constant=decimal_of)
    except (ValueError, RecursionError) as error:
        raise InputError.one(
            place, to_say("is not valid JSON: {error}", error=error), to_say("Write a {SCHEMA} object", SCHEMA=SCHEMA)
        ) from error
    if not isinstance(raw, dict):
        raise InputError.one(
            place,
            to_say("is {raw}, an object is wanted", raw=shown(raw)),
            to_say("Write a {SCHEMA} object", SCHEMA=SCHEMA),
        )
    return raw


def checked_outcome(place: str, raw: dict[str, Any]) -> OutcomeFile:
    """Return the tables of an outcome; InputError with every mistake."""
    try:
        return OutcomeFile.model_validate(raw)
    except ValidationError as error:
        found = mistakes_of(error, OutcomeFile, raw, place, {})
        raise InputError([m._replace(where=place) for m in found]) from error


def outcome_of_text(place: str, text: str) -> RunOutcome:
    """Return the run of an outcome that says everything itself, as :func:`outcome_text` writes it."""
    file = checked_outcome(place, raw_outcome(place, text))
    wanted = ("run", "at", "job", "recipe", "machine", "resin", "room_C")
    missing = [
        Mistake(place, to_say("the outcome has no {key}", key=key), to_say("Add {key}", key=key))
        for key in wanted
        if getattr(file, key) is None
    ]
    if missing:
        raise InputError(missing)
    return outcome_record(file, {})


def outcome_record(file: OutcomeFile, rest: Mapping[str, Any]) -> RunOutcome:
    """Return a run, with `rest` by attribute of :class:`RunOutcome` for what the tables do not say."""
    said = {
        "run": file.run, "at": file.at, "job": file.job, "recipe": file.recipe, "machine": file.machine,
        "resin": file.resin, "room_k": None if file.room_C is None else kelvin(file.room_C),
        "film": file.film, "screen": file.screen, "lot": file.lot, "note": file.note,
        "photos": tuple(file.photos) or None, "prediction": _prediction(file.prediction),
    }  # fmt: skip
    return RunOutcome(
        held=file.held,
        settings={name: _si(value, bench_unit(name)) for name, value in file.settings.items()},
        hands=tuple(SetByHand(layer=h.layer, settle_s=float(h.settle_s)) for h in file.hands),
        events=tuple(
            Event(what=Seen(e.what), layer=e.layer, x_m=_maybe(e.x_mm, "mm"), y_m=_maybe(e.y_mm, "mm"))
            for e in file.events
        ),
        readings=tuple(_reading_record(r) for r in file.readings),
        **{**rest, **{key: value for key, value in said.items() if value is not None}},
    )


def _si(value: Decimal, unit: str) -> float:
    return kelvin(value) if unit == "C" else exact_si(value, unit)


def _maybe(value: Decimal | None, unit: str) -> float | None:
    return None if value is None else exact_si(value, unit)


def _reading_record(table: OutcomeReading) -> Reading:
    unit = bench_unit(table.quantity)
    if table.sigma is None:
        share, amount = (float(v) for v in SIGMAS[table.quantity])
        sigma = math.hypot(share * float(table.value), amount)
        sigma = sigma if unit == "C" else exact_si(decimal_of(repr(sigma)), unit)
    else:
        sigma = float(table.sigma) if unit == "C" else exact_si(table.sigma, unit)
    at = {name: _si(value, bench_unit(name)) for name, value in table.at.items()}
    return Reading(quantity=Quantity(table.quantity), value=_si(table.value, unit), sigma=sigma, at=at)


def _prediction(table: PredictionTable | None) -> Prediction | None:
    if table is None:
        return None
    return Prediction(
        chance_low=float(table.chance_low), chance=float(table.chance), chance_high=float(table.chance_high),
        run_time_s=float(table.run_time_s), first_layer_m=exact_si(table.first_layer_um, "um"), release=table.release,
    )  # fmt: skip


# --------------------------------------------------------------------------------------------------------- writing


def outcome_text(outcome: RunOutcome) -> str:
    """Return a run as one line of ``vatwright.outcome/1`` that says everything; reading it gives the very same run."""
    table: dict[str, object] = {
        "schema": SCHEMA, "run": outcome.run, "at": outcome.at.isoformat(), "held": outcome.held, "job": outcome.job,
        "recipe": outcome.recipe, "machine": outcome.machine, "resin": outcome.resin,
        "room_C": celsius(outcome.room_k),
        "settings": {name: _bench(value, bench_unit(name)) for name, value in outcome.settings.items()},
        "events": [_event_table(e) for e in outcome.events],
        "readings": [_reading_table(r) for r in outcome.readings],
    }  # fmt: skip
    if outcome.hands:
        table["hands"] = [{"layer": h.layer, "settle_s": exact_bench(h.settle_s, "s")} for h in outcome.hands]
    if outcome.prediction is not None:
        p = outcome.prediction
        table["prediction"] = {
            "chance_low": exact_bench(p.chance_low, ""), "chance": exact_bench(p.chance, ""),
            "chance_high": exact_bench(p.chance_high, ""), "run_time_s": exact_bench(p.run_time_s, ""),
            "first_layer_um": exact_bench(p.first_layer_m, "um"), "release": p.release,
        }  # fmt: skip
    rest = {key: getattr(outcome, key) for key in ("film", "screen", "lot", "photos", "note")}
    return exact_json(table | {key: value for key, value in rest.items() if value})


def _bench(value: float, unit: str) -> Decimal:
    return celsius(value) if unit == "C" else exact_bench(value, unit)


def _event_table(event: Event) -> dict[str, object]:
    table: dict[str, object] = {"what": str(event.what), "layer": event.layer}
    table |= {key: None if v is None else exact_bench(v, "mm") for key, v in (("x_mm", event.x_m), ("y_mm", event.y_m))}
    return {key: value for key, value in table.items() if value is not None}


def _reading_table(reading: Reading) -> dict[str, object]:
    unit = bench_unit(reading.quantity)
    return {
        "quantity": str(reading.quantity),
        "value": _bench(reading.value, unit),
        "sigma": exact_bench(reading.sigma, "" if unit == "C" else unit),
        "at": {name: _bench(value, bench_unit(name)) for name, value in reading.at.items()},
    }


def exact_json(value: object) -> str:
    """Return JSON on one line with decimals to their last digit, which the standard writer cannot do.

    Examples
    --------
    >>> exact_json({"a": Decimal("0.1000000000000000055"), "b": [True, None, "x"]})
    '{"a": 0.1000000000000000055, "b": [true, null, "x"]}'
    """
    if isinstance(value, dict):
        return "{" + ", ".join(f"{json.dumps(k, ensure_ascii=False)}: {exact_json(v)}" for k, v in value.items()) + "}"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(map(exact_json, value)) + "]"
    if isinstance(value, Decimal):
        return number_text(value)
    return json.dumps(value, ensure_ascii=False, allow_nan=False)
