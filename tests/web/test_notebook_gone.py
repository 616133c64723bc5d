"""The notebook's drive goes away while the bench is open: that is said, and no other workshop stands in for it."""

from __future__ import annotations

import pytest
from tests.web.bench import Visitor, opened

from vatwright.wiring import demo_entries, open_store


@pytest.fixture
def drive(tmp_path):
    """A folder with a notebook in it that holds a workshop."""
    (tmp_path / "drive").mkdir()
    with open_store(str(tmp_path / "drive" / "own.sqlite"), create=True) as notebook:
        notebook.keep("what there is", demo_entries())
    return tmp_path / "drive"


@pytest.mark.parametrize("path", ["/notebook", "/shop"])
def test_a_notebook_that_is_gone_is_missed_and_found_again(drive, path):
    app, _ = opened(store=str(drive / "own.sqlite"))
    desk = Visitor(app)
    assert desk.get(path).status_code == 200
    token = desk.token("/shop")
    away = drive.rename(drive.with_name("pulled out"))
    missed = desk.get(path)
    assert missed.status_code == 422
    assert "is gone" in missed.text
    assert desk.post("/shop/demo", data={"token": token}).status_code == 422
    assert not drive.exists()  # no second notebook where the first one was
    away.rename(drive)
    assert desk.get(path).status_code == 200
    app.state.desk.close()


def test_a_notebook_that_was_never_made_leads_to_where_a_workshop_begins(tmp_path):
    app, _ = opened(store=str(tmp_path / "new.sqlite"))
    desk = Visitor(app)
    front = desk.get("/")
    assert front.status_code == 422
    assert 'href="/shop"' in front.text
    assert 'href="/"' not in front.text
    assert desk.get("/shop").status_code == 200
    app.state.desk.close()
