"""The table of published values (checks.py), as the docs show it."""

from __future__ import annotations

import pytest
from tests.published.checks import Check, checks

from vatwright.sources import source


@pytest.mark.parametrize("check", checks(), ids=lambda check: check.quantity)
def test_as_published(check: Check) -> None:
    assert check.ours() == pytest.approx(check.theirs, rel=0.0, abs=check.allowed)
    assert source(check.source).citation
