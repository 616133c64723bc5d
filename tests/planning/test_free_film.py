"""What backs the film decides which law the planner uses, and it says which."""

from __future__ import annotations

import math

import pytest
from attrs import evolve
from tests.planning import workshop

from vatwright.physics.film_settle import settling_stiffness
from vatwright.planning.demand.base import film_bowing, stack_load
from vatwright.planning.demand.settle import Run
from vatwright.records.machine import Backing, Window
from vatwright.records.study import PlacedOutline


def freed(machine, backing=Backing.FREE):
    return evolve(machine, film=evolve(machine.film, backing=backing))


def one_disc(radius_m, x_m=0.0):
    study = workshop.plate([10.0] * 20)
    return evolve(study, outlines=(PlacedOutline("disc", (workshop.circle(x_m, 0.0, radius_m),)),))


def spring(machine, study):
    side = workshop.side(stiffness_n_m=1e12, tension_n_m=900.0)
    load = stack_load(study, machine)
    run = Run(
        machine=machine, settings=workshop.settings(), load=load, side=side, overcure_m=side.unlevel_m, confidence=0.9
    )
    return float(run.stiffness_n_m()[0])


def test_glass_needs_no_film_law():
    assert film_bowing(one_disc(0.01), workshop.machine()) is None


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
    machine, study = freed(workshop.machine()), workshop.plate([10.0] * 20)
    radius_m = (2.0 * float(stack_load(study, machine).torsion_m4.max()) / math.pi) ** 0.25
    half_m = min(machine.window.width_m, machine.window.depth_m) / 2.0
    exact = settling_stiffness(radius_m=radius_m, tension_n_m=900.0, window_radius_m=half_m)
    assert spring(machine, study) == pytest.approx(exact, rel=0.01)


def test_the_sheet_says_that_the_film_gives_and_asks_for_a_longer_settle():
    study = workshop.plate([10.0] * 60, outlines=(PlacedOutline("disc", (workshop.circle(0.0, 0.0, 0.01),)),))
    stiff = workshop.job(target=workshop.machine("Heron"))
    soft = workshop.job(target=freed(workshop.machine("Heron")))
    firm, giving = (workshop.carried(job, study) for job in (stiff, soft))
    assert giving.advice("body.settle_s").to_value > firm.advice("body.settle_s").to_value
    assert any("it gives" in q for q in giving.open_questions)
    assert not any("it gives" in q for q in firm.open_questions)
