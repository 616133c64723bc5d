from __future__ import annotations

import pytest
from tests.web.bench import Visitor, opened


@pytest.fixture(autouse=True)
def _nothing_of_the_user(monkeypatch, tmp_path):
    """No shop and no notebook of whoever runs the tests."""
    monkeypatch.delenv("VATWRIGHT_SHOP", raising=False)
    monkeypatch.setenv("VATWRIGHT_STORE", str(tmp_path / "no-notebook.sqlite"))


@pytest.fixture
def bench():
    """A bench that phones may pair with, on the demo workshop; and its clock."""
    app, clock = opened()
    yield app, clock
    app.state.desk.close()


@pytest.fixture
def app(bench):
    return bench[0]


@pytest.fixture
def desk(app):
    """Whoever sits at the desk."""
    return Visitor(app)
