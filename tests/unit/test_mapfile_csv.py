"""Map files in CSV."""

from __future__ import annotations

from hypothesis import given

from safeframe.mapfile import dumps, loads
from safeframe.model import End
from tests.strategies import ends


class TestRoundTrip:
    """An End survives writing and reading."""

    @given(ends())
    def test_what_is_written_reads_back_as_the_same_end(self, end: End) -> None:
        """MUST: CSV carries everything that TOML carries."""
        text = dumps(end, format="csv")
        again = loads(text, format="csv")
        assert again == end
        assert dumps(again) == dumps(end)
        assert dumps(again, format="csv") == text
