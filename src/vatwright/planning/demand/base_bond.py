"""Whether the base bonds, place by place: the gap there against what the light cures there, in every world.

A place counts where something is cured in the base: its outlines, not the bare platform around them.  Layer 0 meets the
platform as it stands, out of level and not quite flat.  Every later base layer rests on the one before, so it meets only
what has not settled and what an uneven load tips anew.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve, frozen
from scipy.interpolate import LinearNDInterpolator, NearestNDInterpolator
from scipy.spatial import QhullError

from vatwright.errors import DomainError
from vatwright.physics.irradiance import irradiance_at
from vatwright.physics.layer_stack import StackResult
from vatwright.physics.plane import fit_plane, plane_sigma, twist_sigma
from vatwright.physics.stiffness import STANDARD_GRAVITY_M_S2
from vatwright.planning.demand.base import inner_places_m
from vatwright.planning.demand.exposure import effective_w_m2
from vatwright.planning.demand.outcome import LEAST_CHANCE
from vatwright.planning.demand.settle import Run
from vatwright.planning.demand.unknowns import TILT, Worlds
from vatwright.records.job import Job
from vatwright.records.machine import FlatnessReading, Light, Machine, TipReading
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.demand.unknowns import Side

    Floats = NDArray[np.float64]

REAL_TWIST = 2.0
"""Twist beyond this many standard uncertainties is taken as real [-], as in levelling."""

EDGE_PARTS = 4
"""Into how many parts each long edge of an outline is cut in the search for the worst place."""

LONG_EDGE_M = 5.0e-3
"""An edge longer than this is looked at between its ends [m]: level and flatness change little over less."""


@frozen(kw_only=True, eq=False)
class Ground:
    """What the places of a platform are like, in every world.

    Parameters
    ----------
    places_m : (P, 2) ndarray
        Where, from the platform's centre [m].
    extra_m : (S, P) ndarray
        By how much the gap of layer 0 exceeds that in the middle, out of level and not flat [m].
    share : (P,) ndarray
        Irradiance there as a share of the window's mean [-].
    """

    places_m: Floats
    extra_m: Floats
    share: Floats

    def only(self, which: NDArray[np.intp]) -> Ground:
        """Return the places at `which`."""
        return Ground(places_m=self.places_m[which], extra_m=self.extra_m[:, which], share=self.share[which])


@frozen(kw_only=True, eq=False)
class BaseBond:
    """The base of a run, and what decides whether it bonds.

    Parameters
    ----------
    run : Run
        The base layers alone.
    settle_s : (n,) ndarray
        What each of them gets [s].
    ground : Ground
        The places judged.
    lever_m : (n, 2) ndarray
        How far off the platform's centre the resin's force acts, layer by layer [m].
    tip_stiffness_j : float
        Moment that tips the platform by one radian [N m/rad]; infinite where nobody tried.
    """

    run: Run
    settle_s: Floats
    ground: Ground
    lever_m: Floats
    tip_stiffness_j: float = math.inf

    def judged(self, result: StackResult | None = None) -> Judged:
        """Return the gaps, what bonds and the chances; the gaps may be handed in where light alone has changed."""
        result = result or self.run.result(self.settle_s)
        # What an uneven load tips anew: the layer before has frozen the tip it found.
        slope = result.end_force_n[:, :, None] * self.lever_m[None] / self.tip_stiffness_j
        slope = np.diff(slope, axis=1, prepend=0.0)
        return Judged(bond=self, stack=result, slope=slope)


@frozen(kw_only=True, eq=False)
class Judged:
    """Gaps and chances of a base; arrays by world, layer and place.

    Parameters
    ----------
    bond : BaseBond
        What was judged.
    stack : StackResult
        Gap in the middle and forces, (S, n) each.
    slope : (S, n, 2) ndarray
        By how much each layer is tipped more than the one before [-].
    """

    bond: BaseBond
    stack: StackResult
    slope: Floats

    @property
    def thickness_m(self) -> Floats:
        """Gap in the middle when the light comes on, (S, n) [m]."""
        return self.stack.thickness_m

    def uneven_m(self, layer: int, ground: Ground) -> Floats:
        """Return the extra gap of one layer, out of level and flat, (S, P) [m]."""
        return ground.extra_m if layer == 0 else np.zeros_like(ground.extra_m)

    def tipped_m(self, layer: int, ground: Ground) -> Floats:
        """Return the extra gap of one layer by the tip of an uneven load, (S, P) [m]."""
        if not self.slope[:, layer].any():  # as where nobody tried: the common case
            return np.zeros_like(ground.extra_m)
        return np.asarray(self.slope[:, layer] @ ground.places_m.T)

    def bowed_m(self, layer: int, ground: Ground) -> Floats:
        """Return the extra gap of one layer by a film that gives: it bows more in the middle than at the edge, (S, P) [m]."""
        load = self.bond.run.load
        if load.giving is None:
            return np.zeros_like(ground.extra_m)
        more = load.giving.bow_at(layer, ground.places_m) - 1.0
        return np.asarray(np.maximum(self.thickness_m[:, layer] - load.layer_m[layer], 0.0)[:, None] * more[None, :])

    def limit_m(self, layer: int, ground: Ground) -> Floats:
        """Return the thickest gap that the light bonds through at each place, (S, P) [m], not below 0."""
        exposure_s = float(self.bond.run.exposure_s()[layer])
        depth = cured_at_m(self.bond.run.side, exposure_s, ground.share)
        return np.maximum(depth - self.bond.run.overcure_m[:, None], 0.0)

    def spare_m(self, layer: int, ground: Ground) -> Floats:
        """Return the gap that bonds less the gap there, (S, P) [m]."""
        extra = self.uneven_m(layer, ground) + self.tipped_m(layer, ground) + self.bowed_m(layer, ground)
        return np.asarray(self.limit_m(layer, ground) - extra - self.thickness_m[:, layer, None])

    def margin(self, layer: int, ground: Ground) -> Floats:
        """Return capacity over demand at each place as :func:`vatwright.planning.demand.outcome.margins` has it, (S, P) [-]."""
        thickness = self.thickness_m[:, layer, None]
        least = 0.01 * self.bond.run.load.layer_m[layer]
        return np.asarray(np.maximum(self.spare_m(layer, ground) + thickness, least) / thickness)

    def chances(self, layer: int, ground: Ground) -> Floats:
        """Return how likely each place bonds in one layer, (P,) [-]."""
        return np.asarray(self._holding(self.margin(layer, ground)).mean(axis=0))

    def _holding(self, margin: Floats) -> Floats:
        return self.bond.run.side.holding(margin, "base")

    @property
    def layers(self) -> int:
        """How many base layers."""
        return len(self.bond.settle_s)

    def layer_chances(self) -> Floats:
        """Return how likely each layer bonds at all its places, (n,) [-]."""
        worst = [self.margin(n, self.bond.ground).min(axis=1) for n in range(self.layers)]
        return np.array([float(self._holding(w).mean()) for w in worst])

    def chance(self) -> float:
        """Return how likely the whole base bonds at all its places [-]."""
        worst = np.min([self.margin(n, self.bond.ground).min(axis=1) for n in range(self.layers)], axis=0)
        found = float(self._holding(worst).mean())
        return min(max(found, LEAST_CHANCE), 1.0 - LEAST_CHANCE)


def cured_at_m(side: Side, exposure_s: float, share: Floats) -> Floats:
    """Return how deep the light cures at places that get `share` of the mean irradiance, in every world, (S, P) [m].

    The equation is C_d = D_p (ln(E / E_c) + alpha ln s), not below zero.

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4 [jacobs:1992]; the exponent as in
    :func:`vatwright.planning.demand.exposure.effective_w_m2`.
    """
    mean = np.log(effective_w_m2(side, 1.0) * exposure_s / side.curve_dose_j_m2)
    depth = side.curve_depth_m[:, None] * (mean[:, None] + side.reciprocity[:, None] * np.log(share)[None, :])
    return np.asarray(np.maximum(depth, 0.0))


def cured_places_m(study: Study, machine: Machine) -> Floats:
    """Return the places at which a base can be worst, (P, 2) [m]: along its outlines, and at readings inside them.

    Where no outline is known it is the four corners of the platform.
    """
    loops = study.base_outlines_m
    if not loops:
        half_w, half_d = machine.platform.width_m / 2.0, machine.platform.depth_m / 2.0
        return np.array([(sx * half_w, sy * half_d) for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1))])
    lit, flat = machine.light.readings, machine.flatness
    spots = np.array([*((r.x_m, r.y_m) for r in lit), *((r.x_m, r.y_m) for r in flat)]).reshape(-1, 2)
    return np.concatenate([*(_along(loop) for loop in loops), spots[inside_outlines(loops, spots)]])


def deep_places_m(study: Study) -> Floats:
    """Return places inside the base's outlines, where a film that gives bows most, (P, 2) [m]."""
    loops = study.base_outlines_m
    if not loops:
        return np.zeros((1, 2))
    inner = inner_places_m(loops)
    return inner[inside_outlines(loops, inner)]


def _along(loop: Floats) -> Floats:
    """The corners of a loop, and places along its long edges."""
    edge = np.roll(loop, -1, axis=0) - loop
    long = np.hypot(edge[:, 0], edge[:, 1]) > LONG_EDGE_M
    share = (np.arange(1, EDGE_PARTS) / EDGE_PARTS)[:, None, None]
    return np.concatenate([loop, (loop[long] + share * edge[long]).reshape(-1, 2)])


def inside_outlines(loops: tuple[Floats, ...], points: Floats) -> NDArray[np.bool_]:
    """Return which of (P, 2) points lie inside outlines, by the even-odd rule over all of them, (P,)."""
    odd = np.zeros(len(points), dtype=bool)
    x, y = points[:, :1], points[:, 1:]
    for loop in loops:
        (x0, y0), (x1, y1) = loop.T, np.roll(loop, -1, axis=0).T
        rise = np.where(y1 == y0, 1.0, y1 - y0)
        crosses = ((y0 > y) != (y1 > y)) & (x < x0 + (y - y0) / rise * (x1 - x0))
        odd ^= crosses.sum(axis=1) % 2 == 1
    return odd


def ground_at(places_m: Floats, machine: Machine, z: Floats, *, dimmest: float) -> Ground:
    """Return what some places of a platform are like.

    Parameters
    ----------
    places_m : (P, 2) ndarray
        Where [m].
    machine : Machine
        Its level, flatness and light readings.
    z : (S,) ndarray
        Standard normal coordinate of how level it is [-].
    dimmest : float
        Share of the mean light where there is no map: the dimmest spot, as nobody knows where it is [-].
    """
    return Ground(
        places_m=places_m,
        extra_m=unlevel_m(places_m, machine, z) + hollow_m(places_m, machine.flatness)[None, :],
        share=light_share(places_m, machine.light, dimmest=dimmest),
    )


def level_is_read(machine: Machine) -> bool:
    """Return whether there are readings that make a plane of a machine's platform."""
    return _plane(machine) is not None


def unlevel_m(places_m: Floats, machine: Machine, z: Floats) -> Floats:
    """Return by how much the gap at places exceeds that in the middle, platform out of level, in every world, (S, P) [m].

    Parameters
    ----------
    places_m : (P, 2) ndarray
        Where [m].
    machine : Machine
        Its platform and level readings.
    z : (S,) ndarray
        Standard normal coordinate [-].

    Returns
    -------
    (S, P) ndarray
        Plane through the readings, with twist where that is real, plus z times its standard uncertainty at the place.

    Notes
    -----
    Without readings nobody knows which way the platform is tipped: each place is judged as if it were tipped that way, by
    the tilt usual after levelling by paper.  With readings one z serves all places: each place's own range is right, how
    two of them go together is not modelled.

    References
    ----------
    Draper and Smith, *Applied Regression Analysis*, 3rd ed. (1998), equation 5.2.4. [draper:1998]
    """
    fit = _plane(machine)
    if fit is None:
        usual = TILT.value * np.exp(TILT.spread * z)
        return np.asarray(usual[:, None] * np.hypot(places_m[:, 0], places_m[:, 1])[None, :])
    slopes, twist_m, twist_sigma_m = fit
    mean = places_m @ slopes + twist_m * _saddle(places_m, machine)
    sigma = level_sigma_m(places_m, machine, twist_sigma_m if twist_m else 0.0)
    return np.asarray(mean[None, :] + z[:, None] * sigma[None, :])


def level_sigma_m(places_m: Floats, machine: Machine, twist_sigma_m: float = 0.0) -> Floats:
    """Return the standard uncertainty of the level at places against the middle, from where the readings stand, (P,) [m]."""
    readings: dict[str, Any] = {
        "x_m": [r.x_m for r in machine.level],
        "y_m": [r.y_m for r in machine.level],
        "sigma_m": [machine.level_sigma_m] * len(machine.level),
    }
    middle = plane_sigma(**readings, at_x_m=0.0, at_y_m=0.0) ** 2
    # A plane's variance is a quadratic form of the place: three numbers make it, so it is asked for three places only.
    unit = max(machine.platform.width_m, machine.platform.depth_m) / 2.0
    xx, yy, both = (
        (plane_sigma(**readings, at_x_m=x, at_y_m=y) ** 2 + plane_sigma(**readings, at_x_m=-x, at_y_m=-y) ** 2) / 2.0
        - middle
        for x, y in ((unit, 0.0), (0.0, unit), (unit, unit))
    )
    x, y = places_m[:, 0] / unit, places_m[:, 1] / unit
    variance = xx * x**2 + yy * y**2 + (both - xx - yy) * x * y
    return np.sqrt(np.maximum(variance, 0.0) + (twist_sigma_m * _saddle(places_m, machine)) ** 2)


def _saddle(places_m: Floats, machine: Machine) -> Floats:
    """What a twist of 1 adds to the gap at places: 1 at two opposite corners, -1 at the others."""
    return np.asarray(4.0 * places_m[:, 0] * places_m[:, 1] / (machine.platform.width_m * machine.platform.depth_m))


def _plane(machine: Machine) -> tuple[Floats, float, float] | None:
    """Slopes (2,), twist [m] where it is real and its standard uncertainty [m]; None without readings that make a plane."""
    if len(machine.level) < 3:
        return None
    where: dict[str, Any] = {
        "x_m": [r.x_m for r in machine.level],
        "y_m": [r.y_m for r in machine.level],
        "sigma_m": [machine.level_sigma_m] * len(machine.level),
    }
    size: dict[str, Any] = {"width_m": machine.platform.width_m, "depth_m": machine.platform.depth_m}
    gap = [r.gap_m for r in machine.level]
    try:
        flat = fit_plane(**where, gap_m=gap)
    except DomainError:  # three or more on a line
        return None
    sigma = twist_sigma(**where, **size)
    twisted = fit_plane(**where, **size, gap_m=gap) if math.isfinite(sigma) else flat
    real = twisted if abs(twisted.twist_m) > REAL_TWIST * sigma else flat
    return np.array([real.tilt_x, real.tilt_y]), real.twist_m, sigma


def plane_slopes(machine: Machine) -> tuple[float, float]:
    """Return how fast the gap under a platform grows along x and y by its readings [-]; level without them."""
    fit = _plane(machine)
    return (0.0, 0.0) if fit is None else (float(fit[0][0]), float(fit[0][1]))


def hollow_m(places_m: Floats, flatness: tuple[FlatnessReading, ...]) -> Floats:
    """Return how far the platform's face stands back from flat at places, (P,) [m]; 0 without readings.

    What a plane explains is taken out: that is level, not flatness.  Linear between readings, the nearest one beyond them.

    Examples
    --------
    >>> bump = tuple(FlatnessReading(x_m=x, y_m=y, height_m=2e-5 * (x == y == 0.0)) for x in (-0.1, 0.0, 0.1)
    ...     for y in (-0.1, 0.0, 0.1))
    >>> (hollow_m(np.array([(0.0, 0.0), (0.1, 0.1), (0.05, 0.0)]), bump) * 1e6).round(2).tolist()
    [-17.78, 2.22, -7.78]
    """
    if not flatness:
        return np.zeros(len(places_m))
    spots, which = np.unique([(r.x_m, r.y_m) for r in flatness], axis=0, return_inverse=True)
    height = np.bincount(which.reshape(-1), weights=[r.height_m for r in flatness]) / np.bincount(which.reshape(-1))
    design = np.column_stack((np.ones(len(spots)), spots))
    if np.linalg.matrix_rank(design) < 3:  # on a line: no plane can be told from a bow
        design = design[:, :1]
    left = height - design @ np.linalg.lstsq(design, height, rcond=None)[0]
    nearest = NearestNDInterpolator(spots, left)(places_m)
    try:
        between = LinearNDInterpolator(spots, left)(places_m)
    except QhullError:  # too few readings, or readings on a line
        between = np.full(len(places_m), np.nan)
    return np.asarray(-np.where(np.isnan(between), nearest, between))


def light_share(places_m: Floats, light: Light, *, dimmest: float) -> Floats:
    """Return the irradiance at places as a share of the mean: by the map, else the dimmest spot everywhere, (P,) [-]."""
    if len(light.readings) < 2:
        return np.full(len(places_m), dimmest)
    found = irradiance_at(
        x_m=[r.x_m for r in light.readings],
        y_m=[r.y_m for r in light.readings],
        irradiance_w_m2=[r.irradiance_w_m2 for r in light.readings],
        at_x_m=places_m[:, 0],
        at_y_m=places_m[:, 1],
    )
    return np.asarray(found / light.irradiance_w_m2.value)


def tip_stiffness_j(tip: TipReading | None) -> float:
    """Return the moment that tips a platform by one radian [N m/rad], infinite where nobody tried: K = m g a l / d.

    Examples
    --------
    >>> round(tip_stiffness_j(TipReading(load_kg=2.0, at_m=0.06, over_m=0.12, difference_m=4e-5)))
    3530

    References
    ----------
    Moment of a force over the angle it turns; standard gravity. [derived:vatwright]
    """
    return math.inf if tip is None else tip.load_kg * STANDARD_GRAVITY_M_S2 * tip.at_m / tip.slope


def under_the_base(worlds: Worlds, job: Job, proven: Study, target: Study) -> Worlds:
    """Return the worlds with the extra gap of both machines taken where something is cured, not at the platform's corner.

    Parameters
    ----------
    worlds : Worlds
        As drawn.
    job : Job
        Both machines.
    proven, target : Study
        What is cured in the base on each.

    Returns
    -------
    Worlds
        As they were where no outline is known.
    """
    sides = {}
    for which, machine, study in (("origin", job.origin, proven), ("target", job.target, target)):
        side = getattr(worlds, which)
        if study.base_outlines_m or machine.flatness:
            places = cured_places_m(study, machine)
            extra = unlevel_m(places, machine, worlds.axes[f"level {which}"]) + hollow_m(places, machine.flatness)
            side = evolve(side, unlevel_m=np.maximum(extra.max(axis=1), 0.0))
        sides[which] = side
    return evolve(worlds, **sides)
