"""Records refuse what cannot be and say what they hold."""

from __future__ import annotations

import math

import pytest
from attrs import evolve
from attrs.exceptions import FrozenInstanceError
from hypothesis import given
from hypothesis import strategies as st
from tests.planning.workshop import job, machine, settings

from vatwright.errors import DomainError, InputError
from vatwright.records.job import Hands
from vatwright.records.machine import Controller, Film, Light, Obeys, Opening, Platform, Rule, Window
from vatwright.records.material import CureReading, ViscosityReading
from vatwright.records.part import PartUse, PlateLoad
from vatwright.records.process import PHASE_SETTINGS, SETTING_NAMES, Proof, setting_name, setting_unit
from vatwright.records.sourced import Kind, Sourced

positive = st.floats(1e-6, 1e6)


# --- a number and how sure it is ---------------------------------------------------------------------------------------


@given(positive, st.floats(1.001, 10.0))
def test_a_factor_either_way_is_a_lognormal_ninety_per_cent(value, factor):
    q = Sourced.about(value, factor=factor, source="user:reading", kind=Kind.READING)
    # 1.6448536 standard deviations on either side hold 90 % (any table of the normal distribution)
    assert value * math.exp(1.6448536 * q.spread) == pytest.approx(q.high, rel=1e-6)
    assert value * math.exp(-1.6448536 * q.spread) == pytest.approx(q.low, rel=1e-6)


@given(positive, st.floats(1e-4, 0.5))
def test_a_reading_has_the_relative_spread_of_its_sigma(value, share):
    q = Sourced.read(value, sigma=share * value)
    # variance of a lognormal over the square of its mean: exp(s^2) - 1 (any text on the distribution)
    assert math.sqrt(math.expm1(q.spread**2)) == pytest.approx(share, rel=1e-6)
    assert q.value == value


@pytest.mark.parametrize(
    ("low", "value", "high"),
    [(0.0, 1.0, 2.0), (2.0, 1.0, 3.0), (0.5, 1.0, 0.9), (-1.0, 1.0, 2.0), (0.5, math.nan, 2.0), (0.5, 1.0, math.inf)],
)
def test_no_range_without_its_value(low, value, high):
    with pytest.raises(DomainError):
        Sourced(value=value, low=low, high=high, source="user:reading", kind=Kind.READING)


# --- settings by name --------------------------------------------------------------------------------------------------


@given(st.sampled_from(PHASE_SETTINGS), st.floats(1e-4, 100.0))
def test_a_setting_set_by_name_is_read_by_name_and_touches_no_other(setting, value):
    changed = settings().with_value(setting.name, value)
    assert changed.value(setting.name) == value
    others = [name for name in SETTING_NAMES if name != setting.name]
    assert [changed.value(n) for n in others] == [settings().value(n) for n in others]


@given(st.integers(1, 200), st.integers(0, 500), st.integers(1, 1000))
def test_counts_and_thickness_stay_whole(base, ramp, layer_um):
    changed = settings().with_value("base.layers", float(base)).with_value("ramp.layers", float(ramp))
    changed = changed.with_value("layer_mm", layer_um / 1e6)
    assert (changed.base_layers, changed.ramp_layers, changed.layer_nm) == (base, ramp, layer_um * 1000)
    assert changed.layer_m == layer_um * 1000 / 1_000_000_000


def test_every_setting_has_one_name_and_a_unit():
    assert len(set(SETTING_NAMES)) == len(SETTING_NAMES) == 21
    for name in SETTING_NAMES:
        assert setting_unit(name) in {"s", "mm", "mm_s", "layers"}
        if setting_unit(name) != "layers":
            assert name.endswith(f"_{setting_unit(name)}")


def test_a_name_no_recipe_has_is_refused_with_those_it_has():
    with pytest.raises(InputError, match=r"body.settle_s"):
        setting_name("body.wait_s")


def test_the_whole_rise_is_both_stages():
    assert settings().body.lift_m == pytest.approx(0.005)


# --- what cannot be ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "make",
    [
        lambda: Platform(width_m=0.0, depth_m=0.1),
        lambda: Platform(width_m=math.inf, depth_m=0.1),
        lambda: Window(width_m=0.1, depth_m=-0.1),
        lambda: Opening(x_m=0.0, y_m=0.0, width_m=0.0, depth_m=0.01),
        lambda: evolve(machine().light, dimmest=1.1),
        lambda: evolve(machine().light, brightest=0.9),
        lambda: evolve(machine().film, thickness_m=0.0),
        lambda: evolve(machine(), height_m=math.nan),
        lambda: Rule(obeys=Obeys.YES, step=0.0),
        lambda: ViscosityReading(temperature_k=0.0, viscosity_pa_s=0.3, sigma_pa_s=0.01),
        lambda: CureReading(dose_j_m2=100.0, depth_m=-1e-4),
        lambda: PartUse(name="lamp", file="lamp.stl", count=0),
        lambda: PlateLoad(pieces=1, section_m2=1e-4, height_m=0.01, reach=1.5),
        lambda: Proof(runs=-1, room_k=295.0),
        lambda: Proof(runs=2, failed=3, room_k=295.0),
        lambda: Hands(visits=-1),
        lambda: Hands(late_s=-1.0),
        lambda: job(confidence=1.0),
        lambda: job(tolerance=0.0),
        lambda: evolve(settings(), base_layers=0),
        lambda: evolve(settings(), layer_nm=999),
        lambda: evolve(settings().body, exposure_s=0.0),
        lambda: evolve(settings().body, settle_s=math.inf),
    ],
)
def test_what_cannot_be_is_refused(make):
    with pytest.raises(ValueError):  # noqa: PT011 - attrs words these; DomainError and InputError are ValueErrors too
        make()


def test_records_do_not_change():
    with pytest.raises(FrozenInstanceError):
        machine().name = "Heron"
    with pytest.raises(FrozenInstanceError):
        settings().body.settle_s = 3.0


# --- a controller ------------------------------------------------------------------------------------------------------


def test_one_rule_serves_base_and_body_and_layers_have_their_own():
    shared, layers = Rule(obeys=Obeys.SHARED), Rule(obeys=Obeys.YES, maximum=10.0)
    controller = Controller(rules={"settle_s": shared, "base.layers": layers})
    assert controller.rule("base.settle_s") is shared
    assert controller.rule("body.settle_s") is shared
    assert controller.rule("base.layers") is layers
    assert controller.rule("body.exposure_s").obeys is Obeys.YES
    assert controller.rule("ramp.layers").maximum >= 500


def test_equal_records_are_one_machine_whatever_was_assumed():
    # what nobody said is a note to the reader, not a property of the machine
    assert evolve(machine(), assumed=("film: on glass",)) == machine()
    assert evolve(machine(), name="Wagtail") != machine()
    assert isinstance(machine().film, Film)
    assert isinstance(machine().light, Light)
