"""Settings that every test shares: quick, deterministic property tests."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile(
    "quick",
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=60,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.register_profile("deep", parent=settings.get_profile("quick"), max_examples=1000)
settings.register_profile("few", parent=settings.get_profile("quick"), max_examples=6)
settings.load_profile(os.environ.get("SAFEFRAME_HYPOTHESIS", "quick"))
