"""Where nobody has a proven recipe: what practice sets on a machine of this size, and what it was found good for.

Everything in this file is common practice or an estimate and has no source; it is a place to start from, and counts as
half a run that held on a common load.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

from attrs import evolve

from vatwright.records.part import PlateLoad
from vatwright.records.process import Phase, Proof, Recipe, Settings
from vatwright.wording import to_say

if TYPE_CHECKING:
    from vatwright.records.job import Job
    from vatwright.records.machine import Machine
    from vatwright.records.material import Label, Resin

PRACTICE = to_say("common practice")
"""What a recipe is called that nobody wrote down."""

PRACTICE_WEIGHT = 0.5
"""How much common practice speaks for, against a run on the very machine [-]: it held on many, none of them this one;
engineering estimate, no source."""

ROOM_K = 295.15
"""Room in which practice was found good, 22 C [K]; common practice, no source."""

SHARE_COVERED = 0.2
"""Share of a platform that a common load covers at its largest sections [-]; engineering estimate, no source."""

SECTION_M2 = 450.0e-6
"""Largest section of one piece of a common load [m2]; engineering estimate, no source."""

HEIGHT_M = 0.06
"""Height of a common load [m], half the machine's where that is less; engineering estimate, no source."""

LAYER_NM = 50_000
"""Common layer thickness [nm]; common practice, no source."""

BASE_EXPOSURE_S, BODY_EXPOSURE_S = 30.0, 2.5
"""Common light at that layer thickness [s]; common practice, no source."""

BASE_LAYERS, RAMP_LAYERS = 4, 4
"""Common layers of base and ramp; common practice, no source."""

SLOW_M_S, FAST_M_S = 1.0e-3, 3.0e-3
"""Common speed of the slow stage, and of the fast stage and the way down [m/s]; engineering estimate, no source."""


class Size(NamedTuple):
    """What practice sets on machines of one size: rises in slow and fast stage [m], waits before the light [s]."""

    up_to_m: float
    base_lift_m: tuple[float, float]
    body_lift_m: tuple[float, float]
    base_settle_s: float
    body_settle_s: float


SIZES = (
    Size(0.212, (4e-3, 4e-3), (2e-3, 3e-3), 30.0, 2.0),
    Size(0.290, (4e-3, 4e-3), (3e-3, 3e-3), 30.0, 2.0),
    Size(math.inf, (4e-3, 6e-3), (3e-3, 5e-3), 45.0, 4.0),
)
"""Compact (7 in), mid (10 in) and large (13 in and more) machines, by the diagonal of the platform, parted at the
geometric means between those sizes [m]; common practice, no source."""


def size_of(machine: Machine) -> Size:
    """Return what practice sets on a machine as large as this one."""
    diagonal_m = math.hypot(machine.platform.width_m, machine.platform.depth_m)
    return next(size for size in SIZES if diagonal_m <= size.up_to_m)


def common_settings(machine: Machine) -> Settings:
    """Return what practice sets on a machine as large as this one."""
    size = size_of(machine)

    def phase(exposure_s: float, settle_s: float, lift_m: tuple[float, float]) -> Phase:
        return Phase(
            exposure_s=exposure_s, settle_s=settle_s, peel_lift_m=lift_m[0], clear_lift_m=lift_m[1],
            peel_speed_m_s=SLOW_M_S, clear_speed_m_s=FAST_M_S, return_speed_m_s=FAST_M_S,
        )  # fmt: skip

    return Settings(
        layer_nm=LAYER_NM, base_layers=BASE_LAYERS, ramp_layers=RAMP_LAYERS,
        base=phase(BASE_EXPOSURE_S, size.base_settle_s, size.base_lift_m),
        body=phase(BODY_EXPOSURE_S, size.body_settle_s, size.body_lift_m),
    )  # fmt: skip


def common_load(machine: Machine) -> PlateLoad:
    """Return the load that practice was found good for on a machine as large as this one."""
    covered_m2 = SHARE_COVERED * machine.platform.width_m * machine.platform.depth_m
    pieces = max(1, round(covered_m2 / SECTION_M2))
    section_m2 = min(SECTION_M2, covered_m2)
    return PlateLoad(pieces=pieces, section_m2=section_m2, height_m=min(HEIGHT_M, machine.height_m / 2.0))


def common_recipe(
    machine: Machine, *, resin: Resin, untried: Recipe | None = None, at: Machine | None = None
) -> Recipe:
    """Return the recipe to start from on a machine where nothing is proven: waits, rises and speeds of common practice.

    Parameters
    ----------
    machine : Machine
        Where it will run.
    resin : Resin
        The resin; what its label says of layer and light is taken where no recipe does, its light by dose.
    untried : Recipe or None
        A recipe that nobody ran, off a label or from somebody else: its name, layer and light are taken, its light by
        dose; waits and rises that nobody tried are not.
    at : Machine or None
        The machine that recipe was written for.

    Returns
    -------
    Recipe
        With no run, and the common load as what it is good for.
    """
    settings = _labelled(common_settings(machine), machine, resin.label)
    if untried is not None:
        by_dose = 1.0 if at is None else at.light.irradiance_w_m2.value / machine.light.irradiance_w_m2.value
        given = untried.settings
        settings = evolve(
            settings, layer_nm=given.layer_nm, base_layers=given.base_layers, ramp_layers=given.ramp_layers,
            base=evolve(settings.base, exposure_s=given.base.exposure_s * by_dose),
            body=evolve(settings.body, exposure_s=given.body.exposure_s * by_dose),
        )  # fmt: skip
    return Recipe(
        name=untried.name if untried else PRACTICE, machine=machine.name, resin=resin.name, settings=settings,
        proof=Proof(runs=0, room_k=ROOM_K, load=common_load(machine)),
    )  # fmt: skip


def _labelled(settings: Settings, machine: Machine, label: Label | None) -> Settings:
    """What a label says of layer and light, in place of common practice; seconds as printed where it names no light."""
    if label is None:
        return settings
    light = label.irradiance_w_m2
    by_dose = 1.0 if light is None else light / machine.light.irradiance_w_m2.value

    def lit(phase: Phase, said_s: float | None) -> Phase:
        return phase if said_s is None else evolve(phase, exposure_s=said_s * by_dose)

    return evolve(
        settings,
        layer_nm=label.layer_nm or settings.layer_nm,
        base=lit(settings.base, label.base_exposure_s),
        body=lit(settings.body, label.exposure_s),
    )


def job_on(job: Job, machine: Machine) -> Job:
    """Return a job as it goes to `machine`; where nobody ran its recipe, started from common practice on that machine.

    A recipe that somebody ran keeps the machine it ran on.  Worked out for one machine, a job without a proven recipe is
    carried to another from practice there, its light by dose.
    """
    if machine.name != job.target.name:
        job = evolve(job, film_layers=None)  # that was the other machine's film
    if job.recipe.tried:
        return evolve(job, target=machine)
    untried = None if job.recipe.name == PRACTICE else job.recipe
    recipe = common_recipe(machine, resin=job.resin, untried=untried, at=job.origin)
    return evolve(job, recipe=recipe, origin=machine, target=machine, resin_from=job.resin)
