"""The bench is closed and opened again: carries, paired phones and what they may do go on; secrets are not on the disk."""

from __future__ import annotations

import stat
from html import unescape

import pytest
from tests.files.part_files import binary_stl
from tests.journeys.conftest import box
from tests.web.bench import PHONE, Visitor, opened, paired_phone

from vatwright.interfaces.web import desk as desk_room
from vatwright.interfaces.web.pairing import SESSION_S


@pytest.fixture
def folder(tmp_path):
    """Where this bench keeps things: beside the notebook that conftest names."""
    return tmp_path / "bench"


def closed_and_opened(app, **said):
    app.state.desk.close()
    return opened(**said)


def question(name="tiles"):
    """The form's fields for a small job of the demo workshop."""
    return {
        "name": name, "recipe": "slate on Wren", "to": "Heron", "room_c": "20", "visits": "0", "present_min": "60",
        "confidence_percent": "90", "count_0": "2", "unit_0": "mm", "resin": "",
    }  # fmt: skip


def test_a_phone_stays_paired_when_the_bench_is_opened_again(bench):
    app, _ = bench
    phone = paired_phone(app)
    stale = phone.token()
    again, clock = closed_and_opened(app)
    back = Visitor(again, PHONE)
    back.cookies = phone.cookies
    assert back.get("/").status_code == 200
    assert back.post("/carry/demo", data={"token": stale}).status_code == 303, "a page that was open goes on"
    clock.now += SESSION_S + 1.0
    assert back.get("/").status_code == 403
    again.state.desk.close()


def test_a_phone_that_was_sent_away_does_not_come_back(bench):
    app, _ = bench
    phone = paired_phone(app)
    app.state.desk.pairing.unpair(app.state.desk.pairing.phones()[0][0])
    again, _ = closed_and_opened(app)
    back = Visitor(again, PHONE)
    back.cookies = phone.cookies
    assert back.get("/").status_code == 403
    again.state.desk.close()


def test_no_secret_of_a_phone_is_on_the_disk_and_nobody_else_reads_the_file(bench, folder):
    app, _ = bench
    phone = paired_phone(app)
    (secret,) = phone.cookies.values()
    (file,) = folder.glob("phones-*.json")
    assert secret not in file.read_text()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


def test_a_spent_code_is_spent_after_opening_again(bench):
    app, _ = bench
    code = app.state.desk.pairing.new_code()
    again, _ = closed_and_opened(app)
    assert Visitor(again, PHONE).post(f"/pair/{code}").status_code == 403
    again.state.desk.close()


@pytest.mark.parametrize("spoilt", ["", "{", '{"schema": "vatwright.phones/1", "key": "zz", "phones": []}', "[]"])
def test_a_spoilt_file_of_phones_lets_nobody_in(bench, folder, spoilt):
    app, _ = bench
    phone = paired_phone(app)
    next(folder.glob("phones-*.json")).write_text(spoilt)
    again, _ = closed_and_opened(app)
    back = Visitor(again, PHONE)
    back.cookies = phone.cookies
    assert back.get("/").status_code == 403
    assert paired_phone(again).get("/").status_code == 200
    again.state.desk.close()


def test_a_carry_is_worked_out_again_from_what_was_asked(bench, desk):
    app, _ = bench
    address = desk.hand_in("tile.stl", binary_stl(box((20.0, 20.0, 2.0)))).headers["location"]
    asked = desk.post(address, data={"token": desk.token(), **question()})
    assert asked.status_code == 303, asked.text
    address = asked.headers["location"]
    first = app.state.desk.carry(address.rsplit("/", 1)[1])
    assert first.work.ended.wait(240.0)
    assert first.sheet is not None, first.work.problem
    again, _ = closed_and_opened(app)
    back = Visitor(again)
    assert "from before the bench was closed" in unescape(back.get("/carry").text)
    assert back.get(address).status_code == 200
    second = again.state.desk.carry(first.id)
    assert second.work.ended.wait(240.0)
    assert [(s.name, s.to_value) for s in second.sheet.settings] == [(s.name, s.to_value) for s in first.sheet.settings]
    assert second.sheet.success == first.sheet.success
    again.state.desk.close()


def test_parts_that_were_handed_in_and_not_asked_about_are_there_again(bench, desk):
    app, _ = bench
    address = desk.hand_in("tile.stl", binary_stl(box((20.0, 20.0, 2.0)))).headers["location"]
    again, _ = closed_and_opened(app)
    page = Visitor(again).get(address).text
    assert "tile.stl" in page
    assert "Work out the sheet" in page
    again.state.desk.close()


def test_the_oldest_carry_goes_from_the_disk_too_and_parts_that_others_need_stay(bench, desk, folder, monkeypatch):
    app, _ = bench
    monkeypatch.setattr(desk_room, "MOST_CARRIES", 2)
    first = desk.hand_in("a.stl", binary_stl(box((5.0, 5.0, 1.0)))).headers["location"].rsplit("/", 1)[1]
    shared = app.state.desk.carry(first).parts
    app.state.desk.new_carry(shared)
    (part,) = (folder / "carries" / "parts").iterdir()
    app.state.desk.new_carry(())
    assert len(list((folder / "carries").glob("*.json"))) == 2
    assert not (folder / "carries" / f"{first}.json").exists()
    assert part.exists()
    app.state.desk.new_carry(())
    assert not part.exists()


def test_a_disk_that_takes_nothing_stops_nobody(bench, desk, folder, caplog):
    app, _ = bench
    folder.write_text("in the way")
    assert desk.hand_in("a.stl", binary_stl(box((5.0, 5.0, 1.0)))).status_code == 303
    assert paired_phone(app).get("/").status_code == 200
    assert "not kept" in caplog.text
    assert "pair again" in caplog.text
