"""The carry sheet's resin at hand and what comes after the print, as text, page, data and PDF."""

from __future__ import annotations

import subprocess

import pytest
from attrs import evolve
from tests.interfaces.render.sample_sheet import sample_sheet
from tests.interfaces.render.shown import carry_html, carry_pdf, carry_text
from tests.journeys.published_json import all_finite, mistakes

from vatwright.answers.after import after_lines, resin_lines
from vatwright.interfaces.render.carry_json import carry_json
from vatwright.records.after import (
    AfterPlan,
    AirLimit,
    AirPlan,
    AroundPrint,
    BathPlan,
    BottlePlan,
    CureDose,
    PieceFit,
    Span,
)

LIMIT = AirLimit(what="8 h average", fraction=400e-6, source="niosh:2007")


def cite(key):
    return f"citation of {key}"


def fit(piece, *, fits=True, covered=True, at_once=20):
    return PieceFit(
        piece=piece, station="tub", kind="wash", fits=fits, how="as printed", covered=covered, at_once=at_once
    )


def air(steady):
    low = AirLimit(what="lower limit", fraction=0.02, source="iec:2010")
    return AirPlan(
        solvent="isopropanol", evaporation_kg_s=Span(low=1e-5, value=2e-5, high=4e-5), read=False,
        steady=Span(low=steady / 3, value=steady, high=3 * steady), limits=(LIMIT,), limit=LIMIT,
        fresh_air_m3_s=Span(low=0.05, value=0.1, high=0.2), headspace=0.038, flammable=(low,),
        flash_k=((285.15, "iec:2010"),), room_k=293.15, spill=0.08,
    )  # fmt: skip


def around(*, fits, steady=1e-3, enough=True, warm_s=8400.0):
    bath = BathPlan(
        station="tub", solvent="isopropanol", bath_m3=8e-3, carried_m3=Span(low=5e-6, value=1e-5, high=4e-5),
        after_job=Span(low=1e-3, value=2e-3, high=4e-3), limit=Span(low=0.1, value=0.15, high=0.2), limit_said=False,
        batches=Span(low=24.0, value=131.0, high=370.0), density_new_kg_m3=785.0, density_spent_kg_m3=835.0,
        second_share=0.01,
    )  # fmt: skip
    after = AfterPlan(
        fits=fits, baths=(bath,), air=(air(steady),),
        cure=(CureDose(station="lamp", irradiance_w_m2=60.0, time_s=720.0, dose_j_m2=43_200.0),),
    )  # fmt: skip
    warm = Span(low=warm_s * 0.75, value=warm_s, high=warm_s * 1.8)
    bottle = BottlePlan(
        resin="slate", wanted_m3=2.7e-4, pour_m3=6.9e-4, pool_m3=4.2e-4, left_m3=5.6e-3 if enough else 3e-4,
        lots=(("January", 6.4e-4, False),), enough=enough, warm_bottle_s=warm, warm_vat_s=warm, stir_s=warm, sources=(),
    )  # fmt: skip
    return AroundPrint(bottle=bottle, after=after)


@pytest.fixture(scope="module")
def sheet():
    return evolve(sample_sheet(), around=around(fits=(fit("lantern"), fit("cup", at_once=36))))


def test_every_kind_of_sheet_says_it(sheet):
    text = " ".join(carry_text(sheet, cite=cite).split())
    page = carry_html(sheet, cite=cite).replace("\N{NO-BREAK SPACE}", " ")
    words = subprocess.run(
        ["pdftotext", "-", "-"], input=carry_pdf(sheet, cite=cite), capture_output=True, check=True
    ).stdout.decode()  # fmt: skip
    for said in (text, page, " ".join(words.replace("\N{NO-BREAK SPACE}", " ").split())):
        for needle in (
            "After the print",
            "enough for the order and the pool",
            "too little to fill the vat for the first plate",
            "Every kind of piece goes into tub and stays covered, 20 to 36 of a kind at once",
            "takes about 131 plates like these (24 to 370)",
            "1,000 ppm of isopropanol, above 400 ppm",
            "can burn",
            "4.3 J/cm",
        ):
            assert needle in said, needle
    data = carry_json(sheet, cite=cite)
    assert mistakes(data, "carry-1") == []
    assert all_finite(data)
    assert data["around"]["bottle"]["enough"] is True
    assert data["around"]["after"]["fits"][1]["at_once"] == 36


def test_a_sheet_without_the_shops_stock_is_silent():
    bare = sample_sheet()
    assert resin_lines(bare) == after_lines(bare) == ()
    assert "After the print" not in carry_text(bare, cite=cite)
    assert carry_json(bare, cite=cite)["around"] is None


def test_what_does_not_fit_or_is_not_covered_comes_first():
    fits = (fit("mast", fits=False, covered=None, at_once=0), fit("hull", covered=False), fit("cup"))
    said = after_lines(evolve(sample_sheet(), around=around(fits=fits)))
    assert said[0].startswith("mast does not fit into tub")
    assert "hull goes into tub as printed, 20 at once, but the bath does not cover it" in said[0]
    assert "cup" not in said[0]


def test_air_below_the_limit_is_not_warned_of_but_fire_is():
    said = " ".join(after_lines(evolve(sample_sheet(), around=around(fits=(fit("cup"),), steady=1e-4))))
    assert "keep the lid on" not in said
    assert "can burn" in said


def test_times_of_an_order_of_magnitude_have_no_false_minutes():
    """2 h 20 min is 8,400 s; its ends are told to five minutes, hours from five on to the half."""
    said = " ".join(resin_lines(evolve(sample_sheet(), around=around(fits=(fit("cup"),), warm_s=8432.0))))
    assert "2 h 20 min (1 h 45 min to 4 h 15 min)" in said
    late = " ".join(resin_lines(evolve(sample_sheet(), around=around(fits=(fit("cup"),), warm_s=30_600.0))))
    assert "8 h 30 min (6 h 30 min to 15 h 30 min)" in late
