"""Whether pieces hold on to the platform: the weakest section against the pull that has to pass it, over a whole run."""

from __future__ import annotations

import math
from functools import cache, lru_cache
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import evolve, frozen
from scipy.special import log_ndtr, ndtri
from scipy.stats import qmc

from vatwright.geometry.load_path import (
    Capacities,
    IslandGraph,
    LayerMargins,
    bending,
    capacities,
    held_up,
    hung_area,
    layer_margins,
    layers_at_once,
    neck_of,
)
from vatwright.physics.squeeze_film import STANDARD_ATMOSPHERE_PA
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.lift import PULL_SCATTER
from vatwright.planning.demand.outcome import LEAST_CHANCE
from vatwright.planning.demand.unknowns import Side, Worlds, resample
from vatwright.records.holding import BendPlace, Holding, HoldingProfile, WeakPlace
from vatwright.records.job import Job
from vatwright.records.material import Resin
from vatwright.records.plan import Risk
from vatwright.records.process import Settings
from vatwright.records.sourced import NORMAL_95, Kind, Sourced
from vatwright.records.study import Hanging, Study
from vatwright.wording import to_say

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Bools = NDArray[np.bool_]

GREEN_STRENGTH_PA = Sourced.about(1.0e7, factor=2.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Tensile strength of bars of resin before the final cure [Pa]: 5 to 20 MPa; a planning range, no source."""

NECK_SHARE = Sourced.about(0.5, factor=2.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Strength of a notched bond between two layers over that of a bar [-]; engineering estimate, no source."""

BASE_BOND_PA = Sourced.about(5.0e5, factor=5.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Mean stress at which a foot peels off the platform, its edge first [Pa]; engineering estimate, no source."""

SUCTION_SHARE = Sourced(value=0.3, low=0.1, high=0.9, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Share of one atmosphere that a sealed pocket reaches before resin creeps in [-]; engineering estimate, no source."""

LASTING_SHARE = 0.5
"""Share of the scatter of the pull (variance of its log) that lasts a whole run [-]; engineering estimate, no source."""

ALIKE_LAYERS = 20
"""Layers over which the rest of the scatter stays alike, a millimetre of 50 um [1]; engineering estimate, no source."""

SPECK_M3 = 1.0e-9
"""Where no more than this hangs on an island, a cubic millimetre, it is the point of something: its own pull is left out
and so is its tearing off [m3]; engineering estimate, no source."""

NOTED = 0.02
"""Chance from which a risk is told, here and of all risks, even if all is well [-]."""

DRAWS = 4
"""Strengths drawn for each world where the worlds hold none yet."""

_AXES = ("green strength", "green strength target", "neck share", "base bond", "base bond target", "suction share")
_STEP = 0.05  # width of the bins of log margins, an eighth of the scatter
_LEAST_LOG = math.log(LEAST_CHANCE)


def with_strengths(worlds: Worlds, job: Job, *, seed: int = 2) -> Worlds:
    """Return the same worlds with a standard normal coordinate for each strength that holding depends on.

    Parameters
    ----------
    worlds : Worlds
        Drawn before; their other unknowns stay.
    job : Job
        Whether both resins are one.
    seed : int
        Seed of the scrambled Sobol sequence.

    Returns
    -------
    Worlds
        Their `axes` hold the strengths, so that resampling keeps them with their world.
    """
    sequence = qmc.Sobol(d=len(_AXES), scramble=True, rng=np.random.default_rng(seed))
    unit = sequence.random_base2(max(worlds.count - 1, 1).bit_length())[: worlds.count]
    z = dict(zip(_AXES, ndtri(np.clip(unit, 1e-9, 1.0 - 1e-9)).T, strict=True))
    if job.resin == job.resin_from:
        z["green strength target"], z["base bond target"] = z["green strength"], z["base bond"]
    return evolve(worlds, axes=worlds.axes | z)


@frozen(kw_only=True, eq=False)
class Strengths:
    """What carries, and what a sealed pocket adds, in every world; (S,) each.

    Parameters
    ----------
    section_pa : Floats
        Strength of a section between layers [Pa].
    foot_pa : Floats
        Bond of a foot to the platform [Pa].
    suction_pa : Floats
        Pull of a sealed pocket for its area [Pa].
    """

    section_pa: Floats
    foot_pa: Floats
    suction_pa: Floats


def strengths(worlds: Worlds, resin: Resin, *, target: bool) -> Strengths:
    """Return the strengths of one resin in every world.

    Parameters
    ----------
    worlds : Worlds
        With the coordinates of :func:`with_strengths`.
    resin : Resin
        Its own strengths, where somebody states them, replace the estimates.
    target : bool
        Whether it is the resin of the target.

    Returns
    -------
    Strengths
        Shape (S,) each.
    """
    suffix = " target" if target else ""
    green = _lognormal(resin.green_strength_pa or GREEN_STRENGTH_PA, worlds.axes[f"green strength{suffix}"])
    return Strengths(
        section_pa=green * _lognormal(NECK_SHARE, worlds.axes["neck share"]),
        foot_pa=_lognormal(resin.base_bond_pa or BASE_BOND_PA, worlds.axes[f"base bond{suffix}"]),
        suction_pa=STANDARD_ATMOSPHERE_PA * np.minimum(_lognormal(SUCTION_SHARE, worlds.axes["suction share"]), 1.0),
    )


def _lognormal(quantity: Sourced, z: Floats) -> Floats:
    return np.asarray(quantity.value * np.exp(quantity.spread * z))


def front_force_n_m(side: Side) -> Floats:
    """Return the pull of each metre of peel front in every world: T1 sin(theta) [N/m], shape (S,).

    Parameters
    ----------
    side : Side
        Film and peel angle; its tension is that of the film where it stands at that angle.

    Returns
    -------
    (S,) ndarray
        [N/m].

    References
    ----------
    Straight film from the clamp to the front; Rivlin, Paint Technology 9 (1944) 215-216. [rivlin:1944]
    """
    return np.asarray(side.front_force_n_m)


# --- walks -------------------------------------------------------------------------------------------------------------


class _Walk(NamedTuple):
    """One stack walked: where it stands, what carries it, how its islands pull, and its margins."""

    hanging: Hanging
    carried: Capacities
    pull_m: Floats
    margins: LayerMargins


@frozen(kw_only=True, eq=False)
class PlateMargins:
    """Margins of all pieces of a plate, as lengths: section over peel front.

    Parameters
    ----------
    suction_per_m : (G,) ndarray
        Pulls of sealed pockets, over the force for each metre of front, at which the walks were made [1/m].
    section_m, foot_m : (G, N) ndarray
        Least margin of every layer's pull, of sections and of feet [m]; infinite where nothing pulls.
    walks : tuple
        The walks at the middle of `suction_per_m`, one a stack.
    """

    suction_per_m: Floats
    section_m: Floats
    foot_m: Floats
    walks: tuple[_Walk, ...]


def plate_margins(study: Study, suction_per_m: Floats) -> PlateMargins:
    """Return how far the pull of every layer could grow before something that carries it is at its end.

    Parameters
    ----------
    study : Study
        With its hanging pieces.
    suction_per_m : (G,) ndarray
        Pull of sealed pockets for their area over the force for each metre of front [1/m], rising.

    Returns
    -------
    PlateMargins
        Margins [m].

    Notes
    -----
    An island pulls with its longest peel front and the area of its sealed holes, unless it is the point of something
    (:data:`SPECK_M3`).  Islands of one layer let go at different rises; their pulls are added as if at once, on the safe
    side.  Like stacks share what carries them; where each stands decides how its fronts lie, so each is walked.
    """
    middle = len(suction_per_m) // 2
    section, foot = (np.full((len(suction_per_m), study.layers), np.inf) for _ in range(2))
    sealed = [bool(h.graph.sealed_m2.any()) for h in study.hanging]
    walked = [[h.graph] * (len(suction_per_m) if s else 1) for h, s in zip(study.hanging, sealed, strict=True)]
    at_once = layers_at_once([graph for several in walked for graph in several])
    walks = []
    for hanging, only in zip(study.hanging, _walks_without_pockets(study, at_once), strict=True):
        here = slice(hanging.first_layer, hanging.first_layer + hanging.graph.layers)
        for g, suction in enumerate(suction_per_m):
            walk = only or _walked(hanging, *_carried_by(study)[hanging], float(suction), at_once)
            section[g, here] = np.minimum(section[g, here], walk.margins.margin_m)
            foot[g, here] = np.minimum(foot[g, here], walk.margins.base_m)
            if g == middle:
                walks.append(walk)
    return PlateMargins(suction_per_m=suction_per_m, section_m=section, foot_m=foot, walks=tuple(walks))


@lru_cache(maxsize=4)
def _carried_by(study: Study) -> dict[Hanging, tuple[Capacities, Bools]]:
    """What carries each stack of a plate, and which of its islands pull; kept for the plates asked about last."""
    found: dict[tuple[int, bool], tuple[Capacities, Bools]] = {}
    for hanging in study.hanging:
        graph, grounded = hanging.graph, hanging.first_layer == 0
        if (id(graph), grounded) not in found:
            carried = capacities(graph, grounded=grounded)
            found[id(graph), grounded] = (carried, hung_area(graph, carried) * study.layer_m > SPECK_M3)
    return {h: found[id(h.graph), h.first_layer == 0] for h in study.hanging}


@lru_cache(maxsize=4)
def _walks_without_pockets(study: Study, at_once: int) -> tuple[_Walk | None, ...]:
    """The walks of the stacks that pull alike in every world; None for those with sealed pockets."""
    return tuple(
        None if h.graph.sealed_m2.any() else _walked(h, *_carried_by(study)[h], 0.0, at_once) for h in study.hanging
    )


def _walked(hanging: Hanging, carried: Capacities, counts: Bools, suction_per_m: float, at_once: int) -> _Walk:
    pull = counts * (hanging.front_m + suction_per_m * hanging.graph.sealed_m2)
    return _Walk(hanging, carried, pull, layer_margins(hanging.graph, carried, pull, layers_at_once=at_once))


def _suctions(study: Study, suction_pa: Floats, front_n_m: Floats) -> Floats:
    """Return the pocket pulls over front forces at which to walk: one where there is no pocket, else five of the range."""
    ratio = suction_pa / front_n_m
    if not any(h.graph.sealed_m2.any() for h in study.hanging):
        return np.array([float(np.median(ratio))])
    return np.unique(np.quantile(ratio, (0.01, 0.25, 0.5, 0.75, 0.99)))


# --- chances -----------------------------------------------------------------------------------------------------------


@cache
def _normal_nodes() -> tuple[Floats, Floats]:
    """Places and weights at which a function of a normal number is averaged."""
    return np.polynomial.hermite_e.hermegauss(20)


def run_holds(margin_m: Floats, strength_per_m: Floats) -> Floats:
    """Return the chance that no layer of a run pulls more than is carried, in every world, (S,).

    ln(pull of layer n) = ln(its median) + s (sqrt(r) z + sqrt(1 - r) e_n), with z common to the run and e_n alike over
    blocks of L layers: P = E_z of the product over n of Phi((ln(margin_n strength) - s sqrt(r) z) / (s sqrt(1 - r)))^(1/L).

    Parameters
    ----------
    margin_m : (N,) ndarray
        Section over peel front of every layer [m]; infinite where nothing pulls.
    strength_per_m : (S,) ndarray
        Strength over the force for each metre of front, in every world [1/m].

    Returns
    -------
    (S,) ndarray
        Chances [-].

    Notes
    -----
    s is the scatter of :data:`vatwright.planning.demand.lift.PULL_SCATTER`, r is :data:`LASTING_SHARE`, L is
    :data:`ALIKE_LAYERS`.  Given z the blocks are independent; a layer counts for 1/L of one.  r = 1 is one draw for the
    whole run, r = 0 independent blocks.

    References
    ----------
    Owen and Steck, Ann. Math. Stat. 33 (1962) 1286-1291, equation 1.2, the equicorrelated normal as a common and an own
    part. [owen:1962]

    Examples
    --------
    >>> chance = run_holds(np.full(20, 1e-3), np.array([1e3, 1e5]))
    >>> round(float(chance[0]), 3), round(float(chance[1]), 3)
    (0.5, 1.0)
    """
    finite = margin_m[np.isfinite(margin_m)]
    if not len(finite):
        return np.ones(len(strength_per_m))
    logs = np.log(finite)
    least = float(logs.min())
    bins, count = np.unique(np.round((logs - least) / _STEP), return_counts=True)
    scatter = math.log(PULL_SCATTER) / NORMAL_95
    common, own = scatter * math.sqrt(LASTING_SHARE), scatter * math.sqrt(1.0 - LASTING_SHARE)
    near = bins * _STEP <= 16.0 * scatter  # what is beyond never decides
    z, weight = _normal_nodes()
    log_strength = np.log(strength_per_m)
    x = np.linspace(float(log_strength.min()), float(log_strength.max()), 100)
    log_margin = x[:, None, None] + (least + bins[near] * _STEP)[None, None, :] - common * z[None, :, None]
    held = np.exp((log_ndtr(log_margin / own) * (count[near] / ALIKE_LAYERS)).sum(axis=2))
    chance = held @ weight / math.sqrt(2.0 * math.pi)
    return np.asarray(np.clip(np.interp(log_strength, x, chance), 0.0, 1.0))


Films = tuple[Side, Side]
"""A machine with its film as it lets go at the peel speed of the base, and of the body."""


def peeled(plate: PlateMargins, films: Films, base_layers: int) -> PlateMargins:
    """Return margins in lengths of the body's front: those of base layers in proportion to how much harder that pulls."""
    base, body = films
    if base is body:
        return plate
    ratio = float(np.median(body.front_force_n_m / base.front_force_n_m))
    scale = np.where(np.arange(plate.section_m.shape[1]) < base_layers, ratio, 1.0)
    return evolve(plate, section_m=plate.section_m * scale, foot_m=plate.foot_m * scale)


def holding_chances(plate: PlateMargins, side: Side, strength: Strengths) -> tuple[Floats, Floats]:
    """Return the chance in every world that no section tears, and that no foot peels, (S,) each.

    Parameters
    ----------
    plate : PlateMargins
        Of the plate.
    side : Side
        The film at the body's peel speed in every world.
    strength : Strengths
        What carries in every world.

    Returns
    -------
    tuple of (S,) ndarray
        Chances [-].

    Notes
    -----
    A pocket's pull is walked at a few of its values and interpolated between; all pieces of a layer share its scatter.
    """
    front = front_force_n_m(side)
    ratio = strength.suction_pa / front
    return (
        _between(plate, plate.section_m, strength.section_pa / front, ratio),
        _between(plate, plate.foot_m, strength.foot_pa / front, ratio),
    )


def _between(plate: PlateMargins, margin_m: Floats, strength_per_m: Floats, ratio: Floats) -> Floats:
    curves = np.array([run_holds(row, strength_per_m) for row in margin_m])
    if len(curves) == 1:
        return np.asarray(curves[0])
    at = np.interp(np.log(ratio), np.log(plate.suction_per_m), np.arange(len(curves)))
    low = np.minimum(at.astype(np.int64), len(curves) - 2)
    world = np.arange(len(ratio))
    return np.asarray(curves[low, world] + (at - low) * (curves[low + 1, world] - curves[low, world]))


def holding_log_likelihood(study: Study, films: Films, base_layers: int, strength: Strengths, *, held: int) -> Floats:
    """Return how well every world explains that all pieces of a plate held on in `held` runs, (S,) [-].

    Parameters
    ----------
    study : Study
        The plate that ran.
    films : tuple of Side
        The machine it ran on, in every world, at the peel speeds of base and body.
    base_layers : int
        Layers of the base.
    strength : Strengths
        Strengths of the resin it ran with.
    held : int
        Runs that held.  Runs that failed count for nothing: nobody said that a part tore.

    Returns
    -------
    (S,) ndarray
        Log likelihood; zeros where the plate is known by tape measure only.
    """
    if not study.hanging or not held:
        return np.zeros(len(strength.section_pa))
    section, foot = _chances(study, films, base_layers, strength)
    return np.asarray(held * np.maximum(np.log(np.maximum(section * foot, 1e-300)), _LEAST_LOG))


def _chances(study: Study, films: Films, base_layers: int, strength: Strengths) -> tuple[Floats, Floats]:
    return holding_chances(_pulled(study, films, base_layers, strength), films[1], strength)


def _pulled(study: Study, films: Films, base_layers: int, strength: Strengths) -> PlateMargins:
    """The margins of a plate as it pulls at the peel speeds of base and body, in lengths of the body's front."""
    suctions = _suctions(study, strength.suction_pa, front_force_n_m(films[1]))
    return peeled(_margins_at(study, tuple(suctions)), films, base_layers)


@lru_cache(maxsize=8)
def _margins_at(study: Study, suction_per_m: tuple[float, ...]) -> PlateMargins:
    """The margins of a plate; the speeds of a plan are mostly the proven ones, which were asked about before."""
    return plate_margins(study, np.array(suction_per_m))


def holds_on(case: Case, speed_m_s: dict[str, float], *, proven: bool = False) -> float:
    """Return how often all pieces of a plate hold on at peel speeds of base and body; 1 where nothing is known of it [-].

    Parameters
    ----------
    case : Case
        Both studies and the worlds, strengths included.
    speed_m_s : dict of str to float
        By phase [m/s].
    proven : bool
        Whether the proven plate on the origin is asked for, else this job's on the target.
    """
    job, worlds = case.job, case.worlds
    study, side = (case.proven_study, worlds.origin) if proven else (case.target_study, worlds.target)
    if not study.hanging or _AXES[0] not in worlds.axes:
        return 1.0
    base, body = (side.peeling(speed_m_s[phase]) for phase in ("base", "body"))
    films = (body, body) if speed_m_s["base"] == speed_m_s["body"] else (base, body)
    strength = strengths(worlds, job.resin_from if proven else job.resin, target=not proven)
    section, foot = _chances(study, films, job.recipe.settings.base_layers, strength)
    return float((section * foot).mean())


# --- a part that stands on supports --------------------------------------------------------------------------------------


def weakest_section(case: Case, settings: Settings) -> WeakPlace | None:
    """Return the section of a piece that has least to spare, were all that looks down held up by supports that hold.

    Parameters
    ----------
    case : Case
        The job and its worlds.
    settings : Settings
        What is set on the target: its peel speeds count.

    Returns
    -------
    WeakPlace or None
        Of the piece that is pulled hardest; None where nothing is known of what hangs on what.
    """
    study, worlds = case.target_study, case.worlds
    if not study.hanging or _AXES[0] not in worlds.axes:
        return None
    strength = strengths(worlds, case.job.resin, target=True)
    front = front_force_n_m(case.target_run(settings).film("body"))
    hardest = max(study.hanging, key=lambda h: float(h.front_m.sum()))
    graph = held_up(hardest.graph, layer_m=study.layer_m)
    piece = evolve(hardest, graph=graph, front_m=np.concatenate(([0.0], hardest.front_m)))
    carried = capacities(graph)
    hangs = hung_area(graph, carried) * study.layer_m > SPECK_M3
    suction = float(np.median(strength.suction_pa / front))
    walk = _walked(piece, carried, hangs, suction, layers_at_once([graph]))
    if not np.isfinite(walk.margins.margin_m).any():
        return None
    return _weakest_of(study, walk, strength, front)


# --- the answer --------------------------------------------------------------------------------------------------------


def holding(case: Case, settings: Settings) -> Holding | None:
    """Return whether the pieces of the target's plate hold on, None where nothing is known of what hangs on what.

    Parameters
    ----------
    case : Case
        Both studies and the worlds.
    settings : Settings
        What is set on the target: its peel speeds and its base layers count.

    Returns
    -------
    Holding or None
        Chances, weakest places, picture.

    Notes
    -----
    Where the worlds carry no strengths yet, some are drawn for each and weighed by the proven runs here: the answer is
    that of the joint belief, but what it tells about the film does not reach the other margins.
    """
    job, study = case.job, case.target_study
    if not study.hanging:
        return None
    worlds = _weighed(case)
    run = evolve(case.target_run(settings), side=worlds.target, overcure_m=worlds.overcure_m)
    films = (run.film("base"), run.film("body"))
    side, strength = films[1], strengths(worlds, job.resin, target=True)
    front = front_force_n_m(side)
    plate = _pulled(study, films, settings.base_layers, strength)
    if not np.isfinite(plate.section_m).any():
        return None
    section, foot = holding_chances(plate, side, strength)
    both = section * foot
    return Holding(
        low=float(np.quantile(both, 0.05)),
        mean=float(both.mean()),
        high=float(np.quantile(both, 0.95)),
        tear_chance=float(1.0 - section.mean()),
        peel_chance=float(1.0 - foot.mean()),
        weakest=_weakest(study, plate, strength, front),
        foot=_foot(study, plate, strength, front),
        bend=_bend(study, plate, strength, front),
        profile=_profile(study, plate, strength, front),
        detached=sum(int((w.carried.section_m2 <= 0.0).sum()) for w in plate.walks),
        proof_counts=bool(case.proven_study.hanging) and job.recipe.proof.counted_held > 0,
        assumed=_assumed(job.resin, suction=bool(study.pockets)),
        sources=_sources(job.resin),
    )


def _weighed(case: Case) -> Worlds:
    job, worlds = case.job, case.worlds
    if _AXES[0] in worlds.axes:
        return worlds
    several = with_strengths(worlds.kept(np.tile(np.arange(worlds.count), DRAWS)), job)
    proof = job.recipe.proof
    proven = evolve(case.proven, side=several.origin, overcure_m=several.overcure_m)
    seen = holding_log_likelihood(
        case.proven_study,
        (proven.film("base"), proven.film("body")),
        proven.settings.base_layers,
        strengths(several, job.resin_from, target=False),
        held=proof.counted_held,
    )
    return resample(several, seen, count=several.count)


def _three(values: Floats) -> tuple[float, float, float]:
    low, middle, high = np.quantile(values, (0.05, 0.5, 0.95))
    return float(low), float(middle), float(high)


def _alike(study: Study, part: str) -> int:
    return sum(h.part == part for h in study.hanging)


def _at(study: Study, hanging: Hanging, island: int) -> tuple[int, float, float, float]:
    """Return layer, height [m] and place [m] of an island."""
    layer = hanging.first_layer + int(np.searchsorted(hanging.graph.island_start, island, side="right")) - 1
    x, y = hanging.graph.centroid_m[island] + hanging.shift_m
    return layer, layer * study.layer_m, float(x), float(y)


def _place(
    study: Study, walk: _Walk, island: int, area_m2: float, margin_m: float, pa: Floats, front: Floats
) -> WeakPlace:
    layer, height, x, y = _at(study, walk.hanging, island)
    low, middle, high = _three(margin_m * pa / front)
    return WeakPlace(
        part=walk.hanging.part, alike=_alike(study, walk.hanging.part), layer=layer, height_m=height, x_m=x, y_m=y,
        section_m2=area_m2, pull_n=area_m2 / margin_m * float(np.median(front)), margin=middle, low=low, high=high,
        pocket=bool(walk.hanging.graph.sealed_m2.any()),
    )  # fmt: skip


def _weakest(study: Study, plate: PlateMargins, strength: Strengths, front: Floats) -> WeakPlace:
    walk = min(plate.walks, key=lambda w: float(w.margins.margin_m.min(initial=np.inf)))
    return _weakest_of(study, walk, strength, front)


def _weakest_of(study: Study, walk: _Walk, strength: Strengths, front: Floats) -> WeakPlace:
    layer = int(np.argmin(walk.margins.margin_m))
    island, area = neck_of(walk.hanging.graph, walk.carried, int(walk.margins.weakest[layer]))
    return _place(study, walk, island, area, float(walk.margins.margin_m[layer]), strength.section_pa, front)


def _foot(study: Study, plate: PlateMargins, strength: Strengths, front: Floats) -> WeakPlace:
    walk = min(plate.walks, key=lambda w: float(w.margins.base_m.min(initial=np.inf)))
    graph = walk.hanging.graph
    feet = slice(0, int(graph.island_start[1]))
    with np.errstate(divide="ignore"):
        ratio = graph.area_m2[feet] / walk.margins.passing_m[feet]
    island = int(np.argmin(ratio))
    return _place(study, walk, island, float(graph.area_m2[island]), float(ratio[island]), strength.foot_pa, front)


def _bend(study: Study, plate: PlateMargins, strength: Strengths, front: Floats) -> BendPlace:
    """The stack of each kind that is pulled hardest stands for all of its kind."""
    kinds: dict[int, _Walk] = {}
    for walk in plate.walks:
        key = id(walk.hanging.graph)
        if key not in kinds or walk.pull_m.sum() > kinds[key].pull_m.sum():
            kinds[key] = walk
    bent = [(w, bending(w.hanging.graph, w.carried, w.pull_m)) for w in kinds.values()]
    walk, found = max(bent, key=lambda pair: float(pair[1].stress_per_m.max()))
    n = int(np.argmax(found.stress_per_m))
    layer, height, x, y = _at(study, walk.hanging, int(found.island[n]))
    stress = float(found.stress_per_m[n])
    return BendPlace(
        part=walk.hanging.part, layer=layer, height_m=height, x_m=x, y_m=y,
        stress_pa=stress * float(np.median(front)), strength_pa=float(np.median(strength.section_pa)),
        margin=float(np.median(strength.section_pa / front)) / stress,
    )  # fmt: skip


def _profile(study: Study, plate: PlateMargins, strength: Strengths, front: Floats) -> HoldingProfile:
    walk = min(plate.walks, key=lambda w: float(w.margins.margin_m.min(initial=np.inf)))
    graph, passing = walk.hanging.graph, walk.margins.passing_m
    owner = np.repeat(np.arange(graph.islands), np.diff(graph.link_start))
    linked = np.bincount(owner, graph.link_area_m2, minlength=graph.islands)
    local = np.where(graph.island_layer == 0, graph.area_m2, np.minimum(graph.area_m2, linked))
    with np.errstate(divide="ignore"):
        ratio = np.where(passing > 0.0, local / passing, np.inf)
    starts = graph.island_start[:-1]
    layers = [
        int(n) for n in np.flatnonzero(np.diff(graph.island_start)) if np.isfinite(ratio[_of(graph, int(n))]).any()
    ]
    worst = np.array([starts[n] + int(np.argmin(ratio[_of(graph, n)])) for n in layers], dtype=np.int64)
    low, middle, high = _three(strength.section_pa)
    demand = passing[worst] * float(np.median(front))
    return HoldingProfile(
        part=walk.hanging.part,
        height_m=(walk.hanging.first_layer + np.array(layers, dtype=np.float64)) * study.layer_m,
        capacity_n=local[worst] * middle,
        capacity_low_n=local[worst] * low,
        capacity_high_n=local[worst] * high,
        demand_n=demand,
        demand_high_n=demand * PULL_SCATTER,
    )


def _of(graph: IslandGraph, layer: int) -> slice:
    return slice(int(graph.island_start[layer]), int(graph.island_start[layer + 1]))


def _assumed(resin: Resin, *, suction: bool) -> tuple[str, ...]:
    told = []
    if resin.green_strength_pa is None:
        told.append(
            to_say(
                "Nobody tested how strong {name} is before its final cure: 5 to 20 MPa is taken for "
                "the solid, and about half of that for the bond between two layers.",
                name=resin.name,
            )
        )
    if resin.base_bond_pa is None:
        told.append(
            to_say("Nobody tested how hard {name} holds to the platform: 0.1 to 2.5 MPa is taken.", name=resin.name)
        )
    if suction:
        told.append(to_say("A sealed pocket is taken to reach 10 to 90 % of an atmosphere before resin creeps in."))
    return tuple(told)


def _sources(resin: Resin) -> tuple[str, ...]:
    given = (resin.green_strength_pa or GREEN_STRENGTH_PA, resin.base_bond_pa or BASE_BOND_PA, NECK_SHARE)
    return tuple(dict.fromkeys((*(s.source for s in given), "rivlin:1944", "drucker:1952", "owen:1962")))


def _two(value: float) -> str:
    """Two digits, without a power of ten."""
    return f"{float(f'{value:.2g}'):g}"


def holding_risks(held: Holding | None) -> list[Risk]:
    """Return the risks that a piece tears, that its foot peels, or that a pull at its edge breaks it."""
    if held is None:
        return []
    found = []
    if held.tear_chance >= NOTED:
        found.append(_tear(held))
    if held.peel_chance >= NOTED:
        found.append(_peel(held))
    if held.bend.margin < 1.0:
        found.append(_bend_risk(held.bend))
    return found


def _tear(held: Holding) -> Risk:
    w = held.weakest
    return Risk(
        what=to_say("The {part} may tear at {height:.1f} mm.", part=w.part, height=w.height_m * 1e3),
        layer=w.layer,
        margin=w.margin,
        chance=held.tear_chance,
        why=to_say(
            "All that hangs on {two} mm2 there pulls with about {two_2} N, and the pull of a "
            "layer scatters by {pull_scatter:g} times either way.",
            two=_two(w.section_m2 * 1e6),
            two_2=_two(w.pull_n),
            pull_scatter=PULL_SCATTER,
        ),
        do=_remedy(w, to_say("Thicken that place or hold up what is beyond it with more supports")),
    )


def _peel(held: Holding) -> Risk:
    f = held.foot
    return Risk(
        what=to_say("The foot of the {part} may peel off the platform.", part=f.part),
        layer=0,
        margin=f.margin,
        chance=held.peel_chance,
        why=to_say("Its {two} mm2 have to hold about {two_2} N.", two=_two(f.section_m2 * 1e6), two_2=_two(f.pull_n)),
        do=_remedy(f, to_say("Give it a wider foot or a common raft")),
    )


def _remedy(place: WeakPlace, stronger: str) -> str:
    if place.pocket:
        return to_say("Vent its sealed pocket: it makes most of the pull. {stronger}.", stronger=stronger)
    return to_say("{stronger}; a slower peel lift pulls less.", stronger=stronger)


def _bend_risk(b: BendPlace) -> Risk:
    return Risk(
        what=to_say(
            "The {part} may break at {height:.1f} mm while its edge peels.", part=b.part, height=b.height_m * 1e3
        ),
        layer=b.layer,
        margin=b.margin,
        chance=None,
        why=to_say(
            "A pull at the edge strains the section there with up to {stress_pa:.1f} MPa; it "
            "stands about {strength_pa:.1f}.",
            stress_pa=b.stress_pa / 1e6,
            strength_pa=b.strength_pa / 1e6,
        ),
        do=to_say("Spread the supports wider beneath it, or lean the part less."),
    )
