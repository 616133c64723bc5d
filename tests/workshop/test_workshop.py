"""The invented workshops of `benchmarks.workshop`: the truth stays out of the plan, and the least that holds is the least.

What is asked of them (more waiting holds more often, nothing below the least does, nobody takes more than a step) follows
from what the words mean, not from a source.
"""

from __future__ import annotations

import math
import pickle

import pytest
from attrs import evolve
from benchmarks.workshop.__main__ import _kept, _known
from benchmarks.workshop.loads import LOADS, pieces_on, read_shape
from benchmarks.workshop.score import against_least, first_holds, published, report
from benchmarks.workshop.series import Bench
from benchmarks.workshop.shops import PAIRS, SIZES, a_workshop

from vatwright.invented_workshops import InventedWorkshops, OverLeast, SaidAndHeld
from vatwright.planning.demand.duration import per_layer
from vatwright.planning.trim.levers import STEP
from vatwright.records.part import PartUse

RUNS, HOLDS = 2, 0.95


@pytest.fixture(scope="module")
def bench():
    return Bench()


@pytest.fixture(scope="module")
def rows(bench):
    return [bench.series(a_workshop(seed), seed=seed, runs=RUNS, holds=HOLDS) for seed in (0, 4)]


def test_the_same_number_is_the_same_workshop():
    assert a_workshop(3) == a_workshop(3)
    assert a_workshop(3) != a_workshop(4)


def test_all_three_sizes_are_carried_to():
    assert {to for _, to in PAIRS} == set(SIZES)


def test_what_is_written_down_is_not_the_truth():
    """Every number that the truth and the file both have was read with an error."""
    for seed in range(20):
        shop = a_workshop(seed)
        for machine in shop.said.machines:
            assert machine.light.irradiance_w_m2.value != shop.truth.machines[machine.name].irradiance_w_m2
            assert machine.stiffness_n_m.value != shop.truth.machines[machine.name].stiffness_n_m


def test_the_first_sheet_knows_only_what_was_written_down(bench):
    """Two workshops that wrote down the same and proved the same recipe get the same sheet, whatever they really are."""
    shop = a_workshop(4)
    job = bench.job(shop, seed=4, trim=True)
    plans = []
    for factor in (1.0, 2.0):
        truth = evolve(shop.truth, viscosity_pa_s=factor * shop.truth.viscosity_pa_s, energy_j_m2=0.3)
        plans.append(bench.first_plan(evolve(shop, truth=truth), job))
    assert plans[0].settings == plans[1].settings
    assert plans[0].chance == plans[1].chance


def test_least_time_holds_and_less_waiting_does_not(bench):
    shop = a_workshop(4)
    truth = bench.truth_of(shop, bench.job(shop, seed=4, trim=True))
    from benchmarks.workshop.truth import least_time

    like = bench.job(shop, seed=4, trim=True).recipe.settings
    least = least_time(truth, like, holds=HOLDS, runs=0)
    assert least.chance >= HOLDS - 1e-9

    def chance(settings):
        settle = per_layer(
            settings, "settle_s", "settle_s", layers=truth.study.layers, controller=truth.machine.controller
        )
        return truth.chance(truth.margins(settings, settle, runs=0))

    body = least.settings.body
    shorter = evolve(least.settings, body=evolve(body, settle_s=0.7 * body.settle_s))
    longer = evolve(least.settings, body=evolve(body, settle_s=2.0 * body.settle_s))
    assert chance(shorter) < least.chance <= chance(longer)
    assert chance(shorter) < HOLDS


def test_no_run_takes_more_than_a_step(rows):
    for series in rows:
        for one, other in zip(series.turns, series.turns[1:], strict=False):
            for name in ("base.settle_s", "body.settle_s"):
                assert other.settings.value(name) >= (1.0 - STEP) * one.settings.value(name) - 1e-9


def test_the_score_counts_what_happened(rows):
    held = sum(s.turns[0].ended.held for s in rows)
    assert first_holds(rows)[:2] == (held, 2)
    middle, mean, high = against_least(rows, 0)
    assert min(t.turns[0].time_s / t.turns[0].least_s for t in rows) <= middle <= high
    assert math.isfinite(mean)
    assert f"{100 * held // 2} % of 2" in report(rows)
    told = published(rows, made="today", command="this")
    assert set(told) == set(InventedWorkshops._fields)
    assert SaidAndHeld(*told["first"])[1:3] == (held, 2)
    assert sum(runs for _, _, runs, *_ in told["classes"]) == told["runs"] == 2 * RUNS
    (only,) = told["times"]  # two runs: the sixth was not made
    spent, least = (sum(getattr(s.turns[0], name) for s in rows) for name in ("time_s", "least_s"))
    assert OverLeast(*only) == (1, pytest.approx(spent / least), 2)


def test_a_workshop_that_was_kept_with_more_runs_answers_for_fewer(rows, tmp_path):
    _kept(str(tmp_path), 4).write_bytes(pickle.dumps(rows[1]))
    (again,) = _known(str(tmp_path), {4: 1})
    assert [t.settings for t in again.turns] == [rows[1].turns[0].settings]
    assert not list(_known(str(tmp_path), {0: 1, 4: RUNS + 1}))


def test_pieces_fit_their_share_of_a_platform():
    for load, (shape, share) in LOADS.items():
        layers = read_shape(PartUse(name=load, file=shape, unit="mm"), layer_nm=50_000).outlines[0]
        assert layers.tops_m[-1] > layers.bottom_m
        assert pieces_on(load, 0.3, 0.17) >= pieces_on(load, 0.15, 0.09) >= 1
        assert share < 1.0
