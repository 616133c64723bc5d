"""A proof that contradicts what was believed counts all the same, and the sheet says so."""

from __future__ import annotations

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import ROOM_K, carried, job, machine, plate, resin

from vatwright.evidence.belief import Belief, Unknown
from vatwright.evidence.tempering import effective
from vatwright.planning.carry.carry import planned
from vatwright.records.material import ViscosityReading
from vatwright.records.plan import Outlook


def test_effective_worlds_of_equal_weights_are_all_of_them():
    """Kong, Liu and Wong (1994): (sum w)^2 / sum w^2, for k equal weights among n is k."""
    weight = np.full(100, -np.inf)
    weight[:7] = 0.0
    assert effective(weight) == pytest.approx(7.0)


def test_a_belief_the_proof_contradicts_is_told():
    """A thick resin under a weak arm, believed firmly: eight runs of a wide plate could hardly all have held."""
    work = job(target=machine("Heron"))
    unknowns = (Unknown("viscosity", work.resin_from.name), Unknown("stiffness", work.origin.name))
    rng = np.random.default_rng(1)
    study = plate([22.0] * 60, spread_mm=(37.0, 23.0))  # as wide as four discs go on this platform
    told = {}
    for far in (0.0, 16.0):
        samples = np.column_stack([rng.normal(s, 0.4, 512) for s in (far, -far)])
        case, _ = planned(work, proven=study, target=study, belief=Belief(unknowns=unknowns, samples=samples))
        told[far] = case.at_odds
    assert told[0.0] == ()
    (said,) = told[16.0]
    assert "disagree" in said or "contradict" in said or "could not have held" in said
    assert "what the recipe ran" in said


def test_readings_under_which_no_proven_run_could_hold_are_the_verdict():
    """A resin of 100 Pa s, or an arm of 1 N/mm, read to a tenth: no world explains eight runs of a wide plate that held."""
    study = plate([22.0] * 60, spread_mm=(37.0, 23.0))
    thick = resin(viscosity=(ViscosityReading(temperature_k=ROOM_K, viscosity_pa_s=100.0, sigma_pa_s=5.0),))
    for work, blamed in (
        (job(resin_from=thick), "viscosity of slate"),
        (job(origin=machine(stiffness_n_m=1e3)), "stiffness of Wren"),
    ):
        sheet = carried(evolve(work, target=machine("Heron")), study)
        assert sheet.outlook is Outlook.AT_ODDS
        assert not sheet.holds
        assert "could not have held" in sheet.verdict
        assert f"check {blamed} first" in sheet.verdict
        for phase in ("base", "body"):  # nothing but what ran is known: no wait is cut on such evidence
            told = sheet.advice(f"{phase}.settle_s")
            assert told.to_value >= told.low >= told.from_value
    assert carried(job(target=machine("Heron")), study).outlook is Outlook.HOLDS
