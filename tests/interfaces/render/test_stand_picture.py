"""The pictures of ways to stand, and the first line in words."""

from __future__ import annotations

import re

import numpy as np
import pytest
from attrs import evolve
from defusedxml import ElementTree

from vatwright.answers.stand import stand_answer, stand_lead
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.render.pictures.gallery import pictures_of
from vatwright.interfaces.render.pictures.stand import _runs
from vatwright.interfaces.render.terminal import answer_text
from vatwright.records.stand import Portrait, StandSheet, Way

SQUARE = (np.array([[0.0, 0.0], [0.02, 0.0], [0.02, 0.02], [0.0, 0.02]]),)
DRAWN = Way(
    tilt_deg=0.0, turn_deg=0.0, height_m=0.045, layers=900, supports_m2=0.0, pockets=2, pieces=12, to_s=32400.0,
    body_settle_s=14.0, pull_n=12.0, mean=0.93,
    portrait=Portrait(front=np.ones((40, 20), dtype=np.int8), cell_m=0.001, plan_m=SQUARE),
)  # fmt: skip
TILTED = evolve(
    DRAWN, tilt_deg=20.0, height_m=0.052, layers=1040, supports_m2=3.2e-4, pockets=0, to_s=19200.0, body_settle_s=4.0,
)  # fmt: skip


def sheet(*ways, advice=0):
    return StandSheet(
        part="vase.stl", count=1, machine="Wren", resin="slate", recipe="slate on Wren", layer_nm=50_000, ways=ways,
        advice=advice, looked_at=204,
    )  # fmt: skip


def test_the_first_line_says_what_to_do_and_what_it_changes():
    assert stand_lead(sheet(DRAWN, TILTED, advice=1)) == (
        "Tilt it 20 degrees about x, rear side up: body settle 14 s → 4.0 s, 9 h → 5 h 20 min, 2 sealed pockets drain, "
        "7.0 mm taller, supports 0 mm² → 320 mm²."
    )
    assert stand_lead(sheet(DRAWN, TILTED)).startswith("Leave it as drawn: 9 h,")


def test_a_part_that_will_not_hold_however_it_stands_is_said_to_be_carried():
    poor = [evolve(way, mean=0.1) for way in (DRAWN, TILTED)]
    words = "It is unlikely to hold (10 %) however it stands"
    assert words in answer_text(stand_answer(sheet(*poor, advice=1)), width=100)
    assert words not in answer_text(stand_answer(sheet(DRAWN, TILTED, advice=1)), width=100)


@pytest.mark.parametrize("width", [60, 80, 100])
def test_no_line_of_the_text_is_wider_than_the_terminal(width):
    text = answer_text(stand_answer(sheet(DRAWN, TILTED, advice=1)), width=width, whole=True)
    assert max(map(len, text.splitlines())) <= width


def test_what_does_not_fit_is_said_first():
    tall = evolve(DRAWN, to_s=None, body_settle_s=None, pull_n=None, mean=None)
    assert stand_lead(sheet(tall)).startswith("Split it, or take a larger machine")
    assert "as drawn it does not fit Wren" in stand_lead(sheet(tall, TILTED, advice=1))
    assert "does not fit" in answer_text(stand_answer(sheet(tall, TILTED, advice=1)))


def test_each_way_has_a_picture_on_one_scale_that_is_sound_markup():
    pictures = list(pictures_of(stand_answer(sheet(DRAWN, TILTED, advice=1))))
    assert [p.slug for p in pictures] == ["stand-way-0", "stand-way-1"]
    scales = set()
    for picture in pictures:
        assert ElementTree.fromstring(picture.picture).tag.endswith("svg")
        scales |= set(re.findall(r"scale\(([\d.]+)", picture.picture))
    assert len(scales) == 1
    page = answer_page(stand_answer(sheet(DRAWN, TILTED, advice=1)))
    assert page.count("<svg") == 2


def test_runs_cover_just_their_cells():
    cells = np.random.default_rng(3).random((17, 23)) < 0.4
    drawn = np.zeros_like(cells)
    for x, y, length in re.findall(r"M(\d+) (\d+)h(\d+)v1h-\d+z", _runs(cells)):
        drawn[int(y), int(x) : int(x) + int(length)] = True
    assert (drawn == cells).all()
