"""The recurrence against a general stiff solver, against quadrature, and against itself where it has two ways."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import quad, solve_ivp

from vatwright.errors import DomainError
from vatwright.physics.layer_stack import least_settle, run_stack, run_stacks, settle_demand, settle_demands

WIDE_M_S = 1e6  # a descent so fast that every layer starts from a wide gap
DISC_M4 = math.pi * 0.01**4 / 2.0  # 10 mm radius [saintvenant:1855]


def one_face(**changes):
    """A run of plain faces; what a test is about stands in the test."""
    plain = {
        "platform_torsion_m4": 0.0,
        "platform_extra_gap_m": 0.0,
        "layer_m": 50e-6,
        "settle_s": 2.0,
        "descent_m_s": 1e-3,
        "viscosity_pa_s": 0.25,
        "stiffness_n_m": 2.5e5,
        "force_ceiling_n": math.inf,
    }
    return plain | changes


def integrated(stack):
    """Thickness, deflection and arrival gap of every layer by scipy's Radau, the law written out afresh."""
    mu, k, ceiling = stack["viscosity_pa_s"], stack["stiffness_n_m"], stack["force_ceiling_n"]
    rows = np.broadcast_arrays(
        *(np.asarray(stack[f"{name}"], dtype=float) for name in (
            "torsion_m4", "platform_torsion_m4", "platform_extra_gap_m", "layer_m", "settle_s", "descent_m_s"
        )),
        stack.get("platform_follows", 0.0),
    )  # fmt: skip
    held, found = 0.0, []
    for j, p, b, h, settle, speed, c in zip(*rows, strict=True):
        rest, b = h - held, b + c * held

        def drag(x, j=j, p=p, b=b):
            return 3.0 * mu * (j / x**3 + p / (x + b) ** 3)

        top = max(rest, 0.0) + 40.0 * (3.0 * mu * (j + p) * speed / k) ** 0.25 + 1e-6
        falls = (top - rest) / speed

        def rate(t, x, rest=rest, speed=speed, falls=falls, drag=drag):
            commanded = rest + speed * max(falls - t, 0.0)
            return [-min(k * (x[0] - commanded), ceiling) / drag(x[0])]

        fine = {"method": "Radau", "rtol": 1e-11, "atol": 1e-18}
        arrived = solve_ivp(rate, (0.0, falls), [top + speed * drag(top) / k], **fine).y[0, -1]
        thick = solve_ivp(rate, (falls, falls + settle), [arrived], **fine).y[0, -1]
        held = thick - rest
        found.append((thick, held, arrived))
    return np.array(found).T


@pytest.mark.parametrize("ceiling_n", [math.inf, 100.0, 10.0])
@pytest.mark.parametrize("platform_m4", [0.0, 2e-5])
def test_whole_recurrence_against_a_general_stiff_solver(platform_m4, ceiling_n):
    # scipy.integrate.solve_ivp, Radau at rtol 1e-11; kinks of the ceiling are what limits it, hence 1e-6
    stack = one_face(
        torsion_m4=[2e-7, 3e-9, 8e-7, 8e-7, 1e-10],
        platform_torsion_m4=platform_m4,
        platform_extra_gap_m=2e-4 + np.arange(5) * 50e-6,
        settle_s=[1.0, 0.3, 0.0, 3.0, 2.0],
        force_ceiling_n=ceiling_n,
    )
    thick, held, arrived = integrated(stack)
    run = run_stack(**stack)
    np.testing.assert_allclose(run.thickness_m, thick, rtol=1e-6)
    np.testing.assert_allclose(run.deflection_m, held, rtol=1e-6, atol=1e-6 * 50e-6)
    np.testing.assert_allclose(run.arrival_gap_m, arrived, rtol=1e-6)
    rest = 50e-6 - np.concatenate(([0.0], held[:-1]))
    np.testing.assert_allclose(run.peak_force_n, np.minimum(2.5e5 * (arrived - rest), ceiling_n), rtol=1e-6)
    np.testing.assert_allclose(run.end_force_n, np.minimum(2.5e5 * held, ceiling_n), rtol=1e-6, atol=1e-5)


@pytest.mark.parametrize(("settle_s", "rtol"), [(0.0, 6e-3), (0.5, 3e-3), (3.0, 1e-3), (15.0, 1e-4)])
@pytest.mark.parametrize("ceiling_n", [math.inf, 60.0])
def test_a_platform_that_the_print_holds_off_against_a_general_stiff_solver(settle_s, rtol, ceiling_n):
    # scipy.integrate.solve_ivp as above; the descent is followed for platform's gaps 3 % apart and from there to first order,
    # and what one layer is off the next inherits, hence the wider tolerance after a short settle
    stack = one_face(
        torsion_m4=[0.0, 4e-7, 4e-7, 4e-7, 8e-8, 4e-7],
        platform_torsion_m4=2e-5,
        platform_extra_gap_m=[0.0, 40e-6, 80e-6, 120e-6, 160e-6, 200e-6],
        platform_follows=[0.0, 0.8, 0.8, 0.8, 1.0, 1.0],
        settle_s=settle_s,
        force_ceiling_n=ceiling_n,
    )
    thick = integrated(stack)[0]
    run = run_stack(**stack)
    np.testing.assert_allclose(run.thickness_m, thick, rtol=rtol)
    fixed = run_stack(**stack | {"platform_follows": 0.0})
    assert np.abs(fixed.thickness_m[1:4] / thick[1:4] - 1.0).max() > 3.0 * rtol  # it does something here


@pytest.mark.parametrize(
    ("rest_um", "start_um", "end_um"), [(50, 550, 55), (50, 550, 51), (100, 600, 110), (-30, 600, 40), (0, 600, 40)]
)
def test_wait_between_two_gaps_is_the_quadrature_of_the_law(rest_um, start_um, end_um):
    # scipy.integrate.quad of dt = 3 mu J dx / (k x^3 (x - a)), Reynolds' rigid plate on a spring [reynolds:1886]
    rest, start, end = (v * 1e-6 for v in (rest_um, start_um, end_um))
    mu, k = 0.2, 1e5
    need = settle_demand(
        **one_face(
            torsion_m4=[DISC_M4, DISC_M4], layer_m=100e-6, settle_s=0.0, viscosity_pa_s=mu, stiffness_n_m=k,
            descent_m_s=WIDE_M_S, start_deflection_m=100e-6 - rest, limit_m=[start, 1.0],
        )
    )[0]  # fmt: skip
    longer = settle_demand(
        **one_face(
            torsion_m4=[DISC_M4, DISC_M4], layer_m=100e-6, settle_s=0.0, viscosity_pa_s=mu, stiffness_n_m=k,
            descent_m_s=WIDE_M_S, start_deflection_m=100e-6 - rest, limit_m=[end, 1.0],
        )
    )[0]  # fmt: skip
    exact = quad(
        lambda x: 3.0 * mu * DISC_M4 / (k * x**3 * (x - rest)), end, start, epsabs=0.0, epsrel=1e-12, limit=200
    )[0]  # fmt: skip
    assert longer - need == pytest.approx(exact, rel=1e-9)


def test_wait_at_the_ceiling_is_stefans_time_between_two_gaps():
    # t = 3 mu J (1/h2^2 - 1/h1^2) / (2 F), Stefan's disc under a constant force [stefan:1874]; a hard spring holds it
    need = [
        settle_demand(
            **one_face(
                torsion_m4=DISC_M4, layer_m=10e-6, settle_s=0.0, viscosity_pa_s=0.2, stiffness_n_m=1e12,
                force_ceiling_n=10.0, descent_m_s=WIDE_M_S, limit_m=limit,
            )
        )[0]
        for limit in (500e-6, 50e-6)
    ]  # fmt: skip
    exact = 3.0 * 0.2 * DISC_M4 / 20.0 * (1.0 / 50e-6**2 - 1.0 / 500e-6**2)
    assert exact == pytest.approx(0.186611, rel=1e-5)
    assert need[1] - need[0] == pytest.approx(exact, rel=1e-9)


@pytest.mark.parametrize(
    ("torsion_m4", "carried_um", "thick_um"), [(1e-7, 0.0, 57.02), (1e-6, 80.0, 72.63), (1e-6, 50.0, 79.36)]
)
def test_worked_numbers(torsion_m4, carried_um, thick_um):
    # this formula's own numbers, no outside source: 0.25 Pa s, 2.5e5 N/m, 50 um, 2 s from a gap of 1 mm, digits printed
    stack = one_face(torsion_m4=[torsion_m4], descent_m_s=WIDE_M_S, start_deflection_m=carried_um * 1e-6)
    to_1_mm_s = settle_demand(**stack, limit_m=1e-3)
    run = run_stack(**stack | {"settle_s": 2.0 + to_1_mm_s})
    assert run.thickness_m[0] * 1e6 == pytest.approx(thick_um, abs=0.005)


def test_small_sections_come_out_as_commanded_and_jumps_in_area_do_not():
    # what users see, common practice, no source: a jump up prints thick, a drop prints thin
    small, large = [1e-11] * 4, [1e-6] * 4
    run = run_stack(**one_face(torsion_m4=small + large + small))
    thick = run.thickness_m * 1e6
    np.testing.assert_allclose(thick[:4], 50.0, rtol=1e-12)
    assert thick[4] > 75.0
    assert thick[8] < 25.0
    assert thick[-1] == pytest.approx(50.0, rel=1e-9)


def test_a_layer_without_any_area_and_a_platform_alone():
    bare = run_stack(**one_face(torsion_m4=[0.0, 0.0], platform_torsion_m4=1e-6, platform_extra_gap_m=[0.0, 50e-6]))
    face = run_stack(**one_face(torsion_m4=[1e-6]))
    assert bare.thickness_m[0] == face.thickness_m[0]
    assert np.isfinite(bare.thickness_m).all()
    gone = run_stack(**one_face(torsion_m4=[1e-6, 0.0], settle_s=[0.0, 2.0]))
    assert 0.0 < gone.thickness_m[1] < 1e-9


def test_many_samples_are_the_same_as_one_by_one():
    stack = one_face(
        torsion_m4=[1e-10, 4e-7, 4e-7, 2e-8], platform_torsion_m4=1e-5, platform_extra_gap_m=np.arange(4) * 50e-6
    )
    viscosity, ceiling = np.array([0.1, 0.3, 0.9]), np.array([math.inf, 20.0, 200.0])
    settle = np.array([[1.0, 2.0, 3.0, 4.0], [0.0, 0.0, 0.0, 0.0], [9.0, 1.0, 1.0, 1.0]])
    many = run_stacks(
        **stack | {"viscosity_pa_s": viscosity, "force_ceiling_n": ceiling, "settle_s": settle}, forces=True
    )
    quiet = run_stacks(**stack | {"viscosity_pa_s": viscosity, "force_ceiling_n": ceiling, "settle_s": settle})
    assert quiet.peak_force_n.shape == (3, 0)
    np.testing.assert_array_equal(quiet.thickness_m, many.thickness_m)
    for s in range(3):
        single = {"viscosity_pa_s": viscosity[s], "force_ceiling_n": ceiling[s], "settle_s": settle[s]}
        one = run_stack(**stack | single)
        np.testing.assert_array_equal(many.thickness_m[s], one.thickness_m)
        np.testing.assert_array_equal(many.peak_force_n[s], one.peak_force_n)
        limit = np.full(4, 60e-6)
        many_needs = settle_demands(
            **stack | {"viscosity_pa_s": viscosity, "force_ceiling_n": ceiling, "settle_s": settle}, limit_m=limit
        )
        np.testing.assert_array_equal(many_needs[s], settle_demand(**stack | single, limit_m=limit))


@pytest.mark.parametrize("ceiling_n", [math.inf, 15.0])
@pytest.mark.parametrize("platform_m4", [0.0, 1e-5])
def test_waiting_for_the_demand_meets_the_limit(platform_m4, ceiling_n):
    stack = one_face(
        torsion_m4=[1e-7, 4e-7, 4e-7, 1e-7],
        platform_torsion_m4=platform_m4,
        platform_extra_gap_m=5e-4,
        force_ceiling_n=ceiling_n,
        settle_s=0.0,
    )
    need = settle_demand(**stack, limit_m=57e-6, obeyed=True)
    run = run_stack(**stack | {"settle_s": need})
    assert (need > 0.0).any()
    np.testing.assert_allclose(run.thickness_m[need > 0.0], 57e-6, rtol=1e-9)
    assert (run.thickness_m <= 57e-6 * (1.0 + 1e-8)).all()


def test_a_limit_below_the_rest_gap_cannot_be_waited_for_and_a_generous_one_needs_no_wait():
    need = settle_demand(**one_face(torsion_m4=[1e-7, 1e-7]), limit_m=[49e-6, 1e-2])
    assert need.tolist() == [math.inf, 0.0]


def test_least_settle_for_hard_limits_is_where_a_scan_first_succeeds():
    stack = one_face(torsion_m4=[1e-10, 2e-7, 2e-7, 5e-7, 2e-7], viscosity_pa_s=np.array([0.2, 0.4]))
    answer = least_settle(
        **stack, first=1, last=5, hard_limit_m=62e-6, hard_factor=[1.0, 1.1], soft_low_m=0.0, soft_high_m=math.inf,
        soft_allowed=0, longest_s=100.0,
    )  # fmt: skip
    for s, (mu, limit) in enumerate([(0.2, 62e-6), (0.4, 62e-6 * 1.1)]):
        scan = np.linspace(0.0, 2.0 * answer[s], 4001)
        settle = np.column_stack((np.full(scan.size, 2.0), *[scan] * 4))
        thick = run_stacks(**stack | {"viscosity_pa_s": mu, "settle_s": settle}).thickness_m
        good = (thick[:, 1:] <= limit).all(axis=1)
        first = int(np.argmax(good))
        assert good[first:].all()
        assert answer[s] == pytest.approx(scan[first], rel=1.5e-3)
        exact = run_stack(**stack | {"viscosity_pa_s": mu, "settle_s": [2.0] + [answer[s]] * 4})
        assert (exact.thickness_m[1:] <= limit * (1.0 + 1e-8)).all()


def test_least_settle_keeps_all_but_the_allowed_layers_in_the_band():
    stack = one_face(torsion_m4=[1e-7] * 6 + [6e-7] * 20 + [1e-8] * 6)
    band = {"soft_low_m": 45e-6, "soft_high_m": 55e-6}

    def outside(settle):
        thick = run_stack(**stack | {"settle_s": settle}).thickness_m
        return int(((thick < 45e-6) | (thick > 55e-6)).sum())

    found = []
    for allowed in (12, 6, 2, 0):
        answer = least_settle(
            **stack, first=0, last=32, hard_limit_m=1.0, **band, soft_allowed=allowed, longest_s=300.0
        )[0]  # fmt: skip
        assert outside(answer) <= allowed < outside(0.995 * answer)
        found.append(answer)
    assert found == sorted(found)
    assert len(set(found)) == 4


def test_least_settle_is_none_or_unreachable():
    stack = one_face(torsion_m4=[1e-7, 1e-7])
    ask = {"first": 0, "last": 2, "soft_low_m": 0.0, "soft_high_m": math.inf, "soft_allowed": 0, "longest_s": 60.0}
    assert least_settle(**stack, **ask, hard_limit_m=1e-2)[0] == 0.0
    assert least_settle(**stack, **ask, hard_limit_m=49e-6)[0] == math.inf
    assert least_settle(**stack, **ask | {"longest_s": 0.5}, hard_limit_m=55e-6)[0] == math.inf


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"viscosity_pa_s": 0.0}, "viscosity_pa_s: must be above 0 and finite, got 0"),
        ({"layer_m": [50e-6, -1e-6]}, "layer_m: must be above 0 and finite, got -1e-06"),
        ({"settle_s": [1.0, math.nan]}, "settle_s: must be at least 0 and finite, got nan"),
        ({"torsion_m4": [1e-7, -1e-7]}, "torsion_m4: must be at least 0 and finite, got -1e-07"),
        ({"layer_m": [50e-6] * 3}, r"torsion_m4: has shape \(2,\), not \(3,\)"),
        ({"settle_s": np.zeros((2, 2, 2))}, "settle_s: has shape"),
        ({"start_deflection_m": -1e-6}, "start_deflection_m: must be at least 0"),
    ],
)
def test_what_cannot_be_is_refused_by_name(change, message):
    with pytest.raises(DomainError, match=message):
        run_stack(**one_face(torsion_m4=[1e-7, 1e-7]) | change)


def test_a_stretch_outside_the_layers_is_refused():
    ask = {"soft_low_m": 0.0, "soft_high_m": math.inf, "soft_allowed": 0, "longest_s": 60.0, "hard_limit_m": 1.0}
    with pytest.raises(DomainError, match="must be 0 <= first <= last <= 2"):
        least_settle(**one_face(torsion_m4=[1e-7, 1e-7]), **ask, first=1, last=3)


@pytest.mark.parametrize("torsion_m4", [1e-9, 3e-8, 3e-7])
def test_a_long_run_of_equal_layers_is_not_cut_short(torsion_m4):
    # layers that repeat may be copied; settles that differ in the last digits cannot be, and must come to the same
    torsion = np.concatenate((np.full(5, 1e-10), np.full(200, torsion_m4), np.full(50, 1e-8)))
    even = one_face(torsion_m4=torsion, settle_s=np.full(255, 1.0))
    uneven = even | {"settle_s": 1.0 + 1e-12 * (np.arange(255) % 2)}
    a, b = run_stack(**even), run_stack(**uneven)
    np.testing.assert_allclose(a.thickness_m, b.thickness_m, rtol=1e-7)
    assert a.thickness_m.sum() == pytest.approx(torsion.size * 50e-6 + a.deflection_m[-1], rel=1e-9)
    need, same = (settle_demand(**s, limit_m=55e-6) for s in (even, uneven))
    np.testing.assert_allclose(need, same, rtol=1e-5, atol=1e-9)


def test_what_is_kept_from_call_to_call_changes_no_bit():
    # the same stack asked in another order, with other settles and ceilings of memory between, against a first answer
    stack = {
        "torsion_m4": np.geomspace(1e-6, 1e-9, 30),
        "platform_torsion_m4": 2e-5,
        "platform_extra_gap_m": np.arange(30) * 50e-6,
        "layer_m": 50e-6,
        "descent_m_s": 3e-3,
        "viscosity_pa_s": np.array([0.2, 0.9]),
        "stiffness_n_m": 2.5e5,
        "force_ceiling_n": np.array([80.0, math.inf]),
    }
    first = run_stacks(settle_s=np.linspace(0.0, 20.0, 30), forces=True, **stack)
    least_settle(
        first=3, last=30, hard_limit_m=90e-6, soft_low_m=0.0, soft_high_m=1.0, soft_allowed=0, longest_s=600.0,
        settle_s=4.0, **stack,
    )  # fmt: skip
    settle_demands(limit_m=60e-6, settle_s=2.0, **stack)
    for held in range(5):  # other stacks push the first one off the shelf
        run_stacks(settle_s=1.0, **stack | {"layer_m": 50e-6 + held * 1e-6})
    again = run_stacks(settle_s=np.linspace(0.0, 20.0, 30), forces=True, **stack)
    np.testing.assert_array_equal(again.thickness_m, first.thickness_m)
    np.testing.assert_array_equal(again.peak_force_n, first.peak_force_n)
    alone = [run_stack(settle_s=np.linspace(0.0, 20.0, 30), **stack | {"viscosity_pa_s": v, "force_ceiling_n": f})
             for v, f in ((0.2, 80.0), (0.9, math.inf))]  # fmt: skip
    np.testing.assert_array_equal(again.thickness_m, [one.thickness_m for one in alone])


@pytest.mark.parametrize("found_um", [0.0, 30.0, 49.0, 50.0, 60.0, 200.0])
@pytest.mark.parametrize("times", [1e-3, 0.1, 0.6, 1.0, 3.0, 12.0])
def test_holding_over_one_face_lasts_as_long_as_the_quadrature_of_the_law(found_um, times):
    """From the gap on arrival to the one the light finds, whatever the layer before left; scipy's adaptive quadrature."""
    rest = (50.0 - found_um) * 1e-6
    stack = one_face(torsion_m4=[DISC_M4], start_deflection_m=found_um * 1e-6)
    drag_over_spring = 3.0 * stack["viscosity_pa_s"] * DISC_M4 / stack["stiffness_n_m"]
    settle = times * drag_over_spring / max(abs(rest), 1e-5) ** 3
    run = run_stack(**stack | {"settle_s": settle})
    begun, ended = run.peak_force_n[0] / stack["stiffness_n_m"], run.deflection_m[0]
    # in the logarithm of the lag, where the law is smooth however near the gap comes to rest
    taken = quad(
        lambda w: (rest + math.exp(w)) ** -3, math.log(ended), math.log(begun), epsabs=0.0, epsrel=1e-11, limit=200
    )[0]
    assert drag_over_spring * taken == pytest.approx(settle, rel=1e-8)
