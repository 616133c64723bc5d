"""The giving film on pieces' own outlines, against the round case solved exactly and against what must hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.geometry.film_march import bowing_stiffness, film_squeeze

from vatwright.errors import InputError
from vatwright.geometry.film_bow import film_grid
from vatwright.physics.film_settle import settled_profile, settling_stiffness

RING = np.column_stack([f(np.linspace(0.0, 2.0 * math.pi, 400, endpoint=False)) for f in (np.cos, np.sin)])
SQUARE = np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]])


def stiffness(window, loops, cells=96):
    return bowing_stiffness(film_grid(window, loops, cells=cells), tension_n_m=1000.0)


@pytest.mark.parametrize("ratio", [1.3, 2.0, 3.0, 5.0])
def test_a_disc_has_the_tail_of_the_closed_form(ratio):
    """The root of x ln(R_w/a) [J1(x)/J0(x) - I1(x)/I0(x)] = 2 (physics/film_settle.py), grade mathematics."""
    exact = settling_stiffness(radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.02 * ratio)
    assert stiffness(0.02 * ratio * RING, [0.02 * RING]) == pytest.approx(exact, rel=0.005)


def test_the_stiffness_of_a_square_converges_with_the_grid():
    fine = stiffness(0.05 * SQUARE, [0.02 * SQUARE], cells=200)
    errors = [abs(stiffness(0.05 * SQUARE, [0.02 * SQUARE], cells=c) / fine - 1.0) for c in (20, 40, 100)]
    assert errors[0] > errors[1] > errors[2]
    assert errors[1] < 0.005


def test_a_piece_near_the_frame_stands_on_a_stiffer_film():
    middle = stiffness(0.06 * SQUARE, [0.015 * RING])
    aside = stiffness(0.06 * SQUARE, [0.015 * RING + (0.04, 0.0)])
    assert aside > 1.1 * middle


def test_a_quarter_turn_changes_nothing():
    window, piece = 0.05 * SQUARE, 0.012 * SQUARE * (1.0, 0.5) + (0.02, 0.01)
    turned = piece[:, ::-1] * (-1.0, 1.0)
    assert stiffness(window, [turned]) == pytest.approx(stiffness(window, [piece]), rel=1e-3)


def test_the_stiffness_grows_with_the_tension_and_not_with_the_scale():
    one = bowing_stiffness(film_grid(0.05 * SQUARE, [0.02 * RING]), tension_n_m=1.0)
    assert bowing_stiffness(film_grid(0.05 * SQUARE, [0.02 * RING]), tension_n_m=700.0) == pytest.approx(700.0 * one)
    assert bowing_stiffness(film_grid(0.1 * SQUARE, [0.04 * RING]), tension_n_m=1.0) == pytest.approx(one, rel=1e-6)


def test_pieces_share_one_film_and_pull_it_down_together():
    """Two discs far from each other add up; two side by side are softer than the sum, stiffer than one."""
    window = 0.1 * SQUARE * (2.0, 1.0)
    one = stiffness(window, [0.01 * RING + (-0.1, 0.0)], cells=240)
    apart = stiffness(window, [0.01 * RING + (-0.1, 0.0), 0.01 * RING + (0.1, 0.0)], cells=240)
    beside = stiffness(window, [0.01 * RING + (-0.0105, 0.0), 0.01 * RING + (0.0105, 0.0)], cells=240)
    assert apart == pytest.approx(2.0 * one, rel=0.03)
    assert one < beside < 0.85 * apart


@pytest.fixture(scope="module")
def round_film():
    """The round reference: R_w / r = 3, two seconds after a fast descent."""
    return settled_profile(
        viscosity_pa_s=0.25, radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06, gap_m=50e-6, descent_m_s=1e-3,
        time_s=2.0,
    )  # fmt: skip


def squeezed(loops, cells, time_s=2.0, window=0.06 * RING, **changes):
    asked = {"viscosity_pa_s": 0.25, "tension_n_m": 1000.0, "gap_m": 50e-6, "descent_m_s": 1e-3} | changes
    return film_squeeze(film_grid(window, loops, cells=cells), time_s=time_s, **asked)


def test_the_march_reproduces_the_round_solution(round_film):
    found = squeezed([0.02 * RING], cells=30)
    stop = int(np.searchsorted(found.time_s, 0.0))
    assert found.force_n[stop] == pytest.approx(round_film.force_at_stop_n, rel=0.03)
    assert found.force_left == pytest.approx(round_film.force_left, abs=0.01)
    assert found.gap_m.max() == pytest.approx(round_film.centre_gap_m, rel=0.03)


def test_the_film_carries_what_the_resin_presses():
    """Force balance: a film clamped all round and flat at rest carries the force; it dies away monotonically."""
    found = squeezed([0.012 * SQUARE + (0.01, 0.0)], cells=24, time_s=20.0)
    after = found.force_n[found.time_s >= 0.0]
    assert (np.diff(after) < 0.0).all()
    assert found.gap_m.min() > 50e-6


def test_the_end_of_the_march_decays_as_the_stiffness_says():
    loops, grid_cells = [0.01 * SQUARE * (1.6, 1.0)], 60
    k = stiffness(0.06 * RING, loops, cells=grid_cells)
    # Near the rest plane only: the bow is small against the gap once most of the force is gone.
    times = (400.0, 440.0)
    forces = [squeezed(loops, grid_cells, time_s=t).force_n[-1] for t in times]
    decay_s = (times[1] - times[0]) / math.log(forces[0] / forces[1])
    long, short = 0.032, 0.02
    torsion = 0.2040 * long * short**3  # beta of a rectangle 1.6 : 1 (Timoshenko and Goodier, section 109, table 6)
    assert decay_s == pytest.approx(3.0 * 0.25 * torsion / (k * 50e-6**3), rel=0.04)


def test_ten_times_the_area_settles_far_sooner_than_the_rigid_law_says():
    """The rigid-plate law makes the half-time of a tenfold area about 50-fold; the giving film makes it a few-fold."""
    half = []
    for radius_m in (0.006, 0.006 * math.sqrt(10.0)):
        found = squeezed([radius_m * RING], cells=48 if radius_m < 0.01 else 24, time_s=40.0)
        after = found.time_s >= 0.0
        share = found.force_n[after] / found.force_n[after][0]
        half.append(float(np.interp(0.5, share[::-1], found.time_s[after][::-1])))
    assert 2.0 < half[1] / half[0] < 15.0


def test_a_piece_finer_than_the_grid_is_refused_and_so_is_too_fine_a_march():
    with pytest.raises(InputError, match="no node of 20"):
        film_grid(0.05 * SQUARE, [1e-4 * SQUARE + (0.0013, 0.0013)], cells=20)
    with pytest.raises(InputError, match="the march takes"):
        squeezed([0.05 * RING], cells=120)
