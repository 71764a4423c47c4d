"""Settings that every test shares: quick, deterministic property tests."""

from __future__ import annotations

import gc
import os

import pytest
from hypothesis import HealthCheck, is_hypothesis_test, settings

settings.register_profile(
    "quick",
    derandomize=True,
    database=None,
    deadline=None,
    max_examples=40,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
settings.register_profile("deep", parent=settings.get_profile("quick"), max_examples=1000)
settings.register_profile("few", parent=settings.get_profile("quick"), max_examples=6)
settings.load_profile(os.environ.get("SAFEFRAME_HYPOTHESIS", "quick"))
DEEP = os.environ.get("SAFEFRAME_HYPOTHESIS") == "deep"
"""Whether the long run is asked for: every bit, every length, thousands of recordings."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Count the branches that examples reach: what random data and programs from outside reach is
    luck, and tracing them takes longer than the tests themselves."""
    for item in items:
        if is_hypothesis_test(getattr(item, "obj", None)) or item.get_closest_marker("oracle"):
            item.add_marker(pytest.mark.no_cover)


def pytest_collection_finish() -> None:
    """Spare the collector of garbage the thousands of tests, which stay to the end."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
