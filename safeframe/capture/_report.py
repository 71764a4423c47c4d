"""What a recording shows, as values; every list is bounded, every count is exact."""

from __future__ import annotations

from dataclasses import dataclass

from .._model import Signal
from ._decode import Disagreement
from ._strips import Bin

__all__ = [
    "KEPT",
    "Difference",
    "Examination",
    "Interval",
    "Note",
    "Notes",
    "SideReport",
    "Timeline",
    "Undriven",
]

KEPT = 20
"""Examples that are kept of anything that may occur a million times."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One thing at one packet; ``offset`` is the place in the file (lines: the line number)."""

    number: int
    offset: int
    time_us: int | None
    side: int | None
    text: str


class Notes:
    """Notes of one kind: how many, and the first of them."""

    __slots__ = ("count", "kept")

    def __init__(self) -> None:
        self.count = 0
        self.kept: list[Note] = []

    def add(self, note: Note) -> None:
        """Count a note and keep it if it is one of the first."""
        self.count += 1
        if len(self.kept) < KEPT:
            self.kept.append(note)


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """The first frame that the two ends read differently, and how many there are."""

    count: int
    note: Note
    data: bytes
    rows: tuple[Disagreement, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Interval:
    """A time without a new frame of a side, or with rejected frames close to each other.

    ``count`` are the rejected frames in it, 0 for silence.
    """

    side: int
    start_us: int
    end_us: int
    count: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Undriven:
    """A signal that never left its safe value in some or all of its bits.

    ``reader`` is the side whose map names the signal, ``indices`` the bits of the data, of those
    that belong to the signal, that never differed from its safe value.
    """

    side: int
    reader: int
    signal: Signal
    indices: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Timeline:
    """One signal over time as one end reads it."""

    side: int
    reader: int
    signal: Signal
    changes: int
    bins: tuple[Bin | None, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class SideReport:
    """What one side sent: frames by what became of them, and the longest time between new ones."""

    name: str
    results: dict[str, int]
    data_frames: int
    longest_gap_us: int | None

    @property
    def frames(self) -> int:
        """All frames of this side."""
        return sum(self.results.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """Everything a recording of one connection shows.

    ``notes`` are by kind; ``start_us`` and ``width_us`` place the bins of the timelines. Times are
    None where the recording has none.
    """

    connection: str
    profile: str
    packets: int
    start_us: int | None
    end_us: int | None
    watchdog_us: int | None
    sides: tuple[SideReport, SideReport]
    notes: dict[str, Notes]
    difference: Difference | None
    silent: tuple[Interval, ...]
    silent_count: int
    noisy: tuple[Interval, ...]
    noisy_count: int
    undriven: tuple[Undriven, ...]
    timelines: tuple[Timeline, ...]
    timeline_start_us: int
    timeline_width_us: int

    @property
    def frames(self) -> int:
        """All frames found."""
        return sum(side.frames for side in self.sides)

    @property
    def is_clean(self) -> bool:
        """Whether frames were found and accepted, and nothing about them is wrong."""
        senders = [side for side in self.sides if side.frames]
        return (
            bool(senders)
            and all(side.results.get("accepted") for side in senders)
            and not self.silent_count
            and not self.difference
            and not any(kind in self.notes for kind in FAULTS)
        )


FAULTS = (
    "file",
    "packet",
    "line",
    "cut frame",
    "unknown sender",
    "length",
    "rejected",
    "relation",
    "time",
    "history lost",
)
"""Kinds of notes that make a recording unclean; the others are only worth knowing."""
