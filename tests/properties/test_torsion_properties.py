"""What must hold of any section's torsion constant."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vatwright.geometry.layer_torsion import layer_torsion
from vatwright.geometry.region_track import connect
from vatwright.geometry.spans import spans
from vatwright.geometry.torsion import region_torsion

radii = st.lists(st.floats(0.3, 1.0), min_size=5, max_size=24)


def star(reach: list[float]) -> np.ndarray:
    angle = 2 * np.pi * np.arange(len(reach)) / len(reach)
    return np.c_[np.cos(angle), np.sin(angle)] * np.array(reach)[:, None]


def area(points: np.ndarray) -> float:
    x, y = points.T
    return 0.5 * float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


@given(radii)
def test_no_section_beats_the_disc_of_its_area(reach: list[float]) -> None:
    """Isoperimetric inequality J <= A^2 / (2 pi), Polya 1948; 0.5 % for the solver."""
    points = star(reach)
    assert 0.0 < region_torsion(points) <= 1.005 * area(points) ** 2 / (2 * np.pi)


@given(radii, st.floats(0.0, 6.3))
@settings(max_examples=50)
def test_turning_changes_nothing_but_the_solver_error(reach: list[float], angle: float) -> None:
    points = star(reach)
    c, s = np.cos(angle), np.sin(angle)
    assert region_torsion(points @ np.array([[c, s], [-s, c]])) == pytest.approx(region_torsion(points), rel=0.03)


@given(radii, st.floats(-3.0, 3.0), st.floats(-3.0, 3.0))
@settings(max_examples=50)
def test_moving_changes_nothing(reach: list[float], x: float, y: float) -> None:
    points = star(reach)
    assert region_torsion(points + np.array([x, y])) == pytest.approx(region_torsion(points), rel=1e-5)


@given(radii, st.floats(1e-3, 1e3))
@settings(max_examples=50)
def test_scaling_counts_with_the_fourth_power(reach: list[float], by: float) -> None:
    points = star(reach)
    assert region_torsion(by * points) == pytest.approx(by**4 * region_torsion(points), rel=1e-5)


@given(radii, st.floats(0.15, 0.6))
@settings(max_examples=50)
def test_venting_a_hole_never_adds_and_sealing_never_exceeds_the_solid(reach: list[float], part: float) -> None:
    points = star(reach)
    both = np.vstack([points, part * points[::-1]])
    loops = np.array([0, len(points), 2 * len(points)])
    vented, sealed = (region_torsion(both, loops, loop_sealed=np.array([False, s])) for s in (False, True))
    assert vented < sealed < 1.02 * region_torsion(points)


@given(radii)
@settings(max_examples=50)
def test_a_smaller_section_has_a_smaller_constant(reach: list[float]) -> None:
    """phi grows with the domain (maximum principle), so J does; 3 % for the solver at spiky outlines."""
    points = star(reach)
    grown = star([1.1 * reach[0], *reach[1:]])
    assert region_torsion(points) < 1.03 * region_torsion(grown)


@pytest.mark.parametrize("count", [2, 5, 9])
def test_n_equal_discs_squeeze_an_nth_of_one_of_the_same_area(count: int) -> None:
    """J = A^2 / (2 pi N) for N discs of total area A: the discs' closed form."""
    angle = 2 * np.pi * np.arange(360) / 360
    disc = 2e-3 * np.c_[np.cos(angle), np.sin(angle)]
    points = np.vstack([disc + np.array([5e-3 * k, 0.0]) for k in range(count)])
    sections = (points, np.arange(count + 1) * 360, np.array([0, count]))
    runs = spans(*sections, origin_m=(-2e-3, -2e-3), pitch_m=5e-5, rows=80)
    found = layer_torsion(*sections, spans=runs, regions=connect(runs, thickness_m=5e-5))
    total = count * area(disc)
    assert found.layer_torsion_m4[0] == pytest.approx(total**2 / (2 * np.pi * count), rel=1e-3)
    assert found.solves == 1
