"""Sessions of FSCP 13/1: the consecutive time of each sender, the number of each access.

A service frame carries the number of an access in place of the time: a request gets the next one,
the answer repeats it (an open stack, its recorded frames, the dissector). Management frames carry
neither. The manager id that a node confirms holds for all later frames of both sides.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, newer, simple
from ..._errors import UsageError
from ._frame import MANAGEMENT, RECIPE, SERVICES, sender_value


class Fscp13Session(Session):
    """FSCP 13/1: consecutive time of each sender; senders are named by their address."""

    recipe = RECIPE

    def __init__(self, *, domain: int, manager_id: bytes = bytes(6), fresh: bool = True) -> None:
        super().__init__()
        self.settings = {"domain": domain, "manager_id": manager_id}
        self.fresh = fresh
        self._times: dict[str, int] = {}
        self._accesses: dict[tuple[int, int], int] = {}
        """The number of the last request, by who asks and who is asked."""

    def _check(self, sender: str) -> None:
        if not sender.isdecimal() or not 1 <= int(sender) <= 1023:
            raise UsageError(f"a sender must be an address 1..1023 as text, not {sender!r}")

    def known(self, sender: str) -> dict[str, Any]:
        """Return domain, manager id and the address that names the sender of data frames."""
        return {"address": int(sender), **self.settings}

    def known_of(self, sender: str, octets: bytes) -> dict[str, Any]:
        """Return what is known of one frame: the sender's address stands where its id says."""
        identity = octets[1] >> 2 if len(octets) > 1 else 0
        return {**_sent_by(identity, sender), **self.settings}

    def judge(self, sender: str, octets: bytes) -> Judgement:
        """Judge the next frame of a sender; management frames carry no count and may recur."""
        if len(octets) > 1 and octets[1] >> 2 in MANAGEMENT:
            self._check(sender)
            found = self._judge(sender, octets)
            if found.result != "rejected":
                # Behind it the data frame before it is an old one, not the same once more.
                self._last[sender] = octets
            return found
        return super().judge(sender, octets)

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        identity: int = (RECIPE.defaults | values)["id"]
        values = values | _sent_by(identity, sender) | self.settings
        if identity in SERVICES:
            return self._produce_service(identity % 2 == 0, values)
        if identity in MANAGEMENT:
            _need_receiver(values)
            made = frames.build(RECIPE, **values)
            self._follow(values)
            return made
        time = (self._times.get(sender, 0) + 1) % 65536
        values = {"consecutive_time": time} | values
        self._times[sender] = values["consecutive_time"]
        return frames.build(RECIPE, **values)

    def _produce_service(self, asks: bool, values: dict[str, Any]) -> bytes:
        _need_receiver(values)
        way = _way(asks, values)
        number = self._accesses.get(way, 0) + asks
        values = {"consecutive_time": number % 65536} | values
        made = frames.build(RECIPE, **values)
        self._accesses[way] = values["consecutive_time"]
        return made

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        found = simple(frames.inspect(RECIPE, octets, **self.known_of(sender, octets)))
        if found.result != "accepted":
            return found
        identity = found.inspection.values["id"]
        if identity in SERVICES:
            return self._judge_service(found)
        if identity in MANAGEMENT:
            self._follow(found.inspection.values)
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

    def _follow(self, values: Mapping[str, Any]) -> None:
        """Take the manager id that a node confirms; six zeros are a refusal."""
        data: bytes = values["data"]
        if values["id"] == 45 and data[:1] == b"\x0f" and any(data[1:]):
            self.settings = {**self.settings, "manager_id": data[1:]}

    def _judge_service(self, found: Judgement) -> Judgement:
        """Judge the number of an access: an answer repeats that of the request."""
        values = found.inspection.values
        asks, number = values["id"] % 2 == 0, values["consecutive_time"]
        way = _way(asks, values)
        if asks:
            self._accesses[way] = number
            return found
        asked = self._accesses.get(way)
        if asked is None:
            text = "cannot be judged, because the request it answers is not known"
            return Judgement(result="unknown", text=text, inspection=found.inspection)
        if number != asked:
            text = f"rejected: it answers access {number}, but access {asked} was asked for"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        return found


def _sent_by(identity: int, sender: str) -> dict[str, int]:
    """Return what a frame says of its sender, by the name of the value."""
    name = sender_value(identity)
    return {name: int(sender)} if name else {}


def _need_receiver(values: Mapping[str, Any]) -> None:
    if "address" not in values:
        raise UsageError("a service or management frame needs the value address: who receives it")


def _way(asks: bool, values: Mapping[str, Any]) -> tuple[int, int]:
    """Return who asks and who is asked in a service frame."""
    receiver, sender = values["address"], values["target"]
    return (sender, receiver) if asks else (receiver, sender)


SESSION = Fscp13Session
