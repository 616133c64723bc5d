"""How long any plate takes on a machine, from one full carry: for plans with hundreds of plates.

A full carry works out what the fullest plate needs in every world.  A few of the worlds, from easy to hard, then stand
for all and are asked what another plate needs; what they are off by on the fullest plate is added.
"""

from __future__ import annotations

import math

import numpy as np
from attrs import evolve, field, frozen
from numpy.typing import NDArray

from vatwright.planning.carry.advise import Advised
from vatwright.planning.demand.base import LEAST_TORSION_M4, TORSION_STEP, StackLoad
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.choice import covering, settable
from vatwright.planning.demand.settle import Run, carried_settle_s, least_body_settle_s
from vatwright.planning.hands.plan_by_hand import SETTLE, hands_can_help
from vatwright.records.fleet import BreakEven, MachineWork

Floats = NDArray[np.float64]

QUICK_ERROR = 0.12
"""Print times reckoned this way stay within this share of a full carry's on the demo's plates [-]; measured in the tests.
Settles are followed within 5 %; the rise is that of the fullest plate, and another plate lets go sooner or later."""

WORLDS = 32
"""Worlds that stand for all."""

PROBE_LAYERS = 300
"""Layers of the plate that tells worlds apart."""

SURE_PIECES = 400
"""Orders up to this many pieces are looked at for the break-even count."""


@frozen(kw_only=True, eq=False)
class QuickPlate:
    """What a plate takes on a machine.

    Parameters
    ----------
    print_s : float
        Time of the run [s].
    settle_s : float
        Body settle [s].
    visits_s : tuple of float
        When a hand is needed, from the start of the run [s].
    """

    print_s: float
    settle_s: float
    visits_s: tuple[float, ...]


@frozen(kw_only=True, eq=False)
class CarriedRecipe:
    """A recipe carried once to a machine with its fullest plate, ready for any other plate.

    Parameters
    ----------
    case : Case
        What the carry worked on.
    chosen : Advised
        The values it chose.
    """

    case: Case
    chosen: Advised
    _seen: dict[bytes, float] = field(init=False, factory=dict)
    body_s: float = field(init=False)
    worlds: NDArray[np.intp] = field(init=False)
    extra_s: Floats = field(init=False)
    needed_from_s: Floats = field(init=False)
    offset_s: float = field(init=False)

    @body_s.default
    def _body(self) -> float:
        return float(np.median(self.chosen.settle_s[self.chosen.settings.base_layers :]))

    @worlds.default
    def _some_worlds(self) -> NDArray[np.intp]:
        """Worlds from the easiest to the hardest, by what a plate needs that asks much of every world."""
        case = self.case
        run = evolve(case.target_run(self.chosen.settings), load=self._load(_probe(case.target_study.torsion_m4)))
        needed = least_body_settle_s(run, case.standard, bond=not hands_can_help(case.job))
        order = np.argsort(needed, kind="stable")
        step = max(len(order) // WORLDS, 1)
        return np.sort(order[step // 2 :: step])

    @extra_s.default
    def _extra(self) -> Floats:
        """By how much each layer's settle exceeds the body's: the base's, and what a hand raises."""
        return np.asarray(self.chosen.settle_s - self.body_s)

    @needed_from_s.default
    def _proven_need(self) -> Floats:
        """Least body settle of the proven run in each of the worlds [s]."""
        return self._least(self.case.proven)

    @offset_s.default
    def _offset(self) -> float:
        """By how much the full carry asked for more on its own plate than the quick law does [s]."""
        values = self.chosen.ranges[SETTLE]
        below = values[np.isfinite(values) & (values <= self.body_s + 1e-9)]
        full = float(below.max()) if below.size else self.body_s
        quick = self._wanted_s(self.case.target_study.torsion_m4)
        return full - quick if math.isfinite(quick) else 0.0

    @property
    def chance(self) -> float:
        """Chance that the fullest plate holds [-]."""
        return self.chosen.chance

    def _wanted_s(self, torsion_m4: Floats) -> float:
        """Body settle that covers the confidence asked for among the worlds [s]."""
        key = np.asarray(torsion_m4).tobytes()
        if key not in self._seen:
            case = self.case
            there = evolve(case.target_run(self.chosen.settings), load=self._load(torsion_m4))
            self._seen[key] = self._carried(self._least(there))
        return self._seen[key]

    def _least(self, run: Run) -> Floats:
        """Least body settle of a run in each of the worlds [s]."""
        case, some = self.case, self.worlds
        standard = case.standard_of(run).kept(some)
        run = evolve(run, side=run.side.kept(some), overcure_m=run.overcure_m[some])
        return least_body_settle_s(run, standard, bond=not hands_can_help(case.job))

    def _carried(self, needed_s: Floats) -> float:
        job = self.case.job
        proven_s = job.recipe.settings.body.settle_s
        wanted = carried_settle_s(proven_s, needed_from_s=self.needed_from_s, needed_to_s=needed_s)
        return covering(wanted, job.confidence)

    def _load(self, torsion_m4: Floats) -> StackLoad:
        """The plate's own regions; the bare platform around them as under the fullest plate."""
        count, known = len(torsion_m4), self.case.target_load
        steps = np.round(np.log(np.maximum(torsion_m4, LEAST_TORSION_M4)) / TORSION_STEP)
        return StackLoad(
            torsion_m4=np.exp(steps * TORSION_STEP),
            platform_torsion_m4=_fitted(known.platform_torsion_m4, count, 0.0),
            platform_extra_gap_m=_fitted(known.platform_extra_gap_m, count, float(known.platform_extra_gap_m[-1])),
            platform_follows=_fitted(known.platform_follows, count, float(known.platform_follows[-1])),
            layer_m=np.full(count, known.layer_m[0]),
            giving=known.giving.of(count) if known.giving else None,
        )

    def plate(self, torsion_m4: Floats) -> QuickPlate:
        """Return what a plate takes.

        Parameters
        ----------
        torsion_m4 : (N,) ndarray
            Sum of its regions' torsion constants in every layer [m4].

        Returns
        -------
        QuickPlate
            Settings of the fullest plate, with the body settle that this one wants.

        Notes
        -----
        Light, rises and the base's settle stay those of the fullest plate: a sparse one could do with a little less.
        Where no settle will do in any world, the fullest plate's is kept.
        """
        wanted = self._wanted_s(torsion_m4)
        return self._timed(self._settable(wanted), len(torsion_m4))

    def like_fullest(self, layers: int) -> float:
        """Return the time of a plate of so many layers with the fullest plate's settle [s]."""
        return self._timed(self.body_s, layers).print_s

    def at_least(self, layers: int) -> float:
        """Return the time of a plate of so many layers on which nothing squeezes [s]: no plate takes less."""
        return self._timed(min(self._settable(self._carried(np.zeros(len(self.worlds)))), self.body_s), layers).print_s

    def _settable(self, wanted_s: float) -> float:
        rule = self.case.job.target.controller.rule(SETTLE)
        if not math.isfinite(wanted_s):
            return self.body_s
        proven = self.case.job.recipe.settings.body.settle_s
        return settable(wanted_s + self.offset_s, unit="s", rule=rule, proven=proven, up=True)

    def _timed(self, body: float, count: int) -> QuickPlate:
        settle = np.maximum(body + _fitted(self.extra_s, count, 0.0), 0.0)
        times = self.case.target_times(self.chosen.settings, layers=count, settle_s=settle)
        hand = self.chosen.hand
        visits = tuple(v.at_s for v in hand.visits if v.layer < count) if hand else ()
        return QuickPlate(print_s=times.total_s, settle_s=body, visits_s=visits)


def _probe(torsion_m4: Floats) -> Floats:
    """A plate that steps from thin posts to solid slabs half-way up: what its settle needs tells worlds apart."""
    count = min(len(torsion_m4), PROBE_LAYERS)
    level = float(np.max(torsion_m4))
    return np.where(np.arange(count) < count // 2, 0.02 * level, level)


def _fitted(values: Floats, count: int, beyond: float) -> Floats:
    """The first values of a plate's layers, and what stands for the layers it does not have."""
    return np.concatenate((values[:count], np.full(max(count - len(values), 0), beyond)))


def break_even(larger: MachineWork, smaller: MachineWork) -> BreakEven:
    """Return what one machine does against a smaller one, its slower layers and the person's work included.

    The equation is worth = (n_L / t_L) / (n_S / t_S), n the pieces of a full plate and t its cycle.

    Parameters
    ----------
    larger, smaller : MachineWork
        What their full plates do.

    Returns
    -------
    BreakEven
        How many of the smaller machine do one larger machine's work, and from how many pieces on one larger is never
        behind one smaller.

    Notes
    -----
    Somebody is always there, and pieces are alike.  A plate that is not full takes as long as a full one.

    Examples
    --------
    >>> small = machine_work("Wren", goods="lantern", pieces=6, print_s=17400, layers=1040, hands_s=1200)
    >>> large = machine_work("Albatross", goods="lantern", pieces=24, print_s=25800, layers=1040, hands_s=1200)
    >>> found = break_even(large, small)
    >>> found.area, round(found.worth, 2), found.pieces
    (4.0, 2.76, 7)
    """
    behind = [n for n in range(1, SURE_PIECES + 1) if _time_s(larger, n) > _time_s(smaller, n)]
    last = behind[-1] if behind else 0
    return BreakEven(
        larger=larger.machine,
        smaller=smaller.machine,
        area=larger.pieces / smaller.pieces,
        layer=larger.layer_s / smaller.layer_s,
        run=larger.cycle_s / smaller.cycle_s,
        worth=larger.pieces / larger.cycle_s / (smaller.pieces / smaller.cycle_s),
        pieces=None if last == SURE_PIECES else last + 1,
    )


def _time_s(work: MachineWork, pieces: int) -> float:
    return math.ceil(pieces / work.pieces) * work.cycle_s


def machine_work(
    machine: str, *, goods: str, pieces: int, print_s: float, layers: float, hands_s: float, attempts: float = 1.0
) -> MachineWork:
    """Return what a machine's full plate of one kind of piece, or of one mix, does.

    Parameters
    ----------
    machine, goods : str
        Names of the machine and of the kind of piece.
    pieces : int
        Pieces of the plate.
    print_s : float
        Its time [s].
    layers : float
        Its layers; of several plates, their mean.
    hands_s : float
        A person's time at both ends of the run [s].
    attempts : float
        Plates run until one holds, in the mean [-].
    """
    cycle = attempts * (print_s + hands_s)
    return MachineWork(
        machine=machine, goods=goods, pieces=pieces, print_s=print_s, layer_s=print_s / layers, cycle_s=cycle,
        pieces_h=3600.0 * pieces / cycle,
    )  # fmt: skip
