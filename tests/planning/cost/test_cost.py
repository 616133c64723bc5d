"""Cost of an order: sums redone by hand, retries, what is missing, what moves it; and which machine pays."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import carried, job, machine, plate, settings

from vatwright.planning.cost.compare import pay_back, saved
from vatwright.planning.cost.cost import BareCost, CostCase, cost_figures
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.fleet.plate_time import machine_work
from vatwright.records.after import Span
from vatwright.records.cost import Costing, MachineSide, MachineUse, Missing
from vatwright.records.plan import Success
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.stock import Price

PRICES = (
    Price(name="electricity", amount=0.30, per="kWh"),
    Price(name="work", amount=30.0, per="h"),
    Price(name="isopropanol", amount=4.0, per="l"),
    Price(name="film, Wren", amount=12.0),
    Price(name="screen, Wren", amount=50.0),
    Price(name="platform, Wren", amount=20.0),
    Price(name="machine, Wren", amount=400.0),
)


def said(value, factor=1.0):
    return Sourced.about(value, factor=factor, source="user:statement", kind=Kind.STATEMENT)


def costing(**changes):
    use = MachineUse(name="Wren", power_w=said(60.0), film_layers=said(30000.0), screen_s=said(2000 * 3600.0),
                     platform_s=said(4000 * 3600.0), life_s=said(4000 * 3600.0))  # fmt: skip
    steps = ("set up", "take off", "wash", "cure", "visit", "finish", "clear a failure")
    whole = {"machines": (use,), "minutes": {step: said(600.0) for step in steps}}
    return Costing(**whole | changes)


@cache
def sheet():
    return carried(job(), plate([8.0] * 60))


def case(success=(0.85, 0.85, 0.85), **changes):
    found = evolve(sheet(), success=Success(low=success[0], mean=success[1], high=success[2]), pieces=8, hand=None)
    found = evolve(found, time=evolve(found.time, to_s=14400.0, to_plates=2))
    whole = {"sheet": found, "plates": (60, 60), "volume_m3": 80e-6, "clinging_m3": 20e-6, "density_kg_m3": 1100.0,
             "resin_per_kg": 30.0, "solvent": "isopropanol", "bath_m3": 5e-3,
             "bath_batches": Span(low=100.0, value=100.0, high=100.0), "prices": PRICES, "costing": costing()}  # fmt: skip
    return CostCase(**whole | changes)


def test_an_order_of_two_plates_by_hand():
    """Two plates of 2 h and 60 layers, eight pieces, p 0.85; every price and life is exact."""
    resin, clings = 40e-6 * 1100.0 * 30.0, 10e-6 * 1100.0 * 30.0
    worn = 60 / 30000 * 12.0 + 2 / 2000 * 50.0 + 2 / 4000 * 20.0 + 2 / 4000 * 400.0 + 0.06 * 2 * 0.30
    solvent, ten = 5.0 * 4.0 / 100.0, 30.0 / 6.0
    good = resin + clings + worn + solvent + 4 * ten + 4 * ten
    failed = resin + clings + worn + solvent + ten + ten
    expected = 2 * (good + failed * 0.15 / 0.85)
    found = cost_figures(case())
    assert found.total.value == pytest.approx(expected, rel=1e-9)
    assert found.per_piece.value == pytest.approx(expected / 8, rel=1e-9)
    assert sum(line.amount.value for line in found.lines) == pytest.approx(expected, rel=1e-9)
    assert found.hands_s == pytest.approx(2 * (2400 + 0.15 / 0.85 * 1200) + 8 * 600, rel=1e-9)
    assert found.missing == ()


def test_machine_hour_is_the_published_rate():
    """(450 - 50)/4000 + 0.06 x 0.30 + 120/4000 = 0.148 an hour, upkeep here told as a part that wears."""
    prices = [p for p in PRICES if p.name not in {"machine, Wren", "platform, Wren", "screen, Wren"}]
    prices += [Price(name="machine, Wren", amount=400.0), Price(name="platform, Wren", amount=120.0)]
    lines = {x.label: x.amount.value for x in cost_figures(case((1.0, 1.0, 1.0), prices=tuple(prices))).lines}
    assert (lines["machine"] + lines["platform"] + lines["energy"]) / 4.0 == pytest.approx(0.148, rel=1e-9)


def test_a_failure_noticed_sooner_costs_less():
    """At 40 % of the run only resin, wear and energy of that share are spent; work and cleaning stay."""
    early, late = (cost_figures(case(costing=costing(noticed=n))).total.value for n in (0.4, 1.0))
    worn = 40e-6 * 1100.0 * 30.0 + 0.024 + 0.05 + 0.01 + 0.2 + 0.036
    assert late - early == pytest.approx(2 * 0.15 / 0.85 * 0.6 * worn, rel=1e-9)
    table = cost_figures(case()).failures
    assert [f.amount for f in table] == sorted(f.amount for f in table)
    assert (table[-1].layer, table[-1].share) == (59, 1.0)


@pytest.mark.parametrize(
    ("gone", "per"),
    [("electricity", "kWh"), ("work", "h"), ("film, Wren", "piece")],
)
def test_a_price_that_is_missing_is_asked_for(gone, per):
    found = cost_figures(case(prices=tuple(p for p in PRICES if p.name != gone)))
    assert found.missing == (Missing(field="price", of=gone, per=(per,)),)
    assert found.total.value < cost_figures(case()).total.value


def test_a_life_that_is_missing_is_asked_for():
    fields = ("film_layers", "screen_h", "platform_h", "life_h", "power_W")
    found = cost_figures(case(costing=costing(machines=()))).missing
    assert found == tuple(Missing(field=f, of="Wren") for f in fields)


def test_resin_by_the_litre():
    kept = cost_figures(case()).total.value
    by_l = (*PRICES, Price(name="slate", amount=33.0, per="l"))
    assert cost_figures(case(resin_per_kg=None, prices=by_l)).total.value == pytest.approx(kept, rel=1e-9)
    assert any(m.of == "slate" for m in cost_figures(case(resin_per_kg=None)).missing)


def test_range_and_what_moves_it():
    """One input with a range: the range is its two ends, and it stands first."""
    wide = costing(minutes={**costing().minutes, "finish": said(600.0, 2.0)})
    found = cost_figures(case((1.0, 1.0, 1.0), costing=wide, clinging_m3=1e-15))
    # Run time keeps its 5 %: it moves wear and energy only, a hundredth of what finishing moves.
    assert found.total.low == pytest.approx(found.total.value - 8 * 2.5, rel=1e-3)
    assert found.total.high == pytest.approx(found.total.value + 8 * 5.0, rel=1e-3)
    assert found.swings[0].name == "work: finish"
    assert (found.swings[0].low, found.swings[0].high, found.swings[0].unit) == (5.0, 20.0, "min")


def test_independent_ranges_add_up_like_a_simulation():
    """Two independent lognormals that enter the sum linearly: 5 % and 95 % of 200,000 draws (numpy), within 4 %."""
    wide = costing(minutes={**costing().minutes, "finish": said(600.0, 1.3), "wash": said(600.0, 1.3)})
    found = cost_figures(case((1.0, 1.0, 1.0), costing=wide, clinging_m3=1e-15))
    rng = np.random.default_rng(7)
    sigma = math.log(1.3) / 1.6448536269514722
    finish, wash = np.exp(sigma * rng.standard_normal((2, 200_000))) * 600.0
    draws = found.total.value + (8 * (finish - 600.0) + 2 * (wash - 600.0)) / 3600.0 * 30.0
    low, high = np.quantile(draws, (0.05, 0.95))
    assert found.total.high - found.total.value == pytest.approx(high - found.total.value, rel=0.04)
    assert found.total.value - found.total.low == pytest.approx(found.total.value - low, rel=0.04)


def test_a_surer_machine_costs_no_more():
    costs = [cost_figures(case((p, p, p))).total.value for p in (0.3, 0.6, 0.9, 1.0)]
    assert costs == sorted(costs, reverse=True)


# --- which machine ------------------------------------------------------------------------------------------------------


def side(name, *, pieces, layer_s):
    """A thousand layers a plate, 1,200 s of a person's work."""
    work = machine_work(name, goods="tiles", pieces=pieces, print_s=1000.0 * layer_s, layers=1000, hands_s=1200.0)
    return MachineSide(machine=name, cost=None, holds=True, area_m2=1.0, work=work)


def paid(smaller, larger, prices, **book):
    return pay_back(
        side("Heron", pieces=16, layer_s=15.0), side("Wren", pieces=4, layer_s=10.0),
        bare={"Wren": bare(smaller), "Heron": bare(larger)}, prices=prices, costing=Costing(**book),
    )  # fmt: skip


def bare(value, **ends):
    return BareCost(value=value, ends=ends)


def test_break_even_between_two_machines():
    """1200 over a saving of 25 - 9.5 a piece: the 78th; 39 pieces a month make it two months."""
    prices = (Price(name="machine, Heron", amount=1000.0), Price(name="spares, Heron", amount=200.0))
    found = paid(25.0, 9.5, prices, pieces_a_month=39.0)
    assert (found.pieces, found.pieces_range, found.months) == (78, (78, 78), 2.0)
    assert (found.work.area, found.work.layer) == (4.0, 1.5)
    assert found.work.worth == pytest.approx(4.0 * 11_200 / 16_200)
    assert found.missing == (Missing(field="price", of="stations, Heron", per=("piece",)),)


def test_a_machine_without_a_price_is_not_judged():
    found = paid(25.0, 9.5, ())
    assert (found.pieces, found.fixed) == (None, None)


def test_a_machine_that_saves_nothing_never_pays():
    found = paid(9.5, 10.0, (Price(name="machine, Heron", amount=1000.0),))
    assert (found.pieces, found.pieces_range) == (None, (None, None))


def test_rent_of_the_floor_is_taken_off():
    prices = (Price(name="machine, Heron", amount=100.0), Price(name="floor", amount=10.0, per="m2 month"))
    found = paid(5.0, 3.0, prices, pieces_a_month=20.0, machines=(MachineUse(name="Heron", floor_m2=2.0),))
    assert (found.rent_per_piece, found.saves.value, found.pieces) == (1.0, 1.0, 100)


def test_minutes_move_both_machines_at_once():
    """The same slow hand on both machines leaves what is saved as it is; a film's life on each does not."""
    one = bare(10.0, **{"work: finish": (8.0, 14.0), "film life": (10.5, 9.5)})
    other = bare(7.0, **{"work: finish": (5.0, 11.0), "film life": (7.5, 6.5)})
    found = saved(one, other)
    assert found.value == 3.0
    assert found.low == pytest.approx(3.0 - math.hypot(0.5, 0.5))
    assert found.high == pytest.approx(3.0 + math.hypot(0.5, 0.5))


def test_a_large_platform_does_the_work_of_about_four():
    """Common practice, no source: 4 : 1 in area; body 2 + 3 mm and 2 s against 3 + 5 mm and 4 s on 13-14 inches.

    One plate a night: 4 for 1.  Round the clock the slower layer takes its share, but a layer lasts not twice as long.
    """
    small, large = machine(), machine("Albatross", width_mm=300.0, depth_mm=184.0)
    wide = evolve(settings().body, settle_s=4.0, peel_lift_m=0.003, clear_lift_m=0.005)
    layers = [
        layer_times(settings(body=body), m, layers=1000).total_s / 1000
        for m, body in ((small, settings().body), (large, wide))
    ]
    area = large.platform.width_m * large.platform.depth_m / (small.platform.width_m * small.platform.depth_m)
    assert area == pytest.approx(4.0, rel=1e-9)
    assert 2.0 < area * layers[0] / layers[1] < area
