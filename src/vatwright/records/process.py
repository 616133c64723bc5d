"""What is set on a machine for one run: the phases of a recipe and the names of its settings."""

from __future__ import annotations

from typing import Any, NamedTuple

from attrs import evolve, field, frozen, validators

from vatwright.errors import InputError
from vatwright.quantities import COUNTS, IN_A_PHASE, LAYER, PHASES, SETTINGS, Nature
from vatwright.records.part import PartUse, PlateLoad
from vatwright.wording import to_say

_not_negative = validators.and_(validators.ge(0.0), validators.lt(float("inf")))
_positive = validators.and_(validators.gt(0.0), validators.lt(float("inf")))


@frozen(kw_only=True)
class Phase:
    """The settings of one kind of layer (base or body), SI.

    Parameters
    ----------
    exposure_s, settle_s, soak_s, refill_s : float
        Light, dark wait before it, dark wait after it, wait at the top [s].
    peel_lift_m, clear_lift_m : float
        Slow and fast stage of the rise [m].
    peel_speed_m_s, clear_speed_m_s, return_speed_m_s : float
        Their speeds and that of the way down [m/s].
    """

    exposure_s: float = field(validator=_positive)
    settle_s: float = field(default=0.0, validator=_not_negative)
    soak_s: float = field(default=0.0, validator=_not_negative)
    refill_s: float = field(default=0.0, validator=_not_negative)
    peel_lift_m: float = field(validator=_positive)
    peel_speed_m_s: float = field(validator=_positive)
    clear_lift_m: float = field(default=0.0, validator=_not_negative)
    clear_speed_m_s: float = field(validator=_positive)
    return_speed_m_s: float = field(validator=_positive)

    @property
    def lift_m(self) -> float:
        """The whole rise [m]."""
        return self.peel_lift_m + self.clear_lift_m


class SettingName(NamedTuple):
    """One setting of a phase: its public name, where it lives and the bench unit in its name."""

    name: str
    phase: str
    attribute: str
    unit: str
    label: str


PHASE_SETTINGS: tuple[SettingName, ...] = tuple(
    SettingName(f"{phase}.{key.name}", phase, key.attribute, key.unit, key.label)
    for phase in PHASES
    for key in IN_A_PHASE
)
"""Every setting that a phase has, in the order in which a person reads them."""

COUNT_SETTINGS: tuple[str, ...] = tuple(COUNTS)
SETTING_NAMES: tuple[str, ...] = tuple(SETTINGS)
QUANTITY_NAMES: tuple[str, ...] = tuple(key.name for key in IN_A_PHASE)


@frozen(kw_only=True)
class Settings:
    """All settings of a run.

    Parameters
    ----------
    layer_nm : int
        Layer thickness, counted in whole nanometres.
    base_layers, ramp_layers : int
        How many layers use the base values, and over how many they change linearly to the body values.
    base, body : Phase
        The values.
    """

    layer_nm: int = field(validator=validators.and_(validators.ge(1_000), validators.le(1_000_000)))
    base_layers: int = field(validator=validators.and_(validators.ge(1), validators.le(200)))
    ramp_layers: int = field(default=0, validator=validators.and_(validators.ge(0), validators.le(500)))
    base: Phase
    body: Phase

    @property
    def layer_m(self) -> float:
        """Layer thickness [m]."""
        return self.layer_nm / 1_000_000_000

    def value(self, name: str) -> float:
        """Return the setting called `name`, in SI (counts as a float).

        Examples
        --------
        >>> from vatwright.records.process import demo_settings
        >>> demo_settings().value("body.peel_lift_mm")
        0.002
        """
        if name in COUNTS:
            return float(getattr(self, COUNTS[name].attribute))
        if name == LAYER.name:
            return self.layer_m
        setting = setting_name(name)
        return float(getattr(getattr(self, setting.phase), setting.attribute))

    def with_value(self, name: str, value: float) -> Settings:
        """Return these settings with the one called `name` changed to the SI `value`."""
        if name in COUNTS:
            count: dict[str, Any] = {COUNTS[name].attribute: round(value)}
            return evolve(self, **count)
        if name == LAYER.name:
            return evolve(self, layer_nm=round(value * 1_000_000_000))
        setting = setting_name(name)
        phase = evolve(getattr(self, setting.phase), **{setting.attribute: value})
        return evolve(self, **{setting.phase: phase})


def setting_name(name: str) -> SettingName:
    """Return where the phase setting called `name` lives; raise InputError for a name no recipe has."""
    for setting in PHASE_SETTINGS:
        if setting.name == name:
            return setting
    raise InputError.one(name, to_say("is not a setting of a recipe"), "Use one of: " + ", ".join(SETTING_NAMES))


def setting_unit(name: str) -> str:
    """Return the bench unit of a setting's value; a count has the unit ``layers``.

    Examples
    --------
    >>> setting_unit("body.peel_speed_mm_s"), setting_unit("base.layers"), setting_unit("layer_mm")
    ('mm_s', 'layers', 'mm')
    """
    if name not in SETTINGS:
        setting_name(name)
    return "layers" if SETTINGS[name].nature is Nature.COUNT else SETTINGS[name].unit


def demo_settings() -> Settings:
    """Return a small set of settings for worked examples; invented values."""
    body = Phase(
        exposure_s=2.6, settle_s=2.0, peel_lift_m=0.002, peel_speed_m_s=0.001, clear_lift_m=0.003,
        clear_speed_m_s=0.003, return_speed_m_s=0.003,
    )  # fmt: skip
    base = evolve(body, exposure_s=30.0, settle_s=30.0, peel_lift_m=0.004, clear_lift_m=0.004)
    return Settings(layer_nm=50_000, base_layers=4, ramp_layers=6, base=base, body=body)


@frozen(kw_only=True)
class Proof:
    """What a recipe was proven on.

    Parameters
    ----------
    runs, failed : int
        How often it ran, and how many of those failed; a recipe that never ran stands on common practice.
    room_k : float
        Temperature of the room, and so of the resin, in those runs [K].
    parts : tuple of PartUse
        The parts it ran, or empty where only a plate load is known.
    load : PlateLoad or None
        The same as a tape measure gives it.
    film_layers : int or None
        Layers that the film had released by then; None where nobody counted.
    """

    runs: int = field(validator=validators.ge(0))
    failed: int = field(default=0, validator=validators.ge(0))
    room_k: float = field(validator=_positive)
    parts: tuple[PartUse, ...] = ()
    load: PlateLoad | None = None
    film_layers: int | None = field(default=None, validator=validators.optional(validators.ge(0)))

    def __attrs_post_init__(self) -> None:
        if self.failed > self.runs:
            raise InputError.one(
                "failed",
                to_say("{failed} of {runs} runs cannot have failed", failed=self.failed, runs=self.runs),
                to_say("Count again"),
            )

    @property
    def counted(self) -> int:
        """Runs it counts as: its own, or one for the many that made common practice."""
        return self.runs or 1

    @property
    def counted_held(self) -> int:
        """Those of them that held."""
        return self.counted - self.failed


@frozen(kw_only=True)
class Recipe:
    """Settings for one machine and one resin, with the evidence that they work."""

    name: str
    machine: str
    resin: str
    settings: Settings
    proof: Proof

    @property
    def tried(self) -> bool:
        """Whether anybody ever ran it."""
        return self.proof.runs > 0
