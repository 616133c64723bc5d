"""What a reading is worth: read in the middle of what is believed anyway, it narrows what it is about.

That a reading narrows is logic (it only rules out); that it is taken in the middle keeps the answer from moving too.
"""

from __future__ import annotations

import math
from functools import cache

import numpy as np
import pytest
from tests.planning.workshop import carried, job, plate, settings, shop_of

from vatwright.planning.demand.duration import layer_times

PLATE = np.concatenate((np.full(8, 9.0), np.full(34, 2.0), np.full(4, 14.0)))

SHOP = """
[[machine]]
name = "Wren"
height_mm = 165
platform = {{ width_mm = 150, depth_mm = 92 }}
{origin}
[[machine]]
name = "Albatross"
height_mm = 300
platform = {{ width_mm = 296, depth_mm = 166 }}
{target}
[[resin]]
name = "slate"
{resin}
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("first_evening")


@pytest.fixture(scope="module")
def sheet_with(folder):
    """Sheets of a first evening's shop (platform and height only) with readings added; each made once."""

    @cache
    def made(origin="", target="", resin=""):
        shop = shop_of(SHOP.format(origin=origin, target=target, resin=resin), folder)
        task = job(origin=shop.machines[0], target=shop.machines[1], resin_from=shop.resins[0])
        return carried(task, plate(PLATE), plate(1.2 * PLATE, span_mm=85.0))

    return made


def believed(sheet, name):
    """The middle of a belief after looking at what worked, SI."""
    return next(b for b in sheet.beliefs if b.name == name).after[1]


def width(sheet, name):
    """How far a belief reaches, as a logarithm."""
    low, _, high = next(b for b in sheet.beliefs if b.name == name).after
    return math.log(high / low)


def reach(sheet, name):
    advice = sheet.advice(name)
    return advice.high - advice.low


def readings(sheet):
    """One reading of each kind in the middle of what the sheet believes; invented machines, invented numbers."""
    stiffness = believed(sheet, "stiffness of Albatross")
    loads = " ".join(
        f"{{ load_N = {f}, deflection_um = {f / stiffness * 1e6:.1f}, sigma_um = 1 }}," for f in (20.0, 50.0)
    )
    depth, dose = believed(sheet, "depth of the working curve"), believed(sheet, "critical dose")
    squares = " ".join(
        f"{{ dose_mJ_cm2 = {m * dose / 10:.3f}, depth_um = {depth * math.log(m) * 1e6 * (1 + 0.01 * (-1) ** i):.2f} }},"
        for i, m in enumerate((2.0, 4.0, 8.0, 16.0))
    )
    corner_um = 1e6 * 4.0e-4 * math.hypot(0.296, 0.166) / 2.0  # the usual tilt over half the diagonal
    gaps = " ".join(
        f"{{ x_mm = {x * 148}, y_mm = {y * 83}, gap_um = {150 + corner_um * (x + y) / 2:.1f} }},"
        for x in (-1, 1)
        for y in (-1, 1)
    )
    light = 'light = { irradiance_mW_cm2 = 3.0, read_with = "the bench meter" }'
    spots = " ".join(
        f"{{ x_mm = {60 * x}, y_mm = {40 * y}, irradiance_mW_cm2 = 3.0 }}," for x in (-1, 0, 1) for y in (-1, 0, 1)
    )
    even = f'light = {{ read_with = "the bench meter", reading = [{spots}] }}'
    thick = believed(sheet, "viscosity in this room") * 1e3
    return {
        "dial": {"target": f"dial = [{loads}]"},
        "meter": {"origin": light, "target": light},
        "map": {"origin": even, "target": even},
        "viscosity": {"resin": f"viscosity = [{{ temperature_c = 22, viscosity_mPa_s = {thick:.1f} }}]"},
        "curve": {"resin": f"cure = [{squares}]"},
        "level": {"target": f"level_sigma_um = 5\nlevel = [{gaps}]"},
    }


NARROWS = {
    "dial": ("body.settle_s", "stiffness of Albatross"),
    "meter": ("body.exposure_s", "light of Albatross"),
    "viscosity": (
        "",
        "viscosity in this room",
    ),  # settle hangs on the arm; what a refill needs is nought in most worlds
    "curve": ("base.settle_s", "depth of the working curve"),
}


LIT = ("dial", "viscosity")
"""Readings judged with the light known: with both lights guessed no wait reaches the wanted chance, and the advice covers
further worlds for as long as that helps, so that the end of its range tells how far it went and not what is known."""


def lit(sheet_with):
    """What a shop adds that has read the light of both machines and the curve."""
    read = readings(sheet_with())
    return {"origin": read["map"]["origin"], "target": read["map"]["target"], "resin": read["curve"]["resin"]}


@pytest.mark.parametrize("kind", list(NARROWS))
def test_a_reading_narrows_what_it_is_about_and_widens_nothing(sheet_with, kind):
    known = lit(sheet_with) if kind in LIT else {}
    plain = sheet_with(**known)
    added = readings(plain)[kind]
    read = sheet_with(**known | {where: "\n".join((known.get(where, ""), text)) for where, text in added.items()})
    setting, belief = NARROWS[kind]
    assert not setting or reach(read, setting) < 0.85 * reach(plain, setting)
    assert width(read, belief) < 0.5 * width(plain, belief)
    for advice in plain.settings:
        if advice.name.endswith("refill_s"):
            continue  # a handful of worlds that need one at all make its upper end: it doubles from seed to seed
        # the evidence leaves about 125 worlds of weight: ends of a 90 % range then scatter by a good tenth of it each
        assert reach(read, advice.name) <= 1.35 * reach(plain, advice.name) + 1e-6, advice.name


def test_reading_the_level_answers_its_question_and_widens_nothing(sheet_with):
    # With light, curve, viscosity and stiffness read, a lot's own viscosity is what is left: the range of the base settle is
    # 32 to 35 s, its upper end the advice itself, and what the level takes off it is less than a step of that.
    read = readings(sheet_with())
    origin = read["map"]["origin"]
    target = "\n".join((read["map"]["target"], read["dial"]["target"]))
    resin = "\n".join((read["curve"]["resin"], read["viscosity"]["resin"]))
    plain = sheet_with(origin=origin, target=target, resin=resin)
    levelled = sheet_with(origin=origin, target=target + "\n" + read["level"]["target"], resin=resin)
    assert reach(levelled, "base.settle_s") < 1.05 * reach(plain, "base.settle_s")
    assert any("level" in question for question in plain.open_questions)
    assert not any("level" in question for question in levelled.open_questions)


def test_a_timed_stroke_tells_how_long_the_run_takes(folder):
    def run_s(motion=""):
        target = shop_of(SHOP.format(origin="", target=motion, resin=""), folder).machines[1]
        return layer_times(settings(), target, layers=100).total_s

    # 60 mm at 10 mm/s in 6.2 s: T = D/v + v/a gives 50 mm/s2 (kinematics)
    timed = run_s("motion = { stroke = { distance_mm = 60, speed_mm_s = 10, time_s = 6.2, sigma_s = 0.02 } }")
    assert timed == pytest.approx(run_s("motion = { acceleration_mm_s2 = 50 }"), rel=1e-6)
    assert timed > run_s()


def test_an_unknown_curve_is_told_and_the_light_goes_by_dose(sheet_with):
    plain = sheet_with()
    assert any("how deep slate cures" in question for question in plain.open_questions)
    assert any("carried by dose alone" in question for question in plain.open_questions)
    read = sheet_with(**readings(plain)["curve"])
    assert not any("how deep slate cures" in question for question in read.open_questions)
    # nobody read either light, both are the same guess: the same seconds in the middle, as far as 256 worlds show the
    # ends of a range (each to about a tenth) and the proof leaves the range even
    advice = plain.advice("body.exposure_s")
    assert math.sqrt(advice.low * advice.high) == pytest.approx(2.6, rel=0.1)


def test_what_was_read_is_not_asked_for_again(sheet_with):
    plain = sheet_with()
    for kind, word in (("dial", "arm of Albatross"), ("meter", "with one meter"), ("curve", "four squares")):
        read = sheet_with(**readings(plain)[kind])
        assert all(word not in m.reading for m in read.measure_next), kind


def test_guesses_are_told_as_guesses(sheet_with):
    told = " ".join(sheet_with().open_questions)
    for word in ("read the light", "how thick slate is", "how level Albatross", "window: 15 mm wider"):
        assert word in told
