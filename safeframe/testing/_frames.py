"""Strategies for frames and faults of a connection.

Everything is drawn through the generators of fixtures, so a drawn frame has the verdict that its
step states, and shrinking leads to short streams with small seeds.
"""

from __future__ import annotations

from hypothesis import strategies as st

from .. import fixtures
from .._link import Link, link_of
from .._model import Connection
from ..fixtures import FrameSet, RunningLink, SentFrame
from ._maps import clean_connections

_SEEDS = st.integers(0, (1 << 32) - 1)
_MOST_TICKS = 8


def links() -> st.SearchStrategy[Link]:
    """Draw the exchange of a connection of FSCP 12/1 whose ends agree."""
    return clean_connections().map(link_of)


def _exchange(given: Connection | Link) -> Link:
    return link_of(given) if isinstance(given, Connection) else given


def safety_data(given: Connection | Link, side: int) -> st.SearchStrategy[bytes]:
    """Draw safety data of the size that a side sends: any octets, legal state or not."""
    size = _exchange(given).sent(side).size_octets
    return st.binary(min_size=size, max_size=size)


@st.composite
def streams(draw: st.DrawFn, given: Connection | Link) -> tuple[SentFrame, ...]:
    """Draw a stream of frames with any safety data; its receivers accept every frame."""
    link = _exchange(given)
    row = st.tuples(safety_data(link, 0), safety_data(link, 1))
    rows = draw(st.lists(row, min_size=1, max_size=_MOST_TICKS))
    return RunningLink(link, draw(_SEEDS)).ticks(rows)


@st.composite
def faults(draw: st.DrawFn, given: Connection | Link) -> FrameSet:
    """Draw a faulty sequence: one communication error in a legal stream, verdicts stated."""
    made = fixtures.make(_exchange(given), "faults", seed=draw(_SEEDS))
    return draw(st.sampled_from(made))
