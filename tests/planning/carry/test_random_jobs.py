"""Random small jobs: whatever the plate, the room and the hands, an answer agrees with itself and moves the right way."""

from __future__ import annotations

import math

import numpy as np
from attrs import evolve
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from tests.planning.workshop import carried, job, machine, plate, resin, settle_rule

from vatwright.geometry.torsion import region_torsion
from vatwright.planning.carry.advise import ROUNDING
from vatwright.planning.demand.settle import FOOT_M, MISSED_SHARE
from vatwright.records.job import Hands
from vatwright.records.plan import CarrySheet, Outlook
from vatwright.records.study import Study
from vatwright.units import ZERO_CELSIUS_K

LARGE = {"width_mm": 300.0, "depth_mm": 165.0, "stiffness_n_m": 2.0e5}
LAYERS = 140

SHAPES = {
    "plate": ((0, 0), (1, 0), (1, 1), (0, 1)),
    "L": ((0, 0), (1, 0), (1, 1 / 3), (1 / 3, 1 / 3), (1 / 3, 1), (0, 1)),
}


def blocks(shape: str, width_m: float, depth_m: float, pieces: int, foot: float) -> Study:
    """Upright pieces in a row, whose lower half is smaller by a factor; areas and lengths by the shoelace rule."""
    outline = (np.array(SHAPES[shape]) - 0.5) * (width_m, depth_m)
    x, y = outline.T
    area = 0.5 * abs(float((x * np.roll(y, -1) - np.roll(x, -1) * y).sum()))
    around = float(np.linalg.norm(outline - np.roll(outline, -1, axis=0), axis=1).sum())
    scale = np.where(np.arange(LAYERS) < LAYERS // 2, foot, 1.0)
    apart = (np.arange(pieces) - (pieces - 1) / 2.0) * (width_m + 0.003)
    found = plate(
        [9.0] * LAYERS,
        area_m2=pieces * area * scale**2,
        torsion_m4=pieces * region_torsion(outline) * scale**4,
        perimeter_m=pieces * around * scale,
        islands=np.full(LAYERS, pieces),
        pieces=pieces,
        base_outlines_m=tuple(foot * outline + (shift, 0.0) for shift in apart),
    )
    front = 2.0 * found.area_m2 / 0.045
    reach = evolve(
        found.reach, front_m=front, peak_layer=LAYERS - 1,
        peak_pull_m=front[-1] * np.minimum(np.arange(1, 11) / 6.0, 1.0),
    )  # fmt: skip
    return evolve(found, reach=reach)


PROVEN = blocks("plate", 0.02, 0.02, 4, 1.0)

jobs = st.fixed_dictionaries(
    {
        "shape": st.sampled_from(sorted(SHAPES)),
        "width_m": st.floats(0.01, 0.06),
        "depth_m": st.floats(0.01, 0.09),
        "pieces": st.integers(1, 3),
        "foot": st.sampled_from([0.3, 0.6, 1.0]),
        "visits": st.integers(0, 6),
        "confidence": st.floats(0.8, 0.94),
        "room_c": st.floats(19.5, 35.0),
        "tolerance": st.sampled_from([None, 0.1, 0.2, 0.4]),
        "thicker": st.just(1.1),
        "follows": st.booleans(),
        "longest_s": st.sampled_from([8.0, 120.0]),
    }
)
HARDER = (
    {"pieces": 4},
    {"thicker": 1.6},
    {"room_c": 16.0},
    {"confidence": 0.97},
    {"tolerance": 0.05},
)


def sheet(
    *, shape: str, width_m: float, depth_m: float, pieces: int, foot: float, visits: int, confidence: float,
    room_c: float, tolerance: float | None, thicker: float, follows: bool, longest_s: float = 120.0,
) -> CarrySheet:  # fmt: skip
    """Carry a compact machine's recipe to a large one with a resin somewhat thicker than the proven one."""
    known = resin()
    bottle = resin(viscosity=tuple(evolve(v, viscosity_pa_s=thicker * v.viscosity_pa_s) for v in known.viscosity))
    task = job(
        target=machine("Albatross", rules=None if follows else settle_rule(maximum=longest_s), **LARGE), to_resin=bottle,
        hands=Hands(visits=visits), confidence=confidence, room_k=ZERO_CELSIUS_K + room_c, tolerance=tolerance,
    )  # fmt: skip
    return carried(task, PROVEN, blocks(shape, width_m, depth_m, pieces, foot))


def require_agreement(found: CarrySheet) -> None:
    for advice in found.settings:
        assert math.isfinite(advice.low + advice.to_value + advice.high), advice
        assert advice.low - 1e-9 <= advice.to_value <= advice.high + 1e-9, advice
    table = found.layers
    for values in (table.clock_s, table.thickness_m, table.cure_depth_m, table.settle_given_s, table.pull_n):
        assert np.isfinite(values).all()
        assert (values >= 0.0).all()
    assert 0.0 <= found.success.low <= found.success.mean <= found.success.high <= 1.0
    if found.outlook in {Outlook.HOLDS, Outlook.UNSURE}:
        assert found.success.mean >= found.confidence - ROUNDING
        assert (table.cure_depth_m >= table.thickness_m).all()
        assert (table.settle_demand_s <= table.settle_given_s + 1e-9).all()
    assert (table.settle_demand_s <= table.settle_true_s + 1e-9).all()
    if found.outlook in {Outlook.HOLDS, Outlook.UNSURE} and found.tolerance is not None:
        sized = max(8, round(FOOT_M / 5e-5))
        off = table.thickness_m[sized:] > (1.0 + found.tolerance) * 5e-5
        # A settle that would make nine in ten worlds true makes the middle one true.
        assert (table.settle_true_s > 0.99 * table.settle_given_s)[sized:][off].all()
        told = "thicker than you allow" in found.verdict
        assert told == (off.sum() > math.floor(MISSED_SHARE * (LAYERS - sized)))


def waiting_s(found: CarrySheet) -> float:
    return float(found.layers.settle_given_s.sum())


@given(asked=jobs, harder=st.sampled_from(HARDER), more=st.integers(1, 2))
@settings(max_examples=4, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_an_answer_agrees_with_itself_and_asks_no_less_of_a_harder_job(asked, harder, more):
    found = sheet(**asked)
    require_agreement(found)
    other = sheet(**asked | harder)
    require_agreement(other)
    if {found.outlook, other.outlook} <= {Outlook.HOLDS, Outlook.UNSURE}:
        # Layers that the arm crushes are crushed more where less resists: a twentieth is what that was found to cost.
        assert waiting_s(other) >= 0.95 * waiting_s(found) - 10.0
    oftener = sheet(**asked | {"visits": asked["visits"] + more})
    if found.outlook is oftener.outlook:
        assert oftener.time.to_s <= 1.001 * found.time.to_s + 2.0


@given(room_c=st.one_of(st.floats(2.0, 14.9), st.floats(40.1, 60.0)))
@settings(max_examples=2, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_where_nobody_checked_the_answer_is_no_and_how_to_come_back(room_c):
    found = sheet(
        shape="plate", width_m=0.03, depth_m=0.03, pieces=1, foot=1.0, visits=3, confidence=0.9, room_c=room_c,
        tolerance=None, thicker=1.1, follows=True,
    )  # fmt: skip
    assert found.outlook is (Outlook.TOO_COLD if room_c < 15.0 else Outlook.TOO_WARM)
    assert not found.holds
    assert found.warm_up is not None
