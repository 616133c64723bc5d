"""Whatever the recipe: on its own machine, plate and room nothing changes; elsewhere costs and chances stay sane."""

from __future__ import annotations

import math

import numpy as np
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.planning.workshop import carried, job, machine, plate, side
from tests.planning.workshop import settings as recipe_settings

from vatwright.planning.demand.lift import carried_lift_m, carried_peel_lift_m
from vatwright.planning.demand.settle import carried_settle_s
from vatwright.records.process import Phase, Settings


def steps(low, high, unit):
    return st.integers(low, high).map(lambda n: n * unit)


def phases(exposure_s, settle_s):
    return st.builds(
        Phase,
        exposure_s=exposure_s,
        settle_s=settle_s,
        soak_s=steps(0, 30, 0.1),
        refill_s=steps(0, 30, 0.1),
        peel_lift_m=steps(5, 60, 1e-4),
        clear_lift_m=steps(0, 60, 1e-4),
        peel_speed_m_s=steps(2, 40, 1e-4),
        clear_speed_m_s=steps(5, 60, 1e-4),
        return_speed_m_s=steps(5, 60, 1e-4),
    )


recipes = st.builds(
    Settings,
    layer_nm=st.just(50_000),
    base_layers=st.integers(1, 8),
    ramp_layers=st.integers(0, 8),
    base=phases(steps(100, 500, 0.1), steps(0, 600, 0.1)),
    body=phases(steps(15, 60, 0.1), steps(0, 60, 0.1)),
)
plates = st.lists(st.sampled_from([1.5, 4.0, 9.0, 13.0]), min_size=1, max_size=4)


@settings(max_examples=8)
@given(recipes, plates, st.floats(0.55, 0.99), st.integers(1, 30))
def test_on_its_own_machine_every_recipe_stays(recipe, radii_mm, confidence, runs):
    # logic: what was proven here stays proven here, to the last digit, in every world
    study = plate(np.repeat(radii_mm, 12))
    task = job(recipe=recipe, confidence=confidence)
    task = evolve(task, recipe=evolve(task.recipe, proof=evolve(task.recipe.proof, runs=runs)))
    for advice in carried(task, study).settings:
        assert advice.from_value == advice.to_value == advice.low == advice.high, advice


@settings(max_examples=5)
@given(st.floats(100.0, 300.0), st.floats(60.0, 180.0), st.floats(1e5, 5e5), st.floats(5.0, 14.0))
def test_elsewhere_the_sheet_stays_sane(width_mm, depth_mm, stiffness_n_m, radius_mm):
    target = machine("Wagtail", width_mm=width_mm, depth_mm=depth_mm, stiffness_n_m=stiffness_n_m)
    study = plate(np.full(46, radius_mm), spread_mm=(width_mm / 4, depth_mm / 4))
    sheet = carried(job(target=target), plate(np.full(46, 9.0)), study)
    assert 0.0 < sheet.success.mean < 1.0
    for advice in sheet.settings:
        assert 0.0 <= advice.low <= advice.high < math.inf, advice
        assert advice.to_value >= 0.0
    table = sheet.layers
    for values in (table.thickness_m, table.cure_depth_m, table.pull_n, table.screen_force_n, table.lift_demand_m):
        assert np.isfinite(values).all()
        assert (values >= 0.0).all()
    assert sheet.time.to_s > 0.0
    assert sheet.resin_need.pour_m3 >= sheet.resin_need.parts_m3 > 0.0


angles = st.floats(1.0, 30.0).map(math.radians)
lengths = st.floats(1e-3, 0.2)


@given(angles, angles, lengths, lengths, lengths, st.floats(0.0, 0.02))
def test_lift_never_falls_where_the_way_or_the_angle_grows(angle, steeper, span, further, proven, extra):
    def whole(to_angle, to_span):
        return carried_lift_m(
            proven_lift_m=proven, origin=side(angle_rad=angle), target=side(angle_rad=to_angle),
            reach_from_m=span, reach_to_m=to_span,
        )[0]  # fmt: skip

    assert whole(angle, span) == proven
    assert whole(angle, span + extra) >= whole(angle, span)
    assert whole(max(angle, steeper), further) >= whole(min(angle, steeper), further)
    # and it covers the release that the proven rise allows for
    release = math.tan(steeper) * further * min(1.0, proven / (math.tan(angle) * span))
    assert whole(steeper, further) >= release * (1 - 1e-9)


@given(angles, lengths, lengths, st.floats(1e-4, 0.01))
def test_slow_stage_there_and_back_is_the_slow_stage(angle, span, other, proven):
    one, two = side(angle_rad=angle), side(angle_rad=1.3 * angle)
    there = carried_peel_lift_m(proven_peel_m=proven, origin=one, target=two, reach_from_m=span, reach_to_m=other)[0]
    back = carried_peel_lift_m(proven_peel_m=there, origin=two, target=one, reach_from_m=other, reach_to_m=span)[0]
    assert math.isclose(back, proven, rel_tol=1e-12)


@given(st.floats(0.0, 100.0), st.floats(0.0, 100.0), st.floats(0.0, 100.0), st.floats(0.0, 100.0))
def test_settle_grows_with_what_the_target_needs_and_never_falls_short_of_it(proven, share, needed, more):
    needed_from = np.array([proven * min(share, 1.0)])

    def given_s(to):
        return carried_settle_s(proven, needed_from_s=needed_from, needed_to_s=np.array([to]))[0]

    assert given_s(needed + more) >= given_s(needed) >= needed
    assert given_s(needed_from[0]) == proven


def _new_films(task):
    proof = evolve(task.recipe.proof, film_layers=0)
    return evolve(task, film_layers=0, recipe=evolve(task.recipe, proof=proof))


def test_a_recipe_carried_there_and_back_comes_back():
    # the machines are known exactly but for what both share, both films are new: what one carry adds the other takes away
    there = machine("Wagtail", width_mm=216.0, depth_mm=134.0)
    proven, fuller = plate(np.full(46, 9.0)), plate(np.full(46, 9.0), span_mm=66.0)
    out = carried(_new_films(job(target=there)), proven, fuller)
    recipe = recipe_settings()
    for advice in out.settings:
        recipe = recipe.with_value(advice.name, advice.to_value)
    back = carried(_new_films(job(origin=there, target=machine(), recipe=recipe)), fuller, proven)
    # The rise there also let resin return under a wider plate: what it brought back in time is kept, 0.6 mm of 5.
    for name in ("body.peel_lift_mm", "body.clear_lift_mm", "body.exposure_s", "base.exposure_s"):
        proven_value = recipe_settings().value(name)
        assert back.advice(name).low <= proven_value * (1.2 if name == "body.clear_lift_mm" else 1.05)
        assert back.advice(name).high >= proven_value * 0.95
