"""Sessions of FSCP 13/1: the consecutive time of each sender."""

from __future__ import annotations

from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, newer, simple
from ..._errors import UsageError
from ._frame import RECIPE

__all__ = ["SESSION"]


class Fscp13Session(Session):
    """FSCP 13/1: consecutive time of each sender; senders are named by their address."""

    recipe = RECIPE

    def __init__(self, *, domain: int, manager_id: bytes = bytes(6), fresh: bool = True) -> None:
        super().__init__()
        self.settings = {"domain": domain, "manager_id": manager_id}
        self.fresh = fresh
        self._times: dict[str, int] = {}

    def _check(self, sender: str) -> None:
        if not sender.isdecimal() or not 1 <= int(sender) <= 1023:
            raise UsageError(f"a sender must be an address 1..1023 as text, not {sender!r}")

    def known(self, sender: str) -> dict[str, Any]:
        """Return domain, manager id and the address that names the sender."""
        return {"address": int(sender), **self.settings}

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        time = (self._times.get(sender, 0) + 1) % 65536
        values = {"consecutive_time": time} | values | self.known(sender)
        self._times[sender] = values["consecutive_time"]
        return frames.build(RECIPE, **values)

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        found = simple(frames.inspect(RECIPE, octets, **self.known(sender)))
        if found.result != "accepted":
            return found
        time, last = found.inspection.values["consecutive_time"], self._times.get(sender)
        if last is not None and not newer(time, last):
            text = f"rejected: consecutive time {time} is not newer than {last}"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        self._times[sender] = time
        if last is None and not self.fresh:
            text = "cannot be judged, because the last consecutive time is not known"
            return Judgement(result="unknown", text=text, inspection=found.inspection)
        return found


SESSION = Fscp13Session
