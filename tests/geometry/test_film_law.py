"""The reduced law of a giving film against marches of the coupled equations, node by node, and against the round case."""

from __future__ import annotations

import functools
import math
from itertools import pairwise

import numpy as np
import pytest
from attrs import asdict, evolve
from scipy.integrate import solve_ivp

from vatwright.geometry.bowed_film import BowedLayers
from vatwright.geometry.film_bow import FilmPress, _conductance, _flow_slope, film_grid
from vatwright.geometry.film_law import alike_layers, bowed_layers, film_law, grid_of_runs, handed_on
from vatwright.geometry.spans import spans
from vatwright.physics.film_settle import settled_profile
from vatwright.physics.layer_stack import GivingFaces, least_settle, run_stack, settle_demand

LAYER_M, VISCOSITY, TENSION, SPEED = 50e-6, 0.25, 866.0, 1e-3
GAMMA = 1.0 - math.sqrt(0.5)
RING = np.column_stack([f(np.linspace(0.0, 2.0 * math.pi, 400, endpoint=False)) for f in (np.cos, np.sin)])


def box(width_m, depth_m, x_m=0.0, y_m=0.0):
    return np.array([[-1.0, -1], [1, -1], [1, 1], [-1, 1]]) * (width_m / 2, depth_m / 2) + (x_m, y_m)


WINDOW = box(0.176, 0.112)


def law_stack(outlines, settle_s, *, cells=22, window=WINDOW, stiffness_n_m=1e12):
    """The laws of all layers' outlines, and what the stack is to be asked."""
    found = {id(o): (film_law(g), g) for o in outlines for g in [film_grid(window, o, cells=cells)]}
    laws, grids = zip(*(found[id(o)] for o in outlines), strict=True)
    handed = [(1.0, 0.0)] + [
        (1.0, 0.0) if a is b else handed_on(a, g, b) for a, b, g in zip(laws[:-1], laws[1:], grids[1:], strict=True)
    ]
    mean, uneven = np.array(handed).T
    bowed = BowedLayers(laws=laws, which=np.arange(len(laws)), handed=mean, uneven=uneven)
    names = ("stiffness", "slows", "force", "worst_early", "worst_late")
    giving = GivingFaces(**{n: bowed.column(n) for n in names}, handed=mean, uneven=uneven, lasting=bowed.lasting)
    asked = {
        "torsion_m4": [FilmPress(g).torsion_m4 for g in grids], "platform_torsion_m4": 0.0, "platform_extra_gap_m": 0.0,
        "layer_m": LAYER_M, "settle_s": settle_s, "descent_m_s": SPEED, "viscosity_pa_s": VISCOSITY,
        "stiffness_n_m": stiffness_n_m, "force_ceiling_n": math.inf, "giving": giving, "tension_n_m": TENSION,
    }  # fmt: skip
    return laws, asked


class CoupledMarch:
    """The coupled equations under pieces that come down on a film as the layer before left it, two-stage DIRK in time.

    Written for the tests: no reduced law, no similarity; h = z + (w - w_before) at every node.
    """

    def __init__(self, outlines, cells):
        self.grid = film_grid(WINDOW, outlines, cells=cells)
        self.press = FilmPress(self.grid)
        self.bow = self.press.bow_per_pa / TENSION
        at = np.cumsum(self.grid.window.inside.ravel()).reshape(self.grid.window.inside.shape) - 1
        self.nodes = at[self.grid.row, self.grid.column]

    def halfway(self, film):
        """A film at all nodes of the window, half-way along each arm."""
        own = film[self.nodes]
        return own + 0.5 * self.grid.arm * (np.append(film, 0.0)[self.press._ring] - own)

    def layer(self, settle_s, before, *, share):
        """Mean and greatest gap in the end, and the film at all nodes of the window."""
        held, edge_held = before[self.nodes], self.halfway(before)
        top = float(held.max()) + 4e-3
        down = top * np.exp(-share * np.arange(int(math.log(top / 1e-5) / share)))
        close = np.arange(float(held.max()) + 2e-4, 0.0, -share * 2e-4) if held.max() > 0 else []
        heights = np.append(np.unique(np.concatenate((down, close)))[::-1], 0.0)
        p = np.zeros(self.grid.nodes)
        for a, b in pairwise(heights):
            p = self.advance(p, (a - b) / SPEED, LAYER_M + b, SPEED, held, edge_held)
        for step in np.diff(np.concatenate(([0.0], settle_s * np.geomspace(1e-3, 1.0, int(7.0 / share))))):
            p = self.advance(p, step, LAYER_M, 0.0, held, edge_held)
        film = self.press.everywhere(p) / TENSION
        gap, grid = LAYER_M + film[self.nodes] - held, self.grid
        half = np.minimum(grid.arm, 0.5)
        width = np.stack([half[2] + half[3]] * 2 + [half[0] + half[1]] * 2)
        beyond = np.where(grid.under < 0, grid.arm - half, 0.0) * width * grid.window.pitch_m**2
        edge = gap + (half + grid.arm) / grid.arm * (LAYER_M + self.halfway(film) - edge_held - gap)
        weight = grid.weight_m2
        return (weight @ gap + (beyond * edge).sum()) / (weight.sum() + beyond.sum()), gap.max(), film

    def advance(self, base, step, height, speed, held, edge_held):
        above = height + speed * step * (1.0 - GAMMA)
        one = self.stage(base, base, GAMMA * step, above, speed, held, edge_held)
        ahead = base + (1.0 - GAMMA) / GAMMA * (one - base)
        return self.stage(ahead, one, GAMMA * step, height, speed, held, edge_held)

    def stage(self, base, p, step, height, speed, held, edge_held):
        weight = self.grid.weight_m2
        storing = 12.0 * VISCOSITY * weight[:, None] * self.bow / step
        for _ in range(40):
            gap = np.maximum(height - held + self.bow @ p, 1e-7)
            edge = np.maximum(height - edge_held + self.press.edge_bow(p) / TENSION, 1e-7)
            flow = _conductance(self.grid, gap, edge)
            rest = storing @ (p - base) - 12.0 * VISCOSITY * speed * weight + flow @ p
            slope = storing + flow.toarray() + _flow_slope(self.grid, gap, p) @ self.bow
            change = np.linalg.solve(slope, rest)
            p = p - change
            if np.abs(change).max() <= 1e-5 * max(np.abs(p).max(), 1e-30):
                break
        return p


def marched(outlines, settle_s, *, cells=22, share=0.25):
    marches = {id(o): CoupledMarch(o, cells) for o in outlines}
    film = np.zeros(int(next(iter(marches.values())).grid.window.inside.sum()))
    found = []
    for o, settle in zip(outlines, settle_s, strict=True):
        mean, worst, film = marches[id(o)].layer(settle, film, share=share)
        found.append((mean, worst))
    return np.array(found).T


@functools.cache
def platform_laws():
    return law_stack([[box(0.150, 0.092)]], 30.0)


def test_the_platform_of_the_worked_case():
    """150 x 92 mm in a window of 176 x 112 mm, 866 N/m, 0.25 Pa s: 364 um mean and 595 um at the worst place after 30 s,
    285 um in the middle after 240 s, by an independent fine grid; a spring in series would say 285 um after 30 s."""
    laws, asked = platform_laws()
    found = run_stack(**asked)
    assert found.thickness_m[0] == pytest.approx(364e-6, rel=0.03)
    assert found.worst_m[0] == pytest.approx(595e-6, rel=0.03)
    assert run_stack(**(asked | {"settle_s": 240.0})).worst_m[0] == pytest.approx(285e-6, rel=0.03)
    assert laws[0].worst_at_m == pytest.approx((0.0, 0.0), abs=0.005)


@pytest.mark.parametrize("ratio", [1.5, 3.0])
@pytest.mark.parametrize("settle_s", [2.0, 30.0])
def test_a_disc_settles_as_the_round_solution(ratio, settle_s):
    """Axisymmetric finite volumes on their own, much finer grid (physics/film_settle.py)."""
    exact = settled_profile(
        viscosity_pa_s=VISCOSITY, radius_m=0.02, tension_n_m=TENSION, window_radius_m=0.02 * ratio, gap_m=LAYER_M,
        descent_m_s=SPEED, time_s=settle_s,
    )  # fmt: skip
    _, asked = law_stack([[0.02 * RING]], settle_s, window=0.02 * ratio * RING, cells=40)
    found = run_stack(**asked)
    assert found.thickness_m[0] == pytest.approx(exact.mean_gap_m, rel=0.03)
    assert found.worst_m[0] == pytest.approx(exact.centre_gap_m, rel=0.03)


MID, FOOT, FLANGE, RAFT = [box(0.06, 0.04)], [box(0.03, 0.02)], [box(0.1, 0.06)], [box(0.1, 0.07)]


@pytest.mark.parametrize(
    ("outlines", "settle_s"),
    [
        ([MID] * 3, [3.0] * 3),
        ([RAFT, RAFT, MID, MID], [20.0, 20.0, 4.0, 4.0]),
        ([FOOT, FLANGE, FLANGE], [2.0, 4.0, 4.0]),
    ],
    ids=["block", "part on a raft", "flange over a foot"],
)
def test_layers_come_out_as_the_coupled_march_says(outlines, settle_s):
    mean, worst = marched(outlines, settle_s)
    _, asked = law_stack(outlines, settle_s)
    found = run_stack(**asked)
    assert found.thickness_m == pytest.approx(mean, rel=0.03)
    assert found.worst_m == pytest.approx(worst, rel=0.06)


def test_a_small_foot_on_a_raft():
    """The film is bowed like a plateau there: the worst place is half as thick again as the mean, which rises alone."""
    mean, worst = marched([RAFT, FOOT], [20.0, 2.0])
    _, asked = law_stack([RAFT, FOOT], [20.0, 2.0])
    found = run_stack(**asked)
    assert found.thickness_m == pytest.approx(mean, rel=0.06)
    assert found.worst_m == pytest.approx(worst, rel=0.08)


def test_the_kernel_follows_its_equation():
    """scipy's LSODA on the equation of the docstring."""
    _, asked = platform_laws()
    asked = asked | {"stiffness_n_m": 1e5, "settle_s": [20.0] * 3, "torsion_m4": asked["torsion_m4"] * 3}
    asked["giving"] = evolve(asked["giving"], **{k: np.repeat(v, 3) for k, v in asdict(asked["giving"]).items()})
    found = run_stack(**asked)
    one = {k: float(v[0]) for k, v in asdict(asked["giving"]).items()}
    own = one["stiffness"] * TENSION
    share = 1e5 / (1e5 + one["force"] * own)
    held = 0.0
    for n in range(3):

        def rate(t, y, held=held):
            z = LAYER_M + max(-t, 0.0) * SPEED
            e = min(max(1.0 - z / y[0], 0.0), 1.0)
            bent = (1.0 + one["slows"] * share) ** (e * (1.0 + 3.0 * e) / 4.0)
            return [-own * share * (y[0] - z + held) * y[0] ** 3 / (3.0 * VISCOSITY * asked["torsion_m4"][0] * bent)]

        x = [9e-3]
        for span in ((-(9e-3 + held) / SPEED, 0.0), (0.0, 20.0)):
            x = solve_ivp(rate, span, x, method="LSODA", rtol=1e-9, atol=1e-13).y[:, -1]
        assert found.thickness_m[n] == pytest.approx(x[0], rel=1e-3)
        e = 1.0 - LAYER_M / x[0]
        most = one["worst_early"] + (one["worst_late"] - one["worst_early"]) * (1.0 - e) * (2.0 - e) / 2.0
        assert found.worst_m[n] == pytest.approx(x[0] * (1.0 + (most - 1.0) * share * e), rel=1e-3)
        held += x[0] - LAYER_M


def test_wait_and_settle_are_each_other_turned_round():
    """The limit is the worst place's: a wait found for it brings the worst place there."""
    _, asked = law_stack([MID] * 2, 5.0)
    worst = run_stack(**asked).worst_m
    assert settle_demand(limit_m=worst, **asked) == pytest.approx([5.0, 5.0], rel=2e-3)
    least = least_settle(
        first=0, last=2, hard_limit_m=worst[0], soft_low_m=0.0, soft_high_m=1.0, soft_allowed=0, longest_s=600.0, **asked
    )  # fmt: skip
    assert least[0] == pytest.approx(5.0, rel=5e-3)


def test_firm_glass_is_the_limit_of_no_giving():
    asked = {
        "torsion_m4": [1e-8, 1e-6], "platform_torsion_m4": 0.0, "platform_extra_gap_m": 0.0, "layer_m": LAYER_M,
        "settle_s": 2.0, "descent_m_s": SPEED, "viscosity_pa_s": VISCOSITY, "stiffness_n_m": 2.5e5, "force_ceiling_n": math.inf,
    }  # fmt: skip
    one, none = np.ones(2), np.zeros(2)
    stiff = GivingFaces(
        stiffness=one,
        slows=one,
        force=one,
        handed=one,
        uneven=none,
        worst_early=2.0 * one,
        worst_late=2.0 * one,
        lasting=none,
    )
    rigid, giving = run_stack(**asked), run_stack(**asked, giving=stiff, tension_n_m=1e9)
    assert giving.thickness_m == pytest.approx(rigid.thickness_m, rel=1e-3)
    assert giving.worst_m == pytest.approx(rigid.thickness_m, rel=2e-3)


def test_runs_of_solid_give_the_grid_of_their_outlines():
    outlines = [box(0.05, 0.03, 0.01, -0.005), box(0.02, 0.02, -0.04, 0.01)]
    grid = film_grid(WINDOW, outlines, cells=40)
    points = np.concatenate(outlines)
    runs = spans(points, np.array([0, 4, 8]), np.array([0, 2]), origin_m=(-0.06, -0.03), pitch_m=1e-4, rows=600)
    laid = grid_of_runs(grid.window, [(runs, 0, (0.0, 0.0))])
    assert laid.nodes == grid.nodes
    assert laid.arm == pytest.approx(grid.arm, abs=0.02)


def test_each_layer_is_solved_under_its_own_outlines():
    """A foot, a flange over it, and pins that no grid sees: three outlines, the pins with the law of the flange."""
    layers = [FOOT[0]] * 3 + [FLANGE[0]] * 3 + [box(0.0005, 0.0005, 0.0007, 0.0007)] * 2
    points = np.concatenate(layers)
    runs = spans(points, 4 * np.arange(9), np.arange(9), origin_m=(-0.06, -0.03), pitch_m=1e-4, rows=600)
    area = np.array([np.prod(np.ptp(o, axis=0)) for o in layers])
    groups = alike_layers(area**2, area)
    bowed = bowed_layers(WINDOW, groups, lambda n: [(runs, n, (0.0, 0.0))])
    assert bowed.which.tolist() == [0, 0, 0, 1, 1, 1, 1, 1]
    assert 0.3 < bowed.handed[3] < 0.7
    assert bowed.handed[[0, 1, 2, 4, 5, 6, 7]].tolist() == [1.0] * 7
    assert bowed.uneven[3] < 0.0
    alone = film_law(film_grid(WINDOW, FLANGE, cells=54))
    assert bowed.laws[1].stiffness == pytest.approx(alone.stiffness, rel=0.01)
