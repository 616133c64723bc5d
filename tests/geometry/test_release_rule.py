"""The rule for a release against closed forms and against the moving front."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.geometry.test_release_front import COMPACT, LARGE, box, cover_of, disc, discs

from vatwright.errors import DomainError
from vatwright.geometry.release_front import rectangular_window, release
from vatwright.geometry.release_rule import conformal_radius_m, disc_reach_m, rule_reach_m


def test_conformal_radius_of_a_square():
    """From memory: 1.0787 times the half side in the middle of a square (Polya and Szego's table of a square's radii)."""
    assert conformal_radius_m(0.0, 0.0, width_m=2.0, depth_m=2.0) == pytest.approx(1.0787, rel=0.01)


def test_conformal_radius_near_an_edge():
    """Twice the distance: the image in a straight edge, closed form."""
    assert conformal_radius_m(0.0, 0.0495, width_m=10.0, depth_m=0.1) == pytest.approx(0.001, rel=0.01)
    assert conformal_radius_m(0.0, 0.06, width_m=10.0, depth_m=0.1) == 0.0


def test_a_disc_is_greatest_at_its_pull_off():
    size = {"width_m": 0.176, "depth_m": 0.112}
    rho = conformal_radius_m(0.0, 0.0, **size)
    assert disc_reach_m(0.05, 0.0, 0.0, **size) == pytest.approx(rho / math.e)
    assert disc_reach_m(0.01, 0.0, 0.0, **size) == pytest.approx(0.01 * math.log(rho / 0.01))


@pytest.mark.parametrize(
    ("shape", "window"),
    [(disc(0.01), COMPACT), (disc(0.01, 0.0, 0.031), COMPACT), (box(0.15, 0.092), COMPACT), (box(0.12, 0.08), LARGE),
     (discs(0.010, 0.028, 5, 3), COMPACT), (discs(0.009, 0.032, 9, 5), LARGE)],
)  # fmt: skip
def test_the_rule_follows_the_front(shape, window):
    grid = rectangular_window(*window, cells=96)
    cover = cover_of(shape, grid)
    by_rule = rule_reach_m(cover, grid, width_m=window[0], depth_m=window[1])
    assert by_rule == pytest.approx(release(cover, grid).reach_m, rel=0.2)


def test_nothing_and_specks():
    grid = rectangular_window(*COMPACT, cells=40)
    cover = np.zeros(grid.inside_m.shape)
    assert rule_reach_m(cover, grid, width_m=COMPACT[0], depth_m=COMPACT[1]) == 0.0
    cover[10, 10] = 0.1
    assert 0.0 < rule_reach_m(cover, grid, width_m=COMPACT[0], depth_m=COMPACT[1]) < 0.01


def test_refused():
    with pytest.raises(DomainError):
        conformal_radius_m(0.0, 0.0, width_m=-1.0, depth_m=1.0)
