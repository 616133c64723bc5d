"""Viscosity: Andrade's law through two readings, priors where there are none."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tests.planning.workshop import job, resin

from vatwright.planning.demand.resin_flow import ACTIVATION_J_MOL, UNREAD_PA_S, viscosity_belief
from vatwright.planning.demand.unknowns import draw
from vatwright.records.material import ViscosityReading

R = 8.314462618  # CODATA 2018


def readings(*pairs, share=1e-4):
    return resin(
        viscosity=tuple(
            ViscosityReading(temperature_k=273.15 + c, viscosity_pa_s=mu, sigma_pa_s=mu * share) for c, mu in pairs
        )
    )


def test_two_readings_give_the_activation_energy():
    # R ln(mu1/mu2) / (1/T1 - 1/T2) of 0.35 Pa s at 20 C and 0.12 Pa s at 40 C: 40 849 J/mol (closed form)
    belief = viscosity_belief(readings((20, 0.35), (40, 0.12)))
    assert belief.activation_j_mol.value == pytest.approx(40_849, rel=2e-4)


def test_between_two_readings_it_lies_between():
    # same law: at 30 C mu = 0.35 exp(Ea/R (1/303.15 - 1/293.15)), worked out here in other words
    activation = R * math.log(0.35 / 0.12) / (1 / 293.15 - 1 / 313.15)
    expected = 0.35 * math.exp(activation / R * (1 / 303.15 - 1 / 293.15))
    worlds = draw(job(resin_from=readings((20, 0.35), (40, 0.12)), room_k=303.15), count=256)
    assert np.median(worlds.target.viscosity_pa_s) == pytest.approx(expected, rel=0.01)
    assert 0.12 < expected < 0.35


@pytest.mark.parametrize(("celsius", "ratio"), [(20, 1.36293), (35, 0.554814), (40, 0.419130)])
def test_ratios_to_25_c_at_45_kj_mol(celsius, ratio):
    # exp(45000/R (1/T - 1/298.15)): closed form
    sure = readings((20, 0.25 * 1.36293), (25, 0.25), share=1e-5)
    worlds = draw(job(resin_from=sure, room_k=273.15 + celsius), count=256)
    assert np.median(worlds.target.viscosity_pa_s) / 0.25 == pytest.approx(ratio, rel=0.01)


def test_one_reading_keeps_the_prior_slope_and_no_reading_the_prior_level():
    one = viscosity_belief(readings((23, 0.4)))
    assert one.viscosity_pa_s.value == pytest.approx(0.4)
    assert one.activation_j_mol == ACTIVATION_J_MOL
    none = viscosity_belief(resin(viscosity=()))
    assert (none.viscosity_pa_s, none.activation_j_mol) == (UNREAD_PA_S, ACTIVATION_J_MOL)
    assert one.viscosity_pa_s.spread < none.viscosity_pa_s.spread


def test_a_rough_second_reading_leaves_the_slope_near_its_prior():
    # 5 % readings one kelvin apart say nothing about a slope of 4 % a kelvin
    rough = viscosity_belief(readings((22, 0.30), (23, 0.36), share=0.05)).activation_j_mol
    assert rough.value == pytest.approx(ACTIVATION_J_MOL.value, rel=0.2)
    assert rough.spread <= ACTIVATION_J_MOL.spread * 1.25
