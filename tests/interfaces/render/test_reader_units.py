"""Units the reader reads in: against the definitions of degree Fahrenheit and inch (NIST SP 811, appendix B.8)."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.answers.blocks import Answer, Column, Row, Table, said
from vatwright.interfaces.cli.main import vatwright
from vatwright.interfaces.render.page import answer_page
from vatwright.interfaces.render.reader_units import CUSTOMARY, as_read, reader_units
from vatwright.interfaces.render.terminal import answer_text

ROOM = Answer(
    name="room",
    title="Room of 18 °C",
    blocks=(
        *said("Warm it from 18 °C to 22 °C; the part is 100 mm tall, the lift 4 mm."),
        Table(columns=(Column("what"), Column("how warm")), rows=(Row(("vat", "20 °C")),)),
    ),
)


@pytest.fixture
def customary():
    token = reader_units.set(CUSTOMARY)
    yield
    reader_units.reset(token)


@given(st.integers(-40, 300))
def test_fahrenheit_is_nine_fifths_and_thirty_two(celsius):
    token = reader_units.set(CUSTOMARY)
    try:
        told = int(re.fullmatch(r"(-?\d+) °F", as_read(f"{celsius} °C"))[1])
    finally:
        reader_units.reset(token)
    assert abs(told - (1.8 * celsius + 32.0)) <= 0.5


@given(st.integers(10, 9_999))
def test_an_inch_is_25_4_mm(length_mm):
    token = reader_units.set(CUSTOMARY)
    try:
        inches = float(re.fullmatch(rf"{length_mm} mm \(([\d.]+) in\)", as_read(f"{length_mm} mm"))[1])
    finally:
        reader_units.reset(token)
    assert inches * 25.4 == pytest.approx(length_mm, rel=0.0051)  # three digits


@pytest.mark.parametrize(
    "left",
    ["lift 4 mm", "100 mm/s", "20 mm²", "give or take ± 0.5 °C", "by 5 to 10 C", "150 mm2", "2 m", "5 CC", "0.05 mm"],
)
def test_what_a_machine_takes_and_what_is_no_length_stays(customary, left):
    assert as_read(left) == left


def test_metric_readers_read_what_was_written():
    assert as_read("18 °C, 100 mm") == "18 °C, 100 mm"
    assert "18 C" in answer_text(ROOM)


def test_terminal_and_page_read_alike(customary):
    for shown in (answer_text(ROOM), answer_page(ROOM).replace("\xa0", " ").replace("°", "")):
        for mark in ("Room of 64 F", "from 64 F to 72 F", "100 mm (3.94 in)", "4 mm.", "68 F"):
            assert mark in shown


@pytest.mark.parametrize("told", [["--units", "us"], []])
def test_the_command_says_which(monkeypatch, told):
    monkeypatch.setenv("VATWRIGHT_UNITS", "us")
    token = reader_units.set("metric")
    try:
        assert vatwright.main([*told, "calc", "--list"], standalone_mode=False) in {0, None}
        assert reader_units.get() == CUSTOMARY
    finally:
        reader_units.reset(token)
