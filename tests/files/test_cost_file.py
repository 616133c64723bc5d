"""The cost file: what it may hold, in which unit, and every mistake at once."""

from __future__ import annotations

import pytest

from vatwright.errors import InputError
from vatwright.files.cost_file import read_costs
from vatwright.files.stock_file import stock_of_file
from vatwright.wiring import demo_folder


def read(tmp_path, text, **rest):
    file = tmp_path / "costs.toml"
    file.write_text(text, encoding="utf-8")
    return read_costs(file, **rest)


def test_units_of_the_bench(tmp_path):
    found = read(
        tmp_path,
        'currency = "marks"\nmargin_percent = 40\n[minutes]\nset_up = { value = 8, low = 6, high = 12 }\n'
        '[[machine]]\nname = "Wren"\npower_W = 55\nlife_h = { value = 5000, sigma = 500 }\n'
        "[room]\nvolume_m3 = 30\nair_changes_per_h = 3\nlimit_ppm = 50\nevaporation_g_h = 36\nstore_c = 12\n"
        "[table]\npush = { force_N = 20, moved_um = 400 }\ncarries_kg = 60\n",
    )
    step = found.minutes["set up"]
    assert (step.low, step.value, step.high) == (360.0, 480.0, 720.0)
    assert (found.currency, found.margin) == ("marks", 0.4)
    use, room = found.machine("Wren"), found.room
    assert use.life_s.value == 1.8e7
    assert use.life_s.low < 1.8e7 < use.life_s.high
    assert (use.film_layers, found.machine("Heron").power_w) == (None, None)
    assert room.changes_per_s == pytest.approx(3 / 3600, rel=1e-12)
    assert room.limit_fraction == pytest.approx(50e-6, rel=1e-12)
    assert room.evaporation_kg_s == pytest.approx(1e-5, rel=1e-12)
    assert room.store_k == pytest.approx(285.15)
    assert found.table.stiffness_n_m.value == pytest.approx(5e4)
    assert found.table.read


def test_legs_are_an_upper_bound(tmp_path):
    """Four legs 40 x 40 mm, 10 GPa, 0.7 m: 3 n E I/L^3; with 30 kg 7.938 Hz."""
    found = read(tmp_path, "[table]\nlegs = { width_mm = 40, height_mm = 700, modulus_GPa = 10 }\n").table
    assert found.stiffness_n_m.high == pytest.approx((7.938 * 2 * 3.14159265) ** 2 * 30.0, rel=2e-4)
    assert found.stiffness_n_m.low < found.stiffness_n_m.high
    assert not found.read


def test_every_mistake_at_once(tmp_path):
    with pytest.raises(InputError) as told:
        read(tmp_path, 'margin_percent = -1\n[minutes]\nset_upp = 3\n[room]\nvolume_m3 = "big"\n')
    text = str(told.value)
    for place in ("margin_percent", "set_upp", "volume_m3"):
        assert place in text


def test_a_table_is_pushed_or_known_by_its_legs(tmp_path):
    with pytest.raises(InputError, match="either push or legs"):
        read(tmp_path, "[table]\nmass_kg = 20\n")


def test_the_demo_prices_everything_it_names():
    costs, stock = read_costs(demo_folder() / "costs.toml"), stock_of_file(demo_folder() / "stock.toml")
    assert {m.name for m in costs.machines} == {"Wren", "Heron", "Albatross"}
    names = {p.name for p in stock.prices}
    assert {f"{what}, {m.name}" for what in ("film", "screen", "platform", "machine") for m in costs.machines} <= names
    assert len(stock.films) == 2
    assert len(stock.stations) == 2
