"""Fixtures that several files of tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.unit.importing_files import Sheet


@pytest.fixture
def sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> Sheet:
    return Sheet(tmp_path, capsys)
