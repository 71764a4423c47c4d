"""What a recording shows, as values; every list is bounded, every count is exact."""

from __future__ import annotations

from dataclasses import dataclass

from .._model import Signal
from ._decode import Disagreement
from ._strips import Bin

KEPT = 20
"""Examples that are kept of anything that may occur a million times."""
KEPT_EVENTS = 200
"""Events that are kept: a connection that works has few of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """One thing at one packet; ``offset`` is the place in the file (lines: the line number).

    ``check`` names what rejected a frame, empty for all else.
    """

    number: int
    offset: int
    time_us: int | None
    side: int | None
    text: str
    check: str = ""


class Notes:
    """Notes of one kind: how many, and the first of them."""

    __slots__ = ("count", "kept")

    def __init__(self) -> None:
        self.count: int = 0
        self.kept: list[Note] = []

    def add(self, note: Note) -> None:
        """Count a note and keep it if it is one of the first."""
        self.count += 1
        if len(self.kept) < KEPT:
            self.kept.append(note)


@dataclass(frozen=True, slots=True, kw_only=True)
class Event:
    """Something the protocol did besides data, or a change in what the receiver uses.

    ``kind`` is a word by which events are counted, ``is_wrong`` tells that the connection broke or
    reports that something is wrong. Number, offset and time are those of the frame.
    """

    number: int
    offset: int
    time_us: int | None
    side: int
    kind: str
    text: str
    is_wrong: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Oddity:
    """Data in use that contradict the maps: what it is, how often, where first.

    ``kind`` is ``reserved``, ``unnamed code`` or ``not valid``; ``words`` is what each end's map
    says about the place, the producer's first.
    """

    side: int
    kind: str
    place: str
    words: tuple[str, str]
    text: str
    count: int
    first: Note


@dataclass(frozen=True, slots=True, kw_only=True)
class OtherReading:
    """Another way to read the data of a side, and how many frames it explains.

    ``explained`` and ``as_mapped`` are frames without contradiction, of ``frames`` that were
    looked at. Never a verdict: chance explains frames, too.
    """

    side: int
    title: str
    explained: int
    as_mapped: int
    frames: int


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
    """One signal over time as one end reads it.

    ``names`` are what the map of the producer and that of the consumer call it, empty where the map
    has no such signal: one of the same name, or else of the same place.
    """

    side: int
    reader: int
    signal: Signal
    changes: int
    bins: tuple[Bin | None, ...]
    names: tuple[str, str] = ("", "")


@dataclass(frozen=True, slots=True, kw_only=True)
class SideMarks:
    """When the frames of a side were rejected, and when its receiver used no data of it.

    Bins as those of the timelines. In ``rejected`` a number is 1 where a frame was, in ``use`` it
    is 0 while data are used, 1 while they are not, 2 while no new frame came for longer than the
    watchdog.
    """

    rejected: tuple[Bin | None, ...] = ()
    use: tuple[Bin | None, ...] = ()

    @property
    def is_empty(self) -> bool:
        """Whether there is nothing to mark."""
        return not any(each and each.high for each in (*self.rejected, *self.use))


@dataclass(frozen=True, slots=True, kw_only=True)
class SideReport:
    """What one side sent: frames by what became of them, and the longest time between new ones.

    ``data_frames`` are accepted frames with safety data, ``used_frames`` those of them that the
    receiver uses; only their bits count as tested: ``ones`` and ``zeros`` are the bits of the data,
    lowest place first, that were seen as 1 and as 0. ``unknown_at_start`` are frames before the
    first one that could be judged. A side that does not send has nothing to say in its protocol.
    """

    name: str
    results: dict[str, int]
    data_frames: int
    longest_gap_us: int | None
    used_frames: int = 0
    ones: int = 0
    zeros: int = 0
    unknown_at_start: int = 0
    sends: bool = True

    @property
    def frames(self) -> int:
        """All frames of this side."""
        return sum(self.results.values())


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination:
    """Everything a recording of one connection shows.

    ``notes`` are by kind; ``timeline_start_us`` and ``timeline_width_us`` place the bins of the
    timelines and of the ``marks`` of both sides. Times are None where the recording has none.
    ``events`` are the first of ``event_count``. ``not_judged`` says what nobody has looked at, and
    why; ``unproven`` are the frames among it that were heard while no checksum covers their data.
    ``stopped`` tells that reading ended early.
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
    marks: tuple[SideMarks, SideMarks] = (SideMarks(), SideMarks())
    events: tuple[Event, ...] = ()
    event_count: int = 0
    wrong_events: int = 0
    oddities: tuple[Oddity, ...] = ()
    other_readings: tuple[OtherReading, ...] = ()
    not_judged: tuple[str, ...] = ()
    unproven: int = 0
    stopped: bool = False

    @property
    def frames(self) -> int:
        """All frames found."""
        return sum(side.frames for side in self.sides)

    @property
    def is_whole(self) -> bool:
        """Whether everything in the recording was judged."""
        return not self.not_judged and not self.stopped

    @property
    def is_clean(self) -> bool:
        """Whether frames of both ends were found and accepted, and nothing about them is wrong.

        In a protocol where one end sends nothing back, those of the other.

        Frames before the first one that could be judged are no fault: the frames after them follow
        from them, or are rejected; where they prove nothing, ``not_judged`` says so.
        """
        return (
            all(side.results.get("accepted") for side in self.sides if side.sends)
            and not self.silent_count
            and not self.difference
            and not self.wrong_events
            and not self.oddities
            and not self.stopped
            and not any(kind in self.notes for kind in FAULTS)
        )


FAULTS = (
    "file",
    "packet",
    "line",
    "size",
    "no frames",
    "never used",
    "cut frame",
    "unknown sender",
    "length",
    "rejected",
    "foreign",
    "relation",
    "time",
    "history lost",
)
"""Kinds of notes that make a recording unclean; the others are only worth knowing."""
