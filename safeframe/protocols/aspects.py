"""What a protocol's room offers besides facts and frames, as values.

Each engine (links, fixtures, packets, residual figures, times) asks for one of these and knows no
protocol by name. Sides are 0 for the first end of a connection and 1 for the second.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from random import Random
from typing import Any, NamedTuple

from .._engine import frames
from .._engine.recipe import Recipe
from .._engine.stream import Session, start
from .._errors import UsageError
from .._model import Connection, End, Map
from ..residual import Code
from ._registry import room

__all__ = [
    "DEFAULT_TICK_US",
    "Agreement",
    "AnswerTime",
    "Consistency",
    "Derivation",
    "DerivedInput",
    "FaultRun",
    "FaultTraits",
    "Follower",
    "FrameScope",
    "Generators",
    "Happening",
    "Link",
    "LinkTraits",
    "OpeningFrame",
    "Packet",
    "PacketPayload",
    "ReactionTimes",
    "Recompute",
    "RecordingTraits",
    "SentFrame",
    "StartUp",
    "Step",
    "TimeTerm",
    "UnseenPattern",
    "agreed",
    "parameter",
    "passes",
    "places_of",
    "roles",
    "shared_parameter",
]

DEFAULT_TICK_US = 10_000
"""Time between two frames of one sender where no map states an exchange time; by choice."""


Consistency = Callable[[End], Iterator[tuple[str, str, str]]]
"""Key, sentence and remedy of each value of an end that contradicts another one of it."""


class TimeTerm(NamedTuple):
    """One time of a sum: its name, how long it is (None: not stated), how often it counts."""

    name: str
    time_ms: int | None
    factor: int = 1


class ReactionTimes(NamedTuple):
    """What two maps say about times, in the words of the protocol.

    The reaction time is the sum of ``terms``, ``why`` and ``source`` say where that comes from.
    """

    watchdog_ms: int | None
    exchange_ms: int | None
    terms: tuple[TimeTerm, ...]
    why: str
    source: str


Agreement = Callable[[Connection], Iterator[tuple[str, str, str]]]
"""Key, sentence and remedy of each pair of values of both ends that do not fit."""


def _any_kind(data_octets: int, settings: Mapping[str, Any]) -> str:
    return ""


def _nothing(end: End) -> dict[str, Any]:
    return {}


def _at_once(settings: Mapping[str, Any]) -> tuple[int, ...]:
    return (0,)


def _no_cycle(connection: Connection) -> int | None:
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkTraits:
    """What the two maps of a connection say about its frames.

    ``senders`` returns the words the session knows the two ends by, ``settings`` what a session
    needs, from the maps and what was given by name; both raise UsageError for what is missing.
    ``first`` is the word of the sender that begins (empty: the first end). ``values`` returns what
    a sender puts into its next frame: whether it carries safety data, these, and the time in
    microseconds. ``data_of`` returns the safety data that an accepted frame carries,
    or None for a frame without. ``silent`` are the octets of a frame of each sender that never
    carries safety data, ``kind`` the kind of frame for a size of data and the settings.
    ``stated`` returns the values of a frame that the map of one end alone states. ``mute`` are the
    senders that send nothing at all. ``spacing`` returns when in its turn a sender sends its
    frames, in microseconds: one at 0, unless several carry the data together. ``watchdog`` names
    the setting that is the watchdog in milliseconds (empty: what the maps state as such),
    ``cycle_ms`` returns what the sender's map says besides the exchange time about how often it
    sends.
    """

    senders: Callable[[Connection], tuple[str, str]]
    settings: Callable[[Connection, Mapping[str, Any]], dict[str, Any]]
    values: Callable[[bool, bytes, int], dict[str, Any]]
    data_of: Callable[[bytes], bytes | None]
    first: str = ""
    silent: Mapping[str, int] = field(default_factory=dict)
    kind: Callable[[int, Mapping[str, Any]], str] = _any_kind
    stated: Callable[[End], dict[str, Any]] = _nothing
    mute: frozenset[str] = frozenset()
    spacing: Callable[[Mapping[str, Any]], tuple[int, ...]] = _at_once
    watchdog: str = ""
    cycle_ms: Callable[[Connection], int | None] = _no_cycle


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A connection together with what its protocol needs to build and judge frames.

    ``settings`` are those of ``frame.session``, ``senders`` the words a session knows the two
    ends by, ``order`` the sides that send, in their order, ``sizes`` the octets of a frame of each
    side by the producer's map, ``carries`` whether a side sends safety data.
    """

    connection: Connection
    profile: str
    settings: Mapping[str, Any]
    senders: tuple[str, str]
    order: tuple[int, ...]
    sizes: tuple[int, int]
    carries: tuple[bool, bool]

    @property
    def names(self) -> tuple[str, str]:
        """The names of the two ends."""
        return self.connection.first.name, self.connection.second.name

    @property
    def tick_us(self) -> int:
        """Microseconds between two frames of one sender."""
        stated = [
            end.connection_table.exchange_ms
            for end in self.connection.ends
            if end.connection_table.exchange_ms
        ]
        if stated:
            return 1000 * stated[0]
        cycle_ms = _traits_of(self.profile).cycle_ms(self.connection)
        return 1000 * cycle_ms if cycle_ms else DEFAULT_TICK_US

    @property
    def spacing_us(self) -> tuple[int, ...]:
        """When in its turn a sender sends each of the frames that carry its data together."""
        return _traits_of(self.profile).spacing(self.settings)

    @property
    def watchdog_us(self) -> int | None:
        """The shortest watchdog either end states, in microseconds, or None."""
        setting = _traits_of(self.profile).watchdog
        if setting:
            found = self.settings.get(setting)
            return None if found is None else 1000 * int(found)
        stated = [
            end.connection_table.watchdog_ms
            for end in self.connection.ends
            if end.connection_table.watchdog_ms
        ]
        return 1000 * min(stated) if stated else None

    def sent(self, side: int) -> Map:
        """Return the map by which a side fills its safety data."""
        return self.connection.ends[side].sends

    def received(self, side: int) -> Map:
        """Return the map by which the other end reads what a side sends."""
        return self.connection.ends[1 - side].receives

    def session(self, *, fresh: bool = True) -> Session:
        """Return a session for both senders; ``fresh=False`` joins in the middle."""
        made = room(self.profile).session
        assert made is not None, "a link is made only where its protocol has sessions"
        return start(made, **self.settings, fresh=fresh)

    def produce(self, session: Session, side: int, data: bytes, time_us: int) -> bytes:
        """Return the next frame of a side; a side without safety data ignores ``data``."""
        values = _traits_of(self.profile).values(self.carries[side], data, time_us)
        return session.produce(self.senders[side], **values)

    def data_of(self, octets: bytes) -> bytes | None:
        """Return the safety data that an accepted frame carries, or None.

        None stands for a frame that carries none, for instance one of the start-up.
        """
        return _traits_of(self.profile).data_of(octets)


def _traits_of(profile: str) -> LinkTraits:
    traits = room(profile).link
    assert traits is not None, "a link is made only where its protocol says what maps give"
    return traits


def parameter(end: End, name: str) -> Any:
    """Return a parameter of an end; UsageError where it states none."""
    value = dict(end.parameters).get(name)
    if value is None:
        raise UsageError(f"{end.name} must state the parameter {name} for frames to be built")
    return value


def shared_parameter(connection: Connection, name: str) -> Any:
    """Return a parameter that either end states; UsageError where neither does, or both unlike."""
    stated = [(end, dict(end.parameters).get(name)) for end in connection.ends]
    found = agreed(name, [(end, value) for end, value in stated if value is not None])
    return parameter(connection.first, name) if found is None else found


def agreed(name: str, stated: Sequence[tuple[End, Any]]) -> Any:
    """Return what the ends that state a value agree on, None where none does.

    Raises UsageError where they differ: which one holds, no frame can tell.
    """
    values = [value for _, value in stated]
    if len(values) == 2 and values[0] != values[1]:
        told = " and ".join(
            f"{end.name} ({end.where}) states {_shown(value)}" for end, value in stated
        )
        raise UsageError(f"both ends must state the same {name}, but {told}")
    return values[0] if values else None


def _shown(value: Any) -> str:
    return f"{value:#x}" if isinstance(value, int) and value > 9 else str(value)


def roles(*words: str) -> Callable[[Connection], tuple[str, str]]:
    """Return what reads the sender words from the roles of the two ends, which must be these."""

    def senders(connection: Connection) -> tuple[str, str]:
        found = connection.first.role, connection.second.role
        if sorted(found) != sorted(words):
            raise UsageError(
                f"the roles must be {' and '.join(words)} for frames to be built, "
                f"not {found[0]!r} and {found[1]!r}"
            )
        return found

    return senders


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


def _nothing_caught(link: Link, data_octets: int) -> Sequence[str]:
    return ()


def _same_link(link: Link, side: int, error: str) -> Link:
    return link


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

    caught_by: Callable[[Link, int], Sequence[str]] = _nothing_caught
    neighbour: Callable[[Link, int, str], Link] = _same_link
    data_at: int = 0
    timed: bool = False
    measures: Mapping[str, str] = field(default_factory=dict)
    unseen: Callable[[Link], Iterator[UnseenPattern]] | None = None
    runs: Callable[[Link, int, Sequence[SentFrame], Random], Iterator[FaultRun]] | None = None


class Happening(NamedTuple):
    """Something a protocol does besides data, in words; ``is_wrong`` where a connection breaks.

    ``kind`` is one of a few words by which happenings are counted.
    """

    kind: str
    text: str
    is_wrong: bool = False


class Step(NamedTuple):
    """What one accepted frame does to a connection.

    ``use`` says what the receiver does with the data: "" uses them, any other text is why it takes
    its fail-safe values instead, None stands for a frame without data. ``ends`` says that both
    receivers fall back to their fail-safe values until data come again. ``data`` are the safety
    data where the frame alone does not tell them. A frame that is not ``heard`` is a part: it does
    not show yet that its sender lives.
    """

    happenings: tuple[Happening, ...] = ()
    use: str | None = ""
    ends: bool = False
    data: bytes | None = None
    heard: bool = True


class Follower:
    """Follows a connection from frame to frame: states, events, which data are in use.

    One is made for each recording, and made anew when the history is lost.
    """

    def __init__(self, link: Link) -> None:
        self.link = link

    def refuse(self, side: int, octets: bytes) -> tuple[str, str] | None:
        """Return check and reason where a receiver takes no such frame in its state."""
        return None

    def recurs(self, octets: bytes) -> bool:
        """Tell whether a new frame may have the same octets, since it counts nothing."""
        return False

    def begins(self, octets: bytes) -> bool:
        """Tell whether a frame may come at any time, however long the silence before it was."""
        return False

    def steady(self, side: int, octets: bytes) -> bool:
        """Tell quickly whether ``follow`` would only say that the data are in use."""
        return False

    def pass_over(self, side: int, octets: bytes, text: str) -> Step | None:
        """Return what is to be told of a frame that a receiver passes over, usually nothing."""
        return None

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Return what an accepted frame does; ``text`` is what the session said about it.

        Without anything else known, all data are in use.
        """
        return Step()


def _never_foreign(link: Link, side: int, octets: bytes, history: Session) -> bool:
    return False


def _always_proven(octets: bytes) -> bool:
    return False


class AnswerTime(NamedTuple):
    """The side that answers, and how long the other one waits for its answer."""

    side: int
    within_us: int


def _no_answer_time(link: Link) -> AnswerTime | None:
    return None


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordingTraits:
    """How a recording shows the frames and the events of a protocol.

    ``search`` returns where frames of a side may begin in a payload: link, side, payload; None
    where frames carry nothing to search for. ``names_sender`` says that a frame tells by its ids
    which end sent it. ``lengths`` returns the possible lengths of a frame of a side at the
    beginning of octets, the expected one left out; where frames carry nothing that shows it,
    ``sizes`` returns all lengths that frames of a side can have, the expected one first: a history
    that goes on tells. ``own_length`` returns how long the frame at the beginning of octets says
    that it is, where the frames of one side have several lengths. ``foreign`` tells whether a
    rejected frame is right for another connection: link, side, frame, session. With ``zeros`` the
    fail-safe values are all binary 0, otherwise the safe values of the map. With ``whole`` a packet
    is a frame, of whatever length, or none. With ``parts`` several frames carry data together, each
    in a packet of its own: a part may be missing only where the recording begins or ends.
    ``silence`` names the check by which the session itself says that a frame came too late,
    ``answer_within`` how long one end waits for what the other answers, where the maps say it.
    ``unproven`` tells whether no check touches the data of a frame before which nothing of the
    other end was heard. ``restarts`` are the kinds of happenings that are wrong where the
    connection begins anew, ``fails_safe`` tells whether a receiver can be told not to use data.
    """

    follower: type[Follower] = Follower
    search: Callable[[Link, int, bytes], list[int]] | None = None
    names_sender: bool = True
    lengths: Callable[[Link, int, bytes], Sequence[int]] | None = None
    sizes: Callable[[Link, int], Sequence[int]] | None = None
    own_length: Callable[[bytes], int | None] | None = None
    foreign: Callable[[Link, int, bytes, Session], bool] = _never_foreign
    zeros: bool = False
    whole: bool = False
    parts: bool = False
    silence: str = ""
    answer_within: Callable[[Link], AnswerTime | None] = _no_answer_time
    unproven: Callable[[bytes], bool] = _always_proven
    restarts: tuple[str, ...] = ()
    fails_safe: bool = True


def passes(recipe: Recipe, octets: bytes, known: Mapping[str, Any]) -> bool:
    """Return whether no check of a frame fails; what cannot be judged counts for it."""
    found = frames.inspect(recipe, octets, **known)
    return not any(verdict.result == "failed" for verdict in found.verdicts)


def places_of(octets: bytes, wanted: bytes) -> Iterator[int]:
    """Yield where ``wanted`` stands."""
    place = octets.find(wanted)
    while place >= 0:
        yield place
        place = octets.find(wanted, place + 1)


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
