"""A sheet in German: on the terminal, as a page and as data, with numbers as DIN 5008 has them (decimal comma)."""

from __future__ import annotations

import pickle
import re
from datetime import UTC, datetime

import pytest
from tests.interfaces.render.sample_sheet import cite, sample_sheet
from tests.interfaces.render.shown import carry_html, carry_pdf, carry_text

from vatwright.answers.numbers import celsius, duration, fixed, typed
from vatwright.files.answer_cache import keep_answer, recall_answer
from vatwright.interfaces.render.carry_json import carry_json
from vatwright.interfaces.render.reader_units import as_read, reader_units
from vatwright.wording import day, in_language, moment, say, say_many, to_join, to_say, to_say_many

SHORT = to_say_many(2, "{n} sealed pocket", "{n} sealed pockets")


@pytest.fixture
def german():
    with in_language("de"):
        yield


@pytest.mark.usefixtures("german")
def test_the_terminal_speaks_german_with_a_decimal_comma():
    text = carry_text(sample_sheet(), cite=cite)
    for word in ("Absetzzeit", "Von Hand", "Chance, dass es gelingt", "Warum welcher Wert?", "Quellen"):
        assert word in text
    assert re.search(r"\d,\d s", text)
    for word in ("In brackets", "Chance that", "Why each", "By hand", "because", "Sources", "Take care"):
        assert word not in text


@pytest.mark.usefixtures("german")
def test_a_page_says_its_language():
    assert '<html lang="de">' in carry_html(sample_sheet(), cite=cite)


@pytest.mark.usefixtures("german")
def test_paper_is_made_in_german():
    assert carry_pdf(sample_sheet(), cite=cite).startswith(b"%PDF")


def test_data_never_change_with_the_language(german):
    there = carry_json(sample_sheet(), cite=cite)
    with in_language("en"):
        assert carry_json(sample_sheet(), cite=cite) == there


@pytest.mark.usefixtures("german")
def test_numbers_and_days_are_in_the_readers_form():
    assert fixed(1299.96, 1) == "1.300,0"
    assert typed(0.05) == "0,05"
    assert celsius(294.65) == "21,5 °C"
    assert duration(4.26) == "4,3 s"
    assert moment(datetime(2026, 5, 4, 18, 30, tzinfo=UTC)) == "04.05.2026 18:30"
    assert day(datetime(2026, 5, 4, tzinfo=UTC)) == "04.05.2026"


@pytest.mark.usefixtures("german")
def test_fahrenheit_is_worked_out_from_numbers_as_they_are_written():
    before = reader_units.set("us")
    try:
        assert as_read("21,5 °C") == "70,7 °F"  # 9/5 C + 32, exact by definition
    finally:
        reader_units.reset(before)


def test_what_is_kept_is_english_and_can_be_said_again(tmp_path):
    risk = to_say(
        "At layer {n} ({n_2:.1f} mm) {cause}; it {cures}{bowed}.", n=3, n_2=1.25, cause=SHORT, cures="", bowed=""
    )
    assert risk.startswith("At layer 3 (1.2 mm) 2 sealed pockets")
    keep_answer(tmp_path, "told", "one", (risk,))
    for kept in (risk, pickle.loads(pickle.dumps(risk)), recall_answer(tmp_path, "told", "one")[0]):  # noqa: S301
        with in_language("de"):
            assert say(kept).startswith("Bei Schicht 3 (1,2 mm) 2 geschlossene Hohlräume")


@pytest.mark.usefixtures("german")
def test_a_count_decides_the_form():
    assert say_many(1, "{n} layer", "{n} layers") == "1 Schicht"
    assert say_many(1300, "{n} layer", "{n} layers") == "1.300 Schichten"
    assert say(SHORT) == "2 geschlossene Hohlräume"
    assert say(to_join((to_say("half"), SHORT), ", ")) == "die Hälfte, 2 geschlossene Hohlräume"


def test_a_template_reaches_no_further_than_its_places():
    with pytest.raises(KeyError):
        to_say("{part.__class__}", part="lid")


@pytest.mark.usefixtures("german")
def test_what_has_no_translation_is_said_in_english():
    assert say("No catalogue has this.") == "No catalogue has this."
