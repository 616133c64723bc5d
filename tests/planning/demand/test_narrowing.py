"""Which unknown makes a range, on functions whose answer is known."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import job, machine

from vatwright.planning.demand.narrowing import PossibleReading, dominant, explained, label, readings, share_left
from vatwright.planning.demand.unknowns import AXES, draw
from vatwright.records.sourced import Kind

TASK = job(target=machine("Wagtail"))
WORLDS = draw(TASK, count=512)


@pytest.mark.parametrize("axis", ["stiffness target", "viscosity", "peel angle", "level target"])
def test_the_axis_of_a_function_of_one_axis_is_found(axis):
    values = np.exp(0.3 * WORLDS.axes[axis])
    assert explained(values, WORLDS, (axis,)) == pytest.approx(1.0, abs=1e-9)
    assert all(
        explained(values, WORLDS, (other,)) < 0.05 for other in AXES if WORLDS.axes[other] is not WORLDS.axes[axis]
    )
    assert dominant(1.0 / values, WORLDS, TASK)[0] == label(axis, TASK)


def test_shares_of_a_sum_go_with_variances():
    # rank correlation of a linear sum of normals: r_s = 6/pi asin(r/2) (Pearson 1907, in any text on rank correlation)
    mixed = 3.0 * WORLDS.axes["viscosity"] + 4.0 * WORLDS.axes["stiffness target"]
    for axis, r in (("viscosity", 0.6), ("stiffness target", 0.8)):
        assert explained(mixed, WORLDS, (axis,)) == pytest.approx((6 / np.pi * np.arcsin(r / 2)) ** 2, abs=0.03)
    # independent ranks: the shares add
    both = sum((6 / np.pi * np.arcsin(r / 2)) ** 2 for r in (0.6, 0.8))
    assert explained(mixed, WORLDS, ("viscosity", "stiffness target")) == pytest.approx(both, abs=0.02)


def test_a_point_has_no_reason():
    assert explained(np.full(512, 2.0), WORLDS, AXES) == 0.0
    assert dominant(np.full(512, 2.0), WORLDS, TASK) == ("", "")
    assert dominant(np.full(512, np.inf), WORLDS, TASK) == ("", "")


def test_what_a_reading_leaves():
    reading = PossibleReading("read", "so", 1.0, ("viscosity",), 0.5)
    # all of the variance is the reading's, half of its spread is left
    assert share_left(reading, np.exp(WORLDS.axes["viscosity"]), WORLDS) == pytest.approx(0.5)
    assert share_left(reading, np.exp(WORLDS.axes["level target"]), WORLDS) > 0.98


def test_what_is_read_already_is_not_asked_for_again():
    asked = " ".join(r.text for r in readings(TASK))
    assert "weigh down" not in asked
    assert "cure four squares" not in asked
    assert "corners" in asked
    blind = machine("Wagtail", stiffness_n_m=1.0)
    blind = evolve(blind, stiffness_n_m=evolve(blind.stiffness_n_m, kind=Kind.ESTIMATE))
    assert "weigh down the arm of Wagtail" in " ".join(r.text for r in readings(job(target=blind)))
