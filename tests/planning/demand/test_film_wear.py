"""A film wears: its bonds cost more and its tension falls with the layers that it has released."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from tests.planning.simulated_shop import kinds
from tests.planning.workshop import carried, demo_machine, exact, job, machine, plate, side

from vatwright.evidence.belief import Unknown
from vatwright.planning.demand.unknowns import draw
from vatwright.planning.learn.run_evidence import SLACK_OF_FILMS, WEAR_OF_FILMS
from vatwright.quantities import bounds_of

BAR = np.full(44, 9.0)


def proven_at(layers: int | None, **changes):
    task = job(**changes)
    return evolve(task, recipe=evolve(task.recipe, proof=evolve(task.recipe.proof, film_layers=layers)))


def angles(task):
    worlds = draw(task, count=512)
    return worlds.target.tan_angle / worlds.origin.tan_angle


def test_the_same_film_lets_go_as_before():
    assert (angles(proven_at(None)) == 1.0).all()
    assert (angles(proven_at(12_000, film_layers=12_000)) == 1.0).all()


def test_a_count_that_the_proof_knows_nothing_of_changes_nothing_on_the_same_machine():
    counted = proven_at(None, film_layers=21_000)
    assert (angles(counted) == 1.0).all()
    assert all(a.from_value == a.to_value for a in carried(counted, plate(BAR)).settings)
    elsewhere = job(target=machine("Heron"), film_layers=21_000)
    assert np.log(angles(elsewhere)).std() > 0.0


def test_a_worn_film_asks_more_rise_and_the_more_the_older():
    new, old, older = (float(np.median(angles(proven_at(0, film_layers=n)))) for n in (0, 15_000, 30_000))
    assert 1.0 == new < old < older
    # 1 % of energy a thousand layers; where tension rules energy goes with theta^(2 + n), where stretch does with theta^(4 + n)
    assert math.exp(0.3 / 4.5) < older < math.exp(0.3 / 2.0) * 1.1
    lift = {n: carried(proven_at(0, film_layers=n), plate(BAR)).settings for n in (0, 30_000)}
    peel = {n: next(a.to_value for a in rows if a.name == "body.peel_lift_mm") for n, rows in lift.items()}
    assert peel[30_000] > peel[0]


def test_a_proof_on_a_worn_film_says_less_of_a_new_one():
    """What held on an old film asks less of a new one, and by how much less is not known."""
    from_new, from_old = (angles(proven_at(n, film_layers=0)) for n in (0, 30_000))
    assert np.median(from_old) < 1.0
    assert np.log(from_old).std() > np.log(from_new).std()


def test_an_age_nobody_counted_is_wider_not_zero():
    counted, unknown = (np.log(angles(proven_at(8_000, film_layers=n))) for n in (8_000, None))
    assert counted.std() == 0.0
    assert unknown.std() > 0.0
    assert abs(float(np.median(unknown))) < 0.02


def test_wear_is_that_of_one_balance():
    """exp(0.2) of the energy at a speed law of n = 0.3, by the balance of one film (Kendall 1975) in another solver."""
    from vatwright.physics.film_peel import peel_angle, peel_energy

    film = side(tension_n_m=500.0, angle_rad=0.1, speed_exponent=1e-9)
    energy = peel_energy(modulus_pa=5e8, film_m=1e-4, tension_n_m=500.0, angle_rad=0.1)
    worn = film.worn(np.array([0.2]), np.array([math.log(0.9)]))
    expected = peel_angle(modulus_pa=5e8, film_m=1e-4, tension_n_m=450.0, energy_j_m2=energy * math.exp(0.2))
    assert worn.angle_rad[0] == pytest.approx(expected, rel=1e-6)


def test_runs_on_films_of_known_age_teach_wear():
    kind = kinds()[0]
    old = evolve(kind, run=evolve(kind.run, film_layers=30_000))
    assert {WEAR_OF_FILMS, SLACK_OF_FILMS, Unknown("film layers", "Wren")} <= old.matters()
    assert not {WEAR_OF_FILMS, SLACK_OF_FILMS} & kind.matters()
    zero = {u: np.zeros(3) for u in (*kind.unknowns, *old.own)}
    z = zero | {WEAR_OF_FILMS: np.array([-1.5, 0.0, 1.5])}
    release = old.outlook(z).release
    assert release[0] > release[1] > release[2]
    assert np.ptp(kind.outlook(z).release) == 0.0


# --- bounds --------------------------------------------------------------------------------------------------------------


def test_no_film_is_tighter_than_it_yields():
    """2.5 % of 480 MPa times 100 um are 1 200 N/m (Hooke's law; the strain from memory)."""
    plain = machine()
    tight = evolve(plain, film=evolve(plain.film, tension_n_m=exact(6615.0)))
    assert tight.film.yield_n_m == pytest.approx(1200.0)
    worlds = draw(job(origin=tight, target=demo_machine("Heron")), count=512)
    assert worlds.origin.tension_n_m.max() <= 1200.0
    assert worlds.target.tension_n_m.max() <= demo_machine("Heron").film.yield_n_m


def test_no_unknown_leaves_the_range_of_its_key():
    far = machine(stiffness_n_m=1e12, ceiling_n=exact(1e6))
    worlds = draw(job(origin=far), count=64)
    assert worlds.origin.stiffness_n_m.max() == bounds_of("machine.stiffness_N_mm")[1] == 1e8
    assert worlds.origin.ceiling_n.max() == bounds_of("machine.ceiling_N")[1]
