"""A vent hole against the two laws it joins, and against the flow through orifices of finite length."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.errors import DomainError
from vatwright.physics.vent import vent_diameter, vent_pressure


def test_a_hole_in_a_thin_sheet_is_sampsons():
    """Sampson (1891): Q = a^3 dp / (3 mu) for a round hole of radius a (as in Happel and Brenner, section 4-29)."""
    radius, viscosity, pressure = 1e-3, 0.5, 1000.0
    flow = radius**3 * pressure / (3.0 * viscosity)
    found = vent_pressure(viscosity_pa_s=viscosity, flow_m3_s=flow, diameter_m=2.0 * radius, wall_m=0.0)
    assert found == pytest.approx(pressure, rel=1e-12)


def test_a_long_hole_is_poiseuilles():
    """Poiseuille: Q = pi a^4 dp / (8 mu L); at 300 diameters the ends add 0.2 %."""
    radius, viscosity, pressure, wall = 1e-3, 0.5, 1000.0, 0.6
    flow = math.pi * radius**4 * pressure / (8.0 * viscosity * wall)
    found = vent_pressure(viscosity_pa_s=viscosity, flow_m3_s=flow, diameter_m=2.0 * radius, wall_m=wall)
    assert found == pytest.approx(pressure, rel=2.5e-3)
    assert found > pressure


@given(
    viscosity=st.floats(0.01, 10.0),
    flow=st.floats(1e-9, 1e-4),
    wall=st.floats(0.0, 0.05),
    pressure=st.floats(10.0, 1e5),
)
def test_the_diameter_found_passes_the_flow_at_that_pressure(viscosity, flow, wall, pressure):
    diameter = vent_diameter(viscosity_pa_s=viscosity, flow_m3_s=flow, wall_m=wall, pressure_pa=pressure)
    back = vent_pressure(viscosity_pa_s=viscosity, flow_m3_s=flow, diameter_m=diameter, wall_m=wall)
    assert back == pytest.approx(pressure, rel=1e-7)


@pytest.mark.parametrize("name", ["viscosity_pa_s", "flow_m3_s", "pressure_pa"])
def test_nothing_flows_through_nothing(name):
    given = {"viscosity_pa_s": 0.3, "flow_m3_s": 1e-7, "wall_m": 1e-3, "pressure_pa": 1e3} | {name: 0.0}
    with pytest.raises(DomainError, match=name):
        vent_diameter(**given)
