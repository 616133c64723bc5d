"""Light: dose carried, cure depth by Jacobs's working curve."""

from __future__ import annotations

import numpy as np
import pytest
from tests.planning.workshop import resin, side

from vatwright.planning.demand.exposure import UNKNOWN_CURVE, cured_m, curve_belief, curve_is_known, exposure_ratio
from vatwright.records.material import CureReading


def squares(*pairs):
    return resin(cure_readings=tuple(CureReading(dose_j_m2=e * 10.0, depth_m=d * 1e-6) for e, d in pairs))


def test_curve_through_four_squares():
    # fit of C_d = D_p ln(E/E_c), Jacobs (1992) eq. 4-4, to (10, 33.5) (20, 137.4) (40, 241.4) (80, 345.4):
    # D_p 149.997 um, E_c 8.0000 mJ/cm2 by least squares
    belief = curve_belief(squares((10, 33.5), (20, 137.4), (40, 241.4), (80, 345.4)))
    assert belief.depth_m.value == pytest.approx(149.997e-6, rel=1e-4)
    assert belief.critical_j_m2.value == pytest.approx(80.0, rel=1e-4)


def test_two_squares_are_less_sure_than_four():
    four = curve_belief(squares((10, 33.5), (20, 137.4), (40, 241.4), (80, 345.4)))
    two = curve_belief(squares((10, 33.5), (40, 241.4)))
    assert two.depth_m.spread > four.depth_m.spread
    assert two.critical_j_m2.spread > four.critical_j_m2.spread
    assert two.depth_m.value == pytest.approx(150e-6, rel=1e-3)


def test_one_square_is_no_curve():
    assert curve_belief(squares((10, 33.5))) == UNKNOWN_CURVE
    assert not curve_is_known(squares((10, 33.5)))
    assert curve_is_known(squares((10, 33.5), (20, 137.4)))


@pytest.mark.parametrize(("dose", "um"), [(8, 0.0), (16, 103.972), (24, 164.792), (40, 241.416), (80, 345.388)])
def test_cure_depths_of_the_curve(dose, um):
    # D_p 150 um, E_c 8 mJ/cm2, Jacobs (1992) eq. 4-4: 150 ln(E/8)
    one = side(irradiance_w_m2=10.0, curve_depth_m=150e-6, curve_dose_j_m2=80.0)
    assert cured_m(one, np.array([float(dose)]), share=1.0)[0, 0] * 1e6 == pytest.approx(um, abs=1e-3)
    # a spot at half the light wants twice the time
    assert cured_m(one, np.array([2.0 * dose]), share=0.5)[0, 0] * 1e6 == pytest.approx(um, abs=1e-3)
    assert cured_m(one, np.array([0.5 * dose]), share=1.0)[0, 0] >= 0.0


def test_seconds_go_with_one_over_irradiance():
    # 3 to 2 mW/cm2, 2.5 s: 3.75 s at equal dose (arithmetic)
    ratio = exposure_ratio(side(irradiance_w_m2=30.0), side(irradiance_w_m2=20.0))
    assert 2.5 * ratio[0] == pytest.approx(3.75, rel=1e-12)
