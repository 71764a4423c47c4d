"""Sessions of FSCP 2/1: time stamps with rollover, time coordination back."""

from __future__ import annotations

from typing import Any

from ..._engine import frames
from ..._engine.stream import Judgement, Session, newer, simple, solve
from ..._errors import UsageError
from ._frame import RECIPE


class Fscp2Session(Session):
    """FSCP 2/1: time stamps with rollover from the producer, time coordination back.

    A stamp counts as newer when it is less than half its range ahead (common practice). A session
    that joins in the middle takes the rollover count of the extended format from the first frame:
    the one count under which its checksums are right.
    """

    recipe = RECIPE
    senders = ("producer", "consumer")

    def __init__(
        self,
        *,
        format: str,  # noqa: A002 - the name of the value.
        producer: tuple[int, int, int],
        consumer: tuple[int, int, int],
        rollover: int = 0,
        fresh: bool = True,
    ) -> None:
        super().__init__()
        names = ("vendor_id", "device_serial", "connection_serial")
        self._known = {
            "producer": {"format": format, **dict(zip(names, producer, strict=True))},
            "consumer": {"format": format, **dict(zip(names, consumer, strict=True))},
        }
        self._rollover: int | None = rollover if fresh else None
        self._stamp: int | None = None
        self.fresh = fresh

    def known(self, sender: str) -> dict[str, Any]:
        """Return the format and the identity of the sender."""
        return self._known[sender]

    def _counted(self, stamp: int) -> dict[str, int]:
        """Return the rollover count of a frame with this stamp, where it is known."""
        if self._rollover is None:
            return {}
        wrapped = self._stamp is not None and stamp < self._stamp
        return {"rollover": (self._rollover + wrapped) % 65536}

    def _advance(self, stamp: int, counted: dict[str, int]) -> None:
        self._stamp = stamp
        self._rollover = counted.get("rollover")

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        if sender == "consumer":
            return frames.build(RECIPE, **self._known[sender], **values)
        if "time_stamp" not in values:
            raise UsageError("producing this frame needs the value time_stamp")
        if self._rollover is None:
            raise UsageError("a session that joins in the middle cannot produce data frames")
        counted = self._counted(values["time_stamp"])
        octets = frames.build(RECIPE, **self._known[sender], **values, **counted)
        self._advance(values["time_stamp"], counted)
        return octets

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        known = self._known[sender]
        shape = frames.inspect(RECIPE, octets, **known)
        if not shape.kind or (sender == "consumer") != shape.kind.endswith("time"):
            text = shape.summary if not shape.kind else f"rejected: no frame of a {sender}"
            return Judgement(result="rejected", text=text, inspection=shape)
        if sender == "consumer":
            return simple(shape)
        stamp = shape.values["time_stamp"]
        counted = self._counted(stamp)
        if not counted and known["format"] == "extended":
            counted = _learnt({**known, **shape.values}, octets)
            if not counted:
                wrong = frames.inspect(RECIPE, octets, **known, rollover=0)
                text = "rejected: no rollover count makes the checksums of this frame right"
                return Judgement(result="rejected", text=text, inspection=wrong)
        found = simple(frames.inspect(RECIPE, octets, **known, **counted))
        if found.result == "rejected":
            return found
        if self._stamp is not None and not newer(stamp, self._stamp):
            text = f"rejected: time stamp {stamp} is not newer than {self._stamp}"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        if found.result == "accepted" and self._stamp is None and not self.fresh:
            text = "cannot be judged, because the last time stamp is not known"
            found = Judgement(result="unknown", text=text, inspection=found.inspection)
        self._advance(stamp, counted)
        return found


def _learnt(values: dict[str, Any], octets: bytes) -> dict[str, int]:
    """Return the rollover count that makes every checksum of a frame right, if there is one."""

    def built(count: int) -> int:
        return int.from_bytes(frames.build(RECIPE, **values, rollover=count), "little")

    count = solve(built, 16, int.from_bytes(octets, "little"))
    return {} if count is None else {"rollover": count}


SESSION = Fscp2Session
