"""Who does what when: jobs of steps on things of which there are so many, some closed at times, solved and bounded.

A job takes one of its routes.  A route is a row of steps, each after another one with at least, or exactly, so much
time between; it may hold a thing from the start of one step to the end of another.  A thing may be in a state, such as
the resin in a vat, and a job that wants another one then begins with a change.  Time is counted in whole ticks.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from attrs import field, frozen

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from numpy.typing import NDArray

    Counts = NDArray[np.int64]
    Mask = NDArray[np.bool_]

SEED = 7


@frozen(kw_only=True)
class Thing:
    """Something jobs need: a machine, several like ones, people, a station.

    Parameters
    ----------
    name : str
        What it is called.
    capacity : int
        How many may be in use at once.
    closed : tuple of (int, int)
        Times in which none is to be had [ticks].
    state : str or None
        State at the start, for things that have one; then `capacity` is 1 and only holds use it.
    change : int
        How much longer the first step of a job takes that wants another state [ticks].
    """

    name: str
    capacity: int = 1
    closed: tuple[tuple[int, int], ...] = ()
    state: str | None = None
    change: int = 0


class ScheduleStep(NamedTuple):
    """One step: its length, what it uses (thing, how many), after which step, by how much, and whether exactly."""

    length: int
    uses: tuple[tuple[int, int], ...] = ()
    after: int = -1
    lag: int = 0
    exact: bool = False


class Hold(NamedTuple):
    """A thing held from the start of one step to the end of another."""

    thing: int
    first: int
    last: int


class Route(NamedTuple):
    """One way to do a job; `first_exactly` pins the start of its first step."""

    steps: tuple[ScheduleStep, ...]
    holds: tuple[Hold, ...] = ()
    first_exactly: int | None = None


@frozen(kw_only=True)
class ShopJob:
    """Something to be done.

    Parameters
    ----------
    name : str
        What it is called.
    routes : tuple of Route
        Ways to do it; one is taken.
    state : str
        State it wants of what it holds; empty where it does not care.
    earliest : int
        When its first step may start [ticks].
    """

    name: str
    routes: tuple[Route, ...] = field()
    state: str = ""
    earliest: int = 0


class Goal(NamedTuple):
    """Jobs that together should end by a time; each tick later counts `weight`."""

    jobs: tuple[int, ...]
    due: int
    weight: int = 1


@frozen(kw_only=True)
class Scheduling:
    """Everything to be scheduled within a horizon [ticks]."""

    things: tuple[Thing, ...]
    jobs: tuple[ShopJob, ...]
    goals: tuple[Goal, ...] = ()
    horizon: int


class Done(NamedTuple):
    """How a job is done: its route, the start of each step, how long the first one takes, and when it ends [ticks]."""

    route: int
    starts: tuple[int, ...]
    first_length: int
    end: int


class Score(NamedTuple):
    """What is made small, in this order: weighted lateness, the last end, changes of state."""

    lateness: int
    makespan: int
    changes: int


@frozen(kw_only=True)
class Solution:
    """A schedule and how far from the best it can be.

    Parameters
    ----------
    done : tuple of Done
        One a job.
    score : Score
        What it reaches.
    least : Score
        What none can go below; of the makespan, among schedules that are no later than this one.
    proven : bool
        Whether lateness and makespan are the best there are.
    """

    done: tuple[Done, ...]
    score: Score
    least: Score
    proven: bool


def score(problem: Scheduling, done: Sequence[Done]) -> Score:
    """Return what a schedule reaches."""
    late = 0
    for goal in problem.goals:
        late += goal.weight * max(0, max(done[j].end for j in goal.jobs) - goal.due)
    changes = sum(
        d.first_length > job.routes[d.route].steps[0].length for d, job in zip(done, problem.jobs, strict=True)
    )
    return Score(late, max((d.end for d in done), default=0), changes)


# --- one job after the other, each as early as it can ------------------------------------------------------------------


class _Board:
    """What is in use when."""

    def __init__(self, problem: Scheduling) -> None:
        self.problem = problem
        self.used = np.zeros((len(problem.things), problem.horizon + 1), dtype=np.int64)
        for row, thing in zip(self.used, problem.things, strict=True):
            for begin, end in thing.closed:
                row[max(begin, 0) : end] = thing.capacity
        self.state = [t.state for t in problem.things]
        self.free_from = [0] * len(problem.things)

    def open(self, uses: tuple[tuple[int, int], ...], length: int) -> Mask:
        """At which ticks so much of those things is free for so long."""
        horizon = self.problem.horizon
        possible = np.zeros(horizon + 1, dtype=np.bool_)
        possible[: max(horizon - length + 1, 0)] = True
        for thing, count in uses:
            taken = self.used[thing] + count > self.problem.things[thing].capacity
            total = np.concatenate(([0], np.cumsum(taken)))
            ends = np.minimum(np.arange(horizon + 1) + length, horizon + 1)
            possible &= total[ends] == total[: horizon + 1]
        return possible

    def best(self, job: ShopJob) -> Done | None:
        """The route that ends first, as early as it can start."""
        found = [d for r in range(len(job.routes)) if (d := self.earliest(job, r)) is not None]
        return min(found, key=lambda d: (d.end, d.first_length)) if found else None

    def earliest(self, job: ShopJob, number: int) -> Done | None:
        route = job.routes[number]
        longer, begin = 0, job.earliest
        for hold in route.holds:
            thing = self.problem.things[hold.thing]
            if thing.state is not None:
                begin = max(begin, self.free_from[hold.thing])
                if job.state and self.state[hold.thing] not in {"", job.state}:
                    longer = thing.change
        steps = (route.steps[0]._replace(length=route.steps[0].length + longer), *route.steps[1:])
        masks = [self.open(s.uses, s.length) for s in steps]
        possible = masks[0].copy()
        for hold in route.holds:
            possible &= self.open(((hold.thing, 1),), _least_length(steps, hold))
        if route.first_exactly is not None:
            candidates: Iterator[int] = iter((route.first_exactly,))
        else:
            candidates = iter((np.flatnonzero(possible[begin:]) + begin).tolist())
        for first in candidates:
            starts = _starts(steps, masks, first)
            if starts is None:
                continue
            if route.first_exactly is not None or self._held(route, steps, starts):
                end = max(s + step.length for s, step in zip(starts, steps, strict=True))
                return Done(number, starts, steps[0].length, end)
        return None

    def _held(self, route: Route, steps: tuple[ScheduleStep, ...], starts: tuple[int, ...]) -> bool:
        for hold in route.holds:
            begin, end = starts[hold.first], starts[hold.last] + steps[hold.last].length
            if (self.used[hold.thing, begin:end] >= self.problem.things[hold.thing].capacity).any():
                return False
        return True

    def put(self, job: ShopJob, done: Done) -> None:
        route = job.routes[done.route]
        for number, (step, begin) in enumerate(zip(route.steps, done.starts, strict=True)):
            length = step.length if number else done.first_length
            for thing, count in step.uses:
                self.used[thing, begin : begin + length] += count
        for hold in route.holds:
            length = route.steps[hold.last].length if hold.last else done.first_length
            end = done.starts[hold.last] + length
            self.used[hold.thing, done.starts[hold.first] : end] += 1
            self.free_from[hold.thing] = max(self.free_from[hold.thing], end)
            if job.state and self.problem.things[hold.thing].state is not None:
                self.state[hold.thing] = job.state


def _least_length(steps: tuple[ScheduleStep, ...], hold: Hold) -> int:
    """How long a hold lasts at least."""
    least, at = steps[hold.last].length, hold.last
    while at != hold.first and steps[at].after >= 0:
        least += steps[at].lag + steps[steps[at].after].length
        at = steps[at].after
    return least


def _starts(steps: tuple[ScheduleStep, ...], masks: list[Mask], first: int) -> tuple[int, ...] | None:
    """When each step starts at the earliest if the first one starts then; None where that cannot be."""
    starts = [first]
    for step, mask in zip(steps[1:], masks[1:], strict=True):
        begin = starts[step.after] + steps[step.after].length + step.lag
        if begin >= len(mask):
            return None
        if not mask[begin]:
            if step.exact:
                return None
            wait = int(np.argmax(mask[begin:]))
            if wait == 0:
                return None
            begin += wait
        starts.append(begin)
    return tuple(starts)


def in_order(problem: Scheduling, order: Sequence[int]) -> list[Done] | None:
    """Return the schedule that puts one job after the other, each as early as it can; None where one finds no time."""
    board = _Board(problem)
    done: list[Done | None] = [None] * len(problem.jobs)
    for j in order:
        found = board.best(problem.jobs[j])
        if found is None:
            return None
        board.put(problem.jobs[j], found)
        done[j] = found
    return [d for d in done if d is not None]


def by_rules(problem: Scheduling, *, tries: int = 60, enough: int = 0) -> tuple[list[Done], list[int]] | None:
    """Return the best schedule of a few simple rules, then of `tries` changes to their order; None where none fits.

    Parameters
    ----------
    problem : Problem
        What to schedule.
    tries : int
        Changes to try, each a whole schedule.
    enough : int
        A makespan that none can go below: once there, and nothing late, it stops [ticks].

    Returns
    -------
    tuple or None
        One :class:`Done` a job, and the order in which they were put.

    Notes
    -----
    Rules: earliest due first with the longest first among those; longest first (Graham 1969).  A change moves one job,
    one of those that end last or late half of the time, to another place; the numbers are drawn from a fixed seed.

    References
    ----------
    Graham, "Bounds on multiprocessing timing anomalies", SIAM J. Appl. Math. 17 (1969) 416-429. [graham:1969]
    """
    due = [problem.horizon] * len(problem.jobs)
    for goal in problem.goals:
        for j in goal.jobs:
            due[j] = min(due[j], goal.due)
    long = [max(sum(s.length + s.lag for s in r.steps) for r in job.routes) for job in problem.jobs]
    pinned = [job.routes[0].first_exactly is None for job in problem.jobs]
    states = [job.state for job in problem.jobs]
    every = range(len(problem.jobs))
    rules = (
        sorted(every, key=lambda j: (pinned[j], due[j], -long[j], j)),
        sorted(every, key=lambda j: (pinned[j], due[j], states[j], -long[j], j)),
        sorted(every, key=lambda j: (pinned[j], -long[j], j)),
        sorted(every, key=lambda j: (pinned[j], states[j], -long[j], j)),
    )
    found = [(score(problem, d), k, d) for k, rule in enumerate(rules) if (d := in_order(problem, rule)) is not None]
    if not found:
        return None
    best_score, k, best = min(found, key=lambda f: (f[0], f[1]))
    return _moved_about(
        problem, best, best_score, list(rules[k]), fixed=pinned.count(False), tries=tries, enough=enough
    )


def _moved_about(
    problem: Scheduling, best: list[Done], best_score: Score, order: list[int], *, fixed: int, tries: int, enough: int
) -> tuple[list[Done], list[int]]:
    draw = np.random.default_rng(SEED)
    free = len(order) - fixed
    for turn in range(tries if free > 1 else 0):
        if best_score <= Score(0, enough, 0):
            break
        late = sorted(order[fixed:], key=lambda j: -best[j].end)[: max(free // 8, 1)]
        moved = late[int(draw.integers(len(late)))] if turn % 2 else order[fixed + int(draw.integers(free))]
        trial = [j for j in order if j != moved]
        trial.insert(fixed + int(draw.integers(free)), moved)
        done = in_order(problem, trial)
        if done is not None and (reached := score(problem, done)) <= best_score:
            best, best_score, order = done, reached, trial
    return best, order


# --- the solver --------------------------------------------------------------------------------------------------------


def solve(problem: Scheduling, *, effort: float = 10.0, tries: int = 60, makespan_least: int = 0) -> Solution | None:
    """Return the best schedule found and what none can go below.

    Parameters
    ----------
    problem : Problem
        What to schedule.
    effort : float
        The solver's own deterministic time for each of the three aims; 0 leaves it out.
    tries : int
        Changes of order to try before it.
    makespan_least : int
        A bound on the makespan that is known already [ticks].

    Returns
    -------
    Solution or None
        None where nothing fits into the horizon.

    Notes
    -----
    Lateness first, then makespan, then changes: each aim is held while the next is sought.  One worker, a fixed seed and
    deterministic time: the same problem gives the same schedule on every machine.  A CP-SAT model with optional
    intervals, no-overlap, cumulative and circuit constraints.

    References
    ----------
    Perron, Didier and Gay, "The CP-SAT-LP solver", CP 2023, LIPIcs 280, 3:1-3:2. [perron:2023]
    """
    started = by_rules(problem, tries=tries, enough=makespan_least)
    if started is None and effort <= 0.0:
        return None
    done = started[0] if started else None
    if effort <= 0.0 or (done is not None and _is_best(problem, done, makespan_least)):
        assert done is not None  # noqa: S101 - for the reader and mypy: see above
        reached = score(problem, done)
        sure = _is_best(problem, done, makespan_least)
        return Solution(done=tuple(done), score=reached, least=Score(0, makespan_least, 0), proven=sure)
    return _Model(problem).solved(done, effort, makespan_least)


def _is_best(problem: Scheduling, done: Sequence[Done], makespan_least: int) -> bool:
    reached = score(problem, done)
    return reached.lateness == 0 and reached.changes == 0 and reached.makespan <= makespan_least


class _Model:
    """The CP-SAT model of a problem."""

    def __init__(self, problem: Scheduling) -> None:
        from ortools.sat.python import cp_model  # a second and a half: only those who schedule wait for it

        self.cp, self.problem = cp_model, problem
        self.model = cp_model.CpModel()
        self.taken: list[list[Any]] = []
        self.starts: list[list[list[Any]]] = []
        self.changed: list[Any] = []
        self.ends: list[Any] = []
        self.intervals: list[list[tuple[Any, int]]] = [[] for _ in problem.things]
        self.rows: dict[int, list[tuple[int, Any, Any, Any]]] = {}
        for number, job in enumerate(problem.jobs):
            self._job(number, job)
        self._things()
        m, h = self.model, problem.horizon
        self.makespan = m.new_int_var(0, h, "makespan")
        m.add_max_equality(self.makespan, self.ends or [0])
        self.lateness = sum(self._late(g) for g in problem.goals) if problem.goals else m.new_constant(0)
        self.changes = sum(self.changed) if self.changed else m.new_constant(0)

    def _late(self, goal: Goal) -> Any:
        late = self.model.new_int_var(0, max(self.problem.horizon - goal.due, 0), "")
        for j in goal.jobs:
            self.model.add(late >= self.ends[j] - goal.due)
        return goal.weight * late

    def _job(self, number: int, job: ShopJob) -> None:
        m, h = self.model, self.problem.horizon
        end = m.new_int_var(0, h, "")
        taken = [m.new_bool_var("") for _ in job.routes]
        m.add_exactly_one(taken)
        changed = m.new_bool_var("")
        self.taken.append(taken)
        self.changed.append(changed)
        self.ends.append(end)
        self.starts.append([self._route(number, job, r, taken[r], changed, end, h) for r in range(len(job.routes))])

    def _route(self, number: int, job: ShopJob, r: int, here: Any, changed: Any, end: Any, horizon: int) -> list[Any]:
        m, route = self.model, job.routes[r]
        change = max((self.problem.things[x.thing].change for x in route.holds if self._has_state(x.thing)), default=0)
        if not change:
            m.add_implication(here, changed.Not())
        starts: list[Any] = []
        ends: list[Any] = []
        for k, step in enumerate(route.steps):
            begin = m.new_int_var(job.earliest if k == 0 else 0, horizon, "")
            length = step.length + (change * changed if k == 0 and change else 0)
            stop = m.new_int_var(0, horizon, "")
            interval = m.new_optional_interval_var(begin, length, stop, here, "")
            for thing, count in step.uses:
                self.intervals[thing].append((interval, count))
            if step.after >= 0 and k:
                wanted = ends[step.after] + step.lag
                m.add(begin == wanted if step.exact else begin >= wanted).only_enforce_if(here)
            starts.append(begin)
            ends.append(stop)
            m.add(end >= stop).only_enforce_if(here)
        if route.first_exactly is not None:
            m.add(starts[0] == route.first_exactly).only_enforce_if(here)
        for hold in route.holds:
            begin, stop = starts[hold.first], ends[hold.last]
            if self._has_state(hold.thing):
                self.rows.setdefault(hold.thing, []).append((number, here, begin, stop))
            size = m.new_int_var(0, horizon, "")
            self.intervals[hold.thing].append((m.new_optional_interval_var(begin, size, stop, here, ""), 1))
        return starts

    def _has_state(self, thing: int) -> bool:
        return self.problem.things[thing].state is not None

    def _things(self) -> None:
        m = self.model
        for number, thing in enumerate(self.problem.things):
            inside = list(self.intervals[number])
            # What is closed forever reaches to the horizon, as far as it goes.
            for begin, stop in thing.closed:
                shut = m.new_fixed_size_interval_var(begin, stop - begin, "")
                inside.append((shut, thing.capacity))
            if not inside:
                continue
            if thing.capacity == 1:
                m.add_no_overlap([i for i, _ in inside])
            else:
                m.add_cumulative([i for i, _ in inside], [c for _, c in inside], thing.capacity)
        for number, row in self.rows.items():
            self._one_after_the_other(self.problem.things[number], row)

    def _one_after_the_other(self, thing: Thing, row: list[tuple[int, Any, Any, Any]]) -> None:
        """A round trip through the jobs on a thing with a state: who follows whom tells who changes it."""
        m, jobs = self.model, self.problem.jobs
        nobody = m.new_bool_var("")
        arcs: list[tuple[int, int, Any]] = [(0, 0, nobody)]
        for a, (ja, here, _, stop) in enumerate(row, 1):
            arcs.append((a, a, here.Not()))
            m.add_implication(nobody, here.Not())
            first, last = m.new_bool_var(""), m.new_bool_var("")
            arcs += [(0, a, first), (a, 0, last)]
            self._changes(ja, first, thing.state or "", jobs[ja].state)
            for b, (jb, _, begin, _) in enumerate(row, 1):
                if a != b:
                    follows = m.new_bool_var("")
                    arcs.append((a, b, follows))
                    m.add(begin >= stop).only_enforce_if(follows)
                    self._changes(jb, follows, jobs[ja].state, jobs[jb].state)
        m.add_circuit(arcs)

    def _changes(self, job: int, arc: Any, before: str, wanted: str) -> None:
        different = bool(before and wanted and before != wanted)
        self.model.add_implication(arc, self.changed[job] if different else self.changed[job].Not())

    def solved(self, done: list[Done] | None, effort: float, makespan_least: int) -> Solution | None:
        m, least, proven = self.model, [0, makespan_least, 0], True
        m.add(self.makespan >= makespan_least)
        for aim, value in enumerate((self.lateness, self.makespan, self.changes)):
            if done is not None:
                self._hint(done)
                m.add(value <= score(self.problem, done)[aim])
                if score(self.problem, done)[aim] <= least[aim]:
                    continue
            m.minimize(value)
            solver = self._solver(effort)
            status = solver.solve(m)
            if status == self.cp.INFEASIBLE or (status == self.cp.UNKNOWN and done is None):
                return None
            if status in {self.cp.OPTIMAL, self.cp.FEASIBLE}:
                done = self._read(solver)
            least[aim] = max(least[aim], int(np.ceil(solver.best_objective_bound - 1e-6)))
            proven &= status == self.cp.OPTIMAL or aim > 1
            assert done is not None  # noqa: S101 - UNKNOWN without a start has left above
            m.add(value <= score(self.problem, done)[aim])
        assert done is not None  # noqa: S101 - the first aim has found one or left
        return Solution(done=tuple(done), score=score(self.problem, done), least=Score(*least), proven=proven)

    def _solver(self, effort: float) -> Any:
        solver = self.cp.CpSolver()
        solver.parameters.num_workers = 1
        solver.parameters.random_seed = SEED
        solver.parameters.interleave_search = False
        solver.parameters.max_deterministic_time = effort
        return solver

    def _hint(self, done: Sequence[Done]) -> None:
        m = self.model
        m.clear_hints()  # type: ignore[no-untyped-call]
        for j, d in enumerate(done):
            m.add_hint(self.ends[j], d.end)
            m.add_hint(self.changed[j], d.first_length > self.problem.jobs[j].routes[d.route].steps[0].length)
            for r, here in enumerate(self.taken[j]):
                m.add_hint(here, r == d.route)
            for begin, value in zip(self.starts[j][d.route], d.starts, strict=True):
                m.add_hint(begin, value)

    def _read(self, solver: Any) -> list[Done]:
        done = []
        for j, job in enumerate(self.problem.jobs):
            r = next(k for k, here in enumerate(self.taken[j]) if solver.value(here))
            starts = tuple(int(solver.value(s)) for s in self.starts[j][r])
            holds = job.routes[r].holds
            change = max((self.problem.things[x.thing].change for x in holds if self._has_state(x.thing)), default=0)
            first = job.routes[r].steps[0].length + (change if change and solver.value(self.changed[j]) else 0)
            lengths = [first, *(s.length for s in job.routes[r].steps[1:])]
            end = max(s + n for s, n in zip(starts, lengths, strict=True))
            done.append(Done(r, starts, first, end))
        return done
