"""What squeezes while the base is made: the raft and the whole platform around it."""

from __future__ import annotations

import math
from enum import Enum
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, fields, frozen
from numpy.typing import NDArray
from scipy.optimize import minimize_scalar

from vatwright.errors import InputError
from vatwright.geometry.bowed_film import BowedLayers, FilmLaw
from vatwright.geometry.film_bow import film_grid
from vatwright.geometry.film_law import GRIDS, MOST_NODES, film_law
from vatwright.geometry.pressure import (
    PlatformField,
    PlatformGrid,
    effective_torsion,
    platform_grid,
    raft_arms,
    raft_field,
)
from vatwright.physics.layer_stack import GivingFaces
from vatwright.records.machine import Backing, Machine, Opening, Platform, Window
from vatwright.records.study import Study

if TYPE_CHECKING:
    from collections.abc import Sequence

    Floats = NDArray[np.float64]

GRID_CELLS = (96, 192, 384)
"""Cells along the platform's long side: 0.5 % on handbook shapes with the first (measured in the tests of
geometry/pressure.py); the others where pieces stand closer together than its nodes."""

RESOLVED = 0.03
"""A grid on which the raft alone resists within this share of its own torsion constant sees the channels in it [-]."""

SLIGHT = 0.002
"""A raft whose torsion constant is below this share of the platform's needs no finer grid: it is hardly felt [-]."""

NEAR_M = 0.004
"""Printed height beyond which raft and platform squeeze on their own [m]: what they add to each other falls with the cube of
the gap."""

ALIKE = 0.3
"""A layer whose area differs from the first layer's by more than this share has left the raft [-]."""


BASE_GAP_M, HELD_OFF_M = 1e-4, 3e-4
"""Gap under the pieces, and the bow that holds the bare platform off beside them, at which its share of the bow is told
[m]: as in the first layers of the worked cases (tests/physics/test_two_faces.py)."""

INWARDS = (0.0, 0.25, 0.5, 0.75, 1.0)
"""How far in from an outline's corners to its centre places are looked at [-]."""

WIDEST_DISC, LEAST_DISC = 0.95, 0.1
"""Largest and smallest disc, as a share of the window, for which the film's law is taken [-]."""

FAR_M = 0.25 / (3.0 * 1.0 / 1.0e5)
"""Where the bare platform's torsion constant over the cube of its gap falls below this [m], a resin of 1 Pa s under an arm
of 100 N/mm relaxes through it in a quarter of a second, and usual ones in some hundredths: less than anybody sets, so it is
left out."""

TORSION_STEP = 0.005
"""Step to which torsion constants are rounded for the stack (log): as fine as the region solver is sure of them [-]."""

LEAST_TORSION_M4 = 1e-14
"""Below this no resin is felt: a disc of a millimetre has ten times as much, and a thousand times less changes no settle by
a hundredth.  An empty layer counts as this: the stack's law wants something to push on [m4]."""


LEAST_SHARE, MOST_SHARE = 0.1, 1.5
"""Between which the share of the printed height lies that the platform beside its raft feels [-]."""

SOLVED = 8
"""Base layers whose pressure is solved one by one: by then the bare platform around the raft carries little [-]."""


class SolvedUnder(Enum):
    """What of the pieces was at hand to work out how the film bows under them."""

    LAYERS = "layers"
    """Every layer's own outlines."""
    OUTLINES = "outlines"
    """The pieces as seen from above, for all layers."""
    DISC = "disc"
    """No outline: a disc of the hardest layer's torsion constant, for all layers."""


@frozen(kw_only=True, eq=False)
class Giving:
    """How a film that nothing firm backs bows under each layer.

    Parameters
    ----------
    faces : GivingFaces
        For the layer-stack law.
    known : SolvedUnder
        What it was worked out from.
    laws : tuple of FilmLaw
        Of the outlines that differ, the bare platform's last.
    which : (N,) ndarray of int
        Which of them each layer has [-].
    platform : (N,) ndarray
        Share of the bare platform in each layer's [-].
    under : float
        Mean deflection under the pieces over that under the platform, where the platform alone presses [-].
    bowing : float
        Stiffness of the film under the hardest layer off the platform over its tension [-].
    """

    faces: GivingFaces
    known: SolvedUnder
    laws: tuple[FilmLaw, ...]
    which: NDArray[np.int64]
    platform: Floats
    under: float
    bowing: float

    def of(self, layers: int) -> Giving:
        """Return so many layers, the first ones or with the last one's numbers for those beyond."""
        at = np.minimum(np.arange(layers), len(self.which) - 1)
        faces = GivingFaces(**{a.name: getattr(self.faces, a.name)[at] for a in fields(GivingFaces)})
        return evolve(self, faces=faces, which=self.which[at], platform=self.platform[at])

    @property
    def even(self) -> GivingFaces:
        """The same with the mean for the worst place, where a limit is the mean's."""
        one = np.ones(len(self.which))
        return evolve(self.faces, worst_early=one, worst_late=one)

    def worst_at_m(self, layer: int) -> tuple[float, float]:
        """Return where the film bows most under a layer, from the middle of the window [m]."""
        return self.laws[int(self.which[layer])].worst_at_m

    def bow_at(self, layer: int, places_m: Floats) -> Floats:
        """Return how deep the film is bowed at places under a layer, over the mean under the pieces, (P,) [-]."""
        share = self.platform[layer]
        own, bare = (law.bow_at(places_m) for law in (self.laws[int(self.which[layer])], self.laws[-1]))
        return np.asarray(share * bare / self.under + (1.0 - share) * own)


@frozen(kw_only=True, eq=False)
class StackLoad:
    """What squeezes in every layer; see :mod:`vatwright.physics.layer_stack` for the law.

    Parameters
    ----------
    torsion_m4 : (N,) ndarray
        Of the layer's own regions [m4].
    platform_torsion_m4 : (N,) ndarray
        Of the bare platform around them [m4].
    platform_extra_gap_m : (N,) ndarray
        By how much the gap under the bare platform exceeds that under the layer, as commanded [m].
    platform_follows : (N,) ndarray
        Share of the deflection found that adds to it [-].
    layer_m : (N,) ndarray
        Commanded thickness [m].
    giving : Giving or None
        How the film bows under each layer; None where firm glass backs it.
    """

    torsion_m4: Floats
    platform_torsion_m4: Floats
    platform_extra_gap_m: Floats
    platform_follows: Floats
    layer_m: Floats
    giving: Giving | None = None

    def first(self, layers: int) -> StackLoad:
        """Return the first so many layers alone."""
        return StackLoad(
            torsion_m4=self.torsion_m4[:layers],
            platform_torsion_m4=self.platform_torsion_m4[:layers],
            platform_extra_gap_m=self.platform_extra_gap_m[:layers],
            platform_follows=self.platform_follows[:layers],
            layer_m=self.layer_m[:layers],
            giving=self.giving.of(layers) if self.giving else None,
        )


def platform_outline(platform: Platform | Window) -> tuple[Floats, list[Floats]]:
    """Return a platform's (or a window's) outline and its openings as polygons [m], shapes (P, 2).

    Examples
    --------
    >>> outline, openings = platform_outline(Platform(width_m=0.1, depth_m=0.06))
    >>> outline.tolist(), len(openings)
    ([[-0.05, -0.03], [0.05, -0.03], [0.05, 0.03], [-0.05, 0.03]], 0)
    """
    half_w, half_d = platform.width_m / 2.0, platform.depth_m / 2.0
    corner = min(platform.corner_m, half_w, half_d)
    holes = [_opening(o) for o in platform.openings] if isinstance(platform, Platform) else []
    if corner <= 0.0:
        points = [(-half_w, -half_d), (half_w, -half_d), (half_w, half_d), (-half_w, half_d)]
        return np.array(points), holes
    arc = np.linspace(0.0, math.pi / 2.0, 9)
    pieces = []
    for quarter, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        turn = arc + quarter * math.pi / 2.0
        centre = (sx * (half_w - corner), sy * (half_d - corner))
        pieces.append(np.column_stack((centre[0] + corner * np.cos(turn), centre[1] + corner * np.sin(turn))))
    return np.concatenate(pieces), holes


def _opening(opening: Opening) -> Floats:
    if opening.round_:
        turn = np.linspace(0.0, 2.0 * math.pi, 24, endpoint=False)
        unit = np.column_stack((np.cos(turn), np.sin(turn))) / 2.0
    else:
        unit = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)])
    return np.asarray(unit * (opening.width_m, opening.depth_m) + (opening.x_m, opening.y_m))


def giving_film(study: Study, machine: Machine, load: StackLoad) -> Giving | None:
    """Return how a film that nothing firm backs bows under each layer of a plate; None where glass backs it.

    Parameters
    ----------
    study : Study
        How its pieces bow the film, `bowed`; without it their outlines as far as they are known, else one disc.
    machine : Machine
        Its window, platform and film.
    load : StackLoad
        What squeezes in each layer.

    Notes
    -----
    Near the platform both press on one film (:mod:`vatwright.physics.layer_stack`), on the mean of its bow under the first
    layer's outlines.
    """
    if machine.film.backing is Backing.GLASS:
        return None
    bowed, known = (study.bowed, SolvedUnder.LAYERS) if study.bowed else _stand_in(study, machine)
    platform = _platform_law(machine.window, machine.platform)
    bare = load.platform_torsion_m4 / (BASE_GAP_M + HELD_OFF_M + load.platform_extra_gap_m) ** 3
    share = bare / (bare + load.torsion_m4 / BASE_GAP_M**3 + 1e-30)
    under, most = _bow_under(platform, machine.window, study.base_outlines_m)
    deepest = platform.bow_at(np.array([law.worst_at_m for law in bowed.laws]))
    near, off = load.platform_torsion_m4 > 0.0, load.torsion_m4 * (load.platform_torsion_m4 == 0.0)
    return Giving(
        faces=GivingFaces(
            **{name: bowed.column(name) for name in ("stiffness", "slows", "force", "worst_early", "worst_late")},
            **{f"bare_{name}": near * getattr(platform, name) for name in ("stiffness", "slows", "force")},
            # Where the platform carries most, the film keeps its shape whatever the pieces do.
            handed=share + (1.0 - share) * bowed.handed,
            uneven=(1.0 - share) * bowed.uneven,
            lasting=(1.0 - share) * bowed.lasting,
            under=np.full(len(near), under),
            worst_under=np.full(len(near), most / under),
            deepest_under=deepest[bowed.which] / under,
        ),
        known=known,
        laws=(*bowed.laws, platform),
        which=bowed.which,
        platform=share,
        under=under,
        bowing=float(bowed.column("stiffness")[int(np.argmax(off if off.any() else load.torsion_m4))]),
    )


def _bow_under(platform: FilmLaw, window: Window, loops: Sequence[Floats]) -> tuple[float, float]:
    """Mean and greatest bow of the platform's film under some outlines, over the mean under the platform [-]."""
    if not loops:
        return 1.0, platform.worst_early
    bow = platform.bow_at(inner_places_m(loops))
    try:
        grid = film_grid(platform_outline(window)[0], loops, cells=GRIDS[0])
    except InputError:  # finer than the grid: the bow hardly changes under one of them
        return float(bow.mean()), float(bow.max())
    under = platform.bow_at(np.column_stack((grid.window.x_m[grid.column], grid.window.y_m[grid.row])))
    return float(np.average(under, weights=grid.weight_m2)), float(max(bow.max(), under.max()))


def inner_places_m(loops: Sequence[Floats]) -> Floats:
    """Return places all over some outlines, (P, 2) [m]: corners and centre of each and a few between."""
    return np.concatenate([(1.0 - s) * loop + s * loop.mean(axis=0) for loop in loops for s in INWARDS])


@lru_cache(maxsize=8)
def _platform_law(window: Window, platform: Platform) -> FilmLaw:
    outline, openings = platform_outline(platform)
    return _coarse_law(platform_outline(window)[0], [outline, *openings])


def _coarse_law(window_m: Floats, loops_m: list[Floats]) -> FilmLaw:
    """The law on the finest grid that is quick."""
    for cells in GRIDS:
        grid = film_grid(window_m, loops_m, cells=cells)
        if grid.nodes <= MOST_NODES:
            break
    return film_law(grid)


def _stand_in(study: Study, machine: Machine) -> tuple[BowedLayers, SolvedUnder]:
    """One law for all layers: of the outlines seen from above, else of a disc of the hardest layer's torsion constant."""
    window, _ = platform_outline(machine.window)
    loops = [loop for outline in study.outlines for loop in outline.loops_m]
    known = SolvedUnder.OUTLINES
    try:
        law = _coarse_law(window, loops)
    except InputError:  # no outline, or finer than the grid
        known = SolvedUnder.DISC
        half_m = min(machine.window.width_m, machine.window.depth_m) / 2.0
        radius_m = min((2.0 * float(study.torsion_m4.max()) / math.pi) ** 0.25, WIDEST_DISC * half_m)
        turn = np.linspace(0.0, 2.0 * math.pi, 200, endpoint=False)
        ring = np.column_stack((np.cos(turn), np.sin(turn)))
        law = _coarse_law(half_m * ring, [max(radius_m, LEAST_DISC * half_m) * ring])
    count = study.layers
    which = np.zeros(count, dtype=np.int64)
    return BowedLayers(laws=(law,), which=which, handed=np.ones(count), uneven=np.zeros(count)), known


def stack_load(study: Study, machine: Machine) -> StackLoad:
    """Return what squeezes in every layer of a plate on a machine.

    The resin's force on a layer is 3 mu V [J_n / x^3 + P / (x + H)^3], with P of the bare platform and H the height that is
    printed.  Near the platform both share one pressure field: there P / (x + H)^3 becomes P' / (x + c H)^3, fitted to the
    variable-gap Reynolds equation over the ratio H / x, the only number it depends on.

    Parameters
    ----------
    study : Study
        Torsion constants and the outlines of the first layer.
    machine : Machine
        Its platform's real shape, its window and film.

    Returns
    -------
    StackLoad
        Shape (N,) each.

    Notes
    -----
    H is what was commanded plus the deflection that the layer before left (:mod:`vatwright.physics.layer_stack`).  The fit
    holds for the layers whose area is like the first one's; the first layer is the platform's alone.  The others keep P and H,
    which is exact where pieces are small against the platform.  Over a giving film pieces and platform have a gap each: there
    what they add to each other goes into J_n, at the commanded gap.

    References
    ----------
    Reynolds, Phil. Trans. R. Soc. 177 (1886) 157-234, equation 13. [reynolds:1886]
    """
    count, layer_m = study.layers, study.layer_m
    plate = _plate_grid(study, machine)
    torsion, commanded = study.torsion_m4.copy(), np.asarray(np.arange(count) * layer_m, dtype=np.float64)
    torsion[0] = 0.0
    bare, follows = np.full(count, plate.bare_m4), np.ones(count)
    together, share = _together(plate)
    on_raft = _on_raft(study)
    if machine.film.backing is Backing.GLASS:
        bare[on_raft], follows[on_raft] = together, share
    else:
        apart = 1.0 + np.arange(count)[on_raft]
        added = together / (1.0 + share * (apart - 1.0)) ** 3 - plate.bare_m4 / apart**3
        torsion[on_raft] = np.maximum(torsion[on_raft] + added, 0.0)
    torsion[1:] = _rounded(torsion[1:])
    follows[0] = 0.0
    extra = follows * commanded
    near = bare > FAR_M * np.maximum(extra, layer_m) ** 3
    load = StackLoad(
        torsion_m4=torsion,
        platform_torsion_m4=np.where(near, bare, 0.0),
        platform_extra_gap_m=np.where(near, extra, 0.0),
        platform_follows=np.where(near, follows, 0.0),
        layer_m=np.full(count, layer_m),
    )
    return evolve(load, giving=giving_film(study, machine, load))


def _on_raft(study: Study) -> slice:
    """The layers after the first that lie on the raft: near the platform, and as large as the first."""
    if not _raft_of(study):
        return slice(0, 0)
    alike = np.abs(study.area_m2 / study.area_m2[0] - 1.0) <= ALIKE
    end = study.layers if alike.all() else int(np.argmin(alike))
    return slice(1, min(end, round(NEAR_M / study.layer_m)))


def base_fields(
    study: Study, machine: Machine, *, gap_m: Floats, tilt: tuple[float, float] = (0.0, 0.0)
) -> tuple[PlatformField, ...]:
    """Return the pressure field under the platform in each base layer, for any speed and resin.

    Parameters
    ----------
    study : Study
        Its base outlines; where none is known every layer squeezes under the whole platform.
    machine : Machine
        Its platform's real shape.
    gap_m : (n,) ndarray
        Gap under what is cured in each base layer, in the middle of the platform [m].
    tilt : (float, float)
        How fast the gap of layer 0 grows along x and y; later layers rest on one that has taken the tilt up [-].

    Returns
    -------
    tuple of PlatformField
        One a layer.

    Notes
    -----
    Beyond the first `SOLVED` layers the pressure changes little from layer to layer, and the last one solved stands for
    them.  A tilt that would press a corner on the film is cut back until it leaves a twentieth of the gap.
    """
    plate = _plate_grid(study, machine)
    grid, bare = plate.grid, np.zeros_like(plate.arms)
    reach = abs(tilt[0]) * machine.platform.width_m / 2.0 + abs(tilt[1]) * machine.platform.depth_m / 2.0
    share = min(0.95 * float(gap_m[0]) / reach, 1.0) if reach > 0.0 else 0.0
    fields = [raft_field(grid, bare, gap_m=float(gap_m[0]), printed_m=0.0, tilt=(share * tilt[0], share * tilt[1]))]
    later = range(1, min(len(gap_m), SOLVED)) if study.base_outlines_m else ()
    fields += [raft_field(grid, plate.arms, gap_m=float(gap_m[n]), printed_m=float(gap_m[:n].sum())) for n in later]
    return tuple(fields + [fields[-1]] * (len(gap_m) - len(fields)))


def _rounded(torsion: Floats) -> Floats:
    """Torsion constants in steps of half a per cent: facets make every layer a little different, and like layers cost less."""
    steps = np.round(np.log(np.maximum(torsion, LEAST_TORSION_M4)) / TORSION_STEP)
    return np.asarray(np.exp(steps * TORSION_STEP))


@frozen(kw_only=True, eq=False)
class _PlateGrid:
    """A platform with its raft on a grid fine enough for both; torsion constants on it, without raft and of the raft alone."""

    grid: PlatformGrid
    arms: Floats
    bare_m4: float
    raft_m4: float


def _raft_of(study: Study) -> tuple[Floats, ...]:
    """What lies on the platform: as it is, or as pieces known only by count are taken to stand."""
    return study.base_outlines_m or study.assumed_outlines_m


def _plate_grid(study: Study, machine: Machine) -> _PlateGrid:
    """The first grid on which the raft alone resists as it should: a channel between two nodes would join its pieces."""
    outline, openings = platform_outline(machine.platform)
    own, loops = float(study.torsion_m4[0]), _raft_of(study)
    for cells in GRID_CELLS:
        grid = platform_grid(outline, openings, cells=cells)
        none = np.zeros((4, *grid.inside.shape))
        arms = raft_arms(grid, loops) if loops else none
        bare = effective_torsion(grid, none, gap_m=study.layer_m, printed_m=0.0)
        raft = effective_torsion(grid, arms, gap_m=study.layer_m, printed_m=NEAR_M) if loops else 0.0
        if own < SLIGHT * bare or abs(raft - own) <= RESOLVED * own:
            break
    return _PlateGrid(grid=grid, arms=arms, bare_m4=bare, raft_m4=raft)


RATIOS = (0.5, 0.8, 1.2, 1.8, 2.7, 4.0, 6.0, 9.0, 14.0, 22.0, 35.0)
"""Printed heights over the gap at which raft and platform are solved together: layers are lit between them [-]."""


def _together(plate: _PlateGrid) -> tuple[float, float]:
    """The torsion constant P' [m4] and the share c of the printed height [-] with which the platform resists beside its raft.

    P' / (1 + c H / x)^3 with the raft's own is within some per cent of both solved together, all from one grid so that its
    errors cancel (tests/planning/demand/test_base.py has how near); where the raft is hardly felt they are the platform's own.
    """
    if plate.raft_m4 <= 0.0:
        return plate.bare_m4, 1.0
    ratio = np.array(RATIOS)
    solved = np.array([effective_torsion(plate.grid, plate.arms, gap_m=1.0, printed_m=r) for r in RATIOS])

    def off(log_share: float) -> tuple[float, float]:
        shape = (1.0 + math.exp(log_share) * ratio) ** -3 / solved
        wanted = 1.0 - plate.raft_m4 / solved
        together = float(shape @ wanted / (shape @ shape))
        return float(((together * shape - wanted) ** 2).sum()), together

    best = minimize_scalar(lambda v: off(v)[0], bounds=(math.log(LEAST_SHARE), math.log(MOST_SHARE)), method="bounded")
    return off(best.x)[1], math.exp(best.x)
