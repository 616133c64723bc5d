"""From a needed value to one that a person sets: arithmetic, no source."""

from __future__ import annotations

import math

import numpy as np
import pytest

from vatwright.planning.demand.choice import covering, settable
from vatwright.records.machine import Obeys, Rule

FREE = Rule(obeys=Obeys.YES)


def value(wanted, *, unit="s", rule=FREE, proven=99.0, up=True):
    return settable(wanted, unit=unit, rule=rule, proven=proven, up=up)


@pytest.mark.parametrize(
    ("wanted", "unit", "up", "expected"),
    [
        (4.21, "s", True, 4.3),
        (4.21, "s", None, 4.2),
        (4.29, "s", False, 4.2),
        (31.2, "s", True, 32.0),  # from ten seconds on people set whole ones
        (9.96, "s", True, 10.0),
        (0.00431, "mm", True, 0.0044),
        (0.00431, "mm_s", False, 0.0043),
        (0.1 + 0.2, "s", True, 0.3),  # 0.30000000000000004 in floats is no reason for another step
    ],
)
def test_steps_people_set(wanted, unit, up, expected):
    assert value(wanted, unit=unit, up=up) == expected


def test_steps_of_the_controller_win_where_they_are_coarser():
    coarse = Rule(obeys=Obeys.YES, step=2.5)
    assert value(4.1, rule=coarse) == 5.0
    assert value(12.6, rule=coarse) == 15.0
    assert value(0.0042, unit="mm", rule=Rule(obeys=Obeys.YES, step=0.0005)) == 0.0045


def test_limits_of_the_controller_are_kept():
    rule = Rule(obeys=Obeys.YES, minimum=1.0, maximum=20.0, step=0.5)
    assert [value(v, rule=rule) for v in (0.1, 45.0, math.inf)] == [1.0, 20.0, 20.0]


@pytest.mark.parametrize("proven", [2.137, 33.337, 0.1 + 0.2])
def test_a_proven_value_is_kept_to_the_last_digit(proven):
    assert value(proven, rule=Rule(obeys=Obeys.YES, step=0.5), proven=proven) == proven
    assert value(math.nextafter(proven, 100.0), proven=proven) == proven
    assert value(proven + 0.01, proven=proven) != proven


def test_covering_is_a_value_some_world_needs():
    needs = np.array([5.0, 1.0, 4.0, 2.0, 3.0])
    assert [covering(needs, share) for share in (0.2, 0.6, 0.61, 1.0)] == [1.0, 3.0, 4.0, 5.0]


def test_worlds_that_no_value_serves_drive_none():
    assert covering(np.array([1.0, 2.0, np.inf, np.inf]), 0.9) == 2.0
    assert math.isinf(covering(np.full(4, np.inf), 0.9))
