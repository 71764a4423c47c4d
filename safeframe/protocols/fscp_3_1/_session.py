"""Sessions of FSCP 3/1: one consecutive number for each sender."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, simple, solve
from ..._errors import UsageError
from ._frame import RECIPE, RESET_BITS, next_number


class Fscp3Session(Session):
    """FSCP 3/1: one consecutive number for each sender, one more with each changed frame.

    Only frames of a device were seen in the public capture; a host is treated alike. There changed
    data came twice under one number with the same toggle bit, both CRCs right: such a frame is
    accepted, too. One that says that the number is reset may begin again with 0.
    """

    recipe = RECIPE
    senders = ("host", "device")
    toggle = 0x20

    def __init__(self, *, parameter_crc: int, fresh: bool = True) -> None:
        super().__init__()
        self.settings = {"parameter_crc": parameter_crc}
        start = 0 if fresh else None
        self._next: dict[str, int | None] = dict.fromkeys(self.senders, start)
        self._used: dict[str, int | None] = dict.fromkeys(self.senders)

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
        number, used = self._next[sender], self._used[sender]
        if number is None:
            shape = frames.inspect(RECIPE, octets, **self.settings)
            return self._learn(sender, octets) if shape.kind else simple(shape)
        found = self._under(octets, number)
        same = f"accepted: changed data under number {used} again"
        others = [] if used is None else [(used, same)]
        if found.result != "accepted" and found.inspection.kind:
            if octets[-4] & RESET_BITS[sender]:
                others.append((0, "accepted"))
            for other, text in others:
                again = self._under(octets, other)
                if again.result == "accepted":
                    found, number = replace(again, text=text), other
                    break
        if found.result == "accepted":
            self._used[sender], self._next[sender] = number, next_number(number)
        return found

    def _under(self, octets: bytes, number: int) -> Judgement:
        """Judge a frame under a number, its toggle bit included."""
        found = simple(frames.inspect(RECIPE, octets, **self.settings, number=number))
        if found.result != "accepted":
            return found
        follows = bool(octets[-4] & self.toggle) == bool(number & 1)
        if follows:
            return found
        text = f"rejected: the toggle bit does not follow number {number}"
        return Judgement(result="rejected", text=text, inspection=found.inspection)

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
        self._used[sender], self._next[sender] = number, next_number(number)
        text = f"{inspection.summary}; the CRC would be right with number {number}"
        return Judgement(result="unknown", text=text, inspection=inspection)


SESSION = Fscp3Session
