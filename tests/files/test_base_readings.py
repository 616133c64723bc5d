"""Flatness and tip readings of a machine: read, refused where wrong, written back equal."""

import pytest
from tests.planning.workshop import machine, shop_of

from vatwright.errors import InputError
from vatwright.files.write import write_shop
from vatwright.records.job import Shop
from vatwright.records.machine import FlatnessReading, TipReading

SHOP = """
[[machine]]
name = "Wren"
height_mm = 165
platform = { width_mm = 150, depth_mm = 92 }
flatness = [
  { x_mm = -70, y_mm = 40, height_um = -12.5 },
  { x_mm = 0, y_mm = 0, height_um = 8 },
]
tip = { load_kg = 2, at_mm = 60, over_mm = 120, difference_um = 40 }
"""


def test_readings_become_records_in_si(tmp_path):
    (one,) = shop_of(SHOP, tmp_path).machines
    assert one.flatness == (
        FlatnessReading(x_m=-0.07, y_m=0.04, height_m=-1.25e-5),
        FlatnessReading(x_m=0.0, y_m=0.0, height_m=8e-6),
    )
    assert one.tip == TipReading(load_kg=2.0, at_m=0.06, over_m=0.12, difference_m=4e-5)
    assert one.tip.slope == pytest.approx(4e-5 / 0.12)


def test_they_are_written_back_equal(tmp_path):
    one = machine(
        flatness=(FlatnessReading(x_m=0.0123, y_m=-0.0301, height_m=3.3e-6),),
        tip=TipReading(load_kg=1.75, at_m=0.055, over_m=0.11, difference_m=6.1e-5),
    )
    (again,) = shop_of(write_shop(Shop(machines=(one,))), tmp_path).machines
    assert (again.flatness, again.tip) == (one.flatness, one.tip)


def test_a_machine_nobody_read_has_none(tmp_path):
    (one,) = shop_of(SHOP.split("flatness")[0], tmp_path).machines
    assert one.flatness == ()
    assert one.tip is None


@pytest.mark.parametrize(
    ("was", "now", "says"),
    [
        ("x_mm = -70", "x_mm = -80", "outside the platform"),
        ("height_um = 8", "height_um = 9000", "height_um"),
        ("at_mm = 60", "at_mm = 0", "at_mm"),
        ("difference_um = 40", "difference_um = 0", "difference_um"),
        ("load_kg = 2, ", "", "load_kg"),
    ],
)
def test_what_cannot_be_is_refused(tmp_path, was, now, says):
    with pytest.raises(InputError) as refused:
        shop_of(SHOP.replace(was, now), tmp_path)
    assert any(says in f"{m.where} {m.what}" for m in refused.value.mistakes)
