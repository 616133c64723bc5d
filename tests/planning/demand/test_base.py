"""What squeezes on a plate: pieces that stand close together, and what follows for the settle."""

import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given
from hypothesis import settings as effort
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.integrate import solve_ivp
from tests.planning.workshop import machine, plate, settings, side

from vatwright.geometry.pressure import effective_torsion, platform_grid, raft_arms
from vatwright.physics.layer_stack import run_stack
from vatwright.planning.demand.base import NEAR_M, platform_outline, stack_load
from vatwright.planning.demand.settle import Run, Standard, least_base_settle_s, least_body_settle_s, proven_standard
from vatwright.records.study import Study

Floats = NDArray[np.float64]

LARGE = {"width_mm": 350.0, "depth_mm": 195.0}


def bar_torsion_m4(long_m: float, short_m: float) -> float:
    """Saint-Venant's constant of a rectangle: Timoshenko and Goodier, Theory of Elasticity, article 109 (from memory)."""
    odd = np.arange(1, 60, 2)
    series = float((np.tanh(odd * math.pi * long_m / (2.0 * short_m)) / odd**5).sum())
    return long_m * short_m**3 / 3.0 * (1.0 - 192.0 / math.pi**5 * short_m / long_m * series)


def slabs(
    count: int, *, width_m: float = 0.06, depth_m: float = 0.09, apart_m: float = 0.003, layers: int = 160
) -> Study:
    """Upright blocks side by side in the middle of the platform."""
    xs = (np.arange(count) - (count - 1) / 2.0) * (width_m + apart_m)
    corners = np.array([(-0.5, -0.5), (0.5, -0.5), (0.5, 0.5), (-0.5, 0.5)]) * (width_m, depth_m)
    torsion = count * bar_torsion_m4(max(width_m, depth_m), min(width_m, depth_m))
    return plate(
        [9.0] * layers,
        area_m2=np.full(layers, count * width_m * depth_m),
        torsion_m4=np.full(layers, torsion),
        base_outlines_m=tuple(corners + np.array((x, 0.0)) for x in xs),
        pieces=count,
    )


def run(study: Study, *, viscosity_pa_s: float = 0.3, confidence: float = 0.9) -> Run:
    large = machine("Albatross", **LARGE)
    return Run(
        machine=large, settings=settings(), load=stack_load(study, large), side=side(viscosity_pa_s=viscosity_pa_s),
        overcure_m=np.array([1.5e-5]), confidence=confidence,
    )  # fmt: skip


def asked(tolerance: float = 0.1) -> Standard:
    return Standard(base_slack=np.ones(1), body_slack=np.ones(1), tolerance=np.array([tolerance]))


def body_s(study: Study, *, tolerance: float = 0.1, **changes) -> float:
    return float(least_body_settle_s(run(study, **changes), asked(tolerance), bond=False)[0])


def test_the_torsion_of_a_square_is_the_handbooks():
    """0.1406 a^4: Timoshenko and Goodier, article 109, table (from memory)."""
    assert bar_torsion_m4(1.0, 1.0) == pytest.approx(0.1406, abs=5e-5)


@pytest.mark.parametrize("count", [1, 2, 3, 4, 5])
def test_pieces_that_stand_close_together_squeeze_each_on_its_own_once_the_print_has_grown(count):
    """A channel of 3 mm between two nodes of a coarse grid once made one piece of two: 2.2 times the torsion constant."""
    study = slabs(count)
    torsion = stack_load(study, machine(**LARGE)).torsion_m4
    near = round(NEAR_M / study.layer_m)
    assert torsion[near // 2 :] == pytest.approx(study.torsion_m4[0], rel=0.02)
    # Nothing jumps: a step here is taken for a jump in area, and a long settle asked for it.
    assert np.abs(np.diff(np.log(torsion[8:]))).max() < 0.15
    assert np.abs(np.diff(np.log(torsion[near // 2 :]))).max() < 0.011


def test_a_channel_wherever_it_lies_on_the_grid_changes_little():
    loads = [stack_load(slabs(2, apart_m=a), machine(**LARGE)).torsion_m4[1] for a in (0.003, 0.0032, 0.0035, 0.004)]
    assert max(loads) / min(loads) < 1.15


def test_four_plates_ask_for_four_times_as_long_as_one_at_most():
    """At rest in the first layers the wait grows with the torsion constant (Reynolds): no more than in proportion."""
    found = [body_s(slabs(n)) for n in (1, 2, 3, 4)]
    assert found == sorted(found)
    assert found[3] < 8.0 * max(found[0], 1.0)


@given(
    width_mm=st.floats(20.0, 80.0),
    depth_mm=st.floats(20.0, 120.0),
    viscosity=st.floats(0.1, 1.0),
    more=st.floats(1.1, 3.0),
)
@effort(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_the_least_settles_rise_with_pieces_viscosity_and_confidence_and_fall_with_tolerance(
    width_mm, depth_mm, viscosity, more
):
    size = {"width_m": width_mm / 1e3, "depth_m": depth_mm / 1e3}
    one, two = slabs(1, **size), slabs(2, **size)
    # Too thick alone (up to twice the layer, no limit below): layers that the arm crushes, springing back, are crushed the
    # more the less resists, so a limit below may ask for more settle with less load.
    least = body_s(one, viscosity_pa_s=viscosity, tolerance=1.0)
    assert least <= 1.01 * body_s(two, viscosity_pa_s=viscosity, tolerance=1.0) + 0.01
    assert least <= 1.01 * body_s(one, viscosity_pa_s=more * viscosity, tolerance=1.0) + 0.01
    strict = body_s(one, viscosity_pa_s=viscosity)
    assert body_s(one, viscosity_pa_s=viscosity, tolerance=0.1 * more) <= 1.01 * strict + 0.01
    base = [
        float(least_base_settle_s(run(study, viscosity_pa_s=mu, confidence=c), asked())[0])
        for study, mu, c in (
            (one, viscosity, 0.9), (two, viscosity, 0.9), (one, more * viscosity, 0.9), (one, viscosity, 0.97),
        )
    ]  # fmt: skip
    assert all(base[0] <= 1.01 * other + 0.01 for other in base[1:])


def test_a_proof_never_makes_the_standard_stricter_than_what_is_asked():
    proven = run(slabs(2))
    wide, narrow = (proven_standard(proven, tolerance=t).tolerance for t in (0.4, 0.1))
    assert (wide >= narrow).all()
    assert (wide >= 0.4).all()


def marched(study: Study, waits_s: Floats, pressed: dict[str, float]) -> Floats:
    """The variable-gap Reynolds equation followed in time, the platform as far off as what is printed really holds it."""
    grid = platform_grid(*platform_outline(machine("Albatross", **LARGE).platform), cells=192)
    raft, layer_m, held_m, found = raft_arms(grid, study.base_outlines_m), study.layer_m, 0.0, []
    gaps = np.geomspace(1.5e-5, 2e-2, 11)
    for n, wait_s in enumerate(waits_s):
        arms = raft if n else np.zeros_like(raft)
        j = [effective_torsion(grid, arms, gap_m=g, printed_m=n * layer_m + held_m) for g in gaps]
        rest = layer_m - held_m

        def closing(t, x, j=j, rest=rest):
            push = pressed["stiffness_n_m"] * (x - rest - max(-t, 0.0) * pressed["descent_m_s"])
            torsion = np.exp(np.interp(np.log(x), np.log(gaps), np.log(j)))
            return -push * x**3 / (3.0 * pressed["viscosity_pa_s"] * torsion)

        gap = solve_ivp(closing, (-5.0, wait_s), [rest + 0.01], method="LSODA", rtol=1e-6, atol=1e-11).y[0, -1]
        found.append(gap)
        held_m = gap - rest
    return np.array(found)


@pytest.mark.parametrize(
    ("raft", "base_s"),
    [
        ({"count": 2, "width_m": 0.03, "depth_m": 0.04, "apart_m": 0.04}, 15.0),
        ({"count": 2, "width_m": 0.03, "depth_m": 0.04, "apart_m": 0.04}, 45.0),
        ({"count": 2}, 15.0),
        ({"count": 5, "width_m": 0.06, "depth_m": 0.15}, 45.0),
    ],
    ids=["small pieces", "small pieces, long settle", "slabs", "most of the platform"],
)
def test_over_glass_base_and_first_body_layers_come_out_as_the_reynolds_equation_says(raft, base_s):
    """Platform held off as printed, both in one pressure field: with what was commanded alone a layer came out 7.6 times as
    thick here.  What is left is the fit of P' and c, and the last layers' own step from base to body."""
    study, count = slabs(**raft), 8
    load, waits_s = run(study).load.first(count), np.array([base_s] * 4 + [base_s / 5.0] * 4)
    pressed = {"viscosity_pa_s": 0.3, "stiffness_n_m": 2.5e5, "descent_m_s": 2e-3}
    law = run_stack(
        torsion_m4=load.torsion_m4, platform_torsion_m4=load.platform_torsion_m4, layer_m=study.layer_m, settle_s=waits_s,
        platform_extra_gap_m=load.platform_extra_gap_m, platform_follows=load.platform_follows, force_ceiling_n=math.inf,
        **pressed,
    ).thickness_m  # fmt: skip
    over = law / marched(study, waits_s, pressed)
    assert over[0] == pytest.approx(1.0, abs=0.02)
    assert over[1:] == pytest.approx(1.0, abs=0.07)
