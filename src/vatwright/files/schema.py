"""The outside shapes of shop files and job files, made from the tables of quantities, and the checks between their keys.

A *shop file* holds ``[[machine]]``, ``[[resin]]`` and ``[[recipe]]``; a *job file* holds ``[job]`` and ``[[part]]``,
and may hold the tables of a shop file too.  Which keys a table has, their units and ranges: :mod:`vatwright.quantities`.
"""

from __future__ import annotations

from decimal import Decimal
from pathlib import PurePath
from typing import TYPE_CHECKING, Annotated, Any, TypeAlias

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationInfo,
    WrapValidator,
    create_model,
    field_validator,
    model_validator,
)

from vatwright.files.bench_numbers import exact_bench, exact_si
from vatwright.files.fields import (
    Day,
    Text,
    YesNo,
    as_number,
    between,
    choice,
    mistake,
    require_between,
    table_or,
    whole,
)
from vatwright.files.priors import FILM_MATERIAL, FILM_THICKNESS_UM, WINDOW_MARGIN_M
from vatwright.quantities import FILM_MODULUS_MPA, FILM_YIELD_STRAIN, TABLES, Obeys, TableKey, Takes, in_phase, key_at
from vatwright.records.sourced import Kind

if TYPE_CHECKING:
    from collections.abc import Callable


class Outside(BaseModel):
    """A table: unknown keys are mistakes, and no value is bent into another type."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True, defer_build=True)


class StatedValue(Outside):
    """A value that may say how sure it is: a 90 % range or a standard uncertainty, and where it came from."""

    value: Decimal
    low: Decimal | None = None
    high: Decimal | None = None
    sigma: Decimal | None = None
    source: Text | None = None
    kind: Annotated[str, choice(*(k.value for k in Kind))] | None = None


def stated(unit: str, low: str, high: str) -> WrapValidator:
    """Return the check for a bare number in the bench unit `unit`, or a table of it with its range or its sigma."""

    def check(given: object, handler: Callable[[object], StatedValue]) -> StatedValue:
        table = dict(given) if isinstance(given, dict) else {"value": given}
        for key in ("value", "low", "high", "sigma"):
            if key in table:
                table[key] = as_number(table[key], unit, example=low)
        found = handler(table)
        require_between(found.value, unit, low, high)
        _require_sound_range(found)
        return found

    return WrapValidator(check)


def _require_sound_range(s: StatedValue) -> None:
    if (s.low is None) != (s.high is None):
        raise mistake("has one end of a range", "Give both low and high")
    if s.sigma is not None and s.low is not None:
        raise mistake("has a range and a sigma", "Give low and high, or sigma, not both")
    if s.sigma is not None and not 0 < s.sigma <= 10 * s.value:
        raise mistake(f"has the sigma {s.sigma}", "Give a sigma above 0, in the unit of the value")
    if s.low is not None and s.high is not None and not 0 < s.low <= s.value <= s.high <= 10**12:
        raise mistake(f"is {s.value} with the range {s.low} to {s.high}", "Give 0 < low <= value <= high")


# --- checks between the keys of one table ------------------------------------------------------------------------------


class _Opening(Outside):
    """What the keys of this table must be to each other."""

    @model_validator(mode="after")
    def _one_size(self: Any) -> Any:
        sides = (self.width_mm, self.depth_mm)
        given = [side for side in sides if side is not None]
        if len(given) != (0 if self.diameter_mm else 2):
            raise mistake("wants one size", "Give diameter_mm alone, or width_mm and depth_mm")
        return self


class _Film(Outside):
    """What the keys of this table must be to each other."""

    @model_validator(mode="after")
    def _does_not_yield(self: Any) -> Any:
        if self.tension_N_m is None:
            return self
        modulus = self.modulus_MPa or Decimal(FILM_MODULUS_MPA[self.material or FILM_MATERIAL])
        thickness = self.thickness_um or Decimal(FILM_THICKNESS_UM)
        most = Decimal(str(FILM_YIELD_STRAIN)) * modulus * thickness  # MPa times um is N/m
        if self.tension_N_m.value > most:
            raise mistake(
                f"has the tension {self.tension_N_m.value} N/m; {thickness} um of {modulus} MPa yield at about {most:.0f} N/m",
                "Check the reading and its unit, or state the film's own thickness_um and modulus_MPa",
            )
        return self


class _Light(Outside):
    """What the keys of this table must be to each other."""

    @field_validator("meter_percent", "repeat_percent", check_fields=False)
    @classmethod
    def _of_readings(cls, share: Decimal | None, info: ValidationInfo) -> Decimal | None:
        if share is not None and not info.data.get("reading", "in error"):
            raise mistake("belongs to readings, and there are none", "Add [[machine.light.reading]] or take it out")
        return share

    @field_validator("reading", check_fields=False)
    @classmethod
    def _one_origin(cls, reading: list[Any], info: ValidationInfo) -> list[Any]:
        if reading and any(value is not None for value in info.data.values()):
            raise mistake("stands beside the values that it gives", "Keep the readings, or keep the values")
        spots = [r.irradiance_mW_cm2 for r in reading]
        if spots and max(spots) * len(spots) > 9 * sum(spots):
            raise mistake("has one spot more than nine times the mean", "Read that spot again")
        return reading

    @field_validator("read_with", check_fields=False)
    @classmethod
    def _something_read(cls, meter: str | None, info: ValidationInfo) -> str | None:
        read = [info.data.get(key, "in error") for key in ("reading", "irradiance_mW_cm2")]
        if meter and not any(read):
            raise mistake("names a meter, but nothing was read", "Add irradiance_mW_cm2 or readings, or take it out")
        return meter


class _Stroke(Outside):
    """What the keys of this table must be to each other."""

    @model_validator(mode="after")
    def _possible(self: Any) -> Any:
        least = self.distance_mm / self.speed_mm_s
        if self.time_s + 3 * self.sigma_s < least:
            raise mistake(
                f"took {self.time_s} s; {self.distance_mm} mm at {self.speed_mm_s} mm/s take {least:.2f} s at least",
                "Time it again, and check the speed that was set",
            )
        return self


class _Motion(Outside):
    """What the keys of this table must be to each other."""

    @field_validator("stroke", check_fields=False)
    @classmethod
    def _one_origin(cls, stroke: Any, info: ValidationInfo) -> Any:
        if stroke and info.data.get("acceleration_mm_s2"):
            raise mistake("stands beside acceleration_mm_s2, which it gives", "Keep one of them")
        return stroke


class _Rule(Outside):
    """What the keys of this table must be to each other."""

    @field_validator("max", check_fields=False)
    @classmethod
    def _above_min(cls, most: Decimal | None, info: ValidationInfo) -> Decimal | None:
        least = info.data.get("min")
        if least is not None and most is not None and least > most:
            raise mistake(f"is {most}, below min, which is {least}", "Swap them")
        return most


class _Controller(Outside):
    """What the keys of this table must be to each other."""

    def rules(self) -> dict[str, Any]:
        """Return the rules by the public name of their quantity."""
        names = {f: i.alias or f for f, i in type(self).model_fields.items()}
        return {names[f]: r for f in names if isinstance(r := getattr(self, f), _Rule)}


class _Dial(Outside):
    """What the keys of this table must be to each other."""

    @model_validator(mode="after")
    def _one_load(self: Any) -> Any:
        if (self.load_kg is None) == (self.load_N is None):
            raise mistake("wants one load", "Give load_kg or load_N")
        return self


class _Machine(Outside):
    """What the keys of this table must be to each other."""

    @field_validator("light", check_fields=False)
    @classmethod
    def _read_in_the_window(cls, light: Any, info: ValidationInfo) -> Any:
        window, platform = info.data.get("window", "in error"), info.data.get("platform")
        if window == "in error" or platform is None:
            return light
        margin = 0 if window else 2 * exact_bench(WINDOW_MARGIN_M, "mm")
        width, depth = ((window or platform).width_mm + margin, (window or platform).depth_mm + margin)
        for r in light.reading:
            if 2 * abs(r.x_mm) > width or 2 * abs(r.y_mm) > depth:
                raise mistake(
                    f"was read at {r.x_mm}, {r.y_mm} mm, outside the window of {width} x {depth} mm",
                    "Measure places from the middle of the window",
                )
        return light

    @field_validator("flatness", check_fields=False)
    @classmethod
    def _read_on_the_platform(cls, flatness: list[Any], info: ValidationInfo) -> list[Any]:
        platform = info.data.get("platform")
        if platform is None:
            return flatness
        for r in flatness:
            if 2 * abs(r.x_mm) > platform.width_mm or 2 * abs(r.y_mm) > platform.depth_mm:
                raise mistake(
                    f"was read at {r.x_mm}, {r.y_mm} mm, outside the platform of "
                    f"{platform.width_mm} x {platform.depth_mm} mm",
                    "Measure places from the middle of the platform",
                )
        return flatness

    @field_validator("dial", check_fields=False)
    @classmethod
    def _one_origin(cls, dial: list[Any], info: ValidationInfo) -> list[Any]:
        if dial and info.data.get("stiffness_N_mm"):
            raise mistake("stands beside stiffness_N_mm, which it gives", "Keep one of them")
        return dial

    @field_validator("vat", check_fields=False)
    @classmethod
    def _holds_the_rest(cls, vat: Any, info: ValidationInfo) -> Any:
        for key in ("platform", "window"):
            inner = info.data.get(key)
            if vat and inner and (inner.width_mm > vat.width_mm or inner.depth_mm > vat.depth_mm):
                raise mistake(
                    f"is {vat.width_mm} x {vat.depth_mm} mm, too small for the {key} of "
                    f"{inner.width_mm} x {inner.depth_mm} mm",
                    "Measure again; width is left to right, depth is front to back",
                )
        return vat


class _Part(Outside):
    """What the keys of this table must be to each other."""

    @property
    def pieces(self: Any) -> int:
        """How many pieces: as counted, or one for each place."""
        return self.count if self.count is not None else max(1, len(self.places))

    @field_validator("unit", check_fields=False)
    @classmethod
    def _said_somewhere(cls, unit: str | None, info: ValidationInfo) -> str | None:
        from vatwright.files.parts.formats import endings, needs_unit  # the readers, which few files ask about

        ending = PurePath(info.data.get("file", "")).suffix.lower()
        if unit is None and ending in endings() and needs_unit(ending):
            raise mistake("is missing, and files of this kind do not say it", 'Write unit = "mm"')
        return unit

    @field_validator("places", check_fields=False)
    @classmethod
    def _one_each(cls, places: list[Any], info: ValidationInfo) -> list[Any]:
        count = info.data.get("count")
        if places and count is not None and count != len(places):
            raise mistake(f"has {len(places)} for {count} pieces", "Give each piece a place, or take places out")
        return places

    @field_validator("as_drawn", check_fields=False)
    @classmethod
    def _not_on_top(cls, as_drawn: bool, info: ValidationInfo) -> bool:
        if as_drawn and not info.data.get("places", True) and (info.data.get("count") or 1) > 1:
            raise mistake("puts all pieces in one spot", "Give places, or take as_drawn out to have them laid out")
        return as_drawn


class _Proven(Outside):
    """What the keys of this table must be to each other."""

    @field_validator("failed", check_fields=False)
    @classmethod
    def _of_all(cls, failed: int, info: ValidationInfo) -> int:
        if failed > info.data.get("runs", failed):
            raise mistake(f"is {failed} of {info.data['runs']} runs", "Count again: runs are all of them")
        return failed

    @field_validator("load", check_fields=False)
    @classmethod
    def _one_origin(cls, load: Any, info: ValidationInfo) -> Any:
        if load and info.data.get("part"):
            raise mistake("stands beside parts", "Keep the parts; the load is for when their files are not at hand")
        return load


class _Recipe(Outside):
    """What the keys of this table must be to each other."""

    @field_validator("layer_mm", check_fields=False)
    @classmethod
    def _whole_nanometres(cls, layer_mm: Decimal) -> Decimal:
        if (layer_mm * 1_000_000) % 1:
            raise mistake(f"is {layer_mm} mm", "Layers are counted in whole nanometres: round it")
        return layer_mm

    @property
    def layer_nm(self: Any) -> int:
        """Layer thickness [nm]."""
        return round(exact_si(self.layer_mm, "mm") * 1_000_000_000)


def _says_what_instead(rule: Any) -> Any:
    if rule.obeys == Obeys.NO and rule.fixed is None:
        raise mistake("does not say what the machine does instead", 'Write for example { obeys = "no", fixed = 5 }')
    return rule


_CHECKS: dict[str, type[Outside]] = {
    "machine": _Machine,
    "machine.platform.opening": _Opening,
    "machine.film": _Film,
    "machine.light": _Light,
    "machine.motion": _Motion,
    "machine.motion.stroke": _Stroke,
    "machine.controller": _Controller,
    "machine.controller.rule": _Rule,
    "machine.dial": _Dial,
    "recipe": _Recipe,
    "recipe.proven": _Proven,
    "part": _Part,
}


# --- the tables ----------------------------------------------------------------------------------------------------------


def number_type(key: TableKey) -> Any:
    """Return the type of a bare number as a key holds it: in its bench unit, within its range."""
    if key.holds is Takes.WHOLE:
        return Annotated[int, whole(int(key.low), int(key.high))]
    return Annotated[Decimal, between(key.unit, key.low, key.high)]


_models: dict[str, Any] = {}


def table_of(path: str) -> Any:
    """Return the shape of the table of a dotted name."""
    if path not in _models:
        fields: dict[str, Any] = {field_name(key): (_type(path, key), _field(path, key)) for key in TABLES[path]}
        _models[path] = create_model(path or "file", __base__=_CHECKS.get(path, Outside), **fields)
    return _models[path]


def field_name(key: TableKey) -> str:
    """Return what the field of a shape is called; a key may hold a dot."""
    return key.name.replace(".", "_")


def path_within(path: str, key: TableKey) -> str:
    """Return the dotted name of a table within a table; parts are one table wherever they stand."""
    inner = f"{path}.{key.name}"
    return inner if inner in TABLES else key.name


def _type(path: str, key: TableKey) -> Any:
    found = _wanted(path, key)
    return found if key.needs or key.default is not None or key.holds is Takes.TABLES else found | None


def _wanted(path: str, key: TableKey) -> Any:
    if key.holds is Takes.TABLES:
        return list[table_of(path_within(path, key))]  # type: ignore[misc]
    if key.holds is Takes.TABLE:
        return table_of(path_within(path, key))
    if key.holds is Takes.WORDS:
        return list[Annotated[str, choice(*key.words)]]
    if key.holds is Takes.WORD:
        return Annotated[str, choice(*key.words)]
    if key.holds is Takes.STATED:
        return Annotated[StatedValue, stated(key.unit, key.low, key.high)]
    if key.holds is Takes.RULE:
        return _rule_type(key)
    return {Takes.TEXT: Text, Takes.YES_NO: YesNo, Takes.DAY: Day}.get(key.holds) or number_type(key)


def _rule_type(key: TableKey) -> Any:
    """A machine that ignores what every layer has uses a value of its own; what may be absent, it does without."""
    table: Any = table_of("machine.controller.rule")
    rule: Any = Annotated[table, table_or("obeys")]
    return rule if key.may_be_zero else Annotated[rule, AfterValidator(_says_what_instead)]


def _field(path: str, key: TableKey) -> Any:
    alias = key.name if "." in key.name else None
    if key.needs:
        return Field(description=key.needs, alias=alias)
    if key.holds is Takes.TABLES:
        return Field(default_factory=list, alias=alias)
    if key.holds is Takes.TABLE and not _must_say(path_within(path, key)):
        return Field(default=table_of(path_within(path, key))(), alias=alias)
    return Field(default=_default(key), alias=alias, validate_default=key.holds is Takes.WORD)


def _must_say(path: str) -> bool:
    return any(key.needs for key in TABLES[path])


def _default(key: TableKey) -> Any:
    if key.default is None:
        return None
    if key.holds is Takes.YES_NO:
        return key.default == "true"
    return {Takes.WHOLE: int, Takes.TEXT: str}.get(key.holds, Decimal)(key.default)


if TYPE_CHECKING:
    MachineTable: TypeAlias = Any
    ResinTable: TypeAlias = Any
    RecipeTable: TypeAlias = Any
    JobTable: TypeAlias = Any
    PartTable: TypeAlias = Any
    Across: TypeAlias = Decimal
    Spot: TypeAlias = Decimal
    Wait: TypeAlias = Decimal
    Exposure: TypeAlias = Decimal
    Layer: TypeAlias = Decimal
    Room: TypeAlias = Decimal
else:
    Across, Spot = number_type(key_at("machine.window.width_mm")), number_type(key_at("part.places.x_mm"))
    Wait, Exposure = number_type(in_phase("settle_s")), number_type(in_phase("exposure_s"))
    Layer, Room = number_type(key_at("recipe.layer_mm")), number_type(key_at("job.room_c"))
    MachineTable, ResinTable, RecipeTable = table_of("machine"), table_of("resin"), table_of("recipe")
    JobTable, PartTable = table_of("job"), table_of("part")


class ShopFile(Outside):
    """A whole shop file."""

    machine: list[MachineTable] = Field(default_factory=list)
    resin: list[ResinTable] = Field(default_factory=list)
    recipe: list[RecipeTable] = Field(default_factory=list)


class JobFile(ShopFile):
    """A whole job file."""

    job: JobTable = Field(description="a [job] table with recipe, to and room_c")
    part: list[PartTable] = Field(min_length=1, description='a [[part]] table with file = "lantern.stl"')
