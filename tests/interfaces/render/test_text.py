import re

import pytest
from tests.interfaces.render.sample_sheet import (
    HOSTILE_TERMINAL,
    bare_sheet,
    cite,
    crowded_sheet,
    sample_sheet,
    sample_study,
)

from vatwright.answers.study import study_answer
from vatwright.interfaces.render.carry_csv import layers_csv
from vatwright.interfaces.render.carry_text import COLUMNS, SCREEN_LINES, carry_text, visits_text
from vatwright.interfaces.render.terminal import answer_text

SHEETS = pytest.mark.parametrize("make", [sample_sheet, crowded_sheet, bare_sheet])
ESCAPES = re.compile(r"\x1b\[\d+m")


@SHEETS
def test_no_line_is_over_100_columns(make):
    for text in (
        carry_text(make(), colour=False, cite=cite),
        visits_text(make()),
        answer_text(study_answer(sample_study(), title="x" * 300), width=COLUMNS),
    ):
        assert max(map(len, text.splitlines())) <= COLUMNS


@SHEETS
def test_the_answer_fits_one_screenful(make):
    first = carry_text(make(), colour=False, cite=cite).split("\nA range in brackets")[0]
    assert len(first.splitlines()) <= SCREEN_LINES


def test_the_first_screenful_follows_the_order_of_a_ledger():
    first = carry_text(sample_sheet(), colour=False, cite=cite).split("\nA range in brackets")[0]
    marks = [
        "harbour lanterns, 24 pieces",
        "Will hold",
        "7 h 10 min for all 24",
        "does it obey?",
        "45 s (33-61)",
        "Keep  ",
        "By hand",
        "10:40 30 s",
        "Watch",
        "Know more",
    ]
    places = [first.index(m) for m in marks]
    assert places == sorted(places)


def test_every_setting_is_in_the_first_screenful_once():
    first = carry_text(sample_sheet(), colour=False, cite=cite).split("\nA range in brackets")[0]
    words = " ".join(first.split())
    assert "base peel lift 4 mm" in words
    assert "shares body's" in words
    assert "shares base's" in words


def test_colour_changes_no_word_and_is_only_there_when_asked():
    with_colour = carry_text(sample_sheet(), colour=True, cite=cite)
    without = carry_text(sample_sheet(), colour=False, cite=cite)
    assert "\x1b" not in without
    assert ESCAPES.sub("", with_colour) == without
    assert len(ESCAPES.findall(with_colour)) == 4


def test_a_name_cannot_steer_the_terminal():
    text = carry_text(sample_sheet(job=HOSTILE_TERMINAL), colour=False, cite=cite)
    assert "\x1b" not in text
    assert text.splitlines()[0].startswith("lid [2J second line")


def test_plain_ascii_apart_from_what_others_wrote():
    assert carry_text(sample_sheet(), colour=False, cite=lambda key: key).isascii()


def test_no_exclamation_mark_of_our_own():
    assert "!" not in carry_text(sample_sheet(), colour=False, cite=cite)


def test_sources_are_cited_once():
    text = carry_text(sample_sheet(), colour=False, cite=cite)
    assert text.count("[stefan:1874]") == 1
    assert "die scheinbare" in text


def test_visits_say_when_what_and_how_late():
    text = visits_text(sample_sheet())
    assert re.search(r"10:40 +settle +30 s +from layer 140 +4 min late, 20 s early", text)
    assert re.search(r"33:00 +settle +4\.5 s +from layer 420 +late only costs time", text)
    assert "nothing to do by hand" in visits_text(bare_sheet())


def test_a_schedule_that_does_not_cover_says_so():
    assert "does not give every layer" in visits_text(crowded_sheet())


def test_study_names_the_peak_and_the_trouble():
    text = " ".join(answer_text(study_answer(sample_study(), title="harbour lanterns"), width=80).split())
    assert text.startswith("harbour lanterns")
    assert "1,300 layers of 0.05 mm" in text
    assert "1 fresh island" in text
    assert "layers 500 to 640, 4.20 ml" in text


def test_csv_has_a_row_a_layer_and_reads_back():
    sheet = sample_sheet()
    lines = layers_csv(sheet).split("\r\n")
    assert lines.pop() == ""  # RFC 4180 section 2: every record may end in CRLF
    head = lines[0].split(",")
    assert len(lines) == 1 + len(sheet.layers.clock_s)
    row = dict(zip(head, lines[413].split(","), strict=True))
    assert row["layer"] == "412"
    assert float(row["thickness_um"]) == pytest.approx(sheet.layers.thickness_m[412] * 1e6, rel=1e-9)
    assert float(row["area_mm2"]) == pytest.approx(sheet.layers.area_m2[412] * 1e6, rel=1e-9)
