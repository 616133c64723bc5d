"""Laws that hold for any solid: turning, shifting, scaling, reversing, and profile against outlines."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.geometry.mesh import Mesh, group_identical, inspect, merge_triangles, scale, split_shells, translate
from vatwright.geometry.profile import area_profile
from vatwright.geometry.sections import loop_measures, sections

LAYER_NM = 10_000_000


@st.composite
def solids(draw) -> Mesh:
    """A bumpy closed ball or ring, of about 1 m."""
    rng = np.random.default_rng(draw(st.integers(0, 2**32 - 1)))
    shape = draw(st.sampled_from(["ball", "ring", "hull"]))
    if shape == "hull":
        solid = trimesh.convex.convex_hull(rng.random((draw(st.integers(4, 40)), 3)))
    elif shape == "ring":
        solid = trimesh.creation.torus(0.5, 0.2, major_sections=24, minor_sections=12)
    else:
        solid = trimesh.creation.icosphere(subdivisions=2, radius=0.5)
    if shape != "hull":
        wave = rng.normal(size=(3, 3)) * 4
        solid.vertices *= 1 + 0.1 * np.sin(solid.vertices @ wave).mean(axis=1)[:, None]
    return Mesh(vertices_m=solid.vertices, faces=solid.faces)


def profile_of(mesh: Mesh, *, layer_nm: int = LAYER_NM, bottom_m: float = -1.0, layers: int = 300):
    return area_profile(mesh, layer_nm=layer_nm, bottom_m=bottom_m, layers=layers)


@given(mesh=solids(), angle=st.floats(-4, 4))
def test_turning_about_the_vertical_changes_no_layer(mesh, angle):
    turn = np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
    before, after = profile_of(mesh), profile_of(Mesh(vertices_m=mesh.vertices_m @ turn, faces=mesh.faces))
    assert after.area_m2 == pytest.approx(before.area_m2, rel=1e-9, abs=1e-12)
    assert after.perimeter_m == pytest.approx(before.perimeter_m, rel=1e-9, abs=1e-12)


@given(mesh=solids(), x=st.floats(-10, 10), y=st.floats(-10, 10))
def test_shifting_sideways_changes_no_layer(mesh, x, y):
    before, after = profile_of(mesh), profile_of(translate(mesh, offset_m=(x, y, 0)))
    assert after.area_m2 == pytest.approx(before.area_m2, rel=1e-9, abs=1e-12)
    assert after.perimeter_m == pytest.approx(before.perimeter_m, rel=1e-9, abs=1e-12)


@given(mesh=solids(), lift=st.integers(-40, 40))
def test_lifting_by_whole_layers_shifts_the_profile(mesh, lift):
    # away from the ends of the part, where rounding of the lifted height may decide whether a tip is cut
    before = profile_of(mesh).area_m2
    after = profile_of(translate(mesh, offset_m=(0, 0, lift * 0.01))).area_m2
    assert np.roll(after, -lift) == pytest.approx(before, rel=1e-8, abs=1e-10)


@given(mesh=solids(), factor=st.integers(1, 20))
def test_scaling_part_and_layers_together_scales_areas_by_the_square(mesh, factor):
    before = profile_of(mesh)
    after = profile_of(scale(mesh, factor=factor), layer_nm=LAYER_NM * factor, bottom_m=-1.0 * factor)
    assert after.area_m2 == pytest.approx(before.area_m2 * factor**2, rel=1e-8, abs=1e-10)
    assert after.perimeter_m == pytest.approx(before.perimeter_m * factor, rel=1e-8, abs=1e-10)


@given(mesh=solids())
def test_reversing_the_winding_turns_areas_negative_and_keeps_perimeters(mesh):
    before, after = profile_of(mesh), profile_of(Mesh(vertices_m=mesh.vertices_m, faces=mesh.faces[:, ::-1]))
    assert after.area_m2 == pytest.approx(-before.area_m2, rel=1e-9, abs=1e-13)
    assert after.perimeter_m == pytest.approx(before.perimeter_m, rel=1e-12)


@given(mesh=solids(), layer_um=st.integers(500, 50_000))
def test_outlines_add_up_to_the_profile(mesh, layer_um):
    window = {"layer_nm": layer_um * 1000, "bottom_m": -1.0}
    layers = 2_300_000 // layer_um
    profile = area_profile(mesh, **window, layers=layers)
    found = sections(mesh, **window, first=0, count=layers)
    assert profile.open_layers.size == 0
    assert not found.loop_open.any()
    of_layer = np.repeat(np.arange(layers), np.diff(found.layer_start))
    measures = loop_measures(found)
    assert np.bincount(of_layer, measures.area_m2, minlength=layers) == pytest.approx(profile.area_m2, abs=1e-12)
    assert np.bincount(of_layer, measures.perimeter_m, minlength=layers) == pytest.approx(
        profile.perimeter_m, abs=1e-12
    )


@given(mesh=solids())
def test_areas_never_leave_the_bounds_and_sum_to_the_volume(mesh):
    profile = profile_of(mesh, layer_nm=1_000_000, layers=2500)
    x, y = np.ptp(mesh.bounds_m, axis=0)[:2]
    assert profile.area_m2.min() >= -1e-12
    assert profile.area_m2.max() <= x * y
    # the midpoint rule on a piecewise quadratic: within h times the total rise and fall of the area
    assert profile.volume_m3 == pytest.approx(
        inspect(mesh).volume_m3, abs=1e-3 * np.abs(np.diff(profile.area_m2)).sum()
    )


@settings(max_examples=30)
@given(mesh=solids(), seed=st.integers(0, 1000), copies=st.integers(1, 5))
def test_a_plate_of_copies_is_found_to_be_one(mesh, seed, copies):
    rng = np.random.default_rng(seed)
    places = np.arange(copies)[:, None] * np.array([2.0, 0, 0]) + rng.random((copies, 3)) * 0.5
    corners = np.concatenate([mesh.vertices_m[mesh.faces] + place for place in places])
    shells = split_shells(merge_triangles(rng.permutation(corners)))
    group, offset_m = group_identical(shells)
    assert group.tolist() == [0] * copies
    found = offset_m - offset_m[np.argmin(offset_m[:, 0])]
    assert found[np.argsort(found[:, 0])] == pytest.approx(places - places[0], abs=1e-9)
