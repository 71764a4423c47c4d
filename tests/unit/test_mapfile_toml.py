"""Map files in TOML: what is read, what is refused, and that writing is the inverse."""

from __future__ import annotations

import dataclasses
from math import copysign

import pytest
from hypothesis import given

from safeframe._bits import Place
from safeframe._mapfile import dumps, loads
from safeframe._model import Connection, ConnectionTable, End, Map, Signal
from tests.strategies import clean_connections, ends


class TestRoundTrip:
    """An End survives writing and reading."""

    @given(ends())
    def test_what_is_written_reads_back_as_the_same_end(self, end: End) -> None:
        """MUST: loads(dumps(end)) == end, and the text is the same again."""
        text = dumps(end)
        again = loads(text)
        assert again == end
        assert dumps(again) == text
        for mine, yours in zip(end.sends.signals, again.sends.signals, strict=True):
            assert copysign(1, mine.safe) == copysign(1, yours.safe), "-0.0 is not 0.0 on the wire"

    @pytest.mark.parametrize("format", ["toml", "csv"])
    def test_a_negative_zero_keeps_its_sign(self, format: str) -> None:  # noqa: A002
        cold = Signal(name="a", at=Place(0, 0), width=32, type="float", safe=-0.0)
        connection_table = ConnectionTable(name="SC1-LX", profile="plain")
        end = End(
            name="SC1", peer="LX", connection_table=connection_table, sends=Map(entries=(cold,))
        )
        again = loads(dumps(end, format=format), format=format)
        assert repr(again.sends.signals[0].safe) == "-0.0"

    @given(clean_connections())
    def test_clean_connections_fill_legal_sizes_without_a_gap(self, connection: Connection) -> None:
        for direction in connection.directions():
            sent, received = direction.sent.entries, direction.received.entries
            assert sum(entry.width for entry in sent) == direction.sent.size_bits
            assert direction.sent.size_octets in (1, 2, 4, 6, 8, 10, 12)
            assert direction.sent.size_bits % 8 == 0
            assert direction.sent.signals
            assert len(sent) == len(received)
            for mine, yours in zip(sent, received, strict=True):
                if isinstance(mine, Signal):
                    assert mine.bind
                    assert dataclasses.replace(mine, bind="Consumer" + mine.bind[8:]) == yours
                else:
                    assert mine == yours
