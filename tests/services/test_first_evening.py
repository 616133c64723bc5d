"""What a first evening is told: names and sizes of the machines, loads of small pieces, with one proven recipe and without."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from attrs import evolve
from benchmarks.first_evening import told, write_shop
from tests.planning.workshop import demo_job, demo_plate, lowest

from vatwright.planning.carry.carry import planned

SANE_LIFT_MM = (4.0, 11.0)
"""What a rise of small pieces is, on compact to large machines; common practice, no source."""


@pytest.mark.parametrize(
    ("shape", "count", "machine", "start", "most_s"),
    [
        ("ring", 12, "Wren", "none", 3.0),
        ("clip", 24, "Heron", "one", 4.5),
        ("clip", 60, "Albatross", "none", 6.0),
        ("clip", 60, "Albatross", "one", 6.5),
    ],
)
def test_a_load_of_small_pieces_is_told_what_a_practitioner_finds_sane(tmp_path, shape, count, machine, start, most_s):
    write_shop(tmp_path)
    first = told(tmp_path, shape, count, machine, start)
    assert 1.0 <= first.settle_s <= most_s
    assert SANE_LIFT_MM[0] <= first.lift_mm <= SANE_LIFT_MM[1]


@cache
def _chosen():
    plate = lowest(demo_plate("Wren", bishop=4), 200)
    return planned(demo_job("Heron"), proven=plate, target=plate, every=4)[1]


@pytest.mark.parametrize("lost", [0.0, 0.25, 1.0])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_worlds_that_no_wait_saves_are_not_waited_for(lost, confidence):
    """With a share s of worlds saved at best, s (1 + c) / 2 leaves half of (1 - c) of those to be lost."""
    chosen = _chosen()
    proven, least = chosen.least_s["body"]
    doomed = np.where(np.arange(len(least)) < lost * len(least), np.inf, least)
    found = evolve(chosen, least_s=chosen.least_s | {"body": (proven, doomed)}).sought(confidence)
    saved = 1.0 - np.isinf(doomed).mean()
    assert found == pytest.approx(min(confidence, saved * (1.0 + confidence) / 2.0))
    assert found < confidence or lost == 0.0
