"""What is due, counted by hand here; the limits themselves are common practice, no source."""

from datetime import UTC, date, datetime

import pytest
from attrs import evolve

from vatwright.planning.upkeep.upkeep import SOON, USUAL, due_on
from vatwright.records.cost import Costing, MachineUse
from vatwright.records.run import Prediction, Quantity, Reading, RunOutcome
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.stock import FittedFilm, Screen, Stock
from vatwright.records.upkeep import Counted, Task, Upkeep
from vatwright.services.look_after import due_of

HOUR_S = 3600.0


def run(day, *, held=True, hours=6.0, read=None, machine="Wren"):
    said = Prediction(chance_low=0.8, chance=0.9, chance_high=0.95, run_time_s=hours * HOUR_S, first_layer_m=6e-5)
    timed = () if read is None else (Reading(quantity=Quantity.RUN_TIME, value=read * HOUR_S, sigma=60.0),)
    return RunOutcome(
        run=f"{machine} {day}", at=datetime(2026, 3, day, 20, 0, tzinfo=UTC), job="feet", recipe="slate on Wren",
        machine=machine, resin="slate", room_k=293.15, held=held, prediction=said, readings=timed,
    )  # fmt: skip


def film(layers, **changes):
    return FittedFilm(name="film 7", machine="Wren", layers=layers, **changes)


def tasks(upkeep=None, stock=None, runs=()):
    return {d.task: d for d in due_on("Wren", upkeep or Upkeep(), stock or Stock(), runs)}


def test_nothing_is_due_where_nothing_was_counted():
    assert tasks() == {}
    assert tasks(stock=Stock(films=(film(1000),)), runs=(run(1),)) == {}


@pytest.mark.parametrize(
    ("layers", "told", "now"), [(26_999, False, False), (27_000, True, False), (30_000, True, True)]
)
def test_a_film_is_told_of_soon_and_then_due(layers, told, now):
    assert SOON * USUAL.film_layers == 27_000
    found = tasks(stock=Stock(films=(film(layers),)))
    assert (Task.FILM in found) is told
    if told:
        assert (found[Task.FILM].now, found[Task.FILM].stated) == (now, False)


def test_a_film_that_was_taken_off_and_one_of_another_machine_are_nobodys():
    old = film(90_000, removed=date(2026, 1, 1))
    other = evolve(film(90_000), machine="Heron")
    assert tasks(stock=Stock(films=(old, other))) == {}


def test_the_shops_own_limit_counts_before_the_cost_files_and_that_before_practice():
    stock = Stock(films=(film(20_000),), screens=(Screen(name="first", machine="Wren", used_s=1500 * HOUR_S),))
    life = Sourced.about(18_000.0, factor=1.5, source="user:statement", kind=Kind.STATEMENT)
    costing = Costing(machines=(MachineUse(name="Wren", film_layers=life),))

    class Wren:
        name, upkeep = "Wren", Upkeep(screen_s=1000 * HOUR_S)

    found = {d.task: d for d in due_of(Wren, costing, stock, ())}
    assert (found[Task.FILM].limit, found[Task.FILM].now, found[Task.FILM].stated) == (18_000, True, True)
    assert found[Task.SCREEN].now
    Wren.upkeep = Upkeep(screen_s=1000 * HOUR_S, film_layers=50_000)
    assert Task.FILM not in {d.task for d in due_of(Wren, costing, stock, ())}


def test_a_failure_calls_for_the_filter_until_the_vat_is_cleaned():
    runs = (run(1), run(2, held=False), run(3))
    found = tasks(runs=runs)[Task.FILTER]
    assert (found.after, found.used, found.now) == (Counted.FAILURE, 1, True)
    assert tasks(Upkeep(cleaned=date(2026, 3, 2)), runs=runs) == {}
    assert Task.FILTER in tasks(Upkeep(cleaned=date(2026, 3, 1)), runs=runs)


def test_runs_and_hours_count_since_the_vat_was_cleaned():
    runs = tuple(run(day, hours=12.0) for day in range(1, 11))
    found = tasks(runs=runs)
    assert (found[Task.FILTER].used, found[Task.FILTER].now) == (10, True)
    assert found[Task.VAT].used == pytest.approx(120 * HOUR_S)
    assert tasks(Upkeep(cleaned=date(2026, 3, 5)), runs=runs) == {}
    assert tasks(Upkeep(filter_runs=100, vat_s=1000 * HOUR_S), runs=runs) == {}


def test_a_time_that_was_read_counts_before_the_one_that_was_said():
    runs = tuple(run(day, hours=1.0, read=12.0) for day in range(1, 11))
    assert tasks(runs=runs)[Task.VAT].used == pytest.approx(120 * HOUR_S)


def test_what_is_most_overdue_comes_first():
    stock = Stock(films=(film(33_000),), screens=(Screen(name="first", machine="Wren", used_s=4000 * HOUR_S),))
    assert [d.task for d in due_on("Wren", Upkeep(), stock, ())] == [Task.SCREEN, Task.FILM]
