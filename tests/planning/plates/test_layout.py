"""Where pieces stand: every piece once, none over another (shapely), all on the platform."""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import box

from vatwright.planning.plates.layout import CLEARANCE_M, Footprint, lay_out

mm = st.integers(2, 120).map(lambda v: v / 1000)
pieces = st.lists(st.tuples(st.integers(0, 4), mm, mm), min_size=1, max_size=24)


def covered(standing, footprints):
    piece = footprints[standing.part]
    width, depth = (piece[2], piece[1]) if standing.place.turn_deg else (piece[1], piece[2])
    x, y = standing.place.x_m, standing.place.y_m
    return box(x - width / 2, y - depth / 2, x + width / 2, y + depth / 2)


@settings(max_examples=120)
@given(pieces, st.integers(60, 300), st.integers(40, 200))
def test_every_piece_stands_once_apart_and_inside(sizes, width_mm, depth_mm):
    # one size a part: the part's index then names its footprint
    footprints = {part: (part, w, d) for part, w, d in sizes}
    listed = [Footprint(*footprints[part]) for part, _, _ in sizes]
    width, depth = width_mm / 1000, depth_mm / 1000
    laid = lay_out(listed, width_m=width, depth_m=depth)
    stood = Counter(s.part for plate in laid.plates for s in plate)
    wanted = Counter(p.part for p in listed)
    assert stood + Counter({part: wanted[part] for part in laid.too_large}) == wanted
    for plate in laid.plates:
        boxes = [covered(s, footprints) for s in plate]
        platform = box(-width / 2, -depth / 2, width / 2, depth / 2)
        assert all(platform.buffer(1e-9).contains(b) for b in boxes)
        assert all(a.distance(b) >= CLEARANCE_M - 1e-9 for a, b in combinations(boxes, 2))


@settings(max_examples=60)
@given(mm, mm, st.integers(40, 200), st.integers(40, 200))
def test_too_large_is_what_fits_neither_way(w, d, width_mm, depth_mm):
    width, depth = width_mm / 1000, depth_mm / 1000
    laid = lay_out([Footprint(0, w, d)], width_m=width, depth_m=depth)
    rim = 2 * CLEARANCE_M
    fits = (w + rim <= width and d + rim <= depth) or (d + rim <= width and w + rim <= depth)
    assert bool(laid.plates) == fits or abs(min(width - w, depth - d) - rim) < 1e-9


def test_a_quarter_turn_only_where_it_helps():
    (plate,) = lay_out([Footprint(0, 0.03, 0.12)], width_m=0.15, depth_m=0.09).plates
    assert plate[0].place.turn_deg == 90.0
    (plate,) = lay_out([Footprint(0, 0.03, 0.05)], width_m=0.15, depth_m=0.09).plates
    assert plate[0].place.turn_deg == 0.0
    assert (plate[0].place.x_m, plate[0].place.y_m) == pytest.approx((0.0, 0.0), abs=1e-12)
