"""Trial pieces: small prints whose outcome falls across the pieces, whatever of the plausible is true.

Each is sized by the same worlds and laws as the plan: discs that span the soft and the stiff arm, posts that span the
early and the late film, feet that span the weak and the strong bond.
"""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen
from scipy.special import ndtr

from vatwright.errors import InputError
from vatwright.geometry.trial_solids import box_solid, lifted, stair_solid, turned_solid
from vatwright.physics.layer_stack import run_stacks
from vatwright.planning.carry.advise import Advised
from vatwright.planning.carry.risks import cautions
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import settable
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.demand.exposure import BLUR_M, curve_is_known, effective_w_m2, finest_m
from vatwright.planning.demand.holding import front_force_n_m, strengths
from vatwright.planning.demand.outcome import margins
from vatwright.planning.demand.resin import resin_need
from vatwright.planning.demand.settle import RUN_SCATTER, Run
from vatwright.planning.why.worlds import SEVERITY_ROOTS, inquiry, spread
from vatwright.records.machine import Machine, Obeys, Platform
from vatwright.records.process import COUNT_SETTINGS, PHASE_SETTINGS, SETTING_NAMES, Settings, setting_unit
from vatwright.records.run import DETAILS, Quantity
from vatwright.records.trial import DETAIL_M, LightRung, SharedByHand, Trial, TrialKind, TrialPiece, TrialUnknown
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

LEDGES = 5
LEDGE_M = 1.0e-3
"""Height of one step of the stair [m]: as many layers as the arm takes to come to rest."""


SQUARES = (1, 2, 4, 8, 16)
"""How many times each square is lit: doubling doses make even steps of depth (Jacobs)."""

SQUARE_M, SQUARE_GAP_M = 0.012, 0.004
POST_M, POST_HEIGHT_M, POSTS = 0.002, 2.0e-3, 7
CONE_M, CONE_FOOT_M = 0.008, 5.0e-4
CONE_SHARES = (0.9, 0.7, 0.5, 0.3, 0.1)
"""Chances of letting go for which the feet are sized [-]."""

PAD_M, EDGE_M = 0.006, 0.003
"""Radius of a pad, and what it keeps from the platform's edge [m]."""

SHOWN = (1.0, 0.7, 0.4, 0.1)
"""Chances of standing half a layer too high for which the ledges are sized, as shares of the widest one's [-]."""

CLEAR_M = 1.0e-3
"""What a foot keeps from the platform's openings, and the step in which it is moved off them [m]."""

LIGHTS = (2.0, 1.4, 1.0, 0.7)
"""Lights of a ladder over the body's own [-], the strongest lowest: what a weak one does not hold carries nothing."""

RUNG_M, TREAD_M, FIN_M, PITCH_M, BLOCK_M = 1.0e-3, 5.0e-3, 3.5e-3, 2.2e-3, 1.6e-3
"""Height of a rung, depth of a tread, length of a wall, from one wall or pin to the next, width of a block beside a gap [m]."""

BLUR_ROOT = len(SEVERITY_ROOTS) - 1
"""Which of the evenly spread sequences the blur of an edge takes where no run says anything of it."""

SURE = 0.95
"""Share of the worlds in which the widest ledge must show, and the narrowest must not [-]."""

SAFE = 0.9
"""The stair is no wider than that its layers bond in this share of worlds [-]."""

_SOURCES = {
    TrialKind.SETTLE_STEPS: ("reynolds:1886",),
    TrialKind.RELEASE_SPAN: ("rivlin:1944",),
    TrialKind.CURE_DEPTH: ("jacobs:1992",),
    TrialKind.BASE_BOND: ("rivlin:1944",),
    TrialKind.LEVEL_CHECK: ("reynolds:1886", "draper:1998"),
    TrialKind.DETAIL_LADDER: ("jacobs:1992", "olver:2010"),
}


class Shape(NamedTuple):
    """One piece before anything is said of it: where, how wide, and its solid."""

    label: str
    x_m: float
    y_m: float
    outline_m: float
    corners_m: Floats
    at: dict[str, float]


@frozen(kw_only=True, eq=False)
class Layout:
    """A trial's solids and the settings that it wants.

    Parameters
    ----------
    kind : TrialKind
        Which.
    shapes : tuple of Shape
        What is read.
    corners_m : (F, 3, 3) ndarray
        All solids [m].
    settings : Settings
        As it is to be printed.
    lights_s : tuple of float
        Body exposures of a ladder, the strongest first [s].
    """

    kind: TrialKind
    shapes: tuple[Shape, ...]
    corners_m: Floats
    settings: Settings
    lights_s: tuple[float, ...] = ()


def draft_solid(machine: Machine, *, layer_nm: int) -> Floats:
    """Return a disc in the middle of a platform, to plan a trial's common settings by, (F, 3, 3) [m]."""
    radius = min(machine.platform.width_m, machine.platform.depth_m) / 8.0
    height = round(2e6 / layer_nm) * layer_nm / 1e9
    return turned_solid([(radius, 0.0), (radius, height)], at_x_m=0.0, at_y_m=0.0)


def lay_trial(kind: TrialKind, case: Case, advised: Advised) -> Layout:
    """Return a trial's solids and settings for a machine.

    Parameters
    ----------
    kind : TrialKind
        Which.
    case : Case
        A job to the machine, with its worlds after the proven runs.
    advised : Advised
        What the carry of that job chose.

    Returns
    -------
    Layout
        Solids about the platform's middle, clear of its openings, standing on z = 0, their ledges on whole layers.

    Raises
    ------
    InputError
        Where a ladder of lights finds a controller whose light cannot be set, or a platform too small for it.
    """
    laid = {
        TrialKind.SETTLE_STEPS: _settle_steps,
        TrialKind.RELEASE_SPAN: _release_span,
        TrialKind.CURE_DEPTH: _cure_depth,
        TrialKind.BASE_BOND: _base_bond,
        TrialKind.LEVEL_CHECK: _level_check,
        TrialKind.DETAIL_LADDER: _detail_ladder,
    }[kind](case, advised)
    platform = case.job.target.platform
    if kind is TrialKind.CURE_DEPTH or not platform.openings:  # printed without a platform, or on a whole one
        return laid
    if kind is TrialKind.LEVEL_CHECK:
        return _joined(
            kind, [s for shape in laid.shapes for s in _beside(platform, (shape,), along_y=True)], laid.settings
        )
    shapes = _beside(platform, laid.shapes, along_y=kind is not TrialKind.RELEASE_SPAN)
    if kind in {TrialKind.SETTLE_STEPS, TrialKind.DETAIL_LADDER}:  # one solid, of which many things are read
        return evolve(laid, shapes=shapes, corners_m=shapes[0].corners_m)
    return _joined(kind, list(shapes), laid.settings)


def _beside(platform: Platform, shapes: tuple[Shape, ...], *, along_y: bool) -> tuple[Shape, ...]:
    """The same shapes moved together as little as keeps their feet off the platform's openings; as they are where none does."""
    for step in range(round(max(platform.width_m, platform.depth_m) / 2.0 / CLEAR_M)):
        for sign in (1.0, -1.0):
            by = _tidy(sign * step * CLEAR_M)
            moved = tuple(_moved(s, 0.0 if along_y else by, by if along_y else 0.0) for s in shapes)
            if all(_stands(platform, s) for s in moved):
                return moved
    return shapes


def _moved(shape: Shape, dx_m: float, dy_m: float) -> Shape:
    x, y = _tidy(shape.x_m + dx_m), _tidy(shape.y_m + dy_m)
    at = shape.at | {name: value for name, value in (("x_mm", x), ("y_mm", y)) if name in shape.at}
    return shape._replace(x_m=x, y_m=y, corners_m=shape.corners_m + np.array((dx_m, dy_m, 0.0)), at=at)


def _stands(platform: Platform, shape: Shape) -> bool:
    """Whether the whole foot of a shape is on the platform, clear of its openings."""
    foot = foot_m(shape) + CLEAR_M
    if abs(shape.x_m) + shape.outline_m > platform.width_m / 2.0:
        return False
    if abs(shape.y_m) + shape.outline_m > platform.depth_m / 2.0:
        return False
    return all(
        math.hypot(
            max(abs(shape.x_m - o.x_m) - o.width_m / 2.0, 0.0), max(abs(shape.y_m - o.y_m) - o.depth_m / 2.0, 0.0)
        )
        >= foot
        for o in platform.openings
    )


def foot_m(shape: Shape) -> float:
    """Return the radius of a shape's foot [m]."""
    on_plate = shape.corners_m[shape.corners_m[..., 2] == 0.0]
    return float(np.hypot(on_plate[:, 0] - shape.x_m, on_plate[:, 1] - shape.y_m).max())


def _tidy(length_m: float) -> float:
    """A place or size in whole hundredths of a millimetre [m]."""
    return round(length_m, 5)


def _whole(settings: Settings, height_m: float) -> float:
    """A height in whole layers [m]."""
    layers = max(round(height_m * 1e9 / settings.layer_nm), 1)
    return layers * settings.layer_nm / 1e9


def printed(case: Case, settings: Settings, wanted: dict[str, float]) -> Settings:
    """Return settings with some changed, as far as the machine's controller takes them."""
    controller = case.job.target.controller
    for name, value in wanted.items():
        rule = controller.rule(name)
        if rule.obeys is Obeys.NO:
            value = rule.fixed
        elif name not in COUNT_SETTINGS:
            up = True if name.endswith("exposure_s") else None
            proven = case.job.recipe.settings.value(name)
            value = settable(value, unit=setting_unit(name), rule=rule, proven=proven, up=up)
        settings = settings.with_value(name, value)
    for setting in PHASE_SETTINGS:
        rule = controller.rule(setting.name)
        if setting.phase == "base" and rule.obeys is Obeys.SHARED and not rule.live:
            both = [getattr(p, setting.attribute) for p in (settings.base, settings.body)]
            value = min(both) if setting.unit == "mm_s" else max(both)
            for phase in ("base", "body"):
                settings = settings.with_value(setting.name.replace("base", phase, 1), value)
    return settings


# --- settle steps ------------------------------------------------------------------------------------------------------


def _settle_steps(case: Case, advised: Advised) -> Layout:
    proven = case.job.recipe.settings.body.settle_s
    wanted = {"body.settle_s": proven, "base.settle_s": max(advised.settings.base.settle_s, proven)}
    settings = printed(case, advised.settings, wanted)
    step = _whole(settings, LEDGE_M)
    radii = stair_radii(case, settings)
    profile: list[tuple[float, float]] = []
    shapes = []
    for k, radius in enumerate(radii):
        profile += [(radius, k * step), (radius, (k + 1) * step)]
        layer = round((k + 1) * step * 1e9 / settings.layer_nm)
        shapes.append(
            (to_say("ledge {k}, {radius:.1f} mm wide", k=k + 1, radius=2e3 * radius), radius, {"layer": float(layer)})
        )
    corners = turned_solid(profile, at_x_m=0.0, at_y_m=0.0)
    return Layout(
        kind=TrialKind.SETTLE_STEPS,
        shapes=tuple(Shape(label, 0.0, 0.0, radius, corners, at) for label, radius, at in shapes),
        corners_m=corners,
        settings=settings,
    )


def stair_radii(case: Case, settings: Settings) -> tuple[float, ...]:
    """Return radii, widest first, of which fewer and fewer stand half a layer too high, (LEDGES,) [m].

    The offset of a constant section is what the arm is still held up by when it ends: d = sum of (x_n - h).  The widest
    ledge bonds in nine of ten worlds; the last one shows less than a fifth of a layer in 95 % of them: it is the zero.
    """
    layer_m, platform = settings.layer_m, case.job.target.platform
    radii = np.geomspace(1.5e-3, 0.42 * min(platform.width_m, platform.depth_m), 60)
    offset, bonds = np.array([_offset(case, settings, float(r)) for r in radii]).transpose(1, 0, 2)
    shows = np.maximum.accumulate((offset > 0.5 * layer_m).mean(axis=1))
    safe = np.flatnonzero((bonds > 0.0).mean(axis=1) >= SAFE)
    widest = min(int(safe[-1]) if len(safe) else len(radii) - 1, int(np.searchsorted(shows, SURE)))
    widest = min(widest, len(radii) - 1)
    hidden = np.flatnonzero(np.quantile(offset, SURE, axis=1) <= 0.2 * layer_m)
    narrowest = min(int(hidden[-1]) if len(hidden) else 0, max(widest - LEDGES, 0))
    between = [int(np.searchsorted(shows, share * shows[widest])) for share in SHOWN[1:]]
    # Of each chance the narrowest radius; where chances bunch, evenly between.
    picked = [widest, *between, narrowest]
    even = np.geomspace(radii[widest], radii[narrowest], LEDGES)
    rising = all(a > b for a, b in itertools.pairwise(picked))
    return tuple(_tidy(float(r)) for r in (radii[picked] if rising else even))


def _offset(case: Case, settings: Settings, radius_m: float) -> tuple[Floats, Floats]:
    """How far a disc that starts from rest holds the arm up when its step ends [m], and the least log margin of its bond."""
    run = case.target_run(settings)
    layers = max(round(LEDGE_M * 1e9 / settings.layer_nm) - settings.base_layers, 1)
    result = run_stacks(
        torsion_m4=np.full(layers, math.pi * radius_m**4 / 2.0),
        platform_torsion_m4=0.0,
        platform_extra_gap_m=0.0,
        layer_m=settings.layer_m,
        settle_s=np.full(layers, settings.body.settle_s),
        descent_m_s=min(settings.body.return_speed_m_s, case.job.target.motion.fastest_m_s),
        viscosity_pa_s=run.side.viscosity_pa_s,
        stiffness_n_m=run.stiffness_n_m(),
        force_ceiling_n=run.side.ceiling_n,
    )
    thickness = result.thickness_m
    limit = run.bond_limit_m()[:, -1]
    return (thickness - settings.layer_m).sum(axis=1), np.log(limit / thickness.max(axis=1)) - RUN_SCATTER


# --- release span ------------------------------------------------------------------------------------------------------


def _release_span(case: Case, advised: Advised) -> Layout:
    platform, window = case.job.target.platform, case.job.target.window
    height = _whole(advised.settings, POST_HEIGHT_M)
    nearest = window.depth_m / 2.0 - platform.depth_m / 2.0 + POST_M + EDGE_M
    furthest = min(window.depth_m, window.width_m) / 2.0
    spans = np.geomspace(nearest, furthest, POSTS)
    # No two posts may touch: those near the frame are moved apart.
    for k in range(1, POSTS):
        spans[k] = max(spans[k], spans[k - 1] + 2.5 * POST_M)
    spans = np.minimum(spans, furthest)
    spans = np.unique(spans)
    rise = float(np.median(case.target_run(advised.settings).film("body").tan_angle)) * math.sqrt(
        float(spans[0] * spans[-1])
    )
    settings = printed(
        case, advised.settings, {"body.peel_lift_mm": round(rise, 4), "body.clear_lift_mm": 0.0}
    )  # fmt: skip
    shapes = []
    for k, span in enumerate(spans):
        y = _tidy(float(span) - window.depth_m / 2.0)
        corners = turned_solid([(POST_M, 0.0), (POST_M, height)], at_x_m=0.0, at_y_m=y)
        shapes.append(Shape(to_say("post {k}", k=k + 1), 0.0, y, POST_M, corners, {"x_mm": 0.0, "y_mm": y}))
    return _joined(TrialKind.RELEASE_SPAN, shapes, settings)


# --- cure depth --------------------------------------------------------------------------------------------------------


def _cure_depth(case: Case, advised: Advised) -> Layout:
    side = case.worlds.target
    rate = effective_w_m2(side, 1.0)
    once_s = float(np.quantile(side.curve_dose_j_m2 / rate, SAFE))
    wanted = {
        "base.layers": 1.0, "ramp.layers": 0.0, "base.exposure_s": once_s, "body.exposure_s": once_s,
        "base.settle_s": 0.0, "body.settle_s": 0.0,
    }  # fmt: skip
    settings = printed(case, advised.settings, wanted)
    platform = case.job.target.platform
    width = min(SQUARE_M, (platform.width_m - 2.0 * EDGE_M) / (len(SQUARES) * (1.0 + SQUARE_GAP_M / SQUARE_M)))
    width = _tidy(width)
    pitch = width * (1.0 + SQUARE_GAP_M / SQUARE_M)
    dose = float(f"{float(np.median(rate)) * settings.body.exposure_s:.3g}")
    shapes = []
    for k, times in enumerate(SQUARES):
        x = _tidy((k - (len(SQUARES) - 1) / 2.0) * pitch)
        height = times * settings.layer_nm / 1e9
        corners = box_solid(width_m=width, depth_m=width, height_m=height, at_x_m=x, at_y_m=0.0)
        shapes.append(
            Shape(
                to_say("square lit {times}x", times=times),
                x,
                0.0,
                width / 2.0,
                corners,
                {"dose_mJ_cm2": dose * times, "x_mm": x, "y_mm": 0.0},
            )
        )
    return _joined(TrialKind.CURE_DEPTH, shapes, settings)


# --- base bond ---------------------------------------------------------------------------------------------------------


def _base_bond(case: Case, advised: Advised) -> Layout:
    settings, platform = advised.settings, case.job.target.platform
    settings = printed(case, settings, {})
    ratio = bond_over_front(case, settings)
    pitch = min(2.0 * CONE_M + 0.004, (platform.width_m - 2.0 * (CONE_M + EDGE_M)) / (len(CONE_SHARES) - 1))
    shapes = []
    for k, share in enumerate(CONE_SHARES):
        foot = math.sqrt(2.0 * CONE_M / (math.pi * float(np.quantile(ratio, share))))
        foot = _tidy(min(max(foot, 3e-4), 0.8 * CONE_M))
        base = _whole(settings, CONE_FOOT_M)
        top = base + _whole(settings, CONE_M - foot)
        x = _tidy((k - (len(CONE_SHARES) - 1) / 2.0) * pitch)
        corners = turned_solid([(foot, 0.0), (foot, base), (CONE_M, top)], at_x_m=x, at_y_m=0.0)
        shapes.append(
            Shape(
                to_say("cone {k}, foot {foot:.1f} mm", k=k + 1, foot=2e3 * foot),
                x,
                0.0,
                CONE_M,
                corners,
                {"x_mm": x, "y_mm": 0.0},
            )
        )
    return _joined(TrialKind.BASE_BOND, shapes, settings)


def bond_over_front(case: Case, settings: Settings) -> Floats:
    """Return the bond to the platform over the pull of each metre of peel front, in every world, (S,) [1/m]."""
    bond = strengths(case.worlds, case.job.resin, target=True).foot_pa
    return np.asarray(bond / front_force_n_m(case.target_run(settings).film("body")))


# --- level check -------------------------------------------------------------------------------------------------------


def _level_check(case: Case, advised: Advised) -> Layout:
    settings, platform = printed(case, advised.settings, {}), case.job.target.platform
    height = settings.base_layers * settings.layer_nm / 1e9
    x, y = (_tidy(side / 2.0 - PAD_M - EDGE_M) for side in (platform.width_m, platform.depth_m))
    spots = (
        (to_say("front left"), -x, -y),
        (to_say("front right"), x, -y),
        (to_say("rear right"), x, y),
        (to_say("rear left"), -x, y),
        (to_say("middle"), 0.0, 0.0),
    )
    shapes = [
        Shape(
            name, a, b, PAD_M, turned_solid([(PAD_M, 0.0), (PAD_M, height)], at_x_m=a, at_y_m=b), {"x_mm": a, "y_mm": b}
        )
        for name, a, b in spots
    ]
    return _joined(TrialKind.LEVEL_CHECK, shapes, settings)


# --- detail ladder -----------------------------------------------------------------------------------------------------


def _detail_ladder(case: Case, advised: Advised) -> Layout:
    rule = case.job.target.controller.rule("body.exposure_s")
    if rule.obeys is Obeys.NO:
        what = to_say("{name} does not let its light be set", name=case.job.target.name)
        raise InputError.one("detail-ladder", what, to_say("Print it on a machine whose body exposure can be changed"))
    lights = ladder_lights_s(case, advised)
    settings = printed(case, advised.settings, {"ramp.layers": 0.0, "body.exposure_s": lights[0]})
    rungs = len(lights) if rule.live else 1
    corners, middles = _stair_of_details(settings, rungs)
    platform = case.job.target.platform
    wide, deep = np.ptp(corners.reshape(-1, 3)[:, :2], axis=0)
    if wide > platform.width_m or deep > platform.depth_m:
        what = to_say("is {wide:.0f} x {deep:.0f} mm, larger than the platform", wide=wide * 1e3, deep=deep * 1e3)
        raise InputError.one("detail-ladder", what, to_say("Print it on a larger machine"))
    rate = float(np.median(effective_w_m2(case.worlds.target, 1.0)))
    shapes = []
    for k, light in enumerate(lights):
        dose = float(f"{rate * light:.3g}")
        for n, quantity in enumerate(DETAILS):
            x, y = middles[3 * (k if rule.live else 0) + n]
            name = to_say("{light:.3g} s, {detail}", light=light, detail=_DETAIL_NAMES[quantity])
            shapes.append(Shape(name, x, y, 0.5 * TREAD_M, corners, {"dose_mJ_cm2": dose}))
    return Layout(
        kind=TrialKind.DETAIL_LADDER, shapes=tuple(shapes), corners_m=corners, settings=settings, lights_s=lights
    )  # fmt: skip


_DETAIL_NAMES = {
    Quantity.WALL: to_say("thinnest wall"),
    Quantity.GAP: to_say("narrowest gap"),
    Quantity.PIN: to_say("thinnest pin"),
}


def ladder_lights_s(case: Case, advised: Advised) -> tuple[float, ...]:
    """Return the body exposures of a ladder, the strongest first, as the controller takes them [s]."""
    wanted = (advised.settings.body.exposure_s * share for share in LIGHTS)
    taken = (printed(case, advised.settings, {"body.exposure_s": s}).body.exposure_s for s in wanted)
    return tuple(dict.fromkeys(taken))


def _first_rung(settings: Settings) -> int:
    """Layers under the lowest tread: the base and some, so that every rung has the body's light alone."""
    return max(round(RUNG_M * 1e9 / settings.layer_nm), settings.base_layers + 5)


def _rung_layers(settings: Settings) -> int:
    return max(round(RUNG_M * 1e9 / settings.layer_nm), 1)


def _stair_of_details(settings: Settings, rungs: int) -> tuple[Floats, list[tuple[float, float]]]:
    """Treads one behind the other, each a rung higher, with walls, gaps and pins on every one; and the middle of each group."""
    layer_m, rung = settings.layer_nm / 1e9, _rung_layers(settings)
    wide = 3.0 * len(DETAIL_M) * PITCH_M + BLOCK_M
    tops = [(_first_rung(settings) + k * rung) * layer_m for k in range(rungs)]
    front = -0.5 * rungs * TREAD_M
    solids, middles = [stair_solid(width_m=wide, tread_m=TREAD_M, tops_m=tops, at_x_m=0.0, at_y_m=0.0)], []
    for k, top in enumerate(tops):
        y = front + (k + 0.5) * TREAD_M
        for n, group in enumerate((_walls, _gaps, _pins)):
            x = (n - 1) * len(DETAIL_M) * PITCH_M
            solids += [lifted(solid, top) for solid in group(x, y, rung * layer_m)]
            middles.append((_tidy(x), _tidy(y)))
    return np.concatenate(solids), middles


def _row(count: int, pitch_m: float) -> Floats:
    return np.asarray((np.arange(count) - (count - 1) / 2.0) * pitch_m)


def _walls(x_m: float, y_m: float, height_m: float) -> list[Floats]:
    return [
        box_solid(width_m=width, depth_m=FIN_M, height_m=height_m, at_x_m=x_m + at, at_y_m=y_m)
        for width, at in zip(DETAIL_M, _row(len(DETAIL_M), PITCH_M).tolist(), strict=True)
    ]


def _gaps(x_m: float, y_m: float, height_m: float) -> list[Floats]:
    """Blocks as wide as each other with gaps of rising width between them."""
    left = x_m - (sum(DETAIL_M) + (len(DETAIL_M) + 1) * BLOCK_M) / 2.0
    solids = []
    for gap in (*DETAIL_M, 0.0):
        solids.append(
            box_solid(width_m=BLOCK_M, depth_m=FIN_M, height_m=height_m, at_x_m=left + BLOCK_M / 2.0, at_y_m=y_m)
        )
        left += BLOCK_M + gap
    return solids


def _pins(x_m: float, y_m: float, height_m: float) -> list[Floats]:
    return [
        turned_solid([(width, 0.0), (width, height_m)], at_x_m=x_m + at, at_y_m=y_m)
        for width, at in zip(DETAIL_M, _row(len(DETAIL_M), PITCH_M).tolist(), strict=True)
    ]


def _rungs(layout: Layout, case: Case, starts_s: Floats) -> tuple[LightRung, ...]:
    """When a hand sets each light, or which prints there are."""
    if layout.kind is not TrialKind.DETAIL_LADDER:
        return ()
    settings, lights = layout.settings, layout.lights_s
    if not case.job.target.controller.rule("body.exposure_s").live:
        return tuple(LightRung(exposure_s=light) for light in lights)
    found, spared = [], 0.0
    for k, light in enumerate(lights):
        layer = _first_rung(settings) + k * _rung_layers(settings) if k else settings.base_layers
        found.append(LightRung(exposure_s=light, layer=layer, at_s=max(float(starts_s[layer]) - spared, 0.0)))
        spared += _rung_layers(settings) * (settings.body.exposure_s - light) if k else 0.0
    return tuple(found)


def edge_blur_m(count: int, blur_z: Floats | None = None) -> Floats:
    """Return the blur of an edge in so many worlds, by its standard normal coordinate where runs say something of it [m]."""
    z = spread(count, BLUR_ROOT) if blur_z is None else np.resize(blur_z, count)
    return np.asarray(BLUR_M.value * np.exp(BLUR_M.spread * z))


def _details(
    layout: Layout, case: Case, blur_z: Floats | None
) -> tuple[tuple[TrialPiece, ...], tuple[TrialUnknown, ...]]:
    side, layer_m = case.worlds.target, layout.settings.layer_m
    blur = edge_blur_m(case.worlds.count, blur_z)
    rate = effective_w_m2(side, 1.0)
    pieces = []
    for n, shape in enumerate(layout.shapes):
        quantity = DETAILS[n % 3]
        real = shape.at["dose_mJ_cm2"] * rate / np.median(rate)
        finest = finest_m(side, case.worlds.overcure_m, blur, dose_j_m2=real, layer_m=layer_m)[quantity]
        largest = DETAIL_M[-1] * (2.0 if quantity is Quantity.PIN else 1.0)
        pieces.append(_piece(shape, quantity, np.clip(finest, 1e-6, 2.0 * largest), float((finest <= largest).mean())))
    return tuple(pieces), (_unknown("blur", "um", blur), _unknown("curve_dose", "mJ_cm2", side.curve_dose_j_m2))


def _joined(kind: TrialKind, shapes: list[Shape], settings: Settings) -> Layout:
    corners = np.concatenate([s.corners_m for s in shapes])
    return Layout(kind=kind, shapes=tuple(shapes), corners_m=corners, settings=settings)


# --- what it will show -------------------------------------------------------------------------------------------------


def tell_trial(layout: Layout, case: Case, advised: Advised, *, blur_z: Floats | None = None) -> Trial:
    """Return a trial's sheet.

    Parameters
    ----------
    layout : Layout
        Its solids and settings.
    case : Case
        The job whose plate is the trial.
    advised : Advised
        What the carry of that job chose, for what was changed.
    blur_z : ndarray or None
        What noted runs say of the blur of an edge, as its standard normal coordinate; None where none does.

    Returns
    -------
    Trial
        What each piece is expected to show, how to print and read it, what readings mean.
    """
    job, study, settings = case.job, case.target_study, layout.settings
    pieces, unknowns = (
        _details(layout, case, blur_z) if layout.kind is TrialKind.DETAIL_LADDER else _shown(layout, case, advised)
    )
    prints = len(layout.lights_s) if layout.lights_s and not job.target.controller.rule("body.exposure_s").live else 1
    times = layer_times(settings, job.target, layers=study.layers)
    need = resin_need(
        study, job.target, viscosity_pa_s=float(np.median(case.worlds.target.viscosity_pa_s)),
        density_kg_m3=job.resin.density_kg_m3, clear_speed_m_s=settings.body.clear_speed_m_s,
    )  # fmt: skip
    changed = tuple(
        n for n in SETTING_NAMES if not math.isclose(settings.value(n), advised.settings.value(n), rel_tol=1e-9, abs_tol=1e-12)
    )  # fmt: skip
    return Trial(
        kind=layout.kind,
        name=job.name,
        machine=job.target.name,
        resin=job.resin.name,
        recipe=job.recipe.name,
        origin=job.origin.name,
        curve_known=curve_is_known(job.resin),
        room_k=job.room_k,
        platform=job.target.platform,
        window=job.target.window,
        settings=settings,
        changed=changed,
        pieces=pieces,
        unknowns=unknowns,
        layers=study.layers,
        time_s=prints * times.total_s,
        resin_m3=_resin(layout, pieces) or prints * (need.parts_m3 + need.drag_out_m3),
        holds=_holds(layout, case),
        by_hand=_by_hand(settings, job.target, times.start_s),
        rungs=_rungs(layout, case, times.start_s),
        cautions=cautions(job, None),
        sources=(*_SOURCES[layout.kind], "joe:2008", "practice:bench", "estimate:vatwright"),
    )


def _by_hand(settings: Settings, machine: Machine, starts_s: Floats) -> tuple[SharedByHand, ...]:
    """What a person sets during the run because the controller shares it between base and body."""
    layer = settings.base_layers
    if layer >= len(starts_s):  # it ends with its base
        return ()
    told = []
    for setting in PHASE_SETTINGS:
        rule = machine.controller.rule(setting.name)
        base, body = (getattr(p, setting.attribute) for p in (settings.base, settings.body))
        if setting.phase == "base" and rule.obeys is Obeys.SHARED and rule.live and base != body:
            at_s = float(starts_s[layer])
            told.append(SharedByHand(setting=setting.name, base=base, body=body, layer=layer, at_s=at_s))
    return tuple(told)


def _resin(layout: Layout, pieces: tuple[TrialPiece, ...]) -> float:
    if layout.kind is not TrialKind.CURE_DEPTH:
        return 0.0
    return sum((2.0 * p.outline_m) ** 2 * p.middle for p in pieces)


def _holds(layout: Layout, case: Case) -> float | None:
    if (
        layout.kind not in {TrialKind.SETTLE_STEPS, TrialKind.LEVEL_CHECK, TrialKind.DETAIL_LADDER}
        or case.target_study.reach is None
    ):
        return None
    seen = margins(case.target_run(layout.settings), reach_m=float(case.target_study.reach.reach_m.max()))
    return float(seen.chance().mean())


def _piece(
    shape: Shape, quantity: Quantity, values: Floats, chance: float | None = None, *, square: bool = False
) -> TrialPiece:
    low, middle, high = (float(v) for v in np.quantile(values, (0.05, 0.5, 0.95)))
    return TrialPiece(
        label=shape.label, x_m=shape.x_m, y_m=shape.y_m, outline_m=shape.outline_m, square=square, quantity=quantity,
        at=shape.at, low=low, middle=middle, high=high, chance=chance,
    )  # fmt: skip


def _unknown(what: str, unit: str, values: Floats) -> TrialUnknown:
    low, middle, high = (float(v) for v in np.quantile(values, (0.05, 0.5, 0.95)))
    return TrialUnknown(what=what, unit=unit, low=low, middle=middle, high=high)


def _shown(layout: Layout, case: Case, advised: Advised) -> tuple[tuple[TrialPiece, ...], tuple[TrialUnknown, ...]]:
    side = case.worlds.target
    if layout.kind is TrialKind.SETTLE_STEPS:
        return _ledges(layout, case)
    if layout.kind is TrialKind.RELEASE_SPAN:
        rise = _unknown("release", "percent", case.target_run(layout.settings).film("body").tan_angle)
        return _posts(layout, case), (rise,)
    if layout.kind is TrialKind.CURE_DEPTH:
        depth, dose = side.curve_depth_m[:, None], side.curve_dose_j_m2[:, None]
        given = np.array([s.at["dose_mJ_cm2"] for s in layout.shapes])
        # The dose as told, with what the light may really be.
        real = given * (effective_w_m2(side, 1.0) / np.median(effective_w_m2(side, 1.0)))[:, None]
        cured = depth * np.maximum(np.log(real / dose), 0.0)
        pieces = [_piece(s, Quantity.CURE_DEPTH, cured[:, k], square=True) for k, s in enumerate(layout.shapes)]
        return tuple(pieces), (
            _unknown("curve_depth", "um", side.curve_depth_m),
            _unknown("curve_dose", "mJ_cm2", side.curve_dose_j_m2),
        )
    if layout.kind is TrialKind.BASE_BOND:
        return _cones(layout, case)
    return _pads(layout, case, advised)


def _ledges(layout: Layout, case: Case) -> tuple[tuple[TrialPiece, ...], tuple[TrialUnknown, ...]]:
    run = case.target_run(layout.settings)
    risen = np.cumsum(run.result().thickness_m, axis=1)
    pieces = []
    for shape in layout.shapes:
        layer = int(shape.at["layer"])
        height = risen[:, layer - 1]
        past = float((height - layer * layout.settings.layer_m > 0.5 * layout.settings.layer_m).mean())
        pieces.append(_piece(shape, Quantity.HEIGHT, height, past))
    felt = run.side.stiffness_n_m * np.median(run.side.viscosity_pa_s) / run.side.viscosity_pa_s
    return tuple(pieces), (_unknown("stiffness", "N_mm", felt),)


def _posts(layout: Layout, case: Case) -> tuple[TrialPiece, ...]:
    window, settings = case.job.target.window, layout.settings
    tangent, scatter = case.target_run(settings).film("body").tan_angle, RUN_SCATTER
    whole_m = case.target_study.layers * settings.layer_m
    base_m = min(settings.base_layers + settings.ramp_layers, case.target_study.layers) * settings.layer_m
    pieces = []
    for shape in layout.shapes:
        span = min(window.width_m / 2.0 - abs(shape.x_m), window.depth_m / 2.0 - abs(shape.y_m))
        freed = tangent * span <= settings.body.lift_m
        height = np.where(freed, whole_m, base_m)
        chance = float((1.0 / (1.0 + np.exp(-1.7 / scatter * np.log(settings.body.lift_m / (tangent * span))))).mean())
        pieces.append(_piece(shape, Quantity.HEIGHT, height, chance))
    return tuple(pieces)


def _cones(layout: Layout, case: Case) -> tuple[tuple[TrialPiece, ...], tuple[TrialUnknown, ...]]:
    ratio = bond_over_front(case, layout.settings)
    pieces = []
    for shape in layout.shapes:
        foot = foot_m(shape)
        top, base = float(shape.corners_m[..., 2].max()), _whole(layout.settings, CONE_FOOT_M)
        # It lets go where the front, twice the radius there, pulls more than the foot holds.
        radius = ratio * math.pi * foot**2 / 2.0
        height = np.clip(base + (radius - foot) * (top - base) / (CONE_M - foot), base, top)
        pieces.append(_piece(shape, Quantity.HEIGHT, height, float((radius >= CONE_M).mean())))
    bond = strengths(case.worlds, case.job.resin, target=True).foot_pa
    return tuple(pieces), (_unknown("bond", "kPa", bond),)


def _pads(layout: Layout, case: Case, advised: Advised) -> tuple[tuple[TrialPiece, ...], tuple[TrialUnknown, ...]]:
    settled = {n: layout.settings.value(n) for n in SETTING_NAMES}
    inq = inquiry(case, evolve(advised, hand=None), settled)
    state = inq.groups[0].state
    later = state.thickness_m[:, 1:].sum(axis=1)
    pieces = []
    for shape in layout.shapes:
        first = state.first_gap_m(shape.x_m, shape.y_m)
        bonds = first_bond_m(state.run) / first
        # A pad that the light does not reach through is not there to be measured.
        stands = bonds >= 1.0
        height = (first + later)[stands if stands.any() else slice(None)]
        chance = float(ndtr(np.log(bonds) / RUN_SCATTER).mean())
        pieces.append(_piece(shape, Quantity.HEIGHT, height, chance))
    return tuple(pieces), (_unknown("unlevel", "um", case.worlds.target.unlevel_m),)


def first_bond_m(run: Run) -> Floats:
    """Return the thickest first gap that the light still bonds through in the middle of a level platform, (S,) [m]."""
    return np.asarray(np.maximum(run.cured_m()[:, 0] - run.overcure_m, 0.01 * run.load.layer_m[0]))
