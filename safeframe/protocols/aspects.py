"""What a protocol's room offers besides facts, frames, links, recordings and times.

Each engine (checks, fixtures, packets, residual figures) asks for one of these and knows no
protocol by name. Sides are 0 for the first end of a connection and 1 for the second.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from random import Random
from typing import Any, NamedTuple

from .._model import Connection, End
from ..residual import Code
from .link import Link

__all__ = [
    "Agreement",
    "Consistency",
    "Derivation",
    "DerivedInput",
    "FaultRun",
    "FaultTraits",
    "FrameScope",
    "Generators",
    "OpeningFrame",
    "Packet",
    "PacketPayload",
    "Recompute",
    "SentFrame",
    "StartUp",
    "UnseenPattern",
]

Consistency = Callable[[End], Iterator[tuple[str, str, str]]]
"""Key, sentence and remedy of each value of an end that contradicts another one of it."""

Agreement = Callable[[Connection], Iterator[tuple[str, str, str]]]
"""Key, sentence and remedy of each pair of values of both ends that do not fit."""


class OpeningFrame(NamedTuple):
    """One frame before data: which side sends it, and the values it is produced from.

    With ``safe`` its data are the safe values of the map. ``octets`` stand for a frame that a
    receiver passes over, which no session produces; ``text`` says why it does.
    """

    side: int
    values: Mapping[str, Any] = {}
    safe: bool = False
    octets: bytes = b""
    text: str = ""


StartUp = Callable[[Link, Random], Iterator[OpeningFrame]]
"""Yields what both ends send before data, in order; UsageError where the maps lack something."""


class PacketPayload(NamedTuple):
    """What a packet carries: the EtherType and the octets behind it.

    With ``link_type`` it is a whole packet of that link type, and no EtherType stands before it.
    """

    ethertype: int
    octets: bytes
    link_type: int | None = None


Packet = Callable[[int, int, bytes], PacketPayload]
"""Returns what the packet of a side's frame holds: side, number of the packet, frame."""


class UnseenPattern(NamedTuple):
    """A frame changed in a way no check sees, for teaching: what it is, what was changed."""

    label: str
    title: str
    change: str
    side: int
    octets: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class SentFrame:
    """One frame: who sends it and when, its octets, what its receiver must say.

    ``side`` is 0 for the first end, ``data`` the safety data meant by the sender (empty where the
    frame carries none). ``verdict`` is accept, repeat, reject or undetected, ``check`` the check
    or measure that says so, ``change`` the single change made to the frame or its time.
    """

    side: int
    time_us: int
    octets: bytes
    data: bytes = b""
    verdict: str = "accept"
    check: str = ""
    change: str = ""


class FaultRun(NamedTuple):
    """A faulty sequence: its label, the communication error, what was changed, what catches it."""

    label: str
    error: str
    change: str
    measure: str
    steps: tuple[SentFrame, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultTraits:
    """What catches each communication error, and how a fault is made.

    ``caught_by`` returns for a link and the size of the safety data the check or measure for each
    error, in the order of ``fixtures.ERRORS``. ``neighbour`` returns the link of another
    connection (or, for the error insertion, another sender) of the same kind: link, side, error.
    ``measures`` says in words what the checks among these are that stand for a measure.
    ``data_at`` is the first octet of safety data in a frame. With ``timed`` any frame that is newer
    than the last one is accepted, whatever was lost between. ``unseen`` yields more changes that no
    check sees. ``runs`` yields all sequences itself, from a legal run: link, side, run, random.
    """

    caught_by: Callable[[Link, int], Sequence[str]] = lambda link, data_octets: ()
    neighbour: Callable[[Link, int, str], Link] = lambda link, side, error: link
    data_at: int = 0
    timed: bool = False
    measures: Mapping[str, str] = field(default_factory=dict)
    unseen: Callable[[Link], Iterator[UnseenPattern]] | None = None
    runs: Callable[[Link, int, Sequence[SentFrame], Random], Iterator[FaultRun]] | None = None


Generators = dict[str, int]
"""Generator polynomials by the name of their algorithm without the profile, such as crc16."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FrameScope:
    """One way to look at a protocol's frame: which errors count, which are left out, and why.

    ``build`` returns the code for the generators and a size in octets, ``source`` names the tags
    of the facts' sources for the CRC rule behind it, ``largest`` the largest size that can be
    asked for, ``bound`` a published upper bound with its source.
    """

    name: str
    title: str
    left_out: str
    build: Callable[[Generators, int], Code]
    source: str
    largest: int | None = None
    bound: tuple[Fraction, str] | None = None


Recompute = Callable[[bytes, dict[str, Any]], int]
"""Returns the number that was published for octets and inputs of a vector."""


class DerivedInput(NamedTuple):
    """One value a number is derived from: ``int``, ``str`` or ``bool``."""

    name: str
    type: type[int] | type[str] | type[bool]
    optional: bool = False


class Derivation(NamedTuple):
    """Numbers that both ends must hold: what makes them by name from values by name."""

    name: str
    title: str
    inputs: tuple[DerivedInput, ...]
    make: Callable[[dict[str, Any]], dict[str, str]]
