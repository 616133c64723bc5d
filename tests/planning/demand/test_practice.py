"""What practice sets on machines of each size.  Values: common practice, no source."""

from __future__ import annotations

import math

import pytest
from attrs import evolve
from tests.planning.workshop import carried, job, plate, shop_of

from vatwright.planning.demand.practice import PRACTICE, common_load, common_recipe, common_settings, job_on
from vatwright.planning.demand.resin_flow import viscosity_belief
from vatwright.records.material import Label, ViscosityReading
from vatwright.records.plan import Outlook

SIZES = {"compact": (153, 87), "mid": (218, 123), "large": (296, 166)}
"""Platforms of 7, 10 and 13.4 inches across, in mm."""

SHOP = """
[[machine]]
name = "Wren"
height_mm = 165
platform = {{ width_mm = {0}, depth_mm = {1} }}
[[resin]]
name = "slate"
"""


@pytest.fixture(params=SIZES)
def bench(request, tmp_path):
    return request.param, shop_of(SHOP.format(*SIZES[request.param]), tmp_path)


def test_rises_and_waits_are_those_of_practice(bench):
    size, shop = bench
    settings = common_settings(shop.machines[0])
    body = {"compact": (2, 3), "mid": (3, 3), "large": (3, 5)}[size]
    base = {"compact": (4, 4), "mid": (4, 4), "large": (4, 6)}[size]
    for phase, lift in ((settings.body, body), (settings.base, base)):
        assert (1e3 * phase.peel_lift_m, 1e3 * phase.clear_lift_m) == pytest.approx(lift)
    assert settings.body.settle_s == (4.0 if size == "large" else 2.0)
    assert 30.0 <= settings.base.settle_s <= 60.0
    assert settings.base_layers == 4


def test_the_common_load_stands_on_the_platform(bench):
    _, shop = bench
    machine = shop.machines[0]
    load = common_load(machine)
    assert load.pieces * load.section_m2 <= machine.platform.width_m * machine.platform.depth_m
    assert load.height_m <= machine.height_m


def test_a_load_like_the_common_one_is_told_to_hold_but_not_for_sure(bench):
    _, shop = bench
    machine, resin = shop.machines[0], shop.resins[0]
    task = evolve(job(origin=machine, resin_from=resin), recipe=common_recipe(machine, resin=resin))
    sheet = carried(task, plate([6.0] * 40))
    assert (sheet.runs, sheet.origin) == (0, "common practice")
    assert sheet.outlook is not Outlook.HOLDS
    assert sheet.success.high - sheet.success.low > 0.3  # nothing is proven: the range says so
    assert 0.5 < sheet.success.mean < 0.95


def test_light_off_a_label_goes_by_dose(bench):
    _, shop = bench
    machine = shop.machines[0]
    light = machine.light.irradiance_w_m2
    brighter = evolve(light, value=2 * light.value, low=2 * light.low, high=2 * light.high)
    at = evolve(machine, light=evolve(machine.light, irradiance_w_m2=brighter))
    label = evolve(common_recipe(at, resin=shop.resins[0]), name="off the label")
    label = evolve(label, settings=evolve(label.settings, base=evolve(label.settings.base, settle_s=5.0)))
    here = common_recipe(machine, resin=shop.resins[0], untried=label, at=at)
    # Dose is irradiance times time (Jacobs 1992): half the light, twice the time.
    assert math.isclose(here.settings.body.exposure_s, 2 * label.settings.body.exposure_s)
    assert here.settings.base.settle_s == common_settings(machine).base.settle_s  # a wait that nobody tried
    assert here.name == "off the label"
    assert not here.tried


def test_a_job_nobody_ran_goes_by_practice_on_whatever_machine_it_goes_to(bench):
    _, shop = bench
    here = shop.machines[0]
    platform = evolve(here.platform, width_m=0.3, depth_m=0.17)
    large = evolve(here, name="Albatross", platform=platform)
    task = evolve(job(origin=here, resin_from=shop.resins[0]), recipe=common_recipe(here, resin=shop.resins[0]))
    there = job_on(task, large)
    assert (there.origin, there.target, there.recipe.name) == (large, large, PRACTICE)
    assert there.recipe.settings == common_settings(large)
    assert job_on(there, large) == there
    assert job_on(there, here) == job_on(task, here)
    proven = job(origin=here, resin_from=shop.resins[0])
    assert job_on(proven, large) == evolve(proven, target=large)


def test_layer_and_light_of_a_bottle_go_by_dose_and_its_viscosity_is_weak_evidence(bench):
    """Dose is irradiance times time (Jacobs 1992); the rest is common practice."""
    _, shop = bench
    machine, read = shop.machines[0], shop.resins[0]
    light = machine.light.irradiance_w_m2.value
    label = Label(
        viscosity_pa_s=0.4, temperature_k=298.15, irradiance_w_m2=light / 2.0, layer_nm=100_000, exposure_s=4.0,
        base_exposure_s=40.0,
    )  # fmt: skip
    settings = common_recipe(machine, resin=evolve(read, label=label)).settings
    assert (settings.layer_nm, settings.body.exposure_s, settings.base.exposure_s) == (100_000, 2.0, 20.0)
    assert settings.body.settle_s == common_settings(machine).body.settle_s
    as_printed = common_recipe(machine, resin=evolve(read, label=evolve(label, irradiance_w_m2=None))).settings
    assert as_printed.body.exposure_s == 4.0

    said = viscosity_belief(evolve(read, viscosity=(), label=label)).viscosity_pa_s
    assert said.value == pytest.approx(0.4)
    assert said.high / said.value == pytest.approx(1.28, abs=0.01)  # exp(0.25): +-25 % in the logarithm
    reading = ViscosityReading(temperature_k=298.15, viscosity_pa_s=0.25, sigma_pa_s=0.01)
    assert viscosity_belief(evolve(read, viscosity=(reading,), label=label)).viscosity_pa_s.value == pytest.approx(0.25)
