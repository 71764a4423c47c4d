"""Both sides of a stream of LIFT 6: each counts its own frames."""

from __future__ import annotations

from typing import Any

from safeframe._engine import frames
from safeframe._engine.stream import Judgement, Session, simple

from ._frame import RECIPE

__all__ = ["SESSION"]


class _LiftSession(Session):
    recipe = RECIPE
    senders = ("shaft", "cabin")

    def __init__(self, *, stations: tuple[int, int], fresh: bool = True) -> None:
        super().__init__()
        self._stations = dict(zip(self.senders, stations, strict=True))
        self._next: dict[str, int | None] = dict.fromkeys(self.senders, 0 if fresh else None)

    def known(self, sender: str) -> dict[str, Any]:
        """Return the station of a sender."""
        return {"station": self._stations[sender]}

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        counter = self._next[sender] or 0
        self._next[sender] = (counter + 1) % 256
        return frames.build(RECIPE, counter=counter, **values, **self.known(sender))

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        counter = self._next[sender]
        known = {} if counter is None else {"counter": counter}
        found = simple(frames.inspect(RECIPE, octets, **known, **self.known(sender)))
        if found.result == "accepted":
            self._next[sender] = (octets[0] + 1) % 256
            if counter is None:
                text = "cannot be judged, because the counter is not known"
                return Judgement(result="unknown", text=text, inspection=found.inspection)
        return found


SESSION = _LiftSession
