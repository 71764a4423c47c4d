"""One browser for every test that shows a page."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from selenium import webdriver

FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--disable-dev-shm-usage", "--window-size=1400,1000"),
)


def absent(what: str) -> None:
    if os.environ.get("CI"):
        pytest.fail(f"{what} must be installed in CI: the oracle tests cannot be left out")
    pytest.skip(f"{what} is not installed")


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[webdriver.Chrome]:
    from selenium import webdriver

    programs = [shutil.which(name) for name in ("chromium", "chromedriver")]
    if None in programs:
        absent("chromium with chromium-driver")
    options = webdriver.ChromeOptions()
    options.binary_location = str(programs[0])
    for flag in (*FLAGS, f"--user-data-dir={tmp_path_factory.mktemp('browser')}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(str(programs[1])))
    yield driver
    driver.quit()
