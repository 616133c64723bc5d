"""Islands, holes and pockets against general labelling libraries and against drawn cases."""

from __future__ import annotations

import networkx as nx
import numpy as np
import pytest
from scipy import ndimage

from vatwright.errors import DomainError, InputError
from vatwright.geometry.region_track import PocketEnd, Regions, connect
from vatwright.geometry.spans import spans, spans_from_bitmaps

TOUCH = np.ones((3, 3), dtype=int)
PIXEL = 1e-3
LAYER = 5e-5


def of(masks: np.ndarray, *, platform_closes: bool = True) -> Regions:
    return connect(spans_from_bitmaps(masks, pixel_m=PIXEL), thickness_m=LAYER, platform_closes=platform_closes)


def drawn(*layers: str) -> np.ndarray:
    """Return bitmaps from drawings, # for solid."""
    return np.array([[[c == "#" for c in line] for line in layer.split()] for layer in layers])


def noise(seed: int, *, coverage: float = 0.55) -> np.ndarray:
    random = np.random.default_rng(seed).random((7, 24, 30))
    return ndimage.gaussian_filter(random, (0.7, 0.8, 0.8)) > np.quantile(random, 0.5) - (coverage - 0.5) * 0.3


@pytest.mark.parametrize("seed", range(6))
def test_islands_equal_scipy_labels(seed: int) -> None:
    """Reference: scipy.ndimage.label, 8-connected; areas, centroids and boxes by ndimage too."""
    masks = noise(seed)
    found = of(masks)
    for n, mask in enumerate(masks):
        label, count = ndimage.label(mask, structure=TOUCH)
        mine = slice(found.island_start[n], found.island_start[n + 1])
        assert mine.stop - mine.start == count
        index = range(1, count + 1)
        y, x = np.array(ndimage.center_of_mass(mask, label, index)).T + 0.5
        boxes = [(s[1].start, s[0].start, s[1].stop, s[0].stop) for s in ndimage.find_objects(label)]
        theirs = np.c_[np.bincount(label.ravel())[1:], x, y, np.array(boxes)]
        ours = np.c_[found.area_m2[mine] / PIXEL**2, found.centroid_m[mine] / PIXEL, found.box_m[mine] / PIXEL]
        assert sorted(np.round(ours, 6).tolist()) == sorted(np.round(theirs, 6).tolist())


@pytest.mark.parametrize("seed", range(6))
def test_fresh_islands_and_links_equal_scipy_labels(seed: int) -> None:
    """Reference: scipy.ndimage labels laid over each other."""
    masks = noise(seed, coverage=0.45)
    found = of(masks)
    for n in range(1, len(masks)):
        label, count = ndimage.label(masks[n], structure=TOUCH)
        under, _ = ndimage.label(masks[n - 1], structure=TOUCH)
        mine = slice(found.island_start[n], found.island_start[n + 1])
        touching = np.unique(label[masks[n - 1]])
        assert found.fresh[mine].sum() == count - np.count_nonzero(touching)
        pairs, area = np.unique(np.c_[label.ravel(), under.ravel()], axis=0, return_counts=True)
        both = (pairs > 0).all(axis=1)
        links = slice(found.link_start[mine.start], found.link_start[mine.stop])
        assert np.allclose(sorted(found.link_area_m2[links] / PIXEL**2), sorted(area[both]))
    assert not found.fresh[: found.island_start[1]].any()


def reference_voids(masks: np.ndarray, n: int, *, platform_closes: bool) -> tuple[list[float], list[float]]:
    """Return areas of sealed and of vented holes of layer `n`: a graph of voids of layers 0 to n, by networkx."""
    label, graph = [], nx.Graph()
    for k in range(n + 1):
        padded = np.pad(~masks[k], 1, constant_values=True)
        here, count = ndimage.label(padded)
        label.append(here)
        graph.add_nodes_from((k, i) for i in range(1, count + 1))
        graph.add_edge("open", (k, here[0, 0]))
        if k == 0 and not platform_closes:
            graph.add_edges_from(("open", (0, i)) for i in range(1, count + 1))
        if k:
            pairs = np.unique(np.c_[label[k - 1].ravel(), here.ravel()], axis=0)
            graph.add_edges_from(((k - 1, a), (k, b)) for a, b in pairs if a and b)
    free = nx.node_connected_component(graph, "open")
    holes = [i for i in range(1, label[n].max() + 1) if i != label[n][0, 0]]
    area = np.bincount(label[n].ravel())
    return sorted(area[i] for i in holes if (n, i) not in free), sorted(area[i] for i in holes if (n, i) in free)


@pytest.mark.parametrize("platform_closes", [True, False])
@pytest.mark.parametrize("seed", range(8))
def test_sealed_holes_equal_graph_search(seed: int, platform_closes: bool) -> None:
    """Reference: scipy.ndimage.label for the voids, networkx for their connection, rebuilt at every layer."""
    masks = noise(seed, coverage=0.62)
    found = of(masks, platform_closes=platform_closes)
    seen = 0
    for n in range(len(masks)):
        sealed, vented = reference_voids(masks, n, platform_closes=platform_closes)
        mine = slice(found.hole_start[n], found.hole_start[n + 1])
        area = np.round(found.hole_area_m2[mine] / PIXEL**2)
        flag = found.hole_sealed[mine]
        assert sorted(area[flag]) == sealed
        assert sorted(area[~flag]) == vented
        seen += len(sealed)
    assert seen > 0
    assert found.pockets.volume_m3.sum() == pytest.approx(found.hole_area_m2[found.hole_sealed].sum() * LAYER)
    assert np.array_equal(found.hole_pocket >= 0, found.hole_sealed)


FLOOR = "###### ###### ###### ###### ######"
WALL = "###### #....# #....# #....# ######"
SLIT = "###### #....# #..... #....# ######"
PARTED = "###### #.##.# #.##.# #.##.# ######"


def ends(found: Regions) -> list[tuple[int, int, int]]:
    p = found.pockets
    return [(int(a), int(b), int(e)) for a, b, e in zip(p.first_layer, p.last_layer, p.end, strict=True)]


def test_cup_is_open_to_the_film_to_the_end() -> None:
    found = of(drawn(FLOOR, WALL, WALL))
    assert ends(found) == [(1, 2, PocketEnd.OPEN)]
    assert found.pockets.volume_m3[0] == pytest.approx(2 * 12 * PIXEL**2 * LAYER)
    assert found.pockets.open_area_m2[0] == pytest.approx(12 * PIXEL**2)


def test_side_window_printed_first_vents_the_cup() -> None:
    found = of(drawn(FLOOR, SLIT, WALL, WALL))
    assert ends(found) == []
    assert not found.hole_sealed.any()


def test_window_printed_last_comes_too_late_for_the_layers_before() -> None:
    found = of(drawn(FLOOR, WALL, WALL, SLIT, WALL))
    assert ends(found) == [(1, 2, PocketEnd.VENTED)]
    assert found.hole_sealed.tolist() == [True, True, False]


def test_roofed_cavity_keeps_its_resin() -> None:
    assert ends(of(drawn(FLOOR, WALL, FLOOR))) == [(1, 1, PocketEnd.CLOSED)]


def test_through_hole_is_closed_by_the_platform_unless_said_otherwise() -> None:
    assert ends(of(drawn(WALL, WALL))) == [(0, 1, PocketEnd.OPEN)]
    assert ends(of(drawn(WALL, WALL), platform_closes=False)) == []


def test_two_mouths_of_one_cavity_are_one_pocket() -> None:
    found = of(drawn(FLOOR, WALL, PARTED))
    assert ends(found) == [(1, 2, PocketEnd.OPEN)]
    assert found.pockets.open_area_m2[0] == pytest.approx(12 * PIXEL**2)
    assert found.pockets.volume_m3[0] == pytest.approx((12 + 6) * PIXEL**2 * LAYER)


def test_two_cavities_that_meet_become_one_pocket() -> None:
    found = of(drawn(FLOOR, PARTED, WALL))
    assert ends(found) == [(1, 2, PocketEnd.OPEN)]
    assert found.hole_pocket.tolist() == [0, 0, 0]


def test_hole_belongs_to_the_island_around_it_not_to_the_one_inside() -> None:
    nested = drawn("####### #.....# #.###.# #.....# #######")
    found = of(nested)
    outer = int(np.argmax(found.area_m2))
    assert len(found.area_m2) == 2
    assert found.hole_island.tolist() == [outer]


def test_walls_that_meet_at_corners_seal() -> None:
    """8-connected solid, 4-connected void: a wall of pixels that touch at corners lets nothing through."""
    lozenge = drawn(".##. #..# #..# .##.")
    found = of(np.concatenate([np.ones_like(lozenge), lozenge]))
    assert len(found.area_m2) == 2
    assert found.hole_sealed.tolist() == [True]


def test_fresh_islands_are_listed_with_layer_place_and_area() -> None:
    found = of(drawn("##.... ##....", "##..## ##..##"))
    layer, x, y, area = found.fresh_islands
    assert layer.tolist() == [1]
    assert np.allclose([x[0], y[0], area[0]], [5e-3, 1e-3, 4e-6])


def test_loops_with_a_hole_connect_like_bitmaps() -> None:
    def square(a: float, b: float) -> np.ndarray:
        return np.array([[a, a], [b, a], [b, b], [a, b]])

    ring = [square(0.0, 0.01), square(0.002, 0.008)[::-1]]
    loops = [square(0.0, 0.01), *ring]
    runs = spans(
        np.vstack(loops), np.array([0, 4, 8, 12]), np.array([0, 1, 3]), origin_m=(0.0, 0.0), pitch_m=1e-4, rows=100
    )
    found = connect(runs, thickness_m=np.array([5e-5, 1e-4]))
    assert found.hole_sealed.tolist() == [True]
    assert found.pockets.volume_m3[0] == pytest.approx(36e-6 * 1e-4)


def test_empty_layers_are_allowed() -> None:
    found = of(np.zeros((3, 4, 4), dtype=bool))
    assert found.island_start.tolist() == [0, 0, 0, 0]


def test_mistakes_are_named() -> None:
    runs = spans_from_bitmaps(drawn(FLOOR, WALL), pixel_m=PIXEL)
    with pytest.raises(DomainError, match="thickness_m"):
        connect(runs, thickness_m=0.0)
    with pytest.raises(InputError, match="3 values for 2 layers"):
        connect(runs, thickness_m=np.full(3, LAYER))
