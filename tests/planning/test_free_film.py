"""What backs the film decides which law the planner uses, and it says which."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from tests.planning import workshop

from vatwright.geometry.bowed_film import BowedLayers
from vatwright.physics.film_settle import settling_stiffness
from vatwright.planning.demand.base import SolvedUnder, stack_load
from vatwright.planning.demand.settle import Run, Standard, demand_s
from vatwright.records.machine import Backing, Window
from vatwright.records.study import PlacedOutline


def freed(machine, backing=Backing.FREE):
    return evolve(machine, film=evolve(machine.film, backing=backing))


def one_disc(radius_m, x_m=0.0):
    study = workshop.plate([10.0] * 400)
    return evolve(study, outlines=(PlacedOutline("disc", (workshop.circle(x_m, 0.0, radius_m),)),))


def spring(machine, study):
    side = workshop.side(stiffness_n_m=1e12, tension_n_m=900.0)
    load = stack_load(study, machine)
    run = Run(
        machine=machine, settings=workshop.settings(), load=load, side=side, overcure_m=side.unlevel_m, confidence=0.9
    )
    return float(run.stiffness_n_m()[0])


def test_glass_needs_no_film_law():
    assert stack_load(one_disc(0.01), workshop.machine()).giving is None


@pytest.mark.parametrize("backing", [Backing.FREE, Backing.LIQUID])
def test_a_round_piece_in_a_round_window_gives_the_closed_form(backing):
    window = Window(width_m=0.12, depth_m=0.12, corner_m=0.06)
    machine = freed(evolve(workshop.machine(), window=window), backing)
    exact = settling_stiffness(radius_m=0.02, tension_n_m=900.0, window_radius_m=0.06)
    assert spring(machine, one_disc(0.02)) == pytest.approx(exact, rel=0.02)


def test_pieces_near_the_frame_settle_sooner_on_a_free_film():
    machine = freed(workshop.machine())
    assert spring(machine, one_disc(0.012, x_m=0.06)) > 1.2 * spring(machine, one_disc(0.012))


def test_where_no_outline_is_known_a_disc_of_the_same_torsion_constant_stands_in():
    machine, study = freed(workshop.machine()), workshop.plate([10.0] * 400)
    radius_m = (2.0 * float(study.torsion_m4.max()) / math.pi) ** 0.25
    half_m = min(machine.window.width_m, machine.window.depth_m) / 2.0
    exact = settling_stiffness(radius_m=radius_m, tension_n_m=900.0, window_radius_m=half_m)
    assert spring(machine, study) == pytest.approx(exact, rel=0.02)


def test_the_sheet_says_that_the_film_gives_and_asks_for_a_longer_settle():
    study = workshop.plate([10.0] * 60, outlines=(PlacedOutline("disc", (workshop.circle(0.0, 0.0, 0.01),)),))
    stiff = workshop.job(target=workshop.machine("Heron"))
    soft = workshop.job(target=freed(workshop.machine("Heron")))
    firm, giving = (workshop.carried(job, study) for job in (stiff, soft))
    assert giving.advice("body.settle_s").to_value > firm.advice("body.settle_s").to_value
    assert any("it gives" in q for q in giving.open_questions)
    assert not any("it gives" in q for q in firm.open_questions)


def free_run(study):
    machine = freed(workshop.machine())
    side = workshop.side(stiffness_n_m=2.5e5, tension_n_m=900.0)
    return Run(
        machine=machine, settings=workshop.settings(), load=stack_load(study, machine), side=side,
        overcure_m=side.unlevel_m, confidence=0.9,
    )  # fmt: skip


def test_each_layer_asks_for_the_longer_of_what_bonds_its_worst_place_and_what_makes_its_mean_true():
    run = free_run(one_disc(0.02))
    one = np.ones(1)
    standard = Standard(base_slack=one, body_slack=one, tolerance=0.1 * one)
    settle = run.settle_s()
    bond = demand_s(run, standard, settle_s=settle, bond_only=True)
    both = demand_s(run, standard, settle_s=settle)
    assert (both >= bond).all()
    found = run.result(settle)
    assert (found.worst_m >= found.thickness_m).all()
    assert found.worst_m[0, 0] > found.thickness_m[0, 0]
    # At rest nothing bows it any more, but for a nanometre.
    assert found.worst_m[0, -1] == pytest.approx(found.thickness_m[0, -1], abs=1e-9)


def test_the_base_squeezes_under_the_whole_platform_and_the_body_under_the_piece():
    faces = free_run(one_disc(0.01)).load.giving.faces
    assert faces.bare_slows[0] > 2.0 * faces.slows[0]
    assert faces.bare_stiffness[-1] == 0.0


def test_the_first_layer_is_thickest_in_the_middle_of_the_platform():
    giving = free_run(one_disc(0.01)).load.giving
    middle, edge, beyond = giving.bow_at(0, np.array([(0.0, 0.0), (0.06, 0.0), (0.3, 0.0)]))
    assert middle > 1.0 > edge > beyond == 0.0
    assert middle > 1.3 * edge


def test_the_sheet_says_what_stood_in_for_the_outlines():
    target = freed(workshop.machine("Heron"))
    plate = workshop.plate([10.0] * 40)
    seen = evolve(plate, outlines=(PlacedOutline("disc", (workshop.circle(0.0, 0.0, 0.01),)),))
    told = {
        known: [q for q in workshop.carried(workshop.job(target=target), study).open_questions if "it gives" in q]
        for known, study in ((SolvedUnder.DISC, plate), (SolvedUnder.OUTLINES, seen))
    }
    assert "one disc" in told[SolvedUnder.DISC][0]
    assert "seen from above" in told[SolvedUnder.OUTLINES][0]


def test_a_film_keeps_its_shape_where_the_platform_carries_most():
    """Pieces that change in the first layers hand on what a film bowed by the platform alone does: all of it, evenly."""
    machine, count = freed(workshop.machine()), 400
    study = evolve(workshop.plate([1.0] * count), outlines=one_disc(0.01).outlines)
    laws = stack_load(study, machine).giving.laws[:1]
    which = np.zeros(count, dtype=np.int64)
    handed, uneven = np.ones(count), np.zeros(count)
    handed[[2, 300]], uneven[[2, 300]] = 1.3, 0.9
    bowed = BowedLayers(laws=laws, which=which, handed=handed, uneven=uneven)
    faces = stack_load(evolve(study, bowed=bowed), machine).giving.faces
    assert faces.handed[2] == pytest.approx(1.0, abs=0.01)
    assert faces.uneven[2] == pytest.approx(0.0, abs=0.03)
    assert (faces.handed[300], faces.uneven[300]) == (1.3, 0.9)


def test_higher_plates_take_the_numbers_of_the_last_layer():
    giving = free_run(one_disc(0.01)).load.giving.of(430)
    assert len(giving.faces.slows) == len(giving.which) == 430
    assert giving.faces.slows[429] == giving.faces.slows[399]
