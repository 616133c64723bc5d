"""The first-layer map: pressures, tilts and places against closed forms, and the practice it has to meet."""

import math
from functools import cache

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import (
    carried,
    circle,
    demo_job,
    demo_machine,
    demo_plate,
    job,
    lowest,
    machine,
    plate,
    settings,
    settle_rule,
)

from vatwright.planning.carry.first_layer import first_layers
from vatwright.planning.demand.base import base_fields, stack_load
from vatwright.planning.demand.base_bond import under_the_base
from vatwright.planning.demand.case import Case
from vatwright.planning.demand.settle import Run, proven_standard
from vatwright.planning.demand.unknowns import draw
from vatwright.records.first_layer import FirstLayers
from vatwright.records.job import Hands
from vatwright.records.machine import FlatnessReading, LevelReading, Obeys, Platform, TipReading
from vatwright.units import ZERO_CELSIUS_K

LAYERS = 60
ALBATROSS_LEVEL = ((-140, -75, 120), (140, -75, 190), (140, 75, 230), (-140, 75, 150), (0, 0, 170))
"""Five readings of the large machine's platform, slightly out of level [mm], [um]: invented."""


def level(*readings):
    return tuple(LevelReading(x_m=x / 1e3, y_m=y / 1e3, gap_m=g / 1e6) for x, y, g in readings)


def tilted(one, slope_x, slope_y):
    """A machine whose platform five readings show tilted by these slopes."""
    w, d = 450.0 * one.platform.width_m, 450.0 * one.platform.depth_m  # mm, at 0.9 of the half sides
    spots = ((-w, -d), (w, -d), (w, d), (-w, d), (0.0, 0.0))
    return evolve(one, level=level(*((x, y, 300.0 + (slope_x * x + slope_y * y) * 1e3) for x, y in spots)))


def base_of(target, *, light_s=30.0, settle_s=30.0, study=None, **changes) -> FirstLayers:
    """The base of a plan on one machine, the recipe proven on it."""
    recipe = settings()
    recipe = evolve(recipe, base=evolve(recipe.base, exposure_s=light_s, settle_s=settle_s))
    study = study or plate([6.0] * LAYERS, spread_mm=(50.0, 30.0))
    return carried(job(origin=target, recipe=recipe, **changes), study).first_layer


# --- pressure and moment ------------------------------------------------------------------------------------------------


def test_a_round_platform_carries_a_parabola():
    """Stefan (1874): p = 2 F / (pi R^2) (1 - r^2/R^2) under a parallel disc."""
    disc = machine(width_mm=100.0, depth_mm=100.0)
    disc = evolve(disc, platform=Platform(width_m=0.1, depth_m=0.1, corner_m=0.05))
    pressed = base_of(disc).pressures[0]
    first = base_of(disc)
    x, y = np.meshgrid(first.x_m, first.y_m)
    expected = 2.0 * pressed.peak_n / (math.pi * 0.05**2) * np.maximum(1.0 - (x**2 + y**2) / 0.05**2, 0.0)
    # The rounded corners are eight chords a quarter, and the picture's grid takes the solved one bilinearly.
    assert pressed.pressure_pa == pytest.approx(expected, abs=0.02 * expected.max())


def test_a_centred_symmetric_load_has_no_moment():
    first = base_of(machine())
    for pressed in first.pressures:
        assert math.hypot(pressed.centre_x_m, pressed.centre_y_m) < 2e-6
        assert pressed.peak_moment_j < 1e-4 * pressed.peak_n * first.platform.width_m


def test_an_off_centre_load_has_the_moment_force_times_arm_towards_it():
    raft = (circle(0.045, -0.02, 0.02),)
    first = base_of(machine(), study=plate([6.0] * LAYERS, base_outlines_m=raft))
    assert math.hypot(first.pressures[0].centre_x_m, first.pressures[0].centre_y_m) < 2e-6  # no raft yet
    for pressed in first.pressures[1:]:
        assert pressed.centre_x_m > 1e-3
        assert pressed.centre_y_m < -5e-4
        arm = math.hypot(pressed.centre_x_m, pressed.centre_y_m)
        assert pressed.peak_moment_j == pytest.approx(pressed.peak_n * arm, rel=1e-12)
        assert pressed.end_moment_j == pytest.approx(pressed.end_n * arm, rel=1e-12)


def test_a_thick_raft_alone_carries_the_load_at_its_own_centre():
    """Far from the bare platform a lone disc's resultant acts at its centre (symmetry)."""
    study = plate([6.0] * LAYERS, base_outlines_m=(circle(0.03, 0.01, 0.015),))
    gaps = np.array([2e-3, 2e-3, 2e-3, 5e-5])
    x, y = base_fields(study, machine(), gap_m=gaps)[-1].centre_of_pressure_m()
    assert (x, y) == pytest.approx((0.03, 0.01), abs=2e-3)


def test_a_mirrored_load_tips_the_other_way():
    one, other = (
        base_fields(
            plate([6.0] * 9, base_outlines_m=(circle(s * 0.04, 0.01, 0.02),)), machine(), gap_m=np.full(4, 1e-4)
        )
        for s in (1.0, -1.0)
    )
    for a, b in zip(one[1:], other[1:], strict=True):
        xa, ya = a.centre_of_pressure_m()
        assert b.centre_of_pressure_m() == pytest.approx((-xa, ya), abs=1e-6)


def test_an_arm_that_gives_lets_an_off_centre_load_tip_the_platform():
    raft = plate([6.0] * LAYERS, base_outlines_m=(circle(0.045, 0.0, 0.02),))
    tip = TipReading(load_kg=2.0, at_m=0.06, over_m=0.12, difference_m=2e-4)
    stiff, soft = base_of(machine(), study=raft), base_of(machine(tip=tip), study=raft)
    assert not stiff.tip_read
    assert soft.tip_read
    assert any("uneven load" in note for note in stiff.notes)
    assert not any("uneven load" in note for note in soft.notes)
    assert stiff.layers[1].worst.tipped_m == 0.0
    assert soft.layers[1].worst.tipped_m > 1e-6  # the raft's outer side opens


# --- level and flatness -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("x", "y", "name"), [(1, 1, "rear right"), (-1, 1, "rear left"), (1, -1, "front right"), (-1, -1, "front left")]
)
def test_the_corner_that_stands_highest_is_named(x, y, name):
    first = base_of(tilted(machine(), 4e-4 * x, 4e-4 * y))
    assert first.level_read
    assert first.first == 0
    assert first.worst.name == name
    corners = first.layers[0].corners
    assert max(corners, key=lambda c: c.uneven_m).name == name


def test_the_parts_of_a_gap_make_the_gap():
    place = base_of(tilted(machine(), 3e-4, 0.0)).worst
    assert place.layer_m + place.unsettled_m + place.uneven_m + place.tipped_m == pytest.approx(
        place.gap_m[1], rel=0.02
    )
    assert place.uneven_m == pytest.approx(3e-4 * place.x_m, abs=1e-6)  # the median world is near the mean


def test_only_what_is_cured_counts():
    """A raft in the middle does not care for the platform's corner."""
    middle = plate([6.0] * LAYERS, base_outlines_m=(circle(0.0, 0.0, 0.015),))
    narrow, wide = (base_of(tilted(machine(), 6e-4, 0.0), study=s) for s in (middle, None))
    assert narrow.worst.uneven_m == pytest.approx(6e-4 * 0.015, rel=0.02)
    assert wide.worst.uneven_m > 3.0 * narrow.worst.uneven_m


def test_a_hollow_is_the_place_that_lets_go():
    spots = [(x, y) for x in (-70, 0, 70) for y in (-40, 0, 40)]
    hollow = tuple(FlatnessReading(x_m=x / 1e3, y_m=y / 1e3, height_m=-8e-5 * ((x, y) == (-70, 40))) for x, y in spots)
    first = base_of(evolve(tilted(machine(), 0.0, 0.0), flatness=hollow))
    assert first.worst.name == "rear left"
    assert first.worst.uneven_m > 0.2 * 8e-5  # of the hollow's depth: it lies a little beside the place


def test_later_layers_rest_on_the_first():
    first = base_of(tilted(machine(), 4e-4, 4e-4))
    assert np.ptp(first.layers[0].spare_m) > 5e-5
    assert np.ptp(first.layers[1].spare_m) == pytest.approx(0.0, abs=1e-12)


def test_the_map_is_the_spare_of_its_own_places():
    first = base_of(tilted(machine(), 4e-4, -2e-4))
    layer = first.layers[0]
    slope = np.diff(layer.spare_m, axis=1) / np.diff(first.x_m)
    # The median over worlds that differ by the readings' error bends a plane by that much.
    assert slope.mean() == pytest.approx(-4e-4, rel=0.03)
    assert (np.diff(layer.chance, axis=1) <= 1e-12).all()


def test_an_outline_that_may_let_go_is_marked():
    pieces = (circle(-0.05, 0.0, 0.01), circle(0.055, 0.0, 0.01))
    study = plate([6.0] * LAYERS, base_outlines_m=pieces)
    first = base_of(tilted(machine(), 3e-3, 0.0), light_s=9.0, study=study)
    assert first.weak == (False, True)
    assert first.worst.name == "middle right"


def test_without_outlines_the_whole_platform_is_judged_and_it_says_so():
    first = base_of(machine(), study=plate([6.0] * LAYERS, base_outlines_m=()))
    assert first.weak == ()
    assert any("outlines" in note for note in first.notes)
    assert abs(first.worst.x_m) == pytest.approx(0.075)


def test_a_base_on_its_own_machine_is_as_sure_as_the_carry_says():
    """With four places at the platform's corners and no map of the light, both judge the same thing."""
    sheet = carried(job(), plate([6.0] * LAYERS, base_outlines_m=()))
    assert sheet.first_layer.chance >= sheet.success.mean


# --- the values as typed ------------------------------------------------------------------------------------------------


def test_typed_into_a_machine_with_one_settle_the_base_gets_the_bodys():
    shared = machine("Albatross", rules=settle_rule(Obeys.SHARED))
    assert base_of(shared).typed.settle_s == settings().body.settle_s
    assert base_of(machine()).typed.settle_s == settings().base.settle_s
    capped = machine(rules=settle_rule(maximum=12.0))
    assert base_of(capped).typed.settle_s == 12.0
    ignored = machine(rules=settle_rule(Obeys.NO, fixed=1.5))
    assert base_of(ignored).typed.settle_s == 1.5


# --- practice -----------------------------------------------------------------------------------------------------------


@cache
def _demo(name, settle_s, light_s, tilt=None):
    """Chance that a base holds on a demo machine by what the records state, before anything is proven on it."""
    counts = {
        "Wren": {"lantern": 5, "lantern_base": 1},
        "Heron": {"lantern": 11},
        "Albatross": {"lantern": 20, "lantern_base": 4},
    }
    one = tilted(demo_machine(name), *tilt) if tilt else demo_machine(name)
    study = lowest(demo_plate(name, **counts[name]), LAYERS)
    task = demo_job(one, origin=one)
    given = task.recipe.settings
    given = evolve(given, base=evolve(given.base, settle_s=settle_s, exposure_s=light_s))
    worlds = under_the_base(draw(task, count=256), task, study, study)
    load = stack_load(study, one)
    run = Run(
        machine=one, settings=given, load=load, side=worlds.origin, overcure_m=worlds.overcure_m, confidence=0.9
    )  # fmt: skip
    case = Case(
        job=task, proven_study=study, target_study=study, before=worlds, worlds=worlds, proven=run,
        proof_standard=proven_standard(run), standard=proven_standard(run), target_load=load,
    )  # fmt: skip
    return first_layers(case, given, run.settle_s()).chance


ORDINARY_S = (10.0, 15.0)
"""Ordinary base exposures, four to six times a body layer's 2.6 s: common practice, no source."""


@pytest.mark.parametrize("light_s", ORDINARY_S)
def test_thirty_seconds_hold_a_base_on_a_compact_and_a_mid_machine(light_s):
    """About 30 s of base settle on any machine (common practice, no source)."""
    assert _demo("Wren", 30.0, light_s) > 0.9
    assert _demo("Heron", 30.0, light_s) > 0.8
    assert _demo("Heron", 2.0, light_s) < 0.5  # and a body's settle does not


def test_a_large_machine_wants_up_to_sixty():
    """Up to 60 s for more adhesion on a large machine (common practice, no source)."""
    assert _demo("Albatross", 30.0, 10.0) < 0.9 < _demo("Albatross", 60.0, 10.0)
    assert _demo("Albatross", 30.0, 10.0) < _demo("Wren", 30.0, 10.0)


def test_a_tilt_harmless_on_the_compact_machine_fails_on_the_large_one():
    """The same slopes, light and settle: an error is tilt times half diagonal."""
    tilt = (7e-4, 7e-4)
    assert _demo("Wren", 60.0, 10.0, tilt) > 0.9
    assert _demo("Albatross", 60.0, 10.0, tilt) < 0.5
    assert _demo("Albatross", 60.0, 10.0, (0.0, 0.0)) > 0.9  # it is the tilt


# --- the demonstration --------------------------------------------------------------------------------------------------


@cache
def albatross() -> FirstLayers:
    """The large machine with one settle for all layers, slightly out of level, in a cold room."""
    large = evolve(demo_machine("Albatross"), level=level(*ALBATROSS_LEVEL))
    proven = lowest(demo_plate("Wren", lantern=5, lantern_base=1), 200)
    target = lowest(demo_plate("Albatross", lantern=20, lantern_base=4, cup=2), 200)
    task = demo_job(large, room_k=ZERO_CELSIUS_K + 18.0, hands=Hands(visits=4))
    return carried(task, proven, target).first_layer


def test_the_demonstration_says_what_will_let_go():
    typed = albatross().typed
    assert typed.chance < 0.2
    assert typed.layer == 0
    assert typed.worst.name == "rear right"  # where the readings stand highest
    assert typed.worst.spare_m < 0.0
    assert typed.worst.unsettled_m > 5.0 * typed.worst.layer_m  # several times too thick


def test_its_plan_holds_and_its_cheapest_mend_is_a_little_more_settle():
    first = albatross()
    assert first.chance > 0.95
    assert not first.mends_plan
    assert first.worst.spare_m > 0.0
    best = first.cheapest
    assert best.kind == "settle"
    assert best.from_value < best.to_value <= 30.0
    assert best.minutes < 2.0
    assert best.chance >= first.enough
    layers = next(m for m in first.mends if m.kind == "layers")
    assert not layers.enough
    assert "layer 0" in layers.note
