"""Where pieces stand on a platform when nobody says: rows of equal clearance, biggest first, from the middle outwards."""

from __future__ import annotations

from typing import NamedTuple

from attrs import frozen

from vatwright.records.part import Place

CLEARANCE_M = 0.003
"""Free distance between pieces and to the platform's edge [m]; common practice, no source."""


class Footprint(NamedTuple):
    """The rectangle a piece covers, from above: index of its part, size [m]."""

    part: int
    width_m: float
    depth_m: float


class Standing(NamedTuple):
    """One piece on a plate: index of its part and where its footprint's centre goes."""

    part: int
    place: Place


@frozen(kw_only=True)
class Plates:
    """Pieces on one or more plates.

    Parameters
    ----------
    plates : tuple of tuple of Standing
        One entry a plate.
    too_large : tuple of int
        Parts of which not one piece fits the platform.
    """

    plates: tuple[tuple[Standing, ...], ...]
    too_large: tuple[int, ...]


class _Row(NamedTuple):
    depth_m: float
    pieces: list[tuple[Footprint, float]]


def lay_out(footprints: list[Footprint], *, width_m: float, depth_m: float) -> Plates:
    """Return plates of pieces in rows, each plate centred on the platform.

    A piece is turned by a quarter where only that makes it fit.  The pieces fill rows along the platform's width in order
    of falling depth, each row as deep as its first piece (the next-fit decreasing height rule for strips).

    Parameters
    ----------
    footprints : list of Footprint
        One entry a piece [m].
    width_m, depth_m : float
        Platform [m].

    Returns
    -------
    Plates
        Every piece that fits appears exactly once.

    Notes
    -----
    A simple layout, not a dense one: it wastes at most half of each plate for rectangles (Coffman et al. 1980).

    Examples
    --------
    >>> plates = lay_out([Footprint(0, 0.04, 0.04)] * 7, width_m=0.15, depth_m=0.09)
    >>> [len(p) for p in plates.plates]
    [6, 1]

    References
    ----------
    Coffman, Garey, Johnson, Tarjan, "Performance bounds for level-oriented two-dimensional packing algorithms",
    SIAM J. Comput. 9 (1980) 808-826. [coffman:1980]
    """
    usable_w, usable_d = width_m - CLEARANCE_M, depth_m - CLEARANCE_M
    oriented, too_large = _oriented(footprints, usable_w, usable_d)
    oriented.sort(key=lambda item: (-item[0].depth_m, -item[0].width_m, item[0].part))
    plates: list[tuple[Standing, ...]] = []
    rows: list[_Row] = []
    used_d = 0.0
    for piece, turn in oriented:
        if rows and _row_width(rows[-1]) + piece.width_m + CLEARANCE_M <= usable_w:
            rows[-1].pieces.append((piece, turn))
            continue
        if rows and used_d + piece.depth_m + CLEARANCE_M > usable_d:
            plates.append(_centred(rows))
            rows, used_d = [], 0.0
        rows.append(_Row(piece.depth_m, [(piece, turn)]))
        used_d += piece.depth_m + CLEARANCE_M
    if rows:
        plates.append(_centred(rows))
    return Plates(plates=tuple(plates), too_large=tuple(sorted(too_large)))


def _oriented(
    footprints: list[Footprint], usable_w: float, usable_d: float
) -> tuple[list[tuple[Footprint, float]], set[int]]:
    oriented, too_large = [], set()
    for piece in footprints:
        if piece.width_m + CLEARANCE_M <= usable_w and piece.depth_m + CLEARANCE_M <= usable_d:
            oriented.append((piece, 0.0))
        elif piece.depth_m + CLEARANCE_M <= usable_w and piece.width_m + CLEARANCE_M <= usable_d:
            oriented.append((Footprint(piece.part, piece.depth_m, piece.width_m), 90.0))
        else:
            too_large.add(piece.part)
    return oriented, too_large


def _row_width(row: _Row) -> float:
    return sum(piece.width_m + CLEARANCE_M for piece, _ in row.pieces)


def _centred(rows: list[_Row]) -> tuple[Standing, ...]:
    total_d = sum(row.depth_m + CLEARANCE_M for row in rows) - CLEARANCE_M
    y = -total_d / 2.0
    standing: list[Standing] = []
    for row in rows:
        x = -(_row_width(row) - CLEARANCE_M) / 2.0
        for piece, turn in row.pieces:
            place = Place(x_m=x + piece.width_m / 2.0, y_m=y + row.depth_m / 2.0, turn_deg=turn)
            standing.append(Standing(piece.part, place))
            x += piece.width_m + CLEARANCE_M
        y += row.depth_m + CLEARANCE_M
    return tuple(standing)
