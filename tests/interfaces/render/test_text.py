import re

import pytest
from attrs import evolve
from tests.interfaces.render.sample_sheet import (
    HOSTILE_TERMINAL,
    bare_sheet,
    cite,
    crowded_sheet,
    sample_sheet,
    sample_study,
)
from tests.interfaces.render.shown import carry_text

from vatwright.answers.carry import carry_answer
from vatwright.answers.hands import visits_answer
from vatwright.answers.numbers import plain
from vatwright.answers.settings import one_reason, setting_called, setting_rows
from vatwright.answers.study import study_answer
from vatwright.interfaces.render.carry_csv import layers_csv
from vatwright.interfaces.render.terminal import NARROWEST, WIDEST, answer_text, blocks_text, parts_text
from vatwright.records.process import SETTING_NAMES

SHEETS = pytest.mark.parametrize("make", [sample_sheet, crowded_sheet, bare_sheet])
ESCAPES = re.compile(r"\x1b\[\d+m")


@SHEETS
@pytest.mark.parametrize("width", [NARROWEST, 80, WIDEST])
def test_no_line_is_wider_than_the_terminal(make, width):
    for text in (
        carry_text(make(), cite=cite, width=width),
        answer_text(visits_answer(make()), width=width),
        answer_text(study_answer(sample_study(), title="x" * 300), width=width),
    ):
        assert max(map(len, text.splitlines())) <= width


@pytest.mark.parametrize("make", [sample_sheet, bare_sheet, lambda: evolve(crowded_sheet(), verdict="Will not hold.")])
def test_the_answer_fits_one_screenful(make):
    first = carry_text(make(), cite=cite, whole=False)
    assert len(first.splitlines()) <= 40
    assert "..." not in first or make().job not in first  # a name that fills lines may be cut, nothing else


def test_the_first_screenful_follows_the_order_of_a_ledger():
    first = carry_text(sample_sheet(), cite=cite, whole=False)
    marks = (
        "harbour lanterns, 24 pieces, to Albatross", "Will hold", "Chance that it holds: 93 %", "7 h 10 min for all 24",
        "set   ", "settle, by hand", "45 s (30 s)", "4.5 s (2 s)", "All else stays as there.", "By hand", "45 s",
        "at 10:40 to 30 s", "Watch", "Level the rear left", "Layer 412", "Measure", "5 kg", "Take care",
    )  # fmt: skip
    at = 0
    for mark in marks:
        at = first.index(mark, at)


def test_only_what_changes_or_is_not_obeyed_is_on_the_first_screen():
    first = carry_text(sample_sheet(), cite=cite, whole=False)
    assert "soak, not obeyed" in first
    assert "return speed" not in first
    rest = " ".join(carry_text(sample_sheet(), cite=cite).split())
    assert "base return speed 3 mm/s" in rest


@SHEETS
def test_every_setting_has_its_value_in_the_reasons(make):
    said = " ".join(parts_text([carry_answer(make(), cite=cite).page("why")]).split())
    for row in setting_rows(make()):
        assert row.label in said
        assert plain(row.text_to) in said


def test_one_setting_alone_says_why_how_sure_and_where_from():
    sheet = sample_sheet()
    assert setting_called("base settle", sheet) == "base.settle_s"
    assert setting_called("settle", sheet) == "body.settle_s"
    assert setting_called("base.settle_s", sheet) == "base.settle_s"
    said = " ".join(blocks_text(one_reason(sheet, "base.settle_s", cite=cite)).split())
    for mark in ("30 s on Wren, 45 s (33-61) on Albatross", "2.2 times the area", "one value for base and body, by hand",
                 "Least sure here: the stiffness", "[stefan:1874]"):  # fmt: skip
        assert mark in said


def test_no_key_of_a_file_is_shown_to_a_person():
    said = carry_text(sample_sheet(), cite=cite)
    assert not [name for name in SETTING_NAMES if "." in name and name in said]


def test_colour_changes_no_word_and_is_only_there_when_asked():
    with_colour = carry_text(sample_sheet(), colour=True, cite=cite)
    without = carry_text(sample_sheet(), cite=cite)
    assert "\x1b" not in without
    assert ESCAPES.sub("", with_colour) == without
    assert 2 <= len(ESCAPES.findall(with_colour)) <= 6


def test_a_name_cannot_steer_the_terminal():
    text = carry_text(sample_sheet(job=HOSTILE_TERMINAL), cite=cite)
    assert "\x1b" not in text
    assert text.splitlines()[0].startswith("lid [2J second line")


def test_plain_ascii_apart_from_what_others_wrote():
    assert carry_text(sample_sheet(), cite=lambda key: key).isascii()


def test_no_exclamation_mark_of_our_own():
    assert "!" not in carry_text(sample_sheet(), cite=cite)


def test_sources_are_cited_once():
    text = carry_text(sample_sheet(), cite=cite)
    assert text.count("[stefan:1874]") == 1
    assert "die scheinbare" in text


def _visits(sheet):
    return answer_text(visits_answer(sheet), width=100)


def test_visits_say_when_what_and_how_late():
    text = _visits(sample_sheet())
    assert re.search(r"10:40 +settle +30 s +from layer 140 +at most 4 min late; at most 20 s early", text)
    assert re.search(r"33:00 +settle +4\.5 s +from layer 420 +late only costs time", text)
    assert "Nothing to do by hand" in _visits(bare_sheet())


def test_a_schedule_that_does_not_cover_says_so():
    assert "does not give every layer" in _visits(crowded_sheet())


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
