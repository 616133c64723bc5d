"""Quick plate times against full carries, and what machines are worth against each other."""

from __future__ import annotations

import numpy as np
import pytest
from tests.planning.workshop import demo_job, demo_plate

from vatwright.planning.carry.carry import planned
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.fleet.plate_time import QUICK_ERROR, CarriedRecipe, break_even, machine_work

FULLEST = {"Wren": {"lantern": 7}, "Albatross": {"lantern": 20, "lantern_base": 2}}


def carried(name, parts):
    proven = demo_plate("Wren", lantern=5, lantern_base=1)
    return planned(demo_job(name), proven=proven, target=demo_plate(name, **parts))


def _recipe(name, parts):
    case, chosen = carried(name, parts)
    return CarriedRecipe(case=case, chosen=chosen)


@pytest.fixture(scope="module")
def recipes():
    return {name: _recipe(name, parts) for name, parts in FULLEST.items()}


@pytest.mark.parametrize(
    ("name", "parts"),
    [("Wren", {"lantern_base": 6}), ("Wren", {"lantern": 1}), ("Albatross", {"lantern": 8, "cup": 4})],
)
def test_a_quick_time_is_near_the_full_carrys(recipes, name, parts):
    """Settles here go from 1.9 s to 8.4 s; the stated error is that of the print time."""
    _, chosen = carried(name, parts)
    study = demo_plate(name, **parts)
    full = layer_times(
        chosen.settings, demo_job(name).target, layers=study.layers, settle_s=chosen.settle_s
    ).total_s  # fmt: skip
    assert recipes[name].plate(study.torsion_m4).print_s == pytest.approx(full, rel=QUICK_ERROR)


@pytest.mark.parametrize("name", FULLEST)
def test_the_fullest_plate_keeps_its_own_time(recipes, name):
    """Nothing is approximated on the plate that was carried."""
    recipe, study = recipes[name], demo_plate(name, **FULLEST[name])
    full = layer_times(
        recipe.chosen.settings, demo_job(name).target, layers=study.layers, settle_s=recipe.chosen.settle_s
    ).total_s
    assert recipe.plate(study.torsion_m4).print_s == pytest.approx(full, rel=1e-9)


def test_more_to_squeeze_takes_no_less_time(recipes):
    torsion = demo_plate("Wren", lantern_base=6).torsion_m4
    times = [recipes["Wren"].plate(share * torsion).print_s for share in (0.1, 0.5, 1.0, 2.0)]
    assert times == sorted(times)
    assert recipes["Wren"].at_least(len(torsion)) <= times[0]


def test_a_short_plate_takes_the_time_of_its_layers(recipes):
    recipe = recipes["Wren"]
    both = [recipe.like_fullest(n) for n in (400, 800)]
    body = layer_times(
        recipe.chosen.settings, demo_job("Wren").target, layers=800, settle_s=np.full(800, recipe.body_s)
    ).layer_s[-1]
    assert both[1] - both[0] == pytest.approx(400 * body, rel=1e-6)


def work(name, pieces, layer_s, layers=1000, hands_s=1200.0):
    return machine_work(name, goods="lantern", pieces=pieces, print_s=layer_s * layers, layers=layers, hands_s=hands_s)


def test_four_times_the_plate_with_like_layers_does_the_work_of_four():
    found = break_even(work("large", 24, 17.0), work("compact", 6, 17.0))
    assert (found.area, found.layer) == (4.0, 1.0)
    assert found.worth == pytest.approx(4.0)
    assert found.pieces == 1


def test_slower_layers_take_their_part_of_it():
    """(24 / 6) x (17,000 + 1,200) / (25,500 + 1,200), by the formula of its docstring."""
    found = break_even(work("large", 24, 25.5), work("compact", 6, 17.0))
    assert found.worth == pytest.approx(4.0 * 18_200 / 26_700)
    # Up to six pieces the compact one is through first; twelve take it two plates.
    assert found.pieces == 7


def test_a_machine_that_is_too_slow_never_gets_ahead():
    assert break_even(work("large", 8, 60.0), work("compact", 6, 17.0)).pieces is None


def test_a_large_platform_does_the_work_of_some_compact_ones(recipes):
    """Common practice, no source: about four to one in area, a little less in work because its layers are slower."""
    pieces = {"Wren": 7, "Albatross": 30}  # lanterns on a full plate, as packed for the demo's order book
    lantern = demo_plate("Wren", lantern=1).torsion_m4
    works = [
        machine_work(
            n, goods="lantern", pieces=k, print_s=recipes[n].plate(k * lantern).print_s, layers=len(lantern), hands_s=1200
        )
        for n, k in pieces.items()
    ]  # fmt: skip
    found = break_even(works[1], works[0])
    assert found.area == pytest.approx(4.0, rel=0.15)
    assert 1.0 < found.layer < 2.0
    assert 2.0 < found.worth < found.area
