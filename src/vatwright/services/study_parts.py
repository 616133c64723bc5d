"""Study a plate of parts: read them, lay them out, look at every layer."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, TypeVar

import numpy as np
from attrs import evolve, frozen

from vatwright.errors import InputError, Mistake
from vatwright.geometry.load_path import island_fronts
from vatwright.geometry.mesh import Mesh, merge_triangles
from vatwright.geometry.part_layers import (
    PartLayers,
    half_turned,
    layers_of_bitmaps,
    layers_of_mesh,
    layers_of_outlines,
)
from vatwright.geometry.plate_release import Placed, plate_release
from vatwright.geometry.reach import add_span
from vatwright.kept_answers import KeptAnswers, fingerprint
from vatwright.planning.plates.packing import PackedPlates, PieceKind, cell_size, pack
from vatwright.records.machine import Backing, Machine, Platform
from vatwright.records.part import CLEARANCE_M, PartUse, Place
from vatwright.records.progress import Progress, silent
from vatwright.records.study import FreshIsland, Hanging, PlacedOutline, Reach, SealedPocket, Study
from vatwright.services.does_not_fit import too_large, too_tall
from vatwright.services.ports import PartGeometry, PartReader, StudyMemory
from vatwright.units import to_si
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.bowed_film import BowedLayers
    from vatwright.geometry.spans import Spans

    Floats = NDArray[np.float64]

T = TypeVar("T")

REACH_STEP_M = 0.001
"""Width of the distance bins in a window [m]: finer than any rise can be set for."""

LARGEST_PART_M = 2.0
"""A part longer than this has the wrong unit [m]: twice the largest platform a shop file may state."""

MOST_LAYERS = 50_000
"""More layers than any run has: 500 mm at 0.01 mm. Each costs about 100 kB while it is worked out; our own choice."""

TURN_STEP_DEG = 1e-6

TURN_LOOKED_DEG = 1.0
"""Step of the turns in which a part is held against a platform before it is studied [deg]."""

MOST_CELLS = 2000
"""Cells along the side of a platform that is made as large as the pieces need [-]: they are coarser on a large one."""


@frozen(kw_only=True, eq=False)
class _Piece:
    """One piece where it stands: its layers, in a frame turned as it stands, its shift, and whether somebody put it there."""

    name: str
    layers: PartLayers
    shift_m: tuple[float, float]
    by_hand: bool


def sealed_pockets(layers: PartLayers) -> list[SealedPocket]:
    """Return the sealed pockets of a part."""
    return [SealedPocket(int(a), int(b), float(v), float(m), bool(k)) for a, b, v, m, k in layers.pockets]


def reader_of(mesh: Mesh) -> PartReader:
    """Return a reader that has this mesh for whatever part it is asked for: a part as it would stand otherwise."""

    def read(part: PartUse, *, layer_nm: int) -> PartGeometry:  # noqa: ARG001 - the shape of every reader
        return PartGeometry(name=part.name, mesh=mesh)

    return read


class PartBench:
    """Reads and studies each part once, however many pieces and plates there are of it.

    Parameters
    ----------
    read : PartReader
        Reads part files.
    layer_nm : int
        Layer thickness [nm].
    progress : Progress
        Told how far the work is.
    memory : StudyMemory or None
        What remembers studies from run to run.
    """

    def __init__(
        self, read: PartReader, *, layer_nm: int, progress: Progress = silent, memory: StudyMemory | None = None
    ) -> None:
        self._read = read
        self._layer_nm = layer_nm
        self._progress = progress
        self._memory = memory
        self._geometry: dict[tuple[str, str | None, float | None], PartGeometry] = {}
        self._layers: dict[tuple[str, str | None, float | None, float], PartLayers] = {}
        self._kinds: dict[tuple[str, str | None, float | None], PieceKind] = {}

    def layers(self, part: PartUse, *, turn_deg: float = 0.0) -> PartLayers:
        """Return the layers of a part turned about the vertical."""
        turn = round(turn_deg % 360.0 / TURN_STEP_DEG) * TURN_STEP_DEG
        key = (part.file, part.unit, part.pixel_m, turn)
        if key not in self._layers:
            half = turn >= 180.0
            self._layers[key] = (
                half_turned(self.layers(part, turn_deg=turn - 180.0)) if half else self._study(part, turn)
            )
        return self._layers[key]

    def knows(self, part: PartUse) -> bool:
        """Return whether a part's study is at hand, here or from an earlier run."""
        key = (part.file, part.unit, part.pixel_m, 0.0)
        if key not in self._layers and self._memory is not None:
            found = self._memory.recall(part, layer_nm=self._layer_nm, turn_deg=0.0)
            if found is not None:
                self._layers[key] = _with_name(part, found)
        return key in self._layers

    def contents(self, parts: Sequence[PartUse]) -> list[str] | None:
        """Return what tells the contents of parts' files apart; None where something is not told by its file alone."""
        found = [self._memory.content_of(part.file) if self._memory else None for part in parts]
        told = [content for content in found if content is not None]
        return [str(self._layer_nm), *told] if len(told) == len(found) else None

    def mesh_or_none(self, part: PartUse) -> Mesh | None:
        """Return the mesh of a part; None for slices and layer pictures."""
        return self._geometry_of(part).mesh

    def kind(self, part: PartUse) -> PieceKind:
        """Return a part as the packer knows it."""
        key = (part.file, part.unit, part.pixel_m)
        if key not in self._kinds:
            self._kinds[key] = PieceKind(loops_m=self.layers(part).shadow_m, half_turns_only=part.pixel_m is not None)
        return self._kinds[key]

    def turns_freely(self, part: PartUse) -> bool:
        """Return whether a part can be had in any turn; slices and layer pictures only in half turns."""
        return self._geometry_of(part).mesh is not None

    def mesh(self, part: PartUse, *, turn_deg: float = 0.0) -> Mesh:
        """Return the mesh of a part turned about the vertical."""
        mesh = self._geometry_of(part).mesh
        if mesh is None:
            raise InputError.one(
                part.where or part.file,
                to_say("slices and layer pictures have no mesh"),
                to_say("Use a mesh file here"),
            )
        return _turned(mesh, turn_deg)

    def _geometry_of(self, part: PartUse) -> PartGeometry:
        key = (part.file, part.unit, part.pixel_m)
        if key not in self._geometry:
            self._progress(to_say("reading {name}", name=part.name), 0, 1)
            read = self._read(part, layer_nm=self._layer_nm)
            if read.corners_m is not None:
                self._progress(to_say("{name}: joining triangles", name=part.name), 0, 1)
                # The mesh says the same in a quarter of the memory.
                read = evolve(read, mesh=merge_triangles(read.corners_m), corners_m=None)
            self._geometry[key] = read
        return self._geometry[key]

    def _study(self, part: PartUse, turn_deg: float) -> PartLayers:
        memory, layer_nm = self._memory, self._layer_nm
        found = memory.recall(part, layer_nm=layer_nm, turn_deg=turn_deg) if memory else None
        if found is None:
            found = self._new_study(part, turn_deg)
            if memory:
                memory.keep(part, found, layer_nm=layer_nm, turn_deg=turn_deg)
        return _with_name(part, found)

    def _new_study(self, part: PartUse, turn_deg: float) -> PartLayers:
        said = self._geometry_of(part).warnings
        try:
            found = self._layers_of(part, turn_deg)
        except InputError as problem:
            place = part.where or part.file
            raise InputError([m._replace(where=f"{place}: {m.where}") for m in problem.mistakes]) from problem
        _require_numbers(part, found)
        return evolve(found, warnings=(*said, *found.warnings))

    def _layers_of(self, part: PartUse, turn_deg: float) -> PartLayers:
        def step(what: str, done: int, total: int) -> None:
            self._progress(f"{part.name}: {what}", done, total)

        geometry = self._geometry_of(part)
        if geometry.mesh is not None:
            _require_bench_size(geometry.mesh, self._layer_nm)
            return layers_of_mesh(self.mesh(part, turn_deg=turn_deg), layer_nm=self._layer_nm, step=step)
        if turn_deg:
            raise InputError.one(
                "turn",
                to_say("slices and layer pictures cannot be turned"),
                to_say("Leave out the turn, or turn it by 180 degrees"),
            )
        if geometry.masks is None:
            return layers_of_outlines(geometry.outlines, layer_nm=self._layer_nm, step=step)
        return layers_of_bitmaps(
            geometry.masks, pixel_m=geometry.pixel_m, layers=geometry.layers, layer_nm=self._layer_nm, step=step
        )


def _with_name(part: PartUse, found: PartLayers) -> PartLayers:
    """Return a study whose warnings say which part they are about."""
    return evolve(found, warnings=tuple(to_say("{part}: {what}", part=part.name, what=text) for text in found.warnings))


def _require_numbers(part: PartUse, found: PartLayers) -> None:
    """Refuse a study with a number that is none, by file and layer: everything after it would be worthless."""
    for name, values in (
        ("torsion", found.torsion_m4),
        ("torsion", found.vented_m4),
        ("area", found.area_m2),
        ("perimeter", found.perimeter_m),
    ):
        if (bad := np.flatnonzero(~np.isfinite(values))).size:
            what = to_say(
                "the {name} of layer {bad} cannot be worked out ({size} such layers)",
                name=name,
                bad=bad[0],
                size=bad.size,
            )
            raise InputError.one(
                part.where or part.file, what, to_say("The mesh is open or crosses itself there: mend it")
            )


def _require_layers(height_m: float, layer_nm: int) -> None:
    """Refuse more layers than a run has, before they fill the memory."""
    layers = height_m / to_si(layer_nm, "nm")
    if layers > MOST_LAYERS:
        what = to_say(
            "it would have {layers:,.0f} layers, at most {most_layers:,} are worked out",
            layers=layers,
            most_layers=MOST_LAYERS,
        )
        raise InputError.one("layer_mm", what, to_say("Take thicker layers, or check the part's unit"))


def _require_bench_size(mesh: Mesh, layer_nm: int) -> None:
    """Refuse what no bench has before minutes go into studying it."""
    if not len(mesh.faces):
        return
    size = mesh.bounds_m[1] - mesh.bounds_m[0]
    if float(size.max()) > LARGEST_PART_M:
        told = " x ".join(f"{side * 1000:.0f}" for side in size)
        raise InputError.one(
            "size",
            to_say("it is {told} mm, larger than any machine", told=told),
            to_say("Check the unit it is drawn in"),
        )
    _require_layers(float(size[2]), layer_nm)


def _turned(mesh: Mesh, turn_deg: float) -> Mesh:
    quarter = round(turn_deg / 90.0)
    if abs(turn_deg - 90.0 * quarter) < TURN_STEP_DEG:
        # Whole quarter turns are exact: no rounding may open a mesh or shift a facet off its plane.
        cos, sin = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[quarter % 4]
    else:
        cos, sin = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    if cos == 1.0:
        return mesh
    x, y, z = mesh.vertices_m.T
    return evolve(mesh, vertices_m=np.column_stack((cos * x - sin * y, sin * x + cos * y, z)))


@frozen(kw_only=True)
class PlatePlan:
    """All pieces of a job on one machine.

    Parameters
    ----------
    study : Study
        The first and fullest plate.
    layers : tuple of int
        Layers of every plate.
    parts : tuple of tuple of PartUse
        What stands on every plate, one entry a piece.
    """

    study: Study
    layers: tuple[int, ...]
    parts: tuple[tuple[PartUse, ...], ...]


def study_plate(parts: Sequence[PartUse], bench: PartBench, *, machine: Machine | None) -> PlatePlan:
    """Return the study of the plates that hold `parts`.

    Parameters
    ----------
    parts : sequence of PartUse
        What to print.
    bench : PartBench
        Reads and studies parts; keeps what it has seen.
    machine : Machine or None
        Whose platform and window; without one the pieces stand in rows on a platform as large as they need.

    Returns
    -------
    PlatePlan
        Every piece counted once.

    Raises
    ------
    InputError
        When a file cannot be used or a piece does not fit, all of them at once.
    """
    parts = tuple(parts)
    laid = _kept(_studied, parts, bench, machine, lambda: _laid_out(parts, bench, machine))
    return PlatePlan(study=laid.study, layers=laid.layers, parts=tuple(tuple(parts[k] for k in p) for p in laid.pieces))


def plate_layers(parts: Sequence[PartUse], bench: PartBench, *, machine: Machine) -> tuple[int, ...]:
    """Return the layers of each plate that `parts` need on a machine; empty where some piece does not fit it."""
    try:
        return _kept(_counted, parts, bench, machine, lambda: _layers_of(_plates(parts, bench, machine), bench))
    except InputError:
        return ()


class _Laid(NamedTuple):
    """Plates laid out: the study of the fullest, the layers of each, and by its number in the job what stands on each."""

    study: Study
    layers: tuple[int, ...]
    pieces: tuple[tuple[int, ...], ...]


_studied = KeptAnswers(room=8)
"""The plates laid out last, some ten megabytes each: the same parts on a like machine stand, squeeze and peel alike."""

_counted = KeptAnswers(room=64)
"""Layers of the plates that parts last asked for would take."""


def _kept(
    answers: KeptAnswers, parts: Sequence[PartUse], bench: PartBench, machine: Machine | None, work_out: Callable[[], T]
) -> T:
    """The answer for the same files laid out alike on the same platform, wherever they are; worked out where not told apart."""
    contents = bench.contents(parts)
    if contents is None:
        return work_out()
    used = [evolve(part, file=Path(part.file).name, where="") for part in parts]
    place = machine and (machine.platform, machine.window, machine.height_m, machine.film.backing)
    return answers.answer(fingerprint(contents, used, place), work_out)


def _laid_out(parts: Sequence[PartUse], bench: PartBench, machine: Machine | None) -> _Laid:
    plates = _plates(parts, bench, machine)
    number = {id(part): k for k, part in enumerate(parts)}
    return _Laid(
        study=_joined([_piece(part, place, bench) for part, place in plates[0]], machine),
        layers=_layers_of(plates, bench),
        pieces=tuple(tuple(number[id(part)] for part, _ in plate) for plate in plates),
    )


Plate = list[tuple[PartUse, Place]]


def _layers_of(plates: Sequence[Plate], bench: PartBench) -> tuple[int, ...]:
    return tuple(max(bench.layers(part).layers for part, _ in plate) for plate in plates)


def _plates(parts: Sequence[PartUse], bench: PartBench, machine: Machine | None) -> list[Plate]:
    """The plates, the fullest first; turning a piece changes none of what they are ordered by."""
    mistakes: list[Mistake] = _never_fitting(parts, bench, machine)
    if mistakes:
        raise InputError(mistakes)
    sized: list[tuple[PartUse, PartLayers]] = []
    for part in parts:
        try:
            sized.append((part, bench.layers(part)))
        except InputError as problem:
            mistakes += problem.mistakes
    if mistakes:
        raise InputError(mistakes)
    placed = [(part, place) for part, _ in sized for place in part.places or ((Place(),) if part.as_drawn else ())]
    free = [part for part, _ in sized if not (part.places or part.as_drawn)]
    mistakes += _too_tall(sized, machine) + _outside([_piece(*p, bench) for p in placed], machine)
    plates = [placed] if placed else []
    if free:
        packed = _packed(free, bench, machine)
        mistakes += [_too_large(free[k], bench, machine) for k in packed.too_large if machine is not None]
        # Pieces with a place of their own share the first plate with nothing else: who placed them left that room free.
        plates += [[(free[p.kind], p.place) for p in plate] for plate in packed.plates]
    if mistakes:
        raise InputError(mistakes)
    fullness = {id(part): float(layers.torsion_m4.max(initial=0.0)) for part, layers in sized}
    plates.sort(key=lambda plate: -sum(fullness[id(part)] for part, _ in plate))
    return plates


def _never_fitting(parts: Sequence[PartUse], bench: PartBench, machine: Machine | None) -> list[Mistake]:
    """Return what fits a machine in no turn, by its mesh alone, before minutes go into studying it."""
    if machine is None:
        return []
    unread: list[Mistake] = []
    meshes: list[tuple[PartUse, Mesh]] = []
    for part in parts:
        try:
            mesh = None if bench.knows(part) else bench.mesh_or_none(part)
        except InputError as problem:
            unread += problem.mistakes
            continue
        if mesh is not None and len(mesh.faces):
            meshes.append((part, mesh))
    tall = [(p, h) for p, mesh in meshes if (h := float(np.ptp(mesh.bounds_m[:, 2]))) > machine.height_m]
    placed = [(p, mesh, place) for p, mesh in meshes for place in p.places or ((Place(),) if p.as_drawn else ())]
    large = [
        (p, m) for p, m in meshes if not (p.places or p.as_drawn or may_fit(m.vertices_m[:, :2], machine.platform))
    ]
    return [
        *unread,
        *(too_tall(part, height, machine) for part, height in tall),
        *(m for part, mesh, place in placed for m in _beyond(part.name, _box_of(mesh, place), machine)),
        *(too_large(part, np.ptp(mesh.bounds_m, axis=0), machine) for part, mesh in large),
    ]


def _box_of(mesh: Mesh, place: Place) -> Floats:
    """Return the box (2, 2) of a mesh where it is placed [m]."""
    box: Floats = _turned(mesh, place.turn_deg).bounds_m[:, :2] + (place.x_m, place.y_m)
    return box


def may_fit(points_m: Floats, platform: Platform) -> bool:
    """Return whether points (N, 2) [m] can lie within a platform in some turn.

    Every degree is looked at, and a turn between two counts as possible where it might be: between them a side changes by
    at most the points' diameter times the sine of half a degree.

    Examples
    --------
    >>> square = np.array([(0.0, 0.0), (0.1, 0.0), (0.1, 0.1), (0.0, 0.1)])
    >>> may_fit(square, Platform(width_m=0.12, depth_m=0.11)), may_fit(square, Platform(width_m=0.2, depth_m=0.09))
    (True, False)
    """
    angles = np.radians(np.arange(0.0, 180.0, TURN_LOOKED_DEG))
    ways = np.array([np.cos(angles), np.sin(angles)])
    slack = math.sin(math.radians(TURN_LOOKED_DEG / 2.0)) * float(np.hypot(*np.ptp(points_m, axis=0)))
    across = np.array([np.ptp(points_m @ way) for way in ways.T]) - slack
    along = np.roll(across, len(angles) // 2)
    return bool(((across <= platform.width_m) & (along <= platform.depth_m)).any())


def _piece(part: PartUse, place: Place, bench: PartBench) -> _Piece:
    layers = bench.layers(part, turn_deg=place.turn_deg)
    by_hand = bool(part.places) or part.as_drawn
    return _Piece(name=part.name, layers=layers, shift_m=(place.x_m, place.y_m), by_hand=by_hand)


def _packed(free: Sequence[PartUse], bench: PartBench, machine: Machine | None) -> PackedPlates:
    """Pieces that nobody placed on as few plates as are found; what cannot be turned at will stands as it can."""
    kinds, counts = [bench.kind(part) for part in free], [part.count for part in free]
    while True:
        found = pack(kinds, counts, machine.platform) if machine else _on_one_plate(kinds, counts)
        turned = {p.kind for plate in found.plates for p in plate if p.place.turn_deg % 180.0}
        stiff = {k for k in turned if not kinds[k].half_turns_only and not bench.turns_freely(free[k])}
        if not stiff:
            return found
        kinds = [evolve(kind, half_turns_only=True) if k in stiff else kind for k, kind in enumerate(kinds)]


def _on_one_plate(kinds: Sequence[PieceKind], counts: Sequence[int]) -> PackedPlates:
    """All pieces on a platform as large as they need."""
    boxes = [np.ptp(np.concatenate(kind.loops_m), axis=0) + 2.0 * CLEARANCE_M for kind in kinds]
    area_m2 = sum(float(w * d) * n for (w, d), n in zip(boxes, counts, strict=True))
    side_m = max(1.25 * math.sqrt(area_m2), 2.0 * float(np.max(boxes)))
    while True:
        pitch_m = max(cell_size(kinds, counts, clearance_m=CLEARANCE_M), side_m / MOST_CELLS)
        found = pack(kinds, counts, Platform(width_m=side_m, depth_m=side_m), pitch_m=pitch_m)
        if len(found.plates) == 1:
            return found
        side_m *= 1.25


def _too_large(part: PartUse, bench: PartBench, machine: Machine) -> Mistake:
    return too_large(part, np.ptp(bench.layers(part).bounds_m, axis=0), machine)


def _too_tall(sized: Sequence[tuple[PartUse, PartLayers]], machine: Machine | None) -> list[Mistake]:
    if machine is None:
        return []
    mistakes = []
    for part, layers in sized:
        height = float(layers.bounds_m[1, 2] - layers.bounds_m[0, 2])
        if height > machine.height_m:
            mistakes.append(too_tall(part, height, machine))
    return mistakes


def _outside(placed: Sequence[_Piece], machine: Machine | None) -> list[Mistake]:
    if machine is None:
        return []
    boxes = ((p.name, p.layers.bounds_m[:, :2] + p.shift_m) for p in placed)
    return [m for name, box in boxes for m in _beyond(name, box, machine)]


def _beyond(name: str, box: Floats, machine: Machine) -> list[Mistake]:
    """Return that a piece in a box (2, 2) reaches beyond a platform where it stands."""
    low, high = box
    half = np.array([machine.platform.width_m, machine.platform.depth_m]) / 2.0
    over = float(max((high - half).max(), (-half - low).max()))
    if over <= 1e-6:
        return []
    what = to_say(
        "as placed it reaches {over:.1f} mm beyond the platform of {name}", over=over * 1000, name=machine.name
    )
    return [
        Mistake(name, what, to_say("Move it inwards, check its unit, or leave out its place so that it is laid out"))
    ]


def _joined(pieces: Sequence[_Piece], machine: Machine | None) -> Study:
    first = pieces[0].layers
    count = max(p.layers.layers for p in pieces)
    total = {name: np.zeros(count) for name in ("area_m2", "perimeter_m", "torsion_m4")}
    islands = np.zeros(count, dtype=np.int64)
    for piece in pieces:
        n = piece.layers.layers
        for name, values in total.items():
            values[:n] += getattr(piece.layers, name)
        islands[:n] += piece.layers.islands
    reach = None if machine is None else _reach(pieces, machine, count, total["area_m2"], total["perimeter_m"])
    said = dict.fromkeys(text for p in pieces for text in p.layers.warnings)
    return Study(
        layer_nm=first.layer_nm,
        height_m=max(float(p.layers.bounds_m[1, 2] - p.layers.bounds_m[0, 2]) for p in pieces),
        volume_m3=sum(p.layers.volume_m3 for p in pieces),
        islands=islands,
        fresh=_fresh(pieces),
        pockets=tuple(pocket for p in pieces for pocket in sealed_pockets(p.layers)),
        surface_m2=sum(p.layers.surface_m2 for p in pieces),
        closed=all(p.layers.closed for p in pieces),
        overlap_m3=sum(p.layers.overlap_m3 for p in pieces),
        pieces=len(pieces),
        outlines=tuple(PlacedOutline(p.name, _moved(p.layers.outline_loops_m, p.shift_m)) for p in pieces),
        warnings=(*said, *_touching([p for p in pieces if p.by_hand])),
        base_outlines_m=tuple(loop for p in pieces for loop in _moved(p.layers.base_loops_m, p.shift_m)),
        reach=reach,
        hanging=() if machine is None or reach is None else _as_a_layer(_hanging(pieces, machine), reach.front_m),
        bowed=None if machine is None else _bowed(pieces, machine, total["torsion_m4"], total["area_m2"]),
        area_m2=total["area_m2"],
        perimeter_m=total["perimeter_m"],
        torsion_m4=total["torsion_m4"],
    )


def _moved(loops: Sequence[Floats], shift_m: tuple[float, float]) -> tuple[Floats, ...]:
    return tuple(loop + shift_m for loop in loops)


def _fresh(pieces: Sequence[_Piece]) -> tuple[FreshIsland, ...]:
    return tuple(
        FreshIsland(int(layer), float(x) + p.shift_m[0], float(y) + p.shift_m[1], float(area))
        for p in pieces
        for layer, x, y, area in p.layers.fresh
    )


def _touching(pieces: Sequence[_Piece]) -> tuple[str, ...]:
    """Pieces placed by hand whose rectangles overlap: their common area would be counted twice."""
    boxes = np.array([p.layers.bounds_m[:, :2] + p.shift_m for p in pieces]).reshape(-1, 2, 2)
    low, high = boxes[:, 0], boxes[:, 1] - 1e-9
    meet = ((low[:, None] < high) & (low < high[:, None])).all(axis=2)
    told = dict.fromkeys(
        to_say(
            "{name} and {name_2} stand in each other's rectangle: where they overlap, area counts twice",
            name=pieces[i].name,
            name_2=pieces[j].name,
        )
        for i, j in zip(*np.nonzero(np.triu(meet, 1)), strict=True)
    )
    return tuple(told)[:5]


def _hanging(pieces: Sequence[_Piece], machine: Machine) -> tuple[Hanging, ...]:
    window = (machine.window.width_m, machine.window.depth_m)
    found = []
    for piece in pieces:
        for stack in piece.layers.standing:
            if stack.graph is None:
                continue
            shift = (piece.shift_m[0] + stack.shift_m[0], piece.shift_m[1] + stack.shift_m[1])
            front = island_fronts(stack.runs, stack.graph, offset_m=shift, window_m=window, step_m=REACH_STEP_M)
            found.append(
                Hanging(part=piece.name, first_layer=stack.first_layer, shift_m=shift, graph=stack.graph, front_m=front)
            )
    return tuple(found)


def _as_a_layer(hanging: tuple[Hanging, ...], front_m: Floats) -> tuple[Hanging, ...]:
    """Let the islands of each layer pull together at least as hard as the film pulls on the layer as a whole."""
    total = np.zeros(len(front_m))
    for h in hanging:
        total[h.first_layer : h.first_layer + h.graph.layers] += np.bincount(
            h.graph.island_layer, h.front_m, h.graph.layers
        )
    more = np.maximum(front_m / np.where(total > 0.0, total, np.inf), 1.0)
    return tuple(evolve(h, front_m=h.front_m * more[h.first_layer + h.graph.island_layer]) for h in hanging)


def _bowed(pieces: Sequence[_Piece], machine: Machine, torsion_m4: Floats, area_m2: Floats) -> BowedLayers | None:
    if machine.film.backing is Backing.GLASS or not len(torsion_m4):
        return None
    from vatwright.geometry.film_law import alike_layers, bowed_layers  # a solver that only a film that gives needs
    from vatwright.planning.demand.base import platform_outline

    stacks = [
        (s, (p.shift_m[0] + s.shift_m[0], p.shift_m[1] + s.shift_m[1])) for p in pieces for s in p.layers.standing
    ]

    def layer_runs(n: int) -> list[tuple[Spans, int, tuple[float, float]]]:
        within = ((s, shift) for s, shift in stacks if 0 <= n - s.first_layer < s.runs.layers)
        return [(s.runs, n - s.first_layer, shift) for s, shift in within]

    return bowed_layers(platform_outline(machine.window)[0], alike_layers(torsion_m4, area_m2), layer_runs)


def _reach(pieces: Sequence[_Piece], machine: Machine, count: int, area_m2: Floats, perimeter_m: Floats) -> Reach:
    window = (machine.window.width_m, machine.window.depth_m)
    span = np.zeros(count)
    placed = []
    for piece in pieces:
        for runs, shift_m, first, _ in piece.layers.standing:
            shift = (piece.shift_m[0] + shift_m[0], piece.shift_m[1] + shift_m[1])
            placed.append(Placed(runs, shift, first))
            add_span(
                runs.row, runs.x0_m, runs.x1_m, runs.layer_start,
                first_row_m=runs.origin_m[1] + runs.pitch_m / 2.0, pitch_m=runs.pitch_m, offset_m=shift,
                window_m=window, span_m=span[first : first + runs.layers],
            )  # fmt: skip
    found = plate_release(placed, window_m=window, area_m2=area_m2, perimeter_m=perimeter_m)
    return Reach(
        span_m=span,
        reach_m=found.reach_m,
        front_m=found.front_m,
        peak_layer=found.peak_layer,
        peak_rise_m=found.rise_m,
        peak_pull_m=found.pull_m,
        solved=found.solved,
    )
