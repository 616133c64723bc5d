"""Orders files: what they give, every mistake at once, hours across clock changes, and plans read back."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta

import pytest

from vatwright.errors import InputError
from vatwright.files.orders_file import read_orders, read_past
from vatwright.records.stock import StationKind
from vatwright.wiring import demo_folder

SHOP = (demo_folder() / "shop.toml").read_text(encoding="utf-8")
HEAD = """
[book]
starts = {starts}
room_c = 20
recipe = "slate on Wren"
{more}
[hours]
{hours}

[[order]]
name = "one"
due = 2026-03-03T17:00:00+01:00
[[order.part]]
file = "parts/lantern.stl"
unit = "mm"
count = 4
"""


@pytest.fixture
def write(tmp_path):
    """A folder with the demo shop, and an orders file in it."""
    (tmp_path / "shop.toml").write_text(SHOP, encoding="utf-8")
    (tmp_path / "parts").symlink_to(demo_folder() / "parts")

    def made(text=None, *, starts="2026-03-02T08:00:00+01:00", hours='monday = ["08:00-12:00"]', more="", tail=""):
        path = tmp_path / "orders.toml"
        path.write_text(text or HEAD.format(starts=starts, hours=hours, more=more) + tail, encoding="utf-8")
        return str(path)

    return made


def mistakes(path):
    with pytest.raises(InputError) as problem:
        read_orders(path)
    return [str(m) for m in problem.value.mistakes]


def test_the_demo_book():
    """Counted by hand in demo/orders.toml."""
    book = read_orders(str(demo_folder() / "orders.toml"))
    assert [u.name for u in book.units] == ["Wren 1", "Wren 2", "Heron", "Albatross"]
    assert sum(p.count for o in book.orders for p in o.parts) == 36 + 24 + 32 + 40 + 24
    assert [s.kind for s in book.stations] == [StationKind.WASH, StationKind.CURE]
    assert book.orders[0].due_s == 33 * 3600
    assert book.orders[3].due_s is None
    assert book.orders[2].machines == ("Wren", "Heron")
    assert (book.handling.setup_s, book.handling.wash_s, book.clearance_m) == (600.0, 480.0, 0.002)
    first = book.shifts[0]
    assert (first.from_s, first.to_s) == (0.0, 4.5 * 3600)


def test_one_of_each_machine_where_no_unit_is_named(write):
    assert [u.name for u in read_orders(write()).units] == ["Wren", "Heron", "Albatross"]


def test_hours_are_in_the_offset_of_the_start(write):
    """Monday 8:00 at +01:00 is 07:00 UTC; the next Monday a week later."""
    book = read_orders(write())
    assert book.at(book.shifts[0].from_s).astimezone(UTC) == datetime(2026, 3, 2, 7, tzinfo=UTC)
    assert book.shifts[1].from_s - book.shifts[0].from_s == 7 * 86_400


def test_hours_follow_the_clock_of_a_zone(write):
    """London goes from +00:00 to +01:00 on 29 March 2026 (tz database): Monday 30 comes an hour early in absolute time."""
    book = read_orders(write(starts="2026-03-23T08:00:00+00:00", more='zone = "Europe/London"'))
    assert book.shifts[1].from_s - book.shifts[0].from_s == 7 * 86_400 - 3600


def test_a_night_shift_ends_the_next_day_and_joins_what_follows(write):
    book = read_orders(write(hours='monday = ["22:00-24:00"]\ntuesday = ["00:00-02:00", "03:00-02:00"]'))
    first, second = book.shifts[:2]
    assert (first.from_s / 3600, first.to_s / 3600) == (14.0, 18.0)
    assert (second.from_s / 3600, second.to_s / 3600) == (19.0, 42.0)


def test_every_mistake_at_once(write):
    path = write(
        starts="2026-03-02T08:00:00",
        hours='monday = ["8-12"]',
        more='zone = "Europe/Harbour"\nrooom_c = 3',
        tail='[[unit]]\nmachine = "Wern"\n[[order]]\nname = "one"\n[[order.part]]\nfile = "parts/lantern.stl"\nunit = "mm"\n',
    )
    found = mistakes(path)
    for word in ("offset", "08:00-12:30", "time zone", "rooom_c", 'Perhaps "Wren"', '"one" is there already'):
        assert any(word in m for m in found), (word, found)
    assert all("orders.toml:" in m for m in found)


def test_parts_that_are_not_there_are_named_with_their_line(write):
    tail = '[[order]]\nname = "two"\n[[order.part]]\nfile = "parts/nothing.stl"\nunit = "mm"\n'
    (found,) = mistakes(write(tail=tail))
    assert "nothing.stl" in found
    assert "orders.toml:" in found


def test_an_order_without_a_recipe(write, tmp_path):
    text = HEAD.format(starts="2026-03-02T08:00:00+01:00", hours='monday = ["08:00-12:00"]', more="")
    (found,) = mistakes(write(text.replace('recipe = "slate on Wren"\n', "")))
    assert "names no recipe" in found


def test_nobody_there_is_a_mistake(write):
    (found,) = mistakes(write(hours=""))
    assert "nobody is ever there" in found


def test_two_units_of_one_name(write):
    (found,) = mistakes(write(tail='[[unit]]\nmachine = "Wren"\n[[unit]]\nmachine = "Wren"\n'))
    assert 'two units are called "Wren"' in found


def plan_file(tmp_path, book, **changes):
    at = [(book.starts + timedelta(hours=h)).isoformat() for h in (0, 3, 4, 5)]
    run = {
        "plate": "P1", "unit": "Wren", "setup_from": at[0], "ready": at[1], "off": at[2], "cured": at[3],
        "pieces": [{"order": "one", "part": "lantern", "count": 4}],
    }  # fmt: skip
    path = tmp_path / "plan.json"
    path.write_text(json.dumps({"schema": "vatwright.fleet/1", "runs": [run | changes]}), encoding="utf-8")
    return str(path)


def test_a_plan_is_read_back(write, tmp_path):
    book = read_orders(write())
    past = read_past(
        book, done=plan_file(tmp_path, book), failed=["P1"], down=["Heron"], now="2026-03-02T09:30:00+00:00"
    )
    (run,) = past.runs
    assert (run.start_s, run.ready_s, run.off_s, run.cured_s) == (0.0, 10_800.0, 14_400.0, 18_000.0)
    assert past.now_s == 2.5 * 3600  # 9:30 UTC is 10:30 at +01:00
    assert (past.failed, past.down) == (("P1",), ("Heron",))


def test_mistakes_about_the_past_all_at_once(write, tmp_path):
    book = read_orders(write())
    with pytest.raises(InputError) as problem:
        read_past(book, done=plan_file(tmp_path, book), failed=["P9"], down=["Hern"], now="yesterday")
    found = [str(m) for m in problem.value.mistakes]
    assert len(found) == 3
    assert any('Perhaps "Heron"' in m for m in found)


STRANGE = ("no json", "[]", '{"schema": "vatwright.carry/1"}', '{"schema": "vatwright.fleet/1", "runs": [{}]}')


@pytest.mark.parametrize("text", STRANGE)
def test_what_is_no_plan_is_refused(write, tmp_path, text):
    path = tmp_path / "plan.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError, match=r"plan\.json"):
        read_past(read_orders(write()), done=str(path), failed=[], down=[], now="2026-03-02T09:30:00+00:00")


def test_a_plan_of_other_machines_is_refused(write, tmp_path):
    book = read_orders(write())
    with pytest.raises(InputError, match="does not have"):
        read_past(
            book, done=plan_file(tmp_path, book, unit="Gull"), failed=[], down=[], now="2026-03-02T09:30:00+00:00"
        )


def test_now_is_needed_to_plan_again(write, tmp_path):
    book = read_orders(write())
    with pytest.raises(InputError, match="--now"):
        read_past(book, done=plan_file(tmp_path, book), failed=[], down=[], now=None)
