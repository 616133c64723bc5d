"""Light carried in full: the dimmest spot under the pieces, the brightest one, shared exposure, meters, age, reciprocity."""

from __future__ import annotations

import math

import numpy as np
import pytest
from attrs import evolve
from tests.planning.workshop import ROOM_K, carried, exact, job, machine, plate, read, resin, side
from tests.planning.workshop import settings as recipe_settings

from vatwright.planning.carry.risks import open_questions
from vatwright.planning.demand.duration import base_share
from vatwright.planning.demand.exposure import (
    UNKNOWN_CURVE,
    curve_belief,
    curve_is_foreign,
    effective_w_m2,
    exposure_ratio,
    plate_light,
    printed_through_m,
)
from vatwright.planning.demand.narrowing import readings
from vatwright.planning.demand.unknowns import draw
from vatwright.records.machine import Light, LightReading, Obeys, Rule
from vatwright.records.material import CureReading, ViscosityReading, WorkingCurve
from vatwright.records.sourced import Kind, Sourced

PLATE = plate(np.full(46, 9.0))
"""Four discs of 9 mm at (+-28, +-18) mm."""


def sloped(value=30.0, *, slope=0.0, meter="the bench meter", **changes):
    """Light that grows along x by `slope` [1/m], read at nine spots."""
    spots = tuple(
        LightReading(x_m=x, y_m=y, irradiance_w_m2=value * (1.0 + slope * x))
        for x in (-0.08, 0.0, 0.08)
        for y in (-0.05, 0.0, 0.05)
    )
    ends = (1.0 - 0.08 * abs(slope), 1.0 + 0.08 * abs(slope))
    return Light(
        irradiance_w_m2=exact(value), meter=meter, readings=spots, dimmest=ends[0], brightest=ends[1], **changes
    )


def lit(light, name="Wagtail", **changes):
    return machine(name, light=light, **changes)


def test_spots_are_those_under_the_pieces():
    # the discs reach to x = +-37 mm: 1 -+ 2 x 0.037; the window's own ends are 0.84 and 1.16
    light = plate_light(sloped(slope=2.0), PLATE)
    assert (light.dimmest, light.brightest) == pytest.approx((0.926, 1.074), abs=1e-6)


def test_without_a_map_or_without_places_the_whole_window_counts():
    stated = Light(irradiance_w_m2=exact(30.0), dimmest=0.8, brightest=1.2)
    assert (plate_light(stated, PLATE).dimmest, plate_light(stated, PLATE).brightest) == (0.8, 1.2)
    nowhere = evolve(PLATE, base_outlines_m=(), outlines=())
    assert plate_light(sloped(slope=2.0), nowhere).dimmest == pytest.approx(0.84)


def test_dimmest_is_carried_to_dimmest():
    # equal mean light, dimmest spot 0.96 and 0.80 of it: 0.96 / 0.80 = 1.2 times the seconds (arithmetic)
    lights = [Light(irradiance_w_m2=exact(30.0), dimmest=d, brightest=1.1) for d in (0.96, 0.80)]
    sheet = carried(job(origin=lit(lights[0], "Wren"), target=lit(lights[1])), PLATE)
    assert sheet.advice("body.exposure_s").to_value == pytest.approx(2.6 * 1.2, abs=0.1)
    assert sheet.advice("base.exposure_s").to_value == pytest.approx(30.0 * 1.2, abs=1.0)
    assert sheet.light.to_least_j_m2 == pytest.approx(sheet.light.from_least_j_m2, rel=0.04)
    assert sheet.light.to_most_j_m2 > 1.15 * sheet.light.from_most_j_m2
    assert "dimmest" in sheet.advice("body.exposure_s").reason


def test_one_machine_with_a_map_changes_nothing_for_one_plate():
    # logic: what was proven here stays proven here
    sheet = carried(job(origin=lit(sloped(slope=2.0, burned_s=1e6), "Wren")), PLATE)
    for advice in sheet.settings:
        assert advice.from_value == advice.to_value == advice.low == advice.high, advice


def test_pieces_moved_into_the_dim_corner_want_more_seconds():
    # one machine: discs that reached x = -37 mm now reach -69 mm, (1 - 2 x 0.037) / (1 - 2 x 0.069) = 1.074
    own = lit(sloped(slope=2.0), "Wren")
    sheet = carried(job(origin=own, target=own), PLATE, plate(np.full(46, 9.0), spread_mm=(60.0, 18.0)))
    assert sheet.advice("base.exposure_s").to_value == pytest.approx(30.0 * 0.926 / 0.862, abs=0.6)


def test_equal_light_leaves_no_room_for_the_exponent():
    one, other = side(4), side(4, reciprocity=0.8)
    assert (exposure_ratio(other, other, from_share=0.9, to_share=0.9) == 1.0).all()
    assert effective_w_m2(one, 0.5)[0] == pytest.approx(15.0)


@pytest.mark.parametrize(("alpha", "seconds"), [(1.0, 3.75), (0.5, 3.0619), (1.0 / 0.8, 4.1501)])
def test_exponent_of_the_irradiance(alpha, seconds):
    # 2.5 s from 3 to 2 mW/cm2 by t2 = t1 (I1/I2)^alpha; Schwarzschild's p = 0.8 is alpha = 1.25 (arithmetic)
    ratio = exposure_ratio(side(reciprocity=alpha, irradiance_w_m2=30.0), side(reciprocity=alpha, irradiance_w_m2=20.0))
    assert 2.5 * ratio[0] == pytest.approx(seconds, rel=1.5e-5)


def test_unequal_light_is_less_sure_the_more_unequal():
    def width(value):
        advice = carried(job(origin=lit(sloped(30.0), "Wren"), target=lit(sloped(value))), PLATE).advice(
            "base.exposure_s"
        )
        return math.log(advice.high / advice.low)

    # the exponent's 90 % range, 0.4 ln 2 and 0.4 ln 3, with the repeatability of a few per cent beside it
    assert width(15.0) == pytest.approx(0.4 * math.log(2.0), rel=0.3)
    assert width(10.0) > 1.3 * width(15.0)


def test_thin_resin_under_very_different_light_wants_its_curve_again():
    def said(value, mpa_s):
        thin = resin(
            viscosity=(ViscosityReading(temperature_k=ROOM_K, viscosity_pa_s=mpa_s / 1e3, sigma_pa_s=mpa_s / 2e4),)
        )
        task = job(origin=lit(sloped(30.0), "Wren"), target=lit(sloped(value)), resin_from=thin)
        return " ".join(open_questions(task, None))

    assert "Cure squares again on Wagtail" in said(70.0, 60.0)
    assert "Cure squares again" not in said(50.0, 60.0)
    assert "equal dose then cures equally is a rule" in said(70.0, 300.0)


def test_print_through_is_the_geometric_sum():
    # E 16 mJ/cm2, E_c 8, D_p 150 um, layers of 50 um, a great many: 293.070 um (closed form)
    one = side(irradiance_w_m2=40.0, reference_w_m2=40.0, curve_depth_m=150e-6, curve_dose_j_m2=80.0)
    assert printed_through_m(one, 4.0, share=1.0, layer_m=50e-6)[0] * 1e6 == pytest.approx(293.070, rel=3e-6)
    assert printed_through_m(one, 2.0, share=2.0, layer_m=50e-6)[0] * 1e6 == pytest.approx(293.070, rel=3e-6)


def test_a_much_brighter_spot_is_told():
    def risks(brightest):
        bright = Light(irradiance_w_m2=exact(30.0), dimmest=0.9, brightest=brightest)
        plain = Light(irradiance_w_m2=exact(30.0), dimmest=0.9, brightest=1.1)
        return [r.what for r in carried(job(origin=lit(plain, "Wren"), target=lit(bright)), PLATE).risks]

    assert "Holes and undersides may fill in." in risks(1.5)
    assert not any("fill in" in what or "brightest" in what for what in risks(1.15))


def one_exposure(**changes):
    return {"exposure_s": Rule(obeys=Obeys.SHARED, maximum=200.0, step=0.1, **changes)}


def test_one_exposure_for_base_and_body_is_told():
    sheet = carried(job(target=machine("Wagtail", rules=one_exposure())), PLATE)
    risk = next(r for r in sheet.risks if r.what.startswith("The body gets the base's"))
    assert sheet.advice("body.exposure_s").to_value == sheet.advice("base.exposure_s").to_value == 30.0
    assert "where 2.6 s would do" in risk.what
    assert "for all" in risk.do
    assert not any("fill in" in r.what for r in sheet.risks)


def test_one_exposure_that_can_be_changed_live_is_lowered_by_hand():
    sheet = carried(job(target=machine("Wagtail", rules=one_exposure(live=True))), PLATE)
    risk = next(r for r in sheet.risks if r.what.startswith("The body gets the base's"))
    assert "Lower the exposure to 2.6 s by hand once the base is done: from layer 4" in risk.do
    assert risk.layer == 4


def test_separate_exposures_are_not_told():
    assert not any("the base's" in r.what for r in carried(job(target=machine("Wagtail")), PLATE).risks)


def test_table_has_the_ramp_and_what_it_cures():
    # linear between base and body (THE definition of the ramp); depth by Jacobs at the dimmest spot
    sheet = carried(job(), PLATE)
    recipe = recipe_settings()
    share = base_share(recipe, PLATE.layers)
    assert sheet.layers.exposure_s == pytest.approx(2.6 + (30.0 - 2.6) * share)
    assert np.diff(sheet.layers.exposure_s[3:9]) == pytest.approx([-(30.0 - 2.6) / 5] * 5)
    assert (np.diff(sheet.layers.cure_depth_m) <= 1e-12).all()
    assert sheet.layers.cure_depth_m[0] == sheet.layers.cure_depth_m[3]  # all base layers get one dose


def test_why_the_ratio_is_unsure_is_said():
    def said(from_meter, to_meter):
        task = job(origin=lit(sloped(meter=from_meter), "Wren"), target=lit(sloped(27.0, meter=to_meter)))
        return " ".join((*open_questions(task, None), carried(task, PLATE).advice("body.exposure_s").reason))

    assert "do not cancel" in said("red", "blue")
    assert "The light of Wagtail was said" in said("red", "")
    assert "by your meter" in said("red", "red")
    assert "do not cancel" not in said("red", "red")


def test_hours_since_the_reading_are_said():
    task = job(target=lit(sloped(burned_s=3.6e6)))
    assert "The light of Wagtail has shone 1000 h since it was read" in " ".join(open_questions(task, None))


def test_a_map_need_not_be_read_again():
    def texts(light):
        return [r.text for r in readings(job(origin=lit(light, "Wren"), target=lit(light))) if "light" in r.text]

    assert texts(sloped()) == []
    assert texts(Light(irradiance_w_m2=read(30.0), meter="red")) == ["read the light of Wren and Wagtail at nine spots"]
    assert texts(Light(irradiance_w_m2=read(30.0))) == ["read the light of Wren and Wagtail with one meter"]


def curve(kind):
    return WorkingCurve(
        depth_m=Sourced.about(1.5e-4, factor=math.sqrt(7.0), source="kolibaba:2024", kind=kind),
        critical_j_m2=Sourced.about(80.0, factor=math.sqrt(70.0), source="kolibaba:2024", kind=kind),
    )


def test_a_foreign_curve_is_said_to_be_one():
    foreign, own = (resin(cure_readings=(), curve=curve(k)) for k in (Kind.PUBLISHED, Kind.READING))
    assert curve_is_foreign(foreign)
    assert not curve_is_foreign(own)
    assert not curve_is_foreign(resin(curve=curve(Kind.PUBLISHED)))  # its own squares count
    assert "somebody else's" in " ".join(open_questions(job(resin_from=foreign), None))


def test_a_foreign_curve_leaves_the_depth_open_by_twice_dp():
    # E_c known to a factor sqrt 70 moves the depth by D_p ln sqrt 70 = 2.124 D_p (Kolibaba et al. 2024; Jacobs 1992)
    worlds = draw(job(resin_from=resin(cure_readings=(), curve=curve(Kind.STATEMENT))), count=1024)
    low, high = np.quantile(np.log(worlds.origin.curve_dose_j_m2), (0.05, 0.95))
    assert (high - low) / 2.0 == pytest.approx(2.124, rel=0.02)


def test_depth_and_dose_of_a_fitted_curve_go_together():
    belief = curve_belief(resin())
    # squares that scatter leave more of the fit's own correlation beside what all squares share
    scattered = curve_belief(resin(cure_readings=tuple(
        CureReading(dose_j_m2=d, depth_m=x) for d, x in ((50.0, 30e-6), (100.0, 175e-6), (200.0, 210e-6), (400.0, 370e-6))
    )))  # fmt: skip
    assert 0.1 < belief.correlation < scattered.correlation < 1.0
    worlds = draw(job(), count=1024)
    found = np.corrcoef(np.log(worlds.origin.curve_depth_m), np.log(worlds.origin.curve_dose_j_m2))[0, 1]
    assert found == pytest.approx(belief.correlation, abs=0.02)
    assert UNKNOWN_CURVE.correlation == 0.0
