"""Pieces on platforms by their true outlines, turned and nested, with the clearance kept."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from attrs import field, frozen, validators

from vatwright.geometry.footprint import Floor, Footprint, Spot, footprint, turned
from vatwright.planning.demand.base import platform_outline
from vatwright.records.machine import Platform, Window
from vatwright.records.part import Place

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

PITCH_M = 0.0005
"""Cell of the packing grid [m]: it wastes up to seven tenths of that around every piece."""

TURNS_DEG = (0.0, 90.0, 180.0, 270.0, 45.0, 135.0, 225.0, 315.0)
"""Turns that are tried [deg]."""


@frozen(kw_only=True, eq=False)
class Kind:
    """One kind of piece.

    Parameters
    ----------
    name : str
        What it is called.
    loops_m : tuple of (P, 2) ndarray
        Its outline from above, about its own origin [m].
    height_m : float
        Its height [m].
    """

    name: str
    loops_m: tuple[Floats, ...]
    height_m: float = field(validator=validators.gt(0.0))


@frozen(kw_only=True)
class Standing:
    """One piece on a plate: its kind's index and where it stands."""

    kind: int
    place: Place


@frozen(kw_only=True)
class Packed:
    """Plates of pieces.

    Parameters
    ----------
    plates : tuple of tuple of Standing
        One entry a plate.
    too_large : tuple of int
        Kinds of which not one piece fits.
    """

    plates: tuple[tuple[Standing, ...], ...]
    too_large: tuple[int, ...]


class PackingBench:
    """Makes each kind's footprints once, and packs platforms with them.

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
        kinds: Sequence[Kind],
        *,
        clearance_m: float,
        pitch_m: float = PITCH_M,
        turns_deg: tuple[float, ...] = TURNS_DEG,
    ) -> None:
        self.kinds, self.clearance_m, self.pitch_m = tuple(kinds), clearance_m, pitch_m
        self.prints = [
            [
                (t, footprint(turned(k.loops_m, t), pitch_m=pitch_m, clearance_m=clearance_m))
                for t in (turns_deg if len(k.loops_m) else ())
            ]
            for k in self.kinds
        ]

    def floor(self, platform: Platform, *, margin_m: float) -> Floor:
        """Return an empty platform."""
        outline, _ = platform_outline(platform)
        return Floor(outline, pitch_m=self.pitch_m, clearance_m=self.clearance_m, margin_m=margin_m)

    def fits(self, kind: int, floor: Floor) -> bool:
        """Return whether a piece of a kind finds room."""
        return self._best(kind, floor) is not None

    def _best(self, kind: int, floor: Floor) -> tuple[float, Footprint, Spot] | None:
        """The turn and place whose top stays lowest, then whose right side stays leftmost."""
        best: tuple[float, Footprint, Spot] | None = None
        reached: tuple[int, int] = (2**30, 2**30)
        for turn, piece in self.prints[kind]:
            spot = floor.lowest(piece, below=reached[0])
            if spot is None:
                continue
            top, side = spot.row + piece.rows, spot.column + piece.columns
            if (top, side) < reached:
                best, reached = (turn, piece, spot), (top, side)
        return best

    def put(self, kind: int, floor: Floor) -> Standing | None:
        """Put a piece of a kind where it finds room, and return where; None where there is none."""
        found = self._best(kind, floor)
        if found is None:
            return None
        turn, piece, spot = found
        return self._standing(kind, floor, turn, piece, spot)

    def _standing(self, kind: int, floor: Floor, turn: float, piece: Footprint, spot: Spot) -> Standing:
        floor.put(piece, spot)
        x, y = floor.shift_m(piece, spot)
        return Standing(kind=kind, place=Place(x_m=x, y_m=y, turn_deg=turn))

    def fill(self, order: Sequence[int], floor: Floor) -> tuple[list[Standing], list[int]]:
        """Fill a platform with pieces in the order given; return those that stand and those left over.

        A kind that found no room is not tried again: what is taken stays taken.
        """
        stand: list[Standing] = []
        left: list[int] = []
        full: set[int] = set()
        for kind in order:
            found = None if kind in full else self.put(kind, floor)
            if found is None:
                full.add(kind)
                left.append(kind)
            else:
                stand.append(found)
        return stand, left

    def towards_frame(self, stand: Sequence[Standing], floor: Floor, window: Window) -> list[Standing] | None:
        """Return the same pieces as near the frame as they go, where they let go sooner; None where they do not fit so."""
        depth = floor.depth(window.width_m, window.depth_m)
        moved: list[Standing] = []
        for kind in sorted((s.kind for s in stand), key=lambda k: -self.prints[k][0][1].cells):
            best = None
            reached = 2**30
            for turn, piece in self.prints[kind]:
                spot = floor.nearest_frame(piece, depth)
                if spot is None:
                    continue
                deepest = int(depth[piece.row + spot.row, piece.first + spot.column].max())
                if deepest < reached:
                    best, reached = (turn, piece, spot), deepest
            if best is None:
                return None
            moved.append(self._standing(kind, floor, *best))
        return moved


def pack(
    kinds: Sequence[Kind],
    counts: Sequence[int],
    platform: Platform,
    *,
    clearance_m: float,
    margin_m: float,
    pitch_m: float = PITCH_M,
    turns_deg: tuple[float, ...] = TURNS_DEG,
) -> Packed:
    """Return plates of a platform that take all pieces, largest first, each in the lowest place it finds.

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
    pitch_m : float
        Cell of the grid [m].
    turns_deg : tuple of float
        Turns that may be tried [deg].

    Returns
    -------
    Packed
        Every piece that fits appears exactly once; no two are nearer than the clearance.

    Notes
    -----
    Bottom-left with the lowest top first, over all turns, in order of falling area (Baker, Coffman and Rivest 1980 for
    the rule; here on outlines).  Good, not optimal.

    Examples
    --------
    >>> square = np.array([[-0.01, -0.01], [0.01, -0.01], [0.01, 0.01], [-0.01, 0.01]])
    >>> packed = pack([Kind(name="foot", loops_m=(square,), height_m=0.02)], [9], Platform(width_m=0.08, depth_m=0.06),
    ...               clearance_m=0.002, margin_m=0.002)
    >>> [len(p) for p in packed.plates]
    [6, 3]

    References
    ----------
    Baker, Coffman and Rivest, SIAM J. Comput. 9 (1980) 846-855. [baker:1980]
    """
    bench = PackingBench(kinds, clearance_m=clearance_m, pitch_m=pitch_m, turns_deg=turns_deg)
    empty = bench.floor(platform, margin_m=margin_m)
    fitting = [k for k in range(len(kinds)) if bench.fits(k, empty)]
    sizes = [bench.prints[k][0][1].cells for k in range(len(kinds))]
    left = [k for k in sorted(fitting, key=lambda k: (-sizes[k], k)) for _ in range(counts[k])]
    plates: list[tuple[Standing, ...]] = []
    while left:
        stand, left = bench.fill(left, empty.copy())
        plates.append(tuple(stand))
    return Packed(
        plates=tuple(plates), too_large=tuple(k for k in range(len(kinds)) if k not in fitting and counts[k] > 0)
    )
