"""From gap readings to a plane, what it means for a base, and what to turn, shim or set."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve
from scipy.special import ndtr, ndtri

from vatwright.errors import InputError, Mistake
from vatwright.geometry.pressure import effective_torsion, platform_grid
from vatwright.physics.plane import PlaneFit, fit_plane, plane_sigma, twist_sigma
from vatwright.planning.demand.base import GRID_CELLS, StackLoad, platform_outline
from vatwright.planning.demand.exposure import cured_m, curve_is_known
from vatwright.planning.demand.settle import RUN_SCATTER, Run
from vatwright.planning.demand.unknowns import Worlds, draw
from vatwright.planning.level.corrections import screw_corrections, shim_corrections, twist_correction, zero_correction
from vatwright.records.job import Job
from vatwright.records.level import (
    BaseCheck,
    BaseDose,
    Corner,
    Correction,
    FittedPlane,
    GapReading,
    Gauge,
    LevelAnswer,
    LevelSurvey,
    Mount,
    SizeComparison,
)
from vatwright.records.machine import Machine, Obeys
from vatwright.records.process import Proof, Recipe, Settings
from vatwright.wording import to_say, to_say_many

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

ENOUGH = 0.9
"""Share of runs in which a corner must bond, and not be touched, for the platform to be level enough [-]; as the carry."""

EVEN = 0.5
"""Below an even chance the answer is no [-]."""

REAL_TWIST = 2.0
"""Twist beyond this many standard uncertainties is taken as real [-]: about 5 % of flat platforms would show it."""

CONTRADICTORY = 8.0
"""Readings that scatter this many times more than they say, twist set aside, contradict each other [-]: a dish of nine
hundredths of a millimetre under a feeler gauge; engineering estimate, no source."""

TIED = 0.9
"""Readings that stand out at least this much of the one that stands out most cannot be told from it [-]."""

NARROW = 0.05
"""Readings nearer to one line than this share of the half diagonal make no plane worth having [-]; engineering estimate."""

FILM_SHARE = 0.05
"""How far a film's thickness may be off its nominal, as a share of it [-]; engineering estimate, no source."""

LEAST_GAP_M = 5.0e-6
"""Below this the squeeze law is left and the platform counts as pressing on the film [m]: film and glass are no flatter;
engineering estimate, no source."""

RANGE = (0.05, 0.5, 0.95)


def reading_mistakes(machine: Machine, gauge: Gauge, readings: Sequence[GapReading]) -> list[Mistake]:
    """Return everything that keeps readings from making a plane for this machine.

    Parameters
    ----------
    machine : Machine
        Whose platform it is.
    gauge : Gauge
        What it was read with.
    readings : sequence of GapReading
        As handed in.

    Returns
    -------
    list of Mistake
        Empty where they can be used.
    """
    found = [m for r in readings for m in _alone(machine, gauge, r)] + _mixed_units(readings)
    if found or not readings:
        return found or [Mistake("readings", to_say("there are none"), to_say("Take readings near all four corners"))]
    return _line(machine, readings) or _contradictions(machine, readings)


def _alone(machine: Machine, gauge: Gauge, reading: GapReading) -> list[Mistake]:
    """What is wrong with one reading by itself."""
    found, platform = [], machine.platform
    slack_m = 1.0e-3
    if abs(reading.x_m) > platform.width_m / 2.0 + slack_m or abs(reading.y_m) > platform.depth_m / 2.0 + slack_m:
        what = to_say(
            "x {x:g}, y {y:g} mm lies outside {name}'s platform ({width:g} x {depth:g} mm, from its centre)",
            x=reading.x_m * 1e3,
            y=reading.y_m * 1e3,
            name=machine.name,
            width=platform.width_m * 1e3,
            depth=platform.depth_m * 1e3,
        )
        found.append(Mistake(reading.where, what, to_say("Count x to the right and y away from you, from the middle")))
    if not gauge.least_m <= reading.gap_m <= gauge.most_m:
        what = to_say(
            "{gap:g} um is outside what {method} reads ({least:g} to {most:g} um)",
            gap=reading.gap_m * 1e6,
            method=gauge.method,
            least=gauge.least_m * 1e6,
            most=gauge.most_m * 1e6,
        )
        do = (
            to_say("Check the unit: gaps are in um, so 0.15 mm is 150")
            if abs(reading.gap_m) < 1e-5
            else to_say("Read again")
        )
        found.append(Mistake(reading.where, what, do))
    return found


def _mixed_units(readings: Sequence[GapReading]) -> list[Mistake]:
    """Gaps that would fit the others if they had been written in millimetres."""
    sizes = [abs(r.gap_m) for r in readings]
    middle = float(np.median(sizes)) if sizes else 0.0
    return [
        Mistake(
            r.where,
            to_say(
                "{gap:g} um stands among readings of about {middle:g} um",
                gap=r.gap_m * 1e6,
                middle=middle * 1e6,
            ),
            to_say("If it is in mm write {gap:g}; gaps are in um", gap=r.gap_m * 1e9),
        )
        for r in readings
        if 0.0 < abs(r.gap_m) < middle / 50.0 and 0.2 < abs(r.gap_m) * 1000.0 / middle < 5.0
    ]


def _line(machine: Machine, readings: Sequence[GapReading]) -> list[Mistake]:
    """Too few readings, or readings that lie on a line."""
    if len(readings) < 3:
        what = to_say_many(
            len(readings),
            "{n} reading makes no plane, three at least do",
            "{n} readings make no plane, three at least do",
        )
        return [Mistake("readings", what, to_say("Take readings near all four corners"))]
    where = np.array([(r.x_m, r.y_m) for r in readings])
    spread = np.linalg.svd(where - where.mean(axis=0), compute_uv=False)[-1] / math.sqrt(len(where))
    if spread < NARROW * half_diagonal_m(machine):
        what = to_say("the readings lie on one line, or nearly: they say nothing about the tilt across it")
        return [Mistake("readings", what, to_say("Take readings near all four corners"))]
    return []


def _contradictions(machine: Machine, readings: Sequence[GapReading]) -> list[Mistake]:
    """The readings that stand out where they scatter far more than they say, a twist set aside."""
    plane = _fit(readings)
    best = _fit(readings, machine) if math.isfinite(_twist_sigma(machine, readings)) else plane
    if best.freedom < 1 or math.sqrt(best.chi_square / best.freedom) <= CONTRADICTORY:
        return []
    out = np.abs(plane.standardised)
    odd = [r for r, s in zip(readings, out, strict=True) if s >= TIED * out.max()]
    do = to_say("Read there again; if it stays, give that reading a larger sigma_um or leave it out")
    alone = (
        to_say("stands out")
        if len(odd) == 1
        else to_say("is one of {odd} that stand out (one of them is wrong)", odd=len(odd))
    )
    times = math.sqrt(best.chi_square / best.freedom)
    return [
        Mistake(
            r.where,
            to_say(
                "the gap of {gap:g} um at x {x:g}, y {y:g} mm {alone}: no plane comes near it, "
                "the readings scatter {times:.0f} times more than they say",
                gap=r.gap_m * 1e6,
                x=r.x_m * 1e3,
                y=r.y_m * 1e3,
                alone=alone,
                times=times,
            ),
            do,
        )
        for r in odd
    ]


def half_diagonal_m(machine: Machine) -> float:
    """Return half the diagonal of a machine's platform [m]."""
    return math.hypot(machine.platform.width_m, machine.platform.depth_m) / 2.0


def _fit(readings: Sequence[GapReading], twisted: Machine | None = None) -> PlaneFit:
    """The plane through readings, with twist over a machine's platform where one is given."""
    return fit_plane(
        x_m=[r.x_m for r in readings],
        y_m=[r.y_m for r in readings],
        gap_m=[r.gap_m for r in readings],
        sigma_m=[r.sigma_m for r in readings],
        width_m=twisted.platform.width_m if twisted else None,
        depth_m=twisted.platform.depth_m if twisted else None,
    )


def _sigma_at(readings: Sequence[GapReading], x_m: float, y_m: float, twisted: Machine | None = None) -> float:
    """Standard uncertainty of that fit at a place [m]."""
    return plane_sigma(
        x_m=[r.x_m for r in readings],
        y_m=[r.y_m for r in readings],
        sigma_m=[r.sigma_m for r in readings],
        at_x_m=x_m,
        at_y_m=y_m,
        width_m=twisted.platform.width_m if twisted else None,
        depth_m=twisted.platform.depth_m if twisted else None,
    )


def _twist_sigma(machine: Machine, readings: Sequence[GapReading]) -> float:
    return twist_sigma(
        x_m=[r.x_m for r in readings],
        y_m=[r.y_m for r in readings],
        sigma_m=[r.sigma_m for r in readings],
        width_m=machine.platform.width_m,
        depth_m=machine.platform.depth_m,
    )


def fitted_plane(survey: LevelSurvey) -> FittedPlane:
    """Return the plane through the readings of a survey, and what it cannot explain.

    Parameters
    ----------
    survey : LevelSurvey
        Its readings and its platform.

    Returns
    -------
    FittedPlane
        Tilt and offset are of the plane without twist, by weighted least squares.

    Notes
    -----
    Where the readings scatter more than they say, uncertainties grow by Birge's ratio.

    References
    ----------
    Draper and Smith (1998) [draper:1998]; Birge, Phys. Rev. 40 (1932) 207-227 [birge:1932].
    """
    readings, machine = survey.readings, survey.machine
    plane = _fit(readings)
    best, twist_m, sigma_m, twisted = plane, None, None, False
    if math.isfinite(alone := _twist_sigma(machine, readings)):
        with_twist = _fit(readings, machine)
        twist_m, sigma_m = with_twist.twist_m, alone * _scatter(with_twist.chi_square, with_twist.freedom)
        twisted = abs(twist_m) > REAL_TWIST * sigma_m
        best = with_twist if twisted else plane
    scatter = _scatter(best.chi_square, best.freedom)
    own = _sigma_at(readings, 0.0, 0.0) * scatter
    return FittedPlane(
        offset_m=plane.offset_m, offset_sigma_m=math.hypot(own, survey.gauge.shared_m),
        tilt_x=plane.tilt_x, tilt_y=plane.tilt_y, twist_m=twist_m, twist_sigma_m=sigma_m, twisted=twisted,
        residual_m=tuple(plane.residual_m.tolist()), residual_rms_m=plane.residual_rms_m, scatter=scatter,
    )  # fmt: skip


def _scatter(chi_square: float, freedom: int) -> float:
    """Birge's ratio, never below 1: agreement by luck makes nobody surer."""
    return max(1.0, math.sqrt(chi_square / freedom)) if freedom > 0 else 1.0


def corners_of(survey: LevelSurvey, plane: FittedPlane) -> tuple[Corner, ...]:
    """Return the four corners of the platform, from front left around it counter-clockwise as seen from above."""
    half_w, half_d = survey.machine.platform.width_m / 2.0, survey.machine.platform.depth_m / 2.0
    found = []
    for name, sx, sy in (
        (to_say("front left"), -1, -1),
        (to_say("front right"), 1, -1),
        (to_say("rear right"), 1, 1),
        (to_say("rear left"), -1, 1),
    ):
        x, y = sx * half_w, sy * half_d
        flat = plane.offset_m + plane.tilt_x * x + plane.tilt_y * y
        gap = flat + (sx * sy * (plane.twist_m or 0.0) if plane.twisted else 0.0)
        sigma = _sigma_at(survey.readings, x, y, survey.machine if plane.twisted else None) * plane.scatter
        found.append(
            Corner(name=name, x_m=x, y_m=y, plane_m=flat, gap_m=gap, error_m=gap - plane.offset_m, sigma_m=sigma)
        )
    return tuple(found)


def zero_m(survey: LevelSurvey, plane: FittedPlane) -> tuple[float, float] | None:
    """Return by how much the middle stands too high where the machine calls it zero, and its standard uncertainty [m].

    Read down to the bare screen, the film takes its thickness of the gap when it is fitted.  None for a gauge that reads
    no height.
    """
    if not survey.gauge.absolute:
        return None
    film_m = 0.0 if survey.on_film else survey.machine.film.thickness_m
    high = plane.offset_m - (survey.height_m or 0.0) - film_m
    return high, math.hypot(plane.offset_sigma_m, FILM_SHARE * film_m)


def check_base(survey: LevelSurvey, plane: FittedPlane) -> tuple[BaseCheck, tuple[Corner, ...]]:
    """Return what a base makes of this platform, and the corners with their chances.

    A corner bonds where the gap settled under the platform, plus the corner's error, is no more than the light bonds
    through; it touches where that sum is nothing or less.

    Parameters
    ----------
    survey : LevelSurvey
        With its base.
    plane : FittedPlane
        Through its readings.

    Returns
    -------
    tuple
        BaseCheck; the four Corners.

    Raises
    ------
    InputError
        For a survey without a base.

    Notes
    -----
    The whole platform squeezes as if it were level, at the gap in its middle; every unknown is drawn as the carry draws
    it, from what the records state.  How the recipe fared before is not looked at, so the ranges are the wider ones.

    References
    ----------
    Reynolds (1886) [reynolds:1886]; Jacobs (1992), equation 4-4 [jacobs:1992].
    """
    if survey.base is None:
        raise InputError.one(
            "base", to_say("there is no base to judge for"), to_say("Name a recipe, or give exposure and settle")
        )
    settings = on_this_controller(survey.base.settings, survey.machine)
    worlds = draw(_job(survey.machine, survey.base, settings), count=512)
    corners = corners_of(survey, plane)
    high, high_sigma = (zero_m(survey, plane) if survey.height_m is not None else None) or (0.0, 0.0)
    middle = _settled_m(survey.machine, settings, worlds, high)
    light = cured_m(worlds.target, np.array([settings.base.exposure_s]), share=survey.machine.light.dimmest)[:, 0]
    limit = np.maximum(light - worlds.overcure_m, 0.0)
    noise = worlds.axes["level target"]
    judged = tuple(
        evolve(
            c,
            bonds=_bond_chance(middle + c.error_m + math.hypot(c.sigma_m, high_sigma) * noise, limit),
            touches=float(np.mean(middle + c.error_m + math.hypot(c.sigma_m, high_sigma) * noise <= 0.0)),
        )
        for c in corners
    )
    asked = limit * math.exp(-RUN_SCATTER * float(ndtri(ENOUGH)))
    check = BaseCheck(
        name=survey.base.name,
        exposure_s=settings.base.exposure_s,
        settle_s=settings.base.settle_s,
        layer_m=settings.layer_m,
        settled_m=_three(middle),
        bonds_to_m=_three(limit),
        zero_m=high if survey.height_m is not None and survey.gauge.absolute else None,
        allowed_m=max(float(np.quantile(asked - middle, 1.0 - ENOUGH)), 0.0),
    )
    return check, judged


def on_this_controller(settings: Settings, machine: Machine) -> Settings:
    """Return the settings with base settle and light as this controller can do them."""
    for name in ("base.settle_s", "base.exposure_s"):
        rule = machine.controller.rule(name)
        value = rule.fixed if rule.obeys is Obeys.NO else min(max(settings.value(name), rule.minimum), rule.maximum)
        settings = settings.with_value(name, value)
    return settings


def _job(machine: Machine, base: BaseDose, settings: Settings) -> Job:
    """The base as a job on this machine alone, so that worlds can be drawn for it."""
    recipe = Recipe(
        name=base.name,
        machine=machine.name,
        resin=base.resin.name,
        settings=settings,
        proof=Proof(runs=1, room_k=base.room_k),
    )
    return Job(
        name=base.name,
        recipe=recipe,
        origin=machine,
        target=machine,
        resin_from=base.resin,
        resin=base.resin,
        room_k=base.room_k,
        parts=(),
    )


def _settled_m(machine: Machine, settings: Settings, worlds: Worlds, high_m: float) -> Floats:
    """Gap in the middle when the light comes on, in every world, (S,) [m]; below 0 where the platform presses on the film."""
    asked_m = settings.layer_m + high_m
    layer_m = max(asked_m, LEAST_GAP_M)
    outline, openings = platform_outline(machine.platform)
    grid = platform_grid(outline, openings, cells=GRID_CELLS[0])
    whole = effective_torsion(grid, np.zeros_like(grid.inside), gap_m=layer_m, printed_m=0.0)
    load = StackLoad(
        torsion_m4=np.zeros(1),
        platform_torsion_m4=np.array([whole]),
        platform_extra_gap_m=np.zeros(1),
        platform_follows=np.zeros(1),
        layer_m=np.array([layer_m]),
    )
    run = Run(
        machine=machine,
        settings=settings,
        load=load,
        side=worlds.target,
        overcure_m=worlds.overcure_m,
        confidence=ENOUGH,
    )
    return np.asarray(run.result().thickness_m[:, 0] + (asked_m - layer_m))


def _bond_chance(gap_m: Floats, limit_m: Floats) -> float:
    ratio = np.maximum(limit_m, 1e-9) / np.maximum(gap_m, LEAST_GAP_M)
    return float(np.mean(ndtr(np.log(ratio) / RUN_SCATTER)))


def _three(values: Floats) -> tuple[float, float, float]:
    low, middle, high = (float(q) for q in np.quantile(values, RANGE))
    return low, middle, high


def answer_of(corners: Sequence[Corner], base: BaseCheck | None) -> LevelAnswer:
    """Return the answer that the corners' chances make together.

    A corner that meets the film is pressed against the arm, which gives; that is doubtful, and a no where it would have
    to give more than a layer.
    """
    if base is None:
        return LevelAnswer.GEOMETRY
    bonds, touches = min(c.bonds or 0.0 for c in corners), max(c.touches or 0.0 for c in corners)
    pressed_m = -(base.settled_m[1] + min(c.error_m for c in corners))
    if bonds < EVEN or pressed_m > base.layer_m:
        return LevelAnswer.NO
    return LevelAnswer.YES if bonds >= ENOUGH and touches <= 1.0 - ENOUGH else LevelAnswer.DOUBTFUL


def verdict_words(plane: FittedPlane, corners: Sequence[Corner], base: BaseCheck | None) -> str:
    """Return the verdict as a person would say it across a bench."""
    far, near = (pick(corners, key=lambda c: c.error_m) for pick in (max, min))
    if base is None:
        tilt = math.hypot(plane.tilt_x, plane.tilt_y)
        return to_say(
            "The {name} corner stands {error:.0f} um higher than the middle and the {name_2} "
            "corner {error_2:.0f} um lower (tilt {tilt:.2f} mrad). This is geometry only: name a "
            "recipe to hear whether it matters.",
            name=far.name,
            error=far.error_m * 1e6,
            name_2=near.name,
            error_2=-near.error_m * 1e6,
            tilt=tilt * 1e3,
        )
    middle, there = base.settled_m[1] * 1e6, (base.settled_m[1] + far.error_m) * 1e6
    light = to_say(
        "{exposure:g} s of light bonds through {bonds_to:.0f} um",
        exposure=base.exposure_s,
        bonds_to=base.bonds_to_m[1] * 1e6,
    )
    if base.settled_m[1] > base.bonds_to_m[1]:
        return to_say(
            "Levelling alone cannot save this base: even in the middle the resin is still "
            "{middle:.0f} um thick when the light comes on, and {light}.",
            middle=middle,
            light=light,
        )
    if (near.touches or 0.0) > 1.0 - ENOUGH and (far.bonds or 0.0) >= EVEN:
        where = {"name": near.name, "error": -near.error_m * 1e6, "middle": middle}
        if (near.touches or 0.0) > EVEN:
            return to_say(
                "The {name} corner will press on the film: it stands {error:.0f} um lower than the "
                "middle, where the gap settles to {middle:.0f} um.",
                **where,
            )
        return to_say(
            "The {name} corner may press on the film: it stands {error:.0f} um lower than the "
            "middle, where the gap settles to {middle:.0f} um.",
            **where,
        )
    thick = to_say(
        "the resin there is about {there:.0f} um thick when the light comes on, and {light}", there=there, light=light
    )
    return {
        LevelAnswer.YES: to_say("Level enough: the {name} corner is the worst; {thick}.", name=far.name, thick=thick),
        LevelAnswer.DOUBTFUL: to_say(
            "Doubtful: the base may let go at the {name} corner; {thick}.", name=far.name, thick=thick
        ),
        LevelAnswer.NO: to_say("The base will let go at the {name} corner: {thick}.", name=far.name, thick=thick),
    }[answer_of(corners, base)]


def compare_sizes(survey: LevelSurvey, plane: FittedPlane, base: BaseCheck | None) -> tuple[SizeComparison, ...]:
    """Return what this tilt does at the corners of every machine of the shop, this one first, then by size.

    Notes
    -----
    Error is tilt times half the diagonal; the tilt forgiven is the corner error this base allows over the same.  For the
    other machines that is as if their base left the same room.
    """
    tilt = math.hypot(plane.tilt_x, plane.tilt_y)
    others = sorted((m for m in survey.others if m.name != survey.machine.name), key=half_diagonal_m)
    return tuple(
        SizeComparison(
            machine=m.name,
            half_diagonal_m=half_diagonal_m(m),
            error_m=tilt * half_diagonal_m(m),
            forgiven_tilt=None if base is None else base.allowed_m / half_diagonal_m(m),
        )
        for m in (survey.machine, *others)
    )


def corrections_of(survey: LevelSurvey, plane: FittedPlane, corners: Sequence[Corner]) -> tuple[Correction, ...]:
    """Return what to do, in order: ease a twist, tilt it level, set the height."""
    sigmas = {s.name: _sigma_at(survey.readings, s.x_m, s.y_m) * plane.scatter for s in survey.screws.places}
    found = twist_correction(plane, survey.screws)
    if survey.screws.mount is Mount.BALL:
        found += shim_corrections(corners, leaf_m=survey.leaf_m)
    else:
        found += screw_corrections(plane, survey.screws, sigmas)
    found += zero_correction(survey, zero_m(survey, plane))
    return tuple(evolve(c, order=n + 1) for n, c in enumerate(found))


def notes_of(survey: LevelSurvey, plane: FittedPlane) -> tuple[str, ...]:
    """Return what is taken for granted, and what the readings cannot tell."""
    gauge, notes = survey.gauge, list(survey.screws.assumed)
    notes.append(to_say("Read with {method}: {grade}", method=gauge.method, grade=gauge.grade))
    if len(survey.readings) == 3:
        notes.append(to_say("Three readings fit any plane: nothing checks them. A fourth corner would"))
    elif len(survey.readings) == 4:
        notes.append(to_say("Four readings cannot tell a twisted platform from one wrong reading: read the middle too"))
    if plane.twist_m is None:
        notes.append(to_say("From these places twist cannot be told from tilt"))
    if plane.scatter > 1.5:
        notes.append(
            to_say(
                "The readings scatter {scatter:.1f} times more than they say: every uncertainty is widened by that",
                scatter=plane.scatter,
            )
        )
    if gauge.absolute and survey.height_m is None:
        notes.append(
            to_say(
                "Nobody said which height the machine showed while it was read, so its zero is taken "
                "as right in the middle (z_mm says it)"
            )
        )
    if survey.base is not None:
        notes += _base_notes(survey, survey.base)
    return tuple(notes)


def _base_notes(survey: LevelSurvey, base: BaseDose) -> list[str]:
    notes = []
    settings = on_this_controller(base.settings, survey.machine)
    for name, label in (("base.settle_s", "settle"), ("base.exposure_s", "light")):
        if settings.value(name) != base.settings.value(name):
            notes.append(
                to_say(
                    "{name} gives {value:g} s of base {label}, not the {value_2:g} asked for",
                    name=survey.machine.name,
                    value=settings.value(name),
                    label=label,
                    value_2=base.settings.value(name),
                )
            )
    if base.proven_on not in {"", survey.machine.name}:
        notes.append(
            to_say(
                "{name} was proven on {proven_on} and is judged here as it stands, not carried",
                name=base.name,
                proven_on=base.proven_on,
            )
        )
    if not curve_is_known(base.resin):
        notes.append(
            to_say(
                "Nobody measured how deep {name} cures: an estimate stands in, and the range is wide",
                name=base.resin.name,
            )
        )
    return notes
