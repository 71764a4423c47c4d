"""What a recording yields: packets, troubles where it cannot be read, and what was left out."""

from __future__ import annotations

from typing import NamedTuple


class Packet(NamedTuple):
    """One packet or line of a recording.

    ``number`` counts from 1, ``offset`` is the place in the file in octets (lines: the line
    number), ``time_us`` the time, None where the recording has none. ``sender`` is the name of an
    end where the recording gives it, ``source`` the address of the station that sent the packet.
    ``octets`` are what the carrier transports, or a frame where a line holds one; ``channel`` tells
    carriers of one station apart.
    """

    number: int
    offset: int
    time_us: int | None
    octets: bytes
    sender: str = ""
    source: str = ""
    channel: int | tuple[int, int] = 0


class Trouble(NamedTuple):
    """Why a part of a recording was not read; ``number`` and ``offset`` as in Packet."""

    number: int
    offset: int
    kind: str
    text: str


class Passed(NamedTuple):
    """A time until which nothing more came, at the end."""

    time_us: int


class Skipped(NamedTuple):
    """Packets in which nobody looked for frames: of what kind, and how many."""

    text: str
    packets: int
