"""Long work one at a time, with short work in between."""

from __future__ import annotations

import threading

import pytest

from vatwright.errors import InputError
from vatwright.interfaces.web.jobs import KEPT, MOST_WAITING, JobState, TooBusyError, Turns, WorkBench

LONG_S = 30.0
"""How long a test waits before it says that nothing comes."""


@pytest.fixture
def turns():
    return Turns()


@pytest.fixture
def bench(turns):
    bench = WorkBench(turns)
    yield bench
    bench.close()


def ended(work):
    assert work.ended.wait(LONG_S)
    return work


def test_work_is_done_in_order_and_keeps_its_result(bench):
    order = []
    works = [bench.start("count", str(n), lambda _told, n=n: order.append(n) or n * n) for n in range(4)]
    assert [ended(w).result for w in works] == [0, 1, 4, 9]
    assert order == [0, 1, 2, 3]
    assert {w.state for w in works} == {JobState.DONE}
    assert bench.find(works[2].id) is works[2]
    assert bench.going() == []


def test_progress_is_seen_while_it_runs(bench):
    seen, go_on = threading.Event(), threading.Event()

    def task(told):
        told("cutting", 3, 7)
        seen.set()
        assert go_on.wait(LONG_S)

    work = bench.start("cut", "part", task)
    assert seen.wait(LONG_S)
    assert (work.state, work.what, work.done, work.total) == (JobState.RUNNING, "cutting", 3, 7)
    go_on.set()
    ended(work)


def test_cancelled_work_stops_at_its_next_step_and_waiting_work_never_begins(bench):
    begun, steps = threading.Event(), []

    def endless(told):
        while True:
            told("again", len(steps), 0)
            steps.append(1)
            begun.set()

    running, waiting = bench.start("endless", "a", endless), bench.start("never", "b", lambda _told: steps.append("no"))
    assert begun.wait(LONG_S)
    bench.cancel(waiting)
    bench.cancel(running)
    assert ended(running).state is JobState.STOPPED
    assert ended(waiting).state is JobState.STOPPED
    after = bench.start("next", "c", lambda _told: "done")
    assert ended(after).result == "done"
    assert "no" not in steps


def test_stopped_work_has_ended_at_once_and_what_waits_says_what_for(bench):
    begun, go_on = threading.Event(), threading.Event()

    def deaf(told):
        begun.set()
        assert go_on.wait(LONG_S)  # one long step that hears nothing
        return "too late"

    running = bench.start("deaf", "the lanterns", deaf)
    assert begun.wait(LONG_S)
    waiting, last = (
        bench.start("next", "the bishops", lambda _told: 1),
        bench.start("next", "the lamp", lambda _told: 2),
    )
    assert waiting.what == "waits for: the lanterns"
    assert last.what == "waits for: the lanterns and 1 more"
    bench.cancel(running)
    assert running.ended.is_set()
    assert (running.state, running.what, running.going) == (JobState.STOPPED, "stopped", False)
    assert waiting.what == "waits for: the lanterns, whose last step is ending"
    bench.cancel(waiting)
    go_on.set()
    assert ended(last).result == 2
    assert (running.state, running.result) == (JobState.STOPPED, None)


def test_mistakes_are_kept_and_faults_do_not_end_the_worker(bench, caplog):
    problem = InputError.one("lid.stl", "is empty", "Export it again")

    def mistaken(_told):
        raise problem

    def faulty(_told):
        raise ZeroDivisionError

    one, two = bench.start("a", "a", mistaken), bench.start("b", "b", faulty)
    assert ended(one).state is JobState.FAILED
    assert one.problem is problem
    assert ended(two).state is JobState.FAILED
    assert two.problem is None
    assert "ZeroDivisionError" in caplog.text
    assert ended(bench.start("c", "c", lambda _told: 5)).result == 5


def test_the_row_is_bounded_and_old_results_are_forgotten(bench):
    go_on = threading.Event()
    waiting = [bench.start("wait", str(n), lambda _told: go_on.wait(LONG_S)) for n in range(MOST_WAITING)]
    with pytest.raises(TooBusyError):
        bench.start("one more", "x", lambda _told: None)
    go_on.set()
    for work in waiting:
        ended(work)
    last = None
    for n in range(KEPT + 5):
        last = ended(bench.start("short", str(n), lambda _told: None))
    assert bench.find(waiting[0].id) is None
    assert bench.find(last.id) is last
    assert len(bench._kept) <= KEPT + 1


def test_short_work_slips_in_between_the_steps_of_long_work_and_never_beside_it(bench, turns):
    inside, at_step, done = [], threading.Event(), threading.Event()
    most = []

    def long(told):
        inside.append("long")
        while not done.is_set():
            most.append(len(inside))
            at_step.set()
            inside.remove("long")
            told("step", 0, 0)
            inside.append("long")
        return "long"

    work = bench.start("long", "long", long)
    assert at_step.wait(LONG_S)
    for _ in range(5):
        with turns.short():
            inside.append("short")
            most.append(len(inside))
            inside.remove("short")
    done.set()
    assert ended(work).result == "long"
    assert max(most) == 1
