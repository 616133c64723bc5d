"""How long to wait in the dark before the light, in base and body, so that layers come out as thick as they should.

A layer is thick enough to fail where it exceeds what the light cures (it must not, in base, ramp and body), and off its
size where it leaves the tolerance (few body layers may).  Both limits are widened, world by world, to what the proven
run itself got away with on the machine it was proven on: it held.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
from attrs import evolve, frozen

from vatwright.kept_answers import KeptAnswers, fingerprint
from vatwright.physics.layer_stack import StackResult, least_settle, run_stacks, settle_demands
from vatwright.planning.demand.base import StackLoad
from vatwright.planning.demand.choice import SAME
from vatwright.planning.demand.duration import per_layer
from vatwright.planning.demand.exposure import cured_m
from vatwright.planning.demand.unknowns import RUN_SCATTER as RUN_SCATTER  # noqa: PLC0414 - part of what a run is
from vatwright.planning.demand.unknowns import Side
from vatwright.records.job import COMMON_TOLERANCE, Job
from vatwright.records.machine import Machine
from vatwright.records.process import Settings

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MISSED_SHARE = 0.02
"""Share of body layers that may leave the tolerance, the few after a jump in area [-]; common practice, no source."""

FOOT_M = 0.002
"""Height above the platform below which thickness is nobody's concern, only the bond is: raft, the start of supports, or
the foot of a part that stands on the platform [m]; common practice, no source."""

LONGEST_SETTLE_S = 1200.0
"""Longest settle the search considers [s]: a first layer held this long is what practice uses to tighten a platform."""


LIGHT_SHORT = 1.05
"""Where the light bonds through less than this many layers' thickness, waiting cannot mend it: more light can [-]."""

PRECISION = 5e-3
"""Relative precision of a least settle: far finer than any step a person sets [-]."""


@frozen(kw_only=True, eq=False)
class Run:
    """One machine, its settings and its plate, in every world.

    Parameters
    ----------
    machine : Machine
        The machine.
    settings : Settings
        What is set on it.
    load : StackLoad
        What squeezes in each of the N layers.
    side : Side
        The machine's unknowns in S worlds.
    overcure_m : (S,) ndarray
        Cure beyond the gap that a bond needs [m].
    confidence : float
        Share of runs in which a layer that just meets its demand holds, run-to-run scatter included [-].
    dimmest : float or None
        Dimmest spot under the pieces as a share of the mean light [-]; None takes the window's.
    """

    machine: Machine
    settings: Settings
    load: StackLoad
    side: Side
    overcure_m: Floats
    confidence: float
    dimmest: float | None = None

    @property
    def layers(self) -> int:
        """Layers of the run."""
        return len(self.load.layer_m)

    def film(self, phase: str) -> Side:
        """Return the machine with its film as it lets go at the peel speed of base or body."""
        speed_m_s = getattr(self.settings, phase).peel_speed_m_s
        return self.side.peeling(min(speed_m_s, self.machine.motion.fastest_m_s))

    def in_base(self) -> NDArray[np.bool_]:
        """Return which layers are of the base, (N,)."""
        return np.arange(self.layers) < self.settings.base_layers

    def settle_s(self) -> Floats:
        """Return the settle of each layer as set, (N,) [s]."""
        return per_layer(self.settings, "settle_s", "settle_s", layers=self.layers, controller=self.machine.controller)

    def exposure_s(self) -> Floats:
        """Return the light time of each layer, (N,) [s]."""
        return per_layer(
            self.settings, "exposure_s", "exposure_s", layers=self.layers, controller=self.machine.controller
        )

    def stiffness_n_m(self) -> Floats:
        """Return the spring that squeezes at last, (S,) [N/m]: the arm's, in series with the film's where nothing backs it."""
        giving = self.load.giving
        if giving is None:
            return self.side.stiffness_n_m
        return np.asarray(1.0 / (1.0 / self.side.stiffness_n_m + 1.0 / (giving.bowing * self.side.tension_n_m)))

    def stack(self) -> dict[str, Any]:
        """Return what the layer-stack law needs besides the settle."""
        fastest, giving = self.machine.motion.fastest_m_s, self.load.giving
        descent = np.where(
            self.in_base(),
            min(self.settings.base.return_speed_m_s, fastest),
            min(self.settings.body.return_speed_m_s, fastest),
        )
        return {
            "torsion_m4": self.load.torsion_m4,
            "platform_torsion_m4": self.load.platform_torsion_m4,
            "platform_extra_gap_m": self.load.platform_extra_gap_m,
            "platform_follows": self.load.platform_follows,
            "layer_m": self.load.layer_m,
            "descent_m_s": descent,
            "viscosity_pa_s": self.side.viscosity_pa_s,
            "stiffness_n_m": self.side.stiffness_n_m,
            "force_ceiling_n": self.side.ceiling_n,
        } | ({"giving": giving.faces, "tension_n_m": self.side.tension_n_m} if giving else {})

    def cured_m(self) -> Floats:
        """Return how deep each layer cures at the dimmest spot under the pieces, (S, N) [m]."""
        share = self.machine.light.dimmest if self.dimmest is None else self.dimmest
        return cured_m(self.side, self.exposure_s(), share=share)

    def bond_limit_m(self) -> Floats:
        """Return the thickest gap that still bonds, layer by layer in every world, (S, N) [m].

        The dimmest spot's cure depth less the overcure a bond needs; in the first layer also less the extra gap under the
        platform's worst corner.
        Over a giving film the worst place under the layer has to keep it.  Never below a hundredth of the layer, so that
        ratios to it stay finite.
        """
        limit = self.cured_m() - self.overcure_m[:, None]
        limit[:, 0] -= self.side.unlevel_m
        return np.maximum(limit, 0.01 * self.load.layer_m)

    def asked_limit_m(self) -> Floats:
        """Return the bond limit less what runs scatter by, so that meeting it holds in the chosen share of runs, (S, N) [m]."""
        asked = self.bond_limit_m()
        first = min(self.settings.base_layers, self.layers)
        for margin, layers in (("base", slice(0, first)), ("body", slice(first, None))):
            asked[:, layers] *= np.atleast_1d(np.exp(-self.side.least_margin(self.confidence, margin)))[:, None]
        return asked

    def result(self, settle_s: Floats | None = None, *, forces: bool = True) -> StackResult:
        """Return thickness and, where asked for, force of every layer in every world, (S, N)."""
        given = self.settle_s() if settle_s is None else settle_s
        return run_stacks(settle_s=given, forces=forces, **self.stack())


@frozen(kw_only=True, eq=False)
class Standard:
    """What the proven run got away with, world by world: the yardstick for the new one.

    Parameters
    ----------
    base_slack, body_slack : (S,) ndarray
        By what factor layers may exceed the bond limit in base and after it; 1 where the proven run never did [-].
    tolerance : (S,) ndarray
        Thickness tolerance of body layers as a share of the layer [-].
    """

    base_slack: Floats
    body_slack: Floats
    tolerance: Floats

    def kept(self, index: NDArray[np.intp]) -> Standard:
        """Return the worlds at `index`."""
        rows = {name: getattr(self, name)[index] for name in ("base_slack", "body_slack", "tolerance")}
        return evolve(self, **rows)

    def band_m(self, layer_m: Floats) -> tuple[Floats, Floats]:
        """Return the least and greatest thickness in tolerance, (S, N) each [m]."""
        tolerance = self.tolerance[:, None]
        return layer_m * np.maximum(1.0 - tolerance, 0.0), layer_m * (1.0 + tolerance)


def asked_standard(proven: Standard, job: Job) -> Standard:
    """Return what the new run is held to: the tolerance of the job where it states one, else what the proof shows."""
    if job.tolerance is None:
        return proven
    return evolve(proven, tolerance=np.full_like(proven.tolerance, job.tolerance))


def bond_alone(standard: Standard) -> Standard:
    """Return the same yardstick for who asks of layers that they hold, whatever their thickness."""
    return evolve(standard, tolerance=np.full_like(standard.tolerance, np.inf))


def proven_standard(proven: Run, *, tolerance: float = COMMON_TOLERANCE) -> Standard:
    """Return what the proven run, which held, shows to be good enough.

    Parameters
    ----------
    proven : Run
        The run on the origin with its proven settings.
    tolerance : float
        Thickness tolerance of common practice, as a share of the layer [-].

    Returns
    -------
    Standard
        Never stricter than the bond limit and that tolerance.
    """
    found = proven.result(forces=False)
    thickness, over = found.thickness_m, found.worst_m / proven.asked_limit_m()
    first_body, first_sized = proven.settings.base_layers, _sized_from(proven)
    body = np.abs(thickness[:, first_sized:] / proven.load.layer_m[first_sized:] - 1.0)
    missed = layers_allowed_off(proven)
    # The largest deviation once the allowed number of worst layers is set aside.
    ranked = np.sort(body, axis=1)[:, ::-1]
    reached = ranked[:, min(missed, ranked.shape[1] - 1)] if ranked.shape[1] else np.zeros(len(thickness))
    return Standard(
        base_slack=np.maximum(over[:, :first_body].max(axis=1), 1.0),
        body_slack=np.maximum(over[:, first_body:].max(axis=1, initial=0.0), 1.0),
        tolerance=np.maximum(reached, tolerance),
    )


def _sized_from(run: Run) -> int:
    """The first layer whose thickness matters in itself."""
    foot = round(FOOT_M / float(run.load.layer_m[0]))
    return min(max(foot, run.settings.base_layers + run.settings.ramp_layers), run.layers)


def layers_allowed_off(run: Run) -> int:
    """Return how many layers may leave the tolerance."""
    return math.floor(MISSED_SHARE * (run.layers - _sized_from(run)))


def thickness_band_m(run: Run, standard: Standard) -> tuple[Floats, Floats]:
    """Return the least and greatest thickness in tolerance, open where thickness does not matter, (S, N) each [m]."""
    low, high = standard.band_m(run.load.layer_m)
    foot = _sized_from(run)
    low[:, :foot], high[:, :foot] = 0.0, np.inf
    return low, high


_found = KeptAnswers(room=24)
"""Least settles of the last few plans, (S,) each [s]: the search is the longest part of one."""


def _least_s(**asked: Any) -> Floats:
    return _found.answer(fingerprint(asked), lambda: least_settle(**asked))


def least_base_settle_s(run: Run, standard: Standard) -> Floats:
    """Return the least base settle at which every base layer bonds, in every world, (S,) [s].

    Infinite where none does, or where the light is so short that waiting is no remedy.
    """
    count = min(run.settings.base_layers, run.layers)
    limit = run.asked_limit_m()[:, :count] * standard.base_slack[:, None]
    stack = {name: values[:count] if name in _PER_LAYER else values for name, values in run.stack().items()}
    if run.load.giving:
        stack["giving"] = run.load.giving.of(count).faces
    least = _least_s(
        first=0,
        last=count,
        settle_s=np.zeros(count),
        hard_limit_m=limit,
        soft_low_m=np.zeros(count),
        soft_high_m=np.full(count, np.inf),
        soft_allowed=count,
        longest_s=LONGEST_SETTLE_S,
        precision=PRECISION,
        **stack,
    )
    return np.where((limit < LIGHT_SHORT * run.load.layer_m[:count]).any(axis=1), np.inf, least)


_PER_LAYER = ("torsion_m4", "platform_torsion_m4", "platform_extra_gap_m", "platform_follows", "layer_m", "descent_m_s")


def least_body_settle_s(run: Run, standard: Standard, *, bond: bool) -> Floats:
    """Return the least body settle at which ramp and body hold, in every world, (S,) [s], with the base settle as set.

    No more than `MISSED_SHARE` of the layers may leave the tolerance; with `bond` every layer must also bond.  Without
    it, the few layers that need longer are left to a hand that raises the settle for them.
    """
    first = min(run.settings.base_layers, run.layers)
    low, high = thickness_band_m(run, standard)
    limit = run.asked_limit_m() * standard.body_slack[:, None] if bond else np.full((1, run.layers), np.inf)
    least = _least_s(
        first=first,
        last=run.layers,
        settle_s=run.settle_s(),
        hard_limit_m=limit if bond else limit[0],
        soft_low_m=low,
        soft_high_m=high,
        soft_allowed=layers_allowed_off(run),
        longest_s=LONGEST_SETTLE_S,
        precision=PRECISION,
        **run.stack(),
    )
    return np.where((limit < LIGHT_SHORT * run.load.layer_m)[:, first:].any(axis=1), np.inf, least)


def body_settle_does(run: Run, standard: Standard, *, bond: bool) -> NDArray[np.bool_]:
    """Return in which worlds ramp and body hold with the settles set, (S,): what :func:`least_body_settle_s` looks for."""
    first = min(run.settings.base_layers, run.layers)
    low, high = thickness_band_m(run, standard)
    found = run.result(forces=False)
    outside = (found.thickness_m < low * (1.0 - SAME)) | (found.thickness_m > high * (1.0 + SAME))
    does = outside[:, first:].sum(axis=1) <= layers_allowed_off(run)
    if bond:
        limit = run.asked_limit_m() * standard.body_slack[:, None] * (1.0 + SAME)
        does &= (found.worst_m <= limit)[:, first:].all(axis=1)
    return np.asarray(does)


def carried_settle_s(proven_s: float, *, needed_from_s: Floats, needed_to_s: Floats) -> Floats:
    """Return the settle to give on the target in every world [s]: what it needs, plus the spare time the origin had.

    t_B = D_B + (t_A - D_A).  What of the proven time squeeze flow does not explain (the arm creeping back, the resin
    coming to rest) is not known and is carried whole.

    Parameters
    ----------
    proven_s : float
        Settle proven on the origin [s].
    needed_from_s, needed_to_s : (S,) ndarray
        Least settle on both machines [s].

    Returns
    -------
    (S,) ndarray
        Settle [s]; exactly the proven one where nothing differs.

    Examples
    --------
    >>> import numpy as np
    >>> carried_settle_s(2.0, needed_from_s=np.array([0.5]), needed_to_s=np.array([2.5])).tolist()
    [4.0]
    """
    # The proven time served: what the search for the least settle is off by must not count.
    spare = np.maximum(proven_s - needed_from_s, -PRECISION * proven_s)
    unchanged = np.isfinite(needed_to_s) & (needed_to_s == needed_from_s)
    return np.asarray(np.where(unchanged, proven_s, needed_to_s + spare))


def demand_s(run: Run, standard: Standard, *, settle_s: Floats, bond_only: bool = False) -> Floats:
    """Return each layer's least settle in every world, given the run it is part of, (S, N) [s].

    Base layers need to bond; ramp and body layers, unless `bond_only`, also to come into tolerance.
    """
    limit = run.asked_limit_m()
    first = run.settings.base_layers
    limit[:, :first] *= standard.base_slack[:, None]
    limit[:, first:] *= standard.body_slack[:, None]
    light_short = limit < LIGHT_SHORT * run.load.layer_m
    _, high = thickness_band_m(run, standard)
    high[:, :first] = np.inf
    stack = run.stack()
    if bond_only or run.load.giving:
        demand = settle_demands(settle_s=settle_s, limit_m=limit, **stack)
    else:
        demand = settle_demands(settle_s=settle_s, limit_m=np.minimum(limit, high), **stack)
    if run.load.giving and not bond_only:  # the worst place has to bond, the mean to be true
        stack["giving"] = run.load.giving.even
        demand = np.maximum(demand, settle_demands(settle_s=settle_s, limit_m=high, **stack))
    return np.where(light_short, np.inf, demand)
