"""What must hold for every machine, resin and stack."""

from __future__ import annotations

import math

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.physics.layer_stack import run_stack, settle_demand


def logs(low, high):
    return st.floats(math.log10(low), math.log10(high)).map(lambda v: 10.0**v)


@st.composite
def stacks(draw, most=6):
    count = draw(st.integers(1, most))

    def each(values):
        return np.array(draw(st.lists(values, min_size=count, max_size=count)))

    return {
        "torsion_m4": each(logs(1e-12, 1e-5)),
        "platform_torsion_m4": draw(st.one_of(st.just(0.0), logs(1e-7, 3e-4))),
        "platform_extra_gap_m": draw(logs(1e-6, 0.1)) + np.arange(count) * 50e-6,
        "layer_m": each(st.floats(10e-6, 200e-6)),
        "settle_s": each(st.floats(0.0, 60.0)),
        "descent_m_s": draw(logs(1e-4, 1e-2)),
        "viscosity_pa_s": draw(logs(0.03, 5.0)),
        "stiffness_n_m": draw(logs(2e4, 2e6)),
        "force_ceiling_n": draw(st.one_of(st.just(math.inf), logs(5.0, 500.0))),
    }


@settings(deadline=None, max_examples=200)
@given(stacks())
def test_height_is_what_was_commanded_plus_what_is_still_held(stack):
    run = run_stack(**stack)
    height = stack["layer_m"].sum() + run.deflection_m[-1]
    assert math.isclose(run.thickness_m.sum(), height, rel_tol=1e-12)


@settings(deadline=None, max_examples=200)
@given(stacks())
def test_no_layer_is_below_its_rest_gap_and_nothing_rises_while_it_settles(stack):
    run = run_stack(**stack)
    assert (run.deflection_m >= 0.0).all()
    assert (run.thickness_m > 0.0).all()
    assert (run.arrival_gap_m >= run.thickness_m * (1.0 - 1e-9)).all()
    assert (run.peak_force_n >= run.end_force_n * (1.0 - 1e-7)).all()
    assert (run.peak_force_n <= stack["force_ceiling_n"]).all()


@settings(deadline=None, max_examples=100)
@given(stacks(), logs(0.1, 10.0))
def test_viscosity_and_torsion_stand_as_one_product(stack, factor):
    other = stack | {
        "viscosity_pa_s": stack["viscosity_pa_s"] / factor,
        "torsion_m4": stack["torsion_m4"] * factor,
        "platform_torsion_m4": stack["platform_torsion_m4"] * factor,
    }
    np.testing.assert_allclose(run_stack(**stack).thickness_m, run_stack(**other).thickness_m, rtol=1e-7)


@settings(deadline=None, max_examples=100)
@given(stacks(), logs(0.1, 10.0))
def test_stiffness_ceiling_and_viscosity_scale_together(stack, factor):
    # forces all scale, motion does not change
    other = stack | {
        name: stack[name] * factor for name in ("viscosity_pa_s", "stiffness_n_m", "force_ceiling_n")
    }  # fmt: skip
    a, b = run_stack(**stack), run_stack(**other)
    np.testing.assert_allclose(a.thickness_m, b.thickness_m, rtol=1e-7)
    np.testing.assert_allclose(a.peak_force_n * factor, b.peak_force_n, rtol=1e-6, atol=1e-9)


@settings(deadline=None, max_examples=100)
@given(stacks(most=1), st.floats(0.0, 120.0))
def test_a_longer_settle_never_leaves_one_layer_thicker(stack, more):
    longer = run_stack(**stack | {"settle_s": stack["settle_s"] + more})
    assert longer.thickness_m[0] <= run_stack(**stack).thickness_m[0] * (1.0 + 1e-12)


@settings(deadline=None, max_examples=100)
@given(stacks(), st.floats(1.0, 3.0))
def test_waiting_what_is_demanded_is_enough_and_waiting_less_is_not(stack, share):
    limit = stack["layer_m"] * share
    need = settle_demand(**stack | {"settle_s": 0.0}, limit_m=limit, obeyed=True)
    wait = np.where(np.isfinite(need), need, 0.0)
    thick = run_stack(**stack | {"settle_s": wait}).thickness_m
    reached = np.isfinite(need)
    assert (thick[reached] <= limit[reached] * (1.0 + 1e-7)).all()
    np.testing.assert_allclose(thick[reached & (need > 0.0)], limit[reached & (need > 0.0)], rtol=1e-7)
