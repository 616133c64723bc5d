"""Wash baths, solvent vapour against published tables, warming: each held to something outside."""

from __future__ import annotations

import math

import chemicals
import numpy as np
import pytest
from chemicals.vapor_pressure import Antoine, Psat_data_AntoinePoling
from scipy.integrate import solve_ivp

from vatwright.errors import DomainError
from vatwright.physics import drag_out, vapour, warming
from vatwright.planning.after.solvents import KNOWN_K, SOLVENTS, solvent_of

CAS = {"isopropanol": "67-63-0", "ethanol": "64-17-5", "dipropylene glycol methyl ether": "34590-94-8"}
TABLES = {"iec:2010": "IEC 60079-20-1 (2010)", "nfpa:2008": "NFPA 497 (2008)"}


@pytest.mark.parametrize("solvent", SOLVENTS, ids=lambda s: s.name)
def test_flash_points_are_those_of_both_tables(solvent):
    """`chemicals` 1.5 carries IEC 60079-20-1:2010 and NFPA 497:2008; the two differ by up to 11 K."""
    for kelvin, key in solvent.flash_k:
        assert kelvin == chemicals.T_flash(CAS[solvent.name], method=TABLES[key])


@pytest.mark.parametrize("solvent", SOLVENTS, ids=lambda s: s.name)
def test_flammable_limits_are_those_of_both_tables(solvent):
    for limit in solvent.flammable:
        table = {"iec:2010": chemicals.safety.IEC_2010_data, "nfpa:2008": chemicals.safety.NFPA_2008_data}[limit.source]
        assert limit.fraction == pytest.approx(table.loc[CAS[solvent.name], "LFL"], rel=1e-9)


def test_a_regressed_flash_point_is_no_table():
    """A trap: a published regression is 22 K low for isopropanol, which both tables put at 12 C."""
    regressed = chemicals.T_flash(CAS["isopropanol"], method="Serat DIPPR (2017)")
    assert regressed < min(k for k, _ in solvent_of("IPA").flash_k) - 20.0


@pytest.mark.parametrize("solvent", SOLVENTS, ids=lambda s: s.name)
def test_occupational_limits_of_ontario(solvent):
    """Table of Ontario as `chemicals` 1.5 carries it."""
    cas = CAS[solvent.name]
    for limit in (x for x in solvent.limits if x.source == "ontario:1990"):
        published = chemicals.TWA(cas) if limit.what == "8 h average" else chemicals.STEL(cas)
        assert published == (pytest.approx(limit.fraction * 1e6), "ppm")


@pytest.mark.parametrize("name", ["isopropanol", "ethanol"])
@pytest.mark.parametrize("celsius", [12, 20, 25, 30])
def test_vapour_pressure_near_room_temperature(name, celsius):
    """Antoine's constants in Poling, Prausnitz, O'Connell 2001, as `chemicals` carries them; tables differ by 4 %."""
    solvent, kelvin = solvent_of(name), celsius + 273.15
    row = Psat_data_AntoinePoling.loc[CAS[name]]
    found = vapour.vapour_pressure(
        known_pa=solvent.pressure_pa,
        known_k=KNOWN_K,
        vaporisation_j_mol=solvent.vaporisation_j_mol,
        temperature_k=kelvin,
    )
    assert found == pytest.approx(Antoine(kelvin, row["A"], row["B"], row["C"]), rel=0.04)


@pytest.mark.parametrize("solvent", SOLVENTS, ids=lambda s: s.name)
def test_molar_masses(solvent):
    """From the elements' masses, by `chemicals`."""
    assert solvent.molar_mass_kg_mol * 1e3 == pytest.approx(chemicals.MW(CAS[solvent.name]), rel=1e-3)


def test_water_evaporates_by_its_own_coefficient():
    """Ideal gas law, by hand: 8.3 mm/s x 0.1 m2 x 0.018015 x 2339 Pa / (R 293.15 K); 2339 Pa: IAPWS, 20 C."""
    found = vapour.evaporation_rate(
        vapour_pressure_pa=2339.0, molar_mass_kg_mol=0.018015, area_m2=0.1, temperature_k=293.15
    )
    assert found == pytest.approx(8.3e-3 * 0.1 * 0.018015 * 2339.0 / (8.314462618 * 293.15), rel=1e-9)


def test_a_bath_filled_batch_by_batch():
    """Adding batch after batch by hand, and asking back when the share is reached."""
    resin = math.fsum(20e-6 for _ in range(37))
    share = resin / (8e-3 + resin)
    assert drag_out.bath_share(carried_m3=20e-6, bath_m3=8e-3, batches=37) == pytest.approx(share, rel=1e-12)
    assert drag_out.batches_until(carried_m3=20e-6, bath_m3=8e-3, limit=share) == pytest.approx(37.0, rel=1e-12)


def test_density_of_a_spent_bath():
    """Ideal mixture of 10 % by mass of 1.10 g/cm3 in 0.785 g/cm3: 0.8081 g/cm3, printed to four places."""
    found = drag_out.bath_density(mass_share=0.10, resin_kg_m3=1100.0, solvent_kg_m3=785.0)
    assert found == pytest.approx(808.1, abs=0.05)


RESIN = {"density_kg_m3": 1100.0, "heat_capacity_j_kg_k": 1900.0, "conductivity_w_m_k": 0.2}


@pytest.mark.parametrize(
    ("biot", "zeta"), [(0.01, 0.0998), (0.1, 0.3111), (1.0, 0.8603), (10.0, 1.4289), (100.0, 1.5552)]
)
def test_roots_of_the_plane_wall(biot, zeta):
    """Incropera and DeWitt, table 5.1, plane wall, four places (from memory)."""
    tau = warming.slab_time_constant(thickness_m=0.02, coefficient_w_m2_k=biot * 0.2 / 0.02, **RESIN)
    assert math.sqrt(1100.0 * 1900.0 * 0.02**2 / (0.2 * tau)) == pytest.approx(zeta, abs=6e-5)


def test_a_well_stirred_slab_is_lumped():
    """h L/k far below 1: rho c L/h."""
    tau = warming.slab_time_constant(thickness_m=0.001, coefficient_w_m2_k=0.2, **RESIN)
    assert tau == pytest.approx(1100.0 * 1900.0 * 0.001 / 0.2, rel=1e-3)


def test_time_constant_is_that_of_the_heat_equation():
    """Heat equation on 80 cells, one face to the air: late temperatures fall by e in the time constant."""
    cells, thickness, h = 80, 0.02, 12.0
    dx, capacity = thickness / cells, 1100.0 * 1900.0

    def warm(_t, above):
        flux = 0.2 * np.diff(above) / dx
        out = above[-1] / (1.0 / h + 0.5 * dx / 0.2)
        return (np.append(flux, -out) - np.insert(flux, 0, 0.0)) / (capacity * dx)

    tau = warming.slab_time_constant(thickness_m=thickness, coefficient_w_m2_k=h, **RESIN)
    late = [2.0 * tau, 3.0 * tau]
    solution = solve_ivp(warm, (0.0, late[1]), np.ones(cells), method="BDF", t_eval=late, rtol=1e-8, atol=1e-10)
    fallen = float(solution.y[:, 1].mean() / solution.y[:, 0].mean())
    assert fallen == pytest.approx(math.exp(-1.0), rel=1e-3)


def test_warming_by_newtons_law():
    """Half the difference goes in tau ln 2; resin never gets warmer than the air."""
    half = warming.warming_time(start_k=280.0, air_k=300.0, wanted_k=290.0, time_constant_s=1000.0)
    assert half == pytest.approx(1000.0 * math.log(2.0), rel=1e-12)
    assert warming.warming_time(start_k=290.0, air_k=300.0, wanted_k=290.0, time_constant_s=1.0) == 0.0
    for wanted in (270.0, 300.0, 310.0):
        with pytest.raises(DomainError, match="not reached"):
            warming.warming_time(start_k=280.0, air_k=300.0, wanted_k=wanted, time_constant_s=1.0)
