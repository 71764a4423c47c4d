"""Settings that every test shares: quick, deterministic property tests."""

from __future__ import annotations

import gc
import importlib
import os
import pkgutil
import shutil
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

import safeframe

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


MEMORY = Path("/dev/shm")
if (
    MEMORY.is_dir()
    and os.access(MEMORY, os.W_OK)
    and not os.statvfs(MEMORY).f_flag & os.ST_NOEXEC
    and shutil.disk_usage(MEMORY).free > 1 << 30
):
    # Thousands of flushes wait for a disk otherwise, and what is killed here is never the machine.
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(MEMORY))

# Hundreds of programs are started here, and each would compile all that it imports.
os.environ.pop("PYTHONDONTWRITEBYTECODE", "")


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers(config: pytest.Config) -> int | None:
    """Run all tests on all cores; one that is named begins at once, in this process."""
    return None if config.args_source is config.ArgsSource.TESTPATHS else 0


def import_everything() -> None:
    """Import every module of the package."""
    for module in pkgutil.walk_packages(safeframe.__path__, "safeframe."):
        if not module.name.endswith(".__main__"):
            importlib.import_module(module.name)


def pytest_collection_finish(session: pytest.Session) -> None:
    """Spare the collector of garbage what stays to the end, thousands of tests.

    Where coverage counts, import every module: a test that is not traced may need it first.
    """
    if session.config.pluginmanager.hasplugin("_cov"):
        import_everything()
    gc.collect()
    gc.freeze()
    gc.set_threshold(50_000, 20, 100)
