"""Whether pieces hold on: chances against simulation and closed forms, evidence, real and demo parts, what is told."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.special import ndtr
from tests.planning.workshop import (
    carried,
    demo_job,
    demo_machine,
    demo_plate,
    job,
    lowest,
    machine,
    plate,
    read,
    resin,
    side,
)
from tests.real_meshes import real_mesh

from vatwright.geometry.load_path import IslandGraph
from vatwright.geometry.mesh import merge_triangles
from vatwright.geometry.part_layers import layers_of_mesh
from vatwright.planning.demand.holding import (
    ALIKE_LAYERS,
    GREEN_STRENGTH_PA,
    LASTING_SHARE,
    NECK_SHARE,
    Strengths,
    front_force_n_m,
    holding_chances,
    holding_log_likelihood,
    holding_risks,
    plate_margins,
    run_holds,
    strengths,
    with_strengths,
)
from vatwright.planning.demand.lift import PULL_SCATTER
from vatwright.planning.demand.unknowns import draw, resample
from vatwright.records.part import PartUse
from vatwright.records.study import Hanging, SealedPocket
from vatwright.services.ports import PartGeometry
from vatwright.services.study_parts import PartBench, study_plate

SCATTER = math.log(PULL_SCATTER) / 1.6448536269514722


def column(areas_m2, *, sealed_m2=0.0):
    """One island a layer, each resting on the one beneath with all they share."""
    area = np.asarray(areas_m2, dtype=float)
    n = len(area)
    half = np.sqrt(area) / 2.0
    return IslandGraph(
        island_start=np.arange(n + 1),
        island_of_run=np.arange(n, dtype=np.int32),
        area_m2=area,
        centroid_m=np.zeros((n, 2)),
        box_m=np.column_stack((-half, -half, half, half)),
        second_m4=np.column_stack((area**2 / 12.0, area**2 / 12.0)),
        sealed_m2=np.full(n, sealed_m2),
        link_start=np.concatenate(([0], np.arange(n))),
        link_below=np.arange(n - 1),
        link_area_m2=np.minimum(area[1:], area[:-1]),
    )


def hung(areas_m2, *, front_m=0.01, pieces=1, sealed_m2=0.0, **changes):
    """A plate of columns of these areas, with that peel front in every layer."""
    graph = column(areas_m2, sealed_m2=sealed_m2)
    front = np.full(graph.islands, front_m)
    hanging = tuple(
        Hanging(part="lamp post", first_layer=0, shift_m=(0.01 * k, 0.0), graph=graph, front_m=front)
        for k in range(pieces)
    )
    return plate(np.full(graph.layers, 9.0), hanging=hanging, **changes)


def strong(count=1, *, section_pa=5e6, foot_pa=5e5, suction_pa=3e4):
    return Strengths(
        section_pa=np.full(count, section_pa), foot_pa=np.full(count, foot_pa), suction_pa=np.full(count, suction_pa)
    )


# --- the chance of a run -----------------------------------------------------------------------------------------------


def simulated(margin, *, runs=200_000, seed=3):
    """The chance that no block of layers pulls more than it may, by drawing runs (whole blocks of like layers)."""
    rng = np.random.default_rng(seed)
    blocks = len(margin) // ALIKE_LAYERS
    z = rng.standard_normal((runs, 1))
    e = rng.standard_normal((runs, blocks))
    pull = SCATTER * (math.sqrt(LASTING_SHARE) * z + math.sqrt(1.0 - LASTING_SHARE) * e)
    return float((pull <= np.log(margin[::ALIKE_LAYERS])).all(axis=1).mean())


@pytest.mark.parametrize("middle", [1.5, 2.5, 4.0])
def test_the_chance_is_that_of_drawn_runs(middle):
    margin = np.repeat(middle * np.array([1.0, 1.3, 2.0, 1.0, 5.0, 1.1]), ALIKE_LAYERS)
    # 200,000 runs: the standard error of a share is under 0.0012
    assert float(run_holds(margin, np.ones(1))[0]) == pytest.approx(simulated(margin), abs=0.005)


def test_one_block_is_one_draw_of_the_whole_scatter():
    # P(X <= m) of a lognormal (any table of the normal distribution)
    for margin in (0.5, 1.0, 2.5):
        got = float(run_holds(np.full(ALIKE_LAYERS, margin), np.ones(1))[0])
        assert got == pytest.approx(float(ndtr(math.log(margin) / SCATTER)), abs=1e-3)


def test_the_stated_scatter_is_a_ninety_per_cent_range():
    assert float(run_holds(np.full(ALIKE_LAYERS, PULL_SCATTER), np.ones(1))[0]) == pytest.approx(0.95, abs=1e-3)


def test_nothing_that_pulls_is_sure_to_hold():
    assert run_holds(np.full(40, np.inf), np.ones(3)).tolist() == [1.0, 1.0, 1.0]


@settings(max_examples=30, deadline=None)
@given(st.lists(st.floats(0.2, 50.0), min_size=2, max_size=80), st.floats(1.0, 5.0))
def test_stronger_holds_more_often_and_more_layers_less_often(margins, stronger):
    margin = np.array(margins)
    one = run_holds(margin, np.array([1.0, stronger]))
    assert 0.0 <= one[0] <= one[1] + 1e-12
    more = float(run_holds(np.concatenate((margin, margin)), np.ones(1))[0])
    assert more <= float(run_holds(margin, np.ones(1))[0]) + 1e-9


# --- a plate -----------------------------------------------------------------------------------------------------------


def test_a_column_has_its_area_times_strength_over_its_pull():
    areas = np.full(60, 4e-6)
    film = side()
    plain = plate_margins(hung(areas, front_m=2e-3), np.array([1.0]))
    # F = T1 sin(theta) b (Rivlin 1944), T1 = T0 + (E t + T0)(1/cos - 1) by Hooke's law at 9 degrees; ratio = A sigma / F
    stretched = 900.0 + (5e4 + 900.0) * (1.0 / math.cos(math.radians(9.0)) - 1.0)
    force = stretched * math.sin(math.radians(9.0)) * 2e-3
    pulled = np.isfinite(plain.section_m[0])
    assert plain.section_m[0, pulled] * 5e6 / front_force_n_m(film)[0] == pytest.approx(4e-6 * 5e6 / force)
    # the last cubic millimetre is the point of it: 4 mm2 x 50 um x 5 layers
    assert pulled.sum() == 60 - 5


def test_a_pocket_adds_its_suction():
    # p A on a cup (ISO 2533 for one atmosphere): suction of 0.3 atm on 100 mm2 is 3 N, over what the film pulls
    film, strength = side(), strong()
    front = float(front_force_n_m(film)[0])
    study = hung(np.full(60, 4e-6), front_m=2e-3, sealed_m2=1e-4, pockets=(SealedPocket(0, 59, 1e-6, 1e-4),))
    found = plate_margins(study, np.array([3e4 / front]))
    assert found.section_m[0, 1] * 5e6 / front == pytest.approx(4e-6 * 5e6 / (front * 2e-3 + 3.0))
    several = plate_margins(study, np.array([1e4, 3e4, 9e4]) / front)
    middle, _ = holding_chances(found, film, strength)
    between, _ = holding_chances(several, film, strength)
    assert float(between[0]) == pytest.approx(float(middle[0]), abs=1e-9)


def test_the_foot_carries_with_its_area_and_its_own_bond():
    film = side()
    one = plate_margins(hung(np.concatenate((np.full(4, 1e-4), np.full(60, 4e-6))), front_m=2e-3), np.array([1.0]))
    held, foot = holding_chances(one, film, strong(foot_pa=1e-4))
    assert float(foot[0]) < 1e-6 < 0.99 < float(held[0])


def test_like_pieces_are_each_counted_where_they_stand():
    near = hung(np.full(60, 4e-6), pieces=3)
    far = near.hanging[2]
    worse = evolve(near, hanging=(*near.hanging[:2], evolve(far, front_m=3.0 * far.front_m)))
    one, two = (plate_margins(s, np.array([1.0])) for s in (near, worse))
    assert two.section_m[0, 10] == pytest.approx(one.section_m[0, 10] / 3.0)


def test_real_bunny_holds_at_its_feet_and_its_weakest_place_is_in_it():
    mesh = merge_triangles(real_mesh("bunny") * 0.005)
    layers = layers_of_mesh(mesh, layer_nm=50_000, step=lambda *_: None)
    graph = layers.standing[0].graph
    by_layer = np.bincount(graph.island_layer, graph.area_m2, layers.layers)
    # the same rows: areas of all islands of a layer are its area
    assert by_layer == pytest.approx(layers.runs.area_m2, rel=1e-9)

    def corners(_part, *, layer_nm):
        return PartGeometry(name="bunny", corners_m=np.asarray(mesh.vertices_m[mesh.faces]))

    study = study_plate(
        [PartUse(name="bunny", file="bunny")], PartBench(corners, layer_nm=50_000), machine=demo_machine("Heron")
    ).study
    found = plate_margins(study, np.array([1.0]))
    finite = found.section_m[0][np.isfinite(found.section_m[0])]
    # a section is at most its front times its other side: the margin is a length within the size of the bunny
    size = float((layers.bounds_m[1] - layers.bounds_m[0]).max())
    assert 0.0 < finite.min() < finite.max() < size


def test_islands_of_a_layer_pull_at_least_as_hard_as_the_layer():
    # at one rise the fronts of all islands together are the layer's (Rivlin 1944: pull is front times T sin theta)
    study = demo_plate("Wren", lantern=2, lantern_base=2)
    total = np.zeros(study.layers)
    for h in study.hanging:
        total[h.first_layer : h.first_layer + h.graph.layers] += np.bincount(
            h.graph.island_layer, h.front_m, h.graph.layers
        )
    some = total > 0.0  # the very last layers are specks without an island
    assert (total[some] >= study.reach.front_m[some] * (1.0 - 1e-6)).all()


# --- evidence ----------------------------------------------------------------------------------------------------------


def test_runs_that_held_speak_against_worlds_in_which_they_would_have_torn():
    study = hung(np.full(200, 4e-6), front_m=0.05)
    film = side(3)
    weak = Strengths(section_pa=np.array([4e5, 4e6, 4e8]), foot_pa=np.full(3, 1e9), suction_pa=np.full(3, 1e4))
    one, eight = (holding_log_likelihood(study, (film, film), 0, weak, held=n) for n in (1, 8))
    assert one[0] < one[1] < one[2] <= 0.0
    assert eight == pytest.approx(np.maximum(8 * one, 8 * math.log(1e-3)), rel=1e-6)
    assert holding_log_likelihood(study, (film, film), 0, weak, held=0).tolist() == [0.0, 0.0, 0.0]
    assert holding_log_likelihood(plate(np.full(9, 9.0)), (film, film), 0, weak, held=8).tolist() == [0.0, 0.0, 0.0]


def test_resampled_worlds_keep_their_strengths_and_are_stronger():
    task = job()
    worlds = with_strengths(draw(task, count=256), task)
    assert worlds.axes["green strength"] is worlds.axes["green strength target"]  # one resin
    study = hung(np.concatenate((np.full(4, 1e-3), np.full(200, 4e-6))), front_m=0.15)
    before = strengths(worlds, task.resin, target=False)
    seen = holding_log_likelihood(study, (worlds.origin, worlds.origin), 0, before, held=8)
    after = resample(worlds, seen, count=256)
    now = strengths(after, task.resin, target=True)
    assert np.median(now.section_pa) > 1.2 * np.median(before.section_pa)


def test_two_resins_have_strengths_of_their_own():
    task = job(to_resin=resin(name="amber"))
    worlds = with_strengths(draw(task, count=64), task)
    assert not np.array_equal(worlds.axes["green strength"], worlds.axes["green strength target"])


def test_a_stated_strength_replaces_the_estimate():
    task = job()
    worlds = with_strengths(draw(task, count=512), task)
    stated = resin(green_strength_pa=read(3.0e7), base_bond_pa=read(2.0e6))
    guess, known = (strengths(worlds, r, target=True) for r in (task.resin, stated))
    # medians of lognormals multiply
    assert np.median(guess.section_pa) == pytest.approx(GREEN_STRENGTH_PA.value * NECK_SHARE.value, rel=0.05)
    assert np.median(known.section_pa) == pytest.approx(3.0e7 * NECK_SHARE.value, rel=0.05)
    assert np.median(known.foot_pa) == pytest.approx(2.0e6, rel=0.02)
    spread = [np.std(np.log(s.foot_pa)) for s in (guess, known)]
    assert spread[1] < spread[0] / 5.0


# --- the sheet ---------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def necked():
    """Posts of 9 mm2 with a neck of 0.02 mm2 at layer 40 under 60 mm of front, on a plate like that of the proof."""
    areas = np.full(100, 9e-6)
    areas[40] = 2e-8
    return carried(job(), plate(np.full(100, 9.0)), hung(areas, front_m=0.06, pieces=4))


def test_a_neck_is_told_with_its_part_and_height(necked):
    held = necked.holding
    assert held.weakest.layer == 40
    assert held.weakest.part == "lamp post"
    assert held.weakest.alike == 4
    assert held.weakest.section_m2 == pytest.approx(2e-8)
    assert held.weakest.margin < 1.0
    told = next(r for r in necked.risks if "may tear" in r.what)
    assert "lamp post" in told.what
    assert "2.0 mm" in told.what
    assert told.layer == 40
    assert told.chance == pytest.approx(held.tear_chance)
    assert held.tear_chance > 0.3
    assert not held.proof_counts


def test_the_pull_at_the_neck_is_the_films(necked):
    # F = T1 sin(theta) b with T0 about 900 N/m, E t about 48 kN/m and theta about 8 degrees (common practice):
    # T1 = 900 + 48 900 x 0.0098 = 1380 N/m, 1380 x 0.139 x 0.06 = 11.5 N
    assert necked.holding.weakest.pull_n == pytest.approx(11.5, rel=0.35)


def test_the_profile_shows_the_neck(necked):
    profile = necked.holding.profile
    n = int(np.argmin(profile.capacity_n))
    assert profile.height_m[n] == pytest.approx(40 * 50e-6)
    assert (profile.capacity_low_n < profile.capacity_n).all()
    assert (profile.capacity_n < profile.capacity_high_n).all()
    assert profile.demand_high_n == pytest.approx(profile.demand_n * PULL_SCATTER)


def test_holding_stands_beside_the_chance_of_the_run(necked):
    plain = carried(job(), plate(np.full(100, 9.0)))
    assert plain.holding is None
    assert necked.success == plain.success


def test_a_plate_proven_on_itself_holds_there_more_surely_than_the_estimates_alone_say():
    areas = np.full(100, 9e-6)
    areas[40] = 2e-7
    study = hung(areas, front_m=0.06, pieces=4)
    proven = carried(job(), study).holding
    unproven = carried(job(), plate(np.full(100, 9.0)), study).holding
    assert proven.proof_counts
    assert proven.mean > unproven.mean + 0.1


def test_demo_lanterns_hold_by_their_posts_and_a_cups_pocket_pulls_hardest():
    study = demo_plate("Albatross", lantern=6, cup=2)
    held = carried(demo_job("Albatross"), lowest_of("Wren", 160), lowest_hanging(study, 160)).holding
    assert held.mean > 0.85
    alone = lowest_hanging(demo_plate("Albatross", lantern=6), 160)
    posts = carried(demo_job("Albatross"), lowest_of("Wren", 160), alone).holding
    # posts of twelve sides within a circle of 0.9 mm, from the raft at 0.8 to the sill at 5 mm, as they are drawn
    assert posts.weakest.part == "lantern"
    assert posts.weakest.section_m2 == pytest.approx(6 * 0.81e-6 * math.sin(math.pi / 6), rel=0.02)
    assert 0.8e-3 <= posts.weakest.height_m <= 5.0e-3
    # the foot of a cup is a polygon of 72 sides within 14 mm
    assert held.foot.part == "cup"
    assert held.foot.pocket
    assert held.foot.section_m2 == pytest.approx(36 * 196e-6 * math.sin(math.pi / 36), rel=0.01)
    assert held.detached == 0


def lowest_hanging(study, layers):
    """The first layers of a plate, those of its graphs too."""
    cut = []
    for h in study.hanging:
        g, n = h.graph, min(layers, h.graph.layers)
        i = int(g.island_start[n])
        k = int(g.link_start[i])
        graph = evolve(
            g, island_start=g.island_start[: n + 1], area_m2=g.area_m2[:i], centroid_m=g.centroid_m[:i],
            box_m=g.box_m[:i], second_m4=g.second_m4[:i], sealed_m2=g.sealed_m2[:i], link_start=g.link_start[: i + 1],
            link_below=g.link_below[:k], link_area_m2=g.link_area_m2[:k],
        )  # fmt: skip
        cut.append(evolve(h, graph=graph, front_m=h.front_m[:i]))
    return evolve(lowest(study, layers), hanging=tuple(cut))


def lowest_of(name, layers):
    return lowest_hanging(demo_plate(name, bishop=4), layers)


def test_what_bends_beyond_its_strength_is_told(necked):
    bend = evolve(necked.holding.bend, margin=0.7)
    calm = evolve(necked.holding, tear_chance=0.0, peel_chance=0.0, bend=bend)
    told = holding_risks(calm)
    assert len(told) == 1
    assert "may break" in told[0].what
    assert holding_risks(None) == []


def test_a_leaning_post_bends_more_than_an_upright_one():
    upright = hung(np.full(100, 9e-6), front_m=3e-3)
    leaning = column(np.full(100, 9e-6))
    shift = np.arange(100) * 50e-6
    leaning = evolve(
        leaning,
        centroid_m=np.column_stack((shift, np.zeros(100))),
        box_m=leaning.box_m + np.column_stack((shift, 0 * shift, shift, 0 * shift)),
    )
    tilted = evolve(upright, hanging=(evolve(upright.hanging[0], graph=leaning),))
    straight, bent = (carried(job(), plate(np.full(100, 9.0)), s).holding.bend for s in (upright, tilted))
    # e + 95 layers x 50 um against e = 1.5 mm: (1 + 12 e h / b^2) with b = 3 mm: 4 and about 13.5
    assert bent.stress_pa / straight.stress_pa == pytest.approx((1 + 6.25 * 2) / 4.0, rel=0.05)


def test_machines_with_their_own_films_pull_by_them():
    tight = machine("Heron")
    tight = evolve(tight, film=evolve(tight.film, tension_n_m=read(1050.0)))
    loose = evolve(machine(), film=evolve(machine().film, tension_n_m=read(300.0)))
    areas = np.full(60, 9e-6)
    study = hung(areas, front_m=0.05)
    slack, firm = (carried(job(target=m), plate(np.full(60, 9.0)), study).holding for m in (loose, tight))
    assert firm.weakest.pull_n > 1.2 * slack.weakest.pull_n
