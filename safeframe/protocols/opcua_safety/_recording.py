"""How a recording shows the frames and the events of OPC UA Safety.

Flags as in tables 14 and 16 of release 1.05.04. A request carries no CRC, so whatever its flags say
is told. Data count as used only where no flag speaks against it.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..._engine.stream import Session
from ..link import Link
from ..recording import AnswerTime, Follower, Happening, RecordingTraits, Step, passes, places_of
from ._frame import RECIPE

_REQUEST = (
    (1, "communication error", "the consumer reports a communication error"),
    (2, "operator acknowledge", "the consumer asks for an operator acknowledge"),
    (4, "fail-safe values", "the consumer reports that it uses fail-safe values"),
)
_ACKNOWLEDGE, _ORDERED, _TEST, _ACTIVATED = 1, 2, 4, 4
_RESERVED = 0xF8
_REQUEST_OCTETS, _TRAILER_OCTETS = 9, 25


_UNANSWERED = Happening(
    "unanswered",
    "the request before it was not answered: its number is over, so no answer counts any more",
    True,
)


class OpcuaFollower(Follower):
    """The flags of both ends, and whether a request waits for its answer.

    An answer counts only under the number of the last request (P15 7), so a new number ends the
    wait for the one before.
    """

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._consumer = link.senders.index("consumer")
        self._flags = [0, 0]
        self._is_open = False

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Compare the flags with those before."""
        is_request = side == self._consumer
        flags = octets[8] if is_request else octets[-_TRAILER_OCTETS]
        rising, self._flags[side] = flags & ~self._flags[side], flags
        found = []
        if is_request:
            found = [Happening(kind, what, True) for bit, kind, what in _REQUEST if rising & bit]
            if self._is_open:
                found.insert(0, _UNANSWERED)
        elif rising & _ACKNOWLEDGE:
            found.append(Happening("acknowledged", "the provider passes on an acknowledge"))
        self._is_open = is_request
        if rising & _RESERVED:
            what = f"reserved bits of the flags are set: {flags:#04x}"
            found.append(Happening("reserved flags", what, True))
        return Step(tuple(found), None if is_request else self._use(flags))

    def _use(self, flags: int) -> str:
        if flags & _ORDERED:
            return "fail-safe values ordered"
        if flags & _TEST:
            return "test mode"
        if self._flags[self._consumer] & _ACTIVATED:
            return "the consumer uses fail-safe values"
        return ""


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look for the ids of the provider, or of the consumer in a request."""
    size, before = link.sizes[side], 0
    consumer, ids = link.settings["consumer_id"], link.settings["spdu_ids"]
    known = {"consumer_id": consumer}
    identity, provider = (word.to_bytes(4, "little") for word in (consumer, ids[0]))
    if link.carries[side]:
        known |= _ids(link)
        identity, before = provider, link.sent(side).size_octets + 1
    elif provider in octets:
        return []  # A response holds everything that a request consists of.
    return [
        place - before
        for place in places_of(octets, identity)
        if place >= before
        and place - before + size <= len(octets)
        and passes(RECIPE, octets[place - before : place - before + size], known)
    ]


def _ids(link: Link) -> dict[str, int]:
    return {f"spdu_id_{place}": word for place, word in enumerate(link.settings["spdu_ids"], 1)}


def _lengths(link: Link, side: int, octets: bytes) -> Sequence[int]:
    """Look for the ids of the provider behind data of another size."""
    if not link.carries[side]:
        return ()
    identity = link.settings["spdu_ids"][0].to_bytes(4, "little")
    sizes = (place - 1 + _TRAILER_OCTETS for place in places_of(octets, identity))
    return [
        size
        for size in sizes
        if size != link.sizes[side] and passes(RECIPE, octets[:size], _ids(link))
    ]


def _foreign(link: Link, side: int, octets: bytes, history: Session) -> bool:
    """Tell whether a response is right in itself, with other ids; a request proves nothing."""
    if not link.carries[side] or len(octets) == _REQUEST_OCTETS or not passes(RECIPE, octets, {}):
        return False
    known = {"consumer_id": link.settings["consumer_id"], **_ids(link)}
    return not passes(RECIPE, octets, known)


def _answer_within(link: Link) -> AnswerTime | None:
    """Return how long the consumer waits: a request, both delays and the answer fit in (P15 8)."""
    consumer = link.senders.index("consumer")
    stated = dict(link.connection.ends[consumer].parameters).get("consumer_timeout_us")
    return None if stated is None else AnswerTime(1 - consumer, int(stated))


RECORDING = RecordingTraits(
    follower=OpcuaFollower,
    search=_search,
    lengths=_lengths,
    foreign=_foreign,
    answer_within=_answer_within,
    zeros=True,
)
