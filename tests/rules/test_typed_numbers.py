"""A typed number is read in one place; the expected values are arithmetic and the SI brochure's way of writing numbers.

BIPM, SI brochure (2019), section 5.4.4: the decimal marker is the point or the comma, and groups of three digits may stand
apart by a thin space.  Commas between groups are common practice in English, no source.
"""

from __future__ import annotations

import re
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.errors import InputError
from vatwright.units import BENCH_UNITS, parse_quantity, read_number

MINUS = "\N{MINUS SIGN}"


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("12", "mm", "12"), ("-2.5", "mm", "-2.5"), (f"{MINUS}2.5", "mm", "-2.5"), ("+.5", "mm", "0.5"), ("5.", "mm", "5"),
        ("1e3", "mm", "1000"), (f"1.5e{MINUS}3", "mm", "0.0015"), ("1,200.5", "mm", "1200.5"), ("1,234,567", "mm", "1234567"),
        ("1.200,5", "mm", "1200.5"), ("18,5", "C", "18.5"), ("0,200", "mm", "0.2"), ("1\u202f200.5", "mm", "1200.5"),
        ("1 200", "mm", "1200"), ("6 mm", "mm", "6"), ("6mm", "um", "6000"), ("0,6 cm", "mm", "6"), ("1 in", "mm", "25.4"),
        ("90 s", "min", "1.5"), ("18 \N{DEGREE SIGN}C", "C", "18"), ("50 %", "percent", "50"),
        ("64.4 F", "C", "18"), ("-40 \N{DEGREE SIGN}F", "C", "-40"), ("3", "", "3"),  # NIST SP 811, appendix B.8
    ],
)  # fmt: skip
def test_what_a_person_may_type(text, unit, value):
    assert read_number(text, "here", unit) == Decimal(value)
    assert parse_quantity(text, unit, "here") == float(value)


@pytest.mark.parametrize(
    ("text", "unit", "told"),
    [
        ("1,200", "mm", "'1,200' may be 1.2 or 1200"), ("12,000 mm", "mm", "may be 12 or 12000"),
        ("1.2.3", "mm", "is not a number"), ("1,2,3", "mm", "is not a number"), ("wide", "mm", "is not a number"),
        ("", "mm", "is not a number"), ("1,,5", "mm", "is not a number"), ("nan", "mm", "not a finite number"),
        (f"{MINUS}inf", "mm", "not a finite number"), ("1e999", "mm", "not a finite number"),
        ("6 kg", "mm", "a length is wanted"),
        ("6 furlongs", "mm", "a unit this tool does not know"), ("290 K", "C", "is no temperature"),
        ("3 mm", "", "is not a number"),
        ("9" * 70, "mm", "is not a number"),
    ],
)  # fmt: skip
def test_what_is_refused_in_a_sentence(text, unit, told):
    with pytest.raises(InputError, match=re.escape(told)) as error:
        read_number(text, "here", unit)
    assert error.value.mistakes[0].where == "here"
    assert error.value.mistakes[0].do


def test_a_count_is_whole():
    assert read_number("1e1", "here", whole=True) == 10
    with pytest.raises(InputError, match="is not a whole number"):
        read_number("4.5", "here", whole=True)


@given(st.decimals(allow_nan=False, allow_infinity=False, places=6, min_value=-(10**9), max_value=10**9))
def test_every_way_of_writing_one_number_is_read_as_it(number):
    plain = f"{number:f}"
    grouped = f"{number:,f}"
    ways = {
        plain,
        plain.replace("-", MINUS),
        plain.replace(".", ","),
        grouped,
        grouped.replace(",", "\u202f"),
        f"{number:e}",
    }
    assert {read_number(way, "here", "mm") for way in ways} == {number}


@given(
    st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=1, max_value=10**6),
    st.sampled_from(sorted(BENCH_UNITS)),
)
def test_a_unit_of_its_own_changes_nothing(number, unit):
    spelling = BENCH_UNITS[unit].spellings[0]
    assert read_number(f"{number} {spelling}", "here", unit) == number


def test_nothing_else_reads_what_was_typed():
    """Whoever turns a comma into a point by itself has a second reader."""
    second = re.compile(r"""replace\(["'],["'], ["']\.["']\)""")
    found = [
        str(p)
        for p in Path("src/vatwright").rglob("*.py")
        if p.name != "units.py" and second.search(p.read_text("utf-8"))
    ]
    assert found == []
