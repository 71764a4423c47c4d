"""Sessions of FSCP 3/1: one consecutive number for each sender."""

from __future__ import annotations

from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, simple, solve
from ..._errors import UsageError
from ._frame import RECIPE, next_number

__all__ = ["SESSION"]


class Fscp3Session(Session):
    """FSCP 3/1: one consecutive number for each sender, one more with each changed frame.

    Only frames of a device were seen in the public capture; a host is treated alike.
    """

    recipe = RECIPE
    senders = ("host", "device")
    toggle = 0x20

    def __init__(self, *, parameter_crc: int, fresh: bool = True) -> None:
        super().__init__()
        self.settings = {"parameter_crc": parameter_crc}
        start = 0 if fresh else None
        self._next: dict[str, int | None] = dict.fromkeys(self.senders, start)
        self._learned = dict.fromkeys(self.senders, False)

    def known(self, sender: str) -> dict[str, Any]:
        """Return the parameter CRC."""
        return self.settings

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        number = self._next[sender]
        if number is None:
            raise UsageError("a session that joins in the middle cannot produce frames")
        status = values.get("status", 0) & ~self.toggle | (self.toggle if number & 1 else 0)
        octets = frames.build(RECIPE, **values | {"status": status}, number=number, **self.settings)
        self._next[sender] = next_number(number)
        return octets

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        number = self._next[sender]
        known = {} if number is None else {"number": number}
        found = simple(frames.inspect(RECIPE, octets, **self.settings, **known))
        if found.result == "accepted" and number is not None:
            if bool(octets[-4] & self.toggle) != bool(number & 1):
                text = f"rejected: the toggle bit does not follow number {number}"
                return Judgement(result="rejected", text=text, inspection=found.inspection)
            self._next[sender] = next_number(number)
            self._learned[sender] = False
        elif found.inspection.kind and (number is None or self._learned[sender]):
            return self._learn(sender, octets)
        return found

    def _learn(self, sender: str, octets: bytes) -> Judgement:
        """Take the number under which the CRC would be right."""

        def crc(number: int) -> int:
            built = frames.build(
                RECIPE,
                data=octets[:-4],
                status=octets[-4],
                number=number,
                **self.settings,
            )
            return int.from_bytes(built[-3:], "big")

        inspection = frames.inspect(RECIPE, octets, **self.settings)
        number = solve(crc, 24, int.from_bytes(octets[-3:], "big")) or 0
        self._next[sender] = next_number(number)
        self._learned[sender] = True
        text = f"{inspection.summary}; the CRC would be right with number {number}"
        return Judgement(result="unknown", text=text, inspection=inspection)


SESSION = Fscp3Session
