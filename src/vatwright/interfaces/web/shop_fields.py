"""The forms of the Shop page: what can be changed of each kind, and a table of a shop file from what was typed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from copy import deepcopy
from datetime import date
from typing import Any, NamedTuple

from vatwright.answers.names import capital
from vatwright.errors import InputError, Mistake
from vatwright.files.fields import spelled
from vatwright.quantities import COUNTS, LAYER, PHASES, TABLES, Takes, key_at
from vatwright.records.notebook import STOCK_KINDS
from vatwright.units import read_number
from vatwright.wording import in_words, say, to_say

SIGMA = "±"


class Field(NamedTuple):
    """One field: where it stands, what the page calls it, its unit, what it takes, what an empty one means, its bench unit."""

    path: str
    label: str
    unit: str = ""
    takes: str = "number"
    options: tuple[str, ...] = ()
    empty: str = ""
    measure: str = ""
    told: str = ""
    """The label as it can be said in other languages, where that is not the label itself."""

    @property
    def head(self) -> str:
        """The label with its unit, in the reader's language."""
        label = capital(self.told or self.label)
        return f"{label} [{say(self.unit)}]" if self.unit else label

    @property
    def choices(self) -> list[tuple[str, str]]:
        """The options, each with its word in the reader's language."""
        return [(o, option_words(o)) for o in self.options]


def option_words(option: str) -> str:
    """Return a word of a table as the reader says it."""
    return in_words(_OPTIONS.get(option, option))


class FieldGroup(NamedTuple):
    """Fields that belong together."""

    legend: str
    fields: tuple[Field, ...]


_TAKES = {
    Takes.NUMBER: "number",
    Takes.STATED: "stated",
    Takes.WHOLE: "count",
    Takes.WORD: "choice",
    Takes.TEXT: "text",
    Takes.DAY: "day",
}
_LINKS = {
    "recipe.machine": "of machine",
    "recipe.resin": "of resin",
    "film.machine": "of machine",
    "screen.machine": "of machine",
    "lot.resin": "of resin",
}
"""Names of other entries, to be chosen among those that are there."""


def _field(kind: str, path: str, label: str = "") -> Field:
    """Return the field for a key of a table; a number in the path is a row of a list."""
    key = key_at(".".join([kind, *(step for step in path.split(".") if not step.isdecimal())]))
    label = label or key.label
    takes = _LINKS.get(f"{kind}.{path}", _TAKES[key.holds])
    unit = spelled(key.unit).strip().replace("um", "µm")
    return Field(path, label[:1].upper() + label[1:], unit, takes, key.words, key.empty, key.unit, label)


def _group(kind: str, legend: str, *paths: str) -> FieldGroup:
    return FieldGroup(legend, tuple(_field(kind, path) for path in paths))


def _phase(phase: str) -> FieldGroup:
    keys = (key.name for key in TABLES[f"recipe.{phase}"])
    return _group("recipe", _PHASES[phase], *(f"{phase}.{name}" for name in keys))


def _viscosities() -> FieldGroup:
    fields = (
        _field(
            "resin",
            f"viscosity.{row}.{name}",
            to_say("{which} {label}", which=which, label=key_at(f"resin.viscosity.{name}").label),
        )
        for row, which in enumerate((to_say("First"), to_say("Second"), to_say("Third")))
        for name in ("viscosity_mPa_s", "temperature_c")
    )
    return FieldGroup(to_say("How it flows"), tuple(fields))


_PHASES = {"base": to_say("Base"), "ramp": to_say("Ramp"), "body": to_say("Body")}
_STOCK = {
    "film": to_say("Film"),
    "screen": to_say("Screen"),
    "lot": to_say("Lot"),
    "station": to_say("Station"),
    "price": to_say("Price"),
}
_OPTIONS = {
    "glass": to_say("glass"),
    "free": to_say("free"),
    "liquid": to_say("liquid"),
    "wash": to_say("wash"),
    "cure": to_say("cure"),
    "dry": to_say("dry"),
}
"""Words of a table that a reader of another language would not know; materials and units are the same in all."""

_SIDES = ("width_mm", "depth_mm")

FORMS: Mapping[str, tuple[FieldGroup, ...]] = {
    "machine": (
        _group(
            "machine",
            to_say("Size"),
            *(f"platform.{side}" for side in _SIDES),
            "height_mm",
            *(f"window.{side}" for side in _SIDES),
            *(f"vat.{side}" for side in _SIDES),
            "vat.full_mm",
        ),
        _group("machine", to_say("Film"), "film.material", "film.thickness_um", "film.backing", "film.tension_N_m"),
        _group(
            "machine",
            to_say("Light"),
            "light.irradiance_mW_cm2",
            "light.read_with",
            "light.dimmest_percent",
            "light.brightest_percent",
        ),
        _group(
            "machine",
            to_say("Arm and drive"),
            "stiffness_N_mm",
            "ceiling_N",
            "motion.acceleration_mm_s2",
            "motion.fastest_mm_s",
        ),
        _group("machine", to_say("Upkeep"), *(f"upkeep.{key.name}" for key in TABLES["machine.upkeep"])),
    ),
    "resin": (
        _viscosities(),
        _group("resin", to_say("On its label"), *(f"label.{key.name}" for key in TABLES["resin.label"])),
        _group("resin", to_say("How it cures"), "curve.Dp_um", "curve.Ec_mJ_cm2"),
        _group("resin", to_say("Bottle"), "density_g_cm3", "price_per_kg"),
    ),
    "recipe": (
        _group("recipe", to_say("For"), "machine", "resin", *(key.name for key in (LAYER, *COUNTS.values()))),
        *(_phase(phase) for phase in PHASES),
        _group(
            "recipe", to_say("What it has shown"), "proven.runs", "proven.failed", "proven.room_c", "proven.film_layers"
        ),
    ),
    **{
        kind: (_group(kind, _STOCK[kind], *(k.name for k in TABLES[kind] if k.name != "name")),) for kind in STOCK_KINDS
    },
}
"""What can be changed of each kind; all else of a machine, resin or recipe is changed as text."""


def fields_of(kind: str) -> Iterator[Field]:
    """Yield the fields of a kind."""
    for group in FORMS[kind]:
        yield from group.fields


def typed(kind: str, table: Mapping[str, Any]) -> dict[str, str]:
    """Return what stands in the fields of a kind for a table, by path."""
    return typed_in(list(fields_of(kind)), table)


def typed_in(fields: Sequence[Field], table: Mapping[str, Any]) -> dict[str, str]:
    """Return what stands in fields for a table, by path."""
    found = {}
    for field in fields:
        value = _at(table, field.path)
        if field.takes == "stated" and isinstance(value, Mapping):
            found[field.path + SIGMA] = _text(value.get("sigma"))
            value = value.get("value")
        found[field.path] = _text(value)
    return found


def changed(kind: str, table: Mapping[str, Any], said: Mapping[str, str]) -> dict[str, Any]:
    """Return a table as the fields say it; what no field shows stays as it is.

    Parameters
    ----------
    kind : str
        What it is of.
    table : mapping
        As it was.
    said : mapping
        What was typed, by path.

    Raises
    ------
    InputError
        With every field that cannot be read.
    """
    found, mistakes = heard(kind, table, said)
    if mistakes:
        raise InputError(mistakes)
    return found


def heard(kind: str, table: Mapping[str, Any], said: Mapping[str, str]) -> tuple[dict[str, Any], list[Mistake]]:
    """Return a table as :func:`changed` does, with what cannot be read as it was, and the mistakes of that."""
    return heard_in(list(fields_of(kind)), table, said)


def heard_in(
    fields: Sequence[Field], table: Mapping[str, Any], said: Mapping[str, str]
) -> tuple[dict[str, Any], list[Mistake]]:
    """Return a table as fields say it, and the mistakes in them."""
    found: dict[str, Any] = deepcopy(dict(table))
    before = typed_in(fields, table)
    mistakes: list[Mistake] = []
    for field in fields:
        if field.path not in said:
            continue
        own = [field.path] if field.takes != "stated" else [field.path, field.path + SIGMA]
        if all(said.get(p, "").strip() == before.get(p, "") for p in own):
            continue  # a range that no field shows stays with its value
        try:
            value = _value(field, said[field.path].strip())
            sigma = _value(field, said.get(field.path + SIGMA, "").strip()) if len(own) > 1 else None
        except InputError as problem:
            mistakes += problem.mistakes
            continue
        _put(
            found, field.path.split("."), value if sigma is None or value is None else {"value": value, "sigma": sigma}
        )
    pruned: dict[str, Any] = _pruned(found)
    return pruned, mistakes


def merged(was: Mapping[str, str], said: Mapping[str, str], now: Mapping[str, str]) -> dict[str, str]:
    """Return what stands in the fields after somebody else kept other values: what was typed here, else what is kept now.

    Examples
    --------
    >>> merged({"a": "1", "b": "2"}, {"a": "1", "b": "3"}, {"a": "9", "b": "2"})
    {'a': '9', 'b': '3'}
    """
    return {**now, **{path: text for path, text in said.items() if text.strip() != was.get(path, "")}}


def both_values(kind: str, said: Mapping[str, str], now: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Return where a form and what is kept differ: the field, what is kept, what the form says."""
    return both_in(list(fields_of(kind)), said, now)


def both_in(fields: Sequence[Field], said: Mapping[str, str], now: Mapping[str, str]) -> list[tuple[str, str, str]]:
    """Return where fields and what is kept differ."""
    heads = {path: f.head for f in fields for path in (f.path, f.path + SIGMA)}
    return [
        (heads[path] + (say(" give or take") if path.endswith(SIGMA) else ""), now.get(path, ""), text)
        for path, text in said.items()
        if path in heads and text.strip() != now.get(path, "")
    ]


def _value(field: Field, text: str) -> Any:
    """Return what was typed as the table wants it, None for an empty field."""
    if not text:
        return None
    if field.takes == "day":
        try:
            return date.fromisoformat(text)
        except ValueError:
            raise InputError.one(
                field.label, to_say("{text!r} is no day", text=text), to_say("Write it as 2026-03-01")
            ) from None
    if field.takes in ("number", "stated", "count"):
        whole = field.takes == "count"
        typed_in = read_number(text, field.label, field.measure, whole=whole)
        return int(typed_in) if whole else typed_in
    return text


def _text(value: Any) -> str:
    return "" if value is None else str(value)


def _at(table: Any, path: str) -> Any:
    for step in path.split("."):
        if isinstance(table, list):
            table = table[int(step)] if int(step) < len(table) else None
        elif isinstance(table, Mapping):
            table = table.get(step)
        else:
            return None
    return table


def _put(table: Any, steps: list[str], value: Any) -> None:
    """Set a value deep in a table; None takes it out."""
    step, *rest = steps
    if isinstance(table, list):
        while len(table) <= int(step):
            table.append({})
        _put(table[int(step)], rest, value)
    elif rest:
        inner = table.get(step)
        if not isinstance(inner, dict | list):
            inner = table[step] = [] if rest[0].isdecimal() else {}
        _put(inner, rest, value)
    elif value is None:
        table.pop(step, None)
    else:
        table[step] = value


def _pruned(value: Any) -> Any:
    """Return a table without tables and rows that are empty."""
    if isinstance(value, dict):
        inner = {k: _pruned(v) for k, v in value.items()}
        return {k: v for k, v in inner.items() if v not in ({}, [])}
    if isinstance(value, list):
        return [v for v in map(_pruned, value) if v != {}]
    return value


def labels_of(*kinds: str) -> dict[str, dict[str, str]]:
    """Return what the page calls each key of some kinds of table, for mistakes."""
    return {kind: {field.path: field.label for field in fields_of(kind)} for kind in kinds}
