"""The scheduling core against brute force, written here without it."""

from __future__ import annotations

import itertools

import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.planning.fleet.schedule import (
    Goal,
    Hold,
    Route,
    ScheduleStep,
    Scheduling,
    Score,
    ShopJob,
    Thing,
    by_rules,
    score,
    solve,
)


def plain(lengths, machines=2, goals=(), horizon=200):
    jobs = tuple(ShopJob(name=str(k), routes=(Route((ScheduleStep(n, ((0, 1),)),)),)) for k, n in enumerate(lengths))
    return Scheduling(
        things=(Thing(name="machines", capacity=machines),), jobs=jobs, goals=tuple(goals), horizon=horizon
    )


def brute_makespan(lengths, machines):
    """Every way to give jobs to machines."""
    return min(
        max(sum(n for n, m in zip(lengths, where, strict=True) if m == k) for k in range(machines))
        for where in itertools.product(range(machines), repeat=len(lengths))
    )


def used(problem, done):
    """How much of each thing is in use in each tick, its closed times not counted."""
    table = [[0] * (problem.horizon + 1) for _ in problem.things]
    for job, d in zip(problem.jobs, done, strict=True):
        route = job.routes[d.route]
        lengths = [d.first_length, *(s.length for s in route.steps[1:])]
        for step, begin, length in zip(route.steps, d.starts, lengths, strict=True):
            for thing, count in step.uses:
                for t in range(begin, begin + length):
                    table[thing][t] += count
        for hold in route.holds:
            for t in range(d.starts[hold.first], d.starts[hold.last] + lengths[hold.last]):
                table[hold.thing][t] += 1
    return table


def require_room(problem, done):
    for thing, row in zip(problem.things, used(problem, done), strict=True):
        shut = {t for a, b in thing.closed for t in range(max(a, 0), b)}
        assert all(u <= thing.capacity and not (u and t in shut) for t, u in enumerate(row))


@settings(max_examples=15)
@given(st.lists(st.integers(1, 12), min_size=2, max_size=7), st.integers(2, 3))
def test_like_machines_reach_the_brute_forced_makespan(lengths, machines):
    problem = plain(lengths, machines)
    found = solve(problem, effort=5.0, tries=5)
    require_room(problem, found.done)
    assert found.proven
    assert found.score.makespan == found.least.makespan == brute_makespan(lengths, machines)


@pytest.mark.parametrize("lengths", [(5, 5, 4, 4, 3, 3, 3), (9, 8, 7, 6, 5), (8, 7, 6, 5, 4, 3)])
def test_longest_first_stays_within_grahams_bound(lengths):
    """4/3 - 1/(3m) of the optimum (Graham 1969, theorem 2)."""
    machines = 3
    done, _ = by_rules(plain(lengths, machines), tries=0)
    assert max(d.end for d in done) <= (4 / 3 - 1 / (3 * machines)) * brute_makespan(lengths, machines) + 1e-9


def test_grahams_worst_case_is_mended_by_the_solver():
    """2m+1 jobs on m = 4 machines: longest first takes 4m-1 = 15, the best 3m = 12 (Graham 1969, from memory)."""
    problem = plain((7, 7, 6, 6, 5, 5, 4, 4, 4), 4)
    done, _ = by_rules(problem, tries=0)
    assert max(d.end for d in done) == 15
    assert solve(problem, effort=5.0).score.makespan == 12


def test_lateness_comes_before_makespan():
    """One machine, three jobs: brute force over all orders, least total lateness first, then the end."""
    lengths, dues = (4, 3, 5), (12, 3, 8)
    goals = [Goal((k,), due) for k, due in enumerate(dues)]
    problem = plain(lengths, 1, goals)
    best = min(
        sum(max(0, sum(lengths[j] for j in order[: i + 1]) - dues[k]) for i, k in enumerate(order))
        for order in itertools.permutations(range(3))
    )
    found = solve(problem, effort=5.0)
    assert found.score == Score(best, 12, 0)
    assert found.proven


def night_problem(lengths, units=1):
    """A person from tick 0 to 10 of every 24 starts (1) and unloads (1); the machine waits for it."""
    closed = tuple((24 * d + 10, 24 * d + 24) for d in range(10))
    things = (Thing(name="people", closed=closed), Thing(name="machine", capacity=units))
    jobs = tuple(
        ShopJob(
            name=str(k),
            routes=(Route((ScheduleStep(1, ((0, 1),)), ScheduleStep(1, ((0, 1),), after=0, lag=n)), (Hold(1, 0, 1),)),),
        )
        for k, n in enumerate(lengths)
    )
    return Scheduling(things=things, jobs=jobs, horizon=240)


def brute_nights(lengths):
    """One machine: every order, each started and unloaded as soon as somebody is there."""

    def there(t):
        while t % 24 >= 10:
            t += 1
        return t

    ends = []
    for order in itertools.permutations(lengths):
        t = 0
        for n in order:
            t = there(there(t) + 1 + n) + 1
        ends.append(t)
    return min(ends)


@pytest.mark.parametrize("lengths", [(3, 12, 3), (6, 6, 13, 2), (1, 2, 3, 20), (8, 8)])
def test_long_runs_go_into_the_night(lengths):
    problem = night_problem(lengths)
    found = solve(problem, effort=5.0)
    require_room(problem, found.done)
    assert found.score.makespan == brute_nights(lengths)


def vats(jobs, *, loaded="slate", change=3):
    thing = Thing(name="vat", state=loaded, change=change)
    made = tuple(
        ShopJob(name=str(k), state=resin, routes=(Route((ScheduleStep(length),), (Hold(0, 0, 0),)),))
        for k, (length, resin) in enumerate(jobs)
    )
    return Scheduling(things=(thing,), jobs=made, horizon=100)


def test_resins_are_changed_no_oftener_than_needed():
    """Slate is in the vat: slate first, then one change, by inspection; the end is all lengths and one change."""
    found = solve(vats([(4, "amber"), (2, "slate"), (5, "amber"), (3, "slate")]), effort=5.0)
    assert found.score == Score(0, 4 + 2 + 5 + 3 + 3, 1)
    assert found.proven


def test_a_due_time_is_worth_a_change():
    """Amber is due at 7: change first (3 + 4), then back to slate (3 + 2)."""
    problem = vats([(4, "amber"), (2, "slate")])
    late = evolve(problem, goals=(Goal((0,), 7),))
    assert solve(late, effort=5.0).score == Score(0, 12, 2)
    assert solve(problem, effort=5.0).score == Score(0, 9, 1)


def test_a_job_takes_the_machine_on_which_it_ends_first():
    """A quick and a slow machine, three jobs: brute force over who takes what."""
    quick, slow = (4, 6, 3), (7, 9, 5)
    things = (Thing(name="quick"), Thing(name="slow"))
    jobs = tuple(
        ShopJob(name=str(k), routes=(Route((ScheduleStep(a, ((0, 1),)),)), Route((ScheduleStep(b, ((1, 1),)),))))
        for k, (a, b) in enumerate(zip(quick, slow, strict=True))
    )
    best = min(
        max(sum(quick[k] for k in range(3) if w[k] == 0), sum(slow[k] for k in range(3) if w[k]))
        for w in itertools.product((0, 1), repeat=3)
    )
    assert solve(Scheduling(things=things, jobs=jobs, horizon=60), effort=5.0).score.makespan == best


def test_the_same_problem_gives_the_same_schedule():
    problem = night_problem((6, 6, 13, 2, 5), units=2)
    assert solve(problem, effort=2.0) == solve(problem, effort=2.0)


def test_what_fits_no_time_has_no_schedule():
    assert solve(plain((300,), horizon=200), effort=1.0) is None


@settings(max_examples=20)
@given(st.lists(st.integers(0, 30), min_size=1, max_size=8), st.integers(1, 3))
def test_the_rules_never_use_more_than_there_is(lengths, units):
    problem = night_problem(lengths, units)
    done, order = by_rules(problem, tries=10)
    require_room(problem, done)
    assert sorted(order) == list(range(len(lengths)))
    assert score(problem, done).makespan == max(d.end for d in done)
