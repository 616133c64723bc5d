"""Settings that every test shares."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# Deadlines measure the machine, not the code; compiled kernels take their first seconds once.
settings.register_profile("house", deadline=None, suppress_health_check=[HealthCheck.too_slow], derandomize=True)
settings.load_profile("house")

# Tests read English, whatever language whoever runs them reads.
os.environ["VATWRIGHT_LANGUAGE"] = "en"
