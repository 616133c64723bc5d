"""Trial pieces: watertight, on the platform, on whole layers, and their outcome falls across the pieces."""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
import trimesh
from attrs import evolve
from tests.planning.workshop import exact, machine, plate, resin, settings

from vatwright.answers.trial import print_it, trial_answer
from vatwright.errors import InputError
from vatwright.evidence.belief import Belief, Unknown
from vatwright.geometry.trial_solids import FACETS
from vatwright.planning.carry.carry import planned
from vatwright.planning.trial.trials import Layout, Shape, first_bond_m, tell_trial
from vatwright.records.job import Shop
from vatwright.records.machine import Obeys, Opening, Rule
from vatwright.records.part import PlateLoad
from vatwright.records.process import Proof, Recipe
from vatwright.records.run import Quantity
from vatwright.records.sourced import Kind, Sourced
from vatwright.records.trial import DETAIL_M, TrialKind
from vatwright.services.make_trial import make_trial
from vatwright.services.trial_job import TrialWanted

LAYER = 5e-5
POLYGON = FACETS / 2.0 * math.sin(2.0 * math.pi / FACETS)  # area of the polygon over the square of its radius


def shop(target):
    wren, slate = machine(), resin()
    proof = Proof(runs=8, room_k=295.15, load=PlateLoad(pieces=4, section_m2=3e-4, height_m=0.003))
    recipe = Recipe(name="proven", machine=wren.name, resin=slate.name, settings=settings(), proof=proof)
    return Shop(machines=(wren, target), resins=(slate,), recipes=(recipe,))


def no_file(part, *, layer_nm):
    raise AssertionError(f"the proof is known by tape measure: nothing to read of {part} in {layer_nm}")


def unsure(name="Heron", **changes):
    """A machine whose arm is known within a factor of two."""
    stiffness = Sourced.about(2.4e5, factor=2.0, source="estimate:vatwright", kind=Kind.ESTIMATE)
    return evolve(machine(name, width_mm=216.0, depth_mm=134.0, **changes), stiffness_n_m=stiffness)


@cache
def made(kind, softer=1.0):
    target = unsure()
    if softer != 1.0:
        target = evolve(target, stiffness_n_m=exact(2.4e5 / softer))
    return make_trial(shop(target), TrialWanted(kind=kind, machine="Heron"), no_file)


@pytest.mark.parametrize("kind", list(TrialKind))
def test_solids_are_watertight_and_stand_on_the_platform(kind):
    """Watertight by trimesh, an independent library."""
    found = made(kind)
    flat = found.corners_m.reshape(-1, 3) * 1e3
    mesh = trimesh.Trimesh(vertices=flat, faces=np.arange(len(flat)).reshape(-1, 3), process=True)
    assert mesh.is_watertight
    assert mesh.is_winding_consistent
    assert mesh.bounds[0, 2] == 0.0
    assert np.abs(mesh.bounds[:, 0]).max() <= 216.0 / 2.0
    assert np.abs(mesh.bounds[:, 1]).max() <= 134.0 / 2.0
    assert found.study.volume_m3 == pytest.approx(mesh.volume * 1e-9, rel=2e-3)
    assert found.study.warnings == ()
    assert found.study.closed


def test_the_stair_has_the_areas_it_was_drawn_with():
    """Polygon of FACETS sides: n/2 r^2 sin(2 pi/n); each ledge a millimetre of whole layers."""
    found = made(TrialKind.SETTLE_STEPS)
    area = found.study.area_m2
    for k, piece in enumerate(found.trial.pieces):
        assert np.allclose(area[20 * k : 20 * (k + 1)], POLYGON * piece.outline_m**2, rtol=1e-6)
    assert found.trial.layers == 100


def test_squares_are_lit_1_2_4_8_and_16_times():
    found = made(TrialKind.CURE_DEPTH)
    side = 2.0 * found.trial.pieces[0].outline_m
    lit = [sum(n > k for n in (1, 2, 4, 8, 16)) for k in range(16)]
    assert np.allclose(found.study.area_m2, np.array(lit) * side**2, rtol=1e-6)
    doses = [p.at["dose_mJ_cm2"] for p in found.trial.pieces]
    assert np.allclose(np.array(doses) / doses[0], (1, 2, 4, 8, 16))
    # Every layer of it lights alike.
    assert found.trial.settings.base_layers == 1
    assert found.trial.settings.base.exposure_s == found.trial.settings.body.exposure_s


def test_doubling_the_dose_adds_ln_2_depths():
    """Jacobs (1992) 4-4: C_d = D_p ln(E/E_c), so each doubling adds 0.693 D_p; medians of one belief."""
    found = made(TrialKind.CURE_DEPTH).trial
    steps = np.diff([p.middle for p in found.pieces])
    depth = found.unknowns[0].middle
    assert np.allclose(steps[1:], math.log(2.0) * depth, rtol=0.05)


def test_the_stair_s_offsets_fall_from_the_widest_ledge_to_none():
    found = made(TrialKind.SETTLE_STEPS).trial
    offset = [p.middle - p.at["layer"] * LAYER for p in found.pieces]
    assert found.pieces[0].chance > 0.3  # no wider: in a tenth of the worlds it would let go
    assert found.pieces[-1].chance < 0.05
    assert offset[0] > 10.0 * abs(offset[-1])
    radii = [p.outline_m for p in found.pieces]
    assert radii == sorted(radii, reverse=True)
    assert found.holds > 0.8


def test_a_softer_arm_stands_higher_on_the_same_stair():
    """The offset is a deflection: the softer the spring the larger (Hooke); sized anew, the softer arm gets narrower ledges."""
    stiff, soft = made(TrialKind.SETTLE_STEPS, 0.5).trial, made(TrialKind.SETTLE_STEPS, 2.0).trial
    assert soft.pieces[0].outline_m < stiff.pieces[0].outline_m


def test_posts_straddle_the_rise_that_is_set():
    found = made(TrialKind.RELEASE_SPAN).trial
    chances = [p.chance for p in found.pieces]
    assert chances == sorted(chances, reverse=True)
    assert chances[0] > 0.9
    assert chances[-1] < 0.1
    # Whatever is believed of the angle: some post is on either side of it.
    spans = [found.window.depth_m / 2.0 - abs(p.y_m) for p in found.pieces]
    rise = found.settings.body.lift_m
    assert rise / spans[0] > found.unknowns[0].high
    assert rise / spans[-1] < found.unknowns[0].low


def test_cones_straddle_the_bond():
    found = made(TrialKind.BASE_BOND).trial
    chances = [p.chance for p in found.pieces]
    assert chances == sorted(chances)
    assert chances[0] == pytest.approx(0.1, abs=0.02)
    assert chances[-1] == pytest.approx(0.9, abs=0.02)


LIVE = {"exposure_s": Rule(obeys=Obeys.YES, minimum=0.1, maximum=120.0, step=0.1, live=True)}


def ladder(**rules):
    target = unsure(rules=rules)
    return make_trial(shop(target), TrialWanted(kind=TrialKind.DETAIL_LADDER, machine="Heron"), no_file)


def test_a_ladder_of_lights_is_one_print_where_hands_may_change_the_light():
    found = ladder(**LIVE)
    rungs, layers = found.trial.rungs, found.trial.layers
    assert [r.exposure_s for r in rungs] == sorted((r.exposure_s for r in rungs), reverse=True)
    assert [r.layer for r in rungs][1:] == [40, 60, 80]
    assert [r.at_s for r in rungs] == sorted(r.at_s for r in rungs)
    assert rungs[-1].at_s < found.trial.time_s
    # Slab and one tread more on each rung, then what stands on the last: areas as drawn, 5 mm treads.
    wide = 3 * 6 * 2.2e-3 + 1.6e-3
    area = found.study.area_m2
    assert area[0] == pytest.approx(4 * 5e-3 * wide, rel=1e-6)
    details = 3.5e-3 * (sum(DETAIL_M) + 7 * 1.6e-3) + POLYGON * sum(w**2 for w in DETAIL_M)
    assert area[layers - 1] == pytest.approx(details, rel=1e-4)
    assert area[25] == pytest.approx(3 * 5e-3 * wide + details, rel=1e-4)
    (told,) = [line for line in print_it(found.trial) if "by hand" in line and "exposure" in line]
    assert "at layer 40" in told


def test_a_ladder_is_several_small_prints_where_a_run_has_one_light_and_none_where_it_cannot_be_set():
    one = ladder()
    assert [r.layer for r in one.trial.rungs] == [None] * 4
    assert len(one.trial.pieces) == 12
    assert one.trial.layers < ladder(**LIVE).trial.layers
    assert any("4 times" in line for line in print_it(one.trial))
    with pytest.raises(InputError, match="does not let its light be set"):
        ladder(exposure_s=Rule(obeys=Obeys.NO, fixed=2.0))
    small = machine("Heron", width_mm=36.0, depth_mm=30.0)
    with pytest.raises(InputError, match="larger than the platform"):
        make_trial(shop(small), TrialWanted(kind=TrialKind.DETAIL_LADDER, machine="Heron"), no_file)


def test_more_light_draws_thinner_walls_and_closes_wider_gaps():
    """What each should show by its own dose: a wall and a pin want it, a gap suffers from it."""
    pieces = ladder(**LIVE).trial.pieces
    for quantity, sign in ((Quantity.WALL, 1.0), (Quantity.PIN, 1.0), (Quantity.GAP, -1.0)):
        middles = [p.middle for p in pieces if p.quantity is quantity]
        assert (sign * np.diff(middles) > 0.0).all(), quantity


def test_pads_stand_in_the_corners_and_show_base_layers():
    found = made(TrialKind.LEVEL_CHECK)
    assert found.trial.layers == found.trial.settings.base_layers
    assert {(np.sign(p.x_m), np.sign(p.y_m)) for p in found.trial.pieces} == {
        (-1, -1),
        (1, -1),
        (1, 1),
        (-1, 1),
        (0, 0),
    }
    assert all(p.middle >= found.trial.layers * LAYER for p in found.trial.pieces)
    # It ends with its base: nobody has to change anything during it.
    assert found.trial.by_hand == ()


@pytest.mark.parametrize("kind", [TrialKind.SETTLE_STEPS, TrialKind.LEVEL_CHECK])
@pytest.mark.parametrize("room_k", [291.15, 299.15])
def test_what_a_piece_should_show_is_what_a_carry_of_the_same_settings_says(kind, room_k):
    """The layers that a carry of this very plate and these settings foretells, added up; no pad thicker than light bonds."""
    target = unsure()
    found = make_trial(shop(target), TrialWanted(kind=kind, machine="Heron", room_k=room_k), no_file)
    assert found.trial.room_k == found.job.room_k == room_k
    proven = plate([9.0] * 60)
    case, advised = planned(found.job, proven=proven, target=found.study)
    layout = Layout(kind=kind, shapes=shapes_of(found.trial), corners_m=found.corners_m, settings=advised.settings)
    plain = evolve(advised, hand=None, settle_s=case.target_run(advised.settings).settle_s())
    pieces = tell_trial(layout, case, plain).pieces
    said = np.cumsum(np.median(case.target_run(advised.settings).result().thickness_m, axis=0))
    for piece in pieces:
        layer = round(piece.at.get("layer", found.study.layers))
        assert piece.middle == pytest.approx(said[layer - 1], abs=0.25 * LAYER)
    if kind is TrialKind.LEVEL_CHECK:
        run = case.target_run(advised.settings)
        most = float(np.quantile(first_bond_m(run), 0.95))
        assert all(p.high <= most + (found.study.layers - 1) * 1.5 * LAYER for p in pieces)


def shapes_of(trial):
    """Pieces as they were laid out, without their solids."""
    none = np.zeros((0, 3, 3))
    return tuple(Shape(p.label, p.x_m, p.y_m, p.outline_m, none, p.at) for p in trial.pieces)


def test_a_trial_that_seldom_comes_out_says_so_first_and_what_to_do_instead():
    trial = made(TrialKind.SETTLE_STEPS).trial
    first = trial_answer(evolve(trial, holds=0.3, curve_known=False), cite=str).blocks[0].text
    assert "30" in first
    assert "cure-depth" in first
    assert "Warm the resin" in trial_answer(evolve(trial, holds=0.3), cite=str).blocks[0].text
    assert "Not yet" not in trial_answer(trial, cite=str).blocks[0].text


def test_settings_that_the_controller_ignores_stay_what_they_are():
    rules = {"settle_s": Rule(obeys=Obeys.NO, fixed=1.5), "clear_lift_mm": Rule(obeys=Obeys.YES, minimum=0.001)}
    target = unsure(rules=rules)
    found = make_trial(shop(target), TrialWanted(kind=TrialKind.RELEASE_SPAN, machine="Heron"), no_file).trial
    assert found.settings.body.settle_s == 1.5
    assert found.settings.body.clear_lift_m == 0.001


def test_a_shared_setting_is_told_to_the_hand():
    target = unsure(rules={"settle_s": Rule(obeys=Obeys.SHARED, maximum=120.0, step=0.5, live=True)})
    found = make_trial(shop(target), TrialWanted(kind=TrialKind.SETTLE_STEPS, machine="Heron"), no_file).trial
    assert any("by hand at layer 4" in told for told in print_it(found))


@pytest.mark.parametrize("kind", [k for k in TrialKind if k is not TrialKind.CURE_DEPTH])
def test_no_foot_stands_over_an_opening(kind):
    """A row of round holes along the middle, under every place that would be taken on a whole platform."""
    holes = tuple(
        Opening(x_m=x, y_m=0.0, width_m=0.006, depth_m=0.006) for x in (-0.08, -0.04, -0.02, 0.0, 0.02, 0.04, 0.08)
    )
    target = unsure()
    target = evolve(target, platform=evolve(target.platform, openings=holes))
    found = make_trial(shop(target), TrialWanted(kind=kind, machine="Heron"), no_file)
    feet = found.corners_m[found.corners_m[..., 2] == 0.0]
    for hole in holes:
        assert np.hypot(feet[:, 0] - hole.x_m, feet[:, 1] - hole.y_m).min() >= 0.003
    for piece in found.trial.pieces:
        if "x_mm" in piece.at:
            assert (piece.at["x_mm"], piece.at["y_mm"]) == (piece.x_m, piece.y_m)


def test_a_trial_is_sized_for_what_is_still_open_after_the_noted_runs():
    """Where the arm is known to be stiff, the stair that would show a soft one is wider than where nothing is known."""
    samples = np.random.default_rng(1).normal(3.0, 0.05, (256, 1))
    belief = Belief(unknowns=(Unknown("stiffness", "Heron"),), samples=samples)
    wanted = TrialWanted(kind=TrialKind.SETTLE_STEPS, machine="Heron")
    plain = make_trial(shop(unsure()), wanted, no_file).trial
    told = make_trial(shop(unsure()), wanted, no_file, belief=belief).trial
    assert told.unknowns[0].low > plain.unknowns[0].low
    assert told.pieces[0].outline_m >= plain.pieces[0].outline_m
