"""Sessions of EN 50325-5: one sender, whose messages come as plain and inverted in turn.

What a receiver does, by an open stack (see the page of the profile): an inverted message without a
plain one before it is passed over, a second plain one replaces the first. Between which messages
the refresh time runs no source says: both the first and the second messages of two pairs are held
to it.
"""

from __future__ import annotations

from typing import Any

from ..._engine import frames
from ..._engine.parts import check_given, invert
from ..._engine.stream import Judgement, Session, simple
from ..._errors import UsageError
from ._frame import RECIPE, identifier_problem

WAITING = "the plain message waits for its inverted one"
REPLACED = "replaces a plain message whose inverted one has not come"
BEFORE = "an inverted message, whose plain one lies before the recording"
_PASSED_OVER = "an inverted message without a plain one before it"
_ONE_WAY = "the receiver of a data object sends nothing back"
_MOST_MS = 1 << 31
_HEAD = 3


def _passed_ms(start_us: int, end_us: int) -> int:
    """Return whole milliseconds, the last begun one counted."""
    return min(max(-((start_us - end_us) // 1000), 0), _MOST_MS)


class SrdoSession(Session):
    """One data object of EN 50325-5: the pair that is being received, and when the last one was."""

    recipe = RECIPE
    senders = ("sender", "receiver")

    def __init__(
        self,
        *,
        identifier_1: int,
        mapped_octets: int | None = None,
        sct_ms: int | None = None,
        srvt_ms: int | None = None,
        fresh: bool = True,
    ) -> None:
        super().__init__()
        stated = {
            "identifier_1": identifier_1,
            "mapped_octets": mapped_octets,
            "sct_ms": sct_ms,
            "srvt_ms": srvt_ms,
        }
        check_given(RECIPE, {name: value for name, value in stated.items() if value is not None})
        if problem := identifier_problem(identifier_1, identifier_1 + 1):
            raise UsageError(problem)
        self._known = {"identifier_1": identifier_1, "identifier_2": identifier_1 + 1}
        if mapped_octets is not None:
            self._known["mapped_octets"] = mapped_octets
        self._limits = {"sct_ms": sct_ms, "srvt_ms": srvt_ms}
        self._joined = fresh
        self._plain: bytes | None = None
        self._plain_us: int | None = None
        self._pair_us: tuple[int | None, int | None] = None, None
        self._half: bytes | None = None

    def known(self, sender: str) -> dict[str, Any]:
        """Return both identifiers, and what the receiver maps."""
        return dict(self._known)

    def awaits(self) -> str:
        """Return that an inverted message must follow a plain one."""
        return WAITING if self._plain is not None else ""

    def produce(self, sender: str, **values: Any) -> bytes:
        """Return the plain message with ``data``, or the inverted one of the plain one before."""
        self._check(sender)
        return self._produce(sender, values)

    def judge(self, sender: str, octets: bytes) -> Judgement:
        """Judge the next message: a pair counts nothing, so the same octets are a new one."""
        self._check(sender)
        return self._judge(sender, octets)

    def brief(self, sender: str, octets: bytes) -> tuple[str, str] | None:
        """Take a message that is right in every point; None for all that has to be explained."""
        mapped = self._known.get("mapped_octets")
        if sender != self.senders[0] or len(octets) != _HEAD + (mapped or 0) or octets[2] != mapped:
            return None
        identifier, now, waiting = octets[0] << 8 | octets[1], self._now_us, self._plain
        if identifier == self._known["identifier_1"]:
            self._joined, self._plain, self._plain_us = True, octets[_HEAD:], now
            return "accepted", WAITING if waiting is None else REPLACED
        if waiting is None or identifier != self._known["identifier_2"]:
            return None
        if invert(octets[_HEAD:]) != waiting or self._is_late(now):
            return None
        self._plain = None
        self._pair_us = (now if self._plain_us is None else self._plain_us), now
        return "accepted", "accepted"

    def _is_late(self, now: int | None) -> bool:
        """Tell whether a pair that is complete now is too late, or may be."""
        plain_us, (first_us, second_us) = self._plain_us, self._pair_us
        if now is None:
            return False
        sct, srvt = self._limits["sct_ms"], self._limits["srvt_ms"]
        if srvt is not None and plain_us is not None and now - plain_us > 1000 * srvt:
            return True
        begun = now if plain_us is None else plain_us
        return sct is not None and (
            (second_us is not None and now - second_us > 1000 * sct)
            or (first_us is not None and begun - first_us > 1000 * sct)
        )

    def _produce(self, sender: str, values: dict[str, Any]) -> bytes:
        if sender != self.senders[0]:
            raise UsageError(_ONE_WAY)
        if self._half is not None:
            half, self._half = self._half, None
            if values.get("data", half) != half:
                raise UsageError("both messages of a pair must have the same data")
            values = {"data": half}
            return self._messages(values)[1]
        plain = self._messages(values)[0]
        self._half = values["data"]
        return plain

    def _messages(self, values: dict[str, Any]) -> tuple[bytes, bytes]:
        pair = frames.build(RECIPE, **self._known, **values)
        middle = len(pair) // 2
        return pair[:middle], pair[middle:]

    def _judge(self, sender: str, octets: bytes) -> Judgement:
        found = frames.inspect(RECIPE, octets, **self._known)
        if sender != self.senders[0]:
            return Judgement(result="rejected", text=_ONE_WAY, inspection=found)
        if found.kind == "plain":
            return self._first(simple(found), octets)
        if found.kind == "inverted":
            return self._second(simple(found), octets)
        if found.kind:
            return self._whole(octets)
        return simple(found)

    def _first(self, found: Judgement, octets: bytes) -> Judgement:
        """Take a plain message, or what is none of this data object."""
        verdicts = found.inspection.verdicts
        failed = {verdict.check for verdict in verdicts if verdict.result == "failed"}
        if failed & {"identifiers", "identifier_1"}:
            return found
        self._joined = True
        replaced = self._plain is not None
        self._plain, self._plain_us = (None if failed else octets[_HEAD:]), self._now_us
        if failed:
            return found
        text = REPLACED if replaced else WAITING
        return Judgement(result="accepted", text=text, inspection=found.inspection)

    def _second(self, alone: Judgement, octets: bytes) -> Judgement:
        """Take an inverted message: with the plain one before it, or pass over it."""
        own = not any(
            verdict.result == "failed" and verdict.check.startswith("identifier")
            for verdict in alone.inspection.verdicts
        )
        if not own:
            return alone
        if self._plain is None:
            joined, self._joined = self._joined, True
            if joined:
                return Judgement(result="ignored", text=_PASSED_OVER, inspection=alone.inspection)
            if alone.result == "rejected":
                return alone
            self._pair_us = None, self._now_us
            return Judgement(result="unknown", text=BEFORE, inspection=alone.inspection)
        plain, plain_us = self._plain, self._plain_us
        self._plain = None
        return self._complete(octets, plain_us, plain=plain)

    def _whole(self, octets: bytes) -> Judgement:
        """Take a pair in one piece: both messages at one time."""
        found = self._complete(octets, None)
        failed = {each.check for each in found.inspection.verdicts if each.result == "failed"}
        if not failed & {"identifiers", "identifier_1", "identifier_2"}:
            self._joined, self._plain = True, None
        return found

    def _complete(self, octets: bytes, plain_us: int | None, **more: bytes) -> Judgement:
        """Judge a pair that is complete now, with its times as far as they are known."""
        now = self._now_us
        known: dict[str, Any] = {**self._known, **more}
        if now is not None:
            first = now if plain_us is None else plain_us
            before = [
                _passed_ms(old, new)
                for old, new in zip(self._pair_us, (first, now), strict=True)
                if old is not None
            ]
            if plain_us is not None and self._limits["srvt_ms"] is not None:
                known["srvt_ms"] = self._limits["srvt_ms"]
                known["validation_ms"] = _passed_ms(plain_us, now)
            if before and self._limits["sct_ms"] is not None:
                known["sct_ms"], known["cycle_ms"] = self._limits["sct_ms"], max(before)
        found = simple(frames.inspect(RECIPE, octets, **known))
        failed = [each.check for each in found.inspection.verdicts if each.result == "failed"]
        if not failed or failed == ["sct"]:
            self._pair_us = (now if plain_us is None else plain_us), now
        return found


SESSION = SrdoSession
