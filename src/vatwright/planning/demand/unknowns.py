"""What is not known exactly, as equally likely worlds: each world is one value for every unknown.

The worlds start from the origins that the records state and are then kept in proportion to how well each explains that
the recipe works on the machine it was proven on.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, field, fields, frozen
from scipy.special import ndtr, ndtri
from scipy.stats import qmc

from vatwright.errors import DomainError
from vatwright.evidence.belief import Belief, Unknown
from vatwright.physics.film_peel import bond_energy, peel_angle_at_speed
from vatwright.physics.plane import fit_plane, plane_sigma
from vatwright.physics.viscosity import GAS_CONSTANT_J_MOL_K
from vatwright.planning.demand.exposure import curve_belief
from vatwright.planning.demand.resin_flow import AGED_SPREAD, ViscosityBelief, viscosity_belief
from vatwright.quantities import bounds_of
from vatwright.records.job import Job
from vatwright.records.machine import FADE_TIME_S, LevelReading, Light, Machine, Platform
from vatwright.records.material import Resin
from vatwright.records.sourced import NORMAL_95, Kind, Sourced

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

AXES = (
    "stiffness origin", "stiffness target", "ceiling origin", "ceiling target", "viscosity", "activation",
    "viscosity target", "light common", "light origin", "light target", "tension common", "tension origin",
    "tension target", "peel angle", "cold", "curve depth", "curve dose", "curve depth target", "curve dose target",
    "overcure", "level origin", "level target", "spot origin", "spot target", "fade origin", "fade target", "reciprocity",
    "peel speed", "film wear", "film slack", "film layers origin", "film layers target",
)  # fmt: skip

FIRST_AXES = AXES.index("reciprocity") + 1
"""The first of them share a sequence; later ones have their own, so that one more moves none of the others."""

PEEL_ANGLE_RAD = Sourced.about(math.radians(11.0), factor=2.0, source="practice:bench", kind=Kind.PRACTICE)
"""Angle at which the film lets go on the proven machine at `PEEL_SPEED_M_S` [rad]; common practice, no source: people rise
5, 6 and 8 mm on compact, mid and large machines, whose films let go of a well filled plate at about 26, 31 and 42 mm times
tan(theta)."""

PEEL_SPEED_M_S = 1.0e-3
"""Speed of the rise at which peel angles are told [m/s]: what practice sets (common practice, no source)."""

SPEED_EXPONENT = Sourced(value=math.sqrt(0.1), low=0.2, high=0.5, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Exponent with which the bond energy grows with the speed of the front [-]; engineering estimate: rubber-like bonds are
published with 0.5 to 0.6 (maugis:1978, from memory), peeled fluoropolymer films with less."""

FILM_LAYERS = Sourced(value=8.0e3, low=1.0e3, high=3.0e4, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Layers that a film in use has released where nobody counts them [-]; engineering estimate: films are changed at 30,000."""

WEAR = Sourced.about(0.01, factor=3.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Growth of the bond energy with each thousand layers that a film has released [-]; engineering estimate, no source."""

SLACK = Sourced.about(0.004, factor=3.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Share of its tension that a film loses with each thousand layers [-]; engineering estimate, no source."""

THOUSAND_LAYERS = 1000.0

STEEPEST_RAD = math.radians(60.0)
"""Steepest a film may stand where it lets go [rad]: beyond it any film has long torn; engineering estimate."""

OVERCURE_M = Sourced(value=1.5e-5, low=5e-6, high=4e-5, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""How far the light must cure beyond the gap for a bond [m]; engineering estimate, no source."""

COLD_PER_K = Sourced.about(0.01, factor=3.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Growth of the peel energy with each kelvin of cooling [1/K]; engineering estimate, no source."""

TILT = Sourced.about(4.0e-4, factor=3.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
"""Tilt left after levelling by paper, as a slope [-]; engineering estimate, no source."""

TENSION_SCATTER = 0.2
"""How much tension differs between two films fitted by the same hands (log) [-]; engineering estimate, no source."""

SPOT_SPREAD = {Kind.STATEMENT: 0.03, Kind.ESTIMATE: 0.05}
"""How far the dimmest spot is off what is said of it, and off what is assumed where nothing is (log) [-]; engineering
estimates, no source.  Where there is a map, it is the repeatability of a reading."""

RECIPROCITY_RANGE = 0.2
"""The exponent alpha of the equal-effect rule I^alpha t lies within 1 +- this (90 %) [-]: an engineering rule for viscous
print resins, after the departures that feng:2007 and wydra:2014 report."""

RUN_SCATTER = 0.1
"""How much cure depth, gap and release differ from run to run on one machine (log) [-]; engineering estimate, no source."""

SCATTER_SPREAD = 0.35
"""How unsure the scatter between runs is (log) [-]; engineering estimate, no source."""

HANDS_SPREAD = 0.1
"""How far the margins of one machine in its person's hands may be off as a whole, for what no other unknown describes (log)
[-]; engineering estimate, no source."""

MARGINS = ("base", "body", "release")
"""What a run needs to hold: base and body bond, the film lets go."""

FIT_SPREAD = 0.15
"""How far each of the three margins may be off on one machine by what no model here has, a bowed platform or a film that gives
(log) [-]; engineering estimate, no source: without it runs on machines richer than the model were told 97 % and held in 83."""

TIME_SPREAD = 0.1
"""How far a machine's time may be off what its moves say (log) [-]; engineering estimate, no source."""

TIMED = 0.7
"""A machine's time counts as read where its prior is narrowed to this share [-]: one read run narrows it to a tenth."""

TAUGHT_BY_RUNS = (
    "scatter between runs", "hands origin", "hands target",
    *(f"{margin} fit {which}" for margin in MARGINS for which in ("origin", "target")),
)  # fmt: skip
"""Axes that only noted runs say something of: without any, runs scatter as estimated and no hand is better or worse."""

KEPT_WORLDS = 256
DRAWN_WORLDS = 2048


@frozen(kw_only=True, eq=False)
class Side:
    """One machine in every world; all arrays have shape (S,).

    Parameters
    ----------
    stiffness_n_m, ceiling_n : Floats
        [N/m], [N].
    viscosity_pa_s : Floats
        Of its resin at its temperature [Pa s].
    irradiance_w_m2 : Floats
        Mean irradiance over the window, as it is today [W/m2].
    spot : Floats
        By what factor the share of a spot differs from what the map or the record says of it [-].
    reference_w_m2 : Floats
        Irradiance at which the working curve holds: the origin's mean [W/m2].
    reciprocity : Floats
        Exponent alpha: irradiance I for a time t cures like I_ref for t (I / I_ref)^alpha [-].
    tension_n_m, angle_rad : Floats
        Film tension while flat [N/m] and peel angle at `PEEL_SPEED_M_S`, or at the speed of :meth:`peeling` [rad].
    speed_exponent : Floats
        Exponent with which the bond energy grows with the speed of the front [-].
    sheet_n_m : Floats
        Young's modulus of the film times its thickness [N/m].
    curve_depth_m, curve_dose_j_m2 : Floats
        Working curve.
    unlevel_m : Floats
        Extra gap under the worst corner of the platform [m].
    scatter : Floats
        By what factor margins scatter more from run to run than estimated [-].
    hands : Floats
        Logarithm of the factor by which margins on this machine, in its person's hands, are better than described [-].
    base_fit, body_fit, release_fit : Floats
        Likewise for one of the margins [-].
    """

    stiffness_n_m: Floats
    ceiling_n: Floats
    viscosity_pa_s: Floats
    irradiance_w_m2: Floats
    spot: Floats
    reference_w_m2: Floats
    reciprocity: Floats
    tension_n_m: Floats
    angle_rad: Floats
    speed_exponent: Floats
    sheet_n_m: Floats
    curve_depth_m: Floats
    curve_dose_j_m2: Floats
    unlevel_m: Floats
    scatter: Floats = field(factory=lambda: np.ones(()))
    hands: Floats = field(factory=lambda: np.zeros(()))
    base_fit: Floats = field(factory=lambda: np.zeros(()))
    body_fit: Floats = field(factory=lambda: np.zeros(()))
    release_fit: Floats = field(factory=lambda: np.zeros(()))

    @property
    def bond_energy_j_m2(self) -> Floats:
        """What a bond costs where its front runs at `PEEL_SPEED_M_S` [J/m2]."""
        return bond_energy(
            sheet_n_m=self.sheet_n_m, tension_n_m=self.tension_n_m, angle_rad=self.angle_rad,
            front_speed_ratio=1.0 / self.tan_angle, exponent=self.speed_exponent,
        )  # fmt: skip

    def peeling(self, rise_m_s: float) -> Side:
        """Return the same machine with the angle at which its film lets go of a plate that rises so fast."""
        if rise_m_s == PEEL_SPEED_M_S:
            return self
        return self._with_film(self.tension_n_m, self.bond_energy_j_m2, rise_speed_ratio=rise_m_s / PEEL_SPEED_M_S)

    def worn(self, log_energy: Floats, log_tension: Floats) -> Side:
        """Return the same machine with a film whose bonds cost more and whose tension is another, by these logarithms."""
        return self._with_film(self.tension_n_m * np.exp(log_tension), self.bond_energy_j_m2 * np.exp(log_energy))

    def _with_film(self, tension_n_m: Floats, energy_j_m2: Floats, *, rise_speed_ratio: float = 1.0) -> Side:
        angle = peel_angle_at_speed(
            sheet_n_m=self.sheet_n_m, tension_n_m=tension_n_m, energy_j_m2=energy_j_m2,
            rise_speed_ratio=np.full(len(energy_j_m2), rise_speed_ratio), exponent=self.speed_exponent,
        )  # fmt: skip
        return evolve(self, tension_n_m=tension_n_m, angle_rad=angle)

    @property
    def tan_angle(self) -> Floats:
        """Tangent of the peel angle [-]."""
        return np.tan(self.angle_rad)

    @property
    def released_n_m(self) -> Floats:
        """Tension of the film where it stands at the peel angle, T1 = T0 + (E t + T0)(1/cos - 1) [N/m]."""
        return self.tension_n_m + (self.sheet_n_m + self.tension_n_m) * (1.0 / np.cos(self.angle_rad) - 1.0)

    @property
    def front_force_n_m(self) -> Floats:
        """Pull of each metre of peel front, T1 sin(theta) [N/m]."""
        return self.released_n_m * np.sin(self.angle_rad)

    def better(self, margin: str) -> Floats:
        """Return the log of the factor by which base, body or release is better than described, (S,) or () [-]."""
        return np.asarray(self.hands + getattr(self, f"{margin}_fit"))

    def least_margin(self, share: float, margin: str) -> Floats:
        """Return the capacity over demand, log, with which this share of runs holds, as they scatter, (S,) or () [-].

        `margin` is base, body or release.
        """
        return np.asarray(RUN_SCATTER * self.scatter * float(ndtri(share)) - self.better(margin))

    def holding(self, ratio: Floats, margin: str) -> Floats:
        """Return how often base, body or release holds with these capacities over demand, (S, ...) [-]."""
        scatter, better = (
            v.reshape(v.shape + (1,) * (ratio.ndim - v.ndim)) for v in (self.scatter, self.better(margin))
        )
        return np.asarray(ndtr((np.log(ratio) + better) / (RUN_SCATTER * scatter)))

    def kept(self, index: NDArray[np.intp]) -> Side:
        """Return the worlds at `index`."""
        values = {name: getattr(self, name) for name in _SIDE_FIELDS}
        return Side(**{name: value[index] if value.ndim else value for name, value in values.items()})


_SIDE_FIELDS = tuple(a.name for a in fields(Side))


@frozen(kw_only=True, eq=False)
class Worlds:
    """Equally likely values of all unknowns.

    Parameters
    ----------
    axes : dict of str to (S,) ndarray
        Standard normal coordinate of each unknown, for asking which of them matters.
    origin, target : Side
        Both machines.
    overcure_m : (S,) ndarray
        Cure beyond the gap that a bond needs [m].
    """

    axes: dict[str, Floats]
    origin: Side
    target: Side
    overcure_m: Floats

    @property
    def count(self) -> int:
        """How many worlds."""
        return len(self.overcure_m)

    def kept(self, index: NDArray[np.intp]) -> Worlds:
        """Return the worlds at `index`."""
        return Worlds(
            axes={name: z[index] for name, z in self.axes.items()},
            origin=self.origin.kept(index),
            target=self.target.kept(index),
            overcure_m=self.overcure_m[index],
        )


def draw(job: Job, *, count: int = DRAWN_WORLDS, seed: int = 1, belief: Belief | None = None) -> Worlds:
    """Return `count` worlds drawn from what the records state, before looking at what worked.

    Parameters
    ----------
    job : Job
        Its machines, resins and temperatures.
    count : int
        Worlds; a power of two fills the space most evenly.
    seed : int
        Seed of the scrambled Sobol sequence.
    belief : Belief or None
        What runs noted so far let one believe; what it says nothing of is drawn from the records.

    Returns
    -------
    Worlds
        The same for the same job and seed.  Where both machines are one, or both resins one, they share their unknowns.

    Notes
    -----
    Every unknown is lognormal between its 5 % and 95 % points.

    References
    ----------
    Sobol sequence as in Joe and Kuo, SIAM J. Sci. Comput. 30 (2008) 2635-2654 (scipy.stats.qmc). [joe:2008]
    """
    z = dict(zip(AXES, ndtri(np.clip(_spread_evenly(count, seed), 1e-9, 1.0 - 1e-9)).T, strict=True))
    ageing = z["viscosity target"]  # free where both sides share a resin; adds to that axis where they do not
    if belief is not None:
        z |= belief.coordinates(job, AXES, count=count)
    same_machine, same_resin = job.origin == job.target, job.resin_from == job.resin
    if same_machine:
        for name in ("stiffness", "ceiling", "light", "tension", "level", "spot", "fade", "film layers"):
            z[f"{name} target"] = z[f"{name} origin"]
    if same_resin:
        z["viscosity target"] = z["viscosity"]
        for name in ("depth", "dose"):
            z[f"curve {name} target"] = z[f"curve {name}"]
    angle = np.minimum(_lognormal(PEEL_ANGLE_RAD, z["peel angle"]), STEEPEST_RAD)
    exponent = _lognormal(SPEED_EXPONENT, z["peel speed"])
    film_from, film_to = _films(job, same_machine=same_machine)
    origin_tension = _tension(job.origin, z, "origin", film_from)
    same_film = same_machine and film_from == film_to
    target_tension = origin_tension if same_film else _tension(job.target, z, "target", film_to)
    colder_k = job.recipe.proof.room_k - job.room_k
    # One meter: its calibration error is common to whatever it reads.  Two meters err each on its own.
    one_meter = bool(job.origin.light.meter) and job.origin.light.meter == job.target.light.meter
    light = [_irradiance(m.light, z, which, one_meter=one_meter) for which, m in _machines(job)]
    taught = belief.coordinates(job, TAUGHT_BY_RUNS, count=count) if belief is not None else {}
    z |= taught
    shared = {
        "reference_w_m2": light[0],
        "reciprocity": 1.0 + RECIPROCITY_RANGE / NORMAL_95 * z["reciprocity"],
        "speed_exponent": exponent,
    }
    origin = _side(
        job.origin, job.resin_from, job.recipe.proof.room_k, z, "origin",
        tension_n_m=origin_tension, angle_rad=angle, irradiance_w_m2=light[0], **shared, **_taught(taught, "origin"),
    )  # fmt: skip
    target_angle = angle
    if not same_film or colder_k != 0.0:
        harder = _lognormal(COLD_PER_K, z["cold"]) * colder_k + _wear(film_from, film_to, z)
        target_angle = peel_angle_at_speed(
            sheet_n_m=_sheet(job.target, count), tension_n_m=target_tension,
            energy_j_m2=origin.bond_energy_j_m2 * np.exp(harder), rise_speed_ratio=np.ones(count), exponent=exponent,
        )  # fmt: skip
    target = _side(
        job.target, job.resin, job.room_k, z, "target",
        tension_n_m=target_tension, angle_rad=target_angle, irradiance_w_m2=light[1], **shared, **_taught(taught, "target"),
    )  # fmt: skip
    if job.aged:
        target = evolve(target, viscosity_pa_s=target.viscosity_pa_s * np.exp(AGED_SPREAD * ageing))
    return Worlds(axes=z, origin=origin, target=target, overcure_m=_lognormal(OVERCURE_M, z["overcure"]))


def more_scatter(z: Floats) -> Floats:
    """Return by what factor runs scatter more than `RUN_SCATTER`, for coordinates of that unknown [-]."""
    return np.asarray(np.exp(SCATTER_SPREAD * z))


def _taught(z: dict[str, Floats], which: str) -> dict[str, Floats]:
    """What runs say of scatter and hands; nothing where none was noted."""
    scatter, hands = TAUGHT_BY_RUNS[0], f"hands {which}"
    found = {"scatter": more_scatter(z[scatter])} if scatter in z else {}
    fits = {f"{m}_fit": FIT_SPREAD * z[f"{m} fit {which}"] for m in MARGINS if f"{m} fit {which}" in z}
    return found | fits | ({"hands": HANDS_SPREAD * z[hands]} if hands in z else {})


def _spread_evenly(count: int, seed: int) -> Floats:
    """Points that fill the unit cube of all axes evenly, (count, axes) [-]."""
    first = qmc.Sobol(d=FIRST_AXES, scramble=True, rng=np.random.default_rng(seed)).random(count)
    # Dimensions of their own: the same ones scrambled anew would follow those of the first sequence.
    more = qmc.Sobol(d=len(AXES), scramble=True, rng=np.random.default_rng(seed + 1)).random(count)
    return np.hstack((first, more[:, FIRST_AXES:]))


def resample(worlds: Worlds, log_likelihood: Floats, *, count: int = KEPT_WORLDS) -> Worlds:
    """Return `count` equally likely worlds, each drawn in proportion to its likelihood (systematic resampling).

    Parameters
    ----------
    worlds : Worlds
        Equally likely before the evidence.
    log_likelihood : (S,) ndarray
        Log of how well each explains the evidence [-].
    count : int
        Worlds to keep.

    Returns
    -------
    Worlds
        After the evidence.

    References
    ----------
    Kitagawa, "Monte Carlo filter and smoother", J. Comput. Graph. Stat. 5 (1996) 1-25. [kitagawa:1996]
    """
    weight = np.exp(log_likelihood - log_likelihood.max())
    edges = np.cumsum(weight / weight.sum())
    picks = (np.arange(count) + 0.5) / count
    return worlds.kept(np.minimum(np.searchsorted(edges, picks), worlds.count - 1))


def pace_of(machine: str, belief: Belief | None) -> float:
    """Return by what factor runs on a machine take longer than its moves say, as runs taught; 1 where nobody read any [-]."""
    unknown = Unknown("time", machine)
    if belief is None or not belief.knows(unknown):
        return 1.0
    z = belief.values(unknown)
    return math.exp(TIME_SPREAD * float(np.median(z))) if z.std() < TIMED else 1.0


def corner_excess_m(platform: Platform, level: tuple[LevelReading, ...], sigma_m: float) -> tuple[float, float] | None:
    """Return the extra gap under the worst corner and its standard uncertainty, from level readings [m].

    Parameters
    ----------
    platform : Platform
        Its size.
    level : tuple of LevelReading
        Readings; fewer than three, or three in a line, give None.
    sigma_m : float
        Standard uncertainty of one reading [m].

    Returns
    -------
    tuple of float or None
        Gap at the worst corner above the mean gap of the platform [m], and its standard uncertainty [m].

    Notes
    -----
    Plane by least squares.  Above the middle a corner stands by the plane's slopes alone: their uncertainty is what is left
    of the two opposite corners' once the middle's, which both share, is taken off, (s1^2 + s2^2) / 2 - s0^2, each from the
    readings' geometry, sigma^2 x (X'X)^-1 x.

    References
    ----------
    Draper and Smith, *Applied Regression Analysis*, 3rd ed. (1998), equation 5.2.4. [draper:1998]
    """
    if len(level) < 3:
        return None
    xs, ys, sigmas = [r.x_m for r in level], [r.y_m for r in level], [sigma_m] * len(level)
    try:
        plane = fit_plane(x_m=xs, y_m=ys, gap_m=[r.gap_m for r in level], sigma_m=sigmas)
    except DomainError:  # three or more on a line
        return None
    half_w, half_d = platform.width_m / 2.0, platform.depth_m / 2.0
    corners = [(sx * half_w, sy * half_d) for sx in (-1, 1) for sy in (-1, 1)]
    x, y = max(corners, key=lambda c: plane.at(*c))
    places = ((x, y), (-x, -y), (0.0, 0.0))
    one, other, middle = (plane_sigma(x_m=xs, y_m=ys, sigma_m=sigmas, at_x_m=a, at_y_m=b) ** 2 for a, b in places)
    return max(plane.at(x, y) - plane.offset_m, 0.0), math.sqrt(max((one + other) / 2.0 - middle, 0.0))


def _within(path: str, values: Floats) -> Floats:
    """Values of a quantity in its own range: outside it there is no such machine or resin, whatever the evidence."""
    return np.asarray(np.clip(values, *bounds_of(path)))


def _lognormal(quantity: Sourced, z: Floats) -> Floats:
    return np.asarray(quantity.value * np.exp(quantity.spread * z))


def _machines(job: Job) -> tuple[tuple[str, Machine], ...]:
    return (("origin", job.origin), ("target", job.target))


def _side(machine: Machine, resin: Resin, room_k: float, z: dict[str, Floats], which: str, **drawn: Floats) -> Side:
    suffix = " target" if which == "target" else ""
    curve = curve_belief(resin)
    z_depth, z_dose = z[f"curve depth{suffix}"], z[f"curve dose{suffix}"]
    z_dose = curve.correlation * z_depth + math.sqrt(1.0 - curve.correlation**2) * z_dose
    return Side(
        stiffness_n_m=_within("machine.stiffness_N_mm", _lognormal(machine.stiffness_n_m, z[f"stiffness {which}"])),
        ceiling_n=_within("machine.ceiling_N", _lognormal(machine.ceiling_n, z[f"ceiling {which}"])),
        viscosity_pa_s=_within(
            "resin.viscosity.viscosity_mPa_s",
            _viscosity(viscosity_belief(resin), room_k, z["activation"], z[f"viscosity{suffix}"]),
        ),
        spot=np.exp(SPOT_SPREAD.get(machine.light.evenness, machine.light.repeat) * z[f"spot {which}"]),
        curve_depth_m=_lognormal(curve.depth_m, z_depth),
        curve_dose_j_m2=_lognormal(curve.critical_j_m2, z_dose),
        unlevel_m=_unlevel(machine, z[f"level {which}"]),
        sheet_n_m=_sheet(machine, len(z_depth)),
        **drawn,
    )


def _viscosity(belief: ViscosityBelief, room_k: float, z_activation: Floats, z_factor: Floats) -> Floats:
    activation = _lognormal(belief.activation_j_mol, z_activation)
    arrhenius = np.exp(activation / GAS_CONSTANT_J_MOL_K * (1.0 / room_k - 1.0 / belief.reference_k))
    return _lognormal(belief.viscosity_pa_s, z_factor) * arrhenius


def _irradiance(light: Light, z: dict[str, Floats], which: str, *, one_meter: bool) -> Floats:
    """The mean irradiance as it is today; of its spread, what one meter shares is common, its repeatability is not."""
    spread = light.irradiance_w_m2.spread
    own = min(light.repeat / math.sqrt(max(len(light.readings), 1)), spread) if one_meter else spread
    common = math.sqrt(spread**2 - own**2)
    error = common * z["light common"] + own * z[f"light {which}"]
    faded = _lognormal(light.fade, z[f"fade {which}"]) * (light.burned_s / FADE_TIME_S)
    return _within("machine.light.irradiance_mW_cm2", light.irradiance_w_m2.value * np.exp(error - faded))


def film_age(z: Floats, counted: int | None) -> Floats:
    """Return the layers that a film has released in every world, as counted or as films in use have, in thousands [-]."""
    return (_lognormal(FILM_LAYERS, z) if counted is None else np.full(len(z), float(counted))) / THOUSAND_LAYERS


def _films(job: Job, *, same_machine: bool) -> tuple[int | None, int | None]:
    """Return the layers counted on the proven film and on this job's.

    A proof on this very machine that says nothing of its film speaks for the one that is on it: a count that somebody
    started since is no change of film.
    """
    proven = job.recipe.proof.film_layers
    return (job.film_layers if same_machine and proven is None else proven), job.film_layers


def _wear(film_from: int | None, film_to: int | None, z: dict[str, Floats]) -> Floats:
    """By how much more a bond costs on the target's film than on the proven one, for the layers between them (log) [-]."""
    older = film_age(z["film layers target"], film_to) - film_age(z["film layers origin"], film_from)
    return np.asarray(_lognormal(WEAR, z["film wear"]) * older)


def slackened(machine: Machine, z_slack: Floats, layers: int | None) -> Floats:
    """Return what a counted film's tension is of that of films in use (log) [-]: nothing is added to what was read."""
    if layers is None or machine.film.tension_n_m.kind is Kind.READING:
        return np.zeros(len(z_slack))
    older = (layers - FILM_LAYERS.value) / THOUSAND_LAYERS
    return np.asarray(-_lognormal(SLACK, z_slack) * older)


def _tension(machine: Machine, z: dict[str, Floats], which: str, layers: int | None) -> Floats:
    tension = machine.film.tension_n_m
    if tension.kind in {Kind.READING, Kind.STATEMENT}:
        drawn = _lognormal(tension, z[f"tension {which}"])
    else:
        # Nobody measured it: films fitted by the same hands differ less from each other than the prior is wide.
        common = math.sqrt(max(tension.spread**2 - TENSION_SCATTER**2, 0.0))
        scatter = common * z["tension common"] + TENSION_SCATTER * z[f"tension {which}"]
        drawn = np.asarray(tension.value * np.exp(scatter))
    # A film stretched further yields and keeps no more than that.
    return np.minimum(drawn * np.exp(slackened(machine, z["film slack"], layers)), machine.film.yield_n_m)


def _sheet(machine: Machine, count: int) -> Floats:
    """Young's modulus of the film times its thickness, in every world [N/m]."""
    return np.full(count, machine.film.modulus_pa * machine.film.thickness_m)


def _unlevel(machine: Machine, z: Floats) -> Floats:
    read = corner_excess_m(machine.platform, machine.level, machine.level_sigma_m)
    if read is not None:
        excess, sigma = read
        return np.maximum(excess + sigma * z, 0.0)
    half_diagonal = math.hypot(machine.platform.width_m, machine.platform.depth_m) / 2.0
    return _lognormal(TILT, z) * half_diagonal
