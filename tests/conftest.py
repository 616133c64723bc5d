"""Settings that every test shares."""

from __future__ import annotations

import os
from tempfile import TemporaryDirectory

import pytest
from hypothesis import HealthCheck, settings

# Deadlines measure the machine, not the code; compiled kernels take their first seconds once.
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
settings.load_profile("house")

# Tests read English, whatever language whoever runs them reads.
os.environ["VATWRIGHT_LANGUAGE"] = "en"

# The notebook of whoever runs them is none of their business.
NO_NOTEBOOK = TemporaryDirectory(prefix="vatwright-tests-")
os.environ["XDG_DATA_HOME"] = NO_NOTEBOOK.name


def _said():
    return {name: value for name, value in os.environ.items() if name.startswith("VATWRIGHT_")}


@pytest.fixture(scope="module", autouse=True)
def no_trace():
    """What one file of tests says of notebook, cache or language is unsaid before the next one."""
    before = _said()
    yield
    assert _said() == before, "this file leaves variables behind that the tests after it would read"
