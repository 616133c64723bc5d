"""Which pieces of an order book go to which kind of machine, and onto which plate: early ones first, like heights together."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from attrs import frozen
from scipy.optimize import linprog

from vatwright.geometry.footprint import turned
from vatwright.planning.plates.packing import TURNS_DEG, Packed, PackingBench, PieceKind, cell_size
from vatwright.records.fleet import FleetPlate, PlacedPiece
from vatwright.records.machine import Machine
from vatwright.records.part import Place

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from numpy.typing import NDArray

    from vatwright.geometry.footprint import Floor
    from vatwright.records.orders import OrderBook

    Floats = NDArray[np.float64]

FILLED = 0.7
"""Share of a platform that a full plate's footprints take, for sharing out before anything is packed [-]; engineering
estimate, no source: the packing tests reach 0.7 to 0.8."""

SPARSE = 0.6
"""Below this share a plate has room to stand nearer to the frame [-]; engineering estimate."""

TALLER = 1.02
"""How much taller than the one that starts a plate a piece may be that joins it [-]: it makes the whole plate last."""


class QuickTimes(Protocol):
    """How long plates take on a machine with one recipe."""

    def plate(self, torsion_m4: Floats) -> Any:
        """Return a QuickPlate for a plate's torsion constants."""
        ...

    def like_fullest(self, layers: int) -> float:
        """Return the time of a full plate of so many layers [s]."""
        ...

    def at_least(self, layers: int) -> float:
        """Return what no plate of so many layers goes below [s]."""
        ...


@frozen(kw_only=True, eq=False)
class Goods:
    """One kind of piece in one material.

    Parameters
    ----------
    name : str
        What it is called.
    material : int
        Which recipe and resin it belongs to.
    resin : str
        That resin.
    loops_m : tuple of (P, 2) ndarray
        Its outline from above [m].
    height_m : float
        Its height [m].
    torsion_m4 : (N,) ndarray
        Torsion constants of its layers [m4].
    area_m2 : float
        What its outline covers [m2].
    half_turns_only : bool
        True where its file says the layers and not the shape.
    """

    name: str
    material: int
    resin: str
    loops_m: tuple[Floats, ...]
    height_m: float
    torsion_m4: Floats
    area_m2: float
    half_turns_only: bool = False

    @property
    def kind(self) -> PieceKind:
        """What a packer needs of it."""
        return PieceKind(loops_m=self.loops_m, half_turns_only=self.half_turns_only)

    @property
    def layers(self) -> int:
        """How many layers."""
        return len(self.torsion_m4)


@frozen(kw_only=True)
class Want:
    """So many pieces of one kind for one order.

    Parameters
    ----------
    order, part : str
        Whose and which.
    goods : int
        Their kind.
    count : int
        How many.
    due_s : float
        When, infinite for whenever [s].
    machines : frozenset of str
        Names of the machines that may make them.
    """

    order: str
    part: str
    goods: int
    count: int
    due_s: float
    machines: frozenset[str]


def wanted_of_each(wants: Sequence[Want], kinds: int) -> list[int]:
    """Return how many pieces of each kind are wanted."""
    return [sum(w.count for w in wants if w.goods == k) for k in range(kinds)]


class Packer:
    """Footprints and empty platforms, made once for all trials.

    Parameters
    ----------
    book : OrderBook
        Machines, clearance and margin.
    goods : sequence of Goods
        Every kind.
    counts : sequence of int
        How many of each kind there will be.
    turns_deg : tuple of float
        Turns to try [deg].
    """

    def __init__(
        self,
        book: OrderBook,
        goods: Sequence[Goods],
        *,
        counts: Sequence[int],
        turns_deg: tuple[float, ...] = TURNS_DEG,
    ) -> None:
        kinds = [g.kind for g in goods]
        pitch_m = cell_size(kinds, counts, clearance_m=book.clearance_m)
        self.bench = PackingBench(kinds, clearance_m=book.clearance_m, pitch_m=pitch_m, turns_deg=turns_deg)
        self.floors = {m.name: self.bench.floor(m.platform, margin_m=book.margin_m) for m in book.machines}
        self.cells = np.array([self.bench.cells(k) for k in range(len(kinds))], dtype=np.float64)
        self.fits = {
            (g, m.name): goods[g].height_m <= m.height_m and self.bench.fits(g, self.floors[m.name])
            for g in range(len(goods))
            for m in book.machines
        }


def share_out(
    wants: Sequence[Want],
    work: Mapping[tuple[int, str], float],
    speed: Mapping[str, float],
) -> list[dict[str, int]]:
    """Return how many pieces of each want go to which machine, so that all kinds of machine finish together.

    Parameters
    ----------
    wants : sequence of Want
        What is wanted.
    work : mapping of (int, str) to float
        Machine time of one piece of a kind on a machine; missing where it cannot be made there [s].
    speed : mapping of str to float
        How many of each machine there are, or as many as they are worth [-].

    Returns
    -------
    list of dict
        By machine, one entry a want; a want that nobody can make has none.

    Notes
    -----
    The linear programme min C, sum over pieces of work <= C speed; early pieces and late ones are shared out alike, and
    parts of pieces are rounded along the way.
    """
    shares: list[dict[str, int]] = [{} for _ in wants]
    pools, keys, places = _pools(wants, work, speed)
    if not places:
        return shares
    amount = _amounts(keys, pools, wants, places, work, speed)
    for k, key in enumerate(keys):
        mine = {n: float(amount[i]) for i, (kk, n) in enumerate(places) if kk == k}
        if mine:
            _deal(sorted(pools[key], key=lambda w: (wants[w].due_s, w)), wants, mine, shares)
    return shares


def least_busy(wants: Sequence[Want], work: Mapping[tuple[int, str], float], speed: Mapping[str, float]) -> float:
    """Return how long the machines are busy at the least, pieces shared out in any parts; `work` as in share_out [s]."""
    pools, keys, places = _pools(wants, work, speed)
    return float(_amounts(keys, pools, wants, places, work, speed)[-1]) if places else 0.0


Pools = dict[tuple[int, frozenset[str]], list[int]]


def _pools(
    wants: Sequence[Want], work: Mapping[tuple[int, str], float], speed: Mapping[str, float]
) -> tuple[Pools, list[tuple[int, frozenset[str]]], list[tuple[int, str]]]:
    """Wants that are alike but for their order, and on which machines each may be made."""
    pools: Pools = {}
    for w, want in enumerate(wants):
        pools.setdefault((want.goods, want.machines), []).append(w)
    keys = list(pools)
    places = [(k, n) for k, (g, allowed) in enumerate(keys) for n in sorted(speed) if n in allowed and (g, n) in work]
    return pools, keys, places


def _amounts(
    keys: list[tuple[int, frozenset[str]]], pools: Pools, wants: Sequence[Want], places: list[tuple[int, str]],
    work: Mapping[tuple[int, str], float], speed: Mapping[str, float],
) -> Floats:  # fmt: skip
    """Pieces of each pool on each machine, parts of pieces allowed, and at the end how long the machines are busy."""
    names, count = sorted(speed), len(places)
    load, whole = np.zeros((len(names), count + 1)), np.zeros((len(keys), count + 1))
    for i, (k, n) in enumerate(places):
        load[names.index(n), i] = work[keys[k][0], n]
        whole[k, i] = 1.0
    load[:, count] = [-speed[n] for n in names]
    used = whole.any(axis=1)
    total = np.array([sum(wants[w].count for w in pools[key]) for key in keys], dtype=np.float64)
    cost = np.zeros(count + 1)
    cost[count] = 1.0
    found: Any = linprog(cost, A_ub=load, b_ub=np.zeros(len(names)), A_eq=whole[used], b_eq=total[used], method="highs")
    return np.asarray(found.x)


def _deal(order: list[int], wants: Sequence[Want], amount: dict[str, float], shares: list[dict[str, int]]) -> None:
    """Give out pieces one by one, each to the machine that is furthest behind its part."""
    total = sum(wants[w].count for w in order)
    given = dict.fromkeys(amount, 0)
    done = 0
    for w in order:
        for _ in range(wants[w].count):
            done += 1
            name = max(amount, key=lambda n: (amount[n] * done / total - given[n], n))
            given[name] += 1
            shares[w][name] = shares[w].get(name, 0) + 1


@frozen(kw_only=True, eq=False)
class Laid:
    """A plate before it has a name."""

    machine: Machine
    material: int
    resin: str
    pieces: tuple[tuple[int, Packed], ...]
    used: float


def fill_plates(
    wants: Sequence[Want], goods: Sequence[Goods], shares: Sequence[Mapping[str, int]], machine: Machine, packer: Packer
) -> list[Laid]:
    """Return the plates of one kind of machine, in the order in which they are due.

    Parameters
    ----------
    wants, goods : sequence
        What is wanted, and every kind.
    shares : sequence of mapping
        How many of each want this kind of machine makes.
    machine : Machine
        Which.
    packer : Packer
        Footprints and floors.

    Returns
    -------
    list of Laid
        Each starts with the tallest of the pieces due first; what is no taller fills it up.  One that stays sparse stands
        near the frame, where it lets go sooner.
    """
    plates: list[Laid] = []
    for material in sorted({g.material for g in goods}):
        left = {
            w: shares[w].get(machine.name, 0)
            for w, want in enumerate(wants)
            if goods[want.goods].material == material and shares[w].get(machine.name, 0) > 0
        }
        while left:
            plates.append(_one_plate(left, wants, goods, machine, packer))
    return sorted(plates, key=lambda p: min(wants[w].due_s for w, _ in p.pieces))


def _one_plate(
    left: dict[int, int], wants: Sequence[Want], goods: Sequence[Goods], machine: Machine, packer: Packer
) -> Laid:
    first_due = min(wants[w].due_s for w in left)
    top = max(goods[wants[w].goods].height_m for w in left if wants[w].due_s == first_due)
    queue = [w for w in left if goods[wants[w].goods].height_m <= top * TALLER]
    queue.sort(key=lambda w: (wants[w].due_s, -_height_class(goods[wants[w].goods]), -packer.cells[wants[w].goods], w))
    floor = packer.floors[machine.name]
    stand, _ = packer.bench.fill([wants[w].goods for w in queue for _ in range(left[w])], floor.copy())
    taken = sum(packer.cells[s.kind] for s in stand) / floor.free
    if taken < SPARSE:
        stand = packer.bench.towards_frame(stand, floor.copy(), machine.window) or stand
    pieces = []
    for piece in stand:
        w = next(q for q in queue if wants[q].goods == piece.kind and left.get(q, 0) > 0)
        pieces.append((w, piece))
        left[w] -= 1
        if left[w] == 0:
            del left[w]
    some = goods[pieces[0][1].kind]
    return Laid(
        machine=machine,
        material=some.material,
        resin=some.resin,
        pieces=tuple(pieces),
        used=_used(pieces, goods, floor),
    )


def _height_class(goods: Goods) -> int:
    """Heights within an eighth of each other are alike."""
    return round(8.0 * math.log2(goods.height_m))


def _used(pieces: Sequence[tuple[int, Packed]], goods: Sequence[Goods], floor: Floor) -> float:
    return float(sum(goods[s.kind].area_m2 for _, s in pieces) / (floor.free * floor.pitch_m**2))


def torsion_of(laid: Laid, goods: Sequence[Goods]) -> Floats:
    """Return the torsion constants of a plate's layers, (N,) [m4]."""
    total = np.zeros(max(goods[s.kind].layers for _, s in laid.pieces))
    for _, piece in laid.pieces:
        own = goods[piece.kind].torsion_m4
        total[: len(own)] += own
    return total


def fleet_plate(laid: Laid, name: str, wants: Sequence[Want], goods: Sequence[Goods], times: QuickTimes) -> FleetPlate:
    """Return a plate with its name, its time and its pieces where they stand."""
    torsion = torsion_of(laid, goods)
    quick = times.plate(torsion)
    return FleetPlate(
        name=name,
        machine=laid.machine,
        resin=laid.resin,
        pieces=tuple(_placed(wants[w], piece, goods) for w, piece in laid.pieces),
        layers=len(torsion),
        print_s=quick.print_s,
        settle_s=quick.settle_s,
        visits_s=quick.visits_s,
        used=laid.used,
    )


def _placed(want: Want, piece: Packed, goods: Sequence[Goods]) -> PlacedPiece:
    place: Place = piece.place
    loops = tuple(loop + np.array((place.x_m, place.y_m)) for loop in turned(goods[piece.kind].loops_m, place.turn_deg))
    return PlacedPiece(want.order, want.part, place, loops)
