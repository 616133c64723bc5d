"""A workshop of one's own beside the demo: a shop file is shown and can be taken over, the demo leaves and does not mix in."""

from __future__ import annotations

import re
from html import unescape

import pytest
from tests.web.bench import Visitor, opened
from tests.web.test_notebook_shop import SAID, told

from vatwright import wiring
from vatwright.interfaces.web import shelf

MINE = """
[[machine]]
name = "Kite"
platform = { width_mm = 145, depth_mm = 88 }
height_mm = 155

[[resin]]
name = "pewter"
"""
STOCK = """
[[price]]
name = "film, Kite"
amount = 9

[[lot]]
name = "pewter, May"
resin = "pewter"
left_ml = 400
"""
"""An invented shop of one machine, and what it has on the shelf."""


@pytest.fixture
def my_shop(tmp_path):
    """A shop file of one's own with its stock beside it."""
    (tmp_path / "mine").mkdir()
    (tmp_path / "mine" / "stock.toml").write_text(STOCK, encoding="utf-8")
    path = tmp_path / "mine" / "my.toml"
    path.write_text(MINE, encoding="utf-8")
    return path


@pytest.fixture
def with_demo_inside(app):
    """The default notebook with the demo workshop in it, to play with."""
    visitor = Visitor(app)
    assert visitor.post("/shop/demo", data={"token": visitor.token("/shop")}).status_code == 303
    return app.state.desk


def names(page):
    """What stands in the lists of the Shop page."""
    return re.findall(r'<li><a href="/shop/entry[^"]*"><strong>(.*?)</strong>', page.text)


def test_the_shop_page_shows_the_file_it_was_opened_with_and_takes_it_over(with_demo_inside, my_shop):
    app, _ = opened(shop=str(my_shop))
    visitor, desk = Visitor(app), app.state.desk
    page = visitor.get("/shop")
    assert names(page) == ["Kite", "pewter", "pewter, May", "film, Kite"]
    assert str(my_shop) in page.text
    assert "Add a machine" not in page.text
    # Nothing of the demo workshop that is in the notebook counts: its tub is not in this shop.
    without_stock = str(my_shop.parent.parent / "my.toml")
    assert wiring.stations_beside(without_stock, desk.books(desk.shop())) == ()
    assert wiring.stations_beside(without_stock, wiring.ShopBooks()) != ()
    form = {"token": visitor.token("/shop"), "kind": "machine", "name": "Kite", "v.height_mm": "160"}
    refused = visitor.post("/shop/entry", data=form)
    assert refused.status_code == 422
    assert str(my_shop) in told(refused)[0][1]
    # The file is read again at once where it is changed; one tap, and the notebook has it instead.
    my_shop.write_text(MINE.replace("155", "150"), encoding="utf-8")
    assert re.search(r"150\smm", visitor.get("/shop/entry?kind=machine&name=Kite").text)
    assert visitor.post("/shop/file", data={"token": form["token"]}).status_code == 303
    page = visitor.get("/shop")
    assert names(page) == ["Kite", "pewter", "pewter, May", "film, Kite"]  # the demo left with the same change
    assert "Add a machine" in page.text
    assert [m.name for m in desk.shop().records.machines] == ["Kite"]
    assert my_shop.read_text(encoding="utf-8") == MINE.replace("155", "150")
    shelf.take_back(desk, None)
    assert "Wren" in shelf.shelves(desk).kinds["machine"]
    desk.close()


def test_the_demo_leaves_with_a_set_up_and_its_sheets_stay(with_demo_inside, app):
    visitor, desk = Visitor(app), app.state.desk
    carry = desk.demo_carry()
    assert visitor.post("/shop/setup", data={"token": visitor.token("/shop"), **SAID}).status_code == 303
    kinds = shelf.shelves(desk).kinds
    assert {name for entries in kinds.values() for name in entries} == {"Kite", "Roc", "pewter", "pewter on Kite"}
    page = unescape(visitor.get(f"/carry/{carry.id}").text)
    assert '<option value="Albatross"' in page
    assert "pewter" not in page
    own = desk.new_carry(carry.parts, job=None)
    assert "Albatross" not in visitor.get(f"/carry/{own.id}").text
    desk.close()
    again, _ = opened()
    kept = again.state.desk.carry(carry.id)
    assert again.state.desk.shop_of(kept).demo
    assert not again.state.desk.shop_of(again.state.desk.carry(own.id)).demo
    again.state.desk.close()


def test_what_ones_own_needs_of_the_demo_stays(with_demo_inside, app):
    visitor, desk = Visitor(app), app.state.desk
    machine = '[[machine]]\nname = "Kite"\nplatform = { width_mm = 145, depth_mm = 88 }\nheight_mm = 155\n'
    lot = '[[lot]]\nname = "my slate"\nresin = "slate"\nleft_ml = 100\n'
    shelf.keep_text(desk, machine + lot, what="mine")
    page = visitor.get("/shop")
    assert "Leave the demo workshop" in page.text
    assert visitor.post("/shop/demo/leave", data={"token": visitor.token("/shop")}).status_code == 303
    kinds = shelf.shelves(desk).kinds
    assert {name for entries in kinds.values() for name in entries} == {"Kite", "slate", "my slate"}
    assert "Leave the demo workshop" not in visitor.get("/shop").text
    shelf.take_back(desk, None)
    assert len(shelf.shelves(desk).kinds["machine"]) == 4


def test_the_reader_chooses_the_units_to_read_in(app):
    visitor = Visitor(app)
    assert "degrees Celsius" in visitor.get("/").text
    assert visitor.post("/units", data={"token": visitor.token("/"), "units": "us"}).status_code == 303
    assert "degrees Fahrenheit" in visitor.get("/").text
    assert visitor.post("/units", data={"token": visitor.token("/"), "units": "furlongs"}).status_code == 303
    assert "degrees Celsius" in visitor.get("/").text


def test_a_page_with_units_of_its_own_still_opens(app):
    visitor = Visitor(app)
    answer = visitor.post("/carry/demo", data={"token": visitor.token("/carry")})
    assert visitor.get(answer.headers["location"]).status_code == 200
