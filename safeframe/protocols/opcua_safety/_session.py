"""Sessions of OPC UA Safety: one request, one response."""

from __future__ import annotations

from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, simple
from ..._errors import UsageError
from ._frame import FIRST_NUMBER, RECIPE, next_number


class OpcuaSession(Session):
    """OPC UA Safety: one request, one response, the monitoring number rises by one.

    ``start`` is the number of the first request that is produced. A consumer may begin with any
    number from 0x100 on, so the first request that is judged may have any.
    """

    recipe = RECIPE
    senders = ("consumer", "provider")

    def __init__(
        self,
        *,
        consumer_id: int,
        spdu_ids: tuple[int, int, int],
        start: int = FIRST_NUMBER,
        fresh: bool = True,
    ) -> None:
        super().__init__()
        self.consumer_id = consumer_id
        self.ids = {f"spdu_id_{place}": word for place, word in enumerate(spdu_ids, 1)}
        self._number: int | None = start if fresh else None
        self._asked: dict[str, int] = {}
        self._answered: int | None = None
        self._expected: int | None = None

    def known(self, sender: str) -> dict[str, Any]:
        """Return the consumer id, and for a provider the three SPDU_ID words."""
        return {"consumer_id": self.consumer_id} | (self.ids if sender == "provider" else {})

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        if sender == "provider":
            if not self._asked:
                raise UsageError("a response must follow a request")
            return frames.build(RECIPE, **values, **self.ids, **self._asked)
        if self._number is None:
            raise UsageError("a session that joins in the middle cannot produce requests")
        number = values.get("monitoring_number", self._number)
        asked = {"consumer_id": self.consumer_id, "monitoring_number": number}
        octets = frames.build(RECIPE, **values | asked)
        self._asked, self._number = asked, next_number(number)
        return octets

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        kind = "request" if sender == "consumer" else "response"
        known = self.known(sender)
        if sender == "provider":
            known |= self._asked
        elif self._expected is not None:
            known["monitoring_number"] = self._expected
        found = simple(frames.inspect(RECIPE, octets, **known))
        if found.inspection.kind not in ("", kind):
            text = f"rejected: a {sender} sends no {found.inspection.kind}"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        if found.inspection.kind and not any(octets):
            # Nobody has written into the frame yet (RQ5.6).
            text = "all octets are 0: a receiver passes over such a frame"
            return Judgement(result="ignored", text=text, inspection=found.inspection)
        if found.result != "accepted":
            return found
        number = found.inspection.values["monitoring_number"]
        if sender == "provider":
            if number == self._answered:
                text = "this request has been answered: not a new frame"
                return Judgement(result="repeat", text=text, inspection=found.inspection)
            self._answered = number
            return found
        self._asked = {"consumer_id": self.consumer_id, "monitoring_number": number}
        self._expected = next_number(number)
        return found


SESSION = OpcuaSession
