"""Which runs a question is answered from: all of a small notebook, the newest that concern it of a large one."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from vatwright.records.run import RunOutcome
from vatwright.records.stock import FittedFilm, Stock
from vatwright.services.which_runs import ALL, ELSEWHERE, OTHERS, OWN, said_of_rest, stock_told, weighed_runs

START = datetime(2026, 1, 1, tzinfo=UTC)


class Runs:
    """The runs of a notebook in memory."""

    def __init__(self, count, machines):
        self.all = tuple(
            RunOutcome(
                run=f"run {k:04d}", at=START + timedelta(hours=k), job="lanterns", recipe="slate on Wren",
                machine=f"M{k % machines}", resin="slate" if k % 3 else "amber", room_k=293.0, held=k % 7 > 0,
            )
            for k in range(count)
        )  # fmt: skip

    def runs(self, machine=None, resin=None, *, newest=None):
        found = tuple(r for r in self.all if machine in {None, r.machine} and resin in {None, r.resin})
        return found if newest is None else found[-newest:]


def test_a_small_notebook_is_weighed_whole():
    store = Runs(ALL, 50)
    weighed = weighed_runs(store, machines=("M1",))
    assert weighed.outcomes == store.all
    assert weighed.whole
    assert said_of_rest(weighed, "M1", "") == ()


def test_of_a_large_one_the_newest_that_concern_the_question():
    store = Runs(5000, 10)
    found = weighed_runs(store, machines=("M1",), resins=("slate",))
    assert not found.whole
    own = [r for r in found.outcomes if r.machine == "M1"]
    assert own == list(store.runs(machine="M1"))[-OWN:]
    other = [r for r in found.outcomes if r.machine != "M1"]
    assert {r.resin for r in other} == {"slate"}
    assert len({r.machine for r in other}) == OTHERS
    assert len(other) == OTHERS * ELSEWHERE
    assert list(found.outcomes) == sorted(found.outcomes, key=lambda r: r.at)
    (said,) = said_of_rest(found, "M1", "slate")
    assert "M1 and slate" in said


def test_asked_about_nothing_it_is_about_the_machine_that_ran_last_and_says_so():
    store = Runs(5000, 10)
    found = weighed_runs(store)
    assert found.machine == store.all[-1].machine
    assert "the machine that ran last" in said_of_rest(found, "", "")[0]


def test_what_is_left_out_is_not_left_out_by_how_it_ended():
    one, other = Runs(5000, 10), Runs(5000, 10)
    other.all = tuple(RunOutcome(**{**{a: getattr(r, a) for a in r.__slots__ if a != "__weakref__"}, "held": True})
                      for r in one.all)  # fmt: skip
    chosen = [[r.run for r in weighed_runs(s, machines=("M1",), resins=("slate",)).outcomes] for s in (one, other)]
    assert chosen[0] == chosen[1]


def test_only_films_of_their_machines_that_are_in_use_count():
    films = (
        FittedFilm(name="a", machine="M1"), FittedFilm(name="b", machine="M1", removed=START.date()),
        FittedFilm(name="c", machine="M9"),
    )  # fmt: skip
    assert stock_told(Runs(2, 2).all, Stock(films=films)) == ["film a in M1"]
