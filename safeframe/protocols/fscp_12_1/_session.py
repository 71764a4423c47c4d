"""Sessions of FSCP 12/1: sequence numbers, chained CRC_0, the change rule.

A session that joins in the middle knows neither; it checks that the blocks belong together and
takes the one sequence number under which CRC_0 is right. That proves nothing about the first
frame, but the next one must follow it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, simple, solve
from ..._errors import UsageError
from . import _frame as fscp_12_1

_WITH_DATA = frozenset((fscp_12_1.PROCESS_DATA, fscp_12_1.FAIL_SAFE_DATA))


@dataclass(slots=True)
class _Side12:
    """One side of FSCP 12/1: its next number, its last CRC_0, the last CRC_0 it received."""

    sequence: int | None = 1
    own_crc0: int | None = 0
    received: int | None = 0


class Fscp12Session(Session):
    """FSCP 12/1: sequence numbers, chained CRC_0 and the change rule."""

    recipe = fscp_12_1.RECIPE
    senders = ("master", "slave")

    def __init__(self, *, connection_id: int, fresh: bool = True) -> None:
        super().__init__()
        self.connection_id = connection_id
        self._first_session = fresh
        self._sides = {
            sender: _Side12() if fresh else _Side12(None, None, None) for sender in self.senders
        }

    def known(self, sender: str) -> dict[str, Any]:
        """Return the connection id."""
        return {"connection_id": self.connection_id}

    def _first_block(self, sender: str, octets: bytes) -> Callable[[int], int]:
        """Return CRC_0 as a function of the sequence number, everything else as carried."""
        carried = frames.parse(self.recipe, octets).values
        data, command = carried["data"], carried["command"]
        return lambda sequence: fscp_12_1.block_crc(
            data[:2],
            peer_crc0=self._sides[sender].received or 0,
            connection_id=carried["connection_id"],
            sequence=sequence,
            command=command,
        )

    def _settle(self, sender: str, octets: bytes) -> int | None:
        """Return the number a frame must have: the next one, moved on by the change rule.

        Two successive frames of one sender must not carry the same CRC_0. The rule is off for
        the first Session frame of a master after a Reset (implementation A with the errata).
        """
        side = self._sides[sender]
        if side.sequence is None or side.received is None:
            return None
        first = sender == "master" and octets[0] == fscp_12_1.SESSION and self._first_session
        if not first and self._first_block(sender, octets)(side.sequence) == side.own_crc0:
            return fscp_12_1.next_sequence(side.sequence)
        return side.sequence

    def _advance(self, sender: str, octets: bytes, sequence: int) -> None:
        side = self._sides[sender]
        peer = self._sides["slave" if sender == "master" else "master"]
        if octets[0] == fscp_12_1.RESET:
            # Whoever sends or receives a Reset begins anew (tables of both sides, edition 2010).
            for each in (side, peer):
                each.sequence, each.own_crc0, each.received = 1, 0, 0
            self._first_session = True
            return
        self._first_session &= sender != "master"
        crc0_at = 2 if len(octets) == 6 else 3
        crc0 = octets[crc0_at] | octets[crc0_at + 1] << 8
        side.sequence, side.own_crc0 = fscp_12_1.next_sequence(sequence), crc0
        peer.received = crc0

    def accepts(self, sender: str, octets: bytes) -> bool:
        """Tell whether ``judge`` accepts a new frame with data, and if so advance as it does.

        False says nothing: ``judge`` must be asked. This spares the explanation of every frame of a
        long recording. ``sender`` must be one of ``senders``.
        """
        side = self._sides[sender]
        size = len(octets)
        if (
            side.sequence is None
            or side.received is None
            or size < 6
            or (size != 6 and size % 4 != 3)
            or octets[0] not in _WITH_DATA
            or octets[-2] | octets[-1] << 8 != self.connection_id
            or octets == self._last.get(sender)
        ):
            return False
        sequence, received, at = side.sequence, side.received, 2 if size == 6 else 3
        crc0 = fscp_12_1.first_crc(octets, peer_crc0=received, sequence=sequence)
        if crc0 == side.own_crc0:
            sequence = fscp_12_1.next_sequence(sequence)
            crc0 = fscp_12_1.first_crc(octets, peer_crc0=received, sequence=sequence)
        if crc0 != octets[at] | octets[at + 1] << 8:
            return False
        if not fscp_12_1.later_crcs_hold(octets, peer_crc0=received, sequence=sequence):
            return False
        self._advance(sender, octets, sequence)
        self._last[sender] = octets
        return True

    def is_chained(self, sender: str) -> bool:
        """Tell whether the history of a sender is known, so that its next frame can be judged."""
        side = self._sides[sender]
        return side.sequence is not None and side.received is not None

    def would_accept(self, sender: str, octets: bytes) -> bool:
        """Tell whether ``judge`` would accept a frame of legal length, without advancing."""
        history = {"sequence": self._settle(sender, octets) or 0}
        history["peer_crc0"] = self._sides[sender].received or 0
        return self._inspect(octets, **history).result == "accepted"

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        values = {"command": fscp_12_1.PROCESS_DATA, "connection_id": self.connection_id} | values
        side = self._sides[sender]
        if values["command"] == fscp_12_1.RESET:
            octets = frames.build(self.recipe, **values)
            self._advance(sender, octets, 1)
            return octets
        if side.sequence is None or side.received is None:
            raise UsageError("a session that joins in the middle cannot produce before a Reset")
        history = {"peer_crc0": side.received, "sequence": side.sequence}
        octets = frames.build(self.recipe, **values, **history)
        settled = self._settle(sender, octets)
        assert settled is not None, "both numbers of the side are known"
        if settled != side.sequence:
            octets = frames.build(self.recipe, **values, **history | {"sequence": settled})
        self._advance(sender, octets, settled)
        return octets

    def _inspect(self, octets: bytes, **history: int) -> Judgement:
        return simple(
            frames.inspect(self.recipe, octets, connection_id=self.connection_id, **history)
        )

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        if not frames.fits(self.recipe, octets):
            return self._inspect(octets)
        command = octets[0]
        if command == fscp_12_1.RESET:
            found = self._inspect(octets, peer_crc0=0, sequence=1)
            if found.result == "accepted":
                self._advance(sender, octets, 1)
            return found
        settled = self._settle(sender, octets)
        if settled is None:
            return self._learn(sender, octets)
        side = self._sides[sender]
        found = self._inspect(octets, peer_crc0=side.received or 0, sequence=settled)
        if found.result != "accepted" and sender == "master" and command == fscp_12_1.SESSION:
            # A slave in the Session state accepts a restarted Session frame (implementation A).
            again = self._inspect(octets, peer_crc0=0, sequence=1)
            if again.result == "accepted":
                self._sides[sender] = _Side12()
                found, settled = again, 1
        if found.result == "accepted":
            self._advance(sender, octets, settled)
        return found

    def _learn(self, sender: str, octets: bytes) -> Judgement:
        """Judge without history, and take the number under which CRC_0 would be right."""
        found = self._inspect(octets)
        side = self._sides[sender]
        if found.result == "rejected":
            return found
        crc0 = found.inspection.covers[0].carried
        if side.received is None:
            self._advance(sender, octets, 0)
            side.sequence = None
            return found
        sequence = solve(self._first_block(sender, octets), 16, crc0)
        if not sequence:
            text = "rejected: crc: no legal sequence number fits"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        self._advance(sender, octets, sequence)
        text = f"{found.text}; CRC_0 would be right with sequence number {sequence}"
        return Judgement(result="unknown", text=text, inspection=found.inspection)


SESSION = Fscp12Session
