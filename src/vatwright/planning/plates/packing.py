"""Pieces on platforms by their true outlines, turned and nested, with the clearance kept."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import evolve, frozen

from vatwright.geometry.footprint import Floor, Footprint, Room, footprint, turned, whole_cells
from vatwright.planning.demand.base import platform_outline
from vatwright.records.machine import Platform, Window
from vatwright.records.part import CLEARANCE_M, MARGIN_M, Place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

PITCH_M = 0.0005
"""Largest cell of the packing grid [m]: it wastes less than that of each side of a piece."""

COARSE_FROM = 400
"""From so many pieces on the cells may be twice as large."""

TURNS_DEG = (0.0, 90.0, 180.0, 270.0, 45.0, 135.0, 225.0, 315.0)
"""Turns that may be tried [deg]."""

FEWEST_TURNS_DEG = ((0.0,), (0.0, 180.0), (0.0, 90.0, 180.0, 270.0), TURNS_DEG)
"""Turns tried one set after another, each only where it saves a plate [deg]: a piece that stands as drawn is looked at once."""

SHAPING_KINDS = 4
"""So many of the commonest kinds have a say in the size of the cells [-]."""


@frozen(kw_only=True, eq=False)
class PieceKind:
    """One kind of piece.

    Parameters
    ----------
    loops_m : tuple of (P, 2) ndarray
        Its outline from above, about its own origin [m].
    half_turns_only : bool
        True where only half turns can be had: layer pictures and slices.
    """

    loops_m: tuple[Floats, ...]
    half_turns_only: bool = False


@frozen(kw_only=True)
class Packed:
    """One piece on a plate: its kind's index and where it stands."""

    kind: int
    place: Place


@frozen(kw_only=True)
class PackedPlates:
    """Plates of pieces.

    Parameters
    ----------
    plates : tuple of tuple of Packed
        One entry a plate.
    too_large : tuple of int
        Kinds of which not one piece fits.
    """

    plates: tuple[tuple[Packed, ...], ...]
    too_large: tuple[int, ...]


def cell_size(kinds: Sequence[PieceKind], counts: Sequence[int], *, clearance_m: float) -> float:
    """Return the cell in which the boxes of the commonest kinds lose least, no larger than `PITCH_M` (twice for many) [m].

    Parameters
    ----------
    kinds : sequence of Kind
        What there is.
    counts : sequence of int
        How many of each.
    clearance_m : float
        Distance to keep between pieces [m].

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [0.0102, 0.0], [0.0102, 0.0102], [0.0, 0.0102]])
    >>> kind = PieceKind(loops_m=(square,))
    >>> round(cell_size([kind], [9], clearance_m=0.002) * 1e3, 6)  # 12.2 mm are 25 of them
    0.488
    """
    largest = PITCH_M if sum(counts) < COARSE_FROM else 2.0 * PITCH_M
    common = sorted(range(len(kinds)), key=lambda k: (-counts[k], k))[:SHAPING_KINDS]
    boxes = [(counts[k], np.ptp(np.concatenate(kinds[k].loops_m), axis=0) + clearance_m) for k in common]
    # A millionth more than a whole part, so that a side is never one cell and a sliver of rounding.
    fitting = {float(s) * (1.0 + 1e-6) / whole_cells(float(s), largest) for _, box in boxes for s in box}
    return min(sorted({largest, *fitting}, reverse=True), key=lambda pitch: _lost(boxes, pitch))


def _lost(boxes: Sequence[tuple[int, Floats]], pitch_m: float) -> float:
    """Area that boxes take in whole cells [m2], to the square micrometre."""
    taken = sum(n * whole_cells(float(w), pitch_m) * whole_cells(float(d), pitch_m) for n, (w, d) in boxes)
    return round(taken * pitch_m**2, 12)


class PackingBench:
    """Makes each kind's footprints once, when first asked for, and packs platforms with them.

    Parameters
    ----------
    kinds : sequence of Kind
        What there is.
    clearance_m : float
        Distance to keep between pieces [m].
    pitch_m : float
        Cell of the grid [m].
    turns_deg : tuple of float
        Turns that may be tried [deg].
    """

    def __init__(
        self,
        kinds: Sequence[PieceKind],
        *,
        clearance_m: float,
        pitch_m: float = PITCH_M,
        turns_deg: tuple[float, ...] = TURNS_DEG,
    ) -> None:
        self.kinds, self.clearance_m, self.pitch_m, self.turns_deg = tuple(kinds), clearance_m, pitch_m, turns_deg
        self._made: dict[tuple[int, float], Footprint] = {}

    def footprint(self, kind: int, turn_deg: float) -> Footprint:
        """Return what a piece of a kind covers in one turn."""
        key = (kind, turn_deg)
        if key not in self._made:
            loops = turned(self.kinds[kind].loops_m, turn_deg)
            self._made[key] = footprint(loops, pitch_m=self.pitch_m, clearance_m=self.clearance_m)
        return self._made[key]

    def turns(self, kind: int) -> tuple[float, ...]:
        """Return the turns in which a piece of a kind is tried [deg]."""
        halves = self.kinds[kind].half_turns_only
        return tuple(t for t in self.turns_deg if t % 180.0 == 0.0) if halves else self.turns_deg

    def cells(self, kind: int) -> int:
        """Return how many cells a piece of a kind takes as drawn."""
        return self.footprint(kind, 0.0).cells

    def floor(self, platform: Platform, *, margin_m: float) -> Floor:
        """Return an empty platform."""
        outline, _ = platform_outline(platform)
        return Floor(outline, pitch_m=self.pitch_m, clearance_m=self.clearance_m, margin_m=margin_m)

    def fits(self, kind: int, floor: Floor) -> bool:
        """Return whether a piece of a kind finds room."""
        return self._best(kind, floor, {}) is not None

    def _best(
        self, kind: int, floor: Floor, below: dict[tuple[int, float], int]
    ) -> tuple[float, Footprint, Room] | None:
        """The turn and place whose top stays lowest, then whose right side stays leftmost; notes the row of each turn."""
        best: tuple[float, Footprint, Room] | None = None
        reached: tuple[int, int] = (2**30, 2**30)
        for turn in self.turns(kind):
            piece = self.footprint(kind, turn)
            spot = floor.lowest(piece, below=reached[0], start=below.get((kind, turn), 0))
            if spot is None:
                continue
            below[kind, turn] = spot.row
            top, side = spot.row + piece.rows, spot.column + piece.columns
            if (top, side) < reached:
                best, reached = (turn, piece, spot), (top, side)
        return best

    def _put(self, kind: int, floor: Floor, turn: float, piece: Footprint, spot: Room) -> Packed:
        floor.put(piece, spot)
        x, y = floor.shift_m(piece, spot)
        return Packed(kind=kind, place=Place(x_m=x, y_m=y, turn_deg=turn))

    def fill(self, order: Sequence[int], floor: Floor) -> tuple[list[Packed], list[int]]:
        """Fill a platform with pieces in the order given; return those that stand and those left over.

        A kind that found no room is not tried again: what is taken stays taken, and a kind's next place is no lower.
        """
        stand: list[Packed] = []
        left: list[int] = []
        full: set[int] = set()
        below: dict[tuple[int, float], int] = {}
        for kind in order:
            found = None if kind in full else self._best(kind, floor, below)
            if found is None:
                full.add(kind)
                left.append(kind)
            else:
                stand.append(self._put(kind, floor, *found))
        return stand, left

    def towards_frame(self, stand: Sequence[Packed], floor: Floor, window: Window) -> list[Packed] | None:
        """Return the same pieces as near the frame as they go, where they let go sooner; None where they do not fit so."""
        depth = floor.depth(window.width_m, window.depth_m)
        moved: list[Packed] = []
        for kind in sorted((s.kind for s in stand), key=lambda k: -self.cells(k)):
            best = None
            reached = 2**30
            for turn in self.turns(kind):
                piece = self.footprint(kind, turn)
                spot = floor.nearest_frame(piece, depth)
                if spot is None:
                    continue
                deepest = int(depth[piece.row + spot.row, piece.first + spot.column].max())
                if deepest < reached:
                    best, reached = (turn, piece, spot), deepest
            if best is None:
                return None
            moved.append(self._put(kind, floor, *best))
        return moved

    def centred(self, stand: Sequence[Packed], platform: Platform, *, margin_m: float) -> tuple[Packed, ...]:
        """Return a plate moved so that the box around it has its middle on the platform's, as far as round corners let it."""
        points = [self._points(piece) for piece in stand]
        middle = (
            np.min([p.min(axis=0) for p in points], axis=0) + np.max([p.max(axis=0) for p in points], axis=0)
        ) / 2.0
        steps = (middle * share for share in (1.0, 0.75, 0.5, 0.25))
        fits = (s for s in steps if all(clear_of_edge(p - s, platform, margin_m=margin_m) for p in points))
        x, y = next(fits, np.zeros(2))
        return tuple(
            Packed(kind=p.kind, place=evolve(p.place, x_m=p.place.x_m - float(x), y_m=p.place.y_m - float(y)))
            for p in stand
        )

    def _points(self, piece: Packed) -> Floats:
        """The corners of a piece where it stands."""
        loops = turned(self.kinds[piece.kind].loops_m, piece.place.turn_deg)
        return np.asarray(np.concatenate(loops) + np.array((piece.place.x_m, piece.place.y_m)))

    def alone(self, kind: int, platform: Platform, *, margin_m: float) -> Packed | None:
        """Return a piece alone in the middle, where it fits to the last hair; None where no turn makes it fit."""
        for turn in self.turns(kind):
            points = self._points(Packed(kind=kind, place=Place(turn_deg=turn)))
            middle = (points.min(axis=0) + points.max(axis=0)) / 2.0
            if clear_of_edge(points - middle, platform, margin_m=margin_m):
                return Packed(kind=kind, place=Place(x_m=-float(middle[0]), y_m=-float(middle[1]), turn_deg=turn))
        return None


def clear_of_edge(points_m: Floats, platform: Platform, *, margin_m: float) -> bool:
    """Return whether points lie on a platform, at least a margin from its edge (to a thousandth of a micrometre)."""
    outline, _ = platform_outline(platform)
    along = np.roll(outline, -1, axis=0) - outline
    length = np.hypot(*along.T)
    outline, along = outline[length > 0.0], along[length > 0.0] / length[length > 0.0, None]
    x, y = points_m.T
    # The platform has no hollow: the nearest of the lines along its sides is the nearest of its edge.
    depth = along[:, :1] * (y - outline[:, 1:]) - along[:, 1:] * (x - outline[:, :1])
    return bool(depth.min() >= margin_m - 1e-9)


def pack(
    kinds: Sequence[PieceKind],
    counts: Sequence[int],
    platform: Platform,
    *,
    clearance_m: float = CLEARANCE_M,
    margin_m: float = MARGIN_M,
    pitch_m: float | None = None,
) -> PackedPlates:
    """Return the fewest plates of a platform that were found to take all pieces, each plate in the platform's middle.

    Parameters
    ----------
    kinds : sequence of Kind
        What there is.
    counts : sequence of int
        How many of each.
    platform : Platform
        Where they go.
    clearance_m, margin_m : float
        Distance to keep between pieces and to the platform's edge [m].
    pitch_m : float or None
        Cell of the grid; None takes the one in which the commonest kinds lose least [m].

    Returns
    -------
    PackedPlates
        Every piece that fits appears exactly once; no two are nearer than the clearance.

    Notes
    -----
    Bottom-left with the lowest top first, in order of falling area (Baker, Coffman and Rivest 1980 for the rule; here on
    outlines).  More turns are used only where they save a plate.  Good, not optimal.

    Examples
    --------
    >>> square = np.array([[-0.01, -0.01], [0.01, -0.01], [0.01, 0.01], [-0.01, 0.01]])
    >>> packed = pack([PieceKind(loops_m=(square,))], [9], Platform(width_m=0.08, depth_m=0.06))
    >>> [len(p) for p in packed.plates]
    [6, 3]

    References
    ----------
    Baker, Coffman and Rivest, SIAM J. Comput. 9 (1980) 846-855. [baker:1980]
    """
    pitch = pitch_m or cell_size(kinds, counts, clearance_m=clearance_m)
    bench = PackingBench(kinds, clearance_m=clearance_m, pitch_m=pitch)
    empty = bench.floor(platform, margin_m=margin_m)
    fitting = [k for k in range(len(kinds)) if bench.fits(k, empty)]
    order = [k for k in sorted(fitting, key=lambda k: (-bench.cells(k), k)) for _ in range(counts[k])]
    singly = {k: bench.alone(k, platform, margin_m=margin_m) for k in range(len(kinds)) if k not in fitting}
    plates = [bench.centred(stand, platform, margin_m=margin_m) for stand in _fewest(bench, order, empty)]
    plates += [(piece,) for k, piece in singly.items() if piece is not None for _ in range(counts[k])]
    too_large = tuple(k for k, piece in singly.items() if piece is None and counts[k] > 0)
    return PackedPlates(plates=tuple(plates), too_large=too_large)


def pieces_on(
    platform: Platform, kind: PieceKind, *, clearance_m: float = CLEARANCE_M, margin_m: float = MARGIN_M
) -> int:
    """Return how many pieces of a kind were found to stand on one platform.

    Parameters
    ----------
    platform : Platform
        Where they go.
    kind : Kind
        What stands there.
    clearance_m, margin_m : float
        Distance to keep between pieces and to the platform's edge [m].

    Returns
    -------
    int
        The most of any set of turns that :func:`pack` tries; 0 where not one fits.

    Examples
    --------
    >>> square = np.array([[-0.01, -0.01], [0.01, -0.01], [0.01, 0.01], [-0.01, 0.01]])
    >>> pieces_on(Platform(width_m=0.08, depth_m=0.06), PieceKind(loops_m=(square,)))
    6
    """
    width_m, depth_m = np.ptp(np.concatenate(kind.loops_m), axis=0) + clearance_m
    about = max(int(platform.width_m * platform.depth_m / (width_m * depth_m)), 1)
    pitch = cell_size([kind], [about], clearance_m=clearance_m)
    bench = PackingBench([kind], clearance_m=clearance_m, pitch_m=pitch)
    empty = bench.floor(platform, margin_m=margin_m)
    order, most = [0] * max(empty.free // max(bench.cells(0), 1), 1), 0
    for turns in FEWEST_TURNS_DEG:
        bench.turns_deg = turns
        most = max(most, len(bench.fill(order, empty.copy())[0]))
    return most or int(bench.alone(0, platform, margin_m=margin_m) is not None)


def _fewest(bench: PackingBench, order: Sequence[int], empty: Floor) -> list[list[Packed]]:
    """The plates of the first set of turns that needs no more of them than any other, nor than the area they take."""
    least = math.ceil(sum(bench.cells(k) for k in order) / empty.free) if order else 0
    best: list[list[Packed]] | None = None
    for turns in FEWEST_TURNS_DEG:
        bench.turns_deg = turns
        found = _plates(bench, order, empty, None if best is None else len(best))
        if found is not None:
            best = found
        if best is not None and len(best) <= least:
            break
    return best or []


def _plates(bench: PackingBench, order: Sequence[int], empty: Floor, under: int | None) -> list[list[Packed]] | None:
    """Plates filled one after another; None where a piece finds no room, or where they are not fewer than `under`."""
    plates: list[list[Packed]] = []
    left = list(order)
    while left:
        stand, left = bench.fill(left, empty.copy())
        plates.append(stand)
        if not stand or (under is not None and len(plates) + bool(left) >= under):
            return None
    return plates
