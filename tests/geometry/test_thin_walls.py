"""Walls thinner than the rows are apart, against Saint-Venant's and Bredt's closed forms and shapely's outlines."""

from __future__ import annotations

import math

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.geometry.mesh import Mesh
from vatwright.geometry.part_layers import OutlineStack, PartLayers, layers_of_mesh, layers_of_outlines
from vatwright.geometry.region_track import connect
from vatwright.geometry.spans import row_pitch, spans
from vatwright.geometry.thin_walls import THINNEST_M, loop_ties

LAYER_NM = 50_000
TURNS = st.floats(min_value=-180.0, max_value=180.0)


def upright(outline: shapely.Polygon, layers: int = 2) -> PartLayers:
    """Return the layers of what stands on an outline [m]."""
    shape = shapely.geometry.polygon.orient(outline)
    rings = tuple(np.array(ring.coords)[:-1] for ring in (shape.exterior, *shape.interiors))
    tops = tuple(5e-5 * (k + 1) for k in range(layers))
    return layers_of_outlines([OutlineStack(0.0, tops, (rings,) * layers)], layer_nm=LAYER_NM, step=lambda *_: None)


def plate(long_m: float, thick_m: float, turn_deg: float) -> shapely.Polygon:
    return shapely.affinity.rotate(shapely.box(0.0, 0.0, long_m, thick_m), turn_deg)


@given(
    thick_m=st.floats(min_value=1.5e-5, max_value=3e-4),
    long_m=st.floats(min_value=5e-3, max_value=4e-2),
    turn_deg=TURNS,
)
@settings(max_examples=25, deadline=None)
def test_a_thin_wall_is_one_island_and_twists_as_a_thin_rectangle_does_however_it_is_turned(thick_m, long_m, turn_deg):
    """J = b t^3 / 3 (1 - 0.63 t / b): Timoshenko and Goodier, Theory of Elasticity, section 109, for b much above t."""
    found = upright(plate(long_m, thick_m, turn_deg))
    assert found.islands.tolist() == [1, 1]
    wanted = long_m * thick_m**3 / 3.0 * (1.0 - 0.63 * thick_m / long_m)
    assert found.torsion_m4 == pytest.approx(wanted, rel=0.01)


@given(
    thick_m=st.floats(min_value=2e-5, max_value=2e-4),
    bends=st.lists(st.tuples(st.floats(min_value=2e-3, max_value=6e-3), st.floats(min_value=-50.0, max_value=50.0)),
                   min_size=2, max_size=6),
    turn_deg=TURNS,
)  # fmt: skip
@settings(max_examples=25, deadline=None)
def test_a_bent_thin_wall_is_one_island_of_shapelys_area_that_twists_as_its_length_does(thick_m, bends, turn_deg):
    """An open thin-walled section twists as its length does: b t^3 / 3 (Timoshenko and Goodier, section 109)."""
    way, at, path = math.radians(turn_deg), np.zeros(2), [(0.0, 0.0)]
    for long_m, bend_deg in bends:
        way += math.radians(bend_deg)
        at = at + long_m * np.array([math.cos(way), math.sin(way)])
        path.append(tuple(at))
    line = shapely.LineString(path)
    wall = line.buffer(thick_m / 2.0, cap_style="flat", join_style="mitre")
    if not line.is_simple or wall.interiors or wall.geom_type != "Polygon":
        return
    found = upright(wall)
    assert found.islands.tolist() == [1, 1]
    assert found.area_m2 == pytest.approx(wall.area, rel=1e-9)
    bent = 2.0 * thick_m * len(bends) / line.length  # each bend and each end is off by about the thickness
    assert found.torsion_m4 == pytest.approx(line.length * thick_m**3 / 3.0, rel=0.03 + bent)


@given(
    thick_m=st.floats(min_value=2e-5, max_value=3e-4),
    wide_m=st.floats(min_value=5e-3, max_value=2e-2),
    deep_m=st.floats(min_value=5e-3, max_value=2e-2),
    turn_deg=TURNS,
)
@settings(max_examples=20, deadline=None)
def test_a_thin_tube_on_the_platform_is_one_sealed_hollow_and_resists_as_bredt_says(thick_m, wide_m, deep_m, turn_deg):
    """J = 4 A_m^2 t / s, and s t^3 / 3 of the wall itself: Bredt 1896, in Timoshenko and Goodier, section 113."""
    middle = shapely.affinity.rotate(shapely.box(0.0, 0.0, wide_m, deep_m), turn_deg)
    tube = middle.buffer(thick_m / 2.0, join_style="mitre").difference(
        middle.buffer(-thick_m / 2.0, join_style="mitre")
    )
    found = upright(tube)
    assert found.islands.tolist() == [1, 1]
    assert len(found.pockets) == 1
    assert found.warnings == ()
    wanted = 4.0 * middle.area**2 * thick_m / middle.length + middle.length * thick_m**3 / 3.0
    # Bredt takes the shear as even through the wall: off by about t over the width of the tube.
    assert found.torsion_m4 == pytest.approx(wanted, rel=0.01 + 3.0 * thick_m / min(wide_m, deep_m))


def test_a_hollow_behind_a_wall_that_no_rows_can_follow_is_told():
    thick = THINNEST_M / 3.0
    outer = shapely.affinity.rotate(shapely.box(0.0, 0.0, 6e-3, 6e-3), 3.0)
    found = upright(outer.difference(outer.buffer(-thick, join_style="mitre")))
    (told,) = found.warnings
    assert told.startswith("walls thinner than 0.013 mm lie around a hollow between layers 1 and 2 (0.0 to 0.1 mm)")
    assert found.islands.tolist() == [1, 1]


def test_the_same_wall_as_a_mesh_is_one_island():
    corners = np.array(plate(0.02, 5e-5, 45.0).exterior.coords)[:4]
    low, high = (np.column_stack((corners, np.full(4, z))) for z in (0.0, 1.5e-4))
    sides = [t for i in range(4) for t in ((i, (i + 1) % 4, (i + 1) % 4 + 4), (i, (i + 1) % 4 + 4, i + 4))]
    mesh = Mesh(vertices_m=np.vstack((low, high)), faces=[(0, 2, 1), (0, 3, 2), (4, 5, 6), (4, 6, 7), *sides])
    found = layers_of_mesh(mesh, layer_nm=LAYER_NM, step=lambda *_: None)
    assert found.islands.tolist() == [1, 1, 1]


def test_two_walls_that_cross_no_common_row_stay_two():
    rings = [np.array(plate(0.02, 5e-5, 45.0).exterior.coords)[:4] + shift for shift in ((0.0, 0.0), (2e-4, -2e-4))]
    outline = np.vstack(rings), np.array([0, 4, 8]), np.array([0, 2])
    runs = spans(*outline, **row_pitch((*outline[0].min(axis=0), *outline[0].max(axis=0)))._asdict())
    ties = loop_ties(runs, *outline)
    assert int(connect(runs, thickness_m=5e-5, ties=ties.runs).island_start[-1]) == 2
    assert ties.wall_m == pytest.approx(5e-5, rel=0.5)


@pytest.mark.parametrize("side_m", [0.01, 0.0123])
def test_outlines_thicker_than_the_rows_tie_nothing(side_m):
    outline = np.array(plate(side_m, side_m / 2.0, 30.0).exterior.coords)[:4], np.array([0, 4]), np.array([0, 1])
    runs = spans(*outline, **row_pitch((*outline[0].min(axis=0), *outline[0].max(axis=0)))._asdict())
    ties = loop_ties(runs, *outline)
    assert len(ties.layer) <= 2  # the very tips of two corners, at most
