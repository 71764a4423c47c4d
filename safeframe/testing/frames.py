"""Strategies for frames and faults of a connection.

Everything is drawn through the generators of fixtures, so a drawn frame has the verdict that its
step states, and shrinking leads to short streams with small seeds.
"""

from __future__ import annotations

from hypothesis import strategies as st

from .. import fixtures
from ..exchange import Exchange, exchange_of
from ..fixtures import Run, Set, Step
from ..model import Connection
from .maps import clean_connections

__all__ = ["exchanges", "faults", "safety_data", "streams"]

_SEEDS = st.integers(0, (1 << 32) - 1)
_MOST_TICKS = 8


def exchanges() -> st.SearchStrategy[Exchange]:
    """Draw the exchange of a connection of FSCP 12/1 whose ends agree."""
    return clean_connections("fscp-12-1").map(exchange_of)


def _exchange(given: Connection | Exchange) -> Exchange:
    return exchange_of(given) if isinstance(given, Connection) else given


def safety_data(given: Connection | Exchange, side: int) -> st.SearchStrategy[bytes]:
    """Draw safety data of the size that a side sends: any octets, legal state or not."""
    size = _exchange(given).sent(side).size_octets
    return st.binary(min_size=size, max_size=size)


@st.composite
def streams(draw: st.DrawFn, given: Connection | Exchange) -> tuple[Step, ...]:
    """Draw a stream of frames with any safety data; its receivers accept every frame."""
    exchange = _exchange(given)
    row = st.tuples(safety_data(exchange, 0), safety_data(exchange, 1))
    rows = draw(st.lists(row, min_size=1, max_size=_MOST_TICKS))
    return Run(exchange, draw(_SEEDS)).ticks(rows)


@st.composite
def faults(draw: st.DrawFn, given: Connection | Exchange) -> Set:
    """Draw a faulty sequence: one communication error in a legal stream, verdicts stated."""
    made = fixtures.make(_exchange(given), "faults", seed=draw(_SEEDS))
    return draw(st.sampled_from(made))
