"""What carries an island and what has to pass it: closed forms, maximum flow by a graph library, and properties.

networkx is the reference for maximum flow (Ford and Fulkerson 1956, theorem 1); shapely for second moments; sums and
bars are those of any handbook of statics.
"""

from __future__ import annotations

import math

import attrs
import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.geometry.load_path import (
    IslandGraph,
    bending,
    capacities,
    held_up,
    hung_area,
    island_fronts,
    island_graph,
    layer_margins,
    layers_at_once,
    neck_of,
)
from vatwright.geometry.region_track import connect
from vatwright.geometry.spans import spans_from_bitmaps

SOURCE, SINK = "film", "platform"


def stack(layers, links):
    """A graph from the areas of each layer and, by island, what it rests on: {island: {below: shared}}."""
    areas = [a for layer in layers for a in layer]
    rests = [links.get(i, {}) for i in range(len(areas))]
    n = len(areas)
    return IslandGraph(
        island_start=np.cumsum([0, *(len(layer) for layer in layers)]),
        island_of_run=np.arange(n, dtype=np.int32),
        area_m2=np.array(areas, dtype=float),
        centroid_m=np.zeros((n, 2)),
        box_m=np.zeros((n, 4)),
        second_m4=np.zeros((n, 2)),
        sealed_m2=np.zeros(n),
        link_start=np.cumsum([0, *(len(r) for r in rests)]),
        link_below=np.array([b for r in rests for b in r], dtype=np.int64),
        link_area_m2=np.array([a for r in rests for a in r.values()], dtype=float),
    )


def of_pictures(pictures, pixel_m=1e-3):
    runs = spans_from_bitmaps([np.array(p, dtype=bool) for p in pictures], pixel_m=pixel_m)
    return runs, island_graph(connect(runs, thickness_m=5e-5))


def margins(graph, pull, **more):
    return layer_margins(graph, capacities(graph), np.asarray(pull, dtype=float), **more)


def best_way(graph, pull, layer):
    """How far the pull of a layer could grow, by maximum flow: the largest factor at which every island still gets all.

    Found by halving; the flow itself comes from networkx.
    """
    carried = capacities(graph).section_m2
    of = graph.island_layer
    pulling = [i for i in np.flatnonzero(of == layer) if pull[i] > 0.0 and carried[i] > 0.0]
    net = nx.DiGraph()
    for i in np.flatnonzero(of <= layer):
        net.add_edge((i, "in"), (i, "out"), capacity=float(graph.area_m2[i]))
        for k in range(graph.link_start[i], graph.link_start[i + 1]):
            below = int(graph.link_below[k])
            net.add_edge((i, "out"), (below, "in"), capacity=float(graph.link_area_m2[k]))
        if of[i] == 0:
            net.add_edge((i, "out"), SINK, capacity=math.inf)
    low, high = 0.0, 1e4
    for _ in range(60):
        middle = (low + high) / 2.0
        for i in pulling:
            net.add_edge(SOURCE, (i, "in"), capacity=middle * float(pull[i]))
        asked = middle * sum(float(pull[i]) for i in pulling)
        if nx.maximum_flow_value(net, SOURCE, SINK) >= asked * (1.0 - 1e-12):
            low = middle
        else:
            high = middle
    return low


# --- closed forms ------------------------------------------------------------------------------------------------------


def test_a_column_carries_its_section():
    graph = stack([[3.0]] * 5, {i: {i - 1: 3.0} for i in range(1, 5)})
    found = margins(graph, [2.0] * 5)
    assert found.margin_m == pytest.approx([1.5] * 5)
    assert found.passing_m == pytest.approx([2.0] * 5)


def test_a_neck_carries_what_is_beyond_it_and_nothing_else():
    graph = stack([[5.0], [0.5], [5.0], [5.0]], {i: {i - 1: min(5.0, 0.5 if i < 3 else 5.0)} for i in range(1, 4)})
    found = margins(graph, [1.0, 0.1, 2.0, 1.0])
    assert found.margin_m == pytest.approx([5.0, 5.0, 0.25, 0.5])
    carried = capacities(graph)
    assert neck_of(graph, carried, int(found.weakest[2])) == (1, 0.5)
    assert neck_of(graph, carried, 3) == (1, 0.5)


def test_a_thin_overlap_is_a_neck_at_the_foot_of_the_upper_island():
    graph = stack([[5.0], [4.0], [4.0]], {1: {0: 4.0}, 2: {1: 0.3}})
    assert capacities(graph).section_m2 == pytest.approx([5.0, 4.0, 0.3])
    assert neck_of(graph, capacities(graph), 2) == (2, 0.3)


def test_two_legs_add_up_and_each_takes_its_share():
    # a slab on legs of 1 and 3: together 4, a quarter of the pull on the first
    graph = stack([[1.0, 3.0], [1.0, 3.0], [10.0]], {2: {0: 1.0}, 3: {1: 3.0}, 4: {2: 1.0, 3: 3.0}})
    assert capacities(graph).section_m2[4] == pytest.approx(4.0)
    found = margins(graph, [0.0, 0.0, 0.0, 0.0, 8.0])
    assert found.margin_m[2] == pytest.approx(0.5)
    assert found.passing_m == pytest.approx([2.0, 6.0, 2.0, 6.0, 8.0])


def test_two_branches_on_one_trunk_pull_together():
    graph = stack([[2.0], [2.0, 2.0]], {1: {0: 1.0}, 2: {0: 1.0}})
    found = margins(graph, [0.0, 3.0, 5.0])
    assert found.margin_m[1] == pytest.approx(0.2)  # 1 over 5, less than 2 over 8
    assert found.passing_m[0] == pytest.approx(8.0)
    weak_trunk = stack([[1.0], [2.0, 2.0]], {1: {0: 1.0}, 2: {0: 1.0}})
    assert margins(weak_trunk, [0.0, 3.0, 5.0]).margin_m[1] == pytest.approx(1.0 / 8.0)


def test_what_hangs_on_a_neck_takes_the_peak_of_later_layers_not_their_sum():
    graph = stack([[1.0]] * 4, {i: {i - 1: 1.0} for i in range(1, 4)})
    assert margins(graph, [1.0, 4.0, 2.0, 3.0]).passing_m == pytest.approx([4.0, 4.0, 3.0, 3.0])


def test_what_nothing_holds_neither_counts_nor_pulls():
    graph = stack([[2.0], [2.0, 1.0], [3.0]], {1: {0: 2.0}, 3: {1: 2.0, 2: 1.0}})
    carried = capacities(graph)
    assert carried.section_m2 == pytest.approx([2.0, 2.0, 0.0, 2.0])
    found = margins(graph, [0.0, 1.0, 50.0, 1.0])
    assert found.margin_m[1] == pytest.approx(2.0)
    assert found.passing_m[2] == 0.0


def test_a_stack_that_begins_above_the_platform_hangs_on_nothing():
    graph = stack([[2.0], [2.0]], {1: {0: 2.0}})
    carried = capacities(graph, grounded=False)
    assert not carried.section_m2.any()
    assert np.isinf(layer_margins(graph, carried, np.ones(2)).margin_m).all()


def test_a_foot_counts_with_its_whole_area():
    # a raft of 10 with a post of 1 on it: the post is the section, the raft the foot
    graph = stack([[10.0], [1.0]], {1: {0: 1.0}})
    found = margins(graph, [0.0, 2.0])
    assert found.margin_m[1] == pytest.approx(0.5)
    assert found.base_m[1] == pytest.approx(5.0)


def test_what_hangs_on_an_island_is_all_of_the_later_layers():
    graph = stack([[1.0, 3.0], [1.0, 3.0], [10.0]], {2: {0: 1.0}, 3: {1: 3.0}, 4: {2: 1.0, 3: 3.0}})
    assert hung_area(graph, capacities(graph)) == pytest.approx([4.5, 13.5, 3.5, 10.5, 10.0])


def test_second_moments_are_those_of_the_outline():
    # b h^3 / 12 of rectangles, and Steiner's theorem for an L of two of them (any handbook)
    ell = np.zeros((12, 9), dtype=bool)
    ell[:, :3] = True
    ell[:4] = True
    _, graph = of_pictures([ell])
    a1, a2 = 12 * 3, 4 * 6
    x = (a1 * 1.5 + a2 * 6.0) / (a1 + a2)
    along_x = 12 * 3**3 / 12 + a1 * (1.5 - x) ** 2 + 4 * 6**3 / 12 + a2 * (6.0 - x) ** 2
    y = (a1 * 6.0 + a2 * 2.0) / (a1 + a2)
    along_y = 3 * 12**3 / 12 + a1 * (6.0 - y) ** 2 + 6 * 4**3 / 12 + a2 * (2.0 - y) ** 2
    assert graph.second_m4[0] == pytest.approx([along_x * 1e-12, along_y * 1e-12], rel=1e-9)


def test_a_bar_pulled_at_its_edge_has_four_times_the_mean_stress():
    # 1/A + e h/I with e = h = b/2, I = b^4/12: 4/A (any handbook: a force at the edge of a square)
    _, graph = of_pictures([np.ones((8, 8))] * 4)
    found = bending(graph, capacities(graph), np.full(4, 0.008))
    assert found.stress_per_m == pytest.approx([4.0 * 0.008 / 64e-6] * 4, rel=1e-9)


def test_four_posts_share_a_pull_at_the_edge_of_their_slab_as_one_section():
    slab = np.ones((20, 20), dtype=bool)
    posts = np.zeros((20, 20), dtype=bool)
    for a in (2, 16):
        for b in (2, 16):
            posts[a : a + 2, b : b + 2] = True
    _, graph = of_pictures([posts, posts, slab])
    pull = np.zeros(graph.islands)
    pull[-1] = 0.02
    found = bending(graph, capacities(graph), pull)
    moment = 4 * (2**4 / 12 + 4 * 7**2)  # Steiner
    assert found.stress_per_m[0] == pytest.approx(0.02 / 16e-6 * (1 + 16 * 10 * 8 / moment), rel=1e-9)
    # before the slab the posts bend alone
    alone = bending(graph, capacities(graph), np.where(graph.island_layer == 1, 0.002, 0.0))
    assert alone.stress_per_m[0] == pytest.approx(4.0 * 0.002 / 4e-6, rel=1e-9)


@pytest.mark.parametrize(("offset", "expected"), [((0.0, 0.0), 20e-3), ((0.14, 0.0), 5e-3)])
def test_the_front_of_a_bar_runs_along_the_nearest_edge(offset, expected):
    # 20 mm along x, 5 mm along y; the window is 300 x 100 mm: in its middle fronts run along x, at its side along y
    runs, graph = of_pictures([np.ones((5, 20))])
    shifted = (offset[0] - 0.01, offset[1] + 0.02 if not offset[0] else -0.0025)
    front = island_fronts(runs, graph, offset_m=shifted, window_m=(0.3, 0.1), step_m=1e-3)
    assert front[0] == pytest.approx(expected, rel=1e-6)


def test_a_post_narrower_than_a_bin_has_its_own_width_for_a_front():
    runs, graph = of_pictures([np.ones((4, 4))], pixel_m=1e-4)
    front = island_fronts(runs, graph, offset_m=(0.0, 0.02), window_m=(0.3, 0.1), step_m=1e-3)
    assert front[0] == pytest.approx(4e-4, rel=1e-6)


# --- against maximum flow ----------------------------------------------------------------------------------------------


@st.composite
def graphs(draw, *, tree):
    """Small stacks; in a tree every island rests on one, and those it rests on may carry several."""
    widths = draw(st.lists(st.integers(1, 3), min_size=2, max_size=4))
    share = st.floats(0.1, 4.0)
    layers = [[draw(share) for _ in range(w)] for w in widths]
    links, first = {}, 0
    for n in range(1, len(layers)):
        below = list(range(first, first + widths[n - 1]))
        first += widths[n - 1]
        for i in range(widths[n]):
            chosen = [draw(st.sampled_from(below))] if tree else draw(st.lists(st.sampled_from(below), unique=True))
            links[first + i] = {b: draw(share) for b in chosen}
    graph = stack(layers, links)
    pull = [draw(st.floats(0.05, 3.0)) for _ in range(graph.islands)]
    return graph, np.array(pull)


@settings(max_examples=40, deadline=None)
@given(graphs(tree=True))
def test_on_trees_the_walk_is_the_maximum_flow(case):
    graph, pull = case
    found = margins(graph, pull).margin_m
    for layer in range(graph.layers):
        assert found[layer] == pytest.approx(best_way(graph, pull, layer), rel=1e-6)


@settings(max_examples=60, deadline=None)
@given(graphs(tree=False))
def test_elsewhere_the_walk_is_never_above_the_maximum_flow(case):
    # any way to share the pull that no section refuses is a lower bound (Drucker, Prager and Greenberg 1952, theorem 1)
    graph, pull = case
    found = margins(graph, pull).margin_m
    for layer in range(graph.layers):
        if np.isfinite(found[layer]):
            assert found[layer] <= best_way(graph, pull, layer) * (1.0 + 1e-6)


def test_where_the_walk_is_below_the_maximum_flow():
    # one island on both legs, one on the left leg only: the best way puts the first on the right leg, the walk on both
    graph = stack([[1.0, 1.0], [2.0, 1.0]], {2: {0: 1.0, 1: 1.0}, 3: {0: 1.0}})
    pull = np.array([0.0, 0.0, 1.0, 1.0])
    assert best_way(graph, pull, 1) == pytest.approx(1.0, rel=1e-6)
    assert margins(graph, pull).margin_m[1] == pytest.approx(1.0 / 1.5)


# --- properties --------------------------------------------------------------------------------------------------------


@settings(max_examples=40, deadline=None)
@given(graphs(tree=False), st.floats(0.1, 9.0), st.floats(0.1, 9.0))
def test_margins_scale_with_sections_and_against_pulls(case, larger, harder):
    graph, pull = case
    grown = attrs.evolve(graph, area_m2=graph.area_m2 * larger, link_area_m2=graph.link_area_m2 * larger)
    one, two = margins(graph, pull).margin_m, margins(grown, pull * harder).margin_m
    assert two == pytest.approx(one * larger / harder, rel=1e-9)


@settings(max_examples=40, deadline=None)
@given(graphs(tree=True), st.data())
def test_more_section_never_lowers_a_margin_on_trees(case, data):
    graph, pull = case
    where = data.draw(st.integers(0, graph.islands - 1))
    area = graph.area_m2.copy()
    area[where] += data.draw(st.floats(0.0, 5.0))
    more = margins(attrs.evolve(graph, area_m2=area), pull).margin_m
    assert (more >= margins(graph, pull).margin_m * (1.0 - 1e-12)).all()


@settings(max_examples=40, deadline=None)
@given(graphs(tree=False), st.integers(2, 5))
def test_layers_that_share_a_walk_are_never_above_their_own(case, together):
    graph, pull = case
    one, shared = margins(graph, pull), margins(graph, pull, layers_at_once=together)
    assert (shared.margin_m <= one.margin_m * (1.0 + 1e-12)).all()
    assert (shared.passing_m >= one.passing_m * (1.0 - 1e-12)).all()
    assert shared.margin_m.min() > 0.0


@settings(max_examples=40, deadline=None)
@given(graphs(tree=False))
def test_nothing_that_pulls_is_lost_on_the_way_to_the_platform(case):
    graph, pull = case
    last = graph.island_layer == graph.layers - 1
    only = np.where(last, pull, 0.0)
    carried = capacities(graph)
    feet = layer_margins(graph, carried, only).passing_m[: graph.island_start[1]]
    assert feet.sum() == pytest.approx(only[carried.section_m2 > 0.0].sum(), rel=1e-9, abs=1e-12)


def test_a_large_stack_shares_walks_to_stay_quick():
    graph = stack([[1.0] * 8] * 5000, {i: {i - 8: 1.0} for i in range(8, 40_000)})
    several = layers_at_once([graph])
    assert 1 < several < 20
    found = margins(graph, np.ones(40_000), layers_at_once=several)
    assert found.margin_m == pytest.approx(np.ones(5000))
    assert layers_at_once([stack([[1.0]], {})]) == 1


# --- supports --------------------------------------------------------------------------------------------------------


def test_supports_share_a_pull_with_the_neck_by_what_each_carries():
    """A foot of 2 under a plate of 100, pulled by 5: statics of two bars side by side, of equal stress."""
    graph = stack([[2.0], [100.0]], {1: {0: 2.0}})
    held = held_up(graph, layer_m=0.01)
    found = margins(held, [0.0, 0.0, 5.0])
    assert found.passing_m[1] == pytest.approx(5.0 * 2.0 / 100.0, rel=1e-12)
    assert found.margin_m[1] == pytest.approx(100.0 / 5.0, rel=1e-12)
    assert margins(graph, [0.0, 5.0]).margin_m[1] == pytest.approx(2.0 / 5.0, rel=1e-12)


def test_walls_steeper_than_45_degrees_get_no_supports():
    """A cone of discs that grow by less than a layer a layer: elementary geometry."""
    layer, slope = 0.1, 0.8
    radii = 1.0 + slope * layer * np.arange(6)
    areas = [[math.pi * r * r] for r in radii.tolist()]
    graph = stack(areas, {i: {i - 1: areas[i - 1][0]} for i in range(1, 6)})
    assert 0 not in held_up(graph, layer_m=layer).link_below
    assert 0 in held_up(graph, layer_m=layer / 2.0).link_below  # now it grows by 1.6 layers a layer


def test_what_hung_on_nothing_hangs_on_supports():
    held = held_up(stack([[4.0], [4.0, 9.0]], {1: {0: 4.0}}), layer_m=0.01)
    assert capacities(held).section_m2[3] == 9.0
