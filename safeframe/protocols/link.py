"""The link: a connection together with what its protocol needs to build and judge its frames.

A room offers the traits of its links; one link is made of them and of the two maps. Sides are 0
for the first end of a connection and 1 for the second.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from .._engine.stream import Session, start
from .._errors import UsageError
from .._model import Connection, End, Map
from ._registry import room

__all__ = [
    "DEFAULT_TICK_US",
    "Link",
    "LinkTraits",
    "agreed",
    "parameter",
    "roles",
    "shared_parameter",
]

DEFAULT_TICK_US = 10_000
"""Time between two frames of one sender where no map states an exchange time; by choice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LinkTraits:
    """What the two maps of a connection say about its frames.

    ``senders`` returns the words the session knows the two ends by, ``settings`` what a session
    needs, from the maps and what was given by name; both raise UsageError for what is missing.
    ``first`` is the word of the sender that begins (empty: that with the lower address).
    ``values`` returns what a sender puts into its next frame: whether it carries safety data,
    these, and the time in microseconds. ``data_of`` returns the safety data that an accepted frame
    carries, or None for a frame without. ``silent`` are the octets of a frame of each sender that
    never carries safety data, ``kind`` the kind of frame for a size of data and the settings.
    ``stated`` returns the values of a frame that the map of one end alone states. ``mute`` are the
    senders that send nothing at all. ``spacing`` returns when in its turn a sender sends its
    frames, in microseconds: one at 0, unless several carry the data together. ``watchdog`` names
    the setting that is the watchdog in milliseconds (empty: what the maps state as such),
    ``cycle_ms`` returns what the sender's map says besides the exchange time about how often it
    sends. ``stamped_us`` is the longest time after which a stamp is sure to be newer than the last
    one, over its wrap (None: no stamp follows the clock), ``stamped_by`` says from what it is
    computed and who says so.
    """

    senders: Callable[[Connection], tuple[str, str]]
    settings: Callable[[Connection, Mapping[str, Any]], dict[str, Any]]
    values: Callable[[bool, bytes, int], dict[str, Any]]
    data_of: Callable[[bytes], bytes | None]
    first: str = ""
    silent: Mapping[str, int] = field(default_factory=dict)
    kind: Callable[[int, Mapping[str, Any]], str] = lambda data_octets, settings: ""
    stated: Callable[[End], dict[str, Any]] = lambda end: {}
    mute: frozenset[str] = frozenset()
    spacing: Callable[[Mapping[str, Any]], tuple[int, ...]] = lambda settings: (0,)
    watchdog: str = ""
    cycle_ms: Callable[[Connection], int | None] = lambda connection: None
    stamped_us: int | None = None
    stamped_by: str = ""


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
        """Microseconds between two frames of one sender; where the ends differ, the longer."""
        stated = [
            end.connection_table.exchange_ms
            for end in self.connection.ends
            if end.connection_table.exchange_ms
        ]
        if stated:
            return 1000 * max(stated)
        cycle_ms = _traits_of(self.profile).cycle_ms(self.connection)
        return 1000 * cycle_ms if cycle_ms else DEFAULT_TICK_US

    @property
    def spacing_us(self) -> tuple[int, ...]:
        """When in its turn a sender sends each of the frames that carry its data together."""
        return _traits_of(self.profile).spacing(self.settings)

    @property
    def stamped_us(self) -> int | None:
        """The longest time after which a stamp tells that a frame is newer, or None."""
        return _traits_of(self.profile).stamped_us

    @property
    def stamped_by(self) -> str:
        """From what the longest time between stamps is computed, and who says so."""
        return _traits_of(self.profile).stamped_by

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
