"""Numbers out of text: Python's own float is the reference, bit for bit."""

from __future__ import annotations

import struct

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from vatwright.files.parts.text import all_numbers, line_of


def bits(values):
    return [struct.pack("<d", v) for v in values]


def scanned(words):
    values, bad = all_numbers(np.frombuffer(" ".join(words).encode(), dtype=np.uint8))
    return values.tolist(), bad


@given(st.lists(st.floats(allow_nan=False).map(repr), min_size=1))
def test_the_shortest_spelling_of_every_double_comes_back_bit_for_bit(words):
    values, bad = scanned(words)
    assert bits(values) == bits(map(float, words))
    assert not bad


@given(st.lists(st.from_regex(r"\A[+-]?([0-9]{1,22}\.?[0-9]{0,22}|\.[0-9]{1,22})([eE][+-]?[0-9]{1,3})?\Z"), min_size=1))
def test_any_decimal_spelling_gives_the_bits_python_gives(words):
    values, bad = scanned(words)
    assert bits(values) == bits(map(float, words))
    assert not bad


@pytest.mark.parametrize(
    "word", ["1,5", "1e", "e5", ".", "-", "+-1", "1.2.3", "0x10", "1_000", "-1.#IND", "1e+", "--1", "\xff"]
)
def test_what_is_no_number_is_named(word):
    values, bad = scanned(["7", word, "8"])
    assert values[0] == 7
    assert values[2] == 8
    assert [(slot, start) for slot, start, _ in bad] == [(1, 2)]


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_lines_are_counted_in_every_convention(newline):
    data = np.frombuffer(newline.join("abcd").encode(), dtype=np.uint8)
    assert line_of(data, data.tolist().index(ord("c"))) == 3
