"""How a recording shows the frames and the events of FSCP 13/1.

Bit 0 of the id says whether the connection is valid; while it is not, a receiver takes no data.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from ..._engine.stream import Session
from ..link import Link
from ..recording import Follower, Happening, RecordingTraits, Step, passes, places_of
from . import _management as management
from ._frame import IDS, MANAGEMENT, RECIPE, SERVICES, kind_of, sender_value

_IN_USE, _INVALID = Step(), Step(use="connection not valid")
_NOTHING = Step(use=None)
_LEAST, _MOST_DATA = 11, 254
"""Octets of the shortest frame, and the most that the length octet may say."""


class Fscp13Follower(Follower):
    """Whether each end calls the connection valid; who has used services."""

    def __init__(self, link: Link) -> None:
        super().__init__(link)
        self._served = [False, False]

    def steady(self, side: int, octets: bytes) -> bool:
        """Tell whether these are data of a valid connection."""
        return len(octets) > 1 and octets[1] >> 2 in (49, 51, 53)

    def recurs(self, octets: bytes) -> bool:
        """Tell whether this is a management frame: a manager guards with the same octets."""
        return len(octets) > 1 and octets[1] >> 2 in MANAGEMENT

    def follow(self, side: int, octets: bytes, text: str = "") -> Step:
        """Look at the id: data of a valid connection, of one that is not, or a service."""
        identity = octets[1] >> 2
        if identity in MANAGEMENT:
            data, address = octets[4 : 4 + octets[2]], octets[0] | (octets[1] & 3) << 8
            happening = _happening(identity, data, self._stated(side, identity, data))
            if sender_value(identity) == "target" and address != _other(self.link, side):
                happening = _to_another(happening, address)
            return Step((happening,), None)
        if identity in SERVICES:
            if self._served[side]:
                return _NOTHING
            self._served[side] = True
            what = f"object access: the first {IDS[identity]} of this end"
            return Step((Happening("parameters", what),), None)
        return _IN_USE if identity & 1 else _INVALID

    def _stated(self, side: int, identity: int, data: bytes) -> str:
        """Return what the maps say otherwise of an id in a management frame, in words."""
        node = self.link.connection.ends[side if identity % 2 else 1 - side]
        if identity in _WITH_UNIQUE_ID:
            stated = str(dict(node.parameters).get("unique_id", ""))
            if stated and bytes.fromhex(stated) != data:
                return f"the map of {node.name} says unique id {bytes.fromhex(stated).hex(' ')}"
        if identity in (44, 45) and data[:1] in _WITH_MANAGER_ID and any(data[1:]):
            manager_id: bytes = self.link.settings.get("manager_id", b"")
            if any(manager_id) and manager_id != data[1:]:
                return f"the maps say manager id {manager_id.hex(' ')}"
        return ""


_WITH_UNIQUE_ID = (41, 42, 43)
_WITH_MANAGER_ID = (b"\x0e", b"\x0f")


def _happening(identity: int, data: bytes, otherwise: str) -> Happening:
    """Return what a management frame does, in words.

    A failure, a refusal, a new start, and what the maps say ``otherwise`` are wrong.
    """
    kind, wrong = _KINDS.get(data[0] if identity in (44, 45) else -identity, ("management", False))
    text = management.explain(identity, data) if data else ""
    told = MANAGEMENT[identity] if identity not in (44, 45) else ""
    whole = ": ".join(part for part in (told, text) if part)
    wrong = wrong or bool(otherwise) or management.is_refusal(identity, data)
    return Happening(kind, f"{whole}; {otherwise}" if otherwise else whole, wrong)


def _to_another(happening: Happening, address: int) -> Happening:
    """Return what a frame to a node outside this connection does: nothing that breaks it.

    A failure that an end reports to somebody else stays one.
    """
    wrong = happening.is_wrong and happening.kind != "restart"
    return happening._replace(text=f"to address {address}: {happening.text}", is_wrong=wrong)


_KINDS = {
    -42: ("start-up", False),
    -43: ("start-up", False),
    -47: ("guarding", True),
    0: ("restart", True),
    2: ("start-up", False),
    3: ("start-up", False),
    7: ("failure", True),
    8: ("guarding", False),
    12: ("failure", False),
    14: ("start-up", False),
    15: ("start-up", False),
}
"""Kind and whether it is wrong, by command, or by minus the id of a frame without one."""


def _other(link: Link, side: int) -> int:
    return int(link.senders[1 - side])


def _fits(link: Link, side: int, octets: bytes) -> bool:
    """Tell whether a frame can be one of a side: where the id says, its address is the sender's."""
    known: dict[str, Any] = {**link.settings}
    identity = octets[1] >> 2
    if name := sender_value(identity):
        known[name] = int(link.senders[side])
    if name == "target":
        known["address"] = _other(link, side)
    return passes(RECIPE, octets, known)


def _own_length(octets: bytes) -> int | None:
    """Return the length that a frame states, None where it is no length of its id."""
    identity = octets[1] >> 2 if len(octets) >= _LEAST else 0
    if (identity not in IDS and identity not in MANAGEMENT) or octets[2] > _MOST_DATA:
        return None
    return RECIPE.shape(octets[2], kind_of(identity)).size_octets


def _search(link: Link, side: int, octets: bytes) -> list[int]:
    """Look for the address and for a length that the rest allows, then judge both CRCs.

    Services and management carry the address of the receiver, data that of the sender.
    """
    found = []
    for address, name in ((int(link.senders[side]), "address"), (_other(link, side), "target")):
        for start in places_of(octets, bytes((address & 255,))):
            size = _own_length(octets[start : start + _LEAST])
            if size is None or start + size > len(octets):
                continue
            second = octets[start + 1]
            is_told = second & 3 == address >> 8 and sender_value(second >> 2) == name
            if is_told and _fits(link, side, octets[start : start + size]):
                found.append(start)
    return found


def _lengths(link: Link, side: int, octets: bytes) -> Sequence[int]:
    """Take the length that the frame itself states, where both CRCs agree to it."""
    size = _own_length(octets)
    if size in (None, link.sizes[side]) or not _fits(link, side, octets[:size]):
        return ()
    return (size,)


def _foreign(link: Link, side: int, octets: bytes, history: Session) -> bool:
    """Tell whether a frame is right in itself, with another address or domain."""
    manager = {name: value for name, value in link.settings.items() if name == "manager_id"}
    own = {"manager_id": bytes(6)} | manager
    return passes(RECIPE, octets, own) and not _fits(link, side, octets)


RECORDING = RecordingTraits(
    follower=Fscp13Follower,
    search=_search,
    lengths=_lengths,
    own_length=_own_length,
    foreign=_foreign,
    restarts=("restart",),
)
