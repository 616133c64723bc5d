"""One part, layer by layer, in its own frame: what a study keeps so that moving the part costs nothing.

Layer 0 touches the platform; the part's lowest point is its zero height.
"""

from __future__ import annotations

from bisect import bisect_left
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from attrs import evolve, frozen

from vatwright.errors import InputError
from vatwright.geometry.footprint import shadow
from vatwright.geometry.layer_torsion import layer_torsion, torsion_from_spans
from vatwright.geometry.load_path import IslandGraph, island_graph
from vatwright.geometry.mesh import Mesh, apart_in_plan, inspect, mend, taken_shells
from vatwright.geometry.profile import area_profile, first_layer_at, layer_count
from vatwright.geometry.region_track import PocketEnd, Regions, all_vented, connect, of_layers
from vatwright.geometry.sections import Sections, loop_measures, outline_points, sections, sections_in_chunks
from vatwright.geometry.spans import Ruling, Spans, joined_spans, row_pitch, spans, spans_from_bitmaps
from vatwright.geometry.thin_walls import Ties, finer_pitch, leaks, loop_ties
from vatwright.geometry.tolerance import TOLERANCES
from vatwright.units import from_si
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Counts = NDArray[np.int64]
    Step = Callable[[str, int, int], None]

NM_PER_M = 1_000_000_000
AGREE = 0.02
"""Share by which exact and row-wise area may differ before the row-wise one is believed [-]: rows of a region 50 rows
high are within this (a midpoint rule)."""

POINTS_AT_ONCE = 900_000
"""Corners of outlines held at a time [1]: 29 MB; a part with more is cut twice rather than kept whole."""

MOST_RUNS = 20_000_000
"""No finer rows where they would make more runs than this [1]: half a gigabyte."""

NO_THICKNESS = 1e-9
"""A layer whose area is less than this share of the square of its outline is a sheet, not a solid [-]: rounding leaves that
much, while a film a thousandth of a micrometre thick across a platform of 200 mm has more."""

OVERLAP_TOLD = 0.005
"""Overlap below this share of the volume is what supports do when they run into a part, and is not told [-]."""


class Standing(NamedTuple):
    """Runs of solid, and where they stand in the part's frame.

    Parameters
    ----------
    runs : Spans
        Runs of the layers from `first_layer` on.
    shift_m : tuple of float
        How far they are moved in plan (x, y) [m].
    first_layer : int
        Number of their first layer [1].
    graph : IslandGraph or None
        Their islands and what each rests on, in the frame of the runs.
    """

    runs: Spans
    shift_m: tuple[float, float] = (0.0, 0.0)
    first_layer: int = 0
    graph: IslandGraph | None = None


@frozen(kw_only=True, eq=False)
class PartLayers:
    """Everything the layers of one part demand, in the part's own frame.

    Parameters
    ----------
    layer_nm : int
        Layer thickness [nm].
    bounds_m : (2, 3) ndarray
        Lowest and highest corner [m].
    volume_m3, overlap_m3, surface_m2 : float
        Union, overlap, surface.
    area_m2, perimeter_m, torsion_m4 : (N,) ndarray
        By layer.
    islands : (N,) ndarray of int
        By layer.
    standing : tuple of Standing
        Runs of solid, for distances to a window's edge; copies within a part share theirs.
    fresh : (F, 4) ndarray
        Layer, x [m], y [m], area [m2] of fresh islands.
    vented_m4 : (N,) ndarray
        `torsion_m4` as it would be with every sealed pocket open to the resin around [m4].
    pockets : (K, 5) ndarray
        First layer, last layer, volume [m3], mouth [m2] of sealed pockets, and 1 where what they hold stays inside.
    base_loops_m, outline_loops_m : tuple of (P, 2) ndarray
        Outlines of the first layer, and of the first and the largest for a picture [m].
    closed : bool
        Whether the mesh is closed.
    warnings : tuple of str
        What is wrong, and where.
    """

    layer_nm: int
    bounds_m: Floats
    volume_m3: float
    overlap_m3: float
    surface_m2: float
    area_m2: Floats
    perimeter_m: Floats
    torsion_m4: Floats
    vented_m4: Floats
    islands: Counts
    standing: tuple[Standing, ...]
    fresh: Floats
    pockets: Floats
    base_loops_m: tuple[Floats, ...]
    outline_loops_m: tuple[Floats, ...]
    closed: bool
    warnings: tuple[str, ...]

    @property
    def layers(self) -> int:
        """How many layers."""
        return len(self.area_m2)

    @property
    def runs(self) -> Spans:
        """The runs of the first of the pieces that stand apart."""
        return self.standing[0].runs

    @property
    def shadow_m(self) -> tuple[Floats, ...]:
        """All that the layers cover seen from above: loops (P, 2), holes clockwise [m]."""
        loops = shadow(
            [
                (s.runs.row, s.runs.x0_m, s.runs.x1_m, s.runs.origin_m[1], s.runs.pitch_m, s.shift_m)
                for s in self.standing
            ]
        )
        # The cells that were traced may reach beyond the part by their own size.
        return tuple(np.clip(loop, *self.bounds_m[:, :2]) for loop in loops)


def half_turned(layers: PartLayers) -> PartLayers:
    """Return a part's layers turned by 180 degrees about the vertical through its origin, without looking at it again.

    Rows run the other way and every run ends where it began; areas, torsion constants and what hangs on what are the same.

    Parameters
    ----------
    layers : PartLayers
        As drawn.
    """
    made: dict[int, tuple[Spans, IslandGraph | None]] = {}
    for stack in layers.standing:
        if id(stack.runs) not in made:
            made[id(stack.runs)] = _turned_back(stack.runs, stack.graph)
    (x0, y0, z0), (x1, y1, z1) = layers.bounds_m.tolist()
    return evolve(
        layers,
        bounds_m=np.array([[-x1, -y1, z0], [-x0, -y0, z1]]),
        standing=tuple(
            Standing(made[id(s.runs)][0], (-s.shift_m[0], -s.shift_m[1]), s.first_layer, made[id(s.runs)][1])
            for s in layers.standing
        ),
        fresh=layers.fresh * (1.0, -1.0, -1.0, 1.0),
        base_loops_m=tuple(-loop for loop in layers.base_loops_m),
        outline_loops_m=tuple(-loop for loop in layers.outline_loops_m),
    )


def _turned_back(runs: Spans, graph: IslandGraph | None) -> tuple[Spans, IslandGraph | None]:
    # Within a layer the last run comes first, so that rows and runs stay in order.
    starts, counts = runs.layer_start[:-1], np.diff(runs.layer_start)
    order = np.repeat(2 * starts + counts - 1, counts) - np.arange(len(runs.row))
    turned = evolve(
        runs,
        row=(runs.rows - 1 - runs.row[order]).astype(runs.row.dtype),
        x0_m=-runs.x1_m[order],
        x1_m=-runs.x0_m[order],
        origin_m=(-float(runs.x1_m.max(initial=0.0)), -(runs.origin_m[1] + runs.rows * runs.pitch_m)),
    )
    if graph is None:
        return turned, None
    return turned, evolve(
        graph,
        island_of_run=graph.island_of_run[order],
        centroid_m=-graph.centroid_m,
        box_m=-graph.box_m[:, [2, 3, 0, 1]],
    )


def layers_of_mesh(mesh: Mesh, *, layer_nm: int, step: Step) -> PartLayers:
    """Return the layers of a mesh, mended where that is safe; what could not be mended is told, never hidden.

    Parameters
    ----------
    mesh : Mesh
        The part as its file has it.
    layer_nm : int
        Layer thickness [nm].
    step : callable
        Told what is being done, how far and of how much; may raise to stop.

    Returns
    -------
    PartLayers
        With warnings for whatever is open, badly wound, duplicated, inverted or overlapping.

    Raises
    ------
    InputError
        When it is empty, the middle of no layer cuts it, or it holds no volume: there is nothing to print.

    Notes
    -----
    Areas are exact where the mesh is closed (Green's theorem on the cuts), less what overlaps; in layers where it is open
    they come from rows of runs, which close each gap with a straight line.
    """
    if not len(mesh.faces):
        raise InputError.one("mesh", to_say("holds no triangle"), to_say("Export the part again"))
    step("mending", 0, 1)
    mended, notes = mend(mesh)
    health = inspect(mended)
    bottom_m, top_m = float(health.bounds_m[0, 2]), float(health.bounds_m[1, 2])
    count = layer_count(top_m - bottom_m, layer_nm)
    step("areas", 0, 1)
    profile = area_profile(mended, layer_nm=layer_nm, bottom_m=bottom_m, layers=count)
    if not profile.perimeter_m.any():
        raise InputError.one(
            "mesh",
            to_say(
                "is {tall:g} mm tall: no layer of {layer:g} mm holds any of it",
                tall=(top_m - bottom_m) * 1000.0,
                layer=layer_nm / 1000000.0,
            ),
            to_say("Check its unit, or take thinner layers"),
        )
    if np.all(np.abs(profile.area_m2) <= NO_THICKNESS * profile.perimeter_m**2):
        raise InputError.one(
            "mesh", to_say("holds no volume: its faces have no thickness"), to_say("Give it walls and export it again")
        )
    stack = _Stack(layer_nm=layer_nm, bottom_m=bottom_m, layers=count)
    pieces = [_piece_layers(taken_shells(mended, kind.shells), kind, stack, step) for kind in _kinds(mended, stack)]
    largest = int(np.argmax(profile.area_m2)) if count else 0
    base, widest = (
        sections(mended, layer_nm=layer_nm, bottom_m=bottom_m, first=k, count=min(1, count)) for k in (0, largest)
    )
    return _joined(
        pieces,
        stack,
        bounds_m=health.bounds_m,
        area=profile.area_m2,
        perimeter=profile.perimeter_m,
        open_layers=profile.open_layers,
        closed=health.closed,
        notes=tuple(n.text for n in notes),
        base=_loops(base, 0),
        widest=_loops(widest, 0),
    )


class _Stack(NamedTuple):
    """The layers of a part: thickness [nm], height of the lowest [m], how many."""

    layer_nm: int
    bottom_m: float
    layers: int


class _Kind(NamedTuple):
    """A piece of a part and its copies: its shells, first layer and one past its last, and the copies' shifts."""

    shells: NDArray[np.bool_]
    first: int
    last: int
    shift_m: tuple[tuple[float, float], ...]
    up: tuple[int, ...]


class _Piece(NamedTuple):
    """What was found in the layers of a piece, and where it stands."""

    kind: _Kind
    runs: Spans
    torsion_m4: Floats
    vented_m4: Floats
    islands: Counts
    fresh: Floats
    pockets: Floats
    graph: IslandGraph
    leaking: Counts = np.zeros(0, dtype=np.int64)


def _kinds(mesh: Mesh, stack: _Stack) -> list[_Kind]:
    """Return the pieces to study: one of each shape that stands there twice or more, and the others a few at a time.

    Pieces stand apart in plan, so nothing in a layer of one touches another; copies differ by a shift in plan and whole
    layers.
    """
    shells = mesh.shells.each
    every = np.ones(len(shells), dtype=bool)
    whole = [_Kind(every, 0, stack.layers, ((0.0, 0.0),), (0,))]
    if len(shells) < 2 or not stack.layers:
        return whole
    pitch_m = row_pitch(_plan(mesh.bounds_m)).pitch_m
    piece = apart_in_plan(mesh, gap_m=pitch_m)
    alike: dict[tuple[object, ...], list[int]] = {}
    for first in np.unique(piece).tolist():
        alike.setdefault(_likeness(mesh, np.flatnonzero(piece == first), stack), []).append(first)
    kinds, single = [], []
    for key, firsts in alike.items():
        if len(firsts) == 1 or key[1] == key[2]:
            single += firsts
        else:
            kinds.append(_copies(mesh, [piece == first for first in firsts], stack))
    load = outline_points(mesh, layer_nm=stack.layer_nm, bottom_m=stack.bottom_m, layers=stack.layers)
    for together in _at_once(single, np.bincount(piece, load, len(piece))):
        some = np.isin(piece, together)
        first, last = _crossed(_low(mesh, some), _high(mesh, some), stack)
        if first < last:
            kinds.append(_Kind(some, max(0, first - 1), last, ((0.0, 0.0),), (0,)))
    return kinds or whole


def _at_once(pieces: Sequence[int], points: NDArray[Any]) -> list[list[int]]:
    """Return pieces a few at a time, so that the outlines of each few are held at once and cut only once."""
    groups: list[list[int]] = []
    held = 0.0
    for piece in pieces:
        if not groups or held + points[piece] > POINTS_AT_ONCE:
            groups.append([])
            held = 0.0
        groups[-1].append(piece)
        held += points[piece]
    return groups


def _copies(mesh: Mesh, pieces: Sequence[NDArray[np.bool_]], stack: _Stack) -> _Kind:
    lows = np.array([_low(mesh, piece) for piece in pieces])
    layers = [_crossed(low, _high(mesh, piece), stack) for low, piece in zip(lows, pieces, strict=True)]
    return _Kind(
        pieces[0],
        # An empty layer beneath tells what stands free of the platform from what the platform holds.
        max(0, layers[0][0] - 1),
        layers[0][1],
        tuple((float(x), float(y)) for x, y, _ in lows - lows[0]),
        tuple(first - layers[0][0] for first, _ in layers),
    )


def _plan(bounds_m: Floats) -> tuple[float, float, float, float]:
    return (float(bounds_m[0, 0]), float(bounds_m[0, 1]), float(bounds_m[1, 0]), float(bounds_m[1, 1]))


def _low(mesh: Mesh, shells: NDArray[np.bool_]) -> Floats:
    return np.asarray(np.min([mesh.shells.each[s].bounds_m[0] for s in np.flatnonzero(shells)], axis=0))


def _high(mesh: Mesh, shells: NDArray[np.bool_]) -> Floats:
    return np.asarray(np.max([mesh.shells.each[s].bounds_m[1] for s in np.flatnonzero(shells)], axis=0))


def _crossed(low_m: Floats, high_m: Floats, stack: _Stack) -> tuple[int, int]:
    """Return the first layer between two corners, and one past the last."""
    first, last = (first_layer_at(float(z), stack.bottom_m, stack.layer_nm / NM_PER_M) for z in (low_m[2], high_m[2]))
    return min(max(first, 0), stack.layers), min(max(last, 0), stack.layers)


def _likeness(mesh: Mesh, members: Counts, stack: _Stack) -> tuple[object, ...]:
    """Return what copies have in common: whether they stand on the platform, their shells, and how these lie.

    Two numbers of it, the second and the third, are equal where no layer cuts the piece.
    """
    shells = [mesh.shells.each[s] for s in members]
    low = np.min([s.bounds_m[0] for s in shells], axis=0)
    high = np.max([s.bounds_m[1] for s in shells], axis=0)
    first, last = _crossed(low, high, stack)
    # Copies must be cut at the same heights: what is left of a layer below the piece has to be the same too.
    layer_m = stack.layer_nm / NM_PER_M
    over = (low[2] - stack.bottom_m) / layer_m
    steps = round(float(over - round(float(over))) * layer_m / (2.0 * TOLERANCES.identical_m))
    placed = sorted(
        (s.group, *np.round((s.bounds_m[0] - low) / (4.0 * TOLERANCES.identical_m)).tolist()) for s in shells
    )
    return (first == 0, 0, last - first, steps, *placed)


def _piece_layers(mesh: Mesh, kind: _Kind, stack: _Stack, step: Step) -> _Piece:
    """Return runs, regions and torsion of one piece, cut in blocks of layers so that memory stays bounded."""
    bounds = _plan(mesh.bounds_m)
    told = _Told(step, kind.first, kind.last)
    where = {"layer_nm": stack.layer_nm, "bottom_m": stack.bottom_m, "layers": kind.last, "begin": kind.first}

    def cuts(what: str) -> Iterable[Sections]:
        told("sections", kind.first)
        for cut in sections_in_chunks(mesh, **where, points_at_once=POINTS_AT_ONCE):  # type: ignore[arg-type]
            done = cut.first + cut.count
            yield cut
            del cut
            told(what, done)

    # Runs and outlines are the bulk of a study's memory: each is let go before the next is made.
    whole: list[Sections] = []

    def again(what: str) -> Iterable[Sections]:
        return whole or cuts(what)

    def kept(what: str) -> Iterable[Sections]:
        for cut in cuts(what):
            whole[:] = [cut] if cut.count == kind.last - kind.first else []
            yield cut
            del cut

    ruled = _ruled(kept("sections"), row_pitch(bounds), stack.layer_nm)
    told("regions", kind.first)
    ruled, leaking = _fine_enough(ruled, again, bounds, kind.first, stack.layer_nm)
    torsion = []
    for cut in again("torsion"):
        torsion.append(_block_torsion(cut, ruled.runs, ruled.regions, kind.first, told))
        del cut
    found = _found(kind, ruled.runs, ruled.regions, np.concatenate(torsion, axis=1))
    return found._replace(leaking=leaking + kind.first)


class _Ruled(NamedTuple):
    """A piece as rows of runs: the runs, what the outlines tie together, and the regions that come of both."""

    runs: Spans
    ties: Ties
    regions: Regions


def _ruled(cuts: Iterable[Sections], ruling: Ruling, layer_nm: int) -> _Ruled:
    parts, tied = [], []
    runs_before = layers_before = 0
    for cut in cuts:
        outlines = (cut.points_m, cut.loop_start, cut.layer_start)
        part = spans(*outlines, **ruling._asdict())
        ties = loop_ties(part, *outlines)
        tied.append(Ties(ties.runs + runs_before, ties.layer + layers_before, ties.wall_m))
        parts.append(part)
        runs_before += len(part.row)
        layers_before += part.layers
        del cut, outlines
    runs = joined_spans(parts)
    del parts
    ties = Ties(*(np.concatenate(of) for of in zip(*tied, strict=True)))
    return _Ruled(runs, ties, connect(runs, thickness_m=layer_nm / NM_PER_M, ties=ties.runs))


def _fine_enough(
    ruled: _Ruled,
    again: Callable[[str], Iterable[Sections]],
    bounds: tuple[float, float, float, float],
    first: int,
    layer_nm: int,
) -> tuple[_Ruled, Counts]:
    """Return a piece on rows fine enough for the walls around its hollows, and the layers where no rows are."""
    leaking = _leaking(ruled, again, first)
    if not len(leaking):
        return ruled, leaking
    pitch_m = finer_pitch(ruled.ties, leaking, ruled.runs.pitch_m)
    ruling = row_pitch(bounds, finest_m=pitch_m)
    if len(ruled.runs.row) * ruled.runs.pitch_m / ruling.pitch_m > MOST_RUNS or ruling.pitch_m >= ruled.runs.pitch_m:
        return ruled, leaking
    ruled = _ruled(again("regions"), ruling, layer_nm)
    return ruled, _leaking(ruled, again, first)


def _leaking(ruled: _Ruled, again: Callable[[str], Iterable[Sections]], first: int) -> Counts:
    if not len(ruled.ties.layer):
        return np.zeros(0, dtype=np.int64)
    found = []
    for cut in again("regions"):
        begin = cut.first - first
        regions, runs = ruled.regions, ruled.runs
        if begin > 0 or cut.count < runs.layers:
            regions, runs = of_layers(regions, runs, begin, begin + cut.count)
        found.append(leaks(runs, regions, cut.points_m, cut.loop_start, cut.layer_start) + begin)
        del cut
    return np.concatenate(found)


def _found(kind: _Kind, runs: Spans, regions: Regions, torsion_m4: Floats) -> _Piece:
    islands = np.diff(regions.island_start)
    sealed, vented = torsion_m4
    return _Piece(kind, runs, sealed, vented, islands, _fresh(regions), _pockets(regions), island_graph(regions))


class _Told:
    """Passes on how many layers are done."""

    def __init__(self, step: Step, first: int, last: int) -> None:
        self._step, self._first, self._total = step, first, last - first

    def __call__(self, what: str, layer: int) -> None:
        self._step(what, layer - self._first, self._total)

    def solves(self, done: int, total: int) -> None:
        """Pass on how many solves are done."""
        self._step("torsion", done, total)


def _block_torsion(cut: Sections, runs: Spans, regions: Regions, first: int, told: _Told) -> Floats:
    """Return the torsion constants of a block of layers with pockets sealed, and with all of them vented, (2, n) [m4]."""
    begin = cut.first - first
    if begin > 0 or cut.count < runs.layers:
        regions, runs = of_layers(regions, runs, begin, begin + cut.count)
    outlines = (cut.points_m, cut.loop_start, cut.layer_start)
    sealed = layer_torsion(*outlines, spans=runs, regions=regions, told=told.solves).layer_torsion_m4
    vented = sealed.copy()
    if (span := _sealed_layers(regions)) is not None:
        regions, runs = of_layers(regions, runs, *span)
        vented[slice(*span)] = layer_torsion(
            *_of_layers(cut, *span), spans=runs, regions=all_vented(regions), told=told.solves
        ).layer_torsion_m4
    return np.vstack((sealed, vented))


def _sealed_layers(regions: Regions) -> tuple[int, int] | None:
    """Return the first layer with a sealed hole and one past the last; None where there is none."""
    layer = np.repeat(np.arange(len(regions.hole_start) - 1), np.diff(regions.hole_start))[regions.hole_sealed]
    return (int(layer[0]), int(layer[-1]) + 1) if len(layer) else None


def _of_layers(cut: Sections, first: int, last: int) -> tuple[Floats, Counts, Counts]:
    """Return the outlines of some of the layers: points, where loops start, where layers start."""
    begin, end = cut.layer_start[first], cut.layer_start[last]
    return cut.points_m, cut.loop_start[begin : end + 1], cut.layer_start[first : last + 1] - begin


def _joined(
    pieces: Sequence[_Piece],
    stack: _Stack,
    *,
    bounds_m: Floats,
    area: Floats,
    perimeter: Floats,
    open_layers: Counts,
    closed: bool,
    notes: tuple[str, ...],
    base: tuple[Floats, ...],
    widest: tuple[Floats, ...],
) -> PartLayers:
    """Everything that follows from the layers of the pieces, given exact areas and perimeters of all together."""
    by_layer = {name: np.zeros(stack.layers) for name in ("by_rows", "overlap", "torsion", "vented")}
    islands = np.zeros(stack.layers, dtype=np.int64)
    standing, fresh, pockets = [], [np.zeros((0, 4))], [np.zeros((0, 5))]
    for piece in pieces:
        for shift, up in zip(piece.kind.shift_m, piece.kind.up, strict=True):
            first = piece.kind.first + up
            here = slice(first, first + piece.runs.layers)
            by_layer["by_rows"][here] += piece.runs.area_m2
            by_layer["overlap"][here] += piece.runs.overlap_area_m2
            by_layer["torsion"][here] += piece.torsion_m4
            by_layer["vented"][here] += piece.vented_m4
            islands[here] += piece.islands
            standing.append(Standing(piece.runs, shift, first, piece.graph))
            fresh.append(piece.fresh + np.array((first, *shift, 0.0)))
            pockets.append(piece.pockets + np.array((first, first, 0.0, 0.0, 0.0)))
    pitch_m = max(piece.runs.pitch_m for piece in pieces)
    union, doubtful = _areas(area, by_layer["by_rows"], by_layer["overlap"], pitch_m, open_layers)
    layer_m = stack.layer_nm / NM_PER_M
    overlap_m3 = float(by_layer["overlap"].sum()) * layer_m
    return PartLayers(
        layer_nm=stack.layer_nm,
        bounds_m=bounds_m,
        volume_m3=float(union.sum()) * layer_m,
        overlap_m3=overlap_m3,
        surface_m2=_surface(perimeter, union, stack.layer_nm),
        area_m2=union,
        perimeter_m=perimeter,
        torsion_m4=by_layer["torsion"],
        vented_m4=by_layer["vented"],
        islands=islands,
        standing=tuple(standing),
        fresh=_by_layer(np.concatenate(fresh)),
        pockets=_by_layer(np.concatenate(pockets)),
        base_loops_m=base,
        outline_loops_m=base + widest,
        closed=closed,
        warnings=notes
        + _told(doubtful, open_layers, overlap_m3, union, stack.layer_nm)
        + _thin(pieces, stack.layer_nm),
    )


def _by_layer(found: Floats) -> Floats:
    return found[np.argsort(found[:, 0], kind="stable")]


class OutlineStack(NamedTuple):
    """Outlines from the bottom up: lowest height [m], upper height of each slice [m], its closed rings (P, 2) [m]."""

    bottom_m: float
    tops_m: tuple[float, ...]
    rings_m: tuple[tuple[Floats, ...], ...]


def layers_of_outlines(stacks: Sequence[OutlineStack], *, layer_nm: int, step: Step) -> PartLayers:
    """Return the layers of parts that come as stacks of outlines, each layer taking the slice at its middle.

    Parameters
    ----------
    stacks : sequence of OutlineStack
        Outer rings counter-clockwise, holes clockwise.
    layer_nm : int
        Layer thickness [nm]; need not be that of the slices.
    step : callable
        Told how far the work is.

    Returns
    -------
    PartLayers
        As for a mesh.

    Raises
    ------
    InputError
        When there is no ring at all.
    """
    bottom_m = min((s.bottom_m for s in stacks), default=0.0)
    top_m = max((s.tops_m[-1] for s in stacks if s.tops_m), default=bottom_m)
    count = layer_count(top_m - bottom_m, layer_nm)
    rings = [_rings_at(stacks, bottom_m + (k + 0.5) * layer_nm / NM_PER_M) for k in range(count)]
    flat = [ring for layer in rings for ring in layer]
    if not flat:
        raise InputError.one("slices", to_say("hold no outline"), to_say("Export the part again"))
    cut = Sections(
        layer_nm=layer_nm,
        bottom_m=bottom_m,
        first=0,
        points_m=np.concatenate(flat),
        loop_start=np.concatenate(([0], np.cumsum([len(r) for r in flat]))).astype(np.int64),
        layer_start=np.concatenate(([0], np.cumsum([len(layer) for layer in rings]))).astype(np.int64),
        loop_open=np.zeros(len(flat), dtype=bool),
    )
    measures = loop_measures(cut)
    layer_of = np.repeat(np.arange(count), np.diff(cut.layer_start))
    low, high = cut.points_m.min(axis=0), cut.points_m.max(axis=0)
    area = np.bincount(layer_of, measures.area_m2, count).astype(np.float64)
    kind = _Kind(np.ones(1, dtype=bool), 0, count, ((0.0, 0.0),), (0,))
    told = _Told(step, 0, count)
    told("regions", 0)
    bounds = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
    ruled = _ruled([cut], row_pitch(bounds), layer_nm)
    (runs, _, regions), leaking = _fine_enough(ruled, lambda _: [cut], bounds, 0, layer_nm)
    found = _found(kind, runs, regions, _block_torsion(cut, runs, regions, 0, told))
    return _joined(
        [found._replace(leaking=leaking)],
        _Stack(layer_nm=layer_nm, bottom_m=bottom_m, layers=count),
        bounds_m=np.array([[*low, bottom_m], [*high, top_m]]),
        area=area,
        perimeter=np.bincount(layer_of, measures.perimeter_m, count).astype(np.float64),
        open_layers=np.zeros(0, dtype=np.int64),
        closed=True,
        notes=(),
        base=_loops(cut, 0),
        widest=_loops(cut, int(np.argmax(area))),
    )


def _rings_at(stacks: Sequence[OutlineStack], height_m: float) -> list[Floats]:
    rings: list[Floats] = []
    for stack in stacks:
        index = bisect_left(stack.tops_m, height_m)
        if stack.bottom_m < height_m and index < len(stack.tops_m):
            rings += stack.rings_m[index]
    return rings


def layers_of_bitmaps(
    masks: Iterable[NDArray[np.bool_]], *, pixel_m: float, layers: int, layer_nm: int, step: Step
) -> PartLayers:
    """Return the layers of a stack of pictures, the first one being the layer on the platform.

    Parameters
    ----------
    masks : iterable of (H, W) ndarray of bool
        True where light shines; row 0 is the far edge of the platform.
    pixel_m : float
        Pixel size [m].
    layers : int
        Pictures.
    layer_nm : int
        Layer thickness [nm].
    step : callable
        Told how far the work is.

    Returns
    -------
    PartLayers
        In a frame whose origin is the middle of the picture.

    Raises
    ------
    InputError
        When every picture is dark.

    Notes
    -----
    Perimeters are counted along pixel edges, which overstates slanting outlines by up to 4/pi.
    """
    perimeter: list[float] = []
    size = [1, 1]

    def watched() -> Iterable[NDArray[np.bool_]]:
        for done, mask in enumerate(masks):
            if done % 50 == 0:
                step("reading layers", done, layers)
            size[:] = mask.shape
            perimeter.append(_edge_length(mask) * pixel_m)
            # Pictures run from the far edge towards the person; the platform's y runs away from the person.
            yield mask[::-1]

    raw = spans_from_bitmaps(watched(), pixel_m=pixel_m)
    height, width = size[0] * pixel_m, size[1] * pixel_m
    runs = evolve(
        raw,
        x0_m=raw.x0_m - width / 2.0,
        x1_m=raw.x1_m - width / 2.0,
        origin_m=(raw.origin_m[0] - width / 2.0, raw.origin_m[1] - height / 2.0),
    )
    regions = connect(runs, thickness_m=layer_nm / NM_PER_M)
    area = runs.area_m2
    if not area.any():
        raise InputError.one(
            "pictures",
            to_say("all {area_count} are dark", area_count=len(area)),
            to_say("Give pictures whose light is white"),
        )
    lines = np.array(perimeter)
    box = regions.box_m
    ends = box[:, :2].min(axis=0), box[:, 2:].max(axis=0)
    return PartLayers(
        layer_nm=layer_nm,
        bounds_m=np.array([[*ends[0], 0.0], [*ends[1], len(area) * layer_nm / NM_PER_M]]),
        volume_m3=float(area.sum()) * layer_nm / NM_PER_M,
        overlap_m3=0.0,
        surface_m2=_surface(lines, area, layer_nm),
        area_m2=area,
        perimeter_m=lines,
        torsion_m4=torsion_from_spans(runs, regions).layer_torsion_m4,
        vented_m4=torsion_from_spans(runs, all_vented(regions)).layer_torsion_m4,
        islands=np.diff(regions.island_start),
        standing=(Standing(runs, graph=island_graph(regions)),),
        fresh=_fresh(regions),
        pockets=_pockets(regions),
        base_loops_m=_boxes(regions, 0),
        outline_loops_m=_boxes(regions, int(np.argmax(area))),
        closed=True,
        warnings=(),
    )


def _areas(exact: Floats, rows: Floats, overlap: Floats, pitch_m: float, open_layers: Counts) -> tuple[Floats, Counts]:
    """Area of the union of every layer, and the layers in which it rests on rows alone though the mesh is closed there."""
    union = exact - overlap
    by_rows = np.zeros(len(exact), dtype=bool)
    by_rows[open_layers] = True
    # Where rows and outlines do not agree on what overlaps, only the rows know which points are solid.
    piled = np.abs(union - rows) > AGREE * rows + pitch_m**2
    piled &= overlap > 0.0
    inverted = (union < 0.0) & ~by_rows
    return np.where(by_rows | piled | inverted, rows, union), np.flatnonzero(inverted)


def _surface(perimeter: Floats, area: Floats, layer_nm: int) -> float:
    """Sides from perimeters, and tops and bottoms from what changes between layers."""
    flats = float(np.abs(np.diff(area, prepend=0.0, append=0.0)).sum())
    return float(perimeter.sum()) * layer_nm / NM_PER_M + flats


def _fresh(regions: Regions) -> Floats:
    layer, x, y, area = regions.fresh_islands
    return np.column_stack((layer.astype(np.float64), x, y, area)) if len(layer) else np.zeros((0, 4))


def _pockets(regions: Regions) -> Floats:
    p = regions.pockets
    if not len(p.first_layer):
        return np.zeros((0, 5))
    kept = p.end == PocketEnd.CLOSED
    return np.column_stack((p.first_layer, p.last_layer, p.volume_m3, p.open_area_m2, kept)).astype(np.float64)


def _loops(cut: Sections, layer: int) -> tuple[Floats, ...]:
    loops = range(cut.layer_start[layer], cut.layer_start[layer + 1])
    return tuple(cut.points_m[cut.loop_start[i] : cut.loop_start[i + 1]].copy() for i in loops)


def _boxes(regions: Regions, layer: int) -> tuple[Floats, ...]:
    boxes = regions.box_m[regions.island_start[layer] : regions.island_start[layer + 1]]
    return tuple(np.array([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]) for x0, y0, x1, y1 in boxes)


def _edge_length(mask: NDArray[np.bool_]) -> float:
    """Length of the outlines of a picture along pixel edges, in pixels."""
    padded = np.pad(mask, 1)
    return float((padded[1:] != padded[:-1]).sum() + (padded[:, 1:] != padded[:, :-1]).sum())


def _told(doubtful: Counts, open_layers: Counts, overlap_m3: float, area: Floats, layer_nm: int) -> tuple[str, ...]:
    told = []
    if len(open_layers):
        told.append(
            to_say(
                "the mesh is open in {count} layers between {first} and {last} ({low:.1f} to {high:.1f} mm): each gap is "
                "closed by a straight line there, so these areas are estimates",
                count=len(open_layers),
                **_ends(int(open_layers[0]), int(open_layers[-1]), layer_nm),
            )
        )
    if len(doubtful):
        told.append(
            to_say(
                "the mesh is inside out in {count} layers from layer {first}",
                count=len(doubtful),
                first=int(doubtful[0]) + 1,
            )
        )
    volume = float(area.sum()) * layer_nm / NM_PER_M
    if overlap_m3 > OVERLAP_TOLD * volume:
        told.append(to_say("shells overlap by {volume:.0f} mm3; it is counted once", volume=overlap_m3 * 1e9))
    return tuple(told)


def _thin(pieces: Sequence[_Piece], layer_nm: int) -> tuple[str, ...]:
    """Return what is said of hollows whose walls no rows could follow."""
    leaking = np.concatenate([piece.leaking for piece in pieces])
    if not len(leaking):
        return ()
    pitch_m = max(piece.runs.pitch_m for piece in pieces if len(piece.leaking))
    where = _between(int(leaking.min()), int(leaking.max()), layer_nm)
    return (
        to_say(
            "walls thinner than {pitch:.2g} mm lie around a hollow {where}: it is taken as open there, so squeeze and suction "
            "come out too low",
            pitch=from_si(pitch_m, "mm"),
            where=where,
        ),
    )


def _between(first: int, last: int, layer_nm: int) -> str:
    return to_say("between layers {first} and {last} ({low:.1f} to {high:.1f} mm)", **_ends(first, last, layer_nm))


def _ends(first: int, last: int, layer_nm: int) -> dict[str, float]:
    mm = layer_nm / 1_000_000
    return {"first": first + 1, "last": last + 1, "low": first * mm, "high": (last + 1) * mm}
