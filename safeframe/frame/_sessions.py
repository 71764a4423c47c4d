"""Sessions of the profiles: both sides' chained state, to produce a stream and to judge one.

A session knows what no frame carries: sequence numbers, rollover counts, which request is being
answered. ``produce`` builds the next frame of a sender, ``judge`` says what the receiver would
say and moves on only when it accepts. A session started with ``fresh=False`` joins a stream in
the middle: it says "cannot be judged, because ..." until it has seen enough.
"""

from __future__ import annotations

from collections.abc import Callable
from inspect import signature
from typing import Any

from .. import frame
from .._errors import UsageError
from . import _fscp_3_1 as fscp_3_1
from . import _fscp_13_1 as fscp_13_1
from . import _opcua as opcua
from ._session_12_1 import Session12
from ._stream import Judgement, Session, simple, solve

__all__ = ["session"]


class _Session13(Session):
    """FSCP 13/1: consecutive time of each sender; senders are named by their address."""

    profile = "fscp-13-1"

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
        return frame.build(self.profile, **values)

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        found = simple(frame.inspect(self.profile, octets, **self.known(sender)))
        if found.result != "accepted":
            return found
        time, last = found.inspection.values["consecutive_time"], self._times.get(sender)
        if last is not None and not fscp_13_1.newer(time, last):
            text = f"rejected: consecutive time {time} is not newer than {last}"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        self._times[sender] = time
        if last is None and not self.fresh:
            text = "cannot be judged, because the last consecutive time is not known"
            return Judgement(result="unknown", text=text, inspection=found.inspection)
        return found


class _Session2(Session):
    """FSCP 2/1: time stamps with rollover from the producer, time coordination back.

    A stamp counts as newer when it is less than half its range ahead (common practice).
    """

    profile = "fscp-2-1"
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
            return frame.build(self.profile, **self._known[sender], **values)
        if "time_stamp" not in values:
            raise UsageError("producing this frame needs the value time_stamp")
        if self._rollover is None:
            raise UsageError("a session that joins in the middle cannot produce data frames")
        counted = self._counted(values["time_stamp"])
        octets = frame.build(self.profile, **self._known[sender], **values, **counted)
        self._advance(values["time_stamp"], counted)
        return octets

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        known = self._known[sender]
        shape = frame.inspect(self.profile, octets, **known)
        if not shape.kind or (sender == "consumer") != shape.kind.endswith("time"):
            text = shape.summary if not shape.kind else f"rejected: no frame of a {sender}"
            return Judgement(result="rejected", text=text, inspection=shape)
        if sender == "consumer":
            return simple(shape)
        stamp = shape.values["time_stamp"]
        counted = self._counted(stamp)
        found = simple(frame.inspect(self.profile, octets, **known, **counted))
        if found.result == "rejected":
            return found
        if self._stamp is not None and not fscp_13_1.newer(stamp, self._stamp):
            text = f"rejected: time stamp {stamp} is not newer than {self._stamp}"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        if found.result == "accepted" and self._stamp is None and not self.fresh:
            text = "cannot be judged, because the last time stamp is not known"
            found = Judgement(result="unknown", text=text, inspection=found.inspection)
        self._advance(stamp, counted)
        return found


class _Session3(Session):
    """FSCP 3/1: one consecutive number for each sender, one more with each changed frame.

    Only frames of a device were seen in the public capture; a host is treated alike.
    """

    profile = "fscp-3-1"
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
        octets = frame.build(
            self.profile, **values | {"status": status}, number=number, **self.settings
        )
        self._next[sender] = fscp_3_1.next_number(number)
        return octets

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        number = self._next[sender]
        known = {} if number is None else {"number": number}
        found = simple(frame.inspect(self.profile, octets, **self.settings, **known))
        if found.result == "accepted" and number is not None:
            if bool(octets[-4] & self.toggle) != bool(number & 1):
                text = f"rejected: the toggle bit does not follow number {number}"
                return Judgement(result="rejected", text=text, inspection=found.inspection)
            self._next[sender] = fscp_3_1.next_number(number)
            self._learned[sender] = False
        elif found.inspection.kind and (number is None or self._learned[sender]):
            return self._learn(sender, octets)
        return found

    def _learn(self, sender: str, octets: bytes) -> Judgement:
        """Take the number under which the CRC would be right."""

        def crc(number: int) -> int:
            built = frame.build(
                self.profile,
                data=octets[:-4],
                status=octets[-4],
                number=number,
                **self.settings,
            )
            return int.from_bytes(built[-3:], "big")

        inspection = frame.inspect(self.profile, octets, **self.settings)
        number = solve(crc, 24, int.from_bytes(octets[-3:], "big")) or 0
        self._next[sender] = fscp_3_1.next_number(number)
        self._learned[sender] = True
        text = f"{inspection.summary}; the CRC would be right with number {number}"
        return Judgement(result="unknown", text=text, inspection=inspection)


class _SessionUa(Session):
    """OPC UA Safety: one request, one response, the monitoring number rises by one."""

    profile = "opcua-safety"
    senders = ("consumer", "provider")

    def __init__(
        self,
        *,
        consumer_id: int,
        spdu_ids: tuple[int, int, int],
        start: int = opcua.FIRST_NUMBER,
        fresh: bool = True,
    ) -> None:
        super().__init__()
        self.consumer_id = consumer_id
        self.ids = {f"spdu_id_{place}": word for place, word in enumerate(spdu_ids, 1)}
        self._number: int | None = start if fresh else None
        self._asked: dict[str, int] = {}

    def known(self, sender: str) -> dict[str, Any]:
        """Return the consumer id, and for a provider the three SPDU_ID words."""
        return {"consumer_id": self.consumer_id} | (self.ids if sender == "provider" else {})

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        if sender == "provider":
            if not self._asked:
                raise UsageError("a response must follow a request")
            return frame.build(self.profile, **values, **self.ids, **self._asked)
        if self._number is None:
            raise UsageError("a session that joins in the middle cannot produce requests")
        asked = {"consumer_id": self.consumer_id, "monitoring_number": self._number}
        octets = frame.build(self.profile, **values, **asked)
        self._asked, self._number = asked, opcua.next_number(self._number)
        return octets

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        kind = "request" if sender == "consumer" else "response"
        known = self.known(sender)
        if sender == "provider":
            known |= self._asked
        elif self._number is not None:
            known["monitoring_number"] = self._number
        found = simple(frame.inspect(self.profile, octets, **known))
        if found.inspection.kind not in ("", kind):
            text = f"rejected: a {sender} sends no {found.inspection.kind}"
            return Judgement(result="rejected", text=text, inspection=found.inspection)
        if sender == "consumer" and found.result == "accepted":
            number = found.inspection.values["monitoring_number"]
            self._asked = {"consumer_id": self.consumer_id, "monitoring_number": number}
            first, self._number = self._number is None, opcua.next_number(number)
            if first:
                text = "cannot be judged, because the monitoring number before is not known"
                return Judgement(result="unknown", text=text, inspection=found.inspection)
        return found


_SESSIONS: dict[str, type[Session]] = {
    cls.profile: cls for cls in (Session12, _Session13, _Session2, _Session3, _SessionUa)
}


def session(profile: str, **settings: Any) -> Session:
    """Return a session of a profile; ``fresh=False`` joins a stream in the middle.

    Settings per profile: ``connection_id`` (FSCP 12/1); ``domain``, ``manager_id`` (13/1);
    ``format``, ``producer``, ``consumer``, ``rollover`` (2/1, identities as three numbers);
    ``parameter_crc`` (3/1); ``consumer_id``, ``spdu_ids``, ``start`` (OPC UA Safety).
    """
    frame.recipe(profile)
    make: Callable[..., Session] = _SESSIONS[profile]
    try:
        signature(make).bind(**settings)
    except TypeError as error:
        raise UsageError(f"a session of {profile}: {error}") from None
    return make(**settings)
