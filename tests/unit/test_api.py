"""The public names: frozen here, found lazily, round trips through them."""

from __future__ import annotations

import subprocess
import sys

import pytest
from hypothesis import given

import safeframe
from tests.strategies import ends

NAMES = """
Algorithm Change Connection End Finding FrameError InputError Map Place Profile Report Reserved
Rule SafeframeError Signal Terms UsageError __version__ check check_all classify
compare_connection compare_edits compare_ends dumps end_fingerprint load loads mixed_versions read
wire_fingerprint write
"""


def test_names_are_frozen() -> None:
    assert sorted(safeframe.__all__) == NAMES.split()
    assert dir(safeframe) == sorted(safeframe.__all__)


@pytest.mark.parametrize("name", NAMES.split())
def test_every_name_is_there_and_explained(name: str) -> None:
    assert getattr(safeframe, name).__doc__


def test_unknown_name() -> None:
    with pytest.raises(AttributeError, match="module 'safeframe' has no attribute 'nothing'"):
        _ = safeframe.nothing


def test_import_is_cheap() -> None:
    code = "import sys, safeframe; print(sorted(m for m in sys.modules if 'safeframe' in m))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout == "['safeframe']\n"


class TestRoundTrip:
    """Reading what was written MUST give the same end, for every legal end."""

    @given(ends())
    def test_toml(self, end: safeframe.End) -> None:
        assert safeframe.loads(safeframe.dumps(end)) == end

    @given(ends())
    def test_csv(self, end: safeframe.End) -> None:
        assert safeframe.loads(safeframe.dumps(end, format="csv"), format="csv") == end
