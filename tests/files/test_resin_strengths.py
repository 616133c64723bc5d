"""Strengths of a resin in a shop file: read, refused, written back."""

from __future__ import annotations

import pytest
from tests.planning.workshop import shop_of

from vatwright.errors import InputError
from vatwright.files.write import write_shop
from vatwright.records.sourced import Kind


def resin_of(text, folder):
    return shop_of(f'[[resin]]\nname = "slate"\n{text}', folder).resins[0]


def test_no_strength_is_none(tmp_path):
    found = resin_of("", tmp_path)
    assert found.green_strength_pa is None
    assert found.base_bond_pa is None


def test_bare_numbers_are_statements_with_a_range_of_their_own(tmp_path):
    found = resin_of("green_strength_MPa = 12\nbase_bond_MPa = 0.8\n", tmp_path)
    assert found.green_strength_pa.value == pytest.approx(12e6)
    assert found.base_bond_pa.value == pytest.approx(0.8e6)
    assert found.green_strength_pa.kind is Kind.STATEMENT
    assert found.green_strength_pa.low < 12e6 < found.green_strength_pa.high
    assert found.base_bond_pa.spread > found.green_strength_pa.spread


def test_a_range_and_a_reading_are_kept(tmp_path):
    ranged = resin_of("green_strength_MPa = { value = 12, low = 8, high = 15 }\n", tmp_path).green_strength_pa
    assert (ranged.low, ranged.high) == pytest.approx((8e6, 15e6))
    tested = resin_of("green_strength_MPa = { value = 12, sigma = 1 }\n", tmp_path).green_strength_pa
    assert tested.kind is Kind.READING


@pytest.mark.parametrize("text", ["green_strength_MPa = 0", "base_bond_MPa = 5000", 'green_strength_MPa = "strong"'])
def test_what_cannot_be_is_refused_with_its_key(text, tmp_path):
    with pytest.raises(InputError, match=text.split(maxsplit=1)[0]):
        resin_of(text, tmp_path)


@pytest.mark.parametrize(
    "text",
    [
        "green_strength_MPa = 12\nbase_bond_MPa = 0.8\n",
        "green_strength_MPa = { value = 12, low = 8, high = 15 }\n",
        "base_bond_MPa = { value = 0.5, sigma = 0.1 }\n",
    ],
)
def test_written_and_read_again_it_is_the_same(text, tmp_path):
    shop = shop_of(f'[[resin]]\nname = "slate"\n{text}', tmp_path)
    assert shop_of(write_shop(shop), tmp_path).resins == shop.resins
