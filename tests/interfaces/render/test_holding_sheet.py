"""Holding on the sheet: words, picture, data and pages; what is said must be what the record holds."""

from __future__ import annotations

import json
import math
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from attrs import evolve
from jsonschema import Draft202012Validator
from tests.interfaces.render.sample_sheet import HOSTILE_HTML, HOSTILE_TERMINAL, cite, sample_sheet
from tests.interfaces.render.shown import carry_html, carry_pdf, carry_text

from vatwright.answers.holding import (
    bend_words,
    holding_answer,
    holding_lines,
    place_words,
)
from vatwright.interfaces.render.carry_json import DECLARED, carry_json
from vatwright.interfaces.render.data import as_data
from vatwright.interfaces.render.pictures.holding import holding_by_height
from vatwright.records.holding import BendPlace, Holding, HoldingProfile, WeakPlace

QUESTION = "Do the pieces hold on to the platform"


def holding(part="lantern", **changes) -> Holding:
    """An invented answer: plausible numbers, none computed."""
    height = np.arange(200) * 50e-6
    capacity = np.where(np.abs(height - 0.0062) < 1e-4, 12.0, 90.0)
    place = WeakPlace(
        part=part, alike=20, layer=124, height_m=0.0062, x_m=0.01, y_m=-0.02, section_m2=2.4e-6, pull_n=0.38,
        margin=31.4, low=8.2, high=120.0,
    )  # fmt: skip
    whole = {
        "low": 0.81, "mean": 0.93, "high": 0.98, "tear_chance": 0.05, "peel_chance": 0.02, "weakest": place,
        "foot": evolve(place, layer=0, height_m=0.0, section_m2=9.1e-4),
        "bend": BendPlace(
            part=part, layer=30, height_m=0.0015, x_m=0.0, y_m=0.0, stress_pa=4.1e5, strength_pa=5.0e6, margin=12.2
        ),
        "profile": HoldingProfile(
            part=part, height_m=height, capacity_n=capacity, capacity_low_n=capacity / 3.0, capacity_high_n=capacity * 3.0,
            demand_n=np.full(200, 0.38), demand_high_n=np.full(200, 0.95),
        ),
        "detached": 0, "proof_counts": True, "assumed": ("Nobody tested how strong slate is.",), "sources": ("rivlin:1944",),
    }  # fmt: skip
    return Holding(**whole | changes)


@pytest.fixture(scope="module")
def sheet():
    return evolve(sample_sheet(), holding=holding())


def test_the_answer_comes_first_with_its_range():
    assert holding_answer(holding()).endswith("93 % (81–98 %).")  # noqa: RUF001
    lines = holding_lines(holding())
    assert "93 %" in lines[0]
    assert "does not count this in" in lines[0]
    assert "the lantern at 6.2 mm (layer 124)" in lines[1]
    assert "on the platform" in lines[2]
    assert lines[-1] == "Nobody tested how strong slate is."


def test_no_false_digits_and_a_unit_beside_every_number():
    told = place_words(holding().weakest)
    assert "2.4 mm²" in told
    assert "0.38 N" in told
    assert "31 times (8.2–120)" in told  # noqa: RUF001
    assert "0.41 MPa of about 5.0 MPa" in bend_words(holding().bend)


def test_islands_that_hang_on_nothing_and_a_silent_proof_are_said():
    told = " ".join(holding_lines(holding(detached=3, proof_counts=False)))
    assert "3 islands hang on nothing" in told
    assert "no proven run tells about it" in told


def test_text_has_it_below_and_keeps_its_width(sheet):
    text = carry_text(sheet, cite=cite)
    assert QUESTION in text
    assert max(map(len, text.splitlines())) <= 100
    assert text.isascii() or all(ord(c) < 0x2000 for c in text)
    assert QUESTION not in carry_text(sample_sheet(), cite=cite)


def test_a_part_with_a_hostile_name_steers_nothing():
    text = carry_text(evolve(sample_sheet(), holding=holding(HOSTILE_TERMINAL)), cite=cite)
    assert "\x1b" not in text
    page = carry_html(evolve(sample_sheet(), holding=holding(HOSTILE_HTML)), cite=cite)
    assert HOSTILE_HTML not in page


def test_page_shows_words_picture_and_data(sheet):
    page = carry_html(sheet, cite=cite)
    assert f"{QUESTION}?" in page
    assert page.count('id="holding"') == 1
    assert "weakest, 6.2 mm" in page
    assert QUESTION not in carry_html(sample_sheet(), cite=cite)


def test_pdf_is_made_with_and_without_it(sheet):
    with_it, without = (carry_pdf(s, cite=cite) for s in (sheet, sample_sheet()))
    assert with_it.startswith(b"%PDF")
    assert len(with_it) > len(without)


def test_picture_is_well_formed_and_marks_the_weakest_height():
    figure = holding_by_height(holding())
    root = ET.fromstring(figure.picture)  # noqa: S314 - our own
    assert root.attrib["role"] == "img"
    assert "weakest at 6.2 mm" in figure.title
    heights = [float(row[0]) for row in figure.rows]
    assert 6.2 in heights
    assert heights == sorted(heights)
    lowest = min(figure.rows, key=lambda row: float(row[1].replace(",", "")))
    assert float(lowest[0]) == pytest.approx(6.2, abs=0.11)
    assert "of 200 layers" in figure.note


def test_picture_survives_a_piece_of_one_layer_and_no_pull():
    one = HoldingProfile(
        part="speck", height_m=np.zeros(1), capacity_n=np.array([5.0]), capacity_low_n=np.array([2.0]),
        capacity_high_n=np.array([9.0]), demand_n=np.zeros(1), demand_high_n=np.zeros(1),
    )  # fmt: skip
    figure = holding_by_height(holding(profile=one))
    assert "nan" not in figure.picture.lower().replace("nanm", "")
    ET.fromstring(figure.picture)  # noqa: S314 - our own


def test_data_say_what_the_record_holds(sheet):
    data = json.loads(json.dumps(carry_json(sheet, cite=cite), allow_nan=False))["holding"]
    assert data["chance"] == {"low": 0.81, "mean": 0.93, "high": 0.98}
    assert data["weakest"]["section_mm2"] == pytest.approx(2.4)
    assert data["weakest"]["height_mm"] == pytest.approx(6.2)
    assert [data["weakest"][k] for k in ("low", "margin", "high")] == [8.2, 31.4, 120.0]
    assert data["bend"]["stress_MPa"] == pytest.approx(0.41)
    assert {len(v) for k, v in data["profile"].items() if k != "part"} == {200}
    assert carry_json(sample_sheet(), cite=cite)["holding"] is None


def test_what_is_not_finite_is_null():
    odd = holding(weakest=evolve(holding().weakest, margin=math.inf))
    assert as_data(odd, DECLARED)["weakest"]["margin"] is None


def test_data_keep_to_the_published_schema(sheet):
    schemas = Path(__file__).parents[3] / "docs" / "schemas"
    whole = json.loads((schemas / "carry-1.schema.json").read_text(encoding="utf-8"))
    described = whole["properties"]["holding"]
    data = as_data(holding(), DECLARED)
    assert not list(Draft202012Validator(described).iter_errors(data))
    assert set(data) == set(described["properties"])
    for place in ("weakest", "foot", "bend"):
        assert set(data[place]) == set(described["properties"][place]["properties"])
