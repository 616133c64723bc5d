"""What pieces cover of a platform, seen from above, and where the next one finds room: outlines, not boxes.

Outlines are laid on a grid so that two pieces whose cells do not meet are at least the clearance apart in truth: the
grid wastes a little room and never lets pieces touch.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from attrs import frozen
from numpy.typing import NDArray

from vatwright.compiled import kernel
from vatwright.errors import InputError, require_not_negative, require_positive
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Sequence

Floats = NDArray[np.float64]
Cells = NDArray[np.int32]
Mask = NDArray[np.bool_]

ROUNDING_M = 1e-13
"""Edges that lie this near to a cell's own edge lie on it [m]: rounding, a thousand times below any drawing's."""


@frozen(kw_only=True, eq=False)
class Footprint:
    """A piece in one turn, as runs of cells.

    Parameters
    ----------
    row, first, last : (R,) ndarray of int
        Row of each run and its first and last cell, counted from the lower left corner of the cells' box [-].
    rows, columns : int
        Size of that box in cells.
    corner_m : (float, float)
        Where the box's lower left corner lies in the piece's own coordinates [m].
    pitch_m : float
        Size of a cell [m].
    """

    row: Cells
    first: Cells
    last: Cells
    rows: int
    columns: int
    corner_m: tuple[float, float]
    pitch_m: float

    @property
    def cells(self) -> int:
        """How many cells it covers."""
        return int((self.last - self.first + 1).sum())


def turned(loops_m: Sequence[Floats], turn_deg: float) -> list[Floats]:
    """Return outlines turned about the origin, counter-clockwise, (P, 2) each [m].

    Parameters
    ----------
    loops_m : sequence of (P, 2) ndarray
        Outlines [m].
    turn_deg : float
        Turn [deg]; quarter turns are exact.
    """
    quarter, rest = divmod(turn_deg, 90.0)
    exact = ((1.0, 0.0), (0.0, 1.0), (-1.0, 0.0), (0.0, -1.0))[int(quarter) % 4]
    cos, sin = exact if rest == 0.0 else (math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg)))
    matrix = np.array([[cos, sin], [-sin, cos]])
    return [np.asarray(loop @ matrix) for loop in loops_m]


def footprint(loops_m: Sequence[Floats], *, pitch_m: float, clearance_m: float) -> Footprint:
    """Return the cells that come within half the clearance of a piece anywhere.

    Parameters
    ----------
    loops_m : sequence of (P, 2) ndarray
        Outlines and holes; even-odd [m].
    pitch_m : float
        Size of a cell [m].
    clearance_m : float
        Distance to keep between pieces [m].

    Returns
    -------
    Footprint
        Two footprints that share no cell belong to pieces at least the clearance apart: the cell that holds the middle
        of a shorter gap would be in both.  The cells start at the outline's lowest and leftmost point less half the
        clearance, so a box whose sides with the clearance are whole cells loses nothing.

    Raises
    ------
    InputError
        Where there is no outline.
    DomainError
        For a pitch not above 0 or a clearance below 0.

    Examples
    --------
    >>> square = np.array([[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01]])
    >>> made = footprint([square], pitch_m=0.001, clearance_m=0.002)
    >>> made.rows, made.columns
    (12, 12)
    """
    require_positive(pitch_m=pitch_m)
    require_not_negative(clearance_m=clearance_m)
    if not loops_m:
        raise InputError.one("outline", to_say("there is none"), to_say("Give a piece with an outline"))
    grow = clearance_m / 2.0
    points = np.concatenate(loops_m)
    low, high = points.min(axis=0) - grow, points.max(axis=0) + grow
    columns, rows = (whole_cells(float(s), pitch_m) for s in high - low)
    edges = np.concatenate([np.hstack((loop, np.roll(loop, -1, axis=0))) for loop in loops_m])
    mask = np.zeros((rows, columns), dtype=np.bool_)
    _cover(edges, float(low[0]), float(low[1]), pitch_m, grow, mask)
    return _of_mask(mask, (float(low[0]), float(low[1])), pitch_m)


def whole_cells(length_m: float, pitch_m: float) -> int:
    """Return how many cells a length takes, at least one [-]; a sliver of rounding takes none.

    Examples
    --------
    >>> whole_cells(0.043, 0.0005), whole_cells(0.0431, 0.0005)
    (86, 87)
    """
    return max(1, math.ceil((length_m - ROUNDING_M) / pitch_m))


def _of_mask(mask: Mask, low_m: tuple[float, float], pitch_m: float) -> Footprint:
    """The runs of a mask, its empty margins cut off."""
    used_rows, used_columns = np.flatnonzero(mask.any(axis=1)), np.flatnonzero(mask.any(axis=0))
    top, left = int(used_rows[0]), int(used_columns[0])
    mask = mask[top : used_rows[-1] + 1, left : used_columns[-1] + 1]
    padded = np.zeros((mask.shape[0], mask.shape[1] + 2), dtype=np.int8)
    padded[:, 1:-1] = mask
    change = np.diff(padded, axis=1)
    row, first = np.nonzero(change == 1)
    _, last = np.nonzero(change == -1)
    return Footprint(
        row=row.astype(np.int32), first=first.astype(np.int32), last=(last - 1).astype(np.int32),
        rows=mask.shape[0], columns=mask.shape[1],
        corner_m=(low_m[0] + left * pitch_m, low_m[1] + top * pitch_m), pitch_m=pitch_m,
    )  # fmt: skip


@kernel
def _cover(edges: Floats, x_low: float, y_low: float, pitch: float, grow: float, mask: Mask) -> None:
    """Mark cells whose middle lies inside the loops, and those of which any point is within `grow` of an edge."""
    rows, columns = mask.shape
    for i in range(rows):
        y = y_low + (i + 0.5) * pitch
        crossings = np.empty(edges.shape[0])
        count = 0
        for e in range(edges.shape[0]):
            if (edges[e, 1] <= y) != (edges[e, 3] <= y):
                crossings[count] = edges[e, 0] + (y - edges[e, 1]) / (edges[e, 3] - edges[e, 1]) * (
                    edges[e, 2] - edges[e, 0]
                )
                count += 1
        found = np.sort(crossings[:count])
        for k in range(0, count - 1, 2):
            first = max(0, int(np.ceil((found[k] - x_low) / pitch - 0.5)))
            last = min(columns - 1, int(np.floor((found[k + 1] - x_low) / pitch - 0.5)))
            for j in range(first, last + 1):
                mask[i, j] = True
    reach = grow + pitch
    for e in range(edges.shape[0]):
        ax, ay, bx, by = edges[e, 0], edges[e, 1], edges[e, 2], edges[e, 3]
        top = max(0, int((min(ay, by) - reach - y_low) / pitch))
        bottom = min(rows - 1, int((max(ay, by) + reach - y_low) / pitch))
        left = max(0, int((min(ax, bx) - reach - x_low) / pitch))
        right = min(columns - 1, int((max(ax, bx) + reach - x_low) / pitch))
        for i in range(top, bottom + 1):
            y = y_low + (i + 0.5) * pitch
            for j in range(left, right + 1):
                if not mask[i, j]:
                    x = x_low + (j + 0.5) * pitch
                    mask[i, j] = _gap2(ax - x, ay - y, bx - x, by - y, pitch / 2.0 - ROUNDING_M) <= grow * grow


@kernel
def _gap2(ax: float, ay: float, bx: float, by: float, half: float) -> float:
    """The square of the distance between a segment and a square about the origin, of half a side `half`."""
    dx, dy = bx - ax, by - ay
    if _crosses(ax, ay, dx, dy, half):
        return 0.0
    best = min(
        max(abs(ax) - half, 0.0) ** 2 + max(abs(ay) - half, 0.0) ** 2,
        max(abs(bx) - half, 0.0) ** 2 + max(abs(by) - half, 0.0) ** 2,
    )
    length = dx * dx + dy * dy
    if length > 0.0:
        for corner in range(4):
            x = half if corner % 2 else -half
            y = half if corner // 2 else -half
            along = min(1.0, max(0.0, ((x - ax) * dx + (y - ay) * dy) / length))
            best = min(best, (x - ax - along * dx) ** 2 + (y - ay - along * dy) ** 2)
    return best


@kernel
def _crosses(ax: float, ay: float, dx: float, dy: float, half: float) -> bool:
    """Whether a segment meets a square about the origin: what is left of it between both pairs of sides."""
    begin, end = 0.0, 1.0
    for at, step in ((ax, dx), (ay, dy)):
        if step == 0.0:
            if abs(at) > half:
                return False
        else:
            one, other = (-half - at) / step, (half - at) / step
            begin, end = max(begin, min(one, other)), min(end, max(one, other))
    return begin <= end


@kernel
def _allowed(outline: Floats, x_low: float, y_low: float, pitch: float, inset: float, inside: Mask) -> None:
    """Mark cells all of whose corners lie inside a convex outline, at least `inset` from its edge (below 0: beyond)."""
    rows, columns = inside.shape
    edges = outline.shape[0]
    before, here = np.zeros(columns + 1, dtype=np.bool_), np.zeros(columns + 1, dtype=np.bool_)
    for i in range(rows + 1):
        y = y_low + i * pitch
        for j in range(columns + 1):
            x = x_low + j * pitch
            within, nearest = True, np.inf
            for e in range(edges):
                ax, ay, after = outline[e, 0], outline[e, 1], (e + 1) % edges
                dx, dy = outline[after, 0] - ax, outline[after, 1] - ay
                length = dx * dx + dy * dy
                if length > 0.0:
                    within &= dx * (y - ay) - dy * (x - ax) >= 0.0
                    along = min(1.0, max(0.0, ((x - ax) * dx + (y - ay) * dy) / length))
                    nearest = min(nearest, (x - ax - along * dx) ** 2 + (y - ay - along * dy) ** 2)
            away = np.sqrt(nearest)
            here[j] = (away if within else -away) >= inset - ROUNDING_M
        if i > 0:
            for j in range(columns):
                inside[i - 1, j] = here[j] and here[j + 1] and before[j] and before[j + 1]
        before[:] = here


@frozen(kw_only=True, eq=False)
class Room:
    """Where a footprint found room: the cell of its box's lower left corner."""

    row: int
    column: int


class Floor:
    """A platform's cells, and which are taken.

    Parameters
    ----------
    outline_m : (P, 2) ndarray
        The platform's edge, counter-clockwise without a hollow [m].
    pitch_m : float
        Size of a cell [m].
    clearance_m : float
        Distance to keep between pieces [m].
    margin_m : float
        Distance to keep from the platform's edge [m].
    """

    def __init__(self, outline_m: Floats, *, pitch_m: float, clearance_m: float, margin_m: float) -> None:
        require_positive(pitch_m=pitch_m)
        require_not_negative(clearance_m=clearance_m, margin_m=margin_m)
        self.pitch_m = pitch_m
        # A footprint reaches clearance/2 beyond its piece: so far may it lie beyond the margin.
        spill = clearance_m / 2.0 - margin_m
        low, high = outline_m.min(axis=0) - spill, outline_m.max(axis=0) + spill
        self.low_m = (float(low[0]), float(low[1]))
        columns, rows = (max(1, math.floor((float(s) + ROUNDING_M) / pitch_m)) for s in high - low)
        inside = np.zeros((rows, columns), dtype=np.bool_)
        _allowed(np.ascontiguousarray(outline_m), *self.low_m, pitch_m, -spill, inside)
        self.taken = ~inside
        self.free = int(inside.sum())
        self.next_taken = np.empty((rows, columns + 1), dtype=np.int32)
        self.widest = np.empty(rows, dtype=np.int32)
        _scan(self.taken, self.next_taken, self.widest, 0, rows)

    def copy(self) -> Floor:
        """Return a floor with the same cells taken."""
        other = object.__new__(Floor)
        other.pitch_m, other.low_m, other.free = self.pitch_m, self.low_m, self.free
        other.taken, other.next_taken, other.widest = self.taken.copy(), self.next_taken.copy(), self.widest.copy()
        return other

    def lowest(self, piece: Footprint, *, below: int = 2**30, start: int = 0) -> Room | None:
        """Return the lowest free place for a piece, of those the leftmost; None where there is none.

        Parameters
        ----------
        piece : Footprint
            Made with this floor's pitch.
        below : int
            Rows that its top may reach; places above are not looked at [-].
        start : int
            Row from which on places are looked at: below it there is none [-].
        """
        last = min(self.taken.shape[0], below) - piece.rows
        row, column = _lowest(
            self.next_taken, self.widest, piece.row, piece.first, piece.last, start, last,
            self.taken.shape[1] - piece.columns,
        )  # fmt: skip
        return Room(row=row, column=column) if row >= 0 else None

    def nearest_frame(self, piece: Footprint, depth: NDArray[np.int32], *, step: int = 2) -> Room | None:
        """Return the free place where a piece keeps nearest to the frame; None where there is none.

        Parameters
        ----------
        piece : Footprint
            Made with this floor's pitch.
        depth : (rows, columns) ndarray of int
            Distance of each cell from the frame, in cells [-].
        step : int
            Places are tried every so many cells [-].
        """
        row, column = _nearest(
            self.next_taken, piece.row, piece.first, piece.last,
            self.taken.shape[0] - piece.rows, self.taken.shape[1] - piece.columns, depth, step,
        )  # fmt: skip
        return Room(row=row, column=column) if row >= 0 else None

    def put(self, piece: Footprint, spot: Room) -> None:
        """Take a piece's cells."""
        _take(self.taken, piece.row + spot.row, piece.first + spot.column, piece.last + spot.column)
        _scan(self.taken, self.next_taken, self.widest, spot.row, spot.row + piece.rows)

    def shift_m(self, piece: Footprint, spot: Room) -> tuple[float, float]:
        """Return by how much a piece moves from its own coordinates to stand there [m]."""
        x = self.low_m[0] + spot.column * self.pitch_m - piece.corner_m[0]
        y = self.low_m[1] + spot.row * self.pitch_m - piece.corner_m[1]
        return x, y

    def depth(self, width_m: float, depth_m: float) -> NDArray[np.int32]:
        """Return each cell's distance to the frame of a window about the origin, in cells, (rows, columns)."""
        rows, columns = self.taken.shape
        x = self.low_m[0] + (np.arange(columns) + 0.5) * self.pitch_m
        y = self.low_m[1] + (np.arange(rows) + 0.5) * self.pitch_m
        across = width_m / 2.0 - np.abs(x)
        along = depth_m / 2.0 - np.abs(y)
        return np.asarray(np.rint(np.minimum(across[None, :], along[:, None]) / self.pitch_m), dtype=np.int32)


@kernel
def _scan(taken: Mask, next_taken: Cells, widest: Cells, first: int, end: int) -> None:
    """For rows `first` to `end`: the nearest taken cell at or to the right of each cell, and how many in a row are free."""
    columns = taken.shape[1]
    for i in range(first, end):
        seen, free, most = 2**30, 0, 0
        next_taken[i, columns] = seen
        for j in range(columns - 1, -1, -1):
            free += 1
            if taken[i, j]:
                seen, free = j, 0
            next_taken[i, j] = seen
            most = max(most, free)
        widest[i] = most


@kernel
def _take(taken: Mask, row: Cells, first: Cells, last: Cells) -> None:
    for k in range(row.size):
        taken[row[k], first[k] : last[k] + 1] = True


@kernel
def _too_long(widest: Cells, row: Cells, first: Cells, last: Cells, at: int, tight: int) -> int:
    """The first run longer than what is free anywhere in its row, that of the last time tried first; -1 where there is none."""
    if widest[at + row[tight]] <= last[tight] - first[tight]:
        return tight
    for k in range(row.size):
        if widest[at + row[k]] <= last[k] - first[k]:
            return k
    return -1


@kernel
def _lowest(
    next_taken: Cells, widest: Cells, row: Cells, first: Cells, last: Cells, first_row: int, last_row: int,
    last_column: int,
) -> tuple[int, int]:  # fmt: skip
    """The lowest, then leftmost shift at which no run meets a taken cell; a run that meets one says how far to jump.

    On a plate that is nearly full most rows have nowhere room for the piece's longest runs: those shifts are passed over whole.
    """
    worst, tight = 0, 0
    for i in range(first_row, last_row + 1):
        short = _too_long(widest, row, first, last, i, tight)
        if short >= 0:
            tight = short
            continue
        j = 0
        while j <= last_column:
            jump = 0
            # The run that was in the way last time is likely to be so again.
            hit = next_taken[i + row[worst], j + first[worst]]
            if hit <= j + last[worst]:
                jump = hit - first[worst] + 1 - j
            else:
                for k in range(row.size):
                    hit = next_taken[i + row[k], j + first[k]]
                    if hit <= j + last[k]:
                        jump = hit - first[k] + 1 - j
                        worst = k
                        break
            if jump == 0:
                return i, j
            j += jump
    return -1, -1


@kernel
def _nearest(
    next_taken: Cells, row: Cells, first: Cells, last: Cells, last_row: int, last_column: int, depth: Cells, step: int
) -> tuple[int, int]:
    """The free shift whose deepest cell is nearest to the frame; the ends of runs and the middle row stand for all."""
    best, best_i, best_j = 2**30, -1, -1
    for i in range(0, last_row + 1, step):
        for j in range(0, last_column + 1, step):
            deepest = -(2**30)
            for k in range(row.size):
                y, a, b = i + row[k], j + first[k], j + last[k]
                middle = min(max(depth.shape[1] // 2, a), b)
                deepest = max(deepest, depth[y, middle])
                if deepest >= best:
                    break
            if deepest >= best:
                continue
            free = True
            for k in range(row.size):
                if next_taken[i + row[k], j + first[k]] <= j + last[k]:
                    free = False
                    break
            if free:
                best, best_i, best_j = deepest, i, j
    return best_i, best_j


SHADOW_PITCH_M = 0.00025
"""Cell in which runs of solid are gathered to an outline from above [m]: an eighth of a usual clearance."""


def shadow(
    runs: Sequence[tuple[NDArray[np.int32] | NDArray[np.int64], Floats, Floats, float, float, tuple[float, float]]],
    *,
    pitch_m: float = SHADOW_PITCH_M,
) -> tuple[Floats, ...]:
    """Return the outlines of all that solid runs cover seen from above, over all layers.

    Parameters
    ----------
    runs : sequence of tuple
        For each stack of layers: row of each run, its first and last x [m], y of row 0's lower edge [m], height of a
        row [m], and by how much the stack is moved (x, y) [m].
    pitch_m : float
        Size of the cells that are traced [m].

    Returns
    -------
    tuple of (P, 2) ndarray
        Loops along cell edges, solid to the left, so holes run clockwise [m].  Every run lies inside.

    Raises
    ------
    InputError
        Where there is no run.

    Examples
    --------
    >>> rows, ends = np.array([0, 1]), np.array([0.002, 0.002])
    >>> loops = shadow([(rows, 0.0 * ends, ends, 0.0, 0.001, (0.0, 0.0))], pitch_m=0.001)
    >>> [sorted(loop.tolist()) for loop in loops]
    [[[0.0, 0.0], [0.0, 0.002], [0.002, 0.0], [0.002, 0.002]]]
    """
    require_positive(pitch_m=pitch_m)
    kept = [r for r in runs if len(r[0])]
    if not kept:
        raise InputError.one("part", to_say("there is nothing in it"), to_say("Give a part with solid layers"))
    boxes = [
        (
            float(a.min()) + s[0],
            float(row.min()) * h + y + s[1],
            float(b.max()) + s[0],
            float(row.max() + 1) * h + y + s[1],
        )
        for row, a, b, y, h, s in kept
    ]
    low = min(b[0] for b in boxes), min(b[1] for b in boxes)
    high = max(b[2] for b in boxes), max(b[3] for b in boxes)
    columns, rows = (max(1, math.ceil((high[k] - low[k]) / pitch_m - 1e-6)) for k in (0, 1))
    mask = np.zeros((rows, columns), dtype=np.bool_)
    for row, a, b, y, h, s in kept:
        _shade(
            np.asarray(row, dtype=np.int64),
            a + (s[0] - low[0]),
            b + (s[0] - low[0]),
            y + s[1] - low[1],
            h,
            pitch_m,
            mask,
        )
    return tuple(loop * pitch_m + low for loop in _traced(mask))


@kernel
def _shade(row: NDArray[np.int64], x0: Floats, x1: Floats, y0: float, height: float, pitch: float, mask: Mask) -> None:
    """Mark every cell that a run touches."""
    rows, columns = mask.shape
    for k in range(row.size):
        bottom = y0 + row[k] * height
        first_row = max(0, int(np.floor(bottom / pitch + 1e-6)))
        last_row = min(rows - 1, int(np.ceil((bottom + height) / pitch - 1e-6)) - 1)
        first = max(0, int(np.floor(x0[k] / pitch + 1e-6)))
        last = min(columns - 1, int(np.ceil(x1[k] / pitch - 1e-6)) - 1)
        for i in range(first_row, last_row + 1):
            mask[i, first : last + 1] = True


def _traced(mask: Mask) -> list[Floats]:
    """Loops around a mask's cells, in cells, corners only, solid to the left."""
    solid = np.pad(mask, 1).astype(np.int8)
    follows: dict[tuple[int, int], list[tuple[int, int]]] = {}
    # Along the lower edges of cells to the right, along the upper ones to the left, and so on round.
    for y, x in np.argwhere(solid[1:-1, 1:-1] > solid[:-2, 1:-1]).tolist():
        follows.setdefault((x, y), []).append((x + 1, y))
    for y, x in np.argwhere(solid[1:-1, 1:-1] > solid[2:, 1:-1]).tolist():
        follows.setdefault((x + 1, y + 1), []).append((x, y + 1))
    for y, x in np.argwhere(solid[1:-1, 1:-1] > solid[1:-1, 2:]).tolist():
        follows.setdefault((x + 1, y), []).append((x + 1, y + 1))
    for y, x in np.argwhere(solid[1:-1, 1:-1] > solid[1:-1, :-2]).tolist():
        follows.setdefault((x, y + 1), []).append((x, y))
    loops = []
    while follows:
        start = next(iter(follows))
        loop, at, way = [], start, (0, 0)
        while at in follows:
            # Where two cells touch at a corner, turn left: they stay two loops.
            options = follows[at]
            left = (at[0] - way[1], at[1] + way[0])
            there = left if left in options else options[0]
            options.remove(there)
            if not options:
                del follows[at]
            if (step := (there[0] - at[0], there[1] - at[1])) != way:
                loop.append(at)
            at, way = there, step
        loops.append(np.array(loop, dtype=np.float64))
    return loops
