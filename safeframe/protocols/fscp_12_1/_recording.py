"""How a recording shows the frames and the events of FSCP 12/1.

States and what is legal in them, the order of checks, the start-up and its contents: the tables of
edition 2010 and two implementations (see the page of the profile). A Reset by either end throws
both back; after it data are fail-safe until an end sends ProcessData again.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..._engine.stream import Session
from ..link import Link
from ..recording import Follower, Happening, RecordingTraits, Step, places_of
from ._frame import (
    COMMANDS,
    CONNECTION,
    ERROR_CODES,
    FAIL_SAFE_DATA,
    PARAMETER,
    PROCESS_DATA,
    RESET,
    SESSION,
    related,
    unblocked,
)
from ._session import Fscp12Session

_RESET, _SESSION, _CONNECTION, _PARAMETER, _DATA = range(5)
_STATES = {
    RESET: _RESET,
    SESSION: _SESSION,
    CONNECTION: _CONNECTION,
    PARAMETER: _PARAMETER,
    PROCESS_DATA: _DATA,
    FAIL_SAFE_DATA: _DATA,
}
_NAMES = ("Reset", "Session", "Connection", "Parameter", "Data")
_IN_USE, _FAIL_SAFE = Step(), Step(use="FailSafeData")
_SIZES = (6, *range(7, 64, 4))
"""Lengths that are looked for where a frame has not the expected one: up to 30 data octets."""


_COMMUNICATION_OCTETS = 2
"""Length of the communication parameters: the watchdog."""


def _word(octets: bytes, at: int) -> int:
    return octets[at] | octets[at + 1] << 8


class Fscp12Follower(Follower):
    """The states of both ends; ``None`` until a frame shows them."""

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self.master = link.senders.index("master")
        self._slave = link.connection.ends[1 - self.master]
        self._chunk = min(link.sent(side).size_octets for side in (0, 1))
        self._state: int | None = None
        self._asked: bytes | None = None
        self._text: bytes | None = None

    def refuse(self, side: int, octets: bytes) -> tuple[str, str] | None:
        """Refuse a command that is not legal in this state, and an answer that is no echo."""
        state, size = _STATES.get(octets[0]) if octets else None, len(octets)
        if not state or self._state is None or (size != 6 and size % 4 != 3):
            return None  # a Reset is legal everywhere; what is no frame is judged elsewhere.
        if not self._legal(side, state):
            command = COMMANDS[octets[0]]
            return "state", f"{command} is not legal in the state {_NAMES[self._state]}"
        if side != self.master and state in (_CONNECTION, _PARAMETER) and self._asked is not None:
            data = unblocked(octets)
            size = min(len(data), len(self._asked))
            if data[:size] != self._asked[:size]:
                return "echo", "the answer does not repeat what the master has sent"
        return None

    def _legal(self, side: int, state: int) -> bool:
        now = self._state or 0
        if side != self.master:
            return state == now
        return now <= _SESSION if state == _SESSION else now in (state - 1, state)

    def begins(self, octets: bytes) -> bool:
        """Tell whether this is a Reset or Session frame."""
        return octets[0] in (RESET, SESSION)

    def steady(self, side: int, octets: bytes) -> bool:
        """Tell whether process data are exchanged and this is some more."""
        return octets[0] == PROCESS_DATA and self._state == _DATA

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Follow the states, and put together what the start-up exchanges."""
        command, before = octets[0], self._state
        state = _STATES[command]
        if state == _RESET:
            self._state, self._asked, self._text = _RESET, None, None
            return Step(tuple(_reset(octets[1], before)), None, True)
        is_master = side == self.master
        if is_master or before is None:
            self._state = state
        if state == _DATA:
            if is_master:
                self._asked = None
            return _IN_USE if command == PROCESS_DATA else _FAIL_SAFE
        happenings: list[Happening] = []
        if is_master:
            self._asked = unblocked(octets)
            if state != before:
                happenings.append(Happening("start-up", f"start-up: {_NAMES[state]}"))
                self._text = None if before is None else b""
            if state != _SESSION and self._text is not None:
                happenings += self._put(state, self._asked[: self._chunk])
        return Step(tuple(happenings), None)

    def _put(self, state: int, more: bytes) -> list[Happening]:
        """Add what a frame of the master carries, and say what has come together."""
        was = len(self._text or b"")
        text = self._text = (self._text or b"") + more
        if state == _CONNECTION:
            return [self._connection(text)] if was < 4 <= len(text) else []
        if len(text) >= 6 and was < 6 + _word(text, 4) <= len(text):
            return [self._parameters(text)]
        return []

    def _connection(self, text: bytes) -> Happening:
        identity, address = _word(text, 0), _word(text, 2)
        found = f"connection id {identity:#06x}, slave address {address}"
        own = self.link.settings["connection_id"]
        if identity != own:
            # A slave has gone on from here, so the octets do not hold what the sources say.
            return Happening("address", f"{found}; not the id {own:#06x} of the maps")
        wrong = self._slave.address not in (None, address)
        told = f"; the map of {self._slave.name} says address {self._slave.address}"
        return Happening("address", found + told * wrong, wrong)

    def _parameters(self, text: bytes) -> Happening:
        size, watchdog_ms, more = (_word(text, at) for at in (0, 2, 4))
        if size != _COMMUNICATION_OCTETS:
            return Happening("parameters", f"parameters of an unknown layout: {text[:6].hex(' ')}")
        found = f"parameters: watchdog {watchdog_ms} ms, {more} octets of application parameters"
        watchdog_us = self.link.watchdog_us
        if watchdog_us not in (None, 1000 * watchdog_ms):
            found += f"; the maps say watchdog {(watchdog_us or 0) // 1000} ms"
        stated = dict(self._slave.parameters).get("application_parameters")
        octets = None if stated is None else bytes.fromhex(str(stated))
        if octets not in (None, text[6 : 6 + more]):
            found += f": {text[6 : 6 + more].hex(' ') or 'none'}; the map of {self._slave.name} "
            found += f"says {octets.hex(' ') or 'none'}"
        return Happening("parameters", found, ";" in found)


def _reset(code: int, before: int | None) -> list[Happening]:
    found = []
    if before:
        found.append(Happening("restart", f"restart: a Reset in the state {_NAMES[before]}", True))
    name = ERROR_CODES.get(code, "a code of the device" if code > 127 else "a code without a name")
    return [*found, Happening("reset", f"Reset with code {code}: {name}", bool(code))]


def _whole(octets: bytes) -> bool:
    """Tell whether octets look like a frame: a known command, blocks that belong together."""
    return octets[0] in COMMANDS and (len(octets) < 11 or related(octets) is None)


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look for the connection id at the end of a frame with a known command and joined blocks."""
    size = link.sizes[side]
    identity = link.settings["connection_id"].to_bytes(2, "little")
    return [
        end + 2 - size
        for end in places_of(octets, identity)
        if end + 2 >= size and _whole(octets[end + 2 - size : end + 2])
    ]


def _lengths(link: Link, side: int, octets: bytes) -> Sequence[int]:
    """Look for the connection id where frames of other lengths end."""
    identity = link.settings["connection_id"].to_bytes(2, "little")
    if octets[:1] and octets[0] in (RESET, SESSION):
        identity = bytes(2)
    return [
        size
        for size in _SIZES
        if size != link.sizes[side]
        and octets[size - 2 : size] == identity
        and _whole(octets[:size])
    ]


def _foreign(link: Link, side: int, octets: bytes, history: Session) -> bool:
    """Tell whether another id stands in a frame whose blocks belong together.

    One or two data octets prove nothing: there is one CRC, and another connection's history is
    not known. A frame that is right with our own id has lost nothing but its id. Reset and Session
    frames carry the id 0 in every connection.
    """
    size = len(octets)
    if size < 11 or size % 4 != 3 or octets[0] in (RESET, SESSION) or not _whole(octets):
        return False
    wanted = link.settings["connection_id"]
    identity, sender = _word(octets, size - 2), link.senders[side]
    if identity in (0, wanted) or not isinstance(history, Fscp12Session):
        return False
    if not history.is_chained(sender):
        return False
    return not history.would_accept(sender, octets[:-2] + wanted.to_bytes(2, "little"))


def _is_one_block(octets: bytes) -> bool:
    """Tell whether a frame has one CRC only: any data suit some history of it."""
    return len(octets) < 11


RECORDING = RecordingTraits(
    follower=Fscp12Follower,
    search=_search,
    names_sender=False,
    lengths=_lengths,
    foreign=_foreign,
    zeros=True,
    unproven=_is_one_block,
    restarts=("restart",),
)
