"""How long the light must shine on the new machine, and how deep it then cures.

What must bond is judged at the dimmest spot under the pieces, what must stay open at the brightest; both machines alike.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen

from vatwright.evidence.fit_cure import fit_cure
from vatwright.physics.cure_depth import print_through
from vatwright.physics.cure_width import narrowest_gap, thinnest_pin, thinnest_wall
from vatwright.physics.irradiance import irradiance_range
from vatwright.records.job import Job
from vatwright.records.machine import Light
from vatwright.records.material import Resin, WorkingCurve
from vatwright.records.plan import LightCarried
from vatwright.records.run import Quantity
from vatwright.records.sourced import NORMAL_95, Kind, Sourced
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from vatwright.planning.demand.unknowns import Side

    Floats = NDArray[np.float64]

UNKNOWN_CURVE = WorkingCurve(
    depth_m=Sourced(value=1.2e-4, low=5e-5, high=3e-4, source="estimate:vatwright", kind=Kind.ESTIMATE),
    critical_j_m2=Sourced(value=60.0, low=20.0, high=200.0, source="estimate:vatwright", kind=Kind.ESTIMATE),
)
"""Working curve of a resin nobody measured: D_p 50-300 um, E_c 2-20 mJ/cm2, from memory of typical 405 nm acrylates."""

SHARED_ERROR = (0.05, 0.1)
"""What all squares of one evening share and no fit shows, on D_p (how a thickness is read on soft resin) and on E_c (lot,
temperature, oxygen): 90 % lies within these shares, each on its own [-]; engineering estimates, no source."""

BLUR_M = Sourced.about(3.0e-5, factor=2.5, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Standard deviation of the blur of an edge: pixel, glass and resin together [m]; engineering estimate, no source."""

TWO_SQUARES = (0.15, 0.25)
"""What a line through just two readings is trusted to, on D_p and on E_c [-]; engineering estimate, no source."""


@frozen(kw_only=True)
class PlateLight:
    """The light under the pieces of a plate.

    Parameters
    ----------
    dimmest, brightest : float
        Dimmest and brightest spot as a share of the window's mean [-].
    """

    dimmest: float
    brightest: float


def plate_light(light: Light, study: Study) -> PlateLight:
    """Return the dimmest and the brightest spot under the pieces of a plate and under their first layer.

    Parameters
    ----------
    light : Light
        With a map of readings or without.
    study : Study
        Where the pieces stand.

    Returns
    -------
    PlateLight
        From the map where there is one and the pieces' outlines are known; else those of the whole window, as nobody knows
        where they are.
    """
    regions = [o.loops_m for o in study.outlines if o.loops_m]
    regions += [study.base_outlines_m] if study.base_outlines_m else []
    if len(light.readings) < 2 or not regions:
        return PlateLight(dimmest=light.dimmest, brightest=light.brightest)
    readings = light.readings
    found = [
        irradiance_range(
            x_m=[r.x_m for r in readings],
            y_m=[r.y_m for r in readings],
            irradiance_w_m2=[r.irradiance_w_m2 for r in readings],
            outlines_m=loops,
        )
        for loops in regions
    ]
    mean = light.irradiance_w_m2.value
    return PlateLight(
        dimmest=min(f.dimmest_w_m2 for f in found) / mean, brightest=max(f.brightest_w_m2 for f in found) / mean
    )


def curve_is_known(resin: Resin) -> bool:
    """Return whether anybody measured or stated the resin's working curve."""
    return resin.curve is not None or len(resin.cure_readings) >= 2


def curve_is_foreign(resin: Resin) -> bool:
    """Return whether the working curve is somebody else's: stated or published, and not read by the user."""
    if resin.curve is None or len(resin.cure_readings) >= 2:
        return False
    return {resin.curve.depth_m.kind, resin.curve.critical_j_m2.kind} != {Kind.READING}


def both_lights_guessed(job: Job) -> bool:
    """Return whether nobody read or stated the light of either of two machines."""
    lights = (job.origin.light, job.target.light)
    return job.origin != job.target and all(x.irradiance_w_m2.kind is Kind.ESTIMATE for x in lights)


def curve_belief(resin: Resin) -> WorkingCurve:
    """Return what is believed about a resin's working curve: the user's readings, else a stated curve, else the prior.

    Parameters
    ----------
    resin : Resin
        Readings at two or more doses make a fit; fewer are not enough for a line.

    Returns
    -------
    WorkingCurve
        With ranges and with the correlation that the readings leave between depth and dose.  What squares share is added
        in quadrature.  A curve through just two readings has no scatter of its own and gets 15 % on D_p and 25 % on E_c.

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4. [jacobs:1992]
    """
    if len(resin.cure_readings) < 2:
        return resin.curve or UNKNOWN_CURVE
    fit = fit_cure(
        doses_j_m2=[r.dose_j_m2 for r in resin.cure_readings], depths_m=[r.depth_m for r in resin.cure_readings]
    )
    fitted = [
        spread if math.isfinite(spread) else math.log1p(alone) / NORMAL_95
        for spread, alone in zip((fit.depth_spread, fit.critical_spread), TWO_SQUARES, strict=True)
    ]
    whole = [math.hypot(s, math.log1p(shared) / NORMAL_95) for s, shared in zip(fitted, SHARED_ERROR, strict=True)]
    depth, critical = (
        Sourced.about(value, factor=math.exp(NORMAL_95 * spread), source="user:reading", kind=Kind.READING)
        for value, spread in zip((fit.depth_m, fit.critical_j_m2), whole, strict=True)
    )
    # Only what the fit leaves open goes together; what the squares share does not.
    together = fit.correlation * math.prod(fitted) / math.prod(whole)
    return WorkingCurve(depth_m=depth, critical_j_m2=critical, correlation=together)


def effective_w_m2(side: Side, share: float) -> Floats:
    """Return the irradiance that would cure the same in the same time if dose alone counted, in every world, (S,) [W/m2].

    The equation is I_ref (I s / I_ref)^alpha at a spot with the share s of the mean: I^alpha t = constant.

    References
    ----------
    Reciprocity and its departures: Feng and Suh (2007) [feng:2007], Wydra and others (2014). [wydra:2014]
    """
    relative = side.irradiance_w_m2 * side.spot * share / side.reference_w_m2
    return np.asarray(side.reference_w_m2 * relative**side.reciprocity)


def exposure_ratio(origin: Side, target: Side, *, from_share: float = 1.0, to_share: float = 1.0) -> Floats:
    """Return by what the seconds of light change so that the effect stays, in every world: t_B / t_A [-].

    The equation is (I_A s_A / (I_B s_B))^alpha, s the shares of the spots compared.

    Parameters
    ----------
    origin, target : Side
        Irradiance and exponent in every world.
    from_share, to_share : float
        Irradiance of the spots compared, as shares of their means [-]; the dimmest ones under the pieces.

    Returns
    -------
    (S,) ndarray
        Ratios; exactly 1 where both sides are one machine with one plate.

    Notes
    -----
    alpha = 1 is equal dose (reciprocity); it holds well for resins above 100-200 mPa s.

    References
    ----------
    Feng and Suh, Macromol. Chem. Phys. 208 (2007) 295-306. [feng:2007]
    """
    return np.asarray(effective_w_m2(origin, from_share) / effective_w_m2(target, to_share))


def cured_m(side: Side, exposure_s: Floats, *, share: float) -> Floats:
    """Return how deep each layer cures in each world, where the light is `share` of the mean [m].

    The equation is C_d = D_p ln(E / E_c), not below zero.

    Parameters
    ----------
    side : Side
        Irradiance and working curve in every world, shape (S,).
    exposure_s : (N,) ndarray
        Light time of each layer [s].
    share : float
        Irradiance of the spot as a share of the mean [-].

    Returns
    -------
    (S, N) ndarray
        Cure depth [m].

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4. [jacobs:1992]
    """
    log_rate = np.log(effective_w_m2(side, share) / side.curve_dose_j_m2)
    depth = side.curve_depth_m[:, None] * (log_rate[:, None] + np.log(exposure_s)[None, :])
    return np.asarray(np.maximum(depth, 0.0))


def curing_s(side: Side, depth_m: Floats, *, share: float) -> Floats:
    """Return how long the light must shine to cure so deep, where it is `share` of the mean, in every world, (S,) [s].

    The equation is t = (E_c / I) exp(C_d / D_p), the inverse of :func:`cured_m`.

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4. [jacobs:1992]
    """
    return np.asarray(side.curve_dose_j_m2 / effective_w_m2(side, share) * np.exp(depth_m / side.curve_depth_m))


def printed_through_m(side: Side, exposure_s: float, *, share: float, layer_m: float) -> Floats:
    """Return how deep a great many body layers cure beyond an overhang, in every world, (S,) [m].

    An upper bound, see :func:`vatwright.physics.cure_depth.print_through`.
    """
    doses = effective_w_m2(side, share) * exposure_s
    return np.array([
        print_through(penetration_m=d, critical_j_m2=e, dose_j_m2=dose, layer_m=layer_m, layers=None)
        for d, e, dose in zip(
            side.curve_depth_m.tolist(), side.curve_dose_j_m2.tolist(), doses.tolist(), strict=True
        )
    ])  # fmt: skip


def finest_m(
    side: Side, overcure_m: Floats, blur_m: Floats, *, dose_j_m2: Floats | float, layer_m: float
) -> dict[Quantity, Floats]:
    """Return the thinnest wall and pin that come out and the narrowest gap that stays open, in every world, (S,) each [m].

    A wall and a pin come out where their middle cures through the layer and as far beyond as a bond needs; a gap closes
    where what a great many layers leave in its middle, E_g / (1 - exp(-h / D_p)), reaches the critical dose.

    Parameters
    ----------
    side : Side
        Working curve in every world.
    overcure_m, blur_m : (S,) ndarray
        Cure beyond the gap that a bond needs, and blur of an edge [m].
    dose_j_m2 : ndarray or float
        Dose of a layer [J/m2].
    layer_m : float
        Its thickness [m].

    References
    ----------
    Jacobs, *Rapid Prototyping and Manufacturing* (1992), equation 4-4. [jacobs:1992]
    """
    critical = side.curve_dose_j_m2 / dose_j_m2
    needed = critical * np.exp((layer_m + overcure_m) / side.curve_depth_m)
    closing = critical * -np.expm1(-layer_m / side.curve_depth_m)
    return {
        Quantity.WALL: thinnest_wall(share=needed, blur_m=blur_m),
        Quantity.GAP: narrowest_gap(share=closing, blur_m=blur_m),
        Quantity.PIN: thinnest_pin(share=needed, blur_m=blur_m),
    }


def light_carried(
    sides: tuple[Side, Side], lights: tuple[PlateLight, PlateLight], body_s: tuple[float, float], *, layer_m: float
) -> LightCarried:
    """Return the light under the pieces on both machines, origin first, for these body exposures [s]."""
    told: dict[str, float] = {}
    for name, side, light, exposure_s in zip(("from", "to"), sides, lights, body_s, strict=True):
        told[f"{name}_w_m2"] = float(np.median(side.irradiance_w_m2))
        told[f"{name}_dimmest"], told[f"{name}_brightest"] = light.dimmest, light.brightest
        told[f"{name}_least_j_m2"] = told[f"{name}_w_m2"] * light.dimmest * exposure_s
        told[f"{name}_most_j_m2"] = told[f"{name}_w_m2"] * light.brightest * exposure_s
        through = printed_through_m(side, exposure_s, share=light.brightest, layer_m=layer_m)
        told[f"{name}_through_m"] = float(np.median(through))
    return LightCarried(**told)
