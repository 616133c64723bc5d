import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from vatwright.errors import DomainError
from vatwright.physics.film_settle import (
    film_decay_time,
    film_half_time,
    film_stiffness,
    force_left,
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
}
FILM = {key: CASE[key] for key in CASE if key != "descent_m_s"}


def half_time(case):
    """Return the half-time read off the solver's own history."""
    guess = film_half_time(**case)
    layer = settled_profile(**case, time_s=4 * guess, cells=128, steps_per_efold=24)
    after = layer.time_s >= 0
    share = layer.force_n[after] / layer.force_at_stop_n
    return float(np.interp(np.log(2), -np.log(share), layer.time_s[after]))


def at_speed_number(case, number):
    """Return the case with the descent at which B = speed x decay time / gap."""
    decay = film_decay_time(**{key: case[key] for key in FILM})
    return case | {"descent_m_s": number * case["gap_m"] / decay}


@pytest.mark.parametrize("span", [0.052, 0.07, 0.14, 0.3, 0.55, 1.1, 2.2, 3.19])
@pytest.mark.parametrize("exponent", [-2.9, -1.4, -0.5, 0.4, 1.5, 2.6, 3.5, 5.5, 6.9])
def test_tabled_half_time_is_the_solvers_to_one_percent(span, exponent):
    case = at_speed_number(CASE | {"window_radius_m": 0.02 * np.exp(span)}, 10.0**exponent)
    assert film_half_time(**case) == pytest.approx(half_time(case), rel=1e-2)


def test_outside_the_table_the_half_time_goes_on_as_the_notes_say():
    slow = at_speed_number(CASE, 1e-6)
    assert film_half_time(**slow) == pytest.approx(half_time(slow), rel=1e-2)
    fast = at_speed_number(CASE, 1e8)
    assert film_half_time(**fast) == pytest.approx(half_time(fast), rel=0.1)


def test_small_parts_slow_descents_halve_in_their_decay():
    # Linear theory: one exponential, ln 2 of a decay time, once the window is wide (the film then sags as one).
    slow = at_speed_number(CASE | {"window_radius_m": 0.02 * 24}, 1e-4)
    assert film_half_time(**slow) / film_decay_time(**{k: slow[k] for k in FILM}) == pytest.approx(np.log(2), rel=5e-3)


def rigid_half_time(case, stiffness):
    """Return the rigid-plate law's half-time, a disc on a spring from wide: dx/dt = -k (x - z) x^3 / (3 mu J)."""
    gap, speed = case["gap_m"], case["descent_m_s"]
    rate = stiffness / (3 * case["viscosity_pa_s"] * np.pi * case["radius_m"] ** 4 / 2)
    start = gap + 15 * (speed / rate) ** 0.25
    descent = (start - gap) / speed
    options = {"method": "LSODA", "rtol": 1e-8, "atol": 1e-14}

    def fall(t, x):
        return [-rate * (x[0] - max(gap, start - speed * t)) * x[0] ** 3]

    at_stop = solve_ivp(fall, (0, descent), [start], max_step=descent / 200, **options).y[0, -1]

    def halved(t, x):
        return (x[0] - gap) / (at_stop - gap) - 0.5

    decay = 1 / (rate * gap**3)
    hold = solve_ivp(
        lambda t, x: [-rate * (x[0] - gap) * x[0] ** 3], (0, 2 * decay), [at_stop], events=halved, **options
    )
    return hold.t_events[0][0]


@pytest.mark.parametrize(("ratio", "longest"), [(5.0, 1.25), (3.0, 1.35), (2.0, 1.5)])
@pytest.mark.parametrize("descent_m_s", [1e-5, 1e-4, 1e-3])
def test_rigid_law_with_the_settling_stiffness_is_near_and_short(ratio, longest, descent_m_s):
    case = CASE | {"window_radius_m": 0.02 * ratio, "descent_m_s": descent_m_s}
    stiffness = settling_stiffness(radius_m=0.02, tension_n_m=1000.0, window_radius_m=0.02 * ratio)
    assert 0.98 < film_half_time(**case) / rigid_half_time(case, stiffness) < longest


def test_tenfold_area_costs_less_on_a_free_film_than_on_a_rigid_one():
    # Both laws' slow limit is J ~ area^2, a hundredfold; both fast limits follow (mu r^4 / k V^3)^(1/4), threefold.
    # A small part at 0.1 mm/s lies between: the arm (2.5e5 N/m, an engineering estimate) is still near the first, the
    # film already near the second.
    small = CASE | {"radius_m": 0.004, "window_radius_m": 0.04, "descent_m_s": 1e-4}
    large = small | {"radius_m": 0.004 * np.sqrt(10)}
    film = film_half_time(**large) / film_half_time(**small)
    rigid = rigid_half_time(large, 2.5e5) / rigid_half_time(small, 2.5e5)
    assert film == pytest.approx(half_time(large) / half_time(small), rel=2e-2)
    assert 3 < film < 0.5 * rigid < 50
    # And a free film, being softer than the arm, is always the later of the two.
    assert film_half_time(**small) > rigid_half_time(small, 2.5e5)


@settings(max_examples=30, deadline=None)
@given(
    st.floats(0.1, 10), st.floats(0.1, 10), st.floats(0.1, 10), st.floats(0.1, 10), st.floats(1.1, 20), st.floats(-1, 4)
)
def test_only_the_scaled_groups_matter(viscosity, radius, tension, gap, ratio, exponent):
    # Dimensional analysis of the equations: time in 12 mu r^4 / (T h^3), speed in h over that time.
    first = at_speed_number(CASE | {"window_radius_m": 0.02 * ratio}, 10.0**exponent)
    unit = viscosity * radius**4 / (tension * gap**3)
    second = {
        "viscosity_pa_s": first["viscosity_pa_s"] * viscosity,
        "radius_m": first["radius_m"] * radius,
        "tension_n_m": first["tension_n_m"] * tension,
        "window_radius_m": first["window_radius_m"] * radius,
        "gap_m": first["gap_m"] * gap,
        "descent_m_s": first["descent_m_s"] * gap / unit,
    }
    time = film_half_time(**first)
    one, two = settled_profile(**first, time_s=time), settled_profile(**second, time_s=time * unit)
    assert two.force_left == pytest.approx(one.force_left, rel=1e-6)
    assert two.mean_gap_m / gap == pytest.approx(one.mean_gap_m, rel=1e-6)
    assert film_half_time(**second) == pytest.approx(time * unit, rel=1e-9)


@settings(max_examples=30, deadline=None)
@given(st.floats(0.002, 0.05), st.floats(200, 3000), st.floats(1e-5, 5e-3), st.floats(0.01, 60))
def test_layer_thins_from_the_middle_outwards_and_with_time(radius_m, tension_n_m, descent_m_s, time_s):
    case = CASE | {"radius_m": radius_m, "tension_n_m": tension_n_m, "descent_m_s": descent_m_s}
    early, late = settled_profile(**case, time_s=time_s), settled_profile(**case, time_s=2 * time_s)
    assert -1e-9 < late.force_left <= early.force_left + 1e-9 < 1
    assert late.mean_gap_m <= early.mean_gap_m * (1 + 1e-9)
    # Pressure pushes the film away everywhere: the layer is never thinner than commanded, and thickest in the middle.
    assert early.edge_gap_m >= 50e-6 * (1 - 1e-9)
    assert (np.diff(early.gap_m) <= 1e-9 * early.gap_m[:-1]).all()
    assert early.edge_gap_m <= early.mean_gap_m <= early.centre_gap_m <= 50e-6 + early.deepest_m * (1 + 1e-6)
    # The film outside the part is a potential: edge deflection x 2 pi T / ln(R_w / r) is the force.
    stiffness = film_stiffness(radius_m=radius_m, tension_n_m=tension_n_m, window_radius_m=0.06)
    assert stiffness * (early.edge_gap_m - 50e-6) == pytest.approx(early.force_n[-1], rel=1e-6, abs=1e-9)


def test_force_left_is_the_profiles():
    assert force_left(**CASE, time_s=2.0) == settled_profile(**CASE, time_s=2.0).force_left
    assert force_left(**CASE, time_s=0.0) == 1.0
    assert force_left(**CASE, time_s=2.0, descent_s=0.1) != force_left(**CASE, time_s=2.0)


def test_refuses_what_it_cannot_use():
    with pytest.raises(DomainError, match="must be below window_radius_m"):
        settled_profile(**CASE | {"radius_m": 0.06}, time_s=1.0)
    with pytest.raises(DomainError, match="gap_m"):
        force_left(**CASE | {"gap_m": 0.0}, time_s=1.0)
    with pytest.raises(DomainError, match="time_s"):
        force_left(**CASE, time_s=-1.0)
    with pytest.raises(DomainError, match="descent_s"):
        force_left(**CASE, time_s=1.0, descent_s=0.0)
    with pytest.raises(DomainError, match="Use settled_profile"):
        film_half_time(**CASE | {"window_radius_m": 0.0201})
    with pytest.raises(DomainError, match="tension_n_m"):
        film_stiffness(radius_m=0.02, tension_n_m=float("nan"), window_radius_m=0.06)
