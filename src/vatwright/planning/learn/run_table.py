"""One run, tabulated: its margins as a quick function of everything that is not known, for thousands of worlds.

A run of a thousand layers takes milliseconds a world.  Two things make it quick: layer thickness depends on the unknowns
only through viscosity and force ceiling over stiffness, so it is solved on a grid of those two; and the machine's side of a
world is a sum of functions of one unknown each, with a few products where film tension and peel angle meet.
"""

from __future__ import annotations

import math
from itertools import combinations, pairwise
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from attrs import NOTHING, evolve, fields, frozen
from scipy.ndimage import spline_filter

from vatwright.compiled import kernel
from vatwright.evidence.belief import Belief, Unknown, unknown_of
from vatwright.physics.layer_stack import StackResult
from vatwright.planning.demand.base_bond import under_the_base
from vatwright.planning.demand.lift import release_margin
from vatwright.planning.demand.settle import FOOT_M, Run
from vatwright.planning.demand.unknowns import AXES, Side, draw
from vatwright.records.job import Job
from vatwright.records.study import Study

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

REACH = 4.5
"""How far out each unknown is tabulated, in its prior's standard deviations; beyond it counts as there [-]."""

KNOTS = 25
"""Points of a table of one unknown."""

GRIDS = ((32, 8), (56, 14))
"""Points of the thickness grid along viscosity over stiffness and force ceiling over stiffness: first try, and finer."""

CHECKS = 64
"""Worlds at which the tables are held against the full computation."""

CLOSE = 0.02
"""A table off by more than this (log, root mean square) is made finer; RUN_SCATTER is five times as much [-]."""

STRAIGHT = 1e-9
"""A table that departs from a line by less than this is a line [-]."""

RAMP_BLOCKS = 8
"""Into how many blocks a longer ramp is gathered."""

_LINEAR = ("reciprocity", "unlevel_m")
"""Fields of a side that are held as they are; the others are positive and held as logarithms."""

_FIELDS = (*(a.name for a in fields(Side) if a.default is NOTHING), "overcure_m")


@frozen(kw_only=True, eq=False)
class SideTable:
    """The target's side of a job's worlds as a quick function of its unknowns.

    Parameters
    ----------
    unknowns : tuple of Unknown
        U of them.
    base : (F,) ndarray
        Fields where every unknown is 0.
    slope : (U, F) ndarray
        Their slopes.
    bends : tuple of (int, int, (KNOTS,) ndarray)
        Unknown, field, and what is to be added to the line.
    pairs : tuple of (int, int), products : (Q, F) ndarray
        Unknowns whose product adds to a field, and by how much.
    error : (F,) ndarray
        Root mean square departure from the full computation.
    """

    unknowns: tuple[Unknown, ...]
    base: Floats
    slope: Floats
    bends: tuple[tuple[int, int, Floats], ...]
    pairs: tuple[tuple[int, int], ...]
    products: Floats
    error: Floats

    def __call__(self, z: Floats) -> tuple[Side, Floats]:
        """Return the side and the overcure for (S, U) coordinates."""
        z = np.clip(z, -REACH, REACH)
        values = self.base + z @ self.slope
        if self.pairs:
            values += np.column_stack([z[:, a] * z[:, b] for a, b in self.pairs]) @ self.products
        knots = np.linspace(-REACH, REACH, KNOTS)
        for unknown, column, bend in self.bends:
            values[:, column] += np.interp(z[:, unknown], knots, bend)
        return _as_side(values)


def side_table(job: Job, study: Study) -> SideTable:
    """Return the target's side of a job's worlds as a quick function of its unknowns.

    Parameters
    ----------
    job : Job
        Whose worlds.
    study : Study
        The plate: the platform's level counts where it is cured.

    Returns
    -------
    SideTable
        Held against full worlds; its error says how far it is off.

    References
    ----------
    Sobol', "Sensitivity estimates for nonlinear mathematical models", Math. Modelling Comput. Exp. 1 (1993) 407-414,
    equation 1: a function as a sum of functions of one, of two, of more variables. [sobol:1993]
    """
    unknowns = tuple(dict.fromkeys(unknown_of(axis, job) for axis in AXES))
    knots = np.linspace(-REACH, REACH, KNOTS)
    along = np.zeros((len(unknowns), KNOTS, len(unknowns)))
    for u in range(len(unknowns)):
        along[u, :, u] = knots
    tables = _fields_at(job, study, unknowns, along.reshape(-1, len(unknowns))).reshape(len(unknowns), KNOTS, -1)
    base = tables[0, KNOTS // 2]
    away = tables - base
    slope = (away[:, -1] - away[:, 0]) / (2.0 * REACH)
    bend = away - knots[None, :, None] * slope[:, None, :]
    bent = np.argwhere(np.abs(bend).max(axis=1) > STRAIGHT)
    bends = tuple((int(u), int(f), bend[u, :, f]) for u, f in bent)
    moving = np.abs(away).max(axis=1) > STRAIGHT
    alone = SideTable(
        unknowns=unknowns, base=base, slope=slope, bends=bends, pairs=(), products=np.zeros((0, len(base))),
        error=np.zeros(len(base)),
    )  # fmt: skip
    return _with_products(job, study, alone, moving)


def _with_products(job: Job, study: Study, alone: SideTable, moving: NDArray[np.bool_]) -> SideTable:
    """The table with the products of unknowns that meet in one field, fitted to half of the check worlds."""
    rng = np.random.default_rng(1)
    z = rng.standard_normal((2 * CHECKS, len(alone.unknowns)))
    left = _fields_at(job, study, alone.unknowns, z) - _as_fields(*alone(z))
    crossed = np.abs(left).max(axis=0) > STRAIGHT
    pairs = tuple({p for f in np.flatnonzero(crossed) for p in combinations(np.flatnonzero(moving[:, f]).tolist(), 2)})
    pairs = tuple(sorted(pairs))
    if not pairs:
        return evolve(alone, error=np.sqrt((left**2).mean(axis=0)))
    design = np.column_stack([z[:, a] * z[:, b] for a, b in pairs])
    products = np.zeros((len(pairs), left.shape[1]))
    for f in np.flatnonzero(crossed):
        own = [k for k, (a, b) in enumerate(pairs) if moving[a, f] and moving[b, f]]
        products[own, f] = np.linalg.lstsq(design[:CHECKS, own], left[:CHECKS, f], rcond=None)[0]
    rest = left - design @ products
    return evolve(alone, pairs=pairs, products=products, error=np.sqrt((rest[CHECKS:] ** 2).mean(axis=0)))


def _fields_at(job: Job, study: Study, unknowns: tuple[Unknown, ...], z: Floats) -> Floats:
    """Fields of the target's side where the unknowns have these coordinates, by the full computation, (S, F)."""
    power_of_two = 1 << (len(z) - 1).bit_length()
    drawn = draw(job, count=power_of_two, belief=Belief(unknowns=unknowns, samples=z))
    worlds = under_the_base(drawn, job, study, study)
    return _as_fields(worlds.target, worlds.overcure_m)[: len(z)]


def _as_fields(side: Side, overcure_m: Floats) -> Floats:
    columns = [overcure_m if name == "overcure_m" else getattr(side, name) for name in _FIELDS]
    return np.column_stack([c if n in _LINEAR else np.log(c) for n, c in zip(_FIELDS, columns, strict=True)])


def _as_side(values: Floats) -> tuple[Side, Floats]:
    told = {n: values[:, k] if n in _LINEAR else np.exp(values[:, k]) for k, n in enumerate(_FIELDS)}
    told["unlevel_m"] = np.maximum(told["unlevel_m"], 0.0)
    overcure = told.pop("overcure_m")
    return Side(**told), overcure


@frozen(kw_only=True, eq=False)
class Expected:
    """What a run would show in every world, (S,) each.

    Parameters
    ----------
    base, body, release : Floats
        Logarithms of the margins [-].
    thickest, thinnest : Floats
        Body layer furthest above and below its commanded thickness, as a share of it, log [-].
    first_layer_m, height_m : Floats
        Thickness of the first layer and height of all [m].
    heights_m : dict of int to Floats
        Height up to each layer at which somebody read it [m].
    side : Side
        The machine.
    overcure_m : Floats
        Cure beyond the gap that a bond needs [m].
    """

    base: Floats
    body: Floats
    release: Floats
    thickest: Floats
    thinnest: Floats
    first_layer_m: Floats
    height_m: Floats
    heights_m: dict[int, Floats]
    side: Side
    overcure_m: Floats


@frozen(kw_only=True, eq=False)
class RunTable:
    """One run as a quick function of its unknowns.

    Parameters
    ----------
    side : SideTable
        The machine.
    run : Run
        The run, cut to the layers whose light differs.
    reach_m : float
        Rise over tan(theta) at which the hardest layer lets go [m].
    limits : tuple of int
        For each group of layers, the layer whose bond limit counts.
    in_base : int
        How many of the groups are in the base.
    start, step : (2,) ndarray
        First point and step of the grid, ln(viscosity/stiffness) and ln(ceiling/stiffness).
    rows : (R, A, B) ndarray
        Spline coefficients of the log of the greatest thickness in each group, of the thickest, thinnest and first layer,
        of the height, and of the height up to each layer of `heights_at`.
    error : float
        Root mean square departure of the log margins from the full computation [-].
    heights_at : tuple of int
        Numbers of layers whose height is told besides.
    """

    side: SideTable
    run: Run
    reach_m: float
    limits: tuple[int, ...]
    in_base: int
    start: Floats
    step: Floats
    rows: Floats
    error: float = 0.0
    heights_at: tuple[int, ...] = ()

    @property
    def unknowns(self) -> tuple[Unknown, ...]:
        """What it depends on."""
        return self.side.unknowns

    def __call__(self, z: Floats) -> Expected:
        """Return what the run would show for (S, U) coordinates."""
        return self.at(*self.side(z))

    def at(self, side: Side, overcure_m: Floats) -> Expected:
        """Return what the run would show on these sides of worlds."""
        run = evolve(self.run, side=side, overcure_m=overcure_m)
        thickness = self._rows_at(_places(run))
        over = np.log(run.bond_limit_m()[:, list(self.limits)]).T - thickness[: len(self.limits)]
        thickest, thinnest, first, height, *heights = thickness[len(self.limits) :]
        return Expected(
            base=over[: self.in_base].min(axis=0),
            body=over[self.in_base :].min(axis=0, initial=math.log(1e6)),
            release=np.log(release_margin(run, self.reach_m)),
            thickest=thickest,
            thinnest=thinnest,
            first_layer_m=np.exp(first),
            height_m=np.exp(height),
            heights_m={n: np.exp(h) for n, h in zip(self.heights_at, heights, strict=True)},
            side=side,
            overcure_m=overcure_m,
        )

    def covers(self, side: Side) -> bool:
        """Return whether all these worlds lie on its grid: beyond it thickness counts as at its edge."""
        places = (_places(evolve(self.run, side=side)) - self.start) / self.step
        return bool((places >= 0.0).all() and (places <= np.array(self.rows.shape[1:]) - 1.0).all())

    @property
    def grid(self) -> Grid:
        """What took long to work out."""
        return Grid(self.start, self.step, self.rows, self.error)

    def _rows_at(self, places: Floats) -> Floats:
        """The rows at places on the grid, (R, S): cubic B-splines, held at the grid's edge beyond it."""
        _, *sizes = self.rows.shape
        return _splines_at(self.rows, np.clip((places - self.start) / self.step, 1.0, np.array(sizes) - 2.0 - 1e-9))


class Grid(NamedTuple):
    """The part of a run's table that takes long to work out, as :class:`RunTable` has it."""

    start: Floats
    step: Floats
    rows: Floats
    error: float


@kernel
def _splines_at(rows: Floats, index: Floats) -> Floats:
    """Every row's cubic B-splines at fractional places (S, 2), (R, S)."""
    found = np.empty((len(rows), len(index)))
    weight = np.empty((2, 4))
    for s in range(len(index)):
        first, second = int(index[s, 0]), int(index[s, 1])
        for k in range(2):
            t = index[s, k] - int(index[s, k])
            u = 1.0 - t
            weight[k, 0] = u**3 / 6.0
            weight[k, 1] = (3.0 * t**3 - 6.0 * t**2 + 4.0) / 6.0
            weight[k, 2] = (3.0 * u**3 - 6.0 * u**2 + 4.0) / 6.0
            weight[k, 3] = t**3 / 6.0
        for r in range(len(rows)):
            total = 0.0
            for a in range(4):
                along = 0.0
                for b in range(4):
                    along += rows[r, first + a - 1, second + b - 1] * weight[1, b]
                total += along * weight[0, a]
            found[r, s] = total
    return found


def run_table(
    side: SideTable,
    run: Run,
    *,
    reach_m: float,
    settle_s: Floats | None = None,
    heights_at: tuple[int, ...] = (),
    kept: Grid | None = None,
) -> RunTable:
    """Return a run as a quick function of its unknowns.

    Parameters
    ----------
    side : SideTable
        The machine's side of the job's worlds.
    run : Run
        Machine, settings and plate; its worlds are not used.
    reach_m : float
        Rise over tan(theta) at which the hardest layer lets go [m].
    settle_s : (N,) ndarray, optional
        Settle of each layer where it differs from the settings [s].
    heights_at : tuple of int
        Numbers of layers whose height is told besides.
    kept : Grid, optional
        The same run's grid from an earlier time.

    Returns
    -------
    RunTable
        Held against the full computation in `CHECKS` worlds, and made finer once where it is off by more than `CLOSE`; its
        `error` says how far it is off.

    Notes
    -----
    The squeeze law is linear in force: scaling viscosity, stiffness and ceiling alike changes no gap, so two ratios are all
    that thickness depends on.
    """
    if kept is not None:
        cut, _, limits, in_base = _groups(run)
        return RunTable(
            side=side, run=cut, reach_m=reach_m, limits=limits, in_base=in_base, heights_at=heights_at, **kept._asdict()
        )
    rng = np.random.default_rng(2)
    checks = side(rng.standard_normal((CHECKS, len(side.unknowns))))
    table = _tabulated(side, run, reach_m, settle_s, heights_at, GRIDS[0])
    error = _error(table, run, settle_s, checks)
    if error > CLOSE:
        table = _tabulated(side, run, reach_m, settle_s, heights_at, GRIDS[1])
        error = _error(table, run, settle_s, checks)
    return evolve(table, error=error)


def _tabulated(
    side: SideTable,
    run: Run,
    reach_m: float,
    settle_s: Floats | None,
    heights_at: tuple[int, ...],
    grid: tuple[int, int],
) -> RunTable:
    cut, groups, limits, in_base = _groups(run)
    far = side(np.random.default_rng(3).standard_normal((512, len(side.unknowns))))
    spread = _places(evolve(run, side=far[0], overcure_m=far[1]))
    middle, reach = spread.mean(axis=0), np.maximum(REACH * spread.std(axis=0), 0.1)
    start, step = middle - reach, 2.0 * reach / (np.array(grid) - 1)
    ease, ceiling = np.meshgrid(*(start[k] + step[k] * np.arange(grid[k]) for k in (0, 1)), indexing="ij")
    at = evolve(run, side=_scaled(far[0], ease.ravel(), ceiling.ravel(), run), overcure_m=np.zeros(ease.size))
    rows = _rows(at, at.result(settle_s, forces=False), groups, heights_at).reshape(-1, *grid)
    return RunTable(
        side=side, run=cut, reach_m=reach_m, limits=limits, in_base=in_base, start=start, step=step, heights_at=heights_at,
        rows=np.array([spline_filter(row, order=3, mode="mirror") for row in rows]),
    )  # fmt: skip


def _places(run: Run) -> Floats:
    """Where worlds lie on the grid, (S, 2)."""
    stiffness = run.stiffness_n_m()
    return np.column_stack((np.log(run.side.viscosity_pa_s / stiffness), np.log(run.side.ceiling_n / stiffness)))


def _scaled(like: Side, ease: Floats, ceiling: Floats, run: Run) -> Side:
    """Sides with these ratios, whatever else they are."""
    count = len(ease)
    told = {n: np.full(count, float(np.median(getattr(like, n)))) for n in _FIELDS[:-1]}
    stiffness = evolve(run, side=Side(**told)).stiffness_n_m()
    return Side(**told | {"viscosity_pa_s": np.exp(ease) * stiffness, "ceiling_n": np.exp(ceiling) * stiffness})


def _groups(run: Run) -> tuple[Run, list[slice], tuple[int, ...], int]:
    """The run cut to the layers whose light differs, layers in groups of like light, and the layer whose light counts."""
    count, base = run.layers, min(run.settings.base_layers, run.layers)
    ramp_end = min(base + run.settings.ramp_layers, count)
    groups = [slice(0, 1)] + ([slice(1, base)] if base > 1 else [])
    in_base = len(groups)
    edges = np.unique(np.linspace(base, ramp_end, min(RAMP_BLOCKS, ramp_end - base) + 1).round().astype(int))
    groups += [slice(int(a), int(b)) for a, b in pairwise(edges)]
    groups += [slice(ramp_end, count)] if ramp_end < count else []
    # In base and body light is one; in a block of the ramp the last layer has the least.
    limits = tuple(min(g.stop, ramp_end + 1, count) - 1 for g in groups)
    return evolve(run, load=run.load.first(min(ramp_end + 1, count))), groups, limits, in_base


def _rows(run: Run, found: StackResult, groups: list[slice], heights_at: tuple[int, ...]) -> Floats:
    thickness_m = found.thickness_m
    log_thickness, log_worst = np.log(thickness_m), np.log(found.worst_m)
    rows = [log_worst[:, g].max(axis=1) for g in groups]
    sized_from = max(round(FOOT_M / float(run.load.layer_m[0])), run.settings.base_layers + run.settings.ramp_layers)
    off = log_thickness[:, sized_from:] - np.log(run.load.layer_m[sized_from:])
    rows += [off.max(axis=1, initial=-np.inf), off.min(axis=1, initial=np.inf)] if off.shape[1] else [0.0 * rows[0]] * 2
    rows += [log_thickness[:, 0], np.log(thickness_m.sum(axis=1))]
    rows += [np.log(thickness_m[:, :n].sum(axis=1)) for n in heights_at]
    return np.array(rows)


def _error(table: RunTable, run: Run, settle_s: Floats | None, checks: tuple[Side, Floats]) -> float:
    """How far the table's bond margins are off, where that can matter: between a third and three times enough."""
    side, overcure = checks
    full = evolve(run, side=side, overcure_m=overcure)
    ratio = np.log(full.bond_limit_m() / full.result(settle_s, forces=False).worst_m)
    base = min(run.settings.base_layers, run.layers)
    quick = table.at(side, overcure)
    off = np.concatenate((
        quick.base - ratio[:, :base].min(axis=1), quick.body - ratio[:, base:].min(axis=1, initial=math.log(1e6)),
    ))  # fmt: skip
    near = np.abs(np.concatenate((quick.base, quick.body))) < math.log(3.0)
    return float(np.sqrt((off[near] ** 2).mean())) if near.any() else 0.0
