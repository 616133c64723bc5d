"""The coupled film-and-resin solver against closed forms, an independent method, and its own rate of convergence."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.special import iv, jv

from vatwright.physics.film_settle import (
    film_decay_time,
    film_stiffness,
    film_time_unit,
    settled_profile,
    settling_stiffness,
)

CASE = {
    "viscosity_pa_s": 0.25,
    "radius_m": 0.02,
    "tension_n_m": 1000.0,
    "window_radius_m": 0.06,
    "gap_m": 50e-6,
    "descent_m_s": 1e-3,
    "time_s": 2.0,
}
FILM = {key: CASE[key] for key in ("viscosity_pa_s", "radius_m", "tension_n_m", "window_radius_m", "gap_m")}


def test_stiff_film_gives_stefans_force_all_the_way_down():
    # Stefan 1874: 3 pi mu R^4 V / (2 z^3).  The start from rest is over once the film has relaxed.
    layer = settled_profile(**CASE | {"tension_n_m": 1e13, "time_s": 0.0, "descent_s": 0.2, "cells": 200})
    height = 50e-6 - 1e-3 * layer.time_s
    stefan = 3 * np.pi * 0.25 * 0.02**4 * 1e-3 / (2 * height**3)
    assert layer.force_n[5:] == pytest.approx(stefan[5:], rel=1e-4)
    assert layer.gap_m == pytest.approx(50e-6, rel=1e-6)


def test_force_on_a_stiff_film_vanishes_at_once_after_the_stop():
    # A rigid plate over a rigid floor: no motion, no force.
    layer = settled_profile(**CASE | {"tension_n_m": 1e13, "time_s": 1e-3, "descent_s": 0.2})
    assert layer.force_left < 1e-6
    assert layer.force_at_stop_n == pytest.approx(1508, rel=1e-3)


def test_departure_from_stefan_is_of_first_order_in_compliance():
    # F = F_rigid (1 - c F_rigid / T + ...): ten times the tension, a tenth of the departure.
    def departure(tension):
        case = CASE | {"tension_n_m": tension, "time_s": 0.0, "descent_s": 0.2, "descent_m_s": 1e-5, "cells": 100}
        return (
            1
            - settled_profile(**case).force_at_stop_n / settled_profile(**case | {"tension_n_m": 1e15}).force_at_stop_n
        )

    assert departure(1e7) / departure(1e8) == pytest.approx(10.0, rel=0.1)
    assert 1e-4 < departure(1e8) < 1e-2


def test_quick_small_push_meets_the_films_own_stiffness():
    # Before any resin has moved the film follows the part as if it were glued: a rigid disc in a membrane,
    # 2 pi T / ln(R_w / r) (Laplace's equation between two circles).  Edge layer ~ (t / unit)^(1/4) = 1 %.
    case = CASE | {"gap_m": 1e-3, "time_s": 0.0}
    unit = film_time_unit(**{k: case[k] for k in ("viscosity_pa_s", "radius_m", "tension_n_m", "gap_m")})
    push, duration = 1e-7, 1e-8 * unit
    layer = settled_profile(**case | {"descent_m_s": push / duration, "descent_s": duration, "cells": 800})
    stiffness = film_stiffness(radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06)
    assert layer.force_at_stop_n / (stiffness * push) == pytest.approx(1.0, abs=0.02)
    assert stiffness == pytest.approx(2 * np.pi * 1000.0 / np.log(3.0))


@pytest.mark.parametrize("ratio", [1.1, 1.5, 3.0, 20.0])
def test_last_of_the_force_decays_as_the_linear_theory_says(ratio):
    # Small deflection: w = J0(kr) + c I0(kr), p = T k^2 (J0 - c I0); p = 0 at the edge and w' = -w / (a ln(R_w/a)).
    case = CASE | {"window_radius_m": 0.02 * ratio, "descent_m_s": 1e-10}
    decay = film_decay_time(**FILM | {"window_radius_m": 0.02 * ratio})
    x = (film_time_unit(**{k: FILM[k] for k in FILM if k != "window_radius_m"}) / decay) ** 0.25
    c = jv(0, x) / iv(0, x)
    slope, deflection = x * (-jv(1, x) + c * iv(1, x)), jv(0, x) + c * iv(0, x)
    assert slope == pytest.approx(-deflection / np.log(ratio), rel=1e-9)
    left = [
        settled_profile(**case | {"time_s": n * decay, "cells": 100, "steps_per_efold": 200}).force_left for n in (2, 4)
    ]
    assert np.log(left[0] / left[1]) == pytest.approx(2.0, rel=2e-3)


def test_wide_window_decays_as_a_disc_on_a_spring():
    # Rigid-plate law: tau = 3 mu J / (k h^3), J = pi R^4 / 2, k = 2 pi T / ln(R_w / R); next term of order 1 / ln.
    wide = FILM | {"window_radius_m": 0.02 * np.exp(300.0)}
    stiffness = 2 * np.pi * 1000.0 / 300.0
    assert film_decay_time(**wide) == pytest.approx(3 * 0.25 * np.pi * 0.02**4 / 2 / (stiffness * 50e-6**3), rel=3e-3)
    # By definition the settling stiffness turns the rigid law's tau into the film's, at any window.
    settling = settling_stiffness(radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.06)
    assert film_decay_time(**FILM) == pytest.approx(3 * 0.25 * np.pi * 0.02**4 / 2 / (settling * 50e-6**3), rel=1e-12)


def spectral_history(case, start, times, nodes=24):
    """Solve the same equations by Chebyshev collocation in s = (r / a)^2 and an implicit Runge-Kutta library method.

    Scaled as lengths in a and h: p_t from M p_t = 4 (s h^3 p_s)_s + V, where w = M p inverts -4 (s w_s)_s = p with
    2 w_s + w / ln(R_w / a) = 0 at s = 1.  Returns the scaled force and w at the edge and middle.
    """
    span = np.log(case["window_radius_m"] / case["radius_m"])
    unit = film_time_unit(**{k: case[k] for k in ("viscosity_pa_s", "radius_m", "tension_n_m", "gap_m")})
    speed = case["descent_m_s"] * unit / case["gap_m"]
    k = np.arange(nodes + 1)
    s = 0.5 * (1 + np.cos(np.pi * k / nodes))  # from 1 down to 0
    weight = np.where((k == 0) | (k == nodes), 2.0, 1.0) * (-1.0) ** k
    d = np.outer(weight, 1 / weight) / (s[:, None] - s[None, :] + np.eye(nodes + 1))
    d -= np.diag(d.sum(axis=1))
    operator = -4 * d @ np.diag(s) @ d
    operator[0] = 2 * d[0]
    operator[0, 0] += 1 / span
    source = np.eye(nodes + 1)
    source[0, 0] = 0.0
    invert = np.linalg.solve(operator, source)[:, 1:]  # w at all nodes from p at all but the edge
    mass = np.linalg.inv(invert[1:])

    def slope(t, p, fall):
        h = 1.0 - min(0.0, t) * speed + invert @ p
        return mass @ ((4 * d @ (s * h**3 * (d @ np.concatenate([[0.0], p]))))[1:] + fall)

    options = {"method": "Radau", "rtol": 1e-8, "atol": 1e-9}
    down = solve_ivp(slope, (-start / unit, 0.0), np.zeros(nodes), args=(speed,), **options)
    hold = solve_ivp(slope, (0.0, times[-1] / unit), down.y[:, -1], args=(0.0,), t_eval=times / unit, **options)
    w = invert @ hold.y
    return 2 * np.pi * w[0] / span * case["tension_n_m"] * case["gap_m"], w[0], w[-1]


@pytest.mark.parametrize("ratio", [1.2, 3.0])
@pytest.mark.parametrize("descent_m_s", [2e-6, 1e-3])
def test_whole_history_against_spectral_collocation(ratio, descent_m_s):
    case = CASE | {"window_radius_m": 0.02 * ratio, "descent_m_s": descent_m_s}
    descent = 3e-3 / descent_m_s
    times = np.array([0.0, 0.05, 0.5, 2.0, 20.0])
    force, edge, middle = spectral_history(case, descent, times)
    for n, time in enumerate(times):
        layer = settled_profile(**case | {"time_s": time, "descent_s": descent})
        assert layer.force_n[-1] == pytest.approx(force[n], rel=2e-3)
        assert layer.edge_gap_m == pytest.approx(50e-6 * (1 + edge[n]), rel=2e-3)
        assert layer.centre_gap_m == pytest.approx(50e-6 * (1 + middle[n]), rel=2e-3)


def test_second_order_in_the_pitch_and_in_the_step():
    exact = settled_profile(**CASE, cells=512, steps_per_efold=12).force_n[-1]
    cells = np.array([12, 24, 48, 96])
    error = [abs(settled_profile(**CASE, cells=int(n), steps_per_efold=12).force_n[-1] / exact - 1) for n in cells]
    assert 1.8 < -np.polyfit(np.log(cells), np.log(error), 1)[0] < 2.2
    assert error[2] < 1e-3
    exact = settled_profile(**CASE, cells=24, steps_per_efold=400).force_n[-1]
    steps = np.array([4, 8, 16, 32])
    error = [abs(settled_profile(**CASE, cells=24, steps_per_efold=int(n)).force_n[-1] / exact - 1) for n in steps]
    assert 1.7 < -np.polyfit(np.log(steps), np.log(error), 1)[0] < 2.3
    assert error[1] < 1e-3


def test_higher_starts_make_no_difference():
    wide = settled_profile(**CASE)
    higher = settled_profile(**CASE, descent_s=5 * -wide.time_s[0])
    assert higher.force_left == pytest.approx(wide.force_left, rel=1e-4)
    assert higher.force_at_stop_n == pytest.approx(wide.force_at_stop_n, rel=1e-4)
