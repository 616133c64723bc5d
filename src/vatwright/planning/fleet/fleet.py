"""A whole order book on a shop's machines: plates, who runs what when, what is late, how far from the best it can be."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from attrs import evolve, frozen
from numpy.typing import NDArray

from vatwright.errors import WillNotWork
from vatwright.planning.carry.warmth import warm_up
from vatwright.planning.fleet.plate_time import break_even, machine_work
from vatwright.planning.fleet.run_bound import LikeMachines, least_makespan
from vatwright.planning.fleet.schedule import (
    Done,
    Goal,
    Hold,
    Route,
    ScheduleStep,
    Scheduling,
    Score,
    ShopJob,
    Solution,
    Thing,
    solve,
)
from vatwright.planning.plates.plate_filling import (
    FILLED,
    Goods,
    Laid,
    Packer,
    Want,
    fill_plates,
    fleet_plate,
    least_busy,
    share_out,
    torsion_of,
    wanted_of_each,
)
from vatwright.records.fleet import Bounds, BreakEven, FleetPlan, FleetPlate, FleetRun, MachineWork, OrderOutcome
from vatwright.records.orders import OrderBook, Past, PastRun, Unit
from vatwright.records.stock import Station, StationKind
from vatwright.records.warmth import WarmUp
from vatwright.wording import to_say

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from vatwright.planning.plates.plate_filling import QuickTimes

    Times = Mapping[tuple[str, int], QuickTimes]

Ticks = NDArray[Any]

TICK_S = 300.0
"""Plans count in five minutes: closer than people keep to a plan."""

SMALL = 24
"""Up to so many plates the solver looks at the plan, and plates may go to any machine that takes them."""

TRIED_PIECES = 400
"""Up to so many pieces every choice of kinds of machine is tried."""

EFFORT = 6.0
"""Deterministic time of the solver for each of its three aims; three times as much for more than `SMALL` plates."""

MOST_ARCS = 40_000
"""Who-follows-whom of vats and resins beyond which the solver is left out and the rules must do."""

CORRECTED = 3
"""How often the shares of a large book are corrected by when each kind of machine ended."""

SLACK = 3.0
"""By how much longer than the work alone a plan may last before nothing fits [-]."""


@frozen(kw_only=True, eq=False)
class FleetCase:
    """What a plan is made of: the book, what is wanted, the kinds, the times and the footprints."""

    book: OrderBook
    wants: tuple[Want, ...]
    goods: tuple[Goods, ...]
    times: Times
    packer: Packer
    past: Past
    kept: tuple[PastRun, ...]
    known: Mapping[tuple[str, str], Goods]

    def units(self, machine: str) -> tuple[Unit, ...]:
        """Units of a machine that work."""
        return tuple(u for u in self.book.units if u.machine.name == machine and u.name not in self.past.down)


def _untold(_what: str, _done: int, _total: int) -> None:
    """Tell nobody."""


def split_past(past: Past) -> tuple[tuple[PastRun, ...], tuple[PastRun, ...]]:
    """Return the runs of an earlier plan that are over, and those that still run or wait to be unloaded.

    Parameters
    ----------
    past : Past
        That plan, and what happened.

    Returns
    -------
    tuple of tuple of PastRun
        Runs that failed, had not begun or stood on a unit that stopped before they were off are in neither: their
        pieces are to be made again.
    """
    lived = [r for r in past.runs if r.plate not in past.failed and r.start_s < past.now_s]
    over = tuple(r for r in lived if r.off_s <= past.now_s)
    return over, tuple(r for r in lived if r.off_s > past.now_s and r.unit not in past.down)


def plan_fleet(
    book: OrderBook,
    wants: Sequence[Want],
    goods: Sequence[Goods],
    times: Times,
    *,
    past: Past | None = None,
    packer: Packer | None = None,
    effort: float = EFFORT,
    notes: tuple[str, ...] = (),
    step: Callable[[str, int, int], None] = _untold,
) -> FleetPlan:
    """Return the plan of an order book.

    Parameters
    ----------
    book : OrderBook
        Machines, people, stations, orders.
    wants : sequence of Want
        All pieces of all orders.
    goods : sequence of Goods
        Their kinds.
    times : mapping of (str, int) to QuickTimes
        How long plates take, by machine and material.
    past : Past or None
        What has happened to an earlier plan.
    packer : Packer or None
        Footprints made before.
    effort : float
        Deterministic time for the solver.
    notes : tuple of str
        What to know besides.
    step : callable
        Told what is being done, how far, of how much; may raise to stop it.

    Returns
    -------
    FleetPlan
        Lateness first, then makespan, then changes of resin.

    Raises
    ------
    WillNotWork
        Where nobody can make a piece, or nothing fits into the shifts that are known.
    """
    past = past or Past()
    over, kept = split_past(past)
    known = {(w.order, w.part): goods[w.goods] for w in wants}
    wants = _still_wanted(wants, (*over, *kept))
    packer = packer or Packer(book, goods, counts=wanted_of_each(wants, len(goods)))
    shop = FleetCase(
        book=book, wants=tuple(wants), goods=tuple(goods), times=times, packer=packer, past=past, kept=kept,
        known=known,
    )  # fmt: skip
    _require_made(shop)
    plates, solution, problem = _best_plates(shop, effort, step)
    runs = (*_over_runs(over), *_runs(shop, plates, problem, solution))
    outcomes = tuple(_outcome(o.name, book, runs) for o in book.orders)
    works = _works(shop)
    return FleetPlan(
        book=book,
        plates=tuple(plates),
        runs=tuple(sorted(runs, key=lambda r: (r.start_s, r.unit))),
        orders=outcomes,
        bounds=_bounds(shop, plates, solution, outcomes),
        works=works,
        break_even=_break_evens(works),
        now_s=past.now_s,
        down=past.down,
        notes=notes,
        sources=("graham:1969", "farley:1990", "perron:2023", "baker:1980"),
        warm_up=_warm_up(book),
    )


def _warm_up(book: OrderBook) -> WarmUp | None:
    first = book.orders[0]
    return warm_up(book.room_k, proven_k=first.recipe.proof.room_k, density_kg_m3=first.resin.density_kg_m3)


def _still_wanted(wants: Sequence[Want], made: Iterable[PastRun]) -> list[Want]:
    """What is left once the pieces of some runs are taken off."""
    have: dict[tuple[str, str], int] = {}
    for run in made:
        for piece in run.pieces:
            have[piece.order, piece.part] = have.get((piece.order, piece.part), 0) + piece.pieces
    left = []
    for want in wants:
        taken = min(have.get((want.order, want.part), 0), want.count)
        have[want.order, want.part] = have.get((want.order, want.part), 0) - taken
        if want.count > taken:
            left.append(evolve(want, count=want.count - taken))
    return left


def _can(shop: FleetCase, want: Want, machine: str) -> bool:
    material = shop.goods[want.goods].material
    placed = machine in want.machines and shop.packer.fits.get((want.goods, machine), False)
    return placed and (machine, material) in shop.times and bool(shop.units(machine))


def _require_made(shop: FleetCase) -> None:
    names = [m.name for m in shop.book.machines]
    for want in shop.wants:
        if not any(_can(shop, want, n) for n in names):
            allowed = ", ".join(sorted(want.machines & set(names))) or to_say("no machine of this shop")
            raise WillNotWork(
                to_say(
                    "{order}: {part} fits no machine that may make it and still works ({allowed}). "
                    "Allow another machine, turn the part or take it out.",
                    order=want.order,
                    part=want.part,
                    allowed=allowed,
                )
            )


# --- plates ------------------------------------------------------------------------------------------------------------


class _Try(NamedTuple):
    """Plates for one choice of machines, and the best schedule that the rules found for them."""

    score: Score
    number: int
    plates: list[FleetPlate]
    problem: Scheduling
    done: tuple[Done, ...]


def _tried(shop: FleetCase, speed: Mapping[str, float], number: int) -> _Try | None:
    """Fill plates with pieces shared out at these speeds and schedule them by rules."""
    first = 1 + max((_number(r.plate) for r in shop.past.runs), default=0)
    laid = _laid(shop, speed)
    plates = [
        fleet_plate(p, f"P{first + k}", shop.wants, shop.goods, shop.times[p.machine.name, p.material])
        for k, p in enumerate(laid)
    ]
    problem = _problem(shop, plates, laid)
    found = solve(problem, effort=0.0, tries=_tries(len(plates)) // 16)
    return None if found is None else _Try(found.score, number, plates, problem, found.done)


def _corrected(shop: FleetCase, speed: Mapping[str, float], trial: _Try) -> dict[str, float]:
    """Speeds by which machines that ended late get less: the ends of what the rules found stand for the rest."""
    ends = dict.fromkeys(speed, 0)
    for plate, done in zip(trial.plates, trial.done[len(shop.kept) :], strict=True):
        ends[plate.machine.name] = max(ends[plate.machine.name], done.end - _now(shop))
    middle = sum(ends.values()) / max(sum(e > 0 for e in ends.values()), 1)
    return {n: s * (middle / ends[n] if ends[n] else 1.1) for n, s in speed.items()}


def _best_plates(
    shop: FleetCase, effort: float, step: Callable[[str, int, int], None]
) -> tuple[list[FleetPlate], Solution, Scheduling]:
    """Try choices of machines for the pieces, by rules; the best one is then solved."""
    tried: list[_Try] = []
    choices = _choices(shop)
    corrections = CORRECTED if sum(w.count for w in shop.wants) > TRIED_PIECES else 0
    for number, speed in enumerate(choices):
        step(to_say("trying how to share out the pieces"), number, len(choices))
        found = _tried(shop, speed, number)
        if found is not None:
            tried.append(found)
            if number < corrections:
                choices.append(_corrected(shop, speed, found))
    if not tried:
        raise WillNotWork(to_say("The orders do not fit into the shifts that are known. Add hours, machines or days."))
    _, _, plates, problem, _ = min(tried, key=lambda t: t[:2])
    step(to_say("working out how soon it could be done"), 0, 1)
    least = _least_ticks(shop, plates, problem.horizon)
    step(to_say("putting the runs in order"), 0, 1)
    small = len(plates) <= SMALL
    spent = 0.0 if _arcs(problem) > MOST_ARCS else effort if small else 3.0 * effort
    tries = _tries(len(plates)) // (5 if spent else 1)
    solution = solve(problem, effort=spent, tries=tries, makespan_least=0 if small else least)
    assert solution is not None  # noqa: S101 - the rules have found one above
    if small and len({p.machine.name for p in plates}) == 1 == len(shop.book.machines):
        solution = evolve(solution, least=solution.least._replace(makespan=max(solution.least.makespan, least)))
    return plates, solution, problem


def _arcs(problem: Scheduling) -> int:
    """Pairs of jobs that may follow each other on things with a state."""
    count = [0] * len(problem.things)
    for job in problem.jobs:
        for thing in {h.thing for r in job.routes for h in r.holds}:
            count[thing] += 1
    return sum(n * n for n, thing in zip(count, problem.things, strict=True) if thing.state is not None)


def _number(plate: str) -> int:
    return int(plate[1:]) if plate[:1] == "P" and plate[1:].isdigit() else 0


def _tries(plates: int) -> int:
    """Fewer trials where each takes longer."""
    return int(min(1500, 60_000 / max(plates, 1)))


def _choices(shop: FleetCase) -> list[dict[str, float]]:
    """Kinds of machine to share pieces out to, with how much each counts."""
    count = _working(shop)
    needed = [frozenset(n for n in count if _can(shop, w, n)) for w in shop.wants]
    if sum(w.count for w in shop.wants) > TRIED_PIECES:
        return _balanced(shop, count)
    picked = [set(c) for k in range(1, len(count) + 1) for c in itertools.combinations(count, k)]
    return [{n: count[n] for n in some} for some in picked if all(n & some for n in needed)]


def _balanced(shop: FleetCase, count: dict[str, float]) -> list[dict[str, float]]:
    """Shares corrected for how well each kind of machine keeps busy between the hours of its people."""
    speed = dict(count)
    for _ in range(3):
        shares = share_out(shop.wants, _work(shop), speed)
        ends = {}
        for name, number in count.items():
            lengths = _guessed_lengths(shop, shares, name)
            ends[name] = _ends(shop, lengths, int(number))
        middle = float(np.mean([e for e in ends.values() if e > 0] or [1]))
        speed = {n: s * (middle / ends[n] if ends[n] > 0 else 1.0) ** 0.7 for n, s in speed.items()}
    return [speed]


def _guessed_lengths(shop: FleetCase, shares: Sequence[Mapping[str, int]], machine: str) -> list[int]:
    """Run lengths of the plates that pieces will make, tallest first, before any is packed [ticks]."""
    room = FILLED * shop.packer.floors[machine].free
    pieces = sorted(
        ((shop.goods[w.goods].layers, shop.packer.cells[w.goods], shop.goods[w.goods].material)
         for w, share in zip(shop.wants, shares, strict=True) for _ in range(share.get(machine, 0))),
        key=lambda p: (p[2], -p[0]),
    )  # fmt: skip
    lengths: list[int] = []
    filled, material = math.inf, -1
    for layers, cells, of in pieces:
        if filled + cells > room or of != material:
            lengths.append(_ticks(shop.times[machine, of].like_fullest(layers)))
            filled, material = 0.0, of
        filled += float(cells)
    return lengths


def _ends(shop: FleetCase, lengths: Sequence[int], machines: int) -> int:
    """When like machines are through with plates, longest first, each machine with a person of its own [ticks]."""
    handling = shop.book.handling
    horizon = _horizon(shop, sum(lengths) + 4 * len(lengths), machines)
    open_ = _on_duty(shop.book, horizon)
    begin = _first_open(open_, _ticks(handling.setup_s))
    unload = _first_open(open_, _ticks(handling.unload_s))
    free = [_now(shop)] * machines
    for length in sorted(lengths, reverse=True):
        k = free.index(min(free))
        ready = min(begin[min(free[k], horizon)] + _ticks(handling.setup_s) + length, horizon)
        free[k] = min(int(unload[ready]) + _ticks(handling.unload_s), horizon)
    return max(free) - _now(shop)


def _first_open(open_: Ticks, length: int) -> Ticks:
    """The first tick at or after each from which somebody is there for so long; the last one where none is."""
    horizon = len(open_)
    shut = np.concatenate(([0], np.cumsum(~open_)))
    fine = np.zeros(horizon + 1, dtype=np.bool_)
    fine[: horizon - length + 1] = shut[length:] == shut[: horizon - length + 1]
    found = np.where(fine, np.arange(horizon + 1), horizon)
    return np.asarray(np.minimum.accumulate(found[::-1])[::-1])


def _work(shop: FleetCase) -> dict[tuple[int, str], float]:
    """Machine time of one piece of each kind on each machine: its share of a full plate as tall as itself [s]."""
    handling = shop.book.handling
    hands = handling.setup_s + handling.unload_s
    work = {}
    for (g, name), fits in shop.packer.fits.items():
        goods = shop.goods[g]
        if fits and (name, goods.material) in shop.times:
            share = float(shop.packer.cells[g]) / (FILLED * shop.packer.floors[name].free)
            work[g, name] = share * (shop.times[name, goods.material].like_fullest(goods.layers) + hands)
    return work


def _laid(shop: FleetCase, speed: Mapping[str, float]) -> list[Laid]:
    shares = share_out(shop.wants, _work(shop), speed)
    return [
        plate
        for machine in shop.book.machines
        if machine.name in speed
        for plate in fill_plates(shop.wants, shop.goods, shares, machine, shop.packer)
    ]


# --- the schedule ------------------------------------------------------------------------------------------------------


def _ticks(seconds: float) -> int:
    """Whole ticks that cover a time."""
    return max(math.ceil(seconds / TICK_S - 1e-9), 0)


def _now(shop: FleetCase) -> int:
    return _ticks(shop.past.now_s)


def _horizon(shop: FleetCase, work: int, machines: int) -> int:
    known = math.floor(shop.book.shifts[-1].to_s / TICK_S)
    day = _ticks(86_400.0)
    return max(min(known, _now(shop) + 5 * day + int(SLACK * work / max(machines, 1))), _now(shop) + 1)


def _on_duty(book: OrderBook, horizon: int) -> Ticks:
    """Ticks in which somebody is there all the time."""
    there = np.zeros(horizon, dtype=np.bool_)
    for shift in book.shifts:
        there[_ticks(shift.from_s) : max(math.floor(shift.to_s / TICK_S + 1e-9), 0)] = True
    return there


def _closed(there: Ticks) -> tuple[tuple[int, int], ...]:
    edges = np.flatnonzero(np.diff(np.concatenate(([False], ~there, [False])).astype(np.int8)))
    return tuple((int(a), int(b)) for a, b in edges.reshape(-1, 2))


def _problem(shop: FleetCase, plates: Sequence[FleetPlate], laid: Sequence[Laid]) -> Scheduling:
    """Plates as jobs; like units are one thing, unless some vat would have to change its resin."""
    book = shop.book
    total = sum(_ticks(p.print_s) + 6 for p in plates)
    horizon = _horizon(shop, total, len(book.units) - len(shop.past.down))
    things = [Thing(name="people", capacity=book.persons, closed=_closed(_on_duty(book, horizon)))]
    things += [Thing(name=k.value, capacity=max(sum(s.kind is k for s in book.stations), 1)) for k in StationKind]
    resins = {p.resin for p in plates} | {u.loaded for u in book.units if u.loaded}
    where: dict[str, list[int]] = {}
    for machine in book.machines:
        units = shop.units(machine.name)
        if not units:
            continue
        where[machine.name] = []
        if len(resins) <= 1:
            where[machine.name].append(len(things))
            things.append(Thing(name=machine.name, capacity=len(units)))
            continue
        for unit in units:
            where[machine.name].append(len(things))
            state = _resin_now(shop, unit)
            things.append(Thing(name=unit.name, state=state, change=_ticks(book.handling.change_s)))
    jobs = [_kept_job(shop, run, things, where) for run in shop.kept]
    open_choice = len(plates) <= SMALL
    jobs += [
        ShopJob(
            name=p.name,
            state=p.resin,
            earliest=_now(shop),
            routes=_routes(shop, p, one, where, any_machine=open_choice),
        )
        for p, one in zip(plates, laid, strict=True)
    ]
    return Scheduling(things=tuple(things), jobs=tuple(jobs), goals=_goals(shop, plates), horizon=horizon)


def _resin_now(shop: FleetCase, unit: Unit) -> str:
    """Resin in a vat: of the plate that was last begun there."""
    begun = [r for r in shop.past.runs if r.unit == unit.name and r.start_s < shop.past.now_s]
    last = max(begun, key=lambda r: r.start_s, default=None)
    return unit.loaded if last is None else _resin_of(shop, last) or unit.loaded


def _resin_of(shop: FleetCase, run: PastRun) -> str:
    return next((shop.known[c.order, c.part].resin for c in run.pieces if (c.order, c.part) in shop.known), "")


def _goals(shop: FleetCase, plates: Sequence[FleetPlate]) -> tuple[Goal, ...]:
    goals = []
    holders = [{c.order for c in pieces} for pieces in (*(r.pieces for r in shop.kept), *(p.counts for p in plates))]
    for order in shop.book.orders:
        mine = tuple(j for j, names in enumerate(holders) if order.name in names)
        if order.due_s is not None and mine:
            goals.append(Goal(mine, max(math.floor(order.due_s / TICK_S), 0)))
    return tuple(goals)


def _care(shop: FleetCase, area_m2: float) -> tuple[int, int]:
    """How long a plate's pieces take in the wash and in the cure, load after load [ticks]."""
    handling = shop.book.handling
    wash, cure = (_loads(shop.book.stations, kind, area_m2) for kind in StationKind)
    return _ticks(wash * handling.wash_s), _ticks(cure * handling.cure_s)


STANDING_ROOM = 0.5
"""Share of a station's floor that pieces can cover side by side [-]; engineering estimate, no source."""


def _loads(stations: Sequence[Station], kind: StationKind, area_m2: float) -> int:
    floors = [s.width_m * s.depth_m for s in stations if s.kind is kind]
    return max(math.ceil(area_m2 / (STANDING_ROOM * min(floors)) - 1e-9), 1) if floors else 0


def _routes(
    shop: FleetCase, plate: FleetPlate, laid: Laid, where: Mapping[str, list[int]], *, any_machine: bool
) -> tuple[Route, ...]:
    """One route for every thing that may run a plate."""
    area = sum(shop.goods[s.kind].area_m2 for _, s in laid.pieces)
    wash, cure = _care(shop, area)
    routes = []
    for name, things in where.items():
        if name == plate.machine.name:
            print_s, visits = plate.print_s, plate.visits_s
        elif any_machine and _takes(shop, laid, name):
            quick = shop.times[name, laid.material].plate(torsion_of(laid, shop.goods))
            print_s, visits = quick.print_s, quick.visits_s
        else:
            continue
        steps = _steps(shop, print_s, visits, wash, cure)
        unload = next(k for k, s in enumerate(steps) if s.after == 0 and not s.exact and k)
        routes += [Route(steps, (Hold(thing, 0, unload),)) for thing in things]
    return tuple(routes)


def _takes(shop: FleetCase, laid: Laid, name: str) -> bool:
    """Whether a plate laid out for one machine stands on another as it is."""
    machine = next(m for m in shop.book.machines if m.name == name)
    mine, other = laid.machine.platform, machine.platform
    large = other.width_m >= mine.width_m and other.depth_m >= mine.depth_m and other.corner_m <= mine.corner_m + 0.005
    return large and all(_can(shop, shop.wants[w], name) for w, _ in laid.pieces)


def _steps(
    shop: FleetCase, print_s: float, visits_s: Sequence[float], wash: int, cure: int
) -> tuple[ScheduleStep, ...]:
    """Set up, visits at their minute, unload when somebody is there, wash, cure."""
    handling, people = shop.book.handling, ((0, 1),)
    steps = [ScheduleStep(_ticks(handling.setup_s), people)]
    lags = sorted({math.floor(v / TICK_S) for v in visits_s})
    steps += [ScheduleStep(_ticks(handling.visit_s), people, after=0, lag=lag, exact=True) for lag in lags]
    steps.append(ScheduleStep(_ticks(handling.unload_s), people, after=0, lag=_ticks(print_s)))
    return (*steps, *_wash_and_cure(len(steps) - 1, wash, cure))


def _wash_and_cure(after: int, wash: int, cure: int) -> tuple[ScheduleStep, ...]:
    steps = []
    for thing, length in ((1, wash), (2, cure)):
        if length:
            steps.append(ScheduleStep(length, ((thing, 1),), after=after))
            after += 1
    return tuple(steps)


def _kept_job(shop: FleetCase, run: PastRun, things: Sequence[Thing], where: Mapping[str, list[int]]) -> ShopJob:
    """A run that goes on: nothing to start, but it holds its unit until somebody unloads it."""
    unit = next(u for u in shop.book.units if u.name == run.unit)
    mine = where[unit.machine.name]
    thing = next((t for t in mine if things[t].name == unit.name), mine[0])
    left = max(_ticks(run.ready_s) - _now(shop), 0)
    areas = [c.pieces * shop.known[c.order, c.part].area_m2 for c in run.pieces if (c.order, c.part) in shop.known]
    wash, cure = _care(shop, sum(areas))
    steps = (
        ScheduleStep(left),
        ScheduleStep(_ticks(shop.book.handling.unload_s), ((0, 1),), after=0),
        *_wash_and_cure(1, wash, cure),
    )
    return ShopJob(
        name=run.plate,
        state=_resin_of(shop, run),
        earliest=_now(shop),
        routes=(Route(steps, (Hold(thing, 0, 1),), first_exactly=_now(shop)),),
    )


def _least_ticks(shop: FleetCase, plates: Sequence[FleetPlate], horizon: int) -> int:
    """Before when no order of these plates on their kinds of machine is done [ticks]."""
    handling, book = shop.book.handling, shop.book
    there = _on_duty(book, horizon)
    setup, unload = _ticks(handling.setup_s), _ticks(handling.unload_s)
    after = sum(_care(shop, 0.0))
    least = _people_least(shop, plates, there) + after
    opens = [_first_open(there, n)[:-1] == np.arange(horizon) for n in (setup, unload)]
    off = _first_open(there, unload)
    for machine in book.machines:
        lengths = [_ticks(p.print_s) for p in plates if p.machine.name == machine.name]
        busy = {r.unit: int(off[min(_ticks(r.ready_s), horizon)]) + unload for r in shop.kept}
        # So many people set up so many machines at a time: the others begin later.
        first = int(_first_open(there, setup)[min(_now(shop), horizon)])
        free = tuple(
            max(t, first + k // book.persons * setup)
            for k, t in enumerate(sorted(busy.get(u.name, _now(shop)) for u in shop.units(machine.name)))
        )
        place = LikeMachines(
            free_from=free, open_setup=opens[0], open_unload=opens[1], setup=setup, unload=unload, after=after
        )
        least = max(least, least_makespan(lengths, place, most=horizon))
    return least


def _people_least(shop: FleetCase, plates: Sequence[FleetPlate], there: Ticks) -> int:
    """When people could be through with setting up, visits and unloading if they had nothing else to do [ticks]."""
    handling = shop.book.handling
    each = _ticks(handling.setup_s) + _ticks(handling.unload_s)
    work = sum(each + _ticks(handling.visit_s) * len({math.floor(v / TICK_S) for v in p.visits_s}) for p in plates)
    done = np.cumsum(np.where(np.arange(len(there)) >= _now(shop), there, 0)) * shop.book.persons
    return int(np.searchsorted(done, work)) + 1 if plates else _now(shop)


# --- what comes of it --------------------------------------------------------------------------------------------------


def _runs(shop: FleetCase, plates: Sequence[FleetPlate], problem: Scheduling, solution: Solution) -> list[FleetRun]:
    """Runs with their units: like units take turns, whichever is free."""
    kept = len(shop.kept)
    runs: list[FleetRun] = []
    free: dict[str, float] = {u.name: shop.past.now_s for u in shop.book.units}
    for run, done in zip(shop.kept, solution.done, strict=False):
        off = (done.starts[1] * TICK_S) + shop.book.handling.unload_s
        free[run.unit] = off
        runs.append(
            FleetRun(
                run.plate, run.unit, run.start_s, run.start_s, run.ready_s, off, done.end * TICK_S, (), False, True,
                run.pieces,
            )
        )  # fmt: skip
    order = sorted(range(len(plates)), key=lambda k: (solution.done[kept + k].starts[0], k))
    for k in order:
        done, job = solution.done[kept + k], problem.jobs[kept + k]
        runs.append(_new_run(shop, plates[k], problem, job, done, free))
    return runs


def _new_run(
    shop: FleetCase, plate: FleetPlate, problem: Scheduling, job: ShopJob, done: Done, free: dict[str, float]
) -> FleetRun:
    route = job.routes[done.route]
    hold = route.holds[0]
    thing = problem.things[hold.thing].name
    start = done.starts[0] * TICK_S
    begin = start + done.first_length * TICK_S
    off = (done.starts[hold.last] + route.steps[hold.last].length) * TICK_S
    ready = begin + route.steps[hold.last].lag * TICK_S
    names = [u.name for u in shop.book.units if thing in {u.name, u.machine.name} and u.name not in shop.past.down]
    unit = min(names, key=lambda n: (free[n] > start + 1e-6, names.index(n)))
    free[unit] = off
    visits = tuple(s * TICK_S for s in done.starts[1 : hold.last])
    changed = done.first_length > route.steps[0].length
    return FleetRun(plate.name, unit, start, begin, ready, off, done.end * TICK_S, visits, changed, False, plate.counts)


def _over_runs(over: Sequence[PastRun]) -> list[FleetRun]:
    return [
        FleetRun(r.plate, r.unit, r.start_s, r.start_s, r.ready_s, r.off_s, r.cured_s, (), False, True, r.pieces)
        for r in over
    ]


def _outcome(order: str, book: OrderBook, runs: Sequence[FleetRun]) -> OrderOutcome:
    asked = next(o for o in book.orders if o.name == order)
    pieces = sum(p.count for p in asked.parts)
    ends = [r.cured_s for r in runs if any(c.order == order for c in r.pieces)]
    made = sum(c.pieces for r in runs for c in r.pieces if c.order == order)
    done = max(ends) if ends and made >= pieces else None
    late = max(done - asked.due_s, 0.0) if done is not None and asked.due_s is not None else 0.0
    return OrderOutcome(order, pieces, done, asked.due_s, late)


def _bounds(
    shop: FleetCase, plates: Sequence[FleetPlate], solution: Solution, outcomes: Sequence[OrderOutcome]
) -> Bounds:
    lateness = sum(o.late_s for o in outcomes)
    makespan = solution.score.makespan * TICK_S
    return Bounds(
        lateness_s=lateness,
        lateness_least_s=min(solution.least.lateness * TICK_S, lateness),
        makespan_s=makespan,
        makespan_least_s=min(solution.least.makespan * TICK_S, makespan),
        any_plates_s=min(_poured_s(shop), makespan) if plates else 0.0,
        changes=solution.score.changes,
        proven=solution.proven,
    )


def _poured_s(shop: FleetCase) -> float:
    """When all would be done if pieces filled platforms without a gap and a plate took no longer than its own height."""
    handling = shop.book.handling
    work = {}
    for (g, name), fits in shop.packer.fits.items():
        goods, floor = shop.goods[g], shop.packer.floors[name]
        if fits and (name, goods.material) in shop.times:
            share = goods.area_m2 / (floor.free * floor.pitch_m**2)
            hands = handling.setup_s + handling.unload_s
            work[g, name] = share * (shop.times[name, goods.material].at_least(goods.layers) + hands)
    return shop.past.now_s + least_busy(shop.wants, work, _working(shop))


def _working(shop: FleetCase) -> dict[str, float]:
    """How many units of each machine work."""
    count = {m.name: float(len(shop.units(m.name))) for m in shop.book.machines}
    return {n: c for n, c in count.items() if c > 0}


def _works(shop: FleetCase) -> tuple[MachineWork, ...]:
    """What a full plate of one kind of piece does on each machine: of the kind that takes most room in the book."""
    room: dict[int, float] = {}
    names = [m.name for m in shop.book.machines if all((m.name, g.material) in shop.times for g in shop.goods)]
    for want in shop.wants:
        if all(shop.packer.fits[want.goods, n] for n in names):
            room[want.goods] = room.get(want.goods, 0.0) + want.count * shop.goods[want.goods].area_m2
    if not room:
        return ()
    g = max(room, key=lambda k: (room[k], -k))
    goods, handling, found = shop.goods[g], shop.book.handling, []
    for name in names:
        floor = shop.packer.floors[name]
        stand, _ = shop.packer.bench.fill([g] * math.ceil(floor.free / shop.packer.cells[g] + 1), floor.copy())
        found.append(
            machine_work(
                name,
                goods=goods.name,
                pieces=len(stand),
                print_s=shop.times[name, goods.material].plate(len(stand) * goods.torsion_m4).print_s,
                layers=goods.layers,
                hands_s=handling.setup_s + handling.unload_s,
            )
        )
    return tuple(found)


def _break_evens(works: Sequence[MachineWork]) -> tuple[BreakEven, ...]:
    return tuple(
        break_even(larger, smaller)
        for smaller, larger in itertools.combinations(sorted(works, key=lambda w: w.pieces), 2)
        if larger.pieces > smaller.pieces
    )
