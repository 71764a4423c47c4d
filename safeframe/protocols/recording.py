"""How recordings show a protocol: where its frames are, and what they do besides carrying data.

Sides are 0 for the first end of a connection and 1 for the second.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

from .._engine import frames
from .._engine.recipe import Recipe
from .._engine.stream import Session
from .link import Link

__all__ = [
    "AnswerTime",
    "Follower",
    "Happening",
    "RecordingTraits",
    "Step",
    "passes",
    "places_of",
]


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


class AnswerTime(NamedTuple):
    """The side that answers, and how long the other one waits for its answer."""

    side: int
    within_us: int


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
    foreign: Callable[[Link, int, bytes, Session], bool] = lambda link, side, octets, history: False
    zeros: bool = False
    whole: bool = False
    parts: bool = False
    silence: str = ""
    answer_within: Callable[[Link], AnswerTime | None] = lambda link: None
    unproven: Callable[[bytes], bool] = lambda octets: False
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
