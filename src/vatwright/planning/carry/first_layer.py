"""The first-layer map: over the platform, what each base layer meets against what its dose cures there."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve

from vatwright.planning.carry.mend import Start, mends
from vatwright.planning.demand.base import base_fields
from vatwright.planning.demand.base_bond import (
    BaseBond,
    Ground,
    Judged,
    cured_places_m,
    deep_places_m,
    ground_at,
    level_is_read,
    plane_slopes,
    tip_stiffness_j,
)
from vatwright.planning.demand.case import Case
from vatwright.records.first_layer import (
    BaseLayer,
    BasePlace,
    BasePressure,
    FirstLayers,
    Mend,
    TypedBase,
    place_name,
)
from vatwright.records.machine import Backing, Controller, Machine, Obeys
from vatwright.records.process import PHASE_SETTINGS, Settings
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.geometry.pressure import PlatformField

    Floats = NDArray[np.float64]
    Indices = NDArray[np.intp]

GRID_NODES = 29
"""Nodes of the maps along the platform's long side: a few hundred in all, enough for a picture; the worst places are
looked for along the outlines themselves."""

SAME_CHANCE = 1.0e-3
"""Chances closer than this are one, and the place with less to spare is the worse [-]."""

RANGE = (0.05, 0.5, 0.95)


def first_layers(case: Case, settings: Settings, settle_s: Floats) -> FirstLayers:
    """Return the base of a plan on its machine, place by place, and the mends where it or the proven values need one.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    settings : Settings
        What the plan sets.
    settle_s : (N,) ndarray
        Settle of every layer [s].

    Returns
    -------
    FirstLayers
        Maps, worst places, pressures, mends.

    Notes
    -----
    The gap at a place is what the layer stack leaves in the middle (where the film gives: on average, and as much more or less
    as the film is bowed there), plus the platform out of level and flat there (layer 0
    alone: later layers rest on it), plus what an uneven load tips the platform by, through its tip stiffness, since the
    layer before.  The tip is taken from the pressure solved at the median gap; it does not react back on the squeeze.

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13 [reynolds:1886]; Jacobs (1992), equation 4-4
    [jacobs:1992].
    """
    machine = case.job.target
    places = _ground(case, _judged_places_m(case))
    bond, fields = _bond(case, settings, settle_s, places)
    judged = bond.judged()
    typed_settings, typed_settle = as_typed(case)
    typed_bond, _ = _bond(case, typed_settings, typed_settle, places)
    typed = typed_bond.judged()
    chance = judged.chance()
    plan = chance < case.job.confidence
    start = (settings, settle_s, judged) if plan else (typed_settings, typed_settle, typed)
    x, y = _grid(machine)
    nodes = _ground(case, np.column_stack([g.ravel() for g in np.meshgrid(x, y)]))
    layers = tuple(_layer(judged, n, nodes, machine, (len(y), len(x))) for n in range(judged.layers))
    return FirstLayers(
        platform=machine.platform,
        outlines_m=case.target_study.base_outlines_m,
        weak=_weak(judged, case),
        x_m=x,
        y_m=y,
        layers=layers,
        pressures=tuple(_pressure(judged, n, field, (x, y)) for n, field in enumerate(fields)),
        first=_first(judged),
        chance=chance,
        enough=case.job.confidence,
        level_read=level_is_read(machine),
        tip_read=machine.tip is not None,
        typed=_typed(typed, machine),
        mends_plan=plan,
        mends=_mends(case, *start),
        notes=_notes(case, judged),
    )


def base_chance(case: Case, settings: Settings, settle_s: Floats) -> float:
    """Return how likely the whole base of a plan holds, place by place [-]; parameters as of :func:`first_layers`."""
    places = _ground(case, _judged_places_m(case))
    return _bond(case, settings, settle_s, places)[0].judged().chance()


def _judged_places_m(case: Case) -> Floats:
    """Where the base can be worst, (P, 2) [m]: along its outlines, and inside them where the film gives."""
    edge = cured_places_m(case.target_study, case.job.target)
    if case.job.target.film.backing is Backing.GLASS:
        return edge
    return np.concatenate((edge, deep_places_m(case.target_study)))


def as_typed(case: Case) -> tuple[Settings, Floats]:
    """Return the proven values as this controller takes them when somebody just types them in, and each layer's settle.

    A value shared by base and body is the body's: that is the one most layers need; one it does not obey is its own.
    """
    settings = evolve(case.job.recipe.settings, layer_nm=case.target_study.layer_nm)
    controller = case.job.target.controller
    for setting in PHASE_SETTINGS:
        settings = settings.with_value(setting.name, _taken(settings, setting.name, controller))
    rule = controller.rule("base.layers")
    if rule.obeys is Obeys.NO:
        settings = evolve(settings, base_layers=round(rule.fixed))
    return settings, case.target_run(settings).settle_s()


def _taken(settings: Settings, name: str, controller: Controller) -> float:
    rule = controller.rule(name)
    if rule.obeys is Obeys.NO:
        return rule.fixed
    value = settings.value(name.replace("base.", "body.") if rule.obeys is Obeys.SHARED else name)
    return min(max(value, rule.minimum), rule.maximum)


def _ground(case: Case, places_m: Floats) -> Ground:
    return ground_at(places_m, case.job.target, case.worlds.axes["level target"], dimmest=case.light_to.dimmest)


def _bond(
    case: Case, settings: Settings, settle_s: Floats, ground: Ground
) -> tuple[BaseBond, tuple[PlatformField, ...]]:
    """The base of a run with the places judged, and the pressure field of each of its layers."""
    run = case.target_run(settings)
    count = min(settings.base_layers, run.layers)
    run = evolve(run, load=run.load.first(count))
    machine = case.job.target
    bond = BaseBond(
        run=run, settle_s=settle_s[:count], ground=ground, lever_m=np.zeros((count, 2)),
        tip_stiffness_j=tip_stiffness_j(machine.tip),
    )  # fmt: skip
    gap_m = np.median(run.result(bond.settle_s).thickness_m, axis=0)
    fields = base_fields(case.target_study, machine, gap_m=gap_m, tilt=plane_slopes(machine))
    middle = fields[0].grid.centre_m
    lever = np.array([f.centre_of_pressure_m() for f in fields]) - middle
    return evolve(bond, lever_m=lever), fields


def _first(judged: Judged) -> int:
    """The layer that lets go first: the likeliest to, and of like ones the one with least to spare."""
    chances = judged.layer_chances()
    like = np.flatnonzero(chances <= chances.min() + SAME_CHANCE)
    spare = [float(np.median(judged.spare_m(n, judged.bond.ground).min(axis=1))) for n in like.tolist()]
    return int(like[int(np.argmin(spare))])


def _worst_place(judged: Judged, layer: int) -> int:
    chances, ground = judged.chances(layer, judged.bond.ground), judged.bond.ground
    spare = np.median(judged.spare_m(layer, ground), axis=0)
    return int(np.argmin(np.where(chances <= chances.min() + SAME_CHANCE, spare, np.inf)))


def _layer(judged: Judged, layer: int, nodes: Ground, machine: Machine, shape: tuple[int, int]) -> BaseLayer:
    x, y = judged.bond.ground.places_m.T
    half = (machine.platform.width_m, machine.platform.depth_m)
    outer = [int(np.argmax(sx * x / half[0] + sy * y / half[1])) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
    return BaseLayer(
        layer=layer,
        worst=_place(judged, layer, _worst_place(judged, layer), machine),
        corners=tuple(_place(judged, layer, k, machine) for k in outer),
        spare_m=np.median(judged.spare_m(layer, nodes), axis=0).reshape(shape),
        chance=judged.chances(layer, nodes).reshape(shape),
        settle_s=float(judged.bond.settle_s[layer]),
        exposure_s=float(judged.bond.run.exposure_s()[layer]),
    )


def _place(judged: Judged, layer: int, index: int, machine: Machine) -> BasePlace:
    ground = judged.bond.ground.only(np.array([index]))
    (x, y), commanded = ground.places_m[0], float(judged.bond.run.load.layer_m[layer])
    uneven, tipped = (a[:, 0] for a in (judged.uneven_m(layer, ground), judged.tipped_m(layer, ground)))
    thickness = judged.thickness_m[:, layer] + judged.bowed_m(layer, ground)[:, 0]
    return BasePlace(
        name=place_name(float(x), float(y), width_m=machine.platform.width_m, depth_m=machine.platform.depth_m),
        x_m=float(x),
        y_m=float(y),
        gap_m=_three(np.maximum(thickness + uneven + tipped, 0.0)),
        bonds_to_m=_three(judged.limit_m(layer, ground)[:, 0]),
        layer_m=commanded,
        unsettled_m=float(np.median(thickness)) - commanded,
        uneven_m=float(np.median(uneven)),
        tipped_m=float(np.median(tipped)),
        chance=float(judged.chances(layer, ground)[0]),
    )


def _three(values: Floats) -> tuple[float, float, float]:
    low, middle, high = (float(q) for q in np.quantile(values, RANGE))
    return low, middle, high


def _typed(judged: Judged, machine: Machine) -> TypedBase:
    layer = _first(judged)
    return TypedBase(
        settle_s=float(judged.bond.settle_s[layer]),
        exposure_s=float(judged.bond.run.exposure_s()[layer]),
        layer=layer,
        worst=_place(judged, layer, _worst_place(judged, layer), machine),
        chance=judged.chance(),
    )


def _weak(judged: Judged, case: Case) -> tuple[bool, ...]:
    """For each outline, whether a corner of it bonds less often than asked for, in some layer."""
    loops = case.target_study.base_outlines_m
    if not loops:
        return ()
    corners = _ground(case, np.concatenate(loops))
    least = np.min([judged.chances(n, corners) for n in range(judged.layers)], axis=0)
    ends = np.cumsum([len(loop) for loop in loops])[:-1]
    return tuple(bool(part.min() < case.job.confidence) for part in np.split(least, ends))


def _mends(case: Case, settings: Settings, settle_s: Floats, judged: Judged) -> tuple[Mend, ...]:
    if judged.chance() >= case.job.confidence:
        return ()
    everywhere = judged.bond.ground
    narrowed = evolve(judged, bond=evolve(judged.bond, ground=everywhere.only(_critical(judged))))
    return mends(
        Start(
            case=case, settings=settings, settle_s=settle_s, judged=narrowed, everywhere=everywhere,
            dimmest=case.light_to.dimmest,
        )
    )  # fmt: skip


def _critical(judged: Judged) -> Indices:
    """The places that are the worst in some world and layer: no other place decides."""
    worst = [judged.spare_m(n, judged.bond.ground).argmin(axis=1) for n in range(judged.layers)]
    return np.unique(np.concatenate(worst))


def _pressure(judged: Judged, layer: int, field: PlatformField, at: tuple[Floats, Floats]) -> BasePressure:
    peak, end = (float(np.median(f[:, layer])) for f in (judged.stack.peak_force_n, judged.stack.end_force_n))
    x, y = judged.bond.lever_m[layer]
    off = math.hypot(x, y)
    return BasePressure(
        layer=layer, peak_n=peak, end_n=end, centre_x_m=float(x), centre_y_m=float(y), peak_moment_j=peak * off,
        end_moment_j=end * off, pressure_pa=_sampled(field, at) * peak / field.squeeze_integral_m,
    )  # fmt: skip


def _sampled(field: PlatformField, at: tuple[Floats, Floats]) -> Floats:
    """Field at the nodes of the maps, bilinear: pressure over force is psi over its integral, (ny, nx) [1/m]."""
    grid, psi = field.grid, field.psi_per_m
    (x0, y0), (mx, my) = grid.centre_m, (grid.x_m, grid.y_m)
    across = np.array([np.interp(at[0] + x0, mx, row, left=0.0, right=0.0) for row in psi])
    return np.array([np.interp(at[1] + y0, my, column, left=0.0, right=0.0) for column in across.T]).T


def _grid(machine: Machine) -> tuple[Floats, Floats]:
    width, depth = machine.platform.width_m, machine.platform.depth_m
    pitch = max(width, depth) / (GRID_NODES - 1)
    x, y = (np.linspace(-side / 2.0, side / 2.0, max(round(side / pitch), 4) + 1) for side in (width, depth))
    return x, y


def _notes(case: Case, judged: Judged) -> tuple[str, ...]:
    machine, notes = case.job.target, []
    if not case.target_study.base_outlines_m:
        notes.append(to_say("Nobody knows the outlines of the base, so the corners of the whole platform are judged."))
    if not level_is_read(machine):
        notes.append(
            to_say(
                "Nobody read which way {name}'s platform is tipped: every place is judged as if it "
                "were tipped that way.",
                name=machine.name,
            )
        )
    if not machine.flatness:
        notes.append(to_say("Nobody read how flat {name}'s platform is: it is taken as flat.", name=machine.name))
    moment = np.median(judged.stack.end_force_n, axis=0) * np.hypot(*judged.bond.lever_m.T)
    if machine.tip is None:
        notes.append(
            to_say(
                "Nobody tried how {name}'s arm gives to an uneven load: this plate's {moment:.1g} N "
                "m is taken not to tip it.",
                name=machine.name,
                moment=float(moment.max()),
            )
        )
    if len(machine.light.readings) < 2:
        notes.append(to_say("Nobody mapped the light: every place is taken to be as dim as the dimmest."))
    return tuple(notes)
