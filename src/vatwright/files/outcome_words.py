"""What happened in a run, in words on a command line: ``held``, ``layer_split@412``, ``first_layer_um=62``.

=========================  =============================================================================================
``held``, ``failed``        whether it came out as meant; ``failed`` is understood from what was seen
``SEEN[@WHERE]...``         something seen; WHERE is a layer counted from 0 (``412``), a height (``20.6mm``), a place from
                            the platform's middle in mm (``-120,70``), or a corner (``rear-left``)
``QUANTITY=VALUE[@UNDER]``  something read, in the unit its name ends in, or in another one written behind the value;
                            ``0.31+-0.02`` says its standard uncertainty; UNDER is a place, a temperature (``18C``), a
                            dose (``20mJ/cm2``), a load (``5kg``, ``49N``), a distance (``60mm``), a speed (``10mm/s``),
                            or any condition by its name (``z_mm=20``)
``SETTING=VALUE``           what was set, where it was not as advised (``body.settle_s=4.5``)
=========================  =============================================================================================
"""

from __future__ import annotations

import re
from decimal import Decimal
from typing import TYPE_CHECKING, Any, NamedTuple

from pydantic import TypeAdapter, ValidationError

from vatwright.errors import InputError, Mistake
from vatwright.files.bench_numbers import decimal_of, exact_bench
from vatwright.files.fields import nearest
from vatwright.files.outcome import (
    SCHEMA,
    AnyReading,
    EventTable,
    OutcomeFile,
    bench_unit,
    checked_outcome,
    outcome_record,
    read_outcome_file,
)
from vatwright.files.to_records import STANDARD_GRAVITY_M_S2
from vatwright.records.process import SETTING_NAMES
from vatwright.records.run import CONDITIONS, Quantity, Seen
from vatwright.units import read_number, typed_parts
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterator, Mapping, Sequence
    from datetime import datetime

    from vatwright.records.job import Job
    from vatwright.records.run import RunOutcome

FAILURES = frozenset({Seen.BASE_LET_GO, Seen.NOT_RELEASED, Seen.LAYER_SPLIT, Seen.STUCK_TO_FILM, Seen.TORN})
"""Seen after these, nobody would say that a print came out as meant; bands and lines it may have."""

CORNERS = {"front-left": (-1, -1), "front-right": (1, -1), "rear-left": (-1, 1), "rear-right": (1, 1), "middle": (0, 0)}
"""Places by name, as the person in front of the machine sees them."""

_NUMBER = r"[-+]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
_PLACE = re.compile(rf"({_NUMBER}),({_NUMBER})$")
_WITH_UNIT = re.compile(rf"({_NUMBER})\s*([A-Za-zµμ°²].*)$")
_SIGMA = re.compile(r"(?<=.)(?:\+-|\+/-|±)")
_UNDER = {
    "C": "temperature_C", "°C": "temperature_C", "N": "load_N", "mJ/cm2": "dose_mJ_cm2", "mJ_cm2": "dose_mJ_cm2",
    "mm/s": "speed_mm_s", "mm_s": "speed_mm_s",
}  # fmt: skip


class PlateWords(NamedTuple):
    """What words may lean on: the layer thickness [nm] and the platform's size [m]."""

    layer_nm: int
    width_m: float
    depth_m: float


def outcome_of_words(words: Sequence[str], plate: PlateWords) -> dict[str, Any]:
    """Return what words say, as the raw tables of an outcome file.

    Parameters
    ----------
    words : sequence of str
        One thing each.
    plate : Plate
        Of the machine it ran on.

    Raises
    ------
    InputError
        With every mistake in every word.

    Examples
    --------
    >>> said = outcome_of_words(["layer_split@412", "first_layer_um=62"], PlateWords(50_000, 0.2, 0.1))
    >>> said["held"], said["events"]
    (False, [{'what': 'layer_split', 'layer': Decimal('412')}])
    """
    raw: dict[str, Any] = {"events": [], "readings": [], "settings": {}}
    mistakes: list[Mistake] = []
    for word in words:
        try:
            _take(word.strip(), raw, plate)
        except InputError as error:
            mistakes += error.mistakes
        except ValidationError as error:
            for found in error.errors(include_url=False):
                context = found.get("ctx", {})
                mistakes.append(Mistake(word, context.get("what", found["msg"]), context.get("do", "Check the word")))
    failed = [e["what"] for e in raw["events"] if e["what"] in FAILURES]
    if failed and raw.get("held"):
        mistakes.append(
            Mistake("held", to_say("stands beside {failed}", failed=failed[0]), to_say("Leave one of them out"))
        )
    if failed:
        raw["held"] = False
    if mistakes:
        raise InputError(mistakes)
    return raw


class Said(NamedTuple):
    """What was handed in about a run: words, options by key of an outcome file, and such a file."""

    words: Sequence[str]
    options: Mapping[str, Any]
    file: str | None = None


def outcome_of_job(job: Job, said: Said, *, now: datetime) -> RunOutcome:
    """Return what happened in a run of a job.

    Parameters
    ----------
    job : Job
        Says what the outcome does not.
    said : Said
        What was handed in; words and options stand before what the file says, and add to its lists.
    now : datetime
        When it happened, where nobody says.

    Raises
    ------
    InputError
        With every mistake of words, options and file.
    """
    platform = job.target.platform
    plate = PlateWords(job.recipe.settings.layer_nm, platform.width_m, platform.depth_m)
    mistakes: list[Mistake] = []
    spoken: dict[str, Any] = {}
    raw: dict[str, Any] = {"schema": SCHEMA}
    try:
        spoken = outcome_of_words(said.words, plate)
    except InputError as error:
        mistakes += error.mistakes
        spoken = {"held": False}
    if said.file is not None:
        try:
            raw = read_outcome_file(said.file)
        except InputError as error:
            mistakes += error.mistakes
    raw = _added(raw, spoken | {key: value for key, value in said.options.items() if value})
    if "held" not in raw:
        mistakes.append(
            Mistake("outcome", to_say("nothing says whether the print came out"), to_say("Add the word held or failed"))
        )
        raw["held"] = False
    try:
        file = checked_outcome(said.file or "outcome", raw)
    except InputError as error:
        raise InputError([*mistakes, *error.mistakes]) from error
    mistakes += _other_job(file, job, said.file or "outcome")
    if mistakes:
        raise InputError(mistakes)
    at = file.at or now
    rest = {
        "run": f"{job.name} on {job.target.name}, {at:%Y-%m-%d %H:%M:%S}", "at": at, "job": job.name,
        "recipe": job.recipe.name, "machine": job.target.name, "resin": job.resin.name, "room_k": job.room_k,
    }  # fmt: skip
    return outcome_record(file, rest)


def _added(raw: dict[str, Any], said: Mapping[str, Any]) -> dict[str, Any]:
    """Return an outcome file's tables with what was said beside it: it adds to lists and tables, and replaces values."""
    found = dict(raw)
    for key, value in said.items():
        given = raw.get(key)
        if isinstance(given, list) and isinstance(value, list):
            found[key] = [*given, *value]
        elif isinstance(given, dict) and isinstance(value, dict):
            found[key] = {**given, **value}
        elif value or value is False:
            found[key] = value
    return found


def _other_job(file: OutcomeFile, job: Job, place: str) -> Iterator[Mistake]:
    """What an outcome says about its job that the job does not."""
    for key, name in (
        ("job", job.name), ("recipe", job.recipe.name), ("machine", job.target.name), ("resin", job.resin.name)
    ):  # fmt: skip
        if (said := getattr(file, key)) is not None and said != name:
            do = "Note it with its own job file" + (", or name the machine: --to" if key == "machine" else "")
            yield Mistake(
                place, to_say('{key} is "{said}", that of the job file is "{name}"', key=key, said=said, name=name), do
            )


def _take(word: str, raw: dict[str, Any], plate: PlateWords) -> None:
    head, *places = word.split("@")
    name, equals, value = head.partition("=")
    if word in ("held", "failed"):
        if raw.setdefault("held", word == "held") != (word == "held"):
            raise InputError.one(word, to_say("stands beside its opposite"), to_say("Leave one of them out"))
    elif not equals and name in set(Seen):
        raw["events"].append(_event(word, name, places, plate))
    elif equals and name in set(Quantity):
        raw["readings"].append(_reading(word, name, value, places))
    elif equals and name in SETTING_NAMES:
        if places:
            raise InputError.one(
                word, to_say("says where, but a setting holds everywhere"), to_say("Leave out what follows the @")
            )
        raw["settings"][name] = _decimal(value, bench_unit(name), word)
        checked_outcome(word, {"schema": SCHEMA, "held": True, "settings": {name: raw["settings"][name]}})
    else:
        raise _unknown(word, name, equals)


def _unknown(word: str, name: str, equals: str) -> InputError:
    known = [*Quantity, *SETTING_NAMES] if equals else ["held", "failed", *Seen]
    if not equals and name in {*Quantity, *SETTING_NAMES}:
        return InputError.one(word, to_say("says no value"), to_say("Write {name}=VALUE", name=name))
    like = nearest(name, known)
    do = f"Perhaps {like} is meant" if like else "Use one of: " + ", ".join(known)
    return InputError.one(word, to_say("nothing that can be seen, read or set is called so"), do)


def _event(word: str, name: str, places: Sequence[str], plate: PlateWords) -> dict[str, Any]:
    event: dict[str, Any] = {"what": name}
    for place in places:
        found = _where(word, place, plate)
        if found.keys() & event.keys():
            raise InputError.one(word, to_say("says where twice"), to_say("Say one layer and one place"))
        event |= found
    TypeAdapter(EventTable).validate_python(event)
    _require_on_platform(word, event, plate)
    return event


def _where(word: str, place: str, plate: PlateWords) -> dict[str, Any]:
    if place in CORNERS:
        x, y = CORNERS[place]
        return {"x_mm": x * exact_bench(plate.width_m, "mm") / 2, "y_mm": y * exact_bench(plate.depth_m, "mm") / 2}
    if match := _PLACE.match(place):
        return {"x_mm": decimal_of(match[1]), "y_mm": decimal_of(match[2])}
    if place.isdecimal():
        return {"layer": Decimal(place)}
    if match := _WITH_UNIT.match(place):
        height_mm = _decimal(place, "mm", word)
        return {"layer": (height_mm * 1_000_000) // plate.layer_nm}
    do = "Write a layer such as 412, a height such as 20.6mm, a place such as -120,70, or one of: "
    raise InputError.one(word, to_say("{place!r} is no place", place=place), do + ", ".join(CORNERS))


def _require_on_platform(word: str, event: dict[str, Any], plate: PlateWords) -> None:
    for key, size_m in (("x_mm", plate.width_m), ("y_mm", plate.depth_m)):
        size_mm = exact_bench(size_m, "mm")
        if key in event and abs(event[key]) > size_mm / 2:
            raise InputError.one(
                word,
                to_say("{key} is {event}, off the platform, which reaches {size_mm} mm either way",
                key=key, event=event[key], size_mm=size_mm / 2),
                to_say("Count from the platform's middle"),
            )  # fmt: skip


def _reading(word: str, name: str, value: str, under: Sequence[str]) -> dict[str, Any]:
    unit = bench_unit(name)
    number, *sigma = _SIGMA.split(value, maxsplit=1)
    reading: dict[str, Any] = {"quantity": name, "value": _decimal(number, unit, word), "at": {}}
    if sigma:
        reading["sigma"] = _decimal(sigma[0], unit, word)
    for condition in under:
        found = _condition(word, name, condition)
        if found.keys() & reading["at"].keys():
            raise InputError.one(word, to_say("says one condition twice"), to_say("Say each once"))
        reading["at"] |= found
    TypeAdapter(AnyReading).validate_python(reading)
    return reading


def _condition(word: str, quantity: str, condition: str) -> dict[str, Decimal]:
    named, equals, value = condition.partition("=")
    if equals and named in CONDITIONS:
        return {named: _decimal(value, bench_unit(named), word)}
    if match := _PLACE.match(condition):
        return {"x_mm": decimal_of(match[1]), "y_mm": decimal_of(match[2])}
    if condition.isdecimal():
        return {"layer": Decimal(condition)}
    if match := _WITH_UNIT.match(condition):
        if match[2] == "kg":
            return {"load_N": decimal_of(match[1]) * decimal_of(repr(STANDARD_GRAVITY_M_S2))}
        if match[2] in _UNDER:
            return {_UNDER[match[2]]: decimal_of(match[1])}
        if match[2] == "mm":
            return {"distance_mm" if quantity == Quantity.STROKE else "z_mm": decimal_of(match[1])}
    do = "Write it as in 18C, 20mJ/cm2, 5kg, 60mm, 10mm/s or 10,5, or by name: " + ", ".join(CONDITIONS)
    raise InputError.one(word, to_say("{condition!r} is no condition", condition=condition), do)


def _decimal(text: str, unit: str, word: str) -> Decimal:
    """Return a number as it was written; one in another unit of the same kind is converted."""
    if not unit and typed_parts(text) is None:
        raise InputError.one(word, to_say("{text!r} is no whole number", text=text), to_say("Write digits, such as 4"))
    if unit == "C" and typed_parts(text) is None:
        raise InputError.one(
            word, to_say("{text!r} is no temperature", text=text), to_say("Write degrees Celsius, such as 18, or 64F")
        )
    return read_number(text, word, unit)
