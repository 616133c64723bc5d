"""Readings of a machine's light in a shop file: the map, its mean, its width, there and back, and what is wrong with them."""

from __future__ import annotations

import math

import pytest

from vatwright.errors import InputError
from vatwright.files.priors import IRRADIANCE
from vatwright.files.read import read_shop
from vatwright.files.write import write_shop
from vatwright.records.job import Shop
from vatwright.records.machine import FADE, Light
from vatwright.records.sourced import NORMAL_95, Kind

MACHINE = '[[machine]]\nname = "Heron"\nheight_mm = 230\nplatform = { width_mm = 200, depth_mm = 120 }\n'
WINDOW = "window = { width_mm = 200, depth_mm = 120 }\n"
PYRAMID = [(-100, -60, 2.0), (100, -60, 2.0), (100, 60, 2.0), (-100, 60, 2.0), (0, 0, 3.0)]


@pytest.fixture
def read(tmp_path):
    def made(light, window=WINDOW):
        path = tmp_path / "shop.toml"
        path.write_text(f"{MACHINE}{window}[machine.light]\n{light}\n", encoding="utf-8")
        return read_shop(path)

    return made


def rows(spots=PYRAMID):
    return "".join(
        f"\n[[machine.light.reading]]\nx_mm = {x}\ny_mm = {y}\nirradiance_mW_cm2 = {s}\n" for x, y, s in spots
    )


def light_of(shop):
    return shop.machines[0].light


def test_mean_is_over_the_window_not_over_the_readings(read):
    # volume of a pyramid: 2 + 1/3; the plain mean of the five would be 2.2
    light = light_of(read('read_with = "red"' + rows()))
    mean = light.irradiance_w_m2.value / 10.0
    assert mean == pytest.approx(2.0 + 1.0 / 3.0, rel=1e-3)
    assert (light.dimmest, light.brightest) == pytest.approx((2.0 / mean, 3.0 / mean))
    assert light.evenness is Kind.READING
    assert light.irradiance_w_m2.kind is Kind.READING


def test_meter_and_repeatability_add_in_quadrature(read):
    # GUM (JCGM 100:2008) 5.1.2: 4 % of the meter with 6 % over five readings
    light = light_of(read("meter_percent = 4\nrepeat_percent = 6\n" + rows()))
    relative = math.log(light.irradiance_w_m2.high / light.irradiance_w_m2.value) / NORMAL_95
    assert relative == pytest.approx(math.hypot(0.04, 0.06 / math.sqrt(5)), rel=2e-3)
    assert light.repeat == pytest.approx(0.06)


def test_one_reading_says_nothing_of_the_other_spots(read):
    shop = read('read_with = "red"' + rows([(0, 0, 3.0)]))
    light = light_of(shop)
    assert (light.irradiance_w_m2.value, light.dimmest, light.brightest) == (30.0, 0.9, 1.1)
    assert light.evenness is Kind.ESTIMATE
    assert any("dimmest spot 90 %" in said for said in shop.machines[0].assumed)


def test_age_of_the_light(read):
    light = light_of(
        read("irradiance_mW_cm2 = 3\nsince_read_h = 250\nfade_percent = { value = 8, low = 5, high = 12 }")
    )
    assert light.burned_s == 250 * 3600.0
    assert (light.fade.value, light.fade.low, light.fade.high) == (0.08, 0.05, 0.12)
    assert light_of(read("irradiance_mW_cm2 = 3")).fade == FADE


@pytest.mark.parametrize(
    "light",
    [
        'read_with = "red"\nmeter_percent = 4\nrepeat_percent = 3\nsince_read_h = 250\nfade_percent = 7' + rows(),
        rows([(-31.7, 12.1, 2.93), (44.4, -3.3, 3.07), (1.2, 55.5, 2.71)]),
        "irradiance_mW_cm2 = 3.1\nsince_read_h = 33.3\nfade_percent = { value = 8, sigma = 2 }",
        rows([(0, 0, 3.0)]),
    ],
    ids=["all", "plain", "aged", "one"],
)
def test_there_and_back(read, tmp_path, light):
    first = read(light)
    path = tmp_path / "again.toml"
    path.write_text(write_shop(Shop(machines=first.machines)), encoding="utf-8")
    assert read_shop(path).machines == first.machines


@pytest.mark.parametrize(
    ("light", "window", "said"),
    [
        (rows([(-101, 0, 3.0), (0, 0, 3.0)]), WINDOW, "was read at -101, 0 mm, outside the window of 200 x 120 mm"),
        (rows([(0, 61, 3.0)]), WINDOW, "outside the window"),
        (rows([(0, 76, 3.0)]), "", "outside the window of 230 x 150 mm"),
        (rows([(0, 0, 0.001)]), WINDOW, "is 0.001 mW/cm2, outside 0.01 to 200"),
        ("\n[[machine.light.reading]]\nx_mm = 0\ny_mm = 0\nirradiance_W_m2 = 30\n", WINDOW, "irradiance_mW_cm2"),
        (
            '\n[[machine.light.reading]]\nx_mm = 0\ny_mm = 0\nirradiance_mW_cm2 = "3"\n',
            WINDOW,
            "a number in mW/cm2 is wanted",
        ),
        ("irradiance_mW_cm2 = 3\n" + rows(), WINDOW, "stands beside the values that it gives"),
        ("irradiance_mW_cm2 = 3\nrepeat_percent = 2", WINDOW, "belongs to readings, and there are none"),
        ("irradiance_mW_cm2 = 3\nsince_read_h = -1", WINDOW, "outside 0 to 100000 h"),
        ("irradiance_mW_cm2 = 3\nfade_percent = 90", WINDOW, "outside 0.01 to 60"),
        (
            rows([(0, 0, 30.0), *((x, y, 0.1) for x in range(10, 60, 10) for y in (10, 20))]),
            WINDOW,
            "nine times the mean",
        ),
    ],
)
def test_mistakes_are_said(read, light, window, said):
    with pytest.raises(InputError) as caught:
        read(light, window)
    assert said in str(caught.value)


def test_a_reading_beyond_the_platform_but_inside_the_assumed_window_is_taken(read):
    assert len(light_of(read(rows([(0, 74, 3.0), (0, 0, 3.1)]), "")).readings) == 2


CURVE = '[[resin]]\nname = "slate"\ncurve = {{ Dp_um = {dp}, Ec_mJ_cm2 = {ec} }}\n'


@pytest.mark.parametrize(
    ("dp", "ec", "factors"),
    [
        ("150", "8", (math.sqrt(7), math.sqrt(70))),  # 24 laboratories, Kolibaba et al. 2024
        ('{ value = 150, kind = "published" }', "8", (math.sqrt(7), math.sqrt(70))),
        ("{ value = 150, low = 120, high = 187.5 }", "{ value = 8, low = 4, high = 16 }", (1.25, 2.0)),
        ('{ value = 150, kind = "your reading" }', '{ value = 8, kind = "your reading" }', (1.15, 1.3)),
    ],
    ids=["stated", "published", "with a range", "own"],
)
def test_a_stated_curve_is_as_wide_as_laboratories_differ(tmp_path, dp, ec, factors):
    path = tmp_path / "shop.toml"
    path.write_text(CURVE.format(dp=dp, ec=ec), encoding="utf-8")
    shop = read_shop(path)
    curve = shop.resins[0].curve
    found = (curve.depth_m.high / curve.depth_m.value, curve.critical_j_m2.high / curve.critical_j_m2.value)
    assert found == pytest.approx(factors, rel=1e-9)
    path.write_text(write_shop(Shop(resins=shop.resins)), encoding="utf-8")
    assert read_shop(path).resins == shop.resins


def test_stated_spots_are_a_statement():
    assert Light(irradiance_w_m2=IRRADIANCE, dimmest=0.85).evenness is Kind.STATEMENT
    assert Light(irradiance_w_m2=IRRADIANCE).evenness is Kind.ESTIMATE
