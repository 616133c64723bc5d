"""Resin outside 15 to 40 C: the answer is no, whatever else the plan says, and how long it takes to come back."""

import math
from functools import cache

import numpy as np
import pytest
from scipy.integrate import solve_ivp
from tests.planning.workshop import ROOM_K, carried, job, machine, plate, resin, settings

from vatwright.answers.resin_state import run_warmth_sentences
from vatwright.planning.after.bottle import HEAT_CAPACITY_J_KG_K, NEAR_K, STILL_AIR_W_M2_K, near_after
from vatwright.planning.carry.warmth import LEAST_K, MOST_K, NOTHING_KNOWN, warm_up
from vatwright.planning.demand.base import StackLoad
from vatwright.planning.demand.duration import layer_times
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.planning.demand.run_temperature import warmed
from vatwright.records.plan import Outlook
from vatwright.units import ZERO_CELSIUS_K

RESIN = {"proven_k": ZERO_CELSIUS_K + 22.0, "density_kg_m3": 1100.0}


@cache
def sheet(celsius):
    return carried(job(room_k=ZERO_CELSIUS_K + celsius), plate([9.0] * 30))


@pytest.mark.parametrize("celsius", [-5.0, 1.0, 14.9])
def test_too_cold_is_no_whatever_the_plan_says(celsius):
    cold = sheet(celsius)
    assert (cold.outlook, cold.holds, cold.success) == (Outlook.TOO_COLD, False, NOTHING_KNOWN)
    assert cold.warm_up is not None
    assert cold.warm_up.target_k == ZERO_CELSIUS_K + 22.0


def test_too_warm_is_no_too_and_nobody_is_told_to_heat_it():
    warm = sheet(44.0)
    assert (warm.outlook, warm.holds) == (Outlook.TOO_WARM, False)
    assert warm.warm_up is not None
    assert warm.warm_up.bath_s is None


@pytest.mark.parametrize("kelvin", [LEAST_K, ZERO_CELSIUS_K + 22.0, MOST_K])
def test_within_known_ground_there_is_no_plan(kelvin):
    assert warm_up(kelvin, **RESIN) is None
    found = sheet(round(kelvin - ZERO_CELSIUS_K, 6))
    assert found.warm_up is None
    assert found.outlook not in {Outlook.TOO_COLD, Outlook.TOO_WARM}


@pytest.mark.parametrize(("proven_c", "target_c"), [(5.0, 20.0), (24.5, 24.5), (38.0, 30.0)])
def test_the_aim_is_where_the_recipe_ran_within_reason(proven_c, target_c):
    plan = warm_up(ZERO_CELSIUS_K + 1.0, proven_k=ZERO_CELSIUS_K + proven_c, density_kg_m3=1100.0)
    assert plan.target_k == pytest.approx(ZERO_CELSIUS_K + target_c)


def test_a_thin_pool_warms_by_newtons_law():
    """A film of resin has one temperature: rho c L / h ln(difference before / after), any textbook on heat transfer."""
    thin_m = 1e-4
    found = near_after(thin_m, density_kg_m3=1100.0, start_k=274.15, air_k=295.15)
    tau_s = 1100.0 * HEAT_CAPACITY_J_KG_K * thin_m / STILL_AIR_W_M2_K.value
    assert found.value == pytest.approx(tau_s * math.log(21.0 / NEAR_K), rel=0.01)


def test_the_pool_loses_half_of_its_warmth_in_the_time_told():
    """The heat equation of a resting pool, cooled from above, by scipy's solver, once its first term leads."""
    pool_m, cells, k, rho_c, h = 0.01, 60, 0.2, 1100.0 * HEAT_CAPACITY_J_KG_K, STILL_AIR_W_M2_K.value
    step = pool_m / cells
    out = 1.0 / (step / (2.0 * k) + 1.0 / h)

    def cool(_, t):
        flux = np.concatenate(([0.0], -k * np.diff(t) / step, [out * t[-1]]))
        return -np.diff(flux) / (rho_c * step)

    plan = warm_up(ZERO_CELSIUS_K + 1.0, pool_m=pool_m, **RESIN)
    half_s = plan.back_s.value
    found = solve_ivp(cool, (0.0, 3.0 * half_s), np.ones(cells), method="BDF", t_eval=[half_s, 2.0 * half_s], rtol=1e-8)
    assert found.y[:, 1].mean() / found.y[:, 0].mean() == pytest.approx(0.5, rel=0.01)


def test_a_water_bath_is_sooner_than_air_and_the_colder_the_longer():
    plans = [warm_up(ZERO_CELSIUS_K + c, **RESIN) for c in (-5.0, 1.0, 8.0, 14.0)]
    for plan in plans:
        assert plan.bath_s.low <= plan.bath_s.value <= plan.bath_s.high < plan.bottle_s.low
        assert plan.vat_s.low < plan.vat_s.value < plan.vat_s.high
    for times in zip(*((p.bath_s.value, p.bottle_s.value, p.vat_s.value) for p in plans), strict=True):
        assert list(times) == sorted(times, reverse=True)


# --- a vat that warms in the run ---------------------------------------------------------------------------------------


def test_a_layer_squeezes_resin_as_warm_as_newton_and_andrade_make_it():
    """63.2 % of the rise is there after one time constant; ln mu goes with E / (R T), R = 8.314 J/(mol K) (CODATA)."""
    warm = machine(warming_k=6.0, warming_s=1800.0)
    count = 2000
    load = StackLoad(
        torsion_m4=np.full(count, 1e-7), platform_torsion_m4=np.full(count, 1e-6), platform_extra_gap_m=np.zeros(count),
        platform_follows=np.zeros(count), layer_m=np.full(count, 5e-5),
    )  # fmt: skip
    found = warmed(load, warm, resin(), settings(), ROOM_K)
    assert warmed(load, machine(), resin(), settings(), ROOM_K) is load
    clock_s = layer_times(settings(), warm, layers=count).start_s
    energy = viscosity_belief(resin()).activation_j_mol.value
    for n, rise in ((0, 0.0), (int(np.searchsorted(clock_s, 1800.0)), 6.0 * (1.0 - math.exp(-1.0))), (count - 1, 6.0)):
        thinner = math.exp(energy / 8.314 * (1.0 / (ROOM_K + rise) - 1.0 / ROOM_K))
        assert found.torsion_m4[n] / 1e-7 == pytest.approx(thinner, rel=0.006)
        assert found.platform_torsion_m4[n] / 1e-6 == pytest.approx(thinner, rel=0.006)


def test_a_warming_that_the_shop_states_shortens_the_wait_of_the_body_and_leaves_the_base():
    """On both machines: the proof was warm too.  The base is made before anything is warm."""
    small, large = plate([9.0] * 120), plate([9.0] * 60 + [18.0] * 60)
    cold, warm = (
        carried(job(origin=machine(**w), target=machine("Heron", **w)), small, large)
        for w in ({}, {"warming_k": 8.0, "warming_s": 300.0})
    )
    assert warm.advice("base.settle_s").to_value == pytest.approx(cold.advice("base.settle_s").to_value, rel=0.05)
    assert warm.advice("body.settle_s").to_value < cold.advice("body.settle_s").to_value
    assert warm.run_warmth.planned_with
    assert warm.run_warmth.end_k.low == warm.run_warmth.end_k.high > ROOM_K + 7.0
    assert "as your workshop says" in run_warmth_sentences(warm)[0]
    assert "engineering estimate" in run_warmth_sentences(cold)[0]
