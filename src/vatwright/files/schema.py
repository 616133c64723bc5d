"""The outside shapes of shop files and job files: every table, its keys with their bench units, what they may hold.

A *shop file* holds ``[[machine]]``, ``[[resin]]`` and ``[[recipe]]``; a *job file* holds ``[job]`` and ``[[part]]``,
and may hold the tables of a shop file too.  The unit stands in the key's name.  The ranges refuse what no bench has (a
platform 2 m wide, a layer of half a metre): they are engineering estimates meant to catch slipped decimal points.
"""

# ruff: noqa: N815 - units keep their own capitals

from __future__ import annotations

from decimal import Decimal
from pathlib import PurePath
from typing import TYPE_CHECKING, Annotated, Self

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationInfo,
    WrapValidator,
    field_validator,
    model_validator,
)

from vatwright.files.bench_numbers import exact_bench, exact_si
from vatwright.files.fields import (
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
from vatwright.files.priors import DIAL_SIGMA_UM, FILM_MODULUS_MPA, STOPWATCH_SIGMA_S, WINDOW_MARGIN_M
from vatwright.records.machine import Backing, Obeys
from vatwright.records.process import QUANTITY_NAMES
from vatwright.records.sourced import Kind

if TYPE_CHECKING:
    from collections.abc import Callable

LENGTH_UNITS = ("um", "mm", "cm", "m", "in", "ft")
"""Units a mesh file may be drawn in."""

UNITLESS_FORMATS = (".stl", ".obj", ".ply")
"""File formats that do not say which unit they are drawn in."""

Across = Annotated[Decimal, between("mm", "10", "1200")]
Spot = Annotated[Decimal, between("mm", "-1000", "1000")]
Wait = Annotated[Decimal, between("s", "0", "7200")]
Exposure = Annotated[Decimal, between("s", "0.01", "7200")]
PeelLift = Annotated[Decimal, between("mm", "0.01", "200")]
ClearLift = Annotated[Decimal, between("mm", "0", "200")]
Speed = Annotated[Decimal, between("mm_s", "0.001", "200")]
Layer = Annotated[Decimal, between("mm", "0.001", "1")]
Irradiance = Annotated[Decimal, between("mW_cm2", "0.01", "200")]
Room = Annotated[Decimal, between("C", "-10", "60")]
Dose = Annotated[Decimal, between("mJ_cm2", "0.01", "100000")]


class Outside(BaseModel):
    """A table: unknown keys are mistakes, and no value is bent into another type."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, arbitrary_types_allowed=True)


class Stated(Outside):
    """A value that may say how sure it is: a 90 % range or a standard uncertainty, and where it came from."""

    value: Decimal
    low: Decimal | None = None
    high: Decimal | None = None
    sigma: Decimal | None = None
    source: Text | None = None
    kind: Annotated[str, choice(*(k.value for k in Kind))] | None = None


def stated(unit: str, low: str, high: str) -> WrapValidator:
    """Return the check for a bare number in the bench unit `unit`, or a table of it with its range or its sigma."""

    def check(given: object, handler: Callable[[object], Stated]) -> Stated:
        table = dict(given) if isinstance(given, dict) else {"value": given}
        for key in ("value", "low", "high", "sigma"):
            if key in table:
                table[key] = as_number(table[key], unit, example=low)
        found = handler(table)
        require_between(found.value, unit, low, high)
        _require_sound_range(found)
        return found

    return WrapValidator(check)


def _require_sound_range(s: Stated) -> None:
    if (s.low is None) != (s.high is None):
        raise mistake("has one end of a range", "Give both low and high")
    if s.sigma is not None and s.low is not None:
        raise mistake("has a range and a sigma", "Give low and high, or sigma, not both")
    if s.sigma is not None and not 0 < s.sigma <= 10 * s.value:
        raise mistake(f"has the sigma {s.sigma}", "Give a sigma above 0, in the unit of the value")
    if s.low is not None and s.high is not None and not 0 < s.low <= s.value <= s.high <= 10**12:
        raise mistake(f"is {s.value} with the range {s.low} to {s.high}", "Give 0 < low <= value <= high")


class OpeningTable(Outside):
    """A hole, slot or groove of the platform."""

    x_mm: Spot
    y_mm: Spot
    diameter_mm: Annotated[Decimal, between("mm", "0.1", "1000")] | None = None
    width_mm: Annotated[Decimal, between("mm", "0.1", "1000")] | None = None
    depth_mm: Annotated[Decimal, between("mm", "0.1", "1000")] | None = None
    round: YesNo = True

    @model_validator(mode="after")
    def _one_size(self) -> Self:
        sides = (self.width_mm, self.depth_mm)
        given = [side for side in sides if side is not None]
        if len(given) != (0 if self.diameter_mm else 2):
            raise mistake("wants one size", "Give diameter_mm alone, or width_mm and depth_mm")
        return self


class PlatformTable(Outside):
    """The build platform."""

    width_mm: Annotated[Decimal, between("mm", "10", "1000")] = Field(description="150")
    depth_mm: Annotated[Decimal, between("mm", "10", "1000")] = Field(description="90")
    corner_mm: Annotated[Decimal, between("mm", "0", "500")] = Decimal(0)
    opening: list[OpeningTable] = Field(default_factory=list)


class WindowTable(Outside):
    """The free opening across which the film is clamped."""

    width_mm: Across = Field(description="176")
    depth_mm: Across = Field(description="112")
    corner_mm: Annotated[Decimal, between("mm", "0", "500")] = Decimal(0)


class FilmTable(Outside):
    """The release film."""

    backing: Annotated[str, choice(*Backing)] | None = None
    material: Annotated[str, choice(*FILM_MODULUS_MPA)] | None = None
    thickness_um: Annotated[Decimal, between("um", "5", "2000")] | None = None
    modulus_MPa: Annotated[Decimal, between("MPa", "0.5", "10000")] | None = None
    tension_N_m: Annotated[Stated, stated("N_m", "10", "20000")] | None = None


class LightReadingTable(Outside):
    """What the meter showed at one spot of the window."""

    x_mm: Spot
    y_mm: Spot
    irradiance_mW_cm2: Irradiance = Field(description="3.1")


class LightTable(Outside):
    """The light at the window."""

    irradiance_mW_cm2: Annotated[Stated, stated("mW_cm2", "0.01", "200")] | None = None
    dimmest_percent: Annotated[Decimal, between("percent", "1", "100")] | None = None
    brightest_percent: Annotated[Decimal, between("percent", "100", "999")] | None = None
    reading: list[LightReadingTable] = Field(default_factory=list)
    read_with: Text | None = None
    meter_percent: Annotated[Decimal, between("percent", "0.1", "50")] | None = None
    repeat_percent: Annotated[Decimal, between("percent", "0.1", "30")] | None = None
    since_read_h: Annotated[Decimal, between("h", "0", "100000")] | None = None
    fade_percent: Annotated[Stated, stated("percent", "0.01", "60")] | None = None

    @field_validator("meter_percent", "repeat_percent")
    @classmethod
    def _of_readings(cls, share: Decimal | None, info: ValidationInfo) -> Decimal | None:
        if share is not None and not info.data.get("reading", "in error"):
            raise mistake("belongs to readings, and there are none", "Add [[machine.light.reading]] or take it out")
        return share

    @field_validator("reading")
    @classmethod
    def _one_origin(cls, reading: list[LightReadingTable], info: ValidationInfo) -> list[LightReadingTable]:
        if reading and any(value is not None for value in info.data.values()):
            raise mistake("stands beside the values that it gives", "Keep the readings, or keep the values")
        spots = [r.irradiance_mW_cm2 for r in reading]
        if spots and max(spots) * len(spots) > 9 * sum(spots):
            raise mistake("has one spot more than nine times the mean", "Read that spot again")
        return reading

    @field_validator("read_with")
    @classmethod
    def _something_read(cls, meter: str | None, info: ValidationInfo) -> str | None:
        read = [info.data.get(key, "in error") for key in ("reading", "irradiance_mW_cm2")]
        if meter and not any(read):
            raise mistake("names a meter, but nothing was read", "Add irradiance_mW_cm2 or readings, or take it out")
        return meter


class StrokeTable(Outside):
    """One timed stroke of the platform, from rest to rest."""

    distance_mm: Annotated[Decimal, between("mm", "0.1", "1000")] = Field(description="50")
    speed_mm_s: Speed = Field(description="5")
    time_s: Annotated[Decimal, between("s", "0.01", "7200")] = Field(description="10.4")
    sigma_s: Annotated[Decimal, between("s", "0.0001", "60")] = Decimal(STOPWATCH_SIGMA_S)

    @model_validator(mode="after")
    def _possible(self) -> Self:
        least = self.distance_mm / self.speed_mm_s
        if self.time_s + 3 * self.sigma_s < least:
            raise mistake(
                f"took {self.time_s} s; {self.distance_mm} mm at {self.speed_mm_s} mm/s take {least:.2f} s at least",
                "Time it again, and check the speed that was set",
            )
        return self


class MotionTable(Outside):
    """How the platform moves."""

    acceleration_mm_s2: Annotated[Stated, stated("mm_s2", "0.1", "100000")] | None = None
    fastest_mm_s: Speed | None = None
    stroke: StrokeTable | None = None

    @field_validator("stroke")
    @classmethod
    def _one_origin(cls, stroke: StrokeTable | None, info: ValidationInfo) -> StrokeTable | None:
        if stroke and info.data.get("acceleration_mm_s2"):
            raise mistake("stands beside acceleration_mm_s2, which it gives", "Keep one of them")
        return stroke


class VatTable(Outside):
    """The vat's inner floor."""

    width_mm: Across = Field(description="200")
    depth_mm: Across = Field(description="130")
    full_mm: Annotated[Decimal, between("mm", "1", "500")] | None = None


class RuleTable(Outside):
    """What the controller does with one quantity; limits in the unit of the quantity's name."""

    obeys: Annotated[str, choice(*Obeys)] = Field(description='"shared"')
    min: Annotated[Decimal, between("", "0", "1000000")] | None = None
    max: Annotated[Decimal, between("", "0.000001", "1000000")] | None = None
    step: Annotated[Decimal, between("", "0.000001", "1000000")] | None = None
    live: YesNo = False
    fixed: Annotated[Decimal, between("", "0", "1000000")] | None = None

    @field_validator("max")
    @classmethod
    def _above_min(cls, most: Decimal | None, info: ValidationInfo) -> Decimal | None:
        least = info.data.get("min")
        if least is not None and most is not None and least > most:
            raise mistake(f"is {most}, below min, which is {least}", "Swap them")
        return most


def _says_what_instead(rule: RuleTable) -> RuleTable:
    if rule.obeys == Obeys.NO and rule.fixed is None:
        raise mistake("does not say what the machine does instead", 'Write for example { obeys = "no", fixed = 5 }')
    return rule


WaitRule = Annotated[RuleTable, table_or("obeys")]
"""A rule for what may be absent: a machine that ignores it does without."""

ValueRule = Annotated[RuleTable, table_or("obeys"), AfterValidator(_says_what_instead)]
"""A rule for what every layer has: a machine that ignores it uses a value of its own."""


class ControllerTable(Outside):
    """What the machine's controller obeys; a quantity that is not listed is obeyed."""

    overhead_s: Annotated[Decimal, between("s", "0", "600")] | None = None
    ramp_covers: list[Annotated[str, choice(*QUANTITY_NAMES)]] | None = None
    exposure_s: ValueRule | None = None
    settle_s: WaitRule | None = None
    soak_s: WaitRule | None = None
    refill_s: WaitRule | None = None
    peel_lift_mm: ValueRule | None = None
    peel_speed_mm_s: ValueRule | None = None
    clear_lift_mm: WaitRule | None = None
    clear_speed_mm_s: ValueRule | None = None
    return_speed_mm_s: ValueRule | None = None
    base_layers: ValueRule | None = Field(default=None, alias="base.layers")
    ramp_layers: WaitRule | None = Field(default=None, alias="ramp.layers")
    layer_mm: ValueRule | None = None

    def rules(self) -> dict[str, RuleTable]:
        """Return the rules by the public name of their quantity."""
        names = {f: i.alias or f for f, i in type(self).model_fields.items()}
        return {names[f]: r for f in names if isinstance(r := getattr(self, f), RuleTable)}


class DialTable(Outside):
    """How far the platform gave under a known load."""

    load_kg: Annotated[Decimal, between("kg", "0.01", "500")] | None = None
    load_N: Annotated[Decimal, between("N", "0.1", "5000")] | None = None
    deflection_um: Annotated[Decimal, between("um", "0.1", "20000")] = Field(description="180")
    sigma_um: Annotated[Decimal, between("um", "0.01", "5000")] = Decimal(DIAL_SIGMA_UM)

    @model_validator(mode="after")
    def _one_load(self) -> Self:
        if (self.load_kg is None) == (self.load_N is None):
            raise mistake("wants one load", "Give load_kg or load_N")
        return self


class LevelTable(Outside):
    """One reading of the gap under the platform."""

    x_mm: Spot
    y_mm: Spot
    gap_um: Annotated[Decimal, between("um", "0", "20000")] = Field(description="120")


class FlatnessTable(Outside):
    """How high the platform's face stands at one spot."""

    x_mm: Spot
    y_mm: Spot
    height_um: Annotated[Decimal, between("um", "-2000", "2000")] = Field(description="15")


class TipTable(Outside):
    """How far the platform tips under a weight set beside its middle."""

    load_kg: Annotated[Decimal, between("kg", "0.01", "500")] = Field(description="2")
    at_mm: Annotated[Decimal, between("mm", "1", "500")] = Field(description="60")
    over_mm: Annotated[Decimal, between("mm", "1", "1000")] = Field(description="120")
    difference_um: Annotated[Decimal, between("um", "0.1", "20000")] = Field(description="40")


class MachineTable(Outside):
    """One machine: a name, the platform's size and the build height will do."""

    name: Text = Field(description='"Wren"')
    height_mm: Annotated[Decimal, between("mm", "10", "2000")] = Field(description="180")
    platform: PlatformTable = Field(description="{ width_mm = 150, depth_mm = 90 }")
    window: WindowTable | None = None
    vat: VatTable | None = None  # after what has to fit into it
    film: FilmTable = FilmTable()
    light: LightTable = LightTable()
    motion: MotionTable = MotionTable()
    stiffness_N_mm: Annotated[Stated, stated("N_mm", "1", "100000")] | None = None
    ceiling_N: Annotated[Stated, stated("N", "1", "20000")] | None = None
    screen_force_N: Annotated[Decimal, between("N", "1", "20000")] | None = None
    dial: list[DialTable] = Field(default_factory=list)
    level: list[LevelTable] = Field(default_factory=list)
    level_sigma_um: Annotated[Decimal, between("um", "0.01", "1000")] | None = None
    flatness: list[FlatnessTable] = Field(default_factory=list)
    tip: TipTable | None = None
    controller: ControllerTable = ControllerTable()

    @field_validator("light")
    @classmethod
    def _read_in_the_window(cls, light: LightTable, info: ValidationInfo) -> LightTable:
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

    @field_validator("flatness")
    @classmethod
    def _read_on_the_platform(cls, flatness: list[FlatnessTable], info: ValidationInfo) -> list[FlatnessTable]:
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

    @field_validator("dial")
    @classmethod
    def _one_origin(cls, dial: list[DialTable], info: ValidationInfo) -> list[DialTable]:
        if dial and info.data.get("stiffness_N_mm"):
            raise mistake("stands beside stiffness_N_mm, which it gives", "Keep one of them")
        return dial

    @field_validator("vat")
    @classmethod
    def _holds_the_rest(cls, vat: VatTable | None, info: ValidationInfo) -> VatTable | None:
        for key in ("platform", "window"):
            inner = info.data.get(key)
            if vat and inner and (inner.width_mm > vat.width_mm or inner.depth_mm > vat.depth_mm):
                raise mistake(
                    f"is {vat.width_mm} x {vat.depth_mm} mm, too small for the {key} of "
                    f"{inner.width_mm} x {inner.depth_mm} mm",
                    "Measure again; width is left to right, depth is front to back",
                )
        return vat


class ViscosityTable(Outside):
    """One reading of a resin's viscosity."""

    temperature_c: Annotated[Decimal, between("C", "-20", "120")] = Field(description="25")
    viscosity_mPa_s: Annotated[Decimal, between("mPa_s", "1", "100000")] = Field(description="250")
    sigma_mPa_s: Annotated[Decimal, between("mPa_s", "0.000001", "100000")] | None = None


class CurveTable(Outside):
    """The working curve, as stated."""

    Dp_um: Annotated[Stated, stated("um", "1", "5000")] = Field(description="150")
    Ec_mJ_cm2: Annotated[Stated, stated("mJ_cm2", "0.01", "1000")] = Field(description="8")


class CureTable(Outside):
    """Thickness cured through the window at a known dose."""

    dose_mJ_cm2: Dose = Field(description="20")
    depth_um: Annotated[Decimal, between("um", "1", "20000")] = Field(description="137")


class ResinTable(Outside):
    """One resin: a name will do."""

    name: Text = Field(description='"slate"')
    viscosity: list[ViscosityTable] = Field(default_factory=list)
    curve: CurveTable | None = None
    cure: list[CureTable] = Field(default_factory=list)
    density_g_cm3: Annotated[Decimal, between("g_cm3", "0.5", "5")] | None = None
    price_per_kg: Annotated[Decimal, between("", "0", "100000")] | None = None
    green_strength_MPa: Annotated[Stated, stated("MPa", "0.1", "200")] | None = None
    base_bond_MPa: Annotated[Stated, stated("MPa", "0.001", "100")] | None = None


class BaseTable(Outside):
    """The base layers; what is missing is as in the body."""

    exposure_s: Exposure = Field(description="30")
    settle_s: Wait | None = None
    soak_s: Wait | None = None
    refill_s: Wait | None = None
    peel_lift_mm: PeelLift | None = None
    peel_speed_mm_s: Speed | None = None
    clear_lift_mm: ClearLift | None = None
    clear_speed_mm_s: Speed | None = None
    return_speed_mm_s: Speed | None = None


class BodyTable(Outside):
    """The body layers; waits and the second lift are 0 where they are missing."""

    exposure_s: Exposure = Field(description="2.6")
    settle_s: Wait = Decimal(0)
    soak_s: Wait = Decimal(0)
    refill_s: Wait = Decimal(0)
    peel_lift_mm: PeelLift = Field(description="2")
    peel_speed_mm_s: Speed = Field(description="1")
    clear_lift_mm: ClearLift = Decimal(0)
    clear_speed_mm_s: Speed = Field(description="3")
    return_speed_mm_s: Speed = Field(description="3")


class PlaceTable(Outside):
    """Where one piece stands."""

    x_mm: Spot = Decimal(0)
    y_mm: Spot = Decimal(0)
    turn_deg: Annotated[Decimal, between("deg", "-360", "360")] = Decimal(0)


class PartTable(Outside):
    """One file and how it is used."""

    file: Text = Field(description='"lantern.stl"')
    name: Text | None = None
    unit: Annotated[str, choice(*LENGTH_UNITS)] | None = Field(default=None, validate_default=True)
    count: Annotated[int, whole(1, 10_000)] | None = None
    pixel_mm: Annotated[Decimal, between("mm", "0.001", "5")] | None = None
    places: list[PlaceTable] = Field(default_factory=list)
    as_drawn: YesNo = False

    @property
    def pieces(self) -> int:
        """How many pieces: as counted, or one for each place."""
        return self.count if self.count is not None else max(1, len(self.places))

    @field_validator("unit")
    @classmethod
    def _said_somewhere(cls, unit: str | None, info: ValidationInfo) -> str | None:
        if unit is None and PurePath(info.data.get("file", "")).suffix.lower() in UNITLESS_FORMATS:
            raise mistake("is missing, and files of this kind do not say it", 'Write unit = "mm"')
        return unit

    @field_validator("places")
    @classmethod
    def _one_each(cls, places: list[PlaceTable], info: ValidationInfo) -> list[PlaceTable]:
        count = info.data.get("count")
        if places and count is not None and count != len(places):
            raise mistake(f"has {len(places)} for {count} pieces", "Give each piece a place, or take places out")
        return places

    @field_validator("as_drawn")
    @classmethod
    def _not_on_top(cls, as_drawn: bool, info: ValidationInfo) -> bool:
        if as_drawn and not info.data.get("places", True) and (info.data.get("count") or 1) > 1:
            raise mistake("puts all pieces in one spot", "Give places, or take as_drawn out to have them laid out")
        return as_drawn


class LoadTable(Outside):
    """What a recipe was proven on, by tape measure."""

    pieces: Annotated[int, whole(1, 10_000)] = Field(description="6")
    piece_area_mm2: Annotated[Decimal, between("mm2", "0.01", "1000000")] = Field(description="450")
    height_mm: Annotated[Decimal, between("mm", "0.1", "2000")] = Field(description="60")
    spread_percent: Annotated[Decimal, between("percent", "0", "100")] = Decimal(100)


class ProvenTable(Outside):
    """The evidence that a recipe works."""

    runs: Annotated[int, whole(1, 1_000_000)] = Field(description="11")
    failed: Annotated[int, whole(0, 1_000_000)] = 0
    room_c: Room = Field(description="22")
    part: list[PartTable] = Field(default_factory=list)
    load: LoadTable | None = None

    @field_validator("failed")
    @classmethod
    def _of_all(cls, failed: int, info: ValidationInfo) -> int:
        if failed > info.data.get("runs", failed):
            raise mistake(f"is {failed} of {info.data['runs']} runs", "Count again: runs are all of them")
        return failed

    @field_validator("load")
    @classmethod
    def _one_origin(cls, load: LoadTable | None, info: ValidationInfo) -> LoadTable | None:
        if load and info.data.get("part"):
            raise mistake("stands beside parts", "Keep the parts; the load is for when their files are not at hand")
        return load


class RecipeTable(Outside):
    """Settings for one machine and one resin, with the evidence that they work."""

    name: Text = Field(description='"slate on Wren"')
    machine: Text = Field(description='"Wren"')
    resin: Text = Field(description='"slate"')
    layer_mm: Layer = Field(description="0.05")
    base_layers: Annotated[int, whole(1, 200)] = Field(description="4")
    ramp_layers: Annotated[int, whole(0, 500)] = 0
    base: BaseTable = Field(description="{ exposure_s = 30, settle_s = 30 }")
    body: BodyTable = Field(description="a [recipe.body] table with exposure, lift and speeds")
    proven: ProvenTable | None = None

    @field_validator("layer_mm")
    @classmethod
    def _whole_nanometres(cls, layer_mm: Decimal) -> Decimal:
        if (layer_mm * 1_000_000) % 1:
            raise mistake(f"is {layer_mm} mm", "Layers are counted in whole nanometres: round it")
        return layer_mm

    @property
    def layer_nm(self) -> int:
        """Layer thickness [nm]."""
        return round(exact_si(self.layer_mm, "mm") * 1_000_000_000)


class JobTable(Outside):
    """What is wanted."""

    name: Text | None = None
    recipe: Text = Field(description='"slate on Wren"')
    to: Text | None = None
    room_c: Room = Field(description="20")
    resin: Text | None = None
    shop: Text | None = None
    visits: Annotated[int, whole(0, 20)] | None = None
    present_min: Annotated[Decimal, between("min", "0", "100000")] | None = None
    late_min: Annotated[Decimal, between("min", "0", "10000")] | None = None
    early_min: Annotated[Decimal, between("min", "0", "10000")] | None = None
    confidence_percent: Annotated[Decimal, between("percent", "50", "99.9")] | None = None
    tolerance_percent: Annotated[Decimal, between("percent", "0.1", "100")] | None = None


class ShopFile(Outside):
    """A whole shop file."""

    machine: list[MachineTable] = Field(default_factory=list)
    resin: list[ResinTable] = Field(default_factory=list)
    recipe: list[RecipeTable] = Field(default_factory=list)


class JobFile(ShopFile):
    """A whole job file."""

    job: JobTable = Field(description="a [job] table with recipe, to and room_c")
    part: list[PartTable] = Field(min_length=1, description='a [[part]] table with file = "lantern.stl"')
