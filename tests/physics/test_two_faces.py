"""Pieces and the bare platform around them over one giving film: the kernel against scipy on its equations, the law that
the planner takes against a march of the coupled equations, and its limits."""

from __future__ import annotations

import functools
import math

import numpy as np
import pytest
from attrs import evolve
from scipy.integrate import solve_ivp
from tests.physics.platform_march import PlatformMarch
from tests.planning import workshop

from vatwright.geometry.bowed_film import BowedLayers
from vatwright.geometry.film_bow import FilmPress, film_grid
from vatwright.geometry.film_law import film_law
from vatwright.physics.layer_stack import run_stack, settle_demand
from vatwright.planning.demand.base import stack_load
from vatwright.records.machine import Backing, Film, Window

LAYER_M, VISCOSITY, TENSION, SPEED, COUNT = 50e-6, 0.25, 866.0, 1e-3, 120
SETTLE_S = (30.0, 30.0, 30.0, 4.0, 4.0)


def box(width_m, depth_m, x_m=0.0, y_m=0.0):
    return np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * (width_m / 2, depth_m / 2) + (x_m, y_m)


WINDOW, PLATFORM = box(0.176, 0.112), box(0.150, 0.092)
BLOCK, CORNER = box(0.08, 0.048), box(0.032, 0.032, 0.048, 0.024)


@functools.cache
def asked(name):
    """The stack under a plate of one straight block, as the planner asks for it."""
    loop = {"block": BLOCK, "corner": CORNER}[name]
    film = Film(backing=Backing.FREE, thickness_m=1e-4, modulus_pa=4.8e8, tension_n_m=workshop.read(TENSION))
    machine = workshop.machine(film=film, window=Window(width_m=0.176, depth_m=0.112))
    grid = film_grid(WINDOW, [loop], cells=44)
    torsion, area = FilmPress(grid).torsion_m4, float(np.prod(np.ptp(loop, axis=0)))
    bowed = BowedLayers(
        laws=(film_law(grid),), which=np.zeros(COUNT, dtype=np.int64), handed=np.ones(COUNT), uneven=np.zeros(COUNT)
    )
    study = evolve(
        workshop.plate([10.0] * COUNT), torsion_m4=np.full(COUNT, torsion), area_m2=np.full(COUNT, area),
        base_outlines_m=(loop,), bowed=bowed,
    )  # fmt: skip
    load = stack_load(study, machine)
    return {
        "torsion_m4": load.torsion_m4, "platform_torsion_m4": load.platform_torsion_m4,
        "platform_extra_gap_m": load.platform_extra_gap_m, "layer_m": LAYER_M, "descent_m_s": SPEED,
        "viscosity_pa_s": VISCOSITY, "stiffness_n_m": 1e12, "force_ceiling_n": math.inf, "giving": load.giving.faces,
        "tension_n_m": TENSION, "settle_s": np.array([*SETTLE_S[:3], *[SETTLE_S[-1]] * (COUNT - 3)]),
    }  # fmt: skip


def marched(loop):
    march = PlatformMarch(
        WINDOW,
        PLATFORM,
        [loop],
        cells=22,
        layer_m=LAYER_M,
        viscosity_pa_s=VISCOSITY,
        tension_n_m=TENSION,
        speed_m_s=SPEED,
    )
    return np.array([march.layer(s) for s in SETTLE_S]).T


def test_base_and_first_body_layers_of_a_block_come_out_as_the_coupled_march_says():
    """Half the platform wide; a law in which only what is commanded holds the platform off says 1.7 to 3 times as much."""
    mean, worst = marched(BLOCK)
    found = run_stack(**asked("block"))
    assert found.thickness_m[:5] == pytest.approx(mean, rel=0.13)
    assert found.worst_m[:5] == pytest.approx(worst, rel=0.16)


def test_a_piece_in_a_corner_is_told_too_thick_rather_than_too_thin():
    """Where the platform bows the film aslant the second layer is a third too thick, the others within a tenth."""
    mean, worst = marched(CORNER)
    found = run_stack(**asked("corner"))
    assert found.thickness_m[[0, 2, 3, 4]] == pytest.approx(mean[[0, 2, 3, 4]], rel=0.13)
    for law, march in ((found.thickness_m[:5], mean), (found.worst_m[:5], worst)):
        assert (law > 0.95 * march).all()
        assert (law < 1.5 * march).all()


def test_the_kernel_follows_its_equations():
    """scipy's LSODA on the equations of the module's head, from high above, with numbers of the block's own."""
    stack = asked("block")
    faces, arm = stack["giving"], 2.5e5
    stack |= {"torsion_m4": np.full(COUNT, 1.8e-6), "stiffness_n_m": arm}
    found = run_stack(**stack)
    own = 1.0 / (TENSION * faces.stiffness[0] * faces.force[0])
    bare = 1.0 / (TENSION * faces.bare_stiffness[0] * faces.bare_force[0])
    shared = faces.under[0] * bare
    force = np.linalg.inv(np.array([[own, shared], [shared, bare]]) + 1.0 / arm)
    bends = [math.log1p(s * c / (c + 1.0 / arm)) for s, c in ((faces.slows[0], own), (faces.bare_slows[0], bare))]
    drag = 3.0 * VISCOSITY * np.array([1.8e-6 * faces.force[0], stack["platform_torsion_m4"][0] * faces.bare_force[0]])
    held = 0.0
    for n in range(3):
        above = np.array([-held, n * LAYER_M])

        def rate(t, gaps, above=above, n=n):
            z = LAYER_M + max(-t, 0.0) * SPEED
            level = np.array([z, z + n * LAYER_M])
            e = np.clip(1.0 - level / gaps, 0.0, 1.0)
            return (
                -(force @ (gaps - z - above)) * gaps**3 / (drag * np.exp(np.array(bends) * e * (1.0 + 3.0 * e) / 4.0))
            )

        gaps = LAYER_M + 0.02 + above
        for k, span in enumerate(((-0.02 / SPEED, 0.0), (0.0, 30.0))):
            gaps = solve_ivp(rate, span, gaps, method="LSODA", rtol=1e-9, atol=1e-14).y[:, -1]
            got = (found.arrival_gap_m if k == 0 else found.thickness_m)[n]
            assert got == pytest.approx(gaps[0], rel=5e-3)
        assert found.end_force_n[n] == pytest.approx(float((force @ (gaps - LAYER_M - above)).sum()), rel=0.02)
        held = gaps[0] - LAYER_M + held


def test_a_wait_found_for_the_worst_place_brings_it_there():
    stack = asked("block")
    worst = run_stack(**stack).worst_m
    assert settle_demand(limit_m=worst, **stack)[:5] == pytest.approx(SETTLE_S, rel=0.03)


def test_a_platform_that_is_far_away_changes_nothing():
    """The same block where the bare platform is a metre off, and where there is none: what is left is the one-face law."""
    stack = asked("block") | {"torsion_m4": np.full(COUNT, 1.8e-6)}
    far = run_stack(**stack | {"platform_extra_gap_m": 1.0})
    none = run_stack(**stack | {"platform_torsion_m4": 0.0})
    assert far.thickness_m[:6] == pytest.approx(none.thickness_m[:6], rel=0.01)


def test_longer_settles_never_leave_the_first_layers_thicker():
    stack = asked("corner")
    first = [run_stack(**stack | {"settle_s": s}).worst_m[0] for s in (1.0, 3.0, 10.0, 30.0, 100.0)]
    assert (np.diff(first) < 0.0).all()
