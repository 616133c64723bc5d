"""The cheapest mend: each is the least that is enough, priced by the run's own clock, and refused where it must be."""

from functools import cache

import pytest
from attrs import evolve
from tests.planning.workshop import carried, job, machine, plate, settings, settle_rule

from vatwright.planning.carry.mend import LEVEL_LARGE_MIN, LEVEL_MIN, five_readings
from vatwright.records.first_layer import FirstLayers, Mend
from vatwright.records.job import Hands
from vatwright.records.machine import LevelReading, Obeys, Rule

LAYERS = 80
LARGE = {"name": "Albatross", "width_mm": 296.0, "depth_mm": 166.0}


@cache
def base(rule=None, light=None, visits=0, slope=0.0, light_s=14.0) -> FirstLayers:
    """A large machine, with the values proven on a compact one typed in; `rule` and `light` say what it obeys."""
    rules = {}
    if rule:
        rules |= settle_rule(**dict(rule))
    if light:
        rules["exposure_s"] = Rule(**dict(light))
    large = machine(**LARGE, rules=rules)
    corners = [(sx * 0.14, sy * 0.075) for sx in (-1, 1) for sy in (-1, 1)]
    level = tuple(LevelReading(x_m=x, y_m=y, gap_m=3e-4 + slope * x) for x, y in (*corners, (0.0, 0.0)))
    proven = settings()
    proven = evolve(proven, base=evolve(proven.base, exposure_s=light_s, settle_s=2.0))
    task = job(target=evolve(large, level=level), recipe=proven, hands=Hands(visits=visits))
    study = plate([8.0] * LAYERS, spread_mm=(120.0, 60.0))
    return carried(task, plate([8.0] * LAYERS, spread_mm=(50.0, 30.0)), study).first_layer


def of(first: FirstLayers, kind: str) -> Mend:
    return next(m for m in first.mends if m.kind == kind)


def test_the_proven_values_as_typed_let_go_here():
    first = base()
    assert first.typed.chance < 0.5
    assert not first.mends_plan
    assert {m.kind for m in first.mends} == {"settle", "exposure", "layers", "level", "warmth"}


@pytest.mark.parametrize("kind", ["settle", "exposure"])
def test_a_mend_is_the_least_that_is_enough(kind):
    """One step less of the same is not enough: judged by a base typed in with one step less."""
    first = base()
    mend = of(first, kind)
    assert mend.works
    assert mend.chance >= first.enough
    step = 0.1 if mend.to_value <= 10.0 else 1.0
    again = _typed(mend.kind, mend.to_value - step)
    assert again.typed.chance < first.enough + 0.005  # steps as people set them, the search stops at a thousandth
    assert _typed(mend.kind, mend.to_value).typed.chance >= first.enough - 1e-9


@cache
def _typed(kind: str, value: float) -> FirstLayers:
    """The same proven worlds, and the machine made to give this value whatever is typed in."""
    quantity = {"settle": "settle_s", "exposure": "exposure_s"}[kind]
    rule = (("obeys", Obeys.YES), ("minimum", value), ("maximum", 1e4), ("step", 0.1))
    return base(rule=rule) if quantity == "settle_s" else base(light=rule)


def test_a_separate_base_settle_costs_its_layers_alone():
    mend = of(base(), "settle")
    assert mend.minutes == pytest.approx(4 * (mend.to_value - mend.from_value) / 60.0, rel=1e-9)


def test_a_shared_settle_costs_every_layer_unless_a_hand_lowers_it():
    shared = (("obeys", Obeys.SHARED), ("live", True))
    alone, tended = (of(base(rule=shared, visits=v), "settle") for v in (0, 3))
    assert alone.minutes == pytest.approx(LAYERS * (alone.to_value - alone.from_value) / 60.0, rel=1e-9)
    assert tended.minutes == pytest.approx(4 * (tended.to_value - tended.from_value) / 60.0, rel=1e-9)
    assert "nobody lowers" in alone.note
    assert "by hand" in tended.note


def test_more_light_costs_its_seconds_in_base_and_ramp():
    """Four base layers, and over four ramp layers 4/5 + 3/5 + 2/5 + 1/5 = 2 more (linear ramp)."""
    mend = of(base(), "exposure")
    assert mend.minutes == pytest.approx((4 + 2) * (mend.to_value - mend.from_value) / 60.0, rel=1e-9)


def test_what_the_controller_does_not_take_is_said():
    capped = of(base(rule=(("obeys", Obeys.YES), ("maximum", 4.0))), "settle")
    assert capped.enough
    assert not capped.allowed
    assert not capped.works
    assert "4 s at most" in capped.note
    ignored = of(base(rule=(("obeys", Obeys.NO), ("fixed", 1.0))), "settle")
    assert not ignored.allowed
    assert "ignores settle" in ignored.note
    dim = of(base(light=(("obeys", Obeys.YES), ("maximum", 15.0))), "exposure")
    assert not dim.allowed


def test_more_base_layers_never_mend_the_first_one():
    layers = of(base(), "layers")
    assert not layers.enough
    assert layers.chance <= base().typed.chance + 1e-9
    assert "layer 0" in layers.note


def test_levelling_mends_what_tilt_did_and_nothing_else():
    """Enough light for a level platform and not for a tilted one: levelling is the mend."""
    tilted = base(rule=(("obeys", Obeys.YES), ("minimum", 60.0), ("maximum", 1e3)), slope=2e-3)
    mend = of(tilted, "level") if tilted.mends else None
    assert mend is not None
    assert mend.enough
    assert mend.to_value < 0.2 * mend.from_value
    assert not of(base(), "level").enough  # there it is the settle that is short


def test_minutes_of_levelling_go_by_the_platform():
    assert of(base(), "level").minutes == LEVEL_LARGE_MIN > LEVEL_MIN
    assert of(base(), "level").source == "practice:bench"


def test_levelled_anew_is_level():
    spots = five_readings(machine())
    assert len({r.gap_m for r in spots}) == 1
    assert len(spots) == 5


def test_warmth_counts_in_whole_kelvin_and_never_beyond_where_resin_keeps():
    warm = of(base(), "warmth")
    kelvin = warm.to_value - warm.from_value
    assert kelvin == pytest.approx(round(kelvin))
    assert warm.to_value <= 273.15 + 35.0 + 1e-9
    assert warm.chance > base().typed.chance  # thinner resin leaves sooner (Andrade)
    assert warm.source == "estimate:vatwright"


def test_what_works_comes_first_and_cheapest_first():
    for first in (base(), base(rule=(("obeys", Obeys.YES), ("maximum", 4.0)))):
        works = [m.works for m in first.mends]
        assert works == sorted(works, reverse=True)
        minutes = [m.minutes for m in first.mends if m.works]
        assert minutes == sorted(minutes)
        assert first.cheapest == (first.mends[0] if works[0] else None)


def test_a_base_that_holds_wants_no_mend():
    first = base(rule=(("obeys", Obeys.YES), ("minimum", 60.0), ("maximum", 1e3)), light_s=30.0)
    assert first.mends == ()
    assert first.cheapest is None
